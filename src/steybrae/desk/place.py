"""What is under the pointer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from steybrae.answers.ground import steepest_near
from steybrae.bands import bands_text
from steybrae.desk.guard import RefusedError, number_in
from steybrae.desk.opened import Desk
from steybrae.errors import PlaceError
from steybrae.files.model.rasters import RasterModel
from steybrae.raster.overhead.layers import CLASSES, NEITHER, UNKNOWN
from steybrae.route.positions.places import Place, format_place
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.result import GroundAt
from steybrae.value import height, short_text, slope

OFF: Final = "Off the model: unknown."


def place_under(desk: Desk, message: dict[str, Any]) -> dict[str, Any]:
    """Tell the ground of the cell at a ``row`` and ``col``.

    ``lat`` and ``lon``, degrees; ``written``, the reference in the user's notation; ``lines`` of
    text. `RefusedError` where these are no numbers, or nowhere on the earth.
    """
    row, col = number_in(message, "row"), number_in(message, "col")
    lon, lat = (float(part) for part in desk.grid.to_wgs84(col, row))
    if not (math.isfinite(lat) and math.isfinite(lon) and abs(lat) <= 90.0):
        raise RefusedError(422, "The place should lie on the earth; it does not. Stay nearer to the model.")
    place = Place(lat, lon)
    rows, cols = desk.grid.shape
    on = 0.0 <= row < rows and 0.0 <= col < cols
    lines = desk.looks.call(_look, desk, place, (int(row), int(col))) if on else [OFF]
    return {"lat": lat, "lon": lon, "written": written(place, desk.ask.card.grid), "lines": lines}


def written(place: Place, grid: str) -> str:
    """Write a place in the user's notation, in degrees where it is off that grid."""
    try:
        return format_place(place, grid)
    except PlaceError:
        return format_place(place)


def _look(model: RasterModel, desk: Desk, place: Place, at: tuple[int, int]) -> list[str]:
    settings = replace(desk.settings, model_found=desk.map.found(model))
    ground = ground_at(place, model, 0.0, settings)
    return list(_lines(ground, desk.map.zone_at(model, *at)))


def _lines(ground: GroundAt, zone: int) -> Iterator[str]:
    yield f"Height {height(ground.elevation_m).text}"
    ends = ground.slope_low_deg, ground.slope_high_deg
    found = slope(ground.slope_deg, at_least=ground.open_above, interval=ends)
    yield f"Slope {found.text} over {ground.baseline_m:.0f} m{short_text(ground.short_slope_deg)}"
    if ground.slope_deg is None:
        return
    yield f"95 % interval {found.interval_text}"
    yield f"Steepest of the nine cells here {steepest_near(ground.within).text}"
    yield f"Possible bands {bands_text(ground.bands_possible, open_above=ground.open_above)}"
    if zone not in (NEITHER, UNKNOWN):
        yield f"{CLASSES[zone].capitalize()}"
