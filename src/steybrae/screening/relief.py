"""The ground round a screened line, made ready for a picture of a stated size on paper.

Everything that a picture shows and a result could hold is computed here, so that drawing only
draws: the window of the model, the steepest slope in each of its picture cells, light for the
relief, contour levels, the outline of the corridor, the scale and the two norths, and the
profile in bins. A picture cell that stands for several cells of the model has the *steepest*
of them, never their mean; it is unknown as soon as one of them is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from steybrae.screening.profile import Profile, profile_of
from steybrae.terrain.attributes import slope_field
from steybrae.terrain.dem import Array, Dem, DemSource, Grid
from steybrae.terrain.engines import check_engine
from steybrae.terrain.gradients import check_method, index_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_at, jacobian_field

if TYPE_CHECKING:
    from steybrae.screening.result import LegScreening, Position, RouteScreening

__all__ = ["MAP_SHAPES_MM", "Contours", "LegOnMap", "PictureSource", "Relief", "make_relief", "with_relief"]

MAP_SHAPES_MM: Final = ((190.0, 116.0), (118.0, 166.0), (279.0, 82.0))
"""Width and height that a map may have on A4, millimetres: upright page over the whole width,
upright page beside a table, page on its side (our choice of page)."""

MOST_PICTURE_CELLS: Final = 680 * 680
"""Picture cells at the most: about 0.25 mm each on paper (our choice)."""

MOST_MODEL_CELLS: Final = 3000 * 3000
"""Cells of the model read for a picture at the most; beyond it heights are left out (our choice)."""

MARGIN_SHARE: Final = 0.06
"""Ground beyond the line and its corridor on each side, share of the map."""

LEAST_HALF_WINDOW_M: Final = 150.0
"""Half of the map's short side shows at least this much ground, metres (our choice)."""

