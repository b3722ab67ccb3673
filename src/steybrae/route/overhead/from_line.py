"""Spots of a line as standing places: what is overhead there, and which named ground is in open sight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.route.expected import LEAST_SIGHT_M
from steybrae.route.overhead.windows import KeptGround, Stretch, Window, shared, stretch_windows
from steybrae.route.track import Track
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.ground import OverheadGround, Points
from steybrae.terrain.overhead.sight import in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs, steepest_sight
from steybrae.terrain.overhead.unknown import unknown_above

LEAST_CHECK_SIGHT_DEG: Final = 10.0
"""Flatter sights are no check, degrees: a reading's own error would be nearly half of it (our choice)."""


@dataclass(frozen=True, eq=False)
class Spots:
    """Spots of a line; arrays ``(n,)``.

    Attributes
    ----------
    leg, at_m
        Number of the leg, from 0, and how far along it, metres.
    chainage_m
        Metres from the start of the line.
    """

    leg: NDArray[np.intp]
    at_m: Array
    chainage_m: Array


@dataclass(frozen=True)
class Target:
    """Ground overhead that is to be sighted from before a place.

    Attributes
    ----------
    lat_deg, lon_deg
        Centre of its cell, on WGS 84.
    from_m, to_m
        Only spots from and to these chainages serve, metres.
    """

    lat_deg: float
    lon_deg: float
    from_m: float
    to_m: float


@dataclass(frozen=True, eq=False)
class OpenSights:
    """Spots from which a target is in open sight; arrays ``(k,)``.

    Attributes
    ----------
    spot
        Indexes of them.
    deg, bearing_true_deg, distance_m
        Of the sight.
    """

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
        none at `LEAST_SIGHT_DEG` or more, or the spot's height is unknown.
    unknown_above
        Whether unknown ground could look down on it (`steybrae.terrain.overhead.unknown`).
    sights
        One for each target.
    """

    overhead_deg: Array
    unknown_above: NDArray[np.bool_]
    sights: tuple[OpenSights, ...]


def look_from(kept: KeptGround, tracks: list[Track], spots: Spots, targets: Sequence[Target]) -> FromLine:
    """Look up from spots of a line, exactly from them and not from the cells that they lie in.

    Parameters
    ----------
    kept
        The model's ground, as it was looked up from for the line itself.
    tracks
        Legs of the line.
    spots
        Where to stand.
    targets
        What to sight.
    """
    overhead = np.full(len(spots.leg), np.nan)
    unknown = np.ones(len(spots.leg), dtype=bool)
    sights: list[list[Array]] = [[np.empty((4, 0))] for _ in targets]
    for window, group in shared(stretch_windows(kept.source.grid, tracks, kept.look), kept.look):
        on = [(part, _on(part, spots)) for part in group]
        if not any(len(here) for _, here in on):
            continue
        ground = kept.ground(window)
        for part, here in on:
            points = _points(ground, (part, window), spots.at_m[here], kept.look.joins)
            tangent = steepest_sight(ground.possible, points).tangent
            overhead[here] = np.where(np.isfinite(tangent), np.degrees(np.arctan(tangent)), np.nan)
            unknown[here] = unknown_above(ground, points).there
            for k, (target, cell) in enumerate(zip(targets, _sources(ground, targets), strict=True)):
                at = spots.chainage_m[here]
                before = np.flatnonzero((at >= target.from_m) & (at <= target.to_m))
                seen, *columns = _open(ground, points, before, cell)
                sights[k].append(np.stack((here[seen.astype(np.intp)], *columns)))
    return FromLine(overhead, unknown, tuple(_together(parts) for parts in sights))


def _on(part: Stretch, spots: Spots) -> NDArray[np.intp]:
    inside = (spots.at_m >= part.chainage_m[0]) & (spots.at_m <= part.chainage_m[-1])
    return np.flatnonzero((spots.leg == part.leg) & inside)


def _points(
    ground: OverheadGround, where: tuple[Stretch, Window], at_m: Array, joins: tuple[int, int]
) -> Points:
    part, window = where
    col = (np.interp(at_m, part.chainage_m, part.col) - window.left) / joins[0]
    row = (np.interp(at_m, part.chainage_m, part.row) - window.top) / joins[1]
    return ground.points(col, row)


def _sources(ground: OverheadGround, targets: Sequence[Target]) -> list[int]:
    """Which source each target is; -1 none."""
    where = [target.lon_deg for target in targets], [target.lat_deg for target in targets]
    cells = np.floor(ground.dem.grid.from_wgs84(*where)).T.tolist()
    return [ground.sources.number(int(col), int(row)) for col, row in cells]


def _open(
    ground: OverheadGround, points: Points, some: NDArray[np.intp], cell: int
) -> tuple[Array, Array, Array, Array]:
    """Which of some points see a source, and angle, bearing and distance of each sight."""
    if cell < 0 or len(some) == 0:
        return (np.empty(0),) * 4
    col, row = ground.sources.col[cell] + 0.5, ground.sources.row[cell] + 0.5
    east, north = ground.offset_m(col - points.col[some], row - points.row[some])
    distance = np.hypot(east, north)
    tangent = (ground.sources.height_m[cell] - points.height_m[some]) / np.maximum(distance, LEAST_SIGHT_M)
    least = math.tan(math.radians(LEAST_CHECK_SIGHT_DEG))
    far = np.flatnonzero((distance >= LEAST_SIGHT_M) & (distance <= ground.reach_m) & (tangent >= least))
    far = far[in_sight(ground, points, Pairs(some[far], np.full(len(far), cell), tangent[far]))]
    bearing = np.remainder(np.degrees(np.arctan2(east[far], north[far])), 360.0)
    return some[far].astype(float), np.degrees(np.arctan(tangent[far])), bearing, distance[far]


def _together(parts: list[Array]) -> OpenSights:
    spot, *columns = np.concatenate(parts, axis=1)
    return OpenSights(spot.astype(np.intp), *columns)
