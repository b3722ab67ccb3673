"""Reading the ground to look up at: windows of a model, fine cells joined."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from steybrae.route.overhead.windows import OverheadLook, Window
from steybrae.terrain.ceilings import MOST_CELLS_OVERHEAD, check_cells
from steybrae.terrain.dem import Dem, DemSource, Grid
from steybrae.terrain.overhead.ground import OverheadGround, overhead_ground

_STRIP_ROWS: Final = 512


@dataclass(eq=False)
class KeptGround:
    """Windows of a model made ready for looking up; the last one is kept, for most days have one only.

    Attributes
    ----------
    source
        The model.
    look
        How to look up.
    """

    source: DemSource
    look: OverheadLook
    _last: tuple[Window, OverheadGround] | None = field(default=None, init=False)

    def ground(self, window: Window) -> OverheadGround:
        """Ground of a window; see `read_ground`."""
        if self._last is None or self._last[0] != window:
            self._last = None  # so that two are never held
            self._last = window, read_ground(self.source, window, self.look)
        return self._last[1]


@dataclass(eq=False)
class KeptPlaces:
    """Ground to look up at from one place after another: places near each other share a window."""

    _kept: KeptGround | None = field(default=None, init=False)

    def ground(self, source: DemSource, look: OverheadLook, window: Window) -> OverheadGround:
        """Ground of a window; see `read_ground`."""
        if self._kept is None or self._kept.look != look or self._kept.source is not source:
            self._kept = KeptGround(source, look)
        return self._kept.ground(window)


def read_ground(source: DemSource, window: Window, look: OverheadLook) -> OverheadGround:
    """Read a window and prepare it for looking up.

    Parameters
    ----------
    source
        The model.
    window
        Which ground; it may reach outside.
    look
        How.

    Returns
    -------
    OverheadGround
        On joined cells.
    """
    return overhead_ground(joined(source, window, look.joins), look.known, look.reach_m, look.rules)


def joined(source: DemSource, window: Window, joins: tuple[int, int]) -> Dem:
    """Read a window with cells joined to the mean of their heights.

    Parameters
    ----------
    source
        The model.
    window
        Of a whole number of joined cells.
    joins
        How many columns and rows become one.

    Returns
    -------
    Dem
        Unknown where one of the joined heights is; read in strips, so that the memory is that
        of the joined cells.
    """
    join_col, join_row = joins
    cols = window.right - window.left
    check_cells(
        *((window.bottom - window.top) // join_row, cols // join_col, MOST_CELLS_OVERHEAD),
        "The ground that may stand overhead",
        "a shorter --reach",
    )
    if joins == (1, 1):
        return source.read(window.top, window.left, window.bottom - window.top, cols)
    strips = []
    strip = max(1, _STRIP_ROWS // join_row) * join_row
    for top in range(window.top, window.bottom, strip):
        rows = min(strip, window.bottom - top)
        heights = source.read(top, window.left, rows, cols).heights_m
        blocks = heights.reshape(rows // join_row, join_row, cols // join_col, join_col)
        strips.append(blocks.mean(axis=(1, 3)))
    a, b, _, d, e, _ = source.grid.transform
    x, y = source.grid.xy(window.left, window.top)
    shape = ((window.bottom - window.top) // join_row, cols // join_col)
    transform = (a * join_col, b * join_row, float(x), d * join_col, e * join_row, float(y))
    return Dem(Grid(transform, source.grid.crs_wkt, shape), np.concatenate(strips))
