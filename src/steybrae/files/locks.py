"""One writer at a time: a file held locked, on every system."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from steybrae.errors import FileWriteError

try:
    import fcntl
except ImportError:  # not on Windows; a file that only one writer can make takes its place there
    fcntl = None  # type: ignore[assignment]


@contextmanager
def locked(
    path: Path, wait_s: float, busy: str, *, instead: Path | None, needed: bool = False
) -> Iterator[int]:
    """Open a file for appending and hold it locked; the lock ends with its program, however that ends.

    The file under the name is held, not one moved or taken away.

    Parameters
    ----------
    path
        Made where there is none.
    wait_s, busy
        How long another writer is waited for, seconds, and the `FileWriteError` said then.
    instead
        A file that only one writer can make, for a system without locks; there who is killed leaves it.
        Without it nobody is kept out there.
    needed
        Whether a file system without locks is an `OSError`; else nobody is kept out there.
    """
    until = time.monotonic() + wait_s

    def wait(hint: str = "") -> None:
        if time.monotonic() > until:
            raise FileWriteError(busy + hint)
        time.sleep(0.001)

    with _made(instead, wait):
        while True:
            handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
            try:
                while not _is_taken(handle, needed=needed):
                    wait()
                if _is_named(path, handle):
                    yield handle
                    return
            finally:
                os.close(handle)  # lets the lock go


def _is_taken(handle: int, *, needed: bool) -> bool:
    if fcntl is None:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        if needed:
            raise
    return True


def _is_named(path: Path, handle: int) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(handle))
    except FileNotFoundError:
        return False


@contextmanager
def _made(lock: Path | None, wait: Callable[[str], None]) -> Iterator[None]:
    """Hold a file that only one writer can make, where the system has no locks; it is removed afterwards."""
    if fcntl is not None or lock is None:
        yield
        return
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            break
        except FileExistsError:
            wait(f" If none runs, remove {lock.name} first.")
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
