"""The ground of a screened line made ready for matching against a forecast.

Three grounds, kept apart: the cells that the line touches and those around each; the cells of
the corridor; and the start zones that look down on the line at 18 degrees or more and from which
snow could come (in sight of the line, or with their way down passing near it). Of each piece of
ground the sectors that it may face and the heights between which it lies are kept, its
uncertainty included.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.named import (
    HALF_SECTOR_DEG,
    KEPT_FROM_DEG,
    GroundCells,
    LegGrounds,
    compact,
    join_cells,
    sector_bits,
)
from steybrae.route.corridor import LineInWindow, Window, cells_inside
from steybrae.route.ground import Look, window
from steybrae.route.legs import Route
from steybrae.route.overhead_reading import read_ground
from steybrae.route.overhead_windows import OverheadLook, cells_on, shared, stretch_windows
from steybrae.route.places import Place
from steybrae.route.touching import cells_touched
from steybrae.route.track import Track, stretches
from steybrae.screening.forecast_at import BulletinSource, ForecastAsk, forecast_at_place
from steybrae.screening.ground_at import look_around
from steybrae.screening.ground_result import GroundAt
from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import Settings, leg_look, route_tracks
from steybrae.terrain.attributes import SlopeField, aspect_deg, baseline_cells, slope_deg, slope_field
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.gradients import index_gradients, plane_gradients
from steybrae.terrain.jacobian import cell_size_m, ground_gradients, jacobian_at, jacobian_field
from steybrae.terrain.overhead_ground import LEAST_SIGHT_DEG, OverheadGround, Points
from steybrae.terrain.overhead_sight import FLOW_NEAR_M, in_sight
from steybrae.terrain.sight_pairs import Pairs, pairs_between, unknown_overhead
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg, slope_uncertainty

__all__ = ["HEIGHT_ERROR_95_M", "aspect_half_width_deg", "with_forecast_ground", "with_place_forecast"]

HEIGHT_ERROR_95_M: Final = 10.0
"""How far a height of a model may be off where no vertical error is stated, metres (our choice)."""

STEP_M: Final = 50.0
"""Length of the bins of a line for ground overhead, metres (our choice)."""

_PAIRS_AT_ONCE: Final = 8192


@dataclass(frozen=True)
class _How:
    """How aspects and heights are known."""

    known: SlopeUncertainty
    height_error_m: float
    cell_m: float


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
    known = slope_uncertainty(settings.method, jacobian, settings.vertical_error_m, settings.correlation_m)
    how = _how(settings, known, max(cell))
    look = OverheadLook(cell, known)
    overhead, start_from_deg = _overhead(source, tracks, look, how)
    legs = []
    for number, track in enumerate(tracks):
        line, corridor = _line_and_corridor(source, track, leg_look(route, number, cell, settings), how)
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
        See `steybrae.screening.forecast_at`.

    Returns
    -------
    GroundAt

    Raises
    ------
    BulletinError
        The file is for several regions and none was named.
    """
    around = look_around(place, source, found.within.radius_m, settings)
    how = _how(settings, around.known, max(around.cell_size_m))
    slopes, at = around.field, np.nonzero(around.within(found.within.radius_m))
    unknown = np.array([bool(np.isnan(slopes.slope_deg[at]).any())])
    ground = (slopes.p[at], slopes.q[at], slopes.dem.heights_m[at])
    circle = _cells(np.array([0.0, 1.0]), unknown, np.zeros(len(at[0]), dtype=np.intp), ground, how)
    here = np.array([place.lon_deg] * 2), np.array([place.lat_deg] * 2)
    track = Track(*here, np.array([0.0, 1.0]), np.zeros(1))
    overhead, from_deg = _overhead(source, [track], OverheadLook(around.cell_size_m, around.known), how)
    return forecast_at_place(found, LegGrounds(circle, circle, overhead[0], from_deg), bulletins, ask)


def _how(settings: Settings, known: SlopeUncertainty, cell_m: float) -> _How:
    stated = settings.vertical_error_m
    return _How(known, HEIGHT_ERROR_95_M if stated is None else 2.0 * stated, cell_m)


