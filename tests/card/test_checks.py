"""Which places are worth a reading, and between which readings nothing differs."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.conftest import SamplePlan

from steybrae.card import CardSettings, make_card
from steybrae.card.checks import leg_checks, limits, reference_of
from steybrae.card.wording import check_sentence, limits_text, where_text
from steybrae.field.agreement import Origin, Reference, compare
from steybrae.field.limits import READING_ERROR_95_DEG
from steybrae.route.bearings import declination
from steybrae.route.overhead.result import ExpectedReading
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot
from steybrae.screening import RouteScreening
from steybrae.screening.result import LegScreening
from steybrae.value import within

DAY = dt.date(2027, 1, 1)


@pytest.fixture
def leg(by_hand: RouteScreening) -> LegScreening:
    return by_hand.legs[2]


def test_limits_by_hand() -> None:
    # hypot(4, 3) = 5 on both sides, just one band wide.
    found = limits(35.0, 32.0, 38.0)
    assert (found.low_deg, found.high_deg) == pytest.approx((30.0, 40.0), abs=1e-12)
    assert (found.would_notice_deg, found.result_inside) == (pytest.approx(5.0), "consistent")
    assert limits(35.0, 31.9, 38.0).result_inside == "consistent, weakly"
    assert limits(35.0, 24.0, 38.0).result_inside == "tells little"
    assert limits(35.0, 32.0, None).result_inside == "cannot tell"


@given(st.floats(0.0, 90.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_a_reading_differs_beyond_the_limits_only(slope: float, below: float, above: float) -> None:
    low, high = max(0.0, slope - below), min(90.0, slope + above)
    found = limits(slope, low, high)
    assert found.low_deg is not None
    assert found.high_deg is not None
    reference = Reference("elevation model", slope, low, high, Origin("model"))
    for edge, outwards in ((found.low_deg, -1.0), (found.high_deg, 1.0)):
        if 0.0 < edge < 90.0:
            assert compare(edge - 1e-6 * outwards, 4.0, reference).result != "different"
            assert compare(edge + 1e-6 * outwards, 4.0, reference).result == "different"


def printed_ends(words: str) -> list[float]:
    return [float(end) for end in re.findall(r"[\d.]+", words)]


def test_a_reading_at_a_printed_limit_never_differs(sample_plan: SamplePlan) -> None:
    """They were once rounded outwards: the reading that the card itself called the last to agree differed."""
    day = sample_plan.screening
    made = make_card(day, CardSettings(DAY, "latlon"))
    pairs = [(leg, check) for leg, own in zip(day.legs, made.legs, strict=True) for check in own.checks]
    assert len(pairs) >= 5
    for leg, check in pairs:
        reference = reference_of(check, leg, day.model)
        low, high = printed_ends(limits_text(check))
        for reading, beyond in ((low, low - 0.1), (high, high + 0.1)):
            assert compare(reading, READING_ERROR_95_DEG, reference).result != "different", check.number
            assert compare(beyond, READING_ERROR_95_DEG, reference).result == "different", check.number


@given(st.floats(0.0, 90.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
@example(35.3, 3.0, 3.0)
@example(35.0, 5e-4, 5e-4)
@example(2.0, 1.0, 1.0)
@example(88.0, 1.0, 1.0)
def test_printed_limits_agree_at_every_slope(slope: float, below: float, above: float) -> None:
    low, high = max(0.0, slope - below), min(90.0, slope + above)
    found = limits(slope, low, high)
    reference = Reference("elevation model", slope, low, high, Origin("model"))
    for reading in printed_ends(within(found.low_deg, found.high_deg)):
        assert compare(reading, READING_ERROR_95_DEG, reference).result != "different"
    assert within(0.0, 90.0) == "at least 0.0°"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(None, None, "not known"), (30.0, None, "28.6° to unknown"), (None, 37.9, "unknown to 39.9°")],
)
def test_ends_not_known(low: float | None, high: float | None, words: str, leg: LegScreening) -> None:
    # hypot(4, 5) = 6.403 below 35: 28.597, shown 28.6; hypot(4, 2.9) = 4.941 above: 39.941, shown 39.9.
    reading = replace(leg.expected_readings[0], expected_deg=35.0, low_deg=low, high_deg=high)
    (check,) = leg_checks(replace(leg, expected_readings=(reading,)), DAY, "bng")
    assert limits_text(check) == words
    assert check.result_inside == "cannot tell"
    assert check.would_notice_deg is None


def test_a_card_adds_no_check_of_its_own(leg: LegScreening) -> None:
    # The leg is 33 degrees on the line and steeper beside it: only the screening, which has the
    # model, can tell where one may stand.
    steep = replace(leg, slope_corridor_max_deg=58.0, expected_readings=())
    assert leg_checks(steep, DAY, "bng") == ()


def test_a_check_says_what_the_screening_expects(leg: LegScreening) -> None:
    at = float(leg.points.lat_deg[1]), float(leg.points.lon_deg[1])
    place, spot = Place(*at), Spot(*at, None)
    chainage_m = float(leg.points.chainage_m[1])
    what = "sight line to the steepest start zone overhead, 433 m away"
    reading = ExpectedReading("3a", 5, spot, chainage_m, 350.0, 31.0, 28.0, 34.0, what, "sight")
    (check,) = leg_checks(replace(leg, expected_readings=(reading,)), DAY, "bng")
    assert (check.number, check.what, check.quantity, check.expected_deg) == ("3a", what, "sight", 31.0)
    east_deg = declination(place, 0.0, DAY).declination_deg
    assert check.look_bearing_magnetic_deg == pytest.approx(350.0 - east_deg, abs=1e-9)
    assert (check.consistent_low_deg, check.consistent_high_deg) == pytest.approx((26.0, 36.0))
    assert check.result_inside == "consistent"
    assert (check.overhead_deg, check.overhead_at_least, check.leads) == (None, False, True)
    assert where_text(check) == f"{chainage_m:.0f} m along the leg"


@pytest.mark.parametrize(
    ("deg", "at_least", "words"),
    [
        (24.99, False, ""),
        (25.0, False, ", 25.0° overhead"),
        (31.23, True, ", at least 31.3° overhead"),
        (None, True, ", unknown overhead"),
        (None, False, ""),
    ],
)
def test_what_is_overhead_of_a_standing_place_is_told_with_it(
    leg: LegScreening, deg: float | None, at_least: bool, words: str
) -> None:
    reading = replace(
        leg.expected_readings[0], overhead_deg=deg, overhead_at_least=at_least, chainage_m=600.0
    )
    (check,) = leg_checks(replace(leg, expected_readings=(reading,)), DAY, "bng")
    assert where_text(check) == f"600 m along the leg{words}"
    assert where_text(check) in check_sentence(check)
