"""A piece cut out of a model: the high ground that was cut off is not missed in silence."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.raster.rasters_made import UTM, write

from steybrae.answers.ground import ground_document
from steybrae.files.model.rasters import open_model
from steybrae.render.terminal import terminal_text
from steybrae.route.positions.places import Place
from steybrae.screening import Settings
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.ground.result import GroundAt

CELL_M = 20.0


def valley() -> NDArray[np.float32]:
    """Level ground of 8 km, a slope of 45 degrees to 1000 m above it 2 km north of the middle."""
    row = np.mgrid[:400, :400][0]
    return np.clip((100.0 - row) * CELL_M, 0.0, 1000.0).astype(np.float32)


def middle_of(path: Path) -> GroundAt:
    with open_model([path]) as model:
        rows, cols = model.grid.shape
        lon, lat = model.grid.to_wgs84(cols / 2 + 0.5, rows / 2 + 0.5)
        place, settings = Place(float(lat), float(lon)), Settings(model_kind="lidar")
        return with_above(ground_at(place, model, 25.0, settings), place, model, settings)


def words_of(found: GroundAt) -> str:
    return " ".join(terminal_text(ground_document(found), 100).split())


@pytest.mark.parametrize("half", [30, 60])
def test_it_says_how_far_all_is_known(tmp_path: Path, half: int) -> None:
    z = valley()
    cut = z[200 - half : 200 + half, 200 - half : 200 + half]
    found = middle_of(write(tmp_path / "cut.tif", cut, transform=(CELL_M, *UTM[1:4], -CELL_M, UTM[5])))
    assert found.overhead is not None
    # The outermost cells have no slope; from the middle of a cell to the nearer side.
    assert found.overhead.known_to_m == pytest.approx((half - 1.5) * CELL_M, rel=1e-3)
    assert found.overhead.sight is None
    assert not found.unknown_above
    assert "overhead_short" in {caution.key for caution in found.cautions}
    known = f"{int(found.overhead.known_to_m)} m" if half == 30 else "1.1 km"
    assert (
        f"Overhead: no start zone at 18° and more within 3 km, of which all is known only to {known}"
        in words_of(found)
    )


def test_the_whole_has_the_slope_and_knows_all(tmp_path: Path) -> None:
    found = middle_of(write(tmp_path / "whole.tif", valley(), transform=(CELL_M, *UTM[1:4], -CELL_M, UTM[5])))
    assert found.overhead is not None
    assert found.overhead.known_to_m is None
    # The highest cell that is steep itself, 980 m up and 149 cells off.
    assert found.overhead.sight is not None
    expected_deg = math.degrees(math.atan(980.0 / (149 * CELL_M)))
    assert found.overhead.sight.unfiltered_deg == pytest.approx(expected_deg, abs=0.01)
    assert "overhead_not_runout" in {caution.key for caution in found.cautions}
