"""Length of a path of snow, pulled straight where the ground lets it; run-outs by the alpha-beta relation.

*Run-out*: alpha is the angle from the end of the debris up to the top of the release, *beta* that from
the point where the path's profile falls to 10 degrees. Lied and Bakkehoi (1980), J. Glaciol.
26(94), 165-177, doi:10.1017/S0022143000010704, found them related in 111 of 423 avalanches
(correlation 0.95, standard deviation 2.3 degrees); Bakkehoi, Domaas and Lied (1983), Ann.
Glaciol. 4, 24-29, doi:10.3189/S0260305500005188, in 206 (0.92, 2.3 degrees). Both abstracts were
read; the coefficients below, and 10 degrees for beta, are from memory. On 48 short Canadian
paths beta was taken at 24 degrees instead (Jones and Jamieson (2004), Ann. Glaciol. 38).

The relation tells of the largest slides of about a hundred years on tall paths. It predicts
nothing for a slope or a day, and ground beyond it is not out of reach.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at, off
from steybrae.terrain.overhead.ground import OverheadGround

Index = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Way:
    """A way from a source, the first of its corners in the window, to a place, pulled straight.

    `length_m` is on the map; `deg` the largest angle at which snow gets along it.
    """

    col: Array
    row: Array
    length_m: float
    deg: float


def pulled(ground: OverheadGround, col: Index, row: Index, angle_deg: float) -> Way:
    """Pull a way of cells, the source first, straight wherever the energy line passes over the ground.

    Never longer than the way of the cells. Its angle is the least of ``atan(fall / length)`` over
    all that it passes, the ground taken bilinear; `angle_deg` is at which it arrived.
    """
    x, y = col.astype(np.float64) + 0.5, row.astype(np.float64) + 0.5
    heights = ground.dem.heights_m
    top, loss = float(heights[row[0], col[0]]), math.tan(math.radians(angle_deg))
    corner, length, tangent = [0], 0.0, math.inf
    while corner[-1] < len(x) - 1:
        at = corner[-1]
        to = np.arange(at + 1, len(x))
        span_c, span_r = x[to] - x[at], y[to] - y[at]
        apart = np.hypot(*ground.offset_m(span_c, span_r))
        samples = int(max(np.abs(span_c).max(), np.abs(span_r).max(), 1.0))
        share = np.arange(1, samples + 1) / samples
        here = heights_at(heights, x[at] + off(span_c[:, None] * share), y[at] + off(span_r[:, None] * share))
        run = length + apart[:, None] * share
        blocked = (top - loss * run < here - 1e-9).any(axis=1)
        free = np.flatnonzero(~blocked)
        pick = int(free[-1]) if len(free) else 0
        corner.append(int(to[pick]))
        falls = (top - here[pick]) / run[pick]
        tangent = min(tangent, float(np.nanmin(falls, initial=math.inf)))
        length += float(apart[pick])
    # A step between two cells that the bilinear ground would stop was allowed by the cells.
    deg = max(math.degrees(math.atan(tangent)), angle_deg)
    return Way(x[corner], y[corner], length, deg)


def straight_deg(ground: OverheadGround, col: Array, row: Array, top_m: float) -> float:
    """Largest angle at which snow gets along a straight way, the source's end first, from its height.

    The least of ``atan(fall / length)`` over all that it passes, at steps of one cell at most;
    below 0 where ground stands above the source.
    """
    span_c, span_r = float(col[1] - col[0]), float(row[1] - row[0])
    samples = math.ceil(max(abs(span_c), abs(span_r), 1.0))
    share = np.arange(1, samples + 1) / samples
    here = heights_at(ground.dem.heights_m, col[0] + off(span_c * share), row[0] + off(span_r * share))
    run = np.hypot(*ground.offset_m(np.asarray(span_c), np.asarray(span_r))) * share
    return math.degrees(math.atan(float(np.nanmin((top_m - here) / run, initial=math.inf))))


ALPHA_SLOPE: Final = 0.96
"""Factor of beta (from memory)."""

ALPHA_OFFSET_DEG: Final = -1.4
"""Degrees added (from memory)."""

ALPHA_SD_DEG: Final = 2.3
"""Standard deviation of alpha about the relation, degrees (Bakkehoi, Domaas and Lied 1983)."""

BETA_SLOPE_DEG: Final = 10.0
"""Slope of the profile at the beta point, degrees (from memory)."""


def alpha_deg(beta_deg: float, standard_deviations: float = 0.0) -> float:
    """Run-out angle by the published relation, degrees: ``0.96 beta - 1.4 - n * 2.3``.

    Beta is the angle from the beta point up to the top of the release, above 0 and below 90, or a
    `ModelError`; n how many standard deviations farther out than the mean. For teaching; not a
    prediction.
    """
    if not 0.0 < beta_deg < 90.0:
        message = (
            f"The angle beta should lie between 0 and 90 degrees; got {beta_deg:g}. Measure it from "
            "where the path flattens to 10 degrees up to the top of the release."
        )
        raise ModelError(message)
    return ALPHA_SLOPE * beta_deg + ALPHA_OFFSET_DEG - standard_deviations * ALPHA_SD_DEG


def reach_m(fall_m: float, angle_deg: float) -> float:
    """Horizontal distance at which a fall is seen under an angle, metres: ``fall / tan(angle)``.

    `ModelError` for a negative fall, or an angle not above 0 and below 90.
    """
    if not (fall_m >= 0.0 and 0.0 < angle_deg < 90.0):
        message = (
            f"A fall should be 0 m or more and its angle between 0 and 90 degrees; got {fall_m:g} m and "
            f"{angle_deg:g} degrees. Give the height difference as a positive number."
        )
        raise ModelError(message)
    return fall_m / math.tan(math.radians(angle_deg))


def beta_point(distance_m: Array, height_m: Array, slope_deg: float = BETA_SLOPE_DEG) -> int | None:
    """First point of a profile from which the path goes on flatter than the beta slope; its index.

    The profile runs from the top of the release downwards, its distances on the map. Flat ground
    above the first steeper piece does not count. None where it never gets steeper, or never flatter
    again.
    """
    fall_deg = np.degrees(np.arctan2(-np.diff(height_m), np.diff(distance_m)))
    steeper = fall_deg > slope_deg
    if not steeper.any():
        return None
    first = int(np.argmax(steeper))
    flatter = np.flatnonzero(fall_deg[first:] <= slope_deg)
    return None if len(flatter) == 0 else first + int(flatter[0])
