"""Ground along one leg: cells that the line touches, its profile, its corridor.

The leg is looked at in stretches, each with a window of the model of its own, so that a long
diagonal never asks for one large box.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.route.ascent import surface_heights
from steybrae.route.corridor import (
    DRIFT_DEG,
    PLACE_ERROR_M,
    SIDE_REACH_M,
    BesideLine,
    LineInWindow,
    NearCells,
    Steepest,
    Window,
    beside,
    half_width_m,
    merge,
    near_cells,
    reach_beside_m,
)
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.leg_baselines import LegBaseline, merged_baselines, stretch_baselines
from steybrae.route.legs import Track, stretches
from steybrae.route.touching import (
    NO_LINE,
    CorridorCells,
    Pieces,
    Polyline,
    StretchCells,
    cells_of,
    join_pieces,
    own_cells,
    touched,
)
from steybrae.terrain.attributes import SlopeField, at_points, slope_field, track_grade_deg
from steybrae.terrain.dem import MOST_CELLS_SLOPES, Array, DemSource, check_cells
from steybrae.terrain.engines import Engine
from steybrae.terrain.gradients import Method
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.uncertainty import SlopeUncertainty, line_ends_deg

STRETCH_CELLS: Final = 48
"""Length of a stretch, cells: windows of some thousand heights, small beside numpy's overhead."""

STRETCH_M: Final = SIDE_REACH_M
"""Least length of a stretch, metres: of fine cells much is read beside a short one, again and again."""

SPARE_CELLS: Final = 4
"""Ring of cells beyond what is asked for: slopes take one, cells touched around the line another, and
their roughness a third."""


@dataclass(frozen=True)
class Look:
    """How to look at the ground of a leg.

    Attributes
    ----------
    cell_m
        Ground size of a cell along a row and along a column, metres.
    baseline_cells
        Half-widths of the slope window, from `baseline_cells`.
    known
        How well slopes over that baseline are known.
    method, engine
        Slope method, and who computes it.
    place_error_m, drift_deg
        For the corridor.
    askew
        `steybrae.terrain.jacobian.askew` of the grid.
    """

    cell_m: tuple[float, float]
    baseline_cells: tuple[int, int]
    known: SlopeUncertainty
    method: Method = "horn"
    engine: Engine = "own"
    place_error_m: float = PLACE_ERROR_M
    drift_deg: float = DRIFT_DEG
    askew: float = 1.0

    @property
    def spacing_m(self) -> float:
        """Longest distance between points along a leg: one cell, metres."""
        return min(self.cell_m)

    @property
    def stretch_m(self) -> float:
        """Longest stretch with a window of its own, metres."""
        return max(STRETCH_CELLS * self.spacing_m, STRETCH_M)

    def reach_m(self, chainage_m: float) -> float:
        """Distance from the line within which ground is looked at up to a chainage of a leg, metres."""
        return reach_beside_m(chainage_m, self.place_error_m, self.drift_deg)

    def bins(self, track: Track) -> tuple[float, int]:
        """Length of a bin of chainage of a leg, metres, and how many there are."""
        count = max(1, math.ceil(track.length_m / self.spacing_m))
        return track.length_m / count or 1.0, count


@dataclass(frozen=True, eq=False)
class StretchRead:
    """One stretch of a leg and the ground round it, read once for every question.

    Attributes
    ----------
    ends
        First and last of the leg's vertices that it takes.
    corner
        Row and column of the window's first cell in the model.
    field
        Slopes of the window.
    known
        How well the slopes are known.
    near
        The window as the corridor takes it.
    reach_m
        How far from the line ground is looked at.
    line
        The stretch, in the window's cells, and one vertex more on each side.
    col, row, chainage_m
        The stretch alone, in the window's cells.
    """

    ends: tuple[int, int]
    corner: tuple[int, int]
    field: SlopeField
    known: SlopeUncertainty
    near: Window
    reach_m: float
    line: LineInWindow
    col: Array
    row: Array
    chainage_m: Array

    @cached_property
    def cells(self) -> NearCells:
        """Where each cell of the window lies from the line."""
        return near_cells(self.near, self.line, self.reach_m)

    def line_ends_deg(
        self, row: NDArray[np.intp], col: NDArray[np.intp]
    ) -> tuple[tuple[Array, Array], Array]:
        """Give the ends of some cells of the window (`steybrae.terrain.uncertainty.line_ends_deg`)."""
        field, at = self.field, (row, col)
        return line_ends_deg(field.p[at], field.q[at], self.known, field.roughness_deg[at])


