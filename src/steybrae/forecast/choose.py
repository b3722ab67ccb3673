"""Which of a file's bulletins are for a region and a time, and what is wrong with them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import Final

from steybrae.cautions import Caution
from steybrae.errors import BulletinError
from steybrae.forecast.bulletin import (
    Bulletin,
    Span,
    covers,
    filled_span,
    holds,
    hours_text,
    moment_text,
    parse_moment,
    span_of,
)
from steybrae.frozen import dataclass

_SHOWN_REGIONS: Final = 12
_SHOWN_SPANS: Final = 4


@dataclass(frozen=True)
class Finding:
    """Something about the forecast that has to be seen first.

    Attributes
    ----------
    key
        Short fixed name.
    text
        A whole sentence.
    """

    key: str
    text: str

    @property
    def caution(self) -> Caution:
        """The same as a caution, so that it reaches every output."""
        return Caution(f"forecast_{self.key}", self.text)


@dataclass(frozen=True)
class Asked:
    """What is asked of a file.

    Attributes
    ----------
    region
        ID or name of the region; None where not given.
    start, end
        When the ground is walked, with zone; None where not given.
    lang
        Language wanted; None takes the file's first.
    now
        The present, for a file whose time is over when no time was asked for.
    """

    region: str | None = None
    start: dt.datetime | None = None
    end: dt.datetime | None = None
    lang: str | None = None
    now: dt.datetime | None = None


@dataclass(frozen=True)
class Chosen:
    """What was found.

    Attributes
    ----------
    bulletins
        Those for the region and the time; more than one where several hold then, or where none
        does and several are nearest.
    findings
        What has to be seen first.
    notes
        What was passed over, in words.
    """

    bulletins: tuple[Bulletin, ...]
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]


def choose(bulletins: Sequence[Bulletin], asked: Asked) -> Chosen:
    """Choose the bulletins for a region and a time.

    Region before time, time before language, and of two for the same hours and regions the one
    published last. Nothing is dropped for being gentler or less certain. None where the region is
    not in the file; `BulletinError` where that is for several regions and none was named.
    """
    if not bulletins:
        empty = Finding(
            "no_bulletin", "The forecast file holds no bulletin at all: read the forecast itself."
        )
        return Chosen((), (empty,), ())
    here, findings = _for_region(bulletins, asked.region)
    if not here:
        return Chosen((), findings, ())
    timed, when = _for_time(here, asked)
    spoken, language = _for_language(timed, asked.lang)
    latest, older = _latest(spoken)
    latest, several = _last_first(latest)
    due = () if of_another_time(when) else _update_due(latest, asked.start or asked.now)
    rated = (*findings, *when, *due, *_rating_findings(latest), *several)
    order = ("expired", "not_yet_valid", "partly_valid", "update_due", "validity_not_stated", "no_rating")
    ranked = sorted(rated, key=lambda found: order.index(found.key) if found.key in order else len(order))
    return Chosen(latest, tuple(ranked), (*language, *older))


def _for_region(
    bulletins: Sequence[Bulletin], asked: str | None
) -> tuple[list[Bulletin], tuple[Finding, ...]]:
    if asked is None:
        return list(bulletins), _unasked(bulletins)
    wanted = asked.strip().casefold()
    by_id = [b for b in bulletins if any(r.region_id.casefold() == wanted for r in b.regions)]
    by_name = [b for b in bulletins if any((r.name or "").casefold() == wanted for r in b.regions)]
    found = by_id or by_name
    if found:
        return found, ()
    text = (
        f"OTHER REGION: the file has no forecast for region {asked!r:.60}; it is for {_regions(bulletins)}. "
        "Nothing of it is shown here."
    )
    return [], (Finding("other_region", text),)


def _unasked(bulletins: Sequence[Bulletin]) -> tuple[Finding, ...]:
    sets = {frozenset(region.region_id for region in bulletin.regions) for bulletin in bulletins}
    if len(sets) > 1:
        message = (
            f"The forecast file has bulletins for several regions ({_regions(bulletins)}); none was named. "
            "Give --region with the ID of yours."
        )
        raise BulletinError(message)
    if not any(sets):
        text = "The bulletin names no region: check that it is for this ground."
        return (Finding("region_not_stated", text),)
    text = f"No region was named: check that this ground lies in {_regions(bulletins)}, or give --region."
    return (Finding("region_not_checked", text),)


def _regions(bulletins: Sequence[Bulletin]) -> str:
    names: dict[str, str] = {}
    for bulletin in bulletins:
        for region in bulletin.regions:
            names.setdefault(region.region_id, region.name or "")
    shown = [f"{key} {name}".strip()[:60] for key, name in list(names.items())[:_SHOWN_REGIONS]]
    more = len(names) - len(shown)
    return (", ".join(shown) + (f" and {more} more" if more else "")) or "no region at all"


def _for_time(here: list[Bulletin], asked: Asked) -> tuple[list[Bulletin], tuple[Finding, ...]]:
    spans = [span_of(bulletin) for bulletin in here]
    if asked.start is None:
        return here, _without_time(here, spans, asked.now)
    first, last = asked.start, asked.end or asked.start
    held = [holds(span, first, last) for span in spans]
    if not any(held):
        return _nearest(here, spans, (first, last))
    kept = [bulletin for bulletin, hold in zip(here, held, strict=True) if hold]
    return kept, _covering([span for span, hold in zip(spans, held, strict=True) if hold], first, last)


def _covering(spans: Sequence[Span], first: dt.datetime, last: dt.datetime) -> tuple[Finding, ...]:
    """Say whether bulletins that hold at some of the time hold at all of it."""
    stated = () if all(None not in span for span in spans) else (_not_stated(),)
    if covers(spans, first, last):
        return stated
    told = dict.fromkeys(hours_text(span) for span in sorted(spans, key=filled_span))
    hours = " and from ".join(list(told)[:_SHOWN_SPANS])
    more = f" and {len(told) - _SHOWN_SPANS} more times" if len(told) > _SHOWN_SPANS else ""
    text = (
        f"NOT VALID ALL THE TIME: the plan runs from {moment_text(first)} to {moment_text(last, late=True)}, "
        f"the forecast holds from {hours}{more}."
    )
    return (Finding("partly_valid", text), *stated)


def _nearest(
    here: list[Bulletin], spans: Sequence[Span], walk: tuple[dt.datetime, dt.datetime]
) -> tuple[list[Bulletin], tuple[Finding, ...]]:
    """Take the bulletins nearest in time, and say loudly that they do not hold."""

    def away(span: Span) -> dt.timedelta:
        start, end = span
        # None of them holds at any of the time: one of the two is not negative, and the larger.
        return max(
            dt.timedelta.min if start is None else start - walk[1],
            dt.timedelta.min if end is None else walk[0] - end,
        )

    least = min(away(span) for span in spans)
    kept = [k for k, span in enumerate(spans) if away(span) == least]
    _, end = spans[kept[0]]
    if end is not None and end <= walk[0]:
        when = "as the plan begins" if end == walk[0] else f"before {moment_text(walk[0])} of the plan"
        text = expired_text(end, f", {when}")
        return [here[k] for k in kept], (Finding("expired", text),)
    begin = spans[kept[0]][0]
    when = "as the plan ends" if begin == walk[1] else f"after {moment_text(walk[1], late=True)} of the plan"
    text = (
        f"NOT YET VALID: this one begins {moment_text(begin or walk[1])}, {when}. Get the one for that time."
    )
    return [here[k] for k in kept], (Finding("not_yet_valid", text),)


def _without_time(
    here: list[Bulletin], spans: Sequence[Span], now: dt.datetime | None
) -> tuple[Finding, ...]:
    ends = [end for _, end in spans if end is not None]
    if now is not None and len(ends) == len(here) and max(ends) < now:
        return (Finding("expired", expired_text(max(ends))),)
    text = "No time was given: whether the forecast holds when you are there was not checked. Give --at-time."
    stated = all(None not in span for span in spans)
    unasked = Finding("time_not_checked", text)
    return (unasked,) if stated else (_not_stated(), unasked)


def expired_text(end: dt.datetime, when: str = "") -> str:
    """Say loudly that a forecast has ended: of every output, and of a page that lies about."""
    return f"EXPIRED: this forecast ended {moment_text(end)}{when}. Get a newer one."


def _not_stated() -> Finding:
    return Finding("validity_not_stated", "The bulletin does not say when it begins or ends: check its date.")


def of_another_time(findings: Iterable[Finding]) -> bool:
    """Whether all of a forecast is of another time: levels of another day would be read as today's."""
    return any(finding.key in ("expired", "not_yet_valid", "other_day") for finding in findings)


