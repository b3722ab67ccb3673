"""Every output of one plan says the same: read back from terminal, JSON, files, figure, page and card."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
from dataclasses import dataclass
from typing import Any

import pytest
from tests.pages.drawn import Reader, partly, unknown

from steybrae.answers.card import card_document
from steybrae.answers.points import points_csv, points_geojson
from steybrae.answers.route import RouteView, route_document
from steybrae.card import CardSettings, make_card
from steybrae.document import Document
from steybrae.figures.route_figure import route_figure
from steybrae.files.cards import card_csv, card_gpx
from steybrae.files.results import as_json
from steybrae.pages.phone import phone_page
from steybrae.pages.report.page import report_page
from steybrae.render.html import html_fragment
from steybrae.render.terminal import terminal_text
from steybrae.screening import RouteScreening

PLANS = ("sample", "partly unknown", "unknown")


def tenths(deg: float | None, least: bool = False) -> str:
    """Slope by another way than the package's."""
    if deg is None:
        return "unknown"
    return f"{'at least ' if least else ''}{math.ceil(round(deg * 10.0, 9) - 1e-6) / 10.0:.1f}°"


def metres(number: float, least: bool = False) -> str:
    return f"{'at least ' if least else ''}{math.ceil(round(number, 9) - 1e-6)}"


def kilometres(number: float) -> str:
    return f"{math.floor(number / 10.0 + 0.5 + 1e-9) / 100.0:.2f}"


def printed(document: Document) -> str:
    return terminal_text(document, 400)


def flat(text: str) -> str:
    return " ".join(text.split())


@dataclass(frozen=True, eq=False)
class Said:
    """One plan, its JSON, and every output as text."""

    screening: RouteScreening
    answer: dict[str, Any]
    terminal: str
    page: str
    report: Reader
    figure: list[str]
    card: str
    card_rows: list[dict[str, str]]
    gpx: str
    points: list[dict[str, str]]
    geojson: dict[str, Any]
    phone: str


def texts(figure: Any) -> list[str]:
    return [text.get_text() for axes in figure.axes for text in axes.texts] + [
        text.get_text() for text in figure.texts
    ]


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module", params=PLANS)
def said(request: pytest.FixtureRequest) -> Said:
    made = {"sample": lambda: request.getfixturevalue("sample_plan").screening, "unknown": unknown}
    screening = made.get(request.param, partly)()
    card = make_card(screening, CardSettings(date=dt.date(2027, 1, 15)))
    return Said(
        screening,
        json.loads(json.dumps(as_json("route", screening))),
        printed(route_document(screening, RouteView(everything=True))),
        html_fragment(route_document(screening, RouteView(everything=True))),
        Reader(report_page(screening)),
        texts(route_figure(screening)),
        flat(printed(card_document(card))),
        rows(card_csv(card)),
        card_gpx(card),
        rows(points_csv(screening)),
        json.loads(points_geojson(screening)),
        phone_page(card, screening),
    )


def test_the_whole_line(said: Said) -> None:
    totals = said.answer["totals"]
    steepest = tenths(totals["slope_max_deg"], totals["open_above"])
    corridor = tenths(totals["slope_corridor_max_deg"], totals["open_above"])
    up = metres(totals["ascent_m"], totals["ascent_at_least"])
    long = f"{kilometres(totals['length_m'])} km"
    for text in (flat(said.terminal), flat(said.page), said.report.words, "\n".join(said.figure), said.card):
        assert long in text
        assert f"{up} m" in text
        assert steepest in text
        assert corridor in text


def test_what_is_overhead_of_the_day_leads_on_the_card_as_in_the_screening(said: Said) -> None:
    """Ground may be gentle and be hit from above: a card's headline once had slopes alone."""
    found = re.search(r"Steepest .+?, overhead (.+?)\. ", flat(said.terminal))
    assert found is not None
    deg, inside = (said.answer["totals"][key] for key in ("overhead_max_deg", "overhead_inside_max_deg"))
    least = said.answer["totals"]["unknown_above"]
    for known in (deg, inside):
        assert known is None or tenths(known, least) in found[1]
    head = said.card.partition("Grid: ")[0]
    assert f"; overhead {found[1]}" in head
    assert f"; overhead {found[1]}" in flat(said.phone)


def test_unknown_is_not_at_least_anything(said: Said) -> None:
    cells = [cell for row in said.report.tables[0] for cell in row]
    every = [*said.figure, said.page, said.card, said.gpx, *cells]
    assert not any("at least unknown" in text for text in every)


def test_every_leg_in_the_report_as_in_the_json(said: Said) -> None:
    for cells, leg in zip(said.report.tables[0][1:], said.answer["legs"], strict=True):
        least, unsure = leg["open_above"], leg["unknown_m"] > 0.0
        assert cells[2:5] == [
            kilometres(leg["length_m"]),
            metres(leg["ascent_m"], leg["ascent_at_least"]),
            metres(leg["descent_m"], leg["ascent_at_least"]),
        ]
        assert cells[5] == tenths(leg["slope_max_deg"], least)
        assert cells[8] == tenths(leg["slope_corridor_max_deg"], least)
        on, beside = (
            ("unknown" if leg[known] is None else "-") if leg[key] is None else tenths(leg[key])
            for key, known in (
                ("short_slope_max_deg", "slope_max_deg"),
                ("short_corridor_max_deg", "slope_corridor_max_deg"),
            )
        )
        assert cells[9] == (f"{on} {beside}" if beside == "unknown" else f"{on} | {beside}")
        assert cells[12:14] == [metres(leg["steep_m"], unsure), metres(leg["steep_stretch_m"], unsure)]
        assert cells[17] == (metres(leg["unknown_m"]) if leg["unknown_m"] else "-")


