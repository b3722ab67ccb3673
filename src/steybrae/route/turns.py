"""Where legs begin and end: turn points chosen on a long line, or cut into it on request.

Distances along the line are geodesic (WGS 84). Only the choice of turn points, where
metres matter little, uses a flat local projection.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import QuantityError, RouteError
from steybrae.frozen import dataclass
from steybrae.quantities import parse_ground_length_m
from steybrae.route.legs import MOST_LEGS, Route
from steybrae.route.positions.places import Place
from steybrae.terrain.dem import EARTH

TURN_TOLERANCE_M: Final = 25.0
"""Most that a line may lie beside the straight line of its leg, metres: half a millimetre on a
1:50 000 map (our choice)."""

MAX_TURN_POINTS: Final = 60
"""A line of more points than this was recorded or traced, not planned point by point (our choice)."""

NEAR_LINE_M: Final = 200.0
"""Farthest that a named way-point may lie beside the line to cut it, metres (our choice)."""

AWAY_M: Final = 100.0
"""So much farther off than it comes, metres, a line has left a way-point: zigzags pass once (our choice)."""

SAME_POINT_M: Final = 0.01
"""A cut nearer than this to a point of the line, metres, is that point (our choice)."""

EARTH_RADIUS_M: Final = 6_371_008.8
"""Mean radius of the earth, metres (WGS 84 mean radius R1)."""

FloatArray = NDArray[np.float64]


def drop_repeats(points: Sequence[Place]) -> tuple[tuple[Place, ...], int]:
    """Drop points that repeat the one before; what is left, and how many were dropped.

    A name on a dropped point passes to the one kept if that has none. Longitudes of 180 and -180
    are one.
    """
    kept: list[Place] = []
    for point in points:
        if not kept or not _same(kept[-1], point):
            kept.append(point)
        elif point.name and not kept[-1].name:
            kept[-1] = point
    return tuple(kept), len(points) - len(kept)


def _same(first: Place, second: Place) -> bool:
    return first.lat_deg == second.lat_deg and (first.lon_deg - second.lon_deg) % 360.0 == 0.0


def chainages_m(points: Sequence[Place]) -> FloatArray:
    """Distance from the start along the line to each point, geodesic on WGS 84.

    Metres, 0 first, not falling.
    """
    lats = [point.lat_deg for point in points]
    lons = [point.lon_deg for point in points]
    steps = EARTH.line_lengths(lons, lats) if len(points) > 1 else []
    return np.concatenate(([0.0], np.cumsum(np.asarray(steps, dtype=np.float64))))


def _plane_m(points: Sequence[Place]) -> FloatArray:
    """Return east and north of each point in metres, flat about the middle latitude, shape (n, 2)."""
    lats = np.radians([point.lat_deg for point in points])
    # Unwrapped, so that a line across the antimeridian stays in one piece.
    lons = np.unwrap(np.radians([point.lon_deg for point in points]))
    middle = (lats.min() + lats.max()) / 2.0
    east = (lons - lons[0]) * math.cos(middle)
    return np.column_stack((east, lats - lats[0])) * EARTH_RADIUS_M


def choose_turns(points: Sequence[Place], tolerance_m: float = TURN_TOLERANCE_M) -> tuple[int, ...]:
    """Turn points of a long line: the fewest bends that keep every point near its leg.

    The method of Douglas & Peucker (1973), doi:10.3138/FM57-6770-U75U-7727: split at the
    point farthest from the straight line of the stretch until none is farther than the
    tolerance. With a stack instead of recursion.

    Parameters
    ----------
    points
        At least two, without repeats.
    tolerance_m
        Most that a point may lie beside its leg, metres on the ground, above 0.

    Returns
    -------
    tuple of int
        Rising indexes, the first and the last point among them.

    Raises
    ------
    RouteError
        A tolerance that is not above 0, or so small that there would be over 1000 legs.
    """
    if not 0.0 < tolerance_m < math.inf:
        message = (
            f"The tolerance for turn points should be above 0 m; got {tolerance_m:g} m. "
            "25 m suits most walks."
        )
        raise RouteError(message)
    plane_m = _plane_m(points)
    kept = {0, len(points) - 1}
    stretches = [(0, len(points) - 1)]
    while stretches:
        first, last = stretches.pop()
        if last - first < 2:
            continue
        offsets_m = _offsets_m(plane_m[first + 1 : last], plane_m[first], plane_m[last])
        farthest = int(np.argmax(offsets_m))
        if offsets_m[farthest] > tolerance_m:
            split = first + 1 + farthest
            kept.add(split)
            if len(kept) - 1 > MOST_LEGS:
                raise RouteError(_too_many(tolerance_m))
            stretches += [(first, split), (split, last)]
    return tuple(sorted(kept))


def _too_many(tolerance_m: float) -> str:
    return (
        f"A line should fall into {MOST_LEGS} legs at most; with a tolerance of {tolerance_m:g} m "
        "it has more. Give a larger tolerance, or say where the legs begin."
    )


def _offsets_m(places: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    along = end - start
    length_squared = float(along @ along)
    # A stretch that returns to its start has no direction: distances are to that point.
    share = np.clip((places - start) @ along / length_squared, 0.0, 1.0) if length_squared else 0.0
    nearest = start + np.multiply.outer(share, along)
    offsets: FloatArray = np.hypot(*(places - nearest).T)
    return offsets


@dataclass(frozen=True)
class _Cut:
    chainage_m: float
    name: str


def cut_line(
    points: Sequence[Place], wanted: Sequence[str], near: Sequence[Place] = ()
) -> tuple[tuple[Place, ...], tuple[int, ...]]:
    """Cut a line into legs at named places and at distances from its start.

    Parameters
    ----------
    points
        The line, without repeats, at least two.
    wanted
        Names (in any letter case) or chainages with a unit, like ``1.2km``. Names of points
        of the line come first, then names in `near`; each point of that name cuts.
    near
        Named way-points beside the line. One cuts each time that the line comes by, as there and back.

    Returns
    -------
    tuple of tuple of Place, and tuple of int
        The line with the cuts put in, and the indexes of its turn points: start, cuts, end.

    Raises
    ------
    RouteError
        No such name, a way-point too far from the line, a chainage beyond its end.
    """
    along_m = chainages_m(points)
    marked = {0: "", len(points) - 1: ""}
    between: list[_Cut] = []
    cuts = [cut for text in wanted for cut in _find_cuts(text, points, along_m, near)]
    for cut in sorted(cuts, key=lambda cut: cut.chainage_m):
        nearest = int(np.argmin(np.abs(along_m - cut.chainage_m)))
        if abs(along_m[nearest] - cut.chainage_m) <= SAME_POINT_M:
            marked[nearest] = marked.get(nearest) or cut.name
        elif not between or cut.chainage_m - between[-1].chainage_m > SAME_POINT_M:
            between.append(cut)
    stations = [
        (float(at_m), replace(point, name=point.name or marked.get(index, "")), index in marked)
        for index, (point, at_m) in enumerate(zip(points, along_m, strict=True))
    ]
    stations += [
        (cut.chainage_m, place_along(cut.chainage_m, points, along_m, cut.name), True) for cut in between
    ]
    stations.sort(key=lambda station: station[0])
    turns = tuple(index for index, station in enumerate(stations) if station[2])
    return tuple(station[1] for station in stations), turns


def _find_cuts(text: str, points: Sequence[Place], along_m: FloatArray, near: Sequence[Place]) -> list[_Cut]:
    wanted = text.strip().casefold()
    on_line = [
        _Cut(float(at_m), point.name)
        for point, at_m in zip(points, along_m, strict=True)
        if wanted and point.name.strip().casefold() == wanted
    ]
    if on_line:
        return on_line
    beside = [place for place in near if wanted and place.name.strip().casefold() == wanted]
    if beside:
        return [cut for place in beside for cut in _cuts_near(place, points, along_m)]
    return [_Cut(_chainage_m(text, points, float(along_m[-1]), near), text.strip())]


def _chainage_m(text: str, points: Sequence[Place], length_m: float, near: Sequence[Place]) -> float:
    try:
        chainage_m = parse_ground_length_m(text, zero=True)
    except QuantityError:
        names = list(dict.fromkeys(place.name for place in (*points, *near) if place.name))
        there = ", ".join(names[:20]) + (" and more" if len(names) > 20 else "") if names else "no names"
        message = (
            "A leg can begin at a named point or at a distance like 1.2km; "
            f"got {text!r}, and the file has {there}. Give one of these or a distance."
        )
        raise RouteError(message) from None
    if chainage_m > length_m + SAME_POINT_M:
        message = (
            f"A leg should begin on the line, which is {length_m / 1000.0:.3f} km long; got {text!r}. "
            "Give a shorter distance."
        )
        raise RouteError(message)
    return chainage_m


def nearest_on_line(place: Place, points: Sequence[Place], along_m: FloatArray) -> tuple[float, float]:
    """Where a line first comes nearest to a place: metres along it, and off it.

    `along_m` are `chainages_m` of the line, which has at least two points.
    """
    at_m, off_m = _nearest_of_steps(place, points, along_m)
    nearest = int(np.argmin(off_m))
    return float(at_m[nearest]), float(off_m[nearest])


def _nearest_of_steps(
    place: Place, points: Sequence[Place], along_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where each step of a line comes nearest to a place: metres along the line, and off it."""
    plane_m = _plane_m((*points, place))
    target, line = plane_m[-1], plane_m[:-1]
    steps = np.diff(line, axis=0)
    squared = np.maximum((steps**2).sum(axis=1), 1e-12)
    shares = np.clip(((target - line[:-1]) * steps).sum(axis=1) / squared, 0.0, 1.0)
    off_m = np.hypot(*(line[:-1] + shares[:, np.newaxis] * steps - target).T)
    return along_m[:-1] + shares * np.diff(along_m), off_m


