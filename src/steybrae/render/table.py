"""A table of a document as CSV."""

from __future__ import annotations

import csv
import io
import re

from steybrae.document import Table, cell_lines, plain
from steybrae.value import Value

__all__ = ["csv_text", "defused"]

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")


def csv_text(table: Table) -> str:
    """Rows under the keys of the columns.

    Parameters
    ----------
    table
        Its columns' keys name the units.

    Returns
    -------
    str
        RFC 4180 with line feeds. A value is its figure as shown; an unknown one is an empty cell.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(column.key for column in table.columns)
    for row in (*table.rows, *table.foot):
        writer.writerow(_cell(column.of(row)) for column in table.columns)
    return out.getvalue()


def _cell(cell: object) -> str:
    if isinstance(cell, Value):
        return "" if cell.shown is None else cell.figure
    return defused(" ".join(cell_lines(cell)))  # type: ignore[arg-type]


def defused(text: str) -> str:
    """Text that a spreadsheet takes for text: what begins like a formula gets an apostrophe."""
    text = plain(text)
    begins = text.lstrip().startswith(("=", "+", "-", "@"))
    return f"'{text}" if begins and not _NUMBER.fullmatch(text.strip()) else text
