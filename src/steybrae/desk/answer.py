"""What the page is told of the lines as they are drawn: every word and number as it is to be read.

Paths are positions in the model's own grid, ``[row, col]``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.answers.forecast import finding_blocks, finding_lines, named_blocks
from steybrae.answers.leg import CHANGES, NO_CHANGE, leg_columns, lines_blocks, lines_cautions, moved_items
from steybrae.answers.overhead import path_text, sight_text
from steybrae.answers.route import headline, legs_left_text, no_place_text
from steybrae.bands import bands_text, in_degrees
from steybrae.card.times import usual_time
from steybrae.desk.engine import Answered, Engine
from steybrae.desk.lines import TOO_SHORT, asked_line, drawn_lines, points_out, routes_of, which
from steybrae.desk.opened import Desk
from steybrae.document import Block, Column, Listing, Paragraph, Table, plain
from steybrae.errors import SteybraeError
from steybrae.files.model.rasters import RasterModel
from steybrae.forecast.beside import ForecastBeside
from steybrae.forecast.bulletin import last_end
from steybrae.forecast.choose import of_another_time
from steybrae.frozen import dataclass
from steybrae.pages.desk import profile_html
from steybrae.route.kept import LeftError
from steybrae.screening.pictures.picture import UNKNOWN, Profile
from steybrae.screening.pictures.relief import profile_of
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import head_and_words, leading_spot
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array, Grid
from steybrae.value import climb, kilometres, minutes, slope, steep_length

SHIFTS_M: Final = (30.0, 50.0)
"""How far a line is moved to either side, metres: beyond the usual position error, within a corridor."""

GIVE_BACK_TURNS: Final = 50
"""Answers after which memory is given back (our choice: some 40 MB)."""

NOBODY: Final = "Nobody waited for this answer any longer."


def answer(desk: Desk, message: dict[str, Any], left: Callable[[], bool] = bool) -> dict[str, Any]:
    """Answer lines as they are drawn: see `_told`.

    The message has ``sequence``, sent back; ``lines``; ``active``, the number of the one that is
    asked about. `left` tells whether nobody waits for the answer any longer: then no more is worked
    out than is under way. Where the line cannot be screened ``refused`` says why, and the points
    are told alone.
    """
    lines = drawn_lines(message, desk.grid)
    active = which(message, lines)
    told: dict[str, Any] = {"sequence": message.get("sequence"), "refused": None}
    told["points"] = [points_out(line.points, desk.grid, desk.ask.card.grid) for line in lines]
    if not lines or not lines[active].long_enough:
        return {**told, "refused": TOO_SHORT}
    routes, numbers = routes_of(lines)
    try:
        found = on_engine(desk, Engine.answer, routes, numbers.index(active), left)
    except SteybraeError as error:
        return {**told, "refused": str(error)}
    except LeftError:
        return {**told, "refused": NOBODY}
    return {**told, **_told(desk, found)}


def shift(desk: Desk, message: dict[str, Any]) -> dict[str, Any]:
    """Tell where a leg's band changes with the line moved to either side, as ``columns`` and ``rows``."""
    found = on_engine(desk, Engine.shifted, asked_line(message, desk.grid).route, SHIFTS_M)
    items = moved_items(found.shifts)
    by = " and ".join(f"{metres:g} m" for metres in SHIFTS_M)
    head = f"Moved left and right by {by}. {CHANGES if items else NO_CHANGE}"
    return {"columns": [head], "rows": [[item] for item in items]}


def on_engine(desk: Desk, ask: Any, *args: Any, **named: Any) -> Any:
    """Ask the engine of a desk something, in the thread that has the model open for lines."""

    def asked(model: RasterModel) -> Any:
        if desk.engine is None:
            desk.engine = Engine(model, desk.settings, desk.ask.forecast, desk.meanwhile)
        if desk.engine.kept.turns % GIVE_BACK_TURNS == 0:
            desk.meanwhile(lambda _: None)
        try:
            return ask(desk.engine, *args, **named)
        finally:
            desk.check_unchanged()

    return desk.answers.call(asked)


def _told(desk: Desk, answered: Answered) -> dict[str, Any]:
    """Everything that is told of the line asked about, and of all lines beside each other."""
    found = answered.found
    legs = [leg_told(desk, leg) for leg in found.legs]
    along = _Along.of(found, legs)
    beside, notes = _beside(answered)
    profile, first = profile_of(found), finding_lines(found.forecast)
    cautions = found.cautions if answered.beside is None else lines_cautions(answered.beside)
    cautions = tuple(dict.fromkeys((*found.cautions, *cautions, *desk.ask.cautions)))
    return {
        "findings": list(first),
        "forecast_ends": _forecast_ends(found.forecast),
        "headline": [text for block in headline(found) for text in _texts(block)],
        "facts": [list(fact) for fact in _facts(found, legs)],
        "places": list(_places(found.places, along)),
        "notes": [
            f"{ORDER_RULE if found.places else no_place_text(found)} {legs_left_text(found)}",
            *_notes(found),
            *notes,
        ],
        "legs": {"columns": column_heads(LEG_COLUMNS), "rows": [leg.row for leg in legs]},
        "stretches": list(_stretches(profile, tuple(found.totals.band_lengths_m), along)),
        "overhead": [one for leg in legs for one in leg.overhead],
        "profile": {"html": profile_html(found, profile), "length_m": found.totals.length_m},
        "chainage": np.stack((along.chainage_m, along.row, along.col), axis=1).tolist(),
        "beside": beside,
        "forecast": [
            text
            for block in (*finding_blocks(found.forecast, alone=True), *named_blocks(found.forecast))
            for text in _texts(block)
            if text not in first
        ],
        "cautions": [plain(caution.line) for caution in cautions],
    }


