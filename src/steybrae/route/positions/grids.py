"""The grids of maps: from grid metres to WGS 84 and back.

Positions on the British National Grid lie on the datum OSGB36. Without the national
grid-shift files, which are not fetched, the way to WGS 84 is one seven-parameter shift,
good to metres only: `bng_shift_accuracy_m`. One and the same operation serves both
directions, everywhere on the grid, so that there and back again is where one began.
UTM is on WGS 84 itself, with nothing to shift.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from steybrae.errors import PlaceError

if TYPE_CHECKING:
    from pyproj import Transformer


BNG_EPSG: Final = 27700
"""EPSG code of the British National Grid on OSGB36."""

BNG_SHIFT_M: Final = 5.0
"""What one seven-parameter shift to OSGB36 is good to anywhere in Great Britain, metres.

From memory of Ordnance Survey's guide, section 6; PROJ states 2 m for the same shift, the
distortions of OSGB36 left out. The larger is shown.
"""

BNG_SIZE_M: Final = (700_000.0, 1_300_000.0)
"""East and north extent of the lettered squares, metres (Ordnance Survey's guide)."""

GRID_LETTERS: Final = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
"""Letters of the National Grid, in rows of five from the north-west; there is no I."""

UTM_LAT_DEG: Final = (-80.0, 84.0)
"""Latitudes that UTM and MGRS zones cover, degrees (NGA.SIG.0012, from memory)."""


@cache
def _to_wgs84(epsg: int) -> Transformer:
    from pyproj import Transformer  # noqa: PLC0415
    from pyproj.aoi import AreaOfInterest  # noqa: PLC0415
    from pyproj.network import (  # type: ignore[attr-defined]  # noqa: PLC0415
        set_network_enabled,
    )

    set_network_enabled(False)
    if epsg != BNG_EPSG:
        return Transformer.from_crs(epsg, 4326, always_xy=True)
    # Left to itself PROJ changes to a shift of 100 m off the coast, and does so at another
    # line on the way back. One area and no ballpark shifts pin it to one operation.
    land = AreaOfInterest(-9.1, 49.7, 2.0, 61.1)
    pinned: Any = {"allow_ballpark": False, "area_of_interest": land}
    return Transformer.from_crs(epsg, 4326, always_xy=True, **pinned)


def lat_lon_deg(epsg: int, east_m: float, north_m: float) -> tuple[float, float]:
    """Grid metres to WGS 84.

    Latitude and longitude, degrees.
    """
    lon_deg, lat_deg = _to_wgs84(epsg).transform(east_m, north_m)
    return float(lat_deg), float(lon_deg)


def grid_m(epsg: int, lat_deg: float, lon_deg: float) -> tuple[float, float]:
    """WGS 84 to grid metres; see `lat_lon_deg`.

    Easting and northing, metres.
    """
    east_m, north_m = _to_wgs84(epsg).transform(lon_deg, lat_deg, direction="INVERSE")
    return float(east_m), float(north_m)


def bng_shift_accuracy_m() -> float:
    """How well positions on OSGB36 and WGS 84 are joined, metres.

    5 m with the seven-parameter shift; PROJ's own figure where the machine has the national
    grid-shift file (1 m or better). It comes on top of the square's size.
    """
    transformer = _to_wgs84(BNG_EPSG)
    transformer.transform(400_000.0, 400_000.0)  # PROJ names its operation only after use
    accuracy_m = float(transformer.get_last_used_operation().accuracy)
    return accuracy_m if 0.0 <= accuracy_m <= 1.0 else max(accuracy_m, BNG_SHIFT_M)


def utm_epsg(lat_deg: float, lon_deg: float) -> int:
    """EPSG code of the UTM zone of a place, on WGS 84.

    Returns
    -------
    int
        326zz in the north (the equator included), 327zz in the south; with the wider
        zones off south-west Norway and about Svalbard.

    Raises
    ------
    PlaceError
        North of 84 or south of 80 degrees, where there is no UTM.
    """
    if not UTM_LAT_DEG[0] <= lat_deg <= UTM_LAT_DEG[1]:
        message = (
            f"UTM and MGRS zones cover latitudes of -80 to 84 degrees; got {lat_deg:g}. "
            "Use latitude and longitude there."
        )
        raise PlaceError(message)
    zone = int((lon_deg + 180.0) // 6.0) % 60 + 1
    if 56.0 <= lat_deg < 64.0 and 3.0 <= lon_deg < 12.0:
        zone = 32
    elif lat_deg >= 72.0 and 0.0 <= lon_deg < 42.0:
        zone = 31 + 2 * int((lon_deg + 3.0) // 12.0)
    return (32600 if lat_deg >= 0.0 else 32700) + zone


def on_bng(east_m: float, north_m: float) -> bool:
    """Whether a point lies on the lettered squares of the National Grid.

    Parameters
    ----------
    east_m, north_m
        National Grid metres.

    Returns
    -------
    bool
        West and south edges belong to the grid, east and north edges do not.
    """
    return 0.0 <= east_m < BNG_SIZE_M[0] and 0.0 <= north_m < BNG_SIZE_M[1]


@cache
def mgrs_library() -> Any:
    """Load the converter of the mgrs package once."""
    from mgrs import MGRS  # noqa: PLC0415

    return MGRS()


CUT_SLACK_M: Final = 0.001
"""A place this little below a grid line is on it, metres: the shift comes back within 1 mm."""


def _cut_m(value_m: float) -> int:
    return math.floor(value_m + CUT_SLACK_M)


def bng_text(lat_deg: float, lon_deg: float) -> str:
    """Ordnance Survey grid reference like ``HX 1660 7120``, cut off to the 10 m square that holds the place.

    `PlaceError` off the National Grid.
    """
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
    east, north = (f"{_cut_m(value) % 100_000:05d}"[:4] for value in (east_m, north_m))
    return f"{outer}{inner} {east} {north}"


def mgrs_text(lat_deg: float, lon_deg: float) -> str:
    """MGRS reference like ``38S MB 4414 8470``, cut off to the 10 m square that holds the place.

    `PlaceError` beyond 80 degrees south or 84 north.
    """
    utm_epsg(lat_deg, lon_deg)  # refuses the poles
    written = mgrs_library().toMGRS(lat_deg, lon_deg, MGRSPrecision=5)
    return f"{written[:3]} {written[3:5]} {written[5:9]} {written[10:14]}"


def utm_text(lat_deg: float, lon_deg: float) -> str:
    """UTM coordinates like ``38 north 444140 3684706``, cut off to the metre.

    The hemisphere stands in full: the letter S after a zone is a latitude band of the north as
    well. `PlaceError` beyond 80 degrees south or 84 north.
    """
    epsg = utm_epsg(lat_deg, lon_deg)
    east_m, north_m = grid_m(epsg, lat_deg, lon_deg)
    hemisphere = "north" if epsg < 32700 else "south"
    return f"{epsg % 100} {hemisphere} {_cut_m(east_m):06d} {_cut_m(north_m):07d}"
