"""A forecast bulletin as its forecasters wrote it, and when it holds.

Field names are the keys of the JSON contract.

Values are those of the open standard CAAML v6 for avalanche bulletins (its JSON schema of
2023-08-28 was read): its own words, its own numbers. Free text is kept letter by letter; whoever
shows it escapes it, and nobody reads a meaning out of it.

The danger scale: EAWS danger scale (text of 2018/19), five degrees. The reduction method: the elementary
one of W. Munter (1995-97), read in a mountain-rescue article and on a regional
service's page, not in his own text.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import field
from itertools import pairwise
from typing import Annotated, Final, Literal

from steybrae.errors import DateError
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, Range, Words
from steybrae.terrain.attributes import SECTORS, Sector

DANGER_VALUES: Final = ("low", "moderate", "considerable", "high", "very_high", "no_snow", "no_rating")
"""Values of a danger rating in the standard."""

DangerValue = Annotated[str, Words(DANGER_VALUES)]

PROBLEM_TYPES: Final = (
    "new_snow",
    "wind_slab",
    "persistent_weak_layers",
    "wet_snow",
    "gliding_snow",
    "cornices",
    "no_distinct_avalanche_problem",
    "favourable_situation",
)
"""Types of an avalanche problem in the standard."""

STABILITIES: Final = ("good", "fair", "poor", "very_poor")
FREQUENCIES: Final = ("none", "few", "some", "many")
PERIODS: Final = ("all_day", "earlier", "later")
TREELINE: Final = "treeline"

Period = Literal["all_day", "earlier", "later"]


@dataclass(frozen=True)
class Texts:
    """A headline and a longer text, as written; None where there is none.

    Attributes
    ----------
    highlights
        Headline; None where there is none.
    comment
        Longer text; None where there is none.
    """

    highlights: str | None
    comment: str | None


@dataclass(frozen=True)
class Elevation:
    """Heights that a rating or a problem is limited to.

    Attributes
    ----------
    lower_bound
        Above it: metres in hundreds, as text, or ``treeline``; None where open.
    upper_bound
        Below it; as lower_bound. Both: the band between.
    """

    lower_bound: str | None
    upper_bound: str | None


@dataclass(frozen=True)
class DangerRating:
    """A danger rating, in the standard's words.

    Attributes
    ----------
    main_value
        The level.
    elevation
        Heights that it is limited to; None for all heights.
    aspects
        Aspects that it is limited to; empty for all aspects.
    valid_time_period
        ``all_day``, ``earlier`` or ``later``; the standard gives no clock time for the change.
    """

    main_value: DangerValue
    elevation: Elevation | None
    aspects: tuple[Sector, ...]
    valid_time_period: Period


@dataclass(frozen=True)
class AvalancheProblem:
    """An avalanche problem, in the standard's words; where it prevails especially, not the only places.

    Attributes
    ----------
    problem_type
        The type.
    elevation
        Heights where it prevails especially (its core zone); None for all heights.
    aspects
        Aspects where it does so; empty for all aspects.
    valid_time_period
        Part of the day; the standard gives no clock time for the change.
    comment
        As written; None where there is none.
    avalanche_size
        1 (small) to 5 (extremely large); None where not given.
    snowpack_stability, frequency
        As written; None where not given.
    danger_rating_value
        The level that belongs to it; None where not given.
    """

    problem_type: Annotated[str, Words(PROBLEM_TYPES)]
    elevation: Elevation | None
    aspects: tuple[Sector, ...]
    valid_time_period: Period
    comment: str | None
    avalanche_size: Annotated[float, Range(1, 5)] | None
    snowpack_stability: Annotated[str, Words(STABILITIES)] | None
    frequency: Annotated[str, Words(FREQUENCIES)] | None
    danger_rating_value: DangerValue | None


Part = DangerRating | AvalancheProblem


@dataclass(frozen=True)
class Region:
    """A region that a bulletin is for; the name is None where not given.

    Attributes
    ----------
    region_id
        Its ID.
    name
        Its name; None where not given.
    """

    region_id: str
    name: str | None


@dataclass(frozen=True)
class Bulletin:
    """A bulletin as its forecasters wrote it (CAAML v6).

    Attributes
    ----------
    bulletin_id
        As written.
    lang
        Language, as written.
    publication_time, valid_from, valid_to, next_update
        ISO 8601 with zone, as written; None where not given.
    unscheduled
        Whether it was issued out of turn; None where not said.
    source
        Names and addresses of who issued it.
    regions
        Where it is for.
    danger_ratings, avalanche_problems
        What it says, in its own order.
    highlights
        The forecasters' short text on an exceptional situation, as written.
    texts
        Other texts by their key in the file.
    tendency
        What comes after: type, validity and texts, as lines of ``key: value``.
    extras
        What the standard does not know, by its place in the file, as JSON text.
    """

    bulletin_id: str | None
    lang: str | None
    publication_time: str | None
    valid_from: str | None
    valid_to: str | None
    next_update: str | None
    unscheduled: bool | None
    source: tuple[str, ...]
    regions: tuple[Region, ...]
    danger_ratings: tuple[DangerRating, ...]
    avalanche_problems: tuple[AvalancheProblem, ...]
    highlights: str | None
    texts: dict[str, Texts]
    tendency: tuple[dict[str, str], ...]
    extras: dict[str, str] = field(default_factory=dict, metadata=NOT_JSON)


@dataclass(frozen=True)
class BulletinFile:
    """What a file held; `notes` say in words what was taken though the standard has it otherwise."""

    name: str
    bulletins: tuple[Bulletin, ...]
    notes: tuple[str, ...] = ()


def elevation_words(elevation: Elevation | None) -> str:
    """Heights in words: ``above 600 m``, ``below treeline``, ``600 m to treeline``, ``all heights``."""
    if elevation is None or (elevation.lower_bound is None and elevation.upper_bound is None):
        return "all heights"
    low, high = (
        None if bound is None else bound if bound == TREELINE else f"{bound} m"
        for bound in (elevation.lower_bound, elevation.upper_bound)
    )
    if high is None:
        return f"above {low}"
    return f"below {high}" if low is None else f"{low} to {high}"


def where_words(part: Part) -> str:
    """Heights, aspects and part of the day in words: ``above 600 m, N NE E, earlier``."""
    named = [sector for sector in SECTORS if sector in part.aspects]
    aspects = " ".join(named) if named and len(named) < len(SECTORS) else "all aspects"
    when = "" if part.valid_time_period == "all_day" else f", {part.valid_time_period} in the day"
    return f"{elevation_words(part.elevation)}, {aspects}{when}"


LEVELS: Final = {"low": 1, "moderate": 2, "considerable": 3, "high": 4, "very_high": 5}
"""Number of each degree of the European danger scale; ``no_snow`` and ``no_rating`` have none."""

METHOD_SOURCE: Final = (
    "Elementary reduction method, W. Munter 1995-97, made for the Alps and their forecasts; a method for "
    "people trained in it, of which the angle is only one part."
)

_METHOD: Final = {
    "moderate": (40.0, "within about 20 m of the track"),
    "considerable": (35.0, "the whole slope"),
    "high": (30.0, "the whole basin"),
}


@dataclass(frozen=True)
class ReductionAngle:
    """What the method has for a degree of the scale, in the standard's word; None where it has no angle.

    `look_at` is which ground it looks at.
    """

    level: str
    method_deg: float | None
    look_at: str


def reduction_angle(level: str) -> ReductionAngle:
    """Give the method's angle for a degree of the scale.

    40 for moderate, 35 for considerable, 30 for high; none for the others.
    """
    method_deg, look_at = _METHOD.get(level, (None, "no angle in this method"))
    return ReductionAngle(level, method_deg, look_at)


def standard_words(value: str) -> str:
    """Say one of the standard's values, a level with its number: ``very high (5)``, ``wind slab``."""
    words = value.replace("_", " ")
    return f"{words} ({LEVELS[value]})" if value in LEVELS else words


