"""``steybrae sheet``: teaching sheets true to size, and a page to play with."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from steybrae.cli.app import GroupedCommand, GroupOfCommands
from steybrae.cli.options.groups import day_typed, spread
from steybrae.cli.options.model import ModelFiles
from steybrae.cli.options.paper import (
    SEED_HELP,
    ChosenMap,
    IndexOptions,
    LogOutput,
    MapOptions,
    OwnOptions,
    PaperOutput,
    PracticeOptions,
    SheetOutput,
)

if TYPE_CHECKING:
    from steybrae.field.log import LogRow
    from steybrae.screening.result import RouteScreening
    from steybrae.teach.answers import Question
    from steybrae.teach.map_ground import MapGround, MapLook
    from steybrae.teach.practice import PracticeSheet
    from steybrae.terrain.dem import DemSource, Grid


@contextmanager
def ground_of(model: ModelFiles, plan: RouteScreening | None) -> Iterator[tuple[DemSource, str, bool]]:
    """Open the model, or take the ground that a plan keeps where no model was given.

    Besides it what it is in words, and whether it, or the plan, is of the invented sample.
    """
    from steybrae.screening import Settings
    from steybrae.teach.own_questions import plan_ground

    invented = plan is not None and any(caution.key == "sample" for caution in plan.cautions)
    if plan is not None and not model.dem and not model.sample:
        yield plan_ground(plan), f"plan {plan.name}, from {', '.join(plan.model.files)}", invented
        return
    with model.opened(Settings()) as (dem, _):
        known = dem.info.sample
        words = "the invented sample massif" if known else ", ".join(dem.info.files)
        yield dem, words, known or invented


def own_asked(
    look: MapLook, route: RouteScreening | None, rows: Sequence[LogRow], *, told: bool
) -> Callable[[MapGround], list[Question]]:
    """Ask, on the ground that a sheet takes, about the legs of a plan and the readings of a log."""
    from steybrae.teach.own_questions import log_questions, plan_questions

    def asked(ground: MapGround) -> list[Question]:
        legs = plan_questions(ground, look, route, told=told) if route else []
        return [*legs, *log_questions(ground, look, rows)]

    return asked


def look_of(sheet: MapOptions, index_every: int) -> MapLook:
    """How the map is drawn; heights stand in feet where the interval was typed in feet."""
    from steybrae.quantities import FOOT_M
    from steybrae.teach.map_ground import MapLook

    in_feet = sheet.interval.strip().lower().endswith("ft")
    unit = (FOOT_M, "ft") if in_feet else (1.0, "m")
    return MapLook(sheet.scale, sheet.interval_m, index_every, *unit)


def middle_of(
    grid: Grid, at: str | None, route: RouteScreening | None, rows: Sequence[LogRow]
) -> tuple[float, float] | None:
    """Where the map is to lie: at the place named, else round the plan, else round the readings."""
    from steybrae.errors import OffModelError
    from steybrae.route.positions.places import parse_place
    from steybrae.teach.own_questions import log_middle, plan_middle

    if at is not None:
        place = parse_place(at)
        col, row = (float(part) for part in grid.from_wgs84(place.lon_deg, place.lat_deg))
        if not (0.0 <= col <= grid.shape[1] and 0.0 <= row <= grid.shape[0]):
            message = f"The middle of the map should lie on the model; {at!r} does not. Choose another place."
            raise OffModelError(message)
        return col, row
    found = plan_middle(grid, route) if route else None
    return found or log_middle(grid, rows)


def own_notes(sheet: PracticeSheet, plan: Path | None, log: Path | None) -> list[str]:
    """Say on the terminal what became of the plan and the log, and what the sheet lacks."""
    notes = list(sheet.notes)
    for given, kind, what in ((plan, "leg", "leg of the plan"), (log, "reading", "reading of the log")):
        own = [q for q in sheet.questions if q.kind == kind and (q.leg is None or q.leg.name)]
        if given and not own:
            notes.append(f"No {what} could be asked about: none lies on this map where it can be measured.")
    return notes


app = typer.Typer(
    cls=GroupOfCommands,
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    help=(
        "Teaching sheets true to size (PDF), and a page to play with (HTML). "
        "A lesson is not a field decision."
    ),
)


def _command(name: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Register a sheet under its name."""

    def register(function: Callable[..., None]) -> Callable[..., None]:
        app.command(name, cls=GroupedCommand)(spread(function))
        return function

    return register


