"""``steybrae card``: the route card to carry."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
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
from steybrae.errors import BulletinError, DateError, RouteError

if TYPE_CHECKING:
    from steybrae.card import CardSettings, RouteCard
    from steybrae.route.places import Place
    from steybrae.screening import RouteScreening, Settings
    from steybrae.screening.forecast_at import BulletinSource, ForecastAsk
    from steybrae.screening.origin import RunOrigin

    Forecast = tuple[BulletinSource, ForecastAsk]

__all__ = ["card"]

PLAN_SUFFIX = ".zip"
"""A file so called is a saved plan."""


@dataclass(frozen=True)
class _Asked:
    """What the card is of, as typed."""

    line: Path | None
    ends: tuple[str | None, str | None]
    dem: list[Path] | None
    sample: bool
    legs_at: list[str]
    turn_tolerance: str
    z_unit: str | None
    report: bool


def card(
    ctx: typer.Context,
    line: Annotated[
        Path | None,
        typer.Argument(metavar="ROUTE", help="The planned line (GPX, GeoJSON, CSV), or a saved plan (.zip)."),
    ] = None,
    dem: DemFiles = None,
    *,
    date: Annotated[
        str | None, typer.Option("--date", help="Day of the walk, like 2027-01-15.", metavar="DATE")
    ] = None,
    from_place: Annotated[
        str | None, typer.Option("--from", help="Instead of ROUTE: where one leg begins.", metavar="PLACE")
    ] = None,
    to_place: Annotated[
        str | None, typer.Option("--to", help="Where it ends; no model is needed.", metavar="PLACE")
    ] = None,
    sample: Annotated[bool, typer.Option("--sample", help="The card of the invented sample day.")] = False,
    grid: Annotated[
        str, typer.Option("--grid", help="Grid of your map: bng, utm, mgrs, or latlon for none.")
    ] = "latlon",
    scale: Annotated[
        str | None, typer.Option("--scale", help="Scale of your map, for the millimetres.", metavar="1:N")
    ] = None,
    paces: Annotated[
        float | None, typer.Option("--paces", help="Your paces to 100 m, for the pace counts.")
    ] = None,
    unit: Annotated[str, typer.Option("--unit", help="Bearings in deg or mil.")] = "deg",
    start: Annotated[
        str | None, typer.Option("--start", help="Start, like 08:30, for the arrivals.", metavar="HH:MM")
    ] = None,
    zone: Annotated[
        str | None, typer.Option("--zone", help="Time zone of the clock, like Europe/London.")
    ] = None,
    time_rule: Annotated[
        str, typer.Option("--time-rule", help="langmuir, naismith, tobler or swiss.")
    ] = "langmuir",
    flat_kmh: Annotated[
        float, typer.Option("--flat-kmh", help="Pace on the flat for Naismith and Langmuir, km/h.")
    ] = 5.0,
    off_path: Annotated[bool, typer.Option("--off-path", help="For Tobler: no path.")] = False,
    snow: Annotated[float, typer.Option("--snow", help="Times the walking time for snow, 1 to 10.")] = 1.0,
    load: Annotated[float, typer.Option("--load", help="Times the walking time for load, 1 to 10.")] = 1.0,
    breaks: Annotated[float, typer.Option("--breaks", help="Minutes of rest in each hour.")] = 0.0,
    legs_at: Annotated[
        list[str] | None,
        typer.Option("--legs-at", help="Cut a track at a way-point name or a chainage like 1200m; repeat."),
    ] = None,
    turn_tolerance: Annotated[
        str, typer.Option(help="How far a track may bend from its legs before a turn point is set.")
    ] = "25m",
    place_error: Annotated[
        str | None, typer.Option("--place-error", help="Error of the turn points; 10m if not given.")
    ] = None,
    drift: Annotated[
        float | None, typer.Option("--drift", help="Drift of a walked bearing, degrees; 3 if not given.")
    ] = None,
    edges: Edges = None,
    method: Method = "horn",
    engine: EngineName = "own",
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
    as_json: Json = False,
    pdf: Annotated[Path | None, typer.Option("--pdf", help="Write the card as PDF, true to size.")] = None,
    page: Annotated[
        str, typer.Option("--page", help="a4 (folds into two halves) or a5 (lying); for --pdf.")
    ] = "a4",
    report: Annotated[
        Path | None, typer.Option("--report", help="Write one page to read, share and print (.html).")
    ] = None,
    gpx: Annotated[Path | None, typer.Option("--gpx", help="Write route and check places as GPX.")] = None,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the legs as CSV.")] = None,
    geojson: Annotated[
        Path | None, typer.Option("--geojson", help="Write legs and checks as GeoJSON.")
    ] = None,
    force: Force = False,
) -> None:
    """Write the route card: bearings to set, distances, times, what the ground does, what to check.

    From a planned line and a model, from a saved plan alone, or of one leg from place to place
    without a model. Magnetic bearings need the date. It decides nothing.
    """
    from steybrae.cli.forecast_options import read_forecast
    from steybrae.cli.inputs import model_settings, with_start_zones
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.cli.origin import run_origin
    from steybrae.cli.report import check_report, report_to
    from steybrae.files.points import cautions_path
    from steybrae.files.whole import check_outputs
    from steybrae.show.paper import check_page

    check_page(page)
    if report is not None:
        check_report(report)
    beside = None if csv is None else cautions_path(csv)
    outputs = [path for path in (pdf, report, gpx, csv, beside, geojson) if path is not None]
    check_outputs(outputs, [*(path for path in (line, bulletin) if path), *(dem or [])], force=force)
    chosen = _chosen(
        _day(date),
        grid,
        scale,
        paces,
        unit,
        (start, zone),
        (time_rule, flat_kmh, off_path),
        (snow, load, breaks),
    )
    forecast = read_forecast(
        ForecastTyped(
            bulletin, region, at_time, treeline, forecast_slope, language, reduction=reduction_angles
        )
    )
    ends = (from_place, to_place)
    asked = _Asked(line, ends, dem, sample, legs_at or [], turn_tolerance, z_unit, report is not None)
    overhead = (start_slopes, start_area, reach)
    typed = (edges, place_error, drift, vertical_error, correlation, z_unit, *overhead)
    if _is_plan(line):
        _refuse_with_plan(asked, any(value is not None for value in typed))
    settings = with_start_zones(model_settings(edges, method, engine, vertical_error, correlation), *overhead)
    found, screening = _made(asked, _placed(settings, place_error, drift), chosen, forecast)
    _write(found, pdf, page, gpx, csv, geojson, force=force)
    if report is not None and screening is not None:
        origin = screening.origin or run_origin(ctx, line, bulletin, sample=sample)
        report_to(report, _for_report(screening, found, origin), force=force)
    if as_json:
        print_json("card", found)
        return
    from steybrae.show.card_tables import print_card
    from steybrae.show.forecast_tables import print_findings, print_forecast

    to = console()
    print_findings(found.forecast, to)
    print_card(found, to)
    print_forecast(found.forecast, to)
    print_cautions(found.cautions, to)


def _day(text: str | None) -> dt.date:
    if text is None:
        message = (
            "A card needs the day of the walk, for magnetic north wanders; got none. Add --date 2027-01-15."
        )
        raise DateError(message)
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        message = f"A date should look like 2027-01-15; got {text!r}. Give year, month and day."
        raise DateError(message) from None


def _chosen(
    day: dt.date,
    grid: str,
    scale: str | None,
    paces: float | None,
    unit: str,
    clock: tuple[str | None, str | None],
    walking: tuple[str, float, bool],
    more: tuple[float, float, float],
) -> CardSettings:
    from steybrae.card import CardSettings
    from steybrae.quantities import parse_scale
    from steybrae.route.daylight import parse_clock, parse_zone
    from steybrae.route.walking_time import Allowances, leg_time

    start, zone = clock
    allowances = Allowances(more[0], more[1], more[2])
    rule, flat_kmh, off_path = walking
    leg_time((), rule, allowances, flat_kmh=flat_kmh)  # refuses an unknown rule before any work
    if zone is not None:
        parse_zone(zone)
    return CardSettings(
        date=day,
        grid=grid,
        scale=None if scale is None else parse_scale(scale),
        paces_per_100m=paces,
        bearing_unit=unit,
        start=None if start is None else parse_clock(start, day, zone),
        zone=zone,
        method=rule,
        allowances=allowances,
        flat_kmh=flat_kmh,
        off_path=off_path,
    )


def _placed(settings: Settings, place_error: str | None, drift: float | None) -> Settings:
    from dataclasses import replace

    from steybrae.cli.inputs import length_m
    from steybrae.route.corridor import DRIFT_DEG, PLACE_ERROR_M, check_drift

    error_m = length_m(place_error, "The place error", zero=True)
    return replace(
        settings,
        place_error_m=PLACE_ERROR_M if error_m is None else error_m,
        drift_deg=DRIFT_DEG if drift is None else check_drift(drift),
    )


def _is_plan(line: Path | None) -> bool:
    return line is not None and line.suffix.lower() == PLAN_SUFFIX


def _refuse_with_plan(asked: _Asked, settings_given: bool) -> None:
    if asked.dem or asked.sample or asked.legs_at or settings_given:
        message = (
            "A saved plan brings its own model, legs and settings; others were given besides. "
            "Leave them out, or make a new plan."
        )
        raise RouteError(message)


def _made(
    asked: _Asked, settings: Settings, chosen: CardSettings, forecast: Forecast | None
) -> tuple[RouteCard, RouteScreening | None]:
    """Make the card, and return the screening that it rests on."""
    from steybrae.card import card_between
    from steybrae.files.plans import read_plan
    from steybrae.route.places import parse_place

    start, end = asked.ends
    if (start is None) != (end is None) or (start is not None and asked.line is not None):
        message = (
            "One leg needs --from and --to, and no ROUTE; got another choice of these. "
            "Give both places, or a route."
        )
        raise RouteError(message)
    if asked.line is not None and _is_plan(asked.line):
        return _with_forecast(read_plan(asked.line), chosen, forecast)
    if start is not None and end is not None:
        ends = parse_place(start), parse_place(end)
        if not asked.dem and not asked.sample:
            if forecast is not None:
                message = (
                    "A forecast is matched against ground; a card between two places has none. "
                    "Add --dem FILE, or leave --bulletin out and write the forecast on the card by hand."
                )
                raise BulletinError(message)
            if asked.report:
                message = (
                    "A report shows ground; a card between two places has none. Add --dem FILE, or leave "
                    "--report out."
                )
                raise RouteError(message)
            return card_between(*ends, chosen), None
        screening = _screened(asked, settings, ends, grounds=forecast is not None)
        return _with_forecast(screening, chosen, forecast)
    screening = _screened(asked, settings, grounds=forecast is not None)
    return _with_forecast(screening, chosen, forecast)


def _with_forecast(
    screening: RouteScreening, chosen: CardSettings, forecast: Forecast | None
) -> tuple[RouteCard, RouteScreening]:
    from steybrae.card import make_card
    from steybrae.card.forecast import with_forecast

    made = make_card(screening, chosen)
    return made if forecast is None else with_forecast(made, screening, *forecast), screening


def _for_report(screening: RouteScreening, found: RouteCard, origin: RunOrigin) -> RouteScreening:
    """Return the screening with the forecast of the card, which knows when each leg is walked."""
    from dataclasses import replace

    forecast = found.forecast or screening.forecast
    there = {caution.key for caution in screening.cautions}
    more = () if forecast is None else forecast.cautions
    cautions = (*screening.cautions, *(caution for caution in more if caution.key not in there))
    return replace(screening, forecast=forecast, cautions=cautions, origin=origin)


def _screened(
    asked: _Asked, settings: Settings, ends: tuple[Place, ...] = (), *, grounds: bool = False
) -> RouteScreening:
    from steybrae.cli.inputs import open_source, planned_route
    from steybrae.route.turns import route_from_places
    from steybrae.screening import screen_route
    from steybrae.screening.forecast_ground import with_forecast_ground
    from steybrae.screening.relief import with_relief

    if ends:
        planned = route_from_places(ends, f"{ends[0].written} to {ends[-1].written}")
    else:
        planned = planned_route(asked.line, asked.legs_at, asked.turn_tolerance, sample=asked.sample)
    with open_source(asked.dem, asked.z_unit, settings, sample=asked.sample) as (model, known):
        found = screen_route(planned, model, known)
        if asked.report:
            found = with_relief(found, model)
        return with_forecast_ground(found, planned, model, known) if grounds else found


def _write(
    found: RouteCard,
    pdf: Path | None,
    page: str,
    gpx: Path | None,
    csv: Path | None,
    geojson: Path | None,
    *,
    force: bool,
) -> None:
    from steybrae.files.cards import card_cautions_text, card_csv, card_geojson
    from steybrae.files.gpx_out import card_gpx
    from steybrae.files.points import cautions_path
    from steybrae.files.whole import write_bytes, write_text

    if pdf is not None:
        from steybrae.show.card_page import card_pdf

        content = card_pdf(found, page)
        write_bytes(pdf, content, force=force)
    if gpx is not None:
        write_text(gpx, card_gpx(found), force=force)
    if csv is not None:
        write_text(csv, card_csv(found), force=force)
        write_text(cautions_path(csv), card_cautions_text(found), force=force)
    if geojson is not None:
        write_text(geojson, card_geojson(found), force=force)
