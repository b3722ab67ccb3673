"""Overhead angles of the legs of a route, and of a place."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import fields, replace
from functools import partial
from itertools import chain
from typing import Final, TypeVar

import numpy as np

from steybrae.frozen import dataclass
from steybrae.quantities import finite
from steybrae.route.legs import Track
from steybrae.route.overhead.kept_ground import KeptGround, KeptPlaces
from steybrae.route.overhead.result import (
    Above,
    OverheadAnswer,
    PathAnswer,
    Profile,
    SeenAlong,
    SightAnswer,
    TopAnswer,
)
from steybrae.route.overhead.windows import (
    OverheadLook,
    Stretch,
    cells_on,
    metric_place,
    on_lattice,
    shared,
    stretch_windows,
)
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import ConvexRoll, Spot, TerrainTrap, convex_rolls, spot_at, terrain_traps
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.overhead.angles import Overhead, SightUp, look_up, zone_top
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG, OverheadGround, Points
from steybrae.terrain.overhead.sight import in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG, nearest_of
from steybrae.terrain.shape import Around, cliffs_below, flattenings, gullies, look_around

_Shape = TypeVar("_Shape", ConvexRoll, TerrainTrap)

_OF_UNKNOWN: Final = ("unknown_above", "unknown_off_m", "unknown_bearing_true_deg", "model_ends")
"""What `SeenAlong` tells of the nearest unknown ground."""


@dataclass(frozen=True, eq=False)
class _Part:
    """What was found on one stretch of a leg, in words of the result."""

    in_zone_m: float
    in_zone: bool
    possible_m: float
    possible: bool
    possible_deg: float
    known: bool
    possible_from_deg: float
    known_to_m: float
    sight: SightAnswer | None
    outside: SightAnswer | None
    path: PathAnswer | None
    rolls: tuple[ConvexRoll, ...]
    traps: tuple[TerrainTrap, ...]
    profile: Profile
    seen: SeenAlong


def route_above(kept: KeptGround, tracks: list[Track]) -> tuple[Above, ...]:
    """Look up from all legs of a route: from the centres of the cells that the line touches.

    Only ground within the reach is read. `OffModelError` where a part of the line has no position
    in the model's CRS.
    """
    look, found = kept.look, [list[_Part]() for _ in tracks]
    for window, group in shared(stretch_windows(kept.source.grid, tracks, look, kept.kept), look):
        ground, metric = kept.opened(window), metric_place(window, look)
        for part in group:
            key = tracks[part.leg], float(part.chainage_m[0]), metric, look
            found[part.leg].append(kept.kept.of("above", key, partial(_look, ground, part, look)))
    return tuple(kept.kept.of("leg above", (*leg, look), partial(_merge, leg, look)) for leg in found)


def place_above(source: DemSource, place: Place, look: OverheadLook, kept: KeptPlaces | None = None) -> Above:
    """Look up from a place: the sight exactly from there, the path to the cell it lies in.

    Chainages are None, and 0 in rolls and traps. `OffModelError` where it has no position in the
    model's CRS.
    """
    here = np.array([place.lon_deg, place.lon_deg]), np.array([place.lat_deg, place.lat_deg])
    (part,) = stretch_windows(source.grid, [Track(*here, np.array([0.0, 1.0]), np.zeros(1))], look)
    window = on_lattice(part.window, look.joins)
    ground = (kept or KeptPlaces()).ground(source, look, window)
    col, row = (
        (part.col[:1] - window.left) / look.joins[0],
        (part.row[:1] - window.top) / look.joins[1],
    )
    points = (one.points(col, row) for one in (ground, *ground.others))
    return _merge([_look_from(ground, points, np.zeros(1), np.zeros(1))], look, at_place=True)


def _look(ground: Callable[[], OverheadGround], part: Stretch, look: OverheadLook) -> _Part:
    here = ground()
    col, row, chainage, length = cells_on(part, here.corner, look.joins)
    points = (one.centres(col.astype(np.intp), row.astype(np.intp)) for one in (here, *here.others))
    return _look_from(here, points, chainage, length)


def _look_from(ground: OverheadGround, points: Iterable[Points], chainage_m: Array, length_m: Array) -> _Part:
    """Look up from the same places of the ground, and of others that differ: the steeper leads."""
    grounds = ground, *ground.others
    found = [_look_at(*one, chainage_m, length_m) for one in zip(grounds, points, strict=True)]
    return found[0] if len(found) == 1 else _steeper(found)


def _steeper(parts: list[_Part]) -> _Part:
    """Join what files that differ tell of one stretch: the steepest of each measure, the nearest unknown."""
    every = {
        one.name: np.stack([getattr(part.seen, one.name) for part in parts]) for one in fields(SeenAlong)
    }
    inside, deg = every["in_start_zone"], every["deg"]
    # Outside in one is outside: what stands over it there is told.
    up = np.where(inside & ~inside.all(axis=0), -1.0, np.nan_to_num(deg))
    steepest = np.argmax(up, axis=0)[None]
    nearest = np.argmin(np.nan_to_num(every["unknown_off_m"], nan=np.inf), axis=0)[None]
    seen = {
        name: np.take_along_axis(values, nearest if name in _OF_UNKNOWN else steepest, axis=0)[0]
        for name, values in every.items()
    }
    seen |= {
        "possible_deg": np.fmax.reduce(every["possible_deg"]),
        "in_start_zone": inside.all(axis=0),
        "trap": every["trap"].any(axis=0),
    }
    return _Part(
        max(part.in_zone_m for part in parts),
        any(part.in_zone for part in parts),
        max(part.possible_m for part in parts),
        any(part.possible for part in parts),
        max(part.possible_deg for part in parts),
        any(part.known for part in parts),
        min(part.possible_from_deg for part in parts),
        min(part.known_to_m for part in parts),
        _steepest([part.sight for part in parts]),
        _steepest([part.outside for part in parts]),
        max((part.path for part in parts if part.path is not None), key=lambda path: path.deg, default=None),
        _every(part.rolls for part in parts),
        _every(part.traps for part in parts),
        Profile(parts[0].profile.chainage_m, np.fmax.reduce(deg)),
        SeenAlong(**seen),
    )


def _every(found: Iterable[tuple[_Shape, ...]]) -> tuple[_Shape, ...]:
    """Join rolls or traps of files that differ, in the order of the leg; those that agree once."""
    return tuple(
        sorted(dict.fromkeys(chain.from_iterable(found)), key=lambda one: (one.chainage_m, one.reason))
    )


def _look_at(ground: OverheadGround, points: Points, chainage_m: Array, length_m: Array) -> _Part:
    up = look_up(ground, points)
    around = look_around(ground.dem.heights_m, ground.jacobian, points.col, points.row)
    from_deg = ground.zones.possible_from_deg
    return _Part(
        float(length_m[up.in_start_zone].sum()),
        bool(up.in_start_zone.any()),
        float(length_m[up.in_possible_zone].sum()),
        bool(up.in_possible_zone.any()),
        float(np.fmax.reduce(up.possible_deg[~up.in_start_zone], initial=-np.inf)),
        bool(np.isfinite(points.height_m).any()),
        from_deg,
        float(up.unknown_above.known_to_m.min(initial=np.inf)),
        _answer(ground, points, chainage_m, up.sight, up.unfiltered, up.top),
        _outside(ground, points, chainage_m, up),
        _path(ground, points, chainage_m, up),
        convex_rolls(ground, points, chainage_m, around, from_deg),
        terrain_traps(ground, points, chainage_m, around, from_deg),
        Profile(chainage_m, up.unfiltered_deg),
        _seen(ground, points, (chainage_m, length_m), up, around),
    )


def _seen(
    ground: OverheadGround, points: Points, along: tuple[Array, Array], up: Overhead, around: Around
) -> SeenAlong:
    some = np.flatnonzero(np.isfinite(up.unfiltered_deg))
    cell = up.pairs.cell[some]
    east, north = ground.offset_m(
        ground.sources.col[cell] + 0.5 - points.col[some], ground.sources.row[cell] + 0.5 - points.row[some]
    )
    rise = ground.sources.heights_m(cell) - points.height_m[some]
    bearing, distance, height, lon, lat = np.full((5, len(points.col)), np.nan)
    bearing[some] = np.remainder(np.degrees(np.arctan2(east, north)), 360.0)
    distance[some], height[some] = np.hypot(east, north), rise
    lon[some], lat[some] = ground.to_wgs84(ground.sources.col[cell] + 0.5, ground.sources.row[cell] + 0.5)
    hidden = np.zeros(len(points.col), dtype=bool)
    hidden[some] = ~in_sight(ground, points, up.pairs.pick(some))
    # What slides has to come from somewhere: from above, or from underfoot.
    caught = up.in_start_zone | (np.nan_to_num(up.unfiltered_deg) >= PLACE_SIGHT_DEG)
    trap = gullies(around).there | cliffs_below(around).there
    trap |= flattenings(around, ground.zones.rules.low_deg).there
    middle, length = along
    return SeenAlong(
        middle - length / 2.0,
        middle + length / 2.0,
        up.unfiltered_deg,
        bearing,
        distance,
        height,
        lat,
        lon,
        hidden,
        up.possible_deg,
        up.in_start_zone,
        up.unknown_above.there,
        up.unknown_above.distance_m,
        up.unknown_above.bearing_true_deg,
        up.unknown_above.model_ends,
        trap & caught,
    )


def _stand(ground: OverheadGround, points: Points, point: int) -> Spot:
    return spot_at(ground, float(points.col[point]), float(points.row[point]))


def _outside(ground: OverheadGround, points: Points, chainage_m: Array, up: Overhead) -> SightAnswer | None:
    top = up.top
    if up.outside is not None and up.outside is not up.sight:
        top = zone_top(ground, points, up.outside)
    return _answer(ground, points, chainage_m, up.outside, up.outside_unfiltered, top)


def _answer(
    ground: OverheadGround,
    points: Points,
    chainage_m: Array,
    sight: SightUp | None,
    whatever: SightUp | None,
    top: SightUp | None,
) -> SightAnswer | None:
    if whatever is None:
        return None
    seen = whatever.deg, whatever.bearing_true_deg, whatever.distance_m
    if sight is None or top is None:
        return SightAnswer(None, *seen, None, None, None, None, None, None, None, hidden=True)
    return SightAnswer(
        sight.deg,
        *seen,
        sight.bearing_true_deg,
        sight.distance_m,
        sight.rise_m,
        spot_at(ground, sight.col, sight.row),
        _stand(ground, points, sight.point),
        float(chainage_m[sight.point]),
        TopAnswer(
            top.deg, top.bearing_true_deg, top.distance_m, top.rise_m, spot_at(ground, top.col, top.row)
        ),
        hidden_sight(ground, points, sight),
    )


def hidden_sight(ground: OverheadGround, points: Points, sight: SightUp) -> bool:
    """Whether ground stands above a line of sight."""
    at, cell = np.array([sight.point]), np.array([ground.sources.number(int(sight.col), int(sight.row))])
    tangent = np.array([math.tan(math.radians(sight.deg))])
    return not bool(in_sight(ground, points, Pairs(at, cell, tangent))[0])


def _path(ground: OverheadGround, points: Points, chainage_m: Array, up: Overhead) -> PathAnswer | None:
    path = up.path
    if path is None:
        return None
    lon, lat = ground.to_wgs84(path.col, path.row)
    return PathAnswer(
        path.deg,
        path.bearing_true_deg,
        path.path_m,
        path.rise_m,
        spot_at(ground, float(path.col[0]), float(path.row[0])),
        _stand(ground, points, path.point),
        float(chainage_m[path.point]),
        tuple(zip(lat.tolist(), lon.tolist(), strict=True)),
    )


def _merge(parts: list[_Part], look: OverheadLook, *, at_place: bool = False) -> Above:
    """Join what the stretches of a leg hold: the steepest of each measure."""
    sight = _steepest([part.sight for part in parts], at_place=at_place)
    outside = _steepest([part.outside for part in parts], at_place=at_place)
    paths = [part.path for part in parts if part.path is not None]
    path = max(paths, key=lambda p: p.deg, default=None)
    if path is not None and at_place:
        path = replace(path, chainage_m=None)
    overhead = None
    if any(part.known for part in parts):
        known_to_m = min(part.known_to_m for part in parts)
        overhead = OverheadAnswer(
            any(part.in_zone for part in parts),
            sum(part.in_zone_m for part in parts),
            any(part.possible for part in parts),
            sum(part.possible_m for part in parts),
            finite(max(part.possible_deg for part in parts)),
            look.rules.low_deg,
            look.rules.high_deg,
            parts[0].possible_from_deg,
            look.reach_m,
            LEAST_SIGHT_DEG,
            sight,
            outside,
            path,
            known_to_m if known_to_m < look.reach_m else None,
        )
    seen = SeenAlong(
        *(np.concatenate([getattr(part.seen, one.name) for part in parts]) for one in fields(SeenAlong))
    )
    return Above(
        overhead,
        bool(seen.unknown_above.any()),
        nearest_of(seen.unknown_off_m, seen.unknown_bearing_true_deg, seen.model_ends),
        tuple(roll for part in parts for roll in part.rolls),
        tuple(trap for part in parts for trap in part.traps),
        Profile(
            np.concatenate([part.profile.chainage_m for part in parts]),
            np.concatenate([part.profile.sight_unfiltered_deg for part in parts]),
        ),
        seen,
    )


def _steepest(found: list[SightAnswer | None], *, at_place: bool = False) -> SightAnswer | None:
    """Steepest sight of several, with the steepest unfiltered one."""
    sights = [sight for sight in found if sight is not None]
    if not sights:
        return None
    sight = max(sights, key=lambda s: (-1.0 if s.deg is None else s.deg, s.unfiltered_deg))
    whatever = max(sights, key=lambda s: s.unfiltered_deg)
    return replace(
        sight,
        unfiltered_deg=whatever.unfiltered_deg,
        unfiltered_bearing_true_deg=whatever.unfiltered_bearing_true_deg,
        unfiltered_distance_m=whatever.unfiltered_distance_m,
        chainage_m=None if at_place else sight.chainage_m,
    )
