"""Overhead angles of a leg or a place. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, BearingDeg, ElevationAngleDeg, NotNegative, Ordinal, SlopeDeg
from steybrae.route.shape_result import ConvexRoll, Spot, TerrainTrap
from steybrae.terrain.attributes import SECTORS, aspect_sector
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.unknown import UnknownAt
from steybrae.value import far_off

Quantity = Literal["slope", "sight"]


@dataclass(frozen=True)
class TopAnswer:
    """Sight to the top of a start zone, to which published run-out angles are measured.

    Attributes
    ----------
    deg
        Angle above the horizon, degrees.
    bearing_true_deg
        To look along, degrees clockwise from true north.
    distance_m
        Horizontal distance, metres.
    rise_m
        Height difference, metres.
    place
        The top.
    """

    deg: ElevationAngleDeg
    bearing_true_deg: BearingDeg
    distance_m: NotNegative
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
    unfiltered_bearing_true_deg
        Where that one lies, degrees clockwise from true north.
    unfiltered_distance_m
        How far off that one lies, metres.
    bearing_true_deg
        To look along for deg, degrees clockwise from true north; None as deg.
    distance_m
        Horizontal distance, metres; None as deg.
    rise_m
        Height difference, metres; None as deg.
    place
        The source; None as deg.
    stand
        Where to stand; None as deg.
    chainage_m
        How far along the leg one stands, metres; None for a place and as deg.
    top
        Sight to the top of the zone; None as deg.
    hidden
        Whether ground stands above the line of sight: snow could come from there all the same, and
        nobody can measure it.
    """

    deg: SlopeDeg | None
    unfiltered_deg: SlopeDeg
    unfiltered_bearing_true_deg: BearingDeg
    unfiltered_distance_m: NotNegative
    bearing_true_deg: BearingDeg | None
    distance_m: NotNegative | None
    rise_m: NotNegative | None
    place: Spot | None
    stand: Spot | None
    chainage_m: NotNegative | None
    top: TopAnswer | None
    hidden: bool = False


@dataclass(frozen=True)
class PathAnswer:
    """The path along the steepest energy line that arrives.

    Attributes
    ----------
    deg
        Largest angle of an energy line that arrives.
    bearing_true_deg
        Straight to the source, degrees clockwise from true north.
    path_m
        Length of the way on the map, metres.
    rise_m
        Height of the source above the place, metres.
    place
        The source.
    stand
        Where it arrives.
    chainage_m
        How far along the leg, metres; None for a place.
    line
        Corners of the way from the source, latitude and longitude, for pictures.
    """

    deg: SlopeDeg
    bearing_true_deg: BearingDeg
    path_m: NotNegative
    rise_m: NotNegative
    place: Spot
    stand: Spot
    chainage_m: NotNegative | None
    line: tuple[tuple[float, float], ...] = field(metadata=NOT_JSON)


@dataclass(frozen=True)
class OverheadAnswer:
    """Overhead angles of a leg or a place; sight and path may point to different zones.

    Attributes
    ----------
    in_start_zone
        Whether any of the leg, or the place, lies in a start zone.
    in_start_zone_m
        Metres of the leg that do; 0 for a place.
    in_possible_zone
        Whether any of the leg, or the place, lies in a possible start zone; a place also where its zone is
        unknown and its own slope may be as steep, or is unknown.
    in_possible_zone_m
        Metres of the leg that do, those in start zones and on steeper ground among them; 0 for a place.
    possible_deg
        Steepest straight sight, whatever lies between, up to a possible start zone from those parts
        of the leg that lie in no start zone, degrees; None where there is none.
    start_from_deg
        Least slope of a start zone, or of the middle of its interval, degrees.
    start_to_deg
        Greatest slope of a start zone, degrees; steeper ground counts as a source too.
    possible_from_deg
        Slope from which ground of middling roughness is a possible start zone, degrees.
    reach_m
        How far was looked.
    least_deg
        Flatter sights were not looked for.
    sight
        Straight sight; None where nothing is overhead.
    path
        Along the ground; None where nothing arrives.
    sight_outside
        The sight from those parts of the leg that lie in no start zone: within one the next
        cell of the same slope is often the steepest. The same as `sight` where that is from
        such a part; None where nothing is overhead of any, and for a place in a start zone.
    known_to_m
        Where the nearest unknown ground begins, the model's end too: what lies beyond was not looked at in
        that direction. None where all ground within the reach is known.
    """

    in_start_zone: bool
    in_start_zone_m: NotNegative
    in_possible_zone: bool
    in_possible_zone_m: NotNegative
    possible_deg: SlopeDeg | None
    start_from_deg: SlopeDeg
    start_to_deg: SlopeDeg
    possible_from_deg: SlopeDeg
    reach_m: NotNegative
    least_deg: SlopeDeg
    sight: SightAnswer | None
    sight_outside: SightAnswer | None
    path: PathAnswer | None
    known_to_m: NotNegative | None = None


