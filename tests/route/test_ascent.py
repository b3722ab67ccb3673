"""Ascent that counts dips and not noise."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.route.ascent import (
    ascent,
    climbed,
    contours_climbed_m,
    leg_turns,
    reversal_m,
    surface_heights,
    turning_points,
)
from steybrae.terrain.gradients import heights_at

# Heights in eighths of a metre: sums and differences of them are exact in floating point.
EIGHTHS = st.integers(-4000, 40_000).map(lambda n: n / 8)
PROFILE = st.lists(EIGHTHS, min_size=0, max_size=60).map(np.array)
LEAST = st.sampled_from([0.125, 5.0, 12.5, 40.0])


def ramp(up_m, count):
    return np.linspace(200.0, 200.0 + up_m, count)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("stated_m", [None, 1.0])
def test_a_noisy_ramp_is_within_two_percent(seed, stated_m):
    """500 m up over 3 km in 10 m steps with 1 m of noise; every step summed would give far more."""
    heights = ramp(500.0, 301) + np.random.default_rng(seed).normal(0.0, 1.0, 301)
    found = ascent(heights, reversal_m(stated_m))
    assert found.up_m == pytest.approx(500.0, rel=0.02)
    assert np.diff(heights).clip(0.0).sum() > 515.0
    assert not found.at_least


@pytest.mark.parametrize("seed", range(8))
def test_with_much_noise_too_much_ascent_is_told_and_not_too_little(seed):
    """3 m of independent noise makes reversals of twice its size on a ramp of 1.7 m a step."""
    heights = ramp(500.0, 301) + np.random.default_rng(seed).normal(0.0, 3.0, 301)
    found = ascent(heights, reversal_m(3.0))
    assert 500.0 < found.up_m < 650.0
    assert found.up_m < 0.8 * np.diff(heights).clip(0.0).sum()


@pytest.mark.parametrize(
    ("dip_m", "up_m", "down_m"), [(12.0, 112.0, 12.0), (5.0, 105.0, 5.0), (4.0, 100.0, 0.0)]
)
def test_dips(dip_m, up_m, down_m):
    heights = np.concatenate((ramp(60.0, 50), 260.0 - dip_m * np.sin(np.linspace(0.0, math.pi, 21))[1:-1]))
    heights = np.concatenate((heights, 260.0 + np.linspace(0.0, 40.0, 40)))
    found = ascent(heights)
    assert found.up_m == pytest.approx(up_m, abs=1e-9)
    assert found.down_m == pytest.approx(down_m, abs=1e-9)


@pytest.mark.parametrize(
    ("heights", "up_m", "down_m"),
    [
        ([], 0.0, 0.0),
        ([300.0], 0.0, 0.0),
        ([300.0, 303.0], 3.0, 0.0),  # the height difference always counts
        ([300.0, 297.0], 0.0, 3.0),
        ([300.0, 310.0, 300.0], 10.0, 10.0),
        ([300.0, 304.0, 300.0], 0.0, 0.0),
        ([300.0, 290.0, 294.0, 280.0], 0.0, 20.0),
        ([300.0, 310.0, 302.0, 320.0, 317.0, 330.0, 200.0], 38.0, 138.0),
        ([300.0, 300.0, 300.0], 0.0, 0.0),
        # The first counted way is down: the 4 m rise before it is not told.
        ([300.0, 304.0, 290.0], 0.0, 10.0),
    ],
)
def test_by_hand(heights, up_m, down_m):
    found = ascent(np.array(heights))
    assert (found.up_m, found.down_m, found.at_least) == (up_m, down_m, False)


@given(PROFILE, LEAST)
def test_ascent_less_descent_is_the_height_difference_exactly(heights, least):
    found = ascent(heights, least)
    difference = 0.0 if len(heights) < 2 else heights[-1] - heights[0]
    assert found.up_m - found.down_m == difference
    assert found.up_m >= 0.0
    assert found.down_m >= 0.0


@given(PROFILE, LEAST)
def test_ascent_lies_between_the_highest_single_rise_and_every_step(heights, least):
    found = ascent(heights, least)
    steps = np.diff(heights)
    assert found.up_m <= steps[steps > 0].sum() if len(heights) > 1 else found.up_m == 0.0
    highest_rise = max((heights[k:].max() - heights[k] for k in range(len(heights))), default=0.0)
    # What is not told at the start and at the end is each less than one reversal.
    assert found.up_m > highest_rise - 2.0 * least
    backwards = ascent(heights[::-1], least)
    assert abs(backwards.down_m - found.up_m) < 2.0 * least


@given(PROFILE)
def test_unknown_heights_are_passed_over_and_said(heights):
    gaps = np.insert(heights, len(heights) // 2, np.nan)
    assert ascent(gaps).at_least
    assert not ascent(heights).at_least
    assert (ascent(gaps).up_m, ascent(gaps).down_m) == (ascent(heights).up_m, ascent(heights).down_m)


@given(PROFILE, LEAST, st.lists(st.integers(0, 60), max_size=12))
def test_legs_climb_together_what_the_line_climbs_wherever_it_is_cut(heights, least, cuts):
    """Each leg forgot up to 5 m at both of its ends: 707 m in three legs were 685 in 36."""
    places = [0, *sorted(min(cut, max(len(heights) - 1, 0)) for cut in cuts), max(len(heights) - 1, 0)]
    legs = [heights[start : end + 1] for start, end in pairwise(places)]
    found = [climbed(turns, at_least=False) for turns in leg_turns(legs, least)]
    whole = ascent(heights, least)
    assert sum(leg.up_m for leg in found) >= whole.up_m
    assert sum(leg.down_m for leg in found) >= whole.down_m
    for leg, own in zip(found, legs, strict=True):
        assert leg.up_m - leg.down_m == (own[-1] - own[0] if len(own) else 0.0)
        alone = ascent(own, least)
        assert leg.up_m >= alone.up_m
        # A leg alone that turns wherever it may with others climbs no less than it does among them.
        may = (
            np.concatenate((own[:1], own[turning_points(own, least, ends=True)], own[-1:]))
            if len(own)
            else own
        )
        assert climbed(may, at_least=False).up_m >= leg.up_m


@pytest.mark.parametrize(
    ("legs", "climbs"),
    [
        # 3 m down to the end of a leg and 17 on: 20 m of descent.
        ([[100.0, 200.0, 197.0], [197.0, 180.0]], [(100.0, 3.0), (0.0, 17.0)]),
        ([[100.0, 200.0, 197.0], [197.0, 210.0]], [(97.0, 0.0), (13.0, 0.0)]),  # a dip of 3 m is none
        ([[100.0, 104.0], [104.0, 101.0], [101.0, 90.0]], [(4.0, 0.0), (0.0, 3.0), (0.0, 11.0)]),
        ([[100.0, math.nan], [math.nan, math.nan], [math.nan, 120.0]], [(0.0, 0.0)] * 3),
    ],
)
def test_legs_by_hand(legs, climbs):
    turns = leg_turns([np.array(leg) for leg in legs], 5.0)
    found = [climbed(one, at_least=False) for one in turns]
    assert [(leg.up_m, leg.down_m) for leg in found] == climbs


def test_wholly_unknown():
    found = ascent(np.full(5, np.nan))
    assert (found.up_m, found.down_m, found.at_least) == (0.0, 0.0, True)


@pytest.mark.parametrize(
    ("vertical_sd_m", "least_m"), [(None, 5.0), (0.5, 5.0), (2.5, 5.0), (3.0, 6.0), (10.0, 20.0)]
)
def test_smallest_reversal_that_counts(vertical_sd_m, least_m):
    assert reversal_m(vertical_sd_m) == least_m


@pytest.mark.parametrize(
    ("heights", "interval_m", "expected_m"),
    [
        ([201.0, 259.0], 10.0, 50.0),  # 210 to 250
        ([200.0, 260.0], 10.0, 60.0),  # stands on 200, reaches 260
        ([199.0, 260.0], 10.0, 70.0),
        ([209.0, 211.0], 10.0, 10.0),
        ([201.0, 209.0], 10.0, 0.0),
        ([259.0, 201.0], 10.0, 0.0),
        ([205.0, 245.0, 215.0, 265.0], 10.0, 90.0),  # 210 to 240, then 220 to 260
        ([205.0, 211.0, 208.0, 212.0, 225.0], 10.0, 20.0),  # wiggles over 210 count once
        ([205.0, 245.0], 50.0, 0.0),
        ([-5.0, 15.0], 10.0, 20.0),  # 0 and 10
        ([205.0, math.nan, 245.0], 10.0, 40.0),
        ([math.nan], 10.0, 0.0),
    ],
)
def test_ascent_as_counted_on_the_map(heights, interval_m, expected_m):
    (turns,) = leg_turns([np.array(heights)], 5.0)
    assert contours_climbed_m(turns, interval_m) == expected_m


@given(PROFILE, st.sampled_from([5.0, 10.0, 20.0]))
def test_counted_on_the_map_is_within_an_interval_for_each_rise(heights, interval_m):
    found = ascent(heights, 5.0)
    (turns,) = leg_turns([heights], 5.0)
    counted = contours_climbed_m(turns, interval_m)
    rises = 1 + sum(1 for k in range(1, len(heights)) if heights[k] > heights[k - 1])
    assert counted % interval_m == 0.0
    assert abs(counted - found.up_m) <= interval_m * rises


def coarse_hills(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    rough = rng.normal(0.0, 30.0, (24, 24))
    return 400.0 + rough + np.roll(rough, 1, 0) + np.roll(rough, 1, 1)


@pytest.mark.parametrize("seed", range(20))
def test_no_top_of_the_models_surface_is_missed(seed):
    """Cells of 62 m: against the same surface read every 0.4 m, and every cell as before."""
    rng = np.random.default_rng(seed)
    heights, cell_m = coarse_hills(seed), 62.0
    col, row = rng.uniform(1.0, 22.0, (2, 4))
    chainage = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(col), np.diff(row))))) * cell_m

    def read(points_m):
        return heights_at(heights, np.interp(points_m, chainage, col), np.interp(points_m, chainage, row))

    surface = surface_heights(heights, col, row, chainage)
    fine = read(np.unique(np.concatenate((np.arange(0.0, chainage[-1], 0.4), chainage))))
    # A fine step may miss a top, by half a step of its flank; it never has one more.
    assert surface.max() >= fine.max() - 1e-9
    assert surface.max() == pytest.approx(fine.max(), abs=0.5)
    assert surface.min() == pytest.approx(fine.min(), abs=0.5)
    whole, exact = ascent(fine, 0.5), ascent(surface, 0.5)
    assert exact.up_m == pytest.approx(whole.up_m, rel=0.005)
    assert exact.up_m >= whole.up_m - 1e-6
    every_cell = ascent(read(np.linspace(0.0, chainage[-1], int(chainage[-1] / cell_m) + 2)), 0.5)
    assert exact.up_m >= every_cell.up_m


def test_the_vertex_between_four_centres_is_the_saddles():
    """Across a saddle of 10 m, from corner to corner: 5 m in the middle, where no centre lies."""
    heights = np.array([[10.0, 0.0], [0.0, 10.0]])
    down = surface_heights(heights, np.array([0.5, 1.5]), np.array([0.5, 1.5]), np.array([0.0, 1.0]))
    assert down.tolist() == [10.0, 5.0, 10.0]
    up = surface_heights(heights, np.array([1.5, 0.5]), np.array([0.5, 1.5]), np.array([0.0, 1.0]))
    assert up.tolist() == [0.0, 5.0, 0.0]


def test_heights_beside_unknown_ones_are_unknown():
    heights = np.full((4, 6), 100.0)
    heights[1, 3] = np.nan
    found = surface_heights(heights, np.array([0.6, 5.4]), np.array([2.0, 2.0]), np.array([0.0, 48.0]))
    assert np.isnan(found).any()
    assert found[0] == found[-1] == 100.0
    assert ascent(found).at_least
