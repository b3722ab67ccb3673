"""When bulletins hold: moments and spans as they are read and said, and what they cover together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from contextlib import suppress
from itertools import pairwise

from steybrae.errors import DateError
from steybrae.forecast.bulletin import Bulletin

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
