"""Clock times: arrivals, sunrise, sunset and twilight, and the daylight left.

Sun times are for a level horizon at sea level (astral, after the equations of Meeus as
NOAA uses them), good to a minute or two at middle latitudes and worse near the polar
circles. In the hills the sun goes behind a ridge long before.

A day is the one about the local noon of the date: its sunset may lie past midnight.
Clock times need a zone; a time without one is refused.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Final
from zoneinfo import ZoneInfo

from steybrae.errors import DateError
from steybrae.frozen import dataclass
from steybrae.quantities import round_up
from steybrae.route.positions.places import Place
from steybrae.value import AT_MOST, daylight_left

SUNRISE_ALTITUDE_DEG: Final = -0.833
"""Altitude of the sun's centre at sunrise and sunset, degrees: 34' of refraction and 16' of disc."""

MOST_ZONE: Final = 60
"""Letters of a time zone's name; the longest in the IANA database has 32 (our choice)."""

TWILIGHT_ALTITUDE_DEG: Final = -6.0
"""Altitude at which civil twilight begins and ends, degrees (astronomical convention)."""

_HALF_DAY: Final = dt.timedelta(hours=12)
_SECOND: Final = dt.timedelta(seconds=1)


@dataclass(frozen=True)
class Daylight:
    """The light of one day at one place.

    Attributes
    ----------
    noon
        When the sun stands highest, in the zone asked for.
    dawn, sunrise, sunset, dusk
        Start of civil twilight, sun up, sun down, end of civil twilight; None where the sun
        does not cross that altitude within twelve hours of noon.
    sun
        ``rises``, ``up all day`` or ``down all day``.
    words
        Whole sentences for a card.
    """

    noon: dt.datetime
    dawn: dt.datetime | None
    sunrise: dt.datetime | None
    sunset: dt.datetime | None
    dusk: dt.datetime | None
    sun: str
    words: tuple[str, ...]


def parse_zone(zone: str | None) -> ZoneInfo:
    """Time zone by its name in the IANA database, ``Europe/London`` or ``UTC``; refused for no such."""
    if not zone:
        message = "Clock times need a time zone; got none. Add one like --zone Europe/London."
        raise DateError(message)
    # zoneinfo looks for a name as for a package, one call deeper at each of its parts.
    if len(zone) > MOST_ZONE:
        message = f"A time zone's name has at most {MOST_ZONE} letters; got {len(zone)}. Check its spelling."
        raise DateError(message)
    try:
        return ZoneInfo(zone)
    except (KeyError, ValueError, OSError) as error:
        message = f"A time zone should be a name like Europe/London or UTC; got {zone!r}. Check its spelling."
        raise DateError(message) from error


