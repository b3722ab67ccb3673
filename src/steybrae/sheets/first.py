"""The sheets of the first lesson: three pages for pupils, one for the teacher; stretches of an own map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.screening.places.find import letters
from steybrae.sheets.practice import CONTOUR_INK, MARK_INK, THICK_MM, THIN_MM, arrow, blanks
from steybrae.sheets.true_size import MUTED, SMALL_PT, Colour, Sheet, box
from steybrae.teach.answers import MOST_BANDS, accepted_text
from steybrae.teach.first_lesson import FirstLesson, Hidden, Ranked, Worked
from steybrae.teach.forms import FormPatch
from steybrae.teach.own_questions import OwnMapSheet
from steybrae.value import slope

LARGER: Final = 12.0
"""How many times larger the example is drawn beside its true size (our choice)."""

SIDE_GROUND_MM: Final = 50.0
"""Width of the example from the side, mm (our choice)."""

COMB_LARGER: Final = 10.0
COMB_SPACES: Final = 5
COMB_INSET_MM: Final = 5.0
"""How a comb in use is drawn: how many times larger, its spaces, its edge's free end, mm (our choice)."""

STEP_MM: Final = 54.0
"""Room for the minutes and the title of a step, mm (our choice)."""


def first_pdf(result: FirstLesson, *, paper: str = "a4") -> bytes:
    """Draw the pupils' pages: the example, the forms, the slopes to rank; the same for the same lesson."""
    sheet = Sheet("Steepness from contours: first lesson", result.cautions, paper=paper)
    _example_page(sheet, result)
    sheet.new_page()
    match_page(sheet, result)
    sheet.new_page()
    rank_page(sheet, result)
    return sheet.finish()


def teacher_pdf(result: FirstLesson, *, paper: str = "a4") -> bytes:
    """Draw the teacher's page: the plan of 45 minutes, and what is right; see `first_pdf`."""
    sheet = Sheet("Steepness from contours: the teacher's page", result.cautions, paper=paper)
    y = _plan(sheet, result, sheet.top_mm - 1.0)
    _key(sheet, result, y - 3.0)
    return sheet.finish()


def _example_page(sheet: Sheet, result: FirstLesson) -> None:
    look, worked = result.look, result.worked
    y = sheet.top_mm - 5.0
    blanks(sheet, ("Name", "Date"), sheet.left_mm, y, sheet.across_mm)
    y = heading(sheet, y - 3.0, f"1. On this map 1 mm is {look.metres(1.0):g} m")
    text = (
        f"{look.name}. Every line joins places of one height; from one to "
        f"the next the ground rises {look.interval_m:g} m. Close lines, steep ground. Every "
        f"{look.index_every}th line is thick."
    )
    y = sheet.across(y, text, size_pt=BODY_PT)
    y = _example(sheet, worked, look.metres(1.0), y - 2.0)
    y = heading(sheet, y - 3.0, "Height gained / distance on the ground, and the slope in degrees")
    y = _tangents(sheet, result.tangents, y)
    y = heading(sheet, y - 3.0, "2. Without reckoning: a comb")
    _combs(sheet, result, y)


