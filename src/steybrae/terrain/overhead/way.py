"""Length of a path of snow: pulled straight where the ground lets it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.ground import OverheadGround
from steybrae.terrain.sampling import heights_at

Index = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Way:
    """A way from a source to a place, pulled straight.

    Attributes
    ----------
    col, row
        Its corners in the window, cells, the source first.
    length_m
        On the map, metres.
    deg
        Largest angle at which snow gets along it, degrees.
    """

    col: Array
    row: Array
    length_m: float
    deg: float


def pulled(ground: OverheadGround, col: Index, row: Index, angle_deg: float) -> Way:
    """Pull a way straight wherever the energy line passes over the ground on the shorter one.

    Parameters
    ----------
    ground
        Where.
    col, row
        Cells of a way, the source first.
    angle_deg
        At which it arrives.

    Returns
    -------
    Way
        Never longer than the way of the cells. Its angle is the least of ``atan(fall /
        length)`` over all that it passes, the ground taken bilinear.
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
        here = heights_at(heights, x[at] + span_c[:, None] * share, y[at] + span_r[:, None] * share)
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
    """Largest angle at which snow gets along a straight way.

    Parameters
    ----------
    ground
        Where.
    col, row
        Its two ends in the window, cells, the source first.
    top_m
        Height of the source, metres.

    Returns
    -------
    float
        The least of ``atan(fall / length)`` over all that it passes, at steps of one cell at
        most; below 0 where ground stands above the source.
    """
    span_c, span_r = float(col[1] - col[0]), float(row[1] - row[0])
    samples = math.ceil(max(abs(span_c), abs(span_r), 1.0))
    share = np.arange(1, samples + 1) / samples
    here = heights_at(ground.dem.heights_m, col[0] + span_c * share, row[0] + span_r * share)
    run = np.hypot(*ground.offset_m(np.asarray(span_c), np.asarray(span_r))) * share
    return math.degrees(math.atan(float(np.nanmin((top_m - here) / run, initial=math.inf))))
