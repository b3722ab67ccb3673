"""Unknown ground that could look down on a place, by one rule.

Nothing is known of it, so it is taken to be as high as the highest known ground within reach of the
place, ``h`` above it. At a distance ``d`` it could look down where ``h / d`` is ``tan(25)`` or more,
and always where it begins within 300 m. Only the nearest unknown ground has to be asked, and only
ground within reach of the place counts. Unknown is ground whose slope is not known, and all beyond the
model's edge.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.ranges import BearingDeg, NotNegative
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import off, runs, spread
from steybrae.terrain.overhead.ground import BLOCK_CELLS, OverheadGround, Points
from steybrae.terrain.overhead.sight_pairs import SQUARES_AT_ONCE, portions

PLACE_SIGHT_DEG: Final = 25.0
"""Overhead angle that makes a place matter, degrees (common practice, no source)."""

UNKNOWN_NEAR_M: Final = 300.0
"""Unknown ground that begins nearer than this always could, metres (our choice)."""

_SQUARES_FIRST: Final = 64
"""How many squares of cells are asked first for high ground, then four times as many each time."""


@dataclass(frozen=True)
class UnknownAt:
    """The nearest unknown ground that could look down.

    Attributes
    ----------
    distance_m
        To where it begins, metres.
    bearing_true_deg
        Towards it, degrees clockwise from true north; None where it lies on the place itself.
    model_ends
        Whether all is unknown from there on, as far as was looked.
    """

    distance_m: NotNegative
    bearing_true_deg: BearingDeg | None
    model_ends: bool


@dataclass(frozen=True, eq=False)
class UnknownAbove:
    """From which places unknown ground could look down; arrays ``(n,)``.

    Attributes
    ----------
    there
        Whether it could. Places of unknown height always count.
    distance_m, bearing_true_deg
        To the nearest unknown ground; NaN where none could look down, the bearing also where the
        place itself lies in unknown ground.
    model_ends
        Whether all is unknown from there on, along that line as far as is looked.
    known_to_m
        To where the nearest unknown ground begins, whether it could look down or not; infinite where
        there is none.
    """

    there: NDArray[np.bool_]
    distance_m: Array
    bearing_true_deg: Array
    model_ends: NDArray[np.bool_]
    known_to_m: Array

    @property
    def nearest(self) -> UnknownAt | None:
        """The nearest of all that could look down; None where none could."""
        return nearest_of(self.distance_m, self.bearing_true_deg, self.model_ends)


def nearest_of(distance_m: Array, bearing_true_deg: Array, model_ends: NDArray[np.bool_]) -> UnknownAt | None:
    """Give the nearest of some; None where all distances are NaN. Parameters as `UnknownAbove`."""
    if not np.isfinite(distance_m).any():
        return None
    at = int(np.nanargmin(distance_m))
    bearing = float(bearing_true_deg[at])
    return UnknownAt(float(distance_m[at]), bearing if math.isfinite(bearing) else None, bool(model_ends[at]))


def unknown_above(ground: OverheadGround, points: Points) -> UnknownAbove:
    """Ask from which places unknown ground could look down; see the module docstring.

    The window holds the places and all ground within its reach of each.
    """
    distance, cell = nearest_unknown(ground, points)
    there = distance <= min(UNKNOWN_NEAR_M, ground.reach_m)
    ask = np.flatnonzero(~there & (distance <= ground.reach_m))
    rise = distance[ask] * math.tan(math.radians(PLACE_SIGHT_DEG))
    there[ask] = _stands_higher(ground, points.pick(ask), points.height_m[ask] + rise)
    bearing, ends = np.full(len(there), np.nan), np.zeros(len(there), dtype=bool)
    some = np.flatnonzero(there & (cell >= 0))
    bearing[some], ends[some] = _beyond(ground, points.pick(some), cell[some])
    return UnknownAbove(there, np.where(there, distance, np.nan), bearing, ends, distance)


def nearest_unknown(ground: OverheadGround, points: Points) -> tuple[Array, NDArray[np.intp]]:
    """Distance from places to the nearest unknown ground, metres, and the index of that cell.

    To where it begins: half a cell less than to the middle of the cell, 0 at places in unknown
    ground, infinite where there is none. The index is that in ``ground.unknown``, -1 where there is
    none, or it is the place's own.
    """
    blocks, half_m = ground.unknown, max(ground.cell_m) / 2.0
    distance = np.full(len(points.col), np.inf)
    cell = np.full(len(points.col), -1, dtype=np.intp)
    col, row = points.col.astype(np.intp), points.row.astype(np.intp)
    inside = ground.zones.unknown[row, col] | np.isnan(points.height_m)
    distance[inside] = 0.0
    asked = np.flatnonzero(~inside)
    if len(asked) == 0 or len(blocks.start) == 0:
        return distance, cell
    sides = np.stack((blocks.left, blocks.right, blocks.top, blocks.bottom))
    some = points.pick(asked)
    # No block matters that is farther from all of them than another is from any.
    ends = [(values.min(), values.max()) for values in (some.col, some.row)]
    least, most = _distances_m(ground, sides, *ends)
    near = np.flatnonzero(least <= most.min())
    col_at, row_at = some.col[:, None], some.row[:, None]
    least, most = _distances_m(ground, sides[:, near], (col_at, col_at), (row_at, row_at))
    point, block = np.nonzero(least <= most.min(axis=1)[:, None])
    block = near[block]
    for part in portions(len(point), SQUARES_AT_ONCE):
        run, at = spread(blocks.start[block[part]], blocks.count[block[part]])
        place = asked[point[part]][run]
        east, north = ground.offset_m(
            blocks.col[at] + 0.5 - points.col[place], blocks.row[at] + 0.5 - points.row[place]
        )
        apart = np.maximum(np.hypot(east, north) - half_m, 0.0)
        order = np.lexsort((apart, place))
        first = order[runs(place[order])[0]]
        better = first[apart[first] < distance[place[first]]]
        distance[place[better]], cell[place[better]] = apart[better], at[better]
    return distance, cell


_Span = tuple[Array | float, Array | float]
"""Least and greatest position of places, cells."""


def _distances_m(
    ground: OverheadGround, sides: NDArray[np.intp], col: _Span, row: _Span
) -> tuple[Array, Array]:
    """Least and greatest distance from places to any cell of blocks, metres.

    `sides` has the least and greatest columns and the least and greatest rows of the blocks.
    """
    found = []
    for first, last, (least, most) in ((*sides[:2], col), (*sides[2:], row)):
        low, high = first + 0.5 - most, last + 0.5 - least
        found.append(
            (np.maximum(np.maximum(low, least - 0.5 - last), 0.0), np.maximum(most - 0.5 - first, high))
        )
    (near_col, far_col), (near_row, far_row) = found
    shortest, longest = ground.stretch_m
    return (
        np.sqrt(near_col**2 + near_row**2) * shortest,
        np.sqrt(far_col**2 + far_row**2) * longest,
    )


def _stands_higher(ground: OverheadGround, points: Points, height_m: Array) -> NDArray[np.bool_]:
    """Whether any known ground within reach of each place is at least so high.

    The highest squares of cells are asked first: they answer for most places.
    """
    found = np.zeros(len(points.col), dtype=bool)
    tops, wide = ground.tops_m.reshape(-1), ground.tops_m.shape[1]
    order = np.flatnonzero(tops >= height_m.min(initial=np.inf))
    order = order[np.argsort(-tops[order])]
    across: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    first, size, left = 0, _SQUARES_FIRST, np.arange(len(found))
    while first < len(order) and len(left):
        some = order[first : first + size]
        top, start = some // wide * BLOCK_CELLS, some % wide * BLOCK_CELLS
        sides = np.stack((start, start + (BLOCK_CELLS - 1), top, top + (BLOCK_CELLS - 1)))
        col_at, row_at = points.col[left, None], points.row[left, None]
        least, most = _distances_m(ground, sides, (col_at, col_at), (row_at, row_at))
        high = tops[some] >= height_m[left, None]
        found[left] = (high & (most <= ground.reach_m)).any(axis=1)
        one, other = np.nonzero(high & (least <= ground.reach_m) & ~found[left, None])
        across.append((left[one], some[other]))
        first, size, left = first + size, size * 4, left[~found[left]]
    for point, square in across:
        for part in portions(len(point), SQUARES_AT_ONCE):
            _reach_across(ground, points, height_m, found, point[part], np.divmod(square[part], wide))
    return found


def _reach_across(
    ground: OverheadGround,
    points: Points,
    height_m: Array,
    found: NDArray[np.bool_],
    point: NDArray[np.intp],
    square: tuple[NDArray[np.intp], NDArray[np.intp]],
) -> None:
    """Note which places have ground as high within reach in squares that lie partly beyond it."""
    row, col = (
        np.minimum(first[:, None] * BLOCK_CELLS + np.arange(BLOCK_CELLS), size - 1)
        for first, size in zip(square, ground.dem.grid.shape, strict=True)
    )
    high = ground.dem.heights_m[row[:, :, None], col[:, None, :]] >= height_m[point, None, None]
    pair, j, i = np.nonzero(high & ~found[point, None, None])
    place = point[pair]
    east, north = ground.offset_m(
        col[pair, i] + 0.5 - points.col[place], row[pair, j] + 0.5 - points.row[place]
    )
    found[place[np.hypot(east, north) <= ground.reach_m]] = True


def _beyond(
    ground: OverheadGround, points: Points, cell: NDArray[np.intp]
) -> tuple[Array, NDArray[np.bool_]]:
    """Bearing to cells, one for each place, and whether all is unknown from there to the reach."""
    col, row = ground.unknown.col[cell] + 0.5 - points.col, ground.unknown.row[cell] + 0.5 - points.row
    east, north = ground.offset_m(col, row)
    apart = np.hypot(east, north)
    bearing = np.remainder(np.degrees(np.arctan2(east, north)), 360.0)
    # On along the same line, a cell at a time.
    step_m = min(ground.cell_m)
    share = (apart[:, None] + np.arange(0.0, ground.reach_m, step_m)) / apart[:, None]
    rows, cols = ground.dem.grid.shape
    i = np.floor(points.col[:, None] + off(col[:, None] * share)).astype(np.intp)
    j = np.floor(points.row[:, None] + off(row[:, None] * share)).astype(np.intp)
    on = (i >= 0) & (i < cols) & (j >= 0) & (j < rows) & (share * apart[:, None] <= ground.reach_m)
    unknown = ground.zones.unknown[np.clip(j, 0, rows - 1), np.clip(i, 0, cols - 1)]
    return bearing, np.asarray((unknown | ~on).all(axis=1))
