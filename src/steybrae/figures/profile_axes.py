"""The profile of a screened route: height with its bands, and slope with its interval."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection

from steybrae.bands import BandScheme
from steybrae.figures.map_axes import sign
from steybrae.figures.style import (
    INK,
    SMALL_PT,
    band_hatch,
    band_tint,
    hatch_ink,
    unknown_style,
)
from steybrae.screening.pictures.drawn import DrawnProfile
from steybrae.screening.result import RouteScreening

_DIGIT_MM: Final = 2.0
"""Room that a figure of a leg number takes, millimetres."""

_WORD_MM: Final = 12.0
"""Room that the word "unknown" takes, millimetres."""

_YLABEL_MM: Final = 7.6
INTERVAL_GREY: Final = "0.78"


def draw_heights(
    axes: Axes, screening: RouteScreening, drawn: DrawnProfile, size_mm: tuple[float, float]
) -> None:
    """Draw height against distance, the band of the line under it, and the numbers of the legs.

    Parameters
    ----------
    size_mm
        Width and height of the axes on paper.
    """
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
        axes.add_collection(
            PolyCollection(
                under, facecolor=band_tint(k, count), edgecolor=hatch_ink(k, count), hatch=band_hatch(k),
                linewidth=0.0, zorder=1, gid=f"band {band.label}",
            )
        )  # fmt: skip
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
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip


def draw_slopes(axes: Axes, drawn: DrawnProfile, width_mm: float) -> None:
    """Draw the steepest slope around each place, its 95 % interval, and the corridor's slope.

    Parameters
    ----------
    width_mm
        Width of the axes on paper.
    """
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
            ha="right", va="top", fontsize=SMALL_PT, zorder=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip
    axes.set_yticks([0.0, *drawn.edges_deg], [f"{at:g}°" for at in (0.0, *drawn.edges_deg)], fontsize=5.0)
    _unknown(axes, drawn, width_mm)
    for turn_m in drawn.turns_m:
        axes.axvline(turn_m, color="0.3", linewidth=0.4, zorder=3)
    for number, at_m, slope_deg in drawn.steepest:
        sign(axes, [(at_m, slope_deg)], "v", 4.5, f"steepest {number}")
    axes.set_ylabel("slope", fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-_YLABEL_MM / width_mm, 0.5)
    unit, size_m = drawn.unit
    axes.set_xlabel(f"distance along the line ({unit})", fontsize=SMALL_PT, labelpad=1)
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
                ha="center", va="center", fontsize=SMALL_PT, zorder=8,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
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
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6}, gid=f"leg number {number}",
            )  # fmt: skip
            free_mm = middle_mm + half_mm
    for turn_m in drawn.turns_m:
        axes.axvline(turn_m, color="0.3", linewidth=0.4, zorder=3)
