"""What the page may ask the desk to do, by the name in the address.

An action takes the open desk and the message, and returns what is sent as JSON, or a `Made` file. What
it refuses it raises as one of our errors, whose sentence is sent.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from steybrae.desk.answer import shift
from steybrae.desk.draft import draft, keep
from steybrae.desk.gpx import opened
from steybrae.desk.make import MAKERS, Made
from steybrae.desk.opened import Desk
from steybrae.desk.place import place_under
from steybrae.desk.typed import typed

Action = Callable[[Desk, Any], Any]


ACTIONS: Final[dict[tuple[str, str], Action]] = {
    ("POST", "place"): place_under,
    ("POST", "typed"): typed,
    ("POST", "open"): opened,
    ("GET", "draft"): draft,
    ("PUT", "draft"): keep,
    **{("POST", f"make/{name}"): maker for name, maker in MAKERS.items()},
    ("POST", "shift"): shift,
}
"""By method and path; a message to ``open`` is the bytes of a file, those to others are JSON objects."""

MADE: Final = tuple(MAKERS)
"""What ``make/`` can make."""

__all__ = ["ACTIONS", "MADE", "Action", "Made"]
