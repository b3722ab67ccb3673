"""Elevation models on disk: one raster or several tiles that act as one.

Heights are read by window, so that a model of any size costs what the ground near the line
costs. Unknown (`steybrae.files.model.heights`, and outside) is NaN. Heights come out in metres.
"""

from __future__ import annotations

import math
import os
import warnings
from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
import rasterio.errors
import rasterio.windows
from numpy.typing import NDArray

from steybrae.cautions import SAME_CELLS, HeightsRead
from steybrae.errors import FileReadError, ModelError, hushed
from steybrae.files.model.declared import Part, check_part, check_sidecar, height_unit, parse_height_unit
from steybrae.files.model.fingerprints import files_fingerprint, files_state, sidecars
from steybrae.files.model.heights import (
    DIFFERENT_M,
    SAME_M,
    apart_m,
    damaged,
    make_unknown,
    same_squares,
    stored_numbers,
    tiles_differ,
)
from steybrae.files.model.offline import DRIVERS, OFFLINE, SOURCES, quiet_messages
from steybrae.files.model.tiles import RasterFile, Tile, check_band, join, scaling_words
from steybrae.files.model.vrt import amended, is_tiff, is_vrt, largest_block_bytes, names_lost_places
from steybrae.files.results import is_sample
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.screening.known import ModelOrigin
from steybrae.terrain.dem import Array, Dem, Grid

FEW_CELLS: Final = 1_000_000
"""Cells of a file below which its tiles are unpacked by one processor (our choice)."""

CACHE_BYTES: Final = 64 * 2**20
"""GDAL's block cache. Its default is a twentieth of the machine's memory, which a striped
model would fill; this holds the strips that one window of a line needs."""

MOST_WINDOW_CELLS: Final = 2**26
"""Most cells read at once, 512 MiB of heights (our choice): a stretch of a line on cells of half a
metre, with a reach of 2 km to either side."""

MOST_WINDOW_SIDE: Final = 2**15
"""Most rows or columns read at once (our choice): a line that leaps across the world has more."""

MOST_SIDECAR_BYTES: Final = 16 * 2**20
"""Largest .aux.xml read, bytes (our choice): GDAL takes it into 25 times as much memory."""

MOST_BLOCK_BYTES: Final = 512 * 2**20
"""Largest strip or tile of a file, unpacked, bytes (our choice): one that is read is read whole."""


@dataclass(frozen=True)
class ModelInfo:
    """What is known of a model, for every output.

    Attributes
    ----------
    files
        File names, in the order given; where tiles overlap the first that knows the ground leads.
    fingerprints
        Of each, by its size and both its ends, with all that it consists of: which file it was, at
        a price that does not grow with the model (`steybrae.files.model.fingerprints.files_fingerprint`).
    parts
        The files that each consists of: itself, what lies beside it, the sources of a VRT.
    crs
        Name of its CRS.
    height_unit_m
        Metres in its height unit.
    height_unit_from
        ``--z-unit``, ``CRS``, ``band`` or ``assumed``.
    scaling
        A sentence on the scale and offset that the files state, or an empty string.
    """

    files: tuple[str, ...]
    fingerprints: tuple[str, ...]
    parts: tuple[tuple[Path, ...], ...]
    crs: str
    height_unit_m: float
    height_unit_from: str
    scaling: str

    @property
    def sample(self) -> bool:
        """Whether the invented massif is part of it."""
        return any(is_sample(file) for files in self.parts for file in files)

    def origin(self) -> ModelOrigin:
        """Where the model came from, for the settings of a screening."""
        return ModelOrigin(
            self.files, self.fingerprints, self.height_unit_m, self.height_unit_from, sample=self.sample
        )

    def state(self) -> str:
        """Sizes and times of all its files as they are now; see `files_state`."""
        return files_state([file for files in self.parts for file in files])


