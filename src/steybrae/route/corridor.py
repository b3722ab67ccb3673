"""The corridor: ground on both sides of the line in which one may stray, and what lies left and right.

Half-width of the corridor at a chainage ``s`` after the last turn point: ``position error + s
tan(drift)``, at least 30 m. Every cell whose square reaches into it counts. Distances are taken
on the ground from the line to the nearest edge of a cell's square, so they are never too long.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.terrain.dem import Array

DRIFT_DEG: Final = 3.0
"""Drift of a walked bearing, degrees (common practice, no source)."""

MOST_PLACE_ERROR_M: Final = 2000.0
"""Largest error of a turn point, metres (our choice): a square of the map, whose ground is no line's."""

LEAST_HALF_WIDTH_M: Final = 30.0
"""Least half-width of the corridor, metres (common practice, no source)."""

PLACE_ERROR_M: Final = 10.0
"""Error of a place where none is stated, metres: a hand-held GPS, or a careful romer reading of a
1:25 000 map to half a millimetre (common practice, no source)."""

SIDE_REACH_M: Final = 100.0
"""How far to the left and right steep ground is looked for at the least, metres (our choice)."""

SIDE_SLOPES_DEG: Final = (30.0, 45.0)
"""Slopes whose nearest ground on each side is told, degrees: where the European danger scale calls
ground steep, and the upper end of the usual slab range (Swiss leaflet "Achtung Lawinen!")."""


def check_drift(drift_deg: float) -> float:
    """Drift of a walked bearing, refused outside 0 to 45 degrees."""
    if not 0.0 <= drift_deg <= 45.0:
        message = f"The drift should lie between 0 and 45 degrees; got {drift_deg:g}. Usual is about 3."
        raise QuantityError(message)
    return drift_deg


def check_place_error_m(place_error_m: float) -> float:
    """Error of a turn point, metres; beyond `MOST_PLACE_ERROR_M` the corridor would be all the country."""
    if place_error_m > MOST_PLACE_ERROR_M:
        message = (
            f"The position error should be at most {MOST_PLACE_ERROR_M / 1000.0:g} km; got "
            f"{place_error_m / 1000.0:.10g} km. Give turn points with more figures, or a "
            "smaller --place-error."
        )
        raise QuantityError(message)
    return place_error_m


def half_width_m(chainage_m: Array, place_error_m: float, drift_deg: float) -> Array:
    """Half-width of the corridor, metres, at chainages since the last turn point."""
    width = place_error_m + chainage_m * math.tan(math.radians(drift_deg))
    return np.maximum(LEAST_HALF_WIDTH_M, width)


def reach_beside_m(chainage_m: float, place_error_m: float, drift_deg: float) -> float:
    """Distance from the line within which ground is looked at up to a chainage of a leg, metres."""
    return max(float(half_width_m(np.array(chainage_m), place_error_m, drift_deg)), SIDE_REACH_M)


def apart_m(places: Array, line: Array, pieces: Iterable[int]) -> Array:
    """Distance from places to the nearest of some pieces of a line; infinite without any.

    Parameters
    ----------
    places, line
        East and north, ground metres: ``(2, ...)``, and vertices ``(2, n)``.
    pieces
        Numbers of their first vertices; those without a length are left out.
    """
    found = np.full(places.shape[1:], np.inf)
    for k in pieces:
        start, along = line[:, k], line[:, k + 1] - line[:, k]
        square = float(along @ along)
        if square == 0.0:
            continue
        here = places - start.reshape(2, *[1] * found.ndim)
        share = np.clip(np.tensordot(along, here, 1) / square, 0.0, 1.0)
        off_m = np.hypot(here[0] - along[0] * share, here[1] - along[1] * share)
        np.minimum(found, off_m, out=found)
    return found


@dataclass(frozen=True)
class Nearest:
    """Nearest cell of at least some slope on one side.

    Ground distance from the line to its edge; the place on the line nearest to it; its height.
    """

    distance_m: float
    chainage_m: float
    height_m: float


