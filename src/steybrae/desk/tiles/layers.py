"""Layers of the map, each a transparent tile."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.desk.tiles.cells import BAND, NOT_LOOKED, UNKNOWN
from steybrae.desk.tiles.view import TILE, TileView
from steybrae.figures.patterns import Mask, not_looked, pattern
from steybrae.figures.png import colour, grey_png, palette_png
from steybrae.figures.style import (
    UNKNOWN_HATCH,
    band_hatch,
    band_tint,
    hatch_ink,
    light_strength,
)
from steybrae.raster.overhead.layers import POSSIBLE, START_ZONE
from steybrae.screening.pictures.map_cells import light_on
from steybrae.terrain.dem import Dem

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


def zones_png(classes: Cells, view: TileView) -> bytes:
    """Outlines of start zones, dashed, and of possible start zones, dotted.

    The classes are those of `steybrae.raster.overhead.layers`, of the tile and one ring of cells
    around it.
    """
    rows, cols = view.pixels
    inside = (slice(1, -1), slice(1, -1))
    numbers = np.zeros((TILE, TILE), np.uint8)
    along = rows + cols + (rows - cols) // 2
    for least, dashes in ((POSSIBLE, along % 4 < 2), (START_ZONE, along % 9 < 6)):
        mask = classes >= least
        edge = view.spread(mask[inside]) & _edge(view, mask)
        numbers[edge] = np.where(dashes, 2, 1)[edge]
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
