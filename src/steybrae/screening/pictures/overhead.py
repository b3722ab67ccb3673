"""Places that matter and start zones, made ready for the map of a screened line."""

from __future__ import annotations

from typing import Final

import numpy as np
import pyproj

from steybrae.route.overhead.reading import read_ground
from steybrae.route.overhead.windows import MOST_CELLS, Window
from steybrae.screening.known import overhead_look
from steybrae.screening.pictures.picture import PlaceOnMap, ZonesOnMap
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.places.words import leading_spot
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import DemSource, Grid
from steybrae.terrain.jacobian import jacobian_at

MOST_OUTLINE_PER_MM: Final = 0.2
"""Millimetres of outline on a square millimetre of map at the most (our choice, by looking)."""


def places_on_map(places: tuple[PlaceThatMatters, ...], grid: Grid) -> tuple[PlaceOnMap, ...]:
    """Where the places that matter stand on a map.

    Returns
    -------
    tuple of PlaceOnMap
        Those told at length first.
    """
    return tuple(_on_map(place, grid) for place in sorted(places, key=lambda place: not place.at_length))


def _on_map(place: PlaceThatMatters, grid: Grid) -> PlaceOnMap:
    spot, figure = leading_spot(place)
    source = None
    if place.at_length and place.kinds[0] == "overhead" and place.overhead is not None:
        up = place.overhead
        lon, lat, _ = pyproj.Geod(ellps="WGS84").fwd(
            up.at.lon_deg, up.at.lat_deg, up.bearing_true_deg, up.distance_m
        )
        source = _xy(float(lon), float(lat), grid)
    text = f"{place.name} {figure}" if place.at_length else place.name
    return PlaceOnMap(text, _xy(spot.lon_deg, spot.lat_deg, grid), source)


def _xy(lon_deg: float, lat_deg: float, grid: Grid) -> tuple[float, float]:
    x, y = grid.xy(*grid.from_wgs84(lon_deg, lat_deg))
    return float(x), float(y)


def zones_on_map(
    screening: RouteScreening, source: DemSource, window: tuple[int, int, int, int], scale: float
) -> ZonesOnMap | None:
    """Start zones on a map.

    Parameters
    ----------
    screening
        How its slopes are known.
    source
        The model.
    window
        Row, column, rows and columns of the map in it.
    scale
        Denominator of the map's scale.

    Returns
    -------
    ZonesOnMap or None
        None on a map of more ground than is looked at at once, and where the outlines would
        lie so close that they would tell nothing.
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
    inside = np.array(ground.zones.source)
    across, along = (float(np.count_nonzero(np.diff(inside, axis=axis))) for axis in (1, 0))
    length_m = across * ground.cell_m[1] + along * ground.cell_m[0]
    area_m2 = inside.size * ground.cell_m[0] * ground.cell_m[1]
    if length_m / area_m2 * scale / 1000.0 > MOST_OUTLINE_PER_MM:
        return None
    return ZonesOnMap(ground.dem.grid, inside)
