"""The ground of a practice map: a window of an elevation model laid on paper, true to scale.

Paper positions are millimetres from the lower left corner of the map's frame, x to true east, y
to true north, joined to the grid by the ground Jacobian at the middle of the window: lengths are
ground lengths, in any CRS. Over one sheet of paper the Jacobian changes by about 1 in 1000 at
the most at 60 degrees of latitude on a grid in degrees, and by far less on national grids.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.teach.slope_scale import map_name
from steybrae.terrain.attributes import PointAttributes, SlopeField, at_points, slope_field
from steybrae.terrain.dem import Array, Dem, DemSource, Grid
from steybrae.terrain.gradients import true_runs
from steybrae.terrain.jacobian import cell_size_m, jacobian_at

FINEST_CELL_MM: Final = 0.15
"""Cells smaller than this on paper, mm, are averaged: no pen draws finer (our choice)."""

COARSEST_CELL_MM: Final = 1.6
"""Cells larger than this on paper, mm, give contours of visible corners, and are refused (our choice)."""

LEAST_FRAME_MM: Final = 60.0
"""A map smaller than this, mm, has no room for questions (our choice)."""

MARGIN_CELLS: Final = 3
"""Cells read beyond the frame: one ring has no slope, and contours run through the edge."""

MOST_LEVELS: Final = 400
"""Most contours of one map (our choice): 4000 m of relief at 10 m."""


@dataclass(frozen=True)
class MapLook:
    """How the map is drawn.

    Attributes
    ----------
    scale
        Denominator.
    interval_m
        Contour interval, metres.
    index_every
        Every how many contours one is thick.
    unit_m, unit
        Unit of the heights on the map, in metres and in words: 1 and ``m``, or 0.3048 and ``ft``.
    """

    scale: float
    interval_m: float
    index_every: int = 5
    unit_m: float = 1.0
    unit: str = "m"

    @property
    def name(self) -> str:
        """Scale and interval in words."""
        return map_name(self.scale, self.interval_m, f"{self.interval_m / self.unit_m:g}{self.unit}")

    def metres(self, paper_mm: float) -> float:
        """Ground length of a length on paper, metres."""
        return paper_mm * self.scale / 1000.0

    def height_text(self, height_m: float) -> str:
        """Height as the map writes it: a whole number of its unit."""
        return f"{height_m / self.unit_m:.0f}"


@dataclass(frozen=True, eq=False)
class MapGround:
    """Heights and gradients of a window on paper.

    Attributes
    ----------
    field
        Heights and gradients of the cells.
    scale
        Denominator of the map.
    width_mm, height_mm
        Of the frame.
    metres_per_cell
        Jacobian at the middle, ``(2, 2)``.
    middle
        ``col, row`` of the middle of the frame, in cells of `field`.
    cell_m
        Side of a cell on the ground, metres, after averaging.
    averaged
        How many cells of the model stand in one of these, along one side.
    """

    field: SlopeField
    scale: float
    width_mm: float
    height_mm: float
    metres_per_cell: Array
    middle: tuple[float, float]
    cell_m: float
    averaged: int

    @cached_property
    def _cells_per_metre(self) -> Array:
        return np.asarray(np.linalg.inv(self.metres_per_cell))

    def cells(self, x_mm: ArrayLike, y_mm: ArrayLike) -> tuple[Array, Array]:
        """Positions in the grid of positions on paper."""
        metres = self.scale / 1000.0
        east = (np.asarray(x_mm, dtype=float) - self.width_mm / 2.0) * metres
        north = (np.asarray(y_mm, dtype=float) - self.height_mm / 2.0) * metres
        (a, b), (c, d) = self._cells_per_metre
        return self.middle[0] + a * east + b * north, self.middle[1] + c * east + d * north

    def paper_mm(self, col: ArrayLike, row: ArrayLike) -> tuple[Array, Array]:
        """Positions on paper of positions in the grid; the inverse of `cells`."""
        dcol = np.asarray(col, dtype=float) - self.middle[0]
        drow = np.asarray(row, dtype=float) - self.middle[1]
        (a, b), (c, d) = self.metres_per_cell
        mm = 1000.0 / self.scale
        return self.width_mm / 2.0 + (a * dcol + b * drow) * mm, self.height_mm / 2.0 + (
            c * dcol + d * drow
        ) * mm

    def at(self, x_mm: ArrayLike, y_mm: ArrayLike) -> PointAttributes:
        """Heights, gradients and slopes at positions on paper, flattened to one row."""
        col, row = self.cells(np.ravel(np.asarray(x_mm)), np.ravel(np.asarray(y_mm)))
        return at_points(self.field, col, row)

    def inside(self, x_mm: float, y_mm: float, edge_mm: float = 0.0) -> bool:
        """Whether a position lies in the frame, at least so far from its edge."""
        return edge_mm <= x_mm <= self.width_mm - edge_mm and edge_mm <= y_mm <= self.height_mm - edge_mm

    @cached_property
    def unknown(self) -> tuple[Array, ...]:
        """Patches of unknown ground: four corners each, ``(4, 2)`` mm."""
        found = []
        for row, heights in enumerate(self.field.dem.heights_m):
            for start, end in true_runs(np.isnan(heights)):
                x, y = self.paper_mm([start, end, end, start], [row, row, row + 1, row + 1])
                found.append(np.column_stack((x, y)))
        return tuple(found)

    @cached_property
    def known_share(self) -> float:
        """Share of the cells in the frame that have a height."""
        heights = self.field.dem.heights_m
        rows, cols = heights.shape
        x, y = self.paper_mm(np.arange(cols)[None, :] + 0.5, np.arange(rows)[:, None] + 0.5)
        framed = (x >= 0.0) & (x <= self.width_mm) & (y >= 0.0) & (y <= self.height_mm)
        return float(np.isfinite(heights[framed]).mean())


@dataclass(frozen=True, eq=False)
class Contour:
    """One contour.

    Attributes
    ----------
    level_m
        Height, metres.
    thick
        Whether it is an index contour.
    lines
        Its parts, ``(n, 2)`` mm on paper; they run a little beyond the frame.
    """

    level_m: float
    thick: bool
    lines: tuple[Array, ...]


def map_ground(
    source: DemSource, scale: float, frame_mm: tuple[float, float], middle: tuple[float, float] | None = None
) -> MapGround:
    """Lay a window of a model on paper.

    A smaller model gives a smaller frame than wished for; the middle, ``col, row``, is the model's
    if not given, and is moved so that the frame stays on it. `ModelError` where it is too small or
    its cells are too large for that scale.
    """
    rows, cols = source.grid.shape
    centre = (cols / 2.0, rows / 2.0) if middle is None else middle
    along, down = cell_size_m(source.grid, *centre)
    mm_per_m = 1000.0 / scale
    _check_size(max(along, down), scale, cols * along * mm_per_m, rows * down * mm_per_m)
    width_mm = min(frame_mm[0], cols * along * mm_per_m)
    height_mm = min(frame_mm[1], rows * down * mm_per_m)
    half_m = np.array([width_mm, height_mm]) / (2.0 * mm_per_m)
    # How far the frame reaches in the grid, which may be turned against true north.
    reach = np.abs(np.linalg.inv(jacobian_at(source.grid, *centre))) @ half_m
    centre = (_between(centre[0], float(reach[0]), cols), _between(centre[1], float(reach[1]), rows))
    jacobian = jacobian_at(source.grid, *centre)
    averaged = max(1, math.ceil(FINEST_CELL_MM / (max(along, down) * mm_per_m)))
    dem, corner = _window(source, jacobian, centre, (width_mm / mm_per_m, height_mm / mm_per_m), averaged)
    return MapGround(
        field=slope_field(dem),
        scale=scale,
        width_mm=width_mm,
        height_mm=height_mm,
        metres_per_cell=jacobian * averaged,
        middle=((centre[0] - corner[0]) / averaged, (centre[1] - corner[1]) / averaged),
        cell_m=max(along, down) * averaged,
        averaged=averaged,
    )


def _between(at: float, reach: float, size: int) -> float:
    """Move a position so that what reaches round it stays on the grid, or to its middle."""
    return size / 2.0 if 2.0 * reach > size else min(max(at, reach), size - reach)


def _check_size(cell_m: float, scale: float, width_mm: float, height_mm: float) -> None:
    if cell_m * 1000.0 / scale > COARSEST_CELL_MM:
        message = (
            f"A map needs cells of at most {COARSEST_CELL_MM:g} mm on paper; at 1:{scale:.0f} cells of "
            f"{cell_m:.4g} m are {cell_m * 1000.0 / scale:.2g} mm. Take a finer model or a smaller scale."
        )
        raise ModelError(message)
    if min(width_mm, height_mm) < LEAST_FRAME_MM:
        least = f"{LEAST_FRAME_MM:g} mm each way; at 1:{scale:.0f}"
        size = " by ".join(f"{int(side_mm)} mm" for side_mm in (width_mm, height_mm))
        message = f"A map needs at least {least} the model is {size}. Take a larger model or a larger scale."
        raise ModelError(message)


def _window(
    source: DemSource,
    jacobian: Array,
    centre: tuple[float, float],
    size_m: tuple[float, float],
    averaged: int,
) -> tuple[Dem, tuple[int, int]]:
    """Read what the frame covers, averaged, and say at which cell it begins."""
    half_e, half_n = size_m[0] / 2.0, size_m[1] / 2.0
    corners = np.array([[-half_e, half_e, half_e, -half_e], [-half_n, -half_n, half_n, half_n]])
    cells = np.linalg.inv(jacobian) @ corners
    k = averaged
    first_col = math.floor((centre[0] + cells[0].min()) / k) - MARGIN_CELLS
    first_row = math.floor((centre[1] + cells[1].min()) / k) - MARGIN_CELLS
    cols = math.ceil((centre[0] + cells[0].max()) / k) + MARGIN_CELLS - first_col
    rows = math.ceil((centre[1] + cells[1].max()) / k) + MARGIN_CELLS - first_row
    dem = source.read(first_row * k, first_col * k, rows * k, cols * k)
    if k > 1:
        heights = dem.heights_m.reshape(rows, k, cols, k).mean(axis=(1, 3))
        a, b, c, d, e, f = dem.grid.transform
        dem = Dem(Grid((a * k, b * k, c, d * k, e * k, f), dem.grid.crs_wkt, (rows, cols)), heights)
    return dem, (first_col * k, first_row * k)


def contours(ground: MapGround, look: MapLook) -> tuple[Contour, ...]:
    """Contours of the ground as paths on paper, lowest first; none where it is unknown.

    `ModelError` where no height is known, or more than 400 contours would be drawn.
    """
    from contourpy import contour_generator  # noqa: PLC0415  small commands do not pay for it

    heights = ground.field.dem.heights_m
    if not np.isfinite(heights).any():
        message = "The map needs some known ground; this window of the model has none. Choose another place."
        raise ModelError(message)
    first = math.ceil(float(np.nanmin(heights)) / look.interval_m)
    last = math.floor(float(np.nanmax(heights)) / look.interval_m)
    if last - first > MOST_LEVELS:
        message = (
            f"A map should have at most {MOST_LEVELS} contours; this one has {last - first}. "
            "Take a larger interval."
        )
        raise ModelError(message)
    rows, cols = heights.shape
    make: Any = contour_generator(
        np.arange(cols) + 0.5, np.arange(rows) + 0.5, np.ma.masked_invalid(heights), name="serial"
    )
    out = []
    for number in range(first, last + 1):
        lines = []
        for line in make.lines(number * look.interval_m):
            x, y = ground.paper_mm(line[:, 0], line[:, 1])
            lines.append(np.column_stack((x, y)))
        out.append(Contour(number * look.interval_m, number % look.index_every == 0, tuple(lines)))
    return tuple(out)
