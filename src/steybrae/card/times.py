"""Lengths and times of the legs, in pieces and in all; the latest times to walk on and to turn round."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import Final

import numpy as np

from steybrae.card.result import CardLeg, CardTotals, RouteCard
from steybrae.cautions import Caution
from steybrae.errors import QuantityError, RouteError
from steybrae.frozen import dataclass
from steybrae.route.ascent import turning_points
from steybrae.route.bearings import geodesic
from steybrae.route.positions.places import Place
from steybrae.route.turns import choose_turns
from steybrae.route.walking import Segment, leg_min
from steybrae.screening.leg import shown_steeper
from steybrae.screening.places.result import OnLine
from steybrae.screening.result import LegPoints, LegScreening


def map_mm(length_m: float, scale: float) -> float:
    """Horizontal length on the map, mm, for the romer: ``1000 length / scale``.

    The scale error of the map's grid, 0.1 percent at most in a UTM zone or on the National Grid, is
    left out: 0.1 mm in 100 mm.
    """
    return 1000.0 * length_m / scale


def slope_distance_m(length_m: float, ascent_m: float, descent_m: float = 0.0) -> float:
    """Length along an even slope: ``hypot(length, ascent + descent)``, of the horizontal length.

    On one slope that is ``length / cos(slope)``. Where a piece goes up and down it is the least
    that the way can be, as if both were one slope.
    """
    return math.hypot(length_m, ascent_m + descent_m)


def pace_length_m(paces_per_100m: float) -> float:
    """Length of one counted pace, metres: ``100 / paces``.

    As the walker counts them: single or double, only the same throughout; 20 to 500, or a
    `QuantityError` for a count that nobody walks.
    """
    if not 20.0 <= paces_per_100m <= 500.0:
        message = (
            f"Paces to 100 m should be 20 to 500; got {paces_per_100m:g}. Count them over a measured 100 m."
        )
        raise QuantityError(message)
    return 100.0 / paces_per_100m


def paces(length_m: float, paces_per_100m: float) -> float:
    """Pace count of a length, unrounded: ``length * paces_per_100m / 100``.

    The slope distance where it is known, by the walker's own count on the flat; see
    `pace_length_m`. Paces shorten uphill, in snow and with a load, all of which raise the count.
    """
    return length_m / pace_length_m(paces_per_100m)


PIECE_M: Final = 50.0
"""Length of a piece to be timed, metres: on much shorter ones the noise of the heights counts
as steepness, longer ones hide steep descents (our choice)."""

SHAPE_M: Final = 5.0
"""Most that a written line may lie beside the plan's, metres: half a cell of a 10 m model (our
choice)."""


@dataclass(frozen=True)
class LegPieces:
    """A leg as it is timed.

    Attributes
    ----------
    segments
        Pieces of equal length, about `PIECE_M`.
    bridged_m
        Length over unknown ground between known heights, taken as one even slope, metres.
    level_m
        Length over unknown ground with a known height on one side at most, taken as level.
    slope_distance_m
        Along the ground; None where no height is known.
    """

    segments: tuple[Segment, ...]
    bridged_m: float
    level_m: float
    slope_distance_m: float | None

    @property
    def unknown_m(self) -> float:
        """Length over unknown ground, metres."""
        return self.bridged_m + self.level_m


def leg_pieces(points: LegPoints) -> LegPieces:
    """Cut a leg into pieces that each have one gradient.

    Each rises or falls by the difference of the heights at its ends; none goes over a top or a dip
    that counts as climb, or may do with the legs beside it, so that the time is that of all the climb.
    Across unknown ground the climb between the known heights counts, and no more: "at least".
    """
    chainage, height = points.chainage_m, points.elevation_m
    known = np.isfinite(height)
    turns = chainage[known][turning_points(height[known], ends=True)] if known.any() else ()
    stretches = pairwise((0.0, *turns, chainage[-1]))
    cuts = [np.linspace(*ends, max(1, round((ends[1] - ends[0]) / PIECE_M)) + 1) for ends in stretches]
    edges = np.unique(np.concatenate(cuts))
    if not known.any():
        level = tuple(Segment(float(step)) for step in np.diff(edges))
        return LegPieces(level, 0.0, float(chainage[-1]), None)
    # np.interp holds the first and the last known height beyond them: level, as is said.
    heights = np.interp(edges, chainage[known], height[known])
    first, last = chainage[known][0], chainage[known][-1]
    # Points that bracket each piece: where one is unknown, so is the piece.
    left = np.searchsorted(chainage, edges[:-1], side="right") - 1
    right = np.searchsorted(chainage, edges[1:], side="left")
    segments, bridged, level_m = [], 0.0, 0.0
    for start, end, low, high, i, k in zip(
        edges[:-1], edges[1:], heights[:-1], heights[1:], left, right, strict=True
    ):
        whole = bool(known[i : k + 1].all())
        between = start >= first and end <= last
        length, rise = float(end - start), float(high - low)
        bridged += length * (not whole and between)
        level_m += length * (not whole and not between)
        segments.append(Segment(length, max(rise, 0.0), max(-rise, 0.0)))
    along = math.fsum(slope_distance_m(piece.length_m, piece.ascent_m, piece.descent_m) for piece in segments)
    return LegPieces(tuple(segments), bridged, level_m, along)


def usual_time(leg: LegScreening) -> tuple[float, bool]:
    """Minutes of a leg by the usual rule, without breaks, and whether unknown ground may make them more."""
    pieces = leg_pieces(leg.points)
    return leg_min(pieces.segments), pieces.unknown_m > 0.0 or leg.ascent_at_least


def line_shape_deg(points: LegPoints) -> tuple[tuple[float, float], ...]:
    """Choose the places that keep the shape of a leg that bends, in walking order, without the ends.

    Latitude and longitude: no point of the leg lies farther than 5 m from the line through them, or
    a thousandth of its length.
    """
    line = [Place(float(lat), float(lon)) for lat, lon in zip(points.lat_deg, points.lon_deg, strict=True)]
    tolerance_m = max(SHAPE_M, float(points.chainage_m[-1]) / 1000.0)
    return tuple((line[k].lat_deg, line[k].lon_deg) for k in choose_turns(line, tolerance_m)[1:-1])


def _sum(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if len(known) == len(values) else None


def card_totals(legs: Sequence[CardLeg]) -> CardTotals:
    """Sum up the legs of a card; None for a sum of which any part is not known."""
    grounds = [leg.ground for leg in legs if leg.ground is not None]
    slope_deg, slope_leg = _steepest(legs, "slope_max_deg")
    beside_deg, beside_leg = _steepest(legs, "slope_corridor_max_deg")
    shorts = (ground.short_corridor_max_deg for ground in grounds)
    short = max((deg for deg in shorts if deg is not None), default=None)
    return CardTotals(
        legs=len(legs),
        length_m=math.fsum(leg.length_m for leg in legs),
        map_mm=_sum([leg.map_mm for leg in legs]),
        ascent_m=_sum([leg.ascent_m for leg in legs]),
        descent_m=_sum([leg.descent_m for leg in legs]),
        ascent_at_least=any(leg.ascent_at_least for leg in legs),
        time_min=_sum([leg.time_min for leg in legs]),
        time_at_least=any(leg.time_at_least for leg in legs),
        arrival=legs[-1].arrival,
        daylight_left_min=legs[-1].daylight_left_min,
        slope_max_deg=slope_deg,
        slope_max_leg=slope_leg,
        slope_corridor_max_deg=beside_deg,
        slope_corridor_max_leg=beside_leg,
        short_corridor_max_deg=shown_steeper(beside_deg, short),
        open_above=not grounds or any(ground.open_above for ground in grounds),
        steep_m=_sum([ground.steep_m for ground in grounds]) if grounds else None,
        unknown_m=_sum([ground.unknown_m for ground in grounds]) if grounds else None,
        checks=sum(len(leg.checks) for leg in legs),
    )


def _steepest(legs: Sequence[CardLeg], name: str) -> tuple[float | None, int | None]:
    """Greatest of a slope over the legs, and the first leg that has it."""
    known = [(leg, getattr(leg.ground, name, None)) for leg in legs]
    most = max((deg for _, deg in known if deg is not None), default=None)
    return most, next((leg.number for leg, deg in known if deg is not None and deg == most), None)


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
    timed = all(leg.time_min is not None for leg in legs) and math.isfinite(behind[-1])
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


def latest_lead(card: RouteCard, *, rows: bool = False) -> str:
    """Say what the latest times are, those below or the last of each leg's row; empty where none is known."""
    if not latest_times(card):
        return ""
    unknown = any(leg.time_at_least for leg in card.legs)
    later = " Where unknown ground makes a leg longer, earlier still." if unknown else ""
    goal = "down" if ends_apart_m(card) <= NEAR_M else "at the end of the line"
    which, back = ("the last time of its row", "in brackets:") if rows else ("this", "or")
    return (
        f"To be {goal} by {card.down_by_text} ({card.down_by_is}), be at the end of each leg no later than "
        f"{which} to walk on ({back} to turn round there and walk back the same way).{later}"
    )


