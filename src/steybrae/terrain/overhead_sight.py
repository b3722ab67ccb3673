"""The steepest sight line from a place up to ground that snow may come from.

``tan(sight) = (z_source - z_place) / d`` with ``d`` the horizontal distance between the place
and the centre of the source's cell, over *every* source cell from half a cell away to the
reach. Exact: blocks of cells are passed over only where ``(highest - z_place) / (least
distance)`` is below what is already found.

A pair counts where snow could come: where the straight line runs above the ground, or where
the source cell's own way down the steepest neighbour passes near the place. Unknown ground
blocks no sight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array
from steybrae.terrain.overhead_ground import LEAST_SIGHT_DEG, Blocks, OverheadGround, Points
from steybrae.terrain.sampling import heights_at, spread

__all__ = ["Pairs", "first_open", "in_sight", "pairs_between", "steepest_sight", "unknown_overhead"]

SIGHT_MARGIN_M: Final = 2.0
"""How far the ground may rise above a sight line that still counts, metres: the eye of a person
who stands there, and what a model's cells leave uncertain (our choice)."""

FLOW_NEAR_M: Final = 50.0
"""How near to the place the way down from a source has to pass, metres: the width of a typical
slab (median 50 m; Schweizer and Luetschg (2001), Cold Reg. Sci. Technol. 33, 147-162; abstract)."""

MOST_PAIRS: Final = 20_000
"""Pairs of place and source that are tested at most; the next one then counts untested, so that
the answer is never too gentle (our choice)."""

