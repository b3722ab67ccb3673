"""First look at a model for overhead angles: start zones, lowest ground, unknown ground.

Done block by block before any snow moves. A block is read with as much ground around it as a zone
of the least area can reach, so that a zone is kept or left out whichever block it is seen from.

By the rule of `steybrae.terrain.overhead.unknown`, on a coarse raster and in one piece, always to the
careful side: a coarse cell stands for the lowest of its cells, for the nearest way between any of its
cells and any unknown one, and sees all known ground within reach of any of them. Beyond the edge of the
model all is unknown; slopes at its rim are already.

Cells much finer than the 20 m over which slopes are judged are looked at twice: by themselves, and joined to
about 10 m, as `ground` and `route` look at them. Of both the steeper, the possible, the unknown stands: steps
in a model hide from the one what the other shows.

Lengths belong to tiles that lie fixed on the raster, so that an answer does not depend on how the
raster is cut into blocks. Within a tile of 128 cells they change by 0.1 % at the most (cells of one
second at 60 degrees north).
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.raster.blocks import BLOCK, Block, Layout, filled
from steybrae.raster.files.heights import RawHeights
from steybrae.raster.job import AreaJob
from steybrae.raster.overhead.layers import (
    LENGTHS,
    NEITHER,
    POSSIBLE,
    RING,
    START_ZONE,
    STEEPER,
    TILE_CELLS,
    UNKNOWN,
    in_own_cells,
    joined_block,
    joins_on,
)
from steybrae.route.overhead.windows import joined_grid
from steybrae.terrain.attributes import baseline_cells, slope_deg
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.gradients import window_gradients
from steybrae.terrain.jacobian import cell_size_m, ground_gradients, jacobian_at
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG, UNKNOWN_NEAR_M
from steybrae.terrain.start_zones import StartZones, find_start_zones
from steybrae.terrain.uncertainty import SlopeUncertainty


def tile_lengths_m(grid: Grid, tile_row: int, tile_col: int, down: int, right: int) -> Array:
    """Lengths of the steps in some tiles, shortened to the straight line, metres.

    A way of 16 directions is longer than the straight one between two of them, by up to 2.7 % on
    square cells. Every length is multiplied by the least share of the straight line in it
    (`shortest_share`), so that no way is told longer than it could be, and no angle flatter; on
    ways along one of the 16 directions the angle is told by up to 0.8 degree too steep.

    ``[tile row, tile col, step]`` in the order of the kernel's `LENGTHS`; the first tile may lie
    outside of the model's grid.
    """
    rows, cols = grid.shape
    row = np.clip((np.arange(tile_row, tile_row + down) + 0.5) * TILE_CELLS, 0.5, rows - 0.5)
    col = np.clip((np.arange(tile_col, tile_col + right) + 0.5) * TILE_CELLS, 0.5, cols - 0.5)
    jacobian = jacobian_at(grid, col[None, :], row[:, None])
    steps = np.asarray(LENGTHS, dtype=np.float64)
    ground = np.einsum("...xk,sk->...sx", jacobian, steps)
    out: Array = np.hypot(ground[..., 0], ground[..., 1]) * shortest_share(ground)[..., None]
    return out


def shortest_share(ground: Array) -> Array:
    """Straight distance in the longest way of given directions: ``cos(largest gap / 2)``, above 0 to 1.

    Steps are in metres east and north, ``[..., step, 2]``; their opposites are steps as well.
    """
    turned = np.sort(np.arctan2(ground[..., 1], ground[..., 0]) % math.pi, axis=-1)
    gaps = np.diff(turned, axis=-1, append=turned[..., :1] + math.pi)
    out: Array = np.cos(gaps.max(axis=-1) / 2.0)
    return out


def smallest_cell_m(grid: Grid) -> tuple[float, float]:
    """Ground length of a column and a row where they are shortest: at a corner, an edge or the middle."""
    rows, cols = grid.shape
    row, col = np.meshgrid((0.5, rows / 2, rows - 0.5), (0.5, cols / 2, cols - 0.5))
    jacobian = jacobian_at(grid, col, row)
    across, down = np.hypot(jacobian[..., 0, :], jacobian[..., 1, :]).reshape(-1, 2).min(axis=0).tolist()
    return across, down


Cells = NDArray[Any]

MOST_COARSE_CELLS: Final = 2_000_000
"""Most cells of the raster on which unknown ground is looked up at: some ten arrays of 16 MB."""

MOST_SHIFTED: Final = 3e8
"""Most cells of that raster times the cells across a reach: a second or two of looking (our choice)."""

MOST_MARGIN_CELLS: Final = 512
"""Most ground around a block, cells; a zone that reaches farther out is kept without being measured."""


CACHED_ROWS: Final = 32
"""Rows of slopes worked out at once, in double precision: few enough for the processor's cache (in 128
rows turning the gradients alone took three times as long, measured)."""


def heights_m(heights: RawHeights | JoinedHeights, row: int, col: int, rows: int, cols: int) -> Cells:
    """Heights of a window in single precision, metres; NaN where unknown or outside."""
    raw = np.empty((rows, cols), heights.dtype)
    heights.read(row, col, raw)
    raw *= raw.dtype.type(heights.step_m)
    raw += raw.dtype.type(heights.offset_m)
    found = raw.astype(np.float32, copy=False)
    found[~np.isfinite(found)] = np.nan
    return found


@dataclass(frozen=True, eq=False)
class JoinedHeights:
    """Heights of a model's cells joined to the mean of theirs, unknown where one is; as `RawHeights`.

    Attributes
    ----------
    own
        Of the model's own cells.
    joins
        How many columns and rows are joined to one.
    """

    own: RawHeights | JoinedHeights
    joins: tuple[int, int]
    step_m = 1.0
    offset_m = 0.0
    dtype = np.dtype(np.float64)

    @cached_property
    def grid(self) -> Grid:
        """Grid of the joined cells."""
        return joined_grid(self.own.grid, self.joins)

    def read(self, row: int, col: int, out: Cells) -> None:
        """Read the heights of a window, metres; it may reach outside."""
        (rows, cols), (join_col, join_row) = out.shape, self.joins
        raw = np.empty((rows * join_row, cols * join_col), self.own.dtype)
        self.own.read(row * join_row, col * join_col, raw)
        # Rows first: whole rows at once.
        tall = raw.reshape(rows, join_row, -1).mean(axis=1, dtype=np.float64)
        np.mean(tall.reshape(rows, cols, join_col), axis=2, out=out)
        out *= self.own.step_m
        out += self.own.offset_m


def coarse_cells(layout: Layout, cell_m: float, reach_m: float) -> int:
    """Side of a coarse cell, cells: a power of two, which divides a block; 1 on small rasters.

    `cell_m` is the shorter side of a cell, `reach_m` how far is looked.
    """
    cells, across, side = layout.rows * layout.cols, 2.0 * reach_m / cell_m, 1
    while side < BLOCK and (cells > MOST_COARSE_CELLS * side**2 or cells * across > MOST_SHIFTED * side**3):
        side *= 2
    return side


@dataclass(frozen=True, eq=False)
class Surveyed:
    """What was found in a block.

    Attributes
    ----------
    classes
        Classes of its cells, ``[row, col]``.
    ends_m
        Heights of the lowest and of the highest known ground in each coarse cell (`coarse_cells`), metres;
        NaN where none is known.
    unknown
        Whether any slope in a coarse cell is unknown.
    ringed_m
        Heights of the block and its ring for the kernel, metres: minus infinity where unknown, infinite
        outside the model.
    """

    classes: Cells
    ends_m: tuple[Cells, Cells]
    unknown: Cells
    ringed_m: Cells


@dataclass(frozen=True, eq=False)
class Survey:
    """Surveys blocks of one model for what the job counts as a start zone.

    `most_margin` is the most ground around a block, cells.
    """

    heights: RawHeights | JoinedHeights
    job: AreaJob
    layout: Layout
    most_margin: int = MOST_MARGIN_CELLS

    @cached_property
    def side(self) -> int:
        """Cells along the side of a coarse cell."""
        return coarse_cells(self.layout, min(smallest_cell_m(self.heights.grid)), self.job.settings.reach_m)

    @cached_property
    def known(self) -> SlopeUncertainty:
        """How well the slopes are known that start zones are told from."""
        return self.job.zones_uncertainty(self.heights.grid)

    @cached_property
    def joins(self) -> tuple[int, int]:
        """How many columns and rows of cells are one for a place's start zones."""
        return joins_on(self.heights.grid)

    @cached_property
    def joined(self) -> Survey:
        """The like of joined cells."""
        heights = JoinedHeights(self.heights, self.joins)
        return replace(self, heights=heights, layout=Layout(*heights.grid.shape))

    def block(self, block: Block) -> Surveyed:
        """Survey a block."""
        own, classes = self._looked(block)
        if self.joins != (1, 1):
            _, joined = self.joined._looked(joined_block(block, self.joins))
            classes = steeper_of(classes, in_own_cells(joined, block, self.joins))
        inside = own[RING:-RING, RING:-RING]
        return Surveyed(
            classes,
            (self._lowest(inside), -self._lowest(-inside)),
            _coarse(classes == UNKNOWN, self.side, False, np.maximum),
            self._ringed(block, own),
        )

    def _looked(self, block: Block) -> tuple[Cells, Cells]:
        """Heights of a block and its ring, and the classes of its cells by these alone."""
        grid, rules = self.heights.grid, self.job.settings.start_zones
        jacobian = jacobian_at(grid, block.col + block.cols / 2, block.row + block.rows / 2)
        cell_area_m2 = abs(float(np.linalg.det(jacobian)))
        halves = baseline_cells(*cell_size_m(grid), rules.baseline_m)
        margin = min(math.ceil(rules.least_area_m2 / cell_area_m2), self.most_margin) + 1
        # Read once for all: at least as far out as the ring.
        wide, high = (margin + half for half in halves)
        rows, cols = block.rows + 2 * high, block.cols + 2 * wide
        height = heights_m(self.heights, block.row - high, block.col - wide, rows, cols)
        slope, short = self._slopes(height, (block.row - margin, block.col - margin), halves)
        # Beyond the window nobody looked: what reaches its rim counts as touching unknown ground.
        for rim in (slice(0, 1), slice(-1, None)):
            slope[rim] = slope[:, rim] = np.nan
        zones = find_start_zones(slope, short, cell_area_m2, self.known, rules)
        classes = _classes(zones)[_inside(block, margin, margin)]
        return height[_inside(block, high, wide, RING)], classes

    def _ringed(self, block: Block, height: Cells) -> Cells:
        """Heights of a block and its ring for the kernel."""
        z = np.where(np.isnan(height), np.float32(-np.inf), height)
        rows, cols = self.layout.rows, self.layout.cols
        row, col = (np.arange(size) - RING for size in z.shape)
        row, col = row + block.row, col + block.col
        z[(row < 0) | (row >= rows)] = z[:, (col < 0) | (col >= cols)] = np.inf
        return z

    def _lowest(self, height: Cells) -> Cells:
        """Lowest known height in coarse cells; NaN where none is known."""
        found = _coarse(np.where(np.isnan(height), np.inf, height), self.side, np.inf, np.minimum)
        return np.where(np.isinf(found), np.nan, found).astype(np.float32)

    def _slopes(self, height: Cells, corner: tuple[int, int], halves: tuple[int, int]) -> tuple[Cells, Cells]:
        """Slope over the baseline, and over two cells, of all but half a baseline at the rim, degrees.

        `corner` is the row and column of the first slope.
        """
        half_cols, half_rows = halves
        rows, cols = height.shape[0] - 2 * half_rows, height.shape[1] - 2 * half_cols
        wanted = (halves,) if halves == (1, 1) else (halves, (1, 1))
        out = tuple(np.empty((rows, cols), np.float32) for _ in wanted)
        lattice, tile = _row_jacobians(self.heights.grid, *corner, rows, cols)
        for first in range(0, rows, CACHED_ROWS):
            count = min(CACHED_ROWS, rows - first)
            part = height[first : first + count + 2 * half_rows].astype(np.float64)
            jacobian = np.take(lattice[:, :, first : first + count], tile, axis=-1)
            for slopes, window in zip(out, wanted, strict=True):
                inside = (slice(half_rows, half_rows + count), slice(half_cols, half_cols + cols))
                steps = (found[inside] for found in window_gradients(part, window))
                slopes[first : first + count] = slope_deg(*ground_gradients(jacobian, *steps))
        return out[0], out[-1]


