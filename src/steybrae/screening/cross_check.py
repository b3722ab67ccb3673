"""Two engines on the same ground: how far their slopes differ, and where.

Compared in true-ground slope, both through the one Jacobian, over every cell that the screening
read. Where both engines answer, differences come from their arithmetic (richdem works in single
precision). Where richdem answers and our own rule calls the slope unknown, because one of the
nine heights is missing, richdem put the centre's height in its place: there its slope reads low.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Literal

import numpy as np

from steybrae.frozen import dataclass
from steybrae.ranges import Count, LatDeg, LonDeg, NotNegative, SlopeDeg
from steybrae.terrain.attributes import slope_deg, slope_field
from steybrae.terrain.dem import Array, Dem
from steybrae.terrain.engines import richdem_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_field

PERCENTILES: Final = (50.0, 95.0, 99.0, 100.0)
"""Percentiles of the size of the differences that are told."""

MOST_PLACES: Final = 5
"""How many of the worst places are told."""


@dataclass(frozen=True)
class WorstPlace:
    """A cell where the engines differ, or where only one answers.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    own_deg
        Slope by our own engine, degrees; None unknown.
    other_deg
        Slope by the other engine, degrees.
    why
        ``arithmetic`` where both answer; ``void or edge`` where a height near it is missing.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    own_deg: SlopeDeg | None
    other_deg: SlopeDeg
    why: Literal["arithmetic", "void or edge"]


@dataclass(frozen=True)
class CrossCheck:
    """What the comparison found.

    Attributes
    ----------
    engine
        One engine.
    other
        The other.
    cells
        Cells where both answer.
    difference_percentiles_deg
        Size of the difference of slope there, by percentile.
    only_other_cells
        Cells where only the other engine answers, beside voids and edges; they stay unknown.
    worst
        Largest differences first, then cells that only the other answers, steepest first.
    """

    engine: str
    other: str
    cells: Count
    difference_percentiles_deg: dict[str, NotNegative]
    only_other_cells: Count
    worst: tuple[WorstPlace, ...]


def cross_check(windows: Iterable[tuple[Dem, tuple[int, int]]]) -> CrossCheck:
    """Compare our own engine's Horn slopes with richdem's on windows of one model.

    Each comes with the row and column of its first cell; a cell that lies in several counts once.
    `MissingExtraError` without richdem.
    """
    seen: set[tuple[int, int]] = set()
    rows = [_compare(dem, corner, seen) for dem, corner in windows]
    lat, lon, own, other = np.concatenate([np.empty((4, 0)), *rows], axis=1)
    both = np.isfinite(own)
    apart = np.abs(own - other)
    percentiles = {f"{p:g}": float(np.percentile(apart[both], p)) for p in PERCENTILES if both.any()}
    order = np.concatenate(
        (
            np.flatnonzero(both)[np.argsort(-apart[both])][:MOST_PLACES],
            np.flatnonzero(~both)[np.argsort(-other[~both])][:MOST_PLACES],
        )
    )
    worst = tuple(
        WorstPlace(
            float(lat[k]),
            float(lon[k]),
            float(own[k]) if both[k] else None,
            float(other[k]),
            "arithmetic" if both[k] else "void or edge",
        )
        for k in order
    )
    return CrossCheck("own", "richdem", int(both.sum()), percentiles, int((~both).sum()), worst)


def _compare(dem: Dem, corner: tuple[int, int], seen: set[tuple[int, int]]) -> Array:
    """Latitude, longitude, own and other slope of the window's cells not seen before."""
    own = slope_field(Dem(dem.grid, dem.heights_m)).slope_deg
    gradients = ground_gradients(jacobian_field(dem.grid), *richdem_gradients(dem.heights_m))
    other = slope_deg(*gradients)
    # The window's own ring is an edge made by reading, not one of the model.
    inner = np.zeros(own.shape, dtype=bool)
    inner[1:-1, 1:-1] = True
    j, i = np.nonzero(inner & np.isfinite(other))
    cells = list(zip((j + corner[0]).tolist(), (i + corner[1]).tolist(), strict=True))
    fresh = np.array([cell not in seen for cell in cells], dtype=bool)
    seen.update(cells)
    j, i = j[fresh], i[fresh]
    lon, lat = dem.grid.to_wgs84(i + 0.5, j + 0.5)
    return np.stack((lat, lon, own[j, i], other[j, i]))
