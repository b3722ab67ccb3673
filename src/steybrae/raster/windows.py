"""A block's heights with ground around them, and height changes over windows of any size."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.job import AreaJob
from steybrae.raster.kernel import Steps
from steybrae.terrain.engines import engine_gradients
from steybrae.terrain.gradients import plane_gradients

Cells = NDArray[Any]

Halves = tuple[int, int]
"""Half-widths of a window along columns and along rows, cells."""

TWO_CELLS: Final[Halves] = (1, 1)
"""Of the smallest window, whose baseline is two cells."""


@dataclass(frozen=True, eq=False)
class BlockHeights:
    """Heights of a block and around it.

    Attributes
    ----------
    job
        What is asked for.
    raw
        ``[row, col]``, numbers of the file; not finite is unknown.
    margin
        Rows and columns around the block, cells: half of the widest window, one column more where that is
        above one, and as many rings as `ringed` is asked for.
    """

    job: AreaJob
    raw: Cells
    margin: tuple[int, int]

    def ringed(self, rings: int = 1) -> Cells:
        """Heights of the block and some rings, C order."""
        if self.margin == (rings, rings):
            return self.raw
        rows, cols = (slice(size - rings, rings - size or None) for size in self.margin)
        return np.ascontiguousarray(self.raw[rows, cols])

    @cached_property
    def _of_engine(self) -> tuple[Cells, Cells]:
        finite = np.where(np.isfinite(self.raw), self.raw, np.nan).astype(np.float64)
        return engine_gradients(self.job.engine)(finite, self.job.method)

    def steps(self, halves: Halves, more: int = 0) -> Steps | None:
        """Give what tells the height changes over a window, for the block and `more` cells around it.

        None for two cells of our own, which the kernel takes itself.
        """
        top, left = (size - more for size in self.margin)
        cols = self.raw.shape[1] - 2 * left
        if halves == TWO_CELLS and self.job.engine == "own":
            return None
        if halves == TWO_CELLS:
            place = slice(left - 1, left + cols + 1)
            return lambda first, count: self._cut(slice(top + first, top + first + count), place)
        half_cols, half_rows = halves
        across = slice(left - 1 - half_cols, left + cols + 1 + half_cols)
        inside = (slice(half_rows, -half_rows), slice(half_cols, -half_cols))

        def planes(first: int, count: int) -> tuple[Cells, Cells]:
            part = self.raw[top + first - half_rows : top + first + count + half_rows, across]
            along, down = plane_gradients(part, half_cols, half_rows)
            return np.ascontiguousarray(along[inside]), np.ascontiguousarray(down[inside])

        return planes

    def _cut(self, rows: slice, cols: slice) -> tuple[Cells, Cells]:
        along, down = self._of_engine
        return np.ascontiguousarray(along[rows, cols]), np.ascontiguousarray(down[rows, cols])
