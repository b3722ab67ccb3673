"""How well a slope is known: published error propagation, intervals, what they cover."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, rice

from steybrae.terrain.cell_share import line_share_deg
from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.gradients import METHODS, method_weights, plane_gradients
from steybrae.terrain.jacobian import ground_gradients
from steybrae.terrain.start_zones import start_from_deg
from steybrae.terrain.uncertainty import (
    gradient_covariance,
    gradient_spread,
    high_end_deg,
    least_ends_deg,
    line_ends_deg,
    slope_interval_deg,
    slope_uncertainty,
)

DRAWS = 100_000
TURNED = np.array([[26.0, 11.0], [9.0, -28.0]])  # a grid turned, skewed and of uneven cells


def square(cell_m: float):
    """Jacobian of a north-up grid of square cells."""
    return np.array([[cell_m, 0.0], [0.0, -cell_m]])


@pytest.fixture
def no_cells(monkeypatch):
    """The survey's share alone, without that of the cells."""
    monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))


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


@pytest.mark.usefixtures("no_cells")
@given(
    slope=st.floats(0.5, 80.0),
    facing=st.floats(0.0, 360.0),
    sd=st.floats(0.05, 5.0),
    length=st.sampled_from([None, 0.0, 20.0, 200.0]),
)
def test_ends_of_a_stated_interval(slope, facing, sd, length):
    known = slope_uncertainty("horn", TURNED, sd, length)
    m = math.tan(math.radians(slope))
    u = np.array([math.sin(math.radians(facing)), math.cos(math.radians(facing))])
    counted = length and min(length, 100.0)
    spread = 2.0 * math.sqrt(u @ gradient_covariance("horn", TURNED, sd, counted) @ u)
    low, high = slope_interval_deg(*(-m * u), known, 0.0)
    assert low == pytest.approx(math.degrees(math.atan(max(m - spread, 0.0))), abs=1e-9)
    assert high == pytest.approx(math.degrees(math.atan(m + spread)), abs=1e-9)
    assert 0.0 <= low < slope < high < 90.0


@pytest.mark.usefixtures("no_cells")
def test_ends_in_numbers():
    # 1 m on 10 m cells: the gradient's standard deviation is 0.0433013, doubled 0.0866025.
    known = slope_uncertainty("horn", square(10.0), 1.0, 0.0)
    low, high = slope_interval_deg(math.tan(math.radians(35.0)), 0.0, known, 0.0)
    assert low == pytest.approx(math.degrees(math.atan(0.7002075 - 0.0866025)), abs=1e-5)
    assert high == pytest.approx(math.degrees(math.atan(0.7002075 + 0.0866025)), abs=1e-5)
    assert high - 35.0 < 35.0 - low  # formed in gradient, so lopsided in degrees


@pytest.mark.usefixtures("no_cells")
def test_ends_on_level_and_on_unknown_ground():
    known = slope_uncertainty("horn", TURNED, 1.0, 0.0)
    variances = np.diag(gradient_covariance("horn", TURNED, 1.0, 0.0))
    low, high = slope_interval_deg(np.array([0.0, np.nan]), np.array([0.0, 0.3]), known, 0.0)
    assert low[0] == 0.0
    assert high[0] == pytest.approx(math.degrees(math.atan(2.0 * math.sqrt(variances.max()))), abs=1e-9)
    assert np.isnan([low[1], high[1]]).all()


def test_the_two_parts_add_in_quadrature_on_each_side():
    # 30 degrees on 30 m cells, roughness 4, 1 m independent: by hand.
    m = math.tan(math.radians(30.0))
    low, high = slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(30.0), 1.0, 0.0), 4.0)
    spread = 2.0 * 0.4330127 / 30.0
    survey_down, survey_up = (
        30.0 - math.degrees(math.atan(m - spread)),
        math.degrees(math.atan(m + spread)) - 30.0,
    )
    cells_down, cells_up = 0.5 + 1.7 * 1.0 + 1.3 * 4.0, 0.5 + 4.5 * 1.0 + 1.7 * 4.0
    assert low == pytest.approx(30.0 - math.hypot(survey_down, cells_down), abs=1e-4)
    assert high == pytest.approx(30.0 + math.hypot(survey_up, cells_up), abs=1e-4)


