"""What is known of every cell before the rasters are made, a whole block in each piece of a file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK, Block, filled
from steybrae.raster.files.outputs import SmallFile

__all__ = ["Pieces", "open_pieces", "piece_of", "put_piece"]

Cells = NDArray[Any]


def piece_of(file: SmallFile, block: Block) -> Cells:
    """Cells of a block, ``[row, col]``, 0 to 255, read-only; 0 where nothing was written yet."""
    raw = file.read(block.number, 1).ljust(BLOCK * BLOCK, b"\0")
    return np.frombuffer(raw, np.uint8).reshape(BLOCK, BLOCK)[: block.rows, : block.cols]


def put_piece(file: SmallFile, block: Block, cells: Cells) -> None:
    """Write the cells of a block."""
    file.write(block.number, filled(cells, (BLOCK, BLOCK), 0).tobytes())


@dataclass(frozen=True, eq=False)
class Pieces:
    """Files of pieces.

    Attributes
    ----------
    classes
        Class of each cell (`steybrae.raster.overhead.survey`).
    steepest
        Largest angle at which it is reached, whole degrees; 0 where it is not.
    """

    classes: SmallFile
    steepest: SmallFile


@contextmanager
def open_pieces(folder: Path) -> Iterator[Pieces]:
    """Open the files of a working folder, which several processes may do."""
    found = Pieces(*(SmallFile(folder / f"{name}.pieces", BLOCK * BLOCK) for name in ("classes", "steepest")))
    try:
        yield found
    finally:
        found.classes.close()
        found.steepest.close()
