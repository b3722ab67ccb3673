"""Checks: where on a leg a clinometer would tell most, the reading expected there, and what is in sight."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.route.legs import Track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.result import Above, ExpectedReading, SightAnswer
from steybrae.route.overhead.windows import Stretch, metric_place, shared, stretch_windows
from steybrae.route.shape_result import Spot
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import off
from steybrae.terrain.model_kinds import Survey
from steybrae.terrain.overhead.ground import OverheadGround, Points
from steybrae.terrain.overhead.sight import in_sight
from steybrae.terrain.overhead.sight_pairs import Pairs, steepest_sight
from steybrae.terrain.overhead.unknown import unknown_above
from steybrae.terrain.uncertainty import SlopeUncertainty
from steybrae.value import distance_off

LEAST_SIGHT_M: Final = 50.0
"""Nearer than this, metres, a sight line is the slope underfoot and no reading of its own (our choice)."""

HEIGHT_ERROR_SHARE: Final = 0.2
"""95 % error of a height difference that the cells alone leave, share of a cell's size: 2 m for 10 m
cells, about twice the mean error of 0.92 m published for a 10 m model (Haneberg 2006,
Environmental & Engineering Geoscience 12(3); abstract); for other cells our choice."""


@dataclass(frozen=True)
class SteepestOnLine:
    """The steepest ground on a leg or at a place, as the screening found it, with its 95 % ends.

    None is unknown, of the aspect also where the slope has none, of the chainage at a place.
    """

    slope_deg: float
    low_deg: float | None
    high_deg: float | None
    aspect_true_deg: float | None
    place: Spot
    chainage_m: float | None


def sight_interval_deg(
    sight_deg: float,
    distance_m: float,
    cell_m: float,
    survey: Survey,
    place_error_m: float = PLACE_ERROR_M,
) -> tuple[float, float]:
    """95 % interval of a sight angle: ``atan((rise -+ u_z) / (distance +- u_d))``.

    ``u_z`` is that of the cells, `HEIGHT_ERROR_SHARE`, and that of the survey in quadrature: two
    heights a distance d apart differ by ``2 sd sqrt(2 (1 - exp(-d / L)))`` more or less.

    Parameters
    ----------
    cell_m
        Size of the model's cell; half of it is the source's error of place.
    survey
        Error of the model's heights; without a correlation length they err independently.
    place_error_m
        Error of the place that one stands on.

    Returns
    -------
    tuple of float
        Degrees, 0 to 90.
    """
    rise = distance_m * math.tan(math.radians(sight_deg))
    apart = math.exp(-distance_m / survey.correlation_m) if survey.correlation_m else 0.0
    rise_error = math.hypot(HEIGHT_ERROR_SHARE * cell_m, 2.0 * survey.sd_m * math.sqrt(2.0 * (1.0 - apart)))
    run_error = math.hypot(place_error_m, cell_m / 2.0)
    low = math.degrees(math.atan2(max(rise - rise_error, 0.0), distance_m + run_error))
    high = math.degrees(math.atan2(rise + rise_error, max(distance_m - run_error, 0.0)))
    return low, high


def expected_readings(
    above: Above,
    steepest: SteepestOnLine | None,
    known: SlopeUncertainty,
    cell_m: float,
    place_error_m: float = PLACE_ERROR_M,
) -> tuple[ExpectedReading, ...]:
    """List the readings that would tell most about a place, whether or not one may stand there.

    The slope of its ground, and the steepest start zone in open sight that is far enough, else that
    from outside of start zones; ground above the sight line hides it, and gives no reading. Where
    one may stand is told by `steybrae.screening.standing`.

    Parameters
    ----------
    above
        What is overhead there.
    steepest
        Its ground; None where it is not known.
    known
        How well the model's slopes are known.
    cell_m
        Size of the model's cells.
    place_error_m
        See `sight_interval_deg`.

    Returns
    -------
    tuple of ExpectedReading
        Numbered on; empty where nothing is known.
    """
    found = [] if steepest is None else [slope_reading(steepest)]
    sights = (_sight_reading(sight, cell_m, known.survey, place_error_m) for sight in _sights(above))
    found += [reading for reading in sights if reading is not None][:1]
    return tuple(replace(one, number=k) for k, one in enumerate(found, start=1))


def slope_reading(steepest: SteepestOnLine) -> ExpectedReading:
    """Slope of a piece of ground as a reading, looking up its fall line; not numbered."""
    aspect = steepest.aspect_true_deg
    look = None if aspect is None else (aspect + 180.0) % 360.0
    where = "the ground at the place" if steepest.chainage_m is None else "steepest at and round the line"
    figures = steepest.slope_deg, steepest.low_deg, steepest.high_deg
    what = f"{where}, up the fall line"
    return ExpectedReading("", 1, steepest.place, steepest.chainage_m, look, *figures, what, "slope")


def _sights(above: Above) -> list[SightAnswer]:
    """Give the sight, then that from outside of start zones."""
    looks = above.overhead
    return [] if looks is None else [one for one in (looks.sight, looks.sight_outside) if one is not None]


def _sight_reading(
    sight: SightAnswer, cell_m: float, survey: Survey, place_error_m: float
) -> ExpectedReading | None:
    if sight.hidden or sight.deg is None or sight.stand is None or sight.distance_m is None:
        return None
    if sight.distance_m < LEAST_SIGHT_M:
        return None
    ends = sight_interval_deg(sight.deg, sight.distance_m, cell_m, survey, place_error_m)
    what = f"sight line to the steepest start zone overhead, {distance_off(sight.distance_m).text} away"
    where = sight.stand, sight.chainage_m, sight.bearing_true_deg
    return ExpectedReading("", 1, *where, sight.deg, *ends, what, "sight")


LEAST_CHECK_SIGHT_DEG: Final = 10.0
"""Flatter sights are no check, degrees: a reading's own error would be nearly half of it (our choice)."""


