"""The card on paper: true size, nothing over the edge or over its neighbour, cautions inside."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.pages.drawn import as_worded
from tests.sheets.pdf_lines import page_contents, text_boxes

from steybrae.answers.card import card_document
from steybrae.answers.route import route_document
from steybrae.card import CardSettings, RouteCard, card_between, make_card
from steybrae.card.result import Beside, CliffBelow, OutsideSight, Overhead
from steybrae.card.wording import check_sentence, judged_text, minutes_text
from steybrae.cautions import Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.files.cards import card_gpx
from steybrae.files.model.rasters import open_model
from steybrae.files.routes import read_route
from steybrae.pages.phone import phone_page
from steybrae.pages.report.words import day_words
from steybrae.papers import PAPERS_MM
from steybrae.render.terminal import terminal_text
from steybrae.route.positions.places import Place
from steybrae.route.walking import Allowances
from steybrae.screening import RouteScreening, screen_route
from steybrae.screening.places.result import DropAtPlace
from steybrae.screening.places.words import letters_at
from steybrae.sheets import card_page, card_rows
from steybrae.sheets.card_page import card_pdf
from steybrae.sheets.true_size import PT_PER_MM, Canvas
from steybrae.value import bearing_figure, slope

DAY = dt.date(2027, 1, 15)
VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)


BESIDE = tuple(
    Beside(side, *found)
    for side in ("left", "right")
    for found in (
        (30.0, 0.0, 0.0, 0.0, 1234.0, 3),
        (45.0, 12.0, -3.0, 430.0, 980.0, 2),
        (None, None, None, None, None, 0),
    )
)


class Recorder(Canvas):
    """Keeps what was written, and the box of each text in mm: left, top, right, bottom."""

    def __init__(self, *arguments: Any, **how: Any) -> None:
        super().__init__(*arguments, **how)
        self.boxes: list[tuple[float, float, float, float, str]] = []
        self.sizes_pt: list[float] = []
        self.page = 0
        Recorder.last = self

    last: Recorder

    def new_page(self) -> None:
        self.page += 1
        super().new_page()

    def text(self, x: float, y: float, text: str, size_pt: float = 8.0, **how: Any) -> float:
        bold, most_mm = how.get("bold", False), how.get("most_mm")
        shown, size = text, size_pt
        if most_mm is not None:
            shown, size = self.fitted(text, size_pt, most_mm, bold=bold, cut=how.get("cut", False))
        width = self.text_width_mm(shown, size, bold=bold)
        left = x - {"left": 0.0, "middle": width / 2.0, "right": width}[how.get("align", "left")]
        height = 0.73 * size / PT_PER_MM  # capitals of the face are 0.73 of its size
        if shown.strip():
            top = self.page * 1000.0 + self.from_top_mm + y
            self.boxes.append((left, top - height, left + width, top, shown))
            self.sizes_pt.append(size)
        return super().text(x, y, text, size_pt, **how)


@pytest.fixture
def long_card(by_hand: RouteScreening) -> RouteCard:
    """A card of ten legs with the longest words that a card has to hold."""
    card = make_card(by_hand, CardSettings(DAY, "bng", 25_000.0, 60.0))
    leg = card.legs[2]
    assert leg.ground is not None
    ground = replace(
        leg.ground, open_above=True, unknown_m=207.3, steep_m=1484.2, aspect_sectors=("W", "SW", "NW"),
        slope_corridor_max_deg=57.0, elevation_end_m=1234.0,
        overhead=Overhead(
            True, True, "yes", 34.4, 35.0, 28.2, 213.0, 200.0, 137.0, True,
            OutsideSight(31.2, 358.0, 2941.7, 1805.2, 1015.0),
        ),
    )  # fmt: skip
    leg = replace(
        leg, ground=ground, to="Druim na h-Invented Ridge of the Western Keldavoe Traverse",
        ascent_at_least=True, time_min=190.0, time_at_least=True,
        arrival_text="16:13 GMT", daylight_text="10 h 43 min before sunset",
        length_m=12_345.6, map_mm=493.5, paces=18_000.0, ascent_m=1234.0, descent_m=987.0, bends=True,
        checks=leg.checks * 2, beside=BESIDE,
        cliffs=tuple(CliffBelow(side, 61.23, 20.0, 104.0, 1255.0, 2) for side in ("left", "ahead")),
    )  # fmt: skip
    return replace(card, legs=tuple(replace(leg, number=number) for number in range(1, 11)))


def drawn(monkeypatch: pytest.MonkeyPatch, card: RouteCard, page: str, *, appendix: bool = True) -> Recorder:
    monkeypatch.setattr(card_page, "Canvas", Recorder)
    card_pdf(card, page, appendix=appendix)
    return Recorder.last


@pytest.mark.parametrize("page", ["a4", "a5", "letter"])
def test_nothing_lies_over_an_edge_or_over_another_text(
    monkeypatch: pytest.MonkeyPatch, long_card: RouteCard, page: str
) -> None:
    boxes = drawn(monkeypatch, long_card, page).boxes
    assert len(boxes) > 200
    for left, _, right, _, words in boxes:
        assert left >= card_rows.LEFT_MM - 0.01, words
        assert right <= card_rows.RIGHT_MM + 0.01, words
    for k, (left, top, right, bottom, words) in enumerate(boxes):
        for other in boxes[k + 1 :]:
            apart = right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top
            assert apart, (words, other[4])


@pytest.mark.parametrize(
    ("page", "size_mm"), [("a4", (210, 297)), ("a5", (210, 148)), ("letter", (215.9, 279.4))]
)
def test_no_word_stands_where_printers_leave_the_paper_white(
    long_card: RouteCard, tmp_path: Path, page: str, size_mm: tuple[float, float]
) -> None:
    pages = text_boxes(card_pdf(long_card, page), tmp_path)
    words = [word for found in pages for word in found]
    assert sum(text == "judgement" for text, _ in words) >= len(pages)
    for text, (left, lower, right, upper) in words:
        assert min(left, lower, size_mm[0] - right, size_mm[1] - upper) > 3.9, text


@pytest.mark.parametrize("page", ["a4", "a5"])
def test_every_leg_check_and_caution_is_printed(
    monkeypatch: pytest.MonkeyPatch, long_card: RouteCard, page: str
) -> None:
    found = drawn(monkeypatch, long_card, page)
    words = [box[4] for box in found.boxes]
    for leg in long_card.legs:
        assert str(leg.number) in words
    text = " ".join(words)
    for caution in long_card.cautions:
        assert caution.text in text
    assert not VERDICT.search(text)
    assert "overhead at least 34.4°, look 213° magnetic" in text
    outside = "from outside the zone, 1015 m along: at least 31.2°, look 358° magnetic, 2941 m off, 1806 m up"
    assert text.count(outside) == len(long_card.legs)
    cliff = (
        "Cliff below, to the left: at least 61.3°, 20 m off, 100-1260 m along in 2 stretches; "
        "ahead of you: at least 61.3°, 20 m off, 100-1260 m along in 2 stretches"
    )
    assert text.count(cliff) == len(long_card.legs)
    # In the table that leads, and in the appendix.
    assert words.count("corridor at least 57.0°") == 2 * len(long_card.legs)
    parts = {int(part) for part in re.findall(r"part (\d+) of", text)}
    assert parts == set(range(1, max(parts) + 1))
    assert (max(parts) + 1) // 2 == found.page + 1 if page == "a4" else max(parts) == found.page + 1


def test_what_finds_no_room_on_the_first_part_is_printed_after_the_legs(
    monkeypatch: pytest.MonkeyPatch, long_card: RouteCard
) -> None:
    words = tuple(
        f"Sentence {k} about the norths, long enough to need more than one line here." for k in range(40)
    )
    card = replace(long_card, norths=replace(long_card.norths, sentences=words))
    boxes = drawn(monkeypatch, card, "a5", appendix=False).boxes
    assert "Sentence 0" in " ".join(box[4] for box in boxes if box[1] < 1000.0)
    later = " ".join(box[4] for box in boxes if box[1] > 1000.0)
    legs, places, _ = later.partition("Checks")
    assert places
    assert "Sentence 39 about the norths, long enough to need more than one line here." in legs


def test_what_times_rest_on_keeps_its_room_beside_a_long_headline(
    monkeypatch: pytest.MonkeyPatch, by_hand: RouteScreening
) -> None:
    """Lines of the headline stand abreast and sentences run on, or factors and breaks would fall out."""
    made = make_card(by_hand, replace(CHOSEN, allowances=Allowances(1.3, 1.0, 10.0)))
    inside = "at least 48.3° (leg 1; from within a start zone at least 49.1°, leg 3)"
    totals = replace(made.totals, unknown_m=207.0, short_corridor_max_deg=62.4, open_above=True)
    card = replace(made, overhead_text=inside, totals=totals, name="A day by hand with a name of two lines")
    words = [box[4] for box in drawn(monkeypatch, card, "a4").boxes]
    front = " ".join(words[: words.index("magnetic")])
    assert "overhead at least 48.3° (leg 1; from within a start zone at least 49.1°, leg 3)" in front
    assert "Times 1.3 for snow. Breaks: 10 minutes for each hour walked. No time added for load." in front


def test_the_cautions_are_in_the_metadata(long_card: RouteCard) -> None:
    content = card_pdf(long_card)
    subject = re.search(rb"/Subject \((.*?)\) /", content, re.DOTALL)
    assert subject is not None
    held = re.sub(rb"\\\n", b"", subject[1]).decode("latin-1").replace("\\(", "(").replace("\\)", ")")
    for caution in long_card.cautions:
        assert caution.text in held
    assert b"/Title (Route card: A day by hand, 2027-01-15)" in content


@pytest.mark.parametrize(
    ("page", "size"),
    [("a4", (595.2756, 841.8898)), ("a5", (595.2756, 419.5276)), ("letter", (612.0, 792.0))],
)
def test_pages_are_true_to_size(by_hand: RouteScreening, page: str, size: tuple[float, float]) -> None:
    # 210 x 297 mm, 210 x 148 mm and 8.5 x 11 inches in points of 25.4 / 72 mm.
    content = card_pdf(make_card(by_hand, CardSettings(DAY)), page)
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert boxes
    for width, height in boxes:
        assert (float(width), float(height)) == pytest.approx(size, abs=1e-3)


def test_the_same_card_is_the_same_bytes(by_hand: RouteScreening) -> None:
    card = make_card(by_hand, CardSettings(DAY))
    assert card_pdf(card) == card_pdf(card)


def test_a_hundred_millimetres_are_a_hundred_millimetres() -> None:
    paper = Canvas(PAPERS_MM["a4"], "t", "s", down=True)
    paper.line(10.0, 20.0, 110.0, 20.0)
    (page,) = page_contents(paper.finish())
    found = re.search(r"([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l", page)
    assert found is not None
    left, y, right, same_y = (float(value) / PT_PER_MM for value in found.groups())
    assert (left, right) == pytest.approx((10.0, 110.0), abs=1e-3)
    assert (y, same_y) == pytest.approx((277.0, 277.0), abs=1e-3)


def test_too_long_a_name_is_made_smaller_then_cut_and_figures_never_are() -> None:
    paper = Canvas(PAPERS_MM["a4"], "t", "s", condensed=0.9)
    full = paper.text_width_mm("Torraskel", 10.0)
    assert paper.text(0.0, 0.0, "Torraskel", 10.0, most_mm=0.8 * full) == pytest.approx(0.8 * full)
    shown, size_pt = paper.fitted("Torraskel", 10.0, 0.4 * full, bold=False, cut=True)
    assert re.fullmatch("T.*….*l", shown)
    assert size_pt == pytest.approx(7.2)
    assert paper.text_width_mm(shown, size_pt) <= 0.4 * full
    assert paper.fitted("12345", 10.0, 1.0, bold=False, cut=False)[0] == "12345"


@pytest.mark.parametrize("grid", ["utm", "mgrs", "bng", "latlon"])
@pytest.mark.parametrize("unit", ["deg", "mil"])
def test_references_and_bearings_stand_in_full(
    monkeypatch: pytest.MonkeyPatch, by_hand: RouteScreening, grid: str, unit: str
) -> None:
    card = make_card(by_hand, CardSettings(DAY, grid, bearing_unit=unit))
    boxes = drawn(monkeypatch, card, "a5").boxes
    words = [box[4] for box in boxes]
    for leg in card.legs:
        assert leg.to_place.reference in words
        assert bearing_figure(leg.bearing_magnetic_deg, unit) in words
        for check in leg.checks:
            assert check.reference in words
    for box in boxes:
        if box[4] in [leg.to_place.reference for leg in card.legs]:
            assert (box[3] - box[1]) * PT_PER_MM / 0.73 > 8.5  # points
    for k, (left, top, right, bottom, text) in enumerate(boxes):
        for other in boxes[k + 1 :]:
            assert right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top, (
                text,
                other,
            )


def test_a_card_in_mils_has_no_bearing_in_degrees(sample_day: RouteScreening) -> None:
    """The paragraphs of its places said "towards 294° magnetic" beside rows in mils."""
    card = make_card(sample_day, CardSettings(DAY, "bng", bearing_unit="mil"))
    towards = [words for place in card.places for words in re.findall(r"towards (\S+ \S+)", place.words)]
    assert len(towards) >= 2
    assert all(words.endswith(" mil") for words in towards)
    assert "° magnetic" not in terminal_text(card_document(card, whole=True), 120)


def test_one_leg_without_a_model_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    card = card_between(Place(57.0, -10.0, "A"), Place(57.01, -10.0, "B"), CardSettings(DAY))
    words = " ".join(box[4] for box in drawn(monkeypatch, card, "a4").boxes)
    assert "steepness not known" in words
    assert "Checks" not in words


@pytest.fixture(scope="module")
def sample_day(sample_dem) -> RouteScreening:
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        return screen_route(read_route(sample_dem / "day.gpx"), opened)


CHOSEN = CardSettings(
    DAY, "bng", 25_000.0, start=dt.datetime(2027, 1, 15, 8, 30, tzinfo=dt.UTC), zone="Europe/London"
)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_the_sample_day_goes_on_two_sheets_in_the_order_of_need(monkeypatch, sample_day, page: str) -> None:
    """19 legs: three pages, letters of 8 points, bearings of 16; Letter had no room for norths and light."""
    card = make_card(sample_day, CHOSEN)
    bulletins = [one for one in cautions_for(Situation(bulletin=True)) if one.key == "bulletin_regional"]
    card = replace(card, cautions=(*card.cautions, *bulletins))  # it stood alone on Letter's fourth page
    found = drawn(monkeypatch, card, page, appendix=False)
    assert found.page + 1 == 3
    assert min(found.sizes_pt) >= 8.0 - 1e-9
    words = [box[4] for box in found.boxes]
    for leg in card.legs:
        sizes = [size for size, word in zip(found.sizes_pt, words, strict=True)
                 if word == bearing_figure(leg.bearing_magnetic_deg, "deg")]  # fmt: skip
        assert max(sizes) >= 16.0
    heads = ["Avalanche forecast and weather", "magnetic", "Places that matter, and their checks",
             "In poor visibility: steep ground in the corridor and near it", "Cautions"]  # fmt: skip
    firsts = [words.index(head) for head in heads]
    assert firsts == sorted(firsts)
    text = " ".join(words)
    for sentence in (*card.norths.sentences, *card.daylight_words):
        assert sentence in text
    assert ". Right 30°+" in text
    assert ". right 30°+" not in text
    for caution in card.cautions:
        assert caution.line in text
    for place in card.places:
        assert any(word == place.name or word.startswith(f"{place.name}  ") for word in words)
        assert not place.at_length or place.words in text


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_ten_legs_go_on_one_sheet(monkeypatch, sample_dem, page: str) -> None:
    """The first ten legs of the sample: both sides of one sheet, folded."""
    with open_model([sample_dem / "stey_massif.tif"]) as opened:
        day = read_route(sample_dem / "day.gpx")
        ten = replace(day, points=day.points[:11], turn_points=day.turn_points[:11])
        card = make_card(screen_route(ten, opened), CHOSEN)
    assert len(card.legs) == 10
    found = drawn(monkeypatch, card, page, appendix=False)
    assert found.page + 1 == 2
    assert min(found.sizes_pt) >= 8.0 - 1e-9


def test_ten_steep_legs_go_on_one_part(monkeypatch, sample_day) -> None:
    """A real day had short pieces on each leg, two drops at the line, and its tenth leg on a second sheet."""
    card = make_card(sample_day, CHOSEN)
    base = card.legs[2]
    assert base.ground is not None
    overhead = replace(base.ground.overhead, unknown_above=True, outside=None, unfiltered_deg=36.9)
    ground = replace(base.ground, slope_max_deg=31.3, slope_corridor_max_deg=37.5, open_above=False,
                     short_corridor_max_deg=41.8, overhead=overhead)  # fmt: skip
    rim = replace(ground, slope_max_deg=48.1, slope_corridor_max_deg=53.8, short_corridor_max_deg=60.7,
                  drop=DropAtPlace(0.0, 24.0, "both"))  # fmt: skip
    grounds = [rim if number in {4, 10} else ground for number in range(1, 11)]
    legs = [replace(base, number=k, ground=one) for k, one in enumerate(grounds, start=1)]
    found = drawn(monkeypatch, replace(card, legs=tuple(legs), places=()), "a4", appendix=False)
    words = [box[4] for box in found.boxes]
    end = next(k for k, one in enumerate(words) if one.startswith("part 2"))
    part = words[words.index("magnetic") : end]
    assert part.count("corridor 37.5°") == part.count("short pieces to 41.8°") == 8
    assert part.count("corridor 53.8°") == 2
    # Gentler underfoot than what stands over it: told, whatever the corridor holds.
    assert part.count("at least 36.9° overhead") == 8


def test_a_leg_that_reads_gentle_and_may_be_steep_says_so_in_its_row(monkeypatch, sample_day) -> None:
    """On cells of 30 m a row, and a phone's list, said "23.4°" of "on the line may be 47.7°"."""
    card = make_card(sample_day, CHOSEN)
    base = card.legs[0]
    assert base.ground is not None
    rows = ((23.4, 47.61, 1), (23.4, 29.9, 0), (29.9, 30.0, 1), (30.1, 50.1, 1), (36.0, 40.0, 0))
    for slope_deg, high_deg, told in rows:
        ground = replace(base.ground, slope_max_deg=slope_deg, slope_corridor_max_deg=slope_deg,
                         open_above=False, slope_high_deg=high_deg, short_corridor_max_deg=None)  # fmt: skip
        one = replace(card, legs=(replace(base, ground=ground),), places=())
        words = [box[4] for box in drawn(monkeypatch, one, "a4", appendix=False).boxes]
        said = [line for line in words if line.startswith(f"may be {slope(high_deg).text}")]
        assert len(said) == told, (slope_deg, high_deg)
        index = f"may be {slope(high_deg).text}; corridor {slope(slope_deg).text}"
        assert (index in phone_page(one, None)) == told, (slope_deg, high_deg)


