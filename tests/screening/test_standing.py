"""Checks stand only where one may: known ground, upper end below 30 degrees, no drop, all round."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import replace
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.on_grid import model, route_on
from tests.synthetic import GaussianHill, Plane, Surface, Waves

from steybrae.answers.ground import ground_lines
from steybrae.card.make import make_card
from steybrae.card.settings import CardSettings
from steybrae.files.cards import card_gpx
from steybrae.files.model.rasters import open_model
from steybrae.files.results import sample_model, sample_route
from steybrae.files.routes import read_route
from steybrae.quantities import shown_slope_deg
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.route.turns import route_from_places
from steybrae.screening import Settings, screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.leg import worth_a_reading
from steybrae.screening.places.words import legs_without_check, without_check_lines
from steybrae.screening.standing import Standing, StandingRules, SteepWithoutCheck, may_stand, tells
from steybrae.terrain.dem import Dem, DemSource, Grid
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.model_kinds import ModelKind
from steybrae.terrain.uncertainty import slope_uncertainty

DAY = CardSettings(dt.date(2027, 1, 15), "latlon")
CANYON = Path(__file__).parents[1] / "data" / "grand_canyon_128.tif"
STEEPEST = "steepest at and round the line, up the fall line"
LEG = [(-200.0, 0.0), (200.0, 0.0)]


def grade(slope_deg: float) -> float:
    return math.tan(math.radians(slope_deg))


def rules(source: DemSource, vertical_error_m: float | None = None) -> StandingRules:
    rows, cols = source.grid.shape
    known = slope_uncertainty("horn", jacobian_at(source.grid, cols / 2, rows / 2), vertical_error_m)
    return StandingRules(source, "horn", "own", known)


def stands(dem: Dem, col: float, row: float, place_error_m: float = 10.0) -> Standing:
    lon, lat = (float(v) for v in dem.grid.to_wgs84(col, row))
    return may_stand(lat, lon, rules(dem), place_error_m)


def told(found: Standing) -> tuple[bool, float | None]:
    return found.may, found.slope_max_deg


def level_with(change: dict[tuple[int, int], float], cell_m: float = 10.0) -> Dem:
    """Level ground of 81 x 81 cells with some heights of its own, by row and column."""
    flat = model(Plane(0.0, 0.0), (81, 81), cell_m)
    heights = flat.heights_m.copy()
    for at, height_m in change.items():
        heights[at] = height_m
    return Dem(flat.grid, heights)


class TestMayStand:
    def test_level_known_ground_serves(self) -> None:
        assert told(stands(level_with({}), 40.5, 40.5)) == (True, 0.0)

    # The usual worst survey error of 10 m cells, 0.101 in gradient, beside half a degree of the cells of a
    # plane: tan 24 + 0.101 = tan 28.6; at 26 degrees it reaches 30.5.
    @pytest.mark.parametrize(("slope_deg", "may"), [(20.0, True), (24.0, True), (26.0, False), (29.0, False)])
    def test_the_upper_end_counts(self, slope_deg: float, may: bool) -> None:
        found = stands(model(Plane(slope_deg, 90.0), (81, 81)), 40.5, 40.5)
        assert found.may is may
        assert found.slope_max_deg == pytest.approx(slope_deg, abs=1e-6)

    def test_the_upper_end_counts_as_it_is_shown(self) -> None:
        """29.95 degrees, shown as 30.0, served as a place to stand."""
        found = [
            stands(model(Plane(slope, 90.0), (81, 81)), 40.5, 40.5) for slope in np.arange(25.2, 25.7, 0.02)
        ]
        ends = {one.high_deg: one.may for one in found}
        assert any(29.9 < end < 30.0 for end in ends)
        assert {end: shown_slope_deg(end) < 30.0 for end in ends} == ends
        assert {True, False} == set(ends.values())

    def test_unknown_ground_within_the_distance_is_not_gentle(self) -> None:
        # A missing height makes the slopes of the eight around it unknown, and how rough the ground is in
        # one ring more: 5 cells off, that ring's near edge is 25 m away; 6 cells off, 35 m.
        assert not stands(level_with({(40, 44): math.nan}), 40.5, 40.5).may
        assert not stands(level_with({(40, 45): math.nan}), 40.5, 40.5).may
        assert stands(level_with({(40, 46): math.nan}), 40.5, 40.5).may
        assert not stands(level_with({(40, 46): math.nan}), 40.5, 40.5, place_error_m=40.0).may

    def test_beyond_the_models_edge_is_unknown(self) -> None:
        assert not stands(level_with({}), 3.5, 40.5).may
        assert stands(level_with({}), 40.5, 40.5).slope_max_deg == 0.0
        assert told(stands(level_with({}), -50.0, 40.5)) == (False, None)

    def test_no_known_upper_end_is_not_below(self) -> None:
        # Cells of 60 m: how much they flatten is not known.
        assert not stands(level_with({}, 60.0), 40.5, 40.5).may

    def test_steep_ground_at_the_edge_of_the_distance_counts_and_beyond_it_does_not(self) -> None:
        # A step of 20 m between columns 43 and 44 is 45 degrees over two cells on both; the edge
        # of column 43 is 25 m off, that of column 44 35 m.
        for first, may in ((44, False), (45, True)):
            dem = level_with({(row, col): 20.0 for row in range(81) for col in range(first, 81)})
            assert stands(dem, 40.5, 40.5).may is may

    def test_a_drop_that_slopes_over_two_cells_do_not_show(self) -> None:
        # A pole of 5 m on 1 m cells: central differences on it are level, the upper end is stated.
        dem = level_with({(40, 41): 5.0}, 1.0)
        lon, lat = (float(v) for v in dem.grid.to_wgs84(40.5, 40.5))
        assert not may_stand(lat, lon, rules(dem, 0.01), 10.0).may

    def test_a_slope_is_each_cells_own(self) -> None:
        # 35 degrees begins in column 46; column 45, half on it, has 19.3 degrees, and so rough a ground
        # round it that its upper end is above 30. The near edge of column 45 is 35 m from column 41's middle.
        x = np.arange(81) * 10.0
        heights = np.broadcast_to(np.maximum(x - 450.0, 0.0) * grade(35.0), (81, 81)).copy()
        dem = Dem(model(Plane(0.0, 0.0), (81, 81)).grid, heights)
        assert told(stands(dem, 41.5, 40.5)) == (True, pytest.approx(0.0, abs=1e-9))
        half = stands(dem, 42.5, 40.5)
        assert told(half) == (False, pytest.approx(math.degrees(math.atan(grade(35.0) / 2.0))))

    def test_a_reading_there_shows_the_places_own_cell_within_the_ends_of_those_near(self) -> None:
        """The ground steepens from 10 to 20 degrees: column 40 is half and half, its neighbours are not."""
        x = (np.arange(81) - 40) * 10.0
        profile = np.where(x < 0.0, x * grade(10.0), x * grade(20.0))
        dem = Dem(model(Plane(0.0, 0.0), (81, 81)).grid, np.broadcast_to(profile, (81, 81)).copy())
        found = stands(dem, 40.5, 40.5, place_error_m=4.0)
        both = math.degrees(math.atan((grade(10.0) + grade(20.0)) / 2.0))
        assert found.slope_deg == pytest.approx(both, abs=1e-6)
        assert found.slope_max_deg == pytest.approx(20.0, abs=1e-6)
        assert found.aspect_true_deg == pytest.approx(270.0, abs=0.01)
        assert found.low_deg is not None
        assert found.high_deg is not None
        assert found.low_deg < 10.0
        assert found.high_deg > 20.0
        wider = stands(dem, 40.5, 40.5, place_error_m=40.0)
        assert wider.slope_deg == pytest.approx(found.slope_deg)


@pytest.mark.parametrize(
    ("slope_deg", "check", "without"), [(12.0, False, False), (22.0, True, False), (26.0, False, True)]
)
def test_a_leg_on_a_plane(slope_deg: float, check: bool, without: bool) -> None:
    """12 degrees may reach 18, not worth a reading; 22 may reach 27 and serves; 26 may reach 31."""
    dem = model(Plane(slope_deg, 180.0), (121, 121))
    (leg,) = screen_route(route_on(dem, LEG), dem, Settings(reach_m=300.0)).legs
    assert [one.what for one in leg.expected_readings] == [STEEPEST] * check
    # Beside it the plane is no steeper, and no reading is planned there.
    assert [one.what for one in leg.steep_without_check if "line," in one.what] == [STEEPEST] * without
    assert all(one.quantity == "slope" for one in leg.expected_readings)
    assert all(one.slope_max_deg == pytest.approx(slope_deg, abs=1e-6) for one in leg.steep_without_check)


@pytest.mark.parametrize(
    ("slope_deg", "kind", "checks"), [(14.0, None, 0), (16.0, None, 0), (20.0, "lidar", 1)]
)
def test_no_check_where_a_reading_would_tell_little(
    slope_deg: float, kind: ModelKind | None, checks: int
) -> None:
    """14 degrees of 30 m cells may be 0 to 28: one may stand there, and no reading below 28 would differ."""
    dem = model(Plane(slope_deg, 90.0), (81, 81), 30.0)
    (leg,) = screen_route(route_on(dem, LEG), dem, Settings(reach_m=20.0, model_kind=kind)).legs
    assert worth_a_reading(slope_deg, leg.slope_high_deg)
    assert len(leg.expected_readings) == checks
    assert all(tells(reading) for reading in leg.expected_readings)
    assert leg.steep_without_check == ()


def test_steep_ground_beside_a_level_line_has_no_check() -> None:
    """A bank of 50 degrees 20 m beside the line is told, and nobody is sent to it."""
    level = model(Plane(0.0, 0.0), (121, 121))
    north = (60.0 - np.arange(121)) * 10.0
    heights = np.broadcast_to(np.clip((north - 20.0) * grade(50.0), 0.0, 60.0)[:, None], (121, 121)).copy()
    dem = Dem(level.grid, heights)
    (leg,) = screen_route(route_on(dem, LEG), dem, Settings(reach_m=300.0)).legs
    assert leg.expected_readings == ()
    told = {one.what: one.slope_max_deg for one in leg.steep_without_check}
    assert told["steepest beside the line"] == pytest.approx(50.0, abs=1.0)


def test_a_figure_of_two_grounds_is_told_once() -> None:
    one = SteepWithoutCheck(59.2, -8.0, 39.15, STEEPEST, at_least=True)
    beside = replace(one, what="steepest beside the line")
    assert without_check_lines((one, beside)) == (
        "Known steep, no place to measure from: steepest at and round the line and steepest beside the line, "
        "at least 39.2°.",
    )
    (line,) = without_check_lines((one, replace(beside, slope_max_deg=39.25)))
    assert "round the line, at least 39.2°; steepest beside the line, at least 39.3°." in line
    (line,) = without_check_lines((replace(one, what="sight up to the ground over B, 300 m away"),))
    # "Where one would stand" stood below a steepest within 10 m of the place that was 11 degrees gentler.
    around = "(steepest within 30 m or the position error at least 39.2°)."
    assert line.endswith(f": sight up to the ground over B {around}")


def test_ground_without_a_check_is_at_least_where_its_leg_or_place_is() -> None:
    """It once always was: beside "30.2°" in the leg's row stood "at least 30.2°"."""
    plain = model(Plane(40.0, 180.0), (121, 121))
    heights = plain.heights_m.copy()
    heights[58, 58] = np.nan  # 25 m from the place, within what is looked at round it
    for dem, least in ((plain, False), (Dem(plain.grid, heights), True)):
        (leg,) = screen_route(route_on(dem, LEG), dem, Settings(reach_m=300.0)).legs
        assert {leg.open_above, *(one.at_least for one in leg.steep_without_check)} == {least}
        place = Place(*(float(v) for v in reversed(dem.grid.to_wgs84(60.5, 60.5))))
        found = with_above(ground_at(place, dem), place, dem, Settings(reach_m=300.0))
        assert {one.at_least for one in found.steep_without_check} == {least}
        there = r"(line,|error) at least 4\d" if least else r"(line,|error) 4\d"
        for lines in (legs_without_check([leg]), tuple(ground_lines(found))):
            (line,) = [line for line in lines if "Known steep" in line]
            assert re.search(there, line)


