"""A whole raster from the first block to the finished files."""

from __future__ import annotations

import math
import os
import shutil
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae import __version__
from steybrae.cautions import HeightsRead
from steybrae.errors import ModelError
from steybrae.files.model.rasters import ModelInfo, open_model
from steybrae.raster.blocks import BLOCK, BLOCK_LEVELS, SMALL, Layout, each
from steybrae.raster.files.heights import BadBlock, cache_for
from steybrae.raster.files.outputs import SmallFile, Workspace
from steybrae.raster.files.tiff import HEADER_BYTES, TILE, Level, encode_tiles, raster_tags, write_directories
from steybrae.raster.job import LAYERS, AreaJob, Layer, Told, halve
from steybrae.raster.legend import aux_xml, metadata, raster_colours
from steybrae.raster.result import AreaResult, Counted, area_result
from steybrae.raster.station import open_station, whole_tiles
from steybrae.raster.tally import Tally
from steybrae.terrain.dem import Grid

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


Cells = NDArray[Any]

COPY_BYTES: Final = 2**23
"""How much of a part is copied at once."""


def assemble(job: AreaJob, work: Workspace, layout: Layout, grid: Grid, result: AreaResult) -> None:
    """Make the finished files of a run, every block of which is in the journal, in its working folder.

    `result` is what the files say of themselves.
    """
    for name in job.layers:
        layer, finished = LAYERS[name], work.folder / f"{name}.tif"
        if finished.exists():
            continue  # by a run that was cut short after it
        path, shifts = _joined_parts(work, name)
        levels = _levels(work, name, layout, shifts)
        with path.open("r+b") as file:
            _upper_levels(file, layer, job, layout, levels, work.folder)
            colours = raster_colours(result, name)
            tags, holds_crs = raster_tags(
                layer.dtype,
                job.compress,
                grid.crs_wkt,
                grid.transform,
                nodata=layer.nodata,
                tags=metadata(result, layer),
                text=layer.text,
                unit=layer.unit,
                scale=layer.scale,
                colours=colours,
            )
            write_directories(file, tags, levels)
        if colours is not None or not holds_crs:
            text = aux_xml(result, name, None if holds_crs else grid.crs.to_wkt())
            work.write_text(f"{name}.tif.aux.xml", text)
        path.replace(finished)


def _joined_parts(work: Workspace, name: str) -> tuple[Path, dict[str, int]]:
    """One file with every writer's tiles, and how far each writer's moved in it.

    The others are appended to the largest part. Should that be cut short, the next run appends them
    once more, and what the first left in between is never pointed to.
    """
    parts = {
        writer: work.folder / f"{name}.{writer}.part" for writer in {r["writer"] for r in work.records()}
    }
    largest = max(parts, key=lambda writer: (parts[writer].stat().st_size, writer))
    shifts = {largest: 0}
    with parts[largest].open("r+b") as out:
        for writer in sorted(parts.keys() - shifts.keys()):
            shifts[writer] = out.seek(0, os.SEEK_END) - HEADER_BYTES
            with parts[writer].open("rb") as source:
                source.seek(HEADER_BYTES)
                shutil.copyfileobj(source, out, COPY_BYTES)
    return parts[largest], shifts


def _levels(work: Workspace, name: str, layout: Layout, shifts: dict[str, int]) -> list[Level]:
    """Where the tiles of every level lie; those that blocks do not make are still 0."""
    levels = []
    for level in range(layout.levels + 1):
        tiles = layout.tiles(level)
        levels.append(Level(*layout.size(level), np.zeros(tiles, np.uint64), np.zeros(tiles, np.uint64)))
    for record in work.records():
        block = layout.block(record["block"])
        for level, (start, sizes) in enumerate(record["tiles"][name]):
            row, col = (block.row >> level) // TILE, (block.col >> level) // TILE
            down, right = (math.ceil((-(-size >> level)) / TILE) for size in (block.rows, block.cols))
            ends = np.cumsum([0, *sizes])
            place = (slice(row, row + down), slice(col, col + right))
            begin = start + shifts[record["writer"]] + ends[:-1]
            levels[level].offsets[place] = begin.reshape(down, right)
            levels[level].sizes[place] = np.reshape(sizes, (down, right))
    return levels


def _upper_levels(
    file: Any, layer: Layer, job: AreaJob, layout: Layout, levels: list[Level], folder: Path
) -> None:
    """Make the overviews that span blocks, a row of tiles at a time."""
    if layout.levels <= BLOCK_LEVELS:
        return

    def tiles_of(level: int, row: int, cells: Cells) -> None:
        data, sizes = encode_tiles(whole_tiles(cells, layer), job.compress)
        start = file.seek(0, 2)
        file.write(data)
        levels[level].offsets[row] = start + np.cumsum([0, *sizes[:-1]])
        levels[level].sizes[row] = sizes

    pyramid = _Pyramid(BLOCK_LEVELS + 1, layer, layout, tiles_of)
    for rows in _small_rows(layer, layout, folder):
        pyramid.feed(rows)
    pyramid.end()


def _small_rows(layer: Layer, layout: Layout, folder: Path) -> Iterator[Cells]:
    """Rows of the first overview that spans blocks, one row of blocks at a time."""
    dtype = np.dtype(layer.dtype)
    small = SmallFile(folder / f"{layer.name}.small", SMALL**2 * dtype.itemsize)
    rows, cols = layout.size(BLOCK_LEVELS + 1)
    for down in range(layout.down):
        raw = small.read(down * layout.right, layout.right)
        pieces = np.frombuffer(raw, dtype).reshape(layout.right, SMALL, SMALL)
        joined = pieces.swapaxes(0, 1).reshape(SMALL, -1)
        yield joined[: min(SMALL, rows - down * SMALL), :cols]
    small.close()


class _Pyramid:
    """Levels above each other, each fed from the top down and passing half of it on."""

    def __init__(
        self, level: int, layer: Layer, layout: Layout, tiles_of: Callable[[int, int, Cells], None]
    ) -> None:
        self._level, self._layer, self._tiles_of = level, layer, tiles_of
        self._next = _Pyramid(level + 1, layer, layout, tiles_of) if level < layout.levels else None
        self._kept: list[Cells] = []
        self._count = self._row = 0

    def feed(self, rows: Cells) -> None:
        """Take more rows, at most half a tile's."""
        self._kept.append(rows)
        self._count += len(rows)
        if self._count >= TILE:
            self._pass_on()

    def _pass_on(self) -> None:
        cells = np.concatenate(self._kept)
        self._tiles_of(self._level, self._row, cells)
        self._kept, self._count, self._row = [], 0, self._row + 1
        if self._next is not None:
            self._next.feed(halve(cells, self._layer))

    def end(self) -> None:
        """Take what is left as the last rows."""
        if self._kept:
            self._pass_on()
        if self._next is not None:
            self._next.end()
