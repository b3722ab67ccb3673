"""What the tables of a screened route say, read from a terminal."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from tests.conftest import SamplePlan
from tests.on_grid import model, route_on, towards
from tests.synthetic import GaussianHill, Plane

from steybrae.answers.card import card_document
from steybrae.answers.route import RouteView, route_document
from steybrae.bands import BandScheme, bands_text
from steybrae.card import CardSettings, make_card
from steybrae.card.wording import totals_lines
from steybrae.document import Document, Table
from steybrae.pages.report.words import totals_words
from steybrae.render.terminal import terminal_text
from steybrae.screening import RouteScreening, Settings, screen_route
from steybrae.screening.totals import route_totals
from steybrae.terrain.dem import Dem

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo|ok|okay|danger-free|harmless)\b", re.IGNORECASE)
SCHEME = BandScheme()


def printed(screening: RouteScreening, width: int = 160) -> str:
    return terminal_text(route_document(screening, RouteView(everything=True)), width)


def flat(text: str) -> str:
    return " ".join(text.split())


def screened(surface, points, settings=None, names=()) -> RouteScreening:
    dem = surface if isinstance(surface, Dem) else model(surface)
    return screen_route(route_on(dem, points, names), dem, settings)


@pytest.mark.parametrize(
    ("slope_deg", "shown"), [(34.91, "35.0°"), (34.9, "34.9°"), (29.93, "30.0°"), (12.301, "12.4°")]
)
def test_slopes_are_rounded_up(slope_deg, shown):
    found = screened(Plane(slope_deg, 90.0), towards(40.0, 400.0))
    leg = replace(found.legs[0], slope_max_deg=slope_deg, slope_corridor_max_deg=slope_deg)
    totals = replace(found.totals, slope_max_deg=slope_deg, slope_corridor_max_deg=slope_deg)
    text = flat(printed(replace(found, legs=(leg,), totals=totals)))
    assert f"Steepest on the line {shown} (leg 1), in the corridor {shown} (leg 1)" in text
    assert text.count(shown) >= 4


def test_a_slope_shown_as_35_0_is_in_the_band_from_35():
    fine = model(Plane(34.93, 90.0), cell_m=4.0)  # cells that add nothing to what is stated
    text = flat(printed(screened(fine, towards(40.0, 150.0), Settings(vertical_error_m=0.01))))
    assert "possible bands 35-40." in text
    assert "34.9" not in text.replace("(34.8 to", "").replace("(34.9 to", "")


def test_the_interval_is_rounded_outwards():
    found = screened(Plane(33.0, 90.0), towards(40.0, 400.0))
    leg = replace(found.legs[0], slope_low_deg=24.39, slope_high_deg=40.41)
    assert "(24.3 to 40.5°)" in printed(replace(found, legs=(leg,)))


def test_the_headline_of_a_known_line():
    text = flat(
        printed(screened(GaussianHill(300.0, 200.0), [(-500.0, 0.0), (0.0, 0.0)], Settings(interval_m=20.0)))
    )
    assert "drawn line (route, 1 leg, 0.50 km): up " in text
    assert "Steepest on the line 42." in text
    headline = text.split(", overhead ")[0]
    assert "at least" not in headline
    assert "unknown" in text  # the column of unknown metres is always there
    assert "unknown ground" not in headline
    assert re.search(r"up \d+ m, down 0 m \(up as counted on the map: \d+0 m\) Steepest", text)
    assert "Ups and downs under 5 m are not counted." in text
    assert (
        "Corridor: position error 10 m, or that of a reference's square where larger, and 3° of drift, "
        "at least 30 m each side; its slopes over 20 m, and the line's own cells." in text
    )
    assert "95 % interval for pieces of 20 m: what cells of 10.0 m hide, by how rough" in text
    assert "the usual worst survey error for 10.0 m cells (1.5 m, 1 SD, correlation 50 m)" in text


@pytest.mark.parametrize(("cell_m", "over"), [(10.0, ""), (30.0, "over 60 m ")])
def test_the_headline_says_over_what_coarse_cells_measure(cell_m, over):
    ground = model(Plane(33.0, 90.0), (81, 81), cell_m)
    found = screened(ground, towards(40.0, 150.0), Settings(reach_m=100.0))
    for text in (flat(printed(found)), " ".join(totals_words(found))):
        assert re.search(rf"Steepest {over}on the line 33\.[01]° \(leg 1\)", text)


def test_unknown_ground_is_said_in_words_everywhere():
    text = flat(printed(screened(Plane(32.95, 90.0), [(0.0, 0.0), (1005.0, 0.0)])))
    assert "Steepest on the line at least 33.0° (leg 1)" in text
    assert "in the corridor at least 33.0°" in text
    assert "or steeper." in text
    assert "up at least 0 m, down at least" in text
    assert "unknown ground 420 m" in text  # 1005 - 585 m, rounded up where need be
    assert "| - unknown" in text  # both sides of the last part


def test_a_leg_wholly_unknown_has_no_figure():
    dem = model(Plane(33.0, 90.0))
    heights = dem.heights_m.copy()
    heights[:, 55:] = np.nan
    text = printed(screened(Dem(dem.grid, heights), [(-300.0, 0.0), (100.0, 0.0), (500.0, 0.0)]))
    row = next(line for line in text.splitlines() if line.strip().startswith("2 "))
    assert row.count("unknown") >= 2
    assert "°" not in row.replace("30° | 45°", "")
    assert "<25" not in row


def test_metres_of_unknown_and_steep_ground_round_up_and_distances_down():
    found = screened(Plane(33.0, 90.0), towards(40.0, 400.0))
    leg = found.legs[0]
    near = replace(leg.sides.left[0], distance_m=24.9) if leg.sides.left else None
    assert near is not None
    sides = replace(leg.sides, left=(near,))
    changed = replace(leg, steep_m=120.2, steep_stretch_m=80.01, unknown_m=0.2, sides=sides)
    text = flat(printed(replace(found, legs=(changed,))))
    assert "121" in text
    assert "(81)" in text
    assert "L 24 | -" in text
    assert re.search(r"\b1\b", text)


def test_metres_of_unknown_ground_have_a_column_where_a_leg_has_some():
    """A column of dashes had made a table of its own below the legs'."""
    found = screened(Plane(33.0, 90.0), towards(40.0, 400.0))
    holed = tuple(replace(leg, unknown_m=7.0) for leg in found.legs)
    for legs, there in ((found.legs, False), (holed, True)):
        document = route_document(replace(found, legs=legs), RouteView(legs=True))
        heads = [
            column.heading
            for table in document.blocks
            if isinstance(table, Table)
            for column in table.columns
        ]
        assert any("Unknown" in head for head in heads) == there


