"""A whole raster as one picture: the bands on the ground, and how much of each there is where."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from steybrae.area.result import AreaResult
from steybrae.files.area_preview import Preview
from steybrae.files.whole import write_whole
from steybrae.show.area_tables import band_name, by_belt, by_sector
from steybrae.show.style import (
    INK,
    SMALL_PT,
    band_hatch,
    band_tint,
    hatch_ink,
    picture_style,
    unknown_style,
)

__all__ = ["area_figure", "write_area_figure"]

PAPER_MM: Final = (297.0, 210.0)
"""A4 across."""

MM_PER_INCH: Final = 25.4
DOTS_PER_INCH: Final = 200


def area_figure(result: AreaResult, preview: Preview | None) -> Figure:
    """Draw a result.

    Parameters
    ----------
    result
        Every figure shown is in it.
    preview
        The bands, thinned; None where no raster of bands was made.

    Returns
    -------
    Figure
        A4 across, cautions below.
    """
    figure = Figure(figsize=(PAPER_MM[0] / MM_PER_INCH, PAPER_MM[1] / MM_PER_INCH))
    left = 0.05
    if preview is not None:
        _map(figure.add_axes((0.05, 0.24, 0.5, 0.66)), result, preview)
        left = 0.64
    _bars(
        figure.add_axes((left, 0.60, 0.95 - left, 0.30)), result, by_sector(result), "km² by direction faced"
    )
    _bars(figure.add_axes((left, 0.24, 0.95 - left, 0.27)), result, by_belt(result), "km² by elevation")
    _legend(figure.add_axes((0.05, 0.175, 0.9, 0.035)), result)
    unknown = result.bands[-1]
    figure.text(0.05, 0.95, f"Slope bands of {', '.join(result.model.files)}", fontsize=11, va="center")
    figure.text(
        0.05,
        0.92,
        f"{result.total_km2:.2f} km² (horizontal), of which {unknown.km2:.2f} km² unknown. Map north is grid "
        "north. Of many cells in one dot the steepest is shown, and unknown where one is.",
        va="center",
    )
    _cautions(figure, result)
    return figure


def _map(axes: Axes, result: AreaResult, preview: Preview) -> None:
    count = len(result.bands) - 1
    tints = np.array([(1.0, 1.0, 1.0), *(band_tint(k, count) for k in range(count))])
    picture = tints[preview.bands]
    _cross(picture, preview.bands == 0)
    axes.imshow(picture, interpolation="nearest", extent=(0, preview.width_km, 0, preview.height_km))
    axes.set_xlabel("km across")
    axes.set_ylabel("km up")


def _cross(picture: NDArray[Any], unknown: NDArray[Any]) -> None:
    """Draw crossed lines over unknown cells, which no band has."""
    row, col = np.indices(unknown.shape)
    lines = ((row + col) % 6 == 0) | ((row - col) % 6 == 0)
    picture[unknown & lines] = 0.0


def _style(result: AreaResult, place: int) -> dict[str, Any]:
    """Look of a band, or of unknown ground, in the bars and in the legend."""
    if result.bands[place].band is None:
        return {**unknown_style(), "linewidth": 0.4}
    count = len(result.bands) - 1
    return {
        "facecolor": band_tint(place, count),
        "hatch": band_hatch(place),
        "edgecolor": hatch_ink(place, count),
        "linewidth": 0.0,
    }


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
        text = f"{band_name(row)}{'' if row.band is None else '°'}\n{row.km2:.2f} km²"
        axes.text(place + 0.3, 0.5, text, va="center")


def _cautions(figure: Figure, result: AreaResult) -> None:
    lines = [f"• {caution.text}" for caution in result.cautions]
    figure.text(0.05, 0.155, "\n".join(lines), va="top", fontsize=SMALL_PT, linespacing=1.25)


def write_area_figure(
    result: AreaResult, preview: Preview | None, path: Path, *, force: bool = False
) -> None:
    """Draw a result into a file; its cautions stand in the picture and in its metadata.

    Parameters
    ----------
    result, preview
        As `area_figure`.
    path
        PNG, PDF or SVG by its ending.
    force
        Whether an existing file is replaced.
    """
    cautions = " ".join(caution.text for caution in result.cautions)
    key = {".svg": "Description", ".pdf": "Subject"}.get(path.suffix.lower(), "Description")
    with picture_style():
        figure = area_figure(result, preview)
        write_whole(
            path,
            lambda temporary: figure.savefig(temporary, dpi=DOTS_PER_INCH, metadata={key: cautions}),
            force=force,
        )