@dataclass(frozen=True, eq=False)
class Spots:
    """Spots of a line; arrays ``(n,)``: number of the leg, from 0, and metres along it and along the line."""

    leg: NDArray[np.intp]
    at_m: Array
    chainage_m: Array


@dataclass(frozen=True)
class Target:
    """Ground overhead that is to be sighted from before a place; only spots at these chainages serve."""

    lat_deg: float
    lon_deg: float
    from_m: float
    to_m: float


@dataclass(frozen=True, eq=False)
class OpenSights:
    """Indexes of the spots from which a target is in open sight, and that sight; arrays ``(k,)``."""

    spot: NDArray[np.intp]
    deg: Array
    bearing_true_deg: Array
    distance_m: Array


@dataclass(frozen=True, eq=False)
class FromLine:
    """What is overhead of spots of a line, and their open sights.

    Attributes
    ----------
    overhead_deg
        Steepest sight to any possible start zone, whatever lies between, degrees; NaN where there is
        none at `LEAST_SIGHT_DEG` or more, the spot's height is unknown or it was not asked for.
    unknown_above
        Whether unknown ground could look down on it (`steybrae.terrain.overhead.unknown`), or it was not
        asked for.
    sights
        One for each target.
    """

    overhead_deg: Array
    unknown_above: NDArray[np.bool_]
    sights: tuple[OpenSights, ...]


def look_from(
    kept: KeptGround, tracks: list[Track], spots: Spots, targets: Sequence[Target], asked: int
) -> FromLine:
    """Look up from spots of a line, exactly from them and not from the cells that they lie in.

    The first `asked` spots are looked up from; of the others only those with a sight of a target.
    """
    overhead = np.full(len(spots.leg), np.nan)
    unknown = np.ones(len(spots.leg), dtype=bool)
    sights: list[list[Array]] = [[np.empty((4, 0))] for _ in targets]
    parts = stretch_windows(kept.source.grid, tracks, kept.look, kept.kept)
    for window, group in shared(parts, kept.look):
        on = [(part, here) for part in group if len(here := _on(part, spots))]
        if not on:
            continue
        ground, metric = kept.opened(window), metric_place(window, kept.look)
        for part, here in on:
            key = tracks[part.leg], float(part.chainage_m[0]), metric, kept.look
            seen = kept.kept.of("spots", key, partial(_SeenFrom, kept.look.joins))
            seen.begin(ground, part)
            look, at = set(here[here < asked].tolist()), spots.chainage_m[here]
            first, last = float(at.min()), float(at.max())
            for k, target in enumerate(targets):
                if first > target.to_m or last < target.from_m:
                    continue
                before = here[(at >= target.from_m) & (at <= target.to_m)]
                found = seen.sights(spots.at_m[before], target)
                open_ = np.flatnonzero(np.isfinite(found[0]))
                sights[k].append(np.stack((before[open_], *found[:, open_])))
                look |= set(before[open_].tolist())
            up = np.array(sorted(look), dtype=np.intp)
            overhead[up], unknown[up] = seen.overhead(spots.at_m[up])
    return FromLine(overhead, unknown, tuple(_together(parts) for parts in sights))