def _for_language(here: list[Bulletin], asked: str | None) -> tuple[list[Bulletin], tuple[str, ...]]:
    langs = list(dict.fromkeys((bulletin.lang or "").lower() for bulletin in here))
    if len(langs) == 1 and (asked is None or asked.lower() == langs[0]):
        return here, ()
    spoken = (asked or "").lower() if (asked or "").lower() in langs else langs[0]
    kept = [bulletin for bulletin in here if (bulletin.lang or "").lower() == spoken]
    # Another language that speaks of other hours or regions, or was published later, is no translation, and
    # stays.
    last = _last_published(kept)
    told = {_same(bulletin) for bulletin in kept}
    kept += [
        b
        for b in here
        if (b.lang or "").lower() != spoken
        and (_same(b) not in told or (_same(b) in last and _published(b) > last[_same(b)]))
    ]
    names = ", ".join(lang or "not stated" for lang in langs)
    words = f"Languages in the file: {names}; shown: {spoken or 'not stated'}."
    if asked is not None and asked.lower() not in langs:
        words += f" {asked!r:.20} is not among them."
    return kept, (words,)


def _latest(here: list[Bulletin]) -> tuple[tuple[Bulletin, ...], tuple[str, ...]]:
    """Leave out what a later publication for the same hours, regions and language replaces."""
    langs: dict[str | None, list[Bulletin]] = {}
    for bulletin in here:
        langs.setdefault(bulletin.lang, []).append(bulletin)
    last = {lang: _last_published(told) for lang, told in langs.items()}
    kept = [
        bulletin
        for bulletin in here
        if bulletin.publication_time is None or _published(bulletin) == last[bulletin.lang][_same(bulletin)]
    ]
    older = len(here) - len(kept)
    if not older:
        return tuple(kept), ()
    count = "A bulletin was" if older == 1 else f"{older} bulletins were"
    return tuple(kept), (f"{count} passed over for one published later for the same hours and regions.",)


