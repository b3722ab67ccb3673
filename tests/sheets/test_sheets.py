"""Teaching sheets on paper: true to size, nothing cropped, cautions on every page."""

from __future__ import annotations

import math
import re
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from reportlab.pdfgen.pathobject import PDFPathObject
from tests.needs import program
from tests.sheets.pdf_lines import (
    level,
    page_contents,
    page_strokes,
    rendered,
    text_boxes,
    type_sizes,
    upright,
    words,
)
from tests.synthetic import Plane, sample_surface

from steybrae.files.model.rasters import open_model
from steybrae.papers import PAPERS_MM
from steybrae.sheets.field import field_pdf
from steybrae.sheets.first import first_pdf, teacher_pdf
from steybrae.sheets.practice import key_pdf, marking_line, practice_pdf
from steybrae.sheets.scale import COMB_LINE_MM, error_pdf, scale_pdf
from steybrae.sheets.true_size import PT_PER_MM, Canvas
from steybrae.teach.field_sheet import field_sheet
from steybrae.teach.first_lesson import first_lesson
from steybrae.teach.map_ground import MapLook
from steybrae.teach.practice import PracticeSheet, practice_sheet
from steybrae.teach.slope_scale import error_sheet, map_scale, scale_sheet
from steybrae.terrain.dem import Dem

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)
MAPS = [
    (25_000.0, 10.0, 5),
    (50_000.0, 10.0, 5),
    (24_000.0, 12.192, 5),
    (1_000.0, 10.0, None),
    (250_000.0, 50.0, 4),
]


def scales(paper: str = "a4") -> bytes:
    maps = [map_scale(scale, interval_m, index_every=every) for scale, interval_m, every in MAPS]
    return scale_pdf(scale_sheet(maps), paper=paper)


def poppler(name: str, *arguments: str | Path) -> str:
    found = program(name, package="poppler-utils")
    return subprocess.run([found, *arguments], check=True, capture_output=True).stdout.decode("utf-8")


SHEETS: dict[str, Callable[[str], bytes]] = {
    "scale": scales,
    "error": lambda paper: error_pdf(error_sheet(25_000.0, 10.0), paper=paper),
    "first": lambda paper: first_pdf(first_lesson(), paper=paper),
    "teacher": lambda paper: teacher_pdf(first_lesson(), paper=paper),
    "field": lambda paper: field_pdf(field_sheet(), paper=paper),
}


@cache
def sheet(kind: str, paper: str) -> bytes:
    """A sheet, drawn once for all that is asked of it."""
    return SHEETS[kind](paper)


@pytest.mark.parametrize("kind", SHEETS)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_page_has_both_bars_of_100_mm_and_nothing_cropped(kind: str, paper: str) -> None:
    pdf = sheet(kind, paper)
    size = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert size is not None
    width_mm, height_mm = (float(part) * 25.4 / 72.0 for part in size.groups())
    pages = page_strokes(pdf)
    assert pages
    for strokes in pages:
        assert any(abs(abs(s.ends[2] - s.ends[0]) - 100.0) < 0.001 for s in level(strokes))
        assert any(abs(abs(s.ends[3] - s.ends[1]) - 100.0) < 0.001 for s in upright(strokes))
        x, y = np.array([point for s in strokes for point in s.points]).T
        assert x.min() > 5.0
        assert x.max() < width_mm - 5.0
        assert y.min() > 5.0
        assert y.max() < height_mm - 5.0


@pytest.mark.parametrize("kind", SHEETS)
def test_cautions_stand_on_every_page_and_no_verdict(kind: str, tmp_path: Path) -> None:
    pdf = sheet(kind, "a4")
    text = words(pdf, tmp_path)
    assert text.count("A lesson is not a field decision.") == len(page_strokes(pdf))
    assert text.count("local avalanche forecast") == len(page_strokes(pdf))
    assert not VERDICT.search(text)
    assert b"/Subject (These are angles of ground" in pdf


