"""What the report says of the lines beside the main one."""

from __future__ import annotations

from typing import Any

from steybrae.answers.leg import (
    LINE_COLUMNS,
    NOT_RANKED,
    band_columns,
    leaves_text,
    moved_items,
    moved_text,
    places_texts,
    way_off_text,
)
from steybrae.document import Column, or_none
from steybrae.render.html import html_cells
from steybrae.screening.compared import RouteLines
from steybrae.screening.result import RouteScreening
from steybrae.value import steep_length

NO_WAY_OFF = "none drawn in this plan"


def ways_off_rows(screening: RouteScreening) -> tuple[str, ...]:
    """Ways off in a line each; that there are none is said."""
    ways = screening.ways_off if isinstance(screening, RouteLines) else ()
    return tuple(map(way_off_text, ways)) or (f"{NO_WAY_OFF}.",)


def lines_content(screening: RouteScreening) -> dict[str, Any]:
    """Give what the template places: tables of lines side by side and of ways off, and the line moved."""
    if not isinstance(screening, RouteLines):
        return {"side_by_side": [], "not_ranked": "", "moved": "", "moved_items": ()}
    lines = screening.lines if len(screening.lines) > 1 else ()
    ways = screening.ways_off
    tables = (
        ("Lines side by side", lines, tuple(places_texts(lines[1:]))),
        ("Ways off", ways, (*map(leaves_text, ways), *places_texts(ways))),
    )
    return {
        "side_by_side": [(head, _table(rows), items) for head, rows, items in tables if rows],
        "not_ranked": NOT_RANKED if lines or ways else "",
        "moved": moved_text(screening.shifts) if screening.shifts else "",
        "moved_items": moved_items(screening.shifts),
    }


def _table(lines: tuple[Any, ...]) -> dict[str, Any]:
    unknown = Column("unknown_m", "unknown", lambda line: or_none(steep_length(line.unknown_m)), "m")
    bands = (*band_columns(lines[0].band_lengths_m), unknown)
    return {
        "heads": [column.heading.replace("\n", " ") for column in LINE_COLUMNS],
        "rows": [html_cells(LINE_COLUMNS, line) for line in lines],
        "band_rows": [(line.name, html_cells(bands, line)) for line in lines],
    }
