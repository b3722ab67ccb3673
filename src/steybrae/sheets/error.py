"""The sheet on reading errors: a picture and a table of how far a ruler moves the answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from steybrae.figures.style import band_tint
from steybrae.sheets.true_size import MUTED, SMALL_PT, Colour, Sheet
from steybrae.teach.ruler_error import (
    CURVE_SLOPES_DEG,
    ERRORS_MM,
    GAP_COUNTS,
    ErrorCurve,
    ErrorSheet,
    ErrorTable,
)
from steybrae.value import ground_run, lower, millimetres, slope

PANEL_MM: Final = 47.0
"""Side of a panel, mm (our choice)."""

PANEL_STEP_MM: Final = 60.0
ROW_MM: Final = 4.0
MAGNIFIED: Final = (20.0, 10.0, 5.0, 2.0)
"""How many times larger the gap is drawn beside its true size: the largest that fits (our choice)."""

MAGNIFIED_ROOM_MM: Final = 60.0


def error_pdf(result: ErrorSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet.

    Parameters
    ----------
    result
        From `steybrae.teach.ruler_error.error_sheet`.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF, the same for the same sheet.
    """
    sheet = Sheet(f"How a ruler fools you: {result.name}", result.cautions, paper=paper)
    width = sheet.right_mm - sheet.left_mm
    y = sheet.paragraph(
        sheet.left_mm,
        sheet.top_mm - 1.0,
        width,
        "The ground has one slope; the ruler reads the gap a little long or a little short. Find the "
        "slope of the "
        "ground below a panel, look up, and see between which slopes the answers lie. The error "
        "belongs to the whole "
        "length, not to each gap: measure over more gaps and it weighs less, but the answer averages "
        "more ground.",
        size_pt=8,
    )
    y = _panels(sheet, result.curves, y - 5.0)
    y = _gap_picture(sheet, result, y - 5.0)
    for table in result.tables:
        if y - 8.0 - ROW_MM * (len(table.rows) + 1) < sheet.bottom_mm:
            sheet.new_page()
            y = sheet.top_mm
        y = _table(sheet, table, y - 2.0)
    return sheet.finish()


def _tint(error_mm: float) -> Colour:
    return band_tint(ERRORS_MM.index(error_mm), len(ERRORS_MM))


def _panels(sheet: Sheet, curves: Sequence[ErrorCurve], top: float) -> float:
    """Draw one panel for each count of gaps, and the legend."""
    for number, gaps in enumerate(GAP_COUNTS):
        x = sheet.left_mm + 9.0 + number * PANEL_STEP_MM
        _panel(sheet, [curve for curve in curves if curve.gaps == gaps], x, top - 4.0 - PANEL_MM)
    y = top - PANEL_MM - 14.5
    x = sheet.left_mm + 9.0
    sheet.text(x, y, "Error of the reading:", size_pt=7)
    x += 31.0
    for error_mm in ERRORS_MM:
        sheet.box(x, y - 0.6, 5.0, 3.2, 0.1, fill=_tint(error_mm))
        sheet.text(x + 6.2, y, f"± {error_mm:g} mm", size_pt=7)
        x += 23.0
    return y - 2.0


def _panel(sheet: Sheet, curves: Sequence[ErrorCurve], x: float, y: float) -> None:
    """Draw nested zones of what is read, the widest first, over slopes of the ground."""
    first, last = CURVE_SLOPES_DEG[0], CURVE_SLOPES_DEG[-1]
    gaps = curves[0].gaps

    def at(slope_deg: float, read_deg: float) -> tuple[float, float]:
        return x + PANEL_MM * (slope_deg - first) / (last - first), y + PANEL_MM * read_deg / 90.0

    for curve in curves:
        up = [at(*pair) for pair in zip(curve.slopes_deg, curve.high_deg, strict=True)]
        down = [at(*pair) for pair in zip(curve.slopes_deg, curve.low_deg, strict=True)]
        sheet.path([*up, *reversed(down)], 0.1, fill=_tint(curve.error_mm), closed=True)
    for read_deg in range(0, 91, 15):
        sheet.line(
            x, y + PANEL_MM * read_deg / 90, x + PANEL_MM, y + PANEL_MM * read_deg / 90, 0.05, ink=MUTED
        )
        sheet.text(
            x - 1.0, y + PANEL_MM * read_deg / 90 - 0.8, f"{read_deg}°", size_pt=SMALL_PT, align="right"
        )
    for slope_deg in range(int(first), int(last) + 1, 10):
        px, _ = at(slope_deg, 0.0)
        sheet.line(px, y, px, y + PANEL_MM, 0.05, ink=MUTED)
        sheet.text(px, y - 3.0, f"{slope_deg}°", size_pt=SMALL_PT, align="middle")
    sheet.path([at(first, first), at(last, last)], 0.3)
    sheet.box(x, y, PANEL_MM, PANEL_MM, 0.25)
    sheet.text(x, y + PANEL_MM + 1.4, f"{gaps} gap{'s' * (gaps > 1)}", size_pt=8, bold=True)
    sheet.text(x + PANEL_MM, y + PANEL_MM + 1.4, "up: what you read", size_pt=SMALL_PT, align="right")
    sheet.text(x + PANEL_MM / 2, y - 6.0, "slope of the ground", size_pt=SMALL_PT, align="middle")


