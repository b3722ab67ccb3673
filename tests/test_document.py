"""Documents on a terminal, as a page and as a table of text."""

from __future__ import annotations

import csv
import io

import pytest

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.document import (
    Cautions,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Table,
    cell_lines,
    stacked,
    worded,
)
from steybrae.render.html import html_fragment, unbroken
from steybrae.render.table import csv_text, defused
from steybrae.render.terminal import terminal_text
from steybrae.value import climb, slope

DEG = Column("slope_deg", "Slope", lambda deg: slope(deg, at_least=deg == 31.21))
NAME = Column("name", "Name", lambda deg: "\x1b[2J[red]<b>&" if deg else "hut", align="left", width=20)
ROWS = (31.21, 0.0, None)
DOCUMENT = Document(
    "A <day>",
    (
        Heading("Headline", 1),
        Paragraph("Names \x1b[2J[bold] stay", strong=True),
        Listing(("one", "two")),
        Table((NAME, DEG), ROWS, "Legs", foot=(12.0,)),
        Cautions(cautions_for(Situation())),
    ),
)


def printed(document: Document, width: int = 80) -> str:
    return terminal_text(document, width)


def test_a_terminal_obeys_nothing_in_a_name() -> None:
    text = printed(DOCUMENT)
    assert "\x1b" not in text
    assert "Names \N{REPLACEMENT CHARACTER}[2J[bold] stay" in text
    assert "[red]<b>&" in text


def test_a_long_line_beside_short_ones_hangs_under_its_own_words() -> None:
    """Its second line began in the column of the letters, as if it were another place."""
    listed = Listing((f"A  {'word ' * 20}end", "B  short", "C  short too"), marked=False, abreast=True)
    first, second, third = printed(Document("", (listed,)), 60).splitlines()[:3]
    assert first.startswith("A  word")
    assert second.startswith("   word")
    assert third.startswith(("   ", "B  short"))


def test_a_terminal_says_everything() -> None:
    text = " ".join(printed(DOCUMENT).split())
    for words in ("Headline", "- one - two", "Legs Name Slope"):
        assert words in text
    assert "unknown" in text
    assert "at least 31.3°" in text
    assert all(caution.text in text for caution in cautions_for(Situation()))


@pytest.mark.parametrize("width", [40, 80, 120])
def test_lines_keep_to_the_width_and_no_figure_loses_a_digit(width: int) -> None:
    columns = tuple(Column(f"m{k}", f"m{k}", climb, "m") for k in range(6))
    text = printed(Document("", (Table(columns, (12345.0,)), Paragraph("words " * 60))), width)
    assert max(map(len, text.splitlines())) <= width
    assert "".join(text.split()).count("12345") == 6
    assert "…" not in text


def test_further_lines_of_an_indented_paragraph_are_indented() -> None:
    text = printed(Document("", (Paragraph(f"    {'word ' * 30}"), Paragraph("    " + "x" * 100))), 40)
    lines = text.splitlines()
    assert [line.split() for line in lines[:5]] == [["word"] * 7] * 4 + [["word"] * 2]
    assert all(line.startswith("    w") for line in lines[:5])
    assert "".join(lines[5:]).strip() == "x" * 100


def test_a_page_escapes_everything() -> None:
    page = html_fragment(DOCUMENT)
    assert "<b>" not in page
    assert "&lt;b&gt;&amp;" in page
    assert '<td class="right" data-order="1000031.21">at least 31.3°</td>' in page
    assert '<td class="right" data-order="inf">unknown</td>' in page
    assert all(caution.text in page for caution in cautions_for(Situation()))
    assert "http" not in page


def test_a_page_keeps_a_number_and_its_unit_on_one_line() -> None:
    """Pages ended lines between "30°" and "+", and between a number and its unit."""
    given = '<p title="3 m">30 m of 30°+, 95 % at 4 h 05, leg 3 meets 12 others</p><script>"5 m"</script>'
    told = given.replace("30 m", "30\xa0m").replace("°+", "°\N{WORD JOINER}+").replace("5 %", "5\xa0%")
    assert unbroken(given) == told.replace("4 h", "4\xa0h")
    document = Document("H", (Paragraph("Steep: 40 m of 35°+."),))
    assert "40\xa0m of 35°\N{WORD JOINER}+." in html_fragment(document)


def test_a_table_of_text_is_read_back() -> None:
    rows = list(csv.reader(io.StringIO(csv_text(Table((NAME, DEG), ROWS)))))
    assert rows[0] == ["name", "slope_deg"]
    assert [row[1] for row in rows[1:]] == ["31.3", "0.0", ""]


def test_none_is_a_dash_in_a_table_of_text_too() -> None:
    """The length of no drop was "'-"."""
    rows = (None, 12.0)
    drop = Column("drop_m", "Drop", lambda fall: "-" if fall is None else climb(fall), "m")
    assert csv_text(Table((drop,), rows)).splitlines() == ["drop_m", "-", "12"]


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", " =1"])
def test_a_cell_that_begins_like_a_formula_is_text(text: str) -> None:
    assert defused(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-8.05", "+4", "59.2", "a=b", "-", ""])
def test_a_number_is_left_alone(text: str) -> None:
    assert defused(text) == ("'-" if text == "-" else text)


def test_cells() -> None:
    assert cell_lines(slope(31.0, at_least=True)) == ("at least", "31.0°")
    assert cell_lines(slope(31.0, at_least=True), unit="deg") == ("at least", "31.0")
    assert cell_lines(("a\nb", slope(None))) == ("a", "b", "unknown")
    both = stacked("both", NAME, worded(DEG, "({})"))
    assert both.lines(31.21)[-2:] == ("at least", "(31.3°)")
    assert both.lines(None)[-1] == "unknown"


def test_each_caution_has_its_line() -> None:
    every = cautions_for(
        Situation(from_paper=True, from_model=True, lesson=True, overhead=True, magnetic=True)
    )
    assert all(len(one.line) <= 105 and "\n" not in one.line for one in every)
    assert all(one.line != one.text for one in every if one.key != "lesson")
    general = " ".join(one.line for one in every[:2])
    for words in (
        "local avalanche forecast",
        "local rules",
        "qualified guidance",
        "alone",
        "above",
        "wet",
        "afar",
    ):
        assert words in general
    assert Caution("forecast_1", "Once.").line == "Once."
