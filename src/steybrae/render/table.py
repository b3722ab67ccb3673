"""A table of a document as CSV."""

from __future__ import annotations

import csv
import io

from steybrae.document import NONE, Table, cell_lines, plain
from steybrae.names import defused
from steybrae.value import Value


def csv_text(table: Table) -> str:
    """Rows under the keys of the columns, which name the units: RFC 4180 with line feeds.

    A value is its figure as shown; an unknown one is an empty cell.
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
    text = plain(" ".join(cell_lines(cell)))  # type: ignore[arg-type]
    return text if text == NONE else defused(text)  # a dash alone is no formula
