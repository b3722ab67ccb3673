"""How fast and how small ``steybrae area`` is, beside gdaldem, in interleaved pairs.

    python -m tests.benchmarks.area_speed --folder DIR [--rounds 5] [--part pairs --part sizes ...]

Makes a mountain model with voids in the folder (give one on the disk to be measured, with 4 GB
free; `sizes` needs 8 GB), runs every contestant once in each round, in an order that turns, and prints
Markdown tables of medians and ranges: wall time, processor time (user and system, of the process
and its threads), peak memory. The folder's files are removed at the end. PYTHONDONTWRITEBYTECODE is
cleared for the processes that are timed, and one small run goes first: a user's installation has
its bytecode, without which every start takes 0.1 s longer.

Parts: ``pairs`` (gdaldem slope against slope and bands; uncompressed and deflate), ``sizes``
(10^6 to 4 x 10^8 cells), ``baselines`` (10 m to 1 m cells), ``memory`` (the kernel against copying the same
bytes), ``cluster`` (one worker against two).
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin
from rasterio.windows import Window

CELL_M, STRIP = 5.0, 256
VOID = -9999.0
ENVIRON = {name: text for name, text in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
COMMAND = (sys.executable, "-c", "from steybrae.cli.app import main; main()", "area")


@dataclass(frozen=True)
class Run:
    """One run of one contestant."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def make_model(path: Path, rows: int, cols: int, cell_m: float = CELL_M, **options: str) -> Path:
    """Waves of many lengths, noise of 5 cm, and voids."""
    random = np.random.default_rng(7)
    x = np.arange(cols) * cell_m
    waves = []
    for k in range(14):
        length, turn = 12_000.0 * 0.62**k, random.uniform(0.0, 2.0 * np.pi)
        waves.append((2 * np.pi / length * np.cos(turn), 2 * np.pi / length * np.sin(turn), 0.055 * length))
    place = {"crs": "EPSG:32632", "transform": from_origin(400_000.0, 5_200_000.0, cell_m, cell_m)}
    shape = {"height": rows, "width": cols, "count": 1, "dtype": "float32", "nodata": VOID}
    tiles = {"tiled": True, "blockxsize": 256, "blockysize": 256, "BIGTIFF": "IF_SAFER"}
    with rasterio.open(path, "w", driver="GTiff", **shape, **place, **tiles, **options) as made:
        for row in range(0, rows, STRIP):
            count = min(STRIP, rows - row)
            y = (np.arange(row, row + count) * cell_m)[:, None]
            z = np.full((count, cols), 2000.0)
            for kx, ky, high in waves:
                z += high * (np.sin(kx * x) * np.cos(ky * y) + np.cos(kx * x) * np.sin(ky * y))
            z += random.normal(0.0, 0.05, z.shape)
            for _ in range(6):
                at, size = random.integers(0, (count, max(1, cols - 60))), random.integers(3, 50)
                z[at[0] : at[0] + size, at[1] : at[1] + size] = VOID
            made.write(z.astype(np.float32), 1, window=Window(0, row, cols, count))
    return path


def timed(command: Sequence[str | Path], clear: Path) -> Run:
    """Run a command whose outputs are then removed."""
    start = time.perf_counter()
    process = subprocess.Popen(list(map(str, command)), stdout=subprocess.DEVNULL, env=ENVIRON)
    _, status, used = os.wait4(process.pid, 0)
    wall = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        message = f"{command} ended with {process.returncode}"
        raise RuntimeError(message)
    shutil.rmtree(clear) if clear.is_dir() else clear.unlink()
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0)


Contestant = Callable[[], Run]


def rounds(contestants: dict[str, Contestant], many: int) -> dict[str, list[Run]]:
    """Every contestant once a round, each round beginning with another."""
    found: dict[str, list[Run]] = {name: [] for name in contestants}
    names = list(contestants)
    for k in range(many):
        for name in names[k % len(names) :] + names[: k % len(names)]:
            found[name].append(contestants[name]())
            print(f"  round {k + 1}: {name}: {found[name][-1]}", file=sys.stderr, flush=True)
    return found


