"""The earth's magnetic field: which way the needle points, and how well that is known.

World Magnetic Model 2025 (NCEI and BGS), degree 12, for dates 2025.0 to 2030.0, not its
high-resolution sister, which may differ from it by up to a degree. Coefficients and
synthesis come with pygeomag, inside the package; nothing is fetched.

The model is of the core's field alone. Rock, iron, electronics and magnetic storms turn
the needle further than the stated uncertainty allows for.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from functools import cache
from typing import Any, Final

from steybrae.errors import DateError, PlaceError
from steybrae.frozen import dataclass
from steybrae.quantities import COVERAGE_K
from steybrae.route.positions.places import Place

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
