"""Which places are worth a reading, and between which readings nothing differs."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.card.checks import leg_checks, limits
from steybrae.card.wording import limits_text, look_text
from steybrae.field.agreement import Origin, Reference, compare
from steybrae.route.compass.magnetic import declination
from steybrae.route.overhead.result import ExpectedReading
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot
from steybrae.screening import RouteScreening
from steybrae.screening.result import LegScreening, Position

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


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(None, None, "not known"), (30.0, None, "28.5° to unknown"), (None, 38.0, "unknown to 40.0°")],
)
def test_ends_not_known(low: float | None, high: float | None, words: str, leg: LegScreening) -> None:
    # hypot(4, 5) = 6.403 below 35: 28.597, shown 28.5; hypot(4, 3) = 5 above: 40.
    reading = replace(leg.expected_readings[0], expected_deg=35.0, low_deg=low, high_deg=high)
    (check,) = leg_checks(replace(leg, expected_readings=(reading,)), DAY, "bng")
    assert limits_text(check) == words
    assert check.result_inside == "cannot tell"
    assert check.would_notice_deg is None


def test_a_card_adds_no_check_of_its_own(leg: LegScreening) -> None:
    # The leg is 33 degrees on the line and steeper beside it: only the screening, which has the
    # model, can tell where one may stand.
    steep = replace(beside(leg, 58.0, 0.0003), expected_readings=())
    assert leg_checks(steep, DAY, "bng") == ()


def beside(leg: LegScreening, slope_deg: float, east_deg: float) -> LegScreening:
    """Put the steepest place of the corridor a little north or south of the line's middle."""
    middle = len(leg.points.chainage_m) // 2
    at = Position(
        float(leg.points.lat_deg[middle]) + east_deg,
        float(leg.points.lon_deg[middle]),
        float(leg.points.chainage_m[middle]),
    )
    return replace(leg, slope_corridor_max_deg=slope_deg, slope_corridor_max_at=at)


@pytest.mark.parametrize(("north_deg", "side"), [(0.0003, "right"), (-0.0003, "left")])
def test_a_check_beside_the_line(leg: LegScreening, north_deg: float, side: str) -> None:
    # The leg goes west (278.6 true): north of it is right. 0.0003 degrees of latitude are 33.4 m;
    # across the line 33.4 * sin(278.6) = 33.0 m.
    on_line = leg.expected_readings[0]
    spot = Spot(on_line.place.lat_deg + north_deg, on_line.place.lon_deg, None)
    off = replace(on_line, name="3b", place=spot, look_bearing_true_deg=None, low_deg=None, high_deg=None)
    checks = leg_checks(replace(leg, expected_readings=(on_line, off)), DAY, "bng")
    assert [check.number for check in checks] == ["3a", "3b"]
    found = checks[1]
    assert found.side == side
    assert found.off_line_m == pytest.approx(33.0, abs=0.1)
    east_deg = declination(Place(found.lat_deg, found.lon_deg), 0.0, DAY).declination_deg
    towards = (0.0 if north_deg > 0.0 else 180.0) - east_deg
    assert found.towards_bearing_magnetic_deg == pytest.approx(towards % 360.0, abs=0.01)
    assert (found.look_bearing_magnetic_deg, look_text(found)) == (None, "steepest way")
    assert (found.consistent_low_deg, found.consistent_high_deg) == (None, None)


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
