"""``steybrae route``: where on a planned line, beside it and above it, it is steep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.forecast_options import (
    AtTime,
    BulletinPath,
    ForecastSlope,
    ForecastTyped,
    Language,
    ReductionAngles,
    RegionId,
    Treeline,
)
from steybrae.cli.options import (
    Correlation,
    DemFiles,
    Edges,
    EngineName,
    Force,
    Json,
    Method,
    Reach,
    StartArea,
    StartSlopes,
    VerticalError,
    ZUnit,
)

if TYPE_CHECKING:
    from steybrae.screening import RouteScreening, Settings

__all__ = ["route"]


def route(
    ctx: typer.Context,
    line: Annotated[
        Path | None, typer.Argument(metavar="ROUTE", help="The planned line: GPX, GeoJSON or CSV.")
    ] = None,
    dem: DemFiles = None,
    *,
    sample: Annotated[bool, typer.Option("--sample", help="Screen the invented sample day.")] = False,
    legs_at: Annotated[
        list[str] | None,
        typer.Option("--legs-at", help="Cut a track at a way-point name or a chainage like 1200m; repeat."),
    ] = None,
    turn_tolerance: Annotated[
        str, typer.Option(help="How far a track may bend from its legs before a turn point is set.")
    ] = "25m",
    interval: Annotated[
        str | None, typer.Option("--interval", help="Contour interval of your map, to count ascent on it.")
    ] = None,
    edges: Edges = None,
    place_error: Annotated[
        str | None, typer.Option("--place-error", help="Error of the turn points; 10m if not given.")
    ] = None,
    drift: Annotated[
        float | None, typer.Option("--drift", help="Drift of a walked bearing, degrees; 3 if not given.")
    ] = None,
    method: Method = "horn",
    engine: EngineName = "own",
    cross_check: Annotated[
        bool, typer.Option("--cross-check", help="Compare our slopes with richdem's (optional package).")
    ] = False,
    z_unit: ZUnit = None,
    vertical_error: VerticalError = None,
    correlation: Correlation = None,
    start_slopes: StartSlopes = None,
    start_area: StartArea = None,
    reach: Reach = None,
    bulletin: BulletinPath = None,
    region: RegionId = None,
    at_time: AtTime = None,
    treeline: Treeline = None,
    forecast_slope: ForecastSlope = None,
    language: Language = None,
    reduction_angles: ReductionAngles = False,
    bulletin_figure: Annotated[
        Path | None,
        typer.Option("--bulletin-figure", help="Draw heights against aspects, and the profile (PNG, PDF)."),
    ] = None,
    as_json: Json = False,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the points along the legs as CSV.")] = None,
    geojson: Annotated[Path | None, typer.Option("--geojson", help="Write them as GeoJSON.")] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", help="Draw map and profile on A4, as PNG or PDF.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option("--report", help="Write one page to read, share and print (.html).")
    ] = None,
    save: Annotated[
        Path | None, typer.Option("--save", help="Keep the whole result as a plan (.zip).")
    ] = None,
    force: Force = False,
) -> None:
    """Screen a planned line on an elevation model, leg by leg.

    For each leg: how steep the ground is that the line touches, how steep it is beside it within
    your position error, how well that is known, and what is unknown. It decides nothing.
    """
    from dataclasses import replace

    from steybrae.cli.forecast_options import read_forecast
    from steybrae.cli.inputs import model_settings, open_source, planned_route, with_start_zones
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.cli.origin import run_origin
    from steybrae.cli.pictures import draw_forecast_to, draw_to
    from steybrae.files.whole import check_outputs
    from steybrae.screening import cross_check_route, screen_route

    _check_names((figure, bulletin_figure), report)
    typed = ForecastTyped(
        bulletin, region, at_time, treeline, forecast_slope, language, reduction=reduction_angles
    )
    forecast = read_forecast(typed)
    _refuse_picture(bulletin, bulletin_figure)
    beside = None
    if csv is not None:
        from steybrae.files.points import cautions_path

        beside = cautions_path(csv)
    outputs = [
        path for path in (csv, beside, geojson, figure, bulletin_figure, report, save) if path is not None
    ]
    check_outputs(outputs, [*(path for path in (line, bulletin) if path), *(dem or [])], force=force)
    base = model_settings(edges, method, engine, vertical_error, correlation)
    settings = _settings(
        with_start_zones(base, start_slopes, start_area, reach), interval, place_error, drift
    )
    planned = planned_route(line, legs_at or [], turn_tolerance, sample=sample)
    with open_source(dem, z_unit, settings, sample=sample) as (model, settings):
        found = screen_route(planned, model, settings)
        if figure is not None or report is not None or save is not None:
            # What only some answers need is not loaded for the others.
            from steybrae.screening.relief import with_relief

            origin = run_origin(ctx, line, bulletin, sample=sample)
            found = replace(with_relief(found, model), origin=origin)
        if forecast is not None or save is not None:
            from steybrae.screening.forecast_ground import with_forecast_ground

            found = with_forecast_ground(found, planned, model, settings)
        if cross_check:
            found = replace(found, cross_check=cross_check_route(planned, model, settings))
    if forecast is not None:
        from steybrae.screening.forecast_at import forecast_beside

        found = forecast_beside(found, *forecast)
    _write(found, csv, geojson, report, save, force=force)
    if figure is not None:
        draw_to(figure, found, force=force)
    if bulletin_figure is not None:
        draw_forecast_to(bulletin_figure, found, force=force)
    if as_json:
        print_json("route", found)
        return
    from steybrae.show.forecast_tables import print_findings, print_forecast
    from steybrae.show.tables import print_route

    to = console()
    print_findings(found.forecast, to)
    print_route(found, to)
    print_forecast(found.forecast, to)
    print_cautions(found.cautions, to)


def _check_names(pictures: tuple[Path | None, ...], report: Path | None) -> None:
    from steybrae.cli.pictures import figure_format
    from steybrae.cli.report import check_report

    for picture in pictures:
        if picture is not None:
            figure_format(picture)
    if report is not None:
        check_report(report)


def _refuse_picture(bulletin: Path | None, picture: Path | None) -> None:
    from steybrae.errors import BulletinError

    if picture is not None and bulletin is None:
        message = "--bulletin-figure belongs to a forecast, which is missing. Add --bulletin FILE."
        raise BulletinError(message)


def _settings(base: Settings, interval: str | None, place_error: str | None, drift: float | None) -> Settings:
    from dataclasses import replace

    from steybrae.cli.inputs import length_m
    from steybrae.route.corridor import DRIFT_DEG, PLACE_ERROR_M, check_drift

    error_m = length_m(place_error, "The place error", zero=True)
    return replace(
        base,
        place_error_m=PLACE_ERROR_M if error_m is None else error_m,
        drift_deg=DRIFT_DEG if drift is None else check_drift(drift),
        interval_m=length_m(interval, "The contour interval"),
    )


def _write(
    found: RouteScreening,
    csv: Path | None,
    geojson: Path | None,
    report: Path | None,
    save: Path | None,
    *,
    force: bool,
) -> None:
    from steybrae.files.whole import write_text

    if csv is not None or geojson is not None:
        from steybrae.files.points import cautions_path, cautions_text, points_csv, points_geojson
    if csv is not None:
        write_text(csv, points_csv(found), force=force)
        write_text(cautions_path(csv), cautions_text(found), force=force)
    if geojson is not None:
        write_text(geojson, points_geojson(found), force=force)
    if report is not None:
        from steybrae.cli.report import report_to

        report_to(report, found, force=force)
    if save is not None:
        from steybrae.files.plans import write_plan

        write_plan(save, found, force=force)
