"""What a slide from a place would carry one into: the first trap on the way down its fall line."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.screening.places.result import OnLine, PlaceThatMatters, TrapBelow
from steybrae.screening.places.words import place_words
from steybrae.terrain.dem import Dem, DemSource
from steybrae.terrain.drops import drop_m
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.overhead.ground import NEIGHBOURS
from steybrae.terrain.shape import RINGS, SHAPE_SPACING_M, look_around
from steybrae.terrain.traps import flattenings, gullies

BELOW_M: Final = 300.0
"""How far down is looked, metres on the map (our choice)."""


def with_traps_below(places: tuple[PlaceThatMatters, ...], source: DemSource) -> tuple[PlaceThatMatters, ...]:
    """Add the first trap below the steepest spot of each place.

    From there the way goes to the neighbour of the eight with the steepest fall, until it comes to a
    drop, into a gully or on to an abrupt flattening, to `BELOW_M` from its start, or to unknown ground.
    Places that have a trap or a drop of their own, or no steep ground, are left as they are.

    Parameters
    ----------
    places
        Of a line.
    source
        The model.
    """
    return tuple(_with_trap(place, source) for place in places)


def _with_trap(place: PlaceThatMatters, source: DemSource) -> PlaceThatMatters:
    own = place.trap is not None or (place.corridor is not None and place.corridor.drop is not None)
    if own or "underfoot" not in place.kinds or place.slope_max_at is None:
        return place
    found = _trap_below(place.slope_max_at, source)
    if found is None:
        return place
    place = replace(place, trap_below=found)
    return replace(place, words=place_words(place))


def _trap_below(spot: OnLine, source: DemSource) -> TrapBelow | None:
    col, row = (float(value) for value in source.grid.from_wgs84(spot.lon_deg, spot.lat_deg))
    size_m = np.hypot(*jacobian_at(source.grid, col, row))
    margin = np.ceil((BELOW_M + (RINGS + 1) * SHAPE_SPACING_M) / size_m).astype(int) + 2
    left, top = math.floor(col) - int(margin[0]), math.floor(row) - int(margin[1])
    dem = source.read(top, left, 2 * int(margin[1]) + 1, 2 * int(margin[0]) + 1)
    jacobian = jacobian_at(dem.grid, dem.grid.shape[1] / 2, dem.grid.shape[0] / 2)
    cols, rows = _way_down(dem, jacobian, (int(margin[0]), int(margin[1])))
    at_cols, at_rows = cols.astype(np.float64) + 0.5, rows.astype(np.float64) + 0.5
    around = look_around(dem.heights_m, jacobian, at_cols, at_rows)
    kinds = {
        "drop": drop_m(dem.heights_m, jacobian)[rows, cols] > 0.0,
        "gully": gullies(around).there,
        "flattening": flattenings(around, STEEP_DEG).there,
    }
    # What the spot itself is belongs to the place.
    firsts = {kind: 1 + int(np.argmax(there[1:])) for kind, there in kinds.items() if there[1:].any()}
    if not firsts:
        return None
    kind = min(firsts, key=lambda one: firsts[one])
    at = firsts[kind]
    off_m = float(np.hypot(*(jacobian @ np.array([cols[at] - cols[0], rows[at] - rows[0]], dtype=float))))
    fall_m = float(dem.heights_m[rows[0], cols[0]] - dem.heights_m[rows[at], cols[at]])
    return TrapBelow(kind, off_m, max(fall_m, 0.0))


def _way_down(
    dem: Dem, jacobian: NDArray[np.float64], start: tuple[int, int]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Columns and rows of the way down, the start first; level ground is crossed as one comes to it."""
    heights = dem.heights_m
    length = np.hypot(*(jacobian @ NEIGHBOURS.T.astype(float)))
    way, step, level_m = [start], -1, 0.0
    while True:
        col, row = way[-1]
        around = heights[row + NEIGHBOURS[:, 1], col + NEIGHBOURS[:, 0]]
        fall = np.nan_to_num((heights[row, col] - around) / length, nan=-np.inf)
        best = int(np.argmax(fall))
        level_m = 0.0 if fall[best] > 0.0 else level_m + float(length[step])
        step = best if fall[best] > 0.0 else step
        if step < 0 or level_m > RINGS * SHAPE_SPACING_M / 2.0 or not np.isfinite(around[step]):
            break
        there = col + int(NEIGHBOURS[step, 0]), row + int(NEIGHBOURS[step, 1])
        off = jacobian @ (np.array(there, dtype=float) - np.array(start, dtype=float))
        if float(np.hypot(*off)) > BELOW_M or there in way:  # out of a pit and back into it
            break
        way.append(there)
    cols, rows = np.array(way, dtype=np.intp).T
    return cols, rows
