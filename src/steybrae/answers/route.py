"""A planned line: its places that matter, and where on, beside and above it ground is steep or unknown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from steybrae.answers.forecast import finding_blocks, forecast_blocks, named_blocks
from steybrae.answers.leg import LEG_COLUMNS, band_columns, lines_blocks, lines_cautions
from steybrae.answers.overhead import (
    CHECKS_RANGE,
    OVERHEAD_COLUMNS,
    baseline_columns,
    baselines_note,
    zone_lengths_text,
)
from steybrae.bands import STEEP_DEG, bands_text
from steybrae.cautions import Caution
from steybrae.document import (
    Block,
    Cautions,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Table,
    or_none,
    stacked,
    worded,
)
from steybrae.frozen import dataclass
from steybrae.route.corridor import SIDE_SLOPES_DEG
from steybrae.route.legs import leading_notes
from steybrae.route.overhead.result import ExpectedReading
from steybrae.screening.basis import (
    corridor_text,
    cross_check_text,
    least_known_m,
    looks_of,
    overhead_text,
    zones_sentences,
)
from steybrae.screening.compared import RouteLines
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import (
    check_words,
    legs_without_check,
    place_line,
    same_check_words,
    start_words,
    stretch_words,
    without_check,
)
from steybrae.screening.result import LegScreening, RouteScreening, Totals
from steybrae.terrain.attributes import BASELINE_M
from steybrae.terrain.overhead.unknown import PLACE_SIGHT_DEG
from steybrae.value import (
    and_more,
    climb,
    far_off,
    legs_and_length,
    short_text,
    steep_length,
    steepest_texts,
    up_and_down,
)

if TYPE_CHECKING:
    from steybrae.card.result import RouteCard


MORE: Final = Paragraph("More: --legs, --bands, --overhead, --all. To carry: steybrae card.")


STATE: Final = (
    "Wide intervals: nothing was stated of this coarse model; --model-kind (what made it) narrows them. "
    "Checks that would tell little are left out."
)


@dataclass(frozen=True)
class RouteView:
    """What is told of a line beyond what matters: its legs, their bands, what is overhead, or everything."""

    legs: bool = False
    bands: bool = False
    overhead: bool = False
    everything: bool = False


def route_document(found: RouteScreening, view: RouteView | None = None) -> Document:
    """Forecast, the day, the places that matter, the legs without, cautions; and more where asked for."""
    view = view or RouteView()
    whole = view.everything
    blocks: list[Block] = [
        *finding_blocks(found.forecast, alone=not whole),
        *headline(found),
        *map(Paragraph, leading_notes(found.notes)),
        *place_blocks(found),
        *(lines_blocks(found) if isinstance(found, RouteLines) else ()),
        *(() if whole else named_blocks(found.forecast)),
    ]
    if whole:
        bands = bands_text(found.totals.bands_possible, open_above=found.totals.open_above)
        blocks.append(Paragraph(f"{zone_lengths_text(found)}; possible bands {bands}."))
        told = leading_notes(found.notes)
        blocks += [Paragraph(f"Note: {note}") for note in found.notes if note not in told]
    if view.legs or whole:
        blocks.append(_legs_table(found.legs))
    if view.bands or whole:
        blocks.append(_bands_table(found))
        blocks += map(Paragraph, baselines_note(found.legs[0].baselines))
    if view.overhead or whole:
        blocks += _overhead_blocks(found)
    if whole:
        blocks += [Paragraph(""), *map(Paragraph, _basis(found))]
    if found.cross_check is not None:
        blocks += [Paragraph(""), Paragraph(cross_check_text(found.cross_check))]
    if whole:
        blocks += forecast_blocks(found.forecast)
    blocks.append(Cautions(lines_cautions(found), whole=whole))
    if not whole:
        blocks.append(MORE)
        if _coarse_and_nothing_stated(found):
            blocks.append(Paragraph(STATE))
    return Document(found.name or "Route", tuple(blocks))


def without_hints(document: Document) -> Document:
    """Leave out what only a command line can do."""
    kept = tuple(block for block in document.blocks if block is not MORE)
    return Document(document.title, kept)


def _coarse_and_nothing_stated(found: RouteScreening) -> bool:
    used = found.settings
    return (
        max(found.model.cell_size_m) > BASELINE_M
        and used.model_kind is None
        and used.vertical_error_m is None
    )


def _overhead_blocks(found: RouteScreening) -> Iterator[Block]:
    yield Table(
        OVERHEAD_COLUMNS,
        found.legs,
        "Start zones overhead, the shape of the ground, checks (bearings true)",
    )
    yield Paragraph("")
    if any(leg.expected_readings for leg in found.legs):
        yield Paragraph(CHECKS_RANGE)
    yield from map(Paragraph, legs_without_check(found.legs))
    yield Paragraph(_overhead_basis(found))


def headline(found: RouteScreening) -> Iterator[Block]:
    """Give the whole line in a few sentences."""
    totals = found.totals
    on, beside = steepest_words(found)
    climbs = up_and_down(totals.ascent_m, totals.descent_m, at_least=totals.ascent_at_least)
    counted = totals.ascent_on_map_m
    on_map = "" if counted is None else f" (up as counted on the map: {climb(counted).text})"
    unknown = f"; unknown ground {steep_length(totals.unknown_m).text}" if totals.unknown_m else ""
    extent = f"{found.read_as}, {legs_and_length(totals.legs, totals.length_m)}"
    yield Heading(f"{found.name or 'Route'} ({extent}): {climbs}{on_map}{unknown}", level=1)
    yield from unit_doubt(found.cautions)
    yield Paragraph(f"Steepest {on}, {beside}, overhead {overhead_text(found)}.")


def unit_doubt(cautions: Iterable[Caution]) -> Iterator[Block]:
    """Say before any figure that heights look like another unit: all of them would be wrong."""
    yield from (Paragraph(one.line, strong=True) for one in cautions if one.key == "unit_doubtful")


def steepest_words(found: RouteScreening) -> tuple[str, str]:
    """Steepest on the line and in the corridor, each with its leg and its short pieces."""
    totals = found.totals
    shorts = {leg.number: leg.short_corridor_max_deg for leg in found.legs}
    on, beside = steepest_texts(totals, shorts, found.long_baseline_m)
    on_line = {leg.number: leg.short_slope_max_deg for leg in found.legs}
    return f"{on}{short_text(totals.short_slope_max_deg, on_line, totals.slope_max_leg)}", beside


def _overhead_basis(found: RouteScreening) -> str:
    looks = looks_of(found)
    if looks is None:
        return "What is overhead is unknown: the model knows no height of the line."
    zones = zones_sentences(looks, found.settings.start_zones, max(found.model.cell_size_m))
    return (
        f"{zone_lengths_text(found)}. {zones} "
        f"Sights of {and_more(looks.least_deg)}; the open ones lead (in sight, or the zone's own way down "
        "passes near; JSON has the others too). Within a zone its next cell is often the steepest: the line "
        "below is the sight from outside. Path: the steepest line from a zone along ground that snow could "
        "follow. Neither says how far it would run."
    )


def _legs_table(legs: tuple[LegScreening, ...]) -> Table:
    of = {column.key: column for column in LEG_COLUMNS}
    off = f"m off to\n{' | '.join(f'{s:g}°' for s in SIDE_SLOPES_DEG)}\nleft, right"
    climbs = (worded(of["ascent_m"], "+{}"), worded(of["descent_m"], "-{}"))
    steepest = (
        of["slope_max_deg"],
        worded(of["slope_max_at"], "at {} m"),
        worded(of["slope_interval"], "({})"),
        *_short(of["short_slope_max_deg"], [leg.short_slope_max_deg for leg in legs]),
    )
    shorts = _short(of["short_corridor_max_deg"], [leg.short_corridor_max_deg for leg in legs])
    corridor = of["slope_corridor_max_deg"]
    steep = (of["steep_m"], worded(of["steep_stretch_m"], "({})"))
    sides = (worded(of["left"], "L {}"), worded(of["right"], "R {}"))
    drops = (of["drop"],) if any(leg.drop is not None for leg in legs) else ()
    unknown = (of["unknown_m"],) if any(leg.unknown_m > 0.0 for leg in legs) else ()
    return Table(
        (
            of["number"],
            stacked("From\nto", of["from_"], worded(of["to"], "to {}"), align="left", width=26),
            stacked("km\n+ up m\n- down m", of["length_m"], *climbs),
            stacked("Steepest on line\n(95 % interval)", *steepest),
            stacked("Corridor", corridor, *shorts) if shorts else corridor,
            of["bands_possible"],
            stacked(f"m of {STEEP_DEG:g}°+\n(longest, with\nunknown between)", *steep),
            stacked(f"{off},\ndrop" if drops else off, *sides, *drops, align="left", width=15),
            *unknown,
        ),
        legs,
    )


def _short(column: Column, found: Sequence[float | None]) -> tuple[Column, ...]:
    """Column of short pieces, where any leg has some."""
    return (worded(column, "short {}"),) if any(deg is not None for deg in found) else ()


def _bands_table(found: RouteScreening) -> Table:
    return Table(
        (
            Column("number", "Leg", lambda leg: "all" if isinstance(leg, Totals) else str(leg.number)),
            *band_columns(found.totals.band_lengths_m),
            Column("unknown_m", "unknown", lambda leg: or_none(steep_length(leg.unknown_m)), "m"),
            Column("aspect_sectors", "steep ground\nfaces", _faces, align="left"),
            *baseline_columns(found.legs[0].baselines),
        ),
        found.legs,
        "Metres of each leg in each band (degrees); its steepest slope over several baselines",
        foot=(found.totals,),
    )


def _faces(leg: LegScreening | Totals) -> str:
    return "" if isinstance(leg, Totals) else " ".join(leg.aspect_sectors) or "-"


def _basis(found: RouteScreening) -> Iterator[str]:
    model, used = found.model, found.settings
    datum = steep_length(model.datum_accuracy_m).text
    yield (
        f"Model: {', '.join(model.files)}; {model.crs}; cells {model.cell_size_m[0]:.1f} x "
        f"{model.cell_size_m[1]:.1f} m; datum shift good to {datum}; method {model.method}."
    )
    yield model.uncertainty
    yield (
        f"Corridor: {corridor_text(model, used)}. On the line: the steepest of the cells around each place. "
        f"Ups and downs under {used.reversal_m:g} m are not counted."
    )


def place_blocks(found: RouteScreening) -> Iterator[Block]:
    """Yield the places along the line, the legs that are on none, and the rule of their order."""
    lead = "Places that matter." if found.places else no_place_text(found)
    told = [place for place in found.places if place.at_length]
    bare = " ".join(without_check(found.places))
    without = f" No check: {bare}." if bare else ""
    yield Paragraph(f"{lead} {legs_left_text(found)}{without}")
    yield Listing(tuple(place_text(found, place) for place in told), marked=False)
    rest = [place for place in found.places if not place.at_length]
    if rest:
        yield Listing(tuple(place_text(found, place) for place in rest), marked=False, abreast=True)
    if found.places:
        yield Paragraph(ORDER_RULE)


def no_place_text(found: RouteScreening) -> str:
    """Say what was looked for where no place was found, and how far all of it is known."""
    known_to_m = least_known_m(leg.overhead for leg in found.legs)
    unknown = (
        "none is unknown" if known_to_m is None else f"none is unknown within {far_off(known_to_m).text}"
    )
    return (
        f"No ground of {and_more(STEEP_DEG)} was found underfoot or in the corridor, none overhead at "
        f"{and_more(PLACE_SIGHT_DEG)}, and {unknown}; nothing is proved by that."
    )


def place_text(
    found: RouteScreening, place: PlaceThatMatters, declinations_deg: Mapping[int, float] | None = None
) -> str:
    """Say a place at length, where, why, and its checks; or in a line.

    `declinations_deg` are those of the legs on a day, by number: its checks look by the compass then.
    """
    if not place.at_length:
        return f"{place.name}  {stretch_words(place)}: {place_line(place)}"
    checks = " ".join(
        _check_text(found, place, reading, (declinations_deg or {}).get(leg.number))
        for leg in found.legs
        for reading in leg.expected_readings
        if reading.leads and reading.name in place.checks
    )
    return " ".join(filter(None, (f"{place.name}  {start_words(place)}. {place.words}", checks)))


def _check_text(
    found: RouteScreening, place: PlaceThatMatters, reading: ExpectedReading, declination_deg: float | None
) -> str:
    first = next(one.name for one in found.places if one.at_length and reading.name in one.checks)
    if first != place.name:
        return same_check_words(reading.name, first)
    return check_words(reading, declination_deg)


def legs_left_text(found: RouteScreening | RouteCard) -> str:
    """Name the legs without ground that may be of 30 degrees, and those with possible ground only."""
    without = ", ".join(map(str, found.legs_without)) or "none"
    text = f"Legs without {STEEP_DEG:g}°+ on, beside or above, as far as known: {without}."
    if found.legs_possible_only:
        only = (f"{one.leg} ({steep_length(one.metres).text})" for one in found.legs_possible_only)
        text += f" Perhaps such ground: {', '.join(only)}."
    return text
