"""Curvature by hand and by a published quadratic; rolls, gullies, flattenings and cliffs on made ground."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given as cases
from hypothesis import settings
from hypothesis import strategies as st

from steybrae.terrain.shape import (
    cliffs_below,
    convex_rolls,
    curvature,
    flattenings,
    gullies,
    hidden_from_above,
    look_around,
)

JACOBIAN = np.array([[10.0, 0.0], [0.0, -10.0]])
MIDDLE = np.array([40.5])


def tan(deg):
    return math.tan(math.radians(deg))


def test_the_widely_reprinted_grid():
    """D = 0, E = -0.1, F = -0.02, G = 0, H = 3.5 by the formulas of Zevenbergen and Thorne (1987)."""
    grid = np.array([[50.0, 45.0, 50.0], [30.0, 30.0, 30.0], [8.0, 10.0, 10.0]])
    found = curvature(grid, 5.0)
    assert float(found.total) == pytest.approx(20.0, abs=1e-6)
    assert float(found.profile) == pytest.approx(-20.0, abs=1e-6)
    assert float(found.plan) == pytest.approx(0.0, abs=1e-6)


coefficient = st.floats(-0.5, 0.5).map(lambda x: round(x, 3))


@cases(coefficient, coefficient, coefficient, coefficient, coefficient, st.sampled_from([5.0, 20.0]))
@settings(max_examples=100, deadline=None)
def test_any_quadratic_by_its_derivatives(d, e, f, g, h, spacing):
    x = np.array([-spacing, 0.0, spacing])
    y = x[::-1, None]
    z = (d * x**2 + e * y**2 + f * x * y) / 100.0 + g * x + h * y
    found = curvature(z, spacing)
    assert float(found.total) == pytest.approx(-2.0 * (d + e), abs=1e-6)
    if math.hypot(g, h) < 0.01:
        return
    along = np.array([g, h]) / math.hypot(g, h)
    across = np.array([-along[1], along[0]])
    hessian = np.array([[2.0 * d, f], [f, 2.0 * e]])
    assert float(found.profile) == pytest.approx(along @ hessian @ along, abs=1e-6)
    assert float(found.plan) == pytest.approx(-across @ hessian @ across, abs=1e-6)
    assert float(found.total) == pytest.approx(float(found.plan - found.profile), abs=1e-6)


def test_level_ground_has_no_fall_line_and_unknown_ground_no_curvature():
    level = curvature(np.zeros((2, 3, 3)), 20.0)
    assert np.isnan(level.profile).all()
    assert np.isnan(level.plan).all()
    assert level.total.tolist() == [0.0, 0.0]
    holed = np.zeros((3, 3))
    holed[0, 1] = np.nan
    assert np.isnan(curvature(holed, 20.0).total)


def profile_ground(slopes, bearing_deg=90.0):
    """Ground that falls towards a bearing: level before the middle, then each slope for 20 m."""
    size = 81
    col, row = np.meshgrid(np.arange(size) + 0.5 - 40.5, 40.5 - np.arange(size) - 0.5)
    along = 10.0 * (col * math.sin(math.radians(bearing_deg)) + row * math.cos(math.radians(bearing_deg)))
    at = np.concatenate(([-1000.0, 0.0], 20.0 * np.arange(1, len(slopes) + 1), [1000.0]))
    falls = [0.0, *(-20.0 * tan(s) for s in slopes), -(1000.0 - 20.0 * len(slopes)) * tan(slopes[-1])]
    heights = np.concatenate(([0.0], np.cumsum(falls)))
    return np.interp(along, at, heights)


def around(z):
    return look_around(z, JACOBIAN, MIDDLE, MIDDLE)


@pytest.mark.parametrize("bearing", [0.0, 90.0, 180.0, 270.0])
def test_a_convex_roll_below_level_ground(bearing):
    found = convex_rolls(around(profile_ground([40.0, 40.0], bearing)), 30.0)
    assert found.there.tolist() == [True]
    assert found.strength[0] == pytest.approx(40.0, abs=1e-6)
    assert found.bearing_true_deg[0] == bearing
    assert found.distance_m[0] == 0.0
    assert (found.from_deg[0], found.to_deg[0]) == (
        pytest.approx(0.0, abs=1e-9),
        pytest.approx(40.0, abs=1e-6),
    )


def test_a_roll_further_down_is_told_with_its_distance():
    found = convex_rolls(around(profile_ground([10.0, 15.0, 42.0, 42.0])), 30.0)
    assert found.distance_m[0] == 40.0
    assert found.strength[0] == pytest.approx(27.0, abs=1e-6)
    assert found.bearing_true_deg[0] == 90.0


@pytest.mark.parametrize("slopes", [[9.0, 9.0], [35.0, 20.0, 10.0, 5.0], [25.0, 25.0]])
def test_no_roll_where_it_does_not_steepen_to_a_steep_slope(slopes):
    steady = profile_ground(slopes) if slopes != [35.0, 20.0, 10.0, 5.0] else profile_ground(slopes) * 0.5
    assert not convex_rolls(around(steady), 30.0).there.any()


def test_what_lies_below_a_roll_is_hidden_from_above():
    steep = around(profile_ground([0.0, 45.0, 45.0]))
    assert hidden_from_above(steep, np.array([90.0])).tolist() == [True]
    assert hidden_from_above(steep, np.array([270.0])).tolist() == [False]
    assert hidden_from_above(steep, np.array([np.nan])).tolist() == [False]
    even = around(profile_ground([30.0, 30.0]))
    assert hidden_from_above(even, np.array([90.0])).tolist() == [False]


@pytest.mark.parametrize(("bed", "side"), [(0.0, 90.0), (90.0, 0.0), (45.0, 135.0)])
def test_a_gully_has_two_sides(bed, side):
    col, row = np.meshgrid(np.arange(81) - 40.0, 40.0 - np.arange(81))
    across = 10.0 * (col * math.sin(math.radians(side)) + row * math.cos(math.radians(side)))
    along = 10.0 * (col * math.sin(math.radians(bed)) + row * math.cos(math.radians(bed)))
    z = np.abs(across) * tan(20.0) - along * tan(15.0)
    found = gullies(around(z))
    # Bilinear heights between cell centres cut the bed's corner a little on the diagonal.
    assert found.strength[0] == pytest.approx(20.0 * tan(20.0), abs=0.6)
    assert found.bearing_true_deg[0] == bed
    assert not gullies(around(-z)).there.any()
    assert not gullies(around(z * 0.5)).there.any()


def test_a_gullys_plan_curvature_is_hollow():
    col = np.arange(81) - 40.0
    z = (10.0 * col) ** 2 * 0.01 + 10.0 * np.arange(81)[:, None] * 0.5
    bowl = around(z)
    assert curvature(bowl.nine_m, bowl.spacing_m).plan[0] == pytest.approx(-2.0, abs=1e-6)


@pytest.mark.parametrize("bearing", [0.0, 90.0, 180.0, 270.0])
def test_a_flattening_lies_below_a_steep_slope(bearing):
    # Uphill towards the bearing: level for 40 m, then 37 degrees.
    z = -profile_ground([0.0, 0.0, 37.0, 37.0], bearing)
    found = flattenings(around(z), 30.0)
    assert found.strength[0] == pytest.approx(37.0, abs=1e-6)
    assert (found.bearing_true_deg[0], found.distance_m[0]) == (bearing, 40.0)


def test_no_flattening_on_the_slope_itself_nor_far_from_it():
    assert not flattenings(around(-profile_ground([37.0, 37.0])), 30.0).there.any()
    assert not flattenings(around(-profile_ground([0.0] * 5 + [37.0])), 30.0).there.any()
    # A dip between takes the snow first.
    assert not flattenings(around(-profile_ground([0.0, -30.0, 37.0, 0.0])), 30.0).there.any()


def test_a_cliff_below_and_none_above():
    found = cliffs_below(around(profile_ground([10.0, 60.0, 60.0])))
    assert found.strength[0] == pytest.approx(60.0, abs=1e-6)
    assert (found.bearing_true_deg[0], found.distance_m[0]) == (90.0, 20.0)
    assert not cliffs_below(around(-profile_ground([10.0, 60.0, 60.0]))).there.any()
    # Beyond a rise it is not below.
    assert not cliffs_below(around(profile_ground([-40.0, 60.0, 0.0]))).there.any()


def test_unknown_ground_has_no_features():
    z = np.full((81, 81), np.nan)
    for found in (
        convex_rolls(around(z), 30.0),
        gullies(around(z)),
        flattenings(around(z), 30.0),
        cliffs_below(around(z)),
    ):
        assert not found.there.any()
        assert np.isnan(found.bearing_true_deg).all()


def test_coarse_cells_set_the_spacing():
    jacobian = np.array([[30.0, 0.0], [0.0, -30.0]])
    found = look_around(np.zeros((20, 20)), jacobian, np.array([10.5]), np.array([10.5]))
    assert found.spacing_m == 30.0
    assert found.bearing_true_deg.tolist()[:3] == [0.0, 22.5, 45.0]
