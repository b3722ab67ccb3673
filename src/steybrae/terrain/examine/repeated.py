"""Heights that come again from cell to cell: a median filter, and how large it was.

A median is one of the heights in its square, so that cells whose squares share that height have the very
same, however steep the ground: with squares of k cells up to ``k - 1`` cells apart, and no farther. Of
surveyed ground two cells have the same height by its rounding alone, no more often near each other than far
apart.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from steybrae.terrain.dem import Array

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
