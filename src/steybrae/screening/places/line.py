"""A whole line as one, its legs joined, and how stretches of it belong together.

A stretch is ``(start, end)`` in metres of chainage; a set of them is an array ``(n, 2)``, rising.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import fields, replace
from functools import cached_property, partial
from typing import Final, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.route.ground import LegGround
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.legs import Track
from steybrae.route.overhead.result import Above, SeenAlong
from steybrae.route.shape_result import TerrainTrap
from steybrae.route.touching import CorridorCells, Pieces
from steybrae.screening.places.result import OnLine
from steybrae.screening.standing import STAND_ROUND_M
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG

_Part = TypeVar("_Part", Pieces, CorridorCells, SeenAlong)

APART_M: Final = 50.0
"""Pieces of one kind nearer to each other than this, metres, are one (our choice)."""

TOLD_M: Final = 100.0
"""Length by which a long place is told, metres; shorter pieces of corridor belong to the steep ground
underfoot that they touch (our choice)."""

ROUNDED_M: Final = 1e-6
"""Lengths this near are one, metres (our choice): sums of the same pieces in another order differ by it."""

ON_TURN_M: Final = 1e-6
"""Nearer to a turn point than this, metres, is on it: what adding up leg lengths leaves."""

_NONE: Final = np.empty((0, 2))


@dataclass(frozen=True, eq=False)
class BesideLeg:
    """Stretches of a leg by what its corridor holds, ``(n, 2)``, rising, metres along the leg.

    `steep` are cells of 30 degrees and more, or of a drop; `possible` ones may be of 30 degrees, or
    are unknown; `no_stand` are too near to ground that speaks against standing there.
    """

    steep: Array
    unknown: Array
    possible: Array
    no_stand: Array

    @classmethod
    def of(cls, cells: CorridorCells) -> BesideLeg:
        """Stretches of the corridor of a leg."""
        steep = shown_slope_deg(np.nan_to_num(cells.slope_deg)) >= STEEP_DEG
        possible = ~(shown_slope_deg(cells.high_deg) < STEEP_DEG) | ~cells.known
        drop = cells.drop_m > 0.0
        near = np.flatnonzero((possible | drop) & (cells.off_m <= STAND_ROUND_M))
        along = np.sqrt(STAND_ROUND_M**2 - cells.off_m[near] ** 2)
        on, unknown, may_be = (
            joined(cells.start_m[which], cells.end_m[which], 0.0)
            for which in (steep | drop, ~cells.known, possible)
        )
        return cls(on, unknown, may_be, joined(cells.start_m[near] - along, cells.end_m[near] + along, 0.0))


@dataclass(frozen=True, eq=False)
class Line:
    """Everything along the legs of a line, by chainage from its start.

    `from_names` are turn points that legs begin at, `turns_m` chainages of all turn points. Of each
    leg from `first` on: `on` is what is touched, `corridors` cells beside it, `beside` stretches by
    what those are, `above` what stands over it.
    """

    tracks: list[Track]
    from_names: tuple[str, ...]
    turns_m: Array
    chainage_m: Array
    elevation_m: Array
    traps: tuple[TerrainTrap, ...]
    on: list[Pieces]
    corridors: list[CorridorCells]
    beside: list[BesideLeg]
    above: list[SeenAlong]
    first: int = 0

    def near_legs(self, first: int, last: int) -> Line:
        """Leave out what belongs to other legs; they count from 0, the last is not one of them."""
        legs = slice(first, last)
        on, corridors = self.on[legs], self.corridors[legs]
        beside, above = self.beside[legs], self.above[legs]
        return replace(self, on=on, corridors=corridors, beside=beside, above=above, first=first)

    @cached_property
    def pieces(self) -> Pieces:
        """What is touched."""
        return _together(Pieces, self.on, self.turns_m[self.first :])

    @cached_property
    def seen(self) -> SeenAlong:
        """What stands over the line."""
        return _together(SeenAlong, self.above, self.turns_m[self.first :])

    @cached_property
    def cells(self) -> CorridorCells:
        """The corridor."""
        return _together(CorridorCells, self.corridors, self.turns_m[self.first :])

    def stretches_beside(
        self, which: Literal["steep", "unknown", "possible", "no_stand"]
    ) -> tuple[Array, Array]:
        """Beginnings and ends of the stretches of `BesideLeg`, by chainage; those of two legs may touch."""
        by_leg = zip(self.beside, self.turns_m[self.first :], strict=False)
        found = np.concatenate([getattr(leg, which) + at_m for leg, at_m in by_leg])
        return found[:, 0], found[:, 1]

    def spot(self, chainage_m: float, *, ends: bool = False) -> OnLine:
        """Where a chainage lies; at a turn point on the leg that ends there, or on the next one."""
        near = -ON_TURN_M if ends else ON_TURN_M
        leg = min(max(bisect_right(self._turns, chainage_m + near) - 1, 0), len(self.tracks) - 1)
        at_m = round((chainage_m - self._turns[leg]) * 1e6) / 1e6
        return self._spot(leg, min(max(at_m, 0.0), self.tracks[leg].length_m), chainage_m)

    def spots(self, chainage_m: Array) -> list[OnLine]:
        """Where chainages lie; at a turn point on the next leg."""
        leg, at = self._on(chainage_m, ON_TURN_M)
        lon, lat = np.empty((2, len(leg)))
        for one in np.flatnonzero(np.bincount(leg)).tolist():
            here = leg == one
            lon[here], lat[here] = self.tracks[one].at(at[here])
        columns = (leg + 1, at, chainage_m, lat, lon)
        return [OnLine(*one) for one in zip(*(column.tolist() for column in columns), strict=True)]

    def spaced(self, chainage_m: Array, spacing_m: float) -> NDArray[np.intp]:
        """Indexes of the first chainages, one in each so many metres of a leg."""
        leg, at = self._on(chainage_m, ON_TURN_M)
        most = math.ceil(float(self._lengths.max()) / spacing_m) + 1
        return np.unique(leg * most + (at // spacing_m).astype(np.intp), return_index=True)[1]

    @cached_property
    def _turns(self) -> list[float]:
        found: list[float] = self.turns_m.tolist()
        return found

    @cached_property
    def _lengths(self) -> Array:
        return np.array([track.length_m for track in self.tracks])

    def _on(self, chainage_m: Array, near: float) -> tuple[NDArray[np.intp], Array]:
        """Leg of chainages, from 0, and metres along it, without what adding up leg lengths leaves."""
        leg = np.searchsorted(self.turns_m, chainage_m + near, side="right") - 1
        leg = np.clip(leg, 0, len(self.tracks) - 1)
        return leg, np.clip(np.round(chainage_m - self.turns_m[leg], 6), 0.0, self._lengths[leg])

    def _spot(self, leg: int, at_m: float, chainage_m: float) -> OnLine:
        lon, lat = self.tracks[leg].at(at_m)
        return OnLine(leg + 1, at_m, chainage_m, float(lat), float(lon))

    def on_leg(self, leg: int, at_m: float) -> OnLine:
        """Spot of a leg, metres along it."""
        lon, lat = self.tracks[leg - 1].at(at_m)
        return OnLine(leg, at_m, float(self.turns_m[leg - 1]) + at_m, float(lat), float(lon))

    def may_serve(self, chainage_m: Array) -> NDArray[np.bool_]:
        """Which spots may serve as standing places; what is round one left out speaks against it."""
        pieces, (first, last) = self.pieces, self._near_steep
        at = np.clip(np.searchsorted(pieces.start_m, chainage_m, side="right") - 1, 0, None)
        off = ~(shown_slope_deg(pieces.high_deg[at]) < STEEP_DEG) | ~pieces.known[at] | ~pieces.ended[at]
        before = np.searchsorted(first, chainage_m, side="right") - 1
        off |= chainage_m <= last[before]
        return ~off

    @cached_property
    def _near_steep(self) -> tuple[Array, Array]:
        """Beginnings and ends of the stretches too near to ground that speaks against standing there."""
        found = joined(*self.stretches_beside("no_stand"), apart_m=0.0)
        # One that holds nothing comes before the first, and, as number -1, after the last.
        return np.append(-np.inf, found[:, 0]), np.append(-np.inf, found[:, 1])

    @cached_property
    def steep(self) -> NDArray[np.bool_]:
        """Pieces with ground of 30 degrees and more underfoot, short pieces too."""
        steepest = np.fmax(self.pieces.slope_deg, self.pieces.short_deg)
        return np.asarray(shown_slope_deg(np.nan_to_num(steepest)) >= STEEP_DEG)

    @cached_property
    def below(self) -> NDArray[np.bool_]:
        """Pieces in no start zone that a start zone stands over."""
        return ~self.seen.in_start_zone & (shown_slope_deg(np.nan_to_num(self.seen.deg)) >= PLACE_SIGHT_DEG)

    @cached_property
    def unknown(self) -> tuple[Array, Array]:
        """Pieces with unknown ground on the line, in the corridor or above."""
        (start, end), seen = self.unknown_near, self.seen
        return (
            np.concatenate((start, seen.start_m[seen.unknown_above])),
            np.concatenate((end, seen.end_m[seen.unknown_above])),
        )

    @cached_property
    def unknown_near(self) -> tuple[Array, Array]:
        """Pieces with unknown ground on the line or in the corridor."""
        pieces, (start, end) = self.pieces, self.stretches_beside("unknown")
        return (
            np.concatenate((pieces.start_m[~pieces.known], start)),
            np.concatenate((pieces.end_m[~pieces.known], end)),
        )

    @cached_property
    def possible(self) -> tuple[Array, Array]:
        """Pieces with ground that may be of 30 degrees underfoot or in the corridor, over or unknown."""
        pieces, (start, end), seen = self.pieces, self.stretches_beside("possible"), self.seen
        # Not below it: no end is known either.
        on = ~(shown_slope_deg(pieces.high_deg) < STEEP_DEG) | ~pieces.ended | ~pieces.known | self.steep
        over = seen.unknown_above | (shown_slope_deg(np.fmax(seen.deg, seen.possible_deg)) >= PLACE_SIGHT_DEG)
        return (
            np.concatenate((pieces.start_m[on], start, seen.start_m[over])),
            np.concatenate((pieces.end_m[on], end, seen.end_m[over])),
        )


def line_of(
    tracks: list[Track],
    from_names: tuple[str, ...],
    grounds: list[LegGround],
    above: tuple[Above, ...],
    kept: Kept = NOTHING_KEPT,
) -> Line:
    """Put the legs of a line one after another; parameters as for `find.places_on`."""
    turns = np.concatenate(([0.0], np.cumsum([track.length_m for track in tracks])))
    traps = [
        replace(trap, from_m=trap.from_m + float(turns[k]), to_m=trap.to_m + float(turns[k]))
        for k, leg in enumerate(above)
        for trap in leg.terrain_traps
    ]
    return Line(
        tracks,
        from_names,
        turns,
        np.concatenate([ground.chainage_m + turns[k] for k, ground in enumerate(grounds)]),
        np.concatenate([ground.elevation_m for ground in grounds]),
        tuple(traps),
        [ground.pieces for ground in grounds],
        [ground.corridor for ground in grounds],
        [
            kept.of("beside leg", ground.corridor, partial(BesideLeg.of, ground.corridor))
            for ground in grounds
        ],
        [leg.seen for leg in above],
    )


def _together(of: type[_Part], parts: list[_Part], turns_m: Array) -> _Part:
    """Columns of the legs one after another; those of chainage count on."""
    names = [one.name for one in fields(of)]
    columns = [[getattr(part, name) for part in parts] for name in names]
    for name, column in zip(names, columns, strict=True):
        if name in {"start_m", "end_m"}:
            column[:] = [values + by for values, by in zip(column, turns_m, strict=False)]
    return of(*(np.concatenate(column) for column in columns))


def joined(start: Array, end: Array, apart_m: float = APART_M) -> Array:
    """Join pieces, in any order, that lie less than `apart_m` apart; with 0 those that only touch, too.

    Stretches that lie `apart_m` or more apart, rising.
    """
    if len(start) == 0:
        return _NONE
    order = np.argsort(start, kind="stable")
    first, last = start[order], np.maximum.accumulate(end[order])
    gap = first[1:] - last[:-1]
    cut = np.flatnonzero((gap >= apart_m) & (gap > 1e-6)) + 1
    return np.stack((first[np.append(0, cut)], last[np.append(cut - 1, len(last) - 1)]), axis=1)


def bridged(start: Array, end: Array, over: Array) -> Array:
    """Join pieces where all that lies between two of them is in `over`, which does not end a stretch.

    Stretches begin and end with a piece.
    """
    runs = joined(np.append(start, over[:, 0]), np.append(end, over[:, 1]))
    out = []
    for first, last in runs:
        here = (start >= first) & (end <= last)
        if here.any():
            out.append((start[here].min(), end[here].max()))
    return np.array(out).reshape(-1, 2)


def outside(stretches: Array, taken: Array) -> Array:
    """Take stretches away from others; both rising and apart."""
    out = []
    for first, last in stretches:
        at = first
        for a, b in taken[(taken[:, 1] > first) & (taken[:, 0] < last)]:
            if a > at:
                out.append((at, a))
            at = max(at, b)
        if at < last:
            out.append((at, last))
    return np.array(out).reshape(-1, 2)


def overlap_m(one: tuple[float, float] | Array, other: tuple[float, float] | Array) -> float:
    """Length that two stretches have in common, metres."""
    return max(0.0, min(float(one[1]), float(other[1])) - max(float(one[0]), float(other[0])))


def length_m(start: Array, end: Array, within: tuple[float, float]) -> float:
    """Length of the union of pieces within a stretch, metres."""
    runs = joined(np.clip(start, *within), np.clip(end, *within), 0.0)
    return float((runs[:, 1] - runs[:, 0]).sum())


def shared(spans: Array, alone: NDArray[np.bool_] | None = None) -> list[NDArray[np.intp]]:
    """Group stretches, ``(n, 2)``, of different kinds into places: indexes, the leader of each group first.

    The longest leads; a shorter one joins the leader in which it lies most, if at least half of it
    lies there, and leads a place of its own if not. Groups go by where their leader begins. None
    joins one that is `alone`: unknown ground above may reach over the whole line, and would make
    one place of all that is known to be steep.
    """
    lengths = spans[:, 1] - spans[:, 0]
    lonely = np.zeros(len(spans), dtype=bool) if alone is None else alone
    groups: dict[int, list[int]] = {}
    for k in np.lexsort((spans[:, 0], -lengths, lonely)).tolist():
        common = {
            lead: overlap_m(spans[lead], spans[k])
            for lead in groups
            if not lonely[lead] and lengths[lead] >= lengths[k] - ROUNDED_M
        }
        best = max(common, key=lambda lead: common[lead], default=None)
        # A stretch of no length lies wholly where it touches.
        if best is not None and common[best] >= lengths[k] / 2.0 and _touch(spans[best], spans[k]):
            groups[best].append(k)
        else:
            groups[k] = [k]
    return [np.array(groups[lead]) for lead in sorted(groups, key=lambda lead: (spans[lead, 0], lead))]


def _touch(one: Array, other: Array) -> bool:
    return bool(one[0] <= other[1] and other[0] <= one[1])
