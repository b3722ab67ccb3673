"""Where a tile lies, and bands of its cells, block by block, with overviews that keep the steepest.

Blocks are those of `steybrae.raster`, and so are their bands, cell for cell. Each is made when a tile
asks for it and kept while there is room. Overviews from a stated level up are kept whole; they fill
while nobody waits, and what is not filled yet is marked as not looked at, never as gentle.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Final, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.desk.readers import LATER, ModelThreads
from steybrae.errors import ModelError
from steybrae.files.model.rasters import RasterModel
from steybrae.frozen import dataclass
from steybrae.raster.blocks import BLOCK, Block, Layout, block_metric
from steybrae.raster.files.heights import BadBlock, RawHeights, cache_for
from steybrae.raster.job import AreaJob
from steybrae.raster.kernel import Kernel
from steybrae.raster.windows import BlockHeights
from steybrae.terrain.dem import Grid

Cells = NDArray[np.uint8]

UNKNOWN: Final = np.uint8(0x80)
"""Flag of a cell that is unknown, or holds one that is."""

NOT_LOOKED: Final = np.uint8(0x40)
"""Flag of a cell that holds ground that nobody looked at yet."""

BAND: Final = np.uint8(0x3F)
"""The rest of a cell: 1 the gentlest band, 0 where none is known."""

LEAST_KEPT: Final = 3
"""Finest overview that is kept whole: an eighth of the cells along a side."""

MOST_OVERVIEW: Final = 10_000_000
"""Most cells of the finest overview that is kept whole, 50 MB with its heights (our choice)."""

LONGEST_REST_S: Final = 0.5
"""Longest pause before the next tile or block while answers follow each other, seconds (our choice)."""

MOST_BLOCK_BYTES: Final = 20 * 2**20
"""Blocks that are kept, bytes (our choice): some 14 of them, what a screen shows from zoom -2 up."""


@dataclass(frozen=True, eq=False)
class BlockCells:
    """Cells of a block: each overview from none (level 0) to the first that is kept whole.

    One height in each cell of the last, metres, single precision; NaN unknown.
    """

    levels: tuple[Cells, ...]
    heights_m: NDArray[np.float32]


def coarser(cells: Cells) -> Cells:
    """Half as many rows and columns, rounded up: the steepest of four cells, and the flags of all."""
    odd = [(0, size % 2) for size in cells.shape]
    even = np.pad(cells, odd, mode="edge") if any(last for _, last in odd) else cells
    band, flag = (even & mask for mask in (BAND, ~BAND))
    steepest = np.maximum(
        np.maximum(band[::2, ::2], band[::2, 1::2]), np.maximum(band[1::2, ::2], band[1::2, 1::2])
    )
    out: Cells = steepest | flag[::2, ::2] | flag[::2, 1::2] | flag[1::2, ::2] | flag[1::2, 1::2]
    return out


class BlockMaker:
    """Makes the cells of blocks; one for each thread, for it holds the thread's model.

    The first overview that is kept whole is `level`. Each part of a file that cannot be read is
    unknown, and told `on_bad_block`.
    """

    def __init__(
        self, job: AreaJob, model: RasterModel, level: int, on_bad_block: Callable[[BadBlock], None]
    ) -> None:
        self._job, self._level = job, level
        self.heights = RawHeights(model, on_bad_block)
        self._halves = job.halves(model.grid, "bands")
        wide, high = self._halves
        # The kernel takes one column more than a window that is wider than two cells.
        self._margin = high, wide if wide == 1 else wide + 1
        self._kernel = Kernel(job.settings.method, job.settings.bands.edges_deg)

    def make(self, block: Block) -> BlockCells:
        """Make the cells of a block."""
        high, wide = self._margin
        raw: NDArray[Any] = np.empty((block.rows + 2 * high, block.cols + 2 * wide), self.heights.dtype)
        self.heights.read(block.row - high, block.col - wide, raw)
        ground = BlockHeights(self._job, raw, self._margin)
        bands = np.empty((block.rows, block.cols), np.uint8)
        try:
            metric = block_metric(self.heights.grid, (block.row, block.col), bands.shape)
        except ModelError:
            bands[...] = 0  # at a pole nothing can be told
        else:
            steps = ground.steps(self._halves)
            self._kernel.fill(ground.ringed(), metric, self.heights.step_m, {"bands": bands}, None, steps)
        bands[bands == 0] = UNKNOWN
        levels = [bands]
        for _ in range(self._level):
            levels.append(coarser(levels[-1]))
        return BlockCells(tuple(levels), self._thinned(raw[high:, wide:], levels[-1].shape))

    def _thinned(self, raw: NDArray[Any], shape: tuple[int, int]) -> NDArray[np.float32]:
        """One height in each coarse cell, from its middle where that lies on the model."""
        side = 1 << self._level
        rows, cols = (
            np.minimum(np.arange(size) * side + side // 2, most - 1)
            for size, most in zip(shape, raw.shape, strict=True)
        )
        found = raw[np.ix_(rows, cols)] * self.heights.step_m + self.heights.offset_m
        return np.where(np.isfinite(found), found, np.nan).astype(np.float32)


class MapCells:
    """Bands of a whole model at every zoom.

    Parameters
    ----------
    job
        Says what bands are, and by which method.
    grid
        Of the model.
    levels
        Overviews until one tile holds the model.

    Attributes
    ----------
    level
        Finest overview that is kept whole.
    heights_m
        One height in each of its cells, metres; NaN unknown or not looked at.
    """

    def __init__(self, job: AreaJob, grid: Grid, levels: int) -> None:
        self.job, self.layout = job, Layout(*grid.shape)
        self.level = LEAST_KEPT
        while np.prod(self.layout.size(self.level), dtype=float) > MOST_OVERVIEW:
            self.level += 1
        sizes = [self.layout.size(level) for level in range(self.level, max(levels, self.level) + 1)]
        self._kept = [np.full(size, NOT_LOOKED, np.uint8) for size in sizes]
        self.heights_m = np.full(sizes[0], np.nan, np.float32)
        self._blocks: Kept[BlockCells] = Kept(
            MOST_BLOCK_BYTES, lambda block: block.heights_m.nbytes + sum(one.nbytes for one in block.levels)
        )
        self._makers = threading.local()
        self._lock = threading.Lock()
        self._looked: set[int] = set()
        self.bad: dict[BadBlock, None] = {}

    @property
    def looked(self) -> int:
        """Blocks looked at so far."""
        return len(self._looked)

    def maker(self, model: RasterModel) -> BlockMaker:
        """Return what makes blocks in this thread."""
        if not hasattr(self._makers, "own"):
            self._makers.own = BlockMaker(self.job, model, self.level, self._note_bad)
        own: BlockMaker = self._makers.own
        return own

    def _note_bad(self, bad: BadBlock) -> None:
        with self._lock:
            self.bad[bad] = None

    def window(self, model: RasterModel, level: int, row: int, col: int, rows: int, cols: int) -> Cells:
        """Cells of a window of an overview, in cells of that level; flagged as unknown beyond the model.

        Level 0 are the model's own cells; the model is open in this thread.
        """
        out = np.full((rows, cols), UNKNOWN, np.uint8)
        most = self.layout.size(level)
        bottom, right = min(row + rows, most[0]), min(col + cols, most[1])
        if level >= self.level:
            found = self._kept[level - self.level][max(row, 0) : bottom, max(col, 0) : right]
            out[max(-row, 0) :, max(-col, 0) :][: found.shape[0], : found.shape[1]] = found
            return out
        side = BLOCK >> level
        for down in range(max(row, 0) // side, -(-bottom // side)):
            for over in range(max(col, 0) // side, -(-right // side)):
                cells = self.block(model, down * self.layout.right + over).levels[level]
                top, left = down * side, over * side
                r0, r1 = max(row, top), min(bottom, top + cells.shape[0])
                c0, c1 = max(col, left), min(right, left + cells.shape[1])
                out[r0 - row : r1 - row, c0 - col : c1 - col] = cells[
                    r0 - top : r1 - top, c0 - left : c1 - left
                ]
        return out

    def block(self, model: RasterModel, number: int, *, keep: bool = True) -> BlockCells:
        """Cells of a block, made where they are not kept."""

        def make() -> BlockCells:
            block = self.layout.block(number)
            made = self.maker(model).make(block)
            self._add(block, made)
            return made

        return self._blocks.get(number, make, keep=keep)

    def _add(self, block: Block, made: BlockCells) -> None:
        """Put a block into the overviews that are kept whole."""
        with self._lock:
            if block.number in self._looked:
                return
            row, col = block.row >> self.level, block.col >> self.level
            rows, cols = made.heights_m.shape
            self.heights_m[row : row + rows, col : col + cols] = made.heights_m
            self._kept[0][row : row + rows, col : col + cols] = made.levels[-1]
            bottom, right = row + rows, col + cols
            for finer, own in zip(self._kept, self._kept[1:], strict=False):
                row, col, bottom, right = row // 2, col // 2, -(-bottom // 2), -(-right // 2)
                own[row:bottom, col:right] = coarser(finer[2 * row : 2 * bottom, 2 * col : 2 * right])
            self._looked.add(block.number)

    def look_at_all(self, threads: ModelThreads, answers: threading.Event) -> None:
        """Look at every block, one after the other, while nobody waits for the threads or an answer."""
        order: list[int] = []

        def look(model: RasterModel) -> None:
            answers.wait(LONGEST_REST_S)
            if not order and not self._looked_at_all():
                _, striped = cache_for(model, BLOCK)
                order.extend(reversed([*self.layout.order(striped=striped)]))
            while order and order[-1] in self._looked:
                order.pop()
            if order:
                self.block(model, order.pop(), keep=False)
            if not self._looked_at_all():
                threads.submit(look, when=LATER)

        threads.submit(look, when=LATER)

    def _looked_at_all(self) -> bool:
        return self.looked == self.layout.count


Thing = TypeVar("Thing")


class Kept(Generic[Thing]):
    """Things by key; those not asked for longest go first. May be shared by threads.

    Parameters
    ----------
    most_bytes
        Of all things together.
    size
        Bytes of one.
    """

    def __init__(self, most_bytes: int, size: Callable[[Thing], int]) -> None:
        self._most, self._size = most_bytes, size
        self._things: OrderedDict[Hashable, Thing] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()
        self._bytes = 0

    def get(self, key: Hashable, make: Callable[[], Thing], *, keep: bool = True) -> Thing:
        """Return the thing of a key, made where it is not kept; two threads never make the same at once."""
        with self._lock:
            if key in self._things:
                self._things.move_to_end(key)
                return self._things[key]
            own = self._making.setdefault(key, threading.Lock())
        with own:
            with self._lock:
                if key in self._things:
                    return self._things[key]
            try:
                made = make()
                if keep:
                    self._put(key, made)
            finally:
                with self._lock:
                    self._making.pop(key, None)
        return made

    def _put(self, key: Hashable, made: Thing) -> None:
        with self._lock:
            if key in self._things:
                self._bytes -= self._size(self._things.pop(key))
            self._things[key] = made
            self._bytes += self._size(made)
            while self._bytes > self._most:
                _, old = self._things.popitem(last=False)
                self._bytes -= self._size(old)


Number = TypeVar("Number", bound=np.generic)

TILE: Final = 256
"""Side of a tile, pixels."""


@dataclass(frozen=True)
class TileView:
    """A tile of the map.

    Attributes
    ----------
    zoom
        A cell is ``2 ** zoom`` pixels wide.
    x, y
        Tiles to the right of the model's first column and below its first row.
    """

    zoom: int
    x: int
    y: int

    @property
    def level(self) -> int:
        """Overview whose cells it shows; 0 for the model's own."""
        return max(0, -self.zoom)

    @property
    def side(self) -> int:
        """Pixels of such a cell along a side."""
        return 1 << max(0, self.zoom)

    @property
    def count(self) -> int:
        """Such cells along a side of the tile."""
        return TILE // self.side

    @property
    def corner(self) -> tuple[int, int]:
        """Row and column of its first cell."""
        return self.y * self.count, self.x * self.count

    @property
    def pixels(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of its pixels on the whole map, to be spread over ``[row, col]``."""
        along = np.arange(TILE)
        return (along + self.y * TILE)[:, None], (along + self.x * TILE)[None, :]

    def spread(self, cells: NDArray[Number]) -> NDArray[Number]:
        """Pixels of its cells."""
        return cells if self.side == 1 else cells.repeat(self.side, axis=0).repeat(self.side, axis=1)