@dataclass(frozen=True, eq=False)
class LegAlone:
    """All that the model says of a leg, whatever legs are before and after it.

    Attributes
    ----------
    track
        The line.
    pieces
        What it touches.
    chainage_m, elevation_m, aspect_true_deg, track_grade_deg
        At evenly spaced points, the ends included.
    surface_m
        Heights in walking order, with every top and dip of the model's surface among them
        (`steybrae.route.ascent.surface_heights`).
    beside
        What lies in the corridor and to the sides; columns and rows are the model's.
    baselines
        Steepest slope over each of several baselines.
    corridor_alone
        The cells of which `beside` has the steepest: also those beyond its ends, nearer to other legs.
    """

    track: Track
    pieces: Pieces
    chainage_m: Array
    elevation_m: Array
    surface_m: Array
    aspect_true_deg: Array
    track_grade_deg: Array
    beside: BesideLine
    baselines: tuple[LegBaseline, ...]
    corridor_alone: CorridorCells


@dataclass(frozen=True, eq=False)
class LegGround(LegAlone):
    """All that the model says of a leg among others.

    Attributes
    ----------
    corridor
        Its cells, without those that lie nearer to the legs before and after.
    """

    corridor: CorridorCells


def leg_ground(
    source: DemSource,
    track: Track,
    look: Look,
    neighbours: tuple[Track | None, Track | None] = (None, None),
    also: Callable[[StretchRead], None] | None = None,
    kept: Kept = NOTHING_KEPT,
) -> LegGround:
    """Look at the ground of one leg.

    Parameters
    ----------
    neighbours
        The legs before and after, where there are any: cells beyond an end may be theirs.
    also
        Is given each stretch that is read, for what else is to be known of it; not again those of a leg
        that it was given before.
    kept
        Ground of legs looked at before.

    Returns
    -------
    LegGround
        Unknown where the leg leaves the model.

    Raises
    ------
    OffModelError
        A part of the leg has no position in the model's CRS.
    """
    alone, parts = kept.of(
        "ground alone", (track, look, also), lambda: _alone(source, track, look, also, kept)
    )

    def among_others() -> LegGround:
        before, after = (_near_end(source, other, bool(k), look) for k, other in enumerate(neighbours))
        return LegGround(**vars(alone), corridor=own_cells(parts, (before, after)))

    return kept.of("ground", (alone, neighbours), among_others)


def _alone(
    source: DemSource, track: Track, look: Look, also: Callable[[StretchRead], None] | None, kept: Kept
) -> tuple[LegAlone, list[StretchCells]]:
    col, row = track.positions(source.grid)
    bins = look.bins(track)
    points_m = np.linspace(0.0, track.length_m, bins[1] + 1)
    parts = []
    for read in read_leg(source, track, look):
        kept.go_on()
        parts.append(_stretch(read, track, (points_m, bins), look))
        if also is not None:
            also(read)
    of_stretches, profiles, near, cells, over, surfaces = map(list, zip(*parts, strict=True))
    pieces = join_pieces(of_stretches)
    elevation, aspect, grade = np.concatenate(profiles, axis=1)
    alone = LegAlone(
        track=track,
        pieces=pieces,
        chainage_m=points_m,
        elevation_m=elevation,
        surface_m=np.concatenate(surfaces),
        aspect_true_deg=aspect,
        track_grade_deg=grade,
        beside=_with_line(merge(near), pieces, points_m, (track, col, row)),
        baselines=merged_baselines(over),
        corridor_alone=own_cells(cells, (NO_LINE, NO_LINE)),
    )
    return alone, cells


