"""One row of the log of readings that a user keeps, its text form, and rows of a paper log as typed.

The log is plain CSV with a header. Every value stands as it can be read back exactly:
numbers in full, times as ISO 8601 with their zone, readings between semicolons, nothing for
what is not known. A table typed from paper has fewer columns, and words as people write them.
"""

from __future__ import annotations

import csv
import io
import math
import re
import zoneinfo
from collections.abc import Mapping
from datetime import datetime, timedelta, timezone, tzinfo
from typing import Any, Final

from steybrae.errors import DateError, LogError, PlaceError, QuantityError
from steybrae.field.agreement import ReadingResult
from steybrae.field.readings import parse_readings
from steybrae.frozen import dataclass
from steybrae.names import MOST_NAME, clean, defused, undefused
from steybrae.quantities import parse_slope_deg
from steybrae.ranges import Ordinal
from steybrae.route.positions.places import parse_place

MOST_TEXT: Final = 10_000
"""Longest text in one cell, characters (our choice; Python's csv reads up to 131 072)."""


_TEXTS: Final = ("observer", "instrument", "reference_source", "plan", "check", "note")
_MAY_BE_EMPTY: Final = {
    "lat_deg": (-90.0, 90.0),
    "lon_deg": (-180.0, 180.0),
    "reference_slope_deg": (0.0, 90.0),
    "aspect_true_deg": (0.0, 360.0),
}
_RANGES: Final = {"mean_deg": (0.0, 90.0), "uncertainty_95_deg": (0.0, 90.0), **_MAY_BE_EMPTY}
"""Least and most of each number."""


@dataclass(frozen=True)
class DamagedRow:
    """A line of a log that is no row.

    Attributes
    ----------
    line
        Its number in the file, from 1.
    text
        What it holds; bytes that are not UTF-8 as backslash escapes.
    reason
        Why it is none, one sentence.
    """

    line: Ordinal
    text: str
    reason: str


