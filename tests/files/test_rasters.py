"""Elevation models from disk: formats, unknown heights, units, tiles, damage, no network."""

from __future__ import annotations

import re
import socket
import struct
import threading
from collections.abc import Iterator, Sequence
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
import rasterio.env
import rasterio.shutil
from affine import Affine
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning
from tests.own_units import grid_slope_field

import steybrae
from steybrae.errors import FileReadError, ModelError
from steybrae.files.model import fingerprints
from steybrae.files.model import vrt as vrt_reading
from steybrae.files.model.declared import parse_height_unit
from steybrae.files.model.fingerprints import files_fingerprint
from steybrae.files.model.offline import OFFLINE
from steybrae.files.model.rasters import open_model
from steybrae.files.model.vrt import is_tiff, largest_block_bytes
from steybrae.terrain.attributes import slope_field

EAST, NORTH, CELL = 54_500.0, 1_053_500.0, 10.0
FOOT, US_FOOT = 0.3048, 1200.0 / 3937.0


def heights(rows: int = 40, cols: int = 50) -> NDArray[np.float64]:
    """Whole numbers, every one different, so that a slip by a cell shows."""
    return np.arange(rows * cols, dtype=float).reshape(rows, cols)


def write(
    path: Path,
    values: Any,
    *,
    crs: str | None = "EPSG:27700",
    origin: tuple[float, float] = (EAST, NORTH),
    cell: float = CELL,
    scale: float = 1.0,
    offset: float = 0.0,
    unit: str = "",
    mask: Any = None,
    **options: Any,
) -> Path:
    """Write a small raster."""
    values = np.asarray(values)
    bands = values if values.ndim == 3 else values[np.newaxis]
    options = {"driver": "GTiff", "transform": Affine(cell, 0.0, origin[0], 0.0, -cell, origin[1]), **options}
    count, rows, cols = bands.shape
    # The mask belongs into the file: a second file beside it is not looked for.
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK="YES"),
        rasterio.open(
            path, "w", height=rows, width=cols, count=count, dtype=bands.dtype, crs=crs, **options
        ) as made,
    ):
        made.write(bands)
        if (scale, offset) != (1.0, 0.0):
            made.scales, made.offsets = (scale,) * count, (offset,) * count
        if unit:
            made.units = (unit,) * count
        if mask is not None:
            made.write_mask(mask)
    return path


def read_all(*paths: Path, z_unit: str | None = None) -> NDArray[np.float64]:
    with open_model(paths, z_unit) as model:
        return model.read(0, 0, *model.grid.shape).heights_m


def refusal(kind: type[Exception], *paths: Path, z_unit: str | None = None) -> str:
    with pytest.raises(kind) as caught:
        read_all(*paths, z_unit=z_unit)
    return str(caught.value)


class TestFormats:
    @pytest.mark.parametrize(
        "options",
        [
            {},
            {"tiled": True, "blockxsize": 16, "blockysize": 16, "compress": "deflate", "predictor": 3},
            {"blockysize": 3, "compress": "lzw"},
            {"driver": "COG", "blocksize": 128},
            {"driver": "AAIGrid"},
        ],
        ids=["striped", "tiled", "thin strips", "COG", "ASCII grid"],
    )
    def test_every_height_comes_back_where_it_was(self, tmp_path: Path, options: dict[str, Any]) -> None:
        values = heights().astype("float32")
        plain = write(tmp_path / "plain.tif", values)
        driver = options.get("driver", "GTiff")
        path = tmp_path / ("dem.asc" if driver == "AAIGrid" else "dem.tif")
        if driver == "GTiff":
            write(path, values, **options)
        else:
            rasterio.shutil.copy(plain, path, **options)
        with open_model([path]) as model:
            assert model.grid.shape == values.shape
            assert model.grid.transform == (CELL, 0.0, EAST, 0.0, -CELL, NORTH)
            assert model.grid.crs.to_epsg() == 27700
            assert_array_equal(model.read(0, 0, *values.shape).heights_m, values)
            assert_array_equal(model.read(7, 9, 11, 13).heights_m, values[7:18, 9:22])

    def test_an_ascii_grid_without_its_prj_has_no_crs(self, tmp_path: Path) -> None:
        rasterio.shutil.copy(write(tmp_path / "plain.tif", heights()), tmp_path / "dem.asc", driver="AAIGrid")
        (tmp_path / "dem.prj").unlink()
        assert refusal(ModelError, tmp_path / "dem.asc") == (
            "The elevation model should say its coordinate reference system; it has none. "
            "Add it, for instance with gdal_translate -a_srs EPSG:27700."
        )

    def test_a_vrt_reads_what_it_names(self, tmp_path: Path) -> None:
        values = heights()
        write(tmp_path / "plain.tif", values)
        path = vrt(tmp_path / "dem.vrt", "plain.tif", values.shape)
        assert_array_equal(read_all(path), values)

    @pytest.mark.parametrize("kind", ["int16", "uint16", "int32", "float32", "float64"])
    def test_number_types(self, tmp_path: Path, kind: str) -> None:
        assert_array_equal(read_all(write(tmp_path / "dem.tif", heights().astype(kind))), heights())

    def test_scale_and_offset(self, tmp_path: Path) -> None:
        # Decimetres above -100 m, as packed models have them; no data is a stored number.
        stored = heights().astype("int16")
        stored[3, 4] = -32768
        path = write(tmp_path / "dem.tif", stored, scale=0.1, offset=-100.0, nodata=-32768)
        expected = heights() * 0.1 - 100.0
        expected[3, 4] = np.nan
        assert_array_equal(read_all(path), expected)


