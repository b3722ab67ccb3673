"""Path angles: by hand in channels, and against brute force of the same definition.

Brute force is written in another way (`brute_overhead`): every source by itself with a heap of
single cells, or from the target backwards.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import rasterio
from tests.terrain.overhead import brute_overhead as brute
from tests.terrain.overhead.made_ground import found, given, rough, surveyed

from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.overhead.angles import PATH_STEP_DEG, look_up
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG, overhead_ground
from steybrae.terrain.overhead.path import energy_lines, path_box, pulled, straight_deg
from steybrae.terrain.overhead.sight_pairs import steepest_sight

FINE_DEG = np.arange(20.0, 46.0, 0.1)


def channel(cells, heights, size=(40, 120), wall=1000.0):
    """Ground at a wall's height but for a channel of cells, the first of them the only source."""
    z = np.full(size, wall)
    for (row, col), height in zip(cells, heights, strict=True):
        z[row, col] = height
    source = np.zeros(size, dtype=bool)
    source[cells[0]] = True
    return given(z, source)


def row_of(count, start=5, row=20):
    return [(row, start + k) for k in range(count)]


def at_end(ground, cell):
    return look_up(ground, ground.centres(np.array([cell[1]]), np.array([cell[0]])))


def test_a_straight_channel():
    cells = row_of(60)
    ground = channel(cells, [200.0] + [0.0] * 59)
    up = at_end(ground, cells[-1])
    assert up.path.deg == pytest.approx(math.degrees(math.atan2(200.0, 590.0)), abs=0.051)
    assert up.path.path_m == pytest.approx(590.0, abs=0.1)
    assert up.path.rise_m == 200.0


@pytest.mark.parametrize("legs", [(30, 20), (20, 30)])
def test_a_channel_round_a_corner(legs):
    first = row_of(legs[0], 5, 5)
    cells = first + [(5 + k, first[-1][1]) for k in range(1, legs[1])]
    ground = channel(cells, [300.0] + [0.0] * (len(cells) - 1))
    up = at_end(ground, cells[-1])
    # The corner is cut by one diagonal step; the walls stop every shorter one.
    length = 10.0 * (legs[0] - 2 + math.sqrt(2.0) + legs[1] - 2)
    assert up.path.path_m == pytest.approx(length, rel=1e-3)
    assert up.path.deg == pytest.approx(math.degrees(math.atan2(300.0, length)), abs=0.06)
    assert up.unfiltered.deg > up.path.deg + 5.0
    assert len(up.path.col) >= 3


@pytest.mark.parametrize(("bump", "at"), [(60.0, 20), (20.0, 40), (90.0, 5), (-50.0, 10)])
def test_a_head_carries_over_rises_and_pits(bump, at):
    cells = row_of(60)
    heights = [200.0] + [0.0] * 59
    heights[at] = bump
    up = at_end(channel(cells, heights), cells[-1])
    by_hand = min(math.atan2(200.0 - bump, 10.0 * at), math.atan2(200.0, 590.0))
    assert up.path.deg == pytest.approx(math.degrees(by_hand), abs=0.051)


def test_just_above_the_flattest_angle_it_is_still_found():
    # Round a corner the straight way is walled off; seen straight it stands at 18.02 degrees.
    first = row_of(30, 5, 5)
    cells = first + [(5 + k, first[-1][1]) for k in range(1, 4)]
    length = 10.0 * (28 + math.sqrt(2.0) + 2)
    height = length * math.tan(math.radians(18.02))
    up = at_end(channel(cells, [height] + [0.0] * (len(cells) - 1)), cells[-1])
    assert up.path.deg == pytest.approx(18.02, abs=0.06)


def test_a_rise_above_the_source_stops_all():
    cells = row_of(30)
    up = at_end(channel(cells, [200.0] + [0.0] * 10 + [201.0] + [0.0] * 18), cells[-1])
    assert up.path is None


def test_a_short_steep_source_does_not_hide_a_long_one():
    # Above a flat channel: 20 m high at column 45, 250 m high at column 5.
    cells = row_of(80)
    heights = [250.0] + [0.0] * 79
    heights[40] = 20.0
    ground = channel(cells, heights)
    mask = np.array(ground.zones.source)
    mask[cells[40]] = True
    ground = given(ground.dem.heights_m, mask)
    near = at_end(ground, cells[42])
    far = at_end(ground, cells[70])
    assert near.path.deg == pytest.approx(math.degrees(math.atan2(20.0, 20.0)), abs=0.051)
    # At column 45 the lower source has the steeper angle; further on the higher one carries on.
    assert far.path.deg == pytest.approx(math.degrees(math.atan2(250.0, 700.0)), abs=0.051)
    assert far.path.rise_m == 250.0


def test_unknown_ground_stops_nothing():
    cells = row_of(60)
    heights = [200.0] + [0.0] * 59
    heights[20] = 300.0
    assert at_end(channel(cells, heights), cells[-1]).path is None
    heights[20] = np.nan
    up = at_end(channel(cells, heights), cells[-1])
    assert up.path.deg == pytest.approx(math.degrees(math.atan2(200.0, 590.0)), abs=0.051)


