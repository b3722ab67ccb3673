"""Cells of the map of a screened line: heights, steepest slopes, light, distance to the corridor."""

from __future__ import annotations

import math
from typing import Final, Protocol

import numpy as np

from steybrae.screening.result import LegScreening, ModelFacts
from steybrae.terrain.attributes import baseline_cells, slope_field
from steybrae.terrain.dem import Array, Dem, DemSource, Grid
from steybrae.terrain.engines import check_engine
from steybrae.terrain.gradients import check_method, index_gradients
from steybrae.terrain.jacobian import cell_size_m, ground_gradients, jacobian_at, jacobian_field

MOST_PICTURE_CELLS: Final = 680 * 680
"""Picture cells at the most: about 0.25 mm each on paper (our choice)."""

MOST_MODEL_CELLS: Final = 3000 * 3000
"""Cells of the model read for a picture at the most; beyond it heights are left out (our choice)."""

LIGHT_FROM_TRUE_DEG: Final = 315.0
"""Relief is lit from the north-west (the custom of relief maps; common practice, no source)."""

LIGHT_GRADIENT: Final = 0.1
"""Gradient at which the light has three quarters of its full strength: beyond gentle ground it
tells form only, so that it cannot be read as steepness (our choice)."""

_CORRIDOR_CELLS: Final = 900
_CORRIDOR_POINTS: Final = 3000
_STRIP_ROWS: Final = 64


class PictureSource(DemSource, Protocol):
    """A model that can also be read thinned."""

    def overview(self, row: int, col: int, rows: int, cols: int, most_cells: int) -> Dem:
        """Window with every k-th row and column, at most about `most_cells` heights."""


def picture_cells(
    source: PictureSource, window: tuple[int, int, int, int], model: ModelFacts
) -> tuple[Dem, Array, int, int]:
    """Read a window of a model, which may reach outside, as cells of a picture.

    One height in each picture cell; the steepest slope of the cells it stands for by the method and
    engine that screened the line, over its baseline or over two cells, NaN where one of them is
    unknown; side of a picture cell in cells read; and how many cells of the model lie between those
    read, 1 where none was left out.
    """
    top, left, rows, cols = window
    read: DemSource = source
    thinned = 1
    method = check_method(model.method)
    engine = check_engine(model.engine, method)
    if rows * cols > MOST_MODEL_CELLS:
        thin = source.overview(top, left, rows, cols, MOST_MODEL_CELLS)
        thinned = round(rows / thin.grid.shape[0])
        read, top, left = thin, 0, 0
        rows, cols = thin.grid.shape
    k = max(1, math.ceil(math.sqrt(rows * cols / MOST_PICTURE_CELLS)))
    out_rows, out_cols = math.ceil(rows / k), math.ceil(cols / k)
    heights, slopes = np.empty((out_rows, out_cols)), np.empty((out_rows, out_cols))
    halves = baseline_cells(*cell_size_m(read.grid))
    ring = max(halves)
    for first in range(0, out_rows, _STRIP_ROWS):
        last = min(first + _STRIP_ROWS, out_rows)
        # Rings more than are shown: slopes need them.
        size = (last - first) * k + 2 * ring, out_cols * k + 2 * ring
        strip = read.read(top + first * k - ring, left - ring, *size)
        field = slope_field(strip, method, engine, halves)
        inner = np.maximum(field.slope_deg, field.short_deg)[ring:-ring, ring:-ring]
        # max carries NaN: a picture cell is unknown as soon as one of its cells is.
        slopes[first:last] = inner.reshape(last - first, k, out_cols, k).max(axis=(1, 3))
        heights[first:last] = strip.heights_m[ring + k // 2 : -ring : k, ring + k // 2 : -ring : k]
    a, b, _, d, e, _ = read.grid.transform
    x, y = read.grid.xy(left, top)
    grid = Grid((a * k, b * k, float(x), d * k, e * k, float(y)), read.grid.crs_wkt, (out_rows, out_cols))
    return Dem(grid, heights), slopes, k, thinned


def light_on(dem: Dem) -> tuple[Array, Array]:
    """Light from the north-west on each cell, and its gradient.

    ``cos(aspect - 315 degrees) * tanh(gradient / LIGHT_GRADIENT)``, -1 turned away to 1 facing;
    NaN beside unknown heights.
    """
    p, q = ground_gradients(jacobian_field(dem.grid), *index_gradients(dem.heights_m, "horn"))
    gradient = np.hypot(p, q)
    towards = math.radians(LIGHT_FROM_TRUE_DEG)
    facing = -(p * math.sin(towards) + q * math.cos(towards)) / np.maximum(gradient, 1e-12)
    return facing * np.tanh(gradient / LIGHT_GRADIENT), gradient


def beyond_corridor_m(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[Grid, Array]:
    """Distance from the outline of the corridor at the cell centres of a finer grid than the picture's.

    ``min over the line of (distance - half-width)``: the legs' corridors run together without inner
    lines. Metres on the ground, negative inside, one cell's length where the corridor is far away.
    """
    zoom = max(1, _CORRIDOR_CELLS // max(grid.shape))
    a, b, c, d, e, f = grid.transform
    rows, cols = grid.shape[0] * zoom, grid.shape[1] * zoom
    fine = Grid((a / zoom, b / zoom, c, d / zoom, e / zoom, f), grid.crs_wkt, (rows, cols))
    step = jacobian_at(fine, cols / 2, rows / 2)
    size = np.hypot(step[0], step[1])
    beyond = np.full((rows, cols), float(size.max()))
    whole_m = sum(leg.length_m for leg in legs)
    apart_m = max(float(size.min()), whole_m / _CORRIDOR_POINTS)
    for leg in legs:
        points = leg.points
        at = np.linspace(0.0, leg.length_m, max(2, math.ceil(leg.length_m / apart_m) + 1))
        lon = np.interp(at, points.chainage_m, np.unwrap(points.lon_deg, period=360.0))
        col, row = fine.from_wgs84(lon, np.interp(at, points.chainage_m, points.lat_deg))
        width = np.interp(at, points.chainage_m, points.half_width_m)
        for x, y, half in zip(col.tolist(), row.tolist(), width.tolist(), strict=True):
            reach = (math.ceil(half / size[0]) + 2, math.ceil(half / size[1]) + 2)
            c0, c1 = max(0, math.floor(x) - reach[0]), min(cols, math.floor(x) + reach[0] + 1)
            r0, r1 = max(0, math.floor(y) - reach[1]), min(rows, math.floor(y) + reach[1] + 1)
            if c0 >= c1 or r0 >= r1:
                continue
            dc = np.arange(c0, c1)[None, :] + 0.5 - x
            dr = np.arange(r0, r1)[:, None] + 0.5 - y
            distance = np.hypot(step[0, 0] * dc + step[0, 1] * dr, step[1, 0] * dc + step[1, 1] * dr)
            part = beyond[r0:r1, c0:c1]
            np.minimum(part, distance - half, out=part)
    return fine, beyond
