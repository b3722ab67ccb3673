"""The report: one page to read, share and print, a pure function of the result.

Style, script and pictures stand in the page. Its policy (CSP) names the hashes of the two and
allows nothing else; no network is asked for anything. Everything that came from a file is
escaped by the template engine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from markupsafe import Markup

from steybrae.answers.leg import band_columns, leg_columns, lines_cautions
from steybrae.answers.overhead import CHECKS_RANGE
from steybrae.answers.route import legs_left_text, place_text
from steybrae.bands import BandScheme
from steybrae.card.result import RouteCard
from steybrae.card.times import latest_lead, latest_times
from steybrae.document import Column, or_none, stacked, worded
from steybrae.pages.page import band_looks, page_policy, templates
from steybrae.pages.report.map import draw_report_map
from steybrae.pages.report.marks import report_marks, report_points
from steybrae.pages.report.profile import draw_report_profile
from steybrae.pages.report.told import forecast_content, home_rows, lines_content, method_rows, sketch_letters
from steybrae.pages.report.words import day_words, leg_words, reading_rows, totals_words
from steybrae.render.html import html_cells
from steybrae.route.shape_result import ConvexRoll, TerrainTrap, shape_words
from steybrae.screening.pictures.drawn import (
    contour_words,
    interval_drawn,
    map_slope_words,
    relief_of,
    slope_sign_words,
)
from steybrae.screening.pictures.picture import UNKNOWN, Relief
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import legs_without_check, letters_at
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.value import AT_LEAST, gentle_length, map_scale, steep_length

_ON_READING: Final = (
    "model_smooths",
    "overhead_not_runout",
    "overhead_short",
    "runout_published",
    "magnetic",
    "start_zones_wide",
    "bulletin_regional",
)
"""Cautions on how to read what is shown, true of every line: they stand between map and legs, so that
on a phone what is special to this line, and the map, come first. Any other stands before all else."""


_SHORT, _SHORT_BESIDE = leg_columns("short_slope_max_deg", "short_corridor_max_deg")
_SHOWN: Final = (
    *leg_columns("length_m", "ascent_m", "descent_m", "slope_max_deg", "slope_max_at", "slope_interval"),
    *leg_columns("slope_corridor_max_deg"),
    replace(stacked("Short", _SHORT, worded(_SHORT_BESIDE, "| {}")), order=_SHORT_BESIDE.order),
    *leg_columns("drop", "bands_possible", "steep_m", "steep_stretch_m", "left", "right", "overhead_deg"),
    *leg_columns("unknown_m", "aspect_sectors"),
)
"""Columns of the page's table of legs, after their names."""


def report_page(screening: RouteScreening, card: RouteCard | None = None) -> str:
    """Write the page of a screening with its relief, whole in itself, the same for the same result.

    `card` is its day: date, times, magnetic bearings, who to call. `QuantityError` for a screening
    without relief.
    """
    relief = relief_of(screening, "A report")
    engine = templates()
    style = engine.get_template("report.css").render()
    script = engine.get_template("report.js").render()
    page = engine.get_template("report.html")
    return page.render(
        policy=page_policy(style, script),
        style=Markup(style),  # noqa: S704  our own file
        script=Markup(script),  # noqa: S704  our own file
        **_content(screening, relief, card),
    )


