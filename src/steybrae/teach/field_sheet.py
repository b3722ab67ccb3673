"""The blank log to write on: the columns of the log of readings, and what to put in them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from statistics import fmean
from typing import Final

from steybrae.card.checks import leg_checks
from steybrae.card.result import Check
from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.field.log import COLUMNS
from steybrae.field.readings import reading_uncertainty_95_deg
from steybrae.screening.result import RouteScreening
from steybrae.value import slope

__all__ = ["FieldCheck", "FieldColumn", "FieldSheet", "field_sheet"]

EXAMPLE_READINGS_DEG: Final = (34.0, 36.0, 33.0, 35.0)
"""Readings of the example row, degrees; invented."""

_MEAN: Final = "mean_deg"
_EXPANDED: Final = "uncertainty_95_deg"
_READINGS: Final = "readings_deg"

_WORDS: Final = {
    "time": ("Day, clock time, zone", 24.0, "2027-02-14T10:30Z"),
    "observer": ("Who", 16.0, "R. Fennar"),
    "instrument": ("With what", 19.0, "clinometer 2"),
    "lat_deg": ("Latitude, degrees", 20.0, "59.21310"),
    "lon_deg": ("Longitude, degrees", 20.0, "-8.03660"),
    "reference_source": ("Compared with (map, model, card)", 24.0, "map, 5 gaps"),
    "reference_slope_deg": ("Slope by that", 15.0, "31"),
    "aspect_true_deg": ("Faces, from true north", 15.0, "045"),
    "plan": ("Plan", 16.0, "day.zip"),
    "check": ("Check", 11.0, "7a"),
    "note": ("Note: snow, what you looked along, what you saw", 38.0, "wind-packed, up the fall line"),
    _READINGS: ("Readings, degrees, no sign, split by ;", 29.0, ""),
    _MEAN: ("Mean", 11.0, ""),
    _EXPANDED: ("± 95 %", 11.0, ""),
}


@dataclass(frozen=True)
class FieldColumn:
    """One column.

    Attributes
    ----------
    name
        As in the header of the log's file.
    words
        What to write there.
    width_mm
        On A4 on its long side, mm.
    example
        What stands there in the example row.
    """

    name: str
    words: str
    width_mm: float
    example: str


@dataclass(frozen=True)
class FieldCheck:
    """A check of a plan to be filled in.

    Attributes
    ----------
    leg
        From and to of its leg, in words.
    check
        As on the card.
    """

    leg: str
    check: Check


@dataclass(frozen=True)
class FieldSheet:
    """The blank log.

    Attributes
    ----------
    columns
        Those of the log, in its order.
    uncertainty_by_count
        Number of readings, and the 95 % uncertainty of their mean, degrees.
    plan, checks
        Name of the plan with the day, and its checks in the order of the line; empty without a plan.
    cautions
        Never empty.
    """

    columns: tuple[FieldColumn, ...]
    uncertainty_by_count: tuple[tuple[int, float], ...]
    plan: str
    checks: tuple[FieldCheck, ...]
    cautions: tuple[Caution, ...]


def field_sheet(planned: tuple[RouteScreening, dt.date] | None = None, grid: str = "latlon") -> FieldSheet:
    """Columns, the example row and the reminders of the log, and the checks of a plan.

    Parameters
    ----------
    planned
        Plan whose checks are to be filled in, and the day, for magnetic bearings; None for a blank log.
    grid
        Grid that its places are written in.

    Returns
    -------
    FieldSheet
    """
    examples = {
        _READINGS: "; ".join(f"{value:g}" for value in EXAMPLE_READINGS_DEG),
        _MEAN: f"{fmean(EXAMPLE_READINGS_DEG):g}",
        _EXPANDED: slope(reading_uncertainty_95_deg(len(EXAMPLE_READINGS_DEG))).figure,
    }
    columns = tuple(
        FieldColumn(name, words, width_mm, examples.get(name, example))
        for name, (words, width_mm, example) in ((name, _WORDS[name]) for name in COLUMNS)
    )
    checks = [
        FieldCheck(f"Leg {leg.number}, {leg.from_} to {leg.to}", check)
        for plan, date in ([planned] if planned else [])
        for leg in plan.legs
        for check in leg_checks(leg, date, grid)
    ]
    return FieldSheet(
        columns,
        tuple((count, reading_uncertainty_95_deg(count)) for count in (1, 2, 3, 4, 6, 8)),
        f"{planned[0].name}, {planned[1]:%d %B %Y}" if planned else "",
        tuple(checks),
        cautions_for(Situation(from_reading=True, lesson=planned is None, magnetic=planned is not None)),
    )
