"""Rasters of overhead angles and start zones: their pieces, their numbers, how much ground has each.

``overhead.tif`` holds whole degrees: 1 where nothing looks down at 18 degrees or more, 19 to 60 the
path angle rounded up, 61 above 60; 100 more where unknown ground could look down as well, so that
the answer is a least one; 0 where the ground itself is unknown.

They are counted from the model's first cell. What whole rasters say of a cell is never gentler than what a
place in the joined cell around it is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import reduce
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.raster.blocks import BLOCK, STRIP_ROWS, Block, BlockMetric, Layout, filled
from steybrae.raster.files.outputs import SmallFile, free_writer_name, kept_arrays
from steybrae.raster.job import OPEN
from steybrae.raster.tally import MM2_PER_M2, Tally
from steybrae.route.overhead.windows import joins_of
from steybrae.terrain.dem import Grid
from steybrae.terrain.jacobian import cell_size_m
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG
from steybrae.value import AT_LEAST

RING: Final = 2
"""Cells of the neighbours around a part: as far as a knight's move reaches."""

PART: Final = BLOCK // 4
"""Side of the parts of a block that are settled by themselves, cells: the heads of one take 4 MB."""

RINGED: Final = PART + 2 * RING

TILE_CELLS: Final = 128
"""Side of a tile, cells: swept until nothing changes before the next one, while it is in the cache.
Tiles of 64 cost a third more (measured)."""

LENGTHS: Final = ((1, 0), (0, 1), (1, 1), (1, -1), (2, 1), (2, -1), (1, 2), (1, -2))
"""Steps in column and row whose lengths a tile has, in this order; their opposites are as long."""


def piece_of(file: SmallFile, part: Block) -> Cells:
    """Cells of a part, ``[row, col]``, 0 to 255, read-only; 0 where nothing was written yet."""
    raw = file.read(part.number, 1).ljust(PART * PART, b"\0")
    return np.frombuffer(raw, np.uint8).reshape(PART, PART)[: part.rows, : part.cols]


def put_piece(file: SmallFile, part: Block, cells: Cells) -> None:
    """Write the cells of a part."""
    file.write(part.number, filled(cells, (PART, PART), 0).tobytes())


