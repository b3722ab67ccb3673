"""A grid whose metres are true metres, and routes drawn on it; shared by several tests.

A transverse Mercator projection of scale 1 on its own central meridian: within a kilometre of
the middle its scale is 1 to better than 1e-7 and grid north is true north to better than a
hundredth of a degree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tests.synthetic import Surface, sample_surface

from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.terrain.dem import Dem

TRUE_GRID = "+proj=tmerc +lat_0=57 +lon_0=-9 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m +type=crs"
"""The CRS; its origin is the middle of every grid of `model`."""


def model(surface: Surface, shape: tuple[int, int] = (121, 121), cell_m: float = 10.0) -> Dem:
    """A surface on true ground metres, its own origin in the middle of the grid."""
    return sample_surface(surface, shape, cell_m, crs=TRUE_GRID, origin=(0.0, 0.0))


def route_on(
    dem: Dem,
    points_m: Sequence[tuple[float, float]],
    names: Sequence[str] = (),
    turns: Sequence[int] | None = None,
) -> Route:
    """A route through points given in the x and y of the model's CRS; each a turn point, or `turns`."""
    col, row = dem.grid.colrow([x for x, _ in points_m], [y for _, y in points_m])
    lon, lat = dem.grid.to_wgs84(col, row)
    named = list(names) or [""] * len(points_m)
    places = [Place(float(a), float(o), name) for a, o, name in zip(lat, lon, named, strict=True)]
    turning = range(len(points_m)) if turns is None else turns
    return Route("drawn line", tuple(places), tuple(turning))


def towards(bearing_deg: float, length_m: float, middle: tuple[float, float] = (0.0, 0.0)):
    """Two ends of a line of a length, bearing and middle."""
    east, north = (
        math.sin(math.radians(bearing_deg)) * length_m / 2,
        math.cos(math.radians(bearing_deg)) * length_m / 2,
    )
    return [(middle[0] - east, middle[1] - north), (middle[0] + east, middle[1] + north)]
