"""One look at each block of a model: what tells of how its heights were made, in sums that add up."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from typing import Final

import numpy as np

from steybrae.quantities import FOOT_M
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.finer import Periods, periods_of
from steybrae.terrain.examine.stripes import Seam, alike_of, crowd_of, seams_of, steps_apart
from steybrae.terrain.gradients import plane_gradients

STEPS_M: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 40.0, 50.0, 100.0, FOOT_M, 10 * FOOT_M, 20 * FOOT_M)
"""Steps that heights may be multiples of, metres."""

ALL_BUT: Final = 0.005
"""Share of heights that need not be a multiple (our choice: a few may have been mended)."""

SPIKE_CELLS: Final = 0.5
"""Least height of a spike over all eight neighbours, in cells (our choice), and more than they differ."""

SPIKE_M: Final = 2.0
"""The same in metres (our choice): whole metres on cells of a metre make steps as high as those."""

UNIT_BASELINE_M: Final = 60.0
"""Baseline of the slopes that tell of a wrong unit, metres (our choice): over it crags count for little."""


@dataclass(frozen=True, eq=False)
class Marks:
    """Sums over blocks.

    Attributes
    ----------
    cells, known
        How many, and how many of them have a height.
    low_m, high_m
        Least and greatest height, metres; infinite where none is known.
    spikes
        Cells that stand out from all eight neighbours.
    multiples
        How many heights are multiples of each of `STEPS_M`.
    crowd
        From `steybrae.terrain.examine.stripes.crowd_of`.
    periods
        Along rows and along columns.
    alike
        For stripes, along columns and rows: products of steps in pieces apart, of the one and of the
        other with themselves, and the pairs.
    seams
        Of each block.
    steep
        Count of slopes over `UNIT_BASELINE_M`, by whole degrees.
    area_m2
        Area of the cells that are known.
    """

    cells: int
    known: int
    low_m: float
    high_m: float
    spikes: int
    multiples: Array
    crowd: Array
    periods: tuple[Periods, Periods]
    alike: Array
    seams: tuple[Seam, ...]
    steep: Array
    area_m2: float

    def __add__(self, other: Marks) -> Marks:
        """Put the sums of two blocks together."""
        return Marks(
            self.cells + other.cells,
            self.known + other.known,
            min(self.low_m, other.low_m),
            max(self.high_m, other.high_m),
            self.spikes + other.spikes,
            self.multiples + other.multiples,
            self.crowd + other.crowd,
            (self.periods[0] + other.periods[0], self.periods[1] + other.periods[1]),
            self.alike + other.alike,
            self.seams + other.seams,
            self.steep + other.steep,
            self.area_m2 + other.area_m2,
        )


def joined(blocks: Iterable[Marks]) -> Marks:
    """Add up blocks, one or more."""
    return reduce(Marks.__add__, blocks)


def marks_of(heights_m: Array, cell_m: tuple[float, float]) -> Marks:
    """Look at one block.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN unknown.
    cell_m
        Ground size of a cell along a row and along a column, metres.
    """
    known = heights_m[np.isfinite(heights_m)]
    across, down = steps_apart(heights_m), steps_apart(heights_m.T)
    return Marks(
        cells=heights_m.size,
        known=len(known),
        low_m=float(known.min(initial=math.inf)),
        high_m=float(known.max(initial=-math.inf)),
        spikes=_spikes(heights_m, min(cell_m)),
        multiples=np.array([np.count_nonzero(_off(known, step) < 1e-3) for step in STEPS_M], dtype=float),
        crowd=crowd_of(heights_m),
        periods=(periods_of(heights_m), periods_of(heights_m.T)),
        alike=np.stack((alike_of(across), alike_of(down))),
        seams=(*seams_of(across, "column"), *seams_of(down, "row")),
        steep=_steep(heights_m, cell_m),
        area_m2=len(known) * cell_m[0] * cell_m[1],
    )


def _off(heights_m: Array, step_m: float) -> Array:
    """How far heights lie from the nearest multiple of a step, metres."""
    return np.asarray(np.abs(heights_m - step_m * np.round(heights_m / step_m)))


def whole_unit_m(found: Marks) -> float | None:
    """Largest step that heights are multiples of, metres.

    Parameters
    ----------
    found
        Sums over blocks.

    Returns
    -------
    float or None
        One of `STEPS_M`; None where heights are finer.
    """
    least = (1.0 - ALL_BUT) * found.known
    steps = [step for step, count in zip(STEPS_M, found.multiples, strict=True) if count >= least > 0.0]
    return max(steps, default=None)


def _spikes(heights_m: Array, cell_m: float) -> int:
    rows, cols = heights_m.shape
    if min(rows, cols) < 3:
        return 0
    own = heights_m[1:-1, 1:-1]
    low, high = np.full(own.shape, np.inf), np.full(own.shape, -np.inf)
    for i, j in ((i, j) for i in range(3) for j in range(3) if (i, j) != (1, 1)):
        beside = heights_m[i : rows - 2 + i, j : cols - 2 + j]
        low, high = np.minimum(low, beside), np.maximum(high, beside)
    out = np.maximum(own - high, low - own)
    with np.errstate(invalid="ignore"):
        return int(np.count_nonzero((out > max(SPIKE_CELLS * cell_m, SPIKE_M)) & (out > high - low)))


def _steep(heights_m: Array, cell_m: tuple[float, float]) -> Array:
    """Count slopes over `UNIT_BASELINE_M` by whole degrees, from every n-th height."""
    cols, rows = baseline_cells(*cell_m, UNIT_BASELINE_M)
    p, q = plane_gradients(heights_m[rows // 2 :: rows, cols // 2 :: cols], 1, 1)
    slope = np.degrees(np.arctan(np.hypot(p / (cols * cell_m[0]), q / (rows * cell_m[1]))))
    return np.asarray(np.bincount(slope[np.isfinite(slope)].astype(int), minlength=91), dtype=float)


def steep_tenth_deg(found: Marks) -> float:
    """Slope over `UNIT_BASELINE_M` that a tenth of the ground reaches, degrees; 0 where none is known."""
    total = found.steep.sum()
    beyond = np.cumsum(found.steep[::-1])[::-1]
    return float(np.flatnonzero(beyond >= 0.1 * total)[-1]) if total > 0.0 else 0.0
