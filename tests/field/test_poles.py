"""Slope from poles, paces and a compass: geometry, published cases, simulated coverage."""

import math
import re

import numpy as np
import pytest

from steybrae.errors import QuantityError
from steybrae.field.poles import (
    COMPASS_ERRORS,
    HandSlope,
    compass_clinometer,
    equal_poles,
    pace_and_eye_height,
    two_poles,
)


def grade_percent(by_hand: HandSlope) -> float:
    return 100.0 * math.tan(math.radians(by_hand.slope_deg))


def test_two_poles_are_a_tangent_or_a_sine() -> None:
    assert two_poles(1.2, 1.2).slope_deg == pytest.approx(45.0, abs=1e-12)
    assert two_poles(1.2, 0.6, along="slope").slope_deg == pytest.approx(30.0, abs=1e-12)


def test_level_pole_uncertainty_by_hand() -> None:
    # Gradient 1: shares 0.02/1.2 twice, tan 3 and tan 2 degrees, in quadrature 0.0672.
    one = two_poles(1.2, 1.2)
    held = (math.tan(math.radians(error_deg)) for error_deg in (3.0, 2.0))
    half = math.hypot(0.02 / 1.2, 0.02 / 1.2, *held)
    assert one.slope_high_deg == pytest.approx(math.degrees(math.atan(1.0 + half)), abs=1e-9)
    assert one.slope_low_deg == pytest.approx(math.degrees(math.atan(1.0 - half)), abs=1e-9)
    assert one.uncertainty_95_deg == pytest.approx(45.0 - one.slope_low_deg, abs=1e-9)


def test_marks_one_pole_apart_are_30_degrees() -> None:
    assert equal_poles(1.2, 1.2).slope_deg == pytest.approx(30.0, abs=1e-12)


@pytest.mark.parametrize("pole_m", [1.2, 1.3])
def test_ten_centimetres_off_the_30_mark_are_about_three_degrees(pole_m: float) -> None:
    # Swiss leaflet "Achtung Lawinen!": about 3 degrees for 10 cm.
    up_deg = equal_poles(pole_m, pole_m + 0.1).slope_deg - 30.0
    down_deg = 30.0 - equal_poles(pole_m, pole_m - 0.1).slope_deg
    assert round(up_deg) == round(down_deg) == 3


def test_handbook_case_of_the_pace_method() -> None:
    # US Army subcourses MP1007, EN5622: two sights of 1.75 m and 17 paces, 12.75 m, taken as
    # 13 m: 3.5 / 13 = 26.92 %.
    assert grade_percent(two_poles(13.0, 2 * 1.75)) == pytest.approx(26.92, abs=0.01)
    assert two_poles(13.0, 2 * 1.75).slope_deg == pytest.approx(15.07, abs=0.01)
    # Ours takes the paces as along the slope.
    assert math.sin(math.radians(pace_and_eye_height(2, 17).slope_deg)) == pytest.approx(
        3.5 / 12.75, abs=1e-9
    )


def test_paces_on_the_slope_read_steeper_than_paces_taken_as_level() -> None:
    on_slope = pace_and_eye_height(2, 8)
    assert on_slope.slope_deg == pytest.approx(math.degrees(math.asin(3.5 / 6.0)), abs=1e-12)
    assert on_slope.slope_deg > two_poles(6.0, 3.5).slope_deg


def test_compass_is_an_inclinometer_with_a_larger_error() -> None:
    one = compass_clinometer([33.0])
    assert (one.slope_low_deg, one.slope_high_deg) == pytest.approx((28.0, 38.0), abs=1e-12)
    assert one.rests_on[1:] == COMPASS_ERRORS


def test_a_hand_slope_is_a_reference() -> None:
    reference = equal_poles(1.2, 1.3).as_reference()
    assert reference.source == "two equal poles"
    assert reference.slope_deg == pytest.approx(math.degrees(math.asin(1.3 / 2.4)), abs=1e-12)
    assert reference.origin.kind == "instrument"
    assert not reference.open_above


def _holds(makes: list[HandSlope], true_deg: float) -> float:
    return float(np.mean([one.slope_low_deg <= true_deg <= one.slope_high_deg for one in makes]))


@pytest.mark.parametrize("true_deg", [15.0, 30.0, 45.0])
def test_stated_errors_give_intervals_that_hold_95_percent(true_deg: float) -> None:
    """Draw every stated error (half of 95 % as standard deviation) through the exact geometry."""
    random = np.random.default_rng(11)
    cases = 20_000
    theta = math.radians(true_deg)
    length_m = random.normal(0.0, 0.01, (2, cases))
    level = np.radians(random.normal(0.0, 1.5, cases))
    plumb = np.radians(random.normal(0.0, 1.0, cases))
    # A pole tilted by e: its end stands L sin e too high at L cos e from the slope.
    drop_m = 1.2 * (np.cos(level) * math.tan(theta) + np.sin(level))
    # Off the upright by f it meets the snow at another place of the slope.
    drop_m /= np.cos(plumb) - np.sin(plumb) * math.tan(theta)
    down = np.clip(drop_m + length_m[0], 0.0, None)
    one_level = [two_poles(a, b) for a, b in zip((1.2 + length_m[1]).tolist(), down.tolist(), strict=True)]
    assert 0.93 <= _holds(one_level, true_deg) <= 0.97
    along = np.clip(1.2 * np.sin(theta + level) + length_m[0], 0.0, 1.2)
    on_slope = [two_poles(1.2, value, along="slope") for value in along.tolist()]
    assert 0.93 <= _holds(on_slope, true_deg) <= 0.98
    marks = 2.0 * 1.2 * np.sin(theta + plumb) + length_m[0]
    equal = [equal_poles(1.2, value) for value in marks.tolist()]
    assert 0.93 <= _holds(equal, true_deg) <= 0.98


def test_ends_stay_within_0_and_90() -> None:
    assert two_poles(1.2, 0.0).slope_low_deg == 0.0
    steep = two_poles(1.2, 1.2, along="slope")
    assert steep.slope_deg == pytest.approx(90.0, abs=1e-9)
    assert steep.slope_high_deg == 90.0


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: two_poles(0.0, 1.0),
            "The length along the pole should be above 0 m; got 0. Measure it again.",
        ),
        (
            lambda: two_poles(1.0, -0.1),
            "The drop should be 0 m or more; got -0.1. Measure it downwards.",
        ),
        (
            lambda: two_poles(1.0, 1.1, along="slope"),
            "A drop along a slope should be no longer than the pole; got 1.1 m on 1 m. "
            "Check which length is which.",
        ),
        (
            lambda: equal_poles(1.2, 2.5),
            "The marks should lie at most two poles apart; got 2.5 m with poles of 1.2 m. Measure again.",
        ),
        (
            lambda: pace_and_eye_height(2, 0),
            "The number of paces should be above 0 paces; got 0. Measure it again.",
        ),
        (
            lambda: pace_and_eye_height(2, 4),
            "The rise should be no longer than the paces up it; got 3.5 m on 3 m. Count again.",
        ),
        (
            lambda: compass_clinometer([]),
            "At least one reading should be given; got none. Write it like 34deg.",
        ),
    ],
)
def test_impossible_lengths_are_refused(make: object, message: str) -> None:
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        make()  # type: ignore[operator]
