"""Sheets true to size: slope scales to cut out, and what an error of the ruler does."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle
from typing import Final

from steybrae.figures.style import band_tint
from steybrae.sheets.true_size import MUTED, SMALL_PT, Colour, Sheet
from steybrae.teach import slope_scale
from steybrae.value import ground_run, lower, millimetres, slope

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


def scale_pdf(result: slope_scale.ScaleSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet: how to use it, edges, cards, and spare edges to the foot of the page.

    The same bytes for the same sheet.
    """
    sheet = Sheet("Slope scales to cut out", result.cautions, paper=paper)
    y = _use(sheet, result.maps[0], sheet.top_mm - 1.0)
    for one in dict.fromkeys(result.maps):
        text = f"{one.name}: {' '.join(one.notes)}" if one.notes else ""
        y = sheet.across(y, text, size_pt=7, ink=MUTED)
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


def _cards(sheet: Sheet, maps: Sequence[slope_scale.MapScale], y: float) -> float:
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


def _use(sheet: Sheet, one: slope_scale.MapScale, top: float) -> float:
    """Draw an edge and a card in use on slanting contours, and say how; return where it ends."""
    half = sheet.across_mm / 2.0
    with sheet.read_as(
        "Figure", "A comb of an edge whose lines fall on contours, and a wedge whose lines meet them."
    ):
        _edge_in_use(sheet, sheet.left_mm, top - 1.0)
        _card_in_use(sheet, sheet.left_mm + half, top - 1.0)
    foot = top
    for x, text in ((sheet.left_mm, _EDGE_USE), (sheet.left_mm + half, _CARD_USE)):
        foot = min(foot, sheet.paragraph(x + 38.0, top - 1.0, half - 42.0, text, size_pt=USE_PT))
    return sheet.across(min(foot, top - 23.0) - 1.0, _RULES, size_pt=USE_PT)


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


def _edge(sheet: Sheet, one: slope_scale.MapScale, x: float, y: float) -> None:
    """Draw a straight edge: single gaps along the top, index lines along the bottom."""
    room, between = slope_scale.COMB_ROOM_MM
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


def _spaces(combs: Sequence[slope_scale.Comb], what: str) -> str:
    spaces = combs[0].spaces
    return f"{spaces} {what}{'s' * (spaces > 1)}"


def _combs(sheet: Sheet, combs: Sequence[slope_scale.Comb], x: float, edge: float, *, down: bool) -> None:
    """Draw combs from left to right, their lines beginning on the edge that lies on the map."""
    room, between = slope_scale.COMB_ROOM_MM
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


def _line_mm(combs: Sequence[slope_scale.Comb], most: float) -> float:
    """Width of a comb's lines: thin enough that the closest of them stay apart."""
    return min([most, *(0.3 * comb.spacing_mm for comb in combs)])


def _wedges(one: slope_scale.MapScale) -> list[tuple[slope_scale.Wedge, str, float, float]]:
    """Wedges of a card: with title, width of its lines and of its part of the card, mm."""
    found = [(one.wedge, "Single gaps", 0.1), (one.index_wedge, "Index lines", 0.25)]
    return [
        (wedge, title, line, max(28.0, wedge.spaces * wedge.spacings_mm[0] + 14.0))
        for wedge, title, line in found
        if wedge is not None
    ]


def _card_width(sheet: Sheet, one: slope_scale.MapScale) -> float:
    return max(
        sum(wide for _, _, _, wide in _wedges(one)) + 4.0, sheet.text_width_mm(one.name, 7, bold=True) + 6.0
    )


def _card(sheet: Sheet, one: slope_scale.MapScale, x: float, y: float) -> float:
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


def _wedge(sheet: Sheet, wedge: slope_scale.Wedge, x: float, top: float, line_mm: float) -> None:
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


PANEL_MM: Final = 47.0
"""Side of a panel, mm (our choice)."""

PANEL_STEP_MM: Final = 60.0
ROW_MM: Final = 4.0
MAGNIFIED: Final = (20.0, 10.0, 5.0, 2.0)
"""How many times larger the gap is drawn beside its true size: the largest that fits (our choice)."""

