"""Walking time of a leg by published rules: Naismith, Langmuir, Tobler and the Swiss signposts.

The formulas are for one piece of track; a leg adds them up, with snow, load and breaks named. The rules are
for summer paths and average walkers. Deep snow, wind, a slow party or a search for the way can double them;
the factors are the leader's, stated with the result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Final

from steybrae.errors import QuantityError, RouteError, one_of
from steybrae.frozen import dataclass

FLAT_KMH: Final = 5.0
"""Naismith's pace on the flat, km/h (3 miles an hour, Naismith 1892, in round metric)."""

CLIMB_MIN_PER_M: Final = 60.0 / 600.0
"""Naismith's time for climbing, minutes per metre (2000 feet an hour, Naismith 1892)."""

DESCENT_MIN_PER_M: Final = 10.0 / 300.0
"""Langmuir's correction for going down, minutes per metre of descent (Langmuir 1984)."""

GENTLE_DESCENT_DEG: Final = (5.0, 12.0)
"""Descents that save time, degrees, *both ends included*; steeper ones cost it (Langmuir 1984)."""

EDGE_SLACK_DEG: Final = 1e-6
"""Arithmetic noise at those two edges, degrees."""

TOBLER_TOP_KMH: Final = 6.0
"""Tobler's greatest speed, km/h, at a gradient of -0.05 (Tobler 1993, NCGIA report 93-1)."""

TOBLER_DECAY: Final = 3.5
"""Tobler's fall of speed with the gradient, no unit (the same)."""

TOBLER_BEST_GRADIENT: Final = -0.05
"""Gradient of Tobler's greatest speed, rise over run (the same)."""

TOBLER_OFF_PATH: Final = 0.6
"""Tobler's factor on speed off paths, no unit (the same)."""

TOBLER_STANDSTILL_KMH: Final = 0.001
"""Speed taken for none, km/h: a cliff; the formula never reaches 0 (our choice)."""

SWISS_COEFFICIENTS: Final = (
    14.271, 3.6991, 2.5922, -1.4384,
    0.32105, 0.81542, -0.090261, -0.20757,
    0.010192, 0.028588, -5.7466e-4, -2.1842e-3,
    1.5176e-5, 8.6894e-5, -1.3584e-7, -1.4026e-6,
)  # fmt: skip
"""Minutes per km as a polynomial of the gradient in tens of percent, powers 0 to 15.

The rule of the Swiss hikers' federation for signposts, in use since 2006; read in two
independent public programs, not in the federation's own leaflet.
"""

SWISS_RANGE: Final = 4.0
"""Tens of percent to each side for which the polynomial was fitted (the same)."""

SWISS_UP_MIN_PER_KM: Final = 17.0
"""Beyond it uphill: minutes per km and ten percent (from memory, no paper was read)."""

SWISS_DOWN_MIN_PER_KM: Final = 9.0
"""Beyond it downhill: minutes per km and ten percent (from memory, no paper was read)."""