def _example(sheet: Sheet, worked: Worked, metres: float, top: float) -> float:
    """Draw the stretch true to size, larger with a ruler, and from the side; write the way."""
    gap = worked.across_mm / worked.gaps
    with sheet.read_as(
        "Figure",
        f"{worked.gaps + 1} contours, {worked.across_mm:g} mm from the first thick one to the next, "
        f"and the same ground from the side: {worked.run_m:g} m along, {worked.rise_m:g} m up.",
    ):
        x = sheet.left_mm
        sheet.text(x, top - 3.0, "true size", size_pt=SMALL_PT, ink=MUTED)
        for k in range(-2, worked.gaps + 3):
            thick = THICK_MM if k % worked.gaps == 0 else THIN_MM
            sheet.line(x + 4.0 + k * gap, top - 5.0, x + 4.0 + k * gap, top - 30.0, thick, ink=CONTOUR_INK)
        _larger(sheet, worked, x + 18.0, top)
        _from_the_side(sheet, worked, x + 118.0, top)
    y = top - 36.0
    gradient = worked.rise_m / worked.run_m
    for number, text in enumerate(
        (
            f"Measure from thick line to thick line: {worked.across_mm:g} mm.",
            f"On the ground: {worked.across_mm:g} x {metres:g} m = {worked.run_m:g} m.",
            f"Count gaps, not lines: {worked.gaps} gaps of {worked.rise_m / worked.gaps:g} m = "
            f"{worked.rise_m:g} m up.",
            f"Divide: {worked.rise_m:g} / {worked.run_m:g} = {gradient:.3f}. In the table it lies "
            f"between two lines; take the steeper: {math.ceil(worked.slope_deg)}° (worked out "
            f"{slope(worked.slope_deg).text}).",
        ),
        start=1,
    ):
        sheet.text(sheet.left_mm, y - 3.2, f"{number}.", size_pt=BODY_PT, bold=True, ink=MARK_INK)
        y = sheet.paragraph(sheet.left_mm + 7.0, y, sheet.across_mm - 7.0, text, size_pt=BODY_PT)
    return y


def _larger(sheet: Sheet, worked: Worked, x: float, top: float) -> None:
    """Draw the gaps larger, with a ruler whose ticks are millimetres of paper."""
    gap = LARGER * worked.across_mm / worked.gaps
    left = x + gap
    sheet.text(x, top - 3.0, f"{LARGER:g} times larger", size_pt=SMALL_PT, ink=MUTED)
    for k in range(-1, worked.gaps + 2):
        thick = 0.7 if k % worked.gaps == 0 else 0.25
        sheet.line(left + k * gap, top - 5.0, left + k * gap, top - 30.0, thick, ink=CONTOUR_INK)
    whole_mm = math.ceil(worked.across_mm)
    length = LARGER * (whole_mm + 0.5)
    sheet.box(left, top - 22.0, length, 9.0, 0.25, fill=(1.0, 1.0, 1.0))
    for tenth in range(10 * whole_mm + 5):
        at = left + LARGER * tenth / 10.0
        reach = 3.6 if tenth % 10 == 0 else 2.4 if tenth % 5 == 0 else 1.4
        sheet.line(at, top - 13.0, at, top - 13.0 - reach, 0.15)
        if tenth % 10 == 0:
            sheet.text(at + 0.6, top - 20.4, f"{tenth // 10}", size_pt=7)
    end = left + LARGER * worked.across_mm
    sheet.path(
        [(end, top - 13.0), (end - 1.1, top - 10.4), (end + 1.1, top - 10.4)], 0.0, fill=MARK_INK, closed=True
    )
    sheet.text(left + length + 1.5, top - 18.5, "mm", size_pt=7)


def _from_the_side(sheet: Sheet, worked: Worked, x: float, top: float) -> None:
    wide = SIDE_GROUND_MM
    per = wide / worked.run_m
    foot = top - 28.0
    tall = worked.rise_m * per
    sheet.text(x, top - 3.0, "from the side", size_pt=SMALL_PT, ink=MUTED)
    sheet.path([(x, foot), (x + wide, foot), (x + wide, foot + tall)], 0.3, fill=GROUND_INK, closed=True)
    for k in range(1, worked.gaps):
        px, py = x + wide * k / worked.gaps, foot + tall * k / worked.gaps
        sheet.line(px, py, x + wide, py, 0.1, ink=CONTOUR_INK)
    sheet.text(x + wide / 2, foot - 3.4, f"{worked.run_m:g} m", size_pt=8, align="middle")
    sheet.text(x + wide + 1.5, foot + tall / 2, f"{worked.rise_m:g} m", size_pt=8)
    sheet.text(x + 11.0, foot + 1.4, slope(worked.slope_deg).text, size_pt=8, bold=True)


