"""How far a ruler's error moves the answer."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import gap_for_slope_mm, slope_from_spacing
from steybrae.teach.slope_scale import ERRORS_MM, error_sheet, misread_deg


@pytest.mark.parametrize(
    ("scale", "interval_m", "low_deg", "high_deg"),
    # 0.1 mm on one gap at 30 degrees, computed by hand from atan(CI / (w S)).
    [(25_000.0, 10.0, 26.77, 34.01), (50_000.0, 10.0, 24.13, 39.06)],
)
def test_a_tenth_of_a_millimetre(scale: float, interval_m: float, low_deg: float, high_deg: float) -> None:
    assert misread_deg(30.0, 1, interval_m, scale, 0.1) == pytest.approx((low_deg, high_deg), abs=0.01)


@given(
    slope_deg=st.floats(5.0, 65.0),
    gaps=st.sampled_from((1, 5, 10)),
    scale=st.sampled_from((10_000.0, 24_000.0, 25_000.0, 50_000.0)),
    interval_m=st.sampled_from((5.0, 10.0, 12.192, 20.0)),
    error_mm=st.sampled_from(ERRORS_MM),
)
def test_it_is_what_the_gap_command_says(
    slope_deg: float, gaps: int, scale: float, interval_m: float, error_mm: float
) -> None:
    across_mm = gap_for_slope_mm(slope_deg, interval_m, scale, gaps)
    found = slope_from_spacing(
        GapMeasurement(across_mm, gaps, "gaps"), interval_m, scale, ruler_error_mm=error_mm, ruler_only=True
    )
    read = misread_deg(slope_deg, gaps, interval_m, scale, error_mm)
    assert read == pytest.approx((found.slope_low_deg, found.slope_high_deg), abs=1e-9)
    assert (read[1] == 90.0) == found.open_above


def test_the_table_holds_every_gap_count_and_error() -> None:
    sheet = error_sheet(25_000.0, 10.0)
    assert [table.gaps for table in sheet.tables] == [1, 5, 10]
    # 5 gaps at 30 degrees lie on 86.6 m of ground.
    assert sheet.tables[1].ground_30_m == pytest.approx(50.0 * 3.0**0.5, abs=1e-9)
    rows = {row.slope_deg: row for row in sheet.tables[1].rows}
    assert rows[30.0].across_mm == pytest.approx(3.4641, abs=1e-4)
    # 0.2 mm over 5 gaps: 1.43 degrees to first order.
    low, high = rows[30.0].read_deg[ERRORS_MM.index(0.2)]
    assert (high - low) / 2 == pytest.approx(1.43, abs=0.01)
    assert len(sheet.curves) == 3 * len(ERRORS_MM)
    assert "lesson" in [caution.key for caution in sheet.cautions]


def test_where_the_error_eats_the_gap_anything_may_be_read() -> None:
    low, high = misread_deg(45.0, 1, 10.0, 25_000.0, 0.4)
    assert low == pytest.approx(26.565, abs=1e-3)
    assert high == 90.0