def _gap_picture(sheet: Sheet, result: ErrorSheet, top: float) -> float:
    """Draw the gap of 30 degrees true to size, and larger with the errors round one line."""
    gap, x, y = result.gap_30_mm, sheet.left_mm, top - 13.0
    text = f"One gap at 30° is {millimetres(gap, step=0.01, rounding='down').short}: true size here"
    sheet.text(x, y + 4.0, text, size_pt=7.5)
    x += sheet.text_width_mm(text, 7.5) + 4.0
    if gap > MAGNIFIED_ROOM_MM:
        return y
    for k in (0, 1):
        sheet.line(x + k * gap, y, x + k * gap, y + 11.0, min(0.1, 0.3 * gap))
    times = next((times for times in MAGNIFIED if times * gap + 24.0 <= MAGNIFIED_ROOM_MM), None)
    if times is None:
        return y
    x += gap + 6.0
    note = f"and {times:g} times larger,"
    sheet.text(x, y + 5.6, note, size_pt=7.5)
    sheet.text(x, y + 2.2, "with the errors round its right line:", size_pt=7.5)
    x += sheet.text_width_mm("with the errors round its right line:", 7.5) + 5.0
    for error_mm in reversed(ERRORS_MM):
        left = max(x, x + times * (gap - error_mm))
        sheet.box(left, y, x + times * (gap + error_mm) - left, 11.0, 0.05, fill=_tint(error_mm))
    for k in (0, 1):
        at = x + k * times * gap
        sheet.line(at, y, at, y + 11.0, 0.1 * times / 2)
    return y


def _table(sheet: Sheet, table: ErrorTable, top: float) -> float:
    """Write one table; lower ends go down, upper ends up."""
    x, y = sheet.left_mm, top - 3.6
    gaps = f"{table.gaps} gap{'s' * (table.gaps > 1)}"
    title = f"Over {gaps}: what you may read. At 30° it averages {ground_run(table.ground_30_m)} of ground."
    sheet.text(x, y, title, size_pt=8, bold=True)
    columns = [x + 18.0, x + 40.0, *(x + 66.0 + 25.5 * k for k in range(len(ERRORS_MM)))]
    y -= ROW_MM
    heads = ["slope", "length", *(f"± {error_mm:g} mm" for error_mm in ERRORS_MM)]
    for at, head in zip(columns, heads, strict=True):
        sheet.text(at, y, head, size_pt=7, align="right", ink=MUTED)
    sheet.line(x, y - 1.1, sheet.right_mm, y - 1.1, 0.1)
    for number, row in enumerate(table.rows):
        y -= ROW_MM
        if number % 2:
            sheet.box(x, y - 1.1, sheet.right_mm - x, ROW_MM, 0.0, fill=(0.94, 0.94, 0.94))
        cells = [f"{row.slope_deg:g}°", millimetres(row.across_mm, step=0.01, rounding="up").text]
        cells += [_range(low, high) for low, high in row.read_deg]
        for at, cell in zip(columns, cells, strict=True):
            sheet.text(at, y, cell, size_pt=7, align="right")
    return y - 1.0


def _range(low_deg: float, high_deg: float) -> str:
    if high_deg >= 90.0:
        return f"{lower(low_deg).figure} to any"
    return f"{lower(low_deg).figure} to {slope(high_deg).figure}"
