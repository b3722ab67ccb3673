"""A whole raster as one picture: the bands on the ground, and how much of each there is where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from textwrap import fill
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from steybrae.answers import area
from steybrae.figures.style import (
    INK,
    PNG_DPI,
    SMALL_PT,
    band_style,
    band_tints,
    crossed,
    picture_style,
    unknown_style,
)
from steybrae.files.whole import write_whole
from steybrae.papers import PAPERS_MM
from steybrae.quantities import INCH_MM
from steybrae.raster.files.tiff import Preview
from steybrae.raster.job import OPEN
from steybrae.raster.legend import without_hue
from steybrae.raster.overhead.result import AreaOverhead, start_zone_words
from steybrae.raster.result import AreaResult
from steybrae.value import area_km2

PAPER_MM: Final = PAPERS_MM["a4"][::-1]
"""A4 across."""

OVERHEAD_MM: Final = 152.0
"""Height added for overhead angles, millimetres."""

LINE_LETTERS: Final = 190
"""Letters of the small text in a line of the page's width."""

CAUTION_LETTERS: Final = 240
"""Letters of a caution in a line of the page's width: one had run off the page."""


def area_figure(result: AreaResult, bands: Preview | None, overhead: Preview | None = None) -> Figure:
    """Draw a result on A4 across, higher with overhead angles; cautions below.

    `bands` and `overhead` are the rasters, thinned; None where one was not made.
    """
    high_mm = PAPER_MM[1] + (OVERHEAD_MM if overhead is not None else 0.0)
    figure = Figure(figsize=(PAPER_MM[0] / INCH_MM, high_mm / INCH_MM))

    def box(left: float, bottom_mm: float, right: float, top_mm: float) -> tuple[float, float, float, float]:
        return left, bottom_mm / high_mm, right - left, (top_mm - bottom_mm) / high_mm

    lift, left = high_mm - PAPER_MM[1], 0.05
    if bands is not None:
        _map(figure.add_axes(box(0.05, 51 + lift, 0.55, 189 + lift)), result, bands)
        left = 0.64
    sectors, belts = area.by_sector(result), area.by_belt(result)
    _bars(figure.add_axes(box(left, 126 + lift, 0.95, 189 + lift)), result, sectors, "km² by direction faced")
    _bars(figure.add_axes(box(left, 51 + lift, 0.95, 107 + lift)), result, belts, "km² by elevation")
    _legend(figure.add_axes(box(0.05, 36.5 + lift, 0.95, 44 + lift)), result)
    if overhead is not None and result.overhead is not None:
        _overhead(figure, result.overhead, overhead, box)
    unknown = result.bands[-1]
    files = ", ".join(result.model.files)
    title = f"Slope bands over {area.metres_over(result.baseline_m)} of {files}"
    figure.text(0.05, 1 - 10 / high_mm, title, fontsize=11, va="center")
    words = (
        f"{area_km2(result.total_km2).text} (horizontal), of which {area.band_km2(unknown).text} unknown. "
        "Map north is grid north. Of many cells in one dot the steepest is shown, and unknown where one is."
    )
    figure.text(0.05, 1 - 17 / high_mm, words, va="center")
    _cautions(figure, result, 32.5 / high_mm)
    return figure


def _map(axes: Axes, result: AreaResult, preview: Preview) -> None:
    tints = np.array([(1.0, 1.0, 1.0), *band_tints(len(result.bands) - 1)])
    _picture(axes, tints[preview.cells], preview)


def _picture(axes: Axes, picture: NDArray[Any], preview: Preview) -> None:
    picture[(preview.cells == 0) & crossed(picture.shape[:2])] = 0.0
    axes.imshow(picture, interpolation="nearest", extent=(0, preview.width_km, 0, preview.height_km))
    axes.set_anchor("NW")
    axes.set_ylabel("km, up and across")


