"""Outputs written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from steybrae.errors import FileWriteError

__all__ = ["check_outputs", "check_writable", "write_bytes", "write_text", "write_whole"]


def check_outputs(outputs: Sequence[Path], inputs: Sequence[Path] = (), *, force: bool = False) -> None:
    """Say now, before the work is done, that one of several outputs cannot be written.

    Parameters
    ----------
    outputs
        The files to be.
    inputs
        Files that are read, and that not even `force` may replace.
    force
        Whether existing files may be replaced.

    Raises
    ------
    FileWriteError
        As `check_writable`, or two outputs of one name, or an output that is an input.
    """
    read = {path.resolve() for path in inputs}
    taken: set[Path] = set()
    for path in outputs:
        check_writable(path, force=force)
        if path.resolve() in read:
            message = f"{path} is read by this command and is not overwritten. Give the output another name."
            raise FileWriteError(message)
        if path.resolve() in taken:
            message = f"Each output should have its own name; {path} was given twice. Give one another name."
            raise FileWriteError(message)
        taken.add(path.resolve())


def check_writable(path: Path, *, force: bool = False) -> None:
    """Say now, before the work is done, that an output cannot be written.

    Parameters
    ----------
    path
        The file to be.
    force
        Whether an existing file may be replaced.

    Raises
    ------
    FileWriteError
        It exists and `force` is false, is a folder, its folder does not exist, or the system
        refuses the name.
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
        return f"{path} exists and is not overwritten. Give another name, or --force to replace it."
    if not path.parent.is_dir():
        return f"The folder {path.parent} should exist to write {path.name} there. Make it first."
    return ""


def write_whole(path: Path, write: Callable[[Path], None], *, force: bool = False) -> None:
    """Write a file beside its final name, flush it, then rename it.

    A reader never sees half a file, and a failure leaves what was there before.

    Parameters
    ----------
    path
        The final name.
    write
        Writes the content to the path it is given, which has the suffix of `path`.
    force
        Whether an existing file is replaced.

    Raises
    ------
    FileWriteError
        As `check_writable`, or the system refused (no permission, disk full).
    """
    check_writable(path, force=force)
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=path.suffix, dir=path.parent)
        os.close(handle)
        temporary = Path(name)
        write(temporary)
        with temporary.open("rb") as written:
            os.fsync(written.fileno())
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    except OSError as error:
        reason = error.strerror or str(error)
        message = f"{path} could not be written: {reason}. Nothing was left under that name."
        raise FileWriteError(message) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _umask() -> int:
    # The mask can only be read by setting it; mkstemp's 0600 would keep others from reading.
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_bytes(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write bytes as `write_whole` does."""
    write_whole(path, lambda temporary: _write(temporary, data), force=force)


def write_text(path: Path, text: str, *, force: bool = False) -> None:
    """Write UTF-8 text as `write_whole` does, lines ending in a bare line feed."""
    write_bytes(path, text.encode("utf-8"), force=force)


def _write(path: Path, data: bytes) -> None:
    path.write_bytes(data)
