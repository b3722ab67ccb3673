"""The sheet of slope scales: straight edges and cards to cut out, true to size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from steybrae.sheets.true_size import MUTED, SMALL_PT, Sheet
from steybrae.teach.slope_scale import COMB_ROOM_MM, Comb, MapScale, ScaleSheet, Wedge

__all__ = ["scale_pdf"]

EDGE_HEIGHT_MM: Final = 25.0
"""Height of a straight edge, mm: two fingers hold it (our choice)."""

COMB_LINE_MM: Final = 6.0
"""Length of a comb's lines, mm (our choice)."""

WEDGE_HEIGHT_MM: Final = 53.0
"""Height of a wedge, mm: about 1 mm for a degree (our choice)."""

CARD_HEIGHT_MM: Final = WEDGE_HEIGHT_MM + 20.0
BLOCK_GAP_MM: Final = 5.0
HEADING_MM: Final = 6.0
BLOCK_MM: Final = HEADING_MM + EDGE_HEIGHT_MM + BLOCK_GAP_MM + CARD_HEIGHT_MM + 3.0

_USE: Final = (
    "Straight edge: lay it on the map at right angles to the contours and slide along until a comb's "
    "lines fall "
    "on the map's. The ground has about that slope; where the map's lines are closer, it is steeper.",
    "Card: print it on clear film. Hold a level line of the wedge across the contours and move the "
    "card up or down until every line of the wedge meets a contour at one level. Read the slope there.",
    "Thick lines are for index contours, which stay where thin ones may be left out. Begin and end on a "
    "line; count gaps, not lines. Between two values take the steeper.",
    "Made for one scale and one interval: both must be those printed on your sheet, and a copy or a print at "
    "another size needs another scale.",
)


