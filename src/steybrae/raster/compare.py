"""Two engines over a whole raster: sums that add up block by block.

What `steybrae.screening.cross_check` does along a line, without keeping every cell: sizes of the
differences go into classes a fiftieth of a decade wide (5 %), and the worst places of each strip
are kept.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from typing import Any, Final, Literal

import numpy as np

from steybrae.screening.cross_check import MOST_PLACES, PERCENTILES, CrossCheck, WorstPlace
from steybrae.terrain.attributes import slope_deg, slope_field
from steybrae.terrain.dem import Dem
from steybrae.terrain.engines import richdem_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_field

CLASSES: Final = 50
"""Classes of size in a decade."""

LEAST_DEG: Final = 1e-9
"""Smaller differences are one class, degrees."""

Compared = dict[str, Any]


def compare_block(dem: Dem, corner: tuple[int, int]) -> Compared:
    """Compare our Horn slopes with richdem's on a strip, whose heights have one ring more.

    `corner` is row and column in the model of its first cell inside the ring; only for sorting.
    Plain numbers: ``sizes`` (class, cells), ``only_other``, ``worst`` (both answer) and ``lonely``
    (only the other does): latitude, longitude, own, other. `MissingExtraError` without richdem.
    """
    own = slope_field(dem).slope_deg[1:-1, 1:-1]
    other_steps = richdem_gradients(dem.heights_m)
    other = slope_deg(*ground_gradients(jacobian_field(dem.grid), *other_steps))[1:-1, 1:-1]
    answered = np.isfinite(other)
    both, lonely = answered & np.isfinite(own), answered & ~np.isfinite(own)
    apart = np.abs(own - other)
    sizes = np.ceil(CLASSES * np.log10(np.maximum(apart[both], LEAST_DEG))).astype(int)
    return {
        "corner": list(corner),
        "sizes": [list(pair) for pair in Counter(sizes.tolist()).items()],
        "only_other": int(lonely.sum()),
        "worst": _places(dem, own, other, np.where(both, apart, -1.0)),
        "lonely": _places(dem, own, other, np.where(lonely, other, -1.0)),
    }


def _places(dem: Dem, own: Any, other: Any, rank: Any) -> list[list[float | None]]:
    flat = rank.reshape(-1)
    most = np.argsort(-flat, kind="stable")[:MOST_PLACES]
    rows, cols = np.divmod(most[flat[most] >= 0.0], rank.shape[1])
    lon, lat = dem.grid.to_wgs84(cols + 1.5, rows + 1.5)
    return [
        [float(a), float(o), None if math.isnan(own[j, i]) else float(own[j, i]), float(other[j, i])]
        for a, o, j, i in zip(lat, lon, rows, cols, strict=True)
    ]


def joined(compared: Iterable[Compared]) -> CrossCheck:
    """Join the strips of a raster, in any order.

    Percentiles are those of the upper end of their class: never smaller than they are, at most 5 %
    larger.
    """
    sizes: Counter[int] = Counter()
    only_other = 0
    worst: list[Any] = []
    lonely: list[Any] = []
    for strip in sorted(compared, key=lambda strip: strip["corner"]):
        sizes.update({int(size): int(cells) for size, cells in strip["sizes"]})
        only_other += strip["only_other"]
        worst = sorted([*worst, *strip["worst"]], key=lambda w: -abs(w[2] - w[3]))[:MOST_PLACES]
        lonely = sorted([*lonely, *strip["lonely"]], key=lambda w: -w[3])[:MOST_PLACES]
    cells = sum(sizes.values())
    return CrossCheck(
        engine="own",
        other="richdem",
        cells=cells,
        difference_percentiles_deg={f"{p:g}": _percentile(sizes, cells, p) for p in PERCENTILES if cells},
        only_other_cells=only_other,
        worst=(
            *(_place(place, "arithmetic") for place in worst),
            *(_place(place, "void or edge") for place in lonely),
        ),
    )


def _place(numbers: list[Any], why: Literal["arithmetic", "void or edge"]) -> WorstPlace:
    lat_deg, lon_deg, own_deg, other_deg = numbers
    return WorstPlace(lat_deg, lon_deg, own_deg, other_deg, why)


def _percentile(sizes: Counter[int], cells: int, percent: float) -> float:
    seen = 0
    for size in sorted(sizes):
        seen += sizes[size]
        if seen >= cells * percent / 100.0:
            break
    return float(10.0 ** (size / CLASSES))
