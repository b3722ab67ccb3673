"""Which file it was."""

from __future__ import annotations

import hashlib
from pathlib import Path

from steybrae.errors import FileReadError

__all__ = ["file_fingerprint"]


def file_fingerprint(path: Path) -> str:
    """SHA-256 of a small file's bytes, in hexadecimal figures.

    Parameters
    ----------
    path
        The file; a route, not a model.

    Returns
    -------
    str

    Raises
    ------
    FileReadError
        It could not be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        message = f"The file {path} could not be read: {error.strerror}. Check the path."
        raise FileReadError(message) from error
