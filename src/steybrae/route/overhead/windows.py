"""Which ground has to be read to look up from a line.

Ground within the reach of each stretch of the line; stretches that follow each other share a
window as long as it stays small. Cells much finer than the 20 m over which slopes are judged are
joined to about 10 m, so that a survey of 1 m cells costs what one of 10 m does.
"""

from __future__ import annotations

import math
from dataclasses import field, replace
from functools import partial
from typing import Final

import numpy as np

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.legs import Track, stretches
from steybrae.route.touching import cut_at_edges
from steybrae.terrain.dem import MOST_CELLS_OVERHEAD, Array, Dem, DemSource, Grid, check_cells
from steybrae.terrain.jacobian import askew, jacobian_at
from steybrae.terrain.overhead.ground import BLOCK_CELLS, REACH_M, OverheadGround, overhead_ground
from steybrae.terrain.start_zones import StartRules
from steybrae.terrain.uncertainty import SlopeUncertainty

MOST_REACH_M: Final = 15_000.0
"""Longest reach taken as meant, metres: at 18 degrees 4870 m of fall, more than any face has (from
memory: the highest, of Nanga Parbat, has some 4600)."""

JOINED_CELL_M: Final = 10.0
"""Size to which finer cells are joined, metres: a baseline of 20 m is then one of 3 by 3 cells."""

STRETCH_M: Final = 4000.0
"""Longest stretch with a window of its own, metres."""

MOST_CELLS: Final = 2_000_000
"""Largest window that stretches share, joined cells (our choice: some 100 MB with all that is
computed on it)."""

LATTICE_CELLS: Final = 64
"""Side of the squares that windows of places are made of, joined cells (our choice: some 600 m)."""

METRIC_M: Final = 5000.0
"""Distance, about, between the places that lengths and directions in a window are taken from, metres (our
choice: near windows share one, and what is told of a place does not change with the window)."""

_MARGIN_CELLS: Final = 12
"""Ring beyond the reach, joined cells: a block there matters to no place."""


def check_reach_m(reach_m: float) -> float:
    """Return the reach, metres, refused where it is not above 0, or above `MOST_REACH_M`."""
    if not 0.0 < reach_m <= MOST_REACH_M:
        message = (
            f"The reach for ground overhead should be above 0 and at most {MOST_REACH_M / 1000.0:g} km; got "
            f"{reach_m / 1000.0:g} km. Usual is {REACH_M / 1000.0:g}."
        )
        raise ModelError(message)
    return reach_m


def joins_of(cell_m: tuple[float, float]) -> tuple[int, int]:
    """How many columns and rows of cells of this size are joined to one."""
    cols, rows = (max(1, int(1.02 * JOINED_CELL_M / size)) for size in cell_m)
    return cols, rows


@dataclass(frozen=True)
class OverheadLook:
    """How to look up.

    Attributes
    ----------
    cell_m
        Ground size of a cell along a row and along a column, metres.
    known
        How well the slopes of joined cells are known.
    rules
        What counts as a start zone.
    reach_m
        How far to look, metres.

    Raises
    ------
    ModelError
        See `check_reach_m`.
    """

    cell_m: tuple[float, float]
    known: SlopeUncertainty
    rules: StartRules = field(default_factory=StartRules)
    reach_m: float = REACH_M

    def __post_init__(self) -> None:
        """Refuse to look no distance, or too far."""
        check_reach_m(self.reach_m)

    @property
    def joins(self) -> tuple[int, int]:
        """How many columns and rows are joined to one."""
        return joins_of(self.cell_m)


@dataclass(frozen=True)
class Window:
    """Cells ``top`` to before ``bottom``, ``left`` to before ``right``."""

    top: int
    left: int
    bottom: int
    right: int

    @property
    def cells(self) -> int:
        """How many."""
        return (self.bottom - self.top) * (self.right - self.left)

    @property
    def extent(self) -> tuple[int, int, int, int]:
        """First row and column, rows and columns."""
        return self.top, self.left, self.bottom - self.top, self.right - self.left

    def both(self, other: Window) -> Window | None:
        """Window that both share; None where there is none."""
        found = Window(
            max(self.top, other.top),
            max(self.left, other.left),
            min(self.bottom, other.bottom),
            min(self.right, other.right),
        )
        return found if found.top < found.bottom and found.left < found.right else None

    def without(self, inner: Window) -> list[Window]:
        """Cut what lies round an inner window into at most four."""
        found = (
            Window(self.top, self.left, inner.top, self.right),
            Window(inner.top, self.left, inner.bottom, inner.left),
            Window(inner.top, inner.right, inner.bottom, self.right),
            Window(inner.bottom, self.left, self.bottom, self.right),
        )
        return [one for one in found if one.top < one.bottom and one.left < one.right]

    def with_(self, other: Window) -> Window:
        """Smallest window that holds both."""
        return Window(
            min(self.top, other.top),
            min(self.left, other.left),
            max(self.bottom, other.bottom),
            max(self.right, other.right),
        )


