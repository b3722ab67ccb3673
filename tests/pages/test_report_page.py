"""The page of the report without a browser: figures, words, escaping, policy, pictures."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import itertools
import math
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from tests.pages.conftest import Made
from tests.pages.drawn import EVIL, HOSTILE, Reader, as_worded, hostile, unknown

from steybrae.answers.overhead import CHECKS_RANGE
from steybrae.bands import in_degrees
from steybrae.errors import QuantityError
from steybrae.figures.map_axes import LINE_STYLES
from steybrae.figures.style import DASHES, band_hatch
from steybrae.files.plans import read_plan
from steybrae.names import clean
from steybrae.pages.desk import static_files
from steybrae.pages.report.map import UNITS_PER_MM, crowded, draw_report_map, polyline
from steybrae.pages.report.page import report_page
from steybrae.pages.report.profile import draw_report_profile
from steybrae.pages.report.words import overhead_words
from steybrae.route.overhead.result import OverheadAnswer, PathAnswer, SightAnswer
from steybrae.route.shape_result import Spot

MOST_BYTES = 2_500_000
VERDICT = re.compile(r"\b(safe|safely|safety|unsafe|safer|go|goes|no-go|nogo|harmless)\b", re.IGNORECASE)


def up(value: float, step: float = 0.1) -> float:
    """Round up, by another way than the package does."""
    return math.ceil(round(value / step, 9) - 1e-6) * step


def slope(deg: float) -> str:
    return f"{up(deg):.1f}°"


def metres(value: float) -> str:
    return f"{up(value, 1.0):.0f}"


def pixels(picture: dict[str, str | None]) -> np.ndarray:
    """Red, green, blue and opacity of an image of the page."""
    data = base64.b64decode((picture["href"] or "").split(",")[1])
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"))


@pytest.fixture(scope="module")
def page(made: Made) -> Reader:
    return Reader(made.page.read_text("utf-8"))


class TestPure:
    def test_a_plan_gives_the_same_page(self, made: Made) -> None:
        assert report_page(read_plan(made.plan)).encode() == made.page.read_bytes()

    def test_it_is_small_enough(self, made: Made) -> None:
        assert made.page.stat().st_size < MOST_BYTES

    def test_places_lead_before_map_and_legs(self, made: Made) -> None:
        words = as_worded(html.unescape(made.page.read_text("utf-8")))
        assert words.index("Places that matter</h2>") < words.index("Map and profile</h2>")
        assert len(made.screening.places) > 10
        for place in made.screening.places:
            assert f"<b>{place.name}</b>  leg" in words
            assert not place.at_length or place.words in words

    def test_the_range_of_a_check_is_the_models(self, page: Reader) -> None:
        """The card's is wider, and who holds both would see a contradiction."""
        assert "Expect Model's 95 % What Yours" in page.words
        assert page.words.count(CHECKS_RANGE) == 1

    def test_no_relief_is_refused(self, made: Made) -> None:
        with pytest.raises(QuantityError) as refused:
            report_page(replace(made.screening, relief=None))
        assert str(refused.value) == (
            "A report should be made from a screening that holds the ground round the line; this one "
            "does not. Screen it again with --figure, --report or --save."
        )


class TestPolicy:
    def test_only_the_page_s_own_style_and_script_are_allowed(self, page: Reader) -> None:
        policy = next(
            attributes["content"]
            for tag, attributes in page.tags
            if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
        )
        hashes = [
            "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
            for text in (page.raw["style"][0], page.raw["script"][1])
        ]
        assert policy == (
            f"default-src 'none'; img-src data:; style-src '{hashes[0]}'; script-src '{hashes[1]}'; "
            "base-uri 'none'; form-action 'none'"
        )
        assert len(page.raw["style"]) == 1
        assert len(page.raw["script"]) == 2

    def test_nothing_is_asked_of_a_network(self, page: Reader, made: Made) -> None:
        assert not {"link", "iframe", "object", "embed", "form", "base"} & {tag for tag, _ in page.tags}
        for _, attributes in page.tags:
            assert "style" not in attributes
            assert not any(name.startswith("on") for name in attributes)
            for name in ("src", "href"):
                assert (attributes.get(name) or "#").startswith(("#", "data:image/png;base64,"))
        assert "http:" not in made.page.read_text("utf-8")
        assert "https:" not in made.page.read_text("utf-8")

    def test_the_language_is_declared(self, page: Reader) -> None:
        assert ("html", {"lang": "en"}) in page.tags