def aspect_half_width_deg(p: Array, q: Array, known: SlopeUncertainty) -> Array:
    """Half of the 95 % interval of the aspect.

    ``asin(U / m)`` with the gradient ``m`` and its uncertainty ``U`` from
    `steybrae.terrain.uncertainty.slope_interval_deg`, taken to hold in every direction.

    Parameters
    ----------
    p, q
        dz/dE and dz/dN.
    known
        How well slopes are known.

    Returns
    -------
    Array
        Degrees; 180 where the gradient may be zero, half a sector where it is not known how
        well it is known (our choice: the nearest neighbouring sector then always counts too).
    """
    m = np.hypot(p, q)
    if known.basis == "none":
        return np.full(m.shape, HALF_SECTOR_DEG)
    low, _ = slope_interval_deg(p, q, known)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (m - np.tan(np.radians(low))) / m
    return np.where(low > 0.0, np.degrees(np.arcsin(np.clip(share, 0.0, 1.0))), 180.0)


def _bits_and_heights(
    ground: tuple[Array, Array, Array], how: _How
) -> tuple[Array, NDArray[np.uint8], Array]:
    """Slope, sectors and half of the range of heights of cells with gradients p, q and a height."""
    p, q, _ = ground
    m = np.hypot(p, q)
    bits = sector_bits(aspect_deg(p, q), aspect_half_width_deg(p, q, how.known))
    return slope_deg(p, q), bits, how.height_error_m + m * how.cell_m / 2.0


def _cells(
    edges_m: Array,
    unknown: NDArray[np.bool_],
    at: NDArray[np.intp],
    ground: tuple[Array, Array, Array],
    how: _How,
    least_deg: float = KEPT_FROM_DEG,
) -> GroundCells:
    slope, bits, half_m = _bits_and_heights(ground, how)
    heights = (ground[2] - half_m, ground[2] + half_m)
    return compact(edges_m, unknown, at, slope, bits, heights, least_deg)


def _line_and_corridor(
    source: DemSource, track: Track, look: Look, how: _How
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
        field = slope_field(source.read(*corner), look.method, engine=look.engine)
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
    return join_cells(lines), _gathered(edges, unknown, corridor)


def _on_line(field: SlopeField, col: Array, row: Array, chainage_m: Array, how: _How) -> GroundCells:
    cuts, j, i = cells_touched(col, row, chainage_m)
    # Most of the sixteen are the same nine: each cell of a piece once.
    piece, j, i = np.unique(
        np.stack((np.repeat(np.arange(len(j)), j.shape[1]), j.ravel(), i.ravel())), axis=1
    )
    unknown = np.bincount(piece, np.isnan(field.slope_deg[j, i]), len(cuts) - 1) > 0
    return _cells(cuts, unknown, piece, (field.p[j, i], field.q[j, i], field.dem.heights_m[j, i]), how)


def _in_corridor(
    field: SlopeField,
    line: LineInWindow,
    bins: tuple[float, int],
    look: Look,
    unknown: NDArray[np.bool_],
    how: _How,
) -> GroundCells:
    """Cells of the corridor of one stretch, in bins of the whole leg; marks unknown bins."""
    dem = field.dem
    p, q = field.p, field.q
    if look.baseline_cells != (1, 1):
        p, q = ground_gradients(
            jacobian_field(dem.grid), *plane_gradients(dem.heights_m, *look.baseline_cells)
        )
    jacobian = jacobian_at(dem.grid, dem.grid.shape[1] / 2, dem.grid.shape[0] / 2)
    near = Window(slope_deg(p, q), dem.heights_m, jacobian)
    (j, i), at_bins = cells_inside(near, line, bins, look.place_error_m, look.drift_deg)
    unknown[at_bins[:, np.isnan(near.slope_deg[j, i])]] = True
    at = at_bins.ravel()
    j, i = np.tile(j, 3), np.tile(i, 3)
    edges = np.linspace(0.0, bins[0] * bins[1], bins[1] + 1)
    return _cells(edges, unknown, at, (p[j, i], q[j, i], dem.heights_m[j, i]), how)


def _gathered(
    edges_m: Array, unknown: NDArray[np.bool_], parts: list[GroundCells], least_deg: float = KEPT_FROM_DEG
) -> GroundCells:
    """Join grounds in the same bins."""
    at, slope, bits, low, high = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("at", "slope_deg", "sectors", "low_m", "high_m")
    )
    return compact(edges_m, unknown, at, slope, bits, (low, high), least_deg)


