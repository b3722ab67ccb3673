"""The shape of the ground along a leg. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ConvexRoll", "Spot", "TerrainTrap"]


@dataclass(frozen=True)
class Spot:
    """A place on the ground.

    Attributes
    ----------
    lat_deg, lon_deg
        On WGS 84.
    elevation_m
        Height; None unknown.
    """

    lat_deg: float
    lon_deg: float
    elevation_m: float | None


@dataclass(frozen=True)
class ConvexRoll:
    """Ground that steepens downhill to a steep slope.

    Attributes
    ----------
    from_m, to_m, chainage_m
        Stretch of the leg from which it falls away, and where it does so most.
    place
        Its top: where the steeper part begins.
    distance_m
        From the line to its top.
    bearing_true_deg
        Downhill.
    above_deg, below_deg
        Slope over one spacing above and below its top.
    profile_per_100m
        Profile curvature on the line there, below 0 convex; None on level ground.
    hidden_below
        Whether ground below is hidden from the eye of one who stands on the line.
    scale_m
        The spacing.
    reason
        All that in words.
    """

    from_m: float
    to_m: float
    chainage_m: float
    place: Spot
    distance_m: float
    bearing_true_deg: float
    above_deg: float
    below_deg: float
    profile_per_100m: float | None
    hidden_below: bool
    scale_m: float
    reason: str


@dataclass(frozen=True)
class TerrainTrap:
    """Ground that makes even a small slide worse.

    Attributes
    ----------
    kind
        ``gully``, ``flattening`` or ``cliff below``.
    from_m, to_m, chainage_m
        Stretch of the leg, and where it is worst.
    place
        There, on the line.
    distance_m, bearing_true_deg
        How far away and where the steep ground begins; a gully's bed runs that way.
    slope_deg
        Of the steep ground; None for a gully.
    depth_m
        Rise of the lower side of a gully within one spacing; None otherwise.
    plan_per_100m
        Plan curvature there, below 0 hollow; None on level ground.
    scale_m
        The spacing.
    reason
        All that in words.
    """

    kind: str
    from_m: float
    to_m: float
    chainage_m: float
    place: Spot
    distance_m: float
    bearing_true_deg: float
    slope_deg: float | None
    depth_m: float | None
    plan_per_100m: float | None
    scale_m: float
    reason: str
