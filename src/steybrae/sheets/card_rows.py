"""The rows of a card on paper: one leg, one check. Sizes for reading at arm's length."""

from __future__ import annotations

from typing import Final

from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.card.wording import (
    above_text,
    bearing_shown,
    beside_short,
    cliffs_text,
    climb_text,
    corridor_text,
    distance_texts,
    elevation_text,
    grounds_text,
    limits_text,
    look_text,
    minutes_text,
    overhead_lines,
    place_text,
    steepness_text,
    where_text,
)
from steybrae.quantities import slope_text
from steybrae.sheets.millimetres import Paper
from steybrae.value import AT_LEAST

__all__ = [
    "CHECK_HEAD_MM",
    "CHECK_MM",
    "FOLD_MM",
    "LEFT_MM",
    "LEG_HEAD_MM",
    "RIGHT_MM",
    "TOP_MM",
    "check_head",
    "check_row",
    "leg_head",
    "leg_mm",
    "leg_row",
    "two_lines",
]

LEFT_MM: Final = 8.0
RIGHT_MM: Final = 202.0
FOLD_MM: Final = 105.0
"""Where a part folds once more; no figure of a leg crosses it."""

TOP_MM: Final = 7.0
LEG_HEAD_MM: Final = 6.5
LEG_MM: Final = 30.6
LEG_OVERHEAD_MM: Final = 41.9
LEG_BOTH_MM: Final = 45.5
"""Rows of four, of three and of two to a part: a pencil needs some 8 mm (common practice, no source)."""

CHECK_HEAD_MM: Final = 18.6
CHECK_MM: Final = 14.2

_LEG: Final = {"number": 8.0, "to": 21.0, "bearing": 68.0, "length": 107.0, "time": 139.0, "ground": 164.5}
_CHECK: Final = {"number": 8.0, "place": 24.0, "look": 107.0, "expect": 134.0, "limits": 150.0, "box": 184.0}
_SMALL: Final = 8.0


def leg_head(card: RouteCard, paper: Paper, top_mm: float) -> None:
    """Name the columns of the legs."""
    grid = "" if card.grid == "latlon" else ", grid"
    for column, words in (
        ("number", "leg"),
        ("to", "from, to"),
        ("bearing", f"bearing: magnetic{grid}, true"),
        ("length", "length, climb"),
        ("time", f"time{', arrive' if card.start_text else ''}"),
        ("ground", "steepest on it, in its corridor"),
    ):
        paper.text(_LEG[column], top_mm + 4.2, words, 7.5, most_mm=38.0)
    _line(paper, top_mm + LEG_HEAD_MM - 0.6, 1.4)


def _line(paper: Paper, y_mm: float, width_pt: float) -> None:
    paper.rule((LEFT_MM, y_mm), (RIGHT_MM, y_mm), width_pt)


def leg_mm(card: RouteCard, leg: CardLeg) -> float:
    """Height of a row: four to a part, or three where something is overhead or a cliff below."""
    return (LEG_MM, LEG_OVERHEAD_MM, LEG_OVERHEAD_MM, LEG_BOTH_MM)[len(_warnings(card, leg))]


def _warnings(card: RouteCard, leg: CardLeg) -> list[tuple[str, float, bool]]:
    """Lines on a cliff below and on what is overhead: words, size and whether bold."""
    above, outside = _overhead(card, leg)
    lines = [(cliffs_text(leg), 9.0, True), (above, 9.0, True), (outside, 8.5, False)]
    return [line for line in lines if line[0]]


def _overhead(card: RouteCard, leg: CardLeg) -> tuple[str, str]:
    """Two lines on what is overhead; empty where nothing was found, which takes no room on paper."""
    found = leg.ground.overhead if leg.ground else None
    if found is None or not (found.in_possible_zone or found.unknown_above):
        angles = () if found is None else (found.sight_deg, found.unfiltered_deg, found.path_deg)
        if all(angle is None for angle in angles):
            return "", ""
    return overhead_lines(found, card.bearing_unit)


