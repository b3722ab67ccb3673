"""The blank log to write on: the columns of the log of readings, and what to put in them."""

from __future__ import annotations

import datetime as dt
from typing import Final

from steybrae.card.checks import leg_checks
from steybrae.card.result import Check
from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.field.log import TYPED_COLUMNS
from steybrae.field.readings import reading_uncertainty_95_deg
from steybrae.frozen import dataclass
from steybrae.screening.result import RouteScreening

_WORDS: Final = {
    "time": ("Day, clock time, zone", 26.0, "14 Feb 2027 10:30 UTC"),
    "observer": ("Who", 18.0, "R. Fennar"),
    "instrument": ("With what", 22.0, "clinometer 2"),
    "place": ("Place: grid reference or degrees", 30.0, "HV 5572 5188"),
    "reference_source": ("Compared with (map, model, card)", 26.0, "map, 5 gaps"),
    "reference_slope_deg": ("Slope by that, degrees", 19.0, "31"),
    "aspect_true_deg": ("Faces, from true north", 17.0, "045"),
    "plan": ("Plan", 18.0, "day.zip"),
    "check": ("Check", 12.0, "7a"),
    "note": ("Note: snow, what you looked along, what you saw", 42.0, "wind-packed, up the fall line"),
    "readings_deg": ("Readings, degrees, no sign, split by ;", 33.0, "34; 36; 33; 35"),
}
"""For each column of the typed log: what to write, width in mm, and an invented row in the sample massif."""


TYPE_IN: Final = (
    'steybrae reading 34 36 33 35 --at "HV 5572 5188" --time "14 Feb 2027 10:30 UTC" --log log.csv',
    "steybrae reading --add table.csv --log log.csv",
)
"""How the example row is typed in: alone, and a whole table under the columns' names. In double quotes, which
every shell takes."""


@dataclass(frozen=True)
class FieldColumn:
    """One column, named as in the header of the log's file: what to write there, and in the example row."""

    name: str
    words: str
    width_mm: float
    example: str


@dataclass(frozen=True)
class FieldCheck:
    """A check of a plan to be filled in, and its leg in words."""

    leg: str
    check: Check


@dataclass(frozen=True)
class FieldSheet:
    """The log: columns of a typed log, in its order, and the checks of a plan, empty without one.

    `uncertainty_by_count` has the number of readings, and the 95 % uncertainty of their mean,
    degrees; `type_in` the commands that take a row into the log, as they are typed. Cautions are
    never empty.
    """

    columns: tuple[FieldColumn, ...]
    uncertainty_by_count: tuple[tuple[int, float], ...]
    type_in: tuple[str, ...]
    plan: str
    checks: tuple[FieldCheck, ...]
    cautions: tuple[Caution, ...]


def field_sheet(
    planned: tuple[RouteScreening, dt.date] | None = None, grid: str = "latlon", plan_file: str = "plan.zip"
) -> FieldSheet:
    """Columns, the example row and the reminders of the log, and the checks of a plan.

    `planned` is a plan whose checks are to be filled in, and the day, for magnetic bearings; None
    for a blank log. `plan_file` stands in the command that is printed.
    """
    columns = tuple(FieldColumn(name, *_WORDS[name]) for name in TYPED_COLUMNS)
    checks = [
        FieldCheck(f"Leg {leg.number}, {leg.from_} to {leg.to}", check)
        for plan, date in ([planned] if planned else [])
        for leg in plan.legs
        for check in leg_checks(leg, date, grid)
    ]
    return FieldSheet(
        columns,
        tuple((count, reading_uncertainty_95_deg(count)) for count in (1, 2, 3, 4, 6, 8)),
        _type_in(plan_file, checks[0].check.number, planned[1]) if planned and checks else TYPE_IN,
        f"{planned[0].name}, {planned[1]:%d %B %Y}" if planned else "",
        tuple(checks),
        (
            *cautions_for(Situation(from_reading=True, lesson=planned is None, magnetic=planned is not None)),
            *(one for one in (planned[0].cautions if planned else ()) if one.key == "settings_file"),
        ),
    )


def _type_in(plan_file: str, check: str, date: dt.date) -> tuple[str, ...]:
    at = f'--plan "{plan_file}" --check {check} --time "{date:%d %b %Y} 10:30 UTC"'
    return (f"steybrae reading 19 21 20 {at} --log log.csv",)
