"""Drops: ground so steep over its own cells that a person falls, whatever the snow."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.terrain.dem import Array

__all__ = ["DROP_DEG", "DROP_M", "drop_m"]

DROP_DEG: Final = 55.0
"""Ground steeper than this from cell to cell is part of a drop, degrees: above the start range."""

DROP_M: Final = 5.0
"""Least height of a drop, metres (our choice)."""

MOST_STEPS: Final = 100
"""Cells that one face is followed for; a higher one is told lower (our choice)."""

_DIRECTIONS: Final = ((0, 1), (1, -1), (1, 0), (1, 1))
"""Steps in column and row to half of the eight neighbours; the others are these reversed."""


def drop_m(heights_m: Array, jacobian: Array) -> Array:
    """Height of the drop that each cell is part of.

    Along the rows, the columns and both diagonals, steps from cell to cell that fall at more than
    `DROP_DEG` are added up as long as they follow each other; the first and last cell of such a
    face are part of it. Nothing is interpolated or joined: a model shows no drop that is narrower
    than its cells.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN unknown, and no drop is found next to it.
    jacobian
        ``(2, 2)``, ground metres per cell.

    Returns
    -------
    Array
        Metres, `DROP_M` or more; 0 where there is none.
    """
    most = np.zeros(heights_m.shape)
    for step in _DIRECTIONS:
        length = float(np.hypot(*(jacobian @ np.array(step, dtype=float))))
        fall = heights_m - _shifted(heights_m, step)
        least = math.tan(math.radians(DROP_DEG)) * length
        for sign in (1.0, -1.0):
            with np.errstate(invalid="ignore"):
                steep = np.where(sign * fall > least, sign * fall, 0.0)
            if steep.any():
                np.maximum(most, _face(steep, step), out=most)
    return np.where(most >= DROP_M, most, 0.0)


def _face(steep: Array, step: tuple[int, int]) -> Array:
    """Sum of the steep steps before and after each cell; `steep` is that from a cell to the next."""
    back = (-step[0], -step[1])
    into = np.nan_to_num(_shifted(steep, back))
    after, before = steep, into
    for _ in range(MOST_STEPS):
        more = np.where(steep > 0.0, steep + np.nan_to_num(_shifted(after, step)), 0.0)
        if np.array_equal(more, after):
            break
        after = more
    for _ in range(MOST_STEPS):
        more = np.where(into > 0.0, into + np.nan_to_num(_shifted(before, back)), 0.0)
        if np.array_equal(more, before):
            break
        before = more
    out: Array = after + before
    return out


def _shifted(values: Array, step: tuple[int, int]) -> Array:
    """Value of the cell a step in column and row away; NaN beyond the edge."""
    col, row = step
    out = np.full(values.shape, np.nan)
    rows, cols = values.shape
    here = (slice(max(-row, 0), rows - max(row, 0)), slice(max(-col, 0), cols - max(col, 0)))
    there = (slice(max(row, 0), rows + min(row, 0)), slice(max(col, 0), cols + min(col, 0)))
    out[here] = values[there]
    return out
