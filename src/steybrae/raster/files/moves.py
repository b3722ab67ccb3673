"""Several outputs that appear together: one run at a time in a folder, and moves that are finished.

A list of the finished files is written before the first is moved. Who finds it there after a kill
finishes the moves, or takes them back to go on with the work.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Final

from steybrae.errors import FileWriteError

LIST: Final = "publish.json"
"""Name of the list in a working folder: every name of an output, and whether it was made."""

JOB: Final = "job.json"
"""Name of what says that a working folder holds unfinished work."""


class Lock:
    """Hold a file locked, so that no other run throws away what this one makes.

    It lies outside of whatever is thrown away, and goes when the lock is let go. `FileWriteError`
    where another run holds it; where the system has no locks, none is refused.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO | None = None
        try:
            import fcntl  # noqa: PLC0415  not on every system
        except ImportError:
            return
        while self._file is None:
            file = path.open("a+b")
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                file.close()
                message = f"Another run is at work in {path.parent}. Wait for it, or give another folder."
                raise FileWriteError(message) from error
            except OSError:
                pass  # a file system without locks
            # The run before may have taken the name away between the two steps.
            with suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(file.fileno()), path.stat()):
                    self._file = file
                    return
            file.close()

    def let_go(self) -> None:
        """Let other runs in; the name goes first, for who waits looks whether it is still there."""
        if self._file is not None:
            try:
                self._path.unlink(missing_ok=True)
            finally:
                self._file.close()
                self._file = None


def throw_away(folder: Path) -> None:
    """Delete a working folder; its job goes first, so that what a kill leaves of it counts for nothing."""
    (folder / JOB).unlink(missing_ok=True)
    if folder.exists():
        shutil.rmtree(folder)


def write_part(path: Path, text: str) -> None:
    """Write a text in a working folder, all of it or nothing."""
    new = path.with_name(f"{path.name}.new")
    new.write_text(text, encoding="utf-8")
    new.replace(path)


def list_outputs(folder: Path, names: Sequence[str]) -> None:
    """Write the list: from here on what lies in the folder under these names is the output."""
    write_part(folder / LIST, json.dumps({name: (folder / name).exists() for name in names}))


def is_listed(folder: Path) -> bool:
    """Tell whether a working folder has its list: then the moves had begun."""
    return (folder / LIST).is_file()


def _listed(folder: Path) -> dict[str, bool]:
    found: dict[str, bool] = json.loads((folder / LIST).read_text(encoding="utf-8"))
    return found


def move_out(folder: Path, out: Path) -> None:
    """Move what is listed and not yet moved, and throw the working folder away.

    Old outputs in `out` go first, also those not made this time: they do not belong to the new.
    """
    made = _listed(folder)
    left = [name for name in made if (folder / name).exists()]
    for name in [*left, *(name for name in made if not made[name])]:
        (out / name).unlink(missing_ok=True)
    for name in left:
        (folder / name).replace(out / name)
    # The job first and the list last, so that what a kill leaves is not taken for unfinished work.
    (folder / JOB).unlink(missing_ok=True)
    for entry in folder.iterdir():
        if entry.name != LIST:
            entry.unlink()
    shutil.rmtree(folder)


def take_back(folder: Path, out: Path) -> None:
    """Make unfinished work of it again, as it was before it was listed."""
    for name, made in _listed(folder).items():
        if made and not (folder / name).exists():
            (out / name).replace(folder / name)
    (folder / LIST).unlink()
