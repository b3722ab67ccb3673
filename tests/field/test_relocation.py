"""Aspects held against exact surfaces: planes, a round hill, a crest; and the model's own error."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.on_grid import model
from tests.synthetic import Cone, Plane
from tests.terrain.overhead.made_ground import surveyed

from steybrae.errors import QuantityError
from steybrae.field.relocation import AspectFit, aspect_uncertainty_95_deg, check_aspect_error
from steybrae.route.positions.places import Place
from steybrae.screening import Settings
from steybrae.screening.ground.reading import aspect_at
from steybrae.terrain.dem import Dem
from steybrae.terrain.uncertainty import gradient_covariance, slope_uncertainty

CONE = model(Cone(35.0))  # faces away from its tip, in the middle of 1210 m x 1210 m


def place_at(dem: Dem, east_m: float, north_m: float) -> Place:
    lon, lat = dem.grid.to_wgs84(60.5 + east_m / 10.0, 60.5 - north_m / 10.0)
    return Place(float(lat), float(lon))


def held(measured_deg: float, east_m: float, north_m: float, dem: Dem = CONE, **more: float) -> AspectFit:
    radius_m = more.pop("radius_m", 20.0)
    more.setdefault("search_m", 400.0)
    return aspect_at(measured_deg, place_at(dem, east_m, north_m), dem, radius_m, Settings(), **more)


def turn(deg: float) -> float:
    return (deg + 180.0) % 360.0 - 180.0


def test_on_a_cone_the_aspect_of_the_place_fits_and_others_do_not() -> None:
    here = held(90.0, 300.0, 0.0)
    assert here.result == "fits"
    assert here.fitting_share == 1.0
    assert here.difference_deg == pytest.approx(0.0, abs=2.0)
    there = held(200.0, 300.0, 0.0)
    assert (there.result, there.fitting_share) == ("does not fit", 0.0)


def own_deg(slope_deg: float) -> float:
    """Tolerance of a smooth 10 m model: half a degree of the cells, and the usual worst survey."""
    m = math.tan(math.radians(slope_deg))
    survey = 2.0 * math.sqrt(gradient_covariance("horn", np.diag([10.0, -10.0]), 1.5, 50.0)[0, 0])
    return math.degrees(math.atan(math.hypot(survey, math.radians(0.5) * (1.0 + m * m)) / m))


def test_the_tolerance_is_both_errors_in_quadrature() -> None:
    own = own_deg(35.0)
    fit = held(90.0, 300.0, 0.0, error_95_deg=10.0)
    assert fit.tolerance_deg == pytest.approx(math.hypot(10.0, own), abs=0.05)
    inside, outside = (held(90.0 + k * 0.97 * 17.0, 300.0, 0.0, radius_m=0.0) for k in (1.0, 1.4))
    assert (inside.result, outside.result) == ("fits", "does not fit")


@pytest.mark.parametrize("bearing", range(0, 360, 45))
def test_places_near_by_lie_where_the_cone_faces_that_way(bearing: int) -> None:
    # Believed on the opposite flank, 200 m from the tip: that ground lies across the tip.
    opposite = math.radians(bearing + 180.0)
    fit = held(float(bearing), 200.0 * math.sin(opposite), 200.0 * math.cos(opposite))
    assert fit.result == "does not fit"
    across = min(fit.places, key=lambda place: abs(turn(place.bearing_true_deg - bearing)))
    assert abs(turn(across.bearing_true_deg - bearing)) < 15.0
    assert 190.0 < across.distance_m < 260.0
    for place in fit.places:
        assert abs(turn(place.aspect_true_deg - bearing)) <= 22.1
        assert 32.0 < place.slope_deg < 35.1  # a window across the tip flattens it
        assert fit.radius_m < place.distance_m <= fit.search_m
    assert [place.distance_m for place in fit.places] == sorted(place.distance_m for place in fit.places)


def test_a_place_near_by_is_where_it_is_said_to_be() -> None:
    fit = held(0.0, 0.0, -200.0)
    for place in fit.places:
        lon, lat = CONE.grid.from_wgs84(place.lon_deg, place.lat_deg)
        east, north = (float(lon) - 60.5) * 10.0, (60.5 - float(lat)) * 10.0 + 200.0
        assert math.hypot(east, north) == pytest.approx(place.distance_m, abs=0.01)
        assert turn(math.degrees(math.atan2(east, north)) - place.bearing_true_deg) == pytest.approx(
            0.0, abs=0.01
        )
        assert turn(math.degrees(math.atan2(east, north - 200.0)) - place.aspect_true_deg) == pytest.approx(
            0.0, abs=1.0
        )


def test_on_a_plane_everything_fits_and_it_is_said_that_this_tells_little() -> None:
    dem = model(Plane(30.0, 120.0))
    fit = held(120.0, 0.0, 0.0, dem)
    assert (fit.result, fit.fitting_share, fit.near_share) == ("fits", 1.0, 1.0)
    assert {place.sector for place in fit.places} == {"N", "NE", "E", "SE", "S", "SW", "W", "NW"}


def test_the_share_of_a_cone_is_the_angle_that_fits() -> None:
    # About its tip a cone faces every way alike: 2 x tolerance / 360 of it fits.
    fit = held(45.0, 0.0, 0.0, radius_m=0.0, search_m=500.0)
    tolerance = math.hypot(15.0, own_deg(35.0))
    assert fit.near_share == pytest.approx(2.0 * tolerance / 360.0, abs=0.005)


@given(st.floats(0.0, 360.0), st.floats(100.0, 360.0), st.floats(1.0, 20.0))
def test_the_circle_has_no_seam(bearing: float, distance: float, error: float) -> None:
    east, north = distance * math.sin(math.radians(bearing)), distance * math.cos(math.radians(bearing))
    fit = held(bearing, east, north, error_95_deg=error, radius_m=10.0, search_m=50.0)
    assert fit.result == "fits"
    assert fit.difference_deg is not None
    assert abs(fit.difference_deg) < 5.0


def test_gentle_ground_hardly_knows_where_it_faces() -> None:
    # 5 degrees: the usual error is larger than the gradient, and the tolerance above a sector.
    dem = model(Plane(5.0, 120.0))
    fit = held(120.0, 0.0, 0.0, dem)
    assert fit.tolerance_deg is not None
    assert fit.tolerance_deg > 45.0
    assert fit.result == "cannot tell"
    assert (fit.near_share, fit.places) == (0.0, ())
    assert fit.sentence.endswith("°, more than one sector.")


def test_level_ground_faces_nowhere() -> None:
    fit = held(120.0, 0.0, 0.0, model(Plane(0.0, 0.0)))
    assert (fit.nearest_true_deg, fit.difference_deg, fit.tolerance_deg) == (None, None, None)
    assert (fit.result, fit.undirected_share) == ("cannot tell", 1.0)
    assert fit.sentence == "Cannot tell: no ground within 20 m of the place is known to face anywhere."


def test_unknown_ground_in_the_circle_may_hide_a_fit() -> None:
    heights = model(Plane(30.0, 120.0)).heights_m.copy()
    heights[60, 62] = np.nan
    dem = Dem(CONE.grid, heights)
    fit = held(300.0, 0.0, 0.0, dem)
    assert fit.undirected_share > 0.0
    assert fit.result == "cannot tell"
    assert fit.sentence.endswith("but part of the ground there is level or unknown.")
    assert held(120.0, 0.0, 0.0, dem).result == "fits"


def test_on_a_model_without_known_ends_nothing_is_said() -> None:
    dem = model(Plane(30.0, 120.0), (61, 61), 62.0)
    lon, lat = dem.grid.to_wgs84(30.5, 30.5)
    place = Place(float(lat), float(lon))
    for measured in (120.0, 300.0):
        fit = aspect_at(measured, place, dem, 50.0, Settings(), search_m=500.0)
        assert (fit.tolerance_deg, fit.result) == (None, "cannot tell")
        assert fit.sentence.endswith("but how well the model knows it is not known.")


def test_sentences_say_figures_and_what_they_allow() -> None:
    dem = model(Plane(30.0, 120.0))
    assert held(121.0, 0.0, 0.0, dem).sentence == (
        "Fits: the nearest aspect within 20 m of the place is 120°, 1° from the one measured; "
        "both errors together allow 19°."
    )
    assert held(200.0, 0.0, 0.0, dem).sentence == (
        "Does not fit: the nearest aspect within 20 m of the place is 120°, 80° from the one "
        "measured; both errors together allow 19°. You may be elsewhere, or on a slope too small for "
        "the model."
    )


@pytest.mark.parametrize("error", [0.0, -1.0, 90.5, math.nan])
def test_an_error_that_cannot_be_meant_is_refused(error: float) -> None:
    message = (
        f"The error of an aspect should be above 0 and at most 90 degrees; got {error:g}. "
        "Give its 95 % error, like 15deg."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        check_aspect_error(error)
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        held(90.0, 0.0, 0.0, error_95_deg=error)


@pytest.mark.parametrize("search_m", [19.9, 2000.5, math.nan])
def test_a_search_that_cannot_be_meant_is_refused(search_m: float) -> None:
    message = (
        f"The search should reach from the position error, 20 m, to 2000 m; got {search_m:g} m. "
        "Give --search between the two."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        held(90.0, 0.0, 0.0, search_m=search_m)


def test_the_error_of_a_models_aspect_against_simulation(monkeypatch: pytest.MonkeyPatch) -> None:
    # Independent height errors of 0.3 m on a 10 m plane of 12 degrees: 95 % of aspects within.
    # Binomial error of the share, 0.15 %; the normal law in the arc adds less: 0.6 % is 4 of them.
    rng = np.random.default_rng(11)
    stated = slope_uncertainty("horn", np.array([[10.0, 0.0], [0.0, -10.0]]), 0.3, 0.0)
    m = math.tan(math.radians(12.0))
    sd = math.sqrt(3.0) / 4.0 * 0.3 / 10.0
    p, q = m + rng.normal(0.0, sd, 20_000), rng.normal(0.0, sd, 20_000)
    off = np.degrees(np.arctan2(q, p))
    p1, q1, rough = np.array([m]), np.array([0.0]), np.array([3.0])
    whole = aspect_uncertainty_95_deg(p1, q1, stated, rough)[0]
    monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))
    limit = float(aspect_uncertainty_95_deg(p1, q1, stated, rough)[0])
    assert limit == pytest.approx(math.degrees(math.atan(2.0 * sd / m)), rel=1e-9)
    # With what the cells hide: 0.5 and once the roughness at 10 m over 20 m.
    expected = math.hypot(2.0 * sd, math.radians(3.5) * (1.0 + m * m)) / m
    assert whole == pytest.approx(math.degrees(math.atan(expected)), rel=1e-9)
    # k = 2 covers 95.45 %.
    assert np.mean(np.abs(off) <= limit) == pytest.approx(0.9545, abs=0.006)


def test_a_stated_error_counts_across_the_fall_line(monkeypatch: pytest.MonkeyPatch) -> None:
    # Worse in north than in east: a slope facing east (p) errs across it by the north part.
    monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))
    known = surveyed(0.0001, 0.0009)
    p, q = np.array([0.5, 0.0]), np.array([0.0, 0.5])
    found = aspect_uncertainty_95_deg(p, q, known, np.zeros(2))
    expected = [math.degrees(math.atan(2.0 * 0.03 / 0.5)), math.degrees(math.atan(2.0 * 0.01 / 0.5))]
    assert found == pytest.approx(expected, rel=1e-12)
    assert np.isnan(aspect_uncertainty_95_deg(np.zeros(1), np.zeros(1), known, np.zeros(1))).all()
