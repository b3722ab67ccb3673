"""Checks: where on a leg a clinometer would tell most, and the reading expected there."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from steybrae.frozen import dataclass
from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.route.overhead.result import Above, ExpectedReading, SightAnswer
from steybrae.route.shape_result import Spot
from steybrae.terrain.model_kinds import Survey
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
