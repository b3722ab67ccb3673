"""Fingerprints: which files a model was, and whether they are still the same."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError

END_BYTES: Final = 4 * 2**20
"""How much of either end of a model's file its fingerprint covers."""

PART_END_BYTES: Final = 64 * 2**10
"""The same of its sidecars and of the files under a virtual raster, which may be thousands (our choice)."""

_BEHIND_NAME: Final = (".aux.xml", ".msk", ".ovr", ".msk.ovr")
_BEHIND_STEM: Final = (".aux", ".hdr", ".prj", ".tfw", ".tifw", ".tiffw", ".wld")


def file_fingerprint(path: Path) -> str:
    """SHA-256 of the bytes of a small file, a route and not a model, in hexadecimal figures."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        message = f"The file {path} could not be read: {error.strerror}. Check the path."
        raise FileReadError(message) from error


def sidecars(path: Path) -> list[Path]:
    """Files beside a raster in which GDAL looks for what it says of itself, as far as they are there."""
    behind = [ending for each in _BEHIND_STEM for ending in (each, each.upper())]
    names = [path.name + ending for ending in _BEHIND_NAME] + [path.stem + ending for ending in behind]
    found = (path.with_name(name) for name in names if name != path.name)
    return [each for each in found if each.is_file()]


def files_fingerprint(files: Sequence[Path]) -> str:
    """SHA-256 of the sizes and ends of the files that a model consists of: its own, then all others.

    Of a file alone, SHA-256 of its size and its first and last 4 MiB; else of the names and SHA-256
    of all, those of the others (sidecars, sources) by their first and last 64 KiB. One that is not
    there counts as such.
    """
    first = _of_ends(files[0], END_BYTES)
    if len(files) == 1:
        return first
    found = hashlib.sha256(first.encode())
    for path in files[1:]:
        found.update(f"{path.name}\0{_of_ends(path, PART_END_BYTES)}\0".encode(errors="surrogateescape"))
    return found.hexdigest()


def _of_ends(path: Path, most: int) -> str:
    try:
        size = path.stat().st_size
        found = hashlib.sha256(str(size).encode())
        with path.open("rb") as file:
            found.update(file.read(most))
            if size > most:
                file.seek(max(most, size - most))
                found.update(file.read())
    except FileNotFoundError:
        return ""
    except OSError as error:
        message = f"The file {path} could not be read: {error.strerror}. Check the file."
        raise FileReadError(message) from error
    return found.hexdigest()


def files_state(files: Sequence[Path]) -> str:
    """SHA-256 of the names, sizes and times of files: it changes when one of them is written to."""
    found = hashlib.sha256()
    for path in files:
        try:
            status = path.stat()
            words = f"{status.st_size} {status.st_mtime_ns}"
        except OSError:
            words = ""
        found.update(f"{path.name}\0{words}\0".encode(errors="surrogateescape"))
    return found.hexdigest()
