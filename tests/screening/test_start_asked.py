"""What counts as a start zone and how far is looked: as asked for, kept, and said where it is milder."""

from __future__ import annotations

import json
import math
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.on_grid import model, route_on
from tests.synthetic import Plane

from steybrae.errors import PlanError
from steybrae.files.plans import read_plan, write_plan
from steybrae.route.overhead.windows import OverheadLook, Window, read_ground
from steybrae.route.positions.places import Place
from steybrae.screening import Settings, screen_route
from steybrae.screening.basis import left_out_words, lowered_to_deg
from steybrae.screening.forecast.ground import with_forecast_ground
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.pictures.relief import with_relief
from steybrae.terrain.dem import Dem
from steybrae.terrain.start_zones import StartRules, find_start_zones
from steybrae.terrain.uncertainty import slope_uncertainty

SIZE, MIDDLE = 161, 80
EXACT = Settings(vertical_error_m=1e-9, reach_m=600.0)
"""Heights without error worth the name; beside `exact` the lower end stays where it is put."""


@pytest.fixture
def exact(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor do the cells add any."""
    monkeypatch.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))


def ground(rise: np.ndarray, cell_m: float = 10.0) -> Dem:
    level = model(Plane(0.0, 0.0), (SIZE, SIZE), cell_m)
    return Dem(level.grid, np.broadcast_to(rise, (SIZE, SIZE)).astype(np.float64).copy())


def offset_m() -> np.ndarray:
    """Centres of cells east (and south) of the middle one."""
    return (np.arange(SIZE) - MIDDLE) * 10.0


def wall(slope_deg: float, foot_m: float = 100.0, top_m: float = 200.0) -> Dem:
    """Level ground, a wall of one slope from a distance east of the middle, a plateau."""
    rise = (offset_m() - foot_m) * math.tan(math.radians(slope_deg))
    return ground(np.clip(rise, 0.0, top_m))


def mound() -> Dem:
    """A cone of 40 degrees, 60 m high, 150 m east of the middle: one zone, far from all edges."""
    apart = np.hypot(offset_m()[None, :] - 150.0, offset_m()[:, None])
    return ground(np.maximum(60.0 - apart * math.tan(math.radians(40.0)), 0.0))


def cliff(east_m: float) -> Dem:
    """A step of 200 m: the first high cells have their centres that far east of the middle."""
    return ground(np.where(offset_m() >= east_m - 1e-6, 200.0, 0.0))


def leg_at(dem: Dem, settings: Settings, east_m: float = 0.0):
    found = screen_route(route_on(dem, [(east_m, -50.0), (east_m, 50.0)]), dem, settings)
    return found.legs[0], found


def asked(settings: Settings = EXACT, *, reach_m: float | None = None, **rules: float) -> Settings:
    changed = replace(settings, start_zones=StartRules(**rules))
    return changed if reach_m is None else replace(changed, reach_m=reach_m)


def at_middle(dem: Dem, settings: Settings):
    lon, lat = dem.grid.to_wgs84(MIDDLE + 0.5, MIDDLE + 0.5)
    place = Place(float(lat), float(lon))
    return with_above(ground_at(place, dem, 0.0, settings), place, dem, settings)


def keys(cautions) -> list[str]:
    return [caution.key for caution in cautions]


class TestRange:
    @pytest.mark.usefixtures("exact")
    @pytest.mark.parametrize(("low_deg", "seen"), [(30.0, True), (32.99, True), (33.01, False)])
    def test_a_wall_of_33_degrees_counts_or_not_by_the_lower_end(self, low_deg, seen):
        settings = asked(low_deg=low_deg)
        leg, _ = leg_at(wall(33.0), settings)
        assert (leg.overhead.sight is not None) == seen
        assert (at_middle(wall(33.0), settings).overhead.sight is not None) == seen

    @pytest.mark.usefixtures("exact")
    def test_a_leg_on_the_wall_lies_in_a_zone_or_not_by_the_range(self):
        for rules, inside in (
            ({"high_deg": 33.01}, True),
            ({"high_deg": 32.99}, False),
            ({"low_deg": 33.01}, False),
        ):
            leg, _ = leg_at(wall(33.0), asked(**rules), east_m=250.0)
            assert leg.overhead.in_start_zone == inside
            assert leg.overhead.in_start_zone_m == pytest.approx(100.0 if inside else 0.0)

    @pytest.mark.usefixtures("exact")
    def test_ground_steeper_than_the_range_looks_down_all_the_same(self):
        leg, _ = leg_at(wall(33.0), asked(low_deg=20.0, high_deg=32.99))
        assert leg.overhead.sight.deg == pytest.approx(leg_at(wall(33.0), EXACT)[0].overhead.sight.deg)

    def test_possible_zones_reach_the_lower_end_that_was_asked_for(self):
        leg, _ = leg_at(wall(36.0), Settings(reach_m=600.0, start_zones=StartRules(low_deg=40.0)))
        assert leg.overhead.start_from_deg == 40.0
        assert 34.0 < leg.overhead.possible_from_deg < 36.0
        assert leg.overhead.sight is None
        assert leg.overhead.possible_deg > 18.0

    @pytest.mark.usefixtures("exact")
    def test_the_start_zones_of_the_map_follow_it(self):
        for low_deg, any_zone in ((32.99, True), (33.01, False)):
            dem, settings = wall(33.0), asked(low_deg=low_deg)
            found = with_relief(leg_at(dem, settings)[1], dem)
            assert found.relief.zones.source.any() == any_zone


class TestArea:
    def area_m2(self) -> float:
        dem = mound()
        known = slope_uncertainty("horn", np.eye(2) * 10.0, EXACT.vertical_error_m)
        look = OverheadLook((10.0, 10.0), known, reach_m=600.0)
        (area,) = read_ground(dem, Window(1, 1, SIZE - 1, SIZE - 1), look).zones.area_m2
        # A cone of base 60 / tan 40 = 71.5 m, its foot and its tip flattened by the baseline.
        assert 9_000.0 < area < math.pi * 71.5**2
        return float(area)

    def test_a_zone_of_just_the_least_area_counts_and_one_just_below_does_not(self):
        area = self.area_m2()
        for least_m2, seen in ((0.0, True), (area - 1.0, True), (area, True), (area + 1.0, False)):
            leg, _ = leg_at(mound(), asked(least_area_m2=least_m2))
            assert (leg.overhead.sight is not None) == seen, least_m2


class TestReach:
    @pytest.mark.parametrize(("reach_m", "seen"), [(299.9, False), (300.1, True)])
    def test_a_cliff_just_within_and_just_beyond(self, reach_m, seen):
        dem, settings = cliff(300.0), asked(reach_m=reach_m)
        leg, _ = leg_at(dem, settings)
        place = at_middle(dem, settings)
        assert leg.overhead.reach_m == place.overhead.reach_m == reach_m
        for sight in (leg.overhead.sight, place.overhead.sight):
            assert (sight is not None) == seen
            if seen:
                assert sight.deg == pytest.approx(math.degrees(math.atan2(200.0, 300.0)), abs=1e-4)
                assert sight.distance_m == pytest.approx(300.0, abs=1e-3)

    @pytest.mark.parametrize(("reach_m", "some"), [(299.9, False), (300.1, True)])
    def test_a_forecast_is_matched_against_the_same_ground(self, reach_m, some):
        dem, settings = cliff(300.0), asked(reach_m=reach_m)
        route = route_on(dem, [(0.0, -50.0), (0.0, 50.0)])
        found = with_forecast_ground(screen_route(route, dem, settings), route, dem, settings)
        assert (len(found.forecast_grounds[0].overhead.at) > 0) == some


class TestCautions:
    def test_nothing_is_said_of_what_is_usual_or_more_careful(self):
        assert left_out_words(StartRules(), 3000.0) == ""
        assert left_out_words(StartRules(low_deg=25.0, least_area_m2=0.0, baseline_m=10.0), 5000.0) == ""

    @pytest.mark.parametrize(
        ("rules", "reach_m", "less"),
        [
            ({"low_deg": 35.0}, 3000.0, "start zones from 35 degrees, not 30"),
            (
                {"high_deg": 45.0},
                3000.0,
                "none steeper than 45 degrees, not 55 (steeper ground looks down all the same)",
            ),
            ({"high_deg": 60.0}, 3000.0, "ground of 55 to 60 degrees only in pieces of the least area"),
            ({"least_area_m2": 1e6}, 3000.0, "pieces from 1000000 square metres on, not 400"),
            ({"baseline_m": 40.0}, 3000.0, "slopes over 40 m, not 20"),
            ({}, 2999.0, "within 2.999 km, not 3"),
            (
                {"low_deg": 35.0, "least_area_m2": 500.0},
                1000.0,
                "start zones from 35 degrees, not 30; pieces from 500 square metres on, not 400; "
                "within 1 km, not 3",
            ),
        ],
    )
    def test_what_was_left_out_on_request(self, rules, reach_m, less):
        assert left_out_words(StartRules(**rules), reach_m) == (
            f"On request less was looked for overhead than usual: {less}. Ground that was left out may slide "
            "all the same."
        )

    def test_they_stand_with_the_route_each_leg_and_the_place(self):
        settings = asked(low_deg=35.0, reach_m=3000.0)
        leg, found = leg_at(wall(33.0), settings)
        place = at_middle(wall(33.0), settings)
        for cautions in (found.cautions, leg.cautions, place.cautions):
            assert keys(cautions).count("overhead_left_out") == 1
        usual = replace(EXACT, reach_m=3000.0)
        leg, found = leg_at(wall(33.0), usual)
        for cautions in (found.cautions, leg.cautions, at_middle(wall(33.0), usual).cautions):
            assert "overhead_left_out" not in keys(cautions)

    @pytest.mark.parametrize(
        ("cell_m", "error_m", "key"),
        [
            (30.0, None, "start_zones_blind"),
            (10.0, None, "start_zones_wide"),
            (10.0, 0.1, None),
            (2.0, 0.1, None),
            (2.0, None, "start_zones_wide"),
        ],
    )
    def test_a_model_too_coarse_to_tell_start_zones_says_so(self, cell_m, error_m, key):
        dem = ground(np.zeros(SIZE), cell_m)
        settings = Settings(reach_m=300.0, vertical_error_m=error_m)
        leg, found = leg_at(dem, settings)
        from_deg = leg.overhead.possible_from_deg
        assert key == (
            "start_zones_blind" if from_deg < 20.0 else "start_zones_wide" if from_deg < 25.0 else None
        )
        for cautions in (found.cautions, leg.cautions, at_middle(dem, settings).cautions):
            assert [one for one in keys(cautions) if one.startswith("start_zones")] == ([key] if key else [])

    def test_a_lower_end_that_was_asked_for_is_no_fault_of_the_model(self, monkeypatch):
        with monkeypatch.context() as patched:
            patched.setattr("steybrae.terrain.uncertainty.cell_share_deg", lambda *_: (0.0, 0.0))
            exact, _ = leg_at(wall(33.0), asked(low_deg=15.0))
        assert exact.overhead.possible_from_deg == pytest.approx(15.0, abs=1e-6)
        assert lowered_to_deg(StartRules(low_deg=15.0), [exact.overhead]) is None
        typical, _ = leg_at(wall(33.0), Settings(reach_m=600.0))
        from_deg = typical.overhead.possible_from_deg
        assert lowered_to_deg(StartRules(), [None, typical.overhead]) == from_deg
        assert lowered_to_deg(StartRules(low_deg=from_deg + 5.0), [typical.overhead]) is None
        assert lowered_to_deg(StartRules(), [None]) is None


class TestKept:
    def saved(self, folder: Path):
        found = leg_at(wall(33.0), asked(low_deg=35.0, high_deg=50.0, least_area_m2=0.0, reach_m=500.0))[1]
        write_plan(folder / "plan.zip", found)
        return found

    def test_a_plan_keeps_what_was_asked_for(self, tmp_path):
        found, again = self.saved(tmp_path), read_plan(tmp_path / "plan.zip")
        assert again.settings == found.settings
        assert again.settings.start_zones == StartRules(35.0, 50.0, 0.0)
        assert again.settings.reach_m == 500.0
        assert again.cautions == found.cautions

    def test_a_plan_whose_rules_no_ground_could_meet_is_refused(self, tmp_path):
        self.saved(tmp_path)
        with zipfile.ZipFile(tmp_path / "plan.zip") as archive:
            entries = {name: archive.read(name) for name in archive.namelist()}
        tree = json.loads(entries["plan.json"])
        tree["result"]["settings"]["start_zones"]["low_deg"] = 60.0
        entries["plan.json"] = json.dumps(tree).encode()
        with zipfile.ZipFile(tmp_path / "plan.zip", "w") as archive:
            for name, data in entries.items():
                archive.writestr(name, data)
        with pytest.raises(PlanError) as error:
            read_plan(tmp_path / "plan.zip")
        assert str(error.value) == (
            "The plan plan.zip should be a file made with --save; it is not (Start zones should lie between "
            "two slopes that rise from 0 to below 90 degrees; got 60 to 50. Give the lower first.). Save it "
            "again."
        )


RULES = st.builds(
    StartRules,
    low_deg=st.sampled_from([20.0, 29.9, 30.0, 30.1, 40.0]),
    high_deg=st.sampled_from([45.0, 54.9, 55.0, 55.1, 60.0]),
    least_area_m2=st.sampled_from([0.0, 200.0, 399.0, 400.0, 401.0, 900.0]),
)


@given(rules=RULES, seed=st.integers(0, 2**32 - 1))
def test_nothing_that_usually_counts_is_left_out_without_a_word(rules: StartRules, seed: int) -> None:
    random = np.random.default_rng(seed)
    slopes = random.uniform(20.0, 65.0, (9, 9))
    slopes[random.random((9, 9)) < 0.5] = 0.0
    slopes[random.random((9, 9)) < 0.02] = np.nan
    known = slope_uncertainty("horn", np.eye(2) * 10.0, random.choice([1e-9, 0.5]))
    usual, found = (find_start_zones(slopes, slopes, 100.0, known, these) for these in (StartRules(), rules))
    less = (usual.in_range & ~found.in_range).any() or (usual.source & ~found.source).any()
    assert left_out_words(rules, 3000.0) or not less
