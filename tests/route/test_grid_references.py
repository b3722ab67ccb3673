"""Grid references: published examples, squares and their centres, refusals."""

from __future__ import annotations

import math
import random

import pytest
from pyproj import Proj

from steybrae.errors import PlaceError
from steybrae.route.positions.grid_references import square_named
from steybrae.route.positions.grids import (
    BNG_EPSG,
    bng_shift_accuracy_m,
    bng_text,
    grid_m,
    lat_lon_deg,
    mgrs_text,
    utm_epsg,
    utm_text,
)
from steybrae.route.positions.places import parse_place

# Ordnance Survey, "A guide to coordinate systems in Great Britain", worked example: the
# water tower at Caister, OSGB36 latitude and longitude and National Grid metres.
CAISTER_LAT_DEG = 52.0 + 39.0 / 60.0 + 27.2531 / 3600.0
CAISTER_LON_DEG = 1.0 + 43.0 / 60.0 + 4.5177 / 3600.0
CAISTER_EAST_M, CAISTER_NORTH_M = 651409.903, 313177.270


def test_projection_of_the_survey_guide():
    east_m, north_m = Proj(BNG_EPSG)(CAISTER_LON_DEG, CAISTER_LAT_DEG)
    assert east_m == pytest.approx(CAISTER_EAST_M, abs=0.002)
    assert north_m == pytest.approx(CAISTER_NORTH_M, abs=0.002)


def _cartesian(lat_deg, lon_deg, major_m, minor_m):
    phi, lam = math.radians(lat_deg), math.radians(lon_deg)
    squared = 1.0 - (minor_m / major_m) ** 2
    normal_m = major_m / math.sqrt(1.0 - squared * math.sin(phi) ** 2)
    return (
        normal_m * math.cos(phi) * math.cos(lam),
        normal_m * math.cos(phi) * math.sin(lam),
        normal_m * (1.0 - squared) * math.sin(phi),
    )


def _geodetic(x_m, y_m, z_m, major_m, minor_m):
    squared = 1.0 - (minor_m / major_m) ** 2
    across_m = math.hypot(x_m, y_m)
    phi = math.atan2(z_m, across_m * (1.0 - squared))
    for _ in range(20):
        normal_m = major_m / math.sqrt(1.0 - squared * math.sin(phi) ** 2)
        phi = math.atan2(z_m + squared * normal_m * math.sin(phi), across_m)
    return math.degrees(phi), math.degrees(math.atan2(y_m, x_m))


def test_datum_shift_worked_by_hand():
    # The guide's seven parameters, WGS 84 to OSGB36: metres, seconds of arc, millionths;
    # signs turned round for the way back.
    shift_m = (446.448, -125.157, 542.060)
    rx, ry, rz = (math.radians(value / 3600.0) for value in (0.1502, 0.2470, 0.8421))
    scale = 1.0 - 20.4894e-6
    airy = (6377563.396, 6356256.909)
    x, y, z = _cartesian(CAISTER_LAT_DEG, CAISTER_LON_DEG, *airy)
    moved = (
        shift_m[0] + scale * x - rz * y + ry * z,
        shift_m[1] + rz * x + scale * y - rx * z,
        shift_m[2] - ry * x + rx * y + scale * z,
    )
    expected = _geodetic(*moved, 6378137.0, 6378137.0 * (1.0 - 1.0 / 298.257223563))
    # EPSG rounds the parameters; 2e-7 degree is 2 cm.
    assert lat_lon_deg(BNG_EPSG, CAISTER_EAST_M, CAISTER_NORTH_M) == pytest.approx(expected, abs=2e-7)


def test_shift_accuracy_is_stated_in_metres():
    assert bng_shift_accuracy_m() == 5.0


def test_one_shift_serves_both_ways_everywhere_on_the_grid():
    rng = random.Random(1)  # noqa: S311
    for _ in range(2000):
        east_m, north_m = rng.uniform(0.0, 7e5), rng.uniform(0.0, 1.3e6)
        back = grid_m(BNG_EPSG, *lat_lon_deg(BNG_EPSG, east_m, north_m))
        assert back == pytest.approx((east_m, north_m), abs=0.002)


