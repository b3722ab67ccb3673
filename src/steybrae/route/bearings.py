"""Bearings: true, grid and magnetic, and the way from one to another.

Three norths, two angles between them, both positive towards the **east**::

    C   convergence    true north to grid north       true     = grid + C
    D   declination    true north to magnetic north   magnetic = true - D
    GM  grid magnetic  grid north to magnetic north   GM       = D - C
                                                      magnetic = grid - GM

(``GM`` is the "grid variation" of the World Magnetic Model's report.) Some agencies give
convergence with the other sign; PROJ has this one. A declination to the west and a needle
to the *east* of the grid go together over much of Scotland: the sign of D alone says
nothing about a map's grid.

All bearings are degrees clockwise, 0 to below 360, and every name carries its north.

The needle is that of the World Magnetic Model 2025 (NCEI and BGS), degree 12, for dates 2025.0 to
2030.0, not its high-resolution sister, which may differ from it by up to a degree. Coefficients and
synthesis come with pygeomag, inside the package; nothing is fetched.

The model is of the core's field alone. Rock, iron, electronics and magnetic storms turn
the needle further than the stated uncertainty allows for.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
import re
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from steybrae.errors import DateError, PlaceError, QuantityError, RouteError, one_of
from steybrae.frozen import dataclass
from steybrae.quantities import COVERAGE_K, MIL_PER_DEG
from steybrae.route.positions.grids import BNG_EPSG, grid_m, utm_epsg
from steybrae.route.positions.places import GRIDS, Place

if TYPE_CHECKING:
    from pyproj import Proj

MODEL: Final = "WMM2025"
"""Name of the model in use."""

LIFE_YEARS: Final = (2025.0, 2030.0)
"""Decimal years that the model covers (header of the coefficient file)."""

LAST_HALF_YEAR: Final = 2029.5
"""From here on a plan may outlive the model, decimal years (our choice)."""

BLACKOUT_NT: Final = 2000.0
"""Horizontal field below which compasses are of no use, nT (WMM technical report)."""

CAUTION_NT: Final = 6000.0
"""Horizontal field below which compasses are sluggish, nT (WMM technical report)."""

ERROR_FLOOR_DEG: Final = 0.26
"""Constant part of the published declination error, degrees (error model of WMM2025)."""

ERROR_TIMES_H: Final = 5417.0
"""Part that grows as the horizontal field falls, degrees times nT (error model of WMM2025)."""

HEIGHT_M: Final = (-1000.0, 850_000.0)
"""Heights that the model covers, metres (WMM technical report)."""


@dataclass(frozen=True)
class MagneticField:
    """Magnetic field at a place on a date.

    Attributes
    ----------
    declination_deg
        From true north to magnetic north, degrees, east positive, -180 to 180.
    declination_sigma_deg
        Published error of the model, one standard deviation, degrees.
    declination_uncertainty_95_deg
        The same at 95 %, k = 2, degrees.
    inclination_deg
        Dip below the horizontal, degrees, positive where the north end dips.
    horizontal_nt
        Horizontal strength that turns the needle, nT.
    decimal_year
        The date as the model takes it.
    model
        Name of the model.
    cautions
        Whole sentences: weak field, model near its end. May be empty.
    """

    declination_deg: float
    declination_sigma_deg: float
    declination_uncertainty_95_deg: float
    inclination_deg: float
    horizontal_nt: float
    decimal_year: float
    model: str
    cautions: tuple[str, ...]


def declination_sigma_deg(horizontal_nt: float) -> float:
    """State the error published for the model's declination: ``sqrt(0.26^2 + (5417 / H)^2)`` degrees.

    The sources at hand give the formula, with the horizontal field H in nT, without saying what
    share of cases it covers. It is set beside limits on the root-mean-square error, so it is taken
    as one standard deviation, the more careful reading. Infinite at H = 0.
    """
    if horizontal_nt <= 0.0:
        return math.inf
    return math.hypot(ERROR_FLOOR_DEG, ERROR_TIMES_H / horizontal_nt)


def decimal_year(date: dt.date) -> float:
    """Date as a decimal year, the start of the day as a share of its year: 2027.0 for 1 January 2027."""
    days = 366 if calendar.isleap(date.year) else 365
    return date.year + (date.timetuple().tm_yday - 1) / days


def declination(place: Place, elevation_m: float, date: dt.date) -> MagneticField:
    """Magnetic field at a place on a date, from the World Magnetic Model 2025.

    Parameters
    ----------
    elevation_m
        Height, metres, -1000 to 850 000. Above the ellipsoid by the letter; above the sea
        is as good, for 100 m change the declination by less than 0.001 degree.
    date
        When; 1 January 2025 to 1 January 2030.

    Returns
    -------
    MagneticField
        Declination and its uncertainty.

    Raises
    ------
    DateError
        The date lies outside the model, or the installed coefficients are of another model.
    PlaceError
        The horizontal field is below 2000 nT, where a compass is of no use, or the height
        lies outside the model.
    """
    year = decimal_year(date)
    if not LIFE_YEARS[0] <= year <= LIFE_YEARS[1]:
        message = (
            "The World Magnetic Model 2025 covers 1 January 2025 to 1 January 2030; got "
            f"{date.isoformat()}. Give a date within, or install a release with the next model."
        )
        raise DateError(message)
    if not HEIGHT_M[0] <= elevation_m <= HEIGHT_M[1]:
        message = (
            "The World Magnetic Model covers heights of -1000 to 850000 m; got "
            f"{elevation_m:g} m. Check the height and its unit."
        )
        raise PlaceError(message)
    return _field(place, elevation_m, year)


def _field(place: Place, elevation_m: float, year: float) -> MagneticField:
    found = _synthesis().calculate(
        glat=place.lat_deg, glon=place.lon_deg, alt=elevation_m / 1000.0, time=year
    )
    if found.h < BLACKOUT_NT:
        message = (
            f"A compass is of no use at {place.lat_deg:.2f}, {place.lon_deg:.2f}: the horizontal "
            f"field is {found.h:.0f} nT, below 2000 nT. Use true bearings and another means."
        )
        raise PlaceError(message)
    sigma_deg = declination_sigma_deg(found.h)
    return MagneticField(
        declination_deg=float(found.d),
        declination_sigma_deg=sigma_deg,
        declination_uncertainty_95_deg=COVERAGE_K * sigma_deg,
        inclination_deg=float(found.i),
        horizontal_nt=float(found.h),
        decimal_year=year,
        model=MODEL,
        cautions=_cautions(found.h, year),
    )


def _cautions(horizontal_nt: float, year: float) -> tuple[str, ...]:
    found = []
    if horizontal_nt < CAUTION_NT:
        found.append(
            f"The horizontal magnetic field is only {horizontal_nt:.0f} nT here, below 6000 nT: "
            "the needle is sluggish and easily turned aside."
        )
    if year >= LAST_HALF_YEAR:
        found.append(
            "The World Magnetic Model 2025 ends on 1 January 2030: take the next model for plans beyond."
        )
    return tuple(found)


@cache
def _synthesis() -> Any:
    from pygeomag import GeoMag  # noqa: PLC0415
    from pygeomag.wmm.wmm_2025 import WMM_2025  # noqa: PLC0415

    synthesis = GeoMag(coefficients_data=WMM_2025)
    _check_model(synthesis.model, synthesis.life_span)
    return synthesis


def _check_model(model: str, life_years: tuple[float, float]) -> None:
    if model != "WMM-2025" or tuple(life_years) != LIFE_YEARS:
        message = (
            f"Expected the coefficients of WMM-2025; pygeomag brings {model} for "
            f"{life_years[0]:g} to {life_years[1]:g}. Install pygeomag 1.1 or later."
        )
        raise DateError(message)


NORTHS: Final = ("true", "grid", "magnetic")
"""The norths that a bearing can be counted from."""

_BEARING: Final = re.compile(r"\s*(\d+(?:\.\d*)?)\s*(°|deg|degrees|degree|mils|mil|)\s*")


@dataclass(frozen=True)
class Bearing:
    """A bearing as typed: clockwise from ``true``, ``grid`` or ``magnetic`` north, 0 to below 360 degrees."""

    bearing_deg: float
    north: str


@dataclass(frozen=True)
class LegBearings:
    """Length and bearings of a straight leg, at its start.

    Attributes
    ----------
    length_m
        Geodesic length on WGS 84, metres.
    bearing_true_deg, bearing_grid_deg, bearing_magnetic_deg
        Direction of travel from the three norths, degrees, 0 to below 360.
    back_bearing_magnetic_deg
        The magnetic bearing turned by 180 degrees: what to read looking back.
    declination_deg
        Magnetic north east of true north, degrees.
    declination_uncertainty_deg
        Its uncertainty at 95 %, k = 2, degrees.
    convergence_deg
        Grid north east of true north, degrees; 0 where `grid` is ``latlon``.
    grid_magnetic_deg
        Magnetic north east of grid north, degrees, -180 to below 180.
    grid
        ``bng``, ``utm``, ``mgrs`` or ``latlon``; with the last, grid north is true north.
    field
        The magnetic field the figures rest on, with its cautions.
    """

    length_m: float
    bearing_true_deg: float
    bearing_grid_deg: float
    bearing_magnetic_deg: float
    back_bearing_magnetic_deg: float
    declination_deg: float
    declination_uncertainty_deg: float
    convergence_deg: float
    grid_magnetic_deg: float
    grid: str
    field: MagneticField


def _turned(bearing_deg: float) -> float:
    """Bring into 0 to below 360; the second step catches -1e-17, which becomes 360.0."""
    return bearing_deg % 360.0 % 360.0


def back_bearing_deg(bearing_deg: float) -> float:
    """Opposite direction, from the same north: ``bearing + 180``, 0 to below 360 degrees."""
    return _turned(bearing_deg + 180.0)


def bearing_difference_deg(from_deg: float, to_deg: float) -> float:
    """Shortest turn from one bearing to another of the same north, clockwise positive: -180 to below 180."""
    return _turned(to_deg - from_deg + 180.0) - 180.0


@cache
def _proj(epsg: int) -> Proj:
    from pyproj import Proj  # noqa: PLC0415

    return Proj(epsg)


def geodesic(start: Place, end: Place) -> tuple[float, float]:
    """Shortest line over the WGS 84 ellipsoid (Karney 2013, doi:10.1007/s00190-012-0578-z).

    Parameters
    ----------
    start, end
        Two different places.

    Returns
    -------
    tuple of float
        Length in metres, and the true bearing at the start in degrees, 0 to below 360.

    Raises
    ------
    RouteError
        The two are one place.
    """
    from steybrae.terrain.dem import EARTH  # noqa: PLC0415

    azimuth_deg, _, length_m = EARTH.inv(start.lon_deg, start.lat_deg, end.lon_deg, end.lat_deg)
    if length_m == 0.0:
        message = (
            f"A leg needs two different places; both lie at {start.lat_deg:.5f}, "
            f"{start.lon_deg:.5f}. Drop one of them."
        )
        raise RouteError(message)
    return float(length_m), _turned(float(azimuth_deg))


def convergence_deg(place: Place, grid: str) -> float:
    """Meridian convergence: degrees from true north to grid north, east positive.

    About ``(longitude - central meridian) * sin(latitude)``; 0 for ``latlon``. `PlaceError` where
    there is no such grid, or the place lies beyond it.
    """
    one_of(grid, GRIDS, "A grid", PlaceError)
    if grid == "latlon":
        return 0.0
    epsg = BNG_EPSG if grid == "bng" else utm_epsg(place.lat_deg, place.lon_deg)
    # PROJ wants degrees on the grid's own datum: OSGB36 for the National Grid.
    proj = _proj(epsg)
    lon_deg, lat_deg = proj(*grid_m(epsg, place.lat_deg, place.lon_deg), inverse=True)
    return float(proj.get_factors(lon_deg, lat_deg).meridian_convergence)


def leg_bearings(
    start: Place, end: Place, date: dt.date, grid: str = "utm", elevation_m: float = 0.0
) -> LegBearings:
    """Length and bearings of a leg; the formulas stand at the head of the module.

    Convergence and declination are taken at the start (height in metres), where the bearing is set.
    What it refuses: see `geodesic`, `convergence_deg` and
    `steybrae.route.bearings.declination`.
    """
    length_m, true_deg = geodesic(start, end)
    converges_deg = convergence_deg(start, grid)
    field = declination(start, elevation_m, date)
    magnetic_deg = _turned(true_deg - field.declination_deg)
    return LegBearings(
        length_m=length_m,
        bearing_true_deg=true_deg,
        bearing_grid_deg=_turned(true_deg - converges_deg),
        bearing_magnetic_deg=magnetic_deg,
        back_bearing_magnetic_deg=back_bearing_deg(magnetic_deg),
        declination_deg=field.declination_deg,
        declination_uncertainty_deg=field.declination_uncertainty_95_deg,
        convergence_deg=converges_deg,
        grid_magnetic_deg=bearing_difference_deg(converges_deg, field.declination_deg),
        grid=grid,
        field=field,
    )


def parse_bearing(text: str, north: str | None, date: dt.date | None = None) -> Bearing:
    """Read a bearing as typed: ``99``, ``099°``, ``99.5deg``, ``1760mil``.

    Parameters
    ----------
    text
        A number, degrees unless it says mil; 0 to 360 degrees.
    north
        ``true``, ``grid`` or ``magnetic``; None is refused, for nothing says which is meant.
    date
        Day of a magnetic bearing; None is refused for such.

    Returns
    -------
    Bearing
        Degrees, 0 to below 360, with its north.

    Raises
    ------
    QuantityError
        Unreadable or out of range, no north, or magnetic and no date.
    """
    if north not in NORTHS:
        got = "none" if north is None else repr(north)
        message = (
            f"The bearing {text!r} needs its north, one of true, grid and magnetic; got {got}. Add --north."
        )
        raise QuantityError(message)
    if north == "magnetic" and date is None:
        message = (
            f"The magnetic bearing {text!r} needs a date, for magnetic north wanders; got none. Add --date."
        )
        raise QuantityError(message)
    found = _BEARING.fullmatch(text.lower())
    per_deg = MIL_PER_DEG if found is not None and found[2].startswith("mil") else 1.0
    value_deg = float(found[1]) / per_deg if found is not None else math.nan
    if not 0.0 <= value_deg <= 360.0:
        message = (
            "A bearing should look like 099, 99deg or 1760mil and lie between 0 and 360 degrees; "
            f"got {text!r}. Check number and unit."
        )
        raise QuantityError(message)
    return Bearing(_turned(value_deg), north)


def true_bearing_deg(bearing: Bearing, place: Place, date: dt.date | None = None, grid: str = "utm") -> float:
    """Bearing from true north: ``grid + C`` or ``magnetic + D``.

    Parameters
    ----------
    date
        When; needed for a magnetic bearing only.
    grid
        Whose grid; needed for a grid bearing only.

    Returns
    -------
    float
        Degrees, 0 to below 360.

    Raises
    ------
    QuantityError
        Magnetic, and no date.
    """
    if bearing.north == "grid":
        return _turned(bearing.bearing_deg + convergence_deg(place, grid))
    if bearing.north == "magnetic":
        if date is None:
            message = "A magnetic bearing needs a date to be turned to true north. Add --date."
            raise QuantityError(message)
        return _turned(bearing.bearing_deg + declination(place, 0.0, date).declination_deg)
    return bearing.bearing_deg
