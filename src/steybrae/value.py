"""A number as a reader meets it: its unit, its rounding, how well it is known, and its text.

Every number that a person reads goes through a `Value`, so that two outputs of one result cannot
differ by a tenth, and the words "at least" and "unknown" stand here and nowhere else. The factories
hold the one rounding rule: never to the side that flatters.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, Literal, Protocol

from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.quantities import MIL_PER_DEG, round_down, round_up

UNKNOWN: Final = "unknown"
NOT_KNOWN_HOW_WELL: Final = "not known how well"
AT_LEAST: Final = "at least"
AT_MOST: Final = "at most"

Rounding = Literal["up", "down", "nearest"]

_UNITS: Final = {
    "": ("", 1.0),
    "deg": ("°", 1.0),
    "percent": (" %", 1.0),
    "m": (" m", 1.0),
    "km": (" km", 1e-3),
    "ft": (" ft", 1.0),
    "mm": (" mm", 1.0),
    "min": (" min", 1.0),
    "km2": (" km²", 1.0),
    "m2": (" m²", 1.0),
}
"""What is written behind a figure, and the factor from SI to it."""


@dataclass(frozen=True)
class Value:
    """A number, or that it is unknown, and how a reader is told.

    Attributes
    ----------
    number
        In SI units, degrees or square kilometres, unrounded; None unknown (NaN becomes None).
    unit
        ``deg``, ``percent``, ``m``, ``km``, ``ft``, ``mm``, ``min``, ``km2``, ``m2`` or nothing: that of the
        text.
    step, rounding
        Of the figure shown, in that unit; to which side it is rounded.
    at_least
        Whether it may be more by an amount not known.
    interval
        Ends of the 95 % interval, either None where not known; None where there is none to tell.
    """

    number: float | None
    unit: str = ""
    step: float = 1.0
    rounding: Rounding = "nearest"
    at_least: bool = False
    interval: tuple[float | None, float | None] | None = None

    def __post_init__(self) -> None:
        """Take NaN for unknown."""
        if self.number is not None and math.isnan(self.number):
            object.__setattr__(self, "number", None)

    @property
    def shown(self) -> float | None:
        """The number as shown, in `unit`; None unknown."""
        return None if self.number is None else self._rounded(self.number, self.rounding)

    @property
    def figure(self) -> str:
        """``31.3``: the figure alone, without unit and without "at least"; ``unknown``."""
        return UNKNOWN if self.shown is None else self._digits(self.shown)

    @property
    def text(self) -> str:
        """``at least 31.3°``; ``unknown``, which nothing goes before."""
        return " ".join(self.lines)

    @property
    def short(self) -> str:
        """`text` without noughts at the end of the figure: ``2.5 mm``, ``50 m``."""
        return UNKNOWN if self.shown is None else f"{self.shown:.10g}{_UNITS[self.unit][0]}"

    @property
    def signed(self) -> str:
        """``+1.5``: the figure with its sign."""
        sign = "+" if self.shown is not None and self.shown >= 0.0 else ""
        return f"{sign}{self.figure}"

    @property
    def lines(self) -> tuple[str, ...]:
        """``at least``, ``31.3°``: `text` for a narrow column."""
        if self.unit == "min" and self.shown is not None:
            return self.cell(_clock(self.shown))
        return self.cell(f"{self.figure}{_UNITS[self.unit][0]}")

    @property
    def figure_lines(self) -> tuple[str, ...]:
        """`lines` without the unit, which stands in the heading of the column."""
        return self.cell(self.figure)

    def cell(self, figure: str) -> tuple[str, ...]:
        """Lines round a figure written otherwise; ``unknown`` where there is none."""
        if self.number is None:
            return (UNKNOWN,)
        return (AT_LEAST, figure) if self.at_least else (figure,)

    @property
    def interval_text(self) -> str:
        """``24.3 to 40.5°``, its low end rounded down and its high end up."""
        low, high = self.interval or (None, None)
        if low is None or math.isnan(low):
            return NOT_KNOWN_HOW_WELL
        ends = f"{self._digits(self._rounded(low, 'down'))} to "
        if high is None or math.isnan(high):
            return ends + UNKNOWN
        return f"{ends}{self._digits(self._rounded(high, 'up'))}{_UNITS[self.unit][0]}"

    @property
    def order(self) -> float:
        """For sorting: unknown goes with the largest, never with the gentle; see `sorted_as`."""
        return sorted_as(self.number, at_least=self.at_least)

    def _rounded(self, number: float, rounding: Rounding) -> float:
        scaled = number * _UNITS[self.unit][1]
        if rounding == "nearest":
            return round_down(scaled + self.step / 2.0, self.step)
        return round_up(scaled, self.step) if rounding == "up" else round_down(scaled, self.step)

    def _digits(self, shown: float) -> str:
        return f"{shown:.{max(0, math.ceil(-math.log10(self.step) - 1e-9))}f}"


_ABOVE_ALL: Final = 1e6
"""More than any number that is sorted (our choice): it lifts what may be more above all that is known."""


def sorted_as(number: float | None, *, at_least: bool) -> float:
    """Give what a number sorts as: "at least" stands above all that is known, and unknown above that."""
    return math.inf if number is None else number + _ABOVE_ALL * at_least


def _clock(shown_min: float) -> str:
    if math.isinf(shown_min):
        return "no end"
    hours, rest = divmod(int(shown_min), 60)
    return f"{hours} h {rest:02d}" if hours else f"{rest} min"


def slope(
    deg: float | None,
    *,
    step: float = 0.1,
    at_least: bool = False,
    interval: tuple[float | None, float | None] | None = None,
) -> Value:
    """Slope angle, or half-width of its interval, degrees: tenths, up."""
    return Value(deg, "deg", step, "up", at_least, interval)


def short_text(
    short_deg: float | None, of_legs: Mapping[int, float | None] | None = None, after_leg: int | None = None
) -> str:
    """``, short pieces to 48.0°`` after a slope over a longer baseline; empty where none is steeper.

    Of several legs, each with its own, with ``(leg 4)`` where the slope before it is that of another leg.
    """
    if short_deg is None:
        return ""
    legs = [number for number, deg in (of_legs or {}).items() if deg == short_deg]
    where = f" (leg {legs[0]})" if legs and after_leg not in legs else ""
    return f", short pieces to {slope(short_deg).text}{where}"


def lower(deg: float | None, *, step: float = 0.1, at_least: bool = False) -> Value:
    """Lower limit of a slope or a threshold that counts from there, degrees: tenths, down."""
    return Value(deg, "deg", step, "down", at_least)


def and_more(deg: float) -> str:
    """``30° and more``: a threshold, which counts itself."""
    return f"{deg:g}° and more"


def between(low_deg: float | None, high_deg: float | None) -> str:
    """``24.1° to 39.1°``: the lower end down, the upper up; ``at least 24.1°`` to a wall."""
    if high_deg is not None and high_deg >= 90.0:
        return lower(low_deg, at_least=True).text
    return f"{lower(low_deg).text} to {slope(high_deg).text}"


_HAIR_DEG: Final = 2e-7
"""How near a tenth a computed limit is no longer trusted to lie on its inner side, degrees (our choice):
twice what `round_up` takes for the tenth itself."""


def within(low_deg: float | None, high_deg: float | None) -> str:
    """``24.2° to 39.0°``: ends of the readings that agree, both rounded inwards, for beyond them none does.

    ``at least 24.2°`` up to a wall; ends not known in words.
    """
    low = low_deg + _HAIR_DEG if low_deg else low_deg
    if high_deg is not None and high_deg >= 90.0:
        return slope(low, at_least=True).text
    return f"{slope(low).text} to {lower(None if high_deg is None else high_deg - _HAIR_DEG).text}"


def overhead(deg: float | None, *, at_least: bool = False) -> Value:
    """Angle of a sight or a path up to a start zone, degrees: tenths, up."""
    return slope(deg, at_least=at_least)


def percent(number: float | None, *, step: float = 1.0, at_least: bool = False) -> Value:
    """Share or gradient in percent: up."""
    return Value(number, "percent", step, "up", at_least)


def kilometres(metres: float | None) -> Value:
    """Plain length of a line, metres, shown in kilometres: to the nearest 10 m."""
    return Value(metres, "km", 0.01)


def length(metres: float | None) -> Value:
    """Plain length or chainage, metres: to the nearest metre."""
    return Value(metres, "m")


def ground_run(metres: float) -> str:
    """Run that a rise is divided by, metres: down to tenths, from 100 m on to metres, ``312 m``.

    Down, because the same rise over less ground is steeper.
    """
    return Value(metres, "m", 1.0 if metres >= 100.0 else 0.1, "down").short


def stretch(from_m: float, to_m: float) -> tuple[str, str]:
    """Round the ends of a stretch of a leg, metres: outwards to 10 m."""
    return Value(from_m, "", 10.0, "down").figure, Value(to_m, "", 10.0, "up").figure


def height(metres: float | None) -> Value:
    """Height above sea level, metres: to the nearest metre."""
    return Value(metres, "m")


def climb(metres: float | None, *, at_least: bool = False) -> Value:
    """Ascent or descent, metres: up."""
    return Value(metres, "m", 1.0, "up", at_least)


def up_and_down(up_m: float | None, down_m: float | None, *, at_least: bool = False) -> str:
    """``up at least 1200 m, down at least 1197 m``."""
    up, down = (climb(metres, at_least=at_least).text for metres in (up_m, down_m))
    return f"up {up}, down {down}"


def legs_and_length(legs: int, metres: float) -> str:
    """``19 legs, 13.53 km``."""
    return f"{legs} leg{'' if legs == 1 else 's'}, {kilometres(metres).text}"


class Steepest(Protocol):
    """Anything that holds the steepest of a whole line, and on which leg it is."""

    @property
    def slope_max_deg(self) -> float | None:
        """Steepest on the line, degrees."""

    @property
    def slope_max_leg(self) -> int | None:
        """Its leg."""

    @property
    def slope_corridor_max_deg(self) -> float | None:
        """Steepest in the corridor, degrees."""

    @property
    def slope_corridor_max_leg(self) -> int | None:
        """Its leg."""

    @property
    def short_corridor_max_deg(self) -> float | None:
        """Short piece in the corridor, where it is shown steeper, degrees."""

    @property
    def open_above(self) -> bool:
        """Whether both may be steeper still."""


def steepest_texts(
    line: Steepest, shorts: Mapping[int, float | None], over_m: float | None = None
) -> tuple[str, str]:
    """``on the line 58.2° (leg 12)``, and ``in the corridor 61.1° (leg 3), short pieces to 66.4° (leg 4)``.

    ``shorts`` are the short pieces in the corridor of each leg.
    ``over 60 m on the line 58.2° (leg 12)`` where what they are measured over is to be told.
    """
    on, beside = (
        f"{slope(deg, at_least=line.open_above).text}{'' if leg is None else f' (leg {leg})'}"
        for deg, leg in (
            (line.slope_max_deg, line.slope_max_leg),
            (line.slope_corridor_max_deg, line.slope_corridor_max_leg),
        )
    )
    over = "" if over_m is None else f"over {length(over_m).text} "
    short = short_text(line.short_corridor_max_deg, shorts, line.slope_corridor_max_leg)
    return f"{over}on the line {on}", f"in the corridor {beside}{short}"


def steep_length(metres: float | None, *, at_least: bool = False) -> Value:
    """Length of steep or unknown ground, or rise to a start zone, metres: up."""
    return Value(metres, "m", 1.0, "up", at_least)


def gentle_length(metres: float | None) -> Value:
    """Length of the gentlest ground, metres: down."""
    return Value(metres, "m", 1.0, "down")


def distance_off(metres: float | None) -> Value:
    """Distance to steep ground, metres: down."""
    return Value(metres, "m", 1.0, "down")


def rise(number: float | None, unit: str = "m") -> Value:
    """Height between contours, or side of a cell: tenths, up."""
    return Value(number, unit, 0.1, "up")


def no_less(metres: float | None) -> Value:
    """Lower limit of a length, metres: down, and "at least"."""
    return Value(metres, "m", 1.0, "down", at_least=True)


def far_off(metres: float | None) -> Value:
    """Distance to ground far away, metres, shown in kilometres from 1 km on: down."""
    far = metres is not None and metres >= 1000.0
    return Value(metres, "km", 0.1, "down") if far else distance_off(metres)


def minutes(number: float | None, *, at_least: bool = False) -> Value:
    """Time that walking takes, minutes: up. ``42 min``, ``1 h 05``; infinity has ``no end``."""
    return Value(number, "min", 1.0, "up", at_least)


def daylight_left(number: float, *, late: bool = False) -> str:
    """Time from an arrival to sunset, either side of it, minutes: towards less light; ``2 h 05 min``.

    `late` where one may arrive later than said: ``at most 2 h 05 min`` is left then.
    """
    shown = int(abs(round_down(number, 1.0)))
    bound = f"{AT_LEAST if number < 0.0 else AT_MOST} " if late else ""
    return f"{bound}{f'{shown // 60} h {shown % 60:02d}' if shown >= 60 else shown} min"


def millimetres(number: float | None, *, step: float = 0.1, rounding: Rounding = "nearest") -> Value:
    """Length on paper, millimetres."""
    return Value(number, "mm", step, rounding)


def area_km2(number: float | None, *, gentle: bool = False) -> Value:
    """Ground area, square kilometres: up, that of the gentlest ground down; in 0.001 below 100, else 0.1."""
    step = 0.001 if number is None or number < 100.0 else 0.1
    return Value(number, "km2", step, "down" if gentle else "up")


def map_scale(denominator: float) -> str:
    """``1:25 000``, up to a hundred: a map is drawn no larger than it says."""
    return f"1:{round_up(denominator, 100.0):,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def bearing(deg: float | None, north: Literal["true", "grid", "magnetic"], unit: str = "deg") -> str:
    """Bearing with its north, always: ``340° true``; ``unknown`` for None."""
    return UNKNOWN if deg is None or math.isnan(deg) else f"{bearing_figure(deg, unit)} {north}"


def look_towards(true_deg: float | None, declination_deg: float | None, unit: str = "deg") -> str:
    """Bearing from one place to another: by the compass where its day's declination is known, else true.

    ``magnetic = true - declination``, the declination positive where magnetic north is east of true north.
    """
    if true_deg is None or declination_deg is None:
        return bearing(true_deg, "true", unit)
    return bearing((true_deg - declination_deg) % 360.0, "magnetic", unit)


def bearing_figure(bearing_deg: float, unit: str = "deg") -> str:
    """Bearing to the nearest whole degree or mil, halves upwards, for beneath a heading with its north.

    Parameters
    ----------
    unit
        ``deg``, or ``mil`` at 6400 to the circle.

    Returns
    -------
    str
        ``099°`` or ``1764 mil``; full circle is ``000°`` and ``0000 mil``.

    Raises
    ------
    QuantityError
        Another unit.
    """
    if unit == "deg":
        return f"{math.floor(bearing_deg + 0.5) % 360:03d}°"
    if unit == "mil":
        return f"{math.floor(bearing_deg * MIL_PER_DEG + 0.5) % 6400:04d} mil"
    message = f"A bearing is shown in deg or mil; got {unit!r}. Choose one of the two."
    raise QuantityError(message)
