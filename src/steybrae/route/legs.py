"""A planned line and the legs between its turn points."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from steybrae.errors import RouteError
from steybrae.names import clean
from steybrae.route.positions.places import Place

WAY_OFF: Final = "way off"
"""How the name of a route begins that leaves a planned line, in any letter case (our choice)."""


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
