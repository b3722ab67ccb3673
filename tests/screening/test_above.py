"""What is overhead, joined into the screening of a line and the ground at a place."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.on_grid import model, route_on
from tests.synthetic import Plane

from steybrae.answers.ground import ground_lines, places_csv_table, places_document
from steybrae.bands import BandScheme
from steybrae.files.plans import read_plan, write_plan
from steybrae.files.results import as_json
from steybrae.route.positions.places import Place
from steybrae.screening import Settings, screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.ground.result import GroundPlaces
from steybrae.screening.totals import route_totals
from steybrae.terrain.dem import Dem
from steybrae.terrain.overhead.path import alpha_deg

SIZE, MIDDLE = 241, 120
OVERHEAD = (
    "baselines",
    "overhead",
    "unknown_above",
    "convex_rolls",
    "terrain_traps",
    "expected_readings",
    "steep_without_check",
)


def wall(top_m: float = 200.0, slope_deg: float = 45.0, foot_m: float = 300.0) -> Dem:
    """Level ground, and a wall that rises at a slope from a distance east of the middle; a plateau."""
    level = model(Plane(0.0, 0.0), (SIZE, SIZE))
    east = (np.arange(SIZE) + 0.5 - MIDDLE - 0.5) * 10.0
    rise = np.clip((east - foot_m) * math.tan(math.radians(slope_deg)), 0.0, top_m)
    return Dem(level.grid, np.broadcast_to(rise, (SIZE, SIZE)).copy())


SHORT = Settings(reach_m=600.0)


@pytest.fixture(scope="module")
def below():
    return screen_route(route_on(wall(), [(0.0, -100.0), (0.0, 100.0), (-100.0, 100.0)]), wall(), SHORT)


@pytest.fixture(scope="module")
def sample(sample_plan):
    return sample_plan.screening


def test_a_level_leg_below_a_wall_shows_the_wall(below):
    """The brow is 200 m up and 500 m off: atan(200 / 500) = 21.80 degrees, due east, +- half a cell."""
    leg = below.legs[0]
    assert leg.slope_max_deg == pytest.approx(0.0, abs=1e-6)
    sight = leg.overhead.sight
    assert math.degrees(math.atan2(195.0, 505.0)) < sight.deg < math.degrees(math.atan2(205.0, 490.0))
    assert sight.bearing_true_deg == pytest.approx(90.0, abs=1.0)
    assert sight.deg == sight.unfiltered_deg
    assert leg.overhead.sight_outside == sight
    assert not leg.overhead.in_start_zone
    assert below.totals.overhead_max_deg == sight.deg
    assert below.totals.overhead_max_leg == 1
    assert below.totals.in_start_zone_m == 0.0
    assert not below.totals.unknown_above


def test_a_path_alone_is_overhead_of_the_day(below):
    """The headline said that nothing was in sight, or unknown, and the leg told the path's angle."""
    leg = below.legs[0]
    for in_zone in (False, True):
        looks = replace(leg.overhead, in_start_zone=in_zone, sight=None, sight_outside=None)
        totals = route_totals((replace(leg, overhead=looks),), BandScheme(), ())
        told = totals.overhead_max_deg, totals.overhead_inside_max_deg
        assert told == ((None, looks.path.deg) if in_zone else (looks.path.deg, None))


def test_every_leg_carries_the_caution_of_overhead_angles(below):
    for cautions in (below.cautions, *(leg.cautions for leg in below.legs)):
        assert "overhead_not_runout" in [caution.key for caution in cautions]


def test_slopes_over_baselines_say_what_cells_cannot_show(below):
    ten, *others = below.legs[0].baselines
    assert (ten.measured_m, ten.slope_max_deg) == (None, None)
    assert [one.baseline_m for one in others] == [20.0, 30.0, 50.0]
    assert all(one.slope_max_deg == pytest.approx(0.0, abs=1e-6) for one in others)


def test_readings_are_numbered_through_the_route(sample):
    numbers = [reading.number for leg in sample.legs for reading in leg.expected_readings]
    assert numbers == list(range(1, len(numbers) + 1))
    names = [reading.name for leg in sample.legs for reading in leg.expected_readings]
    assert names == ["1a", "4a", "6a", "6b", "11a"]
    first = next(one for one in sample.legs[3].expected_readings if one.quantity == "slope")
    # Of its own cell; the leg's is the steepest of the nine around.
    assert sample.legs[3].slope_max_deg - 1.0 < first.expected_deg <= sample.legs[3].slope_max_deg
    assert first.chainage_m == sample.legs[3].slope_max_at.chainage_m
    assert first.low_deg < first.expected_deg < first.high_deg


