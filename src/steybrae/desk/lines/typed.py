"""Points typed instead of drawn: a reference, latitude and longitude, or a bearing and a distance."""

from __future__ import annotations

import re
from typing import Any, Final

from pyproj import Geod

from steybrae.desk.lines.drawn import kept, point_in, points_out
from steybrae.desk.messages import RefusedError
from steybrae.desk.opened import Desk
from steybrae.errors import QuantityError, SteybraeError
from steybrae.quantities import parse_ground_length_m
from steybrae.route.compass.bearings import NORTHS, parse_bearing, true_bearing_deg
from steybrae.route.positions.places import Place, parse_place
from steybrae.value import steep_length

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
    lon, lat, _ = Geod(ellps="WGS84").fwd(after.lon_deg, after.lat_deg, azimuth, distance_m)
    return Place(float(lat), float(lon))
