"""A model of 100 million cells costs what the ground near the line costs.

The big model is written sparse: only the blocks near the line hold heights, which changes nothing
for a program that reads near the line only. ``tests/benchmarks/measure.py --big`` does it with full
files and prints the ratios; here the bounds are wide, for a busy machine.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.env
import rasterio.transform
import rasterio.windows
from tests.on_grid import model, route_on, towards
from tests.synthetic import Plane

from steybrae.files.model.rasters import CACHE_BYTES, open_model
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.screening import Settings, screen_route

BIG, SMALL = 10_000, 512
CORNER = (4608, 4608)  # of the small model in the big one, on a block of 512
LEFT, TOP = 250_000.0, 800_000.0

CHILD = """
import resource, sys, time
from pathlib import Path
from steybrae.cli.app import main
try:
    main()
finally:
    # The peak of this program alone: that of resource counts what it shared with its parent.
    status = Path("/proc/self/status")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    lines = status.read_text().splitlines() if status.exists() else [f"VmHWM: {own} kB"]
    print(*[line for line in lines if line.startswith("VmHWM")], time.process_time(), file=sys.stderr)
"""


def heights(row: int, col: int, size: int) -> np.ndarray:
    y, x = np.arange(row, row + size)[:, None], np.arange(col, col + size)[None, :]
    hills = 400.0 * np.sin(x / 61.0) * np.cos(y / 47.0) + 60.0 * np.sin(x / 7.0 + y / 9.0)
    return (800.0 + hills).astype(np.float32)


def write(path: Path, size: int, corner: tuple[int, int], **profile: object) -> None:
    """A model of `size` cells whose heights are known in the block of the small model only."""
    row, col = corner
    transform = rasterio.transform.Affine(10.0, 0.0, LEFT + 10.0 * col, 0.0, -10.0, TOP - 10.0 * row)
    options = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": "EPSG:27700", "nodata": -9999.0}
    with rasterio.open(
        path, "w", width=size, height=size, transform=transform, sparse_ok=True, **options, **profile
    ) as out:
        window = rasterio.windows.Window(CORNER[1] - col, CORNER[0] - row, SMALL, SMALL)
        out.write(heights(*CORNER, SMALL), 1, window=window)


def screened(line: Path, dem: Path) -> tuple[dict, float, float]:
    """The answer, peak memory in MB and CPU seconds of a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD, "route", str(line), "--dem", str(dem), "--json"],
        capture_output=True,
        text=True,
        check=True,
        timeout=600,
    )
    peak_kb, seconds = re.findall(r"VmHWM:\s*(\d+) kB ([\d.]+)", done.stderr)[-1]
    return json.loads(done.stdout), int(peak_kb) / 1024.0, float(seconds)


@pytest.fixture(scope="module")
def line(tmp_path_factory) -> Path:
    """A bent line of 5.6 km in the middle of the block."""
    to_wgs84 = pyproj.Transformer.from_crs("EPSG:27700", "EPSG:4326", always_xy=True)
    x = LEFT + 10.0 * (CORNER[1] + np.array([80.0, 200.0, 300.0, 430.0]))
    y = TOP - 10.0 * (CORNER[0] + np.array([90.0, 260.0, 180.0, 400.0]))
    lon, lat = to_wgs84.transform(x, y)
    path = tmp_path_factory.mktemp("line") / "line.csv"
    rows = "".join(f"{a:.9f},{o:.9f}\n" for a, o in zip(lat, lon, strict=True))
    path.write_text("lat,lon\n" + rows, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def small(line) -> tuple[dict, float, float]:
    path = line.with_name("small.tif")
    write(path, SMALL, CORNER, tiled=True, blockxsize=256, blockysize=256)
    return screened(line, path)


@pytest.mark.parametrize(
    "profile",
    [
        {"tiled": True, "blockxsize": 512, "blockysize": 512, "compress": "deflate"},
        {"tiled": False, "blockysize": 1},
    ],
    ids=["tiled", "striped"],
)
def test_a_big_model_costs_little_more_than_a_small_one(line, small, profile, tmp_path):
    path = tmp_path / "big.tif"
    write(path, BIG, (0, 0), **profile)
    found, peak_mb, seconds = screened(line, path)
    answer, small_mb, small_seconds = small
    keys = ("length_m", "slope_max_deg", "slope_corridor_max_deg", "ascent_m", "unknown_m", "steep_m")
    for one, other in zip(found["legs"], answer["legs"], strict=True):
        assert [one[key] for key in keys] == pytest.approx([other[key] for key in keys], abs=1e-6)
    assert found["totals"]["unknown_m"] == 0.0
    assert peak_mb < 300.0
    assert peak_mb < small_mb + 100.0
    assert seconds < 3.0 * small_seconds


def test_gdals_cache_has_a_stated_size(line):
    path = line.with_name("cached.tif")
    write(path, SMALL, CORNER)
    assert CACHE_BYTES == 64 * 2**20
    with open_model([path]):
        assert rasterio.env.getenv()["GDAL_CACHEMAX"] == CACHE_BYTES


def test_time_grows_with_the_line_and_not_with_the_box_round_it(monkeypatch):
    """Cells read for a diagonal: proportional to its length; what looks down has windows of its own."""
    dem = model(Plane(20.0, 40.0), (1200, 1200))
    read: list[int] = []

    class Counted:
        grid, heights_read = dem.grid, dem.heights_read

        def read(self, row: int, col: int, rows: int, cols: int):
            read.append(rows * cols)
            return dem.read(row, col, rows, cols)

    monkeypatch.setattr(
        "steybrae.screening.ready.KeptGround", lambda _, look, kept: KeptGround(dem, look, kept)
    )
    cells = []
    for length_m in (4000.0, 8000.0):
        read.clear()
        ends = towards(45.0, length_m)
        # Many legs: drift starts anew at each turn point.
        share = np.linspace(0.0, 1.0, int(length_m / 1000.0) + 1)
        points = [
            (ends[0][0] * (1 - s) + ends[1][0] * s, ends[0][1] * (1 - s) + ends[1][1] * s) for s in share
        ]
        screen_route(route_on(dem, points), Counted(), Settings(reach_m=30.0))
        cells.append(sum(read))
    assert cells[1] == pytest.approx(2 * cells[0], rel=0.02)
    assert cells[1] < 0.2 * 1200 * 1200
