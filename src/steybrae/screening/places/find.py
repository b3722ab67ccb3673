"""Places that matter on a line: where it is steep underfoot, in the corridor or overhead, or unknown.

The whole line is looked at as one, so that a place does not end at a turn point. The corridor counts
by itself where the ground underfoot is gentler than 30 degrees for 100 m and more; elsewhere it
belongs to what is underfoot.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence, Set
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.route.ground import LegGround
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.overhead.result import Above
from steybrae.route.shape_result import TerrainTrap
from steybrae.route.touching import CorridorCells
from steybrae.screening.places.line import (
    ON_TURN_M,
    ROUNDED_M,
    TOLD_M,
    Line,
    bridged,
    joined,
    length_m,
    outside,
    overlap_m,
    shared,
)
from steybrae.screening.places.result import (
    CorridorAtPlace,
    DropAtPlace,
    OnLine,
    OverheadAtPlace,
    PlaceThatMatters,
    PossibleOnly,
    TrapAtPlace,
)
from steybrae.screening.places.words import leading_spot, place_words
from steybrae.terrain.dem import EARTH, Array
from steybrae.terrain.overhead.unknown import UnknownAt, nearest_of
from steybrae.terrain.shape import DROP_DEG

KINDS: Final = ("underfoot", "corridor", "overhead", "unknown", "trap")
"""What makes a stretch matter, in the order in which it is told."""

LONG_M: Final = 500.0
"""A longer place is told by its worst `TOLD_M`, metres (our choice)."""

MOST_AT_LENGTH: Final = 5
"""Places told at length, besides the second of a kind where it too exceeds `EXTREME_DEG` (our choice)."""

EXTREME_DEG: Final = 40.0
"""Called extremely steep above this, degrees (Swiss leaflet "Achtung Lawinen!")."""

SAME_GROUND_M: Final = 50.0
"""Places whose ends and steepest lie no farther apart are one ground, walked there and back or again (our
choice: some times the error of a receiver)."""

SAME_GROUND_DEG: Final = 2.0
"""And whose steepest do not differ by more, degrees (our choice: a corridor widens along a leg)."""

ORDER_RULE: Final = (
    "Letters run along the line. At length: the worst of each kind, then most metres of 30°+: five, and a "
    "second of a kind above 40°. No judgement. Brackets: 95 %, over 20 m. Corridor: short pieces too."
)
"""Which places are told at length, and what their figures are of, in words."""


@dataclass(frozen=True)
class Places:
    """Places of a line, and the legs without.

    Attributes
    ----------
    places
        Along the line.
    legs_without
        Numbers of legs with no ground that may be of 30 degrees underfoot or in the corridor, none
        overhead at 25 and more, and nothing unknown.
    legs_possible_only
        Legs on no place that are not without.
    drops
        Nearest drop of each leg, in its corridor; None where there is none.
    """

    places: tuple[PlaceThatMatters, ...]
    legs_without: tuple[int, ...]
    legs_possible_only: tuple[PossibleOnly, ...]
    drops: tuple[DropAtPlace | None, ...]


def places_on(
    line: Line, grounds: list[LegGround], above: Sequence[Above] = (), kept: Kept = NOTHING_KEPT
) -> Places:
    """Find the places that matter on a line, by what lies on, beside and above it and each of its legs.

    Of `kept`, those with the same legs at the same chainages are found again.
    """
    kinds, spans, alone = _spans(line)
    legs = tuple(zip(grounds, above, line.turns_m.tolist(), line.from_names, strict=False))
    found = []
    for group in shared(spans, alone):
        ends = float(spans[group, 0].min()), float(spans[group, 1].max())
        here = tuple(k for k in KINDS if k in {kinds[i] for i in group})
        # A leg that only touches the place has a turn point or a trap on its end.
        first, last = (bisect_right(line.turns_m, end) for end in (ends[0] - 1.0, ends[1] + 1.0))
        first, last = max(first - 1, 0), min(last, len(grounds))
        key = here, ends, first, legs[first:last]
        found.append(kept.of("place", key, partial(_place, line, (first, last), here, ends)))
    found.sort(key=lambda place: (place.from_.chainage_m, place.to.chainage_m))
    chosen = places_at_length(found)
    again = told_before(found, chosen)
    named = tuple(
        replace(place, name=letters(k), at_length=k in chosen, again=again[k])
        for k, place in enumerate(found)
    )
    drops = tuple(
        kept.of("nearest drop", cells, partial(_drop, cells, np.ones(len(cells.drop_m), dtype=bool)))
        for cells in (ground.corridor for ground in grounds)
    )
    return Places(named, *_legs_left(line, named), drops)


def _spans(line: Line) -> tuple[list[str], Array, NDArray[np.bool_]]:
    """Stretches of each kind: their kinds, where each begins and ends, and whether no other joins it."""
    pieces, seen = line.pieces, line.seen
    unknown = joined(pieces.start_m[~pieces.known], pieces.end_m[~pieces.known], 0.0)
    underfoot = bridged(pieces.start_m[line.steep], pieces.end_m[line.steep], unknown)
    beside = joined(*line.stretches_beside("steep"), apart_m=0.0)
    underfoot, beside = _apart(underfoot, beside)
    by_kind = {
        "underfoot": underfoot,
        "corridor": beside,
        "overhead": joined(seen.start_m[line.below], seen.end_m[line.below]),
        "trap": joined(seen.start_m[seen.trap], seen.end_m[seen.trap]),
    }
    kinds = [kind for kind, found in by_kind.items() for _ in found]
    spans = np.concatenate([found.reshape(-1, 2) for found in by_kind.values()])
    # What is unknown in a place belongs to it too; what is unknown above may reach over the whole line.
    within = [one for one in joined(*line.unknown_near) if any(_mostly_in(one, other) for other in spans)]
    every = joined(*line.unknown)
    alone = np.repeat([False, True], [len(kinds) + len(within), len(every)])
    kinds += ["unknown"] * (len(within) + len(every))
    return kinds, np.concatenate((spans, np.array(within).reshape(-1, 2), every)), alone


def _mostly_in(one: Array, other: Array) -> bool:
    """Whether a stretch lies at least half in a longer one."""
    length = float(one[1] - one[0])
    return length <= other[1] - other[0] + ROUNDED_M and overlap_m(one, other) >= length / 2.0 > 0.0


def _apart(underfoot: Array, beside: Array) -> tuple[Array, Array]:
    """Corridor without the ground underfoot; its short rests lengthen what is underfoot, and stay theirs.

    A rest keeps its kind wherever it lies, so that a place is of the corridor too where its corridor is
    steep beside gentler ground: what a longer line joins to it takes no kind away.
    """
    underfoot = underfoot.copy()
    long = np.flatnonzero(underfoot[:, 1] - underfoot[:, 0] >= TOLD_M)
    rest = outside(beside, underfoot[long])
    rest = joined(rest[:, 0], rest[:, 1])
    gentle = outside(beside, underfoot)
    rest = rest[[any(overlap_m(one, part) > ON_TURN_M for part in gentle) for one in rest]]
    taken = underfoot[long]
    for first, last in rest:
        near = np.flatnonzero((taken[:, 0] <= last + ON_TURN_M) & (taken[:, 1] >= first - ON_TURN_M))
        if last - first < TOLD_M and len(near):
            into = long[near[np.argmax(taken[near, 1] - taken[near, 0])]]
            underfoot[into] = min(underfoot[into, 0], first), max(underfoot[into, 1], last)
    return underfoot, rest


def _place(
    whole: Line, legs: tuple[int, int], kinds: tuple[str, ...], ends: tuple[float, float]
) -> PlaceThatMatters:
    line = whole.near_legs(*legs)
    pieces = line.pieces
    here = _within(pieces.start_m, pieces.end_m, ends)
    steep = here & line.steep
    slope, at = _largest(pieces.slope_deg, here)
    high, low = (_largest(end, here)[0] for end in (pieces.high_deg, pieces.low_deg))
    ended = bool(pieces.ended[here].all())
    near_m = length_m(*line.unknown_near, ends)
    overhead, corridor = _overhead(line, ends), _corridor(line, ends)
    if overhead is not None and "overhead" in kinds and overhead.deg > (slope or 0.0):
        # Told first by what is steepest there: a headwall over a short piece of 30 degrees.
        kinds = ("overhead", *(kind for kind in kinds if kind != "overhead"))
    slope_at = None if at is None else line.spot(_middle(pieces.start_m[at], pieces.end_m[at], ends))
    heights = line.elevation_m[_within(line.chainage_m, line.chainage_m, (ends[0] - 1e-6, ends[1] + 1e-6))]
    heights = heights[np.isfinite(heights)]
    traps = [trap for trap in line.traps if trap.from_m <= ends[1] and trap.to_m >= ends[0]]
    start = line.spot(ends[0])
    place = PlaceThatMatters(
        name="",
        at_length=False,
        kinds=kinds,
        from_=start,
        to=line.spot(ends[1], ends=True),
        worst=None,
        length_m=ends[1] - ends[0],
        steep_m=length_m(pieces.start_m[steep], pieces.end_m[steep], ends),
        slope_max_deg=slope,
        slope_low_deg=low,
        slope_high_deg=high,
        slope_max_at=slope_at,
        open_above=near_m > 0.0 or high is None or not ended,
        overhead=overhead,
        corridor=corridor,
        unknown_m=length_m(*line.unknown, ends),
        unknown_near_m=near_m,
        unknown_on_line_m=length_m(pieces.start_m[~pieces.known], pieces.end_m[~pieces.known], ends),
        unknown_at=_unknown_from(line, ends),
        unknown_above_at=_unknown_above(line, ends),
        trap=trap_at(traps) if "trap" in kinds else None,
        aspect_sectors=pieces.faces(steep),
        elevation_min_m=float(heights.min()) if len(heights) else None,
        elevation_max_m=float(heights.max()) if len(heights) else None,
        after=line.from_names[start.leg - 1],
        checks=(),
        words="",
    )
    if place.length_m > LONG_M:
        place = replace(place, worst=_worst(line, place))
    return replace(place, words=place_words(place))


def _overhead(line: Line, ends: tuple[float, float]) -> OverheadAtPlace | None:
    seen = line.seen
    here = _within(seen.start_m, seen.end_m, ends) & ~seen.in_start_zone
    deg, at = _largest(seen.deg, here)
    if deg is None or at is None:
        return None
    return OverheadAtPlace(
        deg,
        "sight",
        bool(seen.hidden[at]),
        float(seen.bearing_true_deg[at]),
        float(seen.distance_m[at]),
        float(seen.rise_m[at]),
        float(seen.lat_deg[at]),
        float(seen.lon_deg[at]),
        line.spot(_middle(seen.start_m[at], seen.end_m[at], ends)),
        bool(seen.unknown_above[_within(seen.start_m, seen.end_m, ends)].any()),
    )


def _unknown_from(line: Line, ends: tuple[float, float]) -> OnLine | None:
    pieces = line.pieces
    for start_m, end_m in ((pieces.start_m[~pieces.known], pieces.end_m[~pieces.known]), line.unknown_near):
        here = _within(start_m, end_m, ends)
        if here.any():
            return line.spot(max(float(start_m[here].min()), ends[0]))
    return None


def _unknown_above(line: Line, ends: tuple[float, float]) -> UnknownAt | None:
    seen = line.seen
    here = _within(seen.start_m, seen.end_m, ends)
    return nearest_of(seen.unknown_off_m[here], seen.unknown_bearing_true_deg[here], seen.model_ends[here])


def trap_at(traps: Sequence[TerrainTrap]) -> TrapAtPlace | None:
    """Give the most marked of some traps."""
    worst = max(traps, key=lambda trap: (trap.slope_deg or 0.0, trap.depth_m or 0.0), default=None)
    if worst is None:
        return None
    return TrapAtPlace(worst.kind, worst.bearing_true_deg, worst.distance_m, worst.slope_deg, worst.depth_m)


def _drop(cells: CorridorCells, here: NDArray[np.bool_]) -> DropAtPlace | None:
    """Distance of the nearest drop among some cells, and height of the highest."""
    drops = np.flatnonzero(here & (cells.drop_m > 0.0))
    if len(drops) == 0:
        return None
    # On both sides neither may be named alone: the highest may lie on the other than the nearest.
    side = _side(cells, int(drops[0])) if len(set(cells.left[drops])) == 1 else "both"
    return DropAtPlace(float(cells.off_m[drops].min()), float(cells.drop_m[drops].max()), side)


def _corridor(line: Line, ends: tuple[float, float]) -> CorridorAtPlace | None:
    cells = line.cells
    here = _within(cells.start_m, cells.end_m, ends)
    deg, at = _largest(cells.slope_deg, here)
    drop = _drop(cells, here)
    on = _within(line.pieces.start_m, line.pieces.end_m, ends)
    if at is None:
        if drop is None:
            return None
        # Beside unknown ground a drop is known where no slope is.
        at = int(np.argmin(np.where(here & (cells.drop_m > 0.0), cells.off_m, np.inf)))
    # Cells round the line may be those of other legs, or lie farther off than the corridor is wide.
    steepest = max(filter(None, (deg, _largest(line.pieces.slope_deg, on)[0])), default=None)
    if drop is None and shown_slope_deg(steepest or 0.0) < STEEP_DEG:
        return None
    highs = np.concatenate((cells.high_deg[here & cells.known], line.pieces.high_deg[on]))
    ends_known = deg is not None and np.isfinite(highs).all() and line.pieces.ended[on].all()
    return CorridorAtPlace(
        steepest,
        max(steepest or 0.0, float(highs.max())) if ends_known else None,
        _side(cells, at),
        float(cells.off_m[at]),
        _largest(cells.slope_deg, here & cells.left)[0],
        _largest(cells.slope_deg, here & ~cells.left)[0],
        drop,
        line.spot(_middle(cells.start_m[at], cells.end_m[at], ends)),
    )


def _side(cells: CorridorCells, at: int) -> str:
    return "left" if cells.left[at] else "right"


def _worst(line: Line, place: PlaceThatMatters) -> tuple[OnLine, OnLine]:
    """Give the 100 m round what the place is told by first."""
    spots = {
        "underfoot": place.slope_max_at,
        "corridor": None if place.corridor is None else place.corridor.at,
        "overhead": None if place.overhead is None else place.overhead.at,
        "unknown": place.unknown_at,
    }
    told = next(filter(None, map(spots.get, place.kinds)), None)
    first, last = place.from_.chainage_m, place.to.chainage_m
    middle = (first + last) / 2.0 if told is None else told.chainage_m
    start = min(max(middle - TOLD_M / 2.0, first), last - TOLD_M)
    return line.spot(start), line.spot(start + TOLD_M, ends=True)


def _within(start: Array, end: Array, ends: tuple[float, float]) -> NDArray[np.bool_]:
    """Pieces of which more than an end lies in a stretch."""
    inside: NDArray[np.bool_] = (start < ends[1]) & (end > ends[0])
    return inside


def _middle(start: float, end: float, ends: tuple[float, float]) -> float:
    return float(max(start, ends[0]) + min(end, ends[1])) / 2.0


def _largest(values: Array, which: NDArray[np.bool_]) -> tuple[float | None, int | None]:
    some = np.flatnonzero(which & np.isfinite(values))
    if len(some) == 0:
        return None, None
    at = int(some[np.argmax(values[some])])
    return float(values[at]), at


def _measure(place: PlaceThatMatters, kind: str) -> float:
    """By what places of a kind are held against each other."""
    slope = place.slope_max_deg or 0.0
    # Of unknown slope it has a drop, which no gentler ground has.
    corridor = 0.0 if place.corridor is None else place.corridor.slope_max_deg or DROP_DEG
    overhead = 0.0 if place.overhead is None else place.overhead.deg
    by_kind = {
        "underfoot": slope,
        "corridor": corridor,
        "overhead": overhead,
        "unknown": place.unknown_near_m,
    }
    return by_kind.get(kind, max(slope, corridor, overhead))


def _worst_first(place: PlaceThatMatters, kind: str) -> tuple[float, float, float]:
    """`_measure`, and between equals metres of 30 and more, then of unknown ground."""
    return _measure(place, kind), _own_steep_m(place), place.unknown_m


def _own_steep_m(place: PlaceThatMatters) -> float:
    """Metres of 30 and more; none under unknown ground alone, whose steep ground has places of its own."""
    return 0.0 if place.kinds == ("unknown",) else place.steep_m


def places_at_length(places: Sequence[PlaceThatMatters]) -> set[int]:
    """Which places are told at length; see `ORDER_RULE`. Of one ground, walked there and back, one is."""
    chosen: set[int] = set()

    def is_told(k: int) -> bool:
        return any(same_ground(places[k], places[other]) for other in chosen)

    of_kind = {kind: [k for k, place in enumerate(places) if kind in place.kinds] for kind in KINDS}
    # Beside steep ground underfoot the corridor is no place of its own.
    of_kind["corridor"] = [k for k in of_kind["corridor"] if "underfoot" not in places[k].kinds]
    for kind, numbers in of_kind.items():
        worst = max(numbers, key=lambda k: _worst_first(places[k], kind), default=None)
        if worst is not None and not is_told(worst):
            chosen.add(worst)
    for k in sorted(range(len(places)), key=lambda k: (-_own_steep_m(places[k]), -_measure(places[k], ""))):
        if len(chosen) < MOST_AT_LENGTH and not is_told(k):
            chosen.add(k)
    for kind in ("underfoot", "corridor", "overhead"):
        steepest = sorted(of_kind[kind], key=lambda k: -_measure(places[k], kind))
        others = (k for k in steepest[1:] if not same_ground(places[k], places[steepest[0]]))
        second = next(others, None)
        if second is not None and _measure(places[second], kind) > EXTREME_DEG and not is_told(second):
            chosen.add(second)
    return chosen


def same_ground(one: PlaceThatMatters, other: PlaceThatMatters) -> bool:
    """Whether two places are one stretch of ground, walked there and back, or twice the same way."""
    if set(one.kinds) != set(other.kinds) or abs(one.length_m - other.length_m) > 2.0 * SAME_GROUND_M:
        return False
    figures = ((_measure(one, kind), _measure(other, kind)) for kind in ("underfoot", "corridor", "overhead"))
    if any(abs(own - others) > SAME_GROUND_DEG for own, others in figures):
        return False
    worst = leading_spot(one)[0], leading_spot(other)[0]
    back, again = (one.from_, other.to, one.to, other.from_), (one.from_, other.from_, one.to, other.to)
    return _near(*worst) and any(_near(*way[:2]) and _near(*way[2:]) for way in (back, again))


def _near(one: OnLine, other: OnLine) -> bool:
    apart_m = EARTH.line_length((one.lon_deg, other.lon_deg), (one.lat_deg, other.lat_deg))
    return bool(apart_m <= SAME_GROUND_M)


def told_before(places: Sequence[PlaceThatMatters], chosen: Set[int]) -> tuple[str, ...]:
    """Letter of the place told at length whose ground each of the others is; empty where none is."""
    return tuple(
        "" if k in chosen else next((letters(j) for j in sorted(chosen) if same_ground(place, places[j])), "")
        for k, place in enumerate(places)
    )


def letters(number: int) -> str:
    """Give A to Z, then AA, AB, ..."""
    before, last = divmod(number, 26)
    return (letters(before - 1) if before else "") + chr(ord("A") + last)


def _legs_left(
    line: Line, places: tuple[PlaceThatMatters, ...]
) -> tuple[tuple[int, ...], tuple[PossibleOnly, ...]]:
    """Legs without, and those with possible ground only."""
    start, end = line.possible
    without, possible = [], []
    for number, ends in enumerate(zip(line.turns_m[:-1], line.turns_m[1:], strict=True), 1):
        if any(place.from_.chainage_m < ends[1] and place.to.chainage_m > ends[0] for place in places):
            continue
        metres = length_m(start, end, (float(ends[0]), float(ends[1])))
        if metres > 0.0:
            possible.append(PossibleOnly(number, metres))
        else:
            without.append(number)
    return tuple(without), tuple(possible)
