"""Made ground for the tests: heights on square cells where the grid's scale is 1."""

from __future__ import annotations

import numpy as np

from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.model_kinds import Survey
from steybrae.terrain.overhead.ground import OverheadGround, overhead_ground
from steybrae.terrain.start_zones import StartRules, StartZones
from steybrae.terrain.uncertainty import SlopeUncertainty


def surveyed(var_p: float, var_q: float, cell_m: float = 0.0) -> SlopeUncertainty:
    """A model whose heights err so; without cells only half a degree comes on top."""
    return SlopeUncertainty(cell_m, 20.0, Survey(0.0, 0.0, "stated", "none"), ((var_p, 0.0), (0.0, var_q)))


EXACT = surveyed(0.0, 0.0)
"""A model without error, and almost without cells: start zones begin at 30 degrees."""


def dem(heights, cell=10.0) -> Dem:
    """North-up ground 180 km west of a UTM zone's middle, where a metre of the grid is one on the ground."""
    z = np.asarray(heights, dtype=float)
    return Dem(Grid((cell, 0.0, 319_750.0, 0.0, -cell, 5_000_000.0), "EPSG:32630", z.shape), z)


def found(heights, cell=10.0, known=EXACT, rules=None, reach_m=5000.0) -> OverheadGround:
    """Ground whose start zones are looked for."""
    return overhead_ground(dem(heights, cell), known, reach_m, rules)


def given(heights, source, cell=10.0, reach_m=5000.0) -> OverheadGround:
    """Ground whose sources are given, all of them one start zone."""
    ground = dem(heights, cell)
    mask = np.asarray(source, dtype=bool)
    zone = mask.astype(np.int32)
    unknown = np.isnan(ground.heights_m)
    area = np.array([mask.sum() * cell**2])
    zones = StartZones(zone, mask, mask, mask, unknown, area, 30.0, StartRules())
    rows, cols = mask.shape
    return OverheadGround(ground, zones, jacobian_at(ground.grid, cols / 2, rows / 2), reach_m)


def rough(size, seed, relief=0.35, cell=10.0):
    """Hills from random waves, longer ones higher."""
    rng = np.random.default_rng(seed)
    f = np.fft.fftfreq(size)
    k = np.hypot(*np.meshgrid(f, f))
    k[0, 0] = 1.0
    z = np.fft.ifft2(np.fft.fft2(rng.normal(size=(size, size))) / k**2).real
    return (z - z.min()) / (z.max() - z.min()) * size * cell * relief
