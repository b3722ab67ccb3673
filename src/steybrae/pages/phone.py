"""The card for a phone: one page that needs no network, and judges a reading where it is taken.

Without its script the page is the whole card to read. The script shows a leg at a time, counts
times from a start, compares readings by the package's own rule (`steybrae.field.agreement`) with
the numbers and words that stand in the page, and keeps them as rows of the log.
"""

from __future__ import annotations

import base64
import hashlib
from typing import Any, Final

from markupsafe import Markup

from steybrae.answers.forecast import (
    finding_lines,
    head_line,
    leg_lines,
    part_lines,
    rating_lines,
    text_lines,
)
from steybrae.answers.route import legs_left_text
from steybrae.bands import BandScheme
from steybrae.card import wording
from steybrae.card.forecast import PocketCheck, pocket_checks
from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.card.times import latest_at_leg
from steybrae.errors import QuantityError
from steybrae.field import agreement, limits, poles, readings, reasons, relocation
from steybrae.field.log import COLUMNS
from steybrae.figures.map_panels import north_words
from steybrae.figures.route_figure import small_map
from steybrae.forecast.bulletin import last_end
from steybrae.forecast.choose import expired_text
from steybrae.names import FORMULA
from steybrae.pages.page import data_text, page_policy, templates
from steybrae.screening.places.find import ORDER_RULE
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import head_and_words, letters_at, without_check_lines
from steybrae.screening.result import RouteScreening
from steybrae.value import AT_LEAST, slope

MOST_BYTES: Final = 300_000
"""Largest page, bytes (our choice): it goes by message over a thin network."""

_LEAST_MAP_BYTES: Final = 20_000


def phone_page(card: RouteCard, screening: RouteScreening | None, plan: str = "") -> str:
    """Write the page, whole in itself; with its map not above `MOST_BYTES`.

    `screening` is None for a leg between two places; `plan` is the name of the saved plan, for the
    log. `QuantityError` where its words alone leave no room for a map.
    """
    style = templates().get_template("phone.css").render()
    script = templates().get_template("phone.js").render()
    checks = () if screening is None else pocket_checks(card, screening)
    scheme = BandScheme() if screening is None else BandScheme(screening.settings.edges_deg)
    content = {
        "policy": page_policy(style, script),
        "style": Markup(style),  # noqa: S704  our own file
        "script": Markup(script),  # noqa: S704  our own file
        "data": _data(card, checks, scheme, plan),
        **_content(card),
    }
    template = templates().get_template("phone.html")
    if screening is None or screening.relief is None:
        return template.render(**content, picture="")
    content["north"] = north_words(screening.relief)
    bare = template.render(**content, picture="")
    # Four characters carry three bytes.
    room = (MOST_BYTES - len(bare.encode())) * 3 // 4 - 100
    if room < _LEAST_MAP_BYTES:
        message = (
            f"A page for a phone should have at most {MOST_BYTES // 1000} kB; the words of this one leave no "
            f"room for its map. Make it of fewer than {len(card.legs)} legs."
        )
        raise QuantityError(message)
    picture = base64.b64encode(small_map(screening, min(room, 110_000))).decode()
    return template.render(**content, picture=picture)


def _content(card: RouteCard) -> dict[str, Any]:
    """Everything that the template places."""
    forecast = card.forecast
    bulletins = () if forecast is None else forecast.bulletins
    asked = None if forecast is None else forecast.region_asked
    return {
        "card": card,
        "totals": wording.totals_lines(card),
        "call": wording.call_text(card),
        "findings": finding_lines(forecast, card.cautions),
        "ratings": [] if forecast is None else [*rating_lines(forecast)],
        "bulletins": [
            (head_line(bulletin, asked), (*part_lines(bulletin), *text_lines(bulletin)))
            for bulletin in bulletins
        ],
        "places": [_place(place) for place in card.places],
        "rule": ORDER_RULE,
        "left": legs_left_text(card),
        "legs": [_leg(card, leg) for leg in card.legs],
        "rests": [
            line
            for line in (
                *card.norths.sentences, *card.legs[0].compass, *card.daylight_words, *card.time_words,
                *card.notes, *card.basis,
            )
            if line
        ],
    }  # fmt: skip


def _place(place: PlaceThatMatters) -> dict[str, Any]:
    head, words = head_and_words(place)
    return {"name": place.name, "head": head, "words": words, "long": place.at_length}


