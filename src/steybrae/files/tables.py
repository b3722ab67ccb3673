"""Places from tables, one a line: those of a planned line, and those that are looked at one by one."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from steybrae.errors import FileReadError, PlaceError, RouteError
from steybrae.names import clean
from steybrae.route.positions.places import Place, parse_place
from steybrae.route.turns import chainages_m

TWO_POSITIONS_M: Final = 30.0
"""A row whose place and lat, lon lie farther apart, metres, contradicts itself (our choice)."""

_COLUMNS: Final = {
    "lat": ("lat", "latitude", "lat_deg"),
    "lon": ("lon", "longitude", "lon_deg", "lng", "long"),
    "name": ("name",),
    "place": ("place",),
}


def place_of(lat: Any, lon: Any, name: str, number: int, where: str, do: str = "Correct it.") -> Place:
    """Make a place of two numbers, or say which point of the file is wrong."""
    try:
        return Place(float(lat), float(lon), name=name.strip())
    except (PlaceError, ValueError, TypeError, OverflowError):
        got = ", ".join(" ".join(str(value).split())[:20] or "nothing" for value in (lat, lon))
        message = (
            f"Point {number} of {where} should have a latitude of -90 to 90 and a longitude of "
            f"-180 to 180 degrees; got {got}. {do}"
        )
        raise RouteError(message) from None


def table_places(text: str, where: str) -> list[Place]:
    """Read the rows of a table whose first line names its columns.

    They are parted by commas, semicolons or tabs: ``lat`` and ``lon`` or ``place``, and ``name`` if
    there is one. A row's ``place`` goes before its ``lat`` and ``lon``, which must then agree.
    `FileReadError` for no table; `RouteError` for no such columns, a place that cannot be read, or
    two positions in a row.
    """
    header = text.lstrip().split("\n", 1)[0]
    separator = max(",;\t", key=header.count)
    # Strict, or a quotation mark left open would swallow the rest of the line in silence.
    table = csv.reader(io.StringIO(text.lstrip(), newline=""), delimiter=separator, strict=True)
    try:
        rows = [row for row in table if any(row)]
    except csv.Error as error:
        message = f"{where} should be a table of positions; it could not be read ({error}). Export it again."
        raise FileReadError(message) from error
    columns = [name.strip().casefold() for name in (rows[0] if rows else ())]
    found = {key: _column(columns, names) for key, names in _COLUMNS.items()}
    if found["place"] is None and (found["lat"] is None or found["lon"] is None):
        message = (
            f"{where} should be GPX, GeoJSON, or a table whose first line names the columns lat and lon, "
            f"or place; it begins with {header.strip()[:40]!r}. Add that line."
        )
        raise RouteError(message)
    long = next((number for number, row in enumerate(rows[1:], start=1) if any(row[len(columns) :])), None)
    if long is not None:
        message = (
            f"Row {long} of {where} should have the {len(columns)} cells of its first line; it has more. "
            "Write decimals with a point, or part the columns by semicolons."
        )
        raise RouteError(message)
    return [
        _row_place({key: _cell(row, column) for key, column in found.items()}, separator, number, where)
        for number, row in enumerate(rows[1:], start=1)
    ]


def _row_place(cells: dict[str, str], separator: str, number: int, where: str) -> Place:
    """Position of a row: as written in the column place, else latitude and longitude."""
    lat, lon = (_number_text(cells[key], separator) for key in ("lat", "lon"))
    if not cells["place"]:
        do = "Write decimal degrees, or another form in a column place."
        return place_of(lat, lon, cells["name"], number, where, do)
    try:
        written = parse_place(cells["place"], cells["name"])
    except PlaceError as error:
        message = f"Point {number} of {where} cannot be read. {error}"
        raise RouteError(message) from error
    if lat and lon:
        apart_m = float(chainages_m((written, place_of(lat, lon, "", number, where)))[1])
        if apart_m > max(TWO_POSITIONS_M, 2.0 * written.error_m):
            message = (
                f"Point {number} of {where} gives two positions {apart_m:.0f} m apart, as place and as "
                "lat and lon. Leave one of them out."
            )
            raise RouteError(message)
    return written


def _column(columns: Sequence[str], names: Sequence[str]) -> int | None:
    return next((columns.index(name) for name in names if name in columns), None)


def _cell(row: Sequence[str], column: int | None) -> str:
    return row[column].strip() if column is not None and column < len(row) else ""


def _number_text(cell: str, separator: str) -> str:
    if "_" in cell:
        return "not a number"  # float() would take 5_6 for 56
    # Where commas do not part the columns they may be the decimal sign.
    return cell if separator == "," else cell.replace(",", ".")


MOST_PLACES: Final = 10_000
"""Most places of a file (our choice: an hour's work at a third of a second each)."""

MOST_BYTES: Final = 5_000_000
"""Largest file, bytes (our choice)."""

HEADERS: Final = (["lat", "lon"], ["lat", "lon", "name"], ["place"], ["place", "name"])


def read_places(path: Path) -> tuple[tuple[int, Place], ...]:
    """Read places of a table: its lines and what stands there, in its order; empty ones are passed over.

    UTF-8, parted by commas; the first line is ``lat,lon``, degrees on WGS 84, or ``place``, in any
    notation of `parse_place`; ``name`` may follow.
    `FileReadError` where it is missing, too large, no such table, or has no place; `PlaceError` for
    a row that is no place, by the number of its line.
    """
    table = csv.reader(io.StringIO(_text(path), newline=""), strict=True)
    try:
        rows = [(table.line_num, row) for row in table if any(cell.strip() for cell in row)]
    except csv.Error as error:
        message = f"Line {table.line_num} of {path.name} could not be read ({error}). Correct it there."
        raise FileReadError(message) from None
    header = [cell.strip().casefold() for cell in rows[0][1]] if rows else []
    if header not in HEADERS:
        got = clean(",".join(header), 40) or "nothing"
        message = f"{path.name} should begin with lat,lon or place, then ,name or not; got {got}. Add it."
        raise FileReadError(message)
    if not 1 <= len(rows) - 1 <= MOST_PLACES:
        message = (
            f"{path.name} should hold 1 to {MOST_PLACES} places; it has {len(rows) - 1}. Change the file."
        )
        raise FileReadError(message)
    return tuple((line, _place(row, header, line, path.name)) for line, row in rows[1:])


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
        if len(content) <= MOST_BYTES:
            return content.decode("utf-8-sig")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is not text in UTF-8"
        message = f"A file of places is needed; {path} could not be read: {reason}. Check it."
        raise FileReadError(message) from error
    message = f"A file of places should be at most 5 MB; {path.name} is larger. Divide it."
    raise FileReadError(message)


def _place(row: list[str], header: list[str], line: int, where: str) -> Place:
    named = header[-1] == "name"
    width = len(header) - named
    position, name = row[:width], row[width:]
    try:
        if len(name) > named or (width == 2 and not (len(position) == 2 and all(map(_is_number, position)))):
            raise ValueError  # noqa: TRY301
        # As if typed: the last figure tells how exactly.
        return parse_place(" ".join(cell.strip() for cell in position), *name)
    except (ValueError, PlaceError) as error:
        wanted = "a latitude of -90 to 90 and a longitude of -180 to 180 degrees" if width == 2 else "a place"
        more = ", then a name" if named else ""
        got = clean(",".join(row), 60)
        why = f" {error}" if width == 1 and isinstance(error, PlaceError) else " Correct it."
        message = f"Line {line} of {where} should be {wanted}{more}; got {got}.{why}"
        raise PlaceError(message) from None


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)\s*", cell, re.ASCII) is not None
