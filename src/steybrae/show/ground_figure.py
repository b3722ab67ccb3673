"""The picture of the ground at a place: cells with their slopes, and the circle of the error."""

from __future__ import annotations

import textwrap
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from steybrae.errors import QuantityError
from steybrae.quantities import round_down, round_up, slope_text
from steybrae.screening.ground_result import GroundAt, GroundPatch
from steybrae.show.ground_tables import ground_lines
from steybrae.show.map_overhead import SIGHT_DASHES
from steybrae.show.style import (
    HALO,
    INK,
    SMALL_PT,
    band_hatch,
    band_tint,
    hatch_ink,
    picture_style,
    swatch,
    unknown_style,
)

__all__ = ["ground_figure", "ground_metadata"]

WIDTH_IN: Final = 7.0
"""Width of the picture, inches (our choice); its height is what the words need."""

_TOP_IN: Final = 6.5
"""Height of the map and its legend, inches."""

_LINE_IN: Final = 5.8 * 1.27 / 72.0
"""Height of a line of words, inches."""

MOST_WRITTEN_CELLS: Final = 13
"""Cells across up to which each has its slope written in it (our choice)."""


def ground_figure(ground: GroundAt) -> Figure:
    """Draw the cells around a place, the circle of its error, and what was found.

    Parameters
    ----------
    ground
        The result, with its patch of cells.

    Returns
    -------
    matplotlib.figure.Figure
        North up and true; unknown cells are cross-hatched, and so is all around the model.

    Raises
    ------
    QuantityError
        The result has no patch.
    """
    if ground.patch is None:
        message = "The ground should have its cells for a picture; this result has none. Look at it again."
        raise QuantityError(message)
    with picture_style():
        words = _words(ground)
        height = _TOP_IN + 0.2 + (words.count("\n") + 1) * _LINE_IN
        figure = Figure(figsize=(WIDTH_IN, height), dpi=150)
        axes = figure.add_axes((0.09, 1.0 - 5.5 / height, 0.86, 5.15 / height))
        title = f"Ground at {ground.place.written or 'a place'}"
        axes.set_title(title, fontsize=10, loc="left", fontweight="bold")
        _draw_cells(axes, ground.patch)
        _draw_place(axes, ground, _half_m(ground, ground.patch))
        legend = figure.add_axes((0.09, 1.0 - 6.28 / height, 0.86, 0.38 / height))
        _draw_legend(legend, ground.patch.labels)
        figure.text(0.09, 1.0 - _TOP_IN / height, words, fontsize=5.8, va="top", linespacing=1.25)
    return figure


def ground_metadata(ground: GroundAt) -> dict[str, str]:
    """Title, cautions and provenance of the picture, for `steybrae.show.figures.figure_bytes`."""
    return {
        "title": f"Ground at {ground.place.lat_deg:.5f}, {ground.place.lon_deg:.5f}",
        "cautions": " ".join(caution.text for caution in ground.cautions),
        "provenance": f"{', '.join(ground.model_files)}; method {ground.method}; {ground.basis}",
        "software": "steybrae",
    }


def _half_m(ground: GroundAt, patch: GroundPatch) -> float:
    """Half of the side of what is shown: the cells that count, and a little more."""
    j, i = np.nonzero(patch.inside)
    corners = [(j + dj, i + di) for dj in (0, 1) for di in (0, 1)]
    reach = max(
        float(np.abs(edges[corner]).max())
        for edges in (patch.edges_east_m, patch.edges_north_m)
        for corner in corners
    )
    return max(reach, ground.within.radius_m) * 1.08


def _draw_cells(axes: Axes, patch: GroundPatch) -> None:
    rows, cols = patch.slope_deg.shape
    axes.set_facecolor("white")
    written = int(patch.inside.any(axis=0).sum()) <= MOST_WRITTEN_CELLS
    for row in range(rows):
        for col in range(cols):
            _draw_cell(axes, patch, row, col, written=written)


def _draw_cell(axes: Axes, patch: GroundPatch, row: int, col: int, *, written: bool) -> None:
    corners = [(row, col), (row, col + 1), (row + 1, col + 1), (row + 1, col)]
    xy = [(float(patch.edges_east_m[at]), float(patch.edges_north_m[at])) for at in corners]
    count = len(patch.labels)
    band = int(patch.band[row, col])
    if band < 0:
        axes.add_patch(Polygon(xy, closed=True, **unknown_style()))
    else:
        ink, hatch = hatch_ink(band, count), band_hatch(band)
        axes.add_patch(
            Polygon(
                xy, closed=True, facecolor=band_tint(band, count), edgecolor=ink, hatch=hatch, linewidth=0.0
            )
        )
    inside = bool(patch.inside[row, col])
    axes.add_patch(
        Polygon(xy, closed=True, fill=False, edgecolor=INK, linewidth=_frame_pt(patch) if inside else 0.12)
    )
    if written and inside:
        east, north = (float(value) for value in np.mean(xy, axis=0))
        text = "?" if band < 0 else slope_text(float(patch.slope_deg[row, col])).rstrip("°")
        axes.text(
            east, north, text, ha="center", va="center", fontsize=SMALL_PT, path_effects=HALO, clip_on=True
        )


