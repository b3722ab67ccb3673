"""The compiled energy line: against brute force of the same definition, turned, and on exact ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from tests.terrain.overhead import brute_overhead as brute
from tests.terrain.overhead.made_ground import rough

from steybrae.raster.overhead import kernel
from steybrae.raster.overhead.heads import brings_more, mark_reached
from steybrae.raster.overhead.kernel import LANES, settle
from steybrae.raster.overhead.layers import LENGTHS, NEITHER, RING, START_ZONE, TILE_CELLS
from steybrae.raster.overhead.survey import shortest_share, smallest_cell_m, tile_lengths_m
from steybrae.terrain.dem import Grid

CELL_M = 10.0
STEPS_M = CELL_M * np.hypot(*np.array(LENGTHS, dtype=float).T)


def walled(z):
    """Heights, the lowest of them and an empty head of a whole raster, for the kernel."""
    known = np.where(np.isnan(z), -np.inf, z).astype(np.float32)
    heights = np.pad(known, RING, constant_values=np.inf)
    return heights, np.nanmin(z).astype(np.float32), np.full_like(heights, -np.inf)


def costs(shape, angle_deg, steps_m=STEPS_M):
    down, right = (-(-size // TILE_CELLS) + 2 for size in shape)
    lost = np.tan(np.radians(angle_deg)) * steps_m
    return np.broadcast_to(lost, (down, right, len(LENGTHS))).astype(np.float32)


def settled(head, z, lowest, lost, again):
    """Settle heads of one angle, which fill all lanes and come out of each the same; who gets more."""
    lanes, costs = np.repeat(head[..., None], LANES, axis=-1), np.repeat(lost[..., None], LANES, axis=-1)
    settle(lanes, z, lowest, costs, again)
    assert (lanes == lanes[..., :1]).all()
    head[...] = lanes[..., 0]
    return brings_more(lanes, z, lowest, costs)


def heads(z, source, angle_deg, steps_m=STEPS_M):
    """Heads of a raster taken as one block."""
    heights, lowest, head = walled(z)
    np.copyto(head[RING:-RING, RING:-RING], z.astype(np.float32), where=source & ~np.isnan(z))
    settled(head, heights, lowest, costs(z.shape, angle_deg, steps_m), False)
    return head[RING:-RING, RING:-RING]


def heads_together(z, source, angles_deg, steps_m=STEPS_M):
    """Heads of up to as many angles as there are lanes, each as `heads` gives it."""
    heights, lowest, head = walled(z)
    np.copyto(head[RING:-RING, RING:-RING], z.astype(np.float32), where=source & ~np.isnan(z))
    lanes = np.repeat(head[..., None], LANES, axis=-1)
    lost = np.stack([costs(z.shape, deg, steps_m) for deg in np.resize(angles_deg, LANES)], axis=-1)
    # Laid out as a run lays it: the kernel would be compiled anew for another.
    settle(lanes, heights, lowest, np.ascontiguousarray(lost), False)
    return lanes, heights


def reached(z, source, angle_deg, steps_m=STEPS_M):
    """Cells to which another cell brings a head of at least their height."""
    seed = np.where(source & ~np.isnan(z), z, -np.inf).astype(np.float32)
    return (heads(z, source, angle_deg, steps_m) > seed) & ~np.isnan(z)


def ground(seed, size=200):
    """Rough ground with voids and some sources, high and low."""
    random = np.random.default_rng(seed)
    z = rough(size, seed, relief=0.5)
    for _ in range(12):
        row, col = random.integers(0, size - 12, 2)
        z[row : row + random.integers(1, 12), col : col + random.integers(1, 12)] = np.nan
    source = np.zeros(z.shape, dtype=bool)
    for _ in range(30):
        row, col = random.integers(0, size - 6, 2)
        source[row : row + 5, col : col + 5] = True
    return z, source


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("angle_deg", [18.0, 26.0, 34.0, 45.0])
def test_reaches_what_brute_force_reaches_and_nothing_else(seed, angle_deg):
    z, source = ground(seed, size=TILE_CELLS + 22)  # a little more than a tile: heads pass between tiles
    # Single precision may stop short or go on where a thousandth of a degree decides.
    least, most = (
        ~np.isnan(z) & (brute.heads_from_all(z, CELL_M, source, angle_deg + lean) >= z)
        for lean in (1e-3, -1e-3)
    )
    got = reached(z, source, angle_deg)
    assert not (least & ~got).any()
    assert not (got & ~most).any()
    assert 0.05 < got.mean() < 0.95


def relaxed(head, z, lowest, lost):
    """Heads by the definition alone: every cell from all 16 at once, until none rises."""
    rows, cols = (size - 2 * RING for size in z.shape)

    def at(cells, i, j):
        return cells[RING + j : RING + j + rows, RING + i : RING + i + cols]

    worth, rising = np.maximum(at(z, 0, 0), lowest), True
    with np.errstate(invalid="ignore"):
        while rising:
            before = at(head, 0, 0).copy()
            for i, j, cost in [
                (turned * i, turned * j, lost[k]) for k, (i, j) in enumerate(LENGTHS) for turned in (1, -1)
            ]:
                brought, least = at(head, i, j) - cost, worth
                if 2 in (abs(i), abs(j)):
                    near = (i // 2, 0) if abs(i) == 2 else (0, j // 2)
                    far = (i - near[0], j - near[1])
                    crossed = at(z, *near) + at(z, *far) - cost
                    least = np.maximum(worth, crossed * np.float32(0.5))
                own = at(head, 0, 0)
                np.maximum(own, brought, out=own, where=brought >= least)
            rising = not np.array_equal(before, at(head, 0, 0))
    return head


@pytest.mark.parametrize("shape", [(5, 1), (3, 2), (9, 31), (4, 33), (40, 66), (131, 162), (260, 259)])
@pytest.mark.parametrize("angle_deg", [22.0, 40.0])
def test_no_piece_is_passed_over_that_something_would_rise_in(shape, angle_deg):
    """Widths around those of pieces and tiles; to the last bit, and again after the ring has risen."""
    z, source = (cells[: shape[0], : shape[1]] for cells in ground(11, size=260))
    source = source | (np.random.default_rng(5).uniform(size=shape) < 0.3)
    heights, lowest, head = walled(z)
    np.copyto(head[RING:-RING, RING:-RING], z.astype(np.float32), where=source & ~np.isnan(z))
    lost = costs(shape, angle_deg)
    by_hand = relaxed(head.copy(), heights, lowest, lost[0, 0])
    settled(head, heights, lowest, lost, False)
    assert_array_equal(head, by_hand)
    # A neighbour's ground is not outside of all ground.
    heights[RING:-RING, -RING:] = heights[RING:-RING, -RING - 1 : -RING]
    heights[:RING, RING:-RING] = heights[RING, RING:-RING]
    for cells in (head, by_hand):
        cells[RING:-RING, -RING:] = heights[RING:-RING, -RING:] + np.float32(150.0)
        cells[:RING, RING:-RING] = heights[:RING, RING:-RING] + np.float32(80.0)
    settled(head, heights, lowest, lost, True)
    assert_array_equal(head, relaxed(by_hand, heights, lowest, lost[0, 0]))


def test_angles_that_are_settled_together_get_what_each_gets_alone():
    z, source = ground(12)
    angles_deg = np.linspace(18.0, 60.0, LANES)
    lanes, heights = heads_together(z, source, angles_deg)
    for lane, angle_deg in enumerate(angles_deg):
        assert_array_equal(lanes[RING:-RING, RING:-RING, lane], heads(z, source, angle_deg))
    classes = np.where(source & ~np.isnan(z), START_ZONE, NEITHER).astype(np.uint8)
    got = np.empty_like(classes)
    mark_reached(lanes, heights, classes, np.arange(1, LANES + 1, dtype=np.uint8), got)
    expected = sum(reached(z, source, angle_deg).astype(int) for angle_deg in angles_deg)
    # Snow lies on unknown ground too, at no height; what is said of it elsewhere is that it is unknown.
    assert_array_equal(np.where(np.isnan(z), 0, got), expected)
    assert len(np.unique(got)) == LANES + 1


TURNS = {
    "turned left": np.rot90,
    "turned round": lambda z: np.rot90(z, 2),
    "east for west": lambda z: z[:, ::-1],
    "north for south": lambda z: z[::-1],
    "rows for columns": np.transpose,
}


@pytest.mark.parametrize("turn", TURNS)
def test_turning_and_mirroring_the_grid_turns_the_answer(turn):
    z, source = ground(7, size=150)
    change = TURNS[turn]
    got = heads(np.ascontiguousarray(change(z)), np.ascontiguousarray(change(source)), 24.0)
    assert_array_equal(got, change(heads(z, source, 24.0)))


def test_a_constant_added_to_the_heights_changes_nothing():
    z, source = ground(8, size=150)
    z = np.round(z)
    assert_array_equal(reached(z + 1024.0, source, 24.0), reached(z, source, 24.0))


def test_a_step_by_hand():
    """A cliff of 100 m above a plain: along a row snow arrives as far as 100 m / tan(a)."""
    z = np.zeros((9, 60))
    z[:, 0] = 100.0
    source = np.zeros(z.shape, dtype=bool)
    source[4, 0] = True
    for angle_deg in (18.0, 25.0, 40.0):
        count = int(100.0 / (math.tan(math.radians(angle_deg)) * CELL_M))
        got = reached(z, source, angle_deg)[4]
        assert_array_equal(np.flatnonzero(got), np.arange(1, count + 1))


def test_a_rise_is_passed_only_below_the_head():
    """After 10 steps at 30 degrees the head has lost 57.7 m of 100."""
    for rise, passed in ((42.2, True), (42.3, False)):
        z = np.zeros((1, 60))
        z[0, 0], z[0, 10] = 100.0, rise
        source = np.zeros(z.shape, dtype=bool)
        source[0, 0] = True
        got = reached(z, source, 30.0)
        assert got[0, 9]
        assert got[0, 10] == got[0, 11] == passed


def test_a_short_steep_source_does_not_hide_a_long_one():
    z = np.zeros((1, 100))
    z[0, 0], z[0, 40] = 300.0, 30.0
    source = z > 0.0
    got = reached(z, source, 19.0)
    assert got[0, 41:88].all()  # 300 / tan(19) is 871 m; the near one alone reaches 87 m
    assert not got[0, 88:].any()


def test_blocks_that_pass_heads_on_get_what_the_whole_gets():
    """Two halves, each with the other's two outer columns as its ring, until neither brings more."""
    z, source = ground(9)
    whole = heads(z, source, 22.0)
    cut, lost = 96, costs((200, 104), 22.0)
    heights, lowest, empty = walled(z)
    seeds = empty.copy()
    np.copyto(seeds[RING:-RING, RING:-RING], z.astype(np.float32), where=source & ~np.isnan(z))
    parts = [slice(0, cut + 2 * RING), slice(cut, None)]
    found = [seeds[:, part].copy() for part in parts]
    found[0][:, -RING:] = found[1][:, :RING] = -np.inf
    visits, waiting = 0, [0, 1]
    while waiting:
        k = waiting.pop(0)
        head = seeds[:, parts[k]].copy()
        if k == 0:
            head[:, -RING:] = found[1][:, RING : 2 * RING]
        else:
            head[:, :RING] = found[0][:, -2 * RING : -RING]
        bits = settled(head, heights[:, parts[k]].copy(), lowest, lost, False)
        found[k], visits = head, visits + 1
        assert bits & ~(1 << 3 | 1 << 5) == 0  # only to the left or the right
        if bits and 1 - k not in waiting:
            waiting.append(1 - k)
    assert visits > 2
    joined = np.hstack([found[0][:, RING:-RING], found[1][:, RING:-RING]])[RING:-RING]
    assert_array_equal(joined, whole)


