"""Bearings in words: as a card prints them, and what to do with the compass."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from steybrae.value import bearing_figure

if TYPE_CHECKING:  # it must not cost the magnetic model
    from steybrae.route.compass.bearings import LegBearings


def _tenths(value_deg: float) -> float:
    return math.floor(value_deg * 10.0 + 0.5) / 10.0 + 0.0


def _map_north(grid: str) -> str:
    return "true north" if grid == "latlon" else "grid north"


def grid_magnetic_words(grid_magnetic_deg: float, grid: str = "utm") -> str:
    """Where magnetic north lies against the lines of the map; ``latlon`` has none: against true north.

    ``Magnetic north is 0.8 degrees east of grid north on this sheet.``
    """
    size_deg = abs(_tenths(grid_magnetic_deg))
    north = _map_north(grid)
    if size_deg == 0.0:
        return f"Magnetic north and {north} are one on this sheet, to a tenth of a degree."
    side = "east" if grid_magnetic_deg > 0.0 else "west"
    return f"Magnetic north is {size_deg:.1f} degrees {side} of {north} on this sheet."


def turning_rule(grid_magnetic_deg: float, grid: str = "utm") -> str:
    """How to turn a map bearing, true for ``latlon``, into a magnetic one and back.

    ``From grid to magnetic subtract 0.8 degrees, from magnetic to grid add 0.8 degrees.``
    """
    size_deg = abs(_tenths(grid_magnetic_deg))
    north = _map_north(grid).removesuffix(" north")
    if size_deg == 0.0:
        return f"Between {north} and magnetic bearings nothing is added or subtracted."
    there, back = ("subtract", "add") if grid_magnetic_deg > 0.0 else ("add", "subtract")
    return (
        f"From {north} to magnetic {there} {size_deg:.1f} degrees, "
        f"from magnetic to {north} {back} {size_deg:.1f} degrees."
    )


def compass_words(leg: LegBearings) -> tuple[str, str]:
    """Say what to set on a compass with a declination scale, and the sum to do without.

    ``With a declination scale: set it to 0.8 degrees east and set 100° from the
    grid.`` and ``Without: 100.0 - 0.8 = 99.2, set 099° magnetic.`` The sum is in tenths as printed;
    what to set comes from the unrounded bearing.
    """
    offset_deg = _tenths(leg.grid_magnetic_deg)
    size, side = abs(offset_deg), "east" if offset_deg > 0.0 else "west"
    scale = f"{size:.1f} degrees {side}" if size else "0"
    source = "from true north" if leg.grid == "latlon" else "from the grid"
    on_map = bearing_figure(leg.bearing_grid_deg)
    with_scale = f"With a declination scale: set it to {scale} and set {on_map} {source}."
    map_deg = _tenths(leg.bearing_grid_deg)
    result_deg = map_deg - offset_deg
    turn = " + 360" if result_deg < 0.0 else " - 360" if result_deg >= 360.0 else ""
    without = (
        f"Without: {map_deg:.1f} {'-' if offset_deg >= 0.0 else '+'} {size:.1f}{turn} = "
        f"{_tenths(result_deg % 360.0):.1f}, set {bearing_figure(leg.bearing_magnetic_deg)} magnetic."
    )
    return with_scale, without
