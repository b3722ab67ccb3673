"""What every card says in the same words: on paper, on the terminal, in a GPX file.

Against the reader: slopes, times and metres of steep or unknown ground round up; distances to
steep ground down; bearings, lengths and counts to the nearest.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from steybrae.bands import STEEP_DEG, bands_text
from steybrae.card.result import (
    Beside,
    CardGround,
    CardLeg,
    Check,
    CliffBelow,
    Overhead,
    RouteCard,
)
from steybrae.card.times import on_another_day
from steybrae.quantities import shown_slope_deg
from steybrae.route.overhead.result import unknown_words
from steybrae.screening.basis import ZONE_WORDS
from steybrae.screening.places.words import AT_LINE, drop_words, off_words, overhead_there
from steybrae.value import (
    AT_LEAST,
    NOT_KNOWN_HOW_WELL,
    UNKNOWN,
    and_more,
    bearing,
    bearing_figure,
    climb,
    distance_off,
    height,
    legs_and_length,
    length,
    millimetres,
    minutes,
    short_text,
    slope,
    steep_length,
    steepest_texts,
    stretch,
    up_and_down,
    within,
)

GRID_NAMES: Final = {
    "bng": "British National Grid",
    "utm": "UTM",
    "mgrs": "MGRS",
    "latlon": "none, latitude and longitude",
}
"""How a card calls each grid."""

_SIDES: Final = {
    "left": "to the left",
    "right": "to the right",
    "ahead": "ahead of you",
    "behind": "behind you",
}


def bearing_shown(bearing_deg: float | None, unit: str) -> str:
    """Bearing as the card prints it; a dash where there is none."""
    return "-" if bearing_deg is None else bearing_figure(bearing_deg, unit)


def minutes_text(time_min: float | None, *, at_least: bool = False) -> str:
    """Time rounded up to the minute: ``42 min``, ``1 h 05``, ``at least 42 min``; a dash if unknown."""
    return "-" if time_min is None else minutes(time_min, at_least=at_least).text


def call_text(card: RouteCard) -> str:
    """Whom to call, and when; empty where neither is known."""
    at = f"at {card.overdue_text}" if card.overdue_text else ""
    return ", ".join(filter(None, (card.call and f"call {card.call}", at)))


def arrival_text(card: RouteCard, leg: CardLeg) -> str:
    """When one is at the end of a leg: ``at least 15:08`` after unknown ground; empty where not known."""
    at = leg.arrival_text
    return f"{AT_LEAST} {at}" if at and may_be_later(card, leg) else at


def arrival_words(card: RouteCard, leg: CardLeg) -> str:
    """Say the same with its date where that is not the card's, and the daylight left."""
    at = arrival_text(card, leg)
    return f"{at}{on_another_day(card.date, leg.arrival)}, {leg.daylight_text}" if at else ""


def may_be_later(card: RouteCard, leg: CardLeg) -> bool:
    """Whether unknown ground up to the end of a leg may make it later."""
    return any(one.time_at_least for one in card.legs if one.number <= leg.number)


def climb_text(leg: CardLeg) -> str:
    """Metres up and down, rounded up: ``+136 -40 m``; empty without a model."""
    if leg.ascent_m is None or leg.descent_m is None:
        return ""
    up, down = climb(leg.ascent_m, at_least=leg.ascent_at_least), climb(leg.descent_m)
    return " ".join(up.cell(f"+{up.figure} -{down.text}"))


def distance_texts(leg: CardLeg) -> tuple[str, str]:
    """Length, and what it is on the map and in paces: ``1974 m`` and ``79 mm, 1290 paces``."""
    map_words = [] if leg.map_mm is None else [millimetres(leg.map_mm, step=0.5).short]
    pace_words = [] if leg.paces is None else [f"{length(leg.paces).figure} paces"]
    return length(leg.length_m).text, ", ".join(map_words + pace_words)


def steepness_text(ground: CardGround | None) -> str:
    """Steepest on the line: ``34.3°``, ``at least 34.3°`` where open above, ``unknown``."""
    return _least_text(ground, None if ground is None else ground.slope_max_deg)


def corridor_text(ground: CardGround | None) -> str:
    """Steepest in the corridor: ``corridor 56.2°``, with ``at least`` where open above."""
    return f"corridor {_least_text(ground, None if ground is None else ground.slope_corridor_max_deg)}"


def short_pieces_text(ground: CardGround | None) -> str:
    """Short pieces on the line or in the corridor: ``short pieces to 78.9°``; empty where none is steeper."""
    return "" if ground is None else short_text(ground.short_corridor_max_deg).removeprefix(", ")


