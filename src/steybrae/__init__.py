"""Slope and avalanche-terrain angles from contour spacing and elevation models.

The public library. Names are loaded when first asked for (PEP 562), so that importing the
package costs nothing; numpy, rasterio and pyproj come with the names that need them.

>>> from steybrae import GapMeasurement, slope_from_spacing
"""

from __future__ import annotations

from importlib import import_module
from typing import Any, Final

__version__ = "0.1.0"
"""Version of the package; the build reads it here."""

_HOMES: Final = {
    "BandScheme": "bands",
    "Dem": "terrain.dem",
    "GapMeasurement": "paper.measurement",
    "GapResult": "paper.spacing",
    "Grid": "terrain.dem",
    "ModelOrigin": "screening",
    "Place": "route.positions.places",
    "Route": "route.legs",
    "RouteScreening": "screening",
    "Settings": "screening",
    "SteybraeError": "errors",
    "aspect_deg": "terrain.attributes",
    "json_text": "files.results",
    "open_model": "files.model.rasters",
    "parse_place": "route.positions.places",
    "read_plan": "files.plans",
    "read_route": "files.routes",
    "screen_route": "screening",
    "shown_slope_deg": "quantities",
    "slope_deg": "terrain.attributes",
    "slope_field": "terrain.attributes",
    "slope_from_spacing": "paper.spacing",
    "write_plan": "files.plans",
}

__all__ = sorted(_HOMES)  # noqa: PLE0605  a list of str all the same


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    return getattr(import_module(f"steybrae.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