INTERVALS_M: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Contour intervals to choose from, metres (common practice, no source)."""

LEAST_GAP_MM: Final = 0.5
"""Gap between contours on ground steeper than nine tenths of the map, millimetres: closer ones
would run together in print (our choice)."""

INDEX_EVERY: Final = 5
"""Every fifth contour is heavier and labelled (common practice, no source)."""

LIGHT_FROM_TRUE_DEG: Final = 315.0
"""Relief is lit from the north-west (the custom of relief maps; common practice, no source)."""

LIGHT_GRADIENT: Final = 0.1
"""Gradient at which the light has three quarters of its full strength: beyond gentle ground it
tells form only, so that it cannot be read as steepness (our choice)."""

_CORRIDOR_CELLS: Final = 900
_CORRIDOR_POINTS: Final = 3000
_STRIP_ROWS: Final = 64


class PictureSource(DemSource, Protocol):
    """A model that can also be read thinned."""

    def overview(self, row: int, col: int, rows: int, cols: int, most_cells: int) -> Dem:
        """Window with every k-th row and column, at most about `most_cells` heights."""


@dataclass(frozen=True)
class Contours:
    """Heights at which contours are drawn.

    Attributes
    ----------
    interval_m
        Between neighbours.
    every
        1 where that is the interval of the user's map or ours; n where only each n-th line of
        the user's map is drawn, for want of room.
    levels_m, index_levels_m
        All of them; those that are heavier and labelled.
    """

    interval_m: float
    every: int
    levels_m: tuple[float, ...]
    index_levels_m: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class LegOnMap:
    """A leg in the CRS of the model.

    Attributes
    ----------
    number
        Of the leg.
    x, y
        Its points, arrays ``(n,)``.
    middle
        Half-way along it.
    steepest
        Where the steepest cell lies that it touches; None on a leg wholly unknown.
    """

    number: int
    x: Array
    y: Array
    middle: tuple[float, float]
    steepest: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class Relief:
    """The ground round a line for a picture; arrays ``[row, col]`` on `grid`, NaN unknown.

    Attributes
    ----------
    grid
        Of the picture cells; some may lie outside the model.
    heights_m
        One height in each.
    slope_deg
        Steepest slope in each.
    light
        -1 turned away from the light to 1 facing it, 0 level; the same on all steep ground.
    cells, thinned
        Side of a picture cell in cells of what was read; and of that in cells of the model, 1
        where every height was used.
    extent
        ``x0, x1, y0, y1`` of the map in the CRS.
    unit_m
        Ground metres in one CRS unit along x and along y, at the middle of the map.
    grid_north_true_deg
        Direction of grid north there, clockwise from true north: the convergence.
    crs_name, projected
        Of the model; whether its units are lengths.
    map_mm, scale_denominator
        Size on paper, and 1 mm on paper in ground millimetres at the middle of the map.
    contours
        Their heights.
    corridor_grid, beyond_corridor_m
        A finer grid, and ground distance from each of its cell centres to the outline of the
        corridor, positive outside.
    legs
        The line.
    profile
        Along the line.
    """

    grid: Grid
    heights_m: Array
    slope_deg: Array
    light: Array
    cells: int
    thinned: int
    extent: tuple[float, float, float, float]
    unit_m: tuple[float, float]
    grid_north_true_deg: float
    crs_name: str
    projected: bool
    map_mm: tuple[float, float]
    scale_denominator: float
    contours: Contours
    corridor_grid: Grid
    beyond_corridor_m: Array
    legs: tuple[LegOnMap, ...]
    profile: Profile


def with_relief(screening: RouteScreening, source: PictureSource) -> RouteScreening:
    """Return the same screening with the ground for its picture; see `make_relief`."""
    return replace(screening, relief=make_relief(screening, source))


def make_relief(screening: RouteScreening, source: PictureSource) -> Relief:
    """Make the ground round a screened line ready for a picture.

    Parameters
    ----------
    screening
        The line.
    source
        The model it was screened on.

    Returns
    -------
    Relief
        On the map shape of `MAP_SHAPES_MM` that shows the line largest.

    Raises
    ------
    ModelError
        The model cannot be used there.
    """
    grid = source.grid
    legs = tuple(_leg_on_map(leg, grid) for leg in screening.legs)
    x = np.concatenate([leg.x for leg in legs])
    y = np.concatenate([leg.y for leg in legs])
    middle = (float(x.min() + x.max()) / 2.0, float(y.min() + y.max()) / 2.0)
    per_xy = _ground_per_xy(grid, middle)
    unit_m = (float(np.hypot(*per_xy[:, 0])), float(np.hypot(*per_xy[:, 1])))
    widest_m = max(leg.corridor_half_width_m[1] for leg in screening.legs)
    half_m = (float(np.ptp(x)) * unit_m[0] / 2.0 + widest_m, float(np.ptp(y)) * unit_m[1] / 2.0 + widest_m)
    map_mm, scale = _shape(half_m)
    reach = (map_mm[0] * scale / 2000.0 / unit_m[0], map_mm[1] * scale / 2000.0 / unit_m[1])
    extent = (middle[0] - reach[0], middle[0] + reach[0], middle[1] - reach[1], middle[1] + reach[1])
    dem, slope, cells, thinned = _picture_cells(source, _window(grid, extent), screening)
    corridor_grid, beyond = _corridor(screening.legs, dem.grid)
    light, gradient = _light(dem)
    for array in (slope, light, beyond):
        array.flags.writeable = False
    return Relief(
        grid=dem.grid,
        heights_m=dem.heights_m,
        slope_deg=slope,
        light=light,
        cells=cells,
        thinned=thinned,
        extent=extent,
        unit_m=unit_m,
        grid_north_true_deg=math.degrees(math.atan2(per_xy[0, 1], per_xy[1, 1])),
        crs_name=screening.model.crs,
        projected=not grid.crs.is_geographic,
        map_mm=map_mm,
        scale_denominator=scale,
        contours=_contours(dem.heights_m, gradient, scale, screening.settings.interval_m),
        corridor_grid=corridor_grid,
        beyond_corridor_m=beyond,
        legs=legs,
        profile=profile_of(screening),
    )


def _leg_on_map(leg: LegScreening, grid: Grid) -> LegOnMap:
    points = leg.points
    x, y = grid.xy(*grid.from_wgs84(points.lon_deg, points.lat_deg))
    half_m = float(points.chainage_m[-1]) / 2.0
    middle = (float(np.interp(half_m, points.chainage_m, x)), float(np.interp(half_m, points.chainage_m, y)))
    return LegOnMap(leg.number, x, y, middle, _xy_of(leg.slope_max_at, grid))


def _xy_of(position: Position | None, grid: Grid) -> tuple[float, float] | None:
    if position is None:
        return None
    x, y = grid.xy(*grid.from_wgs84(position.lon_deg, position.lat_deg))
    return float(x), float(y)


def _ground_per_xy(grid: Grid, middle: tuple[float, float]) -> Array:
    """Ground metres east and north of one CRS unit along x and along y, shape ``(2, 2)``."""
    a, b, _, d, e, _ = grid.transform
    col, row = grid.colrow(*middle)
    out: Array = jacobian_at(grid, col, row) @ np.linalg.inv(np.array([[a, b], [d, e]]))
    return out


def _shape(half_m: tuple[float, float]) -> tuple[tuple[float, float], float]:
    """Map shape on which the line is largest, and its scale denominator."""
    room = 1.0 - 2.0 * MARGIN_SHARE
    found = []
    for width_mm, height_mm in MAP_SHAPES_MM:
        scale = 2000.0 / room * max(half_m[0] / width_mm, half_m[1] / height_mm)
        least = 2000.0 * LEAST_HALF_WINDOW_M / min(width_mm, height_mm)
        found.append((max(scale, least), (width_mm, height_mm)))
    scale, shape = min(found, key=lambda item: item[0])
    return shape, scale


def _window(grid: Grid, extent: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
    """Row, column, rows and columns that hold the map."""
    x0, x1, y0, y1 = extent
    col, row = grid.colrow([x0, x1, x1, x0], [y0, y0, y1, y1])
    left, top = math.floor(col.min()) - 1, math.floor(row.min()) - 1
    return top, left, math.ceil(row.max()) + 1 - top, math.ceil(col.max()) + 1 - left


def _picture_cells(
    source: PictureSource, window: tuple[int, int, int, int], screening: RouteScreening
) -> tuple[Dem, Array, int, int]:
    """Heights and steepest slopes of the picture cells, and how many cells each stands for."""
    top, left, rows, cols = window
    read: DemSource = source
    thinned = 1
    method = check_method(screening.model.method)
    engine = check_engine(screening.model.engine, method)
    if rows * cols > MOST_MODEL_CELLS:
        thin = source.overview(top, left, rows, cols, MOST_MODEL_CELLS)
        thinned = round(rows / thin.grid.shape[0])
        read, top, left = thin, 0, 0
        rows, cols = thin.grid.shape
    k = max(1, math.ceil(math.sqrt(rows * cols / MOST_PICTURE_CELLS)))
    out_rows, out_cols = math.ceil(rows / k), math.ceil(cols / k)
    heights, slopes = np.empty((out_rows, out_cols)), np.empty((out_rows, out_cols))
    for first in range(0, out_rows, _STRIP_ROWS):
        last = min(first + _STRIP_ROWS, out_rows)
        # One ring more than is shown: slopes need it.
        strip = read.read(top + first * k - 1, left - 1, (last - first) * k + 2, out_cols * k + 2)
        inner = slope_field(strip, method, engine=engine).slope_deg[1:-1, 1:-1]
        # max carries NaN: a picture cell is unknown as soon as one of its cells is.
        slopes[first:last] = inner.reshape(last - first, k, out_cols, k).max(axis=(1, 3))
        heights[first:last] = strip.heights_m[1 + k // 2 : -1 : k, 1 + k // 2 : -1 : k]
    a, b, _, d, e, _ = read.grid.transform
    x, y = read.grid.xy(left, top)
    grid = Grid((a * k, b * k, float(x), d * k, e * k, float(y)), read.grid.crs_wkt, (out_rows, out_cols))
    return Dem(grid, heights), slopes, k, thinned


def _light(dem: Dem) -> tuple[Array, Array]:
    """Light on each cell, and its gradient."""
    p, q = ground_gradients(jacobian_field(dem.grid), *index_gradients(dem.heights_m, "horn"))
    gradient = np.hypot(p, q)
    towards = math.radians(LIGHT_FROM_TRUE_DEG)
    facing = -(p * math.sin(towards) + q * math.cos(towards)) / np.maximum(gradient, 1e-12)
    return facing * np.tanh(gradient / LIGHT_GRADIENT), gradient


def _contours(heights_m: Array, gradient: Array, scale: float, own_m: float | None) -> Contours:
    if not np.isfinite(heights_m).any():
        return Contours(own_m or INTERVALS_M[0], 1, (), ())
    known = gradient[np.isfinite(gradient)]
    steep = float(np.quantile(known, 0.9)) if known.size else 1.0
    least_m = LEAST_GAP_MM * scale / 1000.0 * steep
    if own_m is None:
        interval = next((value for value in INTERVALS_M if value >= least_m), INTERVALS_M[-1])
        every = 1
    else:
        every = next((n for n in (1, 2, 5, 10, 20, 50) if n * own_m >= least_m), 100)
        interval = every * own_m
    low, high = float(np.nanmin(heights_m)), float(np.nanmax(heights_m))
    steps = range(math.ceil(low / interval), math.floor(high / interval) + 1)
    levels = tuple(step * interval for step in steps)
    return Contours(interval, every, levels, tuple(s * interval for s in steps if s % INDEX_EVERY == 0))


def _corridor(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[Grid, Array]:
    """Distance beyond the corridor on a finer grid; one cell's length where it is far away."""
    zoom = max(1, _CORRIDOR_CELLS // max(grid.shape))
    a, b, c, d, e, f = grid.transform
    rows, cols = grid.shape[0] * zoom, grid.shape[1] * zoom
    fine = Grid((a / zoom, b / zoom, c, d / zoom, e / zoom, f), grid.crs_wkt, (rows, cols))
    step = jacobian_at(fine, cols / 2, rows / 2)
    size = np.hypot(step[0], step[1])
    beyond = np.full((rows, cols), float(size.max()))
    whole_m = sum(leg.length_m for leg in legs)
    apart_m = max(float(size.min()), whole_m / _CORRIDOR_POINTS)
    for leg in legs:
        points = leg.points
        at = np.linspace(0.0, leg.length_m, max(2, math.ceil(leg.length_m / apart_m) + 1))
        lon = np.interp(at, points.chainage_m, np.unwrap(points.lon_deg, period=360.0))
        col, row = fine.from_wgs84(lon, np.interp(at, points.chainage_m, points.lat_deg))
        width = np.interp(at, points.chainage_m, points.half_width_m)
        for x, y, half in zip(col.tolist(), row.tolist(), width.tolist(), strict=True):
            reach = (math.ceil(half / size[0]) + 2, math.ceil(half / size[1]) + 2)
            c0, c1 = max(0, math.floor(x) - reach[0]), min(cols, math.floor(x) + reach[0] + 1)
            r0, r1 = max(0, math.floor(y) - reach[1]), min(rows, math.floor(y) + reach[1] + 1)
            if c0 >= c1 or r0 >= r1:
                continue
            dc = np.arange(c0, c1)[None, :] + 0.5 - x
            dr = np.arange(r0, r1)[:, None] + 0.5 - y
            distance = np.hypot(step[0, 0] * dc + step[0, 1] * dr, step[1, 0] * dc + step[1, 1] * dr)
            part = beyond[r0:r1, c0:c1]
            np.minimum(part, distance - half, out=part)
    return fine, beyond