@dataclass(frozen=True)
class ExpectedReading:
    """A reading that would tell much, and what it should be.

    Attributes
    ----------
    name
        Leg and letter, ``7a``, the same in every output; for a place the letter alone.
    number
        In the whole plan, from 1.
    place
        Where to stand.
    chainage_m
        Along the leg; None for a place.
    look_bearing_true_deg
        To look along, degrees clockwise from true north; None where the fall line is not known.
    expected_deg
        From the model, degrees.
    low_deg
        Its 95 % low end, degrees; None not known.
    high_deg
        Its 95 % high end, degrees; None not known: then open above.
    what
        What is sighted, in words.
    quantity
        ``slope``, of the ground there, or ``sight``, the angle up to a named place: a sight never
        confirms a slope.
    overhead_deg
        Steepest sight from where one stands to any possible start zone, whatever lies between,
        degrees; None where there is none at 18 and more.
    overhead_at_least
        Whether unknown ground could stand over it too.
    leads
        Whether it is one of the eight of the day that tell most.
    """

    name: str
    number: Ordinal
    place: Spot
    chainage_m: NotNegative | None
    look_bearing_true_deg: BearingDeg | None
    expected_deg: SlopeDeg
    low_deg: SlopeDeg | None
    high_deg: SlopeDeg | None
    what: str
    quantity: Quantity
    overhead_deg: SlopeDeg | None = None
    overhead_at_least: bool = False
    leads: bool = True


def _empty() -> Array:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class Profile:
    """Unfiltered sight angles along a leg, whatever lies between; arrays ``(n,)``.

    In the middle of each cell of the model that the leg touches, joined cells where they are fine;
    NaN where nothing looks down or the ground is not known.
    """

    chainage_m: Array = field(default_factory=_empty)
    sight_unfiltered_deg: Array = field(default_factory=_empty)


@dataclass(frozen=True, eq=False)
class SeenAlong:
    """Overhead angle of each piece of a leg, whatever lies between; arrays ``(n,)``.

    Attributes
    ----------
    start_m, end_m
        Ends of the piece; all it says is from the middle of the cell that the piece lies in.
    deg, bearing_true_deg, distance_m, rise_m
        Steepest sight up to a source; NaN where there is none.
    lat_deg, lon_deg
        Where that source lies, on WGS 84.
    hidden
        Whether ground between hides that source.
    possible_deg
        Steepest sight up to a possible start zone; NaN where there is none.
    in_start_zone
        Whether the cell is of a start zone.
    unknown_above
        Whether unknown ground could look down on it (`steybrae.terrain.overhead.unknown`).
    unknown_off_m, unknown_bearing_true_deg, model_ends
        Where the nearest of that begins, and whether the model ends there; NaN where there is none.
    trap
        Whether it is a terrain trap with ground above or underfoot that could slide.
    """

    start_m: Array
    end_m: Array
    deg: Array
    bearing_true_deg: Array
    distance_m: Array
    rise_m: Array
    lat_deg: Array
    lon_deg: Array
    hidden: NDArray[np.bool_]
    possible_deg: Array
    in_start_zone: NDArray[np.bool_]
    unknown_above: NDArray[np.bool_]
    unknown_off_m: Array
    unknown_bearing_true_deg: Array
    model_ends: NDArray[np.bool_]
    trap: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Above:
    """Overhead angles of a leg or a place, and the shape of its ground.

    Attributes
    ----------
    overhead
        None where no height of it is known.
    unknown_above
        Whether unknown ground could look down on it: every angle is then "at least", and no
        answer does not mean nothing.
    unknown_above_at
        The nearest of it; None where there is none.
    convex_rolls, terrain_traps
        In the order of the leg.
    profile
        For tables of points.
    seen
        Along the leg, for the places that matter.
    """

    overhead: OverheadAnswer | None
    unknown_above: bool
    unknown_above_at: UnknownAt | None
    convex_rolls: tuple[ConvexRoll, ...]
    terrain_traps: tuple[TerrainTrap, ...]
    profile: Profile = field(metadata=NOT_JSON)
    seen: SeenAlong = field(metadata=NOT_JSON)


_SIDES: Final = dict(
    zip(
        SECTORS,
        ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"),
        strict=True,
    )
)


def within_words(reach_m: float, known_to_m: float | None) -> str:
    """Say how far was looked: ``within 3 km``, and where less than that is known, how far all of it is."""
    short = "" if known_to_m is None else f", of which all is known only to {far_off(known_to_m).text}"
    return f"within {reach_m / 1000.0:g} km{short}"


def unknown_words(at: UnknownAt) -> str:
    """Say where unknown ground begins: ``the model ends 1.0 km east``."""
    if at.bearing_true_deg is None:
        return "part of it is unknown ground itself"
    where = f"{far_off(at.distance_m).text} {_SIDES[aspect_sector(at.bearing_true_deg) or SECTORS[0]]}"
    return f"the model ends {where}" if at.model_ends else f"unknown ground begins {where}"
