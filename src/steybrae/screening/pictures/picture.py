"""What a picture of a screened line shows, made ready beforehand: data, not code.

``relief`` and ``profile`` make it; a result holds it; ``show`` draws it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.terrain.dem import Array, Grid

UNKNOWN: Final = -1
"""Stands for a band where the ground is unknown."""


@dataclass(frozen=True, eq=False)
class Profile:
    """Along the whole line; edges and heights ``(n + 1,)``, the others ``(n,)``.

    Attributes
    ----------
    edges_m
        Chainage from the start of the line, rising.
    elevation_m
        At the edges; NaN unknown.
    slope_deg
        Steepest point of a bin, its leg's steepest place included; NaN where any is unknown.
    slope_low_deg, slope_high_deg
        95 % interval of it; NaN unknown.
    corridor_deg
        Steepest known across the corridor; NaN where none is.
    band
        Position in the bands of `slope_deg`, or `UNKNOWN`.
    turns_m
        Chainage of every turn point, the ends included.
    steepest_m
        Chainage of the steepest place of each leg; NaN on a leg wholly unknown.
    """

    edges_m: Array
    elevation_m: Array
    slope_deg: Array
    slope_low_deg: Array
    slope_high_deg: Array
    corridor_deg: Array
    band: NDArray[np.intp]
    turns_m: Array
    steepest_m: Array

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for array in vars(self).values():
            array.flags.writeable = False


@dataclass(frozen=True)
class Contours:
    """Heights at which contours are drawn.

    Attributes
    ----------
    interval_m
        Between neighbours.
    every
        1 where that is the interval of the user's map or ours; n where only each n-th line of
        the user's map is drawn, for want of room.
    levels_m, index_levels_m
        All of them; those that are heavier and labelled.
    """

    interval_m: float
    every: int
    levels_m: tuple[float, ...]
    index_levels_m: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class LegOnMap:
    """A leg in the CRS of the model.

    Attributes
    ----------
    number
        Of the leg.
    x, y
        Its points, arrays ``(n,)``.
    middle
        Half-way along it.
    steepest
        Where the steepest cell lies that it touches; None on a leg wholly unknown.
    """

    number: int
    x: Array
    y: Array
    middle: tuple[float, float]
    steepest: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class LineOnMap:
    """A line beside the main one in the CRS of the model: its points ``(n,)``, whether it is a way off."""

    name: str
    x: Array
    y: Array
    way_off: bool


@dataclass(frozen=True)
class PlaceOnMap:
    """A place that matters: its letter, with its figure where it is told at length, at its spot.

    Where the start zone over it makes it a place told at length, that is `source`, which may lie
    off the map; both are in the CRS of the model.
    """

    text: str
    at: tuple[float, float]
    source: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class ZonesOnMap:
    """Cells that snow may come from, ``[row, col]`` on `grid`."""

    grid: Grid
    source: NDArray[np.bool_]

    def __post_init__(self) -> None:
        """Make the array read-only."""
        self.source.flags.writeable = False


@dataclass(frozen=True, eq=False)
class Relief:
    """The ground round a line for a picture; arrays ``[row, col]`` on `grid`, NaN unknown.

    Attributes
    ----------
    grid
        Of the picture cells; some may lie outside the model.
    heights_m
        One height in each.
    slope_deg
        Steepest slope in each, over the baseline or two cells.
    light
        -1 turned away from the light to 1 facing it, 0 level; the same on all steep ground.
    cells, thinned
        Side of a picture cell in cells of what was read; and of that in cells of the model, 1
        where every height was used.
    extent
        ``x0, x1, y0, y1`` of the map in the CRS.
    unit_m
        Ground metres in one CRS unit along x and along y, at the middle of the map.
    grid_north_true_deg
        Direction of grid north there, clockwise from true north: the convergence.
    crs_name, projected
        Of the model; whether its units are lengths.
    map_mm, scale_denominator
        Size on paper, and 1 mm on paper in ground millimetres at the middle of the map.
    contours
        Their heights.
    corridor_grid, beyond_corridor_m
        A finer grid, and ground distance from each of its cell centres to the outline of the
        corridor, positive outside.
    legs
        The line.
    zones
        Start zones and steeper ground; None where the map has no room for them.
    places
        The places that matter.
    profile
        Along the line.
    """

    grid: Grid
    heights_m: Array
    slope_deg: Array
    light: Array
    cells: int
    thinned: int
    extent: tuple[float, float, float, float]
    unit_m: tuple[float, float]
    grid_north_true_deg: float
    crs_name: str
    projected: bool
    map_mm: tuple[float, float]
    scale_denominator: float
    contours: Contours
    corridor_grid: Grid
    beyond_corridor_m: Array
    legs: tuple[LegOnMap, ...]
    zones: ZonesOnMap | None
    places: tuple[PlaceOnMap, ...]
    profile: Profile
