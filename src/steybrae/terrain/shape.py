"""The shape of the ground at a stated scale: curvature, and the heights around places.

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
"""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import heights_at, off

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
    longest = max(float(np.hypot(*jacobian[:, 0])), float(np.hypot(*jacobian[:, 1])))
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
