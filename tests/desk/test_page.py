"""The page of the desk in Chromium: a line drawn, moved, kept, compared, by pointer, touch and keys."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from tests.desk.served import PATIENCE_MS, Served, Sheet
from tests.pages.conftest import run
from tests.pages.test_hostile_fields import STRINGS

from steybrae.files.routes import read_route
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.names import clean

WIDE: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
TEN = [(0.30, 0.78), (0.34, 0.72), (0.38, 0.68), (0.40, 0.60), (0.44, 0.55)]
TEN += [(0.46, 0.48), (0.50, 0.44), (0.54, 0.40), (0.58, 0.42), (0.62, 0.46)]
LINE = {
    "name": "",
    "role": "main",
    "points": [{"row": 420.0 - 30 * k, "col": 300.0 + 25 * k, "name": ""} for k in range(5)],
}
TARGETS = """[...document.querySelectorAll(
    'header button, #panel :is(button, input, select, summary), #look :is(.point, summary, a)')]
  .filter((node) => node.checkVisibility())
  .map((node) => [node.id || node.className, node.getBoundingClientRect()])
  .map(([name, box]) => [name, box.width, box.height])
"""

expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="module")
def served(home: Path, sample_dem: Path) -> Iterator[Served]:
    found = Served(home, "--dem", str(sample_dem / "stey_massif.tif"))
    yield found
    found.end()


@pytest.fixture
def laid(browser: Browser, served: Served) -> Iterator[Sheet]:
    """The page with a line of four legs."""
    served.keep(LINE)
    found = Sheet(browser, served.address, **WIDE)
    yield found
    found.end()


@pytest.fixture
def sheet(browser: Browser, served: Served) -> Iterator[Sheet]:
    served.keep()
    found = Sheet(browser, served.address, **WIDE)
    yield found
    found.end()


def route_says(gpx: Path, sample_dem: Path) -> str:
    """All that ``route`` prints on a file."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert run("route", str(gpx), "--dem", str(sample_dem / "stey_massif.tif")) == 0
    return " ".join(out.getvalue().split())


def draw(sheet: Sheet, spots: list[tuple[float, float]]) -> None:
    """Draw a line by clicks, as the page invites to."""
    for spot in spots:
        sheet.click(*spot)
    sheet.page.keyboard.press("Escape")
    sheet.settle()


def saved(sheet: Sheet, what: str, folder: Path) -> Path:
    """Save a file from the page."""
    sheet.page.click("#tab-take")
    with sheet.page.expect_download() as waiting:
        sheet.page.click(f"[data-make={what}]")
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path


def test_the_first_view_shows_the_lines_on_the_model_and_tells_of_another(
    browser: Browser, served: Served
) -> None:
    """One line far away made a speck of the model and of all others."""
    far = {"row": 400_000.0, "col": 300.0, "name": ""}
    served.keep(LINE, {"name": "Far", "role": "alternative", "points": [far, {**far, "col": 350.0}]})
    sheet = Sheet(browser, served.address, **WIDE)
    sheet.settle()
    assert sheet.texts("#notice") == [
        "No turn point lies on the model of: Far. The map shows the other lines."
    ]
    boxes = [node.bounding_box() for node in sheet.page.locator(".point").all()]
    across = [box["x"] for box in boxes if box]
    assert max(across) - min(across) > 150.0
    sheet.end()


