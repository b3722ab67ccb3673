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
from tests.terrain.overhead.made_ground import EXACT, dem, found, rough, surveyed

from steybrae.errors import ModelError
from steybrae.terrain.cell_share import MIDDLING_DEG, known_roughness_deg
from steybrae.terrain.overhead.ground import overhead_ground
from steybrae.terrain.start_zones import NOISE_DEG, StartRules, connected, find_start_zones, start_from_deg
from steybrae.terrain.uncertainty import least_ends_deg, slope_interval_deg, slope_uncertainty


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


@pytest.mark.parametrize("cell_m", [1.0, 10.0, 30.0, 40.0])
def test_possible_zones_begin_where_the_high_end_of_middling_ground_is_30(cell_m):
    known = slope_uncertainty("horn", np.diag([cell_m, -cell_m]), 0.5, 0.0)
    start = start_from_deg(known)
    high = slope_interval_deg([math.tan(math.radians(start))], [0.0], known, MIDDLING_DEG)[1][0]
    assert high == pytest.approx(30.0, abs=1e-9)
    assert start < 30.0


def test_the_worse_axis_of_a_covariance_counts(monkeypatch):
    monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))
    # Gradient 0.57735 less two standard deviations of 0.03.
    expected = math.degrees(math.atan(math.tan(math.radians(30)) - 0.06))
    assert start_from_deg(surveyed(1e-4, 9e-4)) == pytest.approx(expected)


def test_so_large_an_error_that_level_ground_could_start():
    assert start_from_deg(surveyed(0.2, 0.2)) == pytest.approx(0.0, abs=1e-9)


def test_coarser_or_less_known_never_finds_fewer_possible_zones():
    """On unchanged heights; the range of cells passes the size above which no upper end is known."""
    ground = dem(rough(60, 5, relief=0.45))
    before = np.zeros((60, 60), dtype=bool)
    for cell_m in (1.0, 9.9, 10.0, 12.0, 12.1, 25.0, 39.9, 40.0, 40.2, 62.0, 90.0):
        known = slope_uncertainty("horn", np.diag([cell_m, -cell_m]), 0.5, 30.0, baseline_m=20.0)
        # What a larger window averages of the survey's error is no matter of the cells here.
        known = type(known)(known.cell_m, 20.0, known.survey, ((1e-4, 0.0), (0.0, 1e-4)))
        possible = overhead_ground(ground, known, 500.0).zones.possible
        assert not (before & ~possible).any()
        before = possible
    assert before.mean() > 0.5
    less = np.zeros((60, 60), dtype=bool)
    for sd_m in (0.01, 0.3, 1.0, 3.0, 10.0):
        known = slope_uncertainty("horn", np.diag([10.0, -10.0]), sd_m, 30.0)
        possible = overhead_ground(ground, known, 500.0).zones.possible
        assert not (less & ~possible).any()
        less = possible


def test_possible_zones_hold_the_start_zones_and_more():
    known = slope_uncertainty("horn", np.diag([10.0, -10.0]))
    zones = overhead_ground(dem(rough(80, 3, relief=0.4)), known, 500.0).zones
    assert not (zones.source & ~zones.possible).any()
    assert zones.possible.sum() > 1.2 * zones.source.sum()
    assert not zones.possible[zones.unknown].any()


def test_coarse_cells_make_a_start_zone_of_ground_whose_middle_is_30():
    """The ends of coarse cells are lopsided upwards: 28 degrees over 60 m hold pieces of 30."""
    east = np.arange(30) * 30.0
    z = np.broadcast_to(-east * math.tan(math.radians(29.0)), (30, 30))
    known = slope_uncertainty("horn", np.diag([30.0, -30.0]), 0.01, 0.0)
    assert overhead_ground(dem(z, cell=30.0), known, 500.0).zones.in_range[2:-2, 2:-2].all()
    fine = slope_uncertainty("horn", np.diag([10.0, -10.0]), 0.01, 0.0)
    z = np.broadcast_to(-np.arange(30) * 10.0 * math.tan(math.radians(29.0)), (30, 30))
    assert not overhead_ground(dem(z), fine, 500.0).zones.source.any()


