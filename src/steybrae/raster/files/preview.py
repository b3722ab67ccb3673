"""A small picture of a finished raster of classes, from its overviews."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
import rasterio
from numpy.typing import NDArray

from steybrae.frozen import dataclass

MOST_CELLS: Final = 1_000_000
"""Of a preview (our choice)."""


@dataclass(frozen=True, eq=False)
class Preview:
    """A raster of classes, thinned, 0 unknown, and its ground size in its middle."""

    cells: NDArray[np.uint8]
    width_km: float
    height_km: float


def read_preview(path: Path, cell_size_m: tuple[float, float]) -> Preview:
    """Read the finest overview of ``bands.tif`` or ``overhead.tif`` with no more than `MOST_CELLS`.

    `cell_size_m` are the ground lengths of a column and a row.
    """
    with rasterio.open(path) as whole:
        rows, cols = whole.height, whole.width
        factors = [1, *whole.overviews(1)]
    level = next((k for k, f in enumerate(factors) if rows * cols <= MOST_CELLS * f * f), len(factors) - 1)
    options: dict[str, Any] = {"overview_level": level - 1} if level else {}
    with rasterio.open(path, **options) as data:
        cells = data.read(1)
    cells.flags.writeable = False
    return Preview(cells, cols * cell_size_m[0] / 1000.0, rows * cell_size_m[1] / 1000.0)
