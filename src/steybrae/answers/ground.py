"""The ground at a place, at each of many places, and in the cells of a grid."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from steybrae.answers.forecast import AT_ONCE, finding_blocks, forecast_blocks, part_head
from steybrae.answers.overhead import (
    baselines_note,
    baselines_text,
    path_text,
    reading_interval_text,
    sight_text,
)
from steybrae.bands import bands_text
from steybrae.cautions import Caution
from steybrae.document import NONE, Block, Cautions, Cell, Column, Document, Paragraph, Table, plain
from steybrae.forecast.beside import ForecastBeside, NamedAtPlace, caution_lines
from steybrae.forecast.choose import of_another_time
from steybrae.quantities import one_in_text, shown_slope_deg
from steybrae.route.overhead.result import (
    OverheadAnswer,
    PathAnswer,
    SightAnswer,
    unknown_words,
)
from steybrae.screening.basis import (
    ZONE_WORDS,
    cross_check_text,
    none_overhead_text,
    steeper_than_zones,
    zone_text,
    zone_underfoot,
    zones_sentences,
)
from steybrae.screening.ground.result import DropNear, GroundAt, GroundPlaces, RunOut, Within
from steybrae.screening.places.words import without_check_lines
from steybrae.screening.standing import ReadingLeftOut
from steybrae.terrain.attributes import BASELINE_M
from steybrae.value import (
    UNKNOWN,
    Value,
    bearing,
    distance_off,
    height,
    lower,
    overhead,
    percent,
    short_text,
    slope,
    steep_length,
)

if TYPE_CHECKING:
    from steybrae.screening.ground.at import GroundCells

NO_HEIGHT: Final = "The model has no height here: nothing is known of this ground."
"""What stands first where that is so."""


def ground_document(ground: GroundAt, position_note: str = "") -> Document:
    """Tell what the ground is like at a place, around it and above it.

    `position_note` says how the position error was made of what a receiver shows.
    """
    lines = [*ground_lines(ground), *([position_note] if position_note else [])]
    nothing = ground.elevation_m is None and ground.slope_deg is None
    first = [Paragraph(NO_HEIGHT, strong=True)] if nothing else []
    blocks: list[Block] = [*first, *finding_blocks(ground.forecast), *map(Paragraph, lines)]
    if ground.cross_check is not None:
        blocks += [Paragraph(""), Paragraph(cross_check_text(ground.cross_check))]
    blocks += [*forecast_blocks(ground.forecast), Cautions(ground.cautions)]
    return Document(lines[0], tuple(blocks))


def ground_lines(ground: GroundAt) -> Iterator[str]:
    """Yield the sentences of the answer, without forecast and cautions, for a picture's foot too."""
    place, found = ground.place, _slope(ground)
    written = f'"{place.written}" = ' if place.written else ""
    where = f"{written}{place.lat_deg:.5f}, {place.lon_deg:.5f} (WGS 84)"
    yield f"{where}, height {height(ground.elevation_m).text}"
    yield ""
    yield from _zone(ground)
    ratio = "" if found.number is None else f" = {one_in_text(found.number)}"
    yield f"Slope {found.text}{ratio}{short_text(ground.short_slope_deg)}"
    yield f"95 % interval, pieces of {min(ground.baseline_m, BASELINE_M):.0f} m: {found.interval_text}"
    yield _facing(ground)
    yield _circle(ground.within)
    yield f"Possible bands {bands_text(ground.bands_possible, open_above=ground.open_above)}"
    if ground.drop is not None:
        yield _drop(ground.drop)
    yield from _baselines(ground)
    yield ""
    yield from _overhead(ground)
    yield from (roll.reason for roll in ground.convex_rolls)
    yield from (trap.reason for trap in ground.terrain_traps)
    yield from _readings(ground)
    yield from _run_out(ground.run_out)
    yield ""
    yield (
        f"Model: {', '.join(ground.model_files)}; cells {ground.cell_size_m[0]:.1f} x "
        f"{ground.cell_size_m[1]:.1f} m; method {ground.method}. Slope is that of the cell of "
        f"the place, over {ground.baseline_m:.0f} m."
    )
    yield ground.basis
    yield from _start_zones(ground)


def _slope(ground: GroundAt) -> Value:
    interval = (ground.slope_low_deg, ground.slope_high_deg)
    return slope(ground.slope_deg, at_least=ground.open_above, interval=interval)


def _facing(ground: GroundAt) -> str:
    if ground.aspect_true_deg is None:
        return "Faces: no direction (level or unknown)"
    return f"Faces {ground.aspect_sector}, {bearing(ground.aspect_true_deg, 'true')}"


