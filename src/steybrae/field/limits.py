"""How far one reading errs, how near it has to come, and what an average, a grid or a skewed look hides.

They stand alone: a line is screened by them, and loads nothing else of the readings.

An average over a baseline of length L that holds a piece of length l, both in plan, is
``tan(average) = (l tan(piece) + (L - l) tan(rest)) / L``: 10 m at 45 degrees in ground of 25 average
29.81 over 50 m.
"""

from __future__ import annotations

import math
from typing import Final

from steybrae.quantities import angle_to_gradient, gradient_to_angle

READING_ERROR_95_DEG: Final = 4.0
"""Expanded (95 %) error of one reading, degrees. McCammon (2023), Proc. Int. Snow Science
Workshop, pp. 1141-1148: current inclinometers measure slope to about +-4 degrees under
ideal conditions; reading that figure as a 95 % one is our choice."""

BAND_WIDTH_DEG: Final = 5.0
"""Width of a band where slabs start, 30 to 45 degrees (the default edges)."""


def rest_slope_deg(average_deg: float, piece_deg: float, piece_m: float, baseline_m: float) -> float | None:
    """Slope of the rest, where a piece and the average are known.

    None where the rest would have to slope the other way; the baseline is longer than the piece.
    """
    rise_m = baseline_m * angle_to_gradient(average_deg) - piece_m * angle_to_gradient(piece_deg)
    return gradient_to_angle(rise_m / (baseline_m - piece_m)) if rise_m >= 0.0 else None


def hidden_slope_deg(average_deg: float, rest_deg: float, piece_m: float, baseline_m: float) -> float:
    """How steep a piece an average can hide, where the rest, no steeper than the average, is known.

    10 m in an average of 29.81 over 50 m with the rest at 25 can be 45 degrees.
    """
    rise_m = baseline_m * angle_to_gradient(average_deg)
    rise_m -= (baseline_m - piece_m) * angle_to_gradient(rest_deg)
    return gradient_to_angle(rise_m / piece_m)


def flattened_slope_deg(slope_deg: float, wavelength_m: float, cell_size_m: float) -> float:
    """Steepest slope that a grid shows of a regular roll.

    ``tan(shown) = tan(slope) sin(k g) / (k g)``, with ``k = 2 pi / wavelength``: what a central
    difference over two cells of size g keeps of a sine, from crest to crest two cells or more. A
    roll ten cells long keeps 0.936.
    """
    phase = 2.0 * math.pi * cell_size_m / wavelength_m
    return gradient_to_angle(angle_to_gradient(slope_deg) * math.sin(phase) / phase)


def off_fall_line_deg(look_bearing_deg: float, aspect_deg: float) -> float:
    """How far a line of sight runs off the fall line, up or down: 0 along it to 90 degrees across it.

    Both bearings are clockwise from the same north.
    """
    apart_deg = (look_bearing_deg - aspect_deg) % 180.0
    return min(apart_deg, 180.0 - apart_deg)


def apparent_slope_deg(slope_deg: float, off_fall_line_deg: float) -> float:
    """Slope along a line that runs off the fall line: ``tan(theta) cos(phi)``, never steeper than that.

    35 degrees sighted 60 degrees off, in plan, is 19.30.
    """
    if off_fall_line_deg >= 90.0:
        return 0.0
    return gradient_to_angle(angle_to_gradient(slope_deg) * math.cos(math.radians(off_fall_line_deg)))
