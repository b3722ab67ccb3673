"""From grid steps to ground metres, against PROJ's own factors and geodesics."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
from tests.own_units import grid_jacobian

from steybrae.errors import ModelError
from steybrae.terrain.dem import Grid
from steybrae.terrain.jacobian import (
    cell_size_m,
    ground_gradients,
    jacobian_at,
    jacobian_field,
)

US_FOOT_M = 1200.0 / 3937.0
POLE_MESSAGE = (
    "The ground should lie more than 0.1 degree from a pole, where east and north have a meaning; "
    "part of it does not. Leave that part out."
)
NOWHERE_MESSAGE = (
    "Every part of the model that is used should have a place on the earth; its CRS gives none here. "
    "Check transform and CRS."
)


def grid_round(crs: str, lon: float, lat: float, cell=10.0, shape=(1, 1), turned_deg=0.0) -> Grid:
    """North-up or turned grid whose middle is a place on the CRS's own datum."""
    own = pyproj.CRS(crs).geodetic_crs
    x, y = pyproj.Transformer.from_crs(own, crs, always_xy=True).transform(lon, lat)
    c, s = cell * math.cos(math.radians(turned_deg)), cell * math.sin(math.radians(turned_deg))
    rows, cols = shape
    left, top = x - (c * cols + s * rows) / 2, y - (s * cols - c * rows) / 2
    return Grid((c, s, left, s, -c, top), crs, shape)


def middle_jacobian(grid: Grid):
    rows, cols = grid.shape
    return jacobian_at(grid, cols / 2, rows / 2)


def radii_m(crs: str, lat: float) -> tuple[float, float]:
    """Radii of curvature in the prime vertical and in the meridian, in textbook form."""
    ellipsoid = pyproj.CRS(crs).ellipsoid
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    c, s = math.cos(math.radians(lat)), math.sin(math.radians(lat))
    across = a * a / math.hypot(a * c, b * s)
    return across, (a * b) ** 2 / math.hypot(a * c, b * s) ** 3


PROJECTED = [
    ("EPSG:32630", -5.0, 57.0),
    ("EPSG:32633", 16.0, 78.0),
    ("EPSG:32736", 33.5, -20.0),
    ("EPSG:27700", -4.0, 57.0),
    ("EPSG:27700", 1.7, 52.6),
    ("EPSG:3035", -4.0, 57.0),
    ("EPSG:3035", 25.0, 40.0),
    ("EPSG:3413", 16.0, 78.0),
    ("EPSG:3413", -120.0, 66.0),
    ("EPSG:2229", -118.4, 34.3),
]


@pytest.mark.parametrize("turned_deg", [0.0, 30.0])
@pytest.mark.parametrize(("crs", "lon", "lat"), PROJECTED)
def test_scales_and_convergence_are_those_of_proj(crs, lon, lat, turned_deg):
    unit = US_FOOT_M if crs == "EPSG:2229" else 1.0
    grid = grid_round(crs, lon, lat, 10.0 / unit, turned_deg=turned_deg)
    # Grid metres per ground metre: columns for one metre east and one metre north.
    east, north = (unit * grid_jacobian(grid) @ np.linalg.inv(middle_jacobian(grid))).T
    factors = pyproj.Proj(crs).get_factors(lon, lat)
    assert np.hypot(*north) == pytest.approx(factors.meridional_scale, rel=1e-6)
    assert np.hypot(*east) == pytest.approx(factors.parallel_scale, rel=1e-6)
    area = east[0] * north[1] - east[1] * north[0]
    assert area == pytest.approx(factors.areal_scale, rel=1e-6)
    # Convergence: from true to grid north, east positive, so true north lies at minus it.
    north_lies_deg = math.degrees(math.atan2(north[0], north[1]))
    assert north_lies_deg == pytest.approx(-factors.meridian_convergence, abs=1e-6)


def test_water_tower_of_the_national_grid():
    # Caister water tower: 52 39 27.2531 N, 1 43 4.5177 E is 651409.903, 313177.270 in "A guide to
    # coordinate systems in Great Britain" (Ordnance Survey). Scale and convergence there worked
    # out with PROJ.
    grid = Grid((10.0, 0.0, 651409.903, 0.0, -10.0, 313177.270), "EPSG:27700", (1, 1))
    lon, lat = grid.own_lonlat(0.0, 0.0)
    assert lat == pytest.approx(52 + 39 / 60 + 27.2531 / 3600, abs=2e-8)
    assert lon == pytest.approx(1 + 43 / 60 + 4.5177 / 3600, abs=3e-8)
    jacobian = jacobian_at(grid, 0.0, 0.0)
    assert 10.0 / np.hypot(*jacobian[:, 0]) == pytest.approx(1.000377, abs=1e-6)
    assert math.degrees(math.atan2(jacobian[0, 1], jacobian[1, 1])) == pytest.approx(
        2.95738 - 180.0, abs=1e-4
    )


