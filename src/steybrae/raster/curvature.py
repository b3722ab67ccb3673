"""Profile curvature along the fall line: where ground rolls over.

From the quadratic that fits the nine heights best (Evans; `steybrae.terrain.gradients` has the
sources), with second differences per cell

    r = d2z/du2 = sum over the rows of (left - 2 middle + right) / 3
    t = d2z/dv2, likewise down the columns
    s = d2z/dudv = (top left + bottom right - top right - bottom left) / 4

turned to ground metres by ``H = J^-T [[r, s], [s, t]] J^-1``, the curvature of the vertical section
along the gradient g is

    k = -(g^T H g) / (|g|^2 (1 + |g|^2)^1.5)

in 1/m, positive where the section is convex (steeper below than above); on a sphere of radius R it
is 1/R everywhere.
"""

from __future__ import annotations

import numpy as np

from steybrae.terrain.dem import Array


def profile_curvature(heights_m: Array, jacobian: Array, p: Array, q: Array, flat_gradient: float) -> Array:
    """Profile curvature of every cell.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres, NaN unknown.
    jacobian
        ``(2, 2, rows, cols)``, from `steybrae.terrain.jacobian.jacobian_field`.
    p, q
        Ground gradients of the same cells.
    flat_gradient
        Below this gradient there is no fall line and the answer is NaN.

    Returns
    -------
    Array
        1/m, positive convex; NaN in the outer ring and beside unknown heights.
    """
    z = np.asarray(heights_m, dtype=np.float64)
    r, t, s = (np.full(z.shape, np.nan) for _ in range(3))
    across = z[:, :-2] - 2.0 * z[:, 1:-1] + z[:, 2:]
    r[1:-1, 1:-1] = (across[:-2] + across[1:-1] + across[2:]) / 3.0
    down = z[:-2] - 2.0 * z[1:-1] + z[2:]
    t[1:-1, 1:-1] = (down[:, :-2] + down[:, 1:-1] + down[:, 2:]) / 3.0
    s[1:-1, 1:-1] = (z[:-2, :-2] + z[2:, 2:] - z[:-2, 2:] - z[2:, :-2]) / 4.0
    (a, b), (c, d) = jacobian
    det = a * d - b * c
    # One step along the ground direction of g, in columns and rows: J^-1 g.
    col, row = (d * p - b * q) / det, (a * q - c * p) / det
    along = r * col**2 + 2.0 * s * col * row + t * row**2
    steep2 = p**2 + q**2
    with np.errstate(divide="ignore", invalid="ignore"):
        out: Array = -along / (steep2 * (1.0 + steep2) ** 1.5)
    out[steep2 < flat_gradient**2] = np.nan
    return out