def test_type_sizes_counted_from_the_pdf(sample_day) -> None:
    """At least 8 points everywhere, the appendix too, and a bearing of 16 and more for each leg."""
    card = make_card(sample_day, CHOSEN)
    for appendix, least in ((False, 1), (True, 2)):
        text = " ".join(page_contents(card_pdf(card, "a4", appendix=appendix)))
        sizes = [float(size) for size in re.findall(r"/F\S+ ([\d.]+) Tf", text)]
        assert len(sizes) > 300
        assert min(sizes) >= 8.0 - 1e-3
        assert sum(size >= 16.0 for size in sizes) >= least * len(card.legs)


def test_a_leg_of_the_table_names_its_places_unknown_ground_and_a_drop(monkeypatch, sample_day) -> None:
    card = make_card(sample_day, CHOSEN)
    words = [box[4] for box in drawn(monkeypatch, card, "a4", appendix=False).boxes]
    for leg in card.legs:
        letters = " ".join(letters_at(card.places, leg.number))
        assert letters in words or letters.rsplit(" ", 1)[0] in words
    assert "at least 39.0°" in words
    assert any(word.startswith("207 m unkn.") for word in words)
    # Leg 7 is the rim: gentle underfoot, and a drop to the left.
    assert "17.1°" in words
    assert "drop of 152 m, 20 m left" in words
    assert not any("up to" in word for word in words[words.index("magnetic") : words.index("Cautions")]
                   if word.endswith("°"))  # fmt: skip


