"""What readings are compared with carries the figures and the facts of its source."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.card.checks import limits
from steybrae.field.agreement import Origin
from steybrae.field.references import check_reference, paper_reference
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import slope_from_spacing


def test_a_gap_on_paper_brings_its_ends_and_what_it_was_read_from() -> None:
    measured = GapMeasurement(8.0, 2, "index", 5)
    gap = slope_from_spacing(measured, 10.0, 25_000.0)
    found = paper_reference(gap, measured, 10.0, 25_000.0, 90.0)
    assert (found.source, found.slope_deg) == ("the map", math.degrees(math.atan(100.0 / 200.0)))
    assert (found.slope_low_deg, found.slope_high_deg) == (gap.slope_low_deg, gap.slope_high_deg)
    assert found.origin == Origin("paper", 200.0, 10, 5, 10.0, 25_000.0, None, 90.0)


@given(st.floats(0.0, 90.0), st.floats(0.0, 45.0), st.floats(0.0, 45.0))
def test_a_check_gives_back_the_interval_it_was_made_from(slope: float, below: float, above: float) -> None:
    low, high = max(0.0, slope - below), min(90.0, slope + above)
    card = limits(slope, low, high)
    found = check_reference("7a", slope, card.low_deg, card.high_deg, 10.0, 300.0)
    assert found.slope_low_deg is not None
    assert found.slope_high_deg is not None
    # The root of a difference of squares loses half the figures where the interval is narrow.
    if card.low_deg:
        assert found.slope_low_deg == pytest.approx(low, abs=1e-6)
    else:
        assert found.slope_low_deg == 0.0
    if card.high_deg != 90.0:
        assert found.slope_high_deg == pytest.approx(high, abs=1e-6)
    else:
        assert found.slope_high_deg == 90.0
    assert found.origin.aspect_true_deg == 120.0


def test_a_check_of_unknown_ends_is_open_above() -> None:
    found = check_reference("7b", 41.0, None, None, 10.0)
    assert (found.source, found.slope_low_deg, found.slope_high_deg) == ("check 7b of the plan", None, None)
    assert found.open_above
    assert found.origin == Origin("model", baseline_m=20.0, cell_size_m=10.0)
