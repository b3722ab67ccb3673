"""Ground that could start a slide: connected, steep over about 20 m, not too small.

A cell is *in range* where its slope over the baseline lies from the lower threshold to 55 degrees;
for the lower one the higher of its slope and the middle of its 95 % interval counts, for coarse
cells read low. It is *possibly* in range where the upper end of its interval reaches the lower
threshold. Cells that touch by a side or a corner form one zone, and one possible zone. Zones below
a least area are left out, but never one that touches unknown ground, for nobody knows how far it
goes on. Ground steeper than 55 degrees belongs to the zone that it touches, is no start zone by
itself, and is always a *source* of what may come down.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import ModelError
from steybrae.frozen import dataclass
from steybrae.ranges import NotNegative, Positive, Range
from steybrae.terrain.attributes import BASELINE_M
from steybrae.terrain.cell_share import known_roughness_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import spread
from steybrae.terrain.uncertainty import SlopeUncertainty, high_end_below, least_ends_deg

START_LOW_DEG: Final = 30.0
"""Least slope of a slab's start zone, degrees (Swiss leaflet "Achtung Lawinen!": slabs need 30
and more). In a set of more than 1000 Swiss slabs 96 % lay between 30 and 50 (encyclopedia of the
US National Avalanche Center)."""

START_HIGH_DEG: Final = 55.0
"""Greatest slope of a slab's start zone, degrees (the greatest of 205 slabs of Perla (1977),
Can. Geotech. J. 14; that figure is from memory). Steeper ground sheds snow as it falls."""

LEAST_AREA_M2: Final = 400.0
"""Least area of a zone, square metres on the map: the piece of 20 m by 20 m that decides (Swiss
leaflet "Achtung Lawinen!"); that it should be the least area is our choice."""

NOISE_DEG: Final = 1e-3
"""What rounding moves a slope by over 20 m, degrees: heights of single precision up to 4000 m, 0.00024 m
apart, half of it. Without this a plane of 30 degrees is a zone in rags, or none."""

Mask = NDArray[np.bool_]
_Cell = TypeVar("_Cell", np.bool_, np.int32)


@dataclass(frozen=True)
class StartRules:
    """What counts as a start zone, before the model's uncertainty comes off its lower end.

    Attributes
    ----------
    low_deg
        Least slope, degrees.
    high_deg
        Greatest slope, degrees; steeper ground is no start zone, and always a source overhead.
    least_area_m2
        Least area of a zone on the map, square metres.
    baseline_m
        Over what its slopes are taken, metres.

    Raises
    ------
    ModelError
        A range that is none, or an area below 0.
    """

    low_deg: Annotated[float, Range(0, 90, low_open=True)] = START_LOW_DEG
    high_deg: Annotated[float, Range(0, 90, high_open=True)] = START_HIGH_DEG
    least_area_m2: NotNegative = LEAST_AREA_M2
    baseline_m: Positive = BASELINE_M

    def __post_init__(self) -> None:
        """Refuse rules that no ground could meet."""
        if not (0.0 < self.low_deg < self.high_deg < 90.0):
            message = (
                "Start zones should lie between two slopes that rise from 0 to below 90 degrees; "
                f"got {self.low_deg:g} to {self.high_deg:g}. Give the lower first."
            )
            raise ModelError(message)
        if not (self.least_area_m2 >= 0.0 and self.baseline_m > 0.0):
            message = (
                "The least area of a start zone should be 0 or more and its baseline more than 0; "
                f"got {self.least_area_m2:g} square metres and {self.baseline_m:g} m. Give others."
            )
            raise ModelError(message)


@dataclass(frozen=True, eq=False)
class StartZones:
    """Start zones of a window; arrays ``[row, col]``, read-only.

    Attributes
    ----------
    zone
        Number of the zone of each cell, from 1; 0 outside of zones.
    in_range
        Cells of zones that are not too steep to be one.
    source
        Cells that snow may come from: zones, and all ground steeper than the range.
    possible
        Cells that it may come from within what is known of them: possible zones and all sources.
    unknown
        Cells whose slope is not known: any of them may be a source.
    area_m2
        Area of each zone on the map, by ``number - 1``.
    possible_from_deg
        Slope from which ground of middling roughness is a possible zone; rougher ground from less.
    rules
        As asked for.
    """

    zone: NDArray[np.int32]
    in_range: Mask
    source: Mask
    possible: Mask
    unknown: Mask
    area_m2: Array
    possible_from_deg: float
    rules: StartRules

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for array in (self.zone, self.in_range, self.source, self.possible, self.unknown, self.area_m2):
            array.flags.writeable = False

    def within(self, shape: tuple[int, int], box: tuple[slice, slice]) -> StartZones:
        """Put them into a larger window, whose ground is unknown but in a box."""
        if self.zone.shape == shape:
            return self

        def put(part: NDArray[_Cell], outside: bool) -> NDArray[_Cell]:
            out = np.full(shape, outside, dtype=part.dtype)
            out[box] = part
            return out

        return replace(
            self,
            zone=put(self.zone, False),
            in_range=put(self.in_range, False),
            source=put(self.source, False),
            possible=put(self.possible, False),
            unknown=put(self.unknown, True),
        )


def start_from_deg(known: SlopeUncertainty, low_deg: float = START_LOW_DEG) -> float:
    """Least slope whose 95 % high end reaches a threshold, on ground of middling roughness.

    ``high(s) = low_deg`` solved for s by halving; 0 where even level ground could reach it.

    Parameters
    ----------
    known
        How well the model's slopes are known.
    low_deg
        Threshold, degrees.

    Returns
    -------
    float
        Degrees, at most `low_deg`.
    """
    least, most = 0.0, low_deg
    for _ in range(50):
        middle = (least + most) / 2.0
        high = least_ends_deg(middle, known, known.middling_deg)[1]
        least, most = (least, middle) if high >= low_deg else (middle, most)
    return least


def find_start_zones(
    slope_deg: Array,
    short_deg: Array,
    cell_area_m2: float,
    known: SlopeUncertainty,
    rules: StartRules | None = None,
) -> StartZones:
    """Find the start zones of a window.

    Parameters
    ----------
    slope_deg
        Slope of each cell over the rules' baseline, ``[row, col]``, degrees; NaN unknown.
    short_deg
        The same over two cells, for the roughness.
    cell_area_m2
        Area of a cell on the map, square metres.
    known
        How well the slopes are known.
    rules
        What counts; the defaults of `StartRules`.
    """
    rules = rules or StartRules()
    unknown = np.isnan(slope_deg)
    roughness = known_roughness_deg(short_deg)
    steep, reaches = _steep(slope_deg, roughness, known, rules.low_deg - NOISE_DEG)
    too_steep = slope_deg > rules.high_deg + NOISE_DEG
    rim = _beside(unknown)
    zone, area = _zones(steep, rim, cell_area_m2, rules)
    possible, _ = _zones(reaches, rim, cell_area_m2, rules)
    return StartZones(
        zone,
        (zone > 0) & ~too_steep,
        (zone > 0) | too_steep,
        (possible > 0) | (zone > 0) | too_steep,
        unknown,
        area,
        start_from_deg(known, rules.low_deg),
        rules,
    )


def _steep(slope_deg: Array, roughness: Array, known: SlopeUncertainty, low_deg: float) -> tuple[Mask, Mask]:
    """Ground as steep by the higher of its slope and the middle of its interval, and by its upper end."""
    steep = slope_deg >= low_deg
    reaches = steep.copy()
    # What is as steep is so by its ends too, and by far the most of the rest cannot be.
    least, per_rough = high_end_below(known)
    beyond = np.multiply(roughness, per_rough)
    beyond += slope_deg
    # Where no neighbour is known nothing is known of the ends: any of it may be steep.
    ask = np.flatnonzero(~(beyond < low_deg - least) & (slope_deg < low_deg))
    slope = slope_deg.reshape(-1)[ask]
    low, high = least_ends_deg(slope, known, roughness.reshape(-1)[ask])
    reaches.reshape(-1)[ask] = (high >= low_deg) | np.isnan(high)
    steep.reshape(-1)[ask] = (low + high) / 2.0 >= low_deg
    return steep, reaches


def _zones(steep: Mask, rim: Mask, cell_area_m2: float, rules: StartRules) -> tuple[NDArray[np.int32], Array]:
    """Numbers of the connected parts that are large enough or touch unknown ground, and their areas."""
    zone, count = connected(steep)
    area = np.bincount(zone[steep], minlength=count + 1)[1:].astype(np.float64) * cell_area_m2
    keep = area >= rules.least_area_m2
    keep[zone[rim & steep] - 1] = True
    number = np.concatenate(([0], np.where(keep, np.cumsum(keep), 0))).astype(np.int32)
    return number[zone], area[keep]


def _beside(mask: Mask) -> Mask:
    """Cells of a mask and those that touch it by a side or a corner."""
    tall = mask.copy()
    tall[1:] |= mask[:-1]
    tall[:-1] |= mask[1:]
    wide = tall.copy()
    wide[:, 1:] |= tall[:, :-1]
    wide[:, :-1] |= tall[:, 1:]
    return wide


def connected(mask: Mask) -> tuple[NDArray[np.int32], int]:
    """Give every connected part of a mask a number, from 1 in the order of the first cell; and how many.

    Cells touch by a side or a corner; 0 is outside. Runs of cells along the rows are joined to the
    runs that they touch in the next row, and every run takes the least number among those joined to
    it until nothing changes.
    """
    rows, cols = mask.shape
    width = cols + 2
    edges = np.zeros((rows, width), dtype=np.int8)
    edges[:, 1:-1] = mask
    step = np.diff(edges, axis=1)
    row, first = np.nonzero(step == 1)
    _, end = np.nonzero(step == -1)
    # A run from `first` to before `end` touches one of the next row that begins at or before
    # `end` and ends at or after `first`.
    below_from = np.searchsorted(row * width + end, (row + 1) * width + first, side="left")
    below_to = np.searchsorted(row * width + first, (row + 1) * width + end, side="right")
    upper, lower = spread(below_from, np.maximum(below_to - below_from, 0))
    label = np.arange(len(row))
    while True:
        one, other = label[upper], label[lower]
        apart = one != other
        if not apart.any():
            break
        least = np.minimum(one, other)[apart]
        np.minimum.at(label, one[apart], least)
        np.minimum.at(label, other[apart], least)
        while (label != label[label]).any():
            label = label[label]
    roots, number = np.unique(label, return_inverse=True)
    out = np.zeros(mask.shape, dtype=np.int32)
    out[mask] = np.repeat(number + 1, end - first)
    return out, len(roots)
