"""Grid references as written: cut off to the square that holds the place, never rounded."""

from __future__ import annotations

import math
from typing import Final

from steybrae.errors import PlaceError
from steybrae.route.positions.grids import (
    BNG_EPSG,
    GRID_LETTERS,
    grid_m,
    mgrs_library,
    on_bng,
    utm_epsg,
)

CUT_SLACK_M: Final = 0.001
"""A place this little below a grid line is on it, metres: the shift comes back within 1 mm."""


def _check_figures(figures: int) -> int:
    if figures not in (2, 4, 6, 8, 10):
        message = f"A grid reference has 2, 4, 6, 8 or 10 figures; got {figures}. Choose one."
        raise PlaceError(message)
    return figures // 2


def _cut_m(value_m: float) -> int:
    return math.floor(value_m + CUT_SLACK_M)


def bng_text(lat_deg: float, lon_deg: float, figures: int = 8) -> str:
    """Ordnance Survey grid reference, cut off to the square that holds the place.

    Parameters
    ----------
    lat_deg, lon_deg
        Degrees on WGS 84.
    figures
        Figures in all, even, 2 to 10.

    Returns
    -------
    str
        ``HX 1660 7120``.

    Raises
    ------
    PlaceError
        Off the National Grid, or such figures as there are none.
    """
    half = _check_figures(figures)
    east_m, north_m = grid_m(BNG_EPSG, lat_deg, lon_deg)
    if not on_bng(east_m, north_m):
        message = (
            f"The place {lat_deg:.5f}, {lon_deg:.5f} lies off the British National Grid. "
            "Choose the grid utm, mgrs or latlon."
        )
        raise PlaceError(message)
    column, row = _cut_m(east_m) // 100_000, _cut_m(north_m) // 100_000
    outer = GRID_LETTERS[5 * (3 - row // 5) + (column + 10) // 5]
    inner = GRID_LETTERS[5 * (4 - row % 5) + column % 5]
    east, north = (f"{_cut_m(value) % 100_000:05d}"[:half] for value in (east_m, north_m))
    return f"{outer}{inner} {east} {north}"


def mgrs_text(lat_deg: float, lon_deg: float, figures: int = 8) -> str:
    """MGRS reference, cut off to the square that holds the place.

    Parameters
    ----------
    lat_deg, lon_deg
        Degrees on WGS 84.
    figures
        Figures in all, even, 2 to 10.

    Returns
    -------
    str
        ``38S MB 4414 8470``.

    Raises
    ------
    PlaceError
        Beyond 80 degrees south or 84 north, or such figures as there are none.
    """
    half = _check_figures(figures)
    utm_epsg(lat_deg, lon_deg)  # refuses the poles
    written = mgrs_library().toMGRS(lat_deg, lon_deg, MGRSPrecision=5)
    east, north = written[5:10][:half], written[10:15][:half]
    return f"{written[:3]} {written[3:5]} {east} {north}"


def utm_text(lat_deg: float, lon_deg: float) -> str:
    """UTM coordinates, cut off to the metre.

    Parameters
    ----------
    lat_deg, lon_deg
        Degrees on WGS 84.

    Returns
    -------
    str
        ``38 north 444140 3684706``. The hemisphere stands in full: the letter S after a
        zone is a latitude band of the north as well.

    Raises
    ------
    PlaceError
        Beyond 80 degrees south or 84 north.
    """
    epsg = utm_epsg(lat_deg, lon_deg)
    east_m, north_m = grid_m(epsg, lat_deg, lon_deg)
    hemisphere = "north" if epsg < 32700 else "south"
    return f"{epsg % 100} {hemisphere} {_cut_m(east_m):06d} {_cut_m(north_m):07d}"
