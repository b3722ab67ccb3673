"""Counting the cells of a raster by band, facing and elevation belt, and two engines over it, block by block.

Areas are summed in whole square millimetres, so that the sum does not depend on the order in
which blocks come in.

The direction is told without an arc tangent: a downhill vector lies clockwise of the edge between
two sectors or not, and four such edges name one of eight sectors. The gradient of each edge is
that of the grid in the middle of a piece of rows, whose north turns by less than 0.1 degree there.

Two engines are compared as `steybrae.screening.cross_check` does along a line, without keeping every cell:
sizes of the differences go into classes a fiftieth of a decade wide (5 %), and the worst places of each strip
are kept.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.screening.cross_check import MOST_PLACES, PERCENTILES, CrossCheck, WorstPlace
from steybrae.terrain.attributes import SECTORS, slope_deg, slope_field
from steybrae.terrain.dem import Array, Dem
from steybrae.terrain.engines import richdem_gradients
from steybrae.terrain.jacobian import ground_gradients, jacobian_field

Cells = NDArray[Any]

STATES: Final = len(SECTORS)
"""States of a cell: how many of the edges between sectors it has passed, and 4 more beyond the last."""

_STATE_SECTORS: Final = ("N", "NE", "E", "SE", "NW", "W", "SW", "S")

LEVEL: Final = 1
"""Code of level ground, which has no sector; 0 is unknown, and band k has k + 1."""

_EDGES: Final = tuple(
    (math.sin(math.radians(deg)), math.cos(math.radians(deg))) for deg in (22.5, 67.5, 112.5, 157.5)
)
"""Edges between sectors, degrees from true north; their opposites are the other four."""

MM2_PER_M2: Final = 1_000_000

LOWEST_M: Final = -1000.0
HIGHEST_M: Final = 9000.0
"""Heights below and above are counted in the outermost belts, metres: no ground lies there."""

NO_STATE: Final = -1

MM2_PER_KM2: Final = 10**12

Key = tuple[int, int, int]
"""Of the table: elevation belt, band (0 unknown), state. Of ground overhead: band (0 unknown), number of
``overhead.tif``, value of ``start_zones.tif``."""


def state_sector(state: int) -> str | None:
    """Sector of a state; None for `NO_STATE`, level and unknown ground."""
    return None if state == NO_STATE else _STATE_SECTORS[state]


class Tally:
    """Cells and areas by three whole numbers.

    Attributes
    ----------
    cells
        Number of cells of each key.
    area_mm2
        Ground area of each key, whole square millimetres.
    """

    def __init__(self) -> None:
        self.cells: Counter[Key] = Counter()
        self.area_mm2: Counter[Key] = Counter()

    def rows(self) -> list[list[int]]:
        """Everything as whole numbers: the key, cells, area."""
        return [[*key, self.cells[key], self.area_mm2[key]] for key in sorted(self.cells)]

    def add_rows(self, rows: list[list[int]]) -> None:
        """Count what `rows` of another tally gave."""
        for one, two, three, cells, area_mm2 in rows:
            self.cells[one, two, three] += cells
            self.area_mm2[one, two, three] += area_mm2


@dataclass(frozen=True, eq=False)
class Facing:
    """What a piece's cells face and in which belt they lie, before the slope is known.

    `state` is 0 to 7, flat as the height changes are; `belt` counts from `first_belt`, the lowest
    of the piece's `belts`, and is None where all lie in that one.
    """

    state: Cells
    belt: Cells | None
    first_belt: int
    belts: int


class Pieces:
    """Counts the cells of a block, piece by piece, by bands and by elevation belts `belt_m` high.

    Heights are in steps of `height_step_m`; `height_offset_m` is that of step 0.
    """

    def __init__(self, bands: int, belt_m: float, height_step_m: float, height_offset_m: float) -> None:
        self._counts: dict[int, NDArray[np.int64]] = {}
        self._codes = (bands + 2) * STATES
        self._belt_m = belt_m
        self._step_m, self._offset_m = height_step_m, height_offset_m

    def of(self, along: Cells, down: Cells, z: Cells, ends: tuple[float, float], jacobian: Array) -> Facing:
        """States and belts of a piece; see `steybrae.raster.kernel`.

        Parameters
        ----------
        along, down
            Height changes to the right and down, of one common weight, flat.
        z
            Heights of the piece and one ring more.
        ends
            The lowest and the highest of them; not finite where one is unknown.
        jacobian
            In its middle.
        """
        (a, b), (c, d) = jacobian.tolist()
        turned = math.copysign(1.0, self._step_m * (a * d - b * c))
        state, other = np.empty(len(along), np.uint8), np.empty_like(along)
        flag = np.empty(len(along), bool)
        passed = flag.view(np.uint8)
        # The last edge first, for its 5 is made in place.
        for edge, (sin, cos) in enumerate(reversed(_EDGES)):
            # D_E cos A - D_N sin A with D = -(p, q), in u and v; the determinant only has a sign.
            alpha, beta = -turned * (d * cos + b * sin), turned * (c * cos + a * sin)
            _not_below(along, down, alpha, beta, other, flag)
            if edge == 0:
                np.multiply(passed, np.uint8(4), out=state)
            else:
                np.add(state, passed, out=state)
        belt, first, belts = self._belts(z, ends)
        return Facing(state, belt, first, belts)

    def _belts(self, z: Cells, ends: tuple[float, float]) -> tuple[Cells | None, int, int]:
        """Belt of each cell from the lowest belt of the piece, which one that is, and how many."""
        low, high = ends
        if not (math.isfinite(low) and math.isfinite(high)):
            low, high = _known_ends(z)
            if low > high:
                return None, 0, 1
        metres = sorted(v * self._step_m + self._offset_m for v in (low, high))
        # Heights that no ground has must not make a belt each.
        first, last = (math.floor(min(max(end, LOWEST_M), HIGHEST_M) / self._belt_m) for end in metres)
        if first == last:
            return None, first, 1
        # The cell of the first window is one row and one column on.
        own = z.reshape(-1)[z.shape[1] + 1 : z.size - z.shape[1] + 1]
        above = np.greater_equal if self._step_m > 0 else np.less_equal
        edges = ((k * self._belt_m - self._offset_m) / self._step_m for k in range(first + 1, last + 1))
        belt = above(own, z.dtype.type(next(edges))).view(np.uint8)
        flag = np.empty(own.size, bool)
        for edge in edges:
            above(own, z.dtype.type(edge), out=flag)
            np.add(belt, flag.view(np.uint8), out=belt)
        return belt, first, last - first + 1

    def add(
        self, facing: Facing, bands: Cells, sloping: Cells, count: int, cols: int, area_m2: Array
    ) -> None:
        """Count a piece of so many rows and columns of cells.

        `bands` are flat, 0 unknown; `sloping`, flat too, whether cells are steep enough to face a
        way: all bands but the gentlest are. `area_m2` is of a cell: one number, or one for each row
        or column or cell.
        """
        codes = facing.belts * self._codes
        code = np.add(sloping.view(np.uint8), bands)
        if codes > 256:
            code = code.astype(np.uint16)
        np.multiply(code, code.dtype.type(STATES), out=code)
        np.add(code, facing.state, out=code)
        if facing.belt is not None:
            np.add(code, np.multiply(facing.belt, code.dtype.type(self._codes), dtype=code.dtype), out=code)
        # The last two columns of each row are no cells: they are counted as unknown, then taken off.
        code.reshape(count, -1)[:, cols:] = 0
        counts = _counts(code, codes)
        counts[0] -= 2 * count
        mm2 = np.round(counts * (float(np.mean(area_m2)) * MM2_PER_M2)).astype(np.int64)
        for k in range(facing.belts):
            kept = self._counts.setdefault(facing.first_belt + k, np.zeros((2, self._codes), np.int64))
            part = slice(k * self._codes, (k + 1) * self._codes)
            kept[0] += counts[part]
            kept[1] += mm2[part]

    def tally(self) -> Tally:
        """All that was counted; unknown cells have neither belt nor state."""
        found = Tally()
        for belt, counts in self._counts.items():
            codes = np.flatnonzero(counts[0])
            for code, cells, area_mm2 in zip(codes.tolist(), *counts[:, codes].tolist(), strict=True):
                value, state = divmod(code, STATES)
                key = (belt, value - 1, state)
                if value <= LEVEL:
                    key = (belt, 1, NO_STATE) if value else (0, 0, NO_STATE)
                found.cells[key] += cells
                found.area_mm2[key] += area_mm2
        return found


def _counts(code: Cells, codes: int) -> NDArray[np.int64]:
    """How often each code is there; of bytes two at once, for each number costs the same to count."""
    if code.dtype != np.uint8 or code.size % 2:
        return np.bincount(code, minlength=codes)
    pairs = np.bincount(code.view(np.uint16), minlength=256 * codes).reshape(codes, 256)
    found: NDArray[np.int64] = pairs.sum(axis=1) + pairs[:, :codes].sum(axis=0)
    return found


def _known_ends(z: Cells) -> tuple[float, float]:
    """Lowest and highest of the finite numbers; the lowest above the highest where there are none."""
    low, high = float(np.fmin.reduce(z, axis=None)), float(np.fmax.reduce(z, axis=None))
    if math.isfinite(low) and math.isfinite(high):
        return low, high
    known = np.isfinite(z)
    return float(z.min(initial=np.inf, where=known)), float(z.max(initial=-np.inf, where=known))


def _not_below(along: Cells, down: Cells, alpha: float, beta: float, other: Cells, out: Cells) -> None:
    """Where ``alpha u + beta v >= 0``, with one multiplication a cell."""
    left, right, ahead, across = along, down, alpha, beta
    if abs(alpha) < abs(beta):
        left, right, ahead, across = down, along, beta, alpha
    np.multiply(right, right.dtype.type(-across / ahead), out=other)
    (np.greater_equal if ahead > 0 else np.less_equal)(left, other, out=out)


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
