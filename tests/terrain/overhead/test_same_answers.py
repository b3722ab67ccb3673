"""Turning, mirroring and lifting the ground change nothing but the bearings; unknown never lowers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given as cases
from hypothesis import settings
from hypothesis import strategies as st
from tests.terrain.overhead import brute_overhead as brute
from tests.terrain.overhead.made_ground import EXACT, found, given, rough

from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.overhead.angles import look_up
from steybrae.terrain.overhead.ground import overhead_ground
from steybrae.terrain.overhead.path import energy_lines
from steybrae.terrain.shape import cliffs_below, convex_rolls, curvature, flattenings, gullies, look_around

SIZE = 64
PLACES = [(31, 20), (12, 50), (44, 44), (20, 33), (55, 12)]

TURNS = {
    # New heights, new position (col, row) of an old one, new bearing of an old one.
    "turned left": (np.rot90, lambda c, r: (r, SIZE - 1 - c), lambda b: b - 90.0),
    "turned round": (
        lambda z: np.rot90(z, 2),
        lambda c, r: (SIZE - 1 - c, SIZE - 1 - r),
        lambda b: b + 180.0,
    ),
    "east for west": (lambda z: z[:, ::-1], lambda c, r: (SIZE - 1 - c, r), lambda b: -b),
    "north for south": (lambda z: z[::-1], lambda c, r: (c, SIZE - 1 - r), lambda b: 180.0 - b),
    "lifted": (lambda z: z + 1234.5, lambda c, r: (c, r), lambda b: b),
}


def apart_deg(one, other):
    return abs((one - other + 180.0) % 360.0 - 180.0)


def on_middle(heights):
    """Ground on the middle of a UTM zone, where grid north is true north."""
    z = np.array(heights, dtype=float)
    left = 500_000.0 - z.shape[1] * 5.0
    return Dem(Grid((10.0, 0.0, left, 0.0, -10.0, 5_000_000.0), "EPSG:32630", z.shape), z)


def up_from(dem, place):
    ground = overhead_ground(dem, EXACT, 5000.0)
    return look_up(ground, ground.centres(np.array([place[0]]), np.array([place[1]])))


def hole(seed):
    z = rough(SIZE, seed)
    z[5:9, 40:44] = np.nan
    return z


@pytest.mark.parametrize("change", TURNS)
def test_overhead_changes_nothing_but_the_bearings(change):
    heights, place, bearing = TURNS[change]
    z = hole(21)
    for col, row in PLACES:
        one = up_from(on_middle(z), (col, row))
        other = up_from(on_middle(heights(z)), place(col, row))
        assert one.in_start_zone[0] == other.in_start_zone[0]
        assert one.unknown_above.there == other.unknown_above.there
        assert one.unknown_above.distance_m == pytest.approx(other.unknown_above.distance_m, abs=1e-6)
        for name in ("sight", "unfiltered", "top", "path"):
            a, b = getattr(one, name), getattr(other, name)
            assert (a is None) == (b is None)
            if a is None:
                continue
            assert b.deg == pytest.approx(a.deg, abs=1e-4), name
            assert b.rise_m == pytest.approx(a.rise_m, abs=1e-6)
            assert apart_deg(b.bearing_true_deg, bearing(a.bearing_true_deg)) < 0.02


@pytest.mark.parametrize("change", TURNS)
def test_energy_lines_change_nothing(change):
    heights, place, _ = TURNS[change]
    z = hole(22)
    angles = np.arange(18.0, 61.0, 1.7)
    col, row = (np.array(k) for k in zip(*PLACES, strict=True))
    one = energy_lines(found(z), col, row, angles)
    col, row = (np.array(k) for k in zip(*(place(c, r) for c, r in PLACES), strict=True))
    other = energy_lines(found(heights(z)), col, row, angles)
    assert np.array_equal(brute.largest_deg(one), brute.largest_deg(other), equal_nan=True)
    assert np.allclose(one.length_m, other.length_m, equal_nan=True, rtol=1e-6)


@pytest.mark.parametrize("change", TURNS)
def test_shape_changes_nothing_but_the_bearings(change):
    heights, place, bearing = TURNS[change]
    z = rough(SIZE, 23, relief=0.6)
    col, row = (np.array(k) for k in zip(*PLACES, strict=True))
    other_col, other_row = (np.array(k) for k in zip(*(place(c, r) for c, r in PLACES), strict=True))
    jacobian = np.array([[10.0, 0.0], [0.0, -10.0]])
    one = look_around(z, jacobian, col + 0.5, row + 0.5)
    other = look_around(np.array(heights(z)), jacobian, other_col + 0.5, other_row + 0.5)
    a, b = curvature(one.nine_m, 20.0), curvature(other.nine_m, 20.0)
    for name in ("profile", "plan", "total"):
        assert np.allclose(getattr(a, name), getattr(b, name), atol=1e-8)
    for find in (lambda x: convex_rolls(x, 25.0), gullies, lambda x: flattenings(x, 25.0), cliffs_below):
        mine, theirs = find(one), find(other)
        assert np.allclose(mine.strength, theirs.strength, equal_nan=True)
        for k in np.flatnonzero(mine.there):
            turned = apart_deg(bearing(mine.bearing_true_deg[k]), theirs.bearing_true_deg[k])
            # A gully's bed runs both ways.
            assert min(turned, abs(turned - 180.0) if find is gullies else turned) < 1e-6


def test_a_turned_grid_on_the_same_ground_gives_the_same_bearings():
    z = hole(24)
    plain = on_middle(z)
    a, _, c, _, e, f = plain.grid.transform
    # The same cells, stored by columns from the east: rows run west, columns run south.
    turned = Dem(Grid((0.0, -a, c + a * SIZE, e, 0.0, f), "EPSG:32630", (SIZE, SIZE)), np.rot90(z))
    for col, row in PLACES:
        one, other = up_from(plain, (col, row)), up_from(turned, (row, SIZE - 1 - col))
        for name in ("sight", "path"):
            p, q = getattr(one, name), getattr(other, name)
            assert (p is None) == (q is None)
            if p is not None:
                assert q.deg == pytest.approx(p.deg, abs=1e-4)
                assert apart_deg(q.bearing_true_deg, p.bearing_true_deg) < 0.02


@pytest.mark.parametrize(
    ("side", "bearing"), [("north", 0.0), ("east", 90.0), ("south", 180.0), ("west", 270.0)]
)
def test_a_step_on_a_grid_in_degrees(side, bearing):
    """At 57 degrees north a cell of one second is 16.8 m by 30.9 m."""
    z = np.zeros((61, 61))
    high = {"north": np.s_[:20], "south": np.s_[41:], "east": np.s_[:, 41:], "west": np.s_[:, :20]}[side]
    z[high] = 120.0
    second = 1.0 / 3600.0
    grid = Grid((second, 0.0, -10.0, 0.0, -second, 57.0), "EPSG:4326", z.shape)
    ground = overhead_ground(Dem(grid, z), EXACT, 5000.0)
    up = look_up(ground, ground.centres(np.array([30]), np.array([30])))
    wide, high_m = ground.cell_m
    assert (wide, high_m) == (pytest.approx(16.87, abs=0.05), pytest.approx(30.94, abs=0.05))
    apart = 11 * (wide if side in ("east", "west") else high_m)
    for found_one in (up.sight, up.path):
        assert found_one.deg == pytest.approx(np.degrees(np.arctan2(120.0, apart)), abs=0.06)
        assert apart_deg(found_one.bearing_true_deg, bearing) < 0.1


@cases(st.integers(0, 10_000), st.integers(4, 56), st.integers(4, 56), st.integers(1, 8))
@settings(max_examples=40, deadline=None)
def test_unknown_ground_lowers_nothing_without_being_told(seed, row, col, size):
    z = rough(SIZE, seed % 5)
    before = found(z)
    place = PLACES[seed % len(PLACES)]
    known = z.copy()
    known[row : row + size, col : col + size] = np.nan
    if np.isnan(known[place[1], place[0]]):
        return
    centre = np.array([place[0]]), np.array([place[1]])
    one = look_up(before, before.centres(*centre))
    ground = found(known)
    other = look_up(ground, ground.centres(*centre))
    for name in ("sight", "unfiltered", "path"):
        a, b = getattr(one, name), getattr(other, name)
        if a is not None and (b is None or b.deg < a.deg - 0.1):
            assert other.unknown_above.there.all()


@cases(st.integers(0, 1000))
@settings(max_examples=15, deadline=None)
def test_more_sources_never_lower_an_answer(seed):
    z = rough(40, seed)
    rng = np.random.default_rng(seed)
    few = rng.random(z.shape) < 0.02
    more = few | (rng.random(z.shape) < 0.02)
    col, row = rng.integers(0, 40, 8), rng.integers(0, 40, 8)
    angles = np.arange(18.0, 61.0, 2.0)
    less = energy_lines(given(z, few), col, row, angles)
    grown = energy_lines(given(z, more), col, row, angles)
    assert (grown.reached | ~less.reached).all()
    # What is reached at an angle is reached at every flatter one.
    assert (less.reached[:-1] | ~less.reached[1:]).all()
