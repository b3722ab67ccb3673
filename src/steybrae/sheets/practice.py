"""Practice sheets: for pupils a map true to scale and its questions; for the teacher the key."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.sheets.true_size import MUTED, SMALL_PT, Colour, Sheet, box
from steybrae.teach.answers import LegLine, Question, accepted_text, run_value
from steybrae.teach.practice import LEADER_MM, LETTER_MM, PracticeSheet
from steybrae.teach.stretches import Stretch
from steybrae.value import rise, slope

CONTOUR_INK: Final[Colour] = (0.36, 0.30, 0.24)
GRID_INK: Final[Colour] = (0.55, 0.62, 0.70)
MARK_INK: Final[Colour] = (0.0, 0.12, 0.45)
"""Brown-grey for the ground, blue-grey for the grid, dark blue for what is asked; all of them
apart from each other in a grey print (our choice)."""

THIN_MM: Final = 0.1
THICK_MM: Final = 0.25
GRID_MM: Final = 0.1
"""Widths of lines, mm: 0.1 is what fine printed contours have (common practice, no source)."""

TICK_MM: Final = 1.6
"""Length of a tick to either side of a stretch, mm (our choice)."""

HATCH_STEP_MM: Final = 1.6
LABEL_PT: Final = SMALL_PT
LETTER_PT: Final = 9.0


def practice_pdf(results: Sequence[PracticeSheet], *, paper: str = "a4") -> bytes:
    """Draw map and questions of each pupil's copy, without an answer; the same for the same sheets."""
    sheet = Sheet(f"Slope from contours: {results[0].level}", results[0].cautions, paper=paper)
    for number, result in enumerate(results):
        if number:
            sheet.new_page()
        top = _head(sheet, result)
        letters = ", ".join(question.letter for question in result.questions)
        with sheet.read_as("Figure", f"Contour map, seed {result.seed}, with stretches and legs {letters}"):
            _map(sheet, result, sheet.left_mm + 1.0, top - 3.0 - result.ground.height_mm)
        _margin(sheet, result, sheet.left_mm + 1.0, top - 3.0 - result.ground.height_mm)
        sheet.new_page()
        _questions(sheet, result)
    return sheet.finish()


def key_pdf(results: Sequence[PracticeSheet], *, paper: str = "a4") -> bytes:
    """Draw the teacher's key: a line for each answer of every copy, then the way to each.

    Copies are told apart by their seeds, which stand on the maps. The same bytes for the same
    sheets.
    """
    sheet = Sheet(f"Slope from contours, answers: {results[0].level}", results[0].cautions, paper=paper)
    _marking(sheet, results)
    for result in results:
        sheet.new_page()
        _answers(sheet, result)
    return sheet.finish()


def _marking(sheet: Sheet, results: Sequence[PracticeSheet]) -> None:
    """Write what to accept, an answer a line, for marking at a glance."""
    width = sheet.across_mm
    y = sheet.across(
        sheet.top_mm - 1.0,
        "Key for marking: what to accept on each line of the pupil's sheet, in its order. The ways follow.",
        size_pt=8,
        bold=True,
    )
    for result in results:
        lines = [(question.letter, marking_line(question)) for question in result.questions]
        heights = [3.9 * len(sheet.wrapped(text, width - 8.0, 8)) for _, text in lines]
        y = sheet.room(y, y - sum(heights) - 8.0, 1.0)
        y = sheet.across(y - 2.0, f"Seed {result.seed}", size_pt=8, bold=True)
        for letter, text in lines:
            with sheet.read_as("P"):
                sheet.text(sheet.left_mm, y - 2.9, letter, size_pt=8, bold=True, ink=MARK_INK)
                y = sheet.paragraph(sheet.left_mm + 8.0, y, width - 8.0, text, size_pt=8) - 0.2


def marking_line(question: Question) -> str:
    """Say in a line what to accept for a question."""
    return accepted_text(question.blanks, question.parts)


