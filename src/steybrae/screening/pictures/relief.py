"""The ground round a screened line, made ready for a picture of a stated size on paper.

Everything that a picture shows and a result could hold is computed here, so that drawing only
draws: the window of the model, the steepest slope in each of its picture cells, light for the
relief, contour levels, the outline of the corridor, the scale and the two norths, and the
profile in bins. A picture cell that stands for several cells of the model has the *steepest*
of them, never their mean; it is unknown as soon as one of them is.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, Protocol

import numpy as np

from steybrae.bands import BandScheme
from steybrae.quantities import next_round
from steybrae.route.overhead.windows import MOST_CELLS, Window, read_ground
from steybrae.screening.compared import RouteLines
from steybrae.screening.known import overhead_look
from steybrae.screening.pictures.picture import (
    Contours,
    LegOnMap,
    LineOnMap,
    PlaceOnMap,
    Profile,
    Relief,
    ZonesOnMap,
)
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import leading_spot
from steybrae.screening.result import LegScreening, ModelFacts, RouteScreening
from steybrae.terrain.attributes import band_numbers, baseline_cells, slope_field
from steybrae.terrain.dem import EARTH, Array, Dem, DemSource, Grid
from steybrae.terrain.engines import check_engine
from steybrae.terrain.gradients import check_method, index_gradients
from steybrae.terrain.jacobian import cell_size_m, ground_gradients, jacobian_at, jacobian_field

MOST_BINS: Final = 760
"""Bins along the whole line at the most: a quarter of a millimetre each on A4 (our choice)."""


def profile_of(screening: RouteScreening) -> Profile:
    """Put the points of every leg into bins.

    No bin reaches over a turn point; a bin is never wider than need be, and where the points are
    few each interval between two of them is a bin.
    """
    turns = np.concatenate(([0.0], np.cumsum([leg.length_m for leg in screening.legs])))
    parts = [_bins(leg, turns[-1]) for leg in screening.legs]
    edges = [part[0][:-1] + start for part, start in zip(parts, turns, strict=False)]
    heights = [part[1][:-1] for part in parts]
    slope, low, high, corridor = (np.concatenate([part[2][k] for part in parts]) for k in range(4))
    band = band_numbers(slope, BandScheme(screening.settings.edges_deg))
    steepest = [
        np.nan if leg.slope_max_at is None else start + leg.slope_max_at.chainage_m
        for leg, start in zip(screening.legs, turns, strict=False)
    ]
    return Profile(
        np.append(np.concatenate(edges), turns[-1]),
        np.append(np.concatenate(heights), parts[-1][1][-1]),
        slope,
        low,
        high,
        corridor,
        band,
        turns,
        np.array(steepest),
    )


def _bins(leg: LegScreening, whole_m: float) -> tuple[Array, Array, Array]:
    """Edges, heights at them, and slope, low, high and corridor of each bin."""
    points = leg.points
    count = len(points.chainage_m) - 1
    bins = min(count, max(1, int(MOST_BINS * leg.length_m / whole_m)))
    starts = np.arange(bins) * count // bins
    at = np.append(starts, count)
    values = np.stack((points.slope_deg, points.slope_low_deg, points.slope_high_deg, points.corridor_deg))
    # An interval between two points has the steeper of them; fmax passes over what is unknown.
    out = np.fmax.reduceat(np.fmax(values[:, :-1], values[:, 1:]), starts, axis=1)
    unknown = np.logical_or.reduceat(~(points.known[:-1] & points.known[1:]), starts)
    if leg.slope_max_at is not None and leg.slope_max_deg is not None:
        edges = points.chainage_m[at]
        k = int(np.clip(np.searchsorted(edges, leg.slope_max_at.chainage_m) - 1, 0, bins - 1))
        ends = (leg.slope_max_deg, leg.slope_low_deg, leg.slope_high_deg)
        out[:3, k] = np.fmax(out[:3, k], [np.nan if end is None else end for end in ends])
    out[:3, unknown] = np.nan
    return points.chainage_m[at], points.elevation_m[at], out


MOST_OUTLINE_PER_MM: Final = 0.2
"""Millimetres of outline on a square millimetre of map at the most (our choice, by looking)."""


def places_on_map(places: tuple[PlaceThatMatters, ...], grid: Grid) -> tuple[PlaceOnMap, ...]:
    """Where the places that matter stand on a map, those told at length first."""
    return tuple(_on_map(place, grid) for place in sorted(places, key=lambda place: not place.at_length))


def _on_map(place: PlaceThatMatters, grid: Grid) -> PlaceOnMap:
    spot, figure = leading_spot(place)
    source = None
    if place.at_length and place.kinds[0] == "overhead" and place.overhead is not None:
        up = place.overhead
        lon, lat, _ = EARTH.fwd(up.at.lon_deg, up.at.lat_deg, up.bearing_true_deg, up.distance_m)
        source = _xy(float(lon), float(lat), grid)
    text = f"{place.name} {figure}" if place.at_length else place.name
    return PlaceOnMap(text, _xy(spot.lon_deg, spot.lat_deg, grid), source)


def _xy(lon_deg: float, lat_deg: float, grid: Grid) -> tuple[float, float]:
    x, y = grid.xy(*grid.from_wgs84(lon_deg, lat_deg))
    return float(x), float(y)


def zones_on_map(
    screening: RouteScreening, source: DemSource, window: tuple[int, int, int, int], scale: float
) -> ZonesOnMap | None:
    """Start zones in a window of a map; `scale` is the denominator.

    None on a map of more ground than is looked at at once, and where the outlines would lie so
    close that they would tell nothing.
    """
    facts, used = screening.model, screening.settings
    top, left, rows, cols = window
    jacobian = jacobian_at(source.grid, left + cols / 2, top + rows / 2)
    look = overhead_look(facts.cell_size_m, jacobian, used)
    join_col, join_row = look.joins
    if rows * cols > MOST_CELLS * join_col * join_row:
        return None
    # One joined cell more on each side than is shown.
    cells = Window(
        (top // join_row - 2) * join_row,
        (left // join_col - 2) * join_col,
        (-(-(top + rows) // join_row) + 2) * join_row,
        (-(-(left + cols) // join_col) + 2) * join_col,
    )
    ground = read_ground(source, cells, look)
    inside = np.logical_or.reduce([one.zones.source for one in (ground, *ground.others)])
    across, along = (float(np.count_nonzero(np.diff(inside, axis=axis))) for axis in (1, 0))
    length_m = across * ground.cell_m[1] + along * ground.cell_m[0]
    area_m2 = inside.size * ground.cell_m[0] * ground.cell_m[1]
    if length_m / area_m2 * scale / 1000.0 > MOST_OUTLINE_PER_MM:
        return None
    return ZonesOnMap(ground.dem.grid, inside)


MAP_SHAPES_MM: Final = ((190.0, 116.0), (118.0, 166.0), (279.0, 82.0))
"""Width and height that a map may have on A4, millimetres: upright page over the whole width,
upright page beside a table, page on its side (our choice of page)."""

MARGIN_SHARE: Final = 0.06
"""Ground beyond the line and its corridor on each side, share of the map."""

SCALE_STEPS: Final = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0, 10.0)
"""Round scales to choose from, in a power of ten (our choice, with those of printed maps among them)."""

LEAST_HALF_WINDOW_M: Final = 150.0
"""Half of the map's short side shows at least this much ground, metres (our choice)."""

