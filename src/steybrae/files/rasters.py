"""Elevation models on disk: one raster or several tiles that act as one.

Heights are read by window, so that a model of any size costs what the ground near the line
costs. Unknown (no-data value, mask, NaN, infinity, outside) is NaN. Heights come out in
metres.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyproj
import rasterio
import rasterio.errors
import rasterio.windows

from steybrae.errors import FileReadError, ModelError
from steybrae.quantities import FOOT_M, US_SURVEY_FOOT_M
from steybrae.terrain.dem import Array, Dem, Grid, horizontal_crs

__all__ = ["ModelInfo", "RasterModel", "open_model", "parse_height_unit"]

CACHE_BYTES: Final = 64 * 2**20
"""GDAL's block cache. Its default is a twentieth of the machine's memory, which a striped
model would fill; this holds the strips that one window of a line needs."""

MOST_CELLS: Final = 2**40
"""Largest grid that several tiles may span, cells; beyond it they are not one model (our choice)."""

FINGERPRINT_BYTES: Final = 4 * 2**20
"""How much of either end of a file its fingerprint covers."""

HEIGHT_UNITS_M: Final = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "international foot": FOOT_M,
    "usft": US_SURVEY_FOOT_M,
    "us survey foot": US_SURVEY_FOOT_M,
    "us survey feet": US_SURVEY_FOOT_M,
    "us-ft": US_SURVEY_FOOT_M,
    "ftus": US_SURVEY_FOOT_M,
}
"""Height units by the names that files and people use, in metres."""

LIKELY_HEIGHT_M: Final = (-500.0, 8900.0)
"""Heights of land, metres: below the Dead Sea's shore and above the highest summit (from memory:
-430 and 8849)."""


def parse_height_unit(text: str) -> float:
    """Read a height unit: ``m``, ``ft`` or ``usft`` and their long names.

    Parameters
    ----------
    text
        Name of the unit.

    Returns
    -------
    float
        Metres in one unit.

    Raises
    ------
    ModelError
        Another unit.
    """
    unit = HEIGHT_UNITS_M.get(text.strip().lower().replace("_", " "))
    if unit is None:
        message = f"The height unit should be m, ft or usft; got {text!r}. State it with --z-unit."
        raise ModelError(message)
    return unit


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


@dataclass(frozen=True)
class _Tile:
    data: Any
    row: int
    col: int


class RasterModel:
    """Heights by window from open raster files; a `steybrae.terrain.dem.DemSource`.

    Make it with `open_model`.
    """

    def __init__(self, grid: Grid, tiles: Sequence[_Tile], info: ModelInfo) -> None:
        self._grid = grid
        self._tiles = tuple(tiles)
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
        """
        heights = np.full((rows, cols), np.nan)
        for tile in self._tiles:
            _fill(heights, tile, row, col)
        return Dem(self._grid.part(row, col, rows, cols), heights * self.info.height_unit_m)

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
        x, y = self._grid.xy(col, row)
        transform = (a * step, b * step, float(x), d * step, e * step, float(y))
        return Dem(Grid(transform, self._grid.crs_wkt, (out_rows, out_cols)), heights)


