"""What is known of every cell before the rasters are made, a whole block in each piece of a file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK, Block, filled
from steybrae.raster.files.outputs import SmallFile, free_writer_name

Cells = NDArray[Any]

RING: Final = 2
"""Cells of the neighbours around a block: as far as a knight's move reaches."""

RINGED: Final = BLOCK + 2 * RING


def piece_of(file: SmallFile, block: Block) -> Cells:
    """Cells of a block, ``[row, col]``, 0 to 255, read-only; 0 where nothing was written yet."""
    raw = file.read(block.number, 1).ljust(BLOCK * BLOCK, b"\0")
    return np.frombuffer(raw, np.uint8).reshape(BLOCK, BLOCK)[: block.rows, : block.cols]


def put_piece(file: SmallFile, block: Block, cells: Cells) -> None:
    """Write the cells of a block."""
    file.write(block.number, filled(cells, (BLOCK, BLOCK), 0).tobytes())


@dataclass(frozen=True, eq=False)
class Pieces:
    """Files of pieces in a working folder, which several processes may open.

    Attributes
    ----------
    folder
        The working folder.
    heights
        Heights of each block and its ring in single precision, metres, unpacked once for all angles.
    classes
        Class of each cell (`steybrae.raster.overhead.survey`).
    """

    folder: Path
    heights: SmallFile
    classes: SmallFile

    def new_steepest(self) -> SmallFile:
        """File of a writer's own for the largest angle at which each cell is reached, whole degrees."""
        return SmallFile(self.folder / f"{free_writer_name()}.steepest", BLOCK * BLOCK)

    def put_heights(self, block: Block, ringed: Cells) -> None:
        """Keep the heights of a block and its ring."""
        self.heights.write(block.number, filled(ringed, (RINGED, RINGED), 0.0).tobytes())

    def heights_of(self, block: Block) -> Cells:
        """Heights of a block and its ring, ``[row, col]``, metres."""
        raw = np.frombuffer(self.heights.read(block.number, 1), np.float32).reshape(RINGED, RINGED)
        return np.ascontiguousarray(raw[: block.rows + 2 * RING, : block.cols + 2 * RING])


@contextmanager
def open_pieces(folder: Path) -> Iterator[Pieces]:
    """Open the files of a working folder."""
    heights = SmallFile(folder / "heights.pieces", 4 * RINGED**2)
    classes = SmallFile(folder / "classes.pieces", BLOCK * BLOCK)
    try:
        yield Pieces(folder, heights, classes)
    finally:
        heights.close()
        classes.close()
