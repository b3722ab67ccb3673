"""Places that matter: found by hand first, then by the code; what may change them and what may not."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from tests.on_grid import model, route_on
from tests.screening.by_hand import DAYS, ByHand
from tests.synthetic import Plane

from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.route.ground import Look
from steybrae.route.legs import Route
from steybrae.screening import Settings, screen_route
from steybrae.screening.places.find import ORDER_RULE, same_ground
from steybrae.screening.places.line import joined, outside, shared
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import drop_words, leading_spot, place_line
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Dem

NEAR = Settings(drift_deg=0.0, reach_m=500.0)
"""The corridor as wide everywhere, so that turn points do not change it, and a short look up."""


def chainage(screening: RouteScreening, leg: int, at_m: float) -> float:
    return sum(one.length_m for one in screening.legs[: leg - 1]) + at_m


def overlap(place: PlaceThatMatters, start: float, end: float) -> float:
    return max(0.0, min(place.to.chainage_m, end) - max(place.from_.chainage_m, start))


def figure(place: PlaceThatMatters, kind: str) -> float:
    if kind == "underfoot":
        return place.slope_max_deg or 0.0
    if kind == "corridor":
        return 0.0 if place.corridor is None else place.corridor.slope_max_deg
    return 0.0 if place.overhead is None else place.overhead.deg


@pytest.fixture(scope="module")
def days(sample_dem, shared_data, tmp_path_factory):
    out = {}
    for name, (line, by_hand) in DAYS.items():
        if line:
            path = tmp_path_factory.mktemp("days") / "day.csv"
            path.write_text(line, encoding="utf-8")
            dem = shared_data / "terrain" / "big_tujunga_30m.tif"
        else:
            path, dem = sample_dem / "day.gpx", sample_dem / "stey_massif.tif"
        with open_model([dem]) as opened:
            out[name] = screen_route(read_route(path), opened), by_hand
    return out


class TestByHand:
    """The hand's slopes are differences over two cells, its corridor 45 m wide, its sights every 50 m."""

    @pytest.mark.parametrize(
        ("name", "number"), [(n, k) for n, (_, r) in DAYS.items() for k in range(len(r))]
    )
    def test_every_stretch_found_by_hand_is_in_a_place(self, days, name, number):
        screening, by_hand = days[name]
        one: ByHand = by_hand[number]
        start, end = (chainage(screening, *spot) for spot in (one.first, one.last))
        # What the hand saw in the corridor may be touched by the line's own cells.
        kinds = {one.kind, "underfoot"} if one.kind == "corridor" else {one.kind}
        here = [p for p in screening.places if overlap(p, start, end) > 0.0 and kinds & set(p.kinds)]
        covered = sum(overlap(place, start, end) for place in here)
        share = 0.25 if one.kind == "corridor" else 0.6
        assert covered >= min(share * (end - start), end - start - 100.0)
        assert covered > 0.0
        if one.deg is None:
            return
        off = 2.5 if name == "sample" else 6.0
        lowest = 30.0 if one.kind == "corridor" else one.deg - off
        assert max(figure(place, one.kind) for place in here) >= lowest
        # A place that goes far beyond what the hand saw has its worst elsewhere.
        mostly = [place for place in here if overlap(place, start, end) >= place.length_m / 2.0]
        assert all(figure(place, one.kind) <= one.deg + off for place in mostly)

    @pytest.mark.parametrize("name", DAYS)
    def test_what_is_steeper_than_35_and_told_at_length_was_found_by_hand(self, days, name):
        screening, by_hand = days[name]
        seen = [[chainage(screening, *spot) for spot in (one.first, one.last)] for one in by_hand]
        for place in screening.places:
            if place.at_length and max(figure(place, kind) for kind in ("underfoot", "overhead")) > 35.0:
                assert any(overlap(place, a - 50.0, b + 50.0) for a, b in seen), place.words

    @pytest.mark.parametrize("name", DAYS)
    def test_the_letters_of_the_twelve_lines_are_told_at_length(self, days, name):
        """What an instructor would write by hand stands at length in the answer, whatever its letter."""
        screening, by_hand = days[name]
        for one in by_hand:
            start, end = (chainage(screening, *spot) for spot in (one.first, one.last))
            told = [place for place in screening.places if place.at_length]
            if one.leads and one.kind != "unknown":
                assert max(overlap(place, start - 50.0, end + 50.0) for place in told) > 0.0, one.why

    def test_the_headwall_is_told_with_where_it_stands(self, days):
        screening, _ = days["sample"]
        (floor,) = (p for p in screening.places if overlap(p, *(chainage(screening, 3, m) for m in (0, 300))))
        assert floor.kinds[0] == "overhead"
        assert floor.at_length
        assert floor.overhead is not None
        assert floor.overhead.deg == pytest.approx(41.6, abs=0.1)
        assert floor.overhead.bearing_true_deg == pytest.approx(340.0, abs=6.0)
        assert floor.overhead.distance_m == pytest.approx(433.0, abs=15.0)
        assert floor.overhead.rise_m == pytest.approx(385.0, abs=10.0)
        assert not floor.overhead.hidden
        assert floor.worst is not None
        assert floor.worst[1].chainage_m - floor.worst[0].chainage_m == pytest.approx(100.0)

    def test_the_rim_has_its_drop_on_the_left(self, days):
        screening, _ = days["sample"]
        rim = [p for p in screening.places if p.from_.leg == 7]
        assert all(place.kinds[0] == "corridor" and place.at_length for place in rim)
        assert all(place.corridor is not None and place.corridor.side == "left" for place in rim)
        assert all(place.corridor.drop is not None and place.corridor.drop.side == "left" for place in rim)

    def test_letters_run_along_the_line_and_every_leg_is_accounted_for(self, days):
        for screening, _ in days.values():
            names = [place.name for place in screening.places]
            assert names == [chr(ord("A") + k) for k in range(len(names))]
            starts = [place.from_.chainage_m for place in screening.places]
            assert starts == sorted(starts)
            turns = [chainage(screening, leg.number, 0.0) for leg in screening.legs]
            ends_m = zip(turns, [*turns[1:], screening.totals.length_m], strict=True)
            on = {
                number
                for number, leg in enumerate(ends_m, 1)
                if any(overlap(place, *leg) for place in screening.places)
            }
            possible = {one.leg for one in screening.legs_possible_only}
            without = set(screening.legs_without)
            assert on | possible | without == {leg.number for leg in screening.legs}
            assert not on & (possible | without)
            assert not possible & without

    def test_the_rule_is_an_order_not_a_judgement(self, days):
        # They are told along the line: "Order of steepness" stood over A before B.
        assert ORDER_RULE.startswith("Letters run along the line. ")
        assert "No judgement" in ORDER_RULE
        for screening, _ in days.values():
            told = [place for place in screening.places if place.at_length]
            for kind in ("underfoot", "corridor", "overhead"):
                of_kind = [place for place in screening.places if kind in place.kinds]
                assert not of_kind or max(of_kind, key=lambda p: figure(p, kind)) in told


