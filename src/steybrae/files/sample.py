"""The invented sample massif and its planned day, as installed with the package."""

from __future__ import annotations

from pathlib import Path

from steybrae.errors import FileReadError

__all__ = ["sample_model", "sample_route"]


def _folder() -> Path:
    package = Path(__file__).resolve().parent.parent
    # A wheel carries the folder inside the package; a checkout has it at its top level.
    for folder in (package / "sample_dem", package.parent.parent / "sample_dem"):
        if folder.is_dir():
            return folder
    message = "The sample massif should be installed with steybrae; it is not. Install the package again."
    raise FileReadError(message)


def sample_model() -> Path:
    """Path of the sample elevation model."""
    return _folder() / "stey_massif.tif"


def sample_route() -> Path:
    """Path of the sample's planned day (GPX)."""
    return _folder() / "day.gpx"
