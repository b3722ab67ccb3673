"""Lines as the page draws them, as points are typed, and as a route file would give them back.

A point of a line is kept to seven decimals of a degree, as a GPX file has it: what is answered for a line
is what ``steybrae route`` answers for its file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint

from steybrae import __version__
from steybrae.cautions import Situation, cautions_for
from steybrae.desk.about import written
from steybrae.desk.guard import RefusedError, number_in
from steybrae.desk.opened import Desk
from steybrae.errors import QuantityError, RouteError, SteybraeError
from steybrae.files.routes import MOST_LINES, read_routes_text, routes_drawn
from steybrae.frozen import dataclass
from steybrae.names import clean
from steybrae.quantities import parse_ground_length_m
from steybrae.route.bearings import NORTHS, parse_bearing, true_bearing_deg
from steybrae.route.legs import WAY_OFF, Route, check_line, is_way_off
from steybrae.route.positions.places import Place, parse_place
from steybrae.screening.ready import lies_on
from steybrae.terrain.dem import EARTH, Grid
from steybrae.value import steep_length

MAIN: Final = "main"
ALTERNATIVE: Final = "alternative"
ROLES: Final = (MAIN, WAY_OFF, ALTERNATIVE)

DECIMALS: Final = 7
"""Of a degree: a centimetre."""

MOST_NAMED: Final = 3
"""Lines off the model that are named (our choice)."""

TOO_SHORT: Final = "A line needs two different points; this one has fewer. Draw its next turn point."


@dataclass(frozen=True)
class Drawn:
    """A line as it is drawn.

    Attributes
    ----------
    name
        As typed; may be empty.
    role
        One of `ROLES`.
    points
        Its turn points; any number.
    """

    name: str
    role: str
    points: tuple[Place, ...]

    @property
    def route_name(self) -> str:
        """Name by which a route file tells its role."""
        name = _bare(self.name) or {MAIN: "Planned line", WAY_OFF: "Way off"}.get(self.role, "Alternative")
        if (self.role == WAY_OFF) == is_way_off(name):
            return name
        return f"{WAY_OFF.capitalize() if self.role == WAY_OFF else self.role.capitalize()}: {name}"

    @property
    def long_enough(self) -> bool:
        """Whether two of its points differ."""
        return len({(point.lat_deg, point.lon_deg) for point in self.points}) > 1


def _bare(name: str) -> str:
    """Take away what was put before a name to tell a role."""
    for role in ROLES:
        name = name.removeprefix(f"{role.capitalize()}: ")
    return name


def drawn_lines(message: Mapping[str, Any], grid: Grid) -> tuple[Drawn, ...]:
    """Read the lines of a message.

    `RefusedError` where it holds none, or what is none; `RouteError` or `PlaceError` for too many
    of them, or of their points, and for a point that lies nowhere.
    """
    given = message.get("lines")
    if not isinstance(given, list):
        raise RefusedError(400, "A message should hold a list of lines; this one does not.")
    if len(given) > MOST_LINES:
        message_ = f"A plan has {MOST_LINES} lines at most; got {len(given)}. Leave some out."
        raise RouteError(message_)
    lines = tuple(_line(one, grid) for one in given)
    check_line(sum(len(line.points) for line in lines), 1)
    return lines


def _line(given: Any, grid: Grid) -> Drawn:
    points = given.get("points") if isinstance(given, dict) else None
    if not isinstance(points, list) or not isinstance(given.get("name", ""), str):
        raise RefusedError(400, "A line should have a name, a role and a list of points; one has not.")
    role = given.get("role", MAIN)
    if role not in ROLES:
        raise RefusedError(400, f"A line should be one of {', '.join(ROLES)}; one is not.")
    check_line(len(points), 1)
    return Drawn(clean(given.get("name", "")), role, tuple(point_in(one, grid) for one in points))


def point_in(given: Any, grid: Grid) -> Place:
    """Read a point of a message: by latitude and longitude, or by row and column."""
    name = given.get("name", "") if isinstance(given, dict) else None
    if not isinstance(name, str):
        raise RefusedError(400, "A point should have a place and a name in letters; one has not.")
    if "lat" in given:
        return kept(number_in(given, "lat"), number_in(given, "lon"), name)
    lon, lat = grid.to_wgs84(number_in(given, "col"), number_in(given, "row"))
    return kept(float(lat), float(lon), name)


def kept(lat_deg: float, lon_deg: float, name: str = "") -> Place:
    """Place to as many decimals as are kept of it."""
    return Place(round(lat_deg, DECIMALS), round(lon_deg, DECIMALS), name)


def routes_of(lines: Sequence[Drawn]) -> tuple[tuple[Route, ...], tuple[int, ...]]:
    """Lines as read from a file of them, the main one first, and the number of each.

    Lines that are too short yet are left out; where none is the main line the first that is no way off is.
    """
    some = [(k, line) for k, line in enumerate(lines) if line.long_enough]
    main = next((k for k, line in some if line.role == MAIN), None)
    main = next((k for k, line in some if line.role != WAY_OFF), None) if main is None else main
    some.sort(key=lambda one: one[0] != main)
    routes = routes_drawn([(line.route_name, line.points) for _, line in some])
    return routes, tuple(k for k, _ in some)


@dataclass(frozen=True)
class AskedLine:
    """The line that a message asks about, as read from a file of the lines, among those that it holds.

    `main` is whether it is the main one, `beside` the other lines of the file in that case. `drawn`
    is the line as drawn, `lines` are all.
    """

    route: Route
    beside: tuple[Route, ...]
    main: bool
    drawn: Drawn
    lines: tuple[Drawn, ...]


def asked_line(message: Mapping[str, Any], grid: Grid) -> AskedLine:
    """Take the line that a message asks about.

    `RefusedError` where it is too short yet; else as `drawn_lines` and `which`.
    """
    lines = drawn_lines(message, grid)
    active = which(message, lines)
    if not lines or not lines[active].long_enough:
        raise RefusedError(422, TOO_SHORT)
    routes, numbers = routes_of(lines)
    main = numbers[0] == active
    return AskedLine(routes[numbers.index(active)], routes[1:] if main else (), main, lines[active], lines)


def which(message: Mapping[str, Any], lines: Sequence[Drawn]) -> int:
    """Give the number of the line that a message asks about."""
    active = int(number_in(message, "active")) if "active" in message else 0
    if not 0 <= active < max(len(lines), 1):
        raise RefusedError(400, "A message should ask about one of its lines; this one does not.")
    return active


def drawn_of(routes: Sequence[Route]) -> tuple[Drawn, ...]:
    """Lines of a file, with the roles that its names tell; of each its turn points.

    The first that is no way off is the main one. A recorded track keeps the turn points chosen on it.
    """
    lines = []
    main = next((k for k, route in enumerate(routes) if not is_way_off(route.name)), 0)
    for k, route in enumerate(routes):
        role = MAIN if k == main else WAY_OFF if is_way_off(route.name) else ALTERNATIVE
        points = [route.points[turn] for turn in route.turn_points]
        lines.append(
            Drawn(_bare(route.name), role, tuple(kept(one.lat_deg, one.lon_deg, one.name) for one in points))
        )
    return tuple(lines)


def off_model_words(lines: Sequence[Drawn], grid: Grid) -> str:
    """Name the lines with no turn point on the model, where others have some; else an empty string."""
    drawn = [
        (line.route_name, [(p.lat_deg, p.lon_deg) for p in line.points]) for line in lines if line.points
    ]
    off = [name for name, places in drawn if not lies_on(grid, *zip(*places, strict=True)).any()]
    if not off or len(off) == len(drawn):
        return ""
    names = ", ".join(off[:MOST_NAMED]) + (f" and {len(off) - MOST_NAMED} more" if off[MOST_NAMED:] else "")
    return f"No turn point lies on the model of: {names}. The map shows the other lines."


def lines_out(lines: Sequence[Drawn], grid: Grid, user_grid: str) -> list[dict[str, Any]]:
    """Lines as the page takes them."""
    return [
        {"name": line.name, "role": line.role, "points": points_out(line.points, grid, user_grid)}
        for line in lines
    ]


def points_out(points: Sequence[Place], grid: Grid, user_grid: str) -> list[dict[str, Any]]:
    """Points as the page takes them, each with its reference in the user's notation."""
    cols, rows = grid.from_wgs84([p.lon_deg for p in points], [p.lat_deg for p in points])
    return [
        {
            "lat": point.lat_deg,
            "lon": point.lon_deg,
            "row": row,
            "col": col,
            "written": written(point, user_grid),
            "name": point.name,
        }
        for point, row, col in zip(points, rows.tolist(), cols.tolist(), strict=True)
    ]


