"""An answer before it is printed: headings, paragraphs, lists, tables, cautions.

What an answer says is built here once; `steybrae.render` puts it on a terminal, a page or into a
table of text. Nothing here computes or knows a medium.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final, Literal

from steybrae.cautions import Caution
from steybrae.frozen import dataclass
from steybrae.value import UNKNOWN, Value

NONE: Final = "-"
"""Cell of what is known not to be there."""

Cell = Value | str | tuple["Value | str", ...]
"""What stands in a cell; several are lines of it."""


@dataclass(frozen=True, eq=False)
class Column:
    """A column of a table, written once for all media.

    Attributes
    ----------
    key
        Name in files, with its unit: that of the JSON where it has one.
    heading
        For people; may have several lines.
    of
        Cell of a row.
    unit
        Unit that the heading tells: the cells leave it out.
    align
        ``right`` for figures.
    width
        Most letters before a cell is wrapped; None never wraps it.
    order
        What the column sorts by where its cells are words; values sort by their number.
    """

    key: str
    heading: str
    of: Callable[[Any], Cell]
    unit: str = ""
    align: Literal["left", "right"] = "right"
    width: int | None = None
    order: Callable[[Any], float] | None = None

    def lines(self, row: Any) -> tuple[str, ...]:
        """Lines of the cell of a row."""
        return cell_lines(self.of(row), unit=self.unit)

    def sorts_by(self, row: Any) -> float | None:
        """Return what a row sorts by, infinite where unknown; None where its words do."""
        cell = self.of(row)
        if self.order is not None:
            return self.order(row)
        return cell.order if isinstance(cell, Value) else None


@dataclass(frozen=True, eq=False)
class Heading:
    """A heading; level 1 is that of the document."""

    text: str
    level: int = 2


@dataclass(frozen=True, eq=False)
class Paragraph:
    """Running text; `strong` for what has to be seen first."""

    text: str
    strong: bool = False


@dataclass(frozen=True, eq=False)
class Listing:
    """Items of a list; `marked` by dashes where they do not begin with a mark of their own.

    Several short ones may stand `abreast` where there is room.
    """

    items: tuple[str, ...]
    marked: bool = True
    abreast: bool = False


@dataclass(frozen=True, eq=False)
class Table:
    """Rows, each told by all columns; `foot` are rows under a rule."""

    columns: tuple[Column, ...]
    rows: Sequence[Any]
    title: str = ""
    foot: Sequence[Any] = ()


@dataclass(frozen=True, eq=False)
class Cautions:
    """Every caution, whole or in one line each; never left out."""

    cautions: tuple[Caution, ...]
    whole: bool = True


Block = Heading | Paragraph | Listing | Table | Cautions


@dataclass(frozen=True, eq=False)
class Document:
    """Blocks in the order in which a person needs them."""

    title: str
    blocks: tuple[Block, ...]


def listed(heading: str, items: tuple[str, ...]) -> tuple[Block, ...]:
    """Put items under a heading; nothing where there are none."""
    return (Heading(heading), Listing(items)) if items else ()


def stacked(
    heading: str, *columns: Column, align: Literal["left", "right"] = "right", width: int | None = None
) -> Column:
    """One column with the cells of several under each other, for a narrow page."""

    def of(row: Any) -> Cell:
        return tuple(line for one in columns for line in one.lines(row))

    return Column(columns[0].key, heading, of, align=align, width=width)


def worded(column: Column, words: str) -> Column:
    """Put words round the cells of a column, where ``{}`` stands for the figure; not round unknown ones."""

    def of(row: Any) -> Cell:
        *before, figure = column.lines(row)
        return (*before, figure if figure == UNKNOWN else words.format(figure))

    return replace(column, of=of, unit="")


def cell_lines(cell: Cell, *, unit: str = "") -> tuple[str, ...]:
    """Lines of a cell; values leave a unit out that is told elsewhere."""
    if isinstance(cell, Value):
        return cell.figure_lines if unit else cell.lines
    if isinstance(cell, str):
        return tuple(cell.split("\n"))
    return tuple(line for part in cell for line in cell_lines(part, unit=unit))


def or_none(value: Value) -> Cell:
    """Return a length or an area, or the sign for none of it."""
    return value if value.number != 0.0 else NONE


def plain(text: str) -> str:
    """Text without control characters, which a terminal would obey; line feeds and tabs stay."""
    if text.isprintable():
        return text
    return "".join(
        letter if letter in "\n\t" or unicodedata.category(letter)[0] != "C" else "\N{REPLACEMENT CHARACTER}"
        for letter in text
    )
