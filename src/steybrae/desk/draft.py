"""The plan as it is drawn, kept at once: a closed page, a killed program and a second page lose nothing.

Each write has the revision that it was made from; where another page has written since, it is refused
and told what is there.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import field
from typing import Any, Final

from steybrae.desk.guard import RefusedError, number_in, read_message
from steybrae.desk.lines import Drawn, drawn_lines, drawn_of, lines_out, off_model_words
from steybrae.desk.opened import Desk
from steybrae.errors import SteybraeError
from steybrae.files.whole import change_draft, draft_path, put_aside, read_draft
from steybrae.frozen import dataclass

FORM: Final = "steybrae-draft/1"

MOST_FIELD: Final = 1000
"""Longest text of a field of the day, characters (our choice)."""

BEFORE_S: Final = 2.0
"""How long the write before is waited for, seconds: a page that is closed sends its last behind it."""


@dataclass(frozen=True)
class Draft:
    """A plan as it was last drawn: its lines, and fields of the day as typed.

    `revision` counts its writes; 0 where there was none.
    """

    revision: int = 0
    lines: tuple[Drawn, ...] = ()
    day: dict[str, str] = field(default_factory=dict)


class Conflict(Exception):  # noqa: N818  an answer, not an error
    """Another page has written since; `told` is what is there."""

    def __init__(self, told: dict[str, Any]) -> None:
        super().__init__("another page has written since")
        self.told = told


def draft(desk: Desk, _: dict[str, Any]) -> dict[str, Any]:
    """Tell the draft of this model and these lines to begin with."""
    return _told(_read(desk, read_draft(draft_path(_parts(desk)))), desk)


def keep(desk: Desk, message: dict[str, Any]) -> dict[str, Any]:
    """Keep the plan as it is drawn, and tell its new ``revision``.

    The message has the ``revision`` that it was made from, ``lines`` and ``day``; `Conflict` where
    another page has written since.
    """
    new = Draft(
        int(number_in(message, "revision")), drawn_lines(message, desk.grid), _day(message.get("day"))
    )
    path, until = draft_path(_parts(desk)), time.monotonic() + BEFORE_S
    while True:
        there: list[Draft] = []

        def change(text: str | None, there: list[Draft] = there) -> str | None:
            there.append(_read(desk, text))
            return _text(new) if there[0].revision == new.revision else None

        change_draft(path, change)
        if there[0].revision == new.revision:
            return {"revision": new.revision + 1}
        if there[0].revision > new.revision or time.monotonic() > until:
            raise Conflict(_told(there[0], desk))
        time.sleep(0.05)


def _parts(desk: Desk) -> list[str]:
    """Say what a draft belongs to: the model, and the lines that the desk was opened with."""
    places = [f"{p.lat_deg:.7f} {p.lon_deg:.7f}" for line in desk.ask.lines for p in line.points]
    return [*desk.info.fingerprints, *(line.name for line in desk.ask.lines), *places]


def _read(desk: Desk, text: str | None) -> Draft:
    """Read what was kept; what cannot be used is put aside."""
    begun = Draft(0, drawn_of(desk.ask.lines) if desk.ask.lines else ())
    if text is None:
        return begun
    with suppress(SteybraeError, RefusedError):
        found = read_message(text.encode())
        if found.get("form") == FORM:
            lines = drawn_lines(found, desk.grid)
            return Draft(int(number_in(found, "revision")), lines, _day(found.get("day")))
    put_aside(draft_path(_parts(desk)))
    return begun


def _text(new: Draft) -> str:
    lines = [
        {
            "name": line.name,
            "role": line.role,
            "points": [{"lat": p.lat_deg, "lon": p.lon_deg, "name": p.name} for p in line.points],
        }
        for line in new.lines
    ]
    kept = {"form": FORM, "revision": new.revision + 1, "lines": lines, "day": new.day}
    return json.dumps(kept, ensure_ascii=False, allow_nan=False)


def _day(given: Any) -> dict[str, str]:
    fields: Sequence[tuple[Any, Any]] = tuple(given.items()) if isinstance(given, dict) else ()
    if len(fields) > 40 or not all(isinstance(text, str) and len(text) <= MOST_FIELD for _, text in fields):
        raise RefusedError(400, f"The day should have fields of at most {MOST_FIELD} letters; it has others.")
    return {str(name)[:40]: text for name, text in fields}


def _told(kept: Draft, desk: Desk) -> dict[str, Any]:
    lines = lines_out(kept.lines, desk.grid, desk.ask.card.grid)
    notice = off_model_words(kept.lines, desk.grid)
    told = {"revision": kept.revision, "lines": lines, "day": kept.day}
    return told | {"notice": notice} if notice else told
