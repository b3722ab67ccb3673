"""Checks of a line by an independent look: standing places on it, open sights, what stands over them.

Everything here is told from heights alone, by loops, straight differences and bilinear heights; none
of the program's slopes, sights or zones is used.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.on_grid import model, route_on
from tests.screening.by_hand import DAYS
from tests.synthetic import GaussianHill, Plane, Surface, Waves

from steybrae.answers.route import place_text
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.route.legs import Route
from steybrae.screening import Settings, screen_route
from steybrae.screening.places.words import check_words
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Dem, DemSource

LOOK = Settings(reach_m=1000.0)
ROUND_M = 30.0
BASELINE_M = 20.0


class Heights:
    """All heights of a model of square cells on a metre grid, in metres from its upper left corner."""

    def __init__(self, source: DemSource) -> None:
        rows, cols = source.grid.shape
        self.grid = source.grid
        self.z = source.read(0, 0, rows, cols).heights_m
        self.cell = abs(source.grid.transform[0])
        # Slopes over the baseline or two cells: straight differences, the steeper of two pairs of axes.
        k = max(1, round(BASELINE_M / 2.0 / self.cell))
        p = np.full(self.z.shape, np.nan)
        q = np.full(self.z.shape, np.nan)
        p[:, k:-k] = (self.z[:, 2 * k :] - self.z[:, : -2 * k]) / (2.0 * k * self.cell)
        q[k:-k] = (self.z[2 * k :] - self.z[: -2 * k]) / (2.0 * k * self.cell)
        self.slope = np.degrees(np.arctan(np.hypot(p, q)))

    def at(self, lat_deg: float, lon_deg: float) -> tuple[float, float]:
        col, row = self.grid.from_wgs84(lon_deg, lat_deg)
        return float(col), float(row)

    def height(self, col: np.ndarray | float, row: np.ndarray | float) -> np.ndarray:
        x, y = np.atleast_1d(col) - 0.5, np.atleast_1d(row) - 0.5
        i, j = np.floor(x).astype(int), np.floor(y).astype(int)
        fx, fy = x - i, y - j
        z = self.z
        top = z[j, i] * (1 - fx) + z[j, i + 1] * fx
        return np.asarray(top * (1 - fy) + (z[j + 1, i] * (1 - fx) + z[j + 1, i + 1] * fx) * fy)

    def near(self, col: float, row: float, radius_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Cells whose middle lies within a radius."""
        reach = math.ceil(radius_m / self.cell) + 1
        j, i = np.mgrid[
            max(int(row) - reach, 0) : int(row) + reach + 1, max(int(col) - reach, 0) : int(col) + reach + 1
        ]
        inside = np.hypot(i + 0.5 - col, j + 0.5 - row) * self.cell <= radius_m
        return j[inside], i[inside]


def look_at_checks(source: DemSource, route: Route, found: RouteScreening, round_m: float = ROUND_M) -> int:
    """Hold every check of a line against the ground, `round_m` round it; how many there were."""
    ground = Heights(source)
    line = np.array([ground.at(one.lat_deg, one.lon_deg) for one in route.points])
    starts = np.concatenate(([0.0], np.cumsum([leg.length_m for leg in found.legs])))
    of_place = {name: place for place in found.places for name in place.checks}
    count = 0
    for leg, start in zip(found.legs, starts, strict=False):
        for check in leg.expected_readings:
            count += 1
            col, row = ground.at(check.place.lat_deg, check.place.lon_deg)
            # On the planned line, and at the chainage that is told.
            a, b = line[leg.number - 1], line[leg.number]
            along = (b - a) * ground.cell
            here = (np.array([col, row]) - a) * ground.cell
            assert abs(along[0] * here[1] - along[1] * here[0]) / np.hypot(*along) < 0.3
            assert np.hypot(*here) == pytest.approx(check.chainage_m, rel=2e-3, abs=0.3)
            # Nothing unknown, steep or falling away round it.
            j, i = ground.near(col, row, round_m)
            assert np.isfinite(ground.z[j, i]).all()
            assert (ground.slope[j, i] < 30.0).all()
            for dj, di in ((0, 1), (1, 0)):
                step = np.abs(ground.z[j + dj, i + di] - ground.z[j, i])
                assert (step < max(5.0, ground.cell * math.tan(math.radians(55.0)))).all()
            overhead = steep_above(ground, col, row, LOOK.reach_m)
            told = check.overhead_deg or 0.0
            # Joined cells of fine models and the bilinear height under one's feet move it a little.
            assert told >= overhead - 1.0 or overhead < 18.5
            words = check_words(check)
            assert (" overhead" in words) == (told >= 25.0 or check.overhead_at_least)
            if check.quantity == "sight":
                place = of_place[check.name]
                assert start + (check.chainage_m or 0.0) <= place.from_.chainage_m + 1e-6
                in_the_open(ground, (col, row), check, place.overhead)
    assert sum(one.leads for leg in found.legs for one in leg.expected_readings) == min(count, 8)
    return count


