"""Overhead angles of a screened line, made ready for its map."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from steybrae.route.expected import LEAST_SIGHT_M
from steybrae.route.overhead_reading import read_ground
from steybrae.route.overhead_result import SightAnswer
from steybrae.route.overhead_windows import MOST_CELLS, OverheadLook, Window
from steybrae.route.shape_result import Spot
from steybrae.screening.picture import ShapeOnMap, SightOnMap, ZonesOnMap
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import DemSource, Grid
from steybrae.terrain.gradients import check_method
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.uncertainty import slope_uncertainty

__all__ = ["reading_number", "shapes_on_map", "sights_on_map", "zones_on_map"]

MOST_OUTLINE_PER_MM: Final = 0.2
"""Millimetres of outline on a square millimetre of map at the most (our choice, by looking)."""

_LETTERS: Final = {"gully": "G", "flattening": "F", "cliff below": "C"}


def sights_on_map(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[SightOnMap, ...]:
    """Sight lines long enough to draw, one for legs that share it, steepest first.

    Parameters
    ----------
    legs
        Each gives its open sight or, where that is to the slope underfoot, the one from outside
        of start zones.
    grid
        Of the model.

    Returns
    -------
    tuple of SightOnMap
    """
    found: dict[Spot, SightOnMap] = {}
    for leg in legs:
        sight = _far_sight(leg)
        if sight is None or sight.deg is None or sight.place is None or sight.stand is None:
            continue
        known = found.get(sight.place)
        if known is None:
            ends = _xy(sight.stand, grid), _xy(sight.place, grid)
            number = reading_number(leg, sight.stand, sight.deg)
            found[sight.place] = SightOnMap((leg.number,), number, sight.deg, leg.unknown_above, *ends)
        else:
            ends = known.stand, known.source
            if sight.deg > known.deg:
                ends = _xy(sight.stand, grid), known.source
            found[sight.place] = replace(
                known,
                legs=(*known.legs, leg.number),
                deg=max(known.deg, sight.deg),
                at_least=known.at_least or leg.unknown_above,
                stand=ends[0],
            )
    return tuple(sorted(found.values(), key=lambda sight: -sight.deg))


def _far_sight(leg: LegScreening) -> SightAnswer | None:
    looks = leg.overhead
    sights = [] if looks is None else [looks.sight, looks.sight_outside]
    far = [one for one in sights if one is not None and (one.distance_m or 0.0) >= LEAST_SIGHT_M]
    return far[0] if far else None


def reading_number(leg: LegScreening, place: Spot, deg: float) -> int | None:
    """Give the number of the check at a place of a leg, if it is one."""
    for reading in leg.expected_readings:
        if reading.place == place and reading.expected_deg == deg:
            return reading.number
    return None


def shapes_on_map(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[ShapeOnMap, ...]:
    """Most marked convex roll and terrain trap of each kind on a leg; those to read first."""
    found = []
    for leg in legs:
        if leg.convex_rolls:
            roll = max(leg.convex_rolls, key=lambda one: one.below_deg - one.above_deg)
            number = reading_number(leg, roll.place, roll.below_deg)
            found.append(ShapeOnMap("R", leg.number, number, *_xy(roll.place, grid)))
        for kind, letter in _LETTERS.items():
            traps = [trap for trap in leg.terrain_traps if trap.kind == kind]
            if traps:
                worst = max(traps, key=lambda trap: (trap.slope_deg or 0.0, trap.depth_m or 0.0))
                found.append(ShapeOnMap(letter, leg.number, None, *_xy(worst.place, grid)))
    return tuple(sorted(found, key=lambda shape: (shape.number is None, shape.leg)))


def _xy(spot: Spot, grid: Grid) -> tuple[float, float]:
    x, y = grid.xy(*grid.from_wgs84(spot.lon_deg, spot.lat_deg))
    return float(x), float(y)


def zones_on_map(
    screening: RouteScreening, source: DemSource, window: tuple[int, int, int, int], scale: float
) -> ZonesOnMap | None:
    """Start zones on a map.

    Parameters
    ----------
    screening
        How its slopes are known.
    source
        The model.
    window
        Row, column, rows and columns of the map in it.
    scale
        Denominator of the map's scale.

    Returns
    -------
    ZonesOnMap or None
        None on a map of more ground than is looked at at once, and where the outlines would
        lie so close that they would tell nothing.
    """
    facts, used = screening.model, screening.settings
    top, left, rows, cols = window
    jacobian = jacobian_at(source.grid, left + cols / 2, top + rows / 2)
    method = check_method(facts.method)
    known = slope_uncertainty(method, jacobian, used.vertical_error_m, used.correlation_m)
    look = OverheadLook(facts.cell_size_m, known, used.start_zones, used.reach_m)
    join_col, join_row = look.joins
    if rows * cols > MOST_CELLS * join_col * join_row:
        return None
    # One joined cell more on each side than is shown.
    cells = Window(
        (top // join_row - 2) * join_row,
        (left // join_col - 2) * join_col,
        (-(-(top + rows) // join_row) + 2) * join_row,
        (-(-(left + cols) // join_col) + 2) * join_col,
    )
    ground = read_ground(source, cells, look)
    inside = np.array(ground.zones.source)
    across, along = (float(np.count_nonzero(np.diff(inside, axis=axis))) for axis in (1, 0))
    length_m = across * ground.cell_m[1] + along * ground.cell_m[0]
    area_m2 = inside.size * ground.cell_m[0] * ground.cell_m[1]
    if length_m / area_m2 * scale / 1000.0 > MOST_OUTLINE_PER_MM:
        return None
    return ZonesOnMap(ground.dem.grid, inside)
