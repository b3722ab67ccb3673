"""The checks of a card with all that a page needs to judge a reading by itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steybrae.card.checks import reference_of
from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.field.agreement import Reference
from steybrae.field.relocation import ASPECT_ERROR_95_DEG
from steybrae.quantities import angle_to_gradient
from steybrae.screening.result import RouteScreening


@dataclass(frozen=True)
class PocketCheck:
    """A check as a reading is held against it.

    Attributes
    ----------
    leg, check
        Where it stands on the card.
    reference
        What the model says there, as ``reading --plan --check`` takes it.
    aspect_tolerance_deg
        How far a measured aspect may lie from the model's and still fit, degrees; None where the
        check is no slope, or the model's own error is not known.
    """

    leg: CardLeg
    check: Check
    reference: Reference
    aspect_tolerance_deg: float | None


def pocket_checks(card: RouteCard, screening: RouteScreening) -> tuple[PocketCheck, ...]:
    """Make the checks of a card ready to be compared with, in the order in which they are met.

    Parameters
    ----------
    card, screening
        The card, and what it was made from.
    """
    return tuple(
        _pocket(leg, check, reference_of(check, screened, screening.model))
        for leg, screened in zip(card.legs, screening.legs, strict=True)
        for check in leg.checks
    )


def _pocket(leg: CardLeg, check: Check, reference: Reference) -> PocketCheck:
    faces = reference.origin.aspect_true_deg is not None
    tolerance_deg = aspect_tolerance_deg(reference, leg.declination_uncertainty_deg) if faces else None
    return PocketCheck(leg, check, reference, tolerance_deg)


def aspect_tolerance_deg(reference: Reference, turned_error_deg: float) -> float | None:
    """How far a measured aspect may lie from the model's and still fit.

    ``sqrt(15^2 + U_turned^2 + atan(U / m)^2)``: the aspect as measured, its turning to true north, and
    the model, whose gradient ``m`` is taken to err across the fall line by as much as along it.

    Parameters
    ----------
    reference
        A slope and its 95 % ends, degrees.
    turned_error_deg
        95 % error of the declination, degrees.

    Returns
    -------
    float or None
        Degrees; None without both ends, and on level ground.
    """
    slope_deg, low_deg, high_deg = reference.slope_deg, reference.slope_low_deg, reference.slope_high_deg
    if not slope_deg or low_deg is None or high_deg is None or high_deg >= 90.0:
        return None
    low, middle, high = map(angle_to_gradient, (low_deg, slope_deg, high_deg))
    model_deg = math.degrees(math.atan(max(high - middle, middle - low) / middle))
    return math.hypot(ASPECT_ERROR_95_DEG, turned_error_deg, model_deg)