class TestPointer:
    def test_a_point_let_go_waits_for_no_answer_on_its_way(self, laid: Sheet) -> None:
        laid.settle()
        held: list[Any] = []

        def first_hangs(route: Any) -> None:
            if held:
                route.continue_()
            held.append(route)

        laid.page.route("**/answer", first_hangs)
        laid.drag(2, 20, -12, rest_ms=200.0)
        laid.settle()
        assert len(held) == 2
        assert held[0].request.failure == "net::ERR_ABORTED"

    def test_a_point_let_go_at_once_is_asked_about_once(self, laid: Sheet) -> None:
        laid.settle()
        asked: list[str] = []
        laid.page.on("request", lambda request: asked.append(request.url.rsplit("/", 1)[1]))
        at = laid.page.locator('.point[aria-label^="Point 2 of"]').bounding_box()
        assert at is not None
        # All steps in one task: however slow the machine is, no time goes by between them.
        laid.page.evaluate(
            """([x, y]) => {
              const point = document.elementFromPoint(x, y);
              const send = (node, what, off) => node.dispatchEvent(new MouseEvent(what, {
                bubbles: true, cancelable: true, button: 0, buttons: 1, clientX: x + off, clientY: y + off,
              }));
              send(point, "mousedown", 0);
              for (const off of [6, 12, 18]) send(point, "mousemove", off);
              send(point, "mouseup", 18);
            }""",
            [at["x"] + at["width"] / 2, at["y"] + at["height"] / 2],
        )
        laid.settle()
        assert asked.count("answer") == 1

    def test_tiles_leave_connections_for_answers(self, laid: Sheet) -> None:
        """A browser has six to a server: tiles that take long would else hold up every answer."""
        laid.settle()
        held: list[Any] = []

        def hold(route: Any) -> None:
            held.append(route)

        laid.page.route("**/tiles/**", hold)
        laid.page.locator(".leaflet-control-zoom-in").click()
        laid.drag(2, 20, -12)
        laid.settle()
        waited = [route for route in held if route.request.failure is None]  # the map wants them still
        assert len(waited) == 3
        laid.page.route("**/tiles/**", lambda route: route.continue_())
        for route in waited:
            route.continue_()
        expect(laid.page.locator(".leaflet-tile:not(.leaflet-tile-loaded)")).to_have_count(0)

    def test_what_is_under_the_pointer_is_asked_once_the_answer_stands(self, laid: Sheet) -> None:
        """Both at once take from the answer's processor what nobody looks at yet."""
        asked: list[str] = []

        def noted(route: Any) -> None:
            asked.append(route.request.url.rsplit("/", 1)[1])
            if asked[-1] == "answer":
                laid.page.wait_for_timeout(400)
                asked.append("sent on")
            route.continue_()

        for name in ("answer", "place"):
            laid.page.route(f"**/{name}", noted)
        laid.drag(2, 30.0, 20.0)
        laid.page.mouse.move(*laid.spot(0.5, 0.2))
        # What was under the pointer before it took the point may be answered late.
        with laid.page.expect_response(lambda _: asked[-1] == "place" and "answer" in asked):
            pass
        for k in (k for k, what in enumerate(asked) if what == "place"):
            assert asked[:k].count("answer") == asked[:k].count("sent on")

    def test_a_day_drawn_moved_undone_saved_and_read_by_route(
        self, sheet: Sheet, sample_dem: Path, tmp_path: Path
    ) -> None:
        draw(sheet, TEN)
        drawn = sheet.written()
        assert len(drawn) == 10
        sheet.drag(4, 25, -15)
        sheet.settle()
        moved = sheet.written()
        assert [k for k in range(10) if moved[k] != drawn[k]] == [3]
        sheet.page.click("#undo")
        sheet.settle()
        assert sheet.written() == drawn
        sheet.page.click("#redo")
        sheet.settle()
        assert sheet.written() == moved
        headline, places = sheet.texts("#headline p"), sheet.texts("#found > .places p")
        gpx = saved(sheet, "gpx", tmp_path)
        route = read_route(gpx)
        assert len(route.points) == 10
        said = route_says(gpx, sample_dem)
        assert headline[0] in said
        assert places
        assert [place for place in places if place.lower() not in said.lower()] == []

    def test_a_point_on_a_leg_and_one_less(self, sheet: Sheet) -> None:
        draw(sheet, [TEN[0], TEN[5]])
        boxes = [sheet.page.locator(f'.point[aria-label^="Point {k} of"]').bounding_box() for k in (1, 2)]
        x, y = (sum(box[axis] / 2 for box in boxes if box) + 16 for axis in ("x", "y"))
        sheet.page.mouse.click(x, y)
        sheet.settle()
        first, new, last = sheet.written()
        sheet.page.keyboard.press("Control+z")
        sheet.settle()
        assert sheet.written() == [first, last]
        sheet.page.keyboard.press("Control+Shift+z")
        sheet.settle()
        assert sheet.written() == [first, new, last]

    def test_profile_and_map_point_at_each_other(self, laid: Sheet) -> None:
        page = laid.page
        page.locator("#profile .panel").first.hover()
        expect(page.locator("path.here")).to_be_visible()
        middle = page.locator('.point[aria-label^="Point 3 of"]').bounding_box()
        assert middle is not None
        page.mouse.move(middle["x"] + 48, middle["y"] - 22)
        at = page.locator("#profile .cursor").first.get_attribute("x1")
        assert at is not None
        assert 50 < float(at.rstrip("%")) < 75

    def test_lines_side_by_side(self, laid: Sheet) -> None:
        sheet, page = laid, laid.page
        page.click("#tab-line")
        page.locator("#points button").nth(2).focus()
        page.click("#split")
        sheet.settle()
        assert page.locator("#which option").all_text_contents() == ["1: main", "2: alternative"]
        page.select_option("#role", "way off")
        expect(page.locator("#points li")).to_have_count(3)
        page.select_option("#which", "1")
        page.select_option("#other", "0")
        page.click("#join")
        sheet.settle()
        assert len(sheet.written()) == 6
        page.click("#undo")
        page.select_option("#which", "0")
        page.click("#join")
        sheet.settle()
        assert len(sheet.written()) == 5
        before = sheet.written()
        page.click("#reverse")
        sheet.settle()
        assert sheet.written() == before[::-1]