# Made ground ---------------------------------------------------------------------------------------------


def made(heights, cell_m: float, size: int) -> Dem:
    """Ground whose height is a function of metres east and north of the middle."""
    level = model(Plane(0.0, 0.0), (size, size), cell_m)
    east = (np.arange(size) + 0.5 - size / 2) * cell_m
    return Dem(level.grid, np.broadcast_to(heights(east[None, :], -east[:, None]), (size, size)).copy())


def along_north(dem: Dem, length_m: float, **given) -> RouteScreening:
    line = route_on(dem, [(0.0, -length_m / 2), (0.0, length_m / 2)])
    return screen_route(line, dem, replace(NEAR, **given))


def test_a_gentle_floor_under_a_hidden_face_makes_its_place():
    """A wall of 45 degrees begins 200 m to the east; a bank 150 m off stands before the lower part of it."""

    def heights(east, _):
        wall = np.clip(east - 200.0, 0.0, 300.0)
        bank = np.where(
            np.abs(east - 120.0) < 40.0, 100.0 * np.cos((east - 120.0) / 80.0 * math.pi) ** 2, 0.0
        )
        return np.maximum(wall, bank * (east < 160.0)) * (east > 60.0)

    found = along_north(made(heights, 10.0, 161), 400.0, reach_m=800.0)
    overhead = [place for place in found.places if "overhead" in place.kinds]
    assert overhead
    assert max(place.overhead.deg for place in overhead if place.overhead) >= 25.0
    assert overlap(overhead[0], 100.0, 300.0) == pytest.approx(200.0, abs=1.0)