class TestUnknown:
    def test_no_data_nan_and_infinities(self, tmp_path: Path) -> None:
        values = heights().astype("float32")
        values[0, :4] = (-9999.0, np.nan, np.inf, -np.inf)
        found = read_all(write(tmp_path / "dem.tif", values, nodata=-9999.0))
        assert np.isnan(found[0, :4]).all()
        assert np.isnan(found).sum() == 4

    def test_a_mask(self, tmp_path: Path) -> None:
        mask = np.full((40, 50), 255, dtype="uint8")
        mask[5:8, 6:9] = 0
        found = read_all(write(tmp_path / "dem.tif", heights(), mask=mask))
        assert_array_equal(np.isnan(found), mask == 0)

    def test_no_data_of_the_lowest_float(self, tmp_path: Path) -> None:
        lowest = float(np.finfo("float32").min)
        values = heights().astype("float32")
        values[1, 1] = lowest
        assert np.isnan(read_all(write(tmp_path / "dem.tif", values, nodata=lowest))[1, 1])

    def test_a_signalling_nan_and_an_absurd_scale(self, tmp_path: Path) -> None:
        values = heights().astype("float32")
        values.view("uint32")[2, 2] = 0x7F80_0001
        assert np.isnan(read_all(write(tmp_path / "a.tif", values))[2, 2])
        found = read_all(write(tmp_path / "b.tif", heights(), scale=1e307))
        assert found[0, 0] == 0.0
        assert np.isnan(found).sum() == 40 * 50 - 1

    @pytest.mark.parametrize("corner", [(-5, -5), (35, 45), (-5, 45), (-100, -100), (500, 3)])
    def test_outside_is_unknown(self, tmp_path: Path, corner: tuple[int, int]) -> None:
        path = write(tmp_path / "dem.tif", heights())
        expected = np.full((10, 12), np.nan)
        for row in range(10):
            for col in range(12):
                r, c = corner[0] + row, corner[1] + col
                if 0 <= r < 40 and 0 <= c < 50:
                    expected[row, col] = r * 50 + c
        with open_model([path]) as model:
            window = model.read(*corner, 10, 12)
            assert_array_equal(window.heights_m, expected)
            assert window.grid.transform[2] == EAST + corner[1] * CELL
            assert window.grid.transform[5] == NORTH - corner[0] * CELL

    def test_heights_cannot_be_changed(self, tmp_path: Path) -> None:
        with pytest.raises(ValueError, match="read-only"):
            read_all(write(tmp_path / "dem.tif", heights()))[0, 0] = 1.0


class TestUnits:
    @pytest.mark.parametrize(
        ("crs", "unit", "typed", "metres", "source"),
        [
            ("EPSG:27700", "", None, 1.0, "assumed"),
            ("EPSG:27700+5701", "", None, 1.0, "CRS"),  # ODN height, metres (EPSG registry)
            ("EPSG:27700+6360", "", None, US_FOOT, "CRS"),  # NAVD88 height (ftUS)
            ("EPSG:2263+6360", "", None, US_FOOT, "CRS"),
            ("EPSG:2263+8228", "", None, FOOT, "CRS"),  # NAVD88 height (ft)
            ("EPSG:4979", "", None, 1.0, "CRS"),  # WGS 84 with ellipsoidal height, metres
            ("EPSG:2263", "", None, 1.0, "assumed"),  # feet across are no word on feet up
            ("EPSG:27700", "m", None, 1.0, "band"),
            ("EPSG:27700", "metre", None, 1.0, "band"),
            ("EPSG:27700", "ft", None, FOOT, "band"),
            ("EPSG:27700", "US survey foot", None, US_FOOT, "band"),
            ("EPSG:27700", "US_survey_foot", None, US_FOOT, "band"),
            ("EPSG:27700+5701", "", "ft", FOOT, "--z-unit"),
            ("EPSG:27700", "furlong", "usft", US_FOOT, "--z-unit"),
        ],
    )
    def test_which_unit_and_who_says_so(
        self, tmp_path: Path, crs: str, unit: str, typed: str | None, metres: float, source: str
    ) -> None:
        path = write(tmp_path / "dem.tif", heights(), crs=crs, unit=unit)
        with open_model([path], typed) as model:
            assert model.info.height_unit_m == pytest.approx(metres, rel=1e-12)
            assert model.info.height_unit_from == source
            assert len(model.grid.crs.axis_info) == 2
            found = model.read(0, 0, 40, 50).heights_m
        np.testing.assert_allclose(found, heights() * metres, rtol=1e-12)

    @pytest.mark.parametrize(
        ("crs", "unit", "crs_m"),
        [
            ("EPSG:2263+6360", "metre", "0.304801"),
            ("EPSG:27700+5701", "ft", "1"),
            ("EPSG:4979", "US survey foot", "1"),
        ],
    )
    def test_a_crs_and_a_band_that_contradict_each_other(
        self, tmp_path: Path, crs: str, unit: str, crs_m: str
    ) -> None:
        path = write(tmp_path / "dem.tif", heights(), crs=crs, unit=unit)
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should have one height unit; its CRS says units of {crs_m} m "
            f"and its band {unit!r}. Find out which holds, and state it with --z-unit."
        )
        assert read_all(path, z_unit="m")[1, 1] == 51.0

    def test_the_two_feet_are_no_contradiction(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights(), crs="EPSG:2263+6360", unit="ft")
        assert read_all(path)[1, 1] == pytest.approx(51.0 * US_FOOT, rel=1e-12)

    def test_feet_that_the_scale_makes_metres_are_not_made_metres_again(self, tmp_path: Path) -> None:
        """38 degrees were shown as 13.4."""
        path = write(tmp_path / "dem.tif", heights(), unit="ft")
        with rasterio.open(path, "r+") as data:
            data.scales = (0.3048,)
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should turn its heights into metres once; its scale is 0.3048 and "
            "its unit has 0.3048 m. State with --z-unit in what its heights are after the scale."
        )
        assert read_all(path, z_unit="m")[1, 1] == pytest.approx(51.0 * FOOT, rel=1e-12)

    @pytest.mark.parametrize(
        ("layer", "held"),
        [
            ("bands", "what steybrae area made (Band of the slope; 0 is unknown ground)"),
            ("slope", "what steybrae area made (Fall-line slope of the true ground, roun)"),
        ],
    )
    def test_what_area_made_is_no_model(self, tmp_path: Path, layer: str, held: str) -> None:
        """A raster of bands beside the model was level ground throughout."""
        steybrae.area(write(tmp_path / "dem.tif", heights()), tmp_path / "out", layers=[layer])
        path = tmp_path / "out" / f"{layer}.tif"
        assert refusal(ModelError, path, z_unit="m") == (
            f"The elevation model {path} should hold heights; it holds {held}. Give the model of the ground "
            "itself."
        )

    def test_a_palette_is_none_of_heights(self, tmp_path: Path) -> None:
        path = write(tmp_path / "map.tif", np.ones((40, 50), "uint8"), photometric="palette")
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should hold heights; it holds classes or colours, by its palette. "
            "Give the model of the ground itself."
        )

    def test_a_damaged_mask_beside_it_is_refused_in_a_sentence(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights())
        (tmp_path / "dem.tif.msk").write_bytes(b"II*\x00Haba" + bytes(40))
        said = refusal(FileReadError, path)
        assert said.startswith(f"The elevation model {path} should be readable; it is not (dem.tif.msk: ")
        assert said.endswith("). Get it again.")

    @pytest.mark.parametrize("unit", ["furlong", "1", "unknown"])
    def test_a_unit_that_is_none(self, tmp_path: Path, unit: str) -> None:
        path = write(tmp_path / "dem.tif", heights(), unit=unit)
        expected = f"The height unit should be m, ft or usft; got {unit!r}. State it with --z-unit."
        assert refusal(ModelError, path) == expected
        assert refusal(ModelError, write(tmp_path / "b.tif", heights()), z_unit=unit) == expected

    def test_spellings(self) -> None:
        assert parse_height_unit(" Feet ") == FOOT
        assert parse_height_unit("US-ft") == US_FOOT
        assert parse_height_unit("METRES") == 1.0

    def test_feet_give_the_slope_of_the_ground(self, tmp_path: Path) -> None:
        cols = np.arange(20) * CELL
        plane_m = np.broadcast_to(cols * np.tan(np.radians(35.0)), (20, 20))
        path = write(tmp_path / "dem.tif", plane_m / FOOT, unit="ft")
        with open_model([path]) as model:
            feet = grid_slope_field(model.read(0, 0, 20, 20)).slope_deg[1:-1, 1:-1]
        np.testing.assert_allclose(feet, 35.0, atol=1e-9)

    def test_tiles_of_different_units(self, tmp_path: Path) -> None:
        a = write(tmp_path / "a.tif", heights(), unit="m")
        b = write(tmp_path / "b.tif", heights(), unit="ft", origin=(EAST + 500, NORTH))
        assert refusal(ModelError, a, b) == (
            f"Tiles should have one height unit; {a} has units of 1 m and {b} of 0.3048 m. "
            "Bring them to one unit, or state it with --z-unit."
        )
        assert read_all(a, b, z_unit="m").shape == (40, 100)

    def test_one_silent_tile_makes_the_unit_assumed(self, tmp_path: Path) -> None:
        a = write(tmp_path / "a.tif", heights(), unit="m")
        b = write(tmp_path / "b.tif", heights(), origin=(EAST + 500, NORTH))
        with open_model([a, b]) as model:
            assert model.info.height_unit_from == "assumed"


