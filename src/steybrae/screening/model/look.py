"""Look at blocks of a model through the one way in for heights, few or many.

A model of any size costs what the blocks cost. They are spread over it so that as many of its rows and
columns as can be are met by one; where a line is planned, they lie on it instead.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from steybrae.errors import FileReadError, ModelError
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.positions.places import Place
from steybrae.terrain.dem import Dem, DemSource, Grid
from steybrae.terrain.examine.found import NOTHING_FOUND, Marks, ModelFound, found_in, joined, marks_of
from steybrae.terrain.jacobian import cell_size_m

Corner = tuple[int, int]
"""First row and column of a block."""

FEW_BLOCKS: Final = 4
"""Blocks looked at before every answer (our choice): some 0.1 s."""

FEW_SIDE: Final = 192
"""Side of such a block, cells (our choice): a window of the periodogram and half a one."""

MORE_BLOCKS: Final = 16
"""Blocks looked at where those tell nothing (our choice)."""

MOST_ROWS: Final = 64
"""Single rows read to find known ground where those tell nothing either (our choice): one in half a block on
models of up to 6000 rows."""

LATTICE_CELLS: Final = 64
"""Blocks near a line begin at multiples of this, cells (our choice: a third of their side)."""

OVERLAP: Final = 4
"""Cells that neighbouring blocks share, so that no seam between them is missed."""

_GOLDEN: Final = (5.0**0.5 - 1.0) / 2.0
"""Share that puts each next column farthest from those before."""


def block_corners(shape: tuple[int, int], side: int, most: int) -> list[Corner]:
    """First row and column of blocks spread over a grid, row by row: all, or as many as are allowed.

    Blocks at the end reach outside. Fewer than all lie in rows of blocks at even distances, each in
    another column by the golden ratio.
    """
    rows, cols = (max(1, -(-(size - OVERLAP) // (side - OVERLAP))) for size in shape)
    if rows * cols <= most:
        places = [(row, col) for row in range(rows) for col in range(cols)]
    else:
        spread = [(int((k + 0.5) / most * rows), int((k + 0.5) * _GOLDEN % 1.0 * cols)) for k in range(most)]
        places = list(dict.fromkeys(spread))
    return [(row * (side - OVERLAP), col * (side - OVERLAP)) for row, col in places]


def corners_near(grid: Grid, places: Sequence[Place], side: int, most: int) -> list[Corner]:
    """First row and column of blocks around places of a line, those on the model; as `block_corners`."""
    lon, lat = [place.lon_deg for place in places], [place.lat_deg for place in places]
    col, row = (np.atleast_1d(value) for value in grid.from_wgs84(lon, lat))
    rows, cols = grid.shape
    on = np.flatnonzero((col >= 0) & (col < cols) & (row >= 0) & (row < rows))
    taken = on[np.linspace(0, len(on) - 1, min(most, len(on))).astype(int)]
    found: list[Corner] = []
    for k in taken.tolist():
        # A block that would reach outside is moved in, where the model is large enough.
        # On a lattice, so that a line moved a little is looked at in the same blocks.
        at = tuple(
            max(0, min(round((value - side // 2) / LATTICE_CELLS) * LATTICE_CELLS, size - side))
            for value, size in ((float(row[k]), rows), (float(col[k]), cols))
        )
        if all(max(abs(at[0] - one[0]), abs(at[1] - one[1])) >= side // 2 for one in found):
            found.append((at[0], at[1]))
    return found


def read_blocks(source: DemSource, corners: Sequence[Corner], side: int, margin: int = 0) -> Iterator[Dem]:
    """Read blocks, cut where the model ends, with a margin of cells around them for their slopes.

    Outside of the model the margin is unknown; blocks without any height are read and left out.
    """
    rows, cols = source.grid.shape
    for row, col in corners:
        high, wide = (min(side, size - at) + 2 * margin for size, at in ((rows, row), (cols, col)))
        dem = source.read(row - margin, col - margin, high, wide)
        if np.isfinite(dem.heights_m[margin : high - margin, margin : wide - margin]).any():
            yield dem


def found_near(source: DemSource, near: Sequence[Place] = (), kept: Kept = NOTHING_KEPT) -> ModelFound:
    """Look at a few blocks, near places along a line where there are any on the model, else all over it.

    All over it too where the ground round them is too little known to tell, and at last where single
    rows know most. Nothing where no block holds a height. Voids and stretches of one number are left
    to those who read the ground (`steybrae.cautions.HeightsRead`): the source counts anew afterwards.
    """
    corners = corners_near(source.grid, near, FEW_SIDE, FEW_BLOCKS) if near else []
    found = kept.of("found", tuple(corners), partial(_found, source, corners, kept))
    source.count_anew()
    return found


def _found(source: DemSource, near: Sequence[Corner], kept: Kept) -> ModelFound:
    blocks: dict[Corner, tuple[Marks, tuple[float, float]]] = {}
    # Elsewhere too where the ground near the line is too little known to tell, or a few blocks lie in voids.
    # Where voids are most of a model, the blocks spread over it may all miss what is known.
    looks: tuple[Callable[[], Sequence[Corner]], ...] = (
        lambda: near,
        lambda: _all_over(source.grid.shape, FEW_BLOCKS),
        lambda: _all_over(source.grid.shape, MORE_BLOCKS),
        lambda: _where_known(source),
    )
    for corners in looks:
        for corner in corners():
            marks = None if corner in blocks else kept.of("block", corner, partial(_marks, source, corner))
            if marks is not None:
                blocks[corner] = marks
        if blocks and (sums := joined([one for one, _ in blocks.values()])).tells:
            break
    if not blocks:
        return NOTHING_FOUND
    found = found_in(sums, list(blocks.values())[-1][1])
    return replace(found, kinds=tuple(kind for kind in found.kinds if kind != "voids"))


def _all_over(shape: tuple[int, int], most: int) -> list[Corner]:
    """Blocks spread over a grid; those that would reach outside are moved in: a part of one tells little."""
    rows, cols = shape
    return [
        (max(0, min(row, rows - FEW_SIDE)), max(0, min(col, cols - FEW_SIDE)))
        for row, col in block_corners(shape, FEW_SIDE, most)
    ]


def _where_known(source: DemSource) -> list[Corner]:
    """Blocks round the longest known parts of single rows, the longest first, none half on another."""
    rows, cols = source.grid.shape
    side = min(FEW_SIDE, cols)
    step = max(FEW_SIDE // 2, math.ceil(rows / MOST_ROWS))
    known: list[tuple[int, Corner]] = []
    for row in range(min(step, rows) // 2, rows, step):
        with suppress(FileReadError, ModelError):
            there = np.isfinite(source.read(row, 0, 1, cols).heights_m[0])
            count = np.convolve(there, np.ones(side), "valid")
            top = max(0, min(row - FEW_SIDE // 2, rows - FEW_SIDE))
            starts = range(0, cols - side + 1, LATTICE_CELLS)
            known += [(int(count[col]), (top, col)) for col in starts if count[col] > 0]
    found: list[Corner] = []
    for _, corner in sorted(known, key=lambda one: -one[0]):
        if all(max(abs(corner[0] - row), abs(corner[1] - col)) >= FEW_SIDE // 2 for row, col in found):
            found.append(corner)
    return found[:MORE_BLOCKS]


def _marks(source: DemSource, corner: Corner) -> tuple[Marks, tuple[float, float]] | None:
    """Look at a block: its marks and the size of its cells; None where no height of it can be read."""
    # Who needs the others is told of the damage there, who needs ground at a pole is told so.
    with suppress(FileReadError, ModelError):
        for dem in read_blocks(source, [corner], FEW_SIDE):
            size = cell_size_m(dem.grid)
            return marks_of(dem.heights_m, size), size
    return None