def _head(sheet: Sheet, result: PracticeSheet) -> float:
    y = sheet.top_mm - 3.4
    thick = (
        f"every {_nth(result.look.index_every)} one thick; heights in {result.look.unit}, their tops uphill"
    )
    sheet.text(sheet.left_mm, y, f"{result.look.name}, {thick}.", size_pt=7.5)
    sheet.text(sheet.right_mm, y, f"seed {result.seed}", size_pt=SMALL_PT, align="right", ink=MUTED)
    if result.source:
        y -= 3.6
        source = f"Ground: {result.source}, cells of {rise(result.ground.cell_m).short}."
        sheet.text(sheet.left_mm, y, source, size_pt=7.5)
    return y


def _nth(number: int) -> str:
    return {2: "2nd", 3: "3rd"}.get(number, f"{number}th")


def _map(sheet: Sheet, result: PracticeSheet, x: float, y: float) -> None:
    """Draw the map with its lower left corner at a place."""
    ground, around = result.ground, result.furniture
    sheet.clip(box(x, y, ground.width_mm, ground.height_mm))
    sheet.shift(x, y)
    for line in around.upright:
        sheet.line(line.at_mm, 0.0, line.at_mm, ground.height_mm, GRID_MM, ink=GRID_INK)
    for line in around.level:
        sheet.line(0.0, line.at_mm, ground.width_mm, line.at_mm, GRID_MM, ink=GRID_INK)
    for contour in result.lines:
        for points in contour.lines:
            if len(points) > 1:
                width = THICK_MM if contour.thick else THIN_MM
                sheet.path(points, width, ink=CONTOUR_INK)
    _unknown(sheet, result)
    _heights(sheet, result)
    for question in result.questions:
        if question.stretch is not None:
            _stretch(sheet, question.stretch, question.letter, question.ticks_mm)
        elif question.leg_line is not None:
            _leg(sheet, question.leg_line, question.letter)
    sheet.unshift()
    sheet.unclip()
    sheet.box(x, y, ground.width_mm, ground.height_mm, 0.25)
    for line in around.upright:
        sheet.text(x + line.at_mm, y - 2.6, line.text, size_pt=SMALL_PT, align="middle", ink=MUTED)
    for line in around.level:
        right = x + ground.width_mm
        sheet.text(right + 0.8, y + line.at_mm - 0.8, line.text, size_pt=SMALL_PT, ink=MUTED)


def _unknown(sheet: Sheet, result: PracticeSheet) -> None:
    """Cross-hatch ground without heights: unknown is not gentle."""
    patches = result.ground.unknown
    if result.ground.known_share == 1.0:
        return
    for corners in patches:
        sheet.path(corners, 0.0, fill=(1.0, 1.0, 1.0), closed=True)
    sheet.clip(*patches)
    width, height = result.ground.width_mm, result.ground.height_mm
    for k in range(math.ceil((width + height) / HATCH_STEP_MM)):
        at = k * HATCH_STEP_MM
        sheet.line(at, 0.0, at - height, height, 0.12)
        sheet.line(at - height, 0.0, at, height, 0.12)
    sheet.unclip()


def _heights(sheet: Sheet, result: PracticeSheet) -> None:
    """Write numbers on thick contours, their tops uphill, and tops."""
    for label in result.furniture.labels:
        half = sheet.text_width_mm(label.text, LABEL_PT) / 2.0 + 0.25
        turn = math.radians(label.turn_deg)
        along, up = (math.cos(turn), math.sin(turn)), (-math.sin(turn), math.cos(turn))
        corners = [
            (label.x_mm + a * along[0] + b * up[0], label.y_mm + a * along[1] + b * up[1])
            for a, b in ((-half, -0.9), (half, -0.9), (half, 0.9), (-half, 0.9))
        ]
        sheet.path(corners, 0.0, fill=(1.0, 1.0, 1.0), closed=True)
        base = (label.x_mm - 0.75 * up[0], label.y_mm - 0.75 * up[1])
        sheet.text(
            *base, label.text, size_pt=LABEL_PT, align="middle", turn_deg=label.turn_deg, ink=CONTOUR_INK
        )
    for spot in result.furniture.spots:
        width = sheet.text_width_mm(spot.text, LABEL_PT)
        sheet.box(spot.x_mm + 0.5, spot.y_mm - 0.9, width + 0.5, 1.9, 0.0, fill=(1.0, 1.0, 1.0))
        sheet.box(spot.x_mm - 0.3, spot.y_mm - 0.3, 0.6, 0.6, 0.0, fill=(0.0, 0.0, 0.0))
        sheet.text(spot.x_mm + 0.7, spot.y_mm - 0.75, spot.text, size_pt=LABEL_PT)