def test_short_steep_pieces_stand_beside_the_slope_over_20_m():
    """A bank of 1 m cells, 3 m high at 45 degrees."""
    east = np.arange(201) + 0.5 - 100.5
    bank = np.broadcast_to(np.clip(east, 0.0, 3.0), (201, 201))
    dem = Dem(model(Plane(0.0, 0.0), (201, 201), 1.0).grid, bank)
    text = flat(printed(screened(dem, [(-80.0, 3.0), (80.0, 3.0)])))
    assert "Steepest on the line at least 12.1° (leg 1), short pieces to 45.0°, in the corridor" in text
    assert "possible bands <25 to 45-55 or steeper" in text


def test_short_pieces_are_told_with_their_leg_where_it_is_another(sample_plan: SamplePlan):
    """They once stood behind the leg of the steepest slope, as if they were there."""
    day = sample_plan.screening
    beside = day.totals.slope_corridor_max_leg
    assert beside != 19
    for other, where in ((beside, ""), (19, " (leg 19)")):
        legs = tuple(
            replace(leg, short_corridor_max_deg=88.03 if leg.number == other else None) for leg in day.legs
        )
        found = replace(day, legs=legs, totals=route_totals(legs, SCHEME, day.places))
        shown = f"(leg {beside}), short pieces to 88.1°{where}"
        assert f"{shown}, overhead" in flat(printed(found))
        assert any(f"{shown}." in text for text in totals_words(found))
        card = make_card(found, CardSettings(dt.date(2027, 1, 15), "latlon"))
        assert any(text.endswith(shown) for text in totals_lines(card))
    legs = tuple(
        replace(
            leg,
            slope_max_deg=20.0 if leg.number == 12 else 15.0,
            short_slope_max_deg=40.0 if leg.number in (3, 5) else None,
        )
        for leg in day.legs
    )
    found = replace(day, legs=legs, totals=route_totals(legs, SCHEME, day.places))
    assert "(leg 12), short pieces to 40.0° (leg 3), in the corridor" in flat(printed(found))