@pytest.mark.parametrize(
    ("run_m", "has_drop"), [(2.0, True), (12.0, False)], ids=["crag of 76 degrees", "bank of 34 degrees"]
)
@pytest.mark.parametrize("towards", ["up", "down"])
def test_8_m_of_crag_or_bank_in_gentle_ground_makes_its_place(run_m, has_drop, towards):
    """20 m to the side of the line, over 60 m of it; elsewhere the ground is level."""
    sign = 1.0 if towards == "up" else -1.0

    def heights(east, north):
        # It dies out northwards and southwards, without another crag.
        ends = np.clip((50.0 - np.abs(north)) / 20.0, 0.0, 1.0)
        return sign * 8.0 * np.clip((east - 20.0) / run_m, 0.0, 1.0) * ends

    found = along_north(made(heights, 2.0, 201), 240.0, reach_m=100.0)
    beside = [place for place in found.places if "corridor" in place.kinds]
    assert beside
    near = [place for place in beside if overlap(place, 90.0, 150.0) > 40.0]
    assert near
    corridor = near[0].corridor
    assert corridor is not None
    assert corridor.side == "right"
    assert 15.0 <= corridor.off_m <= 30.0
    assert (corridor.drop is not None) == has_drop
    if corridor.drop is not None:
        assert corridor.drop.fall_m == pytest.approx(8.0, abs=0.1)
        assert 14.0 <= corridor.drop.off_m <= 20.0


def test_drops_on_both_sides_are_told_of_both():
    """The nearest's side had stood with the fall of the highest: 12 m on the left, where 8 m are."""

    def heights(east, _):
        return -8.0 * np.clip(-(east + 20.0) / 2.0, 0.0, 1.0) - 12.0 * np.clip((east - 26.0) / 2.0, 0.0, 1.0)

    found = along_north(made(heights, 2.0, 201), 240.0, reach_m=100.0)
    (place,) = (place for place in found.places if "corridor" in place.kinds)
    drop = place.corridor and place.corridor.drop
    assert drop is not None
    assert drop.side == "both"
    assert drop.fall_m == pytest.approx(12.0, abs=0.1)
    assert 14.0 <= drop.off_m <= 20.0
    assert drop_words(replace(drop, off_m=18.6)) == "drop of 12 m, 18 m off, both sides"
    assert drop_words(replace(drop, off_m=0.2)) == "drop of 12 m at the line, on both sides"
    assert found.legs[0].drop == drop


def test_steep_ground_with_a_hole_in_its_corridor_alone_is_open_above():
    """All that the line touches is known, with an end; two cells 40 m beside it are not."""
    dem = made(lambda east, _: east * math.tan(math.radians(35.0)), 5.0, 121)
    holed = dem.heights_m.copy()
    holed[60:62, 68] = np.nan
    for heights, is_open in ((dem.heights_m, False), (holed, True)):
        found = along_north(Dem(dem.grid, heights), 300.0, place_error_m=50.0, reach_m=100.0)
        place = next(one for one in found.places if "underfoot" in one.kinds)
        assert place.slope_high_deg is not None
        assert (place.open_above, place.unknown_near_m > 0.0) == (is_open, is_open)
        assert place.corridor is not None
        assert place.corridor.slope_high_deg == found.legs[0].slope_corridor_high_deg
        assert place.corridor.slope_high_deg > 35.0
        assert place_line(place).startswith("underfoot at least 35.0°") == is_open


