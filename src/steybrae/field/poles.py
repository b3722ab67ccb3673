"""Slope without an inclinometer: poles, paces, a compass.

Every method gives the slope with a 95 % uncertainty formed in what is measured (a sine or
a gradient), so the two ends may be lopsided. The default errors are common practice, no
source, unless one is named; the handbook's eye height and pace are only stand-ins for your own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final, Literal

from steybrae.errors import QuantityError
from steybrae.field.agreement import Origin, Reference
from steybrae.field.readings import ReadingSet
from steybrae.frozen import dataclass
from steybrae.quantities import gradient_to_angle

LENGTH_ERROR_M: Final = 0.02
"""95 % error of a length read off a pole, metres (common practice, no source)."""

LEVEL_ERROR_DEG: Final = 3.0
"""95 % error of a pole or a line of sight held level by eye, degrees (common practice, no
source)."""

PLUMB_ERROR_DEG: Final = 2.0
"""95 % error of a pole left to hang, degrees (common practice, no source)."""

EYE_HEIGHT_M: Final = 1.75
"""Eye height in the pace method, metres (US Army subcourses MP1007 and EN5622)."""

PACE_M: Final = 0.75
"""Length of a pace, metres (US Army subcourses MP1007 and EN5622)."""

PACE_ERROR_SHARE: Final = 0.10
"""95 % error of a paced distance, as a share of it (common practice, no source)."""

EYE_HEIGHT_ERROR_M: Final = 0.05
"""95 % error of the eye height in boots on snow, metres (common practice, no source)."""

COMPASS_ERROR_95_DEG: Final = 5.0
"""95 % error of one reading of a compass's own clinometer, degrees: its edge is short and
its needle swings (common practice, no source)."""

COMPASS_ERRORS: Final = (
    "The dial must stand with its east-west line along the edge: turned by some degrees, the "
    "needle reads wrong by just as many.",
    "The needle must hang free with the compass upright; leaning over, it drags and sticks.",
    "Read the inner scale that starts from 0 in the middle: the bearings around it run another way, "
    "and 90 minus the slope looks like a slope.",
    "The edge must lie along the fall line, best on a pole laid on the snow; across it reads gentler.",
)
"""Common errors of reading a slope with a compass (common practice, no source)."""


@dataclass(frozen=True)
class HandSlope:
    """A slope found without an inclinometer.

    Attributes
    ----------
    method
        In words.
    slope_deg, slope_low_deg, slope_high_deg
        The slope and its 95 % ends, degrees, 0 to 90.
    rests_on
        What was assumed, one sentence each.
    """

    method: str
    slope_deg: float
    slope_low_deg: float
    slope_high_deg: float
    rests_on: tuple[str, ...]

    @property
    def uncertainty_95_deg(self) -> float:
        """The larger half-width, degrees."""
        return max(self.slope_high_deg - self.slope_deg, self.slope_deg - self.slope_low_deg)

    def as_reference(self) -> Reference:
        """Take it as something to compare a reading with."""
        return Reference(
            self.method,
            self.slope_deg,
            self.slope_low_deg,
            self.slope_high_deg,
            Origin(kind="instrument"),
        )


def _above_zero(value: float, what: str, unit: str) -> None:
    if not 0.0 < value < math.inf:
        message = f"{what} should be above 0 {unit}; got {value:g}. Measure it again."
        raise QuantityError(message)


def _asin_deg(sine: float) -> float:
    return math.degrees(math.asin(min(1.0, max(0.0, sine))))


def _atan_deg(gradient: float) -> float:
    return gradient_to_angle(max(0.0, gradient))


def _hand_slope(
    method: str,
    to_deg: Callable[[float], float],
    value: float,
    shares: Sequence[float],
    turn_deg: float,
    rests_on: tuple[str, ...],
) -> HandSlope:
    """Join errors of the measured ratio (in quadrature) with one that turns the slope."""
    half = math.hypot(*shares)
    slope_deg = to_deg(value)
    down_deg, up_deg = slope_deg - to_deg(value - half), to_deg(value + half) - slope_deg
    return HandSlope(
        method,
        slope_deg,
        max(0.0, slope_deg - math.hypot(down_deg, turn_deg)),
        min(90.0, slope_deg + math.hypot(up_deg, turn_deg)),
        rests_on,
    )


def two_poles(
    length_m: float,
    down_m: float,
    *,
    along: Literal["slope", "level"] = "level",
) -> HandSlope:
    """Slope from one pole and the drop beside it.

    One pole is held level out from the slope and the drop from its end to the snow measured
    with the other: ``atan(down / length)``. Or one lies on the slope and its upper end stands
    `down_m` above the level of its lower: ``asin(down / length)``. Holding the level wrong by e
    turns the gradient g by tan(e) in the first case and the slope by e in the second. A drop measured
    off the upright by f meets the snow nearer or farther: g by g^2 tan(f).

    Parameters
    ----------
    length_m
        Length of the first pole, metres, above 0.
    down_m
        The drop, metres, from 0; at most `length_m` along the slope.
    along
        How the first pole lies: ``level`` or on the ``slope``.

    Raises
    ------
    QuantityError
        A length out of range, or a drop longer than the pole that lies on the slope.
    """
    _above_zero(length_m, "The length along the pole", "m")
    if not 0.0 <= down_m < math.inf:
        message = f"The drop should be 0 m or more; got {down_m:g}. Measure it downwards."
        raise QuantityError(message)
    ratio = down_m / length_m
    shares = [LENGTH_ERROR_M / length_m, ratio * LENGTH_ERROR_M / length_m]
    held = f"the level to {LEVEL_ERROR_DEG:g}°"
    if along == "level":
        held += f", the drop's upright to {PLUMB_ERROR_DEG:g}°"
    rests_on = (
        f"lengths to {LENGTH_ERROR_M:g} m, {held} (95 %; common practice, no source)",
        f"reads about {length_m:g} m of snow surface",
    )
    if along == "level":
        shares.append(math.tan(math.radians(LEVEL_ERROR_DEG)))
        shares.append(ratio**2 * math.tan(math.radians(PLUMB_ERROR_DEG)))
        return _hand_slope("two poles, one level", _atan_deg, ratio, shares, 0.0, rests_on)
    if ratio > 1.0:
        message = (
            f"A drop along a slope should be no longer than the pole; got {down_m:g} m on "
            f"{length_m:g} m. Check which length is which."
        )
        raise QuantityError(message)
    method = "two poles, one on the slope"
    return _hand_slope(method, _asin_deg, ratio, shares, LEVEL_ERROR_DEG, rests_on)


def equal_poles(pole_m: float, print_m: float) -> HandSlope:
    """Slope from two poles of equal length and a mark in the snow.

    One pole stands with its tip at the upper mark and leans out; from its handle the other
    hangs down and touches the snow at the lower mark. The poles and the snow between the
    marks make a triangle with two equal sides, so ``sin(slope) = print / (2 pole)``: marks one
    pole length apart are 30 degrees. Ten centimetres more or less is about 3 degrees, as the
    Swiss leaflet "Achtung Lawinen!" has it (2.8 with poles of 1.2 m, by this formula).

    Parameters
    ----------
    pole_m
        Length of either pole, metres, above 0.
    print_m
        Distance between the marks along the snow, metres, above 0, at most two poles.

    Raises
    ------
    QuantityError
        A length out of range.
    """
    _above_zero(pole_m, "The pole length", "m")
    _above_zero(print_m, "The distance between the marks", "m")
    if print_m > 2.0 * pole_m:
        message = (
            f"The marks should lie at most two poles apart; got {print_m:g} m with poles of "
            f"{pole_m:g} m. Measure again."
        )
        raise QuantityError(message)
    sine = print_m / (2.0 * pole_m)
    shares = [LENGTH_ERROR_M / (2.0 * pole_m), sine * LENGTH_ERROR_M / pole_m]
    rests_on = (
        f"lengths to {LENGTH_ERROR_M:g} m and the hanging pole to {PLUMB_ERROR_DEG:g}° (95 %; "
        "common practice, no source)",
        f"reads about {print_m:g} m of snow surface",
    )
    return _hand_slope("two equal poles", _asin_deg, sine, shares, PLUMB_ERROR_DEG, rests_on)


def pace_and_eye_height(
    sights: float, paces: float, *, eye_height_m: float = EYE_HEIGHT_M, pace_m: float = PACE_M
) -> HandSlope:
    """Slope from level sights and paces.

    Look level into the slope, walk up to the point you saw, count paces, and look again. Each
    sight is one eye height of climb. Paces lie on the slope: ``asin(rise / paced)``. The
    handbook takes them as level, ``atan(rise / paced)``, which reads gentler the steeper it is.
    The level error tilts all sights alike and does not average out.

    Parameters
    ----------
    sights
        Number of level sights, above 0; a part of one counts as a part.
    paces
        Number of paces, above 0.
    eye_height_m, pace_m
        Your own, metres, above 0.

    Raises
    ------
    QuantityError
        A number not above 0, or a rise longer than the paced slope.
    """
    _above_zero(sights, "The number of sights", "sights")
    _above_zero(paces, "The number of paces", "paces")
    _above_zero(eye_height_m, "The eye height", "m")
    _above_zero(pace_m, "The pace", "m")
    ratio = sights * eye_height_m / (paces * pace_m)
    if ratio > 1.0:
        message = (
            f"The rise should be no longer than the paces up it; got {sights * eye_height_m:g} m on "
            f"{paces * pace_m:g} m. Count again."
        )
        raise QuantityError(message)
    shares = [ratio * PACE_ERROR_SHARE, ratio * EYE_HEIGHT_ERROR_M / eye_height_m]
    rests_on = (
        f"eye height {eye_height_m:g} m and pace {pace_m:g} m (handbook: 1.75 m and 0.75 m)",
        f"paced distance to {PACE_ERROR_SHARE:.0%}, eye height to {EYE_HEIGHT_ERROR_M:g} m, level to "
        f"{LEVEL_ERROR_DEG:g}° (95 %; common practice, no source); steps uphill are shorter than on "
        "the flat",
    )
    return _hand_slope("eye height and paces", _asin_deg, ratio, shares, LEVEL_ERROR_DEG, rests_on)


def compass_clinometer(
    readings_deg: Sequence[float], error_95_deg: float = COMPASS_ERROR_95_DEG
) -> HandSlope:
    """Slope from the clinometer needle of a compass: one or many readings, 0 to 90 degrees.

    `rests_on` names the common errors, which no uncertainty covers. `QuantityError` without a
    reading, or for one out of range.
    """
    readings = ReadingSet(tuple(readings_deg), error_95_deg=error_95_deg)
    return HandSlope(
        "compass clinometer",
        readings.mean_deg,
        readings.slope_low_deg,
        readings.slope_high_deg,
        (
            f"one reading to {error_95_deg:g}° (95 %; common practice, no source)",
            *COMPASS_ERRORS,
        ),
    )