@pytest.mark.parametrize("kind", SHEETS)
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_text_lies_on_another_or_leaves_the_page(kind: str, paper: str, tmp_path: Path) -> None:
    pdf = sheet(kind, paper)
    width_mm, height_mm = PAPERS_MM[paper][:: -1 if kind == "field" else 1]
    for boxes in text_boxes(pdf, tmp_path):
        for number, (text, (x0, y0, x1, y1)) in enumerate(boxes):
            assert x0 > 5.0
            assert x1 < width_mm - 5.0, text
            assert y0 > 5.0
            assert y1 < height_mm - 5.0
            for other, (u0, v0, u1, v1) in boxes[number + 1 :]:
                # Boxes are as high as the face allows, higher than any letter.
                across, up = min(x1, u1) - max(x0, u0), min(y1, v1) - max(y0, v0)
                assert across < 0.2 or up < 0.35 * min(y1 - y0, v1 - v0), (text, other)


@pytest.mark.parametrize("kind", SHEETS)
def test_every_text_is_tagged_in_order_and_every_font_embedded(kind: str, tmp_path: Path) -> None:
    pdf = sheet(kind, "a4")
    source = tmp_path / "sheet.pdf"
    source.write_bytes(pdf)
    read = poppler("pdfinfo", "-struct-text", source)
    assert re.match(
        r'Document\n  H1 \(block\)\n    "[^"]+"\n  P \(block\)\n    "Angles, not a judgement', read
    )
    tagged = set(" ".join(re.findall(r'^ +"(.*)"$', read, re.MULTILINE)).split())
    drawn = set(poppler("pdftotext", "-raw", source, "-").split())
    # Not read are the numbers of the pages, the figures at the bars and how to print.
    passed_over = "page 1 2 3 0 50 100 Print at % (actual size); both bars must measure 100 mm."
    assert drawn - tagged <= set(passed_over.split())
    assert tagged <= drawn
    fonts = poppler("pdffonts", source).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5] == "yes" for line in fonts), fonts


@pytest.mark.parametrize("kind", SHEETS)
def test_no_letter_is_smaller_than_6_points(kind: str) -> None:
    assert min(type_sizes(sheet(kind, "a4"))) >= 6.0


@pytest.mark.parametrize("kind", SHEETS)
def test_the_same_sheet_is_the_same_bytes(kind: str) -> None:
    assert SHEETS[kind]("a4") == sheet(kind, "a4")


def test_paths_hold_the_numbers_that_reportlab_writes() -> None:
    numbers = np.random.default_rng(1).uniform(-3.0, 3.0, 2000)
    places = [(x, -x) for x in [*(np.sign(numbers) * 10.0 ** np.abs(numbers)).tolist(), 0.0, 1.0, 100.0]]
    path: Any = PDFPathObject()
    path.moveTo(0.0, 0.0)
    for x, y in places:
        path.lineTo(x * PT_PER_MM, y * PT_PER_MM)
    canvas = Canvas((200.0, 200.0), "", "")
    canvas.path([(0.0, 0.0), *places])
    (content,) = page_contents(canvas.finish())
    assert path.getCode() in content


def test_combs_in_the_pdf_have_the_gaps_of_the_map() -> None:
    pdf = scale_pdf(scale_sheet([map_scale(25_000.0, 10.0, index_every=5)]))
    (strokes,) = page_strokes(pdf)
    lines = [s for s in upright(strokes) if abs(abs(s.ends[3] - s.ends[1]) - COMB_LINE_MM) < 1e-4]
    above = sorted(s.ends[0] for s in lines if s.ends[3] < s.ends[1])
    below = sorted(s.ends[0] for s in lines if s.ends[3] > s.ends[1])
    edges = 3
    for at, slopes, spaces, interval_m in (
        (above, (10, 15, 20, 25, 30, 35, 40, 45), 5, 10.0),
        (below, (10, 15, 20, 25, 30, 35, 40, 45, 55), 2, 50.0),
    ):
        # The page is filled with spare edges, one below the other.
        assert len(at) == edges * len(slopes) * (spaces + 1)
        assert np.ptp(np.array(at).reshape(-1, edges), axis=1).max() < 1e-6
        for slope_deg, comb in zip(slopes, np.array(at[::edges]).reshape(len(slopes), -1), strict=True):
            gap_mm = interval_m / 25.0 / math.tan(math.radians(slope_deg))
            assert np.diff(comb) == pytest.approx([gap_mm] * spaces, abs=0.001)


