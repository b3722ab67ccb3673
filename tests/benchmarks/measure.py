"""Speed and memory, as ratios against plain pieces of the same work, measured in one run.

    python tests/benchmarks/measure.py [--waits ROUNDS | --big]

CPU time, the least of several runs, so that a busy machine disturbs little. ``--waits`` runs what
people wait for, once in each round in an order that turns, and prints medians. ``--big`` also writes
two models of 10 000 by 10 000 cells (400 MB each unpacked) to a temporary folder, screens one line
on them and on a small cut of the same ground, and deletes them.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

BIG, SMALL = 10_000, 700
SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
GAP = ("gap", "--scale", "1:25000", "--interval", "10m", "--across", "12.5mm", "--gaps", "5")
MAIN = "from steybrae.cli.app import main; main()"
# The peak that the kernel hands to a parent counts what the child shared with it before exec.
PEAK = "import atexit; atexit.register(lambda: print(open('/proc/self/status').read(), file=open(2, 'w')));"


def cost(code: str, *arguments: object, runs: int = 5) -> tuple[float, float]:
    """Least CPU seconds and greatest peak resident memory (MB, Linux) of a process over some runs."""
    seconds, peak = [], 0.0
    for _ in range(runs):
        with subprocess.Popen(
            [sys.executable, "-c", PEAK + code, *map(str, arguments)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
            said = process.stderr.read() if process.stderr else ""
        assert process.returncode == 0, said
        seconds.append(used.ru_utime + used.ru_stime)
        peak = max(peak, int(re.findall(r"VmHWM:\s+(\d+) kB", said)[-1]) / 1024.0)
    return min(seconds), peak


def told(name: str, ours: float, theirs: float, goal: float, unit: str = "s") -> None:
    """Print one line: what, our figure, the other, their ratio, the goal."""
    met = "met" if ours <= goal * theirs else "MISSED"
    print(
        f"{name:58s} {ours:8.3f} {unit} / {theirs:8.3f} {unit} = {ours / theirs:5.2f}  (goal {goal:g}: {met})"
    )


def commands() -> None:
    """Start-up of the small commands, and the main job on the sample."""
    imports, _ = cost("import typer, rich", runs=9)
    for name, arguments in (("gap", GAP), ("--help", ("--help",))):
        told(f"steybrae {name} / import typer, rich", cost(MAIN, *arguments, runs=9)[0], imports, 1.2)
    imports, _ = cost("import rasterio, pyproj, numpy", runs=9)
    route, peak = cost(MAIN, "route", "--sample", "--json", runs=9)
    told("steybrae route --sample --json / import rasterio, pyproj, numpy", route, imports, 2.2)
    print(f"{'':58s} peak {peak:.0f} MB")


def waits(rounds: int) -> None:
    """What people wait for on the sample, each told against what it has to import."""
    few, some = "import rasterio, pyproj, numpy", "import rasterio, pyproj, matplotlib.pyplot"
    least = "import typer, rich"
    bulletin = ("--bulletin", SAMPLE / "bulletin.json", "--region", "XX-STEY-01")
    day = ("--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London")
    route = ("route", "--sample", "--force")
    with tempfile.TemporaryDirectory() as name:
        page, plan, kept, picture = (Path(name) / one for one in ("p.html", "p.zip", "kept.zip", "p.png"))
        cost(MAIN, *route, "--save", kept, runs=1)
        outputs = ("--figure", picture, "--report", page, "--save", plan)
        contestants: dict[str, tuple[str, tuple[Any, ...], str]] = {
            least: (least, (), least),
            few: (few, (), few),
            some: (some, (), some),
            "gap": (MAIN, GAP, least),
            "route --json": (MAIN, (*route, "--json"), few),
            "route --json, bulletin": (MAIN, (*route, "--json", *bulletin), few),
            "route --save": (MAIN, (*route, "--save", plan), few),
            "route --figure": (MAIN, (*route, "--figure", picture), some),
            "route, figure, report, plan": (MAIN, (*route, *outputs), some),
            "the same with a bulletin": (MAIN, (*route, *outputs, *bulletin), some),
            "card of a plan": (MAIN, ("card", kept, *day), few),
            "reading --plan": (MAIN, ("reading", "34deg", "--plan", kept, "--check", "6a"), few),
            "report of a plan": (MAIN, ("report", kept, "--out", page, "--force"), some),
        }
        spent: dict[str, list[float]] = {one: [] for one in contestants}
        for number in range(rounds):
            for one in list(contestants)[:: 1 if number % 2 else -1]:
                code, arguments, _ = contestants[one]
                spent[one].append(cost(code, *arguments, runs=1)[0])
    median = {one: float(np.median(seconds)) for one, seconds in spent.items()}
    for one, (_, _, floor) in contestants.items():
        print(f"{one:45s} {median[one]:7.3f} s  {median[one] / median[floor]:6.2f} of {floor}")


def points(count: int = 1_000_000) -> None:
    """Height, slope and aspect at points along lines, against scipy for the height alone."""
    from scipy.ndimage import map_coordinates
    from tests.synthetic import GaussianHill, sample_surface

    from steybrae.terrain.attributes import at_points, slope_field

    dem = sample_surface(GaussianHill(600.0, 3000.0), (1500, 1500), 10.0)
    field = slope_field(dem)
    rng = np.random.default_rng(1)
    ends = rng.uniform(5.0, 1495.0, (4, 100, 1))
    share = np.linspace(0.0, 1.0, count // 100)
    col = (ends[0] + (ends[1] - ends[0]) * share).ravel()
    row = (ends[2] + (ends[3] - ends[2]) * share).ravel()
    ours = min(_timed(lambda: at_points(field, col, row)) for _ in range(5))
    theirs = min(_timed(lambda: map_coordinates(dem.heights_m, (row - 0.5, col - 0.5))) for _ in range(5))
    told("a million points: height, slope, aspect / scipy, height", ours, theirs, 5.0)


def _timed(call: Any) -> float:
    start = time.process_time()
    call()
    return time.process_time() - start


def _surface(rows: slice, cols: slice) -> np.ndarray:
    """Rough hills, analytic, heights in metres."""
    y, x = np.arange(rows.start, rows.stop)[:, None], np.arange(cols.start, cols.stop)[None, :]
    hills = 400.0 * np.sin(x / 61.0) * np.cos(y / 47.0) + 60.0 * np.sin(x / 7.0 + y / 9.0)
    return (800.0 + hills).astype(np.float32)


def write_model(path: Path, size: int, corner: tuple[int, int], **profile: Any) -> None:
    """A model of `size` cells a side whose first cell is cell `corner` of the big one."""
    import rasterio
    import rasterio.windows

    row, col = corner
    left, top = 250_000.0 + col * 10.0, 800_000.0 - row * 10.0
    options = {"driver": "GTiff", "count": 1, "dtype": "float32", "crs": "EPSG:27700", **profile}
    transform = rasterio.Affine(10.0, 0.0, left, 0.0, -10.0, top)
    with rasterio.open(path, "w", width=size, height=size, transform=transform, **options) as out:
        for first in range(0, size, 512):
            count = min(512, size - first)
            block = _surface(slice(row + first, row + first + count), slice(col, col + size))
            out.write(block, 1, window=rasterio.windows.Window(0, first, size, count))


def write_line(path: Path) -> None:
    """A bent line of about 8 km in the middle of the big model."""
    from pyproj import Transformer

    to_wgs84 = Transformer.from_crs("EPSG:27700", "EPSG:4326", always_xy=True)
    x = np.array([297_500.0, 299_000.0, 300_500.0, 301_500.0, 302_300.0])
    y = np.array([752_500.0, 750_500.0, 751_200.0, 749_000.0, 747_800.0])
    lon, lat = to_wgs84.transform(x, y)
    rows = "".join(f"{a:.9f},{o:.9f}\n" for a, o in zip(lat, lon, strict=True))
    path.write_text("lat,lon\n" + rows, encoding="utf-8")


def big() -> None:
    """One line on 100 million cells and on a cut of half a million."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        line, small = folder / "line.csv", folder / "small.tif"
        write_line(line)
        write_model(small, SMALL, (4650, 4650), tiled=True, blockxsize=256, blockysize=256)
        base, peak = cost(MAIN, "route", line, "--dem", small, "--json")
        print(f"{'a small model':58s} {base:8.3f} s, peak {peak:.0f} MB")
        tiles = {"tiled": True, "blockxsize": 512, "blockysize": 512}
        layouts = {
            "tiled 512, deflate": {**tiles, "compress": "deflate"},
            "striped, uncompressed": {"tiled": False},
        }
        answers = [_answer(line, small)]
        for layout, profile in layouts.items():
            model = folder / "big.tif"
            write_model(model, BIG, (0, 0), **profile)
            seconds, peak = cost(MAIN, "route", line, "--dem", model, "--json")
            told(f"10 000 x 10 000, {layout} / the small model", seconds, base, 1.5)
            print(f"{'':58s} peak {peak:.0f} MB (goal 300)")
            answers.append(_answer(line, model))
            model.unlink()
        assert all(answer == answers[0] for answer in answers), "the same line has different answers"
        print("the answers are the same to 1e-6")


def _answer(line: Path, model: Path) -> list[tuple[float, ...]]:
    found = subprocess.run(
        [sys.executable, "-c", MAIN, "route", str(line), "--dem", str(model), "--json"],
        capture_output=True,
        check=True,
    )
    keys = ("length_m", "slope_max_deg", "slope_corridor_max_deg", "ascent_m", "unknown_m", "steep_m")
    return [tuple(round(leg[key], 6) for key in keys) for leg in json.loads(found.stdout)["legs"]]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--big", action="store_true", help="also write and screen two big models")
    parser.add_argument("--waits", type=int, metavar="ROUNDS", help="what people wait for, and no more")
    chosen = parser.parse_args()
    if chosen.waits:
        waits(chosen.waits)
        sys.exit()
    commands()
    points()
    if chosen.big:
        big()
