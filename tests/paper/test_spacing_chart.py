"""Spacing tables: the known table, the way back, and what is refused."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import QuantityError
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import CHART_SLOPES_DEG, gap_for_slope_mm, slope_from_spacing, spacing_chart
from steybrae.quantities import FOOT_M, round_up

SLOPES_DEG = (20.0, 25.0, 30.0, 35.0, 40.0, 45.0)


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


# From the equation, mm for one interval; the last three are five intervals at 30, 35 and 40 degrees.
@pytest.mark.parametrize(
    ("scale", "interval_m", "gaps_mm", "five_mm"),
    [
        (25_000.0, 5.0, (0.549, 0.429, 0.346, 0.286, 0.238, 0.200), (1.73, 1.43, 1.19)),
        (50_000.0, 10.0, (0.549, 0.429, 0.346, 0.286, 0.238, 0.200), (1.73, 1.43, 1.19)),
        (25_000.0, 10.0, (1.099, 0.858, 0.693, 0.571, 0.477, 0.400), (3.46, 2.86, 2.38)),
        (50_000.0, 20.0, (1.099, 0.858, 0.693, 0.571, 0.477, 0.400), (3.46, 2.86, 2.38)),
        (25_000.0, 20.0, (2.198, 1.716, 1.386, 1.143, 0.953, 0.800), (6.93, 5.71, 4.77)),
        (40_000.0, 15.0, (1.030, 0.804, 0.650, 0.536, 0.447, 0.375), (3.25, 2.68, 2.23)),
        (24_000.0, 40 * FOOT_M, (1.396, 1.089, 0.880, 0.725, 0.605, 0.508), (4.40, 3.63, 3.03)),
    ],
)
def test_the_table_of_gaps(
    scale: float, interval_m: float, gaps_mm: tuple[float, ...], five_mm: tuple[float, ...]
) -> None:
    rows = spacing_chart(interval_m, scale, SLOPES_DEG, index_every=5).rows
    assert [row.gap_mm for row in rows] == pytest.approx(gaps_mm, abs=0.001)
    assert [row.index_gap_mm for row in rows[2:5]] == pytest.approx(five_mm, abs=0.0055)


@given(slope_deg=st.floats(0.5, 89.0), gaps=st.integers(1, 40))
def test_there_and_back(slope_deg: float, gaps: int) -> None:
    length_mm = gap_for_slope_mm(slope_deg, 10.0, 25_000.0, gaps)
    result = slope_from_spacing(GapMeasurement(max(length_mm, 0.01), gaps, "gaps"), 10.0, 25_000.0)
    if length_mm >= 0.01:
        assert result.slope_deg == pytest.approx(slope_deg, abs=1e-9)


@given(slope_deg=st.floats(1.0, 80.0))
def test_a_gap_rounded_up_flags_early_never_late(slope_deg: float) -> None:
    exact_mm = gap_for_slope_mm(slope_deg, 10.0, 25_000.0)
    printed_mm = round_up(exact_mm, 0.01)
    # Ground of just this slope has the exact gap, and that is not wider than the printed one.
    assert exact_mm <= printed_mm + 1e-8


@given(first=st.floats(1.0, 89.0), second=st.floats(1.0, 89.0))
def test_steeper_is_narrower(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert gap_for_slope_mm(high, 10.0, 25_000.0) <= gap_for_slope_mm(low, 10.0, 25_000.0)


def test_default_slopes_and_no_assumed_index_line() -> None:
    chart = spacing_chart(10.0, 25_000.0)
    assert tuple(row.slope_deg for row in chart.rows) == CHART_SLOPES_DEG
    assert all(row.index_gap_mm is None for row in chart.rows)
    assert chart.map_text == "Map 1:25 000, a contour every 10 m of height"
    assert chart.unreadable_from_deg == pytest.approx(math.degrees(math.atan(0.8)), abs=1e-9)
    assert [caution.key for caution in chart.cautions] == [
        "forecast",
        "angle_alone",
        "single_gap",
        "thinned_lines",
        "map_smooths",
    ]


def test_gentle_tables_do_not_speak_of_missing_lines() -> None:
    keys = [caution.key for caution in spacing_chart(10.0, 25_000.0, (5.0, 18.0)).cautions]
    assert "thinned_lines" not in keys


@pytest.mark.parametrize("slope_deg", [0.0, 90.0, -3.0, math.nan])
def test_level_and_vertical_ground_have_no_spacing(slope_deg: float) -> None:
    message = (
        "A contour spacing exists for slopes above 0 and below 90 degrees; "
        f"got {slope_deg:g}. Ask for a slope between."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        spacing_chart(10.0, 25_000.0, [slope_deg])


@pytest.mark.parametrize("index_every", [1, 0, -5])
def test_index_lines_are_rarer_than_lines(index_every: int) -> None:
    message = (
        f"Index lines should be every 2nd contour or rarer; got {index_every}. "
        "Count from one thick line to the next on the sheet, often 5."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        spacing_chart(10.0, 25_000.0, index_every=index_every)


def test_no_gaps_have_no_length() -> None:
    message = "The number of gaps should be 1 or more; got 0. Count spaces, not lines."
    with pytest.raises(QuantityError, match=exactly(message)):
        gap_for_slope_mm(30.0, 10.0, 25_000.0, 0)