def test_what_of_the_file_was_not_screened_stands_before_the_places():
    found = replace(
        screened(Plane(0.0, 0.0), [(-80.0, 3.0), (80.0, 3.0)]),
        notes=(
            "A track was read.",
            "Joined 2 parts by straight lines; the longest break is 448 m.",
            "Passed over in the file: 1 further track.",
        ),
    )
    told = flat(terminal_text(route_document(found), 120))
    lost = ("Passed over in the file: 1 further track.", "Joined 2 parts by straight lines")
    assert all(0 < told.index(words) < told.index("Legs without 30°+") for words in lost)
    assert "A track was read." not in told
    whole = flat(printed(found))
    assert all(whole.count(words) == 1 for words in (*lost, "A track was read."))


def test_no_upper_end_is_said():
    dem = model(Plane(28.0, 90.0), cell_m=62.0)
    text = flat(printed(screened(dem, towards(30.0, 500.0))))
    assert "to unknown)" in text
    assert "at least 28.1°" in text
    assert "25-30 or steeper" in text


def test_no_table_passes_a_verdict():
    for surface in (Plane(5.0, 0.0), Plane(60.0, 0.0), GaussianHill(300.0, 200.0)):
        assert not VERDICT.search(printed(screened(surface, towards(10.0, 400.0))))


@pytest.mark.parametrize(
    ("low", "high", "open_above", "words"),
    [
        (28.0, 28.0, False, "25-30"),
        (28.0, 36.0, False, "25-30 to 35-40"),
        (28.0, 28.0, True, "25-30 or steeper"),
        (28.0, 36.0, True, "25-30 to 35-40 or steeper"),
        (57.0, 60.0, True, "55+"),
        (10.0, 60.0, True, "<25 to 55+"),
    ],
)
def test_bands_in_words(low, high, open_above, words):
    assert bands_text(SCHEME.between(low, high), open_above=open_above) == words
    assert bands_text((), open_above=open_above) == "unknown"


def test_names_are_printed_as_they_are():
    """A name may hold what a terminal library takes for markup."""
    names = ["Hut [bold]", "Col [/red]", ":skull: Top"]
    text = printed(screened(Plane(20.0, 0.0), [(0.0, -300.0), (0.0, 0.0), (0.0, 300.0)], names=names))
    for name in names:
        assert name in text


def test_metres_in_bands_add_up_in_the_last_row():
    text = printed(screened(GaussianHill(300.0, 200.0), [(-500.0, 0.0), (0.0, 0.0), (300.0, 300.0)]))
    rows = [line.split() for line in text.splitlines()]
    start = next(k for k, row in enumerate(rows) if row[:3] == ["Leg", "<25", "25-30"])
    end = next(k for k, row in enumerate(rows) if row[:2] == ["Start", "zones"])
    body = [row for row in rows[start:end] if len(row) > 8 and row[0] in ("1", "2", "3", "all")]
    assert [row[0] for row in body] == ["1", "2", "all"]
    figures = np.array([[0.0 if cell == "-" else float(cell) for cell in row[1:9]] for row in body])
    # Each is rounded by itself, the gentlest down and all others up.
    more = figures[:2].sum(axis=0) - figures[2]
    assert -1.0 <= more[0] <= 0.0
    assert (more[1:] >= 0.0).all()
    assert (more <= 2.0).all()
    assert figures[2].sum() == pytest.approx(500.0 + 424.3, abs=8.0)


def test_steep_metres_do_not_depend_on_the_band_edges():
    found = screened(Plane(32.0, 90.0), towards(0.0, 300.0), Settings(bands=BandScheme((20.0, 35.0))))
    text = flat(printed(found))
    assert "m of 30°+" in text
    assert re.search(r"\b30[01]\b", text)
    assert "20-35" in text


def test_the_tables_fit_an_ordinary_terminal():
    found = screened(GaussianHill(300.0, 200.0), [(-500.0, 0.0), (0.0, 0.0)], names=["Foot", "Top"])
    lines = printed(found, width=120).splitlines()
    assert max(map(len, lines)) <= 120
    assert any("Steepest on line" in line for line in lines)
    assert not any("…" in line for line in lines)


@pytest.mark.parametrize("width", [*range(40, 201, 20)])
def test_no_word_of_a_table_is_cut_or_broken_at_any_width(sample_plan, width):
    found = sample_plan.screening
    card = make_card(found, CardSettings(dt.date(2027, 1, 15)))
    for document in (route_document(found, RouteView(everything=True)), card_document(card)):
        for table in (block for block in document.blocks if isinstance(block, Table)):
            text = terminal_text(Document("", (table,)), width)
            cells = (
                line for one in table.columns for row in (*table.rows, *table.foot) for line in one.lines(row)
            )
            words = Counter(" ".join((table.title, *(one.heading for one in table.columns), *cells)).split())
            assert not words - Counter(text.split())
            assert max(map(len, text.splitlines())) <= width
