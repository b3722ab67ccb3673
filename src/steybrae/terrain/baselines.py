"""Slope over several baselines at places: the cell's own is only one of many answers.

The piece of slope that decides is about 20 m by 20 m (Swiss leaflet "Achtung Lawinen!"); sources
say 10 to 20 m, so that several baselines stand side by side, each with what it was really
measured over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.attributes import slope_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.jacobian import ground_gradients

BASELINES_M: Final = (10.0, 20.0, 30.0, 50.0)
"""Baselines shown, metres."""


@dataclass(frozen=True, eq=False)
class BaselineSlope:
    """Slope over one baseline.

    Attributes
    ----------
    baseline_m
        As asked for.
    measured_m
        What was measured over, along a row and along a column: never longer; None where the
        model's cells are too large for it.
    slope_deg
        At each place, degrees; NaN unknown or too large a cell.
    note
        Why there is no answer, in a sentence; empty otherwise.
    """

    baseline_m: float
    measured_m: tuple[float, float] | None
    slope_deg: Array
    note: str


def baseline_slopes(
    heights_m: Array,
    jacobian: Array,
    col: NDArray[np.intp],
    row: NDArray[np.intp],
    baselines_m: tuple[float, ...] = BASELINES_M,
) -> tuple[BaselineSlope, ...]:
    """Slope of cells over several baselines, by the plane of least squares.

    As `steybrae.terrain.gradients.plane_gradients`, at some cells only.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; with half the longest baseline around the cells.
    jacobian
        ``(2, 2)``, ground metres per cell.
    col, row
        Indexes of the cells, shape ``(n,)``.
    baselines_m
        Metres.

    Returns
    -------
    tuple of BaselineSlope
        One for each. The window with the longest baseline that is not above the one asked
        for is taken; a window of 3 by 3 cells is the smallest.
    """
    size = float(np.hypot(*jacobian[:, 0])), float(np.hypot(*jacobian[:, 1]))
    return tuple(_one(heights_m, jacobian, col, row, baseline, size) for baseline in baselines_m)


def _one(
    heights_m: Array,
    jacobian: Array,
    col: NDArray[np.intp],
    row: NDArray[np.intp],
    baseline_m: float,
    size_m: tuple[float, float],
) -> BaselineSlope:
    # A cell of 10.02 m still measures over "20 m".
    half_cols, half_rows = (int(1.02 * baseline_m / (2.0 * size)) for size in size_m)
    if half_cols < 1 or half_rows < 1:
        least = 2.0 * max(size_m)
        note = (
            f"The model's cells of {max(size_m):.0f} m are too large for a baseline of {baseline_m:g} m; "
            f"the least that they can show is {least:.0f} m."
        )
        return BaselineSlope(baseline_m, None, np.full(len(col), np.nan), note)
    i, j = (
        np.arange(-half_cols, half_cols + 1, dtype=np.intp),
        np.arange(-half_rows, half_rows + 1, dtype=np.intp),
    )
    z = _patches(heights_m, col, row, i, j)
    per_col = (z * i).sum(axis=(1, 2)) / (float((i**2).sum()) * len(j))
    per_row = (z * j[:, None]).sum(axis=(1, 2)) / (float((j**2).sum()) * len(i))
    slope = slope_deg(*ground_gradients(jacobian, per_col, per_row))
    return BaselineSlope(baseline_m, (2 * half_cols * size_m[0], 2 * half_rows * size_m[1]), slope, "")


def _patches(
    heights_m: Array, col: NDArray[np.intp], row: NDArray[np.intp], i: NDArray[np.intp], j: NDArray[np.intp]
) -> Array:
    """Windows around cells, ``(n, rows, cols)``; NaN outside."""
    rows, cols = heights_m.shape
    at_row, at_col = row[:, None, None] + j[:, None], col[:, None, None] + i
    inside = (at_row >= 0) & (at_row < rows) & (at_col >= 0) & (at_col < cols)
    return np.where(inside, heights_m[np.clip(at_row, 0, rows - 1), np.clip(at_col, 0, cols - 1)], np.nan)
