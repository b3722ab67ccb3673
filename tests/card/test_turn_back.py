"""Latest times: to walk on, to turn round, and that they are the card's own times."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import SamplePlan
from tests.sheets.pdf_lines import words

from steybrae.card import CardSettings, card_between, make_card
from steybrae.card.result import CardLeg
from steybrae.card.times import (
    ends_apart_m,
    latest_at_leg,
    latest_in_rows,
    latest_words,
    leg_pieces,
    turned_round,
    with_latest,
)
from steybrae.card.wording import totals_lines
from steybrae.pages.report.told import home_rows
from steybrae.route.daylight import daylight, parse_clock, shown_clock
from steybrae.route.positions.places import Place
from steybrae.route.walking import Allowances, Segment, leg_min
from steybrae.sheets.card_page import card_pdf

DAY = dt.date(2027, 1, 15)
ZONE = "Europe/London"
START = parse_clock("08:30", DAY, ZONE)
DOWN = parse_clock("15:00", DAY, ZONE)


def when(iso: str | None) -> dt.datetime:
    assert iso is not None
    return dt.datetime.fromisoformat(iso)


def test_a_piece_turned_round() -> None:
    up, down = Segment(50.0, ascent_m=10.0), Segment(60.0, descent_m=5.0)
    assert turned_round((up, down)) == (Segment(60.0, ascent_m=5.0), Segment(50.0, descent_m=10.0))
    assert turned_round(turned_round((up, down))) == (up, down)


def test_down_by_a_stated_hour(sample_plan: SamplePlan) -> None:
    settings = CardSettings(DAY, start=START, zone=ZONE, down_by=DOWN)
    card = make_card(sample_plan.screening, settings)
    minutes = [leg.time_min or math.nan for leg in card.legs]
    back = [leg_min(turned_round(leg_pieces(leg.points).segments)) for leg in sample_plan.screening.legs]
    spare = (DOWN - when(card.legs[-1].arrival)).total_seconds()
    for k, leg in enumerate(card.legs):
        assert (DOWN - when(leg.walk_on_by)).total_seconds() / 60.0 == pytest.approx(
            sum(minutes[k + 1 :]), abs=1e-4
        )
        assert (DOWN - when(leg.turn_back_by)).total_seconds() / 60.0 == pytest.approx(
            sum(back[: k + 1]), abs=1e-4
        )
        # Who keeps the card's times has at every turning point as much to spare as at the end.
        assert (when(leg.walk_on_by) - when(leg.arrival)).total_seconds() == pytest.approx(spare, abs=0.01)
    assert when(card.legs[-1].walk_on_by) == DOWN
    assert (card.down_by, card.down_by_is) == (DOWN.isoformat(), "stated")


def test_words_round_down_to_the_minute(sample_plan: SamplePlan) -> None:
    card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE, down_by=DOWN))
    words = latest_words(card)
    assert words.startswith("To be down by 15:00 GMT (stated), be at the end of each leg no later ")
    for leg in card.legs[:-1]:
        said = f" {leg.number}: {when(leg.walk_on_by):%H:%M} ({when(leg.turn_back_by):%H:%M})"
        assert said in words
    assert " earlier still. Leg 1: " in words
    assert f" {card.legs[-1].number}: " not in words


def test_who_ends_elsewhere_is_not_down(sample_plan: SamplePlan) -> None:
    """A line that ends on the top said "to be down by", beside a report whose line ends there."""
    card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE, down_by=DOWN))
    up = dataclasses.replace(card, legs=card.legs[:10])
    assert latest_words(up).startswith("To be at the end of the line by 15:00 GMT (stated), be at ")
    # Who goes back from there leaves by then; what the last leg has was told on the phone alone.
    end = up.legs[-1]
    assert latest_words(up).endswith(f" 10: {when(end.walk_on_by):%H:%M} ({when(end.turn_back_by):%H:%M}).")
    # None of these legs has unknown ground.
    assert "earlier still" not in latest_words(up)


def test_a_leg_says_its_own(sample_plan: SamplePlan) -> None:
    card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE, down_by=DOWN))
    leg = card.legs[3]
    on, home = (f"{when(iso):%H:%M}" for iso in (leg.walk_on_by, leg.turn_back_by))
    assert latest_at_leg(card, leg) == f"Latest there {on} to walk on, {home} to turn round"
    assert latest_at_leg(card, dataclasses.replace(leg, walk_on_by=None)) == ""


def test_on_paper_they_stand_in_the_rows_where_none_needs_its_date(
    sample_plan: SamplePlan, tmp_path: Path
) -> None:
    """Eighteen pairs of times in one paragraph: who stood at a turning point had to look for his."""
    usual = CardSettings(DAY, start=START, zone=ZONE, down_by=DOWN)
    slow = dataclasses.replace(usual, allowances=Allowances(snow_factor=5.0), down_by=None)
    card, late = (make_card(sample_plan.screening, chosen) for chosen in (usual, slow))
    text = words(card_pdf(card), tmp_path)
    assert (
        "be at the end of each leg no later than the last time of its row to walk on (in brackets: " in text
    )
    assert "time | at | by" in text
    for leg in card.legs[:-1]:
        said = f"{when(leg.walk_on_by):%H:%M} ({when(leg.turn_back_by):%H:%M})"
        assert latest_in_rows(card)[leg.number] == said
        assert text.count(said) == 1
    assert card.legs[-1].number not in latest_in_rows(card)
    # An hour of the evening before has no room there.
    assert latest_in_rows(late) == {}
    text = words(card_pdf(late), tmp_path)
    assert "17:45 on 2027-01-14 (14:23); 2: " in text
    assert "; 18: 14:32 (19:08 on 2027-01-14)." in text
    assert "time | at" in text
    assert "| by" not in text


def test_a_latest_time_of_another_day_than_the_arrival_says_which(sample_plan: SamplePlan) -> None:
    """Five times the time in snow: 17:46 of the evening before stood bare beside an arrival at 11:36."""
    slow = CardSettings(DAY, start=START, zone=ZONE, allowances=Allowances(snow_factor=5.0))
    card = make_card(sample_plan.screening, slow)
    assert (when(card.legs[0].arrival).day, when(card.legs[0].walk_on_by).day) == (15, 14)
    assert " Leg 1: 17:45 on 2027-01-14 (14:23); " in latest_words(card)
    said = "Latest there 17:45 on 2027-01-14 to walk on, 14:23 to turn round"
    assert latest_at_leg(card, card.legs[0]) == said
    assert latest_at_leg(card, dataclasses.replace(card.legs[0], arrival=None)) == said
    night = dataclasses.replace(slow, start=parse_clock("20:00", DAY, ZONE), allowances=Allowances())
    down = dataclasses.replace(night, down_by=parse_clock("02:00", DAY, ZONE))
    card = make_card(sample_plan.screening, down)
    said = "Latest there 21:31 to walk on, 01:38 on 2027-01-16 to turn round"
    assert latest_at_leg(card, card.legs[0]) == said
    # Bare they are of the card's day: half of them were of that of the arrival, and a tapped start moves it.
    assert " Leg 1: 21:31 (01:38 on 2027-01-16); " in latest_words(card)
    assert "; 15: 01:01 on 2027-01-16 (23:02); " in latest_words(card)
    # Who starts after sunset was told to be down by it.
    assert latest_words(make_card(sample_plan.screening, night)) == ""


def test_a_call_before_the_end_is_a_caution(sample_plan: SamplePlan) -> None:
    for clock, early in (("13:00", True), ("18:00", False)):
        overdue = parse_clock(clock, DAY, ZONE)
        card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE, overdue=overdue))
        found = [caution.text for caution in card.cautions if caution.key == "overdue_early"]
        text = (
            "The time to call, 13:00 GMT, is not after the time at the end of the line, 13:36 GMT: give a "
            "later one."
        )
        assert found == ([text] if early else [])


@pytest.mark.parametrize("start", [START, None])
def test_a_call_before_one_is_to_be_down_is_a_caution(
    sample_plan: SamplePlan, start: dt.datetime | None
) -> None:
    """Whoever kept the latest times of the card was searched for on the way."""
    for clock, early in (("14:30", True), ("15:00", True), ("15:01", False)):
        asked = CardSettings(DAY, start=start, zone=ZONE, overdue=parse_clock(clock, DAY, ZONE), down_by=DOWN)
        card = make_card(sample_plan.screening, asked)
        text = (
            f"The time to call, {clock} GMT, is not after the time to be down, 15:00 GMT: give a later one."
        )
        found = [caution.text for caution in card.cautions if caution.key == "overdue_early"]
        assert found == ([text] if early else [])


def test_an_end_later_than_when_to_be_down_is_a_caution(sample_plan: SamplePlan) -> None:
    for clock, early in (("13:00", True), ("15:00", False)):
        down = parse_clock(clock, DAY, ZONE)
        card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE, down_by=down))
        found = [caution.text for caution in card.cautions if caution.key == "down_by_early"]
        text = (
            "The time to be down, 13:00 GMT, is before the time at the end of the line, 13:36 GMT: the "
            "latest times to walk on are over before one is there."
        )
        assert found == ([text] if early else [])
        rows = dict(home_rows(sample_plan.screening, card))
        assert (text in rows["Due back"][0]) is early


def test_clock_times_past_midnight_are_of_the_next_day(sample_plan: SamplePlan) -> None:
    """A call at 05:00 for a line that ends at 03:35 was asked to be later, whatever was given."""
    start, overdue, down = (parse_clock(clock, DAY, ZONE) for clock in ("22:30", "05:00", "04:00"))
    asked = CardSettings(DAY, start=start, zone=ZONE, overdue=overdue, down_by=down)
    card = make_card(sample_plan.screening, asked)
    assert card.overdue_text == "05:00 GMT on 2027-01-16"
    assert card.down_by_text == "04:00 GMT on 2027-01-16"
    assert not {"overdue_early", "down_by_early"} & {caution.key for caution in card.cautions}
    assert when(card.legs[-1].walk_on_by) == down + dt.timedelta(days=1)
    assert any(line.startswith("arrive at least 03:36 GMT on 2027-01-16, ") for line in totals_lines(card))
    # Of a line that ends the same day a time before its start stays what it is, and is told.
    same = make_card(sample_plan.screening, dataclasses.replace(asked, start=START))
    assert (same.overdue_text, same.down_by_text) == ("05:00 GMT", "04:00 GMT")
    assert {"overdue_early", "down_by_early"} <= {caution.key for caution in same.cautions}
    # With its day it is said: a call in the night after a line that ends in the afternoon.
    night = parse_clock("2027-01-16T00:30", DAY, ZONE, dated=True)
    late = make_card(sample_plan.screening, dataclasses.replace(asked, start=START, overdue=night))
    assert late.overdue_text == "00:30 GMT on 2027-01-16"
    assert "overdue_early" not in {caution.key for caution in late.cautions}


def test_a_line_that_ends_elsewhere(sample_plan: SamplePlan) -> None:
    card = make_card(sample_plan.screening, CardSettings(DAY))
    assert ends_apart_m(card) < 500.0
    half = dataclasses.replace(card, legs=card.legs[:10])
    first, last = half.legs[0].from_place, half.legs[-1].to_place
    north = (last.lat_deg - first.lat_deg) * 111_400.0
    east = (last.lon_deg - first.lon_deg) * 111_400.0 * math.cos(math.radians(59.2))
    assert ends_apart_m(half) == pytest.approx(math.hypot(north, east), rel=5e-3)
    assert (
        ends_apart_m(dataclasses.replace(card, legs=(dataclasses.replace(card.legs[0], to_place=first),)))
        == 0.0
    )


def test_sunset_stands_where_nothing_was_stated(sample_plan: SamplePlan) -> None:
    card = make_card(sample_plan.screening, CardSettings(DAY, start=START, zone=ZONE))
    last = card.legs[-1]
    assert card.down_by_is == "sunset"
    assert last.daylight_left_min is not None
    sunset = when(last.arrival) + dt.timedelta(minutes=last.daylight_left_min)
    assert abs((when(card.down_by) - sunset).total_seconds()) < 0.01


def test_without_a_zone_there_is_no_hour(sample_plan: SamplePlan) -> None:
    card = make_card(sample_plan.screening, CardSettings(DAY))
    assert (card.down_by, card.down_by_is, card.down_by_text) == (None, None, "")
    assert {leg.walk_on_by for leg in card.legs} == {None}


def test_a_time_that_is_not_known_gives_none(sample_plan: SamplePlan) -> None:
    legs = make_card(sample_plan.screening, CardSettings(DAY)).legs[:2]
    unknown: list[CardLeg] = [legs[0], dataclasses.replace(legs[1], time_min=None)]
    assert [leg.walk_on_by for leg in with_latest(unknown, [1.0, 1.0], DOWN)] == [None, None]


def test_across_a_change_of_clocks() -> None:
    down = parse_clock("04:00", dt.date(2027, 3, 28), ZONE)  # clocks go on from 1 to 2 that night
    legs = [dataclasses.replace(leg, time_min=180.0) for leg in make_two(dt.date(2027, 3, 28))]
    found = with_latest(legs, [60.0, 60.0], down)
    assert found[0].walk_on_by == "2027-03-28T00:00:00.000+00:00"
    card = card_between(
        Place(59.21, -8.04), Place(59.22, -8.05), CardSettings(dt.date(2027, 3, 28), zone=ZONE)
    )
    card = dataclasses.replace(card, down_by=down.isoformat())
    # At the other change 01:30 comes twice.
    assert latest_at_leg(card, found[0]) == "Latest there 00:00 UTC to walk on, 03:00 to turn round"


def make_two(day: dt.date) -> tuple[CardLeg, CardLeg]:
    (leg,) = card_between(Place(59.21, -8.04), Place(59.22, -8.05), CardSettings(day)).legs
    return leg, dataclasses.replace(leg, number=2)


def test_the_light_is_the_least_along_the_line() -> None:
    """Of a day's walk north beyond 66 degrees the card had the sunset of its start."""
    south, north = Place(66.9, 15.0), Place(67.1, 15.0)
    card = card_between(south, north, CardSettings(dt.date(2027, 1, 10), zone="Europe/Oslo"))
    sunset = daylight(north, dt.date(2027, 1, 10), "Europe/Oslo").sunset
    assert sunset is not None
    assert f"sunset {shown_clock(sunset, 'early')} on" in card.daylight_words[0]


def test_a_cliff_that_a_rule_gives_no_time_for_is_said(sample_plan: SamplePlan) -> None:
    """Tobler's speed falls to nothing there: the latest times ended in an OverflowError."""
    found = sample_plan.screening
    points = found.legs[1].points
    wall = points.elevation_m + np.where(points.chainage_m < 500.0, 0.0, 400.0)
    leg = dataclasses.replace(found.legs[1], points=dataclasses.replace(points, elevation_m=wall))
    steep = dataclasses.replace(found, legs=(found.legs[0], leg, *found.legs[2:]))
    card = make_card(steep, CardSettings(DAY, start=START, zone=ZONE, method="tobler"))
    assert [leg.time_min is None for leg in card.legs[:3]] == [False, True, False]
    assert "Leg 2: too steep for a time by this rule." in card.time_words
    assert (card.legs[1].arrival, card.totals.time_min, latest_words(card)) == (None, None, "")
