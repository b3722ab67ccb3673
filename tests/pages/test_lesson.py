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
from tests.pages.drawn import as_worded
from tests.visits import Visit

from steybrae.bands import BandScheme
from steybrae.field.limits import apparent_slope_deg
from steybrae.files.model.rasters import open_model
from steybrae.pages.lesson import lesson_html
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import gap_for_slope_mm, slope_from_spacing
from steybrae.quantities import one_in_text, shown_slope_deg
from steybrae.teach.forms import FORMS
from steybrae.teach.lesson import Lesson, bent_share, bent_steepest_deg, lesson, lesson_ground
from steybrae.value import slope

DESKTOP = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True}
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
SLOPES = [3.0, 10.0, 19.97, 25.0, 29.95, 30.0, 35.0, 41.3, 45.0, 54.96, 60.0]


STEPS = ("turn", "ground", "form", "rule", "cross", "bend", "quiz")


@pytest.fixture(scope="module")
def made(sample_dem: Path) -> Lesson:
    with open_model([sample_dem / "stey_massif.tif"]) as model:
        return lesson(lesson_ground(model), 1, source="the invented sample massif", sample=True)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory, made: Lesson) -> Path:
    path = tmp_path_factory.mktemp("lesson") / "lesson.html"
    path.write_text(lesson_html(made), encoding="utf-8")
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
    """Text of an element, shown or not."""
    return " ".join((page.locator(f"#{name}").text_content() or "").split())


def step(page: Page, name: str) -> None:
    page.locator("#steps button").nth(STEPS.index(name)).click()


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
        mine = [apparent_slope_deg(s, off) for s in SLOPES]
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


def test_by_eye_comes_before_the_ruler_and_first_answers_count(page: Page) -> None:
    step(page, "rule")
    truth = page.evaluate("steybraeLesson.rule.truth")
    assert page.locator("#reading").is_disabled()
    assert page.locator("#rule .ruler").count() == 0
    assert text(page, "rule-slope") == ""
    slide(page, "eye", 25)
    page.locator("#eye-say").click()
    assert page.locator("#eye").is_disabled()
    gap = gap_for_slope_mm(truth, 10.0, 25_000.0, 5)
    reading = page.locator("#reading")
    slide(page, "reading", round(gap, 1) + 0.1)
    reading.focus()
    page.keyboard.press("ArrowLeft")
    value = round(float(reading.input_value()), 1)
    assert value == pytest.approx(round(gap, 1), abs=1e-9)
    found = slope_from_spacing(GapMeasurement(value, 5, "gaps"), 10.0, 25_000.0, ruler_only=True)
    assert text(page, "rule-slope") == slope(found.slope_deg).text
    low = math.floor(10.0 * found.slope_low_deg + 1e-6) / 10.0
    assert text(page, "rule-range") == f"{low:.1f}° to {slope(found.slope_high_deg).text}"
    assert re.fullmatch(r"That move changed the answer by \d+\.\d°\.", text(page, "rule-say"))
    page.locator("#rule-check").click()
    assert text(page, "rule-say").startswith(f"The ground is {slope(truth).text}. By eye ")
    eye = math.ceil(10.0 * abs(25.0 - truth) - 1e-6) / 10.0
    scored = text(page, "rule-score")
    assert scored.startswith(f"First answers over 1 slope: eye {eye:.1f}° out, ruler ")
    slide(page, "reading", 9.9)
    page.locator("#rule-check").click()
    assert text(page, "rule-score") == scored  # a second answer does not count
    page.locator("#rule-new").click()
    assert page.evaluate("steybraeLesson.rule.truth") != truth
    assert page.locator("#reading").is_disabled()


def test_the_ruler_follows_the_mouse(page: Page) -> None:
    step(page, "rule")
    page.locator("#eye-say").click()
    page.get_by_label("1 gap", exact=True).check()
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


def test_contours_of_the_block_and_the_map_lie_where_the_heights_say(page: Page, made: Lesson) -> None:
    step(page, "ground")
    heights = made.ground.heights_m.round(1)
    count = len(heights)
    level = 10.0 * round(float(heights.mean()) / 10.0)
    pieces = page.evaluate(
        """([n, heights, level]) => { const out = []; const grid = { n, heights };
        for (let r = 0; r + 1 < n; r += 1) for (let c = 0; c + 1 < n; c += 1)
          out.push(...steybraeLesson.crossings(grid, r, c, level)); return out; }""",
        [count, heights.ravel().tolist(), level],
    )
    assert len(pieces) > count
    for col, row in [end for piece in pieces for end in (piece[:2], piece[2:])]:
        c, r = min(int(col), count - 2), min(int(row), count - 2)
        u, v = col - c, row - r
        between = (heights[r, c] * (1 - u) + heights[r, c + 1] * u) * (1 - v) + (
            heights[r + 1, c] * (1 - u) + heights[r + 1, c + 1] * u
        ) * v
        assert between == pytest.approx(level, abs=1e-6)
    for k in (0, 30, 60):
        slide(page, "walk", k)
        assert text(page, "ground-slope") == slope(float(made.ground.walk_slopes_deg[k].round(4))).text
    before = page.locator("#block path.face").first.get_attribute("d")
    slide(page, "round", 90)
    assert page.locator("#block path.face").first.get_attribute("d") != before
    assert "looking east" in text(page, "block-title")
    assert text(page, "block-title") == text(page, "block-caption")


