"""Draws any tile of any layer of an open desk's map; each layer is transparent."""

from __future__ import annotations

import math
import threading
from dataclasses import replace
from typing import Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from steybrae.desk.tiles.cells import BAND, NOT_LOOKED, TILE, UNKNOWN, Kept, MapCells, TileView
from steybrae.desk.tiles.contours import contour_unit, contours_png, interval_m
from steybrae.figures.style import (
    DASHES,
    UNKNOWN_HATCH,
    Mask,
    band_hatch,
    band_tint,
    colour,
    grey_png,
    hatch_ink,
    light_strength,
    not_looked,
    palette_png,
    pattern,
)
from steybrae.files.model.rasters import RasterModel
from steybrae.raster.blocks import Block
from steybrae.raster.job import AreaJob
from steybrae.raster.overhead.layers import POSSIBLE, START_ZONE
from steybrae.raster.overhead.survey import Survey, heights_m
from steybrae.screening.known import Settings
from steybrae.screening.model.look import found_near
from steybrae.screening.pictures.relief import light_on
from steybrae.terrain.dem import Array, Dem, Grid
from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.jacobian import cell_size_m

Layer = Literal["relief", "relief-alone", "bands", "zones", "contours", "unknown"]

LAYERS: Final = get_args(Layer)

FINEST: Final = 4
"""Finest zoom: a cell is 16 pixels wide (our choice)."""

ZONES_PIXEL_M: Final = 16.0
"""Ground of a pixel, metres, up to which start zones are outlined (our choice): beyond it nearly all of
steep ground would be outline."""

ZONES_FROM: Final = (-1, 2)
"""Coarsest and finest zoom at which outlines begin: coarser ones would take seconds on the finest models."""

ZONE_MARGIN: Final = 96
"""Most ground around a tile, cells, that zones are followed into (our choice): one that reaches farther
out is kept without being measured."""

MOST_TILE_BYTES: Final = 12 * 2**20
"""Finished tiles that are kept, bytes (our choice): a thousand of them."""


