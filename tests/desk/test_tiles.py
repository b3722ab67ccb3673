"""The desk's map: its bands are those of `area`, and what is unknown or not looked at shows at every zoom."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from starlette.testclient import TestClient
from tests.made_models import Made

import steybrae
from steybrae.desk.opened import Desk
from steybrae.desk.tiles import contours, draw
from steybrae.desk.tiles.cells import BAND, NOT_LOOKED, TILE, UNKNOWN, TileView, coarser
from steybrae.desk.tiles.contours import contours_png, interval_m
from steybrae.desk.tiles.draw import MapDrawing, unknown_png, zones_png
from steybrae.files.model.rasters import RasterModel, open_model
from steybrae.files.results import sample_model
from steybrae.raster.blocks import Block
from steybrae.raster.files.heights import RawHeights
from steybrae.raster.job import AreaJob
from steybrae.raster.overhead.layers import POSSIBLE, START_ZONE
from steybrae.raster.overhead.survey import Survey
from steybrae.screening import Settings

Cells = NDArray[np.uint8]


def rough(shape: tuple[int, int], cell_m: float, seed: int) -> NDArray[np.float64]:
    """Ground of every steepness, with two voids."""
    rows, cols = np.mgrid[: shape[0], : shape[1]] * cell_m
    heights = (
        800.0 + 300.0 * np.sin(rows / 310.0) * np.cos(cols / 270.0) + 60.0 * np.sin((rows + cols) / 55.0)
    )
    heights += np.random.default_rng(seed).normal(0.0, 0.2, shape)
    heights[30:42, 50:61] = heights[-9, -5] = np.nan
    return heights


@pytest.fixture(scope="module", params=["4m", "degrees"])
def path(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A model of four blocks of `area`, none of them whole but the first."""
    shape = (1040, 1105)
    made = {
        "4m": (rough(shape, 4.0, 2), Affine(4, 0, 370_000, 0, -4, 6_567_000), "EPSG:32629"),
        "degrees": (rough(shape, 30.0, 3), Affine(1 / 1800, 0, -8.2, 0, -1 / 3600, 59.4), "EPSG:4326"),
    }[request.param]
    return Made(*made).write(tmp_path_factory.mktemp("map") / f"{request.param}.tif")


@pytest.fixture(scope="module")
def model(path: Path) -> Iterator[RasterModel]:
    with open_model([path]) as opened:
        yield opened


@pytest.fixture(scope="module")
def drawing(path: Path, model: RasterModel) -> MapDrawing:
    return MapDrawing(AreaJob((path,)), model.grid, Settings())


@pytest.fixture(scope="module")
def of_area(path: Path, tmp_path_factory: pytest.TempPathFactory) -> Cells:
    out = tmp_path_factory.mktemp("area")
    steybrae.area(path, out, layers=("bands",))
    with rasterio.open(out / "bands.tif") as data:
        found: Cells = data.read(1)
    return found


def test_bands_are_those_of_area_cell_for_cell(
    drawing: MapDrawing, model: RasterModel, of_area: Cells
) -> None:
    rows, cols = of_area.shape
    assert len(np.unique(of_area)) == 8, "every band, and unknown"
    own = np.concatenate(
        [
            np.concatenate(
                [drawing.cells.window(model, 0, y, x, TILE, TILE) for x in range(0, cols, TILE)], axis=1
            )
            for y in range(0, rows, TILE)
        ]
    )
    assert (own[rows:] == UNKNOWN).all()
    assert (own[:, cols:] == UNKNOWN).all()
    assert np.array_equal(np.where(own == UNKNOWN, 0, own)[:rows, :cols], of_area)