def test_terminal_and_page_say_of_a_leg_what_the_report_says(said: Said) -> None:
    """The cells are the same, whatever the columns are joined to."""
    whole, page = flat(said.terminal), flat(re.sub(r"<[^>]*>", " ", said.page))
    for cells in said.report.tables[0][1:]:
        for cell in (
            cells[2],
            cells[5].removeprefix("at least "),
            cells[8].removeprefix("at least "),
            cells[7],
        ):
            assert cell in whole
            assert cell in page
    for key in ("slope_max_deg", "slope_corridor_max_deg"):
        told = [leg for leg in said.answer["legs"] if leg["open_above"] and leg[key] is not None]
        assert said.terminal.count("at least") >= len(told)


def test_what_is_overhead_of_the_day_is_worded_once(said: Said) -> None:
    """Figure and report had words of their own, and none where nothing was found."""
    (line,) = [line for line in said.figure if "overhead" in line and "Steepest" in line]
    (words,) = re.findall(r"overhead (.*)$", flat(line))
    assert f"overhead {words}." in flat(said.terminal)
    assert f"Overhead: {words}." in said.report.words


def test_every_output_of_the_legs_tells_a_leg_s_drop(said: Said) -> None:
    """A table without it had a leg's bands wider than its figures, and no word of why."""
    for cells, row, leg in zip(said.report.tables[0][1:], said.card_rows, said.answer["legs"], strict=True):
        drop = leg["drop"]
        points = [one for one in said.points if int(one["leg"]) == leg["number"]]
        if drop is None:
            # "-" stood beside a void, where a rim may be.
            hidden = {"unknown_on_line", "unknown_near"} & {caution["key"] for caution in leg["cautions"]}
            assert (cells[10], row["drop"]) == ("unknown" if hidden else "-", "")
            assert {one["leg_drop_fall_m"] for one in points} == {""}
            continue
        fall = metres(drop["fall_m"])
        assert cells[10].startswith(f"drop of {fall} m")
        assert row["drop"] == cells[10]
        assert f"A {cells[10]}." in said.report.words
        assert cells[10] in flat(re.sub(r"<[^>]*>", " ", said.page))
        assert f"drop of {fall} m" in flat(said.terminal)
        assert {one["leg_drop_fall_m"] for one in points} == {fall}


def test_the_figure_s_table(said: Said) -> None:
    for leg in said.answer["legs"]:
        steepest = tenths(leg["slope_max_deg"], leg["open_above"])
        row = f"{steepest} | {tenths(leg['slope_corridor_max_deg'])}"
        at = [k for k, text in enumerate(said.figure) if text == str(leg["number"])]
        assert any(said.figure[k + 2] == row for k in at), row


def test_the_card(said: Said) -> None:
    for row, leg in zip(said.card_rows, said.answer["legs"], strict=True):
        for column, key in (
            ("slope_max_deg", "slope_max_deg"),
            ("slope_corridor_deg", "slope_corridor_max_deg"),
        ):
            assert (f"{float(row[column]):.1f}°" if row[column] else "unknown") == tenths(leg[key])
        assert row["open_above"] == ("yes" if leg["open_above"] else "no")
        assert float(row["ascent_m"]) == float(metres(leg["ascent_m"]))
        steepest = tenths(leg["slope_max_deg"], leg["open_above"])
        corridor = tenths(leg["slope_corridor_max_deg"], leg["open_above"])
        assert steepest in said.card
        assert f"corridor {corridor}" in said.card
        (words,) = re.findall(rf"Leg {leg['number']} to [^<]*", said.gpx)
        assert f"steepest {steepest}" in words
        assert f"corridor {corridor}" in words


def test_the_points(said: Said) -> None:
    """Files and page have the same points, and none is steeper than its leg or gentler than the page's."""
    page = [
        (part["leg"], *values)
        for part in said.report.points["legs"]
        for values in zip(part["slope"], part["high"], part["corridor"], part["above"], strict=True)
    ]
    features = [one["properties"] for one in said.geojson["features"]]
    assert len(page) == len(said.points) == len(features)
    most = {leg["number"]: leg["slope_max_deg"] for leg in said.answer["legs"]}
    for (number, slope, high, corridor, above), row, unrounded in zip(
        page, said.points, features, strict=True
    ):
        assert int(row["leg"]) == number == unrounded["leg"]
        for shown, key in ((slope, "slope_deg"), (high, "slope_high_deg"), (corridor, "slope_corridor_deg")):
            assert row[key] == ("" if shown is None else f"{shown / 10.0:.1f}")
            assert (f"{row[key]}°" if row[key] else "unknown") == tenths(unrounded[key])
        if slope is not None:
            assert slope <= round(float(tenths(most[number]).rstrip("°")) * 10.0)
        overhead = row["overhead_unfiltered_deg"]
        assert (above.removeprefix("at least ") == f"{overhead}°") if overhead else "°" not in above[-1:]


def test_metres_by_band(said: Said) -> None:
    """Those of the gentlest band go down, all others up, on the page, in its legend and in the figure."""
    totals = said.answer["totals"]
    lengths = list(totals["band_lengths_m"].values())
    shown = [str(math.floor(lengths[0] + 1e-6)), *(metres(length) for length in lengths[1:])]
    last = said.report.tables[1][-1]
    for cell, number, length in zip(last[1:], shown, lengths, strict=False):
        assert cell == (number if length else "-")
        assert f"{number} m" in said.report.words
        assert f"{number} m" in said.figure
