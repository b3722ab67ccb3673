"""The route card on paper: parts of half a page, two to a sheet's side, that folds between them.

The day, the legs in a table, the places with their checks, the corridor, the cautions: in the order in
which they are needed. Printed on both sides and folded, the first part is outside and the second on
its back. The rest stands in an appendix, which is drawn on request.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Final

from steybrae.answers.card import PlaceTold, places_told
from steybrae.answers.forecast import forecast_lines
from steybrae.answers.route import legs_left_text
from steybrae.card.result import Check, RouteCard
from steybrae.card.times import latest_in_rows
from steybrae.card.wording import check_texts
from steybrae.frozen import dataclass
from steybrae.papers import card_size_mm
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.words import (
    legs_without_check,
)
from steybrae.sheets.card_front import (
    LEG_LINE_HEAD_MM,
    corridor_lines,
    front_block,
    front_rest,
    leg_line,
    leg_line_head,
    leg_line_mm,
)
from steybrae.sheets.card_rows import (
    CHECK_HEAD_MM,
    CHECK_MM,
    LEFT_MM,
    LEG_HEAD_MM,
    RIGHT_MM,
    TOP_MM,
    Block,
    check_head,
    check_row,
    leg_block,
    leg_head,
    rule,
)
from steybrae.sheets.true_size import Canvas

_CHECK_TEXT_MM: Final = 14.0
_BOX_MM: Final = 17.0
_CHECK_WIDTH_MM: Final = RIGHT_MM - _BOX_MM - LEFT_MM - 4.0 - _CHECK_TEXT_MM - 3.0
_TEXT: Final = 8.3
_WIDTH_MM: Final = RIGHT_MM - LEFT_MM
_NAME_MM: Final = 6.0


def place_blocks(card: RouteCard, paper: Canvas) -> Iterator[Block]:
    """Make the places, along the line, each followed by its leading checks."""
    for told in places_told(card):
        yield from _place(told, paper)
        yield from (_check(card, check, paper) for check in told.checks)
    if card.places or card.legs_without or card.legs_possible_only:
        yield _paragraph(f"{legs_left_text(card)} {ORDER_RULE if card.places else ''}".rstrip(), paper)


def _place(told: PlaceTold, paper: Canvas) -> Iterator[Block]:
    if told.head:
        count = len(paper.wrapped(told.words, _WIDTH_MM, _TEXT))
        head = f"{told.name}  {told.head}"
        yield Block(5.6 + count * paper.line_mm(_TEXT) + 0.8, partial(_at_length, head, told.words))
    elif told.name:
        count = len(paper.wrapped(told.words, _WIDTH_MM - _NAME_MM, _TEXT))
        yield Block(count * paper.line_mm(_TEXT) + CLOSE_MM, partial(_in_a_line, told.name, told.words))


def _at_length(head: str, words: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 4.2, head, 10.0, bold=True, most_mm=_WIDTH_MM, cut=True)
    paper.paragraph(LEFT_MM, top_mm + 5.4, _WIDTH_MM, words, size_pt=_TEXT)


def _in_a_line(name: str, words: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 3.0, name, 10.0, bold=True)
    paper.paragraph(LEFT_MM + _NAME_MM, top_mm + 0.2, _WIDTH_MM - _NAME_MM, words, size_pt=_TEXT)


def _paragraph(words: str, paper: Canvas, apart_mm: float = 0.8) -> Block:
    count = len(paper.wrapped(words, _WIDTH_MM, _TEXT))
    return Block(count * paper.line_mm(_TEXT) + apart_mm, partial(_line, words))


def _line(words: str, paper: Canvas, top_mm: float) -> None:
    paper.paragraph(LEFT_MM, top_mm + 0.2, _WIDTH_MM, words, size_pt=_TEXT)


def _check(card: RouteCard, check: Check, paper: Canvas) -> Block:
    """Make a check: where to stand and look, what to expect, the limits, and a box for the reading."""
    first, expect = check_texts(check, card.bearing_unit)
    words = paper.wrapped(expect, _CHECK_WIDTH_MM, 8.0)
    height_mm = 5.6 + 3.1 * max(len(words), 1)
    return Block(height_mm, partial(_draw_check, check.number, first, words, height_mm))


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


GAP_MM: Final = 2.0
CONDENSED: Final = 0.9
"""Width of letters against the face as drawn: a wide face, and many figures in a row (our choice)."""

LEADING: Final = 1.2
"""Distance of lines over the size of letters (common practice, no source)."""

_TITLE_MM: Final = 6.2
_AGAIN_MM: Final = 4.4
CLOSE_MM: Final = 0.3
"""Between lines of a list that leads, mm: it saves a day of nine legs a sheet (our choice)."""

_NOTES: Final = 13
_REMINDER: Final = "Angles of ground, not a judgement of it: read the local avalanche forecast."
FOOT_MM: Final = 8.5
"""Height of the foot of a part."""

EDGE_MM: Final = 3.5
"""A part that ends at the paper's edge stands so much higher: its last line, a caution, would be in the 4 mm
that most printers leave white (common practice, no source)."""


@dataclass(frozen=True)
class _Section:
    """Rows under a head, which every part that they go on in repeats, or has a lower one."""

    head: Block
    rows: Sequence[Block]
    again: Block | None = None


def card_pdf(card: RouteCard, page: str = "a4", *, appendix: bool = False) -> bytes:
    """Draw a card, ``a4`` and ``letter`` (two parts to a page) or ``a5`` (one); the same bytes for the same.

    The metadata hold the cautions. Every leg in full, all checks, the forecast and what it rests on
    follow in the appendix. `QuantityError` for another page.
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
        parts += _flow(_appendix(card, paper), bottom_mm)
    for k, part in enumerate(parts):
        if k and k % on_page == 0:
            paper.new_page()
        begins_mm = (k % on_page) * height_mm / on_page
        paper.from_top_mm = begins_mm - (EDGE_MM if k % on_page == on_page - 1 else 0.0)
        for top_mm, block in part:
            block.draw(paper, top_mm)
        _footer(paper, card, (k + 1, len(parts)), bottom_mm)
        if k % on_page:
            paper.from_top_mm = begins_mm
            _fold(paper, width_mm)
    if len(parts) % on_page:
        paper.from_top_mm = height_mm / on_page
        _notes(paper)
        _fold(paper, width_mm)
    return paper.finish()