def test_ways_are_never_told_longer_than_the_straight_line():
    """Of square cells cos(13.28 degrees); any two directions with the straight line between them."""
    steps = np.array(LENGTHS, dtype=float)
    assert shortest_share(steps) == pytest.approx(math.cos(math.atan(0.5) / 2.0), abs=1e-12)
    for stretch in ((1.0, 1.0), (1.0, 2.0), (3.0, 1.0)):
        moves = np.vstack([steps, -steps]) * stretch
        share = float(shortest_share(steps * stretch))
        pairs = np.array([(a, b) for a in moves for b in moves if abs(a[0] * b[1] - a[1] * b[0]) > 1e-9])
        lengths = np.hypot(pairs[..., 0], pairs[..., 1])
        for bearing in np.radians(np.arange(0.0, 360.0, 0.5)):
            aim = np.array([math.cos(bearing), math.sin(bearing)])
            # The shortest way to a far point on the bearing is a mix of two of the steps.
            times = np.linalg.solve(np.swapaxes(pairs, 1, 2), aim[:, None])[..., 0]
            best = (times * lengths).sum(axis=1)[(times >= -1e-12).all(axis=1)].min()
            assert best * share <= 1.0 + 1e-12


def test_lengths_belong_to_places_and_not_to_blocks():
    grid = Grid((1 / 3600, 0.0, 8.0, 0.0, -1 / 3600, 61.0), "EPSG:4326", (1000, 900))
    whole = tile_lengths_m(grid, -1, -1, 10, 10)
    part = tile_lengths_m(grid, 2, 3, 4, 2)
    assert_array_equal(part, whole[3:7, 4:6])
    across, down = smallest_cell_m(grid)
    # WGS 84: N = a / sqrt(1 - e2 sin2), M = a (1 - e2) / (1 - e2 sin2)^1.5. A second of longitude is
    # shortest in the north, one of latitude in the south.
    a, e2, second = 6_378_137.0, 0.00669437999014, math.radians(1 / 3600)
    north, south = (math.radians(61.0 - row / 3600) for row in (0.5, 999.5))
    across_m = second * math.cos(north) * a / math.sqrt(1.0 - e2 * math.sin(north) ** 2)
    down_m = second * a * (1.0 - e2) / (1.0 - e2 * math.sin(south) ** 2) ** 1.5
    assert (across, down) == pytest.approx((across_m, down_m), rel=1e-6)


def test_works_where_no_folder_can_keep_the_compiled_code(monkeypatch):
    asked = []

    def njit(function, **options):
        asked.append(options)
        if options.get("cache"):
            message = "cannot cache function: no locator available"
            raise RuntimeError(message)
        return function

    monkeypatch.setattr(kernel.numba, "njit", njit)
    assert kernel.compiled(math.hypot) is math.hypot
    assert asked == [{"nogil": True, "cache": True}, {"nogil": True}]
