"""Every text of a plan or a lesson made hostile: in Chromium no page runs it, asks or says a thing."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import json
import zipfile
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser
from tests.on_grid import model, route_on
from tests.pages.drawn import BENT, HILL
from tests.pictured import Thinnable, pictured
from tests.visits import Visit

from steybrae.card import CardSettings
from steybrae.card.forecast import of_day
from steybrae.card.result import RouteCard
from steybrae.errors import SteybraeError
from steybrae.files.bulletins import read_bulletins
from steybrae.files.plans import read_plan, write_plan
from steybrae.names import clean
from steybrae.pages.lesson import lesson_html
from steybrae.pages.phone import phone_page
from steybrae.pages.report.page import report_page
from steybrae.route.daylight import parse_clock
from steybrae.screening import Settings
from steybrae.screening.forecast.at import ForecastAsk
from steybrae.screening.forecast.ground import with_forecast_ground
from steybrae.screening.result import RouteScreening
from steybrae.teach.lesson import lesson, lesson_ground

URL = "http://127.0.0.1:9/x"
SAY = "console.log('ran')"
STRINGS = (
    f"<script>{SAY}</script>",
    f"</script><script>{SAY}</script>",
    f"</style><script>{SAY}</script>",
    f"</title><script>{SAY}</script>",
    f"</textarea><script>{SAY}</script>",
    f"</svg><script>{SAY}</script>",
    f"--><script>{SAY}</script>",
    f"]]><script>{SAY}</script>",
    f'"><script>{SAY}</script>',
    f"'><script>{SAY}</script>",
    f"<ScRiPt>{SAY}</sCrIpT>",
    f"<script src={URL}></script>",
    f"<img src=x onerror={SAY}>",
    f'"><img src=x onerror="{SAY}">',
    f"' onmouseover={SAY} autofocus onfocus={SAY} x='",
    f'" onload="{SAY}" x="',
    f"<svg onload={SAY}>",
    f"<svg><animate onbegin={SAY} attributeName=x dur=1s>",
    f"<body onload={SAY}>",
    f"<details open ontoggle={SAY}>",
    f"<video><source onerror={SAY}>",
    f"<iframe src=javascript:{SAY}>",
    f"<iframe srcdoc='<script>{SAY}</script>'>",
    f"<a href=javascript:{SAY}>x</a>",
    f"javascript:{SAY}",
    f"data:text/html,<script>{SAY}</script>",
    f"<object data={URL}>",
    f"<embed src={URL}>",
    f"<link rel=stylesheet href={URL}>",
    f"<style>@import '{URL}'</style>",
    f"</style><style>*{{background:url({URL})}}",
    f"<meta http-equiv=refresh content='0;url={URL}'>",
    f"<base href={URL}>",
    f"<form action={URL}><input autofocus onfocus={SAY}>",
    f"{{{{ 7 * 7 }}}} {{% raw %}} ${{{SAY}}} `{SAY}`",
    "&lt;script&gt;&#60;script&#62; &amp;lt;",
    "\\u003cscript\\u003e \\x3cscript\\x3e",
    "\N{RIGHT-TO-LEFT OVERRIDE}<b>\N{RIGHT-TO-LEFT ISOLATE}",
    "\N{LINE SEPARATOR}\N{PARAGRAPH SEPARATOR}\N{NULL}\N{ESCAPE}[2J<b>",
    "+ADw-script+AD4-" + SAY + "+ADw-/script+AD4-",
    f"<xss style=animation-name:x onanimationstart={SAY}>" + "<" * 200,
)

ALL = " ".join(STRINGS)


class Plan:
    """A plan whose texts can be set."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with zipfile.ZipFile(path) as archive:
            self.entries = {name: archive.read(name) for name in archive.namelist()}
        self.tree = json.loads(self.entries["plan.json"])
        texts = list(_texts(self.tree["result"]))
        self.free = [place for place in texts if self.taken([place], "x<y") is not None]
        """Where a text stands that may be any: not one of a list, and not worked out anew."""

    def taken(self, places: list[tuple[Any, Any]], text: str) -> Any:
        """What is read with a text at some places; None where it is refused."""
        before = [holder[key] for holder, key in places]
        for holder, key in places:
            holder[key] = text
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w") as archive:
            for name, content in {**self.entries, "plan.json": json.dumps(self.tree)}.items():
                archive.writestr(name, content)
        for (holder, key), old in zip(places, before, strict=True):
            holder[key] = old
        tampered = self.path.with_name("tampered.zip")
        tampered.write_bytes(held.getvalue())
        try:
            return read_plan(tampered)
        except SteybraeError:
            return None


def _texts(tree: Any) -> Iterator[tuple[Any, Any]]:
    for key in tree if isinstance(tree, dict) else range(len(tree)):
        value = tree[key]
        if isinstance(value, str) and key != "array":
            yield tree, key
        elif isinstance(value, dict | list):
            yield from _texts(value)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("hostile") / "plan.zip"
    dem = model(HILL, (61, 121))
    route = route_on(dem, [(x / 2.0, y / 2.0) for x, y in BENT[:3]], ("A", "B", "C"))
    write_plan(path, with_forecast_ground(pictured(dem, route), route, Thinnable(dem), Settings()))
    return Plan(path)


