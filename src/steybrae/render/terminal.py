"""A document on a terminal."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.text import Text

from steybrae.document import (
    Block,
    Cautions,
    Column,
    Document,
    Facts,
    Heading,
    Listing,
    Paragraph,
    Picture,
    Table,
    cell_lines,
    plain,
)

__all__ = ["print_document", "terminal_text"]

_BETWEEN = 2
"""Columns between two items of a line."""


def print_document(document: Document, to: Console) -> None:
    """Print all blocks, wrapped at the terminal's width.

    Control characters of names and texts are replaced, and nothing in them is taken for markup.
    """
    for block in document.blocks:
        for piece in _pieces(block, to.width):
            to.print(piece)


def terminal_text(document: Document, width: int) -> str:
    """Give the same as text, for a file."""
    out = io.StringIO()
    print_document(document, Console(file=out, width=width, highlight=False, color_system=None))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())


def _pieces(block: Block, width: int) -> Iterator[RenderableType]:
    match block:
        case Heading(text, level):
            if level > 1:
                yield Text()
            yield Text(plain(text), style="bold")
        case Paragraph(text, strong):
            yield Text(plain(text), style="bold" if strong else "")
        case Facts(rows):
            yield _facts(rows)
        case Listing(items, _, True):
            yield _Abreast(tuple(plain(item) for item in items))
        case Listing(items, marked):
            for item in items:
                yield from _item(item, width, "  -" if marked else "")
        case Table():
            yield Text()
            yield _table(block)
        case Picture(_, words):
            yield Text(plain(words))
        case Cautions(cautions, whole):
            if whole:
                yield Text()
            yield Text("Cautions", style="bold")
            for one in cautions:
                yield from _item(one.text if whole else one.line, width)


@dataclass(frozen=True)
class _Abreast:
    """Items two to a line where both have room in half of it, in their order."""

    items: tuple[str, ...]

    def __rich_console__(self, _: Console, options: ConsoleOptions) -> Iterator[Text]:
        half = (options.max_width - _BETWEEN) // 2
        line = ""
        for item in self.items:
            if line and len(item) <= half:
                yield Text(line.ljust(half + _BETWEEN) + item)
                line = ""
                continue
            if line:
                yield Text(line)
            line = item
            if len(item) > half:
                yield Text(item)
                line = ""
        if line:
            yield Text(line)


def _item(text: str, width: int, mark: str = "  -") -> Iterator[Text]:
    """Item of a list, its further lines under its first; a letter before two spaces is its mark."""
    if not mark and "  " in text[:4]:
        mark, text = text.split("  ", 1)
    begin = f"{plain(mark)} " if mark else ""
    lines = Text(plain(text)).wrap(Console(), max(width - len(begin), 1))
    for k, line in enumerate(lines):
        yield Text.assemble(" " * len(begin) if k else begin, line)


def _facts(rows: tuple[tuple[str, Any], ...]) -> RenderableType:
    from rich.table import Table as RichTable  # noqa: PLC0415  slow to load, and not every answer has one

    grid = RichTable.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, cell in rows:
        grid.add_row(Text(plain(name)), Text(plain(" ".join(cell_lines(cell)))))
    return grid


def _table(table: Table) -> RenderableType:
    from rich import box  # noqa: PLC0415
    from rich.table import Table as RichTable  # noqa: PLC0415  slow to load, and not every answer has one

    shown = RichTable(
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        show_edge=False,
        title=Text(plain(table.title)) if table.title else None,
        title_justify="left",
    )
    for column in table.columns:
        # Folded where there is no room: a figure must never lose a digit.
        heading = Text(plain(column.heading))
        least = max(map(len, column.heading.split("\n"))) if column.width is None else min(16, column.width)
        shown.add_column(
            heading, justify=column.align, overflow="fold", min_width=least, max_width=column.width
        )
    for part in (table.rows, table.foot):
        for row in part:
            shown.add_row(*(_cell(column, row) for column in table.columns))
        shown.add_section()
    return shown


def _cell(column: Column, row: Any) -> Text:
    return Text(plain("\n".join(column.lines(row))))
