"""Where a tile lies: its pixels on the whole map and its cells of the model."""

from __future__ import annotations

from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass

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
