"""The geometry of a line on the earth: geodesics, chainages, directions of travel.

Legs are geodesics on WGS 84 between their vertices (Karney (2013), J. Geodesy 87, 43-55,
doi:10.1007/s00190-012-0578-z, through PROJ), cut so finely that the straight line between two
cuts in any map projection stays within millimetres of the geodesic. Chainage is horizontal
ground distance from the start of the leg, metres.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import pyproj

from steybrae.errors import OffModelError
from steybrae.frozen import dataclass
from steybrae.route.legs import Route
from steybrae.terrain.dem import Array, Grid


@lru_cache(maxsize=1)
def _geod() -> pyproj.Geod:
    return pyproj.Geod(ellps="WGS84")


@dataclass(frozen=True, eq=False)
class Track:
    """A line cut into short straight pieces.

    Attributes
    ----------
    lon_deg, lat_deg
        Vertices on WGS 84, shape ``(n,)``; longitudes run on past 180 instead of jumping.
    chainage_m
        Distance of each vertex from the first, shape ``(n,)``, rising.
    travel_true_deg
        Direction of travel on each piece, clockwise from true north, shape ``(n - 1,)``.
    """

    lon_deg: Array
    lat_deg: Array
    chainage_m: Array
    travel_true_deg: Array

    def positions(self, grid: Grid) -> tuple[Array, Array]:
        """Columns and rows of the vertices; `OffModelError` where part of them has none in the CRS."""
        col, row = grid.from_wgs84(self.lon_deg, self.lat_deg)
        if not (np.isfinite(col).all() and np.isfinite(row).all()):
            message = (
                "The line should lie where the model's CRS has positions; part of it does not. Take a "
                "model of the ground it crosses."
            )
            raise OffModelError(message)
        return col, row

    @property
    def length_m(self) -> float:
        """Length of the line, metres."""
        return float(self.chainage_m[-1])

    def at(self, chainage_m: Array | float) -> tuple[Array, Array]:
        """Longitude and latitude at chainages, degrees; longitude within -180 to 180."""
        lon = np.asarray(np.interp(chainage_m, self.chainage_m, self.lon_deg))
        lat = np.asarray(np.interp(chainage_m, self.chainage_m, self.lat_deg))
        return np.remainder(lon + 180.0, 360.0) - 180.0, lat

    def travel_at(self, chainage_m: Array | float) -> Array:
        """Direction of travel at chainages, degrees from true north."""
        piece = np.searchsorted(self.chainage_m, chainage_m, side="right") - 1
        out: Array = self.travel_true_deg[np.clip(piece, 0, len(self.travel_true_deg) - 1)]
        return out


def leg_track(route: Route, number: int, longest_m: float = 240.0) -> Track:
    """Geometry of one leg, from 0, with all vertices of the line that lie in it.

    `longest_m` is the longest piece: two of 240 m fill a stretch of ground on 10 m cells, and a
    geodesic of that length bends from the straight line in a map projection by a millimetre or two.
    A leg of no length has two equal vertices.
    """
    first, last = route.turn_points[number], route.turn_points[number + 1]
    points = route.points[first : last + 1]
    lon = np.array([place.lon_deg for place in points])
    lat = np.array([place.lat_deg for place in points])
    azimuth, _, length = _geod().inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    moved = length > 0.0
    if not moved.any():
        return Track(lon[:2], lat[:2], np.zeros(2), np.zeros(1))
    counts = np.maximum(1, np.ceil(length / longest_m)).astype(int) * moved
    piece = np.repeat(np.arange(len(counts)), counts)
    step = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = step / counts[piece]
    lons, lats, _ = _geod().fwd(lon[piece], lat[piece], azimuth[piece], share * length[piece])
    # Vertices of the file stay to the last digit; the last one closes the leg.
    lons = np.append(np.where(step == 0, lon[piece], lons), lon[-1])
    lats = np.append(np.where(step == 0, lat[piece], lats), lat[-1])
    start = np.concatenate(([0.0], np.cumsum(length)))
    chainage = np.append(start[piece] + share * length[piece], start[-1])
    travel, _, _ = _geod().inv(lons[:-1], lats[:-1], lons[1:], lats[1:])
    return Track(np.unwrap(lons, period=360.0), lats, chainage, np.remainder(travel, 360.0))


def stretches(track: Track, length_m: float) -> Iterator[tuple[int, int]]:
    """Cut a line into runs of whole pieces, so that ground is read near the line only.

    First and last vertex of each; the last of one is the first of the next. A single piece longer
    than `length_m` is a run of its own.
    """
    first, count = 0, len(track.chainage_m)
    while first < count - 1:
        limit = track.chainage_m[first] + length_m
        last = int(np.searchsorted(track.chainage_m, limit, side="right")) - 1
        last = min(max(last, first + 1), count - 1)
        yield first, last
        first = last