def read_leg(source: DemSource, track: Track, look: Look) -> Iterator[StretchRead]:
    """Read a leg stretch by stretch; parameters and errors as for `leg_ground`."""
    col, row = track.positions(source.grid)
    for first, last in stretches(track, look.stretch_m):
        part, context = slice(first, last + 1), slice(max(first - 1, 0), last + 2)
        start, end = float(track.chainage_m[first]), float(track.chainage_m[last])
        corner = window(col[part], row[part], end, look)
        dem = source.read(*corner)
        field = slope_field(dem, look.method, engine=look.engine, halves=look.baseline_cells)
        jacobian = jacobian_at(dem.grid)
        near = Window(field.slope_deg, dem.heights_m, jacobian, dem.others_m)
        in_col, in_row = col - corner[1], row - corner[0]
        line = LineInWindow(in_col[context], in_row[context], track.chainage_m[context], (start, end))
        stretch = in_col[part], in_row[part], track.chainage_m[part]
        ground = field, look.known, near, look.reach_m(end)
        yield StretchRead((first, last), corner[:2], *ground, line, *stretch)


def _near_end(source: DemSource, track: Track | None, after: bool, look: Look) -> Polyline:
    """Columns and rows of a neighbouring leg as far as it may be near to a cell of this leg's corridor."""
    if track is None:
        return NO_LINE
    from_turn_m = track.chainage_m if after else track.length_m - track.chainage_m
    reach = float(half_width_m(np.array(track.length_m), look.place_error_m, look.drift_deg)) + SIDE_REACH_M
    near = np.flatnonzero(from_turn_m <= reach)
    # One vertex more: the piece that leaves the reach.
    part = slice(0, near[-1] + 2) if after else slice(max(near[0] - 1, 0), None)
    return source.grid.from_wgs84(track.lon_deg[part], track.lat_deg[part])


def _with_line(
    near: BesideLine, pieces: Pieces, points_m: Array, line: tuple[Track, Array, Array]
) -> BesideLine:
    """Corridor with the line's own cells in it: over a longer baseline they may come out gentler."""
    by_bin = near.by_bin_deg.copy()
    piece, at_bin = bins_reached(pieces.start_m, pieces.end_m, points_m)
    np.fmax.at(by_bin, at_bin, pieces.slope_deg[piece])
    near = replace(near, by_bin_deg=by_bin)
    top = int(np.argmax(np.nan_to_num(pieces.slope_deg, nan=-1.0)))
    slope_deg, at_m = float(pieces.slope_deg[top]), float(pieces.start_m[top] + pieces.end_m[top]) / 2.0
    if math.isnan(slope_deg) or (near.steepest is not None and near.steepest.slope_deg >= slope_deg):
        return near
    track, *colrow = line
    at_col, at_row = (float(np.interp(at_m, track.chainage_m, values)) for values in colrow)
    return replace(near, steepest=Steepest(slope_deg, at_col, at_row, at_m))


