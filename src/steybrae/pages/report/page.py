"""The report: one page to read, share and print, a pure function of the result.

Style, script and pictures stand in the page. Its policy (CSP) names the hashes of the two and
allows nothing else; no network is asked for anything. Everything that came from a file is
escaped by the template engine.
Numbers of the line's points are rounded here, by the one rule, so that the page shows what every other
output shows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from steybrae.answers.leg import band_columns, leg_columns, lines_cautions
from steybrae.answers.overhead import CHECKS_RANGE
from steybrae.answers.points import overhead_at_points_deg
from steybrae.answers.route import legs_left_text, place_text
from steybrae.bands import BandScheme, in_degrees
from steybrae.card.result import RouteCard
from steybrae.card.times import latest_lead, latest_times
from steybrae.document import Column, or_none, stacked, worded
from steybrae.frozen import dataclass
from steybrae.pages.page import band_looks, page_policy, templates
from steybrae.pages.report.map import (
    Letter,
    MapDrawing,
    crowded,
    draw_report_map,
    letters_beside,
    map_units,
    place_on_map,
    place_spots,
)
from steybrae.pages.report.profile import draw_report_profile
from steybrae.pages.report.told import forecast_content, home_rows, lines_content, method_rows, sketch_letters
from steybrae.pages.report.words import day_words, leg_words, reading_rows, totals_words
from steybrae.quantities import round_down, shown_slope_deg
from steybrae.render.html import html_cells
from steybrae.route.shape_result import ConvexRoll, TerrainTrap, shape_words
from steybrae.screening.pictures.drawn import (
    contour_words,
    interval_drawn,
    map_slope_words,
    relief_of,
    slope_sign_words,
)
from steybrae.screening.pictures.picture import UNKNOWN as UNKNOWN_CELL
from steybrae.screening.pictures.picture import LegOnMap, Relief
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import legs_without_check, letters_at
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.attributes import band_numbers
from steybrae.terrain.dem import Array
from steybrae.value import AT_LEAST, UNKNOWN, gentle_length, map_scale, overhead, slope, steep_length

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
        "unknown": UNKNOWN_CELL,
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


@dataclass(frozen=True)
class ReadingMark:
    """A check: its name, where on the map, and whether its name waits for room."""

    name: str
    x: int
    y: int
    crowded: bool


@dataclass(frozen=True)
class LetterMark:
    """A place's letter: where on the map it belongs, how far off it stands, pixels, and whether it waits."""

    name: str
    x: int
    y: int
    dx: float
    dy: float
    crowded: bool


@dataclass(frozen=True)
class Marks:
    """Positions in units of the map: pairs of stand and source, ways down that snow could take, readings.

    Letters of places, those told at length first.
    """

    sights: str
    ways: str
    readings: tuple[ReadingMark, ...]
    letters: tuple[LetterMark, ...]


_PIXEL: Final = 12.5
"""A pixel of the page, units of the map at its usual size (`report.css`)."""

_LETTER_PX: Final = 9.2
"""Half the room of a letter's sign, pixels (our choice)."""


def report_marks(screening: RouteScreening, relief: Relief, drawing: MapDrawing) -> Marks:
    """Put what is overhead of each leg, its readings and the letters of places on the map of its line."""
    middles = [leg.middle for leg in drawing.legs if not leg.crowded]
    places = [
        (one.name, place_on_map(relief, one.place.lat_deg, one.place.lon_deg))
        for leg in screening.legs
        for one in leg.expected_readings
    ]
    ordered = sorted(screening.places, key=lambda place: not place.at_length)
    signs = [*middles, *(at for _, at in places), *(leg.steepest for leg in drawing.legs if leg.steepest)]
    size, sides = _LETTER_PX * _PIXEL, (drawing.width, drawing.height)
    letters = letters_beside(place_spots(ordered, relief), size, 2.0 * size, sides, signs)
    late = crowded([(one.name, one.label) for one in letters], middles)
    waiting = crowded(places, [*middles, *(one.label for one in letters if one.name not in late)])
    readings = tuple(ReadingMark(name, *at, name in waiting) for name, at in places)
    sights = "".join(_sights(leg, relief) for leg in screening.legs)
    ways = "".join(_way(leg, relief) for leg in screening.legs)
    return Marks(sights, ways, readings, tuple(_letter(one, one.name in late) for one in letters))