def _circle(within: Within) -> str:
    radius = steep_length(within.radius_m).text
    words = f"Within {radius} (95 % of positions, and the 3 x 3 cells around): "
    if within.slope_max_deg is None:
        return words + UNKNOWN
    least, median = (slope(deg).text for deg in (within.slope_min_deg, within.slope_median_deg))
    most = steepest_near(within).text
    words += f"least {least}, median {median}, steepest {most}"
    if within.unknown_share:
        words += f"; {percent(100.0 * within.unknown_share).text} of it {UNKNOWN}"
    return words


def steepest_near(within: Within) -> Value:
    """Steepest of the cells that a position error reaches: at least that where one of them is unknown."""
    return slope(within.slope_max_deg, at_least=within.unknown_share > 0.0)


def _drop(drop: DropNear) -> str:
    off, look = distance_off(drop.off_m), drop.bearing_true_deg
    where = f"{off.text} off" if off.shown else "at the place itself"
    towards = "" if look is None else f" towards {bearing(look, 'true')}"
    return f"Drop of {steep_length(drop.fall_m).text}, {where}{towards}"


def _zone(ground: GroundAt) -> list[str]:
    looks = ground.overhead
    if ground.start_zones is None or (looks is not None and not looks.in_possible_zone):
        return []
    if looks is None or ground.slope_deg is None:
        return [f"Whether this place stands in a start zone is {UNKNOWN}.", ""]
    if steeper_than_zones(looks, ground.slope_deg):
        return [f"This place stands {ZONE_WORDS['steeper']}: more than {looks.start_to_deg:g}°.", ""]
    if not looks.in_start_zone:
        itself = shown_slope_deg(ground.slope_deg) >= looks.start_from_deg
        why = "is steep itself" if itself else "may be steep within what is known"
        return [f"This place stands {ZONE_WORDS['possible']}: it {why}.", ""]
    return [f"This place stands {ZONE_WORDS['yes']}: {zone_text(looks)}.", ""]


def _start_zones(ground: GroundAt) -> list[str]:
    looks, rules = ground.overhead, ground.start_zones
    if looks is None or rules is None:
        return []
    return [zones_sentences(looks, rules, max(ground.cell_size_m))]


def _baselines(ground: GroundAt) -> list[str]:
    words = baselines_text(ground.baselines)
    told = [f"Steepest of the 3 x 3 cells {words}"] if words else []
    return [*told, *baselines_note(ground.baselines)]


def _possible(looks: OverheadAnswer) -> Iterator[str]:
    """Sight up to a possible start zone, where it is steeper than every one to a start zone."""
    sure = 0.0 if looks.sight is None else looks.sight.unfiltered_deg
    if looks.possible_deg is not None and shown_slope_deg(looks.possible_deg) > shown_slope_deg(sure):
        yield f"Up to a possible start zone, whatever lies between: {slope(looks.possible_deg).text}"


def _overhead(ground: GroundAt) -> Iterator[str]:
    """Lines of what is overhead, and why it may be more; the open sight leads."""
    lines, at = list(_known_overhead(ground)), ground.unknown_above_at
    yield lines[0]
    if at is not None:
        yield f"Overhead may hold more: {unknown_words(at)}"
    yield from lines[1:]


def _known_overhead(ground: GroundAt) -> Iterator[str]:
    looks = ground.overhead
    if looks is None:
        yield f"Overhead: {UNKNOWN}"
        return
    if looks.sight is None:
        yield f"Overhead: {UNKNOWN}" if ground.unknown_above else none_overhead_text(looks)
        yield from _possible(looks)
        return
    sight, path, least = looks.sight, looks.path, ground.unknown_above
    by = "sight, with ground above its line," if sight.hidden and sight.deg is not None else "open sight"
    lines = [f"{sight_text(sight, at_least=least)} ({by} to a start zone, {zone_text(looks)})"]
    if path is not None:
        # The larger of the two leads.
        first = path.deg > (sight.deg or 0.0)
        lines.insert(0 if first else 1, f"path angle {path_text(path, at_least=least)}")
    yield f"Overhead {lines[0]}"
    yield from (f"{line[0].upper()}{line[1:]}" for line in lines[1:])
    yield from _possible(looks)
    if sight.top is not None and sight.top.distance_m != sight.distance_m:
        off, up = distance_off(sight.top.distance_m).text, steep_length(sight.top.rise_m).text
        look = bearing(sight.top.bearing_true_deg, "true")
        yield f"Top of that zone {slope(sight.top.deg).text} towards {look}, {off} off, {up} up"
    whatever = slope(sight.unfiltered_deg, at_least=least).text
    if whatever != slope(sight.deg, at_least=least).text:
        look = bearing(sight.unfiltered_bearing_true_deg, "true")
        yield f"Whatever lies between: {whatever} towards {look}"