def test_a_drop_among_unknown_slopes_is_told():
    """One height of nine is missing: no slope is known, and a step of 22 m to the left is."""
    east = np.arange(81) * 5.0 + 2.5 - 202.5
    heights = np.repeat(np.where(east < -25.0, -22.0, 0.0)[None], 81, axis=0)
    heights[::3, ::3] = np.nan
    dem = Dem(model(Plane(0.0, 0.0), (81, 81), 5.0).grid, heights)
    found = screen_route(route_on(dem, [(0.0, -100.0), (0.0, 100.0)]), dem, Settings(reach_m=50.0))
    (place,) = found.places
    assert place.kinds == ("corridor", "unknown")
    assert place.corridor is not None
    assert place.corridor.slope_max_deg is None
    assert place.corridor.drop == found.legs[0].drop
    assert place.words == "A drop of 22 m, 22 m left. Unknown ground: 200 m, from 0 m."
    assert leading_spot(place)[1] == "drop left"


def test_a_gentle_ridge_between_flanks_of_30_degrees_makes_its_place():
    """A flat crest 40 m wide, 31 degrees on both sides: nothing of it under the line."""

    def heights(east, _):
        return -np.clip(np.abs(east) - 20.0, 0.0, None) * math.tan(math.radians(31.0))

    found = along_north(made(heights, 5.0, 121), 300.0, reach_m=100.0)
    (ridge,) = (place for place in found.places if "corridor" in place.kinds)
    assert ridge.length_m == pytest.approx(300.0, abs=1.0)
    assert ridge.slope_max_deg == pytest.approx(0.0, abs=1.0)
    assert ridge.corridor is not None
    assert ridge.corridor.left_deg == pytest.approx(31.0, abs=0.2)
    assert ridge.corridor.right_deg == pytest.approx(31.0, abs=0.2)


def test_unknown_ground_over_a_whole_line_swallows_no_steep_place():
    """A model that ends near the line: all of it lies below unknown ground, and one bank is steep."""

    def heights(east, north):
        return np.clip(north + 40.0, 0.0, 40.0) * math.tan(math.radians(38.0)) + 0.0 * east

    found = along_north(made(heights, 10.0, 61), 500.0, reach_m=600.0)
    (unknown,) = (place for place in found.places if "unknown" in place.kinds)
    assert unknown.kinds == ("unknown",)
    assert unknown.length_m > 500.0
    (bank,) = (place for place in found.places if "underfoot" in place.kinds)
    assert bank.length_m < 100.0
    # What may stand over it makes no ground underfoot steeper.
    assert not bank.open_above
    assert unknown.unknown_near_m == 0.0
    assert unknown.words == "Unknown above: the model ends 45 m south."
    assert place_line(unknown) == "unknown above: the model ends 45 m south"
    assert overlap(unknown, bank.from_.chainage_m, bank.to.chainage_m) > 0.0


def test_unknown_ground_at_the_end_of_a_line_is_told_and_marked_there():
    """The model ends below it all, so that its place is the whole line: it was marked at the start."""

    def heights(east, north):
        return np.where(north > 150.0, np.nan, 0.0 * east)

    found = along_north(made(heights, 10.0, 61), 500.0, reach_m=600.0)
    (place,) = (place for place in found.places if "unknown" in place.kinds)
    assert place.unknown_at is not None
    at_m = place.unknown_at.chainage_m
    assert place.from_.chainage_m < at_m - 100.0
    assert 380.0 <= at_m <= 400.0
    assert at_m == pytest.approx(place.to.chainage_m - place.unknown_on_line_m, abs=0.1)
    assert leading_spot(place) == (place.unknown_at, "unknown ground")
    assert f", from {at_m:.0f} m" in place.words


