"""The ground at a place as text on a terminal."""

from __future__ import annotations

from rich.console import Console

from steybrae.card.wording import without_check_lines
from steybrae.quantities import one_in_text, round_down, round_up, slope_text
from steybrae.route.compass_words import bearing_text
from steybrae.screening.ground_result import GroundAt, RunOut, Within
from steybrae.show.overhead_words import (
    baselines_note,
    baselines_text,
    interval_text,
    path_text,
    sight_text,
    zone_text,
    zones_text,
)
from steybrae.show.tables import bands_text, cross_check_text

__all__ = ["ground_lines", "print_ground"]


def ground_lines(ground: GroundAt) -> list[str]:
    """Lines that say what the ground is like; every figure is in the result.

    Parameters
    ----------
    ground
        The result.

    Returns
    -------
    list of str
    """
    place = ground.place
    least = "at least " if ground.open_above and ground.slope_deg is not None else ""
    written = f'"{place.written}" = ' if place.written else ""
    height = "unknown" if ground.elevation_m is None else f"{ground.elevation_m:.0f} m"
    return [
        f"{written}{place.lat_deg:.5f}, {place.lon_deg:.5f} (WGS 84), height {height}",
        "",
        *_zone(ground),
        f"Slope {least}{_slope(ground)}",
        _interval(ground),
        _facing(ground),
        *_circle(ground.within),
        f"Possible bands {bands_text(ground.bands_possible, open_above=ground.open_above)}",
        *_baselines(ground),
        "",
        *_overhead(ground),
        *(roll.reason for roll in ground.convex_rolls),
        *(trap.reason for trap in ground.terrain_traps),
        *_readings(ground),
        *_run_out(ground.run_out),
        "",
        f"Model: {', '.join(ground.model_files)}; cells {ground.cell_size_m[0]:.1f} x "
        f"{ground.cell_size_m[1]:.1f} m; method {ground.method}. Slope is the steepest of the 3 x 3 "
        "cells around the place.",
        ground.basis,
        *_start_zones(ground),
    ]


def _slope(ground: GroundAt) -> str:
    if ground.slope_deg is None:
        return "unknown"
    return f"{slope_text(ground.slope_deg)} = {one_in_text(ground.slope_deg)}"


def _interval(ground: GroundAt) -> str:
    if ground.slope_low_deg is None or ground.slope_high_deg is None:
        return "95 % interval: not known"
    return (
        f"95 % interval: {round_down(ground.slope_low_deg, 0.1):.1f}° to {slope_text(ground.slope_high_deg)}"
    )


def _facing(ground: GroundAt) -> str:
    if ground.aspect_true_deg is None:
        return "Faces: no direction (level or unknown)"
    return f"Faces {ground.aspect_sector}, {round(ground.aspect_true_deg) % 360:03d}° from true north"


def _circle(within: Within) -> list[str]:
    words = f"Within {round_up(within.radius_m, 1.0):.0f} m (95 % of positions, and the 3 x 3 cells around): "
    if within.slope_max_deg is None or within.slope_min_deg is None or within.slope_median_deg is None:
        return [words + "unknown"]
    words += (
        f"least {slope_text(within.slope_min_deg)}, median {slope_text(within.slope_median_deg)}, "
        f"steepest {slope_text(within.slope_max_deg)}"
    )
    if within.unknown_share:
        words += f"; {round_up(100.0 * within.unknown_share, 1.0):.0f} % of it unknown"
    return [words]


def _zone(ground: GroundAt) -> list[str]:
    looks = ground.overhead
    if looks is None or not looks.in_start_zone:
        return []
    return [f"This place stands in a start zone: {zone_text(looks)}.", ""]


def _start_zones(ground: GroundAt) -> list[str]:
    looks, rules = ground.overhead, ground.start_zones
    if looks is None or rules is None:
        return []
    return [f"Start zones: {zones_text(looks, rules)}. Steeper ground counts too."]


def _baselines(ground: GroundAt) -> list[str]:
    words = baselines_text(ground.baselines)
    told = [f"Steepest of those cells {words}"] if words else []
    return [*told, *baselines_note(ground.baselines)]


def _overhead(ground: GroundAt) -> list[str]:
    """Lines of what looks down; the open sight leads."""
    looks = ground.overhead
    if looks is None:
        return ["Overhead: unknown"]
    within = f"within {looks.reach_m / 1000.0:g} km"
    least = "at least " if ground.unknown_above else ""
    if looks.sight is None:
        none = f"Overhead: no start zone at {looks.least_deg:g}° or more {within}"
        return ["Overhead: unknown ground may look down on this place" if ground.unknown_above else none]
    words = f"(true; open sight to a start zone, {zone_text(looks)})"
    lines = [f"Overhead {least}{sight_text(looks.sight)} {words}"]
    top = looks.sight.top
    if top is not None:
        lines.append(
            f"Top of that zone {slope_text(top.deg)} towards {bearing_text(top.bearing_true_deg)}, "
            f"{round_down(top.distance_m, 1.0):.0f} m off, {round_up(top.rise_m, 1.0):.0f} m up"
        )
    if slope_text(looks.sight.unfiltered_deg) != slope_text(looks.sight.deg):
        whatever = looks.sight
        lines.append(
            f"Whatever lies between: {slope_text(whatever.unfiltered_deg)} towards "
            f"{bearing_text(whatever.unfiltered_bearing_true_deg)}"
        )
    if looks.path is not None:
        lines.append(f"Path of snow {least}{path_text(looks.path)}")
    return lines


def _readings(ground: GroundAt) -> list[str]:
    lines = []
    for reading in ground.expected_readings:
        look = reading.look_bearing_true_deg
        towards = "" if look is None else f", look {bearing_text(look)} true"
        lines.append(
            f"Reading to expect {reading.number}: {interval_text(reading)}{towards} ({reading.what})"
        )
    return [*lines, *without_check_lines(ground.steep_without_check)]


def _run_out(found: RunOut | None) -> list[str]:
    if found is None:
        return []
    far = round_up(found.beta_distance_m, 1.0)
    alpha, low = (round_down(deg, 0.1) for deg in (found.alpha_deg, found.alpha_low_deg))
    return [
        f"For teaching: straight down past here the ground flattens to 10° {far:.0f} m from the top of that "
        f"zone, which from there stands at {slope_text(found.beta_deg)} (beta). The published run-out angle "
        f"is {alpha:.1f}° (alpha = 0.96 beta - 1.4°), {low:.1f}° two standard deviations farther out; from "
        f"here the top stands at {slope_text(found.top_deg)}. Large slides have been known to come to where "
        "it stands at such angles, and lower. This predicts nothing for this slope."
    ]


def print_ground(ground: GroundAt, to: Console) -> None:
    """Print `ground_lines`."""
    for line in ground_lines(ground):
        to.print(line, markup=False)
    if ground.cross_check is not None:
        to.print()
        to.print(cross_check_text(ground.cross_check), markup=False)
