"""Terraces: models drawn from contours keep them."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.quantities import FOOT_M, LAND_HEIGHTS_M
from steybrae.terrain.dem import Array

BIN_M: Final = 0.25
"""Step of the count of heights, metres (our choice): contours lie 5 m apart and more."""

INTERVALS_M: Final = tuple(
    sorted(
        (5.0, 10.0, 20.0, 25.0, 30.0, 40.0, 50.0, 100.0, *(FOOT_M * n for n in (20, 40, 50, 80, 100, 200)))
    )
)
"""Contour intervals of maps, metres."""

LEAST_TERRACE: Final = 30.0
"""Power of a line over the median beside it from which heights or bends crowd at contours (our choice:
untouched models stay below 17)."""

HEIGHT_WINDOW_M: Final = (5.0, 110.0)
"""Heights apart at which such lines are looked for, metres; shorter ones are their multiples."""


def _bends(heights_m: Array) -> Array:
    """How much the ground bends at a cell: the sum of its second differences, without its sign."""
    inside = heights_m[1:-1, 1:-1]
    beside = heights_m[1:-1, 2:] + heights_m[1:-1, :-2] + heights_m[2:, 1:-1] + heights_m[:-2, 1:-1]
    return np.asarray(np.abs(beside - 4.0 * inside))


def crowd_of(heights_m: Array) -> Array:
    """Count the heights of a block in steps of `BIN_M`, and again by how much the ground bends there.

    A bend b, the sum of the second differences, counts as ``b / (b + r)`` with r the root mean square in
    the block.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN unknown.

    Returns
    -------
    Array
        ``[2, step]`` from the lowest land on; see `steybrae.quantities.LAND_HEIGHTS_M`.
    """
    low, high = LAND_HEIGHTS_M
    out = np.zeros((2, math.ceil((high - low) / BIN_M) + 2))
    bend, height = _bends(heights_m), heights_m[1:-1, 1:-1]
    here = np.isfinite(bend) & (height >= low) & (height <= high)
    if not here.any():
        return out
    bend, height = bend[here], height[here]
    root = float(np.sqrt(np.mean(bend**2)))
    weight = bend / (bend + root) if root > 0.0 else np.zeros_like(bend)
    place = (height - low) / BIN_M
    first = place.astype(int)
    # Shared between the two steps around it: heights that come in steps of their own would beat with ours.
    for step, part in ((first, first + 1.0 - place), (first + 1, place - first)):
        out[0] += np.bincount(step, weights=part, minlength=out.shape[1])
        out[1] += np.bincount(step, weights=part * weight, minlength=out.shape[1])
    return out


def terrace_interval_m(crowd: Array) -> float | None:
    """Contour interval at whose multiples heights, or bends of the ground, crowd.

    Models drawn from contours keep them: flat tops and edges lie at their heights ("ghost contours": Guth
    (1999), Photogrammetric Engineering 65, 289-296; from memory). In the periodogram of how often each
    height occurs, and of how much the ground bends there, they are lines at ``1 / interval`` and its
    multiples; ground has none.

    Parameters
    ----------
    crowd
        From `crowd_of`, added up over blocks.

    Returns
    -------
    float or None
        Metres; None where there is no such line.
    """
    count, weight = crowd
    used = np.flatnonzero(count)
    if len(used) == 0 or (used[-1] - used[0]) * BIN_M < 2.0 * HEIGHT_WINDOW_M[0]:
        return None
    part = slice(int(used[0]), int(used[-1]) + 1)
    count, weight = count[part], weight[part]
    bend = weight - count * (weight.sum() / count.sum())
    lines = [line for series in (count, bend) for line in _lines(series)]
    if not lines:
        return None
    for interval in INTERVALS_M:
        turns = np.array(lines) * interval
        if (np.abs(turns - np.round(turns)) < 0.08).mean() >= 0.8 and (turns > 0.5).all():
            return interval
    return float(1.0 / min(lines))


def _lines(series: Array) -> list[float]:
    """Lines in the periodogram of a series over heights, each 1 / metres."""
    size = 1 << max(14, (2 * len(series)).bit_length())
    power = np.abs(np.fft.rfft(series * np.hanning(len(series)), size)) ** 2
    per_m = np.fft.rfftfreq(size, BIN_M)
    first, last = np.searchsorted(per_m, (1.0 / HEIGHT_WINDOW_M[1], 1.0 / HEIGHT_WINDOW_M[0] + 0.02))
    inside = power[first:last]
    top = np.flatnonzero((inside[1:-1] >= inside[:-2]) & (inside[1:-1] >= inside[2:])) + first + 1
    beside = [float(np.median(power[int(0.8 * k) : int(1.25 * k) + 1])) for k in top]
    return [
        float(per_m[k])
        for k, usual in zip(top, beside, strict=True)
        if usual > 0.0 and power[k] > LEAST_TERRACE * usual
    ]
