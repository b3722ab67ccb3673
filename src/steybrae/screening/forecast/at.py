"""A forecast matched against the ground of a screened line or of a place.

Per leg and for every rating and problem: over how many metres the line, the corridor and the
start zones overhead have ground that it names (`steybrae.forecast.named`). The standard gives no
clock time for "earlier" and "later", so that both are always shown. Nothing is judged.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import Final

from steybrae.cautions import Situation, cautions_for, with_cautions, without_cautions
from steybrae.errors import BulletinError, QuantityError
from steybrae.forecast.beside import (
    ForecastBeside,
    Kind,
    LegForecast,
    NamedAtPlace,
    NamedOnLeg,
    ReductionRow,
    heights_by_aspect,
)
from steybrae.forecast.bulletin import (
    LEVELS,
    METHOD_SOURCE,
    PERIODS,
    TREELINE,
    Bulletin,
    BulletinFile,
    DangerRating,
    Part,
    held_together,
    holds_throughout,
    moment_text,
    out_of_time_text,
    reduction_angle,
    where_words,
)
from steybrae.forecast.choose import Asked, Chosen, Finding, choose, of_another_time
from steybrae.forecast.named import KEPT_FROM_DEG, LegGrounds, aspect_bits, bound_range_m, crossed
from steybrae.frozen import dataclass
from steybrae.screening.ground.result import GroundAt
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.attributes import SECTORS
from steybrae.value import and_more, lower

LEAST_SLOPE_DEG: Final = 30.0
"""Ground from here on is matched where no other slope is asked for, degrees: where the European
danger scale begins to call ground steep."""

_HEIGHT_ROOM_M: Final = 10.0

Span = tuple[dt.datetime, dt.datetime]


@dataclass(frozen=True)
class ForecastAsk(Asked):
    """What is asked of a file of bulletins beside a line or a place.

    Attributes
    ----------
    whole_day
        Whether they are only the day, for want of a time.
    other_day
        The day of a card, where the time is of another day; None elsewhere.
    leg_spans
        Start and end of each leg; empty where not known.
    treeline_m
        Height of the treeline; None where not stated.
    least_slope_deg
        Ground at or above it is matched.
    reduction
        Whether the published method's angles are shown.

    Raises
    ------
    QuantityError
        A slope below 20 degrees or above 90.
    """

    whole_day: bool = False
    other_day: dt.date | None = None
    leg_spans: tuple[Span | None, ...] = ()
    treeline_m: float | None = None
    least_slope_deg: float = LEAST_SLOPE_DEG
    reduction: bool = False

    def __post_init__(self) -> None:
        """Refuse slopes for which no ground is kept."""
        if not KEPT_FROM_DEG <= self.least_slope_deg <= 90.0:
            message = (
                f"The slope for matching a forecast should lie between {KEPT_FROM_DEG:g} and 90 degrees; got "
                f"{self.least_slope_deg:g}. Usual is {LEAST_SLOPE_DEG:g}."
            )
            raise QuantityError(message)


def of_now(source: BulletinFile, ask: ForecastAsk) -> tuple[BulletinFile, ForecastAsk]:
    """Ask the same at present, of a bulletin that was read some time ago."""
    return source, replace(ask, now=dt.datetime.now(dt.UTC))


def forecast_beside(screening: RouteScreening, source: BulletinFile, ask: ForecastAsk) -> RouteScreening:
    """Put a forecast beside a screened line that has its grounds; its cautions replace the old ones.

    `BulletinError` without grounds (`steybrae.screening.forecast.ground.with_forecast_ground`), or
    where the file is for several regions and none was named.
    """
    grounds = screening.forecast_grounds
    if grounds is None:
        message = (
            "A forecast is matched against the ground of each leg; this plan does not hold it. Save the plan "
            "again from its route and model."
        )
        raise BulletinError(message)
    chosen = _chosen(source, ask)
    spans = ask.leg_spans or (None,) * len(screening.legs)
    legs = tuple(
        _leg(leg, ground, span, chosen.bulletins, ask)
        for leg, ground, span in zip(screening.legs, grounds, spans, strict=True)
    )
    parts = [part for _, part in _parts(chosen.bulletins)]
    matrix = heights_by_aspect(grounds, parts, ask.least_slope_deg, ask.treeline_m)
    beside = replace(_frame(source, chosen, ask, grounds), legs=legs, matrix=matrix)
    before = () if screening.forecast is None else screening.forecast.cautions
    cautions = without_cautions(screening.cautions, before)
    return replace(screening, forecast=beside, cautions=with_cautions(cautions, beside.cautions))


def forecast_at_place(
    found: GroundAt, grounds: LegGrounds, source: BulletinFile, ask: ForecastAsk
) -> GroundAt:
    """Put a forecast beside the ground at a place; as `forecast_beside`."""
    chosen = _chosen(source, ask)
    height = None if found.elevation_m is None else (found.elevation_m, found.elevation_m)
    place = tuple(_at_place(which, part, grounds, height, ask) for which, part in _parts(chosen.bulletins))
    unrated = _unrated(chosen.bulletins, height, ask, None, "place")
    chosen = replace(chosen, findings=(*chosen.findings, *unrated))
    beside = replace(_frame(source, chosen, ask, (grounds,)), place=place)
    return replace(found, forecast=beside, cautions=with_cautions(found.cautions, beside.cautions))


def _chosen(source: BulletinFile, ask: ForecastAsk) -> Chosen:
    chosen = choose(source.bulletins, ask)
    if ask.other_day is not None and ask.start is not None:
        text = (
            f"OTHER DAY: the forecast was looked up for {moment_text(ask.start)}, and this is a card of "
            f"{ask.other_day.isoformat()}. Leave --at-time out, or give that day's."
        )
        chosen = replace(chosen, findings=(Finding("other_day", text), *chosen.findings))
    if not ask.whole_day or not chosen.bulletins or of_another_time(chosen.findings):
        return chosen
    # A bulletin that holds for part of the day is no fault where no time of the day is known.
    kept = tuple(finding for finding in chosen.findings if finding.key != "partly_valid")
    text = "No time of the day was given: every bulletin that holds on that day is shown. Give --start."
    return replace(chosen, findings=(*kept, Finding("time_not_checked", text)))


def _frame(
    source: BulletinFile, chosen: Chosen, ask: ForecastAsk, grounds: Sequence[LegGrounds]
) -> ForecastBeside:
    bounds = [
        bound
        for _, part in _parts(chosen.bulletins)
        if part.elevation is not None
        for bound in (part.elevation.lower_bound, part.elevation.upper_bound)
    ]
    blind = TREELINE in bounds and ask.treeline_m is None
    from_deg = max((ground.start_from_deg for ground in grounds), default=0.0)
    return ForecastBeside(
        file=source.name,
        region_asked=ask.region,
        start=None if ask.start is None else ask.start.isoformat(),
        end=None if ask.end is None else ask.end.isoformat(),
        treeline_m=ask.treeline_m,
        least_slope_deg=ask.least_slope_deg,
        start_from_deg=from_deg,
        findings=chosen.findings,
        bulletins=chosen.bulletins,
        legs=(),
        place=(),
        notes=(*source.notes, *chosen.notes),
        words=_words(ask, from_deg),
        cautions=(
            *(finding.caution for finding in chosen.findings),
            *cautions_for(Situation(bulletin=True, treeline_unknown=blind)),
        ),
    )


def _words(ask: ForecastAsk, start_from_deg: float) -> tuple[str, ...]:
    return (
        f"Matched: ground of {and_more(ask.least_slope_deg)} on the line and in its corridor, and possible "
        f"start zones overhead (from about {lower(start_from_deg, step=1.0).text}) that look down on it, "
        "read every 50 m, where they face a named aspect at a named height. What lies within its uncertainty "
        "of an edge counts on both sides (a bound counts within 50 m, the treeline within 100 m).",
        "A bulletin has no slope angles: which slope is steep enough is this program's question, not the "
        "forecasters'. Named aspects and heights are where a problem prevails especially, not the only "
        "places.",
        "Earlier and later: the standard gives no clock time for the change, so both are shown.",
    )


Which = tuple[Kind, int, int]


def _parts(bulletins: Sequence[Bulletin]) -> Iterator[tuple[Which, Part]]:
    for number, bulletin in enumerate(bulletins):
        for k, rating in enumerate(bulletin.danger_ratings):
            yield ("danger_rating", number, k), rating
        for k, problem in enumerate(bulletin.avalanche_problems):
            yield ("avalanche_problem", number, k), problem


def _value(part: Part) -> str:
    return part.main_value if isinstance(part, DangerRating) else part.problem_type


def _meets(part: Part, heights_m: tuple[float, float] | None, ask: ForecastAsk) -> bool:
    low, high = bound_range_m(part.elevation, ask.treeline_m)
    if heights_m is None:
        return True
    return heights_m[1] + _HEIGHT_ROOM_M >= low and heights_m[0] - _HEIGHT_ROOM_M <= high


def _leg(
    leg: LegScreening,
    grounds: LegGrounds,
    span: Span | None,
    bulletins: Sequence[Bulletin],
    ask: ForecastAsk,
) -> LegForecast:
    low, high = leg.elevation_min_m, leg.elevation_max_m
    # Unknown ground on a leg may lie at any height.
    heights = None if low is None or high is None or leg.unknown_m > 0.0 else (low, high)
    named = tuple(_on_leg(which, part, grounds, heights, ask) for which, part in _parts(bulletins))
    return LegForecast(
        number=leg.number,
        from_=leg.from_,
        to=leg.to,
        start=None if span is None else span[0].isoformat(),
        end=None if span is None else span[1].isoformat(),
        findings=(*_out_of_time(bulletins, span), *_unrated(bulletins, heights, ask, span)),
        named=named,
        reduction=_reduction(named, grounds) if ask.reduction else None,
    )


def _on_leg(
    which: Which,
    part: Part,
    grounds: LegGrounds,
    heights_m: tuple[float, float] | None,
    ask: ForecastAsk,
) -> NamedOnLeg:
    range_m = bound_range_m(part.elevation, ask.treeline_m)
    return NamedOnLeg(
        *which,
        value=_value(part),
        where=where_words(part),
        meets_heights=_meets(part, heights_m, ask),
        line=crossed(grounds.line, part.aspects, range_m, ask.least_slope_deg),
        corridor=crossed(grounds.corridor, part.aspects, range_m, ask.least_slope_deg),
        overhead=crossed(grounds.overhead, part.aspects, range_m, 0.0),
    )


def _at_place(
    which: Which,
    part: Part,
    grounds: LegGrounds,
    heights_m: tuple[float, float] | None,
    ask: ForecastAsk,
) -> NamedAtPlace:
    found = _on_leg(which, part, grounds, heights_m, ask)
    return NamedAtPlace(
        *which,
        value=found.value,
        where=found.where,
        meets_heights=found.meets_heights,
        within=found.line.length_m > 0.0,
        within_unknown=bool(grounds.line.unknown.any()),
        overhead=found.overhead.length_m > 0.0,
        overhead_unknown=bool(grounds.overhead.unknown.any()),
        sectors=found.line.sectors,
    )


def _out_of_time(bulletins: Sequence[Bulletin], span: Span | None) -> tuple[Finding, ...]:
    if span is None or not bulletins or holds_throughout(bulletins, *span):
        return ()
    return (Finding("leg_out_of_time", out_of_time_text("this leg is", *span)),)


_NO_RATING: Final = "NO RATING for {} in the bulletin. That is not a low one: read its text."


def _unrated(
    bulletins: Sequence[Bulletin],
    heights_m: tuple[float, float] | None,
    ask: ForecastAsk,
    span: Span | None,
    what: str = "leg",
) -> tuple[Finding, ...]:
    """Say where ratings leave out heights of a leg or a place, an aspect, or hours of the time there."""
    if not bulletins:
        return ()
    groups = held_together(bulletins, span or (ask.start, ask.end))
    rated = [_rates(group, heights_m, ask) for group in groups]
    if not any(some for some, _ in rated):
        return (Finding(f"{what}_no_rating", _NO_RATING.format(f"the heights of this {what}")),)
    if all(throughout for _, throughout in rated):
        return ()
    ground = f"some heights, aspects or hours of this {what}"
    return (Finding(f"{what}_partly_rated", _NO_RATING.format(ground)),)


def _rates(
    bulletins: Sequence[Bulletin], heights_m: tuple[float, float] | None, ask: ForecastAsk
) -> tuple[bool, bool]:
    """Whether bulletins that hold together rate some of the heights, and all of them in every aspect."""
    rated = [
        part
        for bulletin in bulletins
        for part in bulletin.danger_ratings
        if part.main_value in LEVELS and _meets(part, heights_m, ask)
    ]
    low, high = heights_m or (-math.inf, math.inf)
    for bit, period in product(range(len(SECTORS)), PERIODS[1:]):
        reach = low
        for bottom, top in sorted(
            bound_range_m(part.elevation, ask.treeline_m)
            for part in rated
            if aspect_bits(part.aspects) >> bit & 1 and part.valid_time_period in (PERIODS[0], period)
        ):
            if bottom > reach:
                break
            reach = max(reach, top)
        # A level leg is to be rated too.
        if reach < max(high, low + 1.0):
            return bool(rated), False
    return bool(rated), True


def _reduction(named: Sequence[NamedOnLeg], grounds: LegGrounds) -> ReductionRow | None:
    levels = [
        row.value for row in named if row.kind == "danger_rating" and (row.meets_heights or row.may_touch)
    ]
    highest = max((level for level in levels if level in LEVELS), key=LEVELS.__getitem__, default=None)
    if highest is None:
        return None
    method = reduction_angle(highest)
    if method.method_deg is None:
        return ReductionRow(highest, None, method.look_at, None, None, at_least=False, source=METHOD_SOURCE)
    everywhere = bound_range_m(None, None)
    line, corridor = (
        crossed(ground, (), everywhere, method.method_deg) for ground in (grounds.line, grounds.corridor)
    )
    return ReductionRow(
        highest,
        method.method_deg,
        method.look_at,
        line.length_m,
        corridor.length_m,
        at_least=line.at_least or corridor.at_least,
        source=METHOD_SOURCE,
    )
