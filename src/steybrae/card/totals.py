"""What the legs of a card come to."""

from __future__ import annotations

import math
from collections.abc import Sequence

from steybrae.card.result import CardLeg, CardTotals


def _sum(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return math.fsum(known) if len(known) == len(values) else None


def card_totals(legs: Sequence[CardLeg]) -> CardTotals:
    """Sum up the legs of a card.

    Parameters
    ----------
    legs
        At least one.

    Returns
    -------
    CardTotals
        None for a sum of which any part is not known.
    """
    grounds = [leg.ground for leg in legs if leg.ground is not None]
    beside = [
        ground.slope_corridor_max_deg for ground in grounds if ground.slope_corridor_max_deg is not None
    ]
    slopes = [ground.slope_max_deg for ground in grounds if ground.slope_max_deg is not None]
    return CardTotals(
        legs=len(legs),
        length_m=math.fsum(leg.length_m for leg in legs),
        map_mm=_sum([leg.map_mm for leg in legs]),
        ascent_m=_sum([leg.ascent_m for leg in legs]),
        descent_m=_sum([leg.descent_m for leg in legs]),
        ascent_at_least=any(leg.ascent_at_least for leg in legs),
        time_min=_sum([leg.time_min for leg in legs]),
        time_at_least=any(leg.time_at_least for leg in legs),
        arrival=legs[-1].arrival,
        daylight_left_min=legs[-1].daylight_left_min,
        slope_max_deg=max(slopes, default=None),
        slope_corridor_max_deg=max(beside, default=None),
        open_above=not grounds or any(ground.open_above for ground in grounds),
        steep_m=_sum([ground.steep_m for ground in grounds]) if grounds else None,
        unknown_m=_sum([ground.unknown_m for ground in grounds]) if grounds else None,
        checks=sum(len(leg.checks) for leg in legs),
    )
