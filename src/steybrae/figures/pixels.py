"""Pictures of pixels: hatches of bands and of unknown ground on a screen, cells and tiles as PNG."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Final

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


Mask = NDArray[np.bool_]

APART: Final = 8
"""Pixels from one line of a pattern to the next (our choice); closer for bands after the seventh."""

LEAST_APART: Final = 3

NOT_LOOKED_APART: Final = 24
"""Pixels of a stripe and its gap on ground not looked at yet."""


def pattern(hatch: str, rows: NDArray[np.intp], cols: NDArray[np.intp], wide: int = 1) -> Mask:
    """Pixels of a hatch, as `steybrae.figures.style.band_hatch` names it: true where there is ink.

    Their places on the whole map are of shapes that spread over ``[row, col]``. A line is so many
    pixels `wide`; all else grows with it.
    """
    shape = np.broadcast_shapes(rows.shape, cols.shape)
    if not hatch:
        return np.zeros(shape, np.bool_)
    sign = hatch[0]
    # The first seven are written with four, five or more signs; a repetition doubles them.
    apart = wide * max(LEAST_APART, APART * 6 // max(6, len(hatch)))
    askew = round(wide * 2**0.5)
    down, over = rows % apart, cols % apart
    if sign == "-":
        ink = (down < wide) & (cols >= cols.min())
    elif sign == "|":
        ink = (over < wide) & (rows >= rows.min())
    elif sign == "/":
        ink = (rows + cols) % apart < askew
    elif sign == "\\":
        ink = (rows - cols) % apart < askew
    elif sign == "o":
        ring = (down - apart // 2) ** 2 + (over - apart // 2) ** 2
        ink = (ring >= 4 * wide**2) & (ring <= 8 * wide**2)
    elif sign == "x":
        ink = ((rows + cols) % apart < askew) | ((rows - cols) % apart < askew)
    else:
        over = (cols + rows // apart % 2 * (apart // 2)) % apart
        ink = (down - wide) ** 2 + (over - wide) ** 2 <= 5 * (wide - 1) ** 2
    return np.broadcast_to(ink, shape)


def not_looked(rows: NDArray[np.intp], cols: NDArray[np.intp]) -> Mask:
    """Wide stripes of ground that nobody looked at yet."""
    return (rows + cols) % NOT_LOOKED_APART < NOT_LOOKED_APART // 2