def test_a_place_on_steep_ground_gives_no_reading() -> None:
    dem = model(Plane(40.0, 180.0), (121, 121))
    lon, lat = (float(v) for v in dem.grid.to_wgs84(60.5, 60.5))
    place = Place(lat, lon)
    found = with_above(ground_at(place, dem), place, dem, Settings(reach_m=300.0))
    assert found.expected_readings == ()
    (steep, *_) = found.steep_without_check
    assert steep.what == "the ground at the place, up the fall line"
    assert steep.slope_max_deg == pytest.approx(40.0, abs=1e-6)


@pytest.mark.parametrize(("slope_deg", "kind"), [(14.0, None), (14.0, "lidar")])
def test_a_place_says_why_a_reading_would_tell_little(slope_deg: float, kind: ModelKind | None) -> None:
    """14 degrees of 30 m cells that may be 27: a reading would have to stand 13.6 degrees above to differ."""
    dem = model(Plane(slope_deg, 90.0), (81, 81), 30.0)
    lon, lat = (float(v) for v in dem.grid.to_wgs84(40.5, 40.5))
    settings = Settings(reach_m=20.0, model_kind=kind)
    found = with_above(ground_at(Place(lat, lon), dem, 10.0, settings), Place(lat, lon), dem, settings)
    (line,) = [line for line in ground_lines(found) if line.startswith(("No reading", "Check ("))]
    if kind == "lidar":
        assert found.reading_left_out is None
        assert line.startswith("Check (a): 14.")
        return
    left_out = found.reading_left_out
    assert found.expected_readings == found.steep_without_check == ()
    assert left_out is not None
    assert left_out.high_deg is not None
    assert left_out.expected_deg == pytest.approx(slope_deg, abs=0.01)
    assert left_out.would_notice_deg == pytest.approx(
        math.hypot(4.0, left_out.high_deg - slope_deg), abs=0.02
    )
    assert line == (
        "No reading of the slope would tell much here: within the position error it may be 0.5 to "
        f"{shown_slope_deg(left_out.high_deg):.1f}° (95 %), and one less than "
        f"{shown_slope_deg(left_out.would_notice_deg):.1f}° steeper would not differ."
    )


