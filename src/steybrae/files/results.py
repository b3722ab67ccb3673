"""Results as JSON, by the contract in ``contract.schema.json``; the sample that comes with the package."""

from __future__ import annotations

import dataclasses
import filecmp
import json
import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from steybrae.errors import FileReadError

if TYPE_CHECKING:
    from steybrae.screening.origin import SettingsFile


SCHEMA: Final = "steybrae/1"
"""Name and version of the JSON contract."""


def as_json(command: str, result: Any, settings_file: SettingsFile | None = None) -> dict[str, Any]:
    """Turn a result, a frozen dataclass, into plain JSON values.

    Dataclass fields become keys of the same name; a trailing underscore, which keeps a name such as
    ``from_`` clear of Python's keywords, is dropped. Fields whose metadata say ``json=False`` are
    left out (arrays, large tables). NaN and infinity become null: JSON has no such numbers, and
    unknown is null in the contract. ``schema``, ``command`` and ``settings_file`` come first.
    """
    head = {"schema": SCHEMA, "command": command, "settings_file": _plain(settings_file)}
    return {**head, **_plain(result)}


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return float(value) + 0.0 if math.isfinite(value) else None  # -0.0 is 0.0
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    kind = value.__class__
    if dataclasses.is_dataclass(value):
        return {key: _plain(getattr(value, name)) for name, key in _keys(kind)}
    return _plain(value.item()) if hasattr(value, "item") else value


@cache
def _keys(kind: type) -> tuple[tuple[str, str], ...]:
    """Names and keys of the fields that are told of a dataclass."""
    # Fields that a class shares come before its own; where a person reads, it says otherwise.
    first: tuple[str, ...] = getattr(kind, "KEY_ORDER", ())
    names = [one.name for one in dataclasses.fields(kind) if one.metadata.get("json", True)]
    ordered = (*first, *(name for name in names if name not in first))
    return tuple((name, name.rstrip("_")) for name in ordered)


def json_text(command: str, result: Any, settings_file: SettingsFile | None = None) -> str:
    """JSON text of `as_json`, indented, without NaN, ending in no line feed."""
    return json.dumps(as_json(command, result, settings_file), indent=2, ensure_ascii=False, allow_nan=False)


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
    """Tell whether a file is the sample elevation model, or a copy of it to the last byte."""
    try:
        return filecmp.cmp(path, sample_model(), shallow=False)
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