def test_strings_are_41_and_fields_many(plan: Plan) -> None:
    assert len(set(STRINGS)) == 41
    assert len(plan.free) > 20


DAY = dt.date(2027, 1, 15)


def carried(found: RouteScreening, text: str, sample_dem: Path) -> tuple[RouteScreening, RouteCard]:
    """A line and the card of its day, whose settings are a text too, beside a bulletin."""
    settings = CardSettings(
        DAY,
        scale=25_000.0,
        start=parse_clock("08:30", DAY, "Europe/London"),
        zone="Europe/London",
        party=text,
        call=text,
    )
    source, ask = read_bulletins(sample_dem / "bulletin.json"), ForecastAsk(region="XX-STEY-01")
    return of_day(found, settings, (source, ask))


def replaced(tree: Any, text: str, only: Collection[tuple[str, str]]) -> Any:
    """The same result with a text in every field of some kinds."""
    if isinstance(tree, tuple):
        return tuple(replaced(one, text, only) for one in tree)
    if not dataclasses.is_dataclass(tree) or isinstance(tree, type):
        return tree
    changes = {}
    for name, kind in kinds(tree, deep=False):
        value = getattr(tree, name)
        if (kind, name) in only:
            changes[name] = text if isinstance(value, str) else (text,) * len(value)
    others = {
        each.name: replaced(getattr(tree, each.name), text, only)
        for each in dataclasses.fields(tree)
        if each.init and each.name not in changes
    }
    return dataclasses.replace(tree, **changes, **others)


def kinds(tree: Any, *, deep: bool = True) -> Iterator[tuple[str, str]]:
    """Fields that hold a text or several: name and class."""
    for each in dataclasses.fields(tree) if dataclasses.is_dataclass(tree) else ():
        value = getattr(tree, each.name)
        if each.init and (isinstance(value, str) or _all_texts(value)):
            yield each.name, type(tree).__name__
        if deep:
            for one in value if isinstance(value, tuple) else (value,):
                yield from kinds(one)


def _all_texts(value: Any) -> bool:
    return isinstance(value, tuple) and value != () and all(isinstance(one, str) for one in value)


def free_kinds(card: RouteCard) -> set[tuple[str, str]]:
    """Kinds of fields of a card whose text may be any: class and name."""
    found = set()
    for name, kind in set(kinds(card)):
        try:
            phone_page(replaced(card, "x<y", {(kind, name)}), None, "x<y")
        except (SteybraeError, ValueError, LookupError):
            continue
        found.add((kind, name))
    return found


def test_what_steers_or_turns_is_refused_in_a_plan(plan: Plan) -> None:
    for text in STRINGS:
        assert (plan.taken(plan.free[:1], text) is None) == (clean(text, len(text)) != text)


def test_no_text_of_a_plan_a_day_or_a_bulletin_runs_in_a_page(
    plan: Plan, browser: Browser, sample_dem: Path, tmp_path: Path
) -> None:
    """All strings in every field: of the report with its day, and of the page for a phone."""
    _, card = carried(read_plan(plan.path), "x", sample_dem)
    free = free_kinds(card)
    assert len(free) > 40
    found = plan.taken(plan.free, clean(ALL, len(ALL)))
    assert found is not None
    found, day = carried(found, ALL, sample_dem)
    found = dataclasses.replace(found, forecast=replaced(found.forecast, ALL, free))
    day = replaced(day, ALL, free)
    for html in (report_page(found, day), phone_page(day, None, ALL)):
        assert html.count("ran") > 41 * 20
        walked(browser, tmp_path / "page.html", html)


def walked(browser: Browser, page: Path, html: str) -> None:
    """Open a page, point at it and go through it; nothing of a text has become a part of it."""
    page.write_text(html, "utf-8")
    visit = Visit(browser, page)
    visit.page.mouse.move(300, 300)
    visit.page.keyboard.press("Tab")
    foreign = "iframe, object, embed, base, form[action], img[src=x], video, xss, [onerror], [onload]"
    assert visit.page.locator(foreign).count() == 0
    assert STRINGS[0] in (visit.page.text_content("body") or "")
    visit.end()


def test_no_text_of_a_lesson_runs_in_its_page(browser: Browser, tmp_path: Path) -> None:
    """All of them at once, as a model's name, in cautions, and where the script writes them."""
    made = lesson(lesson_ground(model(HILL, (201, 201))), 1, source=ALL)
    hostile = dataclasses.replace(
        made,
        labels=tuple(f"{label} {ALL}" for label in made.labels),
        intervals=tuple((f"{name} {ALL}", metres) for name, metres in made.intervals),
        cautions=tuple(dataclasses.replace(caution, text=ALL) for caution in made.cautions),
    )
    walked(browser, tmp_path / "lesson.html", lesson_html(hostile))
