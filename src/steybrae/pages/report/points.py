"""The points of the line as the report's script reads them: whole numbers, already rounded.

Rounding happens here, by the one rule, so that the page shows what every other output shows.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from steybrae.answers.points import overhead_at_points_deg
from steybrae.bands import BandScheme, in_degrees
from steybrae.pages.report.map import map_units
from steybrae.quantities import round_down, shown_slope_deg
from steybrae.screening.pictures.picture import LegOnMap, Relief
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.attributes import band_numbers
from steybrae.terrain.dem import Array
from steybrae.value import UNKNOWN, overhead, slope


def report_points(screening: RouteScreening, relief: Relief) -> dict[str, Any]:
    """Points of every leg.

    ``bands``, their labels; ``legs``, each with ``leg``, ``start_dm`` and columns of whole numbers
    or None: ``at`` along the leg in decimetres, ``x`` and ``y`` on the map, ``height`` in metres,
    ``slope``, ``low``, ``high`` and ``corridor`` in tenths of a degree, ``aspect`` in degrees,
    ``band``, its position or -1, and ``above``, the steepest sight up as shown. ``reading`` has the
    place along the leg, name and slope of each check.
    """
    scheme = BandScheme(screening.settings.edges_deg)
    start_m, legs = 0.0, []
    for leg, on_map in zip(screening.legs, relief.legs, strict=True):
        legs.append(_columns(leg, on_map, relief, scheme, start_m))
        start_m += leg.length_m
    return {"bands": [in_degrees(label) for label in scheme.labels], "legs": legs}


def _columns(
    leg: LegScreening, on_map: LegOnMap, relief: Relief, scheme: BandScheme, start_m: float
) -> dict[str, Any]:
    points = leg.points
    place = map_units(relief, on_map.x, on_map.y)
    shown = shown_slope_deg(points.slope_deg)
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
        "band": band_numbers(points.slope_deg, scheme).tolist(),
        "above": _above(leg),
        "reading": [
            [round((one.chainage_m or 0.0) * 10.0), one.name, slope(one.expected_deg).text]
            for one in leg.expected_readings
        ],
    }


def _above(leg: LegScreening) -> list[str]:
    """Steepest sight up from about each point, whatever lies between, as shown."""
    if leg.overhead is None:
        return [UNKNOWN] * len(leg.points.chainage_m)
    none = UNKNOWN if leg.unknown_above else f"nothing found from {slope(leg.overhead.least_deg).text} up"
    return [
        overhead(float(deg), at_least=leg.unknown_above).text
        if np.isfinite(deg)
        else none
        if there
        else UNKNOWN
        for deg, there in zip(overhead_at_points_deg(leg), leg.points.known, strict=True)
    ]


def _tenths_up(values: Array) -> list[int | None]:
    return _whole(shown_slope_deg(values) * 10.0)


def _whole(values: Array) -> list[int | None]:
    """Nearest whole numbers; None for what is unknown."""
    return [None if np.isnan(value) else round(value) for value in values.tolist()]
