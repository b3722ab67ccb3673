"""``steybrae desk``: draw and move a line on the relief of a model, in a browser."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.common import BandOptions
from steybrae.cli.options.day import CardMap, DayOptions, LegForecastOptions
from steybrae.cli.options.groups import Group, flag, option
from steybrae.cli.options.model import (
    CorridorOptions,
    LineOptions,
    ModelOptions,
    ReachOptions,
    screening_settings,
)
from steybrae.cli.route import MapInterval
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.route.legs import Route


@dataclass(frozen=True)
class ServerOptions(Group, panel="The page"):
    """How the page is reached."""

    port: int | None = option(
        "--port", "Port on this machine; a free one if not given.", "N", limits={"min": 0, "max": 65535}
    )
    no_browser: bool = flag("--no-browser", "Print the address, and open no browser.")


def desk(
    ctx: typer.Context,
    line: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="LINE...", help="Lines to begin with: GPX, GeoJSON or CSV; the main one first."
        ),
    ] = None,
    *,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="Begin with the line of a saved plan.", metavar="FILE")
    ] = None,
    model: ModelOptions,
    cut: LineOptions,
    sheet: MapInterval,
    card: CardMap,
    corridor: CorridorOptions,
    bands: BandOptions,
    zones: ReachOptions,
    forecast: LegForecastOptions,
    day: DayOptions,
    server: ServerOptions,
) -> None:
    """Draw and move a line on the relief of your model, and see what it meets, in your browser.

    The page is served to this machine alone. It decides nothing.
    """
    from dataclasses import replace

    from steybrae.cli.options.common import repeating_options, run_origin
    from steybrae.cli.options.settings_file import taken_caution
    from steybrae.desk.opened import DeskAsk
    from steybrae.pages.desk import EXTRA, missing_extra

    try:
        from steybrae.desk.server import serve
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in EXTRA:
            raise
        raise missing_extra() from error
    told = taken_caution()
    typed = repeating_options(
        ctx, (ModelOptions, MapInterval, CorridorOptions, BandOptions, ReachOptions, LegForecastOptions)
    )
    ask = DeskAsk(
        paths=model.paths,
        settings=screening_settings(bands, model, zones, corridor, sheet),
        card=_day_today(day).settings(card),
        z_unit=model.z_unit,
        lines=_lines(line or (), plan, cut, sample=model.sample),
        forecast=forecast.read(),
        cautions=() if told is None else (told,),
        origin=replace(run_origin(ctx, (), forecast.bulletin), command=typed),
    )
    serve(ask, server.port or 0, tell=typer.echo, browser=not server.no_browser)


def _day_today(day: DayOptions) -> DayOptions:
    """Take today where no day was given: the page has a field for it."""
    from dataclasses import replace

    return day if day.date is not None else replace(day, date=dt.date.today().isoformat())


def _lines(
    paths: list[Path] | tuple[()], plan: Path | None, cut: LineOptions, *, sample: bool
) -> tuple[Route, ...]:
    from steybrae.errors import RouteError

    if plan is None:
        return cut.planned_lines(paths, sample=sample) if paths or sample else ()
    if paths:
        message = "The desk begins with lines or with a saved plan; got both. Leave one out."
        raise RouteError(message)
    from steybrae.files.plans import read_plan
    from steybrae.route.legs import Route

    read = read_plan(plan)
    points = read.leg_ends
    return (Route(read.name, points, tuple(range(len(points)))),)
