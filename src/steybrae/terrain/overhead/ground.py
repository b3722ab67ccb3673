"""A window of ground prepared for looking up: start zones, sources, ground nobody knows."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.attributes import baseline_cells, slope_deg
from steybrae.terrain.dem import Array, Dem, Grid
from steybrae.terrain.gradients import STRIP_ROWS, heights_at, runs, window_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_at, sides_m
from steybrae.terrain.start_zones import StartRules, StartZones, find_start_zones
from steybrae.terrain.uncertainty import SlopeUncertainty

LEAST_SIGHT_DEG: Final = 18.0
"""Flattest angle, degrees, at which ground overhead is told: a low extreme of published run-out
angles (from memory). Flatter than that nothing is looked for; nothing is proved by it either."""

PATH_ANGLES_DEG: Final = tuple(float(a) for a in range(int(LEAST_SIGHT_DEG), 61))
"""Path angles for a whole field, degrees; above 60 nothing is told apart (our choice)."""

REACH_M: Final = 3000.0
"""How far is looked for ground overhead, metres on the map: at 18 degrees 975 m of fall (our choice)."""

BLOCK_CELLS: Final = 8
"""Side of a block of cells that is passed over as a whole where it cannot matter."""


NEIGHBOURS: Final = np.array([(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j])
"""Steps in column and row to the eight cells around one."""


@dataclass(frozen=True, eq=False)
class Points:
    """Places to look up from; arrays of shape ``(n,)``.

    Attributes
    ----------
    col, row
        In the window, cells.
    height_m
        Of the ground, metres.
    """

    col: Array
    row: Array
    height_m: Array

    def pick(self, which: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Points:
        """Pick some of them."""
        return Points(self.col[which], self.row[which], self.height_m[which])


@dataclass(frozen=True, eq=False)
class Blocks:
    """Cells sorted by the square block that they lie in.

    Attributes
    ----------
    col, row
        Indexes of the cells, in half of the usual size: there are millions of them.
    window_m
        Heights of the window that they lie in, ``[row, col]``, metres.
    start, count
        First cell and number of cells of each block.
    left, right, top, bottom
        Least and greatest column and row of each block's cells.
    highest_m
        Height of each block's highest cell.
    """

    col: NDArray[np.int32]
    row: NDArray[np.int32]
    window_m: Array
    start: NDArray[np.intp]
    count: NDArray[np.intp]
    left: NDArray[np.intp]
    right: NDArray[np.intp]
    top: NDArray[np.intp]
    bottom: NDArray[np.intp]
    highest_m: Array

    @cached_property
    def square(self) -> NDArray[np.int32]:
        """Cells of each block as its whole square, ``(blocks, 64)`` by row; -1 where one is none of them.

        Squares of one size are worked on without an index for every cell: in an eighth of the time.
        """
        out = np.full((len(self.start), BLOCK_CELLS * BLOCK_CELLS), -1, dtype=np.int32)
        at = self.row % BLOCK_CELLS * BLOCK_CELLS + self.col % BLOCK_CELLS
        out[np.repeat(np.arange(len(self.start)), self.count), at] = np.arange(len(at))
        return out

    @cached_property
    def square_m(self) -> Array:
        """Heights of `square`, metres; minus infinity where there is no cell."""
        return np.where(self.square < 0, -np.inf, self.heights_m(self.square))

    def heights_m(self, cell: NDArray[np.integer[Any]] | int | slice) -> Array:
        """Heights of cells by their index, metres."""
        found: Array = self.window_m[self.row[cell], self.col[cell]]
        return found

    def number(self, col: int, row: int) -> int:
        """Index of a cell; -1 where it is none of them."""
        wide = 1 << 31
        squares = self.top // BLOCK_CELLS * wide + self.left // BLOCK_CELLS
        key = row // BLOCK_CELLS * wide + col // BLOCK_CELLS
        block = int(np.searchsorted(squares, key))
        if block == len(squares) or squares[block] != key:
            return -1
        return int(self.square[block, row % BLOCK_CELLS * BLOCK_CELLS + col % BLOCK_CELLS])

    def apart(self, which: NDArray[np.intp], points: Points) -> tuple[Array, Array]:
        """Columns and rows from places to the cells of squares, one each, ``(n, 1, 8)`` and ``(n, 8, 1)``."""
        side = np.arange(BLOCK_CELLS)
        col, row = (
            (first[which] // BLOCK_CELLS * BLOCK_CELLS)[:, None] + side + 0.5 - at[:, None]
            for first, at in ((self.left, points.col), (self.top, points.row))
        )
        return col[:, None, :], row[:, :, None]


def blocks_of(mask: NDArray[np.bool_], height_m: Array) -> Blocks:
    """Sort the cells of a mask by the block that they lie in."""
    # Square after square, each by row: laid out so, nothing has to be sorted.
    high, wide = (-(-size // BLOCK_CELLS) for size in mask.shape)
    squares = np.zeros((high * BLOCK_CELLS, wide * BLOCK_CELLS), dtype=bool)
    squares[: mask.shape[0], : mask.shape[1]] = mask
    squares = squares.reshape(high, BLOCK_CELLS, wide, BLOCK_CELLS).swapaxes(1, 2)
    block, within = np.divmod(np.flatnonzero(squares), BLOCK_CELLS**2)
    row = (block // wide * BLOCK_CELLS + within // BLOCK_CELLS).astype(np.int32)
    col = (block % wide * BLOCK_CELLS + within % BLOCK_CELLS).astype(np.int32)
    start, count = runs(block)
    if len(start) == 0:
        none = np.empty(0, dtype=np.intp)
        return Blocks(col, row, height_m, none, none, none, none, none, none, np.empty(0))
    left, right, top, bottom = (
        end.reduceat(axis, start).astype(np.intp) for axis in (col, row) for end in (np.minimum, np.maximum)
    )
    highest_m = np.maximum.reduceat(height_m[row, col], start)
    return Blocks(col, row, height_m, start, count, left, right, top, bottom, highest_m)


@dataclass(frozen=True, eq=False)
class OverheadGround:
    """Ground to look up at.

    Attributes
    ----------
    dem
        Heights of a window.
    zones
        Its start zones.
    jacobian
        ``(2, 2)``, ground metres per cell, in the middle of the window; distances and bearings
        in it are taken with this one (over 20 km of a grid in degrees at 60 degrees north the
        length of a cell changes by 0.3 %).
    reach_m
        How far is looked, metres on the map.
    model
        Grid of the whole model in cells of this size; that of the window where it is the model.
    corner
        Column and row of the window's first cell in it.
    others
        The same where files that overlap differ, with each other one leading.
    """

    dem: Dem
    zones: StartZones
    jacobian: Array
    reach_m: float
    model: Grid | None = None
    corner: tuple[int, int] = (0, 0)
    others: tuple[OverheadGround, ...] = ()

    def to_wgs84(self, col: ArrayLike, row: ArrayLike) -> tuple[Array, Array]:
        """Longitude and latitude of places in the window, the same to the last digit from every window."""
        col, row = np.asarray(col, dtype=float), np.asarray(row, dtype=float)
        return (self.model or self.dem.grid).to_wgs84(col + self.corner[0], row + self.corner[1])

    def cell_of(self, lon_deg: float, lat_deg: float) -> tuple[int, int]:
        """Column and row of the cell that a place on WGS 84 lies in."""
        col, row = (self.model or self.dem.grid).from_wgs84(lon_deg, lat_deg)
        return math.floor(float(col)) - self.corner[0], math.floor(float(row)) - self.corner[1]

    @cached_property
    def cell_m(self) -> tuple[float, float]:
        """Ground length of a step in column and in row, metres."""
        return float(np.hypot(*self.jacobian[:, 0])), float(np.hypot(*self.jacobian[:, 1]))

    @cached_property
    def stretch_m(self) -> tuple[float, float]:
        """Smallest and largest stretch of the Jacobian, metres per cell: no direction is beyond them."""
        longest, shortest = np.linalg.svd(self.jacobian, compute_uv=False)
        return float(shortest), float(longest)

    @cached_property
    def sources(self) -> Blocks:
        """All cells that snow may come from and whose height is known."""
        return blocks_of(self.zones.source & np.isfinite(self.dem.heights_m), self.dem.heights_m)

    @cached_property
    def possible(self) -> OverheadGround:
        """The same ground with all that snow may come from within what is known of it as sources."""
        return replace(self, zones=replace(self.zones, source=self.zones.possible))

    def make_ready(self) -> None:
        """Work out at once what looking up asks for, for a first look as quick as the others."""
        for ground in (self, self.possible):
            _ = ground.sources.square_m
        _ = self.certain, self.unknown

    @cached_property
    def certain(self) -> NDArray[np.int32]:
        """Which of `sources` each source of `possible` is; -1 none, and at the end for no source at all."""
        cells = self.possible.sources
        there = self.zones.source[cells.row, cells.col]
        return np.append(np.where(there, np.cumsum(there, dtype=np.int32) - 1, -1), np.int32(-1))

    @cached_property
    def unknown(self) -> Blocks:
        """Cells whose slope is not known, beside cells whose slope is: where unknown ground begins."""
        known = np.pad(~self.zones.unknown, 1)
        beside = known[:-2, 1:-1] | known[2:, 1:-1] | known[1:-1, :-2] | known[1:-1, 2:]
        return blocks_of(self.zones.unknown & beside, self.dem.heights_m)

    @cached_property
    def tops_m(self) -> Array:
        """Height of the highest known cell of each square of cells, ``[row, col]``; NaN for none."""
        tops = self.dem.heights_m
        for axis in (0, 1):
            tops = np.fmax.reduceat(tops, np.arange(0, tops.shape[axis], BLOCK_CELLS), axis=axis)
        return tops

    @cached_property
    def down(self) -> NDArray[np.int32]:
        """Number, by row, of the neighbour of the eight with the steepest fall; its own in a pit."""
        rows, cols = self.dem.grid.shape
        walled = np.pad(self.dem.heights_m, 1, constant_values=np.nan)
        best, step = np.zeros((rows, cols)), np.zeros((rows, cols), dtype=np.int32)
        for i, j in NEIGHBOURS.tolist():
            length = float(np.hypot(*self.offset_m(np.asarray(i), np.asarray(j))))
            there = walled[1 + j : rows + 1 + j, 1 + i : cols + 1 + i]
            fall = (self.dem.heights_m - there) / length
            # The first of equal ones stays; NaN is never steeper.
            steeper = fall > best
            np.copyto(best, fall, where=steeper)
            np.copyto(step, j * cols + i, where=steeper)
        return np.arange(rows * cols, dtype=np.int32) + step.reshape(-1)

    def offset_m(self, col: Array, row: Array) -> tuple[Array, Array]:
        """Metres east and north of a difference in columns and rows."""
        (ec, er), (nc, nr) = self.jacobian
        return ec * col + er * row, nc * col + nr * row

    def points(self, col: Array, row: Array) -> Points:
        """Places with the ground's height, NaN where it is not known."""
        return Points(col, row, heights_at(self.dem.heights_m, col, row))

    def centres(self, col: NDArray[np.intp], row: NDArray[np.intp]) -> Points:
        """Stand on the centres of cells."""
        return Points(
            col.astype(np.float64) + 0.5, row.astype(np.float64) + 0.5, self.dem.heights_m[row, col]
        )


