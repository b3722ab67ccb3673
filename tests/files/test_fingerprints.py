"""Which files a model consists of, and what tells them from others."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio.shutil
from tests.files.test_missing_ground import HEIGHTS, vrt, write

from steybrae.files.model.fingerprints import files_fingerprint, files_state
from steybrae.files.model.rasters import ModelInfo, open_model


def info(path: Path) -> ModelInfo:
    with open_model([path]) as model:
        return model.info


@pytest.fixture
def tile(tmp_path: Path) -> Path:
    return write(tmp_path / "a.tif", HEIGHTS.astype("float32"))


def pam(path: Path, scale: float) -> None:
    Path(f"{path}.aux.xml").write_text(
        f'<PAMDataset><PAMRasterBand band="1"><Scale>{scale}</Scale></PAMRasterBand></PAMDataset>'
    )


class TestParts:
    def test_a_file_alone(self, tile: Path) -> None:
        assert info(tile).parts == ((tile,),)
        assert info(tile).fingerprints == (files_fingerprint([tile]),)

    def test_what_lies_beside(self, tile: Path) -> None:
        pam(tile, 0.5)
        tile.with_suffix(".gpx").write_text("no part of it")
        assert set(info(tile).parts[0]) == {tile, Path(f"{tile}.aux.xml")}

    def test_numbers_and_their_header(self, tile: Path, tmp_path: Path) -> None:
        rasterio.shutil.copy(tile, tmp_path / "dem.bil", driver="EHdr")
        assert {path.suffix for path in info(tmp_path / "dem.bil").parts[0]} >= {".bil", ".hdr", ".prj"}

    def test_virtual_rasters_down_to_the_tiles_and_their_sidecars(self, tile: Path, tmp_path: Path) -> None:
        pam(tile, 1.0)
        inner, outer = vrt(tmp_path / "inner.vrt", "a.tif"), vrt(tmp_path / "outer.vrt", "inner.vrt")
        assert set(info(outer).parts[0]) == {outer, inner, tile, Path(f"{tile}.aux.xml")}


class TestFingerprint:
    def test_it_tells_a_tile_under_two_virtual_rasters(self, tile: Path, tmp_path: Path) -> None:
        vrt(tmp_path / "inner.vrt", "a.tif")
        outer = vrt(tmp_path / "outer.vrt", "inner.vrt")
        before = info(outer).fingerprints
        assert info(outer).fingerprints == before
        write(tile, HEIGHTS.astype("float32") + 1.0)
        assert info(outer).fingerprints != before

    def test_it_tells_a_sidecar_that_came_or_changed(self, tile: Path) -> None:
        seen = [info(tile).fingerprints]
        for scale in (0.5, 0.25):
            pam(tile, scale)
            seen.append(info(tile).fingerprints)
        assert len(set(seen)) == 3

    def test_it_is_the_same_in_another_folder(self, tile: Path, tmp_path: Path) -> None:
        outer = vrt(tmp_path / "dem.vrt", "a.tif")
        (tmp_path / "there").mkdir()
        for path in (tile, outer):
            (tmp_path / "there" / path.name).write_bytes(path.read_bytes())
        assert info(tmp_path / "there" / "dem.vrt").fingerprints == info(outer).fingerprints


def test_the_state_tells_a_write_that_no_end_shows(tmp_path: Path) -> None:
    path = tmp_path / "large.tif"
    path.write_bytes(bytes(10 * 2**20))
    os.utime(path, ns=(1, 1))
    prints, before = files_fingerprint([path]), files_state([path])
    with path.open("r+b") as file:
        file.seek(5 * 2**20)
        file.write(b"\1")
    assert files_fingerprint([path]) == prints
    assert files_state([path]) != before
    path.unlink()
    assert files_state([path]) not in (before, files_state([]))


def test_the_state_stays_while_files_do(tile: Path) -> None:
    assert np.unique([info(tile).state() for _ in range(3)]).size == 1
