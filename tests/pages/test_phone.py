"""The page for a phone in a real Chromium: its rule, its log, its screens, with and without script."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page
from tests.conftest import SamplePlan
from tests.pages.conftest import Made as Day
from tests.pages.drawn import as_worded
from tests.visits import Visit

from steybrae.answers.forecast import part_lines, text_lines
from steybrae.card import CardSettings, RouteCard, card_between, make_card
from steybrae.card.checks import check_of
from steybrae.card.forecast import aspect_tolerance_deg, of_day, pocket_checks
from steybrae.card.times import latest_at_leg
from steybrae.field.agreement import compare, compare_readings
from steybrae.field.log import row_from_result
from steybrae.field.poles import equal_poles, pace_and_eye_height, two_poles
from steybrae.field.readings import ReadingSet
from steybrae.field.reasons import with_reasons
from steybrae.field.references import check_reference
from steybrae.files.bulletins import read_bulletins
from steybrae.files.logs import add_rows, append_row, read_log
from steybrae.pages.phone import MOST_BYTES, phone_page
from steybrae.quantities import gradient_to_angle
from steybrae.route.daylight import parse_clock
from steybrae.route.positions.places import Place
from steybrae.screening.forecast.at import ForecastAsk
from steybrae.screening.result import RouteScreening

PHONE: dict[str, Any] = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}
COUNTS = ((1, 0), (1, 0), (2, 0), (3, 2), (0, 1), (1, 1), (4, 0))
FACED = ((13.0, 20.0, "fits"), (14.0, 21.0, "does not fit"), (353.0, 0.0, "fits"))
FITS = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
TARGETS = """[...document.querySelectorAll('.now :is(button, a, select, summary), nav :is(a, button)')]
  .filter((node) => node.checkVisibility())
  .map((node) => [node.id, node.getBoundingClientRect().width, node.getBoundingClientRect().height])"""
PAIRS = (("--ink", "--paper"), ("--soft", "--paper"), ("--on", "--mark"), ("--ink", "--panel"))
DAY = dt.date(2027, 1, 15)
CHOICE = CardSettings(
    DAY,
    party="Ona, Bo",
    call="Mara 0000",
    overdue=parse_clock("18:00", DAY, "Europe/London"),
    zone="Europe/London",
    start=parse_clock("08:30", DAY, "Europe/London"),
    scale=25_000.0,
)


@dataclasses.dataclass(frozen=True)
class Made:
    """A day with a bulletin, its card and its page."""

    screening: RouteScreening
    card: RouteCard
    page: Path

    @property
    def data(self) -> dict[str, Any]:
        """What the page's script reads."""
        found = re.search(r'id="data">(.*?)</script>', self.page.read_text("utf-8"))
        assert found is not None
        return dict(json.loads(found[1]))


@pytest.fixture(scope="module")
def made(made: Day, sample_dem: Path, tmp_path_factory: pytest.TempPathFactory) -> Made:
    source, ask = read_bulletins(sample_dem / "bulletin.json"), ForecastAsk(region="XX-STEY-01")
    screening, card = of_day(made.screening, CHOICE, (source, ask))
    page = tmp_path_factory.mktemp("phone") / "hill.html"
    page.write_text(phone_page(card, screening, "plan.zip"), "utf-8")
    return Made(screening, card, page)


@pytest.fixture
def phone(browser: Browser, made: Made) -> Iterator[Page]:
    visit = Visit(browser, made.page, **PHONE)
    yield visit.page
    visit.end()


def test_what_is_valid_is_said(made: Made) -> None:
    """The first words on the hill were "Valid 2027-01-14 18:00 UTC to ...", and not of what."""
    first = re.findall(r'<p class="first">(.*?)</p>', as_worded(made.page.read_text("utf-8")))
    assert first[0] == "Avalanche forecast. Valid 2027-01-14 18:00 UTC to 2027-01-15 18:00 UTC."
    assert first[1] == "Danger rating considerable (3): above 800 m, all aspects."


def go(page: Page, name: str) -> None:
    page.evaluate(f"location.hash = '#{name}'")
    page.wait_for_function(f"document.querySelector('.screen.now').id === '{name}'")


def same(one: float | None, other: float | None) -> bool:
    """Both unknown, or equal to 1e-9."""
    return one is other if one is None or other is None else abs(one - other) <= 1e-9