def test_overviews_keep_the_steepest_and_any_unknown(
    drawing: MapDrawing, model: RasterModel, of_area: Cells
) -> None:
    for number in range(drawing.cells.layout.count):
        drawing.cells.block(model, number)
    assert drawing.cells.looked == drawing.cells.layout.count
    for level in range(1, -drawing.zooms[0] + 1):
        side = 1 << level
        rows, cols = (-(-size // side) for size in of_area.shape)
        whole = np.full((rows * side, cols * side), 255, np.uint8)
        whole[: of_area.shape[0], : of_area.shape[1]] = of_area
        four = whole.reshape(rows, side, cols, side)
        own = drawing.cells.window(model, level, 0, 0, rows, cols)
        assert np.array_equal(own & BAND, np.where(four == 255, 0, four).max(axis=(1, 3)))
        assert np.array_equal((own & UNKNOWN) > 0, (four == 0).any(axis=(1, 3)))
        assert not (own & NOT_LOOKED).any()


def test_start_zones_of_a_tile_are_those_of_the_whole_block(
    drawing: MapDrawing, model: RasterModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[Cells] = []
    monkeypatch.setattr(draw, "zones_png", lambda classes, _: seen.append(classes) or b"")
    drawing.tile(model, "zones", TileView(1, 3, 5))
    job = drawing.cells.job
    job = replace(job, settings=replace(job.settings, model_found=drawing.found(model)))
    whole = Survey(RawHeights(model), job, drawing.cells.layout).block(Block(0, 400, 150, 500, 450)).classes
    assert len(np.unique(whole)) >= 3
    assert np.array_equal(seen[0], whole[239:369, 233:363])


def test_what_is_not_looked_at_is_neither_a_band_nor_unknown(path: Path, model: RasterModel) -> None:
    drawing = MapDrawing(AreaJob((path,)), model.grid, Settings())
    level = -drawing.zooms[0]
    assert level == drawing.cells.level
    before = drawing.cells.window(model, level, 0, 0, 5, 5)
    assert (before == NOT_LOOKED).all()
    drawing.cells.block(model, 0)
    after = drawing.cells.window(model, level, 0, 0, 130, 139)
    assert (after[:128, :128] != NOT_LOOKED).all()
    assert (after[128:] == NOT_LOOKED).all()
    assert (after[:, 128:] == NOT_LOOKED).all()


def test_four_cells_are_the_steepest_with_the_flags_of_all() -> None:
    cells = np.array([[3, 5, UNKNOWN], [1, UNKNOWN | 2, NOT_LOOKED], [7, 1, 4]], np.uint8)
    assert coarser(cells).tolist() == [[UNKNOWN | 5, UNKNOWN | NOT_LOOKED], [7, 4]]


@pytest.mark.parametrize("zoom", [-3, 0, 3])
def test_a_single_unknown_cell_is_seen_at_every_zoom(zoom: int) -> None:
    view = TileView(zoom, 0, 0)
    for at in range(8):
        cells = np.full((view.count, view.count), 1, np.uint8)
        cells[at, 4] = UNKNOWN
        drawn = np.asarray(Image.open(io.BytesIO(unknown_png(cells, view))).convert("RGBA"))
        inked = (drawn[..., 3] == 255) & (drawn[..., :3] == 0).all(axis=2)
        row, col = at * view.side, 4 * view.side
        assert inked[row : row + view.side, col : col + view.side].any()
        assert (drawn[..., 3] > 0).sum() == view.side**2


def picture(client: TestClient, layer: str, zoom: int, x: int, y: int) -> NDArray[np.uint8]:
    found = client.get(f"tiles/{layer}/{zoom}/{x}/{y}.png")
    assert (found.status_code, found.headers["content-type"]) == (200, "image/png")
    return np.asarray(Image.open(io.BytesIO(found.content)).convert("RGBA"))


@pytest.mark.parametrize("layer", ["relief", "relief-alone", "bands", "zones", "contours", "unknown"])
@pytest.mark.parametrize("zoom", [-2, 0, 4])
def test_every_layer_is_drawn_at_every_zoom(client: TestClient, layer: str, zoom: int) -> None:
    assert picture(client, layer, zoom, 0, 0).shape == (TILE, TILE, 4)


def test_bands_have_the_tints_of_the_legend(client: TestClient) -> None:
    legend = [one["colour"] for one in client.get("model").json()["legend"]]
    drawn = picture(client, "bands", 0, 1, 1)
    seen = {
        f"#{red:02x}{green:02x}{blue:02x}"
        for red, green, blue in np.unique(drawn.reshape(-1, 4)[:, :3], axis=0)
    }
    assert len(seen & set(legend)) >= 6
    assert (drawn[..., 3] == 255).all(), "known ground is never left blank"


def test_beyond_the_model_the_map_is_unknown(client: TestClient) -> None:
    drawn = picture(client, "unknown", 0, 3, 2)
    beyond = drawn[700 - 512 :, 900 - 768 :]
    assert (beyond[..., 3] == 255).all()
    assert 0.2 < (beyond[..., 0] == 0).mean() < 0.5, "crossed lines on white"


@pytest.mark.parametrize(
    "place",
    ["0/4/0", "0/0/3", "-3/0/0", "5/0/0", "0/-1/0", "99999999/0/0", "0/99999999/0", "0/999999999999999/0",
     "NaN/0/0", "1e3/0/0", "0x1/0/0", "0/0/0.5", "٣/0/0", "../0/0"],
)  # fmt: skip
def test_tiles_that_there_are_not(client: TestClient, place: str) -> None:
    found = client.get(f"tiles/bands/{place}.png")
    assert found.status_code == 404
    assert set(found.json()) == {"refused"}


def test_layers_that_there_are_not(client: TestClient) -> None:
    for layer in ("slope", "..%2f..%2fbands", "Bands", "%00"):
        assert client.get(f"tiles/{layer}/0/0/0.png").status_code == 404


@pytest.mark.parametrize(
    ("own_m", "told"),
    [
        (None, "20 m"),
        (10.0, "20 m"),
        (2.5, "25 m"),
        (12.192, "80 ft"),
        (12.192024384048768, "80 ft"),
        (15.0, "30 m"),
    ],
)
def test_contours_of_a_map_in_feet_are_told_in_feet(desk: Desk, own_m: float | None, told: str) -> None:
    drawing = MapDrawing(AreaJob((sample_model(),)), desk.grid, replace(desk.settings, interval_m=own_m))
    assert drawing.interval_text(0) == told


def test_a_label_of_40_feet_says_40_and_its_line_lies_at_12_192_m(monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    monkeypatch.setattr(contours, "_label", lambda _, text, *__: written.append(text))
    heights = np.broadcast_to(np.arange(258.0) / 4.0, (258, 258)) + 30.0  # 29.9 to 94.2 m: 61 m is 200 ft
    contours_png(heights, TileView(0, 0, 0), 12.192, 0.3048)
    assert written == ["200"]


def test_contours_are_multiples_of_the_user_s_interval_that_stay_apart() -> None:
    assert [interval_m(10.0, zoom, 10.0) for zoom in (-3, -1, 0, 1, 4)] == [200.0, 50.0, 20.0, 10.0, 10.0]
    assert [interval_m(5.0, zoom, None) for zoom in (-2, 0, 3)] == [50.0, 10.0, 5.0]


def test_a_start_zone_is_dotted_and_a_possible_one_in_fewer_dots() -> None:
    """Dashes were a start zone here alone, and dots, its sign in every other output, a possible one."""
    view = TileView(0, 0, 0)

    def inked(lowest: int, turned: int) -> float:
        classes = np.zeros((view.count + 2, view.count + 2), np.uint8)
        classes[40:220, 40:220] = lowest
        if turned:
            classes = np.tril(classes)
        drawn = np.asarray(Image.open(io.BytesIO(zones_png(classes, view))).convert("RGBA"))
        edge = drawn[..., 3] > 0
        return float((drawn[edge][:, 0] == 0).mean())

    for turned in (0, 1):
        assert 0.28 < inked(START_ZONE, turned) < 0.4
        assert 0.12 < inked(POSSIBLE, turned) < 0.22


def test_unknown_ground_has_one_hatch_in_and_off_the_model(client: TestClient) -> None:
    """Off the model its lines were 6 pixels apart, 8 in it."""
    sheet = client.get("static/desk.css").text
    sent = re.search(r'#map \{[^}]*data:image/png;base64,([^"]+)"', sheet)
    assert sent
    hatch = np.asarray(Image.open(io.BytesIO(base64.b64decode(sent[1]))).convert("RGBA"))[..., 0] == 0
    drawn = picture(client, "unknown", 0, 3, 2)[-48:-12, -48:-12, 0] == 0
    side = len(hatch)
    # The tile has its pixels counted from the model's corner.
    down, over = -(3 * TILE - 48) % side, -(4 * TILE - 48) % side
    assert np.array_equal(drawn, np.tile(hatch, (12, 12))[side - down :, side - over :][:36, :36])
    assert f'id="h-unknown" width="{side}"' in client.get("").text