@pytest.mark.parametrize("lat", [0.0, 45.0, 57.0, -57.0, 78.0, 89.0])
def test_web_mercator_by_its_formula(lat):
    # x = a lon and y = a ln tan(45 + lat/2), with latitudes of the ellipsoid on a sphere.
    jacobian = middle_jacobian(grid_round("EPSG:3857", -4.0, lat, 38.2))
    across, along = radii_m("EPSG:3857", lat)
    shrink = 38.2 * math.cos(math.radians(lat)) / 6378137.0
    np.testing.assert_allclose(jacobian, [[across * shrink, 0], [0, -along * shrink]], rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:4258", "EPSG:4277"])
@pytest.mark.parametrize("lat", [0.0, 45.0, 57.0, -78.0, 89.0])
def test_degrees_by_the_radii_of_curvature(crs, lat):
    step = 1.0 / 3600.0
    jacobian = middle_jacobian(grid_round(crs, 179.9999, lat, step))
    across, along = radii_m(crs, lat)
    east = math.radians(step) * across * math.cos(math.radians(lat))
    np.testing.assert_allclose(jacobian, [[east, 0], [0, -math.radians(step) * along]], rtol=1e-6, atol=1e-6)


GEODESIC = [(crs, lon, lat) for crs, lon, lat in PROJECTED if lat != 66.0]


@pytest.mark.parametrize(
    ("crs", "lon", "lat"), [*GEODESIC, ("EPSG:4326", 7.0, 45.0), ("EPSG:3857", 7.0, 45.0)]
)
def test_steps_are_those_of_geodesics(crs, lon, lat):
    cell = 10.0 / 111_000.0 if crs == "EPSG:4326" else 10.0
    grid = grid_round(crs, lon, lat, cell, turned_deg=30.0)
    geod = pyproj.CRS(crs).get_geod()
    jacobian = middle_jacobian(grid)
    for axis, (dc, dr) in enumerate(((1.0, 0.0), (0.0, 1.0))):
        lon0, lat0 = grid.own_lonlat(0.5 - dc * 20, 0.5 - dr * 20)
        lon1, lat1 = grid.own_lonlat(0.5 + dc * 20, 0.5 + dr * 20)
        there, back, metres = geod.inv(lon0, lat0, lon1, lat1)
        bearing = math.radians(there + ((back + 180.0 - there + 180.0) % 360.0 - 180.0) / 2.0)
        found = metres / 40.0 * np.array([math.sin(bearing), math.cos(bearing)])
        np.testing.assert_allclose(jacobian[:, axis], found, atol=1e-6 * metres / 40.0)


@pytest.mark.parametrize(("crs", "cell"), [("EPSG:27572", 25.0), ("EPSG:4807", 0.00025)])
def test_systems_that_count_in_grads_from_paris(crs, cell):
    # By way of WGS 84, whose datum differs by some 1e-5 in scale and turn.
    to_crs = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    x, y = to_crs.transform(6.8, 45.8)
    grid = Grid((cell, 0.0, x, 0.0, -cell, y), crs, (1, 1))
    jacobian = jacobian_at(grid, 0.0, 0.0)
    geod = pyproj.Geod(ellps="WGS84")
    for axis, (col, row) in enumerate(((20.0, 0.0), (0.0, 20.0))):
        lon0, lat0 = grid.to_wgs84(-col, -row)
        lon1, lat1 = grid.to_wgs84(col, row)
        there, _, metres = geod.inv(lon0, lat0, lon1, lat1)
        step = metres / 40.0
        bearing = math.degrees(math.atan2(*jacobian[:, axis]))
        assert np.hypot(*jacobian[:, axis]) == pytest.approx(step, rel=5e-5)
        assert bearing == pytest.approx(there, abs=0.02)


def test_feet_are_metres_on_the_ground():
    grid = grid_round("EPSG:2229", -118.4, 34.3, 30.0)
    factors = pyproj.Proj("EPSG:2229").get_factors(-118.4, 34.3)
    found = cell_size_m(grid)
    assert found == pytest.approx([30.0 * US_FOOT_M / factors.parallel_scale] * 2, rel=1e-6)


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [
        ("EPSG:32630", -5.0, 57.0),
        ("EPSG:27700", -4.0, 57.0),
        ("EPSG:3857", -4.0, 57.0),
        ("EPSG:3035", -4.0, 57.0),
        ("EPSG:3413", -45.0, 89.8),
        ("EPSG:4326", -4.0, 57.0),
        ("EPSG:4326", -4.0, 89.7),
    ],
)
def test_interpolated_jacobian_on_big_windows(crs, lon, lat):
    cell = 1e-4 if crs == "EPSG:4326" else 10.0
    grid = grid_round(crs, lon, lat, cell, (2000, 2000))
    field = jacobian_field(grid)
    assert field.shape == (2, 2, 2000, 2000)
    rng = np.random.default_rng(4)
    row, col = rng.integers(0, 2000, (2, 500))
    row[:4], col[:4] = [0, 0, 1999, 1999], [0, 1999, 0, 1999]
    exact = np.moveaxis(jacobian_at(grid, col + 0.5, row + 0.5), 0, -1)
    worst = np.abs(field[:, :, row, col] - exact).max() / np.linalg.norm(exact, ord=2, axis=(0, 1)).min()
    print(f"{crs} at {lat}: interpolation error {worst:.2e}")
    assert worst < 1e-5


