"""What can be made of a whole raster: each kind of output raster, its numbers, how it is thinned.

Overviews are what a screen shows when zoomed out, and follow the same rules as the cells: unknown
wins over all, then the steepest. So a void or a steep face never vanishes from a small picture; it
grows instead. Directions and curvature have no steeper; their overviews keep one cell of four.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["LAYERS", "LEVEL", "Layer", "halve"]

Cells = NDArray[Any]

LEVEL: Final = -1.0
"""Aspect of ground flatter than has one: its own value, for it is known."""


@dataclass(frozen=True)
class Layer:
    """One kind of output raster.

    Attributes
    ----------
    name
        The file is ``name.tif``.
    dtype
        Of its numbers.
    unknown
        The number of unknown ground.
    nodata
        Whether the file marks that number as no data; bands do not, so that unknown is drawn.
    text, unit
        What it is, for the file's own description.
    scale
        Value of one step, where the numbers are whole steps.
    thinned
        How four cells become one in an overview: ``steepest`` or ``one``.
    """

    name: str
    dtype: str
    unknown: float
    nodata: bool
    text: str
    unit: str
    scale: float | None = None
    thinned: Literal["steepest", "one"] = "steepest"


LAYERS: Final = {
    layer.name: layer
    for layer in (
        Layer(
            "slope",
            "float32",
            np.nan,
            True,
            "Fall-line slope of the true ground, rounded up to 1/2048 degree",
            "degree",
        ),
        Layer(
            "tenths",
            "uint16",
            65535,
            True,
            "Fall-line slope of the true ground in tenths of a degree, rounded up",
            "degree",
            scale=0.1,
        ),
        Layer("bands", "uint8", 0, False, "Band of the slope; 0 is unknown ground", ""),
        Layer(
            "aspect",
            "float32",
            np.nan,
            True,
            "Direction the slope faces (downhill), clockwise from true north; -1 on level ground",
            "degree",
            thinned="one",
        ),
        Layer(
            "curvature",
            "float32",
            np.nan,
            True,
            "Profile curvature along the fall line; positive where the ground is convex",
            "1/m",
            thinned="one",
        ),
    )
}
"""Every kind, by the name of its option and file, in the order in which they are told."""


def halve(cells: Cells, layer: Layer) -> Cells:
    """Half as many rows and columns, rounded up.

    Parameters
    ----------
    cells
        ``[row, col]`` of the layer; the last row or column of an odd number stands alone. Or tile
        by tile, ``[down, row, right, col]``, with even sides.
    layer
        Whose numbers they are.

    Returns
    -------
    array
        Of four cells the steepest, unknown where one of them is; or the first of the four.
    """
    if layer.thinned == "one":
        return np.ascontiguousarray(cells[::2, ::2])
    if cells.ndim == 4:
        return _halve_tiles(cells, layer)
    rows, cols = cells.shape
    # Unknown as the largest number: NaN stays NaN in a maximum, 65535 is the largest already,
    # and one below 0 is 255.
    odd = layer.unknown == 0
    known = cells - np.uint8(1) if odd else cells
    if rows % 2:
        known = np.concatenate((known, known[-1:]))
    tall = np.maximum(known[::2], known[1::2])
    if cols % 2:
        tall = np.concatenate((tall, tall[:, -1:]), axis=1)
    out: Cells = np.maximum(tall[:, ::2], tall[:, 1::2])
    return np.add(out, np.uint8(1)) if odd else out


def _halve_tiles(cells: Cells, layer: Layer) -> Cells:
    odd = layer.unknown == 0
    known = cells - np.uint8(1) if odd else cells
    tall = np.maximum(known[:, ::2], known[:, 1::2])
    out = np.maximum(tall[..., ::2], tall[..., 1::2])
    down, rows, right, cols = out.shape
    flat = np.ascontiguousarray(out).reshape(down * rows, right * cols)
    return np.add(flat, np.uint8(1)) if odd else flat
