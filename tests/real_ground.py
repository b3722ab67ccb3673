"""Copies of fine models made coarser, each beside the slope of the ground that they stand for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import rasterio
from numpy.typing import NDArray

from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.gradients import index_gradients, plane_gradients

Floats = NDArray[np.float64]
Made = Literal["means", "points"]


@dataclass(frozen=True, eq=False)
class Fine:
    """A fine model: heights, metres, NaN unknown, and the side of its square cells, metres."""

    name: str
    heights_m: Floats
    cell_m: float


@dataclass(frozen=True, eq=False)
class Pairs:
    """Slope of a coarse copy and of the ground at every fine cell within, shape ``(n,)``, degrees."""

    model_deg: Floats
    truth_deg: Floats
    roughness_deg: Floats
    gradient: tuple[Floats, Floats]
    block: NDArray[np.int64]


def fine_model(path: Path) -> Fine:
    with rasterio.open(path) as data:
        heights = data.read(1, masked=True).astype(float).filled(np.nan)
        return Fine(path.stem, heights, float(round(abs(data.transform.a), 1)))


def tyrol(folder: Path) -> list[Fine]:
    return [fine_model(folder / f"tyrol_{k}_5m.tif") for k in range(1, 6)]


def california(folder: Path) -> Fine:
    return fine_model(folder / "california_1m.tif")


def coarser(heights_m: Floats, factor: int, made: Made) -> Floats:
    """Block means, or the height in the middle of each block."""
    rows, cols = (size // factor * factor for size in heights_m.shape)
    cut = heights_m[:rows, :cols]
    if made == "points":
        return cut[factor // 2 :: factor, factor // 2 :: factor]
    means: Floats = cut.reshape(rows // factor, factor, cols // factor, factor).mean((1, 3))
    return means


def slope_over(heights_m: Floats, cell_m: float, baseline_m: float) -> Floats:
    """Slope of the plane of least squares over a square, degrees."""
    half = round(baseline_m / (2.0 * cell_m))
    p, q = plane_gradients(heights_m, half, half)
    return np.degrees(np.arctan(np.hypot(p, q) / cell_m))


def pairs(fine: Fine, factor: int, baseline_m: float, made: Made) -> Pairs:
    """Every fine cell within half a coarse cell of that cell's middle, and its slope over the baseline."""
    cell_m = factor * fine.cell_m
    heights = coarser(fine.heights_m, factor, made)
    half = max(1, round(baseline_m / (2.0 * cell_m)))
    own = index_gradients(heights)
    steps = own if half == 1 else plane_gradients(heights, half, half)
    p, q = steps[0] / cell_m, -steps[1] / cell_m
    model = np.degrees(np.arctan(np.hypot(p, q)))
    rough = roughness_deg(np.degrees(np.arctan(np.hypot(*own) / cell_m)))
    truth = slope_over(fine.heights_m, fine.cell_m, baseline_m)
    # Squares of 200 m, in which slopes are taken to hang together.
    size = max(1, round(200.0 / cell_m))
    rows, cols = np.indices(heights.shape)
    block = rows // size * 10_000 + cols // size
    parts = []
    for row, col in offsets(factor, made):
        at_row, at_col = rows * factor + row, cols * factor + col
        inside = (at_row >= 0) & (at_row < truth.shape[0]) & (at_col >= 0) & (at_col < truth.shape[1])
        value = np.full(heights.shape, np.nan)
        value[inside] = truth[at_row[inside], at_col[inside]]
        known = np.isfinite(value) & np.isfinite(model) & np.isfinite(rough)
        parts.append([one[known] for one in (model, value, rough, p, q, block)])
    model, value, rough, p, q, block = (np.concatenate(part) for part in zip(*parts, strict=True))
    return Pairs(model, value, rough, (p, q), block)


def offsets(factor: int, made: Made) -> Iterator[tuple[int, int]]:
    """Fine rows and columns from a block's first cell to those within half a coarse cell of its middle."""
    first, last = 0, factor - 1
    if made == "points":
        first, last = factor // 2 - factor // 2, factor // 2 + factor // 2
    for row in range(first, last + 1):
        for col in range(first, last + 1):
            yield row, col
