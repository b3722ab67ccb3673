"""The shape of the ground along a leg. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

from steybrae.ranges import BearingDeg, ElevationAngleDeg, LatDeg, LonDeg, NotNegative, SlopeDeg, Words


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
