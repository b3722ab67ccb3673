"""Daylight against an independent formula, the polar edges, clocks, zones and arrivals."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from astral import Observer
from astral import sun as astral_sun

from steybrae.errors import DateError
from steybrae.route.daylight import (
    arrivals,
    daylight,
    daylight_along,
    daylight_left_min,
    daylight_left_words,
    parse_clock,
    parse_zone,
    shown_clock,
)
from steybrae.route.positions.places import Place

HILL = Place(57.1, -3.6)
TROMSOE = Place(69.6, 18.9)
MIDWINTER = dt.date(2027, 1, 15)
LEVEL = "For a level horizon: hills take the sun away sooner and bring it later."


def _altitude_deg(place: Place, instant: dt.datetime) -> float:
    """Altitude by the Astronomical Almanac's low-precision sun (0.01 degree, 1950-2050)."""
    epoch = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)
    days = (instant - epoch).total_seconds() / 86400.0
    mean_deg = 280.460 + 0.9856474 * days
    anomaly = math.radians(357.528 + 0.9856003 * days)
    ecliptic = math.radians(mean_deg + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2.0 * anomaly))
    tilt = math.radians(23.439 - 0.0000004 * days)
    ascension = math.atan2(math.cos(tilt) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(tilt) * math.sin(ecliptic))
    sidereal = math.radians(280.46062 + 360.98564737 * days + place.lon_deg)
    lat = math.radians(place.lat_deg)
    return math.degrees(
        math.asin(
            math.sin(lat) * math.sin(declination)
            + math.cos(lat) * math.cos(declination) * math.cos(sidereal - ascension)
        )
    )


@pytest.mark.parametrize(
    ("place", "zone"),
    [
        (HILL, "Europe/London"),
        (Place(46.8, 9.84), "Europe/Zurich"),
        (Place(0.0, 0.0), "UTC"),
        (Place(-43.6, 170.1), "Pacific/Auckland"),
        (Place(51.1, -115.4), "America/Edmonton"),
        (Place(-20.0, -179.5), "Pacific/Auckland"),
    ],
)
@pytest.mark.parametrize(
    "date", [MIDWINTER, dt.date(2027, 3, 20), dt.date(2027, 6, 21), dt.date(2027, 10, 5)]
)
def test_the_sun_agrees_with_the_almanacs_formula(place, zone, date):
    found = daylight(place, date, zone)
    # At the least the sun climbs 0.07 degree a minute here: 0.02 degree is under 20 s.
    events = ((found.dawn, -6.0), (found.sunrise, -0.833), (found.sunset, -0.833), (found.dusk, -6.0))
    for event, altitude_deg in events:
        assert _altitude_deg(place, event.astimezone(dt.UTC)) == pytest.approx(altitude_deg, abs=0.02)
    for minutes, below in ((-2, True), (2, False)):
        later = found.sunrise.astimezone(dt.UTC) + dt.timedelta(minutes=minutes)
        assert (_altitude_deg(place, later) < -0.833) is below
    assert found.dawn < found.sunrise < found.noon < found.sunset < found.dusk
    assert found.noon.date() == date
    assert found.sun == "rises"


@pytest.mark.parametrize("date", [MIDWINTER, dt.date(2027, 6, 21)])
def test_the_librarys_own_times_are_within_a_minute(date):
    found = daylight(HILL, date, "Europe/London")
    observer = Observer(HILL.lat_deg, HILL.lon_deg, 0.0)
    for name in ("dawn", "sunrise", "sunset", "dusk"):
        own = getattr(astral_sun, name)(observer, date=date, tzinfo=dt.UTC)
        assert abs(getattr(found, name) - own) < dt.timedelta(minutes=2)


def test_a_winter_day_in_words():
    found = daylight(HILL, MIDWINTER, "Europe/London")
    assert found.words == (
        "Sunrise 08:43 GMT, sunset 16:05 GMT on 2027-01-15; civil twilight 07:56 GMT to 16:52 GMT.",
        LEVEL,
    )


@pytest.mark.parametrize(
    ("place", "date", "sun", "words"),
    [
        (
            TROMSOE,
            dt.date(2027, 1, 10),
            "down all day",
            "The sun does not rise on 2027-01-10; civil twilight 09:11 CET to 14:34 CET.",
        ),
        (
            TROMSOE,
            dt.date(2027, 6, 21),
            "up all day",
            "The sun does not set on 2027-06-21; civil twilight lasts through the night.",
        ),
        (
            Place(85.0, 15.0),
            dt.date(2027, 1, 1),
            "down all day",
            "The sun does not rise on 2027-01-01; there is no civil twilight.",
        ),
        (
            Place(-90.0, 0.0),
            dt.date(2027, 1, 1),
            "up all day",
            "The sun does not set on 2027-01-01; civil twilight lasts through the night.",
        ),
        (
            Place(65.7, 18.0),
            dt.date(2027, 6, 1),
            "rises",
            "Sunrise 02:11 CEST, sunset 23:24 CEST on 2027-06-01; civil twilight lasts through the night.",
        ),
    ],
)
def test_polar_days_and_nights(place, date, sun, words):
    found = daylight(place, date, "Europe/Oslo")
    assert found.sun == sun
    assert found.words == (words, LEVEL)


