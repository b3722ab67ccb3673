"""Which cells a line touches, and how many metres of it each piece of ground has.

Where a line follows a crest or a gully, interpolated gradients vanish: 40 degrees on both sides
interpolate to 0. The cells on the crest itself are no better, for the 3 x 3 window that gives
their slope lies across it and sees half of each side. So the steepest slope on a line is the
largest over every cell whose square the line touches *and the eight around each*, none of them
interpolated: wherever a straight crest runs, the window of one of these lies wholly on its
flank. The line is cut where it crosses the edges of cells; between two cuts the cells stay the
same. On an edge the squares on both sides are touched.

Where legs meet a cell counts to the one that it is nearer to, so that a leg cut in two has the
cells that it had before; those outside a corner, nearest to the turn point itself, count to both.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.route.corridor import NearCells, Window, apart_m, half_width_m
from steybrae.terrain.attributes import SlopeField, sectors_by_length
from steybrae.terrain.dem import Array
from steybrae.terrain.shape import drop_m

EndsDeg = Callable[[NDArray[np.intp], NDArray[np.intp]], tuple[tuple[Array, Array], Array]]
"""From rows and columns of cells of a window to what `steybrae.terrain.uncertainty.line_ends_deg` gives."""

ON_LINE: Final = 1e-6
"""Nearer to an edge of a cell than this, cells, a point is on it: PROJ's own noise."""


ON: Final = [5, 6, 9, 10]
"""Which of a piece's 16 cells, `cells_touched`, it touches itself: the middle of four by four."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of a line between cuts, with the steepest cell on or next to each.

    Attributes
    ----------
    start_m, end_m
        Chainages, metres, shape ``(n,)``.
    slope_deg
        Steepest known of its cells, degrees; NaN where none of them is known.
    p, q
        Gradients of that cell.
    low_deg, high_deg
        Largest of the low ends of the cells touched, for what lies around them the line may miss, and of the
        high ends of all its cells (`steybrae.terrain.uncertainty.line_ends_deg`); NaN where none is known.
    short_deg
        Steepest of its cells over two cells; NaN where none is known.
    known
        Whether all of its cells, those touched and those around them, are known.
    ended
        Whether all cells whose slope is known have a known high end.
    """

    start_m: Array
    end_m: Array
    slope_deg: Array
    p: Array
    q: Array
    low_deg: Array
    high_deg: Array
    short_deg: Array
    known: NDArray[np.bool_]
    ended: NDArray[np.bool_]

    @property
    def length_m(self) -> Array:
        """Length of each piece, metres."""
        return self.end_m - self.start_m

    @property
    def steep(self) -> NDArray[np.bool_]:
        """Whether each is, as shown, ground of `STEEP_DEG` and more."""
        return np.asarray(shown_slope_deg(self.slope_deg) >= STEEP_DEG)

    def faces(self, which: NDArray[np.bool_]) -> tuple[str, ...]:
        """Sectors that some of them face, by length."""
        return sectors_by_length(self.p[which], self.q[which], self.length_m[which])


def join_pieces(parts: list[Pieces]) -> Pieces:
    """Pieces of stretches that follow each other, as those of one line."""
    return Pieces(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Pieces)))


def cut_at_edges(col: Array, row: Array, chainage_m: Array) -> Array:
    """Chainages at which a line crosses the edges of cells.

    Parameters
    ----------
    col, row
        Vertices of the line in the grid, cells, shape ``(n,)``; edges lie at whole numbers.
    chainage_m
        Their chainages, rising.

    Returns
    -------
    Array
        Rising chainages with all vertices among them, without repeats.
    """
    cuts, length_m = [chainage_m], chainage_m[1:] - chainage_m[:-1]
    for position in (col, row):
        start, end = position[:-1], position[1:]
        low, high = np.minimum(start, end), np.maximum(start, end)
        first, last = np.ceil(low), np.floor(high)
        counts = (last - first + 1).astype(int)
        counts[high == low] = 0
        piece = np.repeat(np.arange(len(counts)), counts)
        step = np.arange(len(piece)) - np.repeat(np.cumsum(counts) - counts, counts)
        share = (first[piece] + step - start[piece]) / (end - start)[piece]
        cuts.append(chainage_m[piece] + share * length_m[piece])
    found = np.minimum(np.maximum(np.concatenate(cuts), chainage_m[0]), chainage_m[-1])
    found.sort()
    out: Array = found[np.append(True, found[1:] != found[:-1])]
    return out


def touched(
    field: SlopeField,
    col: Array,
    row: Array,
    chainage_m: Array,
    ends_deg: EndsDeg | None = None,
) -> Pieces:
    """Steepest of the cells that each piece of a line touches and of those around them.

    The window holds the line (vertices in cells, chainages in metres) and two cells more on every
    side. The pieces follow each other without gaps from the first to the last chainage; `ends_deg`
    are their cells', None where not asked for.
    """
    cuts, j, i = cells_touched(col, row, chainage_m)
    slopes = field.slope_deg[j, i]
    unknown: NDArray[np.bool_] = np.isnan(slopes)
    steepest = np.argmax(np.where(unknown, -1.0, slopes), axis=1)
    pick = (np.arange(len(steepest)), steepest)
    at = (j[pick], i[pick])
    known = np.logical_not(unknown.any(axis=1))
    lows, highs = (np.full(j.shape, np.nan),) * 2 if ends_deg is None else ends_deg(j, i)[0]
    low = np.fmax.reduce(lows[:, ON], axis=1)
    high, short = (np.fmax.reduce(values, axis=1) for values in (highs, field.short_deg[j, i]))
    ended = np.logical_not((~unknown & np.isnan(highs)).any(axis=1))
    slope = field.slope_deg[at]
    return Pieces(cuts[:-1], cuts[1:], slope, field.p[at], field.q[at], low, high, short, known, ended)