class TestTiles:
    def cut(self, folder: Path, values: NDArray[np.float64], name: str, rows: slice, cols: slice) -> Path:
        origin = (EAST + cols.start * CELL, NORTH - rows.start * CELL)
        return write(folder / name, values[rows, cols], origin=origin)

    @pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 1, 2, 0), (2, 3, 0, 1)])
    def test_four_tiles_are_the_whole(self, tmp_path: Path, order: Sequence[int]) -> None:
        values = heights()
        parts = [(slice(0, 17), slice(0, 23)), (slice(0, 17), slice(23, 50))]
        parts += [(slice(17, 40), slice(0, 23)), (slice(17, 40), slice(23, 50))]
        tiles = [self.cut(tmp_path, values, f"{k}.tif", *part) for k, part in enumerate(parts)]
        whole = write(tmp_path / "whole.tif", values)
        with open_model([tiles[k] for k in order]) as model, open_model([whole]) as other:
            assert model.grid == other.grid
            for window in [(0, 0, 40, 50), (15, 20, 5, 6), (-3, 21, 50, 4), (16, 22, 2, 2)]:
                found, expected = model.read(*window), other.read(*window)
                assert_array_equal(found.heights_m, expected.heights_m)
                assert_array_equal(slope_field(found).slope_deg, slope_field(expected).slope_deg)
        assert model.info.files == tuple(f"{k}.tif" for k in order)

    def test_ground_between_tiles_is_unknown(self, tmp_path: Path) -> None:
        values = heights()
        tiles = [
            self.cut(tmp_path, values, "a.tif", slice(0, 40), slice(0, 20)),
            self.cut(tmp_path, values, "b.tif", slice(5, 40), slice(25, 50)),
        ]
        expected = values.copy()
        expected[:, 20:25] = np.nan
        expected[:5, 25:] = np.nan
        assert_array_equal(read_all(*tiles), expected)

    def test_where_tiles_overlap_the_first_that_knows_leads(self, tmp_path: Path) -> None:
        first, second = heights(), heights() + 5_000.0
        first[10, 20:30] = np.nan
        a = self.cut(tmp_path, first, "a.tif", slice(0, 40), slice(0, 30))
        b = self.cut(tmp_path, second, "b.tif", slice(0, 40), slice(20, 50))
        expected = np.where(np.arange(50) < 30, first, second)
        expected[10, 20:30] = second[10, 20:30]
        assert_array_equal(read_all(a, b), expected)
        assert_array_equal(read_all(b, a), np.where(np.arange(50) < 20, first, second))

    @pytest.mark.parametrize(("more", "differ"), [(0.0, False), (0.9, False), (1.5, True), (-40.0, True)])
    def test_tiles_that_differ_where_they_overlap_are_told(
        self, tmp_path: Path, more: float, differ: bool
    ) -> None:
        """The first led in silence, and with it ground of 17 degrees where the other had 38."""
        values, other = heights(), heights()
        other[3, 25] += more
        other[3, 26] = np.nan
        other[:, 40:] += 100.0
        a = self.cut(tmp_path, values, "a.tif", slice(0, 10), slice(0, 30))
        b = self.cut(tmp_path, other, "b.tif", slice(0, 10), slice(20, 50))
        for tiles in ([a, b], [b, a], [a, a, b]):
            with open_model(tiles) as model:
                assert model.heights_read.tiles_differ == differ
        with open_model([a, self.cut(tmp_path, other, "c.tif", slice(0, 10), slice(30, 50))]) as model:
            assert not model.heights_read.tiles_differ

    def test_another_crs(self, tmp_path: Path) -> None:
        a = write(tmp_path / "a.tif", heights())
        b = write(tmp_path / "b.tif", heights(), crs="EPSG:32630")
        assert refusal(ModelError, a, b) == (
            f"Tiles should share one CRS; {a} has 'OSGB36 / British National Grid' and {b} has "
            "'WGS 84 / UTM zone 30N'. Bring them into one with gdalwarp."
        )

    @pytest.mark.parametrize(
        "changed",
        [
            {"cell": 5.0},
            {"cell": 10.01},
            {"origin": (EAST + 505.0, NORTH)},
            {"origin": (EAST + 500.0, NORTH - 5.0)},
            {"origin": (EAST + 500.2, NORTH)},
        ],
        ids=["half the size", "a little larger", "half a cell east", "half a cell south", "a fiftieth"],
    )
    def test_other_cells(self, tmp_path: Path, changed: dict[str, Any]) -> None:
        a = write(tmp_path / "a.tif", heights())
        b = write(tmp_path / "b.tif", heights(), **{"origin": (EAST + 500.0, NORTH), **changed})
        assert refusal(ModelError, a, b) == (
            f"Tiles should have the same cells; those of {b} do not fall on those of {a}. "
            "Bring them onto one grid with gdalwarp -tap -tr."
        )

    def test_tiles_worlds_apart(self, tmp_path: Path) -> None:
        a = write(tmp_path / "a.tif", heights())
        b = write(tmp_path / "b.tif", heights(), origin=(EAST + 1e8, NORTH - 2e8))
        assert refusal(ModelError, a, b) == (
            "The tiles should lie near each other; together they span 20000040 x 10000050 cells. "
            "Give only those the line needs."
        )

    def test_tiles_of_both_sides_of_the_antimeridian(self, tmp_path: Path) -> None:
        values = heights()
        here = {"crs": "EPSG:4326", "cell": 0.001}
        west = write(tmp_path / "w.tif", values[:, :20], origin=(179.98, 10.0), **here)
        east = write(tmp_path / "e.tif", values[:, 20:], origin=(-180.0, 10.0), **here)
        assert_array_equal(read_all(west, east), values)
        assert_array_equal(read_all(east, west), values)
        with open_model([east, west]) as model:
            col, row = model.grid.from_wgs84([179.99, -179.99], [9.99, 9.99])
        np.testing.assert_allclose(col, [10.0, 30.0], atol=1e-6)
        np.testing.assert_allclose(row, 10.0, atol=1e-6)

    def test_no_file_at_all(self) -> None:
        with pytest.raises(ModelError) as caught, open_model([]):
            pass
        expected = "An elevation model needs one raster file or more; got none. Give it with --dem."
        assert str(caught.value) == expected


