"""The blank log."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from tests.sheets.pdf_lines import words

from steybrae.card.checks import leg_checks
from steybrae.card.wording import judged_text, where_text
from steybrae.field.log import TYPED_COLUMNS, row_from_typed
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.screening import RouteScreening, screen_route
from steybrae.sheets.field import field_pdf
from steybrae.teach.field_sheet import field_sheet
from steybrae.value import bearing_figure, slope


@pytest.fixture(scope="module")
def sample_plan(sample_dem: Path) -> RouteScreening:
    with open_model([sample_dem / "stey_massif.tif"], None) as model:
        return screen_route(read_route(sample_dem / "day.gpx"), model)


def test_columns_are_those_of_the_typed_log_in_its_order() -> None:
    sheet = field_sheet()
    assert tuple(column.name for column in sheet.columns) == TYPED_COLUMNS
    assert sum(column.width_mm for column in sheet.columns) < 297.0
    assert {"reading_local", "lesson"} <= {caution.key for caution in sheet.cautions}


def test_the_example_row_could_be_logged() -> None:
    cells = {column.name: column.example for column in field_sheet().columns}
    row = row_from_typed(cells)
    assert row.time == datetime(2027, 2, 14, 10, 30, tzinfo=UTC)
    assert row.readings_deg == (34.0, 36.0, 33.0, 35.0)
    assert row.mean_deg == 34.5
    assert row.uncertainty_95_deg == pytest.approx(math.sqrt(7.0), abs=1e-12)  # 2 sqrt(1 + 3/4)
    assert row.lat_deg == pytest.approx(59.2131, abs=1e-4)
    assert row.lon_deg == pytest.approx(-8.0366, abs=1e-4)
    assert (row.reference_slope_deg, row.aspect_true_deg, row.check) == (31.0, 45.0, "7a")


def test_uncertainty_by_count() -> None:
    known = dict(field_sheet().uncertainty_by_count)
    assert known[1] == pytest.approx(4.0)
    assert known[4] == pytest.approx(2.6458, abs=1e-4)


def test_the_checks_of_a_plan_are_filled_in(sample_plan: RouteScreening, tmp_path: Path) -> None:
    sheet = field_sheet((sample_plan, date(2027, 1, 15)))
    names = [one.check.number for one in sheet.checks]
    assert names == [
        check.number for leg in sample_plan.legs for check in leg_checks(leg, date(2027, 1, 15), "latlon")
    ]
    assert names
    for paper in ("a5", "a4"):
        text = words(field_pdf(sheet, paper=paper), tmp_path)
        for one in sheet.checks:
            assert one.check.number in text
            assert one.check.reference in text
            quantity = one.check.quantity.capitalize()
            expected = f"{quantity} {slope(one.check.expected_deg).text}"
            assert f"{expected}; {judged_text(one.check)}" in text
            # Broken elsewhere on the narrow paper.
            assert paper == "a5" or where_text(one.check) in text
            assert f"Look {bearing_figure(one.check.look_bearing_magnetic_deg or 0.0)}" in text
        assert "Elsewhere" in text
        for caution in sheet.cautions:
            assert caution.line in text


def test_a_plan_without_a_check_says_so(sample_plan: RouteScreening, tmp_path: Path) -> None:
    bare = replace(sample_plan, legs=tuple(replace(leg, expected_readings=()) for leg in sample_plan.legs))
    text = words(field_pdf(field_sheet((bare, date(2027, 1, 15))), paper="a5"), tmp_path)
    assert "This plan has no check: nowhere on it may one stand off steep ground and measure." in text
