"""Planned lines from files: GPX, GeoJSON and tables of positions.

The kind of a file is told by its content: XML is GPX, JSON is GeoJSON, anything else is
taken for a table whose first line names its columns. Positions are on WGS 84; heights in
the file are passed over, for heights come from the elevation model.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import gpxpy
from gpxpy.gpx import GPX, GPXException

from steybrae.errors import FileReadError, RouteError
from steybrae.files.tables import place_of, table_places
from steybrae.frozen import dataclass
from steybrae.route.legs import JOINED, PASSED_OVER, Route, check_line, is_way_off
from steybrae.route.positions.places import Place
from steybrae.route.turns import (
    MAX_TURN_POINTS,
    TURN_TOLERANCE_M,
    chainages_m,
    choose_turns,
    cut_line,
    drop_repeats,
    repeats_note,
)
from steybrae.value import steep_length

MAX_FILE_BYTES: Final = 25_000_000
"""Largest file read, bytes; a day's track at one point a second has about 5 million (our choice)."""

MOST_NAMESPACES: Final = 100
"""Most namespaces that a GPX file declares (our choice; devices declare up to ten)."""

MOST_TAG: Final = 10_000
"""Most characters in one tag of a GPX file (our choice)."""

MOST_LINES: Final = 12
"""Most routes of a file that are held side by side (our choice: each costs a screening)."""

_WGS84_NAMES: Final = re.compile(r"CRS84|EPSG:+4326$", re.IGNORECASE)


@dataclass(frozen=True)
class _Found:
    """What a file held, before turn points are chosen."""

    kind: str
    name: str
    points: Sequence[Place]
    near: Sequence[Place] = ()
    notes: tuple[str, ...] = ()
    named_are_turns: bool = False
    further: tuple[_Found, ...] = ()
    """Routes after it in the file."""
    passed_over: tuple[tuple[int, str], ...] = ()


def read_route(
    path: Path, *, legs_at: Sequence[str] = (), turn_tolerance_m: float = TURN_TOLERANCE_M
) -> Route:
    """Read a planned line.

    GPX 1.1 and 1.0 (the first route that is no way off, else the first track, else the way-points), GeoJSON
    (the first line, else its points), or a table with the columns ``lat`` and ``lon``, or ``place``
    in any notation of `parse_place`, and ``name`` if there is one, parted by commas, semicolons or
    tabs (a place with a comma stands in quotation marks). Each point of a planned line is a
    turn point; on a track, and on a line of more than 60 points, turn points are chosen so
    that no point lies farther than the tolerance from its leg. The line keeps every point.
    In GeoJSON the property ``turn_points``, a list with a name or null for each position,
    says which positions are turn points.

    Parameters
    ----------
    path
        The file, UTF-8, at most 25 MB.
    legs_at
        Where legs begin instead: names of points or way-points, or distances along the line
        such as ``1.2km``; start and end are added.
    turn_tolerance_m
        For choosing turn points, metres on the ground.

    Returns
    -------
    Route
        Its notes say what was read, passed over, joined, dropped and chosen.

    Raises
    ------
    FileReadError
        Missing, empty, too large, not UTF-8, or damaged.
    RouteError
        Fewer than two different points or more than 20 000, a position that lies nowhere, no such turn point.
    """
    return _route(_leading(_read(path)), path.name, path.stem, legs_at, turn_tolerance_m)


def _leading(found: _Found) -> _Found:
    """Put the first route that is no way off before the others: it is the planned line for every command."""
    several = (found, *found.further)
    main = next((one for one in several if not is_way_off(one.name)), found)
    others = tuple(one for one in several if one is not main)
    return replace(main, further=others, passed_over=found.passed_over)


def read_routes(
    paths: Sequence[Path], *, legs_at: Sequence[str] = (), turn_tolerance_m: float = TURN_TOLERANCE_M
) -> tuple[Route, ...]:
    """Read planned lines to hold side by side: those of several files, and all routes of a GPX file.

    The main line first: the first that is no way off, the first of all where all are; `legs_at` and
    `turn_tolerance_m` are for it only. A file's routes after the twelfth are passed over, and its
    notes say so. The rest is as for `read_route`.
    """
    return _routes([(_read(path), path) for path in paths], legs_at, turn_tolerance_m)


def read_routes_text(content: bytes, name: str) -> tuple[Route, ...]:
    """Read planned lines from the bytes of a file, as `read_routes` does.

    `name` is what it is called in errors, and a line without a name.
    """
    path = Path(name)
    return _routes([(_read_decoded(_decoded(content, path), path), path)], (), TURN_TOLERANCE_M)


