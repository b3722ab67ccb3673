"""A forecast on a card, matched at the times at which each leg is walked; what a phone takes along."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise
from typing import Final

from steybrae.card.checks import reference_of
from steybrae.card.make import make_card
from steybrae.card.result import CardLeg, Check, RouteCard
from steybrae.card.settings import CardSettings
from steybrae.cautions import Caution, with_cautions, without_cautions
from steybrae.field.agreement import Reference
from steybrae.field.relocation import ASPECT_ERROR_95_DEG
from steybrae.forecast.beside import ForecastBeside
from steybrae.forecast.bulletin import BulletinFile
from steybrae.frozen import dataclass
from steybrae.quantities import angle_to_gradient
from steybrae.route.daylight import parse_zone
from steybrae.screening.forecast.at import ForecastAsk, Span, forecast_beside
from steybrae.screening.result import RouteScreening

Forecast = tuple[BulletinFile, ForecastAsk]

UTC_DEG: Final = 30.0
"""Up to this longitude clocks show UTC or two hours from it, degrees (our choice)."""


def of_day(
    screening: RouteScreening, settings: CardSettings, forecast: Forecast | None
) -> tuple[RouteScreening, RouteCard]:
    """Make the card of a day, and put the forecast beside card and line alike.

    Of the forecast a time that is asked for leads; else the card's own times, else its whole day
    (`day_span`). None asks the bulletins that the plan was saved with again, for the line alone: the
    card is left without. Refused as in `make_card` and
    `steybrae.screening.forecast.at.forecast_beside`.
    """
    card = make_card(screening, settings)
    asked = forecast or _kept(screening.forecast)
    found = screening if asked is None else forecast_beside(screening, asked[0], _timed(asked[1], card))
    if screening.forecast is not None:
        # What was not checked when the plan was saved may be now.
        card = replace(card, cautions=without_cautions(card.cautions, screening.forecast.cautions))
    if forecast is None:
        return found, without_forecast(card, screening)
    more = () if found.forecast is None else found.forecast.cautions
    return found, replace(card, forecast=found.forecast, cautions=with_cautions(card.cautions, more))


def _kept(forecast: ForecastBeside | None) -> Forecast | None:
    """Bulletins that a plan was saved with, and what was asked of them but for the time."""
    if forecast is None or not forecast.bulletins:
        return None
    ask = ForecastAsk(
        forecast.region_asked,
        treeline_m=forecast.treeline_m,
        least_slope_deg=forecast.least_slope_deg,
        reduction=any(leg.reduction is not None for leg in forecast.legs),
    )
    return BulletinFile(forecast.file, forecast.bulletins, forecast.notes), ask


def _timed(ask: ForecastAsk, card: RouteCard) -> ForecastAsk:
    """Ask for the times of a card, where none is asked for; of its legs in any case."""
    spans = leg_spans(card)
    if ask.start is not None:
        other_day = _other_day(card, ask.start, ask.end or ask.start)
        return replace(ask, other_day=other_day, leg_spans=spans)
    start, end = (spans[0][0], spans[-1][1]) if spans else day_span(card)
    return replace(ask, start=start, end=end, leg_spans=spans, whole_day=not spans)


def beside_line(
    screening: RouteScreening, settings: CardSettings | None, forecast: Forecast | None
) -> tuple[RouteScreening, RouteCard | None]:
    """Return `of_day`; where nothing of the day is known, the line with its forecast, and no card."""
    if settings is not None:
        return of_day(screening, settings, forecast)
    return screening if forecast is None else forecast_beside(screening, *forecast), None


def leg_spans(card: RouteCard) -> tuple[Span, ...]:
    """Start and end of each leg by the card's own arrivals; empty where a time is not known."""
    if card.start is None or any(leg.arrival is None for leg in card.legs):
        return ()
    arrivals = [leg.arrival for leg in card.legs if leg.arrival is not None]
    ends = [dt.datetime.fromisoformat(text) for text in (card.start, *arrivals)]
    return tuple(pairwise(ends))


def without_forecast(card: RouteCard, screening: RouteScreening) -> RouteCard:
    """Return a card without a forecast, which says so where its plan was saved with one."""
    if screening.forecast is None:
        return card
    text = (
        f"The plan was saved with an avalanche bulletin ({screening.forecast.file}) that is not on this "
        "card, for a card needs the bulletin of its own day. Give it with --bulletin."
    )
    return replace(card, cautions=(*card.cautions, Caution("bulletin_left_out", text)))


def _other_day(card: RouteCard, start: dt.datetime, end: dt.datetime) -> dt.date | None:
    """Give the day of a card that a time for the forecast does not touch; None where it does."""
    day = dt.date.fromisoformat(card.date)
    zone = parse_zone(card.zone) if card.zone else None
    first, last = ((one if zone is None else one.astimezone(zone)).date() for one in (start, end))
    return None if first <= day <= last else day


def day_span(card: RouteCard) -> Span:
    """Both midnights of a card's day; without a zone those of UTC, far from Greenwich those of the sun."""
    lon_deg = card.legs[0].from_place.lon_deg
    by_sun = dt.timedelta(hours=round(lon_deg / 15.0) if abs(lon_deg) > UTC_DEG else 0)
    zone = parse_zone(card.zone) if card.zone else dt.timezone(by_sun)
    start = dt.datetime.fromisoformat(card.date).replace(tzinfo=zone)
    return start, start + dt.timedelta(hours=24)


@dataclass(frozen=True)
class PocketCheck:
    """A check as a reading is held against it.

    Attributes
    ----------
    leg, check
        Where it stands on the card.
    reference
        What the model says there, as ``reading --plan --check`` takes it.
    aspect_tolerance_deg
        How far a measured aspect may lie from the model's and still fit, degrees; None where the
        check is no slope, or the model's own error is not known.
    """

    leg: CardLeg
    check: Check
    reference: Reference
    aspect_tolerance_deg: float | None


def pocket_checks(card: RouteCard, screening: RouteScreening) -> tuple[PocketCheck, ...]:
    """Make the checks of a card ready to be compared with, in the order in which they are met."""
    return tuple(
        _pocket(leg, check, reference_of(check, screened, screening.model))
        for leg, screened in zip(card.legs, screening.legs, strict=True)
        for check in leg.checks
    )


def _pocket(leg: CardLeg, check: Check, reference: Reference) -> PocketCheck:
    faces = reference.origin.aspect_true_deg is not None
    tolerance_deg = aspect_tolerance_deg(reference, leg.declination_uncertainty_deg) if faces else None
    return PocketCheck(leg, check, reference, tolerance_deg)


def aspect_tolerance_deg(reference: Reference, turned_error_deg: float) -> float | None:
    """How far a measured aspect may lie from the model's and still fit, degrees.

    ``sqrt(15^2 + U_turned^2 + atan(U / m)^2)``: the aspect as measured, its turning to true north
    by the declination, and the model, whose gradient ``m`` is taken to err across the fall line by
    as much as along it. None without both ends of the slope, and on level ground.
    """
    slope_deg, low_deg, high_deg = reference.slope_deg, reference.slope_low_deg, reference.slope_high_deg
    if not slope_deg or low_deg is None or high_deg is None or high_deg >= 90.0:
        return None
    low, middle, high = map(angle_to_gradient, (low_deg, slope_deg, high_deg))
    model_deg = math.degrees(math.atan(max(high - middle, middle - low) / middle))
    return math.hypot(ASPECT_ERROR_95_DEG, turned_error_deg, model_deg)
