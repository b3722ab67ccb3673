"""Steep and unknown ground to the left and right of a leg, one line for each kind."""

from __future__ import annotations

from collections.abc import Iterator

from steybrae.card.result import Beside
from steybrae.screening.result import LegScreening, SideGround, Sides

__all__ = ["ground_beside"]


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
