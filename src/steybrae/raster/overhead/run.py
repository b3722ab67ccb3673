"""Overhead angles of every cell of a model: start zones, then the energy line, in a working folder.

Done before the rasters are made: start zones on this machine, angles here or on a cluster. The blocks that
make the rasters then read what they need of it (`steybrae.raster.overhead.layers`).
"""

from __future__ import annotations

import threading
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.files.model.rasters import RasterModel
from steybrae.raster.blocks import BLOCK, Layout, each
from steybrae.raster.files.heights import BadBlock, RawHeights, cache_for, this_thread
from steybrae.raster.files.outputs import Workspace
from steybrae.raster.job import AreaJob, Told
from steybrae.raster.overhead.energy import ANGLES_AT_ONCE, ANGLES_DEG, open_energy
from steybrae.raster.overhead.heads import ready
from steybrae.raster.overhead.layers import OPEN_CELLS, Pieces, open_pieces, put_piece
from steybrae.raster.overhead.survey import Survey, overlooked_by_unknown, ringed_heights_m, smallest_cell_m

Cells = NDArray[Any]

DONE: Final = "overhead_done"
"""Name under which the working folder keeps the angles that are done."""


@dataclass(frozen=True, eq=False)
class _Site:
    """A model, its blocks and who works on them."""

    job: AreaJob
    work: Workspace
    heights: RawHeights
    cache_bytes: int
    layout: Layout
    pieces: Pieces
    pool: ThreadPoolExecutor
    told: Told


def make_overhead(
    job: AreaJob,
    work: Workspace,
    model: RasterModel,
    threads: int,
    told: Told,
    cluster: str | None = None,
) -> None:
    """Find the start zones of a model and how steeply snow from them could reach each cell.

    Parameters
    ----------
    job
        What counts as a start zone, and how far unknown ground is looked at.
    work
        Working folder; what a run that was cut short has done there is not done again.
    model
        Open model.
    threads
        How many blocks at once.
    told
        Called as blocks are done.
    cluster
        Where angles are worked on, each worker for all of the model; None works here, in threads.
    """
    told("compiling, the first time", 0, 1)
    ready()
    told("compiling, the first time", 1, 1)
    with _site(job, work, model, threads, told) as site:
        kept = work.kept(OPEN_CELLS)
        low_m = _surveyed(site) if kept is None else kept["low_m"]
        if np.isnan(low_m).all():
            return
        done = work.kept(DONE)
        angles = set() if done is None else set(done["angles_deg"].tolist())
        _solved(site, float(np.nanmin(low_m)), angles, cluster)


@contextmanager
def _site(job: AreaJob, work: Workspace, model: RasterModel, threads: int, told: Told) -> Iterator[_Site]:
    def met(_: BadBlock) -> None:
        """Pass over it: it is counted when the rasters are made."""

    cache_bytes, _ = cache_for(model, BLOCK + 2)
    heights = RawHeights(model, met if job.unknown_where_unreadable else None)
    with ExitStack() as stack:
        pieces = stack.enter_context(open_pieces(work.folder))
        pool = stack.enter_context(ThreadPoolExecutor(threads))
        stack.callback(pool.shutdown, cancel_futures=True)
        yield _Site(job, work, heights, cache_bytes, Layout(*model.grid.shape), pieces, pool, told)


def _surveyed(site: _Site) -> Cells:
    """Survey every block; lowest known ground of each coarse cell."""
    layout, survey = site.layout, Survey(site.heights, site.job, site.layout)
    side = survey.side
    shape = -(-layout.rows // side), -(-layout.cols // side)
    low_m, high_m = (np.full(shape, np.nan, np.float32) for _ in range(2))
    unknown = np.zeros(shape, np.bool_)

    def one(number: int) -> None:
        block = layout.block(number)
        with this_thread(site.cache_bytes):
            classes, (low, high), any_unknown = survey.block(block)
            heights = ringed_heights_m(site.heights, layout, block)
        put_piece(site.pieces.classes, block, classes)
        site.pieces.put_heights(block, heights)
        place = tuple(
            slice(first // side, first // side + size)
            for first, size in zip((block.row, block.col), low.shape, strict=True)
        )
        low_m[place], high_m[place], unknown[place] = low, high, any_unknown

    for count, _ in enumerate(each(site.pool, one, range(layout.count)), 1):
        site.told("start zones", count, layout.count)
    cell_m = smallest_cell_m(site.heights.grid)
    above = overlooked_by_unknown((low_m, high_m), unknown, side, cell_m, site.job.settings.reach_m)
    site.work.keep(OPEN_CELLS, low_m=low_m, open=above, side=np.array(side))
    return low_m


def _solved(site: _Site, lowest_m: float, done: set[int], cluster: str | None) -> None:
    """Solve for the angles that are left, some at a time in each thread or worker; the flattest first."""
    angles = sorted(set(ANGLES_DEG) - done)
    groups = [tuple(angles[k : k + ANGLES_AT_ONCE]) for k in range(0, len(angles), ANGLES_AT_ONCE)]
    if cluster is None:
        solved = _in_threads(site, lowest_m, groups)
    else:
        from steybrae.raster.cluster import angles_on_cluster  # noqa: PLC0415  an optional extra

        solved = _told_groups(site, angles_on_cluster(site.job, site.work.folder, groups, cluster), groups)
    with closing(solved):
        for group in solved:
            done = done | set(group)
            site.work.keep(DONE, angles_deg=np.array(sorted(done)))


Groups = Generator[tuple[int, ...], None, None]


def _in_threads(site: _Site, lowest_m: float, groups: Sequence[tuple[int, ...]]) -> Groups:
    lock, visits, of = threading.Lock(), 0, len(groups) * site.layout.count

    def visited() -> None:
        nonlocal visits
        with lock:
            visits += 1
            site.told("overhead angles", visits, of)

    with open_energy(site.work.folder, site.heights.grid, site.pieces, lowest_m) as energy:

        def one(group: tuple[int, ...]) -> tuple[int, ...]:
            energy.solve(group, visited)
            return group

        try:
            yield from each(site.pool, one, groups)
        finally:
            site.pool.shutdown(cancel_futures=True)


def _told_groups(site: _Site, solved: Groups, groups: Sequence[tuple[int, ...]]) -> Groups:
    with closing(solved):
        for count, group in enumerate(solved, 1):
            site.told("overhead angles", count, len(groups))
            yield group
