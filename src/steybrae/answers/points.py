"""The points along the legs as CSV and GeoJSON, each with its cautions."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.document import Cell, Column, Table
from steybrae.files.results import as_json
from steybrae.forecast.beside import caution_lines
from steybrae.frozen import dataclass
from steybrae.render.table import csv_text
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.terrain.dem import Array
from steybrae.value import UNKNOWN, Value, distance_off, lower, overhead, slope, steep_length


@dataclass(frozen=True, eq=False)
class _Point:
    leg: LegScreening
    k: int
    band: str
    overhead_deg: float

    def number(self, name: str) -> float:
        return float(getattr(self.leg.points, name)[self.k])


def _of(name: str, value: Callable[[float], Cell]) -> Callable[[_Point], Cell]:
    return lambda at: value(at.number(name))


def _hundredth(number: float) -> Value:
    return Value(number, "", 0.01)


def _degree_on_earth(number: float) -> Value:
    return Value(number, "", 1e-7)


def _leg_overhead(at: _Point) -> Value:
    looks = at.leg.overhead
    return overhead(None if looks is None or looks.sight is None else looks.sight.deg)


def _drop(leg: LegScreening, name: str) -> float | None:
    return None if leg.drop is None else float(getattr(leg.drop, name))


def _yes(value: bool) -> str:
    return "yes" if value else "no"


_COLUMNS: Final = (
    Column("leg", "", lambda at: str(at.leg.number)),
    Column("chainage_m", "", _of("chainage_m", _hundredth)),
    Column("lat_deg", "", _of("lat_deg", _degree_on_earth)),
    Column("lon_deg", "", _of("lon_deg", _degree_on_earth)),
    Column("elevation_m", "", _of("elevation_m", _hundredth)),
    Column("slope_deg", "", _of("slope_deg", slope)),
    Column("slope_low_deg", "", _of("slope_low_deg", lower)),
    Column("slope_high_deg", "", _of("slope_high_deg", slope)),
    Column("slope_corridor_deg", "", _of("corridor_deg", slope)),
    Column("band", "", lambda at: at.band),
    Column("aspect_true_deg", "", _of("aspect_true_deg", _hundredth)),
    Column("track_grade_deg", "", _of("track_grade_deg", _hundredth)),
    Column("known", "", lambda at: _yes(bool(at.leg.points.known[at.k]))),
    Column("overhead_unfiltered_deg", "", lambda at: overhead(at.overhead_deg)),
    Column("leg_slope_max_deg", "", lambda at: slope(at.leg.slope_max_deg)),
    Column("leg_short_slope_max_deg", "", lambda at: slope(at.leg.short_slope_max_deg)),
    Column("leg_short_corridor_max_deg", "", lambda at: slope(at.leg.short_corridor_max_deg)),
    Column("leg_drop_fall_m", "", lambda at: steep_length(_drop(at.leg, "fall_m"))),
    Column("leg_drop_off_m", "", lambda at: distance_off(_drop(at.leg, "off_m"))),
    Column("leg_overhead_deg", "", _leg_overhead),
    Column("leg_unknown_above", "", lambda at: _yes(at.leg.unknown_above)),
    Column("cautions", "", lambda at: " ".join(caution.key for caution in at.leg.cautions)),
)


def overhead_at_points_deg(leg: LegScreening) -> Array:
    """Sight angle at each point of a leg, whatever lies between.

    The steeper of the two places of the leg's profile before and behind the point: the first two and
    the last two at its ends. NaN where nothing was found or the ground is not known.
    """
    profile = leg.overhead_profile
    if len(profile.chainage_m) == 0:
        return np.full(len(leg.points.chainage_m), np.nan)
    last = len(profile.chainage_m) - 1
    after = np.searchsorted(profile.chainage_m, leg.points.chainage_m).clip(min(1, last), last)
    found = profile.sight_unfiltered_deg
    steeper: Array = np.fmax(found[(after - 1).clip(0)], found[after])
    return steeper


def _points(screening: RouteScreening) -> Iterator[_Point]:
    bands = BandScheme(screening.settings.edges_deg)
    for leg in screening.legs:
        above = overhead_at_points_deg(leg)
        for k, deg in enumerate(leg.points.slope_deg):
            band = bands.band(float(deg)).label if leg.points.known[k] else UNKNOWN
            yield _Point(leg, k, band, float(above[k]))


def points_csv(screening: RouteScreening) -> str:
    """Every point along the legs as CSV with a header: RFC 4180 with line feeds.

    Slopes are in tenths, rounded up, their lower ends down. An unknown value is an empty cell and
    its band the word ``unknown``; an empty overhead cell means nothing only where
    ``leg_unknown_above`` says no. The leg's steepest counts every cell that its line touches, and may lie
    between two points. Its short pieces are empty where none is steeper than its
    figures, its drop where none was found in the corridor. The sight at a point is that whatever
    lies between, the leg's the steepest open one. The column ``cautions`` names those that apply to
    the leg; `cautions_text` has their texts, for a file beside this one.
    """
    return csv_text(Table(_COLUMNS, tuple(_points(screening))))


def cautions_path(points: Path) -> Path:
    """Name of the file of cautions beside a CSV of points: ``points.csv.cautions.txt``."""
    return points.with_name(points.name + ".cautions.txt")


def cautions_text(screening: RouteScreening) -> str:
    """Every caution of a route and its legs, one a line: its key, a tab, its text."""
    of_legs = (caution for leg in screening.legs for caution in leg.cautions)
    return caution_lines((*of_legs, *screening.cautions), screening.forecast)


def points_geojson(screening: RouteScreening) -> str:
    """Every point along the legs as GeoJSON (RFC 7946).

    A FeatureCollection of points on WGS 84, unknown values null; the foreign member ``cautions``
    holds the cautions, ``legs`` the legs of the JSON contract.
    """
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(at.number("lon_deg"), 7), round(at.number("lat_deg"), 7)],
            },
            "properties": {
                column.key: _property(column, at) for column in _COLUMNS if column.key not in _PLACE
            },
        }
        for at in _points(screening)
    ]
    whole = as_json("route", screening)
    collection = {
        "type": "FeatureCollection",
        "features": features,
        "legs": whole["legs"],
        "cautions": whole["cautions"],
    }
    return json.dumps(collection, ensure_ascii=False, allow_nan=False)


_PLACE: Final = ("lat_deg", "lon_deg")


def _property(column: Column, at: _Point) -> Any:
    """Take the number of a point, unrounded."""
    cell = column.of(at)
    if isinstance(cell, Value):
        return cell.number
    if column.key == "leg":
        return at.leg.number
    return cell == "yes" if cell in ("yes", "no") else cell
