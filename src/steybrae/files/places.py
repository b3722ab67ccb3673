"""Places of a table: ``lat,lon`` and, if there is one, ``name``, a place a line."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError, PlaceError
from steybrae.names import clean
from steybrae.route.positions.places import Place, parse_place

MOST_PLACES: Final = 10_000
"""Most places of a file (our choice: an hour's work at a third of a second each)."""

MOST_BYTES: Final = 5_000_000
"""Largest file, bytes (our choice)."""

HEADERS: Final = (["lat", "lon"], ["lat", "lon", "name"])


def read_places(path: Path) -> tuple[tuple[int, Place], ...]:
    """Read places of a table: its lines and what stands there, in its order; empty ones are passed over.

    UTF-8, parted by commas; the first line is ``lat,lon`` or ``lat,lon,name``, degrees on WGS 84.
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
        message = f"{path.name} should begin with the line lat,lon or lat,lon,name; got {got}. Add it."
        raise FileReadError(message)
    if not 1 <= len(rows) - 1 <= MOST_PLACES:
        message = (
            f"{path.name} should hold 1 to {MOST_PLACES} places; it has {len(rows) - 1}. Change the file."
        )
        raise FileReadError(message)
    return tuple((line, _place(row, len(header), line, path.name)) for line, row in rows[1:])


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


def _place(row: list[str], columns: int, line: int, where: str) -> Place:
    try:
        if not 2 <= len(row) <= columns or not all(map(_is_number, row[:2])):
            raise ValueError  # noqa: TRY301
        # As if typed: the last figure tells how exactly.
        return parse_place(f"{row[0].strip()} {row[1].strip()}", row[2] if len(row) == 3 else "")
    except (ValueError, PlaceError):
        wanted = "a latitude of -90 to 90 and a longitude of -180 to 180 degrees"
        more = ", then a name" if columns == 3 else ""
        got = clean(",".join(row), 60)
        message = f"Line {line} of {where} should be {wanted}{more}; got {got}. Correct it."
        raise PlaceError(message) from None


def _is_number(cell: str) -> bool:
    return re.fullmatch(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)\s*", cell, re.ASCII) is not None
