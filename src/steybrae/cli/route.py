"""``steybrae route``: where on a planned line, beside it and above it, it is steep."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options import Correlation, DemFiles, Edges, Force, Json, Method, VerticalError, ZUnit
from steybrae.errors import RouteError

if TYPE_CHECKING:
    from steybrae.screening import RouteScreening, Settings

__all__ = ["route"]


def route(
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
    z_unit: ZUnit = None,
    vertical_error: VerticalError = None,
    correlation: Correlation = None,
    as_json: Json = False,
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the points along the legs as CSV.")] = None,
    geojson: Annotated[Path | None, typer.Option("--geojson", help="Write them as GeoJSON.")] = None,
    save: Annotated[
        Path | None, typer.Option("--save", help="Keep the whole result as a plan (.zip).")
    ] = None,
    force: Force = False,
) -> None:
    """Screen a planned line on an elevation model, leg by leg.

    For each leg: how steep the ground is that the line touches, how steep it is beside it within
    your position error, how well that is known, and what is unknown. It decides nothing.
    """
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.files.points import cautions_path
    from steybrae.files.whole import check_writable
    from steybrae.show.tables import print_route

    beside = None if csv is None else cautions_path(csv)
    outputs = [path for path in (csv, beside, geojson, save) if path is not None]
    for path in outputs:
        check_writable(path, force=force)
    settings = _settings(edges, interval, place_error, drift, method, vertical_error, correlation)
    found = _screen(line, dem, z_unit, settings, sample=sample, cut=(legs_at or [], turn_tolerance))
    _write(found, csv, geojson, save, force=force)
    if as_json:
        print_json("route", found)
        return
    to = console()
    print_route(found, to)
    print_cautions(found.cautions, to)


def _settings(
    edges: str | None,
    interval: str | None,
    place_error: str | None,
    drift: float | None,
    method: str,
    vertical_error: str | None,
    correlation: str | None,
) -> Settings:
    from steybrae.bands import BandScheme, parse_edges
    from steybrae.cli.options import length_m
    from steybrae.route.corridor import DRIFT_DEG, PLACE_ERROR_M, check_drift
    from steybrae.screening import Settings
    from steybrae.terrain.gradients import check_method

    error_m = length_m(place_error, "The place error", zero=True)
    return Settings(
        bands=BandScheme() if edges is None else parse_edges(edges),
        method=check_method(method),
        place_error_m=PLACE_ERROR_M if error_m is None else error_m,
        drift_deg=DRIFT_DEG if drift is None else check_drift(drift),
        vertical_error_m=length_m(vertical_error, "The vertical error"),
        correlation_m=length_m(correlation, "The correlation length", zero=True),
        interval_m=length_m(interval, "The contour interval"),
    )


def _screen(
    line: Path | None,
    dem: list[Path] | None,
    z_unit: str | None,
    settings: Settings,
    *,
    sample: bool,
    cut: tuple[list[str], str],
) -> RouteScreening:
    from dataclasses import replace

    from steybrae.files.rasters import open_model
    from steybrae.files.routes import read_route
    from steybrae.files.sample import sample_model, sample_route
    from steybrae.quantities import parse_ground_length_m
    from steybrae.screening import ModelOrigin, screen_route

    if sample:
        line, dem = line or sample_route(), dem or [sample_model()]
    if line is None or not dem:
        message = "A route and an elevation model (--dem) are needed; one is missing. Give both, or --sample."
        raise RouteError(message)
    tolerance_m = parse_ground_length_m(cut[1], "The turn tolerance")
    planned = read_route(line, legs_at=cut[0], turn_tolerance_m=tolerance_m)
    with open_model(dem, z_unit) as model:
        info = model.info
        origin = ModelOrigin(
            info.files, info.fingerprints, info.height_unit_m, info.height_unit_from, sample=sample
        )
        return screen_route(planned, model, replace(settings, origin=origin))


def _write(
    found: RouteScreening, csv: Path | None, geojson: Path | None, save: Path | None, *, force: bool
) -> None:
    from steybrae.files.plans import write_plan
    from steybrae.files.points import cautions_path, cautions_text, points_csv, points_geojson
    from steybrae.files.whole import write_text

    if csv is not None:
        write_text(csv, points_csv(found), force=force)
        write_text(cautions_path(csv), cautions_text(found), force=force)
    if geojson is not None:
        write_text(geojson, points_geojson(found), force=force)
    if save is not None:
        write_plan(save, found, force=force)
