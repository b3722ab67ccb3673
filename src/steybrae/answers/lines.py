"""Lines held side by side, ways off, and where a shift of the line changes a leg's band."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from steybrae.answers.leg import band_columns
from steybrae.bands import Band, bands_text
from steybrae.cautions import Caution
from steybrae.document import (
    NONE,
    Block,
    Cell,
    Column,
    Heading,
    Listing,
    Paragraph,
    Table,
    or_none,
    stacked,
    worded,
)
from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.screening.compared import ComparedLine, LegMoved, LineMoved, RouteLines, WayOff
from steybrae.screening.places.words import stretch_words
from steybrae.value import UNKNOWN, climb, kilometres, length, minutes, overhead, slope, steep_length

NOT_RANKED: Final = (
    "Each screened as if it were alone, in the order given: no order of merit. Times by a card's usual rule, "
    "without breaks. Letters are those of each line's own places."
)
CHANGES: Final = (
    "Told only where the band of a leg's steepest ground changes: of the leading figure, the interval may "
    "reach steeper."
)
NO_CHANGE: Final = "No band of a leg changes there; nothing is proved by that."


def lines_blocks(found: RouteLines) -> Iterator[Block]:
    """Yield the lines as one table, then the ways off, then what a shift does; what is not there is left out.

    Parameters
    ----------
    found
        The main line and what is beside it.
    """
    if len(found.lines) > 1:
        yield Heading("Lines side by side")
        yield from _side_by_side(found.lines)
        yield Listing(tuple(_places(found.lines[1:])))
    if found.ways_off:
        yield Heading("Ways off")
        yield from _side_by_side(found.ways_off)
        yield Listing((*map(_leaves, found.ways_off), *_places(found.ways_off)))
    if len(found.lines) > 1 or found.ways_off:
        yield Paragraph(NOT_RANKED)
    if found.shifts:
        yield Heading("The line moved")
        items = moved_items(found.shifts)
        by = ", ".join(dict.fromkeys(length(one.shift_m).short for one in found.shifts))
        told = CHANGES if items else NO_CHANGE
        yield Paragraph(f"To the left and right by {by}. {told}")
        yield Listing(items)


def lines_cautions(found: RouteLines) -> tuple[Caution, ...]:
    """Cautions of all lines, each text once, the main line's first."""
    beside = (*found.lines[1:], *found.ways_off)
    return tuple(dict.fromkeys((*found.cautions, *(caution for line in beside for caution in line.cautions))))


def moved_items(shifts: Sequence[LineMoved]) -> tuple[str, ...]:
    """``leg 7, 30 m left: 25-30 becomes 55+``; all of a leg in one item."""
    changes = sorted(((leg, one) for one in shifts for leg in one.legs), key=lambda both: both[0].leg)
    return tuple(
        f"leg {number}, {'; '.join(_change(leg, one) for leg, one in of_leg)}"
        for number, of_leg in groupby(changes, key=lambda both: both[0].leg)
    )


def _change(leg: LegMoved, by: LineMoved) -> str:
    was, becomes = (
        _band(band, open_above=open_above)
        for band, open_above in ((leg.band, leg.open_above), (leg.moved_band, leg.moved_open_above))
    )
    return f"{length(by.shift_m).short} {by.side}: {was} becomes {becomes}"


def _band(band: Band | None, *, open_above: bool) -> str:
    return bands_text(() if band is None else (band,), open_above=open_above)


def _side_by_side(lines: Sequence[ComparedLine]) -> Iterator[Block]:
    name = stacked("Line, places\n(at length)", _NAME, _PLACES, align="left", width=16)
    way = stacked("km\n+ up m\n- down m\ntime", _LENGTH, *_CLIMBS, _TIME)
    yield Table((name, way, _STEEPEST, _ZONES, _OVERHEAD, _UNKNOWN), lines)
    bands = band_columns(lines[0].band_lengths_m)
    # A table of its own: all in one would run over the edge of a narrow terminal.
    yield Table((_NAME, *bands, _UNKNOWN), lines, "Metres of each line in each band (degrees)")


def _zones(line: ComparedLine) -> Cell:
    sure, possible = (
        steep_length(metres, at_least=line.unknown_m > 0.0)
        for metres in (line.in_start_zone_m, line.in_possible_zone_m)
    )
    return (sure, f"({possible.text})")


def _overhead(line: ComparedLine) -> Cell:
    outside, inside = (
        None if deg is None else overhead(deg, at_least=line.unknown_above).text
        for deg in (line.overhead_max_deg, line.overhead_inside_max_deg)
    )
    if outside is None and inside is None:
        return UNKNOWN if line.unknown_above else NONE
    return tuple(filter(None, (outside, inside and f"in zone {inside}")))


def _at_length(line: ComparedLine) -> Cell:
    letters = " ".join(place.name for place in line.at_length)
    places = "1 place" if line.places == 1 else f"{line.places} places"
    return f"{places} ({letters})" if letters else places


_NAME: Final = Column("name", "Line", lambda line: line.name, align="left", width=20)
_LENGTH: Final = Column("length_m", "km", lambda line: kilometres(line.length_m), "km")
_CLIMBS: Final = (
    worded(
        Column("ascent_m", "", lambda line: climb(line.ascent_m, at_least=line.ascent_at_least), "m"), "+{}"
    ),
    worded(
        Column("descent_m", "", lambda line: climb(line.descent_m, at_least=line.ascent_at_least), "m"), "-{}"
    ),
)
_TIME: Final = Column("time_min", "Time", lambda line: minutes(line.time_min, at_least=line.time_at_least))
_STEEPEST: Final = Column(
    "slope_max_deg", "Steepest", lambda line: slope(line.slope_max_deg, at_least=line.open_above)
)
_UNKNOWN: Final = Column("unknown_m", "unknown\nm", lambda line: or_none(steep_length(line.unknown_m)), "m")
_ZONES: Final = Column("in_start_zone_m", "m in start zones\n(possible)", _zones)
_OVERHEAD: Final = Column("overhead_max_deg", "Overhead\n(- none\nseen)", _overhead)
_PLACES: Final = Column("places", "Places", _at_length)


def _leaves(way: WayOff) -> str:
    at = way.leaves
    between = ", the ground between being its first leg" if way.off_m > PLACE_ERROR_M else ""
    return (
        f"{way.name}: leaves leg {at.leg} at {length(at.at_m).text}, {kilometres(at.chainage_m).text} from "
        f"the start; its first point is {steep_length(way.off_m).text} off the line{between}."
    )


def _places(lines: Sequence[ComparedLine]) -> Iterator[str]:
    for line in lines:
        for place in line.at_length:
            yield f"{line.name}, {place.name}, {stretch_words(place)}: {place.words}"