class TestFigures:
    """Every figure that the page shows is the result's, rounded by the one rule."""

    def test_legs_table(self, page: Reader, made: Made) -> None:
        rows = page.tables[0][1:]
        assert len(rows) == len(made.screening.legs)
        for cells, leg in zip(rows, made.screening.legs, strict=True):
            least = "at least " if leg.open_above else ""
            unsure = "at least " if leg.unknown_m else ""
            climb = "at least " if leg.ascent_at_least else ""
            assert leg.slope_max_at is not None
            low = f"{math.floor(round(leg.slope_low_deg * 10.0, 8) + 1e-6) / 10.0:.1f}"
            found = [" ".join(cell.split(" ")) for cell in cells]
            assert found[:9] + found[11:15] == [
                str(leg.number),
                f"{leg.from_} to {leg.to}",
                f"{math.floor(leg.length_m / 10.0 + 0.5) / 100.0:.2f}",
                f"{climb}{metres(leg.ascent_m)}",
                f"{climb}{metres(leg.descent_m)}",
                f"{least}{slope(leg.slope_max_deg)}",
                f"{leg.slope_max_at.chainage_m:.0f}",
                f"{low} to {slope(leg.slope_high_deg)}",
                f"{least}{slope(leg.slope_corridor_max_deg)}",
                found[11],
                f"{unsure}{metres(leg.steep_m)}",
                f"{unsure}{metres(leg.steep_stretch_m)}",
                found[14],
            ]
            assert found[11].startswith(leg.bands_possible[0].label)
            assert leg.bands_possible[-1].label in found[11]
            assert ("or steeper" in found[11]) == (
                leg.open_above and leg.bands_possible[-1].high_deg is not None
            )
            assert found[17] == (metres(leg.unknown_m) if leg.unknown_m else "-")
            assert found[18] == (" ".join(leg.aspect_sectors) or "-")

    def test_bands_table_adds_up(self, page: Reader, made: Made) -> None:
        rows = page.tables[1][1:]
        totals = made.screening.totals
        for cells, part in zip(rows, [*made.screening.legs, totals], strict=True):
            lengths = [*part.band_lengths_m.values(), part.unknown_m]
            shown = [0.0 if cell == "-" else float(cell) for cell in cells[1:]]
            for k, (number, length) in enumerate(zip(shown, lengths, strict=True)):
                assert number == (math.floor(length + 1e-6) if k == 0 else up(length, 1.0)) or length == 0.0
            assert sum(lengths) == pytest.approx(part.length_m, abs=1e-6)

    def test_readings_table(self, page: Reader, made: Made) -> None:
        rows = next(table for table in page.tables if table[0][0] == "Check")[1:]
        readings = [(leg, one) for leg in made.screening.legs for one in leg.expected_readings]
        assert len(rows) == len(readings) == 5
        for cells, (leg, one) in zip(rows, readings, strict=True):
            assert cells[:2] == [one.name, str(leg.number)]
            assert cells[3] == f"{one.place.lat_deg:.5f}, {one.place.lon_deg:.5f}"
            assert cells[4] == f"{round(one.look_bearing_true_deg) % 360:03d}° true"
            assert cells[5] == slope(one.expected_deg)
            assert cells[6].endswith(f" to {slope(one.high_deg)}")
            assert cells[7] == one.what

    def test_points(self, page: Reader, made: Made) -> None:
        start_m = 0.0
        assert page.points["bands"] == [in_degrees(one) for one in made.screening.totals.band_lengths_m]
        for part, leg in zip(page.points["legs"], made.screening.legs, strict=True):
            points = leg.points
            assert part["leg"] == leg.number
            assert part["start_dm"] == round(start_m * 10.0)
            for name, values in (
                ("slope", points.slope_deg),
                ("high", points.slope_high_deg),
                ("corridor", points.corridor_deg),
            ):
                expected = [None if np.isnan(value) else round(up(value) * 10.0) for value in values]
                assert part[name] == expected, name
            lows = [
                None if np.isnan(v) else math.floor(round(v * 10.0, 8) + 1e-6) for v in points.slope_low_deg
            ]
            assert part["low"] == lows
            assert part["height"] == [None if np.isnan(v) else round(v) for v in points.elevation_m]
            edges = made.screening.settings.edges_deg
            bands = [
                -1 if tenths is None else sum(tenths >= edge * 10.0 for edge in edges)
                for tenths in part["slope"]
            ]
            assert part["band"] == bands
            assert [at / 10.0 for at in part["at"]] == pytest.approx(points.chainage_m, abs=0.051)
            assert all(0 <= aspect < 360 for aspect in part["aspect"] if aspect is not None)
            start_m += leg.length_m

    def test_points_overhead_are_never_gentler_than_the_leg_s_profile(self, page: Reader, made: Made) -> None:
        for part, leg in zip(page.points["legs"], made.screening.legs, strict=True):
            near = leg.overhead_profile
            for at, words in zip(leg.points.chainage_m, part["above"], strict=True):
                within = near.sight_unfiltered_deg[np.abs(near.chainage_m - at) < 1e-6]
                shown = re.search(r"([\d.]+)°$", words)
                for deg in within[np.isfinite(within)]:
                    assert shown is not None
                    assert float(shown[1]) >= deg - 1e-6

    def test_on_unknown_ground_nothing_is_said_to_look_down_on_it(self, page: Reader, made: Made) -> None:
        for part, leg in zip(page.points["legs"], made.screening.legs, strict=True):
            for words, known in zip(part["above"], leg.points.known, strict=True):
                assert known or "nothing" not in words

    def test_headline(self, page: Reader, made: Made) -> None:
        totals = made.screening.totals
        assert f"Steepest on the line at least {slope(totals.slope_max_deg)} (leg 12)." in page.words
        assert f"Unknown ground: {metres(totals.unknown_m)} m of the line." in page.words
        assert f"Overhead: at least {slope(totals.overhead_max_deg)}" in page.words

    def test_each_leg_says_what_is_steep_unknown_and_to_check(self, page: Reader, made: Made) -> None:
        for leg in made.screening.legs:
            assert f"{slope(leg.slope_max_deg)} at " in page.words
            for one in leg.expected_readings:
                assert f"{one.name}: {slope(one.expected_deg)} at" in page.words

    def test_rolls_and_traps(self, page: Reader, made: Made) -> None:
        for leg in made.screening.legs:
            for one in (*leg.convex_rolls, *leg.terrain_traps):
                assert one.reason in page.words

    def test_forecast(self, page: Reader, made: Made) -> None:
        forecast = made.screening.forecast
        assert forecast is not None
        for finding in forecast.findings:
            assert finding.text in page.words
        assert "considerable (3), above 800 m" in page.words
        assert "below rims and in gullies" in page.words
        for words in forecast.words:
            assert words in page.words

    def test_without_a_forecast_it_says_so(self, made: Made) -> None:
        page = Reader(report_page(replace(made.screening, forecast=None)))
        assert "No avalanche forecast was given" in page.words
        # Each leg said so again.
        assert "No bulletin given" not in page.words

    def test_provenance(self, page: Reader, made: Made) -> None:
        assert made.screening.model.fingerprints[0] in page.words
        assert made.screening.origin is not None
        for file in made.screening.origin.files:
            assert file.name in page.words
            assert file.fingerprint in page.words
        assert made.screening.origin.command in page.words
        assert made.screening.origin.command == (
            "steybrae route --sample --interval 10m --bulletin bulletin.json --region XX-STEY-01 "
            "--at-time 2027-01-15T09:00+00:00"
        )
        assert made.screening.model.uncertainty in page.words