Span = tuple[dt.datetime | None, dt.datetime | None]


def parse_moment(text: str, what: str) -> dt.datetime:
    """Read a date and time with its zone: ISO 8601, like ``2027-01-15T09:30+00:00`` or ending in ``Z``.

    `what` it is begins the `DateError` for any other, or without zone.
    """
    try:
        found = dt.datetime.fromisoformat(text.strip().upper())
        zoned = found.utcoffset() is not None
        if zoned:
            found.astimezone(dt.UTC)
    except (ValueError, OverflowError):
        found, zoned = None, False
    if found is None or not zoned:
        message = (
            f"{what} should be a date and time with its zone, like 2027-01-15T09:30+00:00; got {text!r:.60}. "
            "Add what is missing."
        )
        raise DateError(message)
    return found


def parse_span(text: str) -> tuple[dt.datetime, dt.datetime]:
    """Read a time, or two with / between them; of one it is both ends.

    `DateError` for no date and time with zone, or an end before its beginning.
    """
    start, _, end = text.partition("/")
    first = parse_moment(start, "The time")
    last = parse_moment(end, "The end of the time") if end else first
    if last < first:
        message = f"The time should end no earlier than it begins; got {text!r:.60}. Exchange the two."
        raise DateError(message)
    return first, last


def span_of(bulletin: Bulletin) -> Span:
    """Give when a bulletin begins and ends; None where it does not say."""
    ends = (bulletin.valid_from, bulletin.valid_to)
    start, end = (None if text is None else parse_moment(text, "A valid time") for text in ends)
    return start, end


