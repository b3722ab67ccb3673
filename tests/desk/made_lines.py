"""Lines for the desk's tests: ten legs of the sample's day, as the page sends them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from steybrae.files.results import sample_route
from steybrae.files.routes import read_route


def sample_points(count: int = 11) -> list[dict[str, Any]]:
    """Give the first turn points of the sample's day."""
    route = read_route(sample_route())
    some = [route.points[turn] for turn in route.turn_points[:count]]
    return [{"lat": round(one.lat_deg, 7), "lon": round(one.lon_deg, 7), "name": one.name} for one in some]


def message(
    *lines: tuple[str, str, Sequence[dict[str, Any]]], active: int = 0, **more: Any
) -> dict[str, Any]:
    """Make a message of lines: name, role and points of each."""
    whole = [{"name": name, "role": role, "points": list(points)} for name, role, points in lines]
    return {"sequence": 1, "active": active, "lines": whole, **more}
