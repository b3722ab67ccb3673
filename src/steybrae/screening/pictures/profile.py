"""The profile of a screened line in bins that print can show, steepest of each leading."""

from __future__ import annotations

from typing import Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.quantities import shown_slope_deg
from steybrae.screening.pictures.picture import UNKNOWN, Profile
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array

MOST_BINS: Final = 760
"""Bins along the whole line at the most: a quarter of a millimetre each on A4 (our choice)."""


def profile_of(screening: RouteScreening) -> Profile:
    """Put the points of every leg into bins.

    Returns
    -------
    Profile
        No bin reaches over a turn point; a bin is never wider than need be, and where the
        points are few each interval between two of them is a bin.
    """
    turns = np.concatenate(([0.0], np.cumsum([leg.length_m for leg in screening.legs])))
    parts = [_bins(leg, turns[-1]) for leg in screening.legs]
    edges = [part[0][:-1] + start for part, start in zip(parts, turns, strict=False)]
    heights = [part[1][:-1] for part in parts]
    slope, low, high, corridor = (np.concatenate([part[2][k] for part in parts]) for k in range(4))
    index = np.array(BandScheme(screening.settings.edges_deg).edges_deg)
    band = np.where(np.isnan(slope), UNKNOWN, np.searchsorted(index, shown_slope_deg(slope), side="right"))
    steepest = [
        np.nan if leg.slope_max_at is None else start + leg.slope_max_at.chainage_m
        for leg, start in zip(screening.legs, turns, strict=False)
    ]
    return Profile(
        np.append(np.concatenate(edges), turns[-1]),
        np.append(np.concatenate(heights), parts[-1][1][-1]),
        slope,
        low,
        high,
        corridor,
        band,
        turns,
        np.array(steepest),
    )


def _bins(leg: LegScreening, whole_m: float) -> tuple[Array, Array, Array]:
    """Edges, heights at them, and slope, low, high and corridor of each bin."""
    points = leg.points
    count = len(points.chainage_m) - 1
    bins = min(count, max(1, int(MOST_BINS * leg.length_m / whole_m)))
    starts = np.arange(bins) * count // bins
    at = np.append(starts, count)
    values = np.stack((points.slope_deg, points.slope_low_deg, points.slope_high_deg, points.corridor_deg))
    # An interval between two points has the steeper of them; fmax passes over what is unknown.
    out = np.fmax.reduceat(np.fmax(values[:, :-1], values[:, 1:]), starts, axis=1)
    unknown = np.logical_or.reduceat(~(points.known[:-1] & points.known[1:]), starts)
    if leg.slope_max_at is not None and leg.slope_max_deg is not None:
        edges = points.chainage_m[at]
        k = int(np.clip(np.searchsorted(edges, leg.slope_max_at.chainage_m) - 1, 0, bins - 1))
        ends = (leg.slope_max_deg, leg.slope_low_deg, leg.slope_high_deg)
        out[:3, k] = np.fmax(out[:3, k], [np.nan if end is None else end for end in ends])
    out[:3, unknown] = np.nan
    return points.chainage_m[at], points.elevation_m[at], out
