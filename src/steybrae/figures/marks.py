"""Marks that several figures draw; apart from colours, for pages need those and effects take long to load."""

from __future__ import annotations

from typing import Any, Final

from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from steybrae.figures.style import INK

HALO: Final = (patheffects.withStroke(linewidth=1.6, foreground="white"),)


def swatch(axes: Axes, corner: tuple[float, float], size: tuple[float, float], **style: Any) -> Rectangle:
    """Add a framed rectangle to a legend."""
    patch = Rectangle(corner, *size, **style)
    axes.add_patch(patch)
    axes.add_patch(Rectangle(corner, *size, fill=False, edgecolor=INK, linewidth=0.5))
    return patch