class TestRefused:
    def test_missing(self, tmp_path: Path) -> None:
        path = tmp_path / "no.tif"
        expected = f"The elevation model {path} should be a file; there is none. Check the path."
        assert refusal(FileReadError, path) == expected
        path.mkdir()
        assert refusal(FileReadError, path) == expected
        path = tmp_path / ("a" * 300)
        assert refusal(FileReadError, path) == (
            f"The elevation model {path} could not be read: File name too long. Check the path."
        )

    def test_empty(self, tmp_path: Path) -> None:
        path = tmp_path / "dem.tif"
        path.touch()
        assert refusal(FileReadError, path) == (
            f"The elevation model {path} should hold heights; the file is empty. Get it again."
        )

    @pytest.mark.parametrize("content", [b"hello\n" * 50, b"II*\0" + bytes(60), b"\0" * 500])
    def test_not_a_raster(self, tmp_path: Path, content: bytes) -> None:
        path = tmp_path / "dem.tif"
        path.write_bytes(content)
        assert refusal(FileReadError, path) == (
            f"The elevation model {path} should be a GeoTIFF, a VRT, an ASCII grid or another kind that is "
            "read here; it is not, or is damaged. Make a GeoTIFF of it with gdal_translate, or get it again."
        )

    def test_a_kind_that_gdal_reads_and_we_do_not(self, tmp_path: Path) -> None:
        # Seen: "should be a raster that GDAL reads", of one that it does.
        path = tmp_path / "dem.png"
        how = {"crs": "EPSG:32629", "transform": Affine(10, 0, 375000, 0, -10, 6567000), "count": 1}
        with rasterio.open(path, "w", driver="PNG", width=9, height=9, dtype="uint16", **how) as out:
            out.write(np.ones((1, 9, 9), "uint16"))
        said = refusal(FileReadError, path)
        assert "GDAL reads" not in said
        assert "Make a GeoTIFF of it with gdal_translate" in said

    def test_several_bands_and_complex_numbers(self, tmp_path: Path) -> None:
        two = write(tmp_path / "two.tif", np.stack([heights(), heights()]))
        assert refusal(ModelError, two) == (
            f"The elevation model {two} should have one band of heights; it has 2. "
            "Take the height band out first, for instance with gdal_translate -b 1."
        )
        odd = write(tmp_path / "odd.tif", heights().astype("complex64"))
        assert refusal(ModelError, odd) == (
            f"The elevation model {odd} should hold real numbers; its band is of type complex64. "
            "Give heights."
        )

    def test_a_crs_without_the_earth(self, tmp_path: Path) -> None:
        local = write(tmp_path / "a.tif", heights(), crs='LOCAL_CS["my site",UNIT["metre",1]]')
        assert refusal(ModelError, local) == (
            "The elevation model should lie on the earth (geographic or projected CRS); its CRS 'my site' "
            "is of the kind 'Engineering CRS'. Give a georeferenced model."
        )
        centre = write(tmp_path / "b.tif", heights(), crs="EPSG:4978")
        assert refusal(ModelError, centre) == (
            "The elevation model should lie on the earth (geographic or projected CRS); its CRS 'WGS 84' "
            "is of the kind 'Geocentric CRS'. Give a georeferenced model."
        )

    def test_no_transform(self, tmp_path: Path) -> None:
        with pytest.warns(NotGeoreferencedWarning):
            path = write(tmp_path / "dem.tif", heights(), transform=None)
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should say where its cells lie; it has no transform. "
            "Georeference it first."
        )

    @pytest.mark.parametrize("window", [(200, 1_799_998), (36, 1_799_998), (40_000, 2), (9000, 9000)])
    def test_a_window_of_half_the_world(self, tmp_path: Path, window: tuple[int, int]) -> None:
        path = write(tmp_path / "dem.tif", heights())
        with open_model([path]) as model, pytest.raises(ModelError) as caught:
            model.read(0, 0, *window)
        assert str(caught.value) == (
            "A stretch of the line and what lies beside it should span at most 67108864 cells of the model, "
            f"32768 on a side; it spans {window[0]} x {window[1]}. Give a coarser model, a smaller "
            "position error or drift, or, where the line leaves the model at 180 degrees, tiles of both "
            "sides."
        )


