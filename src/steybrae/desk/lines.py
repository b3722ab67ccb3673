"""Lines to begin with."""

from __future__ import annotations

from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.screening.result import RouteScreening


def plan_line(plan: RouteScreening) -> Route:
    """Take the line of a saved plan: its turn points, with their names."""
    names = [leg.from_ for leg in plan.legs] + [plan.legs[-1].to]
    ends = [(leg.points, 0) for leg in plan.legs] + [(plan.legs[-1].points, -1)]
    points = [
        Place(float(points.lat_deg[k]), float(points.lon_deg[k]), name)
        for (points, k), name in zip(ends, names, strict=True)
    ]
    return Route(plan.name, tuple(points), tuple(range(len(points))))
