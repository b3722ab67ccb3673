"""What lies to the sides of a leg; where on it a reading would tell most, and what to expect there."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterator
from typing import Final, Literal, get_args

import numpy as np

from steybrae.bands import BandScheme
from steybrae.card.result import Beside, Check, CliffBelow
from steybrae.errors import PlanError
from steybrae.field.agreement import Answer, Origin, Reference, compare
from steybrae.field.limits import READING_ERROR_95_DEG
from steybrae.field.references import Source, check_reference
from steybrae.frozen import dataclass
from steybrae.route.bearings import bearing_difference_deg, declination, geodesic
from steybrae.route.overhead.result import ExpectedReading
from steybrae.route.positions.places import Place, format_place
from steybrae.screening.result import LegPoints, LegScreening, ModelFacts, RouteScreening, SideGround, Sides


@dataclass(frozen=True)
class Limits:
    """Between which readings nothing differs; see `Check`."""

    low_deg: float | None
    high_deg: float | None
    would_notice_deg: float | None
    result_inside: str


def limits(expected_deg: float, low_deg: float | None, high_deg: float | None) -> Limits:
    """Give the readings that do not differ from an expected one, within 0 to 90 degrees.

    ``E_n = |reading - expected| / hypot(U_reading, U_side)`` is 1 at
    ``expected -+ hypot(U_reading, U_side)``, where U_side is the half-width of the model's interval
    on the side of the reading; see `steybrae.field.agreement`. None on a side whose end is not
    known. Inside, the answer is that of `compare` for readings at both limits, the less telling of
    the two.
    """
    reference = Reference("elevation model", expected_deg, low_deg, high_deg, Origin("model"))
    below, above = (None if end is None else abs(end - expected_deg) for end in (low_deg, high_deg))
    down, up = (None if half is None else math.hypot(READING_ERROR_95_DEG, half) for half in (below, above))
    # A hair inside each limit, so that its own side decides and E_n stays below 1.
    sides = [compare(expected_deg + step, READING_ERROR_95_DEG, reference) for step in (-1e-6, 1e-6)]
    order = get_args(Answer)
    least = max((side.result for side in sides), key=order.index)
    return Limits(
        None if down is None else max(0.0, expected_deg - down),
        None if up is None else min(90.0, expected_deg + up),
        None if down is None or up is None else max(down, up),
        least,
    )


def leg_checks(leg: LegScreening, date: dt.date, grid: str) -> tuple[Check, ...]:
    """Places of a leg that are worth a reading, named by leg and letter, in the order in which they are met.

    The screening has only readings for which one may stand; the date is for magnetic bearings, the
    grid for references.
    """
    return tuple(_check(reading, date, grid) for reading in leg.expected_readings)


def _check(reading: ExpectedReading, date: dt.date, grid: str) -> Check:
    place = Place(reading.place.lat_deg, reading.place.lon_deg)
    look = reading.look_bearing_true_deg
    east_deg = declination(place, 0.0, date).declination_deg
    limit = limits(reading.expected_deg, reading.low_deg, reading.high_deg)
    return Check(
        number=reading.name,
        what=reading.what,
        quantity=reading.quantity,
        lat_deg=place.lat_deg,
        lon_deg=place.lon_deg,
        reference=format_place(place, grid),
        chainage_m=reading.chainage_m or 0.0,
        look_bearing_true_deg=look,
        look_bearing_magnetic_deg=None if look is None else (look - east_deg) % 360.0,
        expected_deg=reading.expected_deg,
        consistent_low_deg=limit.low_deg,
        consistent_high_deg=limit.high_deg,
        would_notice_deg=limit.would_notice_deg,
        result_inside=limit.result_inside,
        steeper_above_deg=reading.expected_deg,
        overhead_deg=reading.overhead_deg,
        overhead_at_least=reading.overhead_at_least,
        leads=reading.leads,
        model_ends_deg=(reading.low_deg, reading.high_deg),
    )


def reference_of(check: Check, leg: LegScreening, model: ModelFacts) -> Reference:
    """Take what a check expects as something that readings are compared with."""
    return check_reference(
        check.number,
        (check.expected_deg, *check.model_ends_deg),
        check.look_bearing_true_deg,
        leg.baseline_m,
        max(model.cell_size_m),
        sight=check.quantity == "sight",
    )


def check_of(plan: RouteScreening, number: str, name: str) -> Source:
    """Take what a plan, called `name`, expects at a check as something to compare with.

    It is told by its ``7a``, or the leg's number alone where that has one check. `PlanError` where
    there is none such.
    """
    legs = {leg.number: leg for leg in plan.legs}
    written = re.match(r"\s*(\d+)", number)
    leg = legs.get(int(written[1])) if written else None
    if leg is None:
        message = (
            f"A check is numbered by its leg, like 7a; got {number!r}. "
            f"The plan {name} has legs 1 to {len(legs)}."
        )
        raise PlanError(message)
    # Numbers, places and slopes do not depend on the day; only magnetic bearings do.
    checks = {check.number: check for check in leg_checks(leg, dt.date(2025, 1, 1), "latlon")}
    wanted = number.strip().lower()
    if wanted not in checks and wanted.isdigit() and len(checks) == 1:
        wanted = next(iter(checks))
    if wanted not in checks:
        there = ", ".join(checks) or "none"
        message = f"The plan {name} should have a check {number}; leg {leg.number} has {there}. See the card."
        raise PlanError(message)
    check = checks[wanted]
    reference = reference_of(check, leg, plan.model)
    basis = (
        f"Check {check.number} of {name}: {check.what}, {check.chainage_m:.0f} m along leg {leg.number} "
        f"({leg.from_} to {leg.to}), {check.reference}.",
        plan.model.uncertainty,
    )
    place = Place(check.lat_deg, check.lon_deg, f"check {check.number}")
    # What a file of settings gave the plan holds for its checks too.
    taken = tuple(caution for caution in plan.cautions if caution.key == "settings_file")
    scheme = BandScheme(plan.settings.edges_deg)
    return Source(reference, basis, (*leg.cautions, *taken), place, scheme=scheme)


HALF_AHEAD_DEG: Final = 45.0
"""Nearer than this to the way of travel, degrees, is ahead; to its opposite, behind (our choice)."""


def ground_beside(sides: Sides) -> Iterator[Beside]:
    """Yield what lies beside a leg: left before right, on each the steepest last, then unknown ground."""
    for side, grounds, unknown in (
        ("left", sides.left, sides.unknown_left),
        ("right", sides.right, sides.unknown_right),
    ):
        yield from (_beside(side, ground) for ground in grounds)
        if unknown:
            yield Beside(side, None, None, None, None, None, 0)


def _beside(side: str, ground: SideGround) -> Beside:
    stretches = ground.stretches_m
    return Beside(
        side=side,
        least_slope_deg=ground.least_slope_deg,
        distance_m=ground.distance_m,
        height_difference_m=ground.height_difference_m,
        from_m=stretches[0][0] if stretches else ground.chainage_m,
        to_m=stretches[-1][1] if stretches else ground.chainage_m,
        parts=max(1, len(stretches)),
    )


def cliffs_below(leg: LegScreening) -> tuple[CliffBelow, ...]:
    """Cliffs below a leg, by side of travel: left, right, ahead, behind.

    Steepest, least distance and whole stretch of each side that has any.
    """
    cliffs = [
        (_side_of(leg.points, trap.chainage_m, trap.bearing_true_deg), trap)
        for trap in leg.terrain_traps
        if trap.kind == "cliff below"
    ]
    found = []
    for side in ("left", "right", "ahead", "behind"):
        traps = [trap for where, trap in cliffs if where == side]
        if traps:
            found.append(
                CliffBelow(
                    side,
                    max(trap.slope_deg or 0.0 for trap in traps),
                    min(trap.distance_m for trap in traps),
                    min(trap.from_m for trap in traps),
                    max(trap.to_m for trap in traps),
                    len(traps),
                )
            )
    return tuple(found)


def _side_of(
    points: LegPoints, chainage_m: float, bearing_true_deg: float
) -> Literal["left", "right", "ahead", "behind"]:
    turn_deg = bearing_difference_deg(travel_true_deg(points, chainage_m), bearing_true_deg)
    if abs(turn_deg) < HALF_AHEAD_DEG:
        return "ahead"
    if abs(turn_deg) > 180.0 - HALF_AHEAD_DEG:
        return "behind"
    return "right" if turn_deg > 0.0 else "left"


def travel_true_deg(points: LegPoints, chainage_m: float) -> float:
    """Give the direction of travel at a place of a leg, degrees clockwise from true north."""
    near = int(np.argmin(np.abs(points.chainage_m - chainage_m)))
    start = min(near, len(points.chainage_m) - 2)
    here, there = (Place(float(points.lat_deg[k]), float(points.lon_deg[k])) for k in (start, start + 1))
    return geodesic(here, there)[1]
