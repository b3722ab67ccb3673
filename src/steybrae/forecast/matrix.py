"""Heights against aspects: where a line's ground lies, and what a bulletin names of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.bulletin import Part
from steybrae.forecast.named import LegGrounds, aspect_bits, crossed, plain_range_m
from steybrae.terrain.attributes import SECTORS
from steybrae.terrain.dem import Array

STEP_M: Final = 100.0
"""Height of a row, metres: the standard's own resolution of bounds (CAAML v6)."""

_MOST_ROWS: Final = 24


@dataclass(frozen=True, eq=False)
class HeightsByAspect:
    """Metres of a line by height and aspect; arrays ``[row, sector]``, the lowest row first.

    Attributes
    ----------
    height_edges_m
        Shape ``(rows + 1,)``.
    line_m, corridor_m, overhead_m
        Metres of all legs on, beside and below ground of that height and aspect, the slope asked
        for or steeper; what lies within its uncertainty of an edge counts on both sides, so that
        they add up to more than the line.
    named
        ``[part, row, sector]``: what each rating and problem names, bounds as written.
    """

    height_edges_m: Array
    line_m: Array
    corridor_m: Array
    overhead_m: Array
    named: NDArray[np.bool_]


def heights_by_aspect(
    grounds: Sequence[LegGrounds], parts: Sequence[Part], least_deg: float, treeline_m: float | None
) -> HeightsByAspect | None:
    """Lay the grounds of all legs out by height and aspect.

    Parameters
    ----------
    grounds
        Of each leg.
    parts
        Ratings and problems.
    least_deg
        Least slope on the line and beside it.
    treeline_m
        None where not stated.

    Returns
    -------
    HeightsByAspect or None
        None where no leg has such ground.
    """
    kinds = [
        [ground.line for ground in grounds],
        [ground.corridor for ground in grounds],
        [ground.overhead for ground in grounds],
    ]
    leasts = (least_deg, least_deg, 0.0)
    low, high = math.inf, -math.inf
    for cells_of, least in zip(kinds, leasts, strict=True):
        for cells in cells_of:
            some = cells.slope_deg >= least
            low = min(low, float(cells.low_m[some].min(initial=math.inf)))
            high = max(high, float(cells.high_m[some].max(initial=-math.inf)))
    if low > high:
        return None
    step = STEP_M * math.ceil((high - low) / STEP_M / _MOST_ROWS or 1)
    edges: Array = np.arange(math.floor(low / step), math.ceil(high / step) + 1, dtype=np.float64) * step
    if len(edges) == 1:
        edges = np.array([edges[0], edges[0] + step])
    metres = [
        np.array(
            [
                [
                    sum(crossed(c, (name,), (bottom, bottom + step), least).length_m for c in cells_of)
                    for name in SECTORS
                ]
                for bottom in edges[:-1].tolist()
            ]
        )
        for cells_of, least in zip(kinds, leasts, strict=True)
    ]
    line, corridor, overhead = metres
    found = HeightsByAspect(edges, line, corridor, overhead, _named(edges, parts, treeline_m))
    for array in (found.height_edges_m, found.line_m, found.corridor_m, found.overhead_m, found.named):
        array.flags.writeable = False
    return found


def _named(edges_m: Array, parts: Sequence[Part], treeline_m: float | None) -> NDArray[np.bool_]:
    out = np.zeros((len(parts), len(edges_m) - 1, len(SECTORS)), dtype=bool)
    for k, part in enumerate(parts):
        low, high = plain_range_m(part.elevation, treeline_m)
        rows = (edges_m[1:] > low) & (edges_m[:-1] < high)
        bits = aspect_bits(part.aspects)
        sectors = np.array([bool(bits >> s & 1) for s in range(len(SECTORS))])
        out[k] = rows[:, None] & sectors
    return out
