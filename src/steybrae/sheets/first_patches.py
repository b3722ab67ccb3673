"""Pages of the first lesson to work on: forms to match with profiles, slopes to rank, what contours hide."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from steybrae.sheets.practice import CONTOUR_INK, MARK_INK, THICK_MM, THIN_MM, arrow, blanks
from steybrae.sheets.true_size import MUTED, SMALL_PT, Colour, Sheet, box
from steybrae.teach.first_lesson import FirstLesson, Hidden, Ranked
from steybrae.teach.forms import FormPatch
from steybrae.value import slope

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
