"""The first part of a card (the day, the norths, lines to fill in by hand) and its table of legs.

The table has a row for each leg, to be read while walking, with letters of 8 points at least.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from steybrae.answers.forecast import (
    finding_lines,
    head_line,
    part_line,
    ratings_told,
    text_lines,
)
from steybrae.card import wording
from steybrae.card.result import CardLeg, RouteCard
from steybrae.card.times import latest_in_rows, latest_lead, latest_words
from steybrae.forecast.beside import NO_FORECAST_WORDS, ForecastBeside
from steybrae.forecast.choose import of_another_time
from steybrae.frozen import dataclass
from steybrae.names import cut
from steybrae.screening.places.words import letters_at
from steybrae.sheets.card_rows import FOLD_MM, LEFT_MM, RIGHT_MM, TOP_MM, rule, two_lines
from steybrae.sheets.true_size import Canvas
from steybrae.value import AT_LEAST

_TEXT: Final = 8.3
_TOTALS: Final = 10.0
_WIDTH_MM: Final = FOLD_MM - LEFT_MM - 4.0

_FORECAST: Final = (
    "Service, region",
    "Issued, valid until",
    "Danger level, from which height",
    "Problem 1: aspects, heights",
    "Problem 2: aspects, heights",
    "Snow and wind of the last days",
    "Wind, direction",
    "Freezing level, temperature",
    "Cloud, visibility",
)
_BOX: Final = 8.0
_PARTY_MM: Final = 8.0
"""Least room for a line to write on, millimetres: a pencil needs some 8 (common practice, no source)."""

_PARTY: Final = ("Party", "Turn back at (time, place)", "Who knows, when to call")
_VALUE: Final = 9.0


@dataclass(frozen=True)
class _Words:
    """Words of the left half: how large, how far the next stand below, whether in the paragraph before."""

    words: str
    size_pt: float = _TEXT
    bold: bool = False
    after_mm: float = 0.6
    runs_on: bool = False


def front_block(card: RouteCard, bottom_mm: float, paper: Canvas, top_mm: float) -> None:
    """Draw the first part: the day on the left, lines to fill in by hand on the right."""
    placed, _ = _laid(card, paper, bottom_mm)
    for down_mm, words in placed:
        y_mm = top_mm + down_mm
        paper.paragraph(LEFT_MM, y_mm, _WIDTH_MM, words.words, size_pt=words.size_pt, bold=words.bold)
    _by_hand(card, bottom_mm, paper, top_mm)


def front_rest(card: RouteCard, paper: Canvas, bottom_mm: float) -> tuple[str, ...]:
    """Return what the first part had no room for, to be printed elsewhere."""
    return _laid(card, paper, bottom_mm)[1]


def _day(card: RouteCard, paper: Canvas) -> Iterator[_Words]:
    """Words of the left half, in order."""
    name = two_lines(paper, card.name, _WIDTH_MM, 15.0)
    fitted = [paper.fitted(line, 15.0, _WIDTH_MM, bold=True, cut=True) for line in name]
    for line, size_pt in fitted:
        yield _Words(line, size_pt, bold=True, after_mm=0.0)
    start = f", start {card.start_text}" if card.start_text else ""
    yield _Words(f"{card.date}{start}", 13.0, bold=True, after_mm=2.0)
    totals = _abreast(wording.totals_lines(card), paper, _TOTALS, _WIDTH_MM)
    for number, line in enumerate(totals, start=1):
        yield _Words(line, _TOTALS, bold=True, after_mm=1.4 if number == len(totals) else 0.0)
    scale = f", map 1:{card.scale:.0f}" if card.scale else ""
    yield _Words(f"From {wording.from_text(card.legs[0])}. Grid: {wording.GRID_NAMES[card.grid]}{scale}.")
    with_scale, without = card.legs[0].compass
    yield _Words(f"Leg 1. {with_scale}", bold=True, after_mm=0.0)
    yield _Words(without, bold=True, after_mm=1.4)
    latest = latest_lead(card, rows=True) if latest_in_rows(card) else latest_words(card)
    for group in ((latest,), (wording.times_text(card),), card.norths.sentences, card.daylight_words):
        for k, line in enumerate(filter(None, group)):
            yield _Words(line, runs_on=k > 0)


def _abreast(lines: Sequence[str], paper: Canvas, size_pt: float, width_mm: float) -> list[str]:
    """Put short bold lines beside those before them where there is room: what comes below needs it too."""
    out: list[str] = []
    for line in lines:
        both = f"{out[-1]}; {line}" if out else line
        if out and paper.text_width_mm(both, size_pt, bold=True) <= width_mm:
            out[-1] = both
        else:
            out.append(line)
    return out


def _laid(
    card: RouteCard, paper: Canvas, bottom_mm: float
) -> tuple[list[tuple[float, _Words]], tuple[str, ...]]:
    """Place words from the top down, millimetres below it; and the words that found no room."""
    placed: list[tuple[float, _Words]] = []
    rest: list[str] = []
    y_mm = 0.0
    for words in _day(card, paper):
        at_mm, whole = y_mm, words
        if words.runs_on and not rest:
            at_mm, before = placed[-1]
            whole = replace(words, words=f"{before.words} {words.words}")
        lines = paper.wrapped(whole.words, _WIDTH_MM, words.size_pt, bold=words.bold)
        height_mm = len(lines) * paper.line_mm(words.size_pt)
        if rest or at_mm + height_mm > bottom_mm - TOP_MM:
            rest.append(words.words)
            continue
        placed[len(placed) - words.runs_on :] = [(at_mm, whole)]
        y_mm = at_mm + height_mm + words.after_mm
    return placed, tuple(rest)


def _by_hand(card: RouteCard, bottom_mm: float, paper: Canvas, top_mm: float) -> None:
    x_mm, right_mm = FOLD_MM + 2.0, RIGHT_MM
    paper.box(x_mm, top_mm, right_mm - x_mm, bottom_mm - top_mm - 1.0, 0.35)
    paper.text(x_mm + 2.0, top_mm + 5.4, "Avalanche forecast and weather", 11.0, bold=True)
    y_mm, lines = top_mm + 6.5, [*_FORECAST, *_PARTY]
    if card.forecast is not None:
        y_mm, lines = _forecast(card.forecast, paper, top_mm + 6.7, bottom_mm), list(_PARTY)
    else:
        y_mm = _not_given(card, paper, y_mm, bottom_mm - _PARTY_MM * len(lines))
    step_mm = min((bottom_mm - 1.5 - y_mm) / len(lines), 10.5)
    y_mm = bottom_mm - 1.5 - step_mm * len(lines)
    given = {_PARTY[0]: card.party, _PARTY[2]: wording.call_text(card)}
    for words in lines:
        _to_fill_in(paper, (x_mm + 2.0, y_mm + 3.0), words, given.get(words, ""), right_mm - x_mm - 4.0)
        y_mm += step_mm
        rule(paper, y_mm - 0.8, 0.2, from_mm=x_mm + 2.0, to_mm=right_mm - 2.0, dots=True)


def _not_given(card: RouteCard, paper: Canvas, y_mm: float, last_mm: float) -> float:
    """Say that there is no forecast, or that the plan's is left out, as far down as there is room."""
    (words,) = finding_lines(None, card.cautions)
    left_out, x_mm = words != NO_FORECAST_WORDS, FOLD_MM + 4.0
    note = "left out: fill in" if left_out else "none given: fill in"
    paper.text(RIGHT_MM - 2.0, y_mm - 1.1, note, _BOX, align="right")
    if not left_out:
        return y_mm
    width_mm = RIGHT_MM - FOLD_MM - 6.0
    room = (last_mm - y_mm) / paper.line_mm(_BOX)
    shown = cut(words, lambda text: len(paper.wrapped(text, width_mm, _BOX, bold=True)) <= room)
    return paper.paragraph(x_mm, y_mm + 0.2, width_mm, shown, size_pt=_BOX, bold=True)