def _stretch(sheet: Sheet, stretch: Stretch, letter: str, ticks_mm: Sequence[float]) -> None:
    """Draw a stretch: arrows from outside end on its first and last contour, nothing hides the lines.

    A tick stands across it at both ends, and between the parts that are asked for.
    """
    length = stretch.length_mm
    sheet.line(*stretch.at(0.0), *stretch.at(length), 0.1, ink=MARK_INK, dash_mm=(0.5, 0.5))
    for end, away in ((0.0, -1.0), (length, 1.0)):
        sheet.line(*stretch.at(end), *stretch.at(end + away * LEADER_MM), 0.22, ink=MARK_INK)
        tip = [stretch.at(end), stretch.at(end + away * 1.1, 0.38), stretch.at(end + away * 1.1, -0.38)]
        sheet.path(tip, 0.0, fill=MARK_INK, closed=True)
    for tick in ticks_mm:
        sheet.line(*stretch.at(tick, -TICK_MM), *stretch.at(tick, TICK_MM), 0.1, ink=MARK_INK)
    _letter(sheet, *stretch.at(-LETTER_MM), letter)


def _leg(sheet: Sheet, leg: LegLine, letter: str) -> None:
    x0, y0 = leg.start_mm
    east, north = arrow(sheet, (leg.start_mm, leg.end_mm), 0.25, 2.0, 0.7)
    ring = [
        (x0 + 0.9 * math.cos(math.radians(deg)), y0 + 0.9 * math.sin(math.radians(deg)))
        for deg in range(0, 360, 15)
    ]
    sheet.path(ring, 0.22, ink=MARK_INK, closed=True)
    _letter(sheet, x0 - LETTER_MM * east, y0 - LETTER_MM * north, letter)


def arrow(
    sheet: Sheet, line: Sequence[tuple[float, float]], width_mm: float, head_mm: float, half_mm: float
) -> tuple[float, float]:
    """Draw a line with a head, of a length and half a width, at its end; its direction east and north."""
    (x0, y0), (x1, y1) = line
    size = math.hypot(x1 - x0, y1 - y0)
    east, north = (x1 - x0) / size, (y1 - y0) / size
    sheet.line(x0, y0, x1, y1, width_mm, ink=MARK_INK)
    sides = ((x1 - head_mm * east + s * north, y1 - head_mm * north - s * east) for s in (half_mm, -half_mm))
    sheet.path([(x1, y1), *sides], 0.0, fill=MARK_INK, closed=True)
    return east, north


def _letter(sheet: Sheet, x: float, y: float, letter: str) -> None:
    half = sheet.text_width_mm(letter, LETTER_PT, bold=True) / 2.0 + 0.5
    sheet.box(x - half, y - 1.7, 2.0 * half, 3.4, 0.0, fill=(1.0, 1.0, 1.0))
    sheet.text(x, y - 1.15, letter, size_pt=LETTER_PT, bold=True, align="middle", ink=MARK_INK)


def _margin(sheet: Sheet, result: PracticeSheet, x: float, y: float) -> None:
    """Draw the scale bar and north below the map."""
    y -= 8.6
    bar_mm = result.furniture.bar_m * 1000.0 / result.look.scale
    part = bar_mm / 5.0
    for k in range(5):
        sheet.box(x + k * part, y, part, 1.5, 0.15, fill=(0.0, 0.0, 0.0) if k % 2 == 0 else (1.0, 1.0, 1.0))
    for k in (0, 1, 5):
        length = result.furniture.bar_m / result.look.unit_m * k / 5
        text = f"{length:.6g}" + (f" {result.look.unit}" if k == 5 else "")
        sheet.text(x + k * part, y + 2.2, text, size_pt=SMALL_PT, align="middle")
    x += bar_mm + 14.0
    sheet.path([(x, y), (x, y + 4.5)], 0.25)
    sheet.path([(x, y + 5.4), (x - 0.8, y + 3.4), (x + 0.8, y + 3.4)], 0.0, fill=(0.0, 0.0, 0.0), closed=True)
    notes = [
        "Grid: true north, kilometres from the lower left corner.",
        "Measure between the cross ticks, contour to contour.",
    ]
    if result.ground.known_share < 1.0:
        notes.append("Cross-hatched: heights unknown, which is not gentle.")
    for number, note in enumerate(notes):
        sheet.text(x + 2.4, y + 2.8 - 2.6 * number, note, size_pt=SMALL_PT)


