"""Where blocks are worked on: an open model, part files, and what a thread needs for each block.

A station belongs to one process and is shared by its threads. A block goes in as a number and
comes out as a record of plain numbers; heights and slopes never leave the process.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.files.model.heights import same_cells
from steybrae.files.model.rasters import RasterModel, open_model
from steybrae.raster.blocks import (
    BLOCK,
    BLOCK_LEVELS,
    SMALL,
    STRIP_ROWS,
    Block,
    BlockMetric,
    Layout,
    block_metric,
    filled,
)
from steybrae.raster.files.heights import BadBlock, RawHeights, cache_for, this_thread
from steybrae.raster.files.outputs import PartFile, SmallFile, free_writer_name
from steybrae.raster.files.tiff import TILE, encode_tiles
from steybrae.raster.job import BELT_M, LAYERS, LEVEL, SLOPES, AreaJob, Layer, halve
from steybrae.raster.kernel import Kernel
from steybrae.raster.overhead.layers import OverheadCells, count_overhead, open_overhead
from steybrae.raster.tally import Pieces, Tally
from steybrae.raster.windows import (
    TWO_CELLS,
    BlockHeights,
    Halves,
    count_possible,
    possible_bands,
    profile_curvature,
)
from steybrae.terrain.attributes import FLAT_GRADIENT, aspect_deg, slope_field
from steybrae.terrain.dem import Dem
from steybrae.terrain.jacobian import jacobian_field

Cells = NDArray[Any]
Record = dict[str, Any]

FAST: Final = (*SLOPES, "bands")
SLOW: Final = ("aspect", "curvature")


class Station:
    """Works on blocks of one job; make it with `open_station`."""

    def __init__(
        self, job: AreaJob, model: RasterModel, folder: Path, writer: str, overhead: OverheadCells | None
    ) -> None:
        self.job, self.model, self.writer = job, model, writer
        self.layout = Layout(*model.grid.shape)
        self._halves = {name: job.halves(model.grid, name) for name in FAST}
        # The kernel takes one column more than a window; roughness takes the slopes of neighbours.
        wide, high = (max(sides) for sides in zip(*self._halves.values(), strict=True))
        short = 2 if "bands_possible" in job.layers else 1
        self._margin = max(high, short), max(wide if wide == 1 else wide + 1, short)
        self._known = job.uncertainty(model.grid)
        # Beside the blocks of a row, the tiles that their rings touch.
        self._cache_bytes, _ = cache_for(model, BLOCK + 2 * self._margin[0])
        self._bad: dict[BadBlock, None] = {}
        self._bad_lock = threading.Lock()
        self._heights = RawHeights(model, self._note_bad if job.unknown_where_unreadable else None)
        self._overhead = overhead
        self._own = threading.local()
        self._parts = {name: PartFile(folder / f"{name}.{writer}.part") for name in job.layers}
        self._small = {
            name: SmallFile(folder / f"{name}.small", SMALL**2 * np.dtype(LAYERS[name].dtype).itemsize)
            for name in (job.layers if self.layout.levels > BLOCK_LEVELS else ())
        }

    def close(self) -> None:
        """Close the files."""
        for part in self._parts.values():
            part.close()
        for small in self._small.values():
            small.close()

    def _note_bad(self, bad: BadBlock) -> None:
        with self._bad_lock:
            self._bad[bad] = None

    def work(self, number: int) -> Record:
        """Make a block of every raster, write it, and count its cells.

        ``block``, ``writer``, ``tiles`` (for each raster and level: where the tiles begin and
        the size of each), ``tally`` (`steybrae.raster.tally.Tally.rows`), ``looked`` and
        ``possible`` (the same of `count_overhead` and `count_possible`), ``bad`` (unreadable
        blocks of the input met so far by this process), ``absurd``, ``same`` and ``cells`` (heights
        that no land has, in stretches of one number, and all of them) and, where asked for, ``compared``.
        """
        block = self.layout.block(number)
        with this_thread(self._cache_bytes):
            high, wide = self._margin
            shape = block.rows + 2 * high, block.cols + 2 * wide
            raw = self._buffer("heights", shape, self._heights.dtype)
            absurd = self._heights.read(block.row - high, block.col - wide, raw)
            ground = BlockHeights(self.job, raw, self._margin)
            own = ground.ringed()
            made, pieces, counted = self._make(block, ground, own)
            tiles = {name: self._write(LAYERS[name], block, cells) for name, cells in made.items()}
        with self._bad_lock:
            bad = [[found.file, found.row, found.col] for found in self._bad]
        record = {
            "block": number,
            "writer": self.writer,
            "tiles": tiles,
            "tally": pieces.tally().rows(),
            **{name: tally.rows() for name, tally in counted.items()},
            "bad": bad,
            "absurd": absurd,
            "same": same_cells(own[1:-1, 1:-1]),
            "cells": block.rows * block.cols,
        }
        if self.job.cross_check:
            from steybrae.raster.tally import compare_block  # noqa: PLC0415  slow to load, seldom asked for

            record["compared"] = [
                compare_block(dem, (block.row + first, block.col)) for first, dem in self._strips(block, own)
            ]
        return record

    def _make(
        self, block: Block, ground: BlockHeights, own: Cells
    ) -> tuple[dict[str, Cells], Pieces, dict[str, Tally]]:
        job, heights = self.job, self._heights
        counted = {"looked": Tally(), "possible": Tally()}
        made = {name: self._empty(LAYERS[name], block) for name in job.layers}
        pieces = Pieces(len(job.settings.bands.bands), BELT_M, heights.step_m, heights.offset_m)
        metric = block_metric(heights.grid, (block.row, block.col), (block.rows, block.cols))
        fast = {name: cells for name, cells in made.items() if name in FAST}
        if self._overhead is not None:
            fast.setdefault("bands", self._empty(LAYERS["bands"], block))
        leading = self._fill(ground, own, metric, fast, pieces)
        if "bands_possible" in made:
            short = self._short(block, ground)
            slope = short[1:-1, 1:-1] if leading is None else leading
            possible_bands(slope, short, self._known, job.settings.bands.edges_deg, made["bands_possible"])
            count_possible(counted["possible"], made["bands_possible"], metric)
        if self._overhead is not None:
            known = np.isfinite(own[1:-1, 1:-1])
            made["overhead"][...] = self._overhead.codes(block, known)
            made["start_zones"][...] = self._overhead.classes(block)
            bands = fast["bands"].reshape(block.rows, block.cols)
            count_overhead(counted["looked"], bands, made["overhead"], made["start_zones"], metric)
        if set(SLOW) & set(made):
            for first, dem in self._strips(block, own):
                self._slow(first, dem, made)
        return made, pieces, counted

    def _fill(
        self, ground: BlockHeights, own: Cells, metric: BlockMetric, fast: dict[str, Cells], pieces: Pieces
    ) -> Cells | None:
        """Fill slopes and bands, each over its window; slopes over the leading one where that is wider."""
        leading = self._halves["bands"]
        by_window: dict[Halves, dict[str, Cells]] = {leading: {}}
        for name, cells in fast.items():
            by_window.setdefault(self._halves[name], {})[name] = cells
        wide = None
        if leading != TWO_CELLS and "bands_possible" in self.job.layers:
            shape = own.shape[0] - 2, own.shape[1] - 2
            wide = self._buffer("leading", shape, np.float32)
            by_window[leading]["leading"] = wide
        for halves, out in by_window.items():
            counts = pieces if halves == leading else None
            self._kernel().fill(own, metric, self._heights.step_m, out, counts, ground.steps(halves))
        return wide

    def _short(self, block: Block, ground: BlockHeights) -> Cells:
        """Slopes over two cells of a block and one ring, degrees."""
        out = self._buffer("short", (block.rows + 2, block.cols + 2), np.float32)
        metric = block_metric(self._heights.grid, (block.row - 1, block.col - 1), out.shape)
        z, steps = ground.ringed(2), ground.steps(TWO_CELLS, 1)
        self._kernel().fill(z, metric, self._heights.step_m, {"slope": out}, None, steps)
        return out

    def _buffer(self, name: str, shape: tuple[int, ...], dtype: Any) -> Cells:
        """Array of this thread, used anew for each block: fresh memory costs as much as the arithmetic."""
        kept = self._own.__dict__.setdefault("buffers", {})
        if name not in kept or kept[name].shape != shape:
            kept[name] = np.empty(shape, dtype)
        found: Cells = kept[name]
        return found

    def _empty(self, layer: Layer, block: Block) -> Cells:
        """Array for a block: tile by tile where the tiles are whole and go to the file as they are."""
        shape: tuple[int, ...] = (block.rows, block.cols)
        if layer.name in FAST and not (block.rows % TILE or block.cols % TILE):
            shape = (block.rows // TILE, TILE, block.cols // TILE, TILE)
            return self._buffer(layer.name, (shape[0], shape[2], TILE, TILE), layer.dtype).swapaxes(1, 2)
        return self._buffer(layer.name, shape, layer.dtype)

    def _kernel(self) -> Kernel:
        if not hasattr(self._own, "kernel"):
            self._own.kernel = Kernel(self.job.settings.method, self.job.settings.bands.edges_deg)
        kernel: Kernel = self._own.kernel
        return kernel

    def _strips(self, block: Block, raw: Cells) -> Iterator[tuple[int, Dem]]:
        """Cut a block into strips in double precision, with their ring: first row and heights in metres."""
        heights = self._heights
        for first in range(0, block.rows, STRIP_ROWS):
            part = raw[first : first + STRIP_ROWS + 2].astype(np.float64)
            grid = heights.grid.part(block.row - 1 + first, block.col - 1, *part.shape)
            yield first, Dem(grid, part * heights.step_m + heights.offset_m)

    def _slow(self, first: int, dem: Dem, made: dict[str, Cells]) -> None:
        """Aspect and curvature of a strip."""
        field = slope_field(dem, self.job.settings.method, engine=self.job.settings.engine)
        inside = (slice(1, -1), slice(1, -1))
        rows = slice(first, first + dem.grid.shape[0] - 2)
        if "aspect" in made:
            facing = aspect_deg(field.p, field.q)
            level = np.isnan(facing) & ~np.isnan(field.slope_deg)
            made["aspect"][rows] = np.where(level, LEVEL, facing)[inside]
        if "curvature" in made:
            jacobian = jacobian_field(dem.grid)
            bend = profile_curvature(dem.heights_m, jacobian, field.p, field.q, FLAT_GRADIENT)
            made["curvature"][rows] = bend[inside]

    def _write(self, layer: Layer, block: Block, cells: Cells) -> list[list[Any]]:
        """Write a block's tiles of every level it finishes, and its cells of the next."""
        found = []
        for level in range(min(BLOCK_LEVELS, self.layout.levels) + 1):
            data, sizes = encode_tiles(whole_tiles(cells, layer), self.job.compress)
            found.append([self._parts[layer.name].append(data), sizes])
            if level < self.layout.levels:
                cells = halve(cells, layer)
        if layer.name in self._small:
            piece = filled(cells, (SMALL, SMALL), layer.unknown)
            self._small[layer.name].write(block.number, piece.tobytes())
        return found


def whole_tiles(cells: Cells, layer: Layer) -> Cells:
    """Cells filled up to whole tiles."""
    if cells.ndim == 4:
        return cells
    rows, cols = (-(-size // TILE) * TILE for size in cells.shape)
    return filled(cells, (rows, cols), layer.unknown)


@contextmanager
def open_station(job: AreaJob, folder: Path) -> Iterator[Station]:
    """Open a job's model and a new writer's files in a working folder (`Workspace` of its outputs)."""
    with ExitStack() as stack:
        model = stack.enter_context(open_model(job.paths, job.z_unit))
        overhead = stack.enter_context(open_overhead(folder, model.grid)) if job.overhead else None
        station = Station(job, model, folder, free_writer_name(), overhead)
        stack.callback(station.close)
        yield station