BNG_SQUARES = [
    # text, west, south, side; the letters' squares from the survey's index diagram
    ("HX 166 712", 216600.0, 1071200.0, 100.0),
    ("HX166712", 216600.0, 1071200.0, 100.0),
    ("hx 166712", 216600.0, 1071200.0, 100.0),
    ("HX 166,712", 216600.0, 1071200.0, 100.0),
    ("HX17", 210000.0, 1070000.0, 10000.0),
    ("HX 16 71", 216000.0, 1071000.0, 1000.0),
    ("HX 1660 7120", 216600.0, 1071200.0, 10.0),
    ("HX 16604 71209", 216604.0, 1071209.0, 1.0),
    ("TG 51409 13177", 651409.0, 313177.0, 1.0),
    ("SV 00 00", 0.0, 0.0, 1000.0),
    ("HP 62 14", 462000.0, 1214000.0, 1000.0),
    ("NO 12 34", 312000.0, 734000.0, 1000.0),
    ("216600,1071200", 216600.0, 1071200.0, 1.0),
    ("216600 1071200", 216600.0, 1071200.0, 1.0),
    ("216600E 1071200N", 216600.0, 1071200.0, 1.0),
    ("216600.5, 1071200.25", 216600.5, 1071200.25, 0.01),
    ("090000 010000", 90000.0, 10000.0, 1.0),
    ("462000 1214000", 462000.0, 1214000.0, 1.0),
]


@pytest.mark.parametrize(("text", "west_m", "south_m", "side_m"), BNG_SQUARES)
def test_national_grid_squares(text, west_m, south_m, side_m):
    square = square_named(text)
    assert square is not None
    assert (square.epsg, square.west_m, square.south_m, square.side_m) == (BNG_EPSG, west_m, south_m, side_m)
    place = parse_place(text)
    centre = grid_m(BNG_EPSG, place.lat_deg, place.lon_deg)
    assert centre == pytest.approx((west_m + side_m / 2.0, south_m + side_m / 2.0), abs=0.002)
    assert place.error_m == pytest.approx(side_m / math.sqrt(2.0))


def test_every_lettered_square_comes_back():
    names = set()
    for east_m in range(50_000, 700_000, 100_000):
        for north_m in range(50_000, 1_300_000, 100_000):
            text = bng_text(*lat_lon_deg(BNG_EPSG, east_m, north_m))
            square = square_named(text)
            assert square is not None
            assert square.centre_m == (east_m + 5.0, north_m + 5.0)
            names.add(text[:2])
    assert len(names) == 7 * 13
    assert not any("I" in name for name in names)
    assert {"SV", "SW", "TV", "TG", "NN", "NO", "HP", "HU", "NA", "TQ"} <= names


MGRS_SQUARES = [
    # The manual of GeoConvert: 38SMB4488 is easting 444 to 445 km, northing 3688 to 3689 km.
    ("38SMB4488", 32638, 444000.0, 3688000.0, 1000.0),
    ("38 S MB 44 84", 32638, 444000.0, 3684000.0, 1000.0),
    ("38smb 4414 8470", 32638, 444140.0, 3684700.0, 10.0),
    ("38SMB4414084706", 32638, 444140.0, 3684706.0, 1.0),
    ("38SMB48", 32638, 440000.0, 3680000.0, 10000.0),
    ("4QFJ12345678", 32604, 612340.0, 2356780.0, 10.0),
    ("04QFJ12345678", 32604, 612340.0, 2356780.0, 10.0),
    ("38KMB4488", 32738, 444000.0, 7688000.0, 1000.0),
]


@pytest.mark.parametrize(("text", "epsg", "west_m", "south_m", "side_m"), MGRS_SQUARES)
def test_mgrs_squares(text, epsg, west_m, south_m, side_m):
    square = square_named(text)
    assert square is not None
    assert (square.epsg, square.west_m, square.south_m, square.side_m) == (epsg, west_m, south_m, side_m)