def _tangents(sheet: Sheet, rows: Sequence[tuple[float, float]], top: float) -> float:
    """Write the table in columns, degrees rising down each."""
    columns = 7
    deep = math.ceil(len(rows) / columns)
    room = sheet.across_mm / columns
    for number, (deg, gradient) in enumerate(rows):
        x = sheet.left_mm + room * (number // deep)
        y = top - 4.0 - 4.0 * (number % deep)
        if number % 2:
            sheet.box(x, y - 1.0, room - 3.0, 4.0, 0.0, fill=(0.94, 0.94, 0.94))
        with sheet.read_as("P"):
            sheet.text(x + 12.0, y, f"{gradient:.3f}", size_pt=8, align="right")
            sheet.text(x + 20.5, y, f"{deg:g}°", size_pt=8, bold=True, align="right")
    return top - 4.0 * deep - 2.0


def _combs(sheet: Sheet, result: FirstLesson, top: float) -> None:
    """Draw a comb on ground of its own slope, on steeper and on gentler ground."""
    text = (
        "Lay the edge of a slope scale at right angles across the contours. Where the lines of a comb "
        "fall on those of the map, the ground has the comb's slope; where the map's lines are closer, "
        "it is steeper."
    )
    y = sheet.across(top, text, size_pt=BODY_PT) - 1.0
    comb_deg, comb_gap = result.comb
    room = sheet.across_mm / len(result.comb_grounds)
    for number, (ground_deg, gap) in enumerate(result.comb_grounds):
        x = sheet.left_mm + room * number
        words = (
            f"Lines meet: {comb_deg:g}°"
            if ground_deg == comb_deg
            else f"{'Closer: steeper' if ground_deg > comb_deg else 'Wider: gentler'} than {comb_deg:g}°"
        )
        with sheet.read_as("Figure", f"A comb of {comb_deg:g} degrees on contours. {words}."):
            _comb(sheet, x, y, comb_gap, gap)
            sheet.text(x + COMB_INSET_MM, y - 20.0, f"{comb_deg:g}°", size_pt=10, bold=True)
            sheet.text(x, y - 29.0, words, size_pt=BODY_PT)
    text = f"{COMB_LARGER:g} times larger. Now lay your own comb on the example above: which one fits?"
    sheet.across(y - 31.0, text, size_pt=BODY_PT)


def _comb(sheet: Sheet, x: float, y: float, comb_gap: float, gap: float) -> None:
    length = COMB_LARGER * COMB_SPACES * comb_gap
    for k in range(math.floor(COMB_SPACES * comb_gap / gap + 1e-9) + 1):
        at = x + COMB_INSET_MM + COMB_LARGER * k * gap
        sheet.line(at, y - 2.0, at, y - 15.0, 0.3, ink=CONTOUR_INK)
    sheet.box(x, y - 24.0, length + 2.0 * COMB_INSET_MM, 13.0, 0.25, fill=(1.0, 1.0, 1.0))
    for k in range(COMB_SPACES + 1):
        at = x + COMB_INSET_MM + COMB_LARGER * k * comb_gap
        sheet.line(at, y - 11.0, at, y - 16.0, 0.5)


def _plan(sheet: Sheet, result: FirstLesson, top: float) -> float:
    y = heading(sheet, top, f"{result.plan[-1].end_min} minutes")
    need = (
        "Each pupil: the three pages printed at 100 %, a ruler, a pencil, a slope scale for "
        f"{result.look.name} (steybrae sheet scale). One map of "
        "ground they know."
    )
    y = sheet.across(y, need, size_pt=8.5) - 1.5
    for step in result.plan:
        sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.1)
        sheet.text(
            sheet.left_mm,
            y - 4.0,
            f"{step.begin_min}-{step.end_min}",
            size_pt=BODY_PT,
            bold=True,
            ink=MARK_INK,
        )
        sheet.text(sheet.left_mm + 15.0, y - 4.0, step.title, size_pt=BODY_PT, bold=True)
        y = (
            sheet.paragraph(sheet.left_mm + 58.0, y - 0.9, sheet.across_mm - 58.0, step.words, size_pt=8.5)
            - 0.6
        )
    sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.1)
    return y


