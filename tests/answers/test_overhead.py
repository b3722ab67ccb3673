"""What looks down, in tables, words and pictures."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from matplotlib.text import Text

from steybrae.answers.ground import ground_lines
from steybrae.answers.overhead import (
    CHECKS_RANGE,
    baselines_note,
    baselines_text,
    path_text,
    reading_interval_text,
    sight_text,
    zone_lengths_text,
)
from steybrae.answers.route import RouteView, route_document
from steybrae.figures.ground_figure import ground_figure
from steybrae.figures.route_figure import route_figure
from steybrae.files.model.rasters import open_model
from steybrae.pages.report.told import method_rows
from steybrae.render.terminal import terminal_text
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.positions.places import Place
from steybrae.screening.basis import zone_text, zones_text
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.pictures.drawn import map_notes
from steybrae.terrain.overhead.unknown import UnknownAt
from steybrae.terrain.start_zones import StartRules


@pytest.fixture(scope="module")
def opened(sample_dem):
    with open_model([sample_dem / "stey_massif.tif"]) as found:
        yield found


@pytest.fixture(scope="module")
def sample(sample_plan):
    return sample_plan.screening


@pytest.fixture(scope="module")
def printed(sample):
    return terminal_text(route_document(sample, RouteView(everything=True)), 120)


def ground(opened, sample, **settings):
    stand = sample.legs[2].overhead.sight.stand
    place = Place(stand.lat_deg, stand.lon_deg)
    return with_above(ground_at(place, opened), place, opened, **settings)


def test_angles_and_rises_go_up_and_distances_down(sample):
    looks = sample.legs[2].overhead
    assert (looks.sight.distance_m, looks.sight.rise_m) == (
        pytest.approx(433.7, abs=0.1),
        pytest.approx(384.2, abs=0.1),
    )
    assert sight_text(looks.sight) == "41.6° towards 340° true, 433 m off, 385 m up"
    assert path_text(looks.path) == "41.6° along 433 m of way, 385 m down, from 340° true"
    assert zone_text(looks) == "ground of 30.0° to 55.0° over 20 m or two cells"
    hidden = replace(looks.sight, deg=None, bearing_true_deg=None, distance_m=None, rise_m=None)
    assert sight_text(hidden) == "none in the open"


def test_metres_in_zones_are_at_least_that_beside_unknown_ground(sample, printed):
    """Lines side by side said so, and the day's own headline did not."""
    assert any(leg.overhead.known_to_m == 0.0 for leg in sample.legs)
    sure, possible = (math.ceil(metres) for metres in zone_metres(sample))
    words = f"At least {sure} m of the line in a start zone, at least {possible} m with possible ones"
    words += " and steeper ground"  # leg 12 has 58.2 degrees
    assert zone_lengths_text(sample) == words
    assert words in " ".join(printed.split())
    known = [replace(leg, overhead=replace(leg.overhead, known_to_m=None)) for leg in sample.legs]
    assert zone_lengths_text(replace(sample, legs=tuple(known))).startswith(f"{sure} m of")


def zone_metres(sample):
    return sample.totals.in_start_zone_m, sample.totals.in_possible_zone_m


def test_an_interval_is_rounded_outwards(sample):
    reading = replace(sample.legs[0].expected_readings[0], expected_deg=41.51, low_deg=40.69, high_deg=42.41)
    assert reading_interval_text(reading) == "41.6° (40.6 to 42.5°)"
    assert reading_interval_text(replace(reading, high_deg=None)) == "41.6° (40.6 to unknown)"


def test_baselines_say_what_was_measured_and_what_could_not_be():
    ten = LegBaseline(10.0, None, None, None, True, "Cells too large; the least that they can show is 20 m.")
    twenty = LegBaseline(20.0, (20.0, 20.0), 15.17, 1.0, False, "")
    fifty = LegBaseline(50.0, (40.0, 40.0), 14.25, 1.0, True, "")
    assert baselines_text((ten, twenty, fifty)) == "over 20 m 15.2°, over 50 m at least 14.3°"
    assert baselines_note((ten, twenty, fifty)) == [
        "Baselines measured: 50 m over 40 m; none over 10 m: the model's cells are too large for it; the "
        "least that they can show is 20 m."
    ]
    assert baselines_note((twenty,)) == []