def _routes(
    read: Sequence[tuple[_Found, Path]], legs_at: Sequence[str], turn_tolerance_m: float
) -> tuple[Route, ...]:
    lines: list[tuple[_Found, str, str]] = []
    for found, path in read:
        several = (found, *found.further)[:MOST_LINES]
        over = (len(found.further) + 1 - len(several), "further route")
        for k, one in enumerate(several):
            alone = replace(one, further=(), passed_over=() if k else (over, *found.passed_over))
            number = f", route {k + 1}" if k else ""
            lines.append((alone, f"{path.name}{number}", f"{path.stem}{number}"))
    main = next((k for k, (found, _, name) in enumerate(lines) if not is_way_off(found.name or name)), 0)
    lines.insert(0, lines.pop(main))
    return tuple(
        _route(found, where, name, () if k else legs_at, turn_tolerance_m)
        for k, (found, where, name) in enumerate(lines)
    )


def _read(path: Path) -> _Found:
    return _read_decoded(_read_text(path), path)


def _read_decoded(text: str, path: Path) -> _Found:
    first = text.lstrip()[:1]
    read = _read_gpx if first == "<" else _read_geojson if first in ("{", "[") else _read_table
    return read(text, path.name)


def route_from_geojson(
    document: Any, *, legs_at: Sequence[str] = (), turn_tolerance_m: float = TURN_TOLERANCE_M
) -> Route:
    """Take a planned line from GeoJSON in memory, read as `read_route` reads it from a file.

    A mapping: a geometry, a feature or a collection; its positions may be tuples, its numbers
    numpy's.
    """
    where = "The line"
    try:
        text = json.dumps(document, default=_as_json)
    except (TypeError, ValueError, RecursionError) as error:
        message = f"{where} should be GeoJSON; it has what JSON has not ({error!s:.80}). Correct it."
        raise RouteError(message) from error
    return _route(_read_geojson(text, where), where, "Planned line", legs_at, turn_tolerance_m)


