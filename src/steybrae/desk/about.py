"""What the page is told of the model and the layers of its map."""

from __future__ import annotations

import math
from typing import Any, Final

from steybrae.bands import BandScheme, in_degrees
from steybrae.cautions import Situation, cautions_for
from steybrae.desk.opened import Desk
from steybrae.figures.style import band_tint
from steybrae.pages.page import hex_colour
from steybrae.screening.basis import size_and_reach
from steybrae.screening.known import Settings, told_of_model
from steybrae.terrain.jacobian import cell_size_m
from steybrae.value import percent

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
