"""What a message may hold: read strictly, refused with a status and a sentence."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from typing import Any, Final

MOST_DEEP: Final = 16
"""Deepest nesting of a message (our choice)."""

_HALF_LETTER: Final = re.compile("[\ud800-\udfff]")

MOST_NUMBER: Final = 1e12
"""Largest number of a message (our choice): a column or row of no model."""


class RefusedError(Exception):
    """A request that is not answered.

    Parameters
    ----------
    status
        HTTP status.
    sentence
        What was expected, what arrived, what to do; it is sent to whoever asked.
    """

    def __init__(self, status: int, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


def read_message(body: bytes) -> dict[str, Any]:
    """Read a message: a JSON object of finite numbers, not nested deeply; all else is refused."""
    wrong = RefusedError(400, "A message should be a JSON object of finite numbers; this one is not.")

    def number(text: str) -> float:
        found = float(text)
        if not math.isfinite(found):
            raise wrong
        return found

    try:
        found = json.loads(body, parse_float=number, parse_constant=number)
    except (ValueError, RecursionError):
        raise wrong from None
    if not isinstance(found, dict) or not _usable(found, MOST_DEEP):
        raise wrong
    return found


def _usable(value: Any, left: int) -> bool:
    """Whether a value is not nested deeply, and its texts can be sent back: none has half a letter."""
    if isinstance(value, str):
        return value.isascii() or not _HALF_LETTER.search(value)
    if not isinstance(value, (dict, list)):
        return True
    inner = [*value, *value.values()] if isinstance(value, dict) else value
    return left > 0 and all(_usable(one, left - 1) for one in inner)


def number_in(message: Mapping[str, Any], name: str) -> float:
    """Take a number of a message or of an address; refused where it is none."""
    value = message.get(name)
    try:
        found = math.nan if isinstance(value, bool) else float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        found = math.nan
    if not abs(found) <= MOST_NUMBER:  # NaN is not either
        raise RefusedError(400, f"A message should hold a number {name}; this one does not.")
    return found