@dataclass(frozen=True, eq=False)
class Pieces:
    """Files of pieces in a working folder, one piece for each part, which several processes may open.

    Heights of each part and its ring in single precision, metres, unpacked once for all angles; the
    class of each cell (`steybrae.raster.overhead.survey`).
    """

    folder: Path
    layout: Layout
    heights: SmallFile
    classes: SmallFile

    def new_steepest(self) -> SmallFile:
        """File of a writer's own for the largest angle at which each cell is reached, whole degrees."""
        return SmallFile(self.folder / f"{free_writer_name()}.steepest", PART * PART)

    def parts(self, block: Block) -> Iterator[tuple[Block, int, int]]:
        """Parts of a block, with their first row and column in it."""
        for row in range(0, block.rows, PART):
            for col in range(0, block.cols, PART):
                number = (block.row + row) // PART * self.layout.right + (block.col + col) // PART
                yield self.layout.block(number), row, col

    def cells_of(self, file: SmallFile, block: Block) -> Cells:
        """Cells of any block, ``[row, col]``, from the pieces of the parts it touches; 0 off the model."""
        out = np.zeros((block.rows, block.cols), np.uint8)
        bottom, right = (
            min(first + size, most)
            for first, size, most in (
                (block.row, block.rows, self.layout.rows),
                (block.col, block.cols, self.layout.cols),
            )
        )
        for down in range(block.row // PART, -(-bottom // PART)):
            for across in range(block.col // PART, -(-right // PART)):
                part = self.layout.block(down * self.layout.right + across)
                row, col = max(part.row, block.row), max(part.col, block.col)
                high, wide = min(part.row + part.rows, bottom) - row, min(part.col + part.cols, right) - col
                piece = piece_of(file, part)[row - part.row :, col - part.col :]
                out[row - block.row :, col - block.col :][:high, :wide] = piece[:high, :wide]
        return out

    def put_block(self, block: Block, classes: Cells, ringed_m: Cells) -> None:
        """Keep the classes of a block, and its heights with their ring."""
        for part, row, col in self.parts(block):
            put_piece(self.classes, part, classes[row : row + part.rows, col : col + part.cols])
            ringed = ringed_m[row : row + part.rows + 2 * RING, col : col + part.cols + 2 * RING]
            self.heights.write(part.number, filled(ringed, (RINGED, RINGED), 0.0).tobytes())

    def heights_of(self, part: Block) -> Cells:
        """Heights of a part and its ring, ``[row, col]``, metres, in memory of their own."""
        raw = np.empty((RINGED, RINGED), np.float32)
        self.heights.read_into(part.number, raw)
        return np.ascontiguousarray(raw[: part.rows + 2 * RING, : part.cols + 2 * RING])


@contextmanager
def open_pieces(folder: Path, shape: tuple[int, int]) -> Iterator[Pieces]:
    """Open the files of a working folder, of a raster of so many rows and columns."""
    heights = SmallFile(folder / "heights.pieces", 4 * RINGED**2)
    classes = SmallFile(folder / "classes.pieces", PART * PART)
    try:
        yield Pieces(folder, Layout(*shape, PART), heights, classes)
    finally:
        heights.close()
        classes.close()


Cells = NDArray[Any]

NONE_FOUND: Final = 1
"""Number where nothing was found."""

LEAST_DEG, MOST_DEG = int(PATH_ANGLES_DEG[0]), int(PATH_ANGLES_DEG[-1])
"""Flattest and steepest path angle that is tried, degrees."""

OVER: Final = MOST_DEG + 1
"""Number of all steeper ones."""

CODES: Final = tuple(
    code + more for more in (0, int(OPEN)) for code in (NONE_FOUND, *range(LEAST_DEG + 1, OVER + 1))
)
"""Every number of ``overhead.tif`` but that of unknown ground."""

UNKNOWN, NEITHER, POSSIBLE, START_ZONE, STEEPER = 0, 1, 2, 3, 4
"""Values of ``start_zones.tif``; angles are to start zones and what is steeper."""

CLASSES: Final = ("unknown", "neither", "possible start zone", "start zone", "steeper than a start zone")
"""Words for them."""

OPEN_CELLS: Final = "overhead_open"
"""Name under which the working folder keeps the coarse cells that unknown ground could look down on."""


def told_deg(code: int) -> int | None:
    """Degrees of a number of ``overhead.tif``; None where nothing was found or the ground is unknown."""
    least = code % int(OPEN)
    return least if least > NONE_FOUND else None


def code_words(code: int) -> str:
    """Say in words what a number of ``overhead.tif`` means."""
    if code == 0:
        return "unknown ground"
    deg = told_deg(code)
    if deg is None:
        return "none found, unknown ground above" if code > OPEN else f"none found from {LEAST_DEG} degrees"
    if deg == OVER:
        return f"more than {MOST_DEG} degrees{', unknown ground above' if code > OPEN else ''}"
    return f"{AT_LEAST} {deg} degrees" if code > OPEN else f"{deg} degrees"


@dataclass(frozen=True, eq=False)
class OverheadCells:
    """Numbers of both rasters, block by block, from what `steybrae.raster.overhead.run` found.

    `steepest` are the largest angles at which cells are reached, from every writer; `open` the
    coarse cells, `side` cells wide, that unknown ground could look down on. Cells of which `joins` are one
    for a place have the steepest angle of all of them.
    """

    pieces: Pieces
    steepest: tuple[SmallFile, ...]
    open: Cells
    side: int
    joins: Joins

    def classes(self, block: Block) -> Cells:
        """Numbers of ``start_zones.tif``."""
        return self.pieces.cells_of(self.pieces.classes, block)

    def _steepest(self, file: SmallFile, block: Block) -> Cells:
        """Angles of a block, of cells that are joined the steepest."""
        if self.joins == (1, 1):
            return self.pieces.cells_of(file, block)
        (join_col, join_row), joined = self.joins, joined_block(block, self.joins)
        rows, cols = joined.rows * join_row, joined.cols * join_col
        whole = Block(block.number, joined.row * join_row, joined.col * join_col, rows, cols)
        tall = self.pieces.cells_of(file, whole).reshape(joined.rows, join_row, cols).max(axis=1)
        # Column after column: a third of the time of the largest along so short an axis.
        most = reduce(np.maximum, (tall[:, k::join_col] for k in range(join_col)))
        return in_own_cells(most, block, self.joins)

    def codes(self, block: Block, known: Cells) -> Cells:
        """Numbers of ``overhead.tif``; `known` is where the ground's height is."""
        # The largest angle at which a cell is reached is less than one below the true one.
        code = np.ones((block.rows, block.cols), np.uint8)
        for file in self.steepest:
            np.maximum(code, self._steepest(file, block) + np.uint8(1), out=code)
        row, col = (
            np.arange(first, first + size) // self.side
            for first, size in ((block.row, block.rows), (block.col, block.cols))
        )
        code[self.open[np.ix_(row, col)]] += OPEN
        code[~known] = 0
        return code


@contextmanager
def open_overhead(folder: Path, grid: Grid) -> Iterator[OverheadCells]:
    """Open what `steybrae.raster.overhead.run.make_overhead` left in a working folder, of a model's grid."""
    kept = kept_arrays(folder, OPEN_CELLS)
    assert kept is not None  # noqa: S101  made before any block
    with ExitStack() as stack:
        pieces = stack.enter_context(open_pieces(folder, grid.shape))
        steepest = tuple(SmallFile(path, PART * PART) for path in sorted(folder.glob("*.steepest")))
        for file in steepest:
            stack.callback(file.close)
        yield OverheadCells(pieces, steepest, kept["open"], int(kept["side"]), joins_on(grid))


def count_overhead(tally: Tally, bands: Cells, codes: Cells, classes: Cells, metric: BlockMetric) -> None:
    """Count a block by band, number and class; arrays ``[row, col]``."""
    for first in range(0, len(bands), STRIP_ROWS):
        rows = slice(first, first + STRIP_ROWS)
        key = (bands[rows].astype(np.uint32) << 11) + (codes[rows].astype(np.uint32) << 3)
        key += classes[rows]
        count = np.bincount(key.reshape(-1))
        mm2 = float(np.mean(metric.area_m2.at(first, len(key)))) * MM2_PER_M2
        for found in np.flatnonzero(count).tolist():
            place = found >> 11, found >> 3 & 255, found & 7
            tally.cells[place] += int(count[found])
            tally.area_mm2[place] += round(int(count[found]) * mm2)


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