@pytest.mark.parametrize("shape", [(1, 1), (1, 70), (65, 3), (200, 130)])
def test_interpolated_jacobian_on_windows_of_any_shape(shape):
    grid = grid_round("EPSG:3413", 10.0, 85.0, 30.0, shape, turned_deg=17.0)
    row, col = np.mgrid[0 : shape[0], 0 : shape[1]] + 0.5
    np.testing.assert_allclose(
        jacobian_field(grid), np.moveaxis(jacobian_at(grid, col, row), (2, 3), (0, 1)), atol=1e-5 * 30.0
    )


def test_a_window_has_the_jacobian_of_its_place_in_the_whole():
    grid = grid_round("EPSG:3035", -4.0, 57.0, 25.0, (300, 300))
    part = grid.part(120, 40, 50, 60)
    whole = jacobian_field(grid)[:, :, 120:170, 40:100]
    np.testing.assert_allclose(jacobian_field(part), whole, atol=1e-6 * 25.0)


@pytest.mark.parametrize("turned_deg", [0.0, 30.0, 200.0])
def test_gradients_on_the_ground_undo_the_steps(turned_deg):
    jacobian = middle_jacobian(grid_round("EPSG:3035", 25.0, 40.0, 30.0, turned_deg=turned_deg))
    p, q = -0.3, 0.55
    per_col, per_row = np.array([p, q]) @ jacobian
    assert ground_gradients(jacobian, per_col, per_row) == pytest.approx((p, q), abs=1e-12)
    assert np.isnan(ground_gradients(jacobian, np.array(np.nan), per_row)).all()


@pytest.mark.parametrize(
    ("crs", "lat", "cell"),
    [("EPSG:4326", 89.95, 1e-3), ("EPSG:4326", -89.95, 1e-3), ("EPSG:3413", 89.95, 30.0)],
)
def test_ground_near_a_pole_is_refused(crs, lat, cell):
    with pytest.raises(ModelError) as caught:
        jacobian_field(grid_round(crs, 20.0, lat, cell, (10, 10)))
    assert str(caught.value) == POLE_MESSAGE


@pytest.mark.parametrize("cell", [50.0, 400.0, 1000.0, 3000.0])
@pytest.mark.parametrize("off_cells", [0.0, 11.3])
def test_a_window_over_a_pole_is_refused_however_coarse(cell, off_cells):
    half = 100.0
    left, top = (-half + off_cells) * cell, (half - off_cells / 2) * cell
    grid = Grid((cell, 0.0, left, 0.0, -cell, top), "EPSG:3413", (200, 200))
    with pytest.raises(ModelError) as caught:
        jacobian_field(grid)
    assert str(caught.value) == POLE_MESSAGE


@pytest.mark.parametrize("cell", [30.0, 3000.0])
def test_ground_just_outside_the_gap_is_taken(cell):
    # There the bend of the projection over the 100 m of a difference is about 1e-6.
    jacobian = middle_jacobian(grid_round("EPSG:3413", 20.0, 89.89, cell))
    factors = pyproj.Proj("EPSG:3413").get_factors(20.0, 89.89)
    assert np.hypot(*jacobian[:, 0]) == pytest.approx(cell / factors.parallel_scale, rel=3e-6)
    assert np.hypot(*jacobian[:, 1]) == pytest.approx(cell / factors.meridional_scale, rel=3e-6)


def test_ground_that_lies_nowhere_is_refused():
    grid = Grid((10.0, 0.0, 5e8, 0.0, -10.0, 5e8), "EPSG:3035", (3, 3))
    with pytest.raises(ModelError) as caught:
        jacobian_field(grid)
    assert str(caught.value) == NOWHERE_MESSAGE


def test_cell_size_is_told_where_it_is_asked_for():
    grid = grid_round("EPSG:4326", 0.0, 60.0, 0.01, (400, 1))
    across, along = radii_m("EPSG:4326", 60.0)
    step = math.radians(0.01)
    assert cell_size_m(grid) == pytest.approx((across * step * 0.5, along * step), rel=1e-6)
    top = radii_m("EPSG:4326", 62.0)[0] * step * math.cos(math.radians(62.0))
    assert cell_size_m(grid, 0.5, 0.0)[0] == pytest.approx(top, rel=1e-6)
