"""Heights for relief and contours of a tile: one in each of its cells, and a ring around them."""

from __future__ import annotations

import numpy as np

from steybrae.desk.tiles.cells import MapCells
from steybrae.desk.tiles.view import TileView
from steybrae.files.model.rasters import RasterModel
from steybrae.raster.overhead.survey import heights_m
from steybrae.terrain.dem import Array, Dem, Grid


def tile_heights(cells: MapCells, model: RasterModel, view: TileView) -> Dem:
    """Heights of a tile and one ring; of a coarse cell the one in its middle.

    NaN unknown, off the model or not looked at; the model is open in this thread.
    """
    row, col = (at - 1 for at in view.corner)
    side, count = 1 << view.level, view.count + 2
    if view.level < cells.level:
        middle = side // 2
        span = (count - 1) * side + 1
        whole = heights_m(cells.maker(model).heights, row * side + middle, col * side + middle, span, span)
        found: Array = whole[::side, ::side].astype(np.float64)
    else:
        found = _kept(cells, 1 << (view.level - cells.level), row, col, count)
    a, b, _, d, e, _ = model.grid.transform
    x, y = model.grid.xy(col * side, row * side)
    transform = (a * side, b * side, float(x), d * side, e * side, float(y))
    return Dem(Grid(transform, model.grid.crs_wkt, found.shape), found)


def _kept(cells: MapCells, step: int, row: int, col: int, count: int) -> Array:
    """Every so many of the heights that are kept of the whole map."""
    out = np.full((count, count), np.nan)
    at = [np.arange(first, first + count) * step + step // 2 for first in (row, col)]
    there = [(place >= 0) & (place < most) for place, most in zip(at, cells.heights_m.shape, strict=True)]
    out[np.ix_(*there)] = cells.heights_m[
        np.ix_(*(place[known] for place, known in zip(at, there, strict=True)))
    ]
    return out
