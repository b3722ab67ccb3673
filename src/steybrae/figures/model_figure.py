"""The picture of an examined model: its slopes, a piece at full size, and how well slopes are known."""

from __future__ import annotations

import textwrap
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from steybrae.answers.model import NOTHING, interval_text, model_lines, steep_share_text
from steybrae.bands import BandScheme
from steybrae.errors import QuantityError
from steybrae.figures.map_axes import band_legend
from steybrae.figures.style import INK, SMALL_PT, band_tints, crossed, picture_style, white_box
from steybrae.screening.model.result import ModelExamined, ModelPicture
from steybrae.terrain.attributes import band_numbers
from steybrae.terrain.dem import Array
from steybrae.value import and_more, lower

WIDTH_IN: Final = 7.0
"""Width of the picture, inches (our choice); its height is what the words need."""

_MAP_IN: Final = (3.7, 4.0)
"""Most width and height of the map, inches."""

_LINE_IN: Final = 6.6 * 1.3 / 72.0
"""Height of a line of words, inches."""

_LIGHT_FROM: Final = (-1.0, -1.0, 1.6)
"""Where the light of the piece at full size comes from: left, up, above (our choice)."""


def model_figure(found: ModelExamined) -> Figure:
    """Draw an examined model, grid north up.

    What has no height is crossed, what was not looked at is blank. `QuantityError` for a result
    without its picture.
    """
    picture = found.picture
    if picture is None:
        message = "An examined model should have its picture; this one has none. Examine it again."
        raise QuantityError(message)
    with picture_style():
        words = _words(found)
        tall = min(_MAP_IN[1], _MAP_IN[0] * found.extent.height_m / found.extent.width_m)
        below = tall < 0.6 * _MAP_IN[0]
        bars = (1.2, tall + 1.4, 3.0, 1.0) if below else (5.2, 3.35, 1.5, 1.1)
        legend = max(0.55 + tall, bars[1] + bars[3], 2.9) + 0.5
        top = legend + 0.6
        height = top + 0.2 + (words.count("\n") + 1) * _LINE_IN
        figure = Figure(figsize=(WIDTH_IN, height), dpi=150)

        def box(left: float, down: float, wide: float, high: float) -> tuple[float, float, float, float]:
            return left / WIDTH_IN, 1.0 - (down + high) / height, wide / WIDTH_IN, high / height

        title = textwrap.shorten(f"Elevation model {', '.join(found.files)}", 80)
        style: dict[str, Any] = {"fontsize": 11, "fontweight": "bold", "va": "center"}
        figure.text(0.5 / WIDTH_IN, 1.0 - 0.2 / height, title, **style)
        _draw_map(figure.add_axes(box(0.5, 0.55, _MAP_IN[0], tall)), found, picture)
        _draw_close(figure.add_axes(box(4.6, 0.55, 2.1, 2.1)), picture)
        _draw_intervals(figure.add_axes(box(*bars)), found)
        band_legend(figure.add_axes(box(0.5, legend, 6.2, 0.42)), BandScheme().labels, hatched=False)
        figure.text(0.5 / WIDTH_IN, 1.0 - top / height, words, fontsize=6.6, va="top", linespacing=1.3)
    return figure


def model_metadata(found: ModelExamined) -> dict[str, str]:
    """Title, cautions and provenance of the picture, for `steybrae.figures.route_figure.figure_bytes`."""
    return {
        "title": f"Elevation model {', '.join(found.files)}",
        "cautions": " ".join(caution.text for caution in found.cautions),
        "provenance": f"{', '.join(found.files)}; {found.uncertainty}",
        "software": "steybrae",
    }


def _draw_map(axes: Axes, found: ModelExamined, picture: ModelPicture) -> None:
    bands = BandScheme()
    slope = picture.slope_deg
    known = np.isfinite(slope)
    place = band_numbers(slope, bands)
    cells = np.ones((*slope.shape, 3))
    cells[known] = band_tints(len(bands.bands))[place[known]]
    cells[picture.looked & ~known & crossed(slope.shape)] = 0.0
    rows, cols = slope.shape
    across, up = (
        size * picture.step / 1000.0 * many
        for size, many in zip(found.cell_size_m, (cols, rows), strict=True)
    )
    axes.imshow(cells, interpolation="nearest", extent=(0.0, across, 0.0, up))
    for seam in picture.seams:
        x = [col * found.cell_size_m[0] / 1000.0 for col in seam.cols]
        y = [up - row * found.cell_size_m[1] / 1000.0 for row in seam.rows]
        axes.plot(x, y, color="white", linewidth=2.6, solid_capstyle="butt")
        axes.plot(x, y, color=INK, linewidth=1.2, linestyle=(0, (4, 2)))
    if picture.seams:
        at = axes.transAxes
        axes.text(0.02, 0.02, "dashed: seam", transform=at, fontsize=SMALL_PT, bbox=white_box(1.5))
    axes.set_xlim(0.0, across)
    axes.set_ylim(0.0, up)
    axes.set_anchor("N")
    axes.tick_params(labelsize=SMALL_PT)
    axes.set_xlabel("km across (grid north is up)", fontsize=SMALL_PT)
    axes.set_ylabel("km up", fontsize=SMALL_PT)
    words = f"Slope over {found.baseline_m:.0f} m; 30° and steeper: {steep_share_text(found)}"
    axes.set_title(words, fontsize=8, loc="left")


