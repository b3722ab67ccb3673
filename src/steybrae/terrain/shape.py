"""The shape of the ground at a stated scale: curvature, convex rolls and terrain traps around places, drops.

Curvature is that of the quadratic of Zevenbergen and Thorne (1987), Earth Surf. Process.
Landforms 12, 47-56, doi:10.1002/esp.3290120107, through nine heights a spacing L apart,

    z1 z2 z3        D = ((z4 + z6)/2 - z5) / L^2      G = (z6 - z4) / (2 L)
    z4 z5 z6        E = ((z2 + z8)/2 - z5) / L^2      H = (z2 - z8) / (2 L)
    z7 z8 z9        F = (-z1 + z3 + z7 - z9) / (4 L^2)

with z2 north of z5. Per 100 m, so that 20 means that the gradient changes by 0.2 in a metre:

=========== ============================================ ==================================
profile     2 (D G^2 + E H^2 + F G H) / (G^2 + H^2)      along the fall line; below 0 convex:
                                                         it steepens downhill
plan        -2 (D H^2 + E G^2 - F G H) / (G^2 + H^2)     across it; below 0 hollow: a gully
total       -2 (D + E)                                   plan - profile; below 0 hollow
=========== ============================================ ==================================

Rolls and traps are read from heights along sixteen directions, every spacing L out to four of them,
for the fall line has no direction where it matters most: on a rim and in a gully's bed. A terrain
trap makes even a small slide worse: gullies and abrupt flattenings bury deeply, cliffs injure (glossaries
of national avalanche services).
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at, off
from steybrae.terrain.jacobian import sides_m

SHAPE_SPACING_M: Final = 20.0
"""Spacing L of the heights, metres: the length over which slopes are judged (Swiss leaflet
"Achtung Lawinen!"; 10 to 20 m in other sources)."""

DIRECTIONS: Final = 16
"""How many directions are looked along, so that none is more than 11.25 degrees off."""

RINGS: Final = 4
"""How many spacings far."""


@dataclass(frozen=True, eq=False)
class Curvature:
    """Curvature per 100 m, with the signs of the module's table; NaN unknown.

    Along and across the fall line, NaN also on level ground, which has none; `total` is everywhere.
    """

    profile: Array
    plan: Array
    total: Array


def curvature(heights_m: Array, spacing_m: float) -> Curvature:
    """Curvature of the quadratic through nine heights, `spacing_m` apart on the ground.

    ``(..., 3, 3)``: rows from north to south, columns from west to east.
    """
    z = np.asarray(heights_m, dtype=float)
    (z1, z2, z3), (z4, z5, z6), (z7, z8, z9) = (
        tuple(z[..., row, col] for col in range(3)) for row in range(3)
    )
    area = spacing_m**2
    d = ((z4 + z6) / 2.0 - z5) / area
    e = ((z2 + z8) / 2.0 - z5) / area
    f = (-z1 + z3 + z7 - z9) / (4.0 * area)
    g = (z6 - z4) / (2.0 * spacing_m)
    h = (z2 - z8) / (2.0 * spacing_m)
    steep = g**2 + h**2
    with np.errstate(invalid="ignore", divide="ignore"):
        # 0 / 0 on level ground is NaN, as it should be.
        profile = 200.0 * (d * g**2 + e * h**2 + f * g * h) / steep
        plan = -200.0 * (d * h**2 + e * g**2 - f * g * h) / steep
    level = steep == 0.0
    return Curvature(
        np.where(level, np.nan, profile), np.where(level, np.nan, plan), np.asarray(-200.0 * (d + e))
    )


@dataclass(frozen=True, eq=False)
class Around:
    """Heights around places.

    Attributes
    ----------
    spacing_m
        L, metres.
    here_m
        Height of each place, ``(n,)``.
    ring_m
        Heights at L, 2 L, 3 L and 4 L in sixteen directions, ``(n, 16, 4)``; NaN unknown.
    nine_m
        The nine heights for the curvature, ``(n, 3, 3)``.
    """

    spacing_m: float
    here_m: Array
    ring_m: Array
    nine_m: Array

    @property
    def bearing_true_deg(self) -> Array:
        """The sixteen directions, clockwise from true north, the first north."""
        return np.arange(DIRECTIONS) * 360.0 / DIRECTIONS

    @cached_property
    def rise_deg(self) -> Array:
        """Slope of each spacing outwards, positive uphill, ``(n, 16, 4)``."""
        here = np.repeat(self.here_m[:, None, None], DIRECTIONS, axis=1)
        steps = np.diff(self.ring_m, axis=2, prepend=here)
        out: Array = np.degrees(np.arctan(steps / self.spacing_m))
        return out


def look_around(heights_m: Array, jacobian: Array, col: Array, row: Array) -> Around:
    """Take the heights around places.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; with four spacings of ground around the places.
    jacobian
        ``(2, 2)``, ground metres per cell.
    col, row
        Places, cells, shape ``(n,)``.

    Returns
    -------
    Around
        Heights bilinear; directions from true north. L is `SHAPE_SPACING_M`, or a cell where that is
        larger.
    """
    longest = max(sides_m(jacobian))
    spacing = max(SHAPE_SPACING_M, longest)
    bearing = np.radians(np.arange(DIRECTIONS) * 360.0 / DIRECTIONS)
    out_m = spacing * np.arange(1, RINGS + 1)
    ring = _sample(
        heights_m, jacobian, col, row, np.sin(bearing)[:, None] * out_m, np.cos(bearing)[:, None] * out_m
    )
    step = np.array([-spacing, 0.0, spacing])
    east, north = np.broadcast_to(step, (3, 3)), np.broadcast_to(-step[:, None], (3, 3))
    nine = _sample(heights_m, jacobian, col, row, east, north)
    return Around(spacing, heights_at(heights_m, col, row), ring, nine)


def _sample(heights_m: Array, jacobian: Array, col: Array, row: Array, east: Array, north: Array) -> Array:
    """Heights at metres east and north of places, ``(n, *east.shape)``."""
    # A displacement goes to cells by the inverse Jacobian.
    (ec, er), (nc, nr) = np.linalg.inv(jacobian)
    shape = (len(col), *([1] * east.ndim))
    return heights_at(
        heights_m,
        col.reshape(shape) + off(ec * east + er * north),
        row.reshape(shape) + off(nc * east + nr * north),
    )


ROLL_CHANGE_DEG: Final = 10.0
"""Steepening from one spacing to the next that makes a roll, degrees (our choice)."""

GULLY_RISE_M: Final = 4.0
"""Rise of both sides within one spacing that makes a gully, metres (our choice: sides of 11 degrees)."""

FLAT_BELOW_DEG: Final = 15.0
"""Ground gentler than this below a steep slope is a flattening, degrees (our choice)."""

CLIFF_DEG: Final = 55.0
"""Ground steeper than this, over one spacing, is a cliff here, degrees: above the start range."""

EYE_M: Final = 1.75
"""Height of the eye above the ground, metres (as in US Army subcourse MP1007)."""

_ROLL_RINGS: Final = 3


@dataclass(frozen=True, eq=False)
class Found:
    """A feature at places; arrays ``(n,)``, NaN where there is none.

    Attributes
    ----------
    strength
        What it is measured by, the more the worse: degrees, or metres for gullies.
    bearing_true_deg
        Where it lies, or runs.
    distance_m
        How far away it begins.
    from_deg, to_deg
        Slopes before and after, positive downhill for rolls and cliffs, uphill for flattenings;
        of the two sides for a gully.
    """

    strength: Array
    bearing_true_deg: Array
    distance_m: Array
    from_deg: Array
    to_deg: Array

    @property
    def there(self) -> NDArray[np.bool_]:
        """Where there is one."""
        return np.isfinite(self.strength)


def convex_rolls(around: Around, steep_deg: float) -> Found:
    """Where ground steepens downhill to a slope of `steep_deg`, here or up to two spacings further down.

    Down the steepest direction (the largest fall over two spacings) the slopes of successive
    spacings are compared, the first with that of the spacing above the place. Strength is the
    largest change, `ROLL_CHANGE_DEG` or more.
    """
    fall = np.where(
        np.isnan(around.ring_m[:, :, 1]), -np.inf, around.here_m[:, None] - around.ring_m[:, :, 1]
    )
    down = np.argmax(fall, axis=1)
    here = np.arange(len(down))
    up = (down + DIRECTIONS // 2) % DIRECTIONS
    above = around.rise_deg[here, up, :1]
    slope = np.concatenate((above, -around.rise_deg[here, down, :_ROLL_RINGS]), axis=1)
    change = np.where(
        (slope[:, 1:] >= steep_deg) & (fall.max(axis=1) > 0.0)[:, None], np.diff(slope, axis=1), np.nan
    )
    strength = np.where(change >= ROLL_CHANGE_DEG, change, np.nan)
    at, worst = _largest(strength)
    return _found(
        worst,
        around.bearing_true_deg[down],
        at.astype(np.float64) * around.spacing_m,
        slope[here, at],
        slope[here, at + 1],
    )


def gullies(around: Around) -> Found:
    """Where both sides of some direction rise within one spacing.

    Strength: metres by which the lower side rises, `GULLY_RISE_M` or more. The bearing is
    that of the gully's bed, 0 to below 180.
    """
    rise = around.ring_m[:, :, 0] - around.here_m[:, None]
    half = DIRECTIONS // 2
    both = np.minimum(rise[:, :half], rise[:, half:])
    side, worst = _largest(np.where(both >= GULLY_RISE_M, both, np.nan))
    here = np.arange(len(side))
    bed = np.remainder(around.bearing_true_deg[side] + 90.0, 180.0)
    slopes = around.rise_deg[:, :, 0]
    return _found(worst, bed, np.zeros(len(side)), slopes[here, side], slopes[here, side + half])


def flattenings(around: Around, steep_deg: float) -> Found:
    """Gentle ground on to which a steep slope falls.

    The first spacing of a direction is gentler than `FLAT_BELOW_DEG` and does not fall away
    from the place as steeply either, and a later one rises at `steep_deg` or more with no
    spacing between that falls.

    Parameters
    ----------
    steep_deg
        The slope above is at least this steep.

    Returns
    -------
    Found
        Strength: the slope above.
    """
    rise = around.rise_deg
    gentle = np.abs(rise[:, :, 0]) < FLAT_BELOW_DEG
    # The far side gentle as well: a place halfway down a slope is no flattening.
    gentle &= np.roll(gentle, DIRECTIONS // 2, axis=1)
    climbing = np.logical_and.accumulate(rise[:, :, 1:] > -FLAT_BELOW_DEG, axis=2)
    steep = np.where(gentle[:, :, None] & climbing & (rise[:, :, 1:] >= steep_deg), rise[:, :, 1:], np.nan)
    return _outwards(around, steep, rise[:, :, 0], 1)


def cliffs_below(around: Around) -> Found:
    """Ground that falls at more than `CLIFF_DEG` below the place.

    Strength: its slope. Only ground below the place counts.
    """
    fall = -around.rise_deg
    start = np.concatenate(
        (np.repeat(around.here_m[:, None, None], DIRECTIONS, axis=1), around.ring_m[:, :, :-1]), 2
    )
    below = start <= around.here_m[:, None, None] + EYE_M
    return _outwards(around, np.where(below & (fall > CLIFF_DEG), fall, np.nan), fall[:, :, 0], 0)


def _outwards(around: Around, slope: Array, first: Array, ring: int) -> Found:
    """Steepest of slopes by direction and ring; how far it begins and the first slope on the way."""
    rings = slope.shape[2]
    at, worst = _largest(slope.reshape(len(slope), -1))
    direction, out = np.divmod(at, rings)
    here = np.arange(len(slope))
    return _found(
        worst,
        around.bearing_true_deg[direction],
        (out + ring) * around.spacing_m,
        first[here, direction],
        worst,
    )


def _largest(values: Array) -> tuple[NDArray[np.intp], Array]:
    """Index and value of the largest of each row, NaN where all are NaN."""
    filled = np.where(np.isnan(values), -np.inf, values)
    at = np.argmax(filled, axis=1)
    top = filled[np.arange(len(at)), at]
    return at, np.where(np.isinf(top), np.nan, top)


def _found(strength: Array, bearing: Array, distance: Array, from_deg: Array, to_deg: Array) -> Found:
    there = np.isfinite(strength)
    return Found(
        strength, *(np.where(there, values, np.nan) for values in (bearing, distance, from_deg, to_deg))
    )


def hidden_from_above(around: Around, direction_deg: Array) -> NDArray[np.bool_]:
    """Whether ground within four spacings that way is hidden from the eye of one who stands here.

    True where a nearer height stands above the line from the eye to a farther one. The way is one
    of the sixteen directions for each place; NaN asks nothing.
    """
    asked = np.isfinite(direction_deg)
    index = np.where(asked, direction_deg, 0.0) / (360.0 / DIRECTIONS)
    line = around.ring_m[np.arange(len(asked)), np.round(index).astype(int) % DIRECTIONS]
    tangent = (line - around.here_m[:, None] - EYE_M) / (around.spacing_m * np.arange(1, RINGS + 1))
    nearer = np.fmax.accumulate(tangent, axis=1)[:, :-1]
    hidden: NDArray[np.bool_] = (tangent[:, 1:] < nearer - 1e-12).any(axis=1)
    return hidden & asked


DROP_DEG: Final = 55.0
"""Ground steeper than this from cell to cell is part of a drop, degrees: above the start range."""

DROP_M: Final = 5.0
"""Least height of a drop, metres (our choice)."""

_DIRECTIONS: Final = ((0, 1), (1, -1), (1, 0), (1, 1))
"""Steps in column and row to half of the eight neighbours; the others are these reversed."""


def drop_m(heights_m: Array, jacobian: Array, *others_m: Array) -> Array:
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
    others_m
        Heights of other sources: the highest drop leads.

    Returns
    -------
    Array
        Metres, `DROP_M` or more; 0 where there is none.
    """
    if others_m:
        return np.asarray(np.maximum.reduce([drop_m(one, jacobian) for one in (heights_m, *others_m)]))
    most, (rows, cols) = np.zeros(heights_m.size), heights_m.shape
    for col, row in _DIRECTIONS:
        length = float(np.hypot(*(jacobian @ np.array((col, row), dtype=float))))
        # From each cell whose next one lies on the model too.
        top, left = max(-row, 0), max(-col, 0)
        here = heights_m[top : rows - max(row, 0), left : cols - max(col, 0)]
        fall = here - heights_m[top + row : rows + min(row, 0), left + col : cols + min(col, 0)]
        steep = np.flatnonzero(np.abs(fall) > math.tan(math.radians(DROP_DEG)) * length)
        i, j = np.divmod(steep, cols - abs(col))
        cell, fall = (i + top) * cols + j + left, fall.ravel()[steep]
        for down in (fall > 0.0, fall < 0.0):
            if down.any():
                face, face_m = _faces(cell[down], np.abs(fall[down]), row * cols + col)
                most[face] = np.maximum(most[face], face_m)
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
