"""Heads along the edges of blocks: all that neighbouring blocks need of each other."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK, Layout
from steybrae.raster.files.outputs import SmallFile
from steybrae.raster.overhead.pieces import RING

Cells = NDArray[Any]

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
