"""Values as typed, converted and rounded."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import QuantityError
from steybrae.quantities import (
    FOOT_M,
    INCH_MM,
    US_SURVEY_FOOT_M,
    angle_to_gradient,
    gradient_to_angle,
    one_in_text,
    parse_counted,
    parse_ground_area_m2,
    parse_ground_length_m,
    parse_paper_length_mm,
    parse_percent_or_deg,
    parse_scale,
    parse_slope_deg,
    round_down,
    round_up,
    shown_slope_deg,
)

SLOPES = st.floats(0.0, 90.0)


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


# US Army FM 3-25.26, chapter 6: 6400 mils to the circle; percent by US Army subcourse EN5622.
@pytest.mark.parametrize(
    ("slope_deg", "mil", "percent", "run"),
    [
        (30.0, 533.3, 57.74, 1.732),
        (35.0, 622.2, 70.02, 1.428),
        (40.0, 711.1, 83.91, 1.192),
        (45.0, 800, 100, 1),
    ],
)
def test_conversions_agree_with_the_handbooks(
    slope_deg: float, mil: float, percent: float, run: float
) -> None:
    assert parse_slope_deg(f"{mil}mil") == pytest.approx(slope_deg, abs=0.05 / 17.78)
    assert parse_slope_deg(f"{percent}%") == pytest.approx(slope_deg, abs=0.003)
    assert parse_slope_deg(f"1in{run}") == pytest.approx(slope_deg, abs=0.02)
    assert 100.0 * angle_to_gradient(slope_deg) == pytest.approx(percent, abs=0.005)


def test_percent_of_slope_example_of_the_engineer_subcourse() -> None:
    # US Army subcourse EN5622, figure 1-2: 100 m over 1000 m is 10 %, which is 5.711 degrees.
    assert gradient_to_angle(100.0 / 1000.0) == pytest.approx(5.711, abs=0.001)


def test_degrees_and_percent_are_far_apart() -> None:
    assert parse_slope_deg("30%") == pytest.approx(16.699, abs=0.001)
    assert parse_slope_deg("30") == 30.0


@pytest.mark.parametrize(
    ("text", "slope_deg"),
    [
        ("34deg", 34.0),
        (" 34 ° ", 34.0),
        ("34", 34.0),
        ("100%", 45.0),
        ("100 percent", 45.0),
        ("1in1", 45.0),
        ("1 IN 1.0", 45.0),
        ("1in0", 90.0),
        ("800mil", 45.0),
        ("0", 0.0),
        ("9e1deg", 90.0),
    ],
)
def test_slopes_as_typed(text: str, slope_deg: float) -> None:
    assert parse_slope_deg(text) == pytest.approx(slope_deg, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "steep",
            "A slope should look like 34deg, 62%, 1in2 or 600mil; got 'steep'. Give a number and its unit.",
        ),
        (
            "nan",
            "A slope should look like 34deg, 62%, 1in2 or 600mil; got 'nan'. Give a number and its unit.",
        ),
        ("", "A slope should look like 34deg, 62%, 1in2 or 600mil; got ''. Give a number and its unit."),
        ("3rad", "A slope takes deg, %, mil or '1in n'; got the unit 'rad' in '3rad'. Write it like 34deg."),
        ("-1", "A slope should lie between 0 and 90 degrees; got '-1'. Check value and unit."),
        ("90.1", "A slope should lie between 0 and 90 degrees; got '90.1'. Check value and unit."),
        ("1e999", "A slope should be a finite number; got '1e999'. Give a smaller value."),
    ],
)
def test_slopes_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_slope_deg(text)


def test_the_scale_read_is_remembered() -> None:
    assert parse_percent_or_deg("100%") == (pytest.approx(45.0), "percent")
    assert parse_percent_or_deg("45deg") == (45.0, "degrees")


@pytest.mark.parametrize(
    ("text", "length_m"),
    [
        ("10m", 10.0),
        ("1.2km", 1200.0),
        ("40ft", 40 * FOOT_M),
        ("40 usft", 40 * US_SURVEY_FOOT_M),
        ("10 M", 10.0),
    ],
)
def test_ground_lengths(text: str, length_m: float) -> None:
    assert parse_ground_length_m(text) == length_m


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("10", "A contour interval takes m, km, ft or usft; got no unit in '10'. Write it like 10m."),
        (
            "10mm",
            "A contour interval takes m, km, ft or usft; got the unit 'mm' in '10mm'. Write it like 10m.",
        ),
        ("0m", "A contour interval should be above 0 and of a likely size; got '0m'. Check value and unit."),
        (
            "-5m",
            "A contour interval should be above 0 and of a likely size; got '-5m'. Check value and unit.",
        ),
        ("nanm", "A contour interval should look like 10m or 40ft; got 'nanm'. Give a number and its unit."),
    ],
)
def test_ground_lengths_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_ground_length_m(text, "A contour interval")


@pytest.mark.parametrize(
    ("text", "area_m2"),
    [("400m2", 400.0), ("400 m²", 400.0), ("0.04ha", 400.0), ("0m2", 0.0), ("1e6 M2", 1e6)],
)
def test_ground_areas(text: str, area_m2: float) -> None:
    assert parse_ground_area_m2(text) == area_m2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("400", "An area takes m2 or ha; got no unit in '400'. Write it like 400m2."),
        ("400m", "An area takes m2 or ha; got the unit 'm' in '400m'. Write it like 400m2."),
        ("-1m2", "An area should be 0 or more and of a likely size; got '-1m2'. Check value and unit."),
        ("101ha", "An area should be 0 or more and of a likely size; got '101ha'. Check value and unit."),
        ("nan", "An area should look like 400m2; got 'nan'. Give a number and its unit."),
    ],
)
def test_ground_areas_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_ground_area_m2(text)


@pytest.mark.parametrize("text", ["4", "4km/h", "4 km/h", "4KMH", " 4.0 "])
def test_a_number_of_one_unit_is_taken_with_and_without_it(text: str) -> None:
    assert parse_counted(text, "The pace", "4km/h", ("km/h", "kmh")) == 4.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("4mph", "The pace takes km/h; got the unit 'mph' in '4mph'. Write it like 4km/h."),
        ("fast", "The pace should look like 4km/h; got 'fast'. Give a number and its unit."),
    ],
)
def test_another_unit_is_refused(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_counted(text, "The pace", "4km/h", ("km/h", "kmh"))


@pytest.mark.parametrize(("text", "length_mm"), [("2.5mm", 2.5), ("1.2cm", 12.0), ("0.1in", 0.1 * INCH_MM)])
def test_paper_lengths(text: str, length_mm: float) -> None:
    assert parse_paper_length_mm(text) == length_mm


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2.5", "A gap takes mm, cm or in; got no unit in '2.5'. Write it like 2.5mm."),
        ("2.5m", "A gap takes mm, cm or in; got the unit 'm' in '2.5m'. Write it like 2.5mm."),
        ("0mm", "A gap should be above 0 and of a likely size; got '0mm'. Check value and unit."),
        ("20000mm", "A gap should be above 0 and of a likely size; got '20000mm'. Check value and unit."),
    ],
)
def test_paper_lengths_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_paper_length_mm(text, "A gap")


def test_zero_is_taken_where_asked() -> None:
    assert parse_paper_length_mm("0mm", zero=True) == 0.0
    with pytest.raises(QuantityError, match="should be 0 or more"):
        parse_ground_length_m("-1m", zero=True)


@pytest.mark.parametrize(
    "text", ["1:25000", "25000", "1:25k", "25K", "1:25 000", "1:25,000", "1/25000", "1:25\u2009000"]
)
def test_scales(text: str) -> None:
    assert parse_scale(text) == 25_000.0
    assert parse_scale("1:2.5k") == 2_500.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1:x", "A map scale should look like 1:25000; got '1:x'. Give the denominator."),
        ("-25000", "A map scale should look like 1:25000; got '-25000'. Give the denominator."),
        ("nan", "A map scale should look like 1:25000; got 'nan'. Give the denominator."),
        ("25", "A map scale should lie between 1:100 and 1:10 000 000; got '25'. Check the denominator."),
        *(
            (
                text,
                "A map scale takes a comma only between thousands and a point only before k; "
                f"got {text!r}. Write it like 1:25000.",
            )
            # 1:250.000 was read as 1:250, and 1:2,5k as 1:25000.
            for text in ("1:25.000", "1:250.000", "1:2,5k", "1:25,00")
        ),
    ],
)
def test_scales_that_cannot_be_taken(text: str, message: str) -> None:
    with pytest.raises(QuantityError, match=exactly(message)):
        parse_scale(text)


@given(slope_deg=st.floats(0.0, 89.999))
def test_gradient_and_angle_are_inverse(slope_deg: float) -> None:
    assert gradient_to_angle(angle_to_gradient(slope_deg)) == pytest.approx(slope_deg, abs=1e-9)


def test_a_vertical_face_is_infinite() -> None:
    assert angle_to_gradient(90.0) == math.inf
    assert angle_to_gradient(-90.0) == -math.inf
    assert gradient_to_angle(math.inf) == 90.0


@given(value=st.floats(-1e4, 1e4), step=st.sampled_from([0.01, 0.1, 1.0, 5.0, 10.0]))
def test_rounding_never_flatters(value: float, step: float) -> None:
    up, down = round_up(value, step), round_down(value, step)
    slack = 1.001e-6 * step + 1e-9
    assert value - slack <= up <= value + step + 1e-9
    assert value - step - 1e-9 <= down <= value + slack
    assert up == -round_down(-value, step)


@given(slope_deg=SLOPES)
def test_a_shown_slope_is_a_whole_number_of_tenths_and_stays(slope_deg: float) -> None:
    shown = shown_slope_deg(slope_deg)
    assert shown == round(shown, 1)
    assert shown_slope_deg(shown) == shown


@given(first=SLOPES, second=SLOPES)
def test_the_steeper_is_never_shown_gentler(first: float, second: float) -> None:
    low, high = sorted((first, second))
    assert shown_slope_deg(low) <= shown_slope_deg(high)


def test_arithmetic_noise_is_not_a_tenth() -> None:
    assert shown_slope_deg(30.000000000000004) == 30.0
    assert shown_slope_deg(30.0000002) == 30.1
    assert shown_slope_deg(29.91) == 30.0


def test_arrays_are_rounded_as_floats_are() -> None:
    slopes = np.array([0.0, 29.91, 30.0, 30.01, np.nan, 90.0])
    shown = shown_slope_deg(slopes)
    np.testing.assert_array_equal(shown, [0.0, 30.0, 30.0, 30.1, np.nan, 90.0])


def test_infinity_and_nan_stay() -> None:
    assert round_up(math.inf, 1.0) == math.inf
    assert round_down(math.inf, 1.0) == math.inf
    assert math.isnan(round_up(math.nan, 1.0))


@pytest.mark.parametrize(
    ("slope_deg", "text"),
    [
        (0.0, "level"),
        (90.0, "vertical"),
        (30.0, "1 in 1.73"),
        (45.0, "1 in 1.00"),
        (5.0, "1 in 11.4"),
        (0.5, "1 in 114"),
    ],
)
def test_one_in_n_rounds_towards_the_steeper(slope_deg: float, text: str) -> None:
    assert one_in_text(slope_deg) == text
