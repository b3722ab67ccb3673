"""Geodesics, chainages and directions of travel of a leg.

The independent answer is geographiclib's own Python code, which shares nothing with PROJ.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pyproj
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from steybrae.route.legs import Route, leg_track, stretches
from steybrae.route.positions.places import Place

WGS84 = Geodesic.WGS84
LATITUDE = st.floats(-80.0, 80.0)
LONGITUDE = st.floats(-180.0, 180.0)


def track_of(*lat_lon, turns=None, number=0, **kwargs):
    points = tuple(Place(lat, lon) for lat, lon in lat_lon)
    return leg_track(Route("t", points, turns or (0, len(points) - 1)), number, **kwargs)


def apart_m(lat1, lon1, lat2, lon2):
    return WGS84.Inverse(lat1, lon1, lat2, lon2)["s12"]


def test_length_of_a_published_line():
    # Wellington to Salamanca on WGS 84: 19 959 679.267 m (GeographicLib, package page of the
    # Python library). The longest line here, nearly half round the earth.
    track = track_of((-41.32, 174.81), (40.96, -5.50), longest_m=50_000.0)
    assert track.length_m == pytest.approx(19_959_679.267, abs=0.001)


@settings(max_examples=60, deadline=None)
@given(LATITUDE, LONGITUDE, st.floats(0.0, 360.0), st.floats(1.0, 60_000.0))
def test_length_is_geographiclibs(lat, lon, azimuth_deg, length_m):
    end = WGS84.Direct(lat, lon, azimuth_deg, length_m)
    track = track_of((lat, lon), (end["lat2"], end["lon2"]), longest_m=5000.0)
    assert track.length_m == pytest.approx(length_m, abs=1e-5)
    assert track.chainage_m[0] == 0.0


@settings(max_examples=40, deadline=None)
@given(LATITUDE, LONGITUDE, st.floats(0.0, 360.0), st.floats(600.0, 20_000.0))
def test_every_vertex_lies_on_the_geodesic_at_its_chainage(lat, lon, azimuth_deg, length_m):
    end = WGS84.Direct(lat, lon, azimuth_deg, length_m)
    track = track_of((lat, lon), (end["lat2"], end["lon2"]))
    line = WGS84.InverseLine(lat, lon, end["lat2"], end["lon2"])
    for vertex_lon, vertex_lat, chainage_m in zip(
        track.lon_deg, track.lat_deg, track.chainage_m, strict=True
    ):
        true = line.Position(chainage_m)
        assert apart_m(vertex_lat, vertex_lon, true["lat2"], true["lon2"]) < 1e-4
    assert np.diff(track.chainage_m).max() <= 240.0 + 1e-6


@pytest.mark.parametrize(("lat", "most_m"), [(0.0, 0.0001), (45.0, 0.0012), (57.0, 0.0018), (78.0, 0.0055)])
def test_between_vertices_the_line_stays_within_millimetres(lat, most_m):
    # Due east bends most: sagitta L^2 tan(lat) / (8 R), 1.7 mm for 240 m at 57 degrees north.
    track = track_of((lat, -4.0), (lat, -3.9))
    line = WGS84.InverseLine(lat, -4.0, lat, -3.9)
    worst = 0.0
    for chainage_m in np.linspace(0.0, track.length_m, 401):
        lon_deg, lat_deg = track.at(chainage_m)
        true = line.Position(float(chainage_m))
        worst = max(worst, apart_m(float(lat_deg), float(lon_deg), true["lat2"], true["lon2"]))
    assert worst < most_m


def test_straight_between_vertices_in_a_projection_is_within_millimetres():
    # UTM at the edge of its zone, 3 degrees from its meridian, is bent more than a walker meets.
    track = track_of((57.0, -0.2), (57.2, -0.05))
    to_xy = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32630", always_xy=True)
    x, y = to_xy.transform(track.lon_deg, track.lat_deg)
    line = WGS84.InverseLine(57.0, -0.2, 57.2, -0.05)
    worst = 0.0
    for k in range(len(x) - 1):
        middle = line.Position(float(track.chainage_m[k] + track.chainage_m[k + 1]) / 2.0)
        mx, my = to_xy.transform(middle["lon2"], middle["lat2"])
        worst = max(worst, math.hypot(mx - (x[k] + x[k + 1]) / 2, my - (y[k] + y[k + 1]) / 2))
    assert worst < 0.002


def test_chainages_add_up_over_the_vertices_of_a_leg():
    points = [(57.0, -9.0), (57.01, -9.0), (57.01, -8.98), (57.013, -8.99)]
    track = track_of(*points)
    lengths = [apart_m(*a, *b) for a, b in pairwise(points)]
    assert track.length_m == pytest.approx(sum(lengths), abs=1e-6)
    assert (np.diff(track.chainage_m) > 0.0).all()
    for (lat, lon), chainage_m in zip(points, np.cumsum([0.0, *lengths]), strict=True):
        k = int(np.argmin(np.abs(track.chainage_m - chainage_m)))
        assert track.chainage_m[k] == pytest.approx(chainage_m, abs=1e-6)
        assert (track.lat_deg[k], track.lon_deg[k]) == (lat, lon)  # to the last digit


def test_a_leg_holds_the_vertices_between_its_turn_points_only():
    points = [(57.0, -9.0), (57.001, -9.0), (57.002, -9.0), (57.003, -9.0)]
    first = track_of(*points, turns=(0, 1, 3), number=0)
    second = track_of(*points, turns=(0, 1, 3), number=1)
    assert first.lat_deg.tolist() == [57.0, 57.001]
    assert second.lat_deg.tolist() == [57.001, 57.002, 57.003]
    assert second.chainage_m[0] == 0.0


def test_over_the_antimeridian_longitudes_run_on():
    track = track_of((60.0, 179.95), (60.01, -179.93))
    assert track.length_m == pytest.approx(apart_m(60.0, 179.95, 60.01, -179.93), abs=1e-6)
    assert (np.diff(track.lon_deg) > 0.0).all()
    assert track.lon_deg[-1] == pytest.approx(180.07, abs=1e-12)
    lon, _ = track.at(np.linspace(0.0, track.length_m, 50))
    assert (np.abs(lon) <= 180.0).all()
    assert (lon > 0).any()
    assert (lon < 0).any()
    assert lon[-1] == pytest.approx(-179.93, abs=1e-9)
    west = track_of((60.0, -179.95), (60.0, 179.95))
    assert (np.diff(west.lon_deg) < 0.0).all()
    assert west.travel_true_deg == pytest.approx(270.0, abs=0.1)


def test_a_leg_of_no_length_has_two_equal_vertices():
    track = track_of((57.0, -9.0), (57.0, -9.0))
    assert track.length_m == 0.0
    assert track.lat_deg.tolist() == [57.0, 57.0]
    assert track.lon_deg.tolist() == [-9.0, -9.0]
    assert track.chainage_m.tolist() == [0.0, 0.0]
    assert track.travel_true_deg.tolist() == [0.0]


def test_repeated_vertices_leave_no_piece_of_no_length():
    plain = track_of((57.0, -9.0), (57.01, -9.0), (57.01, -8.99))
    twice = track_of((57.0, -9.0), (57.0, -9.0), (57.01, -9.0), (57.01, -9.0), (57.01, -8.99))
    for name in ("lon_deg", "lat_deg", "chainage_m", "travel_true_deg"):
        assert getattr(twice, name) == pytest.approx(getattr(plain, name), abs=1e-9)


@pytest.mark.parametrize(
    ("lat", "lon", "travel_deg"),
    [(57.01, -9.0, 0.0), (57.0, -8.99, 90.0), (56.99, -9.0, 180.0), (57.0, -9.01, 270.0)],
)
def test_travel_is_clockwise_from_true_north(lat, lon, travel_deg):
    # A geodesic due east begins a little north of it: half of 0.01 degree times sin(57).
    travel = track_of((57.0, -9.0), (lat, lon)).travel_true_deg[0]
    assert (travel - travel_deg + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.005)


def test_at_a_bend_travel_is_that_of_the_piece_ahead():
    track = track_of((57.0, -9.0), (57.001, -9.0), (57.001, -8.99))
    bend_m = apart_m(57.0, -9.0, 57.001, -9.0)
    assert track.travel_at(bend_m - 0.01) == pytest.approx(0.0, abs=0.01)
    assert track.travel_at(bend_m + 1e-6) == pytest.approx(90.0, abs=0.01)
    assert track.travel_at(track.length_m) == track.travel_true_deg[-1]
    assert track.travel_at(0.0) == track.travel_true_deg[0]


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.floats(0.5, 700.0), min_size=1, max_size=12),
    st.floats(1.0, 900.0),
)
def test_stretches_cover_every_piece_once(steps_m, length_m):
    north = np.cumsum([0.0, *steps_m]) / 111_000.0
    assume(len(set(north)) == len(north))
    track = track_of(*[(57.0 + step, -9.0) for step in north])
    runs = list(stretches(track, length_m))
    assert runs[0][0] == 0
    assert runs[-1][1] == len(track.chainage_m) - 1
    assert all(before[1] == after[0] for before, after in pairwise(runs))
    for first, last in runs:
        assert last > first
        assert track.chainage_m[last] - track.chainage_m[first] <= length_m or last == first + 1
    # None could have been longer.
    for first, last in runs[:-1]:
        assert track.chainage_m[last + 1] - track.chainage_m[first] > length_m
