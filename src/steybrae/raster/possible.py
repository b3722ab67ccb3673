"""Bands that ground may reach within what is known of it: ``bands_possible.tif``.

The band of the upper end of the slope's 95 % interval over the leading baseline, cells' and survey's
shares in quadrature (`steybrae.terrain.uncertainty`); or that of a short piece, over two cells, where it
is steep and steeper. The survey's error is taken along the worse of its two axes. Where no upper end is
known (beside unknown ground, and everywhere on cells above 40 m) the number is that of the band itself
and 100 more: at least.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.quantities import ROUNDING_SLACK, round_up
from steybrae.raster.blocks import STRIP_ROWS
from steybrae.raster.layers import OPEN
from steybrae.raster.metric import BlockMetric
from steybrae.raster.tally import MM2_PER_M2, Tally
from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.uncertainty import SlopeUncertainty, high_end_deg

Cells = NDArray[Any]


def possible_bands(
    slope_deg: Cells, short_deg: Cells, known: SlopeUncertainty, edges_deg: Sequence[float], out: Cells
) -> None:
    """Fill a block's possible bands.

    Parameters
    ----------
    slope_deg
        Slopes over the leading baseline, ``[row, col]``, degrees; NaN unknown.
    short_deg
        The same over two cells, with one ring of cells more.
    known
        How well the first are known.
    edges_deg
        Of the bands.
    out
        Of the shape of `slope_deg`: 0 unknown, 1 the gentlest, `steybrae.raster.layers.OPEN` more where
        no upper end is known.
    """
    edges = [round(10.0 * round_up(edge, 0.1)) for edge in edges_deg]
    for first in range(0, len(slope_deg), STRIP_ROWS):
        rows = slice(first, first + STRIP_ROWS)
        slope = slope_deg[rows]
        short = short_deg[first : first + len(slope) + 2]
        rough = roughness_deg(short)[1:-1, 1:-1]
        high = high_end_deg(slope, known, rough)
        if known.open_above:
            high[...] = np.nan
        own_short = short[1:-1, 1:-1]
        steepest = np.fmax(slope, high)
        # No number is larger than one: gentle short pieces stay out.
        np.fmax(steepest, np.where(own_short >= STEEP_DEG, own_short, np.nan), out=steepest)
        tenths = np.ceil(10.0 * steepest - ROUNDING_SLACK)
        band = (tenths >= 0).view(np.uint8)
        for edge in edges:
            band = band + (tenths >= edge).view(np.uint8)
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