class TestRule:
    """The page says what `reading` says: numbers to 1e-9, sentences letter by letter."""

    def test_comparisons(self, phone: Page, made: Made) -> None:
        draw = np.random.default_rng(20)
        cell_m = max(made.screening.model.cell_size_m)
        slope, angle = (
            next(one for one in made.data["checks"] if one["quantity"] == kind) for kind in ("slope", "sight")
        )
        cases, mine = [], []
        for number in range(2500):
            expected = draw.uniform(0.5, 70.0)
            down, up = draw.uniform(4.001, 30.0), draw.uniform(4.001, 30.0)
            low = None if draw.random() < 0.1 else max(0.0, expected - down)
            high = None if draw.random() < 0.2 else min(90.0, expected + up)
            ends = expected, low, high
            sight = draw.random() < 0.1
            look = draw.uniform(0.0, 360.0)
            reference = check_reference(f"{number}a", ends, look, 2.0 * cell_m, cell_m, sight=sight)
            percent = draw.random() < 0.2
            counts = COUNTS[draw.integers(len(COUNTS))]
            middle = min(80.0, max(0.5, expected + draw.normal(0.0, 12.0)))
            ups, downs = (
                tuple(min(90.0, max(0.0, middle + draw.normal(0.0, 3.0))) for _ in range(count))
                for count in counts
            )
            units = ("percent" if percent else "degrees",) * (len(ups) + len(downs))
            if len(units) > 2 and draw.random() < 0.3:
                units = ("degrees", *units[1:-1], "percent")
            readings = ReadingSet(ups, downs, float(draw.choice((4.0, 5.0, 2.5))), units)
            result = with_reasons(compare_readings(readings, [reference]))
            mine.append((result, compare(readings.mean_deg, readings.uncertainty_95_deg, reference)))
            at = (angle if sight else slope) | {
                "name": f"{number}a", "source": reference.source, "slope": reference.slope_deg,
                "low": reference.slope_low_deg, "high": reference.slope_high_deg,
            }  # fmt: skip
            cases.append(
                {"ups": ups, "downs": downs, "error": readings.error_95_deg, "units": units, "at": at}
            )
        theirs = phone.evaluate(
            """(cases) => cases.map((one) => {
              const set = steybraePhone.readingSet(one.ups, one.downs, one.error, one.units);
              return {mean: set.mean, uncertainty: set.uncertainty, ...steybraePhone.judge(set, one.at)};
            })""",
            cases,
        )
        seen: set[str] = set()
        for found, (result, compared) in zip(theirs, mine, strict=True):
            assert same(found["mean"], result.mean_deg)
            assert same(found["uncertainty"], result.uncertainty_95_deg)
            assert same(found["apart"], compared.difference_deg)
            assert same(found["notice"], compared.would_notice_deg)
            assert same(found["en"], compared.en_number)
            assert found["result"] == compared.result
            assert found["sentence"] == compared.sentence
            assert found["leads"] == result.sentence
            assert found["reasons"] == [reason.text for reason in result.reasons]
            seen |= {compared.result} | {reason.key for reason in result.reasons}
        assert seen == {
            "consistent, weakly", "tells little", "cannot tell", "different", "scatter", "index_error",
            "mixed_units", "other_unit", "baseline", "convexity", "coarse_cells", "snow", "consistent",
        }  # fmt: skip

    def test_poles_and_paces(self, phone: Page) -> None:
        draw = np.random.default_rng(21)
        cases, mine = [], []
        for _ in range(500):
            first, ratio = draw.uniform(0.5, 2.5), draw.uniform(0.01, 0.98)
            for how, second, found in (
                ("level", first * ratio * 2.0, two_poles(first, first * ratio * 2.0, along="level")),
                ("slope", first * ratio, two_poles(first, first * ratio, along="slope")),
                ("equal", 2.0 * first * ratio, equal_poles(first, 2.0 * first * ratio)),
                ("paces", 2.4 * first / ratio, pace_and_eye_height(first, 2.4 * first / ratio)),
            ):
                cases.append([how, first, second])
                mine.append(
                    (found.slope_deg, found.slope_low_deg, found.slope_high_deg, found.uncertainty_95_deg)
                )
        theirs = phone.evaluate("(cases) => cases.map((one) => steybraePhone.byHand(...one))", cases)
        for one, expected in zip(theirs, mine, strict=True):
            figures = (one["slope"], one["low"], one["high"], one["uncertainty"])
            assert figures == pytest.approx(expected, abs=1e-9)

    def test_what_cannot_be_measured_is_none(self, phone: Page) -> None:
        for case in (
            ["level", 0, 1],
            ["slope", 1, 1.1],
            ["equal", 1, 2.1],
            ["paces", 2, 0],
            ["level", 1, -1],
        ):
            assert phone.evaluate("(one) => steybraePhone.byHand(...one)", case) is None

    def test_which_way_it_faces(self, phone: Page, made: Made) -> None:
        at = {"aspect": 350.0, "declination": -3.0, "aspect_within": 20.0}
        call = "([m, at]) => steybraePhone.facing(m, at)"
        for magnetic, apart, result in FACED:
            found = phone.evaluate(call, [magnetic, at])
            assert (found["apart"], found["result"]) == (pytest.approx(apart), result)
        wide = at | {"aspect_within": 46.0}
        assert phone.evaluate(call, [13.0, wide])["result"] == "cannot tell"
        tolerances = {
            one.check.quantity: one.aspect_tolerance_deg for one in pocket_checks(made.card, made.screening)
        }
        assert tolerances.pop("sight", None) is None
        assert all(within is None or within > 15.0 for within in tolerances.values())


