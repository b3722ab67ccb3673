"""Rows of a paper log as somebody typed them into a table: fewer columns, and words as people write them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from steybrae.errors import DateError, LogError, PlaceError, QuantityError
from steybrae.field.log import LogRow
from steybrae.field.moments import parse_moment
from steybrae.field.readings import ReadingSet, parse_readings
from steybrae.quantities import parse_slope_deg
from steybrae.route.positions.places import parse_place

TYPED_COLUMNS: Final = (
    "time",
    "observer",
    "instrument",
    "place",
    "reference_source",
    "reference_slope_deg",
    "aspect_true_deg",
    "plan",
    "check",
    "note",
    "readings_deg",
)
"""Columns of the paper log. Mean and uncertainty are worked out from the readings."""

NEEDED: Final = ("time", "place", "readings_deg")
"""Columns that a typed log has at least; `place` tells it from a log that ``reading`` writes."""


def row_from_typed(cells: Mapping[str, str]) -> LogRow:
    """Read a row as typed.

    Parameters
    ----------
    cells
        Of `TYPED_COLUMNS`, those of `NEEDED` at least; the place may be empty, a grid reference or degrees,
        readings stand between semicolons or blanks.

    Raises
    ------
    LogError
        A cell that does not hold what its column says.
    """
    text = {name: cells.get(name, "").strip() for name in TYPED_COLUMNS}
    try:
        readings = _readings(text["readings_deg"])
        place = parse_place(text["place"]) if text["place"] else None
        slope_deg = parse_slope_deg(text["reference_slope_deg"]) if text["reference_slope_deg"] else None
        return LogRow(
            time=parse_moment(text["time"]),
            observer=text["observer"],
            instrument=text["instrument"],
            readings_deg=readings.readings_deg,
            mean_deg=readings.mean_deg,
            uncertainty_95_deg=readings.uncertainty_95_deg,
            lat_deg=None if place is None else place.lat_deg,
            lon_deg=None if place is None else place.lon_deg,
            reference_source=text["reference_source"],
            reference_slope_deg=slope_deg,
            aspect_true_deg=_aspect_deg(text["aspect_true_deg"]),
            note=text["note"],
            plan=text["plan"],
            check=text["check"].lower(),
        )
    except (DateError, PlaceError, QuantityError) as error:
        raise LogError(str(error)) from error


def _readings(text: str) -> ReadingSet:
    return parse_readings([part for part in re.split(r"[;\s]+", text) if part])


def _aspect_deg(text: str) -> float | None:
    """Direction that the slope faces; ``045``, ``45°``."""
    plain = text.removesuffix("°").strip()
    if not plain:
        return None
    if not plain.isdecimal():
        message = f"aspect_true_deg should be degrees from true north, like 045; got {text!r}. Correct it."
        raise LogError(message)
    return float(plain)
