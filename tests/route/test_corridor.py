"""The corridor and what lies left and right of it.

The independent answer for distances is plain Python: the distance between a line and a cell's
square is 0 where one crosses the other, else the least of the distances from the corners to
the line and from the line's vertices to the sides.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from steybrae.errors import QuantityError
from steybrae.route import corridor
from steybrae.route.corridor import (
    SIDE_REACH_M,
    BesideLine,
    LineInWindow,
    Nearest,
    Steepest,
    Window,
    beside,
    check_drift,
    half_width_m,
    merge,
    near_cells,
)

SIZE = 41
NORTH_UP = np.array([[10.0, 0.0], [0.0, -10.0]])
SHORTFALL = 0.11
"""Shares of a square cell by which a told distance may be too short at the most: the square is seen
from the nearest place of the line as far as its corner reaches, which a side's middle does not."""


def turned(angle_deg, cell_m=10.0, stretch=1.0):
    """Jacobian of a grid turned clockwise, its rows stretched."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, s], [s, -c]]) @ np.diag([cell_m, -cell_m * stretch]) @ np.diag([1.0, -1.0])


def ground(jacobian, col, row):
    return tuple(jacobian @ np.array([col, row]))


def to_segment_m(x, y, a, b):
    dx, dy = b[0] - a[0], b[1] - a[1]
    size2 = dx * dx + dy * dy
    share = 0.0 if size2 == 0.0 else min(1.0, max(0.0, ((x - a[0]) * dx + (y - a[1]) * dy) / size2))
    return math.hypot(x - a[0] - share * dx, y - a[1] - share * dy)


def side_of(p, a, b):
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])


def cross(a, b, c, d):
    return side_of(c, a, b) * side_of(d, a, b) < 0.0 and side_of(a, c, d) * side_of(b, c, d) < 0.0


def true_distance_m(jacobian, line, row, col):
    """From a line, given in cells, to the square of cell ``[row, col]``."""
    corners = [ground(jacobian, col + i, row + j) for i, j in ((0, 0), (1, 0), (1, 1), (0, 1))]
    sides = list(zip(corners, [*corners[1:], corners[0]], strict=True))
    points = [ground(jacobian, *point) for point in line]
    if any(col <= c <= col + 1 and row <= r <= row + 1 for c, r in line):
        return 0.0
    found = []
    for a, b in pairwise(points):
        if any(cross(a, b, c, d) for c, d in sides):
            return 0.0
        found += [to_segment_m(*corner, a, b) for corner in corners]
        found += [to_segment_m(*end, c, d) for end in (a, b) for c, d in sides]
    return min(found)


def looked_at(cells, line, jacobian=NORTH_UP, place_error_m=10.0, drift_deg=0.0, level=0.0):
    """What lies beside a line, given in cells, where the cells given are steep and all others level."""
    slope = np.full((SIZE, SIZE), level)
    height = np.zeros((SIZE, SIZE))
    for (row, col), (steep, high_m) in cells.items():
        slope[row, col], height[row, col] = steep, high_m
    col, row = np.array(line, dtype=float).T
    east, north = jacobian @ np.stack((col, row))
    chainage = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))))
    bins = (chainage[-1] / 40, 40)
    window = Window(slope, height, jacobian)
    return beside(
        window, LineInWindow(col, row, chainage, (0.0, chainage[-1])), bins, place_error_m, drift_deg
    )


@pytest.mark.parametrize(
    ("chainage_m", "place_error_m", "drift_deg", "expected_m"),
    [
        (0.0, 10.0, 3.0, 30.0),  # never under 30 m
        (381.0, 10.0, 3.0, 30.0),
        (1000.0, 10.0, 3.0, 62.4078),  # 10 + 1000 tan 3 degrees
        (1000.0, 60.0, 0.0, 60.0),
        (500.0, 0.0, 45.0, 500.0),
    ],
)
def test_half_width(chainage_m, place_error_m, drift_deg, expected_m):
    width = half_width_m(np.array([chainage_m]), place_error_m, drift_deg)
    assert width == pytest.approx([expected_m], abs=1e-4)


@pytest.mark.parametrize("drift", [-1.0, 45.1, math.nan])
def test_drifts_that_nobody_walks_are_refused(drift):
    with pytest.raises(QuantityError) as error:
        check_drift(drift)
    assert str(error.value) == (
        f"The drift should lie between 0 and 45 degrees; got {drift:g}. Usual is about 3."
    )
    assert check_drift(0.0) == 0.0
    assert check_drift(45.0) == 45.0


CELL = st.integers(8, SIZE - 9)
POINT = st.tuples(st.floats(10.0, SIZE - 10.0), st.floats(10.0, SIZE - 10.0))
BEND = st.lists(POINT, min_size=2, max_size=4).filter(
    lambda line: all(math.hypot(a[0] - b[0], a[1] - b[1]) > 1.0 for a, b in pairwise(line))
)
JACOBIAN = st.builds(turned, st.floats(0.0, 360.0), st.sampled_from([10.0, 5.0]), st.sampled_from([1.0]))


@settings(max_examples=250, deadline=None)
@given(CELL, CELL, BEND, JACOBIAN)
def test_a_cell_whose_square_reaches_into_the_corridor_is_in(row, col, line, jacobian):
    found = looked_at({(row, col): (50.0, 0.0)}, line, jacobian)
    true_m = true_distance_m(jacobian, line, row, col)
    if true_m <= 30.0:
        assert found.steepest is not None
        assert (found.steepest.slope_deg, found.steepest.row, found.steepest.col) == (
            50.0,
            row + 0.5,
            col + 0.5,
        )
        assert np.nanmax(found.by_bin_deg) == 50.0
    elif true_m > 30.0 + SHORTFALL * jacobian_cell_m(jacobian):
        assert found.steepest is not None
        assert found.steepest.slope_deg == 0.0
        assert np.nanmax(found.by_bin_deg) == 0.0


def jacobian_cell_m(jacobian):
    return float(np.hypot(*jacobian[:, 0]))


@settings(max_examples=250, deadline=None)
@given(CELL, CELL, BEND, JACOBIAN)
def test_told_distances_are_never_too_long_and_hardly_too_short(row, col, line, jacobian):
    found = looked_at({(row, col): (35.0, 0.0)}, line, jacobian, place_error_m=1000.0)
    nearest = [near for (_, least), near in found.nearest.items() if least == 30.0]
    if not nearest:  # wholly beyond an end: nothing abreast
        return
    true_m = true_distance_m(jacobian, line, row, col)
    assert len(nearest) == 1
    assert nearest[0].distance_m <= true_m + 1e-9
    assert nearest[0].distance_m >= true_m - SHORTFALL * jacobian_cell_m(jacobian)


@settings(max_examples=100, deadline=None)
@given(CELL, CELL, BEND, st.floats(0.0, 360.0), st.floats(0.4, 2.5))
def test_distances_on_cells_that_are_not_square(row, col, line, angle_deg, stretch):
    """Degrees at 57 N: cells about half as wide as high."""
    jacobian = turned(angle_deg, 10.0, stretch)
    found = looked_at({(row, col): (35.0, 0.0)}, line, jacobian, place_error_m=1000.0)
    for near in found.nearest.values():
        true_m = true_distance_m(jacobian, line, row, col)
        assert near.distance_m <= true_m + 1e-9
        assert near.distance_m >= true_m - 5.0 * max(1.0, stretch)


@pytest.mark.parametrize("travel_deg", range(0, 360, 45))
@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 211.0])
def test_left_and_right_are_those_of_travel(travel_deg, turn_deg):
    jacobian = turned(turn_deg)
    inverse = np.linalg.inv(jacobian)
    middle = jacobian @ np.array([SIZE / 2, SIZE / 2])
    heading = np.array([math.sin(math.radians(travel_deg)), math.cos(math.radians(travel_deg))])
    to_left = np.array([-heading[1], heading[0]])
    line = [tuple(inverse @ (middle + s * heading)) for s in (-80.0, 80.0)]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        col, row = (math.floor(value) for value in inverse @ (middle + sign * 45.0 * to_left))
        found = looked_at({(row, col): (46.0, 120.0)}, line, jacobian)
        assert set(found.nearest) == {(side, 30.0), (side, 45.0)}
        near = found.nearest[side, 45.0]
        assert near.height_m == 120.0
        assert near.distance_m == pytest.approx(40.0, abs=8.0)
        assert near.chainage_m == pytest.approx(80.0, abs=8.0)


def test_a_rim_25_m_to_the_left():
    # Walking north along column 20: the rim's cells begin 25 m to the west, 60 m higher.
    rim = {(row, 17): (48.0, 60.0) for row in range(SIZE)}
    found = looked_at(rim, [(20.5, 35.5), (20.5, 5.5)])
    near = found.nearest["left", 45.0]
    assert near.distance_m == pytest.approx(25.0, abs=1e-9)
    assert near.height_m == 60.0
    assert ("right", 45.0) not in found.nearest
    assert ("right", 30.0) not in found.nearest
    assert found.near_bins["left", 45.0].all()


def test_distance_height_and_chainage_are_those_of_one_cell():
    far, near = (12, 28), (25, 23)
    found = looked_at({far: (50.0, 300.0), near: (31.0, 20.0)}, [(20.5, 35.5), (20.5, 5.5)])
    assert found.nearest["right", 30.0] == Nearest(
        pytest.approx(25.0, abs=1e-9), pytest.approx(100.0, abs=1e-9), 20.0
    )
    assert found.nearest["right", 45.0] == Nearest(
        pytest.approx(75.0, abs=1e-9), pytest.approx(230.0, abs=1e-9), 300.0
    )


@pytest.mark.parametrize(("column", "listed"), [(31, True), (32, False)])
def test_ground_beyond_the_reach_is_not_listed(column, listed):
    # Edges of the columns lie 105 - 10 = 95 m and 105 m off.
    assert SIDE_REACH_M == 100.0
    found = looked_at({(20, column): (50.0, 0.0)}, [(21.5, 35.5), (21.5, 5.5)])
    assert (("right", 30.0) in found.nearest) is listed


def test_a_wide_corridor_reaches_farther_than_the_sides():
    found = looked_at({(20, 36): (50.0, 0.0)}, [(21.5, 35.5), (21.5, 5.5)], place_error_m=150.0)
    assert found.nearest["right", 45.0].distance_m == pytest.approx(145.0, abs=1e-9)
    assert found.steepest is not None
    assert found.steepest.slope_deg == 50.0


@pytest.mark.parametrize(
    ("slope_deg", "listed"),
    [(29.9, ()), (29.91, (30.0,)), (44.9, (30.0,)), (44.91, (30.0, 45.0))],
)
def test_slopes_asked_for_count_as_they_are_shown(slope_deg, listed):
    found = looked_at({(20, 24): (slope_deg, 0.0)}, [(21.5, 35.5), (21.5, 5.5)])
    assert tuple(least for side, least in found.nearest if side == "right") == listed
    assert all(side == "right" for side, _ in found.nearest)


def test_beyond_the_ends_ground_is_in_the_corridor_and_on_no_side():
    line = [(20.5, 25.5), (20.5, 15.5)]
    for row, inside in ((28, True), (29, False), (12, True), (11, False)):
        found = looked_at({(row, 20): (50.0, 0.0)}, line)
        assert found.nearest == {}
        assert found.steepest is not None
        # Edges 25 m and 35 m beyond the end; the cap is round and 30 m.
        assert (found.steepest.slope_deg == 50.0) is inside
    corner = looked_at({(28, 23): (50.0, 0.0)}, line)  # 25 m beyond, 25 m aside: 35.4 m
    assert corner.steepest is not None
    assert corner.steepest.slope_deg == 0.0


def test_a_wider_corridor_towards_the_end_of_a_leg():
    # 10 m and 20 degrees of drift: 10 + s tan 20, which is over 55 m only after 124 m.
    line = [(20.5, 35.5), (20.5, 5.5)]
    early = looked_at({(30, 26): (50.0, 0.0)}, line, drift_deg=20.0)
    late = looked_at({(10, 26): (50.0, 0.0)}, line, drift_deg=20.0)
    assert early.steepest is not None
    assert late.steepest is not None
    assert (early.steepest.slope_deg, late.steepest.slope_deg) == (0.0, 50.0)
    assert late.steepest.chainage_m == pytest.approx(250.0, abs=1e-9)


def test_bins_hold_what_lies_abreast():
    # 300 m in 40 bins of 7.5 m; the cell lies abreast of 145 to 155 m, in bins 19 and 20.
    found = looked_at({(20, 23): (40.0, 0.0)}, [(20.5, 35.5), (20.5, 5.5)])
    assert np.flatnonzero(found.by_bin_deg == 40.0).tolist() == [19, 20]
    assert np.flatnonzero(found.near_bins["right", 30.0]).tolist() == [19, 20]


@pytest.mark.parametrize("count", [24, 30, 31, 33, 40])
def test_no_bin_is_left_out_between_cells(count):
    """Bins a little shorter than cells: a rim that goes on has no gap in it."""
    rim = {(row, 17): (48.0, 60.0) for row in range(SIZE)}
    slope = np.zeros((SIZE, SIZE))
    for place in rim:
        slope[place] = 48.0
    col, row = np.array([20.5, 20.5]), np.array([35.5, 5.5])
    line = LineInWindow(col, row, np.array([0.0, 300.0]), (0.0, 300.0))
    found = beside(Window(slope, slope, NORTH_UP), line, (300.0 / count, count), 10.0, 0.0)
    assert (found.by_bin_deg == 48.0).all()
    assert found.near_bins["left", 45.0].all()


def test_unknown_ground_has_its_side_and_its_reach():
    line = [(20.5, 35.5), (20.5, 5.5)]
    in_corridor = looked_at({(20, 18): (math.nan, 0.0)}, line)
    assert in_corridor.unknown
    assert in_corridor.unknown_sides == {"left"}
    beside_it = looked_at({(20, 25): (math.nan, 0.0)}, line)  # 40 m off
    assert not beside_it.unknown
    assert beside_it.unknown_sides == {"right"}
    far = looked_at({(20, 33): (math.nan, 0.0)}, line)  # 120 m off
    assert not far.unknown
    assert far.unknown_sides == frozenset()
    wholly = looked_at({}, line, level=math.nan)
    assert wholly.steepest is None
    assert wholly.unknown
    assert np.isnan(wholly.by_bin_deg).all()


def test_stretches_of_a_leg_share_no_cell_and_lose_none():
    """Looked at in three stretches, a leg has what it has looked at whole."""
    rng = np.random.default_rng(8)
    slope = rng.uniform(0.0, 60.0, (SIZE, SIZE))
    slope[rng.random((SIZE, SIZE)) < 0.01] = np.nan
    window = Window(slope, rng.uniform(0.0, 500.0, (SIZE, SIZE)), NORTH_UP)
    col, row = np.array([(12.0, 29.0), (18.0, 24.0), (19.0, 17.0), (29.0, 12.0)]).T
    chainage = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(col), np.diff(row)) * 10.0)))
    bins = (chainage[-1] / 30, 30)
    ends = float(chainage[-1])
    whole = beside(window, LineInWindow(col, row, chainage, (0.0, ends)), bins, 10.0, 3.0)
    parts = []
    for k in range(3):
        around = slice(max(k - 1, 0), k + 3)
        span = (float(chainage[k]), float(chainage[k + 1]))
        line = LineInWindow(col[around], row[around], chainage[around], span)
        parts.append(beside(window, line, bins, 10.0, 3.0))
    joined = merge(parts)
    assert joined.steepest == whole.steepest
    assert np.array_equal(joined.by_bin_deg, whole.by_bin_deg, equal_nan=True)
    assert {key: near.distance_m for key, near in joined.nearest.items()} == {
        key: near.distance_m for key, near in whole.nearest.items()
    }
    assert joined.near_bins.keys() == whole.near_bins.keys()
    for key, bins_set in whole.near_bins.items():
        assert np.array_equal(joined.near_bins[key], bins_set)
    assert (joined.unknown, joined.unknown_sides) == (whole.unknown, whole.unknown_sides)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(10.0, 110.0), st.floats(10.0, 110.0)), min_size=2, max_size=5, unique=True),
    st.integers(0, 3),
    st.floats(0.0, 360.0),
    st.floats(0.5, 2.0),
    st.floats(5.0, 200.0),
)
def test_cells_passed_over_in_blocks_are_none_within_the_reach(points, piece, angle, stretch, reach_m):
    jacobian = turned(angle, 2.0, stretch)
    col, row = np.array(points).T
    east, north = jacobian @ np.stack((col, row))
    chainage = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))))
    piece = min(piece, len(points) - 2)
    part = slice(max(piece - 1, 0), piece + 3)
    line = LineInWindow(col[part], row[part], chainage[part], (chainage[piece], chainage[piece + 1]))
    numbered = np.arange(120.0 * 120.0).reshape(120, 120)
    window = Window(numbered, numbered, jacobian)
    found = near_cells(window, line, reach_m)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(corridor, "_BLOCK", 1000)  # one block, never passed over
        every = near_cells(window, line, reach_m)
    kept = every.edge_m <= reach_m
    assert np.isin(every.height_m[kept], found.height_m).all()
    same = np.isin(every.height_m, found.height_m)
    for name, column in vars(found).items():
        assert np.array_equal(column, vars(every)[name][same])


def test_cells_far_from_a_stretch_are_passed_over():
    """Of 240 m by 240 m, 80 m of a line are left, with 40 m on both sides and a few cells more."""
    level = np.zeros((120, 120))
    col, row = np.array([20.0, 40.0, 80.0, 100.0]), np.full(4, 60.0)
    line = LineInWindow(col, row, (col - 20.0) * 2.0, (40.0, 120.0))
    found = near_cells(Window(level, level, turned(0.0, 2.0)), line, 40.0)
    assert set(found.col) == set(np.arange(40.5, 80.0))
    assert set(found.row) == set(np.arange(36.5, 84.0))
    assert len(found.edge_m) == 40 * 48


def test_merge_takes_the_steepest_and_the_nearest():
    empty = BesideLine(None, False, np.array([np.nan, 3.0]))
    found = BesideLine(
        Steepest(41.0, 3.5, 4.5, 60.0),
        True,
        np.array([41.0, np.nan]),
        {("left", 30.0): Nearest(20.0, 60.0, 700.0)},
        {("left", 30.0): np.array([True, False])},
        frozenset({"left"}),
    )
    nearer = BesideLine(
        Steepest(33.0, 1.5, 1.5, 90.0),
        False,
        np.array([np.nan, 33.0]),
        {("left", 30.0): Nearest(5.0, 90.0, 650.0)},
        {("left", 30.0): np.array([False, True])},
        frozenset({"right"}),
    )
    joined = merge([empty, found, nearer])
    assert joined.steepest == Steepest(41.0, 3.5, 4.5, 60.0)
    assert joined.unknown
    assert joined.by_bin_deg.tolist() == [41.0, 33.0]
    assert joined.nearest == {("left", 30.0): Nearest(5.0, 90.0, 650.0)}
    assert joined.near_bins["left", 30.0].tolist() == [True, True]
    assert joined.unknown_sides == {"left", "right"}
    assert merge([empty]).steepest is None
