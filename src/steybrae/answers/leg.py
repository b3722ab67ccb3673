"""Columns that tell a leg, and lines side by side, written once for terminal, page, figure and file."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from typing import Final

from steybrae.bands import STEEP_DEG, bands_text
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
    cell_lines,
    or_none,
    stacked,
    worded,
)
from steybrae.route.corridor import PLACE_ERROR_M, SIDE_SLOPES_DEG
from steybrae.screening.compared import ComparedLine, LegMoved, LineMoved, RouteLines, WayOff
from steybrae.screening.places.words import drop_lines, stretch_words
from steybrae.screening.result import LegScreening, RouteScreening, SideGround, Totals
from steybrae.value import (
    UNKNOWN,
    Value,
    climb,
    distance_off,
    gentle_length,
    kilometres,
    length,
    minutes,
    overhead,
    slope,
    sorted_as,
    steep_length,
)

_SIDES = " | ".join(f"{deg:g}°" for deg in SIDE_SLOPES_DEG)


def leg_slope(leg: LegScreening) -> Value:
    """Steepest on the line of a leg."""
    interval = (leg.slope_low_deg, leg.slope_high_deg)
    return slope(leg.slope_max_deg, at_least=leg.open_above, interval=interval)


def corridor_slope(leg: LegScreening | Totals) -> Value:
    """Steepest in the corridor of a leg or of the whole line."""
    return slope(leg.slope_corridor_max_deg, at_least=leg.open_above)


def side_text(side: Sequence[SideGround], *, unknown: bool) -> str:
    """Distances to ground of 30 and of 45 degrees on one side: ``24 | -``."""
    near = {ground.least_slope_deg: distance_off(ground.distance_m).figure for ground in side}
    words = " | ".join(near.get(deg, NONE) for deg in SIDE_SLOPES_DEG)
    return f"{words} {UNKNOWN}" if unknown else words


def _interval(leg: LegScreening) -> Cell:
    return UNKNOWN if leg.slope_max_deg is None else leg_slope(leg).interval_text


def _short(short_deg: float | None, steepest_deg: float | None) -> Cell:
    """Short piece where it is steeper; none found beside a figure, unknown where that is."""
    return NONE if short_deg is None and steepest_deg is not None else slope(short_deg)


def _drop(leg: LegScreening) -> Cell:
    if leg.drop is None:
        return UNKNOWN if _drop_hidden(leg) else NONE
    return drop_lines(leg.drop)


def _drop_hidden(leg: LegScreening) -> bool:
    """Whether unknown ground on the line or in the corridor may hold one: models have voids at rims."""
    return any(caution.key in ("unknown_on_line", "unknown_near") for caution in leg.cautions)


def _overhead(leg: LegScreening) -> Cell:
    """Steepest angle overhead, sight or path; a leg that stands in a start zone says so."""
    looks, deg = leg.overhead, _overhead_deg(leg)
    if looks is None:
        return UNKNOWN
    inside = ", in a zone" if looks.in_start_zone else ""
    if deg is None:
        return UNKNOWN if leg.unknown_above else f"none of {looks.least_deg:g}°+{inside}"
    return f"{slope(deg, at_least=leg.unknown_above).text}{inside}"


def _overhead_deg(leg: LegScreening) -> float | None:
    looks = leg.overhead
    found = () if looks is None else (looks.sight, looks.path)
    return max((one.deg for one in found if one is not None and one.deg is not None), default=None)


def _overhead_order(leg: LegScreening) -> float:
    deg = _overhead_deg(leg)
    if deg is None:
        return math.inf if leg.unknown_above or leg.overhead is None else 0.0
    return sorted_as(deg, at_least=leg.unknown_above)


def _nearest(side: Sequence[SideGround], *, unknown: bool) -> float:
    return 0.0 if unknown else side[0].distance_m if side else math.inf


def _highest_band_deg(leg: LegScreening) -> float | None:
    return leg.bands_possible[-1].low_deg if leg.bands_possible else None


def _high(leg: LegScreening) -> float:
    return math.inf if leg.slope_high_deg is None else leg.slope_high_deg


def _order(found: float | None, steepest_deg: float | None) -> float:
    return found or (math.inf if steepest_deg is None else 0.0)


LEG_COLUMNS: Final = (
    Column("number", "Leg", lambda leg: str(leg.number)),
    Column("from_", "From", lambda leg: leg.from_, align="left", width=26),
    Column("to", "To", lambda leg: leg.to, align="left", width=26),
    Column("length_m", "km", lambda leg: kilometres(leg.length_m), "km"),
    Column("ascent_m", "Up, m", lambda leg: climb(leg.ascent_m, at_least=leg.ascent_at_least), "m"),
    Column("descent_m", "Down, m", lambda leg: climb(leg.descent_m, at_least=leg.ascent_at_least), "m"),
    Column("slope_max_deg", "Steepest on line", leg_slope),
    Column("slope_max_at", "at m", lambda leg: length(leg.slope_max_at and leg.slope_max_at.chainage_m), "m"),
    Column("slope_interval", "95 % interval", _interval, order=_high),
    Column(
        "short_slope_max_deg",
        "Short pieces",
        lambda leg: _short(leg.short_slope_max_deg, leg.slope_max_deg),
        order=lambda leg: _order(leg.short_slope_max_deg, leg.slope_max_deg),
    ),
    Column("slope_corridor_max_deg", "Corridor", corridor_slope),
    Column(
        "short_corridor_max_deg",
        "Short in corridor",
        lambda leg: _short(leg.short_corridor_max_deg, leg.slope_corridor_max_deg),
        order=lambda leg: _order(leg.short_corridor_max_deg, leg.slope_corridor_max_deg),
    ),
    Column(
        "drop",
        "Drop",
        _drop,
        align="left",
        order=lambda leg: leg.drop.fall_m if leg.drop else math.inf if _drop_hidden(leg) else 0.0,
    ),
    Column(
        "bands_possible",
        "Possible bands",
        lambda leg: bands_text(leg.bands_possible, open_above=leg.open_above),
        align="left",
        width=15,
        order=lambda leg: sorted_as(_highest_band_deg(leg), at_least=leg.open_above),
    ),
    Column(
        "steep_m",
        f"m of {STEEP_DEG:g}°+",
        lambda leg: steep_length(leg.steep_m, at_least=leg.unknown_m > 0),
        "m",
    ),
    Column(
        "steep_stretch_m",
        "longest",
        lambda leg: steep_length(leg.steep_stretch_m, at_least=leg.unknown_m > 0),
        "m",
    ),
    Column(
        "left",
        f"m off to {_SIDES}, left",
        lambda leg: side_text(leg.sides.left, unknown=leg.sides.unknown_left),
        align="left",
        order=lambda leg: _nearest(leg.sides.left, unknown=leg.sides.unknown_left),
    ),
    Column(
        "right",
        f"m off to {_SIDES}, right",
        lambda leg: side_text(leg.sides.right, unknown=leg.sides.unknown_right),
        align="left",
        order=lambda leg: _nearest(leg.sides.right, unknown=leg.sides.unknown_right),
    ),
    Column("overhead_deg", "Overhead", _overhead, order=_overhead_order),
    Column(
        "unknown_m",
        "Unknown\nm",
        lambda leg: or_none(steep_length(leg.unknown_m)),
        "m",
        order=lambda leg: leg.unknown_m,
    ),
    Column(
        "aspect_sectors", "Steep ground faces", lambda leg: " ".join(leg.aspect_sectors) or NONE, align="left"
    ),
)
"""Everything that a table tells of a leg; each output takes those for which it has room."""


def leg_columns(*keys: str) -> tuple[Column, ...]:
    """Columns of `LEG_COLUMNS` by their keys, in the order asked for."""
    by_key = {column.key: column for column in LEG_COLUMNS}
    return tuple(by_key[key] for key in keys)


def band_columns(labels: Iterable[str]) -> tuple[Column, ...]:
    """Metres of a leg, or of the whole line, in each band: the gentlest down, all others up."""
    return tuple(
        Column(f"band_{label}_m", label, _in_band(label, gentle_length if k == 0 else steep_length), "m")
        for k, label in enumerate(labels)
    )


def _in_band(label: str, rounded: Callable[[float], Value]) -> Callable[[LegScreening | Totals], Cell]:
    return lambda leg: or_none(rounded(leg.band_lengths_m[label]))


NOT_RANKED: Final = (
    "Each screened as if it were alone, in the order given: no order of merit. Times by a card's usual rule, "
    "without breaks. Letters are those of each line's own places."
)
CHANGES: Final = (
    "Told only where the band of a leg's steepest ground changes, by its leading figure: the interval may "
    "reach steeper."
)
NO_CHANGE: Final = "No band of a leg changes there; nothing is proved by that."


def lines_blocks(found: RouteLines) -> Iterator[Block]:
    """Yield the lines as one table, then the ways off, then what a shift does, as far as there are any."""
    if len(found.lines) > 1:
        yield Heading("Lines side by side")
        yield from _side_by_side(found.lines)
        yield Listing(tuple(places_texts(found.lines[1:])))
    if found.ways_off:
        yield Heading("Ways off")
        yield from _side_by_side(found.ways_off)
        yield Listing((*map(leaves_text, found.ways_off), *places_texts(found.ways_off)))
    if len(found.lines) > 1 or found.ways_off:
        yield Paragraph(NOT_RANKED)
    if found.shifts:
        yield Heading("The line moved")
        yield Paragraph(moved_text(found.shifts))
        yield Listing(moved_items(found.shifts))


def lines_cautions(found: RouteScreening) -> tuple[Caution, ...]:
    """Cautions of a line and of those beside it, each text once, its own first."""
    beside = (*found.lines[1:], *found.ways_off) if isinstance(found, RouteLines) else ()
    return tuple(dict.fromkeys((*found.cautions, *(caution for line in beside for caution in line.cautions))))


def moved_text(shifts: Sequence[LineMoved]) -> str:
    """Say by how much the line was moved, and what is told of it."""
    by = ", ".join(dict.fromkeys(length(one.shift_m).short for one in shifts))
    return f"To the left and right by {by}. {CHANGES if moved_items(shifts) else NO_CHANGE}"


def moved_items(shifts: Sequence[LineMoved]) -> tuple[str, ...]:
    """``leg 7, 30 m left: 25-30 becomes 55+``; all of a leg in one item."""
    changes = sorted(((leg, one) for one in shifts for leg in one.legs), key=lambda both: both[0].leg)
    return tuple(
        f"leg {number}, {'; '.join(_change(leg, one) for leg, one in of_leg)}"
        for number, of_leg in groupby(changes, key=lambda both: both[0].leg)
    )


def _change(leg: LegMoved, by: LineMoved) -> str:
    was, becomes = (
        bands_text(() if band is None else (band,), open_above=open_above)
        for band, open_above in ((leg.band, leg.open_above), (leg.moved_band, leg.moved_open_above))
    )
    return f"{length(by.shift_m).short} {by.side}: {was} becomes {becomes}"


def _side_by_side(lines: Sequence[ComparedLine]) -> Iterator[Block]:
    name = stacked("Line, places\n(at length)", _NAME, _PLACES, align="left", width=16)
    way = stacked("km\n+ up m\n- down m\ntime", _LENGTH, *_CLIMBS, _TIME)
    yield Table((name, way, _STEEPEST, _BESIDE, _ZONES, _OVERHEAD, _UNKNOWN), lines)
    bands = band_columns(lines[0].band_lengths_m)
    # A table of its own: all in one would run over the edge of a narrow terminal.
    yield Table((_NAME, *bands, _UNKNOWN), lines, "Metres of each line in each band (degrees)")


def _zones(line: ComparedLine) -> Cell:
    sure, possible = (
        steep_length(metres, at_least=line.unknown_m > 0.0)
        for metres in (line.in_start_zone_m, line.in_possible_zone_m)
    )
    return (sure, f"({possible.text})")


def _line_overhead(line: ComparedLine) -> Cell:
    outside, inside = (
        None if deg is None else overhead(deg, at_least=line.unknown_above).text
        for deg in (line.overhead_max_deg, line.overhead_inside_max_deg)
    )
    if outside is None and inside is None:
        return UNKNOWN if line.unknown_above else NONE
    return tuple(filter(None, (outside, inside and f"in zone {inside}")))


def _line_beside(line: ComparedLine) -> Cell:
    """Steepest in the corridor of a line, its short pieces below where they are steeper."""
    beside = slope(line.slope_corridor_max_deg, at_least=line.open_above)
    short = line.short_corridor_max_deg
    return beside if short is None else (*cell_lines(beside), f"short {slope(short).text}")


def _at_length(line: ComparedLine) -> Cell:
    letters = " ".join(place.name for place in line.at_length)
    places = "1 place" if line.places == 1 else f"{line.places} places"
    return f"{places} ({letters})" if letters else places


def _line_steepest(line: ComparedLine) -> Value:
    return slope(line.slope_max_deg, at_least=line.open_above)


_NAME: Final = Column("name", "Line", lambda line: line.name, align="left", width=20)
_LENGTH: Final = Column("length_m", "km", lambda line: kilometres(line.length_m), "km")
_ASCENT: Final = Column(
    "ascent_m", "up m", lambda line: climb(line.ascent_m, at_least=line.ascent_at_least), "m"
)
_DESCENT: Final = Column(
    "descent_m", "down m", lambda line: climb(line.descent_m, at_least=line.ascent_at_least), "m"
)
_CLIMBS: Final = (worded(_ASCENT, "+{}"), worded(_DESCENT, "-{}"))
_TIME: Final = Column("time_min", "Time", lambda line: minutes(line.time_min, at_least=line.time_at_least))
_STEEPEST: Final = Column("slope_max_deg", "Steepest", _line_steepest)
_BESIDE: Final = Column("slope_corridor_max_deg", "Corridor", _line_beside)
_UNKNOWN: Final = Column("unknown_m", "unknown\nm", lambda line: or_none(steep_length(line.unknown_m)), "m")
_ZONES: Final = Column("in_start_zone_m", "m in start zones\n(possible)", _zones)
_OVERHEAD: Final = Column("overhead_max_deg", "Overhead\n(- none\nseen)", _line_overhead)
_PLACES: Final = Column("places", "Places", _at_length)

LINE_COLUMNS: Final = (
    _NAME, _LENGTH, _ASCENT, _DESCENT, _TIME, _STEEPEST, _BESIDE, _ZONES, _OVERHEAD, _UNKNOWN, _PLACES
)  # fmt: skip
"""Columns of a table of lines where there is room."""


def leaves_text(way: WayOff) -> str:
    """Say where a way off leaves the line."""
    at = way.leaves
    between = ", the ground between being its first leg" if way.off_m > PLACE_ERROR_M else ""
    off = f"; its first point is {steep_length(way.off_m).text} off the line{between}"
    return (
        f"{way.name}: leaves leg {at.leg} at {length(at.at_m).text}, {kilometres(at.chainage_m).text} from "
        f"the start{off if way.off_m >= 1.0 else ''}."
    )


def way_off_text(way: WayOff) -> str:
    """Say in a line where a way off leaves the line, how long it is, for how long, and its steepest."""
    at, least = way.leaves, way.time_at_least
    return (
        f"{way.name}: leaves leg {at.leg}, {kilometres(at.chainage_m).text} from the start; "
        f"{kilometres(way.length_m).text}, {minutes(way.time_min, at_least=least).text}, "
        f"steepest on it {_line_steepest(way).text}"
    )


def places_texts(lines: Sequence[ComparedLine]) -> Iterator[str]:
    """Say the places told at length of lines, each with its letter there."""
    for line in lines:
        for place in line.at_length:
            yield f"{line.name}, {place.name}, {stretch_words(place)}: {place.words}"