Seed = Annotated[int, typer.Option("--seed", help=SEED_HELP, metavar="N", min=0)]


@_command("scale")
def scale_(
    scale: Annotated[
        list[str], typer.Option("--scale", help="Map scale, like 1:25000; repeat for a set.", metavar="1:N")
    ],
    interval: Annotated[
        list[str],
        typer.Option(
            "--interval",
            help="Contour interval, like 10m or 40ft; one for all scales, or one for each.",
            metavar="LENGTH",
        ),
    ],
    thick: IndexOptions,
    to: PaperOutput,
    *,
    slope: Annotated[
        list[str] | None,
        typer.Option("--slope", help="A slope of the combs, like 30deg; may be repeated.", metavar="SLOPE"),
    ] = None,
    copies: Annotated[
        int, typer.Option("--copies", help="How many of each, for a class.", metavar="N", min=1, max=50)
    ] = 1,
) -> None:
    """Slope scales for your map, true to size. Straight edge and card, to cut out or print on film."""
    from steybrae.papers import paper_size_mm
    from steybrae.quantities import parse_ground_length_m, parse_scale, parse_slope_deg
    from steybrae.sheets.scale import scale_pdf
    from steybrae.teach.slope_scale import map_scale, scale_sheet

    paper_size_mm(to.paper)
    slopes = [parse_slope_deg(text) for text in slope or []]
    maps = [
        map_scale(
            parse_scale(one),
            parse_ground_length_m(height, "A contour interval"),
            interval_text=height,
            slopes_deg=slopes,
            index_every=thick.index_every,
        )
        for one, height in _pairs(scale, interval)
    ]
    to.write(lambda: scale_pdf(scale_sheet(maps * copies), paper=to.paper))


def _pairs(scales: list[str], intervals: list[str]) -> list[tuple[str, str]]:
    """Each scale with its interval; refused where there is neither one interval nor as many as scales."""
    from steybrae.errors import QuantityError

    if len(intervals) not in (1, len(scales)):
        message = (
            f"--interval is needed once, or once for each --scale; got {len(scales)} scales and "
            f"{len(intervals)} intervals. Write them in pairs."
        )
        raise QuantityError(message)
    if len(intervals) == 1:
        intervals = intervals * len(scales)
    return list(zip(scales, intervals, strict=True))


@_command("first")
def first(
    to: PaperOutput,
    *,
    seed: Seed = 1,
    answers: Annotated[
        Path | None, typer.Option("--answers", help="Write the teacher's page here.", metavar="FILE")
    ] = None,
) -> None:
    """Make a first lesson. An example, forms to match, slopes to rank; and the teacher's 45 minutes."""
    from steybrae.sheets.first import first_pdf, teacher_pdf
    from steybrae.teach.first_lesson import first_lesson

    to.check(answers=answers)
    made = first_lesson(seed)
    to.write_with_key(
        lambda: first_pdf(made, paper=to.paper), lambda: teacher_pdf(made, paper=to.paper), answers
    )


@_command("error")
def error(sheet: MapOptions, to: PaperOutput) -> None:
    """How far 0.1 to 0.5 mm on the ruler moves the answer. A picture and a table."""
    from steybrae.sheets.scale import error_pdf
    from steybrae.teach.slope_scale import error_sheet

    result = error_sheet(sheet.scale, sheet.interval_m, sheet.interval)
    to.write(lambda: error_pdf(result, paper=to.paper))


@_command("field")
def field(
    to: LogOutput,
    *,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="Fill in the checks of your saved plan.", metavar="PLAN")
    ] = None,
    date: Annotated[
        str | None, typer.Option("--date", help="Day of the walk, YYYY-MM-DD; with --plan.", metavar="DATE")
    ] = None,
    grid: Annotated[
        str,
        typer.Option("--grid", help="Grid of your map: bng, utm, mgrs, or latlon for none.", metavar="GRID"),
    ] = "latlon",
) -> None:
    """Make a log for readings. Blank, or with the checks of a plan filled in."""
    from steybrae.errors import DateError
    from steybrae.files.plans import read_plan
    from steybrae.sheets.field import field_pdf
    from steybrae.teach.field_sheet import field_sheet

    if plan is not None and date is None:
        message = (
            "A log of a plan's checks needs the day of the walk, for magnetic north wanders; got none. "
            "Add --date 2027-01-15."
        )
        raise DateError(message)
    to.check(plan)
    planned = None if plan is None or date is None else (read_plan(plan), day_typed(date))
    to.write(lambda: field_pdf(field_sheet(planned, grid, plan.name if plan else ""), paper=to.paper))


