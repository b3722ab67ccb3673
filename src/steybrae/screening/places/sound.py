"""Whether the places that matter of a result that was read from a file are those of its legs.

Points and legs tell where a place has to be, and what it tells at the least; a place that is left
out, or made gentler, contradicts them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.screening.places.find import letters, places_at_length, told_before, trap_at
from steybrae.screening.places.line import overlap_m
from steybrae.screening.places.result import OnLine, PlaceThatMatters
from steybrae.screening.places.words import place_words
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG

SAME: Final = 1e-6
"""Share of a sum by which it may differ from its parts: rounding of other machines (our choice)."""

SAME_M: Final = 0.01
"""Metres by which lengths may differ from their sum (our choice)."""

TURN_CELLS: Final = 2.0
"""Nearer to a turn point than this, cells, the corridor of a leg may belong to the next one's places."""


@dataclass(frozen=True, eq=False)
class _Along:
    """Points of all legs, by chainage from the start of the line.

    `beside_m` are ends of each stretch between two points of a leg that is away from turn points,
    ``(n, 2)``, and `beside_deg` the steepest of the corridor abreast of it.
    """

    turns_m: Array
    chainage_m: Array
    slope_deg: Array
    elevation_m: Array
    unknown: NDArray[np.bool_]
    beside_m: Array
    beside_deg: Array


def place_contradictions(found: RouteScreening) -> Iterator[str]:
    """Say what contradicts what among the places of a line and its legs."""
    line = _along(found)
    yield from _named(found, line)
    for place in found.places:
        for what in _one(place, line):
            yield what.format(f"place {place.name}")
    yield from _every_leg(found)
    yield from _left_out(found, line)
    for one, other in itertools.permutations(found.places, 2):
        known_m = other.length_m - other.unknown_m
        if one.unknown_m < overlap_m(_ends(one), _ends(other)) - known_m - SAME_M:
            yield f"unknown ground of place {other.name} is known on place {one.name}"
    yield from _held(found)
    lead = places_at_length(found.places)
    if {k for k, place in enumerate(found.places) if place.at_length} != lead:
        yield "the places told at length are not those that lead"
    if tuple(place.again for place in found.places) != told_before(found.places, lead):
        yield "places are not the ground that they are called again"
    for place in found.places:
        legs = found.legs[place.from_.leg - 1 : place.to.leg]
        for what in (*figures_of(place), *_against(place, legs), *_traps(place, found, line)):
            yield what.format(f"place {place.name}")
    for place in found.places:
        if place_words(place) != place.words:
            yield f"the words of place {place.name} are not those of its figures"
    for leg in found.legs:
        if np.count_nonzero(~np.isfinite(leg.points.elevation_m)) > 2 and not leg.unknown_above:
            yield f"heights of leg {leg.number} are unknown and nothing overhead is"


def _along(found: RouteScreening) -> _Along:
    turns = np.concatenate(([0.0], np.cumsum([leg.length_m for leg in found.legs])))
    points = [(leg, leg.points, start) for leg, start in zip(found.legs, turns, strict=False)]
    off_m = TURN_CELLS * max(found.model.cell_size_m)
    beside_m, beside_deg = [], []
    for leg, at, start in points:
        first, last = at.chainage_m[:-1], at.chainage_m[1:]
        away = (first > off_m) & (last < leg.length_m - off_m)
        beside_m.append(np.stack((first, last), axis=1)[away] + start)
        beside_deg.append(at.corridor_deg[:-1][away])
    return _Along(
        turns,
        np.concatenate([at.chainage_m + start for _, at, start in points]),
        np.concatenate([at.slope_deg for _, at, _ in points]),
        np.concatenate([at.elevation_m for _, at, _ in points]),
        np.concatenate([~at.known for _, at, _ in points]),
        np.concatenate(beside_m),
        np.concatenate(beside_deg),
    )


def _named(found: RouteScreening, line: _Along) -> Iterator[str]:
    """Names run along the line, and the ends of each place lie on it."""
    if [place.name for place in found.places] != [letters(k) for k in range(len(found.places))]:
        yield "its places are not named from A on"
    starts = [place.from_.chainage_m for place in found.places]
    if starts != sorted(starts):
        yield "its places do not run along the line"
    for place in found.places:
        if not all(on_line(spot, line.turns_m) for spot in (place.from_, place.to)):
            yield f"place {place.name} does not lie on the line"


def on_line(spot: OnLine, turns_m: Array) -> bool:
    """Whether a place lies on a line with turn points at these chainages."""
    if not 1 <= spot.leg < len(turns_m):
        return False
    start, end = turns_m[spot.leg - 1], turns_m[spot.leg]
    inside = -SAME_M <= spot.at_m <= end - start + SAME_M
    return bool(inside and abs(start + spot.at_m - spot.chainage_m) <= SAME_M)


