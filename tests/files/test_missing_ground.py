"""Missing ground is unknown, never a number: what GDAL gives, and what `route` and `area` make of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
import rasterio.shutil
from affine import Affine
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from tests.on_grid import route_on
from tests.raster.rasters_made import cells, run
from tests.terrain.test_examine import rough_ground

from steybrae.errors import FileReadError, ModelError
from steybrae.files.model.arrays import ArrayRaster
from steybrae.files.model.heights import same_cells
from steybrae.files.model.rasters import open_model, open_rasters
from steybrae.raster.files.heights import RawHeights
from steybrae.route.positions.places import Place
from steybrae.screening import screen_route
from steybrae.screening.ground.at import ground_at

ROWS, COLS = 40, 50
PLACE = {"crs": "EPSG:27700", "transform": Affine(10.0, 0.0, 54_500.0, 0.0, -10.0, 1_053_500.0)}
NEXT = Affine(10.0, 0.0, 54_500.0 + 10.0 * COLS, 0.0, -10.0, 1_053_500.0)
HEIGHTS = np.arange(1.0, ROWS * COLS + 1.0).reshape(ROWS, COLS)
BOX = (slice(5, 8), slice(6, 9))


def boxed(value: float, kind: str = "float32") -> NDArray[Any]:
    """Heights with a number in a small box."""
    z = HEIGHTS.astype(kind)
    z[BOX] = value
    return z


SIDE = 320
GAP = (slice(80, 120), slice(88, 124))


def gapped(rounded_m: float | None) -> NDArray[Any]:
    """Uneven ground with a gap over which triangles were laid from rim to rim."""
    z = rough_ground(5, SIDE)
    ring = np.zeros(z.shape, np.bool_)
    ring[GAP[0].start - 1 : GAP[0].stop + 1, GAP[1].start - 1 : GAP[1].stop + 1] = True
    ring[GAP] = False
    inside = np.stack(
        np.meshgrid(*(np.arange(part.start, part.stop) for part in GAP), indexing="ij"), axis=-1
    )
    z[GAP] = LinearNDInterpolator(np.argwhere(ring), z[ring])(inside)
    return (z if rounded_m is None else np.round(z / rounded_m) * rounded_m).astype("float32")


def write(path: Path, z: NDArray[Any], mask: NDArray[Any] | None = None, **options: Any) -> Path:
    scale = options.pop("scale", 1.0)
    shape = {"height": z.shape[0], "width": z.shape[1], "count": 1, "dtype": z.dtype}
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK="YES"),
        rasterio.open(path, "w", **{"driver": "GTiff", **shape, **PLACE, **options}) as made,
    ):
        made.write(z, 1)
        made.scales = (scale,)
        if mask is not None:
            made.write_mask(mask)
    return path


def vrt(path: Path, *sources: str, kind: str = "Float32", declared: str = "", rows: int = ROWS) -> Path:
    """Sources one beside the other, the full size being larger than the first."""
    parts = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{COLS}" ySize="{ROWS}"/>'
        f'<DstRect xOff="{COLS * k}" yOff="0" xSize="{COLS}" ySize="{ROWS}"/></SimpleSource>'
        for k, name in enumerate(sources)
    )
    a, b, c, d, e, f = PLACE["transform"].to_gdal()
    path.write_text(
        f'<VRTDataset rasterXSize="{COLS * len(sources)}" rasterYSize="{rows}"><SRS>EPSG:27700</SRS>'
        f"<GeoTransform>{a}, {b}, {c}, {d}, {e}, {f}</GeoTransform>"
        f'<VRTRasterBand dataType="{kind}" band="1">{declared}{parts}</VRTRasterBand></VRTDataset>'
    )
    return path


def unknown(path: Path) -> NDArray[np.bool_]:
    """Where the model is unknown; both readers must say the same, and the heights elsewhere."""
    with open_model([path]) as model:
        rows, cols = model.grid.shape
        heights = model.read(0, 0, rows, cols).heights_m
        raw = RawHeights(model)
        numbers = np.empty((rows, cols), raw.dtype)
        raw.read(0, 0, numbers)
        assert_array_equal((numbers * raw.step_m + raw.offset_m).astype("float32"), heights.astype("float32"))
    return np.isnan(heights)


def only_the_box(found: NDArray[np.bool_]) -> bool:
    expected = np.zeros(found.shape, np.bool_)
    expected[BOX] = True
    return bool((found == expected).all())


class TestDeclared:
    def test_no_data_beside_a_mask(self, tmp_path: Path) -> None:
        mask = np.full((ROWS, COLS), 255, "uint8")
        mask[20] = 0
        found = unknown(write(tmp_path / "dem.tif", boxed(0.0), mask, nodata=0.0))
        assert found[20].all()
        assert found[BOX].all()
        assert found.sum() == COLS + 9

    @pytest.mark.parametrize("kind", ["int16", "float32", "float64"])
    def test_no_data_among_the_heights_of_land(self, tmp_path: Path, kind: str) -> None:
        assert only_the_box(unknown(write(tmp_path / "dem.tif", boxed(0.0, kind), nodata=0.0)))

    def test_no_data_that_single_precision_rounds(self, tmp_path: Path) -> None:
        assert only_the_box(unknown(write(tmp_path / "dem.tif", boxed(-0.1), nodata=-0.1)))


class TestNeverWritten:
    @pytest.mark.parametrize("side", [16, 32])
    def test_blocks(self, tmp_path: Path, side: int) -> None:
        shape = {"height": ROWS, "width": COLS, "count": 1, "dtype": "float32"}
        tiled = {"tiled": True, "blockxsize": side, "blockysize": side, "SPARSE_OK": True}
        window = rasterio.windows.Window(0, 0, side, side)
        with rasterio.open(tmp_path / "dem.tif", "w", driver="GTiff", **shape, **PLACE, **tiled) as made:
            made.write(HEIGHTS[:side, :side].astype("float32"), 1, window=window)
        found = unknown(tmp_path / "dem.tif")
        assert not found[:side, :side].any()
        assert found.sum() == ROWS * COLS - side * side

    def test_the_sea_is_written(self, tmp_path: Path) -> None:
        assert not unknown(write(tmp_path / "dem.tif", np.zeros((ROWS, COLS), "float32"))).any()


class TestVirtual:
    @pytest.mark.parametrize("kind", ["Byte", "Int16", "Int32", "Float32", "Float64"])
    def test_cells_that_no_source_covers(self, tmp_path: Path, kind: str) -> None:
        write(tmp_path / "a.tif", np.clip(HEIGHTS, 0, 250).astype("uint8"))
        found = unknown(vrt(tmp_path / "dem.vrt", "a.tif", kind=kind, rows=ROWS + 7))
        assert found[ROWS:].all()
        assert not found[:ROWS].any()

    @pytest.mark.parametrize(
        "declared", ["", "<NoDataValue>0</NoDataValue><HideNoDataValue>1</HideNoDataValue>"]
    )
    def test_what_a_source_masks_or_declares(self, tmp_path: Path, declared: str) -> None:
        write(tmp_path / "a.tif", boxed(0.0), nodata=0.0)
        mask = np.full((ROWS, COLS), 255, "uint8")
        mask[BOX] = 0
        write(tmp_path / "b.tif", HEIGHTS.astype("float32"), mask, transform=NEXT)
        found = unknown(vrt(tmp_path / "dem.vrt", "a.tif", "b.tif", declared=declared))
        assert only_the_box(found[:, :COLS])
        assert only_the_box(found[:, COLS:])

    def test_one_that_is_no_xml(self, tmp_path: Path) -> None:
        (tmp_path / "dem.vrt").write_text('<VRTDataset rasterXSize="1"')
        with pytest.raises(FileReadError) as caught, open_model([tmp_path / "dem.vrt"]):
            pass
        assert str(caught.value) == (
            f"The virtual raster {tmp_path / 'dem.vrt'} should be XML without a DOCTYPE; it is not, or is "
            "damaged. Check the file."
        )


@pytest.mark.parametrize(("driver", "name"), [("EHdr", "dem.bil"), ("ENVI", "dem.img")])
def test_plain_numbers_cut_short(tmp_path: Path, driver: str, name: str) -> None:
    path = tmp_path / name
    rasterio.shutil.copy(write(tmp_path / "a.tif", HEIGHTS.astype("float32")), path, driver=driver)
    assert not unknown(path).any()
    path.write_bytes(path.read_bytes()[:-4])
    with pytest.raises(FileReadError) as caught, open_model([path]):
        pass
    assert str(caught.value) == (
        f"The elevation model {path} should have 8000 bytes for its 40 x 50 heights; it has 7996. "
        "It was cut short: get the file again."
    )


def test_another_kind_of_file_beside_a_header_of_plain_numbers(tmp_path: Path) -> None:
    heights = write(tmp_path / "a.tif", HEIGHTS.astype("float32"))
    for driver, name in (("ENVI", "dem.bil"), ("netCDF", "dem.nc")):
        rasterio.shutil.copy(heights, tmp_path / name, driver=driver)
    path = tmp_path / "dem.nc"
    with pytest.raises(FileReadError) as caught, open_model([path]):
        pass
    assert str(caught.value) == (
        f"The elevation model {path} should have 8000 bytes for its 40 x 50 heights; it has "
        f"{path.stat().st_size}. The .hdr beside it may be of another file: make it a GeoTIFF in a folder of "
        "its own."
    )


class TestNoHeights:
    @pytest.mark.parametrize(
        ("kind", "value"),
        [
            ("int16", -32768),
            ("int16", 9999),
            ("uint16", 65535),
            ("float32", -9999.0),
            ("float32", -500.1),
            ("float32", 9000.1),
            ("float32", np.finfo("float32").min),
            ("float64", 1e300),
            ("float32", np.inf),
            ("float32", -np.inf),
        ],
    )
    def test_voids_that_nobody_declared(self, tmp_path: Path, kind: str, value: float) -> None:
        path = write(tmp_path / "dem.tif", boxed(value, kind))
        assert only_the_box(unknown(path))
        with open_model([path]) as model:
            assert model.heights_read.absurd_share == 0.0
            model.read(0, 0, ROWS, COLS)
            assert model.heights_read.absurd_share == 9 / (ROWS * COLS)

    def test_nan_is_an_ordinary_void(self, tmp_path: Path) -> None:
        path = write(tmp_path / "dem.tif", boxed(np.nan))
        assert only_the_box(unknown(path))
        with open_model([path]) as model:
            model.read(0, 0, ROWS, COLS)
            assert model.heights_read.absurd_share == 0.0

    @pytest.mark.parametrize("value", [-500.0, 9000.0])
    def test_the_ends_are_land(self, tmp_path: Path, value: float) -> None:
        assert not unknown(write(tmp_path / "dem.tif", boxed(value))).any()

    @pytest.mark.parametrize("kind", ["int16", "float32", "float64"])
    def test_a_0_far_below_all_land_is_missing_ground(self, tmp_path: Path, kind: str) -> None:
        high = boxed(-600.0, kind) + 600
        path = write(tmp_path / "dem.tif", high.astype(kind))
        assert only_the_box(unknown(path))
        with open_model([path]) as model:
            model.read(0, 0, ROWS, COLS)
            assert model.heights_read.absurd_share == 9 / (ROWS * COLS)

    def test_a_0_with_a_shore_is_a_height(self, tmp_path: Path) -> None:
        high = boxed(-600.0) + 600
        high[BOX[0].stop, BOX[1].stop] = 49.0  # askew counts as beside
        assert not unknown(write(tmp_path / "dem.tif", high)).any()
        high[BOX[0].stop, BOX[1].stop] = 50.0
        assert only_the_box(unknown(write(tmp_path / "b.tif", high)))
        high[30, 40] = 1.0  # low land elsewhere is no shore
        assert only_the_box(unknown(write(tmp_path / "c.tif", high)))

    def test_a_large_file_is_looked_at_in_squares(self, tmp_path: Path) -> None:
        high = np.full((1100, 1000), 700.0, "float32") + np.arange(1000, dtype="float32")
        high[200:500, 300:700] = 0.0
        with open_model([write(tmp_path / "dem.tif", high)]) as model:
            assert np.isnan(model.read(195, 295, 10, 10).heights_m).sum() == 25
        high[450:, :] = np.maximum(high[450:, :] - 400.0 - np.arange(1000), 0.0)
        high[1050:] = np.arange(50, 0, -1)[:, None]
        high[1099] = 0.0
        with open_model([write(tmp_path / "shore.tif", high)]) as model:
            assert not np.isnan(model.read(195, 295, 10, 10).heights_m).any()

    def test_a_0_is_filled_from_another_tile(self, tmp_path: Path) -> None:
        paths = [write(tmp_path / f"{k}.tif", z + 600) for k, z in enumerate((boxed(-600.0), HEIGHTS))]
        with open_model(paths) as model:
            assert_array_equal(model.read(0, 0, ROWS, COLS).heights_m, HEIGHTS + 600)

    def test_an_array_is_looked_at_alike(self) -> None:
        high = ArrayRaster(boxed(-600.0, "float64") + 600, PLACE["transform"], PLACE["crs"])
        with open_rasters([high]) as model:
            assert only_the_box(np.isnan(model.read(0, 0, ROWS, COLS).heights_m))

    @pytest.mark.parametrize("rounded_m", [None, 0.01])
    def test_planes_laid_across_a_gap_are_missing_ground(
        self, tmp_path: Path, rounded_m: float | None
    ) -> None:
        path = write(tmp_path / "dem.tif", gapped(rounded_m))
        gap = np.zeros((SIDE, SIDE), np.bool_)
        gap[GAP] = True
        with open_model([path]) as model:
            whole = model.read(0, 0, SIDE, SIDE).heights_m
            assert np.isnan(whole[gap]).mean() >= (0.3 if rounded_m else 0.6)
            assert not np.isnan(whole[~gap]).any()
            assert model.heights_read.absurd_share == np.isnan(whole).mean()
            # Every window leaves out the same, squares that it cuts among them.
            for row, col, rows, cols in ((83, 91, 20, 31), (-3, 70, 150, 5), (100, 95, 1, 1)):
                part = model.read(row, col, rows, cols).heights_m
                top = max(row, 0)
                expected = np.full((rows, cols), np.nan)
                expected[top - row :] = whole[top : row + rows, col : col + cols]
                assert_array_equal(part, expected)
            raw = RawHeights(model)
            numbers = np.empty((SIDE, SIDE), raw.dtype)
            raw.read(0, 0, numbers)
            assert_array_equal(np.isnan(numbers), np.isnan(whole))

    @pytest.mark.parametrize("rounded_m", [None, 0.01, 0.1, 1.0])
    def test_uneven_ground_without_a_gap_is_all_there(self, tmp_path: Path, rounded_m: float | None) -> None:
        z = rough_ground(5, SIDE)
        z = z if rounded_m is None else np.round(z / rounded_m) * rounded_m
        with open_model([write(tmp_path / "dem.tif", z.astype("float32"))]) as model:
            assert not np.isnan(model.read(0, 0, SIDE, SIDE).heights_m).any()

    def test_a_gap_filled_up_is_taken_from_another_tile(self, tmp_path: Path) -> None:
        paths = [
            write(tmp_path / "a.tif", gapped(None)),
            write(tmp_path / "b.tif", rough_ground(5, SIDE).astype("float32")),
        ]
        with open_model(paths) as model:
            whole = model.read(0, 0, SIDE, SIDE).heights_m
        assert not np.isnan(whole).any()
        assert (whole[GAP] == rough_ground(5, SIDE)[GAP].astype("float32")).mean() >= 0.5

    def test_made_surfaces_of_planes_are_all_there(self, tmp_path: Path) -> None:
        row, col = np.mgrid[:SIDE, :SIDE] * 10.0
        z = np.minimum(0.6 * row, 1500.0 - 0.3 * col).astype("float32")
        with open_model([write(tmp_path / "dem.tif", z)]) as model:
            assert not np.isnan(model.read(0, 0, SIDE, SIDE).heights_m).any()

    def test_the_range_is_that_of_metres(self, tmp_path: Path) -> None:
        # Decimetres: 20 000 of them are 2000 m, 90 001 are no land.
        assert not unknown(write(tmp_path / "a.tif", boxed(20_000, "int32"), scale=0.1)).any()
        assert only_the_box(unknown(write(tmp_path / "b.tif", boxed(90_001, "int32"), scale=0.1)))
        assert only_the_box(unknown(write(tmp_path / "c.tif", boxed(90_001, "int32"), scale=-0.1))) is True

    @pytest.mark.parametrize(("scale", "offset"), [("0", "0"), ("0,1", "0"), ("nan", "0"), ("1", "inf")])
    def test_a_scale_that_makes_no_heights(self, tmp_path: Path, scale: str, offset: str) -> None:
        write(tmp_path / "a.tif", HEIGHTS.astype("float32"))
        declared = f"<Scale>{scale}</Scale><Offset>{offset}</Offset>"
        path = vrt(tmp_path / "dem.vrt", "a.tif", declared=declared)
        with pytest.raises(ModelError) as caught, open_model([path]):
            pass
        read = "0" if scale == "0,1" else scale
        assert str(caught.value) == (
            f"The elevation model {path} should say how its numbers become heights; its scale is {read} and "
            f"its offset {offset}. A scale of 0 also comes from a comma in the number. Set it anew, for "
            "instance with gdal_edit.py -scale 0.1."
        )

    @pytest.mark.parametrize("element", ["ScaleRatio", "ScaleOffset"])
    def test_a_virtual_raster_that_scales_its_files(self, tmp_path: Path, element: str) -> None:
        write(tmp_path / "a.tif", HEIGHTS.astype("float32"))
        path = vrt(tmp_path / "dem.vrt", "a.tif")
        text = path.read_text().replace("</SimpleSource>", f"<{element}>0.1</{element}></SimpleSource>")
        path.write_text(text.replace("SimpleSource", "ComplexSource"))
        with pytest.raises(ModelError) as caught, open_model([path]):
            pass
        assert str(caught.value) == (
            f"The virtual raster {path} should put files of heights side by side; it has a '{element}'. Make "
            "it a GeoTIFF first, for instance with gdal_translate."
        )


class TestOneNumber:
    @pytest.mark.parametrize("kind", ["int16", "float32", "float64"])
    @pytest.mark.parametrize(("row", "col"), [(0, 0), (3, 5), (25, 35), (7, 30)])
    def test_a_stretch_of_15_by_15_is_found_wherever_it_lies(self, kind: str, row: int, col: int) -> None:
        z = HEIGHTS.astype(kind)
        assert same_cells(z) == 0
        z[row : row + 15, col : col + 15] = 1234
        assert same_cells(z) == 64 * ((row + 15) // 8 - -(-row // 8)) * ((col + 15) // 8 - -(-col // 8)) > 0

    def test_one_cell_that_differs_is_enough(self) -> None:
        for row, col in np.ndindex(8, 8):
            z = np.full((8, 8), 3.0)
            assert same_cells(z) == 64
            z[row, col] = 3.5
            assert same_cells(z) == 0

    def test_a_void_and_too_few_cells_are_none(self) -> None:
        assert same_cells(np.full((40, 40), np.nan)) == 0
        assert same_cells(np.zeros((7, 40))) == 0


def told_by_all(path: Path, out: Path, key: str) -> list[str]:
    """What `route`, `ground` and `area` say of a model under a key of the cautions."""
    with open_model([path]) as model:
        ends = [model.grid.xy(col, 6.5) for col in (2.5, 20.5)]
        line = screen_route(route_on(model, [(float(x), float(y)) for x, y in ends]), model)
    with open_model([path]) as model:
        lon, lat = (float(v) for v in model.grid.to_wgs84(7.5, 6.5))
        place = ground_at(Place(lat, lon), model, 100.0)
    whole = run(out, path)
    return [
        caution.text for found in (line, place, whole) for caution in found.cautions if caution.key == key
    ]


def test_a_lake_or_filled_ground_is_told_by_all(tmp_path: Path) -> None:
    z = HEIGHTS.astype("float32")
    z[0:16, 0:24] = 700.0
    told = told_by_all(write(tmp_path / "dem.tif", z), tmp_path / "out", "same_heights")
    assert len(told) == 3
    assert told[2] == (
        "About 19.2 percent of the heights read are stretches of one identical number, 8 x 8 cells and "
        "larger: a lake, level ground in whole metres, or missing ground filled up. Its slope of 0 is no "
        "better known than that: look at the map."
    )
    assert {text.split(" ", 2)[2] for text in told} == {told[2].split(" ", 2)[2]}
    assert told_by_all(write(tmp_path / "b.tif", HEIGHTS), tmp_path / "b", "same_heights") == []


def test_a_scale_is_told_by_all(tmp_path: Path) -> None:
    path = write(tmp_path / "dem.tif", (HEIGHTS * 10).astype("int32"), scale=0.1)
    words = (
        "The numbers of the model become heights by a scale and an offset that its files state: 0.1 and 0 "
        "(dem.tif). Where they are wrong every slope is: compare a height with the map."
    )
    assert told_by_all(path, tmp_path / "out", "scaled_heights") == [words] * 3
    write(tmp_path / "plain.tif", HEIGHTS)
    shifted = vrt(tmp_path / "dem.vrt", "plain.tif", declared="<Offset>12.5</Offset>")
    told = told_by_all(shifted, tmp_path / "out2", "scaled_heights")
    assert told == [words.replace("0.1 and 0 (dem.tif)", "1 and 12.5 (dem.vrt)")] * 3
    assert told_by_all(write(tmp_path / "b.tif", HEIGHTS), tmp_path / "b", "scaled_heights") == []


def test_route_ground_and_area_tell_the_same(tmp_path: Path) -> None:
    path = write(tmp_path / "dem.tif", boxed(-32768, "int16"))
    words = (
        "About 0.5 percent of the heights read lie below -500 or above 9000 m, are 0 where no land comes "
        "near it, or lie in planes laid across gaps; they count as unknown. They may be voids that the model "
        "does not declare, or heights in feet, decimetres or centimetres: declare the voids, state --z-unit, "
        "or bring the model to metres."
    )
    with open_model([path]) as model:
        ends = [model.grid.xy(col, 6.5) for col in (2.5, 20.5)]
        line = screen_route(route_on(model, [(float(x), float(y)) for x, y in ends]), model)
    with open_model([path]) as model:
        lon, lat = (float(v) for v in model.grid.to_wgs84(7.5, 6.5))
        place = ground_at(Place(lat, lon), model, 300.0)
    whole = run(tmp_path / "out", path)
    assert line.totals.unknown_m > 50.0  # the box and a cell on either side
    assert place.slope_deg is None
    assert np.isnan(cells(tmp_path / "out" / "slope.tif"))[4:9, 5:10].all()
    for found in (line, place, whole):
        told = [caution.text for caution in found.cautions if caution.key == "absurd_heights"]
        assert [text.split(" ", 2)[2] for text in told] == [words.split(" ", 2)[2]]
    assert words in [caution.text for caution in whole.cautions]