@dataclass(frozen=True)
class Steepest:
    """Steepest cell of the corridor, over its baseline; its centre in the grid, cells."""

    slope_deg: float
    col: float
    row: float
    chainage_m: float


@dataclass(frozen=True, eq=False)
class BesideLine:
    """What a stretch of corridor, or a whole one, holds.

    Attributes
    ----------
    steepest
        Steepest known cell of the corridor, over the baseline; None where none is known.
    unknown
        Whether the corridor holds unknown ground.
    by_bin_deg
        Steepest known slope across the corridor in each bin of chainage, NaN where none.
    nearest
        By side and slope: the nearest cell of that slope within the reach.
    near_bins
        By side and slope: bins beside which there is such ground.
    unknown_sides
        Sides on which there is unknown ground within the reach.
    """

    steepest: Steepest | None
    unknown: bool
    by_bin_deg: Array
    nearest: dict[tuple[str, float], Nearest] = field(default_factory=dict)
    near_bins: dict[tuple[str, float], NDArray[np.bool_]] = field(default_factory=dict)
    unknown_sides: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Window:
    """Ground near a stretch of the line: slopes over the corridor's baseline, NaN unknown; heights.

    The Jacobian is that in its middle; `others_m` are heights of sources that differ.
    """

    slope_deg: Array
    height_m: Array
    jacobian: Array
    others_m: tuple[Array, ...] = ()


@dataclass(frozen=True, eq=False)
class LineInWindow:
    """A stretch of a leg, in the cells of a window, with one vertex more on each side where the leg goes on.

    It spans the chainages `span_m`; ground nearest to others belongs to other stretches.
    """

    col: Array
    row: Array
    chainage_m: Array
    span_m: tuple[float, float]


@dataclass(frozen=True, eq=False)
class NearCells:
    """Cells near a stretch: where each lies from the line; arrays ``(n,)``.

    Attributes
    ----------
    chainage_m, half_m
        Of the nearest place on the line, and half the cell's length along it there.
    edge_m
        Ground distance from the line to the nearest edge of the cell's square.
    left
        Whether it lies to the left of travel.
    abreast
        False beyond the ends of the leg.
    slope_deg, height_m
        Of the window.
    col, row
        Its centre in the window, cells.
    """

    chainage_m: Array
    half_m: Array
    edge_m: Array
    left: NDArray[np.bool_]
    abreast: NDArray[np.bool_]
    slope_deg: Array
    height_m: Array
    col: Array
    row: Array


def beside(
    window: Window,
    line: LineInWindow,
    bins: tuple[float, int],
    place_error_m: float,
    drift_deg: float,
    cells: NearCells | None = None,
) -> BesideLine:
    """Look at the ground beside one stretch of a leg, in the columns and rows of its window.

    `bins` are the length of a bin of chainage, metres, and their number in the leg; the corridor is
    that of `half_width_m`; `cells` come from `near_cells`, where they are there already.
    """
    if cells is None:
        cells = near_cells(window, line, reach_beside_m(line.span_m[1], place_error_m, drift_deg))
    inside, at_bins = _inside_and_abreast(cells, bins, place_error_m, drift_deg)
    known = np.isfinite(cells.slope_deg)
    by_bin = np.full(bins[1], np.nan)
    some = inside & known
    for at_bin in at_bins:  # ufunc.at does not broadcast its values safely
        np.fmax.at(by_bin, at_bin[some], cells.slope_deg[some])
    nearest: dict[tuple[str, float], Nearest] = {}
    near_bins: dict[tuple[str, float], NDArray[np.bool_]] = {}
    unknown_sides = set()
    abreast = cells.abreast & (inside | (cells.edge_m <= SIDE_REACH_M))
    for side, on_side in (("left", cells.left), ("right", ~cells.left)):
        here = on_side & abreast
        if (here & ~known).any():
            unknown_sides.add(side)
        for least in SIDE_SLOPES_DEG:
            steep = np.flatnonzero(here & known & (shown_slope_deg(cells.slope_deg) >= least))
            if len(steep):
                nearest[side, least] = _nearest(cells, steep)
                near_bins[side, least] = np.bincount(at_bins[:, steep].ravel(), minlength=bins[1]) > 0
    steepest = None
    if some.any():
        top = int(np.argmax(np.where(some, cells.slope_deg, -1.0)))
        steepest = Steepest(
            float(cells.slope_deg[top]),
            float(cells.col[top]),
            float(cells.row[top]),
            float(cells.chainage_m[top]),
        )
    unknown = bool((inside & ~known).any())
    return BesideLine(steepest, unknown, by_bin, nearest, near_bins, frozenset(unknown_sides))