class TestPromises:
    def test_cautions_stand_first_and_last(self, page: Reader, made: Made) -> None:
        for caution in made.screening.cautions:
            assert page.words.count(caution.text) == 2
            assert page.words.index(caution.text) < page.words.index("Leg by leg")
        assert page.words.rindex(made.screening.cautions[-1].text) > page.words.index("To repeat it")

    def test_what_is_special_to_the_line_stands_before_the_map(self, page: Reader, made: Made) -> None:
        look = page.words.index("Show on the map")
        later = {at.key for at in made.screening.cautions if page.words.index(at.text) > look}
        assert later == {"model_smooths", "overhead_short", "start_zones_wide", "bulletin_regional"}
        heads = ["Before you read on", "Show on the map", "On reading every figure here", "Leg by leg"]
        places = [page.words.index(head) for head in heads]
        assert places == sorted(places)

    def test_no_caution_waits_behind_a_click(self, made: Made) -> None:
        text = made.page.read_text("utf-8")
        unfolded = as_worded(unescape(re.sub(r"<details.*?</details>", "", text, flags=re.DOTALL)))
        assert len(unfolded) < len(text)
        for caution in made.screening.cautions:
            assert caution.text in unfolded

    def test_no_verdict(self, page: Reader) -> None:
        assert not VERDICT.search(page.words)
        for script in page.raw["script"][1:]:
            assert not re.search(r"[\"'`][^\"'`]*\b(safe|no-go)\b", script)

    def test_unknown_ground_shows_through_the_pictures_and_known_ground_does_not(
        self, page: Reader, made: Made
    ) -> None:
        relief = made.screening.relief
        assert relief is not None
        known = np.isfinite(relief.slope_deg)
        cells, (hatches,) = (
            [
                attributes
                for tag, attributes in page.tags
                if tag == "image" and (attributes.get("class") == "cells") is of_cells
            ]
            for of_cells in (True, False)
        )
        assert len(cells) == 2
        for picture in cells:
            dots = pixels(picture)
            assert ((dots[..., 3] == 255) == known).all()
            assert ((dots[..., 3] == 0) == ~known).all()
            assert (int(picture["width"] or 0), int(picture["height"] or 0)) == known.shape[::-1]
        # The matrix puts the corners of the cells where the map has them.
        a, b, c, d, e, f = map(float, re.findall(r"[-\d.e]+", (cells[0]["transform"] or "").split("(")[1]))
        x0, x1, y0, y1 = relief.extent
        width, height = (side * 50.0 for side in relief.map_mm)
        for col, row in ((0.0, 0.0), (float(known.shape[1]), 0.0), (3.0, float(known.shape[0]))):
            x, y = (float(value) for value in relief.grid.xy(col, row))
            assert a * col + c * row + e == pytest.approx((x - x0) / (x1 - x0) * width, abs=0.5)
            assert b * col + d * row + f == pytest.approx((y1 - y) / (y1 - y0) * height, abs=0.5)
        # Hatches lie on known ground of a band that has one, and on as much of it as their lines are wide.
        ink = pixels(hatches)[..., 3] > 0
        rows, cols = (np.arange(size) + 0.5 for size in ink.shape)
        col, row = relief.grid.colrow(
            x0 + cols[None, :] / ink.shape[1] * (x1 - x0), y1 - rows[:, None] / ink.shape[0] * (y1 - y0)
        )
        inside = (col >= 0) & (row >= 0) & (col < known.shape[1]) & (row < known.shape[0])
        slope = np.full(ink.shape, np.nan)
        slope[inside] = relief.slope_deg[row[inside].astype(int), col[inside].astype(int)]
        steep = np.ceil(slope * 10.0 - 1e-6) / 10.0 >= made.screening.settings.edges_deg[0]
        assert not ink[~steep].any()
        assert 0.05 < ink[steep].mean() < 0.35

    def test_signs_of_start_zones_and_sights_are_those_of_figure_and_desk(self, page: Reader) -> None:
        """Dots were a start zone here and in the figure, a possible one on the desk, and a sight here."""
        sheets = (page.raw["style"][0], static_files()["desk.css"][0].decode())
        for kind, names in {
            "start zones": (".zone {", ".sign-zone {"),
            "sight": (".sight {", ".sign-overhead {"),
        }.items():
            assert LINE_STYLES[kind].dashes == (0, DASHES[kind])
            ink, gap = DASHES[kind]
            for name, sheet in zip(names, sheets, strict=True):
                found = re.search(r"stroke-dasharray: (\S+) (\S+);", sheet[sheet.index(name) :])
                assert found
                assert float(found[2]) / float(found[1]) == pytest.approx(gap / ink)

    def test_bands_are_told_apart_by_hatches_none_crossed(self, page: Reader, made: Made) -> None:
        count = len(made.screening.settings.edges_deg) + 1
        ids = [attributes["id"] for tag, attributes in page.tags if tag == "pattern"]
        assert ids == [*(f"h-{k}" for k in range(count)), "h-unknown", "m-unknown"]
        assert len({band_hatch(k)[:1] for k in range(count)}) == count

    def test_all_unknown(self) -> None:
        screening = unknown()
        page = Reader(report_page(screening))
        assert "Steepest on the line unknown." in page.words
        assert "Overhead: unknown." in page.words
        rows = page.tables[0][1:]
        assert [row[5] for row in rows] == ["unknown"] * 4
        assert [(row[8], row[10]) for row in rows] == [("unknown", "unknown")] * 4
        assert [row[9] for row in rows] == ["unknown unknown"] * 4
        assert [row[16] for row in rows] == ["unknown"] * 4
        assert [row[17] for row in rows] == [metres(leg.unknown_m) for leg in screening.legs]
        assert page.points["legs"][0]["band"] == [-1] * len(page.points["legs"][0]["at"])
        assert set(page.points["legs"][0]["above"]) == {"unknown"}
        assert "what it should read if the model is right" in page.words
        assert "Check" not in [table[0][0] for table in page.tables]
        values = [attributes.get("data-value") for tag, attributes in page.tags if tag == "td"]
        assert values.count("inf") >= 4 * 4  # unknown sorts as the steepest


