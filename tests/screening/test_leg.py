"""What is said of one leg, on ground whose slope is known exactly."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.on_grid import model, route_on, towards
from tests.synthetic import Crest, GaussianHill, Plane, sample_surface

from steybrae.answers.route import RouteView, route_document
from steybrae.bands import BandScheme
from steybrae.render.terminal import terminal_text
from steybrae.route.touching import Pieces
from steybrae.screening import Settings, screen_route
from steybrae.screening.leg import longest_steep_m, possible_bands
from steybrae.screening.pictures.relief import profile_of
from steybrae.screening.sound import sound
from steybrae.terrain.dem import Dem
from steybrae.terrain.gradients import METHODS

SCHEME = BandScheme()


REACH_M = 20.0
"""How far is looked overhead: nothing asserted here asks what stands there (see test_above)."""


def screened_route(surface, points, settings=None, **kwargs):
    dem = surface if isinstance(surface, Dem) else model(surface, **kwargs)
    return screen_route(route_on(dem, points), dem, replace(settings or Settings(), reach_m=REACH_M))


def screened(surface, points, settings=None, **kwargs):
    return screened_route(surface, points, settings, **kwargs).legs[0]


@pytest.mark.parametrize(("slope_deg", "least"), [(29.93, [30.0]), (44.93, [30.0, 45.0]), (29.88, [])])
def test_ground_beside_is_as_steep_as_it_is_shown(slope_deg, least):
    """29.93 is shown as 30.0, and no ground of 30 degrees was found on it, to either side."""
    leg = screened(Plane(slope_deg, 200.0), towards(260.0, 300.0), shape=(81, 81))
    assert (leg.steep_m > 0.0) is bool(least)
    for side in (leg.sides.left, leg.sides.right):
        assert [one.least_slope_deg for one in side] == least


@pytest.mark.parametrize("slope_deg", [5.0, 25.0, 30.0, 35.0, 45.0, 60.0])
@pytest.mark.parametrize("aspect_deg", [0.0, 22.5, 90.0, 135.0, 200.0, 315.0])
@pytest.mark.parametrize("method", METHODS)
def test_planes_are_exact(slope_deg, aspect_deg, method):
    """On true ground metres a plane's slope comes back to 1e-5 degrees in every aspect."""
    leg = screened(
        Plane(slope_deg, aspect_deg),
        towards(aspect_deg + 60.0, 500.0),
        Settings(method=method),
        shape=(81, 81),
    )
    assert leg.slope_max_deg == pytest.approx(slope_deg, abs=1e-5)
    assert leg.slope_corridor_max_deg == pytest.approx(slope_deg, abs=1e-5)
    grade = math.degrees(math.atan(math.tan(math.radians(slope_deg)) * math.cos(math.radians(60.0))))
    # True north turns by 0.003 degrees from the middle of the grid to the line's ends.
    assert leg.track_grade_max_deg == pytest.approx(grade, abs=0.006)
    assert leg.band == SCHEME.band(slope_deg)
    assert leg.band_lengths_m[SCHEME.band(slope_deg).label] == pytest.approx(leg.length_m, abs=1e-6)
    assert leg.unknown_m == 0.0
    assert leg.known_share == 1.0
    assert not leg.open_above
    fall_m = math.tan(math.radians(slope_deg)) * math.cos(math.radians(60.0)) * leg.length_m
    assert leg.descent_m == pytest.approx(fall_m, rel=1e-6)
    assert leg.ascent_m == 0.0


def test_planes_on_a_grid_whose_scale_is_not_one():
    """UTM on its central meridian draws ground lengths 0.9996 as long: slopes are less by that."""
    dem = sample_surface(Plane(35.0, 90.0), (81, 81), 10.0)
    leg = screened(dem, [(499_800.0, 6_300_000.0), (500_200.0, 6_300_000.0)])
    true_deg = math.degrees(math.atan(math.tan(math.radians(35.0)) * 0.9996))
    assert true_deg == pytest.approx(34.9892, abs=1e-4)
    assert leg.slope_max_deg == pytest.approx(true_deg, abs=1e-4)
    assert leg.length_m == pytest.approx(400.0 / 0.9996, abs=1e-3)


