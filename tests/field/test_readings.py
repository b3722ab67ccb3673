"""Readings: their mean, their uncertainty, and whether 95 % intervals hold 95 %."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from steybrae.errors import QuantityError
from steybrae.field.readings import ReadingSet, parse_readings, reading_uncertainty_95_deg

slopes = st.floats(0.0, 90.0, allow_nan=False)


@pytest.mark.parametrize(
    ("count", "expected_deg"),
    [(1, 4.0), (2, math.sqrt(10.0)), (3, math.sqrt(8.0)), (4, math.sqrt(7.0)), (10**9, 2.0)],
)
def test_uncertainty_is_two_root_one_plus_three_over_n(count: int, expected_deg: float) -> None:
    assert reading_uncertainty_95_deg(count) == pytest.approx(expected_deg, abs=1e-8)


def test_four_readings_are_known_to_2_65() -> None:
    readings = ReadingSet((34.0, 35.0, 34.0, 35.0))
    assert readings.uncertainty_95_deg == pytest.approx(2.65, abs=0.005)
    assert readings.mean_deg == pytest.approx(34.5, abs=1e-12)


def test_a_stated_error_is_that_of_one_reading_and_splits_alike() -> None:
    assert ReadingSet((34.0,), error_95_deg=2.0).uncertainty_95_deg == pytest.approx(2.0, abs=1e-12)
    four = ReadingSet((34.0,) * 4, error_95_deg=2.0).uncertainty_95_deg
    assert four == pytest.approx(math.sqrt(7.0) / 2.0, abs=1e-12)


def test_up_and_down_sights_cancel_the_index_error() -> None:
    # The levelling argument: up 33 and down 31 is 32, index error 1.
    readings = parse_readings(["33deg"], ["-31deg"])
    assert readings.mean_deg == pytest.approx(32.0, abs=1e-12)
    assert readings.index_error_deg == pytest.approx(1.0, abs=1e-12)
    assert readings.readings_deg == (33.0, 31.0)
    assert readings.effective_count == 2.0


def test_unequal_numbers_of_sights_still_cancel_it() -> None:
    readings = parse_readings(["33deg", "33deg", "33deg"], ["31deg"])
    assert readings.mean_deg == pytest.approx(32.0, abs=1e-12)
    assert readings.effective_count == pytest.approx(3.0, abs=1e-12)
    expected_deg = 2.0 * math.sqrt(1.0 + 3.0 / 3.0)
    assert readings.uncertainty_95_deg == pytest.approx(expected_deg, abs=1e-12)


def test_sights_down_only_are_a_plain_mean_without_index_error() -> None:
    readings = parse_readings([], ["-31deg", "33deg"])
    assert readings.mean_deg == 32.0
    assert readings.index_error_deg is None


def test_ends_are_floored_and_capped() -> None:
    assert ReadingSet((1.5,)).slope_low_deg == 0.0
    assert ReadingSet((88.0,)).slope_high_deg == 90.0
    assert ReadingSet((35.0,)).slope_low_deg == pytest.approx(31.0, abs=1e-12)
    assert ReadingSet((35.0,)).slope_high_deg == pytest.approx(39.0, abs=1e-12)


def test_percent_and_degrees_are_told_apart() -> None:
    mixed = parse_readings(["34deg", "100%"])
    assert mixed.units == ("degrees", "percent")
    assert mixed.mixed_units
    assert mixed.readings_deg == pytest.approx((34.0, 45.0), abs=1e-12)
    assert not parse_readings(["34", "35deg"]).mixed_units


def test_wild_scatter_widens_the_uncertainty() -> None:
    wild = ReadingSet((20.0, 34.0, 48.0))
    assert wild.scatter_deg == pytest.approx(14.0, abs=1e-12)
    assert wild.scattered
    expected_deg = math.hypot(2.0, 2.0 * 14.0 / math.sqrt(3.0))
    assert wild.uncertainty_95_deg == pytest.approx(expected_deg, abs=1e-12)
    assert not ReadingSet((34.0, 36.0)).scattered


def test_identical_readings_do_not_pretend_to_be_exact() -> None:
    same = ReadingSet((34.0, 34.0, 34.0, 34.0))
    assert same.scatter_deg == 0.0
    assert same.uncertainty_95_deg == pytest.approx(math.sqrt(7.0), abs=1e-12)


@pytest.mark.parametrize("count", [2, 3, 5, 10])
def test_scatter_is_believed_from_its_99_percent_point(count: int) -> None:
    # Exact chi-squared from scipy; the cube-root form is within 1 % in standard deviation.
    limit_deg = math.sqrt(3.0) * math.sqrt(stats.chi2.ppf(0.99, count - 1) / (count - 1))
    shape = np.linspace(-1.0, 1.0, count)
    shape /= np.std(shape, ddof=1)
    for factor, expected in ((0.99, False), (1.01, True)):
        values = tuple((40.0 + factor * limit_deg * shape).tolist())
        assert ReadingSet(values).scattered is expected


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: ReadingSet(()),
            "At least one reading should be given; got none. Write it like 34deg.",
        ),
        (
            lambda: ReadingSet((34.0, 91.0)),
            "A reading should lie between 0 and 90 degrees; got 91. Check value and scale.",
        ),
        (
            lambda: ReadingSet((math.nan,)),
            "A reading should lie between 0 and 90 degrees; got nan. Check value and scale.",
        ),
        (
            lambda: ReadingSet((34.0,), error_95_deg=0.0),
            "The error of a reading should be above 0 and at most 45 degrees; got 0. "
            "Give the 95 % error of one reading, like 4deg.",
        ),
        (
            lambda: ReadingSet((34.0,), units=("mil",)),
            "Units should be 'degrees' or 'percent', one for each of 1 readings; got ('mil',). "
            "Leave them out for degrees.",
        ),
        (
            lambda: parse_readings(["-34deg"]),
            "A slope should lie between 0 and 90 degrees; got '-34deg'. Check value and unit.",
        ),
    ],
)
def test_what_is_no_reading_is_refused(make: object, message: str) -> None:
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        make()  # type: ignore[operator]


@given(st.lists(slopes, min_size=1, max_size=6), st.lists(slopes, max_size=6))
def test_ends_enclose_the_mean_and_the_shared_error_stays(up: list[float], down: list[float]) -> None:
    readings = ReadingSet(tuple(up), tuple(down))
    assert 0.0 <= readings.slope_low_deg <= readings.mean_deg + 1e-9
    assert readings.mean_deg - 1e-9 <= readings.slope_high_deg <= 90.0
    assert readings.uncertainty_95_deg >= 2.0
    assert readings.effective_count <= readings.count + 1e-9


@pytest.mark.parametrize("count", [1, 2, 4])
def test_intervals_hold_95_percent_of_simulated_readings(count: int) -> None:
    """100 000 cases with a shared bias: standard deviations 1 shared, sqrt(3) for each."""
    random = np.random.default_rng(20 + count)
    cases = 100_000
    true_deg = random.uniform(10.0, 70.0, cases)
    bias_deg = random.normal(0.0, 1.0, cases)
    read_deg = true_deg + bias_deg + random.normal(0.0, math.sqrt(3.0), (count, cases))
    sets = [ReadingSet(tuple(values)) for values in np.clip(read_deg, 0.0, 90.0).T.tolist()]
    held = [
        one.slope_low_deg <= true <= one.slope_high_deg
        for one, true in zip(sets, true_deg.tolist(), strict=True)
    ]
    assert 0.93 <= float(np.mean(held)) <= 0.97


def test_paired_sights_with_an_index_error_hold_at_least_95_percent() -> None:
    """Up and down: the shared bias turns sign and cancels, so the interval is generous."""
    random = np.random.default_rng(7)
    cases = 20_000
    true_deg = random.uniform(10.0, 70.0, cases)
    index_deg = random.normal(0.0, 1.0, cases)
    up = true_deg + index_deg + random.normal(0.0, math.sqrt(3.0), cases)
    down = true_deg - index_deg + random.normal(0.0, math.sqrt(3.0), cases)
    held = []
    for one_up, one_down, true in zip(up.tolist(), down.tolist(), true_deg.tolist(), strict=True):
        readings = ReadingSet((one_up,), (one_down,))
        held.append(readings.slope_low_deg <= true <= readings.slope_high_deg)
    assert float(np.mean(held)) >= 0.95


def test_of_readings_that_scatter_the_steepest_leads() -> None:
    apart, near = ReadingSet((34.0, 32.0, 6.0)), ReadingSet((34.0, 32.0, 33.0))
    assert (apart.scattered, apart.leading_deg) == (True, 34.0)
    assert (near.scattered, near.leading_deg) == (False, near.mean_deg)


def test_of_sights_both_ways_further_apart_than_an_index_explains_the_steepest_leads() -> None:
    apart, near = ReadingSet((0.0,), (33.0, 33.0)), ReadingSet((37.0,), (29.0,))
    assert (apart.both_ways_apart, apart.leading_deg, apart.mean_deg) == (True, 33.0, 16.5)
    # U = sqrt(2^2 + 12 / n + 16.5^2), n = 4 / (1/1 + 1/2).
    assert apart.uncertainty_95_deg == pytest.approx(math.sqrt(4.0 + 12.0 / (8.0 / 3.0) + 16.5**2))
    assert apart.slope_low_deg < 0.1
    assert apart.slope_high_deg > 33.0
    assert (near.both_ways_apart, near.leading_deg) == (False, 33.0)


@pytest.mark.parametrize("text", ["0.62", ".62", "1.5", " 0.62 "])
def test_a_bare_number_that_may_be_a_gradient_is_refused(text: str) -> None:
    percent = f"{100.0 * float(text):g}%"
    message = (
        f"A reading below 2 with decimals should have its unit, for it may be a gradient; got {text!r}. "
        f"Write {text.strip()}deg, or {percent}."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        parse_readings([text])


def test_whole_and_zero_and_those_with_a_unit_are_read() -> None:
    assert parse_readings(["0", "1", "0.0", "0.62deg", "2.5"]).up_deg == (0.0, 1.0, 0.0, 0.62, 2.5)
