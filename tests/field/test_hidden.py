"""What averages, grids and skewed sights hide: published and analytic values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.field.limits import (
    apparent_slope_deg,
    flattened_slope_deg,
    hidden_slope_deg,
    off_fall_line_deg,
    rest_slope_deg,
)
from steybrae.quantities import angle_to_gradient, gradient_to_angle


def average_slope_deg(piece_deg: float, piece_m: float, rest_deg: float, baseline_m: float) -> float:
    """Slope of an average over a baseline that holds one piece: what the formulas are solved from."""
    rise_m = piece_m * angle_to_gradient(piece_deg) + (baseline_m - piece_m) * angle_to_gradient(rest_deg)
    return gradient_to_angle(rise_m / baseline_m)


@pytest.mark.parametrize(
    ("baseline_m", "expected_deg"), [(20.0, 36.25), (30.0, 32.79), (50.0, 29.81), (60.0, 29.04)]
)
def test_ten_metres_at_45_in_ground_of_25(baseline_m: float, expected_deg: float) -> None:
    # Computed from the definition to two decimals: (10 tan 45 + (L - 10) tan 25) / L.
    average_deg = average_slope_deg(45.0, 10.0, 25.0, baseline_m)
    assert average_deg == pytest.approx(expected_deg, abs=0.006)


@given(st.floats(0.0, 80.0), st.floats(0.0, 80.0), st.floats(1.0, 20.0), st.floats(21.0, 200.0))
def test_piece_rest_and_average_invert_each_other(
    piece_deg: float, rest_deg: float, piece_m: float, baseline_m: float
) -> None:
    average_deg = average_slope_deg(piece_deg, piece_m, rest_deg, baseline_m)
    assert min(piece_deg, rest_deg) - 1e-9 <= average_deg <= max(piece_deg, rest_deg) + 1e-9
    again_deg = hidden_slope_deg(average_deg, rest_deg, piece_m, baseline_m)
    assert again_deg == pytest.approx(piece_deg, abs=1e-6)
    back_deg = rest_slope_deg(average_deg, piece_deg, piece_m, baseline_m)
    assert (0.0 if back_deg is None else back_deg) == pytest.approx(rest_deg, abs=1e-6)


def test_no_rest_can_be_where_the_piece_alone_rises_more() -> None:
    assert rest_slope_deg(10.0, 60.0, 10.0, 50.0) is None


@pytest.mark.parametrize(
    ("cells", "kept", "shown_of_40_deg"),
    [(4.0, 0.637, 28.1), (6.0, 0.827, 34.8), (10.0, 0.936, 38.13), (20.0, 0.984, 39.5)],
)
def test_a_grid_flattens_a_sine(cells: float, kept: float, shown_of_40_deg: float) -> None:
    # sin(k g) / (k g), k = 2 pi / wavelength; computed from the formula.
    shown_deg = flattened_slope_deg(40.0, cells * 10.0, 10.0)
    share = math.tan(math.radians(shown_deg)) / math.tan(math.radians(40.0))
    assert share == pytest.approx(kept, abs=0.0006)
    assert shown_deg == pytest.approx(shown_of_40_deg, abs=0.05)


def test_crossing_35_at_60_degrees_off_climbs_at_19_3() -> None:
    assert apparent_slope_deg(35.0, 60.0) == pytest.approx(19.295, abs=0.001)
    assert apparent_slope_deg(35.0, 0.0) == pytest.approx(35.0, abs=1e-12)
    assert apparent_slope_deg(35.0, 90.0) == 0.0


@pytest.mark.parametrize(
    ("look_deg", "aspect_deg", "off_deg"),
    [(180.0, 0.0, 0.0), (0.0, 0.0, 0.0), (350.0, 10.0, 20.0), (90.0, 0.0, 90.0), (200.0, 0.0, 20.0)],
)
def test_off_the_fall_line_up_or_down(look_deg: float, aspect_deg: float, off_deg: float) -> None:
    assert off_fall_line_deg(look_deg, aspect_deg) == pytest.approx(off_deg, abs=1e-12)