class RasterModel:
    """Heights by window from open raster files; a `steybrae.terrain.dem.DemSource`.

    Make it with `open_model`.

    Attributes
    ----------
    grid
        Of the whole model.
    tiles
        The open files and where they lie; the first that knows the ground leads.
    info
        What is known of the model.
    noted
        Squares of one number that are met are added, where this is a list.
    """

    def __init__(self, grid: Grid, tiles: Sequence[Tile], info: ModelInfo) -> None:
        self.grid = grid
        self.tiles = tuple(tiles)
        self.info = info
        self._cells_read = self._absurd = self._same = 0
        self._differ = False
        self.noted: list[NDArray[np.intp]] | None = None

    @property
    def heights_read(self) -> HeightsRead:
        """What was met among the heights read so far."""
        many = max(self._cells_read, 1)
        differ = self._differ or self.tiles_differ
        return HeightsRead(self._absurd / many, self._same / many, self.info.scaling, differ)

    @cached_property
    def tiles_differ(self) -> bool:
        """Whether tiles that overlap differ there; looked up when it is first asked for, which takes time."""
        return tiles_differ(self.tiles)

    @property
    def met(self) -> tuple[int, int, int]:
        """Counts behind `heights_read`: heights, those that no land has, those in stretches of one number."""
        return self._cells_read, self._absurd, self._same

    def meet(self, more: tuple[int, int, int]) -> None:
        """Count what was met before, in heights that are not read again."""
        self._cells_read += more[0]
        self._absurd += more[1]
        self._same += more[2]

    def cells_in(self, row: int, col: int, rows: int, cols: int) -> int:
        """Count the cells of a window that its files have, each file's own."""
        shares = (tile.shared_with(row, col, rows, cols) for tile in self.tiles)
        return sum(max(r1 - r0, 0) * max(c1 - c0, 0) for r0, c0, r1, c1 in shares)

    def count_anew(self) -> None:
        """Forget what was met among the heights read so far."""
        self._cells_read = self._absurd = self._same = 0

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
            NaN where no tile knows the ground; where tiles differ with what each of them knows.

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
                "coarser model, a smaller position error or drift, or, where the line leaves the model at "
                "180 degrees, tiles of both sides."
            )
            raise ModelError(message)
        heights = np.full((rows, cols), np.nan)
        for tile in self.tiles:
            self._fill(heights, tile, row, col)
        self._cells_read += self.cells_in(row, col, rows, cols)
        squares = same_squares(heights, row, col)
        self._same += len(squares) * SAME_CELLS**2
        if self.noted is not None:
            self.noted.append(squares)
        return Dem(self.grid.part(row, col, rows, cols), heights, self._others_m(row, col, rows, cols))

    def _others_m(self, row: int, col: int, rows: int, cols: int) -> tuple[Array, ...]:
        """Heights of a window as `Dem.others_m` has them; none where the tiles know the same."""
        near, most_m, window = list[Tile](), 0.0, (row, col, rows, cols)
        for tile in self.tiles:
            top, left, bottom, right = tile.shared_with(*window)
            if top < bottom and left < right:
                most_m = max(most_m, *(apart_m(one, tile, *window) for one in near), 0.0)
                near.append(tile)
        self._differ |= most_m > DIFFERENT_M
        if most_m <= SAME_M:
            return ()
        ranked, absurd = list[Array](), self._absurd
        for tile in near:
            own = np.full((rows, cols), np.nan)
            self._fill(own, tile, row, col)
            for before in ranked:
                free = np.isnan(before)
                before[free], own = own[free], np.where(free, np.nan, own)
            ranked.append(own)
        self._absurd = absurd  # those of the first are counted
        for first, own in pairwise(ranked):
            np.copyto(own, first, where=np.isnan(own))
        return tuple(own for first, own in pairwise(ranked) if not np.array_equal(first, own, equal_nan=True))

    def _fill(self, heights: Array, tile: Tile, row: int, col: int) -> None:
        """Write a tile's heights into the still unknown cells of a window."""
        r0, c0, r1, c1 = tile.shared_with(row, col, *heights.shape)
        if r0 >= r1 or c0 >= c1:
            return
        into = heights[r0 - row : r1 - row, c0 - col : c1 - col]
        unknown = np.isnan(into)
        if not unknown.any():
            return
        window = rasterio.windows.Window(c0 - tile.col, r0 - tile.row, c1 - c0, r1 - r0)
        found = np.empty(into.shape)
        try:
            missing = stored_numbers(tile, window, found)
        except rasterio.errors.RasterioError as error:
            raise damaged(tile, window, error) from error
        if not unknown.all():
            found[~unknown] = np.nan  # what is known already is not counted again
        self._absurd += make_unknown(tile, found, missing)
        found *= tile.step_m
        found += tile.offset_m
        np.copyto(into, found, where=unknown)

    def overview(self, row: int, col: int, rows: int, cols: int, most_cells: int) -> Dem:
        """Read a window thinned to at most about `most_cells` heights, for pictures only.

        On the thinned grid: every k-th row and column is kept.
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
        a, b, _, d, e, _ = self.grid.transform
        # Each height kept is to lie in the middle of its large cell, also where the step is even.
        shift = step // 2 + 0.5 - step / 2
        x, y = self.grid.xy(col + shift, row + shift)
        transform = (a * step, b * step, float(x), d * step, e * step, float(y))
        return Dem(Grid(transform, self.grid.crs_wkt, (out_rows, out_cols)), heights)


@contextmanager
def open_model(paths: Sequence[Path], z_unit: str | None = None) -> Iterator[RasterModel]:
    """Open a raster of `DRIVERS`, or several tiles of one grid, as a model inside the ``with`` block.

    Several need one CRS, one cell size, and cells that fall on each other; `z_unit` overrides the
    height unit that the files say. `FileReadError` where one is missing, empty, damaged or no
    raster; `ModelError` for no file, no or an unusable CRS, several bands, complex numbers, tiles
    that do not fit.
    """
    if not paths:
        message = "An elevation model needs one raster file or more; got none. Give it with --dem."
        raise ModelError(message)
    unit = parse_height_unit(z_unit) if z_unit is not None else None
    with ExitStack() as stack:
        stack.enter_context(_own_gdal())
        given = {Path(os.path.realpath(path)) for path in paths}
        opened, parts = [], []
        for path in paths:
            data, files = _open(path, given, unit_stated=unit is not None)
            opened.append(RasterFile(str(path), stack.enter_context(data)))
            parts.append(files)
        yield _joined(opened, tuple(parts), tuple(files_fingerprint(files) for files in parts), unit)


@contextmanager
def open_rasters(opened: Sequence[Any], z_unit: str | None = None) -> Iterator[RasterModel]:
    """Take rasters that are no files, or arrays in their place, as a model inside the ``with`` block.

    Datasets of rasterio stay open. The rest is as for `open_model`.
    """
    unit = parse_height_unit(z_unit) if z_unit is not None else None
    files = [RasterFile(str(data.name), data) for data in opened]
    with _own_gdal():
        prints = tuple(getattr(data, "fingerprint", "") for data in opened)
        yield _joined(files, tuple(() for _ in files), prints, unit)


@contextmanager
def _own_gdal() -> Iterator[None]:
    with quiet_messages(), rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES, CPL_DEBUG=False, **OFFLINE):
        yield


def _joined(
    opened: Sequence[RasterFile],
    parts: tuple[tuple[Path, ...], ...],
    fingerprints: tuple[str, ...],
    unit: float | None,
) -> RasterModel:
    for file in opened:
        check_band(file)
    metres, source = (unit, "--z-unit") if unit is not None else height_unit(opened)
    grid, tiles = join(opened, metres)
    info = ModelInfo(
        files=tuple(clean(Path(file.name).name) for file in opened),
        fingerprints=fingerprints,
        parts=parts,
        crs=clean(grid.crs.name),
        height_unit_m=metres,
        height_unit_from=source,
        scaling=scaling_words(opened),
    )
    return RasterModel(grid, tiles, info)


def _open(path: Path, given: Collection[Path], *, unit_stated: bool) -> tuple[Any, tuple[Path, ...]]:
    """Open a file, and tell every file that it consists of."""
    try:
        str(path).encode()
    except UnicodeEncodeError as error:
        message = (
            f"The name of an elevation model should be UTF-8, for GDAL takes no other; {clean(str(path))} "
            "is not. Rename the file."
        )
        raise FileReadError(message) from error
    try:
        size = path.stat().st_size if path.is_file() else None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f"The elevation model {path} could not be read: {reason}. Check the path."
        raise FileReadError(message) from error
    if size is None:
        message = f"The elevation model {path} should be a file; there is none. Check the path."
        raise FileReadError(message)
    if size == 0:
        message = f"The elevation model {path} should hold heights; the file is empty. Get it again."
        raise FileReadError(message)
    _check_sidecars(path)
    virtual = is_vrt(path)
    sources: list[Path] = []

    def check(source: Path) -> None:
        sources.append(source)
        _check_source(source)

    def agree(vrt: Path, text: str, parts: list[Part]) -> None:
        whole = _opened(text, ("VRT",))
        if whole is None:
            return
        with whole:
            for part in parts:
                source = _opened(part.name, ("VRT",) if part.name.startswith("<") else SOURCES)
                if source is not None:
                    with source:
                        check_part(vrt, whole, part, source, unit_stated=unit_stated)

    name = amended(path, given, check, agree) if virtual else str(path.absolute())
    found = _opened(name, ("VRT",) if virtual else DRIVERS)
    if found is None:
        message = (
            f"The elevation model {path} should be a GeoTIFF, a VRT, an ASCII grid or another kind that is "
            "read here; it is not, or is damaged. Make a GeoTIFF of it with gdal_translate, or get it again."
        )
        raise FileReadError(message)
    try:
        _check_blocks(path, found)
        check_sidecar(path, found)
    except ModelError:
        found.close()
        raise
    said = [] if virtual else map(Path, found.files)
    files = (each for file in (path.absolute(), *sources) for each in (file, *sidecars(file)))
    return found, tuple(dict.fromkeys((*files, *said)))


def _opened(name: str, drivers: Sequence[str]) -> Any:
    """Open by the first of the drivers that can; None where none can."""
    if not name.startswith("<") and names_lost_places(Path(name)):
        return None
    for driver in drivers:
        try:
            # A no-data value that the type cannot hold overflows where rasterio looks whether it can.
            with hushed(), np.errstate(over="ignore"):
                # Said as an error, in our words, when the transform is looked at.
                warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
                return _with_all_processors(rasterio.open(name, driver=driver))
        # A text in the file that is not UTF-8 comes out of rasterio as it is.
        except (rasterio.errors.RasterioError, UnicodeDecodeError):
            continue
    return None


def _check_sidecars(path: Path) -> None:
    """Refuse a file that has more beside it than GDAL could take in: it reads sidecars whole."""
    for beside in sidecars(path):
        if beside.suffix.lower() == ".xml" and beside.stat().st_size > MOST_SIDECAR_BYTES:
            message = (
                f"A file beside an elevation model should have at most {MOST_SIDECAR_BYTES // 2**20} MB; "
                f"{beside} has more. Take it away."
            )
            raise FileReadError(message)


def _check_source(path: Path) -> None:
    """Refuse a source of a VRT that is no raster file, or has blocks that are too large."""
    _check_sidecars(path)
    if is_vrt(path):
        return
    if is_tiff(path):
        _check_block(path, largest_block_bytes(path))
        if not sidecars(path) and not names_lost_places(path):
            return
    found = _opened(str(path), SOURCES)
    if found is None:
        message = (
            f"A virtual raster should name raster files ({', '.join(SOURCES)}, VRT); {path} is none, or is "
            "damaged. Make it a GeoTIFF first, for instance with gdal_translate."
        )
        raise FileReadError(message)
    with found:
        _check_blocks(path, found)
        check_sidecar(path, found)


def _check_blocks(path: Path, data: Any) -> None:
    sizes = [math.prod(shape) * np.dtype(kind).itemsize for shape, kind in _blocks(data)]
    # Masks and overviews in the file have blocks of their own.
    _check_block(path, max(sizes + ([largest_block_bytes(path)] if data.driver == "GTiff" else [])))


def _blocks(data: Any) -> Iterator[tuple[tuple[int, int], str]]:
    return zip(data.block_shapes, data.dtypes, strict=True)


def _check_block(path: Path, size: int) -> None:
    if size > MOST_BLOCK_BYTES:
        message = (
            f"The strips or tiles of an elevation model should have at most {MOST_BLOCK_BYTES // 2**20} MB; "
            f"{path} has one of {math.ceil(size / 2**20)}. Cut it anew, for instance with gdal_translate "
            "-co TILED=YES."
        )
        raise ModelError(message)


def _with_all_processors(data: Any) -> Any:
    """Let all processors unpack the tiles of one window, where a file's tiles are packed.

    A file has one reader at a time, and those who wait for it have processors to lend. Tiles that
    are not packed would be copied by them, which takes longer (measured), as does lending for a few.
    """
    packed = data.driver == "GTiff" and "COMPRESSION" in data.tags(ns="IMAGE_STRUCTURE")
    if not packed or data.width * data.height < FEW_CELLS:
        return data
    with data:
        threads = os.environ.get("GDAL_NUM_THREADS", "ALL_CPUS")
        return rasterio.open(data.name, driver="GTiff", num_threads=threads)
