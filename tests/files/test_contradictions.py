"""A sidecar or a virtual raster that says another thing than the file itself is refused, never believed."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
import rasterio
from tests.files.test_missing_ground import COLS, HEIGHTS, ROWS, vrt, write

from steybrae.errors import ModelError
from steybrae.files.model.rasters import open_model

FEET = rasterio.CRS.from_epsg(2222).to_wkt()
"""A grid in feet: the same numbers are a third of the distance."""


def refused(path: Path, unit: str | None = None) -> str:
    with pytest.raises(ModelError) as caught, open_model([path], unit):
        pass
    return str(caught.value)


def beside(path: Path, text: str) -> Path:
    path.with_name(f"{path.name}.aux.xml").write_text(f"<PAMDataset>{text}</PAMDataset>")
    return path


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "<GeoTransform>54500,20,0,1053500,0,-20</GeoTransform>",
            "the cells: 9.9894 x 9.9894 m and 19.979 x 19.979 m on the ground",
        ),
        (
            f"<SRS>{FEET.replace('<', '')}</SRS>",
            "the cells: 9.9894 x 9.9894 m and 3.0469 x 3.0469 m on the ground",
        ),
        (
            "<GeoTransform>54500,10,0,1073500,0,-10</GeoTransform>",
            "the place: 59.225, -8.056 and 59.404, -8.088",
        ),
        ('<PAMRasterBand band="1"><Scale>0.1</Scale></PAMRasterBand>', "the scale: 10.0 and 0.1"),
        (
            '<PAMRasterBand band="1"><Scale>10</Scale><Offset>5</Offset></PAMRasterBand>',
            "the offset: 2.0 and 5.0",
        ),
        ('<PAMRasterBand band="1"><UnitType>ft</UnitType></PAMRasterBand>', "the height unit: m and ft"),
        (
            '<PAMRasterBand band="1"><NoDataValue>-9999</NoDataValue></PAMRasterBand>',
            "the no-data value: 0.0 and -9999.0",
        ),
        # More than the type can hold.
        (
            '<PAMRasterBand band="1"><NoDataValue>1e181</NoDataValue></PAMRasterBand>',
            "the no-data value: 0.0 and none",
        ),
    ],
)
def test_a_sidecar_that_says_another_thing(tmp_path: Path, text: str, said: str) -> None:
    path = write(tmp_path / "dem.tif", HEIGHTS.astype("float32"), nodata=0.0, scale=10.0)
    with rasterio.open(path, "r+") as made:
        made.offsets, made.units = (2.0,), ("m",)
    words = (
        f"The elevation model {path} and the .aux.xml beside it should say the same; they differ in {said}. "
        "Find out which holds, and take the other away."
    )
    assert refused(beside(path, text)) == words
    names_it = vrt(tmp_path / "dem.vrt", path.name, declared="<Scale>10</Scale><Offset>2</Offset>")
    assert refused(names_it) == words


@pytest.mark.parametrize(
    "text",
    [
        '<PAMRasterBand band="1"><Metadata><MDI key="STATISTICS_MEAN">3</MDI></Metadata></PAMRasterBand>',
        "<SRS>EPSG:27700</SRS><GeoTransform>54500,10,0,1053500,0,-10</GeoTransform>",
        '<PAMRasterBand band="1"><NoDataValue>5</NoDataValue></PAMRasterBand>',
    ],
)
def test_a_sidecar_that_adds_to_the_file_or_agrees_is_taken(tmp_path: Path, text: str) -> None:
    path = beside(write(tmp_path / "dem.tif", HEIGHTS.astype("float32")), text)
    with open_model([path]) as model:
        heights = model.read(0, 0, ROWS, COLS).heights_m
    assert np.count_nonzero(np.isnan(heights)) == ("NoData" in text)


def test_a_unit_that_is_no_text(tmp_path: Path) -> None:
    path = write(tmp_path / "dem.tif", HEIGHTS.astype("float32"))
    told = b'<PAMDataset><PAMRasterBand band="1"><UnitType>m\xf9</UnitType></PAMRasterBand></PAMDataset>'
    path.with_name(f"{path.name}.aux.xml").write_bytes(told)
    assert refused(path) == (
        f"The elevation model {path} should name its height unit in UTF-8; it does not. State it with "
        "--z-unit."
    )
    with open_model([path], "m") as model:
        assert not np.isnan(model.read(0, 0, ROWS, COLS).heights_m).any()
    with rasterio.open(path, "r+") as made:
        made.units = ("ft",)
    path.with_name(f"{path.name}.aux.xml").write_bytes(told)
    assert refused(path) == (
        f"The elevation model {path} and the .aux.xml beside it should say the same; they differ in the "
        "height unit: ft and none. Find out which holds, and take the other away."
    )


def test_a_no_data_value_that_the_type_cannot_hold_is_none(tmp_path: Path) -> None:
    declared = "<NoDataValue>1e181</NoDataValue>"
    path = write(tmp_path / "dem.tif", HEIGHTS.astype("float32"))
    virtual = vrt(tmp_path / "dem.vrt", path.name, declared=declared)
    for each in (virtual, beside(path, f'<PAMRasterBand band="1">{declared}</PAMRasterBand>'), virtual):
        with open_model([each]) as model:
            assert not np.isnan(model.read(0, 0, ROWS, COLS).heights_m).any()


def test_a_place_that_stands_in_the_sidecar_alone_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "dem.tif"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with rasterio.open(path, "w", "GTiff", COLS, ROWS, 1, dtype="float32") as made:
            made.write(HEIGHTS.astype("float32"), 1)
    beside(path, "<SRS>EPSG:27700</SRS><GeoTransform>54500,10,0,1053500,0,-10</GeoTransform>")
    with open_model([path]) as model:
        assert model.grid.transform == (10.0, 0.0, 54_500.0, 0.0, -10.0, 1_053_500.0)


CHANGES = [
    ("54500.0, 10.0", "54500.0, 20.0", "the cells: 20 x 10 and 10 x 10"),
    ("54500.0, 10.0", "54600.0, 10.0", "the place: 10 columns and 0 rows beside it"),
    (f'xSize="{COLS}"', 'xSize="25"', "the cells: 25 x 40 of them become 50 x 40"),
    ("EPSG:27700", FEET.replace("<", ""), "the cells: 3.0469 x 3.0469 m and 9.9894 x 9.9894 m on the ground"),
    ('dataType="Float32" ', "", "the type of its numbers: float32 become uint8"),
    ('"Float32"', '"Int16"', "the type of its numbers: float32 become int16"),
    ("<SourceBand>1", "<SourceBand>2", "the bands: band '2' of 1 is asked for"),
    ("<SourceBand>1", "<SourceBand>mask,1", "the bands: band 'mask,1' of 1 is asked for"),
]


@pytest.mark.parametrize(("before", "after", "said"), CHANGES, ids=[after[:20] for _, after, _ in CHANGES])
def test_a_virtual_raster_that_gives_its_files_other_cells(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    source = write(tmp_path / "dem.tif", HEIGHTS.astype("float32"))
    path = vrt(tmp_path / "dem.vrt", source.name, declared="<NoDataValue>-9999</NoDataValue>")
    with open_model([path]):
        pass
    path.write_text(path.read_text().replace(before, after, 1))
    assert refused(path) == differs(path, source, said)


def differs(path: Path, source: Path, said: str) -> str:
    return (
        f"A virtual raster should say of its files what they say themselves; {path} differs from {source} in "
        f"{said}. Bring its files to one grid and unit, and make it anew."
    )


def test_a_virtual_raster_over_scaled_files_says_their_scale(tmp_path: Path) -> None:
    source = write(tmp_path / "dem.tif", HEIGHTS.astype("int16"), scale=10.0)
    path = vrt(tmp_path / "dem.vrt", source.name)
    said = "scale and offset: 1 and 0, and 10 and 0"
    assert refused(path) == differs(path, source, said)
    outer = vrt(tmp_path / "outer.vrt", path.name)
    assert refused(outer) == differs(path, source, said)
    with open_model([vrt(path, source.name, declared="<Scale>10</Scale>")]) as model:
        assert model.read(0, 0, 1, 2).heights_m.tolist() == [[10.0, 20.0]]
    assert refused(outer) == differs(outer, path, said)


def test_a_virtual_raster_over_files_in_feet_says_so_or_the_user_does(tmp_path: Path) -> None:
    source = write(tmp_path / "dem.tif", HEIGHTS.astype("float32"))
    with rasterio.open(source, "r+") as made:
        made.units = ("ft",)
    path = vrt(tmp_path / "dem.vrt", source.name)
    said = "the height unit: 1 m and 0.3048 m; --z-unit says which holds"
    assert refused(path) == differs(path, source, said)
    with open_model([path], "ft") as model:
        assert model.info.height_unit_m == 0.3048
    with open_model([vrt(path, source.name, declared="<UnitType>ft</UnitType>")]) as model:
        assert model.info.height_unit_from == "band"
