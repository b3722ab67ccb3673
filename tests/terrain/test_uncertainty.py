"""How well a slope is known: published error propagation, intervals, what they cover."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, rice

from steybrae.terrain.gradients import METHODS, method_weights
from steybrae.terrain.jacobian import ground_gradients
from steybrae.terrain.start_zones import start_from_deg
from steybrae.terrain.uncertainty import (
    SlopeUncertainty,
    gradient_covariance,
    slope_interval_deg,
    slope_uncertainty,
)

DRAWS = 100_000
TURNED = np.array([[26.0, 11.0], [9.0, -28.0]])  # a grid turned, skewed and of uneven cells


def square(cell_m: float):
    """Jacobian of a north-up grid of square cells."""
    return np.array([[cell_m, 0.0], [0.0, -cell_m]])


def surveyed(method, jacobian, vertical_sd_m, correlation_m):
    """A stated error's share alone, without that of the cells."""
    known = slope_uncertainty(method, jacobian, vertical_sd_m, correlation_m)
    return replace(known, typical_95_deg=None, kept_share=1.0)


def slope_sd_deg(method, vertical_sd_m, cell_m, slope_deg, correlation_m):
    """First-order standard deviation of a slope: cos^2 of the slope times that of the gradient."""
    covariance = gradient_covariance(method, square(cell_m), vertical_sd_m, correlation_m)
    return math.degrees(math.cos(math.radians(slope_deg)) ** 2 * math.sqrt(covariance[0, 0]))


def noisy_gradients(method, jacobian, vertical_sd_m, correlation_m, draws=DRAWS, seed=20):
    """Errors of p and q from nine correlated heights, drawn; nothing taken from the library but weights."""
    row, col = np.mgrid[-1:2, -1:2].reshape(2, 9).astype(float)
    place = (jacobian @ np.stack((col, row))).T
    apart_m = np.linalg.norm(place[:, None, :] - place[None, :, :], axis=2)
    correlation = np.exp(-apart_m / correlation_m) if correlation_m > 0.0 else np.eye(9)
    normal = np.random.default_rng(seed).standard_normal((draws, 9))
    heights = vertical_sd_m * normal @ np.linalg.cholesky(correlation).T
    per_col, per_row = (heights @ weights.reshape(9) for weights in method_weights(method))
    return ground_gradients(jacobian, per_col, per_row)


# Independent errors of standard deviation s on cells g give p and q one of sqrt(3) s / (4 g) for
# Horn, s / (sqrt(6) g) for Evans, s / (sqrt(2) g) for Zevenbergen-Thorne: derived from the weights.
@pytest.mark.parametrize(
    ("method", "share"), [("horn", 0.43301), ("evans", 0.40825), ("zevenbergen-thorne", 0.70711)]
)
def test_independent_errors(method, share):
    found = gradient_covariance(method, square(10.0), 2.0, 0.0)
    assert np.sqrt(np.diag(found)) == pytest.approx([share * 2.0 / 10.0] * 2, abs=1e-6)
    assert found[0, 1] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize(
    ("vertical_sd_m", "cell_m", "gradient_sd", "at_30_deg", "at_35_deg"),
    [
        (1.0, 5.0, 0.08660, 3.72, 3.33),
        (1.0, 10.0, 0.04330, 1.861, 1.66),
        (2.0, 10.0, 0.08660, 3.72, 3.33),
        (5.0, 25.0, 0.08660, 3.72, 3.33),
        (0.15, 1.0, 0.06495, 2.79, 2.50),
    ],
)
def test_slope_errors_by_horn(vertical_sd_m, cell_m, gradient_sd, at_30_deg, at_35_deg):
    found = gradient_covariance("horn", square(cell_m), vertical_sd_m, 0.0)
    assert math.sqrt(found[0, 0]) == pytest.approx(gradient_sd, abs=1e-5)
    assert slope_sd_deg("horn", vertical_sd_m, cell_m, 30.0, 0.0) == pytest.approx(at_30_deg, abs=0.005)
    assert slope_sd_deg("horn", vertical_sd_m, cell_m, 35.0, 0.0) == pytest.approx(at_35_deg, abs=0.005)


