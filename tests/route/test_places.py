"""Places as typed: degrees in every spelling, dispatch, refusals, and what is shown."""

from __future__ import annotations

import math
import random
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from steybrae.errors import PlaceError
from steybrae.route.positions.places import GRIDS, Place, format_place, parse_place

GEOD = Geod(ellps="WGS84")

D, M, S = 59.0, 13.0 / 60.0, 24.0 / 3600.0
LAT_DMS, LON_DMS = D + M + S, -(8.0 + 4.0 / 60.0 + 16.0 / 3600.0)

SPELLINGS = [
    ("59.2234, -8.0712", 59.2234, -8.0712),
    ("59.2234,-8.0712", 59.2234, -8.0712),
    ("59.2234 -8.0712", 59.2234, -8.0712),
    ("  +59.2234   −8.0712 ", 59.2234, -8.0712),
    ("59.2234N 8.0712W", 59.2234, -8.0712),
    ("59.2234 n, 8.0712 w", 59.2234, -8.0712),
    ("N59.2234 W8.0712", 59.2234, -8.0712),
    ("N 59.2234, W 8.0712", 59.2234, -8.0712),
    ("8.0712W 59.2234N", 59.2234, -8.0712),
    ("59.2234° -8.0712°", 59.2234, -8.0712),
    ("59.2234deg N 8.0712deg W", 59.2234, -8.0712),
    ("59.2234° N, 8.0712° W", 59.2234, -8.0712),
    ("59°13'24\"N 8°04'16\"W", LAT_DMS, LON_DMS),
    ("59º13’24”N, 8º04’16”W", LAT_DMS, LON_DMS),
    ("59° 13′ 24″ N 8° 04′ 16″ W", LAT_DMS, LON_DMS),
    ("59°13'24'' N 8°04'16'' W", LAT_DMS, LON_DMS),
    ("59 13 24 N 8 04 16 W", LAT_DMS, LON_DMS),
    ("59:13:24N 008:04:16W", LAT_DMS, LON_DMS),
    ("59:13:24 -8:04:16", LAT_DMS, LON_DMS),
    ("59 13 24, -8 04 16", LAT_DMS, LON_DMS),
    ("N59 13 24 W8 04 16", LAT_DMS, LON_DMS),
    ("59 13.4 N 8 04.3 W", 59.0 + 13.4 / 60.0, -(8.0 + 4.3 / 60.0)),
    ("59°13.4'N8°04.3'W", 59.0 + 13.4 / 60.0, -(8.0 + 4.3 / 60.0)),
    ("-0 30, -0 15", -0.5, -0.25),
    ("0°30'S 0°15'W", -0.5, -0.25),
    ("-33.5 -70.2", -33.5, -70.2),
    ("33.5S 70.2W", -33.5, -70.2),
    ("45.5S 169.25E", -45.5, 169.25),
    ("-90, 180", -90.0, 180.0),
    ("59 59 59.99 N 0 59.999 E", 59.0 + 59.0 / 60.0 + 59.99 / 3600.0, 59.999 / 60.0),
]


@pytest.mark.parametrize(("text", "lat_deg", "lon_deg"), SPELLINGS)
def test_degrees_in_every_spelling(text, lat_deg, lon_deg):
    place = parse_place(text, "Corrie mouth")
    assert place.lat_deg == pytest.approx(lat_deg, abs=1e-12)
    assert place.lon_deg == pytest.approx(lon_deg, abs=1e-12)
    assert place.name == "Corrie mouth"
    assert place.written == " ".join(text.split())


def test_the_last_figure_is_the_error():
    # Half a step of 0.0001 deg is 5.585 m at 111.7 km a degree; west-east by the cosine.
    half_m = 0.00005 * 111_700.0
    expected_m = math.hypot(half_m, half_m * math.cos(math.radians(59.2234)))
    assert parse_place("59.2234, -8.0712").error_m == pytest.approx(expected_m)
    # Programs drop noughts at the end: the finer of the two counts for both.
    assert parse_place("59.2234, -3.67").error_m == pytest.approx(expected_m)
    # Whole minutes: half a minute is 930.8 m; a tenth of a minute a tenth of that.
    minute_m = parse_place("59 13 N 8 04 W").error_m
    assert minute_m == pytest.approx(930.83 * math.hypot(1.0, math.cos(math.radians(59.2167))), rel=1e-4)
    assert parse_place("59 13.0 N 8 04.0 W").error_m == pytest.approx(minute_m / 10.0)
    assert parse_place("59 13 00 N 8 04 00 W").error_m == pytest.approx(minute_m / 60.0)


WAYS = "59.2234 -8.0712, 59 13 24 N 8 04 16 W, HV 545 535, 38SMB4484 or 38N 444140 3684706"

