"""Sheets on stretches of the user's own map: the questions, and the key."""

from __future__ import annotations

from string import ascii_uppercase
from typing import Final

from steybrae.sheets.practice import MARK_INK, bands_text, blanks
from steybrae.sheets.true_size import Sheet
from steybrae.teach.answers import MOST_BANDS
from steybrae.teach.own_map import OwnMapSheet
from steybrae.teach.slope_scale import map_name
from steybrae.value import between, slope

ROW_MM: Final = 16.0
"""Room for a question, mm: a line to read and a line to write on (our choice)."""


def own_map_pdf(result: OwnMapSheet, *, paper: str = "a4") -> bytes:
    """Draw the questions: measure these stretches on your own map.

    Parameters
    ----------
    result
        From `steybrae.teach.own_map.own_map_sheet`.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF without an answer, the same for the same table.
    """
    sheet = Sheet("Slope from contours: your own map", result.cautions, paper=paper)
    width = sheet.right_mm - sheet.left_mm
    blanks(sheet, ("Name", "Date", "Sheet of the map"), sheet.left_mm, sheet.top_mm - 4.0, width)
    text = (
        f"{_map_text(result)}. Check both on your sheet. Measure each stretch from contour to contour, "
        "up the fall line, with a ruler or a slope scale. Slope = atan(height gained / distance on "
        "the ground). Count gaps, not lines."
    )
    y = sheet.paragraph(sheet.left_mm, sheet.top_mm - 7.0, width, text, size_pt=8.5) - 2.0
    for number, stretch in enumerate(result.stretches):
        lines = sheet.wrapped(stretch.name, width - 10.0, 9)
        if y - ROW_MM - 4.0 * (len(lines) - 1) < sheet.bottom_mm:
            sheet.new_page()
            y = sheet.top_mm - 2.0
        with sheet.read_as("P"):
            sheet.text(sheet.left_mm, y - 3.6, _letter(number), size_pt=11, face="bold", ink=MARK_INK)
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, stretch.name, size_pt=9)
        asked = ("length mm", "gaps", "height gained", "slope °", "band")
        blanks(sheet, asked, sheet.left_mm + 10.0, y - 5.5, width - 10.0)
        y -= 11.0
    return sheet.finish()


def own_map_key_pdf(result: OwnMapSheet, *, paper: str = "a4") -> bytes:
    """Draw the key: what to accept, the bands, and the way; see `own_map_pdf`."""
    sheet = Sheet("Slope from contours, answers: your own map", result.cautions, paper=paper)
    width = sheet.right_mm - sheet.left_mm
    text = (
        f"{_map_text(result)}. Accept: what a length read 0.5 mm long or short gives, and its bands. A "
        f"band is not asked for where more than {MOST_BANDS} are right: measure over more gaps."
    )
    y = sheet.paragraph(sheet.left_mm, sheet.top_mm - 1.0, width, text, size_pt=8, face="bold") - 2.0
    for number, (stretch, answer) in enumerate(zip(result.stretches, result.answers, strict=True)):
        band = f"band {bands_text(answer)}" if len(answer.bands) <= MOST_BANDS else "no band"
        lines = (
            f"{stretch.name}: {slope(answer.slope_gap_deg).text}. "
            f"Accept {between(answer.low_deg, answer.high_deg)}, {band}.",
            f"{answer.worked}.",
        )
        tall = 4.2 * sum(len(sheet.wrapped(line, width - 10.0, 8.5)) for line in lines)
        if y - tall < sheet.bottom_mm:
            sheet.new_page()
            y = sheet.top_mm - 2.0
        sheet.text(sheet.left_mm, y - 3.4, _letter(number), size_pt=11, face="bold", ink=MARK_INK)
        for face, line in zip(("bold", "regular"), lines, strict=True):
            y = sheet.paragraph(sheet.left_mm + 10.0, y, width - 10.0, line, size_pt=8.5, face=face) - 0.3
        y -= 2.0
    return sheet.finish()


def _map_text(result: OwnMapSheet) -> str:
    look = result.look
    return map_name(look.scale, look.interval_m, f"{look.interval_m / look.unit_m:g}{look.unit}")


def _letter(number: int) -> str:
    """Name a question A to Z, then AA: as columns of a spreadsheet."""
    before, last = divmod(number, len(ascii_uppercase))
    return ("" if before == 0 else ascii_uppercase[before - 1]) + ascii_uppercase[last]
