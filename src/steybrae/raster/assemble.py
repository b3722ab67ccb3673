"""From the parts of a run to one GeoTIFF for each raster, with overviews, names and colours."""

from __future__ import annotations

import math
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import BLOCK_LEVELS, SMALL, Layout
from steybrae.raster.files.outputs import SmallFile, Workspace
from steybrae.raster.files.tiff import HEADER_BYTES, TILE, Level, encode_tiles, raster_tags, write_directories
from steybrae.raster.job import LAYERS, AreaJob, Layer, halve
from steybrae.raster.legend import Colour, Value, aux_xml, metadata, raster_colours
from steybrae.raster.overhead.result import RasterValue
from steybrae.raster.result import AreaResult
from steybrae.raster.station import whole_tiles
from steybrae.terrain.dem import Grid

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
                nodata=layer.unknown if layer.nodata else None,
                tags=metadata(result, layer),
                text=layer.text,
                unit=layer.unit,
                scale=layer.scale,
                colours=colours,
            )
            write_directories(file, tags, levels)
        text = aux_xml(
            crs_wkt=None if holds_crs else grid.crs.to_wkt(),
            values=_values(result, name, colours or {}),
        )
        if colours is not None or not holds_crs:
            work.write_text(f"{name}.tif.aux.xml", text)
        path.replace(finished)


def _values(result: AreaResult, name: str, colours: Mapping[int, Colour]) -> tuple[Value, ...]:
    """Values of a raster of classes; none of a raster of measures."""
    if result.overhead is not None and name in ("overhead", "start_zones"):
        over = result.overhead
        return _named_values(over.overhead_values if name == "overhead" else over.start_zone_values, colours)
    if name == "bands_possible":
        return _named_values(result.bands_possible, colours)
    return _band_values(result, colours) if name == "bands" else ()


def _named_values(rows: Sequence[RasterValue], colours: Mapping[int, Colour]) -> tuple[Value, ...]:
    return tuple(
        Value(row.value, row.words, colours[row.value], row.cells, row.km2, None, None) for row in rows
    )


def _band_values(result: AreaResult, colours: Mapping[int, Colour]) -> tuple[Value, ...]:
    rows = sorted(result.bands, key=lambda row: row.value)
    return tuple(
        Value(
            value=row.value,
            name="unknown"
            if row.band is None
            else f"{row.band.label} degrees over {result.baseline_m:.1f} m",
            colour=colours[row.value],
            cells=row.cells,
            low_deg=None if row.band is None else row.band.low_deg,
            high_deg=None if row.band is None else row.band.high_deg,
            km2=row.km2,
        )
        for row in rows
    )


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
