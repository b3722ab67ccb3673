"""How fast ``steybrae area --overhead`` is, beside one flow accumulation of richdem (D8), in turns.

    python -m tests.benchmarks.overhead_speed --folder DIR --richdem PYTHON [--rounds 3] [--side 3162 ...]

PYTHON is the interpreter of an environment that has richdem. Both work on one thread on the same
made mountains with voids; richdem's time is that of the accumulation alone, in memory; ours is that of
the whole command less that of the same command without ``--overhead``, by the number of angles.
Processor time, for a machine may be shared. The folder's files are removed at the end.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import subprocess
import sys
from pathlib import Path

import rasterio
from tests.benchmarks.area_speed import COMMAND, STRIP, VOID, Run, make_model, timed

from steybrae.raster.overhead.energy import ANGLES_DEG

RICHDEM = """
import sys, time
import numpy as np
import richdem
side = int(sys.argv[3])
heights = np.fromfile(sys.argv[1], np.float32).reshape(side, side)
start = time.process_time()
richdem.FlowAccumulation(richdem.rdarray(heights, no_data=float(sys.argv[2])), method="D8")
print(time.process_time() - start)
"""


def richdem_s(python: Path, heights: Path, side: int) -> float:
    """Processor time of one flow accumulation, seconds."""
    command = [python, "-c", RICHDEM, heights, str(VOID), str(side)]
    told = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(told.stdout.split()[-1])


def main() -> None:
    """Print a table."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--folder", type=Path, required=True)
    options.add_argument("--richdem", type=Path, required=True)
    options.add_argument("--rounds", type=int, default=3)
    options.add_argument("--side", type=int, action="append")
    given = options.parse_args()
    folder = given.folder / "overhead-speed"
    folder.mkdir(parents=True)
    print("| cells | richdem D8, ns a cell | ours, ns a cell and angle | ratio (range) | wall s | peak MB |")
    print("|---|---|---|---|---|---|")
    try:
        for side in given.side or (1_000, 3_162, 10_000):
            one_size(folder, side, given)
    finally:
        shutil.rmtree(folder)


def one_size(folder: Path, side: int, given: argparse.Namespace) -> None:
    """Measure one size."""
    model, heights, out = make_model(folder / "z.tif", side, side), folder / "z.raw", folder / "out"
    # In strips: the peak memory of a process counts that of its parent as it was started.
    with rasterio.open(model) as data, heights.open("wb") as raw:
        for row in range(0, side, STRIP):
            raw.write(data.read(1, window=((row, min(row + STRIP, side)), (0, side))).tobytes())
    command = (*COMMAND, "--dem", model, "--out", out, "--bands", "--threads", "1")
    # Compiled before anything is timed.
    timed((*command, "--overhead"), out) if side <= 3_162 else None
    theirs: list[float] = []
    ours: list[Run] = []
    ns: list[float] = []
    for _ in range(given.rounds):
        theirs.append(richdem_s(given.richdem, heights, side) * 1e9 / side**2)
        plain = timed(command, out)
        ours.append(timed((*command, "--overhead"), out))
        ns.append((ours[-1].cpu_s - plain.cpu_s) * 1e9 / side**2 / len(ANGLES_DEG))
        print(f"  {side}: {theirs[-1]:.0f} {ns[-1]:.0f} {ours[-1]}", file=sys.stderr, flush=True)
    ratios = [a / b for a, b in zip(ns, theirs, strict=True)]
    print(
        f"| {side**2:.1e} | {statistics.median(theirs):.0f} | {statistics.median(ns):.1f} "
        f"| {statistics.median(ratios):.2f} ({min(ratios):.2f}-{max(ratios):.2f}) "
        f"| {statistics.median(run.wall_s for run in ours):.1f} | {max(run.peak_mb for run in ours):.0f} |",
        flush=True,
    )
    model.unlink()
    heights.unlink()


if __name__ == "__main__":
    main()
