"""Outputs of a run over a whole raster: a working folder, whole or nothing, taken up again after a kill.

Everything is made in a hidden folder inside the output folder and moved out at the end, all or, by the
next run, all. In it:

``job.json``
    What is being made; work of another job is never joined.
``<raster>.<writer>.part``
    Tiles, appended by one writer.
``<raster>.small``
    Every block's cells of the first overview that blocks do not finish themselves.
``journal``
    One line of JSON for each finished block: where its tiles lie and what was counted. A block
    without its line was not done, so that a kill loses only the blocks under way.

``<name>.npz``, ``<name>.pieces``
    What is known of the whole raster before the blocks are made (`Workspace.keep`).

``publish.json``
    Every name of an output, and whether it was made. From here on these are the outputs: the next run
    moves what is left of them.

Beside it lies ``.steybrae-area.lock`` while a run is at work, so that no other throws its folder away.

Nothing waits for the disk: flushing gigabytes takes longer than computing them. What a power cut
loses in the half minute after a run is up to the file system.
"""

from __future__ import annotations

import json
import os
import shutil
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import FileWriteError, SteybraeError
from steybrae.files.whole import check_writable, locked
from steybrae.raster.files.tiff import HEADER_BYTES

Compress = Literal["deflate", "none"]

WORK: Final = ".steybrae-area"
"""Name of the working folder."""

LOCK: Final = f"{WORK}.lock"
"""Name of the file that a run holds locked, beside the working folder."""


def free_writer_name() -> str:
    """Name for a writer that no other has."""
    return os.urandom(6).hex()


