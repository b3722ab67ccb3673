"""Overhead angles of every cell of a model: start zones, then the energy line, in a working folder.

Done before the rasters are made: start zones on this machine, angles here or on a cluster. The blocks that
make the rasters then read what they need of it (`steybrae.raster.overhead.layers`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack, contextmanager
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.files.model.rasters import RasterModel
from steybrae.frozen import dataclass
from steybrae.raster.blocks import BLOCK, Layout, each
from steybrae.raster.files.heights import BadBlock, RawHeights, cache_for, this_thread
from steybrae.raster.files.outputs import Workspace
from steybrae.raster.job import AreaJob, Told
from steybrae.raster.overhead.energy import ANGLES_DEG, Task, frames_file, open_energy
from steybrae.raster.overhead.heads import ready
from steybrae.raster.overhead.kernel import LANES
from steybrae.raster.overhead.layers import OPEN_CELLS, Pieces, open_pieces
from steybrae.raster.overhead.survey import Survey, overlooked_by_unknown, smallest_cell_m

Cells = NDArray[Any]

Panel = tuple[tuple[int, ...], int]
"""Angles and number of a panel."""

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
    threads: int
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

    What a run that was cut short has done in the working folder is not done again. Panels are
    settled on `cluster`, each at some angles, or here, in as many threads; `told` is called as
    blocks are done.
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
        pieces = stack.enter_context(open_pieces(work.folder, model.grid.shape))
        pool = stack.enter_context(ThreadPoolExecutor(threads))
        stack.callback(pool.shutdown, cancel_futures=True)
        yield _Site(job, work, heights, cache_bytes, Layout(*model.grid.shape), pieces, pool, threads, told)


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
            found = survey.block(block)
        site.pieces.put_block(block, found.classes, found.ringed_m)
        place = tuple(
            slice(first // side, first // side + size)
            for first, size in zip((block.row, block.col), found.unknown.shape, strict=True)
        )
        (low_m[place], high_m[place]), unknown[place] = found.ends_m, found.unknown

    for count, _ in enumerate(each(site.pool, one, range(layout.count)), 1):
        site.told("start zones", count, layout.count)
    cell_m = smallest_cell_m(site.heights.grid)
    above = overlooked_by_unknown((low_m, high_m), unknown, side, cell_m, site.job.settings.reach_m)
    site.work.keep(OPEN_CELLS, low_m=low_m, open=above, side=np.array(side))
    return low_m


def _solved(site: _Site, lowest_m: float, done: set[int], cluster: str | None) -> None:
    """Solve for the angles that are left; those of a group are kept once no part gets more."""
    angles = sorted(set(ANGLES_DEG) - done)
    groups = [tuple(angles[k : k + LANES]) for k in range(0, len(angles), LANES)]
    if not groups:
        return
    for end in ("frames", "begun"):
        # By a run that was stopped.
        for left in site.work.folder.glob(f"*.{end}"):
            left.unlink()
    with _panel_workers(site, lowest_m, cluster) as (pool, many, settle):
        for group in _settled(pool, many, settle, groups, site):
            frames_file(site.work.folder, group).unlink(missing_ok=True)
            done = done | set(group)
            site.work.keep(DONE, angles_deg=np.array(sorted(done)))


Settle = Callable[[Task], frozenset[int]]


@contextmanager
def _panel_workers(
    site: _Site, lowest_m: float, cluster: str | None
) -> Iterator[tuple[Executor, int, Settle]]:
    """Who settles panels, how many at once, and what they are given to do: threads here, or a cluster."""
    if cluster is not None:
        from steybrae.raster.cluster import settle_here, workers  # noqa: PLC0415  an optional extra

        with workers(site.job, site.work.folder, cluster) as (pool, many):
            yield pool, many, partial(settle_here, site.job, site.work.folder)
        return
    with open_energy(site.heights.grid, site.pieces, lowest_m) as energy:
        try:
            yield site.pool, site.threads, energy.settle
        finally:
            site.pool.shutdown(cancel_futures=True)


def _settled(
    pool: Executor, many: int, settle: Settle, groups: Sequence[tuple[int, ...]], site: _Site
) -> Iterator[tuple[int, ...]]:
    """Settle all panels at all angles, and again while others bring them more; groups as they are done."""
    layout = site.pieces.layout
    waiting: dict[Panel, frozenset[int] | None] = {
        (group, panel): None for group in groups for panel in range(layout.panels)
    }
    running: dict[Future[frozenset[int]], Task] = {}
    visited, of = 0, len(waiting)
    while waiting or running:
        for key in _next(waiting, [(task.angles_deg, task.panel) for task in running.values()], many):
            task = Task(*key, waiting.pop(key))
            running[pool.submit(settle, task)] = task
        ended, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in ended:
            task = running.pop(future)
            visited += task.asked is None
            for part in future.result():
                key = task.angles_deg, layout.panel_of(part)
                asked = waiting.get(key, frozenset())
                # A first visit is to all of them.
                waiting[key] = None if asked is None else asked | {part}
            site.told("overhead angles", visited, of)
            left = {*(group for group, _ in waiting), *(other.angles_deg for other in running.values())}
            if task.angles_deg not in left:
                yield task.angles_deg


def _next(waiting: Iterable[Panel], at_work: list[Panel], many: int) -> list[Panel]:
    """Panels to begin with: each once at a time, and at the angles at which the fewest are at work."""
    found: list[Panel] = []
    while len(at_work) + len(found) < many:
        busy = [*at_work, *found]
        free = [key for key in waiting if key not in busy]
        if not free:
            break
        found.append(min(free, key=lambda key: sum(group == key[0] for group, _ in busy)))
    return found
