"""Places that matter in words: why and where, their checks, and steep ground left without one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import groupby
from typing import Final, Protocol

from steybrae.bands import STEEP_DEG
from steybrae.quantities import shown_slope_deg
from steybrae.route.overhead.result import ExpectedReading, unknown_words
from steybrae.screening.places.line import TOLD_M
from steybrae.screening.places.result import (
    CorridorAtPlace,
    DropAtPlace,
    OnLine,
    OverheadAtPlace,
    PlaceThatMatters,
    TrapAtPlace,
)
from steybrae.screening.standing import STAND_ROUND_M, SteepWithoutCheck
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG
from steybrae.value import (
    distance_off,
    gentle_length,
    length,
    look_towards,
    no_less,
    overhead,
    slope,
    steep_length,
)

AT_LINE: Final = "at the line"
"""Less than a metre off it."""


def place_words(place: PlaceThatMatters, declination_deg: float | None = None, unit: str = "deg") -> str:
    """Say why a place matters, a sentence for each reason.

    What is overhead first where the place is told by that, else what is underfoot. Bearings are
    magnetic where a declination is given, else true; in the unit of the card.
    """
    look = partial(look_towards, declination_deg=declination_deg, unit=unit)
    out = []
    above = (
        _overhead(place, place.overhead, look(place.overhead.bearing_true_deg))
        if place.overhead is not None and "overhead" in place.kinds
        else ""
    )
    if place.kinds[0] == "overhead":
        out.append(above)
    if place.kinds != ("unknown",):
        out.append("" if place.slope_max_deg is None else _underfoot(place))
        out.append("" if place.corridor is None else _corridor(place, place.corridor))
    if place.kinds[0] != "overhead":
        out.append(above)
    if place.unknown_m > 0.0:
        out.append(_unknown(place))
    told = place.corridor is not None and place.corridor.drop is not None
    if place.trap is not None and not (told and place.trap.kind == "cliff below"):
        out.append(_trap(place.trap, look(place.trap.bearing_true_deg)))
    if place.trap_below is not None:
        below = place.trap_below
        out.append(f"Below it a {below.kind}, {distance_off(below.off_m).text} off.")
    return " ".join(filter(None, out))


def letters_at(places: Sequence[PlaceThatMatters], number: int) -> list[str]:
    """Give the letters of the places that a leg is on; three and more in a row are ``C-F``."""
    on = [k for k, place in enumerate(places) if place.from_.leg <= number <= place.to.leg]
    out = []
    for _, row in groupby(enumerate(on), lambda counted: counted[1] - counted[0]):
        names = [places[k].name for _, k in row]
        out += names if len(names) < 3 else [f"{names[0]}-{names[-1]}"]
    return out


def _trap(trap: TrapAtPlace, look: str) -> str:
    if trap.kind == "gully":
        depth = f"{no_less(trap.depth_m or 0.0).text} deep"
        return f"Trap: gully {depth}, bed along {look}; even a small slide piles up in it."
    where = f"{distance_off(trap.distance_m).text} off towards {look}"
    if trap.kind == "flattening":
        return f"Trap: snow off {slope(trap.slope_deg).text} piles up."
    return f"Trap: even a small slide carries one over {slope(trap.slope_deg).text}, {where}."


def stretch_words(place: PlaceThatMatters) -> str:
    """Where a place lies: ``leg 7, 50-270 m``, ``leg 8, 170 m to leg 10, 438 m``."""
    start, end = place.from_, place.to
    begin, last = gentle_length(start.at_m), steep_length(end.at_m).text
    if start.leg == end.leg:
        return f"leg {start.leg}, {begin.figure}-{last}"
    return f"leg {start.leg}, {begin.text} to leg {end.leg}, {last}"


def start_words(place: PlaceThatMatters) -> str:
    """Where a place begins, from the turn point before it, and how long it is."""
    start, end = place.from_, place.to
    legs = f"leg {start.leg}" if start.leg == end.leg else f"legs {start.leg}-{end.leg}"
    past = f"{length(start.at_m).text} past " if start.at_m >= 1.0 else "from "
    return f"{legs}, {past}{place.after}, {steep_length(place.length_m).text}"


def head_and_words(place: PlaceThatMatters) -> tuple[str, str]:
    """Where a place is, and why it matters: at length, or its figures in a line."""
    where, words = start_words(place), place.words
    if not place.at_length:
        where, words = stretch_words(place), f"{place_line(place)}."
    return f"{where[0].upper()}{where[1:]}", words


def leading_spot(place: PlaceThatMatters) -> tuple[OnLine, str]:
    """Spot and figure that a place is told by first: those of the first of its kinds."""
    least = place.open_above
    if place.kinds[0] == "underfoot" and place.slope_max_at is not None:
        return place.slope_max_at, slope(place.slope_max_deg, at_least=least).text
    if place.kinds[0] == "corridor" and place.corridor is not None:
        corridor = place.corridor
        deg = corridor.slope_max_deg
        told = "drop" if deg is None else slope(deg, at_least=least).text
        return corridor.at, f"{told} {corridor.side}"
    if place.kinds[0] == "overhead" and place.overhead is not None:
        angle = overhead(place.overhead.deg, at_least=place.overhead.at_least).text
        return place.overhead.at, f"\N{NORTH EAST ARROW} {angle}"
    if place.kinds[0] == "unknown":
        at = place.unknown_at
        return (place.from_, "unknown above") if at is None else (at, "unknown ground")
    return place.from_, "trap"


def place_line(place: PlaceThatMatters) -> str:
    """Figures of a place in one short line."""
    least = place.open_above
    parts = []
    if "underfoot" in place.kinds:
        parts.append(f"underfoot {slope(place.slope_max_deg, at_least=least).text}")
        parts += [f"short pieces of {STEEP_DEG:.0f}°+"] if _short_only(place) else []
    if place.corridor is not None and {"underfoot", "corridor"} & set(place.kinds):
        beside, told = place.corridor, place.slope_max_deg if "underfoot" in place.kinds else None
        shown = shown_slope_deg(beside.slope_max_deg or 0.0)
        if shown >= STEEP_DEG and shown > shown_slope_deg(told or 0.0):
            parts.append(f"{slope(beside.slope_max_deg, at_least=least).text} {beside.side}")
    if place.corridor is not None and place.corridor.drop is not None and place.kinds != ("unknown",):
        parts.append(drop_words(place.corridor.drop))
    if place.overhead is not None and "overhead" in place.kinds:
        hidden = ", hidden" if place.overhead.hidden else ""
        parts.append(
            f"overhead {overhead(place.overhead.deg, at_least=place.overhead.at_least).text}{hidden}"
        )
    if "unknown" in place.kinds:
        if place.unknown_on_line_m > 0.0:
            parts.append(f"unknown ground for {steep_length(place.unknown_on_line_m).text}")
        elif place.unknown_near_m > 0.0:
            parts.append(f"unknown ground in the corridor for {steep_length(place.unknown_near_m).text}")
        elif place.unknown_above_at is not None:
            parts.append(f"{'' if parts else 'unknown above: '}{unknown_words(place.unknown_above_at)}")
    parts = parts or ["terrain trap"]
    return ", ".join([*parts, f"again the ground of {place.again}"] if place.again else parts)


def drop_words(drop: DropAtPlace) -> str:
    """``drop of 8 m, 12 m right``, ``drop of 8 m at the line, on its right``, or ``on both sides``."""
    return " ".join(drop_lines(drop))


def drop_lines(drop: DropAtPlace) -> tuple[str, str]:
    """`drop_words` for a narrow column: ``drop of 8 m,`` and ``12 m right``."""
    fall, off = f"drop of {steep_length(drop.fall_m).text}", distance_off(drop.off_m)
    both = drop.side == "both"
    if off.shown:
        return f"{fall},", f"{off.text} off, both sides" if both else f"{off.text} {drop.side}"
    return fall, f"{AT_LINE}, on {'both sides' if both else f'its {drop.side}'}"


def off_words(metres: float) -> str:
    """``12 m off``, or ``at the line``."""
    off = distance_off(metres)
    return f"{off.text} off" if off.shown else AT_LINE


def _underfoot(place: PlaceThatMatters) -> str:
    interval = (place.slope_low_deg, place.slope_high_deg)
    steepest = slope(place.slope_max_deg, at_least=place.open_above, interval=interval)
    words = f"Underfoot {steepest.text}{'' if None in interval else f' ({steepest.interval_text})'}"
    if place.steep_m == 0.0:
        return f"{words}."
    at = place.slope_max_at
    where = "" if at is None or place.length_m < TOLD_M else f", {_spot(place, at)}"
    facing = f", faces {' '.join(place.aspect_sectors[:3])}" if place.aspect_sectors else ""
    steep = steep_length(place.steep_m, at_least=place.open_above).text
    pieces = " in short pieces" if _short_only(place) else ""
    return f"{words}{where}; {steep} of {STEEP_DEG:.0f}°+{pieces}{facing}."


def _short_only(place: PlaceThatMatters) -> bool:
    """Tell a place whose steep ground is short pieces: its slopes over 20 m are gentler."""
    gentle = place.slope_max_deg is not None and shown_slope_deg(place.slope_max_deg) < STEEP_DEG
    return gentle and place.steep_m > 0.0


def _corridor(place: PlaceThatMatters, corridor: CorridorAtPlace) -> str:
    least = place.open_above
    off = f", {distance_off(corridor.off_m).text} off" if "underfoot" not in place.kinds else ""
    sides = [
        f"{slope(deg, at_least=least).text} {side}{off if side == corridor.side else ''}"
        for side, deg in (("left", corridor.left_deg), ("right", corridor.right_deg))
        if deg is not None and shown_slope_deg(deg) >= STEEP_DEG
    ]
    flank = len(sides) == 1 and "underfoot" in place.kinds
    if flank and shown_slope_deg(corridor.slope_max_deg or 0.0) <= shown_slope_deg(
        place.slope_max_deg or 0.0
    ):
        # The corridor holds the line's own cells: it adds nothing.
        sides = []
    words = f"Corridor {', '.join(sides)}" if sides else ""
    if corridor.drop is not None:
        found = drop_words(corridor.drop)
        words = f"{words}; {found}" if words else f"A {found}"
    return f"{words}." if words else ""


def _overhead(place: PlaceThatMatters, looks: OverheadAtPlace, look: str) -> str:
    hidden = ", hidden from there" if looks.hidden else ""
    off, up = distance_off(looks.distance_m).text, steep_length(looks.rise_m).text
    return (
        f"Overhead {overhead(looks.deg, at_least=looks.at_least).text}, {_spot(place, looks.at)}, towards "
        f"{look}, {off} off, {up} up{hidden}."
    )


def _unknown(place: PlaceThatMatters) -> str:
    words = []
    near = place.unknown_at
    where = (
        "" if near is None or place.length_m < TOLD_M else f", from {_spot(place, near).removeprefix('at ')}"
    )
    if place.unknown_on_line_m > 0.0:
        words.append(f"Unknown ground: {steep_length(place.unknown_on_line_m).text}{where}.")
    elif place.unknown_near_m > 0.0:
        words.append(f"Unknown ground in the corridor for {steep_length(place.unknown_near_m).text}{where}.")
    at = place.unknown_above_at
    if at is not None and not (words and at.bearing_true_deg is None):
        alone = place.kinds == ("unknown",) and not words
        why = f"{'unknown above: ' if alone else ''}{unknown_words(at)}"
        words.append(f"{why[0].upper()}{why[1:]}.")
    return " ".join(words)


def overhead_there(deg: float | None, *, at_least: bool) -> str:
    """``26.1° overhead``, where it is 25 or more or unknown ground could be; else empty."""
    if deg is not None and deg >= PLACE_SIGHT_DEG:
        return f"{overhead(deg, at_least=at_least).text} overhead"
    return "unknown overhead" if at_least else ""


def check_words(reading: ExpectedReading, declination_deg: float | None = None) -> str:
    """Say what is read from where on its leg: ``Check 2a at 40 m: sight 24.3° to 345° true``."""
    look = reading.look_bearing_true_deg
    towards = (
        "" if look is None or reading.quantity == "slope" else f" to {look_towards(look, declination_deg)}"
    )
    there = overhead_there(reading.overhead_deg, at_least=reading.overhead_at_least)
    at = f"at {length(reading.chainage_m or 0.0).text}"
    figure = f"{reading.quantity} {slope(reading.expected_deg).text}{towards}"
    return f"Check {reading.name} {at}: {', '.join(filter(None, (figure, there)))}."


def without_check(places: Sequence[PlaceThatMatters]) -> tuple[str, ...]:
    """Name the places told at length that have no check, those of unknown ground among them."""
    return tuple(place.name for place in places if place.at_length and not place.checks)


def without_check_lines(steep: Sequence[SteepWithoutCheck]) -> tuple[str, ...]:
    """Tell ground that is left without a check, a line for what is known steep and one for what may be."""
    known = [one for one in steep if shown_slope_deg(one.slope_max_deg or 0.0) >= STEEP_DEG]
    doubtful = [one for one in steep if one not in known]
    told = (
        ("Known steep, no place to measure from", known),
        ("May be steep or is unknown, no place to measure from", doubtful),
    )
    return tuple(f"{why}: {'; '.join(_without(found))}." for why, found in told if found)


class _Leg(Protocol):
    """A leg as screened, or on a card."""

    @property
    def number(self) -> int: ...

    @property
    def steep_without_check(self) -> tuple[SteepWithoutCheck, ...]: ...


def legs_without_check(legs: Sequence[_Leg]) -> tuple[str, ...]:
    """Say the same for legs, each line with its leg's number."""
    return tuple(
        f"Leg {leg.number}: {line}" for leg in legs for line in without_check_lines(leg.steep_without_check)
    )


def _without(found: Sequence[SteepWithoutCheck]) -> Iterator[str]:
    """Each figure once, with all that it is the figure of."""
    by_figure: dict[str, list[str]] = {}
    for one in found:
        figure = slope(one.slope_max_deg, at_least=one.at_least).text
        by_figure.setdefault(figure, []).append(one.what.split(",")[0])
    for figure, what in by_figure.items():
        words = " and ".join(dict.fromkeys(what))
        own = all(one.startswith("steepest") for one in what)
        round_it = f"steepest within {STAND_ROUND_M:g} m or the position error {figure}"
        yield f"{words}, {figure}" if own else f"{words} ({round_it})"


def same_check_words(name: str, place: str) -> str:
    """Name a check that another place told at length before has too: ``Check 2a, as at E.``."""
    return f"Check {name}, as at {place}."


def _spot(place: PlaceThatMatters, spot: OnLine) -> str:
    """``leg 7 at 250 m``; without the leg where the place lies on one alone."""
    leg = "" if place.from_.leg == place.to.leg else f"leg {spot.leg} "
    return f"{leg}at {length(spot.at_m).text}"
