"""The page for a phone in WebKit's engine: from a file, a reading in three taps, its log, refused storage."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.conftest import SamplePlan
from tests.pages.test_phone import CHOICE
from tests.pages.webkit import SCREEN, WebKit, webkit

from steybrae.card import make_card
from steybrae.files.logs import add_rows, read_log
from steybrae.pages.phone import phone_page

TEXT = "return document.querySelector(arguments[0]).textContent;"
SEEN = """return [...document.querySelectorAll('.screen')]
  .filter((node) => node.checkVisibility()).map((node) => node.id);"""
WIDER = "return document.documentElement.scrollWidth - innerWidth;"
KEEPS = "Rows are kept in this browser, on this phone alone. Take them out before the browser is cleared."
KEEPS_NOT = "This browser keeps nothing of this page: take the rows out before you close it."


@pytest.fixture(scope="module")
def file(sample_plan: SamplePlan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("webkit") / "hill.html"
    card = make_card(sample_plan.screening, CHOICE)
    path.write_text(phone_page(card, sample_plan.screening, "plan.zip"), "utf-8")
    return path


@pytest.fixture(scope="module")
def window() -> Iterator[WebKit]:
    with webkit() as found:
        yield found


def three_taps(window: WebKit) -> str:
    """Take a reading of 38 degrees at the first check, from its leg; which check that is."""
    leg, name = window.run(
        "const link = document.querySelector('[data-check]');"
        "return [link.closest('.screen').id, link.dataset.check];"
    )
    window.click("nav [href='#day']")
    assert window.comes(["day"], SEEN)
    window.click(f".index [href='#{leg}']")
    assert window.comes([leg], SEEN)
    window.click(f"#{leg} [data-check]")
    assert window.comes(["reading"], SEEN)
    window.click("#pad button:nth-of-type(24)")
    assert window.run(TEXT, "#answer .lead + .lead") != ""
    window.click("#keep")
    return str(name)


def test_a_reading_in_three_taps_is_kept(window: WebKit, file: Path, tmp_path: Path) -> None:
    window.open(file)
    assert window.run("return innerWidth;") <= SCREEN[0]
    assert "AppleWebKit" in window.run("return navigator.userAgent;")
    assert window.run(SEEN) == ["day"]
    for screen in ("day", "leg-3", "reading", "log", "rest"):
        window.run("location.hash = arguments[0];", screen)
        assert window.run(WIDER) <= 0, screen
    name = three_taps(window)
    assert window.run(TEXT, "#kept") == f"Kept: 38.0° at {name}. 1 in the log."
    assert window.run(TEXT, "#storage") == KEEPS
    window.open(file)
    assert window.run("return document.querySelectorAll('#rows li').length;") == 1
    rows = tmp_path / "rows.csv"
    rows.write_text(window.run("return document.querySelector('#text').value;"), "utf-8")
    (row,) = read_log(rows).rows
    assert (row.check, row.plan, row.mean_deg) == (name, "plan.zip", 38.0)
    assert add_rows(tmp_path / "readings.csv", [row]) == 1


def test_refused_storage_is_told(window: WebKit, file: Path) -> None:
    # A frame without an origin of its own is refused all storage.
    outer = file.with_name("outer.html")
    outer.write_text(f'<iframe sandbox="allow-scripts" src="{file.name}" width="360" height="640"></iframe>')
    window.open(outer)
    window.into("iframe")
    name = three_taps(window)
    assert window.run(WIDER) <= 0
    assert window.run(TEXT, "#kept") == (
        f"Kept: 38.0° at {name}. 1 in the log. This browser keeps nothing: take the rows out before you "
        "close the page."
    )
    assert window.run(TEXT, "#storage") == KEEPS_NOT
    window.click("nav [href='#log']")
    assert window.comes(["log"], SEEN)
    window.click("#copy")
    assert window.run("return document.querySelector('#text').value.split('\\n').length;") == 3
