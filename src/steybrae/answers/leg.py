"""The columns that tell a leg, written once for terminal, page, figure and file."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final

from steybrae.bands import STEEP_DEG, bands_text
from steybrae.document import NONE, Cell, Column, or_none
from steybrae.route.corridor import SIDE_SLOPES_DEG
from steybrae.screening.result import LegScreening, SideGround, Totals
from steybrae.value import (
    UNKNOWN,
    Value,
    climb,
    distance_off,
    gentle_length,
    kilometres,
    length,
    slope,
    steep_length,
)

_SIDES = " | ".join(f"{deg:g}°" for deg in SIDE_SLOPES_DEG)


def leg_slope(leg: LegScreening) -> Value:
    """Steepest on the line of a leg."""
    interval = (leg.slope_low_deg, leg.slope_high_deg)
    return slope(leg.slope_max_deg, at_least=leg.open_above, interval=interval)


def short_text(short_deg: float | None) -> str:
    """``, short pieces to 48.0°`` where shorter ground is a band steeper; empty elsewhere."""
    return "" if short_deg is None else f", short pieces to {slope(short_deg).text}"


def corridor_slope(leg: LegScreening | Totals) -> Value:
    """Steepest in the corridor of a leg or of the whole line."""
    return slope(leg.slope_corridor_max_deg, at_least=leg.open_above)


def side_text(side: Sequence[SideGround], *, unknown: bool) -> str:
    """Distances to ground of 30 and of 45 degrees on one side: ``24 | -``."""
    near = {ground.least_slope_deg: distance_off(ground.distance_m).figure for ground in side}
    words = " | ".join(near.get(deg, NONE) for deg in SIDE_SLOPES_DEG)
    return f"{words} {UNKNOWN}" if unknown else words


def _interval(leg: LegScreening) -> Cell:
    return UNKNOWN if leg.slope_max_deg is None else leg_slope(leg).interval_text


def _short(leg: LegScreening) -> Cell:
    return NONE if leg.short_slope_max_deg is None else slope(leg.short_slope_max_deg)


def _at(leg: LegScreening) -> Value:
    return length(None if leg.slope_max_at is None else leg.slope_max_at.chainage_m)


def _overhead(leg: LegScreening) -> Cell:
    """Steepest angle overhead, sight or path; a leg that stands in a start zone says so."""
    looks, deg = leg.overhead, _overhead_deg(leg)
    if looks is None:
        return UNKNOWN
    inside = ", in a zone" if looks.in_start_zone else ""
    if deg is None:
        return UNKNOWN if leg.unknown_above else f"none of {looks.least_deg:g}°+{inside}"
    return f"{slope(deg, at_least=leg.unknown_above).text}{inside}"


def _overhead_deg(leg: LegScreening) -> float | None:
    looks = leg.overhead
    found = () if looks is None else (looks.sight, looks.path)
    return max((one.deg for one in found if one is not None and one.deg is not None), default=None)


def _overhead_order(leg: LegScreening) -> float:
    deg = _overhead_deg(leg)
    if deg is None:
        return math.inf if leg.unknown_above or leg.overhead is None else 0.0
    return deg


def _nearest(side: Sequence[SideGround], *, unknown: bool) -> float:
    return side[0].distance_m if side else 0.0 if unknown else math.inf


def _high(leg: LegScreening) -> float:
    return math.inf if leg.slope_high_deg is None else leg.slope_high_deg


def _last_band(leg: LegScreening) -> float:
    return leg.bands_possible[-1].low_deg if leg.bands_possible else math.inf


def _unknown_m(leg: LegScreening) -> float:
    return leg.unknown_m


LEG_COLUMNS: Final = (
    Column("number", "Leg", lambda leg: str(leg.number)),
    Column("from_", "From", lambda leg: leg.from_, align="left", width=26),
    Column("to", "To", lambda leg: leg.to, align="left", width=26),
    Column("length_m", "km", lambda leg: kilometres(leg.length_m), "km"),
    Column("ascent_m", "Up, m", lambda leg: climb(leg.ascent_m, at_least=leg.ascent_at_least), "m"),
    Column("descent_m", "Down, m", lambda leg: climb(leg.descent_m, at_least=leg.ascent_at_least), "m"),
    Column("slope_max_deg", "Steepest on line", leg_slope),
    Column("slope_max_at", "at m", _at, "m"),
    Column("slope_interval", "95 % interval", _interval, order=_high),
    Column("short_slope_max_deg", "Short pieces", _short),
    Column("slope_corridor_max_deg", "Corridor", corridor_slope),
    Column(
        "bands_possible",
        "Possible bands",
        lambda leg: bands_text(leg.bands_possible, open_above=leg.open_above),
        align="left",
        width=15,
        order=_last_band,
    ),
    Column(
        "steep_m",
        f"m of {STEEP_DEG:g}°+",
        lambda leg: steep_length(leg.steep_m, at_least=leg.unknown_m > 0),
        "m",
    ),
    Column(
        "steep_stretch_m",
        "longest",
        lambda leg: steep_length(leg.steep_stretch_m, at_least=leg.unknown_m > 0),
        "m",
    ),
    Column(
        "left",
        f"m off to {_SIDES}, left",
        lambda leg: side_text(leg.sides.left, unknown=leg.sides.unknown_left),
        align="left",
        order=lambda leg: _nearest(leg.sides.left, unknown=leg.sides.unknown_left),
    ),
    Column(
        "right",
        f"m off to {_SIDES}, right",
        lambda leg: side_text(leg.sides.right, unknown=leg.sides.unknown_right),
        align="left",
        order=lambda leg: _nearest(leg.sides.right, unknown=leg.sides.unknown_right),
    ),
    Column("overhead_deg", "Overhead", _overhead, order=_overhead_order),
    Column(
        "unknown_m", "Unknown\nm", lambda leg: or_none(steep_length(leg.unknown_m)), "m", order=_unknown_m
    ),
    Column(
        "aspect_sectors", "Steep ground faces", lambda leg: " ".join(leg.aspect_sectors) or NONE, align="left"
    ),
)
"""Everything that a table tells of a leg; each output takes those for which it has room."""


def leg_columns(*keys: str) -> tuple[Column, ...]:
    """Columns of `LEG_COLUMNS` by their keys, in the order asked for."""
    by_key = {column.key: column for column in LEG_COLUMNS}
    return tuple(by_key[key] for key in keys)


def band_columns(labels: Iterable[str]) -> tuple[Column, ...]:
    """Metres of a leg, or of the whole line, in each band: the gentlest down, all others up."""
    return tuple(
        Column(f"band_{label}_m", label, _in_band(label, gentle_length if k == 0 else steep_length), "m")
        for k, label in enumerate(labels)
    )


def _in_band(label: str, rounded: Callable[[float], Value]) -> Callable[[LegScreening | Totals], Cell]:
    return lambda leg: or_none(rounded(leg.band_lengths_m[label]))
