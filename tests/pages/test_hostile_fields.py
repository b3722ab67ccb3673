"""Every text of a plan or a lesson made hostile: in Chromium no page runs it, asks or says a thing."""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser
from tests.on_grid import model, route_on
from tests.pages.drawn import BENT, HILL
from tests.pictured import pictured
from tests.visits import Visit

from steybrae.errors import SteybraeError
from steybrae.files.plans import read_plan, write_plan
from steybrae.names import clean
from steybrae.pages.lesson import lesson_html
from steybrae.pages.report import report_page
from steybrae.teach.lesson import lesson
from steybrae.teach.lesson_ground import lesson_ground

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
    write_plan(path, pictured(dem, route_on(dem, [(x / 2.0, y / 2.0) for x, y in BENT[:3]], ("A", "B", "C"))))
    return Plan(path)


def test_strings_are_41_and_fields_many(plan: Plan) -> None:
    assert len(set(STRINGS)) == 41
    assert len(plan.free) > 20


@pytest.mark.parametrize("text", STRINGS)
def test_no_text_of_a_plan_runs_in_its_page(plan: Plan, browser: Browser, tmp_path: Path, text: str) -> None:
    cleaned = clean(text)
    # What steers a terminal or turns the writing is refused as it is, in every field.
    assert (plan.taken(plan.free[:1], text) is None) == (clean(text, len(text)) != text)
    found = plan.taken(plan.free, cleaned)
    assert found is not None
    page = tmp_path / "page.html"
    page.write_text(report_page(found), "utf-8")
    visit = Visit(browser, page)
    visit.page.mouse.move(300, 300)
    visit.page.keyboard.press("Tab")
    assert visit.page.locator("iframe, object, embed, base, form, img[src=x], xss").count() == 0
    visit.end()


def test_no_text_of_a_lesson_runs_in_its_page(browser: Browser, tmp_path: Path) -> None:
    """All of them at once, as a model's name, in cautions, and where the script writes them."""
    text = " ".join(STRINGS)
    made = lesson(lesson_ground(model(HILL, (201, 201))), 1, source=text)
    hostile = dataclasses.replace(
        made,
        labels=tuple(f"{label} {text}" for label in made.labels),
        intervals=tuple((f"{name} {text}", metres) for name, metres in made.intervals),
        cautions=tuple(dataclasses.replace(caution, text=text) for caution in made.cautions),
    )
    page = tmp_path / "lesson.html"
    page.write_text(lesson_html(hostile), "utf-8")
    visit = Visit(browser, page)
    visit.page.mouse.move(300, 300)
    visit.page.keyboard.press("Tab")
    assert STRINGS[0] in visit.page.inner_text("body")
    assert visit.page.locator("iframe, object, embed, base, img, video, xss").count() == 0
    visit.end()
