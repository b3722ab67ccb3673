"""Start zones that look down on a line, for matching a forecast.

All possible ones count that look down at 18 degrees or more and from which snow could come: in sight
of the line, or with their way down passing near it. The line is taken in bins of 50 m; each looks up
from its first cell that lies in no start zone, and ways down may pass any of those cells: within a zone
the slope underfoot is what is matched, and the next cell of it is not overhead. Of ground that no
bulletin can tell apart the distance of the nearest is kept.
"""

from __future__ import annotations

import math
from functools import cached_property, partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.named import (
    HALF_SECTOR_DEG,
    HEIGHT_STEP_M,
    KEPT_FROM_DEG,
    GroundCells,
    compact,
    sector_bits,
)
from steybrae.frozen import dataclass
from steybrae.route.legs import Track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.windows import Stretch, Window, cells_on, shared, stretch_windows
from steybrae.terrain.attributes import SlopeField, aspect_deg, baseline_cells, slope_deg
from steybrae.terrain.cell_share import known_roughness_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import runs, window_gradients
from steybrae.terrain.jacobian import ground_gradients
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG, OverheadGround, Points, slopes_over
from steybrae.terrain.overhead.sight import FLOW_NEAR_M, HeightBounds, in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs, pairs_between, portions
from steybrae.terrain.overhead.unknown import unknown_above
from steybrae.terrain.start_zones import start_from_deg
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg

HEIGHT_ERROR_95_M: Final = 10.0
"""How far a height of a model may be off where no vertical error is stated, metres (our choice)."""


Ground = tuple[Array, Array, Array, Array]
"""Gradients p and q of cells, their heights, and how rough the ground is there."""


@dataclass(frozen=True)
class CellsKnown:
    """How well aspects and heights of a model's cells are known: the larger side of one is `cell_m`.

    `height_error_m` is the 95 % error of a height.
    """

    known: SlopeUncertainty
    height_error_m: float
    cell_m: float


def cells_known(vertical_error_m: float | None, known: SlopeUncertainty, cell_m: float) -> CellsKnown:
    """Say how well cells are known, from the vertical error as stated (1 standard deviation) or not."""
    error_m = HEIGHT_ERROR_95_M if vertical_error_m is None else 2.0 * vertical_error_m
    return CellsKnown(known, error_m, cell_m)


def aspect_half_width_deg(p: Array, q: Array, known: SlopeUncertainty, roughness: Array) -> Array:
    """Half of the 95 % interval of the aspect, degrees.

    ``asin(U / m)`` with the gradient ``m`` and its uncertainty ``U`` from
    `steybrae.terrain.uncertainty.slope_interval_deg`, taken to hold in every direction. 180 where
    the gradient may be zero, at least half a sector where it is not known how well it is known (our
    choice: the nearest neighbouring sector then always counts too).
    """
    m = np.hypot(p, q)
    low, high = slope_interval_deg(p, q, known, roughness)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (m - np.tan(np.radians(low))) / m
    half = np.where(low > 0.0, np.degrees(np.arcsin(np.clip(share, 0.0, 1.0))), 180.0)
    half = np.where(np.isnan(low), HALF_SECTOR_DEG, half)
    return np.where(np.isnan(high), np.maximum(half, HALF_SECTOR_DEG), half)


def ground_of(field: SlopeField, row: NDArray[np.intp], col: NDArray[np.intp]) -> Ground:
    """Take what matching needs of some cells of a window."""
    at = row, col
    return field.p[at], field.q[at], field.dem.heights_m[at], field.roughness_deg[at]


def bits_and_heights(ground: Ground, how: CellsKnown) -> tuple[Array, NDArray[np.uint8], Array]:
    """Slope, sectors and half of the range of heights of cells."""
    p, q, _, roughness = ground
    m = np.hypot(p, q)
    bits = sector_bits(aspect_deg(p, q), aspect_half_width_deg(p, q, how.known, roughness))
    return slope_deg(p, q), bits, how.height_error_m + m * how.cell_m / 2.0


def cells_for_matching(
    edges_m: Array,
    unknown: NDArray[np.bool_],
    at: NDArray[np.intp],
    ground: Ground,
    how: CellsKnown,
) -> GroundCells:
    """Make pieces of ground of cells; see `compact`."""
    slope, bits, half_m = bits_and_heights(ground, how)
    heights = (ground[2] - half_m, ground[2] + half_m)
    return compact(edges_m, unknown, at, slope, bits, heights, KEPT_FROM_DEG)