INTERVALS_M: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Contour intervals to choose from, metres (common practice, no source)."""

LEAST_GAP_MM: Final = 0.5
"""Gap between contours on ground steeper than nine tenths of the map, millimetres: closer ones
would run together in print (our choice)."""

INDEX_EVERY: Final = 5
"""Every fifth contour is heavier and labelled (common practice, no source)."""


def with_relief(screening: RouteScreening, source: PictureSource) -> RouteScreening:
    """Return the same screening with the ground for its picture; see `make_relief`."""
    return replace(screening, relief=make_relief(screening, source))


def make_relief(screening: RouteScreening, source: PictureSource) -> Relief:
    """Make the ground round a screened line ready for a picture.

    It takes the map shape of `MAP_SHAPES_MM` that shows the line, and those beside it, largest.
    """
    grid = source.grid
    legs = legs_on_map(screening.legs, grid)
    beside = lines_on_map(screening, grid)
    x = np.concatenate([*(leg.x for leg in legs), *(line.x for line in beside)])
    y = np.concatenate([*(leg.y for leg in legs), *(line.y for line in beside)])
    middle = (float(x.min() + x.max()) / 2.0, float(y.min() + y.max()) / 2.0)
    per_xy = _ground_per_xy(grid, middle)
    unit_m = (float(np.hypot(*per_xy[:, 0])), float(np.hypot(*per_xy[:, 1])))
    widest_m = max(leg.corridor_half_width_m[1] for leg in screening.legs)
    half_m = (float(np.ptp(x)) * unit_m[0] / 2.0 + widest_m, float(np.ptp(y)) * unit_m[1] / 2.0 + widest_m)
    map_mm, scale = _shape(half_m)
    reach = (map_mm[0] * scale / 2000.0 / unit_m[0], map_mm[1] * scale / 2000.0 / unit_m[1])
    extent = (middle[0] - reach[0], middle[0] + reach[0], middle[1] - reach[1], middle[1] + reach[1])
    window = _window(grid, extent)
    dem, slope, cells, thinned = picture_cells(source, window, screening.model)
    corridor_grid, beyond = beyond_corridor_m(screening.legs, dem.grid)
    light, gradient = light_on(dem)
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
        # By the grid that the plan keeps, so that they follow from it.
        legs=legs_on_map(screening.legs, dem.grid),
        zones=zones_on_map(screening, source, window, scale),
        places=places_on_map(screening.places, dem.grid),
        profile=profile_of(screening),
    )


def lines_on_map(screening: RouteScreening, grid: Grid) -> tuple[LineOnMap, ...]:
    """Lines beside the main one, in the CRS of a grid; ways off come last."""
    if not isinstance(screening, RouteLines):
        return ()
    both = (*((line, False) for line in screening.lines[1:]), *((way, True) for way in screening.ways_off))
    return tuple(
        LineOnMap(line.name, *grid.xy(*grid.from_wgs84(line.line_deg[1], line.line_deg[0])), way_off)
        for line, way_off in both
    )


def legs_on_map(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[LegOnMap, ...]:
    """Legs in the CRS of a grid."""
    return tuple(_leg_on_map(leg, grid) for leg in legs)


def _leg_on_map(leg: LegScreening, grid: Grid) -> LegOnMap:
    points = leg.points
    x, y = grid.xy(*grid.from_wgs84(points.lon_deg, points.lat_deg))
    half_m = float(points.chainage_m[-1]) / 2.0
    middle = (float(np.interp(half_m, points.chainage_m, x)), float(np.interp(half_m, points.chainage_m, y)))
    at = leg.slope_max_at
    return LegOnMap(leg.number, x, y, middle, None if at is None else _xy(at.lon_deg, at.lat_deg, grid))


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
    # A romer and a ruler can be laid on it.
    return shape, next_round(scale, SCALE_STEPS)


def _window(grid: Grid, extent: tuple[float, float, float, float]) -> tuple[int, int, int, int]:
    """Row, column, rows and columns that hold the map."""
    x0, x1, y0, y1 = extent
    col, row = grid.colrow([x0, x1, x1, x0], [y0, y0, y1, y1])
    left, top = math.floor(col.min()) - 1, math.floor(row.min()) - 1
    return top, left, math.ceil(row.max()) + 1 - top, math.ceil(col.max()) + 1 - left


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


MOST_PICTURE_CELLS: Final = 680 * 680
"""Picture cells at the most: about 0.25 mm each on paper (our choice)."""

MOST_MODEL_CELLS: Final = 3000 * 3000
"""Cells of the model read for a picture at the most; beyond it heights are left out (our choice)."""

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


def picture_cells(
    source: PictureSource, window: tuple[int, int, int, int], model: ModelFacts
) -> tuple[Dem, Array, int, int]:
    """Read a window of a model, which may reach outside, as cells of a picture.

    One height in each picture cell; the steepest slope of the cells it stands for by the method and
    engine that screened the line, over its baseline or over two cells, NaN where one of them is
    unknown; side of a picture cell in cells read; and how many cells of the model lie between those
    read, 1 where none was left out.
    """
    top, left, rows, cols = window
    read: DemSource = source
    thinned = 1
    method = check_method(model.method)
    engine = check_engine(model.engine, method)
    if rows * cols > MOST_MODEL_CELLS:
        thin = source.overview(top, left, rows, cols, MOST_MODEL_CELLS)
        thinned = round(rows / thin.grid.shape[0])
        read, top, left = thin, 0, 0
        rows, cols = thin.grid.shape
    k = max(1, math.ceil(math.sqrt(rows * cols / MOST_PICTURE_CELLS)))
    out_rows, out_cols = math.ceil(rows / k), math.ceil(cols / k)
    heights, slopes = np.empty((out_rows, out_cols)), np.empty((out_rows, out_cols))
    halves = baseline_cells(*cell_size_m(read.grid))
    ring = max(halves)
    for first in range(0, out_rows, _STRIP_ROWS):
        last = min(first + _STRIP_ROWS, out_rows)
        # Rings more than are shown: slopes need them.
        size = (last - first) * k + 2 * ring, out_cols * k + 2 * ring
        strip = read.read(top + first * k - ring, left - ring, *size)
        field = slope_field(strip, method, engine, halves)
        inner = np.maximum(field.slope_deg, field.short_deg)[ring:-ring, ring:-ring]
        # max carries NaN: a picture cell is unknown as soon as one of its cells is.
        slopes[first:last] = inner.reshape(last - first, k, out_cols, k).max(axis=(1, 3))
        heights[first:last] = strip.heights_m[ring + k // 2 : -ring : k, ring + k // 2 : -ring : k]
    a, b, _, d, e, _ = read.grid.transform
    x, y = read.grid.xy(left, top)
    grid = Grid((a * k, b * k, float(x), d * k, e * k, float(y)), read.grid.crs_wkt, (out_rows, out_cols))
    return Dem(grid, heights), slopes, k, thinned


def light_on(dem: Dem) -> tuple[Array, Array]:
    """Light from the north-west on each cell, and its gradient.

    ``cos(aspect - 315 degrees) * tanh(gradient / LIGHT_GRADIENT)``, -1 turned away to 1 facing;
    NaN beside unknown heights.
    """
    p, q = ground_gradients(jacobian_field(dem.grid), *index_gradients(dem.heights_m, "horn"))
    gradient = np.hypot(p, q)
    towards = math.radians(LIGHT_FROM_TRUE_DEG)
    facing = -(p * math.sin(towards) + q * math.cos(towards)) / np.maximum(gradient, 1e-12)
    return facing * np.tanh(gradient / LIGHT_GRADIENT), gradient


def beyond_corridor_m(legs: tuple[LegScreening, ...], grid: Grid) -> tuple[Grid, Array]:
    """Distance from the outline of the corridor at the cell centres of a finer grid than the picture's.

    ``min over the line of (distance - half-width)``: the legs' corridors run together without inner
    lines. Metres on the ground, negative inside, one cell's length where the corridor is far away.
    """
    zoom = max(1, _CORRIDOR_CELLS // max(grid.shape))
    a, b, c, d, e, f = grid.transform
    rows, cols = grid.shape[0] * zoom, grid.shape[1] * zoom
    fine = Grid((a / zoom, b / zoom, c, d / zoom, e / zoom, f), grid.crs_wkt, (rows, cols))
    step = jacobian_at(fine)
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
