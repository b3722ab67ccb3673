"""Ceilings: what is more is refused in a sentence before its ground is read.

``python -m tests.route.test_ceilings`` measures processor time and peak memory of each at its ceiling and
prints them as a table; a test holds the peak of the smallest, and every sentence.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from tests.on_grid import TRUE_GRID

from steybrae.errors import SteybraeError
from steybrae.route import legs as ceilings
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.route.turns import choose_turns
from steybrae.screening import Settings, screen_route
from steybrae.screening.ground.at import ground_at
from steybrae.terrain.dem import Dem, Grid


def hills(cell_m: float, side: int) -> Dem:
    grid = Grid((cell_m, 0.0, 0.0, 0.0, -cell_m, side * cell_m), TRUE_GRID, (side, side))
    across = np.arange(side) * cell_m
    heights = 500.0 + 200.0 * np.sin(across / 170.0)[:, None] * np.cos(across / 230.0)
    return Dem(grid, heights + 4.0 * np.sin(across / 7.0))


def line_over(dem: Dem, points: int, share: float = 0.9, beside: float = 0.0) -> Route:
    """A diagonal of a model, its points to and fro beside it."""
    side = dem.grid.shape[0]
    along = np.linspace(0.5 - share / 2.0, 0.5 + share / 2.0, points) * side
    off = beside * (-1.0) ** np.arange(points)
    lon, lat = dem.grid.to_wgs84(along + off, along - off)
    places = tuple(Place(float(a), float(o)) for a, o in zip(lat, lon, strict=True))
    return Route("line", places, choose_turns(places) if points < 3000 else (0, points - 1))


def dense(points: int = ceilings.MOST_POINTS) -> None:
    """As many points as may be, to and fro, half a metre apart on cells of 10 m."""
    dem = hills(10.0, points // 20)
    screen_route(line_over(dem, points, beside=0.05), dem)


def quarter() -> None:
    """A quarter of that."""
    dense(ceilings.MOST_POINTS // 4)


def long_line() -> None:
    """As long as may be, on cells of 100 m."""
    dem = hills(100.0, 4000)
    screen_route(line_over(dem, 3000, 0.88), dem)


def many_legs() -> None:
    """As many legs as may be, 50 m each."""
    dem = hills(10.0, 3600)
    route = line_over(dem, ceilings.MOST_LEGS + 1)
    screen_route(Route("", route.points, tuple(range(ceilings.MOST_LEGS + 1))), dem)


def fine_cells() -> None:
    """Cells of half a metre, as long a line as they let."""
    dem = hills(0.5, 5000)
    screen_route(line_over(dem, 40, 0.9), dem)


def wide_circle() -> None:
    """A place within 480 m, on cells of half a metre."""
    dem = hills(0.5, 2200)
    lon, lat = dem.grid.to_wgs84(1100.0, 1100.0)
    ground_at(Place(float(lat), float(lon)), dem, 480.0)


def far_reach() -> None:
    """Ground overhead to 10 km, on cells of 10 m."""
    dem = hills(10.0, 2600)
    screen_route(line_over(dem, 2, 0.02), dem, Settings(reach_m=10_000.0))


AT_CEILING: Final = {
    one.__name__: one for one in (dense, long_line, many_legs, fine_cells, wide_circle, far_reach)
}


def measured(name: str) -> tuple[float, float]:
    """Processor time, seconds, and peak memory, MB, of one of them in a process of its own."""
    words = [sys.executable, "-m", "tests.route.test_ceilings", name]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    seconds, megabytes = done.stdout.split()[-2:]
    return float(seconds), float(megabytes)


def test_a_dense_line_costs_its_cells_and_not_its_points() -> None:
    assert measured("quarter")[1] < 300.0


def said(work: Callable[[], Any]) -> str:
    with pytest.raises(SteybraeError) as caught:
        work()
    return str(caught.value)


class Nothing(Dem):
    """A model that nobody may read."""

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        pytest.fail("ground was read")


def unread(cell_m: float, side: int) -> Dem:
    dem = hills(cell_m, 8)
    grid = Grid((cell_m, 0.0, 0.0, 0.0, -cell_m, 8 * cell_m), TRUE_GRID, (8, 8))
    whole = Nothing(grid, dem.heights_m)
    object.__setattr__(whole, "grid", Grid(grid.transform, TRUE_GRID, (side, side)))
    return whole


def test_too_many_points_and_legs() -> None:
    assert said(lambda: ceilings.check_line(20_001, 1)) == (
        "A line should have at most 20000 points; this one has 20001. Simplify it, or take one day of it."
    )
    assert said(lambda: ceilings.check_line(20_000, 1001)) == (
        "A line should have at most 1000 legs; this one has 1001. Name fewer turn points, or take one day "
        "of it."
    )
    dem = unread(10.0, 2000)
    assert "1001" in said(lambda: screen_route(every_point_a_turn(line_over(dem, 1002)), dem))


def every_point_a_turn(route: Route) -> Route:
    return Route("", route.points, tuple(range(len(route.points))))


def test_too_much_ground() -> None:
    dem = unread(100.0, 8000)
    assert said(lambda: screen_route(line_over(dem, 60, 0.9), dem)) == (
        "A line should be at most 500 km long; this one has 1016 km. Take one day of it."
    )
    fine = unread(0.5, 60_000)
    found = said(lambda: screen_route(every_point_a_turn(line_over(fine, 60, 0.9)), fine))
    assert found.startswith(
        "The ground beside a line should have at most 40 million cells of the model; that of"
    )
    assert found.endswith("Give a part of the line, or a coarser model.")
    assert said(lambda: ceilings.check_beside(9000.0, 1, 2_100_000_000)) == (
        "A line on cells this fine should have fewer points: its pieces and the cells beside them make 2.1 "
        "thousand million pairs, of 2 that are worked out at most. Simplify the line, give a part of it, or "
        "a coarser model."
    )


def test_too_large_windows() -> None:
    fine = unread(0.5, 9000)
    lon, lat = fine.grid.to_wgs84(4500.0, 4500.0)
    assert said(lambda: ground_at(Place(float(lat), float(lon)), fine, 1000.0)) == (
        "The ground around a place should span at most 4 million cells of the model; it spans 4051 x 4051. "
        "Give a smaller position error (--within), or a coarser model."
    )
    wide = Settings(place_error_m=1000.0)
    assert said(lambda: screen_route(line_over(fine, 3, 0.01), fine, wide)).startswith(
        "The ground beside a stretch of the line should span at most 4 million cells of the model; it spans "
    )
    far = Settings(reach_m=15_000.0)
    assert said(lambda: screen_route(line_over(unread(10.0, 900), 2, 0.1), unread(10.0, 900), far)).endswith(
        "Give a shorter --reach, or a coarser model."
    )


def peak_mb() -> float:
    """Peak of this program alone, MB: that of `resource` counts what it shared with its parent."""
    status = Path("/proc/self/status")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    lines = status.read_text("utf-8").splitlines() if status.exists() else [f"VmHWM: {own} kB"]
    return next(float(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024.0


if __name__ == "__main__":
    if len(sys.argv) > 1:
        began = time.process_time()
        {**AT_CEILING, "quarter": quarter}[sys.argv[1]]()
        print(round(time.process_time() - began, 1), round(peak_mb()))
    else:
        print("| at its ceiling | processor time, s | peak, MB |\n|---|---|---|")
        for name, work in AT_CEILING.items():
            seconds, megabytes = measured(name)
            print(f"| {work.__doc__} | {seconds:.1f} | {megabytes:.0f} |", flush=True)