def table(found: dict[str, list[Run]], base: str) -> None:
    """Medians, ranges, and the median of the ratios within each round."""
    print("| | wall s (range) | ratio of wall (range) | CPU s | ratio of CPU | peak MB |")
    print("|---|---|---|---|---|---|")
    for name, runs in found.items():
        wall = [run.wall_s for run in runs]
        ratio = [run.wall_s / other.wall_s for run, other in zip(runs, found[base], strict=True)]
        cpu = [run.cpu_s / other.cpu_s for run, other in zip(runs, found[base], strict=True)]
        print(
            f"| {name} | {statistics.median(wall):.2f} ({min(wall):.2f}-{max(wall):.2f}) "
            f"| {statistics.median(ratio):.2f} ({min(ratio):.2f}-{max(ratio):.2f}) "
            f"| {statistics.median([run.cpu_s for run in runs]):.2f} "
            f"| {statistics.median(cpu):.2f} | {max(run.peak_mb for run in runs):.0f} |"
        )


def pairs(folder: Path, many: int) -> None:
    """Run gdaldem's slope against our slope and bands."""
    for packing, gdal in (("none", ()), ("deflate", ("-co", "COMPRESS=DEFLATE"))):
        options = {} if packing == "none" else {"compress": packing}
        model = make_model(folder / f"{packing}.tif", 10_000, 10_000, **options)
        theirs, ours = folder / "theirs.tif", folder / "ours"
        tiled = ("gdaldem", "slope", "-q", "-co", "TILED=YES", *gdal, model, theirs)
        striped = ("gdaldem", "slope", "-q", *gdal, model, theirs)
        mine = (*COMMAND, "--dem", model, "--out", ours, "--compress", packing)

        def run(command: Sequence[str | Path], clear: Path) -> Contestant:
            return lambda: timed(command, clear)

        found = rounds(
            {
                "gdaldem slope, tiled": run(tiled, theirs),
                "gdaldem slope, striped": run(striped, theirs),
                "area, 1 thread": run((*mine, "--threads", "1"), ours),
                "area, 2 threads": run((*mine, "--threads", "2"), ours),
                "area, 2 threads, bands alone": run((*mine, "--threads", "2", "--bands"), ours),
            },
            many,
        )
        print(f"\n10^8 cells, {packing} in and out:\n")
        table(found, "gdaldem slope, tiled")
        model.unlink()


def sizes(folder: Path, many: int) -> None:
    """Cost of a cell and peak memory over four sizes."""
    print("\n| cells | wall s | wall ns a cell | CPU ns a cell | peak MB |\n|---|---|---|---|---|")
    for side in (1_000, 3_162, 10_000, 20_000):
        model, out = make_model(folder / "size.tif", side, side), folder / "out"
        command = (*COMMAND, "--dem", model, "--out", out, "--compress", "none")
        runs = [timed(command, out) for _ in range(many)]
        best = statistics.median(run.wall_s for run in runs)
        cpu = statistics.median(run.cpu_s for run in runs)
        peak = max(run.peak_mb for run in runs)
        print(
            f"| {side**2:.1e} | {best:.2f} | {best * 1e9 / side**2:.1f} "
            f"| {cpu * 1e9 / side**2:.1f} | {peak:.0f} |",
            flush=True,
        )
        model.unlink()


def baselines(folder: Path, many: int) -> None:
    """Cost of a cell from 10 m to 1 m cells: two cells are the baseline, then twenty."""
    print("\n10^7 cells, uncompressed, one thread:\n")
    out = folder / "out"

    def run(model: Path, layers: tuple[str, ...]) -> Contestant:
        words = ("--dem", model, "--out", out, "--compress", "none", "--threads", "1")
        return lambda: timed((*COMMAND, *words, *layers), out)

    models = {
        f"{size:g} m": make_model(folder / f"{size:g}.tif", 3_162, 3_162, size)
        for size in (10.0, 5.0, 2.0, 1.0)
    }
    for name, layers in (("all three", ()), ("slope and bands", ("--slope", "--bands"))):
        contestants = {f"{size}, {name}": run(model, layers) for size, model in models.items()}
        table(rounds(contestants, many), next(iter(contestants)))
        print()


