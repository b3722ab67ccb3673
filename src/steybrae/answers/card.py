"""The card of a day."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

from steybrae.answers.forecast import finding_blocks, forecast_blocks, named_blocks
from steybrae.answers.route import legs_left_text, unit_doubt
from steybrae.card import wording
from steybrae.card.result import CardLeg, CardPlace, Check, RouteCard
from steybrae.card.times import about_text, latest_words
from steybrae.document import (
    Block,
    Cautions,
    Cell,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Table,
)
from steybrae.frozen import dataclass
from steybrae.route.legs import leading_notes
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.words import (
    head_and_words,
    legs_without_check,
    letters_at,
    same_check_words,
    stretch_words,
    without_check,
)
from steybrae.value import AT_LEAST

_GROUND_WIDTH: Final = 32
"""Letters of the ground's column (our choice)."""

MORE: Final = Paragraph(
    "More: --all (each leg in full, what lies to its sides, all checks). To carry: --pdf, --phone, --gpx."
)


def card_document(card: RouteCard, *, whole: bool = False) -> Document:
    """Headline, the legs, the places with their checks, times, cautions; or `whole`, all in full."""
    told = _whole(card) if whole else _short(card)
    blocks = (*finding_blocks(card.forecast, card.cautions, alone=not whole), *_head(card), *told)
    return Document(card.name, (*blocks, *(() if whole else (MORE,))))


def _short(card: RouteCard) -> Iterator[Block]:
    """Yield what stands on paper, in its order."""
    leading = leading_notes(card.notes)
    yield from map(Paragraph, leading)
    yield Table(_row_columns(card), card.legs)
    yield from _places(card)
    yield from named_blocks(card.forecast)
    read = " ".join(note for note in card.notes if note not in leading)
    rests = (latest_words(card), wording.times_text(card), " ".join(card.daylight_words), read)
    yield from _under("Times, and how the line was read", [line for line in rests if line])
    yield Cautions(card.cautions, whole=False)


def _whole(card: RouteCard) -> Iterator[Block]:
    sides = [
        f"Leg {leg.number}: {wording.beside_sentence(found)}" for leg in card.legs for found in leg.beside
    ]
    cliffs = [f"Leg {leg.number}: {wording.cliffs_text(leg)}." for leg in card.legs if leg.cliffs]
    checks = [wording.check_sentence(check, card.bearing_unit) for leg in card.legs for check in leg.checks]
    notes = [latest_words(card), *card.time_words, *card.daylight_words, *card.notes, *card.basis]
    yield Table(_columns(card), card.legs)
    yield from _places(card)
    yield from _under("Cliffs below", cliffs)
    yield from _under("To the sides", sides)
    yield from _under("Checks: places worth a reading", checks)
    yield from _under("Steep ground without a check", list(legs_without_check(card.legs)))
    yield from _under("What it rests on", [line for line in notes if line])
    yield from forecast_blocks(card.forecast)
    yield Cautions(card.cautions)


@dataclass(frozen=True)
class PlaceTold:
    """A place as a card tells it, with the leading checks that no place before it has.

    Attributes
    ----------
    name
        Its letter; empty for checks that are of no place.
    head
        Where it is, and about when; empty where it is told in a line.
    words
        Why it matters.
    checks
        In the order of the line.
    """

    name: str
    head: str
    words: str
    checks: tuple[Check, ...]


def places_told(card: RouteCard) -> Iterator[PlaceTold]:
    """Yield the places along the line, then the leading checks that are of none."""
    leading = {check.number: check for leg in card.legs for check in leg.checks if check.leads}
    told: dict[str, str] = {}
    bare = without_check(card.places)
    for place in card.places:
        own = [name for name in place.checks if name in leading and name not in told]
        more = " ".join(same_check_words(name, told[name]) for name in place.checks if name in told)
        told |= dict.fromkeys(own, place.name)
        head, words = head_and_words(place)
        if place.at_length:
            head += about_text(card, place.from_)
            words = f"{words} {'No check.' if place.name in bare else more}".rstrip()
        else:
            head, words = "", f"{stretch_words(place)}: {words}"
        yield PlaceTold(place.name, head, words, tuple(map(leading.__getitem__, own)))
    rest = tuple(check for name, check in leading.items() if name not in told)
    if rest:
        yield PlaceTold("", "", "", rest)


def _places(card: RouteCard) -> Iterator[Block]:
    """Yield the places told at length with their checks, then the others in a line each."""
    told = list(places_told(card))
    if not told and not card.legs_without and not card.legs_possible_only:
        return
    lead = "Places that matter, and their checks. " if card.places else "Checks. " if told else ""
    yield Heading(f"{lead}{legs_left_text(card)}")
    at_length = [place for place in told if place.head or place.checks]
    yield Listing(tuple(line for place in at_length for line in _place_lines(card, place)), marked=False)
    rest = tuple(f"{place.name}  {place.words}" for place in told if place not in at_length)
    yield Listing(rest, marked=False, abreast=True)
    if card.places:
        yield Paragraph(ORDER_RULE)


def _place_lines(card: RouteCard, told: PlaceTold) -> Iterator[str]:
    if told.name:
        yield f"{told.name}  {'. '.join(filter(None, (told.head, told.words)))}"
    for check in told.checks:
        yield f"{check.number}  {'; '.join(wording.check_texts(check, card.bearing_unit))}"


def _under(title: str, lines: list[str]) -> tuple[Block, ...]:
    return (Heading(title), *map(Paragraph, lines)) if lines else ()