def test_how_far_an_aspect_may_lie_off() -> None:
    # 45 degrees between 40 and 50: tan 50 - tan 45 = 0.19175, atan 10.855; with 15 and 1: 18.543.
    reference = check_reference("1a", (45.0, 40.0, 50.0), 0.0, 20.0, 10.0)
    own = math.degrees(math.atan(math.tan(math.radians(50.0)) - 1.0))
    assert aspect_tolerance_deg(reference, 1.0) == pytest.approx(math.sqrt(15.0**2 + 1.0 + own**2))
    assert aspect_tolerance_deg(reference, 1.0) == pytest.approx(18.543, abs=5e-4)
    assert aspect_tolerance_deg(dataclasses.replace(reference, slope_high_deg=None), 1.0) is None


def test_a_check_on_the_page_is_the_check_of_reading(made: Made) -> None:
    found = pocket_checks(made.card, made.screening)
    assert {one.check.quantity for one in found} == {"slope", "sight"}
    for one in found:
        assert one.reference == check_of(made.screening, one.check.number, "plan.zip").reference


class TestLog:
    def test_three_taps_keep_a_reading(self, browser: Browser, made: Made) -> None:
        context = browser.new_context(**PHONE)
        phone = context.new_page()
        phone.goto(made.page.as_uri())
        leg = next(leg for leg in made.card.legs if leg.checks)
        name = leg.checks[0].number
        go(phone, f"leg-{leg.number}")
        phone.locator(f"#leg-{leg.number} a.button").first.tap()
        phone.locator("#pad button", has_text=re.compile("^38$")).tap()
        assert phone.locator("#answer .lead").first.inner_text().endswith("The steeper leads.")
        phone.locator("#keep").tap()
        assert phone.locator("#kept").inner_text() == f"Kept: 38.0° at {name}. 1 in the log."
        phone.reload()
        go(phone, "log")
        assert phone.locator("#rows li").count() == 1
        assert f"{name}: 38.0°" in phone.locator("#rows li").inner_text()
        context.close()

    def test_its_rows_are_those_of_reading(self, phone: Page, made: Made, tmp_path: Path) -> None:
        checks = pocket_checks(made.card, made.screening)
        time = "2027-01-15T11:20:00+00:00"
        who = {"observer": '=Ona "Rim", ny', "instrument": "M1"}
        rows, mine = [], []
        for k, one in enumerate(checks):
            readings = ReadingSet((30.0 + k, 31.5), (29.0,), 4.0, ("degrees",) * 3)
            result = compare_readings(readings, [one.reference])
            mine.append(
                row_from_result(
                    result,
                    time=dt.datetime.fromisoformat(time),
                    **who,
                    plan="plan.zip",
                    lat_deg=one.check.lat_deg,
                    lon_deg=one.check.lon_deg,
                    check=one.check.number,
                )
            )
            rows.append([time, readings.up_deg, readings.down_deg, k])
        text = phone.evaluate(
            """([rows, who]) => steybraePhone.csv(rows.map(([time, ups, downs, k]) => steybraePhone.row(time,
              steybraePhone.readingSet(ups, downs, 4, ['degrees', 'degrees', 'degrees']),
              steybraePhone.data.checks[k], who, null)))""",
            [rows, who],
        )
        file = tmp_path / "rows.csv"
        file.write_text(text, "utf-8")
        back = read_log(file)
        assert not back.damaged
        assert len(back.rows) == len(mine) > 3
        for theirs, ours in zip(back.rows, mine, strict=True):
            same = dataclasses.replace(
                theirs, mean_deg=ours.mean_deg, uncertainty_95_deg=ours.uncertainty_95_deg
            )
            assert same == ours
            assert theirs.mean_deg == pytest.approx(ours.mean_deg, abs=1e-9)
            assert theirs.uncertainty_95_deg == pytest.approx(ours.uncertainty_95_deg, abs=1e-9)
        log = tmp_path / "readings.csv"
        append_row(log, mine[0])
        assert add_rows(log, back.rows[1:]) == len(mine) - 1
        assert add_rows(log, back.rows) == (0 if back.rows[0] == mine[0] else 1)
        assert add_rows(log, back.rows) == 0

    def test_a_browser_that_keeps_nothing_says_so(self, browser: Browser, made: Made) -> None:
        context = browser.new_context(**PHONE)
        context.add_init_script("delete window.localStorage; Storage.prototype.setItem = () => { throw 1; };")
        page = context.new_page()
        page.goto(made.page.as_uri())
        page.locator("#to-reading").tap()
        page.locator("#pad button").first.tap()
        page.locator("#keep").tap()
        assert "This browser keeps nothing" in page.locator("#kept").inner_text()
        go(page, "log")
        assert page.locator("#storage").inner_text() == (
            "This browser keeps nothing of this page: take the rows out before you close it."
        )
        page.locator("#copy").tap()
        assert page.locator("#text").input_value().count("\n") == 2
        context.close()

    def test_percent_down_and_other_figures(self, phone: Page) -> None:
        go(phone, "reading")
        phone.locator("#at").select_option("")
        phone.locator("#percent").check()
        phone.locator("#typed").fill("62,5")
        phone.locator("#add").tap()
        phone.locator("#another").tap()
        phone.locator("#percent").uncheck()
        phone.locator("#down").check()
        phone.locator("#pad button", has_text=re.compile("^33$")).tap()
        phone.locator("#more").tap()
        up = math.ceil(10.0 * gradient_to_angle(0.625) - 1e-6) / 10.0
        assert phone.locator("#read").inner_text() == f"{up:.1f}° ↓33.5°"
        phone.locator("#undo").tap()
        assert phone.locator("#read").inner_text() == f"{up:.1f}°"
        assert "difference" not in phone.locator("#answer").inner_text()

    def test_what_was_measured_at_one_place_is_not_held_against_another(
        self, phone: Page, made: Made
    ) -> None:
        """Lengths of a pole stayed after they were kept: the next check had a verdict, and a row, of them."""
        here, there = (one["name"] for one in made.data["checks"][:2])
        go(phone, "reading")
        phone.locator("#reading summary").tap()
        phone.locator("#at").select_option(here)
        phone.locator("#pad button").first.tap()
        phone.locator("#how").select_option("level")
        for name, text in (("first", "1.2"), ("second", "0.5"), ("faces", "200")):
            phone.locator(f"#{name}").fill(text)
        assert phone.locator("#read").inner_text() == "22.7°"  # not what was tapped before
        phone.locator("#keep").tap()
        assert phone.locator("#found").is_hidden()
        for name, text in (("first", "1.2"), ("second", "0.5"), ("faces", "200")):
            phone.locator(f"#{name}").fill(text)
        phone.locator("#at").select_option(there)
        assert phone.locator("#found").is_hidden()
        assert [phone.locator(f"#{name}").input_value() for name in ("first", "second", "faces")] == [""] * 3

    def test_which_way_it_faces_is_kept_as_is_said(self, phone: Page, made: Made) -> None:
        """At a sight, and where there is no check, it was said to be kept and was not."""
        sight = next(one for one in made.data["checks"] if one["quantity"] == "sight")
        go(phone, "reading")
        phone.locator("#reading summary").tap()
        for name in ("", sight["name"]):
            phone.locator("#at").select_option(name)
            phone.locator("#pad button").first.tap()
            phone.locator("#faces").fill("123")
            assert phone.locator("#faces-words").inner_text().startswith("Kept with the reading")
            phone.locator("#keep").tap()
        rows = phone.locator("#text").input_value().splitlines()[1:]
        found = [float(row.split(",")[7].strip('"')) for row in rows]
        declinations = [made.card.legs[sight["leg"] - 1].declination_deg] * 2
        assert found == pytest.approx([123.0 + deg for deg in declinations], abs=0.1)
        assert found[1] == pytest.approx(123.0 + declinations[1], abs=1e-9)

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("-33", "↓33.0°"),
            ("34°", "34.0°"),
            ("34,5 deg", "34.5°"),
            ("62%", "31.8°"),
            ("95", ""),
            ("steep", ""),
        ],
    )
    def test_a_figure_is_read_or_refused(self, phone: Page, text: str, said: str) -> None:
        """What was not understood vanished without a word."""
        go(phone, "reading")
        phone.locator("#typed").fill(text)
        phone.locator("#add").tap()
        assert phone.locator("#found").is_visible() == bool(said)
        if said:
            assert phone.locator("#read").inner_text() == said
        else:
            assert phone.locator("#kept").inner_text().startswith("No reading: write degrees from 0 to 90")
            assert phone.locator("#typed").input_value() == text