def test_a_set_of_maps_has_an_edge_and_a_card_for_each_and_nothing_crosses_a_text(tmp_path: Path) -> None:
    maps = [map_scale(scale, interval_m) for scale, interval_m, _ in MAPS[:3]]
    pdf = scale_pdf(scale_sheet(maps))
    for one in maps:
        assert words(pdf, tmp_path).count(one.name) >= 3  # its edge, its card, its notes
    boxes = text_boxes(pdf, tmp_path)
    for number, strokes in enumerate(page_strokes(pdf)):
        marks = [s for s in strokes if len(s.points) == 2 and s.width_mm == pytest.approx(0.1, abs=0.01)]
        assert marks
        for mark in marks:
            for text, (x0, y0, x1, y1) in boxes[number]:
                crossed = all(
                    min(a, b) < high and max(a, b) > low
                    for a, b, low, high in (
                        (mark.ends[0], mark.ends[2], x0, x1),
                        (mark.ends[1], mark.ends[3], y0, y1),
                    )
                )
                assert not crossed, (text, mark)


def test_wedges_in_the_pdf_close_in_as_the_map_does() -> None:
    one = map_scale(25_000.0, 10.0, index_every=5)
    assert one.wedge is not None
    (strokes,) = page_strokes(scale_pdf(scale_sheet([one])))
    curves = [s for s in strokes if len(s.points) == len(one.wedge.slopes_deg)]
    assert len(curves) == 2 * 6  # the row of cards is filled with a second one
    first, last = curves[0], curves[5]
    for (x0, y0), (x1, y1), slope_deg in zip(first.points, last.points, one.wedge.slopes_deg, strict=True):
        assert y0 == pytest.approx(y1, abs=1e-6)
        assert x1 - x0 == pytest.approx(2.0 / math.tan(math.radians(slope_deg)), abs=0.001)


def test_a_rendering_at_600_dpi_is_true_to_size(tmp_path: Path) -> None:
    dpi = 600
    pdf = scale_pdf(scale_sheet([map_scale(10_000.0, 10.0)]))
    (strokes,) = page_strokes(pdf)
    picture = rendered(pdf, tmp_path, dpi)
    per_mm = dpi / 25.4
    bar = next(s for s in level(strokes) if abs(s.ends[2] - s.ends[0] - 100.0) < 0.001)
    # A row of pixels through the small ticks above the bar: 11 of them, 10 mm apart.
    row = round(picture.shape[0] - (bar.ends[1] + 0.7) * per_mm)
    ticks = _dark_runs(picture[row, : round((bar.ends[2] + 1.0) * per_mm)]) / per_mm
    ticks = ticks[ticks > bar.ends[0] - 1.0]
    assert len(ticks) == 11
    assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=0.1)
    assert np.diff(ticks) == pytest.approx([10.0] * 10, abs=0.05)
    # Five gaps of 10 m on 1:10 000 at 30 degrees are 8.66 mm.
    combs = [s for s in upright(strokes) if abs(abs(s.ends[3] - s.ends[1]) - COMB_LINE_MM) < 1e-4]
    row = round(picture.shape[0] - (combs[0].ends[1] - 3.0) * per_mm)
    drawn = _dark_runs(picture[row]) / per_mm
    expected = np.array([s.ends[0] for s in combs])
    nearest = np.abs(drawn[:, None] - expected[None, :]).min(axis=0)
    assert nearest.max() < 0.1