def test_a_gentle_leg_under_a_start_zone_says_so_in_its_row(monkeypatch, sample_day) -> None:
    """Leg 3 is 15.3 degrees underfoot, under the steepest start zone of the day."""
    card = make_card(sample_day, CHOSEN)
    words = [box[4] for box in drawn(monkeypatch, card, "a4", appendix=False).boxes]
    rows = {leg.number: words[words.index(leg.to) :][:16] for leg in card.legs[:5]}
    for number, told in ((1, "unknown overhead"), (2, "at least 33.5° overhead"), (3, "41.6° overhead")):
        assert told in rows[number]
        assert f"; {told}</span>" in phone_page(card, sample_day)
    # Its own ground is steeper than what is overhead.
    assert not any("overhead" in word for word in rows[5])


@pytest.mark.parametrize(("grid", "north"), [("bng", "grid"), ("latlon", "true")])
def test_a_row_has_the_bearing_that_the_front_says_to_set(
    monkeypatch, sample_day, grid: str, north: str
) -> None:
    """With a declination scale it is set from the grid: true north lies 5 degrees off there on the sample."""
    card = make_card(sample_day, replace(CHOSEN, grid=grid))
    words = [box[4] for box in drawn(monkeypatch, card, "a4", appendix=False).boxes]
    for leg in card.legs:
        degrees = leg.bearing_grid_deg if grid == "bng" else leg.bearing_true_deg
        assert f"{north} {bearing_figure(degrees, 'deg')}" in words
    # Leg 1 is worked out on the front; that of its row is the same.
    source = "from the grid" if grid == "bng" else "from true north"
    first = card.legs[0].bearing_grid_deg if grid == "bng" else card.legs[0].bearing_true_deg
    assert f"set {bearing_figure(first, 'deg')} {source}" in " ".join(words)