@pytest.mark.parametrize(
    ("cell_m", "up", "more_deg"),
    [
        (5.0, 0.4, 0.95),
        (10.0, 0.4, 1.9),
        (13.0, 0.85, 1.33),
        (16.0, 1.3, 0.76),
        (20.0, 1.3, 0.0),
        (30.0, 1.3, 0.0),
    ],
)
def test_a_line_takes_its_share_of_the_cells_and_the_whole_survey_error(cell_m, up, more_deg):
    m = math.tan(math.radians(30.0))
    known, exact = (slope_uncertainty("horn", square(cell_m), sd, 0.0) for sd in (1.0, 1e-9))
    (whole, cells), (line, line_cells) = (
        [np.abs(np.array(ends(0.0, -m, one, 4.0)) - 30.0) for one in (known, exact)]
        for ends in (slope_interval_deg, lambda *by: line_ends_deg(*by)[0])
    )
    assert line_cells == pytest.approx((0.45 * cells[0], up * cells[1] + more_deg), abs=1e-6)
    assert line**2 - line_cells**2 == pytest.approx(whole**2 - cells**2, abs=1e-6)


def test_coarser_cells_never_lower_the_high_end_of_a_line():
    """But for a hundredth of a degree on ground as smooth as none is."""
    for rough in (0.0, 0.5, 2.0, 8.0):
        ups = np.array([line_share_deg(30.0, rough, cell, 20.0)[1] for cell in np.linspace(1.0, 80.0, 1000)])
        assert (np.diff(ups) >= (-0.01 if rough == 0.0 else 0.0)).all()


def test_cells_made_finer_take_no_less_for_a_line_and_coarse_ones_stay_open():
    finer = slope_uncertainty("horn", square(5.0), 0.3, 20.0, found=ModelFound(source_cell_m=10.0))
    for own, line in zip(
        slope_interval_deg(0.3, 0.4, finer, 4.0), line_ends_deg(0.3, 0.4, finer, 4.0)[0], strict=True
    ):
        assert line == own
    assert np.isnan(line_ends_deg(0.3, 0.4, slope_uncertainty("horn", square(41.0)), 4.0)[0][1])


@pytest.mark.parametrize("cell_m", [1.0, 5.0, 10.0, 30.0])
def test_a_stated_error_never_takes_the_share_of_the_cells_away(cell_m):
    m = np.tan(np.radians([0.0, 5.0, 30.0, 50.0]))
    ends = [
        slope_interval_deg(0.0, -m, slope_uncertainty("horn", square(cell_m), sd, 0.0), 4.0)
        for sd in (1e-6, 0.5, 2.0, 8.0)
    ]
    for (low, high), (wider_low, wider_high) in itertools.pairwise(ends):
        assert (wider_low <= low).all()
        assert (wider_high > high).all()
    assert (ends[0][1] - np.degrees(np.arctan(m)) > 0.5).all()


def test_a_kind_or_an_error_takes_the_place_of_the_usual_worst():
    m = math.tan(math.radians(30.0))
    none, lidar, stated = (
        slope_interval_deg(0.0, -m, known, 2.5)
        for known in (
            slope_uncertainty("horn", square(10.0)),
            slope_uncertainty("horn", square(10.0), kind="lidar"),
            slope_uncertainty("horn", square(10.0), 0.3, 20.0),
        )
    )
    assert np.array(lidar) == pytest.approx(np.array(stated))
    assert none[0] < lidar[0]
    assert none[1] > lidar[1]
    assert lidar[1] - lidar[0] < 8.0
    assert none[1] - none[0] < 14.0