class TestEarlierLine:
    def test_an_answer_that_fails_leaves_the_one_shown_marked(self, laid: Sheet) -> None:
        """The earlier line's angles stood, unmarked, as those of a line that was never answered."""
        laid.settle()
        laid.page.route("**/answer", lambda route: route.abort())
        laid.drag(2, 20, -12)
        expect(laid.page.locator("#notice")).to_contain_text("The desk does not answer")
        expect(laid.page.locator("#pending")).to_have_text("Answer for the earlier line")
        expect(laid.page.locator("body")).to_have_class(re.compile(r"\bold\b"))
        laid.page.unroute("**/answer")
        laid.drag(2, -20, 12)
        laid.settle()
        expect(laid.page.locator("#notice")).to_be_hidden()
        laid.said = [text for text in laid.said if "ERR_FAILED" not in text]

    def test_what_a_shift_told_goes_with_its_line(self, laid: Sheet) -> None:
        """ "No band changes" stood beside a line that had been moved since, or came late to it."""
        page = laid.page
        page.click("#tab-take")
        page.click("#shift")
        expect(page.locator("#shifted table")).to_be_visible()
        laid.drag(2, 20, -12)
        laid.settle()
        expect(page.locator("#shifted table")).to_have_count(0)

        def late(route: Any) -> None:
            laid.drag(2, -20, 12)
            route.continue_()

        page.route("**/shift", late)
        page.click("#shift")
        expect(page.locator("#notice")).to_contain_text("shift it again")
        expect(page.locator("#shifted table")).to_have_count(0)


class TestKept:
    def test_a_closing_tab_keeps_the_last_change(
        self, browser: Browser, served: Served, sheet: Sheet
    ) -> None:
        sheet.click(0.4, 0.4)
        sheet.page.goto("about:blank")
        again = Sheet(browser, served.address, **WIDE)
        again.page.wait_for_selector("#points li", state="attached")
        again.end()

    @pytest.mark.parametrize(("choice", "more"), [("#take-theirs", 0), ("#keep-mine", 1)])
    def test_two_pages(self, browser: Browser, served: Served, laid: Sheet, choice: str, more: int) -> None:
        sheet, other = laid, Sheet(browser, served.address, **WIDE)
        sheet.page.click("#tab-take")
        sheet.page.fill("#day [name=party]", "Ona, Bo")
        for page, name in ((sheet.page, "by the rib"), (other.page, "by the burn")):
            page.click("#tab-line")
            page.fill("#line-name", name)
            page.keyboard.press("Tab")
            if page is sheet.page:
                sheet.settle()
        expect(other.page.locator("#conflict")).to_be_visible()
        other.page.click(choice)
        other.settle()
        options = other.page.locator("#which option").all_text_contents()
        assert options[0] == "1: by the rib"
        assert len(options) == 1 + more
        # Its own empty fields took the place of what the other page had kept of the day.
        assert other.page.locator("#day [name=party]").input_value() == "Ona, Bo"
        sheet.page.reload()
        sheet.settle()
        sheet.page.wait_for_selector("#which option", state="attached")
        assert sheet.page.locator("#which option").all_text_contents() == options
        assert sheet.page.locator("#day [name=party]").input_value() == "Ona, Bo"
        other.said = [text for text in other.said if "409" not in text]  # Chromium tells it
        other.end()


