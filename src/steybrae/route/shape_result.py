"""The shape of the ground along a leg, and how it is found. Field names are the keys of the JSON contract."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.quantities import finite
from steybrae.ranges import BearingDeg, ElevationAngleDeg, LatDeg, LonDeg, NotNegative, SlopeDeg, Words
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import off
from steybrae.terrain.overhead.ground import OverheadGround, Points
from steybrae.terrain.shape import (
    Around,
    Found,
    cliffs_below,
    curvature,
    flattenings,
    gullies,
    hidden_from_above,
)
from steybrae.terrain.shape import convex_rolls as rolls_at
from steybrae.value import look_towards, no_less, slope


@dataclass(frozen=True)
class Spot:
    """A place on the ground.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    elevation_m
        Height; None unknown.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    elevation_m: float | None


TRAP_KINDS: Final = ("gully", "flattening", "cliff below")


@dataclass(frozen=True)
class ConvexRoll:
    """Ground that steepens downhill to a steep slope.

    Attributes
    ----------
    from_m
        Where on the leg it begins to fall away, metres.
    to_m
        Where on the leg that ends, metres.
    chainage_m
        Where it is most marked, metres.
    place
        Its top: where the steeper part begins.
    distance_m
        From the line to its top.
    bearing_true_deg
        Downhill, degrees clockwise from true north.
    above_deg
        Slope over one spacing above its top, positive downhill, degrees.
    below_deg
        Slope over one spacing below its top, positive downhill, degrees.
    profile_per_100m
        Profile curvature on the line there per 100 m, below 0 convex; None on level ground.
    hidden_below
        Whether ground below is hidden from the eye of one who stands on the line.
    scale_m
        The spacing.
    reason
        All that in words.
    """

    from_m: NotNegative
    to_m: NotNegative
    chainage_m: NotNegative
    place: Spot
    distance_m: NotNegative
    bearing_true_deg: BearingDeg
    above_deg: ElevationAngleDeg
    below_deg: ElevationAngleDeg
    profile_per_100m: float | None
    hidden_below: bool
    scale_m: NotNegative
    reason: str


@dataclass(frozen=True)
class TerrainTrap:
    """Ground that makes even a small slide worse.

    Attributes
    ----------
    kind
        ``gully``, ``flattening`` or ``cliff below``.
    from_m
        Where on the leg it begins, metres.
    to_m
        Where on the leg it ends, metres.
    chainage_m
        Where it is worst, metres.
    place
        There, on the line.
    distance_m
        How far away the steep ground begins, metres; 0 for a gully.
    bearing_true_deg
        Where the steep ground lies, degrees clockwise from true north; a gully's bed runs that way.
    slope_deg
        Of the steep ground; None for a gully.
    depth_m
        Rise of the lower side of a gully within one spacing; None otherwise.
    plan_per_100m
        Plan curvature there per 100 m, below 0 hollow; None on level ground.
    scale_m
        The spacing.
    reason
        All that in words.
    """

    kind: Annotated[str, Words(TRAP_KINDS)]
    from_m: NotNegative
    to_m: NotNegative
    chainage_m: NotNegative
    place: Spot
    distance_m: NotNegative
    bearing_true_deg: BearingDeg
    slope_deg: SlopeDeg | None
    depth_m: NotNegative | None
    plan_per_100m: float | None
    scale_m: NotNegative
    reason: str


GAP_M: Final = 60.0
"""Features nearer to each other than this along the leg, metres, are one (our choice: three
spacings)."""


def convex_rolls(
    ground: OverheadGround, points: Points, chainage_m: Array, around: Around, steep_deg: float
) -> tuple[ConvexRoll, ...]:
    """Convex rolls below a leg, one for each stretch, where it is most marked.

    Their lower part is at least `steep_deg` steep; `around` holds the heights around the points.
    """
    found = rolls_at(around, steep_deg)
    hidden = hidden_from_above(around, found.bearing_true_deg)
    profile = curvature(around.nine_m, around.spacing_m).profile
    out = []
    for first, last, worst in _stretches(found, chainage_m):
        bearing, distance = float(found.bearing_true_deg[worst]), float(found.distance_m[worst])
        above, below = float(found.from_deg[worst]), float(found.to_deg[worst])
        roll = ConvexRoll(
            first,
            last,
            float(chainage_m[worst]),
            _beside(ground, points, worst, bearing, distance),
            distance,
            bearing,
            above,
            below,
            finite(profile[worst]),
            bool(hidden[worst]),
            around.spacing_m,
            "",
        )
        out.append(replace(roll, reason=shape_words(roll)))
    return tuple(out)