def test_a_stated_error_stands_though_the_heights_speak_against_the_kind_stated_with_it():
    rounded = ModelFound(rounded_m=1.0)
    doubted, both, alone = (
        slope_uncertainty("horn", square(10.0), *stated, found=rounded)
        for stated in ((None, None, "lidar"), (0.3, 20.0, "lidar"), (0.3, 20.0))
    )
    assert both.covariance == alone.covariance
    assert doubted.survey.basis == "usual"
    assert doubted.covariance[0][0] > both.covariance[0][0]


def test_unknown_roughness_gives_no_ends():
    low, high = slope_interval_deg(np.array([0.3, 0.0]), 0.4, slope_uncertainty("horn", square(10.0)), np.nan)
    assert np.isnan(low).all()
    assert np.isnan(high).all()
    assert low.shape == high.shape == (2,)


@pytest.mark.usefixtures("no_cells")
@pytest.mark.parametrize("correlation_m", [0.0, 100.0])
@pytest.mark.parametrize("slope", [10.0, 20.0, 30.0, 35.0, 45.0])
@pytest.mark.parametrize("method", METHODS)
def test_95_percent_intervals_hold_95_percent_of_noisy_cases(method, slope, correlation_m):
    known = slope_uncertainty(method, square(10.0), 1.0, correlation_m)
    dp, dq = noisy_gradients(method, square(10.0), 1.0, correlation_m)
    facing, m = math.radians(33.0), math.tan(math.radians(slope))
    low, high = slope_interval_deg(-m * math.sin(facing) + dp, -m * math.cos(facing) + dq, known, 0.0)
    held = ((low <= slope) & (slope <= high)).mean()
    print(f"{method}, L = {correlation_m:g} m, {slope:g} degrees: held {100 * held:.2f} %")
    assert 0.93 <= held <= 0.97


@pytest.mark.usefixtures("no_cells")
# A noisy gradient on a plane follows Rice's law where the errors of p and q are independent and
# alike, as on square cells; the ends are that gradient and a constant, so that every share below
# is known exactly. Counts must lie within bounds passed by chance once in a million.
@pytest.mark.parametrize("correlation_m", [0.0, 100.0])
@pytest.mark.parametrize("true_deg", [28.0, 35.0])
def test_what_is_said_of_noisy_planes_about_35_degrees(true_deg, correlation_m):
    known = slope_uncertainty("horn", square(10.0), 1.0, correlation_m)
    dp, dq = noisy_gradients("horn", square(10.0), 1.0, correlation_m, seed=35)
    m, edge = math.tan(math.radians(true_deg)), math.tan(math.radians(35.0))
    p, q = m + dp, dq
    central = np.degrees(np.arctan(np.hypot(p, q)))
    _, high = slope_interval_deg(p, q, known, 0.0)
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


@pytest.mark.parametrize(
    ("cell_m", "pieces_m"), [(1.0, 20.0), (4.0, 16.0), (5.0, 20.0), (7.0, 14.0), (10.0, 20.0), (30.0, 20.0)]
)
def test_pieces_of_ground_are_20_m_or_what_is_measured_over(cell_m, pieces_m):
    assert slope_uncertainty("horn", square(cell_m)).baseline_m == pytest.approx(pieces_m)


@pytest.mark.parametrize("scale", [0.9996, 1.0, 1.001])
def test_the_scale_of_a_projection_does_not_carry_a_model_over_an_edge(scale):
    assert slope_uncertainty("horn", square(12.0 / scale)).survey.sd_m == 1.5
    assert not slope_uncertainty("horn", square(40.0 / scale)).open_above


def test_the_longer_side_of_a_cell_decides():
    assert slope_uncertainty("horn", np.diag([8.0, -16.0])).cell_m == 16.0
    assert slope_uncertainty("horn", np.diag([62.0, -30.0])).open_above