def test_crossing_on_the_level_is_steep_ground_and_no_grade():
    leg = screened(Plane(38.0, 180.0), [(-300.0, 0.0), (300.0, 0.0)])
    assert leg.track_grade_max_deg == pytest.approx(0.0, abs=0.004)  # meridians draw together
    assert leg.slope_max_deg == pytest.approx(38.0, abs=1e-5)
    assert leg.steep_m == pytest.approx(600.0, abs=0.01)
    assert leg.steep_stretch_m == pytest.approx(600.0, abs=0.01)
    assert leg.aspect_sectors == ("S",)
    assert leg.ascent_m == pytest.approx(0.0, abs=1e-3)


def test_crossing_60_degrees_off_the_fall_line_climbs_at_19_3():
    # tan(leg) = tan(35) cos(60): 19.295 degrees, geometry of a slanting line on a plane.
    leg = screened(Plane(35.0, 180.0), towards(60.0, 600.0))
    assert leg.track_grade_max_deg == pytest.approx(19.295, abs=0.01)
    assert leg.slope_max_deg == pytest.approx(35.0, abs=1e-5)
    assert leg.band is not None
    assert leg.band.label == "35-40"


@settings(max_examples=25)
@given(st.floats(0.0, 360.0), st.floats(-10.0, 10.0), st.floats(30.0, 50.0), st.sampled_from([1.0, -1.0]))
def test_a_crest_or_gully_keeps_the_slope_of_its_sides(bearing_deg, aside_m, slope_deg, turned):
    along = math.radians(bearing_deg)
    middle = (aside_m * math.cos(along), -aside_m * math.sin(along))
    crest = model(Crest(slope_deg, bearing_deg), (81, 81))
    leg = screened(Dem(crest.grid, turned * crest.heights_m), towards(bearing_deg, 400.0, middle))
    assert leg.slope_max_deg == pytest.approx(slope_deg, abs=1e-3)
    assert leg.slope_corridor_max_deg == pytest.approx(slope_deg, abs=1e-3)
    assert sum(leg.band_lengths_m.values()) == pytest.approx(leg.length_m, abs=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([1.0, 4.0, 10.0, 30.0]), st.floats(0.0, 360.0))
def test_the_corridor_is_never_gentler_than_its_line(seed, cell_m, bearing_deg):
    """Over 20 m a short steep piece is flattened: the corridor holds the line's own cells all the same."""
    rough = np.random.default_rng(seed).normal(0.0, cell_m / 3.0, (81, 81))
    dem = Dem(model(Plane(5.0, 0.0), (81, 81), cell_m).grid, rough)
    found = screened_route(dem, towards(bearing_deg, 37.0 * cell_m))
    (leg,) = found.legs
    assert leg.slope_corridor_max_deg >= leg.slope_max_deg
    ends = leg.slope_corridor_high_deg, leg.slope_high_deg
    assert ends[0] is None or ends[0] >= max(ends[1], leg.slope_corridor_max_deg)
    assert leg.slope_corridor_max_deg == np.nanmax(leg.points.corridor_deg)
    known = leg.points.known
    assert (leg.points.corridor_deg[known] >= leg.points.slope_deg[known]).all()
    labels = list(leg.band_lengths_m)
    for number, edge in enumerate(SCHEME.edges_deg, start=1):
        on_line_m = sum(leg.band_lengths_m[label] for label in labels[number:])
        assert leg.corridor_lengths_m[f"{edge:g}"] >= on_line_m - 1e-6
    profile = profile_of(found)
    steep = np.isfinite(profile.slope_deg)
    assert (profile.corridor_deg[steep] >= profile.slope_deg[steep]).all()


def test_a_short_steep_step_beside_the_line_is_a_possible_band():
    """Its figure stood as a short piece of the corridor, and "possible bands <25" beside it."""
    north = np.arange(201) + 0.5 - 100.5
    bank = np.broadcast_to(np.clip(north, 20.0, 23.0)[:, None], (201, 201))
    dem = Dem(model(Plane(0.0, 0.0), (201, 201), 1.0).grid, bank)
    found = screened_route(dem, [(-60.0, 0.0), (60.0, 0.0)])
    (leg,) = sound(found).legs
    assert leg.short_corridor_max_deg == pytest.approx(45.0, abs=1e-3)
    assert leg.short_slope_max_deg is None
    for bands in (leg.bands_possible, found.totals.bands_possible):
        assert [band.label for band in bands][-1] == "45-55"


