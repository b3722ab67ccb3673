"""Elevation models on disk: one raster or several tiles that act as one.

Heights are read by window, so that a model of any size costs what the ground near the line
costs. Unknown (no-data value, mask, NaN, infinity, outside) is NaN. Heights come out in
metres.
"""

from __future__ import annotations

import hashlib
import math
import os
import warnings
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
import rasterio.errors
import rasterio.windows

from steybrae.errors import FileReadError, ModelError
from steybrae.files.height_units import height_unit, parse_height_unit
from steybrae.files.quiet import quiet_messages
from steybrae.files.tiles import Tile, join
from steybrae.terrain.dem import Array, Dem, Grid

__all__ = ["CACHE_BYTES", "OFFLINE", "ModelInfo", "RasterModel", "damaged", "open_model"]

CACHE_BYTES: Final = 64 * 2**20
"""GDAL's block cache. Its default is a twentieth of the machine's memory, which a striped
model would fill; this holds the strips that one window of a line needs."""

MOST_WINDOW_CELLS: Final = 2**26
"""Most cells read at once, 512 MiB of heights (our choice): a stretch of a line on cells of half a
metre, with a reach of 2 km to either side."""

MOST_WINDOW_SIDE: Final = 2**15
"""Most rows or columns read at once (our choice): a line that leaps across the world has more."""

MOST_REASON: Final = 160
"""Most characters of GDAL's own words in an error (our choice)."""

OFFLINE: Final = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
}
"""Nothing but the named file is listed or fetched, whatever a VRT or a service description in it
names: files on the network are refused by their ending, and requests go to a port where nothing
listens (discard, RFC 863)."""

FINGERPRINT_BYTES: Final = 4 * 2**20
"""How much of either end of a file its fingerprint covers."""


@dataclass(frozen=True)
class ModelInfo:
    """What is known of a model, for every output.

    Attributes
    ----------
    files
        File names, in the order given; where tiles overlap the first that knows the ground leads.
    fingerprints
        SHA-256 of each file's size and first and last 4 MiB: which file it was, at a price
        that does not grow with the model.
    crs
        Name of its CRS.
    height_unit_m
        Metres in its height unit.
    height_unit_from
        ``--z-unit``, ``CRS``, ``band`` or ``assumed``.
    """

    files: tuple[str, ...]
    fingerprints: tuple[str, ...]
    crs: str
    height_unit_m: float
    height_unit_from: str