class TestDamage:
    def damaged(self, path: Path) -> Path:
        """Strips of 8 rows, the sixth of which (from row 40) is overwritten."""
        noise = np.random.default_rng(1).normal(size=(80, 50))
        write(path, noise, blockysize=8, compress="deflate")
        content = bytearray(path.read_bytes())
        with rasterio.open(path) as made:
            start = int(made.get_tag_item("BLOCK_OFFSET_0_5", "TIFF", bidx=1))
        content[start : start + 40] = b"\xff" * 40
        path.write_bytes(content)
        return path

    def test_the_file_and_the_block_are_named(self, tmp_path: Path) -> None:
        path = self.damaged(tmp_path / "dem.tif")
        assert re.fullmatch(
            rf"The elevation model {re.escape(str(path))} should be readable throughout; its block at row "
            r"40, column 0 is not \(ZIPDecode:.*\)\. Get the file again\.",
            refusal(FileReadError, path),
        )

    def test_the_rest_of_the_file_is_read(self, tmp_path: Path) -> None:
        with open_model([self.damaged(tmp_path / "dem.tif")]) as model:
            assert np.isfinite(model.read(0, 0, 40, 50).heights_m).all()
            with pytest.raises(FileReadError, match=r"its block at row 40, column 0 is not"):
                model.read(45, 3, 1, 1)

    def test_cut_short(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights(), blockysize=8)
        path.write_bytes(path.read_bytes()[:6000])
        message = refusal(FileReadError, path)
        assert message.startswith(f"The elevation model {path} should be readable throughout; its block")


