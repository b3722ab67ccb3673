"""Height differences per step in a grid, from a window around each cell; interpolation between cells.

Three published 3 x 3 methods and the plane fitted to a larger window. With the window

    a b c
    d e f
    g h i

and differences per cell, positive to the right (col) and down (row):

=================== ===================================== ==================================
method              dz/dcol                               dz/drow
=================== ===================================== ==================================
horn                ((c + 2f + i) - (a + 2d + g)) / 8     ((g + 2h + i) - (a + 2b + c)) / 8
zevenbergen-thorne  (f - d) / 2                           (h - b) / 2
evans               ((c + f + i) - (a + d + g)) / 6       ((g + h + i) - (a + b + c)) / 6
=================== ===================================== ==================================

Sources: Horn (1981), Proc. IEEE 69(1), 14-47, doi:10.1109/PROC.1981.11918; Zevenbergen and
Thorne (1987), Earth Surf. Process. Landforms 12, 47-56, doi:10.1002/esp.3290120107; Evans
(least-squares quadratic over the nine heights; equal in slope to the plane of Sharpnack and
Akin (1969), Photogrammetric Engineering 35, 247-248). Jones (1998), Computers & Geosciences
24(4), 315-323, doi:10.1016/S0098-3004(98)00032-6, found the four-neighbour form best on
smooth ground, Horn better where noise is large, Evans best at large noise.
"""

from __future__ import annotations

import math
from typing import Any, Final, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.errors import ModelError, one_of
from steybrae.terrain.dem import Array

Method = Literal["horn", "zevenbergen-thorne", "evans"]
METHODS: Final = get_args(Method)

STRIP_ROWS: Final = 32
"""Rows that are worked on at a time."""

_PLANE_ROWS: Final = 16
"""The same for larger windows, whose sums have 64 bits (measured: 128 take up to three times as long)."""

_MOST_ADDED: Final = 10
"""Half-width, cells, of the widest window whose numbers are added one by one (measured: wider ones are
summed faster by sums that run along)."""

# Weights of the three rows (or columns) of the window in the difference across it.
_SIDE_WEIGHTS: Final[dict[str, tuple[float, float, float]]] = {
    "horn": (1 / 8, 2 / 8, 1 / 8),
    "zevenbergen-thorne": (0.0, 1 / 2, 0.0),
    "evans": (1 / 6, 1 / 6, 1 / 6),
}


def check_method(name: str) -> Method:
    """Name of one of `METHODS`, refused where there is none such."""
    one_of(name, METHODS, "The slope method", ModelError)
    return name  # type: ignore[return-value]


def method_weights(method: Method) -> tuple[Array, Array]:
    """Weights of the nine heights in dz/dcol and dz/drow: two ``(3, 3)`` arrays ``[row, col]``, per cell."""
    (along, across), (level, down) = window_weights(method, (1, 1))
    return np.outer(across, along), np.outer(down, level)


