"""Map millimetres, paces and slope distance at published and hand-worked values."""

from __future__ import annotations

import math

import pytest

from steybrae.card.times import map_mm, pace_length_m, paces, slope_distance_m
from steybrae.errors import QuantityError


def test_millimetres_on_the_map():
    assert map_mm(1000.0, 25_000.0) == 40.0
    # US National Map Accuracy Standards: 1/50 inch at 1:24 000 is 12.192 m.
    assert map_mm(12.192, 24_000.0) == pytest.approx(25.4 / 50.0)
    # US wildfire navigation handbook (NWCG): half an inch at 1:24 000 is 1000 feet.
    assert map_mm(1000.0 * 0.3048, 24_000.0) == pytest.approx(12.7)


@pytest.mark.parametrize(
    ("slope_deg", "factor"),
    [(0.0, 1.0), (10.0, 1.0154), (20.0, 1.0642), (30.0, 1.1547), (35.0, 1.2208), (40.0, 1.3054)],
)
def test_slope_distance_is_the_secant(slope_deg, factor):
    rise_m = 100.0 * math.tan(math.radians(slope_deg))
    assert slope_distance_m(100.0, rise_m) == pytest.approx(100.0 * factor, abs=0.01)
    assert slope_distance_m(100.0, 0.0, rise_m) == slope_distance_m(100.0, rise_m)


def test_pacing_of_the_army_handbook():
    # US Army subcourses MP1007 and EN5622: 17 paces of 0.75 m are 12.75 m.
    count = 100.0 / 0.75
    assert pace_length_m(count) == pytest.approx(0.75)
    assert 17 * pace_length_m(count) == pytest.approx(12.75)
    assert paces(12.75, count) == pytest.approx(17.0)


@pytest.mark.parametrize("count", [0.0, 5.0, 1000.0, math.nan])
def test_counts_that_nobody_walks_are_refused(count):
    with pytest.raises(QuantityError) as caught:
        paces(100.0, count)
    assert str(caught.value) == (
        f"Paces to 100 m should be 20 to 500; got {count:g}. Count them over a measured 100 m."
    )
