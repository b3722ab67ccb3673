"""Stretches to measure: straight lines on a map, up the fall line from contour to contour.

Random places are tried. From each a straight line runs up and down the gradient; where it
meets the contours follows from the heights along it. What is asked of a stretch (even, bending,
steep) is asked of those crossings and of the gradients beside them.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.quantities import gradient_to_angle
from steybrae.teach.map_ground import MapGround, MapLook
from steybrae.terrain.attributes import aspect_deg
from steybrae.terrain.dem import Array

REACH_MM: Final = 13.0
"""A line is followed so far to either side, mm (our choice): ten wide gaps."""

STEP_MM: Final = 0.1
"""Step along the line, mm: a quarter of a cell of 10 m at 1:25 000."""

EDGE_MM: Final = 9.0
"""Least distance of a stretch from the frame, mm: its letter has room (our choice)."""

MOST_TURN_DEG: Final = 12.0
"""The fall line may turn so far from the straight line, degrees: its cosine is 0.98 (our choice)."""


@dataclass(frozen=True, eq=False)
class Profile:
    """A straight line up the gradient through a random place.

    Attributes
    ----------
    x_mm, y_mm
        The place, on paper.
    east, north
        Unit vector uphill.
    along_mm
        Positions along the line, rising uphill, 0 at the place: the part that rises throughout.
    p, q
        Gradients there.
    numbers, crossings_mm
        Contours crossed, counted in intervals from height 0, and where along the line.
    """

    x_mm: float
    y_mm: float
    east: float
    north: float
    along_mm: Array
    p: Array
    q: Array
    numbers: Array
    crossings_mm: Array

    @cached_property
    def size(self) -> Array:
        """Size of the gradient there."""
        return np.hypot(self.p, self.q)

    @cached_property
    def turn_deg(self) -> Array:
        """How far the fall line turns from the line there, degrees; NaN where it is unknown or level."""
        with np.errstate(invalid="ignore"):
            cosine = (self.p * self.east + self.q * self.north) / self.size
        return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


@dataclass(frozen=True)
class Stretch:
    """A straight line from one contour up to another.

    Attributes
    ----------
    x_mm, y_mm
        Its lower end, on paper.
    east, north
        Unit vector uphill.
    crossings_mm
        Where it meets each contour, mm from the lower end; the first is 0.
    first_number
        The lower contour, counted in intervals from height 0.
    slope_model_deg
        Fall-line slope of the model, averaged as a gradient along it, degrees.
    turn_deg
        How far the fall line turns from it at most, degrees.
    aspect_true_deg, aspect_spread_deg
        Direction the slope faces, of the mean gradient, and how far single places turn from it.
    """

    x_mm: float
    y_mm: float
    east: float
    north: float
    crossings_mm: tuple[float, ...]
    first_number: int
    slope_model_deg: float
    turn_deg: float
    aspect_true_deg: float
    aspect_spread_deg: float

    @property
    def gaps(self) -> int:
        """Gaps between its ends."""
        return len(self.crossings_mm) - 1

    @property
    def length_mm(self) -> float:
        """From the lower contour to the upper, mm."""
        return self.crossings_mm[-1]

    @property
    def gaps_mm(self) -> Array:
        """Each gap, lowest first, mm."""
        return np.diff(np.array(self.crossings_mm))

    def at(self, along_mm: float, aside_mm: float = 0.0) -> tuple[float, float]:
        """Place on paper so far up from the lower end and so far to the right of uphill."""
        return (
            self.x_mm + self.east * along_mm + self.north * aside_mm,
            self.y_mm + self.north * along_mm - self.east * aside_mm,
        )

    def unevenness(self) -> float:
        """Give the standard deviation of the gaps over their mean."""
        return float(self.gaps_mm.std() / self.gaps_mm.mean())


def profiles(ground: MapGround, look: MapLook, places_mm: tuple[Array, Array]) -> list[Profile]:
    """Follow the gradient through places on paper to either side, as straight lines.

    Of those places where the gradient is known and the line meets two contours or more.
    """
    x, y = (np.asarray(part, dtype=float) for part in places_mm)
    here = ground.at(x, y)
    size = np.hypot(here.p, here.q)
    with np.errstate(invalid="ignore", divide="ignore"):
        east, north = here.p / size, here.q / size
    along = np.arange(-REACH_MM, REACH_MM + STEP_MM / 2, STEP_MM)
    line = ground.at(x[:, None] + east[:, None] * along, y[:, None] + north[:, None] * along)
    shape = (len(x), len(along))
    heights, p, q = line.elevation_m.reshape(shape), line.p.reshape(shape), line.q.reshape(shape)
    rising = np.diff(heights, axis=1) > 1e-9
    middle = len(along) // 2
    out = []
    for k in range(len(x)):
        first, last = _run_round(rising[k], middle)
        if last - first < 3 or not math.isfinite(east[k]):
            continue
        part = slice(first, last + 1)
        numbers, at = _crossings(heights[k, part], along[part], look.interval_m)
        if len(numbers) > 1:
            out.append(
                Profile(
                    float(x[k]), float(y[k]), float(east[k]), float(north[k]),
                    along[part], p[k, part], q[k, part], numbers, at,
                )
            )  # fmt: skip
    return out


def mean_along(values: Array) -> float:
    """Mean of values at even steps along a line, the two ends counted half (trapezium rule)."""
    return float(((values[1:] + values[:-1]) / 2.0).mean())


def _run_round(rising: NDArray[np.bool_], middle: int) -> tuple[int, int]:
    """First and last position of the run of rising steps that holds the middle one."""
    below = np.flatnonzero(~rising[:middle])
    above = np.flatnonzero(~rising[middle:])
    return (
        int(below[-1]) + 1 if len(below) else 0,
        middle + int(above[0]) if len(above) else len(rising),
    )


def _crossings(heights: Array, along: Array, interval_m: float) -> tuple[Array, Array]:
    numbers = np.arange(
        math.floor(heights[0] / interval_m) + 1, math.floor(heights[-1] / interval_m) + 1, dtype=float
    )
    return numbers, np.interp(numbers * interval_m, heights, along)


def stretch_from(ground: MapGround, profile: Profile, first: int, gaps: int) -> Stretch | None:
    """Part of a profile between two of its crossings, `gaps` apart, the lower end `first`.

    None near the frame, or where the fall line turns too far from the line.
    """
    start, end = float(profile.crossings_mm[first]), float(profile.crossings_mm[first + gaps])
    x = profile.x_mm + profile.east * start
    y = profile.y_mm + profile.north * start
    length = end - start
    if not (
        ground.inside(x, y, EDGE_MM)
        and ground.inside(x + profile.east * length, y + profile.north * length, EDGE_MM)
    ):
        return None
    along = profile.along_mm
    part = slice(int(along.searchsorted(start)), int(along.searchsorted(end, side="right")))
    turn = profile.turn_deg[part]
    if len(turn) < 2 or not turn.max() <= MOST_TURN_DEG:  # NaN is not
        return None
    p, q, size = profile.p[part], profile.q[part], profile.size[part]
    crossings = profile.crossings_mm[first : first + gaps + 1] - start
    facing = float(aspect_deg(p.mean(), q.mean(), 0.0))
    spread = np.abs((aspect_deg(p, q, 0.0) - facing + 180.0) % 360.0 - 180.0)
    return Stretch(
        x_mm=float(x),
        y_mm=float(y),
        east=profile.east,
        north=profile.north,
        crossings_mm=tuple(float(at) for at in crossings),
        first_number=int(profile.numbers[first]),
        slope_model_deg=gradient_to_angle(mean_along(size)),
        turn_deg=float(turn.max()),
        aspect_true_deg=facing,
        aspect_spread_deg=float(spread.max()),
    )


def stretch_over(
    ground: MapGround, look: MapLook, x_mm: float, y_mm: float, gaps: tuple[int, ...]
) -> Stretch | None:
    """Stretch up the fall line over a place on paper, that as near its middle as contours allow.

    Counts of gaps are tried from the one wished for. None where no such stretch is known, straight
    and clear of the frame.
    """
    lines = profiles(ground, look, (np.array([x_mm]), np.array([y_mm])))
    for count in gaps if lines else ():
        at = lines[0].crossings_mm
        starts = range(len(at) - count)
        if starts:
            first = min(starts, key=lambda k: abs(float(at[k] + at[k + count])))
            found = stretch_from(ground, lines[0], first, count)
            if found is not None:
                return found
    return None
