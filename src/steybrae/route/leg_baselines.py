"""Slope over several baselines along a leg, at the model's own cells.

Slopes are judged over about 20 m by 20 m (Swiss leaflet "Achtung Lawinen!"); sources
say 10 to 20 m, so that several baselines stand side by side, each with what it was really
measured over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.ranges import NotNegative, SlopeDeg
from steybrae.terrain.attributes import slope_deg
from steybrae.terrain.dem import Array, DemSource, window_round
from steybrae.terrain.gradients import runs
from steybrae.terrain.jacobian import ground_gradients, jacobian_at, sides_m

BASELINES_M: Final = (10.0, 20.0, 30.0, 50.0)
"""Baselines shown, metres."""


@dataclass(frozen=True, eq=False)
class BaselineSlope:
    """Slope over one baseline as asked for, at each place; NaN unknown or too large a cell.

    `measured_m` is along a row and along a column, never longer, and None where the model's cells
    are too large for it; `note` then tells why in a sentence.
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

    As `steybrae.terrain.gradients.plane_gradients`, at some cells only; `heights_m` has half the
    longest baseline around them. The window with the longest baseline that is not above the one
    asked for is taken; a window of 3 by 3 cells is the smallest.
    """
    size = sides_m(jacobian)
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
    i, j = (np.arange(-half, half + 1.0) for half in (half_cols, half_rows))
    around = _patches(heights_m, col, row, half_cols, half_rows)
    # Sums of i z and j z. Those of heights in single precision are exact, in whatever order they are added.
    sum_iz, sum_jz = (around @ np.stack((np.tile(i, len(j)), np.repeat(j, len(i))), axis=1)).T
    per_col = sum_iz / (float((i**2).sum()) * len(j))
    per_row = sum_jz / (float((j**2).sum()) * len(i))
    slope = slope_deg(*ground_gradients(jacobian, per_col, per_row))
    return BaselineSlope(baseline_m, (2 * half_cols * size_m[0], 2 * half_rows * size_m[1]), slope, "")


def _patches(
    heights_m: Array, col: NDArray[np.intp], row: NDArray[np.intp], half_cols: int, half_rows: int
) -> Array:
    """Heights of windows around cells, row by row, ``(n, rows * cols)``; NaN outside."""
    rows, cols = heights_m.shape
    top, left = row - half_rows, col - half_cols
    beyond = -top.min(), -left.min(), row.max() + half_rows + 1 - rows, col.max() + half_cols + 1 - cols
    if (out := int(max(beyond))) > 0:
        heights_m, top, left = np.pad(heights_m, out, constant_values=np.nan), top + out, left + out
    windows = np.lib.stride_tricks.sliding_window_view(heights_m, (2 * half_rows + 1, 2 * half_cols + 1))
    return windows[top, left].reshape(len(row), -1)


POINTS_IN_BASELINE: Final = 5
"""How many points of the line fall into one baseline, where cells are finer (our choice)."""


@dataclass(frozen=True)
class LegBaseline:
    """Steepest slope on a leg, or at a place, over one baseline.

    Attributes
    ----------
    baseline_m
        As asked for.
    measured_m
        What was measured over, along a row and along a column; None where cells are too large.
    slope_max_deg
        Steepest of all windows of that size centred on cells at the line; None unknown.
    chainage_m
        Where along the leg, metres; None for a place and where there is no answer.
    unknown
        Whether unknown ground lies in some of it: it may be steeper.
    note
        Why there is no answer, in a sentence; empty otherwise.
    """

    baseline_m: NotNegative
    measured_m: tuple[NotNegative, NotNegative] | None
    slope_max_deg: SlopeDeg | None
    chainage_m: NotNegative | None
    unknown: bool
    note: str


def stretch_baselines(
    heights_m: Array, jacobian: Array, at: tuple[Array, Array], chainage_m: Array
) -> list[LegBaseline]:
    """Steepest slope on a stretch of a leg over each of `BASELINES_M`.

    Windows are centred on the cells that the line touches, and on the eight around each. The longer
    a baseline, the more a crest, a gully or a short steep step vanishes in it. `at` are columns and
    rows of the middle of each piece that lies in one cell; more than half the longest baseline is
    round the stretch.
    """
    return [_steepest(heights_m, jacobian, at, chainage_m, size) for size in BASELINES_M]


def merged_baselines(parts: Sequence[Sequence[LegBaseline]]) -> tuple[LegBaseline, ...]:
    """Steepest of the stretches of a leg, or of sources that differ, over each baseline."""
    return tuple(_merge(list(one)) for one in zip(*parts, strict=True))


def place_baselines(
    source: DemSource, lon_deg: float, lat_deg: float, cell_m: tuple[float, float]
) -> tuple[LegBaseline, ...]:
    """Steepest slope over each baseline of the cells at a place; see `stretch_baselines`."""
    col, row = (float(value) for value in source.grid.from_wgs84(lon_deg, lat_deg))
    margin = [math.ceil(1.1 * max(BASELINES_M) / size) + 4 for size in cell_m]
    dem, (col, row) = window_round(source, (col, row), margin)
    jacobian, at = jacobian_at(dem.grid), (np.array([col]), np.array([row]))
    found = merged_baselines([stretch_baselines(one, jacobian, at, np.zeros(1)) for one in dem.every_m])
    return tuple(replace(one, chainage_m=None) for one in found)


_AROUND: Final = np.mgrid[-1:2, -1:2].reshape(2, 9)
"""Rows and columns from a cell to itself and the eight around it."""


def _steepest(
    heights_m: Array,
    jacobian: Array,
    at: tuple[Array, Array],
    chainage_m: Array,
    baseline_m: float,
) -> LegBaseline:
    first, _ = runs(np.floor(chainage_m * POINTS_IN_BASELINE / baseline_m))
    # The cell that is touched and the eight around it, as for the steepest slope on a line.
    row, col = ((np.floor(at[k][first])[:, None] + _AROUND[1 - k]).astype(np.intp) for k in (1, 0))
    (one,) = baseline_slopes(heights_m, jacobian, col.reshape(-1), row.reshape(-1), (baseline_m,))
    return _leg_baseline(one, np.repeat(chainage_m[first], 9))


def _leg_baseline(one: BaselineSlope, chainage_m: Array) -> LegBaseline:
    known: NDArray[np.bool_] = np.isfinite(one.slope_deg)
    if one.measured_m is None or not known.any():
        return LegBaseline(one.baseline_m, one.measured_m, None, None, True, one.note)
    top = int(np.nanargmax(one.slope_deg))
    return LegBaseline(
        one.baseline_m,
        one.measured_m,
        float(one.slope_deg[top]),
        float(chainage_m[top]),
        not bool(known.all()),
        "",
    )


def _merge(parts: list[LegBaseline]) -> LegBaseline:
    steepest = max(parts, key=lambda one: -1.0 if one.slope_max_deg is None else one.slope_max_deg)
    return replace(steepest, unknown=any(one.unknown for one in parts))