def leg_row(card: RouteCard, leg: CardLeg, paper: Paper, top_mm: float) -> None:
    """Draw a leg from the top edge of its row."""
    paper.text(_LEG["number"], top_mm + 9.0, str(leg.number), 22.0, bold=True, most_mm=12.0)
    for k, check in enumerate(leg.checks[:3]):
        paper.text(_LEG["number"], top_mm + 13.2 + 3.2 * k, f"check {check.number}", 7.0, most_mm=12.5)
    _places(leg, paper, top_mm)
    _bearings(card, leg, paper, top_mm)
    _length(leg, paper, top_mm)
    _time(leg, paper, top_mm)
    _ground(leg, paper, top_mm)
    _sides(leg, paper, top_mm + 23.8)
    for k, (words, size_pt, bold) in enumerate(_warnings(card, leg)):
        paper.text(LEFT_MM, top_mm + 27.6 + 3.6 * k, words, size_pt, bold=bold, most_mm=RIGHT_MM - LEFT_MM)
    bottom_mm = top_mm + leg_mm(card, leg)
    paper.text(LEFT_MM, bottom_mm - 1.6, "notes", 6.0)
    paper.rule((LEFT_MM + 8.0, bottom_mm - 1.4), (RIGHT_MM, bottom_mm - 1.4), 0.5, dots=True)
    _line(paper, bottom_mm, 0.9)


def _places(leg: CardLeg, paper: Paper, top_mm: float) -> None:
    x_mm, most_mm = _LEG["to"], 45.0
    paper.text(x_mm, top_mm + 3.8, f"from {leg.from_}", 7.5, most_mm=most_mm, cut=True)
    lines = two_lines(paper, leg.to, most_mm, 12.5)
    for k, line in enumerate(lines):
        paper.text(x_mm, top_mm + 8.8 + 4.8 * k, line, 12.5, bold=True, most_mm=most_mm, cut=True)
    place = leg.to_place
    y_mm = top_mm + 9.2 + 4.8 * len(lines)
    reference = place_text(leg.to, place.written, place.reference)
    paper.text(x_mm, y_mm, reference, 10.5, bold=True, most_mm=most_mm)


def two_lines(paper: Paper, words: str, most_mm: float, size_pt: float) -> list[str]:
    """Break bold words into two lines at the most; the second may be too long."""
    lines = paper.wrapped(words, most_mm, size_pt, bold=True)
    return lines if len(lines) < 2 else [lines[0], " ".join(lines[1:])]


def _bearings(card: RouteCard, leg: CardLeg, paper: Paper, top_mm: float) -> None:
    x_mm, unit = _LEG["bearing"], card.bearing_unit
    shown = bearing_shown(leg.bearing_magnetic_deg, unit)
    width_mm = paper.text(x_mm, top_mm + 9.8, shown, 25.0, bold=True, most_mm=30.0)
    paper.text(x_mm + width_mm + 1.0, top_mm + 9.8, "mag", 8.0)
    grid = "" if leg.bearing_grid_deg is None else f"grid {bearing_shown(leg.bearing_grid_deg, unit)}   "
    true = f"true {bearing_shown(leg.bearing_true_deg, unit)}"
    paper.text(x_mm, top_mm + 14.2, f"{grid}{true}", 9.0, bold=True, most_mm=35.0)
    back = f"back {bearing_shown(leg.back_bearing_magnetic_deg, unit)} mag"
    bends = "   line bends!" if leg.bends else ""
    paper.text(x_mm, top_mm + 18.2, f"{back}{bends}", 8.5, most_mm=35.0)


def _length(leg: CardLeg, paper: Paper, top_mm: float) -> None:
    length, on_map = distance_texts(leg)
    lines = (
        (7.4, length, 16.0),
        (11.8, on_map, 9.0),
        (16.6, climb_text(leg), 11.0),
    )
    for y_mm, words, size_pt in lines:
        paper.text(_LEG["length"], top_mm + y_mm, words, size_pt, bold=True, most_mm=30.0)
    paper.text(_LEG["length"], top_mm + 20.2, elevation_text(leg), _SMALL, most_mm=30.0)