def parse_day(text: str) -> dt.date:
    """Read a day: ``2027-01-15``; refused where it is none, or written otherwise."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        message = f"A date should look like 2027-01-15; got {text!r}. Give year, month and day."
        raise DateError(message) from None


def parse_clock(text: str, date: dt.date, zone: str | None, *, dated: bool = False) -> dt.datetime:
    """Read a clock time, ``08:30`` of 24 hours, on a date in a named zone.

    `dated` takes one of another day too, ``2027-01-16T00:30``. `DateError` where it is unreadable,
    without a zone, or a time that the change of clocks skips or repeats.
    """
    place_zone = parse_zone(zone)
    found = re.fullmatch(r"\s*(?:(\S+)[T ])?(\d{1,2}):(\d{2})\s*", text)
    if found is None or (found[1] and not dated) or int(found[2]) > 23 or int(found[3]) > 59:
        other = f", or {date + dt.timedelta(days=1)}T00:30 of another day" if dated else ""
        message = f"A clock time should look like 08:30{other}; got {text!r}. Give hours and minutes."
        raise DateError(message)
    date = parse_day(found[1]) if found[1] else date
    clock = dt.time(int(found[2]), int(found[3]))
    early, late = (dt.datetime.combine(date, clock.replace(fold=fold), tzinfo=place_zone) for fold in (0, 1))
    if early.utcoffset() != late.utcoffset():
        message = (
            f"The clocks change at {text} on {date.isoformat()} in {zone}, which is no time or two. "
            "Give the time in UTC."
        )
        raise DateError(message)
    return early


def daylight(place: Place, date: dt.date, zone: str | None) -> Daylight:
    """Sunrise, sunset and civil twilight of the day whose noon is meant, unrounded.

    The times are given in the named zone; `DateError` without one.
    """
    from astral import Observer, sun  # noqa: PLC0415

    place_zone = parse_zone(zone)
    # Height would lower the horizon and lengthen the day, which no hillside gives.
    observer = Observer(place.lat_deg, place.lon_deg, 0.0)
    midday = dt.datetime.combine(date, dt.time(12), tzinfo=place_zone).astimezone(dt.UTC)
    days = (date + days * dt.timedelta(days=1) for days in (-1, 0, 1))
    noons = [sun.noon(observer, date=day, tzinfo=dt.UTC) for day in days]
    noon = min(noons, key=lambda instant: abs(instant - midday))

    def height_deg(instant: dt.datetime) -> float:
        return sun.elevation(observer, instant, with_refraction=False)

    # astral's own rise and set raise near the polar circles on days that have them, and
    # pair dates with zones in their own way; its altitude is good everywhere.
    light, rise, fall, dark = (
        _crossing(height_deg, noon, altitude_deg, side, place_zone)
        for altitude_deg, side in (
            (TWILIGHT_ALTITUDE_DEG, -1),
            (SUNRISE_ALTITUDE_DEG, -1),
            (SUNRISE_ALTITUDE_DEG, 1),
            (TWILIGHT_ALTITUDE_DEG, 1),
        )
    )
    highest_deg = height_deg(noon)
    state = "rises"
    if rise is None and fall is None:
        state = "up all day" if highest_deg > SUNRISE_ALTITUDE_DEG else "down all day"
    twilight = highest_deg > TWILIGHT_ALTITUDE_DEG
    words = _words(date, (light, rise, fall, dark), state, twilight=twilight)
    return Daylight(noon.astimezone(place_zone), light, rise, fall, dark, state, words)


def daylight_along(places: Sequence[Place], date: dt.date, zone: str | None) -> Daylight:
    """Daylight that no turn point of a line has less of: the latest sunrise, the earliest sunset.

    Where the sun stays down all day at one of them, that is the day. Near the polar circles sunset
    comes some minutes earlier at one end of a day's walk than at the other.
    """
    by_lat, by_lon = (sorted(places, key=key) for key in (lambda at: at.lat_deg, lambda at: at.lon_deg))
    far = dict.fromkeys((places[0], by_lat[0], by_lat[-1], by_lon[0], by_lon[-1]))
    lights = [daylight(place, date, zone) for place in far]
    least = min(lights, key=lambda light: ("down all day", "rises", "up all day").index(light.sun))
    if least.sun == "down all day":
        return least
    light, rise = (max(filter(None, times), default=None) for times in _each(lights, "dawn", "sunrise"))
    fall, dark = (min(filter(None, times), default=None) for times in _each(lights, "sunset", "dusk"))
    words = _words(date, (light, rise, fall, dark), least.sun, twilight=True)
    return Daylight(least.noon, light, rise, fall, dark, least.sun, words)


def _each(lights: Sequence[Daylight], *names: str) -> Iterator[list[dt.datetime | None]]:
    return ([getattr(light, name) for light in lights] for name in names)


def _crossing(
    height_deg: Callable[[dt.datetime], float],
    noon: dt.datetime,
    altitude_deg: float,
    side: int,
    zone: ZoneInfo,
) -> dt.datetime | None:
    """Find by halving when the sun crosses an altitude in the half day before or after noon."""
    above, below = noon, noon + side * _HALF_DAY
    if height_deg(above) <= altitude_deg or height_deg(below) >= altitude_deg:
        return None
    while abs(below - above) > _SECOND:
        middle = above + (below - above) / 2
        if height_deg(middle) > altitude_deg:
            above = middle
        else:
            below = middle
    return above.astimezone(zone)


def _words(
    date: dt.date, times: Sequence[dt.datetime | None], sun: str, *, twilight: bool
) -> tuple[str, ...]:
    light, rise, fall, dark = times
    if sun == "up all day":
        first = "The sun does not set"
    elif sun == "down all day":
        first = "The sun does not rise"
    else:
        risen = f"Sunrise {shown_clock(rise, 'late')}" if rise else "No sunrise that morning"
        fallen = f"sunset {shown_clock(fall, 'early')}" if fall else "no sunset that night"
        first = f"{risen}, {fallen}"
    if light and dark:
        second = f"civil twilight {shown_clock(light, 'late')} to {shown_clock(dark, 'early')}"
    elif twilight:
        second = "civil twilight lasts through the night"
    else:
        second = "there is no civil twilight"
    return (
        f"{first} on {date.isoformat()}; {second}.",
        "For a level horizon: hills take the sun away sooner and bring it later.",
    )


def shown_clock(instant: dt.datetime, side: str) -> str:
    """Clock time with its zone's short name, ``16:04 GMT``, to the minute, rounded against the reader.

    ``late`` rounds up (arrivals, sunrise), ``early`` down (sunset).
    """
    seconds = instant.second + instant.microsecond / 1e6
    shown = instant.replace(second=0, microsecond=0)
    if side == "late" and round_up(seconds, 60.0) > 0.0:
        shown = _later(shown, 1.0)
    return f"{shown:%H:%M} {shown.tzname()}"


def needs_zone(start: dt.datetime) -> DateError:
    """Error of a start whose time zone is not known."""
    return DateError(f"A start needs its time zone; got {start:%H:%M} without. Add --zone.")


def _later(start: dt.datetime, minutes: float) -> dt.datetime:
    """Add elapsed minutes: on local times Python adds what the wall clock shows instead."""
    return (start.astimezone(dt.UTC) + dt.timedelta(minutes=minutes)).astimezone(start.tzinfo)


def arrivals(start: dt.datetime, times_min: Sequence[float]) -> tuple[dt.datetime | None, ...]:
    """Arrival at the end of each leg, unrounded, in the zone of `start`.

    None from the first leg on whose minutes are not finite. `DateError` for a start without zone.
    """
    if start.tzinfo is None:
        raise needs_zone(start)
    found: list[dt.datetime | None] = []
    total_min = 0.0
    for time_min in times_min:
        total_min += time_min
        # Beyond a year a clock time says nothing, and Python's calendar ends somewhere.
        found.append(_later(start, total_min) if total_min < 525_600.0 else None)
    return tuple(found)


def daylight_left_min(arrival: dt.datetime, light: Daylight) -> float | None:
    """Minutes from an arrival to sunset, negative after it.

    0 where the sun is down all day; None where it does not set.
    """
    if light.sun == "down all day":
        return 0.0
    if light.sunset is None:
        return None
    elapsed = light.sunset.astimezone(dt.UTC) - arrival.astimezone(dt.UTC)
    return elapsed.total_seconds() / 60.0


def daylight_left_words(arrival: dt.datetime, light: Daylight, *, late: bool = False) -> str:
    """Daylight left, in hours and minutes rounded down; in the dark rounded up.

    ``1 h 05 min before sunset``, ``0 h 20 min after sunset``, ``2 h 10 min before sunrise``, ``the sun
    does not rise``; `late` where one may arrive later: ``at most 1 h 05 min before sunset``.
    """
    if light.sunrise is not None and arrival < light.sunrise:
        dark = arrival.astimezone(dt.UTC) - light.sunrise.astimezone(dt.UTC)
        bound = f"{AT_MOST} " if late else ""
        return f"{bound}{daylight_left(dark.total_seconds() / 60.0)} before sunrise"
    left_min = daylight_left_min(arrival, light)
    if light.sun == "down all day":
        return "the sun does not rise"
    if left_min is None:
        return "the sun does not set"
    side = "after" if left_min < 0.0 else "before"
    return f"{daylight_left(left_min, late=late)} {side} sunset"
