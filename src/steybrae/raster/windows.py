"""A block's heights with ground around them, and height changes over windows of any size.

Possible bands: that of the upper end of the slope's 95 % interval over the leading baseline, cells' and
survey's shares in quadrature (`steybrae.terrain.uncertainty`); or that of a short piece, over two cells,
where it is steep and steeper. The survey's error is taken along the worse of its two axes. Where no upper
end is known (beside unknown ground, and everywhere on cells above 40 m) the number is that of the band
itself and 100 more: at least.

Curvature: from the quadratic that fits the nine heights best (Evans; `steybrae.terrain.gradients` has the
sources), with second differences per cell

    r = d2z/du2 = sum over the rows of (left - 2 middle + right) / 3
    t = d2z/dv2, likewise down the columns
    s = d2z/dudv = (top left + bottom right - top right - bottom left) / 4

turned to ground metres by ``H = J^-T [[r, s], [s, t]] J^-1``, the curvature of the vertical section
along the gradient g is

    k = -(g^T H g) / (|g|^2 (1 + |g|^2)^1.5)

in 1/m, positive where the section is convex (steeper below than above); on a sphere of radius R it
is 1/R everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import ROUNDING_SLACK, round_up
from steybrae.raster.blocks import STRIP_ROWS, BlockMetric
from steybrae.raster.job import OPEN, AreaJob
from steybrae.raster.kernel import Steps
from steybrae.raster.tally import MM2_PER_M2, Tally
from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.engines import engine_gradients
from steybrae.terrain.gradients import plane_gradients
from steybrae.terrain.uncertainty import SlopeUncertainty, high_end_deg

Cells = NDArray[Any]

Halves = tuple[int, int]
"""Half-widths of a window along columns and along rows, cells."""

CACHED_ROWS: Final = 32
"""Rows of possible bands worked out at once: they stay in the cache (128 take a sixth longer)."""

_SHOWN_STEEP_DEG: Final = STEEP_DEG - 0.1 + 0.1 * ROUNDING_SLACK
"""What is steeper is shown as 30 degrees or more, in tenths rounded up."""

TWO_CELLS: Final[Halves] = (1, 1)
"""Of the smallest window, whose baseline is two cells."""


@dataclass(frozen=True, eq=False)
class BlockHeights:
    """Heights of a block and around it.

    Attributes
    ----------
    job
        What is asked for.
    raw
        ``[row, col]``, numbers of the file; not finite is unknown.
    margin
        Rows and columns around the block, cells: half of the widest window, one column more where that is
        above one, and as many rings as `ringed` is asked for.
    """

    job: AreaJob
    raw: Cells
    margin: tuple[int, int]

    def ringed(self, rings: int = 1) -> Cells:
        """Heights of the block and some rings, C order."""
        if self.margin == (rings, rings):
            return self.raw
        rows, cols = (slice(size - rings, rings - size or None) for size in self.margin)
        return np.ascontiguousarray(self.raw[rows, cols])

    @cached_property
    def _of_engine(self) -> tuple[Cells, Cells]:
        finite = np.where(np.isfinite(self.raw), self.raw, np.nan).astype(np.float64)
        return engine_gradients(self.job.settings.engine)(finite, self.job.settings.method)

    def steps(self, halves: Halves, more: int = 0) -> Steps | None:
        """Give what tells the height changes over a window, for the block and `more` cells around it.

        None for two cells of our own, which the kernel takes itself.
        """
        top, left = (size - more for size in self.margin)
        cols = self.raw.shape[1] - 2 * left
        if halves == TWO_CELLS and self.job.settings.engine == "own":
            return None
        if halves == TWO_CELLS:
            place = slice(left - 1, left + cols + 1)
            return lambda first, count: self._cut(slice(top + first, top + first + count), place)
        half_cols, half_rows = halves
        across = slice(left - 1 - half_cols, left + cols + 1 + half_cols)
        inside = (slice(half_rows, -half_rows), slice(half_cols, -half_cols))

        def planes(first: int, count: int) -> tuple[Cells, Cells]:
            part = self.raw[top + first - half_rows : top + first + count + half_rows, across]
            along, down = plane_gradients(part, half_cols, half_rows)
            return np.ascontiguousarray(along[inside]), np.ascontiguousarray(down[inside])

        return planes

    def _cut(self, rows: slice, cols: slice) -> tuple[Cells, Cells]:
        along, down = self._of_engine
        return np.ascontiguousarray(along[rows, cols]), np.ascontiguousarray(down[rows, cols])


def possible_bands(
    slope_deg: Cells, short_deg: Cells, known: SlopeUncertainty, edges_deg: Sequence[float], out: Cells
) -> None:
    """Fill a block's possible bands.

    Slopes are over the leading baseline and, with one ring of cells more, over two cells; `known`
    is how well the first are known. `out` gets 0 unknown, 1 the gentlest,
    `steybrae.raster.job.OPEN` more where no upper end is known.
    """
    edges = [round(10.0 * round_up(edge, 0.1)) for edge in edges_deg]
    for first in range(0, len(slope_deg), CACHED_ROWS):
        rows = slice(first, first + CACHED_ROWS)
        slope = slope_deg[rows]
        short = short_deg[first : first + len(slope) + 2]
        rough = roughness_deg(short)[1:-1, 1:-1]
        high = high_end_deg(slope, known, rough)
        if known.open_above:
            high[...] = np.nan
        own_short = short[1:-1, 1:-1]
        steepest = np.fmax(slope, high)
        # What is shown gentler stays out, as 0; a choice by cells would cost as much as all that is above.
        np.fmax(steepest, own_short * (own_short > _SHOWN_STEEP_DEG), out=steepest)
        tenths = np.ceil(10.0 * steepest - ROUNDING_SLACK)
        band = (tenths >= 0).view(np.uint8)
        for edge in edges:
            band += (tenths >= edge).view(np.uint8)
        band[np.isnan(high)] += OPEN
        band[np.isnan(slope)] = 0
        out[rows] = band


def count_possible(tally: Tally, bands: Cells, metric: BlockMetric) -> None:
    """Count a block's possible bands by number; the other two of a key are 0."""
    for first in range(0, len(bands), STRIP_ROWS):
        rows = bands[first : first + STRIP_ROWS]
        count = np.bincount(rows.reshape(-1))
        mm2 = float(np.mean(metric.area_m2.at(first, len(rows)))) * MM2_PER_M2
        for found in np.flatnonzero(count).tolist():
            tally.cells[found, 0, 0] += int(count[found])
            tally.area_mm2[found, 0, 0] += round(int(count[found]) * mm2)