def test_a_short_steep_step_on_the_line_is_where_the_corridor_is_steepest():
    """A bank of 1 m cells, 3 m high at 45 degrees: over 20 m it is 8.6 degrees."""
    east = np.arange(201) + 0.5 - 100.5
    bank = np.broadcast_to(np.clip(east, 0.0, 3.0), (201, 201))
    dem = Dem(model(Plane(0.0, 0.0), (201, 201), 1.0).grid, bank)
    found = screened_route(dem, [(-80.0, 3.0), (80.0, 3.0)])
    (leg,) = sound(found).legs  # a plan of it is one of ours
    assert leg.slope_max_deg == pytest.approx(12.02, abs=0.01)
    assert leg.baseline_m == pytest.approx(20.0, abs=1e-3)
    assert leg.short_slope_max_deg == pytest.approx(45.0, abs=1e-3)
    assert [band.label for band in leg.bands_possible][-1] == "45-55"
    assert leg.slope_corridor_max_deg == leg.slope_max_deg
    assert leg.short_corridor_max_deg == found.totals.short_corridor_max_deg == leg.short_slope_max_deg
    text = " ".join(terminal_text(route_document(found, RouteView()), 120).split())
    assert "12.1° (leg 1), short pieces to 45.0°, in the corridor" in text
    assert text.count("short pieces to 45.0°,") == 2
    at, on_line = leg.slope_corridor_max_at, leg.slope_max_at
    assert at.chainage_m == pytest.approx(on_line.chainage_m, abs=2.0)
    assert (at.lat_deg, at.lon_deg) == pytest.approx((on_line.lat_deg, on_line.lon_deg), abs=5e-5)
    assert leg.corridor_lengths_m["25"] == leg.band_lengths_m["45-55"] == 0.0


def test_what_the_corridor_may_be_counts_the_ground_ahead_as_its_steepest_does():
    """Ground ahead, nearer to the next leg, was in the steepest alone: the plan was refused when read."""
    east = np.arange(121) * 5.0 + 2.5 - 302.5
    bank = np.broadcast_to(np.clip(east, 20.0, 30.0), (121, 121))
    dem = Dem(model(Plane(0.0, 0.0), (121, 121), 5.0).grid, bank)
    found = sound(screened_route(dem, [(-200.0, 1.0), (0.0, 1.0), (200.0, 1.0)]))
    leg = found.legs[0]
    assert leg.slope_max_deg < 25.0 < leg.slope_corridor_max_deg
    assert leg.slope_corridor_high_deg > leg.slope_corridor_max_deg
    assert leg.short_corridor_max_deg == pytest.approx(45.0, abs=1e-3)


def test_a_rim_to_the_left():
    """A plateau whose edge runs 25 m to the left of the line and falls at 45 degrees and more."""
    dem = model(Plane(0.0, 0.0), (121, 121))
    # Cells from 30 m west of the middle on fall away at 50 degrees: the first slope that sees the
    # edge is that of the column before it, whose square begins 25 m from the line.
    east = (np.arange(121) + 0.5 - 60.5) * 10.0
    fall = np.minimum(0.0, (east + 20.0)) * math.tan(math.radians(55.0))
    rim = Dem(dem.grid, np.broadcast_to(fall, (121, 121)))
    leg = screened(rim, [(0.0, -300.0), (0.0, 300.0)])
    near = {ground.least_slope_deg: ground for ground in leg.sides.left}
    assert leg.sides.right == ()
    assert near[30.0].distance_m <= 25.0
    assert near[30.0].distance_m >= 14.0
    assert near[45.0].distance_m == pytest.approx(25.0, abs=0.01)
    assert near[45.0].height_difference_m == pytest.approx(-10.0 * math.tan(math.radians(55.0)), abs=0.01)
    assert near[45.0].stretches_m == ((0.0, pytest.approx(600.0, abs=0.01)),)
    assert leg.slope_corridor_max_deg == pytest.approx(55.0, abs=1e-3)
    assert leg.corridor_lengths_m["55"] == pytest.approx(600.0, abs=0.01)
    # The line itself is level, and is shown so.
    assert leg.slope_max_deg == pytest.approx(0.0, abs=1e-3)
    assert leg.bands_possible == SCHEME.bands
    backwards = screened(rim, [(0.0, 300.0), (0.0, -300.0)])
    assert backwards.sides.left == ()
    assert [ground.distance_m for ground in backwards.sides.right] == pytest.approx(
        [ground.distance_m for ground in leg.sides.left], abs=1e-3
    )


