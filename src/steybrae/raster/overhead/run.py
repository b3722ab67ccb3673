"""Overhead angles of every cell of a model: start zones, then the energy line, in a working folder.

Done before the rasters are made, on this machine. The blocks that make the rasters, here or on a
cluster, then read what they need of it (`steybrae.raster.overhead.layers`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.files.model.rasters import RasterModel
from steybrae.raster.blocks import BLOCK, Layout
from steybrae.raster.files.heights import BadBlock, RawHeights, cache_for, this_thread
from steybrae.raster.files.outputs import Workspace
from steybrae.raster.job import AreaJob, Told
from steybrae.raster.overhead.energy import ANGLES_DEG, Energy
from steybrae.raster.overhead.frames import Frames
from steybrae.raster.overhead.kernel import ready
from steybrae.raster.overhead.layers import OPEN_CELLS
from steybrae.raster.overhead.pieces import Pieces, open_pieces, put_piece
from steybrae.raster.overhead.steps import smallest_cell_m
from steybrae.raster.overhead.survey import Survey
from steybrae.raster.overhead.unknown import overlooked_by_unknown
from steybrae.raster.threads import each

__all__ = ["make_overhead"]

Cells = NDArray[Any]

ANGLES_AT_ONCE: Final = 16
"""Angles for which a block's heights are read once. What a kill loses is the angles under way."""

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


def make_overhead(job: AreaJob, work: Workspace, model: RasterModel, threads: int, told: Told) -> None:
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
        _solved(site, float(np.nanmin(low_m)), set() if done is None else set(done["angles_deg"].tolist()))


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
        put_piece(site.pieces.classes, block, classes)
        place = tuple(
            slice(first // side, first // side + size)
            for first, size in zip((block.row, block.col), low.shape, strict=True)
        )
        low_m[place], high_m[place], unknown[place] = low, high, any_unknown

    for count, _ in enumerate(each(site.pool, one, range(layout.count)), 1):
        site.told("start zones", count, layout.count)
    cell_m = smallest_cell_m(site.heights.grid)
    above = overlooked_by_unknown((low_m, high_m), unknown, side, cell_m, site.job.reach_m)
    site.work.keep(OPEN_CELLS, low_m=low_m, open=above, side=np.array(side))
    return low_m


def _solved(site: _Site, lowest_m: float, done: set[int]) -> None:
    """Solve for the angles that are left, some at a time."""
    pieces, count = site.pieces, site.layout.count
    energy = Energy(site.heights, site.layout, pieces.classes, pieces.steepest, lowest_m, site.cache_bytes)
    angles = sorted(set(ANGLES_DEG) - done)
    visits = 0
    for first in range(0, len(angles), ANGLES_AT_ONCE):
        group = angles[first : first + ANGLES_AT_ONCE]
        later = count * math.ceil(len(angles[first + ANGLES_AT_ONCE :]) / ANGLES_AT_ONCE)

        def visited(waiting: int, later: int = later) -> None:
            nonlocal visits
            visits += 1
            site.told("what looks down", visits, visits + waiting + later)

        with closing(Frames(site.work.folder / "frames.pieces", site.layout, len(group))) as frames:
            energy.solve(group, frames, site.pool, visited)
        done = done | set(group)
        site.work.keep(DONE, angles_deg=np.array(sorted(done)))
