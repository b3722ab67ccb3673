"""Rows of a paper log as somebody typed them into a table: fewer columns, and words as people write them."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone, tzinfo
from typing import Final

from steybrae.errors import DateError, LogError, PlaceError, QuantityError
from steybrae.field.log import LogRow
from steybrae.field.readings import parse_readings
from steybrae.quantities import parse_slope_deg
from steybrae.route.positions.places import parse_place

_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_ZONES_H: Final = {
    "z": 0, "utc": 0, "gmt": 0, "wet": 0, "bst": 1, "west": 1, "cet": 1, "cest": 2, "eet": 2, "eest": 3,
}  # fmt: skip
"""Hours east of Greenwich of zones by their letters, in Europe, where each means one thing (IANA time zone
database, `europe`). Elsewhere letters are taken twice: write the offset."""

_DATE: Final = (
    r"(?:(?P<y>\d{4})-(?P<m>\d{1,2})-(?P<d>\d{1,2})"
    r"|(?P<d2>\d{1,2})[. ]+(?:(?P<m2>\d{1,2})|(?P<name>[a-z]{3})[a-z]*)[. ]+(?P<y2>\d{4}))"
)
_CLOCK: Final = r"(?P<h>\d{1,2})[:.h](?P<min>\d{2})(?:[:.](?P<s>\d{2}))?"
_ZONE: Final = r"(?:(?:utc|gmt)?(?P<sign>[+-])(?P<zh>\d{1,2}):?(?P<zm>\d{2})?|(?P<zone>[a-z]+(?:/[a-z_]+)*))"
_MOMENT: Final = re.compile(rf"{_DATE}[ t]+{_CLOCK} *{_ZONE}", re.IGNORECASE)


def parse_moment(text: str) -> datetime:
    """Read a day, a clock time and a zone.

    ``14 Feb 2027 10:30 UTC``, ``14.2.2027 10.30 CET``, ``2027-02-14 10:30 +01:00``,
    ``2027-02-14T10:30Z``, ``14 February 2027, 10:30 Europe/London``. `DateError` where it cannot be
    read, has no zone, or a day and month between strokes, of which either may come first.
    """
    plain = " ".join(text.replace(",", " ").split())
    found = _MOMENT.fullmatch(plain)
    try:
        if found is None:
            moment = datetime.fromisoformat(plain)
        else:
            part = found.groupdict()
            year, day = int(part["y"] or part["y2"]), int(part["d"] or part["d2"])
            name = part["name"]
            month = _MONTHS.index(name.lower()) + 1 if name else int(part["m"] or part["m2"])
            clock = int(part["h"]), int(part["min"]), int(part["s"] or 0)
            moment = datetime(year, month, day, *clock, tzinfo=_zone(part))
    except (ValueError, KeyError, OSError):
        moment = None
    if moment is None or moment.utcoffset() is None:
        message = f"A time should look like 14 Feb 2027 10:30 UTC, with its zone; got {text!r}. Write it so."
        raise DateError(message)
    return moment


def _zone(part: dict[str, str | None]) -> tzinfo:
    """Zone of a match; a `ValueError` or `KeyError` where there is none of that name."""
    if part["sign"]:
        ahead = timedelta(hours=int(part["zh"] or 0), minutes=int(part["zm"] or 0))
        return timezone(ahead if part["sign"] == "+" else -ahead)
    zone = part["zone"] or ""
    if "/" in zone:
        return zoneinfo.ZoneInfo(zone)  # ZoneInfoNotFoundError is a KeyError
    return timezone(timedelta(hours=_ZONES_H[zone.lower()]))


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
    """Read a row as typed, with the cells `NEEDED` of `TYPED_COLUMNS` at least.

    The place may be empty, a grid reference or degrees, readings stand between semicolons or
    blanks. `LogError` for a cell that does not hold what its column says.
    """
    text = {name: cells.get(name, "").strip() for name in TYPED_COLUMNS}
    try:
        readings = parse_readings([part for part in re.split(r"[;\s]+", text["readings_deg"]) if part])
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


def _aspect_deg(text: str) -> float | None:
    """Direction that the slope faces; ``045``, ``45°``."""
    plain = text.removesuffix("°").strip()
    if not plain:
        return None
    if not plain.isdecimal():
        message = f"aspect_true_deg should be degrees from true north, like 045; got {text!r}. Correct it."
        raise LogError(message)
    return float(plain)