class PartFile:
    """Tiles appended by the threads of one process."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._file = path.open("r+b" if path.exists() else "x+b", buffering=0)
        self._end = self._file.seek(0, os.SEEK_END)
        if self._end < HEADER_BYTES:
            self._file.write(bytes(HEADER_BYTES - self._end))
            self._end = HEADER_BYTES

    def append(self, data: bytes | memoryview) -> int:
        """Write at the end; where it begins, bytes."""
        with self._lock:
            start = self._end
            _write_all(self._file, data)
            self._end += len(data)
        return start

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class SmallFile:
    """Pieces of one size, each at its own place; several processes may write to it."""

    def __init__(self, path: Path, piece_bytes: int) -> None:
        self._lock = threading.Lock()
        self._bytes = piece_bytes
        path.touch()
        self._file = path.open("r+b", buffering=0)

    def write(self, number: int, data: bytes | memoryview) -> None:
        """Write a piece at its place."""
        with self._lock:
            self._file.seek(number * self._bytes)
            _write_all(self._file, data)

    def read(self, number: int, pieces: int) -> bytes:
        """Read pieces that follow each other."""
        with self._lock:
            self._file.seek(number * self._bytes)
            return bytes(self._file.read(pieces * self._bytes))

    def read_into(self, number: int, piece: NDArray[Any]) -> None:
        """Read a piece into an array of its size."""
        with self._lock:
            self._file.seek(number * self._bytes)
            self._file.readinto(piece.data.cast("B"))

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def _write_all(file: Any, data: bytes | memoryview) -> None:
    """Write every byte: the system may take fewer than it is given."""
    view = memoryview(data)
    while view.nbytes:
        view = view[file.write(view) :]


class Workspace:
    """The working folder of one run; use it in a ``with`` statement.

    Parameters
    ----------
    out
        The output folder; made if it is not there.
    identity
        What is being made, as plain values.
    names
        Names of the files to be, in the output folder.
    resume
        Whether unfinished work of the same identity is taken up.
    force
        Whether finished files are replaced, and unfinished work of another job thrown away.

    Raises
    ------
    FileWriteError
        The folder or a file in it is in the way, or the system refuses.
    """

    def __init__(
        self,
        out: Path,
        identity: Mapping[str, Any],
        names: Sequence[str],
        *,
        resume: bool = False,
        force: bool = False,
    ) -> None:
        self.out, self.folder, self._names, self._force = out, out / WORK, tuple(names), force
        self._journal: Any = None
        self._held = ExitStack()
        self._lock = threading.Lock()
        check_place(out)
        with self.refusals():
            out.mkdir(exist_ok=True)
            self._held.enter_context(alone(out / LOCK))
            try:
                self._begin(json.dumps(identity, indent=1, sort_keys=True), resume=resume)
            except BaseException:
                self._leave()
                raise

    def _begin(self, text: str, *, resume: bool) -> None:
        """Take up what a run before left behind, or begin."""
        job = self.folder / JOB
        same = job.is_file() and job.read_text(encoding="utf-8") == text
        if is_listed(self.folder):
            (take_back if resume and same else move_out)(self.folder, self.out)
        if not job.is_file():
            throw_away(self.folder)
        there = next((name for name in self._names if (self.out / name).exists()), None)
        if resume and there and not (job.is_file() or self._force):
            message = (
                f"{self.out} holds no unfinished work, and {there} exists there. Give another folder, or "
                "--force to make it anew."
            )
            raise FileWriteError(message)
        check_names(self.out, self._names, force=self._force)
        if job.is_file() and not (resume and same):
            if resume or not self._force:
                raise FileWriteError(self._in_the_way(resume=resume))
            throw_away(self.folder)
        self.folder.mkdir(exist_ok=True)
        self._journal = (self.folder / "journal").open("a+b", buffering=0)
        self._end_cut_line()
        write_part(job, text)

    def _in_the_way(self, *, resume: bool) -> str:
        if resume:
            return (
                f"{self.out} holds unfinished work of another model, of files that changed since, of other "
                "options or of another version of this program, which cannot be joined. Give the same ones "
                "to go on, or --force without --resume to begin anew."
            )
        return f"{self.out} holds unfinished work. Give --resume to go on, or --force to begin anew."

    def _end_cut_line(self) -> None:
        """End a line that a kill cut short; it is no JSON and is passed over."""
        if self._journal.seek(0, os.SEEK_END):
            self._journal.seek(-1, os.SEEK_END)
            if self._journal.read(1) != b"\n":
                _write_all(self._journal, b"\n")

    def __enter__(self) -> Workspace:
        return self

    def __exit__(self, *_: object) -> None:
        self._leave()

    def _leave(self) -> None:
        """Close the journal and let other runs in."""
        if self._journal is not None:
            self._journal.close()
        self._held.close()

    def records(self) -> Iterator[dict[str, Any]]:
        """Lines of the journal; a line that a kill cut short is passed over."""
        with (self.folder / "journal").open("rb") as lines:
            for line in lines:
                with suppress(ValueError):
                    yield json.loads(line)

    def add(self, record: Mapping[str, Any]) -> None:
        """Add a line to the journal: from here on the block is done."""
        line = json.dumps(record, separators=(",", ":")).encode() + b"\n"
        with self._lock:
            _write_all(self._journal, line)

    def keep(self, name: str, **arrays: NDArray[Any]) -> None:
        """Keep arrays for a later run that goes on with this one, all of them or none."""
        path = self.folder / f"{name}.npz"
        with path.with_suffix(".new").open("wb") as file:
            np.savez(file, allow_pickle=False, **arrays)
        path.with_suffix(".new").replace(path)

    def kept(self, name: str) -> dict[str, NDArray[Any]] | None:
        """Arrays kept under a name; None if there are none."""
        return kept_arrays(self.folder, name)

    def write_text(self, name: str, text: str) -> None:
        """Write a text among the outputs."""
        with self.refusals():
            (self.folder / name).write_text(text, encoding="utf-8", newline="\n")

    def publish(self) -> None:
        """Move every output to its final name and throw the working folder away."""
        check_names(self.out, self._names, force=self._force)
        try:
            list_outputs(self.folder, self._names)
            self._journal.close()
            move_out(self.folder, self.out)
        except OSError as error:
            reason = error.strerror or str(error)
            message = (
                f"The outputs could not all be moved to {self.out}: {reason}. Set that right; the next run "
                "there moves the others."
            )
            raise FileWriteError(message) from error

    @contextmanager
    def refusals(self) -> Iterator[None]:
        """Say in one sentence what the system refuses within."""
        try:
            yield
        except SteybraeError:
            raise
        except OSError as error:
            reason = error.strerror or str(error)
            message = (
                f"{self.out} could not be written: {reason}. Nothing was left under a final name; "
                "set that right and go on with --resume."
            )
            raise FileWriteError(message) from error


def kept_arrays(folder: Path, name: str) -> dict[str, NDArray[Any]] | None:
    """Arrays that `Workspace.keep` kept in a working folder; None if there are none."""
    path = folder / f"{name}.npz"
    if not path.exists():
        return None
    with np.load(path, allow_pickle=False) as kept:
        return dict(kept)


def check_place(out: Path) -> None:
    """Refuse, before the work is done, an output folder that is a file, or whose own folder is missing."""
    if not out.is_dir() and (out.exists() or out.is_symlink()):
        what = "a file" if out.exists() else "a link to nowhere"
        message = f"{out} should be a folder for the outputs; it is {what}. Give a folder's name."
        raise FileWriteError(message)
    if not out.exists() and not out.parent.is_dir():
        message = f"The folder {out.parent} should exist to make {out.name} there. Make it first."
        raise FileWriteError(message)


def check_names(out: Path, names: Sequence[str], *, force: bool) -> None:
    """Refuse an output folder that holds one of the files, where they may not be replaced."""
    for name in names:
        check_writable(out / name, force=force)


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