def steep_above(ground: Heights, col: float, row: float, reach_m: float) -> float:
    """Steepest sight up to a cell of 31 to 54 degrees with eight such neighbours: surely a start zone."""
    steep = (ground.slope >= 31.0) & (ground.slope <= 54.0)
    solid = steep.copy()
    for dj in (-1, 0, 1):
        for di in (-1, 0, 1):
            solid &= np.roll(steep, (dj, di), axis=(0, 1))
    j, i = np.nonzero(solid)
    away = np.hypot(i + 0.5 - col, j + 0.5 - row) * ground.cell
    some = (away <= reach_m - 20.0) & (away >= 30.0)
    if not some.any():
        return 0.0
    rise = ground.z[j[some], i[some]] - ground.height(col, row)[0]
    return float(np.degrees(np.arctan2(rise, away[some])).max())


def in_the_open(ground: Heights, at: tuple[float, float], check, target) -> None:
    """The sight is that angle, and no ground rises more than an eye's height above it."""
    end = ground.at(target.lat_deg, target.lon_deg)
    here, there = ground.height(*at)[0], ground.height(*end)[0]
    away = math.dist(at, end) * ground.cell
    assert math.degrees(math.atan2(there - here, away)) == pytest.approx(check.expected_deg, abs=1.0)
    share = np.linspace(0.02, 0.98, max(3, int(away / ground.cell)))
    between = ground.height(at[0] + (end[0] - at[0]) * share, at[1] + (end[1] - at[1]) * share)
    over = between - (here + (there - here) * share)
    # Two metres are the program's own margin; joined cells smooth what lies between.
    assert float(np.nanmax(over)) <= 2.0 + 0.5 * max(ground.cell, 10.0)


def cirque(cell_m: float, size: int) -> Dem:
    """A level floor that runs into a wall of 40 degrees, 250 m high, with a low moraine before it."""
    level = model(Plane(0.0, 0.0), (size, size), cell_m)
    east = (np.arange(size) + 0.5 - size / 2) * cell_m
    x = np.broadcast_to(east[None, :], (size, size))
    wall = np.clip(x - 150.0, 0.0, 300.0) * math.tan(math.radians(40.0))
    floor = np.clip(-200.0 - x, -1e9, 0.0) * 0.0 + np.clip(x + 900.0, 0.0, None) * 0.05
    return Dem(level.grid, wall + floor)


@pytest.mark.parametrize(("cell_m", "size"), [(4.0, 401), (10.0, 181), (20.0, 101)])
def test_the_wall_of_a_cirque_is_sighted_from_before_its_floor(cell_m: float, size: int) -> None:
    dem = cirque(cell_m, size)
    route = route_on(dem, [(-700.0, 0.0), (100.0, 5.0)])
    found = screen_route(route, dem, Settings(reach_m=1000.0, vertical_error_m=0.3, correlation_m=50.0))
    assert look_at_checks(dem, route, found) >= 1
    (sight,) = (c for leg in found.legs for c in leg.expected_readings if c.quantity == "sight")
    assert (sight.overhead_deg or 0.0) < 25.0


SURFACES: list[tuple[Surface, float]] = [
    (GaussianHill(160.0, 220.0), 5.0),
    (GaussianHill(160.0, 220.0), 10.0),
    (Waves(35.0, 480.0), 10.0),
    (Waves(70.0, 900.0), 20.0),
]


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    st.sampled_from(SURFACES),
    st.lists(
        st.tuples(st.floats(-500.0, 500.0), st.floats(-500.0, 500.0)), min_size=2, max_size=4, unique=True
    ),
)
def test_checks_on_made_ground(made: tuple[Surface, float], spots: list[tuple[float, float]]) -> None:
    if any(math.dist(a, b) < 60.0 for a in spots for b in spots if a is not b):
        return
    surface, cell_m = made
    dem = model(surface, (round(1400.0 / cell_m) | 1,) * 2, cell_m)
    route = route_on(dem, spots)
    look_at_checks(dem, route, screen_route(route, dem, LOOK))


