"""What stands on the report's map beside the line: lines overhead and readings to expect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from steybrae.pages.report_map import crowded, place_on_map
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
class Marks:
    """Positions in units of the map: pairs of stand and source, ways down that snow could take, readings."""

    sights: str
    ways: str
    readings: tuple[ReadingMark, ...]


def report_marks(screening: RouteScreening, relief: Relief, middles: Sequence[tuple[int, int]]) -> Marks:
    """Put what is overhead of each leg, and its readings, on the map.

    At `middles` numbers of legs stand already.
    """
    places = [
        (one.name, place_on_map(relief, one.place.lat_deg, one.place.lon_deg))
        for leg in screening.legs
        for one in leg.expected_readings
    ]
    waiting = crowded(places, middles)
    readings = tuple(ReadingMark(name, *at, name in waiting) for name, at in places)
    sights = "".join(_sights(leg, relief) for leg in screening.legs)
    ways = "".join(_way(leg, relief) for leg in screening.legs)
    return Marks(sights, ways, readings)


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
