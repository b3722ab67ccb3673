"""Lines of a plan as GPX 1.1, and from it; the schema is at http://www.topografix.com/GPX/1/1/gpx.xsd."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint

from steybrae import __version__
from steybrae.cautions import Situation, cautions_for
from steybrae.desk.lines.drawn import Drawn, drawn_of, lines_out
from steybrae.desk.opened import Desk
from steybrae.files.routes import read_routes_text


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
