"""Unknown ground above, by its one rule: by hand, and against every cell tried one by one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.terrain.overhead.made_ground import found, given, rough

from steybrae.route.overhead.result import unknown_words
from steybrae.terrain.overhead.unknown import UnknownAt, nearest_unknown, unknown_above


def points(ground, cells):
    col, row = np.transpose(cells)
    return ground.points(col.astype(float), row.astype(float))


def brute(ground, place):
    """The rule as it is written, cell by cell: whether it could look down, and from how near."""
    z, unknown = ground.dem.heights_m, ground.zones.unknown
    row, col = np.indices(z.shape)
    east, north = ground.offset_m(col + 0.5 - place.col[0], row + 0.5 - place.row[0])
    apart = np.hypot(east, north)
    if unknown[int(place.row[0]), int(place.col[0])] or np.isnan(place.height_m[0]):
        return True, 0.0
    if not unknown.any():
        return False, math.inf
    near = max(0.0, float(apart[unknown].min()) - max(ground.cell_m) / 2.0)
    highest = float(np.nanmax(z[apart <= ground.reach_m])) - float(place.height_m[0])
    steep = near > 0.0 and highest / near >= math.tan(math.radians(25.0))
    return near <= ground.reach_m and (near <= 300.0 or steep), near


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("reach_m", [250.0, 900.0, 5000.0])
def test_every_cell_tried_one_by_one_says_the_same(seed, reach_m):
    rng = np.random.default_rng(seed)
    z = rough(90, seed, relief=0.6)
    for _ in range(seed):
        i, j = rng.integers(0, 85, 2)
        z[i : i + 4, j : j + rng.integers(1, 6)] = np.nan
    ground = found(z, reach_m=reach_m) if seed % 2 else given(z, np.zeros(z.shape), reach_m=reach_m)
    places = points(ground, rng.uniform(2.0, 88.0, (60, 2)))
    there = unknown_above(ground, places).there
    distance, _ = nearest_unknown(ground, places)
    for k in range(len(there)):
        told, near = brute(ground, places.pick(np.array([k])))
        assert there[k] == told
        assert distance[k] == pytest.approx(near, abs=1e-6)


@pytest.mark.parametrize(
    ("off_m", "top_m", "told"),
    [
        (295.0, 0.0, True),
        (320.0, 0.0, False),
        (1000.0, 470.0, True),
        (1000.0, 455.0, False),
        (4700.0, 5000.0, False),
    ],
)
def test_a_level_model_that_ends_beside_a_hill_as_high_as_said(off_m, top_m, told):
    """300 m always; beyond, tan(25) times 1000 m are 466 m of the highest ground known within reach."""
    z = np.zeros((11, 520))
    z[2, 30] = top_m
    z[:, 10 + int(off_m / 10.0) :] = np.nan
    ground = given(z, np.zeros(z.shape), reach_m=4600.0)
    above = unknown_above(ground, points(ground, [(10.0, 5.5)]))
    assert above.there.tolist() == [told]
    if told:
        assert above.nearest.distance_m == pytest.approx(off_m, abs=10.0)
        assert above.nearest.model_ends
        assert above.nearest.bearing_true_deg == pytest.approx(90.0, abs=2.0)


def test_high_ground_out_of_reach_of_the_place_says_nothing():
    z = np.zeros((11, 400))
    z[5, 390] = 3000.0
    z[:, :3] = np.nan
    ground = given(z, np.zeros(z.shape), reach_m=3000.0)
    there = unknown_above(ground, points(ground, [(60.5, 5.5), (95.5, 5.5)])).there
    # 570 m off the edge, the top 3.3 km away; 920 m off, 2.95 km away.
    assert there.tolist() == [False, True]


@pytest.mark.parametrize("top", [384, 390, 391])
def test_high_ground_says_something_as_far_as_the_reach_and_not_a_cell_farther(top):
    """300 cells; the top is the first, a middle and the last cell of the square that is asked for it."""
    z = np.zeros((11, 400))
    z[5, top] = 3000.0
    z[:, :3] = np.nan
    ground = given(z, np.zeros(z.shape), reach_m=3000.3)
    off = np.arange(290, 311)
    there = unknown_above(ground, points(ground, [(top - apart + 0.5, 5.5) for apart in off])).there
    assert there.tolist() == (off <= 300).tolist()


@pytest.mark.parametrize("size", [400, 401, 407])
def test_high_ground_in_the_last_cell_of_the_model_counts(size):
    z = np.zeros((11, size))
    z[10, size - 1] = 3000.0
    z[:, :3] = np.nan
    ground = given(z, np.zeros(z.shape), reach_m=3000.0)
    assert unknown_above(ground, points(ground, [(size - 295.5, 5.5)])).there.tolist() == [True]


def test_a_place_in_unknown_ground_alone_counts_without_a_side():
    z = np.zeros((60, 60))
    z[20:40, 20:40] = np.nan
    ground = given(z, np.zeros(z.shape))
    assert unknown_above(ground, points(ground, [(30.5, 30.5)])).nearest == UnknownAt(0.0, None, False)


def turned(z, col, row, turn):
    """Square ground and a place on it, turned so many quarters against the clock."""
    for _ in range(turn):
        z, col, row = np.rot90(z), row, len(z) - col
    return z, (col, row)


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("ring", [0, 1])
def test_unknown_ground_at_the_edge_is_the_end_of_the_model_on_every_side(turn, ring):
    """Half-left of the place; with one known cell behind it, it is a hole."""
    z = np.zeros((60, 60))
    z[ring, 30 + ring] = np.nan
    ground, place = turned(z, 40.5 + ring, 10.5 + ring, turn)
    at = unknown_above(given(ground, np.zeros(z.shape)), points(given(ground, z), [place])).nearest
    assert at is not None
    assert at.model_ends == (ring == 0)
    # 180.25 km west of the zone's middle, 45.13 degrees north: true north lies 1.62 from the grid's.
    assert at.bearing_true_deg == pytest.approx((315.0 - 90.0 * turn) % 360.0 - 1.62, abs=0.05)
    assert at.distance_m == pytest.approx(math.hypot(100.0, 100.0) - 5.0, rel=1e-3)


def test_a_hole_is_not_the_end_of_the_model():
    z = np.zeros((60, 60))
    z[28:32, 40:44] = np.nan
    ground = given(z, np.zeros(z.shape))
    at = unknown_above(ground, points(ground, [(20.5, 30.0)])).nearest
    assert at is not None
    assert not at.model_ends
    assert unknown_words(at) == "unknown ground begins 195 m east"


def test_how_far_all_is_known_is_told_where_nothing_unknown_could_look_down_too():
    z = np.zeros((200, 200))
    z[:, 180:] = np.nan
    ground = given(z, np.zeros(z.shape))
    found = unknown_above(ground, points(ground, [(100.5, 100.5), (140.5, 100.5)]))
    assert found.nearest is None
    assert found.known_to_m == pytest.approx([795.0, 395.0], rel=1e-3)


def test_nothing_unknown_and_no_places():
    ground = given(np.zeros((20, 20)), np.zeros((20, 20)))
    assert unknown_above(ground, points(ground, [(5.5, 5.5)])).nearest is None
    assert unknown_above(ground, points(ground, np.empty((0, 2)))).nearest is None


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (UnknownAt(1049.0, 88.0, model_ends=True), "the model ends 1.0 km east"),
        (UnknownAt(999.6, 225.0, model_ends=True), "the model ends 999 m south-west"),
        (UnknownAt(0.0, None, model_ends=False), "part of it is unknown ground itself"),
    ],
)
def test_the_reason_names_distance_and_side(at, words):
    assert unknown_words(at) == words