def _content(screening: RouteScreening, relief: Relief, card: RouteCard | None) -> dict[str, Any]:
    """Everything that the template places."""
    scheme = BandScheme(screening.settings.edges_deg)
    # One north: the compass's once the day is known.
    north = {} if card is None else {leg.number: leg.declination_deg for leg in card.legs}
    places = screening.places if card is None else card.places
    drawing = draw_report_map(screening, relief)
    letter, letters = sketch_letters(screening, relief, drawing)
    cautions = lines_cautions(screening)
    return {
        "name": screening.name or "Route without a name",
        "screening": screening,
        "headline": totals_words(screening),
        "home": list(home_rows(screening, card)),
        "latest": "" if card is None else latest_lead(card),
        "latest_times": () if card is None else latest_times(card),
        "letter": letter,
        "letters": letters,
        "over": [
            html_cells(leg_columns("overhead_deg"), leg)[0]["text"].strip("-") for leg in screening.legs
        ],
        "letters_on": [" ".join(letters_at(screening.places, leg.number)) for leg in screening.legs],
        "cautions": cautions,
        "cautions_first": [caution for caution in cautions if caution.key not in _ON_READING],
        "cautions_on_reading": [caution for caution in cautions if caution.key in _ON_READING],
        "places": [_place_parts(screening, place, north) for place in places],
        "places_rule": ORDER_RULE,
        "legs_left": legs_left_text(screening),
        "legs": [leg_words(leg, scheme, north.get(leg.number)) for leg in screening.legs],
        "days": [()] * len(screening.legs) if card is None else [day_words(leg, card) for leg in card.legs],
        "bands": band_looks(scheme),
        "band_lengths": _band_lengths(screening, scheme),
        "unknown": UNKNOWN,
        "least": AT_LEAST,
        "unknown_length": steep_length(screening.totals.unknown_m).text,
        "map": drawing,
        "marks": report_marks(screening, relief, drawing),
        "contours": contour_words(relief),
        "map_slope": map_slope_words(screening.model),
        "slope_sign": slope_sign_words(interval_drawn(relief.profile)),
        "relief": relief,
        "scale": map_scale(relief.scale_denominator),
        "profile": draw_report_profile(screening, relief.profile),
        "rows": [(leg, html_cells(_SHOWN, leg)) for leg in screening.legs],
        "band_rows": _band_rows(screening),
        "readings": reading_rows(screening, north),
        "checks_range": CHECKS_RANGE,
        "without_check": legs_without_check(screening.legs),
        "shapes": _shapes(screening, north),
        "method": method_rows(screening, relief),
        "points": report_points(screening, relief),
        "line_m": sum(leg.length_m for leg in screening.legs),
        **forecast_content(screening),
        **lines_content(screening),
    }


def _place_parts(
    screening: RouteScreening, place: PlaceThatMatters, declinations_deg: Mapping[int, float]
) -> tuple[str, str, str, str, bool]:
    """Letter of a place, words before the name of its turn point, that name, and after it; if at length."""
    before, name, behind = place_text(screening, place, declinations_deg).partition(place.after)
    return place.name, before.removeprefix(place.name), name, behind, place.at_length


def _band_rows(screening: RouteScreening) -> list[tuple[str, list[dict[str, Any]]]]:
    """Metres of each leg in each band, unknown ground last; then those of all."""
    columns = (
        *band_columns(screening.totals.band_lengths_m),
        Column("unknown_m", "unknown", lambda part: or_none(steep_length(part.unknown_m)), "m"),
    )
    parts = [*((str(leg.number), leg) for leg in screening.legs), ("all", screening.totals)]
    return [(name, html_cells(columns, part)) for name, part in parts]


def _band_lengths(screening: RouteScreening, scheme: BandScheme) -> list[str]:
    lengths = screening.totals.band_lengths_m
    return [
        (gentle_length if k == 0 else steep_length)(lengths[band.label]).text
        for k, band in enumerate(scheme.bands)
    ]


def _shapes(screening: RouteScreening, declinations_deg: Mapping[int, float]) -> list[tuple[str, str, str]]:
    """Leg, where along it, and the sentence of each roll and trap, in the order of the line."""
    return [
        (
            str(leg.number),
            f"{gentle_length(one.from_m).figure} to {steep_length(one.to_m).text}",
            shape_words(one, declinations_deg.get(leg.number)),
        )
        for leg in screening.legs
        for one in _of(leg)
    ]


def _of(leg: LegScreening) -> list[ConvexRoll | TerrainTrap]:
    return sorted((*leg.convex_rolls, *leg.terrain_traps), key=lambda one: one.from_m)
