"""Sight angles from places to all source cells, and which of them can matter.

``tan(sight) = (z_source - z_place) / d`` with ``d`` the horizontal distance between the place
and the centre of the source's cell, over *every* source cell from half a cell away to the
reach. Exact: blocks of cells are passed over only where ``(highest - z_place) / (least
distance)`` is below what is already found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import runs
from steybrae.terrain.overhead.ground import BLOCK_CELLS, LEAST_SIGHT_DEG, Blocks, OverheadGround, Points

MOST_AT_ONCE: Final = 500_000
"""Pairs of place and cell that are sorted at once: some tens of megabytes (our choice)."""

SQUARES_AT_ONCE: Final = 1024
"""Pairs of place and block whose tangents are held at once: they stay in the processor's cache."""

PLACES_AT_ONCE: Final = 128
"""Places whose bounds to all blocks are held at once, for the same reason."""


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
        """Pick some of them, in their order."""
        return Pairs(self.point[which], self.cell[which], self.tangent[which])

    def steepest(self, most: int | None = None) -> Pairs:
        """Order them from the steepest down; of equal ones the first."""
        return self.pick(np.argsort(-self.tangent, kind="stable")[:most])


def _few(points: Points) -> Iterator[tuple[int, Points]]:
    """Cut places into runs of `PLACES_AT_ONCE`, each with the number of its first."""
    for part in portions(len(points.col), PLACES_AT_ONCE):
        yield part.start, points.pick(part)


def _bounds(
    ground: OverheadGround, points: Points, blocks: Blocks, least: float
) -> tuple[Array, NDArray[np.intp]]:
    """Greatest tangent that any cell of a block could have, ``(points, blocks kept)``; which are kept.

    Blocks that could not reach `least` from any of the places are left out.
    """
    col, row = (points.col.min(), points.col.max()), (points.row.min(), points.row.max())
    # From a place of unknown height nothing is up.
    height_m = np.where(np.isnan(points.height_m), np.inf, points.height_m)
    roughly = _bound(ground, blocks, slice(None), ((*col, *row), height_m.min()))
    keep = np.flatnonzero(roughly >= least)
    here = points.col[:, None], points.row[:, None]
    found = _bound(ground, blocks, keep, ((here[0], here[0], here[1], here[1]), height_m[:, None]))
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
    bound: Array = np.divide(rise, np.maximum(apart, _nearest_m(ground)), out=rise)
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
    for side in (across, along):
        np.square(np.maximum(side, 0.0, out=side), out=side)
    # Not np.hypot: its care for overflow, which metres never need, costs four times the time.
    apart = np.sqrt(np.add(across, along, out=across), out=across)
    # The smallest stretch of the Jacobian: no direction is shorter.
    apart *= ground.stretch_m[0]
    return blocks.highest_m[which] - height_m, apart


def useful_box(ground: OverheadGround, points: Points, least: float) -> tuple[int, int, int, int] | None:
    """Cells that any way at or above a tangent can touch: least and greatest column and row.

    A way from a source to a place is at most ``l = rise / tan`` long, and lies in the ellipse round
    both, whose smaller half-axis is ``sqrt(l^2 - distance^2) / 2``. None where no source can reach
    a place; all are of known height.
    """
    boxes = [box for _, few in _few(points) if (box := _useful_box(ground, few, least)) is not None]
    if not boxes:
        return None
    left, right, top, bottom = zip(*boxes, strict=True)
    return min(left), max(right), min(top), max(bottom)


def _useful_box(ground: OverheadGround, points: Points, least: float) -> tuple[int, int, int, int] | None:
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
    aside_m = np.sqrt(longest[useful] ** 2 - apart[useful] ** 2).max() / 2.0
    margin = math.ceil(float(aside_m) / ground.stretch_m[0]) + 2
    sides: list[int] = []
    for first, last, at, size_m, end in (
        (blocks.left, blocks.right, points.col[places], ground.cell_m[0], ground.dem.grid.shape[1]),
        (blocks.top, blocks.bottom, points.row[places], ground.cell_m[1], ground.dem.grid.shape[0]),
    ):
        # Not beyond the reach: the answer does not change with the window.
        least, most = int(at.min()), int(at.max())
        reach = math.ceil(ground.reach_m / size_m) + BLOCK_CELLS
        sides += [
            max(min(int(first[some].min()), least) - margin, least - reach, 0),
            min(max(int(last[some].max()), most) + margin, most + reach, end - 1),
        ]
    left, right, top, bottom = sides
    return left, right, top, bottom


def _nearest_m(ground: OverheadGround) -> float:
    return min(ground.cell_m) / 2.0


def _tangents(
    ground: OverheadGround, points: Points, blocks: Blocks, point: NDArray[np.intp], block: NDArray[np.intp]
) -> Array:
    """Tangents from places to all cells of blocks' squares, ``(n, 64)``; minus infinity out of reach."""
    here = points.pick(point)
    east, north = ground.offset_m(*blocks.apart(block, here))
    distance = np.add(np.square(east, out=east), np.square(north, out=north), out=east).reshape(
        len(point), -1
    )
    np.sqrt(distance, out=distance)
    out = (distance < _nearest_m(ground)) | (distance > ground.reach_m)
    distance[out] = 1.0
    tangent: Array = blocks.square_m[block] - here.height_m[:, None]
    tangent /= distance
    tangent[out] = -np.inf
    return tangent


