"""The map of a screened route as a small picture, for a page that is carried."""

from __future__ import annotations

import io
from typing import Final

from matplotlib.figure import Figure

from steybrae.errors import QuantityError
from steybrae.figures.map_axes import draw_map
from steybrae.figures.style import picture_style
from steybrae.screening.result import RouteScreening

_INCH_MM: Final = 25.4
_EDGE_MM: Final = 5.0
_TRIES: Final = ((140, 45), (110, 35), (90, 30), (75, 25))
"""Dots to an inch of the map on paper and quality of the compression, best first (our choice)."""


def small_map(screening: RouteScreening, most_bytes: int) -> bytes:
    """Draw the map in the best quality that is small enough.

    Parameters
    ----------
    screening
        With its relief.
    most_bytes
        Largest picture wanted.

    Returns
    -------
    bytes
        WebP, some 350 to 1000 pixels wide.

    Raises
    ------
    QuantityError
        Even the poorest is larger, or the screening has no relief.
    """
    relief = screening.relief
    if relief is None:
        message = "A map should be drawn from a screening with its relief; this one has none. Screen anew."
        raise QuantityError(message)
    width_mm, height_mm = (side + 2.0 * _EDGE_MM for side in relief.map_mm)
    with picture_style():
        figure = Figure(figsize=(width_mm / _INCH_MM, height_mm / _INCH_MM))
        share = (_EDGE_MM / width_mm, _EDGE_MM / height_mm)
        box = (*share, 1.0 - 2.0 * share[0], 1.0 - 2.0 * share[1])
        draw_map(figure.add_axes(box), screening, relief)
        for dpi, quality in _TRIES:
            out = io.BytesIO()
            figure.savefig(out, format="webp", dpi=dpi, pil_kwargs={"quality": quality, "method": 4})
            if out.tell() <= most_bytes:
                return out.getvalue()
    message = f"A map should fit into {most_bytes} bytes; its poorest picture has {out.tell()}. Ask for more."
    raise QuantityError(message)