def broken(source: DemSource, lat_deg: float, lon_deg: float, radius_m: float = 30.0) -> list[str]:
    """What speaks against a place, by loops over cells and Horn's formula written out again.

    Upper ends: half a degree and once the roughness, beside 0.1009 in gradient for 1.5 m of survey error
    correlated over 50 m; see `steybrae.terrain.uncertainty`.
    """
    grid = source.grid
    col, row = (float(v) for v in grid.from_wgs84(lon_deg, lat_deg))
    dem, edge = source.read(math.floor(row) - 12, math.floor(col) - 12, 25, 25), 12
    z, (east_m, north_m) = dem.heights_m, cell_sizes_m(grid, col, row)
    col, row = col - math.floor(col) + edge, row - math.floor(row) + edge
    found = []
    slopes = np.full(z.shape, np.nan)
    for j in range(1, 24):
        for i in range(1, 24):
            a = z[j - 1 : j + 2, i - 1 : i + 2]
            p = float(((a[:, 2] - a[:, 0]) * (1, 2, 1)).sum()) / (8.0 * east_m)
            q = float(((a[0] - a[2]) * (1, 2, 1)).sum()) / (8.0 * north_m)
            slopes[j, i] = math.hypot(p, q)
    degrees = np.degrees(np.arctan(slopes))
    for j in range(2, 23):
        for i in range(2, 23):
            off_x = max(abs(i + 0.5 - col) - 0.5, 0.0) * east_m
            off_y = max(abs(j + 0.5 - row) - 0.5, 0.0) * north_m
            if math.hypot(off_x, off_y) > radius_m:
                continue
            a, near = z[j - 1 : j + 2, i - 1 : i + 2], degrees[j - 1 : j + 2, i - 1 : i + 2]
            if not np.isfinite(near).all():
                found.append("unknown")
                continue
            own = float(near[1, 1])
            cells = 0.5 + math.sqrt(float(((near - own) ** 2).sum()) / 8.0)
            survey = math.degrees(math.atan(float(slopes[j, i]) + SURVEY_U)) - own
            if own + math.hypot(cells, survey) >= 30.0 + 0.01:
                found.append("steep")
            if abs(a[1, 1] - a[1, 2]) > max(5.0, grade(55.0) * east_m):
                found.append("drop")
    return found