class MapDrawing:
    """The map of one model, with bands and start zones as `steybrae area` has them.

    `cells` are bands at every zoom, `zooms` the coarsest and finest; start zones are outlined from
    the zoom `zones_from` on.
    """

    def __init__(self, job: AreaJob, grid: Grid, settings: Settings) -> None:
        levels = max(0, (-(-max(grid.shape) // TILE) - 1).bit_length())
        self.zooms = (-levels, FINEST)
        self.cells = MapCells(job, grid, levels)
        self._settings = settings
        self._cell_m = max(cell_size_m(grid))
        least, most = ZONES_FROM
        self.zones_from = min(max(math.ceil(math.log2(self._cell_m / ZONES_PIXEL_M)), least), most)
        self._tiles: Kept[bytes] = Kept(MOST_TILE_BYTES, len)
        self._own = threading.local()
        self._found: Kept[ModelFound] = Kept(1, lambda _: 1)

    def has(self, layer: str, view: TileView) -> bool:
        """Whether there is such a tile."""
        if layer not in LAYERS or not self.zooms[0] <= view.zoom <= self.zooms[1]:
            return False
        most = (-(-size // view.count) for size in self.cells.layout.size(view.level))
        return all(0 <= at < count for at, count in zip((view.y, view.x), most, strict=True))

    def interval_m(self, zoom: int) -> float:
        """Interval of the contours at a zoom, metres."""
        return interval_m(self._cell_m, zoom, self._settings.interval_m)

    def interval_text(self, zoom: int) -> str:
        """Interval of the contours at a zoom, in the unit of their labels."""
        unit, unit_m = contour_unit(self._settings.interval_m)
        return f"{self.interval_m(zoom) / unit_m:g} {unit}"

    def tile(self, model: RasterModel, layer: Layer, view: TileView) -> bytes:
        """Draw a tile that there is (`has`) as PNG; to be called in a thread that has the model open."""
        whole = view.level < self.cells.level or self.cells.looked == self.cells.layout.count
        return self._tiles.get((layer, view), lambda: self._draw(model, layer, view), keep=whole)

    def found(self, model: RasterModel) -> ModelFound:
        """Tell what the model's heights were found to be, from blocks all over it."""
        return self._found.get("found", lambda: found_near(model))

    def zone_at(self, model: RasterModel, row: int, col: int) -> int:
        """Class of a cell among start zones (`steybrae.raster.overhead.layers`)."""
        return int(self._survey(model).block(Block(0, row, col, 1, 1)).classes[0, 0])

    def _draw(self, model: RasterModel, layer: Layer, view: TileView) -> bytes:
        count = len(self._settings.bands.bands)
        if layer in ("bands", "unknown"):
            cells = self.cells.window(model, view.level, *view.corner, view.count, view.count)
            return bands_png(cells, view, count) if layer == "bands" else unknown_png(cells, view)
        if layer == "zones":
            return zones_png(self._classes(model, view), view)
        dem = _tile_heights(self.cells, model, view)
        if layer == "contours":
            unit_m = contour_unit(self._settings.interval_m)[1]
            return contours_png(dem.heights_m, view, self.interval_m(view.zoom), unit_m)
        return relief_png(dem, view, count, alone=layer == "relief-alone")

    def _classes(self, model: RasterModel, view: TileView) -> NDArray[np.uint8]:
        """Start zones in the cells of a tile and one ring; of a coarse cell the steepest."""
        if view.zoom < self.zones_from:
            return np.zeros((view.count + 2, view.count + 2), np.uint8)
        side, (row, col) = 1 << view.level, view.corner
        size = (view.count + 2) * side
        found = self._survey(model).block(Block(0, (row - 1) * side, (col - 1) * side, size, size)).classes
        out: NDArray[np.uint8] = found.reshape(view.count + 2, side, view.count + 2, side).max(axis=(1, 3))
        return out

    def _survey(self, model: RasterModel) -> Survey:
        """Return what looks for start zones in this thread; the model is looked at once for all."""
        if not hasattr(self._own, "survey"):
            job = self.cells.job
            job = replace(job, settings=replace(job.settings, model_found=self.found(model)))
            heights = self.cells.maker(model).heights
            self._own.survey = Survey(heights, job, self.cells.layout, ZONE_MARGIN)
        own: Survey = self._own.survey
        return own


def _tile_heights(cells: MapCells, model: RasterModel, view: TileView) -> Dem:
    """Heights of a tile and one ring; of a coarse cell the one in its middle.

    NaN unknown, off the model or not looked at; the model is open in this thread.
    """
    row, col = (at - 1 for at in view.corner)
    side, count = 1 << view.level, view.count + 2
    if view.level < cells.level:
        middle = side // 2
        span = (count - 1) * side + 1
        whole = heights_m(cells.maker(model).heights, row * side + middle, col * side + middle, span, span)
        found: Array = whole[::side, ::side].astype(np.float64)
    else:
        found = _kept_heights(cells, 1 << (view.level - cells.level), row, col, count)
    a, b, _, d, e, _ = model.grid.transform
    x, y = model.grid.xy(col * side, row * side)
    transform = (a * side, b * side, float(x), d * side, e * side, float(y))
    return Dem(Grid(transform, model.grid.crs_wkt, found.shape), found)


def _kept_heights(cells: MapCells, step: int, row: int, col: int, count: int) -> Array:
    """Every so many of the heights that are kept of the whole map."""
    out = np.full((count, count), np.nan)
    at = [np.arange(first, first + count) * step + step // 2 for first in (row, col)]
    there = [(place >= 0) & (place < most) for place, most in zip(at, cells.heights_m.shape, strict=True)]
    out[np.ix_(*there)] = cells.heights_m[
        np.ix_(*(place[known] for place, known in zip(at, there, strict=True)))
    ]
    return out


Cells = NDArray[np.uint8]

_CLEAR: Final = (0, 0, 0, 0)
_INK_SHARE: Final = {"0.25": (0.25, 0.4), "white": (1.0, 0.6)}
"""Grey of a hatch's ink, and the share of it that a pixel takes: lines on paper are a third of a pixel."""

LIGHT_ALONE: Final = 0.3
"""Greatest opacity of the relief where no bands lie under it (our choice): faint all the same."""


def bands_png(cells: Cells, view: TileView, count: int) -> bytes:
    """Tints and hatches of so many bands."""
    colours = [_CLEAR]
    for k in range(count):
        tint = band_tint(k, count)
        grey, share = _INK_SHARE[hatch_ink(k, count)]
        inked = [(1.0 - share) * part + share * grey for part in tint]
        colours += [colour(tint), colour(inked)]
    band = view.spread(cells & BAND)
    numbers = np.where(band > 0, 2 * band - 1, 0).astype(np.uint8)
    rows, cols = view.pixels
    for k in (np.unique(band[band > 0]) - 1).tolist():
        numbers += (band == k + 1) & pattern(band_hatch(k), rows, cols)
    return palette_png(numbers, colours)


def unknown_png(cells: Cells, view: TileView) -> bytes:
    """Unknown ground cross-hatched, with an edge; ground not looked at in wide stripes.

    A coarse cell that only holds some unknown ground keeps its tint under the hatch. What lies
    beyond the tile's rim is taken as alike: looking there could ask for four blocks.
    """
    rows, cols = view.pixels
    unknown = (cells & UNKNOWN) > 0
    whole = view.spread(unknown & ((cells & BAND) == 0))
    edge = _edge(view, np.pad(unknown, 1, mode="edge"))
    ink = view.spread(unknown) & (pattern(UNKNOWN_HATCH, rows, cols) | edge)
    waiting = view.spread((cells & NOT_LOOKED) > 0)
    numbers = np.zeros((TILE, TILE), np.uint8)
    numbers[whole] = 1
    numbers[ink] = 2
    numbers[waiting] = 3
    numbers[waiting & not_looked(rows, cols)] = 4
    colours = [_CLEAR, colour((1, 1, 1)), colour((0, 0, 0)), colour((0.82,) * 3), colour((0.6,) * 3)]
    return palette_png(numbers, colours)


def _edge(view: TileView, mask: Mask) -> Mask:
    """Pixels of a tile whose left, right, upper or lower neighbour is not in a mask with one ring."""
    # One pixel more than the tile on each side.
    beyond = view.side - 1
    whole = view.spread(mask)
    near = whole[beyond : len(whole) - beyond, beyond : len(whole) - beyond] if beyond else whole
    out: Mask = ~(near[:-2, 1:-1] & near[2:, 1:-1] & near[1:-1, :-2] & near[1:-1, 2:])
    return out


_DOT: Final = 2
"""Pixels of a dot along an edge (our choice)."""


def zones_png(classes: Cells, view: TileView) -> bytes:
    """Outlines of start zones and of possible ones, in the dots of `steybrae.figures.style.DASHES`.

    The classes are those of `steybrae.raster.overhead.layers`, of the tile and one ring of cells
    around it.
    """
    rows, cols = view.pixels
    inside = (slice(1, -1), slice(1, -1))
    numbers = np.zeros((TILE, TILE), np.uint8)
    # No edge that is common in cells, level, upright or diagonal, has all of its pixels in one dot.
    along = rows + cols + (rows - cols) // 4
    for least, kind in ((POSSIBLE, "possible start zones"), (START_ZONE, "start zones")):
        dots = along % (_DOT * sum(DASHES[kind])) < _DOT * DASHES[kind][0]
        mask = classes >= least
        edge = view.spread(mask[inside]) & _edge(view, mask)
        numbers[edge] = np.where(dots, 2, 1)[edge]
    return palette_png(numbers, [_CLEAR, colour((1, 1, 1), 0.9), colour((0, 0, 0))])


def relief_png(dem: Dem, view: TileView, count: int, *, alone: bool) -> bytes:
    """Light on the ground from the north-west: white towards it, black away from it, both faint.

    Heights are those of the tile and one ring of cells around it. Over `count` bands, if they are
    shown under it, the light leaves each its place in the run of greys.
    """
    light = np.nan_to_num(light_on(dem)[0][1:-1, 1:-1])
    strength = LIGHT_ALONE if alone else light_strength(count)
    opaque = np.round(255.0 * strength * np.abs(light)).astype(np.uint8)
    grey = np.where(light > 0.0, 255, 0).astype(np.uint8)
    return grey_png(view.spread(grey), view.spread(opaque))