def test_ground_walked_there_and_back_is_told_at_length_once(sample_dem, tmp_path):
    """Three of five places were the same ground again, and the rim with its drop of 152 m got a line."""
    lines = (sample_dem / "day.csv").read_text(encoding="utf-8").splitlines()
    there = lines[1:12]
    (tmp_path / "back.csv").write_text("\n".join([lines[0], *there, *there[-2::-1]]), encoding="utf-8")
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        found = screen_route(read_route(tmp_path / "back.csv"), opened)
    assert [place.name for place in found.places if place.at_length] == ["A", "B", "E", "G", "H", "I"]
    again = {place.name: place.again for place in found.places if place.again}
    assert again == {"K": "I", "L": "H", "M": "G", "N": "E", "Q": "B"}
    told = {place.name: place for place in found.places}
    assert place_line(told["M"]) == "56.0° right, drop of 152 m, 20 m right, again the ground of G"
    leading = {one.name for leg in found.legs for one in leg.expected_readings if one.leads}
    assert leading == {"1a", "4a", "5a", "6a", "6b"}
    assert told["Q"].checks == ("16a", "17a")  # they stand among all checks
    # None of it is gentler for that: each still has its own figures, in a line.
    assert max(place.corridor.slope_max_deg for place in found.places if place.corridor) == pytest.approx(
        max(leg.slope_corridor_max_deg for leg in found.legs)
    )
    for name, other in again.items():
        assert same_ground(told[name], told[other])
        assert same_ground(told[other], told[name])
    # Steeper by more, or elsewhere, it is ground of its own.
    rim, back = told["G"], told["M"]
    for change in (
        {"slope_max_deg": rim.slope_max_deg + 2.5},
        {"kinds": ("underfoot", "corridor")},
        {"length_m": rim.length_m + 101.0},
        {"from_": replace(rim.from_, lat_deg=rim.from_.lat_deg + 0.0006)},
        {
            "corridor": replace(
                rim.corridor, at=replace(rim.corridor.at, lon_deg=rim.corridor.at.lon_deg + 0.001)
            )
        },
    ):
        assert not same_ground(replace(rim, **change), back), change


def test_a_level_plain_has_no_place_and_every_leg_is_without():
    dem = made(lambda east, _: 0.0 * east, 10.0, 121)
    found = screen_route(route_on(dem, [(0.0, -200.0), (0.0, 0.0), (0.0, 200.0)]), dem, NEAR)
    assert found.places == ()
    assert found.legs_without == (1, 2)
    assert found.legs_possible_only == ()


def test_a_leg_that_may_be_shown_as_30_degrees_is_not_one_without():
    """Its interval stood as "to 30.0°", and the leg among those without ground of 30 and more."""

    def of(slope_deg: float) -> RouteScreening:
        dem = made(lambda east, _: east * math.tan(math.radians(slope_deg)), 10.0, 121)
        return along_north(dem, 400.0, reach_m=100.0)

    up_deg = of(22.0).legs[0].slope_corridor_high_deg - 22.0
    slope_deg = 29.95 - up_deg
    for _ in range(8):
        slope_deg += 29.95 - of(slope_deg).legs[0].slope_corridor_high_deg
    found = of(slope_deg)
    assert found.legs[0].slope_corridor_high_deg == pytest.approx(29.95, abs=0.04)
    assert found.legs_without == ()
    assert [one.leg for one in found.legs_possible_only] == [1]


def test_ground_of_27_degrees_is_possible_only_and_a_hole_beside_it_is_a_place():
    """27 degrees on 10 m cells may be 30: no place, but not without either."""
    dem = made(lambda east, _: east * math.tan(math.radians(27.0)), 10.0, 121)
    found = along_north(dem, 400.0, reach_m=100.0)
    assert (found.places, found.legs_without) == ((), ())
    (possible,) = found.legs_possible_only
    assert (possible.leg, possible.metres) == (1, pytest.approx(400.0, abs=0.01))
    holed = dem.heights_m.copy()
    holed[58:62, 62:64] = np.nan
    found = along_north(Dem(dem.grid, holed), 400.0, reach_m=100.0)
    assert [place.kinds for place in found.places] == [("unknown",)]
    assert found.places[0].open_above
    assert "nknown ground" in found.places[0].words


