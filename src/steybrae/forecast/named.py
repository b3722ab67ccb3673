"""Which pieces of ground a rating or a problem names.

A piece of ground is named where its slope is at or above a stated one, one of the sectors that it
may face is among the aspects, and one of the heights that it may have is within the bounds:
whatever lies within its uncertainty of a sector or a bound counts on both sides. Absent aspects
and absent heights mean all of them (common practice, no source: the standard does not say).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.forecast.bulletin import TREELINE, Elevation
from steybrae.frozen import dataclass
from steybrae.quantities import shown_slope_deg
from steybrae.ranges import NotNegative
from steybrae.terrain.attributes import SECTORS, Sector
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import true_runs

BOUND_HALF_STEP_M: Final = 50.0
"""A bound is written in hundreds of metres (CAAML v6), so it may be meant half a step, metres,
higher or lower (our reading)."""

TREELINE_HALF_WIDTH_M: Final = 100.0
"""The treeline is a belt: heights this near to the one stated, metres, count as on both sides of it
(our choice)."""

HALF_SECTOR_DEG: Final = 22.5
"""Half of a sector of 45 degrees."""

KEPT_FROM_DEG: Final = 20.0
"""Gentler ground is not kept for matching, degrees: no slope below this can be asked for (our
choice, below the practical lower bound of 25 for dry slabs)."""

HEIGHT_STEP_M: Final = 10.0
"""Heights are kept in steps of this size, metres, rounded outwards (our choice)."""

NEAR_STEP_M: Final = 10.0
"""Distances to ground overhead are kept in steps of this size, metres, rounded down (our choice)."""

ALL_SECTORS: Final = 255


@dataclass(frozen=True, eq=False)
class GroundCells:
    """Ground of one kind along a leg, for matching.

    Attributes
    ----------
    edges_m
        Chainages between the bins of the leg, shape ``(bins + 1,)``.
    unknown
        For each bin whether some of its ground is not known.
    at
        Bin of each piece of ground, shape ``(n,)``; one piece may stand in several bins.
    slope_deg
        Steepest of the pieces that are alike.
    sectors
        Bits of the sectors that it may face, ``1 << index`` in the order N, NE, ... NW.
    low_m, high_m
        Heights between which it lies, its uncertainty included.
    near_m
        How far off the nearest of the pieces that are alike lies, metres, in steps of `NEAR_STEP_M`
        downwards; 0 on the line and in the corridor.
    """

    edges_m: Array
    unknown: NDArray[np.bool_]
    at: NDArray[np.int32]
    slope_deg: Array
    sectors: NDArray[np.uint8]
    low_m: Array
    high_m: Array
    near_m: Array


@dataclass(frozen=True, eq=False)
class LegGrounds:
    """The three grounds of a leg that a bulletin is matched against.

    Attributes
    ----------
    line
        Cells that the line touches, and those around each.
    corridor
        Cells beside it, slopes over the corridor's baseline, and those of the line.
    overhead
        Start zones that look down on it.
    start_from_deg
        Slope from which ground overhead was taken for a start zone's.
    """

    line: GroundCells
    corridor: GroundCells
    overhead: GroundCells
    start_from_deg: float


@dataclass(frozen=True)
class Crossed:
    """How much of a leg has ground that is named.

    Attributes
    ----------
    length_m
        Metres of the leg.
    at_least
        Whether unknown ground may add to it.
    stretches_m
        From and to along the leg.
    sectors
        Those of the named aspects that this ground may face.
    nearest_m
        How far off the nearest of it lies, metres, 0 on the line and in the corridor; None where there
        is none.
    """

    length_m: NotNegative
    at_least: bool
    stretches_m: tuple[tuple[NotNegative, NotNegative], ...]
    sectors: tuple[Sector, ...]
    nearest_m: NotNegative | None = None


def sector_bits(aspect_true_deg: Array, half_width_deg: Array) -> NDArray[np.uint8]:
    """Sectors that ground may face, as bits, never 0.

    Sector ``k`` is among them where the circular distance from ``45 k`` is at most
    ``22.5 + half width`` of the interval of the aspect; where either is NaN, all are.
    """
    centres = 45.0 * np.arange(len(SECTORS))
    away = np.abs((aspect_true_deg[:, None] - centres + 180.0) % 360.0 - 180.0)
    # A hair of room: an aspect on an edge belongs to both sides whatever the rounding.
    out_of = away > HALF_SECTOR_DEG + half_width_deg[:, None] + 1e-9
    bits: NDArray[np.uint8] = (~out_of @ (1 << np.arange(len(SECTORS)))).astype(np.uint8)
    return bits


def sector_names(bits: int) -> tuple[str, ...]:
    """Names of the sectors of bits, clockwise from north."""
    return tuple(name for k, name in enumerate(SECTORS) if bits >> k & 1)


def aspect_bits(aspects: Sequence[str]) -> int:
    """Bits of aspects as a bulletin names them; none, or ones that do not apply, mean all."""
    bits = sum(1 << SECTORS.index(name) for name in set(aspects) if name in SECTORS)
    return bits or ALL_SECTORS


def bound_range_m(elevation: Elevation | None, treeline_m: float | None) -> tuple[float, float]:
    """Least and greatest height that may be meant, metres; infinite where open.

    Each bound is moved outwards by what it may be off; a bound at a treeline that is not known is
    none at all.
    """
    low, high = plain_range_m(elevation, treeline_m)
    if elevation is None:
        return low, high
    off = [
        TREELINE_HALF_WIDTH_M if bound == TREELINE else BOUND_HALF_STEP_M
        for bound in (elevation.lower_bound, elevation.upper_bound)
    ]
    return low - off[0], high + off[1]


def plain_range_m(elevation: Elevation | None, treeline_m: float | None) -> tuple[float, float]:
    """Least and greatest height as written, metres; parameters as for `bound_range_m`.

    A stated treeline beyond the other bound contradicts the bulletin, and is none at all.
    """
    bounds = (None, None) if elevation is None else (elevation.lower_bound, elevation.upper_bound)
    open_m = (-math.inf, math.inf)
    low, high = (
        out
        if bound is None or (bound == TREELINE and treeline_m is None)
        else treeline_m or 0.0
        if bound == TREELINE
        else float(bound)
        for bound, out in zip(bounds, open_m, strict=True)
    )
    contradicts = low > high and TREELINE in bounds
    return plain_range_m(elevation, None) if contradicts else (low, high)


def compact(
    edges_m: Array,
    unknown: NDArray[np.bool_],
    at: NDArray[np.intp],
    slope_deg: Array,
    sectors: NDArray[np.uint8],
    heights_m: tuple[Array, Array],
    least_deg: float = KEPT_FROM_DEG,
    near_m: Array | None = None,
) -> GroundCells:
    """Keep one of all pieces of ground that no bulletin can tell apart: the steepest.

    Heights are rounded outwards, slopes as shown; ground of unknown slope or height, or gentler
    than `least_deg`, is not among them. `near_m` is how far off each piece lies; all are at the
    line where not given.
    """
    shown = shown_slope_deg(slope_deg)
    low = np.floor(heights_m[0] / HEIGHT_STEP_M)
    high = np.ceil(heights_m[1] / HEIGHT_STEP_M)
    with np.errstate(invalid="ignore"):
        keep = np.flatnonzero((shown >= least_deg) & np.isfinite(low) & np.isfinite(high))
    keys = np.stack((at[keep], sectors[keep], low[keep].astype(np.int64), high[keep].astype(np.int64)))
    order = np.lexsort((shown[keep], *keys[::-1]))
    keys, steepest = keys[:, order], shown[keep][order]
    off = np.zeros(len(shown)) if near_m is None else np.floor(near_m / NEAR_STEP_M) * NEAR_STEP_M
    # The last of equal keys is the steepest.
    last = np.append(np.any(np.diff(keys, axis=1) != 0, axis=0), True)[: keys.shape[1]]
    first = np.flatnonzero(np.append(True, last[:-1])) if len(last) else np.empty(0, dtype=np.intp)
    found = GroundCells(
        np.array(edges_m, dtype=np.float64),
        np.array(unknown, dtype=np.bool_),
        keys[0, last].astype(np.int32),
        steepest[last],
        keys[1, last].astype(np.uint8),
        keys[2, last] * HEIGHT_STEP_M,
        keys[3, last] * HEIGHT_STEP_M,
        np.minimum.reduceat(off[keep][order], first) if len(first) else np.empty(0),
    )
    for array in (found.edges_m, found.unknown, found.at, found.slope_deg, found.sectors):
        array.flags.writeable = False
    found.low_m.flags.writeable = found.high_m.flags.writeable = found.near_m.flags.writeable = False
    return found


def join_cells(parts: Sequence[GroundCells]) -> GroundCells:
    """Join the grounds of stretches that follow each other, each with bins of its own."""
    starts = np.cumsum([0] + [len(part.unknown) for part in parts])
    edges = [part.edges_m[:-1] for part in parts] + [parts[-1].edges_m[-1:]]
    return compact(
        np.concatenate(edges),
        np.concatenate([part.unknown for part in parts]),
        np.concatenate([part.at + start for part, start in zip(parts, starts, strict=False)]),
        np.concatenate([part.slope_deg for part in parts]),
        np.concatenate([part.sectors for part in parts]),
        (np.concatenate([part.low_m for part in parts]), np.concatenate([part.high_m for part in parts])),
        near_m=np.concatenate([part.near_m for part in parts]),
    )


def crossed(
    cells: GroundCells, aspects: Sequence[str], range_m: tuple[float, float], least_deg: float
) -> Crossed:
    """Say how much of a leg has ground that is named.

    `aspects` are as a bulletin names them, all if empty; `range_m` is from `bound_range_m`;
    `least_deg` is the least slope, included.
    """
    asked = aspect_bits(aspects)
    named = (
        (cells.slope_deg >= least_deg)
        & ((cells.sectors & np.uint8(asked)) != 0)
        & (cells.high_m >= range_m[0])
        & (cells.low_m <= range_m[1])
    )
    flags = np.zeros(len(cells.unknown), dtype=bool)
    flags[cells.at[named]] = True
    bits = int(np.bitwise_or.reduce(cells.sectors[named], initial=0)) & asked
    return Crossed(
        length_m=float(np.diff(cells.edges_m)[flags].sum()),
        at_least=bool((cells.unknown & ~flags).any()),
        stretches_m=tuple((start, end) for start, end in cells.edges_m[true_runs(flags)].tolist()),
        sectors=sector_names(bits),
        nearest_m=float(cells.near_m[named].min()) if named.any() else None,
    )