@dataclass(frozen=True, eq=False)
class Stretch:
    """A stretch of a leg in the model's cells.

    Attributes
    ----------
    leg
        Which leg, from 0.
    col, row, chainage_m
        Its vertices.
    window
        The ground that it needs.
    """

    leg: int
    col: Array
    row: Array
    chainage_m: Array
    window: Window


def stretch_windows(
    grid: Grid, tracks: list[Track], look: OverheadLook, kept: Kept = NOTHING_KEPT
) -> list[Stretch]:
    """Cut legs into stretches, in walking order, and say what ground each needs.

    Windows begin and end at whole blocks of joined cells. `OffModelError` where a part of the line
    has no position in the model's CRS.
    """
    return [
        part
        for leg, track in enumerate(tracks)
        for part in kept.of("stretches", (leg, track, look), partial(_stretches, grid, leg, track, look))
    ]


def _stretches(grid: Grid, leg: int, track: Track, look: OverheadLook) -> list[Stretch]:
    place = track.positions(grid)
    ends = list(stretches(track, STRETCH_M))
    # Cells of grids in degrees change their size along a route.
    middle = [np.mean([[axis[first], axis[last]] for axis in place], axis=1) for first, last in ends]
    found = []
    for (first, last), jacobian in zip(ends, jacobian_at(grid, *np.transpose(middle)), strict=True):
        col, row = (axis[first : last + 1] for axis in place)
        cells = np.ceil(look.reach_m * askew(jacobian) / np.hypot(*jacobian))
        margin = cells + _MARGIN_CELLS * np.array(look.joins)
        window = _window(col, row, margin, look.joins)
        found.append(Stretch(leg, col, row, track.chainage_m[first : last + 1], window))
    return found


def metric_place(window: Window, look: OverheadLook) -> tuple[float, float]:
    """Column and row at which lengths and directions in a window are taken: near its middle, on a lattice."""
    col, row = (
        round((first + end) / 2.0 / step) * step
        for first, end, step in (
            (window.left, window.right, _metric_cells(look, 0)),
            (window.top, window.bottom, _metric_cells(look, 1)),
        )
    )
    return float(col), float(row)


def _metric_cells(look: OverheadLook, axis: int) -> int:
    step = look.joins[axis] * look.cell_m[axis]
    return int(look.joins[axis] * 2 ** max(0, round(math.log2(METRIC_M / step))))


def on_lattice(window: Window, joins: tuple[int, int]) -> Window:
    """Smallest window of whole squares of `LATTICE_CELLS` that holds another: near places have the same."""
    across, down = (LATTICE_CELLS * join for join in joins)
    return Window(
        _down_to(window.top, down),
        _down_to(window.left, across),
        -_down_to(-window.bottom, down),
        -_down_to(-window.right, across),
    )


def _window(col: Array, row: Array, margin: Array, joins: tuple[int, int]) -> Window:
    across, down = (BLOCK_CELLS * join for join in joins)
    return Window(
        _down_to(row.min() - margin[1], down),
        _down_to(col.min() - margin[0], across),
        -_down_to(-(row.max() + margin[1]), down),
        -_down_to(-(col.max() + margin[0]), across),
    )


def _down_to(value: float, step: int) -> int:
    return math.floor(value / step) * step


def shared(
    parts: list[Stretch], look: OverheadLook, most_cells: int = MOST_CELLS
) -> list[tuple[Window, list[Stretch]]]:
    """Let stretches that follow each other share a window of no more joined cells than `most_cells`."""
    join = look.joins[0] * look.joins[1]
    groups: list[tuple[Window, list[Stretch]]] = []
    for part in parts:
        if groups:
            window, group = groups[-1]
            together = window.with_(part.window)
            if together.cells <= most_cells * join:
                groups[-1] = (together, [*group, part])
                continue
        groups.append((part.window, [part]))
    return groups


def cells_on(
    part: Stretch, corner: tuple[int, int], joins: tuple[int, int]
) -> tuple[Array, Array, Array, Array]:
    """Find the joined cells that a stretch touches, counted from a corner, so many columns and rows to one.

    Columns and rows of the cells, chainage in the middle of each piece, length of the piece: a cell
    counts once for as long as the line stays in it, however many vertices lie there.
    """
    # In the model's own joined cells: where it is cut does not change with the window.
    col, row = part.col / joins[0], part.row / joins[1]
    cuts = cut_at_edges(col, row, part.chainage_m)
    middle = (cuts[:-1] + cuts[1:]) / 2.0
    cells = np.floor([np.interp(middle, part.chainage_m, axis) for axis in (col, row)])
    first = np.flatnonzero(np.diff(cells, prepend=np.nan).any(axis=0))
    start, end = cuts[first], np.append(cuts[first[1:]], cuts[-1:])[: len(first)]
    return cells[0, first] - corner[0], cells[1, first] - corner[1], (start + end) / 2.0, end - start


_STRIP_ROWS: Final = 512


