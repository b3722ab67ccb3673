"""Heights of a model by window, as many and as fast as whole rasters need.

`steybrae.files.model.rasters` gives double precision in metres. Here the numbers stay as the file has
them, in single precision where that holds them exactly; the unit goes into the arithmetic.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
import rasterio.errors
import rasterio.windows
from numpy.typing import NDArray

from steybrae.files.model.heights import damaged, make_unknown, stored_numbers
from steybrae.files.model.offline import OFFLINE
from steybrae.files.model.rasters import CACHE_BYTES, RasterModel
from steybrae.files.model.tiles import Tile
from steybrae.frozen import dataclass
from steybrae.ranges import Count

TILED_CELLS: Final = 8192
"""A block of a file that is narrower than this, cells, counts as a tile."""

_SINGLE: Final = ("float32", "int16", "uint16", "int8", "uint8")
"""Numbers that single precision holds exactly."""


def this_thread(cache_bytes: int) -> Any:
    """Give GDAL settings for a thread that reads and writes: its own error messages, and no network."""
    return rasterio.Env(GDAL_CACHEMAX=cache_bytes, **OFFLINE)


def cache_for(model: RasterModel, rows: int) -> tuple[int, bool]:
    """Tell what reading rows of blocks again and again, beside their neighbours, needs of GDAL's cache.

    Bytes; and whether a file has strips as wide as itself, so that all blocks of a row want the same ones.
    Of tiles it is the lowest row of them under a row of ours, which the next one reads again, and those
    under one block, at most `steybrae.files.model.rasters.CACHE_BYTES`; of strips at least that.
    """
    need, striped = 0, False
    for tile in model.tiles:
        (high, wide), width = tile.data.block_shapes[0], tile.data.width
        each = np.dtype(tile.data.dtypes[0]).itemsize
        if wide < width:
            cells = high * model.grid.shape[1] + (rows + 2 * high) * (rows + 2 * wide)
            need = max(need, min(cells * each, CACHE_BYTES))
            continue
        need = max(need, CACHE_BYTES)
        if width > TILED_CELLS:
            striped = True
            need = max(need, (rows + 2 * high) * wide * each)
    return need, striped


@dataclass(frozen=True)
class BadBlock:
    """A block of an input file that could not be read.

    Attributes
    ----------
    file
        Name of the file.
    row, col
        First cell of the block in it.
    """

    file: str
    row: Count
    col: Count


class RawHeights:
    """Windows of an open model; may be shared by threads, of which one reads at a time.

    One reader for all keeps GDAL's cache whole: the ring around a block was read with its
    neighbour.

    Parameters
    ----------
    model
        From `steybrae.files.model.rasters.open_model`.
    on_bad_block
        Called for every block that cannot be read, whose heights become unknown; None stops
        with an error.

    Attributes
    ----------
    step_m, offset_m
        Metres in one step of the numbers, and the height of 0.
    """

    def __init__(self, model: RasterModel, on_bad_block: Callable[[BadBlock], None] | None = None) -> None:
        self._tiles: tuple[Tile, ...] = model.tiles
        self._on_bad_block = on_bad_block
        self._lock = threading.Lock()
        self.grid = model.grid
        scales = {(tile.step_m, tile.offset_m) for tile in self._tiles}
        self._scaled_alike = len(scales) == 1
        self.step_m, self.offset_m = next(iter(scales)) if self._scaled_alike else (1.0, 0.0)
        single = self._scaled_alike and all(tile.data.dtypes[0] in _SINGLE for tile in self._tiles)
        self.dtype: np.dtype[Any] = np.dtype(np.float32 if single else np.float64)

    def read(self, row: int, col: int, out: NDArray[Any]) -> int:
        """Read the numbers of a window.

        Parameters
        ----------
        row, col
            Its first cell; it may reach outside.
        out
            Array ``[row, col]`` of its size and of `dtype`, filled with the numbers; metres are
            ``step_m * number + offset_m``; NaN where unknown.

        Returns
        -------
        int
            How many of them no land has (`steybrae.files.model.heights.make_unknown`).

        Raises
        ------
        FileReadError
            A block of a file is damaged, and none may be.
        """
        rows, cols = out.shape
        parts = [(tile, tile.shared_with(row, col, rows, cols)) for tile in self._tiles]
        inside = [(tile, part) for tile, part in parts if part[0] < part[2] and part[1] < part[3]]
        if len(inside) == 1 and inside[0][1] == (row, col, row + rows, col + cols):
            return self._into(out, inside[0][0], row, col)
        out.fill(np.nan)
        absurd = 0
        for tile, (r0, c0, r1, c1) in inside:
            part = out[r0 - row : r1 - row, c0 - col : c1 - col]
            # The first tile that knows the ground leads.
            missing = np.isnan(part)
            if missing.any():
                found = np.empty(part.shape, self.dtype)
                absurd += self._into(found, tile, r0, c0)
                np.copyto(part, found, where=missing)
        return absurd

    def _into(self, out: NDArray[Any], tile: Tile, row: int, col: int) -> int:
        """Read a tile's numbers over a whole array whose first cell is given."""
        window = rasterio.windows.Window(col - tile.col, row - tile.row, out.shape[1], out.shape[0])
        with self._lock:
            try:
                missing = stored_numbers(tile, window, out)
            except rasterio.errors.RasterioError as error:
                if self._on_bad_block is None:
                    raise damaged(tile, window, error) from error
                missing = self._piecewise(out, tile, window)
        absurd = make_unknown(tile, out, missing)
        if not self._scaled_alike:
            out *= tile.step_m
            out += tile.offset_m
        return absurd

    def _piecewise(self, out: NDArray[Any], tile: Tile, window: Any) -> NDArray[Any]:
        """Read block by block; those that cannot be read become unknown and are reported."""
        assert self._on_bad_block is not None  # noqa: S101
        missing = np.zeros(out.shape, np.bool_)
        block_rows, block_cols = tile.data.block_shapes[0]
        top, left = int(window.row_off), int(window.col_off)
        bottom, right = top + out.shape[0], left + out.shape[1]
        for row in range(top // block_rows * block_rows, bottom, block_rows):
            for col in range(left // block_cols * block_cols, right, block_cols):
                r0, r1 = max(row, top), min(row + block_rows, bottom)
                c0, c1 = max(col, left), min(col + block_cols, right)
                place = (slice(r0 - top, r1 - top), slice(c0 - left, c1 - left))
                piece = np.empty((r1 - r0, c1 - c0), out.dtype)
                try:
                    unwritten = stored_numbers(tile, rasterio.windows.Window(c0, r0, c1 - c0, r1 - r0), piece)
                except rasterio.errors.RasterioError:
                    self._on_bad_block(BadBlock(Path(tile.name).name, row, col))
                    missing[place] = True
                    continue
                out[place] = piece
                if unwritten is not None:
                    missing[place] = unwritten
        return missing