def _touching(
    found: RouteScreening, leg: LegScreening, kind: str = "", legs_beside: int = 0
) -> list[PlaceThatMatters]:
    """Places of a kind on a leg, and on those beside it: what is at a turn point may be told with either."""
    return [
        place
        for place in found.places
        if place.from_.leg - legs_beside <= leg.number <= place.to.leg + legs_beside
        and kind in ("", *place.kinds)
    ]


def _every_leg(found: RouteScreening) -> Iterator[str]:
    """Each leg has a place, or is named as having none; what is above it has one of its kind."""
    possible = {one.leg for one in found.legs_possible_only}
    for leg in found.legs:
        placed = bool(_touching(found, leg))
        if not placed and leg.number not in possible and leg.number not in found.legs_without:
            yield f"leg {leg.number} has no place that matters and is not named as without"
        if leg.number in found.legs_without and (placed or leg.steep_m > 0.0 or leg.unknown_m > 0.0):
            yield f"leg {leg.number} is named as without a place that matters and has one"
        if (leg.unknown_m > 0.0 or leg.unknown_above) and not _touching(found, leg, "unknown"):
            yield f"unknown ground of leg {leg.number} is on no place"
        sight = None if leg.overhead is None else leg.overhead.sight_outside
        if sight is None or shown_slope_deg(sight.unfiltered_deg) < PLACE_SIGHT_DEG:
            continue
        told = (place.overhead for place in _touching(found, leg, "overhead", 1))
        if not any(over is not None and over.deg >= sight.unfiltered_deg - SAME for over in told):
            yield f"what stands over leg {leg.number} is on no place"


def _left_out(found: RouteScreening, line: _Along) -> Iterator[str]:
    """Points along the line that are of a kind of place and lie on none."""
    on = {
        kind: [_ends(place) for place in found.places if kind in place.kinds]
        for kind in ("underfoot", "corridor", "unknown")
    }
    steep = shown_slope_deg(np.nan_to_num(line.slope_deg)) >= STEEP_DEG
    for kind, which in (("underfoot", steep), ("unknown", line.unknown)):
        at = line.chainage_m[which]
        if not _reached(at, at, on[kind]).all():
            yield f"{'steep' if kind == 'underfoot' else 'unknown'} ground of the line is on no place"
    beside = line.beside_m[shown_slope_deg(np.nan_to_num(line.beside_deg)) >= STEEP_DEG]
    if not _reached(beside[:, 0], beside[:, 1], on["underfoot"] + on["corridor"]).all():
        yield "steep ground of the corridor is on no place"


def _ends(place: PlaceThatMatters) -> tuple[float, float]:
    return place.from_.chainage_m, place.to.chainage_m


def _reached(start: Array, end: Array, places: list[tuple[float, float]]) -> NDArray[np.bool_]:
    """Which stretches a place reaches."""
    out = np.zeros(len(start), dtype=bool)
    for first, last in places:
        out |= (start <= last + SAME_M) & (end >= first - SAME_M)
    return out


def _one(place: PlaceThatMatters, line: _Along) -> Iterator[str]:
    """One place against the points of the line within it; single ones may lie on an end."""
    first, last = _ends(place)
    if abs(last - first - place.length_m) > SAME_M:
        yield "{} is not as long as from one end of it to the other"
    inside = np.flatnonzero((line.chainage_m > first) & (line.chainage_m < last))[1:-1]
    if place.kinds != ("unknown",):
        if np.nanmax(line.slope_deg[inside], initial=0.0) > (place.slope_max_deg or 0.0) + SAME:
            yield "a point of {} is steeper than its steepest slope"
        within = (line.beside_m[:, 0] > first) & (line.beside_m[:, 1] < last)
        steepest = np.nanmax(line.beside_deg[within], initial=0.0)
        # The line's own ground counts to its corridor.
        told = max(
            place.slope_max_deg or 0.0, 0.0 if place.corridor is None else place.corridor.slope_max_deg or 0.0
        )
        if shown_slope_deg(steepest) >= STEEP_DEG and steepest > told + SAME:
            yield "the corridor of {} is steeper abreast of a point than at its steepest"
    height_m = line.elevation_m[(line.chainage_m > first) & (line.chainage_m < last)]
    if np.isfinite(height_m).any() and not (
        (np.inf if place.elevation_min_m is None else place.elevation_min_m) <= np.nanmin(height_m) + SAME_M
        and np.nanmax(height_m) - SAME_M
        <= (-np.inf if place.elevation_max_m is None else place.elevation_max_m)
    ):
        yield "a point of {} lies below its lowest height or above its highest"
    both = line.unknown[inside][1:] & line.unknown[inside][:-1]
    on_line_m = np.diff(line.chainage_m[inside])[both].sum() / 2.0
    rising = (on_line_m, place.unknown_on_line_m, place.unknown_near_m, place.unknown_m)
    if any(less > more + SAME_M for less, more in itertools.pairwise(rising)):
        yield "the metres of unknown ground of {} are too few"


