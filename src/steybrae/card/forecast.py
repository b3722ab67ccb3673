"""A forecast on a card: matched at the times at which the card has each leg walked."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise

from steybrae.card.result import RouteCard
from steybrae.cautions import Caution
from steybrae.route.times.daylight import parse_zone
from steybrae.screening.forecast.at import BulletinSource, ForecastAsk, Span, forecast_beside
from steybrae.screening.result import RouteScreening


def leg_spans(card: RouteCard) -> tuple[Span, ...]:
    """Start and end of each leg by the card's own arrivals.

    Parameters
    ----------
    card
        With a start, or without.

    Returns
    -------
    tuple of Span
        Empty where a time is not known.
    """
    if card.start is None or any(leg.arrival is None for leg in card.legs):
        return ()
    arrivals = [leg.arrival for leg in card.legs if leg.arrival is not None]
    ends = [dt.datetime.fromisoformat(text) for text in (card.start, *arrivals)]
    return tuple(pairwise(ends))


def with_forecast(
    card: RouteCard, screening: RouteScreening, source: BulletinSource, ask: ForecastAsk
) -> RouteCard:
    """Return the card with a forecast.

    Parameters
    ----------
    card, screening
        The card and what it was made from.
    source, ask
        The bulletins and what is asked of them. A time that is asked for leads; else the card's
        own times, else the whole day of the card (in UTC where it has no zone).

    Raises
    ------
    BulletinError
        As `steybrae.screening.forecast.at.forecast_beside`.
    """
    if ask.start is None:
        spans = leg_spans(card)
        ask = replace(ask, start=spans[0][0], end=spans[-1][1], leg_spans=spans) if spans else _day(card, ask)
    found = forecast_beside(screening, source, ask)
    there = {caution.key for caution in card.cautions}
    more = () if found.forecast is None else found.forecast.cautions
    cautions = (*card.cautions, *(caution for caution in more if caution.key not in there))
    return replace(card, forecast=found.forecast, cautions=cautions)


def without_forecast(card: RouteCard, screening: RouteScreening) -> RouteCard:
    """Return a card without a forecast, which says so where its plan was saved with one."""
    if screening.forecast is None:
        return card
    text = (
        f"The plan was saved with an avalanche bulletin ({screening.forecast.file}) that is not on this "
        "card, for a card needs the bulletin of its own day. Give it with --bulletin."
    )
    return replace(card, cautions=(*card.cautions, Caution("bulletin_left_out", text)))


def _day(card: RouteCard, ask: ForecastAsk) -> ForecastAsk:
    zone = parse_zone(card.zone) if card.zone else dt.UTC
    start = dt.datetime.fromisoformat(card.date).replace(tzinfo=zone)
    return replace(ask, start=start, end=start + dt.timedelta(hours=24), whole_day=True)
