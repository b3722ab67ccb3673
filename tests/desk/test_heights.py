"""Heights from blocks that are kept: what the model itself gives and counts, whatever was read before."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from tests.desk.made_lines import message

from steybrae.card.settings import CardSettings
from steybrae.desk import engine
from steybrae.desk.about import place_under
from steybrae.desk.answer import answer
from steybrae.desk.engine import Engine, NearHeights
from steybrae.desk.lines import drawn_lines, routes_of
from steybrae.desk.make import card, gpx, plan
from steybrae.desk.opened import Desk, DeskAsk
from steybrae.errors import ModelError
from steybrae.files.model.rasters import open_model
from steybrae.screening import Settings, screen_route
from steybrae.screening.model.look import found_near

VOID = -9999.0


def tiles(folder: Path, *, absurd: bool, cell_m: float = 10.0) -> list[Path]:
    """Three tiles of 300 cells, with a gap between two and an overlap, two lakes and a void."""
    chance = np.random.default_rng(3)
    z = chance.normal(800.0, 40.0, (700, 700)).astype(np.float32)
    z[200:290, 250:340], z[40:60, 40:80], z[100:130, 500:530] = 612.0, 700.0, VOID
    if absurd:
        z[450:453, 100] = 20_000.0
    paths = []
    for row, col in ((0, 0), (290, 3), (5, 400)):
        path = folder / f"{row}_{col}.tif"
        place = Affine(cell_m, 0.0, 500_000.0 + cell_m * col, 0.0, -cell_m, 6_600_000.0 - cell_m * row)
        form = {"driver": "GTiff", "height": 300, "width": 300, "count": 1, "dtype": "float32"}
        with rasterio.open(path, "w", crs="EPSG:32629", transform=place, nodata=VOID, **form) as made:
            made.write(z[row : row + 300, col : col + 300], 1)
        paths.append(path)
    return paths


@pytest.mark.parametrize("absurd", [False, True])
def test_any_window_of_tiles_is_given_and_counted_as_by_the_model(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, absurd: bool
) -> None:
    monkeypatch.setattr(engine, "MOST_BLOCKS", 3)
    chance, paths = random.Random(5), tiles(tmp_path, absurd=absurd)  # noqa: S311
    with open_model(paths) as model, open_model(paths) as other:
        near = NearHeights(other)
        for _ in range(40):
            window = (
                *(chance.randrange(-60, 640) for _ in range(2)),
                *(chance.randrange(1, 300) for _ in "rc"),
            )
            model.count_anew()
            near.count_anew()
            one, same = model.read(*window), near.read(*window)
            assert one.grid == same.grid
            assert one.heights_m.tobytes() == same.heights_m.tobytes()
            assert model.met == near.met
        assert near.read(150, 200, 200, 200).heights_m.shape == (200, 200)
        assert near.met[2] > 0


def test_a_line_that_wanders_over_tiles_counts_what_a_fresh_screening_of_it_counts(tmp_path: Path) -> None:
    """On cells joined for what stands overhead, from a wide window that grows to all sides."""
    paths, chance = tiles(tmp_path, absurd=False, cell_m=3.0), random.Random(2)  # noqa: S311
    settings = Settings(reach_m=60.0)
    with open_model(paths) as model, open_model(paths) as fresh:
        engine, at, same = Engine(model, settings), [[330.0, 120.0], [330.0, 220.0]], 0
        for _ in range(7):
            at[chance.randrange(2)][:] = chance.uniform(20.0, 560.0), chance.uniform(20.0, 280.0)
            points = [{"row": row, "col": col, "name": ""} for row, col in at]
            (route,), _ = routes_of(drawn_lines(message(("day", "main", points)), model.grid))
            found = engine.answer([route], 0).found
            known = replace(settings, model_found=found_near(fresh, route.points))
            alone = screen_route(route, fresh, known)
            assert model.met == fresh.met
            same = max(same, fresh.met[2])
            # For a plan, too: its forecast reads what is overhead again, which counted twice.
            planned = engine.pictured([route], for_forecast=True)
            found_near(fresh, route.points)
            saved = screen_route(route, fresh, known, for_forecast=True)
            for one in (found, planned, saved):
                assert one.cautions == alone.cautions
        assert same > 0


def test_squares_of_one_number_are_counted_alike_in_one_window_and_in_its_parts(tmp_path: Path) -> None:
    with open_model(tiles(tmp_path, absurd=False)) as model:
        model.read(0, 0, 592, 704)
        whole = model.met
        model.count_anew()
        for row in range(0, 592, 16):
            for col in range(0, 704, 352):
                model.read(row, col, 16, 352)
        assert model.met == whole


def test_a_model_that_is_written_to_is_not_read_on(tmp_path: Path) -> None:
    """Answers mixed heights of both, and plans named the one that was there at first."""
    paths = tiles(tmp_path, absurd=False)
    points = [{"row": 50.0 + 60 * k, "col": 60.0 + 50 * k, "name": ""} for k in range(3)]
    ask = message(("", "main", points))
    desk = Desk(DeskAsk(tuple(paths), Settings(), CardSettings(dt.date(2027, 1, 15))))
    try:
        assert answer(desk, ask)["refused"] is None
        with rasterio.open(paths[1], "r+") as made:
            made.write(np.zeros((300, 300), np.float32), 1)
        refused = answer(desk, ask)["refused"]
        assert refused is not None
        assert "should stay as it is while the desk is open" in refused
        for maker in (plan, card):
            with pytest.raises(ModelError, match="one of its files was written to"):
                maker(desk, ask)
        with pytest.raises(ModelError):
            place_under(desk, {"row": 60.0, "col": 60.0})
        assert gpx(desk, ask).body
    finally:
        desk.close()