def steepest_sight(ground: OverheadGround, points: Points, least_deg: float = LEAST_SIGHT_DEG) -> Pairs:
    """Steepest sight angle from every place, whatever lies between.

    Parameters
    ----------
    points
        Places; one of unknown height has no answer.
    least_deg
        Flatter sights are not looked for.

    Returns
    -------
    Pairs
        One for each place in the order of `points`: tangent minus infinity and cell -1 where
        nothing looks down at `least_deg` or more.
    """
    found = [_steepest_sight(ground, few, least_deg) for _, few in _few(points)]
    cells, tangents = ([getattr(one, name) for one in found] for name in ("cell", "tangent"))
    cell = np.concatenate([np.empty(0, dtype=np.intp), *cells])
    return Pairs(np.arange(len(cell)), cell, np.concatenate([np.empty(0), *tangents]))


def _steepest_sight(ground: OverheadGround, points: Points, least_deg: float) -> Pairs:
    blocks, count = ground.sources, len(points.col)
    best = np.full(count, math.tan(math.radians(least_deg)))
    cell = np.full(count, -1, dtype=np.intp)
    if len(blocks.start):
        bound, kept = _bounds(ground, points, blocks, float(best[0]))
        for point, block in _likeliest_first(bound, best):
            _improve(best, cell, (ground, points, blocks), point, kept[block])
    return Pairs(np.arange(count), cell, np.where(cell < 0, -np.inf, best))


def _likeliest_first(bound: Array, best: Array) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Pairs of place and block whose bound is not below what is found so far, the likeliest first.

    Then more each time, by place: what is found rules most of the others out.
    ``bound[points, blocks]`` is used up; `best` are tangents of places, raised between two answers.
    """
    if bound.size == 0:
        return
    for _ in range(2):
        likely = np.argmax(bound, axis=1)
        point = np.flatnonzero(bound[np.arange(len(bound)), likely] >= best)
        yield point, likely[point]
        bound[point, likely[point]] = -np.inf
    point, block = np.nonzero(bound >= best[:, None])
    limit = bound[point, block]
    order = np.lexsort((-limit, point))
    point, block, limit = point[order], block[order], limit[order]
    start, length = runs(point)
    turn = np.log2(1 + np.arange(len(point)) - np.repeat(start, length)).astype(np.intp)
    for now in range(int(turn.max(initial=-1)) + 1):
        some = np.flatnonzero((turn == now) & (limit >= best[point]))
        for part in portions(len(some), SQUARES_AT_ONCE):
            yield point[some[part]], block[some[part]]


def _improve(
    best: Array,
    cell: NDArray[np.intp],
    where: tuple[OverheadGround, Points, Blocks],
    point: NDArray[np.intp],
    block: NDArray[np.intp],
) -> None:
    """Take the steepest cell of some blocks where it is steeper than the best so far."""
    if len(point) == 0:
        return
    tangents = _tangents(*where, point, block)
    tangent = tangents.max(axis=1)
    start, count = runs(point)
    top = np.maximum.reduceat(tangent, start)
    better = top >= best[point[start]]
    # The first of equal ones: later ones are written over.
    asked = np.repeat(np.where(better, top, np.nan), count)
    hit = np.flatnonzero(tangent == asked)[::-1]
    best[point[hit]] = tangent[hit]
    cell[point[hit]] = where[2].square[block[hit], np.argmax(tangents[hit], axis=1)]


def pairs_between(
    ground: OverheadGround, points: Points, least: float, below: float, most: int | None
) -> Pairs:
    """Steepest pairs whose tangent lies from one value to below another.

    Parameters
    ----------
    least, below
        Tangents.
    most
        How many at the most; None for all, in no order.

    Returns
    -------
    Pairs
        Steepest first.
    """
    blocks = ground.sources
    found, more, waiting = _NONE, [_NONE], 0
    if len(blocks.start) == 0:
        return found
    for first, few in _few(points):
        bound, kept = _bounds(ground, few, blocks, least)
        point, block = np.nonzero(bound >= least)
        for part in portions(len(point), SQUARES_AT_ONCE):
            some = kept[block[part]]
            tangent = _tangents(ground, few, blocks, point[part], some)
            pair, at = np.nonzero((tangent >= least) & (tangent < below))
            more.append(
                Pairs(
                    point[part][pair] + first,
                    blocks.square[some[pair], at].astype(np.intp),
                    tangent[pair, at],
                )
            )
            waiting += len(pair)
            if most is not None and waiting > MOST_AT_ONCE:
                found, more, waiting = _steepest_of([found, *more], most), [], 0
    return _steepest_of([found, *more], most)


_NONE: Final = Pairs(np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp), np.empty(0))


def _steepest_of(parts: list[Pairs], most: int | None) -> Pairs:
    point, cell, tangent = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("point", "cell", "tangent")
    )
    found = Pairs(point, cell, tangent)
    return found if most is None else found.steepest(most)


def portions(count: int, at_once: int) -> Iterator[slice]:
    """Cut so many things into portions of at most so many."""
    for first in range(0, count, at_once):
        yield slice(first, first + at_once)