def _leg(card: RouteCard, leg: CardLeg) -> dict[str, Any]:
    """Words of the screen of one leg."""
    unit = card.bearing_unit
    length, on_map = wording.distance_texts(leg)
    ground = leg.ground
    looks = None if ground is None else ground.overhead
    here = [place for place in card.places if place.from_.leg <= leg.number <= place.to.leg]
    sides = [
        *map(wording.beside_sentence, leg.beside),
        *([f"{wording.cliffs_text(leg)}."] if leg.cliffs else []),
    ]
    forecast = card.forecast
    named = [] if forecast is None else [one for one in forecast.legs if one.number == leg.number]
    bulletins = () if forecast is None else forecast.bulletins
    return {
        "leg": leg,
        "bearing": wording.bearing_shown(leg.bearing_magnetic_deg, unit),
        "back": wording.bearing_shown(leg.back_bearing_magnetic_deg, unit),
        "grid": wording.bearing_shown(leg.bearing_grid_deg, unit),
        "true": wording.bearing_shown(leg.bearing_true_deg, unit),
        "length": length,
        "on_map": on_map,
        "climb": wording.climb_text(leg),
        "height": wording.elevation_text(leg),
        "arrival": wording.arrival_words(card, leg),
        "time": wording.minutes_text(leg.time_min, at_least=leg.time_at_least),
        "start": wording.place_text(leg.from_, leg.from_place.written, leg.from_place.reference),
        "end": wording.place_text(leg.to, leg.to_place.written, leg.to_place.reference),
        "steepest": wording.steepness_text(ground),
        "corridor": wording.corridor_text(ground),
        "short": wording.short_pieces_text(ground),
        "may_be": "" if ground is None else wording.may_be_steep_text(ground),
        "grounds": wording.grounds_text(ground),
        "drop": wording.drop_text(ground),
        "above": "" if ground is None else wording.overhead_short(ground),
        "overhead": [line for line in wording.overhead_lines(looks, unit) if line],
        "places": here,
        "letters": " ".join(letters_at(card.places, leg.number)),
        "sides": sides,
        "checks": [_check(card, check) for check in leg.checks],
        "without": without_check_lines(leg.steep_without_check),
        "latest": latest_at_leg(card, leg),
        "forecast": [line for one in named for line in leg_lines(one, bulletins)],
    }


def _check(card: RouteCard, check: Check) -> dict[str, str]:
    unit = card.bearing_unit
    known = check.look_bearing_magnetic_deg is not None
    return {
        "name": check.number,
        "what": check.what[0].upper() + check.what[1:],
        "stand": f"{check.reference}, {wording.where_text(check)}",
        "look": f"{wording.look_text(check, unit)}{' magnetic' if known else ''}",
        "expect": slope(check.expected_deg).text,
        "judged": wording.judged_text(check),
        "quantity": "A sight, the angle up to it"
        if check.quantity == "sight"
        else "The slope of this ground",
    }


def _data(card: RouteCard, checks: tuple[PocketCheck, ...], scheme: BandScheme, plan: str) -> Markup:
    """Numbers and words for the script, as JSON that can end no element."""
    found = {
        "name": card.name,
        "date": card.date,
        "last_day": (card.legs[-1].arrival or card.date)[:10],
        "plan": plan,
        "checks": [_check_data(one) for one in checks],
        "minutes": [leg.time_min for leg in card.legs],
        "minutes_at_least": [bool(leg.time_at_least) for leg in card.legs],
        "declinations": [leg.declination_deg for leg in card.legs],
        "zone": card.zone,
        "dark_till": card.dark_till,
        "dark_from": card.dark_from,
        **_bulletin_end(card),
        "overdue": card.overdue,
        "bands": {"edges": list(scheme.edges_deg), "labels": list(scheme.labels)},
        "rule": RULE,
        "words": {"comparison": agreement.WORDS, "reasons": reasons.WORDS, "at_least": AT_LEAST},
        "columns": list(COLUMNS),
        "formula": list(FORMULA),
    }
    key = hashlib.sha256(data_text(found).encode()).hexdigest()[:16]
    return Markup(data_text(found | {"key": key}))  # noqa: S704  no element can begin or end in it


def _check_data(one: PocketCheck) -> dict[str, Any]:
    check, origin = one.check, one.reference.origin
    return {
        "name": check.number,
        "leg": one.leg.number,
        "quantity": check.quantity,
        "source": one.reference.source,
        "lat": check.lat_deg,
        "lon": check.lon_deg,
        "slope": one.reference.slope_deg,
        "low": one.reference.slope_low_deg,
        "high": one.reference.slope_high_deg,
        "baseline": origin.baseline_m,
        "cell": origin.cell_size_m,
        "length_text": f"{origin.baseline_m or 0.0:.0f}",
        "piece_text": f"{min(reasons.PIECE_M, (origin.baseline_m or 0.0) / 2.0):.0f}",
        "cell_text": f"{origin.cell_size_m or 0.0:.0f}",
        "roll_text": f"{reasons.ROLL_CELLS * (origin.cell_size_m or 0.0):.0f}",
        "aspect": origin.aspect_true_deg,
        "aspect_within": one.aspect_tolerance_deg,
        "declination": one.leg.declination_deg,
    }


def _bulletin_end(card: RouteCard) -> dict[str, str | None]:
    """When its bulletins end, and what the page says from then on."""
    ends = None if card.forecast is None else last_end(card.forecast.bulletins)
    end, ended = (None, None) if ends is None else (ends.isoformat(), expired_text(ends))
    return {"bulletin_end": end, "bulletin_ended": ended}


RULE: Final = {
    "error": limits.READING_ERROR_95_DEG,
    "compass_error": poles.COMPASS_ERROR_95_DEG,
    "bias_share": readings.BIAS_SHARE,
    "random_share": readings.RANDOM_SHARE,
    "scatter_quantile": readings.SCATTER_QUANTILE,
    "band": limits.BAND_WIDTH_DEG,
    "piece": reasons.PIECE_M,
    "roll_cells": reasons.ROLL_CELLS,
    "length_error": poles.LENGTH_ERROR_M,
    "level_error": poles.LEVEL_ERROR_DEG,
    "plumb_error": poles.PLUMB_ERROR_DEG,
    "eye_height": poles.EYE_HEIGHT_M,
    "pace": poles.PACE_M,
    "pace_error": poles.PACE_ERROR_SHARE,
    "eye_height_error": poles.EYE_HEIGHT_ERROR_M,
    "aspect_most": relocation.MOST_TOLERANCE_DEG,
}
"""Constants of the rule, from where they are stated with their sources."""
