"""The rows of a card on paper: one leg, one check. Sizes for reading at arm's length."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final, NamedTuple

from steybrae.card import wording
from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.frozen import dataclass
from steybrae.sheets.true_size import Canvas
from steybrae.value import AT_LEAST, slope

LEFT_MM: Final = 8.0
RIGHT_MM: Final = 202.0
FOLD_MM: Final = 105.0
"""Where a part folds once more; no figure of a leg crosses it."""

TOP_MM: Final = 7.0
LEG_HEAD_MM: Final = 6.5
NOTES_MM: Final = 6.0
"""Room for a pencil under a row, besides what its last line leaves (common practice, no source: some 8)."""

CHECK_HEAD_MM: Final = 20.4
CHECK_MM: Final = 17.0

_LEG: Final = {"number": 8.0, "to": 21.0, "bearing": 68.0, "length": 107.0, "time": 139.0, "ground": 164.5}
_CHECK: Final = {"number": 8.0, "place": 24.0, "look": 107.0, "expect": 134.0, "limits": 150.0, "box": 184.0}
_SMALL: Final = 8.0


class Block(NamedTuple):
    """Something of a height that is drawn from a top edge; no end of a part cuts it."""

    height_mm: float
    draw: Callable[[Canvas, float], None]


def leg_head(card: RouteCard, paper: Canvas, top_mm: float) -> None:
    """Name the columns of the legs."""
    grid = "" if card.grid == "latlon" else ", grid"
    for column, words in (
        ("number", "leg"),
        ("to", "from, to"),
        ("bearing", f"magnetic{grid}, true"),
        ("length", "length, climb"),
        ("time", f"time{', arrive' if card.start_text else ''}"),
        ("ground", "steepest; corridor"),
    ):
        paper.text(_LEG[column], top_mm + 4.2, words, _SMALL, most_mm=38.0)
    rule(paper, top_mm + LEG_HEAD_MM - 0.6, 0.5)


def rule(
    paper: Canvas,
    y_mm: float,
    width_mm: float,
    *,
    from_mm: float = LEFT_MM,
    to_mm: float = RIGHT_MM,
    dots: bool = False,
) -> None:
    """Draw a level line, dotted where it is to be written on."""
    paper.line(from_mm, y_mm, to_mm, y_mm, width_mm, dash_mm=(0.2, 0.7) if dots else ())


def leg_block(card: RouteCard, leg: CardLeg, paper: Canvas) -> Block:
    """Make the row of a leg, as high as its words ask; nothing in it is under 8 points."""
    texts = list(_columns(card, leg, paper))
    low_mm = max(text.y_mm for text in texts) + 4.2
    sides = list(_sides(leg, paper, low_mm))
    low_mm = max((text.y_mm + 3.6 for text in sides), default=low_mm)
    for words, size_pt, bold in _warnings(card, leg):
        for line in paper.wrapped(words, RIGHT_MM - LEFT_MM, size_pt, bold=bold):
            sides.append(_Text(LEFT_MM, low_mm, line, size_pt, bold, None))
            low_mm += 3.7
    height_mm = low_mm + NOTES_MM
    return Block(height_mm, partial(_draw_leg, (*texts, *sides), height_mm))


def _draw_leg(texts: Sequence[_Text], height_mm: float, paper: Canvas, top_mm: float) -> None:
    for text in texts:
        paper.text(
            text.x_mm, top_mm + text.y_mm, text.words, text.size_pt, bold=text.bold, most_mm=text.most_mm,
            cut=text.cut,
        )  # fmt: skip
    bottom_mm = top_mm + height_mm
    paper.text(LEFT_MM, bottom_mm - 1.6, "notes", _SMALL)
    rule(paper, bottom_mm - 1.4, 0.18, from_mm=LEFT_MM + 11.0, dots=True)
    rule(paper, bottom_mm, 0.32)


@dataclass(frozen=True)
class _Text:
    """Words from a place below the top edge of a row; made smaller, or cut, to a width."""

    x_mm: float
    y_mm: float
    words: str
    size_pt: float
    bold: bool
    most_mm: float | None
    cut: bool = False


def _wrapped(
    paper: Canvas, at: tuple[float, float], words: Sequence[str], width_mm: float, size_pt: float = 8.0
) -> Iterator[_Text]:
    """Lines of small words one under another."""
    x_mm, y_mm = at
    for line in (line for one in words for line in paper.wrapped(one, width_mm, size_pt)):
        yield _Text(x_mm, y_mm, line, size_pt, False, None)
        y_mm += paper.line_mm(size_pt)


def _warnings(card: RouteCard, leg: CardLeg) -> list[tuple[str, float, bool]]:
    """Lines on a cliff below and on what is overhead: words, size and whether bold."""
    above, outside = _overhead(card, leg)
    lines = [(wording.cliffs_text(leg), 9.0, True), (above, 9.0, True), (outside, 8.5, False)]
    return [line for line in lines if line[0]]


def _overhead(card: RouteCard, leg: CardLeg) -> tuple[str, str]:
    """Two lines on what is overhead; empty where nothing was found, which takes no room on paper."""
    found = leg.ground.overhead if leg.ground else None
    if found is None or not (found.in_possible_zone or found.unknown_above):
        angles = () if found is None else (found.sight_deg, found.unfiltered_deg, found.path_deg)
        if all(angle is None for angle in angles):
            return "", ""
    return wording.overhead_lines(found, card.bearing_unit)


def _columns(card: RouteCard, leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    yield _Text(_LEG["number"], 9.0, str(leg.number), 22.0, True, 12.0)
    checks = [" ".join(check.number for check in leg.checks)] if leg.checks else []
    yield from _wrapped(paper, (_LEG["number"], 13.6), checks, 12.5)
    yield from _places(leg, paper)
    yield from _bearings(card, leg, paper)
    yield from _length(leg, paper)
    yield from _time(card, leg, paper)
    yield from _ground(leg, paper)


def _places(leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    x_mm, most_mm = _LEG["to"], 45.0
    yield _Text(x_mm, 3.8, f"from {leg.from_}", _SMALL, False, most_mm, cut=True)
    lines = two_lines(paper, leg.to, most_mm, 12.5)
    for k, line in enumerate(lines):
        yield _Text(x_mm, 8.8 + 4.8 * k, line, 12.5, True, most_mm, cut=True)
    reference = wording.place_text(leg.to, leg.to_place.written, leg.to_place.reference)
    yield _Text(x_mm, 9.2 + 4.8 * len(lines), reference, 10.5, True, most_mm)


def two_lines(paper: Canvas, words: str, most_mm: float, size_pt: float) -> list[str]:
    """Break bold words into two lines at the most; the second may be too long."""
    lines = paper.wrapped(words, most_mm, size_pt, bold=True, whole=True)
    return lines if len(lines) < 2 else [lines[0], " ".join(lines[1:])]


def _bearings(card: RouteCard, leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    x_mm, unit = _LEG["bearing"], card.bearing_unit
    shown = wording.bearing_shown(leg.bearing_magnetic_deg, unit)
    yield _Text(x_mm, 9.8, shown, 25.0, True, 30.0)
    width_mm = min(paper.text_width_mm(shown, 25.0, bold=True), 30.0)
    yield _Text(x_mm + width_mm + 1.0, 9.8, "mag", _SMALL, False, None)
    norths = {"grid": leg.bearing_grid_deg, "true": leg.bearing_true_deg}
    told = (f"{north} {wording.bearing_shown(deg, unit)}" for north, deg in norths.items() if deg is not None)
    yield _Text(x_mm, 14.2, "  ".join(told), 9.0, True, 36.0)
    back = f"back {wording.bearing_shown(leg.back_bearing_magnetic_deg, unit)} mag"
    for k, words in enumerate([back, *(["line bends!"] if leg.bends else [])]):
        yield _Text(x_mm, 18.2 + 3.4 * k, words, 8.5, False, 35.0)


def _length(leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    (length, on_map), climb = wording.distance_texts(leg), wording.climb_text(leg)
    for y_mm, words, size_pt in ((7.4, length, 16.0), (11.8, on_map, 9.0), (16.6, climb, 11.0)):
        yield _Text(_LEG["length"], y_mm, words, size_pt, True, 30.0)
    yield from _wrapped(paper, (_LEG["length"], 20.4), wording.elevation_text(leg).split("; "), 30.0)


def _time(card: RouteCard, leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    x_mm = _LEG["time"]
    yield _Text(x_mm, 7.4, wording.minutes_text(leg.time_min), 15.0, True, 23.5)
    if leg.time_min is not None and leg.time_at_least:
        yield _Text(x_mm, 10.6, AT_LEAST, _SMALL, False, None)
    lines = two_lines(paper, wording.arrival_text(card, leg), 23.5, 11.5)
    for k, line in enumerate(lines):
        yield _Text(x_mm, 14.8 + 4.4 * k, line, 11.5, True, 23.5)
    yield from _wrapped(paper, (x_mm, 14.2 + 4.4 * len(lines)), [leg.daylight_text], 24.0)


def _ground(leg: CardLeg, paper: Canvas) -> Iterator[_Text]:
    x_mm = _LEG["ground"]
    most_mm = RIGHT_MM - x_mm
    yield _Text(x_mm, 5.2, wording.steepness_text(leg.ground), 13.0, True, most_mm)
    yield _Text(x_mm, 9.7, wording.corridor_text(leg.ground), 11.0, True, most_mm)
    yield from _wrapped(paper, (x_mm, 13.4), wording.grounds_text(leg.ground), most_mm)


def _sides(leg: CardLeg, paper: Canvas, y_mm: float) -> Iterator[_Text]:
    """Write what lies to the left into the left half, to the right into the right one."""
    halves = (("left", LEFT_MM, FOLD_MM - 2.0), ("right", FOLD_MM + 2.0, RIGHT_MM))
    for side, x_mm, end_mm in halves:
        found = [wording.beside_short(beside) for beside in leg.beside if beside.side == side]
        if found:
            words = f"{side.capitalize()}: {'; '.join(found)}"
            yield from _wrapped(paper, (x_mm, y_mm), [words], end_mm - x_mm, 8.5)


def check_head(paper: Canvas, top_mm: float) -> None:
    """Name the columns of the checks, and say how to use them."""
    paper.text(LEFT_MM, top_mm + 4.6, "Checks: places worth a reading", 11.0, bold=True)
    words = (
        "Look along the bearing, which is magnetic, up or down as it says. Readings within the limits do not "
        "differ from the model by more than both may err; where the limits are wide that proves little. "
        "The steeper figure leads."
    )
    paper.paragraph(LEFT_MM, top_mm + 5.9, RIGHT_MM - LEFT_MM, words, size_pt=_SMALL)
    for column, label in (
        ("number", "check"),
        ("place", "place"),
        ("look", "look along"),
        ("expect", "expect"),
        ("limits", "no difference"),
        ("box", "reading"),
    ):
        paper.text(_CHECK[column], top_mm + 18.4, label, _SMALL)
    rule(paper, top_mm + CHECK_HEAD_MM - 0.6, 0.5)


def check_row(card: RouteCard, check: Check, paper: Canvas, top_mm: float) -> None:
    """Draw a check from the top edge of its row."""
    unit, y_mm = card.bearing_unit, top_mm + 6.4
    paper.text(_CHECK["number"], y_mm + 2.0, check.number, 17.0, bold=True, most_mm=15.0)
    paper.text(_CHECK["place"], y_mm - 1.0, check.reference, 11.0, bold=True, most_mm=80.0)
    where = f"{check.what}, {wording.where_text(check)}"
    for k, line in enumerate(paper.wrapped(where, 80.0, _SMALL)):
        paper.text(_CHECK["place"], y_mm + 2.8 + 3.2 * k, line, _SMALL)
    size_pt = 17.0 if check.look_bearing_magnetic_deg is not None else 8.5
    paper.text(_CHECK["look"], y_mm + 2.0, wording.look_text(check, unit), size_pt, bold=True, most_mm=25.5)
    paper.text(_CHECK["expect"], y_mm + 2.0, slope(check.expected_deg).text, 12.0, bold=True, most_mm=15.0)
    paper.text(_CHECK["limits"], y_mm - 1.0, wording.limits_text(check), 10.0, bold=True, most_mm=33.0)
    for k, line in enumerate(paper.wrapped(f"but {wording.steeper_text(check)}", 33.0, 9.5)):
        paper.text(_CHECK["limits"], y_mm + 3.3 + 3.8 * k, line, 9.5)
    paper.box(_CHECK["box"], top_mm + 1.8, RIGHT_MM - _CHECK["box"], CHECK_MM - 3.8, 0.28)
    rule(paper, top_mm + CHECK_MM - 0.4, 0.18)