def test_the_front_names_where_the_day_begins(monkeypatch, sample_day) -> None:
    """The rows name where legs end; the start stood in the appendix alone."""
    card = make_card(sample_day, CHOSEN)
    words = [box[4] for box in drawn(monkeypatch, card, "a5", appendix=False).boxes]
    front = " ".join(words[: words.index("magnetic")])
    assert f"From Hjarnavoe Foot, {card.legs[0].from_place.reference}. Grid: British" in front


@pytest.mark.parametrize("page", ["a4", "letter", "a5"])
def test_the_front_has_what_times_rest_on_before_the_norths(monkeypatch, sample_day, page: str) -> None:
    """Nineteen latest times pushed out that no time was added for snow, for which no other part had room."""
    card = make_card(sample_day, CHOSEN)
    boxes = drawn(monkeypatch, card, page, appendix=False).boxes
    front = " ".join(box[4] for box in boxes[: [box[4] for box in boxes].index("magnetic")])
    for words in card.time_words[:4]:
        assert words in front


def test_a_leg_of_many_places_names_them_in_letters_as_large_as_any(monkeypatch, sample_day) -> None:
    """Nine on a leg had stood in 6 points."""
    card = make_card(sample_day, CHOSEN)
    one = card.places[0]
    ends = {leg: replace(one.from_, leg=leg) for leg in (1, 5)}
    legs = {name: 1 if name == "C" else 5 for name in "BCDEFGHIKL"}
    many = tuple(replace(one, name=name, from_=ends[leg], to=ends[leg]) for name, leg in legs.items())
    assert letters_at(many, 5) == ["B", "D-L"]
    found = drawn(monkeypatch, replace(card, places=many), "a4", appendix=False)
    sizes = {box[4]: size for size, box in zip(found.sizes_pt, found.boxes, strict=True)}
    assert sizes["B D-L"] == 11.0
    assert min(found.sizes_pt) >= 8.0 - 1e-9


