"""Points of a route whose latitude and longitude stand the wrong way round.

That an order is wrong cannot be known, only that a point lies off the model and would lie on
it the other way round. That is said; nothing is exchanged.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pyproj
from numpy.typing import NDArray

from steybrae.errors import RouteError
from steybrae.route.legs import Route
from steybrae.terrain.dem import Array, Grid

MOST_BETWEEN_M: Final = 100_000.0
"""No two points of a day's line lie further apart, metres (our choice; a long day on ski is half)."""

_EARTH: Final = pyproj.Geod(ellps="WGS84")


def would_lie_on(grid: Grid, lat_deg: Array, lon_deg: Array) -> NDArray[np.bool_]:
    """Whether each place lies off a model and would lie on it with latitude and longitude exchanged.

    False where the longitude could be no latitude.
    """
    can = np.abs(lon_deg) <= 90.0
    found: NDArray[np.bool_] = can & ~_lies_on(grid, lat_deg, lon_deg) & _lies_on(grid, lon_deg, lat_deg)
    return found


def _lies_on(grid: Grid, lat_deg: Array, lon_deg: Array) -> NDArray[np.bool_]:
    col, row = grid.from_wgs84(lon_deg, lat_deg)
    rows, cols = grid.shape
    # Infinite or NaN, where the CRS has no position, is not on it.
    on: NDArray[np.bool_] = (col >= 0.0) & (col <= cols) & (row >= 0.0) & (row <= rows)
    return on


def places_swapped(route: Route, grid: Grid) -> bool:
    """Whether a point of a route would lie on the model only with latitude and longitude exchanged.

    For the caution. True also of a right line that leaves a model where latitude and longitude are
    nearly alike. `RouteError` where two neighbouring points lie more than `MOST_BETWEEN_M` apart: a
    stray position, or one the wrong way round, which would run the line round the earth.
    """
    lat = np.array([place.lat_deg for place in route.points])
    lon = np.array([place.lon_deg for place in route.points])
    found = would_lie_on(grid, lat, lon)
    _, _, apart_m = _EARTH.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    far = np.flatnonzero(apart_m > MOST_BETWEEN_M)
    if far.size:
        start = int(far[0])
        # Of two points the one that can be exchanged is named, else the one that is off the model.
        wrong = np.where(found.any(), found, ~_lies_on(grid, lat, lon))
        at = start if wrong[start] and not wrong[start + 1] else start + 1
        raise RouteError(_words(route, at, float(apart_m[start]), exchanged=bool(found[at])))
    return bool(found.any())


def _words(route: Route, at: int, apart_m: float, *, exchanged: bool) -> str:
    place = route.points[at]
    name = f" ({place.name})" if place.name else ""
    hint = "Take it out, or mend it, if it is a stray one."
    if exchanged:
        hint = (
            "With latitude and longitude exchanged it would lie on the model: check their order in the route."
        )
    return (
        f"The points of a line should lie near each other; point {at + 1}{name} at {place.lat_deg:.5f}, "
        f"{place.lon_deg:.5f} lies {apart_m / 1000.0:.0f} km from its neighbour. {hint}"
    )