def test_mgrs_and_utm_of_the_manual():
    # The manual of GeoConvert: 33.3 N 44.4 E is 38n 444140.54 3684706.36.
    assert grid_m(32638, 33.3, 44.4) == pytest.approx((444140.54, 3684706.36), abs=0.01)
    place = parse_place("38n 444140.54 3684706.36")
    assert (place.lat_deg, place.lon_deg) == pytest.approx((33.3, 44.4), abs=1e-7)
    assert mgrs_text(33.3, 44.4) == "38S MB 4414 8470"
    assert utm_text(33.3, 44.4) == "38 north 444140 3684706"


@pytest.mark.parametrize(
    ("text", "epsg"),
    [
        ("38N 444140 3684706", 32638),
        ("38 N 444140 3684706", 32638),
        ("38 north 444140 3684706", 32638),
        ("38 South, 444140, 3684706", 32738),
        ("38N 444140mE 3684706mN", 32638),
        ("38N 444140 284706", 32638),
        ("38S 444140 6184706", 32738),
        ("38H 444140 6184706", 32738),
        ("32V 389000 6689000", 32632),
    ],
)
def test_utm_hemisphere_and_band(text, epsg):
    square = square_named(text)
    assert square is not None
    assert square.epsg == epsg
    assert square.side_m == 1.0


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg", "zone"),
    [
        (0.0, -180.0, 1), (0.0, 180.0, 1), (0.0, 179.9, 60), (57.0, -3.6, 30),
        (60.0, 2.9, 31), (60.0, 3.1, 32), (64.0, 3.1, 31), (60.0, 12.0, 33),
        (75.0, 8.9, 31), (75.0, 9.0, 33), (75.0, 20.9, 33), (75.0, 21.0, 35),
        (75.0, 33.0, 37), (75.0, 42.0, 38), (84.0, 3.0, 31), (-80.0, 3.0, 31),
    ],
)  # fmt: skip
def test_utm_zones(lat_deg, lon_deg, zone):
    assert utm_epsg(lat_deg, lon_deg) % 100 == zone
    assert int(mgrs_text(lat_deg, lon_deg)[:2]) == zone