def test_times_and_heights_over_unknown_ground_are_no_figures_alone(monkeypatch, sample_day) -> None:
    """The line of a leg had "27 min" where the day had "at least", and a slope distance for a height."""
    card = make_card(sample_day, CHOSEN)
    unknown = [leg.number for leg in card.legs if leg.time_at_least]
    assert unknown
    assert unknown[0] > 1
    last = card.legs[unknown[0] - 1]
    assert last.ground is not None
    blind = replace(last, ground=replace(last.ground, elevation_end_m=None), ascent_at_least=True)
    legs = tuple(blind if leg is last else leg for leg in card.legs)
    found = drawn(monkeypatch, replace(card, legs=legs), "a4", appendix=False)
    words = [box[4] for box in found.boxes]
    clocks = [leg.arrival_text.split(" ")[0] for leg in legs]
    assert f"{minutes_text(blind.time_min)}+" in words
    assert {f"{clock}+" for clock in clocks[unknown[0] - 1 :]} <= set(words)
    assert set(clocks[: unknown[0] - 1]) <= set(words)
    assert "at least | unknown" in words
    assert min(found.sizes_pt) >= 8.0 - 1e-9


def test_arrivals_after_unknown_ground_are_at_least_in_every_output(sample_day) -> None:
    """The leg after had "there 13:35" on phone, terminal and report, where the day's end had "at least"."""
    card = make_card(sample_day, CHOSEN)
    first = next(leg.number for leg in card.legs if leg.time_at_least)
    # Who may be later has no more light than that.
    assert all(leg.daylight_text.startswith("at most ") == (leg.number >= first) for leg in card.legs)
    lines = terminal_text(card_document(card), 120).split("\n")
    assert f", {card.legs[-1].daylight_text}" in " ".join(" ".join(lines).split())
    page = as_worded(phone_page(card, None))
    assert first < len(card.legs)
    for leg in card.legs:
        least = "at least " if leg.number >= first else ""
        there = f"there {least}{leg.arrival_text}, {leg.daylight_text}"
        assert f"{there}<" in page
        assert f"{there}." in day_words(leg, card)[0]
    for leg in card.legs[first - 1 :]:
        (cells,) = [line for line in lines if leg.arrival_text in line and "arrive" not in line]
        assert "at least" in lines[lines.index(cells) - 1]


