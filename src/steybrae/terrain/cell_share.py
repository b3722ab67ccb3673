"""How far a slope can lie from the ground's because heights stand only at cells.

Between cell and ground lies relief that the cells do not show. How much of it there is, the model
itself tells: where the slope changes from cell to cell, it also changes within them. Roughness
``A8`` is the root of the mean square, over the eight neighbours, of neighbour's slope less own.
With the ratio ``r = cell / baseline`` the 95 % ends of the slope over the baseline are, in degrees,

    down = s (a + k A8),  a = 0.5 + 1.7 (r - 0.5),  k = 1.0, 1.2, 1.3, 1.3 at r = 0.5, 1, 1.5, 2
    up   = s (a + k A8),  a = 0.5 + 4.5 (r - 0.5),  k = 1.0, 1.45, 1.7, 1.8

linear between, ``a = 0.5`` and ``k = sqrt(2 r)`` below 0.5, and ``s`` rising from 1 at 40 to 1.3 at
50 degrees of slope. The ends are lopsided where cells flatten. The figures were fitted on airborne
lidar models of five alpine slopes (cells of 5 m) and of hills (1 m), each made coarser by block means
and by taking every n-th height, and rounded upwards; ``tests/benchmarks/README.md`` has what they
hold. They stand for cells of 1 to 40 m and baselines up to 50 m.

The steepest on a **line** has shares of its own, `line_share_deg`. Its low end is the largest of the cells
that the line touches, its high end the largest of those and the eight around each. A cell's own ends pay
for a grid that lies half a cell off: along a line the cells around do that, and the largest of many ends
holds far more than each. The outermost have no neighbour there, and ask for some degrees however smooth
they are. Where cells are as long as the baseline, the steepest of many pieces asks for more.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from steybrae.terrain.dem import Array

OPEN_CELLS_M: Final = 40.0
"""Largest cell, metres, for which an upper end was measured; above it how much steeper is not known."""

MIDDLING_DEG: Final = 2.7
"""Roughness of middling alpine ground, degrees: the median of five slopes, 2.5 to 3.0 for cells of 10 to
30 m. For words on a whole model; no figure of a place rests on it."""

_RATIOS: Final = (0.5, 1.0, 1.5, 2.0)
_DOWN_K: Final = (1.0, 1.2, 1.3, 1.3)
_UP_K: Final = (1.0, 1.45, 1.7, 1.8)
_STRIP_ROWS: Final = 32
_LINE_DOWN, _LINE_RATIOS, _LINE_UP = 0.45, (0.5, 0.8), (0.4, 1.3)
_OUTER_RATIOS, _OUTER_DEG = (0.0, 0.5, 1.0), (0.0, 1.9, 0.0)
_LEAST_DEG, _DOWN_RISE_DEG, _UP_RISE_DEG = 0.5, 1.7, 4.5
_STEEP_FROM_DEG, _STEEP_TO_DEG, _STEEP_SHARE = 40.0, 50.0, 0.3


def roughness_deg(slope_deg: Array) -> Array:
    """Root mean square, over the eight neighbours, of neighbour's slope less own.

    ``A8 = sqrt(mean((s_i - s_0)^2))``, an index of how much the slope varies within cells.

    Parameters
    ----------
    slope_deg
        Slope of cells over two cells (Horn), ``[row, col]``, degrees; NaN unknown.

    Returns
    -------
    Array
        Degrees, same shape; NaN where one of the nine is unknown, and in the outer ring.
    """
    out = np.full_like(slope_deg, np.nan)
    rows, cols = slope_deg.shape
    if rows < 3 or cols < 3:
        return out
    # A strip of rows at a time stays in the processor's cache.
    for top in range(1, rows - 1, _STRIP_ROWS):
        end = min(top + _STRIP_ROWS, rows - 1)
        _mean_square(slope_deg[top - 1 : end + 1], out[top:end, 1:-1])
    return np.sqrt(out, out=out)


def _mean_square(slope_deg: Array, out: Array) -> None:
    """Mean square of neighbour's slope less own, of all but the outer ring of a strip."""
    rows, cols = slope_deg.shape
    # From a cell to the next on, down and askew: the square is the same there and back.
    along, down = np.square(slope_deg[:, 1:] - slope_deg[:, :-1]), np.square(slope_deg[1:] - slope_deg[:-1])
    fall = np.square(slope_deg[1:, 1:] - slope_deg[:-1, :-1])
    rise = np.square(slope_deg[1:, :-1] - slope_deg[:-1, 1:])
    inside, on = slice(1, rows - 1), slice(1, cols - 1)
    out[:] = fall[:-1, :-1]
    for square in (
        down[:-1, on],
        rise[:-1, 1:],
        along[inside, :-1],
        along[inside, 1:],
        rise[1:, :-1],
        down[1:, on],
        fall[1:, 1:],
    ):
        out += square
    out /= 8.0


