"""Places that matter on the map of a line, sight lines from them, and start zones."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes

from steybrae.figures.labels import Labels
from steybrae.figures.style import INK
from steybrae.screening.pictures.picture import Relief
from steybrae.terrain.dem import Array

ZONE_DOTS: Final = (0, (0.7, 1.3))
ZONE_PT: Final = 0.8
SIGHT_DASHES: Final = (0, (7.0, 1.6))


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


def draw_places(axes: Axes, relief: Relief, labels: Labels) -> None:
    """Put letters at the places that matter, and lines up to what stands over those told at length."""
    for place in relief.places:
        name = place.text.split()[0]
        if place.source is not None:
            _sight(axes, place.at, place.source, f"sight {name}")
        bold = {"fontweight": "bold"} if len(place.text) > len(name) else {}
        labels.place(place.text, place.at, f"place {name}", start_pt=8.0, fontsize=6.5, must=True, **bold)


def _sight(axes: Axes, stand: tuple[float, float], source: tuple[float, float], gid: str) -> None:
    (x0, y0), (x1, y1) = stand, source
    axes.plot([x0, x1], [y0, y1], color="white", linewidth=2.2, zorder=6.6)
    axes.plot([x0, x1], [y0, y1], color=INK, linewidth=0.9, linestyle=SIGHT_DASHES, zorder=6.7, gid=gid)
    axes.annotate(
        "", (x1, y1), (x1 - 0.02 * (x1 - x0), y1 - 0.02 * (y1 - y0)), zorder=6.8,
        arrowprops={"arrowstyle": "-|>,head_width=0.14,head_length=0.32", "linewidth": 0.7, "color": INK,
                    "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


def sight_samples(relief: Relief) -> Array:
    """Points along the sight lines, shape ``(n, 2)``, that labels should not hide."""
    share = np.linspace(0.0, 1.0, 40)[:, None]
    lines = [
        np.array(place.at) + share * (np.array(place.source) - np.array(place.at))
        for place in relief.places
        if place.source is not None
    ]
    return np.concatenate([np.empty((0, 2)), *lines])