def _key(sheet: Sheet, result: FirstLesson, top: float) -> None:
    y = heading(sheet, top, f"What is right (seed {result.seed})")
    letters = {which: "ABCDEF"[k] for k, which in enumerate(result.profiles)}
    for number, patch in enumerate(result.matches):
        text = f"{number + 1} is profile {letters[number]}: {patch.form.name}. {patch.form.words}"
        y = sheet.across(y, text, size_pt=8.5)
    y -= 2.0
    for one in result.ranked:
        text = f"{one.letter}: {accepted_text(one.blanks, (one.answer,))}. Way: {one.answer.worked}."
        y = sheet.across(y, text, size_pt=8.5)
    text = (
        "The ruler's error is taken as 0.5 mm on the whole length. Eyes are usually fooled by how "
        "much of the patch is dark and by thick lines; ask for it. The crag on page 3 is "
        f"{result.hidden.crag_m:g} m high and stands between two contours."
    )
    y = sheet.across(y - 2.0, text, size_pt=8.5)
    y = heading(sheet, y - 3.0, "Slips to look out for, with the example of page 1")
    for slip in result.mistakes:
        y = sheet.across(y, slip, size_pt=8.5)


ROW_MM: Final = 16.0
"""Room for a question, mm: a line to read and a line to write on (our choice)."""


def own_map_pdf(result: OwnMapSheet, *, paper: str = "a4") -> bytes:
    """Draw the questions, without an answer: measure these stretches on your own map.

    The same bytes for the same table.
    """
    sheet = Sheet("Slope from contours: your own map", result.cautions, paper=paper)
    width = sheet.across_mm
    blanks(sheet, ("Name", "Date", "Sheet of the map"), sheet.left_mm, sheet.top_mm - 4.0, width)
    text = (
        f"{result.look.name}. Check both on your sheet. Measure each stretch from contour to contour, "
        "up the fall line, with a ruler or a slope scale. Slope = atan(height gained / distance on "
        "the ground). Count gaps, not lines."
    )
    y = sheet.across(sheet.top_mm - 7.0, text, size_pt=8.5) - 2.0
    for number, stretch in enumerate(result.stretches):
        lines = sheet.wrapped(stretch.name, width - 10.0, 9)
        y = sheet.room(y, y - ROW_MM - 4.0 * (len(lines) - 1))
        with sheet.read_as("P"):
            sheet.text(sheet.left_mm, y - 3.6, letters(number), size_pt=11, bold=True, ink=MARK_INK)
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, stretch.name, size_pt=9)
        asked = tuple(blank.name for blank in result.blanks[number])
        blanks(sheet, asked, sheet.left_mm + 10.0, y - 5.5, width - 10.0)
        y -= 11.0
    return sheet.finish()


def own_map_key_pdf(result: OwnMapSheet, *, paper: str = "a4") -> bytes:
    """Draw the key: what to accept, the bands, and the way; see `own_map_pdf`."""
    sheet = Sheet("Slope from contours, answers: your own map", result.cautions, paper=paper)
    width = sheet.across_mm
    text = (
        f"{result.look.name}. Accept: what a length read {RULER_ERROR_MM:g} mm long or short gives, and "
        f"its bands. A band is not asked for where more than {MOST_BANDS} are right: measure over more gaps."
    )
    y = sheet.across(sheet.top_mm - 1.0, text, size_pt=8, bold=True) - 2.0
    for number, (stretch, answer) in enumerate(zip(result.stretches, result.answers, strict=True)):
        lines = (
            f"{stretch.name}: {accepted_text(result.blanks[number], (answer,))}.",
            ". ".join(filter(None, (answer.worked, answer.slip))) + ".",
        )
        tall = 4.2 * sum(len(sheet.wrapped(line, width - 10.0, 8.5)) for line in lines)
        y = sheet.room(y, y - tall)
        sheet.text(sheet.left_mm, y - 3.4, letters(number), size_pt=11, bold=True, ink=MARK_INK)
        for bold, line in zip((True, False), lines, strict=True):
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, line, size_pt=8.5, bold=bold) - 0.3
        y -= 2.0
    return sheet.finish()