def gathered(
    edges_m: Array, unknown: NDArray[np.bool_], parts: list[GroundCells], least_deg: float = KEPT_FROM_DEG
) -> GroundCells:
    """Join grounds in the same bins."""
    at, slope, bits, low, high, near = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("at", "slope_deg", "sectors", "low_m", "high_m", "near_m")
    )
    return compact(edges_m, unknown, at, slope, bits, (low, high), least_deg, near)


STEP_M: Final = 50.0
"""Length of the bins of a line, metres (our choice)."""

MOST_TESTED: Final = 8192
"""Sights that are tested in a bin at most; what is left then counts untested, so that nothing that
looks down is lost (our choice)."""

_BITS: Final = 64

_BINS_AT_ONCE: Final = 8
"""Bins whose sights are tested at once: all of 64 would need a hundred megabytes on cells of 2 m."""


def zones_overhead(
    kept: KeptGround, tracks: list[Track], how: CellsKnown, *, within: bool = False
) -> tuple[list[GroundCells], float]:
    """Start zones that look down on each leg, and the slope that they were taken from.

    From within a start zone too where that is asked for: of a place nothing else can be said.
    """
    step_m = max(STEP_M, 2.0 * how.cell_m)
    edges = [np.linspace(0.0, track.length_m, math.ceil(track.length_m / step_m) + 1) for track in tracks]
    unknown = [np.zeros(len(ends) - 1, dtype=bool) for ends in edges]
    parts: list[list[GroundCells]] = [[] for _ in tracks]
    from_deg = 0.0
    look = kept.look
    for whole, group in shared(stretch_windows(kept.source.grid, tracks, look, kept.kept), look):
        window = _Window(kept, whole, how)
        from_deg = kept.kept.of("from", look, lambda: start_from_deg(look.known, look.rules.low_deg))
        for part in group:
            leg = part.leg
            key = tracks[leg], float(part.chainage_m[0]), whole, look, how, within, unknown[leg].tobytes()
            ends = edges[leg], unknown[leg]
            cells, unknown[leg] = kept.kept.of("zones", key, partial(window.zones_over, part, ends, within))
            parts[leg].append(cells)
    legs = [gathered(*leg, 0.0) for leg in zip(edges, unknown, parts, strict=True)]
    return legs, from_deg


@dataclass(frozen=True, eq=False)
class _Window:
    """A window of ground, made ready when it is first asked for."""

    kept: KeptGround
    whole: Window
    how: CellsKnown

    @cached_property
    def zones(self) -> list[_Zones]:
        """Its possible start zones, and where files differ those of each other one leading."""

        def made() -> list[_Zones]:
            ground = self.kept.ground(self.whole)
            return [_Zones.of(one.possible, self.how) for one in (ground, *ground.others)]

        return self.kept.kept.of("zone classes", (self.whole, self.kept.look, self.how), made)

    def zones_over(
        self, part: Stretch, ends: tuple[Array, NDArray[np.bool_]], within: bool
    ) -> tuple[GroundCells, NDArray[np.bool_]]:
        """Zones that look down on a stretch of a leg, and the leg's bins with unknown ground above so far."""
        edges_m, unknown = ends[0], ends[1].copy()
        found = []
        for zones in self.zones:
            ground = zones.ground
            col, row, chainage, _ = cells_on(part, ground.corner, self.kept.look.joins)
            points = ground.centres(col.astype(np.intp), row.astype(np.intp))
            at = np.clip(np.searchsorted(edges_m, chainage) - 1, 0, len(unknown) - 1)
            down_m = zones.looking_down(points, at, within=within)
            np.logical_or.at(unknown, at, unknown_above(ground, points).there)
            found.append(zones.as_cells(down_m, edges_m, unknown))
        return found[0] if len(found) == 1 else gathered(edges_m, unknown, found, 0.0), unknown


