"""A whole raster from the first block to the finished files."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any, Final

from steybrae import __version__
from steybrae.cautions import HeightsRead
from steybrae.errors import ModelError
from steybrae.files.model.rasters import ModelInfo, open_model
from steybrae.raster.assemble import assemble
from steybrae.raster.blocks import BLOCK, Layout, each
from steybrae.raster.files.heights import BadBlock, cache_for
from steybrae.raster.files.outputs import Workspace
from steybrae.raster.job import AreaJob, Told
from steybrae.raster.result import AreaResult, Counted, area_result
from steybrae.raster.station import open_station
from steybrae.raster.tally import Tally

TEXTS: Final = ("table.csv", "table.json", "README.txt")
"""Texts that stand beside the rasters."""


Records = Generator[dict[str, Any], None, None]


def output_names(job: AreaJob) -> tuple[str, ...]:
    """Names of every file of a job, in the output folder; the words about them last."""
    rasters = [name for layer in job.layers for name in (f"{layer}.tif", f"{layer}.tif.aux.xml")]
    return (*rasters, *TEXTS)


WORK_KIND: Final = 3
"""Which way working folders keep their pieces, and what a block says; raised with either, for what is kept
otherwise is misread, and what was found otherwise has other numbers."""


def job_identity(job: AreaJob, info: ModelInfo) -> dict[str, Any]:
    """Tell what may be joined: the job, which files its model was and when, what computes and keeps it."""
    return {
        "job": job.identity(),
        "fingerprints": list(info.fingerprints),
        "state": info.state(),
        "steybrae": __version__,
        "work": WORK_KIND,
    }


def run_area(
    job: AreaJob,
    work: Workspace,
    *,
    threads: int = 1,
    cluster: str | None = None,
    told: Told | None = None,
) -> AreaResult:
    """Make every raster of a job in a working folder.

    Parameters
    ----------
    work
        Where it is made; blocks in its journal are not made again.
    threads
        How many blocks at once, on this machine.
    cluster
        Address of a Dask scheduler, or ``local:N``; None works here, in threads.
    told
        Called as blocks are done.

    Returns
    -------
    AreaResult
        The rasters lie in the working folder under their final names, for `Workspace.publish`.

    Raises
    ------
    FileReadError
        A block of the input is damaged.
    FileWriteError
        The system refuses to write.
    ModelError
        A file of the model was written to meanwhile.
    MissingExtraError
        An optional package is missing.
    """
    told = told or _quiet
    with open_model(job.paths, job.z_unit) as model, work.refusals():
        layout, began = Layout(*model.grid.shape), model.info.state()
        if job.overhead:
            # Compiles, or loads what was compiled.
            from steybrae.raster.overhead.run import make_overhead  # noqa: PLC0415

            make_overhead(job, work, model, threads, told, cluster)
        _, striped = cache_for(model, BLOCK)
        _make_blocks(job, work, list(layout.order(striped=striped)), threads, cluster, told)
        _check_unchanged(model.info, began)
        result = area_result(job, model, _counted(work))
        assemble(job, work, layout, model.grid, result)
    return result


def _check_unchanged(info: ModelInfo, began: str) -> None:
    if info.state() != began:
        message = (
            f"The elevation model {', '.join(info.files)} should stay as it is while a run reads it; one of "
            "its files was written to. Begin anew with --force."
        )
        raise ModelError(message)


def _quiet(_what: str, _done: int, _of: int) -> None:
    """Tell nobody."""


def _make_blocks(
    job: AreaJob, work: Workspace, order: Sequence[int], threads: int, cluster: str | None, told: Told
) -> None:
    done = {record["block"] for record in work.records()}
    todo = [number for number in order if number not in done]
    if not todo:
        return
    if cluster is None:
        records = _in_threads(job, work, todo, threads)
    else:
        from steybrae.raster.cluster import on_cluster  # noqa: PLC0415  an optional extra

        records = on_cluster(job, work.folder, todo, cluster)
    # Closed here and now, also after an error: what the workers have open belongs to this thread.
    with closing(records):
        for count, record in enumerate(records, len(done) + 1):
            work.add(record)
            told("rasters", count, len(order))


def _in_threads(job: AreaJob, work: Workspace, todo: Sequence[int], threads: int) -> Records:
    # richdem's bars are silenced for the whole process, which only one thread may do at a time.
    many = 1 if job.settings.engine != "own" or job.cross_check else threads
    with open_station(job, work.folder) as station, ThreadPoolExecutor(many) as pool:
        try:
            yield from each(pool, station.work, todo)
        finally:
            pool.shutdown(cancel_futures=True)


def _counted(work: Workspace) -> Counted:
    tally, looked, possible = Tally(), Tally(), Tally()
    bad: set[BadBlock] = set()
    compared: list[Any] = []
    seen: set[int] = set()
    absurd = same = cells = 0
    for record in work.records():
        if record["block"] in seen:
            continue
        seen.add(record["block"])
        tally.add_rows(record["tally"])
        looked.add_rows(record["looked"])
        possible.add_rows(record["possible"])
        bad.update(BadBlock(*found) for found in record["bad"])
        absurd, same, cells = absurd + record["absurd"], same + record["same"], cells + record["cells"]
        compared += record.get("compared", [])
    cross_check = None
    if compared:
        from steybrae.raster.tally import joined  # noqa: PLC0415  slow to load, seldom asked for

        cross_check = joined(compared)
    return Counted(
        tally=tally,
        looked=looked,
        possible=possible,
        bad=tuple(sorted(bad, key=lambda found: (found.file, found.row, found.col))),
        cross_check=cross_check,
        heights=HeightsRead(absurd / max(cells, 1), same / max(cells, 1)),
    )