def test_where_the_sun_does_not_rise_every_hour_is_after_sunset_on_a_phone() -> None:
    found = []
    for date in (dt.date(2027, 1, 1), dt.date(2027, 3, 21), dt.date(2027, 6, 21)):
        settings = CardSettings(date, zone="Europe/Oslo")
        page = phone_page(card_between(Place(70.0, 20.0), Place(70.01, 20.0), settings), None)
        dark = re.search(r'"dark_from": ?(null|"[^"]+")', page)
        assert dark is not None
        found.append(None if dark[1] == "null" else dt.datetime.fromisoformat(dark[1].strip('"')))
    night, spring, summer = found
    assert night is not None
    assert night.date() < dt.date(2027, 1, 1)
    assert spring is not None
    assert (spring.date(), spring.hour) == (dt.date(2027, 3, 21), 18)
    assert summer is None


def test_paper_phone_terminal_and_log_word_a_check_alike(monkeypatch, sample_day) -> None:
    """The card had "expect 28.0°", and "above 27° treat as steeper", which contradicts itself."""
    card = make_card(sample_day, CHOSEN)
    paper = " ".join(box[4] for box in drawn(monkeypatch, card, "a4", appendix=False).boxes)
    checks = [check for leg in card.legs for check in leg.checks]
    assert checks
    for check in checks:
        words = judged_text(check)
        above = slope(check.expected_deg).text
        assert re.fullmatch(rf"no difference: \S+° to \S+°, but above {above} treat as steeper", words)
        assert words in phone_page(card, None)
        assert not check.leads or words in paper
        before, after = words.split(", but")
        assert before in check_sentence(check)
        assert check_sentence(check).endswith(f", but{after}.")


