"""The profile of a screened route: height with its bands, and slope with its interval."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

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
from steybrae.screening.pictures.picture import UNKNOWN, Profile
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array

_DIGIT_MM: Final = 2.0
"""Room that a figure of a leg number takes, millimetres."""

_WORD_MM: Final = 12.0
"""Room that the word "unknown" takes, millimetres."""

_YLABEL_MM: Final = 7.6
INTERVAL_GREY: Final = "0.78"


def draw_heights(
    axes: Axes, screening: RouteScreening, profile: Profile, size_mm: tuple[float, float]
) -> None:
    """Draw height against distance, the band of the line under it, and the numbers of the legs.

    Parameters
    ----------
    axes
        Where.
    screening, profile
        What.
    size_mm
        Width and height of the axes on paper.
    """
    low_m, high_m = _height_range(profile.elevation_m)
    _distances(axes, profile)
    axes.set_ylim(low_m, high_m)
    bands = BandScheme(screening.settings.edges_deg).bands
    count = len(bands)
    x = np.repeat(profile.edges_m, 2)[1:-1]
    heights = np.repeat(profile.elevation_m, 2)[1:-1]
    for k, band in enumerate(bands):
        here = np.repeat(profile.band == k, 2)
        if not here.any():
            continue
        axes.fill_between(
            x, low_m, np.nan_to_num(heights, nan=high_m), where=here, facecolor=band_tint(k, count),
            edgecolor=hatch_ink(k, count), hatch=band_hatch(k), linewidth=0.0, zorder=1,
            gid=f"band {band.label}",
        )  # fmt: skip
    axes.plot(profile.edges_m, profile.elevation_m, color=INK, linewidth=1.1, zorder=4, gid="height")
    _unknown(axes, profile, size_mm[0])
    _leg_numbers(axes, screening, profile, size_mm[0])
    axes.set_ylabel("height (m)", fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-_YLABEL_MM / size_mm[0], 0.5)
    axes.tick_params(labelbottom=False)
    if not np.isfinite(profile.elevation_m).any():
        axes.set_yticks([])
        return
    whole_m = float(profile.edges_m[-1])
    steeper = (size_mm[1] / (high_m - low_m)) / (size_mm[0] / whole_m)
    words = f"heights drawn {steeper:.2g} times as large as distances"
    axes.text(
        0.005, 0.04, words, transform=axes.transAxes, va="bottom", fontsize=5.5, zorder=9,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip


def draw_slopes(axes: Axes, screening: RouteScreening, profile: Profile, width_mm: float) -> None:
    """Draw the steepest slope around each place, its 95 % interval, and the corridor's slope.

    Parameters
    ----------
    axes
        Where.
    screening, profile
        What.
    width_mm
        Width of the axes on paper.
    """
    _distances(axes, profile)
    top_deg = _top_deg(profile)
    axes.set_ylim(0.0, top_deg)
    x = np.repeat(profile.edges_m, 2)[1:-1]
    low, high, slope, corridor = (
        np.repeat(values, 2)
        for values in (profile.slope_low_deg, profile.slope_high_deg, profile.slope_deg, profile.corridor_deg)
    )
    axes.fill_between(x, low, high, facecolor=INTERVAL_GREY, linewidth=0.0, zorder=2, gid="interval")
    axes.plot(x, corridor, color=INK, linewidth=0.55, linestyle=(0, (3, 1.2)), zorder=3, gid="corridor")
    axes.plot(x, slope, color=INK, linewidth=1.2, zorder=4, gid="slope")
    for edge_deg in screening.settings.edges_deg:
        if edge_deg < top_deg:
            axes.axhline(edge_deg, color="0.35", linewidth=0.4, linestyle=(0, (1, 1.5)), zorder=1)
    if np.isfinite(profile.slope_deg).any() and not np.isfinite(profile.slope_high_deg).any():
        axes.text(
            0.995, 0.95, "how far slopes may lie above the curve is not known", transform=axes.transAxes,
            ha="right", va="top", fontsize=SMALL_PT, zorder=9,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip
    edges = [edge_deg for edge_deg in screening.settings.edges_deg if edge_deg < top_deg]
    axes.set_yticks([0.0, *edges], ["0°", *(f"{edge_deg:g}°" for edge_deg in edges)], fontsize=5.0)
    _unknown(axes, profile, width_mm)
    for turn_m in profile.turns_m[1:-1]:
        axes.axvline(turn_m, color="0.3", linewidth=0.4, zorder=3)
    for leg, at_m in zip(screening.legs, profile.steepest_m, strict=True):
        if leg.slope_max_deg is not None:
            sign(axes, [(float(at_m), leg.slope_max_deg)], "v", 4.5, f"steepest {leg.number}")
    axes.set_ylabel("slope", fontsize=SMALL_PT)
    axes.yaxis.set_label_coords(-_YLABEL_MM / width_mm, 0.5)
    kilometres = profile.edges_m[-1] >= 2000.0
    axes.set_xlabel(f"distance along the line ({'km' if kilometres else 'm'})", fontsize=SMALL_PT, labelpad=1)
    if kilometres:
        axes.xaxis.set_major_formatter(lambda value, _: f"{value / 1000.0:g}")


def _height_range(elevation_m: Array) -> tuple[float, float]:
    if not np.isfinite(elevation_m).any():
        return 0.0, 1.0
    low, high = float(np.nanmin(elevation_m)), float(np.nanmax(elevation_m))
    span = max(high - low, 20.0)
    return low - 0.2 * span, high + 0.28 * span


def _top_deg(profile: Profile) -> float:
    values = np.concatenate((profile.slope_deg, profile.slope_high_deg, profile.corridor_deg, [45.0]))
    return float(min(90.0, np.nanmax(values) + 6.0))


def _distances(axes: Axes, profile: Profile) -> None:
    axes.set_xlim(0.0, float(profile.edges_m[-1]))
    axes.tick_params(labelsize=5.5, length=2.0, width=0.5, pad=1.5)


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last-plus-one of every run of set flags."""
    ends = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(int)))
    return list(zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True))


