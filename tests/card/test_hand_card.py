"""A card of three legs, every figure worked out by hand in the comments.

The place is 57.117 N 3.643 W on the National Grid, the day 1 January 2027. There
    C  = -1.380 (grid north lies west of true north),
    D  = -0.601 (so does magnetic north, WMM2025),
    GM = D - C = +0.779 (yet magnetic north lies *east* of grid north): the sign trap.
The grid's scale there: k = F0 (1 + dE^2 / 2R^2) = 0.9996012717 (1 + 99500^2 / (2 * 6.38e6^2))
  = 0.9996012717 * 1.00012161 = 0.99972284, so 500 m on the grid are 500 / k = 500.139 m on OSGB36.
Metres of WGS 84 are 20.49 parts in a million longer (scale of the seven-parameter shift), and its
ellipsoid lies some 50 m lower, 50 / 6.38e6 = 7.8 parts: 500.139 - 0.014 = 500.125 m.
"""

from __future__ import annotations

import datetime as dt

import pytest

from steybrae.card import CardSettings, RouteCard, make_card
from steybrae.card.wording import (
    check_sentence,
    climb_text,
    distance_texts,
    elevation_text,
    minutes_text,
    totals_lines,
)
from steybrae.route.daylight import daylight, parse_clock
from steybrae.route.positions.places import Place
from steybrae.route.walking import Allowances
from steybrae.screening import RouteScreening

DAY = dt.date(2027, 1, 1)
K = 0.9996012717 * (1.0 + 99_500.0**2 / (2.0 * 6.38e6**2)) * (1.0 + 20.49e-6 + 50.0 / 6.38e6)


@pytest.fixture(scope="module")
def card(by_hand: RouteScreening) -> RouteCard:
    settings = CardSettings(
        date=DAY,
        grid="bng",
        scale=25_000.0,
        paces_per_100m=60.0,
        start=parse_clock("09:00", DAY, "Europe/London"),
        zone="Europe/London",
        allowances=Allowances(snow_factor=1.5, breaks_min_per_hour=10.0),
    )
    return make_card(by_hand, settings)


def test_bearings(card: RouteCard) -> None:
    # Grid 100, 190, 280 by construction. true = grid + C = grid - 1.380:
    #   98.620, 188.620, 278.620. magnetic = true - D = true + 0.601 = 99.221, 189.221, 279.221;
    #   or magnetic = grid - GM = 100 - 0.779 = 99.221. Back: + 180 = 279.221, 9.221, 99.221.
    for leg, grid_deg in zip(card.legs, (100.0, 190.0, 280.0), strict=True):
        assert leg.bearing_grid_deg == pytest.approx(grid_deg, abs=0.002)
        assert leg.bearing_true_deg == pytest.approx(grid_deg - 1.380, abs=0.02)
        assert leg.bearing_magnetic_deg == pytest.approx(grid_deg - 0.779, abs=0.02)
        assert leg.back_bearing_magnetic_deg == pytest.approx((grid_deg - 0.779 + 180.0) % 360.0, abs=0.02)
        assert leg.convergence_deg == pytest.approx(-1.380, abs=0.02)
        assert leg.declination_deg == pytest.approx(-0.601, abs=0.02)
        assert leg.grid_magnetic_deg == pytest.approx(0.779, abs=0.02)
        assert leg.declination_deg - leg.convergence_deg == pytest.approx(leg.grid_magnetic_deg, abs=1e-9)


def test_compass_words(card: RouteCard) -> None:
    # 100.0 - 0.8 = 99.2, to the nearest degree 99.
    assert card.legs[0].compass == (
        "With a declination scale: set it to 0.8 degrees east and set 100° from the grid.",
        "Without: 100.0 - 0.8 = 99.2, set 099° magnetic.",
    )
    # sigma_D there is about 0.42, so 0.9 at k = 2, rounded up.
    assert card.norths.sentences == (
        "Magnetic north is 0.8 degrees east of grid north on this sheet.",
        "From grid to magnetic subtract 0.8 degrees, from magnetic to grid add 0.8 degrees.",
        "Magnetic north is 0.6 degrees west of true north, give or take 0.9 degrees in 95 of 100 cases "
        "(WMM2025).",
    )