def _to_fill_in(paper: Canvas, at_mm: tuple[float, float], words: str, given: str, most_mm: float) -> None:
    """Write the name of a line, and what is known of it: the rest of the line is for a pencil."""
    x_mm, y_mm = at_mm
    paper.text(x_mm, y_mm, words, 8.0)
    if given:
        paper.text(x_mm, y_mm + 3.6, given, _VALUE, bold=True, most_mm=most_mm, cut=True)


def _forecast(forecast: ForecastBeside, paper: Canvas, y_mm: float, bottom_mm: float) -> float:
    """Fill the box with what has to be seen first and what the forecasters wrote, as far as it goes.

    Returns where it ends; all of it stands in its own section later.
    """
    x_mm, width_mm = FOLD_MM + 4.0, RIGHT_MM - FOLD_MM - 6.0
    lines = [(line, True) for line in finding_lines(forecast)]
    told = () if of_another_time(forecast.findings) else forecast.bulletins
    for bulletin in told:
        lines += [(head_line(bulletin, forecast.region_asked), False)]
        lines += [(part_line(rating), True) for rating in ratings_told(bulletin)]
        lines += [(part_line(problem), True) for problem in bulletin.avalanche_problems]
    # Long words of the morning's leave the afternoon's levels their room.
    lines += [(line, False) for bulletin in told for line in text_lines(bulletin)]
    last_mm = bottom_mm - 1.5 - _PARTY_MM * len(_PARTY) - 6.7
    more = "More in the appendix (--appendix), with the legs it names."
    for line, bold in lines:
        need_mm = len(paper.wrapped(line, width_mm, _BOX, bold=bold)) * paper.line_mm(_BOX)
        if y_mm + need_mm > last_mm:
            more = "NOT ALL OF IT: the rest stands in the appendix (--appendix)."
            break
        y_mm = paper.paragraph(x_mm, y_mm, width_mm, line, size_pt=_BOX, bold=bold) - 0.35
    paper.text(x_mm, y_mm + 2.7, more, _BOX, bold=True)
    return y_mm + 3.7


