"""How much ground the ends of whole legs hold, and how much of it possible start zones claim.

    PYTHONPATH=src:. python tests/benchmarks/leg_coverage.py --terrain FOLDER

FOLDER as for ``coverage.py``. Straight legs are laid at random on known ground of each fine model and
screened on copies made coarser, over 20 m. Two truths, both from the fine model:

ground
    Its steepest slope anywhere on the cells that the leg touches and those around: what the leg's ends
    are said to be for.
line
    The leg's own rule on the fine model: its cells touched and the eight around each.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from tests.benchmarks.coverage import fitted, joined
from tests.real_ground import Fine, Floats, Made, california, coarser, offsets, pairs, slope_over, tyrol

from steybrae.route.touching import cells_touched
from steybrae.terrain.cell_share import roughness_deg
from steybrae.terrain.gradients import index_gradients, plane_gradients
from steybrae.terrain.start_zones import find_start_zones
from steybrae.terrain.uncertainty import slope_interval_deg, slope_uncertainty

BASELINE_M = 20.0
LEGS = 100
"""On each model."""
STATED: dict[str, dict[str, Any]] = {
    "cells alone": {"vertical_sd_m": 0.0, "correlation_m": 20.0},
    "lidar": {"kind": "lidar"},
    "nothing stated": {},
}


@dataclass(frozen=True, eq=False)
class Copy:
    """A coarse copy: gradients and roughness, and of the fine model the steepest slope within each cell."""

    p: Floats
    q: Floats
    rough: Floats
    ground_deg: Floats
    fine_deg: Floats
    cell_m: float
    factor: int
    made: Made

    @property
    def slope_deg(self) -> Floats:
        return np.degrees(np.arctan(np.hypot(self.p, self.q)))

    def ends(self, **stated: Any) -> tuple[Floats, Floats]:
        known = slope_uncertainty("horn", np.diag([self.cell_m, -self.cell_m]), **stated)
        return slope_interval_deg(self.p, self.q, known, self.rough)


def copy_of(fine: Fine, factor: int, made: Made) -> Copy:
    cell_m = factor * fine.cell_m
    heights = coarser(fine.heights_m, factor, made)
    half = max(1, round(BASELINE_M / (2.0 * cell_m)))
    own = index_gradients(heights)
    steps = own if half == 1 else plane_gradients(heights, half, half)
    truth = slope_over(fine.heights_m, fine.cell_m, BASELINE_M)
    steepest = np.full(heights.shape, -np.inf)
    rows, cols = np.indices(heights.shape)
    for row, col in offsets(factor, made):
        j, i = rows * factor + row, cols * factor + col
        inside = (j < truth.shape[0]) & (i < truth.shape[1])
        value = np.full(heights.shape, np.nan)
        value[inside] = truth[j[inside], i[inside]]
        steepest = np.maximum(steepest, value)
    rough = roughness_deg(np.degrees(np.arctan(np.hypot(*own) / cell_m)))
    return Copy(steps[0] / cell_m, -steps[1] / cell_m, rough, steepest, truth, cell_m, factor, made)


def legs_on(copy: Copy, length_m: float, seed: int) -> Iterator[tuple[Any, Any, float]]:
    """Rows and columns of the cells of random legs, and the steepest of the fine model on each line."""
    rng = np.random.default_rng(seed)
    known = np.isfinite(copy.slope_deg) & np.isfinite(copy.rough) & np.isfinite(copy.ground_deg)
    rows, cols = known.shape
    shift = 0.5 if copy.made == "points" and copy.factor % 2 == 0 else 0.0
    length, found, tried = length_m / copy.cell_m, 0, 0
    while found < LEGS and tried < 200_000:
        tried += 1
        turn, col, row = rng.uniform(0.0, (2.0 * np.pi, cols, rows))
        ends = np.array([[col, col + length * np.cos(turn)], [row, row + length * np.sin(turn)]])
        if ends.min() < 2.0 or ends[0].max() > cols - 2.0 or ends[1].max() > rows - 2.0:
            continue
        _, j, i = cells_touched(*ends, np.array([0.0, length]))
        if known[j, i].all():
            found += 1
            _, fine_j, fine_i = cells_touched(*(ends * copy.factor + shift), np.array([0.0, length]))
            yield j, i, float(np.nanmax(copy.fine_deg[fine_j, fine_i]))


def row(fines: list[Fine], factor: int, made: Made, length_m: float) -> str:
    copies = [copy_of(fine, factor, made) for fine in fines]
    every = [pairs(fine, factor, BASELINE_M, made) for fine in fines]
    told: dict[str, list[tuple[float, float, float, float]]] = {}
    blocks = set()
    for k, copy in enumerate(copies):
        ends = {name: copy.ends(**stated) for name, stated in STATED.items()}
        if len(fines) > 1:
            rest = joined([one for j, one in enumerate(every) if j != k])
            off = rest.truth_deg - rest.model_deg
            (a, b), (c, d) = (fitted(sign * off, rest.roughness_deg) for sign in (-1.0, 1.0))
            slope = copy.slope_deg
            ends["left out"] = slope - a - b * copy.rough, slope + c + d * copy.rough
        size = max(1, round(200.0 / copy.cell_m))
        for j, i, line_deg in legs_on(copy, length_m, k):
            blocks |= {(k, *at) for at in zip((j // size).ravel(), (i // size).ravel(), strict=True)}
            ground_deg = float(copy.ground_deg[j, i].max())
            for name, (low, high) in ends.items():
                figures = (ground_deg, line_deg, float(low[j, i].max()), float(high[j, i].max()))
                told.setdefault(name, []).append(figures)
    head = f"| {fines[0].name.split('_')[0]} {copies[0].cell_m:g} | {made} |"
    parts = []
    for name in (*STATED, "left out"):
        if name not in told:
            parts.append("-")
            continue
        ground, line, low, high = np.array(told[name]).T
        held = 100.0 * np.mean((low <= ground) & (ground <= high))
        above, below = 100.0 * np.mean(line > high), 100.0 * np.mean(line < low)
        parts.append(f"{held:.1f} ({above:.1f}, {below:.1f}) {np.median(high - low):.1f}")
    legs = len(told["lidar"])
    return f"{head} {' | '.join(parts)} | {legs} | {len(blocks)} |"


def zones(fine: Fine, factor: int) -> str:
    """Areas of start zones and possible ones against the ground of 30 degrees in the fine model."""
    copy = copy_of(fine, factor, "means")
    known = slope_uncertainty("evans", np.diag([copy.cell_m, -copy.cell_m]), kind="lidar")
    own = index_gradients(coarser(fine.heights_m, factor, "means"))
    short = np.degrees(np.arctan(np.hypot(*own) / copy.cell_m))
    found = find_start_zones(copy.slope_deg, short, copy.cell_m**2, known)
    fine_m2 = fine.cell_m**2
    true = fine_m2 * float((copy.fine_deg >= 30.0).sum())
    sure, possible = (float(mask.sum()) * copy.cell_m**2 / true for mask in (found.source, found.possible))
    return f"| {fine.name} {copy.cell_m:g} | {true / 1e6:.2f} | {sure:.2f} | {possible:.2f} |"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--terrain", type=Path, required=True)
    folder = options.parse_args().terrain
    alps, hills = tyrol(folder), [california(folder)]
    for fines, factors, length_m in ((alps, (2, 4, 6), 500.0), (hills, (2, 5, 10), 200.0)):
        for factor in factors:
            for made in ("means", "points"):
                print(row(fines, factor, made, length_m), flush=True)
    for fine, factor in (*((fine, 2) for fine in alps), *((fine, 4) for fine in alps), (hills[0], 10)):
        print(zones(fine, factor), flush=True)


if __name__ == "__main__":
    main()
