"""Declination against the published test values, and the limits of the model."""

from __future__ import annotations

import datetime as dt

import pytest

from steybrae.errors import DateError, PlaceError
from steybrae.route.bearings import (
    MODEL,
    _check_model,
    _field,
    decimal_year,
    declination,
    declination_sigma_deg,
)
from steybrae.route.positions.places import Place

# Test values published with the model by NCEI and BGS: decimal year, height in km,
# latitude, longitude, declination and dip in degrees, horizontal field in nT.
PUBLISHED = [
    (2025.0, 0.0, 80.0, 0.0, 1.28, 83.21, 6523.2),
    (2025.0, 0.0, 0.0, 120.0, -0.16, -14.93, 39677.9),
    (2025.0, 0.0, -80.0, 240.0, 68.78, -72.00, 16898.1),
    (2025.0, 100.0, 80.0, 0.0, 0.85, 83.26, 6216.7),
    (2025.0, 100.0, 0.0, 120.0, -0.15, -15.08, 37688.7),
    (2027.5, 0.0, 80.0, 0.0, 2.59, 83.24, 6507.5),
    (2027.5, 100.0, 0.0, 120.0, -0.23, -14.81, 37711.8),
]


@pytest.mark.parametrize(("year", "height_km", "lat", "lon", "d_deg", "i_deg", "h_nt"), PUBLISHED)
def test_published_values(year, height_km, lat, lon, d_deg, i_deg, h_nt):
    field = _field(Place(lat, lon if lon <= 180.0 else lon - 360.0), height_km * 1000.0, year)
    assert field.declination_deg == pytest.approx(d_deg, abs=0.006)
    assert field.inclination_deg == pytest.approx(i_deg, abs=0.006)
    assert field.horizontal_nt == pytest.approx(h_nt, abs=0.06)
    assert field.model == MODEL == "WMM2025"


def test_a_date_is_the_start_of_its_day():
    assert decimal_year(dt.date(2027, 1, 1)) == 2027.0
    assert decimal_year(dt.date(2028, 12, 31)) == pytest.approx(2028.0 + 365.0 / 366.0)
    first = declination(Place(80.0, 0.0), 0.0, dt.date(2025, 1, 1))
    assert first.declination_deg == pytest.approx(1.28, abs=0.006)
    middle = declination(Place(80.0, 0.0), 0.0, dt.date(2027, 7, 2))
    assert middle.declination_deg == pytest.approx(2.59, abs=0.006)


@pytest.mark.parametrize(
    ("lat", "lon", "sigma_deg"),
    [(57.1, -3.65, 0.42), (46.8, 9.84, 0.36), (69.65, 18.96, 0.56)],
)
def test_error_model(lat, lon, sigma_deg):
    field = declination(Place(lat, lon), 0.0, dt.date(2027, 1, 1))
    assert field.declination_sigma_deg == pytest.approx(sigma_deg, abs=0.006)
    assert field.declination_uncertainty_95_deg == 2.0 * field.declination_sigma_deg


def test_error_formula_by_hand():
    # sqrt(0.26^2 + (5417/20000)^2) = sqrt(0.0676 + 0.0733597) = 0.375446
    assert declination_sigma_deg(20_000.0) == pytest.approx(0.375446, abs=1e-6)
    assert declination_sigma_deg(0.0) == float("inf")


@pytest.mark.parametrize("date", [dt.date(2024, 12, 31), dt.date(2030, 1, 2)])
def test_dates_outside_the_model_are_refused(date):
    with pytest.raises(DateError) as caught:
        declination(Place(57.0, -4.0), 0.0, date)
    assert str(caught.value) == (
        "The World Magnetic Model 2025 covers 1 January 2025 to 1 January 2030; got "
        f"{date.isoformat()}. Give a date within, or install a release with the next model."
    )


def test_the_last_half_year_is_cautioned():
    place = Place(57.0, -4.0)
    assert declination(place, 0.0, dt.date(2029, 7, 1)).cautions == ()
    assert declination(place, 0.0, dt.date(2029, 7, 3)).cautions == (
        "The World Magnetic Model 2025 ends on 1 January 2030: take the next model for plans beyond.",
    )
    assert declination(place, 0.0, dt.date(2030, 1, 1)).decimal_year == 2030.0


def test_a_weak_field_is_cautioned_and_a_vanishing_one_refused():
    weak = declination(Place(85.0, 0.0), 0.0, dt.date(2027, 1, 1))
    assert 2000.0 < weak.horizontal_nt < 6000.0
    assert weak.cautions == (
        "The horizontal magnetic field is only 4226 nT here, below 6000 nT: the needle is sluggish "
        "and easily turned aside.",
    )
    with pytest.raises(PlaceError) as caught:
        declination(Place(90.0, 0.0), 0.0, dt.date(2027, 1, 1))
    assert str(caught.value) == (
        "A compass is of no use at 90.00, 0.00: the horizontal field is 1797 nT, below 2000 nT. "
        "Use true bearings and another means."
    )


def test_height_is_checked_and_hardly_matters():
    with pytest.raises(PlaceError) as caught:
        declination(Place(57.0, -4.0), 1e6, dt.date(2027, 1, 1))
    assert str(caught.value) == (
        "The World Magnetic Model covers heights of -1000 to 850000 m; got 1e+06 m. "
        "Check the height and its unit."
    )
    low, high = (declination(Place(57.0, -4.0), h, dt.date(2027, 1, 1)) for h in (0.0, 100.0))
    assert abs(low.declination_deg - high.declination_deg) < 0.001


def test_other_coefficients_are_refused():
    with pytest.raises(DateError) as caught:
        _check_model("WMM-2020", (2020.0, 2025.0))
    assert str(caught.value) == (
        "Expected the coefficients of WMM-2025; pygeomag brings WMM-2020 for 2020 to 2025. "
        "Install pygeomag 1.1 or later."
    )
