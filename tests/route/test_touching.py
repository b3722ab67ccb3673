"""Cells that a line touches: none is missed, metres add up, crests and gullies keep their slope."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.on_grid import model
from tests.synthetic import Crest

from steybrae.bands import BandScheme
from steybrae.route.corridor import NearCells, Window
from steybrae.route.touching import (
    BeyondEnd,
    CorridorCells,
    cells_of,
    cut_at_edges,
    join_pieces,
    own_cells,
    touched,
)
from steybrae.screening.leg import band_lengths_m
from steybrae.terrain.attributes import SlopeField, slope_field
from steybrae.terrain.dem import Dem

SIZE = 24
POSITION = st.floats(3.0, SIZE - 3.0)
LINES = st.lists(st.tuples(POSITION, POSITION), min_size=2, max_size=5)


def field_of(slope_deg):
    """A field with given slopes; gradients that tell which cell was taken."""
    slope = np.asarray(slope_deg, dtype=float)
    dem = model(Crest(10.0), slope.shape)
    p = np.arange(slope.size, dtype=float).reshape(slope.shape)
    return SlopeField(dem, p, p + 0.5, slope, slope)


def chainages(points):
    col, row = np.array(points).T
    return col, row, np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(col), np.diff(row)) * 10.0)))


def squares_at(col, row, slack=1e-6):
    """Squares that hold a position, those that touch it there included: by plain loops."""
    return [
        (r, c)
        for r in range(SIZE)
        for c in range(SIZE)
        if c - slack <= col <= c + 1 + slack and r - slack <= row <= r + 1 + slack
    ]


def steepest_near(slope, col, row):
    """Steepest slope of those squares and their eight neighbours."""
    found = [slope[r + a, c + b] for r, c in squares_at(col, row) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    return max(found)


@settings(max_examples=100, deadline=None)
@given(LINES)
def test_pieces_tile_the_line_without_gaps(points):
    col, row, chainage = chainages(points)
    pieces = touched(field_of(np.zeros((SIZE, SIZE))), col, row, chainage)
    if chainage[-1] == 0.0:
        assert len(pieces.start_m) == 0
        return
    assert pieces.start_m[0] == 0.0
    assert pieces.end_m[-1] == chainage[-1]
    assert np.array_equal(pieces.start_m[1:], pieces.end_m[:-1])
    assert (pieces.length_m > 0.0).all()
    assert pieces.length_m.sum() == pytest.approx(chainage[-1], abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(LINES, st.integers(0, 2**32 - 1))
def test_no_cell_that_the_line_touches_is_missed(points, seed):
    """Dense sampling, with plain loops over cells, finds the same steepest cell everywhere."""
    slope = np.random.default_rng(seed).uniform(0.0, 80.0, (SIZE, SIZE))
    col, row, chainage = chainages(points)
    pieces = touched(field_of(slope), col, row, chainage)
    for at in np.random.default_rng(seed).uniform(0.0, chainage[-1], 40) if chainage[-1] else []:
        x, y = np.interp(at, chainage, col), np.interp(at, chainage, row)
        k = int(np.searchsorted(pieces.end_m, at))
        # On an edge, at the end of a piece, the answer may be that of either piece.
        if min(at - pieces.start_m[k], pieces.end_m[k] - at) < 1e-3:
            continue
        assert pieces.slope_deg[k] == steepest_near(slope, x, y)
        assert pieces.slope_deg[k] >= slope[math.floor(y), math.floor(x)]


@settings(max_examples=40, deadline=None)
@given(LINES, st.integers(0, 2**32 - 1))
def test_low_ends_are_of_the_cells_touched_and_high_ends_of_those_around_too(points, seed):
    low, high = np.random.default_rng(seed).uniform(0.0, 80.0, (2, SIZE, SIZE))
    col, row, chainage = chainages(points)
    level = field_of(np.zeros((SIZE, SIZE)))
    pieces = touched(level, col, row, chainage, lambda j, i: ((low[j, i], high[j, i]), high[j, i]))
    for k, at_m in enumerate((pieces.start_m + pieces.end_m) / 2.0):
        at = np.interp(at_m, chainage, col), np.interp(at_m, chainage, row)
        assert pieces.low_deg[k] == max(low[square] for square in squares_at(*at))
        assert pieces.high_deg[k] == steepest_near(high, *at)


def test_gradients_are_those_of_the_steepest_cell():
    slope = np.zeros((SIZE, SIZE))
    slope[10, 11] = 50.0
    field = field_of(slope)
    pieces = touched(field, *chainages([(5.5, 10.5), (18.5, 10.5)]))
    steep = pieces.slope_deg == 50.0
    # Touched from the square before to the square behind it: 3 cells of 10 m.
    assert pieces.length_m[steep].sum() == pytest.approx(30.0, abs=1e-9)
    assert set(pieces.p[steep]) == {field.p[10, 11]}
    assert set(pieces.q[steep]) == {field.q[10, 11]}


@pytest.mark.parametrize(
    ("col", "columns"),
    [
        (12.5, {11, 12, 13}),  # along a line of cell centres
        (12.0, {10, 11, 12, 13}),  # along an edge: the squares on both sides are touched
        (12.0 + 1e-9, {10, 11, 12, 13}),  # the same, within PROJ's noise
        (12.01, {11, 12, 13}),
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_cells_along_centres_and_edges(col, columns, turned):
    for column in range(SIZE):
        slope = np.zeros((SIZE, SIZE))
        slope[:, column] = 45.0
        points = [(col, 6.3), (col, 17.8)]
        if turned:
            slope, points = slope.T, [(y, x) for x, y in points]
        pieces = touched(field_of(slope), *chainages(points))
        assert (pieces.slope_deg == (45.0 if column in columns else 0.0)).all()


def test_a_line_through_a_corner_counts_all_four_squares():
    for row, col in ((9, 9), (9, 10), (10, 9), (10, 10)):
        slope = np.zeros((SIZE, SIZE))
        slope[row, col] = 45.0
        pieces = touched(field_of(slope), *chainages([(8.0, 8.0), (12.0, 12.0)]))
        assert pieces.slope_deg.max() == 45.0


def test_unknown_cells_make_their_metres_unknown_and_hide_no_steep_one():
    slope = np.full((SIZE, SIZE), 20.0)
    slope[10, 12] = np.nan
    slope[11, 12] = 41.0
    pieces = touched(field_of(slope), *chainages([(5.5, 10.5), (18.5, 10.5)]))
    beside = (pieces.start_m >= 55.0 - 1e-9) & (pieces.end_m <= 85.0 + 1e-9)
    assert (pieces.known == ~beside).all()
    assert pieces.length_m[~pieces.known].sum() == pytest.approx(30.0, abs=1e-9)
    assert set(pieces.slope_deg[beside]) == {41.0}
    wholly = touched(field_of(np.full((SIZE, SIZE), np.nan)), *chainages([(5.5, 5.5), (9.5, 8.5)]))
    assert np.isnan(wholly.slope_deg).all()
    assert not wholly.known.any()


def test_joined_pieces_are_those_of_the_whole_line():
    slope = np.random.default_rng(4).uniform(0.0, 60.0, (SIZE, SIZE))
    col, row, chainage = chainages([(4.2, 5.1), (11.7, 9.9), (19.3, 8.8)])
    whole = touched(field_of(slope), col, row, chainage)
    halves = [touched(field_of(slope), col[k : k + 2], row[k : k + 2], chainage[k : k + 2]) for k in (0, 1)]
    joined = join_pieces(halves)
    for name in ("start_m", "end_m", "slope_deg", "p", "q", "known"):
        assert np.array_equal(getattr(joined, name), getattr(whole, name))


@settings(max_examples=80, deadline=None)
@given(LINES)
def test_cuts_rise_and_hold_every_vertex_and_edge(points):
    col, row, chainage = chainages(points)
    cuts = cut_at_edges(col, row, chainage)
    assert (np.diff(cuts) > 0.0).all()
    assert set(chainage) <= set(cuts)
    for position in (col, row):
        for k in range(len(position) - 1):
            low, high = sorted(position[k : k + 2])
            if high - low < 1e-3:
                continue
            for edge in range(math.ceil(low), math.floor(high) + 1):
                share = (edge - position[k]) / (position[k + 1] - position[k])
                at = chainage[k] + share * (chainage[k + 1] - chainage[k])
                assert np.abs(cuts - at).min() < 1e-6


class Moved(Crest):
    """A crest that runs `aside_m` to the right of the origin; upside down it is a gully."""

    aside_m = 0.0
    turned = 1.0

    def height_m(self, east_m, north_m):
        along = math.radians(self.bearing_deg)
        east, north = self.aside_m * math.cos(along), -self.aside_m * math.sin(along)
        return self.turned * super().height_m(east_m - east, north_m - north)


@settings(max_examples=120, deadline=None)
@given(
    st.sampled_from([5.0, 30.0, 40.0, 50.0]),
    st.floats(0.0, 360.0),
    st.floats(-10.0, 10.0),
    st.sampled_from([1.0, -1.0]),
    st.sampled_from(["horn", "zevenbergen-thorne", "evans"]),
)
@example(40.0, 0.0, 0.0, 1.0, "horn")  # along a line of cell centres
@example(40.0, 0.0, 5.0, 1.0, "horn")  # along an edge, where the cells beside it show 22.8 degrees
@example(40.0, 90.0, 5.0, -1.0, "horn")
@example(40.0, 45.0, 0.0, 1.0, "horn")
@example(40.0, 45.0, 5.0 / math.sqrt(2.0), 1.0, "horn")
def test_a_crest_or_gully_is_nowhere_shown_gentler_than_its_sides(
    slope_deg, bearing_deg, aside_m, turned, method
):
    """40 degrees on both sides: no metre of a line along it lies below 40, wherever it runs."""
    surface = Moved(slope_deg, bearing_deg)
    object.__setattr__(surface, "aside_m", aside_m)
    object.__setattr__(surface, "turned", turned)
    dem = model(surface, (61, 61))
    along = math.radians(bearing_deg)
    middle = aside_m * math.cos(along), -aside_m * math.sin(along)
    ends = [
        (middle[0] + s * math.sin(along), middle[1] + s * math.cos(along)) for s in (-200.0, -20.0, 200.0)
    ]
    col, row = dem.grid.colrow([x for x, _ in ends], [y for _, y in ends])
    pieces = touched(slope_field(dem, method), col, row, np.array([0.0, 180.0, 400.0]))
    assert pieces.known.all()
    assert pieces.slope_deg.min() >= slope_deg - 1e-5
    assert pieces.slope_deg.max() <= slope_deg + 1e-5
    edges = BandScheme((slope_deg - 0.05, slope_deg + 0.25))
    assert list(band_lengths_m(pieces, edges).values()) == pytest.approx([0.0, 400.0, 0.0], abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(LINES, st.integers(0, 2**32 - 1), st.floats(0.0, 0.2))
def test_band_lengths_and_unknown_metres_add_up(points, seed, share):
    rng = np.random.default_rng(seed)
    slope = rng.uniform(0.0, 80.0, (SIZE, SIZE))
    slope[rng.random((SIZE, SIZE)) < share] = np.nan
    col, row, chainage = chainages(points)
    pieces = touched(field_of(slope), col, row, chainage)
    lengths = band_lengths_m(pieces, BandScheme())
    unknown_m = pieces.length_m[~pieces.known].sum()
    assert list(lengths) == ["<25", "25-30", "30-35", "35-40", "40-45", "45-55", "55+"]
    assert sum(lengths.values()) + unknown_m == pytest.approx(chainage[-1], abs=1e-6)


def test_cells_of_a_corridor_by_hand():
    """Six of a leg of 100 m: abreast of it at 2, 50 and 98 m, far out, before its start, after its end."""
    beside = np.array([True, True, True, True, False, False])
    slope = np.array([30.0, np.nan, 20.0, 50.0, 40.0, 40.0])
    chainage, half = np.array([2.0, 50.0, 98.0, 50.0, 0.0, 100.0]), np.full(6, 5.0)
    edge = np.array([0.0, 7.0, 0.0, 1e4, 3.0, 3.0])
    col, row = np.arange(6) + 1.5, np.full(6, 3.5)
    near = NearCells(chainage, half, edge, edge > 5.0, beside, slope, slope, col, row)
    flat = np.zeros((8, 8))
    short = np.full((8, 8), 25.0)
    window = Window(flat, flat, np.diag([10.0, -10.0]))

    def ends(j, i):
        """On a line 28 at most; each for itself not known, but for the third: 33."""
        return (np.zeros(len(i)), np.full(len(i), 28.0)), np.where(i == 3, 33.0, np.nan)

    cells, (before, after) = cells_of(near, window, short, ends, (30.0, 5.0), (100, 200), 100.0)
    assert cells.start_m.tolist() == [0.0, 45.0, 93.0, 0.0, 95.0]
    assert cells.end_m.tolist() == [7.0, 55.0, 100.0, 5.0, 100.0]
    assert cells.slope_deg.tolist() == [30.0, 25.0, 25.0, 40.0, 40.0]
    # The high end never lies below the slope that is told.
    assert cells.high_deg.tolist() == [30.0, 28.0, 33.0, 40.0, 40.0]
    assert cells.known.tolist() == [True, False, True, True, True]
    assert cells.off_m.tolist() == [0.0, 7.0, 0.0, 3.0, 3.0]
    assert cells.left.tolist() == [False, True, False, False, False]
    assert cells.drop_m.tolist() == [0.0] * 5
    assert [(end.at.tolist(), end.col.tolist(), end.row.tolist()) for end in (before, after)] == [
        ([3], [205.5], [103.5]),
        ([4], [206.5], [103.5]),
    ]


def test_a_cell_beyond_an_end_is_left_to_the_next_leg_only_where_that_is_nearer():
    """Against the nearest of many places along that leg, told apart from the end that both share."""
    rng = np.random.default_rng(3)
    count = 400
    col, row = rng.uniform(0.0, 40.0, (2, count))
    jacobian = np.array([[9.0, 2.0], [1.0, -12.0]])
    # The leg runs from (10, 25) to (30, 15); that before comes in round a corner, that after leaves straight.
    before = np.array([2.0, 4.0, 10.0]), np.array([5.0, 33.0, 25.0])
    after = np.array([30.0, 37.0]), np.array([15.0, 3.0])
    cells = CorridorCells(*(np.arange(count, dtype=float),) * 8)
    at, none = np.arange(count), np.empty(0, dtype=np.intp)
    nobody = BeyondEnd(none, np.empty(0), np.empty(0), jacobian)
    everybody = BeyondEnd(at, col, row, jacobian)
    share = np.linspace(0.0, 1.0, 2001)
    for ends, line, end in (((everybody, nobody), before, -1), ((nobody, everybody), after, 0)):
        along = [np.interp(share, np.linspace(0.0, 1.0, len(values)), values)[:, None] for values in line]
        near_m, end_m = (
            np.hypot(*np.tensordot(jacobian, np.stack((col - c, row - r)), 1)).min(axis=0)
            for c, r in (along, [values[end, None, None] for values in map(np.asarray, line)])
        )
        kept = np.isin(at, own_cells([(cells, ends)], (before, after)).start_m)
        sure = (near_m == end_m) | (near_m < end_m - 0.1)
        assert sure.mean() > 0.95
        assert (kept == (near_m == end_m))[sure].all()
        assert 0.1 < kept.mean() < 0.9


def test_the_heights_of_a_window_are_read_only():
    dem = Dem(model(Crest(10.0), (5, 5)).grid, np.zeros((5, 5)))
    with pytest.raises(ValueError, match=r"^assignment destination is read-only$"):
        slope_field(dem).slope_deg[2, 2] = 1.0
