"""The points of the line as the report's script reads them: whole numbers, already rounded.

Rounding happens here, by the one rule, so that the page shows what every other output shows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from steybrae.bands import BandScheme
from steybrae.quantities import round_down, shown_slope_deg, slope_text
from steybrae.screening.picture import UNKNOWN, LegOnMap, Relief
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.show.report_map import map_units
from steybrae.terrain.dem import Array

__all__ = ["report_points"]


def report_points(screening: RouteScreening, relief: Relief) -> dict[str, Any]:
    """Points of every leg.

    Parameters
    ----------
    screening, relief
        The line, and where it lies on the map.

    Returns
    -------
    dict
        ``bands``, their labels; ``legs``, each with ``leg``, ``start_dm`` and columns of whole
        numbers or None: ``at`` along the leg in decimetres, ``x`` and ``y`` on the map, ``height`` in
        metres, ``slope``, ``low``, ``high`` and ``corridor`` in tenths of a degree, ``aspect`` in
        degrees, ``band``, its position or -1, and ``above``, the steepest sight up as shown.
        ``reading`` has the place along the leg, number and slope of each reading to expect.
    """
    scheme = BandScheme(screening.settings.edges_deg)
    start_m, legs = 0.0, []
    for leg, on_map in zip(screening.legs, relief.legs, strict=True):
        legs.append(_columns(leg, on_map, relief, scheme, start_m))
        start_m += leg.length_m
    return {"bands": list(scheme.labels), "legs": legs}


def _columns(
    leg: LegScreening, on_map: LegOnMap, relief: Relief, scheme: BandScheme, start_m: float
) -> dict[str, Any]:
    points = leg.points
    place = map_units(relief, on_map.x, on_map.y)
    shown = shown_slope_deg(points.slope_deg)
    band = np.searchsorted(np.array(scheme.edges_deg), shown, side="right")
    return {
        "leg": leg.number,
        "start_dm": round(start_m * 10.0),
        "at": _whole(points.chainage_m * 10.0),
        "x": _whole(place[:, 0]),
        "y": _whole(place[:, 1]),
        "height": _whole(points.elevation_m),
        "slope": _whole(shown * 10.0),
        "low": _whole(round_down(points.slope_low_deg, 0.1) * 10.0),
        "high": _tenths_up(points.slope_high_deg),
        "corridor": _tenths_up(points.corridor_deg),
        "aspect": [None if at is None else at % 360 for at in _whole(points.aspect_true_deg)],
        "band": np.where(np.isnan(shown), UNKNOWN, band).tolist(),
        "above": _above(leg),
        "reading": [
            [round((one.chainage_m or 0.0) * 10.0), one.number, slope_text(one.expected_deg)]
            for one in leg.expected_readings
        ],
    }


def _above(leg: LegScreening) -> list[str]:
    """Steepest sight up from about each point, whatever lies between, as shown."""
    if leg.overhead is None:
        return ["unknown"] * len(leg.points.chainage_m)
    profile = leg.overhead_profile
    least = "at least " if leg.unknown_above else ""
    none = "unknown" if leg.unknown_above else f"nothing found from {slope_text(leg.overhead.least_deg)} up"
    known = leg.points.known
    if len(profile.chainage_m) == 0:
        return [none if there else "unknown" for there in known]
    # Between two of its places that with the steeper sight counts.
    after = np.searchsorted(profile.chainage_m, leg.points.chainage_m).clip(0, len(profile.chainage_m) - 1)
    before = (after - 1).clip(0)
    steeper = np.fmax(profile.sight_unfiltered_deg[before], profile.sight_unfiltered_deg[after])
    return [
        f"{least}{slope_text(float(deg))}" if np.isfinite(deg) else none if there else "unknown"
        for deg, there in zip(steeper, known, strict=True)
    ]


def _tenths_up(values: Array) -> list[int | None]:
    return _whole(shown_slope_deg(values) * 10.0)


def _whole(values: Array) -> list[int | None]:
    """Nearest whole numbers; None for what is unknown."""
    make: Callable[[float], int | None] = lambda value: None if np.isnan(value) else round(value)  # noqa: E731
    return [make(value) for value in values.tolist()]
