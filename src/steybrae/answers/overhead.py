"""What lies overhead of a leg or a place, in words and as columns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from steybrae.answers.leg import leg_columns
from steybrae.document import NONE, Cell, Column, or_none
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.overhead.result import ExpectedReading, OverheadAnswer, PathAnswer, SightAnswer
from steybrae.screening.basis import looks_of, steeper_than_zones
from steybrae.screening.result import LegScreening, RouteScreening, Totals
from steybrae.value import (
    UNKNOWN,
    Value,
    bearing,
    bearing_figure,
    distance_off,
    length,
    overhead,
    slope,
    steep_length,
)

MOST_PLACES: Final = 1
"""Chainages of one kind of ground that a row of the table names (our choice)."""


def sight_text(sight: SightAnswer, *, at_least: bool = False) -> str:
    """``41.6° towards 340° true, 433 m off, 385 m up, hidden``; the distance is rounded down, the rest up."""
    if sight.deg is None:
        return "none in the open"
    look = bearing(sight.bearing_true_deg, "true")
    off, up = distance_off(sight.distance_m).text, steep_length(sight.rise_m).text
    hidden = ", hidden" if sight.hidden else ""
    return f"{overhead(sight.deg, at_least=at_least).text} towards {look}, {off} off, {up} up{hidden}"


def path_text(path: PathAnswer, *, at_least: bool = False) -> str:
    """``41.6° along 433 m of way, 385 m down, from 340° true``."""
    off, down = distance_off(path.path_m).text, steep_length(path.rise_m).text
    return (
        f"{overhead(path.deg, at_least=at_least).text} along {off} of way, {down} down, "
        f"from {bearing(path.bearing_true_deg, 'true')}"
    )


def baseline_columns(baselines: Sequence[LegBaseline]) -> tuple[Column, ...]:
    """Steepest slope of a leg over each baseline; a sign for cells too large."""
    return tuple(
        Column(f"slope_{one.baseline_m:g}_m_deg", f"over\n{one.baseline_m:g} m", _over(k))
        for k, one in enumerate(baselines)
    )


def _over(k: int) -> Callable[[LegScreening | Totals], Cell]:
    return lambda leg: "" if isinstance(leg, Totals) else _baseline(leg.baselines[k])


def baselines_text(baselines: Sequence[LegBaseline]) -> str:
    """``over 20 m 15.2°, over 30 m 15.2°``, without those for which cells are too large."""
    told = [one for one in baselines if one.measured_m is not None]
    return ", ".join(f"over {one.baseline_m:g} m {_steepest(one).text}" for one in told)


def _baseline(one: LegBaseline) -> Cell:
    return NONE if one.measured_m is None else _steepest(one)


def _steepest(one: LegBaseline) -> Value:
    return slope(one.slope_max_deg, at_least=one.unknown)


def baselines_note(baselines: Sequence[LegBaseline]) -> list[str]:
    """Say over what was really measured, where that is less than was asked for, and what could not be."""
    shorter = [
        f"{one.baseline_m:g} m over {max(one.measured_m):.0f} m"
        for one in baselines
        if one.measured_m is not None and max(one.measured_m) < 0.95 * one.baseline_m
    ]
    none = [f"{one.baseline_m:g}" for one in baselines if one.measured_m is None]
    words = [f"measured: {', '.join(shorter)}"] if shorter else []
    words += [f"none over {', '.join(none)} m: {_too_large(baselines)}"] if none else []
    return [f"Baselines {'; '.join(words)}."] if words else []


def _too_large(baselines: Sequence[LegBaseline]) -> str:
    note = next(one.note for one in baselines if one.measured_m is None)
    return f"the model's cells are too large for it;{note.rpartition(';')[2].rstrip('.')}"


def zone_lengths_text(found: RouteScreening) -> str:
    """``120 m of the line in a start zone, 340 m with possible ones``; at least, where some is unknown."""
    metres = found.totals.in_start_zone_m, found.totals.in_possible_zone_m
    least = any(zones_unknown(leg.overhead) for leg in found.legs)
    sure, possible = (steep_length(at, at_least=least).text for at in metres)
    also = with_possible(looks_of(found), found.totals.slope_max_deg)
    return f"{sure[0].upper()}{sure[1:]} of the line in a start zone, {possible} {also}"


def with_possible(looks: OverheadAnswer | None, steepest_deg: float | None) -> str:
    """``with possible ones``; what is too steep for a start zone, and a source, is counted with them."""
    steeper = looks is not None and steeper_than_zones(looks, steepest_deg)
    return "with possible ones and steeper ground" if steeper else "with possible ones"


def zones_unknown(looks: OverheadAnswer | None) -> bool:
    """Whether a part of a leg lies in ground of which no zone is known."""
    return looks is None or looks.known_to_m == 0.0


def expected(reading: ExpectedReading) -> Value:
    """Value of a check."""
    return slope(reading.expected_deg, interval=(reading.low_deg, reading.high_deg))


def reading_interval_text(reading: ExpectedReading) -> str:
    """``41.6° (40.6° to 42.5°)``."""
    value = expected(reading)
    return f"{value.text} ({value.interval_text})"


def _sights(leg: LegScreening) -> list[tuple[str, SightAnswer]]:
    """Open sight of a leg, and that from outside the zone where it is another."""
    looks = leg.overhead
    if looks is None or looks.sight is None:
        return []
    outside = looks.sight_outside
    more = [("outside ", outside)] if outside not in (looks.sight, None) and outside.deg is not None else []
    return [("", looks.sight), *more]


def _sight(leg: LegScreening) -> Cell:
    looks = leg.overhead
    if looks is None or (looks.sight is None and leg.unknown_above):
        return UNKNOWN
    if looks.sight is None:
        return f"none of {looks.least_deg:g}°+"
    return tuple(
        where + ("none open" if one.deg is None else overhead(one.deg, at_least=leg.unknown_above).text)
        for where, one in _sights(leg)
    )


def _open(leg: LegScreening) -> list[SightAnswer]:
    return [one for _, one in _sights(leg) if one.deg is not None]


def _towards(leg: LegScreening) -> Cell:
    return tuple(bearing_figure(one.bearing_true_deg or 0.0) for one in _open(leg)) or ""


def _zone_m(leg: LegScreening) -> Cell:
    return UNKNOWN if leg.overhead is None else _in_zone(leg.overhead, leg.overhead.in_start_zone_m)


def _possible_m(leg: LegScreening) -> Cell:
    return UNKNOWN if leg.overhead is None else _in_zone(leg.overhead, leg.overhead.in_possible_zone_m)


def _in_zone(looks: OverheadAnswer, metres: float) -> Cell:
    least = zones_unknown(looks)
    return steep_length(metres, at_least=True) if least else or_none(steep_length(metres))


def _path(leg: LegScreening) -> Cell:
    if leg.overhead is None:
        return UNKNOWN
    path = leg.overhead.path
    if path is None:
        return UNKNOWN if leg.unknown_above else NONE
    return overhead(path.deg, at_least=leg.unknown_above)


def _shape(leg: LegScreening) -> Cell:
    """Give a line for each kind, with where along the leg."""
    places: dict[str, list[float]] = {}
    if leg.convex_rolls:
        steepest = max(roll.below_deg for roll in leg.convex_rolls)
        places[f"roll to {slope(steepest).text}"] = [roll.chainage_m for roll in leg.convex_rolls]
    for trap in leg.terrain_traps:
        places.setdefault(trap.kind, []).append(trap.chainage_m)
    return tuple(f"{kind} {_chainages(at)}" for kind, at in places.items()) or NONE


def _chainages(at_m: list[float]) -> str:
    """``94 +2``: the first of them, and how many more there are."""
    shown = ", ".join(length(at).figure for at in at_m[:MOST_PLACES])
    more = len(at_m) - MOST_PLACES
    return f"{shown} +{more}" if more > 0 else shown


def _reading(reading: ExpectedReading) -> str:
    where = "" if reading.chainage_m is None else f" {length(reading.chainage_m).figure}"
    look = reading.look_bearing_true_deg
    towards = "" if look is None else f" {bearing_figure(look)}"
    return f"{reading.name}:{where}{towards} {reading_interval_text(reading)}"


CHECKS_RANGE: Final = (
    "The range of a check is the model's own 95 % interval. Readings that agree with it, as a card has them, "
    "reach wider: the errors of instrument and reader come on top."
)
"""Why the range of a check is not that of a card."""

OVERHEAD_COLUMNS: Final = (
    *leg_columns("number"),
    Column("sight_deg", "Sight up to\na start zone", _sight),
    Column("sight_bearing_true_deg", "towards\ntrue", _towards),
    Column(
        "sight_distance_m", "m off", lambda leg: tuple(distance_off(s.distance_m) for s in _open(leg)), "m"
    ),
    Column("sight_rise_m", "m up", lambda leg: tuple(steep_length(s.rise_m) for s in _open(leg)), "m"),
    Column("path_deg", "Path\nangle", _path),
    Column("in_start_zone_m", "m in a\nzone", _zone_m, "m"),
    Column("in_possible_zone_m", "poss-\nible", _possible_m, "m"),
    Column("shape", "Convex rolls,\ntraps, at m", _shape, align="left"),
    Column(
        "expected_readings",
        "Checks: at m,\nlook true, expect\n(model's 95 %)",
        lambda leg: tuple(map(_reading, leg.expected_readings)) or NONE,
        align="left",
    ),
)
"""Everything that a table tells of what lies overhead of a leg, and of the shape of its ground."""
