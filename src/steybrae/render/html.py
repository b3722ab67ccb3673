"""A document as a piece of a page."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from steybrae.bands import in_degrees
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

if TYPE_CHECKING:
    from jinja2 import Environment


def html_fragment(document: Document) -> str:
    """Blocks as a part of somebody else's page, such as a notebook: every text escaped, no network."""
    blocks = [_block(one) for one in document.blocks]
    return str(templates("steybrae.render").get_template("fragment.html.j2").render(blocks=blocks))


UNITS: Final = "km|m|cm|mm|ft|h|min|%|degrees|percent|metres|minutes"
"""Units that stand after their number with a space between, to be chosen from in a pattern."""

_APART: Final = re.compile(
    r"<(script|style|textarea)\b.*?</\1\s*>|<[^>]*>"
    rf"|(?<=\d) (?=(?:{UNITS})(?!\w))|(?<=°)(?=\+)",
    re.DOTALL,
)
"""Elements and tags, which stay as they are; and where a number would be parted from its unit or its plus."""


def unbroken(page: str) -> str:
    """Let no line of a page end between a number and its unit, or between degrees and their plus."""
    return _APART.sub(
        lambda found: {" ": "\N{NO-BREAK SPACE}", "": "\N{WORD JOINER}"}.get(found[0], found[0]), page
    )


@cache
def templates(package: str) -> Environment:
    """Return the templates of a room; what comes from files is escaped in them."""
    from jinja2 import Environment, PackageLoader, StrictUndefined, Template  # noqa: PLC0415  slow to load

    class Whole(Template):
        """A template whose pages keep numbers and units together."""

        def render(self, *given: Any, **named: Any) -> str:
            text = super().render(*given, **named)
            return unbroken(text) if ".html" in (self.name or "") else text

    found = Environment(
        loader=PackageLoader(package, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.template_class = Whole
    found.filters["degrees"] = in_degrees
    return found


def _block(block: Block) -> dict[str, Any]:
    found: dict[str, Any]
    match block:
        case Heading(text, level):
            found = {"kind": "heading", "text": plain(text), "level": level}
        case Paragraph(text, strong):
            found = {"kind": "paragraph", "text": plain(text), "strong": strong}
        case Listing(items):
            found = {"kind": "listing", "items": [plain(item) for item in items]}
        case Table():
            found = {"kind": "table", **_table(block)}
        case Cautions(cautions, whole):
            found = {"kind": "cautions", "items": [one.text if whole else one.line for one in cautions]}
    return found


def html_cells(columns: Iterable[Column], row: Any) -> list[dict[str, Any]]:
    """Text, sorting number and alignment of each cell of a row."""
    return [
        {"text": plain(" ".join(column.lines(row))), "order": column.sorts_by(row), "align": column.align}
        for column in columns
    ]


def _table(table: Table) -> dict[str, Any]:
    rows, foot = ([html_cells(table.columns, row) for row in part] for part in (table.rows, table.foot))
    heads = [
        {"text": plain(column.heading.replace("\n", " ")), "align": column.align} for column in table.columns
    ]
    return {"title": plain(table.title), "heads": heads, "rows": rows, "foot": foot}