LEG_LINE_HEAD_MM: Final = 6.0
LEG_LINE_MM: Final = 11.6
"""Ten rows and their head fill one half of an A4 page (our choice)."""

_X: Final = {"number": 8.0, "to": 16.5, "bearing": 57.0, "length": 81.0, "climb": 101.0, "time": 126.5,
             "ground": 145.0, "places": 189.0}  # fmt: skip
_GROUND_MM: Final = 43.0
_PLACES_MM: Final = RIGHT_MM - _X["places"]
_BESIDE_MM: Final = 3.1
_SMALL: Final = 8.0


def leg_line_head(card: RouteCard, latest: Mapping[int, str], paper: Canvas, top_mm: float) -> None:
    """Name the columns; `latest` are the times of `latest_in_rows`."""
    on_map = " | mm" if card.scale else ""
    for column, words in (
        ("number", "leg"),
        ("to", "to"),
        ("bearing", "magnetic"),
        ("length", f"length{on_map}"),
        ("climb", "climb | height"),
        ("time", f"time{' | at' if card.start_text else ''}{' | by' if latest else ''}"),
        ("ground", "steepest on the line"),
        ("places", "places"),
    ):
        paper.text(_X[column], top_mm + 4.0, words, _SMALL)
    rule(paper, top_mm + LEG_LINE_HEAD_MM - 0.6, 0.42)


def leg_line_mm(leg: CardLeg, paper: Canvas) -> float:
    """Height of the row of a leg: more where its ground takes a fourth line."""
    return LEG_LINE_MM + _BESIDE_MM * max(0, round((_ground(leg, paper)[-1][1] - 10.1) / _BESIDE_MM))


