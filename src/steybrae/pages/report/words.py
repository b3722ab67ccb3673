"""The sentences of the report, rounded by the one rule; the template only places them."""

from __future__ import annotations

from collections.abc import Mapping

from steybrae.answers.leg import corridor_slope, leg_slope
from steybrae.answers.overhead import expected, with_possible, zone_lengths_text, zones_unknown
from steybrae.answers.route import steepest_words
from steybrae.bands import STEEP_DEG, BandScheme, bands_text
from steybrae.card.result import CardLeg, RouteCard
from steybrae.card.times import latest_at_leg
from steybrae.card.wording import arrival_words, bearing_shown
from steybrae.frozen import dataclass
from steybrae.route.overhead.result import (
    ExpectedReading,
    OverheadAnswer,
    SightAnswer,
    unknown_words,
)
from steybrae.screening.basis import ZONE_WORDS, none_overhead_text, overhead_text, zone_underfoot
from steybrae.screening.places.words import drop_words, without_check_lines
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.overhead.unknown import UnknownAt
from steybrae.value import (
    UNKNOWN,
    and_more,
    distance_off,
    kilometres,
    legs_and_length,
    length,
    look_towards,
    overhead,
    short_text,
    slope,
    steep_length,
    up_and_down,
)


@dataclass(frozen=True)
class LegWords:
    """The headline of a leg.

    Attributes
    ----------
    number, from_, to, extent
        Which leg, and its length and climb.
    band
        Position of its band; None on a leg wholly unknown.
    label
        Its possible bands.
    steep, above, unknown, check
        Sentences; `unknown` is empty where all is known.
    bar
        Length of each band along it, percent of the leg, gentlest first; unknown ground last.
    """

    number: int
    from_: str
    to: str
    extent: str
    band: int | None
    label: str
    steep: tuple[str, ...]
    above: tuple[str, ...]
    unknown: tuple[str, ...]
    check: tuple[str, ...]
    bar: tuple[tuple[float, float, int | None], ...]


def look_words(bearing_true_deg: float | None, declination_deg: float | None = None) -> str:
    """Where to look from a place worth a reading."""
    if bearing_true_deg is None:
        return "along the steepest way"
    return look_towards(bearing_true_deg, declination_deg)


def leg_words(leg: LegScreening, scheme: BandScheme, declination_deg: float | None = None) -> LegWords:
    """Headline of a leg; bearings magnetic where the declination of its day is given, else true."""
    climbs = up_and_down(leg.ascent_m, leg.descent_m, at_least=leg.ascent_at_least)
    extent = f"{kilometres(leg.length_m).text}, {climbs}"
    return LegWords(
        leg.number,
        leg.from_,
        leg.to,
        extent,
        None if leg.band is None else scheme.labels.index(leg.band.label),
        bands_text(leg.bands_possible, open_above=leg.open_above, degrees=True),
        _steep_words(leg),
        overhead_words(
            leg.overhead,
            leg.slope_max_deg,
            unknown_above=leg.unknown_above,
            at=leg.unknown_above_at,
            declination_deg=declination_deg,
        ),
        _unknown_words(leg),
        (
            *(_reading_words(reading, declination_deg) for reading in leg.expected_readings),
            *without_check_lines(leg.steep_without_check),
        )
        or ("None.",),
        _bar(leg),
    )


def day_words(leg: CardLeg, card: RouteCard) -> tuple[str, ...]:
    """Bearing and times of a leg on the day of its card."""
    bearing_text = f"{bearing_shown(leg.bearing_magnetic_deg, card.bearing_unit)} magnetic"
    there = f", there {arrival_words(card, leg)}" if leg.arrival_text else ""
    latest = latest_at_leg(card, leg)
    return (
        f"{bearing_text}{', the line bends' if leg.bends else ''}{there}.",
        *([f"{latest}."] if latest else []),
    )


def _steep_words(leg: LegScreening) -> tuple[str, ...]:
    steepest = leg_slope(leg)
    short = short_text(leg.short_slope_max_deg)
    words = [f"On the line: {steepest.text}{short}."]
    if leg.slope_max_at is not None:
        at = length(leg.slope_max_at.chainage_m).text
        words = [f"On the line {steepest.text} at {at} (95 %: {steepest.interval_text}){short}."]
    words.append(f"In its corridor {corridor_slope(leg).text}{short_text(leg.short_corridor_max_deg)}.")
    if leg.drop is not None:
        words.append(f"A {drop_words(leg.drop)}.")
    if leg.steep_m > 0.0:
        steep = steep_length(leg.steep_m, at_least=leg.unknown_m > 0.0).text
        faces = f", facing {' '.join(leg.aspect_sectors)}" if leg.aspect_sectors else ""
        words.append(f"Ground of {and_more(STEEP_DEG)}: {steep}{faces}.")
    return tuple(words)