def test_ground_beyond_the_reach_is_not_listed():
    dem = model(Plane(0.0, 0.0), (121, 121))
    east = (np.arange(121) + 0.5 - 60.5) * 10.0
    far = Dem(dem.grid, np.broadcast_to(np.minimum(0.0, east + 150.0) * 2.0, (121, 121)))
    leg = screened(far, [(0.0, -300.0), (0.0, 300.0)])
    assert leg.sides.left == ()
    assert leg.sides.reach_m == 100.0
    assert not leg.sides.unknown_left


def test_a_leg_partly_off_the_model():
    leg = screened(Plane(33.0, 90.0), [(0.0, 0.0), (1005.0, 0.0)])  # the model ends at 605 m
    assert leg.unknown_m == pytest.approx(1005.0 - 585.0, abs=0.01)
    assert leg.known_share == pytest.approx(585.0 / 1005.0, abs=1e-4)
    assert leg.slope_max_deg == pytest.approx(33.0, abs=1e-5)
    assert leg.open_above
    assert leg.ascent_at_least
    assert sum(leg.band_lengths_m.values()) + leg.unknown_m == pytest.approx(leg.length_m, abs=1e-6)
    assert leg.steep_m == pytest.approx(585.0, abs=0.01)
    keys = [caution.key for caution in leg.cautions]
    assert {"forecast", "angle_alone", "unknown_on_line", "unknown_near", "open_above"} <= set(keys)
    assert leg.sides.unknown_left
    assert leg.sides.unknown_right
    known = leg.points.known
    assert np.isnan(leg.points.slope_deg[~known]).all()
    assert np.isfinite(leg.points.slope_deg[known]).all()
    assert 0 < known.sum() < len(known)


def test_a_leg_wholly_unknown():
    dem = model(Plane(33.0, 90.0), (121, 121))
    heights = dem.heights_m.copy()
    heights[:, 60:] = np.nan
    leg = screen_route(
        route_on(dem, [(-300.0, 0.0), (200.0, 0.0), (500.0, 0.0)]), Dem(dem.grid, heights)
    ).legs[1]
    for name in (
        "slope_max_deg",
        "slope_low_deg",
        "slope_high_deg",
        "slope_max_at",
        "slope_corridor_max_deg",
        "slope_corridor_max_at",
        "track_grade_max_deg",
        "elevation_min_m",
        "elevation_max_m",
        "band",
    ):
        assert getattr(leg, name) is None
    assert leg.bands_possible == ()
    assert leg.open_above
    assert leg.unknown_m == pytest.approx(300.0, abs=0.01)
    assert leg.known_share == pytest.approx(0.0, abs=1e-9)
    assert set(leg.band_lengths_m.values()) == {0.0}
    assert (leg.ascent_m, leg.descent_m, leg.ascent_at_least) == (0.0, 0.0, True)
    assert leg.steep_stretch_m == 0.0
    assert not leg.points.known.any()


def test_unknown_ground_on_the_line_with_known_ground_beside_it():
    """A void only as wide as to hide the line: the corridor's steepest leads."""
    dem = model(Plane(33.0, 90.0), (121, 121))
    heights = dem.heights_m.copy()
    heights[59:62, :] = np.nan
    leg = screened(Dem(dem.grid, heights), [(-300.0, 0.0), (300.0, 0.0)])
    assert leg.slope_max_deg is None
    assert leg.band is None
    assert leg.slope_corridor_max_deg == pytest.approx(33.0, abs=1e-5)
    assert [band.label for band in leg.bands_possible] == ["30-35"]
    assert leg.open_above
    assert leg.unknown_m == pytest.approx(600.0, abs=0.01)


