"""A grid of heights and where it lies on the earth.

Positions in a grid are ``col`` (to the right) and ``row`` (down), counted in cells from the
outer corner of the first cell: the centre of cell ``[row, col]`` is ``(col + 0.5, row + 0.5)``.
Arrays are ``[row, col]``; functions take ``col, row`` as they would x, y.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import Any, Final, Protocol

import numpy as np
import pyproj
from numpy.typing import ArrayLike, NDArray
from pyproj.enums import TransformDirection
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]
from pyproj.transformer import TransformerGroup

from steybrae.cautions import HeightsRead
from steybrae.errors import ModelError, hushed
from steybrae.frozen import dataclass

Array = NDArray[np.float64]
"""An array of floats; NaN is unknown."""

WGS84: Final = "EPSG:4326"
"""CRS of GPS positions and of every latitude and longitude in the results."""

# Whatever the environment says: PROJ would fetch grids of datum shifts, and a plan would change with them.
set_network_enabled(False)

EARTH: Final = pyproj.Geod(ellps="WGS84")
"""The ellipsoid of every geodesic."""

_LINKED_TO_EARTH: Final = ("Geographic", "Projected", "Derived Geographic", "Derived Projected")


def horizontal_crs(crs: Any) -> pyproj.CRS:
    """Horizontal part of anything that tells a CRS: two-dimensional, geographic or projected.

    `ModelError` without one, and for a local (engineering) or a geocentric one: no link to the
    earth.
    """
    if crs is None:
        message = (
            "The elevation model should say its coordinate reference system; it has none. "
            "Add it, for instance with gdal_translate -a_srs EPSG:27700."
        )
        raise ModelError(message)
    found = pyproj.CRS.from_user_input(crs)
    while found.is_compound:
        found = found.sub_crs_list[0]
    while found.is_bound and found.source_crs is not None:
        found = found.source_crs
    if not found.type_name.startswith(_LINKED_TO_EARTH) or found.geodetic_crs is None:
        message = (
            "The elevation model should lie on the earth (geographic or projected CRS); "
            f"its CRS {found.name!r} is of the kind {found.type_name!r}. Give a georeferenced model."
        )
        raise ModelError(message)
    return found.to_2d()


def _in_degrees(measured: Any) -> float:
    """Degrees in the unit of an axis or a prime meridian; exactly 1 for degrees."""
    return float(round(math.degrees(measured.unit_conversion_factor), 12))


@lru_cache(maxsize=32)
def _transformer(source: str, target: str) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(source, target, always_xy=True)


# Every window of a model has a grid of its own: what belongs to the CRS is made once.
@lru_cache(maxsize=32)
def _crs(wkt: str) -> pyproj.CRS:
    return pyproj.CRS.from_user_input(wkt)


@lru_cache(maxsize=32)
def _geodetic(wkt: str) -> str:
    geodetic = _crs(wkt).geodetic_crs
    assert geodetic is not None  # noqa: S101  horizontal_crs refuses others
    return geodetic.to_2d().to_wkt()


@lru_cache(maxsize=32)
def _degrees(geodetic_wkt: str) -> tuple[float, float]:
    geodetic = _crs(geodetic_wkt)
    meridian = geodetic.prime_meridian
    east_deg = 0.0 if meridian is None else meridian.longitude * _in_degrees(meridian)
    return _in_degrees(geodetic.axis_info[0]), east_deg


@dataclass(frozen=True)
class Grid:
    """Where a grid lies.

    Attributes
    ----------
    transform
        ``(a, b, c, d, e, f)``: ``x = a col + b row + c``, ``y = d col + e row + f``, in the
        units and the x, y order (east, north or longitude, latitude) of the CRS.
    crs_wkt
        Horizontal CRS as WKT or as an authority code.
    shape
        ``(rows, cols)``.
    datum_named
        False where the file names no datum, so that the CRS's is a guess by its ellipsoid.
    """

    transform: tuple[float, float, float, float, float, float]
    crs_wkt: str
    shape: tuple[int, int]
    datum_named: bool = True

    @property
    def crs(self) -> pyproj.CRS:
        """The CRS as an object."""
        return _crs(self.crs_wkt)

    @property
    def _geodetic(self) -> str:
        return _geodetic(self.crs_wkt)

    @property
    def _degrees(self) -> tuple[float, float]:
        """Degrees in the unit of the geodetic CRS, and its prime meridian east of Greenwich.

        Some older national systems count in grads from Paris.
        """
        return _degrees(self._geodetic)

    def xy(self, col: ArrayLike, row: ArrayLike) -> tuple[Array, Array]:
        """Position in the CRS of a position in the grid."""
        a, b, c, d, e, f = self.transform
        col, row = np.asarray(col, dtype=float), np.asarray(row, dtype=float)
        return a * col + b * row + c, d * col + e * row + f

    def colrow(self, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
        """Position in the grid of a position in the CRS; the inverse of `xy`."""
        a, b, c, d, e, f = self.transform
        dx, dy = np.asarray(x, dtype=float) - c, np.asarray(y, dtype=float) - f
        determinant = a * e - b * d
        with np.errstate(invalid="ignore"):  # where PROJ has no answer: infinity times 0
            return (e * dx - b * dy) / determinant, (a * dy - d * dx) / determinant

    def own_lonlat(self, col: ArrayLike, row: ArrayLike) -> tuple[Array, Array]:
        """Longitude from Greenwich and latitude, degrees, on the CRS's own datum (no datum shift)."""
        x, y = self.xy(col, row)
        lon, lat = _transformer(self.crs_wkt, self._geodetic).transform(x, y)
        unit_deg, meridian_deg = self._degrees
        return np.asarray(lon) * unit_deg + meridian_deg, np.asarray(lat) * unit_deg

    def to_wgs84(self, col: ArrayLike, row: ArrayLike) -> tuple[Array, Array]:
        """Longitude (-180 to 180) and latitude on WGS 84, degrees, infinite where PROJ has no answer."""
        x, y = self.xy(col, row)
        # The way there turned round: a second operation takes PROJ 20 ms to find, and could be another.
        lon, lat = _transformer(WGS84, self.crs_wkt).transform(x, y, direction=TransformDirection.INVERSE)
        lon = np.asarray(lon)
        # A grid in degrees over the antimeridian counts on beyond 180.
        turns = np.where(np.isfinite(lon), np.round(lon / 360.0), 0.0)
        return np.asarray(lon - 360.0 * turns), np.asarray(lat)

    def from_wgs84(self, lon_deg: ArrayLike, lat_deg: ArrayLike) -> tuple[Array, Array]:
        """Position in the grid of a WGS 84 position; infinite or NaN where PROJ has no answer.

        On a geographic grid the longitude is taken round the earth to the side on which
        the grid lies, so that a grid over the antimeridian is met from both sides.
        """
        x, y = _transformer(WGS84, self.crs_wkt).transform(
            np.asarray(lon_deg, dtype=float), np.asarray(lat_deg, dtype=float)
        )
        if self.crs.is_geographic:
            rows, cols = self.shape
            middle, _ = self.xy(cols / 2, rows / 2)
            turn = 360.0 / self._degrees[0]
            x = middle + np.remainder(np.asarray(x) - middle + turn / 2.0, turn) - turn / 2.0
        return self.colrow(x, y)

    @cached_property
    def datum_accuracy_m(self) -> float | None:
        """Accuracy of the shift between WGS 84 and the CRS's datum, metres; None if not known.

        As PROJ states it for the operation it uses over the whole area, without national
        grid-shift files; 0 where the datums are taken as one. Where PROJ knows no operation for
        the place it takes the datums as one and states nothing: then it is how far that may be
        out by the operations known for other places, see `_furthest_m`. So it is about 12 m for
        NAD83 outside the United States and Canada, whose origin lies some 2 m from that of WGS 84
        (D. Doyle, National Geodetic Survey, "NAD 83 vs WGS 84", 10 May 2000), and more than
        100 m for NAD27 or OSGB36. None where the file names no datum.
        """
        rows, cols = self.shape
        corners_lon, corners_lat = self.own_lonlat([0, cols, cols, 0], [0, 0, rows, rows])
        if not np.isfinite(corners_lon).all():
            return None
        # Newer PROJ states no accuracy for a mere projection, which shifts nothing.
        if _crs(self._geodetic).equals(_crs(WGS84), ignore_axis_order=True):
            return 0.0
        if not self.datum_named:
            return None
        transformer = _transformer(WGS84, self.crs_wkt)
        place = (float(corners_lon.mean()), float(corners_lat.mean()))
        transformer.transform(*place)
        try:
            accuracy = float(transformer.get_last_used_operation().accuracy)
        except pyproj.exceptions.ProjError:
            # PROJ names the operation it used only where it had to choose among several.
            accuracy = float(transformer.accuracy)
        return self._furthest_m(*place) if accuracy < 0 else accuracy

    def _furthest_m(self, lon_deg: float, lat_deg: float) -> float | None:
        """Distance from where PROJ puts a WGS 84 position to where any shift to the datum might, metres.

        The largest, over every operation that PROJ knows for the datum wherever in the world
        and can do without grid-shift files, of the distance and that operation's stated
        accuracy together (our reading: a datum lies nowhere further off than that). None where
        it knows none, or one of no stated accuracy.
        """
        own_lon, own_lat = self.own_lonlat(*self.from_wgs84(lon_deg, lat_deg))
        with hushed():
            warnings.filterwarnings("ignore", message="Best transformation is not available")
            known = TransformerGroup(WGS84, self._geodetic, always_xy=True, allow_ballpark=False).transformers
        unit_deg, meridian_deg = self._degrees
        furthest_m = -1.0
        for shift in known:
            lon, lat = shift.transform(lon_deg, lat_deg)
            to = (lon * unit_deg + meridian_deg, lat * unit_deg)
            _, _, apart_m = EARTH.inv(float(own_lon), float(own_lat), *to)
            if shift.accuracy < 0 or not math.isfinite(apart_m):
                return None
            furthest_m = max(furthest_m, apart_m + shift.accuracy)
        return furthest_m if known else None

    def part(self, row: int, col: int, rows: int, cols: int) -> Grid:
        """Grid of a window whose first cell is ``[row, col]``; it may reach outside."""
        a, b, _, d, e, _ = self.transform
        x, y = self.xy(col, row)
        return Grid((a, b, float(x), d, e, float(y)), self.crs_wkt, (rows, cols), self.datum_named)


