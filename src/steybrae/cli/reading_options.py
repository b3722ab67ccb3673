"""Options of ``steybrae reading``, and which of them say nothing alone."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Final

import typer

from steybrae.errors import QuantityError

__all__ = [
    "Across",
    "Aspect",
    "AspectError",
    "At",
    "CheckNumber",
    "CompassClinometer",
    "Day",
    "Down",
    "Epe",
    "EpeConfidence",
    "EqualPoles",
    "EyeHeight",
    "FigureFile",
    "Gap",
    "Gaps",
    "Grid",
    "IndexEvery",
    "IndexGaps",
    "Instrument",
    "Log",
    "Look",
    "North",
    "Note",
    "Observer",
    "OtherError",
    "OtherReadings",
    "Pace",
    "Paces",
    "PaperInterval",
    "PaperScale",
    "PlanFile",
    "PoleLevel",
    "PoleOnSlope",
    "ReadingError",
    "Readings",
    "ReviewLog",
    "RulerError",
    "RulerOnly",
    "Sample",
    "Search",
    "When",
    "Within",
    "given_options",
    "refuse_alone",
    "refuse_beside_review",
]

_THE_READINGS: Final = "The readings"
_WITHOUT_AN_INCLINOMETER: Final = "Without an inclinometer"
_THE_MAP: Final = "The map"
_THE_MODEL_AND_THE_PLACE: Final = "The model and the place"
_A_SAVED_PLAN: Final = "A saved plan"
_BEARINGS_AND_WHERE_AM_I: Final = "Bearings, and where am I?"
_THE_LOG: Final = "The log"

Readings = Annotated[
    list[str] | None,
    typer.Argument(metavar="READING...", help="Looking up the slope or laid on it: 34deg 36deg 62%."),
]
Down = Annotated[
    list[str] | None,
    typer.Option("--down", help="A reading looking down the slope; repeat.", rich_help_panel=_THE_READINGS),
]
ReadingError = Annotated[
    str | None,
    typer.Option(
        "--error", help="95 % error of one reading; 4deg if not given.", rich_help_panel=_THE_READINGS
    ),
]
CompassClinometer = Annotated[
    bool,
    typer.Option(
        "--compass-clinometer", help="Read with the needle of a compass: 5deg.", rich_help_panel=_THE_READINGS
    ),
]
PoleLevel = Annotated[
    tuple[str, str] | None,
    typer.Option(
        "--pole-level",
        help="A pole held level and the drop from its end.",
        metavar="LENGTH DROP",
        rich_help_panel=_WITHOUT_AN_INCLINOMETER,
    ),
]
PoleOnSlope = Annotated[
    tuple[str, str] | None,
    typer.Option(
        "--pole-on-slope",
        help="A pole laid on the slope and the rise of its end.",
        metavar="LENGTH RISE",
        rich_help_panel=_WITHOUT_AN_INCLINOMETER,
    ),
]
EqualPoles = Annotated[
    tuple[str, str] | None,
    typer.Option(
        "--equal-poles",
        help="Two poles as a triangle, and its marks' distance.",
        metavar="LENGTH APART",
        rich_help_panel=_WITHOUT_AN_INCLINOMETER,
    ),
]
Paces = Annotated[
    tuple[float, float] | None,
    typer.Option(
        "--paces",
        help="Level sights of one eye height, and paces up.",
        metavar="SIGHTS PACES",
        rich_help_panel=_WITHOUT_AN_INCLINOMETER,
    ),
]
EyeHeight = Annotated[
    str | None,
    typer.Option(
        "--eye-height", help="Your own; 1.75m if not given.", rich_help_panel=_WITHOUT_AN_INCLINOMETER
    ),
]
Pace = Annotated[
    str | None,
    typer.Option("--pace", help="Your own; 0.75m if not given.", rich_help_panel=_WITHOUT_AN_INCLINOMETER),
]
OtherReadings = Annotated[
    list[str] | None,
    typer.Option("--other", help="A reading of another instrument; repeat.", rich_help_panel=_THE_READINGS),
]
OtherError = Annotated[
    str | None,
    typer.Option(
        "--other-error", help="95 % error of one of them; 4deg if not given.", rich_help_panel=_THE_READINGS
    ),
]
PaperScale = Annotated[
    str | None, typer.Option("--scale", help="Map scale, like 1:25000.", rich_help_panel=_THE_MAP)
]
PaperInterval = Annotated[
    str | None, typer.Option("--interval", help="Contour interval of the map.", rich_help_panel=_THE_MAP)
]
Gap = Annotated[
    str | None,
    typer.Option("--gap", help="One space between contours, like 2.5mm.", rich_help_panel=_THE_MAP),
]
Across = Annotated[
    str | None,
    typer.Option(
        "--across", help="Length on paper over several gaps, like 12.5mm.", rich_help_panel=_THE_MAP
    ),
]
Gaps = Annotated[
    int | None, typer.Option("--gaps", help="Gaps in --across: spaces, not lines.", rich_help_panel=_THE_MAP)
]
IndexGaps = Annotated[
    int | None,
    typer.Option("--index-gaps", help="Gaps between thick lines in --across.", rich_help_panel=_THE_MAP),
]
IndexEvery = Annotated[
    int | None,
    typer.Option("--index-every", help="Every how many contours one is thick.", rich_help_panel=_THE_MAP),
]
RulerError = Annotated[
    str, typer.Option("--ruler-error", help="95 %, of the whole length.", rich_help_panel=_THE_MAP)
]
RulerOnly = Annotated[
    bool,
    typer.Option("--ruler-only", help="Leave the contours' own height error out.", rich_help_panel=_THE_MAP),
]
Sample = Annotated[
    bool,
    typer.Option("--sample", help="On the invented sample massif.", rich_help_panel=_THE_MODEL_AND_THE_PLACE),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        help='Where, in quotes: "57.1234 -3.6712".',
        metavar="PLACE",
        rich_help_panel=_THE_MODEL_AND_THE_PLACE,
    ),
]
Within = Annotated[
    str | None,
    typer.Option(
        "--within",
        help="95 % radius of the position error, like 10m.",
        rich_help_panel=_THE_MODEL_AND_THE_PLACE,
    ),
]
Epe = Annotated[
    str | None,
    typer.Option(
        "--epe", help="Position error as the receiver shows it.", rich_help_panel=_THE_MODEL_AND_THE_PLACE
    ),
]
EpeConfidence = Annotated[
    float | None,
    typer.Option(
        "--epe-confidence",
        help="Percent of positions within it; 50 if not given.",
        rich_help_panel=_THE_MODEL_AND_THE_PLACE,
    ),
]
PlanFile = Annotated[
    Path | None, typer.Option("--plan", help="A plan kept by route --save.", rich_help_panel=_A_SAVED_PLAN)
]
CheckNumber = Annotated[
    str | None,
    typer.Option("--check", help="The check place on its card, like 7a.", rich_help_panel=_A_SAVED_PLAN),
]
Look = Annotated[
    str | None,
    typer.Option(
        "--look",
        help="Bearing that you sighted along.",
        metavar="BEARING",
        rich_help_panel=_BEARINGS_AND_WHERE_AM_I,
    ),
]
Aspect = Annotated[
    str | None,
    typer.Option(
        "--aspect",
        help="Bearing that the slope faces, downhill, as measured.",
        metavar="BEARING",
        rich_help_panel=_BEARINGS_AND_WHERE_AM_I,
    ),
]
AspectError = Annotated[
    str | None,
    typer.Option(
        "--aspect-error",
        help="95 % error of it; 15deg if not given.",
        rich_help_panel=_BEARINGS_AND_WHERE_AM_I,
    ),
]
Search = Annotated[
    str | None,
    typer.Option(
        "--search",
        help="How far to look for ground facing that way; 500m.",
        rich_help_panel=_BEARINGS_AND_WHERE_AM_I,
    ),
]
North = Annotated[
    str | None,
    typer.Option(
        "--north",
        help="North of the bearings: true, grid or magnetic.",
        rich_help_panel=_BEARINGS_AND_WHERE_AM_I,
    ),
]
Day = Annotated[
    str | None,
    typer.Option(
        "--date", help="Day of a magnetic bearing: 2026-02-14.", rich_help_panel=_BEARINGS_AND_WHERE_AM_I
    ),
]
Grid = Annotated[
    str | None,
    typer.Option(
        "--grid", help="Grid of a grid bearing: bng, utm or mgrs.", rich_help_panel=_BEARINGS_AND_WHERE_AM_I
    ),
]
Log = Annotated[
    Path | None, typer.Option("--log", help="Add this as one row to a CSV log.", rich_help_panel=_THE_LOG)
]
Observer = Annotated[str, typer.Option("--observer", help="Who read, for the log.", rich_help_panel=_THE_LOG)]
Instrument = Annotated[
    str, typer.Option("--instrument", help="With what, for the log.", rich_help_panel=_THE_LOG)
]
Note = Annotated[str, typer.Option("--note", help="Anything, for the log.", rich_help_panel=_THE_LOG)]
When = Annotated[
    str | None,
    typer.Option(
        "--time",
        help="When, with its zone: 2026-02-14T10:30+00:00; now if not given.",
        rich_help_panel=_THE_LOG,
    ),
]
ReviewLog = Annotated[
    Path | None,
    typer.Option(
        "--review", help="Look at a log: bias and spread of each instrument.", rich_help_panel=_THE_LOG
    ),
]
FigureFile = Annotated[Path | None, typer.Option("--figure", help="Draw it, as PNG or PDF.")]

_PAPER: Final = ("--gap", "--across", "--gaps", "--index-gaps", "--index-every")
_MODEL: Final = ("--dem", "--sample")
_READING: Final = ("READING", "--down")
_BEARING: Final = ("--look", "--aspect")

_NEEDS: Final[Mapping[str, tuple[str, ...]]] = {
    "--error": _READING,
    "--compass-clinometer": _READING,
    "--ruler-error": _PAPER,
    "--ruler-only": _PAPER,
    "--within": _MODEL,
    "--epe": _MODEL,
    "--epe-confidence": _MODEL,
    "--method": _MODEL,
    "--engine": _MODEL,
    "--z-unit": _MODEL,
    "--vertical-error": _MODEL,
    "--correlation": _MODEL,
    "--dem": ("--at", "--check"),
    "--sample": ("--at", "--check"),
    "--at": (*_MODEL, *_BEARING, "--log"),
    "--plan": ("--check",),
    "--check": ("--plan",),
    "--look": (*_MODEL, "--plan", "--aspect"),
    "--aspect": (*_MODEL, "--look", "--log"),
    "--aspect-error": ("--aspect",),
    "--search": ("--aspect",),
    "--north": _BEARING,
    "--date": _BEARING,
    "--grid": _BEARING,
    "--other-error": ("--other",),
    "--eye-height": ("--paces",),
    "--pace": ("--paces",),
    "--observer": ("--log",),
    "--instrument": ("--log",),
    "--note": ("--log",),
    "--time": ("--log",),
}
"""Options that say nothing without one of others."""

_WITH_REVIEW: Final = ("--review", "--figure", "--force", "--json")


def given_options(context: typer.Context) -> list[str]:
    """Options on the command line, as they are written there; the readings are ``READING``.

    Parameters
    ----------
    context
        Of the command.

    Returns
    -------
    list of str
    """
    given = []
    for option in context.command.params:
        source = context.get_parameter_source(option.name or "")
        if source is not None and source.name == "COMMANDLINE":
            given.append(option.opts[0] if option.param_type_name == "option" else "READING")
    return given


def refuse_alone(given: list[str]) -> None:
    """Refuse options that say nothing without others.

    Raises
    ------
    QuantityError
        Names the option and what it needs.
    """
    for option in given:
        needed = _NEEDS.get(option, ())
        if needed and not set(needed) & set(given):
            one_of = needed[0] if len(needed) == 1 else f"{', '.join(needed[:-1])} or {needed[-1]}"
            message = f"{option} says nothing without {one_of}; got none. Add it, or leave {option} out."
            raise QuantityError(message)


def refuse_beside_review(given: list[str]) -> None:
    """Refuse a review beside a comparison.

    Raises
    ------
    QuantityError
        Names what was given beside it.
    """
    others = [option for option in given if option not in _WITH_REVIEW]
    if others:
        message = (
            "--review looks at a whole log and goes with --figure, --force and --json only; "
            f"got {' and '.join(others)} too. Run the two apart."
        )
        raise QuantityError(message)
