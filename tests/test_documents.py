"""README, DEVELOPERS and the help: what is promised of them, and what may not stand in them."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from typing import Final

import pytest
import typer.main

from steybrae.cli import app
from steybrae.route.positions.places import parse_place

ROOT: Final = Path(__file__).resolve().parents[1]
SOURCE: Final = ROOT / "src" / "steybrae"
README: Final = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS: Final = (ROOT / "DEVELOPERS.md").read_text("utf-8")

REAL_GROUND: Final = re.compile(
    r"\bN[NHJ] ?\d{2,5} ?\d{2,5}\b|\b5[67]\.\d+,? -[3-6]\.\d+|\b5[67] \d\d (\d\d )?N\b", re.IGNORECASE
)
"""References and positions on high ground of Great Britain: squares NN, NH and NJ, and degrees."""

OLD_WORDS: Final = (
    "what looks down",
    "way of snow",
    "place error",
    "reading to expect",
    "readings to expect",
    "kept and told",
    "run-out it is not",
    "good to 2 m",
)
"""What has a term of the trade, see the glossary."""

Capture = pytest.CaptureFixture[str]


def rows_below(heading: str, text: str) -> list[list[str]]:
    """Cells of the first table below a heading, without its head."""
    _, _, below = text.partition(f"{heading}\n")
    table = re.search(r"(?:^\|.*\n)+", below, re.MULTILINE)
    assert table, heading
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in table[0].splitlines()[2:]]


def helps() -> list[list[str]]:
    """Words of every command, those inside groups too."""
    group = typer.main.get_command(app.app)
    out: list[list[str]] = [[]]
    for top in app.COMMANDS:
        inner = getattr(group.get_command(None, top), "commands", None)  # type: ignore[attr-defined]
        out += [[top]] if inner is None else [[top], *([top, part] for part in inner)]
    return out


def test_developers_md_is_short() -> None:
    assert len(DEVELOPERS.encode()) <= 20_000


def test_a_newcomers_ten_questions_are_answered_by_three_files_at_most() -> None:
    rows = rows_below("## A newcomer's ten questions", DEVELOPERS)
    assert len(rows) == 10
    for question, files in rows:
        named = re.findall(r"`([^`]+)`", files)
        assert question.endswith("?")
        assert 1 <= len(named) <= 3, question
        for name in named:
            assert (SOURCE / name).is_file(), f"{question} {name} is not there"


def test_the_table_of_layers_is_the_contract_of_imports() -> None:
    contract = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
    layers = [layer.strip("()") for layer in contract["contracts"][0]["layers"]]
    cells = [cell for row in rows_below("## The house", DEVELOPERS) for cell in row[0].split(", ")]
    assert [cell.strip("`").removesuffix("/").removesuffix(".py") for cell in cells] == layers


def test_links_lead_somewhere() -> None:
    for text in (README, DEVELOPERS):
        for link in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / link).exists(), link


def test_links_within_the_readme_lead_to_its_headings() -> None:
    headings = {
        re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-")
        for heading in re.findall(r"^#+ (.*)", README, re.MULTILINE)
    }
    found = re.findall(r"\]\(#([^)]+)\)", README)
    assert found
    assert set(found) <= headings


def test_the_readme_says_which_command_answers_which_question() -> None:
    rows = rows_below("## Which command answers my question", README)
    assert [name for row in rows for name in re.findall(r"\[`(\w+)`\]", row[1])] == list(app.COMMANDS)


def test_the_picture_of_the_readme_is_light() -> None:
    for name in re.findall(r"!\[.*?\]\((.*?)\)", README):
        assert (ROOT / name).stat().st_size < 200_000


def test_the_glossary_explains_the_terms() -> None:
    rows = rows_below("## Glossary", README)
    terms = {term.strip() for row in rows for term in row[0].split(",")}
    assert 20 <= len(rows) <= 25
    assert {"start zone", "overhead angle", "corridor", "check", "baseline", "at least", "unknown"} <= terms
    assert all(len(row) == 2 and len(row[1]) > 20 for row in rows)


@pytest.mark.parametrize("words", helps(), ids=" ".join)
def test_help_names_no_real_high_ground_and_has_no_old_word(
    words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    whole = "--help-all" if words else "--help"
    monkeypatch.setattr(sys, "argv", ["steybrae", *words, whole])
    with pytest.raises(SystemExit):
        app.main()
    told = " ".join(capsys.readouterr().out.split())
    assert not REAL_GROUND.search(told)
    assert not [old for old in OLD_WORDS if old in told.lower()]


def test_readme_names_no_real_high_ground_and_has_no_old_word() -> None:
    assert not REAL_GROUND.search(README)
    told = " ".join(README.split()).lower()
    assert not [old for old in OLD_WORDS if old in told]


def test_no_page_has_an_old_word() -> None:
    """The report called a check a reading to expect, in its links, its legend and its switches."""
    pages = sorted((SOURCE / "pages" / "templates").rglob("*.html"))
    assert pages
    for path in pages:
        told = " ".join(path.read_text("utf-8").split()).lower()
        assert not [old for old in OLD_WORDS if old in told], path.name


def test_no_source_names_real_high_ground() -> None:
    for path in sorted(SOURCE.rglob("*.py")):
        assert not REAL_GROUND.search(path.read_text("utf-8")), path.name


def test_positions_in_the_readme_lie_in_the_sample_massif() -> None:
    found = re.findall(r"\b\d\d\.\d{4} -?\d+\.\d{4}\b", README)
    assert found
    for text in found:
        place = parse_place(text)
        assert 59.19 < place.lat_deg < 59.25
        assert -8.11 < place.lon_deg < -7.99


@pytest.mark.parametrize("text", ["NN 166 712", "NN166712", "57.1234 -3.6712", "57 07 24 N", "nn 1660 7120"])
def test_what_is_looked_for_is_found(text: str) -> None:
    assert REAL_GROUND.search(text)
