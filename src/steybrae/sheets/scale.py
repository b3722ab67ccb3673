"""The sheet of slope scales: straight edges and cards to cut out, true to size."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle
from typing import Final

from steybrae.sheets.true_size import MUTED, SMALL_PT, Sheet
from steybrae.teach.slope_scale import COMB_ROOM_MM, Comb, MapScale, ScaleSheet, Wedge

EDGE_HEIGHT_MM: Final = 25.0
"""Height of a straight edge, mm: two fingers hold it (our choice)."""

LEAST_EDGE_MM: Final = 90.0

COMB_LINE_MM: Final = 6.0
"""Length of a comb's lines, mm (our choice)."""

WEDGE_HEIGHT_MM: Final = 53.0
"""Height of a wedge, mm: about 1 mm for a degree (our choice)."""

CARD_HEIGHT_MM: Final = WEDGE_HEIGHT_MM + 23.0
APART_MM: Final = 6.0
"""Between pieces, mm: their cut marks have room (our choice)."""

CUT_MM: Final = 3.0
"""Below the last piece, mm: its cut marks end above the check bar (our choice)."""

USE_PT: Final = 7.5
_EDGE_USE: Final = (
    "Straight edge: lay it at right angles to the contours and slide along until a comb's lines fall "
    "on the map's. The ground has about that slope; where the map's lines are closer, it is steeper."
)
_CARD_USE: Final = (
    "Card, on clear film: hold it level across the contours and move it up or down until every line "
    "of the wedge meets a contour at one level. Read the slope there."
)
_RULES: Final = (
    "Thick lines stay where thin ones may be left out. Begin and end on a line; count gaps, not "
    "lines. Between two values take the steeper. Each piece is for one scale and one interval: both "
    "must be those of your sheet, printed at 100 %."
)


