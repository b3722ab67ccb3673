"""The answer first: how much of a terminal it takes, and that nothing of it is lost."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.on_grid import model, route_on
from tests.synthetic import Plane

from steybrae.answers.route import RouteView, legs_left_text, route_document
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.render.terminal import terminal_text
from steybrae.screening import Settings, screen_route
from steybrae.screening.known import ModelOrigin
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import DropAtPlace, PossibleOnly
from steybrae.screening.places.words import drop_words, place_line, place_words, stretch_words
from steybrae.value import steep_length


@pytest.fixture(scope="module")
def days(sample_dem):
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        whole = read_route(sample_dem / "day.gpx")
        ten = replace(whole, points=whole.points[:11], turn_points=whole.turn_points[:11])
        # The whole day as the sample has it, with the caution of its own.
        given = (Settings(origin=ModelOrigin(sample=True)), None)
        both = zip((whole, ten), given, strict=True)
        return {len(line.turn_points) - 1: screen_route(line, opened, how) for line, how in both}


def lines(found, width: int, view: RouteView | None = None) -> list[str]:
    return terminal_text(route_document(found, view), width).splitlines()


@pytest.mark.parametrize(("legs", "most"), [(19, 47), (10, 29)])
def test_the_answer_stands_on_one_screen_of_100_columns(days, legs, most):
    shown = lines(days[legs], 100)
    assert len(shown) <= most
    assert max(map(len, shown)) <= 100


def test_the_first_place_stands_within_the_first_lines(days):
    """Two lines of which places are told, and what brackets are, stood before the first of them."""
    shown = lines(days[19], 100)
    first = next(k for k, line in enumerate(shown) if line.startswith("B legs"))
    assert first <= 6
    assert next(k for k, line in enumerate(shown) if line.startswith(ORDER_RULE[:60])) > first


@pytest.mark.parametrize("width", [60, 100])
def test_nothing_of_the_answer_is_lost_in_any_width(days, width):
    for found in days.values():
        shown = lines(found, width)
        assert max(map(len, shown)) <= width
        flat = " ".join(" ".join(shown).split())
        assert "…" not in flat
        for place in found.places:
            words = place.words if place.at_length else ""
            assert f"{place.name} leg" in flat
            assert all(part in flat for part in words.split(". "))
        for caution in found.cautions:
            assert caution.line in flat
        assert flat.index("avalanche forecast") < flat.index("Steepest on the line")
        assert flat.index("Steepest on the line") < flat.index("Places that matter")
        assert flat.index("Places that matter") < flat.index("Cautions")
        assert "--legs, --bands, --overhead, --all" in flat


def test_each_view_adds_its_table_and_all_adds_every_caution_in_full(days):
    found = days[10]
    heads = {
        "legs": "Steepest on line",
        "bands": "Metres of each leg in each band",
        "overhead": "Convex rolls",
    }
    for name, head in heads.items():
        shown = " ".join(lines(found, 120, RouteView(**{name: True})))
        assert [one for one in heads.values() if one in shown] == [head]
    flat = " ".join(" ".join(lines(found, 120, RouteView(everything=True))).split())
    assert all(head in flat for head in heads.values())
    assert all(caution.text in flat for caution in found.cautions)


def test_the_checks_that_lead_stand_with_their_place_and_no_more_than_eight(days):
    for found in days.values():
        flat = " ".join(" ".join(lines(found, 100)).split())
        leading = {one.name: one for leg in found.legs for one in leg.expected_readings if one.leads}
        told = set(re.findall(r"Check (\d+[a-z]) at \d+ m: (?:slope|sight) \d", flat))
        assert 0 < len(told) <= len(leading) <= 8
        named = {name for place in found.places if place.at_length for name in place.checks}
        assert told == named & set(leading)
        bare = re.search(r"No check: ([A-Z ]+)\.", flat)
        assert bare is not None
        without = {place.name for place in found.places if place.at_length and not place.checks}
        assert set(bare[1].split()) == without
        under = [
            one
            for one in leading.values()
            if one.name in told and (one.overhead_at_least or (one.overhead_deg or 0.0) >= 25.0)
        ]
        assert len(re.findall(r"(?:\d°|unknown) overhead\.", flat)) == len(under)


def test_words_of_a_place_name_their_north(days):
    for place in days[19].places:
        assert place_words(place) == place.words
        assert "magnetic" not in place.words
        turned = place_words(place, -2.5)
        assert " true" not in turned
        assert turned.count("magnetic") == place.words.count(" true")


def test_no_place_is_told_as_no_proof():
    dem = model(Plane(0.0, 0.0), (121, 121))
    found = screen_route(route_on(dem, [(0.0, -200.0), (0.0, 200.0)]), dem, Settings(reach_m=200.0))
    flat = " ".join(" ".join(lines(found, 100)).split())
    assert "nothing is proved by that. Legs without 30°+ on, beside or above, as far as known: 1." in flat
    assert "Places that matter" not in flat


@pytest.mark.parametrize(
    ("cell_m", "given", "told"),
    [
        (30.0, Settings(reach_m=200.0), True),
        (30.0, Settings(reach_m=200.0, model_kind="glo-30"), False),
        (30.0, Settings(reach_m=200.0, vertical_error_m=2.0), False),
        (10.0, Settings(reach_m=200.0), False),
    ],
)
def test_a_coarse_model_of_which_nothing_is_stated_says_what_would_narrow_it(cell_m, given, told):
    dem = model(Plane(10.0, 0.0), (61, 61), cell_m)
    found = screen_route(route_on(dem, [(0.0, -150.0), (0.0, 150.0)]), dem, given)
    assert ("--model-kind" in " ".join(lines(found, 100))) is told


def test_a_place_below_a_face_is_told_by_the_face_first(days):
    (floor,) = (place for place in days[10].places if place.kinds[0] == "overhead" and place.at_length)
    assert floor.words.startswith("Overhead at least 41.6°, leg 3 at ")
    assert floor.words.index("Overhead") < floor.words.index("Underfoot")


@pytest.mark.parametrize(
    ("off_m", "told"),
    [(12.9, "drop of 9 m, 12 m left"), (0.9, "drop of 9 m at the line, on its left")],
)
def test_a_drop_says_where_it_is(off_m, told):
    assert drop_words(DropAtPlace(off_m, 8.2, "left")) == told


def test_a_line_of_a_place_names_what_is_steeper_beside_it(days):
    """Underfoot 30.2 stood alone where the corridor held 56.0, or steeper short pieces."""
    place = next(one for one in days[19].places if one.kinds[0] == "underfoot" and one.corridor)
    beside = replace(place.corridor, slope_max_deg=55.93, side="right", drop=None)
    place = replace(place, kinds=("underfoot",), slope_max_deg=30.14, open_above=False, corridor=beside)
    assert place_line(place) == "underfoot 30.2°, 56.0° right"
    level = replace(place, corridor=replace(beside, slope_max_deg=30.14))
    assert place_line(level) == "underfoot 30.2°"
    gentle = replace(level, slope_max_deg=29.41, steep_m=34.0)
    assert place_line(gentle) == "underfoot 29.5°, short pieces of 30°+, 30.2° right"
    assert "34 m of 30°+ in short pieces" in place_words(gentle)
    assert "in short pieces" not in place_words(replace(gentle, slope_max_deg=29.95))


def test_legs_with_possible_ground_only_are_told_as_such(days):
    """ "Possible only: 1 (677 m)" behind "Legs without ... none" did not say what was possible."""
    found = replace(days[19], legs_without=(3,), legs_possible_only=(PossibleOnly(1, 676.5),))
    assert legs_left_text(found) == (
        "Legs without 30°+ on, beside or above, as far as known: 3. Perhaps such ground: 1 (677 m)."
    )


def test_the_line_of_a_place_has_the_unknown_metres_of_its_words(days):
    """The line said "unknown ground for 236 m", the corridor's; headline and words had 207 m on the line."""
    found = days[19]
    place = next(one for one in found.places if one.kinds == ("unknown",) and one.unknown_on_line_m > 0.0)
    told = steep_length(place.unknown_on_line_m).text
    assert told == steep_length(found.totals.unknown_m).text == "207 m"
    assert f"unknown ground for {told}" in place_line(place)
    assert f"Unknown ground: {told}" in place_words(place)
    beside = replace(place, unknown_on_line_m=0.0)
    assert place_line(beside) == "unknown ground in the corridor for 236 m"


def test_what_is_shown_as_30_degrees_in_a_corridor_is_told(days):
    """29.95 is shown as 30.0 and makes a place; its line said "terrain trap" and its words nothing."""
    place = next(one for one in days[19].places if one.corridor)
    sides = {"slope_max_deg": 29.95, "left_deg": 29.95, "right_deg": 29.85, "side": "left", "drop": None}
    beside = replace(place.corridor, **sides)
    place = replace(place, kinds=("corridor",), slope_max_deg=12.0, open_above=False, corridor=beside)
    assert place_line(place) == "30.0° left"
    assert "Corridor 30.0° left" in place_words(place)


def test_the_ends_of_a_stretch_each_have_their_leg(days):
    """``legs 14-15, 232 to 16 m`` read as one way walked backwards."""
    place = days[10].places[0]
    start, end = replace(place.from_, leg=14, at_m=232.4), replace(place.to, leg=15, at_m=15.2)
    assert stretch_words(replace(place, from_=start, to=end)) == "leg 14, 232 m to leg 15, 16 m"
    assert (
        stretch_words(replace(place, from_=start, to=replace(end, leg=14, at_m=250.0))) == "leg 14, 232-250 m"
    )
