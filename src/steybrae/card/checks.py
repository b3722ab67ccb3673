"""Places of a leg where a reading would tell most, and what to expect there."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from steybrae.bands import DEFAULT_EDGES_DEG
from steybrae.card.result import Check
from steybrae.errors import RouteError
from steybrae.field.agreement import Origin, Reference, compare
from steybrae.field.readings import READING_ERROR_95_DEG
from steybrae.quantities import shown_slope_deg
from steybrae.route.bearings import bearing_difference_deg, bearing_mean_deg, geodesic
from steybrae.route.magnetic import declination
from steybrae.route.places import Place, format_place
from steybrae.screening.result import LegPoints, LegScreening, Position

__all__ = ["WORTH_DEG", "Limits", "leg_checks", "limits"]

WORTH_DEG: Final = DEFAULT_EDGES_DEG[0]
"""Ground is worth a reading where it is, or may be, as steep as this: the lowest band edge."""

DIVISION_DEG: Final = 1.0
"""Division of a hand inclinometer, degrees (common practice, no source)."""

ON_LINE_M: Final = 5.0
"""A place nearer than this to the line is on it (our choice: half a cell of a 10 m model)."""

STEADY_DEG: Final = 30.0
"""Aspects about a place further apart than this tell no fall line, as on a crest (our choice)."""


@dataclass(frozen=True)
class Limits:
    """Between which readings nothing differs; see `Check`."""

    low_deg: float | None
    high_deg: float | None
    would_notice_deg: float | None
    result_inside: str


def limits(
    expected_deg: float,
    low_deg: float | None,
    high_deg: float | None,
    error_95_deg: float = READING_ERROR_95_DEG,
) -> Limits:
    """Give the readings that do not differ from an expected one.

    ``E_n = |reading - expected| / hypot(U_reading, U_side)`` is 1 at
    ``expected -+ hypot(U_reading, U_side)``, where U_side is the half-width of the model's
    interval on the side of the reading; see `steybrae.field.agreement`.

    Parameters
    ----------
    expected_deg
        Slope of the model, degrees.
    low_deg, high_deg
        Its 95 % ends; None where not known.
    error_95_deg
        Of one reading, degrees.

    Returns
    -------
    Limits
        Within 0 to 90; None on a side whose end is not known. Inside, the answer is that of
        `compare` for readings at both limits, the less telling of the two.
    """
    reference = Reference("elevation model", expected_deg, low_deg, high_deg, Origin("model"))
    below, above = (None if end is None else abs(end - expected_deg) for end in (low_deg, high_deg))
    down, up = (None if half is None else math.hypot(error_95_deg, half) for half in (below, above))
    # A hair inside each limit, so that its own side decides and E_n stays below 1.
    sides = [compare(expected_deg + step, error_95_deg, reference) for step in (-1e-6, 1e-6)]
    telling = all(side.result == "consistent" for side in sides)
    return Limits(
        None if down is None else max(0.0, expected_deg - down),
        None if up is None else min(90.0, expected_deg + up),
        None if down is None or up is None else max(down, up),
        "consistent" if telling else "cannot tell",
    )


def leg_checks(leg: LegScreening, date: dt.date, grid: str) -> tuple[Check, ...]:
    """Places of a leg that are worth a reading, in the order in which they are met.

    Parameters
    ----------
    leg
        Of the screening. Readings to expect that it brings itself go before the steepest
        place on the line.
    date
        For the magnetic bearings.
    grid
        For the references.

    Returns
    -------
    tuple of Check
        Numbered leg and letter. Empty on a leg that neither is nor may be as steep as
        `WORTH_DEG`, as far as it is known.
    """
    found = list(_expected(leg)) or list(_on_line(leg))
    beside = _in_corridor(leg)
    if beside is not None and all(_steeper(beside, check) for check in found):
        found.append(beside)
    found.sort(key=lambda check: check.chainage_m)
    return tuple(
        _placed(replace(check, number=f"{leg.number}{_letter(k)}"), leg.points, date, grid)
        for k, check in enumerate(found)
    )


def _letter(k: int) -> str:
    return chr(ord("a") + k) if k < 26 else f"-{k + 1}"


def _bare(what: str, at: Any, chainage_m: float, expected_deg: float, limit: Limits) -> Check:
    return Check(
        number="",
        what=what,
        lat_deg=at.lat_deg,
        lon_deg=at.lon_deg,
        reference="",
        chainage_m=chainage_m,
        off_line_m=0.0,
        side=None,
        towards_bearing_magnetic_deg=None,
        look_bearing_true_deg=None,
        look_bearing_magnetic_deg=None,
        expected_deg=expected_deg,
        consistent_low_deg=limit.low_deg,
        consistent_high_deg=limit.high_deg,
        would_notice_deg=limit.would_notice_deg,
        result_inside=limit.result_inside,
        steeper_above_deg=expected_deg,
    )


def _expected(leg: LegScreening) -> Iterator[Check]:
    """Take the readings that the screening itself expects, where it has them."""
    readings: Any = leg.expected_readings
    for reading in readings:
        if reading.expected_deg == leg.slope_max_deg and not _worth(reading.expected_deg, reading.high_deg):
            continue  # the steepest of a gentle leg
        limit = limits(reading.expected_deg, reading.low_deg, reading.high_deg)
        check = _bare(reading.what, reading.place, reading.chainage_m, reading.expected_deg, limit)
        yield replace(check, look_bearing_true_deg=reading.look_bearing_true_deg)


def _worth(slope_deg: float, high_deg: float | None) -> bool:
    """Whether ground is, or may be, as steep as `WORTH_DEG`."""
    return high_deg is None or shown_slope_deg(max(slope_deg, high_deg)) >= WORTH_DEG


def _on_line(leg: LegScreening) -> Iterator[Check]:
    if leg.slope_max_deg is None or leg.slope_max_at is None:
        return
    if not _worth(leg.slope_max_deg, leg.slope_high_deg):
        return
    limit = limits(leg.slope_max_deg, leg.slope_low_deg, leg.slope_high_deg)
    at = leg.slope_max_at
    check = _bare("steepest on the line, up the fall line", at, at.chainage_m, leg.slope_max_deg, limit)
    yield replace(check, look_bearing_true_deg=_uphill_true_deg(leg.points, at))


def _in_corridor(leg: LegScreening) -> Check | None:
    slope_deg, at = leg.slope_corridor_max_deg, leg.slope_corridor_max_at
    if slope_deg is None or at is None or shown_slope_deg(slope_deg) < WORTH_DEG:
        return None
    # The corridor's slope has no interval of its own, and the line's is for other ground.
    return _bare(
        "steepest beside the line, up the fall line",
        at,
        at.chainage_m,
        slope_deg,
        limits(slope_deg, None, None),
    )


def _steeper(beside: Check, other: Check) -> bool:
    """Whether the place beside is steeper by what an inclinometer shows; else it tells nothing new."""
    return beside.expected_deg - other.expected_deg >= DIVISION_DEG


def _uphill_true_deg(points: LegPoints, at: Position) -> float | None:
    """Fall line uphill at a place on the line, where the aspects around it agree."""
    near = int(np.argmin(np.abs(points.chainage_m - at.chainage_m)))
    aspects = points.aspect_true_deg[max(0, near - 1) : near + 2]
    here = float(points.aspect_true_deg[near])
    if math.isnan(here) or not all(
        abs(bearing_difference_deg(here, float(other))) <= STEADY_DEG for other in aspects
    ):
        return None
    return bearing_mean_deg([here + 180.0])


def _placed(check: Check, points: LegPoints, date: dt.date, grid: str) -> Check:
    """Add reference, magnetic bearings, and where the place lies from the line."""
    place = Place(check.lat_deg, check.lon_deg)
    east_deg = declination(place, 0.0, date).declination_deg
    look = check.look_bearing_true_deg
    near = int(np.argmin(np.abs(points.chainage_m - check.chainage_m)))
    last = len(points.chainage_m) - 1
    here = Place(*_position(points, near))
    off_m, towards_deg, side = 0.0, None, None
    try:
        off_m, towards_true_deg = geodesic(here, place)
    except RouteError:
        towards_true_deg = 0.0
    start = min(near, last - 1)
    travel_deg = geodesic(Place(*_position(points, start)), Place(*_position(points, start + 1)))[1]
    turn_deg = bearing_difference_deg(travel_deg, towards_true_deg)
    # The nearest point lies up to half a step along the line; only what lies across counts.
    across_m = abs(off_m * math.sin(math.radians(turn_deg)))
    if across_m >= ON_LINE_M:
        side = "right" if turn_deg > 0.0 else "left"
        towards_deg = (towards_true_deg - east_deg) % 360.0
    return replace(
        check,
        reference=format_place(place, grid),
        off_line_m=across_m if side else 0.0,
        side=side,
        towards_bearing_magnetic_deg=towards_deg,
        look_bearing_magnetic_deg=None if look is None else (look - east_deg) % 360.0,
    )


def _position(points: LegPoints, index: int) -> tuple[float, float]:
    return float(points.lat_deg[index]), float(points.lon_deg[index])