@pytest.mark.parametrize("turned", range(4), ids=["west", "south", "east", "north"])
@pytest.mark.parametrize(
    ("foot", "kind"), [("level", "flattening"), ("wall", "drop"), ("far", None)], ids=["level", "wall", "far"]
)
def test_a_trap_below_a_steep_place_is_told_with_it(foot, kind, turned):
    """35 degrees down; 150 m off it ends on level ground, or in a wall of 40 m, or not at all."""

    def heights(east, _):
        slope = east * math.tan(math.radians(35.0))
        if foot == "level":
            return np.maximum(slope, -150.0 * math.tan(math.radians(35.0)))
        return slope - 40.0 * np.clip((-150.0 - east) / 10.0, 0.0, 1.0) * (foot == "wall")

    dem = made(heights, 5.0, 201)
    dem = Dem(dem.grid, np.rot90(dem.heights_m, turned).copy())
    along = [(0.0, -100.0), (-100.0, 0.0), (0.0, 100.0), (100.0, 0.0)]
    line = route_on(dem, [along[-turned], along[2 - turned]])
    found = screen_route(line, dem, replace(NEAR, reach_m=100.0))
    (place,) = (place for place in found.places if "underfoot" in place.kinds)
    below = place.trap_below
    assert (below and below.kind) == kind
    if below is not None:
        # A wall begins at its brow; flat ground where the last steep spacing ends.
        assert 100.0 <= below.off_m <= 190.0
        assert below.fall_m == pytest.approx(min(below.off_m, 150.0) * math.tan(math.radians(35.0)), abs=12.0)
        assert f"Below it a {kind}, " in place.words


# Invariants ----------------------------------------------------------------------------------------------

SPOTS = st.tuples(st.floats(52_300.0, 56_700.0), st.floats(1_053_000.0, 1_055_600.0))
LINES = st.lists(SPOTS, min_size=3, max_size=3).filter(
    lambda spots: all(math.dist(a, b) > 150.0 for a, b in pairwise(spots))
)


@pytest.fixture(scope="module")
def massif(sample_dem):
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        yield opened


def between(dem, spots) -> Route:
    """A line whose second leg is not longer than 400 m and whose first is not either."""
    (x, y), *rest = spots
    out = [(x, y)]
    for a, b in rest:
        far = math.dist((x, y), (a, b))
        x, y = x + (a - x) / far * min(far, 400.0), y + (b - y) / far * min(far, 400.0)
        out.append((x, y))
    return route_on(dem, out)


def ends(found: RouteScreening) -> list[tuple[tuple[str, ...], float, float]]:
    return [(place.kinds, place.from_.chainage_m, place.to.chainage_m) for place in found.places]


def same(one, other, within_m: float) -> None:
    assert [kinds for kinds, _, _ in one] == [kinds for kinds, _, _ in other]
    for (_, a, b), (_, c, d) in zip(one, other, strict=True):
        assert (a, b) == (pytest.approx(c, abs=within_m), pytest.approx(d, abs=within_m))


# The same lines each time: each costs a screening, and a run of the suite is not the place to meet new ones.
PATIENT = settings(
    max_examples=8,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    deadline=None,
)


@PATIENT
@given(spots=LINES)
def test_reversing_the_line_keeps_the_places(massif, spots):
    line = between(massif, spots)
    back = replace(line, points=line.points[::-1])
    there, again = (screen_route(one, massif, NEAR) for one in (line, back))
    length = there.totals.length_m
    turned = [(kinds, length - b, length - a) for kinds, a, b in reversed(ends(again))]
    same(ends(there), sorted(turned, key=lambda one: one[1:]), 1.0)


@PATIENT
@given(spots=LINES, share=st.floats(0.2, 0.8))
def test_cutting_a_leg_in_two_keeps_the_places(massif, spots, share):
    line = between(massif, spots)
    first, second = line.points[:2]
    middle = replace(
        first,
        lat_deg=first.lat_deg + share * (second.lat_deg - first.lat_deg),
        lon_deg=first.lon_deg + share * (second.lon_deg - first.lon_deg),
    )
    cut = replace(line, points=(first, middle, *line.points[1:]), turn_points=(0, 1, 2, 3))
    same(*(ends(screen_route(one, massif, NEAR)) for one in (line, cut)), 10.0)


TOOK_A_KIND_AWAY = [(52_591.7, 1_053_385.1), (52_830.0, 1_053_890.5), (53_927.7, 1_054_163.2)]
"""Its second leg begins with 8 m of steep ground, which its corridor holds and the first leg makes longer."""


