"""A planned line and the legs between its turn points.

At each of the ceilings on input a route takes less than 1 GB, and less than a minute on a machine that
does nothing else; `tests/route/test_ceilings.py` measures them.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from steybrae.errors import RouteError
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.route.positions.places import Place

WAY_OFF: Final = "way off"
"""How the name of a route begins that leaves a planned line, in any letter case (our choice)."""


PASSED_OVER: Final = "Passed over in the file"
"""How a note begins on what else the file holds and was not read."""

JOINED: Final = "Joined"
"""How a note begins on ground between parts of a line, over which nobody drew it."""


def leading_notes(notes: tuple[str, ...]) -> tuple[str, ...]:
    """Pick the notes that a reader has to know first: lines not screened, straight lines that nobody drew."""
    return tuple(note for note in notes if note.startswith((PASSED_OVER, JOINED)))


def is_way_off(name: str) -> bool:
    """Tell by its name whether a route is a way off another."""
    return name.strip().casefold().startswith(WAY_OFF)


@dataclass(frozen=True)
class Route:
    """A planned line on WGS 84.

    Attributes
    ----------
    name
        Name in the file, or the file's own, cleaned (`steybrae.names`).
    points
        Every vertex of the line, in walking order, at least two.
    turn_points
        Indexes into `points` where legs begin and end; the first is 0, the last that of
        the last point.
    kind
        What was read: ``route``, ``track``, ``way-points`` or ``line``.
    notes
        What was done on reading, in whole sentences: what was passed over, how the turn
        points were chosen.

    Raises
    ------
    RouteError
        Fewer than two points, or turn points that do not rise from first to last.
    """

    name: str
    points: tuple[Place, ...]
    turn_points: tuple[int, ...]
    kind: str = "route"
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse lines that cannot be walked, and clean the name."""
        object.__setattr__(self, "name", clean(self.name))
        if len(self.points) < 2:
            message = (
                f"A route needs two points or more; {self.name!r} has {len(self.points)}. "
                "Add its turn points."
            )
            raise RouteError(message)
        turns = self.turn_points
        rising = all(low < high for low, high in pairwise(turns))
        if len(turns) < 2 or not rising or turns[0] != 0 or turns[-1] != len(self.points) - 1:
            message = (
                "Turn points should rise from the first point of the line to its last; "
                f"got {list(turns)} for {len(self.points)} points. Give them in walking order."
            )
            raise RouteError(message)


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
    """Refuse a line of too many points or legs."""
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
    """Refuse a line beside which too much ground lies: too long, or cells too fine for it.

    `cells` are those in the windows of all its stretches, `pairs` those of a piece of line and a
    cell.
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
