"""Sight angles: by hand on made ground, and against every source tried one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.terrain.overhead import brute_overhead as brute
from tests.terrain.overhead.made_ground import dem, found, given, rough

from steybrae.route.overhead.legs import hidden_sight
from steybrae.terrain.overhead import sight as overhead_sight
from steybrae.terrain.overhead.angles import look_up
from steybrae.terrain.overhead.ground import Points
from steybrae.terrain.overhead.sight import FLOW_NEAR_M, SIGHT_MARGIN_M, HeightBounds, in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs, pairs_between, steepest_sight


def at(ground, col, row):
    """One place at a position in cells."""
    return ground.points(np.array([float(col)]), np.array([float(row)]))


def deg(pairs):
    return np.degrees(np.arctan(pairs.tangent))


def cone(size=121, foot_m=300.0, slope_deg=40.0):
    middle = size // 2
    r = 10.0 * np.hypot(*np.meshgrid(np.arange(size) - middle, np.arange(size) - middle))
    return np.maximum(foot_m - r, 0.0) * math.tan(math.radians(slope_deg)), r


@pytest.mark.parametrize("bearing", range(0, 360, 20))
def test_a_cone_is_seen_at_its_tip_from_every_side(bearing):
    z, r = cone()
    ground = given(z, r < 300.0)
    out = 500.0
    east, north = out * math.sin(math.radians(bearing)), out * math.cos(math.radians(bearing))
    up = look_up(ground, at(ground, 60.5 + east / 10.0, 60.5 - north / 10.0))
    by_hand = math.degrees(math.atan2(300.0 * math.tan(math.radians(40.0)), out))
    assert up.sight.deg == pytest.approx(by_hand, abs=0.01)
    assert up.unfiltered.deg == up.sight.deg
    assert not hidden_sight(ground, at(ground, 60.5 + east / 10.0, 60.5 - north / 10.0), up.sight)
    assert up.sight.distance_m == pytest.approx(out, abs=0.1)
    assert up.sight.rise_m == pytest.approx(300.0 * math.tan(math.radians(40.0)), abs=1e-9)
    # The convergence of the grid lies between grid and true north.
    turned = (up.sight.bearing_true_deg - (bearing + 180.0) + 180.0) % 360.0 - 180.0
    assert turned == pytest.approx(-1.61, abs=0.05)


def test_the_cones_own_start_zone_is_found_within_half_a_cell():
    z, _ = cone()
    ground = found(z)
    up = look_up(ground, at(ground, 60.5 + 50.0, 60.5))
    rise = 300.0 * math.tan(math.radians(40.0))
    # The tip's own plane is level, so that the highest source is a cell beside it.
    assert (
        math.degrees(math.atan2(rise - 10.0, 495.0)) <= up.sight.deg <= math.degrees(math.atan2(rise, 495.0))
    )


@pytest.mark.parametrize("apart", [1, 2, 5, 15])
def test_a_step_is_seen_at_its_edge(apart):
    z = np.zeros((60, 80))
    z[:, 60:] = 50.0
    ground = found(z)
    up = look_up(ground, at(ground, 60.5 - apart, 30.5))
    by_hand = math.degrees(math.atan2(50.0, 10.0 * apart))
    assert up.sight.deg == pytest.approx(by_hand, abs=0.01)
    assert up.path.deg == pytest.approx(by_hand, abs=0.06)
    assert up.path.path_m == pytest.approx(10.0 * apart, abs=0.1)


@pytest.mark.parametrize("apart", [1.25, 7.5])
def test_off_the_centre_of_a_cell_the_sight_is_from_the_place_itself(apart):
    z = np.zeros((60, 80))
    z[:, 60:] = 50.0
    ground = found(z)
    up = look_up(ground, at(ground, 60.5 - apart, 30.2))
    by_hand = math.degrees(math.atan2(50.0, 10.0 * math.hypot(apart, 0.3)))
    assert up.sight.deg == pytest.approx(by_hand, abs=0.01)
    # The path is that of the cell: half a cell's worth.
    half = math.degrees(math.atan2(50.0, 10.0 * (apart - 0.5)))
    assert by_hand - 4.0 < up.path.deg <= half


def test_a_valley_of_even_sides_is_seen_at_their_slope():
    across = 10.0 * np.abs(np.arange(81) - 40)
    z = np.broadcast_to(np.minimum(across, 300.0) * math.tan(math.radians(38.0)), (90, 81)) + 0.0
    ground = found(z)
    up = look_up(ground, at(ground, 40.5, 45.5))
    assert up.sight.deg == pytest.approx(38.0, abs=0.01)
    assert up.path.deg == pytest.approx(38.0, abs=0.06)


def test_nothing_flatter_than_18_degrees_is_told():
    z = np.zeros((40, 80))
    z[:, 60:] = 50.0
    ground = given(z, z > 0.0)
    assert look_up(ground, at(ground, 60.5 - 15.0, 20.5)).sight.deg > 18.0
    up = look_up(ground, at(ground, 60.5 - 16.0, 20.5))
    assert (up.sight, up.unfiltered, up.path) == (None, None, None)
    assert not up.unknown_above.there.any()


def test_beyond_the_reach_nothing_is_told():
    z = np.zeros((40, 80))
    z[:, 60:] = 50.0
    assert look_up(given(z, z > 0.0, reach_m=101.0), at(given(z, z > 0.0), 50.5, 20.5)).sight is not None
    assert look_up(given(z, z > 0.0, reach_m=99.0), at(given(z, z > 0.0), 50.5, 20.5)).sight is None


@pytest.mark.parametrize(("seed", "holes"), [(1, 0), (2, 40), (3, 200)])
def test_the_steepest_sight_is_that_of_every_source_tried(seed, holes):
    z = rough(70, seed)
    rng = np.random.default_rng(seed)
    z[rng.integers(0, 70, holes), rng.integers(0, 70, holes)] = np.nan
    ground = found(z, reach_m=400.0)
    cell = ground.cell_m[0]
    col, row = rng.uniform(1, 69, 40), rng.uniform(1, 69, 40)
    points = ground.points(col, row)
    answer = steepest_sight(ground, points)
    for k in range(40):
        place = (col[k], row[k], points.height_m[k])
        if math.isnan(place[2]):
            assert answer.cell[k] == -1
            continue
        by_hand, _ = brute.sight(z, cell, ground.zones.source, place, 400.0)
        if by_hand < 18.0:
            assert answer.cell[k] == -1
        else:
            assert deg(answer)[k] == pytest.approx(by_hand, abs=1e-6)


@pytest.mark.parametrize(("seed", "most_traced"), [(4, 1000), (5, 1000), (5, -1)])
def test_the_open_sight_is_that_of_every_source_tried(seed, most_traced, monkeypatch):
    # With -1 the ways down of all sources are looked through at once before any is traced.
    monkeypatch.setattr(overhead_sight, "_MOST_TRACED", most_traced)
    z = rough(60, seed, relief=0.5)
    z[:, 54:] = np.nan
    rng = np.random.default_rng(seed)
    ground = given(z, (rng.random(z.shape) < 0.01) & ~np.isnan(z), reach_m=400.0)
    cell = ground.cell_m[0]
    sources = list(zip(*np.nonzero(ground.zones.source), strict=True))
    hidden = 0
    for _ in range(60):
        col, row = rng.uniform(2, 52, 2)
        up = look_up(ground, at(ground, col, row))
        place = (col, row, brute.bilinear(z, col, row))
        best = -math.inf
        for r, c in sources:
            d = cell * math.hypot(c + 0.5 - col, r + 0.5 - row)
            angle = math.degrees(math.atan2(z[r, c] - place[2], d))
            if not (cell / 2.0 <= d <= 400.0 and angle > max(best, 18.0)):
                continue
            samples = math.ceil(max(abs(c + 0.5 - col), abs(r + 0.5 - row), 1.0))
            clear = brute.line_clear(z, place, (r, c), SIGHT_MARGIN_M, samples)
            if clear or brute.flow_passes(z, cell, place, (r, c), FLOW_NEAR_M):
                best = angle
        assert (up.sight.deg if up.sight else -math.inf) == pytest.approx(best, abs=1e-6)
        hidden += up.unfiltered is not None and (up.sight is None or up.sight.deg < up.unfiltered.deg - 0.1)
    assert hidden > 0


def behind_a_wall(wall=200.0):
    z = np.zeros((60, 100))
    z[:, 55:57] = wall
    z[:, 70:] = 100.0
    return z, (np.arange(100) >= 70) & np.ones((60, 1), dtype=bool)


def test_a_source_behind_a_wall_counts_only_unfiltered():
    z, source = behind_a_wall()
    up = look_up(given(z, source), at(given(z, source), 45.5, 30.5))
    assert up.unfiltered is not None
    assert up.sight is None
    assert up.path is None


def test_when_the_tests_run_out_the_next_pair_counts(monkeypatch):
    z, source = behind_a_wall()
    ground = given(z, source)
    monkeypatch.setattr(overhead_sight, "MOST_PAIRS", 10)
    up = look_up(ground, at(ground, 45.5, 30.5))
    assert up.unfiltered.deg - 1.0 < up.sight.deg < up.unfiltered.deg


def test_unknown_ground_hides_nothing_and_is_told():
    z, source = behind_a_wall()
    z[:, 55:57] = np.nan
    up = look_up(given(z, source), at(given(z, source), 52.5, 30.5))
    assert up.unknown_above.there.all()
    assert up.sight.deg == up.unfiltered.deg == pytest.approx(up.path.deg, abs=0.06)


def test_a_way_down_past_the_place_counts_behind_a_brow():
    # A chute runs from the source round a wall to the place.
    z = np.full((40, 60), 300.0)
    chute = [(10, c) for c in range(45, 14, -1)] + [(r, 15) for r in range(11, 30)]
    for k, cell in enumerate(chute):
        z[cell] = 200.0 - 3.5 * k
    source = np.zeros(z.shape, dtype=bool)
    source[10, 45] = True
    ground = given(z, source)
    up = look_up(ground, at(ground, 15.5, 29.5))
    assert not in_sight(
        ground, at(ground, 15.5, 29.5), pairs_between(ground, at(ground, 15.5, 29.5), 0.1, 9.0, 10)
    )[0]
    assert up.sight.deg == up.unfiltered.deg
    assert up.path.deg < up.sight.deg
    assert hidden_sight(ground, at(ground, 15.5, 29.5), up.sight)


def test_the_steepest_neighbour_is_the_same_for_one_cell_and_for_all():
    z = rough(40, 8)
    z[10:13, 20:22] = np.nan
    z[30:, 30:] = 7.0
    ground = found(z)
    row, col = (k.ravel() for k in np.indices(z.shape))
    some = ~np.isnan(z).ravel()
    to_col, to_row = overhead_sight._down(ground, col[some], row[some])
    assert np.array_equal(ground.down[some], to_row * 40 + to_col)


def test_the_top_of_the_zone_lies_up_its_steepest_way():
    across = 10.0 * np.abs(np.arange(81) - 40)
    z = np.broadcast_to(np.minimum(across, 300.0) * math.tan(math.radians(38.0)), (90, 81)) + 0.0
    ground = found(z)
    up = look_up(ground, at(ground, 40.5, 45.5))
    assert up.top.rise_m == pytest.approx(300.0 * math.tan(math.radians(38.0)), abs=10.0)
    assert up.top.deg <= up.sight.deg


def test_a_place_in_a_start_zone_says_so():
    plane = np.broadcast_to(-np.arange(40) * 10.0 * math.tan(math.radians(35.0)), (40, 40))
    ground = found(plane)
    up = look_up(ground, at(ground, 20.5, 20.5))
    assert up.in_start_zone.tolist() == [True]
    assert up.sight.deg == pytest.approx(35.0, abs=0.01)
    assert up.path.deg == pytest.approx(35.0, abs=0.06)


def test_a_place_of_unknown_height_is_unknown():
    z = np.zeros((30, 30))
    z[10:20, 10:20] = np.nan
    ground = found(z)
    points = at(ground, 15.5, 15.5)
    assert steepest_sight(ground, points).cell.tolist() == [-1]
    up = look_up(ground, points)
    assert (up.sight, up.path, up.unknown_above.there.tolist()) == (None, None, [True])


def test_no_places_and_no_sources():
    ground = given(np.zeros((20, 20)), np.zeros((20, 20)))
    none = np.empty(0)
    up = look_up(ground, Points(none, none, none))
    assert (up.sight, up.path, up.unknown_above.there.tolist()) == (None, None, [])
    assert dem(np.zeros((2, 2))).heights_m.shape == (2, 2)


@pytest.mark.parametrize("seed", range(6))
def test_bounds_of_the_ground_change_no_sight_line(seed):
    """Along rows, diagonals and edges of cells too, over steps in the ground and beside unknown ground."""
    random = np.random.default_rng(seed)
    z = rough(90, seed)[:70]
    if seed % 2:
        z = np.round(z / 20.0) * 20.0
    z[random.random(z.shape) < 0.01] = np.nan
    ground = given(z, random.random(z.shape) < 0.5)
    points = ground.centres(random.integers(0, 90, 40), random.integers(0, 70, 40))
    count = len(ground.sources.row)
    pairs = Pairs(random.integers(0, 40, 4000), random.integers(0, count, 4000), np.zeros(4000))
    plain = in_sight(ground, points, pairs)
    assert 0.02 < plain.mean() < 0.98
    np.testing.assert_array_equal(in_sight(ground, points, pairs, HeightBounds.of(z)), plain)
