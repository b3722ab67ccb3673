"""Stripes and seams: steps that run through a model from end to end of its rows or columns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from steybrae.terrain.dem import Array

SEGMENT: Final = 32
"""Cells of a piece of a row or column in which steps are averaged (our choice)."""

LEAST_STRIPED: Final = 0.2
"""Share of what differs between rows that is the same in pieces of them apart (our choice: 0.06 and less on
untouched models)."""

LEAST_STRIPED_FINER: Final = 0.6
"""The same on cells made finer, where old rows show through (our choice)."""

LEAST_SEAM: Final = 12.0
"""Step over its usual spread from which it is a seam (our choice: 6 at most on untouched models)."""

LEAST_PIECES: Final = 6
"""Pieces of a line that a seam runs through at least (our choice)."""

MOST_STEP: Final = 20.0
"""Steps count at most this many times their median (our choice), so that no crag leads."""

Axis = Literal["column", "row"]


@dataclass(frozen=True)
class Seam:
    """A step along a line of the grid.

    Attributes
    ----------
    axis
        Which the line is.
    at
        Last column or row before it, of the block.
    step_m
        Its height, metres, without its sign.
    """

    axis: Axis
    at: int
    step_m: float


def steps_apart(heights_m: Array) -> Array:
    """Step between two columns beyond what their neighbours show, averaged over pieces of `SEGMENT` cells.

    ``(z1 - z0) - ((z0 - z-1) + (z2 - z1)) / 2``: a slope and an even bend leave nothing.
    """
    off = np.diff(heights_m, axis=1)
    step = off[:, 1:-1] - (off[:, :-2] + off[:, 2:]) / 2.0
    pieces, cols = step.shape[0] // SEGMENT, step.shape[1]
    if pieces == 0 or cols <= 0:
        return np.full((0, max(cols, 0)), np.nan)
    known = np.isfinite(step)
    most = MOST_STEP * float(np.median(np.abs(step[known]))) if known.any() else 0.0
    # Where half of the steps are none, as in whole metres, their mean size serves.
    most = most if most > 0.0 else MOST_STEP * float(np.abs(step[known]).mean()) if known.any() else 0.0
    cut = np.clip(step[: pieces * SEGMENT], -most, most).reshape(pieces, SEGMENT, cols)
    count = np.isfinite(cut).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count >= SEGMENT // 2, np.nansum(cut, axis=1) / count, np.nan)


def alike_of(steps: Array) -> Array:
    """Products of the steps of pieces two apart, and of each with itself; the pairs."""
    known = np.isfinite(steps)
    # A seam is one line that steps far; stripes are many.
    most = LEAST_SEAM / 3.0 * float(np.median(np.abs(steps[known]))) if known.any() else 0.0
    cut = np.clip(steps, -most, most) if most > 0.0 else steps
    one, other = cut[:-2], cut[2:]
    both = np.isfinite(one) & np.isfinite(other)
    a, b = one[both], other[both]
    return np.array([(a * b).sum(), (a * a).sum(), (b * b).sum(), len(a)])


def stripes_m(alike: Array, least: float = LEAST_STRIPED) -> float | None:
    """Tell the standard deviation of steps that run through from end to end of rows or columns, metres.

    Parameters
    ----------
    alike
        From `alike_of`, for columns and for rows, ``[axis, 4]``, added up over blocks.
    least
        Share of what differs that has to be the same.

    Returns
    -------
    float or None
        None where steps in pieces apart have nothing in common.
    """
    best = None
    for product, one, other, pairs in alike.tolist():
        if pairs >= 64 and one > 0.0 and other > 0.0 and product / math.sqrt(one * other) >= least:
            best = max(best or 0.0, math.sqrt(product / pairs))
    return best


def seams_of(steps: Array, axis: Axis) -> list[Seam]:
    """Lines whose pieces all step one way, far more than others do."""
    known = np.isfinite(steps)
    if not known.any():
        return []
    spread = 1.4826 * float(np.median(np.abs(steps[known])))
    spread = spread if spread > 0.0 else float(np.abs(steps[known]).mean())
    count = known.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.nansum(steps, axis=0) / count
        same = np.maximum((steps > 0.0).sum(axis=0), (steps < 0.0).sum(axis=0)) / count
        size = np.abs(mean) * np.sqrt(count) / spread
    found = np.flatnonzero((count >= LEAST_PIECES) & (same >= 0.9) & (size > LEAST_SEAM))
    # Beside a seam the same step is seen at half its height.
    return [
        Seam(axis, int(k) + 1, float(abs(mean[k])))
        for k in found
        if abs(mean[k]) >= np.abs(mean[max(k - 2, 0) : k + 3][count[max(k - 2, 0) : k + 3] > 0]).max()
    ]