def test_forms_are_matched_and_only_the_first_answer_counts(page: Page) -> None:
    step(page, "form")
    names = {form.name: form for form in FORMS}
    seen = set()
    right = 0
    for number in range(1, 7):
        buttons = page.locator("#profiles button")
        assert buttons.count() == 4
        assert "gully" not in text(page, "form-title") + text(page, "form-caption")
        buttons.nth(0).click()
        first = text(page, "form-say")
        right += first.startswith("Right")
        for k in range(4):
            buttons.nth(k).click()
            if text(page, "form-say").startswith("Right"):
                break
        said = re.match(r"Right: a (.+?)\. (.*)", text(page, "form-say"))
        assert said is not None
        assert said[2] == names[said[1]].words
        assert said[1] in text(page, "form-title")
        seen.add(said[1])
        assert text(page, "form-score") == f"{right} of {number} first answers right."
        page.locator("#form-new").click()
    assert seen == set(names)  # each once before any comes again


def test_titles_follow_the_sliders(page: Page) -> None:
    for picture, slider, value, words in (
        ("turn", "slope", 41.5, "41.5°"),
        ("cross", "off", 33, "33° off"),
        ("bent", "bend", -0.9, "concave"),
    ):
        slide(page, slider, value)
        assert words in text(page, f"{picture}-title")
        assert text(page, f"{picture}-title") == text(page, f"{picture}-caption")


@pytest.mark.parametrize("name", STEPS)
def test_each_step_is_one_screen_and_no_label_is_struck_through(page: Page, name: str) -> None:
    step(page, name)
    if name == "rule":
        page.locator("#eye-say").click()
        slide(page, "reading", 4.3)
        page.locator("#rule-check").click()
    if name == "form":
        page.locator("#profiles button").first.click()
    shown = page.locator("section[data-step]:not([hidden])")
    assert shown.count() == 1
    box = shown.bounding_box()
    assert box is not None
    assert box["y"] >= 0.0
    assert box["y"] + box["height"] <= 800.0
    struck = page.evaluate(
        """() => { const found = [];
        for (const text of document.querySelectorAll('section[data-step]:not([hidden]) svg text')) {
          const box = text.getBoundingClientRect();
          const after = (node) => node.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING;
          const plates = [...text.ownerSVGElement.querySelectorAll('.plate, .ruler')].filter(after);
          for (const line of text.ownerSVGElement.querySelectorAll('line, path')) {
            const matrix = line.getScreenCTM();
            const covered = plates.some((plate) => {
              const b = plate.getBoundingClientRect();
              const under = line.compareDocumentPosition(plate) & Node.DOCUMENT_POSITION_FOLLOWING;
              return under && b.left <= box.left + 1 && b.right >= box.right - 1;
            });
            if (covered) continue;
            for (let i = 1; i < 12; i += 1) for (let j = 1; j < 8; j += 1) {
              const at = new DOMPoint(box.left + (box.width * i) / 12, box.top + (box.height * j) / 8);
              if (line.isPointInStroke(at.matrixTransform(matrix.inverse()))) found.push(text.textContent);
            }
          }
        } return found; }"""
    )
    assert struck == []


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


def test_the_quiz_takes_what_is_fair_and_counts_first_answers(page: Page, made: Lesson) -> None:
    step(page, "quiz")
    quiz = made.rounds[0]
    for number, question in enumerate(quiz):
        for value, verdict in (
            (question.low_deg - 0.2, "Too gentle."),
            (question.answer_deg, "Accepted."),
            (question.low_deg + 0.05, "Accepted."),
            (min(89.9, question.high_deg) - 0.05, "Accepted."),
            (question.high_deg + 0.2, "Too steep."),
        ):
            page.locator(f"#answer-{number}").fill(f"{value:.3f}")
            page.locator(f"#answer-{number}").press("Enter")
            assert text(page, f"said-{number}") == f"{verdict} {question.worked}"
        if number + 1 < len(quiz):
            page.locator("#quiz-next").click()
    assert page.locator("#quiz-next").is_disabled()
    # The first was too gentle each time; what came after does not count.
    assert text(page, "score") == f"0 of {len(quiz)} first answers accepted; {len(quiz)} questions in all."
    page.locator("#quiz-new").click()
    assert made.rounds[1][0].ask in text(page, "ask-0")
    page.locator("#answer-0").fill(f"{made.rounds[1][0].answer_deg}")
    page.locator("#answer-0").press("Enter")
    assert text(page, "score").startswith("1 of 1 first answers accepted")
    page.locator("#quiz-next").click()
    page.locator("#answer-1").fill("")
    page.locator("#answer-1").press("Enter")
    assert text(page, "said-1") == "Type a number of degrees."


