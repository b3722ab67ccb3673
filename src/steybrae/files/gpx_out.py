"""A card as GPX 1.1: the route, and way-points at checks, where one may stand, and nowhere else.

GPX 1.1 is the schema at http://www.topografix.com/GPX/1/1/gpx.xsd. What a receiver shows of a
point is its name and perhaps its description; both say what the card says.
"""

from __future__ import annotations

from collections.abc import Iterator

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

from steybrae import __version__
from steybrae.card.result import CardLeg, CardPlace, RouteCard
from steybrae.card.wording import (
    bearing_shown,
    beside_sentence,
    check_sentence,
    cliffs_text,
    climb_text,
    corridor_text,
    distance_texts,
    grounds_text,
    minutes_text,
    overhead_text,
    steepness_text,
    without_check_lines,
)
from steybrae.screening.places.words import place_line, stretch_words


def card_gpx(card: RouteCard) -> str:
    """Write a card as GPX.

    Returns
    -------
    str
        GPX 1.1. The metadata's and the route's ``desc`` hold the cautions. Between the turn points
        of a leg that bends stand unnamed points, so that the line stays that of the plan.
    """
    gpx = GPX()
    gpx.creator = f"steybrae {__version__}"
    gpx.name = card.name
    gpx.description = " ".join(caution.text for caution in card.cautions)
    gpx.keywords = ", ".join(caution.key for caution in card.cautions)
    gpx.waypoints.extend(_way_points(card))
    route = GPXRoute(name=card.name, description=gpx.description)
    route.comment = f"Card for {card.date}; bearings in the descriptions are magnetic."
    route.points.extend(_route_points(card))
    gpx.routes.append(route)
    text: str = gpx.to_xml(version="1.1")
    return f"{text.rstrip()}\n"


def _longitude(lon_deg: float) -> float:
    """Longitude as the schema has it: from -180, below 180."""
    return round(lon_deg, 8) if round(lon_deg, 8) < 180.0 else round(lon_deg - 360.0, 8)


def _way_points(card: RouteCard) -> Iterator[GPXWaypoint]:
    for leg in card.legs:
        for check in leg.checks:
            yield GPXWaypoint(
                latitude=round(check.lat_deg, 8),
                longitude=_longitude(check.lon_deg),
                name=f"Check {check.number}",
                description=check_sentence(check, card.bearing_unit),
                type="check",
            )


def _route_points(card: RouteCard) -> Iterator[GPXRoutePoint]:
    for leg in card.legs:
        words = " ".join((_leg_words(leg, card.bearing_unit), *_places_words(card, leg)))
        yield _turn_point(leg.from_place, leg.from_, words)
        for lat_deg, lon_deg in leg.shape_deg:
            yield GPXRoutePoint(latitude=round(lat_deg, 8), longitude=_longitude(lon_deg))
    last = card.legs[-1]
    yield _turn_point(last.to_place, last.to, f"End of leg {last.number}.")


def _places_words(card: RouteCard, leg: CardLeg) -> Iterator[str]:
    """Places that begin on a leg: in words only, for they are steep and no place to be led to."""
    for place in card.places:
        if place.from_.leg == leg.number:
            yield f"Place {place.name}, {stretch_words(place)}: {place_line(place)}."


def _turn_point(place: CardPlace, name: str, words: str) -> GPXRoutePoint:
    return GPXRoutePoint(
        latitude=round(place.lat_deg, 8),
        longitude=_longitude(place.lon_deg),
        name=name,
        comment=place.reference,
        description=words,
    )


def _leg_words(leg: CardLeg, unit: str) -> str:
    length, on_map = distance_texts(leg)
    figures = (
        f"{bearing_shown(leg.bearing_magnetic_deg, unit)} magnetic",
        length,
        on_map,
        climb_text(leg),
        "" if leg.time_min is None else minutes_text(leg.time_min, at_least=leg.time_at_least),
        f"steepest {steepness_text(leg.ground)}",
        corridor_text(leg.ground),
        cliffs_text(leg),
        *grounds_text(leg.ground),
        overhead_text(leg.ground.overhead if leg.ground else None, unit),
    )
    sides = " ".join((*map(beside_sentence, leg.beside), *without_check_lines(leg.steep_without_check)))
    return f"Leg {leg.number} to {leg.to}: {', '.join(part for part in figures if part)}. {sides}".strip()