def _unknown(axes: Axes, profile: Profile, width_mm: float) -> None:
    """Cross-hatch unknown ground over the whole height."""
    whole_m = float(profile.edges_m[-1])
    for first, last in runs(profile.band == UNKNOWN):
        start_m, end_m = float(profile.edges_m[first]), float(profile.edges_m[last])
        axes.axvspan(start_m, end_m, zorder=5, gid="unknown", **unknown_style())
        if (end_m - start_m) / whole_m * width_mm >= _WORD_MM:
            axes.text(
                (start_m + end_m) / 2.0, 0.5, "unknown", transform=axes.get_xaxis_transform(), ha="center",
                va="center", fontsize=SMALL_PT, zorder=8,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip


def _leg_numbers(axes: Axes, screening: RouteScreening, profile: Profile, width_mm: float) -> None:
    whole_m = float(profile.edges_m[-1])
    free_mm = 0.0
    for leg, start_m, end_m in zip(screening.legs, profile.turns_m[:-1], profile.turns_m[1:], strict=True):
        middle_mm = (start_m + end_m) / 2.0 / whole_m * width_mm
        half_mm = _DIGIT_MM * len(str(leg.number)) / 2.0
        if middle_mm - half_mm >= free_mm:
            axes.text(
                (start_m + end_m) / 2.0, 0.97, str(leg.number), transform=axes.get_xaxis_transform(),
                ha="center", va="top", fontsize=6.5, fontweight="bold", zorder=8,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
                gid=f"leg number {leg.number}",
            )  # fmt: skip
            free_mm = middle_mm + half_mm
        if leg is not screening.legs[-1]:
            axes.axvline(end_m, color="0.3", linewidth=0.4, zorder=3, gid=f"end of leg {leg.number}")
