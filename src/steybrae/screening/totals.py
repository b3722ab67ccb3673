"""What the legs of a line come to together.

Apart from what screens them, which needs the model: a plan that is read works its totals out anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.quantities import LAND_HEIGHTS_M
from steybrae.screening.leg import possible_bands, short_steeper, shown_steeper
from steybrae.screening.places.result import PlaceThatMatters
from steybrae.screening.result import LegScreening, Totals
from steybrae.terrain.gradients import median
from steybrae.value import AT_LEAST, lower

WALKED_MEDIAN_DEG: Final = 60.0
"""Median slope of the ground that no walked line has (our choice: ground of 30 degrees in feet,
read as metres, comes out at 62)."""


def route_totals(
    legs: Sequence[LegScreening], bands: BandScheme, places: Sequence[PlaceThatMatters] = ()
) -> Totals:
    """Sum up the legs of a whole line, one or more; the steepest of them and of its places leads."""
    length = sum(leg.length_m for leg in legs)
    unknown = sum(leg.unknown_m for leg in legs)
    on_line = [leg for leg in legs if leg.slope_max_deg is not None]
    beside = [leg for leg in legs if leg.slope_corridor_max_deg is not None]
    steepest = max(on_line, key=lambda leg: leg.slope_max_deg or 0.0, default=None)
    overhead, inside = _overheads(legs, places)
    corridor = max(beside, key=lambda leg: leg.slope_corridor_max_deg or 0.0, default=None)
    highs = [leg.slope_high_deg for leg in legs if leg.slope_high_deg is not None]
    slope_max = steepest.slope_max_deg if steepest else None
    shorts = [leg.short_slope_max_deg for leg in legs if leg.short_slope_max_deg is not None]
    short = short_steeper(bands, slope_max, max(shorts, default=None))
    beside_max = corridor.slope_corridor_max_deg if corridor else None
    beside_short = max((leg.short_corridor_max_deg or 0.0 for leg in legs), default=0.0)
    lows = [leg.elevation_min_m for leg in legs if leg.elevation_min_m is not None]
    tops = [leg.elevation_max_m for leg in legs if leg.elevation_max_m is not None]
    on_map = [leg.ascent_on_map_m for leg in legs if leg.ascent_on_map_m is not None]
    return Totals(
        legs=len(legs),
        length_m=length,
        ascent_m=sum(leg.ascent_m for leg in legs),
        descent_m=sum(leg.descent_m for leg in legs),
        ascent_at_least=any(leg.ascent_at_least for leg in legs),
        ascent_on_map_m=sum(on_map) if on_map else None,
        elevation_min_m=min(lows, default=None),
        elevation_max_m=max(tops, default=None),
        slope_max_deg=slope_max,
        short_slope_max_deg=short,
        slope_max_leg=steepest.number if steepest else None,
        slope_corridor_max_deg=beside_max,
        slope_corridor_max_leg=corridor.number if corridor else None,
        short_corridor_max_deg=shown_steeper(beside_max, beside_short or None),
        steep_stretch_m=max(leg.steep_stretch_m for leg in legs),
        band=None if slope_max is None else bands.band(slope_max),
        bands_possible=possible_bands(
            bands, slope_max, max(highs, default=None), beside_max, short, beside_short or None
        ),
        open_above=any(leg.open_above for leg in legs),
        band_lengths_m={label: sum(leg.band_lengths_m[label] for leg in legs) for label in bands.labels},
        unknown_m=unknown,
        known_share=min(1.0, sum(leg.known_share * leg.length_m for leg in legs) / length),
        overhead_max_deg=overhead[0] if overhead else None,
        overhead_max_leg=overhead[1] if overhead else None,
        overhead_inside_max_deg=inside[0] if inside else None,
        overhead_inside_max_leg=inside[1] if inside else None,
        in_start_zone_m=sum(leg.overhead.in_start_zone_m for leg in legs if leg.overhead),
        in_possible_zone_m=sum(leg.overhead.in_possible_zone_m for leg in legs if leg.overhead),
        unknown_above=any(leg.unknown_above for leg in legs),
    )


_Sight = tuple[float, int]


def _overheads(
    legs: Sequence[LegScreening], places: Sequence[PlaceThatMatters]
) -> tuple[_Sight | None, _Sight | None]:
    """Steepest sight or path from outside of start zones and its leg; from within one where it is steeper."""
    outside: list[_Sight] = [
        (place.overhead.deg, place.overhead.at.leg)
        for place in places
        if "overhead" in place.kinds and place.overhead is not None
    ]
    inside: list[_Sight] = []
    for leg in legs:
        looks = leg.overhead
        if looks is None:
            continue
        for sights, sight in ((outside, looks.sight_outside), (inside, looks.sight)):
            if sight is not None and sight.deg is not None:
                sights.append((sight.deg, leg.number))
        if looks.path is not None:
            # From where on the leg it arrives is not told: from within, where any of it is.
            (inside if looks.in_start_zone else outside).append((looks.path.deg, leg.number))
    lead = max(outside, key=lambda one: one[0], default=None)
    within = max(inside, key=lambda one: one[0], default=None)
    return lead, within if within is not None and (lead is None or within[0] > lead[0]) else None


_IN_FEET: Final = "may be in feet, decimetres or centimetres. State --z-unit, or bring the model to metres."


def doubtful_heights(legs: Sequence[LegScreening], totals: Totals) -> str:
    """Say why heights look like another unit; empty where they do not."""
    low, top = totals.elevation_min_m, totals.elevation_max_m
    if low is None or top is None:
        return ""
    if low < LAND_HEIGHTS_M[0] or top > LAND_HEIGHTS_M[1]:
        return f"Heights along the line run from {low:.0f} to {top:.0f} m, which no land has: they {_IN_FEET}"
    slopes = np.concatenate([leg.points.slope_deg for leg in legs])
    known = slopes[np.isfinite(slopes)]
    middle_deg = float(median(known)) if len(known) else 0.0
    if middle_deg >= WALKED_MEDIAN_DEG:
        return (
            f"{AT_LEAST.capitalize()} half of the line lies on ground of "
            f"{lower(middle_deg, step=1.0).figure} degrees and steeper, where nobody walks: "
            f"the heights {_IN_FEET}"
        )
    return ""
