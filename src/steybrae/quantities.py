"""Lengths, slopes and map scales: read as typed, converted, rounded for showing.

Units stand in the value: ``34deg 62% 1in2 600mil 10m 40ft 2.5mm 1:25000``. A bare
number is taken only where the trade has one unit for it: degrees for a slope, the
denominator for a map scale. Nothing here imports numpy, so that small commands stay
quick; the rounding functions take floats and arrays alike.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any, Final, TypeVar

from steybrae.errors import QuantityError

FOOT_M: Final = 0.3048
"""International foot in metres, exact (international yard and pound agreement, 1959)."""

US_SURVEY_FOOT_M: Final = 1200.0 / 3937.0
"""US survey foot in metres, exact (US Federal Register notice of 1959)."""

INCH_MM: Final = 25.4
"""Inch in millimetres, exact (international yard and pound agreement, 1959)."""

LAND_HEIGHTS_M: Final = (-500.0, 9000.0)
"""Heights of land, metres: below the Dead Sea's shore and above the highest summit (from memory: -430
and 8849). Voids that nobody declared (-32768, -9999, 9999) lie outside."""

COVERAGE_K: Final = 2.0
"""Standard uncertainties in an expanded one of about 95 % (JCGM 100:2008, 6.2)."""

MIL_PER_DEG: Final = 6400.0 / 360.0
"""Mils in a degree: 6400 to the circle (US Army FM 3-25.26, chapter 6)."""

ROUNDING_SLACK: Final = 1e-6
"""Part of a rounding step that is taken for arithmetic noise, not for a larger value."""

SCALE_RANGE: Final = (100.0, 10_000_000.0)
"""Map scale denominators taken as meant; outside lies a slip of the keyboard (our choice)."""

MAX_GROUND_LENGTH_M: Final = 1e6
"""Longest ground length taken as meant (our choice)."""

MAX_GROUND_AREA_M2: Final = 1e6
"""Largest piece of ground taken as meant, a square kilometre (our choice)."""

Number = TypeVar("Number")
"""A float or a numpy array: the rounding functions take both."""

_VALUE = re.compile(r"^\s*(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>.*?)\s*$")

_GROUND_UNITS_M: Final = {
    "m": 1.0,
    "km": 1000.0,
    "ft": FOOT_M,
    "usft": US_SURVEY_FOOT_M,
}
_AREA_UNITS_M2: Final = {"m2": 1.0, "m²": 1.0, "ha": 1e4}
_PAPER_UNITS_MM: Final = {"mm": 1.0, "cm": 10.0, "in": INCH_MM}


def finite(value: Any) -> float | None:
    """Give a number of an array as results hold it: None where it is not known."""
    return float(value) if math.isfinite(value) else None


def gradient_to_angle(gradient: float) -> float:
    """Slope angle of a gradient: ``degrees(atan(gradient))``.

    Parameters
    ----------
    gradient
        Rise over run, both in the same unit; infinity is a vertical face.

    Returns
    -------
    float
        Degrees, -90 to 90, with the sign of `gradient`.
    """
    return math.degrees(math.atan(gradient))


def angle_to_gradient(slope_deg: float) -> float:
    """Gradient of a slope angle: ``tan(slope)``; infinity at 90 degrees.

    Parameters
    ----------
    slope_deg
        Angle above the horizontal, degrees, -90 to 90.

    Returns
    -------
    float
        Rise over run. ``math.tan`` gives 1.6e16 at 90 degrees; a vertical face is
        infinite here so that sums with it stay honest.
    """
    if abs(slope_deg) >= 90.0:
        return math.copysign(math.inf, slope_deg)
    return math.tan(math.radians(slope_deg))


def round_up(value: Number, step: float) -> Number:
    """Smallest multiple of `step` that is not below `value`.

    ``step * ceil(value / step - 1e-6)``: a value that lies above a multiple by less
    than a millionth of a step is that multiple, so that 30.0 computed as
    30.000000000000004 is not shown as 30.1.

    Parameters
    ----------
    value
        A float or an array; NaN stays NaN, and so does the infinity of a float.
    step
        The rounding step, above 0, in the unit of `value`.

    Returns
    -------
    float or array
        As `value`.
    """
    if isinstance(value, float) and math.isinf(value):
        return value  # floor division would make it NaN
    # ceil(x) == -floor(-x); floor division does it for floats and arrays without numpy.
    number: Any = value
    steps = -((ROUNDING_SLACK - number / step) // 1.0)
    # A step such as 0.1 has no exact float, its inverse has: 307 / 10 is 30.7.
    inverse = round(1.0 / step)
    exact = step < 1.0 and math.isclose(inverse * step, 1.0)
    rounded: Number = (steps / inverse if exact else steps * step) + 0.0
    return rounded


def round_down(value: Number, step: float) -> Number:
    """Largest multiple of `step` that is not above `value`; otherwise as `round_up`."""
    number: Any = value
    rounded: Number = -round_up(-number, step) + 0.0
    return rounded


def next_round(least: float, steps: Sequence[float]) -> float:
    """Smallest of some steps, 10 the last of them, times a power of ten that is not below `least`."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in steps if step * power >= least * (1.0 - 1e-9))