BODY_PT: Final = 9.0
LABEL_PT: Final = SMALL_PT

RANK_LETTER_MM: Final = 10.0
RANK_ROW_MM: Final = 8.0
"""Room for a letter, and height of a row to write in, mm (our choice)."""

GROUND_INK: Final[Colour] = (0.80, 0.81, 0.83)


def heading(sheet: Sheet, y: float, text: str) -> float:
    """Write a heading; say where what follows begins."""
    with sheet.read_as("H2"):
        sheet.text(sheet.left_mm, y - 4.2, text, size_pt=11, bold=True)
    return y - 6.6


def _patch(sheet: Sheet, patch: FormPatch, x: float, y: float, *, bare: bool = False) -> None:
    """Draw a patch of contours, its lower left corner at a place, with its numbers and its line."""
    side = patch.side_mm
    sheet.clip(box(x, y, side, side))
    sheet.shift(x, y)
    for contour in patch.lines:
        sheet.path(contour.points, THICK_MM if contour.thick else THIN_MM, ink=CONTOUR_INK)
    for px, py, text in () if bare else patch.labels:
        half = sheet.text_width_mm(text, LABEL_PT) / 2.0 + 0.3
        sheet.box(px - half, py - 1.0, 2.0 * half, 2.0, 0.0, fill=(1.0, 1.0, 1.0))
        sheet.text(px, py - 0.75, text, size_pt=LABEL_PT, align="middle", ink=CONTOUR_INK)
    if not bare:
        arrow(sheet, patch.line, 0.3, 2.4, 0.9)
        x0, y0 = patch.line[0]
        sheet.box(x0 - 0.7, y0 - 0.7, 1.4, 1.4, 0.0, fill=MARK_INK)
    sheet.unshift()
    sheet.unclip()
    sheet.box(x, y, side, side, 0.25)