class TestOverview:
    @pytest.mark.parametrize("step", [2, 3, 5])
    def test_each_height_kept_lies_where_it_was(self, tmp_path: Path, step: int) -> None:
        # A plane: height = column + 100 rows, so position and height can be compared.
        plane = np.arange(60.0) + 100.0 * np.arange(60.0)[:, np.newaxis]
        with open_model([write(tmp_path / "dem.tif", plane)]) as model:
            thin = model.overview(0, 0, 60, 60, (60 // step) ** 2)
            rows, cols = thin.grid.shape
            assert (rows, cols) == (60 // step, 60 // step)
            assert thin.grid.transform[0] == step * CELL
            col, row = np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5)
            at_col, at_row = model.grid.colrow(*thin.grid.xy(col, row))
        assert_array_equal(thin.heights_m, (at_col - 0.5) + 100.0 * (at_row - 0.5))

    def test_not_thinned_where_it_fits(self, tmp_path: Path) -> None:
        with open_model([write(tmp_path / "dem.tif", heights())]) as model:
            whole, same = model.overview(0, 0, 40, 50, 2000), model.read(0, 0, 40, 50)
        assert whole.grid == same.grid
        assert_array_equal(whole.heights_m, same.heights_m)

    def test_unknown_stays_unknown(self, tmp_path: Path) -> None:
        values = heights()
        values[:, 25:] = np.nan
        with open_model([write(tmp_path / "dem.tif", values)]) as model:
            thin = model.overview(-20, 0, 60, 50, 30).heights_m
        assert np.isnan(thin[0]).all()
        assert np.isnan(thin[:, -1]).all()
        assert np.isfinite(thin[-1, 0])


class TestInfo:
    def test_the_fingerprint_tells_files_apart(self, tmp_path: Path) -> None:
        a = write(tmp_path / "a.tif", heights())
        b = write(tmp_path / "b.tif", heights())
        c = write(tmp_path / "c.tif", heights() + 1.0)
        found = []
        for path in (a, b, c):
            with open_model([path]) as model:
                found.append(model.info.fingerprints[0])
        assert found[0] == found[1] != found[2]
        assert re.fullmatch(r"[0-9a-f]{64}", found[0])

    def test_a_large_file_is_told_by_both_ends(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(fingerprints, "END_BYTES", 64)
        path = tmp_path / "large"
        found = set()
        for content in (bytes(200), bytes(199) + b"\1", b"\1" + bytes(199), bytes(201)):
            path.write_bytes(content)
            found.add(files_fingerprint([path]))
        assert len(found) == 4

    def test_the_cache_has_a_stated_size(self, tmp_path: Path) -> None:
        with open_model([write(tmp_path / "dem.tif", heights())]):
            assert rasterio.env.getenv()["GDAL_CACHEMAX"] == 64 * 2**20
            assert rasterio.env.get_gdal_config("GDAL_CACHEMAX") == 64 * 2**20


def vrt(path: Path, source: str, shape: tuple[int, int], relative: int = 1) -> Path:
    rows, cols = shape
    size = f'xOff="0" yOff="0" xSize="{cols}" ySize="{rows}"'
    path.write_text(
        f'<VRTDataset rasterXSize="{cols}" rasterYSize="{rows}"><SRS>EPSG:27700</SRS>'
        f"<GeoTransform>{EAST}, {CELL}, 0, {NORTH}, 0, -{CELL}</GeoTransform>"
        '<VRTRasterBand dataType="Float64" band="1"><SimpleSource>'
        f'<SourceFilename relativeToVRT="{relative}">{escape(source)}</SourceFilename>'
        f'<SourceProperties RasterXSize="{cols}" RasterYSize="{rows}" DataType="Float64"/>'
        f"<SrcRect {size}/><DstRect {size}/></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    return path


@pytest.fixture
def server() -> Iterator[tuple[str, list[bytes]]]:
    """Address on this machine that writes down whoever calls."""
    calls: list[bytes] = []
    listening = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        while True:
            try:
                caller, _ = listening.accept()
            except OSError:
                return
            calls.append(caller.recv(200))
            caller.close()

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    yield f"127.0.0.1:{listening.getsockname()[1]}", calls
    # A blocked accept does not notice a close; a call of our own wakes it.
    listening.shutdown(socket.SHUT_RDWR)
    listening.close()
    thread.join(timeout=5.0)


SERVICE = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>http://{at}/x</ServerUrl></Service><DataWindow>'
    "<UpperLeftX>54500</UpperLeftX><UpperLeftY>1053500</UpperLeftY><LowerRightX>55000</LowerRightX>"
    "<LowerRightY>1053100</LowerRightY><TileLevel>0</TileLevel></DataWindow>"
    "<Projection>EPSG:27700</Projection><BlockSizeX>50</BlockSizeX><BlockSizeY>40</BlockSizeY>"
    "<BandsCount>1</BandsCount><DataType>Float32</DataType></GDAL_WMS>"
)
COVERAGE = "<WCS_GDAL><ServiceURL>http://{at}/c?</ServiceURL><CoverageName>x</CoverageName></WCS_GDAL>"


NOT_BESIDE = (
    "A virtual raster should name files beside or below it, or files given with --dem too; {path} names "
    "{text!a}. Put the file there, or give it."
)
NOT_SIDE_BY_SIDE = (
    "The virtual raster {path} should put files of heights side by side; it has a {what!a}. Make it a "
    "GeoTIFF first, for instance with gdal_translate."
)


class TestOffline:
    @pytest.mark.parametrize(
        "source",
        [
            *("/vsicurl/http://{at}/x.tif", "/vsicurl_streaming/http://{at}/x.tif", "http://{at}/x.tif"),
            *('ZARR:"/vsicurl/http://{at}/x.zarr"', "/vsizip//vsicurl/http://{at}/x.zip/x.tif", SERVICE),
        ],
    )
    @pytest.mark.parametrize("relative", [0, 1])
    def test_a_vrt_that_names_the_network(
        self,
        tmp_path: Path,
        server: tuple[str, list[bytes]],
        monkeypatch: pytest.MonkeyPatch,
        source: str,
        relative: int,
    ) -> None:
        monkeypatch.setenv("no_proxy", "*")
        text = source.replace("{at}", server[0])
        path = vrt(tmp_path / "dem.vrt", text, (40, 50), relative=relative)
        assert refusal(ModelError, path) == NOT_BESIDE.format(path=path, text=text[:80])
        assert server[1] == []

    @pytest.mark.parametrize("text", [SERVICE, COVERAGE])
    def test_a_description_of_a_service(
        self,
        tmp_path: Path,
        server: tuple[str, list[bytes]],
        monkeypatch: pytest.MonkeyPatch,
        text: str,
    ) -> None:
        monkeypatch.setenv("no_proxy", "*")
        path = tmp_path / "dem.xml"
        path.write_text(text.replace("{at}", server[0]))
        assert refusal(FileReadError, path) == (
            f"The elevation model {path} should be a GeoTIFF, a VRT, an ASCII grid or another kind that is "
            "read here; it is not, or is damaged. Make a GeoTIFF of it with gdal_translate, or get it again."
        )
        assert refusal(FileReadError, vrt(tmp_path / "dem.vrt", "dem.xml", (40, 50))) == (
            f"A virtual raster should name raster files (GTiff, HFA, AAIGrid, GRASSASCIIGrid, DTED, VRT); "
            f"{path} is none, or is damaged. Make it a GeoTIFF first, for instance with gdal_translate."
        )
        assert server[1] == []

    def test_the_second_fence_and_that_the_listener_would_have_heard(
        self, tmp_path: Path, server: tuple[str, list[bytes]]
    ) -> None:
        path = vrt(tmp_path / "dem.vrt", f"/vsicurl/http://{server[0]}/x.tif", (40, 50), relative=0)
        for fence in (OFFLINE, {}):
            assert server[1] == []
            with (
                rasterio.Env(**fence),
                rasterio.open(path) as data,
                pytest.raises(rasterio.errors.RasterioError),
            ):
                data.read(1)
        assert server[1]


class TestVirtualRasters:
    """What a VRT may hold, and where what it names may lie."""

    @pytest.mark.parametrize("text", ["../dem.tif", "below/../../dem.tif", "{folder}/dem.tif"])
    def test_a_source_elsewhere_must_be_given_too(self, tmp_path: Path, text: str) -> None:
        values = heights()
        given = write(tmp_path / "dem.tif", values)
        (tmp_path / "in").mkdir()
        text = text.format(folder=tmp_path)
        path = vrt(tmp_path / "in" / "dem.vrt", text, values.shape, relative=int(text.startswith((".", "b"))))
        assert refusal(ModelError, path) == NOT_BESIDE.format(path=path, text=text[:80])
        with open_model([path, given]) as model:
            assert_array_equal(model.read(0, 0, 40, 50).heights_m, values)

    def test_a_source_below_and_a_vrt_in_a_vrt_with_its_hole(self, tmp_path: Path) -> None:
        (tmp_path / "below").mkdir()
        write(tmp_path / "below" / "dem.tif", heights())
        inner = vrt(tmp_path / "below" / "in.vrt", "dem.tif", (40, 50))
        inner.write_text(inner.read_text().replace('rasterYSize="40"', 'rasterYSize="60"'))
        found = read_all(vrt(tmp_path / "dem.vrt", "below/in.vrt", (60, 50)))
        assert_array_equal(found[:40], heights())
        assert np.isnan(found[40:]).all()

    def test_a_source_that_is_missing_is_refused_whatever_is_open(self, tmp_path: Path) -> None:
        # Seen: refused once, then unknown ground without a word while another virtual raster was open.
        write(tmp_path / "dem.tif", heights())
        inner = vrt(tmp_path / "in.vrt", "dem.tif", (40, 50))
        path = vrt(tmp_path / "lost.vrt", "lost.tif", (40, 50))
        with open_model([vrt(tmp_path / "dem.vrt", inner.name, (40, 50))]) as model:
            model.read(0, 0, 40, 50)
            for _ in range(3):
                assert refusal(FileReadError, path) == (
                    f"The virtual raster {path} should name files that are there; {tmp_path / 'lost.tif'} is "
                    "not. Get it, or make the virtual raster anew, with gdalbuildvrt, of those that are."
                )

    def test_vrts_that_name_each_other(self, tmp_path: Path) -> None:
        path = vrt(tmp_path / "a.vrt", "b.vrt", (40, 50))
        vrt(tmp_path / "b.vrt", "a.vrt", (40, 50))
        assert refusal(ModelError, path) == (
            f"Virtual rasters should name one another at most 4 deep; {tmp_path / 'b.vrt'} names another. "
            "Name the files themselves."
        )

    @pytest.mark.parametrize(
        ("old", "new", "what"),
        [
            ("<VRTRasterBand ", '<VRTRasterBand subClass="VRTRawRasterBand" ', "VRTRawRasterBand"),
            ("<VRTRasterBand ", '<VRTRasterBand SUBCLASS="VRTDerivedRasterBand" ', "VRTDerivedRasterBand"),
            ("<VRTDataset ", '<VRTDataset subClass="VRTWarpedDataset" ', "VRTWarpedDataset"),
            ("<SRS>", "<GDALWarpOptions/><SRS>", "GDALWarpOptions"),
            ("SourceFilename", "SOURCEFILENAME", "SOURCEFILENAME"),
            ("SimpleSource", "KernelFilteredSource", "KernelFilteredSource"),
            ("<SrcRect", "<OpenOptions/><SrcRect", "OpenOptions"),
        ],
    )
    def test_what_is_not_understood(self, tmp_path: Path, old: str, new: str, what: str) -> None:
        write(tmp_path / "dem.tif", heights())
        path = vrt(tmp_path / "dem.vrt", "dem.tif", (40, 50))
        path.write_text(path.read_text().replace(old, new))
        assert refusal(ModelError, path) == NOT_SIDE_BY_SIDE.format(path=path, what=what)

    def test_what_says_nothing_of_heights_is_passed_over(self, tmp_path: Path) -> None:
        write(tmp_path / "dem.tif", heights())
        path = vrt(tmp_path / "dem.vrt", "dem.tif", (40, 50))
        more = (
            "<Metadata><MDI key='a'>b</MDI></Metadata><OverviewList>2 4</OverviewList>"
            "<Metadata domain='xml:ESRI' format='xml'><Thing/></Metadata>"
        )
        path.write_text(path.read_text().replace("<SRS>", more + "<SRS>"))
        assert_array_equal(read_all(path), heights())

    def test_plain_numbers_of_any_file(self, tmp_path: Path) -> None:
        path = tmp_path / "dem.vrt"
        path.write_text(
            '<VRTDataset rasterXSize="4" rasterYSize="4"><SRS>EPSG:27700</SRS>'
            "<GeoTransform>54500,10,0,1053500,0,-10</GeoTransform>"
            '<VRTRasterBand dataType="Byte" band="1" subClass="VRTRawRasterBand">'
            '<SourceFilename relativetoVRT="0">/etc/passwd</SourceFilename></VRTRasterBand></VRTDataset>'
        )
        assert refusal(ModelError, path) == NOT_SIDE_BY_SIDE.format(path=path, what="VRTRawRasterBand")


MOON = (
    'GEOGCS["GCS_Moon_2000",DATUM["D_Moon_2000",SPHEROID["Moon_2000_IAU_IAG",1737400.0,0.0]],'
    'PRIMEM["Reference_Meridian",0.0],UNIT["Degree",0.0174532925199433]]'
)
NOWHERE = 'GEOGCS["x",DATUM["y",SPHEROID["z",-1,298]],PRIMEM["g",0],UNIT["degree",0]]'


class TestNowhere:
    """Places that are none: other bodies, broken systems, cells without a size."""

    def test_another_body(self, tmp_path: Path) -> None:
        rasterio.shutil.copy(write(tmp_path / "a.tif", heights()), tmp_path / "dem.asc", driver="AAIGrid")
        (tmp_path / "dem.prj").write_text(MOON)
        message = refusal(ModelError, tmp_path / "dem.asc")
        assert message.startswith(f"The elevation model {tmp_path / 'dem.asc'} should ")
        assert message.endswith("Set it anew, for instance with gdal_translate -a_srs EPSG:27700.")

    @pytest.mark.parametrize("prj", ["", "garbage", NOWHERE, "\xff\xfe" * 50])
    def test_a_prj_that_says_nothing(self, tmp_path: Path, prj: str) -> None:
        rasterio.shutil.copy(write(tmp_path / "a.tif", heights()), tmp_path / "dem.asc", driver="AAIGrid")
        (tmp_path / "dem.prj").write_text(prj, encoding="latin-1")
        assert "should " in refusal(ModelError, tmp_path / "dem.asc")

    @pytest.mark.parametrize(
        "transform",
        [
            Affine(1e300, 0.0, 0.0, 0.0, -1e300, 0.0),
            Affine(1e-300, 0.0, EAST, 0.0, -1e-300, NORTH),
            Affine(10.0, 0.0, 1e308, 0.0, -10.0, 1e308),
            Affine(10.0, 10.0 - 1e-13, EAST, 10.0, 10.0, NORTH),
            Affine(10.0, 0.0, EAST, 0.0, 1e-200, NORTH),
            # Numbers in the order of GDAL, where rasterio's are meant.
            Affine(EAST, 10.0, 0.0, NORTH, 0.0, -10.0),
        ],
    )
    def test_cells_without_a_size(self, tmp_path: Path, transform: Affine) -> None:
        path = write(tmp_path / "dem.tif", heights(), transform=transform)
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should say where its cells lie; its transform is not usable. "
            "Georeference it first."
        )

    def test_a_unit_that_is_no_text(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights(), unit="XXunitXX")
        path.write_bytes(path.read_bytes().replace(b"XXunitXX", b"m\xff\xfe\x80abc "))
        assert refusal(ModelError, path) == (
            f"The elevation model {path} should name its height unit in UTF-8; it does not. State it with "
            "--z-unit."
        )


def tiled(path: Path, side: int, *, big: bool = False) -> Path:
    """Head of a TIFF that is one tile of so many cells a side, without the tile."""
    tags = [(256, side), (257, side), (258, 32), (259, 1), (262, 1), (277, 1), (322, side), (323, side)]
    tags += [(324, 400), (325, 8), (339, 3)]
    head, count, entry, end = ("<2sHHHQ", "<Q", "<HHQQ", 16) if big else ("<2sHI", "<H", "<HHII", 8)
    start = (b"II", 43, 8, 0, end) if big else (b"II", 42, end)
    data = struct.pack(head, *start) + struct.pack(count, len(tags))
    data += b"".join(struct.pack(entry, tag, 4, 1, value) for tag, value in tags) + bytes(8)
    path.write_bytes(data.ljust(408, b"\0"))
    return path


@pytest.mark.parametrize("inside", ["<SRS/>" * 5_000_000, "<SRS " + 'a="" ' * 5_000_000 + "/>"])
def test_a_virtual_raster_of_millions_of_parts_is_refused_before_it_is_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, inside: str
) -> None:
    monkeypatch.setattr(vrt_reading.ET, "fromstring", lambda _: pytest.fail("parsed"))
    path = tmp_path / "dem.vrt"
    path.write_text(f"<VRTDataset>{inside}</VRTDataset>")
    assert refusal(FileReadError, path) == (
        f"A virtual raster should have at most 5000000 elements and attributes; {path} has more. Name fewer "
        "files in it."
    )


def test_a_sidecar_of_millions_of_parts_is_refused_before_gdal_reads_it(tmp_path: Path) -> None:
    path = write(tmp_path / "dem.tif", heights().astype("float32"))
    beside = tmp_path / "dem.tif.aux.xml"
    beside.write_bytes(b"<PAMDataset>" + b"<a/>" * 4_200_000 + b"</PAMDataset>")
    said = f"A file beside an elevation model should have at most 16 MB; {beside} has more. Take it away."
    assert refusal(FileReadError, path) == said
    assert refusal(FileReadError, vrt(tmp_path / "dem.vrt", "dem.tif", (40, 50))) == said


class TestBlocks:
    """A strip or tile is read whole: what would take too much memory is refused before."""

    @pytest.mark.parametrize("big", [False, True])
    def test_a_tile_of_16_gigabytes(self, tmp_path: Path, big: bool) -> None:
        path = tiled(tmp_path / "dem.tif", 65_536, big=big)
        said = (
            "The strips or tiles of an elevation model should have at most 512 MB; "
            f"{path} has one of 16384. Cut it anew, for instance with gdal_translate -co TILED=YES."
        )
        assert refusal(ModelError, path) == said
        assert refusal(ModelError, vrt(tmp_path / "dem.vrt", "dem.tif", (65_536, 65_536))) == said

    def test_the_head_says_what_gdal_says(self, tmp_path: Path) -> None:
        for number, options in enumerate(
            (
                {"blockysize": 9},
                {"compress": "deflate", "blockysize": 7},
                {"tiled": True, "blockxsize": 32, "blockysize": 16},
                {"BIGTIFF": "YES", "compress": "lzw", "blockysize": 40},
                {"ENDIANNESS": "BIG", "tiled": True, "blockxsize": 16, "blockysize": 16},
            )
        ):
            path = write(tmp_path / f"{number}.tif", heights().astype("float32"), **options)
            with rasterio.open(path) as data:
                rows, cols = data.block_shapes[0]
            assert is_tiff(path)
            assert largest_block_bytes(path) == rows * cols * 4

    @pytest.mark.parametrize("place", [2**63, 2**40, 3])
    def test_a_head_that_breaks_off_after_a_large_tile(self, tmp_path: Path, place: int) -> None:
        path = tiled(tmp_path / "dem.tif", 65_536, big=True)
        data = path.read_bytes()
        at = 24 + 11 * 20  # where the next directory is said to lie
        path.write_bytes(data[:at] + struct.pack("<Q", place) + data[at + 8 :])
        assert largest_block_bytes(path) == 65_536**2 * 4

    @pytest.mark.parametrize("where", ["directory", "next", "value", "strip"])
    def test_a_place_that_no_file_has(
        self, tmp_path: Path, capfd: pytest.CaptureFixture[str], where: str
    ) -> None:
        """Where the system cannot seek it, libtiff would say so on stderr, and seeking gives an `OSError`."""
        path = write(tmp_path / "dem.tif", heights().astype("float32"), BIGTIFF="YES", blockysize=40)
        assert_array_equal(read_all(path), heights())
        data = bytearray(path.read_bytes())
        (first,) = struct.unpack_from("<Q", data, 8)
        (count,) = struct.unpack_from("<Q", data, first)
        entries = [first + 8 + 20 * k for k in range(count)]
        tags = {struct.unpack_from("<H", data, at)[0]: at + 12 for at in entries}
        places = {"directory": 8, "next": entries[-1] + 20, "value": tags[33550], "strip": tags[273]}
        for far in (2**40, 2**46, 2**62, 2**63 + 5):
            struct.pack_into("<Q", data, places[where], far)
            path.write_bytes(data)
            largest_block_bytes(path)
            assert "it is not, or is damaged" in refusal(FileReadError, path)
            assert f"{path} is none, or is damaged" in refusal(
                FileReadError, vrt(tmp_path / "dem.vrt", "dem.tif", (40, 50))
            )
        assert capfd.readouterr().err == ""

    def test_a_lone_strip_of_plain_numbers_is_read_by_rows(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights().astype("float32"), blockysize=40)
        assert largest_block_bytes(path) == 50 * 4

    def test_the_mask_counts_too(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", heights().astype("uint8"), mask=np.full((40, 50), 255, "uint8"))
        data = path.read_bytes()
        assert largest_block_bytes(path) == 50 * 40
        # The mask's own width, in its directory, 4000 times as large.
        at = data.rindex(struct.pack("<HHI", 256, 3, 1))
        path.write_bytes(data[: at + 2] + struct.pack("<HII", 4, 1, 200_000) + data[at + 12 :])
        assert largest_block_bytes(path) == 200_000 * 40


@pytest.mark.parametrize(
    ("crs", "named"),
    [
        ("EPSG:25832", True),
        ("+proj=utm +zone=32 +datum=WGS84", True),
        # An ellipsoid is no datum: the likeliest on it is taken, and what it is good to is not known.
        ("+proj=utm +zone=32 +ellps=GRS80", False),
        ("+proj=utm +zone=32 +ellps=intl", False),
        ("+proj=utm +zone=32 +ellps=bessel", False),
    ],
)
def test_a_file_that_names_no_datum_has_a_shift_of_unknown_error(
    tmp_path: Path, crs: str, named: bool
) -> None:
    path = write(tmp_path / "one.tif", heights(), crs=crs, origin=(500_000.0, 5_300_000.0))
    with open_model([path]) as model:
        assert (model.grid.datum_accuracy_m is not None) == named
        assert (model.read(3, 4, 5, 6).grid.datum_accuracy_m is not None) == named