@dataclass(frozen=True, eq=False)
class _Zones:
    """Sources of a window in classes that no bulletin can tell apart.

    `kind` is the class of each, in the order of ``ground.sources``; `kinds` have one row of ground
    each.
    """

    ground: OverheadGround
    kind: NDArray[np.intp]
    kinds: GroundCells

    @staticmethod
    def of(ground: OverheadGround, how: CellsKnown) -> _Zones:
        sources, dem = ground.sources, ground.dem
        halves = baseline_cells(*ground.cell_m, ground.zones.rules.baseline_m)
        rough = known_roughness_deg(slopes_over(dem.heights_m, ground.jacobian, (1, 1)))
        steps = window_gradients(dem.heights_m, halves)
        along, down, height_m, rough = (
            part[sources.row, sources.col] for part in (*steps, dem.heights_m, rough)
        )
        p, q = ground_gradients(ground.jacobian, along, down)
        _, bits, half_m = bits_and_heights((p, q, height_m, rough), how)
        low = np.floor((height_m - half_m) / HEIGHT_STEP_M).astype(np.int64)
        high = np.ceil((height_m + half_m) / HEIGHT_STEP_M).astype(np.int64)
        # One number for all three sorts faster than they do, and in their order.
        lowest, steps = low.min(initial=0), high.max(initial=0) - low.min(initial=0) + 1
        keys = (bits * steps + low - lowest) * steps + high - lowest
        _, first, kind = np.unique(keys, return_index=True, return_inverse=True)
        count = len(first)
        kinds = GroundCells(
            np.arange(count + 1.0),
            np.zeros(count, dtype=bool),
            np.arange(count, dtype=np.int32),
            np.full(count, 90.0),
            bits[first],
            (low[first] * HEIGHT_STEP_M).astype(np.float64),
            (high[first] * HEIGHT_STEP_M).astype(np.float64),
            np.zeros(count),
        )
        return _Zones(ground, kind, kinds)

    def looking_down(self, points: Points, at: NDArray[np.intp], *, within: bool) -> Array:
        """For each bin of the points and each class how far off the nearest that looks down there is, metres.

        Infinite where none does and, unless `within`, where all of a bin lies in a start zone. After
        `MOST_TESTED` tests in a bin what is left counts as it is.
        """
        found = np.full((int(at.max(initial=-1)) + 1, len(self.kinds.at)), np.inf)
        zone = self.ground.zones.in_range[points.row.astype(np.intp), points.col.astype(np.intp)]
        if not within:
            points, at = points.pick(~zone), at[~zone]
        bins, first = np.unique(at, return_index=True)
        for part in portions(len(bins), _BITS):
            past = self._ways_past(points, at, bins[part])
            for some in portions(len(bins[part]), _BINS_AT_ONCE):
                here = points.pick(first[part][some])
                found[bins[part][some]] = self._nearest_m(here, past >> np.uint64(some.start))
        return found

    def _nearest_m(self, here: Points, past: NDArray[np.uint64]) -> Array:
        """How far off the nearest of each class is that looks down on some places, ``(places, classes)``.

        Places are one of each bin; `past` is for each source which of their bins its way down comes
        near, as bits from the first on.
        """
        found = np.full((len(here.col), len(self.kinds.at)), np.inf)
        pairs = pairs_between(self.ground, here, math.tan(math.radians(LEAST_SIGHT_DEG)), math.inf, None)
        # In what order equally far ones are tested matters only where not all may be.
        if np.bincount(pairs.point).max(initial=0) > MOST_TESTED:
            pairs = pairs.steepest()
        flows = (past[pairs.cell] >> pairs.point.astype(np.uint64)) & np.uint64(1) > 0
        off_m = self._off_m(here, pairs)
        np.minimum.at(found, (pairs.point[flows], self.kind[pairs.cell[flows]]), off_m[flows])
        self._seen(here, pairs.pick(~flows), off_m[~flows], found.reshape(-1))
        return found

    @cached_property
    def _bounds(self) -> HeightBounds:
        return HeightBounds.of(self.ground.dem.heights_m)

    @cached_property
    def _ends(self) -> NDArray[np.intp]:
        """Cell in which each cell's way down ends, by row; a way down falls, so that it has an end."""
        ends = self.ground.down.astype(np.intp)
        while not np.array_equal(further := ends.take(ends), ends):
            ends = further
        return ends

    @cached_property
    def _numbers(self) -> NDArray[np.intp]:
        """Cell of each source, by row."""
        sources = self.ground.sources
        numbers: NDArray[np.intp] = sources.row * self.ground.dem.grid.shape[1] + sources.col
        return numbers

    @cached_property
    def _disc(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of the cells within `FLOW_NEAR_M` of one, as steps from it."""
        reach = math.ceil(FLOW_NEAR_M / self.ground.stretch_m[0])
        j, i = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1)
        inside = np.hypot(*self.ground.offset_m(i.astype(float), j.astype(float))) <= FLOW_NEAR_M
        return j[inside], i[inside]

    def _ways_past(self, points: Points, at: NDArray[np.intp], group: NDArray[np.intp]) -> NDArray[np.uint64]:
        """For each source which of some bins its way down, to twice the reach, comes near, as bits."""
        ground = self.ground
        rows, cols = ground.dem.grid.shape
        past = np.zeros(rows * cols, dtype=np.uint64)
        disc_j, disc_i = self._disc
        near = [np.empty(0, dtype=np.intp)]
        for k, which in enumerate(group):
            here = points.pick(at == which)
            j = np.clip(here.row.astype(np.intp)[:, None] + disc_j, 0, rows - 1)
            i = np.clip(here.col.astype(np.intp)[:, None] + disc_i, 0, cols - 1)
            near.append((j * cols + i).reshape(-1))
            past[near[-1]] |= np.uint64(1) << np.uint64(k)
        # Ways down that come near end where those of the bins end: few cells do, and each with all its way.
        ending = np.zeros(rows * cols, dtype=bool)
        ending[self._ends[np.concatenate(near)]] = True
        cells = np.flatnonzero(ending.take(self._ends))
        number = np.empty(rows * cols, dtype=np.intp)
        number[cells] = np.arange(len(cells))
        down, bits = number[ground.down[cells]], past[cells]
        for _ in range(max(1, math.ceil(math.log2(2.0 * ground.reach_m / min(ground.cell_m))))):
            bits, down = bits | bits.take(down), down.take(down)
        past[cells] = bits
        of_sources: NDArray[np.uint64] = past[self._numbers]
        return of_sources

    def _off_m(self, here: Points, pairs: Pairs) -> Array:
        sources, here = self.ground.sources, here.pick(pairs.point)
        col, row = sources.col[pairs.cell] + 0.5, sources.row[pairs.cell] + 0.5
        return np.asarray(np.hypot(*self.ground.offset_m(col - here.col, row - here.row)))

    def _seen(self, here: Points, pairs: Pairs, off_m: Array, found: Array) -> None:
        """Set how far off the nearest in sight is by place and class, where nearer than what is found."""
        # One number for place and class, of as few bytes as may be: two are sorted by counting.
        short = np.min_scalar_type(len(found))
        of = (pairs.point * len(self.kinds.at) + self.kind[pairs.cell]).astype(short)
        near = np.flatnonzero(off_m < found[of])
        order = near[np.argsort(off_m[near], kind="stable")]
        order = order[np.argsort(of[order], kind="stable")]
        pairs, off_m, of = pairs.pick(order), off_m[order], of[order]
        rank = np.arange(len(of)) - np.repeat(*runs(of))
        tested = np.zeros(len(here.col), dtype=np.intp)
        low, high, most = 0, 1, int(rank.max(initial=-1))
        while low <= most:
            left = np.flatnonzero((rank >= low) & (off_m < found[of]))
            count = np.bincount(pairs.point[left[rank[left] < high]], minlength=len(tested))
            too_many = tested + count > MOST_TESTED
            untested = left[too_many[pairs.point[left]]]
            np.minimum.at(found, of[untested], off_m[untested])
            left = left[(rank[left] < high) & ~too_many[pairs.point[left]]]
            some = left[in_sight(self.ground, here, pairs.pick(left), self._bounds)]
            np.minimum.at(found, of[some], off_m[some])
            low, high, tested = high, 4 * high, tested + count

    def as_cells(self, found: Array, edges_m: Array, unknown: NDArray[np.bool_]) -> GroundCells:
        """Ground of the classes that look down on each bin; its slopes are not kept."""
        at, kind = np.nonzero(np.isfinite(found))
        kinds = self.kinds
        heights = (kinds.low_m[kind], kinds.high_m[kind])
        return compact(
            edges_m, unknown, at, kinds.slope_deg[kind], kinds.sectors[kind], heights, 0.0, found[at, kind]
        )
