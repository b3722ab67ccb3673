"""Lines held side by side: alternatives, ways off, and what the line would be to either side of itself.

Each line is screened as if it were alone; nothing here is another figure, and none is ranked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field, fields, replace
from typing import Any, Final, Literal

import numpy as np

from steybrae.bands import Band
from steybrae.cautions import Cautions
from steybrae.errors import OffModelError, QuantityError, RouteError
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, NotNegative, Ordinal, Positive
from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.route.legs import Route, is_way_off, leg_track
from steybrae.route.positions.places import Place
from steybrae.route.turns import NEAR_LINE_M, chainages_m, nearest_on_line, place_along
from steybrae.screening.places.result import OnLine, PlaceThatMatters
from steybrae.screening.result import LegScreening, RouteScreening, Totals
from steybrae.terrain.dem import EARTH, Array

MOST_SHIFT_M: Final = 500.0
"""Farthest that a line is moved, metres: beyond, it is another line (our choice)."""

LEAST_STEP_M: Final = 20.0
"""A line that is moved by less gets places no closer than this, metres (our choice)."""

_APART_M: Final = 0.01
"""Ends of a chord nearer than this have no direction: the line turns back on itself (our choice)."""

Side = Literal["left", "right"]
Walked = Callable[[LegScreening], tuple[float, bool]]
"""Minutes of a leg, and whether unknown ground may make them more."""


@dataclass(frozen=True, eq=False)
class ComparedLine(Totals):
    """A line among others: its totals, and what a choice between lines asks for besides.

    Attributes
    ----------
    name
        Name of the route; numbered where one before it has the same.
    time_min, time_at_least
        By a card's usual rule, without breaks, minutes; whether unknown ground may make it more.
    places
        How many places matter on it.
    at_length
        Those of them that are told at length, with letters of its own.
    cautions
        Those that apply to it.
    line_deg
        Latitudes and longitudes along it, for pictures.
    """

    name: str
    time_min: NotNegative
    time_at_least: bool
    places: int
    at_length: tuple[PlaceThatMatters, ...]
    cautions: Cautions
    line_deg: tuple[Array, Array] = field(metadata=NOT_JSON)


@dataclass(frozen=True, eq=False)
class WayOff(ComparedLine):
    """A route whose name begins with "way off", from where it leaves the main line.

    Attributes
    ----------
    leaves
        Place of the main line that is nearest to its first point.
    off_m
        How far off the main line that point is, metres; beyond the usual position error the ground between
        is screened as its first leg.
    """

    leaves: OnLine
    off_m: NotNegative


@dataclass(frozen=True)
class LegMoved:
    """A leg whose band changes where the line is moved.

    Attributes
    ----------
    leg
        Its number.
    band, open_above
        Of the line; None unknown.
    moved_band, moved_open_above
        Of the line moved; None unknown.
    """

    leg: Ordinal
    band: Band | None
    open_above: bool
    moved_band: Band | None
    moved_open_above: bool


@dataclass(frozen=True)
class LineMoved:
    """The main line moved to one side.

    Attributes
    ----------
    shift_m
        By how much, metres.
    side
        ``left`` or ``right`` of travel.
    legs
        Those whose band, or whether it is "at least", changes.
    """

    shift_m: Positive
    side: Side
    legs: tuple[LegMoved, ...]


@dataclass(frozen=True, eq=False)
class RouteLines(RouteScreening):
    """A planned line screened, with others beside it.

    Attributes
    ----------
    lines
        The main line and its alternatives, in the order given.
    ways_off
        In the order given.
    shifts
        The main line moved, left and right in turn.
    """

    lines: tuple[ComparedLine, ...] = ()
    ways_off: tuple[WayOff, ...] = ()
    shifts: tuple[LineMoved, ...] = ()


def compared(
    routes: Sequence[Route],
    found: RouteScreening,
    screen: Callable[[Route], RouteScreening],
    walked: Walked,
    shifts_m: Sequence[float] = (),
) -> RouteLines:
    """Hold the main line, screened, and the others side by side; those named so are ways off.

    `screen` and `walked` say how a line is screened and a leg is timed: as the main line is alone.
    That is moved to either side by `shifts_m`. Refused where a way off begins more than 200 m off
    the main line, a line lies outside the model, or a shift is out of range.
    """
    main, *others = _told_apart(routes)
    sides: tuple[Side, Side] = ("left", "right")
    # Refused before anything is screened.
    beside = [(shift_m, side, moved(main, shift_m, side)) for shift_m in shifts_m for side in sides]
    leave = [leaving(route, main) for route in others if is_way_off(route.name)]
    lines = [found, *(screen(route) for route in others if not is_way_off(route.name))]
    ways = [(screen(route), at, off_m) for route, at, off_m in leave]
    return RouteLines(
        **{one.name: getattr(found, one.name) for one in fields(RouteScreening)},
        lines=tuple(ComparedLine(**_figures(one, walked)) for one in lines),
        ways_off=tuple(WayOff(**_figures(way, walked), leaves=at, off_m=off_m) for way, at, off_m in ways),
        shifts=tuple(
            LineMoved(shift_m, side, _changed(found.legs, _legs(screen, route)))
            for shift_m, side, route in beside
        ),
    )


def _told_apart(routes: Sequence[Route]) -> Iterator[Route]:
    """Yield routes, those that have the name of one before numbered: ``Track``, ``Track (2)``."""
    names: Counter[str] = Counter()
    for route in routes:
        names[route.name] += 1
        yield replace(route, name=f"{route.name} ({names[route.name]})") if names[route.name] > 1 else route


def _figures(one: RouteScreening, walked: Walked) -> dict[str, Any]:
    times = [walked(leg) for leg in one.legs]
    points = [leg.points for leg in one.legs]
    return {
        **vars(one.totals),
        # Where no height of a leg is known, nothing is known of what looks down on it.
        "unknown_above": one.totals.unknown_above or any(leg.overhead is None for leg in one.legs),
        "name": one.name,
        "time_min": sum(minutes for minutes, _ in times),
        "time_at_least": any(at_least for _, at_least in times),
        "places": len(one.places),
        "at_length": tuple(place for place in one.places if place.at_length),
        "cautions": one.cautions,
        "line_deg": (
            np.concatenate([along.lat_deg for along in points]),
            np.concatenate([along.lon_deg for along in points]),
        ),
    }


def leaving(way: Route, main: Route) -> tuple[Route, OnLine, float]:
    """Where a way off leaves the main line; `RouteError` where more than 200 m lie between.

    The way as it is screened: it begins at its first point, or at the place of the main line
    nearest to that where that is farther off than the usual position error. That place; metres
    between.
    """
    along_m = chainages_m(main.points)
    chainage_m, _ = nearest_on_line(way.points[0], main.points, along_m)
    at = place_along(chainage_m, main.points, along_m)
    off_m = float(chainages_m((at, way.points[0]))[1])
    if off_m > NEAR_LINE_M:
        message = (
            f"A way off should begin within {NEAR_LINE_M:g} m of the main line; {way.name!r} begins "
            f"{off_m:.0f} m off {main.name!r}. Draw it from where it leaves, or give it another name."
        )
        raise RouteError(message)
    turns_m = along_m[list(main.turn_points)]
    leg = min(int(np.searchsorted(turns_m, chainage_m, side="right")), len(turns_m) - 1)
    spot = OnLine(leg, chainage_m - float(turns_m[leg - 1]), chainage_m, at.lat_deg, at.lon_deg)
    if off_m > PLACE_ERROR_M:
        points, turns = (replace(at, name="main line"), *way.points), (0, *(k + 1 for k in way.turn_points))
        way = replace(way, points=points, turn_points=turns)
    return way, spot, off_m


def moved(route: Route, shift_m: float, side: Side) -> Route:
    """Move a line to one side of travel, with the same legs.

    Each vertex, and each of the places set between them no farther apart than the shift, goes
    square to the chord from as far back on the line to as far ahead: so bends are rounded and a
    recorded line's small turns do not tangle it. `QuantityError` for a shift, metres, not above 0
    (that of 0 is the line itself) or above 500.
    """
    if not 0.0 < shift_m <= MOST_SHIFT_M:
        message = (
            f"A line is moved by more than 0 and at most {MOST_SHIFT_M:g} m; got {shift_m:g} m. "
            "30m and 50m are usual."
        )
        raise QuantityError(message)
    tracks = [leg_track(route, k, max(shift_m, LEAST_STEP_M)) for k in range(len(route.turn_points) - 1)]
    turns = np.concatenate(([0], np.cumsum([len(track.chainage_m) - 1 for track in tracks])))
    lats = np.concatenate([tracks[0].lat_deg[:1], *(track.lat_deg[1:] for track in tracks)])
    lons = np.concatenate([tracks[0].lon_deg[:1], *(track.lon_deg[1:] for track in tracks)])
    steps = np.concatenate([np.zeros(1), *(np.diff(track.chainage_m) for track in tracks)])
    lons, at_m = np.unwrap(lons, period=360.0), np.cumsum(steps)
    back, ahead = (
        (np.interp(at_m + by_m, at_m, lons), np.interp(at_m + by_m, at_m, lats))
        for by_m in (-shift_m, shift_m)
    )
    travel_deg, _, apart_m = EARTH.inv(*back, *ahead)
    arriving_deg, _, _ = EARTH.inv(*back, lons, lats)
    travel_deg = np.where(apart_m < _APART_M, arriving_deg, travel_deg)
    square_deg = travel_deg + (-90.0 if side == "left" else 90.0)
    lons, lats, _ = EARTH.fwd(lons, lats, square_deg, np.full_like(at_m, shift_m))
    points = [Place(float(lat), float(lon)) for lat, lon in zip(lats, lons, strict=True)]
    for turn, was in zip(turns, route.turn_points, strict=True):
        kept = route.points[was]
        points[turn] = replace(points[turn], name=kept.name, error_m=kept.error_m)
    return replace(route, points=tuple(points), turn_points=tuple(int(turn) for turn in turns))


def _legs(screen: Callable[[Route], RouteScreening], route: Route) -> Sequence[LegScreening | None]:
    """Legs of a line moved; None for each where all of it lies off the model."""
    try:
        return screen(route).legs
    except OffModelError:
        return [None] * (len(route.turn_points) - 1)


def _changed(legs: Sequence[LegScreening], others: Sequence[LegScreening | None]) -> tuple[LegMoved, ...]:
    """Legs whose band, or whether it is "at least", differs."""
    pairs = (
        LegMoved(
            leg.number,
            leg.band,
            leg.open_above,
            None if other is None else other.band,
            other is None or other.open_above,
        )
        for leg, other in zip(legs, others, strict=True)
    )
    return tuple(one for one in pairs if (one.band, one.open_above) != (one.moved_band, one.moved_open_above))
