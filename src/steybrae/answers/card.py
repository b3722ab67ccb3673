"""The card of a day."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from steybrae.answers.forecast import finding_blocks, forecast_blocks
from steybrae.card.result import CardLeg, RouteCard
from steybrae.card.times import latest_words
from steybrae.card.wording import (
    GRID_NAMES,
    arrival_text,
    bearing_shown,
    beside_sentence,
    call_text,
    check_sentence,
    cliffs_text,
    climb_text,
    corridor_text,
    distance_texts,
    drop_text,
    elevation_text,
    grounds_text,
    minutes_text,
    overhead_text,
    place_text,
    steepness_text,
    totals_lines,
)
from steybrae.document import Block, Cautions, Column, Document, Heading, Paragraph, Table
from steybrae.screening.places.words import legs_without_check
from steybrae.value import AT_LEAST


def card_document(card: RouteCard) -> Document:
    """Headline, the legs, what lies to their sides, the checks, what it rests on, cautions."""
    sides = [f"Leg {leg.number}: {beside_sentence(found)}" for leg in card.legs for found in leg.beside]
    cliffs = [f"Leg {leg.number}: {cliffs_text(leg)}." for leg in card.legs if leg.cliffs]
    checks = [check_sentence(check, card.bearing_unit) for leg in card.legs for check in leg.checks]
    notes = [
        line
        for line in (latest_words(card), *card.time_words, *card.daylight_words, *card.notes, *card.basis)
        if line
    ]
    blocks = (
        *finding_blocks(card.forecast),
        *_head(card),
        Table(_columns(card), card.legs),
        *_under("Cliffs below", cliffs),
        *_under("To the sides", sides),
        *_under("Checks: places worth a reading", checks),
        *_under("Steep ground without a check", list(legs_without_check(card.legs))),
        *_under("What it rests on", notes),
        *forecast_blocks(card.forecast),
        Cautions(card.cautions),
    )
    return Document(card.name, blocks)


def _under(title: str, lines: list[str]) -> tuple[Block, ...]:
    return (Heading(title), *map(Paragraph, lines)) if lines else ()


def _head(card: RouteCard) -> Iterator[Block]:
    start = f", start {card.start_text}" if card.start_text else ""
    scale = f", map 1:{card.scale:.0f}" if card.scale else ""
    yield Heading(f"{card.name}, {card.date}{start}", level=1)
    yield Paragraph(f"{'; '.join(totals_lines(card))}.")
    if card.party:
        yield Paragraph(f"Party: {card.party}.")
    if call_text(card):
        yield Paragraph(f"If nobody came back: {call_text(card)}.")
    yield Paragraph(f"Grid: {GRID_NAMES[card.grid]}{scale}. {' '.join(card.norths.sentences)}")
    for k, words in enumerate(card.legs[0].compass):
        yield Paragraph(f"Leg 1. {words}" if k == 0 else words)


def _columns(card: RouteCard) -> tuple[Column, ...]:
    def cell(k: int) -> Callable[[CardLeg], str]:
        return lambda leg: _cells(card, leg)[k]

    heads = (
        ("Leg", "right", None),
        ("From\nto", "left", 30),
        ("Magnetic\nback", "right", None),
        ("Grid\ntrue", "right", None),
        ("Length\non the map", "right", None),
        ("Climb\nheight there", "right", None),
        ("Time\narrive", "right", None),
        ("Steepest on the line,\nin the corridor", "left", 36),
    )
    return tuple(
        Column(heading, heading, cell(k), align="left" if align == "left" else "right", width=width)
        for k, (heading, align, width) in enumerate(heads)
    )


def _cells(card: RouteCard, leg: CardLeg) -> tuple[str, ...]:
    unit = card.bearing_unit
    length, on_map = distance_texts(leg)
    bends = "\nline bends" if leg.bends else ""
    overhead = overhead_text(leg.ground.overhead if leg.ground else None, unit)
    overhead_words = overhead.replace("; ", "\n")
    ground = [
        steepness_text(leg.ground),
        corridor_text(leg.ground),
        drop_text(leg.ground),
        *grounds_text(leg.ground),
        overhead_words,
    ]
    start, end = (
        f"{name}\n{place_text(name, place.written, place.reference)}"
        for name, place in ((leg.from_, leg.from_place), (leg.to, leg.to_place))
    )
    # Where a leg begins stands at the end of the one before.
    start = start if leg.number == card.legs[0].number else leg.from_
    return (
        str(leg.number),
        f"{start}\nto {end}",
        f"{bearing_shown(leg.bearing_magnetic_deg, unit)}\n"
        f"{bearing_shown(leg.back_bearing_magnetic_deg, unit)}{bends}",
        f"{bearing_shown(leg.bearing_grid_deg, unit)}\n{bearing_shown(leg.bearing_true_deg, unit)}",
        f"{length}\n{on_map.replace(', ', chr(10))}",
        f"{climb_text(leg).replace(AT_LEAST + ' ', AT_LEAST + chr(10))}\n"
        f"{elevation_text(leg).replace('; ', chr(10)).replace('along ', 'along' + chr(10))}",
        f"{minutes_text(leg.time_min, at_least=leg.time_at_least)}\n"
        f"{arrival_text(card, leg).replace(AT_LEAST + ' ', AT_LEAST + chr(10))}\n"
        f"{leg.daylight_text.replace(' min ', ' min' + chr(10))}",
        "\n".join(line for line in ground if line),
    )