@PATIENT
@example(spots=TOOK_A_KIND_AWAY)
@given(spots=LINES)
def test_joining_two_lines_joins_their_places(massif, spots):
    """Each place of a part lies in places of the whole that are of all its kinds."""
    line = between(massif, spots)
    whole = screen_route(line, massif, NEAR)
    shift = 0.0
    for k in (0, 1):
        part = screen_route(replace(line, points=line.points[k : k + 2], turn_points=(0, 1)), massif, NEAR)
        for place in part.places:
            a, b = place.from_.chainage_m + shift, place.to.chainage_m + shift
            here = [other for other in whole.places if overlap(other, a - 1.0, b + 1.0) > 0.0]
            kinds = {kind for other in here for kind in other.kinds}
            assert set(place.kinds) <= kinds
            # Beyond the end of a part lies ground that the whole has abreast of its other leg.
            assert sum(overlap(other, a, b) for other in here) >= b - a - 30.0
        shift += part.totals.length_m


@PATIENT
@given(spots=LINES)
def test_a_finer_step_finds_the_same(massif, spots):
    line = between(massif, spots)
    coarse = ends(screen_route(line, massif, NEAR))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Look, "spacing_m", property(lambda look: min(look.cell_m) / 4.0))
        same(coarse, ends(screen_route(line, massif, NEAR)), 10.0)


@PATIENT
@example(spots=TOOK_A_KIND_AWAY)
@given(spots=LINES)
def test_no_place_is_lost_when_another_is_added(massif, spots):
    line = between(massif, spots)
    assume(spots[0] != spots[2])
    longer = replace(line, points=(*line.points, line.points[0]), turn_points=(0, 1, 2, 3))
    before, after = (screen_route(one, massif, NEAR) for one in (line, longer))
    for place in before.places:
        a, b = place.from_.chainage_m, place.to.chainage_m
        here = [other for other in after.places if overlap(other, a - 1.0, b + 1.0) > 0.0]
        assert set(place.kinds) <= {kind for other in here for kind in other.kinds}
        assert sum(overlap(other, a, b) for other in here) >= b - a - 10.0


SPANS = st.lists(st.tuples(st.floats(0.0, 900.0), st.floats(0.1, 400.0)), min_size=1, max_size=12).map(
    lambda pairs: np.array([(a, a + b) for a, b in pairs])
)


@given(spans=SPANS)
def test_joined_stretches_hold_every_piece_and_lie_apart(spans):
    runs = joined(spans[:, 0], spans[:, 1])
    for start, end in spans:
        assert ((runs[:, 0] <= start) & (runs[:, 1] >= end)).sum() == 1
    assert (runs[1:, 0] - runs[:-1, 1] >= 50.0).all()


@given(spans=SPANS, taken=SPANS)
def test_what_is_taken_away_and_what_is_left_make_the_whole(spans, taken):
    spans, taken = (joined(one[:, 0], one[:, 1], 0.0) for one in (spans, taken))
    left = outside(spans, taken)
    for at in np.linspace(0.5, 1299.5, 400):
        inside = [bool(((one[:, 0] < at) & (at < one[:, 1])).any()) for one in (spans, taken, left)]
        edge = min(abs(np.concatenate((spans, taken)).ravel() - at))
        assert edge < 1e-9 or inside[2] == (inside[0] and not inside[1])


@given(spans=SPANS)
def test_a_stretch_shares_a_place_only_where_half_of_it_lies_in_a_longer_one(spans):
    groups = shared(spans)
    assert sorted(np.concatenate(groups).tolist()) == list(range(len(spans)))
    for lead, *others in groups:
        for other in others:
            common = min(spans[lead, 1], spans[other, 1]) - max(spans[lead, 0], spans[other, 0])
            assert common >= (spans[other, 1] - spans[other, 0]) / 2.0 - 1e-9


def test_lengths_that_differ_by_rounding_share_a_place() -> None:
    """A line that was unknown above throughout had two places of the same ends; turned round, one."""
    spans = np.array([[0.0, 375.57236404331235], [0.0, 375.5723640433124]])
    assert [list(group) for group in shared(spans, np.array([False, True]))] == [[0, 1]]
