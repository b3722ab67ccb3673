"""``steybrae route``: where on a planned line, in its corridor and above it, it is steep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.common import BandOptions, OutputOptions
from steybrae.cli.options.day import DayOptions, LegForecastOptions
from steybrae.cli.options.groups import (
    GEOJSON,
    PICTURE,
    PLAN,
    REPORT,
    TABLE,
    Group,
    flag,
    ground_length,
    option,
    written,
)
from steybrae.cli.options.model import (
    CheckedModel,
    CorridorOptions,
    LineOptions,
    ReachOptions,
    screening_settings,
)
from steybrae.cli.options.settings_file import with_taken
from steybrae.cli.progress import Told, progress
from steybrae.frozen import dataclass

if TYPE_CHECKING:
    from steybrae.card import RouteCard
    from steybrae.document import Document
    from steybrae.files.model.rasters import RasterModel
    from steybrae.route.kept import Kept
    from steybrae.route.legs import Route
    from steybrae.screening import RouteScreening, Settings


@dataclass(frozen=True)
class MapInterval(Group, panel="The map"):
    """The printed map."""

    interval_m: float | None = option(
        "--interval",
        "Contour interval of your map, to count ascent on it.",
        "LENGTH",
        read=ground_length("The contour interval"),
        kept="map",
    )


@dataclass(frozen=True)
class RouteOutputs(OutputOptions):
    """Where the answer goes."""

    csv: Path | None = written("--csv", "Write the points along the legs as CSV.", TABLE)
    geojson: Path | None = written("--geojson", "Write them as GeoJSON.", GEOJSON)
    figure: Path | None = written("--figure", "Draw map and profile on A4, as PNG or PDF.", PICTURE)
    bulletin_figure: Path | None = written(
        "--bulletin-figure", "Draw heights against aspects, and the profile (PNG, PDF).", PICTURE
    )
    report: Path | None = written("--report", "Write one page to read, share and print (.html).", REPORT)
    save: Path | None = written("--save", "Keep the whole result as a plan (.zip).", PLAN)

    @property
    def pictured(self) -> bool:
        """Whether an output needs the relief round the line."""
        return (self.figure, self.report, self.save) != (None, None, None)


def _shifts(texts: list[str]) -> tuple[float, ...]:
    read = ground_length("The shift")
    return tuple(dict.fromkeys(map(read, texts)))


@dataclass(frozen=True)
class BesideOptions(Group, panel="Beside the line"):
    """What is held beside the line."""

    shifts_m: tuple[float, ...] = option(
        "--shift",
        "Move the line to either side by so much, like 30m, and tell where a band changes; repeat.",
        "LENGTH",
        default=(),
        read=_shifts,
        typed=list[str],
    )


@dataclass(frozen=True)
class ViewOptions(Group, panel="What is printed besides what matters"):
    """More of the answer."""

    show_legs: bool = flag("--legs", "Print each leg.")
    show_bands: bool = flag("--bands", "Print the metres of each leg in each band.")
    show_overhead: bool = flag("--overhead", "Print what is overhead of each leg, and its checks.")
    show_all: bool = flag("--all", "Print all of it, the cautions in full, and what it rests on.")

    def document(self, found: RouteScreening) -> Document:
        """Put the answer into words, which JSON has no need to load."""
        from steybrae.answers.route import RouteView, route_document

        view = RouteView(self.show_legs, self.show_bands, self.show_overhead, self.show_all)
        return route_document(found, view=view)


def route(
    ctx: typer.Context,
    line: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="ROUTE...",
            help="The planned line: GPX, GeoJSON or CSV; more stand beside it.",
        ),
    ] = None,
    *,
    model: CheckedModel,
    cut: LineOptions,
    sheet: MapInterval,
    corridor: CorridorOptions,
    beside: BesideOptions,
    bands: BandOptions,
    zones: ReachOptions,
    forecast: LegForecastOptions,
    day: DayOptions,
    view: ViewOptions,
    outputs: RouteOutputs,
) -> None:
    """Screen a planned line on an elevation model: the places that matter on it, and why.

    Where the ground is steep that the line touches, or in its corridor, within your position error;
    what is overhead; how well that is known, and what is unknown. It decides nothing.
    """
    from dataclasses import replace
    from functools import partial

    from steybrae.cli.options.common import run_origin
    from steybrae.screening import cross_check_route, screen_route
    from steybrae.screening.screen import Counting

    _refuse_picture(forecast.bulletin, outputs.bulletin_figure)
    _refuse_day(day, outputs.report)
    asked, chosen = forecast.read(), day.of_page()
    outputs.check(*(line or ()), forecast.bulletin, *(model.dem or ()))
    routes = cut.planned_lines(line or (), sample=model.sample)
    planned, several = routes[0], len(routes) > 1 or bool(beside.shifts_m)
    asked_for = screening_settings(bands, model, zones, corridor, sheet)
    with progress() as told:
        with model.opened(asked_for, planned.points) as (dem, settings):
            for_forecast = asked is not None or outputs.save is not None
            counting = Counting(told, "the line", for_forecast=for_forecast)
            found = screen_route(planned, dem, settings, for_forecast=for_forecast, kept=counting)
            if several:
                from steybrae.card.times import usual_time
                from steybrae.screening.compared import compared

                alone = partial(_alone, dem, settings, Counting(told, "lines beside it"))
                found = compared(routes, found, alone, usual_time, beside.shifts_m)
            if outputs.pictured:
                # What only some answers need is not loaded for the others.
                from steybrae.screening.pictures.relief import with_relief

                origin = run_origin(ctx, line or (), forecast.bulletin, sample=model.sample)
                found = replace(with_relief(found, dem), origin=origin)
            if model.cross_check:
                found = replace(found, cross_check=cross_check_route(planned, dem, settings))
        card = None
        if chosen is not None or asked is not None:
            from steybrae.card.forecast import beside_line

            found, card = beside_line(found, chosen, asked)
        found = with_taken(found)
        _write(found, outputs, card, told)
    outputs.show("route lines" if several else "route", found, view.document)


def _alone(model: RasterModel, settings: Settings, kept: Kept, route: Route) -> RouteScreening:
    """Screen a line as if it had been given alone: the model is looked at near it."""
    from dataclasses import replace

    from steybrae.screening import screen_route
    from steybrae.screening.model.look import found_near

    own = replace(settings, model_found=found_near(model, route.points))
    return screen_route(route, model, own, kept=kept)


def _refuse_picture(bulletin: Path | None, picture: Path | None) -> None:
    from steybrae.errors import BulletinError

    if picture is not None and bulletin is None:
        message = "--bulletin-figure belongs to a forecast, which is missing. Add --bulletin FILE."
        raise BulletinError(message)


def _refuse_day(day: DayOptions, report: Path | None) -> None:
    from steybrae.errors import DateError

    if report is None and day.given():
        message = "The day, its times and its party go with --report; it is missing. Add --report FILE."
        raise DateError(message)


def _write(found: RouteScreening, to: RouteOutputs, card: RouteCard | None, told: Told) -> None:
    from steybrae.cli.options.common import write_picture
    from steybrae.files.whole import write_text

    pictures = (to.report, to.save, to.figure, to.bulletin_figure)
    count, done = sum(path is not None for path in pictures), 0

    def begun() -> None:
        nonlocal done
        told("pictures, page and plan", done, count)
        done += 1

    if to.csv is not None or to.geojson is not None:
        from steybrae.answers.points import cautions_path, cautions_text, points_csv, points_geojson
    if to.csv is not None:
        write_text(to.csv, points_csv(found), force=to.force)
        write_text(cautions_path(to.csv), cautions_text(found), force=to.force)
    if to.geojson is not None:
        write_text(to.geojson, points_geojson(found), force=to.force)
    if to.report is not None:
        from steybrae.cli.report import report_to

        begun()
        report_to(to.report, found, card, force=to.force)
    if to.save is not None:
        from steybrae.files.plans import write_plan

        begun()
        write_plan(to.save, found, force=to.force)
    if to.figure is not None:
        from steybrae.figures.route_figure import picture_metadata, route_figure

        begun()
        write_picture(to.figure, route_figure(found), picture_metadata(found), force=to.force)
    if to.bulletin_figure is not None:
        from steybrae.figures.forecast_figure import forecast_figure, forecast_metadata

        begun()
        write_picture(to.bulletin_figure, forecast_figure(found), forecast_metadata(found), force=to.force)