def _least_text(ground: CardGround | None, slope_deg: float | None) -> str:
    return UNKNOWN if ground is None else slope(slope_deg, at_least=ground.open_above).text


def grounds_text(ground: CardGround | None) -> tuple[str, ...]:
    """Say what else is to be said of the ground, one short line each; without a model, that.

    Short pieces, the 95 % end, the bands, metres of steep ground and where it faces, unknown metres.
    """
    if ground is None:
        return ("no model: steepness not known",)
    lines = (short_pieces_text(ground), _may_be(ground), _bands(ground), _steep(ground), _unknown(ground))
    return tuple(line for line in lines if line)


MUCH_STEEPER_DEG: Final = 10.0
"""From so much above all figures of a leg its 95 % end stands with them, degrees (our choice)."""


def may_be_steep_text(ground: CardGround) -> str:
    """``may be 47.7°`` of a leg that reads gentle and may be steep, or be much steeper; else empty."""
    figures = (ground.slope_max_deg, ground.slope_corridor_max_deg, ground.short_corridor_max_deg)
    read_deg = shown_slope_deg(max(figure or 0.0 for figure in figures))
    high_deg = shown_slope_deg(ground.slope_high_deg or 0.0)
    told = high_deg >= STEEP_DEG and (read_deg < STEEP_DEG or high_deg >= read_deg + MUCH_STEEPER_DEG)
    return _may_be(ground).removeprefix("on the line ") if told else ""


def _may_be(ground: CardGround) -> str:
    if ground.slope_max_deg is None:
        return ""
    if ground.slope_high_deg is None:
        return NOT_KNOWN_HOW_WELL
    more = " or steeper" if ground.open_above else ""
    return f"on the line may be {slope(ground.slope_high_deg).text}{more}"


def _bands(ground: CardGround) -> str:
    many = "s" if len(ground.bands_possible) > 1 else ""
    return f"band{many} {bands_text(ground.bands_possible, open_above=ground.open_above)}"


def _steep(ground: CardGround) -> str:
    if not ground.steep_m and not ground.unknown_m:
        return ""
    steep = steep_length(ground.steep_m, at_least=ground.unknown_m > 0.0).text
    faces = f", faces {' '.join(ground.aspect_sectors)}" if ground.aspect_sectors else ""
    return f"{steep} of {STEEP_DEG:g}°+{faces}"


def _unknown(ground: CardGround) -> str:
    return f"{steep_length(ground.unknown_m).text} unknown" if ground.unknown_m else ""


def overhead_text(overhead: Overhead | None, unit: str = "deg") -> str:
    """Ground overhead on one line; empty where it was not looked for."""
    return "; ".join(words for words in overhead_lines(overhead, unit) if words)


def overhead_lines(overhead: Overhead | None, unit: str = "deg") -> tuple[str, str]:
    """Ground overhead, and the sight from outside of start zones; each may be empty."""
    return (_overhead(overhead, unit), _outside(overhead, unit)) if overhead else ("", "")


def _outside(overhead: Overhead, unit: str) -> str:
    seen = overhead.outside
    if seen is None:
        return ""
    sight = slope(seen.sight_deg, at_least=overhead.unknown_above).text
    off, up = distance_off(seen.distance_m).text, steep_length(seen.rise_m).text
    look, at = bearing(seen.look_bearing_magnetic_deg, "magnetic", unit), length(seen.chainage_m).text
    return f"from outside the zone, {at} along: {sight}, look {look}, {off} off, {up} up"


def _overhead(overhead: Overhead, unit: str) -> str:
    least = overhead.unknown_above
    underfoot = ZONE_WORDS[overhead.underfoot]
    parts = [underfoot] if underfoot else []
    if overhead.sight_deg is not None:
        look = bearing(overhead.look_bearing_magnetic_deg, "magnetic", unit)
        parts.append(f"overhead {slope(overhead.sight_deg, at_least=least).text}, look {look}")
    elif overhead.unfiltered_deg is not None:
        sight = slope(overhead.unfiltered_deg, at_least=least).text
        hidden = " by sight alone, no path down to here found" if overhead.path_deg is None else ", hidden"
        parts.append(f"overhead {sight}{hidden}")
    elif overhead.path_deg is None:
        parts.append(f"overhead {UNKNOWN}" if least else "no start zone found overhead")
    if overhead.path_deg is not None:
        parts.append(f"path angle {slope(overhead.path_deg, at_least=least).text}")
    if overhead.unknown_above_at is not None:
        parts.append(unknown_words(overhead.unknown_above_at))
    return "; ".join(parts)