def test_the_table_leads_with_the_open_sight_and_keeps_to_120_columns(printed, sample):
    assert max(map(len, printed.splitlines())) <= 120
    assert "…" not in printed
    rows = [line.split() for line in printed[printed.index("Start zones overhead") :].splitlines()]
    third = next(row for row in rows if row[:1] == ["3"])
    assert third[:8] == ["3", "41.6°", "340°", "433", "385", "41.6°", "-", "-"]
    last = next(k for k, row in enumerate(rows) if row[:1] == ["18"])
    looks = sample.legs[17].overhead
    assert looks.in_start_zone
    assert looks.sight_outside.distance_m > 150.0
    assert any(str(int(looks.sight_outside.distance_m)) in row for row in rows[last : last + 4])
    flat = " ".join(printed.split())
    assert "the open ones lead" in flat
    assert "Neither says how far it would run." in flat
    assert "(model's 95 %)" in flat
    assert flat.count(CHECKS_RANGE) == 1
    told = "overhead at least 41.6° (leg 3; from within a start zone at least 43.5°, leg 17)."
    assert told in flat


def test_unknown_above_is_never_nothing(sample):
    leg = replace(sample.legs[6], unknown_above=True)
    text = terminal_text(route_document(replace(sample, legs=(leg,)), RouteView(everything=True)), 120)
    (row,) = (line.split() for line in text.splitlines() if line.split()[:2] == ["7", "unknown"])
    assert row[1] == "unknown"
    assert "none of 18°+" not in text


def test_the_picture_shows_why(sample):
    axes = next(axes for axes in route_figure(sample).axes if axes.get_gid() == "map")
    by_gid = {artist.get_gid(): artist for artist in axes.get_children() if artist.get_gid()}
    (floor,) = (place for place in sample.places if place.at_length and place.kinds[0] == "overhead")
    assert by_gid[f"place {floor.name}"].get_text() == f"{floor.name} \N{NORTH EAST ARROW} at least 41.6°"
    assert f"sight {floor.name}" in by_gid


def test_the_legend_explains_the_signs(sample):
    legend = next(axes for axes in route_figure(sample).axes if axes.get_gid() == "legend")
    words = {text.get_text() for text in legend.texts}
    assert {
        "start zone",
        "↗ sight to a start zone, of a place told at length; terminal and card have all",
        "B: place that matters",
    } <= words
    bare = replace(sample, relief=replace(sample.relief, zones=None))
    legend = next(axes for axes in route_figure(bare).axes if axes.get_gid() == "legend")
    assert "start zones not drawn" in {text.get_text() for text in legend.texts}
    notes = " ".join(" ".join(text.get_text() for text in route_figure(bare).findobj(Text)).split())
    assert "; start zones are not drawn: their outlines lie too close, or the map is too large" in notes
    frame = f"frame in {bare.relief.crs_name}"
    assert ("Map", (frame, *map_notes(bare.relief))) in method_rows(bare, bare.relief)
    assert map_notes(bare.relief)[0] in notes
    assert notes.count("95 % interval for pieces") == 1
    assert "from: 95 %" not in notes


def test_a_place_in_words_and_with_an_arrow(opened, sample):
    found = ground(opened, sample)
    text = "\n".join(ground_lines(found))
    assert "Overhead 41.6° towards 340° true, 433 m off, 385 m up (open sight" in text
    assert "Top of that zone 41.4° towards 337° true, 451 m off, 398 m up" in text
    assert "Check (a): 41.6° (40.4 to 42.7°), look 340° true" in text
    assert "teaching" not in text
    labels = [label.get_text() for label in ground_figure(found).axes[0].texts]
    assert "start zone\n41.6°, 433 m" in labels
    taught = "\n".join(ground_lines(ground(opened, sample, published=True)))
    assert "This predicts nothing for this slope." in taught