def _inside(block: Block, high: int, wide: int, more: int = 0) -> tuple[slice, slice]:
    """Rows and columns of a block, and some around it, in an array with so much ground around the block."""
    return (
        slice(high - more, high + block.rows + more),
        slice(wide - more, wide + block.cols + more),
    )


def _row_jacobians(grid: Grid, row: int, col: int, rows: int, cols: int) -> tuple[Array, NDArray[np.intp]]:
    """Jacobians in the middle of each row of tiles, ``[2, 2, row, tile]``, and the tile of each column.

    By place and not by window, so that neighbouring blocks have the same slopes.
    """
    own = np.arange(col, col + cols) // TILE_CELLS
    tiles = np.arange(own[0], own[-1] + 1)
    at_row = np.clip(np.arange(row, row + rows) + 0.5, 0.5, grid.shape[0] - 0.5)
    at_col = np.clip((tiles + 0.5) * TILE_CELLS, 0.5, grid.shape[1] - 0.5)
    found = np.moveaxis(jacobian_at(grid, at_col[None, :], at_row[:, None]), (-2, -1), (0, 1))
    return found, own - own[0]


def _classes(zones: StartZones) -> Cells:
    out = np.full(zones.zone.shape, NEITHER, np.uint8)
    out[zones.possible] = POSSIBLE
    out[zones.source] = STEEPER
    out[zones.in_range] = START_ZONE
    out[zones.unknown] = UNKNOWN
    return out


