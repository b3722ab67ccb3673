"""Cells of a model as pieces of ground for matching a forecast: where they may face and lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.named import HALF_SECTOR_DEG, KEPT_FROM_DEG, GroundCells, compact, sector_bits
from steybrae.terrain.attributes import SlopeField, aspect_deg, slope_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg

HEIGHT_ERROR_95_M: Final = 10.0
"""How far a height of a model may be off where no vertical error is stated, metres (our choice)."""


Ground = tuple[Array, Array, Array, Array]
"""Gradients p and q of cells, their heights, and how rough the ground is there."""


@dataclass(frozen=True)
class CellsKnown:
    """How well aspects and heights of a model's cells are known.

    Attributes
    ----------
    known
        Its slopes.
    height_error_m
        95 % error of a height, metres.
    cell_m
        Larger side of a cell, metres.
    """

    known: SlopeUncertainty
    height_error_m: float
    cell_m: float


def cells_known(vertical_error_m: float | None, known: SlopeUncertainty, cell_m: float) -> CellsKnown:
    """Say how well cells are known, from the vertical error as stated (1 standard deviation) or not."""
    error_m = HEIGHT_ERROR_95_M if vertical_error_m is None else 2.0 * vertical_error_m
    return CellsKnown(known, error_m, cell_m)


def aspect_half_width_deg(p: Array, q: Array, known: SlopeUncertainty, roughness: Array) -> Array:
    """Half of the 95 % interval of the aspect.

    ``asin(U / m)`` with the gradient ``m`` and its uncertainty ``U`` from
    `steybrae.terrain.uncertainty.slope_interval_deg`, taken to hold in every direction.

    Parameters
    ----------
    p, q
        dz/dE and dz/dN.
    known
        How well slopes are known.
    roughness
        See `steybrae.terrain.cell_share`, degrees.

    Returns
    -------
    Array
        Degrees; 180 where the gradient may be zero, at least half a sector where it is not known
        how well it is known (our choice: the nearest neighbouring sector then always counts too).
    """
    m = np.hypot(p, q)
    low, high = slope_interval_deg(p, q, known, roughness)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (m - np.tan(np.radians(low))) / m
    half = np.where(low > 0.0, np.degrees(np.arcsin(np.clip(share, 0.0, 1.0))), 180.0)
    half = np.where(np.isnan(low), HALF_SECTOR_DEG, half)
    return np.where(np.isnan(high), np.maximum(half, HALF_SECTOR_DEG), half)


def ground_of(field: SlopeField, row: NDArray[np.intp], col: NDArray[np.intp]) -> Ground:
    """Take what matching needs of some cells of a window."""
    at = row, col
    return field.p[at], field.q[at], field.dem.heights_m[at], field.roughness_deg[at]


def bits_and_heights(ground: Ground, how: CellsKnown) -> tuple[Array, NDArray[np.uint8], Array]:
    """Slope, sectors and half of the range of heights of cells."""
    p, q, _, roughness = ground
    m = np.hypot(p, q)
    bits = sector_bits(aspect_deg(p, q), aspect_half_width_deg(p, q, how.known, roughness))
    return slope_deg(p, q), bits, how.height_error_m + m * how.cell_m / 2.0


def cells_for_matching(
    edges_m: Array,
    unknown: NDArray[np.bool_],
    at: NDArray[np.intp],
    ground: Ground,
    how: CellsKnown,
    least_deg: float = KEPT_FROM_DEG,
) -> GroundCells:
    """Make pieces of ground of cells; see `compact`."""
    slope, bits, half_m = bits_and_heights(ground, how)
    heights = (ground[2] - half_m, ground[2] + half_m)
    return compact(edges_m, unknown, at, slope, bits, heights, least_deg)


def gathered(
    edges_m: Array, unknown: NDArray[np.bool_], parts: list[GroundCells], least_deg: float = KEPT_FROM_DEG
) -> GroundCells:
    """Join grounds in the same bins."""
    at, slope, bits, low, high, near = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("at", "slope_deg", "sectors", "low_m", "high_m", "near_m")
    )
    return compact(edges_m, unknown, at, slope, bits, (low, high), least_deg, near)