def _overhead(
    source: DemSource, tracks: list[Track], look: OverheadLook, how: _How
) -> tuple[list[GroundCells], float]:
    """Start zones that look down on each leg, and the slope that they were taken from."""
    step_m = max(STEP_M, 2.0 * how.cell_m)
    edges = [np.linspace(0.0, track.length_m, math.ceil(track.length_m / step_m) + 1) for track in tracks]
    unknown = [np.zeros(len(ends) - 1, dtype=bool) for ends in edges]
    parts: list[list[GroundCells]] = [[] for _ in tracks]
    from_deg = 0.0
    for whole, group in shared(stretch_windows(source.grid, tracks, look), look):
        ground = read_ground(source, whole, look)
        from_deg = ground.zones.from_deg
        zones = _Zones.of(ground, how)
        for part in group:
            col, row, chainage, _ = cells_on(part, whole, look.joins)
            points = ground.centres(col.astype(np.intp), row.astype(np.intp))
            at = np.clip(np.searchsorted(edges[part.leg], chainage) - 1, 0, len(unknown[part.leg]) - 1)
            found = zones.looking_down(points, at)
            _mark_unknown(unknown[part.leg], ground, points, at)
            parts[part.leg].append(zones.as_cells(found, edges[part.leg], unknown[part.leg]))
    legs = [_gathered(*leg, 0.0) for leg in zip(edges, unknown, parts, strict=True)]
    return legs, from_deg


def _mark_unknown(
    unknown: NDArray[np.bool_], ground: OverheadGround, points: Points, at: NDArray[np.intp]
) -> None:
    for k in np.unique(at):
        unknown[k] |= unknown_overhead(ground, points.pick(at == k))


