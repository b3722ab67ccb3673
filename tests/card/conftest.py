"""A screening whose every figure can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.synthetic import Plane, sample_surface

from steybrae.route.overhead.result import ExpectedReading
from steybrae.route.positions.grids import BNG_EPSG, lat_lon_deg
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot
from steybrae.route.turns import route_from_places
from steybrae.screening import RouteScreening, screen_route
from steybrae.screening.result import LegScreening, Position

EAST_M, NORTH_M = 300_500.0, 803_500.0
"""Where the hand-worked route begins, National Grid metres: 57.117 N 3.643 W."""


def grid_place(east_m: float, north_m: float, name: str) -> Place:
    return Place(*lat_lon_deg(BNG_EPSG, east_m, north_m), name=name)


def level_screening(*places: Place) -> RouteScreening:
    """Screen a route on a level model on the National Grid."""
    ground = sample_surface(Plane(0.0, 0.0), (400, 400), 10.0, crs="EPSG:27700", origin=(EAST_M, NORTH_M))
    found = screen_route(route_from_places(places, "A day by hand"), ground)
    # Legs are given other ground by hand; what was expected on the level has no place on it.
    legs = tuple(replace(leg, expected_readings=()) for leg in found.legs)
    return replace(found, legs=legs)


def with_heights(leg: LegScreening, start_m: float, end_m: float) -> LegScreening:
    """Give a leg an even slope from end to end."""
    share = leg.points.chainage_m / leg.points.chainage_m[-1]
    heights = start_m + (end_m - start_m) * share
    return replace(
        leg,
        ascent_m=max(end_m - start_m, 0.0),
        descent_m=max(start_m - end_m, 0.0),
        points=replace(leg.points, elevation_m=heights),
    )


@pytest.fixture(scope="session")
def by_hand() -> RouteScreening:
    """Three legs: 500 m level at grid 100, 1000 m up 200 at grid 190, 1200 m down 180 at grid 280."""
    east, north = EAST_M, NORTH_M
    places = [grid_place(east, north, "Stone")]
    for bearing_deg, length_m, name in (
        (100.0, 500.0, "Ford"),
        (190.0, 1000.0, "Col"),
        (280.0, 1200.0, "Hut"),
    ):
        east += length_m * np.sin(np.radians(bearing_deg))
        north += length_m * np.cos(np.radians(bearing_deg))
        places.append(grid_place(east, north, name))
    found = level_screening(*places)
    first, second, third = found.legs
    third = steep(with_heights(third, 800.0, 620.0))
    return replace(found, legs=(with_heights(first, 600.0, 600.0), with_heights(second, 600.0, 800.0), third))


def steep(leg: LegScreening) -> LegScreening:
    """Let the leg cross ground of 33 degrees that faces east, 600 m along."""
    middle = len(leg.points.chainage_m) // 2
    at = Position(
        float(leg.points.lat_deg[middle]),
        float(leg.points.lon_deg[middle]),
        float(leg.points.chainage_m[middle]),
    )
    aspects = np.full_like(leg.points.chainage_m, 90.0)
    spot = Spot(at.lat_deg, at.lon_deg, None)
    what = "steepest at and round the line, up the fall line"
    return replace(
        leg,
        expected_readings=(
            ExpectedReading("3a", 1, spot, at.chainage_m, 270.0, 33.0, 25.0, 40.0, what, "slope"),
        ),
        slope_max_deg=33.0,
        slope_low_deg=25.0,
        slope_high_deg=40.0,
        slope_max_at=at,
        points=replace(leg.points, aspect_true_deg=aspects),
    )
