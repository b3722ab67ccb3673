"""Forecast bulletins from files: the open standard CAAML v6 in JSON.

Read strictly where a wrong value would mislead (an unknown level, type, sector, period, bound or
time is refused, by the key's place in the file) and patiently elsewhere: keys that the standard
does not know are kept and noted, names of its older drafts are taken. The standard's pattern for
bounds is not anchored, so that it lets ``1850`` and worse pass: bounds are checked here.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import field
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
    BulletinFile,
    DangerRating,
    Elevation,
    Region,
    Texts,
    parse_moment,
)
from steybrae.names import clean
from steybrae.terrain.attributes import SECTORS

_At = Callable[[str], tuple[Any, str]]

MOST_TEXT: Final = 20_000
"""Longest text of a bulletin, characters (our choice: five printed pages)."""

MOST_ITEMS: Final = 250_000
"""Most items of all lists of a file (our choice: those of ten thousand bulletins)."""

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


def _shown(value: Any) -> str:
    text = json.dumps(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _refuse(where: str, expected: str, value: Any) -> BulletinError:
    message = (
        f"The forecast's {where} should be {expected}; got {_shown(value)}. Get the file again, or read the "
        "bulletin by eye."
    )
    return BulletinError(message)


@dataclasses.dataclass(eq=False)
class Reader:
    """Reads the parts of a bulletin and counts what it takes though the standard has it otherwise."""

    notes: dict[str, int] = field(default_factory=dict)
    items: int = 0

    def _note(self, text: str) -> None:
        self.notes[text] = self.notes.get(text, 0) + 1

    def told(self) -> tuple[str, ...]:
        """Give the notes, each once."""
        lines = [f"{text}{f' ({count} times)' if count > 1 else ''}." for text, count in self.notes.items()]
        more = len(lines) - _MOST_NOTES
        return (*lines[:_MOST_NOTES], *([f"And {more} more notes of that kind."] if more > 0 else []))

    def list_of(self, value: Any, where: str) -> list[Any]:
        """Give a list, or refuse."""
        if not isinstance(value, list):
            raise _refuse(where, "a list", value)
        self.items += len(value)
        if self.items > MOST_ITEMS:
            message = (
                f"The lists of a forecast file should have at most {MOST_ITEMS} items together; {where} "
                "brings more. Take the bulletins of one day and your regions."
            )
            raise BulletinError(message)
        return value

    def _opened(self, value: Any, where: str) -> tuple[dict[str, Any], _At]:
        """Give an object, and what it holds at a key together with where that stands."""
        if not isinstance(value, dict):
            raise _refuse(where, "an object", value)
        return value, lambda key: (value.get(key), f"{where}.{key}")

    def _text(self, value: Any, where: str) -> str | None:
        if value is None:
            return None
        if not isinstance(value, str):
            raise _refuse(where, "text", value)
        return clean(value, MOST_TEXT)

    def _moment(self, value: Any, where: str) -> str | None:
        text = self._text(value, where)
        if text is not None:
            try:
                parse_moment(text, where)
            except DateError as error:
                raise _refuse(where, "an ISO 8601 date and time with its zone", value) from error
        return text

    def _one_of(self, value: Any, where: str, allowed: tuple[str, ...]) -> str:
        if not isinstance(value, str) or value not in allowed:
            raise _refuse(where, f"one of {', '.join(allowed)}", value)
        return value

    def _maybe_one_of(self, value: Any, where: str, allowed: tuple[str, ...]) -> str | None:
        return None if value is None else self._one_of(value, where, allowed)

    def _each(self, value: Any, where: str, read: Callable[[Any, str], Any]) -> tuple[Any, ...]:
        if value is None:
            return ()
        return tuple(read(item, f"{where}[{k}]") for k, item in enumerate(self.list_of(value, where)))

    def extras(self, into: dict[str, str], item: dict[str, Any], known: frozenset[str], where: str) -> None:
        """Keep what the standard does not know, and note it."""
        for key in item.keys() - known - _ALWAYS:
            self._note(f"The key {key!r:.60} is none of the standard's here; it was kept and not read")
            into[clean(f"{where}.{key}")] = json.dumps(item[key])[:_MOST_EXTRA_CHARS]

    def bulletin(self, value: Any, where: str) -> Bulletin:
        """Read one bulletin; a value that the standard does not allow is refused, named by its place."""
        (item, at), extras = self._opened(value, where), dict[str, str]()
        self.extras(extras, item, _BULLETIN_KEYS, where)
        start, end = self._valid_time(*at("validTime"))
        unscheduled = item.get("unscheduled")
        if unscheduled is not None and not isinstance(unscheduled, bool):
            raise _refuse(where + ".unscheduled", "true or false", unscheduled)
        return Bulletin(
            bulletin_id=self._text(*at("bulletinID")),
            lang=self._text(*at("lang")),
            publication_time=self._moment(*at("publicationTime")),
            valid_from=start,
            valid_to=end,
            next_update=self._moment(*at("nextUpdate")),
            unscheduled=unscheduled,
            source=self._source(*at("source")),
            regions=self._each(*at("regions"), self._region),
            danger_ratings=self._each(*at("dangerRatings"), lambda v, w: self._rating(v, w, extras)),
            avalanche_problems=self._each(*at("avalancheProblems"), lambda v, w: self._problem(v, w, extras)),
            highlights=self._text(*at("highlights")),
            texts=self._texts(item, where),
            tendency=self._tendency(*at("tendency")),
            extras=extras,
        )

    def _valid_time(self, value: Any, where: str) -> tuple[str | None, str | None]:
        if value is None:
            return None, None
        _, at = self._opened(value, where)
        start = self._moment(*at("startTime"))
        end = self._moment(*at("endTime"))
        if start is not None and end is not None and parse_moment(end, where) < parse_moment(start, where):
            raise _refuse(where + ".endTime", f"no earlier than startTime {start}", end)
        return start, end

    def _region(self, value: Any, where: str) -> Region:
        item, at = self._opened(value, where)
        if "regionID" not in item and "id" in item:
            self._note("A region has the older drafts' key 'id'; it was read as 'regionID'")
            region_id, key = self._text(*at("id")), "id"
        else:
            region_id, key = self._text(*at("regionID")), "regionID"
        if region_id is None:
            raise _refuse(".".join((where, key)), "the region's ID", item.get(key))
        return Region(region_id, self._text(*at("name")))

    def _rating(self, value: Any, where: str, extras: dict[str, str]) -> DangerRating:
        item, at = self._opened(value, where)
        self.extras(extras, item, _RATING_KEYS, where)
        return DangerRating(
            main_value=self._one_of(*at("mainValue"), DANGER_VALUES),
            elevation=self._elevation(*at("elevation"), extras),
            aspects=self._aspects(*at("aspects")),
            valid_time_period=self._period(*at("validTimePeriod")),
        )

    def _problem(self, value: Any, where: str, extras: dict[str, str]) -> AvalancheProblem:
        item, at = self._opened(value, where)
        self.extras(extras, item, _PROBLEM_KEYS, where)
        kind = item.get("problemType")
        if isinstance(kind, str) and kind in _OLD_PROBLEMS:
            self._note(f"The older drafts' {kind!r} was read as {_OLD_PROBLEMS[kind]!r}")
            kind = _OLD_PROBLEMS[kind]
        return AvalancheProblem(
            problem_type=self._one_of(kind, f"{where}.problemType", PROBLEM_TYPES),
            elevation=self._elevation(*at("elevation"), extras),
            aspects=self._aspects(*at("aspects")),
            valid_time_period=self._period(*at("validTimePeriod")),
            comment=self._text(*at("comment")),
            avalanche_size=self._size(*at("avalancheSize")),
            snowpack_stability=self._maybe_one_of(*at("snowpackStability"), STABILITIES),
            frequency=self._maybe_one_of(*at("frequency"), FREQUENCIES),
            danger_rating_value=self._maybe_one_of(*at("dangerRatingValue"), DANGER_VALUES),
        )

    def _period(self, value: Any, where: str) -> Any:
        return PERIODS[0] if value is None else self._one_of(value, where, PERIODS)

    def _size(self, value: Any, where: str) -> float | None:
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 1 <= value <= 5:
            raise _refuse(where, "a number from 1 to 5", value)
        return float(value)

    def _aspects(self, value: Any, where: str) -> tuple[str, ...]:
        allowed = (*SECTORS, _NOT_APPLICABLE)
        named: tuple[str, ...] = self._each(
            value, where, lambda item, here: self._one_of(item, here, allowed)
        )
        if _NOT_APPLICABLE in named:
            self._note("Aspects say 'n/a'; where no sector stands beside it, all aspects were taken")
        return tuple(name for name in dict.fromkeys(named) if name != _NOT_APPLICABLE)

    def _elevation(self, value: Any, where: str, extras: dict[str, str]) -> Elevation | None:
        if value is None:
            return None
        item, at = self._opened(value, where)
        self.extras(extras, item, frozenset({"lowerBound", "upperBound"}), where)
        low, high = (self._bound(*at(key)) for key in ("lowerBound", "upperBound"))
        if low is not None and high is not None and TREELINE not in (low, high) and int(low) > int(high):
            raise _refuse(where + ".upperBound", f"no lower than lowerBound {low}", high)
        return Elevation(low, high)

    def _bound(self, value: Any, where: str) -> str | None:
        if value is None:
            return None
        if not isinstance(value, str) or not re.fullmatch(r"treeline|0|[1-9][0-9]{0,3}", value):
            raise _refuse(where, 'text of whole metres in hundreds, like "1800", or "treeline"', value)
        if value != TREELINE and int(value) % 100:
            self._note(
                f"The bound {value!r} is not in whole hundreds of metres, as the standard has it; it was "
                "taken as written"
            )
        return value

    def _source(self, value: Any, where: str) -> tuple[str, ...]:
        if value is None:
            return ()
        item, at = self._opened(value, where)
        found: list[str] = []
        for kind in ("provider", "person"):
            if item.get(kind) is not None:
                found += self._names(*at(kind))
        return tuple(found)

    def _names(self, value: Any, where: str) -> list[str]:
        item, at = self._opened(value, where)
        found = [self._text(*at(key)) for key in ("name", "website")]
        more = [] if item.get("contactPerson") is None else self._names(*at("contactPerson"))
        return [text for text in found if text] + more

    def _texts(self, item: dict[str, Any], where: str) -> dict[str, Texts]:
        found: dict[str, Texts] = {}
        for key, name in _TEXT_KEYS.items():
            value = item.get(key)
            if value is None:
                continue
            if key == "wxSynopsis":
                self._note("The older drafts' key 'wxSynopsis' was read as 'weatherForecast'")
            read = self._one_text(value, f"{where}.{key}")
            found[key if name in found and found[name] != read else name] = read
        return found

    def _one_text(self, value: Any, where: str) -> Texts:
        if isinstance(value, str):
            return Texts(None, self._text(value, where))
        _, at = self._opened(value, where)
        return Texts(
            self._text(*at("highlights")),
            self._text(*at("comment")),
        )

    def _tendency(self, value: Any, where: str) -> tuple[dict[str, str], ...]:
        if isinstance(value, dict):
            self._note("The older drafts' 'tendency' as an object was read as a list of one")
            value = [value]
        found: tuple[dict[str, str], ...] = self._each(value, where, self._one_tendency)
        return found

    def _one_tendency(self, value: Any, where: str) -> dict[str, str]:
        _, at = self._opened(value, where)
        kind = self._maybe_one_of(*at("tendencyType"), ("decreasing", "steady", "increasing"))
        start, end = self._valid_time(*at("validTime"))
        told = {
            "tendency_type": kind,
            "valid_from": start,
            "valid_to": end,
            "highlights": self._text(*at("highlights")),
            "comment": self._text(*at("comment")),
        }
        return {key: text for key, text in told.items() if text is not None}


MOST_FILE_BYTES: Final = 24_000_000
"""Largest file read, bytes (our choice: a continent's bulletins of a day are some megabytes)."""


def read_bulletins(path: Path) -> BulletinFile:
    """Read a file of bulletins, CAAML v6 as JSON, up to 24 MB: every rating and problem is in it.

    `FileReadError` where it is missing, too large, not text, or not JSON; `BulletinError` for a
    value that the standard does not allow, named by its place.
    """
    try:
        return _read(_parsed(path), path)
    except RecursionError as error:
        message = f"The forecast file {path.name} should be CAAML v6; it is nested too deep. Get it again."
        raise FileReadError(message) from error


def _read(tree: Any, path: Path) -> BulletinFile:
    reader = Reader()
    if not isinstance(tree, dict) or "bulletins" not in tree:
        message = (
            f"A forecast file should be CAAML v6 JSON, an object with 'bulletins'; {path.name} is not. "
            "Get the bulletin in that form, or read it by eye."
        )
        raise BulletinError(message)
    items = reader.list_of(tree["bulletins"], "bulletins")
    reader.extras({}, tree, frozenset({"bulletins"}), "")
    found = tuple(reader.bulletin(item, f"bulletins[{k}]") for k, item in enumerate(items))
    return BulletinFile(clean(path.name), found, reader.told())


def _parsed(path: Path) -> Any:
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        message = f"The forecast file {path} could not be read: {reason}. Check the path."
        raise FileReadError(message) from error
    if len(raw) > MOST_FILE_BYTES:
        message = (
            f"A forecast file should have at most {MOST_FILE_BYTES // 10**6} MB; {path.name} has more. Take "
            "the bulletins of one day and your regions."
        )
        raise FileReadError(message)
    try:
        return json.loads(raw.decode("utf-8-sig"), object_pairs_hook=_no_repeats, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        message = f"The forecast file {path.name} should be text in UTF-8; it is not. Get it again."
        raise FileReadError(message) from error
    except BulletinError:
        raise
    except ValueError as error:
        message = f"The forecast file {path.name} should be JSON; it is not ({error!s:.100}). Get it again."
        raise FileReadError(message) from error


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) < len(pairs):
        counts = Counter(name for name, _ in pairs)
        twice = counts.most_common(1)[0][0]
        message = (
            f"Every key of a forecast should stand once; {twice!r:.60} stands twice in one object, and which "
            "of the two holds cannot be told. Get the file again."
        )
        raise BulletinError(message)
    return out


def _no_constant(name: str) -> Any:
    message = f"numbers should be finite; got {name}"
    raise ValueError(message)
