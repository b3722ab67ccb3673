"""The log of readings to print and carry: blank, or with the checks of a plan filled in."""

from __future__ import annotations

from typing import Final

from steybrae.card.result import Check
from steybrae.card.wording import judged_text, where_text
from steybrae.sheets.true_size import MUTED, SMALL_PT, Sheet
from steybrae.teach.field_sheet import FieldSheet
from steybrae.value import bearing_figure, slope

ROW_MM: Final = 8.2
"""Height of a row, mm: a gloved hand writes in it (our choice)."""

HEAD_MM: Final = 18.5
EXAMPLE_MM: Final = 7.6
BLOCK_MM: Final = 29.0
BOX_MM: Final = (13.0, 11.0)
"""Height of a check's block, and width and height of a box for a reading, mm: a gloved hand writes
in it (our choice)."""

BLANK_BLOCKS: Final = 2
"""Blocks at least for readings elsewhere (our choice)."""

EXAMPLE_PT: Final = 7.0


def field_pdf(result: FieldSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet: a table on its long side, or the checks of a plan one below the other.

    The same bytes for the same sheet. The checks of a plan may be on ``a5`` too.
    """
    if result.plan:
        return _planned(result, paper)
    sheet = Sheet("Log of slope readings", result.cautions, paper=paper, turned=True)
    top = _blanks(sheet, sheet.top_mm - 1.0)
    bottom = sheet.bottom_mm + 16.5
    _reminders(sheet, result, bottom)
    _table(sheet, result, top, bottom)
    return sheet.finish()


def _blanks(sheet: Sheet, top: float) -> float:
    """Rule what is the same for the whole sheet."""
    y = top - 5.5
    x = sheet.left_mm
    for label, room in (
        ("Day", 28.0),
        ("Zone", 18.0),
        ("Party", 44.0),
        ("Plan", 34.0),
        ("Avalanche forecast read (date, level)", 32.0),
    ):
        sheet.text(x, y, label, size_pt=7.5)
        x += sheet.text_width_mm(label, 7.5) + 1.5
        sheet.line(x, y - 0.6, x + room, y - 0.6, 0.15)
        x += room + 4.0
    return y - 3.5


def _table(sheet: Sheet, result: FieldSheet, top: float, bottom: float) -> None:
    widths = [column.width_mm for column in result.columns]
    stretch = sheet.across_mm / sum(widths)
    edges = [sheet.left_mm]
    for width in widths:
        edges.append(edges[-1] + width * stretch)
    for column, left, right in zip(result.columns, edges, edges[1:], strict=False):
        sheet.paragraph(left + 0.8, top - 0.6, right - left - 1.2, column.words, size_pt=SMALL_PT, bold=True)
        name = sheet.wrapped(column.name.replace("_", "_ "), right - left - 1.0, SMALL_PT)
        for k, line in enumerate(reversed(name)):
            text = line.replace("_ ", "_")
            sheet.text(left + 0.8, top - HEAD_MM + 0.9 + 2.4 * k, text, size_pt=SMALL_PT, ink=MUTED)
        example = sheet.wrapped(column.example, right - left - 1.2, EXAMPLE_PT)
        for k, line in enumerate(example[:2]):
            y = top - HEAD_MM - (3.0 if len(example) > 1 else 4.6) - 2.9 * k
            sheet.text(left + 0.8, y, line, size_pt=EXAMPLE_PT, ink=MUTED)
    y = top - HEAD_MM - EXAMPLE_MM
    sheet.line(sheet.left_mm, top, sheet.right_mm, top, 0.3)
    sheet.line(sheet.left_mm, top - HEAD_MM, sheet.right_mm, top - HEAD_MM, 0.15)
    while y - ROW_MM >= bottom:
        sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.3 if y == top - HEAD_MM - EXAMPLE_MM else 0.15)
        y -= ROW_MM
    sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.3)
    for edge in edges:
        sheet.line(edge, top, edge, y, 0.15)


_GENTLE: Final = "A gentle reading never makes gentler what map or model show."


def _reminders(sheet: Sheet, result: FieldSheet, top: float) -> None:
    known = ",  ".join(f"{count}: ±{slope(value).text}" for count, value in result.uncertainty_by_count)
    lines = (
        "Look straight up or down the fall line, over 20 m, better more, where you can; read four times, "
        "change hands or places. Bearings from true north. In grey: an invented row.",
        f"95 % uncertainty of the mean by number of readings: {known}. {_GENTLE}",
        f"To type a row in: {result.type_in[0]}",
        f"Or write the table as CSV, the grey names above it: {result.type_in[1]}",
    )
    y = top - 1.0
    for line in lines:
        y = sheet.across(y, line, size_pt=7)


def _planned(result: FieldSheet, paper: str) -> bytes:
    """Draw a block for each check of a plan, then blank ones to the foot of the page."""
    sheet = Sheet("Log of readings", result.cautions, paper=paper, small=True)
    counts = result.uncertainty_by_count[:4]
    known = ", ".join(f"{count}: ±{slope(deg).text}" for count, deg in counts)
    words = (
        "Stand where it says, look straight up or down the fall line over 20 m, or at the point named; read "
        "three times. Degrees, no sign. "
        f"{_GENTLE} 95 % of the mean by number of readings: {known}."
    )
    y = sheet.across(sheet.top_mm - 1.0, result.plan, size_pt=9, bold=True)
    y = sheet.across(y, words, size_pt=8)
    if result.checks:
        y = sheet.across(y, f"To type in: {result.type_in[0]}", size_pt=7)
    y -= 1.0
    if not result.checks:
        none = "This plan has no check: nowhere on it may one stand off steep ground and measure."
        y = sheet.across(y, none, size_pt=9, bold=True) - 1.0
    for one in result.checks:
        y = sheet.room(y, y - BLOCK_MM, 1.0)
        _head(sheet, y, one.check.number, one.leg)
        _lines(sheet, y, _check_lines(one.check))
        y -= BLOCK_MM
    blank = 0
    while blank < BLANK_BLOCKS or y - BLOCK_MM >= sheet.bottom_mm:
        y = sheet.room(y, y - BLOCK_MM, 1.0)
        _head(sheet, y, "", "Elsewhere")
        _lines(sheet, y, ("place", "look along, at what", "compared with, its slope"), ruled=True)
        y -= BLOCK_MM
        blank += 1
    return sheet.finish()


def _head(sheet: Sheet, y: float, number: str, leg: str) -> None:
    """Draw the line over a block, its name, three boxes and lines for time, who and note."""
    sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.2)
    indent = 13.0 if number else 0.0
    sheet.text(sheet.left_mm, y - 5.2, number, size_pt=13, bold=True)
    sheet.text(sheet.left_mm + indent, y - 4.6, leg, size_pt=8, bold=True)
    wide, high = BOX_MM
    for k in range(3):
        sheet.box(sheet.right_mm - (3 - k) * (wide + 1.5) + 1.5, y - 6.5 - high, wide, high, 0.25)
    x, bottom = sheet.left_mm, y - BLOCK_MM + 2.0
    third = sheet.across_mm / 4.0
    for label, room in (("time, zone", third), ("who", third), ("note", 2.0 * third)):
        sheet.text(x, bottom, label, size_pt=6.5, ink=MUTED)
        start = x + sheet.text_width_mm(label, 6.5) + 1.0
        sheet.line(start, bottom - 0.5, x + room - 2.0, bottom - 0.5, 0.15)
        x += room


def _lines(sheet: Sheet, y: float, lines: tuple[str, ...], *, ruled: bool = False) -> None:
    """Write up to three lines left of the boxes; `ruled` ones are to be filled in."""
    width = sheet.across_mm - 3.0 * (BOX_MM[0] + 1.5) - 2.0
    y -= 6.4
    for number, line in enumerate(lines):
        if ruled:
            sheet.text(sheet.left_mm, y - 3.2, line, size_pt=6.5, ink=MUTED)
            start = sheet.left_mm + sheet.text_width_mm(line, 6.5) + 1.0
            sheet.line(start, y - 3.7, sheet.left_mm + width, y - 3.7, 0.15)
            y -= 5.0
        else:
            y = sheet.paragraph(sheet.left_mm, y, width, line, size_pt=7.5, bold=not number) - 0.4


def _check_lines(check: Check) -> tuple[str, ...]:
    """Say where to stand, where to look and what to expect."""
    look = "up the fall line" if check.quantity == "slope" else check.what
    if check.look_bearing_magnetic_deg is not None:
        look = f"{bearing_figure(check.look_bearing_magnetic_deg)} magnetic: {look}"
    return (
        f"{check.quantity.capitalize()} {slope(check.expected_deg).text}; {judged_text(check)}",
        f"{check.reference}, {where_text(check)}. Look {look}.",
    )