def terrain_traps(
    ground: OverheadGround, points: Points, chainage_m: Array, around: Around, steep_deg: float
) -> tuple[TerrainTrap, ...]:
    """Terrain traps along a leg, in its order; the slope above a flattening is at least `steep_deg` steep."""
    plan = curvature(around.nine_m, around.spacing_m).plan
    kinds = {
        "gully": gullies(around),
        "flattening": flattenings(around, steep_deg),
        "cliff below": cliffs_below(around),
    }
    out = []
    for kind, found in kinds.items():
        for first, last, worst in _stretches(found, chainage_m):
            strength, distance = float(found.strength[worst]), float(found.distance_m[worst])
            bearing = float(found.bearing_true_deg[worst])
            deep = kind == "gully"
            trap = TerrainTrap(
                kind,
                first,
                last,
                float(chainage_m[worst]),
                _beside(ground, points, worst, 0.0, 0.0),
                distance,
                bearing,
                None if deep else strength,
                strength if deep else None,
                finite(plan[worst]),
                around.spacing_m,
                "",
            )
            out.append(replace(trap, reason=shape_words(trap)))
    return tuple(sorted(out, key=lambda trap: trap.chainage_m))


def shape_words(
    found: ConvexRoll | TerrainTrap, declination_deg: float | None = None, *, at_place: bool = False
) -> str:
    """Say what a roll or a trap is, round a place or on a line.

    Its bearings are magnetic where a declination is given, else true.
    """
    towards = look_towards(found.bearing_true_deg, declination_deg)
    if isinstance(found, ConvexRoll):
        here, off_it = ("here", "from here") if at_place else ("on the line", "from the line")
        where = here if found.distance_m == 0.0 else f"{found.distance_m:.0f} m {off_it}"
        # A slope that climbs above the roll is told as level.
        steepens = f"steepens from {slope(max(found.above_deg, 0.0)).text} to {slope(found.below_deg).text}"
        hidden = "; what lies below is hidden from above" if found.hidden_below else ""
        return f"Convex roll {where}: downhill, towards {towards}, the slope {steepens}{hidden}."
    if found.kind == "gully":
        depth = f"{no_less(found.depth_m or 0.0).text} within {found.scale_m:.0f} m"
        return (
            f"Gully: both sides rise by {depth}; its bed runs along {towards}. Even a small slide piles up "
            "deep in it."
        )
    steep, away = slope(found.slope_deg).text, f"{found.distance_m:.0f} m away towards {towards}"
    if found.kind == "flattening":
        return (
            f"Abrupt flattening below a slope of {steep} that begins {away}: snow that comes down stops and "
            "piles up here."
        )
    return f"Ground of {steep} below, from {away}: even a small slide carries one over it."


def _stretches(found: Found, chainage_m: Array) -> Iterator[tuple[float, float, int]]:
    """Cut places with a feature into runs: first and last chainage, and where it is strongest."""
    there: NDArray[np.intp] = np.flatnonzero(found.there)
    if len(there) == 0:
        return
    cut = np.flatnonzero(np.diff(chainage_m[there]) > GAP_M) + 1
    for run in np.split(there, cut):
        worst = int(run[np.argmax(found.strength[run])])
        yield float(chainage_m[run[0]]), float(chainage_m[run[-1]]), worst


def _beside(ground: OverheadGround, points: Points, at: int, bearing: float, distance: float) -> Spot:
    """Spot some metres from a place."""
    towards = math.radians(bearing)
    east, north = distance * math.sin(towards), distance * math.cos(towards)
    step = np.linalg.inv(ground.jacobian) @ np.array([east, north])
    col, row = float(points.col[at] + off(step[0])), float(points.row[at] + off(step[1]))
    return spot_at(ground, col, row)


def spot_at(ground: OverheadGround, col: float, row: float) -> Spot:
    """Spot at a position in a window."""
    lon, lat = ground.to_wgs84(col, row)
    height = ground.points(np.array([col]), np.array([row])).height_m[0]
    return Spot(float(lat), float(lon), finite(height))
