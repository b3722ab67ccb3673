"""What the page is told of the model, of its map's layers and grid, and of the ground under the pointer."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

import numpy as np

from steybrae.answers.ground import steepest_near
from steybrae.bands import BandScheme, bands_text, in_degrees
from steybrae.cautions import Situation, cautions_for
from steybrae.desk.guard import RefusedError, number_in
from steybrae.desk.opened import Desk
from steybrae.errors import PlaceError
from steybrae.figures.style import band_tint
from steybrae.files.model.rasters import RasterModel
from steybrae.pages.page import hex_colour
from steybrae.raster.overhead.layers import CLASSES, NEITHER, UNKNOWN
from steybrae.route.positions.grids import BNG_EPSG, grid_m, lat_lon_deg, on_bng, utm_epsg
from steybrae.route.positions.places import Place, format_place
from steybrae.screening.basis import size_and_reach
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.result import GroundAt
from steybrae.screening.known import Settings, told_of_model
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.jacobian import cell_size_m
from steybrae.value import height, percent, short_text, slope

LAYERS: Final = {
    "bands": "Bands of slope",
    "relief": "Relief",
    "zones": "Start zones",
    "contours": "Contours",
    "unknown": "Unknown ground",
}
"""Layers of the map with their titles, from the lowest to the highest."""

SIGNS: Final = {
    "unknown": "unknown ground",
    "zone": "edge of a start zone",
    "possible": "edge of a possible start zone",
    "contour": "contours",
    "overhead": "up to a start zone overhead",
}
"""Signs of the map beside the bands."""

ALWAYS: Final = ("unknown",)
"""Layers that no one can turn off."""


def model_facts(desk: Desk) -> dict[str, Any]:
    """Tell the model and the map's layers; see the page's script."""
    rows, cols = desk.grid.shape
    cell_m = cell_size_m(desk.grid, cols / 2, rows / 2)
    situation = Situation(**told_of_model(desk.settings, cell_m, desk.grid))
    cautions = (*cautions_for(situation), *desk.ask.cautions)
    return {
        "rows": rows,
        "cols": cols,
        "cell_m": list(cell_m),
        "name": ", ".join(desk.info.files),
        "zooms": list(desk.map.zooms),
        "layers": [
            {"key": key, "title": title, "on": True, "always": key in ALWAYS} for key, title in LAYERS.items()
        ],
        "legend": _legend(desk.settings.bands),
        "intervals": {
            zoom: f"Contours every {desk.map.interval_text(zoom)}"
            for zoom in range(desk.map.zooms[0], desk.map.zooms[1] + 1)
        },
        "zones_from": desk.map.zones_from,
        "overviews": -desk.map.cells.level,
        "settings": _settings(desk.settings),
        "cautions": [caution.text for caution in cautions],
    }


def _settings(settings: Settings) -> list[str]:
    """Say how lines are screened here, as asked for with the command."""
    rules = settings.start_zones
    kind = "not stated" if settings.model_kind is None else settings.model_kind
    return [
        f"Position error {settings.place_error_m:g} m, drift {settings.drift_deg:g}°",
        f"Start zones {rules.low_deg:g} to {rules.high_deg:g}°, {size_and_reach(rules, settings.reach_m)}",
        f"Kind of model {kind}; slopes by {settings.method}, engine {settings.engine}",
    ]


def _legend(scheme: BandScheme) -> list[dict[str, str]]:
    count = len(scheme.bands)
    tints = [hex_colour(band_tint(k, count)) for k in range(count)]
    bands = [
        {"label": in_degrees(band.label), "colour": tint, "pattern": str(k)}
        for k, (band, tint) in enumerate(zip(scheme.bands, tints, strict=True))
    ]
    signs = [{"label": label, "colour": "#000000", "pattern": key} for key, label in SIGNS.items()]
    return [*bands, *signs]


def looked_at(desk: Desk) -> dict[str, Any]:
    """Tell how much of the model the overviews hold: ``tick`` rises with each block."""
    cells = desk.map.cells
    done = cells.looked == cells.layout.count
    share = percent(math.floor(100.0 * cells.looked / cells.layout.count)).text
    words = "" if done else f"{share} of the model looked at; the rest is striped."
    if cells.bad:
        words = f"{words} Parts of the model cannot be read: they are unknown.".strip()
    return {"done": done, "tick": cells.looked, "words": words}


LEAST_APART_PX: Final = 70.0
"""Least distance of two lines, pixels (our choice)."""

MOST_LINES: Final = 40
"""Most lines of one direction (our choice)."""

METRES: Final = (100.0, 1000.0, 10_000.0, 100_000.0)
"""Distances of lines on grids of metres: each is a figure less of a reference."""

DEGREES: Final = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
"""Distances of meridians and parallels, degrees."""

DEGREE_M: Final = 111_320.0
"""A degree of the equator, metres (WGS 84, rounded): only to choose a distance by."""

_SAMPLES: Final = 9

To = Callable[[float, float], tuple[float, float]]
"""From latitude and longitude to the two numbers of a grid, or back."""


def gridlines(desk: Desk, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Give the lines of the user's grid over a view.

    It is told by ``top``, ``left``, ``bottom``, ``right`` (rows and columns of the model) and
    ``zoom``. ``lines``: each with its ``path`` of rows and columns and its ``label``.
    """
    grid = desk.grid
    top, bottom = (min(max(number_in(asked, name), 0.0), grid.shape[0]) for name in ("top", "bottom"))
    left, right = (min(max(number_in(asked, name), 0.0), grid.shape[1]) for name in ("left", "right"))
    zoom = min(max(number_in(asked, "zoom"), -40.0), 10.0)
    if not (top < bottom and left < right):
        return {"lines": []}
    along = np.linspace(0.0, 1.0, _SAMPLES)
    rows, cols = np.meshgrid(top + along * (bottom - top), left + along * (right - left), indexing="ij")
    lon, lat = (part.ravel() for part in grid.to_wgs84(cols, rows))
    least_m = LEAST_APART_PX * max(cell_size_m(grid)) / 2.0**zoom
    known = np.isfinite(lon) & np.isfinite(lat)
    if not known.any():
        return {"lines": []}
    return {"lines": list(_lines(grid, desk.ask.card.grid, lat[known], lon[known], least_m))}