def lines_gpx(lines: Sequence[Drawn]) -> str:
    """Write lines as routes of one file, those with a point at least, the main one first.

    GPX 1.1. A route's name tells its role; its points have seven decimals.
    """
    gpx = GPX()
    gpx.creator = f"steybrae {__version__}"
    gpx.description = " ".join(caution.text for caution in cautions_for(Situation(from_model=True)))
    for line in sorted(lines, key=lambda one: one.role != "main"):
        route = GPXRoute(name=line.route_name)
        route.points.extend(
            GPXRoutePoint(latitude=point.lat_deg, longitude=point.lon_deg, name=point.name or None)
            for point in line.points
        )
        if route.points:
            gpx.routes.append(route)
    text: str = gpx.to_xml(version="1.1")
    return f"{text.rstrip()}\n"


def opened(desk: Desk, body: bytes) -> dict[str, Any]:
    """Read the ``lines`` of a route file that the page sends, as `steybrae.files.routes.read_routes`."""
    lines = drawn_of(read_routes_text(body, "The file"))
    return {"lines": lines_out(lines, desk.grid, desk.ask.card.grid)}


MOST_TEXT: Final = 200
"""Longest text, characters (our choice)."""

MOST_AWAY_M: Final = 100_000.0
"""Farthest that a point is set off another by bearing and distance, metres (our choice)."""

