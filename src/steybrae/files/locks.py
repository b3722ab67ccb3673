"""A lock that works on every system: a file that only one writer can make."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path


def if_left(lock: Path) -> str:
    """Say what to do about the lock of a program that was killed; begins with a space."""
    return f" If none runs, remove {lock.name} first."


@contextmanager
def lock_file(lock: Path, wait: Callable[[], None]) -> Iterator[None]:
    """Hold a file that only one writer can make; it is removed afterwards, but left by who is killed.

    `wait` is called again and again while another writer holds it, and ends that by an error of its
    own.
    """
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        except FileExistsError:
            wait()
        else:
            break
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)