def number(value: Any, what: str) -> float:
    """Take a number, without a unit, which its name has; `QuantityError` for anything else."""
    try:
        found = float(value)
        if math.isfinite(found):
            return found
    except (TypeError, ValueError, OverflowError):
        pass
    message = f"{what} should be a number; got {value!r:.60}. Give it without its unit."
    raise QuantityError(message)


def several(value: Any, what: str) -> tuple[Any, ...]:
    """Take what stands in a list or another iterable; `QuantityError` for what stands alone."""
    try:
        if not isinstance(value, str):
            return tuple(value)
    except TypeError:
        pass
    message = f"{what} should be a list; got {value!r:.60}. Give one, also of one alone."
    raise QuantityError(message)


def shown_slope_deg(slope_deg: Number) -> Number:
    """Slope as every output shows it: in tenths of a degree, rounded up.

    ``ceil(10 * slope - 1e-6) / 10``. The band of a slope is the band of this number.

    Parameters
    ----------
    slope_deg
        Degrees, float or array; NaN stays NaN.

    Returns
    -------
    float or array
        Degrees, a whole number of tenths.

    Examples
    --------
    >>> steybrae.shown_slope_deg(29.91)
    30.0
    """
    return round_up(slope_deg, 0.1)


def one_in_text(slope_deg: float) -> str:
    """Slope as ``1 in n``, n rounded down (towards the steeper) to two or three figures.

    Parameters
    ----------
    slope_deg
        Degrees, 0 to 90.

    Returns
    -------
    str
        ``level`` at 0, ``1 in 1.73`` at 30, ``vertical`` at 90.
    """
    gradient = angle_to_gradient(slope_deg)
    if gradient == 0.0:
        return "level"
    if math.isinf(gradient):
        return "vertical"
    run = 1.0 / gradient
    if run < 10.0:
        return f"1 in {round_down(run, 0.01):.2f}"
    return f"1 in {round_down(run, 0.1 if run < 100.0 else 1.0):g}"


def _split(text: str, what: str, example: str) -> tuple[float, str]:
    match = _VALUE.match(text)
    if match is None:
        message = f"{what} should look like {example}; got {text!r}. Give a number and its unit."
        raise QuantityError(message)
    if re.match(r",\d", match["unit"]):
        message = f"{what} takes no comma; got {text!r}. Write decimals with a point."
        raise QuantityError(message)
    number = float(match["number"])
    if not math.isfinite(number):
        message = f"{what} should be a finite number; got {text!r}. Give a smaller value."
        raise QuantityError(message)
    return number, match["unit"].lower()


def parse_slope_deg(text: str, what: str = "A slope") -> float:
    """Read a slope as typed: ``34deg 34° 34 62% 1in2 600mil``.

    Parameters
    ----------
    text
        The value with its unit; a bare number is degrees.
    what
        What the value is, for the error: ``A slope``, ``A reading``.

    Returns
    -------
    float
        Degrees, 0 to 90.

    Raises
    ------
    QuantityError
        Unreadable, of another unit, negative, or above 90 degrees.
    """
    ratio = re.match(r"^\s*1\s*in\s*(?P<run>\d+(?:\.\d*)?|\.\d+)\s*$", text, re.IGNORECASE)
    if ratio is not None:
        run = float(ratio["run"])
        slope_deg = 90.0 if run == 0.0 else gradient_to_angle(1.0 / run)
    else:
        number, unit = _split(text, what, "34deg, 62%, 1in2 or 600mil")
        if unit in ("", "deg", "°", "degrees", "degree"):
            slope_deg = number
        elif unit in ("%", "percent"):
            slope_deg = gradient_to_angle(number / 100.0)
        elif unit in ("mil", "mils"):
            slope_deg = number / MIL_PER_DEG
        else:
            message = (
                f"{what} takes deg, %, mil or '1in n'; got the unit {unit!r} in {text!r}. "
                "Write it like 34deg."
            )
            raise QuantityError(message)
    if not 0.0 <= slope_deg <= 90.0:
        message = f"{what} should lie between 0 and 90 degrees; got {text!r}. Check value and unit."
        raise QuantityError(message)
    return slope_deg


def parse_percent_or_deg(text: str) -> tuple[float, str]:
    """Read a slope as `parse_slope_deg`, and the scale it was read from: ``percent`` or ``degrees``.

    Refused too is a bare number with decimals below 2: of 0.62 nothing says that it is no gradient, 31.8
    degrees.
    """
    if re.fullmatch(r"\s*[01]?\.\d+\s*", text) and float(text) > 0.0:
        message = (
            f"A reading below 2 with decimals should have its unit, for it may be a gradient; got {text!r}. "
            f"Write {text.strip()}deg, or {100.0 * float(text):g}%."
        )
        raise QuantityError(message)
    scale = "percent" if text.strip().endswith(("%", "percent")) else "degrees"
    return parse_slope_deg(text), scale


