"""Walking times: each rule at its published figures and edges, factors, breaks, words."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import QuantityError, RouteError
from steybrae.route.walking import (
    METHODS,
    Allowances,
    Segment,
    langmuir_min,
    leg_min,
    naismith_min,
    swiss_min,
    swiss_min_per_km,
    time_words,
    tobler_kmh,
    tobler_min,
)

lengths_m = st.floats(1.0, 5000.0)
heights_m = st.floats(0.0, 500.0)


def _down(descent_m: float, slope_deg: float) -> Segment:
    return Segment(descent_m / math.tan(math.radians(slope_deg)), 0.0, descent_m)


def test_naismith_of_1892():
    # 12 min a km and 10 min per 100 m: 9 * 12 + 6 * 10 = 168.
    assert naismith_min(Segment(9000.0, 600.0)) == pytest.approx(168.0, abs=1e-9)


@pytest.mark.parametrize(("flat_kmh", "min_per_km"), [(5.0, 12.0), (4.0, 15.0), (3.0, 20.0), (2.0, 30.0)])
def test_pace_on_the_flat(flat_kmh, min_per_km):
    assert naismith_min(Segment(1000.0), flat_kmh) == pytest.approx(min_per_km)
    assert leg_min([Segment(1000.0)], flat_kmh=flat_kmh) == pytest.approx(min_per_km)


@pytest.mark.parametrize(("slope_deg", "expected_min"), [(10.0, 68.0), (15.0, 88.0)])
def test_langmuir_worked(slope_deg, expected_min):
    # 4 km, 300 m up, 300 m down at 10 or 15 degrees: 48 + 30 -+ 10.
    down = _down(300.0, slope_deg)
    pieces = [Segment(4000.0 - down.length_m, 300.0), down]
    assert leg_min(pieces) == pytest.approx(expected_min)


@pytest.mark.parametrize(
    ("slope_deg", "sign"), [(4.99, 0), (5.0, -1), (8.0, -1), (12.0, -1), (12.01, 1), (60.0, 1)]
)
def test_langmuir_edges_belong_to_the_saving(slope_deg, sign):
    down = _down(30.0, slope_deg)
    assert langmuir_min(down) - naismith_min(down) == pytest.approx(sign * 1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("slope_deg", "speed_kmh"),
    [(0.0, 5.0367), (-2.8624, 6.0), (5.0, 3.7082), (-10.0, 3.8559), (20.0, 1.4090)],
)
def test_tobler_published(slope_deg, speed_kmh):
    gradient = math.tan(math.radians(slope_deg))
    assert tobler_kmh(gradient) == pytest.approx(speed_kmh, abs=1e-4)
    assert tobler_kmh(gradient, off_path=True) == pytest.approx(0.6 * speed_kmh, abs=1e-4)


def test_tobler_times():
    assert tobler_min(Segment(1000.0)) == pytest.approx(60.0 / 5.0367, abs=1e-3)
    assert leg_min([Segment(3022.0)], "tobler", off_path=True) == pytest.approx(60.0, abs=0.01)
    # A segment of no speed takes for ever rather than failing.
    cliff = leg_min([Segment(1.0, 205.0), Segment(1000.0)], "tobler")
    assert cliff == math.inf


@pytest.mark.parametrize(
    ("percent", "min_per_km"),
    [
        (-40, 36.54), (-20, 19.84), (-10, 14.21), (0, 14.271), (10, 20.00), (20, 32.33),
        (30, 48.79), (40, 66.94),
    ],
)  # fmt: skip
def test_swiss_signposts(percent, min_per_km):
    assert swiss_min_per_km(percent / 100.0) == pytest.approx(min_per_km, abs=0.01)
    assert swiss_min(Segment(2000.0, max(20.0 * percent, 0.0), max(-20.0 * percent, 0.0))) == pytest.approx(
        2.0 * min_per_km, abs=0.02
    )


def test_swiss_beyond_forty_percent():
    assert 60.0 / swiss_min_per_km(0.0) == pytest.approx(4.2, abs=0.005)
    assert swiss_min_per_km(0.5) == pytest.approx(85.0)
    assert swiss_min_per_km(-0.6) == pytest.approx(54.0)
    # 9 * 4.01 = 36.09 would be less than at 40 percent: never less.
    assert swiss_min_per_km(-0.401) == swiss_min_per_km(-0.4)


@given(st.floats(0.4, 3.0), st.floats(0.0, 1.0))
def test_swiss_never_falls_beyond_its_range(gradient, more):
    assert swiss_min_per_km(gradient + more) >= swiss_min_per_km(gradient) - 1e-9
    assert swiss_min_per_km(-gradient - more) >= swiss_min_per_km(-gradient) - 1e-9


@given(lengths_m, heights_m, heights_m, st.sampled_from(METHODS))
def test_times_are_positive_and_add_up(length_m, ascent_m, descent_m, method):
    piece = Segment(length_m, ascent_m, descent_m)
    single = leg_min([piece], method)
    assert single > 0.0
    double = leg_min([piece, piece], method)
    assert double == pytest.approx(2.0 * single)


@given(lengths_m, heights_m, st.floats(1.0, 8.0))
def test_langmuir_is_never_negative(length_m, descent_m, flat_kmh):
    assert langmuir_min(Segment(length_m, 0.0, descent_m), flat_kmh) > 0.0


def test_allowances_are_worked_and_named():
    allowances = Allowances(snow_factor=1.5, load_factor=1.2, breaks_min_per_hour=10.0, breaks_min=15.0)
    found = leg_min([Segment(5000.0, 300.0)], allowances=allowances)
    # 60 + 30 = 90 min; times 1.5 and 1.2 = 162; breaks 162 / 6 + 15 = 42; in all 204.
    assert found == pytest.approx(204.0)
    assert time_words("langmuir", allowances, flat_kmh=5.0, off_path=False) == (
        "Times by Naismith with Langmuir's corrections, 5 km/h on the flat.",
        "Times 1.5 for snow.",
        "Times 1.2 for load.",
        "Breaks: 10 minutes for each hour walked and 15 minutes besides.",
    )


def test_what_is_not_added_is_named():
    assert time_words("swiss", Allowances(), flat_kmh=5.0, off_path=False) == (
        "Times by the Swiss signpost rule.",
        "No time added for snow, load, breaks.",
    )


def test_no_segments_take_no_time():
    assert leg_min([]) == 0.0
    assert leg_min([Segment(0.0)], "swiss") == 0.0


@pytest.mark.parametrize(
    ("sizes", "shown"),
    [
        ((-1.0, 0.0, 0.0), "-1, 0 and 0"),
        ((0.0, 5.0, 0.0), "0, 5 and 0"),
        ((100.0, math.nan, 0.0), "100, nan and 0"),
    ],
)
def test_segments_that_cannot_be_walked(sizes, shown):
    with pytest.raises(RouteError) as caught:
        Segment(*sizes)
    assert str(caught.value) == (
        "A segment should have a length above 0 m, and ascent and descent of 0 m or more; got "
        f"{shown} m. Check them."
    )


@pytest.mark.parametrize("name", ["snow", "load"])
def test_factors_that_flatter_are_refused(name):
    with pytest.raises(QuantityError) as caught:
        Allowances(**{f"{name}_factor": 0.9})
    assert str(caught.value) == (
        f"The {name} factor should lie between 1 and 10; got 0.9. Give how many times longer the walk takes."
    )


def test_other_refusals():
    with pytest.raises(QuantityError) as caught:
        Allowances(breaks_min_per_hour=90.0)
    assert str(caught.value) == (
        "Breaks should be 0 to 60 minutes for each hour walked and 0 to 1440 minutes besides; got 90 and 0. "
        "Check the unit."
    )
    with pytest.raises(QuantityError) as caught:
        leg_min([], "guess")
    assert str(caught.value) == (
        "A rule for walking time should be one of langmuir, naismith, tobler, swiss; got 'guess'. Choose one."
    )
    with pytest.raises(QuantityError) as caught:
        leg_min([], flat_kmh=50.0)
    assert str(caught.value) == "A pace on the flat should be 1 to 8 km/h; got 50. Check the unit."


@pytest.mark.parametrize("name", ["breaks_min_per_hour", "breaks_min"])
def test_no_break_is_negative_and_shortens_a_walk(name: str) -> None:
    with pytest.raises(QuantityError, match=r"^Breaks should be 0 to 60 minutes"):
        Allowances(**{name: -0.1})
    most = {"breaks_min_per_hour": 60.0, "breaks_min": 1440.0}[name]
    assert getattr(Allowances(**{name: most}), name) == most
    with pytest.raises(QuantityError, match=r"^Breaks should be 0 to 60 minutes"):
        Allowances(**{name: most + 0.1})
