"""A card as CSV and GeoJSON."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from tests.conftest import SamplePlan
from tests.on_grid import model, route_on
from tests.synthetic import Plane
from tests.test_names import BAD, GOOD

from steybrae.answers.overhead import zone_lengths_text
from steybrae.bands import BandScheme
from steybrae.card import CardSettings, RouteCard, card_between, make_card
from steybrae.card.wording import overhead_text
from steybrae.files.cards import card_cautions_text, card_csv, card_geojson, card_gpx
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.pages.report.words import leg_words
from steybrae.quantities import shown_slope_deg
from steybrae.route.positions.places import Place
from steybrae.screening import Settings, screen_route

DAY = dt.date(2027, 1, 15)


@pytest.fixture(scope="module")
def card(sample_plan: SamplePlan) -> RouteCard:
    return make_card(sample_plan.screening, CardSettings(DAY, "bng", 25_000.0, 65.0))


def test_csv_tells_what_is_overhead(card: RouteCard) -> None:
    """A gentle leg below a headwall read like any gentle leg."""
    rows = list(csv.DictReader(io.StringIO(card_csv(card))))
    for row, leg in zip(rows, card.legs, strict=True):
        found = leg.ground.overhead
        angles = (found.sight_deg, found.unfiltered_deg, found.path_deg)
        deg = max((angle for angle in angles if angle is not None), default=None)
        assert row["overhead_deg"] == ("" if deg is None else f"{shown_slope_deg(deg):.10g}")
        assert row["unknown_above"] == ("yes" if found.unknown_above else "no")
        assert (row["in_start_zone"] == "yes") == found.in_start_zone
    assert (rows[2]["slope_max_deg"], rows[2]["overhead_deg"], rows[2]["unknown_above"]) == (
        "15.3",
        "41.6",
        "no",
    )
    bare = list(
        csv.DictReader(io.StringIO(card_csv(replace(card, legs=(replace(card.legs[0], ground=None),)))))
    )
    assert (bare[0]["in_start_zone"], bare[0]["overhead_deg"]) == ("unknown", "")
    assert bare[0]["unknown_above"] == "yes"


def test_a_leg_on_cliffs_stands_on_a_source_and_in_no_possible_start_zone() -> None:
    """Card, report and CSV said "possible" of 70 degrees, where `ground` said "steeper"."""
    dem = model(Plane(70.0, 90.0), (41, 41))
    found = screen_route(route_on(dem, [(0.0, -100.0), (0.0, 100.0)]), dem, Settings(reach_m=100.0))
    card = make_card(found, CardSettings(DAY))
    above = card.legs[0].ground.overhead
    assert overhead_text(above).startswith("on ground steeper than a start zone, and a source; overhead")
    (row,) = csv.DictReader(io.StringIO(card_csv(card)))
    assert row["in_start_zone"] == "steeper"
    words = leg_words(found.legs[0], BandScheme()).above
    assert words[0] == "200 m lie on ground steeper than a start zone, and a source, or in a possible one."
    assert zone_lengths_text(found).endswith("200 m with possible ones and steeper ground")


def test_csv_has_a_row_a_leg_rounded_against_the_reader(card: RouteCard) -> None:
    rows = list(csv.DictReader(io.StringIO(card_csv(card))))
    assert len(rows) == len(card.legs) == 19
    for row, leg in zip(rows, card.legs, strict=True):
        assert leg.time_min is not None
        assert leg.ground is not None
        assert (row["from"], row["to"]) == (leg.from_, leg.to)
        assert 0.0 <= float(row["time_min"]) - leg.time_min < 1.0
        assert leg.ground.slope_max_deg is not None
        assert 0.0 <= float(row["slope_max_deg"]) - leg.ground.slope_max_deg < 0.1 + 1e-9
        assert abs(float(row["bearing_magnetic_deg"]) - leg.bearing_magnetic_deg) <= 0.05 + 1e-9
        assert row["open_above"] == ("yes" if leg.ground.open_above else "no")
        assert row["checks"].split() == [check.number for check in leg.checks]
        assert row["cautions"].split() == [caution.key for caution in card.cautions]
    *told, none = [line.split("\t") for line in card_cautions_text(card).splitlines()]
    assert told == [[c.key, c.text] for c in card.cautions]
    assert none == ["no_forecast", NO_FORECAST_WORDS]


def test_csv_says_what_unknown_ground_may_make_more(card: RouteCard) -> None:
    second = replace(card.legs[1], ascent_at_least=True, time_at_least=True)
    legs = (card.legs[0], second, *card.legs[2:])
    rows = list(csv.DictReader(io.StringIO(card_csv(replace(card, legs=legs)))))
    own = [leg.ascent_at_least for leg in legs]
    assert [row["ascent_at_least"] == "yes" for row in rows] == own
    first = next(k for k, leg in enumerate(legs) if leg.time_at_least)
    assert [row["arrival_at_least"] == "yes" for row in rows] == [k >= first for k in range(len(legs))]


def test_csv_without_a_model_leaves_cells_empty_and_ground_unknown() -> None:
    card = card_between(Place(57.0, -10.0, "A"), Place(57.01, -10.0, "B"), CardSettings(DAY))
    (row,) = csv.DictReader(io.StringIO(card_csv(card)))
    empty = (
        "map_mm",
        "paces",
        "ascent_m",
        "time_min",
        "arrival",
        "slope_max_deg",
        "steep_m",
        "bearing_grid_deg",
    )
    assert [row[name] for name in empty] == [""] * len(empty)
    # 0.01 degree of latitude at 57 is 1113.6 m; all of it is unknown ground.
    assert (row["open_above"], row["unknown_m"]) == ("yes", "1114")


def test_geojson_has_lines_and_points_with_the_keys_of_the_contract(card: RouteCard) -> None:
    whole = json.loads(card_geojson(card))
    kinds = [feature["geometry"]["type"] for feature in whole["features"]]
    assert kinds.count("LineString") == 19
    assert kinds.count("Point") == card.totals.checks
    assert [caution["key"] for caution in whole["cautions"]] == [caution.key for caution in card.cautions]
    first = whole["features"][0]
    start, end = card.legs[0].from_place, card.legs[0].to_place
    assert first["geometry"]["coordinates"] == [
        [round(place.lon_deg, 7), round(place.lat_deg, 7)] for place in (start, end)
    ]
    assert first["properties"]["bearing_magnetic_deg"] == card.legs[0].bearing_magnetic_deg
    assert whole["schema"] == "steybrae/1"


def test_a_hostile_name_is_no_formula_and_leaves_a_table_and_a_gpx_whole() -> None:
    card = card_between(Place(57.0, -10.0, BAD), Place(57.01, -10.0, f"{BAD}]]>"), CardSettings(DAY))
    text = card_csv(card)
    (row,) = csv.DictReader(io.StringIO(text))
    assert (row["from"], row["to"]) == (f"'{GOOD}", f"'{GOOD}]]>")
    assert len(text.splitlines()) == 2
    names = [name.text for name in ET.fromstring(card_gpx(card)).iter() if name.tag.endswith("}name")]  # noqa: S314
    assert {GOOD, f"{GOOD}]]>"} <= set(names)