def match_page(sheet: Sheet, result: FirstLesson) -> None:
    """Draw forms as contours, and their profiles in another order."""
    y = heading(sheet, sheet.top_mm - 1.0, "3. Which profile belongs to which contours?")
    text = (
        "Walk each line from its square to its arrow: what do your feet do? Heights stand on thick "
        "lines. Write the letter of the profile, and what the form is: convex slope, concave slope, "
        "roll, gully, spur or corrie. Profiles are not made taller; the lines of the patches turn any "
        "way."
    )
    y = sheet.across(y, text, size_pt=BODY_PT) - 2.0
    room = sheet.across_mm / 3.0
    side = result.matches[0].side_mm
    for number, patch in enumerate(result.matches):
        x = sheet.left_mm + room * (number % 3)
        top = y - (side + 12.0) * (number // 3)
        with sheet.read_as("Figure", f"Contours {number + 1}"):
            _patch(sheet, patch, x, top - side)
        sheet.text(x, top - side - 5.5, f"{number + 1}", size_pt=12, bold=True, ink=MARK_INK)
        blanks(sheet, ("profile", "form"), x + 6.0, top - side - 5.0, side + 2.0)
    y -= 2.0 * (side + 12.0)
    tall = 25.0
    for number, which in enumerate(result.profiles):
        x = sheet.left_mm + room * (number % 3)
        foot = y - tall * (number // 3 + 1) + 1.0
        _profile(sheet, result.matches[which], f"{'ABCDEF'[number]}", x, foot)


def _profile(sheet: Sheet, patch: FormPatch, letter: str, x: float, foot: float) -> None:
    with sheet.read_as("Figure", f"Profile {letter}"):
        points = [(x + 6.0 + px, foot + py) for px, py in patch.profile]
        sheet.path([(points[0][0], foot), *points, (points[-1][0], foot)], 0.25, fill=GROUND_INK, closed=True)
        sheet.text(x, foot, letter, size_pt=12, bold=True, ink=MARK_INK)


def rank_page(sheet: Sheet, result: FirstLesson) -> None:
    """Draw slopes to rank, and two grounds under the same contours."""
    y = heading(sheet, sheet.top_mm - 1.0, "4. By eye first, then with the ruler")
    text = (
        "Rank the five slopes by eye alone: 1 the gentlest, 5 the steepest. One minute. Only then "
        f"measure, from a thick line to the next but one ({result.ranked[0].answer.gaps} gaps), and "
        "rank again."
    )
    y = sheet.across(y, text, size_pt=BODY_PT) - 2.0
    side = result.ranked[0].patch.side_mm
    room = (sheet.across_mm - side) / (len(result.ranked) - 1)
    for number, one in enumerate(result.ranked):
        x = sheet.left_mm + room * number
        with sheet.read_as("Figure", f"Contours {one.letter}: an even slope"):
            _patch(sheet, one.patch, x, y - side, bare=True)
        sheet.text(
            x + side / 2, y - side - 5.0, one.letter, size_pt=12, bold=True, align="middle", ink=MARK_INK
        )
    y = _rank_table(sheet, result.ranked, y - side - 8.0)
    y = heading(sheet, y - 4.0, "5. What contours hide")
    _hidden(sheet, result.hidden, result.look.interval_m, y)


def _rank_table(sheet: Sheet, ranked: Sequence[Ranked], top: float) -> float:
    heads = [blank.name for blank in ranked[0].blanks]
    edge = sheet.left_mm + RANK_LETTER_MM
    room = (sheet.right_mm - edge) / len(heads)
    y = top - 5.5
    for number, head in enumerate(heads):
        x = edge + room * number
        sheet.text(x + 1.0, top - 4.0, head, size_pt=7.5, ink=MUTED)
        sheet.line(x, y, x, y - RANK_ROW_MM * len(ranked), 0.15)
    for one in ranked:
        sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.15)
        sheet.text(sheet.left_mm + 2.0, y - 5.4, one.letter, size_pt=11, bold=True, ink=MARK_INK)
        y -= RANK_ROW_MM
    sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.15)
    return y


def _hidden(sheet: Sheet, hidden: Hidden, interval_m: float, top: float) -> None:
    text = (
        "Both hillsides cross every contour at the same places, so the map draws them alike: "
        f"{slope(hidden.slope_deg).text}. One has a crag of {hidden.crag_m:g} m. What lies between two "
        f"contours is not on the map: crags and rolls lower than {interval_m:g} m, gullies narrower "
        "than the pen, drifts and cornices of this winter. Where it is steep thin lines may be left "
        "out. The steepest part of a gap is steeper than the gap says."
    )
    y = sheet.across(top, text, size_pt=BODY_PT) - 2.0
    run = hidden.contours[-1][0]
    per = 84.0 / run
    with sheet.read_as(
        "Figure", "Two hillsides over the same contours; the right one has a crag between two of them."
    ):
        for number, profile in enumerate((hidden.even, hidden.broken)):
            x = sheet.left_mm + number * 90.0
            foot = y - per * hidden.contours[-1][1] - 2.0
            points = [(x + per * along, foot + per * height) for along, height in profile]
            sheet.path([(x, foot), *points, (x + per * run, foot)], 0.3, fill=GROUND_INK, closed=True)
            for k, (along, height) in enumerate(hidden.contours):
                at = x + per * along
                sheet.line(at, foot + per * height, at, foot - 3.0, 0.08, ink=MUTED, dash_mm=(0.6, 0.8))
                sheet.line(at, foot - 3.0, at, foot - 9.0, 0.5 if k % 5 == 0 else 0.2, ink=CONTOUR_INK)
            sheet.text(x, foot - 13.0, ("even", "with a crag")[number], size_pt=8, ink=MUTED)
    text = "What else could lie between two contours there?"
    y = sheet.across(foot - 17.0, text, size_pt=BODY_PT)
    for _ in range(2):
        y -= RANK_ROW_MM
        sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.15)
