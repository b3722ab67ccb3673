"""What was typed for ``steybrae reading``, in groups, and the parts that are read at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from steybrae.errors import DateError, QuantityError

if TYPE_CHECKING:
    from steybrae.field.poles import HandSlope
    from steybrae.route.places import Place

__all__ = [
    "Bearings",
    "ByBearing",
    "ByHand",
    "OnModel",
    "OnPaper",
    "hand_slopes",
    "read_bearings",
    "read_time",
]


@dataclass(frozen=True)
class OnPaper:
    """Options about the printed map, as typed."""

    scale: str | None
    interval: str | None
    gap: str | None
    across: str | None
    gaps: int | None
    index_gaps: int | None
    index_every: int | None
    ruler_error: str
    ruler_only: bool


@dataclass(frozen=True)
class OnModel:
    """Options about the elevation model, as typed."""

    dem: Sequence[Path] | None
    sample: bool
    within: str | None
    epe: str | None
    epe_confidence: float | None
    edges: str | None
    method: str
    engine: str
    z_unit: str | None
    vertical_error: str | None
    correlation: str | None


@dataclass(frozen=True)
class ByBearing:
    """Options about bearings, as typed."""

    look: str | None
    aspect: str | None
    aspect_error: str | None
    search: str | None
    north: str | None
    date: str | None
    grid: str | None


@dataclass(frozen=True)
class ByHand:
    """Options about ways without an instrument, as typed."""

    pole_level: tuple[str, str] | None
    pole_on_slope: tuple[str, str] | None
    equal_poles: tuple[str, str] | None
    paces: tuple[float, float] | None
    eye_height: str | None
    pace: str | None


@dataclass(frozen=True)
class Bearings:
    """Bearings turned to true north.

    Attributes
    ----------
    look_true_deg, aspect_true_deg
        None where not given.
    turned_error_deg
        95 % error of turning them, degrees: that of the declination for magnetic ones.
    magnetic
        Whether they were magnetic.
    """

    look_true_deg: float | None = None
    aspect_true_deg: float | None = None
    turned_error_deg: float = 0.0
    magnetic: bool = False


def read_bearings(typed: ByBearing, place: Place | None) -> Bearings:
    """Turn the bearings to true north.

    Raises
    ------
    QuantityError
        No north, no place or grid to turn them with, or a bearing that cannot be read.
    DateError
        A date that cannot be read, or outside the magnetic model.
    """
    if typed.look is None and typed.aspect is None:
        return Bearings()
    from steybrae.route.bearings import parse_bearing, true_bearing_deg
    from steybrae.route.magnetic import declination

    date = _date(typed.date)
    read = [
        None if text is None else parse_bearing(text, typed.north, date)
        for text in (typed.look, typed.aspect)
    ]
    if typed.north == "true":
        look, aspect = (None if bearing is None else bearing.bearing_deg for bearing in read)
        return Bearings(look, aspect)
    if place is None:
        message = (
            f"A {typed.north} bearing needs a place to be turned to true north; none was given. "
            "Add --at, or --plan and --check."
        )
        raise QuantityError(message)
    if typed.north == "grid" and typed.grid is None:
        message = "A grid bearing needs the grid of your map, one of bng, utm and mgrs; got none. Add --grid."
        raise QuantityError(message)
    look, aspect = (
        None if bearing is None else true_bearing_deg(bearing, place, date, typed.grid or "utm")
        for bearing in read
    )
    if typed.north == "grid" or date is None:
        return Bearings(look, aspect)
    return Bearings(look, aspect, declination(place, 0.0, date).declination_uncertainty_95_deg, magnetic=True)


def _date(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        message = f"A date should look like 2026-02-14; got {text!r}. Write year, month, day."
        raise DateError(message) from None


def hand_slopes(typed: ByHand) -> list[HandSlope]:
    """Slopes found without an instrument, in the order of the options.

    Raises
    ------
    QuantityError
        A value cannot be read or is out of range.
    """
    from steybrae.cli.inputs import length_m
    from steybrae.field.poles import EYE_HEIGHT_M, PACE_M, equal_poles, pace_and_eye_height, two_poles

    def lengths_m(pair: tuple[str, str], first: str, second: str) -> tuple[float, float]:
        return length_m(pair[0], first) or 0.0, length_m(pair[1], second, zero=True) or 0.0

    found = []
    if typed.pole_level is not None:
        found.append(two_poles(*lengths_m(typed.pole_level, "The pole", "The drop"), along="level"))
    if typed.pole_on_slope is not None:
        found.append(two_poles(*lengths_m(typed.pole_on_slope, "The pole", "The rise"), along="slope"))
    if typed.equal_poles is not None:
        found.append(equal_poles(*lengths_m(typed.equal_poles, "The pole", "The distance between the marks")))
    if typed.paces is not None:
        eye_m, pace_m = length_m(typed.eye_height, "The eye height"), length_m(typed.pace, "The pace")
        found.append(
            pace_and_eye_height(
                *typed.paces,
                eye_height_m=EYE_HEIGHT_M if eye_m is None else eye_m,
                pace_m=PACE_M if pace_m is None else pace_m,
            )
        )
    return found


def read_time(text: str | None) -> dt.datetime:
    """Read when a reading was taken; now, in the zone of this computer, where nothing was typed.

    Raises
    ------
    DateError
        It cannot be read, or has no zone.
    """
    if text is None:
        return dt.datetime.now().astimezone().replace(microsecond=0)
    try:
        found = dt.datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        message = (
            f"A time should look like 2026-02-14T10:30+00:00, with its zone; got {text!r}. Write it so, "
            "or leave --time out for now."
        )
        raise DateError(message)
    return found