def _cuts_near(place: Place, points: Sequence[Place], along_m: FloatArray) -> list[_Cut]:
    at_m, off_m = _nearest_of_steps(place, points, along_m)
    least_m = float(off_m.min())
    if least_m > NEAR_LINE_M:
        message = (
            f"The way-point {place.name!r} should lie within {NEAR_LINE_M:g} m of the line to cut it; "
            f"it is {least_m:.0f} m away. Move it, or give a distance along the line."
        )
        raise RouteError(message)
    # A recorded way back is metres off the way there: which of the two is nearer says nothing.
    (by,) = np.nonzero(off_m <= least_m + AWAY_M)
    passes = np.split(by, np.flatnonzero(np.diff(by) > 1) + 1)
    nearest = [int(one[np.argmin(off_m[one])]) for one in passes]
    return [_Cut(float(at_m[k]), place.name) for k in nearest if off_m[k] <= least_m + TURN_TOLERANCE_M]


def place_along(chainage_m: float, points: Sequence[Place], along_m: FloatArray, name: str = "") -> Place:
    """Point of a line at a chainage, on the geodesic between its neighbours; `along_m` as `chainages_m`."""
    after = max(1, int(np.searchsorted(along_m, chainage_m)))
    before, beyond = points[after - 1], points[after]
    azimuth_deg, _, _ = EARTH.inv(before.lon_deg, before.lat_deg, beyond.lon_deg, beyond.lat_deg)
    lon_deg, lat_deg, _ = EARTH.fwd(
        before.lon_deg, before.lat_deg, azimuth_deg, chainage_m - float(along_m[after - 1])
    )
    return Place(lat_deg, lon_deg, name=name)


def route_from_places(places: Sequence[Place], name: str = "") -> Route:
    """Route whose every point is a turn point; a place that repeats the one before is dropped.

    `RouteError` with fewer than two different places.
    """
    points, dropped = drop_repeats(places)
    if len(points) < 2:
        message = (
            f"A route needs two different points or more; {name or 'this one'} has {len(points)}. "
            "Add its turn points."
        )
        raise RouteError(message)
    notes = (repeats_note(dropped),) if dropped else ()
    return Route(name, points, tuple(range(len(points))), "route", notes)


def repeats_note(dropped: int) -> str:
    """Say how many repeated points were dropped."""
    points = "1 point that repeats" if dropped == 1 else f"{dropped} points that repeat"
    return f"Dropped {points} the one before."