class TestScreens:
    @pytest.mark.parametrize(("width", "height"), [(360, 640), (430, 932)])
    def test_nothing_is_too_small_too_wide_or_hard_to_reach(
        self, browser: Browser, made: Made, width: int, height: int
    ) -> None:
        visit = Visit(browser, made.page, **(PHONE | {"viewport": {"width": width, "height": height}}))
        page = visit.page
        for name in ("day", "leg-3", "leg-12", "reading", "log", "rest"):
            go(page, name)
            assert page.evaluate(FITS), name
            boxes = page.evaluate(TARGETS)
            assert not [box for box in boxes if min(box[1:]) < 47.9], name
            if width == 360:  # what axe looks at is the same letters and colours at both
                assert Axe().run(page).response["violations"] == [], name
        visit.end()

    def test_names_in_the_list_of_legs_break_between_words(self, phone: Page) -> None:
        """A drop beside the line had left room for ``Ledg`` and ``e``."""
        go(phone, "day")
        phone.evaluate(
            """document.querySelectorAll('.index a').forEach(leg => {
                leg.querySelector('b + span').textContent = 'Terrace';
                leg.querySelector('.corridor').append('drop of 100 m at the line, on both sides');
            })"""
        )
        heights = phone.locator(".index b + span").evaluate_all("all => all.map(one => one.offsetHeight)")
        assert heights
        assert max(heights) < 40  # of one line, pixels
        # Nor does the number of a leg break in two.
        assert (
            len(set(phone.locator(".index b").evaluate_all("all => all.map(one => one.offsetHeight)"))) == 1
        )

    def test_twice_the_letters_still_fit(self, phone: Page) -> None:
        phone.evaluate("document.documentElement.style.fontSize = '200%'")
        for name in ("day", "leg-12", "reading", "log"):
            go(phone, name)
            assert phone.evaluate(FITS), name

    def test_what_is_read_on_the_move_has_a_contrast_of_seven(self, phone: Page) -> None:
        for look in ("", "sun", "night"):
            phone.evaluate(f"document.documentElement.className = '{look}'")
            for scheme in ("light", "dark"):
                phone.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
                for ink, paper in (
                    ("--ink", "--paper"),
                    ("--soft", "--paper"),
                    ("--on", "--mark"),
                    ("--ink", "--panel"),
                ):
                    assert _contrast(_colour(phone, ink), _colour(phone, paper)) >= 7.0, (look, scheme, ink)

    def test_times_count_from_a_tapped_start(self, browser: Browser, made: Made) -> None:
        context = browser.new_context(**PHONE, timezone_id="Europe/London")
        page = context.new_page()
        page.clock.install(time=dt.datetime(2027, 1, 15, 9, 0, tzinfo=dt.UTC))
        page.goto(made.page.as_uri())
        page.locator("#start").tap()
        minutes = made.card.legs[0].time_min
        assert minutes is not None
        there = dt.datetime(2027, 1, 15, 9, 0, tzinfo=dt.UTC) + dt.timedelta(minutes=math.ceil(minutes))
        assert page.locator("#leg-1 .arrive").text_content() == f"there {there:%H:%M}"
        assert (page.locator("#leg-18 .arrive").text_content() or "").startswith("there at least ")
        page.clock.set_fixed_time(dt.datetime(2027, 1, 15, 14, 0, tzinfo=dt.UTC))
        page.locator("#start").tap()
        end = page.locator("#leg-19 .arrive").text_content() or ""
        assert end.endswith(", AFTER SUNSET, AFTER THE BULLETIN ENDS, AFTER THE TIME TO CALL")
        context.close()

    def test_a_planned_arrival_says_its_light_and_a_night_is_not_over_at_midnight(
        self, browser: Browser, made: Made, tmp_path: Path
    ) -> None:
        """Legs in the dark said their hour alone, and at midnight the page that its day was over."""
        night = dataclasses.replace(CHOICE, start=parse_clock("20:00", DAY, "Europe/London"))
        page = tmp_path / "night.html"
        page.write_text(phone_page(make_card(made.screening, night), made.screening), "utf-8")
        context = browser.new_context(**PHONE, timezone_id="Europe/London")
        opened = context.new_page()
        for now, over in (("2027-01-16T00:30+00:00", False), ("2027-01-17T00:30+00:00", True)):
            opened.clock.set_fixed_time(dt.datetime.fromisoformat(now))
            opened.goto(page.as_uri())
            assert opened.locator("#warning").is_visible() is over
        assert as_worded(opened.locator("#leg-1 .arrive").text_content()) == (
            "there 20:38 GMT, 4 h 29 min after sunset"
        )
        assert as_worded(opened.locator("#leg-19 .arrive").text_content()) == (
            "there at least 01:06 GMT on 2027-01-16, at least 8 h 57 min after sunset"
        )
        context.close()

    def test_times_are_in_the_zone_of_the_card(self, browser: Browser, made: Made) -> None:
        """A phone on another zone's time showed arrivals hours off, beside latest times in the card's."""
        context = browser.new_context(**PHONE, timezone_id="Asia/Tokyo")
        page = context.new_page()
        page.clock.set_fixed_time(dt.datetime(2027, 1, 15, 21, 0, tzinfo=dt.UTC))  # the 16th in Tokyo
        page.goto(made.page.as_uri())
        assert page.locator("#warning").text_content() == (
            "EXPIRED: this forecast ended 2027-01-15 18:00 UTC. Get a newer one."
        )
        page.locator("#start").tap()
        assert page.locator("#started").inner_text() == (
            "Started 21:00 (Europe/London); times count from then."
        )
        minutes = made.card.legs[0].time_min
        assert minutes is not None
        there = dt.datetime(2027, 1, 15, 21, 0, tzinfo=dt.UTC) + dt.timedelta(minutes=math.ceil(minutes))
        late = "AFTER SUNSET, AFTER THE BULLETIN ENDS, AFTER THE TIME TO CALL"
        assert page.locator("#leg-1 .arrive").text_content() == f"there {there:%H:%M}, {late}"
        assert re.fullmatch(
            rf"there at least 0\d:\d\d on 2027-01-16, {late}",
            page.locator("#leg-19 .arrive").text_content() or "",
        )
        context.close()

    def test_sunset_is_known_without_a_planned_start(
        self, browser: Browser, made: Made, tmp_path: Path
    ) -> None:
        """A card with its zone alone counted times from the tapped start into the dark, unsaid."""
        card = make_card(made.screening, CardSettings(DAY, zone="Europe/London"))
        page = tmp_path / "hill.html"
        page.write_text(phone_page(card, made.screening), "utf-8")
        context = browser.new_context(**PHONE, timezone_id="Europe/London")
        opened = context.new_page()
        opened.clock.set_fixed_time(dt.datetime(2027, 1, 15, 14, 0, tzinfo=dt.UTC))
        opened.goto(page.as_uri())
        opened.locator("#start").tap()
        assert (opened.locator("#leg-19 .arrive").text_content() or "").endswith(", AFTER SUNSET")
        opened.clock.set_fixed_time(dt.datetime(2027, 1, 15, 6, 0, tzinfo=dt.UTC))
        opened.locator("#start").tap()
        assert (opened.locator("#leg-1 .arrive").text_content() or "").endswith(", BEFORE SUNRISE")
        assert re.fullmatch(
            r"there at least \d\d:\d\d", opened.locator("#leg-19 .arrive").text_content() or ""
        )
        context.close()

    @pytest.mark.parametrize(
        ("now", "said"),
        [
            (dt.datetime(2027, 1, 15, 12, 0, tzinfo=dt.UTC), ""),
            (
                dt.datetime(2027, 1, 15, 19, 0, tzinfo=dt.UTC),
                "EXPIRED: this forecast ended 2027-01-15 18:00 UTC. Get a newer one.",
            ),
            (
                dt.datetime(2027, 1, 16, 9, 0, tzinfo=dt.UTC),
                "This page is of 2027-01-15, and that day is over. Make it anew. EXPIRED: this forecast "
                "ended 2027-01-15 18:00 UTC. Get a newer one.",
            ),
        ],
    )
    def test_an_old_page_says_so(self, browser: Browser, made: Made, now: dt.datetime, said: str) -> None:
        context = browser.new_context(**PHONE, timezone_id="Europe/London")
        page = context.new_page()
        page.clock.set_fixed_time(now)
        page.goto(made.page.as_uri())
        assert (page.locator("#warning").text_content() or "") == said
        assert page.locator("#warning").is_visible() == bool(said)
        context.close()


