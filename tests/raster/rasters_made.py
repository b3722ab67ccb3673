"""Small rasters and runs that the tests of whole rasters share."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray

from steybrae.files.model.rasters import open_model
from steybrae.raster.files.outputs import Workspace
from steybrae.raster.job import AreaJob
from steybrae.raster.result import AreaResult
from steybrae.raster.run import job_identity, output_names, run_area
from steybrae.screening.known import Settings

UTM = (10.0, 0.0, 400_000.0, 0.0, -10.0, 5_200_000.0)
DEGREES = (1 / 10_800, 0.0, 8.2, 0.0, -1 / 10_800, 46.5)
MERCATOR = (15.0, 0.0, 900_000.0, 0.0, -15.0, 5_900_000.0)
TURNED = (8.0, 6.0, 400_000.0, 6.0, -8.0, 5_200_000.0)
GRIDS = {
    "utm": ("EPSG:32632", UTM),
    "degrees": ("EPSG:4326", DEGREES),
    "web mercator": ("EPSG:3857", MERCATOR),
    "turned": ("EPSG:32632", TURNED),
}
VOID = -9999.0


def mountains(rows: int, cols: int, cell_m: float = 10.0, seed: int = 3) -> NDArray[np.float32]:
    """Heights of made mountains: slopes from level to above 60 degrees, with a level lake."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols] * cell_m
    z = np.full((rows, cols), 1500.0)
    for k in range(7):
        length = 2500.0 * 0.6**k
        turn, phase = random.uniform(0.0, 2.0 * np.pi, 2)
        z += 0.09 * length * np.sin((x * np.cos(turn) + y * np.sin(turn)) * 2.0 * np.pi / length + phase)
    z += random.normal(0.0, 0.2, z.shape)
    return np.maximum(z, 1250.0).astype(np.float32)


def rough_mountains(rows: int, cols: int, cell_m: float = 10.0, seed: int = 3) -> NDArray[np.float32]:
    """The like with a spectrum that falls as ground's does: `mountains`, few waves, seem a smoothed model."""
    random = np.random.default_rng(seed)
    down, over = np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(cols)[None, :]
    frequency = np.maximum(np.hypot(down, over), cell_m / 2500.0)
    z = np.fft.irfft2(np.fft.rfft2(random.standard_normal((rows, cols))) * frequency**-2.0, s=(rows, cols))
    z *= 0.4 * cell_m / np.diff(z).std()
    return np.maximum(1500.0 + z, 1500.0 + np.quantile(z, 0.1)).astype(np.float32)


def with_voids(z: NDArray[Any], many: int = 6, seed: int = 5) -> NDArray[Any]:
    """The same with some voids."""
    random, out = np.random.default_rng(seed), z.copy()
    for _ in range(many):
        row, col = random.integers(0, z.shape[0]), random.integers(0, z.shape[1])
        out[row : row + random.integers(1, 12), col : col + random.integers(1, 12)] = VOID
    return out


def write(
    path: Path,
    z: NDArray[Any],
    crs: str | None = "EPSG:32632",
    transform: tuple[float, ...] = UTM,
    **options: Any,
) -> Path:
    """Write heights as GeoTIFF; `VOID` is no data."""
    options = {"nodata": VOID, "tiled": True, "blockxsize": 256, "blockysize": 256, **options}
    place = {"crs": crs, "transform": rasterio.Affine(*transform)}
    shape = {"height": z.shape[0], "width": z.shape[1], "count": 1, "dtype": z.dtype}
    with rasterio.open(path, "w", driver="GTiff", **shape, **place, **options) as made:
        made.write(z, 1)
    return path


def run(
    out: Path, *paths: Path, threads: int = 2, resume: bool = False, force: bool = False, **options: Any
) -> AreaResult:
    """Make rasters of a model, slope and bands if none is named; the texts beside them stay empty."""
    cluster, told = options.pop("cluster", None), options.pop("told", None)
    said = {one.name: options.pop(one.name) for one in fields(Settings) if one.name in options}
    job = AreaJob(paths=paths, settings=Settings(**said), **{"layers": ("slope", "bands"), **options})
    with open_model(paths) as model:
        identity = job_identity(job, model.info)
    with Workspace(out, identity, output_names(job), resume=resume, force=force) as work:
        found = run_area(job, work, threads=threads, cluster=cluster, told=told)
        for name in ("table.csv", "table.json", "README.txt"):
            work.write_text(name, "")
        work.publish()
    return found


def cells(path: Path, level: int | None = None) -> NDArray[Any]:
    """All cells of a raster, or of an overview (0 is the first)."""
    with rasterio.open(path, **({} if level is None else {"overview_level": level})) as data:
        found: NDArray[Any] = data.read(1)
    return found
