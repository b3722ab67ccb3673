"""What stands round the map of a route: legend, scale bar, norths, table of legs, profile."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D

from steybrae.answers.leg import leg_slope
from steybrae.bands import STEEP_DEG, BandScheme, in_degrees
from steybrae.figures.map_axes import line_sign, sign, swatch
from steybrae.figures.style import INK, SMALL_PT, band_style, unknown_style, white_box
from steybrae.names import cut
from steybrae.quantities import INCH_MM
from steybrae.screening.pictures.drawn import (
    DrawnProfile,
    LineKind,
    bar_m,
    contour_words,
    interval_drawn,
    slope_sign_words,
    with_room,
)
from steybrae.screening.pictures.picture import LineOnMap, Relief
from steybrae.screening.pictures.relief import lines_on_map
from steybrae.screening.places.words import letters_at
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.value import AT_LEAST, UNKNOWN, gentle_length, map_scale, overhead, slope, steep_length

_DIGIT_MM: Final = 2.0
"""Room that a figure of a leg number takes, millimetres."""

_WORD_MM: Final = 12.0
"""Room that the word "unknown" takes, millimetres."""

_YLABEL_MM: Final = 7.6

_TICK_MM: Final = 2.0
"""Height that the label of a slope takes, millimetres."""

INTERVAL_GREY: Final = "0.78"


def draw_heights(
    axes: Axes, screening: RouteScreening, drawn: DrawnProfile, size_mm: tuple[float, float]
) -> None:
    """Draw height against distance, the band of the line under it, and the numbers of the legs."""
    low_m, high_m = drawn.low_m, drawn.high_m
    _distances(axes, drawn)
    axes.set_ylim(low_m, high_m)
    bands = BandScheme(screening.settings.edges_deg).bands
    count = len(bands)
    for k, band in enumerate(bands):
        here = [part.surface for part in drawn.stretches if part.band == k]
        if not here:
            continue
        under = [
            [(x[0], low_m), *zip(x, np.nan_to_num(y, nan=high_m), strict=True), (x[-1], low_m)]
            for x, y in (surface.T for surface in here)
        ]
        axes.add_collection(PolyCollection(under, zorder=1, gid=f"band {band.label}", **band_style(k, count)))
    for part in drawn.heights:
        axes.plot(*part.T, color=INK, linewidth=1.1, zorder=4, gid="height")
    _unknown(axes, drawn, size_mm[0])
    _leg_numbers(axes, drawn, size_mm[0])
    axes.set_ylabel("height (m)", fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-_YLABEL_MM / size_mm[0], 0.5)
    axes.tick_params(labelbottom=False)
    if not drawn.heights:
        axes.set_yticks([])
        return
    steeper = (size_mm[1] / (high_m - low_m)) / (size_mm[0] / drawn.whole_m)
    words = f"heights drawn {steeper:.2g} times as large as distances"
    axes.text(
        0.005, 0.04, words, transform=axes.transAxes, va="bottom", fontsize=5.5, zorder=9,
        bbox=white_box(0.8),
    )  # fmt: skip


def draw_slopes(axes: Axes, drawn: DrawnProfile, size_mm: tuple[float, float]) -> None:
    """Draw the steepest slope around each place, its 95 % interval, and the corridor's slope."""
    width_mm, height_mm = size_mm
    _distances(axes, drawn)
    axes.set_ylim(0.0, drawn.top_deg)
    interval = PolyCollection(drawn.interval, facecolor=INTERVAL_GREY, linewidth=0.0, zorder=2)
    interval.set_gid("interval")
    axes.add_collection(interval)
    for parts, width_pt, dashes, name in (
        (drawn.corridor, 0.55, (0, (3, 1.2)), "corridor"), (drawn.slope, 1.2, "solid", "slope"),
    ):  # fmt: skip
        lines = LineCollection(
            parts, colors=INK, linewidths=width_pt, linestyles=[dashes], zorder=3 + (name == "slope")
        )
        lines.set_gid(name)
        axes.add_collection(lines)
    for edge_deg in drawn.edges_deg:
        axes.axhline(edge_deg, color="0.35", linewidth=0.4, linestyle=(0, (1, 1.5)), zorder=1)
    if drawn.slope and not drawn.interval:
        axes.text(
            0.995, 0.95, "how far slopes may lie above the curve is not known", transform=axes.transAxes,
            ha="right", va="top", fontsize=SMALL_PT, zorder=9, bbox=white_box(0.8),
        )  # fmt: skip
    ticks_deg = (0.0, *drawn.edges_deg)
    told = with_room(ticks_deg, _TICK_MM * drawn.top_deg / height_mm)
    axes.set_yticks(ticks_deg, [f"{at:g}°" if at in told else "" for at in ticks_deg], fontsize=5.0)
    _unknown(axes, drawn, width_mm)
    for turn_m in drawn.turns_m:
        axes.axvline(turn_m, color="0.3", linewidth=0.4, zorder=3)
    for number, at_m, slope_deg in drawn.steepest:
        sign(axes, [(at_m, slope_deg)], "^", 4.5, f"steepest {number}")
    axes.set_ylabel("slope", fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-_YLABEL_MM / width_mm, 0.5)
    unit, size_m = drawn.unit
    words = f"distance along the line ({unit}); △ steepest of a leg"
    axes.set_xlabel(words, fontsize=SMALL_PT, labelpad=1)
    axes.xaxis.set_major_formatter(lambda value, _: f"{value / size_m:g}")


