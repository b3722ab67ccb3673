"""Height differences per step in a grid, from a window around each cell.

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

from typing import Final, Literal, get_args

import numpy as np

from steybrae.errors import ModelError
from steybrae.terrain.dem import Array

__all__ = [
    "METHODS",
    "Method",
    "check_method",
    "index_gradients",
    "method_weights",
    "plane_gradients",
    "window_weights",
]

Method = Literal["horn", "zevenbergen-thorne", "evans"]
METHODS: Final = get_args(Method)

STRIP_ROWS: Final = 32
"""Rows that are worked on at a time."""

# Weights of the three rows (or columns) of the window in the difference across it.
_SIDE_WEIGHTS: Final[dict[str, tuple[float, float, float]]] = {
    "horn": (1 / 8, 2 / 8, 1 / 8),
    "zevenbergen-thorne": (0.0, 1 / 2, 0.0),
    "evans": (1 / 6, 1 / 6, 1 / 6),
}


def check_method(name: str) -> Method:
    """Name of a method, refused where there is none such.

    Raises
    ------
    ModelError
        Not one of `METHODS`.
    """
    if name not in METHODS:
        message = f"The slope method should be one of {', '.join(METHODS)}; got {name!r}. Choose one."
        raise ModelError(message)
    return name  # type: ignore[return-value]


def method_weights(method: Method) -> tuple[Array, Array]:
    """Weights of the nine heights in dz/dcol and dz/drow.

    Parameters
    ----------
    method
        One of `METHODS`.

    Returns
    -------
    tuple of Array
        Two ``(3, 3)`` arrays ``[row, col]``, per cell.
    """
    (along, across), (level, down) = window_weights(method, (1, 1))
    return np.outer(across, along), np.outer(down, level)


def window_weights(
    method: Method, halves: tuple[int, int]
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """Weights of a window's heights as products of one along columns and one along rows.

    Parameters
    ----------
    method
        For the 3 x 3 window; larger ones take the plane of least squares (`plane_gradients`).
    halves
        Half-widths, cells, along columns and along rows.

    Returns
    -------
    tuple
        For dz/dcol and dz/drow: weights along columns and along rows.
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
    heights_m
        ``[row, col]``, metres; NaN is unknown.
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
    inside = (slice(half_rows, rows - half_rows), slice(half_cols, cols - half_cols))
    i = np.arange(-half_cols, half_cols + 1.0)
    j = np.arange(-half_rows, half_rows + 1.0)
    sum_i2 = float((i**2).sum()) * len(j)
    sum_j2 = float((j**2).sum()) * len(i)
    per_col[inside] = _filter(_filter(z, i, axis=1), np.ones(len(j)), axis=0) / sum_i2
    per_row[inside] = _filter(_filter(z, j, axis=0), np.ones(len(i)), axis=1) / sum_j2
    return per_col, per_row


def _filter(z: Array, weights: Array, axis: int) -> Array:
    """Weighted sum of neighbours along an axis, valid part only."""
    count = z.shape[axis] - len(weights) + 1
    total = np.zeros([count if k == axis else n for k, n in enumerate(z.shape)])
    for offset, weight in enumerate(weights):
        part = [slice(None)] * z.ndim
        part[axis] = slice(offset, offset + count)
        total += weight * z[tuple(part)]
    return total
