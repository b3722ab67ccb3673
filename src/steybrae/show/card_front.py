"""The first part of a card: the day, the norths, and lines to fill in by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final

from steybrae.card.result import RouteCard
from steybrae.card.wording import GRID_NAMES, totals_lines
from steybrae.show.card_rows import BOTTOM_MM, FOLD_MM, LEFT_MM, RIGHT_MM
from steybrae.show.paper import Paper, line_mm

__all__ = ["front_block", "text_blocks"]

_TEXT: Final = 8.3

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
_PARTY: Final = ("Party", "Turn back at (time, place)", "Who knows, when to call")


def front_block(card: RouteCard, paper: Paper, top_mm: float) -> None:
    """Draw the first part: the day on the left, lines to fill in by hand on the right."""
    left_mm, width_mm = LEFT_MM, FOLD_MM - LEFT_MM - 4.0
    y_mm = top_mm + 5.6
    for line in paper.wrapped(card.name, width_mm, 15.0, bold=True)[:2]:
        paper.text(left_mm, y_mm, line, 15.0, bold=True, most_mm=width_mm)
        y_mm += line_mm(15.0)
    start = f", start {card.start_text}" if card.start_text else ""
    paper.text(left_mm, y_mm, f"{card.date}{start}", 13.0, bold=True, most_mm=width_mm)
    y_mm += 7.0
    for line in totals_lines(card):
        y_mm = paper.paragraph(left_mm, y_mm, line, width_mm, 10.0, bold=True)
    y_mm += 1.5
    scale = f", map 1:{card.scale:.0f}" if card.scale else ""
    grid = f"Grid: {GRID_NAMES[card.grid]}{scale}."
    for line in (grid, *card.norths.sentences, *card.daylight_words, " ".join(card.time_words[:4])):
        if y_mm > BOTTOM_MM - 8.0:
            break
        y_mm = paper.paragraph(left_mm, y_mm, line, width_mm, _TEXT) + 0.6
    _compass_example(card, paper, y_mm, width_mm)
    _by_hand(paper, top_mm)


def _compass_example(card: RouteCard, paper: Paper, y_mm: float, width_mm: float) -> None:
    """Write the sum of the first leg, as a pattern for the others."""
    y_mm += 1.0
    lines = [f"Leg 1. {words}" if k == 0 else words for k, words in enumerate(card.legs[0].compass)]
    if y_mm + 4.0 * line_mm(_TEXT) < BOTTOM_MM:
        for line in lines:
            y_mm = paper.paragraph(LEFT_MM, y_mm, line, width_mm, _TEXT, bold=True)


def _by_hand(paper: Paper, top_mm: float) -> None:
    x_mm, right_mm, bottom_mm = FOLD_MM + 2.0, RIGHT_MM, BOTTOM_MM
    paper.box(x_mm, top_mm, (right_mm - x_mm, bottom_mm - top_mm - 1.0), 1.0)
    paper.text(x_mm + 2.0, top_mm + 5.4, "Avalanche forecast and weather", 11.0, bold=True)
    step_mm = (bottom_mm - top_mm - 8.0) / (len(_FORECAST) + len(_PARTY))
    y_mm = top_mm + 6.5
    for words in (*_FORECAST, *_PARTY):
        paper.text(x_mm + 2.0, y_mm + 3.0, words, 7.0)
        y_mm += step_mm
        paper.rule((x_mm + 2.0, y_mm - 0.8), (right_mm - 2.0, y_mm - 0.8), 0.6, dots=True)


def text_blocks(
    paper: Paper, lines: Sequence[str], x_mm: float, width_mm: float
) -> Iterator[tuple[float, Callable[[Paper, float], None]]]:
    """Make paragraphs: height of each, and how to draw it."""
    for line in lines:
        count = len(paper.wrapped(line, width_mm, _TEXT))
        yield count * line_mm(_TEXT) + 1.0, partial(_paragraph, line, x_mm, width_mm)


def _paragraph(line: str, x_mm: float, width_mm: float, paper: Paper, top_mm: float) -> None:
    paper.paragraph(x_mm, top_mm + 3.0, line, width_mm, _TEXT)