def test_the_first_sun_of_the_year_is_short_and_not_endless():
    # The library's own rise and set fail on this day, whose sun is up for under an hour.
    found = daylight(TROMSOE, dt.date(2027, 1, 15), "Europe/Oslo")
    assert found.sun == "rises"
    assert found.sunset - found.sunrise < dt.timedelta(hours=1)


@pytest.mark.parametrize("lat_deg", [65.0, 66.5, 68.0, 72.0, 80.0, -70.0])
def test_days_lengthen_without_gaps_through_the_polar_year(lat_deg):
    order = {"down all day": 0, "rises": 1, "up all day": 2}
    first = dt.date(2026, 12, 22)
    days = [daylight(Place(lat_deg, 15.0), first + dt.timedelta(days=n), "UTC") for n in range(0, 181, 2)]
    states = [order[day.sun] for day in days]
    assert states == sorted(states, reverse=lat_deg < 0.0)


def test_a_sunset_past_midnight_belongs_to_the_evening_before():
    found = daylight(Place(64.1, -21.9), dt.date(2027, 6, 21), "Atlantic/Reykjavik")
    assert found.sunset.date() == dt.date(2027, 6, 22)
    left_min = daylight_left_min(parse_clock("23:00", dt.date(2027, 6, 21), "Atlantic/Reykjavik"), found)
    assert 55.0 < left_min < 70.0


def test_a_line_has_no_more_light_than_either_of_its_ends():
    """It had that of its start: north of 66 degrees sunset comes 7 minutes earlier 22 km farther north."""
    date, zone = dt.date(2027, 1, 10), "Europe/Oslo"
    south, east, north = Place(66.9, 15.0), Place(66.95, 15.4), Place(67.1, 15.0)
    lights = [daylight(place, date, zone) for place in (south, east, north)]
    least = daylight_along((south, east, north), date, zone)
    assert (least.sunset, least.dusk) == (min(x.sunset for x in lights), min(x.dusk for x in lights))
    assert (least.sunrise, least.dawn) == (max(x.sunrise for x in lights), max(x.dawn for x in lights))
    assert lights[0].sunset - least.sunset > dt.timedelta(minutes=4)
    assert least.words[0].startswith(f"Sunrise {shown_clock(least.sunrise, 'late')}, sunset ")
    assert daylight_along((south,), date, zone) == lights[0]
    beyond = Place(68.5, 15.0)
    assert daylight_along((south, beyond), date, zone) == daylight(beyond, date, zone)
    # In June the sun stays up at one end only.
    june = dt.date(2027, 6, 5)
    summer = daylight_along((Place(66.4, 15.0), Place(65.9, 15.0)), june, zone)
    assert summer.sun == "rises"
    assert summer.sunset == daylight(Place(65.9, 15.0), june, zone).sunset


def test_arrivals_and_the_daylight_left():
    light = daylight(HILL, MIDWINTER, "Europe/London")
    start = parse_clock("08:30", MIDWINTER, "Europe/London")
    found = arrivals(start, [100.2, 240.0, 140.0])
    assert [shown_clock(time, "late") for time in found] == ["10:11 GMT", "14:11 GMT", "16:31 GMT"]
    assert daylight_left_words(found[0], light) == "5 h 55 min before sunset"
    assert daylight_left_words(found[1], light) == "1 h 55 min before sunset"
    assert daylight_left_words(found[2], light) == "25 min after sunset"
    assert daylight_left_words(found[1], light, late=True) == "at most 1 h 55 min before sunset"
    assert daylight_left_words(found[2], light, late=True) == "at least 25 min after sunset"
    left_min = daylight_left_min(found[1], light)
    assert math.floor(left_min) == 115


def test_the_small_hours_are_no_daylight():
    """A line that ended at four in the morning had "16 h 15 min before sunset"."""
    light = daylight(HILL, MIDWINTER, "Europe/London")
    night = light.sunrise - dt.timedelta(hours=3, minutes=20, seconds=30)
    assert daylight_left_words(night, light) == "3 h 21 min before sunrise"
    assert daylight_left_words(night, light, late=True) == "at most 3 h 21 min before sunrise"
    assert daylight_left_words(light.sunrise, light).endswith(" before sunset")