def test_one_angle_overhead_is_told_once(opened, sample):
    """The top of the zone is what is seen, a possible one rises by nothing shown: two lines more."""
    found = ground(opened, sample)
    sight = found.overhead.sight
    top = replace(sight.top, deg=sight.deg, distance_m=sight.distance_m, rise_m=sight.rise_m)
    looks = replace(found.overhead, sight=replace(sight, top=top), possible_deg=sight.unfiltered_deg + 1e-4)
    text = "\n".join(ground_lines(replace(found, overhead=looks)))
    assert "Overhead 41.6° towards 340° true, 433 m off" in text
    assert "Top of that zone" not in text
    assert "possible start zone, whatever" not in text
    steeper = replace(looks, possible_deg=sight.unfiltered_deg + 1.0)
    assert "Up to a possible start zone, whatever lies between: 42.6°" in "\n".join(
        ground_lines(replace(found, overhead=steeper))
    )


def test_a_place_in_a_start_zone_says_so_first(opened):
    place = Place(59.2360, -8.0705)
    lines = list(ground_lines(with_above(ground_at(place, opened), place, opened)))
    assert lines[2].startswith("This place stands in a start zone: ground of 30.0° to 55.0°")


def test_nothing_known_above_a_place_is_said(opened, sample):
    found = replace(ground(opened, sample), overhead=None)
    assert "Overhead: unknown" in list(ground_lines(found))
    seen = ground(opened, sample)
    nothing = replace(seen, overhead=replace(seen.overhead, sight=None, path=None, known_to_m=None))
    assert "Overhead: no start zone at 18° and more within 3 km" in list(ground_lines(nothing))
    short = replace(nothing, overhead=replace(nothing.overhead, known_to_m=399.9))
    said = "Overhead: no start zone at 18° and more within 3 km, of which all is known only to 399 m"
    assert said in list(ground_lines(short))
    sight = replace(seen.overhead.sight, hidden=True)
    longer = replace(seen.overhead, sight=sight, path=replace(seen.overhead.path, deg=45.0))
    told = [line for line in ground_lines(replace(seen, overhead=longer)) if "°" in line]
    first = next(line for line in told if line.startswith("Overhead"))
    assert first.startswith("Overhead path angle 45.0° along")
    hidden = next(line for line in told if line.startswith("41.6°"))
    assert "385 m up, hidden (sight, with ground above its line, to a start zone" in hidden
    at = UnknownAt(1049.0, 91.0, model_ends=True)
    unsure = replace(nothing, unknown_above=True, unknown_above_at=at)
    lines = list(ground_lines(unsure))
    # The reason stood above the figure that it is the reason of.
    first = lines.index("Overhead: unknown")
    assert lines[first + 1] == "Overhead may hold more: the model ends 1.0 km east"


def test_start_zones_of_cells_whose_ends_are_not_known_rest_on_no_interval(sample):
    looks = replace(sample.legs[2].overhead, possible_from_deg=8.4)
    assert "by its slope or the middle of its 95 % interval" in zones_text(looks, StartRules(), 40.0)
    open_above = zones_text(looks, StartRules(), 62.0)
    assert "interval" not in open_above
    assert "ground of 8° and more, as if the ends of smaller cells held for cells of 62 m" in open_above


def test_start_zones_of_fine_cells_are_said_to_be_told_from_joined_ones(sample):
    looks = sample.legs[2].overhead
    said = "within 3 km, told from cells joined to about 10 m (area asks single cells too, may find more); "
    for cell_m, joined in ((1.0, True), (5.0, True), (10.0, False)):
        assert (said in zones_text(looks, StartRules(), cell_m)) == joined