def test_a_drop_and_cliffs_take_a_line_each_rather_than_smaller_letters(
    monkeypatch: pytest.MonkeyPatch, long_card: RouteCard
) -> None:
    leg = long_card.legs[0]
    assert leg.ground is not None
    leg = replace(leg, ground=replace(leg.ground, drop=DropAtPlace(3.4, 24.2, "left")))
    found = drawn(monkeypatch, replace(long_card, legs=(leg, *long_card.legs[1:])), "a4", appendix=False)
    lines = ["208 m unkn.", "drop of 25 m, 3 m left", "cliff 20 m off, ahead"]
    at = [k for k, box in enumerate(found.boxes) if box[4] in lines][:3]
    assert [found.boxes[k][4] for k in at] == lines
    assert [found.sizes_pt[k] for k in at] == pytest.approx([8.0] * 3)
    below = next(box for box in found.boxes[at[2] :] if box[4] == "2")
    assert below[1] > found.boxes[at[2]][3]


def test_at_most_eight_checks_lead_and_one_of_each_place_before_a_second(sample_day) -> None:
    card = make_card(sample_day, CHOSEN)
    leading = [check.number for leg in card.legs for check in leg.checks if check.leads]
    assert 0 < len(leading) <= 8
    told = [place for place in card.places if place.at_length and place.checks]
    assert all(set(place.checks) & set(leading) for place in told)
    by_place = [set(place.checks) & set(leading) for place in card.places]
    assert max(map(len, by_place)) <= 2


