"""The profile of the report: shapes in shares of the width, so that figures keep their size.

Across, positions are percent of the line's length; up and down percent of a panel's height,
from its top. Shapes stretch with the page, letters do not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from matplotlib.ticker import MaxNLocator

from steybrae.frozen import dataclass
from steybrae.screening.pictures.drawn import drawn_profile, with_room
from steybrae.screening.pictures.picture import Profile
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Array

SPAN: Final = 10_000.0
"""Units of a panel each way; SVG paths have no percent."""

_NUMBER_SHARE: Final = (2.4, 6.0)
"""Least distance of leg numbers, percent: on a page, and on a telephone."""


_FIGURE_SHARE: Final = 0.067
"""Height of a figure, share of the lower panel on paper, where that is lowest (`report.css`)."""


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
    drawn = drawn_profile(screening, profile)
    span_m = drawn.high_m - drawn.low_m

    def across(at_m: float) -> float:
        return at_m / drawn.whole_m * 100.0

    def down(deg: float) -> float:
        return (1.0 - deg / drawn.top_deg) * 100.0

    def heights(points: Array) -> Array:
        return points * (SPAN / drawn.whole_m, -SPAN / span_m) + (0.0, drawn.high_m / span_m * SPAN)

    def slopes(points: Array) -> Array:
        return points * (SPAN / drawn.whole_m, -SPAN / drawn.top_deg) + (0.0, SPAN)

    unit, size_m = drawn.unit
    slopes_deg = (0.0, *drawn.edges_deg)
    told = with_room(slopes_deg, _FIGURE_SHARE * drawn.top_deg)
    return ProfileDrawing(
        stretches=tuple(
            Stretch(round(across(part.start_m), 3), round(across(part.end_m - part.start_m), 3), part.band)
            for part in drawn.stretches
        ),
        sky="".join(f"{_path(part)}V-100H{part[0, 0]:.0f}Z" for part in map(heights, drawn.heights)),
        heights="".join(_path(heights(part)) for part in drawn.heights),
        interval="".join(f"{_path(slopes(part))}Z" for part in drawn.interval),
        slope="".join(_path(slopes(part)) for part in drawn.slope),
        corridor="".join(_path(slopes(part)) for part in drawn.corridor),
        height_ticks=tuple(
            Tick((drawn.high_m - at) / span_m * 100.0, f"{at:g}")
            for at in (_nice(drawn.low_m, drawn.high_m, 4) if drawn.heights else ())
            if drawn.low_m + 0.05 * span_m < at < drawn.high_m - 0.05 * span_m
        ),
        slope_ticks=tuple(Tick(down(at), f"{at:g}°" if at in told else "") for at in slopes_deg),
        distance_ticks=tuple(
            Tick(across(at * size_m), f"{at:g}") for at in _nice(0.0, drawn.whole_m / size_m, 8)
        ),
        leg_ticks=tuple(_leg_ticks([(number, across(at_m)) for number, at_m in drawn.legs])),
        turns=tuple(round(across(at_m), 2) for at_m in drawn.turns_m),
        steepest=tuple(
            (round(across(at_m), 2), round(down(slope_deg), 2)) for _, at_m, slope_deg in drawn.steepest
        ),
        unit=unit,
    )


def _nice(low: float, high: float, count: int) -> list[float]:
    found = MaxNLocator(count, steps=[1, 2, 5, 10]).tick_values(low, high)
    return [float(at) for at in found if low <= at <= high]


def _leg_ticks(middles: Sequence[tuple[int, float]]) -> Iterator[Tick]:
    """Numbers of the legs; on narrow pages those that find room."""
    kept = [-100.0, -100.0]
    for number, at in middles:
        room = 0
        for k, least in enumerate(_NUMBER_SHARE):
            if at - kept[k] >= least and room == k:
                kept[k], room = at, k + 1
        yield Tick(round(at, 2), str(number), room)


def _path(points: Array) -> str:
    return f"M{' '.join(map(str, np.rint(points).astype(np.int64).ravel().tolist()))}"
