"""From a screening, a saved plan, or two places to a card."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.fuzz.fuzz_readers import plan_seeds

from steybrae.card import CardSettings, card_between, make_card
from steybrae.card.forecast import day_span
from steybrae.card.wording import (
    beside_sentence,
    beside_short,
    corridor_text,
    overhead_lines,
    overhead_text,
    place_text,
    steepness_text,
)
from steybrae.errors import DateError, PlaceError, QuantityError, RouteError
from steybrae.files.plans import read_plan, write_plan
from steybrae.files.results import as_json
from steybrae.route.bearings import leg_bearings
from steybrae.route.overhead.result import OverheadAnswer, PathAnswer, SightAnswer
from steybrae.route.positions.places import Place, parse_place
from steybrae.route.shape_result import Spot
from steybrae.route.walking import Allowances
from steybrae.screening import RouteScreening
from steybrae.screening.result import LegScreening, SideGround, Sides

DAY = dt.date(2027, 1, 1)
BNG = CardSettings(DAY, "bng")


def exactly(message: str) -> str:
    return f"^{re.escape(message)}$"


def test_a_saved_plan_gives_the_same_card(tmp_path: Path) -> None:
    path, again = tmp_path / "plan.zip", tmp_path / "again.zip"
    path.write_bytes(plan_seeds()[0])
    screened = read_plan(path)
    write_plan(again, screened)
    assert make_card(read_plan(again), BNG) == make_card(screened, BNG)


@pytest.mark.parametrize(
    ("lon_deg", "zone", "begins"),
    [
        (-8.0, None, "2027-01-01T00:00:00+00:00"),
        (16.0, None, "2027-01-01T00:00:00+00:00"),
        # Of UTC the day there was that from noon to noon.
        (170.0, None, "2027-01-01T00:00:00+11:00"),
        (170.0, "Pacific/Auckland", "2027-01-01T00:00:00+13:00"),
        (-118.0, None, "2027-01-01T00:00:00-08:00"),
    ],
)
def test_the_day_of_a_forecast_is_that_of_the_zone_else_of_the_sun(
    lon_deg: float, zone: str | None, begins: str
) -> None:
    card = card_between(Place(45.0, lon_deg), Place(45.01, lon_deg), CardSettings(DAY, zone=zone))
    start, end = day_span(card)
    assert start is not None
    assert end is not None
    assert start.isoformat() == begins
    assert end - start == dt.timedelta(hours=24)


def test_without_a_scale_no_millimetres_and_without_a_count_no_paces(by_hand: RouteScreening) -> None:
    for leg in make_card(by_hand, BNG).legs:
        assert (leg.map_mm, leg.paces, leg.arrival, leg.daylight_left_min) == (None, None, None, None)
        assert leg.time_min is not None


def test_without_a_grid_there_is_no_grid_bearing(by_hand: RouteScreening) -> None:
    card = make_card(by_hand, CardSettings(DAY))
    assert [leg.bearing_grid_deg for leg in card.legs] == [None] * 3
    assert [leg.convergence_deg for leg in card.legs] == [0.0] * 3
    assert card.norths.sentences[-1] == (
        "No grid was chosen: on a map whose grid lines are not true north, give --grid."
    )
    grid = make_card(by_hand, BNG)
    for leg, other in zip(card.legs, grid.legs, strict=True):
        assert leg.bearing_magnetic_deg == other.bearing_magnetic_deg


def test_unknown_ground_is_said_and_never_gentle(by_hand: RouteScreening) -> None:
    leg = by_hand.legs[1]
    heights = np.array(leg.points.elevation_m)
    heights[40:60] = np.nan
    holed = replace(
        leg,
        unknown_m=210.0,
        open_above=True,
        ascent_at_least=True,
        points=replace(leg.points, elevation_m=heights),
    )
    found = make_card(replace(by_hand, legs=(by_hand.legs[0], holed)), BNG)
    # The climb across the hole still counts: 32.0030 min as in the card by hand.
    assert found.legs[1].time_min == pytest.approx(32.0030, abs=1e-4)
    assert found.legs[1].time_at_least
    assert found.totals.time_at_least
    assert steepness_text(found.legs[1].ground) == "at least 0.0°"
    assert corridor_text(found.legs[1].ground) == "corridor at least 0.0°"
    assert found.time_words[-1].startswith("Leg 2: unknown ground timed ")


def test_a_leg_wholly_unknown_reads_unknown(by_hand: RouteScreening) -> None:
    leg = by_hand.legs[0]
    dark = replace(
        leg,
        slope_max_deg=None,
        slope_low_deg=None,
        slope_high_deg=None,
        slope_max_at=None,
        band=None,
        points=replace(leg.points, elevation_m=np.full_like(leg.points.chainage_m, np.nan)),
    )
    (found,) = make_card(replace(by_hand, legs=(dark,)), BNG).legs
    assert steepness_text(found.ground) == "unknown"
    assert (found.slope_distance_m, found.time_at_least) == (None, True)


def test_places_keep_what_their_author_wrote(by_hand: RouteScreening) -> None:
    ends = [(leg.points.lat_deg[0], leg.points.lon_deg[0]) for leg in by_hand.legs]
    last = by_hand.legs[-1].points
    ends.append((last.lat_deg[-1], last.lon_deg[-1]))
    places = tuple(
        Place(float(lat), float(lon), f"turn {k}", f"NJ 00{k} 035", 70.7) for k, (lat, lon) in enumerate(ends)
    )
    card = make_card(replace(by_hand, turn_points=places), BNG)
    end = card.legs[0].to_place
    assert place_text(end.name, end.written, end.reference) == "NJ 001 035"
    assert "NJ 001 035 names a square: its centre is taken, up to 71 m off." in card.notes


def test_a_line_that_bends_is_said_to(by_hand: RouteScreening) -> None:
    first, second, _ = by_hand.legs
    joined = replace(
        first,
        length_m=first.length_m + second.length_m,
        points=replace(
            first.points,
            **{
                name: np.append(getattr(first.points, name), getattr(second.points, name)[1:])
                for name in ("lat_deg", "lon_deg", "elevation_m", "aspect_true_deg")
            },
            chainage_m=np.append(first.points.chainage_m, first.length_m + second.points.chainage_m[1:]),
        ),
    )
    ends = (by_hand.turn_points[0], by_hand.turn_points[2])
    (leg,) = make_card(replace(by_hand, legs=(joined,), turn_points=ends), BNG).legs
    # The two sides of a right angle, 500.125 and 1000.249 m: straight 1118.311 m.
    assert leg.bends
    assert leg.straight_m == pytest.approx(1118.311, abs=0.01)
    assert leg.length_m == pytest.approx(1500.374, abs=0.01)
    assert len(leg.shape_deg) == 1


@pytest.mark.parametrize(("share", "bends"), [(0.0, False), (0.00049, False), (0.00051, True)])
def test_a_line_bends_from_a_two_thousandth_more_than_straight(
    by_hand: RouteScreening, share: float, bends: bool
) -> None:
    straight = make_card(by_hand, BNG).legs
    longer = [
        replace(leg, length_m=card.straight_m * (1.0 + share))
        for leg, card in zip(by_hand.legs, straight, strict=True)
    ]
    found = make_card(replace(by_hand, legs=tuple(longer)), BNG).legs
    assert [leg.bends for leg in found] == [bends] * 3


def with_sides(leg: LegScreening) -> LegScreening:
    rim = SideGround(30.0, 25.9, -12.2, 500.0, ((400.0, 520.0), (560.0, 650.0)))
    crag = SideGround(45.0, 41.0, 8.4, 430.0, ((431.0, 477.0),))
    under = SideGround(30.0, 0.0, 0.1, 10.0, ((0.0, 88.0),))
    return replace(leg, sides=Sides((rim, crag), (under,), False, True, 100.0))


def test_the_rim_in_words(by_hand: RouteScreening) -> None:
    (leg,) = make_card(replace(by_hand, legs=(with_sides(by_hand.legs[2]),)), BNG).legs
    # Distances down, stretches outwards to 10 m.
    assert [beside_sentence(beside) for beside in leg.beside] == [
        "Steep ground (30° and more) to the left, 25 m off and 12 m below, from 400 to 650 m in 2 stretches "
        "along the leg.",
        "Steep ground (45° and more) to the left, 41 m off and 8 m above, from 430 to 480 m along the leg.",
        "Steep ground (30° and more) to the right, at the line, from 0 to 90 m along the leg.",
        "Unknown ground to the right, which may be steep.",
    ]
    assert [beside_short(beside) for beside in leg.beside] == [
        "30°+ 25 m off, 400-650 m",
        "45°+ 41 m off, 430-480 m",
        "30°+ at the line, 0-90 m",
        "unknown ground",
    ]


SPOT = Spot(57.117, -3.643, 600.0)


def sight(deg: float | None) -> SightAnswer:
    """A sight line of 27.31 degrees, along 300 true, that counts or does not."""
    known = deg is not None
    return SightAnswer(
        deg=deg,
        unfiltered_deg=27.31,
        unfiltered_bearing_true_deg=300.0,
        unfiltered_distance_m=180.0,
        bearing_true_deg=300.0 if known else None,
        distance_m=180.0 if known else None,
        rise_m=93.0 if known else None,
        place=SPOT if known else None,
        stand=SPOT if known else None,
        chainage_m=40.0 if known else None,
        top=None,
    )


def overhead_of(
    seen: SightAnswer | None, path_deg: float | None = None, *, inside: bool = False
) -> OverheadAnswer:
    path = None if path_deg is None else PathAnswer(path_deg, 300.0, 210.0, 93.0, SPOT, SPOT, 40.0, ())
    return OverheadAnswer(
        inside, 12.0 * inside, inside, 12.0 * inside, None, 30.0, 55.0, 24.0, 1000.0, 15.0, seen, seen, path
    )


@pytest.mark.parametrize(
    ("overhead", "unknown", "words"),
    [
        (None, False, ""),
        (overhead_of(None, inside=True), False, "in a start zone; no start zone found overhead"),
        (overhead_of(None), True, "overhead unknown"),
        # 300 - D = 300.6 magnetic.
        (overhead_of(sight(27.31)), False, "overhead 27.4°, look 301° magnetic"),
        (
            overhead_of(sight(27.31), 24.01),
            True,
            "overhead at least 27.4°, look 301° magnetic; path angle at least 24.1°",
        ),
        (overhead_of(sight(None)), False, "overhead 27.4° by sight alone, no path down to here found"),
        # It said that no path was found, and told the path's angle.
        (overhead_of(sight(None), 24.01), False, "overhead 27.4°, hidden; path angle 24.1°"),
        (overhead_of(None, 24.01), False, "path angle 24.1°"),
    ],
)
def test_overhead_is_shown_where_the_screening_has_it(
    by_hand: RouteScreening, overhead: OverheadAnswer | None, unknown: bool, words: str
) -> None:
    leg = replace(by_hand.legs[2], overhead=overhead, unknown_above=unknown)
    (found,) = make_card(replace(by_hand, legs=(leg,)), BNG).legs
    assert found.ground is not None
    assert overhead_text(found.ground.overhead) == words


def test_the_sight_from_outside_a_start_zone_is_named_beside_the_one_from_within(
    by_hand: RouteScreening,
) -> None:
    within, outside = sight(33.0), replace(sight(27.31), chainage_m=155.4, distance_m=941.9, rise_m=505.2)
    for other, unknown, words in (
        (
            outside,
            False,
            "from outside the zone, 155 m along: 27.4°, look 301° magnetic, 941 m off, 506 m up",
        ),
        (
            outside,
            True,
            "from outside the zone, 155 m along: at least 27.4°, look 301° magnetic, 941 m off, 506 m up",
        ),
        (within, False, ""),
        (sight(None), False, ""),
        (None, False, ""),
    ):
        looks = replace(overhead_of(within, inside=True), sight_outside=other)
        leg = replace(by_hand.legs[2], overhead=looks, unknown_above=unknown)
        (found,) = make_card(replace(by_hand, legs=(leg,)), BNG).legs
        assert found.ground is not None
        first, second = overhead_lines(found.ground.overhead)
        assert first.startswith("in a start zone; overhead ")
        assert second == words
        assert overhead_text(found.ground.overhead) == (f"{first}; {second}" if words else first)
        assert found.ground.overhead is not None
        assert (found.ground.overhead.outside is None) == (not words)


def test_one_leg_between_places() -> None:
    start, end = parse_place("HX 166 712"), parse_place("HX 1750 7100")
    card = card_between(start, end, CardSettings(DAY, "bng", 25_000.0, 60.0))
    (leg,) = card.legs
    bearings = leg_bearings(start, end, DAY, "bng")
    assert leg.bearing_magnetic_deg == bearings.bearing_magnetic_deg
    # From 216650, 1071250 to 217505, 1071005: hypot(855, 245) = 889.41 m on the grid, 889.4 on the ground.
    assert leg.map_mm == pytest.approx(889.41 / 25.0, abs=0.02)
    assert (leg.ground, leg.time_min, leg.ascent_m, leg.checks) == (None, None, None, ())
    assert steepness_text(leg.ground) == "unknown"
    assert card.totals.open_above
    assert card.time_words == (
        "Without an elevation model (--dem): no heights, no time, and nothing of how steep the ground is.",
    )
    assert card.notes[-2:] == (
        "HX 166 712 names a square: its centre is taken, up to 71 m off.",
        "HX 1750 7100 names a square: its centre is taken, up to 8 m off.",
    )
    assert [caution.key for caution in card.cautions] == ["forecast", "angle_alone", "magnetic"]


def test_the_json_has_the_keys_of_the_contract(by_hand: RouteScreening) -> None:
    plain = as_json("card", make_card(by_hand, BNG))
    assert {
        "bearing_true_deg", "bearing_grid_deg", "bearing_magnetic_deg", "back_bearing_magnetic_deg",
        "declination_deg", "declination_uncertainty_deg", "convergence_deg", "length_m", "map_mm", "paces",
        "time_min", "arrival", "number", "from", "to", "checks", "ground", "beside", "cautions",
    } <= set(plain["legs"][0])  # fmt: skip
    for key in _keys(plain):
        if "bearing" in key and key.endswith("_deg"):
            assert re.search(r"_(true|grid|magnetic)_deg$", key), key


def _keys(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [*value, *(key for item in value.values() for key in _keys(item))]
    return [key for item in value for key in _keys(item)] if isinstance(value, list) else []


def test_cautions_of_readings_and_of_the_needle_join_those_of_the_screening(by_hand: RouteScreening) -> None:
    keys = [caution.key for caution in make_card(by_hand, BNG).cautions]
    assert keys[: len(by_hand.cautions)] == [caution.key for caution in by_hand.cautions]
    assert {"magnetic", "reading_local"} <= set(keys)
    late = make_card(by_hand, CardSettings(dt.date(2029, 8, 1), "bng"))
    assert late.cautions[-1].text == (
        "The World Magnetic Model 2025 ends on 1 January 2030: take the next model for plans beyond."
    )


@pytest.mark.parametrize(
    ("error", "choice", "message"),
    [
        (
            PlaceError,
            {"grid": "os"},
            "A grid should be one of bng, utm, mgrs, latlon; got 'os'. Choose one.",
        ),
        (
            QuantityError,
            {"bearing_unit": "gon"},
            "Bearings are printed in deg or mil; got 'gon'. Choose one of the two.",
        ),
        (
            QuantityError,
            {"paces_per_100m": 5.0},
            "Paces to 100 m should be 20 to 500; got 5. Count them over a measured 100 m.",
        ),
        (
            QuantityError,
            {"allowances": Allowances(breaks_min=30.0)},
            "Breaks on a card are minutes for each hour walked; got 30 minutes besides. Give --breaks.",
        ),
        (
            DateError,
            {"start": dt.datetime(2027, 1, 1, 8, 30)},
            "A start needs its time zone; got 08:30 without. Add --zone.",
        ),
    ],
)
def test_choices_that_are_refused(error: type[Exception], choice: dict[str, Any], message: str) -> None:
    with pytest.raises(error, match=exactly(message)):
        CardSettings(DAY, **choice)


def test_one_place_is_no_leg() -> None:
    place = parse_place("59.22345, -3.67890")
    message = "A leg needs two different places; both lie at 59.22345, -3.67890. Drop one of them."
    with pytest.raises(RouteError, match=exactly(message)):
        card_between(place, place, BNG)


def test_a_line_in_two_utm_zones_says_so() -> None:
    """By 4 degrees the grids of two zones differ at 47 north, and a card's scale is set for one."""
    west, east = Place(47.0, 11.99), Place(47.0, 12.01)
    for grid, told in (("utm", True), ("mgrs", True), ("latlon", False)):
        card = card_between(west, east, CardSettings(DAY, grid))
        assert ("grid_zones" in {caution.key for caution in card.cautions}) is told
    apart = [leg_bearings(*ends, DAY).convergence_deg for ends in ((west, east), (east, west))]
    assert apart[0] - apart[1] == pytest.approx(4.37, abs=0.01)
    inside = card_between(west, Place(47.0, 11.98), CardSettings(DAY, "utm"))
    assert "grid_zones" not in {caution.key for caution in inside.cautions}
    across_the_equator = card_between(Place(-0.01, 11.9), Place(0.01, 11.9), CardSettings(DAY, "utm"))
    assert "grid_zones" not in {caution.key for caution in across_the_equator.cautions}


@pytest.mark.parametrize(
    ("zone", "noon"),
    [
        ("Europe/London", None),
        ("Asia/Dubai", "16:41"),
        ("America/St_Johns", None),
        ("Pacific/Auckland", "01:40"),
    ],
)
def test_a_zone_of_other_ground_is_a_caution(zone: str, noon: str | None) -> None:
    """A zone kept from another journey had "6 h before sunset" three hours before it."""
    card = card_between(
        Place(59.21, -8.04), Place(59.22, -8.05), CardSettings(dt.date(2027, 1, 15), zone=zone)
    )
    found = [caution.text for caution in card.cautions if caution.key == "zone_far"]
    far = f"The time zone {zone} is not that of this ground: by it the sun stands highest at {noon}."
    assert found == ([] if noon is None else [f"{far} Check --zone."])