def latest_times(card: RouteCard) -> tuple[tuple[int, str, str, str], ...]:
    """Give number of a leg, where it ends, and there the latest time to walk on, and to turn round.

    Rounded down to the minute; of the last leg only where it ends elsewhere; none where no time is known.
    """
    legs = card.legs[:-1] if ends_apart_m(card) <= NEAR_M else card.legs
    return tuple(
        (leg.number, leg.to, _clock(card, leg.walk_on_by), _clock(card, leg.turn_back_by))
        for leg in legs
        if leg.walk_on_by is not None and leg.turn_back_by is not None
    )


def latest_in_rows(card: RouteCard) -> Mapping[int, str]:
    """``11:41 (15:48)``, to walk on and to turn round, by number of leg; none where one needs its date."""
    found = {number: f"{on} ({back})" for number, _, on, back in latest_times(card)}
    return found if all(len(times) == len("11:41 (15:48)") for times in found.values()) else {}


def latest_words(card: RouteCard) -> str:
    """Say all of it in one paragraph, for paper; empty where none is known."""
    times = "; ".join(f"{number}: {on} ({back})" for number, _, on, back in latest_times(card))
    return f"{latest_lead(card)} Leg {times}." if times else ""


def latest_at_leg(card: RouteCard, leg: CardLeg) -> str:
    """Say them for one leg: ``Latest there 11:41 to walk on, 15:48 to turn round``; empty where not known."""
    if leg.walk_on_by is None or leg.turn_back_by is None:
        return ""
    on, back = (_clock(card, iso) for iso in (leg.walk_on_by, leg.turn_back_by))
    return f"Latest there {on} to walk on, {back} to turn round"