def test_a_map_without_a_grid_has_its_north_told_once(by_hand: RouteScreening) -> None:
    """The declination had stood twice, without and with what it may be wrong by."""
    card = make_card(by_hand, CardSettings(date=DAY))
    assert card.norths.sentences == (
        "Magnetic north is 0.6 degrees west of true north, give or take 0.9 degrees in 95 of 100 cases "
        "(WMM2025).",
        "From true to magnetic add 0.6 degrees, from magnetic to true subtract 0.6 degrees.",
        "No grid was chosen: on a map whose grid lines are not true north, give --grid.",
    )


def test_distances(card: RouteCard) -> None:
    # On the ground 500.125, 1000.249, 1200.299 m. On the map at 1:25 000:
    # 500.125 * 1000 / 25000 = 20.005, 40.010, 48.012 mm.
    # Along the slope hypot(1000.249, 200) = 1020.048, hypot(1200.299, 180) = 1213.720 m.
    # Paces at 60 to 100 m: 500.125 * 0.6 = 300.07, 612.03, 728.23.
    expected = ((500.0, 500.125), (1000.0, 1020.048), (1200.0, 1213.720))
    for leg, (grid_m, slope_m) in zip(card.legs, expected, strict=True):
        assert leg.length_m == pytest.approx(grid_m / K, abs=0.002)
        assert leg.map_mm == pytest.approx(grid_m / K / 25.0, abs=1e-4)
        assert leg.slope_distance_m == pytest.approx(slope_m, abs=0.002)
        assert leg.paces == pytest.approx(slope_m * 0.6, abs=0.002)
        assert not leg.bends
    assert [distance_texts(leg) for leg in card.legs] == [
        ("500 m", "20 mm, 300 paces"),
        ("1000 m", "40 mm, 612 paces"),
        ("1200 m", "48 mm, 728 paces"),
    ]
    assert [elevation_text(leg) for leg in card.legs] == [
        "at 600 m; along slope 500 m",
        "at 800 m; along slope 1020 m",
        "at 620 m; along slope 1214 m",
    ]
    assert [climb_text(leg) for leg in card.legs] == ["+0 -0 m", "+200 -0 m", "+0 -180 m"]


def test_times(card: RouteCard) -> None:
    # Naismith 12 min a km and 10 min per 100 m up; Langmuir 10 min less per 300 m down at 5 to 12
    # degrees: atan(180 / 1200.299) = 8.53 degrees. Snow 1.5, rest 10 min for each hour walked: times 1.75.
    #   1: 500.125 * 0.012            =  6.00150 min * 1.75 = 10.5026 min
    #   2: 1000.249 * 0.012 + 20      = 32.00299 min * 1.75 = 56.0052 min
    #   3: 1200.299 * 0.012 - 180/30  =  8.40359 min * 1.75 = 14.7063 min
    # In all 81.214 min, shown 1 h 22. From 09:00: 09:10:30 shown 09:11, 10:06:31 shown 10:07,
    # 10:21:13 shown 10:22.
    assert [leg.time_min for leg in card.legs] == pytest.approx([10.5026, 56.0052, 14.7063], abs=2e-4)
    assert [minutes_text(leg.time_min) for leg in card.legs] == ["11 min", "57 min", "15 min"]
    assert [leg.arrival_text for leg in card.legs] == ["09:11 GMT", "10:07 GMT", "10:22 GMT"]
    assert card.totals.time_min == pytest.approx(81.2141, abs=4e-4)
    assert not card.totals.time_at_least
    assert card.time_words == (
        "Times by Naismith with Langmuir's corrections, 5 km/h on the flat.",
        "Times 1.5 for snow.",
        "Breaks: 10 minutes for each hour walked.",
        "No time added for load.",
    )


