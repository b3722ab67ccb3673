"""The checks of a card with all that a page needs to judge a reading by itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.field.agreement import Reference
from steybrae.field.references import check_reference
from steybrae.field.relocation import ASPECT_ERROR_95_DEG
from steybrae.quantities import angle_to_gradient
from steybrae.terrain.attributes import BASELINE_M


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


def pocket_checks(card: RouteCard, cell_size_m: float) -> tuple[PocketCheck, ...]:
    """Make the checks of a card ready to be compared with, in the order in which they are met.

    Parameters
    ----------
    card
        The card.
    cell_size_m
        Larger side of the model's cells, metres.
    """
    return tuple(_pocket(leg, check, cell_size_m) for leg in card.legs for check in leg.checks)


def _pocket(leg: CardLeg, check: Check, cell_size_m: float) -> PocketCheck:
    reference = check_reference(
        check.number,
        (check.expected_deg, *check.model_ends_deg),
        check.look_bearing_true_deg,
        max(BASELINE_M, 2.0 * cell_size_m),
        cell_size_m,
        sight=check.quantity == "sight",
    )
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
