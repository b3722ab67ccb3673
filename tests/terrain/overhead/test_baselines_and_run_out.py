"""Slopes over several baselines, and published run-out angles."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given as cases
from hypothesis import strategies as st
from tests.terrain.overhead.made_ground import rough

from steybrae.errors import ModelError
from steybrae.route.leg_baselines import BASELINES_M, baseline_slopes
from steybrae.terrain.attributes import slope_deg
from steybrae.terrain.gradients import plane_gradients
from steybrae.terrain.jacobian import ground_gradients
from steybrae.terrain.overhead.path import alpha_deg, beta_point, reach_m


def square(size):
    return np.array([[size, 0.0], [0.0, -size]])


def test_each_baseline_is_the_plane_of_its_window():
    z = rough(60, 1, cell=5.0)
    col, row = np.array([20, 33, 41]), np.array([25, 30, 17])
    found = baseline_slopes(z, square(5.0), col, row)
    assert [one.measured_m for one in found] == [(10.0, 10.0), (20.0, 20.0), (30.0, 30.0), (50.0, 50.0)]
    for one, half in zip(found, (1, 2, 3, 5), strict=True):
        field = slope_deg(*ground_gradients(square(5.0), *plane_gradients(z, half, half)))
        assert np.allclose(one.slope_deg, field[row, col], atol=1e-9)


@pytest.mark.parametrize("size", [1.0, 5.0, 10.0])
def test_a_plane_has_one_slope_over_every_baseline(size):
    east, south = np.meshgrid(np.arange(90) * size, np.arange(90) * size)
    z = east * math.tan(math.radians(35.0)) * 0.6 - south * math.tan(math.radians(35.0)) * 0.8
    for one in baseline_slopes(z, square(size), np.array([45]), np.array([45])):
        if one.measured_m is not None:
            assert one.slope_deg[0] == pytest.approx(35.0, abs=1e-9)
            assert max(one.measured_m) <= 1.02 * one.baseline_m


def test_a_short_steep_piece_shows_only_in_short_baselines():
    # 10 m at 45 degrees within 25: the longer the baseline the gentler it reads.
    x = np.arange(121.0)
    z = np.interp(
        x,
        [0.0, 55.0, 65.0, 120.0],
        np.cumsum([0.0, 55 * math.tan(math.radians(25)), 10.0, 55 * math.tan(math.radians(25))]),
    )
    found = baseline_slopes(np.broadcast_to(z, (121, 121)), square(1.0), np.array([60]), np.array([60]))
    slopes = [float(one.slope_deg[0]) for one in found]
    assert slopes[0] == pytest.approx(45.0, abs=1e-9)
    assert slopes == sorted(slopes, reverse=True)
    assert 25.0 < slopes[-1] < 33.0


def test_too_large_a_cell_is_said_and_nothing_invented():
    ten, twenty, thirty, fifty = baseline_slopes(
        np.zeros((20, 20)), square(20.0), np.array([9]), np.array([9])
    )
    for one, baseline in ((ten, 10), (twenty, 20), (thirty, 30)):
        assert one.measured_m is None
        assert np.isnan(one.slope_deg).all()
        assert one.note == (
            f"The model's cells of 20 m are too large for a baseline of {baseline} m; the least that they "
            "can show is 40 m."
        )
    assert fifty.measured_m == (40.0, 40.0)
    assert fifty.note == ""
    assert BASELINES_M == (10.0, 20.0, 30.0, 50.0)


def test_unknown_ground_and_the_edge_have_no_baseline():
    z = np.zeros((40, 40))
    z[10, 10] = np.nan
    (one,) = baseline_slopes(z, square(10.0), np.array([11, 0, 20]), np.array([11, 20, 20]), (20.0,))
    assert np.isnan(one.slope_deg).tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("beta", "sds", "alpha"), [(25, 0, 22.60), (30, 0, 27.40), (30, 1, 25.10), (30, 2, 22.80), (35, 0, 32.20)]
)
def test_the_published_relation(beta, sds, alpha):
    """alpha = 0.96 beta - 1.4, standard deviation 2.3 degrees (Bakkehoi, Domaas and Lied 1983)."""
    assert alpha_deg(beta, sds) == pytest.approx(alpha, abs=0.01)


@pytest.mark.parametrize(("angle", "reach"), [(18, 307.8), (20, 274.7), (25, 214.5), (30, 173.2)])
def test_reach_for_100_m_of_fall(angle, reach):
    assert reach_m(100.0, angle) == pytest.approx(reach, abs=0.1)


@cases(st.floats(1.0, 2000.0), st.floats(1.0, 89.0))
def test_reach_and_fall_give_the_angle_back(fall, angle):
    assert math.degrees(math.atan2(fall, reach_m(fall, angle))) == pytest.approx(angle, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: alpha_deg(0.0),
            "The angle beta should lie between 0 and 90 degrees; got 0. Measure it from where the path "
            "flattens to 10 degrees up to the top of the release.",
        ),
        (
            lambda: reach_m(-5.0, 30.0),
            "A fall should be 0 m or more and its angle between 0 and 90 degrees; got -5 m and 30 degrees. "
            "Give the height difference as a positive number.",
        ),
    ],
)
def test_angles_out_of_range(call, message):
    with pytest.raises(ModelError) as error:
        call()
    assert str(error.value) == message


def test_the_beta_point_is_where_the_path_flattens():
    distance = np.arange(7) * 100.0
    falls = np.tan(np.radians([5.0, 35.0, 30.0, 20.0, 9.0, 12.0])) * 100.0
    height = 1000.0 - np.concatenate(([0.0], np.cumsum(falls)))
    assert beta_point(distance, height) == 4
    assert beta_point(distance, height, 24.0) == 3
    assert beta_point(distance, height * 0.0) is None
    assert beta_point(distance[:4], height[:4]) is None
