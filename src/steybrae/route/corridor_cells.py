"""Every cell of a leg's corridor, with the stretch of the line that it lies abreast of.

Where legs meet a cell counts to the one that it is nearer to, so that a leg cut in two has the
cells that it had before; those outside a corner, nearest to the turn point itself, count to both.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from steybrae.route.corridor import NearCells, Window, half_width_m
from steybrae.terrain.dem import Array
from steybrae.terrain.drops import drop_m

Polyline = tuple[Array, Array]


@dataclass(frozen=True, eq=False)
class CorridorCells:
    """Cells of a corridor; arrays ``(n,)``.

    Attributes
    ----------
    start_m, end_m
        Stretch of the leg that the cell lies abreast of, within the leg.
    slope_deg
        The larger of its slopes over the baseline and over its own two cells; NaN unknown.
    high_deg
        High end of its 95 % interval, never below that; NaN where it is not known.
    known
        Whether its slope over the baseline is.
    off_m
        Ground distance from the line to the nearest edge of its square.
    left
        Whether it lies to the left of travel.
    drop_m
        Height of the drop that it is part of; 0 none.
    """

    start_m: Array
    end_m: Array
    slope_deg: Array
    high_deg: Array
    known: NDArray[np.bool_]
    off_m: Array
    left: NDArray[np.bool_]
    drop_m: Array


def cells_of(
    near: NearCells,
    window: Window,
    short_deg: Array,
    width: tuple[float, float],
    ends: tuple[Polyline, Polyline],
    length_m: float,
) -> CorridorCells:
    """Pick the cells of a stretch that lie in its corridor.

    Parameters
    ----------
    near
        Cells near the stretch.
    window
        The ground they are of.
    short_deg
        Slopes over two of its cells, ``[row, col]``.
    width
        Place error, metres, and drift, degrees.
    ends
        The legs before and after, columns and rows of their vertices in the window; may be empty.
    length_m
        Of the leg.
    """
    inside = near.edge_m <= half_width_m(near.chainage_m, *width)
    for number, line in enumerate(ends):
        beyond = np.flatnonzero(inside & ~near.abreast & ((near.chainage_m > length_m / 2.0) == bool(number)))
        inside[beyond[_nearer(near, beyond, line, window.jacobian, number)]] = False
    at = np.flatnonzero(inside)
    cell = near.row[at].astype(np.intp), near.col[at].astype(np.intp)
    slope, high = np.fmax(near.slope_deg[at], short_deg[cell]), window.high_deg[cell]
    chainage, half = near.chainage_m[at], near.half_m[at]
    return CorridorCells(
        np.maximum(chainage - half, 0.0),
        np.minimum(chainage + half, length_m),
        slope,
        np.maximum(high, slope),
        np.isfinite(near.slope_deg[at]),
        near.edge_m[at],
        near.left[at],
        drop_m(window.height_m, window.jacobian)[cell],
    )


def _nearer(
    near: NearCells, which: NDArray[np.intp], line: Polyline, jacobian: Array, number: int
) -> NDArray[np.bool_]:
    """Whether cells beyond an end of the leg are nearer to the neighbouring leg than to that end."""
    col, row = line
    nearer = np.zeros(len(which), dtype=bool)
    if len(col) < 2 or len(which) == 0:
        return nearer
    end = 0 if number else -1
    here = jacobian @ np.stack((near.col[which] - col[end], near.row[which] - row[end]))
    line_m = jacobian @ np.stack((col - col[end], row - row[end]))
    to_end = np.hypot(*here)
    for k in range(len(col) - 1):
        start, along = line_m[:, k], line_m[:, k + 1] - line_m[:, k]
        square = float(along @ along)
        if square == 0.0:
            continue
        share = np.clip((along @ (here - start[:, None])) / square, 0.0, 1.0)
        off = here - start[:, None] - along[:, None] * share
        nearer |= np.hypot(*off) < to_end - 1e-6
    return nearer


def join_cells(parts: list[CorridorCells]) -> CorridorCells:
    """Cells of the stretches of a leg together."""
    return CorridorCells(
        *(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(CorridorCells))
    )