def _distances(axes: Axes, drawn: DrawnProfile) -> None:
    axes.set_xlim(0.0, drawn.whole_m)
    axes.tick_params(labelsize=5.5, length=2.0, width=0.5, pad=1.5)


def _unknown(axes: Axes, drawn: DrawnProfile, width_mm: float) -> None:
    """Cross-hatch unknown ground over the whole height."""
    for part in drawn.unknown:
        axes.axvspan(part.start_m, part.end_m, zorder=5, gid="unknown", **unknown_style())
        if (part.end_m - part.start_m) / drawn.whole_m * width_mm >= _WORD_MM:
            axes.text(
                (part.start_m + part.end_m) / 2.0, 0.5, "unknown", transform=axes.get_xaxis_transform(),
                ha="center", va="center", fontsize=SMALL_PT, zorder=8, bbox=white_box(1.0),
            )  # fmt: skip


def _leg_numbers(axes: Axes, drawn: DrawnProfile, width_mm: float) -> None:
    free_mm = 0.0
    for number, middle_m in drawn.legs:
        middle_mm = middle_m / drawn.whole_m * width_mm
        half_mm = _DIGIT_MM * len(str(number)) / 2.0
        if middle_mm - half_mm >= free_mm:
            axes.text(
                middle_m, 0.97, str(number), transform=axes.get_xaxis_transform(),
                ha="center", va="top", fontsize=6.5, fontweight="bold", zorder=8,
                bbox=white_box(0.6), gid=f"leg number {number}",
            )  # fmt: skip
            free_mm = middle_mm + half_mm
    for turn_m in drawn.turns_m:
        axes.axvline(turn_m, color="0.3", linewidth=0.4, zorder=3)


ROW_MM: Final = 2.95
"""Height of a row of the table, millimetres."""

TABLE_MM: Final = 70.0
"""Width of the table, millimetres."""

_PERHAPS: Final = f"{STEEP_DEG:g}°+?"
"""Where places stand, of a leg with possible ground alone."""

_APART_MM: Final = 2.0
"""Between a name and the figures beside it, millimetres (our choice)."""

_COLUMNS_MM: Final = (3.5, 5.0, 47.5, 61.0, 70.0)


def draw_legend(axes: Axes, screening: RouteScreening, relief: Relief) -> None:
    """Draw the bands, unknown ground and the signs, on axes in millimetres from the top left."""
    scheme = BandScheme(screening.settings.edges_deg)
    count = len(scheme.bands)
    width_mm = axes.get_xlim()[1]
    step = min(12.6, (width_mm - 35.0) / count)
    for k, band in enumerate(scheme.bands):
        swatch(axes, (k * step, 0.3), (step - 1.2, 4.4), gid=f"band {band.label}", **band_style(k, count))
        _word(axes, k * step + (step - 1.2) / 2.0, 6.4, in_degrees(band.label), ha="center")
        length_m = screening.totals.band_lengths_m[band.label]
        _word(
            axes,
            k * step + (step - 1.2) / 2.0,
            9.0,
            (gentle_length if k == 0 else steep_length)(length_m).text,
            ha="center",
        )
    left = count * step + 1.5
    swatch(axes, (left, 0.3), (14.0, 4.4), gid="unknown", **unknown_style())
    _word(axes, left + 7.0, 6.4, "unknown", ha="center")
    _word(axes, left + 7.0, 9.0, steep_length(screening.totals.unknown_m).text, ha="center")
    # Under the scale, off the swatch of unknown ground: they are signs of the table.
    for k, words in enumerate(_table_words(screening)):
        _word(axes, width_mm + 3.0, 16.8 + 2.6 * k, words)
    _word(axes, left + 15.5, 6.4, "slope of the ground")
    _word(axes, left + 15.5, 9.0, "length of the line")
    _signs(axes, screening, relief)