def test_your_map_is_chosen_at_first(browser: Browser, made: Lesson, tmp_path: Path) -> None:
    own = tmp_path / "own.html"
    chosen = lesson(made.ground, 1, scale=63_360.0, interval=("50 ft", 15.24))
    own.write_text(lesson_html(chosen), encoding="utf-8")
    visit = Visit(browser, own, **DESKTOP)
    assert visit.page.locator("#scale").input_value() == "63360"
    assert float(visit.page.locator("#interval").input_value()) == pytest.approx(15.24)
    slide(visit.page, "slope", 30)
    gap = gap_for_slope_mm(30.0, 15.24, 63_360.0)
    assert text(visit.page, "turn-gap") == f"{math.ceil(100 * gap - 1e-6) / 100:.2f} mm"
    visit.end()


@pytest.mark.parametrize("options", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_without_script_it_has_pictures_and_tables(
    browser: Browser, file: Path, made: Lesson, options: dict[str, Any]
) -> None:
    visit = Visit(browser, file, java_script_enabled=False, **options)
    page = visit.page
    said = as_worded(page.locator("main").inner_text())
    assert page.locator("main svg:visible").count() == 2 + 2 * len(FORMS)
    assert page.locator("main table:visible").count() == 2
    assert page.locator("section[data-step]:visible").count() == 0
    for form in made.forms:
        assert form.form.words in said
    assert "19.3°" in said  # 35 degrees crossed 60 degrees off
    assert made.rounds[0][0].ask in said
    for caution in made.cautions:
        assert caution.text in as_worded(page.locator("body").inner_text())
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    visit.context.close()


def test_on_paper_it_is_light_whatever_the_system(browser: Browser, file: Path) -> None:
    visit = Visit(browser, file, color_scheme="dark", **DESKTOP)
    paper = "getComputedStyle(document.body).backgroundColor"
    assert visit.page.evaluate(paper) == "rgb(20, 22, 26)"
    visit.page.emulate_media(media="print", color_scheme="dark")
    assert visit.page.evaluate(paper) == "rgb(252, 252, 250)"
    assert visit.page.locator("section[data-step]:visible").count() == len(STEPS)
    visit.end()


def test_every_control_is_reached_by_keyboard(page: Page) -> None:
    wanted = set(
        page.locator("select, button, input").evaluate_all(
            "(nodes) => nodes.map((n) => n.id || n.getAttribute('aria-label') || n.name + n.value)"
        )
    )
    seen = set()
    for name in STEPS:
        step(page, name)
        if name == "rule":
            seen |= {"eye", "eye-say"}
            page.locator("#eye-say").click()
        page.locator("#play").focus()
        for _ in range(12):
            page.keyboard.press("Tab")
            seen.add(
                page.evaluate(
                    "() => { const n = document.activeElement;"
                    " return n.id || n.getAttribute('aria-label') || (n.name || '') + (n.value || ''); }"
                )
            )
    # Of a group of radio buttons Tab reaches one; arrows reach the others. Later questions come with Next.
    later = {"gaps1", "gaps10", "quiz-before", "", *(f"answer-{number}" for number in range(1, 6))}
    assert wanted - seen - {"scale", "interval"} <= later
    page.locator("#steps button").nth(STEPS.index("rule")).click()
    page.locator("input[name=gaps]:checked").focus()
    page.keyboard.press("ArrowDown")
    assert page.locator("input[name=gaps]:checked").input_value() == "10"


@pytest.mark.parametrize(
    ("options", "scheme"), [(DESKTOP, "light"), (PHONE, "dark")], ids=["desktop-light", "phone-dark"]
)
def test_it_is_accessible_and_fits(
    browser: Browser, file: Path, options: dict[str, Any], scheme: str
) -> None:
    """Contrast goes by the scheme and room by the width: two of the four hold both."""
    visit = Visit(browser, file, color_scheme=scheme, **options)
    page = visit.page
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    for name, value in (("slope", 58), ("off", 85), ("bend", -0.9)):
        slide(page, name, value)
    for name in STEPS:
        step(page, name)
        if name == "form":
            page.locator("#profiles button").first.click()
        if name == "rule":
            page.locator("#eye-say").click()
        if name == "quiz":
            page.locator("#answer-0").fill("30")
            page.locator("#answer-0").press("Enter")
        found = Axe().run(page).response["violations"]
        assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == [], name
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), name
        small = page.locator("button:visible, select, input[type=number]:visible, input[type=range]:visible")
        heights = small.evaluate_all("(nodes) => nodes.map((n) => n.getBoundingClientRect().height)")
        assert min(heights) >= 34.0, name
    visit.end()


def test_touch_moves_the_ruler(browser: Browser, file: Path) -> None:
    visit = Visit(browser, file, **PHONE)
    page = visit.page
    step(page, "rule")
    page.locator("#eye-say").click()
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


def test_it_carries_its_cautions_and_no_verdict(page: Page, made: Lesson) -> None:
    said = as_worded(page.locator("body").inner_text())
    for caution in made.cautions:
        assert caution.text in said
    assert said.index("A lesson is not a field decision.") < 400
    assert not VERDICT.search(said)