def _as_json(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    message = f"a {type(value).__name__}"
    raise TypeError(message)


def routes_drawn(lines: Sequence[tuple[str, Sequence[Place]]]) -> tuple[Route, ...]:
    """Take lines with their names as `read_routes` reads them from a GPX file of routes."""
    read = ("A route was read.",)
    return tuple(
        _route(_Found("route", name, points, (), read), name, name, (), TURN_TOLERANCE_M)
        for name, points in lines
    )


def route_from_line(
    places: Sequence[Place], *, legs_at: Sequence[str] = (), turn_tolerance_m: float = TURN_TOLERANCE_M
) -> Route:
    """Make a planned line of its places, in walking order; turn points are chosen as in `read_route`."""
    found = _Found("line", "", tuple(places), (), ("Took the places as a line.",))
    return _route(found, "The line", "Planned line", legs_at, turn_tolerance_m)


def _route(found: _Found, where: str, name: str, legs_at: Sequence[str], tolerance_m: float) -> Route:
    points, dropped = drop_repeats(found.points)
    if len(points) < 2:
        message = (
            f"{where} should hold a line of two different points or more; it has {len(points)}. "
            "Add its turn points."
        )
        raise RouteError(message)
    check_line(len(points), 1)
    line, turns, choice = _turns(found, points, legs_at, tolerance_m)
    over = _passed_over([(len(found.further), "further route"), *found.passed_over])
    notes = (*found.notes, *over, *((repeats_note(dropped),) if dropped else ()), choice)
    return Route(found.name or name, line, turns, found.kind, notes)


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f"A route file is needed; {path} could not be read: {reason}. Check the name."
        raise FileReadError(message) from error
    return _decoded(content, path)


def _decoded(content: bytes, path: Path) -> str:
    if len(content) > MAX_FILE_BYTES:
        message = f"A route file should be at most 25 MB; {path.name} is larger. Export the day's line alone."
        raise FileReadError(message)
    if content.startswith(b"PK\x03\x04"):
        message = (
            f"{path.name} should be a planned line; it is a zip file, as a saved plan is. "
            "Give the line, or the plan to card, report or reading."
        )
        raise FileReadError(message)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = (
            f"{path.name} should be text in UTF-8; byte {error.start} is not. "
            "Save it as GPX, GeoJSON or CSV in UTF-8; give a model as --dem FILE."
        )
        raise FileReadError(message) from error
    if not text.strip():
        message = f"{path.name} should hold a route; it is empty. Export it again."
        raise FileReadError(message)
    return text


def _turns(
    found: _Found, points: tuple[Place, ...], legs_at: Sequence[str], tolerance_m: float
) -> tuple[tuple[Place, ...], tuple[int, ...], str]:
    """Return the line, its turn points, and a sentence on how they were chosen."""
    ends = {0, len(points) - 1}
    named = {index for index, point in enumerate(points) if point.name}
    if legs_at:
        points, turns = cut_line(points, legs_at, found.near)
        return points, turns, f"Legs begin where asked: {_count(len(turns) - 1, 'leg')}."
    if found.named_are_turns and named:
        turns = tuple(sorted(ends | named))
        return points, turns, f"Turn points as named in the file: {_count(len(turns) - 1, 'leg')}."
    if found.kind != "track" and len(points) <= MAX_TURN_POINTS:
        return points, tuple(range(len(points))), f"Each of the {len(points)} points is a turn point."
    # Devices number every point; only a few names are names that somebody gave.
    given = named if len(named) <= MAX_TURN_POINTS else set()
    turns = tuple(sorted({*choose_turns(points, tolerance_m), *given}))
    choice = (
        f"Turn points chosen from the {len(points)} points of the line: no point lies more than "
        f"{tolerance_m:g} m beside its leg; {_count(len(turns) - 1, 'leg')}."
    )
    return points, turns, choice


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _passed_over(counts: Iterable[tuple[int, str]]) -> tuple[str, ...]:
    parts = [_count(number, what) for number, what in counts if number]
    return (f"{PASSED_OVER}: {', '.join(parts)}.",) if parts else ()


def _read_gpx(text: str, where: str) -> _Found:
    if re.search(r"<!\s*(DOCTYPE|ENTITY)", text, re.IGNORECASE):
        message = (
            f"{where} should be plain GPX; it has a DOCTYPE or ENTITY declaration, which is refused. "
            "Export it again."
        )
        raise FileReadError(message)
    _check_names(text, where)
    gpx = _parse_gpx(text, where)
    routes = [route for route in gpx.routes if route.points]
    tracks = [track for track in gpx.tracks if any(part.points for part in track.segments)]
    way_points = _gpx_places(gpx.waypoints, where)
    near = [place for place in way_points if place.name]
    old = ("The file is GPX 1.0; it was read as such.",) if gpx.version == "1.0" else ()
    if routes:
        first, *further = (
            _Found("route", one.name or "", _gpx_places(one.points, where), near, (*old, "A route was read."))
            for one in routes
        )
        return replace(first, further=tuple(further), passed_over=((len(tracks), "track"),))
    if tracks:
        points, joined = _joined([_gpx_places(part.points, where) for part in tracks[0].segments])
        over = _passed_over([(len(tracks) - 1, "further track")])
        notes = (*old, "A track was read.", *joined, *over)
        return _Found("track", tracks[0].name or "", points, near, notes)
    return _Found("way-points", gpx.name or "", way_points, (), (*old, "Way-points were read as a line."))


def _check_names(text: str, where: str) -> None:
    """Refuse what takes an XML parser hours: its namespaces cost their number squared."""
    spaces = text.count("xmlns")
    if spaces > MOST_NAMESPACES or re.search(rf"<[\w:]+\s[^<>]{{{MOST_TAG}}}", text):
        message = (
            f"{where} should have at most {MOST_NAMESPACES} namespaces and {MOST_TAG} characters of "
            "attributes in one element; it has more. Export it again."
        )
        raise FileReadError(message)


def _parse_gpx(text: str, where: str) -> GPX:
    if not re.search(r"<(\w+:)?gpx[\s>/]", text):
        message = f"{where} should be GPX; it is XML of another kind. Export the line as GPX."
        raise FileReadError(message)
    try:
        return gpxpy.parse(text)
    # gpxpy lets what its XML and number parsers raise pass through.
    except (
        GPXException,
        ValueError,
        TypeError,
        LookupError,
        AttributeError,
        RecursionError,
    ) as error:
        reason = " ".join(str(error).split())[:120]
        message = f"{where} should be GPX; it could not be read ({reason}). Export it again."
        raise FileReadError(message) from error


def _gpx_places(points: Iterable[Any], where: str) -> list[Place]:
    return [
        place_of(point.latitude, point.longitude, point.name or "", number, where)
        for number, point in enumerate(points, start=1)
    ]


def _joined(parts: Iterable[list[Place]]) -> tuple[list[Place], tuple[str, ...]]:
    """Join parts of a line end to end, and say how wide the widest break was."""
    full = [part for part in parts if part]
    breaks_m = [float(chainages_m((before[-1], after[0]))[1]) for before, after in pairwise(full)]
    points = [point for part in full for point in part]
    if not breaks_m:
        return points, ()
    if max(breaks_m) == 0.0:
        return points, (f"{len(full)} parts meet end to end.",)
    longest = steep_length(max(breaks_m)).text
    return points, (f"{JOINED} {len(full)} parts by straight lines; the longest break is {longest}.",)


def _read_geojson(text: str, where: str) -> _Found:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        message = f"{where} should be GeoJSON; it is not valid JSON ({str(error)[:120]}). Export it again."
        raise FileReadError(message) from error
    _check_crs(document, where)
    shapes = list(_shapes(document))
    lines = [shape for shape in shapes if shape[0]["type"] in ("LineString", "MultiLineString")]
    singles = [shape for shape in shapes if shape[0]["type"] == "Point"]
    spots = [
        _position(shape.get("coordinates"), _name(properties), number, where)
        for number, (shape, properties) in enumerate(singles, start=1)
    ]
    if not lines:
        if not spots:
            message = f"{where} should hold a GeoJSON LineString; it has none. Export the line."
            raise RouteError(message)
        return _Found("way-points", "", spots, (), ("Points were read as a line.",))
    shape, properties = lines[0]
    points, joined = _line_points(shape, properties, where)
    notes = ("A line was read.", *joined, *_passed_over([(len(lines) - 1, "further line")]))
    near = [spot for spot in spots if spot.name]
    named = isinstance(properties.get("turn_points"), list)
    return _Found("line", _name(properties), points, near, notes, named)


def _check_crs(document: Any, where: str) -> None:
    crs = document.get("crs") if isinstance(document, dict) else None
    if crs is not None and not _WGS84_NAMES.search(_crs_name(crs)):
        message = (
            f"{where} should be in WGS 84 longitude and latitude, as RFC 7946 has it; its member 'crs' "
            "says otherwise. Export it in WGS 84."
        )
        raise RouteError(message)


def _crs_name(crs: Any) -> str:
    properties = crs.get("properties") if isinstance(crs, dict) else None
    return str(properties.get("name")) if isinstance(properties, dict) else ""


def _shapes(document: Any) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Yield each geometry with the properties of its feature."""
    if not isinstance(document, dict):
        return
    if document.get("type") == "FeatureCollection":
        features = document.get("features")
        for feature in features if isinstance(features, list) else []:
            if isinstance(feature, dict) and feature.get("type") == "Feature":
                yield from _shapes(feature)
    elif document.get("type") == "Feature":
        properties = document.get("properties")
        geometry = document.get("geometry")
        if isinstance(geometry, dict) and "type" in geometry:
            yield geometry, properties if isinstance(properties, dict) else {}
    elif "type" in document:
        yield document, {}


def _name(properties: dict[str, Any]) -> str:
    name = properties.get("name")
    return name if isinstance(name, str) else ""


def _line_points(
    shape: dict[str, Any], properties: dict[str, Any], where: str
) -> tuple[list[Place], tuple[str, ...]]:
    coordinates = shape.get("coordinates")
    parts = coordinates if shape["type"] == "MultiLineString" else [coordinates]
    if not isinstance(parts, list) or not all(isinstance(part, list) for part in parts):
        message = f"The line of {where} should have a list of coordinates; it has none. Export it again."
        raise RouteError(message)
    total = sum(len(part) for part in parts)
    names = iter(_turn_names(properties.get("turn_points"), total, where))
    number = 0
    places: list[list[Place]] = []
    for part in parts:
        places.append([])
        for position in part:
            number += 1
            places[-1].append(_position(position, next(names), number, where))
    return _joined(places)


def _turn_names(given: Any, total: int, where: str) -> list[str]:
    if not isinstance(given, list):
        return [""] * total
    if len(given) != total or not all(name is None or isinstance(name, str) for name in given):
        message = (
            f"The property turn_points of {where} should hold a name or null for each of the {total} "
            f"positions; it has {len(given)} entries. Make the lists alike."
        )
        raise RouteError(message)
    return [name or "" for name in given]


def _position(position: Any, name: str, number: int, where: str) -> Place:
    numbers = isinstance(position, list) and all(type(value) in (int, float) for value in position[:2])
    if not numbers or len(position) < 2:
        got = str(position)[:40]
        message = f"Point {number} of {where} should be [longitude, latitude]; got {got}. Correct it."
        raise RouteError(message)
    return place_of(position[1], position[0], name, number, where)


def _read_table(text: str, where: str) -> _Found:
    return _Found("way-points", "", table_places(text, where), (), ("A table of positions was read.",))
