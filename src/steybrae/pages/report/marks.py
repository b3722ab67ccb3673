"""What stands on the report's map beside the line: lines overhead, readings to expect, letters of places."""

from __future__ import annotations

from typing import Final

from steybrae.frozen import dataclass
from steybrae.pages.report.map import Letter, MapDrawing, crowded, letters_beside, place_on_map, place_spots
from steybrae.route.shape_result import Spot
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import LegScreening, RouteScreening


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