def test_figures_of_the_slopes_do_not_touch_where_the_ground_is_steep(made: Made) -> None:
    """On paper 25, 30, 35, 40 and 45 lay over each other where the interval reached 86 degrees."""
    relief = made.screening.relief
    assert relief is not None
    profile = replace(relief.profile, slope_high_deg=np.full_like(relief.profile.slope_high_deg, 86.0))
    drawing = draw_report_profile(made.screening, profile)
    told = [tick.at for tick in drawing.slope_ticks if tick.text]
    assert len(drawing.slope_ticks) == 7
    assert {"0°", "30°", "55°"} <= {tick.text for tick in drawing.slope_ticks}
    assert min(abs(one - other) for one, other in itertools.pairwise(told)) * 150.0 / 100.0 >= 10.0


def test_arrows_to_the_norths_and_scale_bar_leave_the_line_free(made: Made) -> None:
    """They stood over the start of a line that begins at the upper left."""
    relief = made.screening.relief
    assert relief is not None
    x0, x1, y0, y1 = relief.extent
    wide, high = x1 - x0, y1 - y0
    for shares, corner, right in (
        (((0.1, 0.05), (0.9, 0.95)), "bottom-left", False),
        (((0.1, 0.05), (0.1, 0.95)), "bottom-right", True),
        (((0.9, 0.05), (0.1, 0.95)), "top-left", True),
    ):
        at = np.array([(x0 + wide * x, y1 - high * y) for x, y in shares])
        leg = replace(relief.legs[0], x=at[:, 0], y=at[:, 1])
        legs = tuple(leg for _ in made.screening.legs)
        drawing = draw_report_map(made.screening, replace(relief, legs=legs))
        assert (drawing.norths, drawing.bar_right) == (corner, right)