def _overhead(figure: Figure, over: AreaOverhead, preview: Preview, box: Callable[..., Any]) -> None:
    """Draw overhead angles, and how much ground of each band lies under them."""
    count = len(area.overhead_labels()) - 1
    picture = band_tints(count)[area.overhead_places(preview.cells)]
    picture[preview.cells == 0] = 1.0
    more = preview.cells > OPEN
    picture[more] = without_hue(picture[more])
    _picture(figure.add_axes(box(0.05, 51, 0.55, 168)), picture, preview)
    _overhead_bars(figure.add_axes(box(0.64, 72, 0.95, 160)), over, count)
    words = fill(f"{start_zone_words(over)} Grey: unknown ground could add to the angle.", LINE_LETTERS)
    # Above the words, of which fine cells have a line more.
    _, heading, _, _ = box(0.0, 178.0 + 4.0 * max(0, words.count("\n") - 1), 1.0, 179.0)
    figure.text(
        0.05,
        heading,
        "Overhead path angle: the steepest path that snow from a source could take",
        fontsize=11,
    )
    _, below, _, _ = box(0.0, 171.0, 1.0, 172.0)
    figure.text(0.05, below, words, linespacing=1.3)


def _overhead_bars(axes: Axes, over: AreaOverhead, count: int) -> None:
    groups = area.overhead_by_band(over)
    places: Sequence[float] = range(len(groups))
    bottom, tint = np.zeros(len(groups)), 0
    for label in area.overhead_labels():
        heights = np.array([areas.get(label, 0.0) for areas in groups.values()])
        style = unknown_style(0.4)
        if label != area.NONE_KNOWN:
            style = band_style(tint, count)
            tint += 1
        axes.bar(places, heights, bottom=bottom, label=label, **style)
        bottom += heights
    axes.bar(places, bottom, fill=False, edgecolor=INK, linewidth=0.4)
    axes.set_xticks(list(places), list(groups), fontsize=SMALL_PT)
    axes.set_xlabel("the ground's own slope, degrees")
    axes.set_title("km² by slope and overhead path angle", loc="left")
    axes.legend(
        title="path angle, degrees", ncols=3, loc="upper center", bbox_to_anchor=(0.5, -0.16), frameon=False
    )


def _style(result: AreaResult, place: int) -> dict[str, Any]:
    """Look of a band, or of unknown ground, in the bars and in the legend."""
    if result.bands[place].band is None:
        return unknown_style(0.4)
    return band_style(place, len(result.bands) - 1)


def _bars(axes: Axes, result: AreaResult, groups: dict[str, dict[str, float]], title: str) -> None:
    names = list(groups)
    places: Sequence[float] = range(len(names))
    bottom = np.zeros(len(names))
    for place, row in enumerate(result.bands):
        if row.band is None:
            continue
        heights = np.array([groups[name].get(row.band.label, 0.0) for name in names])
        axes.bar(places, heights, bottom=bottom, **_style(result, place))
        bottom += heights
    axes.bar(places, bottom, fill=False, edgecolor=INK, linewidth=0.4)
    axes.set_xticks(list(places), names, rotation=30 if len(names) > 9 else 0, fontsize=SMALL_PT)
    axes.set_title(title, loc="left")


def _legend(axes: Axes, result: AreaResult) -> None:
    axes.set_axis_off()
    axes.set_xlim(0, len(result.bands))
    axes.set_ylim(0, 1)
    for place, row in enumerate(result.bands):
        axes.add_patch(Rectangle((place, 0.1), 0.25, 0.8, **_style(result, place)))
        axes.add_patch(Rectangle((place, 0.1), 0.25, 0.8, fill=False, edgecolor=INK, linewidth=0.4))
        text = f"{area.band_name(row)}{'' if row.band is None else '°'}\n{area.band_km2(row).text}"
        axes.text(place + 0.3, 0.5, text, va="center")


def _cautions(figure: Figure, result: AreaResult, top: float) -> None:
    lines = [fill(f"• {caution.text}", CAUTION_LETTERS) for caution in result.cautions]
    figure.text(0.05, top, "\n".join(lines), va="top", fontsize=SMALL_PT, linespacing=1.25)


def write_area_figure(
    result: AreaResult, bands: Preview | None, overhead: Preview | None, path: Path, *, force: bool = False
) -> None:
    """Draw a result into a PNG, PDF or SVG; its cautions stand in the picture and in its metadata."""
    cautions = " ".join(caution.text for caution in result.cautions)
    key = {".svg": "Description", ".pdf": "Subject"}.get(path.suffix.lower(), "Description")
    with picture_style():
        figure = area_figure(result, bands, overhead)
        write_whole(
            path,
            lambda temporary: figure.savefig(temporary, dpi=PNG_DPI, metadata={key: cautions}),
            force=force,
        )