def profile_curvature(heights_m: Array, jacobian: Array, p: Array, q: Array, flat_gradient: float) -> Array:
    """Profile curvature of every cell, 1/m, positive convex.

    `jacobian` is from `steybrae.terrain.jacobian.jacobian_field`. NaN in the outer ring, beside
    unknown heights, and below `flat_gradient`, where there is no fall line.
    """
    z = np.asarray(heights_m, dtype=np.float64)
    r, t, s = (np.full(z.shape, np.nan) for _ in range(3))
    across = z[:, :-2] - 2.0 * z[:, 1:-1] + z[:, 2:]
    r[1:-1, 1:-1] = (across[:-2] + across[1:-1] + across[2:]) / 3.0
    down = z[:-2] - 2.0 * z[1:-1] + z[2:]
    t[1:-1, 1:-1] = (down[:, :-2] + down[:, 1:-1] + down[:, 2:]) / 3.0
    s[1:-1, 1:-1] = (z[:-2, :-2] + z[2:, 2:] - z[:-2, 2:] - z[2:, :-2]) / 4.0
    (a, b), (c, d) = jacobian
    det = a * d - b * c
    # One step along the ground direction of g, in columns and rows: J^-1 g.
    col, row = (d * p - b * q) / det, (a * q - c * p) / det
    along = r * col**2 + 2.0 * s * col * row + t * row**2
    steep2 = p**2 + q**2
    with np.errstate(divide="ignore", invalid="ignore"):
        out: Array = -along / (steep2 * (1.0 + steep2) ** 1.5)
    out[steep2 < flat_gradient**2] = np.nan
    return out
