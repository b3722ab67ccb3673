"""``steybrae reading``: whether the inclinometer agrees with the map and the model."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.options.common import BandOptions
from steybrae.cli.options.model import ModelOptions, PositionOptions, screening_settings
from steybrae.cli.options.paper import GapOptions
from steybrae.cli.options.reading import (
    NEEDS,
    BearingOptions,
    Bearings,
    ByHand,
    InstrumentOptions,
    LogOptions,
    PlanCheck,
    ReadingMap,
    ReadingOutputs,
    given_options,
    refuse_alone,
    refuse_beside_add,
    refuse_beside_review,
)
from steybrae.cli.options.settings_file import taken, with_taken
from steybrae.errors import QuantityError
from steybrae.field.references import Source

if TYPE_CHECKING:
    import datetime as dt

    from steybrae.field.agreement import ReadingResult
    from steybrae.field.log import LogRow
    from steybrae.field.poles import HandSlope
    from steybrae.field.readings import ReadingSet
    from steybrae.route.positions.places import Place
    from steybrae.screening import Settings

__all__ = ["NEEDS", "reading"]


def reading(
    ctx: typer.Context,
    readings: Annotated[
        list[str] | None,
        typer.Argument(metavar="READING...", help="Looking up the slope or laid on it: 34deg 36deg 62%."),
    ] = None,
    *,
    planned: PlanCheck,
    model: ModelOptions,
    at: Annotated[
        str | None,
        typer.Option(
            "--at",
            help='Where, in quotes: "59.2234 -8.0712".',
            metavar="PLACE",
            rich_help_panel=ModelOptions.panel,
        ),
    ] = None,
    position: PositionOptions,
    sheet: ReadingMap,
    gap: GapOptions,
    instrument: InstrumentOptions,
    by_hand: ByHand,
    bearings: BearingOptions,
    log: LogOptions,
    bands: BandOptions,
    outputs: ReadingOutputs,
) -> None:
    """Compare what you read on the hill with the map, a model, a plan or another instrument.

    Says whether the difference is more than both may be wrong, why they may differ, and which
    leads: the steeper. A gentle reading never lowers what the map says.
    """
    from steybrae.answers.reading import reading_document
    from steybrae.field.references import compare_sources

    given = given_options(ctx)
    if log.review:
        refuse_beside_review(given)
        _review(log.review, outputs, names=not log.no_names)
        return
    if log.add is not None:
        refuse_beside_add(given)
        _add(log.add, log.log or log.add)
        return
    kept = taken()
    refuse_alone([*given, *(f"--{name}" for name in (kept.taken if kept else ()))])
    outputs.check(log.log, planned.plan, *(model.dem or ()))
    when = None if log.log is None else log.read_time()
    own, own_basis, hand = own_reading(readings or [], instrument, by_hand.slopes())
    check = check_source(planned)
    place = _place(at, check)
    turned = bearings.turned(place)
    settings = screening_settings(bands, model)
    found = [
        paper_source(sheet, gap, turned.aspect_true_deg),
        check,
        None if place is None else model_source(settings, model, position, place, turned, bearings),
        other_source(instrument),
        *hand,
    ]
    sources = [source for source in found if source is not None]
    # A plan brings its bands.
    scheme = bands.bands if check is None or "--edges" in given else None
    compared = compare_sources(
        own, sources, scheme=scheme, magnetic=turned.magnetic, look_true_deg=turned.look_true_deg
    )
    result = with_taken(compared)
    if outputs.figure is not None:
        from steybrae.figures.field_figure import comparison_figure, save_figure

        save_figure(comparison_figure(result), outputs.figure, result.cautions, force=outputs.force)
    if log.log is not None:
        from steybrae.files.logs import check_log

        check_log(log.log)
    # Two sources may rest on the same model.
    basis = dict.fromkeys([*own_basis, *(words for source in sources for words in source.basis)])
    outputs.show("reading", result, partial(reading_document, basis=list(basis)))
    if log.log is not None and when is not None:
        # Where printing fails nothing was added, so that who tries again adds one row, not two.
        sys.stdout.flush()
        _append(log.log, _row(result, when, log, place, planned, turned), told=not outputs.as_json)


def _append(path: Path, row: LogRow, *, told: bool) -> None:
    from steybrae.answers.reading import added_document
    from steybrae.files.logs import append_row
    from steybrae.render.terminal import print_document

    append_row(path, row)
    if told:
        print_document(added_document(path.name, 1, 0, ()))


def _row(
    result: ReadingResult,
    when: dt.datetime,
    log: LogOptions,
    place: Place | None,
    planned: PlanCheck,
    turned: Bearings,
) -> LogRow:
    from steybrae.field.log import row_from_result

    return row_from_result(
        result,
        time=when,
        observer=log.observer,
        instrument=log.instrument,
        lat_deg=None if place is None else place.lat_deg,
        lon_deg=None if place is None else place.lon_deg,
        aspect_true_deg=turned.aspect_true_deg,
        plan="" if planned.plan is None else planned.plan.name,
        check="" if planned.check is None else planned.check.strip().lower(),
        note=log.note,
    )


def _add(rows: Path, to: Path) -> None:
    """Add rows kept elsewhere, and say which of them were none."""
    from steybrae.answers.reading import added_document
    from steybrae.files.logs import add_rows, read_log
    from steybrae.render.terminal import print_document

    found = read_log(rows)
    added = add_rows(to, found.rows)
    print_document(added_document(to.name, added, len(found.rows) - added, found.damaged))


def _place(at: str | None, planned: Source | None) -> Place | None:
    """Where the reading was taken: as typed, else at the check."""
    from steybrae.route.positions.places import parse_place

    if at is not None:
        return parse_place(at)
    return None if planned is None else planned.place


def _review(paths: Sequence[Path], outputs: ReadingOutputs, *, names: bool) -> None:
    from steybrae.answers.reading import review_document
    from steybrae.files.logs import review_logs

    outputs.check(*paths)
    found = review_logs(paths, names=names)
    if outputs.figure is not None:
        from steybrae.figures.field_figure import review_figure, save_figure

        save_figure(review_figure(found), outputs.figure, found.cautions, force=outputs.force)
    outputs.show("reading review", found, review_document)


def paper_source(sheet: ReadingMap, gap: GapOptions, aspect_true_deg: float | None) -> Source | None:
    """Slope from the map; None where no option about it was given."""
    from steybrae.field import references

    if sheet.scale is None and sheet.interval_m is None and not gap.measured:
        return None
    if sheet.scale is None or sheet.interval_m is None:
        missing = "--scale" if sheet.scale is None else "--interval"
        message = (
            f"A gap on a map needs its --scale and its --interval; {missing} is missing. "
            "Read both in the margin of the sheet."
        )
        raise QuantityError(message)
    found = gap.slope(sheet.scale, sheet.interval_m)
    measured = gap.measurement()
    return references.paper_source(found, measured, sheet.interval_m, sheet.scale, aspect_true_deg)


def model_source(
    settings: Settings,
    model: ModelOptions,
    position: PositionOptions,
    place: Place,
    bearings: Bearings,
    asked: BearingOptions,
) -> Source | None:
    """Ground of the model at a place, and whether the aspect fits there; None without a model."""
    from steybrae.screening.ground.at import ground_at
    from steybrae.screening.ground.reading import SEARCH_M, aspect_at, ground_source

    if not model.dem and not model.sample:
        return None
    radius_m, note = position.radius()
    search_m = asked.search_m
    fit = None
    with model.opened(settings, [place]) as (dem, known):
        found = ground_at(place, dem, radius_m, known)
        radius_m = found.within.radius_m
        if bearings.aspect_true_deg is not None:
            fit = aspect_at(
                bearings.aspect_true_deg,
                place,
                dem,
                radius_m,
                known,
                error_95_deg=_aspect_error_deg(asked, bearings),
                search_m=max(SEARCH_M, radius_m) if search_m is None else search_m,
            )
    return ground_source(found, place, note, fit)


def _aspect_error_deg(asked: BearingOptions, bearings: Bearings) -> float:
    """Error of the measured aspect, and that of turning it to true north."""
    from steybrae.field.relocation import ASPECT_ERROR_95_DEG

    if asked.aspect_error_deg is None:
        return math.hypot(ASPECT_ERROR_95_DEG, bearings.turned_error_deg)
    return min(90.0, math.hypot(asked.aspect_error_deg, bearings.turned_error_deg))


def check_source(planned: PlanCheck) -> Source | None:
    """Take what a saved plan expects at a check place; None where none was given."""
    if planned.plan is None or planned.check is None:
        return None
    from steybrae.card.checks import check_of
    from steybrae.files.plans import read_plan

    return check_of(read_plan(planned.plan), planned.check, planned.plan.name)


def own_reading(
    up: Sequence[str], typed: InstrumentOptions, hand: Sequence[HandSlope]
) -> tuple[ReadingSet, tuple[str, ...], list[Source]]:
    """Tell what is compared, and what it rests on in sentences, from what it is compared with.

    The reading is that looking up; without one the first slope found without an instrument is.
    """
    from steybrae.field.limits import READING_ERROR_95_DEG
    from steybrae.field.poles import COMPASS_ERROR_95_DEG, compass_clinometer
    from steybrae.field.readings import ReadingSet, parse_readings, reading_basis

    down, compass, error_deg = typed.down or [], typed.compass_clinometer, typed.error_deg
    if hand and not up and not down:
        first, *others = hand
        readings = ReadingSet((first.slope_deg,), error_95_deg=first.uncertainty_95_deg)
        return readings, (_hand_words(first),), [_hand_source(one) for one in others]
    usual_deg = COMPASS_ERROR_95_DEG if compass else READING_ERROR_95_DEG
    readings = parse_readings(up, down, usual_deg if error_deg is None else error_deg)
    words = reading_basis(readings, stated=error_deg is not None)
    basis: tuple[str, ...] = (words,)
    if compass:
        rests_on = compass_clinometer(readings.readings_deg, readings.error_95_deg).rests_on
        basis = rests_on if error_deg is None else (*rests_on[1:], words)
    return readings, basis, [_hand_source(one) for one in hand]


def _hand_source(one: HandSlope) -> Source:
    return Source(one.as_reference(), (_hand_words(one),))


def _hand_words(one: HandSlope) -> str:
    return f"{one.method[:1].upper()}{one.method[1:]}: {'; '.join(one.rests_on)}."


def other_source(typed: InstrumentOptions) -> Source | None:
    """Take readings of another instrument; None without any."""
    from steybrae.field.limits import READING_ERROR_95_DEG
    from steybrae.field.readings import parse_readings
    from steybrae.field.references import reading_as_reference

    if not typed.other:
        return None
    error_deg = READING_ERROR_95_DEG if typed.other_error_deg is None else typed.other_error_deg
    found = parse_readings(typed.other, error_95_deg=error_deg)
    stated = "as stated" if typed.other_error_deg is not None else "as that of the first"
    words = f"The other instrument: {found.error_95_deg:g}° (95 %) for one reading, {stated}."
    return Source(reading_as_reference("the other instrument", found), (words,))
