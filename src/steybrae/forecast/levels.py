"""The published danger scale's numbers, and the angles of one published method.

The scale: EAWS danger scale (text of 2018/19), five degrees. The method: the elementary
reduction method of W. Munter (1995-97), read in a mountain-rescue article and on a regional
service's page, not in his own text.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LEVELS: Final = {"low": 1, "moderate": 2, "considerable": 3, "high": 4, "very_high": 5}
"""Number of each degree of the European danger scale; ``no_snow`` and ``no_rating`` have none."""

METHOD_SOURCE: Final = (
    "Elementary reduction method, W. Munter 1995-97, made for the Alps and their forecasts; a method for "
    "people trained in it, of which the angle is only one part."
)

_METHOD: Final = {
    "moderate": (40.0, "within about 20 m of the track"),
    "considerable": (35.0, "the whole slope"),
    "high": (30.0, "the whole basin"),
}


@dataclass(frozen=True)
class ReductionAngle:
    """What the method has for a degree of the scale.

    Attributes
    ----------
    level
        The degree in the standard's word.
    method_deg
        Its angle, degrees; None where it has none.
    look_at
        Which ground it looks at.
    """

    level: str
    method_deg: float | None
    look_at: str


def reduction_angle(level: str) -> ReductionAngle:
    """Give the method's angle for a degree of the scale.

    Parameters
    ----------
    level
        One of the standard's values.

    Returns
    -------
    ReductionAngle
        40 for moderate, 35 for considerable, 30 for high; none for the others.
    """
    method_deg, look_at = _METHOD.get(level, (None, "no angle in this method"))
    return ReductionAngle(level, method_deg, look_at)


def level_words(value: str) -> str:
    """Give the standard's word, and its number where it has one: ``considerable (3)``."""
    return f"{value} ({LEVELS[value]})" if value in LEVELS else value