SURVEY_U = 0.1009
"""Expanded uncertainty of a gradient on 10 m cells by Horn, for 1.5 m correlated over 50 m."""


def cell_sizes_m(grid: Grid, col: float, row: float) -> tuple[float, float]:
    """Ground length of a cell across and along, from three places a hundredth of a degree apart."""
    lon, lat = grid.to_wgs84(np.array([col, col + 1.0, col]), np.array([row, row, row + 1.0]))
    east = 111_320.0 * math.cos(math.radians(float(lat[0])))
    dx, dy = (lon - lon[0]) * east, (lat - lat[0]) * 111_132.0
    return math.hypot(dx[1], dy[1]), math.hypot(dx[2], dy[2])


def way_points(source: DemSource, route: Route) -> list[tuple[float, float]]:
    """Positions of the way-points that the card's GPX sends a receiver to, read back."""
    card = make_card(screen_route(route, source, Settings(reach_m=800.0)), DAY)
    read = gpxpy.parse(card_gpx(card))
    return [(point.latitude, point.longitude) for point in read.waypoints]


SURFACES: list[Surface] = [GaussianHill(120.0, 220.0), Waves(25.0, 400.0), Plane(17.0, 130.0)]


@settings(max_examples=12, deadline=None)
@given(
    st.sampled_from(SURFACES),
    st.lists(
        st.tuples(st.floats(-500.0, 500.0), st.floats(-500.0, 500.0)), min_size=2, max_size=4, unique=True
    ),
)
def test_no_way_point_on_made_ground_is_steep(surface: Surface, places: list[tuple[float, float]]) -> None:
    if any(math.dist(a, b) < 60.0 for a in places for b in places if a is not b):
        return
    dem = model(surface, (141, 141))
    for lat_deg, lon_deg in way_points(dem, route_on(dem, places)):
        assert broken(dem, lat_deg, lon_deg) == []


def test_no_way_point_of_the_sample_is_steep() -> None:
    with open_model([sample_model()]) as source:
        found = way_points(source, read_route(sample_route()))
        assert len(found) >= 4
        for lat_deg, lon_deg in found:
            assert broken(source, lat_deg, lon_deg) == []


def test_no_way_point_on_real_ground_is_steep() -> None:
    """Lines across a measured canyon: most ends and rims are steep, some ledges serve."""
    with open_model([CANYON]) as source:
        rows, cols = source.grid.shape
        for row in (0.25, 0.5, 0.75):
            lon, lat = source.grid.to_wgs84(np.array([0.2, 0.8]) * cols, np.array([row, 1.0 - row]) * rows)
            ends = [Place(float(y), float(x)) for x, y in zip(lon, lat, strict=True)]
            for lat_deg, lon_deg in way_points(source, route_from_places(ends, "across")):
                assert broken(source, lat_deg, lon_deg) == []
