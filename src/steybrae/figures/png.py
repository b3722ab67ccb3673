"""Pictures of cells and of tiles as PNG."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Colour = tuple[int, int, int, int]


def colour(rgb: Sequence[float], opaque: float = 1.0) -> Colour:
    """Red, green, blue and opacity, 0 to 255, of parts from 0 to 1."""
    red, green, blue, alpha = (round(255 * part) for part in (*rgb, opaque))
    return red, green, blue, alpha


def palette_png(numbers: NDArray[np.uint8], colours: Sequence[Colour]) -> bytes:
    """Write a picture of at most 256 colours; `numbers` are their places, ``[row, col]``."""
    picture = Image.fromarray(numbers)
    picture.putpalette(bytes(part for one in colours for part in one[:3]))
    return _written(picture, transparency=bytes(one[3] for one in colours))


def grey_png(grey: NDArray[np.uint8], opaque: NDArray[np.uint8]) -> bytes:
    """Write a picture of greys, 0 black, with the opacity of each pixel."""
    return _written(Image.fromarray(np.dstack((grey, opaque))))


def colour_png(colours: NDArray[np.uint8], opaque: NDArray[np.bool_]) -> bytes:
    """Write a picture of colours ``[row, col, 3]``, clear where it is not opaque."""
    return _written(Image.fromarray(np.dstack((colours, np.where(opaque, np.uint8(255), np.uint8(0))))))


def _written(picture: Image.Image, **how: object) -> bytes:
    out = io.BytesIO()
    # The quickest packing: the way to the browser is short.
    picture.save(out, "PNG", compress_level=1, **how)
    return out.getvalue()