def test_a_place_says_when_one_is_there_and_a_gpx_leads_nobody_to_it(monkeypatch, sample_day) -> None:
    card = make_card(sample_day, CHOSEN)
    words = [box[4] for box in drawn(monkeypatch, card, "a4", appendix=False).boxes]
    start, starts = CHOSEN.start, {}
    for leg in card.legs:
        starts[leg.number], start = start, dt.datetime.fromisoformat(leg.arrival or "")
    for place in card.places:
        if place.at_length:
            (head,) = (word for word in words if word.startswith(f"{place.name}  "))
            begins = starts[place.from_.leg]
            ends = starts.get(place.from_.leg + 1, start)
            shown = re.search(r"about (\d\d):(\d\d)$", head)
            assert shown is not None
            assert begins is not None
            at = begins.replace(hour=int(shown[1]), minute=int(shown[2]), second=0)
            assert begins - dt.timedelta(minutes=1) <= at <= ends
    text = card_gpx(card)
    points = re.findall(r"<wpt .*?</wpt>", text, re.DOTALL)
    assert len(points) == sum(len(leg.checks) for leg in card.legs)
    assert all("Place " not in point for point in points)
    for place in card.places:
        assert f"Place {place.name}, leg" in text


def test_card_and_route_name_the_same_places_without_a_check(monkeypatch, sample_day) -> None:
    """Route once passed over those of unknown ground."""
    places = tuple(
        replace(place, checks=(), kinds=("unknown",), at_length=True) if place.name == "A" else place
        for place in sample_day.places
    )
    found = replace(sample_day, places=places)
    bare = re.search(r"No check: ([A-Z ]+)\.", terminal_text(route_document(found), 1000))
    assert bare is not None
    assert bare[1].startswith("A ")
    words = [box[4] for box in drawn(monkeypatch, make_card(found, CHOSEN), "a4", appendix=False).boxes]
    at, named = "", []
    for word in words:
        head = re.match(r"([A-Z]{1,2})  [A-Z]", word)
        at = head[1] if head else at
        named += [at] if word.endswith("No check.") else []
    assert named == bare[1].split()


def test_bearings_of_places_are_magnetic_on_a_card(sample_day) -> None:
    card = make_card(sample_day, CHOSEN)
    (floor, *_) = [place for place in card.places if "overhead" in place.kinds and place.at_length]
    assert "true" not in floor.words
    shown = re.search(r"towards (\d{3})° magnetic", floor.words)
    assert shown is not None
    true_deg = floor.overhead.bearing_true_deg if floor.overhead else 0.0
    assert int(shown[1]) == round(true_deg - card.legs[floor.from_.leg - 1].declination_deg)


def test_there_is_no_other_page(by_hand: RouteScreening) -> None:
    message = "The paper should be one of a4, letter, a5; got 'a3'. Choose one."
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        card_pdf(make_card(by_hand, CardSettings(DAY)), "a3")


def test_a_second_line_overhead_leaves_room_for_a_pencil(
    monkeypatch: pytest.MonkeyPatch, long_card: RouteCard
) -> None:
    """A pencil needs some 8 mm between the last line of a leg and the dots that it writes on."""
    card = replace(long_card, legs=long_card.legs[:1])
    boxes = drawn(monkeypatch, card, "a5").boxes
    (last,) = (box for box in boxes if box[4].startswith("from outside the zone"))
    (notes,) = (box for box in boxes if box[4] == "notes")
    assert notes[3] - last[3] >= 8.0