def _inside_and_abreast(
    cells: NearCells, bins: tuple[float, int], place_error_m: float, drift_deg: float
) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
    inside = cells.edge_m <= half_width_m(cells.chainage_m, place_error_m, drift_deg)
    # A cell may be longer than a bin: it is abreast of those of its middle and of its two ends.
    along = cells.chainage_m + np.outer((-1.0, 0.0, 1.0), cells.half_m)
    at_bins = np.clip((along / bins[0]).astype(np.intp), 0, bins[1] - 1)
    return inside, at_bins


def cells_inside(
    cells: NearCells, bins: tuple[float, int], place_error_m: float, drift_deg: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Cells near a stretch that lie in its corridor; parameters as for `beside`.

    Row and column of each, shape ``(2, n)``; and the bins abreast of its middle and its two ends,
    ``(3, n)``.
    """
    inside, at_bins = _inside_and_abreast(cells, bins, place_error_m, drift_deg)
    return np.stack((cells.row[inside], cells.col[inside])).astype(np.intp), at_bins[:, inside]


def _nearest(cells: NearCells, among: NDArray[np.intp]) -> Nearest:
    first = among[np.argmin(cells.edge_m[among])]
    return Nearest(*(float(values[first]) for values in (cells.edge_m, cells.chainage_m, cells.height_m)))


def near_cells(window: Window, line: LineInWindow, reach_m: float) -> NearCells:
    """Distance, side and chainage of the cells of a window that belong to the stretch, row by row.

    Cells whose squares lie farther off than `reach_m` may be left out; those of other stretches of
    the leg are.
    """
    jacobian, (line_e, line_n) = window.jacobian, _in_metres(line, window.jacobian)
    near = np.flatnonzero(_may_be_near(window, line, reach_m))
    row, col = (at + 0.5 for at in np.divmod(near, window.slope_deg.shape[1]))
    east, north = jacobian @ np.stack((col - line.col[0], row - line.row[0]))
    best = np.full(east.shape, np.inf)
    chainage, edge = np.zeros(east.shape), np.full(east.shape, np.inf)
    half_along = np.zeros(east.shape)
    left, abreast = np.zeros(east.shape, dtype=bool), np.zeros(east.shape, dtype=bool)
    last = len(line.col) - 2
    for k in range(last + 1):
        de, dn = line_e[k + 1] - line_e[k], line_n[k + 1] - line_n[k]
        length = math.hypot(de, dn)
        if length == 0.0:
            continue
        te, tn = de / length, dn / length
        ve, vn = east - line_e[k], north - line_n[k]
        along, across = ve * te + vn * tn, te * vn - tn * ve
        at = np.clip(along, 0.0, length)
        off_e, off_n = ve - at * te, vn - at * tn
        apart = np.hypot(off_e, off_n)
        # The square reaches towards the piece by its half-width in that direction, and the whole
        # piece lies on the far side of the plane across it: the distance is never too long. Of
        # two pieces the one farther from the centre may be nearer to the square.
        reach = _half_size(off_e, off_n, jacobian)
        reach /= np.maximum(apart, 1e-9)
        np.minimum(edge, np.maximum(0.0, np.subtract(apart, reach, out=reach), out=reach), out=edge)
        half = float(_half_size(np.array(te), np.array(tn), jacobian))
        within = along >= -half if k == 0 else True
        if k == last:
            within &= along <= length + half
        nearer = apart < best
        for whole, of_piece in (
            (best, apart),
            (chainage, np.interp(at, (0.0, length), line.chainage_m[k : k + 2])),
            (half_along, half),
            (left, across > 0.0),
            (abreast, within),
        ):
            np.copyto(whole, of_piece, where=nearer)
    keep = np.flatnonzero((chainage >= line.span_m[0]) & (chainage <= line.span_m[1]))
    slope, height = (values.ravel()[near[keep]] for values in (window.slope_deg, window.height_m))
    numbers = slope, height, col[keep], row[keep]
    return NearCells(chainage[keep], half_along[keep], edge[keep], left[keep], abreast[keep], *numbers)


def _in_metres(line: LineInWindow, jacobian: Array) -> Array:
    """Vertices of a line, east and north of the first, ground metres, ``(2, n)``."""
    out: Array = jacobian @ np.stack((line.col - line.col[0], line.row - line.row[0]))
    return out


_BLOCK: Final = 4
"""Cells along the side of the squares by which ground far from a line is passed over (our choice)."""


def _may_be_near(window: Window, line: LineInWindow, reach_m: float) -> NDArray[np.bool_]:
    """Cells of a window without blocks of them beyond the reach, or nearer to what is beyond the stretch."""
    jacobian, shape = window.jacobian, window.slope_deg.shape
    row, col = np.meshgrid(*(np.arange(0, count, _BLOCK) + _BLOCK / 2.0 for count in shape), indexing="ij")
    middles = np.tensordot(jacobian, np.stack((col - line.col[0], row - line.row[0])), 1)
    own = (line.chainage_m[1:] > line.span_m[0]) & (line.chainage_m[:-1] < line.span_m[1])
    own_m, other_m = (
        apart_m(middles, _in_metres(line, jacobian), np.flatnonzero(which)) for which in (own, ~own)
    )
    # From its middle to a corner of the block, and on by a cell: an edge may be taken as nearer than it is.
    corners = jacobian @ np.array(((1.0, 1.0), (1.0, -1.0)))
    half_m = (_BLOCK / 2.0 + 1.0) * float(np.hypot(*corners).max())
    near = (own_m <= reach_m + half_m) & (own_m <= other_m + 2.0 * half_m)
    return np.repeat(np.repeat(near, _BLOCK, axis=0), _BLOCK, axis=1)[: shape[0], : shape[1]]


def _half_size(east: Array, north: Array, jacobian: Array) -> Array:
    """Half of a cell's extent in a direction, times the length of the vector that gives it."""
    out: Array = np.abs(east * jacobian[0, 0] + north * jacobian[1, 0])
    out += np.abs(east * jacobian[0, 1] + north * jacobian[1, 1])
    out /= 2.0
    return out


def merge(parts: list[BesideLine]) -> BesideLine:
    """Join what the stretches of a leg, one or more, hold; their steepest places are in one grid."""
    found = [part.steepest for part in parts if part.steepest is not None]
    nearest: dict[tuple[str, float], Nearest] = {}
    near_bins: dict[tuple[str, float], NDArray[np.bool_]] = {}
    for part in parts:
        for key, near in part.nearest.items():
            if key not in nearest or near.distance_m < nearest[key].distance_m:
                nearest[key] = near
        for key, bins in part.near_bins.items():
            near_bins[key] = near_bins[key] | bins if key in near_bins else bins
    return BesideLine(
        max(found, key=lambda steepest: steepest.slope_deg, default=None),
        any(part.unknown for part in parts),
        np.fmax.reduce([part.by_bin_deg for part in parts]),
        nearest,
        near_bins,
        frozenset().union(*(part.unknown_sides for part in parts)),
    )
