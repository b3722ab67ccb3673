"""Start zones: connected ground in a range of slope, large enough; unknown ground never shrinks one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given as cases
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import ndimage
from tests.terrain_overhead.made_ground import EXACT, found

from steybrae.errors import ModelError
from steybrae.terrain.start_zones import StartRules, connected, find_start_zones, start_from_deg
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg

TYPICAL = SlopeUncertainty("typical", "", typical_95_deg=8.0)
UNKNOWN = SlopeUncertainty("none", "")


@cases(hnp.arrays(bool, hnp.array_shapes(min_dims=2, max_dims=2, max_side=12)))
@settings(max_examples=150, deadline=None)
def test_connected_parts_are_those_of_scipy(mask):
    label, count = connected(mask)
    theirs, their_count = ndimage.label(mask, np.ones((3, 3)))
    assert count == their_count
    assert np.array_equal(label > 0, mask)
    # The same partition, whatever the numbers.
    assert len({*zip(label[mask].tolist(), theirs[mask].tolist(), strict=True)}) == count


def test_long_winding_parts_are_one():
    spiral = np.zeros((61, 61), dtype=bool)
    spiral[::2] = True
    spiral[1::4, -1] = spiral[3::4, 0] = True
    assert connected(spiral)[1] == 1
    assert connected(np.zeros((3, 4), dtype=bool))[1] == 0


@pytest.mark.parametrize(
    "known", [TYPICAL, EXACT, SlopeUncertainty("typical, flattened", "", 8.0, None, 0.64)]
)
def test_the_range_begins_where_the_high_end_is_30(known):
    start = start_from_deg(known)
    high = slope_interval_deg([math.tan(math.radians(start))], [0.0], known)[1][0]
    assert high == pytest.approx(30.0, abs=1e-9)
    assert start <= 30.0


def test_the_worse_axis_of_a_covariance_counts():
    known = SlopeUncertainty("stated", "", covariance=((1e-4, 0.0), (0.0, 9e-4)))
    # Gradient 0.57735 less two standard deviations of 0.03.
    assert start_from_deg(known) == pytest.approx(math.degrees(math.atan(math.tan(math.radians(30)) - 0.06)))


def test_without_any_uncertainty_25_is_taken():
    assert start_from_deg(UNKNOWN) == 25.0
    assert start_from_deg(UNKNOWN, 20.0) == 20.0


def test_so_large_an_error_that_level_ground_could_start():
    assert start_from_deg(SlopeUncertainty("typical", "", typical_95_deg=40.0)) == pytest.approx(
        0.0, abs=1e-9
    )


def slopes(text):
    values = {".": 10.0, "s": 35.0, "c": 60.0, "?": np.nan, "b": 30.0, "t": 55.0}
    return np.array([[values[sign] for sign in line] for line in text.split()])


def test_ranges_areas_and_cliffs():
    zones = find_start_zones(slopes("ss.... ss.s.. .....c ....bt"), 100.0, EXACT)
    # Four cells of 100 m2 are a zone; one alone is none; two and a cliff are too few.
    assert zones.area_m2.tolist() == [400.0]
    assert zones.zone[0].tolist() == [1, 1, 0, 0, 0, 0]
    assert not zones.in_range[1, 3]
    assert not zones.source[3, 4]
    assert zones.source[2, 5]
    assert not zones.in_range[2, 5]


def test_cliffs_belong_to_the_zone_they_touch_but_are_no_start_zone():
    zones = find_start_zones(slopes("ssc ssc ..."), 100.0, EXACT)
    assert zones.area_m2.tolist() == [600.0]
    assert zones.zone[0].tolist() == [1, 1, 1]
    assert zones.in_range[0].tolist() == [True, True, False]
    assert zones.source[0].all()


def test_both_ends_of_the_range_belong_to_it():
    assert find_start_zones(slopes("bt bt"), 100.0, EXACT).in_range.all()


def test_a_small_zone_beside_unknown_ground_stays():
    small = slopes("s.. ... ...")
    assert not find_start_zones(small, 100.0, EXACT).source.any()
    assert find_start_zones(slopes("s.. .?. ..."), 100.0, EXACT).in_range[0, 0]
    assert find_start_zones(slopes("s.. .?. ..."), 100.0, EXACT).unknown.sum() == 1


def test_numbers_run_on_where_small_zones_are_left_out():
    zones = find_start_zones(slopes("s.ss ..ss .... ssss"), 100.0, EXACT)
    assert np.unique(zones.zone).tolist() == [0, 1, 2]
    assert zones.area_m2.tolist() == [400.0, 400.0]
    with pytest.raises(ValueError, match="read-only"):
        zones.zone[0, 0] = 7


def test_the_slope_is_that_over_the_baseline():
    east = np.arange(40) * 10.0
    plane = np.broadcast_to(-east * math.tan(math.radians(30.01)), (40, 40))
    ground = found(plane)
    assert ground.zones.in_range[1:-1, 1:-1].all()
    assert ground.zones.unknown[0].all()
    assert not found(plane * 0.99).zones.source.any()


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (
            {"low_deg": 50.0, "high_deg": 40.0},
            "Start zones should lie between two slopes that rise from 0 to below 90 degrees; got 50 to 40. "
            "Give the lower first.",
        ),
        (
            {"least_area_m2": -1.0},
            "The least area of a start zone should be 0 or more and its baseline more than 0; got -1 square "
            "metres and 20 m. Give others.",
        ),
    ],
)
def test_rules_that_no_ground_could_meet(wrong, message):
    with pytest.raises(ModelError) as error:
        StartRules(**wrong)
    assert str(error.value) == message


@cases(st.integers(1, 2000))
@settings(max_examples=25, deadline=None)
def test_a_larger_least_area_never_adds_ground(area):
    rng = np.random.default_rng(area)
    field = rng.uniform(20.0, 60.0, (15, 17))
    less = find_start_zones(field, 100.0, EXACT, StartRules(least_area_m2=float(area)))
    more = find_start_zones(field, 100.0, EXACT, StartRules(least_area_m2=0.0))
    assert (more.source | ~less.source).all()
