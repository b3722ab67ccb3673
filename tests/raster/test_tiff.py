"""Tiles that we pack, read back by GDAL: equal to the last bit."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from steybrae.raster.files.tiff import HEADER_BYTES, TILE, Level, encode_tiles, raster_tags, write_directories

KINDS = ("float32", "float64", "uint16", "uint8", "int16")


def written(path: Path, cells: NDArray[Any], rows: int, cols: int, compress: str, cut: bool) -> Path:
    """A file of one level; the array has whole tiles, of which the raster may leave a rim out."""
    down, right = cells.shape[0] // TILE, cells.shape[1] // TILE
    if cut:
        by_tile = np.ascontiguousarray(cells.reshape(down, TILE, right, TILE).swapaxes(1, 2))
        cells = by_tile.swapaxes(1, 2)
    data, sizes = encode_tiles(cells, compress)
    offsets = HEADER_BYTES + np.cumsum([0, *sizes[:-1]])
    level = Level(
        rows,
        cols,
        offsets.reshape(down, right).astype(np.uint64),
        np.reshape(sizes, (down, right)).astype(np.uint64),
    )
    tags, _ = raster_tags(
        cells.dtype.name,
        compress,
        "EPSG:32632",
        (10.0, 0, 4e5, 0, -10.0, 5e6),
        nodata=None,
        tags={},
        text="t",
    )
    with path.open("w+b") as file:
        file.write(bytes(HEADER_BYTES))
        file.write(data)
        write_directories(file, tags, [level])
    return path


def back(path: Path) -> NDArray[Any]:
    with rasterio.open(path) as data:
        found: NDArray[Any] = data.read(1)
    return found


def filled(dtype: str, rows: int, cols: int, seed: int = 1) -> NDArray[Any]:
    """Any bits at all, also of numbers that are none, beside smooth ground."""
    random = np.random.default_rng(seed)
    shape = (-(-rows // TILE) * TILE, -(-cols // TILE) * TILE)
    noise = random.integers(0, 256, (*shape, np.dtype(dtype).itemsize), np.uint8).view(dtype)[..., 0]
    smooth = np.add.outer(np.arange(shape[0]), np.arange(shape[1])) % 100
    return np.where(random.random(shape) < 0.3, noise, smooth.astype(dtype))


class TestPackedTiles:
    @pytest.mark.parametrize("compress", ["none", "deflate"])
    @pytest.mark.parametrize("dtype", KINDS)
    @pytest.mark.parametrize("size", [(1, 1), (255, 257), (256, 256), (512, 768), (700, 300)])
    @pytest.mark.parametrize("cut", [False, True])
    def test_gdal_reads_every_bit(
        self, tmp_path: Path, size: tuple[int, int], dtype: str, compress: str, cut: bool
    ) -> None:
        cells = filled(dtype, *size)
        found = back(written(tmp_path / "t.tif", cells, *size, compress, cut))
        assert found.dtype == cells.dtype
        assert found.tobytes() == cells[: size[0], : size[1]].tobytes()

    @pytest.mark.parametrize("dtype", ["float32", "uint16", "uint8"])
    @pytest.mark.parametrize("value", ["unknown", "zero", "largest"])
    def test_tiles_of_one_number(self, tmp_path: Path, dtype: str, value: str) -> None:
        numbers = {"unknown": np.nan if dtype == "float32" else 0, "zero": 0, "largest": 90}
        cells = np.full((TILE, 2 * TILE), numbers[value], dtype)
        found = back(written(tmp_path / "t.tif", cells, TILE, 2 * TILE, "deflate", cut=False))
        assert found.tobytes() == cells.tobytes()

    def test_nan_of_either_sign_and_payload_is_kept(self, tmp_path: Path) -> None:
        bits = np.array([0x7FC00000, 0xFFC00000, 0x7F800001, 0x7F800000, 0xFF800000, 0x80000000], np.uint32)
        cells = np.resize(bits, (TILE, TILE)).view(np.float32)
        found = back(written(tmp_path / "t.tif", cells, TILE, TILE, "deflate", cut=False))
        assert found.tobytes() == cells.tobytes()

    @given(data=st.data(), dtype=st.sampled_from(["float32", "uint16", "uint8"]))
    @settings(max_examples=25, deadline=None)
    def test_whatever_stands_in_a_corner(self, tmp_path_factory, data, dtype) -> None:
        cells = np.zeros((TILE, TILE), dtype)
        corner = data.draw(hnp.arrays(dtype, hnp.array_shapes(min_dims=2, max_dims=2, max_side=9)))
        cells[: corner.shape[0], -corner.shape[1] :] = corner
        path = written(tmp_path_factory.mktemp("t") / "t.tif", cells, TILE, TILE, "deflate", cut=False)
        assert back(path).tobytes() == cells.tobytes()

    def test_the_tags_are_those_that_gdal_writes(self, tmp_path: Path) -> None:
        path = written(tmp_path / "t.tif", filled("float32", 300, 300), 300, 300, "deflate", cut=False)
        with rasterio.open(path) as found:
            assert found.compression.name == "deflate"
            assert found.tags(ns="IMAGE_STRUCTURE")["PREDICTOR"] == "3"
            assert found.block_shapes == [(TILE, TILE)]