def read_ground(
    source: DemSource,
    window: Window,
    look: OverheadLook,
    metric: tuple[float, float] | None = None,
    held: tuple[Window, Array] | None = None,
) -> OverheadGround:
    """Read a window, which may reach outside, and prepare its joined cells for looking up.

    Lengths and directions are taken at the column and row of `metric`; by `metric_place` if not
    given. What another window shares that is `held`, with its joined heights, is not read again.
    """
    dem, (join_col, join_row) = joined(source, window, look.joins, held), look.joins
    jacobian = jacobian_at(source.grid, *(metric or metric_place(window, look))) * look.joins
    model, corner = joined_grid(source.grid, look.joins), (window.left // join_col, window.top // join_row)
    every = [
        replace(
            overhead_ground(one, look.known, look.reach_m, look.rules, jacobian),
            model=model,
            corner=corner,
        )
        for one in (dem, *(Dem(dem.grid, heights_m) for heights_m in dem.others_m))
    ]
    return replace(every[0], others=tuple(every[1:]))


def joined_grid(grid: Grid, joins: tuple[int, int]) -> Grid:
    """Grid of a whole model in joined cells; the last ones may reach outside."""
    (join_col, join_row), (rows, cols) = joins, grid.shape
    a, b, x, d, e, y = grid.transform
    transform = (a * join_col, b * join_row, x, d * join_col, e * join_row, y)
    return Grid(transform, grid.crs_wkt, (-(-rows // join_row), -(-cols // join_col)))


def joined(
    source: DemSource, window: Window, joins: tuple[int, int], held: tuple[Window, Array] | None = None
) -> Dem:
    """Read a window with cells joined to the mean of their heights.

    `joins` are how many columns and rows become one; the window is a whole number of them. Unknown
    where one of the joined heights is. Read in strips, so that the memory is that of the joined
    cells.
    """
    join_col, join_row = joins
    shape = (window.bottom - window.top) // join_row, (window.right - window.left) // join_col
    check_cells(*(*shape, MOST_CELLS_OVERHEAD), "The ground that may stand overhead", "a shorter --reach")
    both = None if held is None else window.both(held[0])
    if both is None or held is None:
        heights, *others_m = _joined(source, window, joins)
    else:
        heights, others_m = np.empty(shape), []
        _part(heights, window, both, joins)[...] = _part(held[1], held[0], both, joins)
        for part in window.without(both):
            _part(heights, window, part, joins)[...] = _joined(source, part, joins)[0]
    a, b, _, d, e, _ = source.grid.transform
    x, y = source.grid.xy(window.left, window.top)
    transform = (a * join_col, b * join_row, float(x), d * join_col, e * join_row, float(y))
    return Dem(Grid(transform, source.grid.crs_wkt, shape, source.grid.datum_named), heights, tuple(others_m))


def _part(heights: Array, window: Window, part: Window, joins: tuple[int, int]) -> Array:
    """Take the joined heights of a part of a window."""
    (join_col, join_row), (rows, cols) = joins, (part.bottom - part.top, part.right - part.left)
    top, left = (part.top - window.top) // join_row, (part.left - window.left) // join_col
    return heights[top : top + rows // join_row, left : left + cols // join_col]


def _joined(source: DemSource, window: Window, joins: tuple[int, int]) -> list[Array]:
    """Join heights, and where files differ the others too, as `Dem.every_m` has them.

    Beyond the model nothing is read: 3 km are 15 000 cells of 0.2 m.
    """
    (rows, cols), (across, down) = source.grid.shape, joins
    inside = window.both(Window(0, 0, -_down_to(-rows, down), -_down_to(-cols, across)))
    if inside == window:
        return _read_joined(source, window, joins)
    found = [] if inside is None else _read_joined(source, inside, joins)
    shape = (window.bottom - window.top) // down, (window.right - window.left) // across
    every = [np.full(shape, np.nan) for _ in range(max(len(found), 1))]
    for whole, part in zip(every, found, strict=False):
        _part(whole, window, inside or window, joins)[...] = part
    return every


def _read_joined(source: DemSource, window: Window, joins: tuple[int, int]) -> list[Array]:
    strips, step = [], BLOCK_CELLS * joins[1]
    # Whole squares of one number: they are met the same in every window.
    strip = window.bottom - window.top if joins == (1, 1) else max(1, _STRIP_ROWS // step) * step
    for top in range(window.top, window.bottom, strip):
        rows, cols = min(strip, window.bottom - top), window.right - window.left
        every = source.read(top, window.left, rows, cols).every_m
        strips.append([_means(heights_m, joins) for heights_m in every])
    most = max(map(len, strips))
    return [np.concatenate([one[min(k, len(one) - 1)] for one in strips]) for k in range(most)]


def _means(heights_m: Array, joins: tuple[int, int]) -> Array:
    (join_col, join_row), (rows, cols) = joins, heights_m.shape
    if joins == (1, 1):
        return heights_m
    blocks = heights_m.reshape(rows // join_row, join_row, cols // join_col, join_col)
    return np.asarray(blocks.mean(axis=(1, 3)))