REFUSALS = [
    (
        "HX 166 7122",
        "A grid reference has as many figures east as north; got 7 in 'HX 166 7122'. "
        "Check for one left out or doubled.",
    ),
    (
        "HX16671",
        "A grid reference has as many figures east as north; got 5 in 'HX16671'. "
        "Check for one left out or doubled.",
    ),
    (
        "38SMB448",
        "A grid reference has as many figures east as north; got 3 in '38SMB448'. "
        "Check for one left out or doubled.",
    ),
    (
        "HX 16 6712",
        "The figures should stand together or in two groups of one length; got 2 and 4 figures in "
        "'HX 16 6712'. Check the grouping.",
    ),
    ("NN", "A grid reference has 2 to 10 figures; got 0 in 'NN'. Give as many east as north."),
    (
        "NN 123456 123456",
        "A grid reference has 2 to 10 figures; got 12 in 'NN 123456 123456'. Give as many east as north.",
    ),
    (
        "NI 12 34",
        "The letter I is not used on the National Grid; got NI in 'NI 12 34'. "
        "Check the letters on the sheet.",
    ),
    (
        "AA 12 34",
        "The letters AA name no square of the National Grid in 'AA 12 34'. Check the letters on the sheet.",
    ),
    ("HX 16O 712", "The figures hold the letter O or I in 'HX 16O 712'. Write 0 or 1."),
    ("38SMB44O8", "The figures hold the letter O or I in '38SMB44O8'. Write 0 or 1."),
    (
        "21660 771200",
        "An all-figure National Grid reference has 6 figures east and 6 or 7 north; got 5 and 6 in "
        "'21660 771200'. Write leading noughts, or use the letters.",
    ),
    (
        "444140 3684706",
        "National Grid eastings run from 0 to 700000 m and northings to 1300000 m; got "
        "'444140 3684706'. Check the order, east comes first; UTM needs its zone in front.",
    ),
    (
        "38SMO4484",
        "MGRS letters leave out I and O, and its bands run from C to X; got S MO in '38SMO4484'. "
        "Check the letters on the sheet.",
    ),
    (
        "38IMB4484",
        "MGRS letters leave out I and O, and its bands run from C to X; got I MB in '38IMB4484'. "
        "Check the letters on the sheet.",
    ),
    (
        "38SAA4488",
        "Zone 38S has no square AA at these figures in '38SAA4488'. "
        "Check zone, letters and figures on the sheet.",
    ),
    (
        # The 100 km square EC lies across 56 degrees north; its kilometre 50 is in band V.
        "31UEC0050",
        "Zone 31U has no square EC at these figures in '31UEC0050'. "
        "Check zone, letters and figures on the sheet.",
    ),
    ("61SMB4488", "A UTM zone lies between 1 and 60; got 61 in '61SMB4488'. Check the sheet."),
    ("0N 444140 3684706", "A UTM zone lies between 1 and 60; got 0 in '0N 444140 3684706'. Check the sheet."),
    (
        "ZAH12341234",
        "Polar references (UPS) are not read; got 'ZAH12341234'. Give latitude and longitude.",
    ),
    (
        "38S 444140 3684706",
        "The letter S after the zone may be the south or the band of 32 to 40 degrees north in "
        "'38S 444140 3684706'. Write 'south' or 'north' after the zone.",
    ),
    (
        "38T 444140 3684706",
        "Latitude band T holds 40 to 48 degrees, the northing lies at 33.30 in "
        "'38T 444140 3684706'. Check letter and northing.",
    ),
    (
        "38O 444140 3684706",
        "The letter after a UTM zone is C to X without I and O; got O in '38O 444140 3684706'. "
        "Write 'north' or 'south' after the zone.",
    ),
    (
        "38N 3684706 444140",
        "UTM eastings run from 100000 to 900000 m and northings over latitudes of -80 to 84 "
        "degrees; got '38N 3684706 444140'. Check the order, east comes first.",
    ),
    (
        "38N 444140 9684706",
        "UTM eastings run from 100000 to 900000 m and northings over latitudes of -80 to 84 "
        "degrees; got '38N 444140 9684706'. Check the order, east comes first.",
    ),
]


@pytest.mark.parametrize(("text", "message"), REFUSALS)
def test_refusals_say_which_part(text, message):
    with pytest.raises(PlaceError) as caught:
        parse_place(text)
    assert str(caught.value) == message


def test_references_about_the_edges_of_bands_come_back():
    # The named square of 10 km may have its centre in the next band; it is no mistake.
    rng = random.Random(2)  # noqa: S311
    for _ in range(1000):
        lat_deg = 8.0 * rng.randint(-9, 9) + rng.uniform(-0.03, 0.03)
        lon_deg = rng.uniform(-180.0, 180.0)
        text = mgrs_text(lat_deg, lon_deg).split()
        # The square of 10 km is named by the first figure of each half.
        for written in (" ".join(text), f"{text[0]} {text[1]} {text[2][0]} {text[3][0]}"):
            square = square_named(written)
            assert square is not None
            east_m, north_m = grid_m(square.epsg, lat_deg, lon_deg)
            assert -0.01 <= east_m - square.west_m <= square.side_m + 0.01
            assert -0.01 <= north_m - square.south_m <= square.side_m + 0.01


def test_the_poles_have_no_zone():
    with pytest.raises(PlaceError) as caught:
        utm_text(84.5, 0.0)
    assert str(caught.value) == (
        "UTM and MGRS zones cover latitudes of -80 to 84 degrees; got 84.5. Use latitude and longitude there."
    )


def test_places_that_are_no_reference():
    for text in ("59.2, -8.0", "57N 3W", "59 13 24 N 8 04 16 W", "N57 W3", ""):
        assert square_named(text) is None