@_command("practice")
def practice(
    printed: MapOptions,
    to: PaperOutput,
    model: ModelFiles,
    own: OwnOptions,
    asked: PracticeOptions,
) -> None:
    """Make a contour map with stretches to measure. True to scale, with a key for the teacher."""
    from steybrae.files.logs import read_log
    from steybrae.files.plans import read_plan
    from steybrae.papers import map_frame_mm, paper_size_mm
    from steybrae.sheets.practice import key_pdf, practice_pdf
    from steybrae.teach.practice import practice_sheet

    to.check(own.plan, own.log, own.measured, *(model.dem or ()), answers=asked.answers)
    paper_size_mm(to.paper)
    look = look_of(printed, asked.index_every)
    own.check_alone((("--sample", model.sample), ("--at", asked.at), ("--copies", asked.copies > 1)))
    if own.measured is not None:
        _measured(own.measured, look, to, asked.answers)
        return
    route = read_plan(own.plan) if own.plan else None
    kept = read_log(own.log) if own.log else None
    rows = kept.rows if kept else ()
    with ground_of(model, route) as (dem, source_words, sample):
        middle = middle_of(dem.grid, asked.at, route, rows)
        sheets = [
            practice_sheet(
                dem,
                look,
                seed=asked.seed + copy,
                questions=asked.questions,
                level=asked.level,
                source_words=source_words,
                sample=sample,
                frame_mm=map_frame_mm(to.paper),
                middle=middle,
                own=own_asked(look, route, rows, told=asked.level != "assessment"),
            )
            for copy in range(asked.copies)
        ]
    to.write_with_key(
        lambda: practice_pdf(sheets, paper=to.paper), lambda: key_pdf(sheets, paper=to.paper), asked.answers
    )
    noted: dict[str, list[str]] = {}
    for sheet in sheets:
        for note in own_notes(sheet, own.plan, own.log):
            noted.setdefault(note, []).append(str(sheet.seed))
    for note, seeds in noted.items():
        which = f"Seed{'s' if len(seeds) > 1 else ''} {' '.join(seeds)}: "
        typer.echo(note if len(seeds) == asked.copies else f"{which}{note}")
    if kept and kept.damaged:
        typer.echo(f"Damaged lines of the log, passed over: {len(kept.damaged)}. See reading --review.")


def _measured(path: Path, look: MapLook, to: PaperOutput, answers: Path | None) -> None:
    """Write questions and key on stretches of a printed map."""
    from steybrae.files.stretches import read_stretches
    from steybrae.sheets.first import own_map_key_pdf, own_map_pdf
    from steybrae.teach.own_questions import own_map_sheet

    sheet = own_map_sheet(read_stretches(path, look.index_every), look)
    to.write_with_key(
        lambda: own_map_pdf(sheet, paper=to.paper), lambda: own_map_key_pdf(sheet, paper=to.paper), answers
    )


@_command("lesson")
def lesson(
    to: SheetOutput,
    chosen: ChosenMap,
    model: ModelFiles,
    *,
    seed: Seed = 1,
    at: Annotated[
        str | None,
        typer.Option("--at", help="Middle of the real ground; else where relief is most.", metavar="PLACE"),
    ] = None,
) -> None:
    """Make a page to play with. One HTML file that needs no network; on the sample, or your own --dem."""
    from dataclasses import replace

    from steybrae.pages.lesson import lesson_html
    from steybrae.teach.lesson import interval_words, lesson_ground
    from steybrae.teach.lesson import lesson as make_lesson

    to.check(*(model.dem or ()))
    interval_m = chosen.interval_m
    files = model if model.dem else replace(model, sample=True)
    with ground_of(files, None) as (dem, source, sample):
        ground = lesson_ground(dem, middle_of(dem.grid, at, None, ()))
    made = make_lesson(
        ground,
        seed,
        scale=chosen.scale,
        interval=(interval_words(chosen.interval, interval_m), interval_m),
        source=source,
        sample=sample,
    )
    to.write(lambda: lesson_html(made).encode("utf-8"))