@dataclass(frozen=True)
class Segment:
    """A piece of a leg short enough to have one gradient.

    Some 50 m is a good length on an elevation model: on much shorter pieces the noise of
    the heights counts as steepness, for which Tobler's rule has no mercy.

    Attributes
    ----------
    length_m
        Horizontal length, metres, 0 or more; above 0 where there is ascent or descent.
    ascent_m, descent_m
        Metres climbed and lost, each 0 or more.

    Raises
    ------
    RouteError
        Negative or not finite, or height without length.
    """

    length_m: float
    ascent_m: float = 0.0
    descent_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot be walked."""
        sizes = (self.length_m, self.ascent_m, self.descent_m)
        walkable = all(math.isfinite(size) and size >= 0.0 for size in sizes)
        if not walkable or (self.length_m == 0.0 and self.ascent_m + self.descent_m > 0.0):
            message = (
                "A segment should have a length above 0 m, and ascent and descent of 0 m or more; "
                f"got {self.length_m:g}, {self.ascent_m:g} and {self.descent_m:g} m. Check them."
            )
            raise RouteError(message)

    @property
    def track_gradient(self) -> float:
        """Net rise over run along the track, uphill positive; 0 without length."""
        return (self.ascent_m - self.descent_m) / self.length_m if self.length_m else 0.0

    @property
    def track_descent_deg(self) -> float:
        """Angle of the descent spread over the length, degrees: a long segment hides steep ones."""
        return math.degrees(math.atan2(self.descent_m, self.length_m))


def naismith_min(segment: Segment, flat_kmh: float = FLAT_KMH) -> float:
    """Naismith 1892, minutes: ``60 length / speed + ascent / 10``, 12 a km and 10 per 100 m of ascent.

    Descent is free. Pace on the flat: 5 km/h on paths, 4 elsewhere (Aitken 1977).
    """
    return segment.length_m * 0.06 / flat_kmh + segment.ascent_m * CLIMB_MIN_PER_M


def langmuir_min(segment: Segment, flat_kmh: float = FLAT_KMH) -> float:
    """Naismith with Langmuir's corrections (1984) for going down; minutes.

    Per 300 m of descent 10 minutes less where the track falls at 5 to 12 degrees, both included; 10
    minutes more where it is steeper than 12; nothing below 5. Never below 0 at the paces taken.
    """
    low_deg, high_deg = GENTLE_DESCENT_DEG
    sign = 0.0
    if segment.track_descent_deg > high_deg + EDGE_SLACK_DEG:
        sign = 1.0
    elif segment.track_descent_deg >= low_deg - EDGE_SLACK_DEG:
        sign = -1.0
    return naismith_min(segment, flat_kmh) + sign * segment.descent_m * DESCENT_MIN_PER_M


def tobler_kmh(track_gradient: float, *, off_path: bool = False) -> float:
    """Tobler's horizontal speed: ``6 exp(-3.5 |gradient + 0.05|)`` km/h, times 0.6 off paths.

    The gradient is rise over run along the track, uphill positive. Tobler 1993, NCGIA Technical
    Report 93-1, from figures of Imhof 1950.
    """
    speed = TOBLER_TOP_KMH * math.exp(-TOBLER_DECAY * abs(track_gradient - TOBLER_BEST_GRADIENT))
    return speed * (TOBLER_OFF_PATH if off_path else 1.0)


def tobler_min(segment: Segment, *, off_path: bool = False) -> float:
    """Minutes at `tobler_kmh` for the net gradient of a segment short enough to have one.

    Infinite where the speed falls to nothing, as on a cliff.
    """
    speed = tobler_kmh(segment.track_gradient, off_path=off_path)
    return segment.length_m * 0.06 / speed if speed > TOBLER_STANDSTILL_KMH else math.inf


def swiss_min_per_km(track_gradient: float) -> float:
    """Minutes per horizontal km of the Swiss signpost rule: ``sum C_k s^k``, s in tens of percent.

    The gradient is rise over run along the track, uphill positive; 14.271 on the flat. Beyond 40
    percent, both included in the polynomial, ``17 s`` uphill and ``9 |s|`` downhill (from memory),
    and never less than at 40 percent.
    """
    tens = 10.0 * track_gradient
    inside = min(max(tens, -SWISS_RANGE), SWISS_RANGE)
    polynomial = 0.0
    for coefficient in reversed(SWISS_COEFFICIENTS):
        polynomial = polynomial * inside + coefficient
    if abs(tens) <= SWISS_RANGE * (1.0 + 1e-9):
        return polynomial
    per_ten = SWISS_UP_MIN_PER_KM if tens > 0.0 else SWISS_DOWN_MIN_PER_KM
    return max(polynomial, per_ten * abs(tens))


def swiss_min(segment: Segment) -> float:
    """Minutes by `swiss_min_per_km` for the net gradient of a segment short enough to have one."""
    return segment.length_m / 1000.0 * swiss_min_per_km(segment.track_gradient)


NOT_ADDED: Final = "No time added for"
"""How what a time leaves out begins, in words."""


@dataclass(frozen=True)
class Allowances:
    """What a leader adds to a rule made for summer paths.

    Attributes
    ----------
    snow_factor
        Times the walking time, 1 to 10: snow, wind, rough ground.
    load_factor
        Times the walking time, 1 to 10: heavy packs, a slow party.
    breaks_min_per_hour
        Minutes of rest for each hour walked, 0 or more, in proportion.
    breaks_min
        Minutes of rest besides, 0 or more.

    Raises
    ------
    QuantityError
        A factor that would shorten the time, or anything out of range.
    """

    snow_factor: float = 1.0
    load_factor: float = 1.0
    breaks_min_per_hour: float = 0.0
    breaks_min: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what would flatter."""
        for name, value in (("snow", self.snow_factor), ("load", self.load_factor)):
            if not 1.0 <= value <= 10.0:
                message = (
                    f"The {name} factor should lie between 1 and 10; got {value:g}. "
                    "Give how many times longer the walk takes."
                )
                raise QuantityError(message)
        if not (0.0 <= self.breaks_min_per_hour <= 60.0 and 0.0 <= self.breaks_min <= 1440.0):
            message = (
                "Breaks should be 0 to 60 minutes for each hour walked and 0 to 1440 minutes besides; got "
                f"{self.breaks_min_per_hour:g} and {self.breaks_min:g}. Check the unit."
            )
            raise QuantityError(message)