_ROUGH_SAMPLES: Final = 16
_FLAT_TO_STEEP_DEG: Final = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 90.0)


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of a place and a source cell, steepest first.

    Attributes
    ----------
    point, cell
        Index of the place, and of the cell in the blocks.
    tangent
        Of the sight angle.
    """

    point: NDArray[np.intp]
    cell: NDArray[np.intp]
    tangent: Array

    def pick(self, which: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Pairs:
        """Some of them, in their order."""
        return Pairs(self.point[which], self.cell[which], self.tangent[which])


def _bounds(
    ground: OverheadGround, points: Points, blocks: Blocks, least: float
) -> tuple[Array, NDArray[np.intp]]:
    """Greatest tangent that any cell of a block could have, ``(points, blocks kept)``; which are kept.

    Blocks that could not reach `least` from any of the places are left out.
    """
    col, row = (points.col.min(), points.col.max()), (points.row.min(), points.row.max())
    lowest = np.nanmin(points.height_m) if np.isfinite(points.height_m).any() else np.inf
    roughly = _bound(ground, blocks, slice(None), ((*col, *row), lowest))
    keep = np.flatnonzero(roughly >= least)
    here = points.col[:, None], points.row[:, None]
    found = _bound(
        ground, blocks, keep, ((here[0], here[0], here[1], here[1]), points.height_m[:, None])
    )
    return found, keep


Rectangle = tuple[Array | float, Array | float, Array | float, Array | float]


def _bound(
    ground: OverheadGround,
    blocks: Blocks,
    which: NDArray[np.intp] | slice,
    place: tuple[Rectangle, Array | float],
) -> Array:
    """Greatest tangent of blocks from a rectangle of places at a height."""
    rise, apart = _rise_and_distance(ground, blocks, which, place)
    bound: Array = rise / np.maximum(apart, _nearest_m(ground))
    bound[apart > ground.reach_m] = -np.inf
    return bound


def _rise_and_distance(
    ground: OverheadGround,
    blocks: Blocks,
    which: NDArray[np.intp] | slice,
    place: tuple[Rectangle, Array | float],
) -> tuple[Array, Array]:
    """Greatest rise to blocks and least distance, metres, from a rectangle: columns, rows, height."""
    (col_from, col_to, row_from, row_to), height_m = place
    across = np.maximum(blocks.left[which] + 0.5 - col_to, col_from - (blocks.right[which] + 0.5))
    along = np.maximum(blocks.top[which] + 0.5 - row_to, row_from - (blocks.bottom[which] + 0.5))
    # The smallest stretch of the Jacobian: no direction is shorter.
    shortest = float(np.linalg.svd(ground.jacobian, compute_uv=False)[-1])
    apart = np.hypot(np.maximum(across, 0.0), np.maximum(along, 0.0)) * shortest
    rise = np.nan_to_num(blocks.highest_m[which] - height_m, nan=-np.inf, posinf=np.inf)
    return rise, apart


def useful_box(ground: OverheadGround, points: Points, least: float) -> tuple[int, int, int, int] | None:
    """Cells that any way at or above a tangent can touch: least and greatest column and row.

    A way from a source to a place is at most ``l = rise / tan`` long, and lies in the ellipse
    round both, whose smaller half-axis is ``sqrt(l^2 - distance^2) / 2``.

    Parameters
    ----------
    ground
        Where.
    points
        Places of known height; one or more.
    least
        Tangent, above 0.

    Returns
    -------
    tuple of int or None
        None where no source can reach a place.
    """
    blocks = ground.sources
    if len(blocks.start) == 0:
        return None
    _, kept = _bounds(ground, points, blocks, least)
    here = points.col[:, None], points.row[:, None]
    rise, apart = _rise_and_distance(
        ground, blocks, kept, ((here[0], here[0], here[1], here[1]), points.height_m[:, None])
    )
    longest = np.maximum(rise / least, 0.0)
    useful = (apart <= ground.reach_m) & (longest >= apart)
    if not useful.any():
        return None
    some, places = kept[useful.any(axis=0)], useful.any(axis=1)
    shortest = float(np.linalg.svd(ground.jacobian, compute_uv=False)[-1])
    aside_m = np.sqrt(longest[useful] ** 2 - apart[useful] ** 2).max() / 2.0
    margin = math.ceil(float(aside_m) / shortest) + 2
    rows, cols = ground.dem.grid.shape
    return (
        max(int(min(blocks.left[some].min(), points.col[places].min())) - margin, 0),
        min(int(max(blocks.right[some].max(), points.col[places].max())) + margin, cols - 1),
        max(int(min(blocks.top[some].min(), points.row[places].min())) - margin, 0),
        min(int(max(blocks.bottom[some].max(), points.row[places].max())) + margin, rows - 1),
    )


def _nearest_m(ground: OverheadGround) -> float:
    return min(ground.cell_m) / 2.0


def _tangents(
    ground: OverheadGround, points: Points, blocks: Blocks, point: NDArray[np.intp], block: NDArray[np.intp]
) -> Pairs:
    """Tangents from places to all cells of blocks; minus infinity out of reach."""
    run, cell = spread(blocks.start[block], blocks.count[block])
    at = point[run]
    east, north = ground.offset_m(
        blocks.col[cell] + 0.5 - points.col[at], blocks.row[cell] + 0.5 - points.row[at]
    )
    distance = np.hypot(east, north)
    within = (distance >= _nearest_m(ground)) & (distance <= ground.reach_m)
    rise = blocks.height_m[cell] - points.height_m[at]
    tangent = np.where(within, rise / np.where(within, distance, 1.0), -np.inf)
    return Pairs(at, cell, tangent)


def steepest_sight(
    ground: OverheadGround, points: Points, least_deg: float = LEAST_SIGHT_DEG, *, only_steepest: bool = False
) -> Pairs:
    """Steepest sight angle from every place, whatever lies between.

    Parameters
    ----------
    ground
        Where.
    points
        Places; one of unknown height has no answer.
    least_deg
        Flatter sights are not looked for.
    only_steepest
        Only the steepest of all places is asked for; the others may then have no answer.

    Returns
    -------
    Pairs
        One for each place in the order of `points`: tangent minus infinity and cell -1 where
        nothing looks down at `least_deg` or more.
    """
    blocks, count = ground.sources, len(points.col)
    best = np.full(count, math.tan(math.radians(least_deg)))
    cell = np.full(count, -1, dtype=np.intp)
    if count and len(blocks.start):
        bound, kept = _bounds(ground, points, blocks, float(best[0]))
        # The likeliest blocks first: what they give rules most of the others out.
        for most in (1, 4, len(kept)):
            if len(kept) == 0:
                break
            least = best.max() if only_steepest else best[:, None]
            likely = np.argpartition(bound, -min(most, len(kept)), axis=1)[:, -most:]
            ask = np.take_along_axis(bound, likely, axis=1) >= least
            point, block = np.nonzero(ask)[0], likely[ask]
            _improve(best, cell, _tangents(ground, points, blocks, point, kept[block]))
            bound[point, block] = -np.inf
    return Pairs(np.arange(count), cell, np.where(cell < 0, -np.inf, best))


def _improve(best: Array, cell: NDArray[np.intp], pairs: Pairs) -> None:
    """Take the steepest pair of each place where it is steeper than the best so far."""
    if len(pairs.point) == 0:
        return
    start = np.flatnonzero(np.diff(pairs.point, prepend=-1))
    top = np.maximum.reduceat(pairs.tangent, start)
    point = pairs.point[start]
    run = np.repeat(np.arange(len(start)), np.diff(start, append=len(pairs.point)))
    hit = np.flatnonzero(pairs.tangent == top[run])[::-1]
    winner = np.empty(len(start), dtype=np.intp)
    winner[run[hit]] = pairs.cell[hit]
    better = top >= best[point]
    best[point[better]] = top[better]
    cell[point[better]] = winner[better]


def pairs_between(ground: OverheadGround, points: Points, least: float, below: float) -> Pairs:
    """All pairs whose tangent lies from one value to below another, steepest first."""
    blocks = ground.sources
    bound, kept = _bounds(ground, points, blocks, least)
    point, block = np.nonzero(bound >= least)
    pairs = _tangents(ground, points, blocks, point, kept[block])
    pairs = pairs.pick((pairs.tangent >= least) & (pairs.tangent < below))
    return pairs.pick(np.argsort(-pairs.tangent, kind="stable"))


def first_open(ground: OverheadGround, points: Points, steepest: float) -> Pairs:
    """Steepest pair from which snow could come.

    Pairs are taken from the steepest down, until one is in sight or has its way down past
    the place.

    Parameters
    ----------
    ground, points
        Where.
    steepest
        Tangent of the steepest pair.

    Returns
    -------
    Pairs
        One, or none. After `MOST_PAIRS` tests the next pair counts as it is.
    """
    least_deg, top_deg = LEAST_SIGHT_DEG, math.degrees(math.atan(steepest))
    below, tested = math.inf, 0
    for drop_deg in _FLAT_TO_STEEP_DEG:
        least = math.tan(math.radians(max(least_deg, top_deg - drop_deg)))
        pairs = pairs_between(ground, points, least, below)
        done, size = 0, 32
        while done < len(pairs.point):
            if tested >= MOST_PAIRS:
                return pairs.pick(slice(done, done + 1))
            some = pairs.pick(slice(done, done + size))
            hit = np.flatnonzero(_open(ground, points, some))
            if len(hit):
                return some.pick(hit[:1])
            done, tested, size = done + size, tested + size, size * 4
        below = least
        if top_deg - drop_deg <= least_deg:
            break
    return pairs.pick(slice(0))


def _open(ground: OverheadGround, points: Points, pairs: Pairs) -> NDArray[np.bool_]:
    """Whether snow could come, up to the first pair that is in sight; False beyond it."""
    seen = in_sight(ground, points, pairs)
    hidden = np.flatnonzero(~seen)
    if seen.any():
        hidden = hidden[hidden < np.argmax(seen)]
    seen[hidden] = _flows_past(ground, points, pairs.pick(hidden))
    return seen


def in_sight(ground: OverheadGround, points: Points, pairs: Pairs) -> NDArray[np.bool_]:
    """Whether the straight line of a pair runs above the ground all the way.

    The line is compared with the bilinear ground at steps of one cell at most; ground up to
    `SIGHT_MARGIN_M` above it, and unknown ground, hides nothing.
    """
    seen = _above_ground(ground, points, pairs, _ROUGH_SAMPLES)
    left = np.flatnonzero(seen)
    if len(left):
        rest = pairs.pick(left)
        col, row = _span(ground.sources, points, rest)
        samples = math.ceil(float(np.maximum(np.abs(col), np.abs(row)).max()))
        if samples > _ROUGH_SAMPLES:
            seen[left] = _above_ground(ground, points, rest, samples)
    return seen


def _span(blocks: Blocks, points: Points, pairs: Pairs) -> tuple[Array, Array]:
    """Columns and rows from the place to the cell."""
    col = blocks.col[pairs.cell] + 0.5 - points.col[pairs.point]
    return col, blocks.row[pairs.cell] + 0.5 - points.row[pairs.point]


def _above_ground(ground: OverheadGround, points: Points, pairs: Pairs, samples: int) -> NDArray[np.bool_]:
    share = (np.arange(samples) + 0.5) / samples
    col, row = (span[:, None] * share for span in _span(ground.sources, points, pairs))
    here = heights_at(
        ground.dem.heights_m, col + points.col[pairs.point, None], row + points.row[pairs.point, None]
    )
    low = points.height_m[pairs.point, None]
    line = low + (ground.sources.height_m[pairs.cell, None] - low) * share
    hidden: NDArray[np.bool_] = (here > line + SIGHT_MARGIN_M).any(axis=1)
    return ~hidden


def _flows_past(ground: OverheadGround, points: Points, pairs: Pairs) -> NDArray[np.bool_]:
    """Whether the steepest way down from the cell passes within `FLOW_NEAR_M` of the place.

    The way goes from cell to the neighbour of the eight with the steepest fall and ends in a
    pit or beside unknown ground.
    """
    near = np.zeros(len(pairs.point), dtype=bool)
    on = np.arange(len(pairs.point))
    col, row = ground.sources.col[pairs.cell], ground.sources.row[pairs.cell]
    for _ in range(math.ceil(2.0 * ground.reach_m / min(ground.cell_m))):
        at = pairs.point[on]
        apart = np.hypot(*ground.offset_m(col + 0.5 - points.col[at], row + 0.5 - points.row[at]))
        near[on[apart <= FLOW_NEAR_M]] = True
        col_next, row_next = _down(ground, col, row)
        moving = (apart > FLOW_NEAR_M) & ((col_next != col) | (row_next != row))
        on, col, row = on[moving], col_next[moving], row_next[moving]
        if len(on) == 0:
            break
    return near


def _down(
    ground: OverheadGround, col: NDArray[np.intp], row: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Neighbour with the steepest fall, the cell itself where there is none."""
    rows, cols = ground.dem.grid.shape
    steps = np.array([(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j])
    length = np.hypot(*ground.offset_m(steps[:, 0], steps[:, 1]))
    i, j = col[:, None] + steps[:, 0], row[:, None] + steps[:, 1]
    inside = (i >= 0) & (i < cols) & (j >= 0) & (j < rows)
    there = ground.dem.heights_m[np.clip(j, 0, rows - 1), np.clip(i, 0, cols - 1)]
    fall = np.where(inside, (ground.dem.heights_m[row, col][:, None] - there) / length, -np.inf)
    fall = np.nan_to_num(fall, nan=-np.inf, neginf=-np.inf)
    best = np.argmax(fall, axis=1)
    goes = fall[np.arange(len(col)), best] > 0.0
    return np.where(goes, col + steps[best, 0], col), np.where(goes, row + steps[best, 1], row)


def unknown_overhead(ground: OverheadGround, points: Points) -> bool:
    """Whether unknown ground within reach could look down on one of the places.

    It could where the greatest height that it is taken to have (`ceiling_m`) stands at
    `LEAST_SIGHT_DEG` or more, or where the height of a place itself is unknown. Whole blocks
    are asked, so that a little more is called unknown than cell by cell.
    """
    if np.isnan(points.height_m).any():
        return True
    if len(points.col) == 0 or len(ground.unknown.start) == 0:
        return False
    least = math.tan(math.radians(LEAST_SIGHT_DEG))
    return bool((_bounds(ground, points, ground.unknown, least)[0] >= least).any())
