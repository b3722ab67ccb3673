"""Surfaces whose slope is known exactly, for tests, lessons and trials.

Each gives its height and its gradient at metres east and north of an origin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from steybrae.terrain.dem import Array, Dem, Grid


class Surface(Protocol):
    """A surface of known slope."""

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """Height above the origin's datum, metres."""

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """dz/dE and dz/dN, metres per metre."""


@dataclass(frozen=True)
class Plane:
    """A plane that falls at `slope_deg` towards `aspect_deg`: ``z = -tan(s) (E sin A + N cos A)``."""

    slope_deg: float
    aspect_deg: float

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """See `Surface`."""
        m, facing = math.tan(math.radians(self.slope_deg)), math.radians(self.aspect_deg)
        ones = np.ones(np.broadcast(east_m, north_m).shape)
        return -m * math.sin(facing) * ones, -m * math.cos(facing) * ones

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """See `Surface`."""
        p, q = self.gradient(east_m, north_m)
        return p * east_m + q * north_m


@dataclass(frozen=True)
class Cone:
    """A cone of one slope round the origin: ``z = -tan(s) r``; no gradient at its tip."""

    slope_deg: float

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """See `Surface`."""
        out: Array = -math.tan(math.radians(self.slope_deg)) * np.hypot(east_m, north_m)
        return out

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """See `Surface`."""
        m, r = math.tan(math.radians(self.slope_deg)), np.hypot(east_m, north_m)
        return -m * east_m / r, -m * north_m / r


@dataclass(frozen=True)
class GaussianHill:
    """A hill ``z = h exp(-r^2 / (2 s^2))``; steepest, ``h / (s sqrt(e))``, at ``r = s``."""

    top_m: float
    spread_m: float

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """See `Surface`."""
        r2 = np.square(east_m) + np.square(north_m)
        out: Array = self.top_m * np.exp(-r2 / (2.0 * self.spread_m**2))
        return out

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """See `Surface`."""
        k = -self.height_m(east_m, north_m) / self.spread_m**2
        return k * east_m, k * north_m


@dataclass(frozen=True)
class Crest:
    """A straight crest with one slope on both sides, running towards `bearing_deg`."""

    slope_deg: float
    bearing_deg: float = 0.0

    def _across(self, east_m: Array, north_m: Array) -> Array:
        along = math.radians(self.bearing_deg)
        out: Array = np.asarray(east_m * math.cos(along) - north_m * math.sin(along))
        return out

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """See `Surface`."""
        out: Array = -math.tan(math.radians(self.slope_deg)) * np.abs(self._across(east_m, north_m))
        return out

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """See `Surface`."""
        along = math.radians(self.bearing_deg)
        m = -math.tan(math.radians(self.slope_deg)) * np.sign(self._across(east_m, north_m))
        return m * math.cos(along), -m * math.sin(along)


@dataclass(frozen=True)
class Waves:
    """Crossed sine waves ``z = h (sin(k E) + cos(k N))`` with ``k = 2 pi / wavelength``."""

    height: float
    wavelength_m: float

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """See `Surface`."""
        k = 2.0 * math.pi / self.wavelength_m
        out: Array = self.height * (np.sin(k * east_m) + np.cos(k * north_m))
        return out

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """See `Surface`."""
        k = 2.0 * math.pi / self.wavelength_m
        return self.height * k * np.cos(k * east_m), -self.height * k * np.sin(k * north_m)


def sample_surface(
    surface: Surface,
    shape: tuple[int, int],
    cell_m: float,
    *,
    crs: str = "EPSG:32630",
    origin: tuple[float, float] = (500_000.0, 6_300_000.0),
) -> Dem:
    """Heights of a surface on a north-up grid of square cells.

    Parameters
    ----------
    surface
        What to sample.
    shape
        ``(rows, cols)``; the surface's origin is the middle of the grid.
    cell_m
        Cell size in the CRS's units.
    crs
        Projected CRS in metres.
    origin
        x and y in the CRS of the middle of the grid.

    Returns
    -------
    Dem
        Heights at cell centres, without rounding.
    """
    rows, cols = shape
    east: Array = (np.arange(cols, dtype=np.float64) + 0.5 - cols / 2) * cell_m
    north: Array = (rows / 2 - np.arange(rows, dtype=np.float64) - 0.5) * cell_m
    heights = surface.height_m(east[None, :], north[:, None])
    left, top = origin[0] - cols / 2 * cell_m, origin[1] + rows / 2 * cell_m
    grid = Grid((cell_m, 0.0, left, 0.0, -cell_m, top), crs, shape)
    return Dem(grid, np.broadcast_to(heights, shape))
