"""Marks that several figures draw; apart from colours, for pages need those and effects take long to load."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from matplotlib import patheffects
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from steybrae.bands import in_degrees
from steybrae.figures.style import INK, SMALL_PT, band_hatch, band_tint, hatch_ink, unknown_style

HALO: Final = (patheffects.withStroke(linewidth=1.6, foreground="white"),)


def swatch(axes: Axes, corner: tuple[float, float], size: tuple[float, float], **style: Any) -> Rectangle:
    """Add a framed rectangle to a legend."""
    patch = Rectangle(corner, *size, **style)
    axes.add_patch(patch)
    axes.add_patch(Rectangle(corner, *size, fill=False, edgecolor=INK, linewidth=0.5))
    return patch


def band_legend(axes: Axes, labels: Sequence[str], *, hatched: bool) -> None:
    """Draw a swatch for each band, then one for unknown ground, all across the axes."""
    count = len(labels)
    axes.set_axis_off()
    axes.set_xlim(0, count + 1)
    axes.set_ylim(0, 1)
    for k, label in enumerate(labels):
        hatch = {"edgecolor": hatch_ink(k, count), "hatch": band_hatch(k)} if hatched else {}
        swatch(axes, (k + 0.05, 0.4), (0.9, 0.6), linewidth=0.0, facecolor=band_tint(k, count), **hatch)
        axes.text(k + 0.5, 0.3, in_degrees(label), ha="center", va="top", fontsize=SMALL_PT)
    swatch(axes, (count + 0.05, 0.4), (0.9, 0.6), **unknown_style())
    axes.text(count + 0.5, 0.3, "unknown", ha="center", va="top", fontsize=SMALL_PT)
