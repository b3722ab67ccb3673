"""The ground's metric over a block, cheaply.

The slope needs no gradients east and north, only their length. With height changes u per column
and v per row and the Jacobian ``J = [[a, b], [c, d]]`` of `steybrae.terrain.jacobian`,

    p^2 + q^2 = A u^2 + C v^2 + 2 B u v
    A = (b^2 + d^2) / det^2,  C = (a^2 + c^2) / det^2,  B = -(a b + c d) / det^2

The three coefficients change slowly. They are exact on a coarse lattice over the block and
linear between; where one does not change along the rows or the columns it is not spread out
there. On a conformal grid of square cells A = C and B = 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from typing import Any, Final

import numpy as np

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.jacobian import LATTICE_ERROR, jacobian_at

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
