"""From the options of ``steybrae reading`` to what a reading is compared with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from steybrae.cli.options.model import ModelOptions, PositionOptions
from steybrae.cli.options.paper import GapOptions
from steybrae.cli.options.reading import BearingOptions, Bearings, InstrumentOptions, ReadingMap
from steybrae.errors import QuantityError
from steybrae.field.sources import Source

if TYPE_CHECKING:
    from steybrae.field.poles import HandSlope
    from steybrae.field.readings import ReadingSet
    from steybrae.route.positions.places import Place
    from steybrae.screening import Settings


@dataclass(frozen=True)
class Own:
    """The readings that are compared, and what they rest on, one sentence each."""

    readings: ReadingSet
    basis: tuple[str, ...]


def paper_source(sheet: ReadingMap, gap: GapOptions, aspect_true_deg: float | None) -> Source | None:
    """Slope from the map; None where no option about it was given.

    Raises
    ------
    QuantityError
        A part is missing, or a value cannot be read.
    """
    from steybrae.field import references

    if sheet.scale is None and sheet.interval_m is None and not gap.measured:
        return None
    if sheet.scale is None or sheet.interval_m is None:
        missing = "--scale" if sheet.scale is None else "--interval"
        message = (
            f"A gap on a map needs its --scale and its --interval; {missing} is missing. "
            "Read both in the margin of the sheet."
        )
        raise QuantityError(message)
    found = gap.slope(sheet.scale, sheet.interval_m)
    measured = gap.measurement()
    return references.paper_source(found, measured, sheet.interval_m, sheet.scale, aspect_true_deg)


def model_source(
    settings: Settings,
    model: ModelOptions,
    position: PositionOptions,
    place: Place,
    bearings: Bearings,
    asked: BearingOptions,
) -> Source | None:
    """Ground of the model at a place, and whether the aspect fits there; None without a model.

    Raises
    ------
    SteybraeError
        The model, the place or an option cannot be used.
    """
    from steybrae.screening.ground.at import ground_at
    from steybrae.screening.ground.reading import SEARCH_M, aspect_at, ground_source

    if not model.dem and not model.sample:
        return None
    radius_m, note = position.radius()
    search_m = asked.search_m
    fit = None
    with model.opened(settings, [place]) as (dem, known):
        found = ground_at(place, dem, radius_m, known)
        radius_m = found.within.radius_m
        if bearings.aspect_true_deg is not None:
            fit = aspect_at(
                bearings.aspect_true_deg,
                place,
                dem,
                radius_m,
                known,
                error_95_deg=_aspect_error_deg(asked, bearings),
                search_m=max(SEARCH_M, radius_m) if search_m is None else search_m,
            )
    return ground_source(found, place, note, fit)


def _aspect_error_deg(asked: BearingOptions, bearings: Bearings) -> float:
    """Error of the measured aspect, and that of turning it to true north."""
    from steybrae.field.relocation import ASPECT_ERROR_95_DEG

    if asked.aspect_error_deg is None:
        return math.hypot(ASPECT_ERROR_95_DEG, bearings.turned_error_deg)
    return min(90.0, math.hypot(asked.aspect_error_deg, bearings.turned_error_deg))


def check_source(plan: Path, number: str) -> Source:
    """Take what a saved plan expects at a check place.

    Raises
    ------
    PlanError
        The plan has no such check.
    FileReadError
        The plan cannot be read.
    """
    from steybrae.card.checks import check_of
    from steybrae.files.plans import read_plan

    return check_of(read_plan(plan), number, plan.name)


def own_reading(
    up: Sequence[str], typed: InstrumentOptions, hand: Sequence[HandSlope]
) -> tuple[Own, list[Source]]:
    """Tell what is compared from what it is compared with.

    Parameters
    ----------
    up, typed
        Readings looking up as typed, and what was said of them.
    hand
        Slopes found without an instrument; without a reading the first of them is the reading.

    Raises
    ------
    QuantityError
        No reading and no other slope, or one that cannot be read.
    """
    from steybrae.field.poles import COMPASS_ERROR_95_DEG, compass_clinometer
    from steybrae.field.readings import READING_ERROR_95_DEG, ReadingSet, parse_readings, reading_basis

    down, compass, error_deg = typed.down or [], typed.compass_clinometer, typed.error_deg
    if hand and not up and not down:
        first, *others = hand
        readings = ReadingSet((first.slope_deg,), error_95_deg=first.uncertainty_95_deg)
        return Own(readings, (_hand_words(first),)), [_hand_source(one) for one in others]
    usual_deg = COMPASS_ERROR_95_DEG if compass else READING_ERROR_95_DEG
    readings = parse_readings(up, down, usual_deg if error_deg is None else error_deg)
    words = reading_basis(readings, stated=error_deg is not None)
    if compass:
        rests_on = compass_clinometer(readings.readings_deg, readings.error_95_deg).rests_on
        basis = rests_on if error_deg is None else (*rests_on[1:], words)
    else:
        basis = (words,)
    return Own(readings, basis), [_hand_source(one) for one in hand]


def _hand_source(one: HandSlope) -> Source:
    return Source(one.as_reference(), (_hand_words(one),))


def _hand_words(one: HandSlope) -> str:
    return f"{one.method[:1].upper()}{one.method[1:]}: {'; '.join(one.rests_on)}."


def other_source(typed: InstrumentOptions) -> Source | None:
    """Take readings of another instrument; None without any.

    Raises
    ------
    QuantityError
        A value cannot be read or is out of range.
    """
    from steybrae.field.readings import READING_ERROR_95_DEG, parse_readings
    from steybrae.field.references import reading_as_reference

    if not typed.other:
        return None
    error_deg = READING_ERROR_95_DEG if typed.other_error_deg is None else typed.other_error_deg
    found = parse_readings(typed.other, error_95_deg=error_deg)
    stated = "as stated" if typed.other_error_deg is not None else "as that of the first"
    words = f"The other instrument: {found.error_95_deg:g}° (95 %) for one reading, {stated}."
    return Source(reading_as_reference("the other instrument", found), (words,))