def parse_ground_length_m(text: str, what: str = "A ground length", *, zero: bool = False) -> float:
    """Read a length on the ground: ``10m 1.2km 40ft 40usft``.

    Parameters
    ----------
    text
        The value with its unit; a bare number is refused, for feet and metres are both common.
    what
        What the value is, for the error.
    zero
        Whether 0 is taken.

    Returns
    -------
    float
        Metres, above 0 (or from 0).

    Raises
    ------
    QuantityError
        Unreadable, no unit, another unit, out of range.
    """
    number = _measure(text, what, _GROUND_UNITS_M, ("10m or 40ft", "m, km, ft or usft"))
    return _in_range(number, text, what, MAX_GROUND_LENGTH_M, zero=zero)


def parse_ground_area_m2(text: str, what: str = "An area") -> float:
    """Read an area on the ground: ``400m2 400m² 0.04ha``; 0 is taken, a bare number is refused.

    Parameters
    ----------
    text, what
        As for `parse_ground_length_m`.

    Returns
    -------
    float
        Square metres, from 0.

    Raises
    ------
    QuantityError
        As `parse_ground_length_m`.
    """
    number = _measure(text, what, _AREA_UNITS_M2, ("400m2", "m2 or ha"))
    return _in_range(number, text, what, MAX_GROUND_AREA_M2, zero=True)


def parse_paper_length_mm(text: str, what: str = "A length on paper", *, zero: bool = False) -> float:
    """Read a length on paper: ``2.5mm 1.2cm 0.1in``; a bare number is refused.

    Parameters
    ----------
    text, what, zero
        As for `parse_ground_length_m`.

    Returns
    -------
    float
        Millimetres, above 0 (or from 0).

    Raises
    ------
    QuantityError
        Unreadable, no unit, another unit, out of range.
    """
    number = _measure(text, what, _PAPER_UNITS_MM, ("2.5mm", "mm, cm or in"))
    return _in_range(number, text, what, 10_000.0, zero=zero)


def parse_counted(text: str, what: str, example: str, units: Sequence[str]) -> float:
    """Read a number of which the trade has one unit, bare or with that unit: ``10min``, ``4km/h``.

    Parameters
    ----------
    text, what
        As for `parse_ground_length_m`.
    example, units
        A value as it may be typed, for the error; ways to write that unit, the first the usual one.

    Returns
    -------
    float
        The number; its range is not looked at.

    Raises
    ------
    QuantityError
        Unreadable, or another unit.
    """
    return _measure(text, what, dict.fromkeys(("", *units), 1.0), (example, units[0]))


def _measure(text: str, what: str, units: dict[str, float], words: tuple[str, str]) -> float:
    """Multiply a number by its unit; the words are examples of a value and the units that it takes."""
    number, unit = _split(text, what, words[0])
    if unit not in units:
        got = f"the unit {unit!r}" if unit else "no unit"
        message = f"{what} takes {words[1]}; got {got} in {text!r}. Write it like {words[0].split()[0]}."
        raise QuantityError(message)
    return number * units[unit]


def _in_range(value: float, text: str, what: str, most: float, *, zero: bool) -> float:
    if value > most or value < 0.0 or (value == 0.0 and not zero):
        bound = "0 or more" if zero else "above 0"
        message = f"{what} should be {bound} and of a likely size; got {text!r}. Check value and unit."
        raise QuantityError(message)
    return value


def parse_scale(text: str) -> float:
    """Read a map scale: ``1:25000``, ``1:25k``, ``25000``.

    Parameters
    ----------
    text
        ``1:n`` or a bare denominator; spaces, thin spaces and commas between thousands
        are passed over, ``k`` is thousand. A point stands only before ``k``: ``1:250.000`` is not 1:250.

    Returns
    -------
    float
        The denominator: 1 mm on paper is that many mm on the ground.

    Raises
    ------
    QuantityError
        Unreadable, or outside 1:100 to 1:10 000 000.
    """
    squeezed = re.sub(r"[\s _]", "", text)
    number = r"\d{1,3}(?:,\d{3})+|\d+(?:\.\d+(?=[kK]))?"
    match = re.match(rf"^(?:1[:/])?(?P<number>{number})(?P<kilo>[kK]?)$", squeezed)
    if match is None and re.search(r"\d[.,]\d", squeezed):
        message = (
            "A map scale takes a comma only between thousands and a point only before k; "
            f"got {text!r}. Write it like 1:25000."
        )
        raise QuantityError(message)
    if match is None:
        message = f"A map scale should look like 1:25000; got {text!r}. Give the denominator."
        raise QuantityError(message)
    denominator = float(match["number"].replace(",", "")) * (1000.0 if match["kilo"] else 1.0)
    check_scale(denominator, repr(text))
    return denominator


def check_scale(denominator: float, written: str) -> None:
    """Refuse a scale that no map has, and NaN; `written` is how it was given."""
    if not SCALE_RANGE[0] <= denominator <= SCALE_RANGE[1]:
        message = (
            f"A map scale should lie between 1:100 and 1:10 000 000; got {written}. Check the denominator."
        )
        raise QuantityError(message)