def _dark_runs(row: np.ndarray) -> np.ndarray:
    """Middles of the runs of dark pixels, in pixels from the left edge."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (row < 128).astype(np.int8), [0]))))
    return edges.reshape(-1, 2).mean(axis=1)


def test_the_log_has_a_column_for_each_of_its_names(tmp_path: Path) -> None:
    text = words(field_pdf(field_sheet()), tmp_path)
    for part in ("time", "observer", "instrument", "place", "check", "note", "readings_deg"):
        assert part in text


@pytest.fixture(scope="module")
def massif() -> Dem:
    with open_model([Path(__file__).parents[2] / "sample_dem" / "stey_massif.tif"], None) as model:
        return model.read(0, 0, *model.grid.shape)


def test_pupils_get_maps_and_questions_and_the_teacher_a_key(massif: Dem, tmp_path: Path) -> None:
    def made(seed: int) -> PracticeSheet:
        return practice_sheet(
            massif, MapLook(25_000.0, 10.0), seed=seed, sample=True, source_words="the sample"
        )

    sheets = [made(7), made(8)]
    pdf = practice_pdf(sheets)
    assert pdf == practice_pdf([made(7), made(8)])
    assert len(page_strokes(pdf)) == 4
    text, key = words(pdf, tmp_path), words(key_pdf(sheets), tmp_path)
    assert text.count("A lesson is not a field decision.") == 4
    assert text.count("no such ground") == 4
    assert not VERDICT.search(text + key)
    assert "Accept" not in text
    for sheet in sheets:
        assert f"seed {sheet.seed}" in text
        assert f"Seed {sheet.seed}" in key
        for question in sheet.questions:
            assert question.ask[:30] in text
            assert marking_line(question) in key
            for part in question.parts:
                assert part.worked in key
                assert part.worked not in text


def test_what_could_not_be_asked_is_told_to_the_teacher_alone(tmp_path: Path) -> None:
    """Pupils had been told to choose another place, scale or seed."""
    gentle = sample_surface(Plane(5.0, 90.0), (160, 160), 10.0)
    sheet = practice_sheet(gentle, MapLook(25_000.0, 10.0), seed=1, questions=8)
    assert sheet.notes
    text, key = (words(pdf, tmp_path) for pdf in (practice_pdf([sheet]), key_pdf([sheet])))
    for note in sheet.notes:
        assert note in key
        assert note not in text


def test_contours_of_a_plane_on_paper_and_at_600_dpi(tmp_path: Path) -> None:
    """Thick lines of 50 m on a plane of 30 degrees facing east: 3.46 mm apart at 1:25 000."""
    dem = sample_surface(Plane(30.0, 90.0), (600, 600), 10.0)
    sheet = practice_sheet(dem, MapLook(25_000.0, 10.0), seed=1, questions=1)
    pdf = practice_pdf([sheet])
    strokes = page_strokes(pdf)[0]
    thick = sorted(s.points[0][0] for s in strokes if abs(s.width_mm - 0.25) < 1e-3 and len(s.points) > 100)
    gap_mm = 2.0 * math.sqrt(3.0) / 0.9996  # UTM's scale at its central meridian
    assert len(thick) > 30
    assert np.diff(thick) == pytest.approx([gap_mm] * (len(thick) - 1), abs=0.001)
    assert abs((thick[-1] - thick[0]) - gap_mm * (len(thick) - 1)) < 0.1
    dpi, per_mm = 600, 600 / 25.4
    picture = rendered(pdf, tmp_path, dpi)
    # Rows of pixels across the map; a row that meets no letter or number has every thick line.
    for height_mm in np.arange(120.0, 240.0, 7.3):
        dark = _wide_runs(picture[round(picture.shape[0] - height_mm * per_mm)], 4) / per_mm
        inside = [x for x in thick if 25.0 < x < 180.0]
        away = np.abs(dark[:, None] - np.array(inside)[None, :]).min(axis=0)
        if away.max() < 0.5:
            assert away.max() < 0.06
            break
    else:
        pytest.fail("no row of the picture shows every thick contour")


def _wide_runs(row: np.ndarray, least: int) -> np.ndarray:
    """Middles of the runs of dark pixels of at least some width."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (row < 170).astype(np.int8), [0])))).reshape(-1, 2)
    return edges[(edges[:, 1] - edges[:, 0]) >= least].mean(axis=1)


def test_the_notes_below_a_map_in_feet_stand_on_the_paper(massif: Dem, tmp_path: Path) -> None:
    """A bar of 5000 ft is 63 mm long."""
    look = MapLook(24_000.0, 12.192, 5, 0.3048, "ft")
    sheet = practice_sheet(massif, look, seed=1, questions=2)
    assert sheet.furniture.bar_m == pytest.approx(5000 * 0.3048)
    boxes = text_boxes(practice_pdf([sheet]), tmp_path)[0]
    assert {"ft", "kilometres", "ticks,"} <= {text for text, _ in boxes}
    assert max(x1 for _, (_, _, x1, _) in boxes) < 205.0
