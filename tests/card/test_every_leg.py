"""Every leg of every form of the card tells the corridor's steepest and a cliff below."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

import pytest
from tests.pages.drawn import as_worded
from tests.sheets.pdf_lines import words

from steybrae.answers.card import card_document
from steybrae.answers.route import RouteView, route_document
from steybrae.bands import BandScheme
from steybrae.card import CardSettings, RouteCard, make_card
from steybrae.card.checks import cliffs_below
from steybrae.card.wording import besides_texts, check_texts
from steybrae.files.cards import card_csv, card_gpx
from steybrae.files.model.rasters import open_model
from steybrae.files.results import sample_model, sample_route
from steybrae.files.routes import read_route
from steybrae.pages.phone import phone_page
from steybrae.pages.report.words import leg_words, reading_rows
from steybrae.render.terminal import terminal_text
from steybrae.screening import RouteScreening, screen_route
from steybrae.screening.places.words import letters_at, place_line, stretch_words
from steybrae.sheets.card_page import card_pdf
from steybrae.value import slope


@pytest.fixture(scope="module")
def screening() -> RouteScreening:
    with open_model([sample_model()]) as source:
        return screen_route(read_route(sample_route()), source)


def card_of(screening: RouteScreening, *, open_above: bool) -> RouteCard:
    legs = tuple(replace(leg, open_above=leg.open_above or open_above) for leg in screening.legs)
    return make_card(replace(screening, legs=legs), CardSettings(dt.date(2027, 1, 15), "latlon"))


def forms(card: RouteCard, folder: Path) -> dict[str, str]:
    """Text of the card in each form, spaces joined; on paper what leads, and the appendix."""
    return {
        "pdf": words(card_pdf(card), folder),
        "appendix": words(card_pdf(card, appendix=True), folder).partition("part 5 of")[2],
        "terminal": " ".join(terminal_text(card_document(card, whole=True), 400).split()),
        "printed": " ".join(terminal_text(card_document(card), 400).split()),
        "gpx": " ".join(card_gpx(card).split()),
        "csv": " ".join(card_csv(card).split()),
    }


@pytest.mark.parametrize("open_above", [False, True])
def test_every_form_tells_corridor_and_cliffs(
    screening: RouteScreening, tmp_path: Path, open_above: bool
) -> None:
    told = forms(card_of(screening, open_above=open_above), tmp_path)
    cliffs = 0
    for leg in screening.legs:
        least = "at least " if open_above or leg.open_above else ""
        corridor = f"corridor {least}{slope(leg.slope_corridor_max_deg).text}"
        for form in ("pdf", "appendix", "terminal", "printed", "gpx"):
            assert corridor in told[form], (form, leg.number)
        # "may be 42.1°" stood on a leg of which 194 m in 201 were unknown.
        end = f"on the line may be {slope(leg.slope_high_deg).text}{' or steeper' * bool(least)}"
        assert re.search(rf"{end}(?! or)", told["terminal"]), leg.number
        traps = [trap for trap in leg.terrain_traps if trap.kind == "cliff below"]
        if traps:
            cliffs += 1
            steepest = f"{least}{slope(max(trap.slope_deg or 0.0 for trap in traps)).text}"
            # The table that leads on paper has side and distance, the corridor's list the rest.
            assert steepest in told["pdf"].partition("Cliff below")[2], leg.number
            for form in ("appendix", "terminal", "gpx", "csv"):
                text = told[form]
                assert any(
                    f"Cliff below, {side}: {steepest}" in text or f"; {side}: {steepest}" in text
                    for side in ("to the left", "to the right", "ahead of you", "behind you")
                ), (form, leg.number)
    assert cliffs >= 5
    for form, text in told.items():
        assert not re.search(r"up to \d", text), form


def test_the_rim_of_the_sample_reads_its_edge(screening: RouteScreening, tmp_path: Path) -> None:
    """Leg 7 is 17.1 degrees itself and runs east along a rim; the face lies north of it."""
    card = card_of(screening, open_above=False)
    told = forms(card, tmp_path)
    cliff = "Cliff below, to the left: 59.2°, 60 m off, 40-310 m along"
    # The corridor's list once read "behind cliff below ...".
    assert all(cliff in told[form] for form in ("appendix", "terminal", "gpx", "csv"))
    assert cliff.removesuffix(" along") in told["pdf"]
    # "DROP 20 m left" once read as a height of 20 m: it is how far off the drop is.
    assert all("drop of 152 m, 20 m left" in told[form] for form in ("pdf", "terminal", "printed", "gpx"))
    assert "17.1°, corridor 56.0°, drop of 152 m, 20 m left, Cliff below, to the left" in told["gpx"]
    index = as_worded(phone_page(card, None)).partition('<ol class="index">')[2].partition("</ol>")[0]
    assert "drop of 152 m, 20 m left" in index.split("<li>")[7]
    row = list(csv.DictReader(io.StringIO(card_csv(card))))[6]
    assert (row["slope_max_deg"], row["slope_corridor_deg"], row["cliffs_below"]) == ("17.1", "56", cliff)


@pytest.mark.parametrize(
    ("turn_deg", "side"),
    [
        (0.0, "ahead"), (44.0, "ahead"), (46.0, "right"), (134.0, "right"), (136.0, "behind"),
        (180.0, "behind"), (-90.0, "left"),
    ],
)  # fmt: skip
def test_the_side_of_a_cliff_is_that_of_travel(screening: RouteScreening, turn_deg: float, side: str) -> None:
    leg = screening.legs[6]
    trap = next(trap for trap in leg.terrain_traps if trap.kind == "cliff below")
    turned = replace(trap, bearing_true_deg=(84.0 + turn_deg) % 360.0)
    (found,) = cliffs_below(replace(leg, terrain_traps=(turned,)))
    assert found.side == side
    assert (found.slope_max_deg, found.distance_m, found.parts) == (trap.slope_deg, trap.distance_m, 1)


def test_cliffs_of_one_side_are_told_by_the_steepest_and_the_nearest(screening: RouteScreening) -> None:
    leg = screening.legs[6]
    trap = next(trap for trap in leg.terrain_traps if trap.kind == "cliff below")
    near = replace(trap, slope_deg=56.0, distance_m=20.0, from_m=350.0, to_m=390.0)
    (found,) = cliffs_below(replace(leg, terrain_traps=(trap, near)))
    assert (found.slope_max_deg, found.distance_m) == (trap.slope_deg, 20.0)
    assert (found.from_m, found.to_m, found.parts) == (trap.from_m, 390.0, 2)


def test_what_is_printed_has_the_places_and_checks_of_the_paper(
    screening: RouteScreening, tmp_path: Path
) -> None:
    card = make_card(screening, CardSettings(dt.date(2027, 1, 15), "bng", 25000.0))
    told = forms(card, tmp_path)
    leading = [check for leg in card.legs for check in leg.checks if check.leads]
    assert len(leading) >= 5
    assert len(card.places) >= 20
    for form in ("pdf", "printed"):
        for check in leading:
            assert " ".join(check_texts(check)).split("; ")[0] in told[form], (form, check.number)
            assert f"{check.number} {check.reference}, " in told[form]
        for place in card.places:
            why = place.words if place.at_length else f"{stretch_words(place)}: {place_line(place)}."
            assert why in told[form], (form, place.name)
    index = told["printed"].partition("Places ─")[2].partition("Places that matter")[0]
    for leg, after in zip_longest(card.legs, card.legs[1:]):
        end = f" {after.number} {after.to} " if after else " Places "
        row = index.partition(f" {leg.number} {leg.to} ")[2].partition(end)[0]
        for part in (*letters_at(card.places, leg.number), *besides_texts(leg), leg.to_place.reference):
            assert part in row, (leg.number, part)


def test_a_line_without_a_place_names_its_legs_on_paper_and_in_print(
    screening: RouteScreening, tmp_path: Path
) -> None:
    """The terminal had the word "Checks", and nothing below it."""
    legs = tuple(replace(leg, expected_readings=()) for leg in screening.legs)
    gentle = replace(screening, legs=legs, places=(), legs_without=(1, 2))
    told = forms(make_card(gentle, CardSettings(dt.date(2027, 1, 15), "latlon")), tmp_path)
    for form in ("pdf", "printed"):
        assert "Legs without 30°+ on, beside or above, as far as known: 1, 2." in told[form], form
    assert "Checks" not in told["printed"]


def test_a_check_has_one_name_everywhere(screening: RouteScreening) -> None:
    """The report once numbered them through, so that its 3 was another check than the card's 3a."""
    card = card_of(screening, open_above=False)
    expected = {one.name: one for leg in screening.legs for one in leg.expected_readings}
    assert list(expected) == [check.number for leg in card.legs for check in leg.checks]
    assert [row[0] for row in reading_rows(screening, {})] == list(expected)
    terminal = terminal_text(route_document(screening, RouteView(overhead=True)), 400)
    assert re.findall(r"\b(\d+[a-z]): \d+ \d{3}° \d", terminal) == list(expected)
    for leg in screening.legs:
        lines = leg_words(leg, BandScheme(screening.settings.edges_deg)).check
        names = [one.name for one in leg.expected_readings]
        assert [line.split(":")[0] for line in lines if line[0].isdigit()] == names
    placed = [name for place in screening.places for name in place.checks]
    assert set(placed) <= set(expected)


def test_every_form_tells_short_pieces_beside_a_gentler_corridor(
    screening: RouteScreening, tmp_path: Path
) -> None:
    """Legs of a card stood with a corridor of 42.2 degrees where 10 m of it have 54.7."""
    legs = tuple(replace(leg, short_corridor_max_deg=73.33) for leg in screening.legs)
    card = make_card(replace(screening, legs=legs), CardSettings(dt.date(2027, 1, 15), "latlon"))
    for form, text in forms(card, tmp_path).items():
        told = "73.4" if form == "csv" else "short pieces to 73.4°"
        assert text.count(told) >= len(legs), form
    page = " ".join(phone_page(card, None).split())
    # In the list of legs and on the screen of each.
    assert page.count("short pieces to 73.4°") >= 2 * len(legs)