def cells_touched(
    col: Array, row: Array, chainage_m: Array
) -> tuple[Array, NDArray[np.intp], NDArray[np.intp]]:
    """Cells that each piece of a line touches, and those around them; parameters as for `touched`.

    Cuts, shape ``(n + 1,)``; rows and columns of the cells, ``(n, 16)``, most of them the same
    nine, those touched at `ON`.
    """
    cuts = cut_at_edges(col, row, chainage_m)
    middle = (cuts[:-1] + cuts[1:]) / 2.0
    cols = _around(np.interp(middle, chainage_m, col))
    rows = _around(np.interp(middle, chainage_m, row))
    return cuts, np.tile(rows, (1, 4)), np.repeat(cols, 4, axis=1)


def _around(position: Array) -> NDArray[np.intp]:
    """Indexes of the square at a position and its neighbours, four on an edge; shape (n, 4)."""
    low, high = np.floor(position - ON_LINE), np.floor(position + ON_LINE)
    return np.stack((low - 1, low, high, high + 1), axis=1).astype(np.intp)


Polyline = tuple[Array, Array]

NO_LINE: Final[Polyline] = np.empty(0), np.empty(0)


@dataclass(frozen=True, eq=False)
class CorridorCells:
    """Cells of a corridor; arrays ``(n,)``.

    Attributes
    ----------
    start_m, end_m
        Stretch of the leg that the cell lies abreast of, within the leg.
    slope_deg
        The larger of its slopes over the baseline and over its own two cells; NaN unknown.
    high_deg
        High end of its 95 % interval, never below that; NaN where it is not known.
    known
        Whether its slope over the baseline is.
    off_m
        Ground distance from the line to the nearest edge of its square.
    left
        Whether it lies to the left of travel.
    drop_m
        Height of the drop that it is part of; 0 none.
    """

    start_m: Array
    end_m: Array
    slope_deg: Array
    high_deg: Array
    known: NDArray[np.bool_]
    off_m: Array
    left: NDArray[np.bool_]
    drop_m: Array


@dataclass(frozen=True, eq=False)
class BeyondEnd:
    """Cells of a stretch's corridor that lie beyond one end of the leg, where the next leg may be nearer.

    Their indexes, `at`, and their centres in the model.
    """

    at: NDArray[np.intp]
    col: Array
    row: Array
    jacobian: Array


StretchCells = tuple[CorridorCells, tuple[BeyondEnd, BeyondEnd]]
"""Cells of a stretch's corridor, and which of them lie before the leg and after it."""


def cells_of(
    near: NearCells,
    window: Window,
    short_deg: Array,
    ends_deg: EndsDeg,
    width: tuple[float, float],
    corner: tuple[int, int],
    length_m: float,
) -> StretchCells:
    """Pick the cells of a stretch that lie in its corridor, as if the leg were alone.

    `short_deg` are slopes over two cells; `width` is position error, metres, and drift, degrees;
    `corner` the row and column of the window's first cell; `length_m` that of the leg.
    """
    at = np.flatnonzero(near.edge_m <= half_width_m(near.chainage_m, *width))
    cell = near.row[at].astype(np.intp), near.col[at].astype(np.intp)
    off, late = ~near.abreast[at], near.chainage_m[at] > length_m / 2.0
    ends = (
        BeyondEnd(which, near.col[at[which]] + corner[1], near.row[at[which]] + corner[0], window.jacobian)
        for which in (np.flatnonzero(off & ~late), np.flatnonzero(off & late))
    )
    slope, (line, own_high) = np.fmax(near.slope_deg[at], short_deg[cell]), ends_deg(*cell)
    high = np.fmax(own_high, line[1])  # the steepest of a corridor is one of many too
    chainage, half = near.chainage_m[at], near.half_m[at]
    cells = CorridorCells(
        np.maximum(chainage - half, 0.0),
        np.minimum(chainage + half, length_m),
        slope,
        np.maximum(high, slope),
        np.isfinite(near.slope_deg[at]),
        near.edge_m[at],
        near.left[at],
        drop_m(window.height_m, window.jacobian, *window.others_m)[cell],
    )
    before, after = ends
    return cells, (before, after)


def own_cells(parts: list[StretchCells], lines: tuple[Polyline, Polyline]) -> CorridorCells:
    """Cells of a leg's corridor without those that lie nearer to the legs before and after.

    `lines` are these legs, columns and rows of their vertices; they may be empty.
    """
    kept = []
    for cells, ends in parts:
        own = np.ones(len(cells.start_m), dtype=bool)
        for number, (beyond, line) in enumerate(zip(ends, lines, strict=True)):
            own[beyond.at[_nearer(beyond, line, number)]] = False
        kept.append([getattr(cells, one.name)[own] for one in fields(CorridorCells)])
    return CorridorCells(*map(np.concatenate, zip(*kept, strict=True)))


def _nearer(beyond: BeyondEnd, line: Polyline, number: int) -> NDArray[np.bool_]:
    """Whether cells beyond an end of the leg are nearer to the neighbouring leg than to that end."""
    (col, row), jacobian = line, beyond.jacobian
    if len(col) < 2 or len(beyond.at) == 0:
        return np.zeros(len(beyond.at), dtype=bool)
    end = 0 if number else -1
    here = jacobian @ np.stack((beyond.col - col[end], beyond.row - row[end]))
    line_m = jacobian @ np.stack((col - col[end], row - row[end]))
    nearer: NDArray[np.bool_] = apart_m(here, line_m, range(len(col) - 1)) < np.hypot(*here) - 1e-6
    return nearer
