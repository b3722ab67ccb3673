"""How much ground the cells' share of the 95 % interval holds, on copies of fine models.

    PYTHONPATH=src:. python tests/benchmarks/coverage.py --terrain FOLDER

FOLDER has tyrol_1_5m.tif to tyrol_5_5m.tif and california_1m.tif. Truth is the slope of the plane of
least squares over the baseline in the fine model, at every fine cell within a coarse one. ``left out``:
ends of the same form fitted anew on four of the slopes hold this much of the fifth, the worst of five.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from tests.real_ground import Fine, Floats, Made, Pairs, california, pairs, tyrol

from steybrae.terrain.cell_share import cell_share_deg

CLASSES_DEG = (0.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0, 90.0)
TYROL = ((2, 10), (2, 20), (4, 20), (6, 20), (8, 20), (6, 30), (2, 50), (4, 50), (6, 50), (8, 50))
CALIFORNIA = ((2, 4), (2, 20), (5, 10), (5, 20), (10, 20), (20, 20), (30, 20), (40, 20), (10, 50))
LEAST_PAIRS = 200
"""Fewer pairs in a class tell nothing."""


def held(one: Pairs, cell_m: float, baseline_m: float) -> tuple[np.ndarray, Floats]:
    """Whether the truth lies within the ends, and their distance."""
    down, up = cell_share_deg(one.model_deg, one.roughness_deg, cell_m, baseline_m)
    inside = (one.truth_deg >= one.model_deg - down) & (one.truth_deg <= one.model_deg + up)
    return inside, down + up


def joined(many: list[Pairs]) -> Pairs:
    p, q = (np.concatenate([one.gradient[k] for one in many]) for k in (0, 1))
    model, truth, rough = (
        np.concatenate([getattr(one, name) for one in many])
        for name in ("model_deg", "truth_deg", "roughness_deg")
    )
    block = np.concatenate([one.block + k * 100_000_000 for k, one in enumerate(many)])
    return Pairs(model, truth, rough, (p, q), block)


def left_out(many: list[Pairs]) -> float:
    """Least share held of a slope by ``const + k A8``, each side its own, fitted on the others."""
    worst = 1.0
    for k, test in enumerate(many):
        rest = joined([one for j, one in enumerate(many) if j != k])
        ends = [fitted(sign * (rest.truth_deg - rest.model_deg), rest.roughness_deg) for sign in (-1.0, 1.0)]
        off = test.truth_deg - test.model_deg
        (a, b), (c, d) = ends
        inside = (-off <= a + b * test.roughness_deg) & (off <= c + d * test.roughness_deg)
        worst = min(worst, float(inside.mean()))
    return worst


def fitted(off: Floats, rough: Floats) -> tuple[float, float]:
    """Constant and factor of the 97.5 % line with the least pinball loss."""
    step = max(1, len(off) // 100_000)
    off, rough = off[::step], rough[::step]
    found = []
    for k in np.arange(0.0, 3.01, 0.1):
        const = float(np.quantile(off - k * rough, 0.975))
        rest = off - const - k * rough
        found.append((float(np.where(rest > 0.0, 0.975 * rest, -0.025 * rest).mean()), const, float(k)))
    return min(found)[1:]


def shares(inside: np.ndarray, number: np.ndarray, count: int) -> str:
    found = [inside[number == k] for k in range(count)]
    return " ".join("-" if len(one) < LEAST_PAIRS else f"{100 * one.mean():.0f}" for one in found)


def row(fines: list[Fine], factor: int, baseline_m: float, made: Made) -> str:
    many = [pairs(one, factor, baseline_m, made) for one in fines]
    cell_m, every = factor * fines[0].cell_m, joined(many)
    inside, width = held(every, cell_m, baseline_m)
    classes = np.searchsorted(CLASSES_DEG, every.model_deg, side="right") - 1
    fifths = np.searchsorted(np.quantile(every.roughness_deg, [0.2, 0.4, 0.6, 0.8]), every.roughness_deg)
    each = " ".join(f"{100 * held(one, cell_m, baseline_m)[0].mean():.1f}" for one in many)
    out = f"{100 * left_out(many):.1f}" if len(many) > 1 else "-"
    cells = (
        f"{fines[0].name.split('_')[0]} {cell_m:g} / {baseline_m:g}",
        made,
        f"{100 * inside.mean():.1f}",
        each,
        shares(inside, classes, len(CLASSES_DEG) - 1),
        shares(inside, fifths, 5),
        f"{np.median(width):.1f}",
        out,
        str(len(np.unique(every.block))),
    )
    return f"| {' | '.join(cells)} |"


def rows(folder: Path) -> Iterator[str]:
    heads = "cell / baseline, m", "made by", "held, %", "each slope", "by class", "by fifth"
    yield f"| {' | '.join(heads)} | width | left out | blocks |"
    yield "|---|---|---|---|---|---|---|---|---|"
    for fines, todo in ((tyrol(folder), TYROL), ([california(folder)], CALIFORNIA)):
        for factor, baseline_m in todo:
            for made in ("means", "points"):
                yield row(fines, factor, baseline_m, made)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--terrain", type=Path, required=True)
    for line in rows(options.parse_args().terrain):
        print(line, flush=True)


if __name__ == "__main__":
    main()