@dataclass(frozen=True, eq=False)
class _Zones:
    """Sources of a window in classes that no bulletin can tell apart.

    Attributes
    ----------
    ground
        The window.
    kind
        Class of each source, in the order of ``ground.sources``.
    kinds
        One row of ground for each class.
    """

    ground: OverheadGround
    kind: NDArray[np.intp]
    kinds: GroundCells

    @staticmethod
    def of(ground: OverheadGround, how: _How) -> _Zones:
        sources, dem = ground.sources, ground.dem
        halves = baseline_cells(*ground.cell_m, ground.zones.rules.baseline_m)
        steps = (
            index_gradients(dem.heights_m, "evans")
            if halves == (1, 1)
            else plane_gradients(dem.heights_m, *halves)
        )
        p, q = (
            np.asarray(part)[sources.row, sources.col] for part in ground_gradients(ground.jacobian, *steps)
        )
        _, bits, half_m = _bits_and_heights((p, q, sources.height_m), how)
        keys = np.stack(
            (bits, np.floor((sources.height_m - half_m) / 10.0), np.ceil((sources.height_m + half_m) / 10.0))
        )
        unique, kind = np.unique(keys, axis=1, return_inverse=True)
        count = unique.shape[1]
        kinds = GroundCells(
            np.arange(count + 1.0),
            np.zeros(count, dtype=bool),
            np.arange(count, dtype=np.int32),
            np.full(count, 90.0),
            unique[0].astype(np.uint8),
            unique[1] * 10.0,
            unique[2] * 10.0,
        )
        return _Zones(ground, kind.reshape(-1), kinds)

    def looking_down(self, points: Points, at: NDArray[np.intp]) -> NDArray[np.bool_]:
        """For each class and each bin of the points' whether one of its sources looks down there."""
        bins, first = np.unique(at, return_index=True)
        found = np.zeros((len(self.kinds.at), int(at.max(initial=-1)) + 1), dtype=bool)
        pairs = pairs_between(
            self.ground, points.pick(first), math.tan(math.radians(LEAST_SIGHT_DEG)), math.inf, 2**62
        )
        if len(pairs.point) == 0:
            return found
        past = self._flows_past(points, at, bins, pairs)
        found[self.kind[pairs.cell[past]], bins[pairs.point[past]]] = True
        for some in self._rounds(pairs.pick(~past), found, bins):
            seen = some.pick(in_sight(self.ground, points.pick(first), some))
            found[self.kind[seen.cell], bins[seen.point]] = True
        return found

    def _flows_past(
        self, points: Points, at: NDArray[np.intp], bins: NDArray[np.intp], pairs: Pairs
    ) -> NDArray[np.bool_]:
        """Whether the way down from the source of each pair comes near the bin of its point.

        Bins are bits of one number for each cell, 64 at a time; each round looks twice as far
        down as the one before.
        """
        ground, sources = self.ground, self.ground.sources
        rows, cols = ground.dem.grid.shape
        cell = sources.row * cols + sources.col
        rounds = math.ceil(math.log2(2.0 * ground.reach_m / min(ground.cell_m)))
        past = np.zeros(len(pairs.point), dtype=bool)
        disc_j, disc_i = _disc(ground)
        for start in range(0, len(bins), 64):
            near = np.zeros((rows, cols), dtype=np.uint64)
            for k, which in enumerate(bins[start : start + 64]):
                here = points.pick(at == which)
                j = np.clip(here.row.astype(np.intp)[:, None] + disc_j, 0, rows - 1)
                i = np.clip(here.col.astype(np.intp)[:, None] + disc_i, 0, cols - 1)
                near[j, i] |= np.uint64(1) << np.uint64(k)
            bits, down = near.reshape(-1), ground.down
            for _ in range(rounds):
                bits = bits | bits[down]
                down = down[down]
            some = np.flatnonzero((pairs.point >= start) & (pairs.point < start + 64))
            bit = (pairs.point[some] - start).astype(np.uint64)
            past[some] = (bits[cell[pairs.cell[some]]] >> bit) & np.uint64(1) > 0
        return past

    def _rounds(self, pairs: Pairs, found: NDArray[np.bool_], bins: NDArray[np.intp]) -> Iterator[Pairs]:
        """Yield pairs of classes and bins not found yet, the steepest of each first."""
        if len(pairs.point) == 0:
            return
        kind, place = self.kind[pairs.cell], bins[pairs.point]
        key = kind * found.shape[1] + place
        order = np.argsort(key, kind="stable")
        starts = np.flatnonzero(np.diff(key[order], prepend=-1))
        rank = np.empty(len(key), dtype=np.intp)
        rank[order] = np.arange(len(key)) - np.repeat(starts, np.diff(starts, append=len(key)))
        low, high, most = 0, 1, int(rank.max())
        while low <= most:
            left = np.flatnonzero((rank >= low) & (rank < high) & ~found[kind, place])
            for start in range(0, len(left), _PAIRS_AT_ONCE):
                yield pairs.pick(left[start : start + _PAIRS_AT_ONCE])
            low, high = high, 4 * high

    def as_cells(self, found: NDArray[np.bool_], edges_m: Array, unknown: NDArray[np.bool_]) -> GroundCells:
        """Ground of the classes that look down on each bin; its slopes are not kept."""
        kind, at = np.nonzero(found)
        kinds = self.kinds
        heights = (kinds.low_m[kind], kinds.high_m[kind])
        return compact(edges_m, unknown, at, kinds.slope_deg[kind], kinds.sectors[kind], heights, 0.0)


def _disc(ground: OverheadGround) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the cells within `FLOW_NEAR_M` of one, as steps from it."""
    shortest = float(np.linalg.svd(ground.jacobian, compute_uv=False)[-1])
    reach = math.ceil(FLOW_NEAR_M / shortest)
    j, i = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1)
    inside = np.hypot(*ground.offset_m(i.astype(float), j.astype(float))) <= FLOW_NEAR_M
    return j[inside], i[inside]
