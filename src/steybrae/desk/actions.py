"""What the page may ask the desk to do, by the name in the address.

An action takes the open desk and the message, and returns what is sent as JSON, or a `Made` file. What
it refuses it raises as one of our errors, whose sentence is sent.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from steybrae.desk.answer import answer, shift
from steybrae.desk.opened import Desk
from steybrae.desk.place import place_under

Action = Callable[[Desk, Any], Any]


@dataclass(frozen=True)
class Made:
    """A file that was made.

    Attributes
    ----------
    name
        For saving it.
    kind
        Its media type.
    body
        What it holds.
    """

    name: str
    kind: str
    body: bytes


ACTIONS: Final[dict[tuple[str, str], Action]] = {
    ("POST", "place"): place_under,
    ("POST", "answer"): answer,
    ("POST", "shift"): shift,
}
"""By method and path; a message to ``open`` is the bytes of a file, those to others are JSON objects."""

MADE: Final = ("gpx", "plan", "card", "report", "phone")
"""What ``make/`` can make."""