def test_daylight(card: RouteCard) -> None:
    # What is left is the earliest sunset of a turn point less arrival; shown rounded down.
    turns = [card.legs[0].from_place, *(leg.to_place for leg in card.legs)]
    sunsets = [daylight(Place(at.lat_deg, at.lon_deg), DAY, "Europe/London").sunset for at in turns]
    sunset = min(filter(None, sunsets))
    for leg in card.legs:
        assert leg.arrival is not None
        left_min = (sunset - dt.datetime.fromisoformat(leg.arrival)).total_seconds() / 60.0
        assert leg.daylight_left_min == pytest.approx(left_min, abs=1e-3)
        assert leg.daylight_text == f"{int(left_min) // 60} h {int(left_min) % 60:02d} min before sunset"


def test_the_check_on_the_third_leg(card: RouteCard) -> None:
    # Ground of 33 degrees (25 to 40) that faces true east: look uphill towards 270 true,
    # 270 - D = 270.601 magnetic. A reading errs by 4 degrees. Below: hypot(4, 33 - 25) = 8.944,
    # so 33 - 8.944 = 24.056, shown 24.0; above: hypot(4, 40 - 33) = 8.062, 41.062, shown 41.1.
    # Both are more than a band of 5 degrees and less than two: a reading between them is weak.
    assert [len(leg.checks) for leg in card.legs] == [0, 0, 1]
    (check,) = card.legs[2].checks
    assert (check.number, check.what) == ("3a", "steepest at and round the line, up the fall line")
    assert check.look_bearing_true_deg == pytest.approx(270.0, abs=1e-9)
    assert check.look_bearing_magnetic_deg == pytest.approx(270.601, abs=0.02)
    assert check.expected_deg == check.steeper_above_deg == 33.0
    assert check.consistent_low_deg == pytest.approx(33.0 - 8.94427, abs=1e-4)
    assert check.consistent_high_deg == pytest.approx(33.0 + 8.06226, abs=1e-4)
    assert check.result_inside == "consistent, weakly"
    assert check_sentence(check) == (
        "3a: steepest at and round the line, up the fall line, 600 m along the leg. Look along 271° "
        "magnetic; expect 33.0°; no difference: 24.1° to 41.0° (a reading there is consistent, weakly), but "
        "above 33.0° treat as steeper."
    )


def test_totals(card: RouteCard) -> None:
    # 500.125 + 1000.249 + 1200.299 = 2700.673 m.
    assert card.totals.length_m == pytest.approx(2700.673, abs=0.004)
    assert (card.totals.ascent_m, card.totals.descent_m) == (200.0, 180.0)
    assert totals_lines(card)[:3] == ("3 legs, 2.70 km", "up 200 m, down 180 m", "1 h 22 in all")
    assert totals_lines(card)[3].startswith("arrive 10:22 GMT, 5 h ")
    assert totals_lines(card)[4:] == (
        "steepest on the line 33.0° (leg 3)",
        "steepest in the corridor 0.0° (leg 1)",
        # Col lies 87 + 985 = 1072 m south, in the cell with its middle at 1075; the outermost cells of the
        # model, which reaches 2000 m, have no slope: 2000 - 10 - 1075.
        "overhead none in sight at 18° and more within 3 km, of which all is known only to 915 m",
    )


def test_references_are_cut_off_not_rounded(card: RouteCard) -> None:
    # 300500, 803500 lies in the square J of N, 0.500 and 3.500 km from its corner:
    # NJ 0050 0350; the ford lies 492.404 m east and 86.824 m south of it:
    # 300992.404, 803413.176, cut to 10 m NJ 0099 0341.
    assert card.legs[0].from_place.reference == "NJ 0050 0350"
    assert card.legs[0].to_place.reference == "NJ 0099 0341"
