"""What looks down on a leg or a place, in words and as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich import box
from rich.table import Table
from rich.text import Text

from steybrae.quantities import round_down, round_up, slope_text
from steybrae.route.compass_words import bearing_text
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.overhead_result import ExpectedReading, OverheadAnswer, PathAnswer, SightAnswer
from steybrae.screening.result import LegScreening
from steybrae.terrain.start_zones import StartRules

__all__ = [
    "baseline_cells_text",
    "baselines_note",
    "baselines_text",
    "interval_text",
    "overhead_table",
    "path_text",
    "sight_text",
    "zone_text",
    "zones_text",
]


MOST_PLACES: Final = 1
"""Chainages of one kind of ground that a row of the table names (our choice)."""


def sight_text(sight: SightAnswer) -> str:
    """``41.6° towards 340°, 433 m off, 385 m up``; the distance is rounded down, the rest up."""
    if sight.deg is None or sight.bearing_true_deg is None or sight.distance_m is None:
        return "none in the open"
    off, up = round_down(sight.distance_m, 1.0), round_up(sight.rise_m or 0.0, 1.0)
    look = bearing_text(sight.bearing_true_deg)
    return f"{slope_text(sight.deg)} towards {look}, {off:.0f} m off, {up:.0f} m up"


def path_text(path: PathAnswer) -> str:
    """``41.6° along 433 m of way, 385 m down, from 340°``."""
    off, down = round_down(path.path_m, 1.0), round_up(path.rise_m, 1.0)
    return (
        f"{slope_text(path.deg)} along {off:.0f} m of way, {down:.0f} m down, "
        f"from {bearing_text(path.bearing_true_deg)}"
    )


def zone_text(looks: OverheadAnswer) -> str:
    """Say what was taken for a start zone: ``ground of 22.4° to 55.0° over 20 m or two cells``."""
    low = round_down(looks.start_from_deg, 0.1)
    return f"ground of {low:.1f}° to {slope_text(looks.start_to_deg)} over 20 m or two cells"


def zones_text(looks: OverheadAnswer, rules: StartRules) -> str:
    """Say all that was taken for a start zone, and why its lower end is lower than was asked.

    ``ground of 22.4° to 55.0° over 20 m or two cells, from 400 m² on, within 3 km; 22.4° is 30°
    less the model's uncertainty, so that ground that may reach 30° counts``
    """
    low = round_down(looks.start_from_deg, 0.1)
    words = f"{zone_text(looks)}, from {rules.least_area_m2:.10g} m² on, within {looks.reach_m / 1000.0:g} km"
    if looks.start_from_deg >= rules.low_deg:
        return words
    return (
        f"{words}; {low:.1f}° is {rules.low_deg:g}° less the model's uncertainty, so that ground that may "
        f"reach {rules.low_deg:g}° counts"
    )


def baseline_cells_text(leg: LegScreening) -> str:
    """``- | 15.2 | 15.2 | 14.3``: steepest over each baseline; a sign stands for cells too large."""
    return " | ".join(_baseline(one).rstrip("°") for one in leg.baselines)


def baselines_text(baselines: Sequence[LegBaseline]) -> str:
    """``over 20 m 15.2°, over 30 m 15.2°``, without those for which cells are too large."""
    told = [one for one in baselines if one.measured_m is not None]
    return ", ".join(f"over {one.baseline_m:g} m {_baseline(one)}" for one in told)


def _baseline(one: LegBaseline) -> str:
    if one.measured_m is None:
        return "-"
    least = ">=" if one.unknown and one.slope_max_deg is not None else ""
    return f"{least}{slope_text(one.slope_max_deg)}"


def baselines_note(baselines: Sequence[LegBaseline]) -> list[str]:
    """Say over what was really measured, where that is less than was asked for, and what could not be."""
    shorter = [
        f"{one.baseline_m:g} m over {max(one.measured_m):.0f} m"
        for one in baselines
        if one.measured_m is not None and max(one.measured_m) < 0.95 * one.baseline_m
    ]
    none = [f"{one.baseline_m:g}" for one in baselines if one.measured_m is None]
    words = [f"measured: {', '.join(shorter)}"] if shorter else []
    words += [f"- over {', '.join(none)} m: {_too_large(baselines)}"] if none else []
    return [f"Baselines {'; '.join(words)}."] if words else []


def _too_large(baselines: Sequence[LegBaseline]) -> str:
    note = next(one.note for one in baselines if one.measured_m is None)
    return f"the model's cells are too large for it;{note.rpartition(';')[2].rstrip('.')}"


def interval_text(reading: ExpectedReading) -> str:
    """``41.6° (40.6 to 42.5°)``; without its interval where that is not known."""
    words = slope_text(reading.expected_deg)
    if reading.low_deg is None or reading.high_deg is None:
        return words
    return f"{words} ({round_down(reading.low_deg, 0.1):.1f} to {slope_text(reading.high_deg)})"


def overhead_table(legs: Sequence[LegScreening]) -> Table:
    """For each leg what looks down on it, its shape, and the readings to expect; true bearings."""
    table = Table(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        show_edge=False,
        title="What looks down on the line, the shape of its ground, readings to expect (bearings true)",
        title_justify="left",
        title_style="",
    )
    table.add_column("Leg", justify="right", no_wrap=True)
    for head in ("Sight up to\na start zone", "towards", "m off", "m up"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("Path of\nsnow", justify="right", no_wrap=True)
    table.add_column("m in a\nzone", justify="right", no_wrap=True)
    table.add_column("Convex rolls, traps,\nat m", no_wrap=True)
    table.add_column("Readings to expect: no.: at m,\nlook towards, slope (95 %)", no_wrap=True)
    for leg in legs:
        table.add_row(*map(Text, _cells(leg)))
    return table


def _cells(leg: LegScreening) -> tuple[str, ...]:
    looks = leg.overhead
    path = None if looks is None else looks.path
    zone_m = 0.0 if looks is None else looks.in_start_zone_m
    return (
        str(leg.number),
        *("\n".join(column) for column in zip(*_sights(leg), strict=True)),
        "?" if looks is None else "-" if path is None else slope_text(path.deg),
        f"{round_up(zone_m, 1.0):.0f}" if zone_m else "?" if looks is None else "-",
        "\n".join(_shape(leg)) or "-",
        "\n".join(_reading(reading) for reading in leg.expected_readings) or "-",
    )


def _sights(leg: LegScreening) -> list[tuple[str, str, str, str]]:
    """Lines of angle, bearing, distance and rise."""
    looks = leg.overhead
    if looks is None or looks.sight is None:
        if looks is None or leg.unknown_above:
            return [("unknown", "", "", "")]
        return [(f"none of {looks.least_deg:g}°+", "", "", "")]
    lines = [("at least", "", "", "")] if leg.unknown_above else []
    lines.append(_sight_cells("", looks.sight))
    outside = looks.sight_outside
    if outside != looks.sight and outside is not None and outside.deg is not None:
        lines.append(_sight_cells("outside ", outside))
    return lines


def _sight_cells(where: str, sight: SightAnswer) -> tuple[str, str, str, str]:
    if sight.deg is None or sight.bearing_true_deg is None or sight.distance_m is None:
        return f"{where}none open", "", "", ""
    off, up = round_down(sight.distance_m, 1.0), round_up(sight.rise_m or 0.0, 1.0)
    look = bearing_text(sight.bearing_true_deg)
    return f"{where}{slope_text(sight.deg)}", look, f"{off:.0f}", f"{up:.0f}"


def _shape(leg: LegScreening) -> list[str]:
    """Give a line for each kind, with where along the leg."""
    places: dict[str, list[float]] = {}
    if leg.convex_rolls:
        steepest = max(roll.below_deg for roll in leg.convex_rolls)
        places[f"roll to {slope_text(steepest)}"] = [roll.chainage_m for roll in leg.convex_rolls]
    for trap in leg.terrain_traps:
        places.setdefault(trap.kind, []).append(trap.chainage_m)
    return [f"{kind} {_chainages(at)}" for kind, at in places.items()]


def _chainages(at_m: list[float]) -> str:
    """``94 +2``: the first of them, and how many more there are."""
    shown = ", ".join(f"{at:.0f}" for at in at_m[:MOST_PLACES])
    more = len(at_m) - MOST_PLACES
    return f"{shown} +{more}" if more > 0 else shown


def _reading(reading: ExpectedReading) -> str:
    where = "" if reading.chainage_m is None else f" {reading.chainage_m:.0f}"
    look = "" if reading.look_bearing_true_deg is None else f" {bearing_text(reading.look_bearing_true_deg)}"
    return f"{reading.number}:{where}{look} {interval_text(reading)}"
