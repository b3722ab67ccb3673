"""A forecast beside a line or a place, on a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from steybrae.forecast.beside import ForecastBeside, LegForecast, NamedAtPlace, NamedOnLeg
from steybrae.forecast.levels import level_words
from steybrae.show.forecast_words import (
    REDUCTION_WORDS,
    crossed_text,
    finding_lines,
    head_line,
    part_lines,
    plain,
    reduction_cells,
    text_lines,
)

__all__ = ["forecast_tables", "print_findings", "print_forecast"]

_AT_ONCE = 6


def print_findings(forecast: ForecastBeside | None, to: Console) -> None:
    """Print what has to be seen before anything else."""
    for line in finding_lines(forecast):
        to.print(Text(line, style="bold"))
    if forecast is not None:
        for bulletin in forecast.bulletins:
            to.print(Text(f"Avalanche forecast below: {head_line(bulletin, forecast.region_asked)}."))
        for leg in forecast.legs:
            for finding in leg.findings:
                to.print(Text(f"Leg {leg.number}: {plain(finding.text)}", style="bold"))
    to.print()


def print_forecast(forecast: ForecastBeside | None, to: Console) -> None:
    """Print `forecast_tables`; nothing without a forecast, which `print_findings` has said."""
    if forecast is not None:
        to.print(forecast_tables(forecast))


def forecast_tables(forecast: ForecastBeside) -> RenderableType:
    """Say what the forecasters wrote, and which ground of each leg it names.

    Parameters
    ----------
    forecast
        The result; every figure shown is in it.

    Returns
    -------
    rich renderable
    """
    lines: list[RenderableType] = [Text(), Text(f"Avalanche forecast ({forecast.file})", style="bold")]
    for bulletin in forecast.bulletins:
        lines.append(Text(f"  {head_line(bulletin, forecast.region_asked)}."))
        lines += [Text(f"  {line}") for line in part_lines(bulletin)]
        lines += [Text(f"  {line}") for line in text_lines(bulletin)]
    lines += [Text(f"  Note: {plain(note)}") for note in forecast.notes]
    if forecast.bulletins:
        lines += _legs(forecast.legs)
        lines += [Text(line) for line in _place(forecast.place)]
        lines += _reduction(forecast.legs)
        lines += [Text(), *(Text(line) for line in forecast.words)]
    return Group(*lines)


def _legs(legs: Sequence[LegForecast]) -> Iterator[RenderableType]:
    if not legs or not legs[0].named:
        return
    count = len(legs[0].named)
    for start in range(0, count, _AT_ONCE):
        part = range(start, min(start + _AT_ONCE, count))
        table = Table(
            box=box.SIMPLE_HEAD,
            padding=(0, 1, 0, 0),
            show_edge=False,
            title="Metres of each leg with named ground: on the line | beside it | overhead (+: or more)",
            title_justify="left",
            title_style="",
        )
        table.add_column("Leg", justify="right")
        for k in part:
            table.add_column(Text(_head(legs[0].named[k])), justify="right", min_width=15)
        for leg in legs:
            table.add_row(str(leg.number), *(_cell(leg.named[k]) for k in part))
        yield Text()
        yield table


def _head(row: NamedOnLeg) -> str:
    value = level_words(row.value) if row.kind == "danger_rating" else row.value
    return f"{value}\n{row.where.replace(', ', chr(10))}"


def _cell(row: NamedOnLeg) -> str:
    if not row.touches and not row.meets_heights and not row.line.at_least:
        return "-"
    if not row.touches and row.kind == "danger_rating" and not row.line.at_least:
        return "its heights"
    return " | ".join(crossed_text(ground) for ground in (row.line, row.corridor, row.overhead))


def _place(rows: Sequence[NamedAtPlace]) -> Iterator[str]:
    if rows:
        yield "  Which of it names ground at this place:"
    for row in rows:
        value = level_words(row.value) if row.kind == "danger_rating" else row.value
        within = "names ground within the circle" if row.within else "names none within the circle"
        if row.within_unknown:
            within += " (some of it unknown)"
        overhead = "and start zones overhead" if row.overhead else "and none overhead"
        if row.overhead_unknown:
            overhead += " (some unknown)"
        facing = f", facing {' '.join(row.sectors)}" if row.within and row.sectors else ""
        yield f"  {value}, {row.where}: {within}{facing}, {overhead}"


def _reduction(legs: Sequence[LegForecast]) -> Iterator[RenderableType]:
    rows = [(leg.number, leg.reduction) for leg in legs if leg.reduction is not None]
    if not rows:
        return
    yield Text()
    yield Text("For reference, a published method's angles", style="bold")
    yield Text(f"  {rows[0][1].source}")
    yield Text(f"  {REDUCTION_WORDS}")
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False)
    table.add_column("Leg", justify="right")
    table.add_column("Highest level\nthat names it")
    table.add_column("The method's\nangle", justify="right")
    table.add_column("looks at")
    table.add_column("m reaching it\non the line", justify="right")
    table.add_column("beside\nit", justify="right")
    for number, row in rows:
        table.add_row(str(number), *map(Text, reduction_cells(row)))
    yield table
