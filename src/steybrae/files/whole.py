"""Outputs written whole or not at all, by one writer at a time; drafts of plans, kept the same way."""

from __future__ import annotations

import hashlib
import os
import secrets
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError, FileWriteError

MOST_STEM: Final = 50
"""Characters of a name that its temporary name repeats: a name may be as long as the system allows."""


def check_outputs(outputs: Sequence[Path], inputs: Sequence[Path] = (), *, force: bool = False) -> None:
    """Refuse, before the work is done, outputs of which one cannot be written, as `check_writable`.

    Nor may two have one name, or one be an input, which not even `force` may replace.
    """
    check_not_read(outputs, inputs)
    taken: set[Path] = set()
    for path in outputs:
        check_writable(path, force=force)
        if path.resolve() in taken:
            message = f"Each output should have its own name; {path} was given twice. Give one another name."
            raise FileWriteError(message)
        taken.add(path.resolve())


def check_not_read(outputs: Sequence[Path], inputs: Sequence[Path]) -> None:
    """Refuse an output that has the place of an input, which not even ``--force`` may replace."""
    read = {path.resolve() for path in inputs}
    for path in outputs:
        if path.resolve() in read:
            message = f"{path} is read by this command and is not overwritten. Give the output another name."
            raise FileWriteError(message)


def check_ending(path: Path, what: str, *endings: str) -> None:
    """Refuse a name whose ending would have other programs take a file for another thing.

    `what` begins the error text, like ``A picture``; endings have their dots.
    """
    if path.suffix.lower() not in endings:
        message = f"{what} should be named {' or '.join(endings)}; got {path.name!r}. Change its ending."
        raise FileWriteError(message)


def check_writable(path: Path, *, force: bool = False) -> None:
    """Refuse, before the work is done, an output that cannot be written.

    One that exists without `force`, is a folder, whose folder does not exist, or whose name the
    system refuses.
    """
    try:
        why = _why_not(path, force=force)
    except OSError as error:
        why = f"{path} could not be written: {error.strerror}. Nothing was left under that name."
    if why:
        raise FileWriteError(why)


def _why_not(path: Path, *, force: bool) -> str:
    if path.is_dir():
        return f"{path} should be a file to write; it is a folder. Give a file name."
    # A link to nowhere is a name that somebody gave, too.
    if not force and (path.is_symlink() or path.exists()):
        return _exists(path)
    if not path.parent.is_dir():
        return f"The folder {path.parent} should exist to write {path.name} there. Make it first."
    return ""


def _exists(path: Path) -> str:
    return f"{path} exists and is not overwritten. Give another name, or --force to replace it."


def write_whole(path: Path, write: Callable[[Path], object], *, force: bool = False) -> None:
    """Write a file beside its final name, flush it, then rename it.

    A reader never sees half a file, and a failure leaves what was there before. Of several that
    write one new name at once, one succeeds. `write` gets a path with the suffix of the final one.
    `FileWriteError` as in `check_writable`, or where the system refused (no permission, disk full).
    """
    check_writable(path, force=force)
    # Named before it is there, so that a signal at any moment finds what to take away.
    temporary = path.with_name(f".{path.stem[:MOST_STEM]}-{secrets.token_hex(4)}{path.suffix}")
    try:
        temporary.open("xb").close()
        write(temporary)
        with temporary.open("rb") as written:
            os.fsync(written.fileno())
        if force:
            temporary.replace(path)
        else:
            _give_new_name(temporary, path)
    except FileExistsError as error:
        raise FileWriteError(_exists(path)) from error
    except OSError as error:
        reason = error.strerror or str(error)
        message = f"{path} could not be written: {reason}. Nothing was left under that name."
        raise FileWriteError(message) from error
    finally:
        # Twice, for a signal may come just as the first begins.
        try:
            with suppress(OSError):
                temporary.unlink()
        finally:
            with suppress(OSError):
                temporary.unlink()


def _give_new_name(temporary: Path, path: Path) -> None:
    """Name a finished file, unless the name was taken in the meantime."""
    try:
        path.hardlink_to(temporary)
    except FileExistsError:
        raise
    except OSError:
        # A file system without links: the name is taken first, empty, and then filled.
        path.open("xb").close()
        temporary.replace(path)


def write_bytes(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write bytes as `write_whole` does."""
    write_whole(path, lambda temporary: temporary.write_bytes(data), force=force)


def write_text(path: Path, text: str, *, force: bool = False) -> None:
    """Write UTF-8 text as `write_whole` does, lines ending in a bare line feed."""
    write_bytes(path, text.encode("utf-8"), force=force)


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


DRAFT_WAIT_S: Final = 5.0
"""How long another writer is waited for, seconds (our choice: one writes some kilobytes)."""

MOST_DRAFT_BYTES: Final = 4_000_000
"""Largest draft read, bytes (our choice: twice the largest message)."""


def draft_path(parts: Sequence[str]) -> Path:
    """File of the draft that belongs to these: in the user's folder for state, named by their hash."""
    state = os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")  # noqa: PTH111
    name = hashlib.sha256("\n".join(parts).encode(errors="surrogatepass")).hexdigest()[:24]
    return Path(state) / "steybrae" / f"draft-{name}.json"


def read_draft(path: Path) -> str | None:
    """Read a draft; None where there is none. `FileReadError` where one is there, and cannot be read."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_DRAFT_BYTES + 1)
        return content.decode() if len(content) <= MOST_DRAFT_BYTES else ""
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        return ""
    except OSError as error:
        message = f"The draft {path} could not be read: {error.strerror}. Check its folder."
        raise FileReadError(message) from error


def change_draft(path: Path, change: Callable[[str | None], str | None]) -> None:
    """Write a draft anew from what is there, while no other writer does.

    `change` takes what is there, None for nothing; what it returns is written, None leaves it. The
    folder is made where there is none. Refused where the system does, or another writer does not
    end.
    """
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        message = f"The folder {path.parent} for drafts could not be made: {error.strerror}. Check the name."
        raise FileWriteError(message) from error
    lock = path.with_suffix(".lock")
    busy = f"The draft beside {lock} should be free; another program holds it. Close that."
    with locked(lock, DRAFT_WAIT_S, busy, instead=lock):
        text = change(read_draft(path))
        if text is not None:
            write_text(path, text, force=True)


def put_aside(path: Path) -> None:
    """Keep a draft that cannot be used under another name: nothing is lost."""
    with suppress(OSError):
        path.replace(path.with_suffix(f".{time.time_ns()}.damaged"))
