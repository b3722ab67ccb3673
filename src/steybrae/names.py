"""The one way in for names and other texts that somebody else wrote.

Whatever comes from a route, a log, a bulletin, a plan, a file's name or the command line passes
here, and is from then on harmless in a terminal, in HTML, XML, PDF and CSV.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Final

MOST_NAME: Final = 120
"""Longest name, characters (our choice): a line of a wide terminal."""

JOINERS: Final = "\u200c\u200d"
"""Invisible, but several scripts are not written right without them (Unicode, section 23.2)."""

BROKEN: Final = "\ufffd"
"""Shown where a character was that no output may hold."""

FORMULA: Final = ("=", "+", "-", "@")
"""How a cell begins that spreadsheets run as a formula (OWASP, CSV injection, from memory)."""

_NUMBER: Final = r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?"


def clean(text: str, most: int = MOST_NAME) -> str:
    """Text in one line, without what steers a terminal, turns the writing round or is no character.

    Parameters
    ----------
    most
        Longest text, characters; what is longer ends in an ellipsis.

    Returns
    -------
    str
        Blanks and line breaks of every kind are one space; controls (C0, C1), halves of surrogate
        pairs and codes that are no character are shown as U+FFFD; invisible signs, those that turn
        the direction among them, are gone. A text that was cleaned stays as it is.
    """
    if text.isprintable() and len(text) <= most and "  " not in text and text == text.strip():
        return text
    # Far more than is kept, so that a text of megabytes costs nothing.
    seen = " ".join("".join(map(_seen, text[: 16 * most])).split())
    return seen if len(seen) <= most else f"{seen[: most - 1].rstrip()}…"


def cut(name: str, fits: Callable[[str], bool]) -> str:
    """Name, or as much of both its ends as has room, round an ellipsis: many differ at the last word."""
    shown, kept = name, len(name)
    while kept and not fits(shown):
        kept -= 1
        first = (kept + 1) // 2
        shown = f"{name[:first].rstrip()}…{name[len(name) - kept + first :].lstrip()}"
    return shown


def _seen(letter: str) -> str:
    if letter.isprintable() or letter in JOINERS:
        return letter
    if letter.isspace():
        return " "
    kind = unicodedata.category(letter)
    return "" if kind == "Cf" else letter if kind == "Co" else BROKEN


def defused(text: str) -> str:
    """Cell of a CSV file that no spreadsheet runs: a formula gets an apostrophe before it, a number none."""
    return (
        f"'{text}" if text.lstrip().startswith(FORMULA) and not re.fullmatch(_NUMBER, text.strip()) else text
    )


def undefused(text: str) -> str:
    """Undo `defused`."""
    return text[1:] if text[:1] == "'" and defused(text[1:]) == text else text