REFUSALS = [
    ("", f"A place should look like {WAYS}; got ''. Write it in one of these ways."),
    ("summit", f"A place should look like {WAYS}; got 'summit'. Write it in one of these ways."),
    ("the hut", f"The part 'THE' of the place 'the hut' cannot be read. A place looks like {WAYS}."),
    (
        "57 60 00 N 3 0 0 W",
        "The minutes of '57 60 00 N' should lie below 60; got 60 in '57 60 00 N 3 0 0 W'. "
        "Write 60 as one of the next larger unit.",
    ),
    (
        "57 00 00 N 3 0 60.0 W",
        "The seconds of '3 0 60.0 W' should lie below 60; got 60.0 in '57 00 00 N 3 0 60.0 W'. "
        "Write 60 as one of the next larger unit.",
    ),
    (
        "57.5 30 N 3 W",
        "Only the last number of '57.5 30 N' may have decimals in '57.5 30 N 3 W'. "
        "Write degrees and minutes whole.",
    ),
    (
        "59 13 24 8 04 16",
        "It is not clear where the latitude ends in '59 13 24 8 04 16'. "
        "Add the letters N or S and E or W, or a comma.",
    ),
    (
        "57,12 3,67",
        "One comma at most stands between latitude and longitude; got '57,12 3,67'. "
        "Write decimals with a point.",
    ),
    (
        "57.1N 3.6",
        "A latitude takes N or S and a longitude E or W, both or neither; got N and none in "
        "'57.1N 3.6'. Write one letter after each number.",
    ),
    (
        "57.1N 3.6N",
        "A latitude takes N or S and a longitude E or W, both or neither; got N and N in "
        "'57.1N 3.6N'. Write one letter after each number.",
    ),
    (
        "-57.1N 3.6W",
        "The part '-57.1N' has both - and N in '-57.1N 3.6W'. Give a sign or a letter, not both.",
    ),
    (
        "57.1 x3.6",
        f"The part 'X3.6' of the place '57.1 x3.6' cannot be read. A place looks like {WAYS}.",
    ),
    (
        "1" + "0" * 400 + ", 3",
        f"The part '1{'0' * 400}' of the place '1{'0' * 400}, 3' cannot be read. A place looks like {WAYS}.",
    ),
    (
        "97.5, 3",
        "A place should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
        "got 97.5, 3. Check the order: latitude comes first.",
    ),
    (
        "0 -180.5",
        "A place should have a latitude of -90 to 90 and a longitude of -180 to 180 degrees; "
        "got 0, -180.5. Check the order: latitude comes first.",
    ),
]


@pytest.mark.parametrize(("text", "message"), REFUSALS)
def test_refusals_say_which_part(text, message):
    with pytest.raises(PlaceError) as caught:
        parse_place(text)
    assert str(caught.value) == message


@pytest.mark.parametrize("lat_deg", [math.nan, math.inf, 90.0001])
def test_a_place_lies_on_the_earth(lat_deg):
    with pytest.raises(PlaceError):
        Place(lat_deg, 0.0)


def test_formats_of_one_place():
    place = parse_place("HX 1660 7120")
    assert format_place(place, "bng") == "HX 1660 7120"
    assert format_place(place, "mgrs") == "30V UL 7311 9637"
    assert format_place(place) == f"{place.lat_deg:.5f}, {place.lon_deg:.5f}"
    assert format_place(Place(33.3, 44.4), "utm") == "38 north 444140 3684706"
    assert format_place(Place(-0.000001, -0.000001)) == "0.00000, 0.00000"


def test_format_refusals():
    with pytest.raises(PlaceError) as caught:
        format_place(Place(57.0, -4.0), "osgb")
    assert str(caught.value) == ("A grid should be one of bng, utm, mgrs, latlon; got 'osgb'. Choose one.")
    with pytest.raises(PlaceError) as caught:
        format_place(Place(46.5, 8.0), "bng")
    assert str(caught.value) == (
        "The place 46.50000, 8.00000 lies off the British National Grid. Choose the grid utm, mgrs or latlon."
    )


def _random_place(rng: random.Random, grid: str) -> Place:
    if grid == "bng":
        return Place(rng.uniform(50.0, 60.8), rng.uniform(-7.4, 1.7))
    limit = (-80.0, 84.0) if grid in ("utm", "mgrs") else (-90.0, 90.0)
    return Place(rng.uniform(*limit), rng.uniform(-180.0, 180.0))


@pytest.mark.parametrize("grid", GRIDS)
def test_ten_thousand_places_return_into_their_square(grid):
    rng = random.Random(20270115)  # noqa: S311
    for _ in range(10_000):
        place = _random_place(rng, grid)
        text, half = format_place(place, grid), rng.choice((1, 2, 3, 4))
        if grid in ("bng", "mgrs"):
            *square, east, north = text.split()
            text = " ".join((*square, east[:half], north[:half]))
        back = parse_place(text)
        distance_m = GEOD.inv(place.lon_deg, place.lat_deg, back.lon_deg, back.lat_deg)[2]
        # Grid metres are ground metres to 0.1 %; 2 mm for the shift there and back.
        assert distance_m <= back.error_m * 1.001 + 0.002, (place, back)
        if grid in ("bng", "mgrs"):
            side_m = 10.0 ** (5 - half)
            assert back.error_m == pytest.approx(side_m / math.sqrt(2.0))


@given(st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))
def test_degrees_minutes_seconds_come_back(lat_deg, lon_deg):
    def dms(value: float, letters: str) -> str:
        total = round(abs(value) * 3600.0 * 100.0)
        minutes, hundredths = divmod(total, 6000)
        letter = letters[0] if value >= 0.0 else letters[1]
        return f"{minutes // 60}°{minutes % 60:02d}'{hundredths / 100.0:05.2f}\"{letter}"

    back = parse_place(f"{dms(lat_deg, 'NS')} {dms(lon_deg, 'EW')}")
    assert back.lat_deg == pytest.approx(lat_deg, abs=0.0051 / 3600.0)
    assert back.lon_deg == pytest.approx(lon_deg, abs=0.0051 / 3600.0)


def test_places_import_without_slow_libraries():
    code = (
        "import sys; from steybrae.route.positions.places import parse_place; parse_place('59.2, -8.0'); "
        "print([name for name in ('pyproj', 'numpy', 'mgrs') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@given(st.text(alphabet="0123456789 .,:-+°'\"NSEWOIHJTKMBX", max_size=24))
def test_any_text_is_a_place_or_a_clear_refusal(text):
    try:
        place = parse_place(text)
    except PlaceError as refused:
        assert str(refused).endswith(".")  # noqa: PT017 - the refusal is the thing tested
    else:
        assert place.error_m > 0.0
        assert place.written == text.strip()
