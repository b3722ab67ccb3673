"""Models examined through the one way in for heights, and what other answers make of it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from rasterio.enums import Resampling
from scipy.ndimage import median_filter
from tests.made_models import (
    UNTOUCHED,
    Made,
    changed,
    copies,
    drawn_between,
    finer,
    moved,
    read_made,
    rightly,
    told,
)
from tests.real_ground import slope_over

from steybrae.errors import ModelError
from steybrae.files.model.rasters import open_model
from steybrae.files.plans import read_plan, write_plan
from steybrae.files.routes import read_route
from steybrae.quantities import shown_slope_deg
from steybrae.route.positions.places import Place, parse_place
from steybrae.screening import Settings, screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.screening.model.examine import examine_model
from steybrae.screening.model.look import block_corners, corners_near, found_near
from steybrae.terrain.attributes import baseline_cells, slope_field
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.examine.found import ModelFound, doubted_kinds
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.uncertainty import slope_interval_deg, slope_uncertainty

MODELS = ("stey_massif", "tyrol_3_5m")
"""The benchmark `examined.py` has all of them."""


def path_of(name: str, request: pytest.FixtureRequest) -> Path:
    if name == "stey_massif":
        folder: Path = request.getfixturevalue("sample_dem")
        return folder / "stey_massif.tif"
    shared: Path = request.getfixturevalue("shared_data")
    path = shared / "terrain" / f"{name}.tif"
    if not path.is_file():
        pytest.skip(f"the model {path.name} is not there: {path.parent}")
    return path


@pytest.mark.parametrize("name", UNTOUCHED)
def test_untouched_models_are_accused_of_no_more_than_they_have(name, request) -> None:
    assert told(path_of(name, request)) == UNTOUCHED[name]


@pytest.mark.parametrize("name", MODELS)
def test_copies_are_told_for_what_they_are(name, request, tmp_path) -> None:
    whole, wrong, count = read_made(path_of(name, request)), [], 0
    # A part is enough to tell; feet are told of ground from 0.75 km2 on.
    model = Made(whole.heights[-450:, -450:], whole.transform, whole.crs)
    for copy, kind, made in copies(model, most=450):
        found = told(made.write(tmp_path / "copy.tif"))
        count += 1
        if not rightly(kind, found, UNTOUCHED[name]):
            wrong.append((copy, found))
    assert len(wrong) <= 0.05 * count, wrong


@pytest.mark.parametrize("times", [0.7, 0.8, 0.9, 1.03, 1.1, 1.25, 1.33])
@pytest.mark.parametrize("how", [Resampling.bilinear, Resampling.cubic])
def test_a_model_moved_to_another_grid_is_not_called_made_finer(times, how, sample_dem, tmp_path) -> None:
    model = read_made(sample_dem / "stey_massif.tif")
    part = Made(model.heights[150:550, 250:750], model.transform, model.crs)
    found = told(finer(part, times, how).write(tmp_path / "moved.tif"))
    assert "interpolated" not in found


@pytest.mark.parametrize("name", ["tyrol_2_5m", "tyrol_5_5m"])
@pytest.mark.parametrize(("kind", "least"), [("finer", 0.95), ("contours", 0.95)])
def test_what_is_found_makes_the_interval_hold(name, kind, least, request) -> None:
    model = read_made(path_of(name, request))
    truth = slope_over(model.heights, 5.0, 20.0)
    if kind == "finer":
        rows, cols = (size // 4 * 4 for size in model.heights.shape)
        means = model.heights[:rows, :cols].reshape(rows // 4, 4, cols // 4, 4).mean((1, 3))
        coarse = Made(means, model.transform @ type(model.transform).scale(4.0), model.crs)
        made, found = finer(coarse, 4, Resampling.bilinear), ModelFound(source_cell_m=20.0)
    else:
        made, found = changed(model, drawn_between), ModelFound(contours_m=20.0)
    rows, cols = made.heights.shape
    grid = Grid(tuple(made.transform)[:6], made.crs, (rows, cols))
    field = slope_field(Dem(grid, made.heights), halves=baseline_cells(5.0, 5.0))
    held = []
    for one in (ModelFound(), found):
        known = slope_uncertainty("horn", jacobian_at(grid, cols / 2, rows / 2), kind="lidar", found=one)
        low, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
        ground = truth[:rows, :cols]
        there = np.isfinite(ground) & np.isfinite(low)
        held.append(float(((ground >= low) & (ground <= high))[there].mean()))
    assert held[0] < 0.85
    assert held[1] >= least


@pytest.mark.parametrize("name", ["tyrol_1_5m", "tyrol_2_5m", "tyrol_5_5m"])
@pytest.mark.parametrize(
    ("times", "how", "spoil"),
    [
        (6, Resampling.bilinear, "noise"),
        (6, Resampling.bilinear, "rounded"),
        (6, Resampling.cubic, "noise"),
        (6, Resampling.cubic_spline, "noise"),
        (6, Resampling.cubic_spline, "rounded"),
        (3, Resampling.cubic_spline, "rounded"),
    ],
)
def test_noise_and_rounding_hide_no_interpolation(name, times, how, spoil, request) -> None:
    """Such copies passed for what they seemed: 13 to 40 % of the ground was steeper than the upper end."""
    model = read_made(path_of(name, request))
    rows, cols = (size // times * times for size in model.heights.shape)
    means = model.heights[:rows, :cols].reshape(rows // times, times, cols // times, times).mean((1, 3))
    made = finer(Made(means, model.transform @ type(model.transform).scale(times), model.crs), times, how)
    off = 0.1 * np.random.default_rng(1).standard_normal(made.heights.shape)
    heights = made.heights + off if spoil == "noise" else np.round(made.heights, 2)
    rows, cols = heights.shape
    dem = Dem(Grid(tuple(made.transform)[:6], made.crs, (rows, cols)), heights)
    found = found_near(dem)
    assert found.source_cell_m == pytest.approx(5.0 * times, rel=0.5)
    assert "glo-30" not in doubted_kinds(found, 5.0) or times == 3
    field = slope_field(dem, halves=baseline_cells(5.0, 5.0))
    truth = slope_over(model.heights, 5.0, 20.0)[:rows, :cols]

    def above(one: ModelFound) -> float:
        known = slope_uncertainty("horn", jacobian_at(dem.grid, cols / 2, rows / 2), kind="lidar", found=one)
        _, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
        # Where detail ends at cells of more than 40 m no upper end is known.
        there = np.isfinite(truth) & np.isfinite(field.p)
        return float((truth > high)[there].mean())

    assert above(ModelFound()) > 0.13
    assert above(found) <= 0.025


@pytest.mark.parametrize("how", [Resampling.bilinear, Resampling.cubic])
def test_a_small_model_between_voids_is_told_by_what_it_knows(how, request) -> None:
    """Nothing was found: 13 to 20 % of the ground was steeper than the upper end."""
    whole = read_made(path_of("tyrol_5_5m", request))
    row, col = ((size - 260) // 2 for size in whole.heights.shape)
    model = Made(
        whole.heights[row : row + 260, col : col + 260],
        whole.transform @ Affine.translation(col, row),
        whole.crs,
    )
    made = moved(moved(model, "EPSG:4326", 1.0 / 3600.0, Resampling.average), model.crs, 10.0, how)
    assert made.heights.shape == (141, 140)
    dem = Dem(Grid(tuple(made.transform)[:6], made.crs, made.heights.shape), made.heights)
    found = found_near(dem)
    assert found.source_cell_m == pytest.approx(31.0, rel=0.05)
    truth = slope_over(model.heights, 5.0, 20.0)
    row, col = np.indices(made.heights.shape)
    at = ~model.transform @ made.transform @ (col + 0.5, row + 0.5)
    east, south = (np.clip(np.floor(one), 0, 259).astype(int) for one in at)
    field = slope_field(dem, halves=baseline_cells(10.0, 10.0))

    def above(one: ModelFound) -> float:
        known = slope_uncertainty("horn", jacobian_at(dem.grid, 70.0, 70.0), kind="lidar", found=one)
        _, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
        there = np.isfinite(truth[south, east]) & np.isfinite(high)
        return float((truth[south, east] > high)[there].mean())

    assert above(ModelFound()) > 0.13
    assert above(found) <= 0.025


@pytest.mark.parametrize("name", ["tyrol_1_5m", "tyrol_3_5m", "tyrol_5_5m"])
@pytest.mark.parametrize(
    ("sd_cells", "least_m", "most_m"), [(1.0, 0.0, 0.0), (2.0, 12.0, 32.0), (3.0, 20.0, 40.0)]
)
def test_a_smoothed_model_shows_no_more_than_coarser_cells(name, sd_cells, least_m, most_m, request) -> None:
    """Lidar smoothed over 2 cells passed for 5 m: 19 to 23 % of the ground was steeper than the upper end."""
    model = read_made(path_of(name, request))
    weights = np.exp(-(np.arange(-12, 13) ** 2) / (2.0 * sd_cells**2))
    smooth = model.heights
    for axis in (0, 1):
        smooth = np.apply_along_axis(np.convolve, axis, smooth, weights / weights.sum(), "same")
    dem = Dem(Grid(tuple(model.transform)[:6], model.crs, smooth.shape), smooth)
    found = found_near(dem)
    # Smoothing over a cell loses little; the interval holds.
    assert least_m <= (found.source_cell_m or 0.0) <= most_m
    field = slope_field(dem, halves=baseline_cells(5.0, 5.0))
    truth = slope_over(model.heights, 5.0, 20.0)
    where = jacobian_at(dem.grid, dem.grid.shape[1] / 2, dem.grid.shape[0] / 2)
    known = slope_uncertainty("horn", where, kind="lidar", found=found)
    _, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
    there = np.isfinite(truth) & np.isfinite(high)
    assert (truth > high)[there].mean() <= 0.03


@pytest.mark.parametrize("name", ["tyrol_1_5m", "tyrol_3_5m", "tyrol_5_5m"])
@pytest.mark.parametrize(("side", "source_m"), [(3, None), (5, 10.0), (7, 15.0)])
def test_a_median_filter_is_told_by_heights_that_come_again(name, side, source_m, request) -> None:
    """Nothing was found: after one of 7 x 7, 8 to 13 % of the ground was steeper than the upper end."""
    model = read_made(path_of(name, request))
    heights = median_filter(np.nan_to_num(model.heights, nan=-1e4), side)
    heights[np.isnan(model.heights) | (heights < 0.0)] = np.nan
    dem = Dem(Grid(tuple(model.transform)[:6], model.crs, heights.shape), heights)
    found = found_near(dem)
    assert found.source_cell_m == (None if source_m is None else pytest.approx(source_m, rel=0.01))
    field = slope_field(dem, halves=baseline_cells(5.0, 5.0))
    truth = slope_over(model.heights, 5.0, 20.0)
    where = jacobian_at(dem.grid, heights.shape[1] / 2, heights.shape[0] / 2)
    _, high = slope_interval_deg(
        field.p, field.q, slope_uncertainty("horn", where, kind="lidar", found=found), field.roughness_deg
    )
    there = np.isfinite(truth) & np.isfinite(high)
    assert (truth > high)[there].mean() <= 0.015


@given(st.integers(3, 5000), st.integers(3, 5000), st.integers(1, 80))
def test_blocks_lie_on_the_grid_apart_and_meet_many_rows_and_columns(rows, cols, most) -> None:
    corners = block_corners((rows, cols), 256, most)
    assert 1 <= len(corners) <= max(most, 1)
    assert len(set(corners)) == len(corners)
    assert all(0 <= row < rows and 0 <= col < cols for row, col in corners)
    every = block_corners((rows, cols), 256, 10**6)
    met = np.zeros((rows, cols), np.int8)
    for row, col in every:
        met[row : row + 256, col : col + 256] = 1
    assert met.all()
    if len(every) > most:
        down = len({row for row, _ in corners})
        assert down >= min(most, len({row for row, _ in every})) // 2


def test_blocks_lie_near_the_places_that_are_asked_about(sample_dem) -> None:
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        grid = model.grid
        lon, lat = grid.to_wgs84([450.0, 455.0, 890.0], [350.0, 352.0, 20.0])
        places = [Place(lat_deg=float(y), lon_deg=float(x)) for x, y in zip(lon, lat, strict=True)]
        corners = corners_near(grid, places, 192, 4)
        assert corners_near(grid, [Place(lat_deg=0.0, lon_deg=0.0)], 192, 4) == []
    # On the lattice of 64 cells; the third is moved in from the model's edge.
    assert corners == [(256, 384), (0, 900 - 192)]
    assert np.abs(np.array(corners[0]) - (350 - 96, 450 - 96)).max() <= 32


def test_a_whole_answer_of_the_sample(sample_dem) -> None:
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        found = examine_model(model, pictured=True)
    assert (found.extent.rows, found.extent.cols) == (700, 900)
    assert found.cell_m == pytest.approx(10.0, abs=0.02)
    assert found.looked_share == 1.0
    assert found.elevation_min_m == pytest.approx(94.1, abs=0.01)
    assert found.elevation_max_m == pytest.approx(1172.3, abs=0.01)
    assert found.steep_share == pytest.approx(0.123, abs=0.002)  # numpy.gradient: 0.124
    smooth, middling, rough = found.interval_examples
    assert smooth.down_deg < middling.down_deg < rough.down_deg
    assert smooth.up_deg < middling.up_deg < rough.up_deg
    assert found.possible_from_deg < 30.0 - 0.9 * middling.up_deg
    picture = found.picture
    assert picture is not None
    assert picture.looked.all()
    assert np.nanmax(picture.slope_deg) <= found.slope_max_deg


def test_cells_that_blocks_share_are_counted_once(shared_data) -> None:
    """Shares are those of the whole model, as `area` has them: 49.7 % was told as 49.5, 31.7 % as 31.6."""
    with open_model([shared_data / "terrain" / "tyrol_3_5m.tif"]) as source:
        found = examine_model(source)
        whole = source.read(0, 0, *source.grid.shape)
    slope_deg = slope_field(whole, "horn", halves=baseline_cells(*found.cell_size_m)).slope_deg
    known = slope_deg[np.isfinite(slope_deg)]
    assert found.steep_share == pytest.approx(np.mean(shown_slope_deg(known) >= 30.0), abs=1e-12)
    assert found.unknown_share == pytest.approx(np.isnan(whole.heights_m).mean(), abs=1e-12)
    assert found.looked_share == 1.0


def test_a_model_larger_than_what_is_looked_at_costs_blocks(monkeypatch, sample_dem) -> None:
    monkeypatch.setattr("steybrae.screening.model.examine.MOST_BLOCKS", 3)
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        found = examine_model(model, pictured=True)
    assert 0.2 < found.looked_share < 0.35
    assert found.picture is not None
    assert 0.2 < found.picture.looked.mean() < 0.35


def test_a_block_without_heights_is_looked_at_and_unknown() -> None:
    """Its part of the picture was white, as if not looked at: unknown ground without its mark."""
    heights = np.tile(np.arange(800.0), (800, 1))
    heights[:, 240:] = np.nan
    found = examine_model(
        Dem(Grid((5.0, 0.0, 0.0, 0.0, -5.0, 0.0), "EPSG:32629", (800, 800)), heights), pictured=True
    )
    assert found.looked_share == 1.0
    assert found.picture is not None
    assert found.picture.step > 1
    assert found.picture.looked.all()
    assert np.isnan(found.picture.slope_deg[:, 240 // found.picture.step :]).all()


def test_a_model_without_heights_is_refused() -> None:
    grid = Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32629", (20, 30))
    with pytest.raises(ModelError, match="none was met where it was looked at"):
        examine_model(Dem(grid, np.full((20, 30), np.nan)))
    assert found_near(Dem(grid, np.full((20, 30), np.nan))) == ModelFound()


def test_blocks_that_tell_nothing_are_no_last_word(finer_sample) -> None:
    """A model of 300 cells had one whole block, a large one four in voids: nothing was found."""
    made = read_made(finer_sample).heights[:400, :400]
    for side, corner in ((320, (-80, -80)), (1600, (700, 900))):
        heights = np.full((side, side), np.nan)
        row, col = corner
        rows, cols = slice(max(row, 0), row + 400), slice(max(col, 0), col + 400)
        heights[rows, cols] = made[max(-row, 0) : side - row, max(-col, 0) : side - col]
        heights[:100, :100] = np.nan
        dem = Dem(Grid((7.5, 0.0, 54000.0, 0.0, -7.5, 1054000.0), "EPSG:27700", heights.shape), heights)
        assert found_near(dem).source_cell_m == pytest.approx(30.0, rel=0.05)
        lon, lat = dem.grid.to_wgs84(4.0, 4.0)
        near_a_void = [Place(lat_deg=float(lat), lon_deg=float(lon))]
        assert found_near(dem, near_a_void).source_cell_m == pytest.approx(30.0, rel=0.05)


@pytest.mark.parametrize("corner", [(1500, 1000), (2100, 2650), (300, 1400)])
def test_known_ground_is_found_among_voids(finer_sample, corner) -> None:
    """Of one known piece in a model of voids all 16 blocks spread over it might miss."""
    heights = np.full((3000, 3000), np.nan)
    heights[corner[0] : corner[0] + 282, corner[1] : corner[1] + 282] = read_made(finer_sample).heights[
        :282, :282
    ]
    grid = Grid((7.5, 0.0, 54000.0, 0.0, -7.5, 1054000.0), "EPSG:27700", heights.shape)
    assert found_near(Dem(grid, heights)).source_cell_m == pytest.approx(30.0, rel=0.05)


@pytest.fixture(scope="module")
def finer_sample(sample_dem, tmp_path_factory) -> Path:
    """The middle of the massif, 30 m means made finer to 7.5 m."""
    model = read_made(sample_dem / "stey_massif.tif")
    means = model.heights[:699].reshape(233, 3, 300, 3).mean((1, 3))
    coarse = Made(means, model.transform @ type(model.transform).scale(3.0), model.crs)
    return finer(coarse, 4, Resampling.cubic).write(tmp_path_factory.mktemp("finer") / "finer.tif")


def test_a_place_on_cells_made_finer_is_known_as_on_the_coarser_ones(finer_sample) -> None:
    place = parse_place("59.2287 -8.0688")
    with open_model([finer_sample], "m") as model:
        looked = found_near(model, [place])
        bare, told_of = (
            ground_at(place, model, settings=Settings(model_found=found)) for found in (ModelFound(), looked)
        )
    assert looked.kinds == ("interpolated",)
    assert looked.source_cell_m == pytest.approx(30.0, rel=0.02)
    assert "cells_interpolated" in {caution.key for caution in told_of.cautions}
    assert "cells_interpolated" not in {caution.key for caution in bare.cautions}
    assert told_of.slope_deg == bare.slope_deg
    assert told_of.slope_low_deg < bare.slope_low_deg - 5.0
    assert told_of.slope_high_deg > bare.slope_high_deg + 5.0


def test_a_plan_keeps_what_was_found_and_its_caution(finer_sample, sample_dem, tmp_path) -> None:
    route = read_route(sample_dem / "day.gpx")
    found = ModelFound(("interpolated", "spikes"), 30.0)
    with open_model([finer_sample], "m") as model:
        screened = screen_route(route, model, Settings(model_found=found, reach_m=20.0))
    write_plan(tmp_path / "plan.zip", screened)
    kept = read_plan(tmp_path / "plan.zip")
    assert kept.settings.model_found == found
    assert {"cells_interpolated", "spikes"} <= {caution.key for caution in kept.cautions}
    # A plan that lost its caution gets it back: it is worked out from what it says of the model.
    bare = replace(screened, cautions=screened.cautions[:2])
    write_plan(tmp_path / "bare.zip", bare)
    assert "cells_interpolated" in {caution.key for caution in read_plan(tmp_path / "bare.zip").cautions}
    assert math.isfinite(kept.totals.slope_max_deg)
