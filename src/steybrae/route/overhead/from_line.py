"""Spots of a line as standing places: what is overhead there, and which named ground is in open sight."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.route.expected import LEAST_SIGHT_M
from steybrae.route.legs import Track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.windows import Stretch, metric_place, shared, stretch_windows
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import off
from steybrae.terrain.overhead.ground import OverheadGround, Points
from steybrae.terrain.overhead.sight import in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs, steepest_sight
from steybrae.terrain.overhead.unknown import unknown_above

LEAST_CHECK_SIGHT_DEG: Final = 10.0
"""Flatter sights are no check, degrees: a reading's own error would be nearly half of it (our choice)."""


@dataclass(frozen=True, eq=False)
class Spots:
    """Spots of a line; arrays ``(n,)``: number of the leg, from 0, and metres along it and along the line."""

    leg: NDArray[np.intp]
    at_m: Array
    chainage_m: Array


@dataclass(frozen=True)
class Target:
    """Ground overhead that is to be sighted from before a place; only spots at these chainages serve."""

    lat_deg: float
    lon_deg: float
    from_m: float
    to_m: float


@dataclass(frozen=True, eq=False)
class OpenSights:
    """Indexes of the spots from which a target is in open sight, and that sight; arrays ``(k,)``."""

    spot: NDArray[np.intp]
    deg: Array
    bearing_true_deg: Array
    distance_m: Array


@dataclass(frozen=True, eq=False)
class FromLine:
    """What is overhead of spots of a line, and their open sights.

    Attributes
    ----------
    overhead_deg
        Steepest sight to any possible start zone, whatever lies between, degrees; NaN where there is
        none at `LEAST_SIGHT_DEG` or more, the spot's height is unknown or it was not asked for.
    unknown_above
        Whether unknown ground could look down on it (`steybrae.terrain.overhead.unknown`), or it was not
        asked for.
    sights
        One for each target.
    """

    overhead_deg: Array
    unknown_above: NDArray[np.bool_]
    sights: tuple[OpenSights, ...]


def look_from(
    kept: KeptGround, tracks: list[Track], spots: Spots, targets: Sequence[Target], asked: int
) -> FromLine:
    """Look up from spots of a line, exactly from them and not from the cells that they lie in.

    The first `asked` spots are looked up from; of the others only those with a sight of a target.
    """
    overhead = np.full(len(spots.leg), np.nan)
    unknown = np.ones(len(spots.leg), dtype=bool)
    sights: list[list[Array]] = [[np.empty((4, 0))] for _ in targets]
    parts = stretch_windows(kept.source.grid, tracks, kept.look, kept.kept)
    for window, group in shared(parts, kept.look):
        on = [(part, here) for part in group if len(here := _on(part, spots))]
        if not on:
            continue
        ground, metric = kept.opened(window), metric_place(window, kept.look)
        for part, here in on:
            key = tracks[part.leg], float(part.chainage_m[0]), metric, kept.look
            seen = kept.kept.of("spots", key, partial(_SeenFrom, kept.look.joins))
            seen.begin(ground, part)
            look, at = set(here[here < asked].tolist()), spots.chainage_m[here]
            first, last = float(at.min()), float(at.max())
            for k, target in enumerate(targets):
                if first > target.to_m or last < target.from_m:
                    continue
                before = here[(at >= target.from_m) & (at <= target.to_m)]
                found = seen.sights(spots.at_m[before], target)
                open_ = np.flatnonzero(np.isfinite(found[0]))
                sights[k].append(np.stack((before[open_], *found[:, open_])))
                look |= set(before[open_].tolist())
            up = np.array(sorted(look), dtype=np.intp)
            overhead[up], unknown[up] = seen.overhead(spots.at_m[up])
    return FromLine(overhead, unknown, tuple(_together(parts) for parts in sights))


