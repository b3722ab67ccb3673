"""Slope, its interval and its band at every cell of a model that fits in memory."""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from steybrae.cautions import Cautions, Situation, cautions_for
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Count, NotNegative
from steybrae.screening.known import Settings, slopes_known, told_of_model
from steybrae.terrain.attributes import aspect_deg, band_numbers, baseline_cells, slope_field
from steybrae.terrain.dem import Array, DemSource, Grid
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.uncertainty import slope_interval_deg


@dataclass(frozen=True, eq=False)
class GroundCells:
    """Slopes of all cells; arrays ``[row, col]``, read-only, NaN unknown.

    Attributes
    ----------
    slope_deg
        Fall-line slope over the baseline, degrees.
    slope_low_deg
        Lower end of its 95 % interval, degrees.
    slope_high_deg
        Upper end, degrees; NaN where it is not known: then the slope is open above.
    aspect_true_deg
        Direction that the slope faces, degrees clockwise from true north; NaN on flat ground too.
    band
        Position of the slope's band in `labels`, by the number shown; -1 unknown.
    labels
        Of the bands, gentlest first.
    cells
        Cells in each band.
    unknown_cells
        Cells of unknown slope; the outer rings are, for their neighbours are not known.
    baseline_m
        What the slopes are measured over, metres.
    cell_size_m
        Ground size of a cell along a row and along a column in the middle, metres.
    basis
        What the intervals rest on, in words.
    model_files
        Names of the model's files.
    cautions
        Those that apply.
    grid
        Where the cells lie.
    """

    slope_deg: Array = field(metadata=NOT_JSON)
    slope_low_deg: Array = field(metadata=NOT_JSON)
    slope_high_deg: Array = field(metadata=NOT_JSON)
    aspect_true_deg: Array = field(metadata=NOT_JSON)
    band: NDArray[np.int8] = field(metadata=NOT_JSON)
    labels: tuple[str, ...]
    cells: tuple[Count, ...]
    unknown_cells: Count
    baseline_m: NotNegative
    cell_size_m: tuple[NotNegative, NotNegative]
    basis: str
    model_files: tuple[str, ...]
    cautions: Cautions
    grid: Grid = field(metadata=NOT_JSON)


def ground_cells(source: DemSource, settings: Settings | None = None) -> GroundCells:
    """Slope, interval, aspect and band of every cell, as `ground_at` tells them of one.

    The model is read whole; how well slopes are known, and over how many cells they are measured,
    is that of its middle. `ModelError` where it cannot be used, or has more cells than are read at
    once.
    """
    settings = settings or Settings()
    rows, cols = source.grid.shape
    middle = cols / 2.0, rows / 2.0
    cell = cell_size_m(source.grid, *middle)
    known = slopes_known(settings.method, jacobian_at(source.grid, *middle), settings)
    dem = source.read(0, 0, rows, cols)
    field = slope_field(dem, settings.method, engine=settings.engine, halves=baseline_cells(*cell))
    low, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
    band = band_numbers(field.slope_deg, settings.bands).astype(np.int8)
    aspect = aspect_deg(field.p, field.q)
    for array in (low, high, aspect, band):
        array.flags.writeable = False
    counts = np.bincount(band.ravel() + 1, minlength=len(settings.bands.labels) + 1).tolist()
    steepest = None if np.isnan(high).all() else float(np.nanmax(high))
    situation = Situation(
        **told_of_model(settings, cell, source.grid),
        area_unknown=counts[0] > 0,
        open_above=known.open_above,
        slope_high_deg=steepest,
        heights=source.heights_read,
    )
    return GroundCells(
        slope_deg=field.slope_deg,
        slope_low_deg=low,
        slope_high_deg=high,
        aspect_true_deg=aspect,
        band=band,
        labels=settings.bands.labels,
        cells=tuple(counts[1:]),
        unknown_cells=counts[0],
        baseline_m=known.measured_m,
        cell_size_m=cell,
        basis=known.words,
        model_files=settings.origin.files,
        cautions=cautions_for(situation),
        grid=source.grid,
    )
