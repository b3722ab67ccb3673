"""Heights drawn between scattered points, as plane triangles: how far apart the points are.

Programs that make a grid of points lay a plane through each three of them. Where points are fewer than
cells, some cells and their eight neighbours lie in one triangle, so that heights do not bend there in any
of four directions. Surveyed ground bends everywhere: of five alpine slopes (cells of 5 m) and of hills (1 m)
one cell in a thousand does not, by the rounding of heights to centimetres. The share of such cells
depends on nothing but how many cells apart the points lie. Slopes between them are too gentle, as those of
cells so large are.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.terrain.dem import Array

SQUARE: Final = 38
"""Side of the squares looked at one by one, cells (our choice: five in a block and its rim)."""

EVEN_M: Final = 1e-3
"""Bend of heights below which they lie in a plane, metres (our choice: eight times what single precision
keeps of 2000 m)."""

ROUNDED_M: Final = 2.5e-3
"""Least step between heights, metres, that is a rounding (our choice: finer ones hide no plane)."""

MOST_ROUNDED_M: Final = 0.05
"""Largest step between heights at which planes are told, metres (our choice): decimetres make some."""

LEAST_SHARE, LEAST_SHARE_ROUNDED = 0.0006, 0.02
"""Least share of cells in planes that tells, of heights as they are and of rounded ones (our choice: 0 and
0.006 at most of whole models, surveyed and made)."""

ROUNDING_HIDES: Final = 4.4
"""How many times smaller rounding to centimetres makes the share (simulated: 4.0 to 4.7)."""

MOST_SHARE: Final = 0.85
"""Share of cells in planes beyond which a surface was made for a trial, and is no model of ground (our
choice): points would lie more than 60 cells apart."""

LEAST_SQUARES: Final = 4
"""Fewest squares that tell (our choice)."""

_SHARES: Final = (0.0006, 0.0015, 0.004, 0.014, 0.05, 0.11, 0.17, 0.285, 0.38, 0.51, 0.63, 0.73)
_APART: Final = (2.0, 2.3, 2.7, 3.4, 4.4, 5.5, 6.5, 8.4, 10.4, 14.3, 20.0, 30.0)
"""Share of cells in planes, and how many cells apart the points lie, ``sqrt(cells / points)``: the middle
between points at random and a lattice shaken by a third of its step, which differ by up to 30 %
(simulated on 400 x 400 cells, linear in Delaunay's triangles)."""


def planes_of(heights_m: Array) -> Array:
    """Share of cells that lie in a plane with their eight neighbours, square by square.

    Parameters
    ----------
    heights_m
        ``[row, col]`` of a block, metres; NaN unknown.

    Returns
    -------
    Array
        ``(squares, 2)``, of squares of which half and more is known: the share of what is known, and the
        step of all heights in metres, 0 where no cell lies in a plane. Level cells count as none that do:
        lakes are level.
    """
    own = heights_m[1:-1, 1:-1]
    known = np.isfinite(own)
    even: NDArray[np.bool_] = known.copy()
    level: NDArray[np.bool_] = known.copy()
    rows, cols = heights_m.shape
    for down, on in ((0, 1), (1, 0), (1, 1), (1, -1)):
        before = heights_m[1 - down : rows - 1 - down, 1 - on : cols - 1 - on]
        after = heights_m[1 + down : rows - 1 + down, 1 + on : cols - 1 + on]
        even &= np.abs(before + after - 2.0 * own) < EVEN_M
        level &= np.abs(after - before) < EVEN_M
    planes, of = _counts(even & ~level), _counts(known)
    told = 2 * of >= SQUARE**2
    share = planes[told] / of[told]
    return np.stack((share, np.full(len(share), _step_m(heights_m) if share.any() else 0.0)), axis=-1)


def _counts(cells: NDArray[np.bool_]) -> Array:
    high, wide = (size // SQUARE for size in cells.shape)
    squares = cells[: high * SQUARE, : wide * SQUARE].reshape(high, SQUARE, wide, SQUARE)
    return np.asarray(squares.sum(axis=(1, 3), dtype=float).reshape(-1))


def _step_m(heights_m: Array) -> float:
    """Step between heights, metres: what all but a hundredth of neighbours by height differ by at least."""
    known = np.sort(heights_m[np.isfinite(heights_m)])
    gaps = np.diff(known)
    gaps = gaps[gaps > EVEN_M / 2.0]
    return float(np.quantile(gaps, 0.01)) if len(gaps) else 0.0


def cells_apart(planes: Array) -> float:
    """How many cells apart the points lie that heights were drawn between.

    Parameters
    ----------
    planes
        From `planes_of`, of all blocks.

    Returns
    -------
    float
        Cells on the mean, 30 at most; 1 where nothing tells that there are fewer points than cells, where
        heights are rounded to more than `MOST_ROUNDED_M`, and where nearly all is planes (`MOST_SHARE`). By
        the square in the middle, so that gaps filled up here and there do not count for the whole.
    """
    if len(planes) < LEAST_SQUARES:
        return 1.0
    share, step_m = float(np.median(planes[:, 0])), float(np.max(planes[:, 1]))
    least, times = (LEAST_SHARE_ROUNDED, ROUNDING_HIDES) if step_m >= ROUNDED_M else (LEAST_SHARE, 1.0)
    told = times * share >= least and share <= MOST_SHARE and step_m <= MOST_ROUNDED_M
    return float(np.interp(times * share, _SHARES, _APART)) if told else 1.0