@dataclass(frozen=True)
class LogRow:
    """One measurement of one slope.

    Attributes
    ----------
    time
        When, with a zone.
    observer, instrument
        Who and with what; may be empty.
    readings_deg
        All readings without their sign, degrees, 0 to 90, at least one.
    mean_deg, uncertainty_95_deg
        Their mean and its expanded uncertainty, degrees.
    lat_deg, lon_deg
        Where (WGS 84), degrees; None where not noted.
    reference_source
        What it was compared with; empty for nothing.
    reference_slope_deg
        Slope by that reference, degrees; None where unknown.
    aspect_true_deg
        Direction the slope faces, degrees clockwise from true north; None where not noted.
    plan
        Saved plan that the reading belongs to; may be empty.
    check
        Number of the check place on its card, ``7a``; empty for none.
    note
        Anything, as all texts here cleaned (`steybrae.names`); commas, quotes and all scripts stay.

    Raises
    ------
    LogError
        A time without zone, a value out of range, or a text that is too long.
    """

    time: datetime
    observer: str
    instrument: str
    readings_deg: tuple[float, ...]
    mean_deg: float
    uncertainty_95_deg: float
    lat_deg: float | None = None
    lon_deg: float | None = None
    reference_source: str = ""
    reference_slope_deg: float | None = None
    aspect_true_deg: float | None = None
    plan: str = ""
    check: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse what could not be read back or compared."""
        if self.time.utcoffset() is None:
            message = f"A time in the log should have a zone; got {self.time.isoformat()}. Add it."
            raise LogError(message)
        if not self.readings_deg:
            message = "A row of the log should have at least one reading; got none. Add it."
            raise LogError(message)
        for reading_deg in self.readings_deg:
            _in_range("readings_deg", reading_deg, 0.0, 90.0)
        for name, (low, high) in _RANGES.items():
            _in_range(name, getattr(self, name), low, high)
        for name in _TEXTS:
            text = getattr(self, name)
            if len(text) > MOST_TEXT:
                message = (
                    f"{name} in the log should have at most {MOST_TEXT} characters; got {len(text)}. "
                    "Shorten it."
                )
                raise LogError(message)
            object.__setattr__(self, name, clean(text, MOST_TEXT if name == "note" else MOST_NAME))

    @property
    def difference_deg(self) -> float | None:
        """Reading minus reference, degrees; None without a reference."""
        if self.reference_slope_deg is None:
            return None
        return self.mean_deg - self.reference_slope_deg


COLUMNS: Final = (
    "time",
    "observer",
    "instrument",
    "lat_deg",
    "lon_deg",
    "reference_source",
    "reference_slope_deg",
    "aspect_true_deg",
    "plan",
    "check",
    "note",
    "readings_deg",
    "mean_deg",
    "uncertainty_95_deg",
)
"""Columns of a new log. The last may not be empty and holds no quotes, so that a row cut off
anywhere lacks a cell, its value or its closing quote and is known to be cut."""


def _in_range(name: str, value: float | None, low: float, high: float) -> None:
    if value is not None and not low <= value <= high:
        message = f"{name} in the log should lie between {low:g} and {high:g}; got {value:g}. Correct it."
        raise LogError(message)


def row_from_result(
    result: ReadingResult,
    *,
    time: datetime,
    observer: str,
    instrument: str,
    lat_deg: float | None = None,
    lon_deg: float | None = None,
    aspect_true_deg: float | None = None,
    plan: str = "",
    check: str = "",
    note: str = "",
) -> LogRow:
    """Make the row of a comparison, with its first reference whose slope is known.

    The aspect is that of the reference where none was measured; the rest is as in `LogRow`.
    """
    first = next((one for one in result.references if one.slope_deg is not None), None)
    if aspect_true_deg is None and first is not None:
        aspect_true_deg = first.origin.aspect_true_deg
    return LogRow(
        time=time,
        observer=observer,
        instrument=instrument,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        readings_deg=result.readings_deg,
        mean_deg=result.mean_deg,
        uncertainty_95_deg=result.uncertainty_95_deg,
        reference_source=first.source if first else "",
        reference_slope_deg=first.slope_deg if first else None,
        aspect_true_deg=aspect_true_deg,
        plan=plan,
        check=check,
        note=note,
    )


def row_to_cells(row: LogRow) -> dict[str, str]:
    """Write a row as text, one cell for each of `COLUMNS`.

    Numbers as Python's shortest exact form, empty for None; formulas defused.
    """
    cells = {name: _cell(getattr(row, name)) for name in COLUMNS}
    cells["time"] = row.time.isoformat()
    cells["readings_deg"] = ";".join(repr(value) for value in row.readings_deg)
    return cells


def _cell(value: object) -> str:
    if value is None:
        return ""
    return defused(value) if isinstance(value, str) else repr(value)


def row_from_cells(cells: Mapping[str, str]) -> LogRow:
    """Read a row back from its text, one cell for each of `COLUMNS`; others are passed over.

    `LogError` for a cell that does not hold what its column says.
    """
    read: dict[str, Any] = {
        "time": _time(cells["time"]),
        "readings_deg": tuple(_number("readings_deg", part) for part in cells["readings_deg"].split(";")),
    }
    for name in _RANGES:
        empty = name in _MAY_BE_EMPTY and not cells[name].strip()
        read[name] = None if empty else _number(name, cells[name])
    return LogRow(**read | {name: undefused(cells[name]) for name in _TEXTS})


def _time(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        message = f"time in the log should look like 2026-02-14T10:30:00+00:00; got {text!r}. Correct it."
        raise LogError(message) from None


def _number(name: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        message = f"{name} in the log should be a number; got {text!r}. Correct it."
        raise LogError(message)
    return value


def csv_line(cells: list[str]) -> str:
    """Write cells as one CSV record that ends in one line feed.

    Every cell is quoted (RFC 4180), so that a record cut off short shows an open quote or too few
    cells and is never taken for a whole one. Line breaks inside a cell stay, inside its quotes.
    """
    text = io.StringIO(newline="")
    csv.writer(text, quoting=csv.QUOTE_ALL, lineterminator="\n").writerow(cells)
    return text.getvalue()


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
    text: dict[str, Any] = {name: cells.get(name, "").strip() for name in TYPED_COLUMNS}
    try:
        readings = parse_readings([part for part in re.split(r"[;\s]+", text["readings_deg"]) if part])
        place = parse_place(text["place"]) if text["place"] else None
        slope_deg = parse_slope_deg(text["reference_slope_deg"]) if text["reference_slope_deg"] else None
        return LogRow(
            time=parse_moment(text["time"]),
            readings_deg=readings.readings_deg,
            mean_deg=readings.mean_deg,
            uncertainty_95_deg=readings.uncertainty_95_deg,
            lat_deg=None if place is None else place.lat_deg,
            lon_deg=None if place is None else place.lon_deg,
            reference_slope_deg=slope_deg,
            aspect_true_deg=_aspect_deg(text["aspect_true_deg"]),
            **{name: text[name] for name in _TEXTS} | {"check": text["check"].lower()},
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