def test_the_leg_below_the_headwall_of_the_sample(sample):
    leg = sample.legs[2]
    assert leg.slope_max_deg < 16.0
    assert leg.overhead.sight.deg == pytest.approx(41.54, abs=0.01)
    assert leg.overhead.sight.bearing_true_deg == pytest.approx(340.1, abs=0.1)
    # Nobody is sent under it to measure it: it is sighted from before the corrie.
    assert leg.expected_readings == ()
    sight = sample.legs[0].expected_readings[0]
    assert sight.quantity == "sight"
    assert sight.what.startswith("sight up to the steepest ground over B, ")
    assert sight.overhead_deg < 25.0


def test_a_leg_partly_in_a_zone_tells_the_sight_from_outside_too(sample):
    looks = sample.legs[17].overhead
    assert looks.in_start_zone
    assert looks.in_possible_zone_m > looks.in_start_zone_m
    assert looks.sight.distance_m < 15.0
    assert looks.sight_outside.distance_m > 150.0
    assert looks.sight_outside.deg < looks.sight.deg


def test_unknown_ground_above_makes_every_leg_below_it_at_least():
    dem = wall()
    heights = dem.heights_m.copy()
    heights[:, MIDDLE + 30 :] = np.nan
    found = screen_route(route_on(dem, [(100.0, -100.0), (100.0, 100.0)]), Dem(dem.grid, heights), SHORT)
    (leg,) = found.legs
    assert leg.unknown_above
    assert leg.overhead.sight is None
    assert found.totals.unknown_above
    assert found.totals.overhead_max_deg is None


def test_a_leg_wholly_unknown_has_no_answer_and_may_have_anything_above():
    dem = wall()
    heights = dem.heights_m.copy()
    heights[:, : MIDDLE + 10] = np.nan
    line = route_on(dem, [(-300.0, 0.0), (-100.0, 0.0), (200.0, 0.0)])
    leg = screen_route(line, Dem(dem.grid, heights), SHORT).legs[0]
    assert leg.overhead is None
    assert leg.unknown_above
    assert leg.expected_readings == ()


def test_json_holds_the_keys_and_no_pictures(sample):
    leg = as_json("route", sample)["legs"][2]
    assert set(OVERHEAD) <= set(leg)
    assert "overhead_profile" not in leg
    assert set(leg["overhead"]["path"]) == {
        "deg", "bearing_true_deg", "path_m", "rise_m", "place", "stand", "chainage_m",
    }  # fmt: skip
    first = as_json("route", sample)["legs"][0]
    assert set(first["expected_readings"][0]) == {
        "name", "number", "place", "chainage_m", "look_bearing_true_deg",
        "expected_deg", "low_deg", "high_deg", "what", "quantity",
        "overhead_deg", "overhead_at_least", "leads",
    }  # fmt: skip


def test_a_plan_keeps_all_of_it(sample, tmp_path: Path):
    write_plan(tmp_path / "plan.zip", sample)
    found = read_plan(tmp_path / "plan.zip")
    for leg, kept in zip(sample.legs, found.legs, strict=True):
        assert [getattr(kept, name) for name in OVERHEAD] == [getattr(leg, name) for name in OVERHEAD]
        np.testing.assert_array_equal(
            kept.overhead_profile.sight_unfiltered_deg, leg.overhead_profile.sight_unfiltered_deg
        )
    assert found.relief.places == sample.relief.places
    np.testing.assert_array_equal(found.relief.zones.source, sample.relief.zones.source)


def place_at(dem: Dem, col: float, row: float) -> Place:
    lon, lat = dem.grid.to_wgs84(col, row)
    return Place(float(lat), float(lon))


def test_a_place_below_the_wall():
    dem, place = wall(), place_at(wall(), MIDDLE + 0.5, MIDDLE + 0.5)
    plain = ground_at(place, dem)
    assert (plain.overhead, plain.unknown_above) == (None, True)
    found = with_above(plain, place, dem, SHORT)
    assert found.overhead.sight.bearing_true_deg == pytest.approx(90.0, abs=1.0)
    assert found.overhead.sight.chainage_m is None
    assert [(reading.number, reading.name) for reading in found.expected_readings] == [(1, "a"), (2, "b")]
    assert {reading.chainage_m for reading in found.expected_readings} == {None}
    assert found.expected_readings[0].what == "the ground at the place, up the fall line"
    assert [caution.key for caution in found.cautions].count("overhead_not_runout") == 1
    assert found.run_out is None


def test_published_run_out_is_told_only_when_asked():
    """From the brow, 200 m up, the ground flattens at the wall's foot: beta is the wall's slope."""
    dem, place = wall(), place_at(wall(), MIDDLE + 0.5, MIDDLE + 0.5)
    found = with_above(ground_at(place, dem), place, dem, SHORT, published=True)
    assert found.run_out.beta_deg == pytest.approx(45.0, abs=1.5)
    assert found.run_out.beta_distance_m == pytest.approx(200.0, abs=15.0)
    assert found.run_out.alpha_deg == alpha_deg(found.run_out.beta_deg)
    assert found.run_out.alpha_deg - found.run_out.alpha_low_deg == pytest.approx(2 * 2.3)
    assert found.run_out.top_deg == found.overhead.sight.top.deg
    assert "runout_published" in [caution.key for caution in found.cautions]


