"""How a raster is cut into blocks, and its overviews into levels.

A block is 4 x 4 tiles. It makes the tiles of the full raster and of the first two overviews by
itself; its cells of the third overview (an eighth of its side) wait in a small file, from which
the upper overviews are made at the end. So blocks need nothing of each other, in any order and on
any machine.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.raster.files.tiff import TILE

BLOCK: Final = 4 * TILE
"""Side of a block, cells."""

BLOCK_LEVELS: Final = 2
"""Overviews whose tiles a block makes whole."""

SMALL: Final = BLOCK >> (BLOCK_LEVELS + 1)
"""Side of a block in the next overview, cells: half a tile."""

STRIP_ROWS: Final = 128
"""Rows of a block taken at once where double precision is used, so that memory stays small."""

PANEL_BLOCKS: Final = 8
"""Width of a panel, blocks. Blocks follow each other along the rows of a panel and panels from left
to right, so that the ring that neighbours share is still in the cache of heights."""


@dataclass(frozen=True)
class Block:
    """One block: its number, its first cell and its size."""

    number: int
    row: int
    col: int
    rows: int
    cols: int


@dataclass(frozen=True)
class Layout:
    """Blocks and overviews of a raster.

    Attributes
    ----------
    rows, cols
        Size, cells.
    side
        Of a block, cells; only whole ones of `BLOCK` make overviews.
    """

    rows: int
    cols: int
    side: int = BLOCK

    @property
    def down(self) -> int:
        """Blocks from top to bottom."""
        return math.ceil(self.rows / self.side)

    @property
    def right(self) -> int:
        """Blocks from left to right."""
        return math.ceil(self.cols / self.side)

    @property
    def count(self) -> int:
        """All blocks."""
        return self.down * self.right

    @cached_property
    def levels(self) -> int:
        """Overviews, each half the one before, until one tile holds the raster."""
        return max(0, math.ceil(math.log2(max(self.rows, self.cols) / TILE)))

    def size(self, level: int) -> tuple[int, int]:
        """Rows and columns of an overview; 0 is the full raster."""
        return -(-self.rows >> level), -(-self.cols >> level)

    def tiles(self, level: int) -> tuple[int, int]:
        """Tiles of an overview, down and right."""
        rows, cols = self.size(level)
        return math.ceil(rows / TILE), math.ceil(cols / TILE)

    def block(self, number: int) -> Block:
        """Block of a number; they are counted along the rows of blocks."""
        down, right = divmod(number, self.right)
        row, col, side = down * self.side, right * self.side, self.side
        return Block(number, row, col, min(side, self.rows - row), min(side, self.cols - col))

    def order(self, *, striped: bool = False) -> Iterator[int]:
        """Numbers of the blocks in the order of work; a striped model is one panel."""
        wide = self.right if striped else PANEL_BLOCKS
        for left in range(0, self.right, wide):
            yield from self._in_panel(left, wide)

    @property
    def panels(self) -> int:
        """Panels from left to right."""
        return math.ceil(self.right / PANEL_BLOCKS)

    def panel(self, number: int) -> Iterator[int]:
        """Numbers of the blocks of a panel in the order of work."""
        return self._in_panel(number * PANEL_BLOCKS, PANEL_BLOCKS)

    def panel_of(self, number: int) -> int:
        """Panel that a block lies in."""
        return number % self.right // PANEL_BLOCKS

    def _in_panel(self, left: int, wide: int) -> Iterator[int]:
        for down in range(self.down):
            for right in range(left, min(left + wide, self.right)):
                yield down * self.right + right


def filled(cells: NDArray[Any], shape: tuple[int, int], fill: float) -> NDArray[Any]:
    """Put an array in the corner of a larger one that holds `fill` elsewhere; as it is if of that shape."""
    if cells.shape == shape:
        return cells
    out = np.full(shape, fill, cells.dtype)
    out[: cells.shape[0], : cells.shape[1]] = cells
    return out


AT_ONCE: Final = 4096
"""Tasks given out at once: each takes about a kilobyte, and a country has 200 000 blocks."""

Item = TypeVar("Item")
Result = TypeVar("Result")


def each(pool: ThreadPoolExecutor, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
    """Work on every item, in the threads of a pool; results in the order of the items."""
    for first in range(0, len(items), AT_ONCE):
        yield from pool.map(work, items[first : first + AT_ONCE])
