"""Places that matter, as blocks of a document: at length or in a line, and the legs without."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from steybrae.bands import STEEP_DEG
from steybrae.document import Block, Listing, Paragraph
from steybrae.route.overhead.result import PLACE_SIGHT_DEG, ExpectedReading
from steybrae.screening.basis import least_known_m
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import (
    check_words,
    place_line,
    same_check_words,
    start_words,
    stretch_words,
    without_check,
)
from steybrae.screening.result import RouteScreening
from steybrae.value import and_more, far_off, steep_length

if TYPE_CHECKING:
    from steybrae.card.result import RouteCard


def place_blocks(found: RouteScreening) -> Iterator[Block]:
    """Yield the places along the line, the legs that are on none, and the rule of their order."""
    lead = "Places that matter." if found.places else no_place_text(found)
    told = [place for place in found.places if place.at_length]
    bare = " ".join(without_check(found.places))
    without = f" No check: {bare}." if bare else ""
    yield Paragraph(f"{lead} {legs_left_text(found)}{without}")
    yield Listing(tuple(place_text(found, place) for place in told), marked=False)
    rest = [place for place in found.places if not place.at_length]
    if rest:
        yield Listing(tuple(place_text(found, place) for place in rest), marked=False, abreast=True)
    if found.places:
        yield Paragraph(ORDER_RULE)


def no_place_text(found: RouteScreening) -> str:
    """Say what was looked for where no place was found, and how far all of it is known."""
    known_to_m = least_known_m(leg.overhead for leg in found.legs)
    unknown = (
        "none is unknown" if known_to_m is None else f"none is unknown within {far_off(known_to_m).text}"
    )
    return (
        f"No ground of {and_more(STEEP_DEG)} was found underfoot or in the corridor, none overhead at "
        f"{and_more(PLACE_SIGHT_DEG)}, and {unknown}; nothing is proved by that."
    )


def place_text(
    found: RouteScreening, place: PlaceThatMatters, declinations_deg: Mapping[int, float] | None = None
) -> str:
    """Say a place at length, where, why, and its checks; or in a line.

    `declinations_deg` are those of the legs on a day, by number: its checks look by the compass then.
    """
    if not place.at_length:
        return f"{place.name}  {stretch_words(place)}: {place_line(place)}"
    checks = " ".join(
        _check_text(found, place, reading, (declinations_deg or {}).get(leg.number))
        for leg in found.legs
        for reading in leg.expected_readings
        if reading.leads and reading.name in place.checks
    )
    return " ".join(filter(None, (f"{place.name}  {start_words(place)}. {place.words}", checks)))


def _check_text(
    found: RouteScreening, place: PlaceThatMatters, reading: ExpectedReading, declination_deg: float | None
) -> str:
    first = next(one.name for one in found.places if one.at_length and reading.name in one.checks)
    if first != place.name:
        return same_check_words(reading.name, first)
    return check_words(reading, declination_deg)


def legs_left_text(found: RouteScreening | RouteCard) -> str:
    """Name the legs without ground that may be of 30 degrees, and those with possible ground only."""
    without = ", ".join(map(str, found.legs_without)) or "none"
    text = f"Legs without ground of {and_more(STEEP_DEG)}, as far as known: {without}."
    if found.legs_possible_only:
        only = (f"{one.leg} ({steep_length(one.metres).text})" for one in found.legs_possible_only)
        text += f" Perhaps such ground: {', '.join(only)}."
    return text
