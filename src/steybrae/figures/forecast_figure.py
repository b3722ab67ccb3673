"""A forecast as a picture: heights against aspects for each rating and problem, and the profile.

Plain matrices with numbers, and a strip along the profile that shows where named ground is
crossed. No colour stands for a level.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from steybrae.answers.forecast import finding_lines, head_line, written
from steybrae.document import NONE
from steybrae.errors import BulletinError
from steybrae.figures.style import INK, SMALL_PT, UNKNOWN_HATCH, picture_style
from steybrae.forecast.beside import ForecastBeside, HeightsByAspect, NamedOnLeg
from steybrae.forecast.bulletin import standard_words
from steybrae.screening.result import RouteScreening
from steybrae.terrain.attributes import SECTORS
from steybrae.value import and_more, steep_length

PAGE_IN: Final = (8.27, 11.69)
"""A4 upright, inches."""

MOST_PARTS: Final = 12
"""Ratings and problems that find room on the page; the table has all of them (our choice)."""

_NAMED: Final = "0.82"
_OVERHEAD: Final[dict[str, Any]] = {
    "facecolor": "none",
    "edgecolor": "0.45",
    "hatch": "////",
    "linewidth": 0.0,
}
_ACROSS: Final = 3
_FOOT_LINE: Final = 0.0082
"""Height of a line of small print, share of the page."""


def forecast_figure(screening: RouteScreening) -> Figure:
    """Draw a forecast beside a line, on A4 upright.

    What has to be seen first, matrices, profile with strips, cautions. `BulletinError` for a
    screening without a forecast.
    """
    forecast = screening.forecast
    if forecast is None or not forecast.legs:
        message = "A picture of the forecast needs one; this screening has none. Give --bulletin."
        raise BulletinError(message)
    with picture_style():
        figure = Figure(figsize=PAGE_IN, dpi=150)
        top = _head(figure, screening, forecast)
        foot = _foot(figure, screening, forecast)
        rows = forecast.legs[0].named[:MOST_PARTS] if forecast.legs else ()
        if forecast.matrix is not None and rows:
            _matrices(figure, forecast, rows, (foot + 0.27, top))
        _profile(figure.add_axes((0.13, foot + 0.035, 0.82, 0.19)), screening, forecast, rows)
    return figure


def forecast_metadata(screening: RouteScreening) -> Mapping[str, str]:
    """Title, cautions and provenance of the picture, for `steybrae.figures.route_figure.figure_bytes`."""
    forecast = screening.forecast
    heads = () if forecast is None else tuple(head_line(b, forecast.region_asked) for b in forecast.bulletins)
    return {
        "title": f"Forecast beside {screening.name or 'a route'}",
        "cautions": " ".join(caution.text for caution in screening.cautions),
        "provenance": " ".join((*finding_lines(forecast), *heads)),
        "software": "steybrae",
    }


def _head(figure: Figure, screening: RouteScreening, forecast: ForecastBeside) -> float:
    """Write title, findings and who issued it; returns how far down it reaches, share of the page."""
    figure.text(0.06, 0.972, f"Forecast beside {screening.name or 'the route'}", fontsize=13, weight="bold")
    lines = [(line, True) for line in finding_lines(forecast)]
    lines += [
        (f"{_number(forecast, k)}{head_line(bulletin, forecast.region_asked)}", False)
        for k, bulletin in enumerate(forecast.bulletins[:3])
    ]
    lines += [(written(b.highlights), False) for b in forecast.bulletins[:3] if b.highlights]
    y = 0.957
    for line, loud in lines:
        for piece in textwrap.wrap(line, 118)[:4]:
            figure.text(0.06, y, piece, fontsize=7.5, weight="bold" if loud else "normal", color=INK)
            y -= 0.0115
    words = (
        f"Numbers: metres of the line on | in the corridor | below ground of that height and aspect, "
        f"{and_more(forecast.least_slope_deg)} (below: start zones). Grey with a frame: named. What is not "
        "named is not free of the problem."
    )
    left_out = len(forecast.legs[0].named) - MOST_PARTS
    if left_out > 0:
        words += f" {left_out} more ratings and problems found no room here: see the table."
    for piece in textwrap.wrap(words, 125):
        figure.text(0.06, y - 0.004, piece, fontsize=7)
        y -= 0.0105
    return y - 0.012


def _number(forecast: ForecastBeside, bulletin: int) -> str:
    """Give the number of one of several bulletins, which stands before its hours and each of its parts."""
    return f"{bulletin + 1}: " if len(forecast.bulletins) > 1 else ""


def _matrices(
    figure: Figure, forecast: ForecastBeside, rows: Sequence[NamedOnLeg], span: tuple[float, float]
) -> None:
    across = min(_ACROSS, len(rows)) if len(rows) > 1 else 1
    down = -(-len(rows) // across)
    width, height = 0.90 / across, (span[1] - span[0]) / down
    for k, row in enumerate(rows):
        left = 0.06 + (k % across) * width
        bottom = span[1] - (k // across + 1) * height
        axes = figure.add_axes((left + 0.035, bottom + 0.012, width - 0.05, height - 0.05))
        if forecast.matrix is not None:
            _matrix(axes, forecast.matrix, k, written=down <= 2)
        title = f"{_number(forecast, row.bulletin)}{standard_words(row.value)}\n{row.where}"
        axes.set_title(title, fontsize=7, loc="left")


def _matrix(axes: Axes, matrix: HeightsByAspect, part: int, *, written: bool) -> None:
    edges, named = matrix.height_edges_m, matrix.named[part]
    count = len(edges) - 1
    grounds = (matrix.line_m, matrix.corridor_m, matrix.overhead_m)
    for j in range(count):
        for i in range(len(SECTORS)):
            style: dict[str, Any] = {"facecolor": "white", "edgecolor": "0.8", "linewidth": 0.4}
            if named[j, i]:
                style = {"facecolor": _NAMED, "edgecolor": INK, "linewidth": 0.7, "zorder": 2}
            axes.add_patch(Rectangle((i, j), 1, 1, **style))
            metres = [steep_length(float(ground[j, i])) for ground in grounds]
            if written and any(one.shown for one in metres):
                text = "\n".join(one.figure if one.shown else NONE for one in metres)
                size = min(4.2, 60.0 / count)
                axes.text(i + 0.5, j + 0.5, text, fontsize=size, ha="center", va="center", zorder=3)
            elif any(one.shown for one in metres):
                axes.plot(i + 0.5, j + 0.5, ".", color=INK, markersize=2.0, zorder=3)
    axes.set_xlim(0, len(SECTORS))
    axes.set_ylim(0, count)
    axes.set_xticks(np.arange(len(SECTORS)) + 0.5, SECTORS, fontsize=SMALL_PT)
    step = max(1, count // 8)
    axes.set_yticks(np.arange(0, count + 1, step), [f"{e:.0f}" for e in edges[::step]], fontsize=SMALL_PT)
    axes.tick_params(length=0)


def _profile(
    axes: Axes, screening: RouteScreening, forecast: ForecastBeside, rows: Sequence[NamedOnLeg]
) -> None:
    starts = np.cumsum([0.0, *(leg.length_m for leg in screening.legs)])
    for leg, start in zip(screening.legs, starts, strict=False):
        axes.plot((leg.points.chainage_m + start) / 1000.0, leg.points.elevation_m, color=INK, linewidth=0.9)
    low, high = axes.get_ylim()
    step = 0.085 * (high - low)
    for at in starts:
        axes.axvline(at / 1000.0, color="0.75", linewidth=0.4, zorder=0)
    bottom = low - step * (len(rows) + 0.3)
    for leg, start in zip(screening.legs, starts, strict=False):
        middle = (start + leg.length_m / 2.0) / 1000.0
        axes.text(middle, high, str(leg.number), fontsize=SMALL_PT, ha="center", va="top")
    for k, row in enumerate(rows):
        y = low - step * (k + 1)
        name = f"{_number(forecast, row.bulletin)}{_strip_name(row)}"
        axes.text(-0.01, y + 0.4 * step, name, fontsize=5.2, ha="right", va="center",
                  transform=axes.get_yaxis_transform())  # fmt: skip
        for told, start in zip(forecast.legs, starts, strict=False):
            _strip(axes, told.named[k], float(start), (y, 0.72 * step))
    for leg, start in zip(screening.legs, starts, strict=False):
        _unknown(axes, leg.points.known, (leg.points.chainage_m + start) / 1000.0, (bottom, low))
    axes.set_ylim(bottom, high + 0.02 * (high - low))
    axes.set_xlim(0.0, starts[-1] / 1000.0)
    axes.set_yticks([tick for tick in axes.get_yticks() if low <= tick <= high])
    axes.set_xlabel("km along the line", fontsize=SMALL_PT)
    axes.set_title(
        "Where the line crosses named ground (black: on the line; outline: corridor; hatched: below start "
        "zones; crossed: unknown); heights in metres, legs numbered",
        fontsize=SMALL_PT,
        loc="left",
    )


def _strip_name(row: NamedOnLeg) -> str:
    when = "" if ", earlier" not in row.where and ", later" not in row.where else (
        " (earlier)" if "earlier" in row.where else " (later)"
    )  # fmt: skip
    return f"{standard_words(row.value)}{when}"


def _strip(axes: Axes, row: NamedOnLeg, start_m: float, place: tuple[float, float]) -> None:
    y, height = place
    kinds: tuple[tuple[Any, float, dict[str, Any]], ...] = (
        (row.overhead, 1.0, _OVERHEAD),
        (row.corridor, 0.8, {"facecolor": "white", "edgecolor": INK, "linewidth": 0.6}),
        (row.line, 0.5, {"facecolor": INK, "edgecolor": INK, "linewidth": 0.2}),
    )  # fmt: skip
    for ground, share, style in kinds:
        for begin, end in ground.stretches_m:
            corner = ((start_m + begin) / 1000.0, y + (1.0 - share) / 2.0 * height)
            axes.add_patch(Rectangle(corner, (end - begin) / 1000.0, share * height, **style))


def _unknown(axes: Axes, known: Any, km: Any, span: tuple[float, float]) -> None:
    for k in np.flatnonzero(~known[:-1] | ~known[1:]):
        axes.add_patch(
            Rectangle(
                (km[k], span[0]),
                km[k + 1] - km[k],
                span[1] - span[0],
                facecolor="none",
                edgecolor="0.4",
                hatch=UNKNOWN_HATCH,
                linewidth=0.0,
            )
        )


def _foot(figure: Figure, screening: RouteScreening, forecast: ForecastBeside) -> float:
    """Write what matching means and all cautions; returns how far up they reach, share of the page."""
    texts = [caution.text for caution in screening.cautions]
    lines = textwrap.wrap(" ".join((*forecast.words, *texts)), 205)
    for k, line in enumerate(reversed(lines)):
        figure.text(0.06, 0.012 + _FOOT_LINE * k, line, fontsize=5.2)
    return 0.012 + _FOOT_LINE * len(lines)