def _ground(leg: CardLeg, paper: Canvas) -> list[tuple[float, float, str, float]]:
    """Place the words of the ground from the corner of their column, mm and points.

    The corridor stands beside the steepest on the line where there is room: ten legs then go on one part.
    """
    on_line, corridor = wording.steepness_text(leg.ground), wording.corridor_text(leg.ground)
    x_mm = paper.text_width_mm(on_line, 10.5, bold=True) + 2.0
    abreast = x_mm + paper.text_width_mm(corridor, 8.5, bold=True) <= _GROUND_MM
    placed = [(0.0, 3.9, on_line, 10.5), (x_mm, 3.9, corridor, 8.5) if abreast else (0.0, 7.0, corridor, 8.5)]
    first_mm = 7.0 if abreast else 10.1
    besides = enumerate(_besides(leg, paper))
    return placed + [(0.0, first_mm + k * _BESIDE_MM, line, _SMALL) for k, line in besides]


def leg_line(card: RouteCard, leg: CardLeg, latest: str, paper: Canvas, top_mm: float) -> None:
    """Draw a leg from the top edge of its row."""
    first, second = top_mm + 5.0, top_mm + 9.4
    length, on_map = wording.distance_texts(leg)
    reference = wording.place_text(leg.to, leg.to_place.written, leg.to_place.reference)
    turns = wording.bearing_shown(leg.bearing_magnetic_deg, card.bearing_unit)
    at = leg.arrival_text.split(" ", maxsplit=1)[0]
    small = wording.set_text(leg, card.bearing_unit)
    three, needed = bool(latest), wording.minutes_text(leg.time_min)
    texts = (
        ("number", first, str(leg.number), 14.0, True, 7.5),
        ("to", first, leg.to, 10.5, True, 38.5),
        ("to", second, reference, 9.0, False, 39.5),
        ("bearing", first + 0.6, turns, 16.5, True, 23.0),
        ("bearing", second, f"{small}{'  bends!' if leg.bends else ''}", _SMALL, False, 23.0),
        ("length", first, length, 11.0, True, 19.0),
        ("length", second, on_map.split(",", maxsplit=1)[0], 9.0, True, 19.0),
        ("climb", first, wording.climb_text(leg).removeprefix(AT_LEAST).strip(), 9.0, True, 24.5),
        ("climb", second, wording.height_text(leg), _SMALL, False, 24.5),
        ("time", first - 1.3 * three, f"{needed}{'+' if leg.time_at_least else ''}", 10.0, True, 17.5),
        (
            "time",
            second - 2.6 * three,
            f"{at}{'+' if at and wording.may_be_later(card, leg) else ''}",
            9.0,
            True,
            17.5,
        ),
        ("time", top_mm + 9.8, latest, _SMALL, False, 18.0),
    )
    for column, y_mm, words, size_pt, bold, most_mm in texts:
        paper.text(_X[column], y_mm, words, size_pt, bold=bold, most_mm=most_mm, cut=column == "to")
    for x_mm, y_mm, words, size_pt in _ground(leg, paper):
        paper.text(_X["ground"] + x_mm, top_mm + y_mm, words, size_pt, bold=True, most_mm=_GROUND_MM - x_mm)
    letters = letters_at(card.places, leg.number)
    for k, words in enumerate(paper.wrapped(" ".join(letters), _PLACES_MM, 11.0, bold=True, whole=True)):
        paper.text(_X["places"], first + k * (second - first), words, 11.0, bold=True, most_mm=_PLACES_MM)
    rule(paper, top_mm + leg_line_mm(leg, paper) - 0.6, 0.14)


def _besides(leg: CardLeg, paper: Canvas) -> list[str]:
    lines = _abreast(list(wording.besides_texts(leg)), paper, _SMALL, _GROUND_MM)
    return [one for line in lines for one in paper.wrapped(line, _GROUND_MM, _SMALL, bold=True)]


def corridor_lines(card: RouteCard) -> list[str]:
    """Tell what lies in the corridor of each leg, for walking in poor visibility."""
    out = []
    for leg in card.legs:
        sides: list[str] = []
        for side in ("left", "right"):
            found = [wording.beside_short(beside) for beside in leg.beside if beside.side == side]
            if found:
                sides.append(f"{side.capitalize() if sides else side} {'; '.join(found)}")
        if leg.cliffs:
            sides.append(wording.cliffs_text(leg, short=True))
        if sides:
            out.append(f"Leg {leg.number}: {'. '.join(sides)}.")
    return out