def _table_words(screening: RouteScreening) -> Iterator[str]:
    """Yield in words what stands in the table beside figures."""
    if any(_overhead(leg).endswith("+") for leg in screening.legs):
        yield f"+ after an angle overhead: {AT_LEAST}, unknown above"
    if any(leg.overhead and leg.overhead.sight_outside != leg.overhead.sight for leg in screening.legs):
        yield "overhead: from outside of start zones"
    if screening.legs_possible_only:
        yield f"{_PERHAPS} perhaps such ground on, beside or above"


def _signs(axes: Axes, screening: RouteScreening, relief: Relief) -> None:
    """Rows of signs with their meanings."""
    known = interval_drawn(relief.profile)
    line_sign(axes, "leg", 0.0, 7.0, 12.7)
    sign(axes, [(7.0, 12.7)], "o", 4.0)
    sign(axes, [(0.0, 12.7)], "s", 5.5)
    sign(axes, [(39.0, 12.7)], "v", 5.5)
    line_sign(axes, "corridor", 71.0, 79.0, 12.7)
    line_sign(axes, "index contour", 0.0, 7.0, 15.9)
    line_sign(axes, "contour", 0.0, 7.0, 16.8)
    if known:
        swatch(axes, (71.0, 15.3), (8.0, 2.0), facecolor=INTERVAL_GREY, linewidth=0.0)
    axes.add_line(Line2D([71.0, 79.0], [16.3, 16.3], color=INK, linewidth=1.2))
    _word(axes, 8.5, 12.7, "line: start, turn points")
    _word(axes, 41.0, 12.7, "B: place that matters")
    _word(axes, 80.5, 12.7, "corridor of possible straying")
    _word(axes, 8.5, 16.3, contour_words(relief))
    _word(axes, 80.5, 16.3, slope_sign_words(known))
    beside = lines_on_map(screening, relief.grid)
    _overhead_signs(axes, relief, beside=bool(beside))
    _beside_signs(axes, beside)


def _overhead_signs(axes: Axes, relief: Relief, *, beside: bool) -> None:
    """Third row of signs, before those of lines beside the main one."""
    if relief.zones:
        line_sign(axes, "start zones", 0.0, 7.0, 19.9)
        _word(axes, 8.5, 19.9, "start zone")
    else:
        _word(axes, 0.0, 19.9, "start zones not drawn")
    left = 23.5 if relief.zones else 29.0
    line_sign(axes, "sight", left, left + 4.5, 19.9)
    # Beside other lines' signs there is no room for more.
    more = "" if beside else ", of a place told at length; terminal and card have all"
    _word(axes, left + 5.5, 19.9, f"↗ sight to a start zone{more}")


def _beside_signs(axes: Axes, beside: Sequence[LineOnMap]) -> None:
    """End of the third row: lines beside the main one."""
    kinds: tuple[tuple[LineKind, float, str], ...] = (
        ("beside", 63.0, "line beside it"), ("way off", 95.0, "way off"),
    )  # fmt: skip
    for kind, left, words in kinds:
        if any(line.way_off is (kind == "way off") for line in beside):
            line_sign(axes, kind, left, left + 8.0, 19.9)
            _word(axes, left + 9.5, 19.9, words)


def draw_scale(axes: Axes, relief: Relief) -> None:
    """Draw scale bar and arrows to true and grid north, on axes in millimetres."""
    width_mm = axes.get_xlim()[1]
    ground_m = bar_m(relief, 30.0)
    length = ground_m * 1000.0 / relief.scale_denominator
    for k in range(4):
        swatch(
            axes, (k * length / 4.0, 1.2), (length / 4.0, 1.3), facecolor=INK if k % 2 == 0 else "white",
            linewidth=0.0,
        )  # fmt: skip
    axes.add_line(Line2D([0.0, length], [1.2, 1.2], linewidth=0.0, gid="scale bar"))
    _word(axes, 0.0, 4.2, "0", ha="center")
    _word(
        axes,
        length,
        4.2,
        f"{ground_m / 1000.0:g} km" if ground_m >= 1000.0 else f"{ground_m:g} m",
        ha="center",
    )
    # The line is drawn no larger than it is: the denominator goes up.
    _word(axes, 0.0, 7.2, f"{map_scale(relief.scale_denominator)} on A4 at full size")
    _word(axes, 0.0, 10.4, f"frame: {relief.crs_name}"[:52])
    _word(axes, 0.0, 13.6, north_words(relief))
    _arrow(axes, (width_mm - 14.0, 5.2), -relief.grid_north_true_deg, "true N", "true north")
    if relief.projected:
        _arrow(axes, (width_mm - 4.0, 5.2), 0.0, "grid N", "grid north")


