"""The route card on paper: A5 lying, or two of them on an A4 sheet that folds between them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from steybrae.card.result import RouteCard
from steybrae.card.wording import legs_without_check
from steybrae.show.card_front import front_block, front_rest, text_blocks
from steybrae.show.card_rows import (
    BOTTOM_MM,
    CHECK_HEAD_MM,
    CHECK_MM,
    LEFT_MM,
    LEG_HEAD_MM,
    RIGHT_MM,
    TOP_MM,
    check_head,
    check_row,
    leg_head,
    leg_mm,
    leg_row,
)
from steybrae.show.forecast_words import forecast_lines
from steybrae.show.paper import PAGES_MM, Paper, PaperFacts, check_page

__all__ = ["card_pdf"]

PANEL_MM: Final = 148.0
"""Height of one part: an A5 page lying, half an A4 page upright."""

GAP_MM: Final = 2.0
_TITLE_MM: Final = 7.0
_NOTES: Final = 13
_REMINDER: Final = (
    "Angles of ground, not a judgement of it: read the local avalanche forecast. Cautions at the end."
)


@dataclass(frozen=True)
class _Block:
    """Something of a height that is drawn from a top edge; no end of a part cuts it."""

    height_mm: float
    draw: Callable[[Paper, float], None]


@dataclass(frozen=True)
class _Section:
    """Rows under a head that every part repeats.

    Where there is less room than `together_mm`, the section begins on a new part.
    """

    head: _Block
    rows: Sequence[_Block]
    together_mm: float = 0.0


def card_pdf(card: RouteCard, page: str = "a4") -> bytes:
    """Draw a card.

    Parameters
    ----------
    card
        What it says.
    page
        ``a4`` (two parts to a page) or ``a5`` (one).

    Returns
    -------
    bytes
        A PDF; its metadata hold the cautions. The same card is the same bytes.

    Raises
    ------
    QuantityError
        No such page.
    """
    width_mm, height_mm = PAGES_MM[check_page(page)]
    subject = " ".join(caution.text for caution in card.cautions)
    keys = ", ".join(caution.key for caution in card.cautions)
    paper = Paper((width_mm, height_mm), PaperFacts(f"Route card: {card.name}, {card.date}", subject, keys))
    parts = list(_flow(_sections(card, paper)))
    on_page = int(height_mm // PANEL_MM)
    for k, part in enumerate(parts):
        if k and k % on_page == 0:
            paper.next_page()
        paper.top_mm = (k % on_page) * height_mm / on_page
        for top_mm, block in part:
            block.draw(paper, top_mm)
        _footer(paper, card, k + 1, len(parts))
        if k % on_page:
            _fold(paper, width_mm)
    if len(parts) % on_page:
        paper.top_mm = height_mm / on_page
        _notes(paper)
        _fold(paper, width_mm)
    return paper.content()


def _flow(sections: Iterator[_Section]) -> Iterator[list[tuple[float, _Block]]]:
    """Put rows into parts, each section's head before its first row in every part."""
    part: list[tuple[float, _Block]] = []
    y_mm = TOP_MM
    for section in sections:
        headed = False
        for row in section.rows:
            need_mm = (
                row.height_mm if headed else max(section.head.height_mm + row.height_mm, section.together_mm)
            )
            if part and y_mm + need_mm > BOTTOM_MM + 1e-6:
                yield part
                part, y_mm, headed = [], TOP_MM, False
            for block in (row,) if headed else (section.head, row):
                part.append((y_mm, block))
                y_mm += block.height_mm
            headed = True
        y_mm += GAP_MM
    yield part


def _sections(card: RouteCard, paper: Paper) -> Iterator[_Section]:
    front = _Block(BOTTOM_MM - TOP_MM, partial(front_block, card))
    yield _Section(_Block(0.0, lambda _paper, _top_mm: None), [front])
    legs = [_Block(leg_mm(card, leg), partial(leg_row, card, leg)) for leg in card.legs]
    yield _Section(_Block(LEG_HEAD_MM, partial(leg_head, card)), legs)
    checks = [_Block(CHECK_MM, partial(check_row, card, check)) for leg in card.legs for check in leg.checks]
    if checks:
        yield _Section(_Block(CHECK_HEAD_MM, check_head), checks)
    if without := legs_without_check(card.legs):
        blocks = text_blocks(paper, without, LEFT_MM, RIGHT_MM - LEFT_MM)
        head = _Block(_TITLE_MM, partial(_title, "Steep ground without a check"))
        yield _Section(head, [_Block(*block) for block in blocks])
    yield from _texts(card, paper)


def _texts(card: RouteCard, paper: Paper) -> Iterator[_Section]:
    """Forecast, cautions and what the card rests on; the last two together where they fit."""
    if card.forecast is not None:
        blocks = text_blocks(paper, forecast_lines(card.forecast), LEFT_MM, RIGHT_MM - LEFT_MM)
        head = _Block(_TITLE_MM, partial(_title, "Avalanche forecast"))
        yield _Section(head, [_Block(*block) for block in blocks])
    texts = (
        ("Cautions", [caution.text for caution in card.cautions]),
        (
            "What it rests on",
            [*front_rest(card, paper), *card.basis, " ".join(card.time_words), " ".join(card.notes)],
        ),
    )
    sections = []
    for title, lines in texts:
        blocks = text_blocks(paper, [line for line in lines if line], LEFT_MM, RIGHT_MM - LEFT_MM)
        sections.append(
            _Section(_Block(_TITLE_MM, partial(_title, title)), [_Block(*block) for block in blocks])
        )
    heights = [_TITLE_MM + sum(row.height_mm for row in section.rows) for section in sections]
    yield replace(sections[0], together_mm=sum(heights) + GAP_MM)
    yield replace(sections[1], together_mm=heights[1])


def _title(title: str, paper: Paper, top_mm: float) -> None:
    paper.text(LEFT_MM, top_mm + 4.6, title, 11.0, bold=True)


def _footer(paper: Paper, card: RouteCard, number: int, count: int) -> None:
    y_mm = BOTTOM_MM + 4.0
    paper.rule((LEFT_MM, BOTTOM_MM + 1.0), (RIGHT_MM, BOTTOM_MM + 1.0), 0.4)
    basis = " ".join(dict.fromkeys((card.basis[0], card.basis[-1])))
    paper.text(LEFT_MM, y_mm, f"{card.name} | {card.date} | {basis}", 6.5, most_mm=165.0, cut=True)
    paper.text(RIGHT_MM, y_mm, f"part {number} of {count}", 7.0, align="right", bold=True)
    paper.text(LEFT_MM, y_mm + 2.9, _REMINDER, 6.5)


def _fold(paper: Paper, width_mm: float) -> None:
    for start_mm in (0.0, width_mm - 6.0):
        paper.rule((start_mm, 0.0), (start_mm + 6.0, 0.0), 0.4)


def _notes(paper: Paper) -> None:
    """Draw lines to write on, where a sheet has a half to spare."""
    _title("Notes", paper, TOP_MM)
    for k in range(1, _NOTES + 1):
        y_mm = TOP_MM + 5.0 + 9.6 * k
        paper.rule((LEFT_MM, y_mm), (RIGHT_MM, y_mm), 0.5, dots=True)