def overhead_short(ground: CardGround) -> str:
    """``41.6° overhead``, ``unknown overhead``; empty below 25 degrees, and where the line is as steep."""
    looks = ground.overhead
    if looks is None:
        return ""
    deg = looks.unfiltered_deg if looks.outside is None else looks.outside.sight_deg
    if deg is not None and deg <= (ground.slope_max_deg or 0.0):
        return ""
    return overhead_there(deg, at_least=looks.unknown_above)


def beside_sentence(beside: Beside) -> str:
    """Say what lies beside: ``Steep ground (30° and more) to the left, 25 m off, from 400 to 650 m ...``."""
    if beside.least_slope_deg is None:
        return f"Unknown ground to the {beside.side}, which may be steep."
    off = off_words(beside.distance_m or 0.0)
    start, end = stretch(beside.from_m or 0.0, beside.to_m or 0.0)
    height = "" if beside.height_difference_m is None or off == AT_LINE else _height(beside)
    return (
        f"Steep ground ({and_more(beside.least_slope_deg)}) to the {beside.side}, {off}{height}, "
        f"from {start} to {end} m{_parts(beside)} along the leg."
    )


def _height(beside: Beside) -> str:
    difference_m = beside.height_difference_m or 0.0
    side = "above" if difference_m > 0.0 else "below"
    apart = height(abs(difference_m))
    return f" and {apart.text} {side}" if apart.shown else ""


def _parts(ground: Beside | CliffBelow) -> str:
    return f" in {ground.parts} stretches" if ground.parts > 1 else ""


def beside_short(beside: Beside) -> str:
    """Say the same in a narrow place: ``30°+ 25 m off, 400-650 m``."""
    if beside.least_slope_deg is None:
        return "unknown ground"
    start, end = stretch(beside.from_m or 0.0, beside.to_m or 0.0)
    return f"{beside.least_slope_deg:g}°+ {off_words(beside.distance_m or 0.0)}, {start}-{end} m"


def besides_texts(leg: CardLeg) -> Iterator[str]:
    """Yield what slopes leave out: their upper end, overhead, short pieces, unknown metres, drop, cliffs."""
    ground = leg.ground
    if ground is None:
        return
    said = (may_be_steep_text(ground), overhead_short(ground), short_pieces_text(ground))
    yield from filter(None, said)
    if ground.unknown_m:
        yield f"{steep_length(ground.unknown_m).text} unkn."
    if ground.drop is not None:
        yield drop_text(ground)
    told = None if ground.drop is None else ground.drop.side
    for cliff in leg.cliffs:
        if cliff.side != told and not (told == "both" and cliff.side in {"left", "right"}):
            off = distance_off(cliff.distance_m)
            yield f"cliff {f'{off.text} off, ' if off.shown else ''}{cliff.side}"


def drop_text(ground: CardGround | None) -> str:
    """Nearest drop in the corridor, how high and how far off; empty without: ``drop of 25 m, 3 m left``."""
    return "" if ground is None or ground.drop is None else drop_words(ground.drop)


def cliffs_text(leg: CardLeg, *, short: bool = False) -> str:
    """``Cliff below, to the right: 61.3°, 20 m off, 100-260 m along``, or `short` of its last word.

    Empty without.
    """
    told = (f"{_SIDES[one.side]}: {_cliff(leg, one, short=short)}" for one in leg.cliffs)
    return f"Cliff below, {'; '.join(told)}" if leg.cliffs else ""


def _cliff(leg: CardLeg, one: CliffBelow, *, short: bool) -> str:
    steepest = slope(one.slope_max_deg, at_least=leg.ground is None or leg.ground.open_above).text
    start, end = stretch(one.from_m, one.to_m)
    along = "" if short else f" along{_parts(one)}"
    return f"{steepest}, {off_words(one.distance_m)}, {start}-{end} m{along}"


def where_text(check: Check) -> str:
    """Where a check is taken, and what is overhead there: ``391 m along the leg, 26.1° overhead``."""
    there = overhead_there(check.overhead_deg, at_least=check.overhead_at_least)
    return ", ".join(filter(None, (f"{length(check.chainage_m).text} along the leg", there)))


def look_text(check: Check, unit: str = "deg") -> str:
    """Where to look: ``213°``, or ``steepest way`` where the fall line is not known."""
    if check.look_bearing_magnetic_deg is None:
        return "steepest way"
    return bearing_shown(check.look_bearing_magnetic_deg, unit)


def limits_text(check: Check) -> str:
    """Give the readings that do not differ, no others: ``25.5° to 43.5°``, open ends in words."""
    low, high = check.consistent_low_deg, check.consistent_high_deg
    if low is None and high is None:
        return "not known"
    return within(low, high)


def steeper_text(check: Check) -> str:
    """Say what a reading above the one expected is, with that one's digits: it never contradicts itself."""
    return f"above {slope(check.steeper_above_deg).text} treat as steeper"


