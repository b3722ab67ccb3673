"""The ground along one leg, in windows near the line only."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.on_grid import TRUE_GRID, model, route_on, towards
from tests.synthetic import GaussianHill, Plane

from steybrae.errors import OffModelError
from steybrae.route.ground import LegGround, Look, leg_ground
from steybrae.route.legs import Track, leg_track
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.uncertainty import slope_uncertainty

KNOWN = slope_uncertainty("horn", np.diag([10.0, -10.0]))
LOOK = Look((10.0, 10.0), (1, 1), KNOWN)
HILL = GaussianHill(300.0, 250.0)


class Watched:
    """A model in memory that keeps what was read of it."""

    def __init__(self, dem: Dem) -> None:
        self.dem, self.windows = dem, []

    @property
    def grid(self) -> Grid:
        return self.dem.grid

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        self.windows.append((row, col, rows, cols))
        return self.dem.read(row, col, rows, cols)


def look_at(dem, points, look=LOOK, turns=None) -> LegGround:
    route = route_on(dem, points, turns=turns)
    return leg_ground(dem, leg_track(route, 0), look)


def test_profile_of_a_hill():
    dem = model(HILL, (161, 161))
    found = look_at(dem, [(-600.0, -200.0), (600.0, 100.0)])
    length_m = math.hypot(1200.0, 300.0)
    assert found.track.length_m == pytest.approx(length_m, abs=1e-3)
    # Evenly spaced, never farther apart than a cell, ends included.
    assert found.chainage_m[0] == 0.0
    assert found.chainage_m[-1] == found.track.length_m
    assert len(found.chainage_m) == math.ceil(length_m / 10.0) + 1
    share = found.chainage_m / length_m
    east, north = -600.0 + 1200.0 * share, -200.0 + 300.0 * share
    p, q = HILL.gradient(east, north)
    travel = math.atan2(1200.0, 300.0)
    assert found.elevation_m == pytest.approx(HILL.height_m(east, north), abs=0.12)
    grade = np.degrees(np.arctan(p * math.sin(travel) + q * math.cos(travel)))
    assert found.track_grade_deg == pytest.approx(grade, abs=0.1)
    steep = np.hypot(p, q) > 0.06
    facing = np.degrees(np.arctan2(-p, -q)) % 360.0
    off = (found.aspect_true_deg[steep] - facing[steep] + 180.0) % 360.0 - 180.0
    assert np.abs(off).max() < 0.5
    assert np.isnan(found.aspect_true_deg[np.hypot(p, q) < 0.04]).all()


def test_pieces_tile_a_leg_over_all_its_stretches():
    dem = model(HILL, (401, 401))
    found = look_at(dem, [(-1500.0, -1200.0), (300.0, 100.0), (1500.0, 1400.0)], turns=(0, 2))
    pieces = found.pieces
    assert pieces.start_m[0] == 0.0
    assert pieces.end_m[-1] == found.track.length_m
    assert np.array_equal(pieces.start_m[1:], pieces.end_m[:-1])
    assert pieces.length_m.sum() == pytest.approx(found.track.length_m, abs=1e-6)
    assert found.track.length_m == pytest.approx(math.hypot(1800, 1300) + math.hypot(1200, 1300), abs=0.01)


def test_only_windows_near_the_line_are_read():
    """A long diagonal costs what its length costs, not the box round it."""
    source = Watched(model(Plane(20.0, 40.0), (900, 900)))
    route = route_on(source.dem, towards(45.0, 12_000.0))
    leg_ground(source, leg_track(route, 0), replace(LOOK, drift_deg=0.0))
    cells = sum(rows * cols for _, _, rows, cols in source.windows)
    # Each stretch is 480 m (339 m aside and up) and 100 m of reach and 5 cells on each side.
    side = 339.0 / 10.0 + 2 * (10.0 + 5.0)
    assert len(source.windows) == 25
    assert max(rows * cols for _, _, rows, cols in source.windows) < (side + 3) ** 2
    assert cells < 0.15 * 900 * 900


def test_stretches_change_nothing():
    """A bent leg cut at each of its many vertices is what it is when cut at few."""
    dem = model(HILL, (161, 161))
    ends = [(-600.0, -210.0), (600.0, 90.0)]
    few = look_at(dem, ends)
    share = np.linspace(0.0, 1.0, 61)
    many = look_at(dem, [(-600.0 + 1200.0 * s, -210.0 + 300.0 * s) for s in share], turns=(0, 60))
    assert many.track.length_m == pytest.approx(few.track.length_m, abs=1e-4)
    assert many.elevation_m == pytest.approx(few.elevation_m, abs=1e-5)
    assert many.pieces.slope_deg.max() == pytest.approx(few.pieces.slope_deg.max(), abs=1e-6)
    assert many.beside.steepest is not None
    assert few.beside.steepest is not None
    assert many.beside.steepest.slope_deg == pytest.approx(few.beside.steepest.slope_deg, abs=1e-6)
    assert (many.beside.steepest.col, many.beside.steepest.row) == (
        few.beside.steepest.col,
        few.beside.steepest.row,
    )
    assert many.beside.by_bin_deg == pytest.approx(few.beside.by_bin_deg, abs=1e-6)


def test_a_point_where_two_stretches_meet_is_told_once():
    """Vertices of the line at whole hundreds of metres, points every ten."""
    dem = model(HILL, (161, 161))
    north = np.arange(-480.0, 481.0, 240.0)
    lon, lat = dem.grid.to_wgs84(*dem.grid.colrow(np.full(5, 13.0), north))
    track = Track(lon, lat, np.arange(0.0, 961.0, 240.0), np.zeros(4))
    found = leg_ground(dem, track, LOOK)
    assert found.chainage_m.tolist() == np.arange(0.0, 961.0, 10.0).tolist()
    for name in ("elevation_m", "aspect_true_deg", "track_grade_deg"):
        assert getattr(found, name).shape == (97,)
    expected = HILL.height_m(np.full(97, 13.0), np.arange(-480.0, 481.0, 10.0))
    assert found.elevation_m == pytest.approx(expected, abs=0.12)


def test_the_steepest_place_beside_is_given_in_the_models_own_cells():
    dem = model(Plane(10.0, 0.0), (301, 301))
    heights = dem.heights_m.copy()
    heights[40, 230] += 60.0  # steep all round it
    spiked = Dem(dem.grid, heights)
    found = look_at(spiked, [(-1200.0, 1080.0), (1200.0, 1080.0)])  # 27 m south of row 40's middle
    assert found.beside.steepest is not None
    assert abs(found.beside.steepest.col - 230.5) <= 1.0
    assert abs(found.beside.steepest.row - 40.5) <= 1.0
    assert found.beside.steepest.slope_deg > 45.0


def test_the_part_off_the_model_is_unknown():
    dem = model(Plane(20.0, 90.0), (101, 101))  # 505 m each way
    found = look_at(dem, [(0.0, 0.0), (905.0, 0.0)])
    # Slopes end one cell within the edge, and the line takes the cells around it: 485 m.
    assert found.pieces.length_m[found.pieces.known].sum() == pytest.approx(485.0, abs=1e-3)
    inside = found.chainage_m < 490.0
    assert np.isfinite(found.elevation_m[inside]).all()
    assert np.isnan(found.elevation_m[found.chainage_m > 500.0]).all()
    assert np.isnan(found.track_grade_deg[found.chainage_m > 500.0]).all()
    assert found.beside.unknown


def test_a_line_that_the_crs_has_no_place_for_is_refused():
    dem = model(Plane(20.0, 90.0), (21, 21))
    polar = Dem(
        Grid(dem.grid.transform, "+proj=gnom +lat_0=-57 +lon_0=176 +datum=WGS84 +type=crs", (21, 21)),
        dem.heights_m,
    )
    track = leg_track(route_on(dem, [(0.0, 0.0), (50.0, 0.0)]), 0)
    with pytest.raises(OffModelError) as error:
        leg_ground(polar, track, LOOK)
    assert str(error.value) == (
        "The line should lie where the model's CRS has positions; part of it does not. Take a "
        "model of the ground it crosses."
    )


def test_the_longest_stretch_is_some_thousand_heights():
    assert LOOK.stretch_m == 480.0
    assert Look((25.0, 14.0), (1, 1), KNOWN).spacing_m == 14.0
    assert "+k=1 " in TRUE_GRID