def overhead_ground(
    dem: Dem,
    known: SlopeUncertainty,
    reach_m: float,
    rules: StartRules | None = None,
    jacobian: Array | None = None,
) -> OverheadGround:
    """Prepare a window for looking up.

    It holds the places to look up from and all within `reach_m` of them on the map, NaN where the
    model ends. The Jacobian is that in the middle of the window if not given.
    """
    rules = rules or StartRules()
    jacobian = jacobian_at(dem.grid) if jacobian is None else jacobian
    cell = sides_m(jacobian)
    halves = baseline_cells(*cell, rules.baseline_m)
    # Where the model has ended there is nothing to work out: no slope is known in the outer ring of the rest.
    box = _known_box(dem.heights_m)
    heights = dem.heights_m[box]
    slope = short = slopes_over(heights, jacobian, (1, 1))
    if halves != (1, 1):
        slope = slopes_over(heights, jacobian, halves)
    zones = find_start_zones(slope, short, abs(float(np.linalg.det(jacobian))), known, rules)
    return OverheadGround(dem, zones.within(dem.grid.shape, box), jacobian, reach_m)


def _known_box(heights_m: Array) -> tuple[slice, slice]:
    """Rows and columns from the first to the last known height; all where none is known."""
    known = np.isfinite(heights_m)
    rows, cols = (np.flatnonzero(known.any(axis=axis)) for axis in (1, 0))
    if len(rows) == 0:
        return slice(None), slice(None)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)


def slopes_over(heights_m: Array, jacobian: Array, halves: tuple[int, int]) -> Array:
    """Slope of each cell over a window, degrees; half-widths in cells, along columns and along rows.

    NaN as `steybrae.terrain.gradients.window_gradients`.
    """
    # A strip of rows at a time stays in the processor's cache.
    out = np.full(heights_m.shape, np.nan)
    margin = halves[1]
    for top in range(margin, len(out) - margin, STRIP_ROWS):
        end = min(top + STRIP_ROWS, len(out) - margin)
        strip = heights_m[top - margin : end + margin]
        inside = (part[margin : len(strip) - margin] for part in window_gradients(strip, halves))
        out[top:end] = slope_deg(*ground_gradients(jacobian, *inside))
    return out
