"""The places of a card, told at length or in a line, and the checks that lead. 8 points at least."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final

from steybrae.answers.places import legs_left_text
from steybrae.card.result import Check, RouteCard
from steybrae.card.wording import above_text, limits_text, look_text, where_text
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import place_line, start_words, stretch_words
from steybrae.sheets.card_rows import LEFT_MM, RIGHT_MM
from steybrae.sheets.true_size import Canvas
from steybrae.value import slope

_CHECK_TEXT_MM: Final = 14.0
_BOX_MM: Final = 17.0
_CHECK_WIDTH_MM: Final = RIGHT_MM - _BOX_MM - LEFT_MM - 4.0 - _CHECK_TEXT_MM - 3.0
_TEXT: Final = 8.3
_WIDTH_MM: Final = RIGHT_MM - LEFT_MM
_NAME_MM: Final = 6.0

Block = tuple[float, Callable[[Canvas, float], None]]


def place_blocks(card: RouteCard, paper: Canvas) -> Iterator[Block]:
    """Make the places, along the line, each followed by its leading checks."""
    leading = {check.number: check for leg in card.legs for check in leg.checks if check.leads}
    unmeasured = {leg.number for leg in card.legs if leg.steep_without_check}
    clock = _Clock(card)
    for place in card.places:
        legs = range(place.from_.leg, place.to.leg + 1)
        yield from _place(
            place, paper, clock.about(place), measured=bool(place.checks) or not unmeasured.intersection(legs)
        )
        for name in place.checks:
            if name in leading:
                yield _check(card, leading[name], paper)
    told = {name for place in card.places for name in place.checks}
    for name, check in leading.items():
        if name not in told:
            yield _check(card, check, paper)
    if card.places or card.legs_without or card.legs_possible_only:
        yield _paragraph(legs_left_text(card), paper)
    if card.places:
        yield _paragraph(ORDER_RULE, paper)


def _place(place: PlaceThatMatters, paper: Canvas, about: str, *, measured: bool) -> Iterator[Block]:
    if not place.at_length:
        words = f"{stretch_words(place)}: {place_line(place)}."
        count = len(paper.wrapped(words, _WIDTH_MM - _NAME_MM, _TEXT))
        yield count * paper.line_mm(_TEXT) + 0.8, partial(_in_a_line, place.name, words)
        return
    where = start_words(place)
    head = f"{place.name}  {where[0].upper()}{where[1:]}{about}"
    words = place.words if measured else f"{place.words} No check."
    count = len(paper.wrapped(words, _WIDTH_MM, _TEXT))
    yield 5.6 + count * paper.line_mm(_TEXT) + 1.2, partial(_at_length, head, words)


def _at_length(head: str, words: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 4.2, head, 10.0, bold=True, most_mm=_WIDTH_MM, cut=True)
    paper.paragraph(LEFT_MM, top_mm + 5.4, _WIDTH_MM, words, size_pt=_TEXT)


class _Clock:
    """When one is at a place: the time of its leg is shared out by length."""

    def __init__(self, card: RouteCard) -> None:
        ends = [card.start, *(leg.arrival for leg in card.legs)]
        self._ends = [None if end is None else dt.datetime.fromisoformat(end) for end in ends]
        self._lengths = [leg.length_m for leg in card.legs]

    def about(self, place: PlaceThatMatters) -> str:
        """``, about 11:16``, to the earlier minute; empty where times are not known."""
        number = place.from_.leg - 1
        start, end = self._ends[number : number + 2]
        if start is None or end is None:
            return ""
        at = start + (end - start) * (place.from_.at_m / self._lengths[number])
        return f", about {at:%H:%M}"


def _in_a_line(name: str, words: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 3.0, name, 10.0, bold=True)
    paper.paragraph(LEFT_MM + _NAME_MM, top_mm + 0.2, _WIDTH_MM - _NAME_MM, words, size_pt=_TEXT)


def _paragraph(words: str, paper: Canvas) -> Block:
    return len(paper.wrapped(words, _WIDTH_MM, _TEXT)) * paper.line_mm(_TEXT) + 0.8, partial(_line, words)


def _line(words: str, paper: Canvas, top_mm: float) -> None:
    paper.paragraph(LEFT_MM, top_mm + 0.2, _WIDTH_MM, words, size_pt=_TEXT)


def _check(card: RouteCard, check: Check, paper: Canvas) -> Block:
    """Make a check: where to stand and look, what to expect, the limits, and a box for the reading."""
    known = check.look_bearing_magnetic_deg is not None
    look = f"look {look_text(check, card.bearing_unit)}{' magnetic' if known else ''}"
    limits = "no limits known" if check.would_notice_deg is None else f"no difference {limits_text(check)}"
    expect = f"expect {slope(check.expected_deg).text}; {limits}; steeper above {above_text(check)}"
    words = paper.wrapped(f"{expect}. {check.what[0].upper()}{check.what[1:]}.", _CHECK_WIDTH_MM, 8.0)
    first = f"{check.reference}, {where_text(check)}; {look}"
    height_mm = 5.6 + 3.1 * max(len(words), 1)
    return height_mm, partial(_draw_check, check.number, first, words, height_mm)


def _draw_check(
    name: str, first: str, words: Sequence[str], height_mm: float, paper: Canvas, top_mm: float
) -> None:
    x_mm = LEFT_MM + 4.0
    paper.text(x_mm, top_mm + 5.6, name, 14.0, bold=True, most_mm=_CHECK_TEXT_MM - 1.0)
    x_mm += _CHECK_TEXT_MM
    paper.text(x_mm, top_mm + 4.2, first, 9.0, bold=True, most_mm=_CHECK_WIDTH_MM)
    for k, line in enumerate(words):
        paper.text(x_mm, top_mm + 7.4 + 3.1 * k, line, 8.0)
    paper.box(RIGHT_MM - _BOX_MM, top_mm + 1.0, _BOX_MM, height_mm - 1.6, 0.28)
