"""The route card on paper: parts of half a page, two to a sheet's side, that folds between them.

The day, the legs in a table, the places with their checks, the corridor, the cautions: in the order in
which they are needed. Printed on both sides and folded, the first part is outside and the second on
its back. The rest stands in an appendix, which is drawn on request.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

from steybrae.answers.forecast import forecast_lines
from steybrae.card.result import RouteCard
from steybrae.card.wording import legs_without_check
from steybrae.papers import card_size_mm
from steybrae.sheets.card_front import (
    LEG_LINE_HEAD_MM,
    LEG_LINE_MM,
    corridor_lines,
    front_block,
    front_rest,
    leg_line,
    leg_line_head,
    text_blocks,
)
from steybrae.sheets.card_places import place_blocks
from steybrae.sheets.card_rows import (
    CHECK_HEAD_MM,
    CHECK_MM,
    LEFT_MM,
    LEG_HEAD_MM,
    RIGHT_MM,
    TOP_MM,
    check_head,
    check_row,
    leg_block,
    leg_head,
    rule,
)
from steybrae.sheets.true_size import Canvas

GAP_MM: Final = 2.0
CONDENSED: Final = 0.9
"""Width of letters against the face as drawn: a wide face, and many figures in a row (our choice)."""

LEADING: Final = 1.2
"""Distance of lines over the size of letters (common practice, no source)."""

_TITLE_MM: Final = 7.0
_NOTES: Final = 13
_REMINDER: Final = "Angles of ground, not a judgement of it: read the local avalanche forecast."
FOOT_MM: Final = 8.5
"""Height of the foot of a part."""


@dataclass(frozen=True)
class _Block:
    """Something of a height that is drawn from a top edge; no end of a part cuts it."""

    height_mm: float
    draw: Callable[[Canvas, float], None]


@dataclass(frozen=True)
class _Section:
    """Rows under a head that every part repeats."""

    head: _Block
    rows: Sequence[_Block]


def card_pdf(card: RouteCard, page: str = "a4", *, appendix: bool = False) -> bytes:
    """Draw a card.

    Parameters
    ----------
    page
        ``a4`` and ``letter`` (two parts to a page) or ``a5`` (one).
    appendix
        Whether every leg in full, all checks, the forecast and what it rests on follow.

    Returns
    -------
    bytes
        A PDF; its metadata hold the cautions. The same card is the same bytes.

    Raises
    ------
    QuantityError
        No such page.
    """
    width_mm, height_mm = card_size_mm(page)
    subject = " ".join(caution.text for caution in card.cautions)
    keys = ", ".join(caution.key for caution in card.cautions)
    paper = Canvas(
        (width_mm, height_mm), f"Route card: {card.name}, {card.date}", subject, keywords=keys,
        down=True, condensed=CONDENSED, leading=LEADING,
    )  # fmt: skip
    on_page = 1 if page == "a5" else 2
    bottom_mm = height_mm / on_page - FOOT_MM
    parts = list(_flow(_sections(card, paper, bottom_mm), bottom_mm))
    if appendix:
        parts += _flow(_appendix(card, paper, bottom_mm), bottom_mm)
    for k, part in enumerate(parts):
        if k and k % on_page == 0:
            paper.new_page()
        paper.from_top_mm = (k % on_page) * height_mm / on_page
        for top_mm, block in part:
            block.draw(paper, top_mm)
        _footer(paper, card, (k + 1, len(parts)), bottom_mm)
        if k % on_page:
            _fold(paper, width_mm)
    if len(parts) % on_page:
        paper.from_top_mm = height_mm / on_page
        _notes(paper)
        _fold(paper, width_mm)
    return paper.finish()


def _flow(sections: Iterator[_Section], bottom_mm: float) -> Iterator[list[tuple[float, _Block]]]:
    """Put rows into parts, each section's head before its first row in every part."""
    part: list[tuple[float, _Block]] = []
    y_mm = TOP_MM
    for section in sections:
        headed = False
        for row in section.rows:
            need_mm = row.height_mm if headed else section.head.height_mm + row.height_mm
            if part and y_mm + need_mm > bottom_mm + 1e-6:
                yield part
                part, y_mm, headed = [], TOP_MM, False
            for block in (row,) if headed else (section.head, row):
                part.append((y_mm, block))
                y_mm += block.height_mm
            headed = True
        y_mm += GAP_MM
    yield part