@pytest.mark.parametrize("bearing", range(0, 360, 24))
def test_on_a_cone_the_way_is_pulled_straight(bearing):
    middle = 60
    r = 10.0 * np.hypot(*np.meshgrid(np.arange(121) - middle, np.arange(121) - middle))
    z = np.maximum(300.0 - r, 0.0) * math.tan(math.radians(40.0))
    ground = given(z, r < 300.0)
    col = round(60 + 50 * math.sin(math.radians(bearing)))
    row = round(60 - 50 * math.cos(math.radians(bearing)))
    up = at_end(ground, (row, col))
    by_hand = math.degrees(
        math.atan2(300.0 * math.tan(math.radians(40.0)), 10.0 * math.hypot(col - 60, row - 60))
    )
    assert up.path.deg == pytest.approx(by_hand, abs=0.1)
    # By the steps of the grid alone it is up to 2.7 % longer, never shorter.
    grid = brute.largest_deg(energy_lines(ground, np.array([col]), np.array([row]), FINE_DEG))[0]
    assert math.atan(math.tan(math.radians(by_hand)) / 1.0275) <= math.radians(grid + 0.1)
    assert grid <= by_hand + 1e-9


@pytest.mark.parametrize(("size", "seed", "hole"), [(26, 1, False), (30, 2, True)])
def test_against_every_source_by_itself(size, seed, hole):
    z = rough(size, seed)
    if hole:
        z[8:12, 15:19] = np.nan
    ground = found(z)
    rng = np.random.default_rng(seed)
    targets = [(int(a), int(b)) for a, b in rng.integers(0, size, (15, 2)) if np.isfinite(z[a, b])]
    row, col = (np.array(k) for k in zip(*targets, strict=True))
    angles = np.arange(18.0, 61.0, 4.0)
    by_hand = brute.path_angles(z, ground.cell_m[0], ground.zones.source, targets, angles)
    lines = energy_lines(ground, col, row, angles)
    assert np.array_equal(brute.largest_deg(lines), by_hand, equal_nan=True)
    # The bound by the sight angle leaves out nothing.
    sight = np.degrees(np.arctan(steepest_sight(ground, ground.centres(col, row)).tangent))
    assert np.array_equal(
        brute.largest_deg(energy_lines(ground, col, row, angles, sight)), by_hand, equal_nan=True
    )
    # Every way has the length that its head says.
    for a, k in zip(*np.nonzero(lines.reached), strict=True):
        way_col, way_row = lines.way(a, k)
        steps = np.hypot(np.diff(way_col), np.diff(way_row)) * ground.cell_m[0]
        assert steps.sum() == pytest.approx(lines.length_m[a, k], rel=1e-9)
        assert (way_col[-1], way_row[-1]) == (col[k], row[k])
        assert ground.zones.source[way_row[0], way_col[0]]


def window(path, top, left, size, crs):
    with rasterio.open(path) as data:
        z = data.read(1).astype(float)[top : top + size, left : left + size]
        a, b, c, d, e, f = tuple(data.transform)[:6]
        if data.nodata is not None:
            z[z == data.nodata] = np.nan
    return Dem(Grid((a, b, c + a * left, d, e, f + e * top), crs, z.shape), z)


def check_headlines(ground, count, seed):
    """Path angles of places against brute force from the place backwards; how much higher at most."""
    z, cell, rng = ground.dem.heights_m, ground.cell_m[0], np.random.default_rng(seed)
    places = [
        (int(r), int(c))
        for r, c in rng.integers(20, min(z.shape) - 20, (200, 2))
        if np.isfinite(z[r, c]) and not ground.zones.source[r, c]
    ][:count]
    checked = 0
    for row, col in places:
        up = at_end(ground, (row, col))
        sight_deg = -90.0 if up.unfiltered is None else up.unfiltered.deg
        source, target = ground.zones.source, (row, col)
        if up.path is None:
            assert not brute.reached(z, cell, source, target, 18.0)
            continue
        # Not lower: a little steeper brute force finds nothing either.
        assert not brute.reached(z, cell, source, target, up.path.deg + 1e-6)
        # Not much higher: by the straight lines that the grid's steps lack, at the most.
        flatter = math.degrees(math.atan(math.tan(math.radians(up.path.deg)) / 1.0275)) - PATH_STEP_DEG
        assert flatter < 18.0 or brute.reached(z, cell, source, target, flatter)
        assert up.path.deg <= sight_deg + 1e-9
        # The set of whole degrees: the largest at which brute force arrives.
        whole = brute.largest_deg(energy_lines(ground, np.array([col]), np.array([row]), PATH_ANGLES_DEG))[0]
        assert not brute.reached(z, cell, source, target, whole + 1.0 if whole >= 18.0 else 18.0)
        assert np.isnan(whole) or brute.reached(z, cell, source, target, whole)
        checked += 1
    assert checked >= 1


