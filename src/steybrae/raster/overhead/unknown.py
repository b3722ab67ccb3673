"""Where unknown ground could look down: the places whose answer is "or more".

Looked up at on a coarse raster, in one piece, always to the careful side. Unknown ground is taken to
rise from the known ground around it at `UNKNOWN_RISE_DEG`, and snow from it to run as flat as
`LEAST_SIGHT_DEG`, whatever lies between. Beyond the edge of the model all is unknown.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.overhead.kernel import lower
from steybrae.raster.overhead.steps import shortest_share
from steybrae.terrain.overhead.ground import LEAST_SIGHT_DEG, UNKNOWN_RISE_DEG, ceiling_m

__all__ = ["overlooked_by_unknown"]

Mask = NDArray[np.bool_]


def overlooked_by_unknown(
    low_m: NDArray[Any], unknown: Mask, cell_m: tuple[float, float], reach_m: float
) -> Mask:
    """Which coarse cells unknown ground could look down on at `LEAST_SIGHT_DEG` or more.

    With unknown ground at x from the known and a place at D from it on the other side,
    ``rise tan(45) x >= tan(18) (x + D)`` and ``x + D <= reach``: unknown ground matters as far as
    ``x = reach tan(18) / tan(45)`` from the known.

    Parameters
    ----------
    low_m
        Height of the lowest known ground in each coarse cell, ``[row, col]``, metres; NaN where none
        is known.
    unknown
        Whether any of its ground is unknown.
    cell_m
        Ground length of a coarse column and row, metres, no longer than anywhere on the raster.
    reach_m
        How far is looked, metres.

    Returns
    -------
    Mask
        ``[row, col]``; true where unknown ground could look down on any of its known cells.
    """
    rise, loss = (math.tan(math.radians(deg)) for deg in (UNKNOWN_RISE_DEG, LEAST_SIGHT_DEG))
    deep_m = reach_m * loss / rise
    pad = [(math.ceil(deep_m / size) + 1,) * 2 for size in reversed(cell_m)]
    low = np.pad(low_m.astype(np.float64), pad, constant_values=np.nan)
    may = np.pad(unknown, pad, constant_values=True) | np.isnan(low)
    across, down = cell_m
    # Every distance is between centres; the corners of two cells are so much nearer or farther.
    corner_m = math.hypot(across, down)
    ceiling = ceiling_m(low, cell_m) + rise * (across + down)
    known_m = ceiling_m(np.where(np.isnan(low), np.nan, 0.0), cell_m) / rise
    heads = np.where(may & (known_m <= deep_m + corner_m) & np.isfinite(ceiling), ceiling, -np.inf)
    steps = np.array([(across, 0.0), (0.0, down), (across, down), (across, -down)])
    share = float(shortest_share(steps))
    lower(heads, *(loss * share * length for length in (down, across, corner_m)))
    inside = tuple(slice(size[0], -size[0]) for size in pad)
    with np.errstate(invalid="ignore"):
        out: Mask = (heads + loss * corner_m >= low)[inside]
    return out