def overhead_words(
    looks: OverheadAnswer | None,
    steepest_deg: float | None,
    *,
    unknown_above: bool,
    at: UnknownAt | None = None,
    declination_deg: float | None = None,
) -> tuple[str, ...]:
    """Say what is overhead of a leg or place, in sentences.

    `looks` is None where none of its heights is known. `unknown_above` is whether unknown ground
    could look down too, `at` the nearest of it. Bearings are magnetic where a declination is given,
    else true.
    """
    if looks is None:
        return (f"Overhead: {UNKNOWN}.",)
    words, least = [], zones_unknown(looks)
    sure, possible = (
        steep_length(metres, at_least=least).text
        for metres in (looks.in_start_zone_m, looks.in_possible_zone_m)
    )
    if looks.in_start_zone:
        words.append(f"{sure[0].upper()}{sure[1:]} lie in a start zone.")
    if looks.in_possible_zone_m > looks.in_start_zone_m:
        zone = zone_underfoot(looks, steepest_deg)
        where = f"lie {ZONE_WORDS[zone]}{', or in a possible one' if zone == 'steeper' else ''}"
        if zone == "yes":
            where = with_possible(looks, steepest_deg)
        words.append(f"{possible[0].upper()}{possible[1:]} {where}.")
    sights = [(looks.sight, "")]
    if looks.sight_outside != looks.sight:
        sights.append((looks.sight_outside, " from outside the zone"))
    words += [
        _sight_words(sight, where, unknown_above=unknown_above, declination_deg=declination_deg)
        for sight, where in sights
        if sight is not None
    ]
    if looks.path is not None:
        path = overhead(looks.path.deg, at_least=unknown_above).text
        words.append(f"Path angle: {path} along {distance_off(looks.path.path_m).text}.")
    elif looks.sight is None:
        words.append(f"{none_overhead_text(looks)}.")
    if unknown_above:
        why = "" if at is None else f": {unknown_words(at)}"
        words.append(f"Unknown ground above may hold more{why}.")
    return tuple(words)


def _sight_words(
    sight: SightAnswer, where: str, *, unknown_above: bool, declination_deg: float | None
) -> str:
    if sight.deg is None:
        hidden = overhead(sight.unfiltered_deg, at_least=unknown_above).text
        look = look_towards(sight.unfiltered_bearing_true_deg, declination_deg)
        off = distance_off(sight.unfiltered_distance_m).text
        return f"Sight{where}, other ground between: {hidden} towards {look}, {off} off."
    look = look_towards(sight.bearing_true_deg, declination_deg)
    off = distance_off(sight.distance_m).text
    hidden = ", hidden by ground between" if sight.hidden else ""
    up = overhead(sight.deg, at_least=unknown_above).text
    return f"Sight up{where}: {up} towards {look}, {off} off{hidden}."


def _unknown_words(leg: LegScreening) -> tuple[str, ...]:
    words = []
    if leg.unknown_m > 0.0:
        words.append(f"{steep_length(leg.unknown_m).text} of the line.")
    sides = [
        name for name, flag in (("left", leg.sides.unknown_left), ("right", leg.sides.unknown_right)) if flag
    ]
    if sides:
        words.append(f"Ground beside it, {' and '.join(sides)}.")
    if leg.slope_max_deg is not None and leg.slope_high_deg is None:
        words.append("How much steeper than shown.")
    return tuple(words)


def _reading_words(reading: ExpectedReading, declination_deg: float | None) -> str:
    look = reading.look_bearing_true_deg
    towards = "" if look is None else f", looking {look_towards(look, declination_deg)}"
    at, what = length(reading.chainage_m or 0.0).text, reading.what.split(",")[0]
    return f"{reading.name}: {slope(reading.expected_deg).text} at {at}{towards} ({what})."


def _bar(leg: LegScreening) -> tuple[tuple[float, float, int | None], ...]:
    """Start, width and band of each part."""
    lengths: list[tuple[float, int | None]] = [
        (metres, k) for k, metres in enumerate(leg.band_lengths_m.values())
    ]
    lengths.append((leg.unknown_m, None))
    parts, at = [], 0.0
    for metres, band in lengths:
        width = metres / leg.length_m * 100.0
        if width > 0.0:
            parts.append((round(at, 3), round(width, 3), band))
        at += width
    return tuple(parts)


def totals_words(screening: RouteScreening) -> tuple[str, ...]:
    """Headline of the whole line, in sentences."""
    totals = screening.totals
    climbs = up_and_down(totals.ascent_m, totals.descent_m, at_least=totals.ascent_at_least)
    words = [
        f"{legs_and_length(totals.legs, totals.length_m)}, {climbs}.",
        *(f"Steepest {text}." for text in steepest_words(screening)),
        f"Overhead: {overhead_text(screening)}.",
    ]
    if totals.in_possible_zone_m > 0.0 or totals.in_start_zone_m > 0.0:
        words.append(f"{zone_lengths_text(screening)}.")
    if totals.unknown_m > 0.0:
        words.append(f"Unknown ground: {steep_length(totals.unknown_m).text} of the line.")
    return tuple(words)


def reading_rows(
    screening: RouteScreening, declinations_deg: Mapping[int, float]
) -> tuple[tuple[str, ...], ...]:
    """Give name, leg, along it, place, look, expect, 95 % and what, of each check; as `leg_words`."""
    return tuple(
        (
            one.name,
            str(leg.number),
            length(one.chainage_m or 0.0).text,
            f"{one.place.lat_deg:.5f}, {one.place.lon_deg:.5f}",
            look_words(one.look_bearing_true_deg, declinations_deg.get(leg.number)),
            expected(one).text,
            expected(one).interval_text,
            one.what,
        )
        for leg in screening.legs
        for one in leg.expected_readings
    )
