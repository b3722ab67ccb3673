"""A planned line, the legs between its turn points, and their geometry: geodesics, chainages, directions.

At each of the ceilings on input a route takes less than 1 GB, and less than a minute on a machine that
does nothing else; `tests/route/test_ceilings.py` measures them.

Legs are geodesics on WGS 84 between their vertices (Karney (2013), J. Geodesy 87, 43-55,
doi:10.1007/s00190-012-0578-z, through PROJ), cut so finely that the straight line between two
cuts in any map projection stays within millimetres of the geodesic. Chainage is horizontal
ground distance from the start of the leg, metres.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final

import numpy as np

from steybrae.errors import OffModelError, RouteError
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.route.positions.places import Place
from steybrae.terrain.dem import EARTH, Array, Grid

WAY_OFF: Final = "way off"
"""How the name of a route begins that leaves a planned line, in any letter case (our choice)."""


PASSED_OVER: Final = "Passed over in the file"
"""How a note begins on what else the file holds and was not read."""

JOINED: Final = "Joined"
"""How a note begins on ground between parts of a line, over which nobody drew it."""


def leading_notes(notes: tuple[str, ...]) -> tuple[str, ...]:
    """Pick the notes that a reader has to know first: lines not screened, straight lines that nobody drew."""
    return tuple(note for note in notes if note.startswith((PASSED_OVER, JOINED)))


def is_way_off(name: str) -> bool:
    """Tell by its name whether a route is a way off another."""
    return name.strip().casefold().startswith(WAY_OFF)


@dataclass(frozen=True)
class Route:
    """A planned line on WGS 84.

    Attributes
    ----------
    name
        Name in the file, or the file's own, cleaned (`steybrae.names`).
    points
        Every vertex of the line, in walking order, at least two.
    turn_points
        Indexes into `points` where legs begin and end; the first is 0, the last that of
        the last point.
    kind
        What was read: ``route``, ``track``, ``way-points`` or ``line``.
    notes
        What was done on reading, in whole sentences: what was passed over, how the turn
        points were chosen.

    Raises
    ------
    RouteError
        Fewer than two points, or turn points that do not rise from first to last.
    """

    name: str
    points: tuple[Place, ...]
    turn_points: tuple[int, ...]
    kind: str = "route"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse lines that cannot be walked, and clean the name."""
        object.__setattr__(self, "name", clean(self.name))
        if len(self.points) < 2:
            message = (
                f"A route needs two points or more; {self.name!r} has {len(self.points)}. "
                "Add its turn points."
            )
            raise RouteError(message)
        turns = self.turn_points
        rising = all(low < high for low, high in pairwise(turns))
        if len(turns) < 2 or not rising or turns[0] != 0 or turns[-1] != len(self.points) - 1:
            message = (
                "Turn points should rise from the first point of the line to its last; "
                f"got {list(turns)} for {len(self.points)} points. Give them in walking order."
            )
            raise RouteError(message)


MOST_POINTS: Final = 20_000
"""Most points of a line (our choice): a day of five hours and a half recorded every second."""

MOST_LEGS: Final = 1000
"""Most legs of a line (our choice): more are no plan."""

MOST_LENGTH_M: Final = 500_000.0
"""Longest line, metres (our choice): weeks on foot."""

MOST_BESIDE_CELLS: Final = 40_000_000
"""Most cells of the model beside a line, those that stretches share counted twice (our choice): some 8 km
on cells of half a metre, 40 km on cells of 1 m."""

MOST_PAIRS: Final = 2_000_000_000
"""Most pairs of a piece of line and a cell beside it whose distance is worked out (our choice)."""


def check_line(points: int, legs: int) -> None:
    """Refuse a line of too many points or legs."""
    if points > MOST_POINTS:
        message = (
            f"A line should have at most {MOST_POINTS} points; this one has {points}. Simplify it, or take "
            "one day of it."
        )
        raise RouteError(message)
    if legs > MOST_LEGS:
        message = (
            f"A line should have at most {MOST_LEGS} legs; this one has {legs}. Name fewer turn points, or "
            "take one day of it."
        )
        raise RouteError(message)


def check_beside(length_m: float, cells: int, pairs: int) -> None:
    """Refuse a line beside which too much ground lies: too long, or cells too fine for it.

    `cells` are those in the windows of all its stretches, `pairs` those of a piece of line and a
    cell.
    """
    if length_m > MOST_LENGTH_M:
        message = (
            f"A line should be at most {MOST_LENGTH_M / 1000.0:g} km long; this one has "
            f"{length_m / 1000.0:.0f} km. Take one day of it."
        )
        raise RouteError(message)
    if cells > MOST_BESIDE_CELLS:
        message = (
            f"The ground beside a line should have at most {MOST_BESIDE_CELLS // 10**6} million cells of the "
            f"model; that of these {length_m / 1000.0:.1f} km has {cells / 1e6:.0f} million. Give a part of "
            "the line, or a coarser model."
        )
        raise RouteError(message)
    if pairs > MOST_PAIRS:
        message = (
            f"A line on cells this fine should have fewer points: its pieces and the cells beside them make "
            f"{pairs / 1e9:.1f} thousand million pairs, of {MOST_PAIRS / 1e9:g} that are worked out at most. "
            "Simplify the line, give a part of it, or a coarser model."
        )
        raise RouteError(message)


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
    azimuth, _, length = EARTH.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])
    moved = length > 0.0
    if not moved.any():
        return Track(lon[:2], lat[:2], np.zeros(2), np.zeros(1))
    counts = np.maximum(1, np.ceil(length / longest_m)).astype(int) * moved
    piece = np.repeat(np.arange(len(counts)), counts)
    step = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = step / counts[piece]
    lons, lats, _ = EARTH.fwd(lon[piece], lat[piece], azimuth[piece], share * length[piece])
    # Vertices of the file stay to the last digit; the last one closes the leg.
    lons = np.append(np.where(step == 0, lon[piece], lons), lon[-1])
    lats = np.append(np.where(step == 0, lat[piece], lats), lat[-1])
    start = np.concatenate(([0.0], np.cumsum(length)))
    chainage = np.append(start[piece] + share * length[piece], start[-1])
    travel, _, _ = EARTH.inv(lons[:-1], lats[:-1], lons[1:], lats[1:])
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