class _SeenFrom:
    """What is seen from spots of one stretch of a leg, each worked out once, on joined cells."""

    def __init__(self, joins: tuple[int, int]) -> None:
        self._joins = joins
        self._above: dict[float, tuple[float, bool]] = {}
        self._sights: dict[tuple[float, float, float], tuple[float, float, float]] = {}

    def begin(self, ground: Callable[[], OverheadGround], part: Stretch) -> None:
        """Say where it is."""
        self._ground, self._part = ground, part

    def overhead(self, at_m: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Steepest sight to any possible start zone, degrees, and whether unknown ground could look down."""
        new = np.array([at for at in at_m.tolist() if at not in self._above])
        if len(new):
            every = self._every(new)
            tangent = np.fmax.reduce([steepest_sight(one.possible, points).tangent for one, points in every])
            deg = np.where(np.isfinite(tangent), np.degrees(np.arctan(tangent)), np.nan)
            there = np.logical_or.reduce([unknown_above(*one).there for one in every])
            self._above |= dict(
                zip(new.tolist(), zip(deg.tolist(), there.tolist(), strict=True), strict=True)
            )
        found = np.array([self._above[at] for at in at_m.tolist()]).reshape(-1, 2)
        return found[:, 0], found[:, 1] > 0.0

    def sights(self, at_m: Array, target: Target) -> Array:
        """Angle, bearing and distance of the sight to a target, ``(3, n)``; NaN where it is not open."""
        place = target.lat_deg, target.lon_deg
        new = np.array([at for at in at_m.tolist() if (*place, at) not in self._sights])
        if len(new):
            # Where files differ it is open in all, the steepest of them; bearing and distance are one.
            found = np.maximum.reduce([_open(*one, target) for one in self._every(new)])
            for at, one in zip(new.tolist(), found.T.tolist(), strict=True):
                self._sights[*place, at] = tuple(one)
        return np.array([self._sights[*place, at] for at in at_m.tolist()]).reshape(-1, 3).T

    def _every(self, at_m: Array) -> list[tuple[OverheadGround, Points]]:
        """Spots on the ground, and on that of files that differ."""
        ground = self._ground()
        every = ground, *ground.others
        return [(one, _points(one, self._part, at_m, self._joins)) for one in every]


def _on(part: Stretch, spots: Spots) -> NDArray[np.intp]:
    inside = (spots.at_m >= part.chainage_m[0]) & (spots.at_m <= part.chainage_m[-1])
    return np.flatnonzero((spots.leg == part.leg) & inside)


def _points(ground: OverheadGround, part: Stretch, at_m: Array, joins: tuple[int, int]) -> Points:
    col, row = (
        off(np.interp(at_m, part.chainage_m, axis) / join) - first
        for axis, join, first in zip((part.col, part.row), joins, ground.corner, strict=True)
    )
    return ground.points(col, row)


def _open(ground: OverheadGround, points: Points, target: Target) -> Array:
    """Angle, bearing and distance of the sight from points to a target; NaN where it is not open."""
    out = np.full((3, len(points.col)), np.nan)
    col, row = ground.cell_of(target.lon_deg, target.lat_deg)
    cell = ground.sources.number(col, row)
    if cell < 0:
        return out
    east, north = ground.offset_m(col + 0.5 - points.col, row + 0.5 - points.row)
    distance = np.hypot(east, north)
    tangent = (ground.sources.heights_m(cell) - points.height_m) / np.maximum(distance, LEAST_SIGHT_M)
    least = math.tan(math.radians(LEAST_CHECK_SIGHT_DEG))
    far = np.flatnonzero((distance >= LEAST_SIGHT_M) & (distance <= ground.reach_m) & (tangent >= least))
    far = far[in_sight(ground, points, Pairs(far, np.full(len(far), cell), tangent[far]))]
    bearing = np.remainder(np.degrees(np.arctan2(east[far], north[far])), 360.0)
    out[:, far] = np.degrees(np.arctan(tangent[far])), bearing, distance[far]
    return out


def _together(parts: list[Array]) -> OpenSights:
    spot, *columns = np.concatenate(parts, axis=1)
    return OpenSights(spot.astype(np.intp), *columns)
