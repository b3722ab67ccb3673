"""Slope in the CRS's own units and grid north: for comparing with formulas and tools that know no other."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

import numpy as np

from steybrae.raster import blocks
from steybrae.terrain import attributes
from steybrae.terrain.attributes import SlopeField
from steybrae.terrain.dem import Array, Dem, Grid


def grid_jacobian(grid: Grid) -> Array:
    """Jacobian of the grid's own metric, no ellipsoid: ``[[a, b], [d, e]]`` of the transform."""
    a, b, _, d, e, _ = grid.transform
    return np.array([[a, b], [d, e]])


@contextmanager
def own_units() -> Iterator[None]:
    """Within it the ground is what the CRS says."""

    def at(grid: Grid, col: Array, row: Array) -> Array:
        return np.broadcast_to(grid_jacobian(grid), (*np.broadcast_shapes(col.shape, row.shape), 2, 2))

    with patch.object(attributes, "jacobian_field", grid_jacobian), patch.object(blocks, "jacobian_at", at):
        yield


def grid_slope_field(dem: Dem, *args: Any, **options: Any) -> SlopeField:
    """`slope_field` in the CRS's own units."""
    with own_units():
        return attributes.slope_field(dem, *args, **options)
