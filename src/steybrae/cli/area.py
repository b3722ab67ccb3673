"""``steybrae area``: slope, bands and aspect of a whole elevation model."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from steybrae.cli.options import (
    Correlation,
    DemFiles,
    Edges,
    EngineName,
    Force,
    Json,
    Method,
    StartArea,
    StartSlopes,
    VerticalError,
    ZUnit,
)

if TYPE_CHECKING:
    from steybrae.area.job import AreaJob, Told
    from steybrae.area.result import AreaResult
    from steybrae.files.area_outputs import Workspace

__all__ = ["area"]


def area(
    dem: DemFiles = None,
    *,
    out: Annotated[Path, typer.Option("--out", help="Folder for the outputs.", metavar="DIR")],
    sample: Annotated[bool, typer.Option("--sample", help="Of the invented sample massif.")] = False,
    slope: Annotated[bool, typer.Option("--slope", help="Write slope.tif (degrees).")] = False,
    tenths: Annotated[
        bool,
        typer.Option("--tenths", help="Write tenths.tif: slope in tenths of a degree, rounded up, small."),
    ] = False,
    bands: Annotated[bool, typer.Option("--bands", help="Write bands.tif (angle bands in colours).")] = False,
    aspect: Annotated[bool, typer.Option("--aspect", help="Write aspect.tif.")] = False,
    curvature: Annotated[
        bool, typer.Option("--curvature", help="Write curvature.tif (where ground rolls over).")
    ] = False,
    overhead: Annotated[
        bool,
        typer.Option(
            "--overhead", help="Write overhead.tif and start_zones.tif: what looks down on each cell."
        ),
    ] = False,
    start_slopes: StartSlopes = None,
    start_area: StartArea = None,
    edges: Edges = None,
    method: Method = "horn",
    engine: EngineName = "own",
    cross_check: Annotated[
        bool, typer.Option("--cross-check", help="Compare our slopes with richdem's (optional package).")
    ] = False,
    vertical_error: VerticalError = None,
    correlation: Correlation = None,
    z_unit: ZUnit = None,
    compress: Annotated[str, typer.Option("--compress", help="How rasters are packed: deflate or none.")] = (
        "deflate"
    ),
    threads: Annotated[
        int | None, typer.Option("--threads", help="Blocks at once; one for each processor if not given.")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster", help="Dask scheduler to work on, or local:N for N workers here.", metavar="ADDRESS"
        ),
    ] = None,
    unknown_where_unreadable: Annotated[
        bool,
        typer.Option("--unknown-where-unreadable", help="Damaged blocks become unknown instead of stopping."),
    ] = False,
    resume: Annotated[bool, typer.Option("--resume", help="Continue with work that was cut short.")] = False,
    as_json: Json = False,
    figure: Annotated[Path | None, typer.Option("--figure", help="Draw it (PNG, PDF or SVG).")] = None,
    force: Force = False,
) -> None:
    """Make rasters of slope and angle bands of a whole elevation model of any size.

    Slope and bands if no raster is named. It measures; it decides nothing.
    """
    from steybrae.area.run import run_area
    from steybrae.cli.options import console, print_cautions, print_json
    from steybrae.files.whole import check_writable
    from steybrae.show.area_tables import print_area

    wanted = {"slope": slope, "tenths": tenths, "bands": bands, "aspect": aspect, "curvature": curvature}
    layers = tuple(name for name, chosen in wanted.items() if chosen) or ("slope", "bands")
    job = _job(
        dem,
        (*layers, "overhead", "start_zones") if overhead else layers,
        sample=sample,
        edges=edges,
        method=method,
        engine=engine,
        vertical_error=vertical_error,
        correlation=correlation,
        start_slopes=start_slopes,
        start_area=start_area,
        z_unit=z_unit,
        compress=compress,
        unknown_where_unreadable=unknown_where_unreadable,
        cross_check=cross_check,
    )
    if figure is not None:
        check_writable(figure, force=force)
    with _workspace(job, out, figure, resume=resume, force=force) as work, _progress() as told:
        found = run_area(job, work, threads=_threads(threads), cluster=cluster, sample=sample, told=told)
        _texts(work, found)
        work.publish()
    if figure is not None:
        _draw(found, out, figure, force=force)
    if as_json:
        print_json("area", found)
        return
    to = console()
    print_area(found, to)
    print_cautions(found.cautions, to)


def _job(dem: list[Path] | None, layers: tuple[str, ...], *, sample: bool, **options: Any) -> AreaJob:
    from steybrae.area.job import AreaJob
    from steybrae.bands import BandScheme, parse_edges
    from steybrae.cli.inputs import length_m, start_rules
    from steybrae.errors import ModelError
    from steybrae.files.sample import sample_model
    from steybrae.terrain.engines import check_engine
    from steybrae.terrain.gradients import check_method
    from steybrae.terrain.start_zones import StartRules

    paths = tuple(dem or ()) or ((sample_model(),) if sample else ())
    if not paths:
        message = "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it."
        raise ModelError(message)
    edges, method = options.pop("edges"), check_method(options.pop("method"))
    return AreaJob(
        paths=tuple(path.absolute() for path in paths),
        layers=layers,
        bands=BandScheme() if edges is None else parse_edges(edges),
        method=method,
        engine=check_engine(options.pop("engine"), method),
        vertical_sd_m=length_m(options.pop("vertical_error"), "The vertical error"),
        correlation_m=length_m(options.pop("correlation"), "The correlation length", zero=True),
        start_rules=start_rules(StartRules(), options.pop("start_slopes"), options.pop("start_area")),
        **options,
    )


def _threads(threads: int | None) -> int:
    from steybrae.errors import QuantityError

    if threads is None:
        return os.cpu_count() or 1
    if threads < 1:
        message = (
            f"The number of threads should be 1 or more; got {threads}. Leave --threads out to take all."
        )
        raise QuantityError(message)
    return threads


def _workspace(job: AreaJob, out: Path, figure: Path | None, *, resume: bool, force: bool) -> Workspace:
    from steybrae.area.run import job_identity, output_names
    from steybrae.files.area_outputs import WORK, Workspace
    from steybrae.files.rasters import open_model
    from steybrae.files.whole import check_not_read

    with open_model(job.paths, job.z_unit) as model:
        identity = job_identity(job, model.info)
    read = [file for files in model.info.parts for file in files]
    outputs = [out / name for name in output_names(job)] + ([] if figure is None else [figure])
    # The working folder is thrown away at the end.
    check_not_read([*outputs, out / WORK], [*read, *{folder for file in read for folder in file.parents}])
    return Workspace(out, identity, output_names(job), resume=resume, force=force)


def _texts(work: Workspace, found: AreaResult) -> None:
    from steybrae.files.results import json_text
    from steybrae.show.area_tables import area_csv, area_readme

    work.write_text("table.csv", area_csv(found))
    work.write_text("table.json", json_text("area", found) + "\n")
    work.write_text("README.txt", area_readme(found))


def _draw(found: AreaResult, out: Path, figure: Path, *, force: bool) -> None:
    from steybrae.files.area_preview import read_preview
    from steybrae.show.area_figures import write_area_figure

    bands, overhead = (
        read_preview(out / name, found.model.cell_size_m) if name in found.outputs else None
        for name in ("bands.tif", "overhead.tif")
    )
    write_area_figure(found, bands, overhead, figure, force=force)


@contextmanager
def _progress() -> Iterator[Told | None]:
    """Show a bar with the time left on a terminal, nothing in a pipe."""
    from rich.console import Console

    to = Console(stderr=True)
    if not to.is_terminal:
        yield None
        return
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TaskID,
        TextColumn,
        TimeRemainingColumn,
    )

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=to, transient=True) as bar:
        tasks: dict[str, TaskID] = {}

        def told(what: str, done: int, of: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=None)
            bar.update(tasks[what], completed=done, total=of)

        yield told