class DemSource(Protocol):
    """What gives heights by windows: a file, several, or a `Dem` in memory."""

    @property
    def grid(self) -> Grid:
        """Grid of the whole model."""

    @property
    def heights_read(self) -> HeightsRead:
        """What was met among the heights read so far."""

    def count_anew(self) -> None:
        """Forget what was met among the heights read so far."""

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        """Window whose first cell is ``[row, col]``; NaN where it reaches outside."""


@dataclass(frozen=True, eq=False)
class Dem:
    """Heights on a grid, in memory.

    Attributes
    ----------
    grid
        Where they lie.
    heights_m
        ``[row, col]``, metres, float64, read-only; NaN is unknown.
    others_m
        Where files that overlap differ: the same with the second that knows a cell in place of the first,
        with the third, and so on.

    Raises
    ------
    ModelError
        The array is not of the grid's shape.
    """

    grid: Grid
    heights_m: Array
    others_m: tuple[Array, ...] = ()

    def __post_init__(self) -> None:
        """Make the heights read-only, infinities unknown."""
        heights = np.array(self.heights_m, dtype=np.float64)
        if heights.shape != self.grid.shape:
            message = (
                f"Heights should have the grid's shape {self.grid.shape}; got {heights.shape}. "
                "Give rows first, then columns."
            )
            raise ModelError(message)
        heights[~np.isfinite(heights)] = np.nan
        heights.flags.writeable = False
        object.__setattr__(self, "heights_m", heights)

    @property
    def every_m(self) -> tuple[Array, ...]:
        """Heights as each source has them: of what they tell the steeper leads."""
        return self.heights_m, *self.others_m

    @property
    def heights_read(self) -> HeightsRead:
        """Nothing: what a caller makes is taken as it is."""
        return HeightsRead()

    def count_anew(self) -> None:
        """Nothing is counted."""

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        """Window of it; see `DemSource`."""
        out = np.full((rows, cols), np.nan)
        r0, r1 = max(row, 0), min(row + rows, self.grid.shape[0])
        c0, c1 = max(col, 0), min(col + cols, self.grid.shape[1])
        if r0 < r1 and c0 < c1:
            out[r0 - row : r1 - row, c0 - col : c1 - col] = self.heights_m[r0:r1, c0:c1]
        return Dem(self.grid.part(row, col, rows, cols), out)


