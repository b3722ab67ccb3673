"""Slope from contour spacing: published values, exact ends, and what may never happen."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.bands import BandScheme
from steybrae.errors import QuantityError
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import GapResult, contour_relative_sigma, slope_from_spacing

MAPS = st.sampled_from([(10.0, 25_000.0), (10.0, 50_000.0), (20.0, 25_000.0), (12.192, 24_000.0)])
LENGTHS_MM = st.floats(0.05, 60.0)


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


def single(gap_mm: float, interval_m: float, scale: float, ruler_error_mm: float) -> GapResult:
    return slope_from_spacing(
        GapMeasurement(gap_mm), interval_m, scale, ruler_error_mm=ruler_error_mm, ruler_only=True
    )


def keys(result: GapResult) -> set[str]:
    return {caution.key for caution in result.cautions}


def test_the_equation() -> None:
    result = slope_from_spacing(GapMeasurement(12.5, 5, "gaps"), 10.0, 25_000.0)
    assert result.slope_deg == pytest.approx(math.degrees(math.atan(0.16)), abs=1e-12)
    assert result.grade_percent == pytest.approx(16.0, abs=1e-12)
    assert result.one_in == pytest.approx(6.25, abs=1e-12)
    assert (result.ground_distance_m, result.rise_m) == (312.5, 50.0)
    assert (result.band.label, result.open_above) == ("<25", False)


# Exact ends of tan = CI / (gap x S) for 0.1 mm more and less, one gap at 30 degrees.
@pytest.mark.parametrize(
    ("interval_m", "scale", "low_deg", "high_deg"),
    [(10.0, 25_000.0, 26.77, 34.01), (10.0, 50_000.0, 24.13, 39.06)],
)
def test_a_tenth_of_a_millimetre_on_one_gap(
    interval_m: float, scale: float, low_deg: float, high_deg: float
) -> None:
    gap_mm = 1000.0 * interval_m / (math.tan(math.radians(30.0)) * scale)
    result = single(gap_mm, interval_m, scale, 0.1)
    assert result.slope_deg == pytest.approx(30.0, abs=1e-9)
    assert result.slope_low_deg == pytest.approx(low_deg, abs=0.006)
    assert result.slope_high_deg == pytest.approx(high_deg, abs=0.006)


# First-order propagation, half of sin(2 slope) times the relative error: 1.43 degrees.
def test_five_gaps_and_a_fifth_of_a_millimetre() -> None:
    result = slope_from_spacing(
        GapMeasurement(3.464, 5, "gaps"), 10.0, 25_000.0, ruler_error_mm=0.2, ruler_only=True
    )
    assert result.slope_deg == pytest.approx(30.0, abs=0.002)
    assert (result.slope_high_deg - result.slope_low_deg) / 2.0 == pytest.approx(1.43, abs=0.02)
    assert result.slope_high_deg - result.slope_deg > result.slope_deg - result.slope_low_deg
    assert result.ground_distance_m == pytest.approx(86.6, abs=0.01)


# US National Map Accuracy Standards (1947) read as Gaussian, both contours apart: one sigma of a
# single gap's rise is 43 % of the interval, which is 10.7 degrees at 30; 2.1 for five gaps, 1.1 for ten.
@pytest.mark.parametrize(("gaps", "one_sigma_deg"), [(1, 10.66), (5, 2.13), (10, 1.07)])
def test_contour_heights_by_the_map_accuracy_standard(gaps: int, one_sigma_deg: float) -> None:
    half_sine = math.sin(math.radians(60.0)) / 2.0
    first_order_deg = math.degrees(half_sine * contour_relative_sigma(gaps))
    assert first_order_deg == pytest.approx(one_sigma_deg, abs=0.006)
    # The share in a result is two sigmas, for the whole rise.
    gap_mm = 400.0 / math.tan(math.radians(30.0)) / 1000.0
    measured = GapMeasurement(gap_mm * gaps, gaps, "gaps")
    shares = slope_from_spacing(measured, 10.0, 25_000.0).uncertainty_shares
    assert shares.contour_m == pytest.approx(2.0 * 4.2990, abs=0.001)
    if gaps == 10:
        assert shares.contour_deg == pytest.approx(2.0 * one_sigma_deg, abs=0.06)


def test_the_ends_join_the_two_errors_in_quadrature() -> None:
    result = slope_from_spacing(GapMeasurement(5.0, 10, "gaps"), 10.0, 25_000.0, ruler_error_mm=0.25)
    gradient = 100.0 / 125.0
    contour = 2.0 * math.sqrt(2.0) / 32.897 * gradient
    up = math.hypot(100.0 / 118.75 - gradient, contour)
    down = math.hypot(gradient - 100.0 / 131.25, contour)
    assert result.slope_high_deg == pytest.approx(math.degrees(math.atan(gradient + up)), abs=1e-9)
    assert result.slope_low_deg == pytest.approx(math.degrees(math.atan(gradient - down)), abs=1e-9)


def test_the_interval_holds_the_true_slope_19_times_in_20() -> None:
    # Errors drawn as the module says: ruler sigma 0.25 mm, each contour interval / 3.29.
    random = np.random.default_rng(20260101)
    width_mm, draws = 8.0, 3000
    rises_m = 50.0 + (random.normal(size=(draws, 2)) * 10.0 / 3.2897 * [1.0, -1.0]).sum(axis=1)
    hits = 0
    for rise_m, error_mm in zip(rises_m, random.normal(0.0, 0.25, draws), strict=True):
        result = slope_from_spacing(GapMeasurement(width_mm + error_mm, 5, "gaps"), 10.0, 25_000.0)
        true_deg = math.degrees(math.atan(rise_m / (width_mm * 25.0)))
        hits += result.slope_low_deg <= true_deg <= result.slope_high_deg
    assert 0.945 <= hits / draws <= 0.965


# "Normal scale" system of the Manual of Military Training (Moss, 1910s): 3, 6 and 12 inches to
# the mile with intervals of 20, 10 and 5 ft give one slope for one gap.
def test_one_gap_is_one_slope_on_the_normal_scales() -> None:
    mile_in = 63_360.0
    slopes = [
        single(2.0, feet * 0.3048, mile_in / inches, 0.0).slope_deg
        for inches, feet in ((3.0, 20.0), (6.0, 10.0), (12.0, 5.0))
    ]
    assert slopes[1:] == pytest.approx([slopes[0]] * 2, abs=1e-12)


# Furse (1924): a ski map marked 30 m had contours every 50 m.
def test_a_wrong_interval_hides_eleven_degrees() -> None:
    gap_mm = 1000.0 * 30.0 / (math.tan(math.radians(20.0)) * 50_000.0)
    assert single(gap_mm, 30.0, 50_000.0, 0.0).slope_deg == pytest.approx(20.0, abs=1e-9)
    assert single(gap_mm, 50.0, 50_000.0, 0.0).slope_deg == pytest.approx(31.24, abs=0.02)


# Taught by two instructor courses: six index contours in 1 cm at 1:50 000 are "30 degrees"; true
# of six gaps, not of six lines.
def test_six_index_gaps_and_six_index_lines_are_four_degrees_apart() -> None:
    result = slope_from_spacing(GapMeasurement(10.0, 6, "index", 5), 10.0, 50_000.0)
    fewer = slope_from_spacing(GapMeasurement(10.0, 5, "index", 5), 10.0, 50_000.0)
    assert result.slope_deg == pytest.approx(30.96, abs=0.01)
    assert fewer.slope_deg == pytest.approx(26.57, abs=0.01)
    assert result.traps == (
        "Lines or gaps? 7 lines make 6 index gaps. If 6 was the number of lines, the answer is 26.6°. "
        "If a line was overlooked, it is 35.0°.",
    )


def test_the_fence_post_of_thin_gaps() -> None:
    result = slope_from_spacing(GapMeasurement(12.5, 5, "gaps"), 10.0, 25_000.0, ruler_only=True)
    assert result.traps == (
        "Lines or gaps? 6 lines make 5 gaps. If 5 was the number of lines, the answer is 7.3°. "
        "If a line was overlooked, it is 10.9°.",
    )
    one = slope_from_spacing(GapMeasurement(12.5, 1, "gaps"), 10.0, 25_000.0, ruler_only=True)
    assert one.traps == ("Lines or gaps? 2 lines make 1 gap. If a line was overlooked, it is 3.7°.",)


# Instructor notes: on British 1:50 000 maps thin lines are left out from about 1 in 3, 18.43 degrees.
def test_thin_lines_may_be_missing_from_one_in_three() -> None:
    assert math.degrees(math.atan(1.0 / 3.0)) == pytest.approx(18.43, abs=0.005)
    steep = slope_from_spacing(GapMeasurement(5.0, 10, "gaps"), 10.0, 50_000.0)
    gentle = slope_from_spacing(GapMeasurement(15.0, 10, "gaps"), 10.0, 50_000.0)
    index = slope_from_spacing(GapMeasurement(5.0, 2, "index", 5), 10.0, 50_000.0)
    assert steep.traps[1] == (
        "Thin lines: some maps, British 1:50 000 ones among them, leave thin contours out on steep "
        "ground and keep every index line. Where even one is left out the slope is at least about 1 in 3 "
        "(18.4°). If one is missing here, the answer is 23.8°."
    )
    assert "thinned_lines" in keys(steep)
    for result in (gentle, index):
        assert "thinned_lines" not in keys(result)
        assert len(result.traps) == 1


def test_thin_lines_follow_the_high_end_not_the_figure() -> None:
    result = slope_from_spacing(GapMeasurement(2.0), 10.0, 25_000.0)
    assert result.slope_deg < 18.0 < result.slope_high_deg
    assert "thinned_lines" in keys(result)


@pytest.mark.parametrize(
    ("measured", "understood"),
    [
        (GapMeasurement(12.5, 5, "gaps"), "12.5 mm across 5 gaps = 2.5 mm each; 50 m up in 312 m"),
        (GapMeasurement(2.5), "2.5 mm across 1 gap = 2.5 mm each; 10 m up in 62.5 m"),
        (
            GapMeasurement(12.5, 2, "index", 5),
            "12.5 mm across 2 index gaps (10 gaps) = 1.25 mm each; 100 m up in 312 m",
        ),
        (GapMeasurement(10.0, 3, "gaps"), "10 mm across 3 gaps = 3.333 mm each; 30 m up in 250 m"),
        (
            GapMeasurement(10.0, 1, "index", 4),
            "10 mm across 1 index gap (4 gaps) = 2.5 mm each; 40 m up in 250 m",
        ),
    ],
)
def test_what_was_understood(measured: GapMeasurement, understood: str) -> None:
    result = slope_from_spacing(measured, 10.0, 25_000.0)
    assert result.understood == understood
    assert result.map_text == "Map 1:25 000, a contour every 10 m of height"


@pytest.mark.parametrize("error_mm", [0.4, 0.5, 3.0])
def test_a_gap_that_cannot_be_read_is_open_above(error_mm: float) -> None:
    result = single(0.4, 10.0, 25_000.0, error_mm)
    assert result.slope_high_deg == 90.0
    assert result.open_above
    assert result.uncertainty_shares.ruler_deg == pytest.approx(45.0, abs=1e-9)
    assert [band.label for band in result.bands_possible] == ["45-55", "55+"]
    assert {"open_above", "gap_unreadable", "single_gap"} <= keys(result)


def test_the_ruler_counts_once_over_the_whole_length() -> None:
    one = single(0.693, 10.0, 25_000.0, 0.5)
    ten = slope_from_spacing(GapMeasurement(6.93, 10, "gaps"), 10.0, 25_000.0, ruler_only=True)
    assert one.slope_high_deg > 60.0
    assert ten.slope_high_deg < 32.0


def test_leaving_the_contours_out_is_said() -> None:
    result = single(2.0, 10.0, 25_000.0, 0.5)
    assert result.uncertainty_shares.contour_m is None
    assert result.uncertainty_shares.contour_deg is None
    assert "ruler_only" in keys(result)
    assert result.basis == (
        "Ruler: half a division (common practice, no source). Contours' heights: left out, as asked."
    )


def test_own_bands() -> None:
    result = slope_from_spacing(
        GapMeasurement(4.0, 5, "gaps"), 10.0, 25_000.0, scheme=BandScheme((20.0, 28.0, 33.0))
    )
    assert result.band.label == "20-28"
    assert [band.label for band in result.bands_possible] == ["20-28", "28-33"]


@given(first=LENGTHS_MM, second=LENGTHS_MM, gaps=st.integers(1, 30), chart=MAPS)
def test_a_narrower_gap_is_never_gentler(
    first: float, second: float, gaps: int, chart: tuple[float, float]
) -> None:
    narrow, wide = (
        slope_from_spacing(GapMeasurement(length, gaps, "gaps"), *chart) for length in sorted((first, second))
    )
    assert narrow.slope_deg >= wide.slope_deg
    assert narrow.slope_high_deg >= wide.slope_high_deg - 1e-9


@given(
    length_mm=LENGTHS_MM,
    gaps=st.integers(1, 30),
    chart=MAPS,
    errors_mm=st.tuples(st.floats(0.0, 5.0), st.floats(0.0, 5.0)),
    ruler_only=st.booleans(),
)
def test_a_larger_ruler_error_never_narrows_the_interval(
    length_mm: float,
    gaps: int,
    chart: tuple[float, float],
    errors_mm: tuple[float, float],
    ruler_only: bool,
) -> None:
    measured = GapMeasurement(length_mm, gaps, "gaps")
    small, large = (
        slope_from_spacing(measured, *chart, ruler_error_mm=error_mm, ruler_only=ruler_only)
        for error_mm in sorted(errors_mm)
    )
    assert large.slope_high_deg >= small.slope_high_deg
    assert large.slope_low_deg <= small.slope_low_deg
    assert large.open_above or not small.open_above


@given(length_mm=LENGTHS_MM, gaps=st.integers(1, 30), chart=MAPS, error_mm=st.floats(0.0, 5.0))
def test_the_ends_hold_the_slope_and_the_bands_hold_the_high_end(
    length_mm: float, gaps: int, chart: tuple[float, float], error_mm: float
) -> None:
    measured = GapMeasurement(length_mm, gaps, "gaps")
    full = slope_from_spacing(measured, *chart, ruler_error_mm=error_mm)
    bare = slope_from_spacing(measured, *chart, ruler_error_mm=error_mm, ruler_only=True)
    assert 0.0 <= full.slope_low_deg <= full.slope_deg <= full.slope_high_deg <= 90.0
    assert full.slope_low_deg <= bare.slope_low_deg
    assert full.slope_high_deg >= bare.slope_high_deg
    assert full.bands_possible[0] == full.band
    assert full.bands_possible[-1] == BandScheme().band(full.slope_high_deg)
    assert full.open_above == (error_mm >= length_mm)


@pytest.mark.parametrize("across_mm", [0.0, -1.0, math.nan, math.inf, 0.001, 20_000.0])
def test_lengths_that_cannot_be_meant(across_mm: float) -> None:
    message = (
        f"The measured length should lie between 0.01 mm and 10 m; got {across_mm:g} mm. "
        "Measure on the printed sheet."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        GapMeasurement(across_mm)


@pytest.mark.parametrize(("counted", "index_every"), [(0, 1), (-3, 1), (1001, 1), (300, 5)])
def test_counts_that_cannot_be_meant(counted: int, index_every: int) -> None:
    message = (
        f"The number of gaps should lie between 1 and 1000; got {counted * index_every}. "
        "Count the spaces between lines, not the lines."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        GapMeasurement(10.0, counted, "index", index_every)


@pytest.mark.parametrize("interval_m", [0.0, -10.0, math.nan, math.inf, 1001.0])
def test_intervals_that_cannot_be_meant(interval_m: float) -> None:
    message = (
        f"A contour interval should lie between 0.1 m and 1000 m; got {interval_m:g} m. "
        "Read it in the margin of the sheet."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        slope_from_spacing(GapMeasurement(2.0), interval_m, 25_000.0)


@pytest.mark.parametrize("scale", [0.0, -25_000.0, math.nan, 99.0])
def test_scales_that_cannot_be_meant(scale: float) -> None:
    message = (
        f"A map scale should lie between 1:100 and 1:10 000 000; got 1:{scale:g}. Check the denominator."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        slope_from_spacing(GapMeasurement(2.0), 10.0, scale)


@pytest.mark.parametrize("error_mm", [-0.1, math.nan, math.inf])
def test_ruler_errors_that_cannot_be_meant(error_mm: float) -> None:
    message = (
        f"A ruler error should be 0 to 10 000 mm; got {error_mm:g} mm. Half a division, 0.5 mm, is usual."
    )
    with pytest.raises(QuantityError, match=exactly(message)):
        slope_from_spacing(GapMeasurement(2.0), 10.0, 25_000.0, ruler_error_mm=error_mm)
