"""Drops: ground so steep over its own cells that a person falls, whatever the snow."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array

DROP_DEG: Final = 55.0
"""Ground steeper than this from cell to cell is part of a drop, degrees: above the start range."""

DROP_M: Final = 5.0
"""Least height of a drop, metres (our choice)."""

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
    most = np.zeros(heights_m.size)
    for step in _DIRECTIONS:
        length = float(np.hypot(*(jacobian @ np.array(step, dtype=float))))
        fall = (heights_m - _shifted(heights_m, step)).ravel()
        least = math.tan(math.radians(DROP_DEG)) * length
        stride = step[1] * heights_m.shape[1] + step[0]
        for sign in (1.0, -1.0):
            with np.errstate(invalid="ignore"):
                steep = np.flatnonzero(sign * fall > least)
            if len(steep):
                cell, face_m = _faces(steep, np.abs(fall[steep]), stride)
                most[cell] = np.maximum(most[cell], face_m)
    return np.where(most >= DROP_M, most, 0.0).reshape(heights_m.shape)


def _faces(steep: NDArray[np.intp], fall_m: Array, stride: int) -> tuple[NDArray[np.intp], Array]:
    """Cells of faces and the fall of the whole face, from the cells whose next one lies steeply below.

    Those that follow each other at a stride are one face; none begins in the last row or column, so that
    none goes on at the other side. Only steep cells cost anything: there are few.
    """
    order = np.lexsort((steep, steep % abs(stride)))
    order = order if stride > 0 else order[::-1]
    steep, fall_m = steep[order], fall_m[order]
    first = np.flatnonzero(np.diff(steep, prepend=steep[0] - 2 * stride) != stride)
    last = np.append(first[1:], len(steep)) - 1
    whole_m = np.add.reduceat(fall_m, first)
    cells = np.concatenate((steep, steep[last] + stride))
    return cells, np.concatenate((np.repeat(whole_m, last - first + 1), whole_m))


def _shifted(values: Array, step: tuple[int, int]) -> Array:
    """Value of the cell a step in column and row away; NaN beyond the edge."""
    col, row = step
    out = np.full(values.shape, np.nan)
    rows, cols = values.shape
    here = (slice(max(-row, 0), rows - max(row, 0)), slice(max(-col, 0), cols - max(col, 0)))
    there = (slice(max(row, 0), rows + min(row, 0)), slice(max(col, 0), cols + min(col, 0)))
    out[here] = values[there]
    return out
