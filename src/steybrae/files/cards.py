"""A card as CSV, GeoJSON and GPX.

GPX 1.1 is the schema at http://www.topografix.com/GPX/1/1/gpx.xsd. What a receiver shows of a
point is its name and perhaps its description; both say what the card says.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

from steybrae import __version__
from steybrae.card import wording
from steybrae.card.result import CardLeg, CardPlace, Overhead, RouteCard
from steybrae.files.results import as_json
from steybrae.forecast.beside import caution_lines
from steybrae.names import defused
from steybrae.screening.places.words import (
    place_line,
    stretch_words,
    without_check_lines,
)
from steybrae.value import UNKNOWN, climb, minutes, slope, steep_length


def card_csv(card: RouteCard) -> str:
    """Write a card as CSV, one leg a row: RFC 4180 with line feeds.

    Slopes, times, metres of climb, of steep and of unknown ground are rounded up, bearings to a
    tenth; an empty cell is unknown or not asked for, one of ``overhead_deg`` that nothing was found
    where ``unknown_above`` says no. Climb and arrival may be more by an amount not known where
    ``ascent_at_least`` and ``arrival_at_least`` say yes. The column ``cautions`` names those of the
    card; `card_cautions_text` has their texts.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    keys = " ".join(caution.key for caution in card.cautions)
    rows = [{**_row(card, leg), "cautions": keys} for leg in card.legs]
    writer.writerow(rows[0])
    writer.writerows(map(_cell, row.values()) for row in rows)
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _row(card: RouteCard, leg: CardLeg) -> dict[str, Any]:
    ground, later = leg.ground, wording.may_be_later(card, leg)
    return {
        "leg": leg.number,
        "from": defused(leg.from_),
        "to": defused(leg.to),
        "from_lat_deg": round(leg.from_place.lat_deg, 7),
        "from_lon_deg": round(leg.from_place.lon_deg, 7),
        "from_reference": leg.from_place.reference,
        "to_lat_deg": round(leg.to_place.lat_deg, 7),
        "to_lon_deg": round(leg.to_place.lon_deg, 7),
        "to_reference": leg.to_place.reference,
        "bearing_magnetic_deg": _bearing(leg.bearing_magnetic_deg),
        "bearing_grid_deg": _bearing(leg.bearing_grid_deg),
        "bearing_true_deg": _bearing(leg.bearing_true_deg),
        "back_bearing_magnetic_deg": _bearing(leg.back_bearing_magnetic_deg),
        "length_m": round(leg.length_m, 1),
        "map_mm": None if leg.map_mm is None else round(leg.map_mm, 1),
        "paces": None if leg.paces is None else round(leg.paces),
        "ascent_m": climb(leg.ascent_m).shown,
        "descent_m": climb(leg.descent_m).shown,
        "ascent_at_least": leg.ascent_at_least,
        "time_min": minutes(leg.time_min).shown,
        "arrival": leg.arrival,
        "arrival_at_least": later,
        "slope_max_deg": slope(ground.slope_max_deg if ground else None).shown,
        "slope_high_deg": slope(ground.slope_high_deg if ground else None).shown,
        "slope_corridor_deg": slope(ground.slope_corridor_max_deg if ground else None).shown,
        "short_corridor_deg": slope(ground.short_corridor_max_deg if ground else None).shown,
        "drop": wording.drop_text(ground),
        "cliffs_below": wording.cliffs_text(leg),
        **_above(None if ground is None else ground.overhead),
        "open_above": ground is None or ground.open_above,
        "steep_m": steep_length(ground.steep_m if ground else None).shown,
        "unknown_m": steep_length(ground.unknown_m if ground else leg.length_m).shown,
        "checks": " ".join(check.number for check in leg.checks),
    }


def _above(found: Overhead | None) -> dict[str, Any]:
    """Tell what is overhead: the largest of sight, hidden or open, and path."""
    if found is None:
        return {"in_start_zone": UNKNOWN, "overhead_deg": None, "unknown_above": True}
    angles = (found.sight_deg, found.unfiltered_deg, found.path_deg)
    deg = max((angle for angle in angles if angle is not None), default=None)
    zone, least = found.underfoot, found.unknown_above
    return {"in_start_zone": zone, "overhead_deg": slope(deg).shown, "unknown_above": least}


def _bearing(value_deg: float | None) -> float | None:
    return None if value_deg is None else round(value_deg, 1) % 360.0


def card_cautions_text(card: RouteCard) -> str:
    """Every caution of a card, one a line: its key, a tab, its text."""
    return caution_lines(card.cautions, card.forecast)


def card_geojson(card: RouteCard) -> str:
    """Write a card as GeoJSON (RFC 7946): a line for each leg, a point for each check.

    A FeatureCollection on WGS 84. Properties are those of the JSON contract, unrounded; the foreign
    member ``cautions`` holds the cautions, ``totals`` the totals.
    """
    whole = as_json("card", card)
    features = []
    for leg, properties in zip(card.legs, whole["legs"], strict=True):
        features.append(_feature("LineString", _line(leg), properties))
        for check, about in zip(leg.checks, properties["checks"], strict=True):
            features.append(_feature("Point", _position(check.lon_deg, check.lat_deg), about))
    collection = {
        "type": "FeatureCollection",
        "features": features,
        **{key: value for key, value in whole.items() if key not in ("legs", "command", "settings_file")},
    }
    return json.dumps(collection, ensure_ascii=False, allow_nan=False)


def _line(leg: CardLeg) -> list[list[float]]:
    start, end = leg.from_place, leg.to_place
    places = [(start.lat_deg, start.lon_deg), *leg.shape_deg, (end.lat_deg, end.lon_deg)]
    return [_position(lon_deg, lat_deg) for lat_deg, lon_deg in places]


def _position(lon_deg: float, lat_deg: float) -> list[float]:
    return [round(lon_deg, 7), round(lat_deg, 7)]


def _feature(kind: str, coordinates: list[Any], properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {"type": kind, "coordinates": coordinates},
        "properties": properties,
    }


def card_gpx(card: RouteCard) -> str:
    """Write a card as GPX 1.1.

    The metadata's and the route's ``desc`` hold the cautions. Between the turn points of a leg that
    bends stand unnamed points, so that the line stays that of the plan.
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
                description=wording.check_sentence(check, card.bearing_unit),
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
    length, on_map = wording.distance_texts(leg)
    figures = (
        f"{wording.bearing_shown(leg.bearing_magnetic_deg, unit)} magnetic",
        length,
        on_map,
        wording.climb_text(leg),
        "" if leg.time_min is None else wording.minutes_text(leg.time_min, at_least=leg.time_at_least),
        f"steepest {wording.steepness_text(leg.ground)}",
        wording.corridor_text(leg.ground),
        wording.drop_text(leg.ground),
        wording.cliffs_text(leg),
        *wording.grounds_text(leg.ground),
        wording.overhead_text(leg.ground.overhead if leg.ground else None, unit),
    )
    sides = " ".join(
        (*map(wording.beside_sentence, leg.beside), *without_check_lines(leg.steep_without_check))
    )
    return f"Leg {leg.number} to {leg.to}: {', '.join(part for part in figures if part)}. {sides}".strip()