def about_text(card: RouteCard, at: OnLine) -> str:
    """``, about 11:16`` at a place, to the earlier minute; empty where times are not known.

    The time of its leg is shared out by length.
    """
    leg = card.legs[at.leg - 1]
    start = card.start if at.leg == 1 else card.legs[at.leg - 2].arrival
    if start is None or leg.arrival is None:
        return ""
    begun = dt.datetime.fromisoformat(start)
    about = begun + (dt.datetime.fromisoformat(leg.arrival) - begun) * (at.at_m / leg.length_m)
    return f", about {about:%H:%M}"


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
    """Yield that the time to call is not after the end of the line, or the time to be down before it."""
    last = card.legs[-1]
    end, overdue, stated = (
        None if iso is None else dt.datetime.fromisoformat(iso)
        for iso in (last.arrival, card.overdue, None if card.down_by_is == "sunset" else card.down_by)
    )
    there = f"the time at the end of the line, {last.arrival_text}{on_another_day(card.date, last.arrival)}"
    down = f"the time to be down, {card.down_by_text}"
    for at, what in ((end, there), (stated, down)):
        if overdue is not None and at is not None and overdue <= at:
            text = f"The time to call, {card.overdue_text}, is not after {what}: give a later one."
            yield Caution(OVERDUE_EARLY, text)
            break
    if stated is not None and end is not None and stated < end:
        text = (
            f"{down[0].upper()}{down[1:]}, is before {there}: the latest times to walk on are over before "
            "one is there."
        )
        yield Caution(DOWN_BY_EARLY, text)


def _clock(card: RouteCard, iso: str) -> str:
    """Tell the date too where it is not the card's: 17:46 of the evening before is over by 11:36.

    And its offset where that is not the one of the time to be down: a change of clocks has an hour twice.
    """
    at = dt.datetime.fromisoformat(iso)
    same = card.down_by is None or dt.datetime.fromisoformat(card.down_by).utcoffset() == at.utcoffset()
    return f"{at:%H:%M}{'' if same else f' {at:%Z}'}{on_another_day(card.date, iso)}"
