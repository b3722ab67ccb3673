"""What stands on the report's map beside the line, and the points of the line as its script reads them.

Numbers of the points are rounded here, by the one rule, so that the page shows what every other output shows.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from steybrae.answers.points import overhead_at_points_deg
from steybrae.bands import BandScheme, in_degrees
from steybrae.frozen import dataclass
from steybrae.pages.report.map import (
    Letter,
    MapDrawing,
    crowded,
    letters_beside,
    map_units,
    place_on_map,
    place_spots,
)
from steybrae.quantities import round_down, shown_slope_deg
from steybrae.route.shape_result import Spot
from steybrae.screening.pictures.picture import LegOnMap, Relief
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.attributes import band_numbers
from steybrae.terrain.dem import Array
from steybrae.value import AT_LEAST, UNKNOWN, overhead, slope


@dataclass(frozen=True)
class ReadingMark:
    """A check: its name, where on the map, and whether its name waits for room."""

    name: str
    x: int
    y: int
    crowded: bool


@dataclass(frozen=True)
class LetterMark:
    """A place's letter: where on the map it belongs, how far off it stands, pixels, and whether it waits."""

    name: str
    x: int
    y: int
    dx: float
    dy: float
    crowded: bool


@dataclass(frozen=True)
class Marks:
    """Positions in units of the map: pairs of stand and source, ways down that snow could take, readings.

    Letters of places, those told at length first.
    """

    sights: str
    ways: str
    readings: tuple[ReadingMark, ...]
    letters: tuple[LetterMark, ...]


_PIXEL: Final = 12.5
"""A pixel of the page, units of the map at its usual size (`report.css`)."""

_LETTER_PX: Final = 9.2
"""Half the room of a letter's sign, pixels (our choice)."""


def report_marks(screening: RouteScreening, relief: Relief, drawing: MapDrawing) -> Marks:
    """Put what is overhead of each leg, its readings and the letters of places on the map of its line."""
    middles = [leg.middle for leg in drawing.legs if not leg.crowded]
    places = [
        (one.name, place_on_map(relief, one.place.lat_deg, one.place.lon_deg))
        for leg in screening.legs
        for one in leg.expected_readings
    ]
    ordered = sorted(screening.places, key=lambda place: not place.at_length)
    signs = [*middles, *(at for _, at in places), *(leg.steepest for leg in drawing.legs if leg.steepest)]
    size, sides = _LETTER_PX * _PIXEL, (drawing.width, drawing.height)
    letters = letters_beside(place_spots(ordered, relief), size, 2.0 * size, sides, signs)
    late = crowded([(one.name, one.label) for one in letters], middles)
    waiting = crowded(places, [*middles, *(one.label for one in letters if one.name not in late)])
    readings = tuple(ReadingMark(name, *at, name in waiting) for name, at in places)
    sights = "".join(_sights(leg, relief) for leg in screening.legs)
    ways = "".join(_way(leg, relief) for leg in screening.legs)
    return Marks(sights, ways, readings, tuple(_letter(one, one.name in late) for one in letters))


def _letter(one: Letter, waits: bool) -> LetterMark:
    dx, dy = ((label - at) / _PIXEL for label, at in zip(one.label, one.at, strict=True))
    return LetterMark(one.name, *one.at, round(dx, 1), round(dy, 1), waits)


def _sights(leg: LegScreening, relief: Relief) -> str:
    if leg.overhead is None:
        return ""
    both = (leg.overhead.sight, leg.overhead.sight_outside)
    return "".join(
        _line(relief, (one.stand, one.place))
        for one in both
        if one is not None and one.stand is not None and one.place is not None
    )


def _line(relief: Relief, spots: tuple[Spot, Spot]) -> str:
    return _path(relief, tuple((spot.lat_deg, spot.lon_deg) for spot in spots))


def _way(leg: LegScreening, relief: Relief) -> str:
    if leg.overhead is None or leg.overhead.path is None:
        return ""
    return _path(relief, leg.overhead.path.line)


def _path(relief: Relief, places: tuple[tuple[float, float], ...]) -> str:
    if len(places) < 2:
        return ""
    return "M" + "L".join("{} {}".format(*place_on_map(relief, *place)) for place in places)


def report_points(screening: RouteScreening, relief: Relief) -> dict[str, Any]:
    """Points of every leg.

    ``bands``, their labels; ``least``, the words for "at least"; ``legs``, each with ``leg``, ``start_dm``,
    ``open``, whether it may be steeper by an amount not known, and columns of whole numbers or None:
    ``at`` along the leg in decimetres, ``x`` and ``y`` on the map, ``height`` in metres,
    ``slope``, ``low``, ``high`` and ``corridor`` in tenths of a degree, ``aspect`` in degrees,
    ``band``, its position or -1, and ``above``, the steepest sight up as shown. ``reading`` has the
    place along the leg, name and slope of each check.
    """
    scheme = BandScheme(screening.settings.edges_deg)
    start_m, legs = 0.0, []
    for leg, on_map in zip(screening.legs, relief.legs, strict=True):
        legs.append(_columns(leg, on_map, relief, scheme, start_m))
        start_m += leg.length_m
    return {"bands": [in_degrees(label) for label in scheme.labels], "least": AT_LEAST, "legs": legs}


def _columns(
    leg: LegScreening, on_map: LegOnMap, relief: Relief, scheme: BandScheme, start_m: float
) -> dict[str, Any]:
    points = leg.points
    place = map_units(relief, on_map.x, on_map.y)
    shown = shown_slope_deg(points.slope_deg)
    return {
        "leg": leg.number,
        "start_dm": round(start_m * 10.0),
        "open": leg.open_above,
        "at": _whole(points.chainage_m * 10.0),
        "x": _whole(place[:, 0]),
        "y": _whole(place[:, 1]),
        "height": _whole(points.elevation_m),
        "slope": _whole(shown * 10.0),
        "low": _whole(round_down(points.slope_low_deg, 0.1) * 10.0),
        "high": _tenths_up(points.slope_high_deg),
        "corridor": _tenths_up(points.corridor_deg),
        "aspect": [None if at is None else at % 360 for at in _whole(points.aspect_true_deg)],
        "band": band_numbers(points.slope_deg, scheme).tolist(),
        "above": _above(leg),
        "reading": [
            [round((one.chainage_m or 0.0) * 10.0), one.name, slope(one.expected_deg).text]
            for one in leg.expected_readings
        ],
    }


def _above(leg: LegScreening) -> list[str]:
    """Steepest sight up from about each point, whatever lies between, as shown."""
    if leg.overhead is None:
        return [UNKNOWN] * len(leg.points.chainage_m)
    none = UNKNOWN if leg.unknown_above else f"nothing found from {slope(leg.overhead.least_deg).text} up"
    return [
        overhead(float(deg), at_least=leg.unknown_above).text
        if np.isfinite(deg)
        else none
        if there
        else UNKNOWN
        for deg, there in zip(overhead_at_points_deg(leg), leg.points.known, strict=True)
    ]


def _tenths_up(values: Array) -> list[int | None]:
    return _whole(shown_slope_deg(values) * 10.0)


def _whole(values: Array) -> list[int | None]:
    """Nearest whole numbers; None for what is unknown."""
    return [None if np.isnan(value) else round(value) for value in values.tolist()]