def _head(card: RouteCard) -> Iterator[Block]:
    start = f", start {card.start_text}" if card.start_text else ""
    scale = f", map 1:{card.scale:.0f}" if card.scale else ""
    yield Heading(f"{card.name}, {card.date}{start}", level=1)
    yield from unit_doubt(card.cautions)
    yield Paragraph(f"{'; '.join(wording.totals_lines(card))}.")
    if card.party:
        yield Paragraph(f"Party: {card.party}.")
    if wording.call_text(card):
        yield Paragraph(f"If nobody came back: {wording.call_text(card)}.")
    yield Paragraph(f"Grid: {wording.GRID_NAMES[card.grid]}{scale}. {' '.join(card.norths.sentences)}")
    for k, words in enumerate(card.legs[0].compass):
        yield Paragraph(f"Leg 1. {words}" if k == 0 else words)


def _row_columns(card: RouteCard) -> tuple[Column, ...]:
    """Columns of what is looked for while walking."""
    unit = card.bearing_unit

    def bearings(leg: CardLeg) -> str:
        magnetic = wording.bearing_shown(leg.bearing_magnetic_deg, unit)
        return f"{magnetic}{', bends!' if leg.bends else ''}\n{wording.set_text(leg, unit)}"

    def ground(leg: CardLeg) -> Cell:
        if leg.ground is None:
            return "steepness not known"
        on_line, corridor = wording.steepness_text(leg.ground), wording.corridor_text(leg.ground)
        abreast = len(on_line) + len(corridor) <= _GROUND_WIDTH - 2
        return f"{on_line},{' ' if abreast else chr(10)}{corridor}", "; ".join(wording.besides_texts(leg))

    return (
        Column("number", "Leg", lambda leg: str(leg.number)),
        Column("to", "To", lambda leg: _named(leg.to, leg.to_place), align="left", width=26),
        Column("bearing_magnetic_deg", "Magnetic", bearings),
        Column("length_m", "Length\non the map", _lengths),
        Column("climb", "Climb\nheight there", lambda leg: f"{_climb(leg)}\n{_height(leg)}"),
        Column("time_min", "Time\narrive", lambda leg: _times(card, leg)),
        Column(
            "slope_max_deg",
            "Steepest on the line,\nin the corridor",
            ground,
            align="left",
            width=_GROUND_WIDTH,
        ),
        Column("places", "Places", lambda leg: " ".join(letters_at(card.places, leg.number)), align="left"),
    )


def _named(name: str, place: CardPlace) -> str:
    """Name of a place and its reference; the one where they are one."""
    return "\n".join(dict.fromkeys((name, wording.place_text(name, place.written, place.reference))))


def _lengths(leg: CardLeg) -> str:
    length, on_map = wording.distance_texts(leg)
    return f"{length}\n{on_map.replace(', ', chr(10))}"


def _climb(leg: CardLeg) -> str:
    return wording.climb_text(leg).replace(f"{AT_LEAST} ", f"{AT_LEAST}\n")


def _height(leg: CardLeg) -> str:
    return "" if leg.ground is None else wording.height_text(leg).removeprefix(f"{AT_LEAST} | ")


def _times(card: RouteCard, leg: CardLeg) -> str:
    needed = wording.minutes_text(leg.time_min, at_least=leg.time_at_least)
    arrival = wording.arrival_text(card, leg).replace(f"{AT_LEAST} ", f"{AT_LEAST}\n")
    return f"{needed}\n{arrival}"


def _columns(card: RouteCard) -> tuple[Column, ...]:
    def cell(k: int) -> Callable[[CardLeg], str]:
        return lambda leg: _cells(card, leg)[k]

    heads = (
        ("Leg", None),
        ("From\nto", 30),
        ("Magnetic\nback", None),
        ("Grid\ntrue", None),
        ("Length\non the map", None),
        ("Climb\nheight there", None),
        ("Time\narrive", None),
        ("Steepest on the line,\nin the corridor", 36),
    )
    return tuple(
        Column(heading, heading, cell(k), align="left" if width else "right", width=width)
        for k, (heading, width) in enumerate(heads)
    )


def _cells(card: RouteCard, leg: CardLeg) -> tuple[str, ...]:
    unit, heights = card.bearing_unit, wording.elevation_text(leg)
    compass_deg = leg.bearing_magnetic_deg, leg.back_bearing_magnetic_deg
    bearings_deg = *compass_deg, leg.bearing_grid_deg, leg.bearing_true_deg
    magnetic, back, grid, true = (wording.bearing_shown(deg, unit) for deg in bearings_deg)
    bends = "\nline bends" if leg.bends else ""
    ground = [
        wording.steepness_text(leg.ground),
        wording.corridor_text(leg.ground),
        wording.drop_text(leg.ground),
        *wording.grounds_text(leg.ground),
        wording.overhead_text(leg.ground.overhead if leg.ground else None, unit).replace("; ", "\n"),
    ]
    # Where a leg begins stands at the end of the one before.
    start = _named(leg.from_, leg.from_place) if leg.number == card.legs[0].number else leg.from_
    return (
        str(leg.number),
        f"{start}\nto {_named(leg.to, leg.to_place)}",
        f"{magnetic}\n{back}{bends}",
        f"{grid}\n{true}",
        _lengths(leg),
        f"{_climb(leg)}\n{heights.replace('; ', chr(10)).replace('along ', 'along' + chr(10))}",
        f"{_times(card, leg)}\n{leg.daylight_text.replace(' min ', ' min' + chr(10))}",
        "\n".join(filter(None, ground)),
    )
