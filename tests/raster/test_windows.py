"""Bands over the leading baseline, possible bands, and that a raster and a place say the same."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from tests.on_grid import TRUE_GRID
from tests.raster.rasters_made import UTM, cells, mountains, run, with_voids, write
from tests.raster.test_kernel import near_an_edge, plain_bands, told
from tests.raster.test_run import all_of

from steybrae.bands import BandScheme
from steybrae.errors import QuantityError
from steybrae.files.model.rasters import open_model
from steybrae.quantities import shown_slope_deg
from steybrae.raster.windows import possible_bands
from steybrae.route.positions.places import Place
from steybrae.screening import Settings
from steybrae.screening.ground.at import ground_at, look_around
from steybrae.terrain.attributes import slope_field
from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.gradients import plane_gradients
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.uncertainty import least_ends_deg, slope_uncertainty

EDGES = (25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
THREE = ("slope", "bands", "bands_possible")
INSIDE = (slice(1, -1), slice(1, -1))


def grid_of(cell_m: float) -> tuple[float, ...]:
    return (cell_m, *UTM[1:4], -cell_m, UTM[5])


@pytest.fixture(scope="module", params=[1.0, 5.0])
def fine(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    """A model of two by two blocks whose cells are finer than the baseline, and its rasters."""
    folder = tmp_path_factory.mktemp("fine")
    z = with_voids(mountains(1040, 1060, request.param), many=12)
    path = write(folder / "hills.tif", z, transform=grid_of(request.param))
    return path, folder / "made", run(folder / "made", path, layers=THREE), round(10.0 / request.param)


class TestBaseline:
    def test_bands_are_over_20_m_and_seams_cannot_show(self, fine) -> None:
        path, made, found, half = fine
        field = slope_field(all_of(path), halves=(half, half))
        slope, bands = field.slope_deg[INSIDE], cells(made / "bands.tif")
        expected = plain_bands(slope)
        assert near_an_edge(slope)[bands != expected].all()
        assert (bands != expected).mean() < 1e-4
        told(cells(made / "slope.tif"), field.short_deg[INSIDE])
        assert found.baseline_m == pytest.approx(20.0, rel=1e-3)
        assert found.baselines_m["slope.tif"] == pytest.approx(20.0 / half, rel=1e-3)

    def test_every_file_names_its_baseline(self, fine) -> None:
        _, made, _, half = fine
        for name, over in (("bands", 20.0), ("bands_possible", 20.0), ("slope", 20.0 / half)):
            with rasterio.open(made / f"{name}.tif") as data:
                assert float(data.tags()["BASELINE_M"]) == pytest.approx(over, abs=0.051)

    def test_slopes_over_another_baseline(self, fine, tmp_path: Path) -> None:
        path = fine[0]
        run(tmp_path / "out", path, layers=("slope", "tenths"), baseline_m=12.0)
        halves = (max(1, round(0.6 * fine[3])),) * 2
        slope = slope_field(all_of(path), halves=halves).slope_deg[INSIDE]
        told(cells(tmp_path / "out" / "slope.tif"), slope)

    def test_a_baseline_of_too_many_cells(self, tmp_path: Path) -> None:
        path = write(tmp_path / "z.tif", mountains(40, 40))
        with pytest.raises(QuantityError) as stop:
            run(tmp_path / "out", path, baseline_m=9000.0)
        assert str(stop.value) == (
            "The baseline of slope.tif should be 5121 m or less on cells of this size; got 9000 m. "
            "Give a shorter one."
        )

    @settings(max_examples=40)
    @given(
        half=st.tuples(st.integers(1, 9), st.integers(1, 9)),
        corner=st.tuples(st.integers(0, 12), st.integers(0, 12)),
        metres=st.sampled_from([0.0, 4000.0]),
    )
    def test_a_plane_is_the_same_from_wherever_the_sums_began(self, half, corner, metres) -> None:
        z = mountains(60, 70, 1.0).astype(np.float64) + metres
        z[30, 33] = np.nan
        whole = plane_gradients(z, *half)
        row, col = corner
        for all_cells, some in zip(whole, plane_gradients(z[row:, col:], *half), strict=True):
            inside = (slice(row + half[1], None), slice(col + half[0], None))
            assert_array_equal(all_cells[inside], some[half[1] :, half[0] :])

    def test_sums_in_whole_numbers_are_those_of_the_weights(self) -> None:
        z = mountains(50, 60, 1.0).astype(np.float64)
        for half_cols, half_rows in ((1, 1), (3, 2), (10, 10)):
            i, j = np.arange(-half_cols, half_cols + 1.0), np.arange(-half_rows, half_rows + 1.0)
            row, col = 25, 30
            part = z[row - half_rows : row + half_rows + 1, col - half_cols : col + half_cols + 1]
            along = (part * i).sum() / ((i**2).sum() * len(j))
            down = (part * j[:, None]).sum() / ((j**2).sum() * len(i))
            found = plane_gradients(z, half_cols, half_rows)
            assert_allclose([one[row, col] for one in found], [along, down], atol=3e-8, rtol=0.0)


class TestPossible:
    def test_it_is_the_band_of_the_upper_end_or_of_a_short_piece(self, fine) -> None:
        path, made, found, half = fine
        dem = all_of(path)
        field = slope_field(dem, halves=(half, half))
        with open_model([path]) as opened:
            rows, cols = opened.grid.shape
            known = slope_uncertainty("horn", jacobian_at(opened.grid, cols / 2, rows / 2))
        high = least_ends_deg(field.slope_deg, known, roughness_deg(field.short_deg))[1][INSIDE]
        slope, short = field.slope_deg[INSIDE], field.short_deg[INSIDE]
        steepest = np.fmax(np.fmax(slope, high), np.where(shown_slope_deg(short) >= 30.0, short, np.nan))
        expected = plain_bands(steepest) + np.where(np.isnan(high), 100, 0)
        expected[np.isnan(slope)] = 0
        got = cells(made / "bands_possible.tif")
        # Roughness from slopes in steps of 1/2048 degree, in single precision.
        assert near_an_edge(steepest, within_deg=2e-3)[got != expected].all()
        assert (got % 100 >= cells(made / "bands.tif")).all()
        counts = dict(zip(*(part.tolist() for part in np.unique(got, return_counts=True)), strict=True))
        assert {row.value: row.cells for row in found.bands_possible} == counts
        assert sum(row.possible_km2 for row in found.bands) == pytest.approx(found.total_km2)
        assert found.bands[-1].possible_km2 == pytest.approx(
            sum(row.km2 for row in found.bands_possible if row.value >= 100 or row.value == 0)
        )

    def test_a_short_step_in_gentle_ground_counts(self, tmp_path: Path) -> None:
        x = np.arange(300.0)
        z = np.broadcast_to(0.1 * x + 3.0 * (x > 150), (300, 300)).astype(np.float32)
        path = write(tmp_path / "step.tif", z, transform=grid_of(1.0))
        run(tmp_path / "out", path, layers=THREE, model_kind="lidar")
        bands, possible = (cells(tmp_path / "out" / f"{name}.tif") for name in ("bands", "bands_possible"))
        assert bands[150].max() == 1  # 14 degrees over 20 m
        assert possible[150, 151] == 7  # atan(1.6) over two cells
        assert possible[150, 100] == 1

    def test_cells_above_40_m_have_no_upper_end(self, tmp_path: Path) -> None:
        path = write(tmp_path / "z.tif", mountains(80, 90, 50.0), transform=grid_of(50.0))
        found = run(tmp_path / "out", path, layers=THREE)
        bands, possible = (cells(tmp_path / "out" / f"{name}.tif") for name in ("bands", "bands_possible"))
        assert_array_equal(possible[bands > 0], bands[bands > 0] + 100)
        assert found.bands[-1].possible_share == pytest.approx(1.0)

    def test_cells_made_finer_reach_as_far_as_at_a_place(self) -> None:
        """Their roughness had counted as if the cells were as made: a band too low at 9 of 55 places."""
        z = mountains(90, 90)
        field = slope_field(Dem(Grid(UTM, "EPSG:32632", z.shape), z))
        jacobian = np.array([[10.0, 0.0], [0.0, -10.0]])
        known = slope_uncertainty("horn", jacobian, found=ModelFound(("interpolated",), 30.0))
        high = least_ends_deg(field.slope_deg, known, roughness_deg(field.short_deg))[1][2:-2, 2:-2]
        out = np.empty(high.shape, np.uint8)
        slope, short = field.slope_deg[2:-2, 2:-2], field.short_deg[1:-1, 1:-1]
        possible_bands(slope.astype(np.float32), short.astype(np.float32), known, EDGES, out)
        expected = plain_bands(np.fmax(high, slope))
        assert near_an_edge(high, within_deg=2e-3)[out != expected].all()

    def test_a_short_piece_shown_as_30_degrees_counts(self) -> None:
        known = slope_uncertainty("horn", np.array([[1.0, 0.0], [0.0, -1.0]]), kind="lidar")
        for short, band in ((29.95, 3), (29.85, 1)):
            out = np.empty((3, 3), np.uint8)
            possible_bands(np.full((3, 3), 20.0), np.full((5, 5), short), known, EDGES, out)
            assert (out[1, 1] == band).all()

    def test_more_stated_error_never_makes_a_band_gentler(self) -> None:
        z = mountains(90, 90)
        field = slope_field(Dem(Grid(UTM, "EPSG:32632", z.shape), z))
        slope = field.slope_deg[2:-2, 2:-2].astype(np.float32)
        short = field.short_deg[1:-1, 1:-1].astype(np.float32)
        jacobian = np.array([[10.0, 0.0], [0.0, -10.0]])
        found = []
        for sd in (0.0, 0.5, 2.0, 8.0):
            out = np.empty(slope.shape, np.uint8)
            possible_bands(slope, short, slope_uncertainty("horn", jacobian, sd, 20.0), EDGES, out)
            found.append(out)
        for less, more in pairwise(found):
            assert (more >= less).all()
        assert (found[-1] > found[0]).any()


class TestSameNumber:
    @pytest.mark.parametrize("dtype", [np.float64, np.float32])
    @pytest.mark.parametrize("cell_m", [10.0, 2.0])
    def test_a_plane_of_30_degrees(self, tmp_path: Path, dtype, cell_m: float) -> None:
        """A place and a raster showed 30.0 and 30.1 for one plane."""
        x = np.arange(90) * cell_m
        z = np.broadcast_to(math.tan(math.radians(30.0)) * x, (90, 90)).astype(dtype)
        path = self.write_true(tmp_path, z, cell_m)
        told_there, raster = self.both(path, tmp_path, [(40 + k, 37 + 2 * k) for k in range(8)])
        assert told_there == raster
        if dtype == np.float64 and cell_m == 10.0:
            assert set(raster) == {(30.0, 30.0, "30-35")}

    @pytest.mark.parametrize("cell_m", [10.0, 2.0])
    def test_made_mountains(self, tmp_path: Path, cell_m: float) -> None:
        path = self.write_true(tmp_path, mountains(120, 120, cell_m), cell_m)
        told_there, raster = self.both(path, tmp_path, [(20 + 9 * k, 95 - 7 * k) for k in range(10)])
        assert told_there == raster

    def write_true(self, folder: Path, z, cell_m: float) -> Path:
        west = -cell_m * z.shape[1] / 2.0
        place = (cell_m, 0.0, west, 0.0, -cell_m, -west)
        return write(folder / "z.tif", z, TRUE_GRID, place)

    def both(self, path: Path, folder: Path, places: list[tuple[int, int]]):
        """Slope over 20 m and over two cells as shown, and the band: of places, and of rasters."""
        for name, baseline_m in (("leading", 20.0), ("own", None)):
            run(folder / name, path, layers=("slope", "tenths", "bands"), baseline_m=baseline_m)
        slopes = [cells(folder / name / "slope.tif").astype(np.float64) for name in ("leading", "own")]
        tenths = [cells(folder / name / "tenths.tif") for name in ("leading", "own")]
        bands = cells(folder / "own" / "bands.tif")
        there, rasters = [], []
        with open_model([path]) as model:
            for at in places:
                lon, lat = model.grid.to_wgs84(at[1] + 0.5, at[0] + 0.5)
                place = Place(float(lat), float(lon))
                found, around = ground_at(place, model, 25.0), look_around(place, model, 25.0, Settings())
                short = around.field.short_deg[math.floor(around.row), math.floor(around.col)]
                shown = (float(shown_slope_deg(one)) for one in (found.slope_deg, short))
                there.append((*shown, found.band.label))
                shown = [float(shown_slope_deg(one[at])) for one in slopes]
                assert shown == pytest.approx([one[at] / 10.0 for one in tenths], abs=1e-9)
                rasters.append((*shown, BandScheme().labels[bands[at] - 1]))
        return there, rasters
