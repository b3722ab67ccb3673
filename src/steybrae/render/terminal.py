"""A document on a terminal."""

from __future__ import annotations

import io
import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final, Literal

import typer

from steybrae.document import (
    Block,
    Cautions,
    Column,
    Document,
    Heading,
    Listing,
    Paragraph,
    Table,
    plain,
)
from steybrae.frozen import dataclass

PLAIN_WIDTH: Final = 120
"""Letters to a line where it is not a terminal that is written to (our choice)."""

NO_CODES: Final = ("dumb", "unknown")
"""Terminals, by the setting TERM, that print codes instead of obeying them (terminfo)."""

_BETWEEN: Final = 2
"""Columns between two items of a line, and between two of a table."""

_SHORT: Final = 16
"""Lines of a table up to it are not broken, letters: ``(27.8 to 28.2°)`` has 15 (our choice)."""

_LONGEST_MARK: Final = 6
"""Letters of the mark of an item and the two spaces after it: ``112a`` is a check's (our choice)."""

_BOLD: Final = "\x1b[1m{}\x1b[0m"

_FIRST_COMBINING: Final = "\u0300"
"""Letters before it take one column each (Unicode, blocks up to Spacing Modifier Letters)."""


def print_document(document: Document) -> None:
    """Print all blocks, wrapped at the terminal's width."""
    on_terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if on_terminal else PLAIN_WIDTH
    bold = on_terminal and os.environ.get("TERM") not in NO_CODES
    typer.echo(terminal_text(document, width, bold=bold), nl=False)


def terminal_text(document: Document, width: int, *, bold: bool = False) -> str:
    """All blocks as text, wrapped to so many letters.

    Control characters of names and texts are replaced, and nothing in them is taken for markup.
    With `bold` what has to be seen first is marked by the codes of terminals.
    """
    lines = (line for block in document.blocks for line in _lines(block, width, bold=bold))
    return "".join(f"{line.rstrip()}\n" for line in lines)


def _lines(block: Block, width: int, *, bold: bool) -> Iterator[str]:
    marked = _BOLD if bold else "{}"
    match block:
        case Heading(text, level):
            yield from [""] * (level > 1)
            yield from map(marked.format, _wrapped(text, width))
        case Paragraph(text, strong):
            yield from map((marked if strong else "{}").format, _wrapped(text, width))
        case Listing(items, _, True):
            yield from _abreast(items, width)
        case Listing(items, marked_by_dashes):
            for item in items:
                yield from _item(item, width, "  -" if marked_by_dashes else "")
        case Table():
            yield from _table(block, width, bold=bold)
        case Cautions(cautions, whole):
            yield from [""] * whole
            yield marked.format("Cautions")
            for one in cautions:
                yield from _item(one.text if whole else one.line, width, "  -")


