"""Marks of how a model was made: stripes and seams from end to end, terraces from contours, a median filter.

A median is one of the heights in its square, so that cells whose squares share that height have the very
same, however steep the ground: with squares of k cells up to ``k - 1`` cells apart, and no farther. Of
surveyed ground two cells have the same height by its rounding alone, no more often near each other than far
apart.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from steybrae.frozen import dataclass
from steybrae.quantities import FOOT_M, LAND_HEIGHTS_M
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import median

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
    """A step along a line of the grid on an axis, after this column or row of the block; metres, unsigned."""

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
    most = MOST_STEP * float(median(np.abs(step[known]))) if known.any() else 0.0
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
    most = LEAST_SEAM / 3.0 * float(median(np.abs(steps[known]))) if known.any() else 0.0
    cut = np.clip(steps, -most, most) if most > 0.0 else steps
    one, other = cut[:-2], cut[2:]
    both = np.isfinite(one) & np.isfinite(other)
    a, b = one[both], other[both]
    return np.array([(a * b).sum(), (a * a).sum(), (b * b).sum(), len(a)])


def stripes_m(alike: Array, least: float = LEAST_STRIPED) -> float | None:
    """Tell the standard deviation of steps that run through from end to end of rows or columns, metres.

    `alike` comes from `alike_of`, for columns and for rows, added up over blocks; the share `least`
    of what differs has to be the same. None where steps in pieces apart have nothing in common.
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
    spread = 1.4826 * float(median(np.abs(steps[known])))
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

    A bend b, the sum of the second differences, counts as ``b / (b + r)`` with r the root mean
    square in the block. ``[2, step]`` from the lowest land on; see
    `steybrae.quantities.LAND_HEIGHTS_M`.
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
    """Contour interval at whose multiples heights, or bends of the ground, crowd, metres.

    Models drawn from contours keep them: flat tops and edges lie at their heights ("ghost
    contours": Guth (1999), Photogrammetric Engineering 65, 289-296; from memory). In the
    periodogram of how often each height occurs, and of how much the ground bends there (`crowd_of`,
    added up over blocks), they are lines at ``1 / interval`` and its multiples; ground has none.
    None where there is no such line, or one alone at no map's interval: of 2800 sums of two to four
    blocks of untouched models two had a line by chance.
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
    return float(1.0 / min(lines)) if len(lines) > 1 else None


def _lines(series: Array) -> list[float]:
    """Lines in the periodogram of a series over heights, each 1 / metres."""
    size = 1 << max(14, (2 * len(series)).bit_length())
    power = np.abs(np.fft.rfft(series * np.hanning(len(series)), size)) ** 2
    per_m = np.fft.rfftfreq(size, BIN_M)
    first, last = np.searchsorted(per_m, (1.0 / HEIGHT_WINDOW_M[1], 1.0 / HEIGHT_WINDOW_M[0] + 0.02))
    inside = power[first:last]
    top = np.flatnonzero((inside[1:-1] >= inside[:-2]) & (inside[1:-1] >= inside[2:])) + first + 1
    beside = [float(median(power[int(0.8 * k) : int(1.25 * k) + 1])) for k in top.tolist()]
    return [
        float(per_m[k])
        for k, usual in zip(top, beside, strict=True)
        if usual > 0.0 and power[k] > LEAST_TERRACE * usual
    ]


NEAR: Final = tuple(range(1, 9))
"""Distances at which heights are compared, cells: squares of 9 cells reach as far."""

FAR: Final = (12, 13, 14)
"""Distances that tell how often two heights are the same by chance, cells (our choice)."""

STEEP: Final = 0.3
"""Gradient of a cell and its eight neighbours from which it is asked (our choice): level ground and shores
have many equal heights."""

ALIKE: Final = 0.05
"""Difference up to which heights are held against those that are the same, in cells (our choice)."""

LEAST_PAIRS: Final = 30
"""Fewest pairs at a distance that tell (our choice)."""

LEAST_MORE: Final = 0.05
"""By how much more often than by chance, and two standard deviations of that, heights come again, as a share
of those so alike (our choice: 0.06 and more on most medians, 0.01 at most on ground)."""

LEAST_REACH: Final = 3
"""Fewest cells over which they do (our choice): medians of 3 by 3 cells reach 2, and their intervals hold."""


def repeats_of(heights_m: Array, cell_m: tuple[float, float]) -> Array:
    """Count pairs of steep cells by distance: those of the same height, and all that are alike."""
    counts = np.zeros((len(NEAR) + len(FAR), 2))
    if min(heights_m.shape) < 5:
        return counts
    inner = heights_m[1:-1, 1:-1]
    across = (heights_m[1:-1, 2:] - heights_m[1:-1, :-2]) / (2.0 * cell_m[0])
    down = (heights_m[2:, 1:-1] - heights_m[:-2, 1:-1]) / (2.0 * cell_m[1])
    steep = np.hypot(across, down) >= STEEP
    rows, cols = (size - 2 for size in inner.shape)
    around = np.all([steep[i : i + rows, j : j + cols] for i in range(3) for j in range(3)], axis=0)
    asked = np.where(around, inner[1:-1, 1:-1], np.nan)
    for k, apart in enumerate((*NEAR, *FAR)):
        for one in (asked, asked.T):
            off = np.abs(one[apart:] - one[:-apart])
            counts[k] += np.count_nonzero(off == 0.0), np.count_nonzero(off <= ALIKE * min(cell_m))
    return counts


def median_times(repeats: Array) -> float:
    """How many times larger cells are that show no more than a model after a median filter.

    Half of how far heights come again: of medians of 5, 7 and 9 cells 2, 3 and 4 (measured on five
    alpine slopes; so 1 % of the ground is steeper than the upper end, and 2 to 23 % without). 1 where
    nothing tells of one.
    """
    same, alike = repeats.T
    if alike.min() < LEAST_PAIRS:
        return 1.0
    near = len(NEAR)
    chance = same[near:].sum() / alike[near:].sum()
    least = chance + LEAST_MORE + 2.0 * np.sqrt(chance * (1.0 - chance) / alike[:near])
    more = same[:near] / alike[:near] >= least
    reach = near if more.all() else int(np.argmin(more))
    return reach / 2.0 if reach >= LEAST_REACH else 1.0
