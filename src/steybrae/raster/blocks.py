"""How a raster is cut into blocks, and its overviews into levels; the ground's metric over a block, cheaply.

A block is 4 x 4 tiles. It makes the tiles of the full raster and of the first two overviews by
itself; its cells of the third overview (an eighth of its side) wait in a small file, from which
the upper overviews are made at the end. So blocks need nothing of each other, in any order and on
any machine.

The slope needs no gradients east and north, only their length. With height changes u per column
and v per row and the Jacobian ``J = [[a, b], [c, d]]`` of `steybrae.terrain.jacobian`,

    p^2 + q^2 = A u^2 + C v^2 + 2 B u v
    A = (b^2 + d^2) / det^2,  C = (a^2 + c^2) / det^2,  B = -(a b + c d) / det^2

The three coefficients change slowly. They are exact on a coarse lattice over the block and
linear between; where one does not change along the rows or the columns it is not spread out
there. On a conformal grid of square cells A = C and B = 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import field
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.raster.files.tiff import TILE
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.jacobian import LATTICE_ERROR, jacobian_at

BLOCK: Final = 4 * TILE
"""Side of a block, cells."""

BLOCK_LEVELS: Final = 2
"""Overviews whose tiles a block makes whole."""

SMALL: Final = BLOCK >> (BLOCK_LEVELS + 1)
"""Side of a block in the next overview, cells: half a tile."""

STRIP_ROWS: Final = 128
"""Rows of a block taken at once where double precision is used, so that memory stays small."""

PANEL_BLOCKS: Final = 8
"""Width of a panel, blocks. Blocks follow each other along the rows of a panel and panels from left
to right, so that the ring that neighbours share is still in the cache of heights."""


@dataclass(frozen=True)
class Block:
    """One block: its number, its first cell and its size."""

    number: int
    row: int
    col: int
    rows: int
    cols: int


@dataclass(frozen=True)
class Layout:
    """Blocks and overviews of a raster.

    Attributes
    ----------
    rows, cols
        Size, cells.
    side
        Of a block, cells; only whole ones of `BLOCK` make overviews.
    """

    rows: int
    cols: int
    side: int = BLOCK

    @property
    def down(self) -> int:
        """Blocks from top to bottom."""
        return math.ceil(self.rows / self.side)

    @property
    def right(self) -> int:
        """Blocks from left to right."""
        return math.ceil(self.cols / self.side)

    @property
    def count(self) -> int:
        """All blocks."""
        return self.down * self.right

    @cached_property
    def levels(self) -> int:
        """Overviews, each half the one before, until one tile holds the raster."""
        return max(0, math.ceil(math.log2(max(self.rows, self.cols) / TILE)))

    def size(self, level: int) -> tuple[int, int]:
        """Rows and columns of an overview; 0 is the full raster."""
        return -(-self.rows >> level), -(-self.cols >> level)

    def tiles(self, level: int) -> tuple[int, int]:
        """Tiles of an overview, down and right."""
        rows, cols = self.size(level)
        return math.ceil(rows / TILE), math.ceil(cols / TILE)

    def block(self, number: int) -> Block:
        """Block of a number; they are counted along the rows of blocks."""
        down, right = divmod(number, self.right)
        row, col, side = down * self.side, right * self.side, self.side
        return Block(number, row, col, min(side, self.rows - row), min(side, self.cols - col))

    def order(self, *, striped: bool = False) -> Iterator[int]:
        """Numbers of the blocks in the order of work; a striped model is one panel."""
        wide = self.right if striped else PANEL_BLOCKS
        for left in range(0, self.right, wide):
            yield from self._in_panel(left, wide)

    @property
    def panels(self) -> int:
        """Panels from left to right."""
        return math.ceil(self.right / PANEL_BLOCKS)

    def panel(self, number: int) -> Iterator[int]:
        """Numbers of the blocks of a panel in the order of work."""
        return self._in_panel(number * PANEL_BLOCKS, PANEL_BLOCKS)

    def panel_of(self, number: int) -> int:
        """Panel that a block lies in."""
        return number % self.right // PANEL_BLOCKS

    def _in_panel(self, left: int, wide: int) -> Iterator[int]:
        for down in range(self.down):
            for right in range(left, min(left + wide, self.right)):
                yield down * self.right + right


def filled(cells: NDArray[Any], shape: tuple[int, int], fill: float) -> NDArray[Any]:
    """Put an array in the corner of a larger one that holds `fill` elsewhere; as it is if of that shape."""
    if cells.shape == shape:
        return cells
    out = np.full(shape, fill, cells.dtype)
    out[: cells.shape[0], : cells.shape[1]] = cells
    return out


AT_ONCE: Final = 4096
"""Tasks given out at once: each takes about a kilobyte, and a country has 200 000 blocks."""

Item = TypeVar("Item")
Result = TypeVar("Result")


def each(pool: ThreadPoolExecutor, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
    """Work on every item, in the threads of a pool; results in the order of the items."""
    for first in range(0, len(items), AT_ONCE):
        yield from pool.map(work, items[first : first + AT_ONCE])


SAME: Final = 2e-7
"""Coefficients that differ by less than this share are one: 3e-6 degrees of slope at the most."""

CLOSE_ERROR: Final = 2e-9
"""Difference of the interpolated from the exact Jacobian, share of its size, that is aimed at: 1e-7 degree
of slope, the noise that the rounding rule takes for none."""

MESHES: Final = 8
"""Meshes along a side of a block with which `CLOSE_ERROR` is given up (our choice)."""


@dataclass(frozen=True, eq=False)
class Coefficient:
    """A number that changes slowly over a block.

    `rows` are positions of the lattice's rows, cells from the block's first row; `values` those at
    these rows, ``[lattice row, col]`` for every column, or one column for all.
    """

    rows: Array
    values: Array
    cols: int
    _flat: dict[tuple[int, float, str], Any] = field(default_factory=dict, repr=False)

    def flat(self, first: int, count: int, factor: float, dtype: np.dtype[Any]) -> Any:
        """Values of some rows times a factor, each row followed by two columns that hold anything.

        One long vector, or one number: numpy is four times as quick with either as with a row that
        it spreads itself. Where the rows are alike the vector is kept.
        """
        if self.values.size == 1:
            return dtype.type(self.values[0, 0] * factor)
        key = (count, factor, dtype.str)
        if len(self.values) == 1 and key in self._flat:
            return self._flat[key]
        values = self.at(first, count)
        cols = self.cols
        out = np.ones((count, cols + 2), dtype)
        np.multiply(values, factor, out=out[:, :cols], casting="same_kind")
        found = out.reshape(-1)
        if len(self.values) == 1:
            self._flat[key] = found
        return found

    def at(self, first: int, count: int) -> Array:
        """Values at the centres of some rows, of a shape that spreads over ``[row, col]``.

        Parameters
        ----------
        first, count
            Which rows of the block.
        """
        if len(self.values) == 1:
            return self.values
        centres = np.arange(first, first + count) + 0.5
        mesh = np.clip(np.searchsorted(self.rows, centres) - 1, 0, len(self.rows) - 2)
        share = ((centres - self.rows[mesh]) / (self.rows[mesh + 1] - self.rows[mesh]))[:, None]
        low = self.values[mesh]
        out: Array = low + share * (self.values[mesh + 1] - low)
        return out


@dataclass(frozen=True, eq=False)
class BlockMetric:
    """Metric of one block.

    Attributes
    ----------
    uu, vv, uv
        A, C and 2 B; `vv` is None where it equals `uu`, `uv` where it is 0.
    area_m2
        Ground area of a cell.
    jacobian
        ``(row, col) -> (2, 2, ...)``: the Jacobian at positions in the block, cells, linear in the lattice.
    """

    uu: Coefficient
    vv: Coefficient | None
    uv: Coefficient | None
    area_m2: Coefficient
    jacobian: Callable[[Array, Array], Array]


def block_metric(grid: Grid, corner: tuple[int, int], shape: tuple[int, int]) -> BlockMetric:
    """Metric of a block.

    Parameters
    ----------
    corner, shape
        First row and column of the block and its size.

    Raises
    ------
    ModelError
        As `steybrae.terrain.jacobian.jacobian_at`.
    """
    rows, cols, lattice = _lattice(grid, corner, shape)
    (a, b), (c, d) = np.moveaxis(lattice, (-2, -1), (0, 1))
    det2 = (a * d - b * c) ** 2
    uu, vv, uv = (b**2 + d**2) / det2, (a**2 + c**2) / det2, -2.0 * (a * b + c * d) / det2
    centres: Array = np.arange(shape[1], dtype=np.float64) + 0.5

    def spread(values: Array) -> Coefficient:
        return _spread(values, rows, cols, centres)

    def jacobian(row: Array, col: Array) -> Array:
        (j, y), (i, x) = _mesh(rows, row), _mesh(cols, col)
        top, bottom = (lattice[k, i] + x * (lattice[k, i + 1] - lattice[k, i]) for k in (j, j + 1))
        out: Array = np.moveaxis(top + y * (bottom - top), (-2, -1), (0, 1))
        return out

    return BlockMetric(
        uu=spread(uu),
        vv=None if np.abs(vv - uu).max() < SAME * uu.max() else spread(vv),
        uv=None if np.abs(uv).max() < SAME * uu.max() else spread(uv),
        area_m2=spread(np.sqrt(det2)),
        jacobian=jacobian,
    )


def _mesh(nodes: Array, at: Array) -> tuple[Any, Array]:
    """Meshes of a lattice that positions lie in, and how far in each, 0 to 1, to multiply matrices with."""
    mesh = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    return mesh, ((at - nodes[mesh]) / (nodes[mesh + 1] - nodes[mesh]))[..., None, None]


def _lattice(grid: Grid, corner: tuple[int, int], shape: tuple[int, int]) -> tuple[Array, Array, Array]:
    """Lay a lattice over a block: its rows and columns, and the Jacobian ``[row, col, 2, 2]`` on it."""
    top, left = corner
    meshes = 1
    while True:
        rows, cols = (np.linspace(0.0, size, meshes + 1, dtype=np.float64) for size in shape)
        lattice = jacobian_at(grid, left + cols[None, :], top + rows[:, None])
        between_cols, between_rows = (cols[1:] + cols[:-1]) / 2, (rows[1:] + rows[:-1]) / 2
        exact = jacobian_at(grid, left + between_cols[None, :], top + between_rows[:, None])
        linear = (lattice[1:, 1:] + lattice[:-1, 1:] + lattice[1:, :-1] + lattice[:-1, :-1]) / 4.0
        error = np.abs(linear - exact).max() / np.abs(lattice).max()
        if error <= (CLOSE_ERROR if meshes < MESHES else LATTICE_ERROR) or meshes >= max(shape):
            return rows, cols, lattice
        meshes *= 2


def _spread(values: Array, rows: Array, cols: Array, centres: Array) -> Coefficient:
    """Coefficient from its lattice; along rows or columns where it is the same it is kept once."""
    slack = SAME * np.abs(values).max()
    if np.ptp(values, axis=1).max() <= slack:
        at_columns = values.mean(axis=1)[:, None]
    else:
        at_columns = np.stack([np.interp(centres, cols, row) for row in values])
    if np.ptp(values, axis=0).max() <= slack:
        at_columns = at_columns.mean(axis=0)[None, :]
    return Coefficient(rows, at_columns, len(centres))