_WAY: Final = re.compile(rf"(\S+)\s+({'|'.join(NORTHS)})\s+(\S.*)", re.IGNORECASE)


def typed(desk: Desk, message: dict[str, Any]) -> dict[str, Any]:
    """Read a point as typed.

    The message has ``text``; ``after``, the point before it, or null. ``point``, and ``note`` where
    its square leaves it open; or ``refused``, a sentence.
    """
    text = message.get("text")
    if not isinstance(text, str):
        raise RefusedError(400, "A message should hold a text; this one does not.")
    after = message.get("after")
    try:
        place = read_point(text[:MOST_TEXT], None if after is None else point_in(after, desk.grid), desk)
    except SteybraeError as error:
        return {"refused": str(error)}
    (point,) = points_out([kept(place.lat_deg, place.lon_deg)], desk.grid, desk.ask.card.grid)
    within = steep_length(place.error_m).text
    note = (
        f"Set in the middle of its square: the place lies within {within} of it."
        if place.error_m >= 1.0
        else ""
    )
    return {"point": point, "note": note}


def read_point(text: str, after: Place | None, desk: Desk) -> Place:
    """Read a place, or how one gets to it from another: ``245 grid 600 m``."""
    way = _WAY.fullmatch(" ".join(text.split()))
    if way is None:
        return parse_place(text)
    if after is None:
        message_ = (
            f"A bearing and a distance go from the last point; {text!r} has none before it. Set one first."
        )
        raise QuantityError(message_)
    north, card = way[2].lower(), desk.ask.card
    bearing = parse_bearing(way[1], north, card.date)
    if north == "grid" and card.grid == "latlon":
        message_ = (
            f"The grid bearing {way[1]!r} needs the grid of your map; none was given. Open the desk with "
            "--grid, or give a true or magnetic bearing."
        )
        raise QuantityError(message_)
    distance_m = parse_ground_length_m(way[3].replace(" ", ""), "The distance")
    if distance_m > MOST_AWAY_M:
        message_ = (
            f"The distance should be at most {MOST_AWAY_M / 1000.0:g} km; got {way[3]!r}. Check its unit."
        )
        raise QuantityError(message_)
    azimuth = true_bearing_deg(bearing, after, card.date, card.grid)
    lon, lat, _ = EARTH.fwd(after.lon_deg, after.lat_deg, azimuth, distance_m)
    return Place(float(lat), float(lon))
