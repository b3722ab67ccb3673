"""Where unknown ground could look down: the places whose answer is "or more".

By the rule of `steybrae.terrain.overhead.unknown`, on a coarse raster and in one piece, always to the
careful side: a coarse cell stands for the lowest of its cells, for the nearest way between any of its
cells and any unknown one, and sees all known ground within reach of any of them. Beyond the edge of the
model all is unknown; slopes at its rim are already.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG, UNKNOWN_NEAR_M

Mask = NDArray[np.bool_]
Heights = NDArray[Any]


def overlooked_by_unknown(
    ends_m: tuple[Heights, Heights], unknown: Mask, side: int, cell_m: tuple[float, float], reach_m: float
) -> Mask:
    """Which coarse cells unknown ground could look down on.

    Parameters
    ----------
    ends_m
        Heights of the lowest and of the highest known ground in each coarse cell, ``[row, col]``, metres;
        NaN where none is known.
    unknown
        Whether any slope in it is unknown.
    side
        Cells along the side of a coarse cell.
    cell_m
        Ground length of a column and a row of cells, metres, no longer than anywhere on the raster.
    reach_m
        How far is looked, metres.

    Returns
    -------
    Mask
        ``[row, col]``; true where unknown ground could look down on any of its known cells.
    """
    low, high = ends_m
    coarse_m = side * cell_m[0], side * cell_m[1]
    # From the middle of a coarse cell to that of its outermost cell, at both ends of a way; unknown
    # ground begins at the edge of its cell.
    corner_m = (side - 1) * math.hypot(*cell_m)
    far_m = reach_m + corner_m + max(cell_m) / 2.0
    nearest_m = np.maximum(_nearest_m(unknown, coarse_m, far_m) - (far_m - reach_m), 0.0)
    with np.errstate(invalid="ignore"):
        rise = _highest(high, coarse_m, reach_m + corner_m) - low
        steep = rise >= math.tan(math.radians(PLACE_SIGHT_DEG)) * nearest_m
    out: Mask = (nearest_m <= reach_m) & (steep | (nearest_m <= UNKNOWN_NEAR_M)) & ~np.isnan(low)
    return out


def _nearest_m(mask: Mask, cell_m: tuple[float, float], far_m: float) -> Heights:
    """Distance from the middle of each cell to that of the nearest one in a mask; infinite beyond `far_m`."""
    across, down = cell_m
    rows = np.arange(len(mask), dtype=np.float32)[:, None]
    above = np.maximum.accumulate(np.where(mask, rows, -np.inf), axis=0)
    below = np.minimum.accumulate(np.where(mask, rows, np.inf)[::-1], axis=0)[::-1]
    along2 = np.square(np.minimum(rows - above, below - rows) * np.float32(down))
    best2 = along2.copy()
    for step in range(1, min(math.ceil(far_m / across), mask.shape[1] - 1) + 1):
        off2 = np.float32((step * across) ** 2)
        for to, of in ((slice(step, None), slice(None, -step)), (slice(None, -step), slice(step, None))):
            np.minimum(best2[:, to], along2[:, of] + off2, out=best2[:, to])
    found: Heights = np.sqrt(best2)
    found[found > far_m] = np.inf
    return found


def _highest(high_m: Heights, cell_m: tuple[float, float], reach_m: float) -> Heights:
    """Greatest height whose middle lies within reach of that of each cell; minus infinity where none is."""
    across, down = cell_m
    rows, cols = high_m.shape
    most = min(math.floor(reach_m / across), cols - 1)
    padded = np.full((rows, cols + 2 * most), -np.inf, np.float32)
    np.fmax(high_m, np.float32(-np.inf), out=padded[:, most : most + cols])
    # Greatest over 1, 2, 4, ... cells to the right: any window is covered by two of them.
    over = [padded]
    while 2 ** len(over) <= 2 * most + 1:
        half = 2 ** (len(over) - 1)
        over.append(np.maximum(over[-1][:, :-half], over[-1][:, half:]))
    out = np.full(high_m.shape, -np.inf, np.float32)
    for step in range(min(math.floor(reach_m / down), rows - 1) + 1):
        half = min(math.floor(math.sqrt(reach_m**2 - (step * down) ** 2) / across), most)
        level = (2 * half + 1).bit_length() - 1
        first, last = most - half, most + half + 1 - 2**level
        row = np.maximum(over[level][:, first : first + cols], over[level][:, last : last + cols])
        np.maximum(out[step:], row[: rows - step], out=out[step:])
        np.maximum(out[: rows - step], row[step:], out=out[: rows - step])
    return out