def _forecast_ends(forecast: ForecastBeside | None) -> str | None:
    """When the page has to ask again; None where nothing is to expire, as of a day that was asked for."""
    if forecast is None or forecast.start is not None or of_another_time(forecast.findings):
        return None
    ends = last_end(forecast.bulletins)
    return None if ends is None else ends.isoformat()


def _notes(found: RouteScreening) -> Iterator[str]:
    """Yield what was done to the points as drawn; nothing where each is a turn point."""
    return (note for note in found.notes[1:] if not note.startswith("Each of the "))


def _texts(block: Block) -> Iterator[str]:
    if isinstance(block, Listing):
        yield from map(plain, block.items)
    elif not isinstance(block, Table):
        yield plain(getattr(block, "text", ""))


def _facts(found: RouteScreening, legs: Sequence[LegTold]) -> Iterator[tuple[str, str]]:
    totals = found.totals
    times = [leg.time for leg in legs]
    at_least = any(least for _, least in times)
    yield "Length", kilometres(totals.length_m).text
    yield "Up", climb(totals.ascent_m, at_least=totals.ascent_at_least).text
    yield "Down", climb(totals.descent_m, at_least=totals.ascent_at_least).text
    yield "Time", f"{minutes(sum(one for one, _ in times), at_least=at_least).text}, without breaks"
    yield "Steepest", slope(totals.slope_max_deg, at_least=totals.open_above).text
    yield "Possible bands", bands_text(totals.bands_possible, open_above=totals.open_above)
    yield "Unknown", steep_length(totals.unknown_m).text


def _beside(answered: Answered) -> tuple[dict[str, Any] | None, list[str]]:
    """Lines side by side as one table, and what is said of them besides."""
    if answered.beside is None:
        return None, [answered.without] if answered.without else []
    blocks = list(lines_blocks(answered.beside))
    tables = [block for block in blocks if isinstance(block, Table) and not block.title]
    rows = [row for table in tables for row in told_rows(table.columns, table.rows)]
    words = [text for block in blocks if isinstance(block, (Listing, Paragraph)) for text in _texts(block)]
    return {"columns": column_heads(tables[0].columns), "rows": rows}, words


@dataclass(frozen=True, eq=False)
class _Along:
    """Where the line runs in the grid, by chainage."""

    chainage_m: Array
    row: Array
    col: Array

    @staticmethod
    def of(found: RouteScreening, legs: Sequence[LegTold]) -> _Along:
        parts, start = [], 0.0
        for leg, told in zip(found.legs, legs, strict=True):
            parts.append(told.along + np.array([[start], [0.0], [0.0]]))
            start += leg.length_m
        return _Along(*np.concatenate(parts, axis=1))

    @cached_property
    def _places(self) -> list[list[float]]:
        found: list[list[float]] = np.stack((self.row, self.col), axis=1).tolist()
        return found

    def paths(self, from_m: ArrayLike, to_m: ArrayLike) -> Iterator[list[list[float]]]:
        """Yield positions from chainages to others."""
        from_m, to_m = np.asarray(from_m, dtype=float), np.asarray(to_m, dtype=float)
        first = np.searchsorted(self.chainage_m, from_m, side="right").tolist()
        last = np.searchsorted(self.chainage_m, to_m, side="left").tolist()
        ends = (
            np.stack([np.interp(at, self.chainage_m, axis) for axis in (self.row, self.col)], axis=1).tolist()
            for at in (from_m, to_m)
        )
        for start, i, k, end in zip(next(ends), first, last, next(ends), strict=True):
            yield [start, *self._places[i:k], end]


def _places(places: Sequence[PlaceThatMatters], along: _Along) -> Iterator[dict[str, Any]]:
    ends = ([place.from_.chainage_m for place in places], [place.to.chainage_m for place in places])
    spots = [leading_spot(place)[0].chainage_m for place in places]
    at = (path[0] for path in along.paths(spots, spots))
    return (_place(*one) for one in zip(places, along.paths(*ends), at, strict=True))


def _place(place: PlaceThatMatters, path: list[list[float]], at: list[float]) -> dict[str, Any]:
    head, words = head_and_words(place)
    return {
        "name": place.name,
        "head": plain(f"{head}."),
        "words": plain(words),
        "long": place.at_length,
        "from_m": place.from_.chainage_m,
        "to_m": place.to.chainage_m,
        "at": at,
        "path": path,
    }


def _stretches(profile: Profile, labels: tuple[str, ...], along: _Along) -> Iterator[dict[str, Any]]:
    """Yield the line in pieces of one band, or unknown."""
    cuts = np.concatenate(([0], np.flatnonzero(np.diff(profile.band)) + 1, [len(profile.band)]))
    edges = profile.edges_m[cuts]
    bands = profile.band[cuts[:-1]].tolist()
    for band, path in zip(bands, along.paths(edges[:-1], edges[1:]), strict=True):
        unknown = band == UNKNOWN
        yield {
            "kind": "unknown" if unknown else "band",
            "label": "unknown" if unknown else in_degrees(labels[band]),
            "pattern": "unknown" if unknown else str(band),
            "path": path,
        }


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


def leg_told(desk: Desk, leg: LegScreening) -> LegTold:
    """Tell a leg, or take what was told of it before."""
    found: LegTold | None = desk.told.get(leg)
    if found is None:
        (row,) = told_rows(LEG_COLUMNS, [leg])
        points, some = leg.points, _some(leg.points.chainage_m)
        along = np.stack(
            (points.chainage_m[some], *_on(desk.grid, points.lat_deg[some], points.lon_deg[some]))
        )
        overhead = list(_overhead(leg, desk.grid))
        found = desk.told[leg] = LegTold(row, usual_time(leg), along, overhead)
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
