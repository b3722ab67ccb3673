"""Wide bounds on the ratios that `measure` prints, so that a slow import or loop is noticed."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
from scipy.ndimage import map_coordinates
from tests.benchmarks.measure import MAIN, cost
from tests.synthetic import GaussianHill, sample_surface

from steybrae.terrain.attributes import at_points, slope_field

GAP = ("gap", "--scale", "1:25000", "--interval", "10m", "--gap", "2.5mm")


def test_small_commands_start_quickly():
    """Goal 2; the typer of 2026 loads pydantic for any command, which by itself makes it 2.3."""
    imports, _ = cost("import typer, rich", runs=4)
    gap, peak_mb = cost(MAIN, *GAP, runs=4)
    assert gap < 6.0 * imports
    assert peak_mb < 100.0


def test_small_commands_load_nothing_slow():
    slow = ("numpy", "pyproj", "rasterio", "scipy", "matplotlib", "numba", "xarray")
    look = f"print([name for name in {slow} if name in sys.modules], file=sys.stderr)"
    code = f"import sys, atexit; atexit.register(lambda: {look}); {MAIN}"
    for arguments in (("--help",), GAP):
        command = [sys.executable, "-c", code, *arguments]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        assert done.stderr.strip() == "[]"


def test_the_main_job_on_the_sample():
    """Goal 3; 4.8 on a quiet machine, 7.5 where a second process keeps the other thread of the core busy."""
    imports, _ = cost("import rasterio, pyproj, numpy", runs=3)
    route, peak_mb = cost(MAIN, "route", "--sample", "--json", runs=3)
    assert route < 10.0 * imports
    assert peak_mb < 300.0


def test_points_along_lines():
    """Goal 5 for height, slope and aspect against scipy's cubic spline for the height alone."""
    field = slope_field(sample_surface(GaussianHill(600.0, 3000.0), (800, 800), 10.0))
    col, row = np.random.default_rng(1).uniform(5.0, 795.0, (2, 200_000))
    heights = field.dem.heights_m

    def seconds(call) -> float:
        start = time.process_time()
        call()
        return time.process_time() - start

    ours = min(seconds(lambda: at_points(field, col, row)) for _ in range(3))
    theirs = min(seconds(lambda: map_coordinates(heights, (row - 0.5, col - 0.5))) for _ in range(3))
    assert ours < 10.0 * theirs