class TestPage:
    def test_it_is_small_and_asks_for_nothing(self, made: Made) -> None:
        text = made.page.read_text("utf-8")
        assert 100_000 < len(text.encode()) <= MOST_BYTES
        assert not re.search(r"https?://", text)
        assert text.count("data:image/webp;base64,") == 1
        assert "never gentle. Grid north is up, 5.2° west of true north here. Numbers" in text

    def test_without_script_it_is_the_whole_card(self, browser: Browser, made: Made) -> None:
        visit = Visit(browser, made.page, **PHONE, java_script_enabled=False)
        page = visit.page
        said = as_worded(page.locator("main").inner_text())
        for leg in made.card.legs:
            assert page.locator(f"#leg-{leg.number}").is_visible()
            assert latest_at_leg(made.card, leg) in said
            for check in leg.checks:
                assert f"Look {round(check.look_bearing_magnetic_deg or 0.0) % 360:03d}° magnetic" in said
        for caution in made.card.cautions:
            assert caution.text in said
        for place in made.card.places:
            assert not place.at_length or place.words in said
        assert "If nobody came back: call Mara 0000, at 18:00 GMT" in said
        page.locator("summary", has_text="The bulletin in full").click()
        assert made.card.forecast is not None
        (bulletin,) = made.card.forecast.bulletins
        full = [*map(as_worded, page.locator("details[open] li").all_inner_texts())]
        assert full == [*map(str.strip, part_lines(bulletin)), *text_lines(bulletin)]
        assert not page.locator("nav").is_visible()
        assert not page.locator("#reading").is_visible()
        visit.end()

    def test_a_leg_between_two_places_has_a_page_without_a_map(
        self, tmp_path: Path, browser: Browser
    ) -> None:
        card = card_between(Place(59.21, -8.04), Place(59.22, -8.05), CHOICE)
        page = tmp_path / "leg.html"
        page.write_text(phone_page(card, None), "utf-8")
        visit = Visit(browser, page, **PHONE)
        go(visit.page, "leg-1")
        assert "no model: steepness not known" in visit.page.locator("#leg-1").inner_text()
        visit.end()

    def test_names_run_nothing(self, browser: Browser, sample_plan: SamplePlan, tmp_path: Path) -> None:
        bad = "</script><script>alert(1)</script><img src=x onerror=alert(2)>"
        card = dataclasses.replace(make_card(sample_plan.screening, CHOICE), name=bad)
        legs = tuple(dataclasses.replace(leg, from_=bad, to=bad) for leg in card.legs)
        page = tmp_path / "bad.html"
        page.write_text(phone_page(dataclasses.replace(card, legs=legs), sample_plan.screening, bad), "utf-8")
        visit = Visit(browser, page, **PHONE)
        assert visit.page.locator("h1").inner_text() == bad
        visit.end()


def _colour(page: Page, name: str) -> tuple[float, ...]:
    text = page.evaluate(
        """(name) => { const n = document.createElement('i'); n.style.color = `var(${name})`;
        document.body.append(n); const c = getComputedStyle(n).color; n.remove(); return c; }""",
        name,
    )
    return tuple(float(part) / 255.0 for part in re.findall(r"[\d.]+", text)[:3])


def _contrast(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Contrast ratio of WCAG 2: (L1 + 0.05) / (L2 + 0.05)."""

    def light(colour: tuple[float, ...]) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((light(one), light(other)))
    return (high + 0.05) / (low + 0.05)
