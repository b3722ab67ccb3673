"""First look at a model for overhead angles: start zones, lowest ground, unknown ground.

Done block by block before any snow moves. A block is read with as much ground around it as a zone
of the least area can reach, so that a zone is kept or left out whichever block it is seen from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK, STRIP_ROWS, Block, Layout, filled
from steybrae.raster.files.heights import RawHeights
from steybrae.raster.job import AreaJob
from steybrae.raster.overhead.kernel import TILE_CELLS
from steybrae.raster.overhead.layers import NEITHER, POSSIBLE, START_ZONE, STEEPER, UNKNOWN
from steybrae.raster.overhead.pieces import RING
from steybrae.raster.overhead.steps import smallest_cell_m
from steybrae.terrain.attributes import baseline_cells, slope_deg
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.gradients import index_gradients, plane_gradients
from steybrae.terrain.jacobian import cell_size_m, ground_gradients, jacobian_at
from steybrae.terrain.start_zones import StartZones, find_start_zones
from steybrae.terrain.uncertainty import SlopeUncertainty

Cells = NDArray[Any]

MOST_COARSE_CELLS: Final = 2_000_000
"""Most cells of the raster on which unknown ground is looked up at: some ten arrays of 16 MB."""

MOST_SHIFTED: Final = 3e8
"""Most cells of that raster times the cells across a reach: a second or two of looking (our choice)."""

MOST_MARGIN_CELLS: Final = 512
"""Most ground around a block, cells; a zone that reaches farther out is kept without being measured."""


def heights_m(heights: RawHeights, row: int, col: int, rows: int, cols: int) -> Cells:
    """Heights of a window in single precision, metres; NaN where unknown or outside."""
    raw = np.empty((rows, cols), heights.dtype)
    heights.read(row, col, raw)
    raw *= raw.dtype.type(heights.step_m)
    raw += raw.dtype.type(heights.offset_m)
    found = raw.astype(np.float32, copy=False)
    found[~np.isfinite(found)] = np.nan
    return found


def ringed_heights_m(heights: RawHeights, layout: Layout, block: Block) -> Cells:
    """Heights of a block and its ring for the kernel: minus infinity where unknown, infinite outside."""
    rows, cols = block.rows + 2 * RING, block.cols + 2 * RING
    z = heights_m(heights, block.row - RING, block.col - RING, rows, cols)
    z[np.isnan(z)] = -np.inf
    row, col = np.arange(rows) + block.row - RING, np.arange(cols) + block.col - RING
    z[(row < 0) | (row >= layout.rows)] = z[:, (col < 0) | (col >= layout.cols)] = np.inf
    return z


def coarse_cells(layout: Layout, cell_m: float, reach_m: float) -> int:
    """Side of a coarse cell, cells: a power of two, which divides a block; 1 on small rasters.

    Parameters
    ----------
    layout
        Blocks of the raster.
    cell_m
        Shorter side of a cell, metres.
    reach_m
        How far is looked.
    """
    cells, across, side = layout.rows * layout.cols, 2.0 * reach_m / cell_m, 1
    while side < BLOCK and (cells > MOST_COARSE_CELLS * side**2 or cells * across > MOST_SHIFTED * side**3):
        side *= 2
    return side


@dataclass(frozen=True, eq=False)
class Survey:
    """Surveys blocks of one model.

    Attributes
    ----------
    heights
        Its heights.
    job
        What counts as a start zone.
    layout
        Its blocks.
    most_margin
        Most ground around a block, cells.
    """

    heights: RawHeights
    job: AreaJob
    layout: Layout
    most_margin: int = MOST_MARGIN_CELLS

    @cached_property
    def side(self) -> int:
        """Cells along the side of a coarse cell."""
        return coarse_cells(self.layout, min(smallest_cell_m(self.heights.grid)), self.job.reach_m)

    @cached_property
    def known(self) -> SlopeUncertainty:
        """How well the slopes are known that start zones are told from."""
        return self.job.zones_uncertainty(self.heights.grid)

    def block(self, block: Block) -> tuple[Cells, tuple[Cells, Cells], Cells]:
        """Survey a block.

        Parameters
        ----------
        block
            Which one.

        Returns
        -------
        tuple
            Classes of its cells, ``[row, col]``; and in coarse cells (`coarse_cells`) the heights of
            the lowest and of the highest known cell, metres, NaN where none is known, and whether
            any slope is unknown.
        """
        grid, rules = self.heights.grid, self.job.start_rules
        jacobian = jacobian_at(grid, block.col + block.cols / 2, block.row + block.rows / 2)
        cell_area_m2 = abs(float(np.linalg.det(jacobian)))
        halves = baseline_cells(*cell_size_m(grid), rules.baseline_m)
        margin = min(math.ceil(rules.least_area_m2 / cell_area_m2), self.most_margin) + 1
        slope, short = self._slopes(block, margin, halves)
        # Beyond the window nobody looked: what reaches its rim counts as touching unknown ground.
        for rim in (slice(0, 1), slice(-1, None)):
            slope[rim] = slope[:, rim] = np.nan
        zones = find_start_zones(slope, short, cell_area_m2, self.known, rules)
        inside = slice(margin, margin + block.rows), slice(margin, margin + block.cols)
        classes = _classes(zones)[inside]
        height = heights_m(self.heights, block.row, block.col, block.rows, block.cols)
        unknown = _coarse(classes == UNKNOWN, self.side, fill=False).max(axis=(1, 3))
        return classes, (self._lowest(height), -self._lowest(-height)), unknown

    def _lowest(self, height: Cells) -> Cells:
        """Lowest known height in coarse cells; NaN where none is known."""
        found = _coarse(np.where(np.isnan(height), np.inf, height), self.side, np.inf).min(axis=(1, 3))
        return np.where(np.isinf(found), np.nan, found).astype(np.float32)

    def _slopes(self, block: Block, margin: int, halves: tuple[int, int]) -> tuple[Cells, Cells]:
        """Slope over the baseline, and over two cells, of a block and a margin around it, degrees."""
        half_cols, half_rows = halves
        row, col = block.row - margin, block.col - margin
        rows, cols = block.rows + 2 * margin, block.cols + 2 * margin
        height = heights_m(
            self.heights, row - half_rows, col - half_cols, rows + 2 * half_rows, cols + 2 * half_cols
        )
        wanted = (halves,) if halves == (1, 1) else (halves, (1, 1))
        out = tuple(np.empty((rows, cols), np.float32) for _ in wanted)
        for first in range(0, rows, STRIP_ROWS):
            count = min(STRIP_ROWS, rows - first)
            part = height[first : first + count + 2 * half_rows].astype(np.float64)
            jacobian = _row_jacobians(self.heights.grid, row + first, col, count, cols)
            for slopes, window in zip(out, wanted, strict=True):
                # Over two cells a plane is the method of Evans.
                whole = index_gradients(part, "evans") if window == (1, 1) else plane_gradients(part, *window)
                inside = (slice(half_rows, half_rows + count), slice(half_cols, half_cols + cols))
                steps = (found[inside] for found in whole)
                slopes[first : first + count] = slope_deg(*ground_gradients(jacobian, *steps))
        return out[0], out[-1]


def _row_jacobians(grid: Grid, row: int, col: int, rows: int, cols: int) -> Array:
    """Jacobians of cells, ``[2, 2, row, col]``: those in the middle of each row of the raster's tiles.

    By place and not by window, so that neighbouring blocks have the same slopes.
    """
    own = np.arange(col, col + cols) // TILE_CELLS
    tiles = np.arange(own[0], own[-1] + 1)
    at_row = np.clip(np.arange(row, row + rows) + 0.5, 0.5, grid.shape[0] - 0.5)
    at_col = np.clip((tiles + 0.5) * TILE_CELLS, 0.5, grid.shape[1] - 0.5)
    found = np.moveaxis(jacobian_at(grid, at_col[None, :], at_row[:, None]), (-2, -1), (0, 1))
    out: Array = found[..., own - own[0]]
    return out


def _classes(zones: StartZones) -> Cells:
    out = np.full(zones.zone.shape, NEITHER, np.uint8)
    out[zones.possible] = POSSIBLE
    out[zones.source] = STEEPER
    out[zones.in_range] = START_ZONE
    out[zones.unknown] = UNKNOWN
    return out


def _coarse(cells: Cells, side: int, fill: float) -> Cells:
    """Cells of a block grouped, ``[coarse row, row, coarse col, col]``, filled up to whole groups."""
    rows, cols = (-(-size // side) * side for size in cells.shape)
    return filled(cells, (rows, cols), fill).reshape(rows // side, side, cols // side, side)