def judged_text(check: Check, inside: str = "") -> str:
    """``no difference: 25.5° to 43.5°, but above 34.5° treat as steeper``; `inside` is behind the limits."""
    limits = limits_text(check)
    agree = "no limits known" if limits == "not known" else f"no difference: {limits}{inside}"
    return f"{agree}, but {steeper_text(check)}"


def check_texts(check: Check, unit: str = "deg") -> tuple[str, str]:
    """Where to stand and look; and what to expect, the limits and what is measured."""
    known = check.look_bearing_magnetic_deg is not None
    look = f"look {look_text(check, unit)}{' magnetic' if known else ''}"
    expect = f"expect {slope(check.expected_deg).text}; {judged_text(check)}"
    what = f"{check.what[0].upper()}{check.what[1:]}"
    return f"{check.reference}, {where_text(check)}; {look}", f"{expect}. {what}."


def check_sentence(check: Check, unit: str = "deg") -> str:
    """Everything about a check in words."""
    look = look_text(check, unit)
    known = check.look_bearing_magnetic_deg is not None
    look = f"along {look} magnetic" if known else f"the {look}"
    telling = check.result_inside in ("tells little", "cannot tell")
    # A slope is checked only where a steeper reading tells.
    gentler = "a gentler reading" if telling and check.quantity == "slope" else "a reading there"
    inside = f" ({gentler} {'' if telling else 'is '}{check.result_inside})"
    return (
        f"{check.number}: {check.what}, {where_text(check)}. Look {look}; expect "
        f"{slope(check.expected_deg).text}; {judged_text(check, inside)}."
    )


def elevation_text(leg: CardLeg) -> str:
    """Height at the end, for an altimeter, and the length: ``at 800 m; along slope 1020 m``."""
    height_m = None if leg.ground is None else leg.ground.elevation_end_m
    words = [] if height_m is None else [f"at {height(height_m).text}"]
    words += [] if leg.slope_distance_m is None else [f"along slope {length(leg.slope_distance_m).text}"]
    return "; ".join(words)


def height_text(leg: CardLeg) -> str:
    """Height at the end alone, and whether the climb may be more: ``at least | at 800 m``, ``unknown``."""
    known = leg.ground is not None and leg.ground.elevation_end_m is not None
    height_there = elevation_text(leg).split(";", maxsplit=1)[0] if known else UNKNOWN
    return f"{AT_LEAST} | {height_there}" if leg.ascent_at_least else height_there


def set_text(leg: CardLeg, unit: str) -> str:
    """North and degrees of a row's small bearing: what a compass with a declination scale is set to."""
    if leg.bearing_grid_deg is None:
        return f"true {bearing_shown(leg.bearing_true_deg, unit)}"
    return f"grid {bearing_shown(leg.bearing_grid_deg, unit)}"


def place_text(name: str, written: str, reference: str) -> str:
    """Give the reference of a turn point: as written where that is known and is not its name."""
    return written if written and written != name else reference


def from_text(leg: CardLeg) -> str:
    """Name and reference of the place where a leg begins: ``Hut, HV 545 535``; the one where they are one."""
    where = place_text(leg.from_, leg.from_place.written, leg.from_place.reference)
    return where if leg.from_ in ("", where) else f"{leg.from_}, {where}"


def times_text(card: RouteCard) -> str:
    """How times are reckoned, as far as a first page has room; `RouteCard.time_words` has all."""
    return " ".join(card.time_words[:4])


def totals_lines(card: RouteCard) -> tuple[str, ...]:
    """Say what the whole day comes to, one short line each."""
    totals = card.totals
    lines = [legs_and_length(totals.legs, totals.length_m)]
    if totals.ascent_m is not None and totals.descent_m is not None:
        lines.append(up_and_down(totals.ascent_m, totals.descent_m, at_least=totals.ascent_at_least))
    if totals.time_min is not None:
        lines.append(f"{minutes_text(totals.time_min, at_least=totals.time_at_least)} in all")
    last = card.legs[-1]
    if last.arrival_text:
        lines.append(f"arrive {arrival_words(card, last)}")
    if all(leg.ground is None for leg in card.legs):
        lines.append("steepness not known")
    else:
        shorts = {leg.number: leg.ground.short_corridor_max_deg for leg in card.legs if leg.ground}
        lines += [f"steepest {text}" for text in steepest_texts(totals, shorts)]
    if card.overhead_text:
        lines.append(f"overhead {card.overhead_text}")
    if totals.unknown_m:
        lines.append(f"{steep_length(totals.unknown_m).text} of unknown ground")
    return tuple(lines)