def _wrapped(text: str, width: int) -> Iterator[str]:
    """Lines of a text, broken at spaces, and inside a word only where it alone is too long.

    Where a line of the text begins with spaces, those that it is broken into do too.
    """
    for whole in plain(text).split("\n"):
        line, indent = "", whole[: min(len(whole) - len(whole.lstrip(" ")), width // 2)]
        for word in re.findall(r"\s*\S+\s*", whole):
            if line and _columns(line) + _columns(word.rstrip()) > width:
                yield line
                line = indent
            line += word
            while _columns(line.rstrip()) > width:
                fits = next(k for k in range(len(line) - 1, 0, -1) if k == 1 or _columns(line[:k]) <= width)
                yield line[:fits]
                line = line[fits:]
        yield line


def _columns(text: str) -> int:
    """Columns of a terminal that a text takes (Unicode Standard Annex 11)."""
    if text.isascii() or max(text) < _FIRST_COMBINING:
        return len(text)
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return len(text) + wide - sum(unicodedata.combining(letter) > 0 for letter in text)


def _abreast(items: tuple[str, ...], width: int) -> Iterator[str]:
    """Items two to a line where both have room, the second in the middle if it can, in their order."""
    middle = (width - _BETWEEN) // 2 + _BETWEEN
    first = ""
    for item in map(plain, items):
        start = max(middle, _columns(first) + _BETWEEN)
        if first and start + _columns(item) > width:
            start = _columns(first) + _BETWEEN
        if first and start + _columns(item) <= width:
            yield first + " " * (start - _columns(first)) + item
            first = ""
            continue
        yield from _hung(first, width)
        first = item
    yield from _hung(first, width)


def _hung(text: str, width: int) -> Iterator[str]:
    """Lines of a text, the further ones under what follows its mark and two blanks."""
    mark, blanks, words = text.partition("  ") if "  " in text[:_LONGEST_MARK] else ("", "", text)
    begin = f"{mark}{blanks}"
    for k, line in enumerate(_wrapped(words, max(width - len(begin), 1)) if words else ()):
        yield f"{' ' * len(begin) if k else begin}{line}"


def _item(text: str, width: int, mark: str) -> Iterator[str]:
    """Item of a list, its further lines under its first; what stands before two spaces is its mark."""
    if not mark and "  " in text[:_LONGEST_MARK]:
        mark, text = text.split("  ", 1)
    begin = f"{plain(mark)} " if mark else ""
    for k, line in enumerate(_wrapped(text, max(width - len(begin), 1))):
        yield f"{' ' * len(begin) if k else begin}{line}"


@dataclass(frozen=True)
class _Told:
    """A column in words: heading, cells of the rows and of the foot."""

    heading: str
    rows: tuple[str, ...]
    foot: tuple[str, ...]
    align: Literal["left", "right"]
    width: int | None

    @property
    def most(self) -> int:
        """Columns that it takes where there is room."""
        lines = "\n".join((self.heading, *self.rows, *self.foot)).split("\n")
        return min(max(map(_columns, lines)), self.width or sys.maxsize)

    @property
    def least(self) -> int:
        """Columns down to which no word of it, and so no figure, is broken, and no short line."""
        words = " ".join((self.heading, *self.rows, *self.foot)).split()
        return min(max([_SHORT, *map(_columns, words)]), self.most)


def _table(table: Table, width: int, *, bold: bool) -> Iterator[str]:
    """Yield a table, in parts below each other where it is too wide, each with the first column."""
    told = [
        _Told(plain(one.heading), _cells(one, table.rows), _cells(one, table.foot), one.align, one.width)
        for one in table.columns
    ]
    title = plain(table.title)
    for part in _parts(told, width):
        yield ""
        yield from _drawn(part, _widths(part, width), title, bold=bold)
        title = ""


def _cells(column: Column, rows: Iterable[Any]) -> tuple[str, ...]:
    return tuple(plain("\n".join(column.lines(row))) for row in rows)


def _parts(told: Sequence[_Told], width: int) -> Iterator[list[_Told]]:
    """Columns that have room beside the first without a word being broken; one at least."""
    first, *others = told
    part, room = [first], width - first.least
    for one in others:
        if len(part) > 1 and one.least + _BETWEEN > room:
            yield part
            part, room = [first], width - first.least
        part.append(one)
        room -= one.least + _BETWEEN
    yield part


def _widths(part: Sequence[_Told], width: int) -> list[int]:
    """Widths of columns: the widest give way first, and break words only where all have given way."""
    widths = [one.most for one in part]
    room = max(width - _BETWEEN * (len(part) - 1), len(part))
    for least in ([one.least for one in part], [1] * len(part)):
        while sum(widths) > room and widths != least:
            give = (k for k in range(len(part)) if widths[k] > least[k])
            widths[max(give, key=lambda k: widths[k])] -= 1
    return widths


def _drawn(part: Sequence[_Told], widths: Sequence[int], title: str, *, bold: bool) -> list[str]:
    from rich import box  # noqa: PLC0415  slow to load, and not every answer has a table
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table as RichTable  # noqa: PLC0415
    from rich.text import Text  # noqa: PLC0415

    shown = RichTable(
        box=box.SIMPLE_HEAD,
        padding=(0, _BETWEEN - 1, 0, 0),
        pad_edge=False,
        show_edge=False,
        title=Text(title) if title else None,
        title_justify="left",
    )
    for one, columns in zip(part, widths, strict=True):
        shown.add_column(Text(one.heading), justify=one.align, overflow="fold", width=columns)
    for row in zip(*(one.rows for one in part), strict=True):
        shown.add_row(*map(Text, row))
    shown.add_section()
    for row in zip(*(one.foot for one in part), strict=True):
        if any(row[1:]):
            shown.add_row(*map(Text, row))
    out = io.StringIO()
    whole = sum(widths) + _BETWEEN * (len(widths) - 1)
    Console(file=out, width=whole, force_terminal=bold, color_system="standard" if bold else None).print(
        shown
    )
    return out.getvalue().splitlines()
