"""What the heights of a model tell of how they were made: formulas on made-up ground, and what they widen."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import median_filter

from steybrae.quantities import FOOT_M
from steybrae.terrain.examine.finer import WINDOW, finer_times, periods_of
from steybrae.terrain.examine.found import (
    NOTHING_FOUND,
    ModelFound,
    doubt,
    doubted_kinds,
    found_in,
    joined,
    kinds_told,
    marks_of,
    seams_in,
    whole_unit_m,
)
from steybrae.terrain.examine.marks import crowd_of, median_times, repeats_of, terrace_interval_m
from steybrae.terrain.examine.planes import GapRule, cells_apart, gap_squares, planes_of
from steybrae.terrain.model_kinds import MODEL_KINDS, survey_error
from steybrae.terrain.uncertainty import least_ends_deg, slope_uncertainty

SIDE = 256
CELL = (10.0, 10.0)


def rough_ground(seed: int, side: int = SIDE, steepness: float = 1.0) -> np.ndarray:
    """Ground whose spectrum falls as ground's does, amplitude as wavelength squared; some 27 degrees."""
    rng = np.random.default_rng(seed)
    f = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    f[0, 0] = 1.0
    ground = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((side, side))) * f**-2.0, s=(side, side))
    grade = np.hypot(*np.gradient(ground)).mean()
    return np.asarray(1000.0 + ground * (steepness * 5.0 / grade))


def between(heights: np.ndarray, times: int) -> np.ndarray:
    """Straight lines between centres, along both axes, cells lying as GDAL lays them."""
    at = (np.arange(len(heights) * times) + 0.5) / times - 0.5
    down = np.stack([np.interp(at, np.arange(len(heights)), column) for column in heights.T], axis=1)
    return np.stack([np.interp(at, np.arange(len(heights)), row) for row in down])


@pytest.mark.parametrize("seed", range(5))
def test_ground_as_it_is_shows_nothing(seed: int) -> None:
    assert found_in(marks_of(rough_ground(seed), CELL), CELL) == NOTHING_FOUND