@pytest.mark.parametrize("vertical_sd_m", [None, 0.1, 1.0, 20.0])
def test_cells_over_40_m_are_open_above_whatever_is_stated(vertical_sd_m):
    known = slope_uncertainty("horn", square(62.0), vertical_sd_m, 100.0)
    assert known.open_above
    assert known.words.endswith('No upper end is known for 62.0 m cells: read every steepness as "at least".')
    low, high = slope_interval_deg([0.0, 0.9], 0.0, known, 3.0)
    assert np.isnan(high).all()
    assert np.isfinite(low).all()
    assert not slope_uncertainty("horn", square(40.0), vertical_sd_m, 100.0).open_above


# Not below a millionth of a degree: squares of gradients of 1e-158 lose their last figures.
@given(cell=st.floats(1.0, 80.0), rough=st.floats(0.0, 15.0), slope=st.just(0.0) | st.floats(1e-6, 80.0))
def test_least_ends_are_those_of_the_worse_axis_and_never_lower_for_coarser_cells(cell, rough, slope):
    known = slope_uncertainty("horn", np.diag([cell, -1.5 * cell]), 1.0, 0.0)
    m = math.tan(math.radians(slope))
    low, high = least_ends_deg(slope, known, rough)
    ends = [slope_interval_deg(p, q, known, rough) for p, q in ((m, 0.0), (0.0, m))]
    assert low == pytest.approx(min(end[0] for end in ends), abs=1e-9)
    if not known.open_above:
        assert high == pytest.approx(max(end[1] for end in ends), abs=1e-9)
    assert 0.0 <= low <= slope <= high <= 90.0


@pytest.mark.parametrize("cell_m", [2.0, 10.0, 30.0, 60.0])
def test_the_high_end_of_whole_rasters_is_that_of_places(cell_m):
    known = slope_uncertainty("horn", np.diag([cell_m, -1.5 * cell_m]), 2.0, 50.0)
    slope, rough = (
        part.ravel() for part in np.meshgrid(np.linspace(0.0, 89.0, 90), [0.0, 3.0, 20.0, np.nan])
    )
    _, high = least_ends_deg(slope, known, rough)
    assert high_end_deg(slope, known, rough) == pytest.approx(high, abs=1e-9, nan_ok=True)
    single = high_end_deg(slope.astype(np.float32), known, rough.astype(np.float32))
    assert single.dtype == np.float32
    assert single == pytest.approx(high, abs=1e-3, nan_ok=True)


@pytest.mark.parametrize("halves", [(2, 2), (3, 5)])
@pytest.mark.parametrize("correlation_m", [0.0, 7.0, 40.0])
def test_covariance_of_a_plane_over_many_cells_is_that_of_every_pair_of_heights(halves, correlation_m):
    jacobian = np.array([[2.0, 0.4], [-0.3, -1.8]])
    cols, rows = 2 * halves[0] + 1, 2 * halves[1] + 1
    # The weight of a height is the gradient of a window that holds it alone.
    alone = np.eye(cols * rows).reshape(-1, rows, cols)
    steps = [plane_gradients(one, *halves) for one in alone]
    weights = np.array(
        [ground_gradients(jacobian, *(step[halves[1], halves[0]] for step in s)) for s in steps]
    )
    row, col = np.indices((rows, cols)).reshape(2, -1)
    place = (jacobian @ np.stack((col, row))).T
    apart_m = np.linalg.norm(place[:, None] - place[None], axis=2)
    every = np.eye(len(apart_m)) if correlation_m == 0.0 else np.exp(-apart_m / correlation_m)
    found = gradient_covariance("horn", jacobian, 1.3, correlation_m, halves)
    np.testing.assert_allclose(found, 1.3**2 * weights.T @ every @ weights, atol=1e-12)


