"""What looks down on legs and places: on the sample massif, by windows, off the model, in words."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from tests.terrain.overhead.made_ground import EXACT, dem, rough

from steybrae.errors import ModelError, OffModelError
from steybrae.files.model.rasters import open_model
from steybrae.files.results import as_json
from steybrae.files.routes import read_route
from steybrae.route.expected import SteepestOnLine, expected_readings, sight_interval_deg
from steybrae.route.ground import Look, leg_ground
from steybrae.route.leg_baselines import place_baselines
from steybrae.route.legs import Route, leg_track
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.legs import place_above, route_above
from steybrae.route.overhead.windows import (
    OverheadLook,
    Window,
    cells_on,
    joined,
    read_ground,
    shared,
    stretch_windows,
)
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.model_kinds import Survey, survey_error
from steybrae.terrain.uncertainty import slope_uncertainty

TYPICAL = slope_uncertainty("horn", np.diag([10.0, -10.0]))


class Watched:
    """A model that remembers what was read of it."""

    def __init__(self, model):
        self.model, self.grid, self.reads = model, model.grid, []

    def read(self, row, col, rows, cols):
        self.reads.append((row, col, row + rows, col + cols))
        return self.model.read(row, col, rows, cols)


def tracks_on(model, *cells):
    """Legs between positions of a grid, in cells."""
    lon, lat = model.grid.to_wgs84(*np.transpose(np.array(cells, dtype=float)))
    points = tuple(Place(float(a), float(b)) for a, b in zip(lat, lon, strict=True))
    route = Route("line", points, tuple(range(len(points))))
    return [leg_track(route, k) for k in range(len(points) - 1)]


def legs_look(cell_m):
    return Look(cell_m, baseline_cells(*cell_m), EXACT)


def look_at(model, known=EXACT, **settings):
    return OverheadLook(cell_size_m(model.grid), known, **settings)


def legs_above(model, tracks, **how):
    return route_above(KeptGround(model, look_at(model, **how)), tracks)


@pytest.fixture(scope="module")
def sample(sample_dem):
    route = read_route(sample_dem / "day.gpx")
    tracks = [leg_track(route, k) for k in range(len(route.turn_points) - 1)]
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        look = OverheadLook(
            cell_size_m(model.grid), slope_uncertainty("horn", jacobian_at(model.grid, 450, 350))
        )
        yield model, tracks, look, route_above(KeptGround(model, look), tracks)


def test_the_gentle_leg_below_the_headwall(sample):
    *_, legs = sample
    leg = legs[2].overhead
    assert not leg.in_start_zone
    assert leg.start_from_deg == 30.0
    assert leg.possible_from_deg == pytest.approx(24.38, abs=0.01)
    assert leg.possible_deg == pytest.approx(41.54, abs=0.01)
    assert leg.sight.deg == pytest.approx(41.54, abs=0.01)
    assert leg.sight.bearing_true_deg == pytest.approx(340.1, abs=0.1)
    assert leg.sight.distance_m == pytest.approx(433.7, abs=0.1)
    assert leg.sight.rise_m == pytest.approx(384.2, abs=0.1)
    assert leg.sight.place.elevation_m - leg.sight.stand.elevation_m == pytest.approx(
        leg.sight.rise_m, abs=1e-6
    )
    assert leg.path.deg == pytest.approx(41.54, abs=0.01)
    assert leg.sight.top.rise_m > leg.sight.rise_m
    assert not legs[2].unknown_above


def test_the_leg_on_the_rim_has_nothing_above_and_a_roll_below(sample):
    *_, legs = sample
    rim = legs[6]
    assert (rim.overhead.sight, rim.overhead.path, rim.unknown_above) == (None, None, False)
    roll = max(rim.convex_rolls, key=lambda one: one.below_deg)
    assert roll.reason == (
        "Convex roll 20 m from the line: downhill, towards 000° true, the slope steepens from 2.6° to 52.7°; "
        "what lies below is hidden from above."
    )
    assert {trap.kind for trap in rim.terrain_traps} == {"cliff below"}


def test_keys_of_the_contract(sample):
    *_, legs = sample
    whole = as_json("route", legs[2])
    assert {"overhead", "unknown_above", "convex_rolls", "terrain_traps"} <= whole.keys()
    assert {"in_start_zone", "sight", "path"} <= whole["overhead"].keys()
    sight = {"deg", "unfiltered_deg", "bearing_true_deg", "distance_m", "rise_m", "place"}
    assert sight <= whole["overhead"]["sight"].keys()
    assert {"deg", "bearing_true_deg", "path_m", "rise_m", "place"} <= whole["overhead"]["path"].keys()
    for leg in legs:
        json.dumps(as_json("route", leg), allow_nan=False)


def test_no_word_calls_ground_safe(sample):
    *_, legs = sample
    words = json.dumps([as_json("route", leg) for leg in legs]).lower()
    for verdict in ("safe", "no-go", "no danger", "go ahead"):
        assert verdict not in words


def test_windows_that_are_not_shared_give_the_same(sample):
    model, tracks, look, legs = sample
    parts = stretch_windows(model.grid, tracks[:6], look)
    assert len(shared(parts, look)) == 1
    for window, group in shared(parts, look, most_cells=1):
        assert len(group) == 1
        ground = read_ground(model, window, look)
        col, row, _, _ = cells_on(group[0], ground.corner, look.joins)
        from steybrae.terrain.overhead.angles import look_up

        up = look_up(ground, ground.centres(col.astype(int), row.astype(int)))
        leg = legs[group[0].leg].overhead
        assert (up.sight is None) == (leg.sight is None)
        if up.sight:
            assert up.sight.deg == pytest.approx(leg.sight.deg, abs=1e-3)
            assert up.path.deg == pytest.approx(leg.path.deg, abs=0.06)
        assert up.unknown_above.there.any() == legs[group[0].leg].unknown_above


def test_the_profile_runs_along_the_leg_and_holds_the_steepest(sample):
    *_, legs = sample
    for leg in legs:
        curve = leg.profile
        assert (np.diff(curve.chainage_m) > 0.0).all()
        if leg.overhead.sight:
            assert (
                np.nanmax(curve.sight_unfiltered_deg, initial=0.0) <= leg.overhead.sight.unfiltered_deg + 1e-9
            )


def test_a_place_is_looked_up_from_exactly(sample):
    model, _, look, legs = sample
    stand = legs[2].overhead.sight.stand
    here = place_above(model, Place(stand.lat_deg, stand.lon_deg), look)
    assert here.overhead.sight.deg == pytest.approx(legs[2].overhead.sight.deg, abs=1e-3)
    assert here.overhead.sight.chainage_m is None
    assert here.overhead.path.chainage_m is None
    assert here.overhead.in_start_zone_m == 0.0


def test_only_ground_within_the_reach_is_read():
    model = Watched(dem(rough(400, 1)))
    legs_above(model, tracks_on(model, (180, 200), (220, 210)), reach_m=500.0)
    top, left, bottom, right = np.array(model.reads).T
    # 50 cells of reach and a ring of 12, out to whole blocks of 8.
    assert top.min() >= (200 - 63) // 8 * 8
    assert left.min() >= (180 - 63) // 8 * 8
    assert bottom.max() <= -(-(210 + 63) // 8) * 8
    assert right.max() <= -(-(220 + 63) // 8) * 8


@pytest.mark.parametrize(
    ("window", "read"),
    [
        (Window(-500, -1000, 1000, 2000), (0, 0, 90, 95)),  # 9 s for a line of 60 m on cells of 0.2 m
        (Window(20, 10, 60, 70), (20, 10, 60, 70)),
        (Window(50, 80, 100, 200), (50, 80, 90, 95)),
        (Window(100, 0, 200, 50), None),
    ],
)
def test_beyond_the_model_nothing_is_read_and_all_is_unknown(window, read):
    model = Watched(dem(rough(93, 4, cell=2.0)[:88], 2.0))
    found = joined(model, window, (5, 10)).heights_m
    assert found.shape == ((window.bottom - window.top) // 10, (window.right - window.left) // 5)
    if read is None:
        assert (model.reads, np.isfinite(found).any()) == ([], False)
        return
    ends = np.array(model.reads)
    assert (*ends[:, :2].min(axis=0), *ends[:, 2:].max(axis=0)) == read
    # As if all of the window were read: the last squares reach beyond the model.
    rows, cols = window.extent[2:]
    whole = model.model.read(window.top, window.left, rows, cols).heights_m
    means = whole.reshape(rows // 10, 10, cols // 5, 5).mean(axis=(1, 3))
    np.testing.assert_array_equal(found, means)
    assert np.isfinite(found).any()


def test_fine_cells_are_joined_to_the_mean_and_unknown_ones_stay_unknown():
    z = rough(100, 2, cell=2.0)
    z[33, 47] = np.nan
    model = dem(z, 2.0)
    whole = joined(model, Window(-10, 5, 90, 95), (5, 5))
    assert whole.grid.shape == (20, 18)
    assert np.isnan(whole.heights_m[:2]).all()
    assert whole.heights_m[4, 3] == pytest.approx(z[10:15, 20:25].mean())
    assert np.isnan(whole.heights_m[8, 8])
    x, y = whole.grid.xy(0, 0)
    assert (float(x), float(y)) == tuple(map(float, model.grid.xy(5, -10)))


@pytest.mark.parametrize("joins", [(1, 1), (5, 5), (2, 3)])
@pytest.mark.parametrize(
    "held", [(0, 0, 160, 240), (-160, -240, 80, 120), (80, 120, 400, 480), (480, 480, 560, 600)]
)
def test_a_window_that_grows_is_the_same_as_one_read_anew(joins, held):
    model, unit = dem(rough(420, 5, cell=2.0), 2.0), (8 * joins[1], 8 * joins[0])
    window, inner = (
        Window(*(round(at / unit[k % 2]) * unit[k % 2] for k, at in enumerate(ends)))
        for ends in ((-80, -80, 320, 400), held)
    )
    anew = joined(model, window, joins)
    grown = joined(model, window, joins, (inner, joined(model, inner, joins).heights_m))
    assert grown.grid == anew.grid
    assert grown.heights_m.tobytes() == anew.heights_m.tobytes()


def test_fine_cells_give_what_cells_of_10_m_give():
    fine = np.zeros((500, 800))
    fine[:, 600:] = 50.0
    coarse = np.zeros((100, 160))
    coarse[:, 120:] = 50.0
    found = []
    for z, cell in ((fine, 2.0), (coarse, 10.0)):
        model = dem(z, cell)
        look = look_at(model, reach_m=300.0)
        tracks = tracks_on(model, (1150.0 / cell, 400.0 / cell), (1150.0 / cell, 600.0 / cell))
        found.append(route_above(KeptGround(model, look), tracks)[0].overhead)
    assert look_at(dem(fine, 2.0)).joins == (5, 5)
    # Half a cell of 10 m either way: the line runs along the edge of two columns.
    assert found[0].sight.deg == pytest.approx(found[1].sight.deg, abs=0.01)
    assert math.degrees(math.atan2(50.0, 60.0)) < found[0].sight.deg < math.degrees(math.atan2(50.0, 40.0))


def test_a_long_leg_is_looked_at_in_stretches():
    z = np.zeros((60, 1400))
    z[:, 900:904] = 40.0
    z[10:14, 200:204] = 30.0
    model = dem(z)
    look = look_at(model, reach_m=300.0)
    tracks = tracks_on(model, (20, 50), (1390, 50))
    assert len(stretch_windows(model.grid, tracks, look)) >= 3
    (leg,) = route_above(KeptGround(model, look), tracks)
    assert leg.overhead.sight.deg == pytest.approx(math.degrees(math.atan2(40.0, 10.0)), abs=0.1)
    assert leg.overhead.sight.chainage_m == pytest.approx((904 - 20) * 10.0, abs=110.0)
    assert np.isfinite(leg.profile.chainage_m).all()


def test_a_leg_off_the_model_is_unknown():
    model = dem(np.zeros((50, 50)))
    inside, outside = legs_above(model, tracks_on(model, (10, 10), (40, 40), (900, 900)))
    assert inside.unknown_above
    assert inside.overhead.sight is None
    (wholly,) = legs_above(model, tracks_on(model, (800, 800), (900, 900)))
    assert wholly.overhead is None
    assert wholly.unknown_above
    assert outside.unknown_above
    assert outside.overhead is not None


def test_a_place_without_a_position_in_the_crs():
    model = dem(np.zeros((50, 50)))
    with pytest.raises(OffModelError) as error:
        place_above(model, Place(0.0, 93.0), look_at(model))
    assert str(error.value) == (
        "The line should lie where the model's CRS has positions; part of it does not. Take a model of the "
        "ground it crosses."
    )


@pytest.mark.parametrize(("reach_m", "got"), [(0.0, "0"), (15_001.0, "15.001"), (math.nan, "nan")])
def test_no_distance_to_look_or_too_long_a_one(reach_m, got):
    with pytest.raises(ModelError) as error:
        OverheadLook((10.0, 10.0), EXACT, reach_m=reach_m)
    assert str(error.value) == (
        f"The reach for ground overhead should be above 0 and at most 15 km; got {got} km. Usual is 3."
    )
    assert OverheadLook((10.0, 10.0), EXACT, reach_m=15_000.0).reach_m == 15_000.0


def test_gullies_and_flattenings_in_words():
    col = np.arange(100) - 50.0
    z = (
        np.broadcast_to(np.minimum(np.abs(10.0 * col), 200.0) * math.tan(math.radians(32.0)), (100, 100))
        + 0.0
    )
    model = dem(z)
    (leg,) = legs_above(model, tracks_on(model, (50.5, 20), (50.5, 80)), reach_m=500.0)
    (gully,) = [trap for trap in leg.terrain_traps if trap.kind == "gully"]
    assert gully.reason == (
        "Gully: both sides rise by at least 12 m within 20 m; its bed runs along 000° true. Even a small "
        "slide piles up deep in it."
    )
    assert gully.to_m - gully.from_m > 500.0
    assert gully.plan_per_100m < 0.0 if gully.plan_per_100m is not None else True
    flat = np.maximum(np.abs(10.0 * col) - 50.0, 0.0) * math.tan(math.radians(36.0))
    model = dem(np.broadcast_to(np.minimum(flat, 120.0), (100, 100)) + 0.0)
    (leg,) = legs_above(model, tracks_on(model, (50.5, 20), (50.5, 80)), reach_m=500.0)
    (trap,) = [trap for trap in leg.terrain_traps if trap.kind == "flattening"]
    assert trap.reason.startswith("Abrupt flattening below a slope of 36.0° that begins 60 m away towards ")
    assert trap.reason.endswith(" true: snow that comes down stops and piles up here.")


def test_two_features_far_apart_are_two():
    z = np.zeros((60, 200))
    for left in (30, 120):
        z[:, left : left + 6] = -100.0
    model = dem(z)
    (leg,) = legs_above(model, tracks_on(model, (5, 30.5), (190, 30.5)), reach_m=200.0)
    cliffs = [trap for trap in leg.terrain_traps if trap.kind == "cliff below"]
    assert len(cliffs) >= 2
    assert cliffs[0].to_m < cliffs[1].from_m


SPOT = Spot(57.0, -9.0, 800.0)


def test_the_readings_that_would_tell_most(sample):
    *_, legs = sample
    steepest = SteepestOnLine(31.0, 22.0, 38.0, 160.0, SPOT, 120.0)
    found = expected_readings(legs[2], steepest, TYPICAL, 10.0)
    assert [(one.number, one.quantity) for one in found] == [(1, "slope"), (2, "sight")]
    line, sight = found
    assert line.look_bearing_true_deg == 340.0
    assert (line.expected_deg, line.low_deg, line.high_deg) == (31.0, 22.0, 38.0)
    assert sight.expected_deg == legs[2].overhead.sight.deg
    assert sight.low_deg < sight.expected_deg < sight.high_deg
    assert sight.what == "sight line to the steepest start zone overhead, 433 m away"
    looks = legs[2].overhead
    shut = replace(looks, sight=replace(looks.sight, hidden=True), sight_outside=None)
    (only,) = expected_readings(replace(legs[2], overhead=shut), steepest, TYPICAL, 10.0)
    assert only.quantity == "slope"
    assert (
        expected_readings(legs[7], replace(steepest, aspect_true_deg=None), TYPICAL, 10.0)[
            0
        ].look_bearing_true_deg
        is None
    )


def test_a_sight_angles_interval_by_hand():
    low, high = sight_interval_deg(math.degrees(math.atan(0.8)), 100.0, 10.0, Survey(0.0, 20.0, "kind", ""))
    run = math.hypot(10.0, 5.0)
    assert low == pytest.approx(math.degrees(math.atan(78.0 / (100.0 + run))))
    assert high == pytest.approx(math.degrees(math.atan(82.0 / (100.0 - run))))
    # Heights 5 m wrong each on their own differ by 14.1 m more or less; the cells' 2 m on top.
    stated = sight_interval_deg(45.0, 100.0, 10.0, Survey(5.0, None, "stated", ""), place_error_m=0.0)
    assert stated[0] == pytest.approx(math.degrees(math.atan((100.0 - math.sqrt(204.0)) / 105.0)))
    # Errors that hang together over 100 m cancel in part: 1 - exp(-1).
    near = sight_interval_deg(45.0, 100.0, 10.0, Survey(5.0, 100.0, "stated", ""), place_error_m=0.0)
    rise = math.sqrt(4.0 + 200.0 * (1.0 - math.exp(-1.0)))
    assert near[1] == pytest.approx(math.degrees(math.atan((100.0 + rise) / 95.0)))
    lidar, radar = (survey_error(10.0, kind) for kind in ("lidar", "radar-30m"))
    narrow, wide = (sight_interval_deg(30.0, 400.0, 10.0, survey) for survey in (lidar, radar))
    assert wide[0] < narrow[0] < 30.0 < narrow[1] < wide[1]
    assert sight_interval_deg(20.0, 5.0, 10.0, lidar) == (pytest.approx(0.0, abs=0.7), 90.0)


def test_baselines_along_a_leg_and_at_a_place(sample):
    model, tracks, look, _ = sample
    ten, twenty, thirty, fifty = leg_ground(model, tracks[2], legs_look(look.cell_m)).baselines
    assert ten.slope_max_deg is None
    assert ten.note.startswith("The model's cells of 10 m are too large for a baseline of 10 m;")
    assert twenty.slope_max_deg == pytest.approx(15.17, abs=0.01)
    assert twenty.measured_m == thirty.measured_m
    assert fifty.slope_max_deg < twenty.slope_max_deg
    assert 0.0 <= twenty.chainage_m <= tracks[2].length_m
    here = place_baselines(model, *(float(k[0]) for k in tracks[2].at(np.array([100.0]))), look.cell_m)
    assert here[1].slope_max_deg <= twenty.slope_max_deg + 1e-9
    assert here[1].chainage_m is None


def test_baselines_over_unknown_ground_say_so():
    z = np.zeros((60, 60))
    z[30, 30] = np.nan
    model = dem(z)
    (track,) = tracks_on(model, (10, 30), (50, 30))
    twenty = leg_ground(model, track, legs_look((10.0, 10.0))).baselines[1]
    assert twenty.unknown
    assert twenty.slope_max_deg == pytest.approx(0.0, abs=1e-9)
