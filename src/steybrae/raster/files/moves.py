"""Several outputs that appear together: one run at a time in a folder, and moves that are finished.

A list of the finished files is written before the first is moved. Who finds it there after a kill
finishes the moves, or takes them back to go on with the work.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from steybrae.files.whole import locked

LIST: Final = "publish.json"
"""Name of the list in a working folder: every name of an output, and whether it was made."""

JOB: Final = "job.json"
"""Name of what says that a working folder holds unfinished work."""


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Hold a file locked, so that no other run throws away what this one makes.

    It lies outside of whatever is thrown away, and goes when the lock is let go. `FileWriteError`
    where another run holds it; where the system has no locks, none is refused.
    """
    busy = f"Another run is at work in {path.parent}. Wait for it, or give another folder."
    with locked(path, 0.0, busy, instead=None):
        try:
            yield
        finally:
            # The name goes before the lock, for who waits looks whether it is still there.
            path.unlink(missing_ok=True)


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