def test_possible_ground_beside_the_end_of_the_model_is_judged_by_the_neighbours_that_are_known():
    east = np.arange(30) * 10.0
    z = np.broadcast_to(-east * math.tan(math.radians(10.0)), (30, 30)).copy()
    z[12, 12] = np.nan
    zones = overhead_ground(dem(z), slope_uncertainty("horn", np.diag([10.0, -10.0])), 500.0).zones
    assert zones.unknown.sum() == 4 * 29 + 9
    assert not zones.possible.any()


def slopes(text):
    values = {".": 10.0, "s": 35.0, "c": 60.0, "?": np.nan, "b": 30.0, "t": 55.0}
    return np.array([[values[sign] for sign in line] for line in text.split()])


def zones_of(text):
    return find_start_zones(slopes(text), slopes(text), 100.0, EXACT)


def test_ranges_areas_and_cliffs():
    zones = zones_of("ss.... ss.s.. .....c ....bt")
    # Four cells of 100 m2 are a zone; one alone is none; two and a cliff are too few.
    assert zones.area_m2.tolist() == [400.0]
    assert zones.zone[0].tolist() == [1, 1, 0, 0, 0, 0]
    assert not zones.in_range[1, 3]
    assert not zones.source[3, 4]
    assert zones.source[2, 5]
    assert not zones.in_range[2, 5]


def test_cliffs_belong_to_the_zone_they_touch_but_are_no_start_zone():
    zones = zones_of("ssc ssc ...")
    assert zones.area_m2.tolist() == [600.0]
    assert zones.zone[0].tolist() == [1, 1, 1]
    assert zones.in_range[0].tolist() == [True, True, False]
    assert zones.source[0].all()


def test_both_ends_of_the_range_belong_to_it():
    assert zones_of("bt bt").in_range.all()


def test_a_plane_of_30_in_single_precision_is_one_zone():
    """Its heights at 3000 m are an eighth of a millimetre off: it was a zone in rags."""
    col = (np.arange(60) + 0.5) * 10.0
    heights_m = np.tile(3000.0 + math.tan(math.radians(30.0)) * col, (40, 1)).astype(np.float32)
    zones = found(heights_m).zones
    assert zones.in_range[2:-2, 2:-2].all()


def test_a_small_zone_beside_unknown_ground_stays():
    assert not zones_of("s.. ... ...").source.any()
    assert zones_of("s.. .?. ...").in_range[0, 0]
    assert zones_of("s.. .?. ...").unknown.sum() == 1


def test_numbers_run_on_where_small_zones_are_left_out():
    zones = zones_of("s.ss ..ss .... ssss")
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
    less = find_start_zones(field, field, 100.0, EXACT, StartRules(least_area_m2=float(area)))
    more = find_start_zones(field, field, 100.0, EXACT, StartRules(least_area_m2=0.0))
    assert (more.source | ~less.source).all()


@pytest.mark.parametrize("low_deg", [0.5, 30.0, 62.0])
@pytest.mark.parametrize("seed", range(3))
def test_passing_over_gentle_ground_finds_what_its_ends_say_cell_by_cell(seed, low_deg):
    rng = np.random.default_rng(seed)
    ground = rng.uniform(0.0, 75.0, (70, 90)) * rng.uniform(0.2, 1.0, (70, 1))
    ground[rng.random(ground.shape) < 0.03] = np.nan
    ground[40:46, 5:11] = np.nan
    ground[42, 8] = 20.0
    known = slope_uncertainty("horn", np.diag([10.0, -10.0]), *((None, None), (0.2, 0.0), (4.0, 50.0))[seed])
    rules = StartRules(low_deg=low_deg, high_deg=80.0, least_area_m2=0.0)
    zones = find_start_zones(ground, ground, 100.0, known, rules)
    low, high = least_ends_deg(ground, known, known_roughness_deg(ground))
    least_deg = low_deg - NOISE_DEG
    certain = np.fmax(ground, (low + high) / 2.0) >= least_deg
    assert np.array_equal(zones.in_range, certain)
    assert np.array_equal(zones.possible, (high >= least_deg) | (np.isnan(high) & np.isfinite(ground)))
    assert zones.possible[42, 8]
    assert np.isnan(high[42, 8])