def _readings(ground: GroundAt) -> list[str]:
    lines = []
    for reading in ground.expected_readings:
        look = reading.look_bearing_true_deg
        towards = "" if look is None else f", look {bearing(look, 'true')}"
        told = reading_interval_text(reading)
        if reading.quantity == "slope":
            # Where in the circle one stands is not known, so that this is wider than the interval above.
            told = f"{told[:-1]} for all within {steep_length(ground.within.radius_m).text})"
        lines.append(f"Check ({reading.name}): {told}{towards} ({reading.what})")
    left_out = [] if ground.reading_left_out is None else [_left_out(ground.reading_left_out)]
    return [*lines, *left_out, *without_check_lines(ground.steep_without_check)]


def _left_out(one: ReadingLeftOut) -> str:
    known = slope(one.expected_deg, interval=(one.low_deg, one.high_deg)).interval_text
    return (
        f"No reading of the slope would tell much here: within the position error it may be {known} (95 %), "
        f"and one less than {slope(one.would_notice_deg).text} steeper would not differ."
    )


def _run_out(found: RunOut | None) -> list[str]:
    if found is None:
        return []
    far, beta, top = steep_length(found.beta_distance_m), slope(found.beta_deg), slope(found.top_deg)
    alpha, low = lower(found.alpha_deg), lower(found.alpha_low_deg)
    return [
        f"For teaching: straight down past here the ground flattens to 10° {far.text} from the top of that "
        f"zone, which from there stands at {beta.text} (beta). The published run-out angle "
        f"is {alpha.text} (alpha = 0.96 beta - 1.4°), {low.text} two standard deviations farther out; from "
        f"here the top stands at {top.text}. Large slides have been known to come to where "
        "it stands at such angles, and lower. This predicts nothing for this slope."
    ]


def _leading(ground: GroundAt) -> tuple[str, SightAnswer | PathAnswer | None, float | None]:
    """Larger of sight and path, and which it is."""
    looks = ground.overhead
    if looks is None:
        return "", None, None
    sight, path = looks.sight, looks.path
    sight_deg = None if sight is None else sight.unfiltered_deg if sight.deg is None else sight.deg
    if path is not None and path.deg > (sight_deg or 0.0):
        return "path", path, path.deg
    return ("", None, None) if sight is None else ("sight", sight, sight_deg)


def _place_overhead(ground: GroundAt) -> Cell:
    _, one, deg = _leading(ground)
    if one is None or deg is None:
        return UNKNOWN if ground.overhead is None or ground.unknown_above else NONE
    return overhead(deg, at_least=ground.unknown_above)


def _quantity(ground: GroundAt) -> Cell:
    quantity, one, _ = _leading(ground)
    hidden = isinstance(one, SightAnswer) and one.hidden
    return f"{quantity}, hidden" if hidden else quantity


def _place_zone(ground: GroundAt) -> Cell:
    looks = ground.overhead
    if looks is None or (ground.slope_deg is None and not looks.in_start_zone):
        return UNKNOWN
    steeper = steeper_than_zones(looks, ground.slope_deg)
    return "steeper" if steeper else zone_underfoot(looks, ground.slope_deg)


def _drop_figure(of: Callable[[DropNear], Cell]) -> Callable[[GroundAt], Cell]:
    def cell(at: GroundAt) -> Cell:
        if at.drop is None:
            return UNKNOWN if at.within.unknown_share > 0.0 else NONE
        return of(at.drop)

    return cell


_PLACE: Final = (
    Column("name", "Place", lambda at: at.place.name or at.place.written, align="left", width=26),
    Column("lat_deg", "Latitude", lambda at: Value(at.place.lat_deg, "", 1e-7)),
    Column("lon_deg", "Longitude", lambda at: Value(at.place.lon_deg, "", 1e-7)),
)

_GROUND: Final = (
    Column("elevation_m", "Height\nm", lambda at: height(at.elevation_m), "m"),
    Column("slope_deg", "Slope", _slope),
    Column("slope_low_deg", "from", lambda at: lower(at.slope_low_deg)),
    Column("slope_high_deg", "to", lambda at: slope(at.slope_high_deg)),
    Column("within_slope_max_deg", "Steepest\nnear", lambda at: steepest_near(at.within)),
    Column(
        "within_slope_high_max_deg",
        "to",
        lambda at: slope(at.within.slope_high_max_deg, at_least=at.within.unknown_share > 0.0),
    ),
    Column("drop_fall_m", "Drop\nm", _drop_figure(lambda drop: steep_length(drop.fall_m)), "m"),
    Column("drop_off_m", "off\nm", _drop_figure(lambda drop: distance_off(drop.off_m)), "m"),
    Column("overhead_deg", "Overhead", _place_overhead),
    Column("overhead_quantity", "by", _quantity, align="left"),
    Column("in_start_zone", "In a start\nzone", _place_zone, align="left"),
)