def scale_pdf(result: ScaleSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet.

    Parameters
    ----------
    result
        From `steybrae.teach.slope_scale.scale_sheet`.
    paper
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF, the same for the same sheet.
    """
    sheet = Sheet("Slope scales to cut out", result.cautions, paper=paper)
    y = sheet.top_mm
    for number, one in enumerate(result.maps):
        if y - BLOCK_MM < sheet.bottom_mm:
            sheet.new_page()
            y = sheet.top_mm
        y = _block(sheet, one, y - 1.5, _USE if number == 0 else ())
    return sheet.finish()


def _block(sheet: Sheet, one: MapScale, top: float, use: Sequence[str]) -> float:
    """Draw one map's edge, card and notes below `top`; say where the next may begin."""
    sheet.text(sheet.left_mm, top - 4.0, one.name, size_pt=9, face="bold")
    y = top - HEADING_MM - EDGE_HEIGHT_MM
    _edge(sheet, one, sheet.left_mm, y)
    y -= BLOCK_GAP_MM
    right = _card(sheet, one, sheet.left_mm, y - CARD_HEIGHT_MM)
    text_top, width = y, sheet.right_mm - right
    for text in use:
        text_top = sheet.paragraph(right, text_top, width, text, size_pt=7.5) - 1.2
    for note in one.notes:
        text_top = sheet.paragraph(right, text_top, width, note, size_pt=7, ink=MUTED) - 1.2
    return top - BLOCK_MM


def _edge(sheet: Sheet, one: MapScale, x: float, y: float) -> None:
    """Draw a straight edge: single gaps along the top, index lines along the bottom."""
    room, between = COMB_ROOM_MM
    lengths = [
        sum(max(comb.length_mm, room) + between for comb in combs) + between
        for combs in (one.combs, one.index_combs)
    ]
    width = max(90.0, *lengths)
    sheet.cut_box(x, y, width, EDGE_HEIGHT_MM)
    _combs(sheet, one.combs, x, y + EDGE_HEIGHT_MM, down=True)
    _combs(sheet, one.index_combs, x, y, down=False)
    middle = y + EDGE_HEIGHT_MM / 2
    above = _spaces(one.combs, "gap") + " between contours" if one.combs else "no single gaps here"
    sheet.text(x + between, middle + 0.5, f"▲ {above}", size_pt=SMALL_PT)
    if one.index_combs:
        below = f"▼ {_spaces(one.index_combs, 'index gap')}, thick line to thick line"
        sheet.text(x + between, middle - 2.4, below, size_pt=SMALL_PT)
    sheet.text(x + width - between, middle - 0.8, one.name, size_pt=SMALL_PT, face="bold", align="right")


def _spaces(combs: Sequence[Comb], what: str) -> str:
    spaces = combs[0].spaces
    return f"{spaces} {what}{'s' * (spaces > 1)}"


def _combs(sheet: Sheet, combs: Sequence[Comb], x: float, edge: float, *, down: bool) -> None:
    """Draw combs from left to right, their lines beginning on the edge that lies on the map."""
    room, between = COMB_ROOM_MM
    inward = -1.0 if down else 1.0
    thick = _line_mm(combs, most=0.13 if down else 0.3)
    x += between
    for comb in combs:
        cell = max(comb.length_mm, room)
        first = x + (cell - comb.length_mm) / 2
        for k in range(comb.spaces + 1):
            at = first + k * comb.spacing_mm
            sheet.line(at, edge, at, edge + inward * COMB_LINE_MM, thick)
        end = edge + inward * COMB_LINE_MM
        sheet.line(first, end, first + comb.length_mm, end, 0.08)
        label = end + (-2.9 if down else 0.9)
        sheet.text(x + cell / 2, label, f"{comb.slope_deg:g}°", size_pt=7, face="bold", align="middle")
        x += cell + between


def _line_mm(combs: Sequence[Comb], most: float) -> float:
    """Width of a comb's lines: thin enough that the closest of them stay apart."""
    return min([most, *(0.3 * comb.spacing_mm for comb in combs)])


def _card(sheet: Sheet, one: MapScale, x: float, y: float) -> float:
    """Draw the card of both wedges; say where free room begins to its right."""
    wedges = [(one.wedge, "Single gaps", 0.1), (one.index_wedge, "Index lines", 0.25)]
    drawn = [(wedge, title, line) for wedge, title, line in wedges if wedge is not None]
    if not drawn:
        return x
    widths = [max(28.0, wedge.spaces * wedge.spacings_mm[0] + 14.0) for wedge, _, _ in drawn]
    width = max(sum(widths) + 4.0, sheet.text_width_mm(one.name, 7, "bold") + 6.0)
    sheet.cut_box(x, y, width, CARD_HEIGHT_MM)
    top = y + CARD_HEIGHT_MM
    sheet.text(x + 3.0, top - 4.2, one.name, size_pt=7, face="bold")
    at = x + 2.0
    for (wedge, title, line), wide in zip(drawn, widths, strict=True):
        sheet.text(at + 8.0, top - 8.4, title, size_pt=SMALL_PT)
        sheet.text(at + 8.0, top - 11.2, f"{wedge.spaces + 1} lines", size_pt=SMALL_PT, ink=MUTED)
        _wedge(sheet, wedge, at + 8.0, top - 14.0, line)
        at += wide
    sheet.text(
        x + 3.0, y + 1.6, "It measures; it decides nothing. Read the forecast.", size_pt=4.5, ink=MUTED
    )
    return x + width + 6.0


def _wedge(sheet: Sheet, wedge: Wedge, x: float, top: float, line_mm: float) -> None:
    """Draw a wedge downwards from gentle to steep, a level line every 5 degrees."""
    gentlest, steepest = wedge.slopes_deg[0], wedge.slopes_deg[-1]
    levels = [top - WEDGE_HEIGHT_MM * (deg - gentlest) / (steepest - gentlest) for deg in wedge.slopes_deg]
    for deg, spacing, y in zip(wedge.slopes_deg, wedge.spacings_mm, levels, strict=True):
        whole = deg % 5 == 0
        sheet.line(x - (2.4 if whole else 1.2), y, x, y, 0.1)
        if whole:
            sheet.line(x, y, x + wedge.spaces * spacing, y, 0.05, ink=MUTED)
            sheet.text(x - 2.9, y - 0.8, f"{deg:g}°", size_pt=SMALL_PT, face="bold", align="right")
    thin = min(line_mm, 0.3 * wedge.spacings_mm[-1])
    for k in range(wedge.spaces + 1):
        sheet.path([(x + k * gap, y) for gap, y in zip(wedge.spacings_mm, levels, strict=True)], thin)
