"""Groups of options of ``steybrae reading``, and which of them say nothing alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

import typer

from steybrae.cli.options.common import OutputOptions
from steybrae.cli.options.groups import PICTURE, Group, flag, ground_length, option, slope_typed, written
from steybrae.cli.options.paper import MEASURED
from steybrae.errors import DateError, QuantityError
from steybrae.frozen import dataclass
from steybrae.quantities import parse_ground_length_m, parse_scale, parse_slope_deg

if TYPE_CHECKING:
    from steybrae.field.poles import HandSlope
    from steybrae.route.positions.places import Place


def _lengths(first: str, second: str) -> Callable[[tuple[str, str]], tuple[float, float]]:
    """Read two lengths, metres, of which the second may be 0."""

    def read(pair: tuple[str, str]) -> tuple[float, float]:
        return parse_ground_length_m(pair[0], first), parse_ground_length_m(pair[1], second, zero=True)

    return read


def _aspect_error(text: str) -> float:
    from steybrae.field.relocation import check_aspect_error

    return check_aspect_error(parse_slope_deg(text, "An aspect error"))


@dataclass(frozen=True)
class InstrumentOptions(Group, panel="The readings"):
    """Readings of an instrument, and of another one."""

    down: list[str] | None = option("--down", "A reading looking down the slope; repeat.", "SLOPE")
    error_deg: float | None = option(
        "--error",
        "95 % error of one reading; 4deg if not given.",
        "DEG",
        read=slope_typed("The error of a reading"),
    )
    compass_clinometer: bool = flag("--compass-clinometer", "Read with the needle of a compass: 5deg.")
    other: list[str] | None = option("--other", "A reading of another instrument; repeat.", "SLOPE")
    other_error_deg: float | None = option(
        "--other-error",
        "95 % error of one of them; 4deg if not given.",
        "DEG",
        read=slope_typed("The error of a reading"),
    )


@dataclass(frozen=True)
class ByHand(Group, panel="Without an inclinometer"):
    """Ways without an instrument."""

    pole_level: tuple[float, float] | None = option(
        "--pole-level",
        "A pole held level and the drop from its end.",
        "LENGTH DROP",
        read=_lengths("The pole", "The drop"),
        typed=tuple[str, str],
    )
    pole_on_slope: tuple[float, float] | None = option(
        "--pole-on-slope",
        "A pole laid on the slope and the rise of its end.",
        "LENGTH RISE",
        read=_lengths("The pole", "The rise"),
        typed=tuple[str, str],
    )
    equal_poles: tuple[float, float] | None = option(
        "--equal-poles",
        "Two poles as a triangle, and its marks' distance.",
        "LENGTH APART",
        read=_lengths("The pole", "The distance between the marks"),
        typed=tuple[str, str],
    )
    paces: tuple[float, float] | None = option(
        "--paces", "Level sights of one eye height, and paces up.", "SIGHTS PACES"
    )
    eye_height_m: float | None = option(
        "--eye-height",
        "Your own; 1.75m if not given.",
        "LENGTH",
        read=ground_length("The eye height"),
        kept="person",
    )
    pace_m: float | None = option(
        "--pace",
        "Your own; 0.75m if not given.",
        "LENGTH",
        read=ground_length("The pace"),
        kept="person",
    )

    def slopes(self) -> list[HandSlope]:
        """Slopes found so, in the order of the options."""
        from steybrae.field.poles import EYE_HEIGHT_M, PACE_M, equal_poles, pace_and_eye_height, two_poles

        found = []
        if self.pole_level is not None:
            found.append(two_poles(*self.pole_level, along="level"))
        if self.pole_on_slope is not None:
            found.append(two_poles(*self.pole_on_slope, along="slope"))
        if self.equal_poles is not None:
            found.append(equal_poles(*self.equal_poles))
        if self.paces is not None:
            eye_m = EYE_HEIGHT_M if self.eye_height_m is None else self.eye_height_m
            pace_m = PACE_M if self.pace_m is None else self.pace_m
            found.append(pace_and_eye_height(*self.paces, eye_height_m=eye_m, pace_m=pace_m))
        return found


@dataclass(frozen=True)
class ReadingMap(Group, panel="The map"):
    """The printed map."""

    scale: float | None = option(
        "--scale", "Map scale, like 1:25000.", "1:N", read=parse_scale, kept="map", beside=MEASURED
    )
    interval_m: float | None = option(
        "--interval",
        "Contour interval of the map.",
        "LENGTH",
        read=ground_length("A contour interval"),
        kept="map",
        beside=MEASURED,
    )


@dataclass(frozen=True)
class PlanCheck(Group, panel="A saved plan"):
    """A check of a saved plan."""

    plan: Path | None = option("--plan", "A plan kept by route --save.", "FILE")
    check: str | None = option("--check", "The check place on its card, like 7a.", "CHECK")


@dataclass(frozen=True)
class Bearings:
    """Bearings turned to true north, None where not given, and whether they were magnetic.

    `turned_error_deg` is the 95 % error of turning them: that of the declination for magnetic ones.
    """

    look_true_deg: float | None = None
    aspect_true_deg: float | None = None
    turned_error_deg: float = 0.0
    magnetic: bool = False


@dataclass(frozen=True)
class BearingOptions(Group, panel="Bearings, and where am I?"):
    """Bearings measured on the hill."""

    look: str | None = option("--look", "Bearing that you sighted along.", "BEARING")
    aspect: str | None = option("--aspect", "Bearing that the slope faces, downhill, as measured.", "BEARING")
    aspect_error_deg: float | None = option(
        "--aspect-error", "95 % error of it; 15deg if not given.", "DEG", read=_aspect_error
    )
    search_m: float | None = option(
        "--search",
        "How far to look for ground facing that way; 500m.",
        "LENGTH",
        read=ground_length("The search"),
    )
    north: str | None = option("--north", "North of the bearings: true, grid or magnetic.", "NORTH")
    date: str | None = option("--date", "Day of a magnetic bearing: 2026-02-14.", "DATE")
    grid: str | None = option(
        "--grid", "Grid of a grid bearing: bng, utm or mgrs.", "GRID", kept="map", beside=("--north",)
    )

    def turned(self, place: Place | None) -> Bearings:
        """Turn the bearings to true north.

        Refused without a north, a place or a grid to turn them with, for a bearing or a date that
        cannot be read, and for a date outside the magnetic model.
        """
        if self.look is None and self.aspect is None:
            return Bearings()
        from steybrae.route.bearings import declination, parse_bearing, true_bearing_deg

        date = _date(self.date)
        read = [
            None if text is None else parse_bearing(text, self.north, date)
            for text in (self.look, self.aspect)
        ]
        if self.north == "true":
            look, aspect = (None if bearing is None else bearing.bearing_deg for bearing in read)
            return Bearings(look, aspect)
        if place is None:
            message = (
                f"A {self.north} bearing needs a place to be turned to true north; none was given. "
                "Add --at, or --plan and --check."
            )
            raise QuantityError(message)
        if self.north == "grid" and self.grid is None:
            message = (
                "A grid bearing needs the grid of your map, one of bng, utm and mgrs; got none. Add --grid."
            )
            raise QuantityError(message)
        look, aspect = (
            None if bearing is None else true_bearing_deg(bearing, place, date, self.grid or "utm")
            for bearing in read
        )
        if self.north == "grid" or date is None:
            return Bearings(look, aspect)
        turned_deg = declination(place, 0.0, date).declination_uncertainty_95_deg
        return Bearings(look, aspect, turned_deg, magnetic=True)


def _date(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        message = f"A date should look like 2026-02-14; got {text!r}. Write year, month, day."
        raise DateError(message) from None


@dataclass(frozen=True)
class LogOptions(Group, panel="The log"):
    """The log."""

    log: Path | None = option("--log", "Add this as one row to a CSV log.", "FILE")
    add: Path | None = option("--add", "Add the rows of another log, such as a phone's, to --log.", "FILE")
    observer: str = option("--observer", "Who read, for the log.", "NAME", default="", kept="person")
    instrument: str = option("--instrument", "With what, for the log.", "TEXT", default="", kept="person")
    note: str = option("--note", "Anything, for the log.", "TEXT", default="")
    time: str | None = option(
        "--time", "When, with its zone: '14 Feb 2027 10:30 UTC'; now if not given.", "TIME"
    )
    review: list[Path] | None = option(
        "--review",
        "Look at a log: bias and spread of each instrument; repeat it for the logs of a class.",
        "FILE",
    )
    no_names: bool = flag("--no-names", "Number the observers of a review instead of naming them.")

    def read_time(self) -> dt.datetime:
        """When the reading was taken; now, in the zone of this computer, where nothing was typed."""
        if self.time is None:
            try:
                return dt.datetime.now().astimezone().replace(microsecond=0)
            except ValueError as error:
                message = (
                    "The time zone of this computer should lie within 24 hours of UTC; it does not (see the "
                    "setting TZ). Type the time with --time."
                )
                raise DateError(message) from error
        from steybrae.field.log import parse_moment

        return parse_moment(self.time)


@dataclass(frozen=True)
class ReadingOutputs(OutputOptions):
    """Where the answer goes."""

    figure: Path | None = written("--figure", "Draw it, as PNG or PDF.", PICTURE)


_MODEL: Final = ("--dem", "--sample")
_READING: Final = ("READING", "--down")
_BEARING: Final = ("--look", "--aspect")

NEEDS: Final[Mapping[str, tuple[str, ...]]] = {
    "--error": _READING,
    "--compass-clinometer": _READING,
    "--ruler-error": MEASURED,
    "--ruler-only": MEASURED,
    **dict.fromkeys(("--within", "--epe", "--epe-confidence", "--method", "--engine", "--z-unit"), _MODEL),
    **dict.fromkeys(("--vertical-error", "--correlation", "--model-kind"), _MODEL),
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
    **dict.fromkeys(("--observer", "--instrument", "--note", "--time"), ("--log",)),
    "--no-names": ("--review",),
}
"""Options that say nothing without one of others."""

_WITH_REVIEW: Final = ("--review", "--no-names", "--figure", "--force", "--json")


def given_options(context: typer.Context) -> list[str]:
    """Options on the command line, as they are written there; the readings are ``READING``."""
    given = []
    for one in context.command.params:
        source = context.get_parameter_source(one.name or "")
        if source is not None and source.name == "COMMANDLINE":
            given.append(one.opts[0] if one.param_type_name == "option" else "READING")
    return given


def refuse_alone(given: list[str]) -> None:
    """Refuse options that say nothing without others, naming what they need."""
    for name in given:
        needed = NEEDS.get(name, ())
        if needed and not set(needed) & set(given):
            one_of = needed[0] if len(needed) == 1 else f"{', '.join(needed[:-1])} or {needed[-1]}"
            it = "it" if len(needed) == 1 else "one"
            message = f"{name} says nothing without {one_of}; got none. Add {it}, or leave {name} out."
            raise QuantityError(message)


def refuse_beside_add(given: list[str]) -> None:
    """Refuse a reading beside the rows of another log, and these without a log to add them to."""
    others = [option for option in given if option not in ("--add", "--log")]
    if others or "--log" not in given:
        got = f"got {' and '.join(others)} too" if others else "got none"
        message = (
            f"--add goes with the --log to add to, and nothing else; {got}. Write --log readings.csv --add "
            "rows.csv."
        )
        raise QuantityError(message)


def refuse_beside_review(given: list[str]) -> None:
    """Refuse a review beside a comparison."""
    others = [option for option in given if option not in _WITH_REVIEW]
    if others:
        message = (
            "--review looks at a whole log and goes with --no-names, --figure, --force and --json only; "
            f"got {' and '.join(others)} too. Run the two apart."
        )
        raise QuantityError(message)