def bins_reached(start_m: Array, end_m: Array, edges_m: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Bins of chainage that each piece of a line reaches, their ends included.

    Index of a piece and of a bin, for every pair that meets. A piece that ends on an edge reaches
    both bins there, as the point on it belongs to either.
    """
    most = len(edges_m) - 2
    first = np.clip(np.searchsorted(edges_m, start_m, side="left") - 1, 0, most)
    last = np.clip(np.searchsorted(edges_m, end_m, side="right") - 1, 0, most)
    piece = np.repeat(np.arange(len(first)), last - first + 1)
    step = np.arange(len(piece)) - np.searchsorted(piece, piece, side="left")
    return piece, first[piece] + step


def leg_work(source: DemSource, track: Track, look: Look) -> tuple[int, int]:
    """Count what `leg_ground` works out: cells of its windows, and pairs of a piece of line and a cell."""
    cells = pairs = 0
    ends = stretches(track, look.stretch_m)
    for (first, last), (_, _, rows, cols) in zip(ends, leg_windows(source, track, look), strict=True):
        check_cells(
            *(rows, cols, MOST_CELLS_SLOPES),
            "The ground beside a stretch of the line",
            "a smaller position error or drift, shorter legs, tiles of both sides where the line leaves the "
            "model at 180 degrees",
        )
        cells += rows * cols
        pairs += rows * cols * (last - first)
    return cells, pairs


def leg_windows(source: DemSource, track: Track, look: Look) -> Iterator[tuple[int, int, int, int]]:
    """Yield the windows of the model that `leg_ground` reads for a leg, as `DemSource.read` takes them."""
    col, row = source.grid.from_wgs84(track.lon_deg, track.lat_deg)
    for first, last in stretches(track, look.stretch_m):
        part = slice(first, last + 1)
        yield window(col[part], row[part], float(track.chainage_m[last]), look)


def _stretch(
    read: StretchRead, track: Track, leg: tuple[Array, tuple[float, int]], look: Look
) -> tuple[Pieces, Array, BesideLine, StretchCells, tuple[LegBaseline, ...], Array]:
    points_m, bins = leg
    (start, end), field = read.line.span_m, read.field
    pieces = touched(field, read.col, read.row, read.chainage_m, read.line_ends_deg)
    to_end = read.ends[1] == len(track.chainage_m) - 1
    here = points_m[(points_m >= start) & (True if to_end else points_m < end)]
    col, row = (np.interp(here, read.chainage_m, values) for values in (read.col, read.row))
    at = at_points(field, col, row)
    grade = track_grade_deg(at.p, at.q, track.travel_at(here))
    profile = np.stack((at.elevation_m, at.aspect_true_deg, grade))
    near = beside(read.near, read.line, bins, look.place_error_m, look.drift_deg, read.cells)
    top, left = read.corner
    if near.steepest is not None:
        steepest = replace(near.steepest, col=near.steepest.col + left, row=near.steepest.row + top)
        near = replace(near, steepest=steepest)
    width = look.place_error_m, look.drift_deg
    looked = read.cells, read.near, field.short_deg, read.line_ends_deg
    inside = cells_of(*looked, width, read.corner, track.length_m)
    middle = (pieces.start_m + pieces.end_m) / 2.0
    places = np.interp(middle, read.chainage_m, read.col), np.interp(middle, read.chainage_m, read.row)
    every = (stretch_baselines(one, read.near.jacobian, places, middle) for one in field.dem.every_m)
    surface = surface_heights(field.dem.heights_m, read.col, read.row, read.chainage_m)
    return pieces, profile, near, inside, merged_baselines(list(every)), surface


def window(col: Array, row: Array, end_m: float, look: Look) -> tuple[int, int, int, int]:
    """Window that a stretch needs, as `DemSource.read` takes it; its vertices are in the model's grid.

    The chainage of its end, `end_m`, gives the corridor's half-width.
    """
    reach = look.reach_m(end_m) * look.askew
    margin_col = math.ceil(reach / look.cell_m[0]) + look.baseline_cells[0] + SPARE_CELLS
    margin_row = math.ceil(reach / look.cell_m[1]) + look.baseline_cells[1] + SPARE_CELLS
    left, right = math.floor(col.min()) - margin_col, math.ceil(col.max()) + margin_col
    top, bottom = math.floor(row.min()) - margin_row, math.ceil(row.max()) + margin_row
    return top, left, bottom - top, right - left
