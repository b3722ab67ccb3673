"""The same ground in every CRS: slopes in true metres, aspects from true north.

A surface is defined on the ellipsoid: sine waves of the distance east and north of a place (in
its own azimuthal-equidistant projection). Its true gradient is found without any CRS of a model,
from its heights 1 m east, west, north and south along geodesics. Sampled on grids in many CRSs,
each with cells of about 10 m on the ground, it must be delivered with that gradient; what is left
is the flattening by the cells themselves, which 1 m cells show to be so.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pyproj
import pytest
from tests.own_units import grid_slope_field

from steybrae.terrain.attributes import aspect_deg, slope_deg, slope_field
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.gradients import METHODS

CELL_M = 10.0
SHAPE = (80, 80)
GEOD = pyproj.Geod(ellps="WGS84")
# Wavelength (shortest 60 cells), the direction it runs in, and the gradient it adds.
WAVES = ((600.0, 20.0, 0.6), (900.0, 70.0, 0.4), (1500.0, 130.0, 0.3))
OWN_TMERC = "+proj=tmerc +lat_0={lat} +lon_0={west} +k=0.9995 +x_0=2e5 +y_0=1e5 +ellps=GRS80 +type=crs"


def own_tmerc(lon: float, lat: float) -> str:
    """A national-style grid whose central meridian lies 2 degrees west of the place."""
    return OWN_TMERC.format(lat=lat - 3.0, west=lon - 2.0)


SITES = {  # longitude, latitude, CRSs that hold there
    "equator": (34.5, 0.0, ("EPSG:32636", "own tmerc", "EPSG:4326", "EPSG:3857")),
    "45 north": (7.0, 45.0, ("EPSG:32632", "own tmerc", "EPSG:4326", "EPSG:3857", "EPSG:3035")),
    "57 north": (
        -4.0,
        57.0,
        ("EPSG:32630", "EPSG:27700", "EPSG:4326", "EPSG:3857", "EPSG:3035", "EPSG:3413"),
    ),
    "78 north": (17.5, 78.0, ("EPSG:32633", "own tmerc", "EPSG:4326", "EPSG:3857", "EPSG:3413")),
}
CASES = [
    (site, crs, turned) for site, (*_, found) in SITES.items() for crs in found for turned in (0.0, 30.0)
]


def heights_m(site: str, lon, lat):
    """The surface's heights."""
    lon0, lat0, _ = SITES[site]
    aeqd = pyproj.Proj(f"+proj=aeqd +lon_0={lon0} +lat_0={lat0} +ellps=WGS84")
    east, north = aeqd(lon, lat)
    total = np.full(np.shape(lon), 900.0)
    for wave_m, towards_deg, gradient in WAVES:
        k, towards = 2 * math.pi / wave_m, math.radians(towards_deg)
        along = np.asarray(east) * math.sin(towards) + np.asarray(north) * math.cos(towards)
        total += gradient / k * np.sin(k * along)
    return total


def true_gradient(site: str, lon, lat):
    """Central differences over 2 m along geodesics to the four quarters."""
    north, east, south, west = (
        heights_m(site, *GEOD.fwd(lon, lat, np.full(lon.shape, bearing), np.ones(lon.shape))[:2])
        for bearing in (0.0, 90.0, 180.0, 270.0)
    )
    return (east - west) / 2.0, (north - south) / 2.0


def model_of(site: str, crs: str, turned_deg: float, cell_m: float = CELL_M) -> Dem:
    """The surface sampled on a grid round the site; cells in ground metres northwards."""
    lon, lat, _ = SITES[site]
    crs = own_tmerc(lon, lat) if crs == "own tmerc" else crs
    cell = cell_m / 111_400.0 if crs == "EPSG:4326" else cell_m
    cell *= 1.0 / math.cos(math.radians(lat)) if crs == "EPSG:3857" else 1.0
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, lat)
    c, s = cell * math.cos(math.radians(turned_deg)), cell * math.sin(math.radians(turned_deg))
    rows, cols = SHAPE
    left, top = x - (c * cols + s * rows) / 2, y - (s * cols - c * rows) / 2
    grid = Grid((c, s, left, s, -c, top), crs, SHAPE)
    return Dem(grid, heights_m(site, *cell_centres(grid)))


def cell_centres(grid: Grid):
    row, col = np.mgrid[0 : grid.shape[0], 0 : grid.shape[1]] + 0.5
    return grid.to_wgs84(col, row)


@cache
def sampled(site: str, crs: str, turned_deg: float, cell_m: float):
    """The model and the true gradients on it, for every method."""
    dem = model_of(site, crs, turned_deg, cell_m)
    return dem, *true_gradient(site, *cell_centres(dem.grid))


def errors_deg(site: str, crs: str, turned_deg: float, method, cell_m: float = CELL_M):
    """Errors of slope and of aspect, cell by cell, and the true slope."""
    dem, p, q = sampled(site, crs, turned_deg, cell_m)
    field = slope_field(dem, method)
    turn = (aspect_deg(field.p, field.q) - aspect_deg(p, q) + 180.0) % 360.0 - 180.0
    return np.abs(field.slope_deg - slope_deg(p, q)), np.abs(turn), slope_deg(p, q)


@pytest.mark.parametrize(("site", "crs", "turned_deg"), CASES)
@pytest.mark.parametrize("method", METHODS)
def test_true_slope_and_true_aspect(site, crs, turned_deg, method):
    slope_error, aspect_error, true_slope = errors_deg(site, crs, turned_deg, method)
    assert np.nanmax(true_slope) > 40.0
    assert np.isfinite(slope_error[1:-1, 1:-1]).all()
    assert np.isfinite(aspect_error).mean() > 0.85
    steep = true_slope >= 5.0
    worst = [np.nanmax(found) for found in (slope_error, aspect_error, aspect_error[steep])]
    figures = " ".join(f"{value:.4f}" for value in worst)
    print(f"10 m | {site} | {crs} turned {turned_deg:g} | {method} | slope, aspect, aspect on 5+: {figures}")
    assert worst[0] < 0.1
    assert worst[2] < 0.5
    # On gentler ground the short wave's flattening turns what is left of the gradient: by up to
    # 0.6 degrees with the widest method.
    assert worst[1] < (0.6 if method == "evans" else 0.5)


@pytest.mark.parametrize(("site", "crs", "turned_deg"), CASES)
def test_what_is_left_is_the_flattening_by_the_cells(site, crs, turned_deg):
    slope_error, aspect_error, _ = errors_deg(site, crs, turned_deg, "horn", 1.0)
    worst = np.nanmax(slope_error), np.nanmax(aspect_error)
    print(f"1 m | {site} | {crs} turned {turned_deg:g} | horn | slope, aspect: {worst[0]:.5f} {worst[1]:.5f}")
    assert worst[0] < 0.002
    assert worst[1] < 0.005


def test_without_it_web_mercator_would_flatter():
    # The test above has power: by the grid's own metres the same ground is far gentler.
    dem = model_of("78 north", "EPSG:3857", 0.0)
    steepest = np.nanmax(slope_field(dem).slope_deg)
    flattered = np.nanmax(grid_slope_field(dem).slope_deg)
    assert steepest > 40.0
    assert flattered < 15.0