def _time(leg: CardLeg, paper: Paper, top_mm: float) -> None:
    x_mm = _LEG["time"]
    paper.text(x_mm, top_mm + 7.4, minutes_text(leg.time_min), 15.0, bold=True, most_mm=23.5)
    if leg.time_min is not None and leg.time_at_least:
        paper.text(x_mm, top_mm + 10.6, AT_LEAST, 7.5)
    paper.text(x_mm, top_mm + 14.8, leg.arrival_text, 11.5, bold=True, most_mm=23.5)
    paper.text(x_mm, top_mm + 18.4, leg.daylight_text, 7.0, most_mm=24.5)


def _ground(leg: CardLeg, paper: Paper, top_mm: float) -> None:
    x_mm = _LEG["ground"]
    most_mm = RIGHT_MM - x_mm
    paper.text(x_mm, top_mm + 5.2, steepness_text(leg.ground), 13.0, bold=True, most_mm=most_mm)
    paper.text(x_mm, top_mm + 9.7, corridor_text(leg.ground), 11.0, bold=True, most_mm=most_mm)
    for k, line in enumerate(grounds_text(leg.ground)):
        paper.text(x_mm, top_mm + 12.8 + 2.8 * k, line, _SMALL, most_mm=most_mm)


def _sides(leg: CardLeg, paper: Paper, y_mm: float) -> None:
    """Write what lies to the left into the left half, to the right into the right one."""
    halves = (("left", LEFT_MM, FOLD_MM - 2.0), ("right", FOLD_MM + 2.0, RIGHT_MM))
    for side, x_mm, end_mm in halves:
        found = [beside_short(beside) for beside in leg.beside if beside.side == side]
        if found:
            words = f"{side.capitalize()}: {'; '.join(found)}"
            paper.text(x_mm, y_mm, words, 8.5, most_mm=end_mm - x_mm)


def check_head(paper: Paper, top_mm: float) -> None:
    """Name the columns of the checks, and say how to use them."""
    paper.text(LEFT_MM, top_mm + 4.6, "Checks: places worth a reading", 11.0, bold=True)
    words = (
        "Look along the bearing, which is magnetic, up or down as it says. Readings within the limits do not "
        "differ from the model by more than both may err; where the limits are wide that proves little. "
        "The steeper figure leads."
    )
    paper.paragraph(LEFT_MM, top_mm + 8.6, words, RIGHT_MM - LEFT_MM, 7.5)
    for column, label in (
        ("number", "check"),
        ("place", "place"),
        ("look", "look along"),
        ("expect", "expect"),
        ("limits", "limits; steeper above"),
        ("box", "reading"),
    ):
        paper.text(_CHECK[column], top_mm + 16.6, label, 7.5)
    _line(paper, top_mm + CHECK_HEAD_MM - 0.6, 1.4)


def check_row(card: RouteCard, check: Check, paper: Paper, top_mm: float) -> None:
    """Draw a check from the top edge of its row."""
    unit, y_mm = card.bearing_unit, top_mm + 6.4
    paper.text(_CHECK["number"], y_mm + 2.0, check.number, 17.0, bold=True, most_mm=15.0)
    paper.text(_CHECK["place"], y_mm - 1.0, check.reference, 11.0, bold=True, most_mm=80.0)
    where = f"{check.what}, {where_text(check)}"
    for k, line in enumerate(paper.wrapped(where, 80.0, _SMALL)[:2]):
        paper.text(_CHECK["place"], y_mm + 2.8 + 3.2 * k, line, _SMALL, most_mm=80.0)
    size_pt = 17.0 if check.look_bearing_magnetic_deg is not None else 8.5
    paper.text(_CHECK["look"], y_mm + 2.0, look_text(check, unit), size_pt, bold=True, most_mm=25.5)
    paper.text(_CHECK["expect"], y_mm + 2.0, slope_text(check.expected_deg), 12.0, bold=True, most_mm=15.0)
    paper.text(_CHECK["limits"], y_mm - 1.0, limits_text(check), 10.0, bold=True, most_mm=33.0)
    paper.text(_CHECK["limits"], y_mm + 3.8, f"steeper above {above_text(check)}", 9.5, most_mm=33.0)
    paper.box(_CHECK["box"], top_mm + 1.8, (RIGHT_MM - _CHECK["box"], CHECK_MM - 3.8))
    _line(paper, top_mm + CHECK_MM - 0.4, 0.5)