def scale_pdf(result: ScaleSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet: how to use it, edges, cards, and spare edges to the foot of the page.

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
    y = _use(sheet, result.maps[0], sheet.top_mm - 1.0)
    for one in dict.fromkeys(result.maps):
        text = f"{one.name}: {' '.join(one.notes)}" if one.notes else ""
        y = sheet.paragraph(sheet.left_mm, y, sheet.right_mm - sheet.left_mm, text, size_pt=7, ink=MUTED)
    y -= 4.0
    for one in result.maps:
        y = _room(sheet, y, EDGE_HEIGHT_MM)
        _edge(sheet, one, sheet.left_mm, y - EDGE_HEIGHT_MM)
        y -= EDGE_HEIGHT_MM + APART_MM
    y = _cards(sheet, result.maps, y)
    spare = cycle(result.maps)
    while y - EDGE_HEIGHT_MM >= sheet.bottom_mm + CUT_MM:
        _edge(sheet, next(spare), sheet.left_mm, y - EDGE_HEIGHT_MM)
        y -= EDGE_HEIGHT_MM + APART_MM
    return sheet.finish()


def _room(sheet: Sheet, y: float, height: float) -> float:
    """Where a piece may begin: on a new page where this one is full."""
    if y - height >= sheet.bottom_mm + CUT_MM:
        return y
    sheet.new_page()
    return sheet.top_mm - 3.0


def _cards(sheet: Sheet, maps: Sequence[MapScale], y: float) -> float:
    """Draw the cards in rows, and once more what the last row has room for; say where the next row begins."""
    found = [one for one in maps if one.wedge is not None or one.index_wedge is not None]
    x, spare = sheet.left_mm, cycle(found)
    for one in found:
        if x + _card_width(sheet, one) > sheet.right_mm:
            x, y = sheet.left_mm, y - CARD_HEIGHT_MM - APART_MM
        y = _room(sheet, y, CARD_HEIGHT_MM) if x == sheet.left_mm else y
        x += _card(sheet, one, x, y - CARD_HEIGHT_MM) + APART_MM
    while found and x + _card_width(sheet, one := next(spare)) <= sheet.right_mm:
        x += _card(sheet, one, x, y - CARD_HEIGHT_MM) + APART_MM
    return y - CARD_HEIGHT_MM - APART_MM if found else y


def _use(sheet: Sheet, one: MapScale, top: float) -> float:
    """Draw an edge and a card in use on slanting contours, and say how; return where it ends."""
    half = (sheet.right_mm - sheet.left_mm) / 2.0
    with sheet.read_as(
        "Figure", "A comb of an edge whose lines fall on contours, and a wedge whose lines meet them."
    ):
        _edge_in_use(sheet, sheet.left_mm, top - 1.0)
        _card_in_use(sheet, sheet.left_mm + half, top - 1.0)
    foot = top
    for x, text in ((sheet.left_mm, _EDGE_USE), (sheet.left_mm + half, _CARD_USE)):
        foot = min(foot, sheet.paragraph(x + 38.0, top - 1.0, half - 42.0, text, size_pt=USE_PT))
    return sheet.paragraph(
        sheet.left_mm, min(foot, top - 23.0) - 1.0, sheet.right_mm - sheet.left_mm, _RULES, size_pt=USE_PT
    )


def _edge_in_use(sheet: Sheet, x: float, top: float) -> None:
    for k in range(8):
        line = [(x + 1.0 + 4.0 * k + 0.02 * up * up, top - 20.0 + up) for up in range(21)]
        sheet.path(line, 0.3 if k % 5 == 1 else 0.12, ink=MUTED)
    sheet.box(x, top - 20.0, 34.0, 9.5, 0.2, fill=(1.0, 1.0, 1.0))
    for k in range(1, 7):
        at = x + 1.0 + 4.0 * k + 0.02 * 9.5**2
        sheet.line(at, top - 10.5, at, top - 14.0, 0.3)
    sheet.text(x + 17.0, top - 17.8, "30°", size_pt=7, bold=True, align="middle")


def _card_in_use(sheet: Sheet, x: float, top: float) -> None:
    for k in range(8):
        sheet.line(
            x + 1.0 + 4.0 * k, top, x + 4.0 + 4.0 * k, top - 20.0, 0.3 if k % 5 == 1 else 0.12, ink=MUTED
        )
    level = 9.0
    at = [x + 1.0 + 4.0 * k + 3.0 * level / 20.0 for k in range(1, 7)]
    sheet.box(x + 1.5, top - 19.0, 32.0, 18.0, 0.2, dash_mm=(1.2, 0.8))
    for px in at:
        gentle, steep = (at[0] + (px - at[0]) * share for share in (1.25, 0.6))
        sheet.path([(gentle, top - 2.0), (px, top - level), (steep, top - 18.0)], 0.25)
    sheet.line(at[0], top - level, at[-1], top - level, 0.12)
    sheet.path(
        [(at[0] - 0.6, top - level), (at[0] - 2.4, top - level + 1.0), (at[0] - 2.4, top - level - 1.0)],
        0.0,
        fill=(0.0, 0.0, 0.0),
        closed=True,
    )


def _edge(sheet: Sheet, one: MapScale, x: float, y: float) -> None:
    """Draw a straight edge: single gaps along the top, index lines along the bottom."""
    room, between = COMB_ROOM_MM
    lengths = [
        sum(max(comb.length_mm, room) + between for comb in combs) + between
        for combs in (one.combs, one.index_combs)
    ]
    width = max(LEAST_EDGE_MM, *lengths)
    sheet.cut_box(x, y, width, EDGE_HEIGHT_MM)
    _combs(sheet, one.combs, x, y + EDGE_HEIGHT_MM, down=True)
    _combs(sheet, one.index_combs, x, y, down=False)
    middle = y + EDGE_HEIGHT_MM / 2
    above = _spaces(one.combs, "gap") + " between contours" if one.combs else "no single gaps here"
    sheet.text(x + between, middle + 0.5, f"▲ {above}", size_pt=SMALL_PT)
    if one.index_combs:
        below = f"▼ {_spaces(one.index_combs, 'index gap')}, thick line to thick line"
        sheet.text(x + between, middle - 2.4, below, size_pt=SMALL_PT)
    sheet.text(x + width - between, middle - 0.8, one.name, size_pt=SMALL_PT, bold=True, align="right")


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
        sheet.text(x + cell / 2, label, f"{comb.slope_deg:g}°", size_pt=7, bold=True, align="middle")
        x += cell + between


def _line_mm(combs: Sequence[Comb], most: float) -> float:
    """Width of a comb's lines: thin enough that the closest of them stay apart."""
    return min([most, *(0.3 * comb.spacing_mm for comb in combs)])


def _wedges(one: MapScale) -> list[tuple[Wedge, str, float, float]]:
    """Wedges of a card: with title, width of its lines and of its part of the card, mm."""
    found = [(one.wedge, "Single gaps", 0.1), (one.index_wedge, "Index lines", 0.25)]
    return [
        (wedge, title, line, max(28.0, wedge.spaces * wedge.spacings_mm[0] + 14.0))
        for wedge, title, line in found
        if wedge is not None
    ]


def _card_width(sheet: Sheet, one: MapScale) -> float:
    return max(
        sum(wide for _, _, _, wide in _wedges(one)) + 4.0, sheet.text_width_mm(one.name, 7, bold=True) + 6.0
    )


def _card(sheet: Sheet, one: MapScale, x: float, y: float) -> float:
    """Draw the card of both wedges; say how wide it is."""
    width = _card_width(sheet, one)
    sheet.cut_box(x, y, width, CARD_HEIGHT_MM)
    top = y + CARD_HEIGHT_MM
    sheet.text(x + 3.0, top - 4.2, one.name, size_pt=7, bold=True)
    at = x + 2.0
    for wedge, title, line, wide in _wedges(one):
        sheet.text(at + 8.0, top - 8.4, title, size_pt=SMALL_PT)
        sheet.text(at + 8.0, top - 11.2, f"{wedge.spaces + 1} lines", size_pt=SMALL_PT, ink=MUTED)
        _wedge(sheet, wedge, at + 8.0, top - 14.0, line)
        at += wide
    words = "It measures; it decides nothing. Read the forecast."
    sheet.paragraph(x + 3.0, y + 7.0, width - 6.0, words, size_pt=SMALL_PT, ink=MUTED)
    return width


def _wedge(sheet: Sheet, wedge: Wedge, x: float, top: float, line_mm: float) -> None:
    """Draw a wedge downwards from gentle to steep, a level line every 5 degrees."""
    gentlest, steepest = wedge.slopes_deg[0], wedge.slopes_deg[-1]
    levels = [top - WEDGE_HEIGHT_MM * (deg - gentlest) / (steepest - gentlest) for deg in wedge.slopes_deg]
    for deg, spacing, y in zip(wedge.slopes_deg, wedge.spacings_mm, levels, strict=True):
        whole = deg % 5 == 0
        sheet.line(x - (2.4 if whole else 1.2), y, x, y, 0.1)
        if whole:
            sheet.line(x, y, x + wedge.spaces * spacing, y, 0.05, ink=MUTED)
            sheet.text(x - 2.9, y - 0.8, f"{deg:g}°", size_pt=SMALL_PT, bold=True, align="right")
    thin = min(line_mm, 0.3 * wedge.spacings_mm[-1])
    for k in range(wedge.spaces + 1):
        sheet.path([(x + k * gap, y) for gap, y in zip(wedge.spacings_mm, levels, strict=True)], thin)
