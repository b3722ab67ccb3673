"""A card on the terminal."""

from __future__ import annotations

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from steybrae.card.result import CardLeg, RouteCard
from steybrae.card.wording import (
    GRID_NAMES,
    bearing_shown,
    beside_sentence,
    check_sentence,
    climb_text,
    distance_texts,
    elevation_text,
    grounds_text,
    legs_without_check,
    minutes_text,
    overhead_text,
    place_text,
    steepness_text,
    totals_lines,
)

__all__ = ["card_tables", "print_card"]


def card_tables(card: RouteCard) -> RenderableType:
    """Headline, the legs, what lies beside them, the checks, and what it rests on.

    Parameters
    ----------
    card
        The card; every figure shown is in it.

    Returns
    -------
    rich renderable
    """
    beside = [
        Text(f"  Leg {leg.number}: {beside_sentence(found)}") for leg in card.legs for found in leg.beside
    ]
    checks = [
        Text(f"  {check_sentence(check, card.bearing_unit)}") for leg in card.legs for check in leg.checks
    ]
    without = [Text(f"  {line}") for line in legs_without_check(card.legs)]
    notes = [line for line in (*card.time_words, *card.daylight_words, *card.notes, *card.basis) if line]
    return Group(
        *_head(card),
        Text(),
        _legs(card),
        *_under("To the sides", beside),
        *_under("Checks: places worth a reading", checks),
        *_under("Steep ground without a check", without),
        *_under("What it rests on", [Text(f"  {line}") for line in notes]),
    )


def _under(title: str, lines: list[Text]) -> list[Text]:
    return [Text(), Text(title, style="bold"), *lines] if lines else []


def _head(card: RouteCard) -> list[Text]:
    start = f", start {card.start_text}" if card.start_text else ""
    scale = f", map 1:{card.scale:.0f}" if card.scale else ""
    return [
        Text(f"{card.name}, {card.date}{start}", style="bold"),
        Text(f"{'; '.join(totals_lines(card))}."),
        Text(f"Grid: {GRID_NAMES[card.grid]}{scale}. {' '.join(card.norths.sentences)}"),
        *(Text(f"Leg 1. {words}" if k == 0 else words) for k, words in enumerate(card.legs[0].compass)),
    ]


def _legs(card: RouteCard) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False, show_lines=True)
    table.add_column("Leg", justify="right")
    table.add_column("From\nto", min_width=22, max_width=30)
    table.add_column("Magnetic\nback", justify="right", no_wrap=True)
    table.add_column("Grid\ntrue", justify="right", no_wrap=True)
    table.add_column("Length\non the map", justify="right", no_wrap=True)
    table.add_column("Climb\nheight there", justify="right", no_wrap=True)
    table.add_column("Time\narrive", justify="right", no_wrap=True)
    table.add_column("Steepest on the line", min_width=28)
    for leg in card.legs:
        # As text: names of places may hold what rich would take for markup.
        table.add_row(*map(Text, _cells(card, leg)))
    return table


def _cells(card: RouteCard, leg: CardLeg) -> tuple[str, ...]:
    unit = card.bearing_unit
    length, on_map = distance_texts(leg)
    bends = "\nline bends" if leg.bends else ""
    overhead = overhead_text(leg.ground.overhead if leg.ground else None, unit)
    ground = [steepness_text(leg.ground), *grounds_text(leg.ground), overhead.replace("; ", "\n")]
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
        f"{climb_text(leg).replace('at least ', 'at least' + chr(10))}\n"
        f"{elevation_text(leg).replace('; ', chr(10))}",
        f"{minutes_text(leg.time_min, at_least=leg.time_at_least)}\n{leg.arrival_text}\n"
        f"{leg.daylight_text.replace(' min ', ' min' + chr(10))}",
        "\n".join(line for line in ground if line),
    )


def print_card(card: RouteCard, to: Console) -> None:
    """Print `card_tables`."""
    to.print(card_tables(card))
