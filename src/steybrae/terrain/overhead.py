"""What looks down on places: the steepest sight and the steepest path of snow to them.

Two measures, which may point to different zones: the *sight* angle
(`steybrae.terrain.overhead_sight`) and the *path* angle (`steybrae.terrain.overhead_path`).
Neither says how far snow will run.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array
from steybrae.terrain.overhead_ground import LEAST_SIGHT_DEG, OverheadGround, Points
from steybrae.terrain.overhead_path import EnergyLines, energy_lines, pulled
from steybrae.terrain.overhead_sight import Pairs, first_open, steepest_sight, unknown_overhead

__all__ = ["Overhead", "PathUp", "SightUp", "look_up", "zone_top"]

PATH_STEP_DEG: Final = 0.05
"""How closely the path angle is solved, degrees, rounded up (our choice: half of what is shown)."""

LONGEST_DETOUR: Final = 1.0 / 0.9733
"""Greatest ratio of a way of grid steps to the straight one it follows, 1/cos(13.28 degrees)."""

_ANGLES_AT_ONCE: Final = 20


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
    """The way of snow that reaches a place at the steepest angle.

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
    """What looks down on a line of places, or on one.

    Attributes
    ----------
    in_start_zone
        For each place whether it stands in a start zone.
    unknown_above
        Whether unknown ground within reach could look down on it: the answer is then
        "at least", or unknown where there is none.
    sight
        Steepest sight from which snow could come; None where nothing looks down.
    unfiltered
        Steepest sight whatever lies between; None where nothing looks down.
    top
        Sight to the top of the zone of `sight`, from the same place.
    path
        Steepest way of snow; None where none arrives at `LEAST_SIGHT_DEG`.
    """

    in_start_zone: NDArray[np.bool_]
    unknown_above: bool
    sight: SightUp | None
    unfiltered: SightUp | None
    top: SightUp | None
    path: PathUp | None


def look_up(ground: OverheadGround, points: Points) -> Overhead:
    """Look up from places.

    Parameters
    ----------
    ground
        Where.
    points
        One place, or those along a line.  The path angle is that of the cells they lie in.

    Returns
    -------
    Overhead
        The steepest over all places. Places of unknown height only make it "at least".
    """
    known = np.isfinite(points.height_m)
    col, row = points.col.astype(np.intp), points.row.astype(np.intp)
    in_zone = ground.zones.in_range[row, col]
    unknown = unknown_overhead(ground, points)
    unfiltered = _steepest(ground, points, steepest_sight(ground, points, only_steepest=True))
    sight = top = None
    if unfiltered is not None:
        steepest = math.tan(math.radians(unfiltered.deg))
        sight = _steepest(ground, points, first_open(ground, points, steepest * (1.0 + 1e-12)))
    if sight is not None:
        top = zone_top(ground, points, sight)
    likely_deg = LEAST_SIGHT_DEG if sight is None else sight.deg
    numbers = np.flatnonzero(known & np.isfinite(ground.dem.heights_m[row, col]))
    path = _steepest_path(ground, (col[numbers], row[numbers]), numbers, likely_deg)
    return Overhead(in_zone, unknown, sight, unfiltered, top, path)


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
    """Sight to the top of the zone straight up from a source cell.

    The steepest way up from the cell, neighbour by neighbour, as long as it stays on ground
    that snow may come from. Published run-out angles are measured to the top of the release.

    Parameters
    ----------
    ground, points
        As for `look_up`.
    sight
        To the source cell.

    Returns
    -------
    SightUp
        From the same place; to the same cell where the zone goes no higher.
    """
    heights, source = ground.dem.heights_m, ground.zones.source
    col, row = int(sight.col), int(sight.row)
    steps = [(i, j) for j in (-1, 0, 1) for i in (-1, 0, 1) if i or j]
    length = {step: math.hypot(*ground.offset_m(*map(np.asarray, step))) for step in steps}
    rows, cols = heights.shape
    while True:
        up, best = 0.0, None
        for (i, j), far in length.items():
            c, r = col + i, row + j
            if not (0 <= c < cols and 0 <= r < rows and source[r, c]):
                continue
            climb = (heights[r, c] - heights[row, col]) / far
            if climb > up:
                up, best = climb, (c, r)
        if best is None:
            return _sight(ground, points, sight.point, col, row)
        col, row = best


def _steepest_path(
    ground: OverheadGround,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    numbers: NDArray[np.intp],
    likely_deg: float,
) -> PathUp | None:
    """Solve for the largest angle at which any of the cells is reached.

    The angle is sought between bounds: no path is steeper than the unfiltered sight from the
    same cell, and the steepest open sight is likely near, longer only by the detour of grid
    steps. If that guess fails the search goes on below it.
    """
    points = ground.centres(*cells)
    likely = math.degrees(math.atan(math.tan(math.radians(likely_deg)) / LONGEST_DETOUR)) - 2 * PATH_STEP_DEG
    low, sight_deg = max(likely, LEAST_SIGHT_DEG), np.empty(0)
    high, found = math.inf, None
    while high > LEAST_SIGHT_DEG:
        sights = steepest_sight(ground, points, low).tangent
        sight_deg = np.degrees(np.arctan(sights))
        top = min(high, float(sight_deg.max(initial=low)) + PATH_STEP_DEG)
        found = _solve(ground, cells, sight_deg, low, max(top, low + PATH_STEP_DEG))
        if found is not None or low <= LEAST_SIGHT_DEG:
            break
        high, low = low, LEAST_SIGHT_DEG
    return None if found is None else _path_up(ground, points, numbers, *found)


def _solve(
    ground: OverheadGround,
    cells: tuple[NDArray[np.intp], NDArray[np.intp]],
    sight_deg: Array,
    low: float,
    high: float,
) -> tuple[EnergyLines, int, float] | None:
    """Narrow the angle down; lines, which of their angles is reached, least angle not reached."""
    found = None
    angles = np.linspace(low, high, _ANGLES_AT_ONCE + 1)[:-1]
    while True:
        lines = energy_lines(ground, *cells, angles, sight_deg)
        hit = np.flatnonzero(lines.reached.any(axis=1))
        if len(hit):
            found, low = (lines, int(hit[-1])), float(angles[hit[-1]])
            high = float(angles[hit[-1] + 1]) if hit[-1] + 1 < len(angles) else high
        elif found is None:
            return None
        else:
            high = float(angles[0])
        if high - low <= PATH_STEP_DEG:
            return (*found, high)
        angles = np.linspace(low, high, _ANGLES_AT_ONCE + 2)[1:-1]


def _path_up(
    ground: OverheadGround,
    points: Points,
    numbers: NDArray[np.intp],
    lines: EnergyLines,
    angle: int,
    above_deg: float,
) -> PathUp:
    target = int(np.flatnonzero(lines.reached[angle])[0])
    col, row = lines.way(angle, target)
    way = pulled(ground, col, row, float(lines.angles_deg[angle]))
    east, north = ground.offset_m(way.col[0] - points.col[target], way.row[0] - points.row[target])
    rise = float(ground.dem.heights_m[row[0], col[0]] - points.height_m[target])
    deg = max(above_deg, way.deg)
    return PathUp(deg, _bearing(east, north), way.length_m, rise, int(numbers[target]), way.col, way.row)
