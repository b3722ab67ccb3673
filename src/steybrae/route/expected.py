"""Checks: where on a leg a clinometer would tell most, and the reading to expect there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.route.overhead.result import Above, ExpectedReading, SightAnswer
from steybrae.route.shape_result import Spot
from steybrae.terrain.cell_share import MIDDLING_DEG
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg
from steybrae.value import distance_off

__all__ = ["SteepestOnLine", "expected_readings", "sight_interval_deg", "slope_readings"]

LEAST_SIGHT_M: Final = 50.0
"""Nearer than this, metres, a sight line is the slope underfoot and no reading of its own (our choice)."""

HEIGHT_ERROR_SHARE: Final = 0.2
"""95 % error of a height difference where the model's error is not stated, share of a cell's size:
2 m for 10 m cells, about twice the mean error of 0.92 m published for a 10 m model (Haneberg 2006,
Environmental & Engineering Geoscience 12(3); abstract); for other cells our choice."""


@dataclass(frozen=True)
class SteepestOnLine:
    """The steepest ground on a leg or at a place, as the screening found it.

    Attributes
    ----------
    slope_deg, low_deg, high_deg
        With its 95 % ends; None unknown.
    aspect_true_deg
        Where that slope faces; None where it has none.
    place, chainage_m
        Where; the chainage is None for a place.
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
    vertical_error_m: float | None = None,
    place_error_m: float = PLACE_ERROR_M,
) -> tuple[float, float]:
    """95 % interval of a sight angle: ``atan((rise -+ u_z) / (distance +- u_d))``.

    Parameters
    ----------
    sight_deg, distance_m
        The sight line.
    cell_m
        Size of the model's cell; half of it is the source's error of place.
    vertical_error_m
        Standard deviation of the model's heights; None takes `HEIGHT_ERROR_SHARE`.
    place_error_m
        Error of the place that one stands on.

    Returns
    -------
    tuple of float
        Degrees, 0 to 90.
    """
    rise = distance_m * math.tan(math.radians(sight_deg))
    if vertical_error_m is None:
        rise_error = HEIGHT_ERROR_SHARE * cell_m
    else:
        rise_error = 2.0 * math.sqrt(2.0) * vertical_error_m
    run_error = math.hypot(place_error_m, cell_m / 2.0)
    low = math.degrees(math.atan2(max(rise - rise_error, 0.0), distance_m + run_error))
    high = math.degrees(math.atan2(rise + rise_error, max(distance_m - run_error, 0.0)))
    return low, high


def expected_readings(
    above: Above,
    steepest: SteepestOnLine | None,
    known: SlopeUncertainty,
    cell_m: float,
    *,
    vertical_error_m: float | None = None,
    place_error_m: float = PLACE_ERROR_M,
) -> tuple[ExpectedReading, ...]:
    """List the readings that would tell most about a place, whether or not one may stand there.

    Those of `slope_readings`, and the steepest start zone overhead that is far enough to sight, else
    that from outside of start zones. Where one may stand is told by `steybrae.screening.standing`.

    Parameters
    ----------
    above, steepest, known
        As for `slope_readings`.
    cell_m
        Size of the model's cells.
    vertical_error_m, place_error_m
        See `sight_interval_deg`.

    Returns
    -------
    tuple of ExpectedReading
        Numbered on; empty where nothing is known.
    """
    found = list(slope_readings(above, steepest, known))
    for sight in _sights(above):
        reading = _sight_reading(sight, cell_m, vertical_error_m, place_error_m)
        if reading is not None:
            found.insert(1 if steepest is not None else 0, reading)
            break
    return tuple(replace(one, number=k) for k, one in enumerate(found, start=1))


def slope_readings(
    above: Above, steepest: SteepestOnLine | None, known: SlopeUncertainty
) -> tuple[ExpectedReading, ...]:
    """List the slopes that would tell most about a leg or a place, whether or not one may stand there.

    The steepest ground, looking up its fall line, and the most marked convex roll on the line, looking
    down it.

    Parameters
    ----------
    above
        The shape of its ground.
    steepest
        Steepest ground on it; None where none is known, or it tells nothing.
    known
        How well the model's slopes are known.

    Returns
    -------
    tuple of ExpectedReading
        None of them numbered.
    """
    found = []
    if steepest is not None:
        aspect = steepest.aspect_true_deg
        look = None if aspect is None else (aspect + 180.0) % 360.0
        where = "the ground at the place" if steepest.chainage_m is None else "steepest on the line"
        figures = steepest.slope_deg, steepest.low_deg, steepest.high_deg
        what = f"{where}, up the fall line"
        found.append(
            ExpectedReading("", 1, steepest.place, steepest.chainage_m, look, *figures, what, "slope")
        )
    rolls = [roll for roll in above.convex_rolls if roll.distance_m == 0.0]
    if rolls:
        roll = max(rolls, key=lambda one: one.below_deg - one.above_deg)
        low, high = slope_interval_deg([math.tan(math.radians(roll.below_deg))], [0.0], known, MIDDLING_DEG)
        figures = roll.below_deg, _finite(float(low[0])), _finite(float(high[0]))
        what = f"top of a convex roll, down its steeper part over {roll.scale_m:.0f} m"
        found.append(
            ExpectedReading(
                "", 1, roll.place, roll.chainage_m, roll.bearing_true_deg, *figures, what, "slope"
            )
        )
    return tuple(found)


def _sights(above: Above) -> list[SightAnswer]:
    """Give the sight, then that from outside of start zones."""
    looks = above.overhead
    return [] if looks is None else [one for one in (looks.sight, looks.sight_outside) if one is not None]


def _sight_reading(
    sight: SightAnswer, cell_m: float, vertical_error_m: float | None, place_error_m: float
) -> ExpectedReading | None:
    if sight.deg is None or sight.stand is None or sight.distance_m is None:
        return None
    if sight.distance_m < LEAST_SIGHT_M:
        return None
    ends = sight_interval_deg(sight.deg, sight.distance_m, cell_m, vertical_error_m, place_error_m)
    what = f"sight line to the steepest start zone overhead, {distance_off(sight.distance_m).text} away"
    where = sight.stand, sight.chainage_m, sight.bearing_true_deg
    return ExpectedReading("", 1, *where, sight.deg, *ends, what, "sight")


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
