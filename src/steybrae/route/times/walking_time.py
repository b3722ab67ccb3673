"""Walking time of a leg by three published rules, with snow, load and breaks named.

The rules are for summer paths and average walkers. Deep snow, wind, a slow party or a
search for the way can double them; the factors are the leader's, stated with the result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Final

from steybrae.errors import QuantityError, one_of
from steybrae.frozen import dataclass
from steybrae.route.times.walking_rules import (
    FLAT_KMH,
    Segment,
    langmuir_min,
    naismith_min,
    swiss_min,
    tobler_min,
)

__all__ = ["METHODS", "Allowances", "Segment", "leg_min", "time_words"]


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
