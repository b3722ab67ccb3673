"""Overhead angles of places: the steepest sight to a start zone, and the steepest path from one.

Two measures, which may point to different zones: the *sight* angle
(`steybrae.terrain.overhead.sight_pairs`) and the *path* angle (`steybrae.terrain.overhead.path`), among whose
ways the straight one down the open sight line counts with its own length. Neither says how far
snow will run.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG, NEIGHBOURS, OverheadGround, Points
from steybrae.terrain.overhead.path import EnergyLines, energy_lines, pulled, straight_deg
from steybrae.terrain.overhead.sight import first_open
from steybrae.terrain.overhead.sight_pairs import Pairs, steepest_sight
from steybrae.terrain.overhead.unknown import UnknownAbove, unknown_above

PATH_STEP_DEG: Final = 0.05
"""How closely the path angle is solved, degrees, rounded up (our choice: half of what is shown)."""

_ANGLES: Final = 20
"""Into how many parts a range of angles is cut, so that one cut mostly does."""

_ANGLES_AT_ONCE: Final = 5
"""How many angles are held in memory at once."""


@dataclass(frozen=True)
class SightUp:
    """A sight line from a place up to a source cell.

    Attributes
    ----------
    deg
        Angle above the horizon, degrees.
    bearing_true_deg
        To look along, clockwise from true north.
    distance_m, rise_m
        Horizontal distance and height difference, metres.
    point
        Which of the places.
    col, row
        Centre of the source cell in the window, cells.
    """

    deg: float
    bearing_true_deg: float
    distance_m: float
    rise_m: float
    point: int
    col: float
    row: float


@dataclass(frozen=True, eq=False)
class PathUp:
    """The path that reaches a place at the steepest angle.

    Attributes
    ----------
    deg
        The path angle, degrees.
    bearing_true_deg
        Straight to the source, clockwise from true north.
    path_m, rise_m
        Length of the way on the map and height of the source above the place, metres.
    point
        Which of the places.
    col, row
        Corners of the way in the window, cells, the source first.
    """

    deg: float
    bearing_true_deg: float
    path_m: float
    rise_m: float
    point: int
    col: Array
    row: Array


@dataclass(frozen=True, eq=False)
class Overhead:
    """Overhead angles of a line of places, or of one.

    Attributes
    ----------
    in_start_zone, in_possible_zone
        For each place whether it stands in a start zone, or in a possible one.
    possible_deg
        Steepest sight from each place up to a possible start zone, whatever lies between, degrees;
        NaN where there is none, or its height is unknown.
    unknown_above
        From which of them unknown ground could look down: the answer is then "at least", or
        unknown where there is none.
    sight
        Steepest sight from which snow could come; None where nothing looks down.
    unfiltered
        Steepest sight whatever lies between; None where nothing looks down.
    outside, outside_unfiltered
        The same from the places that stand in no start zone, where `sight` is from one that
        does: there the next cell of the same slope is often the steepest.
    unfiltered_deg
        The same from each place, degrees; NaN where nothing looks down, or its height is unknown.
    pairs
        Each place and its source for that.
    top
        Sight to the top of the zone of `sight`, from the same place.
    path
        Steepest path of snow; None where none arrives at `LEAST_SIGHT_DEG`.
    """

    in_start_zone: NDArray[np.bool_]
    in_possible_zone: NDArray[np.bool_]
    possible_deg: Array
    unknown_above: UnknownAbove
    sight: SightUp | None
    unfiltered: SightUp | None
    outside: SightUp | None
    outside_unfiltered: SightUp | None
    unfiltered_deg: Array
    pairs: Pairs
    top: SightUp | None
    path: PathUp | None


def look_up(ground: OverheadGround, points: Points) -> Overhead:
    """Look up from places: one, or those along a line; the steepest over all of them.

    The path angle is that of the cells they lie in. Places of unknown height only make it "at
    least".
    """
    col, row = points.col.astype(np.intp), points.row.astype(np.intp)
    in_zone, in_possible = ground.zones.in_range[row, col], ground.zones.possible[row, col]
    possible = steepest_sight(ground.possible, points)
    sights = _of_sources(ground, points, possible)
    unfiltered = _steepest(ground, points, sights)
    sight = _open(ground, points, sights.tangent)
    outside, outside_unfiltered = sight, unfiltered
    if sight is not None and in_zone[sight.point]:
        outside, outside_unfiltered = _outside(ground, points, sights, np.flatnonzero(~in_zone))
    top = None if sight is None else zone_top(ground, points, sight)
    straight = None if sight is None else _straight(ground, points, sight)
    path = None if unfiltered is None else _steepest_path(ground, points, straight, sights.tangent)
    if path is not None and unfiltered is not None and path.deg > unfiltered.deg:
        # No way is shorter than the straight one: what was rounded up beyond it comes back.
        path = replace(path, deg=unfiltered.deg)
    return Overhead(
        in_start_zone=in_zone,
        in_possible_zone=in_possible,
        possible_deg=_degrees(possible.tangent),
        unknown_above=unknown_above(ground, points),
        sight=sight,
        unfiltered=unfiltered,
        outside=outside,
        outside_unfiltered=outside_unfiltered,
        unfiltered_deg=_degrees(sights.tangent),
        pairs=sights,
        top=top,
        path=path,
    )


def _of_sources(ground: OverheadGround, points: Points, possible: Pairs) -> Pairs:
    """Steepest sights to sources from those to possible ones: most are the same."""
    cell = ground.certain[possible.cell].astype(np.intp)
    tangent = np.where(cell < 0, -np.inf, possible.tangent)
    ask = np.flatnonzero((cell < 0) & (possible.cell >= 0))
    if len(ask):
        found = steepest_sight(ground, points.pick(ask))
        cell[ask], tangent[ask] = found.cell, found.tangent
    return Pairs(possible.point, cell, tangent)


def _degrees(tangent: Array) -> Array:
    out: Array = np.where(np.isfinite(tangent), np.degrees(np.arctan(tangent)), np.nan)
    return out


def _open(ground: OverheadGround, points: Points, tangent: Array) -> SightUp | None:
    """Steepest sight from which snow could come; tangents are the unfiltered ones."""
    steepest = float(tangent.max(initial=-np.inf))
    if steepest == -np.inf:
        return None
    return _steepest(ground, points, first_open(ground, points, steepest * (1.0 + 1e-12)))


def _outside(
    ground: OverheadGround, points: Points, sights: Pairs, numbers: NDArray[np.intp]
) -> tuple[SightUp | None, SightUp | None]:
    """Steepest open sight from some of the places, and the steepest whatever lies between."""
    some = points.pick(numbers)
    found = (
        _open(ground, some, sights.tangent[numbers]),
        _steepest(
            ground, some, Pairs(np.arange(len(numbers)), sights.cell[numbers], sights.tangent[numbers])
        ),
    )
    one, whatever = (None if up is None else replace(up, point=int(numbers[up.point])) for up in found)
    return one, whatever


def _steepest(ground: OverheadGround, points: Points, pairs: Pairs) -> SightUp | None:
    if len(pairs.cell) == 0 or pairs.cell.max() < 0:
        return None
    best = int(np.argmax(pairs.tangent))
    cell, point = pairs.cell[best], int(pairs.point[best])
    return _sight(ground, points, point, int(ground.sources.col[cell]), int(ground.sources.row[cell]))


def _sight(ground: OverheadGround, points: Points, point: int, col: int, row: int) -> SightUp:
    east, north = ground.offset_m(col + 0.5 - points.col[point], row + 0.5 - points.row[point])
    distance = math.hypot(east, north)
    rise = float(ground.dem.heights_m[row, col] - points.height_m[point])
    deg = math.degrees(math.atan2(rise, distance))
    return SightUp(deg, _bearing(east, north), distance, rise, point, col + 0.5, row + 0.5)


def _bearing(east: float | Array, north: float | Array) -> float:
    return math.degrees(math.atan2(float(east), float(north))) % 360.0


def zone_top(ground: OverheadGround, points: Points, sight: SightUp) -> SightUp:
    """Sight from the same place to the top of the zone straight up from a source cell.

    The steepest way up from the cell, neighbour by neighbour, as long as it stays on ground that
    snow may come from and within the reach; to the same cell where the zone goes no higher.
    Published run-out angles are measured to the top of the release.
    """
    heights, source = ground.dem.heights_m, ground.zones.source
    col, row = int(sight.col), int(sight.row)
    length = {
        (i, j): float(np.hypot(*ground.offset_m(np.asarray(i), np.asarray(j))))
        for i, j in NEIGHBOURS.tolist()
    }
    rows, cols = heights.shape
    here = points.col[sight.point] - 0.5, points.row[sight.point] - 0.5

    def _off_m(c: int, r: int) -> float:
        return math.hypot(*map(float, ground.offset_m(c - here[0], r - here[1])))

    while True:
        up, best = 0.0, None
        for (i, j), far in length.items():
            c, r = col + i, row + j
            if not (0 <= c < cols and 0 <= r < rows and source[r, c]) or _off_m(c, r) > ground.reach_m:
                continue
            climb = (heights[r, c] - heights[row, col]) / far
            if climb > up:
                up, best = climb, (c, r)
        if best is None:
            return _sight(ground, points, sight.point, col, row)
        col, row = best


def _straight(ground: OverheadGround, points: Points, sight: SightUp) -> PathUp:
    """Find the path straight down a sight line, as flat as the ground below it asks."""
    col, row = int(sight.col), int(sight.row)
    ends = np.array([sight.col, points.col[sight.point]]), np.array([sight.row, points.row[sight.point]])
    deg = straight_deg(ground, *ends, float(ground.dem.heights_m[row, col]))
    return PathUp(deg, sight.bearing_true_deg, sight.distance_m, sight.rise_m, sight.point, *ends)


def _steepest_path(
    ground: OverheadGround, points: Points, straight: PathUp | None, tangent: Array
) -> PathUp | None:
    """Solve for the largest angle at which any of the places is reached.

    It lies between that of the straight way down the open sight line and the unfiltered
    sight, for no way is shorter than the straight one.
    """
    straight = straight if straight is not None and straight.deg >= LEAST_SIGHT_DEG else None
    low = LEAST_SIGHT_DEG if straight is None else straight.deg
    col, row = points.col.astype(np.intp), points.row.astype(np.intp)
    numbers = np.flatnonzero(np.isfinite(ground.dem.heights_m[row, col]))
    col, row = col[numbers], row[numbers]
    centres = ground.centres(col, row)
    at_centres = np.array_equal(centres.col, points.col[numbers]) and np.array_equal(
        centres.row, points.row[numbers]
    )
    tangent = tangent[numbers] if at_centres else steepest_sight(ground, centres, low).tangent
    sight_deg = np.degrees(np.arctan(tangent))
    high = float(sight_deg.max(initial=-90.0))
    if straight is not None and high - low <= PATH_STEP_DEG:
        return replace(straight, deg=max(high, low))
    found = None if high < low else _solve(ground, (col, row), sight_deg, low, high)
    if found is None:
        return straight
    lines, angle, above_deg = found
    target = int(np.flatnonzero(lines.reached[angle])[0])
    cells = lines.way(angle, target)
    way = pulled(ground, *cells, float(lines.angles_deg[angle]))
    east, north = ground.offset_m(way.col[0] - centres.col[target], way.row[0] - centres.row[target])
    rise = float(ground.dem.heights_m[cells[1][0], cells[0][0]] - centres.height_m[target])
    deg = max(above_deg, way.deg)
    return PathUp(deg, _bearing(east, north), way.length_m, rise, int(numbers[target]), way.col, way.row)


def _solve(
    ground: OverheadGround,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    sight_deg: Array,
    low: float,
    high: float,
) -> tuple[EnergyLines, int, float] | None:
    """Narrow the angle down; lines, which of their angles is reached, least angle not reached."""
    found = None
    angles = np.linspace(low, high, _ANGLES + 1)[:-1]
    while True:
        hit = _largest_reached(ground, cells, angles, sight_deg)
        if hit is not None:
            found, at = hit[:2], hit[2]
            low, high = float(angles[at]), float(angles[at + 1]) if at + 1 < len(angles) else high
        elif found is None:
            return None
        else:
            high = float(angles[0])
        if high - low <= PATH_STEP_DEG:
            return (*found, high)
        angles = np.linspace(low, high, _ANGLES + 2)[1:-1]


def _largest_reached(
    ground: OverheadGround, cells: tuple[NDArray[np.intp], NDArray[np.intp]], angles: Array, sight_deg: Array
) -> tuple[EnergyLines, int, int] | None:
    """Lines, which of theirs, and which of all angles is the largest reached; steep ones first.

    A few angles at a time: the steeper they are the less ground they need.
    """
    for end in range(len(angles), 0, -_ANGLES_AT_ONCE):
        start = max(0, end - _ANGLES_AT_ONCE)
        lines = energy_lines(ground, *cells, angles[start:end], sight_deg)
        hit = np.flatnonzero(lines.reached.any(axis=1))
        if len(hit):
            return lines, int(hit[-1]), start + int(hit[-1])
    return None
