"""What a map carries besides contours: heights on them, spot heights, a grid, a scale bar."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.quantities import next_round
from steybrae.teach.map_ground import Contour, MapGround, MapLook
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import true_runs

LABEL_MM: Final = (6.5, 2.4)
"""Length and height of the room for a number on a contour, mm (our choice)."""

LABELS_APART_MM: Final = 17.0
"""Numbers on contours are so far apart, mm (our choice)."""

SPOTS_APART_MM: Final = 20.0
"""Spot heights are so far apart, mm (our choice)."""

MOST_SPOTS: Final = 8
EDGE_MM: Final = 5.0

GRID_MM: Final = 30.0
"""Grid lines are at least so far apart, mm (our choice)."""

_STEPS: Final = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class HeightLabel:
    """A number on a thick contour, its top uphill; mm, degrees anticlockwise from level."""

    x_mm: float
    y_mm: float
    turn_deg: float
    text: str


@dataclass(frozen=True)
class SpotHeight:
    """A top and its height."""

    x_mm: float
    y_mm: float
    text: str


@dataclass(frozen=True)
class GridLine:
    """A grid line, mm from the frame's left or lower edge, and its name."""

    at_mm: float
    text: str


@dataclass(frozen=True)
class Furniture:
    """What a map carries besides contours: labels and spots are heights.

    Grid lines running north and east are named by kilometres from the lower left corner; the scale
    bar, round in the map's unit, has five parts.
    """

    labels: tuple[HeightLabel, ...]
    spots: tuple[SpotHeight, ...]
    upright: tuple[GridLine, ...]
    level: tuple[GridLine, ...]
    bar_m: float


def furniture(
    ground: MapGround, look: MapLook, lines: Sequence[Contour], clear: Callable[[float, float], bool]
) -> Furniture:
    """Place numbers, tops, grid and scale bar where it is `clear`: far enough from the stretches."""
    spots = _spots(ground, look, clear)
    taken = [(spot.x_mm, spot.y_mm) for spot in spots]
    step_m = next_round(look.metres(GRID_MM), _STEPS)
    return Furniture(
        labels=_labels(ground, look, lines, clear, taken),
        spots=spots,
        upright=_grid(step_m, look, ground.width_mm),
        level=_grid(step_m, look, ground.height_mm),
        bar_m=next_round(look.metres(35.0) / look.unit_m, _STEPS) * look.unit_m,
    )


def _grid(step_m: float, look: MapLook, size_mm: float) -> tuple[GridLine, ...]:
    step_mm = step_m * 1000.0 / look.scale
    return tuple(
        GridLine(k * step_mm, f"{k * step_m / 1000.0:g}") for k in range(1, math.ceil(size_mm / step_mm))
    )


def _spots(ground: MapGround, look: MapLook, clear: Callable[[float, float], bool]) -> tuple[SpotHeight, ...]:
    """Highest places that stand over their eight neighbours, apart from each other."""
    z = ground.field.dem.heights_m
    inner = z[1:-1, 1:-1]
    top = np.isfinite(inner)
    for dr in (0, 1, 2):
        for dc in (0, 1, 2):
            if (dr, dc) != (1, 1):
                with np.errstate(invalid="ignore"):
                    top &= inner > z[dr : dr + inner.shape[0], dc : dc + inner.shape[1]]
    row, col = np.nonzero(top)
    order = np.argsort(-inner[row, col], kind="stable")
    found: list[SpotHeight] = []
    for k in order:
        x, y = (float(part) for part in ground.paper_mm(col[k] + 1.5, row[k] + 1.5))
        apart = all(math.hypot(x - one.x_mm, y - one.y_mm) >= SPOTS_APART_MM for one in found)
        if apart and ground.inside(x, y, EDGE_MM + 5.0) and clear(x, y):
            found.append(SpotHeight(x, y, look.height_text(float(inner[row[k], col[k]]))))
        if len(found) == MOST_SPOTS:
            break
    return tuple(found)


def _labels(
    ground: MapGround,
    look: MapLook,
    lines: Sequence[Contour],
    clear: Callable[[float, float], bool],
    taken: list[tuple[float, float]],
) -> tuple[HeightLabel, ...]:
    """For each thick contour the straightest, gentlest places with room, one or two."""
    found: list[HeightLabel] = []
    for contour in lines:
        if not contour.thick:
            continue
        here = 0
        for x, y, _ in _places(ground, contour.lines):
            apart = all(math.hypot(x - ax, y - ay) >= LABELS_APART_MM for ax, ay in taken)
            if not apart or not clear(x, y):
                continue
            at = ground.at(x, y)
            turn_deg = math.degrees(math.atan2(-float(at.p[0]), float(at.q[0])))
            found.append(HeightLabel(x, y, turn_deg, look.height_text(contour.level_m)))
            taken.append((x, y))
            here += 1
            if here == 2:
                break
    return tuple(found)


def _places(ground: MapGround, lines: Sequence[Array]) -> list[tuple[float, float, float]]:
    """Places on a contour where it is straight over the room of a number, gentlest ground first."""
    x: list[float] = []
    y: list[float] = []
    for line in lines:
        steps = np.hypot(*np.diff(line, axis=0).T)
        along = np.concatenate(([0.0], np.cumsum(steps)))
        if along[-1] < 3.0 * LABEL_MM[0]:
            continue
        at = np.arange(LABEL_MM[0], along[-1] - LABEL_MM[0], 4.0)
        half = LABEL_MM[0] / 2.0
        before, middle, after = (
            np.column_stack([np.interp(at + off, along, line[:, k]) for k in (0, 1)])
            for off in (-half, 0.0, half)
        )
        bow = np.hypot(*(middle - (before + after) / 2.0).T)
        straight = (bow < 0.35) & (np.hypot(*(after - before).T) > 0.95 * LABEL_MM[0])
        x += middle[straight, 0].tolist()
        y += middle[straight, 1].tolist()
    if not x:
        return []
    slope = ground.at(x, y).slope_deg
    places = [
        (px, py, float(s))
        for px, py, s in zip(x, y, slope, strict=True)
        if math.isfinite(s) and ground.inside(px, py, EDGE_MM)
    ]
    return sorted(places, key=lambda place: place[2])


def cut_lines(lines: Sequence[Array], hidden: Callable[[Array], NDArray[np.bool_]]) -> tuple[Array, ...]:
    """Leave out of lines, ``(n, 2)`` mm each, the points that are hidden: parts of two points or more."""
    out: list[Array] = []
    for line in lines:
        out += [line[start:end] for start, end in true_runs(~hidden(line)) if end - start > 1]
    return tuple(out)