def test_a_longer_window_takes_more_of_the_surveys_error_away():
    sizes = [
        math.sqrt(gradient_covariance("horn", square(1.0), 0.3, 2.0, (k, k))[0, 0]) for k in (1, 2, 5, 10)
    ]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] < sizes[0] / 10.0


def test_spread_across_the_fall_line_takes_the_other_variance():
    known = slope_uncertainty("horn", np.diag([10.0, -20.0]), 1.0, 0.0)
    (pp, _), (_, qq) = known.covariance
    cells = math.radians(0.5 + 1.7 * 0.5 + 1.2 * 2.0), math.radians(0.5 + 4.5 * 0.5 + 1.45 * 2.0)
    for across, variance in ((False, pp), (True, qq)):
        found = gradient_spread(0.5, 0.0, known, 2.0, across=across)
        assert found == pytest.approx(math.hypot(2.0 * math.sqrt(variance), max(cells) * 1.25), abs=1e-9)


@pytest.mark.parametrize("cell_m", [10.0, 30.0, 62.0])
def test_more_stated_error_never_takes_start_zones_away(cell_m):
    errors = (1e-3, 0.5, 2.0, 8.0)
    found = [start_from_deg(slope_uncertainty("horn", square(cell_m), error)) for error in errors]
    assert found == sorted(found, reverse=True)
    assert found[0] < 27.5


def test_the_basis_in_words():
    found = slope_uncertainty("horn", square(10.0), 2.5, 100.0)
    assert found.words == (
        "95 % interval for pieces of 20 m: what cells of 10.0 m hide, by how rough the model is there, and "
        "the stated vertical error of 2.5 m (1 SD, correlation 100 m)."
    )
    covariance = gradient_covariance("horn", square(10.0), 2.5, 100.0)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-12)


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 2.0, 5.0, 6.0])
@pytest.mark.parametrize("stated", [(0.5, None), (None, "lidar"), (None, None)])
def test_no_length_stated_below_20_m_narrows_an_interval_over_many_cells(cell_m, stated):
    """Errors stated as independent left slopes of 1 m cells good to 0.3 degrees, where 20 m leave 2.1."""

    def known(length_m):
        return slope_uncertainty("horn", square(cell_m), stated[0], length_m, stated[1])

    def width(length_m):
        return np.trace(np.array(known(length_m).covariance))

    for length_m in (0.0, 1.0, 5.0, 19.0):
        assert width(length_m) >= width(20.0)
    assert width(10.0) > width(20.0)  # what widens is taken as stated
    assert "correlation 20 m, not the 0 m stated, too short to rely on)" in known(0.0).words
    assert "too short" not in known(20.0).words


def test_independent_errors_are_as_published_over_two_cells():
    found = slope_uncertainty("horn", square(10.0), 1.0, 0.0)
    assert found.covariance[0][0] == pytest.approx(3.0 / (16.0 * 10.0**2))
    assert "(1 SD, correlation 0 m)" in found.words


@pytest.mark.parametrize("cell_m", [1.0, 5.0, 10.0, 30.0, 90.0, 400.0])
@pytest.mark.parametrize("stated", [(3.0, None), (None, "lidar"), (None, None)])
def test_no_length_stated_beyond_100_m_narrows_an_interval(cell_m, stated):
    """5000 m once left 39.7 to 43.0 degrees of 10 m cells good to 3 m, where 100 m leave 35.8 to 46.2."""

    def known(length_m):
        return slope_uncertainty("horn", square(cell_m), stated[0], length_m, stated[1])

    def width(length_m):
        return np.trace(np.array(known(length_m).covariance))

    for length_m in (101.0, 500.0, 5000.0, 1e9):
        assert width(length_m) >= width(100.0)
    assert width(100.0) < width(20.0) or cell_m > 20.0
    if cell_m < 90.0:
        assert "correlation 100 m, not the 5000 m stated, too long to rely on)" in known(5000.0).words
        assert "too long" not in known(100.0).words