def _fill(heights: Array, tile: _Tile, row: int, col: int) -> None:
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
        message = (
            f"{tile.data.name} should be readable throughout; its block at row {r0 - tile.row}, column "
            f"{c0 - tile.col} is damaged ({error}). Get the file again."
        )
        raise FileReadError(message) from error
    found = np.ma.filled(read.astype(np.float64), np.nan)
    found = found * tile.data.scales[0] + tile.data.offsets[0]
    found[~np.isfinite(found)] = np.nan
    np.copyto(into, found, where=np.isnan(into))


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
        No or an unusable CRS, several bands, complex numbers, tiles that do not fit.
    """
    unit = parse_height_unit(z_unit) if z_unit is not None else None
    with ExitStack() as stack:
        # Nothing but the named file is listed or fetched, and the cache has a stated size.
        stack.enter_context(
            rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES, GDAL_DISABLE_READDIR_ON_OPEN="TRUE", CPL_DEBUG=False)
        )
        opened = [stack.enter_context(_open(path)) for path in paths]
        for data in opened:
            _check_band(data)
        grid, tiles = _join(opened)
        metres, source = (unit, "--z-unit") if unit is not None else _height_unit(opened[0])
        info = ModelInfo(
            files=tuple(path.name for path in paths),
            fingerprints=tuple(_fingerprint(path) for path in paths),
            crs=grid.crs.name,
            height_unit_m=metres,
            height_unit_from=source,
        )
        yield RasterModel(grid, tiles, info)


def _open(path: Path) -> Any:
    if not path.is_file():
        message = f"The elevation model {path} should be a file; there is none. Check the path."
        raise FileReadError(message)
    if path.stat().st_size == 0:
        message = f"The elevation model {path} should hold heights; the file is empty. Get it again."
        raise FileReadError(message)
    try:
        return rasterio.open(path)
    except rasterio.errors.RasterioError as error:
        message = (
            f"The elevation model {path} should be a raster that GDAL reads (GeoTIFF, VRT, ASCII "
            "grid); it is not, or is damaged. Check the file."
        )
        raise FileReadError(message) from error


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


def _crs_text(data: Any) -> str:
    if data.crs is None:
        horizontal_crs(None)
    try:
        # An authority's code brings PROJ's area-wise datum shifts, which WKT alone may not.
        code = data.crs.to_epsg()
        found = horizontal_crs(f"EPSG:{code}" if code else data.crs.to_wkt())
    except (pyproj.exceptions.CRSError, rasterio.errors.CRSError) as error:
        message = (
            f"The elevation model {data.name} should have a CRS that PROJ knows; it has another "
            f"({error}). Set it anew, for instance with gdal_translate -a_srs EPSG:27700."
        )
        raise ModelError(message) from error
    authority = found.to_authority(min_confidence=100)
    return ":".join(authority) if authority else found.to_wkt()


def _join(opened: Sequence[Any]) -> tuple[Grid, list[_Tile]]:
    """One grid over all files, and where each lies in it."""
    first = opened[0]
    base = _grid_of(first)
    places = [(0, 0)]
    for data in opened[1:]:
        grid = _grid_of(data)
        places.append(_offset(base, grid, first.name, data.name))
    top = min(row for row, _ in places)
    left = min(col for _, col in places)
    bottom = max(row + data.height for (row, _), data in zip(places, opened, strict=True))
    right = max(col + data.width for (_, col), data in zip(places, opened, strict=True))
    if (bottom - top) * (right - left) > MOST_CELLS:
        message = (
            f"The tiles should lie near each other; together they span {bottom - top} x "
            f"{right - left} cells. Give only those the line needs."
        )
        raise ModelError(message)
    tiles = [_Tile(data, row - top, col - left) for (row, col), data in zip(places, opened, strict=True)]
    return base.part(top, left, bottom - top, right - left), tiles


def _grid_of(data: Any) -> Grid:
    transform = data.transform
    found = (transform.a, transform.b, transform.c, transform.d, transform.e, transform.f)
    if not all(map(math.isfinite, found)) or transform.a * transform.e == transform.b * transform.d:
        message = (
            f"The elevation model {data.name} should say where its cells lie; its transform "
            "is not usable. Georeference it first."
        )
        raise ModelError(message)
    if transform.is_identity:
        message = (
            f"The elevation model {data.name} should say where its cells lie; it has no transform. "
            "Georeference it first."
        )
        raise ModelError(message)
    return Grid(found, _crs_text(data), (data.height, data.width))


def _offset(base: Grid, grid: Grid, base_name: str, name: str) -> tuple[int, int]:
    if not base.crs.equals(grid.crs, ignore_axis_order=True):
        message = (
            f"Tiles should share one CRS; {base_name} has {base.crs.name!r} and {name} has "
            f"{grid.crs.name!r}. Bring them into one with gdalwarp."
        )
        raise ModelError(message)
    steps = np.array([base.transform[k] - grid.transform[k] for k in (0, 1, 3, 4)])
    size = max(abs(base.transform[k]) for k in (0, 1, 3, 4))
    col, row = (float(v) for v in base.colrow(grid.transform[2], grid.transform[5]))
    # A hundredth of a cell is rounding in the files; more moves slopes.
    fits = abs(col - round(col)) < 0.01 and abs(row - round(row)) < 0.01
    if np.abs(steps).max() * max(grid.shape) > 0.01 * size or not fits:
        message = (
            f"Tiles should have the same cells; those of {name} do not fall on those of {base_name}. "
            "Bring them onto one grid with gdalwarp -tap -tr."
        )
        raise ModelError(message)
    return round(row), round(col)


def _height_unit(data: Any) -> tuple[float, str]:
    """Metres in the height unit: from a vertical CRS, else the band's unit, else assumed metres."""
    try:
        crs = pyproj.CRS.from_user_input(data.crs.to_wkt())
    except (pyproj.exceptions.CRSError, rasterio.errors.CRSError):
        crs = None
    if crs is not None and len(crs.axis_info) == 3:
        return float(crs.axis_info[2].unit_conversion_factor), "CRS"
    name = (data.units[0] or "").strip()
    return (parse_height_unit(name), "band") if name else (1.0, "assumed")


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
