"""A document on a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.table import Table as RichTable
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

__all__ = ["print_document"]

_BETWEEN = 2
"""Columns between two items of a line."""


def print_document(document: Document, to: Console) -> None:
    """Print all blocks, wrapped at the terminal's width.

    Control characters of names and texts are replaced, and nothing in them is taken for markup.
    """
    for block in document.blocks:
        for piece in _pieces(block):
            to.print(piece)


def _pieces(block: Block) -> Iterator[RenderableType]:
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
            yield from (_item(item, "  -" if marked else "") for item in items)
        case Table():
            yield Text()
            yield _table(block)
        case Picture(_, words):
            yield Text(plain(words))
        case Cautions(cautions, whole):
            if whole:
                yield Text()
            yield Text("Cautions", style="bold")
            yield from (_item(one.text if whole else one.line) for one in cautions)


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


def _item(text: str, mark: str = "  -") -> RenderableType:
    """Item of a list, its further lines under its first; a letter before two spaces is its mark."""
    if not mark and "  " in text[:4]:
        mark, text = text.split("  ", 1)
    row = RichTable.grid(padding=(0, 1, 0, 0))
    row.add_column(no_wrap=True)
    row.add_column()
    row.add_row(mark, Text(plain(text)))
    return row


def _facts(rows: tuple[tuple[str, Any], ...]) -> RichTable:
    grid = RichTable.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, cell in rows:
        grid.add_row(Text(plain(name)), Text(plain(" ".join(cell_lines(cell)))))
    return grid


def _table(table: Table) -> RichTable:
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