def figures_of(place: PlaceThatMatters) -> Iterator[str]:
    """Figures of one place against each other; its name goes into the braces."""
    slope, low, high = place.slope_max_deg, place.slope_low_deg, place.slope_high_deg
    corridor, over = place.corridor, place.overhead
    if slope is not None and not (low or 0.0) - SAME <= slope <= (90.0 if high is None else high) + SAME:
        yield "the steepest slope of {} lies outside its own interval"
    if not place.open_above and (high is None or place.unknown_near_m > 0.0):
        yield "something of {} is unknown and it is not open above"
    if corridor is not None:
        sides = max(corridor.left_deg or 0.0, corridor.right_deg or 0.0)
        deg = corridor.slope_max_deg or 0.0
        if deg < max(sides, slope or 0.0) - SAME:
            yield "the corridor of {} is gentler than what is in it"
        if deg > max(sides, slope or 0.0) + SAME:
            yield "the corridor of {} is steeper than its two sides and the line"
        if (corridor.slope_high_deg or 90.0) < max(deg, high or 90.0) - SAME:
            yield "the upper end of the corridor of {} lies below what is in it"
    if over is not None and over.quantity != "sight":
        yield "what stands over {} is no sight"
    without = (
        ("corridor" in place.kinds) > (corridor is not None),
        ("overhead" in place.kinds) > (over is not None),
    )
    if any(without) or (
        over is not None and "overhead" in place.kinds and shown_slope_deg(over.deg) < PLACE_SIGHT_DEG
    ):
        yield "{} is of a kind that it has no figure of"


def _against(place: PlaceThatMatters, legs: tuple[LegScreening, ...]) -> Iterator[str]:
    """One place against the legs that it lies on: none is gentler than its part."""

    def over_legs(values: Iterator[float | None]) -> float:
        return max(90.0 if value is None else value for value in values)

    if (place.slope_max_deg or 0.0) > max(leg.slope_max_deg or 0.0 for leg in legs) + SAME:
        yield "{} is steeper than its legs"
    if (place.slope_high_deg or 0.0) > over_legs(leg.slope_high_deg for leg in legs) + SAME:
        yield "{} may be steeper than the upper end of its legs"
    corridor = place.corridor
    if corridor is None:
        return
    told = max(max(leg.slope_corridor_max_deg or 0.0, leg.short_corridor_max_deg or 0.0) for leg in legs)
    if shown_slope_deg(corridor.slope_max_deg or 0.0) > shown_slope_deg(told):
        yield "the corridor of {} is steeper than that of its legs"
    if (corridor.slope_high_deg or 0.0) > over_legs(leg.slope_corridor_high_deg for leg in legs) + SAME:
        yield "the corridor of {} may be steeper than the upper end of its legs"


def _traps(place: PlaceThatMatters, found: RouteScreening, line: _Along) -> Iterator[str]:
    """Hold the trap of a place against those of the legs there: it is the most marked."""
    if ("trap" in place.kinds) != (place.trap is not None):
        yield "{} is a trap without one, or has one and is none"
    if place.trap is None:
        return
    first, last = _ends(place)
    traps = [
        trap
        for leg, start_m in zip(found.legs, line.turns_m.tolist(), strict=False)
        for trap in leg.terrain_traps
        if trap.from_m + start_m <= last and trap.to_m + start_m >= first
    ]
    if place.trap != trap_at(traps):
        yield "the trap of {} is not the most marked of its legs"


def _held(found: RouteScreening) -> Iterator[str]:
    """Hold the steepest of each leg, its steep metres and its drop against its places."""
    for leg in found.legs:
        on = [place for place in _touching(found, leg, legs_beside=1) if place.kinds != ("unknown",)]
        underfoot_deg = max((place.slope_max_deg or 0.0 for place in on), default=0.0)
        corridor_deg = max(
            (place.corridor.slope_max_deg or 0.0 for place in on if place.corridor), default=0.0
        )
        at = leg.slope_corridor_max_at
        # What lies beyond an end may be nearer to another leg, and in no corridor there.
        abreast = at is not None and SAME_M < at.chainage_m < leg.length_m - SAME_M
        beside_deg = (leg.slope_corridor_max_deg or 0.0) if abreast else 0.0
        for deg, told_deg in ((leg.slope_max_deg or 0.0, underfoot_deg), (beside_deg, corridor_deg)):
            if shown_slope_deg(deg) >= STEEP_DEG and deg > told_deg + SAME:
                yield f"the steepest of leg {leg.number} is on no place"
        if sum(place.steep_m for place in on) < leg.steep_m - SAME_M:
            yield f"steep ground of leg {leg.number} is longer than that of its places"
        drops = [place.corridor.drop for place in on if place.corridor and place.corridor.drop]
        drop = leg.drop
        if drop is not None and (
            min((one.off_m for one in drops), default=np.inf) > drop.off_m + SAME_M
            or max(one.fall_m for one in drops) < drop.fall_m - SAME_M
        ):
            yield f"the drop of leg {leg.number} is on no place"
