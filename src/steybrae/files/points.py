"""The points along the legs as CSV and GeoJSON, each with its cautions."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.files.results import as_json
from steybrae.forecast.beside import NO_FORECAST_WORDS
from steybrae.quantities import round_down, shown_slope_deg
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array

__all__ = ["cautions_path", "cautions_text", "points_csv", "points_geojson"]

_COLUMNS: Final = (
    "leg",
    "chainage_m",
    "lat_deg",
    "lon_deg",
    "elevation_m",
    "slope_deg",
    "slope_low_deg",
    "slope_high_deg",
    "slope_corridor_deg",
    "band",
    "aspect_true_deg",
    "track_grade_deg",
    "known",
    "overhead_unfiltered_deg",
    "leg_overhead_deg",
    "leg_unknown_above",
    "cautions",
)
_ROUNDED_UP: Final = (
    "slope_deg",
    "slope_high_deg",
    "slope_corridor_deg",
    "overhead_unfiltered_deg",
    "leg_overhead_deg",
)
_DECIMALS: Final = {"lat_deg": 7, "lon_deg": 7}


def _rows(screening: RouteScreening) -> Iterator[dict[str, Any]]:
    bands = BandScheme(screening.settings.edges_deg)
    for leg in screening.legs:
        sight = None if leg.overhead is None else leg.overhead.sight
        whole = {
            "leg_overhead_deg": math.nan if sight is None or sight.deg is None else sight.deg,
            "leg_unknown_above": leg.unknown_above,
            "cautions": " ".join(caution.key for caution in leg.cautions),
        }
        overhead = _overhead_deg(leg)
        for k in range(len(leg.points.chainage_m)):
            yield {**_row(leg, k, bands), "overhead_unfiltered_deg": float(overhead[k]), **whole}


def _overhead_deg(leg: LegScreening) -> Array:
    """Sight angle at each point, whatever lies between: the steeper of the cells before and behind."""
    cells = leg.overhead_profile
    after = np.searchsorted(cells.chainage_m, leg.points.chainage_m)
    last = len(cells.chainage_m) - 1
    before, behind = (cells.sight_unfiltered_deg[np.clip(at, 0, last)] for at in (after - 1, after))
    out: Array = np.fmax(before, behind)
    return out


def _row(leg: LegScreening, k: int, bands: BandScheme) -> dict[str, Any]:
    points = leg.points
    known = bool(points.known[k])
    slope = float(points.slope_deg[k])
    band = bands.band(slope).label if known else "unknown"
    return {
        "leg": leg.number,
        "chainage_m": float(points.chainage_m[k]),
        "lat_deg": float(points.lat_deg[k]),
        "lon_deg": float(points.lon_deg[k]),
        "elevation_m": float(points.elevation_m[k]),
        "slope_deg": slope,
        "slope_low_deg": float(points.slope_low_deg[k]),
        "slope_high_deg": float(points.slope_high_deg[k]),
        "slope_corridor_deg": float(points.corridor_deg[k]),
        "band": band,
        "aspect_true_deg": float(points.aspect_true_deg[k]),
        "track_grade_deg": float(points.track_grade_deg[k]),
        "known": known,
    }


def points_csv(screening: RouteScreening) -> str:
    """Every point along the legs as CSV with a header.

    Parameters
    ----------
    screening
        The result.

    Returns
    -------
    str
        RFC 4180 with line feeds. Slopes are in tenths, rounded up, their lower ends down.
        An unknown value is an empty cell and its band the word ``unknown``; an empty overhead
        cell means nothing only where ``leg_unknown_above`` says no. The sight at a point is that
        whatever lies between, the leg's the steepest open one. The column
        ``cautions`` names those that apply to the leg; `cautions_text` has their texts, for a
        file beside this one.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for row in _rows(screening):
        writer.writerow([_cell(name, row[name]) for name in _COLUMNS])
    return out.getvalue()


def _cell(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and name in _ROUNDED_UP and not math.isnan(value):
        return f"{shown_slope_deg(value):.1f}"
    if name == "slope_low_deg" and not math.isnan(value):
        return f"{round_down(value, 0.1):.1f}"
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.{_DECIMALS.get(name, 2)}f}"
    return str(value)


def cautions_path(points: Path) -> Path:
    """Name of the file of cautions beside a CSV of points: ``points.csv.cautions.txt``."""
    return points.with_name(points.name + ".cautions.txt")


def cautions_text(screening: RouteScreening) -> str:
    """Every caution of a route and its legs, one a line: its key, a tab, its text."""
    every = {caution.key: caution.text for leg in screening.legs for caution in leg.cautions}
    every |= {caution.key: caution.text for caution in screening.cautions}
    if screening.forecast is None:
        every["no_forecast"] = NO_FORECAST_WORDS
    return "".join(f"{key}\t{text}\n" for key, text in every.items())


def points_geojson(screening: RouteScreening) -> str:
    """Every point along the legs as GeoJSON (RFC 7946).

    Parameters
    ----------
    screening
        The result.

    Returns
    -------
    str
        A FeatureCollection of points on WGS 84, unknown values null; the foreign member
        ``cautions`` holds the cautions, ``legs`` the legs of the JSON contract.
    """
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(row["lon_deg"], 7), round(row["lat_deg"], 7)],
            },
            "properties": {
                name: None if isinstance(value, float) and math.isnan(value) else value
                for name, value in row.items()
                if name not in ("lat_deg", "lon_deg")
            },
        }
        for row in _rows(screening)
    ]
    whole = as_json("route", screening)
    collection = {
        "type": "FeatureCollection",
        "features": features,
        "legs": whole["legs"],
        "cautions": whole["cautions"],
    }
    return json.dumps(collection, ensure_ascii=False, allow_nan=False)
