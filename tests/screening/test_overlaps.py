"""Where files that overlap differ, the steeper leads, whichever was given first."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import permutations, product
from typing import Any

import numpy as np
import pytest
from tests.on_grid import model, route_on
from tests.synthetic import Plane

from steybrae.desk.engine import NearHeights
from steybrae.files.model.arrays import ArrayRaster
from steybrae.files.model.rasters import RasterModel, open_rasters
from steybrae.files.plans import plan_bytes, read_plan
from steybrae.files.results import as_json
from steybrae.screening import Settings, screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.terrain.dem import Dem

SIDE = 240
WHOLE = model(Plane(0.0, 0.0), (SIDE, SIDE))
ROW, COL = np.mgrid[:SIDE, :SIDE]
ROUTE = route_on(WHOLE, [(-700.0, -50.0), (-100.0, 60.0), (250.0, -320.0), (800.0, -400.0)])
SETTINGS = Settings(reach_m=700.0)

HEIGHTS = {"elevation_m", "elevation_min_m", "elevation_max_m", "height_difference_m"}
HEIGHTS |= {"ascent_m", "descent_m", "ascent_at_least", "model", "fingerprints", "model_files"}
"""What is taken from the first given: heights, and the names of the files."""


FIRST = 1000.0 - 10.0 * np.maximum(ROW - 70.0, 0.0) * math.tan(math.radians(17.0)) + 2.0 * np.sin(COL / 7.0)
"""A face of 17 degrees, level at its top."""

STEPS_M = 25.0 * np.sin(np.clip((COL - 80.0) / 80.0, 0.0, 1.0) * math.pi) ** 2 * np.sin(ROW / 4.0)
SECOND = FIRST + STEPS_M
"""The same with steps of 38 degrees where it overlaps the first, none at the edges of either."""


def raster(heights_m: np.ndarray, left: int, right: int) -> ArrayRaster:
    a, b, c, d, e, f = WHOLE.grid.transform
    part = heights_m[:, left:right]
    return ArrayRaster(part, (a, b, c + a * left, d, e, f), WHOLE.grid.crs_wkt, units="metre")


@contextmanager
def opened(*rasters: ArrayRaster) -> Iterator[RasterModel]:
    with open_rasters(rasters) as found:
        yield found


def without_heights(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: without_heights(one) for key, one in value.items() if key not in HEIGHTS}
    return [without_heights(one) for one in value] if isinstance(value, list) else value


def told(result: Any) -> Any:
    return without_heights(as_json("overlaps", result))


THIRD = FIRST - STEPS_M * np.cos(COL / 9.0)
A, B, C = raster(FIRST, 0, 160), raster(SECOND, 80, SIDE), raster(THIRD, 60, 180)


def test_a_line_is_told_the_same_in_any_order() -> None:
    """The first given led: 17 degrees where the other had 38, or the other way round."""
    found = []
    for order in permutations((A, B)):
        with opened(*order) as source:
            found.append(screen_route(ROUTE, source, SETTINGS, for_forecast=True))
    one, other = found
    assert told(one) == told(other)
    assert 38.0 < one.totals.slope_max_deg < 45.0
    assert {"models_differ"} <= {caution.key for caution in one.cautions}
    for leg, same in zip(one.legs, other.legs, strict=True):
        for name in ("slope_deg", "corridor_deg", "slope_high_deg"):
            np.testing.assert_array_equal(getattr(leg.points, name), getattr(same.points, name))
    for ground, same in zip(one.forecast_grounds, other.forecast_grounds, strict=True):
        for field in dataclasses.fields(ground.overhead):
            values = (getattr(each.overhead, field.name) for each in (ground, same))
            np.testing.assert_array_equal(*values)


@pytest.mark.parametrize("every", [(A, B), (B, A), (A, A, B), (A, B, C), (C, B, A)])
def test_no_source_alone_tells_a_line_steeper(every: tuple[ArrayRaster, ...]) -> None:
    """What each source shows alone is the least: slopes, drops, start zones, what stands over a leg."""
    with opened(*every) as source:
        both = screen_route(ROUTE, source, SETTINGS)
    every_m = ((FIRST, 0, 160), (SECOND, 80, SIDE), (THIRD, 60, 180))
    for heights_m, left, right in every_m if C in every else every_m[:2]:
        alone = np.full((SIDE, SIDE), np.nan)
        alone[:, left:right] = heights_m[:, left:right]
        for leg, least in zip(
            both.legs, screen_route(ROUTE, Dem(WHOLE.grid, alone), SETTINGS).legs, strict=True
        ):
            for name in ("slope_max_deg", "slope_corridor_max_deg", "steep_m"):
                assert (getattr(leg, name) or 0.0) >= (getattr(least, name) or 0.0)
            assert leg.slope_high_deg is None or leg.slope_high_deg >= (least.slope_high_deg or 0.0)
            for long, same in zip(leg.baselines, least.baselines, strict=True):
                assert (long.slope_max_deg or 0.0) >= (same.slope_max_deg or 0.0)
            if least.overhead is not None:
                assert leg.overhead.in_start_zone_m >= least.overhead.in_start_zone_m
                for name in ("sight", "path"):
                    low = getattr(least.overhead, name)
                    assert low is None or getattr(leg.overhead, name).deg >= low.deg - 1e-9


def test_ground_at_a_place_is_told_the_same_in_any_order() -> None:
    found = []
    place = route_on(WHOLE, [(50.0, 100.0), (0.0, 0.0)]).points[0]
    for order in permutations((A, B)):
        with opened(*order) as source:
            found.append(with_above(ground_at(place, source, 40.0), place, source, SETTINGS))
    assert told(found[0]) == told(found[1])
    assert found[0].within.slope_max_deg > 36.0


def test_a_drop_in_one_of_them_is_told() -> None:
    place = route_on(WHOLE, [(0.0, 0.0), (50.0, 0.0)]).points[0]
    wall = FIRST - np.where(COL > 121, 25.0, 0.0)
    for order in permutations((A, raster(wall, 80, SIDE))):
        with opened(*order) as source:
            drop = with_above(ground_at(place, source), place, source, SETTINGS).drop
            leg = screen_route(route_on(WHOLE, [(-200.0, 0.0), (200.0, 0.0)]), source, SETTINGS).legs[0]
        for found in (drop, leg.drop):
            assert found is not None
            assert found.fall_m > 20.0


def test_files_that_agree_keep_every_number() -> None:
    """To the bit: nothing is read or worked out twice that is one."""
    with opened(raster(SECOND, 0, SIDE)) as source:
        whole = screen_route(ROUTE, source, SETTINGS)
        assert not source.read(0, 0, SIDE, SIDE).others_m
    with opened(raster(SECOND, 80, SIDE), raster(SECOND, 0, 160)) as source:
        assert not source.read(0, 0, SIDE, SIDE).others_m
        assert plan_bytes(screen_route(ROUTE, source, SETTINGS)) == plan_bytes(whole)


def test_tiles_cost_by_how_many_lie_over_each_other() -> None:
    """Of nine tiles that differ along their edges at most four know one cell; a rounding is no difference."""
    noise = np.random.default_rng(1).normal(0.0, 1.0, (9, SIDE, SIDE))
    for size_m, most in ((1.0, 3), (1e-5, 0)):
        tiles = []
        for k, (down, on) in enumerate(product((0, 78, 156), repeat=2)):
            rows, cols = slice(down, down + 84), slice(on, on + 84)
            a, b, c, d, e, f = WHOLE.grid.transform
            corner = (a, b, c + a * on, d, e, f + e * down)
            part = (FIRST + size_m * noise[k])[rows, cols]
            tiles.append(ArrayRaster(part, corner, WHOLE.grid.crs_wkt, units="metre"))
        with opened(*tiles) as source:
            assert len(source.read(0, 0, SIDE, SIDE).others_m) == most


def test_a_difference_that_was_looked_past_is_told_where_it_is_read() -> None:
    """Of an overlap some rows are looked at; a window that is read is looked at wholly."""
    other = FIRST.copy()
    other[121, 100:140] += 30.0
    with opened(A, raster(other, 80, SIDE)) as source:
        assert not source.tiles_differ
        assert len(source.read(100, 90, 40, 40).others_m) == 1
        assert source.heights_read.tiles_differ
        assert not source.read(0, 90, 40, 40).others_m


def test_the_desk_reads_what_a_model_reads() -> None:
    with opened(A, B) as source:
        near = NearHeights(source)
        for window in ((100, 60, 40, 40), (100, 10, 40, 40)):
            found, expected = near.read(*window), source.read(*window)
            np.testing.assert_array_equal(found.every_m, expected.every_m)


def test_a_plan_of_them_is_read_back(tmp_path) -> None:
    with opened(B, A) as source:
        plan = screen_route(ROUTE, source, SETTINGS)
    (tmp_path / "plan.zip").write_bytes(plan_bytes(plan))
    assert told(read_plan(tmp_path / "plan.zip")) == told(plan)
