"""Gradients from windows: flat ground, planes, published windows, symmetry, voids."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from tests.own_units import grid_slope_field
from tests.synthetic import Plane, sample_surface

from steybrae.errors import ModelError
from steybrae.terrain.attributes import aspect_deg, slope_deg
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.gradients import (
    METHODS,
    check_method,
    index_gradients,
    method_weights,
    plane_gradients,
)

ASPECTS_DEG = np.arange(0.0, 360.0, 15.0)
HEIGHTS = hnp.arrays(np.float64, (5, 6), elements=st.integers(-2000, 2000).map(float))


def window(rows, cell: float) -> Dem:
    heights = np.array(rows, dtype=float)
    grid = Grid((cell, 0.0, 0.0, 0.0, -cell, 0.0), "EPSG:32630", heights.shape)
    return Dem(grid, heights)


def turn_deg(one, other):
    """Difference of two directions on the circle, -180 to 180."""
    return (np.asarray(one) - np.asarray(other) + 180.0) % 360.0 - 180.0


@pytest.mark.parametrize("method", METHODS)
def test_flat_ground_has_slope_0_and_no_aspect(method):
    field = grid_slope_field(window(np.full((4, 5), 812.5), 10.0), method)
    assert (field.slope_deg[1:-1, 1:-1] == 0.0).all()
    assert np.isnan(aspect_deg(field.p, field.q)).all()


@pytest.mark.parametrize("steepness_deg", [5.0, 20.0, 30.0, 35.0, 40.0, 45.0, 60.0])
@pytest.mark.parametrize("method", METHODS)
def test_planes_are_exact_for_every_aspect(method, steepness_deg):
    for facing_deg in ASPECTS_DEG:
        field = grid_slope_field(sample_surface(Plane(steepness_deg, facing_deg), (5, 6), 10.0), method)
        inside = (slice(1, -1), slice(1, -1))
        assert np.abs(field.slope_deg[inside] - steepness_deg).max() < 1e-6
        facing = aspect_deg(field.p[inside], field.q[inside])
        assert np.abs(turn_deg(facing, facing_deg)).max() < 1e-6


# The window of a worked example of slope that is reprinted in many help pages on the slope
# function. It is published for Horn: dz/dx = 0.05, dz/dy = -3.8 (southwards), rise over run
# 3.80032, slope 75.25762 degrees. The last digits come from rounding 3.80032 and 57.29578
# before the end; exact is 75.25766, hence the tolerance. The others are worked out by hand.
REPRINTED = [[50, 45, 50], [30, 30, 30], [8, 10, 10]]


@pytest.mark.parametrize(
    ("method", "p", "q_south", "slope", "facing"),
    [
        ("horn", 0.05, -3.8, 75.25762, 180.75385),
        ("zevenbergen-thorne", 0.0, -3.5, 74.05460, 180.0),
        ("evans", 0.4 / 6.0, -3.9, 75.62062, 180.97932),
    ],
)
def test_published_slope_example(method, p, q_south, slope, facing):
    field = grid_slope_field(window(REPRINTED, 5.0), method)
    assert field.p[1, 1] == pytest.approx(p, abs=1e-12)
    assert field.q[1, 1] == pytest.approx(-q_south, abs=1e-12)
    assert field.slope_deg[1, 1] == pytest.approx(slope, abs=2e-4)
    assert aspect_deg(field.p, field.q)[1, 1] == pytest.approx(facing, abs=1e-5)


# The window of a worked example of aspect in the same help pages, published for Horn as 92.64
# degrees (window and answer from memory). The cell size cancels.
@pytest.mark.parametrize(
    ("method", "facing"), [("horn", 92.643), ("zevenbergen-thorne", 93.57633), ("evans", 92.33731)]
)
def test_published_aspect_example(method, facing):
    field = grid_slope_field(window([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 30.0), method)
    assert aspect_deg(field.p, field.q)[1, 1] == pytest.approx(facing, abs=1e-3)


@pytest.mark.parametrize("method", METHODS)
@given(heights=HEIGHTS)
def test_turning_the_grid_turns_aspects_and_leaves_slopes(method, heights):
    field = grid_slope_field(window(heights, 10.0), method)
    facing = aspect_deg(field.p, field.q)
    turned = grid_slope_field(window(np.rot90(heights), 10.0), method)  # anticlockwise
    np.testing.assert_allclose(turned.slope_deg, np.rot90(field.slope_deg), atol=1e-9)
    difference = turn_deg(aspect_deg(turned.p, turned.q), np.rot90(facing) - 90.0)
    assert np.nanmax(np.abs(difference), initial=0.0) < 1e-9
    assert (np.isnan(aspect_deg(turned.p, turned.q)) == np.isnan(np.rot90(facing))).all()


@pytest.mark.parametrize("method", METHODS)
@given(heights=HEIGHTS)
def test_mirroring_the_grid_mirrors_aspects_and_leaves_slopes(method, heights):
    field = grid_slope_field(window(heights, 10.0), method)
    facing = aspect_deg(field.p, field.q)
    for flip, mirrored_facing in ((np.fliplr, -facing), (np.flipud, 180.0 - facing)):
        mirror = grid_slope_field(window(flip(heights), 10.0), method)
        np.testing.assert_allclose(mirror.slope_deg, flip(field.slope_deg), atol=1e-9)
        difference = turn_deg(aspect_deg(mirror.p, mirror.q), flip(mirrored_facing))
        assert np.nanmax(np.abs(difference), initial=0.0) < 1e-9


@given(heights=HEIGHTS, lift=st.integers(-500, 500), times=st.sampled_from([0.5, 2.0, 4.0]))
def test_lifting_changes_nothing_and_stretching_stretches_gradients(heights, lift, times):
    for method in METHODS:
        per_col, per_row = index_gradients(heights, method)
        lifted = index_gradients(heights + lift, method)
        stretched = index_gradients(heights * times, method)
        np.testing.assert_allclose(lifted, (per_col, per_row), atol=1e-9)
        np.testing.assert_allclose(stretched, (per_col * times, per_row * times), atol=1e-9)


@pytest.mark.parametrize("method", METHODS)
@given(heights=hnp.arrays(np.float64, (3, 3), elements=st.integers(-2000, 2000).map(float)))
def test_weights_are_those_of_the_formulas(method, heights):
    per_col, per_row = index_gradients(heights, method)
    col_weights, row_weights = method_weights(method)
    assert per_col[1, 1] == pytest.approx((col_weights * heights).sum(), abs=1e-9)
    assert per_row[1, 1] == pytest.approx((row_weights * heights).sum(), abs=1e-9)
    assert col_weights.sum() == pytest.approx(0.0, abs=1e-15)
    assert (col_weights * [-1.0, 0.0, 1.0]).sum() == pytest.approx(1.0, abs=1e-15)
    assert (row_weights == col_weights.T).all()


@pytest.mark.parametrize("method", METHODS)
def test_any_unknown_of_the_nine_makes_the_cell_unknown(method):
    for place in np.ndindex(3, 3):
        heights = np.array(REPRINTED, dtype=float)
        heights[place] = np.nan
        per_col, per_row = index_gradients(heights, method)
        assert np.isnan(per_col).all()
        assert np.isnan(per_row).all()


@pytest.mark.parametrize("unknown", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("method", METHODS)
def test_a_void_takes_its_neighbours_and_no_others(method, unknown):
    dem = sample_surface(Plane(35.0, 315.0), (9, 10), 10.0)
    heights = dem.heights_m.copy()
    heights[4, 5] = unknown
    slope = grid_slope_field(Dem(dem.grid, heights), method).slope_deg
    expected = np.zeros(slope.shape, dtype=bool)
    expected[[0, -1], :] = expected[:, [0, -1]] = True
    expected[3:6, 4:7] = True
    assert (np.isnan(slope) == expected).all()
    assert slope[~expected] == pytest.approx(35.0, abs=1e-6)


@pytest.mark.parametrize("shape", [(1, 1), (2, 9), (9, 2)])
def test_grids_too_small_for_a_window_are_unknown(shape):
    for found in (index_gradients(np.zeros(shape)), plane_gradients(np.zeros(shape), 1, 1)):
        assert np.isnan(found).all()
        assert found[0].shape == shape


@pytest.mark.parametrize("halves", [(1, 1), (2, 1), (1, 3), (4, 2)])
def test_fitted_planes_are_exact_on_planes(halves):
    half_cols, half_rows = halves
    for facing_deg in ASPECTS_DEG:
        dem = sample_surface(Plane(40.0, facing_deg), (9, 11), 2.0)
        per_col, per_row = plane_gradients(dem.heights_m, half_cols, half_rows)
        p, q = per_col / 2.0, -per_row / 2.0
        known = np.isfinite(p)
        expected = np.zeros(p.shape, dtype=bool)
        expected[half_rows : 9 - half_rows, half_cols : 11 - half_cols] = True
        assert (known == expected).all()
        assert slope_deg(p, q)[known] == pytest.approx(40.0, abs=1e-6)
        assert np.abs(turn_deg(aspect_deg(p, q)[known], facing_deg)).max() < 1e-6


@given(heights=HEIGHTS)
def test_fitted_plane_of_3_by_3_is_evans(heights):
    np.testing.assert_allclose(plane_gradients(heights, 1, 1), index_gradients(heights, "evans"), atol=1e-9)


@given(heights=HEIGHTS)
def test_fitted_plane_is_the_least_squares_plane(heights):
    row, col = np.mgrid[0:5, 0:5]
    for first in (0, 1):
        part = heights[:, first : first + 5]
        design = np.column_stack((np.ones(25), col.ravel(), row.ravel()))
        _, by_col, by_row = np.linalg.lstsq(design, part.ravel(), rcond=None)[0]
        per_col, per_row = plane_gradients(heights, 2, 2)
        assert per_col[2, first + 2] == pytest.approx(by_col, abs=1e-8)
        assert per_row[2, first + 2] == pytest.approx(by_row, abs=1e-8)


def test_a_void_makes_fitted_planes_unknown_within_their_halves():
    heights = np.zeros((9, 11))
    heights[4, 5] = np.nan
    per_col, per_row = plane_gradients(heights, 2, 1)
    expected = np.ones(heights.shape, dtype=bool)
    expected[1:-1, 2:-2] = False
    expected[3:6, 3:8] = True
    assert (np.isnan(per_col) == expected).all()
    assert (np.isnan(per_row) == expected).all()


def test_method_names():
    assert [check_method(name) for name in METHODS] == list(METHODS)
    with pytest.raises(ModelError) as caught:
        check_method("Horn")
    assert str(caught.value) == (
        "The slope method should be one of horn, zevenbergen-thorne, evans; got 'Horn'. Choose one."
    )
