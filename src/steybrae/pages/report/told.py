"""What the report says above and beside its map: the first screen, the lines, the forecast, the method.

The first screen is what somebody at home has to know in a minute; method and provenance are what the figures
rest on, and how to repeat them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from steybrae.answers.forecast import (
    REDUCTION_WORDS,
    finding_lines,
    head_line,
    leg_lines,
    part_lines,
    rating_lines,
    reduction_cells,
    text_lines,
)
from steybrae.answers.leg import (
    LINE_COLUMNS,
    NOT_RANKED,
    band_columns,
    leaves_text,
    moved_items,
    moved_text,
    places_texts,
    way_off_text,
)
from steybrae.card.result import RouteCard
from steybrae.card.times import DOWN_BY_EARLY, NEAR_M, OVERDUE_EARLY, ends_apart_m, on_another_day
from steybrae.card.wording import arrival_text, call_text, from_text
from steybrae.document import Column, or_none
from steybrae.forecast.bulletin import last_end
from steybrae.forecast.choose import expired_text, of_another_time
from steybrae.pages.report.map import Letter, MapDrawing, letters_beside, place_spots
from steybrae.render.html import html_cells
from steybrae.route.walking import NOT_ADDED
from steybrae.screening.basis import corridor_text, cross_check_text, looks_of, zones_text
from steybrae.screening.compared import RouteLines
from steybrae.screening.pictures.drawn import map_notes
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.result import ModelFacts, RouteScreening, SettingsUsed
from steybrae.value import and_more, climb, distance_off, steep_length

_LETTER_SHARE: Final = 0.028
"""Half the side of a letter's sign on the sketch, share of its longer side (our choice, by looking)."""

_NOT_GIVEN: Final = "not given"