class TestKeys:
    def test_three_points_and_a_file(self, sheet: Sheet, tmp_path: Path) -> None:
        page = sheet.page
        page.locator("#map").focus()
        for key in ("Enter", "ArrowUp", "Enter", "ArrowRight", "Enter"):
            page.keyboard.press(key)
            page.wait_for_timeout(350)  # the map glides
        sheet.settle()
        page.locator("#tab-answer").focus()
        page.keyboard.press("ArrowRight")
        page.locator("#points button").nth(1).focus()
        before = sheet.written()
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Shift+ArrowDown")
        sheet.settle()
        after = sheet.written()
        assert [k for k in range(3) if before[k] != after[k]] == [1]
        page.keyboard.press("Insert")
        page.keyboard.press("Delete")
        sheet.settle()
        assert len(sheet.written()) == 3
        page.locator("#tab-line").focus()
        page.keyboard.press("ArrowRight")
        page.locator("[data-make=gpx]").focus()
        with page.expect_download() as waiting:
            page.keyboard.press("Enter")
        waiting.value.save_as(tmp_path / "keys.gpx")
        assert len(read_route(tmp_path / "keys.gpx").points) == 3

    def test_typed_points(self, sheet: Sheet) -> None:
        sheet.page.click("#tab-line")
        for text in ("59.2131 -8.0366", "245 true 600 m"):
            sheet.page.fill("#typed-text", text)
            sheet.page.keyboard.press("Enter")
            expect(sheet.page.locator("#typed-text")).to_have_value("")
        assert len(sheet.written()) == 2
        sheet.page.fill("#typed-text", "over there")
        sheet.page.keyboard.press("Enter")
        expect(sheet.page.locator("#notice")).to_be_visible()
        sheet.said = [text for text in sheet.said if "422" not in text]


class TestLook:
    @pytest.mark.parametrize(("size", "scheme"), [(WIDE, "light"), (PHONE, "dark")], ids=["wide", "phone"])
    def test_nothing_for_axe_to_find(
        self, browser: Browser, served: Served, size: dict[str, Any], scheme: str
    ) -> None:
        served.keep(LINE)
        sheet = Sheet(browser, served.address, color_scheme=scheme, **size)
        for tab in ("answer", "line", "take"):
            sheet.page.click(f"#tab-{tab}")
            found = Axe().run(sheet.page)
            assert found.violations_count == 0, found.generate_report()
        sheet.end()

    @pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
    def test_that_there_is_no_forecast_is_seen_without_scrolling(
        self, browser: Browser, served: Served, size: dict[str, Any]
    ) -> None:
        """It stood below all places, off the screen, though `route` says it first."""
        served.keep(LINE)
        sheet = Sheet(browser, served.address, **size)
        expect(sheet.page.locator("#findings p")).to_have_text(NO_FORECAST_WORDS)
        box = sheet.page.locator("#findings p").bounding_box()
        places = sheet.page.locator("#found .places").first.bounding_box()
        assert box is not None
        assert places is not None
        assert box["y"] + box["height"] < min(places["y"], size["viewport"]["height"])
        sheet.end()

    def test_on_a_phone(self, browser: Browser, served: Served) -> None:
        served.keep()
        sheet = Sheet(browser, served.address, **PHONE)
        for spot in ((0.3, 0.75), (0.5, 0.55), (0.6, 0.4)):
            sheet.page.touchscreen.tap(*sheet.spot(*spot))
        sheet.settle()
        assert len(sheet.written()) == 3
        assert sheet.page.evaluate("document.documentElement.scrollWidth") == 390
        for tab in ("line", "take", "answer"):
            sheet.page.tap(f"#tab-{tab}")
            small = [one for one in sheet.page.evaluate(TARGETS) if one[2] < 48 or one[1] < 44]
            assert small == []
        sheet.page.tap("#handle")
        expect(sheet.page.locator("#along")).to_be_visible()
        sheet.end()

    def test_ground_looked_at_does_not_cover_the_buttons_of_a_phone(
        self, browser: Browser, served: Served
    ) -> None:
        """Told to choose Draw, which was on, one ended drawing; what a tap then told lay over Draw itself."""
        served.keep()
        sheet = Sheet(browser, served.address, **PHONE)
        assert sheet.page.locator("#draw").get_attribute("aria-pressed") == "true"
        assert "while Draw is pressed" in sheet.page.locator("#headline").inner_text()
        sheet.page.tap("#draw")
        sheet.page.touchscreen.tap(*sheet.spot(0.5, 0.4))
        expect(sheet.page.locator("#under")).to_contain_text("Slope")
        sheet.page.tap("#handle")
        expect(sheet.page.locator("#under")).to_be_hidden()
        sheet.end()