def memory(folder: Path, many: int) -> None:
    """Compare the kernel on a block in memory with copying the same bytes."""
    from concurrent.futures import ThreadPoolExecutor

    from steybrae.bands import DEFAULT_EDGES_DEG
    from steybrae.raster.blocks import block_metric
    from steybrae.raster.kernel import Kernel
    from steybrae.raster.tally import Pieces
    from steybrae.terrain.dem import Grid

    model = make_model(folder / "block.tif", 1026, 1026)
    with rasterio.open(model) as data:
        z = data.read(1)
    z[z == VOID] = 2000.0
    grid = Grid((CELL_M, 0.0, 400_000.0, 0.0, -CELL_M, 5_200_000.0), "EPSG:32632", z.shape)
    metric = block_metric(grid, (1, 1), (1024, 1024))

    def work(kind: str) -> None:
        slope = np.empty((1024, 1024), np.float32)
        bands = np.empty((1024, 1024), np.uint8)
        kernel = Kernel("horn", DEFAULT_EDGES_DEG)
        for _ in range(60):
            if kind == "copy":
                np.copyto(slope, z[1:-1, 1:-1])
                continue
            out = {"slope": slope} if kind == "slope" else {"slope": slope, "bands": bands}
            kernel.fill(z, metric, 1.0, out, Pieces(7, 500.0, 1.0, 0.0) if kind == "all" else None)

    print("\n| in memory | 1 thread ns a cell | 2 threads | copies, 1 | 2 |\n|---|---|---|---|---|")
    spent: dict[str, list[float]] = {}
    for kind in ("copy", "slope", "both", "all"):
        spent[kind] = []
        for threads in (1, 2):
            found = []
            for _ in range(max(many, 5)):
                start = time.perf_counter()
                with ThreadPoolExecutor(threads) as pool:
                    list(pool.map(work, [kind] * threads))
                found.append((time.perf_counter() - start) * 1e9 / (60 * threads * 2**20))
            spent[kind].append(min(found))
        one, two = (spent[kind][k] / spent["copy"][k] for k in (0, 1))
        print(f"| {kind} | {spent[kind][0]:.2f} | {spent[kind][1]:.2f} | {one:.1f} | {two:.1f} |")
    model.unlink()


def cluster(folder: Path, many: int) -> None:
    """One worker against two."""
    model, out = make_model(folder / "z.tif", 10_000, 10_000, compress="deflate"), folder / "out"
    found = rounds(
        {
            f"local:{n}": lambda n=n: timed(
                (*COMMAND, "--dem", model, "--out", out, "--cluster", f"local:{n}"), out
            )
            for n in (1, 2)
        },
        many,
    )
    print("\n10^8 cells, deflate, Dask workers on one machine (CPU: the scheduler's process alone):\n")
    table(found, "local:1")
    model.unlink()


PARTS = {"pairs": pairs, "sizes": sizes, "baselines": baselines, "memory": memory, "cluster": cluster}


def main() -> None:
    """Run the parts asked for."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--folder", type=Path, required=True)
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--part", choices=PARTS, action="append")
    given = options.parse_args()
    asked = subprocess.run(["gdalinfo", "--version"], capture_output=True, text=True, check=True)
    print(
        f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}, numpy "
        f"{np.__version__}, rasterio {rasterio.__version__} (GDAL {rasterio.__gdal_version__}); gdaldem: "
        f"{asked.stdout.strip()}; "
        f"load {os.getloadavg()[0]:.1f}; {given.rounds} rounds"
    )
    folder = given.folder / "area-speed"
    folder.mkdir(parents=True)
    try:
        model, out = make_model(folder / "first.tif", 300, 300), folder / "out"
        timed((*COMMAND, "--dem", model, "--out", out), out)
        for name in given.part or ("pairs", "sizes", "memory"):
            PARTS[name](folder, given.rounds)
    finally:
        shutil.rmtree(folder)
    print(f"\nload at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