def test_against_brute_force_on_the_sample(sample_dem):
    dem = window(sample_dem / "stey_massif.tif", 230, 220, 200, "EPSG:27700")
    check_headlines(overhead_ground(dem, surveyed(0.002, 0.002, cell_m=62.0), 5000.0), 2, 3)


def test_against_brute_force_on_real_ground(shared_data):
    dem = window(shared_data / "terrain" / "big_tujunga_30m.tif", 200, 500, 200, "EPSG:32611")
    check_headlines(overhead_ground(dem, surveyed(0.002, 0.002, cell_m=62.0), 9000.0), 2, 4)


def test_against_brute_force_on_rough_ground_with_holes():
    z = rough(130, 5)
    z[60:80, 60:80] = np.nan
    check_headlines(found(z), 3, 5)


def test_several_places_together_are_the_steepest_of_each():
    z = rough(80, 6)
    ground = found(z)
    rng = np.random.default_rng(6)
    col, row = rng.integers(2, 78, 12), rng.integers(2, 78, 12)
    together = look_up(ground, ground.centres(col, row))
    single = [at_end(ground, (r, c)) for c, r in zip(col, row, strict=True)]
    paths = [up.path.deg for up in single if up.path]
    assert together.path.deg == pytest.approx(max(paths), abs=2 * PATH_STEP_DEG)
    assert together.sight.deg == max(up.sight.deg for up in single if up.sight)


def test_no_targets_and_no_sources():
    none = np.empty(0, dtype=np.intp)
    assert energy_lines(found(rough(20, 7)), none, none).reached.shape == (43, 0)
    level = found(np.zeros((20, 20)))
    lines = energy_lines(level, np.array([5]), np.array([6]))
    assert not lines.reached.any()
    assert np.isnan(brute.largest_deg(lines)).all()


def test_a_straight_way_asks_for_the_flattest_of_its_angles():
    z = np.zeros((10, 60))
    z[:, 5] = 100.0
    z[:, 25] = 60.0
    ground = given(z, z == 100.0)
    ends = np.array([5.5, 45.5]), np.array([5.5, 5.5])
    assert straight_deg(ground, *ends, 100.0) == pytest.approx(
        math.degrees(math.atan2(40.0, 200.0)), abs=0.01
    )
    assert straight_deg(ground, *ends, 50.0) < 0.0
    way = pulled(ground, np.arange(5, 46), np.full(41, 5), 10.0)
    assert way.col.tolist() == [5.5, 45.5]
    assert way.length_m == pytest.approx(400.0, abs=0.1)
    assert way.deg == pytest.approx(math.degrees(math.atan2(40.0, 200.0)), abs=0.01)


def test_a_way_falls_from_its_first_cell_however_low_the_second_lies():
    z = np.zeros((60, 60))
    z[5, 5] = 100.0
    way = pulled(given(z, z == 100.0), np.arange(5, 46), np.arange(5, 46), 5.0)
    assert way.deg == pytest.approx(math.degrees(math.atan2(100.0, 400.0 * math.sqrt(2.0))), abs=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_no_head_that_could_reach_a_target_is_given_up(seed):
    """From a cell of its block, straight over all ground, with the loss of the angle."""
    ground = found(rough(60, seed, relief=0.6))
    col, row = np.random.default_rng(seed).integers(5, 55, (2, 3))
    loss = np.tan(np.radians([20.0, 35.0]))
    box = path_box(ground, col, row, loss, np.ones((2, 3), dtype=bool))
    y, x = np.divmod(np.flatnonzero(np.isfinite(box.height)), box.wide)
    apart_m = np.hypot(*ground.offset_m(x[:, None] - 2 + box.col - col, y[:, None] - 2 + box.row - row))
    for tangent, floor in zip(loss, box.floor, strict=True):
        needed_m = (ground.dem.heights_m[row, col] + tangent * apart_m)[:, box.inside].min(axis=1)
        assert (floor[box.block[y * box.wide + x]] <= needed_m + 1e-9).all()


@pytest.mark.parametrize(
    "knight", [(i, j) for i in (-2, -1, 1, 2) for j in (-2, -1, 1, 2) if abs(i) != abs(j)]
)
@pytest.mark.parametrize("between_m", [0.0, 30.0, 90.0])
def test_a_knights_move_arrives_over_low_ground_and_not_through_high_on_all_eight_sides(knight, between_m):
    """From 100 m down to 0: half-way the head at 45 degrees stands 11 m below its top of 100."""
    i, j = knight
    z = np.full((41, 41), 1000.0)
    z[20, 20] = 100.0
    z[20 + j, 20 + i] = 0.0
    long_i, long_j = (i // 2, 0) if abs(i) == 2 else (0, j // 2)
    z[20 + long_j, 20 + long_i] = z[20 + j - long_j, 20 + i - long_i] = between_m
    lines = energy_lines(given(z, z == 100.0), np.array([20 + i]), np.array([20 + j]), (45.0,))
    # No way but this one: the two cells crossed are walls or passed, by the mean of their heights.
    assert lines.reached.tolist() == [[between_m < 100.0 - math.hypot(10.0, 20.0) / 2.0]]
