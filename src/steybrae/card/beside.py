"""Steep and unknown ground to the left and right of a leg, and cliffs below, one line for each kind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

import numpy as np

from steybrae.card.result import Beside, CliffBelow
from steybrae.route.compass.bearings import bearing_difference_deg, geodesic
from steybrae.route.positions.places import Place
from steybrae.screening.result import LegPoints, LegScreening, SideGround, Sides

HALF_AHEAD_DEG: Final = 45.0
"""Nearer than this to the way of travel, degrees, is ahead; to its opposite, behind (our choice)."""


def ground_beside(leg: LegScreening) -> tuple[Beside, ...]:
    """Say what lies beside a leg.

    Parameters
    ----------
    leg
        With its sides.

    Returns
    -------
    tuple of Beside
        Left before right; on each side the steepest last, then unknown ground.
    """
    return tuple(_found(leg.sides))


def _found(sides: Sides) -> Iterator[Beside]:
    for side, grounds, unknown in (
        ("left", sides.left, sides.unknown_left),
        ("right", sides.right, sides.unknown_right),
    ):
        yield from (_beside(side, ground) for ground in grounds)
        if unknown:
            yield Beside(side, None, None, None, None, None, 0)


def _beside(side: str, ground: SideGround) -> Beside:
    stretches = ground.stretches_m
    return Beside(
        side=side,
        least_slope_deg=ground.least_slope_deg,
        distance_m=ground.distance_m,
        height_difference_m=ground.height_difference_m,
        from_m=stretches[0][0] if stretches else ground.chainage_m,
        to_m=stretches[-1][1] if stretches else ground.chainage_m,
        parts=max(1, len(stretches)),
    )


def cliffs_below(leg: LegScreening) -> tuple[CliffBelow, ...]:
    """Cliffs below a leg, by side of travel.

    Parameters
    ----------
    leg
        With its terrain traps.

    Returns
    -------
    tuple of CliffBelow
        Steepest, least distance and whole stretch of each side that has any; left, right, ahead,
        behind.
    """
    cliffs = [
        (_side_of(leg.points, trap.chainage_m, trap.bearing_true_deg), trap)
        for trap in leg.terrain_traps
        if trap.kind == "cliff below"
    ]
    found = []
    for side in ("left", "right", "ahead", "behind"):
        traps = [trap for where, trap in cliffs if where == side]
        if traps:
            found.append(
                CliffBelow(
                    side,
                    max(trap.slope_deg or 0.0 for trap in traps),
                    min(trap.distance_m for trap in traps),
                    min(trap.from_m for trap in traps),
                    max(trap.to_m for trap in traps),
                    len(traps),
                )
            )
    return tuple(found)


def _side_of(
    points: LegPoints, chainage_m: float, bearing_true_deg: float
) -> Literal["left", "right", "ahead", "behind"]:
    turn_deg = bearing_difference_deg(travel_true_deg(points, chainage_m), bearing_true_deg)
    if abs(turn_deg) < HALF_AHEAD_DEG:
        return "ahead"
    if abs(turn_deg) > 180.0 - HALF_AHEAD_DEG:
        return "behind"
    return "right" if turn_deg > 0.0 else "left"


def travel_true_deg(points: LegPoints, chainage_m: float) -> float:
    """Give the direction of travel at a place of a leg, degrees clockwise from true north."""
    near = int(np.argmin(np.abs(points.chainage_m - chainage_m)))
    start = min(near, len(points.chainage_m) - 2)
    here, there = (Place(float(points.lat_deg[k]), float(points.lon_deg[k])) for k in (start, start + 1))
    return geodesic(here, there)[1]