NOTHING_ADDED: Final = Allowances()
"""Walking time alone."""

_RULES: Final = {
    "langmuir": "Naismith with Langmuir's corrections, {kmh:g} km/h on the flat",
    "naismith": "Naismith, {kmh:g} km/h on the flat",
    "tobler": "Tobler's speed, {path} paths",
    "swiss": "the Swiss signpost rule",
}

METHODS: Final = tuple(_RULES)
"""Names of the rules; the first is the default."""


def leg_min(
    segments: Iterable[Segment],
    method: str = "langmuir",
    allowances: Allowances = NOTHING_ADDED,
    *,
    flat_kmh: float = FLAT_KMH,
    off_path: bool = False,
) -> float:
    """Time for a leg: ``walking * snow_factor * load_factor + breaks``, minutes, unrounded.

    Parameters
    ----------
    segments
        Pieces of the leg, each short enough to have one gradient.
    method
        One of `METHODS`, over these pieces.
    flat_kmh
        Pace on the flat for Naismith and Langmuir, 1 to 8 km/h.
    off_path
        For Tobler: no path.

    Raises
    ------
    QuantityError
        No such rule, or a pace out of range.
    """
    rules: dict[str, Callable[[Segment], float]] = {
        "langmuir": lambda segment: langmuir_min(segment, flat_kmh),
        "naismith": lambda segment: naismith_min(segment, flat_kmh),
        "tobler": lambda segment: tobler_min(segment, off_path=off_path),
        "swiss": swiss_min,
    }
    one_of(method, rules, "A rule for walking time")
    if not 1.0 <= flat_kmh <= 8.0:
        message = f"A pace on the flat should be 1 to 8 km/h; got {flat_kmh:g}. Check the unit."
        raise QuantityError(message)
    walking_min = math.fsum(rules[method](piece) for piece in segments)
    slowed_min = walking_min * allowances.snow_factor * allowances.load_factor
    hourly = allowances.breaks_min_per_hour
    return slowed_min + ((slowed_min * hourly / 60.0 if hourly else 0.0) + allowances.breaks_min)


def time_words(method: str, allowances: Allowances, *, flat_kmh: float, off_path: bool) -> tuple[str, ...]:
    """Whole sentences for a card: the rule, the factors, the breaks; parameters as of `leg_min`."""
    found = [f"Times by {_RULES[method].format(kmh=flat_kmh, path='off' if off_path else 'on')}."]
    factors = {"snow": allowances.snow_factor, "load": allowances.load_factor}
    found += [f"Times {factor:g} for {name}." for name, factor in factors.items() if factor > 1.0]
    none = [name for name, factor in factors.items() if factor <= 1.0]
    hourly, besides = allowances.breaks_min_per_hour, allowances.breaks_min
    breaks = [f"{hourly:g} minutes for each hour walked"] if hourly else []
    breaks += [f"{besides:g} minutes besides"] if besides else []
    found += [f"Breaks: {' and '.join(breaks)}."] if breaks else []
    none += [] if breaks else ["breaks"]
    found += [f"{NOT_ADDED} {', '.join(none)}."] if none else []
    return tuple(found)