# Errors that fall off as exp(-d / L), 1 m on 10 m cells at 30 degrees: worked out beforehand and
# by drawing, not published.
@pytest.mark.parametrize(
    ("correlation_m", "sd_deg"), [(0.0, 1.86), (10.0, 2.07), (30.0, 1.72), (100.0, 1.09), (300.0, 0.66)]
)
def test_correlated_errors(correlation_m, sd_deg):
    assert slope_sd_deg("horn", 1.0, 10.0, 30.0, correlation_m) == pytest.approx(sd_deg, abs=0.02)


def test_drawn_slopes_spread_as_told():
    # 400 000 drawings gave 1.852 degrees about a mean of 30.035, 1 m on 10 m cells at 30 degrees.
    dp, dq = noisy_gradients("horn", square(10.0), 1.0, 0.0, 400_000)
    drawn = np.degrees(np.arctan(np.hypot(math.tan(math.radians(30.0)) + dp, dq)))
    assert drawn.std() == pytest.approx(1.852, abs=0.01)
    assert drawn.mean() == pytest.approx(30.035, abs=0.01)


@pytest.mark.parametrize("jacobian", [square(10.0), TURNED], ids=["square", "turned"])
@pytest.mark.parametrize("correlation_m", [0.0, 15.0, 100.0])
@pytest.mark.parametrize("method", METHODS)
def test_covariance_is_that_of_drawn_errors(method, correlation_m, jacobian):
    drawn = np.cov(*noisy_gradients(method, jacobian, 1.5, correlation_m))
    found = gradient_covariance(method, jacobian, 1.5, correlation_m)
    # Standard error of a drawn variance: sqrt(2 / draws), 0.45 %; four of them.
    np.testing.assert_allclose(found, drawn, atol=0.018 * np.trace(found) / 2.0)


@pytest.mark.parametrize("method", METHODS)
def test_without_a_correlation_length_the_worst_is_taken(method):
    worst = np.trace(gradient_covariance(method, square(10.0), 1.0, None))
    lengths = [0.0, *np.linspace(0.5, 300.0, 400)]
    trials = [np.trace(gradient_covariance(method, square(10.0), 1.0, length)) for length in lengths]
    assert max(trials) * 0.99 < worst <= max(trials) * (1.0 + 1e-3)


@given(
    slope=st.floats(0.5, 80.0),
    facing=st.floats(0.0, 360.0),
    sd=st.floats(0.05, 5.0),
    length=st.sampled_from([None, 0.0, 20.0, 200.0]),
)
def test_ends_of_a_stated_interval(slope, facing, sd, length):
    known = surveyed("horn", TURNED, sd, length)
    m = math.tan(math.radians(slope))
    u = np.array([math.sin(math.radians(facing)), math.cos(math.radians(facing))])
    spread = 2.0 * math.sqrt(u @ gradient_covariance("horn", TURNED, sd, length) @ u)
    low, high = slope_interval_deg(*(-m * u), known)
    assert low == pytest.approx(math.degrees(math.atan(max(m - spread, 0.0))), abs=1e-9)
    assert high == pytest.approx(math.degrees(math.atan(m + spread)), abs=1e-9)
    assert 0.0 <= low < slope < high < 90.0


def test_ends_in_numbers():
    # 1 m on 10 m cells: the gradient's standard deviation is 0.0433013, doubled 0.0866025.
    known = surveyed("horn", square(10.0), 1.0, 0.0)
    low, high = slope_interval_deg(math.tan(math.radians(35.0)), 0.0, known)
    assert low == pytest.approx(math.degrees(math.atan(0.7002075 - 0.0866025)), abs=1e-5)
    assert high == pytest.approx(math.degrees(math.atan(0.7002075 + 0.0866025)), abs=1e-5)
    assert high - 35.0 < 35.0 - low  # formed in gradient, so lopsided in degrees


def test_ends_on_level_and_on_unknown_ground():
    known = surveyed("horn", TURNED, 1.0, 0.0)
    variances = np.diag(gradient_covariance("horn", TURNED, 1.0, 0.0))
    low, high = slope_interval_deg(np.array([0.0, np.nan]), np.array([0.0, 0.3]), known)
    assert low[0] == 0.0
    assert high[0] == pytest.approx(math.degrees(math.atan(2.0 * math.sqrt(variances.max()))), abs=1e-9)
    assert np.isnan([low[1], high[1]]).all()


