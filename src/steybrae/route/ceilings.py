"""How much line is screened at once: more is refused in a sentence before its ground is read.

At each of these a route takes less than 1 GB, and less than a minute on a machine that does nothing
else; `tests/route/test_ceilings.py` measures them.
"""

from __future__ import annotations

from typing import Final

from steybrae.errors import RouteError

MOST_POINTS: Final = 20_000
"""Most points of a line (our choice): a day of five hours and a half recorded every second."""

MOST_LEGS: Final = 1000
"""Most legs of a line (our choice): more are no plan."""

MOST_LENGTH_M: Final = 500_000.0
"""Longest line, metres (our choice): weeks on foot."""

MOST_BESIDE_CELLS: Final = 40_000_000
"""Most cells of the model beside a line, those that stretches share counted twice (our choice): some 8 km
on cells of half a metre, 40 km on cells of 1 m."""

MOST_PAIRS: Final = 2_000_000_000
"""Most pairs of a piece of line and a cell beside it whose distance is worked out (our choice)."""


def check_line(points: int, legs: int) -> None:
    """Refuse a line of too many points or legs.

    Raises
    ------
    RouteError
        It has more.
    """
    if points > MOST_POINTS:
        message = (
            f"A line should have at most {MOST_POINTS} points; this one has {points}. Simplify it, or take "
            "one day of it."
        )
        raise RouteError(message)
    if legs > MOST_LEGS:
        message = (
            f"A line should have at most {MOST_LEGS} legs; this one has {legs}. Name fewer turn points, or "
            "take one day of it."
        )
        raise RouteError(message)


def check_beside(length_m: float, cells: int, pairs: int) -> None:
    """Refuse a line beside which too much ground lies.

    Parameters
    ----------
    length_m
        Of the whole line, metres.
    cells
        Of the model, in the windows of all its stretches.
    pairs
        Of a piece of line and a cell of its window.

    Raises
    ------
    RouteError
        The line is too long, or the cells too fine for it.
    """
    if length_m > MOST_LENGTH_M:
        message = (
            f"A line should be at most {MOST_LENGTH_M / 1000.0:g} km long; this one has "
            f"{length_m / 1000.0:.0f} km. Take one day of it."
        )
        raise RouteError(message)
    if cells > MOST_BESIDE_CELLS:
        message = (
            f"The ground beside a line should have at most {MOST_BESIDE_CELLS // 10**6} million cells of the "
            f"model; that of these {length_m / 1000.0:.1f} km has {cells / 1e6:.0f} million. Give a part of "
            "the line, or a coarser model."
        )
        raise RouteError(message)
    if pairs > MOST_PAIRS:
        message = (
            f"A line on cells this fine should have fewer points: its pieces and the cells beside them make "
            f"{pairs / 1e9:.1f} thousand million pairs, of {MOST_PAIRS / 1e9:g} that are worked out at most. "
            "Simplify the line, give a part of it, or a coarser model."
        )
        raise RouteError(message)