@pytest.mark.parametrize("times", [2, 3, 4, 5, 6, 8])
def test_straight_interpolation_is_told_with_its_factor(times: int) -> None:
    made = between(rough_ground(1)[: SIDE // 2, : SIDE // 2], times)[: 2 * SIDE, : 2 * SIDE]
    found = found_in(marks_of(made, (2.0, 2.0)), (2.0, 2.0))
    assert found.kinds == ("interpolated",)
    assert found.source_cell_m == pytest.approx(2.0 * times, rel=0.03)


@pytest.mark.parametrize("times", [3, 6, 8])
@pytest.mark.parametrize("spoilt", ["noise", "decimetres"])
def test_noise_and_rounding_do_not_hide_straight_interpolation(times: int, spoilt: str) -> None:
    made = between(rough_ground(1)[: SIDE // 2, : SIDE // 2], times)[: 2 * SIDE, : 2 * SIDE]
    off = 0.1 * np.random.default_rng(2).standard_normal(made.shape)
    made = made + off if spoilt == "noise" else np.round(made, 1)
    found = found_in(marks_of(made, (2.0, 2.0)), (2.0, 2.0))
    assert found.kinds == ("interpolated",)
    assert found.source_cell_m == pytest.approx(2.0 * times, rel=0.03)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("noise_m", [0.1, 0.5, 2.0])
def test_ground_with_noise_is_not_called_made_finer(seed: int, noise_m: float) -> None:
    noisy = rough_ground(seed) + noise_m * np.random.default_rng(seed).standard_normal((SIDE, SIDE))
    assert found_in(marks_of(noisy, CELL), CELL).source_cell_m is None


def test_detail_that_ends_in_noise_is_told_without_a_line() -> None:
    """Smooth splines leave no line once there is noise, but nothing finer than six cells either."""
    f = np.hypot(np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None, :])
    smooth = np.fft.irfft2(np.fft.rfft2(rough_ground(3)) * np.exp(-((f * 6.0 / 0.35) ** 4)), s=(SIDE, SIDE))
    noise = np.random.default_rng(4).standard_normal((SIDE, SIDE))
    assert found_in(marks_of(smooth + 0.02 * noise, CELL), CELL).source_cell_m == pytest.approx(60.0, rel=0.3)


def test_waves_with_noise_are_not_called_made_finer() -> None:
    """A ridge every few cells has lines of its own, and nothing but noise beyond."""
    row, col = np.mgrid[:SIDE, :SIDE] * 30.0
    waves = 300.0 * np.sin(row / 310.0) * np.cos(col / 270.0) + 60.0 * np.sin((row + col) / 55.0)
    noisy = waves + 0.2 * np.random.default_rng(3).standard_normal((SIDE, SIDE))
    assert found_in(marks_of(noisy, CELL), CELL).source_cell_m is None


def test_one_axis_made_finer_is_told_by_the_longer_side() -> None:
    made = between(rough_ground(2)[:128, :128], 4)[::4]
    found = found_in(marks_of(made, (5.0, 5.0)), (5.0, 5.0))
    assert found.source_cell_m == pytest.approx(20.0, rel=0.03)


def drawn_through_points(heights: np.ndarray, apart: float, seed: int = 1) -> np.ndarray:
    """Heights at scattered points, so many cells apart on the mean, and plane triangles between them."""
    rng = np.random.default_rng(seed)
    side = len(heights) - 1
    at = rng.uniform(0.0, side, (round((side / apart) ** 2), 2))
    near = np.round(at).astype(int)
    cells = np.moveaxis(np.mgrid[: side + 1, : side + 1], 0, -1)
    return np.asarray(LinearNDInterpolator(at, heights[near[:, 0], near[:, 1]])(cells))


@pytest.mark.parametrize("apart", [2.3, 3.0, 4.0, 6.0, 10.0, 20.0])
@pytest.mark.parametrize("rounded_m", [None, 0.01, 0.01 * FOOT_M])
def test_ground_drawn_between_points_is_told_by_how_far_apart_they_are(
    apart: float, rounded_m: float | None
) -> None:
    made = drawn_through_points(rough_ground(1), apart)
    if rounded_m is not None:
        made = np.round(made / rounded_m) * rounded_m
    found = found_in(marks_of(made.astype(np.float32).astype(float), CELL), CELL)
    if rounded_m is not None and apart <= 3.0:
        assert found.source_cell_m is None  # rounding hides the few planes that there are
    else:
        assert set(found.kinds) - {"voids"} == {"interpolated"}
        assert found.source_cell_m == pytest.approx(10.0 * apart, rel=0.25)


@pytest.mark.parametrize("steepness", [0.05, 0.3, 1.0])
@pytest.mark.parametrize("rounded_m", [0.003, 0.01, 0.0328, 0.1, 0.5])
def test_rounding_is_not_taken_for_points(steepness: float, rounded_m: float) -> None:
    """Gentle ground in steps does not bend here and there either."""
    made = np.round(rough_ground(2, steepness=steepness) / rounded_m) * rounded_m
    assert cells_apart(planes_of(made)) == 1.0


def test_gaps_filled_here_and_there_do_not_count_for_the_whole() -> None:
    made, filled = rough_ground(1), drawn_through_points(rough_ground(1), 15.0)
    made[20:80, 30:90] = filled[20:80, 30:90]
    made[150:200, 150:190] = filled[150:200, 150:190]
    assert planes_of(made)[:, 0].max() > 0.2
    assert cells_apart(planes_of(made)) == 1.0


def test_gaps_are_the_same_in_single_and_in_double_precision() -> None:
    """Bends near the limit came out on either side of it: a raster left out other cells than a line."""
    noise = 3e-4 * np.random.default_rng(0).standard_normal((SIDE, SIDE))
    single = (drawn_through_points(rough_ground(1), 15.0) + noise).astype(np.float32)
    rule = GapRule(1e-3, 4)
    found = gap_squares(single, 1.0, 0, 0, rule)
    assert len(found) > 10
    np.testing.assert_array_equal(found, gap_squares(single.astype(float), 1.0, 0, 0, rule))


def test_lakes_and_surfaces_made_for_a_trial_are_not_drawn_between_points() -> None:
    row, col = np.mgrid[:SIDE, :SIDE] * 10.0
    assert planes_of(np.full((SIDE, SIDE), 700.0)).tolist() == [[0.0, 0.0]] * 36
    plane = planes_of(100.0 + 0.5 * row + 0.2 * col)
    assert (plane[:, 0] == 1.0).all()
    assert cells_apart(plane) == 1.0
    assert cells_apart(planes_of(np.minimum(0.5 * row, 900.0 + 0.2 * col))) == 1.0


def within_turned_square(heights: np.ndarray, share: float = 0.86, turned: float = 0.05) -> np.ndarray:
    """Unknown outside of a smaller square that is turned, as the edges of a model from degrees lie."""
    side = len(heights)
    row, col = np.mgrid[:side, :side] - (side - 1) / 2.0
    across, down = col + turned * row, row - turned * col
    return np.where(np.maximum(abs(across), abs(down)) < share * side / 2.0, heights, np.nan)


@pytest.mark.parametrize("times", [2, 3, 4, 6])
@pytest.mark.parametrize("seed", [1, 2])
def test_voids_at_the_sides_hide_no_interpolation(times: int, seed: int) -> None:
    """No window of 128 cells is known from end to end: nothing was found."""
    coarse = rough_ground(seed)[: 140 // times + 1, : 140 // times + 1]
    voids = within_turned_square(between(coarse, times)[:140, :140])
    assert np.isfinite(voids).sum(axis=1).max() < WINDOW
    found = found_in(marks_of(voids, CELL), CELL)
    assert found.kinds == ("interpolated", "voids")
    assert found.source_cell_m == pytest.approx(10.0 * times, rel=0.05)
    assert found_in(marks_of(within_turned_square(rough_ground(seed)[:140, :140]), CELL), CELL).kinds == (
        "voids",
    )


@pytest.mark.parametrize("side", [72, 90, 120])
@pytest.mark.parametrize("times", [2, 3, 4, 6])
def test_half_a_window_tells_interpolation(side: int, times: int) -> None:
    coarse = rough_ground(1)[: side // times + 1, : side // times + 1]
    found = found_in(marks_of(between(coarse, times)[:side, :side], CELL), CELL)
    assert found.kinds == ("interpolated",)
    assert found.source_cell_m == pytest.approx(10.0 * times, rel=0.05)


@pytest.mark.parametrize("side", [72, 90, 120])
def test_small_pieces_of_ground_are_not_called_made_finer(side: int) -> None:
    for seed in range(5):
        assert found_in(marks_of(rough_ground(seed)[:side, :side], CELL), CELL).source_cell_m is None


@pytest.mark.parametrize("rounded_m", [0.01, 0.1, 1.0, 3.0])
def test_heights_the_same_by_rounding_or_water_are_no_median(rounded_m: float) -> None:
    for seed in range(4):
        ground = np.round(rough_ground(seed, steepness=1.5) / rounded_m) * rounded_m
        assert median_times(repeats_of(ground, CELL)) == 1.0
        fjord = np.maximum(ground, np.median(ground))
        assert median_times(repeats_of(fjord, CELL)) == 1.0
        told_of = median_times(repeats_of(median_filter(ground, 7), CELL)) > 1.0
        assert told_of == (rounded_m < 1.0)  # whole metres hide it on cells of 10 m
    assert median_times(repeats_of(np.tile(8.0 * np.arange(SIDE), (SIDE, 1)), CELL)) == 1.0


def test_blocks_too_small_for_half_a_window_tell_nothing() -> None:
    made = between(rough_ground(1)[:15, :15], 4)
    for runs in (False, True):
        assert periods_of(made, runs=runs).windows == 0
        assert finer_times(periods_of(made, runs=runs)) == 1.0


@pytest.mark.parametrize(("unit", "rounded"), [(1.0, 1.0), (FOOT_M, FOOT_M), (2.0, 2.0)])
def test_whole_units_are_told_with_their_step(unit: float, rounded: float) -> None:
    made = np.round(rough_ground(3) / unit) * unit
    found = found_in(marks_of(made, CELL), CELL)
    assert "whole units" in found.kinds
    assert found.rounded_m == pytest.approx(rounded)


def test_a_few_mended_heights_leave_whole_units() -> None:
    made = np.round(rough_ground(3))
    made.ravel()[::500] += 0.37
    assert whole_unit_m(marks_of(made, CELL)) == 1.0
    made.ravel()[::100] += 0.37
    assert whole_unit_m(marks_of(made, CELL)) is None


@pytest.mark.parametrize("interval", [10.0, 20.0, 25.0, 50.0, 40 * FOOT_M])
def test_contours_are_told_with_their_interval(interval: float) -> None:
    ground = rough_ground(4)
    # Flatter at the height of each contour, by three fifths, steeper between.
    made = ground - 0.6 * interval / (2.0 * math.pi) * np.sin(2.0 * math.pi * ground / interval)
    assert terrace_interval_m(crowd_of(made)) == pytest.approx(interval)
    found = found_in(marks_of(made, CELL), CELL)
    assert found.kinds == ("terraced",)


def test_bends_that_crowd_at_an_interval_of_no_map_are_chance() -> None:
    """Banded rock in a gully, 18.4 m apart: "the model was drawn from contours" stood over laser heights."""
    count, weight = crowd_of(rough_ground(4))
    at_m = 0.25 * np.arange(len(count))
    for interval, found in ((18.4, None), (20.0, 20.0)):
        swell = 1.0 + 0.25 * np.cos(2.0 * math.pi * at_m / interval)
        assert terrace_interval_m(np.array([count, weight * swell])) == found


def test_steps_of_whole_contours_are_terraces_and_no_rounding() -> None:
    found = found_in(marks_of(np.floor(rough_ground(4) / 20.0) * 20.0, CELL), CELL)
    assert (found.contours_m, found.rounded_m) == (20.0, None)
    assert "terraced" in found.kinds
    assert "whole units" not in found.kinds


@pytest.mark.parametrize("turned", [False, True])
def test_stripes_and_seams_are_told_apart_along_both_axes(turned: bool) -> None:
    ground = rough_ground(5)
    off = np.random.default_rng(0).standard_normal(SIDE)[None, :]
    step = 3.0 * (np.arange(SIDE) >= 100)[None, :]
    striped, seamed = (ground + one for one in (off, step))
    if turned:
        striped, seamed = striped.T, seamed.T
    found = found_in(marks_of(striped, CELL), CELL)
    assert found.kinds == ("striped",)
    # One of ten steps a decade, whichever blocks told it.
    assert (10.0 * math.log10(found.striped_m)) % 1.0 in (pytest.approx(0.0, abs=1e-9), pytest.approx(1.0))
    marks = marks_of(seamed, CELL)
    assert found_in(marks, CELL).kinds == ("seam",)
    (seam,) = seams_in(marks)
    assert (seam.axis, seam.at) == ("row" if turned else "column", 99)
    assert seam.step_m == pytest.approx(3.0, abs=0.5)


def test_a_seam_in_one_block_of_many_is_found() -> None:
    seamed = rough_ground(6) + 4.0 * (np.arange(SIDE) >= 31)[None, :]
    blocks = [marks_of(rough_ground(seed), CELL) for seed in range(4)]
    assert found_in(joined([*blocks, marks_of(seamed, CELL)]), CELL).kinds == ("seam",)


@pytest.mark.parametrize("height", [40.0, -40.0])
def test_spikes_and_pits_are_counted(height: float) -> None:
    ground = rough_ground(7)
    ground[20, 30] += height
    ground[200, 99] += height
    marks = marks_of(ground, CELL)
    assert marks.spikes == 2
    assert found_in(marks, CELL).kinds == ("spikes",)


def test_feet_taken_for_metres_are_doubted_and_steep_ground_is_not() -> None:
    assert "unit doubtful" in found_in(marks_of(rough_ground(8) / FOOT_M, CELL), CELL).kinds
    assert found_in(marks_of(rough_ground(8, steepness=1.4), CELL), CELL).kinds == ()


def test_a_small_piece_may_be_as_steep_as_it_likes() -> None:
    cell = (2.0, 2.0)
    assert found_in(marks_of(rough_ground(8, steepness=0.6), cell), cell).kinds == ()


def test_holes_are_voids_and_hide_nothing_else() -> None:
    ground = np.round(rough_ground(9))
    ground[40:60, 50:90] = np.nan
    found = found_in(marks_of(ground, CELL), CELL, same_share=0.01)
    assert found.kinds == ("whole units", "flat fill", "voids")


def test_nothing_but_voids_is_told_of_few_heights() -> None:
    few = np.full((SIDE, SIDE), np.nan)
    few[:90, :90] = np.round(rough_ground(1)[:90, :90])
    assert found_in(marks_of(few, CELL), CELL) == ModelFound(("voids",))


# What is found only ever widens, whatever was stated; a kind that it bears out is taken at its word.
sizes = st.sampled_from([1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0])
found_models = st.builds(
    ModelFound,
    st.just(()),
    st.none() | st.floats(2.0, 90.0),
    st.none() | st.floats(5.0, 100.0),
    st.none() | st.floats(0.1, 4.0),
    st.none() | st.floats(0.05, 5.0),
)


@example(20.0, ModelFound((), 25.0), "glo-30", None, 0.0, 0.0)
@given(
    sizes,
    found_models,
    st.none() | st.sampled_from(MODEL_KINDS),
    st.none() | st.floats(0.1, 10.0),
    st.floats(0.0, 80.0),
    st.floats(0.0, 15.0),
)
def test_what_is_found_never_narrows(cell_m, found, kind, sd_m, slope_deg, rough_deg) -> None:
    jacobian = np.array([[cell_m, 0.0], [0.0, -cell_m]])
    looked = slope_uncertainty("horn", jacobian, sd_m, None, kind, found=found)
    if kind and sd_m is None and doubt(kind, NOTHING_FOUND, cell_m) and not doubt(kind, found, cell_m):
        own = survey_error(cell_m, kind)
        bare = slope_uncertainty("horn", jacobian, own.sd_m, own.correlation_m)
    else:
        bare = slope_uncertainty("horn", jacobian, sd_m, None, kind)
    (low, high), (wide_low, wide_high) = (least_ends_deg(slope_deg, one, rough_deg) for one in (bare, looked))
    assert wide_low <= low + 1e-9
    assert wide_high >= high - 1e-9
    assert looked.open_above or not bare.open_above


def test_cells_made_finer_are_reckoned_by_those_before() -> None:
    fine, coarse = (np.array([[one, 0.0], [0.0, -one]]) for one in (5.0, 30.0))
    found = slope_uncertainty("horn", fine, 1.0, 50.0, found=ModelFound(("interpolated",), 30.0))
    was = slope_uncertainty("horn", coarse, 1.0, 50.0)
    assert (found.cell_m, found.finer, found.open_above) == (was.cell_m, 6.0, False)
    assert "cells of 30.0 m, where its detail ends, hide" in found.words
    beyond = slope_uncertainty("horn", fine, 1.0, 50.0, found=ModelFound(("interpolated",), 45.0))
    assert beyond.open_above


def test_a_doubted_kind_gives_way_to_the_usual_error_and_contours_lead() -> None:
    jacobian = np.array([[5.0, 0.0], [0.0, -5.0]])

    def basis(found: ModelFound) -> tuple[float, str]:
        known = slope_uncertainty("horn", jacobian, kind="lidar", found=found)
        return known.survey.sd_m, known.survey.basis

    assert basis(NOTHING_FOUND) == (0.3, "kind")
    assert basis(ModelFound(("whole units",), rounded_m=1.0)) == (1.5, "usual")
    assert basis(ModelFound(("interpolated",), 30.0)) == (8.0, "usual")
    assert basis(ModelFound(("terraced",), contours_m=10.0)) == (6.0, "found")
    assert basis(ModelFound(("terraced",), contours_m=40.0)) == (12.0, "found")


@pytest.mark.parametrize(
    ("found", "cell_m", "doubted"),
    [
        (NOTHING_FOUND, 5.0, {"glo-30", "aw3d-30", "srtm-30", "radar-30m"}),
        (NOTHING_FOUND, 30.0, set()),
        (ModelFound(rounded_m=1.0), 30.0, {"lidar", "glo-30"}),
        (ModelFound(source_cell_m=30.0), 5.0, {"lidar"}),
        (ModelFound(source_cell_m=10.0), 5.0, {"glo-30", "aw3d-30", "srtm-30", "radar-30m"}),
        (ModelFound(contours_m=20.0), 10.0, set(MODEL_KINDS) - {"contours"}),
    ],
)
def test_kinds_that_the_heights_speak_against(found: ModelFound, cell_m: float, doubted: set[str]) -> None:
    assert set(doubted_kinds(found, cell_m)) == doubted
    for kind in MODEL_KINDS:
        told = kinds_told(found, kind, cell_m)
        assert ("kind doubted" in told) == (kind in doubted), kind
        assert bool(doubt(kind, found, cell_m)) == (kind in doubted)
    assert kinds_told(found, None, cell_m) == found.kinds
