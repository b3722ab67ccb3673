"""Forecast bulletins from files: the open standard CAAML v6 in JSON.

Read strictly where a wrong value would mislead (an unknown level, type, sector, period, bound or
time is refused, by the key's place in the file) and patiently elsewhere: keys that the standard
does not know are kept and noted, names of its older drafts are taken. The standard's pattern for
bounds is not anchored, so that it lets ``1850`` and worse pass: bounds are checked here.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any, Final

from steybrae.errors import BulletinError, FileReadError
from steybrae.files.bulletin_parts import Reader
from steybrae.forecast.bulletin import Bulletin
from steybrae.frozen import dataclass
from steybrae.names import clean

MOST_FILE_BYTES: Final = 24_000_000
"""Largest file read, bytes (our choice: a continent's bulletins of a day are some megabytes)."""


@dataclass(frozen=True)
class BulletinFile:
    """What a file held; `notes` say in words what was taken though the standard has it otherwise."""

    name: str
    bulletins: tuple[Bulletin, ...]
    notes: tuple[str, ...]


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
