"""Where raster files lie: several that share their cells are one grid."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from contextlib import suppress
from functools import cached_property
from itertools import product
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyproj
import rasterio.errors
import rasterio.windows
from rasterio.enums import ColorInterp

from steybrae.errors import FileReadError, ModelError
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.quantities import LAND_HEIGHTS_M
from steybrae.terrain.dem import Array, Grid, horizontal_crs
from steybrae.terrain.examine.planes import GapRule, gap_rule

MOST_CELLS: Final = 2**40
"""Largest grid that several tiles may span, cells; beyond it they are not one model (our choice)."""

RAW: Final = ("EHdr", "ENVI")
"""Drivers whose heights stand in a file of nothing else, its size said in a header beside it."""

EARTH_RADII_M: Final = (6.3e6, 6.4e6)
"""Semi-axes of the ellipsoids that surveys of the earth use lie between (EPSG's list, from memory)."""

CELLS: Final = (1e-9, 1e9)
"""Least and greatest side of a cell, units of its CRS (our choice: a metre is 1e-5 degrees)."""

FARTHEST: Final = 1e12
"""Greatest coordinate of a corner, units of its CRS (our choice)."""

SHORE_M: Final = 50.0
"""Least height over a stored 0 of all land beside it where there is no shore, metres (our choice)."""

WHOLE_CELLS: Final = 2**20
"""Largest file that is looked at wholly for a shore, cells (our choice)."""

_LOOKS, _LOOK_CELLS = 8, 40
"""Squares along each side of a file that tell what its numbers are, and their side in cells (our choice)."""

MOST_REASON: Final = 160
"""Most characters of GDAL's own words in an error (our choice)."""

DEGREE_M: Final = 111_000.0
"""A degree of latitude, metres, for telling fine cells from coarse ones."""

LEAST_TURN: Final = 1e-6
"""Sine of the angle between rows and columns below which they have one direction (our choice)."""

MOST_LONG: Final = 1e3
"""How many times as long as wide a cell may be (our choice): more is a transform in another order."""

_NAMELESS: Final = ("unknown", "unnamed")
"""How GDAL's and PROJ's names of a datum begin where only its ellipsoid is given."""


@dataclass(frozen=True)
class RasterFile:
    """A file as the user named it, open."""

    name: str
    data: Any


@dataclass(frozen=True)
class Tile:
    """An open raster and where it lies in the whole grid.

    Attributes
    ----------
    name, data
        As `RasterFile`.
    row, col
        Of the whole grid, where it begins.
    step_m, offset_m
        Metres in one step of its numbers, and the height of 0.
    """

    name: str
    data: Any
    row: int
    col: int
    step_m: float
    offset_m: float

    def shared_with(self, row: int, col: int, rows: int, cols: int) -> tuple[int, int, int, int]:
        """First row and column that a window and the tile share, and those after the last."""
        return (
            max(row, self.row),
            max(col, self.col),
            min(row + rows, self.row + self.data.height),
            min(col + cols, self.col + self.data.width),
        )

    @cached_property
    def zero_is_missing(self) -> bool:
        """Whether a number 0 is missing ground that nobody declared: all land beside it stands high above.

        With a shore, or where no land beside it was seen, it is a height: land may be there, and heights of
        one number have a caution.
        """
        size = self.data.height, self.data.width
        looked_at = self._read(0, 0, size)[None] if math.prod(size) <= WHOLE_CELLS else self._squares
        beside: list[float] = []
        for heights_m in looked_at:
            near = np.pad(heights_m == self.offset_m, 1)
            near = near[:-2] | near[1:-1] | near[2:]
            near = near[:, :-2] | near[:, 1:-1] | near[:, 2:]
            above = np.abs(heights_m[near] - self.offset_m)
            beside.append(float(np.min(above[above > 0.0], initial=math.inf)))
        return SHORE_M <= min(beside) < math.inf

    @cached_property
    def gap_rule(self) -> GapRule | None:
        """How gaps that were filled up are told in it; see `steybrae.terrain.examine.planes.gap_rule`."""
        crs = self.data.crs
        unit_m = DEGREE_M if crs is not None and crs.is_geographic else 1.0
        return gap_rule(self._squares, unit_m * abs(self.data.transform.determinant) ** 0.5)

    @cached_property
    def _squares(self) -> Array:
        """Heights of squares spread over the file, metres, so that every reader of it says the same."""
        size = self.data.height, self.data.width
        sides = min(_LOOK_CELLS, size[0]), min(_LOOK_CELLS, size[1])
        rows, cols = (
            np.unique(np.linspace(0, end - side, _LOOKS).astype(int)).tolist()
            for end, side in zip(size, sides, strict=True)
        )
        return np.stack([self._read(row, col, sides) for row, col in product(rows, cols)])

    def _read(self, row: int, col: int, size: tuple[int, int]) -> Array:
        """Heights of a window, metres, NaN where no land has them or a block is damaged."""
        found = np.full(size, np.nan)
        with suppress(rasterio.errors.RasterioError):  # who needs that block is told of the damage
            self.data.read(1, window=rasterio.windows.Window(col, row, *size[::-1]), out=found[...])
        with np.errstate(over="ignore", invalid="ignore"):
            found = found * self.step_m + self.offset_m
        low, high = LAND_HEIGHTS_M
        return np.where((found >= low) & (found <= high), found, np.nan)


def check_band(file: RasterFile) -> None:
    """Refuse a file that was cut short, has not one band of real numbers, or holds no heights."""
    data = file.data
    if data.count != 1:
        message = (
            f"The elevation model {file.name} should have one band of heights; it has {data.count}. "
            "Take the height band out first, for instance with gdal_translate -b 1."
        )
        raise ModelError(message)
    if np.dtype(data.dtypes[0]).kind not in "iuf":
        message = (
            f"The elevation model {file.name} should hold real numbers; its band is of type "
            f"{data.dtypes[0]}. Give heights."
        )
        raise ModelError(message)
    _check_heights(file)
    _check_whole(file)


def _check_heights(file: RasterFile) -> None:
    """Refuse a raster of ours, and one with a palette: taken for heights, bands are level ground."""
    tags: dict[str, str] = {}
    with suppress(AttributeError, UnicodeDecodeError):  # an array has none; those of others may be no text
        tags = file.data.tags()
    ours = tags.get("WHAT") if tags.get("MADE_BY", "").startswith("steybrae ") else None
    try:
        palette = ColorInterp.palette in getattr(file.data, "colorinterp", ())
    except Exception as error:  # whatever GDAL says here of a damaged mask beside the file
        reason = " ".join(str(error).split())[:MOST_REASON]
        message = f"The elevation model {file.name} should be readable; it is not ({reason}). Get it again."
        raise FileReadError(message) from error
    if ours is None and not palette:
        return
    held = f"what steybrae area made ({clean(ours):.40})" if ours else "classes or colours, by its palette"
    message = (
        f"The elevation model {file.name} should hold heights; it holds {held}. Give the model of the ground "
        "itself."
    )
    raise ModelError(message)


def _check_whole(file: RasterFile) -> None:
    """Refuse plain numbers that end before the last cell, or after: it is another kind of file.

    GDAL gives what is missing as zeros, and takes any file beside a header as plain numbers.
    """
    data = file.data
    if data.driver not in RAW:
        return
    header = " ".join(
        Path(name).read_text("latin-1") for name in data.files if Path(name).suffix.lower() == ".hdr"
    )
    skipped = re.search(r"(?:skipbytes|header offset)[\s=]+(\d+)", header, re.IGNORECASE)
    need = data.width * data.height * np.dtype(data.dtypes[0]).itemsize + int(skipped[1] if skipped else 0)
    size = Path(file.name).stat().st_size
    if size != need:
        reason = (
            "It was cut short: get the file again."
            if size < need
            else "The .hdr beside it may be of another file: make it a GeoTIFF in a folder of its own."
        )
        message = (
            f"The elevation model {file.name} should have {need} bytes for its {data.height} x {data.width} "
            f"heights; it has {size}. {reason}"
        )
        raise FileReadError(message)


def join(opened: Sequence[RasterFile], unit_m: float) -> tuple[Grid, list[Tile]]:
    """Smallest grid over all open files, the first of which leads, and where each lies in it.

    Tiles in degrees on either side of the antimeridian are brought side by side. `ModelError` for
    no place on the earth, numbers that are no heights, or tiles whose CRS or cells differ.
    """
    first = opened[0]
    base = grid_of(first)
    places = [(0, 0)]
    for file in opened[1:]:
        places.append(_offset(base, grid_of(file), first.name, file.name))
    top = min(row for row, _ in places)
    left = min(col for _, col in places)
    bottom = max(row + file.data.height for (row, _), file in zip(places, opened, strict=True))
    right = max(col + file.data.width for (_, col), file in zip(places, opened, strict=True))
    if (bottom - top) * (right - left) > MOST_CELLS:
        message = (
            f"The tiles should lie near each other; together they span {bottom - top} x "
            f"{right - left} cells. Give only those the line needs."
        )
        raise ModelError(message)
    tiles = [
        Tile(file.name, file.data, row - top, col - left, *_steps_m(file, unit_m))
        for (row, col), file in zip(places, opened, strict=True)
    ]
    return base.part(top, left, bottom - top, right - left), tiles


def _steps_m(file: RasterFile, unit_m: float) -> tuple[float, float]:
    """Metres in one step of a file's numbers, and the height of 0."""
    scale, offset = file.data.scales[0], file.data.offsets[0]
    if scale == 0.0 or not (math.isfinite(scale) and math.isfinite(offset)):
        message = (
            f"The elevation model {file.name} should say how its numbers become heights; its scale is "
            f"{scale:g} and its offset {offset:g}. A scale of 0 also comes from a comma in the number. "
            "Set it anew, for instance with gdal_edit.py -scale 0.1."
        )
        raise ModelError(message)
    return scale * unit_m, offset * unit_m


def scaling_words(opened: Sequence[RasterFile]) -> str:
    """Say which scale and offset the files state; an empty string where they state none."""
    found: dict[tuple[float, float], str] = {}
    for file in opened:
        found.setdefault((file.data.scales[0], file.data.offsets[0]), clean(Path(file.name).name))
    if set(found) == {(1.0, 0.0)}:
        return ""
    said = "; ".join(f"{scale:g} and {offset:g} ({name})" for (scale, offset), name in found.items())
    return (
        "The numbers of the model become heights by a scale and an offset that its files state: "
        f"{said:.300}. Where they are wrong every slope is: compare a height with the map."
    )


def _crs_of(file: RasterFile) -> tuple[str, bool]:
    """CRS as text, and whether the file names its datum."""
    data = file.data
    if data.crs is None:
        horizontal_crs(None)
    try:
        # An authority's code brings PROJ's area-wise datum shifts, which WKT alone may not.
        code = data.crs.to_epsg()
        written = horizontal_crs(data.crs.to_wkt())
        found = horizontal_crs(f"EPSG:{code}") if code else written
    except (pyproj.exceptions.CRSError, rasterio.errors.CRSError) as error:
        message = (
            f"The elevation model {file.name} should have a CRS that PROJ knows; it has another "
            f"({error!s:.200}). Set it anew, for instance with gdal_translate -a_srs EPSG:27700."
        )
        raise ModelError(message) from error
    authority = found.to_authority(min_confidence=100)
    text = ":".join(authority) if authority else found.to_wkt()
    _check_earth(file, found, text)
    # Given an ellipsoid alone, the code above is the likeliest system on it: a good guess, and unsaid.
    named = written.datum is not None and not written.datum.name.lower().startswith(_NAMELESS)
    return text, named


def _check_earth(file: RasterFile, crs: pyproj.CRS, text: str) -> None:
    """Refuse other bodies, and systems from which nothing leads to a GPS position; `text` is what is used."""
    body = crs.ellipsoid
    low, high = EARTH_RADII_M
    on_earth = body is not None and low <= body.semi_minor_metre <= body.semi_major_metre <= high
    try:
        if on_earth:
            Grid((1.0, 0.0, 0.0, 0.0, 1.0, 0.0), text, (1, 1)).to_wgs84(0.0, 0.0)
    except pyproj.exceptions.ProjError:
        on_earth = False
    if not on_earth:
        message = (
            f"The elevation model {file.name} should lie on the earth; its CRS {crs.name!r:.80} has no "
            "way to GPS positions (WGS 84). Set it anew, for instance with gdal_translate -a_srs EPSG:27700."
        )
        raise ModelError(message)


def _usable(transform: tuple[float, ...]) -> bool:
    """Tell a transform whose cells have a size and two directions."""
    a, b, c, d, e, f = transform
    sizes = math.hypot(a, d), math.hypot(b, e)
    if not all(map(math.isfinite, transform)) or not all(CELLS[0] <= size <= CELLS[1] for size in sizes):
        return False
    if max(sizes) > MOST_LONG * min(sizes):
        return False
    return max(abs(c), abs(f)) <= FARTHEST and abs(a * e - b * d) >= LEAST_TURN * sizes[0] * sizes[1]


def grid_of(file: RasterFile) -> Grid:
    """Grid of a file; `ModelError` where it does not say in a way that can be used where its cells lie."""
    transform = file.data.transform
    found = (transform.a, transform.b, transform.c, transform.d, transform.e, transform.f)
    if not _usable(found):
        message = (
            f"The elevation model {file.name} should say where its cells lie; its transform "
            "is not usable. Georeference it first."
        )
        raise ModelError(message)
    if transform.is_identity:
        message = (
            f"The elevation model {file.name} should say where its cells lie; it has no transform. "
            "Georeference it first."
        )
        raise ModelError(message)
    crs, datum_named = _crs_of(file)
    return Grid(found, crs, (file.data.height, file.data.width), datum_named)


def _offset(base: Grid, grid: Grid, base_name: str, name: str) -> tuple[int, int]:
    if not base.crs.equals(grid.crs, ignore_axis_order=True):
        message = (
            f"Tiles should share one CRS; {base_name} has {base.crs.name!r} and {name} has "
            f"{grid.crs.name!r}. Bring them into one with gdalwarp."
        )
        raise ModelError(message)
    steps = np.array([base.transform[k] - grid.transform[k] for k in (0, 1, 3, 4)])
    size = max(abs(base.transform[k]) for k in (0, 1, 3, 4))
    col, row = (float(v) for v in base.colrow(grid.transform[2] + _turns_x(base, grid), grid.transform[5]))
    # A hundredth of a cell is rounding in the files; more moves slopes.
    fits = abs(col - round(col)) < 0.01 and abs(row - round(row)) < 0.01
    if np.abs(steps).max() * max(grid.shape) > 0.01 * size or not fits:
        message = (
            f"Tiles should have the same cells; those of {name} do not fall on those of {base_name}. "
            "Bring them onto one grid with gdalwarp -tap -tr."
        )
        raise ModelError(message)
    return round(row), round(col)


def _turns_x(base: Grid, grid: Grid) -> float:
    """Whole turns round the earth that bring one grid in degrees nearest to another; 0 in others."""
    if not base.crs.is_geographic:
        return 0.0
    turn = 2.0 * math.pi / base.crs.axis_info[0].unit_conversion_factor
    (here, _), (there, _) = (g.xy(g.shape[1] / 2, g.shape[0] / 2) for g in (base, grid))
    return turn * round(float(here - there) / turn)
