"""Heights drawn between scattered points, as plane triangles: how far apart the points are, and gaps.

Programs that make a grid of points lay a plane through each three of them. Where points are fewer than
cells, some cells and their eight neighbours lie in one triangle, so that heights do not bend there in any
of four directions. Surveyed ground bends everywhere: of five alpine slopes (cells of 5 m) and of hills (1 m)
one cell in a thousand does not, by the rounding of heights to centimetres. The share of such cells
depends on nothing but how many cells apart the points lie. Slopes between them are too gentle, as those of
cells so large are. In a model of surveyed ground such planes are gaps that were filled up: what lies in them
is not known.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
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

GAP_SIDE: Final = 8
"""Side of the squares that may be gaps filled up, cells (our choice)."""

GAP_PLANES, GAP_PLANES_ROUNDED = 4, 8
"""Fewest cells of the inner 6 x 6 of such a square that lie in a plane with their neighbours, of heights as
they are and of rounded ones (our choice; surveyed ground has 3 and 6 at most in 23 000 squares)."""

LEAST_ROUNDED_CELL_M: Final = 4.0
"""Least cell at which gaps are told of rounded heights, metres (our choice): on finer ones a meadow bends
less than its heights are rounded."""

MOST_GAP_ROUNDED_M: Final = 0.02
"""Largest step between heights at which gaps are told, metres (our choice)."""

_SHARES: Final = (0.0006, 0.0015, 0.004, 0.014, 0.05, 0.11, 0.17, 0.285, 0.38, 0.51, 0.63, 0.73)
_APART: Final = (2.0, 2.3, 2.7, 3.4, 4.4, 5.5, 6.5, 8.4, 10.4, 14.3, 20.0, 30.0)
"""Share of cells in planes, and how many cells apart the points lie, ``sqrt(cells / points)``: the middle
between points at random and a lattice shaken by a third of its step, which differ by up to 30 %
(simulated on 400 x 400 cells, linear in Delaunay's triangles)."""

_DIRECTIONS: Final = ((0, 1), (1, 0), (1, 1), (1, -1))


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
    planes, of = _counts(_in_planes(heights_m, EVEN_M)), _counts(np.isfinite(heights_m[1:-1, 1:-1]))
    told = 2 * of >= SQUARE**2
    share = planes[told] / of[told]
    return np.stack((share, np.full(len(share), _step_m(heights_m) if share.any() else 0.0)), axis=-1)


def _in_planes(heights_m: Array, bend_m: float) -> NDArray[np.bool_]:
    """Whether cells lie in a plane with their neighbours and are not level, without the outer ring."""
    own = heights_m[..., 1:-1, 1:-1]
    even = np.isfinite(own)
    level = np.ones(own.shape, dtype=bool)
    rows, cols = heights_m.shape[-2:]
    for down, on in _DIRECTIONS:
        before = heights_m[..., 1 - down : rows - 1 - down, 1 - on : cols - 1 - on]
        after = heights_m[..., 1 + down : rows - 1 + down, 1 + on : cols - 1 + on]
        even &= np.abs(before + after - 2.0 * own) < bend_m
        level &= np.abs(after - before) < bend_m
    return np.asarray(even & ~level)


def _counts(cells: NDArray[np.bool_]) -> Array:
    high, wide = (size // SQUARE for size in cells.shape)
    squares = cells[: high * SQUARE, : wide * SQUARE].reshape(high, SQUARE, wide, SQUARE)
    return np.asarray(squares.sum(axis=(1, 3), dtype=float).reshape(-1))


def _step_m(heights_m: Array) -> float:
    """Step between heights, metres: what all but a hundredth of neighbours by height differ by at least."""
    known = np.sort(heights_m[np.isfinite(heights_m)])
    gaps = np.diff(known)
    gaps = gaps[gaps > EVEN_M / 2.0]
    if len(gaps) == 0:
        return 0.0
    # As np.quantile, which loads masked arrays for it: a hundredth of the time of a small answer.
    at = 0.01 * (len(gaps) - 1)
    ends = math.floor(at), math.ceil(at)
    return float(np.interp(at, ends, np.partition(gaps, ends)[list(ends)]))


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


@dataclass(frozen=True)
class GapRule:
    """How gaps that were filled with planes are told in a model.

    Attributes
    ----------
    bend_m
        Bend of heights below which they lie in a plane, metres.
    planes
        Fewest cells of a square that do.
    """

    bend_m: float
    planes: int


WIDEST_RULE: Final = GapRule(1.1 * MOST_GAP_ROUNDED_M, GAP_PLANES)
"""Finds what any of the others finds, and more."""


def gap_rule(heights_m: Array, cell_m: float) -> GapRule | None:
    """Say how gaps show in a model whose ground bends everywhere else.

    Parameters
    ----------
    heights_m
        ``(n, side, side)``, squares from all over it, metres; NaN unknown.
    cell_m
        Side of a cell, metres.

    Returns
    -------
    GapRule or None
        None where planes tell nothing: fewer than 16 squares, planes all over, coarse rounding, or
        rounding on fine cells.
    """
    step_m = _step_m(heights_m.reshape(-1)[::7])
    rule = GapRule(1.1 * step_m, GAP_PLANES_ROUNDED) if step_m >= ROUNDED_M else GapRule(EVEN_M, GAP_PLANES)
    if step_m > MOST_GAP_ROUNDED_M or (step_m >= ROUNDED_M and cell_m < LEAST_ROUNDED_CELL_M):
        return None
    known = np.isfinite(heights_m[:, 1:-1, 1:-1]).sum(axis=(1, 2))
    share = _in_planes(heights_m, rule.bend_m).sum(axis=(1, 2))[known > 0] / known[known > 0]
    return rule if len(share) >= 16 and float(np.median(share)) < LEAST_SHARE else None


def gap_squares(numbers: NDArray[Any], step_m: float, row: int, col: int, rule: GapRule) -> NDArray[np.intp]:
    """Squares that lie in planes, ``(n, 2)``: row and column of their first cells.

    Side by side from the first cell of the model, so that a window holds those of any wider one that lie
    in it. Level ones are none.

    Parameters
    ----------
    numbers
        ``[row, col]`` of a window; not finite is unknown.
    step_m
        Metres in one step of them.
    row, col
        Of its first cell in the model.
    rule
        From `gap_rule`.
    """
    rows, cols = numbers.shape
    bend = rule.bend_m / abs(step_m)
    # What lies in a plane is even along the rows before and after it too: two rows of each square tell.
    asked = np.flatnonzero(np.isin((row + np.arange(rows)) % GAP_SIDE, (2, 5)))
    asked = asked[(asked >= 2) & (asked < rows - 2)]
    with np.errstate(invalid="ignore", over="ignore"):
        some = numbers[asked].astype(float)
        at, i = np.nonzero(np.abs(some[:, 2:] + some[:, :-2] - 2.0 * some[:, 1:-1]) < bend)
        j = (asked[at] + np.array([[-1], [0], [1]])).reshape(-1)
        i = np.tile(i + 1, 3)
        within = (col + i) % GAP_SIDE
        inner = (within > 0) & (within < GAP_SIDE - 1)
        j, i = j[inner], i[inner]
        level = np.ones(len(j), dtype=bool)
        for down, on in _DIRECTIONS:
            # In double precision, so that readers in single precision say the same.
            before, own, after = (
                numbers[j + k * down, i + k * on].astype(float, copy=False) for k in (-1, 0, 1)
            )
            plane = np.abs(before + after - 2.0 * own) < bend
            level = level[plane] & (np.abs(after - before)[plane] < bend)
            j, i = j[plane], i[plane]
    first = np.stack(
        ((row + j) // GAP_SIDE * GAP_SIDE - row, (col + i) // GAP_SIDE * GAP_SIDE - col), axis=-1
    )
    squares, count = np.unique(first[~level], axis=0, return_counts=True)
    whole = (squares >= 0).all(axis=1) & (squares + GAP_SIDE <= (rows, cols)).all(axis=1)
    return np.asarray(squares[whole & (count >= rule.planes)], dtype=np.intp)
