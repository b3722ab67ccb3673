"""What an average, a grid or a skewed line of sight hides of a slope: the formulas."""

from __future__ import annotations

import math

from steybrae.quantities import angle_to_gradient, gradient_to_angle


def average_slope_deg(piece_deg: float, piece_m: float, rest_deg: float, baseline_m: float) -> float:
    """Slope of the average over a baseline that holds one steeper piece.

    ``tan(average) = (l tan(piece) + (L - l) tan(rest)) / L``, lengths in plan. 10 m at 45
    degrees in ground of 25 average 29.81 over 50 m.

    Parameters
    ----------
    piece_deg, piece_m
        The piece: slope in degrees, length in plan in metres.
    rest_deg
        Slope of the rest, degrees.
    baseline_m
        Whole length in plan, metres, not below `piece_m`.
    """
    rise_m = piece_m * angle_to_gradient(piece_deg)
    rise_m += (baseline_m - piece_m) * angle_to_gradient(rest_deg)
    return gradient_to_angle(rise_m / baseline_m)


def rest_slope_deg(average_deg: float, piece_deg: float, piece_m: float, baseline_m: float) -> float | None:
    """Slope of the rest, where a piece and the average are known.

    `average_slope_deg` solved for the rest.

    Parameters
    ----------
    average_deg
        Slope over the whole baseline, degrees.
    piece_deg, piece_m
        The piece: slope in degrees, length in plan in metres.
    baseline_m
        Whole length in plan, metres, above `piece_m`.

    Returns
    -------
    float or None
        Degrees; None where the rest would have to slope the other way.
    """
    rise_m = baseline_m * angle_to_gradient(average_deg) - piece_m * angle_to_gradient(piece_deg)
    return gradient_to_angle(rise_m / (baseline_m - piece_m)) if rise_m >= 0.0 else None


def hidden_slope_deg(average_deg: float, rest_deg: float, piece_m: float, baseline_m: float) -> float:
    """How steep a piece an average can hide, where the rest is known.

    `average_slope_deg` solved for the piece: 10 m in an average of 29.81 over 50 m with the
    rest at 25 can be 45 degrees.

    Parameters
    ----------
    average_deg
        Slope over the whole baseline, degrees.
    rest_deg
        Slope of the rest, degrees, at most `average_deg`.
    piece_m
        Length of the piece in plan, metres, above 0.
    baseline_m
        Whole length in plan, metres.
    """
    rise_m = baseline_m * angle_to_gradient(average_deg)
    rise_m -= (baseline_m - piece_m) * angle_to_gradient(rest_deg)
    return gradient_to_angle(rise_m / piece_m)


def flattened_slope_deg(slope_deg: float, wavelength_m: float, cell_size_m: float) -> float:
    """Steepest slope that a grid shows of a regular roll.

    ``tan(shown) = tan(slope) sin(k g) / (k g)``, with ``k = 2 pi / wavelength``: what a central
    difference over two cells of size g keeps of a sine. A roll ten cells long keeps 0.936.

    Parameters
    ----------
    slope_deg
        Steepest slope of the roll, degrees.
    wavelength_m
        From crest to crest, metres, from two cells.
    cell_size_m
        Cell size, metres, above 0.
    """
    phase = 2.0 * math.pi * cell_size_m / wavelength_m
    return gradient_to_angle(angle_to_gradient(slope_deg) * math.sin(phase) / phase)


def off_fall_line_deg(look_bearing_deg: float, aspect_deg: float) -> float:
    """How far a line of sight runs off the fall line, up or down.

    Parameters
    ----------
    look_bearing_deg
        Bearing looked along, degrees clockwise from the same north as `aspect_deg`.
    aspect_deg
        Direction the slope faces, degrees.

    Returns
    -------
    float
        Degrees, 0 along the fall line (up it or down it) to 90 across it.
    """
    apart_deg = (look_bearing_deg - aspect_deg) % 180.0
    return min(apart_deg, 180.0 - apart_deg)


def apparent_slope_deg(slope_deg: float, off_fall_line_deg: float) -> float:
    """Slope along a line that runs off the fall line: ``tan(theta) cos(phi)``.

    35 degrees sighted 60 degrees off is 19.30.

    Parameters
    ----------
    slope_deg
        Slope in the fall line, degrees.
    off_fall_line_deg
        Angle in plan between the line and the fall line, degrees, 0 to 90.

    Returns
    -------
    float
        Degrees, never above `slope_deg`.
    """
    if off_fall_line_deg >= 90.0:
        return 0.0
    return gradient_to_angle(angle_to_gradient(slope_deg) * math.cos(math.radians(off_fall_line_deg)))
