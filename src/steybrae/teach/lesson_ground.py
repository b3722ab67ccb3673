"""A piece of real ground for the lesson's page: heights for contours and a block, and a line to walk."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.teach.map_ground import MapGround, map_ground
from steybrae.terrain.dem import Array, DemSource

SIDE_M: Final = 1600.0
"""Side of the piece, metres: a corrie and its walls (our choice)."""

SCALE: Final = 25_000.0
POINTS: Final = 65
"""Heights along a side: one each 25 m (our choice)."""

WALK_POINTS: Final = 61
INSET: Final = 0.06
"""The line to walk keeps so far from the edges, share of the side (our choice)."""

TRIED: Final = 7
"""Pieces tried along each side of a model for the one with the most relief (our choice)."""


@dataclass(frozen=True, eq=False)
class LessonGround:
    """Heights of a square and a line across it.

    Attributes
    ----------
    side_m
        Of the square, metres.
    heights_m
        ``(n, n)`` at even steps from edge to edge; row 0 the southern edge.
    walk
        Ends of a straight line from the lowest to the highest place, shares of the side from the
        south-western corner.
    walk_length_m, walk_heights_m, walk_slopes_deg
        Its length, and at even steps along it height and slope of the ground, by the model.
    """

    side_m: float
    heights_m: Array
    walk: tuple[tuple[float, float], tuple[float, float]]
    walk_length_m: float
    walk_heights_m: Array
    walk_slopes_deg: Array


def lesson_ground(source: DemSource, middle: tuple[float, float] | None = None) -> LessonGround:
    """Take a square of a model, with its middle at ``col, row``.

    Without a middle, of some squares spread over the model, the one with the most relief of those
    that are wholly known. `ModelError` where none is, or the model is too small or too coarse.
    """
    rows, cols = source.grid.shape
    shares = (np.arange(TRIED) + 0.5) / TRIED
    places = [(c * cols, r * rows) for r in shares for c in shares] if middle is None else [middle]
    best: tuple[float, MapGround, Array] | None = None
    for place in places:
        ground = map_ground(source, SCALE, (1000.0 * SIDE_M / SCALE,) * 2, place)
        side = min(ground.width_mm, ground.height_mm)
        at = np.linspace(0.0, side, POINTS)
        heights = ground.at(*np.meshgrid(at, at)).elevation_m.reshape(POINTS, POINTS)
        if np.isfinite(heights).all() and (best is None or np.ptp(heights) > best[0]):
            best = (float(np.ptp(heights)), ground, heights)
    if best is None:
        message = (
            f"The lesson needs a square of {SIDE_M:g} m of known ground; there is none here. Choose another "
            "place or model."
        )
        raise ModelError(message)
    return _walked(best[1], best[2])


def _walked(ground: MapGround, heights: Array) -> LessonGround:
    side_mm = min(ground.width_mm, ground.height_mm)
    edge = math.ceil(INSET * POINTS)
    inner = heights[edge:-edge, edge:-edge]
    ends = []
    for found in (int(inner.argmin()), int(inner.argmax())):
        row, col = divmod(found, inner.shape[1])
        ends.append(((col + edge) / (POINTS - 1), (row + edge) / (POINTS - 1)))
    (x0, y0), (x1, y1) = ends
    share = np.linspace(0.0, 1.0, WALK_POINTS)
    at = ground.at((x0 + share * (x1 - x0)) * side_mm, (y0 + share * (y1 - y0)) * side_mm)
    side_m = side_mm * ground.scale / 1000.0
    return LessonGround(
        side_m=side_m,
        heights_m=heights,
        walk=(ends[0], ends[1]),
        walk_length_m=side_m * math.hypot(x1 - x0, y1 - y0),
        walk_heights_m=at.elevation_m,
        walk_slopes_deg=np.degrees(np.arctan(np.hypot(at.p, at.q))),
    )
