"""Whether tiles that overlap know the same heights there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import rasterio.errors
import rasterio.windows

from steybrae.files.model.heights import make_unknown, stored_numbers
from steybrae.files.model.tiles import Tile
from steybrae.terrain.dem import Array

DIFFERENT_M: Final = 1.0
"""Heights further apart than this, metres, are of different surveys, or of another unit or datum (our choice:
parts of one survey differ by their rounding)."""

MOST_ROWS: Final = 16
"""Most rows of an overlap that are looked at, evenly spread (our choice): models are opened often."""


def tiles_differ(tiles: Sequence[Tile]) -> bool:
    """Whether any two tiles that overlap have heights there that differ by more than `DIFFERENT_M`.

    Blocks that cannot be read are passed over: who needs their heights is told.
    """
    ends = np.array([(t.row, t.col, t.row + t.data.height, t.col + t.data.width) for t in tiles])
    for k, tile in enumerate(tiles):
        first, last = np.maximum(ends[k, :2], ends[:k, :2]), np.minimum(ends[k, 2:], ends[:k, 2:])
        for other in np.flatnonzero((first < last).all(axis=1)).tolist():
            if _differ(tiles[other], tile, *first[other].tolist(), *last[other].tolist()):
                return True
    return False


def _differ(one: Tile, other: Tile, top: int, left: int, bottom: int, right: int) -> bool:
    rows = np.unique(np.linspace(top, bottom - 1, min(MOST_ROWS, bottom - top)).astype(int)).tolist()
    for row in rows:
        try:
            apart = np.abs(_row(one, row, left, right) - _row(other, row, left, right))
        except rasterio.errors.RasterioError:
            continue
        if (apart > DIFFERENT_M).any():
            return True
    return False


def _row(tile: Tile, row: int, left: int, right: int) -> Array:
    """Heights of a piece of a row of the whole grid, metres."""
    window = rasterio.windows.Window(left - tile.col, row - tile.row, right - left, 1)
    found: Array = np.empty((1, right - left))
    make_unknown(tile, found, stored_numbers(tile, window, found))
    return np.asarray(found * tile.step_m + tile.offset_m)
