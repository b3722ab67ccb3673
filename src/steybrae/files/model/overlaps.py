"""Whether tiles that overlap know the same heights there."""

from __future__ import annotations

import math
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

SAME_M: Final = 1e-3
"""Heights as near as this, metres, are one (our choice: on cells of half a metre they turn no slope by more
than the tenth of a degree that is shown)."""

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
            (top, left), (bottom, right) = first[other].tolist(), last[other].tolist()
            rows = np.unique(np.linspace(top, bottom - 1, min(MOST_ROWS, bottom - top)).astype(int)).tolist()
            apart = (_apart_m(tiles[other], tile, row, left, row + 1, right) for row in rows)
            if any(DIFFERENT_M < most_m < math.inf for most_m in apart):
                return True
    return False


def apart_m(one: Tile, other: Tile, row: int, col: int, rows: int, cols: int) -> float:
    """Largest difference between the heights of two tiles in a window, metres; 0 where they share none.

    Infinite where a block cannot be read: who reads its heights is told.
    """
    top, left, bottom, right = one.shared_with(row, col, rows, cols)
    top, left, bottom, right = other.shared_with(top, left, bottom - top, right - left)
    return _apart_m(one, other, top, left, bottom, right) if top < bottom and left < right else 0.0


def _apart_m(one: Tile, other: Tile, top: int, left: int, bottom: int, right: int) -> float:
    """Compare where both have heights; infinite where a block cannot be read."""
    try:
        first_m, other_m = (_heights_m(tile, top, left, bottom, right) for tile in (one, other))
    except rasterio.errors.RasterioError:
        return math.inf
    return float(np.fmax.reduce(np.abs(first_m - other_m), axis=None, initial=0.0))


def _heights_m(tile: Tile, top: int, left: int, bottom: int, right: int) -> Array:
    """Heights of a piece of the whole grid, metres."""
    window = rasterio.windows.Window(left - tile.col, top - tile.row, right - left, bottom - top)
    found: Array = np.empty((bottom - top, right - left))
    make_unknown(tile, found, stored_numbers(tile, window, found))
    return np.asarray(found * tile.step_m + tile.offset_m)
