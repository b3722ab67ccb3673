"""From which sources that look down on a place snow could come.

A pair of place and source counts where the straight line between them runs above the ground,
or where the source cell's own way down the steepest neighbour passes near the place. Unknown
ground hides nothing.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array
from steybrae.terrain.overhead_ground import LEAST_SIGHT_DEG, Blocks, OverheadGround, Points
from steybrae.terrain.sampling import heights_at
from steybrae.terrain.sight_pairs import Pairs, pairs_between

__all__ = ["first_open", "in_sight"]

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
    seen: NDArray[np.bool_] = np.logical_not((here > line + SIGHT_MARGIN_M).any(axis=1))
    return seen


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