def known_roughness_deg(slope_deg: Array) -> Array:
    """Roughness from those of the eight neighbours that are known, for cells that `roughness_deg` leaves out.

    Parameters
    ----------
    slope_deg
        As for `roughness_deg`.

    Returns
    -------
    Array
        Degrees; NaN where the own slope or all eight are unknown.
    """
    out = roughness_deg(slope_deg)
    row, col = np.nonzero(np.isnan(out) & np.isfinite(slope_deg))
    if len(row) == 0:
        return out
    ringed = np.pad(slope_deg, 1, constant_values=np.nan)
    around = np.stack([ringed[row + i, col + j] for i in range(3) for j in range(3) if (i, j) != (1, 1)])
    off = np.square(around - slope_deg[row, col])
    known = np.isfinite(off).sum(axis=0)
    with np.errstate(invalid="ignore"):
        out[row, col] = np.sqrt(np.nansum(off, axis=0) / np.where(known, known, np.nan))
    return out


def cell_share_deg(
    slope_deg: ArrayLike, roughness: ArrayLike, cell_m: float, baseline_m: float
) -> tuple[Array, Array]:
    """How much gentler and how much steeper the ground may be than the cells show, 95 %.

    The formula and where it comes from stand in the module docstring.

    Parameters
    ----------
    slope_deg
        The model's slope over the baseline, or over two cells where those are longer, degrees.
    roughness
        From `roughness_deg`, degrees; NaN unknown.
    cell_m, baseline_m
        Longer side of a cell, and the baseline on the ground that is meant, metres.

    Returns
    -------
    tuple of Array
        Degrees down and up. NaN where the slope or the roughness is unknown. For cells above
        `OPEN_CELLS_M` the second is no end, only a least value of one.
    """
    ratio = cell_m / baseline_m
    # Single precision stays single: whole rasters have no time for double.
    slope, rough = np.asarray(slope_deg), np.asarray(roughness)
    steep = np.clip((slope - _STEEP_FROM_DEG) / (_STEEP_TO_DEG - _STEEP_FROM_DEG), 0.0, 1.0)
    scale = 1.0 + _STEEP_SHARE * steep
    beyond = max(ratio - _RATIOS[0], 0.0)
    within = math.sqrt(min(2.0 * ratio, 1.0))
    down = _LEAST_DEG + _DOWN_RISE_DEG * beyond + within * float(np.interp(ratio, _RATIOS, _DOWN_K)) * rough
    up = _LEAST_DEG + _UP_RISE_DEG * beyond + within * float(np.interp(ratio, _RATIOS, _UP_K)) * rough
    return np.asarray(scale * down), np.asarray(scale * up)


def line_share_deg(
    slope_deg: ArrayLike, roughness: ArrayLike, cell_m: float, baseline_m: float
) -> tuple[Array, Array]:
    """How much gentler and steeper the steepest on a line may be than a cell of it shows, 95 %.

    ``0.45 down`` and ``k up + c`` by those of `cell_share_deg`, whose parameters and edges these
    are: ``k`` is 0.4 to r = 0.5 and 1.3 from r = 0.8 on, ``c`` is 0 at r = 0, 1.9 degrees at 0.5, 0
    from 1 on; linear between. They hold 97.5 % and more of straight lines of 50 to 1500 m, slope by
    slope, on the copies that `cell_share_deg` was fitted on, and some 95 % of all ground of their
    cells (``tests/benchmarks/README.md``).
    """
    ratio = cell_m / baseline_m
    down, up = cell_share_deg(slope_deg, roughness, cell_m, baseline_m)
    times = float(np.interp(ratio, _LINE_RATIOS, _LINE_UP))
    return _LINE_DOWN * down, times * up + float(np.interp(ratio, _OUTER_RATIOS, _OUTER_DEG))