class RasterModel:
    """Heights by window from open raster files; a `steybrae.terrain.dem.DemSource`.

    Make it with `open_model`.

    Attributes
    ----------
    tiles
        The open files and where they lie; the first that knows the ground leads.
    info
        What is known of the model.
    """

    def __init__(self, grid: Grid, tiles: Sequence[Tile], info: ModelInfo) -> None:
        self._grid = grid
        self.tiles = tuple(tiles)
        self.info = info

    @property
    def grid(self) -> Grid:
        """Grid of the whole model."""
        return self._grid

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        """Heights of a window, metres.

        Parameters
        ----------
        row, col
            First cell of the window; it may lie outside.
        rows, cols
            Size of the window.

        Returns
        -------
        Dem
            NaN where no tile knows the ground.

        Raises
        ------
        FileReadError
            A block of a file is damaged.
        ModelError
            The window has more than 67 million cells, or 32 768 on a side.
        """
        if rows * cols > MOST_WINDOW_CELLS or max(rows, cols) > MOST_WINDOW_SIDE:
            message = (
                f"A stretch of the line and what lies beside it should span at most {MOST_WINDOW_CELLS} "
                f"cells of the model, {MOST_WINDOW_SIDE} on a side; it spans {rows} x {cols}. Give a "
                "coarser model, a smaller place error or drift, or, where the line leaves the model at "
                "180 degrees, tiles of both sides."
            )
            raise ModelError(message)
        heights = np.full((rows, cols), np.nan)
        for tile in self.tiles:
            _fill(heights, tile, row, col)
        if self.info.height_unit_m != 1.0:
            heights *= self.info.height_unit_m
        return Dem(self._grid.part(row, col, rows, cols), heights)

    def overview(self, row: int, col: int, rows: int, cols: int, most_cells: int) -> Dem:
        """Read a window thinned to at most about `most_cells` heights, for pictures only.

        Parameters
        ----------
        row, col, rows, cols
            As `read`.
        most_cells
            How many heights at the most; every k-th row and column is kept.

        Returns
        -------
        Dem
            On the thinned grid.
        """
        step = max(1, math.ceil(math.sqrt(rows * cols / most_cells)))
        if step == 1:
            return self.read(row, col, rows, cols)
        out_rows, out_cols = math.ceil(rows / step), math.ceil(cols / step)
        heights = np.full((out_rows, out_cols), np.nan)
        # One strip of rows at a time: thinning a striped file reads whole strips anyway.
        for k in range(out_rows):
            strip = self.read(row + k * step + step // 2, col, 1, out_cols * step)
            heights[k] = strip.heights_m[0, step // 2 :: step]
        a, b, _, d, e, _ = self._grid.transform
        # Each height kept is to lie in the middle of its large cell, also where the step is even.
        shift = step // 2 + 0.5 - step / 2
        x, y = self._grid.xy(col + shift, row + shift)
        transform = (a * step, b * step, float(x), d * step, e * step, float(y))
        return Dem(Grid(transform, self._grid.crs_wkt, (out_rows, out_cols)), heights)


def _fill(heights: Array, tile: Tile, row: int, col: int) -> None:
    """Write a tile's heights into the still unknown cells of a window."""
    rows, cols = heights.shape
    r0, r1 = max(row, tile.row), min(row + rows, tile.row + tile.data.height)
    c0, c1 = max(col, tile.col), min(col + cols, tile.col + tile.data.width)
    if r0 >= r1 or c0 >= c1:
        return
    into = heights[r0 - row : r1 - row, c0 - col : c1 - col]
    if not np.isnan(into).any():
        return
    window = rasterio.windows.Window(c0 - tile.col, r0 - tile.row, c1 - c0, r1 - r0)
    try:
        read = tile.data.read(1, window=window, masked=True)
    except rasterio.errors.RasterioError as error:
        raise damaged(tile.data, window, error) from error
    # Signalling NaN and what a scale makes infinite are unknown, not worth a warning.
    with np.errstate(invalid="ignore", over="ignore"):
        found = np.ma.filled(read.astype(np.float64), np.nan)
        scale, offset = tile.data.scales[0], tile.data.offsets[0]
        if (scale, offset) != (1.0, 0.0):
            found = found * scale + offset
    found[~np.isfinite(found)] = np.nan
    np.copyto(into, found, where=np.isnan(into))


def damaged(data: Any, window: Any, error: BaseException) -> FileReadError:
    """Error that names the first block of an open file, under a window, that cannot be read."""
    while error.__cause__ is not None:
        error = error.__cause__
    row, col = _bad_block(data, window)
    message = (
        f"The elevation model {data.name} should be readable throughout; its block at row {row}, column "
        f"{col} is not ({' '.join(str(error).split())[:MOST_REASON]}). Get the file again."
    )
    return FileReadError(message)


def _bad_block(data: Any, window: Any) -> tuple[int, int]:
    """First row and column of the first block under a window that cannot be read."""
    block_rows, block_cols = data.block_shapes[0]
    top, left = (int(window.row_off) // block_rows, int(window.col_off) // block_cols)
    for row in range(top * block_rows, int(window.row_off + window.height), block_rows):
        for col in range(left * block_cols, int(window.col_off + window.width), block_cols):
            try:
                data.read(1, window=rasterio.windows.Window(col, row, 1, 1))
            except rasterio.errors.RasterioError:
                return row, col
    return int(window.row_off), int(window.col_off)


@contextmanager
def open_model(paths: Sequence[Path], z_unit: str | None = None) -> Iterator[RasterModel]:
    """Open one raster, or several tiles of one grid, as a model.

    Parameters
    ----------
    paths
        Raster files that GDAL reads; several need one CRS, one cell size, and cells that
        fall on each other.
    z_unit
        Height unit that overrides what the files say.

    Yields
    ------
    RasterModel
        Valid inside the ``with`` block.

    Raises
    ------
    FileReadError
        Missing, empty, damaged or not a raster.
    ModelError
        No file, no or an unusable CRS, several bands, complex numbers, tiles that do not fit.
    """
    if not paths:
        message = "An elevation model needs one raster file or more; got none. Give it with --dem."
        raise ModelError(message)
    unit = parse_height_unit(z_unit) if z_unit is not None else None
    with ExitStack() as stack:
        stack.enter_context(quiet_messages())
        stack.enter_context(rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES, CPL_DEBUG=False, **OFFLINE))
        opened = [stack.enter_context(_open(path)) for path in paths]
        for data in opened:
            _check_band(data)
        grid, tiles = join(opened)
        metres, source = (unit, "--z-unit") if unit is not None else height_unit(opened)
        info = ModelInfo(
            files=tuple(path.name for path in paths),
            fingerprints=tuple(_fingerprint(path) for path in paths),
            crs=grid.crs.name,
            height_unit_m=metres,
            height_unit_from=source,
        )
        yield RasterModel(grid, tiles, info)


def _open(path: Path) -> Any:
    try:
        size = path.stat().st_size if path.is_file() else None
    except OSError as error:
        message = f"The elevation model {path} could not be read: {error.strerror}. Check the path."
        raise FileReadError(message) from error
    if size is None:
        message = f"The elevation model {path} should be a file; there is none. Check the path."
        raise FileReadError(message)
    if size == 0:
        message = f"The elevation model {path} should hold heights; the file is empty. Get it again."
        raise FileReadError(message)
    try:
        with warnings.catch_warnings():
            # Said as an error, in our words, when the transform is looked at.
            warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
            return _with_all_processors(rasterio.open(path))
    # A text in the file that is not UTF-8 comes out of rasterio as it is.
    except (rasterio.errors.RasterioError, UnicodeDecodeError) as error:
        message = (
            f"The elevation model {path} should be a raster that GDAL reads (GeoTIFF, VRT, ASCII "
            "grid); it is not, or is damaged. Check the file."
        )
        raise FileReadError(message) from error


def _with_all_processors(data: Any) -> Any:
    """Let all processors unpack the tiles of one window, where a file's tiles are packed.

    A file has one reader at a time, and those who wait for it have processors to lend. Tiles that
    are not packed would be copied by them, which takes longer (measured).
    """
    if data.driver != "GTiff" or "COMPRESSION" not in data.tags(ns="IMAGE_STRUCTURE"):
        return data
    with data:
        return rasterio.open(data.name, num_threads=os.environ.get("GDAL_NUM_THREADS", "ALL_CPUS"))


def _check_band(data: Any) -> None:
    if data.count != 1:
        message = (
            f"The elevation model {data.name} should have one band of heights; it has {data.count}. "
            "Take the height band out first, for instance with gdal_translate -b 1."
        )
        raise ModelError(message)
    if np.dtype(data.dtypes[0]).kind not in "iuf":
        message = (
            f"The elevation model {data.name} should hold real numbers; its band is of type "
            f"{data.dtypes[0]}. Give heights."
        )
        raise ModelError(message)


def _fingerprint(path: Path) -> str:
    """SHA-256 of the size and of the first and last `FINGERPRINT_BYTES` of a file."""
    size = path.stat().st_size
    found = hashlib.sha256(str(size).encode())
    with path.open("rb") as file:
        found.update(file.read(FINGERPRINT_BYTES))
        if size > FINGERPRINT_BYTES:
            file.seek(max(FINGERPRINT_BYTES, size - FINGERPRINT_BYTES))
            found.update(file.read())
    return found.hexdigest()