def test_a_void_beside_the_line_is_unknown_near():
    dem = model(Plane(20.0, 90.0), (121, 121))
    heights = dem.heights_m.copy()
    heights[55:57, 60:63] = np.nan  # 35 to 55 m north of the line
    leg = screened(Dem(dem.grid, heights), [(-300.0, 0.0), (300.0, 0.0)])
    assert leg.unknown_m == 0.0
    assert leg.open_above
    keys = [caution.key for caution in leg.cautions]
    assert "unknown_near" in keys
    assert "open_above" in keys
    assert "unknown_on_line" not in keys
    assert leg.sides.unknown_left
    assert not leg.sides.unknown_right
    assert not leg.ascent_at_least


@pytest.mark.parametrize(
    ("slope_max", "slope_high", "corridor", "labels"),
    [
        (28.0, 33.0, 20.0, ["25-30", "30-35"]),  # (b) leads
        (28.0, 33.0, 41.0, ["25-30", "30-35", "35-40", "40-45"]),  # (c) leads
        (28.0, None, 20.0, ["25-30"]),
        (28.0, None, 31.0, ["25-30", "30-35"]),
        (28.0, 29.9, 29.91, ["25-30", "30-35"]),  # 29.91 is shown as 30.0
        (28.0, 29.9, 29.9, ["25-30"]),
        (None, None, 31.0, ["30-35"]),
        (None, None, None, []),
        (56.0, 63.0, 58.0, ["55+"]),
    ],
)
def test_bands_from_the_line_to_the_steeper_of_its_high_end_and_the_corridor(
    slope_max, slope_high, corridor, labels
):
    assert [band.label for band in possible_bands(SCHEME, slope_max, slope_high, corridor)] == labels


def test_the_corridor_gets_no_second_error():
    """34 degrees beside a level line: no band of 40 is possible, whatever the error of the model."""
    dem = model(Plane(0.0, 0.0), (121, 121))
    east = (np.arange(121) + 0.5 - 60.5) * 10.0
    rim = Dem(
        dem.grid, np.broadcast_to(np.minimum(0.0, east + 20.0) * math.tan(math.radians(34.0)), (121, 121))
    )
    leg = screened(rim, [(0.0, -300.0), (0.0, 300.0)])
    assert leg.slope_corridor_max_deg == pytest.approx(34.0, abs=1e-3)
    assert 5.0 < leg.slope_high_deg < 34.0
    assert [band.label for band in leg.bands_possible] == ["<25", "25-30", "30-35"]


def test_the_interval_of_the_steepest_and_its_place():
    hill = GaussianHill(300.0, 200.0)  # steepest, 300 / (200 sqrt(e)) = 42.3 degrees, at r = 200
    leg = screened(hill, [(-500.0, 3.0), (0.0, 3.0)])
    assert leg.slope_max_deg == pytest.approx(42.3, abs=0.3)
    assert leg.slope_max_at is not None
    assert leg.slope_max_at.chainage_m == pytest.approx(300.0, abs=25.0)
    assert leg.slope_low_deg is not None
    assert leg.slope_high_deg is not None
    # The largest low and the largest high end of the cells on the line, of whichever they are.
    assert leg.slope_low_deg == np.nanmax(leg.points.slope_low_deg)
    assert leg.slope_high_deg == np.nanmax(leg.points.slope_high_deg)
    assert leg.slope_low_deg < leg.slope_max_deg - 2.0
    assert leg.slope_high_deg > leg.slope_max_deg + 2.0
    dem = model(hill)
    lon, lat = dem.grid.to_wgs84(*dem.grid.colrow(-500.0 + leg.slope_max_at.chainage_m, 3.0))
    assert (leg.slope_max_at.lat_deg, leg.slope_max_at.lon_deg) == pytest.approx(
        (float(lat), float(lon)), abs=1e-7
    )


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 5.0, 7.0, 10.0, 25.0])
def test_planes_have_their_slope_over_every_baseline_and_no_shorter_steeper_piece(cell_m):
    leg = screened(Plane(28.0, 90.0), towards(30.0, 200.0), cell_m=cell_m, shape=(331, 331))
    assert leg.slope_max_deg == pytest.approx(28.0, abs=1e-4)
    assert leg.baseline_m == pytest.approx(max(2.0 * cell_m, 20.0) if cell_m != 7.0 else 14.0, abs=1e-3)
    assert leg.short_slope_max_deg is None
    assert leg.slope_low_deg < 28.0 < leg.slope_high_deg
    assert not leg.open_above


