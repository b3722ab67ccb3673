"""How much ground the ends of whole legs hold, and how much of it possible start zones claim.

    PYTHONPATH=src:. python tests/benchmarks/leg_coverage.py --terrain FOLDER

FOLDER as for ``coverage.py``. Straight legs are laid at random on known ground of each fine model and
screened on copies made coarser. Three truths, all from the fine model over the same baseline:

line
    The leg's own rule on the fine model: its cells touched and the eight around each.
middle
    The cells touched alone: steepest piece whose middle lies on the line.
ground
    Anywhere on the coarse cells that the leg touches and those around.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.real_ground import Fine, Floats, Made, california, coarser, offsets, slope_over, tyrol

from steybrae.route.touching import ON, cells_touched
from steybrae.terrain.cell_share import cell_share_deg, roughness_deg
from steybrae.terrain.gradients import index_gradients, plane_gradients
from steybrae.terrain.start_zones import find_start_zones
from steybrae.terrain.uncertainty import line_ends_deg, slope_uncertainty

LEGS = 200
"""On each model."""
MADE: tuple[Made, ...] = "means", "points"
TIMES = np.arange(0.0, 2.51, 0.05)
"""Shares of a cell's own that are tried where they are fitted anew."""
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
    baseline_m: float
    factor: int
    made: Made

    @property
    def slope_deg(self) -> Floats:
        return np.degrees(np.arctan(np.hypot(self.p, self.q)))

    @property
    def over(self) -> dict[str, float]:
        return {"baseline_m": self.baseline_m}

    def ends(self, **stated: Any) -> tuple[Floats, Floats]:
        known = slope_uncertainty("horn", np.diag([self.cell_m, -self.cell_m]), **stated, **self.over)
        return line_ends_deg(self.p, self.q, known, self.rough)[0]


@dataclass(frozen=True, eq=False)
class Leg:
    """Cells of a leg, which of them it touches, and the truths: line, middle, ground, degrees."""

    row: NDArray[np.intp]
    col: NDArray[np.intp]
    own: NDArray[np.bool_]
    truth_deg: tuple[float, float, float]

    def ends(self, low: Floats, high: Floats) -> tuple[float, float]:
        return float(low[self.row, self.col][self.own].max()), float(high[self.row, self.col].max())


def copy_of(fine: Fine, factor: int, made: Made, baseline_m: float = 20.0) -> Copy:
    cell_m = factor * fine.cell_m
    heights = coarser(fine.heights_m, factor, made)
    half = max(1, round(baseline_m / (2.0 * cell_m)))
    own = index_gradients(heights)
    steps = own if half == 1 else plane_gradients(heights, half, half)
    truth = slope_over(fine.heights_m, fine.cell_m, baseline_m)
    steepest = np.full(heights.shape, -np.inf)
    rows, cols = np.indices(heights.shape)
    for row, col in offsets(factor, made):
        j, i = rows * factor + row, cols * factor + col
        inside = (j < truth.shape[0]) & (i < truth.shape[1])
        value = np.full(heights.shape, np.nan)
        value[inside] = truth[j[inside], i[inside]]
        steepest = np.maximum(steepest, value)
    rough = roughness_deg(np.degrees(np.arctan(np.hypot(*own) / cell_m)))
    sizes = cell_m, baseline_m, factor, made
    return Copy(steps[0] / cell_m, -steps[1] / cell_m, rough, steepest, truth, *sizes)


def legs_on(copy: Copy, length_m: float, seed: int) -> Iterator[Leg]:
    """Random legs on known ground."""
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
            _, *fine = cells_touched(*(ends * copy.factor + shift), np.array([0.0, length]))
            near = copy.fine_deg[fine[0], fine[1]]
            truths = np.nanmax(near), np.nanmax(near[:, ON]), copy.ground_deg[j, i].max()
            cells, first = np.unique(j * cols + i, return_index=True)
            own = np.isin(cells, (j * cols + i)[:, ON])
            yield Leg(j.flat[first], i.flat[first], own, tuple(map(float, truths)))


