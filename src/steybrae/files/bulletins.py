"""Forecast bulletins from files: the open standard CAAML v6 in JSON.

Read strictly where a wrong value would mislead (an unknown level, type, sector, period, bound or
time is refused, by the key's place in the file) and patiently elsewhere: keys that the standard
does not know are kept and noted, names of its older drafts are taken. The standard's pattern for
bounds is not anchored, so that it lets ``1850`` and worse pass: bounds are checked here.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from steybrae.errors import BulletinError, DateError, FileReadError
from steybrae.forecast.bulletin import (
    DANGER_VALUES,
    FREQUENCIES,
    PERIODS,
    PROBLEM_TYPES,
    STABILITIES,
    TREELINE,
    AvalancheProblem,
    Bulletin,
    DangerRating,
    Elevation,
    Region,
    Texts,
)
from steybrae.forecast.choose import parse_moment
from steybrae.terrain.attributes import SECTORS

__all__ = ["MOST_FILE_BYTES", "BulletinFile", "read_bulletins"]

MOST_FILE_BYTES: Final = 64 * 2**20
"""Largest file read, bytes (our choice: a continent's bulletins of a day are some megabytes)."""

_MOST_NOTES: Final = 20
_MOST_EXTRA_CHARS: Final = 2000

_OLD_PROBLEMS: Final = {"wind_drifted_snow": "wind_slab", "cornice_failure": "cornices"}
"""Names of the standard's older drafts, and those that replaced them."""

_NOT_APPLICABLE: Final = "n/a"
_TEXT_KEYS: Final = {
    "weatherForecast": "weather_forecast",
    "weatherReview": "weather_review",
    "avalancheActivity": "avalanche_activity",
    "snowpackStructure": "snowpack_structure",
    "travelAdvisory": "travel_advisory",
    "wxSynopsis": "weather_forecast",
}
_ALWAYS: Final = frozenset({"metaData", "customData"})
_BULLETIN_KEYS: Final = frozenset(
    {
        "bulletinID",
        "lang",
        "publicationTime",
        "validTime",
        "nextUpdate",
        "unscheduled",
        "source",
        "regions",
        "dangerRatings",
        "avalancheProblems",
        "highlights",
        "tendency",
    }
) | frozenset(_TEXT_KEYS)
_LIMITED_KEYS: Final = frozenset({"elevation", "aspects", "validTimePeriod"})
_RATING_KEYS: Final = _LIMITED_KEYS | {"mainValue"}
_PROBLEM_KEYS: Final = _LIMITED_KEYS | {
    "problemType",
    "comment",
    "avalancheSize",
    "snowpackStability",
    "frequency",
    "dangerRatingValue",
}


@dataclass(frozen=True)
class BulletinFile:
    """What a file held.

    Attributes
    ----------
    name
        Of the file.
    bulletins
        In the order of the file.
    notes
        What was taken though the standard has it otherwise, in words.
    """

    name: str
    bulletins: tuple[Bulletin, ...]
    notes: tuple[str, ...]


def read_bulletins(path: Path) -> BulletinFile:
    """Read a file of bulletins.

    Parameters
    ----------
    path
        CAAML v6 as JSON, up to 64 MB.

    Returns
    -------
    BulletinFile
        Every rating and problem of the file is in it.

    Raises
    ------
    FileReadError
        Missing, too large, not text, or not JSON.
    BulletinError
        A value that the standard does not allow, named by its place.
    """
    try:
        return _read(_parsed(path), path)
    except RecursionError as error:
        message = f"The forecast file {path.name} should be CAAML v6; it is nested too deep. Get it again."
        raise FileReadError(message) from error


def _read(tree: Any, path: Path) -> BulletinFile:
    reader = _Reader()
    if not isinstance(tree, dict) or "bulletins" not in tree:
        message = (
            f"A forecast file should be CAAML v6 JSON, an object with 'bulletins'; {path.name} is not. "
            "Get the bulletin in that form, or read it by eye."
        )
        raise BulletinError(message)
    items = reader.list_of(tree["bulletins"], "bulletins")
    reader.extras({}, tree, frozenset({"bulletins"}), "")
    found = tuple(reader.bulletin(item, f"bulletins[{k}]") for k, item in enumerate(items))
    return BulletinFile(path.name, found, reader.told())


def _parsed(path: Path) -> Any:
    try:
        size, raw = path.stat().st_size, b""
        if size <= MOST_FILE_BYTES:
            raw = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f"The forecast file {path} could not be read: {reason}. Check the path."
        raise FileReadError(message) from error
    if size > MOST_FILE_BYTES:
        message = (
            f"A forecast file should have at most {MOST_FILE_BYTES // 2**20} MB; {path.name} has "
            f"{math.ceil(size / 2**20)}. Take the bulletins of one day and your regions."
        )
        raise FileReadError(message)
    try:
        return json.loads(raw.decode("utf-8-sig"), object_pairs_hook=_no_repeats, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        message = f"The forecast file {path.name} should be text in UTF-8; it is not. Get it again."
        raise FileReadError(message) from error
    except RecursionError as error:
        message = f"The forecast file {path.name} should be CAAML v6; it is nested too deep. Get it again."
        raise FileReadError(message) from error
    except ValueError as error:
        message = f"The forecast file {path.name} should be JSON; it is not ({error!s:.100}). Get it again."
        raise FileReadError(message) from error


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        message = (
            f"Every key of a forecast should stand once; {twice!r:.60} stands twice in one object, and which "
            "of the two holds cannot be told. Get the file again."
        )
        raise BulletinError(message)
    return out


def _no_constant(name: str) -> Any:
    message = f"numbers should be finite; got {name}"
    raise ValueError(message)


def _shown(value: Any) -> str:
    text = json.dumps(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _refuse(where: str, expected: str, value: Any) -> BulletinError:
    message = (
        f"The forecast's {where} should be {expected}; got {_shown(value)}. Get the file again, or read the "
        "bulletin by eye."
    )
    return BulletinError(message)


@dataclass(eq=False)
class _Reader:
    """Reads the parts of a bulletin and counts what it takes though the standard has it otherwise."""

    notes: dict[str, int] = field(default_factory=dict)

    def note(self, text: str) -> None:
        self.notes[text] = self.notes.get(text, 0) + 1

    def told(self) -> tuple[str, ...]:
        """Give the notes, each once."""
        lines = [f"{text}{f' ({count} times)' if count > 1 else ''}." for text, count in self.notes.items()]
        more = len(lines) - _MOST_NOTES
        return (*lines[:_MOST_NOTES], *([f"And {more} more notes of that kind."] if more > 0 else []))

    def list_of(self, value: Any, where: str) -> list[Any]:
        if not isinstance(value, list):
            raise _refuse(where, "a list", value)
        return value

    def object_of(self, value: Any, where: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise _refuse(where, "an object", value)
        return value

    def text(self, value: Any, where: str) -> str | None:
        if value is None:
            return None
        if not isinstance(value, str):
            raise _refuse(where, "text", value)
        # Half a surrogate pair is no letter and can be neither printed nor saved.
        return value.encode("utf-8", "replace").decode()

    def moment(self, value: Any, where: str) -> str | None:
        text = self.text(value, where)
        if text is not None:
            try:
                parse_moment(text, where)
            except DateError as error:
                raise _refuse(where, "an ISO 8601 date and time with its zone", value) from error
        return text

    def one_of(self, value: Any, allowed: tuple[str, ...], where: str) -> str:
        if not isinstance(value, str) or value not in allowed:
            raise _refuse(where, f"one of {', '.join(allowed)}", value)
        return value

    def maybe_one_of(self, value: Any, allowed: tuple[str, ...], where: str) -> str | None:
        return None if value is None else self.one_of(value, allowed, where)

    def each(self, value: Any, where: str, read: Callable[[Any, str], Any]) -> tuple[Any, ...]:
        if value is None:
            return ()
        return tuple(read(item, f"{where}[{k}]") for k, item in enumerate(self.list_of(value, where)))

    def extras(self, into: dict[str, str], item: dict[str, Any], known: frozenset[str], where: str) -> None:
        for key in item.keys() - known - _ALWAYS:
            self.note(f"The key {key!r:.60} is none of the standard's here; it was kept and not read")
            into[f"{where}.{key}".encode("utf-8", "replace").decode()] = json.dumps(item[key])[
                :_MOST_EXTRA_CHARS
            ]

    def bulletin(self, value: Any, where: str) -> Bulletin:
        item, extras = self.object_of(value, where), dict[str, str]()
        self.extras(extras, item, _BULLETIN_KEYS, where)
        start, end = self.valid_time(item.get("validTime"), f"{where}.validTime")
        unscheduled = item.get("unscheduled")
        if unscheduled is not None and not isinstance(unscheduled, bool):
            raise _refuse(where + ".unscheduled", "true or false", unscheduled)
        return Bulletin(
            bulletin_id=self.text(item.get("bulletinID"), f"{where}.bulletinID"),
            lang=self.text(item.get("lang"), f"{where}.lang"),
            publication_time=self.moment(item.get("publicationTime"), f"{where}.publicationTime"),
            valid_from=start,
            valid_to=end,
            next_update=self.moment(item.get("nextUpdate"), f"{where}.nextUpdate"),
            unscheduled=unscheduled,
            source=self.source(item.get("source"), f"{where}.source"),
            regions=self.each(item.get("regions"), f"{where}.regions", self.region),
            danger_ratings=self.each(
                item.get("dangerRatings"), f"{where}.dangerRatings", lambda v, w: self.rating(v, w, extras)
            ),
            avalanche_problems=self.each(
                item.get("avalancheProblems"),
                f"{where}.avalancheProblems",
                lambda v, w: self.problem(v, w, extras),
            ),
            highlights=self.text(item.get("highlights"), f"{where}.highlights"),
            texts=self.texts(item, where),
            tendency=self.tendency(item.get("tendency"), f"{where}.tendency"),
            extras=extras,
        )

    def valid_time(self, value: Any, where: str) -> tuple[str | None, str | None]:
        if value is None:
            return None, None
        item = self.object_of(value, where)
        start = self.moment(item.get("startTime"), f"{where}.startTime")
        end = self.moment(item.get("endTime"), f"{where}.endTime")
        if start is not None and end is not None and parse_moment(end, where) < parse_moment(start, where):
            raise _refuse(where + ".endTime", f"no earlier than startTime {start}", end)
        return start, end

    def region(self, value: Any, where: str) -> Region:
        item = self.object_of(value, where)
        if "regionID" not in item and "id" in item:
            self.note("A region has the older drafts' key 'id'; it was read as 'regionID'")
            region_id, key = self.text(item["id"], f"{where}.id"), "id"
        else:
            region_id, key = self.text(item.get("regionID"), f"{where}.regionID"), "regionID"
        if region_id is None:
            raise _refuse(".".join((where, key)), "the region's ID", item.get(key))
        return Region(region_id, self.text(item.get("name"), f"{where}.name"))

    def rating(self, value: Any, where: str, extras: dict[str, str]) -> DangerRating:
        item = self.object_of(value, where)
        self.extras(extras, item, _RATING_KEYS, where)
        return DangerRating(
            main_value=self.one_of(item.get("mainValue"), DANGER_VALUES, f"{where}.mainValue"),
            elevation=self.elevation(item.get("elevation"), f"{where}.elevation", extras),
            aspects=self.aspects(item.get("aspects"), f"{where}.aspects"),
            valid_time_period=self.period(item.get("validTimePeriod"), f"{where}.validTimePeriod"),
        )

    def problem(self, value: Any, where: str, extras: dict[str, str]) -> AvalancheProblem:
        item = self.object_of(value, where)
        self.extras(extras, item, _PROBLEM_KEYS, where)
        kind = item.get("problemType")
        if isinstance(kind, str) and kind in _OLD_PROBLEMS:
            self.note(f"The older drafts' {kind!r} was read as {_OLD_PROBLEMS[kind]!r}")
            kind = _OLD_PROBLEMS[kind]
        return AvalancheProblem(
            problem_type=self.one_of(kind, PROBLEM_TYPES, f"{where}.problemType"),
            elevation=self.elevation(item.get("elevation"), f"{where}.elevation", extras),
            aspects=self.aspects(item.get("aspects"), f"{where}.aspects"),
            valid_time_period=self.period(item.get("validTimePeriod"), f"{where}.validTimePeriod"),
            comment=self.text(item.get("comment"), f"{where}.comment"),
            avalanche_size=self.size(item.get("avalancheSize"), f"{where}.avalancheSize"),
            snowpack_stability=self.maybe_one_of(
                item.get("snowpackStability"), STABILITIES, f"{where}.snowpackStability"
            ),
            frequency=self.maybe_one_of(item.get("frequency"), FREQUENCIES, f"{where}.frequency"),
            danger_rating_value=self.maybe_one_of(
                item.get("dangerRatingValue"), DANGER_VALUES, f"{where}.dangerRatingValue"
            ),
        )

    def period(self, value: Any, where: str) -> Any:
        return PERIODS[0] if value is None else self.one_of(value, PERIODS, where)

    def size(self, value: Any, where: str) -> float | None:
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 1 <= value <= 5:
            raise _refuse(where, "a number from 1 to 5", value)
        return float(value)

    def aspects(self, value: Any, where: str) -> tuple[str, ...]:
        allowed = (*SECTORS, _NOT_APPLICABLE)
        named: tuple[str, ...] = self.each(value, where, lambda item, at: self.one_of(item, allowed, at))
        if _NOT_APPLICABLE in named:
            self.note("Aspects say 'n/a'; where no sector stands beside it, all aspects were taken")
        return tuple(name for name in dict.fromkeys(named) if name != _NOT_APPLICABLE)

    def elevation(self, value: Any, where: str, extras: dict[str, str]) -> Elevation | None:
        if value is None:
            return None
        item = self.object_of(value, where)
        self.extras(extras, item, frozenset({"lowerBound", "upperBound"}), where)
        low, high = (self.bound(item.get(key), f"{where}.{key}") for key in ("lowerBound", "upperBound"))
        if low is not None and high is not None and TREELINE not in (low, high) and int(low) > int(high):
            raise _refuse(where + ".upperBound", f"no lower than lowerBound {low}", high)
        return Elevation(low, high)

    def bound(self, value: Any, where: str) -> str | None:
        if value is None:
            return None
        if not isinstance(value, str) or not re.fullmatch(r"treeline|0|[1-9][0-9]{0,3}", value):
            raise _refuse(where, 'text of whole metres in hundreds, like "1800", or "treeline"', value)
        if value != TREELINE and int(value) % 100:
            self.note(
                f"The bound {value!r} is not in whole hundreds of metres, as the standard has it; it was "
                "taken as written"
            )
        return value

    def source(self, value: Any, where: str) -> tuple[str, ...]:
        if value is None:
            return ()
        item = self.object_of(value, where)
        found: list[str] = []
        for kind in ("provider", "person"):
            if item.get(kind) is not None:
                found += self.names(item[kind], f"{where}.{kind}")
        return tuple(found)

    def names(self, value: Any, where: str) -> list[str]:
        item = self.object_of(value, where)
        found = [self.text(item.get(key), f"{where}.{key}") for key in ("name", "website")]
        person = item.get("contactPerson")
        more = [] if person is None else self.names(person, f"{where}.contactPerson")
        return [text for text in found if text] + more

    def texts(self, item: dict[str, Any], where: str) -> dict[str, Texts]:
        found: dict[str, Texts] = {}
        for key, name in _TEXT_KEYS.items():
            value = item.get(key)
            if value is None:
                continue
            if key == "wxSynopsis":
                self.note("The older drafts' key 'wxSynopsis' was read as 'weatherForecast'")
            read = self.one_text(value, f"{where}.{key}")
            found[key if name in found and found[name] != read else name] = read
        return found

    def one_text(self, value: Any, where: str) -> Texts:
        if isinstance(value, str):
            return Texts(None, self.text(value, where))
        item = self.object_of(value, where)
        return Texts(
            self.text(item.get("highlights"), f"{where}.highlights"),
            self.text(item.get("comment"), f"{where}.comment"),
        )

    def tendency(self, value: Any, where: str) -> tuple[dict[str, str], ...]:
        if isinstance(value, dict):
            self.note("The older drafts' 'tendency' as an object was read as a list of one")
            value = [value]
        found: tuple[dict[str, str], ...] = self.each(value, where, self.one_tendency)
        return found

    def one_tendency(self, value: Any, where: str) -> dict[str, str]:
        item = self.object_of(value, where)
        kind = self.maybe_one_of(
            item.get("tendencyType"), ("decreasing", "steady", "increasing"), f"{where}.tendencyType"
        )
        start, end = self.valid_time(item.get("validTime"), f"{where}.validTime")
        told = {
            "tendency_type": kind,
            "valid_from": start,
            "valid_to": end,
            "highlights": self.text(item.get("highlights"), f"{where}.highlights"),
            "comment": self.text(item.get("comment"), f"{where}.comment"),
        }
        return {key: text for key, text in told.items() if text is not None}