def window_weights(
    method: Method, halves: tuple[int, int]
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Weights of a window's heights as products of one along columns and one along rows.

    For dz/dcol and dz/drow. The method is that of the 3 x 3 window; larger ones take the plane of
    least squares (`plane_gradients`). Half-widths are in cells, along columns and along rows.
    """
    if halves == (1, 1):
        side, step = np.array(_SIDE_WEIGHTS[method]), np.array([-1.0, 0.0, 1.0])
        return (step, side), (side, step)
    i, j = (np.arange(-half, half + 1.0) for half in halves)
    return (
        (i / (i**2).sum(), np.full(len(j), 1.0 / len(j))),
        (np.full(len(i), 1.0 / len(i)), j / (j**2).sum()),
    )


def index_gradients(heights_m: Array, method: Method = "horn") -> tuple[Array, Array]:
    """Height change per cell to the right and per cell down, by a 3 x 3 method.

    Parameters
    ----------
    method
        One of `METHODS`; the module docstring has their formulas.

    Returns
    -------
    tuple of Array
        ``dz/dcol, dz/drow``, metres per cell, of the shape of `heights_m`. NaN in the outer
        ring and wherever one of the nine heights is unknown, also one that the method gives
        no weight: a slope beside a void is not known well enough to be told.
    """
    z = np.asarray(heights_m, dtype=np.float64)
    per_col = np.full(z.shape, np.nan)
    per_row = np.full(z.shape, np.nan)
    if min(z.shape) < 3:
        return per_col, per_row
    outer, inner, _ = _SIDE_WEIGHTS[method]
    # A strip of rows at a time stays in the processor's cache: twice as fast on large windows.
    for top in range(1, z.shape[0] - 1, STRIP_ROWS):
        end = min(top + STRIP_ROWS, z.shape[0] - 1)
        part = z[top - 1 : end + 1]
        right_left = part[:, 2:] - part[:, :-2]
        down_up = part[2:, :] - part[:-2, :]
        col_in = outer * (right_left[:-2] + right_left[2:]) + inner * right_left[1:-1]
        row_in = outer * (down_up[:, :-2] + down_up[:, 2:]) + inner * down_up[:, 1:-1]
        # 0 * NaN is NaN, so that each difference already knows of voids in its own six heights;
        # the sum carries them to the other one, and the centre is asked for itself.
        void = (col_in + row_in + part[1:-1, 1:-1]) * 0.0
        per_col[top:end, 1:-1] = col_in + void
        per_row[top:end, 1:-1] = row_in + void
    return per_col, per_row


def plane_gradients(heights_m: Array, half_cols: int, half_rows: int) -> tuple[Array, Array]:
    """Height change per cell of the plane fitted by least squares to a larger window.

    Over the window of ``2 half_cols + 1`` by ``2 half_rows + 1`` heights, with ``i`` the column
    and ``j`` the row from its middle: ``dz/dcol = sum(i z) / sum(i^2)`` and likewise for
    ``j``. With halves of 1 it is `index_gradients` by the method ``evans``.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN is unknown.
    half_cols, half_rows
        Half-widths of the window, cells, 1 or more. The baseline, from the outer heights on
        one side to those on the other, is twice that.

    Returns
    -------
    tuple of Array
        ``dz/dcol, dz/drow``, metres per cell; NaN where the window reaches outside or holds
        an unknown height.
    """
    z = np.asarray(heights_m, dtype=np.float64)
    per_col = np.full(z.shape, np.nan)
    per_row = np.full(z.shape, np.nan)
    rows, cols = z.shape
    if rows < 2 * half_rows + 1 or cols < 2 * half_cols + 1:
        return per_col, per_row
    scale = plane_scale(half_cols, half_rows)
    narrow = max(half_cols, half_rows) <= _MOST_ADDED
    strip = _PLANE_ROWS if narrow else 8 * _PLANE_ROWS
    for top in range(half_rows, rows - half_rows, strip):
        end = min(top + strip, rows - half_rows)
        inside = (slice(top, end), slice(half_cols, cols - half_cols))
        part = z[top - half_rows : end + half_rows]
        per_col[inside], per_row[inside] = _planes(
            part, (half_cols, half_rows), scale, _Added if narrow else _Running
        )
    return per_col, per_row


def window_gradients(heights_m: Array, halves: tuple[int, int]) -> tuple[Array, Array]:
    """Height change per cell of the plane fitted to a window of any size, the smallest among them.

    Parameters
    ----------
    halves
        Half-widths of the window along columns and along rows, cells.

    Returns
    -------
    tuple of Array
        As `plane_gradients`; over two cells as `index_gradients` by the method ``evans``.
    """
    return index_gradients(heights_m, "evans") if halves == (1, 1) else plane_gradients(heights_m, *halves)


def _planes(
    heights_m: Array,
    halves: tuple[int, int],
    scale: tuple[float, float, float],
    window: type[_Added] | type[_Running],
) -> tuple[Array, Array]:
    """Height changes of a strip that stays in the processor's cache, where its windows lie inside."""
    half_cols, half_rows = halves
    step, col_share, row_share = scale
    steps = heights_m * step
    unknown = ~np.isfinite(steps)
    holed = bool(unknown.any())
    if holed:
        steps[unknown] = 0.0
    down = window(np.rint(steps, out=steps).astype(np.int64), half_rows, axis=0)
    per_col = window(down.sum(), half_cols, axis=1).moment() / col_share
    per_row = window(down.moment(), half_cols, axis=1).sum() / row_share
    if holed:
        near = window(window(unknown.astype(np.int64), half_rows, axis=0).sum(), half_cols, axis=1).sum()
        per_col[near > 0] = per_row[near > 0] = np.nan
    return per_col, per_row


def plane_scale(half_cols: int, half_rows: int) -> tuple[float, float, float]:
    """Whole steps of height in which sums over a window are exact, and what the sums are divided by.

    Sums that run along in whole numbers never drift: a window's plane is the same from wherever the
    sums began, so that rasters have no seams. A step is 2^-24 m (0.06 micrometres: less than 1e-7
    degree over 20 m), larger only where a window of many cells would need more than 63 bits. Steps
    in one unit of height; ``sum(i^2)`` and ``sum(j^2)`` over the window, times that.
    """
    long, other = max(half_cols, half_rows), min(half_cols, half_rows)
    # Heights below 2^23 units, also where a file counts in millimetres.
    bits = min(24, 62 - 23 - math.ceil(math.log2(long * (long + 1) * (2 * other + 1))))
    step = 2.0**bits
    sum_i2, sum_j2 = (half * (half + 1) * (2 * half + 1) / 3.0 for half in (half_cols, half_rows))
    return step, sum_i2 * (2 * half_rows + 1) * step, sum_j2 * (2 * half_cols + 1) * step


class _Added:
    """Sums of whole numbers over a narrow window that moves along an axis; valid part only."""

    def __init__(self, whole: NDArray[np.int64], half: int, axis: int) -> None:
        self._whole, self._half, self._axis = whole, half, axis

    def _at(self, off: int) -> NDArray[np.int64]:
        first = self._half + off
        part = slice(first, first + self._whole.shape[self._axis] - 2 * self._half)
        return self._whole[part] if self._axis == 0 else self._whole[:, part]

    def sum(self) -> NDArray[np.int64]:
        """Sum over each window."""
        out = self._at(1) + self._at(-1)
        out += self._at(0)
        for off in range(2, self._half + 1):
            out += self._at(off)
            out += self._at(-off)
        return out

    def moment(self) -> NDArray[np.int64]:
        """Sum of ``i`` times the numbers, ``i`` from the middle of each window."""
        out = self._at(1) - self._at(-1)
        for off in range(2, self._half + 1):
            step = self._at(off) - self._at(-off)
            step *= off
            out += step
        return out


class _Running:
    """Sums of whole numbers over a window that moves along an axis, whatever its width; valid part only."""

    def __init__(self, whole: NDArray[np.int64], half: int, axis: int) -> None:
        self._half, self._axis = half, axis
        shape = [size + (k == axis) for k, size in enumerate(whole.shape)]
        self._before = np.zeros(shape, np.int64)
        np.cumsum(whole, axis=axis, out=self._of(self._before, 1, shape[axis]))

    def _of(self, cells: NDArray[np.int64], first: int, end: int) -> NDArray[np.int64]:
        return cells[first:end] if self._axis == 0 else cells[:, first:end]

    def _ends(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        size, width = self._before.shape[self._axis], 2 * self._half + 1
        return self._of(self._before, width, size), self._of(self._before, 0, size - width)

    def sum(self) -> NDArray[np.int64]:
        """Sum over each window."""
        last, first = self._ends()
        return last - first

    def moment(self) -> NDArray[np.int64]:
        """Sum of ``i`` times the numbers, ``i`` from the middle of each window; summed by parts."""
        last, first = self._ends()
        twice = np.cumsum(self._before, axis=self._axis)
        width, size = 2 * self._half + 1, twice.shape[self._axis]
        between = self._of(twice, width - 1, size - 1) - self._of(twice, 0, size - width)
        return self._half * (last + first) - between


_STEPS: Final = 2.0**32


def heights_at(heights_m: Array, col: ArrayLike, row: ArrayLike) -> Array:
    """Bilinear height at positions of a grid.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; two rows and columns at the least.
    col, row
        Positions, cells, of one shape; the centre of cell ``[j, i]`` is ``(i + 0.5, j + 0.5)``.

    Returns
    -------
    Array
        Metres; NaN where one of the four cells around is unknown, or outside.
    """
    rows, cols = heights_m.shape
    x, y = np.asarray(col, dtype=float) - 0.5, np.asarray(row, dtype=float) - 0.5
    inside = (x >= 0.0) & (x <= cols - 1) & (y >= 0.0) & (y <= rows - 1)
    # Positions outside take some cell here and NaN at the end.
    i = np.minimum(np.maximum(x, 0.0), cols - 2).astype(np.intp)
    j = np.minimum(np.maximum(y, 0.0), rows - 2).astype(np.intp)
    fx, fy = x - i, y - j
    flat, first = heights_m.reshape(-1), j * cols + i
    top = _between(flat[first], flat[first + 1], fx)
    bottom = _between(flat[first + cols], flat[first + cols + 1], fx)
    return np.where(inside, _between(top, bottom, fy), np.nan)


def _between(low: Array, high: Array, share: Array) -> Array:
    return low + (high - low) * share


def off(cells: ArrayLike) -> Array:
    """Cut distances from a place in cells to 2^-32 of a cell.

    Added to a place that is so cut too, as centres of cells are, they give it to the last digit: a height
    there is the same from whichever window it is taken.
    """
    return np.asarray(np.round(np.asarray(cells) * _STEPS) / _STEPS)


def spread(start: NDArray[np.intp], count: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Lay runs of indexes end to end.

    Parameters
    ----------
    start, count
        First index and length of each run, shape ``(n,)``.

    Returns
    -------
    tuple of array
        Of which run each is, and the index itself: ``start, start + 1, ...`` of every run.
    """
    run = np.repeat(np.arange(len(count)), count)
    first = np.cumsum(count) - count
    return run, np.arange(len(run)) - first[run] + start[run]


def runs(numbers: NDArray[Any]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each run of equal numbers begins, and how long it is."""
    ends = np.ones(len(numbers) + 1, dtype=bool)
    np.not_equal(numbers[1:], numbers[:-1], out=ends[1:-1])
    at = np.flatnonzero(ends)
    return at[:-1], at[1:] - at[:-1]


def true_runs(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """First of each run of set flags and the one after its last, ``(n, 2)``."""
    return np.flatnonzero(np.diff(flags, prepend=False, append=False)).reshape(-1, 2)


def median(numbers: Array) -> Array:
    """Median along the last axis of known numbers; `numpy.median` takes ten times as long for a few."""
    low, high = (numbers.shape[-1] - 1) // 2, numbers.shape[-1] // 2
    ordered = np.partition(numbers, (low, high))
    return np.asarray((ordered[..., low] + ordered[..., high]) / 2.0)