def steeper_of(own: Cells, joined: Cells) -> Cells:
    """Classes of cells by themselves and joined: the steeper stands, then the possible, then the unknown."""
    out: Cells = np.maximum(own, joined)
    out[((own == UNKNOWN) | (joined == UNKNOWN)) & (out <= NEITHER)] = UNKNOWN
    # Ground that is unknown by itself is no possible zone but unknown: it may be more.
    out[(own == UNKNOWN) & (out < START_ZONE)] = UNKNOWN
    return out


def _coarse(cells: Cells, side: int, fill: float, least_or_most: np.ufunc) -> Cells:
    """Least or most of the cells of a block in each coarse cell; `fill` stands beyond its last ones."""
    rows, cols = (-(-size // side) * side for size in cells.shape)
    whole = filled(cells, (rows, cols), fill)
    # Rows first: whole rows at once, which both axes at once are not (eight times as fast).
    tall = least_or_most.reduce(whole.reshape(rows // side, side, cols), axis=1)
    found: Cells = least_or_most.reduce(tall.reshape(rows // side, cols // side, side), axis=2)
    return found


Mask = NDArray[np.bool_]
Heights = NDArray[Any]


def overlooked_by_unknown(
    ends_m: tuple[Heights, Heights], unknown: Mask, side: int, cell_m: tuple[float, float], reach_m: float
) -> Mask:
    """Which coarse cells unknown ground could look down on.

    Parameters
    ----------
    ends_m
        Heights of the lowest and of the highest known ground in each coarse cell, ``[row, col]``, metres;
        NaN where none is known.
    unknown
        Whether any slope in it is unknown.
    side
        Cells along the side of a coarse cell.
    cell_m
        Ground length of a column and a row of cells, metres, no longer than anywhere on the raster.
    reach_m
        How far is looked, metres.

    Returns
    -------
    Mask
        ``[row, col]``; true where unknown ground could look down on any of its known cells.
    """
    low, high = ends_m
    coarse_m = side * cell_m[0], side * cell_m[1]
    # From the middle of a coarse cell to that of its outermost cell, at both ends of a way; unknown
    # ground begins at the edge of its cell.
    corner_m = (side - 1) * math.hypot(*cell_m)
    far_m = reach_m + corner_m + max(cell_m) / 2.0
    nearest_m = np.maximum(_nearest_m(unknown, coarse_m, far_m) - (far_m - reach_m), 0.0)
    with np.errstate(invalid="ignore"):
        rise = _highest(high, coarse_m, reach_m + corner_m) - low
        steep = rise >= math.tan(math.radians(PLACE_SIGHT_DEG)) * nearest_m
    out: Mask = (nearest_m <= reach_m) & (steep | (nearest_m <= UNKNOWN_NEAR_M)) & ~np.isnan(low)
    return out


def _nearest_m(mask: Mask, cell_m: tuple[float, float], far_m: float) -> Heights:
    """Distance from the middle of each cell to that of the nearest one in a mask; infinite beyond `far_m`."""
    across, down = cell_m
    rows = np.arange(len(mask), dtype=np.float32)[:, None]
    above = np.maximum.accumulate(np.where(mask, rows, -np.inf), axis=0)
    below = np.minimum.accumulate(np.where(mask, rows, np.inf)[::-1], axis=0)[::-1]
    along2 = np.square(np.minimum(rows - above, below - rows) * np.float32(down))
    best2 = along2.copy()
    for step in range(1, min(math.ceil(far_m / across), mask.shape[1] - 1) + 1):
        off2 = np.float32((step * across) ** 2)
        for to, of in ((slice(step, None), slice(None, -step)), (slice(None, -step), slice(step, None))):
            np.minimum(best2[:, to], along2[:, of] + off2, out=best2[:, to])
    found: Heights = np.sqrt(best2)
    found[found > far_m] = np.inf
    return found


def _highest(high_m: Heights, cell_m: tuple[float, float], reach_m: float) -> Heights:
    """Greatest height whose middle lies within reach of that of each cell; minus infinity where none is."""
    across, down = cell_m
    rows, cols = high_m.shape
    most = min(math.floor(reach_m / across), cols - 1)
    padded = np.full((rows, cols + 2 * most), -np.inf, np.float32)
    np.fmax(high_m, np.float32(-np.inf), out=padded[:, most : most + cols])
    # Greatest over 1, 2, 4, ... cells to the right: any window is covered by two of them.
    over = [padded]
    while 2 ** len(over) <= 2 * most + 1:
        half = 2 ** (len(over) - 1)
        over.append(np.maximum(over[-1][:, :-half], over[-1][:, half:]))
    out = np.full(high_m.shape, -np.inf, np.float32)
    for step in range(min(math.floor(reach_m / down), rows - 1) + 1):
        half = min(math.floor(math.sqrt(reach_m**2 - (step * down) ** 2) / across), most)
        level = (2 * half + 1).bit_length() - 1
        first, last = most - half, most + half + 1 - 2**level
        row = np.maximum(over[level][:, first : first + cols], over[level][:, last : last + cols])
        np.maximum(out[step:], row[: rows - step], out=out[step:])
        np.maximum(out[: rows - step], row[step:], out=out[: rows - step])
    return out
