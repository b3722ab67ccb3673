"""Values: one rounding rule, and one place for "at least" and "unknown"."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae import value as v
from steybrae.errors import QuantityError

NUMBERS = st.floats(0.0, 89.0)


@given(NUMBERS)
def test_what_must_not_flatter_never_does(number: float) -> None:
    for make in (v.slope, v.overhead, v.percent, v.climb, v.steep_length, v.minutes):
        found = make(number)
        assert found.shown is not None
        assert found.shown >= number - found.step * 1e-6
        assert found.shown < number + found.step
    for make in (v.lower, v.gentle_length, v.distance_off):
        found = make(number)
        assert found.shown is not None
        assert number - found.step < found.shown <= number + found.step * 1e-6
    for make in (v.length, v.height):
        assert make(number).shown == math.floor(number + 0.5 + 1e-6)


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (v.slope(31.21), "31.3°"),
        (v.slope(30.000000000000004), "30.0°"),
        (v.slope(31.3, at_least=True), "at least 31.3°"),
        (v.slope(None, at_least=True), "unknown"),
        (v.slope(math.nan, at_least=True), "unknown"),
        (v.kilometres(5904.9), "5.90 km"),
        (v.kilometres(5905.0), "5.91 km"),
        (v.climb(12.1, at_least=True), "at least 13 m"),
        (v.distance_off(24.9), "24 m"),
        (v.gentle_length(24.9), "24 m"),
        (v.steep_length(24.1), "25 m"),
        (v.minutes(41.2), "42 min"),
        (v.percent(12.01), "13 %"),
        (v.percent(None), "unknown"),
        (v.millimetres(2.55), "2.6 mm"),
        (v.area_km2(1.2341), "1.235 km²"),
        (v.area_km2(1.2349, gentle=True), "1.234 km²"),
        (v.area_km2(123.41), "123.5 km²"),
        (v.height(-0.4), "0 m"),
    ],
)
def test_texts(found: v.Value, text: str) -> None:
    assert found.text == text


@pytest.mark.parametrize(
    ("interval", "text"),
    [
        ((24.39, 40.41), "24.3 to 40.5°"),
        ((24.39, None), "24.3 to unknown"),
        ((None, 40.0), "not known how well"),
        ((math.nan, math.nan), "not known how well"),
        (None, "not known how well"),
    ],
)
def test_an_interval_goes_outwards(interval: tuple[float | None, float | None] | None, text: str) -> None:
    assert v.slope(30.0, interval=interval).interval_text == text


def test_unknown_sorts_as_the_steepest() -> None:
    assert max((v.slope(58.0), v.slope(None)), key=lambda one: one.order).number is None


def test_at_least_sorts_above_all_that_is_known() -> None:
    """ "at least 8.6" stood among the gentlest, where it may be the steepest of all."""
    slopes = (v.slope(58.0), v.slope(None), v.slope(8.6, at_least=True), v.slope(9.0, at_least=True))
    found = [one.text for one in sorted(slopes, key=lambda one: one.order)]
    assert found == ["58.0°", "at least 8.6°", "at least 9.0°", "unknown"]


@pytest.mark.parametrize(("deg", "text"), [(0.4, "000° true"), (359.6, "000° true"), (75.5, "076° true")])
def test_a_bearing_names_its_north(deg: float, text: str) -> None:
    assert v.bearing(deg, "true") == text
    assert v.bearing(None, "magnetic") == "unknown"
    assert v.bearing(90.0, "grid", "mil") == "1600 mil grid"
    with pytest.raises(QuantityError, match=r"^A bearing is shown in deg or mil; got 'rad'\."):
        v.bearing(90.0, "grid", "rad")


def test_where_to_look_is_by_the_compass_once_the_day_is_known() -> None:
    assert v.look_towards(10.0, None) == "010° true"
    # Magnetic north 4.3 degrees east of true north, then west of it.
    assert v.look_towards(10.0, 4.3) == "006° magnetic"
    assert v.look_towards(358.0, -4.3) == "002° magnetic"
    assert v.look_towards(None, 4.3) == "unknown"