def test_ends_of_typical_intervals():
    m = math.tan(math.radians(30.0))
    spread = math.radians(8.0) * (1.0 + m * m)
    low, high = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(10.0)))
    assert low == pytest.approx(math.degrees(math.atan(m - spread)), abs=1e-9)
    assert high == pytest.approx(math.degrees(math.atan(m + spread)), abs=1e-9)
    low30, high30 = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(30.0)))
    assert low30 == low
    assert high30 == pytest.approx(math.degrees(math.atan(m / (2.0 / math.pi) + spread)), abs=1e-9)


def test_no_basis_gives_no_ends():
    low, high = slope_interval_deg(np.array([0.3, 0.0]), 0.4, slope_uncertainty("horn", square(2.0)))
    assert np.isnan(low).all()
    assert np.isnan(high).all()
    assert low.shape == high.shape == (2,)


@pytest.mark.parametrize("correlation_m", [0.0, 100.0])
@pytest.mark.parametrize("slope", [10.0, 20.0, 30.0, 35.0, 45.0])
@pytest.mark.parametrize("method", METHODS)
def test_95_percent_intervals_hold_95_percent_of_noisy_cases(method, slope, correlation_m):
    known = surveyed(method, square(10.0), 1.0, correlation_m)
    dp, dq = noisy_gradients(method, square(10.0), 1.0, correlation_m)
    facing, m = math.radians(33.0), math.tan(math.radians(slope))
    low, high = slope_interval_deg(-m * math.sin(facing) + dp, -m * math.cos(facing) + dq, known)
    held = ((low <= slope) & (slope <= high)).mean()
    print(f"{method}, L = {correlation_m:g} m, {slope:g} degrees: held {100 * held:.2f} %")
    assert 0.93 <= held <= 0.97


# A noisy gradient on a plane follows Rice's law where the errors of p and q are independent and
# alike, as on square cells; the ends are that gradient and a constant, so that every share below
# is known exactly. Counts must lie within bounds passed by chance once in a million.
@pytest.mark.parametrize("correlation_m", [0.0, 100.0])
@pytest.mark.parametrize("true_deg", [28.0, 35.0])
def test_what_is_said_of_noisy_planes_about_35_degrees(true_deg, correlation_m):
    known = surveyed("horn", square(10.0), 1.0, correlation_m)
    dp, dq = noisy_gradients("horn", square(10.0), 1.0, correlation_m, seed=35)
    m, edge = math.tan(math.radians(true_deg)), math.tan(math.radians(35.0))
    p, q = m + dp, dq
    central = np.degrees(np.arctan(np.hypot(p, q)))
    _, high = slope_interval_deg(p, q, known)
    sd = math.sqrt(gradient_covariance("horn", square(10.0), 1.0, correlation_m)[0, 0])
    for name, said, threshold in (("value", central, edge), ("high end", high, edge - 2.0 * sd)):
        expected = float(rice.sf(threshold / sd, m / sd))
        count = int((said >= 35.0).sum())
        print(
            f"true {true_deg:g}, L = {correlation_m:g} m: {name} reaches 35 in {100 * count / DRAWS:.3f} %, "
            f"expected {100 * expected:.3f} %"
        )
        least, most = binom.ppf([5e-7, 1 - 5e-7], DRAWS, expected)
        assert least <= count <= most


TYPICAL_WORDS = (
    "95 % interval of 8 degrees, twice the published standard deviation of a 10 m model's slope "
    "(3 to 4 degrees, Haneberg 2006); no error of this model was stated."
)
FLATTENED_WORDS = (
    "95 % interval of 8 degrees (published for 10 m cells, Haneberg 2006) and above it the flattening by "
    "{cell} m cells of relief of 120 m wavelength, which keep {kept} % of its gradient; no error of this "
    "model was stated."
)
CELLS_WORDS = (
    ", and 8 degrees, twice the published standard deviation of a 10 m model's slope "
    "(3 to 4 degrees, Haneberg 2006)."
)
OPEN_WORDS = 'No upper end is known for {cell} m cells: read every steepness as "at least".'
NONE_WORDS = (
    "No uncertainty is known for {cell} m cells without a stated vertical error (--vertical-error): "
    'read every steepness as "at least".'
)