@pytest.fixture(scope="module")
def hostile_page() -> str:
    return report_page(hostile())


class TestHostileNames:
    def test_names_are_names(self, hostile_page: str) -> None:
        page = Reader(hostile_page)
        assert len(page.raw["script"]) == 2
        assert "alert(1)" not in page.raw["script"][0] + page.raw["script"][1]
        for name in HOSTILE:
            assert clean(name) in page.words
        assert EVIL not in hostile_page

    def test_names_keep_their_direction_to_themselves(self, hostile_page: str) -> None:
        for name in (HOSTILE[1], HOSTILE[2]):
            start = hostile_page.index(clean(name)[:6])
            assert hostile_page[:start].endswith("<bdi>")

    def test_the_tag_is_escaped_in_every_place(self, hostile_page: str) -> None:
        assert hostile_page.count("&lt;script&gt;alert(1)&lt;/script&gt;") >= 5


class TestWords:
    def test_overhead(self) -> None:
        spot = Spot(57.0, -9.0, 900.0)
        open_sight = SightAnswer(31.01, 31.01, 10.0, 400.9, 10.0, 400.9, 240.0, spot, spot, 5.0, None)
        shut = SightAnswer(None, 33.33, 190.0, 812.6, None, None, None, None, None, None, None)
        path = PathAnswer(30.0, 10.0, 500.9, 240.0, spot, spot, 5.0, ())
        base = OverheadAnswer(False, 0.0, False, 0.0, None, 30.0, 55.0, 24.0, 3000.0, 18.0, None, None, None)
        none = "Overhead: no start zone at 18° and more within 3 km."
        cases = [
            (None, False, ("Overhead: unknown.",)),
            (base, False, (none,)),
            (base, True, (none, "Unknown ground above may hold more.")),
            (
                replace(base, sight=open_sight, sight_outside=open_sight, path=path),
                True,
                (
                    "Sight up: at least 31.1° towards 010° true, 400 m off.",
                    "Path angle: at least 30.0° along 500 m.",
                    "Unknown ground above may hold more.",
                ),
            ),
            (
                replace(base, in_start_zone=True, in_start_zone_m=41.2, sight=open_sight, sight_outside=shut),
                False,
                (
                    "42 m lie in a start zone.",
                    "Sight up: 31.1° towards 010° true, 400 m off.",
                    "Sight from outside the zone, other ground between: 33.4° towards 190° true, 812 m off.",
                ),
            ),
            (
                # Where a part of the leg is unknown ground, it may lie in a zone too.
                replace(
                    base, in_start_zone=True, in_start_zone_m=41.2, in_possible_zone_m=50.0, known_to_m=0.0
                ),
                True,
                (
                    "At least 42 m lie in a start zone.",
                    "At least 50 m with possible ones.",
                    "Overhead: no start zone at 18° and more within 3 km, of which all is known only to 0 m.",
                    "Unknown ground above may hold more.",
                ),
            ),
        ]
        for overhead, more, expected in cases:
            assert overhead_words(overhead, 34.0, unknown_above=more) == expected


class TestLines:
    @given(st.lists(st.tuples(st.integers(-9999, 9999), st.integers(-9999, 9999)), min_size=2, max_size=20))
    def test_a_path_goes_through_its_points(self, points: list[tuple[int, int]]) -> None:
        path = polyline(np.array(points, float))
        if len(set(points)) == 1:
            assert path == ""
            return
        numbers = [int(text) for text in re.findall(r"-?\d+", path)]
        steps = np.array(numbers).reshape(-1, 2)
        walked = np.cumsum(steps, axis=0).tolist()
        kept = [points[0], *(b for a, b in itertools.pairwise(points) if a != b)]
        assert [tuple(at) for at in walked] == kept

    @given(st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 5000)), min_size=1, max_size=30))
    def test_labels_that_are_kept_do_not_meet(self, places: list[tuple[int, int]]) -> None:
        waiting = crowded(list(enumerate(places)))
        kept = [at for k, at in enumerate(places) if k not in waiting]
        assert 0 not in waiting
        for k, a in enumerate(kept):
            for b in kept[:k]:
                assert math.dist(a, b) > 4.5 * UNITS_PER_MM