def asked(copy: Copy, leg: Leg) -> tuple[float, float]:
    """Least shares of a cell's own, down and up, with which the ends hold the middle and the line."""
    slope, rough = copy.slope_deg[leg.row, leg.col], copy.rough[leg.row, leg.col]
    down, up = cell_share_deg(slope, rough, copy.cell_m, copy.baseline_m)
    lows = (slope - TIMES[:, None] * down)[:, leg.own].max(axis=1)
    highs = (slope + TIMES[:, None] * up).max(axis=1)
    line_deg, middle_deg, _ = leg.truth_deg
    first = np.searchsorted(-lows, -middle_deg), np.searchsorted(highs, line_deg)
    return tuple(float(TIMES[min(k, len(TIMES) - 1)]) for k in first)  # type: ignore[return-value]


def left_out(shares: list[Floats]) -> str:
    """Shares that hold 97.5 % on either side of four slopes, and what they hold of the fifth."""
    fitted, held = [], []
    for k, test in enumerate(shares):
        rest = np.concatenate([one for j, one in enumerate(shares) if j != k])
        fitted.append(np.quantile(rest, 0.975, axis=0, method="higher"))
        held.append(100.0 * (test <= fitted[-1] + 1e-9).all(axis=1).mean())
    (down, up), (most_down, most_up) = np.min(fitted, axis=0), np.max(fitted, axis=0)
    return f"{down:.2f}-{most_down:.2f}, {up:.2f}-{most_up:.2f}: {min(held):.1f}"


def row(fines: list[Fine], factor: int, baseline_m: float, made: Made, length_m: float) -> str:
    copies = [copy_of(fine, factor, made, baseline_m) for fine in fines]
    told: dict[str, list[list[tuple[float, ...]]]] = {name: [] for name in STATED}
    blocks, shares = set(), []
    for k, copy in enumerate(copies):
        legs = list(legs_on(copy, length_m, k))
        size = max(1, round(200.0 / copy.cell_m))
        blocks |= {(k, *at) for leg in legs for at in zip(leg.row // size, leg.col // size, strict=True)}
        shares.append(np.array([asked(copy, leg) for leg in legs]))
        for name, stated in STATED.items():
            ends = copy.ends(**stated)
            told[name].append([(*leg.truth_deg, *leg.ends(*ends)) for leg in legs])
    parts = [f"{fines[0].name.split('_')[0]} {copies[0].cell_m:g} / {baseline_m:g}", made, f"{length_m:g}"]
    for name in STATED:
        each = [_held(np.array(one)) for one in told[name]]
        line, above, below, ground, width = _held(np.concatenate(told[name]))
        worst = min(one[0] for one in each)
        parts.append(f"{line:.1f}, {worst:.1f} ({above:.1f}, {below:.1f}) {ground:.1f}; {width:.1f}")
    parts += [left_out(shares) if len(fines) > 1 else "-", str(sum(map(len, shares))), str(len(blocks))]
    return f"| {' | '.join(parts)} |"


def _held(told: Floats) -> tuple[float, ...]:
    """Shares of legs, %: line held, line above, middle below, ground held; median width, degrees."""
    line, middle, ground, low, high = told.T
    shares = (low <= line) & (line <= high), line > high, middle < low, (low <= ground) & (ground <= high)
    return *(100.0 * float(one.mean()) for one in shares), float(np.median(high - low))


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
    todo: list[tuple[list[Fine], tuple[tuple[int, float], ...], tuple[float, ...]]] = [
        (alps, ((2, 20.0), (2, 40.0), (3, 20.0), (4, 20.0), (6, 20.0), (8, 20.0)), (100.0, 500.0, 1500.0)),
        (hills, ((2, 20.0), (5, 20.0), (10, 20.0), (20, 20.0), (30, 20.0)), (50.0, 200.0)),
    ]
    for fines, factors, lengths_m in todo:
        for (factor, baseline_m), made, length_m in product(factors, MADE, lengths_m):
            print(row(fines, factor, baseline_m, made, length_m), flush=True)
    for fine, factor in (*((fine, 2) for fine in alps), *((fine, 4) for fine in alps), (hills[0], 10)):
        print(zones(fine, factor), flush=True)


if __name__ == "__main__":
    main()