def test_hostile_names_stay_text(browser: Browser, served: Served, tmp_path: Path) -> None:
    """Every hostile string as the name of a point; some as those of lines, and many in a field of the day."""
    names = [clean(text) for text in STRINGS]
    points = [{"row": 400.0 - 4 * k, "col": 300.0 + 2 * k, "name": text} for k, text in enumerate(STRINGS)]
    beside = {"name": STRINGS[12], "role": "alternative", "points": points[:2]}
    served.keep(
        {"name": STRINGS[9], "role": "main", "points": points}, beside, party=" ".join(STRINGS)[:1000]
    )
    sheet = Sheet(browser, served.address, **WIDE)
    page = sheet.page
    page.click("#tab-line")
    assert page.locator("#line-name").input_value() == names[9]
    shown = page.locator("#points li input")
    assert shown.evaluate_all("fields => fields.map((field) => field.value)") == names
    assert names[12] in " ".join(sheet.texts(".line-label"))
    assert foreign(page) == 0
    file = tmp_path / "evil.gpx"
    points_ = "".join(
        f'<rtept lat="{59.2 + 0.001 * k}" lon="-8.03"><name>{escape(text)}</name></rtept>'
        for k, text in enumerate(names[:12])
    )
    file.write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><rte>'
        f"<name>{escape(names[0])}</name>{points_}</rte></gpx>",
        "utf-8",
    )
    page.set_input_files("#file", file)
    expect(page.locator("#points li")).to_have_count(12)
    sheet.settle()
    assert page.locator("#line-name").input_value() == names[0]
    assert foreign(page) == 0
    sheet.end()


def foreign(page: Page) -> int:
    """How many elements are none of the desk's own: what a name would have to become to do harm."""
    return page.locator(
        "img[src=x], #panel script, #map script, iframe, object, embed, base, form[action], video, xss, "
        "[onerror], [onload], [onfocus], [ontoggle], [onbegin]"
    ).count()


def test_reload_and_a_killed_server(
    browser: Browser, served: Served, home: Path, sample_dem: Path, sheet: Sheet
) -> None:
    """Last, for it kills the server that the others have asked."""
    sheet.page.click("#tab-take")
    sheet.page.fill("#day [name=party]", "Ona, Bo")
    draw(sheet, TEN[:3])
    drawn = sheet.written()
    sheet.page.reload()
    sheet.page.wait_for_selector("#points li", state="attached")
    sheet.settle()
    assert sheet.written() == drawn
    sheet.page.goto("about:blank")
    served.end()
    again = Served(home, "--dem", str(sample_dem / "stey_massif.tif"))
    other = Sheet(browser, again.address, **WIDE)
    assert other.written() == drawn
    assert other.page.locator("#day [name=party]").input_value() == "Ona, Bo"
    other.end()
    again.end()


def test_a_page_asks_again_when_its_forecast_has_ended(
    browser: Browser, home: Path, sample_dem: Path
) -> None:
    """A desk that nobody touched overnight had yesterday's levels on it in the morning."""
    bulletin = json.loads((sample_dem / "bulletin.json").read_text("utf-8"))
    ends = dt.datetime.now(dt.UTC).replace(microsecond=0) + dt.timedelta(hours=1)
    for one in bulletin["bulletins"]:
        one["validTime"] = {"endTime": ends.isoformat()}
    (home / "today.json").write_text(json.dumps(bulletin), "utf-8")
    given = ("--dem", str(sample_dem / "stey_massif.tif"), "--bulletin", str(home / "today.json"))
    served = Served(home, *given, "--region", "XX-STEY-01")
    served.keep(LINE)
    context = browser.new_context(**WIDE)
    page = context.new_page()
    page.clock.install()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.rpartition("/")[2]))
    page.goto(served.address)
    page.wait_for_selector("#found h2")
    before = asked.count("answer")
    page.clock.fast_forward("00:50:00")
    assert asked.count("answer") == before
    with page.expect_request("**/answer", timeout=PATIENCE_MS):
        page.clock.fast_forward("00:11:00")
    context.close()
    served.end()