def north_words(relief: Relief) -> str:
    """Say which north is up on a map, and how far off true north is."""
    if not relief.projected:
        return "latitude and longitude: true north is up"
    turn = relief.grid_north_true_deg
    side = "east" if turn > 0.0 else "west"
    return f"grid north is up, {abs(turn):.1f}° {side} of true north here"


def _arrow(axes: Axes, foot: tuple[float, float], turn_deg: float, text: str, gid: str) -> None:
    """Arrow turned clockwise from up, about its middle."""
    x, y = foot
    dx, dy = 3.2 * math.sin(math.radians(turn_deg)), 3.2 * math.cos(math.radians(turn_deg))
    axes.annotate(
        "", (x + dx, y - dy), (x - dx, y + dy), gid=gid,
        arrowprops={
            "arrowstyle": "-|>,head_width=0.16,head_length=0.36", "linewidth": 0.8, "color": INK,
            "shrinkA": 0, "shrinkB": 0,
        },
    )  # fmt: skip
    _word(axes, x, 10.2, text, ha="center")


def draw_table(axes: Axes, screening: RouteScreening, legs: tuple[LegScreening, ...], left_out: int) -> None:
    """Draw the steepest figures of legs, on axes in millimetres, at least `TABLE_MM` wide.

    `left_out` further legs found no room; the totals are those of the screening.
    """
    heads = ("leg", "to", "line | corridor", "overhead", "places")
    top = ROW_MM * 0.6
    perhaps = {one.leg: _PERHAPS for one in screening.legs_possible_only}
    _row(axes, top, heads, weight="bold")
    axes.add_line(Line2D([0.0, TABLE_MM], [ROW_MM * 1.15] * 2, color=INK, linewidth=0.4))
    for k, leg in enumerate(legs):
        _row(
            axes,
            top + ROW_MM * (k + 1) + 0.5,
            (*_cells(leg), " ".join(letters_at(screening.places, leg.number)) or perhaps.get(leg.number, "")),
        )
    if left_out:
        words = f"and {left_out} legs more; the unknown and the steepest stand here"
        _word(axes, 0.0, top + ROW_MM * (len(legs) + 1) + 0.5, words)


def _cells(leg: LegScreening) -> tuple[str, ...]:
    # "At least" of the line holds for both; it stands with the second where the first is unknown.
    corridor = slope(leg.slope_corridor_max_deg, at_least=leg.slope_max_deg is None).text
    figures = f"{leg_slope(leg).text} | {corridor}"
    room_mm = _COLUMNS_MM[2] - _COLUMNS_MM[1] - _APART_MM - _width_mm(figures)
    return str(leg.number), cut(leg.to, lambda name: _width_mm(name) <= room_mm), figures, _overhead(leg)


def _width_mm(text: str) -> float:
    # At so many dots to an inch no letter is pulled to a dot.
    dots: Final = 720.0
    renderer: Any = RendererAgg(1.0, 1.0, dots)  # type: ignore[no-untyped-call]
    width, *_ = renderer.get_text_width_height_descent(text, FontProperties(size=SMALL_PT), ismath=False)
    return float(width) * INCH_MM / dots


def _overhead(leg: LegScreening) -> str:
    """Steepest sight from outside of start zones, open or hidden; + where it may be steeper."""
    looks = leg.overhead
    if looks is None or (looks.sight_outside is None and leg.unknown_above):
        return UNKNOWN
    if looks.sight_outside is None:
        return "in a zone" if looks.in_start_zone else "-"
    return f"{overhead(looks.sight_outside.unfiltered_deg).text}{'+' if leg.unknown_above else ''}"


def _row(axes: Axes, y: float, cells: tuple[str, ...], weight: str = "normal") -> None:
    for k, (x, cell) in enumerate(zip(_COLUMNS_MM, cells, strict=True)):
        _word(axes, x, y, cell, ha="left" if k == 1 else "right", fontweight=weight)


def _word(axes: Axes, x: float, y: float, text: str, ha: str = "left", fontweight: str = "normal") -> None:
    axes.text(x, y, text, ha=ha, va="center", fontsize=SMALL_PT, fontweight=fontweight)