class _SeenFrom:
    """What is seen from spots of one stretch of a leg, each worked out once, on joined cells."""

    def __init__(self, joins: tuple[int, int]) -> None:
        self._joins = joins
        self._above: dict[float, tuple[float, bool]] = {}
        self._sights: dict[tuple[float, float, float], tuple[float, float, float]] = {}

    def begin(self, ground: Callable[[], OverheadGround], part: Stretch) -> None:
        """Say where it is."""
        self._ground, self._part = ground, part

    def overhead(self, at_m: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Steepest sight to any possible start zone, degrees, and whether unknown ground could look down."""
        new = np.array([at for at in at_m.tolist() if at not in self._above])
        if len(new):
            every = self._every(new)
            tangent = np.fmax.reduce([steepest_sight(one.possible, points).tangent for one, points in every])
            deg = np.where(np.isfinite(tangent), np.degrees(np.arctan(tangent)), np.nan)
            there = np.logical_or.reduce([unknown_above(*one).there for one in every])
            self._above |= dict(
                zip(new.tolist(), zip(deg.tolist(), there.tolist(), strict=True), strict=True)
            )
        found = np.array([self._above[at] for at in at_m.tolist()]).reshape(-1, 2)
        return found[:, 0], found[:, 1] > 0.0

    def sights(self, at_m: Array, target: Target) -> Array:
        """Angle, bearing and distance of the sight to a target, ``(3, n)``; NaN where it is not open."""
        place = target.lat_deg, target.lon_deg
        new = np.array([at for at in at_m.tolist() if (*place, at) not in self._sights])
        if len(new):
            # Where files differ it is open in all, the steepest of them; bearing and distance are one.
            found = np.maximum.reduce([_open(*one, target) for one in self._every(new)])
            for at, one in zip(new.tolist(), found.T.tolist(), strict=True):
                self._sights[*place, at] = tuple(one)
        return np.array([self._sights[*place, at] for at in at_m.tolist()]).reshape(-1, 3).T

    def _every(self, at_m: Array) -> list[tuple[OverheadGround, Points]]:
        """Spots on the ground, and on that of files that differ."""
        ground = self._ground()
        every = ground, *ground.others
        return [(one, _points(one, self._part, at_m, self._joins)) for one in every]


def _on(part: Stretch, spots: Spots) -> NDArray[np.intp]:
    inside = (spots.at_m >= part.chainage_m[0]) & (spots.at_m <= part.chainage_m[-1])
    return np.flatnonzero((spots.leg == part.leg) & inside)


def _points(ground: OverheadGround, part: Stretch, at_m: Array, joins: tuple[int, int]) -> Points:
    col, row = (
        off(np.interp(at_m, part.chainage_m, axis) / join) - first
        for axis, join, first in zip((part.col, part.row), joins, ground.corner, strict=True)
    )
    return ground.points(col, row)


def _open(ground: OverheadGround, points: Points, target: Target) -> Array:
    """Angle, bearing and distance of the sight from points to a target; NaN where it is not open."""
    out = np.full((3, len(points.col)), np.nan)
    col, row = ground.cell_of(target.lon_deg, target.lat_deg)
    cell = ground.sources.number(col, row)
    if cell < 0:
        return out
    east, north = ground.offset_m(col + 0.5 - points.col, row + 0.5 - points.row)
    distance = np.hypot(east, north)
    tangent = (ground.sources.heights_m(cell) - points.height_m) / np.maximum(distance, LEAST_SIGHT_M)
    least = math.tan(math.radians(LEAST_CHECK_SIGHT_DEG))
    far = np.flatnonzero((distance >= LEAST_SIGHT_M) & (distance <= ground.reach_m) & (tangent >= least))
    far = far[in_sight(ground, points, Pairs(far, np.full(len(far), cell), tangent[far]))]
    bearing = np.remainder(np.degrees(np.arctan2(east[far], north[far])), 360.0)
    out[:, far] = np.degrees(np.arctan(tangent[far])), bearing, distance[far]
    return out


def _together(parts: list[Array]) -> OpenSights:
    spot, *columns = np.concatenate(parts, axis=1)
    return OpenSights(spot.astype(np.intp), *columns)