def home_rows(screening: RouteScreening, card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield what is asked first, and its answer in lines; what is not known, such as the day, is said."""
    yield from _when(card)
    yield from _who(card)
    forecast = screening.forecast
    if forecast is None:
        yield "Forecast: NONE", finding_lines(forecast)
    else:
        yield "Forecast", (*finding_lines(forecast), *rating_lines(forecast))
    yield "Ways off", ways_off_rows(screening)


def _when(card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    if card is None:
        yield "When", ("not given: steybrae report makes this page with --date, --start and --zone.",)
        return
    first, last = card.legs[0], card.legs[-1]
    yield "When", (f"{card.date}{f', start {card.start_text}' if card.start_text else ''}",)
    yield "From", (from_text(first),)
    day = on_another_day(card.date, last.arrival)
    back = f"{arrival_text(card, last)}{day}, at {last.to or last.to_place.reference}"
    # Who waits asks how late they may be.
    more = [words for words in card.time_words if words.startswith(NOT_ADDED)]
    more += [one.text for one in card.cautions if one.key == DOWN_BY_EARLY]
    told = " ".join((f"{back}.", *more)) if last.arrival_text else f"{_NOT_GIVEN}: it needs a start."
    away_m = ends_apart_m(card)
    if away_m <= NEAR_M:
        yield "Due back", (told,)
        return
    off = distance_off(away_m).text
    yield "End of the line", (told, f"{off} from where it begins: the way from there is not in this plan.")


def _who(card: RouteCard | None) -> Iterator[tuple[str, tuple[str, ...]]]:
    yield "Party", ((card.party if card else "") or f"{_NOT_GIVEN} (--party).",)
    call = (call_text(card) if card else "") or f"{_NOT_GIVEN} (--call, --overdue)."
    early = () if card is None else (one.text for one in card.cautions if one.key == OVERDUE_EARLY)
    yield "If nobody came back", (call, *early)


def sketch_letters(
    screening: RouteScreening, relief: Relief, drawing: MapDrawing
) -> tuple[float, list[Letter]]:
    """Half the side of the letters of the places told at length, and each with room for it.

    In units of the map; a letter lies beside its place, off the others and inside the map.
    """
    size = _LETTER_SHARE * max(drawing.width, drawing.height)
    told = [place for place in screening.places if place.at_length]
    return size, letters_beside(place_spots(told, relief), size, 1.5 * size, (drawing.width, drawing.height))


NO_WAY_OFF = "none drawn in this plan"


def ways_off_rows(screening: RouteScreening) -> tuple[str, ...]:
    """Ways off in a line each; that there are none is said."""
    ways = screening.ways_off if isinstance(screening, RouteLines) else ()
    return tuple(map(way_off_text, ways)) or (f"{NO_WAY_OFF}.",)


def lines_content(screening: RouteScreening) -> dict[str, Any]:
    """Give what the template places: tables of lines side by side and of ways off, and the line moved."""
    if not isinstance(screening, RouteLines):
        return {"side_by_side": [], "not_ranked": "", "moved": "", "moved_items": ()}
    lines = screening.lines if len(screening.lines) > 1 else ()
    ways = screening.ways_off
    tables = (
        ("Lines side by side", lines, tuple(places_texts(lines[1:]))),
        ("Ways off", ways, (*map(leaves_text, ways), *places_texts(ways))),
    )
    return {
        "side_by_side": [(head, _table(rows), items) for head, rows, items in tables if rows],
        "not_ranked": NOT_RANKED if lines or ways else "",
        "moved": moved_text(screening.shifts) if screening.shifts else "",
        "moved_items": moved_items(screening.shifts),
    }


def _table(lines: tuple[Any, ...]) -> dict[str, Any]:
    unknown = Column("unknown_m", "unknown", lambda line: or_none(steep_length(line.unknown_m)), "m")
    bands = (*band_columns(lines[0].band_lengths_m), unknown)
    return {
        "heads": [column.heading.replace("\n", " ") for column in LINE_COLUMNS],
        "rows": [html_cells(LINE_COLUMNS, line) for line in lines],
        "band_rows": [(line.name, html_cells(bands, line)) for line in lines],
    }


def forecast_content(screening: RouteScreening) -> dict[str, Any]:
    """Give what the template places, with a forecast or without.

    ``findings``; ``ends`` and ``ended``, when the page expires by itself and what it says then;
    ``leg_forecasts``, the sentences of each leg; ``bulletins``, with head, parts and
    texts of each; ``reductions``, their source and words.
    """
    forecast = screening.forecast
    content: dict[str, Any] = {
        "findings": finding_lines(forecast),
        "ends": "",
        "ended": "",
        "leg_forecasts": [()] * len(screening.legs),
        "bulletins": [],
        "reductions": [],
        "reduction_source": "",
        "reduction_words": REDUCTION_WORDS,
    }
    if forecast is None:
        return content
    ends = last_end(forecast.bulletins)
    if ends is not None and not of_another_time(forecast.findings):
        content["ends"] = ends.isoformat()
        content["ended"] = expired_text(ends)
    content["leg_forecasts"] = [leg_lines(leg, forecast.bulletins) for leg in forecast.legs]
    content["bulletins"] = [
        (
            bulletin,
            head_line(bulletin, forecast.region_asked),
            part_lines(bulletin),
            tuple(text_lines(bulletin)),
        )
        for bulletin in forecast.bulletins
    ]
    rows = [(leg.number, leg.reduction) for leg in forecast.legs if leg.reduction is not None]
    content["reductions"] = [(number, reduction_cells(row)) for number, row in rows]
    content["reduction_source"] = rows[0][1].source if rows else ""
    return content


Row = tuple[str, tuple[str, ...]]


def method_rows(screening: RouteScreening, relief: Relief) -> tuple[Row, ...]:
    """Heading and lines of each item."""
    model, used = screening.model, screening.settings
    rows: list[Row] = [
        ("Route", screening.notes or (f"read as {screening.read_as}",)),
        ("Elevation model", _model(model)),
        ("Slope", (f"{model.method} over 3 × 3 cells ({model.engine} engine)", model.uncertainty)),
        (
            "On the line",
            (
                "the steepest of the cells that the line touches and of the eight around each",
                "never interpolated",
                f"ups and downs under {used.reversal_m:g} m are not counted",
                *_interval(used.interval_m, screening.totals.ascent_on_map_m),
            ),
        ),
        ("Corridor", (corridor_text(model, used),)),
        ("Overhead", _overhead(screening)),
        ("Band edges", (" ".join(f"{edge:g}°" for edge in used.edges_deg),)),
        ("Stated of the model", _stated(used)),
        (
            "Rounding",
            (
                "slopes, lengths of steep and unknown ground and climbs are rounded up, distances to steep "
                "ground down; bands are those of the figures shown",
            ),
        ),
        ("Map", (f"frame in {relief.crs_name}", *map_notes(relief))),
    ]
    if screening.cross_check is not None:
        rows.append(("Cross-check", tuple(cross_check_text(screening.cross_check).splitlines())))
    rows.append(("Made with", (f"steybrae {screening.version}",)))
    return tuple(rows)


def _overhead(screening: RouteScreening) -> tuple[str, ...]:
    looks = looks_of(screening)
    if looks is None:
        return ("unknown: the model knows no height of the line",)
    return (
        f"start zones: {zones_text(looks, screening.settings.start_zones, max(screening.model.cell_size_m))}",
        "steeper ground counts as well",
        f"sights of {and_more(looks.least_deg)}; neither sight nor way down says how far a slide would run",
    )


def _model(model: ModelFacts) -> tuple[str, ...]:
    datum = steep_length(model.datum_accuracy_m).text
    cell = " × ".join(f"{side:.1f}" for side in model.cell_size_m)
    return (
        f"{model.crs}, cells of {cell} m on the ground",
        f"heights in units of {model.height_unit_m:g} m (from: {model.height_unit_from})",
        f"shift from GPS positions to its datum good to {datum}",
    )


def _interval(interval_m: float | None, ascent_m: float | None) -> tuple[str, ...]:
    if interval_m is None or ascent_m is None:
        return ()
    return (f"ascent as counted on a map with contours every {interval_m:g} m: {climb(ascent_m).text}",)


def _stated(used: SettingsUsed) -> tuple[str, ...]:
    told = (
        (used.model_kind, f"kind {used.model_kind}"),
        (used.vertical_error_m, f"standard deviation of heights {used.vertical_error_m or 0.0:g} m"),
        (used.correlation_m, f"correlation length {used.correlation_m or 0.0:g} m"),
    )
    return tuple(words for value, words in told if value is not None) or ("nothing",)
