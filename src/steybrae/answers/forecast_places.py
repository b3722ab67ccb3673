"""A forecast beside many places, as blocks of a document."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

from steybrae.answers.forecast import AT_ONCE, finding_blocks, part_head
from steybrae.document import Block, Column, Paragraph, Table, plain
from steybrae.forecast.beside import ForecastBeside, NamedAtPlace
from steybrae.forecast.choose import of_another_time

PlaceForecasts = Sequence[tuple[str, ForecastBeside]]


def places_finding_blocks(places: PlaceForecasts) -> Iterator[Block]:
    """Yield what has to be seen first of a forecast beside places by name, and what it says."""
    if not places:
        yield from finding_blocks(None)
        return
    first = places[0][1]
    shared = [one for one in first.findings if all(one in forecast.findings for _, forecast in places)]
    yield from finding_blocks(replace(first, findings=tuple(shared)), alone=True)
    for name, forecast in places:
        for finding in forecast.findings:
            if finding not in shared:
                yield Paragraph(f"{name}: {plain(finding.text)}", strong=True)


def places_named_blocks(places: PlaceForecasts) -> Iterator[Block]:
    """Yield which of a forecast names ground at each place; nothing of an expired one."""
    parts = places[0][1].place if places and not of_another_time(places[0][1].findings) else ()
    if parts:
        yield Paragraph(
            "Which of the forecast names ground: within the circle | overhead (?: unknown ground may be)"
        )
    named = range(len(parts))
    for start in named[::AT_ONCE]:
        columns = (_place_column(places[0][1], k) for k in named[start : start + AT_ONCE])
        yield Table(
            (Column("name", "Place", lambda at: at[0], align="left"), *columns),
            [(name, forecast.place) for name, forecast in places],
        )


def _place_column(forecast: ForecastBeside, k: int) -> Column:
    return Column(f"named_{k}", part_head(forecast, forecast.place[k]), lambda at: _place_cell(at[1][k]))


def _place_cell(row: NamedAtPlace) -> str:
    grounds = ((row.within, row.within_unknown), (row.overhead, row.overhead_unknown))
    if not any(itertools.chain(*grounds)) and row.kind == "danger_rating" and row.meets_heights:
        return "its heights"
    return " | ".join("yes" if named else "?" if unknown else "-" for named, unknown in grounds)
