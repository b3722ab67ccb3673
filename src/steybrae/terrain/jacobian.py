"""From one step in a grid to metres on the ground: true lengths, true north.

One mechanism serves every CRS. At a position in the grid the 2 x 2 Jacobian

    J = [[dE/dcol, dE/drow],
         [dN/dcol, dN/drow]]

holds the ground metres east and north of one step in column and in row, on the CRS's own
ellipsoid. Height differences per step become ground gradients by its inverse transpose:
``(dz/dE, dz/dN) = J^-T (dz/dcol, dz/drow)``.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from steybrae.errors import ModelError
from steybrae.terrain.dem import Array, Grid

POLE_GAP_DEG: Final = 0.1
"""Nearer to a pole than this, degrees of latitude, east and north turn too fast (our choice)."""

STEP_M: Final = 100.0
"""Length of the difference, metres: PROJ's inverse is good to about 1e-10 rad (0.6 mm), which
one metre would show; over 100 m the bend of the projection is still below 1e-9, and about 1e-6
at the gap round a pole."""

LATTICE_CELLS: Final = 64
"""First spacing of the lattice, cells."""

LATTICE_ERROR: Final = 1e-6
"""Largest difference of the interpolated from the exact Jacobian, share of its size; a tenth
of what we promise."""


def jacobian_at(grid: Grid, col: ArrayLike | None = None, row: ArrayLike | None = None) -> Array:
    """Exact ground Jacobian at positions of a grid.

    Central differences of about 100 m in column and row, of longitude and latitude on the
    CRS's own ellipsoid: ``dE = N cos(lat) dlon``, ``dN = M dlat`` with the radii of
    curvature in the prime vertical ``N`` and in the meridian ``M`` at the position.

    Parameters
    ----------
    col, row
        Positions, cells, of one shape; the middle of the grid if not given.

    Returns
    -------
    Array
        Shape ``(..., 2, 2)``, metres per cell, east and north of true north.

    Raises
    ------
    ModelError
        A position within 0.1 degree of a pole, or where PROJ has no answer.
    """
    rows, cols = grid.shape
    places = cols / 2 if col is None else col, rows / 2 if row is None else row
    col, row = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in places))
    dc, dr = _steps(grid)
    # All at once: PROJ takes longer to be asked than to answer.
    around = np.array([(0.0, 0.0), (dc, 0.0), (-dc, 0.0), (0.0, dr), (0.0, -dr)])
    lons, lats = grid.own_lonlat(np.add.outer(around[:, 0], col), np.add.outer(around[:, 1], row))
    lat = lats[0]
    _refuse_nowhere(lons[0], lat)
    n_m, m_m = _radii_m(grid, lat)
    out = np.empty((*col.shape, 2, 2))
    for axis, width in enumerate((2.0 * dc, 2.0 * dr)):
        (lon1, lon0), (lat1, lat0) = (values[1 + 2 * axis : 3 + 2 * axis] for values in (lons, lats))
        dlon = np.remainder(lon1 - lon0 + 180.0, 360.0) - 180.0
        out[..., 0, axis] = np.radians(dlon) * n_m * np.cos(np.radians(lat)) / width
        out[..., 1, axis] = np.radians(lat1 - lat0) * m_m / width
    return out


def _refuse_nowhere(lon: Array, lat: Array) -> None:
    if not (np.isfinite(lon).all() and np.isfinite(lat).all()):
        message = (
            "Every part of the model that is used should have a place on the earth; its CRS gives "
            "none here. Check transform and CRS."
        )
        raise ModelError(message)
    if np.abs(lat).max(initial=0.0) > 90.0 - POLE_GAP_DEG:
        message = (
            f"The ground should lie more than {POLE_GAP_DEG} degree from a pole, where east and "
            "north have a meaning; part of it does not. Leave that part out."
        )
        raise ModelError(message)


def _radii_m(grid: Grid, lat: Array) -> tuple[Array, Array]:
    ellipsoid = grid.crs.ellipsoid
    if ellipsoid is None:
        message = f"The CRS {grid.crs.name!r} should have an ellipsoid; it has none. Check the CRS."
        raise ModelError(message)
    a = ellipsoid.semi_major_metre
    e2 = 1.0 - (ellipsoid.semi_minor_metre / a) ** 2
    w2 = 1.0 - e2 * np.sin(np.radians(lat)) ** 2
    return a / np.sqrt(w2), a * (1.0 - e2) / w2**1.5


def _steps(grid: Grid) -> tuple[float, float]:
    """Half differences in column and in row, cells, so that each is about half of STEP_M.

    Also for larger cells, over which the bend near a pole would show.
    """
    a, b, _, d, e, _ = grid.transform
    unit = math.radians(1.0) * 6.371e6 if grid.crs.is_geographic else 1.0
    sizes = (math.hypot(a, d) * unit, math.hypot(b, e) * unit)
    return STEP_M / 2 / sizes[0], STEP_M / 2 / sizes[1]


def jacobian_field(grid: Grid) -> Array:
    """Ground Jacobian at the centre of every cell of a grid.

    Exact on a coarse lattice, bilinear between. The lattice is halved until the middle of
    each of its meshes differs from the exact one by less than 1e-6 of its size.

    Returns
    -------
    Array
        Shape ``(2, 2, rows, cols)``, metres per cell.

    Raises
    ------
    ModelError
        As `jacobian_at`.
    """
    rows, cols = grid.shape
    spacing = LATTICE_CELLS
    while True:
        row_nodes = _nodes(rows, spacing)
        col_nodes = _nodes(cols, spacing)
        nodes = np.meshgrid(col_nodes, row_nodes)
        middles = np.meshgrid(_middles(col_nodes), _middles(row_nodes))
        both = jacobian_at(grid, *(np.concatenate((a, b), None) for a, b in zip(nodes, middles, strict=True)))
        lattice = both[: nodes[0].size].reshape(*nodes[0].shape, 2, 2)
        middle = both[nodes[0].size :].reshape(*middles[0].shape, 2, 2)
        between = (lattice[1:, 1:] + lattice[:-1, 1:] + lattice[1:, :-1] + lattice[:-1, :-1]) / 4.0
        size = np.abs(lattice).max()
        if np.abs(between - middle).max() <= LATTICE_ERROR * size or spacing <= 1:
            break
        spacing //= 2
    weights_row = _weights(row_nodes, rows)
    weights_col = _weights(col_nodes, cols)
    out = np.empty((2, 2, rows, cols))
    for i in range(2):
        for j in range(2):
            out[i, j] = weights_row @ lattice[:, :, i, j] @ weights_col.T
    return out


def _nodes(count: int, spacing: int) -> Array:
    return np.linspace(0.0, count, max(2, math.ceil(count / spacing) + 1))


def _middles(nodes: Array) -> Array:
    return (nodes[:-1] + nodes[1:]) / 2.0


def _weights(nodes: Array, count: int) -> Array:
    """Matrix that interpolates linearly from the nodes to the cell centres."""
    centres = np.arange(count) + 0.5
    mesh = np.clip(np.searchsorted(nodes, centres) - 1, 0, len(nodes) - 2)
    share = (centres - nodes[mesh]) / (nodes[mesh + 1] - nodes[mesh])
    out = np.zeros((count, len(nodes)))
    out[np.arange(count), mesh] = 1.0 - share
    out[np.arange(count), mesh + 1] = share
    return out


def ground_gradients(jacobian: Array, per_col: Array, per_row: Array) -> tuple[Array, Array]:
    """Gradients on the ground from height differences per step in a grid.

    ``(p, q) = J^-T (dz/dcol, dz/drow)``.

    Parameters
    ----------
    jacobian
        Shape ``(2, 2)`` or ``(2, 2, ...)`` of the shape of the others.
    per_col, per_row
        Height change per cell to the right and per cell down, metres.

    Returns
    -------
    tuple of Array
        ``p = dz/dE`` and ``q = dz/dN``, metres per metre, positive uphill to the east and to
        the north; NaN stays NaN.
    """
    (east_col, east_row), (north_col, north_row) = jacobian
    determinant = east_col * north_row - east_row * north_col
    p = north_row * per_col - north_col * per_row
    q = east_col * per_row - east_row * per_col
    # In place: large windows are read and written less often.
    p /= determinant
    q /= determinant
    return p, q


def askew(jacobian: Array) -> float:
    """By how much more cells a reach needs than on square axes: ``1 / sin`` of the angle between the grid's.

    1 on nearly every grid; more on a turned grid in degrees.
    """
    across, down = np.hypot(*jacobian)
    return round(float(across * down / abs(np.linalg.det(jacobian))), 6)


def cell_size_m(grid: Grid, col: float | None = None, row: float | None = None) -> tuple[float, float]:
    """Ground length of one step in column and in row, metres.

    Parameters
    ----------
    col, row
        Where; the middle of the grid by default.

    Returns
    -------
    tuple of float
        Along the rows (one column on), along the columns (one row on).

    Raises
    ------
    ModelError
        As `jacobian_at`.
    """
    return sides_m(jacobian_at(grid, col, row))


def sides_m(jacobian: Array) -> tuple[float, float]:
    """Ground size of a cell along the rows and along the columns by its Jacobian, metres."""
    across, along = np.hypot(*jacobian).tolist()
    return across, along
