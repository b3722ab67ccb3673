"""Screenings with the ground for a picture, from models in memory; shared by several tests."""

from __future__ import annotations

import math
from dataclasses import dataclass

from steybrae.route.legs import Route
from steybrae.screening import Settings, screen_route
from steybrae.screening.pictures.relief import with_relief
from steybrae.screening.result import RouteScreening
from steybrae.terrain.dem import Dem, Grid


@dataclass(frozen=True)
class Thinnable:
    """A model in memory that can be read thinned as a file is."""

    dem: Dem

    @property
    def grid(self) -> Grid:
        return self.dem.grid

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        return self.dem.read(row, col, rows, cols)

    def overview(self, row: int, col: int, rows: int, cols: int, most_cells: int) -> Dem:
        k = max(1, math.ceil(math.sqrt(rows * cols / most_cells)))
        whole = self.dem.read(row, col, math.ceil(rows / k) * k, math.ceil(cols / k) * k)
        a, b, c, d, e, f = whole.grid.transform
        heights = whole.heights_m[k // 2 :: k, k // 2 :: k]
        return Dem(Grid((a * k, b * k, c, d * k, e * k, f), whole.grid.crs_wkt, heights.shape), heights)


def pictured(dem: Dem, route: Route, settings: Settings | None = None) -> RouteScreening:
    return with_relief(screen_route(route, dem, settings), Thinnable(dem))
