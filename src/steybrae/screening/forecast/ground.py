"""The ground of a screened line made ready for matching against a forecast.

Three grounds, kept apart: the cells that the line touches and those around each; the cells of
the corridor; and the start zones that look down on the line at 18 degrees or more and from which
snow could come (in sight of the line, or with their way down passing near it). Of each piece of
ground the sectors that it may face and the heights between which it lies are kept, its
uncertainty included.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from steybrae.forecast.bulletin import BulletinFile
from steybrae.forecast.named import (
    GroundCells,
    LegGrounds,
    compact,
    join_cells,
)
from steybrae.route.corridor import cells_inside
from steybrae.route.ground import Look, StretchRead, bins_reached, read_leg
from steybrae.route.legs import Route, Track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.positions.places import Place
from steybrae.route.touching import cells_touched
from steybrae.screening.forecast.at import ForecastAsk, forecast_at_place
from steybrae.screening.forecast.overhead import (
    CellsKnown,
    cells_for_matching,
    cells_known,
    gathered,
    ground_of,
    zones_overhead,
)
from steybrae.screening.ground.at import look_around
from steybrae.screening.ground.result import GroundAt
from steybrae.screening.known import Settings, overhead_look
from steybrae.screening.ready import ReadyLine
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.gradients import runs


def with_forecast_ground(
    screening: RouteScreening, route: Route, source: DemSource, settings: Settings
) -> RouteScreening:
    """Return the same screening with its grounds for matching a forecast."""
    ready = ReadyLine.of(route, source, settings)
    matching = Matching(ready)
    for track, look in zip(ready.tracks, ready.looks, strict=True):
        take = matching.leg(track, look)
        for read in read_leg(source, track, look):
            take(read)
    return replace(screening, forecast_grounds=matching.grounds())


def with_place_forecast(
    found: GroundAt,
    place: Place,
    source: DemSource,
    settings: Settings,
    bulletins: BulletinFile,
    ask: ForecastAsk,
) -> GroundAt:
    """Return the ground at a place, whose circle stands for a line, with a forecast beside it.

    See `steybrae.screening.forecast.at`. `BulletinError` where the file is for several regions and
    none was named.
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
    overhead, from_deg = zones_overhead(KeptGround(source, look), [track], how, within=True)
    return forecast_at_place(found, LegGrounds(circle, circle, overhead[0], from_deg), bulletins, ask)


class Matching:
    """Grounds of all legs of a line, taken from each stretch as it is read."""

    def __init__(self, ready: ReadyLine) -> None:
        self._ready = ready
        self._how = cells_known(ready.settings.vertical_error_m, ready.known, max(ready.overhead.look.cell_m))
        self._legs: list[LegCells] = []

    def leg(self, track: Track, look: Look) -> Callable[[StretchRead], None]:
        """Begin the next leg; what is returned takes its stretches."""
        parts = track, look, self._how
        self._legs.append(self._ready.kept.of("cells", parts, lambda: LegCells(*parts)))
        return self._legs[-1].take

    def grounds(self) -> tuple[LegGrounds, ...]:
        """Grounds of each leg.

        Asked for last: what is overhead is read again, and the line's cautions count each height once.
        """
        overhead, from_deg = zones_overhead(self._ready.overhead, self._ready.tracks, self._how)
        both = zip(self._legs, overhead, strict=True)
        return tuple(LegGrounds(*leg.line_and_corridor(), above, from_deg) for leg, above in both)


class LegCells:
    """Cells of a leg and of its corridor, taken from each stretch as it is read."""

    def __init__(self, track: Track, look: Look, how: CellsKnown) -> None:
        self._bins, self._look, self._how = look.bins(track), look, how
        self._edges_m = np.linspace(0.0, track.length_m, self._bins[1] + 1)
        self._unknown = np.zeros(self._bins[1], dtype=bool)
        self._line: list[GroundCells] = []
        self._corridor: list[GroundCells] = []

    def take(self, read: StretchRead) -> None:
        """Add a stretch."""
        self._line.append(_on_line(read, self._how))
        self._corridor.append(self._in_corridor(read))

    def line_and_corridor(self) -> tuple[GroundCells, GroundCells]:
        """Both, of the whole leg."""
        line = join_cells(self._line)
        parts = [*self._corridor, _in_bins(line, self._edges_m)]
        return line, gathered(self._edges_m, self._unknown, parts)

    def _in_corridor(self, read: StretchRead) -> GroundCells:
        """Cells of the corridor of a stretch, in bins of the whole leg; marks unknown bins."""
        look = self._look
        (j, i), at_bins = cells_inside(read.cells, self._bins, look.place_error_m, look.drift_deg)
        self._unknown[at_bins[:, np.isnan(read.field.slope_deg[j, i])]] = True
        ground = ground_of(read.field, np.tile(j, 3), np.tile(i, 3))
        return cells_for_matching(self._edges_m, self._unknown, at_bins.ravel(), ground, self._how)


def _in_bins(cells: GroundCells, edges_m: Array) -> GroundCells:
    """Cells of the line in the bins of its corridor, which holds them too."""
    which, at = bins_reached(cells.edges_m[cells.at], cells.edges_m[cells.at + 1], edges_m)
    heights = cells.low_m[which], cells.high_m[which]
    unknown = np.zeros(len(edges_m) - 1, dtype=bool)
    return compact(edges_m, unknown, at, cells.slope_deg[which], cells.sectors[which], heights)


def _on_line(read: StretchRead, how: CellsKnown) -> GroundCells:
    field = read.field
    cuts, j, i = cells_touched(read.col, read.row, read.chainage_m)
    # Most of the sixteen are the same nine: each cell of a piece once.
    rows, cols = field.slope_deg.shape
    place = np.sort(((np.arange(len(j))[:, None] * rows + j) * cols + i).reshape(-1))
    piece, j, i = np.unravel_index(place[runs(place)[0]], (len(j), rows, cols))
    unknown = np.bincount(piece, np.isnan(field.slope_deg[j, i]), len(cuts) - 1) > 0
    return cells_for_matching(cuts, unknown, piece, ground_of(field, j, i), how)
