"""The ground at a place as text on a terminal."""

from __future__ import annotations

from rich.console import Console

from steybrae.quantities import one_in_text, round_down, round_up, slope_text
from steybrae.screening.ground_at import GroundAt, Within
from steybrae.show.tables import bands_text

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
        f"Slope {least}{_slope(ground)}",
        _interval(ground),
        _facing(ground),
        *_circle(ground.within),
        f"Possible bands {bands_text(ground.bands_possible, open_above=ground.open_above)}",
        "",
        f"Model: {', '.join(ground.model_files)}; cells {ground.cell_size_m[0]:.1f} x "
        f"{ground.cell_size_m[1]:.1f} m; method {ground.method}. Slope is the steepest of the 3 x 3 "
        "cells around the place.",
        ground.basis,
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


def print_ground(ground: GroundAt, to: Console) -> None:
    """Print `ground_lines`."""
    for line in ground_lines(ground):
        to.print(line, markup=False)
