"""A forecast beside a line or a place, as blocks of a document."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Final

from steybrae.answers.forecast_words import (
    REDUCTION_WORDS,
    crossed_text,
    finding_lines,
    head_line,
    named_lines,
    part_lines,
    reduction_cells,
    text_lines,
)
from steybrae.document import Block, Column, Heading, Paragraph, Table
from steybrae.forecast.beside import ForecastBeside, LegForecast, NamedAtPlace, NamedOnLeg
from steybrae.forecast.levels import level_words
from steybrae.value import AT_LEAST, distance_off

_AT_ONCE: Final = 6
"""Columns of named ground that an ordinary terminal has room for (our choice)."""

_REDUCTION_HEADS: Final = (
    "Highest level\nthat names it",
    "The method's\nangle",
    "looks at",
    "m reaching it\non the line",
    "in the\ncorridor",
)


def finding_blocks(forecast: ForecastBeside | None, *, alone: bool = False) -> Iterator[Block]:
    """Yield what has to be seen before anything else; with its levels and problems where it stands alone.

    An expired forecast that stands alone is a line: what it said of another day comes with the rest.
    """
    for line in finding_lines(forecast):
        yield Paragraph(line, strong=True)
    if forecast is not None:
        for leg in forecast.legs:
            for finding in leg.findings:
                yield Paragraph(f"Leg {leg.number}: {finding.text}", strong=True)
        expired = any(finding.key == "expired" for finding in forecast.findings)
        for number, bulletin in () if alone and expired else enumerate(forecast.bulletins):
            below = "" if alone else " below"
            yield Paragraph(f"Avalanche forecast{below}: {head_line(bulletin, forecast.region_asked)}.")
            if alone:
                named = partial(named_lines, forecast, number) if forecast.legs else None
                yield from (Paragraph(line) for line in part_lines(bulletin, named))


def forecast_blocks(forecast: ForecastBeside | None) -> Iterator[Block]:
    """Yield what the forecasters wrote, and which ground of each leg it names.

    Nothing without a forecast, which `finding_blocks` has said.
    """
    if forecast is None:
        return
    yield Heading(f"Avalanche forecast ({forecast.file})")
    for bulletin in forecast.bulletins:
        lines = (
            f"{head_line(bulletin, forecast.region_asked)}.",
            *part_lines(bulletin),
            *text_lines(bulletin),
        )
        yield from (Paragraph(line) for line in lines)
    yield from (Paragraph(f"Note: {note}") for note in forecast.notes)
    if forecast.bulletins:
        yield from _legs(forecast.legs)
        yield from (Paragraph(line) for line in _place(forecast.place))
        yield from _reduction(forecast.legs)
        yield from (Paragraph(line) for line in ("", *forecast.words))


def _legs(legs: Sequence[LegForecast]) -> Iterator[Block]:
    if not legs or not legs[0].named:
        return
    named = range(len(legs[0].named))
    for start in named[::_AT_ONCE]:
        columns = (_named(legs[0].named[k], k) for k in named[start : start + _AT_ONCE])
        yield Table(
            (Column("number", "Leg", lambda leg: str(leg.number)), *columns),
            legs,
            "Metres of each leg with named ground: on the line | in the corridor | overhead, how many off "
            f"(+: {AT_LEAST})",
        )


def _named(row: NamedOnLeg, k: int) -> Column:
    return Column(f"named_{k}", _head(row), lambda leg: _cell(leg.named[k]))


def _head(row: NamedOnLeg) -> str:
    value = level_words(row.value) if row.kind == "danger_rating" else row.value
    return f"{value}\n{row.where.replace(', ', chr(10))}"


def _cell(row: NamedOnLeg) -> str:
    if not row.touches and not row.meets_heights and not row.line.at_least:
        return "-"
    if not row.touches and row.kind == "danger_rating" and not row.line.at_least:
        return "its heights"
    off = f", {distance_off(row.overhead.nearest_m).figure} off" if row.overhead.nearest_m else ""
    return " | ".join(crossed_text(ground) for ground in (row.line, row.corridor, row.overhead)) + off


def _place(rows: Sequence[NamedAtPlace]) -> Iterator[str]:
    if rows:
        yield "Which of it names ground at this place:"
    for row in rows:
        value = level_words(row.value) if row.kind == "danger_rating" else row.value
        within = "names ground within the circle" if row.within else "names no ground within the circle"
        if row.within_unknown:
            within += " (some of it unknown)"
        overhead = "names ground of start zones overhead" if row.overhead else "names none overhead"
        if row.overhead_unknown:
            overhead += " (some unknown)"
        facing = f", facing {' '.join(row.sectors)}" if row.within and row.sectors else ""
        yield f"{value}, {row.where}: {within}{facing}, {overhead}"


def _reduction(legs: Sequence[LegForecast]) -> Iterator[Block]:
    rows = [leg for leg in legs if leg.reduction is not None]
    if not rows or rows[0].reduction is None:
        return
    yield Heading("For reference, a published method's angles")
    yield Paragraph(rows[0].reduction.source)
    yield Paragraph(REDUCTION_WORDS)
    yield Table(
        (
            Column("number", "Leg", lambda leg: str(leg.number)),
            *(_reduced(heading, k) for k, heading in enumerate(_REDUCTION_HEADS)),
        ),
        rows,
    )


def _reduced(heading: str, k: int) -> Column:
    return Column(f"reduction_{k}", heading, lambda leg: reduction_cells(leg.reduction)[k], align="left")
