"""Heights between cell centres."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.terrain.dem import Array


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
    i = np.clip(x, 0.0, cols - 2).astype(np.intp)
    j = np.clip(y, 0.0, rows - 2).astype(np.intp)
    fx, fy = x - i, y - j
    flat, first = heights_m.reshape(-1), j * cols + i
    top = _between(flat[first], flat[first + 1], fx)
    bottom = _between(flat[first + cols], flat[first + cols + 1], fx)
    return np.where(inside, _between(top, bottom, fy), np.nan)


def _between(low: Array, high: Array, share: Array) -> Array:
    return low + (high - low) * share


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
