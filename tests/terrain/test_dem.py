"""Grids, windows and coordinate reference systems."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj.crs.coordinate_operation import LambertAzimuthalEqualAreaConversion
from tests.synthetic import Plane, sample_surface

from steybrae.cautions import Situation, cautions_for
from steybrae.errors import ModelError
from steybrae.terrain.dem import Dem, Grid, horizontal_crs

ENGINEERING = 'LOCAL_CS["site grid",LOCAL_DATUM["site",0],UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'


def test_no_crs_is_refused():
    with pytest.raises(ModelError) as caught:
        horizontal_crs(None)
    assert str(caught.value) == (
        "The elevation model should say its coordinate reference system; it has none. "
        "Add it, for instance with gdal_translate -a_srs EPSG:27700."
    )


@pytest.mark.parametrize(
    ("crs", "name", "kind"),
    [
        (ENGINEERING, "site grid", "Engineering CRS"),
        ("EPSG:4978", "WGS 84", "Geocentric CRS"),
        ("EPSG:5701", "ODN height", "Vertical CRS"),
    ],
)
def test_crs_with_no_place_on_the_earth_is_refused(crs, name, kind):
    with pytest.raises(ModelError) as caught:
        horizontal_crs(crs)
    assert str(caught.value) == (
        "The elevation model should lie on the earth (geographic or projected CRS); "
        f"its CRS {name!r} is of the kind {kind!r}. Give a georeferenced model."
    )


@pytest.mark.parametrize(
    ("crs", "horizontal"),
    [
        ("EPSG:27700", "EPSG:27700"),
        ("EPSG:27700+5701", "EPSG:27700"),
        ("EPSG:7405", "EPSG:27700"),
        ("EPSG:9518", "EPSG:4326"),
        ("EPSG:4979", "EPSG:4326"),
    ],
)
def test_compound_and_three_dimensional_crs_are_reduced(crs, horizontal):
    found = horizontal_crs(crs)
    assert len(found.axis_info) == 2
    assert found == pyproj.CRS(horizontal)


def test_bound_crs_is_reduced_to_its_source():
    found = horizontal_crs("+proj=utm +zone=30 +ellps=intl +towgs84=-87,-98,-121 +type=crs")
    assert found.type_name == "Projected CRS"
    assert not found.is_bound


@given(
    col=st.floats(-1000, 1000),
    row=st.floats(-1000, 1000),
    turned=st.sampled_from([(10.0, 0.0, 0.0, -10.0), (8.0, 6.0, 6.0, -8.0), (5.0, 0.0, 0.0, 7.0)]),
)
def test_positions_go_and_come_back(col, row, turned):
    a, b, d, e = turned
    grid = Grid((a, b, 250_000.0, d, e, 780_000.0), "EPSG:27700", (10, 10))
    assert grid.colrow(*grid.xy(col, row)) == pytest.approx((col, row), abs=1e-8)


def test_windows_keep_their_place_and_are_unknown_outside():
    dem = sample_surface(Plane(30.0, 90.0), (6, 8), 10.0)
    window = dem.read(-2, 5, 5, 6)
    assert window.grid.shape == window.heights_m.shape == (5, 6)
    assert window.grid.xy(0.5, 2.5) == pytest.approx(dem.grid.xy(5.5, 0.5), abs=1e-9)
    np.testing.assert_array_equal(window.heights_m[2:, :3], dem.heights_m[:3, 5:])
    assert np.isnan(window.heights_m[:2]).all()
    assert np.isnan(window.heights_m[:, 3:]).all()
    assert np.isnan(dem.read(20, 20, 2, 2).heights_m).all()


def test_heights_are_kept_and_cannot_be_changed():
    given_heights = np.array([[1.0, np.inf], [-np.inf, np.nan]])
    dem = Dem(Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32630", (2, 2)), given_heights)
    given_heights[0, 0] = 99.0
    assert dem.heights_m[0, 0] == 1.0
    assert np.isnan(dem.heights_m.ravel()[1:]).all()
    with pytest.raises(ValueError, match=r"^assignment destination is read-only$"):
        dem.heights_m[0, 0] = 2.0


def test_heights_of_another_shape_are_refused():
    with pytest.raises(ModelError) as caught:
        Dem(Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32630", (2, 3)), np.zeros((3, 2)))
    assert str(caught.value) == (
        "Heights should have the grid's shape (2, 3); got (3, 2). Give rows first, then columns."
    )


@pytest.mark.parametrize("left", [179.5, -180.5])
@pytest.mark.parametrize("lon", [179.75, -180.25])
def test_a_grid_over_the_antimeridian_is_met_from_both_sides(left, lon):
    grid = Grid((0.01, 0.0, left, 0.0, -0.01, -16.0), "EPSG:4326", (100, 100))
    assert grid.from_wgs84(lon, -16.5) == pytest.approx((25.0, 50.0), abs=1e-6)


@pytest.mark.parametrize("crs", ["EPSG:27572", "EPSG:4807"])
def test_own_longitude_is_in_degrees_from_greenwich(crs):
    # The meridian of Paris lies 2.5969213 grads, 2 20 14.025 E, from Greenwich (EPSG).
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(6.8, 45.8)
    cell = 0.001 if crs == "EPSG:4807" else 25.0
    grid = Grid((cell, 0.0, x, 0.0, -cell, y), crs, (10, 10))
    assert grid.own_lonlat(0.0, 0.0) == pytest.approx((6.8, 45.8), abs=1e-3)  # a datum's shift apart
    assert grid.from_wgs84(6.8, 45.8) == pytest.approx((0.0, 0.0), abs=1e-3)
    assert grid.from_wgs84(6.8 - 360.0, 45.8) == pytest.approx((0.0, 0.0), abs=1e-3)
    if crs == "EPSG:4807":
        meridian = Grid((cell, 0.0, 0.0, 0.0, -cell, y), crs, (10, 10))
        assert meridian.own_lonlat(0.0, 0.0)[0] == pytest.approx(2 + 20 / 60 + 14.025 / 3600, abs=1e-7)


def test_positions_by_gps_go_through_the_datum():
    # A change of datum moves 27700 by about 100 m against a place's own latitude and longitude.
    grid = Grid((10.0, 0.0, 290_000.0, 0.0, -10.0, 790_000.0), "EPSG:27700", (100, 100))
    lon, lat = grid.to_wgs84(50.0, 50.0)
    assert grid.from_wgs84(lon, lat) == pytest.approx((50.0, 50.0), abs=1e-3)
    own_lon, own_lat = grid.own_lonlat(50.0, 50.0)
    *_, apart_m = pyproj.Geod(ellps="WGS84").inv(lon, lat, own_lon, own_lat)
    assert 50.0 < apart_m < 150.0
    accuracy_m = grid.datum_accuracy_m
    assert accuracy_m is not None
    assert 0.0 < accuracy_m < 30.0


def test_no_datum_shift_has_no_error():
    grid = Grid((10.0, 0.0, 500_000.0, 0.0, -10.0, 6_300_000.0), "EPSG:32630", (10, 10))
    assert grid.datum_accuracy_m == 0.0
    nowhere = Grid((10.0, 0.0, 5e8, 0.0, -10.0, 5e8), "EPSG:3035", (3, 3))
    assert nowhere.datum_accuracy_m is None


@pytest.mark.parametrize(("crs", "accuracy_m"), [("EPSG:4326", 0.0), ("EPSG:4258", 1.0), ("EPSG:32630", 0.0)])
def test_datum_accuracy_where_proj_has_one_operation(crs: str, accuracy_m: float) -> None:
    # ETRS89 to WGS 84 is stated by the EPSG registry as good to 1 m.
    cell, x, y = (1e-4, -3.0, 57.0) if crs != "EPSG:32630" else (10.0, 500_000.0, 6_300_000.0)
    assert Grid((cell, 0.0, x, 0.0, -cell, y), crs, (100, 100)).datum_accuracy_m == accuracy_m


# The stated accuracies are the EPSG registry's for the operation that PROJ uses at the place.
@pytest.mark.parametrize(
    ("crs", "x", "y", "accuracy_m"),
    [
        ("EPSG:26910", 500_000.0, 5_400_000.0, 4.0),  # NAD83
        ("EPSG:4269", -122.0, 48.0, 4.0),
        ("EPSG:25832", 500_000.0, 5_300_000.0, 1.0),  # ETRS89
        ("EPSG:4258", 10.0, 47.0, 1.0),
        ("EPSG:27700", 216_600.0, 771_200.0, 2.0),  # OSGB36
        ("EPSG:23032", 500_000.0, 5_300_000.0, 2.0),  # ED50
        ("EPSG:26710", 500_000.0, 5_400_000.0, 7.0),  # NAD27
        ("EPSG:2056", 2_600_000.0, 1_200_000.0, 1.0),  # CH1903+
        ("EPSG:3857", 1.1e6, 6e6, 0.0),
        ("EPSG:32632", 500_000.0, 5_300_000.0, 0.0),
    ],
)
def test_a_stated_small_error_of_the_datum_is_no_caution(
    crs: str, x: float, y: float, accuracy_m: float
) -> None:
    found = datum_accuracy_m(crs, x, y)
    assert found == accuracy_m
    assert "datum" not in caution_keys(found)


@pytest.mark.parametrize(
    ("crs", "lon_deg", "lat_deg", "low_m", "high_m"),
    [
        # NAD83's origin is some 2 m from that of WGS 84 (D. Doyle, National Geodetic Survey, 2000);
        # the worst of its operations, for the Aleutians, is 4 m from none and good to 8 m.
        ("EPSG:4269", -66.5, 18.2, 8.0, 13.0),  # Puerto Rico
        ("EPSG:4269", -99.0, 20.0, 8.0, 13.0),  # Mexico
        ("EPSG:7844", 10.0, 47.0, 3.0, 5.0),  # GDA2020, far from Australia
    ],
)
def test_a_datum_fixed_to_a_plate_is_metres_off_where_no_operation_covers_it(
    crs: str, lon_deg: float, lat_deg: float, low_m: float, high_m: float
) -> None:
    found = datum_accuracy_m(equal_area_around(crs, lon_deg, lat_deg), 0.0, 0.0)
    assert found is not None
    assert low_m < found < high_m
    assert "datum" not in caution_keys(found)


@pytest.mark.parametrize(
    ("crs", "lon_deg", "lat_deg"),
    [
        ("EPSG:4267", -40.0, 40.0),  # NAD27
        ("EPSG:4230", -100.0, 40.0),  # ED50
        ("EPSG:4277", 20.0, 50.0),  # OSGB36
        # GRS80 is its ellipsoid too, yet it lies 320 m off: an ellipsoid tells nothing.
        ("EPSG:4121", 10.0, 47.0),  # GGRS87, out of Greece
    ],
)
def test_an_old_datum_keeps_its_caution_where_no_operation_covers_it(
    crs: str, lon_deg: float, lat_deg: float
) -> None:
    found = datum_accuracy_m(equal_area_around(crs, lon_deg, lat_deg), 0.0, 0.0)
    # Newer PROJ no longer makes 999 m of the accuracy that some operations of ED50 do not state.
    assert found is None or found > 100.0
    assert "datum" in caution_keys(found)


@pytest.mark.parametrize("named", ["+proj=longlat +ellps=GRS80", "+proj=longlat +ellps=intl"])
def test_a_datum_of_no_name_keeps_its_caution(named: str) -> None:
    found = datum_accuracy_m(f"{named} +type=crs", 10.0, 47.0)
    assert found is None
    assert "datum" in caution_keys(found)


def test_a_guessed_datum_has_no_known_error_in_any_window() -> None:
    grid = Grid((10.0, 0.0, 5e5, 0.0, -10.0, 5.3e6), "EPSG:23032", (10, 10), datum_named=False)
    assert grid.datum_accuracy_m is None
    assert grid.part(2, 3, 4, 5).datum_accuracy_m is None


def equal_area_around(geographic: str, lon_deg: float, lat_deg: float) -> str:
    """Map projection of its own around a place, as surveys and programs make them."""
    middle = LambertAzimuthalEqualAreaConversion(lat_deg, lon_deg)
    return pyproj.crs.ProjectedCRS(middle, "of its own", geodetic_crs=pyproj.CRS(geographic)).to_wkt()


def datum_accuracy_m(crs: str, x: float, y: float) -> float | None:
    cell = 1e-4 if pyproj.CRS(crs).is_geographic else 10.0
    return Grid((cell, 0.0, x, 0.0, -cell, y), crs, (10, 10)).datum_accuracy_m


def caution_keys(accuracy_m: float | None) -> set[str]:
    return {caution.key for caution in cautions_for(Situation(datum_accuracy_m=accuracy_m))}
