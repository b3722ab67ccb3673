"""Whole rasters from file to file: values, overviews, seams, damage, resuming, several writers."""

from __future__ import annotations

import errno
import json
import os
import re
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
from numpy.testing import assert_allclose, assert_array_equal
from tests.own_units import grid_jacobian, grid_slope_field
from tests.raster.rasters_made import DEGREES, GRIDS, UTM, cells, mountains, run, with_voids, write
from tests.raster.test_kernel import told

from steybrae.answers.area import area_document
from steybrae.bands import BandScheme
from steybrae.errors import FileReadError, FileWriteError, MissingExtraError, QuantityError
from steybrae.files.model.rasters import CACHE_BYTES, open_model
from steybrae.raster import run as of_area
from steybrae.raster.files import tiff as area_tiff
from steybrae.raster.files.heights import cache_for
from steybrae.raster.files.outputs import WORK, PartFile, Workspace
from steybrae.raster.job import LAYERS, halve
from steybrae.raster.result import AreaResult
from steybrae.raster.windows import profile_curvature
from steybrae.terrain.attributes import FLAT_GRADIENT, aspect_deg, slope_field
from steybrae.terrain.dem import Dem, Grid

ALL = ("slope", "tenths", "bands", "aspect", "curvature")
ROWS, COLS = 1130, 2300
"""Two by three blocks, the last ones partial, and overviews that span them."""


def all_of(path: Path) -> Dem:
    """The whole model with a ring of unknown."""
    with open_model([path]) as model:
        rows, cols = model.grid.shape
        return model.read(-1, -1, rows + 2, cols + 2)