def _flow(sections: Iterator[_Section], bottom_mm: float) -> Iterator[list[tuple[float, Block]]]:
    """Put rows into parts, each section's head before its first row in every part."""
    part: list[tuple[float, Block]] = []
    y_mm = TOP_MM
    for section in sections:
        above: tuple[Block, ...] = (section.head,)
        for row in section.rows:
            if part and y_mm + sum(block.height_mm for block in (*above, row)) > bottom_mm + 1e-6:
                yield part
                part, y_mm, above = [], TOP_MM, above or (section.again or section.head,)
            for block in (*above, row):
                part.append((y_mm, block))
                y_mm += block.height_mm
            above = ()
        y_mm += GAP_MM
    yield part


def _sections(card: RouteCard, paper: Canvas, bottom_mm: float) -> Iterator[_Section]:
    """Yield what leads, in the order in which it is needed."""
    front = Block(bottom_mm - TOP_MM, partial(front_block, card, bottom_mm))
    bare = Block(0.0, lambda _paper, _top_mm: None)
    yield _Section(bare, [front])
    latest = latest_in_rows(card)
    legs = [
        Block(leg_line_mm(leg, paper), partial(leg_line, card, leg, latest.get(leg.number, "")))
        for leg in card.legs
    ]
    yield _Section(Block(LEG_LINE_HEAD_MM, partial(leg_line_head, card, latest)), legs)
    if rest := front_rest(card, paper, bottom_mm):
        yield _Section(bare, _paragraphs(paper, rest, 0.0))
    places = list(place_blocks(card, paper))
    if places:
        yield _headed("Places that matter, and their checks" if card.places else "Checks", places)
    corridor = _paragraphs(paper, corridor_lines(card), CLOSE_MM)
    if corridor:
        yield _headed("In poor visibility: steep ground in the corridor and near it", corridor)
    yield _headed("Cautions", _paragraphs(paper, [caution.line for caution in card.cautions], CLOSE_MM))


def _appendix(card: RouteCard, paper: Canvas) -> Iterator[_Section]:
    """Every leg and check in full, the forecast, and what the card rests on."""
    legs = [leg_block(card, leg, paper) for leg in card.legs]
    yield _Section(Block(LEG_HEAD_MM, partial(leg_head, card)), legs)
    checks = [Block(CHECK_MM, partial(check_row, card, check)) for leg in card.legs for check in leg.checks]
    if checks:
        yield _Section(Block(CHECK_HEAD_MM, check_head), checks)
    if without := legs_without_check(card.legs):
        yield _headed("Steep ground without a check", _paragraphs(paper, without))
    if card.forecast is not None:
        yield _headed("Avalanche forecast", _paragraphs(paper, forecast_lines(card.forecast)))
    yield _headed("Cautions in full", _paragraphs(paper, [caution.text for caution in card.cautions]))
    rest = [*card.basis, " ".join(card.time_words), " ".join(card.notes)]
    yield _headed("What it rests on", _paragraphs(paper, rest))


def _headed(title: str, rows: Sequence[Block]) -> _Section:
    again = Block(_AGAIN_MM, partial(_title_again, title))
    return _Section(Block(_TITLE_MM, partial(_title, title)), rows, again)


def _paragraphs(paper: Canvas, lines: Sequence[str], apart_mm: float = 1.0) -> list[Block]:
    return [_paragraph(line, paper, apart_mm) for line in lines if line]


def _title(title: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 4.2, title, 11.0, bold=True)


def _title_again(title: str, paper: Canvas, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 3.0, f"{title}, continued", _TEXT, bold=True)


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
