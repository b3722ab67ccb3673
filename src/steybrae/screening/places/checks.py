"""Checks of a line, their standing places and which of them lead; and traps below its steep places."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import finite
from steybrae.route.bearings import geodesic
from steybrae.route.expected import FromLine, Spots, Target, look_from, sight_interval_deg
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.result import ExpectedReading
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot
from steybrae.screening.leg import named, worth_a_reading
from steybrae.screening.places.line import Line
from steybrae.screening.places.result import OnLine, OverheadAtPlace, PlaceThatMatters, TrapBelow
from steybrae.screening.places.words import place_words
from steybrae.screening.result import LegScreening
from steybrae.screening.standing import Standing, StandingRules, tells
from steybrae.terrain.dem import Array, DemSource, window_round
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.overhead.ground import NEIGHBOURS
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG
from steybrae.terrain.shape import RINGS, SHAPE_SPACING_M, drop_m, flattenings, gullies, look_around

MOST_LEADING: Final = 8
"""Checks that lead on a day (our choice)."""

SLOPE_BEFORE_M: Final = 500.0
"""How far before a steep place the ground of its slope check may lie, metres along the line (our choice)."""

SIGHT_BEFORE_M: Final = 1500.0
"""How far before a place its sight may be taken, metres along the line (our choice: on a round one sees a
face long before one comes to it)."""

SPACING_M: Final = 20.0
"""Spots along the line that are looked from lie this far apart, metres (our choice: the baseline)."""

STEEP_KINDS: Final = {"underfoot", "corridor"}
"""Kinds of places that a reading of the slope is for."""

MOST_TRIED: Final = 20
"""Spots for one check that are looked at closely, the best first (our choice)."""


@dataclass(frozen=True)
class CheckRules:
    """What checks of a line are chosen by.

    `place_error_m` is how far off the line one may be on each leg; `cell_m` is for the interval of
    a sight, see `steybrae.route.expected.sight_interval_deg`; `kept` is the ground to look up at.
    """

    standing: StandingRules
    place_error_m: Sequence[float]
    cell_m: float
    kept: KeptGround

    def stand(self, spot: OnLine) -> Standing:
        """Whether a spot of the line serves as a standing place, and what its ground would show."""
        return self.standing.stand(spot.lat_deg, spot.lon_deg, self.place_error_m[spot.leg - 1])


@dataclass(frozen=True)
class _Check:
    """A check of the line, the numbers of the places that it belongs to, and the ground that is sighted.

    ``{}`` in its words stands for the names of those places until `_one_for_each_ground`.
    """

    at: OnLine
    reading: ExpectedReading
    places: tuple[int, ...]
    sighted: Place | None = None


def with_checks(
    line: Line, places: tuple[PlaceThatMatters, ...], legs: Sequence[LegScreening], rules: CheckRules
) -> tuple[list[tuple[ExpectedReading, ...]], tuple[PlaceThatMatters, ...]]:
    """Choose the checks of a line, named by leg and letter, ``7a``, and say at each place which are its own.

    Slopes of the legs that one may stand on are kept. A steep place told at length gets the
    steepest ground before it that one may stand on. A place below a start zone that is in open
    sight from it gets a sight to that ground from a spot before the place: the one with the least
    overhead angle, and of equal ones the nearest.
    """
    slopes = [*_of_legs(line, places, legs), *_before_steep(line, places, rules)]
    slopes = _one_for_each_ground(slopes, places)
    targets = {
        k: _target(place.overhead, place.from_.chainage_m)
        for k, place in enumerate(places)
        if "overhead" in place.kinds and place.overhead is not None and not place.overhead.hidden
    }
    spots = [*(check.at for check in slopes), *_spots(line, targets.values())]
    if not spots:
        return [leg.expected_readings for leg in legs], places
    seen = look_from(rules.kept, line.tracks, _columns(spots), tuple(targets.values()), len(slopes))
    checks = [
        replace(check, reading=_overhead_there(check.reading, seen, k)) for k, check in enumerate(slopes)
    ]
    sights = []
    for number, k in enumerate(targets):
        found = _sight(number, spots, seen, rules)
        sights += (
            [] if found is None else [_Check(*found, (k,), Place(targets[k].lat_deg, targets[k].lon_deg))]
        )
    checks += _one_for_each_ground(sights, places)
    return _shared_out(_with_leading(checks, places), places, legs)


def _one_for_each_ground(checks: list[_Check], places: tuple[PlaceThatMatters, ...]) -> list[_Check]:
    """Of checks from one spot of one piece of ground the steepest, which belongs to the places of all."""
    found: list[_Check] = []
    for check in checks:
        same = next((k for k, one in enumerate(found) if _same(one, check)), None)
        if same is None:
            found.append(check)
            continue
        steeper = max(found[same], check, key=lambda one: one.reading.expected_deg)
        belongs = sorted({*found[same].places, *check.places})
        found[same] = replace(steeper, places=tuple(belongs))
    return [replace(one, reading=_in_words(one, places)) for one in found]


def _same(one: _Check, other: _Check) -> bool:
    """Whether both stand within a baseline on the line, and sight ground within one."""
    if abs(one.at.chainage_m - other.at.chainage_m) >= SPACING_M:
        return False
    here, there = one.sighted, other.sighted
    return here == there or (here is not None and there is not None and geodesic(here, there)[0] < SPACING_M)


def _in_words(check: _Check, places: tuple[PlaceThatMatters, ...]) -> ExpectedReading:
    names = " and ".join(places[k].name for k in check.places)
    return replace(check.reading, what=check.reading.what.format(names))


def _target(looks: OverheadAtPlace, begins_m: float) -> Target:
    return Target(looks.lat_deg, looks.lon_deg, begins_m - SIGHT_BEFORE_M, begins_m)


def _of_legs(line: Line, places: tuple[PlaceThatMatters, ...], legs: Sequence[LegScreening]) -> list[_Check]:
    out = []
    for leg, start in zip(legs, line.turns_m, strict=False):
        for reading in leg.expected_readings:
            at = line.on_leg(leg.number, reading.chainage_m or 0.0)
            chainage = float(start) + at.at_m
            on = [k for k, p in enumerate(places) if p.from_.chainage_m <= chainage <= p.to.chainage_m]
            # A slope tells nothing of a place that is only below unknown ground.
            on.sort(key=lambda k: not STEEP_KINDS & set(places[k].kinds))
            out.append(_Check(at, reading, tuple(on[:1])))
    return out


def _before_steep(line: Line, places: tuple[PlaceThatMatters, ...], rules: CheckRules) -> list[_Check]:
    out = []
    for k, place in enumerate(places):
        if place.at_length and STEEP_KINDS & set(place.kinds):
            found = _slope_before(line, place, rules)
            out += [] if found is None else [_Check(*found, (k,))]
    return out


def _slope_before(
    line: Line, place: PlaceThatMatters, rules: CheckRules
) -> tuple[OnLine, ExpectedReading] | None:
    """Steepest ground on the line that one may stand on before a place."""
    pieces, end = line.pieces, place.from_.chainage_m
    middle = (pieces.start_m + pieces.end_m) / 2.0
    here = np.flatnonzero((pieces.end_m <= end) & (middle >= end - SLOPE_BEFORE_M) & line.may_serve(middle))
    # One for each baseline: pieces at the crossing of two cells tell the same.
    here = here[np.argsort(-pieces.slope_deg[here], kind="stable")]
    here = here[np.sort(line.spaced(middle[here], SPACING_M))]
    for piece in here[:MOST_TRIED].tolist():
        slope, high = float(pieces.slope_deg[piece]), float(pieces.high_deg[piece])
        if not worth_a_reading(slope, high):
            return None
        at = line.spot(float(middle[piece]))
        stand = rules.stand(at)
        if not stand.may:
            continue
        what = "steepest ground to stand on before {}, up the fall line"
        figures = slope, None, None
        reading = ExpectedReading("", 1, _ground(line, at), at.at_m, None, *figures, what, "slope")
        reading = stand.reads(reading)
        if tells(reading):
            return at, reading
    return None


def _spots(line: Line, targets: Iterable[Target]) -> list[OnLine]:
    """Spots of the line from which a target may be sighted, so far as its pieces and corridor tell."""
    middle = (line.pieces.start_m + line.pieces.end_m) / 2.0
    some = middle[line.spaced(middle, SPACING_M)]
    asked = np.zeros(len(some), dtype=bool)
    for target in targets:
        asked |= (some >= target.from_m) & (some <= target.to_m)
    some = some[asked]
    return line.spots(some[line.may_serve(some)])


def _columns(spots: Sequence[OnLine]) -> Spots:
    return Spots(
        np.array([spot.leg - 1 for spot in spots], dtype=np.intp),
        np.array([spot.at_m for spot in spots]),
        np.array([spot.chainage_m for spot in spots]),
    )


def _sight(
    number: int, spots: Sequence[OnLine], seen: FromLine, rules: CheckRules
) -> tuple[OnLine, ExpectedReading] | None:
    sights = seen.sights[number]
    chainage = np.array([spots[spot].chainage_m for spot in sights.spot])
    # Nothing at 18 degrees or more is the same everywhere; unknown ground above counts as told.
    none = np.where(seen.unknown_above[sights.spot], PLACE_SIGHT_DEG, 0.0)
    order = np.lexsort((-chainage, np.fmax(seen.overhead_deg[sights.spot], none)))
    for k in order[:MOST_TRIED].tolist():
        at = spots[int(sights.spot[k])]
        if not rules.stand(at).may:
            continue
        deg, distance = float(sights.deg[k]), float(sights.distance_m[k])
        ends = sight_interval_deg(
            deg, distance, rules.cell_m, rules.standing.known.survey, rules.place_error_m[at.leg - 1]
        )
        what = f"sight up to the steepest ground over {{}}, {int(distance)} m away"
        reading = ExpectedReading(
            "", 1, Spot(at.lat_deg, at.lon_deg, None), at.at_m, float(sights.bearing_true_deg[k]), deg, *ends,
            what, "sight",
        )  # fmt: skip
        return at, _overhead_there(reading, seen, int(sights.spot[k]))
    return None


def _ground(line: Line, at: OnLine) -> Spot:
    height = np.interp(at.chainage_m, line.chainage_m, line.elevation_m)
    return Spot(at.lat_deg, at.lon_deg, finite(height))


def _overhead_there(reading: ExpectedReading, seen: FromLine, spot: int) -> ExpectedReading:
    deg = finite(seen.overhead_deg[spot])
    return replace(reading, overhead_deg=deg, overhead_at_least=bool(seen.unknown_above[spot]))


def _with_leading(checks: list[_Check], places: tuple[PlaceThatMatters, ...]) -> list[_Check]:
    """Mark those that lead: of each place its first, those told at length first, before a second.

    None of ground that is walked again, which was checked on the way there.
    """
    of_place = [0] * len(places)
    ranks = []
    for k in sorted(range(len(checks)), key=lambda k: _tells(checks[k], places)):
        own = checks[k].places
        if own and all(places[place].again for place in own):
            continue
        rank = min((of_place[place] for place in own), default=len(checks))
        for place in own:
            of_place[place] += 1
        ranks.append((rank, not any(places[place].at_length for place in own), k))
    leading = {k for *_, k in sorted(ranks)[:MOST_LEADING]}
    return [
        replace(check, reading=replace(check.reading, leads=k in leading)) for k, check in enumerate(checks)
    ]


def _tells(check: _Check, places: tuple[PlaceThatMatters, ...]) -> tuple[bool, float]:
    """Order of the checks of one place: of what it is told by first, then the steepest."""
    first = {places[k].kinds[0] for k in check.places}
    return (check.reading.quantity == "sight") != ("overhead" in first), -check.reading.expected_deg


def _shared_out(
    checks: list[_Check], places: tuple[PlaceThatMatters, ...], legs: Sequence[LegScreening]
) -> tuple[list[tuple[ExpectedReading, ...]], tuple[PlaceThatMatters, ...]]:
    names: dict[int, list[str]] = {}
    number, out = 1, []
    for leg in legs:
        here = sorted((c for c in checks if c.at.leg == leg.number), key=lambda c: c.at.at_m)
        readings = named(tuple(check.reading for check in here), str(leg.number))
        readings = tuple(replace(one, number=number + k) for k, one in enumerate(readings))
        number += len(readings)
        out.append(readings)
        for check, reading in zip(here, readings, strict=True):
            for place in check.places:
                names.setdefault(place, []).append(reading.name)
    return out, tuple(replace(place, checks=tuple(names.get(k, ()))) for k, place in enumerate(places))


BELOW_M: Final = 300.0
"""How far down is looked, metres on the map (our choice)."""


def with_traps_below(
    places: tuple[PlaceThatMatters, ...], source: DemSource, kept: Kept = NOTHING_KEPT
) -> tuple[PlaceThatMatters, ...]:
    """Add the first trap below the steepest spot of each place.

    From there the way goes to the neighbour of the eight with the steepest fall, until it comes to
    a drop, into a gully or on to an abrupt flattening, to `BELOW_M` from its start, or to unknown
    ground. Places that have a trap or a drop of their own, or no steep ground, are left as they
    are.
    """
    return tuple(_with_trap(place, source, kept) for place in places)


def _with_trap(place: PlaceThatMatters, source: DemSource, kept: Kept) -> PlaceThatMatters:
    own = place.trap is not None or (place.corridor is not None and place.corridor.drop is not None)
    if own or "underfoot" not in place.kinds or place.slope_max_at is None:
        return place
    at = place.slope_max_at
    found = kept.of("trap below", (at.lat_deg, at.lon_deg), lambda: _trap_below(at, source))
    if found is None:
        return place
    place = replace(place, trap_below=found)
    return replace(place, words=place_words(place))


def _trap_below(spot: OnLine, source: DemSource) -> TrapBelow | None:
    col, row = (float(value) for value in source.grid.from_wgs84(spot.lon_deg, spot.lat_deg))
    reach_m = BELOW_M + (RINGS + 1) * SHAPE_SPACING_M
    across, along = (math.ceil(reach_m / size) + 2 for size in cell_size_m(source.grid, col, row))
    dem, _ = window_round(source, (col, row), (across, along))
    jacobian = jacobian_at(dem.grid)
    found = (_first_trap(heights_m, jacobian, (across, along)) for heights_m in dem.every_m)
    return min(filter(None, found), key=lambda trap: trap.off_m, default=None)


def _first_trap(heights_m: Array, jacobian: Array, start: tuple[int, int]) -> TrapBelow | None:
    cols, rows = _way_down(heights_m, jacobian, start)
    at_cols, at_rows = cols.astype(np.float64) + 0.5, rows.astype(np.float64) + 0.5
    around = look_around(heights_m, jacobian, at_cols, at_rows)
    kinds = {
        "drop": drop_m(heights_m, jacobian)[rows, cols] > 0.0,
        "gully": gullies(around).there,
        "flattening": flattenings(around, STEEP_DEG).there,
    }
    # What the spot itself is belongs to the place.
    firsts = {kind: 1 + int(np.argmax(there[1:])) for kind, there in kinds.items() if there[1:].any()}
    if not firsts:
        return None
    kind = min(firsts, key=lambda one: firsts[one])
    at = firsts[kind]
    off_m = float(np.hypot(*(jacobian @ np.array([cols[at] - cols[0], rows[at] - rows[0]], dtype=float))))
    fall_m = float(heights_m[rows[0], cols[0]] - heights_m[rows[at], cols[at]])
    return TrapBelow(kind, off_m, max(fall_m, 0.0))


def _way_down(
    heights: Array, jacobian: Array, start: tuple[int, int]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Columns and rows of the way down, the start first; level ground is crossed as one comes to it."""
    length = np.hypot(*(jacobian @ NEIGHBOURS.T.astype(float)))
    way, step, level_m = [start], -1, 0.0
    while True:
        col, row = way[-1]
        around = heights[row + NEIGHBOURS[:, 1], col + NEIGHBOURS[:, 0]]
        fall = np.nan_to_num((heights[row, col] - around) / length, nan=-np.inf)
        best = int(np.argmax(fall))
        level_m = 0.0 if fall[best] > 0.0 else level_m + float(length[step])
        step = best if fall[best] > 0.0 else step
        if step < 0 or level_m > RINGS * SHAPE_SPACING_M / 2.0 or not np.isfinite(around[step]):
            break
        there = col + int(NEIGHBOURS[step, 0]), row + int(NEIGHBOURS[step, 1])
        off = jacobian @ (np.array(there, dtype=float) - np.array(start, dtype=float))
        if float(np.hypot(*off)) > BELOW_M or there in way:  # out of a pit and back into it
            break
        way.append(there)
    cols, rows = np.array(way, dtype=np.intp).T
    return cols, rows