def test_daylight_left_where_the_sun_stays():
    arrival = parse_clock("12:00", dt.date(2027, 6, 21), "Europe/Oslo")
    up = daylight(TROMSOE, dt.date(2027, 6, 21), "Europe/Oslo")
    down = daylight(TROMSOE, dt.date(2027, 1, 1), "Europe/Oslo")
    assert daylight_left_min(arrival, up) is None
    assert daylight_left_words(arrival, up) == "the sun does not set"
    assert daylight_left_min(arrival, down) == 0.0
    assert daylight_left_words(arrival, down) == "the sun does not rise"


def test_arrivals_count_elapsed_time_through_a_change_of_clocks():
    # British clocks go from 01:00 GMT to 02:00 BST on 28 March 2027.
    start = parse_clock("00:30", dt.date(2027, 3, 28), "Europe/London")
    (arrival,) = arrivals(start, [60.0])
    assert shown_clock(arrival, "late") == "02:30 BST"


def test_arrivals_after_an_endless_leg_are_unknown():
    start = parse_clock("08:30", MIDWINTER, "Europe/London")
    assert arrivals(start, [math.inf, 10.0]) == (None, None)
    assert arrivals(start, [math.nan]) == (None,)


def test_clocks_are_rounded_against_the_reader():
    zone = parse_zone("UTC")
    instant = dt.datetime(2027, 1, 15, 16, 59, 0, 1000, tzinfo=zone)
    assert shown_clock(instant, "late") == "17:00 UTC"
    assert shown_clock(instant, "early") == "16:59 UTC"
    assert shown_clock(instant.replace(microsecond=0), "late") == "16:59 UTC"


@pytest.mark.parametrize("text", ["8.30", "24:00", "08:60", "half past", ""])
def test_clocks_that_cannot_be_read(text):
    with pytest.raises(DateError) as caught:
        parse_clock(text, MIDWINTER, "UTC")
    assert str(caught.value) == (
        f"A clock time should look like 08:30; got {text!r}. Give hours and minutes."
    )


def test_a_clock_of_another_day_where_it_is_taken():
    found = parse_clock("2027-01-16T00:30", MIDWINTER, "UTC", dated=True)
    assert found == dt.datetime(2027, 1, 16, 0, 30, tzinfo=parse_zone("UTC"))
    assert parse_clock("00:30", MIDWINTER, "UTC", dated=True).date() == MIDWINTER
    with pytest.raises(DateError) as caught:
        parse_clock("2027-01-16T00:30", MIDWINTER, "UTC")
    assert str(caught.value) == (
        "A clock time should look like 08:30; got '2027-01-16T00:30'. Give hours and minutes."
    )
    with pytest.raises(DateError) as caught:
        parse_clock("tomorrow 00:30", MIDWINTER, "UTC", dated=True)
    assert str(caught.value) == (
        "A date should look like 2027-01-15; got 'tomorrow'. Give year, month and day."
    )
    with pytest.raises(DateError) as caught:
        parse_clock("24:30", MIDWINTER, "UTC", dated=True)
    assert str(caught.value) == (
        f"A clock time should look like 08:30, or {MIDWINTER + dt.timedelta(days=1)}T00:30 of another day; "
        "got '24:30'. Give hours and minutes."
    )


@pytest.mark.parametrize(
    ("text", "date"), [("01:30", dt.date(2027, 3, 28)), ("01:30", dt.date(2027, 10, 31))]
)
def test_times_that_are_none_or_two_are_refused(text, date):
    with pytest.raises(DateError) as caught:
        parse_clock(text, date, "Europe/London")
    assert str(caught.value) == (
        f"The clocks change at 01:30 on {date.isoformat()} in Europe/London, which is no time or two. "
        "Give the time in UTC."
    )


def test_zones():
    for missing in (None, ""):
        with pytest.raises(DateError) as caught:
            parse_zone(missing)
        assert str(caught.value) == (
            "Clock times need a time zone; got none. Add one like --zone Europe/London."
        )
    for wrong in ("Europe/Nowhere", "../etc", "GMT+25"):
        with pytest.raises(DateError) as caught:
            parse_zone(wrong)
        assert str(caught.value) == (
            f"A time zone should be a name like Europe/London or UTC; got {wrong!r}. Check its spelling."
        )
    with pytest.raises(DateError) as caught:
        arrivals(dt.datetime(2027, 1, 15, 8, 30), [10.0])
    assert str(caught.value) == "A start needs its time zone; got 08:30 without. Add --zone."


def test_a_zone_of_many_parts_is_refused_before_it_is_looked_for():
    with pytest.raises(DateError) as caught:
        parse_zone("Asia/Tokyo" + "/Tokyo" * 500)
    assert str(caught.value) == "A time zone's name has at most 60 letters; got 3010. Check its spelling."
