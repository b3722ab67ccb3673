"""Against gdaldem, in the grid's own metric; and joined to the ground by PROJ's factors."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import matplotlib.cbook
import numpy as np
import pyproj
import pytest
import rasterio
from tests.own_units import grid_slope_field
from tests.synthetic import Plane, sample_surface

from steybrae.terrain.attributes import FLAT_GRADIENT, aspect_deg, slope_field
from steybrae.terrain.dem import Dem, Grid

ALGORITHMS = {"horn": "Horn", "zevenbergen-thorne": "ZevenbergenThorne"}
NODATA = -9999.0


def ask(gdaldem: str, what: str, method: str, dem: Dem, folder: Path):
    """gdaldem's answer for every cell, NaN where it has none."""
    rows, cols = dem.grid.shape
    a, b, c, d, e, f = dem.grid.transform
    profile = {"driver": "GTiff", "height": rows, "width": cols, "count": 1, "dtype": "float32"}
    place = {"crs": dem.grid.crs_wkt, "transform": rasterio.Affine(a, b, c, d, e, f), "nodata": NODATA}
    with rasterio.open(folder / "heights.tif", "w", **profile, **place) as out:
        out.write(np.nan_to_num(dem.heights_m, nan=NODATA).astype(np.float32), 1)
    command = [gdaldem, what, "-q", "-alg", ALGORITHMS[method], "heights.tif", f"{what}.tif"]
    subprocess.run(command, cwd=folder, check=True)
    with rasterio.open(folder / f"{what}.tif") as answer:
        array = answer.read(1).astype(float)
    array[array == NODATA] = np.nan
    return array


def turn_deg(one, other):
    return (one - other + 180.0) % 360.0 - 180.0


def to_64ths(dem: Dem) -> Dem:
    """Heights to 1/64 m: gdaldem adds them in single precision, which holds sums of these exactly.

    Of heights with more digits it answers up to 0.0006 degrees (slope) and 0.006 degrees
    (aspect) off.
    """
    return Dem(dem.grid, np.round(dem.heights_m * 64.0) / 64.0)


def of_file(path: Path) -> Dem:
    with rasterio.open(path) as source:
        heights = source.read(1, masked=True).astype(float).filled(np.nan)
        grid = Grid(tuple(source.transform)[:6], source.crs.to_wkt(), heights.shape)
    return to_64ths(Dem(grid, heights))


def jacksboro(row_m: float, col_m: float) -> Dem:
    """Sample model of matplotlib's, placed on a grid in metres (it is in degrees, ymin over ymax)."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        heights = sample["elevation"].astype(float)
    grid = Grid((col_m, 0.0, 730_000.0, 0.0, -row_m, 4_070_000.0), "EPSG:32616", heights.shape)
    return Dem(grid, heights)


def with_voids(dem: Dem) -> Dem:
    heights = dem.heights_m.copy()
    heights[np.random.default_rng(8).random(heights.shape) < 0.01] = np.nan
    return Dem(dem.grid, heights)


@pytest.fixture(params=["big tujunga", "jacksboro", "grand canyon", "massif", "canyon with voids"])
def real_dem(request, data_dir) -> Dem:
    if request.param == "big tujunga":
        shared = request.getfixturevalue("shared_data")
        return of_file(shared / "terrain" / "big_tujunga_30m.tif")
    if request.param == "jacksboro":
        return jacksboro(80.0, 80.0)
    if request.param == "massif":
        return of_file(request.getfixturevalue("sample_dem") / "stey_massif.tif")
    canyon = of_file(data_dir / "grand_canyon_128.tif")
    return with_voids(canyon) if request.param.endswith("voids") else canyon


@pytest.mark.parametrize("method", ALGORITHMS)
def test_grid_metric_is_that_of_gdaldem(gdaldem, real_dem, method, tmp_path, request):
    field = grid_slope_field(real_dem, method)
    slope = ask(gdaldem, "slope", method, real_dem, tmp_path)
    assert (np.isnan(field.slope_deg) == np.isnan(slope)).all()
    slope_error = np.nanmax(np.abs(field.slope_deg - slope))
    aspect = ask(gdaldem, "aspect", method, real_dem, tmp_path)
    mine = aspect_deg(field.p, field.q)
    faces = np.hypot(field.p, field.q) >= FLAT_GRADIENT
    assert np.isfinite(aspect[faces]).all()
    assert (np.isfinite(mine) == faces).all()
    aspect_error = np.abs(turn_deg(mine, aspect)[faces]).max()
    name = request.node.callspec.params["real_dem"]
    count = np.isfinite(slope).sum()
    print(f"{name} | {method} | {count} cells | slope {slope_error:.2e}, aspect {aspect_error:.2e} degrees")
    assert slope_error < 1e-4
    assert aspect_error < 1e-3


@pytest.mark.parametrize("method", ALGORITHMS)
def test_cells_that_are_not_square(gdaldem, method, tmp_path):
    # Slope only: gdaldem's aspect takes every cell for square.
    dem = jacksboro(92.5, 74.4)
    slope = ask(gdaldem, "slope", method, dem, tmp_path)
    error = np.nanmax(np.abs(grid_slope_field(dem, method).slope_deg - slope))
    print(f"jacksboro, 74.4 x 92.5 m | {method} | slope {error:.2e} degrees")
    assert error < 1e-4


def corrected(grid: Grid, slope, aspect, step: int):
    """Slope and aspect of a conformal grid corrected by PROJ's scale and convergence, every n-th cell."""
    row, col = np.mgrid[0 : grid.shape[0] : step, 0 : grid.shape[1] : step]
    lon, lat = grid.own_lonlat(col + 0.5, row + 0.5)
    factors = pyproj.Proj(grid.crs).get_factors(lon, lat)
    gradient = np.tan(np.radians(slope[row, col])) * factors.meridional_scale
    true_aspect = aspect[row, col] + factors.meridian_convergence
    return (row, col), np.degrees(np.arctan(gradient)), true_aspect, factors