def _sections(card: RouteCard, paper: Canvas, bottom_mm: float) -> Iterator[_Section]:
    """Yield what leads, in the order in which it is needed."""
    front = _Block(bottom_mm - TOP_MM, partial(front_block, card, bottom_mm))
    yield _Section(_Block(0.0, lambda _paper, _top_mm: None), [front])
    legs = [_Block(LEG_LINE_MM, partial(leg_line, card, leg)) for leg in card.legs]
    yield _Section(_Block(LEG_LINE_HEAD_MM, partial(leg_line_head, card)), legs)
    places = [_Block(*block) for block in place_blocks(card, paper)]
    if places:
        yield _headed("Places that matter, and their checks" if card.places else "Checks", places)
    corridor = _paragraphs(paper, corridor_lines(card))
    if corridor:
        yield _headed("In poor visibility: steep ground in the corridor and near it", corridor)
    yield _headed("Cautions", _paragraphs(paper, [caution.line for caution in card.cautions]))


def _appendix(card: RouteCard, paper: Canvas, bottom_mm: float) -> Iterator[_Section]:
    """Every leg and check in full, the forecast, and what the card rests on."""
    legs = [_Block(*leg_block(card, leg, paper)) for leg in card.legs]
    yield _Section(_Block(LEG_HEAD_MM, partial(leg_head, card)), legs)
    checks = [_Block(CHECK_MM, partial(check_row, card, check)) for leg in card.legs for check in leg.checks]
    if checks:
        yield _Section(_Block(CHECK_HEAD_MM, check_head), checks)
    if without := legs_without_check(card.legs):
        yield _headed("Steep ground without a check", _paragraphs(paper, without))
    if card.forecast is not None:
        yield _headed("Avalanche forecast", _paragraphs(paper, forecast_lines(card.forecast)))
    yield _headed("Cautions in full", _paragraphs(paper, [caution.text for caution in card.cautions]))
    rest = [*front_rest(card, paper, bottom_mm), *card.basis, " ".join(card.time_words), " ".join(card.notes)]
    yield _headed("What it rests on", _paragraphs(paper, rest))


def _headed(title: str, rows: Sequence[_Block]) -> _Section:
    return _Section(_Block(_TITLE_MM, partial(_title, title)), rows)


def _paragraphs(paper: Canvas, lines: Sequence[str]) -> list[_Block]:
    some = [line for line in lines if line]
    return [_Block(*block) for block in text_blocks(paper, some, LEFT_MM, RIGHT_MM - LEFT_MM)]


def _title(title: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 4.6, title, 11.0, bold=True)


def _footer(paper: Canvas, card: RouteCard, part: tuple[int, int], bottom_mm: float) -> None:
    rule(paper, bottom_mm + 1.0, 0.14)
    words = f"{card.name} | {card.date} | {card.basis[-1]}"
    paper.text(LEFT_MM, bottom_mm + 4.1, words, 8.0, most_mm=170.0, cut=True)
    paper.text(RIGHT_MM, bottom_mm + 4.1, f"part {part[0]} of {part[1]}", 8.0, align="right", bold=True)
    paper.text(LEFT_MM, bottom_mm + 7.3, _REMINDER, 8.0)


def _fold(paper: Canvas, width_mm: float) -> None:
    for start_mm in (0.0, width_mm - 6.0):
        rule(paper, 0.0, 0.14, from_mm=start_mm, to_mm=start_mm + 6.0)


def _notes(paper: Canvas) -> None:
    """Draw lines to write on, where a sheet has a half to spare."""
    _title("Notes", paper, TOP_MM)
    for k in range(1, _NOTES + 1):
        rule(paper, TOP_MM + 5.0 + 9.6 * k, 0.18, dots=True)