@pytest.mark.parametrize(("off", "where"), [(51, "here"), (53, "20 m from here")])
def test_a_roll_round_a_place_is_told_without_a_line(off: int, where: str):
    """On the plateau at the brow of the wall; it was "on the line", where there is none."""
    dem = wall()
    place = place_at(dem, MIDDLE + off + 0.5, MIDDLE + 0.5)
    rolls = with_above(ground_at(place, dem), place, dem, SHORT).convex_rolls
    assert rolls
    assert all(roll.reason.startswith("Convex roll ") and " line" not in roll.reason for roll in rolls)
    assert any(roll.reason.startswith(f"Convex roll {where}: downhill, towards 270° true") for roll in rolls)


def test_a_place_in_a_start_zone():
    dem, place = wall(), place_at(wall(), MIDDLE + 40.5, MIDDLE + 0.5)
    found = with_above(ground_at(place, dem), place, dem, SHORT)
    assert found.overhead.in_start_zone
    assert found.overhead.sight_outside is None


def test_beside_unknown_ground_a_steep_place_may_be_in_a_start_zone():
    """Joined cells of 10 m are unknown there, from which zones are made: 41 degrees were "in no zone"."""
    fine = model(Plane(41.0, 90.0), (SIZE, SIZE), cell_m=5.0)
    heights = fine.heights_m.copy()
    heights[:, MIDDLE + 5 :] = np.nan
    dem = Dem(fine.grid, heights)
    near, at_gap, far = (place_at(dem, MIDDLE + off, MIDDLE + 0.5) for off in (2.5, 7.5, -40.5))
    beside, inside, away = (with_above(ground_at(one, dem), one, dem, SHORT) for one in (near, at_gap, far))
    assert beside.slope_deg == pytest.approx(41.0)
    assert beside.overhead.known_to_m == 0.0
    assert (beside.overhead.in_start_zone, beside.overhead.in_possible_zone) == (False, True)
    assert inside.slope_deg is None
    assert inside.overhead is None or inside.overhead.in_possible_zone
    assert away.overhead.in_start_zone
    # The place's own cell speaks where it is known and gentle.
    gentle = Dem(fine.grid, np.where(np.isnan(heights), np.nan, heights / 20.0))
    found = with_above(ground_at(near, gentle), near, gentle, SHORT)
    assert found.overhead.known_to_m == 0.0
    assert not found.overhead.in_possible_zone


@pytest.mark.parametrize(
    ("foot_m", "off_m", "words"), [(35.0, 25.0, "25 m off towards 090° true"), (5.0, 0.0, "")]
)
def test_a_drop_near_a_place_is_told_as_on_a_line(foot_m: float, off_m: float, words: str):
    """A wall of 60 m at 80 degrees: its whole height, where it begins, on one line and in the table."""
    dem = wall(60.0, 80.0, foot_m)
    place = place_at(dem, MIDDLE + 0.5, MIDDLE + 0.5)
    leg = screen_route(route_on(dem, [(0.0, -50.0), (0.0, 50.0)]), dem, SHORT).legs[0]
    assert ground_at(place, dem).drop is None
    found = with_above(ground_at(place, dem), place, dem, SHORT)
    assert (found.drop.off_m, found.drop.fall_m) == pytest.approx((leg.drop.off_m, leg.drop.fall_m))
    assert (found.drop.off_m, found.drop.fall_m) == pytest.approx((off_m, 60.0))
    assert f"Drop of 60 m, {words or 'at the place itself'}" in list(ground_lines(found))
    near = replace(found, drop=replace(found.drop, off_m=0.4, bearing_true_deg=279.0))
    assert "Drop of 60 m, at the place itself towards 279° true" in list(ground_lines(near))
    for table in (
        places_csv_table(GroundPlaces((found,))),
        places_document(GroundPlaces((found,))).blocks[1],
    ):
        told = {column.key: column.lines(found) for column in table.columns}
        assert (told["drop_fall_m"], told["drop_off_m"]) == (("60",), (f"{off_m:.0f}",))


def test_a_drop_beyond_30_m_and_the_position_error_is_not_near():
    dem = wall(60.0, 80.0, 65.0)
    place = place_at(dem, MIDDLE + 0.5, MIDDLE + 0.5)
    found = with_above(ground_at(place, dem), place, dem, SHORT)
    assert found.drop is None
    assert not any(line.startswith("Drop") for line in ground_lines(found))
    farther = with_above(ground_at(place, dem, 70.0), place, dem, SHORT)
    assert farther.drop.bearing_true_deg == pytest.approx(90.0, abs=1.0)