def thinned(values: Any) -> Any:
    """The steepest of four cells, unknown (NaN) where one is; the last row and column stand alone."""
    rows, cols = values.shape
    padded = np.pad(values, ((0, rows % 2), (0, cols % 2)), mode="edge")
    return padded.reshape(-(-rows // 2), 2, -(-cols // 2), 2).max(axis=(1, 3))


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("model")
    return write(folder / "hills.tif", with_voids(mountains(ROWS, COLS), many=40))


@pytest.fixture(scope="module")
def made(model: Path) -> tuple[Path, AreaResult]:
    out = model.parent / "made"
    return out, run(out, model, layers=ALL)


class TestRasters:
    def test_slope_and_aspect_are_those_of_the_whole_raster_at_once(self, model, made) -> None:
        field = slope_field(all_of(model))
        inside = (slice(1, -1), slice(1, -1))
        slope = cells(made[0] / "slope.tif")
        told(slope, field.slope_deg[inside])
        aspect = cells(made[0] / "aspect.tif")
        level = aspect == -1.0
        expected = aspect_deg(field.p, field.q)[inside]
        assert_array_equal(level, np.hypot(field.p, field.q)[inside] < FLAT_GRADIENT)
        assert_allclose(np.where(level, np.nan, aspect), expected, atol=1e-3, rtol=0.0)

    def test_the_rim_and_what_lies_beside_a_void_are_unknown(self, made) -> None:
        bands = cells(made[0] / "bands.tif")
        for edge in (bands[0], bands[-1], bands[:, 0], bands[:, -1]):
            assert not edge.any()
        assert_array_equal(bands == 0, np.isnan(cells(made[0] / "slope.tif")))

    def test_overviews_show_unknown_then_the_steepest(self, made) -> None:
        slope = cells(made[0] / "slope.tif")
        bands = cells(made[0] / "bands.tif").astype(float)
        bands[bands == 0] = np.nan
        with rasterio.open(made[0] / "slope.tif") as data:
            assert data.overviews(1) == [2, 4, 8, 16]
        for level in range(4):
            slope, bands = thinned(slope), thinned(bands)
            assert_array_equal(cells(made[0] / "slope.tif", level), slope)
            found = cells(made[0] / "bands.tif", level).astype(float)
            assert_array_equal(found, np.where(np.isnan(bands), 0.0, bands))

    @pytest.mark.parametrize("compress", ["none", "deflate"])
    @pytest.mark.parametrize("size", [(3, 5), (255, 257), (256, 512), (1024, 1024), (1100, 300)])
    def test_every_size_and_packing_reads_back(self, tmp_path, size, compress) -> None:
        path = write(tmp_path / "z.tif", mountains(*size))
        run(tmp_path / "out", path, layers=("slope", "tenths", "bands"), compress=compress)
        slope = slope_field(all_of(path)).slope_deg[1:-1, 1:-1]
        told(cells(tmp_path / "out" / "slope.tif"), slope)
        tenths, bands = cells(tmp_path / "out" / "tenths.tif"), cells(tmp_path / "out" / "bands.tif")
        unknown = np.isnan(slope)
        assert_array_equal(tenths == 65535, unknown)
        assert_array_equal(bands == 0, unknown)
        assert_allclose(tenths[~unknown] / 10.0, slope[~unknown] + 0.05, atol=0.0521)

    def test_large_files_are_written_as_bigtiff(self, tmp_path, monkeypatch, model, made) -> None:
        monkeypatch.setattr(area_tiff, "CLASSIC_BYTES", 1)
        run(tmp_path / "out", model, layers=("bands",))
        raw = (tmp_path / "out" / "bands.tif").read_bytes()
        assert raw[:4] == b"II\x2b\x00"
        assert (made[0] / "bands.tif").read_bytes()[:4] == b"II\x2a\x00"
        for level in (None, 0, 3):
            assert_array_equal(
                cells(tmp_path / "out" / "bands.tif", level), cells(made[0] / "bands.tif", level)
            )

    def test_a_wide_striped_file_keeps_its_strips(self, tmp_path) -> None:
        path = write(tmp_path / "z.tif", mountains(40, 8300), tiled=False, blockxsize=8300, blockysize=4)
        with open_model([path]) as opened:
            assert cache_for(opened, 100_000) == ((100_000 + 8) * 8300 * 4, True)
            assert cache_for(opened, 100) == (CACHE_BYTES, True)
        run(tmp_path / "out", path)
        told(cells(tmp_path / "out" / "slope.tif"), slope_field(all_of(path)).slope_deg[1:-1, 1:-1])

    def test_tiles_are_kept_as_long_as_they_are_read_again(self, tmp_path) -> None:
        """All that GDAL may keep was kept, 50 MB more than two blocks and the row between them need."""
        path = write(tmp_path / "z.tif", mountains(600, 1200), tiled=True, blockxsize=256, blockysize=128)
        with open_model([path]) as opened:
            below, under = 128 * 1200, (100 + 256) * (100 + 512)
            assert cache_for(opened, 100) == ((below + under) * 4, False)
            assert cache_for(opened, 100_000) == (CACHE_BYTES, False)

    def test_striped_feet_and_whole_numbers(self, tmp_path) -> None:
        z = np.round(mountains(200, 300) / 0.3048).astype(np.int16)
        path = write(tmp_path / "z.tif", z, tiled=False, blockxsize=300, blockysize=7)
        run(tmp_path / "out", path, z_unit="ft")
        with open_model([path], "ft") as opened:
            slope = slope_field(opened.read(-1, -1, 202, 302)).slope_deg[1:-1, 1:-1]
        told(cells(tmp_path / "out" / "slope.tif"), slope)

    def test_tiles_act_as_one_raster_without_seams(self, tmp_path, model, made) -> None:
        z, parts = cells(model), []
        for k, (r0, r1, c0, c1) in enumerate(((0, 600, 0, 1000), (0, 600, 990, COLS), (600, ROWS, 0, COLS))):
            place = (*UTM[:2], UTM[2] + 10.0 * c0, *UTM[3:5], UTM[5] - 10.0 * r0)
            parts.append(write(tmp_path / f"{k}.tif", z[r0:r1, c0:c1], transform=place))
        run(tmp_path / "out", *parts)
        assert_array_equal(cells(tmp_path / "out" / "slope.tif"), cells(made[0] / "slope.tif"))
        assert_array_equal(cells(tmp_path / "out" / "bands.tif"), cells(made[0] / "bands.tif"))

    def test_tiles_of_different_steps_are_brought_to_one(self, tmp_path) -> None:
        z = np.round(mountains(64, 128))
        left, right = tmp_path / "l.tif", tmp_path / "r.tif"
        write(left, z[:, :64].astype(np.int16), tiled=False, blockxsize=64, blockysize=64)
        write(
            right,
            (2.0 * z[:, 64:]).astype(np.int16),
            transform=(*UTM[:2], UTM[2] + 640.0, *UTM[3:]),
            tiled=False,
            blockxsize=64,
            blockysize=64,
        )
        with rasterio.open(right, "r+") as data:
            data.scales = (0.5,)
        run(tmp_path / "out", left, right)
        whole = write(tmp_path / "z.tif", z.astype(np.float32))
        run(tmp_path / "whole", whole)
        assert_allclose(
            cells(tmp_path / "out" / "slope.tif"), cells(tmp_path / "whole" / "slope.tif"), atol=5e-4
        )


class TestSameGround:
    def test_degrees_mercator_and_utm_agree(self, tmp_path: Path) -> None:
        # One smooth hill, in true metres about its top, sampled on three grids of about 10 m.
        slopes = {}
        for name, (crs, transform) in GRIDS.items():
            grid = Grid(transform, crs, (400, 400))
            lon, lat = (float(value) for value in grid.to_wgs84(200, 200))
            local = f"+proj=aeqd +lat_0={lat} +lon_0={lon} +ellps=WGS84"
            lon, lat = grid.to_wgs84(*np.meshgrid(np.arange(400) + 0.5, np.arange(400) + 0.5))
            place = pyproj.Transformer.from_crs("EPSG:4326", local, always_xy=True)
            east, north = place.transform(lon, lat)
            far = np.hypot(east, north)
            path = write(tmp_path / f"{name}.tif", 1500.0 * np.exp(-((far / 1200.0) ** 2)), crs, transform)
            run(tmp_path / name, path, layers=("slope",))
            found = cells(tmp_path / name / "slope.tif")
            steepness = 1500.0 * 2.0 * far / 1200.0**2 * np.exp(-((far / 1200.0) ** 2))
            near = (far < 1500.0) & ~np.isnan(found)
            assert near.sum() > 10_000
            assert np.abs(found - np.degrees(np.arctan(steepness)))[near].max() < 0.1
            slopes[name] = found[near].max()
        assert np.ptp(list(slopes.values())) < 0.1


class TestWhatTheFilesSay:
    def test_bands_open_with_names_colours_and_cautions(self, made) -> None:
        out, result = made
        with rasterio.open(out / "bands.tif") as data:
            tags, colours = data.tags(), data.colormap(1)
            assert data.nodata is None
            assert data.crs.to_epsg() == 32632
            assert data.transform == rasterio.Affine(*UTM)
            assert data.descriptions == ("Band of the slope; 0 is unknown ground",)
        assert (
            tags["LEGEND"] == "0: unknown; 1: <25; 2: 25-30; 3: 30-35; 4: 35-40; 5: 40-45; 6: 45-55; 7: 55+ "
            "(degrees over 20.0 m)"
        )
        assert tags["MODEL_FILES"] == "hills.tif"
        assert [tags[f"CAUTION_{k}"] for k in range(1, len(result.cautions) + 1)] == [
            caution.text for caution in result.cautions
        ]
        light = [sum(colours[k][:3]) for k in range(1, 8)]
        assert light == sorted(light, reverse=True)
        assert colours[0] not in [colours[k] for k in range(1, 8)]
        beside = (out / "bands.tif.aux.xml").read_text("utf-8")
        assert re.findall("<Category>(.*)</Category>", beside) == [
            "unknown",
            "&lt;25 degrees over 20.0 m",
            *(f"{label} degrees over 20.0 m" for label in BandScheme().labels[1:]),
        ]
        assert beside.count("<Row ") == 8

    def test_the_tints_are_those_of_every_picture(self, made) -> None:
        from steybrae.figures.style import band_tint
        from steybrae.raster.legend import band_colours

        for k in range(7):
            assert_allclose(np.array(band_colours(made[1])[k + 1]) / 255.0, band_tint(k, 7), atol=2.5 / 255)

    def test_measures_have_unit_scale_and_no_data(self, made) -> None:
        for name in ("slope", "tenths", "aspect", "curvature"):
            with rasterio.open(made[0] / f"{name}.tif") as data:
                assert data.units == (LAYERS[name].unit,)
                assert_array_equal(data.nodata, LAYERS[name].unknown)
                assert data.scales == (LAYERS[name].scale or 1.0,)

    def test_a_crs_that_geotiff_cannot_say_stands_beside(self, tmp_path: Path) -> None:
        pole = "+proj=ob_tran +o_proj=longlat +o_lon_p=0 +o_lat_p=39.25 +lon_0=18 +ellps=WGS84 +type=crs"
        write(tmp_path / "z.tif", mountains(60, 70), crs=None, transform=(1e-4, 0.0, 1.0, 0.0, -1e-4, 2.0))
        wkt = pyproj.CRS.from_user_input(pole).to_wkt()
        text = f"""<VRTDataset rasterXSize="70" rasterYSize="60"><SRS>{escape(wkt)}</SRS>
            <GeoTransform>1.0, 0.0001, 0, 2.0, 0, -0.0001</GeoTransform>
            <VRTRasterBand dataType="Float32" band="1"><SimpleSource>
            <SourceFilename relativeToVRT="1">z.tif</SourceFilename></SimpleSource></VRTRasterBand>
            </VRTDataset>"""
        (tmp_path / "turned.vrt").write_text(text, encoding="utf-8")
        made = tmp_path / "out" / "slope.tif"
        run(made.parent, tmp_path / "turned.vrt")
        with rasterio.open(tmp_path / "turned.vrt") as given, rasterio.open(made) as got:
            assert got.crs == given.crs
            assert got.transform == given.transform
        made.with_name("slope.tif.aux.xml").unlink()
        with rasterio.open(made) as got:
            assert got.crs != given.crs


class TestTable:
    def test_areas_and_cells_add_up(self, made) -> None:
        out, result = made
        bands = cells(out / "bands.tif")
        assert [row.cells for row in result.bands] == [
            int((bands == row.value).sum()) for row in result.bands
        ]
        assert sum(row.cells for row in result.rows) == ROWS * COLS
        assert_allclose(sum(row.km2 for row in result.rows), result.total_km2)
        assert_allclose(sum(row.share for row in result.bands), 1.0)
        # 100 m2 a cell, scale 0.99972 to 0.9998 of UTM there, squared.
        assert_allclose(result.total_km2, ROWS * COLS * 1e-4 * result.model.crs_scale**2, rtol=1e-4)

    def test_unknown_is_one_row_and_the_last(self, made) -> None:
        rows = made[1].rows
        assert [row for row in rows if row.band is None] == [rows[-1]]
        assert (rows[-1].aspect_sector, rows[-1].elevation_low_m) == (None, None)
        assert "unknown_area" in {caution.key for caution in made[1].cautions}

    def test_area_in_degrees_is_that_on_the_ellipsoid(self, tmp_path: Path) -> None:
        path = write(tmp_path / "z.tif", mountains(900, 500), "EPSG:4326", DEGREES)
        found = run(tmp_path / "out", path)
        west, north, step = DEGREES[2], DEGREES[5], DEGREES[0]
        east, south = west + 500 * step, north - 900 * step
        lon = [*np.linspace(west, east, 400), *np.linspace(east, west, 400)]
        lat = [*np.full(400, south), *np.full(400, north)]
        area, _ = pyproj.Geod(ellps="WGS84").polygon_area_perimeter(lon, lat)
        assert_allclose(found.total_km2, area * 1e-6, rtol=2e-6)


class TestThinning:
    @pytest.mark.parametrize("name", ["slope", "tenths", "bands"])
    def test_unknown_wins_then_the_steepest(self, name: str) -> None:
        layer = LAYERS[name]
        rows = np.array([[1, 2, 3, 1], [4, 3, 1, layer.unknown], [5, 6, 7, 1]]).astype(layer.dtype)
        expected = np.array([[4, layer.unknown], [6, 7]]).astype(layer.dtype)
        assert_array_equal(halve(rows, layer), expected)

    def test_tile_by_tile_is_the_same(self) -> None:
        random = np.random.default_rng(1)
        for name in ("slope", "bands"):
            values = random.integers(0, 8, (512, 768)).astype(LAYERS[name].dtype)
            tiles = values.reshape(2, 256, 3, 256)
            assert_array_equal(halve(tiles, LAYERS[name]), halve(values, LAYERS[name]))

    def test_directions_keep_one_of_four(self) -> None:
        assert_array_equal(halve(np.arange(12.0).reshape(3, 4), LAYERS["aspect"]), [[0.0, 2.0], [8.0, 10.0]])


class TestCurvature:
    def test_on_a_sphere_it_is_one_over_the_radius(self) -> None:
        radius = 5000.0
        y, x = np.mgrid[-100:101, -100:101] * 10.0
        z = np.sqrt(radius**2 - x**2 - y**2)
        jacobian = np.broadcast_to(
            grid_jacobian(Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32632", z.shape))[..., None, None],
            (2, 2, *z.shape),
        )
        field = grid_slope_field(Dem(Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32632", z.shape), z))
        found = profile_curvature(z, jacobian, field.p, field.q, FLAT_GRADIENT)
        known = ~np.isnan(found)
        assert known.sum() > 20_000
        assert_allclose(found[known], 1.0 / radius, rtol=1e-3)
        assert_allclose(
            profile_curvature(-z, jacobian, -field.p, -field.q, FLAT_GRADIENT)[known],
            -1.0 / radius,
            rtol=1e-3,
        )


class TestDamage:
    @pytest.fixture
    def broken(self, tmp_path: Path) -> Path:
        path = write(tmp_path / "broken.tif", mountains(600, 600), compress="deflate")
        with rasterio.open(path) as data:
            start = int(data.tags(1, ns="TIFF")["BLOCK_OFFSET_1_1"]) if data.tags(1, ns="TIFF") else None
        if start is None:
            raw = path.read_bytes()
            tags = area_tiff._directory(raw)
            start = area_tiff._numbers(tags[324])[4]
        with path.open("r+b") as file:
            file.seek(start)
            file.write(b"\xff" * 2000)
        return path

    def test_it_is_named_and_stops_the_run(self, broken: Path, tmp_path: Path) -> None:
        with pytest.raises(FileReadError) as stop:
            run(tmp_path / "out", broken)
        assert "its block at row 256, column 256 is not" in str(stop.value)
        assert str(broken) in str(stop.value)
        assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [WORK]

    def test_on_request_it_is_unknown_counted_and_cautioned(self, broken: Path, tmp_path: Path) -> None:
        found = run(tmp_path / "out", broken, unknown_where_unreadable=True)
        assert [(bad.row, bad.col) for bad in found.unreadable] == [(256, 256)]
        assert "unreadable" in {caution.key for caution in found.cautions}
        told = [getattr(one, "text", "") for one in area_document(found).blocks]
        assert "Blocks of the input not readable, and unknown: 1 (broken.tif row 256 column 256)." in told
        unknown = cells(tmp_path / "out" / "bands.tif") == 0
        expected = np.ones((600, 600), bool)
        expected[1:-1, 1:-1] = False
        expected[255:513, 255:513] = True
        assert_array_equal(unknown, expected)

    def test_a_full_disk_is_one_sentence_and_work_is_kept(self, tmp_path, model, monkeypatch) -> None:
        def full(self: PartFile, data: Any) -> int:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(PartFile, "append", full)
        with pytest.raises(FileWriteError) as stop:
            run(tmp_path / "out", model)
        assert str(stop.value) == (
            f"{tmp_path / 'out'} could not be written: No space left on device. Nothing was left under a "
            "final name; set that right and go on with --resume."
        )
        assert [path.name for path in (tmp_path / "out").iterdir()] == [WORK]


class TestResume:
    def cut(self, out: Path, model: Path, monkeypatch: pytest.MonkeyPatch, after: int = 3) -> None:
        """Stop a run after some blocks, as a kill would: a line of the journal is cut short."""

        def told(_what: str, done: int, of: int) -> None:
            if done == after:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            run(out, model, threads=1, told=told)
        with (out / WORK / "journal").open("ab") as journal:
            journal.write(b'{"block":5,"wri')
        (part,) = (out / WORK).glob("slope.*.part")
        with part.open("ab") as file:
            file.write(b"half a tile")

    def test_it_goes_on_and_gives_the_same(self, tmp_path, model, made, monkeypatch) -> None:
        self.cut(tmp_path / "out", model, monkeypatch)
        seen: list[int] = []
        found = run(tmp_path / "out", model, resume=True, told=lambda _what, done, of: seen.append(done))
        assert seen == [4, 5, 6]
        assert found.rows == made[1].rows
        for name in ("slope", "bands"):
            for level in (None, 0, 1, 2, 3):
                assert_array_equal(
                    cells(tmp_path / "out" / f"{name}.tif", level), cells(made[0] / f"{name}.tif", level)
                )
        assert not (tmp_path / "out" / WORK).exists()

    def test_unfinished_work_is_not_lost_by_mistake(self, tmp_path, model, monkeypatch) -> None:
        out = tmp_path / "out"
        self.cut(out, model, monkeypatch)
        with pytest.raises(FileWriteError) as stop:
            run(out, model)
        assert str(stop.value) == (
            f"{out} holds unfinished work. Give --resume to go on, or --force to begin anew."
        )
        refused = (
            f"{out} holds unfinished work of another model, of files that changed since, of other options or "
            "of another version of this program, which cannot be joined. Give the same ones to go on, or "
            "--force without --resume to begin anew."
        )
        with pytest.raises(FileWriteError) as stop:
            run(out, model, resume=True, method="evans")
        assert str(stop.value) == refused
        # Pieces that are kept in another way would be misread.
        monkeypatch.setattr("steybrae.raster.run.WORK_KIND", 1)
        with pytest.raises(FileWriteError) as stop:
            run(out, model, resume=True)
        assert str(stop.value) == refused

    def test_a_stop_between_two_finished_rasters_loses_nothing(
        self, tmp_path, model, made, monkeypatch
    ) -> None:
        real = of_area.write_directories

        def full(file: Any, tags: Any, levels: Any) -> None:
            if "bands" in Path(file.name).name:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            real(file, tags, levels)

        monkeypatch.setattr(of_area, "write_directories", full)
        with pytest.raises(FileWriteError):
            run(tmp_path / "out", model)
        monkeypatch.undo()
        run(tmp_path / "out", model, resume=True)
        for name in ("slope", "bands"):
            for level in (None, 0, 1, 2, 3):
                assert_array_equal(
                    cells(tmp_path / "out" / f"{name}.tif", level), cells(made[0] / f"{name}.tif", level)
                )

    def test_two_runs_in_one_folder_are_refused(self, tmp_path: Path) -> None:
        with Workspace(tmp_path, {}, ["a.tif"]), pytest.raises(FileWriteError) as stop:
            Workspace(tmp_path, {}, ["a.tif"], resume=True)
        assert str(stop.value) == (
            f"Another run is at work in {tmp_path}. Wait for it, or give another folder."
        )

    def test_what_is_finished_is_not_replaced(self, made, model) -> None:
        with pytest.raises(FileWriteError) as stop:
            run(made[0], model, layers=("bands",))
        assert str(stop.value) == (
            f"{made[0] / 'bands.tif'} exists and is not overwritten. Give another name, or --force to "
            "replace it."
        )

    def test_several_writers_give_the_same(self, tmp_path, model, made, monkeypatch) -> None:
        # Each half of the work by a writer of its own, as on a cluster.
        self.cut(tmp_path / "out", model, monkeypatch)
        names = {
            json.loads(line)["writer"]
            for line in (tmp_path / "out" / WORK / "journal").read_bytes().splitlines()[:3]
        }
        assert len(names) == 1
        run(tmp_path / "out", model, resume=True)
        assert_array_equal(cells(tmp_path / "out" / "slope.tif"), cells(made[0] / "slope.tif"))


class TestRefusals:
    def test_names_that_mean_nothing(self, tmp_path: Path, model: Path) -> None:
        with pytest.raises(QuantityError) as stop:
            run(tmp_path, model, layers=("height",))
        assert str(stop.value) == (
            "The output raster should be one of slope, tenths, bands, bands_possible, aspect, "
            "curvature, overhead, start_zones; got 'height'. Choose one."
        )
        with pytest.raises(QuantityError) as stop:
            run(tmp_path, model, compress="zip")
        assert str(stop.value) == (
            "The packing (--compress) should be one of deflate, none; got 'zip'. Choose one."
        )

    def test_a_folder_that_cannot_be(self, tmp_path: Path, model: Path) -> None:
        (tmp_path / "file").touch()
        with pytest.raises(FileWriteError) as stop:
            run(tmp_path / "file", model)
        assert str(stop.value) == (
            f"{tmp_path / 'file'} should be a folder for the outputs; it is a file. Give a folder's name."
        )
        (tmp_path / "link").symlink_to("nowhere")
        with pytest.raises(FileWriteError, match=r"it is a link to nowhere\. Give a folder's name"):
            run(tmp_path / "link", model)
        with pytest.raises(FileWriteError) as stop:
            run(tmp_path / "no" / "out", model)
        assert str(stop.value) == (
            f"The folder {tmp_path / 'no'} should exist to make out there. Make it first."
        )

    def test_richdem_that_is_not_there(self, tmp_path: Path, model: Path, monkeypatch) -> None:
        monkeypatch.setitem(__import__("sys").modules, "richdem", None)
        for options in ({"engine": "richdem"}, {"cross_check": True}):
            with pytest.raises(MissingExtraError, match=r"^The engine richdem needs the optional package"):
                run(tmp_path / "out", model, **options)
            __import__("shutil").rmtree(tmp_path / "out")
