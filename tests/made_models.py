"""Copies of elevation models that are less than they seem, as files, for what examines models."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
import rasterio.warp
from affine import Affine
from numpy.typing import NDArray
from rasterio.enums import Resampling

from steybrae.files.model.rasters import open_model
from steybrae.quantities import FOOT_M
from steybrae.screening.model.examine import examine_model

Floats = NDArray[np.float64]
MOST_FINE = 1100
"""Most rows or columns of a copy made finer: a part of the model is enough to tell."""


@dataclass(frozen=True, eq=False)
class Made:
    """A model in memory as a file would hold it."""

    heights: Floats
    transform: Affine
    crs: str

    def write(self, path: Path) -> Path:
        rows, cols = self.heights.shape
        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=rows,
            width=cols,
            count=1,
            dtype="float32",
            nodata=-9999.0,
            crs=self.crs,
            transform=self.transform,
        ) as data:
            data.write(np.nan_to_num(self.heights, nan=-9999.0).astype(np.float32), 1)
        return path


def read_made(path: Path) -> Made:
    with rasterio.open(path) as data:
        heights = data.read(1, masked=True).astype(float).filled(np.nan)
        return Made(heights, data.transform, data.crs.to_wkt())


def finer(model: Made, times: float, how: Resampling, most: int = MOST_FINE) -> Made:
    """Cells made finer by interpolation, as GDAL does it."""
    rows, cols = (min(round(side * times), most) for side in model.heights.shape)
    return _warped(model, model.crs, model.transform @ Affine.scale(1.0 / times), (rows, cols), how)


def moved(model: Made, crs: str, cell: float, how: Resampling) -> Made:
    """On a grid of another CRS and cell, as GDAL lays it."""
    rows, cols = model.heights.shape
    (left, top), (right, bottom) = model.transform @ (0, 0), model.transform @ (cols, rows)
    left, bottom, right, top = rasterio.warp.transform_bounds(model.crs, crs, left, bottom, right, top)
    high, wide = round((top - bottom) / cell), round((right - left) / cell)
    transform = Affine(cell, 0.0, left, 0.0, -cell, top)
    return _warped(model, crs, transform, (high, wide), how)


def _warped(model: Made, crs: str, transform: Affine, size: tuple[int, int], how: Resampling) -> Made:
    out = np.full(size, -9999.0, np.float32)
    rasterio.warp.reproject(
        np.nan_to_num(model.heights, nan=-9999.0).astype(np.float32),
        out,
        src_transform=model.transform,
        dst_transform=transform,
        src_crs=model.crs,
        dst_crs=crs,
        src_nodata=-9999.0,
        dst_nodata=-9999.0,
        resampling=how,
    )
    return Made(np.where(out == -9999.0, np.nan, out).astype(float), transform, crs)


def changed(model: Made, change: Callable[[Floats], Floats]) -> Made:
    return Made(change(model.heights), model.transform, model.crs)


def in_steps(heights: Floats, interval: float = 20.0) -> Floats:
    """A staircase: every height that of the contour below it."""
    return np.asarray(np.floor(heights / interval) * interval)


def drawn_between(heights: Floats, interval: float = 20.0, rounds: int = 250) -> Floats:
    """Heights between contours by relaxation: each cell not on a contour is the mean of its neighbours."""
    level = np.floor(heights / interval)
    fixed, value = np.zeros(heights.shape, bool), np.zeros(heights.shape)
    for turned in (False, True):
        z, k, on, at = (one.T if turned else one for one in (heights, level, fixed, value))
        crossed, line = k[:, 1:] != k[:, :-1], np.maximum(k[:, 1:], k[:, :-1]) * interval
        right = np.abs(z[:, 1:] - line) < np.abs(z[:, :-1] - line)
        for side, here in ((np.s_[:, 1:], crossed & right), (np.s_[:, :-1], crossed & ~right)):
            on[side] |= here
            at[side] = np.where(here, line, at[side])
    unknown = np.isnan(heights)
    ring = np.pad(np.where(fixed, value, (level + 0.5) * interval), 1, mode="edge")
    out = ring[1:-1, 1:-1]
    for _ in range(rounds):
        around = ring[1:-1, 2:] + ring[1:-1, :-2]
        around += ring[2:, 1:-1]
        around += ring[:-2, 1:-1]
        around /= 4.0
        np.copyto(out, around, where=~(fixed | np.isnan(around)))
        ring[[0, -1]], ring[:, [0, -1]] = ring[[1, -2]], ring[:, [1, -2]]
    return np.where(unknown, np.nan, out)


def striped(heights: Floats, sd: float, *, rows: bool) -> Floats:
    """Rows or columns that err each by itself."""
    off = sd * np.random.default_rng(7).standard_normal(heights.shape[0 if rows else 1])
    return heights + (off[:, None] if rows else off[None, :])


def waved(heights: Floats, height: float, period: float) -> Floats:
    """Stripes that come again every few columns."""
    return np.asarray(heights + height * np.sin(2.0 * np.pi * np.arange(heights.shape[1]) / period))


def seamed(heights: Floats, step: float) -> Floats:
    """One half that stands higher than the other."""
    return np.asarray(heights + step * (np.arange(heights.shape[1]) >= heights.shape[1] // 2 + 3))


def spiked(heights: Floats, height: float, count: int = 5) -> Floats:
    out = heights.copy()
    known = np.argwhere(np.isfinite(heights))
    for row, col in known[np.random.default_rng(3).choice(len(known), count, replace=False)]:
        out[row, col] += height
    return out


def copies(model: Made, most: int = MOST_FINE) -> Iterator[tuple[str, str, Made]]:
    """Name, the kind of finding that there must be, and the copy."""
    cell = abs(model.transform.a)
    for how in (Resampling.bilinear, Resampling.cubic):
        for times in (2, 3, 4, 5, 6):
            yield f"{how.name} x{times}", "interpolated", finer(model, times, how, most)
    yield "rounded to metres", "whole units", changed(model, np.round)
    yield "rounded to feet", "whole units", changed(model, lambda z: np.round(z / FOOT_M) * FOOT_M)
    yield "steps of 20 m", "terraced", changed(model, in_steps)
    yield "drawn between 20 m", "terraced", changed(model, drawn_between)
    yield "rows that err", "striped", changed(model, lambda z: striped(z, 0.1 * cell, rows=True))
    yield "columns that err", "striped", changed(model, lambda z: striped(z, 0.1 * cell, rows=False))
    yield "waves of 5 columns", "striped", changed(model, lambda z: waved(z, 0.2 * cell, 5.0))
    yield "a seam", "seam", changed(model, lambda z: seamed(z, 0.2 * cell))
    yield "a high seam", "seam", changed(model, lambda z: seamed(z, 0.6 * cell))
    yield "spikes", "spikes", changed(model, lambda z: spiked(z, 30.0 + 3.0 * cell))
    yield "in feet", "unit doubtful", changed(model, lambda z: z / FOOT_M)


UNTOUCHED = {
    "stey_massif": {"flat fill", "voids"},
    "big_tujunga_30m": {"whole units"},
    "california_1m": set(),
    **{f"tyrol_{k}_5m": {"voids"} for k in range(1, 6)},
}
"""What the models have as they are: a lake and a void, whole metres, nothing, voids around."""


def told(path: Path) -> set[str]:
    """Kinds of findings of a model in a file whose heights are taken as metres."""
    with open_model([path], "m") as model:
        return {finding.kind for finding in examine_model(model).findings}


def rightly(kind: str, found: set[str], before: set[str]) -> bool:
    """Whether a copy is told for what it is, and for nothing that neither it nor the model has.

    Level ground in whole metres and the treads of stairs are stretches of one number indeed, and whoever
    makes cells finer or draws contours anew leaves no whole metres behind.
    """
    return kind in found and found <= before | {kind, "flat fill", "voids"}
