"""Cells joined to about 10 m, from which `ground` and `route` tell start zones and look up.

They are counted from the model's first cell. What whole rasters say of a cell is never gentler than what a
place in the joined cell around it is told.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import Block
from steybrae.route.overhead.windows import joins_of
from steybrae.terrain.dem import Grid
from steybrae.terrain.jacobian import cell_size_m

Cells = NDArray[Any]

Joins = tuple[int, int]
"""How many columns and rows of cells are joined to one."""


def joins_on(grid: Grid) -> Joins:
    """How many of a model's cells are joined to one."""
    across, along = cell_size_m(grid)
    # To the centimetre, as a place's.
    return joins_of((round(across, 2), round(along, 2)))


def joined_block(block: Block, joins: Joins) -> Block:
    """Block of joined cells that a block of cells lies in."""
    join_col, join_row = joins
    row, col = block.row // join_row, block.col // join_col
    bottom, right = -(-(block.row + block.rows) // join_row), -(-(block.col + block.cols) // join_col)
    return Block(block.number, row, col, bottom - row, right - col)


def in_own_cells(joined: Cells, block: Block, joins: Joins) -> Cells:
    """Give every cell of a block what its joined cell has; `joined` is of `joined_block`."""
    row, col = (
        np.arange(first, first + size) // join - first // join
        for first, size, join in zip(
            (block.row, block.col), (block.rows, block.cols), reversed(joins), strict=True
        )
    )
    found: Cells = joined[row][:, col]
    return found
