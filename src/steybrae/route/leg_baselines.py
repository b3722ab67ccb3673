"""Slope over several baselines along a leg, at the model's own cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.ranges import NotNegative, SlopeDeg
from steybrae.route.touching import cut_at_edges
from steybrae.route.track import Track, stretches
from steybrae.terrain.baselines import BASELINES_M, BaselineSlope, baseline_slopes
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.jacobian import jacobian_at

__all__ = ["LegBaseline", "leg_baselines", "place_baselines"]

STRETCH_M: Final = 1000.0
"""Length of line whose ground is read at once, metres."""

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


def leg_baselines(
    source: DemSource,
    track: Track,
    cell_m: tuple[float, float],
    baselines_m: tuple[float, ...] = BASELINES_M,
) -> tuple[LegBaseline, ...]:
    """Steepest slope on a leg over each baseline.

    Parameters
    ----------
    source
        The model.
    track
        The leg.
    cell_m
        Ground size of a cell along a row and along a column.
    baselines_m
        Metres.

    Returns
    -------
    tuple of LegBaseline
        Windows centred on the cells that the line touches, and on the eight around each. The
        longer a baseline, the more a crest, a gully or a short steep step vanishes in it.
    """
    col, row = source.grid.from_wgs84(track.lon_deg, track.lat_deg)
    margin = [math.ceil(1.1 * max(baselines_m) / size) + 4 for size in cell_m]
    found: list[list[LegBaseline]] = []
    for first, last in stretches(track, STRETCH_M):
        part = slice(first, last + 1)
        left, top = math.floor(col[part].min()) - margin[0], math.floor(row[part].min()) - margin[1]
        cols, rows = (
            math.ceil(col[part].max()) + margin[0] - left,
            math.ceil(row[part].max()) + margin[1] - top,
        )
        dem = source.read(top, left, rows, cols)
        cuts = cut_at_edges(col[part] - left, row[part] - top, track.chainage_m[part])
        middle = (cuts[:-1] + cuts[1:]) / 2.0
        at = (
            np.interp(middle, track.chainage_m, col - left),
            np.interp(middle, track.chainage_m, row - top),
        )
        jacobian = jacobian_at(dem.grid, cols / 2, rows / 2)
        found.append([_steepest(dem.heights_m, jacobian, at, middle, size) for size in baselines_m])
    return tuple(_merge(list(parts)) for parts in zip(*found, strict=True))


def place_baselines(
    source: DemSource,
    lon_deg: float,
    lat_deg: float,
    cell_m: tuple[float, float],
    baselines_m: tuple[float, ...] = BASELINES_M,
) -> tuple[LegBaseline, ...]:
    """Steepest slope over each baseline of the cells at a place; see `leg_baselines`."""
    here = np.full(2, lon_deg), np.full(2, lat_deg)
    found = leg_baselines(source, Track(*here, np.array([0.0, 1.0]), np.zeros(1)), cell_m, baselines_m)
    return tuple(
        LegBaseline(one.baseline_m, one.measured_m, one.slope_max_deg, None, one.unknown, one.note)
        for one in found
    )


def _steepest(
    heights_m: Array,
    jacobian: Array,
    at: tuple[Array, Array],
    chainage_m: Array,
    baseline_m: float,
) -> LegBaseline:
    _, first = np.unique(np.floor(chainage_m * POINTS_IN_BASELINE / baseline_m), return_index=True)
    # The cell that is touched and the eight around it, as for the steepest slope on a line.
    i, j = (grid.reshape(-1) for grid in np.meshgrid([-1, 0, 1], [-1, 0, 1]))
    col = (np.floor(at[0][first])[:, None] + i).astype(np.intp)
    row = (np.floor(at[1][first])[:, None] + j).astype(np.intp)
    (one,) = baseline_slopes(heights_m, jacobian, col.reshape(-1), row.reshape(-1), (baseline_m,))
    return _leg_baseline(one, np.repeat(chainage_m[first], len(i)))


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
    return LegBaseline(
        steepest.baseline_m,
        steepest.measured_m,
        steepest.slope_max_deg,
        steepest.chainage_m,
        any(one.unknown for one in parts),
        steepest.note,
    )
