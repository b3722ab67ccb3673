"""The sentences of the report, rounded by the one rule; the template only places them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from steybrae.bands import STEEP_DEG, BandScheme
from steybrae.card.wording import without_check_lines
from steybrae.quantities import round_down, round_up, slope_text
from steybrae.route.overhead_result import ExpectedReading, OverheadAnswer, SightAnswer
from steybrae.screening.result import LegScreening, RouteScreening

__all__ = [
    "LegWords",
    "along_text",
    "bearing_text",
    "interval_text",
    "kilometres",
    "leg_words",
    "metres_down",
    "metres_up",
    "overhead_words",
    "totals_words",
]

NOT_KNOWN: Final = "how well is not known"


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


def metres_up(metres: float) -> str:
    """Whole metres, rounded up, in groups of three."""
    return f"{round_up(metres, 1.0):,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def metres_down(metres: float) -> str:
    """Whole metres, rounded down, in groups of three."""
    return f"{round_down(metres, 1.0):,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def along_text(metres: float | None) -> str:
    """Place along a leg, to the nearest metre; 0 where it has none."""
    return f"{metres or 0.0:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def kilometres(metres: float) -> str:
    """Kilometres to 10 m, rounded up."""
    return f"{round_up(metres, 10.0) / 1000.0:.2f} km"


def interval_text(low_deg: float | None, high_deg: float | None) -> str:
    """Give the 95 % interval: low end rounded down, high end up."""
    if low_deg is None or high_deg is None or math.isnan(low_deg) or math.isnan(high_deg):
        return NOT_KNOWN
    return f"{round_down(low_deg, 0.1):.1f} to {slope_text(high_deg)}"


def bearing_text(bearing_true_deg: float | None) -> str:
    """Bearing in three figures, to the nearest degree."""
    return (
        "along the steepest way" if bearing_true_deg is None else f"{round(bearing_true_deg) % 360:03d}° true"
    )


def _least(leg: LegScreening) -> str:
    return "at least " if leg.open_above else ""


def leg_words(leg: LegScreening, scheme: BandScheme) -> LegWords:
    """Headline of a leg."""
    climb = "at least " if leg.ascent_at_least else ""
    extent = (
        f"{kilometres(leg.length_m)}, up {climb}{metres_up(leg.ascent_m)} m, "
        f"down {climb}{metres_up(leg.descent_m)} m"
    )
    return LegWords(
        leg.number,
        leg.from_,
        leg.to,
        extent,
        None if leg.band is None else scheme.labels.index(leg.band.label),
        _bands_label(leg),
        _steep_words(leg),
        overhead_words(leg.overhead, unknown_above=leg.unknown_above),
        _unknown_words(leg),
        (*map(_reading_words, leg.expected_readings), *without_check_lines(leg.steep_without_check))
        or ("None.",),
        _bar(leg),
    )


def _bands_label(leg: LegScreening) -> str:
    """Possible bands, each with its sign of degrees; see `steybrae.answers.leg.bands_text`."""
    if not leg.bands_possible:
        return "unknown"
    ends = dict.fromkeys(f"{band.label}°" for band in (leg.bands_possible[0], leg.bands_possible[-1]))
    steeper = leg.open_above and leg.bands_possible[-1].high_deg is not None
    return f"{' to '.join(ends)}{' or steeper' if steeper else ''}"


def _steep_words(leg: LegScreening) -> tuple[str, ...]:
    if leg.slope_max_deg is None or leg.slope_max_at is None:
        words = ["On the line: unknown."]
    else:
        at = along_text(leg.slope_max_at.chainage_m)
        interval = interval_text(leg.slope_low_deg, leg.slope_high_deg)
        words = [f"On the line {_least(leg)}{slope_text(leg.slope_max_deg)} at {at} m (95 %: {interval})."]
    beside = slope_text(leg.slope_corridor_max_deg)
    words.append(f"In its corridor {'' if beside == 'unknown' else _least(leg)}{beside}.")
    if leg.steep_m > 0.0:
        least = "At least " if leg.unknown_m > 0.0 else ""
        faces = f", facing {' '.join(leg.aspect_sectors)}" if leg.aspect_sectors else ""
        words.append(f"{least}{metres_up(leg.steep_m)} m of {STEEP_DEG:g}° or more{faces}.")
    return tuple(words)


def overhead_words(overhead: OverheadAnswer | None, *, unknown_above: bool) -> tuple[str, ...]:
    """Say what looks down, in sentences.

    Parameters
    ----------
    overhead
        Of a leg or place; None where none of its heights is known.
    unknown_above
        Whether unknown ground could look down too.

    Returns
    -------
    tuple of str
    """
    if overhead is None:
        return ("Overhead: unknown.",)
    words = []
    if overhead.in_start_zone:
        words.append(f"{metres_up(overhead.in_start_zone_m)} m lie in a start zone themselves.")
    least = "at least " if unknown_above else ""
    sights = [overhead.sight]
    if overhead.sight_outside != overhead.sight:
        sights.append(overhead.sight_outside)
    words += [_sight_words(sight, least) for sight in sights if sight is not None]
    if overhead.path is not None:
        words.append(
            f"Way down: {least}{slope_text(overhead.path.deg)} along {metres_down(overhead.path.path_m)} m."
        )
    elif overhead.sight is None:
        words.append(
            f"No start zone found that looks down at {slope_text(overhead.least_deg)} or more within "
            f"{metres_down(overhead.reach_m)} m."
        )
    if unknown_above:
        words.append("Unknown ground above may hold more.")
    return tuple(words)


def _sight_words(sight: SightAnswer, least: str) -> str:
    if sight.deg is None or sight.distance_m is None:
        away = metres_down(sight.unfiltered_distance_m)
        return (
            f"Sight, other ground between: {least}{slope_text(sight.unfiltered_deg)} towards "
            f"{bearing_text(sight.unfiltered_bearing_true_deg)}, {away} m off."
        )
    return (
        f"Sight up: {least}{slope_text(sight.deg)} towards {bearing_text(sight.bearing_true_deg)}, "
        f"{metres_down(sight.distance_m)} m off."
    )


def _unknown_words(leg: LegScreening) -> tuple[str, ...]:
    words = []
    if leg.unknown_m > 0.0:
        words.append(f"{metres_up(leg.unknown_m)} m of the line.")
    sides = [
        name for name, flag in (("left", leg.sides.unknown_left), ("right", leg.sides.unknown_right)) if flag
    ]
    if sides:
        words.append(f"Ground beside it, {' and '.join(sides)}.")
    if leg.slope_max_deg is not None and leg.slope_high_deg is None:
        words.append("How much steeper than shown.")
    return tuple(words)


def _reading_words(reading: ExpectedReading) -> str:
    look = reading.look_bearing_true_deg
    towards = "" if look is None else f", looking {bearing_text(look)}"
    at, what = along_text(reading.chainage_m), reading.what.split(",")[0]
    return f"No. {reading.number}: {slope_text(reading.expected_deg)} at {at} m{towards} ({what})."


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
    least = "at least " if totals.open_above else ""
    climb = "at least " if totals.ascent_at_least else ""
    words = [
        f"{totals.legs} leg{'' if totals.legs == 1 else 's'}, {kilometres(totals.length_m)}, up "
        f"{climb}{metres_up(totals.ascent_m)} m, down {climb}{metres_up(totals.descent_m)} m."
    ]
    if totals.slope_max_deg is None:
        words.append("Steepest ground on the line: unknown.")
    else:
        steepest = f"{least}{slope_text(totals.slope_max_deg)}, on leg {totals.slope_max_leg}"
        words.append(f"Steepest ground on the line: {steepest}.")
    if totals.slope_corridor_max_deg is not None:
        words.append(
            f"In the corridor beside it: {least}{slope_text(totals.slope_corridor_max_deg)}, on leg "
            f"{totals.slope_corridor_max_leg}."
        )
    more = "at least " if totals.unknown_above else ""
    if totals.overhead_max_deg is not None:
        words.append(
            f"Steepest sight up to a start zone: {more}{slope_text(totals.overhead_max_deg)}, on leg "
            f"{totals.overhead_max_leg}."
        )
    elif totals.unknown_above:
        words.append("What looks down on it: unknown.")
    if totals.in_start_zone_m > 0.0:
        words.append(f"In a start zone itself: {metres_up(totals.in_start_zone_m)} m of the line.")
    if totals.unknown_m > 0.0:
        words.append(f"Unknown ground: {metres_up(totals.unknown_m)} m of the line.")
    return tuple(words)