def _lines(grid: Grid, name: str, lat: Array, lon: Array, least_m: float) -> Iterator[dict[str, Any]]:
    middle = (float(np.mean(lat)), float(np.mean(lon)))
    to, back = _ways(name, *middle)
    places = [to(*one) for one in zip(lat.tolist(), lon.tolist(), strict=True)]
    (x0, x1), (y0, y1) = ((min(part), max(part)) for part in zip(*places, strict=True))
    steps = DEGREES if to is _as_it_is else METRES
    least = least_m / DEGREE_M if to is _as_it_is else least_m
    widest = max(x1 - x0, y1 - y0)
    step = next((one for one in steps if one >= least and widest / one <= MOST_LINES), steps[-1])
    for upright, (low, high), (from_, until) in ((True, (x0, x1), (y0, y1)), (False, (y0, y1), (x0, x1))):
        across = np.linspace(from_, until, 2 * _SAMPLES).tolist()
        for k in range(math.ceil(low / step), math.floor(high / step) + 1)[: 2 * MOST_LINES]:
            line = [back(k * step, one) if upright else back(one, k * step) for one in across]
            row_col = _on_grid(grid, line)
            if row_col:
                yield {"path": row_col, "label": _label(k * step, step, steps)}


def _as_it_is(one: float, other: float) -> tuple[float, float]:
    return one, other


def _ways(name: str, lat_deg: float, lon_deg: float) -> tuple[To, To]:
    """To the numbers of the user's grid, and back; degrees where the place is off it."""
    try:
        epsg = BNG_EPSG if name == "bng" else utm_epsg(lat_deg, lon_deg)
        off = name == "bng" and not on_bng(*grid_m(epsg, lat_deg, lon_deg))
    except PlaceError:
        off = True
    if name == "latlon" or off:
        return _as_it_is, _as_it_is
    return lambda lat, lon: grid_m(epsg, lat, lon), lambda east, north: lat_lon_deg(epsg, east, north)


def _on_grid(grid: Grid, line: list[tuple[float, float]]) -> list[list[float]]:
    lat, lon = zip(*line, strict=True)
    col, row = grid.from_wgs84(lon, lat)
    known = np.isfinite(col) & np.isfinite(row)
    found: list[list[float]] = np.column_stack((row, col))[known].round(2).tolist()
    return found if len(found) > 1 else []


def _label(value: float, step: float, steps: tuple[float, ...]) -> str:
    """Write a line's number as the figures that a reference has there; degrees as they are."""
    if steps is DEGREES:
        return f"{value:.{max(0, -math.floor(math.log10(step)))}f}\N{DEGREE SIGN}"
    figures = {100.0: 3, 1000.0: 2, 10_000.0: 1}.get(step)
    whole = round(value / step)
    return f"{whole * round(step / 1000.0)} km" if figures is None else f"{whole % 10**figures:0{figures}d}"


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
    desk.check_unchanged()
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
    return list(_place_lines(ground, desk.map.zone_at(model, *at)))


def _place_lines(ground: GroundAt, zone: int) -> Iterator[str]:
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