def holds(span: Span, first: dt.datetime, last: dt.datetime) -> bool:
    """Whether a bulletin holds at some of the time; of a time with a length no mere moment counts.

    So the one that ends at midnight is not that of the day which begins then.
    """
    start, end = span
    if first == last:
        return (start is None or start <= last) and (end is None or first <= end)
    return (start is None or start < last) and (end is None or first < end)


def hours_text(span: Span) -> str:
    """Say from when to when, with dates."""
    return " to ".join("no stated time" if end is None else moment_text(end) for end in span)


def filled_span(span: Span) -> tuple[dt.datetime, dt.datetime]:
    """Give both ends; one that is not stated counts as open."""
    begin, end = dt.datetime.min.replace(tzinfo=dt.UTC), dt.datetime.max.replace(tzinfo=dt.UTC)
    return span[0] or begin, span[1] or end


def covers(spans: Sequence[Span], first: dt.datetime, last: dt.datetime) -> bool:
    """Whether validities, one after the other, reach from the first moment to the last."""
    reach = None
    for start, stop in sorted(map(filled_span, spans)):
        if start > (first if reach is None else reach):
            break
        if stop >= first:
            reach = stop if reach is None else max(reach, stop)
    return reach is not None and reach >= last


def holds_throughout(bulletins: Sequence[Bulletin], first: dt.datetime, last: dt.datetime) -> bool:
    """Whether bulletins, one after the other, hold from the first moment to the last.

    An end that is not stated counts as open; that it is not stated is told elsewhere.
    """
    return covers([span_of(bulletin) for bulletin in bulletins], first, last)


def held_together(bulletins: Sequence[Bulletin], walk: Span) -> list[list[Bulletin]]:
    """Give the bulletins that hold together at one time of a walk, and at the next, as they come and go.

    A walk without a time is as long as they hold. All of them where none holds then, which is told elsewhere.
    """
    filled = [filled_span(span_of(bulletin)) for bulletin in bulletins]
    first = walk[0] or min(start for start, _ in filled)
    last = walk[1] or max(end for _, end in filled)
    moments = sorted({first, last, *(end for ends in filled for end in ends if first < end < last)})
    steps = [*pairwise(moments)] or [(first, last)]
    groups = [[b for b, ends in zip(bulletins, filled, strict=True) if holds(ends, *step)] for step in steps]
    return [group for group in groups if group] or [list(bulletins)]


def last_end(bulletins: Iterable[Bulletin]) -> dt.datetime | None:
    """When the last of some bulletins ends, of those that say so; None where none does."""
    ends = []
    for bulletin in bulletins:
        with suppress(DateError):  # a plan that was changed may have any text
            ends += [parse_moment(bulletin.valid_to, "An end")] if bulletin.valid_to else []
    return max(ends, default=None)


def out_of_time_text(what: str, first: dt.datetime, last: dt.datetime) -> str:
    """Say that what is walked from the first moment to the last is outside the hours of a forecast."""
    return (
        f"NOT VALID ALL THE TIME: {what} walked {moment_text(first)} to {moment_text(last, late=True)}, "
        "outside the hours of the forecast."
    )


def moment_text(moment: dt.datetime, *, late: bool = False) -> str:
    """Say a moment to the minute, with its zone: ``2027-01-15 18:00 UTC``, ``2027-01-15 18:00 UTC+01:00``.

    Down to it; `late` rounds up, as arrivals are.
    """
    if late and (moment.second or moment.microsecond) and moment.year < dt.MAXYEAR:
        moment += dt.timedelta(minutes=1)
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname()}"