def _letter(one: Letter, waits: bool) -> LetterMark:
    dx, dy = ((label - at) / _PIXEL for label, at in zip(one.label, one.at, strict=True))
    return LetterMark(one.name, *one.at, round(dx, 1), round(dy, 1), waits)


def _sights(leg: LegScreening, relief: Relief) -> str:
    if leg.overhead is None:
        return ""
    both = (leg.overhead.sight, leg.overhead.sight_outside)
    return "".join(
        _path(relief, tuple((spot.lat_deg, spot.lon_deg) for spot in (one.stand, one.place)))
        for one in both
        if one is not None and one.stand is not None and one.place is not None
    )


def _way(leg: LegScreening, relief: Relief) -> str:
    if leg.overhead is None or leg.overhead.path is None:
        return ""
    return _path(relief, leg.overhead.path.line)


def _path(relief: Relief, places: tuple[tuple[float, float], ...]) -> str:
    if len(places) < 2:
        return ""
    return "M" + "L".join("{} {}".format(*place_on_map(relief, *place)) for place in places)


def report_points(screening: RouteScreening, relief: Relief) -> dict[str, Any]:
    """Points of every leg.

    ``bands``, their labels; ``least``, the words for "at least"; ``legs``, each with ``leg``, ``start_dm``,
    ``open``, whether it may be steeper by an amount not known, and columns of whole numbers or None:
    ``at`` along the leg in decimetres, ``x`` and ``y`` on the map, ``height`` in metres,
    ``slope``, ``low``, ``high`` and ``corridor`` in tenths of a degree, ``aspect`` in degrees,
    ``band``, its position or -1, and ``above``, the steepest sight up as shown. ``reading`` has the
    place along the leg, name and slope of each check.
    """
    scheme = BandScheme(screening.settings.edges_deg)
    start_m, legs = 0.0, []
    for leg, on_map in zip(screening.legs, relief.legs, strict=True):
        legs.append(_columns(leg, on_map, relief, scheme, start_m))
        start_m += leg.length_m
    return {"bands": [in_degrees(label) for label in scheme.labels], "least": AT_LEAST, "legs": legs}


def _columns(
    leg: LegScreening, on_map: LegOnMap, relief: Relief, scheme: BandScheme, start_m: float
) -> dict[str, Any]:
    points = leg.points
    place = map_units(relief, on_map.x, on_map.y)
    shown = shown_slope_deg(points.slope_deg)
    return {
        "leg": leg.number,
        "start_dm": round(start_m * 10.0),
        "open": leg.open_above,
        "at": _whole(points.chainage_m * 10.0),
        "x": _whole(place[:, 0]),
        "y": _whole(place[:, 1]),
        "height": _whole(points.elevation_m),
        "slope": _whole(shown * 10.0),
        "low": _whole(round_down(points.slope_low_deg, 0.1) * 10.0),
        "high": _tenths_up(points.slope_high_deg),
        "corridor": _tenths_up(points.corridor_deg),
        "aspect": [None if at is None else at % 360 for at in _whole(points.aspect_true_deg)],
        "band": band_numbers(points.slope_deg, scheme).tolist(),
        "above": _above(leg),
        "reading": [
            [round((one.chainage_m or 0.0) * 10.0), one.name, slope(one.expected_deg).text]
            for one in leg.expected_readings
        ],
    }


def _above(leg: LegScreening) -> list[str]:
    """Steepest sight up from about each point, whatever lies between, as shown."""
    if leg.overhead is None:
        return [UNKNOWN] * len(leg.points.chainage_m)
    none = UNKNOWN if leg.unknown_above else f"nothing found from {slope(leg.overhead.least_deg).text} up"
    return [
        overhead(float(deg), at_least=leg.unknown_above).text
        if np.isfinite(deg)
        else none
        if there
        else UNKNOWN
        for deg, there in zip(overhead_at_points_deg(leg), leg.points.known, strict=True)
    ]


def _tenths_up(values: Array) -> list[int | None]:
    return _whole(shown_slope_deg(values) * 10.0)


def _whole(values: Array) -> list[int | None]:
    """Nearest whole numbers; None for what is unknown."""
    return [None if np.isnan(value) else round(value) for value in values.tolist()]