def _questions(sheet: Sheet, result: PracticeSheet) -> None:
    width = sheet.across_mm
    top = sheet.top_mm - 4.0
    blanks(sheet, ("Name", "Date", "Map"), sheet.left_mm, top, width)
    look = result.look
    unit = f" 1 mm is {run_value(look.metres(1.0), look).short}." if look.unit != "m" else ""
    y = sheet.across(
        top - 3.0,
        "Measure on the map with a ruler or a slope scale. Slope = atan(height gained / distance on "
        "the ground). Bands: <25, 25-30, 30-35, 35-40, 40-45, 45-55, 55+ degrees." + unit,
        size_pt=8,
    )
    y -= 3.0
    for question in result.questions:
        lines = sheet.wrapped(question.ask, width - 10.0, 8.5)
        y = sheet.room(y, y - (4.0 * len(lines) + 14.0))
        with sheet.read_as("P"):
            sheet.text(sheet.left_mm, y - 3.6, question.letter, size_pt=12, bold=True, ink=MARK_INK)
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, question.ask, size_pt=8.5)
        names = tuple(blank.name for blank in question.blanks)
        y = blanks(sheet, names, sheet.left_mm + 10.0, y - 5.5, width - 10.0) - 5.5


def blanks(sheet: Sheet, names: tuple[str, ...], x: float, y: float, width: float) -> float:
    """Rule lines to write on, each after its name."""
    room = width / len(names)
    for number, blank in enumerate(names):
        left = x + number * room
        sheet.text(left, y, blank, size_pt=7, ink=MUTED)
        start = left + sheet.text_width_mm(blank, 7) + 1.5
        sheet.line(start, y - 0.5, left + room - 3.0, y - 0.5, 0.15)
    return y


def _answers(sheet: Sheet, result: PracticeSheet) -> None:
    width = sheet.across_mm
    y = sheet.across(
        sheet.top_mm - 1.0,
        f"Answers, seed {result.seed}. First what to accept: what a length read {RULER_ERROR_MM} mm long or "
        "short gives, and its bands. Then the way, each figure from those before it as printed, lengths down "
        "and slopes up. By model: the ground's own slope under it.",
        size_pt=8,
        bold=True,
    )
    for note in result.notes:
        y = sheet.paragraph(sheet.left_mm, y - 1.0, width, note, size_pt=7.5)
    y -= 2.0
    for question in result.questions:
        lines = _answer_lines(question)
        heights = [3.7 * len(sheet.wrapped(text, width - 10.0, 7.5)) for text, _ in lines]
        y = sheet.room(y, y - sum(heights) - 4.0)
        sheet.text(sheet.left_mm, y - 3.4, question.letter, size_pt=11, bold=True, ink=MARK_INK)
        for text, strong in lines:
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, text, size_pt=7.5, bold=strong) - 0.3
        y -= 2.6


def _answer_lines(question: Question) -> list[tuple[str, bool]]:
    """Lines of an answer, and whether each stands out."""
    lines = [(marking_line(question), True)]
    for part in question.parts:
        name = "" if len(question.parts) == 1 else f"{part.what.capitalize()}: "
        model = f"By model {slope(part.slope_model_deg).text}"
        lines.append((". ".join(filter(None, (f"{name}{part.worked}", model, f"{part.slip}"))) + ".", False))
    leg = question.leg
    if leg is not None:
        lines.append((f"{leg.worked}.", False))
    return [*lines, *((remark, False) for remark in question.remarks)]
