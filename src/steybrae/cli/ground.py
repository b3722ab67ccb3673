"""``steybrae ground``: what the ground is like at a place, within the position error."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from steybrae.cli.forecast_options import (
    AtTime,
    BulletinPath,
    ForecastSlope,
    ForecastTyped,
    Language,
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

__all__ = ["CONTEXT", "ground", "place_text"]

CONTEXT = {"ignore_unknown_options": True}
"""A place may begin with a minus, which would else be read as an option."""

PlaceWords = Annotated[
    list[str],
    typer.Argument(
        metavar="PLACE",
        help="Degrees (57.1234 -3.6712), degrees and minutes, UTM, MGRS or an OS grid reference.",
    ),
]
Within = Annotated[
    str | None,
    typer.Option("--within", help="95 % radius of the position error, like 10m.", metavar="LENGTH"),
]
Epe = Annotated[
    str | None,
    typer.Option("--epe", help="Estimated position error as the receiver shows it.", metavar="LENGTH"),
]
EpeConfidence = Annotated[
    float | None,
    typer.Option("--epe-confidence", help="Percent of positions within it; 50 is assumed if not given."),
]


def ground(
    place: PlaceWords,
    dem: DemFiles = None,
    *,
    sample: Annotated[bool, typer.Option("--sample", help="On the invented sample massif.")] = False,
    within: Within = None,
    epe: Epe = None,
    epe_confidence: EpeConfidence = None,
    edges: Edges = None,
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
    run_out: Annotated[
        bool, typer.Option("--run-out", help="Tell published run-out angles too, for teaching.")
    ] = False,
    bulletin: BulletinPath = None,
    region: RegionId = None,
    at_time: AtTime = None,
    treeline: Treeline = None,
    forecast_slope: ForecastSlope = None,
    language: Language = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", help="Draw the cells and the circle, as PNG or PDF.")
    ] = None,
    as_json: Json = False,
    force: Force = False,
) -> None:
    """Look at the ground at one place, around it within your position error, and above it."""
    from dataclasses import replace

    from steybrae.cli.forecast_options import read_forecast
    from steybrae.cli.inputs import model_settings, open_source, with_start_zones
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.cli.pictures import draw_ground_to, figure_format
    from steybrae.files.whole import check_writable
    from steybrae.route.places import parse_place
    from steybrae.screening.forecast_ground import with_place_forecast
    from steybrae.screening.ground_at import cross_check_ground, ground_at
    from steybrae.screening.place_above import with_above
    from steybrae.show.forecast_tables import print_findings, print_forecast
    from steybrae.show.ground_tables import print_ground

    if figure is not None:
        figure_format(figure)
        check_writable(figure, force=force)
    forecast = read_forecast(ForecastTyped(bulletin, region, at_time, treeline, forecast_slope, language))
    radius_m, note = position_error_m(within, epe, epe_confidence)
    settings = model_settings(edges, method, engine, vertical_error, correlation)
    settings = with_start_zones(settings, start_slopes, start_area, reach)
    where = parse_place(place_text(place))
    with open_source(dem, z_unit, settings, sample=sample) as (model, settings):
        found = ground_at(where, model, radius_m, settings)
        found = with_above(found, where, model, settings, published=run_out)
        if cross_check:
            checked = cross_check_ground(where, model, found.within.radius_m, settings)
            found = replace(found, cross_check=checked)
        if forecast is not None:
            found = with_place_forecast(found, where, model, settings, *forecast)
    if figure is not None:
        draw_ground_to(figure, found, force=force)
    if as_json:
        print_json("ground", found)
        return
    to = console()
    print_findings(found.forecast, to)
    print_ground(found, to)
    print_forecast(found.forecast, to)
    if note:
        to.print(note, markup=False)
    print_cautions(found.cautions, to)


def place_text(words: list[str]) -> str:
    """Join the words of a place, refusing options that no command knows.

    Raises
    ------
    QuantityError
        A word begins with two minus signs.
    """
    from steybrae.errors import QuantityError

    for word in words:
        if word.startswith("--"):
            message = f"Every option should be one of this command's; it has no {word}. See its --help."
            raise QuantityError(message)
    return " ".join(words)


def position_error_m(
    within: str | None, epe: str | None, confidence: float | None
) -> tuple[float | None, str]:
    """95 % radius from the options, metres or None, and what was assumed, in words.

    Raises
    ------
    QuantityError
        Both ways were used, or a confidence without an error.
    """
    from steybrae.cli.inputs import length_m
    from steybrae.errors import QuantityError
    from steybrae.screening.ground_at import DEFAULT_EPE_CONFIDENCE, radius_95_m

    if within is not None and (epe is not None or confidence is not None):
        message = "The position error is given by --within or by --epe; both were used. Leave one out."
        raise QuantityError(message)
    if epe is None:
        if confidence is not None:
            message = (
                "--epe-confidence belongs to --epe, which is missing. Give the error the receiver shows."
            )
            raise QuantityError(message)
        return length_m(within, "The position error", zero=True), ""
    error_m = length_m(epe, "The estimated position error", zero=True) or 0.0
    share = DEFAULT_EPE_CONFIDENCE if confidence is None else confidence
    assumed = " (assumed: many receivers mean half of their fixes)" if confidence is None else ""
    radius = radius_95_m(error_m, share)
    return (
        radius,
        f"Position error: {epe} at {share:g} %{assumed}, widened to 95 % by the circular normal law.",
    )
