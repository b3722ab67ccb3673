"""Whether the overhead angles of a result that was read from a file can be those of its line.

A sight is its rise over its distance, and its distance is that between two places; the steepest of a leg
stands among its points too; what is unknown above a leg stands with the place that it makes, and on the map.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from steybrae.route.overhead.result import OverheadAnswer, SightAnswer, TopAnswer
from steybrae.route.overhead.windows import JOINED_CELL_M
from steybrae.route.shape_result import Spot, shape_words
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.sound import SAME_M
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import EARTH
from steybrae.terrain.jacobian import cell_size_m
from steybrae.terrain.overhead.unknown import UNKNOWN_NEAR_M
from steybrae.terrain.shape import CLIFF_DEG, GULLY_RISE_M

SAME_DEG: Final = 1e-6
"""Degrees by which an angle may differ from its rise over its distance: rounding (our choice)."""

SAME_SHARE: Final = 1e-3
"""Share by which a distance in a grid may differ from that on the ellipsoid (our choice; 4e-5 was met)."""


def overhead_contradictions(found: RouteScreening) -> Iterator[str]:
    """Say what contradicts what among the overhead angles of a line, its places and its map."""
    rules, reach_m = found.settings.start_zones, found.settings.reach_m
    for leg in found.legs:
        where = f"above leg {leg.number}"
        if leg.unknown_above != (leg.unknown_above_at is not None):
            yield f"unknown ground {where} is said to be there and not to be there"
        if leg.overhead is not None:
            asked = (leg.overhead.start_from_deg, leg.overhead.start_to_deg, leg.overhead.reach_m)
            if asked != (rules.low_deg, rules.high_deg, reach_m):
                yield f"the start zones {where} are not those that were asked for"
            for what in (*_of_leg(leg, leg.overhead), *_shapes(leg, leg.overhead)):
                yield f"{where} {what}"
    for place in found.places:
        if place.overhead is not None and not rises_over(place, max(found.model.cell_size_m)):
            yield f"what stands over place {place.name} is not its rise over its distance"
        looks = [leg.overhead for leg in found.legs[place.from_.leg - 1 : place.to.leg]]
        sights = [look.sight_outside for look in looks if look is not None and look.sight_outside is not None]
        told_deg = max((sight.unfiltered_deg for sight in sights), default=0.0)
        if place.overhead is not None and place.overhead.deg > told_deg + SAME_DEG:
            yield f"what stands over place {place.name} is steeper than what stands over its legs"
    yield from _unknown(found)


def _of_leg(leg: LegScreening, over: OverheadAnswer) -> Iterator[str]:
    along = leg.overhead_profile.sight_unfiltered_deg
    steepest = float(np.nanmax(along, initial=-1.0))
    sight, outside = over.sight, over.sight_outside
    told = -1.0 if sight is None else sight.unfiltered_deg
    if abs(told - steepest) > SAME_DEG:
        yield "the steepest sight is not that of the points"
    if outside is not None and outside.unfiltered_deg > told + SAME_DEG:
        yield "a sight from outside is steeper than the steepest"
    if not over.in_start_zone and (outside is None) != (sight is None):
        yield "there is a sight, and none from outside of start zones"
    if over.in_start_zone_m > 0.0 and not over.in_start_zone:
        yield "metres lie in a start zone and none do"
    if (over.in_start_zone or over.in_possible_zone_m > 0.0) and not over.in_possible_zone:
        yield "start zones are no possible ones"
    zones_m = over.in_start_zone_m, over.in_possible_zone_m, leg.length_m
    if any(less > more + SAME_M for less, more in itertools.pairwise(zones_m)):
        yield "start zones are longer than possible ones, or than the leg"
    if outside is not None and outside.unfiltered_deg > (over.possible_deg or 0.0) + SAME_DEG:
        yield "possible start zones stand lower than start zones"
    for one in (sight, outside):
        if one is not None and not _straight(one):
            yield "a sight is not its rise over its distance"
    path = over.path
    if path is not None and path.path_m < (1.0 - SAME_SHARE) * _apart_m(path.stand, path.place) - 1.0:
        yield "a path is shorter than it is straight"


def _shapes(leg: LegScreening, over: OverheadAnswer) -> Iterator[str]:
    """Hold traps and rolls against their words, and traps against what makes one."""
    words = [(trap.reason, shape_words(trap)) for trap in leg.terrain_traps]
    words += [(roll.reason, shape_words(roll)) for roll in leg.convex_rolls]
    if any(said != meant for said, meant in words):
        yield "the words of a trap or a roll are not those of its figures"
    for trap in leg.terrain_traps:
        least = {"gully": GULLY_RISE_M, "cliff below": CLIFF_DEG}.get(trap.kind, over.possible_from_deg)
        if ((trap.depth_m if trap.kind == "gully" else trap.slope_deg) or 0.0) < least - SAME_DEG:
            yield "a trap is gentler than what makes one"


def _straight(sight: SightAnswer) -> bool:
    """Whether a sight, and that to the top of its zone, are what their places say."""
    if sight.deg is None or sight.distance_m is None or sight.rise_m is None:
        return sight.place is None
    if sight.place is None or sight.stand is None or sight.deg > sight.unfiltered_deg + SAME_DEG:
        return False
    open_ = _leads(sight.deg, sight.rise_m, sight.distance_m, (sight.stand, sight.place))
    top: TopAnswer | None = sight.top
    return open_ and (top is None or _leads(top.deg, top.rise_m, top.distance_m, (sight.stand, top.place)))


def _leads(deg: float, rise_m: float, distance_m: float, ends: tuple[Spot, Spot]) -> bool:
    low, high = ends
    known = low.elevation_m is not None and high.elevation_m is not None
    rises = not known or abs((high.elevation_m or 0.0) - (low.elevation_m or 0.0) - rise_m) <= 0.01
    return (
        rises
        and _is_angle(deg, rise_m, distance_m)
        and abs(_apart_m(low, high) - distance_m) <= SAME_SHARE * distance_m + 0.1
    )


def _is_angle(deg: float, rise_m: float, distance_m: float) -> bool:
    return abs(math.degrees(math.atan2(rise_m, distance_m)) - deg) <= SAME_DEG


def _apart_m(one: Spot, other: Spot) -> float:
    return float(EARTH.inv(one.lon_deg, one.lat_deg, other.lon_deg, other.lat_deg)[2])


def rises_over(place: PlaceThatMatters, cell_m: float) -> bool:
    """Whether what stands over a place is its rise over its distance, cells being so large, metres."""
    over = place.overhead
    if over is None or over.quantity != "sight":
        return True
    apart_m = EARTH.inv(over.at.lon_deg, over.at.lat_deg, over.lon_deg, over.lat_deg)[2]
    near = abs(apart_m - over.distance_m) <= 2.0 * max(cell_m, JOINED_CELL_M) + SAME_SHARE * over.distance_m
    return near and _is_angle(over.deg, over.rise_m, over.distance_m)


def _unknown(found: RouteScreening) -> Iterator[str]:
    """Hold what is unknown above a leg against the places, both ways, and against the map."""
    for place in found.places:
        over = place.overhead
        if over is not None and over.at_least != (place.unknown_above_at is not None):
            yield f"what stands over place {place.name} is said to be a least figure and not to be one"
        legs = [leg for leg in found.legs if place.from_.leg <= leg.number <= place.to.leg]
        if (place.unknown_above_at is not None) > any(leg.unknown_above for leg in legs):
            yield f"unknown ground above place {place.name} is above no leg"
    beside = _unknown_on_map(found)
    for leg in found.legs:
        at = leg.unknown_above_at
        told = [
            place.unknown_above_at.distance_m
            for place in found.places
            if place.from_.leg <= leg.number <= place.to.leg and place.unknown_above_at is not None
        ]
        if at is not None and min(told, default=math.inf) > at.distance_m + SAME_DEG:
            yield f"unknown ground above leg {leg.number} is nearer than any place says"
        if leg.number in beside:
            yield f"heights beside leg {leg.number} are unknown on the map and nothing above it is"


def _unknown_on_map(found: RouteScreening) -> set[int]:
    """Legs with nothing unknown above, but a cell of the map without a height so near that it could be."""
    relief = found.relief
    if relief is None or np.isfinite(relief.heights_m).all():
        return set()
    rows, cols = relief.grid.shape
    cell_m = max(cell_size_m(relief.grid))
    # A square within the circle, less a cell for where in it the unknown ground begins.
    half = int(min(UNKNOWN_NEAR_M, found.settings.reach_m) / math.sqrt(2.0) / cell_m) - 1
    if half < 1:
        return set()
    counted = np.zeros((rows + 1, cols + 1), dtype=np.intp)
    counted[1:, 1:] = np.isnan(relief.heights_m).cumsum(axis=0).cumsum(axis=1)
    legs = set()
    for leg in found.legs:
        if leg.unknown_above_at is not None:
            continue
        known = leg.points.known
        at_x, at_y = relief.grid.from_wgs84(leg.points.lon_deg[known], leg.points.lat_deg[known])
        col, row = np.floor(at_x).astype(np.intp), np.floor(at_y).astype(np.intp)
        low_row, high_row = (np.clip(row + side, 0, rows) for side in (-half, half + 1))
        low_col, high_col = (np.clip(col + side, 0, cols) for side in (-half, half + 1))
        inside = counted[high_row, high_col] - counted[low_row, high_col]
        if (inside - counted[high_row, low_col] + counted[low_row, low_col]).any():
            legs.add(leg.number)
    return legs