MAGNIFIED_ROOM_MM: Final = 60.0


def error_pdf(result: slope_scale.ErrorSheet, *, paper: str = "a4") -> bytes:
    """Draw the sheet; the same bytes for the same one."""
    sheet = Sheet(f"How a ruler fools you: {result.name}", result.cautions, paper=paper)
    y = sheet.across(
        sheet.top_mm - 1.0,
        "The ground has one slope; the ruler reads the gap a little long or a little short. Find the slope "
        "of the ground below a panel, look up, and see between which slopes the answers lie. The error "
        "belongs to the whole length, not to each gap: measure over more gaps and it weighs less, but the "
        "answer averages more ground.",
        size_pt=8,
    )
    y = _panels(sheet, result.curves, y - 5.0)
    y = _gap_picture(sheet, result, y - 5.0)
    for table in result.tables:
        y = sheet.room(y, y - 8.0 - ROW_MM * (len(table.rows) + 1), 0.0)
        y = _table(sheet, table, y - 2.0)
    return sheet.finish()


def _tint(error_mm: float) -> Colour:
    return band_tint(slope_scale.ERRORS_MM.index(error_mm), len(slope_scale.ERRORS_MM))


def _panels(sheet: Sheet, curves: Sequence[slope_scale.ErrorCurve], top: float) -> float:
    """Draw one panel for each count of gaps, and the legend."""
    for number, gaps in enumerate(slope_scale.GAP_COUNTS):
        x = sheet.left_mm + 9.0 + number * PANEL_STEP_MM
        _panel(sheet, [curve for curve in curves if curve.gaps == gaps], x, top - 4.0 - PANEL_MM)
    y = top - PANEL_MM - 14.5
    x = sheet.left_mm + 9.0
    sheet.text(x, y, "Error of the reading:", size_pt=7)
    x += 31.0
    for error_mm in slope_scale.ERRORS_MM:
        sheet.box(x, y - 0.6, 5.0, 3.2, 0.1, fill=_tint(error_mm))
        sheet.text(x + 6.2, y, f"± {error_mm:g} mm", size_pt=7)
        x += 23.0
    return y - 2.0


def _panel(sheet: Sheet, curves: Sequence[slope_scale.ErrorCurve], x: float, y: float) -> None:
    """Draw nested zones of what is read, the widest first, over slopes of the ground."""
    first, last = slope_scale.CURVE_SLOPES_DEG[0], slope_scale.CURVE_SLOPES_DEG[-1]
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


def _gap_picture(sheet: Sheet, result: slope_scale.ErrorSheet, top: float) -> float:
    """Draw the gap of 30 degrees true to size, and larger with the errors round one line."""
    gap, x, y = result.gap_30_mm, sheet.left_mm, top - 13.0
    text = f"One gap at 30° is {millimetres(gap, step=0.01, rounding='up').short}: true size here"
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
    for error_mm in reversed(slope_scale.ERRORS_MM):
        left = max(x, x + times * (gap - error_mm))
        sheet.box(left, y, x + times * (gap + error_mm) - left, 11.0, 0.05, fill=_tint(error_mm))
    for k in (0, 1):
        at = x + k * times * gap
        sheet.line(at, y, at, y + 11.0, 0.1 * times / 2)
    return y


def _table(sheet: Sheet, table: slope_scale.ErrorTable, top: float) -> float:
    """Write one table; lower ends go down, upper ends up."""
    x, y = sheet.left_mm, top - 3.6
    gaps = f"{table.gaps} gap{'s' * (table.gaps > 1)}"
    title = f"Over {gaps}: what you may read. At 30° it averages {ground_run(table.ground_30_m)} of ground."
    sheet.text(x, y, title, size_pt=8, bold=True)
    columns = [x + 18.0, x + 40.0, *(x + 66.0 + 25.5 * k for k in range(len(slope_scale.ERRORS_MM)))]
    y -= ROW_MM
    heads = ["slope", "length", *(f"± {error_mm:g} mm" for error_mm in slope_scale.ERRORS_MM)]
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
