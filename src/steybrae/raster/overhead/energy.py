"""The energy line over a whole model: block by block, until no block brings a neighbour more.

At each angle every block is settled once, with what its neighbours had by then, and again whenever
one of them brings it more. Heads only ever rise, and only to what a path of snow gives, so that the
end does not depend on the order nor on where the blocks are cut.

Angles need nothing of each other: each thread, here or on a cluster, takes some and all blocks. Blocks
are visited along panels, and the heads of the last few are kept. A block is looked at again when it
would be let go, after all that follow it in the panel, and goes on from where it stood: of its
tiles only those at its edge are swept anew.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK, PANEL_BLOCKS, Block, Layout
from steybrae.raster.files.outputs import SmallFile, free_writer_name
from steybrae.raster.overhead.heads import brings_more, first_heads, mark_reached
from steybrae.raster.overhead.kernel import settle
from steybrae.raster.overhead.layers import RING, TILE_CELLS, Pieces, piece_of, put_piece
from steybrae.raster.overhead.survey import tile_lengths_m
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG

TOP, BOTTOM, LEFT, RIGHT = range(4)

_PIECE: Final = (4, RING, BLOCK)


def neighbours(layout: Layout, number: int) -> Iterator[tuple[int, int, int]]:
    """Blocks around one: number, and rows and columns of blocks away."""
    down, right = divmod(number, layout.right)
    for j in (-1, 0, 1):
        for i in (-1, 0, 1):
            if (i or j) and 0 <= down + j < layout.down and 0 <= right + i < layout.right:
                yield (down + j) * layout.right + right + i, j, i


class Frames:
    """The two outermost rows and columns of every block's heads, at some angles.

    Parameters
    ----------
    path
        File that holds them; written over.
    layout
        Blocks of the raster.
    angles
        How many angles.
    """

    def __init__(self, path: Path, layout: Layout, angles: int) -> None:
        self._layout, self._angles = layout, angles
        self._file = SmallFile(path, int(np.prod(_PIECE)) * 4)
        self._written: set[tuple[int, int]] = set()
        self._lock = threading.Lock()

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def put(self, number: int, angle: int, head: Cells) -> None:
        """Keep the edges of a block's heads; `head` has the ring around."""
        own = head[RING:-RING, RING:-RING]
        rows, cols = own.shape
        piece = np.full(_PIECE, -np.inf, np.float32)
        # The last block may be thinner than the ring: what it lacks stays without a head.
        high, wide = min(RING, rows), min(RING, cols)
        piece[TOP, :high, :cols], piece[BOTTOM, RING - high :, :cols] = own[:high], own[-high:]
        piece[LEFT, :wide, :rows], piece[RIGHT, RING - wide :, :rows] = own[:, :wide].T, own[:, -wide:].T
        if np.isneginf(piece).all():
            return
        self._file.write(number * self._angles + angle, piece.tobytes())
        with self._lock:
            self._written.add((number, angle))

    def fill_ring(self, number: int, angle: int, head: Cells) -> None:
        """Set the ring around a block's heads to what its neighbours have there."""
        rows, cols = (size - 2 * RING for size in head.shape)
        for other, j, i in neighbours(self._layout, number):
            with self._lock:
                if (other, angle) not in self._written:
                    continue
            raw = self._file.read(other * self._angles + angle, 1)
            piece = np.frombuffer(raw, np.float32).reshape(_PIECE)
            place = head[_ring(j, rows), _ring(i, cols)]
            if j:
                edge = piece[BOTTOM if j < 0 else TOP]
                if i:
                    # A block to the left is never the last, and whole.
                    edge = edge[:, BLOCK - RING : BLOCK] if i < 0 else edge[:, :RING]
                place[...] = edge[:, : place.shape[1]]
            else:
                place[...] = piece[RIGHT if i < 0 else LEFT].T[: place.shape[0]]


def _ring(step: int, size: int) -> slice:
    """Rows or columns of the ring, or of the block, in an array with the ring."""
    if step == 0:
        return slice(RING, RING + size)
    return slice(0, RING) if step < 0 else slice(RING + size, 2 * RING + size)


Cells = NDArray[Any]

ANGLES_DEG: Final = tuple(int(angle) for angle in PATH_ANGLES_DEG)
"""Angles that are tried, whole degrees."""

ANGLES_AT_ONCE: Final = 2
"""Angles for which a block's heights are read once. What a kill loses is the angles under way."""

LEAN_DEG: Final = 0.01
"""So much flatter is tried, degrees, that single precision never lets snow stop short: a head of 4000 m
is rounded by 0.0002 m at each step, a few hundredths of a metre on the longest way."""

BLOCKS_KEPT: Final = PANEL_BLOCKS + 2
"""Blocks whose heads a thread keeps, 4 MB for each angle: when one is let go, all around it in its panel
have been visited."""

LENGTHS_KEPT: Final = 2000
"""Blocks whose lengths are kept, 6 kB each."""