def _draw_close(axes: Axes, picture: ModelPicture) -> None:
    """Shade a piece so that rows, steps and facets are seen."""
    height, cell = picture.close_m, picture.close_cell_m
    axes.imshow(_light(height, cell), cmap="gray", vmin=0.0, vmax=1.0, interpolation="nearest")
    unknown = np.isnan(height)
    if unknown.any():
        row, col = np.nonzero(unknown)
        axes.plot(col, row, linestyle="none", marker="x", markersize=1.0, color=INK)
    axes.set_xticks([])
    axes.set_yticks([])
    rows, cols = height.shape
    axes.set_title(f"{cols} x {rows} cells, lit from the left", fontsize=8, loc="left")
    wide, high = cols * cell[0], rows * cell[1]
    axes.set_xlabel(
        f"{wide:.0f} x {high:.0f} m. Even ground, steps,\nrows or facets here are the model's.",
        fontsize=SMALL_PT,
    )


def _light(height_m: Array, cell_m: tuple[float, float]) -> Array:
    """Share of the light that falls on each cell, stretched to what there is of it."""
    down, right = np.gradient(height_m, cell_m[1], cell_m[0])
    size = float(np.linalg.norm(_LIGHT_FROM))
    lit = (-right * _LIGHT_FROM[0] - down * _LIGHT_FROM[1] + _LIGHT_FROM[2]) / (
        size * np.sqrt(1.0 + right**2 + down**2)
    )
    if not np.isfinite(lit).any():
        return np.ones_like(height_m)
    least, most = np.nanpercentile(lit, (2.0, 98.0))
    return np.asarray(np.nan_to_num(np.clip((lit - least) / max(most - least, 1e-9), 0.0, 1.0), nan=1.0))


def _draw_intervals(axes: Axes, found: ModelExamined) -> None:
    """Draw the ends on the three kinds of ground as bars round what the model shows."""
    at = found.example_slope_deg
    for k, example in enumerate(found.interval_examples):
        if example.down_deg is None:
            axes.text(at, k, "unknown", va="center", fontsize=SMALL_PT)
            continue
        open_above = example.up_deg is None
        up = 90.0 - at if example.up_deg is None else example.up_deg
        style: dict[str, Any] = {"facecolor": "0.75", "edgecolor": INK, "linewidth": 0.6}
        axes.barh(k, example.down_deg + up, left=at - example.down_deg, height=0.42, **style)
        words = (
            and_more(lower(at - example.down_deg).shown or 0.0)
            if open_above
            else interval_text(found, example)
        )
        axes.text(at, k + 0.27, words, ha="center", va="top", fontsize=SMALL_PT, bbox=white_box(0.6))
    axes.axvline(at, color=INK, linewidth=0.9)
    axes.set_yticks(range(len(found.interval_examples)), [one.ground for one in found.interval_examples])
    axes.set_ylim(2.75, -0.5)
    ends = [
        end
        for one in found.interval_examples
        for end in (at - (one.down_deg or 0.0), at + (one.up_deg if one.up_deg is not None else 15.0))
    ]
    axes.set_xlim(max(0.0, min(*ends, at - 10.0) - 2.0), min(90.0, max(*ends, at + 10.0) + 2.0))
    axes.tick_params(labelsize=SMALL_PT)
    axes.set_xlabel("degrees (95 %)", fontsize=SMALL_PT)
    axes.set_title(f"Where it shows {at:g}°, it may be", fontsize=8, loc="right")


def _words(found: ModelExamined) -> str:
    lines = list(model_lines(found))
    lines += [f"{one.kind}: {one.words}" for one in found.findings] or [NOTHING]
    doubted = ", ".join(one.kind for one in found.kinds_doubted)
    lines += [f"Rather not believed: --model-kind {doubted}."] if doubted else []
    lines.append(found.uncertainty)
    if found.looked_share < 1.0:
        lines.append("White: not looked at. Blocks spread over the model were.")
    if found.picture is not None and found.picture.step > 1:
        lines.append(
            f"Of {found.picture.step} x {found.picture.step} cells in one dot the steepest is shown."
        )
    lines += [f"• {caution.text}" for caution in found.cautions]
    return "\n".join(textwrap.fill(line, 122, subsequent_indent="  ") for line in lines)
