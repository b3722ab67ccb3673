"""``steybrae reading``: whether the inclinometer agrees with the map and the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from steybrae.cli import reading_options as o
from steybrae.cli.options import (
    Correlation,
    DemFiles,
    Edges,
    EngineName,
    Force,
    Json,
    Method,
    VerticalError,
    ZUnit,
)
from steybrae.cli.reading_sources import (
    Own,
    Source,
    check_source,
    model_source,
    other_source,
    own_reading,
    paper_source,
)
from steybrae.cli.reading_typed import (
    Bearings,
    ByBearing,
    ByHand,
    OnModel,
    OnPaper,
    hand_slopes,
    read_bearings,
    read_time,
)

if TYPE_CHECKING:
    from steybrae.field.agreement import ReadingResult
    from steybrae.route.places import Place

__all__ = ["reading"]


def reading(
    context: typer.Context,
    readings: o.Readings = None,
    down: o.Down = None,
    error: o.ReadingError = None,
    compass_clinometer: o.CompassClinometer = False,
    pole_level: o.PoleLevel = None,
    pole_on_slope: o.PoleOnSlope = None,
    equal_poles: o.EqualPoles = None,
    paces: o.Paces = None,
    eye_height: o.EyeHeight = None,
    pace: o.Pace = None,
    other: o.OtherReadings = None,
    other_error: o.OtherError = None,
    scale: o.PaperScale = None,
    interval: o.PaperInterval = None,
    gap: o.Gap = None,
    across: o.Across = None,
    gaps: o.Gaps = None,
    index_gaps: o.IndexGaps = None,
    index_every: o.IndexEvery = None,
    ruler_error: o.RulerError = "0.5mm",
    ruler_only: o.RulerOnly = False,
    dem: DemFiles = None,
    sample: o.Sample = False,
    at: o.At = None,
    within: o.Within = None,
    epe: o.Epe = None,
    epe_confidence: o.EpeConfidence = None,
    method: Method = "horn",
    engine: EngineName = "own",
    z_unit: ZUnit = None,
    vertical_error: VerticalError = None,
    correlation: Correlation = None,
    plan: o.PlanFile = None,
    check: o.CheckNumber = None,
    look: o.Look = None,
    aspect: o.Aspect = None,
    aspect_error: o.AspectError = None,
    search: o.Search = None,
    north: o.North = None,
    date: o.Day = None,
    grid: o.Grid = None,
    log: o.Log = None,
    observer: o.Observer = "",
    instrument: o.Instrument = "",
    note: o.Note = "",
    time: o.When = None,
    review: o.ReviewLog = None,
    edges: Edges = None,
    figure: o.FigureFile = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Compare what you read on the hill with the map, a model, a plan or another instrument.

    Says whether the difference is more than both may be wrong, why they may differ, and which
    leads: the steeper. A gentle reading never lowers what the map says.
    """
    given = o.given_options(context)
    if review is not None:
        o.refuse_beside_review(given)
        _review(review, figure, force=force, as_json=as_json)
        return
    o.refuse_alone(given)
    _check_figure(figure, force=force)
    when = None if log is None else read_time(time)
    by_hand = ByHand(pole_level, pole_on_slope, equal_poles, paces, eye_height, pace)
    own, hand = own_reading(
        readings or [], down or [], error, hand_slopes(by_hand), compass=compass_clinometer
    )
    asked = ByBearing(look, aspect, aspect_error, search, north, date, grid)
    paper = OnPaper(scale, interval, gap, across, gaps, index_gaps, index_every, ruler_error, ruler_only)
    model = OnModel(
        dem, sample, within, epe, epe_confidence, edges, method, engine, z_unit, vertical_error, correlation
    )
    planned = None if plan is None or check is None else check_source(plan, check)
    place = _place(at, planned)
    bearings = read_bearings(asked, place)
    found = [
        paper_source(paper, bearings.aspect_true_deg),
        planned,
        None if place is None else model_source(model, place, bearings, asked),
        other_source(other or [], other_error),
        *hand,
    ]
    sources = [source for source in found if source is not None]
    result = _compare(own, sources, bearings, edges)
    if figure is not None:
        from steybrae.show.field_figures import comparison_figure, save_figure

        save_figure(comparison_figure(result), figure, result.cautions, force=force)
    if log is not None and when is not None:
        from steybrae.field.log import row_from_result
        from steybrae.files.logs import append_row

        row = row_from_result(
            result,
            time=when,
            observer=observer,
            instrument=instrument,
            lat_deg=None if place is None else place.lat_deg,
            lon_deg=None if place is None else place.lon_deg,
            aspect_true_deg=bearings.aspect_true_deg,
            plan="" if plan is None else plan.name,
            check="" if check is None else check.strip().lower(),
            note=note,
        )
        append_row(log, row)
    # Two sources may rest on the same model.
    basis = dict.fromkeys([*own.basis, *(words for source in sources for words in source.basis)])
    _show(result, list(basis), as_json=as_json)


def _check_figure(figure: Path | None, *, force: bool) -> None:
    """Refuse a picture that could not be written before anything is done, the log above all."""
    from steybrae.cli.pictures import figure_format
    from steybrae.files.whole import check_writable

    if figure is not None:
        figure_format(figure)
        check_writable(figure, force=force)


def _place(at: str | None, planned: Source | None) -> Place | None:
    """Where the reading was taken: as typed, else at the check."""
    from steybrae.route.places import parse_place

    if at is not None:
        return parse_place(at)
    return None if planned is None else planned.place


def _compare(own: Own, sources: Sequence[Source], bearings: Bearings, edges: str | None) -> ReadingResult:
    from steybrae.bands import BandScheme, parse_edges
    from steybrae.cautions import Situation
    from steybrae.field.agreement import compare_readings
    from steybrae.field.reasons import with_reasons

    result = compare_readings(
        own.readings,
        [source.reference for source in sources],
        scheme=BandScheme() if edges is None else parse_edges(edges),
        situation=Situation(
            magnetic=bearings.magnetic, open_above=any(source.open_above for source in sources)
        ),
    )
    own_keys = {caution.key: caution for caution in result.cautions}
    # Each source brings its own cautions; one that several share stands once.
    cautions = own_keys | {caution.key: caution for source in sources for caution in source.cautions}
    aspect = next((source.aspect for source in sources if source.aspect is not None), None)
    result = replace(result, cautions=tuple(cautions.values()), aspect=aspect)
    return with_reasons(result, bearings.look_true_deg)


def _show(result: ReadingResult, basis: Sequence[str], *, as_json: bool) -> None:
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.show.reading_tables import print_reading

    if as_json:
        print_json("reading", result)
        return
    to = console()
    print_reading(result, basis, to)
    print_cautions(result.cautions, to)


def _review(path: Path, figure: Path | None, *, force: bool, as_json: bool) -> None:
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.field.review import review
    from steybrae.files.logs import read_log
    from steybrae.show.reading_tables import print_review

    _check_figure(figure, force=force)
    read = read_log(path)
    found = review(read.rows)
    if figure is not None:
        from steybrae.show.field_figures import review_figure, save_figure

        save_figure(review_figure(found), figure, found.cautions, force=force)
    if as_json:
        answer = {
            "rows": found.rows,
            "agreements": found.agreements,
            "damaged": read.damaged,
            "cautions": found.cautions,
        }
        print_json("reading review", answer)
        return
    to = console()
    print_review(found, read.damaged, to)
    print_cautions(found.cautions, to)
