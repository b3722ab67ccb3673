"""What was asked of start zones and the reach, against what is usual."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, Protocol

from steybrae.terrain.overhead.ground import REACH_M
from steybrae.terrain.start_zones import StartRules

MUCH_LOWERED_DEG: Final = 5.0
"""Degrees taken off the lower end for the model's uncertainty from which that is told: from 30 to 25,
the practical lower bound for dry slabs (from memory)."""


class _Looked(Protocol):
    """Anything that says from which slope on its possible start zones were taken."""

    @property
    def possible_from_deg(self) -> float:
        """Degrees."""


def lowered_to_deg(rules: StartRules, found: Iterable[_Looked | None]) -> float | None:
    """Least slope of possible start zones, where the uncertainty puts it more than 5 degrees lower.

    Parameters
    ----------
    rules
        As asked for.
    found
        What looks down on each leg; one lower end holds for all.

    Returns
    -------
    float or None
        Degrees; None where it was not lowered by so much, or where nothing is known.
    """
    from_deg = next((looks.possible_from_deg for looks in found if looks is not None), rules.low_deg)
    return from_deg if rules.low_deg - from_deg > MUCH_LOWERED_DEG else None


def left_out_words(rules: StartRules, reach_m: float) -> str:
    """Say what rules milder than the usual ones left out.

    Parameters
    ----------
    rules, reach_m
        As asked for.

    Returns
    -------
    str
        Two sentences; empty where nothing that is usually looked for was left out.
    """
    usual = StartRules()
    told = (
        (rules.low_deg > usual.low_deg, f"start zones from {rules.low_deg:g} degrees, not {usual.low_deg:g}"),
        (
            rules.high_deg < usual.high_deg,
            f"none steeper than {rules.high_deg:g} degrees, not {usual.high_deg:g} (steeper ground looks "
            "down all the same)",
        ),
        (
            rules.high_deg > usual.high_deg,
            f"ground of {usual.high_deg:g} to {rules.high_deg:g} degrees only in pieces of the least area",
        ),
        (
            rules.least_area_m2 > usual.least_area_m2,
            f"pieces from {rules.least_area_m2:.10g} square metres on, not {usual.least_area_m2:g}",
        ),
        (
            rules.baseline_m > usual.baseline_m,
            f"slopes over {rules.baseline_m:g} m, not {usual.baseline_m:g}",
        ),
        (reach_m < REACH_M, f"within {reach_m / 1000.0:g} km, not {REACH_M / 1000.0:g}"),
    )
    less = "; ".join(words for milder, words in told if milder)
    if not less:
        return ""
    return (
        f"On request less was looked for overhead than usual: {less}. Ground that was left out may slide "
        "all the same."
    )
