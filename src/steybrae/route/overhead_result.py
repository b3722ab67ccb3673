"""What looks down on a leg or a place. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.route.shape_result import ConvexRoll, Spot, TerrainTrap
from steybrae.terrain.dem import Array

__all__ = [
    "PLACE_SIGHT_DEG",
    "Above",
    "ExpectedReading",
    "OverheadAnswer",
    "PathAnswer",
    "Profile",
    "SeenAlong",
    "SightAnswer",
    "TopAnswer",
]


PLACE_SIGHT_DEG: Final = 25.0
"""Overhead angle that makes a place matter, degrees (common practice, no source)."""


@dataclass(frozen=True)
class TopAnswer:
    """Sight to the top of a start zone, to which published run-out angles are measured.

    Attributes
    ----------
    deg, bearing_true_deg, distance_m, rise_m
        As in `SightAnswer`.
    place
        The top.
    """

    deg: float
    bearing_true_deg: float
    distance_m: float
    rise_m: float
    place: Spot


@dataclass(frozen=True)
class SightAnswer:
    """Steepest straight sight up to ground that snow could come from.

    Attributes
    ----------
    deg
        Angle above the horizon of the steepest source that is in sight or whose own way down
        passes near; None where none of those that look down is.
    unfiltered_deg
        The same whatever lies between.
    unfiltered_bearing_true_deg, unfiltered_distance_m
        Where that one lies.
    bearing_true_deg, distance_m, rise_m
        To look along, horizontal distance and height difference, for `deg`.
    place
        The source.
    stand, chainage_m
        Where to stand, and how far along the leg; the chainage is None for a place.
    top
        Sight to the top of the zone.
    """

    deg: float | None
    unfiltered_deg: float
    unfiltered_bearing_true_deg: float
    unfiltered_distance_m: float
    bearing_true_deg: float | None
    distance_m: float | None
    rise_m: float | None
    place: Spot | None
    stand: Spot | None
    chainage_m: float | None
    top: TopAnswer | None


@dataclass(frozen=True)
class PathAnswer:
    """The way of snow that arrives at the steepest energy line.

    Attributes
    ----------
    deg
        Largest angle of an energy line that arrives.
    bearing_true_deg
        Straight to the source.
    path_m, rise_m
        Length of the way on the map and height of the source above the place.
    place, stand, chainage_m
        As in `SightAnswer`.
    line
        Corners of the way from the source, latitude and longitude, for pictures.
    """

    deg: float
    bearing_true_deg: float
    path_m: float
    rise_m: float
    place: Spot
    stand: Spot
    chainage_m: float | None
    line: tuple[tuple[float, float], ...] = field(metadata={"json": False})


@dataclass(frozen=True)
class OverheadAnswer:
    """What looks down.

    Attributes
    ----------
    in_start_zone
        Whether any of the leg, or the place, lies in a start zone.
    in_start_zone_m
        Metres of the leg that do; 0 for a place.
    start_from_deg, start_to_deg
        Slopes that were taken for a start zone's, the uncertainty off the lower end.
    reach_m
        How far was looked.
    least_deg
        Flatter sights were not looked for.
    sight, path
        The two measures, which may point to different zones; None where nothing looks down.
    sight_outside
        The sight from those parts of the leg that lie in no start zone: within one the next
        cell of the same slope is often the steepest. The same as `sight` where that is from
        such a part; None where nothing looks down on any, and for a place in a start zone.
    """

    in_start_zone: bool
    in_start_zone_m: float
    start_from_deg: float
    start_to_deg: float
    reach_m: float
    least_deg: float
    sight: SightAnswer | None
    sight_outside: SightAnswer | None
    path: PathAnswer | None


@dataclass(frozen=True)
class ExpectedReading:
    """A reading that would tell much, and what it should be.

    Attributes
    ----------
    number
        In the whole plan.
    place
        Where to stand.
    chainage_m
        Along the leg; None for a place.
    look_bearing_true_deg
        To look along; None where the fall line is not known.
    expected_deg, low_deg, high_deg
        From the model, with its 95 % ends; None where they are not known.
    what
        In words.
    """

    number: int
    place: Spot
    chainage_m: float | None
    look_bearing_true_deg: float | None
    expected_deg: float
    low_deg: float | None
    high_deg: float | None
    what: str


def _empty() -> Array:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class Profile:
    """Unfiltered sight angles along a leg; arrays ``(n,)``.

    Attributes
    ----------
    chainage_m
        In the middle of each cell of the model that the leg touches, joined cells where they
        are fine.
    sight_unfiltered_deg
        Steepest sight whatever lies between; NaN where nothing looks down or the ground is
        not known.
    """

    chainage_m: Array = field(default_factory=_empty)
    sight_unfiltered_deg: Array = field(default_factory=_empty)


@dataclass(frozen=True, eq=False)
class SeenAlong:
    """What looks down on each piece of a leg, whatever lies between; arrays ``(n,)``.

    Attributes
    ----------
    start_m, end_m
        Ends of the piece; all it says is from the middle of the cell that the piece lies in.
    deg, bearing_true_deg, distance_m, rise_m
        Steepest sight up to a source; NaN where there is none.
    hidden
        Whether ground between hides that source.
    in_start_zone
        Whether the cell is of a start zone.
    unknown_above
        Whether unknown ground could stand over it at `PLACE_SIGHT_DEG` or more.
    trap
        Whether it is a terrain trap with ground above or underfoot that could slide.
    """

    start_m: Array
    end_m: Array
    deg: Array
    bearing_true_deg: Array
    distance_m: Array
    rise_m: Array
    hidden: NDArray[np.bool_]
    in_start_zone: NDArray[np.bool_]
    unknown_above: NDArray[np.bool_]
    trap: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Above:
    """What looks down on a leg or a place, and the shape of its ground.

    Attributes
    ----------
    overhead
        None where no height of it is known.
    unknown_above
        Whether unknown ground could look down on it: every angle is then "at least", and no
        answer does not mean nothing.
    convex_rolls, terrain_traps
        In the order of the leg.
    profile
        For tables of points.
    seen
        Along the leg, for the places that matter.
    """

    overhead: OverheadAnswer | None
    unknown_above: bool
    convex_rolls: tuple[ConvexRoll, ...]
    terrain_traps: tuple[TerrainTrap, ...]
    profile: Profile = field(metadata={"json": False})
    seen: SeenAlong = field(metadata={"json": False})
