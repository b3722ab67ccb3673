"""Turn points on long lines, cuts at names and chainages."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from steybrae.errors import RouteError
from steybrae.route.positions.places import Place
from steybrae.route.turns import (
    chainages_m,
    choose_turns,
    cut_line,
    drop_repeats,
    route_from_places,
)

GEOD = Geod(ellps="WGS84")
DEG_PER_M = math.degrees(1.0 / 6_371_008.8)


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


def on_plane(*metres: tuple[float, float], lon_deg: float = 0.0) -> list[Place]:
    """Places by metres east and north of a point on the equator, where the plane is plain."""
    return [
        Place(north * DEG_PER_M, (lon_deg + east * DEG_PER_M + 180.0) % 360.0 - 180.0)
        for east, north in metres
    ]


def test_repeats_are_dropped_and_names_kept() -> None:
    points = [
        Place(57, -10),
        Place(57, -10, "Col"),
        Place(57.1, -10),
        Place(57, -10, "Col"),
        Place(57, -10, "x"),
    ]
    kept, dropped = drop_repeats(points)
    assert [(point.lat_deg, point.name) for point in kept] == [(57, "Col"), (57.1, ""), (57, "Col")]
    assert dropped == 2


def test_both_names_of_the_antimeridian_are_one_place() -> None:
    assert drop_repeats([Place(10, 180), Place(10, -180)])[1] == 1


def test_chainage_is_geodesic() -> None:
    # Geoscience Australia's test line, Flinders Peak to Buninyong: 54 972.271 m (GRS 80, which
    # differs from WGS 84 by 0.1 mm in the flattening of the earth).
    first = Place(-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    second = Place(-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    assert chainages_m([first, second, first])[1:] == pytest.approx([54_972.271, 2 * 54_972.271], abs=0.002)
    assert list(chainages_m([first])) == [0.0]


def test_turns_are_where_the_line_bends_by_more_than_the_tolerance() -> None:
    line = on_plane((0, 0), (100, 24), (200, 0), (300, 26), (400, 0), (500, 0))
    assert choose_turns(line, 25.0) == (0, 3, 5)
    assert choose_turns(line, 1000.0) == (0, 5)
    assert choose_turns(line, 1.0) == (0, 1, 2, 3, 4, 5)


def test_a_loop_turns_at_its_far_side() -> None:
    loop = on_plane((0, 0), (500, 0), (500, 500), (0, 500), (0, 0))
    assert choose_turns(loop, 25.0) == (0, 1, 2, 3, 4)
    assert choose_turns(on_plane((0, 0), (500, 0), (0, 0)), 25.0) == (0, 1, 2)


def test_the_antimeridian_changes_nothing() -> None:
    bends = ((0, 0), (100, 10), (200, 60), (300, 0), (450, 0), (460, 90))
    assert choose_turns(on_plane(*bends, lon_deg=179.998)) == choose_turns(on_plane(*bends))


@settings(max_examples=60)
@given(
    steps=st.lists(st.tuples(st.floats(-200, 200), st.floats(-200, 200)), min_size=2, max_size=40),
    tolerance_m=st.floats(5.0, 300.0),
)
def test_no_point_lies_farther_from_its_leg_than_the_tolerance(
    steps: list[tuple[float, float]], tolerance_m: float
) -> None:
    metres = np.cumsum(np.array(steps), axis=0)
    turns = choose_turns(on_plane(*[(float(east), float(north)) for east, north in metres]), tolerance_m)
    assert (turns[0], turns[-1]) == (0, len(steps) - 1)
    for start, end in pairwise(turns):
        for between in range(start + 1, end):
            along, offset = metres[end] - metres[start], metres[between] - metres[start]
            length_squared = along @ along
            share = min(max(offset @ along / length_squared, 0.0), 1.0) if length_squared else 0.0
            assert math.hypot(*(offset - share * along)) <= tolerance_m + 1e-3


def test_a_day_of_track_points_falls_into_legs() -> None:
    random = np.random.default_rng(7)
    walk = np.cumsum(random.normal([1.0, 0.3], 2.0, size=(20_000, 2)), axis=0)
    line = on_plane(*[(float(east), float(north)) for east, north in walk])
    turns = choose_turns(line)
    assert 10 < len(turns) < 500


def test_a_line_without_end_of_legs_is_refused() -> None:
    zigzag = on_plane(*[(float(i), 100.0 * (i % 2)) for i in range(20_000)])
    message = (
        "A line should fall into 1000 legs at most; with a tolerance of 25 m it has more. "
        "Give a larger tolerance, or say where the legs begin."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        choose_turns(zigzag)


@pytest.mark.parametrize("tolerance_m", [0.0, -5.0, math.nan, math.inf])
def test_a_tolerance_is_above_zero(tolerance_m: float) -> None:
    message = (
        f"The tolerance for turn points should be above 0 m; got {tolerance_m:g} m. 25 m suits most walks."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        choose_turns(on_plane((0, 0), (1, 0)), tolerance_m)


LINE = [Place(57.0, -10.0, "Car park"), Place(57.0, -9.98), Place(57.01, -9.98, "Col"), Place(57.02, -9.98)]


def test_a_chainage_cuts_on_the_geodesic() -> None:
    points, turns = cut_line(LINE, ["1km", "300m"])
    assert turns == (0, 1, 2, 5)
    for index, chainage_m in ((1, 300.0), (2, 1000.0)):
        assert chainages_m(points)[index] == pytest.approx(chainage_m, abs=1e-6)
    assert chainages_m(points)[-1] == pytest.approx(chainages_m(LINE)[-1], abs=1e-6)
    azimuth_deg, _, _ = GEOD.inv(-10.0, 57.0, -9.98, 57.0)
    lon_deg, lat_deg, _ = GEOD.fwd(-10.0, 57.0, azimuth_deg, 1000.0)
    assert (points[2].lat_deg, points[2].lon_deg) == pytest.approx((lat_deg, lon_deg), abs=1e-12)
    assert [point.name for point in points] == ["Car park", "300m", "1km", "", "Col", ""]


def test_a_chainage_at_a_point_is_that_point() -> None:
    at_m = float(chainages_m(LINE)[1])
    points, turns = cut_line(LINE, [f"{at_m:.4f}m", "0m", f"{float(chainages_m(LINE)[-1]):.4f}m"])
    assert len(points) == 4
    assert turns == (0, 1, 3)
    assert points[0].name == "Car park"


def test_two_wishes_for_one_place_are_one_cut() -> None:
    points, turns = cut_line(LINE, ["300m", "0.3km", "col", "COL"])
    assert len(points) == 5
    assert turns == (0, 1, 3, 4)


def test_names_in_any_case_and_at_every_passage() -> None:
    there_and_back = [*LINE, Place(57.01, -9.98, "Col"), Place(57.0, -10.0, "Car park")]
    assert cut_line(there_and_back, [" cOL "])[1] == (0, 2, 4, 5)


def test_a_way_point_beside_the_line_cuts_where_it_is_nearest() -> None:
    beside = Place(57.0005, -9.99, "Bothy")
    points, turns = cut_line(LINE, ["bothy"], [beside])
    assert turns == (0, 1, 4)
    assert points[1].name == "Bothy"
    assert points[1].lon_deg == pytest.approx(-9.99, abs=1e-5)
    assert points[1].lat_deg == pytest.approx(57.0, abs=1e-5)


def test_a_way_point_cuts_there_and_back() -> None:
    """Of a track there and back, a metre off, it cut only where that happened to be nearer."""
    there = on_plane(*((100.0 * n, 0.0) for n in range(8)))
    back = on_plane(*((100.0 * n, 1.0) for n in range(6, -1, -1)))
    beside, summit = on_plane((250.0, 10.0), (720.0, 0.0))
    named = [replace(beside, name="Bothy"), replace(summit, name="Top")]
    points, turns = cut_line([*there, *back], ["Bothy", "Top"], named)
    assert [points[k].name for k in turns] == ["", "Bothy", "Top", "Bothy", ""]
    sides = ((20.0 * (k if row % 2 else 5 - k), 20.0 * row) for row in range(6) for k in range(6))
    hut = replace(on_plane((50.0, 50.0))[0], name="Hut")
    points, turns = cut_line(on_plane(*sides), ["Hut"], [hut])
    assert [points[k].name for k in turns] == ["", "Hut", ""]


def test_a_way_point_beyond_the_antimeridian() -> None:
    line = [Place(10.0, 179.99), Place(10.0, -179.99)]
    points, turns = cut_line(line, ["Post"], [Place(10.001, -179.995, "Post")])
    assert turns == (0, 1, 2)
    assert points[1].lon_deg == pytest.approx(-179.995, abs=1e-5)
    middle = cut_line(line, ["1.1km"])[0][1]
    assert abs(middle.lon_deg) > 179.99


def test_a_way_point_too_far_away() -> None:
    message = (
        "The way-point 'Top' should lie within 200 m of the line to cut it; it is 1112 m away. "
        "Move it, or give a distance along the line."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        cut_line(LINE, ["top"], [Place(56.99, -9.99, "Top")])


def test_an_unknown_name_lists_those_there_are() -> None:
    message = (
        "A leg can begin at a named point or at a distance like 1.2km; got 'Cairn', and the file has "
        "Car park, Col, Bothy. Give one of these or a distance."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        cut_line(LINE, ["Cairn"], [Place(57, -10, "Bothy")])


@pytest.mark.parametrize("wish", ["", "1200", "-5m", "nan m"])
def test_what_is_neither_name_nor_distance(wish: str) -> None:
    message = (
        f"A leg can begin at a named point or at a distance like 1.2km; got {wish!r}, and the file has "
        "no names. Give one of these or a distance."
    )
    with pytest.raises(RouteError, match=exactly(message)):
        cut_line([Place(57, -10), Place(57, -9)], [wish])


def test_a_distance_beyond_the_end() -> None:
    message = "A leg should begin on the line, which is 3.443 km long; got '3.5km'. Give a shorter distance."
    with pytest.raises(RouteError, match=exactly(message)):
        cut_line(LINE, ["3.5km"])


def test_a_route_from_places() -> None:
    route = route_from_places([*LINE, LINE[-1]], "Invented round")
    assert (route.name, route.turn_points, route.kind) == ("Invented round", (0, 1, 2, 3), "route")
    assert route.notes == ("Dropped 1 point that repeats the one before.",)


def test_one_place_is_no_route() -> None:
    message = "A route needs two different points or more; this one has 1. Add its turn points."
    with pytest.raises(RouteError, match=exactly(message)):
        route_from_places([LINE[0], LINE[0]])
