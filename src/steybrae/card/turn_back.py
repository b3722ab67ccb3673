"""The latest times at the turning points of a day: to walk on from there, and to turn round there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate
from typing import Final

from steybrae.card.result import CardLeg, RouteCard
from steybrae.cautions import Caution
from steybrae.errors import RouteError
from steybrae.route.compass.bearings import geodesic
from steybrae.route.positions.places import Place
from steybrae.route.times.walking_time import Segment

OVERDUE_EARLY: Final = "overdue_early"
"""Key of the caution on a time to call that is not after the end of the line."""

DOWN_BY_EARLY: Final = "down_by_early"
"""Key of the caution on a stated time to be down that is before the end of the line."""

NEAR_M: Final = 500.0
"""A line that ends nearer than this to where it begins comes back, metres (our choice)."""


def turned_round(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """Pieces of a leg walked the other way: what rose falls."""
    return tuple(
        replace(piece, ascent_m=piece.descent_m, descent_m=piece.ascent_m) for piece in reversed(segments)
    )


def with_latest(
    legs: Sequence[CardLeg], back_min: Sequence[float], down_by: dt.datetime
) -> tuple[CardLeg, ...]:
    """Add to each leg the latest time at its end.

    ``walk_on_by = down_by - sum of the times of the legs after it``; ``turn_back_by = down_by - sum
    of the times of the legs up to it, walked the other way``, each in `back_min`. Unrounded; where
    unknown ground may make a leg longer, so much earlier still. None where a time is not known.
    """
    ahead = [0.0, *accumulate(leg.time_min or 0.0 for leg in reversed(legs[1:]))][::-1]
    behind = list(accumulate(back_min))
    timed = all(leg.time_min is not None for leg in legs)
    return tuple(
        replace(
            leg,
            walk_on_by=_before(down_by, on_min) if timed else None,
            turn_back_by=_before(down_by, home_min) if timed else None,
        )
        for leg, on_min, home_min in zip(legs, ahead, behind, strict=True)
    )


def _before(at: dt.datetime, minutes: float) -> str:
    """Elapsed minutes before a time: on local times Python takes what the wall clock shows instead."""
    earlier = at.astimezone(dt.UTC) - dt.timedelta(minutes=minutes)
    return earlier.astimezone(at.tzinfo).isoformat(timespec="milliseconds")


def latest_lead(card: RouteCard) -> str:
    """Say what the latest times are; empty where none is known."""
    if not latest_times(card):
        return ""
    unknown = any(leg.time_at_least for leg in card.legs)
    later = " Where unknown ground makes a leg longer, earlier still." if unknown else ""
    goal = "down" if ends_apart_m(card) <= NEAR_M else "at the end of the line"
    return (
        f"To be {goal} by {card.down_by_text} ({card.down_by_is}), be at the end of each leg no later than "
        f"this to walk on (or to turn round there and walk back the same way).{later}"
    )


def latest_times(card: RouteCard) -> tuple[tuple[int, str, str, str], ...]:
    """Give number of a leg, where it ends, and there the latest time to walk on, and to turn round.

    Rounded down to the minute; of the last leg only where it ends elsewhere; none where no time is known.
    """
    legs = card.legs[:-1] if ends_apart_m(card) <= NEAR_M else card.legs
    return tuple(
        (leg.number, leg.to, _clock(card, leg, leg.walk_on_by), _clock(card, leg, leg.turn_back_by))
        for leg in legs
        if leg.walk_on_by is not None and leg.turn_back_by is not None
    )


def latest_words(card: RouteCard) -> str:
    """Say all of it in one paragraph, for paper; empty where none is known."""
    times = "; ".join(f"{number}: {on} ({back})" for number, _, on, back in latest_times(card))
    return f"{latest_lead(card)} Leg {times}." if times else ""


def latest_at_leg(card: RouteCard, leg: CardLeg) -> str:
    """Say them for one leg: ``Latest there 11:41 to walk on, 15:48 to turn round``; empty where not known."""
    if leg.walk_on_by is None or leg.turn_back_by is None:
        return ""
    on, back = (_clock(card, leg, iso) for iso in (leg.walk_on_by, leg.turn_back_by))
    return f"Latest there {on} to walk on, {back} to turn round"


def on_another_day(date: str, at: str | None) -> str:
    """Say the date of a time where it is not that of a card or an arrival: `` on 2027-01-16``."""
    return "" if at is None or at.startswith(date) else f" on {at[:10]}"


def ends_apart_m(card: RouteCard) -> float:
    """Distance from where a line begins to where it ends, metres: elsewhere there is a way back."""
    first, last = card.legs[0].from_place, card.legs[-1].to_place
    try:
        return geodesic(Place(first.lat_deg, first.lon_deg), Place(last.lat_deg, last.lon_deg))[0]
    except RouteError:
        return 0.0


def end_cautions(card: RouteCard) -> Iterator[Caution]:
    """Yield that the time to call is not after the end of the line, that one is down later than stated."""
    last = card.legs[-1]
    if last.arrival is None:
        return
    end = dt.datetime.fromisoformat(last.arrival)
    there = f"the time at the end of the line, {last.arrival_text}{on_another_day(card.date, last.arrival)}"
    if card.overdue is not None and dt.datetime.fromisoformat(card.overdue) <= end:
        text = f"The time to call, {card.overdue_text}, is not after {there}: give a later one."
        yield Caution(OVERDUE_EARLY, text)
    stated = None if card.down_by_is == "sunset" else card.down_by
    if stated is not None and dt.datetime.fromisoformat(stated) < end:
        text = (
            f"The time to be down, {card.down_by_text}, is before {there}: the latest times to walk on are "
            "over before one is there."
        )
        yield Caution(DOWN_BY_EARLY, text)


def _clock(card: RouteCard, leg: CardLeg, iso: str) -> str:
    """Tell the day too where it is not that of the arrival: 17:51 of the evening before is over by 11:36."""
    return f"{dt.datetime.fromisoformat(iso):%H:%M}{on_another_day((leg.arrival or card.date)[:10], iso)}"