@dataclass(frozen=True, eq=False)
class Energy:
    """Settles the blocks of a model at any angles; threads may share it.

    Attributes
    ----------
    grid, layout
        Of the model.
    pieces
        Heights and classes of every block.
    steepest
        Pieces with the largest angle at which each cell was reached so far, degrees; raised.
    lowest_m
        Height of the lowest known ground of the whole model.
    folder
        For the edges of blocks.
    """

    grid: Grid
    layout: Layout
    pieces: Pieces
    steepest: SmallFile
    lowest_m: float
    folder: Path
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _lengths: dict[int, Array] = field(default_factory=dict)

    def solve(self, angles_deg: Sequence[int], visited: Callable[[], None] | None = None) -> None:
        """Settle every block at some angles.

        Parameters
        ----------
        visited
            Called after the first visit to each block.
        """
        with _frames(self.folder, self.layout, len(angles_deg)) as frames:
            _Round(self, tuple(angles_deg), frames).run(visited or (lambda: None))

    def lengths(self, block: Block) -> Array:
        """Lengths of the steps in a block's tiles and those around; kept, for each angle asks for them."""
        found = self._lengths.get(block.number)
        if found is None:
            found = self._lengths_of(block)
            if len(self._lengths) < LENGTHS_KEPT:
                self._lengths[block.number] = found
        return found

    def _lengths_of(self, block: Block) -> Array:
        down, right = (-(-size // TILE_CELLS) + 2 for size in (block.rows, block.cols))
        first = block.row // TILE_CELLS - 1, block.col // TILE_CELLS - 1
        return tile_lengths_m(self.grid, *first, down, right)

    def raise_steepest(self, block: Block, reached: Cells) -> None:
        """Keep the largest angles of a block."""
        with self._lock:
            put_piece(self.steepest, block, np.maximum(piece_of(self.steepest, block), reached))


@contextmanager
def _frames(folder: Path, layout: Layout, angles: int) -> Iterator[Frames]:
    path = folder / f"{free_writer_name()}.frames"
    frames = Frames(path, layout, angles)
    try:
        yield frames
    finally:
        frames.close()
        path.unlink()


class _Round:
    """All blocks at some angles, in one thread."""

    def __init__(self, energy: Energy, angles_deg: tuple[int, ...], frames: Frames) -> None:
        self._energy, self._angles, self._frames = energy, angles_deg, frames
        self._waiting: dict[int, set[int]] = {}
        self._kept: dict[int, dict[int, Cells]] = {}
        self._spare: list[Cells] = []

    def run(self, visited: Callable[[], None]) -> None:
        """Visit every block, and again while one waits."""
        everything = set(range(len(self._angles)))
        for number in self._energy.layout.order():
            self._visit(number, everything)
            visited()
        while self._waiting:
            near = next((number for number in self._kept if number in self._waiting), None)
            self._visit(next(iter(self._waiting)) if near is None else near, set())

    def _visit(self, number: int, asked: set[int]) -> None:
        """Settle a block, from its kept heads or anew, and let the oldest go."""
        asked = asked | self._waiting.pop(number, set())
        heads = self._kept.pop(number, {})
        self._settle(number, asked, heads)
        self._kept[number] = heads
        if len(self._kept) > BLOCKS_KEPT:
            oldest = next(iter(self._kept))
            heads, again = self._kept.pop(oldest), self._waiting.pop(oldest, None)
            if again:
                self._settle(oldest, again, heads)
            self._spare += heads.values()

    def _settle(self, number: int, asked: set[int], heads: dict[int, Cells]) -> None:
        """Settle a block at some angles; `heads` has those of before, and gets the new ones."""
        energy, lowest_m = self._energy, np.float32(self._energy.lowest_m)
        block = energy.layout.block(number)
        z = energy.pieces.heights_of(block)
        # Numbers of its own: the kernel is compiled for arrays that can be written to.
        classes = piece_of(energy.pieces.classes, block).copy()
        lengths = energy.lengths(block)
        reached = np.zeros_like(classes)
        for k in sorted(asked):
            lost = (np.tan(np.radians(self._angles[k] - LEAN_DEG)) * lengths).astype(np.float32)
            again = k in heads
            if not again:
                heads[k] = self._room(z)
                first_heads(z, classes, heads[k])
            head = heads[k]
            self._frames.fill_ring(number, k, head)
            settle(head, z, lowest_m, lost, again)
            self._frames.put(number, k, head)
            mark_reached(head, z, classes, np.uint8(self._angles[k]), reached)
            self._mark(number, k, brings_more(head, z, lowest_m, lost))
        energy.raise_steepest(block, reached)

    def _room(self, like: Cells) -> Cells:
        """Array for heads, used anew where one of the shape was let go: fresh memory costs time."""
        for k, spare in enumerate(self._spare):
            if spare.shape == like.shape:
                return self._spare.pop(k)
        self._spare.clear()
        return np.empty_like(like)

    def _mark(self, number: int, angle: int, bits: int) -> None:
        for other, j, i in neighbours(self._energy.layout, number):
            if bits >> (3 * (j + 1) + i + 1) & 1:
                self._waiting.setdefault(other, set()).add(angle)


@contextmanager
def open_energy(folder: Path, grid: Grid, pieces: Pieces, lowest_m: float) -> Iterator[Energy]:
    """Make what settles blocks, with a file of its own for what it finds.

    Parameters
    ----------
    folder
        The working folder.
    pieces
        From the survey.
    lowest_m
        Height of the lowest known ground.
    """
    with ExitStack() as stack:
        steepest = pieces.new_steepest()
        stack.callback(steepest.close)
        yield Energy(grid, Layout(*grid.shape), pieces, steepest, lowest_m, folder)
