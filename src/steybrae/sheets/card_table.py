"""The table of a card: one row for each leg, to be read while walking. Letters of 8 points at least."""

from __future__ import annotations

from typing import Final

from steybrae.card.result import CardLeg, RouteCard
from steybrae.card.wording import (
    bearing_shown,
    beside_short,
    cliff_short,
    climb_text,
    corridor_text,
    distance_texts,
    elevation_text,
    minutes_text,
    place_text,
    steepness_text,
)
from steybrae.sheets.card_rows import LEFT_MM, RIGHT_MM
from steybrae.sheets.millimetres import Paper
from steybrae.value import AT_LEAST, distance_off, steep_length

LEG_LINE_HEAD_MM: Final = 6.0
LEG_LINE_MM: Final = 11.6
"""Ten rows and their head fill one half of an A4 page (our choice)."""

_X: Final = {"number": 8.0, "to": 16.5, "bearing": 57.0, "length": 81.0, "climb": 101.0, "time": 126.5,
             "ground": 145.0, "places": 189.0}  # fmt: skip
_GROUND_MM: Final = 43.0
_SMALL: Final = 8.0


def leg_line_head(card: RouteCard, paper: Paper, top_mm: float) -> None:
    """Name the columns."""
    on_map = " | mm" if card.scale else ""
    for column, words in (
        ("number", "leg"),
        ("to", "to"),
        ("bearing", "magnetic"),
        ("length", f"length{on_map}"),
        ("climb", "climb | height"),
        ("time", f"time{' | at' if card.start_text else ''}"),
        ("ground", "steepest | corridor | drop, cliff"),
        ("places", "places"),
    ):
        paper.text(_X[column], top_mm + 4.0, words, _SMALL)
    paper.rule((LEFT_MM, top_mm + LEG_LINE_HEAD_MM - 0.6), (RIGHT_MM, top_mm + LEG_LINE_HEAD_MM - 0.6), 1.2)


def leg_line(card: RouteCard, leg: CardLeg, paper: Paper, top_mm: float) -> None:
    """Draw a leg from the top edge of its row."""
    first, second = top_mm + 5.0, top_mm + 9.4
    length, on_map = distance_texts(leg)
    reference = place_text(leg.to, leg.to_place.written, leg.to_place.reference)
    turns = bearing_shown(leg.bearing_magnetic_deg, card.bearing_unit)
    small = "true " + bearing_shown(leg.bearing_true_deg, card.bearing_unit)
    texts = (
        ("number", first, str(leg.number), 14.0, True, 7.5),
        ("to", first, leg.to, 10.5, True, 39.5),
        ("to", second, reference, 9.0, False, 39.5),
        ("bearing", first + 0.6, turns, 16.5, True, 23.0),
        ("bearing", second, f"{small}{'  bends!' if leg.bends else ''}", _SMALL, False, 23.0),
        ("length", first, length, 11.0, True, 19.0),
        ("length", second, on_map.split(",", maxsplit=1)[0], 9.0, True, 19.0),
        ("climb", first, climb_text(leg).removeprefix(AT_LEAST).strip(), 9.0, True, 24.5),
        ("climb", second, _height(leg), _SMALL, False, 24.5),
        ("time", first, minutes_text(leg.time_min), 10.0, True, 17.5),
        ("time", second, leg.arrival_text.split(" ", maxsplit=1)[0], 9.0, True, 17.5),
        ("ground", top_mm + 3.9, steepness_text(leg.ground), 10.5, True, _GROUND_MM),
        ("ground", top_mm + 7.1, corridor_text(leg.ground), 8.5, True, _GROUND_MM),
        ("ground", top_mm + 10.1, _besides(leg), _SMALL, True, _GROUND_MM),
    )
    for column, y_mm, words, size_pt, bold, most_mm in texts:
        paper.text(_X[column], y_mm, words, size_pt, bold=bold, most_mm=most_mm, cut=column == "to")
    letters = [place.name for place in card.places if place.from_.leg <= leg.number <= place.to.leg]
    lines = [" ".join(letters)] if len(letters) < 4 else [" ".join(letters[:3]), " ".join(letters[3:])]
    for y_mm, words in zip((first, second), lines, strict=False):
        paper.text(_X["places"], y_mm, words, 11.0, bold=True, most_mm=RIGHT_MM - _X["places"])
    paper.rule((LEFT_MM, top_mm + LEG_LINE_MM - 0.6), (RIGHT_MM, top_mm + LEG_LINE_MM - 0.6), 0.4)


def _height(leg: CardLeg) -> str:
    """Height at the end, and whether the climb may be more."""
    height = elevation_text(leg).split(";", maxsplit=1)[0]
    return f"{AT_LEAST} | {height}" if leg.ascent_at_least else height


def _besides(leg: CardLeg) -> str:
    """Unknown metres, a drop, and cliffs below where no drop is told: what no slope tells."""
    ground = leg.ground
    if ground is None:
        return ""
    parts = [f"{steep_length(ground.unknown_m).text} unkn."] if ground.unknown_m else []
    if ground.drop is not None:
        parts.append(f"DROP {distance_off(ground.drop.off_m).text} {ground.drop.side}")
    for cliff in leg.cliffs:
        if ground.drop is None or cliff.side != ground.drop.side:
            parts.append(f"cliff {distance_off(cliff.distance_m).text} {cliff.side}")
    return ", ".join(parts)


def corridor_lines(card: RouteCard) -> list[str]:
    """Tell what lies in the corridor of each leg, for walking in poor visibility."""
    out = []
    for leg in card.legs:
        sides = []
        for side in ("left", "right", "ahead", "behind"):
            found = [beside_short(beside) for beside in leg.beside if beside.side == side]
            found += [f"cliff below {cliff_short(leg, one)}" for one in leg.cliffs if one.side == side]
            if found:
                sides.append(f"{side} {'; '.join(found)}")
        if sides:
            out.append(f"Leg {leg.number}: {'. '.join(sides)}.")
    return out
