"""The blank log."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from steybrae.field.log import COLUMNS, row_from_cells
from steybrae.teach.field_sheet import field_sheet


def test_columns_are_those_of_the_log_in_its_order() -> None:
    sheet = field_sheet()
    assert tuple(column.name for column in sheet.columns) == COLUMNS
    assert sum(column.width_mm for column in sheet.columns) < 297.0
    assert {"reading_local", "lesson"} <= {caution.key for caution in sheet.cautions}


def test_the_example_row_could_be_logged() -> None:
    cells = {column.name: column.example for column in field_sheet().columns}
    row = row_from_cells(cells)
    assert row.time == datetime(2027, 2, 14, 10, 30, tzinfo=UTC)
    assert row.mean_deg == pytest.approx(sum(row.readings_deg) / len(row.readings_deg))
    assert row.uncertainty_95_deg == 2.7  # 2.65 of four readings, rounded up


def test_uncertainty_by_count() -> None:
    known = dict(field_sheet().uncertainty_by_count)
    assert known[1] == pytest.approx(4.0)
    assert known[4] == pytest.approx(2.6458, abs=1e-4)
