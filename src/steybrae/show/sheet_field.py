"""The blank log of readings, to print and carry."""

from __future__ import annotations

from typing import Final

from steybrae.quantities import round_up
from steybrae.show.true_size import MUTED, SMALL_PT, Sheet
from steybrae.teach.field_sheet import FieldSheet

__all__ = ["field_pdf"]

ROW_MM: Final = 8.2
"""Height of a row, mm: a gloved hand writes in it (our choice)."""

HEAD_MM: Final = 17.0
EXAMPLE_MM: Final = 6.0
EXAMPLE_PT: Final = 5.4


def field_pdf(result: FieldSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet, on its long side.

    Parameters
    ----------
    result
        From `steybrae.teach.field_sheet.field_sheet`.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF, the same for the same sheet.
    """
    sheet = Sheet("Log of slope readings", result.cautions, paper=paper, turned=True)
    top = _blanks(sheet, sheet.top_mm - 1.0)
    bottom = sheet.bottom_mm + 10.0
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
    stretch = (sheet.right_mm - sheet.left_mm) / sum(widths)
    edges = [sheet.left_mm]
    for width in widths:
        edges.append(edges[-1] + width * stretch)
    for column, left, right in zip(result.columns, edges, edges[1:], strict=False):
        sheet.paragraph(
            left + 0.8, top - 0.6, right - left - 1.2, column.words, size_pt=SMALL_PT, face="bold"
        )
        name = sheet.wrapped(column.name.replace("_", "_ "), right - left - 1.0, 4.6)
        for k, line in enumerate(reversed(name)):
            text = line.replace("_ ", "_")
            sheet.text(left + 0.8, top - HEAD_MM + 0.9 + 2.0 * k, text, size_pt=4.6, ink=MUTED)
        example = sheet.wrapped(column.example, right - left - 1.2, EXAMPLE_PT)
        for k, line in enumerate(example[:2]):
            y = top - HEAD_MM - (2.4 if len(example) > 1 else 3.6) - 2.3 * k
            sheet.text(left + 0.8, y, line, size_pt=EXAMPLE_PT, face="slanted", ink=MUTED)
    y = top - HEAD_MM - EXAMPLE_MM
    sheet.line(sheet.left_mm, top, sheet.right_mm, top, 0.3)
    sheet.line(sheet.left_mm, top - HEAD_MM, sheet.right_mm, top - HEAD_MM, 0.15)
    while y - ROW_MM >= bottom:
        sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.3 if y == top - HEAD_MM - EXAMPLE_MM else 0.15)
        y -= ROW_MM
    sheet.line(sheet.left_mm, y, sheet.right_mm, y, 0.3)
    for edge in edges:
        sheet.line(edge, top, edge, y, 0.15)


def _reminders(sheet: Sheet, result: FieldSheet, top: float) -> None:
    known = ",  ".join(
        f"{count}: ±{round_up(value, 0.1):.1f}°" for count, value in result.uncertainty_by_count
    )
    lines = (
        "Look straight up or down the fall line, over 20 m or more where you can; read four times, "
        "change hands or places. Bearings from true north. In grey: an invented row.",
        f"95 % uncertainty of the mean by number of readings: {known}. A gentle reading never makes "
        f"gentler what map or model show.",
    )
    y = top - 1.0
    for line in lines:
        y = sheet.paragraph(sheet.left_mm, y, sheet.right_mm - sheet.left_mm, line, size_pt=7)