@pytest.mark.parametrize("method", ALGORITHMS)
@pytest.mark.parametrize("which", ["massif", "big tujunga", "far from the meridian"])
def test_its_answer_corrected_by_proj_is_the_delivered_one(gdaldem, which, method, tmp_path, request):
    if which == "massif":
        dem = of_file(request.getfixturevalue("sample_dem") / "stey_massif.tif")
    elif which == "big tujunga":
        dem = of_file(request.getfixturevalue("shared_data") / "terrain" / "big_tujunga_30m.tif")
    else:  # 330 km east of the central meridian at 69 degrees north
        plane = Plane(38.0, 200.0)
        dem = to_64ths(sample_surface(plane, (200, 200), 30.0, origin=(830_000.0, 7_700_000.0)))
    slope = ask(gdaldem, "slope", method, dem, tmp_path)
    aspect = ask(gdaldem, "aspect", method, dem, tmp_path)
    cells, true_slope, true_aspect, factors = corrected(dem.grid, slope, aspect, 5)
    field = slope_field(dem, method)
    slope_error = np.nanmax(np.abs(field.slope_deg[cells] - true_slope))
    aspect_error = np.nanmax(np.abs(turn_deg(aspect_deg(field.p, field.q)[cells], true_aspect)))
    scale, convergence = factors.meridional_scale.mean(), factors.meridian_convergence.mean()
    print(
        f"{which} | {method} | scale {scale:.6f}, convergence {convergence:.3f} | "
        f"slope {slope_error:.2e}, aspect {aspect_error:.2e} degrees"
    )
    assert abs(scale - 1.0) > 2e-4
    assert abs(convergence) > 0.5
    assert slope_error < 1e-4
    assert aspect_error < 1e-3


def test_stored_answers(data_dir):
    stored = json.loads((data_dir / "gdaldem_answers.json").read_text(encoding="utf-8"))
    assert len(stored["windows"]) == 7
    for case in stored["windows"]:
        cell = case["cell_m"]
        dem = Dem(Grid((cell, 0.0, 0.0, 0.0, -cell, 0.0), "EPSG:32630", (3, 3)), np.array(case["heights_m"]))
        for method in ALGORITHMS:
            field = grid_slope_field(dem, method)
            name = method.replace("-", "_")
            assert field.slope_deg[1, 1] == pytest.approx(case["answers"][f"slope_{name}_deg"], abs=1e-4)
            facing = aspect_deg(field.p, field.q)[1, 1]
            assert facing == pytest.approx(case["answers"][f"aspect_{name}_deg"], abs=1e-4)
