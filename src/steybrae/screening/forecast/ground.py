"""The ground of a screened line made ready for matching against a forecast.

Three grounds, kept apart: the cells that the line touches and those around each; the cells of
the corridor; and the start zones that look down on the line at 18 degrees or more and from which
snow could come (in sight of the line, or with their way down passing near it). Of each piece of
ground the sectors that it may face and the heights between which it lies are kept, its
uncertainty included.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.named import (
    GroundCells,
    LegGrounds,
    compact,
    join_cells,
)
from steybrae.route.corridor import LineInWindow, Window, cells_inside
from steybrae.route.ground import Look, bins_reached, window
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.route.touching import cells_touched
from steybrae.route.track import Track, stretches
from steybrae.screening.forecast.at import BulletinSource, ForecastAsk, forecast_at_place
from steybrae.screening.forecast.cells import CellsKnown, cells_for_matching, cells_known, gathered, ground_of
from steybrae.screening.forecast.overhead import zones_overhead
from steybrae.screening.ground.at import look_around
from steybrae.screening.ground.result import GroundAt
from steybrae.screening.known import overhead_look, slopes_known
from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import Settings, leg_look, route_tracks
from steybrae.terrain.attributes import SlopeField, slope_field
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.jacobian import cell_size_m, jacobian_at

__all__ = ["with_forecast_ground", "with_place_forecast"]


def with_forecast_ground(
    screening: RouteScreening, route: Route, source: DemSource, settings: Settings
) -> RouteScreening:
    """Return the same screening with its grounds for matching a forecast.

    Parameters
    ----------
    screening
        The line, screened.
    route, source, settings
        What it was made from.

    Returns
    -------
    RouteScreening

    Raises
    ------
    ModelError
        The model cannot be used there.
    """
    tracks, inside = route_tracks(route, source.grid)
    cell = cell_size_m(source.grid, *inside)
    jacobian = jacobian_at(source.grid, *inside)
    how = cells_known(settings.vertical_error_m, slopes_known(settings.method, jacobian, settings), max(cell))
    look = overhead_look(cell, jacobian, settings)
    overhead, start_from_deg = zones_overhead(source, tracks, look, how)
    legs = []
    for number, track in enumerate(tracks):
        look_beside = leg_look(route, number, cell, how.known, settings)
        line, corridor = _line_and_corridor(source, track, look_beside, how)
        legs.append(LegGrounds(line, corridor, overhead[number], start_from_deg))
    return replace(screening, forecast_grounds=tuple(legs))


def with_place_forecast(
    found: GroundAt,
    place: Place,
    source: DemSource,
    settings: Settings,
    bulletins: BulletinSource,
    ask: ForecastAsk,
) -> GroundAt:
    """Return the ground at a place with a forecast beside it.

    Parameters
    ----------
    found, place, source, settings
        The ground, and what it was made from; its circle stands for a line.
    bulletins, ask
        See `steybrae.screening.forecast.at`.

    Returns
    -------
    GroundAt

    Raises
    ------
    BulletinError
        The file is for several regions and none was named.
    """
    around = look_around(place, source, found.within.radius_m, settings)
    how = cells_known(settings.vertical_error_m, around.known, max(around.cell_size_m))
    at = np.nonzero(around.within(found.within.radius_m))
    unknown = np.array([bool(np.isnan(around.field.slope_deg[at]).any())])
    ground = ground_of(around.field, *at)
    circle = cells_for_matching(
        np.array([0.0, 1.0]), unknown, np.zeros(len(at[0]), dtype=np.intp), ground, how
    )
    here = np.array([place.lon_deg] * 2), np.array([place.lat_deg] * 2)
    track = Track(*here, np.array([0.0, 1.0]), np.zeros(1))
    look = overhead_look(around.cell_size_m, around.jacobian, settings)
    overhead, from_deg = zones_overhead(source, [track], look, how)
    return forecast_at_place(found, LegGrounds(circle, circle, overhead[0], from_deg), bulletins, ask)


def _line_and_corridor(
    source: DemSource, track: Track, look: Look, how: CellsKnown
) -> tuple[GroundCells, GroundCells]:
    col, row = source.grid.from_wgs84(track.lon_deg, track.lat_deg)
    count = max(1, math.ceil(track.length_m / look.spacing_m))
    bins = (track.length_m / count or 1.0, count)
    lines, corridor = [], []
    unknown = np.zeros(count, dtype=bool)
    for first, last in stretches(track, 48 * look.spacing_m):
        part, context = slice(first, last + 1), slice(max(first - 1, 0), last + 2)
        end_m = float(track.chainage_m[last])
        corner = window(col[part], row[part], end_m, look)
        field = slope_field(source.read(*corner), look.method, engine=look.engine, halves=look.baseline_cells)
        here_col, here_row = col - corner[1], row - corner[0]
        lines.append(_on_line(field, here_col[part], here_row[part], track.chainage_m[part], how))
        line = LineInWindow(
            here_col[context],
            here_row[context],
            track.chainage_m[context],
            (float(track.chainage_m[first]), end_m),
        )
        corridor.append(_in_corridor(field, line, bins, look, unknown, how))
    edges = np.linspace(0.0, track.length_m, count + 1)
    on_line = join_cells(lines)
    return on_line, gathered(edges, unknown, [*corridor, _in_bins(on_line, edges)])


def _in_bins(cells: GroundCells, edges_m: Array) -> GroundCells:
    """Cells of the line in the bins of its corridor, which holds them too."""
    which, at = bins_reached(cells.edges_m[cells.at], cells.edges_m[cells.at + 1], edges_m)
    heights = cells.low_m[which], cells.high_m[which]
    unknown = np.zeros(len(edges_m) - 1, dtype=bool)
    return compact(edges_m, unknown, at, cells.slope_deg[which], cells.sectors[which], heights)


def _on_line(field: SlopeField, col: Array, row: Array, chainage_m: Array, how: CellsKnown) -> GroundCells:
    cuts, j, i = cells_touched(col, row, chainage_m)
    # Most of the sixteen are the same nine: each cell of a piece once.
    piece, j, i = np.unique(
        np.stack((np.repeat(np.arange(len(j)), j.shape[1]), j.ravel(), i.ravel())), axis=1
    )
    unknown = np.bincount(piece, np.isnan(field.slope_deg[j, i]), len(cuts) - 1) > 0
    return cells_for_matching(cuts, unknown, piece, ground_of(field, j, i), how)


def _in_corridor(
    field: SlopeField,
    line: LineInWindow,
    bins: tuple[float, int],
    look: Look,
    unknown: NDArray[np.bool_],
    how: CellsKnown,
) -> GroundCells:
    """Cells of the corridor of one stretch, in bins of the whole leg; marks unknown bins."""
    dem = field.dem
    jacobian = jacobian_at(dem.grid, dem.grid.shape[1] / 2, dem.grid.shape[0] / 2)
    near = Window(field.slope_deg, field.slope_deg, dem.heights_m, jacobian)
    (j, i), at_bins = cells_inside(near, line, bins, look.place_error_m, look.drift_deg)
    unknown[at_bins[:, np.isnan(near.slope_deg[j, i])]] = True
    at = at_bins.ravel()
    j, i = np.tile(j, 3), np.tile(i, 3)
    edges = np.linspace(0.0, bins[0] * bins[1], bins[1] + 1)
    return cells_for_matching(edges, unknown, at, ground_of(field, j, i), how)
