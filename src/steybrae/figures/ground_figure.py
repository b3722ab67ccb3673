"""The picture of the ground at a place: cells with their slopes, and the circle of the error."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray

from steybrae.answers.ground import ground_lines
from steybrae.errors import QuantityError
from steybrae.figures.map_axes import HALO, LINE_STYLES, band_legend
from steybrae.figures.style import INK, SMALL_PT, band_style, picture_style, unknown_style, white_box
from steybrae.screening.ground.result import GroundAt, GroundPatch
from steybrae.value import distance_off, overhead, slope, steep_length

WIDTH_IN: Final = 7.0
"""Width of the picture, inches (our choice); its height is what the words need."""

_TOP_IN: Final = 6.5
"""Height of the map and its legend, inches."""

_LINE_IN: Final = 5.8 * 1.27 / 72.0
"""Height of a line of words, inches."""

MOST_WRITTEN_CELLS: Final = 13
"""Cells across up to which each has its slope written in it (our choice)."""

MOST_FRAMED_CELLS: Final = 60
"""Cells across up to which each has a frame; beyond, frames would cover the colours (our choice)."""

MOST_DRAWN_CELLS: Final = 600
"""Cells across beyond which several are drawn as one: the picture has some 750 dots (our choice)."""


def ground_figure(ground: GroundAt) -> Figure:
    """Draw the cells around a place, the circle of its error, and what was found; north up and true.

    Unknown cells are cross-hatched, and so is all around the model. `QuantityError` for a result
    without its patch of cells.
    """
    if ground.patch is None:
        message = "The ground should have its cells for a picture; this result has none. Look at it again."
        raise QuantityError(message)
    patch, thinned = _thinned(ground.patch)
    with picture_style():
        words = _words(ground, patch, thinned)
        height = _TOP_IN + 0.2 + (words.count("\n") + 1) * _LINE_IN
        figure = Figure(figsize=(WIDTH_IN, height), dpi=150)
        axes = figure.add_axes((0.09, 1.0 - 5.5 / height, 0.86, 5.15 / height))
        title = f"Ground at {ground.place.written or 'a place'}"
        axes.set_title(title, fontsize=10, loc="left", fontweight="bold")
        _draw_cells(axes, patch)
        _draw_place(axes, ground, _half_m(ground, patch))
        legend = figure.add_axes((0.09, 1.0 - 6.28 / height, 0.86, 0.38 / height))
        band_legend(legend, patch.labels, hatched=True)
        figure.text(0.09, 1.0 - _TOP_IN / height, words, fontsize=5.8, va="top", linespacing=1.25)
    return figure


def ground_metadata(ground: GroundAt) -> dict[str, str]:
    """Title, cautions and provenance of the picture, for `steybrae.figures.route_figure.figure_bytes`."""
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


def _thinned(patch: GroundPatch) -> tuple[GroundPatch, int]:
    """Make one of several cells where there are too many to see: unknown where any is, else the steepest."""
    step = -(-max(patch.band.shape) // MOST_DRAWN_CELLS)
    if step == 1:
        return patch, 1
    rows, cols = (np.append(np.arange(0, size, step), size) for size in patch.band.shape)

    def over(values: NDArray[Any], most: np.ufunc = np.maximum) -> NDArray[Any]:
        found: NDArray[Any] = most.reduceat(most.reduceat(values, rows[:-1], axis=0), cols[:-1], axis=1)
        return found

    known = over(patch.band, np.minimum) >= 0
    thinned = replace(
        patch,
        slope_deg=over(patch.slope_deg),
        band=np.where(known, over(patch.band), -1),
        edges_east_m=patch.edges_east_m[np.ix_(rows, cols)],
        edges_north_m=patch.edges_north_m[np.ix_(rows, cols)],
        inside=over(patch.inside, np.logical_or),
    )
    return thinned, step


def _across(patch: GroundPatch) -> int:
    """Cells that count, along a row."""
    return int(patch.inside.any(axis=0).sum())


def _draw_cells(axes: Axes, patch: GroundPatch) -> None:
    """Fill the cells band by band, one path each, and frame those that count."""
    axes.set_facecolor("white")
    count, across = len(patch.labels), _across(patch)
    for band in np.unique(patch.band).tolist():
        style = unknown_style() if band < 0 else band_style(band, count)
        # Smoothed edges would leave a light seam between two bands.
        axes.add_patch(
            PathPatch(_runs(patch, patch.band == band), antialiased=False, gid=f"band {band}", **style)
        )
    if across <= MOST_FRAMED_CELLS:
        everywhere = np.ones_like(patch.inside)
        axes.add_collection(_frames(patch, everywhere, np.logical_or, 0.12), autolim=False)
        width = 0.9 if across <= MOST_WRITTEN_CELLS else 0.35
        axes.add_collection(_frames(patch, patch.inside, np.logical_or, width), autolim=False)
    else:
        axes.add_collection(_frames(patch, patch.inside, np.logical_xor, 0.9), autolim=False)
    if across <= MOST_WRITTEN_CELLS:
        _write_slopes(axes, patch)


def _runs(patch: GroundPatch, cells: NDArray[np.bool_]) -> Path:
    """Outline of cells: a four-sided figure for each run of them along a row."""
    turns = np.diff(np.pad(cells, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, first = np.nonzero(turns == 1)
    _, last = np.nonzero(turns == -1)
    corners = _corners(patch, np.stack((row, row, row + 1, row + 1, row)), (first, last, last, first, first))
    codes = np.tile([Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY], len(row))
    return Path(corners.swapaxes(0, 1).reshape(-1, 2), codes)


def _corners(patch: GroundPatch, row: Any, col: Any) -> NDArray[np.float64]:
    """Places of corners, metres east and north along the last axis."""
    at = (np.asarray(row), np.asarray(col))
    return np.stack((patch.edges_east_m[at], patch.edges_north_m[at]), axis=-1)


def _frames(
    patch: GroundPatch, cells: NDArray[np.bool_], meet: Callable[..., Any], width_pt: float
) -> LineCollection:
    """Sides of cells: of each where `meet` is "or", of all of them together where it is "exclusive or"."""
    padded = np.pad(cells, 1)
    top_row, top_col = np.nonzero(meet(padded[1:, 1:-1], padded[:-1, 1:-1]))
    left_row, left_col = np.nonzero(meet(padded[1:-1, 1:], padded[1:-1, :-1]))
    begins = _corners(patch, np.append(top_row, left_row), np.append(top_col, left_col))
    ends = _corners(patch, np.append(top_row, left_row + 1), np.append(top_col + 1, left_col))
    sides = list(np.stack((begins, ends), axis=1))
    return LineCollection(sides, colors=INK, linewidths=width_pt, capstyle="projecting", zorder=1.1)


def _write_slopes(axes: Axes, patch: GroundPatch) -> None:
    for row, col in np.argwhere(patch.inside):
        middle = _corners(patch, [row, row + 1], [col, col + 1]).mean(axis=0)
        figure = "?" if patch.band[row, col] < 0 else slope(float(patch.slope_deg[row, col])).figure
        east, north = (float(value) for value in middle)
        # Over the arrows: the slope of the place itself stands where they begin.
        style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": SMALL_PT, "zorder": 4.0}
        style |= {"bbox": white_box(0.7), "clip_on": True}
        axes.text(east, north, figure, **style)


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
        angle = overhead(sight.deg, at_least=ground.unknown_above).text
        words = f"start zone\n{angle}, {distance_off(sight.distance_m).text}"
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
                "linestyle": LINE_STYLES["sight"].dashes if dashed and colour == INK else "solid",
            },
        )
    style: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 7, "fontweight": "bold"}
    axes.text(float(label[0]), float(label[1]), words, bbox=white_box(1.0), zorder=5.0, **style)


def _words(ground: GroundAt, patch: GroundPatch, thinned: int) -> str:
    radius = steep_length(ground.within.radius_m).text
    lines = [line for line in ground_lines(ground) if line]
    framed = "framed cells" if _across(patch) <= MOST_FRAMED_CELLS else "cells inside the full line"
    lines += [f"Dashed: circle of {radius}; {framed} count towards it; + the place."]
    if thinned > 1:
        lines += [
            f"Each square stands for {thinned} x {thinned} cells of the model: unknown where one of them is, "
            "else of the band of the steepest."
        ]
    lines += [f"• {caution.text}" for caution in ground.cautions]
    return "\n".join(textwrap.fill(line, 128, subsequent_indent="  ") for line in lines)
