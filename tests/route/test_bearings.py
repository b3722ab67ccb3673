"""Bearings: geodesics, the signs of convergence and declination, typed bearings, words."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.card.sentences import compass_words, grid_magnetic_words, turning_rule
from steybrae.errors import PlaceError, QuantityError, RouteError
from steybrae.route.bearings import (
    Bearing,
    back_bearing_deg,
    bearing_difference_deg,
    convergence_deg,
    geodesic,
    leg_bearings,
    parse_bearing,
    true_bearing_deg,
)
from steybrae.route.positions.grids import BNG_EPSG, lat_lon_deg
from steybrae.route.positions.places import Place
from steybrae.value import bearing_figure

NEW_YEAR = dt.date(2027, 1, 1)
CAIRNGORMS = Place(57.117, -3.643)
NORWICH = Place(52.63, 1.30)

circle = st.floats(0.0, 360.0, exclude_max=True)


def _dms(degrees, minutes, seconds):
    return math.copysign(abs(degrees) + minutes / 60.0 + seconds / 3600.0, degrees)


def test_geodesic_of_the_library_page():
    # GeographicLib's page: Wellington to Salamanca, 19 959 679.267 m.
    length_m, _ = geodesic(Place(-41.32, 174.81), Place(40.96, -5.50))
    assert length_m == pytest.approx(19_959_679.267, abs=0.001)


def test_geodesic_of_the_survey_department():
    # Geoscience Australia's test line, Flinders Peak to Buninyong, on GRS80, which is
    # WGS 84 to a tenth of a millimetre here.
    flinders = Place(_dms(-37, 57, 3.72030), _dms(144, 25, 29.52440))
    buninyong = Place(_dms(-37, 39, 10.15610), _dms(143, 55, 35.38390))
    length_m, there_deg = geodesic(flinders, buninyong)
    _, back_deg = geodesic(buninyong, flinders)
    assert length_m == pytest.approx(54_972.271, abs=0.001)
    assert there_deg == pytest.approx(_dms(306, 52, 5.37), abs=0.01 / 3600.0)
    assert back_deg == pytest.approx(_dms(127, 10, 25.07), abs=0.01 / 3600.0)


def test_a_leg_without_length_is_refused():
    with pytest.raises(RouteError) as caught:
        geodesic(CAIRNGORMS, Place(57.117, -3.643, "again"))
    assert str(caught.value) == (
        "A leg needs two different places; both lie at 57.11700, -3.64300. Drop one of them."
    )


@pytest.mark.parametrize(
    ("place", "grid", "expected_deg", "within_deg"),
    [
        # Water tower of Ordnance Survey's worked example: +2.95738 (computed with PROJ and
        # by hand from the projection's series).
        (Place(*lat_lon_deg(BNG_EPSG, 651409.903, 313177.270)), "bng", 2.95738, 1e-4),
        (Place(33.3, 44.4), "utm", -0.3294, 1e-4),
        (Place(33.3, 44.4), "mgrs", -0.3294, 1e-4),
        (CAIRNGORMS, "bng", -1.380, 0.02),
        (NORWICH, "bng", 2.624, 0.02),
        (CAIRNGORMS, "latlon", 0.0, 0.0),
    ],
)
def test_convergence(place, grid, expected_deg, within_deg):
    assert convergence_deg(place, grid) == pytest.approx(expected_deg, abs=within_deg)


@given(st.floats(-79.0, 55.9), st.floats(-2.9, 2.9))
def test_convergence_is_nearly_longitude_times_sine_of_latitude(lat_deg, off_deg):
    # The next term of the series is off^3 sin cos^2 / 3: 0.0009 degree at most here.
    found_deg = convergence_deg(Place(lat_deg, 9.0 + off_deg), "utm")
    assert found_deg == pytest.approx(off_deg * math.sin(math.radians(lat_deg)), abs=1.2e-3)


def test_convergence_needs_a_known_grid():
    with pytest.raises(PlaceError) as caught:
        convergence_deg(CAIRNGORMS, "osgb")
    assert str(caught.value) == ("A grid should be one of bng, utm, mgrs, latlon; got 'osgb'. Choose one.")


@pytest.mark.parametrize(
    ("place", "converges_deg", "declination_deg", "grid_magnetic_deg", "magnetic_deg"),
    [
        # The sign trap: declination to the west and yet the needle east of the grid.
        (CAIRNGORMS, -1.380, -0.601, 0.779, 99.22),
        (NORWICH, 2.624, 1.644, -0.980, 100.98),
    ],
)
def test_signs(place, converges_deg, declination_deg, grid_magnetic_deg, magnetic_deg):
    true_deg = true_bearing_deg(Bearing(100.0, "grid"), place, grid="bng")
    end = _ahead(place, true_deg)
    leg = leg_bearings(place, end, NEW_YEAR, "bng")
    assert leg.convergence_deg == pytest.approx(converges_deg, abs=0.02)
    assert leg.declination_deg == pytest.approx(declination_deg, abs=0.02)
    assert leg.grid_magnetic_deg == pytest.approx(grid_magnetic_deg, abs=0.02)
    assert leg.bearing_grid_deg == pytest.approx(100.0, abs=1e-4)
    assert leg.bearing_magnetic_deg == pytest.approx(magnetic_deg, abs=0.02)
    assert leg.back_bearing_magnetic_deg == pytest.approx(magnetic_deg + 180.0, abs=0.02)
    assert leg.length_m == pytest.approx(1000.0, abs=1e-3)
    assert leg.declination_uncertainty_deg == leg.field.declination_uncertainty_95_deg


def _ahead(place: Place, true_deg: float) -> Place:
    from pyproj import Geod

    lon_deg, lat_deg, _ = Geod(ellps="WGS84").fwd(place.lon_deg, place.lat_deg, true_deg, 1000.0)
    return Place(lat_deg, lon_deg)


@given(st.floats(-70.0, 70.0), st.floats(-179.0, 179.0), circle)
def test_three_norths_agree(lat_deg, lon_deg, true_deg):
    start = Place(lat_deg, lon_deg)
    leg = leg_bearings(start, _ahead(start, true_deg), NEW_YEAR, "utm")
    for turned_deg, expected_deg in (
        (leg.bearing_grid_deg + leg.convergence_deg, leg.bearing_true_deg),
        (leg.bearing_true_deg - leg.declination_deg, leg.bearing_magnetic_deg),
        (leg.bearing_grid_deg - leg.grid_magnetic_deg, leg.bearing_magnetic_deg),
        (leg.bearing_true_deg, true_deg),
    ):
        assert bearing_difference_deg(turned_deg, expected_deg) == pytest.approx(0.0, abs=1e-6)
    for north in ("true", "grid", "magnetic"):
        bearing = Bearing(getattr(leg, f"bearing_{north}_deg"), north)
        found_deg = true_bearing_deg(bearing, start, NEW_YEAR, "utm")
        assert bearing_difference_deg(found_deg, leg.bearing_true_deg) == pytest.approx(0.0, abs=1e-9)


@given(circle, circle)
def test_circle(first_deg, second_deg):
    difference_deg = bearing_difference_deg(first_deg, second_deg)
    assert -180.0 <= difference_deg < 180.0
    gap_deg = (first_deg + difference_deg - second_deg + 180.0) % 360.0 - 180.0
    assert gap_deg == pytest.approx(0.0, abs=1e-9)
    assert 0.0 <= back_bearing_deg(first_deg) < 360.0
    again_deg = back_bearing_deg(back_bearing_deg(first_deg))
    assert bearing_difference_deg(again_deg, first_deg) == pytest.approx(0.0, abs=1e-9)


def test_differences_by_hand():
    assert bearing_difference_deg(350.0, 10.0) == 20.0
    assert bearing_difference_deg(10.0, 350.0) == -20.0
    assert bearing_difference_deg(0.0, 180.0) == -180.0
    assert back_bearing_deg(200.0) == 20.0


@pytest.mark.parametrize(
    ("text", "expected_deg"),
    [
        ("99", 99.0), ("099", 99.0), ("099°", 99.0), ("99.5 deg", 99.5), ("1600mil", 90.0),
        ("1764 mils", 99.225), ("0", 0.0), ("360", 0.0), ("6400 MIL", 0.0), ("359.99", 359.99),
    ],
)  # fmt: skip
def test_bearings_as_typed(text, expected_deg):
    bearing = parse_bearing(text, "grid")
    assert bearing.bearing_deg == pytest.approx(expected_deg, abs=1e-12)
    assert bearing.north == "grid"


@pytest.mark.parametrize("text", ["", "north", "361", "-5", "6401mil", "99%", "9 9"])
def test_bearings_that_cannot_be_read(text):
    with pytest.raises(QuantityError) as caught:
        parse_bearing(text, "true")
    assert str(caught.value) == (
        "A bearing should look like 099, 99deg or 1760mil and lie between 0 and 360 degrees; "
        f"got {text!r}. Check number and unit."
    )


def test_a_bearing_needs_its_north_and_a_magnetic_one_its_date():
    with pytest.raises(QuantityError) as caught:
        parse_bearing("99", None)
    assert str(caught.value) == (
        "The bearing '99' needs its north, one of true, grid and magnetic; got none. Add --north."
    )
    with pytest.raises(QuantityError) as caught:
        parse_bearing("99", "map")
    assert str(caught.value) == (
        "The bearing '99' needs its north, one of true, grid and magnetic; got 'map'. Add --north."
    )
    with pytest.raises(QuantityError) as caught:
        parse_bearing("99", "magnetic")
    assert str(caught.value) == (
        "The magnetic bearing '99' needs a date, for magnetic north wanders; got none. Add --date."
    )
    assert parse_bearing("99", "magnetic", NEW_YEAR) == Bearing(99.0, "magnetic")
    with pytest.raises(QuantityError) as caught:
        true_bearing_deg(Bearing(99.0, "magnetic"), CAIRNGORMS)
    assert str(caught.value) == ("A magnetic bearing needs a date to be turned to true north. Add --date.")


@pytest.mark.parametrize(
    ("bearing_deg", "degrees", "mils"),
    [
        (0.0, "000°", "0000 mil"),
        (99.22, "099°", "1764 mil"),
        (99.5, "100°", "1769 mil"),
        (359.5, "000°", "6391 mil"),
        (359.99, "000°", "0000 mil"),
        (30.0, "030°", "0533 mil"),
        (35.0, "035°", "0622 mil"),
        (40.0, "040°", "0711 mil"),
        (45.0, "045°", "0800 mil"),
    ],
)
def test_bearings_as_shown(bearing_deg, degrees, mils):
    assert bearing_figure(bearing_deg) == degrees
    assert bearing_figure(bearing_deg, "mil") == mils


def test_other_units_are_refused():
    with pytest.raises(QuantityError) as caught:
        bearing_figure(99.0, "grad")
    assert str(caught.value) == "A bearing is shown in deg or mil; got 'grad'. Choose one of the two."


@pytest.mark.parametrize(
    ("grid_magnetic_deg", "grid", "where", "rule"),
    [
        (
            0.779,
            "bng",
            "Magnetic north is 0.8 degrees east of grid north on this sheet.",
            "From grid to magnetic subtract 0.8 degrees, from magnetic to grid add 0.8 degrees.",
        ),
        (
            -0.98,
            "bng",
            "Magnetic north is 1.0 degrees west of grid north on this sheet.",
            "From grid to magnetic add 1.0 degrees, from magnetic to grid subtract 1.0 degrees.",
        ),
        (
            -12.34,
            "latlon",
            "Magnetic north is 12.3 degrees west of true north on this sheet.",
            "From true to magnetic add 12.3 degrees, from magnetic to true subtract 12.3 degrees.",
        ),
        (
            -0.04,
            "utm",
            "Magnetic north and grid north are one on this sheet, to a tenth of a degree.",
            "Between grid and magnetic bearings nothing is added or subtracted.",
        ),
    ],
)
def test_grid_magnetic_in_words(grid_magnetic_deg, grid, where, rule):
    assert grid_magnetic_words(grid_magnetic_deg, grid) == where
    assert turning_rule(grid_magnetic_deg, grid) == rule


def test_what_to_set_on_the_compass():
    base = leg_bearings(CAIRNGORMS, _ahead(CAIRNGORMS, 90.0), NEW_YEAR, "bng")

    def words(grid_deg: float, offset_deg: float, grid: str = "bng", unit: str = "deg") -> tuple[str, str]:
        return compass_words(
            dataclasses.replace(
                base,
                bearing_grid_deg=grid_deg,
                grid_magnetic_deg=offset_deg,
                bearing_magnetic_deg=(grid_deg - offset_deg) % 360.0,
                grid=grid,
            ),
            unit,
        )

    # On a compass in mils nothing is set in degrees: 102.72 mil is 5.778 degrees.
    assert words(5.778, 6.0, unit="mil") == (
        "With a declination scale: set it to 106.7 mil east and set 0103 mil from the grid.",
        "Without: 102.7 - 106.7 + 6400 = 6396.0, set 6396 mil magnetic.",
    )
    assert turning_rule(6.0, "utm", "mil") == (
        "From grid to magnetic subtract 106.7 mil, from magnetic to grid add 106.7 mil."
    )
    assert words(100.0, 0.779) == (
        "With a declination scale: set it to 0.8 degrees east and set 100° from the grid.",
        "Without: 100.0 - 0.8 = 99.2, set 099° magnetic.",
    )
    assert words(0.3, 0.779) == (
        "With a declination scale: set it to 0.8 degrees east and set 000° from the grid.",
        "Without: 0.3 - 0.8 + 360 = 359.5, set 000° magnetic.",
    )
    assert words(359.6, -0.98) == (
        "With a declination scale: set it to 1.0 degrees west and set 000° from the grid.",
        "Without: 359.6 + 1.0 - 360 = 0.6, set 001° magnetic.",
    )
    assert words(45.0, 0.0, "latlon") == (
        "With a declination scale: set it to 0 and set 045° from true north.",
        "Without: 45.0 - 0.0 = 45.0, set 045° magnetic.",
    )
