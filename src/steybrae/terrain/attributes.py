"""Slope and aspect of cells and of points.

``slope`` is the fall-line angle ``atan(sqrt(p^2 + q^2))``, 0 to 90 degrees. ``aspect`` is the
direction that the slope faces, downhill, ``atan2(-p, -q)`` clockwise from true north, 0 to
below 360 degrees; NaN on ground flatter than `FLAT_GRADIENT`. ``p = dz/dE`` and ``q = dz/dN``
are ground gradients. Gradients are interpolated and averaged, angles never.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from steybrae.bands import BandScheme
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.ranges import Words
from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.dem import Array, Dem
from steybrae.terrain.engines import Engine, engine_gradients
from steybrae.terrain.gradients import Method, plane_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_field

FLAT_GRADIENT: Final = 0.05
"""Gradient below which ground has no aspect, metres per metre: 2.9 degrees (our choice; the
error of an aspect grows as the slope falls)."""

BASELINE_M: Final = 20.0
"""Length over which slopes are judged, metres (Swiss leaflet "Achtung Lawinen!": about
20 m x 20 m; other sources say 10 to 20 m, so outputs name the baseline used)."""

SECTORS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
"""Eight sectors of 45 degrees, each half-open from its western edge: NE is 22.5 to below 67.5."""

Sector = Annotated[str, Words(SECTORS)]
"""One of `SECTORS`."""


def slope_deg(p: ArrayLike, q: ArrayLike) -> Array:
    """Fall-line slope of ground gradients: ``atan(sqrt(p^2 + q^2))``.

    Parameters
    ----------
    p, q
        dz/dE and dz/dN, metres per metre.

    Returns
    -------
    Array
        Degrees, 0 to 90; NaN where a gradient is NaN.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    # Not np.hypot: its care for overflow, which gradients never need, costs four times the time.
    return np.asarray(np.degrees(np.arctan(np.sqrt(p * p + q * q))))


