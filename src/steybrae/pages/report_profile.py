"""The profile of the report: shapes in shares of the width, so that figures keep their size.

Across, positions are percent of the line's length; up and down percent of a panel's height,
from its top. Shapes stretch with the page, letters do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.ticker import MaxNLocator

from steybrae.figures.profile_axes import runs
from steybrae.screening.pictures.picture import Profile
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array

SPAN: Final = 10_000.0
"""Units of a panel each way; SVG paths have no percent."""

_NUMBER_SHARE: Final = (2.4, 6.0)
"""Least distance of leg numbers, percent: on a page, and on a telephone."""


@dataclass(frozen=True)
class Stretch:
    """Bins of one band next to each other; `band` is `UNKNOWN` on unknown ground."""

    start: float
    width: float
    band: int


@dataclass(frozen=True)
class Tick:
    """A figure at a place, percent; `room` is 2 on every page, 1 where it is wide, 0 on none."""

    at: float
    text: str
    room: int = 2


@dataclass(frozen=True)
class ProfileDrawing:
    """What the template needs for the profile.

    Attributes
    ----------
    stretches
        Bands along the line.
    sky, heights
        SVG path data: above the ground, and its surface.
    interval, slope, corridor
        SVG path data of the lower panel.
    height_ticks, slope_ticks, distance_ticks, leg_ticks
        Figures.
    turns
        Turn points between the ends, percent.
    steepest
        Steepest place of each leg: percent across and down.
    unit
        Of the distances.
    """

    stretches: tuple[Stretch, ...]
    sky: str
    heights: str
    interval: str
    slope: str
    corridor: str
    height_ticks: tuple[Tick, ...]
    slope_ticks: tuple[Tick, ...]
    distance_ticks: tuple[Tick, ...]
    leg_ticks: tuple[Tick, ...]
    turns: tuple[float, ...]
    steepest: tuple[tuple[float, float], ...]
    unit: str


def draw_report_profile(screening: RouteScreening, profile: Profile) -> ProfileDrawing:
    """Draw the profile along a whole line."""
    whole_m = float(profile.edges_m[-1])
    across = profile.edges_m / whole_m * SPAN
    low_m, high_m = _height_range(profile.elevation_m)
    up = (high_m - profile.elevation_m) / (high_m - low_m) * SPAN
    top_deg = _top_deg(profile)
    sloped = [
        (1.0 - values / top_deg) * SPAN
        for values in (profile.slope_deg, profile.corridor_deg, profile.slope_low_deg, profile.slope_high_deg)
    ]
    unit, size_m = ("km", 1000.0) if whole_m >= 2000.0 else ("m", 1.0)
    percent = SPAN / 100.0
    return ProfileDrawing(
        stretches=_stretches(profile, across / percent),
        sky="".join(_area(across, up, first, last) for first, last in runs(np.isfinite(up))),
        heights="".join(_line(across, up, first, last) for first, last in runs(np.isfinite(up))),
        interval=_steps_between(across, sloped[2], sloped[3]),
        slope=_steps(across, sloped[0]),
        corridor=_steps(across, sloped[1]),
        height_ticks=_height_ticks(profile, low_m, high_m),
        slope_ticks=tuple(
            Tick((1.0 - edge / top_deg) * 100.0, f"{edge:g}°")
            for edge in (0.0, *screening.settings.edges_deg)
            if edge < top_deg
        ),
        distance_ticks=tuple(
            Tick(at * size_m / whole_m * 100.0, f"{at:g}") for at in _nice(0.0, whole_m / size_m, 8)
        ),
        leg_ticks=_leg_ticks(screening, profile.turns_m / whole_m * 100.0),
        turns=tuple((profile.turns_m[1:-1] / whole_m * 100.0).round(2).tolist()),
        steepest=tuple(
            (round(float(at) / whole_m * 100.0, 2), round((1.0 - leg.slope_max_deg / top_deg) * 100.0, 2))
            for leg, at in zip(screening.legs, profile.steepest_m, strict=True)
            if leg.slope_max_deg is not None
        ),
        unit=unit,
    )


def _height_range(elevation_m: Array) -> tuple[float, float]:
    if not np.isfinite(elevation_m).any():
        return 0.0, 1.0
    low, high = float(np.nanmin(elevation_m)), float(np.nanmax(elevation_m))
    span = max(high - low, 20.0)
    return low - 0.3 * span, high + 0.2 * span


def _top_deg(profile: Profile) -> float:
    values = np.concatenate((profile.slope_deg, profile.slope_high_deg, profile.corridor_deg, [45.0]))
    return float(min(90.0, np.nanmax(values) + 4.0))


def _height_ticks(profile: Profile, low_m: float, high_m: float) -> tuple[Tick, ...]:
    if not np.isfinite(profile.elevation_m).any():
        return ()
    span = high_m - low_m
    return tuple(
        Tick((high_m - at) / span * 100.0, f"{at:g}")
        for at in _nice(low_m, high_m, 4)
        if low_m + 0.05 * span < at < high_m - 0.05 * span
    )


def _nice(low: float, high: float, count: int) -> list[float]:
    found = MaxNLocator(count, steps=[1, 2, 5, 10]).tick_values(low, high)
    return [float(at) for at in found if low <= at <= high]


def _leg_ticks(screening: RouteScreening, turns: Array) -> tuple[Tick, ...]:
    """Numbers of the legs; on narrow pages those that find room."""
    kept = [-100.0, -100.0]
    ticks = []
    for leg, start, end in zip(screening.legs, turns[:-1], turns[1:], strict=True):
        at, room = float(start + end) / 2.0, 0
        for k, least in enumerate(_NUMBER_SHARE):
            if at - kept[k] >= least and room == k:
                kept[k], room = at, k + 1
        ticks.append(Tick(round(at, 2), str(leg.number), room))
    return tuple(ticks)


def _stretches(profile: Profile, across: Array) -> tuple[Stretch, ...]:
    starts = np.flatnonzero(np.diff(profile.band, prepend=profile.band[0] - 1))
    ends = np.append(starts[1:], len(profile.band))
    return tuple(
        Stretch(
            round(float(across[start]), 3),
            round(float(across[end] - across[start]), 3),
            int(profile.band[start]),
        )
        for start, end in zip(starts, ends, strict=True)
    )


def _points(x: Array, y: Array) -> str:
    return " ".join(f"{a:.0f} {b:.0f}" for a, b in zip(x, y, strict=True))


def _line(x: Array, y: Array, first: int, last: int) -> str:
    return f"M{_points(x[first:last], y[first:last])}"


def _area(x: Array, y: Array, first: int, last: int) -> str:
    """From a line up to the top of the panel."""
    return f"{_line(x, y, first, last)}V-100H{x[first]:.0f}Z"


def _steps(edges: Array, values: Array) -> str:
    """Line through bins, broken where a value is unknown."""
    return "".join(
        f"M{_points(_doubled(edges, first, last), np.repeat(values[first:last], 2))}"
        for first, last in runs(np.isfinite(values))
    )


def _steps_between(edges: Array, low: Array, high: Array) -> str:
    """Area between two lines through bins."""
    parts = []
    for first, last in runs(np.isfinite(low) & np.isfinite(high)):
        x = _doubled(edges, first, last)
        top, bottom = np.repeat(high[first:last], 2), np.repeat(low[first:last], 2)
        parts.append(f"M{_points(x, top)}L{_points(x[::-1], bottom[::-1])}Z")
    return "".join(parts)


def _doubled(edges: Array, first: int, last: int) -> Array:
    out: Array = np.repeat(edges[first : last + 1], 2)[1:-1]
    return out