def _frame_pt(patch: GroundPatch) -> float:
    """Width of the frames of cells that count, points: thin where there are many."""
    return 0.9 if int(patch.inside.any(axis=0).sum()) <= MOST_WRITTEN_CELLS else 0.35


def _draw_place(axes: Axes, ground: GroundAt, half: float) -> None:
    axes.set_xlim(-half, half)
    axes.set_ylim(-half, half)
    radius = ground.within.radius_m
    axes.add_patch(Circle((0, 0), radius, fill=False, edgecolor="white", linewidth=3.0))
    axes.add_patch(Circle((0, 0), radius, fill=False, edgecolor=INK, linewidth=1.3, linestyle="--"))
    axes.plot([0], [0], marker="+", markersize=11, color=INK, markeredgewidth=1.6, path_effects=HALO)
    if ground.aspect_true_deg is not None:
        _draw_arrow(axes, ground.aspect_true_deg, 0.5 * half, "downhill")
    sight = None if ground.overhead is None else ground.overhead.sight
    if sight is not None and sight.deg is not None and sight.bearing_true_deg is not None:
        least = "at least " if ground.unknown_above else ""
        words = (
            f"start zone\n{least}{slope_text(sight.deg)}, {round_down(sight.distance_m or 0.0, 1.0):.0f} m"
        )
        length = min(0.78 * half, sight.distance_m or 0.0)
        _draw_arrow(axes, sight.bearing_true_deg, length, words, dashed=True)
    axes.set_aspect("equal")
    axes.tick_params(labelsize=SMALL_PT)
    axes.set_xlabel("metres east of the place (true north is up)", fontsize=SMALL_PT)
    axes.set_ylabel("metres north", fontsize=SMALL_PT)


def _draw_arrow(axes: Axes, bearing_deg: float, length: float, words: str, *, dashed: bool = False) -> None:
    """Arrow from the place along a true bearing, with its meaning at the tip."""
    towards = np.radians(bearing_deg)
    way = np.array([np.sin(towards), np.cos(towards)])
    half = axes.get_xlim()[1]
    start, tip, label = (
        share * way for share in (min(0.06 * half, 0.3 * length), length, length + 0.09 * half)
    )
    for width, colour in ((3.2, "white"), (1.4, INK)):
        axes.annotate(
            "",
            xy=(float(tip[0]), float(tip[1])),
            xytext=(float(start[0]), float(start[1])),
            arrowprops={
                "arrowstyle": "-|>",
                "linewidth": width,
                "color": colour,
                "linestyle": SIGHT_DASHES if dashed and colour == INK else "solid",
            },
        )
    box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
    style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 7, "fontweight": "bold"}
    axes.text(float(label[0]), float(label[1]), words, bbox=box, **style)


def _draw_legend(axes: Axes, labels: tuple[str, ...]) -> None:
    axes.set_axis_off()
    count = len(labels)
    axes.set_xlim(0, count + 1)
    axes.set_ylim(0, 1)
    for k, label in enumerate(labels):
        swatch(
            axes,
            (k + 0.05, 0.4),
            (0.9, 0.6),
            facecolor=band_tint(k, count),
            edgecolor=hatch_ink(k, count),
            hatch=band_hatch(k),
            linewidth=0.0,
        )
        axes.text(k + 0.5, 0.3, f"{label}°", ha="center", va="top", fontsize=SMALL_PT)
    swatch(axes, (count + 0.05, 0.4), (0.9, 0.6), **unknown_style())
    axes.text(count + 0.5, 0.3, "unknown", ha="center", va="top", fontsize=SMALL_PT)


def _words(ground: GroundAt) -> str:
    radius = round_up(ground.within.radius_m, 1.0)
    lines = [line for line in ground_lines(ground) if line]
    lines += [f"Dashed: circle of {radius:.0f} m; framed cells count towards it; + the place."]
    lines += [f"• {caution.text}" for caution in ground.cautions]
    return "\n".join(textwrap.fill(line, 128, subsequent_indent="  ") for line in lines)
