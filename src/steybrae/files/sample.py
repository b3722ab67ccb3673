"""The invented sample massif and its planned day, as installed with the package."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from steybrae.errors import FileReadError


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


def is_sample(path: Path) -> bool:
    """Tell whether a file is the sample elevation model."""
    try:
        return path.samefile(sample_model())
    except OSError:
        return False


class Sample(NamedTuple):
    """Paths of the invented sample, to try things on; never for a real day.

    Attributes
    ----------
    line
        The planned day, GPX.
    model
        The elevation model, GeoTIFF.
    bulletin
        A forecast, CAAML v6 JSON.
    log
        Readings of a class, CSV.
    """

    line: Path
    model: Path
    bulletin: Path
    log: Path


def sample() -> Sample:
    """Where the invented sample massif and what belongs to it lie.

    Returns
    -------
    Sample
        Paths of its line, model, bulletin and log.

    Raises
    ------
    FileReadError
        It was not installed.

    Examples
    --------
    >>> steybrae.sample().line.name
    'day.gpx'
    """
    return Sample(sample_route(), sample_model(), _folder() / "bulletin.json", _folder() / "class.csv")