@pytest.mark.parametrize(
    ("cell_m", "basis", "words", "kept"),
    [
        (1.0, "none", NONE_WORDS.format(cell="1.0"), 1.0),
        (4.9, "none", NONE_WORDS.format(cell="4.9"), 1.0),
        (5.0, "typical", TYPICAL_WORDS, 1.0),
        (15.0, "typical", TYPICAL_WORDS, 1.0),
        (15.1, "typical, flattened", FLATTENED_WORDS.format(cell=15, kept=90), 0.89902),
        (30.0, "typical, flattened", FLATTENED_WORDS.format(cell=30, kept=64), 2.0 / math.pi),
        (40.0, "typical, flattened", FLATTENED_WORDS.format(cell=40, kept=41), 0.41350),
        (41.0, "none", OPEN_WORDS.format(cell="41.0"), 1.0),
    ],
)
def test_basis_by_cell_size(cell_m, basis, words, kept):
    found = slope_uncertainty("horn", square(cell_m))
    assert found.basis == basis
    assert found.words == words
    assert found.kept_share == pytest.approx(kept, abs=1e-5)
    assert found.typical_95_deg == (None if basis == "none" else 8.0)
    assert found.covariance is None


@pytest.mark.parametrize(
    ("nominal_m", "basis"), [(5.0, "typical"), (15.0, "typical"), (40.0, "typical, flattened")]
)
@pytest.mark.parametrize("scale", [0.9996, 1.0, 1.001])
def test_the_scale_of_a_projection_does_not_change_the_basis(nominal_m, basis, scale):
    assert slope_uncertainty("horn", square(nominal_m / scale)).basis == basis


def test_the_longer_side_of_a_cell_decides():
    assert slope_uncertainty("horn", np.diag([8.0, -16.0])).basis == "typical, flattened"
    assert slope_uncertainty("horn", np.diag([4.0, -8.0])).basis == "typical"


@pytest.mark.parametrize("slope", [0.0, 5.0, 30.0, 50.0])
def test_a_stated_error_adds_to_what_30_m_cells_flatten(slope):
    m = math.tan(math.radians(slope))
    low0, high0 = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(30.0)))
    low1, high1 = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(30.0), 1.0))
    low5, high5 = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(30.0), 5.0, 0.0))
    assert low5 <= low1 <= low0
    assert high0 < high1 < high5
    # By hand: 5 m on 30 m cells is 2 * 0.0721688 in gradient, beside 8 degrees.
    spread = math.hypot(2.0 * 0.0721688, math.radians(8.0) * (1.0 + m * m))
    assert high5 == pytest.approx(math.degrees(math.atan(m * math.pi / 2.0 + spread)), abs=1e-4)
    assert low5 == pytest.approx(math.degrees(math.atan(max(m - spread, 0.0))), abs=1e-4)


@pytest.mark.parametrize("vertical_sd_m", [0.1, 1.0, 20.0])
def test_a_stated_error_leaves_large_cells_open_above(vertical_sd_m):
    known = slope_uncertainty("horn", square(62.0), vertical_sd_m, 100.0)
    assert known.open_above
    assert known.words.endswith('No upper end is known for 62.0 m cells: read every steepness as "at least".')
    assert np.isnan(slope_interval_deg([0.0, 0.9], 0.0, known)).all()
    assert not slope_uncertainty("horn", square(40.0), vertical_sd_m, 100.0).open_above


@pytest.mark.parametrize("cell_m", [10.0, 30.0, 62.0])
def test_more_stated_error_never_takes_start_zones_away(cell_m):
    errors = (None, 1e-3, 0.5, 2.0, 8.0)
    found = [start_from_deg(slope_uncertainty("horn", square(cell_m), error)) for error in errors]
    assert found == sorted(found, reverse=True)
    assert found[0] < 26.0


@pytest.mark.parametrize(
    ("correlation_m", "length"), [(None, "worst correlation length"), (100.0, "correlation length 100 m")]
)
@pytest.mark.parametrize("cell_m", [1.0, 10.0, 90.0])
def test_a_stated_error_is_told_at_every_cell_size_beside_that_of_the_cells(cell_m, correlation_m, length):
    found = slope_uncertainty("horn", square(cell_m), 2.5, correlation_m)
    words = f"95 % interval from the stated vertical error of 2.5 m (1 SD), {length}"
    typical = None if cell_m == 1.0 else 8.0
    words += "." if typical is None else CELLS_WORDS
    words += "" if cell_m < 90.0 else " " + OPEN_WORDS.format(cell="90.0")
    kept = 0.0 if cell_m == 90.0 else 1.0
    assert found == SlopeUncertainty("stated", words, typical, found.covariance, kept)
    covariance = gradient_covariance("horn", square(cell_m), 2.5, correlation_m)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-12)
