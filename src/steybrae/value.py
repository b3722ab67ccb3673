"""A number as a reader meets it: its unit, its rounding, how well it is known, and its text.

Every number that a person reads goes through a `Value`, so that two outputs of one result cannot
differ by a tenth, and the words "at least" and "unknown" stand here and nowhere else. The factories
hold the one rounding rule: never to the side that flatters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from steybrae.errors import QuantityError
from steybrae.quantities import MIL_PER_DEG, round_down, round_up

__all__ = [
    "AT_LEAST",
    "NOT_KNOWN_HOW_WELL",
    "UNKNOWN",
    "Value",
    "area_km2",
    "bearing",
    "bearing_figure",
    "climb",
    "distance_off",
    "gentle_length",
    "height",
    "kilometres",
    "length",
    "lower",
    "millimetres",
    "minutes",
    "overhead",
    "percent",
    "slope",
    "steep_length",
]

UNKNOWN: Final = "unknown"
NOT_KNOWN_HOW_WELL: Final = "not known how well"
AT_LEAST: Final = "at least"

Rounding = Literal["up", "down", "nearest"]

_UNITS: Final = {
    "": ("", 1.0),
    "deg": ("°", 1.0),
    "percent": (" %", 1.0),
    "m": (" m", 1.0),
    "km": (" km", 1e-3),
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
        ``deg``, ``percent``, ``m``, ``km``, ``mm``, ``min``, ``km2``, ``m2`` or nothing: that of the text.
    step, rounding
        Of the figure shown, in that unit; to which side it is rounded.
    at_least
        Whether it may be more by an amount not known.
    interval
        Ends of the 95 % interval, either None where not known; None where there is none to tell.
    over_m
        Baseline that it was measured over, metres.
    source
        What it rests on, in words.
    """

    number: float | None
    unit: str = ""
    step: float = 1.0
    rounding: Rounding = "nearest"
    at_least: bool = False
    interval: tuple[float | None, float | None] | None = None
    over_m: float | None = None
    source: str = ""

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
        """For sorting: unknown goes with the largest, never with the gentle."""
        return math.inf if self.number is None else self.number

    def _rounded(self, number: float, rounding: Rounding) -> float:
        scaled = number * _UNITS[self.unit][1]
        if rounding == "nearest":
            return round_down(scaled + self.step / 2.0, self.step)
        return round_up(scaled, self.step) if rounding == "up" else round_down(scaled, self.step)

    def _digits(self, shown: float) -> str:
        return f"{shown:.{max(0, math.ceil(-math.log10(self.step) - 1e-9))}f}"


def _clock(shown_min: float) -> str:
    if math.isinf(shown_min):
        return "no end"
    hours, rest = divmod(int(shown_min), 60)
    return f"{hours} h {rest:02d}" if hours else f"{rest} min"


def slope(
    deg: float | None,
    *,
    at_least: bool = False,
    interval: tuple[float | None, float | None] | None = None,
    over_m: float | None = None,
    source: str = "",
) -> Value:
    """Slope angle, degrees: tenths, up."""
    return Value(deg, "deg", 0.1, "up", at_least, interval, over_m, source)


def lower(deg: float | None) -> Value:
    """Lower limit of a slope or a threshold that counts from there, degrees: tenths, down."""
    return Value(deg, "deg", 0.1, "down")


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


def height(metres: float | None) -> Value:
    """Height above sea level, metres: to the nearest metre."""
    return Value(metres, "m")


def climb(metres: float | None, *, at_least: bool = False) -> Value:
    """Ascent or descent, metres: up."""
    return Value(metres, "m", 1.0, "up", at_least)


def steep_length(metres: float | None, *, at_least: bool = False) -> Value:
    """Length of steep or unknown ground, or rise to what looks down, metres: up."""
    return Value(metres, "m", 1.0, "up", at_least)


def gentle_length(metres: float | None) -> Value:
    """Length of the gentlest ground, metres: down."""
    return Value(metres, "m", 1.0, "down")


def distance_off(metres: float | None) -> Value:
    """Distance to steep ground, metres: down."""
    return Value(metres, "m", 1.0, "down")


def minutes(number: float | None, *, at_least: bool = False) -> Value:
    """Time that walking takes, minutes: up. ``42 min``, ``1 h 05``; infinity has ``no end``."""
    return Value(number, "min", 1.0, "up", at_least)


def millimetres(number: float | None, *, step: float = 0.1, rounding: Rounding = "nearest") -> Value:
    """Length on paper, millimetres."""
    return Value(number, "mm", step, rounding)


def area_km2(number: float | None, *, gentle: bool = False) -> Value:
    """Ground area, square kilometres: up, that of the gentlest ground down; in 0.001 below 100, else 0.1."""
    step = 0.001 if number is None or number < 100.0 else 0.1
    return Value(number, "km2", step, "down" if gentle else "up")


def bearing(deg: float | None, north: Literal["true", "grid", "magnetic"], unit: str = "deg") -> str:
    """Bearing with its north, always: ``340° true``; ``unknown`` for None."""
    return UNKNOWN if deg is None or math.isnan(deg) else f"{bearing_figure(deg, unit)} {north}"


def bearing_figure(bearing_deg: float, unit: str = "deg") -> str:
    """Bearing to the nearest whole degree or mil, halves upwards, for beneath a heading with its north.

    Parameters
    ----------
    bearing_deg
        Degrees.
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
