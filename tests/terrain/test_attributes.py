"""Slope, aspect and grade of cells and of points."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.own_units import grid_slope_field
from tests.synthetic import Crest, Plane, sample_surface

from steybrae.terrain.attributes import (
    BASELINE_M,
    FLAT_GRADIENT,
    aspect_deg,
    aspect_sector,
    at_points,
    baseline_cells,
    slope_deg,
    slope_field,
    track_grade_deg,
)
from steybrae.terrain.dem import Dem
from steybrae.terrain.gradients import METHODS

GRADIENT = st.floats(-20.0, 20.0)


# Sector edges of a widely used table: N 337.5 to 360 and 0 to 22.5, NE 22.5 to 67.5 and so on. It does
# not say to which sector an edge belongs; here to the one that begins there.
@pytest.mark.parametrize(
    ("facing_deg", "sector"),
    [
        (0.0, "N"),
        (22.49, "N"),
        (22.5, "NE"),
        (45.0, "NE"),
        (67.49, "NE"),
        (67.5, "E"),
        (112.5, "SE"),
        (157.5, "S"),
        (202.49, "S"),
        (202.5, "SW"),
        (247.5, "W"),
        (292.5, "NW"),
        (337.49, "NW"),
        (337.5, "N"),
        (359.9, "N"),
        (360.0, "N"),
        (math.nan, None),
    ],
)
def test_sectors(facing_deg, sector):
    assert aspect_sector(facing_deg) == sector


@pytest.mark.parametrize(
    ("p", "q", "facing_deg"),
    [
        (0.0, -1.0, 0.0),
        (-1.0, -1.0, 45.0),
        (-1.0, 0.0, 90.0),
        (0.0, 1.0, 180.0),
        (1.0, 0.0, 270.0),
        (1.0, -1.0, 315.0),
    ],
)
def test_aspect_is_downhill(p, q, facing_deg):
    assert aspect_deg(p, q) == pytest.approx(facing_deg, abs=1e-12)


def test_a_minus_before_a_zero_turns_nothing():
    for zero in (0.0, -0.0):
        assert aspect_deg(zero, -1.0) == 0.0
        assert aspect_deg(zero, 1.0) == 180.0
        assert aspect_deg(-1.0, zero) == 90.0
        assert aspect_deg(1.0, zero) == 270.0
        assert np.isnan(aspect_deg(zero, zero))
        assert aspect_deg(zero, zero, flat_gradient=0.0) == 0.0


def test_aspect_just_west_of_north_stays_below_360():
    assert aspect_deg(1e-17, -1.0) == 0.0
    assert 359.99 < aspect_deg(1e-6, -1.0) < 360.0


def test_ground_flatter_than_the_limit_has_no_aspect():
    assert FLAT_GRADIENT == 0.05
    assert np.isnan(aspect_deg(0.0, -0.0499999))
    assert aspect_deg(0.0, -0.05) == 0.0
    assert aspect_deg(0.0, -0.001, flat_gradient=0.0) == 0.0
    assert np.isnan(aspect_deg(np.nan, -1.0))


@given(p=GRADIENT, q=GRADIENT)
def test_aspect_and_slope_make_the_gradient_again(p, q):
    slope, facing = float(slope_deg(p, q)), float(aspect_deg(p, q))
    assert 0.0 <= slope < 90.0
    if math.hypot(p, q) < FLAT_GRADIENT:
        assert math.isnan(facing)
        return
    assert 0.0 <= facing < 360.0
    m = math.tan(math.radians(slope))
    back = (-m * math.sin(math.radians(facing)), -m * math.cos(math.radians(facing)))
    assert back == pytest.approx((p, q), abs=1e-9)


def test_grade_of_a_line_across_the_fall_line():
    # tan(grade) = tan(slope) cos(angle off the fall line): 35 degrees crossed 60 degrees off
    # climbs at 19.295 degrees.
    p, q = Plane(35.0, 180.0).gradient(np.array(0.0), np.array(0.0))
    assert track_grade_deg(p, q, 60.0) == pytest.approx(19.295, abs=0.01)
    assert track_grade_deg(p, q, 300.0) == pytest.approx(19.295, abs=0.01)
    assert track_grade_deg(p, q, 0.0) == pytest.approx(35.0, abs=1e-12)
    assert track_grade_deg(p, q, 180.0) == pytest.approx(-35.0, abs=1e-12)
    assert track_grade_deg(p, q, 90.0) == pytest.approx(0.0, abs=1e-12)


@given(p=GRADIENT, q=GRADIENT, travel=st.floats(-720.0, 720.0))
def test_grade_is_never_steeper_than_the_slope(p, q, travel):
    grade = float(track_grade_deg(p, q, travel))
    assert abs(grade) <= float(slope_deg(p, q)) + 1e-9
    assert float(track_grade_deg(p, q, travel + 180.0)) == pytest.approx(-grade, abs=1e-9)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("steepness_deg", "facing_deg"), [(35.0, 0.0), (35.0, 200.0), (50.0, 305.0)])
def test_points_on_planes_are_exact(method, steepness_deg, facing_deg):
    plane = Plane(steepness_deg, facing_deg)
    field = grid_slope_field(sample_surface(plane, (12, 15), 10.0), method)
    rng = np.random.default_rng(1)
    col, row = rng.uniform(1.5, 13.5, 200), rng.uniform(1.5, 10.5, 200)
    found = at_points(field, col, row)
    east, north = (col - 7.5) * 10.0, (6.0 - row) * 10.0
    np.testing.assert_allclose(found.elevation_m, plane.height_m(east, north), atol=1e-9)
    np.testing.assert_allclose((found.p, found.q), plane.gradient(east, north), atol=1e-12)
    assert found.slope_deg == pytest.approx(steepness_deg, abs=1e-9)
    assert np.abs((found.aspect_true_deg - facing_deg + 180.0) % 360.0 - 180.0).max() < 1e-9


def test_points_off_the_model_or_beside_unknown_ground_are_unknown():
    dem = sample_surface(Plane(35.0, 45.0), (12, 15), 10.0)
    heights = dem.heights_m.copy()
    heights[6, 7] = np.nan
    field = grid_slope_field(Dem(dem.grid, heights))
    #   off west, off south, not a number, between ring and slope, in the void, beside it
    col = np.array([0.4, 7.0, np.nan, 1.4, 7.5, 9.0])
    row = np.array([3.0, 11.6, 3.0, 3.0, 6.5, 6.5])
    found = at_points(field, col, row)
    assert np.isnan(found.slope_deg).all()
    assert np.isnan(found.aspect_true_deg).all()
    assert np.isnan(found.elevation_m).tolist() == [True, True, True, False, True, False]


def test_points_between_a_slope_and_unknown_ground_are_unknown():
    # Even at the very centre of the last cell that has a slope: one of the four is unknown.
    field = grid_slope_field(sample_surface(Plane(35.0, 45.0), (9, 9), 10.0))
    found = at_points(field, [7.4, 7.5, 7.6], [4.5, 4.5, 4.5])
    assert np.isnan(found.slope_deg).tolist() == [False, True, True]
    assert np.isfinite(found.elevation_m).all()


def test_points_on_cell_centres_have_the_cells_own_values():
    field = grid_slope_field(sample_surface(Crest(40.0, 20.0), (9, 9), 10.0))
    row, col = np.mgrid[1:7, 1:7].reshape(2, -1)
    found = at_points(field, col + 0.5, row + 0.5)
    np.testing.assert_allclose(found.slope_deg, field.slope_deg[row, col], atol=1e-12)


def test_a_model_of_one_cell():
    field = grid_slope_field(sample_surface(Plane(35.0, 45.0), (1, 1), 10.0))
    found = at_points(field, [0.5, 0.6], [0.5, 0.5])
    assert found.elevation_m[0] == pytest.approx(0.0, abs=1e-12)
    assert np.isnan(found.elevation_m[1])
    assert np.isnan(found.slope_deg).all()


def test_interpolated_gradients_vanish_on_a_crest_and_cells_beside_it_do_not():
    # Why a leg's steepest ground is taken over cells, never from points.
    field = grid_slope_field(sample_surface(Crest(40.0), (11, 10), 10.0))
    on_crest = at_points(field, [5.0], [5.5])
    assert on_crest.slope_deg[0] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(on_crest.aspect_true_deg[0])
    # Cells one off the crest see both of its sides; from two off on they see one.
    half = math.degrees(math.atan(math.tan(math.radians(40.0)) / 2.0))
    assert field.slope_deg[5, 4:6] == pytest.approx([half, half], abs=1e-9)
    assert field.slope_deg[5, [3, 6]] == pytest.approx([40.0, 40.0], abs=1e-9)


@pytest.mark.parametrize(
    ("cell_m", "half", "baseline_m"),
    [(1.0, 10, 20.0), (2.0, 5, 20.0), (5.0, 2, 20.0), (10.0, 1, 20.0), (30.0, 1, 60.0)],
)
def test_window_of_the_baseline(cell_m, half, baseline_m):
    assert BASELINE_M == 20.0
    assert baseline_cells(cell_m, cell_m) == (half, half)
    assert 2 * half * cell_m == baseline_m


@given(cell_m=st.floats(0.5, 60.0), baseline_m=st.sampled_from([10.0, 20.0, 50.0]))
def test_window_of_the_baseline_is_the_nearest(cell_m, baseline_m):
    half, _ = baseline_cells(cell_m, cell_m, baseline_m)
    off_m = abs(2 * half * cell_m - baseline_m)
    assert all(off_m <= abs(2 * other * cell_m - baseline_m) + 1e-9 for other in range(1, 60))


def test_window_of_the_baseline_on_cells_that_are_not_square():
    assert baseline_cells(2.0, 5.0) == (5, 2)
    assert baseline_cells(5.0, 5.0, 50.0) == (5, 5)


@pytest.mark.parametrize("half", [1, 2, 5])
@pytest.mark.parametrize("facing_deg", [0.0, 77.0, 250.0])
def test_baseline_slopes_of_planes_are_exact_on_the_ground(half, facing_deg):
    # A plane in the grid's metres is a plane on the ground, less steep by the scale, 0.9996 here.
    dem = sample_surface(Plane(35.0, facing_deg), (13, 14), 2.0, origin=(500_000.0, 6_300_000.0))
    field = slope_field(dem, halves=(half, half))
    found = field.slope_deg
    known = np.isfinite(found)
    assert known.sum() == (13 - 2 * half) * (14 - 2 * half)
    on_ground = math.degrees(math.atan(0.9996 * math.tan(math.radians(35.0))))
    assert found[known] == pytest.approx(on_ground, abs=1e-6)


def test_baseline_of_3_by_3_is_the_cells_own_slope():
    dem = sample_surface(Crest(40.0), (9, 9), 10.0)
    own = slope_field(dem)
    assert own.short_deg is own.slope_deg
    longer = slope_field(dem, halves=(2, 2))
    assert np.array_equal(longer.short_deg, own.slope_deg, equal_nan=True)
    assert longer.slope_deg is not longer.short_deg


def test_a_longer_baseline_smooths_roughness():
    dem = sample_surface(Plane(35.0, 90.0), (41, 41), 1.0)
    rough = dem.heights_m + np.random.default_rng(3).normal(0.0, 0.15, dem.heights_m.shape)
    field = slope_field(Dem(dem.grid, rough), halves=baseline_cells(1.0, 1.0))
    inside = (slice(10, -10), slice(10, -10))
    smooth = field.slope_deg[inside]
    assert smooth.std() < field.short_deg[inside].std() / 20.0
    assert smooth.mean() == pytest.approx(34.99, abs=0.05)


def test_results_cannot_be_changed():
    field = slope_field(sample_surface(Plane(35.0, 90.0), (5, 5), 10.0))
    for array in (field.p, field.q, field.slope_deg, field.dem.heights_m):
        with pytest.raises(ValueError, match=r"^assignment destination is read-only$"):
            array[2, 2] = 0.0
