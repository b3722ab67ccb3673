"""What the page is told of one leg: the same as before where the leg is, so that it is worded once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from steybrae.answers.leg import leg_columns
from steybrae.answers.overhead import path_text, sight_text
from steybrae.card.times import usual_time
from steybrae.document import Column, plain
from steybrae.frozen import dataclass
from steybrae.screening.result import LegScreening
from steybrae.terrain.dem import Array, Grid

VERTEX_M: Final = 50.0
"""Distance between the positions that the line's path is told by, metres (our choice)."""

LEG_COLUMNS: Final = tuple(
    leg_columns(
        *("number", "from_", "to", "length_m", "ascent_m", "descent_m", "slope_max_deg", "slope_interval"),
        *(
            "short_slope_max_deg",
            "slope_corridor_max_deg",
            "short_corridor_max_deg",
            "drop",
            "bands_possible",
            "steep_m",
            "overhead_deg",
            "unknown_m",
        ),
    )
)


@dataclass(frozen=True, eq=False)
class LegTold:
    """What is told of a leg, wherever on the line it is.

    Its row of the table; its time, as `usual_time`; chainage, row and column of positions on it,
    ``(3, n)``; words and path of the steepest sight, and of the way down.
    """

    row: list[str]
    time: tuple[float, bool]
    along: Array
    overhead: list[dict[str, Any]]


class ToldLegs:
    """Legs as they were told; forgotten with the legs themselves."""

    def __init__(self) -> None:
        self._held: WeakKeyDictionary[LegScreening, LegTold] = WeakKeyDictionary()

    def leg(self, leg: LegScreening, grid: Grid) -> LegTold:
        """Tell a leg on a model's grid."""
        found = self._held.get(leg)
        if found is None:
            (row,) = told_rows(LEG_COLUMNS, [leg])
            points, some = leg.points, _some(leg.points.chainage_m)
            along = np.stack(
                (points.chainage_m[some], *_on(grid, points.lat_deg[some], points.lon_deg[some]))
            )
            found = self._held[leg] = LegTold(row, usual_time(leg), along, list(_overhead(leg, grid)))
        return found


def column_heads(columns: Iterable[Column]) -> list[str]:
    """Headings of columns, one line each."""
    return [plain(column.heading.replace("\n", " ")) for column in columns]


def told_rows(columns: Sequence[Column], rows: Iterable[Any]) -> list[list[str]]:
    """Rows of a table as texts."""
    return [[plain(" ".join(column.lines(row))) for column in columns] for row in rows]


def _some(chainage_m: Array) -> NDArray[np.intp]:
    """Points of a leg some metres apart, the ends among them."""
    step = np.floor(chainage_m / VERTEX_M)
    return np.flatnonzero(np.concatenate(([True], np.diff(step[:-1]) > 0, [True])))


def _overhead(leg: LegScreening, grid: Grid) -> Iterator[dict[str, Any]]:
    """Yield the steepest sight from a leg, and the way down where it is no straight line."""
    looks = leg.overhead
    if looks is None:
        return
    sight = looks.sight_outside or looks.sight
    if sight is not None and sight.place is not None and sight.stand is not None:
        ends = [(spot.lat_deg, spot.lon_deg) for spot in (sight.stand, sight.place)]
        words = sight_text(sight, at_least=leg.unknown_above)
        yield {"words": f"Leg {leg.number}: sight up {words}", "path": _in_grid(ends, grid)}
    if looks.path is not None and len(looks.path.line) > 2:
        words = path_text(looks.path, at_least=leg.unknown_above)
        path = _in_grid(looks.path.line[::-1], grid)
        yield {"words": f"Leg {leg.number}: way down {words}", "path": path}


def _in_grid(places: Sequence[tuple[float, float]], grid: Grid) -> list[list[float]]:
    found: list[list[float]] = np.stack(_on(grid, *np.array(places).T), axis=1).tolist()
    return found


def _on(grid: Grid, lat_deg: Array, lon_deg: Array) -> tuple[Array, Array]:
    """Rows and columns of places."""
    col, row = grid.from_wgs84(lon_deg, lat_deg)
    return row, col
