"""The part of a window that ways of snow to some places can touch, as one row of cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.ground import OverheadGround
from steybrae.terrain.overhead.sight_pairs import useful_box

Index: TypeAlias = NDArray[np.intp]
"""Whole numbers that point into arrays."""

STEPS: Final = np.array(
    [(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j]
    + [(i, j) for j in (-2, -1, 1, 2) for i in (-2, -1, 1, 2) if abs(i) != abs(j)]
)
"""Steps in column and row: eight to the neighbours, then eight knight's moves."""

_BOUND_CELLS: Final = 8
"""Side of the blocks for which the distance to the nearest target is kept."""


@dataclass(frozen=True, eq=False)
class PathBox:
    """Part of a window, with a wall of two cells round it; cells are numbered by row.

    `height` is infinite in the wall, minus infinite where unknown. `block` gives the block of
    each cell; `floor` the least head, per angle and block, from which a target can be reached.
    """

    col: int
    row: int
    wide: int
    height: Array
    source: Index
    target: Index
    inside: NDArray[np.bool_]
    block: NDArray[np.int32]
    floor: Array
    step_m: Array

    @property
    def size(self) -> int:
        """How many cells."""
        return len(self.height)


def path_box(
    ground: OverheadGround, col: Index, row: Index, loss: Array, asked: NDArray[np.bool_]
) -> PathBox:
    """Cut out what can matter: no way that arrives leaves it."""
    heights = ground.dem.heights_m
    some = asked.any(axis=0)
    inside = useful_box(ground, ground.centres(col[some], row[some]), float(loss[0])) if some.any() else None
    # Targets outside are not asked or cannot be reached; any cell stands for them.
    left, right, top, bottom = inside or (0, 0, 0, 0)
    part = heights[top : bottom + 1, left : right + 1]
    walled = np.pad(np.where(np.isnan(part), -np.inf, part), 2, constant_values=np.inf)
    high, wide = walled.shape
    source = np.pad(ground.zones.source[top : bottom + 1, left : right + 1] & ~np.isnan(part), 2)
    target = np.clip(col - left + 2, 2, wide - 3), np.clip(row - top + 2, 2, high - 3)
    at = target[1] * wide + target[0]
    there = (target[0] == col - left + 2) & (target[1] == row - top + 2) & (inside is not None)
    block, floor = _floors(ground, (high, wide), target, asked & there, loss, heights[row, col])
    step_m = np.hypot(*ground.offset_m(STEPS[:, 0], STEPS[:, 1]))
    return PathBox(
        left, top, wide, walled.reshape(-1), np.flatnonzero(source), at, there, block, floor, step_m
    )


def _floors(
    ground: OverheadGround,
    shape: tuple[int, int],
    target: tuple[Index, Index],
    asked: NDArray[np.bool_],
    loss: Array,
    height_m: Array,
) -> tuple[NDArray[np.int32], Array]:
    """Least useful head per angle and block: lowest target asked + loss * distance to the nearest."""
    high, wide = (-(-n // _BOUND_CELLS) for n in shape)
    j, i = np.divmod(np.arange(high * wide), wide)
    half = (_BOUND_CELLS - 1) / 2.0
    east, north = ground.offset_m(
        (i * _BOUND_CELLS + half)[:, None] - target[0], (j * _BOUND_CELLS + half)[:, None] - target[1]
    )
    corner_m = math.hypot(*(half * np.abs(ground.jacobian).sum(axis=1)))
    apart = np.maximum(np.hypot(east, north) - corner_m, 0.0)
    floor = np.full((len(loss), high * wide), np.inf)
    for a, some in enumerate(asked):
        if some.any():
            nearest_m = apart[:, some].min(axis=1)
            least_m = height_m[some].min() + loss[a] * nearest_m
            floor[a] = np.where(nearest_m <= ground.reach_m, least_m, np.inf)
    row_block = np.arange(shape[0]) // _BOUND_CELLS * wide
    block = (row_block[:, None] + np.arange(shape[1]) // _BOUND_CELLS).astype(np.int32)
    return block.reshape(-1), floor