def test_a_stated_error_leaves_coarse_ground_open_above():
    settings = Settings(vertical_error_m=1.0, correlation_m=100.0)
    leg = screened(Plane(41.5, 90.0), towards(0.0, 400.0), settings, cell_m=62.0)
    assert leg.slope_max_deg == pytest.approx(41.5, abs=1e-4)
    assert (leg.slope_high_deg, leg.open_above) == (None, True)
    assert leg.slope_low_deg < 41.5
    assert "open_above" in [caution.key for caution in leg.cautions]


def test_a_stated_error_adds_to_what_the_cells_hide():
    # Horn, independent errors of 1 m, 10 m cells: SD of a gradient 0.4330 s / g (weights squared); half a
    # degree by the cells of a plane, of which a line takes 0.4 and 1.9 degrees up and 0.45 down.
    leg = screened(Plane(30.0, 90.0), towards(0.0, 200.0), Settings(vertical_error_m=1.0, correlation_m=0.0))
    m, spread = math.tan(math.radians(30.0)), 2 * 0.0433013
    down, up = (abs(math.degrees(math.atan(m + side * spread)) - 30.0) for side in (-1.0, 1.0))
    assert leg.slope_high_deg == pytest.approx(30.0 + math.hypot(up, 2.1), abs=1e-4)
    assert leg.slope_low_deg == pytest.approx(30.0 - math.hypot(down, 0.225), abs=1e-4)


@pytest.mark.parametrize(
    ("slopes", "known", "longest"),
    [
        ([20, 31, 32, 20, 35, 20], [1, 1, 1, 1, 1, 1], 20.0),
        ([31, math.nan, 32], [1, 0, 1], 30.0),  # unknown between steep ground may be steep
        ([20, math.nan, 32], [1, 0, 1], 10.0),
        ([31, math.nan, 20, 32], [1, 0, 1, 1], 10.0),
        ([31, 20.0, 32], [1, 0, 1], 30.0),  # partly unknown
        ([20, 29.89, 20], [1, 1, 1], 0.0),
        ([20, 29.91, 20], [1, 1, 1], 10.0),  # shown as 30.0
        ([math.nan, math.nan], [0, 0], 0.0),
    ],
)
def test_longest_steep_stretch(slopes, known, longest):
    count = len(slopes)
    start = np.arange(count) * 10.0
    slope, flat = np.array(slopes, dtype=float), np.zeros(count)
    known = np.array(known, dtype=bool)
    pieces = Pieces(start, start + 10.0, slope, flat, flat, slope, slope, slope, known, known)
    assert longest_steep_m(pieces) == longest


def test_steep_metres_do_not_depend_on_the_band_edges():
    leg = screened(Plane(32.0, 90.0), towards(0.0, 300.0), Settings(bands=BandScheme((20.0, 35.0))))
    assert leg.band_lengths_m == pytest.approx({"<20": 0.0, "20-35": 300.0, "35+": 0.0}, abs=0.01)
    assert leg.steep_m == pytest.approx(300.0, abs=0.01)


def test_steep_sectors_are_told_longest_first():
    """Round a hill: more metres face east than north-east."""
    hill = GaussianHill(300.0, 200.0)
    leg = screened(hill, [(180.0, -60.0), (180.0, 190.0)])
    assert leg.aspect_sectors == ("E", "NE")


def test_a_leg_of_a_turn_point_with_a_known_error_has_that_corridor():
    leg = screened(Plane(10.0, 0.0), towards(90.0, 1000.0), Settings(place_error_m=50.0, drift_deg=10.0))
    assert leg.corridor_half_width_m == (
        50.0,
        pytest.approx(50.0 + 1000.0 * math.tan(math.radians(10.0)), abs=0.01),
    )
