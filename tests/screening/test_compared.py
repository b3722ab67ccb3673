"""Lines side by side, ways off and a line moved: every figure is that of the line alone."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod
from tests.on_grid import model, route_on
from tests.synthetic import GaussianHill

from steybrae.answers.leg import moved_items
from steybrae.card.times import usual_time
from steybrae.errors import QuantityError, RouteError
from steybrae.route.legs import Route, is_way_off
from steybrae.screening import RouteScreening, screen_route
from steybrae.screening.compared import RouteLines, compared, leaving, moved
from steybrae.screening.result import Totals

GEOD = Geod(ellps="WGS84")
HILL = model(GaussianHill(300.0, 220.0))
MAIN = route_on(HILL, [(-550.0, -100.0), (-60.0, 230.0), (400.0, 250.0)], ["Foot", "Shoulder", "Far side"])
LOW = replace(route_on(HILL, [(-550.0, -100.0), (-300.0, 450.0), (400.0, 250.0)]), name="Low")
OFF_LEG_2 = replace(route_on(HILL, [(170.0, 280.0), (170.0, 550.0)]), name="WAY OFF north")


def screened(route: Route) -> RouteScreening:
    return screen_route(route, HILL)


@cache
def found() -> RouteLines:
    return compared((MAIN, LOW, OFF_LEG_2, MAIN), screened(MAIN), screened, usual_time, (30.0, 50.0))


def same_totals(one: Totals, other: Totals) -> None:
    for key in fields(Totals):
        assert getattr(one, key.name) == getattr(other, key.name), key.name


def test_every_figure_of_a_line_is_that_of_the_line_alone() -> None:
    for line, route in zip(found().lines, (MAIN, LOW, MAIN), strict=True):
        by_itself = screened(route)
        same_totals(line, by_itself.totals)
        assert line.places == len(by_itself.places)
        assert [place.words for place in line.at_length] == [
            place.words for place in by_itself.places if place.at_length
        ]
        assert line.time_min == sum(usual_time(leg)[0] for leg in by_itself.legs)
        assert line.cautions == by_itself.cautions


def test_lines_of_one_name_are_told_apart() -> None:
    """Two files that both say "Track" had rows and places that nobody could tell apart."""
    name = MAIN.name
    assert [line.name for line in found().lines] == [name, "Low", f"{name} (2)"]
    ways = compared((MAIN, OFF_LEG_2, OFF_LEG_2), screened(MAIN), screened, usual_time).ways_off
    assert [way.name for way in ways] == ["WAY OFF north", "WAY OFF north (2)"]


def test_a_line_against_itself_differs_in_nothing() -> None:
    first, _, itself = found().lines
    same_totals(first, itself)
    assert (first.time_min, first.at_length, first.cautions) == (
        itself.time_min,
        itself.at_length,
        itself.cautions,
    )


def test_what_is_beside_the_main_line_changes_nothing_of_it() -> None:
    main, by_itself = found(), screened(MAIN)
    assert main.totals == by_itself.totals
    assert main.places == by_itself.places
    assert main.cautions == by_itself.cautions


def test_a_way_off_is_screened_from_where_it_leaves() -> None:
    (way,) = found().ways_off
    # Its foot on leg 2, from (-60, 230) to (400, 250): (172, 240) by hand, 40 m under its first point.
    along = np.array([460.0, 20.0]) / np.hypot(460.0, 20.0)
    foot_m = float(np.array([230.0, 50.0]) @ along)
    assert way.leaves.leg == 2
    assert way.leaves.at_m == pytest.approx(foot_m, abs=0.05)
    assert way.leaves.chainage_m == pytest.approx(np.hypot(490.0, 330.0) + foot_m, abs=0.1)
    off_m = float(np.hypot(*(np.array([230.0, 50.0]) - foot_m * along)))
    assert way.off_m == pytest.approx(off_m, abs=0.05)
    assert way.legs == 2
    assert way.length_m == pytest.approx(off_m + 270.0, abs=0.1)
    route, _, _ = leaving(OFF_LEG_2, MAIN)
    same_totals(way, screened(route).totals)


def test_a_way_off_that_begins_on_the_line_is_screened_as_drawn() -> None:
    on_line = replace(OFF_LEG_2, points=(MAIN.points[1], OFF_LEG_2.points[1]))
    route, at, off_m = leaving(on_line, MAIN)
    assert route is on_line
    assert (at.leg, off_m) == (2, pytest.approx(0.0, abs=0.01))
    start = replace(OFF_LEG_2, points=(MAIN.points[0], OFF_LEG_2.points[1]))
    assert leaving(start, MAIN)[1].leg == 1
    end = replace(OFF_LEG_2, points=(MAIN.points[-1], OFF_LEG_2.points[1]))
    assert leaving(end, MAIN)[1].leg == 2


def test_a_way_off_begins_near_the_line() -> None:
    far = replace(route_on(HILL, [(170.0, 500.0), (170.0, 550.0)]), name="way off far")
    with pytest.raises(RouteError) as refused:
        compared((MAIN, far), screened(MAIN), screened, usual_time)
    assert str(refused.value) == (
        "A way off should begin within 200 m of the main line; 'way off far' begins 260 m off 'drawn line'. "
        "Draw it from where it leaves, or give it another name."
    )


@pytest.mark.parametrize(
    ("name", "way"),
    [("way off", True), (" Way Off west", True), ("WAY OFF", True), ("The way off", False), ("", False)],
)
def test_ways_off_are_told_by_how_their_name_begins(name: str, way: bool) -> None:
    assert is_way_off(name) is way


@pytest.mark.parametrize("shift_m", [0.0, -30.0, 500.1, float("nan")])
def test_a_shift_out_of_range_is_refused(shift_m: float) -> None:
    with pytest.raises(QuantityError, match="moved by more than 0 and at most 500 m"):
        moved(MAIN, shift_m, "left")


@given(
    shift_m=st.floats(1.0, 200.0), east_m=st.floats(-400.0, 400.0), side=st.sampled_from(["left", "right"])
)
def test_each_point_of_a_straight_line_goes_so_far_to_its_side(shift_m, east_m, side) -> None:
    route = route_on(HILL, [(east_m, -500.0), (east_m, 0.0), (east_m, 500.0)])
    beside = moved(route, shift_m, side)
    for turn, was in zip(beside.turn_points, route.turn_points, strict=True):
        one, other = route.points[was], beside.points[turn]
        bearing, _, apart_m = GEOD.inv(one.lon_deg, one.lat_deg, other.lon_deg, other.lat_deg)
        assert apart_m == pytest.approx(shift_m, abs=1e-6)
        assert bearing == pytest.approx(-90.0 if side == "left" else 90.0, abs=0.02)


def test_a_shift_that_shrinks_comes_to_the_line() -> None:
    beside = moved(MAIN, 0.5, "right")
    for turn, was in zip(beside.turn_points, MAIN.turn_points, strict=True):
        assert beside.points[turn].lat_deg == pytest.approx(MAIN.points[was].lat_deg, abs=1e-5)
        assert beside.points[turn].name == MAIN.points[was].name


def test_a_line_that_turns_back_on_itself_can_be_moved() -> None:
    route = route_on(HILL, [(0.0, 0.0), (0.0, 300.0), (0.0, 0.0)])
    points = moved(route, 30.0, "left").points
    assert all(np.isfinite((place.lat_deg, place.lon_deg)).all() for place in points)


def test_a_shift_tells_the_legs_whose_band_it_changes_and_no_others() -> None:
    told = 0
    for shift in found().shifts:
        beside = screened(moved(MAIN, shift.shift_m, shift.side)).legs
        changed = {one.leg: one for one in shift.legs}
        for leg, other in zip(screened(MAIN).legs, beside, strict=True):
            if (leg.band, leg.open_above) == (other.band, other.open_above):
                assert leg.number not in changed
                continue
            one = changed[leg.number]
            told += 1
            assert (one.band, one.open_above) == (leg.band, leg.open_above)
            assert (one.moved_band, one.moved_open_above) == (other.band, other.open_above)
    assert told
    assert [(shift.shift_m, shift.side) for shift in found().shifts] == [
        (30.0, "left"),
        (30.0, "right"),
        (50.0, "left"),
        (50.0, "right"),
    ]


def test_a_shift_onto_unknown_ground_is_told_as_steeper_or_unknown() -> None:
    heights = HILL.heights_m.copy()
    heights[:, 63:] = np.nan
    holed = replace(HILL, heights_m=heights)
    route = route_on(HILL, [(-20.0, 500.0), (-20.0, 300.0)])
    main = screen_route(route, holed)
    (left, right) = compared(
        (route,), main, lambda one: screen_route(one, holed), usual_time, (100.0,)
    ).shifts
    (onto,) = left.legs
    assert onto.moved_open_above
    assert onto.moved_band is None
    assert not right.legs or not right.legs[0].moved_open_above
    assert "becomes unknown" in moved_items((left,))[0]


def test_a_line_moved_off_the_model_is_unknown_there_and_the_answer_stands() -> None:
    route = route_on(HILL, [(560.0, 100.0), (560.0, -100.0)])
    lines = compared((route,), screened(route), screened, usual_time, (100.0,))
    assert moved_items(lines.shifts) == ("leg 1, 100 m left: <25 becomes unknown",)
