"""Stretches that somebody measured on their own map, as typed into a table (CSV)."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Final

from steybrae.errors import FileReadError, QuantityError
from steybrae.names import clean
from steybrae.quantities import parse_paper_length_mm
from steybrae.teach.own_questions import OwnStretch

HEADER: Final = ("name", "length_mm", "gaps")
INDEX_GAPS: Final = "index_gaps"
MOST_BYTES: Final = 100_000
"""Largest table, bytes (our choice): some thousand stretches."""

MOST_STRETCHES: Final = 60
"""Most stretches of one sheet (our choice): three pages."""


def read_stretches(path: Path, index_every: int) -> tuple[OwnStretch, ...]:
    """Read a table of stretches, in the order of the file; empty lines are passed over.

    CSV with the header ``name,length_mm,gaps``: what the stretch is called, its length on paper,
    and the gaps in it; or ``index_gaps``, from thick line to thick line, every `index_every`
    contours. `FileReadError` for a file that cannot be read, or has another header;
    `QuantityError`, with its line, for a row that is no stretch.
    """
    table = csv.reader(io.StringIO(_text(path), newline=""), skipinitialspace=True, strict=True)
    try:
        rows = list(table)
    except csv.Error as error:
        message = f"Line {table.line_num} of {path} could not be read ({error}). Correct it there."
        raise FileReadError(message) from None
    filled = [
        (k + 1, [cell.strip() for cell in row]) for k, row in enumerate(rows) if any(map(str.strip, row))
    ]
    header = [cell.lower() for cell in filled[0][1]] if filled else []
    counted = INDEX_GAPS if INDEX_GAPS in header else HEADER[2]
    if not {HEADER[0], HEADER[1], counted} <= set(header):
        message = (
            f"{path} should begin with the header {','.join(HEADER)} (or {INDEX_GAPS} for thick "
            f"lines); got {clean(','.join(header))!r}. Write it above the stretches."
        )
        raise FileReadError(message)
    if not 1 <= len(filled) - 1 <= MOST_STRETCHES:
        message = (
            f"{path} should have 1 to {MOST_STRETCHES} stretches; it has {len(filled) - 1}. Write one "
            "a line, or make two tables of it."
        )
        raise QuantityError(message)
    per = index_every if counted == INDEX_GAPS else 1
    return tuple(
        _stretch(path, number, dict(zip(header, row, strict=False)), counted, per)
        for number, row in filled[1:]
    )


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
        if len(data) <= MOST_BYTES:
            return data.decode("utf-8-sig")
        reason = f"it has more than {MOST_BYTES // 1000} kB"
    except (OSError, UnicodeDecodeError) as error:
        reason = (error.strerror or str(error)) if isinstance(error, OSError) else "it is not UTF-8"
    message = f"{path} could not be read: {reason}. Give a table of stretches (CSV)."
    raise FileReadError(message)


def _stretch(path: Path, line: int, cells: dict[str, str], counted: str, per: int) -> OwnStretch:
    length = cells.get("length_mm", "")
    try:
        length_mm = parse_paper_length_mm(length if length[-1:].isalpha() else f"{length}mm", "length_mm")
        return OwnStretch(
            clean(cells.get("name", "")), length_mm, _count(counted, cells.get(counted, "")) * per
        )
    except QuantityError as error:
        message = f"Line {line} of {path} is no stretch: {error}"
        raise QuantityError(message) from None


def _count(name: str, text: str) -> int:
    if not text.isdecimal():
        message = f"{name} should be a whole number; got {clean(text)!r}. Count spaces, not lines."
        raise QuantityError(message)
    return int(text)
