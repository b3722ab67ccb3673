"""Ranges that the numbers of results lie in, as types; the JSON contract is written from them.

`float` and `int` alone say that no end is known. Whether a number may be unknown stands beside it
as ``| None``. Nothing is checked at run time: a test holds real answers against the contract.
"""

from __future__ import annotations

from typing import Annotated, Final

from steybrae.frozen import dataclass

NOT_JSON: Final = {"json": False}
"""Metadata of a field that stays out of the JSON: for pictures, paper, or the words of other outputs."""


@dataclass(frozen=True)
class Range:
    """Ends of a range, both included unless said to be open, and the fewest entries of a list.

    Attributes
    ----------
    low, high
        Its ends; None where there is none.
    low_open, high_open
        Whether the end itself is outside.
    entries
        Fewest entries of a list; 0 for one that may be empty, and for a number.
    """

    low: float | None = None
    high: float | None = None
    low_open: bool = False
    high_open: bool = False
    entries: int = 0


@dataclass(frozen=True)
class Words:
    """The words that a text is one of.

    Attributes
    ----------
    words
        All of them.
    """

    words: tuple[str, ...]


SlopeDeg = Annotated[float, Range(0, 90)]
"""Angle from the horizontal without its sign, degrees."""

ElevationAngleDeg = Annotated[float, Range(-90, 90)]
"""Angle from the horizontal, degrees, positive upwards."""

BearingDeg = Annotated[float, Range(0, 360, high_open=True)]
"""Direction clockwise from the north that the field's name says, degrees."""

LatDeg = Annotated[float, Range(-90, 90)]
"""Geographic latitude, degrees, positive north."""

LonDeg = Annotated[float, Range(-180, 180)]
"""Geographic longitude, degrees, positive east."""

NotNegative = Annotated[float, Range(0)]
"""A length, area, rise or spread in the unit that the field's name says."""

Positive = Annotated[float, Range(0, low_open=True)]
"""As `NotNegative`, and never 0."""

Share = Annotated[float, Range(0, 1)]
"""Part of a whole, no unit."""

Count = Annotated[int, Range(0)]
"""How many, or a place in a list that begins at 0."""

Ordinal = Annotated[int, Range(1)]
"""A number counted from 1."""