@pytest.mark.parametrize(
    ("name", "error_m", "least"),
    [
        ("tyrol_1_5m.tif", None, 5),
        ("tyrol_4_5m.tif", None, 3),
        ("california_1m.tif", None, 1),
        ("tyrol_4_5m.tif", 45.0, 2),
        ("tyrol_1_5m.tif", 60.0, 1),
    ],
)
def test_checks_on_real_ground(shared_data: Path, name: str, error_m: float | None, least: int) -> None:
    """Four lines over each, across, up and from corner to corner of its middle, both ways.

    With a position error above 30 m all of its circle has to serve, beyond what was looked at along the line.
    """
    look = LOOK if error_m is None else replace(LOOK, place_error_m=error_m, model_kind="lidar")
    with open_model([shared_data / "terrain" / name]) as source:
        rows, cols = source.grid.shape
        count = 0
        for shares in (
            [(0.2, 0.3), (0.5, 0.45), (0.8, 0.3)],
            [(0.3, 0.8), (0.45, 0.5), (0.35, 0.2)],
            [(0.2, 0.2), (0.5, 0.5), (0.8, 0.8)],
            [(0.8, 0.2), (0.5, 0.5), (0.2, 0.8)],
        ):
            xy = [source.grid.xy(u * cols, v * rows) for u, v in shares]
            route = route_on(source, [(float(x), float(y)) for x, y in xy])
            found = screen_route(route, source, look)
            count += look_at_checks(source, route, found, max(ROUND_M, error_m or 0.0))
        assert count >= least


@pytest.mark.parametrize("error_m", [10.0, 50.0])
def test_no_slope_is_measured_nearer_to_steep_ground_than_the_position_is_known(error_m: float) -> None:
    """Across 20 to 28 degrees, from the middle on 30.5: of ground so alike the figures would serve."""
    level = model(Plane(0.0, 0.0), (161, 161), 5.0)
    away = (np.arange(161) + 0.5 - 80.5) * 5.0
    east, north = away[None, :], -away[:, None]
    slope_deg = np.where(north > 0.0, 30.5, np.clip(28.0 + (north + 35.0) * 0.02, 20.0, 28.0))
    dem = Dem(level.grid, east * np.tan(np.radians(slope_deg)))
    route = route_on(dem, [(0.0, -250.0), (0.0, 250.0)])
    found = screen_route(route, dem, replace(LOOK, place_error_m=error_m, model_kind="lidar"))
    assert look_at_checks(dem, route, found, max(ROUND_M, error_m)) >= 1
    (check,) = (c for c in found.legs[0].expected_readings if c.quantity == "slope")
    assert check.chainage_m <= 250.0 - max(ROUND_M, error_m)


def test_one_ground_is_one_check_that_all_its_places_name(shared_data: Path) -> None:
    """The steepest ground to stand on before two steep places is the same; it was 1a, and 1b too."""
    with open_model([shared_data / "terrain" / "tyrol_1_5m.tif"]) as source:
        rows, cols = source.grid.shape
        xy = [source.grid.xy(u * cols, v * rows) for u, v in [(0.15, 0.4005), (0.15, 0.3), (0.1882, 0.2257)]]
        route = route_on(source, [(float(x), float(y)) for x, y in xy])
        found = screen_route(route, source, replace(LOOK, model_kind="lidar"))
    slopes = [one for leg in found.legs for one in leg.expected_readings if one.quantity == "slope"]
    (slope,) = slopes
    first, second = (place for place in found.places if slope.name in place.checks)
    assert (
        slope.what == f"steepest ground to stand on before {first.name} and {second.name}, up the fall line"
    )
    assert f"Check {slope.name} at " in place_text(found, first)
    assert place_text(found, second).endswith(f"Check {slope.name}, as at {first.name}.")


def test_a_slope_walked_again_leads_once_also_below_unknown_ground(shared_data: Path) -> None:
    """On the way back it was the check of the place of unknown ground around it, and led a second time."""
    with open_model([shared_data / "terrain" / "california_1m.tif"]) as source:
        there = [(696322.5, 3978025.5), (696442.5, 3977985.5), (696622.5, 3978085.5)]
        route = route_on(source, [*there, *there[-2::-1]])
        found = screen_route(route, source, replace(LOOK, model_kind="lidar"))
    slopes = [one for leg in found.legs for one in leg.expected_readings if one.quantity == "slope"]
    assert any("unknown" in place.kinds for place in found.places)
    assert len(slopes) == 2
    assert [one.leads for one in slopes] == [True, False]


def test_checks_on_coarse_real_ground(shared_data: Path, tmp_path: Path) -> None:
    """Cells of 30 m with nothing stated: little ground serves, and what serves does."""
    path = tmp_path / "day.csv"
    path.write_text(DAYS["long wall"][0], encoding="utf-8")
    with open_model([shared_data / "terrain" / "big_tujunga_30m.tif"]) as source:
        route = read_route(path)
        assert look_at_checks(source, route, screen_route(route, source, LOOK)) >= 1
