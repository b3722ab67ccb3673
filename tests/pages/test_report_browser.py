"""The report driven in a real Chromium: hover, keys, sorting, layers, zoom, print, phone, no script."""

from __future__ import annotations

import dataclasses
import datetime as dt
import itertools
import math
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from tests.needs import program
from tests.pages.conftest import Made
from tests.pages.drawn import HOSTILE, hostile, large, partly, unknown
from tests.visits import Visit

from steybrae.bands import in_degrees
from steybrae.files.plans import read_plan
from steybrae.forecast.bulletin import last_end, parse_span
from steybrae.library.forecast import read_asked
from steybrae.names import clean
from steybrae.pages.report.map import draw_report_map
from steybrae.pages.report.page import report_page
from steybrae.pages.report.told import sketch_letters
from steybrae.screening.forecast.at import forecast_beside
from steybrae.value import slope

DESKTOP = {"viewport": {"width": 1280, "height": 900}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
A4_PX = 718  # 190 mm between the margins, at 96 dots to the inch


@pytest.fixture
def desktop(browser: Browser, made: Made) -> Iterator[Page]:
    visit = Visit(browser, made.page, **DESKTOP)
    yield visit.page
    visit.end()


@pytest.fixture
def phone(browser: Browser, made: Made) -> Iterator[Page]:
    visit = Visit(browser, made.page, **PHONE)
    yield visit.page
    visit.end()


@pytest.fixture(scope="module")
def others(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    paths = {}
    for make in (hostile, unknown, partly, large):
        paths[make.__name__] = folder / f"{make.__name__}.html"
        paths[make.__name__].write_text(report_page(make()), "utf-8")
    return paths


def readout(page: Page) -> dict[str, str]:
    nodes = page.locator("[data-at]").all()
    return {node.get_attribute("data-at") or "": node.inner_text() for node in nodes}


def view_box(page: Page) -> list[float]:
    page.wait_for_timeout(220)  # the map is drawn anew when it rests
    return [float(part) for part in (page.locator("#map svg").first.get_attribute("viewBox") or "").split()]


def along(page: Page) -> float:
    return float(page.locator("#profile").get_attribute("aria-valuenow") or "nan")


WALK = """(count) => {
  const profile = document.querySelector("#profile");
  const press = (key) => profile.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true }));
  const nodes = [...document.querySelectorAll("[data-at]")];
  press("Home");
  const seen = [];
  for (let k = 0; k < count; k += 1) {
    seen.push(Object.fromEntries(nodes.map((node) => [node.dataset.at, node.textContent])));
    press("ArrowRight");
  }
  return seen;
}"""


class TestMapAndProfile:
    def test_hovering_over_the_profile_shows_the_place_on_the_map(self, desktop: Page, made: Made) -> None:
        desktop.locator("#profile .panel").first.hover(position={"x": 300, "y": 50})
        desktop.wait_for_timeout(150)
        ring = desktop.locator("#here .ring").bounding_box()
        frame = desktop.locator("#map").bounding_box()
        assert ring is not None
        assert frame is not None
        assert frame["x"] < ring["x"] < frame["x"] + frame["width"]
        assert desktop.locator(".cursor").last.get_attribute("x1") != "-1%"
        assert readout(desktop)["leg"] == desktop.locator(".sortable tr.here th").inner_text()

    def test_hovering_over_the_map_shows_the_place_in_the_profile(self, desktop: Page) -> None:
        label = desktop.locator(".leg-label", has_text=re.compile("^1$"))
        label.hover()
        desktop.wait_for_timeout(150)
        assert readout(desktop)["leg"] == "1"
        at = re.sub(r"\D", "", readout(desktop)["at"])
        assert abs(float(at) - 985.0) < 40.0  # the number of a leg stands half-way along it

    def test_every_point_reads_what_the_result_says(self, desktop: Page, made: Made) -> None:
        shown = iter(desktop.evaluate(WALK, sum(len(leg.points.chainage_m) for leg in made.screening.legs)))
        bands = list(made.screening.totals.band_lengths_m)
        for leg in made.screening.legs:
            for k in range(len(leg.points.chainage_m)):
                self._check(next(shown), leg, k, bands)
        assert {leg.open_above for leg in made.screening.legs} == {True, False}
        assert along(desktop) == pytest.approx(made.screening.totals.length_m, abs=1.0)

    @staticmethod
    def _check(shown: dict[str, str], leg: Any, k: int, bands: list[str]) -> None:
        points = leg.points
        deg, low, high = (
            float(column[k]) for column in (points.slope_deg, points.slope_low_deg, points.slope_high_deg)
        )
        assert shown["leg"] == str(leg.number)
        assert abs(float(re.sub(r"\D", "", shown["at"])) - points.chainage_m[k]) <= 1.0
        assert shown["slope"] == slope(deg, at_least=math.isnan(high)).text
        # Beside ground that is not known "29.7°" stood as if it were the steepest of the corridor.
        assert shown["corridor"] == slope(float(points.corridor_deg[k]), at_least=leg.open_above).text
        if math.isnan(deg):
            assert (shown["band"], shown["interval"]) == ("unknown", "not known")
            return
        tenths = round(math.ceil(round(deg * 10.0, 8) - 1e-6)) / 10.0
        label = bands[sum(tenths >= float(name.split("-")[0].strip("<+")) for name in bands[1:])]
        assert shown["band"] == in_degrees(label)
        assert (
            shown["interval"] == f"{math.floor(round(low * 10.0, 8) + 1e-6) / 10.0:.1f} to {slope(high).text}"
        )
        assert shown["height"] == f"{round(points.elevation_m[k])} m"
        names = [one.name for one in leg.expected_readings]
        assert shown["reading"].split(":")[0] in (names or ["none on this leg"])

    def test_keys_on_the_profile(self, desktop: Page, made: Made) -> None:
        desktop.locator("#profile").focus()
        places = []
        for key in ("End", "Home", "ArrowRight", "PageUp", "ArrowLeft", "PageDown", "Home"):
            desktop.keyboard.press(key)
            places.append(along(desktop))
        end, start, one, far, back, near, last = places
        assert end == pytest.approx(made.screening.totals.length_m, abs=1.0)
        assert start == last == 0.0
        assert 0.0 < one < 30.0
        assert 200.0 < far < 500.0
        assert back < far
        assert near < one + 1.0
        words = desktop.locator("#profile").get_attribute("aria-valuetext") or ""
        assert words.startswith("Leg 1, 0 m: slope ")


class TestZoom:
    def test_buttons_and_keys(self, desktop: Page) -> None:
        whole = view_box(desktop)
        desktop.locator("#zoom-in").click()
        first = view_box(desktop)
        assert first[2] == pytest.approx(whole[2] / 1.6)
        assert first[0] + first[2] / 2 == pytest.approx(whole[2] / 2)
        desktop.locator("#map").focus()
        for key, change in (
            ("ArrowRight", (1, 0)),
            ("ArrowLeft", (-1, 0)),
            ("ArrowDown", (0, 1)),
            ("ArrowUp", (0, -1)),
        ):
            before = view_box(desktop)
            desktop.keyboard.press(key)
            after = view_box(desktop)
            assert [
                round(math.copysign(1, b - a)) if abs(b - a) > 1 else 0
                for a, b in zip(before, after, strict=True)
            ][:2] == list(change)
        desktop.keyboard.press("+")
        assert view_box(desktop)[2] == pytest.approx(whole[2] / 1.6**2)
        desktop.keyboard.press("-")
        assert view_box(desktop)[2] == pytest.approx(whole[2] / 1.6)
        desktop.keyboard.press("0")
        assert view_box(desktop) == whole

    def test_the_wheel_keeps_the_place_under_it_and_scrolls_the_page_until_the_map_was_clicked(
        self, desktop: Page
    ) -> None:
        desktop.locator("#look").scroll_into_view_if_needed()
        frame = desktop.locator("#map").bounding_box()
        assert frame is not None
        x, y = frame["x"] + 100.0, frame["y"] + 120.0
        whole = view_box(desktop)
        desktop.mouse.move(x, y)
        desktop.mouse.wheel(0, 60)
        assert view_box(desktop) == whole
        frame = desktop.locator("#map").bounding_box()
        assert frame is not None
        y = frame["y"] + 120.0
        desktop.mouse.click(x, y)
        under = [
            whole[0] + 99.0 / (frame["width"] - 2.0) * whole[2],
            119.0 / (frame["width"] - 2.0) * whole[2],
        ]
        desktop.mouse.wheel(0, -400)
        near = view_box(desktop)
        assert near[2] < whole[2] / 1.5
        assert near[0] + 99.0 / (frame["width"] - 2.0) * near[2] == pytest.approx(under[0], abs=20.0)
        assert near[1] + 119.0 / (frame["width"] - 2.0) * near[2] == pytest.approx(under[1], abs=20.0)

    def test_dragging_moves_it_and_it_never_leaves_the_frame(self, desktop: Page) -> None:
        desktop.locator("#map").scroll_into_view_if_needed()
        desktop.locator("#zoom-in").click()
        desktop.locator("#zoom-in").click()
        before = view_box(desktop)
        frame = desktop.locator("#map").bounding_box()
        assert frame is not None
        x, y = frame["x"] + 240.0, frame["y"] + 300.0
        desktop.mouse.move(x, y)
        desktop.mouse.down()
        desktop.mouse.move(x - 60.0, y - 30.0, steps=4)
        desktop.mouse.up()
        after = view_box(desktop)
        per_pixel = before[2] / (frame["width"] - 2.0)
        assert after[0] - before[0] == pytest.approx(60.0 * per_pixel, abs=2.0 * per_pixel)
        assert after[1] - before[1] == pytest.approx(30.0 * per_pixel, abs=2.0 * per_pixel)
        desktop.locator("#map").focus()
        for _ in range(40):
            desktop.keyboard.press("ArrowLeft")
            desktop.keyboard.press("ArrowUp")
        assert view_box(desktop)[:2] == [0.0, 0.0]

    def test_two_fingers(self, phone: Page) -> None:
        phone.locator("#map").scroll_into_view_if_needed()
        frame = phone.locator("#map").bounding_box()
        assert frame is not None
        x, y = frame["x"] + frame["width"] / 2, frame["y"] + 150.0
        whole = view_box(phone)
        fingers = phone.context.new_cdp_session(phone)
        for kind, apart in (("touchStart", 30), ("touchMove", 60), ("touchMove", 90), ("touchEnd", 0)):
            points = (
                []
                if kind == "touchEnd"
                else [{"x": x - apart, "y": y, "id": 1}, {"x": x + apart, "y": y, "id": 2}]
            )
            fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        assert 1.8 < whole[2] / view_box(phone)[2] < 3.3

    def test_signs_keep_their_size(self, desktop: Page) -> None:
        label = desktop.locator(".leg-label", has_text=re.compile("^1$")).locator("circle")
        before = label.bounding_box()
        desktop.locator("#zoom-in").click()
        view_box(desktop)
        after = label.bounding_box()
        assert before is not None
        assert after is not None
        assert after["width"] == pytest.approx(before["width"], rel=0.02)

    def test_letters_of_places_stand_beside_them_and_cover_no_label(self, desktop: Page, made: Made) -> None:
        """Only the sketch had them. They keep their size, and what has no room waits, zoomed too."""
        assert sorted(desktop.locator("#map .place-label text").all_text_contents()) == [
            place.name for place in made.screening.places
        ]
        for _ in range(3):
            shown = "#map .label:not(.crowded):has(circle[r='8'], circle[r='9'])"
            rings = desktop.locator(f":is({shown}) circle:is([r='8'], [r='9'])")
            boxes = [box for box in (ring.bounding_box() for ring in rings.all()) if box is not None]
            assert all(box["width"] < 21.0 for box in boxes)
            middles = [(box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0) for box in boxes]
            assert all(math.dist(*two) > 17.0 for two in itertools.combinations(middles, 2))
            desktop.locator("#zoom-in").click()
            view_box(desktop)
        letters = desktop.locator("#map .place-label:not(.crowded)")
        assert letters.count() > len(made.screening.places) // 2

    def test_more_labels_find_room(self, desktop: Page) -> None:
        waiting = desktop.locator(".label.crowded").count()
        for _ in range(4):
            desktop.locator("#zoom-in").click()
        view_box(desktop)
        assert desktop.locator(".label.crowded").count() < waiting


LAYERS = ("bands", "contours", "corridor", "overhead", "readings")


class TestLayers:
    @pytest.mark.parametrize("script", [True, False])
    def test_each_can_be_switched_off_and_on(self, browser: Browser, made: Made, script: bool) -> None:
        visit = Visit(browser, made.page, java_script_enabled=script, **DESKTOP)
        for layer in LAYERS:
            part = visit.page.locator(f".layer-{layer}").first
            assert part.is_visible()
            visit.page.locator(f"#show-{layer}").uncheck()
            assert not part.is_visible()
            visit.page.locator(f"#show-{layer}").check()
            assert part.is_visible()
        visit.end()

    def test_without_bands_it_says_that_no_steepness_is_shown(self, desktop: Page) -> None:
        words = desktop.get_by_text("the map now shows no steepness at all")
        assert not words.is_visible()
        desktop.locator("#show-bands").uncheck()
        assert words.is_visible()

    def test_unknown_ground_is_never_wholly_switched_off(self, desktop: Page) -> None:
        hatch = desktop.locator(".layer-unknown")
        desktop.locator("#show-unknown").uncheck()
        assert hatch.is_visible()
        assert float(hatch.evaluate("node => getComputedStyle(node).opacity")) >= 0.3


class TestTable:
    def numbers(self, page: Page, column: int) -> list[str]:
        return page.locator(f".sortable tbody tr > :nth-child({column})").all_inner_texts()

    def test_it_sorts_by_figures_both_ways(self, desktop: Page, made: Made) -> None:
        head = desktop.locator(".sortable th", has_text="Steepest on line")
        slopes = [
            slope(leg.slope_max_deg, at_least=leg.open_above).text
            for leg in sorted(made.screening.legs, key=lambda leg: (leg.open_above, leg.slope_max_deg))
        ]
        assert slopes[-1].startswith("at least")  # it may be steeper than all that are known
        for wanted, order in ((slopes[::-1], "descending"), (slopes, "ascending")):
            head.locator("button").click()
            assert head.get_attribute("aria-sort") == order
            assert self.numbers(desktop, 6) == wanted
        desktop.locator(".sortable th button", has_text="Leg").click()
        assert self.numbers(desktop, 1) == [str(leg.number) for leg in made.screening.legs]
        assert head.get_attribute("aria-sort") == "none"

    def test_it_sorts_by_names_and_keys(self, desktop: Page, made: Made) -> None:
        desktop.locator(".sortable th button", has_text="From, to").focus()
        desktop.keyboard.press("Enter")
        names = [text.split(" to ")[0] for text in self.numbers(desktop, 2)]
        assert names == sorted((leg.from_ for leg in made.screening.legs), key=str.casefold)

    def test_unknown_sorts_as_the_steepest(self, browser: Browser, others: dict[str, Path]) -> None:
        visit = Visit(browser, others["partly"], **DESKTOP)
        for head, column in (("Steepest on line", 6), ("95 %", 8), ("Possible bands", 12), ("Overhead", 17)):
            visit.page.locator(".sortable th button", has_text=head).click()
            assert self.numbers(visit.page, 1)[0] == "4", head
            assert self.numbers(visit.page, column)[0].startswith(("unknown", "how well")), head
        visit.end()


class TestWithoutScript:
    def test_everything_stands_there(self, browser: Browser, made: Made) -> None:
        visit = Visit(browser, made.page, java_script_enabled=False, **DESKTOP)
        page = visit.page
        for part in (".legs > li", "#map svg image", ".heights rect", ".sortable tbody tr", ".legend li"):
            assert page.locator(part).first.is_visible()
        for part in (".tools", ".readout"):
            assert not page.locator(part).is_visible()
        assert page.locator(".sortable button").count() == 0
        visit.end()


class TestPrint:
    def test_pages_of_a4(self, desktop: Page) -> None:
        desktop.locator("#zoom-in").click()
        desktop.locator("#show-bands").uncheck()
        printed = desktop.pdf(prefer_css_page_size=True, print_background=True)
        assert 6 <= len(re.findall(rb"/Type /Page\b", printed)) <= 12
        boxes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", printed)}
        assert len(boxes) == 1
        assert boxes.pop()[2:] == pytest.approx((595.0, 842.0), abs=1.5)

    def test_a_table_over_two_pages_has_its_head_twice_and_no_heading_ends_a_page(
        self, desktop: Page, tmp_path: Path
    ) -> None:
        """Buttons in it, made by the script, were left out of the second head: figures without names."""
        path = tmp_path / "report.pdf"
        path.write_bytes(desktop.pdf(prefer_css_page_size=True, print_background=True))
        done = subprocess.run(
            [program("pdftotext", package="poppler-utils"), "-layout", path, "-"],
            check=True,
            capture_output=True,
        )
        pages = done.stdout.decode().split("\f")
        assert sum("From, to" in page for page in pages) >= 2
        heads = ("Map and profile", "Leg by leg", "All legs in figures")
        lasts = [page.strip().splitlines()[-1].strip() for page in pages if page.strip()]
        assert not set(heads) & set(lasts)

    def test_the_map_is_whole_and_every_table_fits(self, browser: Browser, made: Made) -> None:
        options = {"viewport": {"width": A4_PX, "height": 1050}}
        visit = Visit(browser, made.page, **options)
        page = visit.page
        page.locator("#zoom-in").click()
        page.locator("#show-bands").uncheck()
        page.locator("#show-unknown").uncheck()
        page.wait_for_timeout(200)
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print")
        assert page.locator("#map svg").first.get_attribute("viewBox") == "0 0 5900 8300"
        assert page.locator(".layer-bands").is_visible()
        assert page.locator(".layer-unknown").evaluate("node => getComputedStyle(node).opacity") == "1"
        for table in page.locator("table").all():
            assert table.evaluate("node => node.getBoundingClientRect().right") <= A4_PX + 0.5
        breaks = "nodes => [...new Set(nodes.map(node => getComputedStyle(node).breakInside))]"
        assert page.locator("tr").evaluate_all(breaks) == ["avoid"]
        assert page.locator(".legs > li").evaluate_all(breaks) == ["avoid"]
        tops = [
            page.locator(part).evaluate("node => node.getBoundingClientRect().top")
            for part in ("header", "#places", "#look", "#on-reading", "#legs", "#table")
        ]
        assert tops == sorted(tops)  # as on a screen
        for hidden in (".tools", ".layers", ".readout", "nav"):
            assert not page.locator(hidden).is_visible()
        width = page.locator("#map svg").first.evaluate("node => node.getBoundingClientRect().width")
        assert width == pytest.approx(118.0 / 25.4 * 96.0, abs=0.6)  # true to the scale in the legend
        visit.end()


class TestEveryScreen:
    @pytest.mark.parametrize("name", ["sample", "hostile", "unknown", "large"])
    def test_nothing_hangs_over_the_edge_of_a_phone(
        self, browser: Browser, made: Made, others: dict[str, Path], name: str
    ) -> None:
        visit = Visit(browser, made.page if name == "sample" else others[name], **PHONE)
        for letters in ("100%", "200%"):
            visit.page.evaluate(f"document.documentElement.style.fontSize = '{letters}'")
            assert visit.page.evaluate("document.documentElement.scrollWidth") == 390, letters
        visit.end()

    def test_sentences_of_tables_are_read_without_moving_them(self, phone: Page) -> None:
        """Figures may be moved sideways; what rolls and traps are, and how figures are read, was cut off."""
        for part in ("#figures-note", "#table .words"):
            rights = phone.locator(part).evaluate_all(
                "all => all.map(one => one.getBoundingClientRect().right)"
            )
            assert rights
            assert max(rights) <= 390

    def test_the_map_is_met_before_the_legs(self, phone: Page, made: Made) -> None:
        tops = [
            phone.locator(part).first.evaluate("node => node.getBoundingClientRect().top + scrollY")
            for part in (".headline", "header .cautions", "#map", "#on-reading", "#legs")
        ]
        assert tops == sorted(tops)
        # The places that matter lead; for 19 legs they are some two screens long.
        assert tops[2] < 3.5 * PHONE["viewport"]["height"]
        cautions = phone.locator("header .cautions li, #on-reading li")
        assert cautions.count() == len(made.screening.cautions)
        assert all(caution.is_visible() for caution in cautions.all())

    def test_a_tap_on_the_profile(self, phone: Page) -> None:
        phone.locator("#profile .panel").first.tap(position={"x": 120, "y": 60})
        assert int(readout(phone)["leg"]) > 1

    @pytest.mark.parametrize(
        ("options", "scheme"), [(DESKTOP, "light"), (PHONE, "dark")], ids=["desktop-light", "phone-dark"]
    )
    def test_nobody_is_shut_out(
        self, browser: Browser, made: Made, scheme: str, options: dict[str, Any]
    ) -> None:
        """Contrast goes by the scheme and room by the width: two of the four hold both."""
        visit = Visit(browser, made.page, color_scheme=scheme, bypass_csp=True, **options)
        visit.page.locator("#profile").focus()
        visit.page.keyboard.press("End")
        found = Axe().run(visit.page)
        bad = [
            (violation["id"], [node["html"][:120] for node in violation["nodes"]][:3])
            for violation in found.response["violations"]
            if violation["impact"] in ("serious", "critical", "moderate")
        ]
        assert bad == []
        visit.end()

    def test_dark_is_dark(self, browser: Browser, made: Made) -> None:
        colours = []
        for scheme in ("light", "dark"):
            visit = Visit(browser, made.page, color_scheme=scheme, **DESKTOP)
            colours.append(
                visit.page.locator("body").evaluate("node => getComputedStyle(node).backgroundColor")
            )
            visit.end()
        assert colours == ["rgb(252, 252, 250)", "rgb(20, 22, 26)"]


class TestHostile:
    def test_a_name_is_a_name(self, browser: Browser, others: dict[str, Path]) -> None:
        visit = Visit(browser, others["hostile"], **DESKTOP)
        page = visit.page
        assert page.locator("h1").inner_text().startswith("<script>alert(1)</script> long")
        names = page.locator(".legs h3 bdi").all_text_contents()
        assert names == [name for pair in itertools.pairwise(map(clean, HOSTILE)) for name in pair]
        assert page.locator("script").count() == 2
        page.locator(".sortable th button", has_text="From, to").click()
        page.locator("#profile").focus()
        page.keyboard.press("End")
        assert readout(page)["leg"] == "4"
        visit.end()

    def test_all_unknown(self, browser: Browser, others: dict[str, Path]) -> None:
        visit = Visit(browser, others["unknown"], **DESKTOP)
        visit.page.locator("#profile").focus()
        visit.page.keyboard.press("PageUp")
        shown = readout(visit.page)
        for field in ("height", "slope", "band", "corridor", "overhead"):
            assert shown[field] == "unknown", field
        assert shown["reading"] == "none on this leg"
        assert visit.page.locator(".layer-unknown").is_visible()
        visit.end()


FRAMES = """async ([target, kind, count]) => {
  const node = document.querySelector(target);
  const box = node.getBoundingClientRect();
  for (let k = 0; k < count; k += 1) {
    const options = {
      clientX: box.left + box.width * (0.2 + 0.6 * k / count), clientY: box.top + box.height * 0.3,
      deltaY: k < count / 2 ? -40 : 40, ctrlKey: kind === "wheel", bubbles: true, cancelable: true,
    };
    const Kind = kind === "wheel" ? WheelEvent : PointerEvent;
    node.dispatchEvent(new Kind(kind, options));
    await new Promise(requestAnimationFrame);
    document.body.getBoundingClientRect();
  }
}"""


class TestHome:
    def test_a_phone_has_at_most_eight_screens_before_the_tables(self, phone: Page) -> None:
        top = phone.evaluate("document.querySelector('#table').getBoundingClientRect().top + scrollY")
        assert top <= 8.0 * 844.0

    def test_the_sketch_and_what_is_asked_first_stand_on_the_first_screen(self, phone: Page) -> None:
        for part in (".home dl", ".sketch"):
            box = phone.locator(part).first.bounding_box()
            assert box is not None
            assert box["y"] + box["height"] <= 844.0, part

    def test_letters_on_the_sketch_cover_neither_each_other_nor_a_place(self, made: Made) -> None:
        relief = made.screening.relief
        assert relief is not None
        size, letters = sketch_letters(made.screening, relief, draw_report_map(made.screening, relief))
        assert [one.name for one in letters] == [
            place.name for place in made.screening.places if place.at_length
        ]
        for k, one in enumerate(letters):
            others = [other.label for other in letters[:k]] + [other.at for other in letters]
            assert min(math.dist(one.label, spot) for spot in others) >= size

    def test_a_tap_brings_the_figures_to_the_finger_and_zoom_goes_there(self, phone: Page) -> None:
        frame = phone.locator("#map")
        frame.scroll_into_view_if_needed()
        at = phone.locator('.line[data-leg="2"]').bounding_box()
        assert at is not None
        phone.touchscreen.tap(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
        tip = phone.locator("#tip")
        assert tip.inner_text().startswith("Leg 2, ")
        box, map_box = tip.bounding_box(), frame.bounding_box()
        assert box is not None
        assert map_box is not None
        assert map_box["x"] <= box["x"]
        assert box["x"] + box["width"] <= map_box["x"] + map_box["width"]
        phone.locator("#zoom-in").tap()
        phone.locator("#zoom-in").tap()
        left, top, width, height = view_box(phone)
        x, y = (
            phone.evaluate("document.querySelector('#here').transform.baseVal[0].matrix.e"),
            phone.evaluate("document.querySelector('#here').transform.baseVal[0].matrix.f"),
        )
        assert left <= x <= left + width
        assert top <= y <= top + height


class TestLarge:
    """40 legs and 20 000 points."""

    def test_it_stays_fluid(self, browser: Browser, others: dict[str, Path]) -> None:
        """By the processor time of the page's thread: clocks on the wall tell how busy the machine is."""
        visit = Visit(browser, others["large"], **DESKTOP)
        told = visit.context.new_cdp_session(visit.page)
        told.send("Performance.enable", {"timeDomain": "threadTicks"})

        def worked_s() -> float:
            found = told.send("Performance.getMetrics")["metrics"]
            return float(next(one["value"] for one in found if one["name"] == "TaskDuration"))

        for target, event in (
            ("#profile .panel", "pointermove"),
            ("#map svg", "pointermove"),
            ("#map svg", "wheel"),
        ):
            visit.page.locator(target).first.scroll_into_view_if_needed()
            before = worked_s()
            visit.page.evaluate(FRAMES, [target, event, 40])
            took = worked_s() - before
            print(f"{target} {event}: {1000.0 * took / 40:.1f} ms")
            assert 0.0 < took / 40 < 0.050, (target, event)
        visit.end()

    def test_all_its_points_are_there(self, browser: Browser, others: dict[str, Path]) -> None:
        visit = Visit(browser, others["large"], **DESKTOP)
        count = visit.page.evaluate(
            "JSON.parse(document.querySelector('#points').textContent).legs.map(leg => leg.at.length)"
        )
        assert count == [500] * 40
        drawn = visit.page.locator(".heights path").evaluate_all(
            "nodes => nodes.map(node => node.getAttribute('d').length)"
        )
        assert max(drawn) < 12_000
        assert others["large"].stat().st_size < 2_500_000
        visit.end()


@pytest.mark.parametrize("late_min", [-1, 1])
def test_a_forecast_that_ended_since_the_page_was_made_shows_no_level_first(
    browser: Browser, made: Made, tmp_path: Path, sample_dem: Path, late_min: int
) -> None:
    """A page of yesterday had yesterday's levels on its first screen, as today's."""
    source, ask = read_asked(
        sample_dem / "bulletin.json", region="XX-STEY-01", lang=None,
        span=parse_span("2027-01-15T09:00+00:00"), treeline_m=None, slope_deg=None, reduction=False,
    )  # fmt: skip
    found = forecast_beside(read_plan(made.plan), source, ask)
    assert found.forecast is not None
    ends = last_end(found.forecast.bulletins)
    assert ends == dt.datetime(2027, 1, 15, 18, tzinfo=dt.UTC)
    (bulletin,) = found.forecast.bulletins
    wordy = dataclasses.replace(bulletin, highlights="Schneedecken" * 30)
    found = dataclasses.replace(found, forecast=dataclasses.replace(found.forecast, bulletins=(wordy,)))
    (tmp_path / "page.html").write_text(report_page(found), "utf-8")
    context = browser.new_context(**PHONE)
    page = context.new_page()
    page.clock.set_fixed_time(ends + dt.timedelta(minutes=late_min))
    page.goto((tmp_path / "page.html").as_uri())
    first = page.locator(".home div", has=page.get_by_text("Forecast", exact=True)).locator("dd")
    said = "EXPIRED: this forecast ended 2027-01-15 18:00 UTC. Get a newer one."
    if late_min > 0:
        assert first.inner_text() == page.locator("#forecast .strip").first.inner_text() == said
    else:
        assert first.inner_text().startswith("Valid 2027-01-14 18:00 UTC to 2027-01-15 18:00 UTC.")
        assert said not in page.locator("body").inner_text()
    # One long word of the forecasters' made all of the page wider than the phone.
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    context.close()
