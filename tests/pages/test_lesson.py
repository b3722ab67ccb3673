"""The lesson's page, driven in a real Chromium: numbers, keys, quiz, and that it stays at home."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from tests.visits import Visit

from steybrae.bands import BandScheme
from steybrae.pages.lesson import lesson_html
from steybrae.paper.chart import gap_for_slope_mm
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import slope_from_spacing
from steybrae.quantities import one_in_text, shown_slope_deg
from steybrae.teach.lesson import bent_share, bent_steepest_deg, lesson, line_grade_deg
from steybrae.value import slope

DESKTOP = {"viewport": {"width": 1200, "height": 900}}
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
SLOPES = [3.0, 10.0, 19.97, 25.0, 29.95, 30.0, 35.0, 41.3, 45.0, 54.96, 60.0]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("lesson") / "lesson.html"
    path.write_text(lesson_html(lesson(1)), encoding="utf-8")
    return path


@pytest.fixture
def page(browser: Browser, file: Path) -> Iterator[Page]:
    visit = Visit(browser, file, **DESKTOP)
    yield visit.page
    visit.end()


def slide(page: Page, name: str, value: float) -> None:
    page.locator(f"#{name}").evaluate(
        "(node, value) => { node.value = value; node.dispatchEvent(new Event('input', {bubbles: true})); }",
        str(value),
    )


def text(page: Page, name: str) -> str:
    return page.locator(f"#{name}").inner_text()


def test_its_formulas_are_those_of_the_package(page: Page) -> None:
    for scale in (10_000, 24_000, 25_000, 50_000):
        for interval_m in (5.0, 10.0, 12.192, 20.0):
            mine = [gap_for_slope_mm(s, interval_m, scale, 5) for s in SLOPES]
            theirs = page.evaluate(
                "([slopes, i, s]) => slopes.map((a) => steybraeLesson.gapMm(a, i, s, 5))",
                [SLOPES, interval_m, scale],
            )
            assert theirs == pytest.approx(mine, rel=1e-12)
            back = page.evaluate(
                "([gaps, i, s]) => gaps.map((w) => steybraeLesson.slopeDeg(w, 5, i, s))",
                [mine, interval_m, scale],
            )
            read = [
                slope_from_spacing(GapMeasurement(w, 5, "gaps"), interval_m, scale).slope_deg
                for w in mine
                if w >= 0.01
            ]
            assert back[: len(read)] == pytest.approx(read, rel=1e-12)
    for off in (0.0, 30.0, 60.0, 90.0):
        mine = [line_grade_deg(s, off) for s in SLOPES]
        theirs = page.evaluate(
            "([slopes, off]) => slopes.map((a) => steybraeLesson.lineGradeDeg(a, off))", [SLOPES, off]
        )
        assert theirs == pytest.approx(mine, abs=1e-9)
    for bend in (-0.9, -0.3, 0.0, 0.6, 0.9):
        shares = [k / 20 for k in range(21)]
        theirs = page.evaluate("([b, hs]) => hs.map((h) => steybraeLesson.bentShare(b, h))", [bend, shares])
        assert theirs == pytest.approx([bent_share(bend, h) for h in shares], abs=1e-9)
        assert page.evaluate("(b) => steybraeLesson.bentSteepestDeg(25, b)", bend) == pytest.approx(
            bent_steepest_deg(25.0, bend), abs=1e-9
        )


def test_it_rounds_and_bands_as_every_output_does(page: Page) -> None:
    shown = page.evaluate("(slopes) => slopes.map(steybraeLesson.shownDeg)", SLOPES)
    assert shown == pytest.approx([shown_slope_deg(s) for s in SLOPES], abs=1e-12)
    scheme = BandScheme()
    assert page.evaluate("(slopes) => slopes.map(steybraeLesson.bandAt)", SLOPES) == [
        scheme.index(s) for s in SLOPES
    ]
    assert page.evaluate("(slopes) => slopes.map(steybraeLesson.oneIn)", SLOPES) == [
        one_in_text(s) if "." in one_in_text(s) else f"{one_in_text(s)}.0" for s in SLOPES
    ]


def test_a_key_press_turns_the_slope_and_the_contours_crowd(page: Page) -> None:
    page.locator("#slope").focus()
    page.keyboard.press("ArrowRight")
    assert text(page, "slope-now") == "20.5°"
    slide(page, "slope", 30)
    assert text(page, "turn-gap") == "0.70 mm"  # 0.6928, rounded up
    assert text(page, "turn-index") == "3.47 mm (5 gaps)"
    assert text(page, "turn-percent") == "58 %, 1 in 1.73"
    assert text(page, "turn-band") == "30-35°"
    lines = page.locator("#turn line.thin, #turn line.thick").evaluate_all(
        "(nodes) => nodes.map((n) => Number(n.getAttribute('x1'))).sort((a, b) => a - b)"
    )
    gap = 10.0 * gap_for_slope_mm(30.0, 10.0, 25_000.0)
    assert [b - a for a, b in itertools.pairwise(lines)] == pytest.approx([gap] * (len(lines) - 1), abs=0.011)


def test_another_map_has_other_gaps(page: Page) -> None:
    slide(page, "slope", 30)
    page.locator("#scale").select_option("50000")
    assert text(page, "turn-gap") == "0.35 mm"
    page.locator("#interval").select_option("20")
    assert text(page, "turn-gap") == "0.70 mm"
    page.locator("#scale").select_option("24000")
    page.locator("#interval").select_option("12.192")
    assert text(page, "turn-gap") == "0.88 mm"
    page.locator("#scale").select_option("50000")
    page.locator("#interval").select_option("5")
    assert "from thick line to thick line" in text(page, "turn-say")


def test_the_rulers_error_is_felt(page: Page) -> None:
    truth = lesson(1).hidden_deg[0]
    gap = gap_for_slope_mm(truth, 10.0, 25_000.0)
    reading = page.locator("#reading")
    slide(page, "reading", round(gap, 1))
    reading.focus()
    page.keyboard.press("ArrowLeft")
    value = round(float(reading.input_value()), 1)
    assert value == pytest.approx(round(gap, 1) - 0.1, abs=1e-9)
    found = slope_from_spacing(GapMeasurement(value), 10.0, 25_000.0, ruler_error_mm=0.1, ruler_only=True)
    assert text(page, "rule-slope") == slope(found.slope_deg).text
    low = math.floor(10.0 * found.slope_low_deg + 1e-6) / 10.0
    assert text(page, "rule-range") == f"{low:.1f}° to {slope(found.slope_high_deg).text}"
    assert re.fullmatch(r"That move changed the answer by \d+\.\d°\.", text(page, "rule-say"))
    page.locator("#rule-check").click()
    assert text(page, "rule-say").startswith(f"The ground is {slope(truth).text}. You are ")
    page.locator("#rule-new").click()
    page.get_by_label("5 gaps").check()
    second = gap_for_slope_mm(lesson(1).hidden_deg[1], 10.0, 25_000.0, 5)
    slide(page, "reading", round(second, 1))
    page.locator("#rule-check").click()
    off = re.search(r"You are (\d+\.\d)°", text(page, "rule-say"))
    assert off is not None
    assert float(off[1]) <= 1.5


def test_the_ruler_follows_the_mouse(page: Page) -> None:
    page.locator("#rule").scroll_into_view_if_needed()
    box = page.locator("#rule").bounding_box()
    assert box is not None
    large = min(60.0, 280.0 / gap_for_slope_mm(16.0, 10.0, 25_000.0))
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] * 0.2, middle)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.6, middle, steps=4)
    page.mouse.up()
    expected = (0.6 * 300.0 - 10.0) / large
    assert float(page.locator("#reading").input_value()) == pytest.approx(expected, abs=0.11)


def test_crossing_and_bending(page: Page) -> None:
    assert text(page, "cross-line") == "19.3°"  # 35 degrees crossed 60 degrees off: 19.295
    assert text(page, "cross-band") == "35-40°"
    slide(page, "off", 0)
    assert text(page, "cross-line") == "35.0°"
    slide(page, "off", 90)
    assert text(page, "cross-line") == "0.0°"
    assert "as steep as before" in text(page, "cross-say")
    slide(page, "mean", 30)
    slide(page, "bend", 0.9)
    assert text(page, "bend-steepest") == slope(bent_steepest_deg(30.0, 0.9)).text
    assert "convex" in text(page, "bend-now")
    gaps = page.locator("#bent line.thin, #bent line.thick").evaluate_all(
        "(nodes) => nodes.map((n) => Number(n.getAttribute('x1')))"
    )
    assert gaps[1] - gaps[0] < (gaps[-1] - gaps[-2]) / 3
    slide(page, "bend", -0.9)
    assert "concave" in text(page, "bend-now")
    slide(page, "bend", 0)
    assert text(page, "bend-steepest") == "30.0°"


def test_the_quiz_takes_what_is_fair_and_no_more(page: Page) -> None:
    quiz = lesson(1).quiz
    for number, question in enumerate(quiz):
        for value, verdict in (
            (question.answer_deg, "Accepted."),
            (question.low_deg + 0.05, "Accepted."),
            (min(89.9, question.high_deg) - 0.05, "Accepted."),
            (question.low_deg - 0.2, "Too gentle."),
            (question.high_deg + 0.2, "Too steep."),
        ):
            page.locator(f"#answer-{number}").fill(f"{value:.3f}")
            page.locator(f"#answer-{number}").press("Enter")
            assert text(page, f"said-{number}") == f"{verdict} {question.worked}"
    assert text(page, "score") == f"0 of {len(quiz)} answered so far are accepted; {len(quiz)} in all."
    page.locator("#answer-0").fill(f"{quiz[0].answer_deg}")
    page.locator("#answer-0").press("Enter")
    assert text(page, "score").startswith(f"1 of {len(quiz)} ")
    page.locator("#answer-1").fill("")
    page.locator("#answer-1").press("Enter")
    assert text(page, "said-1") == "Type a number of degrees."


def test_every_control_is_reached_by_keyboard(page: Page) -> None:
    wanted = set(
        page.locator("select, button, input").evaluate_all(
            "(nodes) => nodes.map((n) => n.id || n.name + n.value)"
        )
    )
    seen = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.add(
            page.evaluate(
                "() => { const n = document.activeElement; return n.id || (n.name || '') + (n.value || ''); }"
            )
        )
    # Of a group of radio buttons Tab reaches one; arrows reach the others.
    assert wanted - seen <= {"gaps5", "gaps10"}
    page.locator("input[name=gaps]").first.focus()
    page.keyboard.press("ArrowDown")
    assert page.locator("input[name=gaps]:checked").input_value() == "5"


@pytest.mark.parametrize("options", [DESKTOP, PHONE], ids=["desktop", "phone"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible_and_fits(
    browser: Browser, file: Path, options: dict[str, Any], scheme: str
) -> None:
    visit = Visit(browser, file, color_scheme=scheme, **options)
    page = visit.page
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for name, value in (("slope", 58), ("off", 85), ("bend", -0.9)):
        slide(page, name, value)
    page.locator("#answer-0").fill("30")
    page.locator("#answer-0").press("Enter")
    found = Axe().run(page).response["violations"]
    assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == []
    small = page.locator("button, select, input[type=number], input[type=range]").evaluate_all(
        "(nodes) => nodes.map((n) => n.getBoundingClientRect().height).filter((h) => h < 36)"
    )
    assert small == []
    visit.end()


def test_touch_moves_the_ruler(browser: Browser, file: Path) -> None:
    visit = Visit(browser, file, **PHONE)
    page = visit.page
    page.locator("#rule").scroll_into_view_if_needed()
    box = page.locator("#rule").bounding_box()
    assert box is not None
    before = page.locator("#reading").input_value()
    page.touchscreen.tap(box["x"] + box["width"] * 0.7, box["y"] + box["height"] / 2)
    assert page.locator("#reading").input_value() != before
    visit.end()


def test_reduced_motion_steps_and_full_motion_runs(browser: Browser, file: Path) -> None:
    still = Visit(browser, file, reduced_motion="reduce", **DESKTOP)
    still.page.locator("#sweep").click()
    assert text(still.page, "slope-now") == "25.0°"
    still.page.wait_for_timeout(150)
    assert text(still.page, "slope-now") == "25.0°"
    still.end()
    moving = Visit(browser, file, reduced_motion="no-preference", **DESKTOP)
    moving.page.locator("#sweep").click()
    seen = []
    for _ in range(8):
        moving.page.wait_for_timeout(100)
        seen.append(float(text(moving.page, "slope-now")[:-1]))
    assert seen == sorted(seen)
    assert 10.0 <= seen[0] < seen[-1] <= 50.0
    moving.end()


def test_its_policy_lets_nothing_in_or_out(browser: Browser, file: Path) -> None:
    visit = Visit(browser, file, **DESKTOP)
    answered: list[str] = [visit.url]
    visit.page.on("response", lambda response: answered.append(response.url))
    broken = visit.page.evaluate(
        """async () => {
          const broken = [];
          document.addEventListener('securitypolicyviolation', (e) => broken.push(e.effectiveDirective));
          const script = document.createElement('script');
          script.textContent = 'globalThis.letIn = true';
          document.body.append(script);
          await fetch('https://example.invalid/').catch(() => 0);
          const image = new Image();
          image.src = 'https://example.invalid/a.png';
          await new Promise((done) => setTimeout(done, 200));
          return [broken.sort(), globalThis.letIn === undefined];
        }"""
    )
    assert broken == [["connect-src", "img-src", "script-src-elem"], True]
    assert answered == [visit.url]
    visit.context.close()


def test_it_carries_its_cautions_and_no_verdict(page: Page) -> None:
    said = page.locator("body").inner_text()
    for caution in lesson(1).cautions:
        assert caution.text in said
    assert said.index("A lesson is not a field decision.") < 400
    assert not VERDICT.search(said)