def aspect_deg(p: ArrayLike, q: ArrayLike, flat_gradient: float = FLAT_GRADIENT) -> Array:
    """Direction that the slope faces: ``atan2(-p, -q)`` clockwise from true north.

    Parameters
    ----------
    p, q
        dz/dE and dz/dN, metres per metre.
    flat_gradient
        Below this gradient the aspect is NaN.

    Returns
    -------
    Array
        Degrees, 0 (faces north) to below 360; 90 faces east.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    # Subtracting from 0 turns -0.0 into 0.0, which atan2 would send to 180 or 360.
    out = np.degrees(np.arctan2(0.0 - p, 0.0 - q)) % 360.0
    out = np.where(out >= 360.0, 0.0, out)
    return np.where(np.hypot(p, q) < flat_gradient, np.nan, out)


def aspect_sector(aspect_true_deg: float) -> str | None:
    """Sector of an aspect; None for NaN."""
    return None if math.isnan(aspect_true_deg) else SECTORS[_sector(np.array(aspect_true_deg))]


def _sector(aspect_true_deg: Array) -> NDArray[np.intp]:
    """Numbers of sectors, ``floor((A + 22.5) / 45) mod 8``."""
    out: NDArray[np.intp] = (np.floor((aspect_true_deg + 22.5) / 45.0) % len(SECTORS)).astype(np.intp)
    return out


def sectors_by_length(p: Array, q: Array, length_m: Array) -> tuple[str, ...]:
    """Sectors that pieces of a line face, the one with most metres first.

    Parameters
    ----------
    p, q
        Gradients to the east and north of the pieces, shape ``(n,)``.

    Returns
    -------
    tuple of str
        Without pieces too flat or unknown to face anywhere; empty where there are no others.
    """
    aspect = aspect_deg(p, q)
    faces = ~np.isnan(aspect)
    sector = _sector(aspect[faces])
    metres = np.bincount(sector, length_m[faces], len(SECTORS))
    # Of sectors with as many metres the one met first leads.
    met = dict.fromkeys(sector.tolist())
    return tuple(SECTORS[number] for number in sorted(met, key=lambda number: -metres[number]))


def track_grade_deg(p: ArrayLike, q: ArrayLike, travel_true_deg: ArrayLike) -> Array:
    """Slope along the walked line, degrees, positive uphill: ``atan(p sin(t) + q cos(t))``.

    `travel_true_deg` is clockwise from true north; never steeper than the fall line.
    """
    travel = np.radians(travel_true_deg)
    rise = np.asarray(p) * np.sin(travel) + np.asarray(q) * np.cos(travel)
    return np.asarray(np.degrees(np.arctan(rise)))


@dataclass(frozen=True, eq=False)
class SlopeField:
    """Slope of every cell of a window.

    Attributes
    ----------
    dem
        The heights it was made from.
    p, q
        dz/dE and dz/dN of each cell over the baseline, ``[row, col]``, metres per metre, NaN unknown.
    slope_deg
        Fall-line slope of each cell over the baseline, degrees, NaN unknown.
    short_deg
        The same over two cells, whatever the baseline.
    sources
        Of each source alone, where several differ: each cell has the slopes of the one steepest there.
    """

    dem: Dem
    p: Array
    q: Array
    slope_deg: Array
    short_deg: Array
    sources: tuple[SlopeField, ...] = ()

    @cached_property
    def roughness_deg(self) -> Array:
        """How much the slopes over two cells vary round each cell (`steybrae.terrain.cell_share`)."""
        if self.sources:
            return np.asarray(np.maximum.reduce([one.roughness_deg for one in self.sources]))
        return roughness_deg(self.short_deg)


def slope_field(
    dem: Dem,
    method: Method = "horn",
    engine: Engine = "own",
    halves: tuple[int, int] = (1, 1),
) -> SlopeField:
    """Gradients and slope of every cell.

    Parameters
    ----------
    dem
        Heights; a window with one ring of cells more than is asked for.
    method
        See `steybrae.terrain.gradients`.
    engine
        Who computes the differences over two cells; see `steybrae.terrain.engines`.
    halves
        Half-widths of the window of the baseline, from `baseline_cells`; beyond 3 x 3 cells the
        plane of least squares is taken (`plane_gradients`).

    Returns
    -------
    SlopeField
        NaN in the outer rings and beside unknown heights; where sources differ the steeper leads.
    """
    if dem.others_m:
        sources = (Dem(dem.grid, heights_m) for heights_m in dem.every_m)
        return _steepest(dem, tuple(slope_field(one, method, engine, halves) for one in sources))
    jacobian = jacobian_field(dem.grid)
    p, q = ground_gradients(jacobian, *engine_gradients(engine)(dem.heights_m, method))
    slope = short = slope_deg(p, q)
    if halves != (1, 1):
        p, q = ground_gradients(jacobian, *plane_gradients(dem.heights_m, *halves))
        slope = slope_deg(p, q)
    for array in (p, q, slope, short):
        array.flags.writeable = False
    return SlopeField(dem, p, q, slope, short)


def _steepest(dem: Dem, sources: tuple[SlopeField, ...]) -> SlopeField:
    """Take for each cell the slopes of the source that is steepest there; all know the same ground."""
    steepest = np.argmax([one.slope_deg for one in sources], axis=0)[None]
    p, q, slope = (
        np.take_along_axis(np.stack([getattr(one, name) for one in sources]), steepest, axis=0)[0]
        for name in ("p", "q", "slope_deg")
    )
    short = np.maximum.reduce([one.short_deg for one in sources])
    for array in (p, q, slope, short):
        array.flags.writeable = False
    return SlopeField(dem, p, q, slope, short, sources)


def band_numbers(slope_deg: ArrayLike, bands: BandScheme) -> NDArray[np.intp]:
    """Position of the band of each slope, by the number shown, as `BandScheme.index`; -1 where unknown."""
    shown = shown_slope_deg(np.asarray(slope_deg))
    found = np.searchsorted(np.array(bands.edges_deg), shown, side="right")
    return np.where(np.isnan(shown), -1, found)


def baseline_cells(col_size_m: float, row_size_m: float, baseline_m: float = BASELINE_M) -> tuple[int, int]:
    """Half-widths, cells, of the window whose baseline is nearest to the one wanted; 1 or more."""
    return (
        max(1, round(baseline_m / (2.0 * col_size_m))),
        max(1, round(baseline_m / (2.0 * row_size_m))),
    )


@dataclass(frozen=True, eq=False)
class PointAttributes:
    """What the ground is like at points: heights and gradients bilinear, slope and aspect of these.

    On a crest or in a gully gradients vanish, so that no steepness is ever told from them alone.
    """

    elevation_m: Array
    p: Array
    q: Array
    slope_deg: Array
    aspect_true_deg: Array


def at_points(field: SlopeField, col: ArrayLike, row: ArrayLike) -> PointAttributes:
    """Interpolate height and gradients bilinearly at points of a window.

    Parameters
    ----------
    col, row
        Positions in the window, cells, of one shape ``(n,)``.

    Returns
    -------
    PointAttributes
        NaN where one of the four cells around is unknown or outside.
    """
    elevation, p, q = _bilinear((field.dem.heights_m, field.p, field.q), col, row)
    return PointAttributes(elevation, p, q, slope_deg(p, q), aspect_deg(p, q))


def _bilinear(grids: tuple[Array, ...], col: ArrayLike, row: ArrayLike) -> Array:
    """Interpolate each of some arrays of one shape between cell centres; NaN outside."""
    rows, cols = grids[0].shape
    x = np.asarray(col, dtype=float) - 0.5
    y = np.asarray(row, dtype=float) - 0.5
    inside = (x >= 0) & (x <= cols - 1) & (y >= 0) & (y <= rows - 1)
    # A point on the last centre belongs to the mesh before it, with the whole weight on its end.
    i: NDArray[np.intp] = np.clip(np.nan_to_num(np.floor(x)), 0, max(cols - 2, 0)).astype(np.intp)
    j: NDArray[np.intp] = np.clip(np.nan_to_num(np.floor(y)), 0, max(rows - 2, 0)).astype(np.intp)
    fx, fy = x - i, y - j
    right, down = i + (1 if cols > 1 else 0), j + (1 if rows > 1 else 0)
    out = np.empty((len(grids), *x.shape))
    for values, found in zip(grids, out, strict=True):
        top = values[j, i] * (1.0 - fx) + values[j, right] * fx
        bottom = values[down, i] * (1.0 - fx) + values[down, right] * fx
        found[:] = top * (1.0 - fy) + bottom * fy
    out[:, ~inside] = np.nan
    return out
