"""Latitude and longitude the wrong way round: seen, said, and never put right."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.on_grid import model
from tests.synthetic import Plane, sample_surface

from steybrae.errors import OffModelError, RouteError
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.screening import screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ready import places_swapped, would_lie_on
from steybrae.terrain.dem import Dem

WORDS = (
    "A point of the route lies off the model and would lie on it with latitude and longitude exchanged. "
    "Nothing was exchanged, and what is off the model is unknown: check their order in the route."
)


def alike() -> Dem:
    """Ground where latitude and longitude are nearly alike: 45.001 N, 44.999 E, 180 m to each side."""
    crs = "+proj=tmerc +lat_0=45.001 +lon_0=44.999 +k=1 +datum=WGS84 +units=m +type=crs"
    return sample_surface(Plane(20.0, 90.0), (37, 37), 10.0, crs=crs, origin=(0.0, 0.0))


def texts(route: Route, dem: Dem) -> dict[str, str]:
    return {caution.key: caution.text for caution in screen_route(route, dem).cautions}


def test_a_point_round_the_earth_is_refused_by_name() -> None:
    dem = model(Plane(20.0, 0.0), (81, 81))
    points = (Place(57.0, -9.0), Place(-9.001, 57.001, "Cairn"), Place(57.002, -9.002))
    with pytest.raises(RouteError) as error:
        screen_route(Route("one turned", points, (0, 1, 2)), dem)
    assert str(error.value) == (
        "The points of a line should lie near each other; point 2 (Cairn) at -9.00100, 57.00100 lies 9437 km "
        "from its neighbour. With latitude and longitude exchanged it would lie on the model: check their "
        "order in the route."
    )


def test_a_stray_position_is_refused_by_name() -> None:
    """A receiver without satellites writes 0, 0."""
    dem = model(Plane(20.0, 0.0), (81, 81))
    points = (Place(57.0, -9.0), Place(0.0, 0.0), Place(57.002, -9.002))
    with pytest.raises(RouteError) as error:
        screen_route(Route("one stray", points, (0, 1, 2)), dem)
    assert str(error.value) == (
        "The points of a line should lie near each other; point 2 at 0.00000, 0.00000 lies 6371 km from its "
        "neighbour. Take it out, or mend it, if it is a stray one."
    )


def test_the_first_point_may_be_the_stray_one() -> None:
    dem = model(Plane(20.0, 0.0), (81, 81))
    with pytest.raises(RouteError) as error:
        places_swapped(Route("one stray", (Place(0.0, 0.0), Place(57.0, -9.0)), (0, 1)), dem.grid)
    assert "; point 1 at 0.00000, 0.00000 lies " in str(error.value)


def test_a_point_near_by_gets_the_caution_and_stays_where_it_is() -> None:
    dem = alike()
    # 45.0, 45.0015 lies beyond the eastern edge; the other way round it would lie on the model.
    route = Route("alike", (Place(45.001, 44.999), Place(45.0, 45.0015)), (0, 1))
    found = screen_route(route, dem)
    assert texts(route, dem)["swapped"] == WORDS
    assert found.turn_points == route.points
    assert found.totals.unknown_m > 0.0


@pytest.mark.parametrize(
    "end",
    [
        Place(45.002, 45.001),  # off the model either way
        Place(45.0005, 44.9995),  # on the model
        Place(45.0, 45.0),  # the same either way
    ],
)
def test_other_points_get_none(end: Place) -> None:
    dem = alike()
    route = Route("alike", (Place(45.001, 44.999), end), (0, 1))
    assert not places_swapped(route, dem.grid)
    assert "swapped" not in texts(route, dem)


def test_what_can_be_no_latitude_is_not_exchanged() -> None:
    lat, lon = np.array([45.0, -9.0, 57.0]), np.array([120.0, 57.0, -9.0])
    grid = model(Plane(20.0, 0.0), (81, 81)).grid
    assert would_lie_on(grid, lat, lon).tolist() == [False, True, False]


def test_a_place_the_wrong_way_round_is_refused_with_a_hint() -> None:
    dem = model(Plane(20.0, 90.0))
    with pytest.raises(OffModelError) as error:
        ground_at(Place(-9.0, 57.0), dem, 10.0)
    assert str(error.value) == (
        "The place should lie on the elevation model; -9.00000, 57.00000 does not. The model covers latitude "
        "56.9946 to 57.0054, longitude -9.0100 to -8.9900. With latitude and longitude exchanged it would: "
        "check their order."
    )


def test_the_distance_is_the_geodesic() -> None:
    # Spherical law of cosines, good to half a per cent.
    a, b = (math.radians(57.0), math.radians(-9.0)), (math.radians(-9.001), math.radians(57.001))
    cosine = math.sin(a[0]) * math.sin(b[0]) + math.cos(a[0]) * math.cos(b[0]) * math.cos(a[1] - b[1])
    assert 6371.0 * math.acos(cosine) == pytest.approx(9437.0, rel=5e-3)