def window_round(
    source: DemSource, at: tuple[float, float], margin: Sequence[int]
) -> tuple[Dem, tuple[float, float]]:
    """Window of so many cells to each side, across and along, of that of a place; the place in it.

    The place is its column and row, cells.
    """
    (left, across), (top, along) = ((math.floor(k) - n, 2 * n + 1) for k, n in zip(at, margin, strict=True))
    return source.read(top, left, along, across), (at[0] - left, at[1] - top)


MOST_CELLS_SLOPES: Final = 4_000_000
"""Most cells of one window whose slopes are worked out (our choice: 0.9 GB with all that goes with them,
measured; a circle of 500 m on cells of half a metre)."""

MOST_CELLS_OVERHEAD: Final = 6_000_000
"""Most joined cells of one window that is looked up in (our choice: 0.9 GB, measured; 10 km to every side
on cells of 10 m)."""


def check_cells(rows: int, cols: int, most: int, what: str, instead: str) -> None:
    """Refuse a window of more cells than `most`.

    `what` is which ground it is, as a subject; `instead` what the user may do, besides giving a
    coarser model.
    """
    if rows * cols > most:
        message = (
            f"{what} should span at most {most // 10**6} million cells of the model; it spans {rows} x {cols}"
            f". Give {instead}, or a coarser model."
        )
        raise ModelError(message)
