"""Whether the places that matter of a result that was read from a file are those of its legs.

Points and legs tell where a place has to be, and what it tells at the least; a place that is left
out, or made gentler, contradicts them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.quantities import shown_slope_deg
from steybrae.route.overhead.result import PLACE_SIGHT_DEG
from steybrae.screening.places.find import letters
from steybrae.screening.places.line import overlap_m
from steybrae.screening.places.result import OnLine, PlaceThatMatters
from steybrae.screening.places.words import place_words
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array

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
    told_deg = max(found.totals.slope_corridor_max_deg or 0.0, found.totals.short_corridor_max_deg or 0.0)
    for place in found.places:
        if place.corridor is not None and place.corridor.slope_max_deg > told_deg + SAME:
            yield f"the corridor of place {place.name} is steeper than that of the whole line"
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
        if not all(_on_line(spot, line.turns_m) for spot in (place.from_, place.to)):
            yield f"place {place.name} does not lie on the line"


def _on_line(spot: OnLine, turns_m: Array) -> bool:
    if not 1 <= spot.leg < len(turns_m):
        return False
    start, end = turns_m[spot.leg - 1], turns_m[spot.leg]
    inside = -SAME_M <= spot.at_m <= end - start + SAME_M
    return bool(inside and abs(start + spot.at_m - spot.chainage_m) <= SAME_M)


def _touching(found: RouteScreening, leg: LegScreening, kind: str = "") -> list[PlaceThatMatters]:
    return [
        place
        for place in found.places
        if place.from_.leg <= leg.number <= place.to.leg and kind in ("", *place.kinds)
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
        told = (place.overhead for place in _touching(found, leg, "overhead"))
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
            place.slope_max_deg or 0.0, 0.0 if place.corridor is None else place.corridor.slope_max_deg
        )
        if shown_slope_deg(steepest) >= STEEP_DEG and steepest > told + SAME:
            yield "the corridor of {} is steeper abreast of a point than at its steepest"
    both = line.unknown[inside][1:] & line.unknown[inside][:-1]
    on_line_m = np.diff(line.chainage_m[inside])[both].sum() / 2.0
    rising = (on_line_m, place.unknown_on_line_m, place.unknown_near_m, place.unknown_m)
    if any(less > more + SAME_M for less, more in itertools.pairwise(rising)):
        yield "the metres of unknown ground of {} are too few"
