"""Bounds of the ground near each cell, by which most sight lines are judged without a height on them.

A line that runs below the lowest corner of a cell it crosses is hidden there, one above the highest
ground near it is not: only what lies between has to be read between the cells. Both bounds are wider
than any rounding, so that no answer is another.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array

RUN_STEPS: Final = 8
"""Steps of a line, of one cell at most each, whose ground is bounded at once (our choice)."""

ROOM_M: Final = 0.01
"""What bounds leave for rounding, metres: heights of single precision and places to 2^-32 of a cell."""

_NEAR: Final = RUN_STEPS // 2 + 1
"""How far from the cell in the middle of a run its ground is read, cells: its outermost samples are half a
step nearer, one corner further."""


@dataclass(frozen=True, eq=False)
class HeightBounds:
    """Bounds of the ground near cells, in single precision.

    Attributes
    ----------
    floor_m, top_m
        Lowest and highest of the four heights that ground is read from, by ``floor(col + 0.5)`` and
        ``floor(row + 0.5)``, shape ``(rows + 1, cols + 1)``. The lowest is minus infinity at the edge and
        beside unknown ground, which hides nothing.
    ceiling_m
        Highest known ground that a run of `RUN_STEPS` steps round a cell is read from, ``(rows, cols)``;
        minus infinity where all of it is unknown.
    """

    floor_m: NDArray[np.float32]
    top_m: NDArray[np.float32]
    ceiling_m: NDArray[np.float32]

    @staticmethod
    def of(heights_m: Array) -> HeightBounds:
        """Bounds of a window of heights, ``[row, col]``, NaN unknown."""
        rows, cols = heights_m.shape
        unknown = np.isnan(heights_m)
        heights = np.where(unknown, -np.inf, heights_m).astype(np.float32)
        floor = np.full((rows + 1, cols + 1), -np.inf, dtype=np.float32)
        floor[1:-1, 1:-1] = _of_windows(heights, 2, np.minimum)
        if unknown.any():
            # A place on the edge of a cell may be read from the cell beside it.
            beside = np.pad(floor, 1, constant_values=np.inf)
            floor[np.isneginf(_of_windows(beside, 3, np.minimum))] = -np.inf
        walled = np.pad(heights, _NEAR, constant_values=-np.inf)
        inner = walled[_NEAR - 1 : rows + _NEAR + 1, _NEAR - 1 : cols + _NEAR + 1]
        top = _of_windows(inner, 2, np.maximum)
        return HeightBounds(floor, top, _of_windows(walled, 2 * _NEAR + 1, np.maximum))

    def cells(self, col: Array, row: Array) -> NDArray[np.intp]:
        """Cells, of four heights each, that places lie in."""
        cell: NDArray[np.intp] = (row + 0.5).astype(np.intp)
        cell *= self.floor_m.shape[1]
        cell += (col + 0.5).astype(np.intp)
        return cell

    def hides(self, cell: NDArray[np.intp], line_m: Array) -> NDArray[np.bool_]:
        """Whether the ground in cells surely lies above a height there."""
        return np.asarray(self.floor_m.take(cell, mode="clip") > line_m + ROOM_M)

    def may_hide(self, cell: NDArray[np.intp], line_m: Array) -> NDArray[np.bool_]:
        """Whether it may."""
        return np.asarray(self.top_m.take(cell, mode="clip") > line_m - ROOM_M)

    def near(self, col: Array, row: Array, line_m: Array) -> NDArray[np.bool_]:
        """Whether ground of runs round places may lie above a height."""
        rows, cols = self.ceiling_m.shape
        i, j = (np.clip(at, 0, size - 1).astype(np.intp) for at, size in ((col, cols), (row, rows)))
        may: NDArray[np.bool_] = self.ceiling_m[j, i] > line_m - ROOM_M
        return may


def _of_windows(numbers: NDArray[np.float32], size: int, least_or_most: np.ufunc) -> NDArray[np.float32]:
    """Least or most of each square window of so many cells that lies within."""
    for _ in range(2):
        wide = 1
        while wide < size:
            step = min(wide, size - wide)
            numbers, wide = least_or_most(numbers[:-step], numbers[step:]), wide + step
        numbers = numbers.T
    return np.ascontiguousarray(numbers)
