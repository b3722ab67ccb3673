"""What looks down on a line, on its map: start zones, sight lines, and signs for its shape."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes

from steybrae.quantities import slope_text
from steybrae.screening.picture import Relief, SightOnMap
from steybrae.show.labels import Labels
from steybrae.show.style import HALO, INK, SMALL_PT
from steybrae.terrain.dem import Array

__all__ = [
    "SIGHT_DASHES",
    "ZONE_DOTS",
    "draw_shapes",
    "draw_sights",
    "draw_zones",
    "number_text",
    "shape_sign",
    "sight_samples",
]

ZONE_DOTS: Final = (0, (0.7, 1.3))
ZONE_PT: Final = 0.8
SIGHT_DASHES: Final = (0, (7.0, 1.6))
_MOST_SIGHTS: Final = 9
"""Sight lines drawn at the most, the steepest (our choice)."""


def draw_zones(axes: Axes, relief: Relief) -> None:
    """Outline start zones, dotted."""
    zones = relief.zones
    if zones is None or not zones.source.any() or zones.source.all():
        return
    rows, cols = zones.grid.shape
    x, y = zones.grid.xy(np.arange(cols)[None, :] + 0.5, np.arange(rows)[:, None] + 0.5)
    inside = zones.source.astype(float)
    axes.contour(x, y, inside, [0.5], colors="white", linewidths=ZONE_PT + 0.5, zorder=3.0)
    dotted = axes.contour(
        x, y, inside, [0.5], colors=INK, linewidths=ZONE_PT, linestyles=[ZONE_DOTS], zorder=3.1
    )
    dotted.set_gid("start zones")


def draw_sights(axes: Axes, relief: Relief, labels: Labels) -> None:
    """Draw the steepest sight lines from the line to the start zones, with their angles."""
    for sight in relief.sights[:_MOST_SIGHTS]:
        numbers = ",".join(str(leg) for leg in sight.legs)
        gid = f"sight {sight.legs[0]}"
        (x0, y0), (x1, y1) = sight.stand, sight.source
        axes.plot([x0, x1], [y0, y1], color="white", linewidth=2.2, zorder=6.6)
        axes.plot([x0, x1], [y0, y1], color=INK, linewidth=0.9, linestyle=SIGHT_DASHES, zorder=6.7, gid=gid)
        axes.annotate(
            "", (x1, y1), (x1 - 0.02 * (x1 - x0), y1 - 0.02 * (y1 - y0)), zorder=6.8,
            arrowprops={"arrowstyle": "-|>,head_width=0.14,head_length=0.32", "linewidth": 0.7, "color": INK,
                        "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        text = f"\N{NORTH EAST ARROW}{numbers}: {_sight_text(sight)}{number_text(sight.number)}"
        labels.place(text, _label_at(axes, sight), f"{gid} text", start_pt=8.0, fontsize=SMALL_PT)


def sight_samples(relief: Relief) -> Array:
    """Points along the sight lines, shape ``(n, 2)``, that labels should not hide."""
    share = np.linspace(0.0, 1.0, 40)[:, None]
    lines = [
        np.array(sight.stand) + share * (np.array(sight.source) - np.array(sight.stand))
        for sight in relief.sights[:_MOST_SIGHTS]
    ]
    return np.concatenate([np.empty((0, 2)), *lines])


def _sight_text(sight: SightOnMap) -> str:
    return f"{'at least ' if sight.at_least else ''}{slope_text(sight.deg)}"


def _label_at(axes: Axes, sight: SightOnMap) -> tuple[float, float]:
    """Three fifths of the way up the part of a sight line that lies on the map."""
    (x0, y0), (x1, y1) = sight.stand, sight.source
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    share = 1.0
    for start, end, least, most in ((x0, x1, left, right), (y0, y1, low, high)):
        if end != start:
            share = min(share, ((most if end > start else least) - start) / (end - start))
    share *= 0.6
    return x0 + share * (x1 - x0), y0 + share * (y1 - y0)


def number_text(number: int | None) -> str:
    """`` [6]``, the number of a reading to expect; empty without one."""
    return "" if number is None else f" [{number}]"


def draw_shapes(axes: Axes, relief: Relief, labels: Labels) -> None:
    """Put a letter at convex rolls and terrain traps, where there is room."""
    for shape in relief.shapes:
        text = f"{shape.letter}{number_text(shape.number)}"
        labels.place(text, (shape.x, shape.y), f"shape {shape.letter} {shape.leg}", fontsize=5.0)


def shape_sign(axes: Axes, x: float, y: float, letter: str) -> None:
    """Draw the sign of a shape in a legend."""
    axes.text(
        x, y, letter, ha="center", va="center", fontsize=5.0, path_effects=HALO,
        bbox={"facecolor": "white", "edgecolor": INK, "linewidth": 0.4, "boxstyle": "round,pad=0.15"},
    )  # fmt: skip