_MORE: Final = (
    Column("aspect_sector", "Faces", lambda at: at.aspect_sector or "", align="left"),
    Column("band", "Band", lambda at: UNKNOWN if at.band is None else at.band.label, align="left"),
    Column(
        "bands_possible", "Possible bands", lambda at: bands_text(at.bands_possible, open_above=at.open_above)
    ),
    Column("open_above", "At least", lambda at: "yes" if at.open_above else "no"),
    Column("overhead_at_least", "", lambda at: "yes" if at.unknown_above else "no"),
    Column("baseline_m", "Over\nm", lambda at: steep_length(at.baseline_m), "m"),
    Column("within_radius_m", "Within\nm", lambda at: steep_length(at.within.radius_m), "m"),
    Column("cautions", "", lambda at: " ".join(caution.key for caution in at.cautions), align="left"),
)


def places_csv_table(found: GroundPlaces) -> Table:
    """Every place with every figure, for a file."""
    return Table((*_PLACE, *_GROUND, *_MORE), found.places)


def places_cautions(found: GroundPlaces) -> tuple[Caution, ...]:
    """Cautions of all places, each once."""
    return tuple({caution.key: caution for at in found.places for caution in at.cautions}.values())


def places_cautions_text(found: GroundPlaces) -> str:
    """Every caution of them, one a line, as `steybrae.answers.points.cautions_text`."""
    return caution_lines(places_cautions(found), found.places[0].forecast)


def places_document(found: GroundPlaces) -> Document:
    """Tell what the ground is like at places, one a row."""
    basis = dict.fromkeys(at.basis for at in found.places)
    forecasts = [
        (at.place.name or at.place.written, at.forecast) for at in found.places if at.forecast is not None
    ]
    blocks: tuple[Block, ...] = (
        *places_finding_blocks(forecasts),
        Table((_PLACE[0], *_GROUND), found.places),
        *places_named_blocks(forecasts),
        *map(Paragraph, basis),
        Cautions(places_cautions(found)),
    )
    return Document("Places", blocks)


_COLUMNS: Final = (
    Column("band", "slope (degrees)", lambda row: row[0], align="left"),
    Column("cells", "cells", lambda row: str(row[1])),
)


def cells_document(found: GroundCells) -> Document:
    """Make the table of cells by band, unknown last, and what the slopes rest on."""
    rows, cols = found.slope_deg.shape
    title = f"{', '.join(found.model_files)}: slope of {rows} x {cols} cells, over {found.baseline_m:.0f} m"
    counted = (*zip(found.labels, found.cells, strict=True), (UNKNOWN, found.unknown_cells))
    blocks = (
        Paragraph(title, strong=True),
        Table(_COLUMNS, counted),
        Paragraph(found.basis),
        Cautions(found.cautions),
    )
    return Document(title, blocks)


PlaceForecasts = Sequence[tuple[str, ForecastBeside]]


def places_finding_blocks(places: PlaceForecasts) -> Iterator[Block]:
    """Yield what has to be seen first of a forecast beside places by name, and what it says."""
    if not places:
        yield from finding_blocks(None)
        return
    first = places[0][1]
    shared = [one for one in first.findings if all(one in forecast.findings for _, forecast in places)]
    yield from finding_blocks(replace(first, findings=tuple(shared)), alone=True)
    for name, forecast in places:
        for finding in forecast.findings:
            if finding not in shared:
                yield Paragraph(f"{name}: {plain(finding.text)}", strong=True)


def places_named_blocks(places: PlaceForecasts) -> Iterator[Block]:
    """Yield which of a forecast names ground at each place; nothing of an expired one."""
    parts = places[0][1].place if places and not of_another_time(places[0][1].findings) else ()
    if parts:
        yield Paragraph(
            "Which of the forecast names ground: within the circle | overhead (?: unknown ground may be)"
        )
    named = range(len(parts))
    for start in named[::AT_ONCE]:
        columns = (_place_column(places[0][1], k) for k in named[start : start + AT_ONCE])
        yield Table(
            (Column("name", "Place", lambda at: at[0], align="left"), *columns),
            [(name, forecast.place) for name, forecast in places],
        )


def _place_column(forecast: ForecastBeside, k: int) -> Column:
    return Column(f"named_{k}", part_head(forecast, forecast.place[k]), lambda at: _place_cell(at[1][k]))


def _place_cell(row: NamedAtPlace) -> str:
    grounds = ((row.within, row.within_unknown), (row.overhead, row.overhead_unknown))
    if not any(itertools.chain(*grounds)) and row.kind == "danger_rating" and row.meets_heights:
        return "its heights"
    return " | ".join("yes" if named else "?" if unknown else "-" for named, unknown in grounds)