def _last_first(chosen: tuple[Bulletin, ...]) -> tuple[tuple[Bulletin, ...], tuple[Finding, ...]]:
    """Where some hold at the same hours, put those published later first, and say which is the last."""
    by_time = sorted(filled_span(span_of(bulletin)) for bulletin in chosen)
    reach = accumulate((end for _, end in by_time), max)
    at_once = any(start < end for (start, _), end in zip(by_time[1:], reach, strict=False))
    if not at_once or len(set(map(_published, chosen))) == 1:
        return chosen, ()
    ordered = tuple(sorted(chosen, key=_published, reverse=True))
    last, hours = moment_text(_published(ordered[0])), hours_text(span_of(ordered[0]))
    text = f"SEVERAL FORECASTS for the same hours: the last was published {last}, for {hours}."
    return ordered, (Finding("several", text),)


def _update_due(chosen: Sequence[Bulletin], by: dt.datetime | None) -> tuple[Finding, ...]:
    """Say that all of them announce a later one for a time that is over as the walk begins, or now."""
    due = [
        parse_moment(bulletin.next_update, "A next update")
        for bulletin in chosen
        if bulletin.next_update is not None
    ]
    # One that is due before the last of them came is no announcement.
    last = max(map(_published, chosen))
    due = [moment for moment in due if moment > last]
    if by is None or len(due) < len(chosen) or max(due) > by:
        return ()
    text = f"NEWER FORECAST: the next was due {moment_text(max(due))}. Get it before you go."
    return (Finding("update_due", text),)


def _published(bulletin: Bulletin) -> dt.datetime:
    """When it was published; before all others where that is not stated."""
    if bulletin.publication_time is None:
        return dt.datetime.min.replace(tzinfo=dt.UTC)
    return parse_moment(bulletin.publication_time, "A publication time")


def _last_published(bulletins: Sequence[Bulletin]) -> dict[object, dt.datetime]:
    """When the last for the same hours and regions was published, of those that say when."""
    last: dict[object, dt.datetime] = {}
    for bulletin in bulletins:
        if bulletin.publication_time is not None:
            last[_same(bulletin)] = max(_published(bulletin), last.get(_same(bulletin), _published(bulletin)))
    return last


def _same(bulletin: Bulletin) -> object:
    """Give what a later publication, or a translation, has to share with the other."""
    return span_of(bulletin), frozenset(region.region_id for region in bulletin.regions)


def _rating_findings(chosen: Sequence[Bulletin]) -> tuple[Finding, ...]:
    """Say where none of them gives a rating, or one does not for its hours."""
    unrated = [b for b in chosen if all(rating.main_value == "no_rating" for rating in b.danger_ratings)]
    if not unrated:
        return ()
    which = "the bulletin"
    if len(unrated) < len(chosen):
        hours = dict.fromkeys(hours_text(span_of(bulletin)) for bulletin in unrated)
        which = f"the bulletin for {' and for '.join([*hours][:_SHOWN_SPANS])}"
    text = f"NO RATING: {which} gives no danger rating. That is not a low one: read its text."
    return (Finding("no_rating", text),)
