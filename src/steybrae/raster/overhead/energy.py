"""The energy line over a whole model: block by block, until no block brings a neighbour more.

At each angle every block is settled once, with what its neighbours had by then, and again whenever
one of them brings it more. Heads only ever rise, and only to what a way of snow gives, so that the
end does not depend on the order nor on where the blocks are cut.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import Block, Layout
from steybrae.raster.files.heights import RawHeights, this_thread
from steybrae.raster.files.outputs import SmallFile
from steybrae.raster.overhead.frames import Frames, neighbours
from steybrae.raster.overhead.kernel import RING, TILE_CELLS, brings_more, settle
from steybrae.raster.overhead.layers import START_ZONE
from steybrae.raster.overhead.pieces import piece_of, put_piece
from steybrae.raster.overhead.steps import tile_lengths_m
from steybrae.raster.overhead.survey import heights_m
from steybrae.raster.threads import each
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG

__all__ = ["ANGLES_DEG", "LEAN_DEG", "Energy"]

Cells = NDArray[Any]

ANGLES_DEG: Final = tuple(int(angle) for angle in PATH_ANGLES_DEG)
"""Angles that are tried, whole degrees."""

LEAN_DEG: Final = 0.01
"""So much flatter is tried, degrees, that single precision never lets snow stop short: a head of 4000 m
is rounded by 0.0002 m at each step, a few hundredths of a metre on the longest way."""


@dataclass(frozen=True, eq=False)
class Energy:
    """Settles the blocks of a model.

    Attributes
    ----------
    heights, layout
        The model and its blocks.
    classes
        Pieces with the class of every cell of a block.
    steepest
        Pieces with the largest angle at which each cell was reached so far, degrees; raised.
    lowest_m
        Height of the lowest known ground of the whole model.
    cache_bytes
        For GDAL, in each thread.
    """

    heights: RawHeights
    layout: Layout
    classes: SmallFile
    steepest: SmallFile
    lowest_m: float
    cache_bytes: int
    _waiting: dict[int, set[int]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def solve(
        self,
        angles_deg: Sequence[int],
        frames: Frames,
        pool: ThreadPoolExecutor,
        visited: Callable[[int], None],
    ) -> None:
        """Settle every block at some angles.

        Parameters
        ----------
        angles_deg
            Which.
        frames
            Empty, for as many angles.
        pool
            Who works.
        visited
            Called after each visit to a block, with the number of those known to be to come.
        """
        self._waiting.update({number: set(range(len(angles_deg))) for number in range(self.layout.count)})
        while self._waiting:
            round_ = sorted(self._waiting)
            for _ in each(pool, lambda number: self._visit(number, angles_deg, frames), round_):
                visited(len(self._waiting))

    def _visit(self, number: int, angles_deg: Sequence[int], frames: Frames) -> None:
        # Taken off before the neighbours' edges are read: what comes later marks it again.
        with self._lock:
            asked = self._waiting.pop(number, set())
        if asked:
            with this_thread(self.cache_bytes):
                self._settle(self.layout.block(number), asked, angles_deg, frames)

    def _settle(self, block: Block, asked: set[int], angles_deg: Sequence[int], frames: Frames) -> None:
        number = block.number
        z, worth, seeds = self._ground(block)
        lengths = self._lengths(block)
        best = piece_of(self.steepest, block).copy()
        for angle in sorted(asked):
            lost = (np.tan(np.radians(angles_deg[angle] - LEAN_DEG)) * lengths).astype(np.float32)
            head = seeds.copy()
            frames.fill_ring(number, angle, head)
            settle(head, z, worth, lost)
            frames.put(number, angle, head)
            inside = (slice(RING, -RING), slice(RING, -RING))
            np.maximum(best, np.uint8(angles_deg[angle]), out=best, where=head[inside] > seeds[inside])
            self._mark(number, angle, brings_more(head, z, worth, lost))
        put_piece(self.steepest, block, best)

    def _ground(self, block: Block) -> tuple[Cells, Cells, Cells]:
        """Heights, least heads and first heads of a block with its ring, for the kernel."""
        rows, cols = block.rows + 2 * RING, block.cols + 2 * RING
        z = heights_m(self.heights, block.row - RING, block.col - RING, rows, cols)
        z[np.isnan(z)] = -np.inf
        worth = np.maximum(z, np.float32(self.lowest_m))
        row, col = np.arange(rows) + block.row - RING, np.arange(cols) + block.col - RING
        outside = np.logical_or.outer(
            (row < 0) | (row >= self.layout.rows), (col < 0) | (col >= self.layout.cols)
        )
        z[outside] = worth[outside] = np.inf
        seeds = np.full_like(z, -np.inf)
        inside = (slice(RING, -RING), slice(RING, -RING))
        source = piece_of(self.classes, block) >= START_ZONE
        np.copyto(seeds[inside], z[inside], where=source)
        return z, worth, seeds

    def _lengths(self, block: Block) -> Array:
        down, right = (-(-size // TILE_CELLS) + 2 for size in (block.rows, block.cols))
        first = block.row // TILE_CELLS - 1, block.col // TILE_CELLS - 1
        return tile_lengths_m(self.heights.grid, *first, down, right)

    def _mark(self, number: int, angle: int, bits: int) -> None:
        for other, j, i in neighbours(self.layout, number):
            if bits >> (3 * (j + 1) + i + 1) & 1:
                with self._lock:
                    self._waiting.setdefault(other, set()).add(angle)
