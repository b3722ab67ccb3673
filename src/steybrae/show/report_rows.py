"""The cells of the report's tables, rounded by the one rule."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from steybrae.answers.leg import bands_text
from steybrae.quantities import slope_text
from steybrae.route.corridor import SIDE_SLOPES_DEG
from steybrae.route.overhead_result import OverheadAnswer
from steybrae.screening.result import LegScreening, RouteScreening, SideGround
from steybrae.show.report_words import (
    along_text,
    bearing_text,
    interval_text,
    kilometres,
    metres_down,
    metres_up,
)

__all__ = ["Cell", "band_rows", "reading_rows", "side_text", "table_row"]


@dataclass(frozen=True)
class Cell:
    """A cell of a table; `value` sorts it, infinite where unknown: unknown is never gentle."""

    text: str
    value: float | None = None


def table_row(leg: LegScreening) -> tuple[Cell, ...]:
    """Cells of a leg after its names; the columns stand in the template."""
    climb = "≥\N{NO-BREAK SPACE}" if leg.ascent_at_least else ""
    steep = "≥\N{NO-BREAK SPACE}" if leg.open_above else ""
    unsure = "≥\N{NO-BREAK SPACE}" if leg.unknown_m > 0.0 else ""
    at = "" if leg.slope_max_at is None else along_text(leg.slope_max_at.chainage_m)
    overhead = _overhead_deg(leg.overhead)
    return (
        Cell(kilometres(leg.length_m).removesuffix(" km"), leg.length_m),
        Cell(f"{climb}{metres_up(leg.ascent_m)}", leg.ascent_m),
        Cell(f"{climb}{metres_up(leg.descent_m)}", leg.descent_m),
        _slope_cell(leg.slope_max_deg, steep),
        Cell(at, None if leg.slope_max_at is None else leg.slope_max_at.chainage_m),
        Cell(interval_text(leg.slope_low_deg, leg.slope_high_deg), _or_most(leg.slope_high_deg)),
        _slope_cell(leg.slope_corridor_max_deg, steep),
        Cell(
            bands_text(leg.bands_possible, open_above=leg.open_above),
            _or_most(leg.bands_possible[-1].low_deg if leg.bands_possible else None),
        ),
        Cell(f"{unsure}{metres_up(leg.steep_m)}", leg.steep_m),
        Cell(f"{unsure}{metres_up(leg.steep_stretch_m)}", leg.steep_stretch_m),
        Cell(side_text(leg.sides.left, unknown=leg.sides.unknown_left), _nearest(leg.sides.left)),
        Cell(side_text(leg.sides.right, unknown=leg.sides.unknown_right), _nearest(leg.sides.right)),
        _overhead_cell(overhead, leg),
        Cell(metres_up(leg.unknown_m) if leg.unknown_m else "–", leg.unknown_m),
        Cell(" ".join(leg.aspect_sectors) or "–"),
    )


def _slope_cell(deg: float | None, least: str) -> Cell:
    return Cell("unknown" if deg is None else f"{least}{slope_text(deg)}", _or_most(deg))


def _or_most(value: float | None) -> float:
    return math.inf if value is None else value


def _nearest(side: Sequence[SideGround]) -> float:
    return side[0].distance_m if side else math.inf


def _overhead_deg(overhead: OverheadAnswer | None) -> float | None:
    """Steepest of the angles that look down; None where there is none."""
    if overhead is None:
        return None
    found = [one.deg for one in (overhead.sight, overhead.path) if one is not None and one.deg is not None]
    return max(found, default=None)


def _overhead_cell(deg: float | None, leg: LegScreening) -> Cell:
    """Steepest angle overhead; a leg that itself stands in a start zone says so."""
    if leg.overhead is None:
        return Cell("unknown", math.inf)
    least = "≥\N{NO-BREAK SPACE}" if leg.unknown_above else ""
    inside = ", in a zone" if leg.overhead.in_start_zone else ""
    if deg is None:
        return Cell(
            "unknown" if leg.unknown_above else f"none found{inside}", math.inf if leg.unknown_above else 0.0
        )
    return Cell(f"{least}{slope_text(deg)}{inside}", deg)


def side_text(side: Sequence[SideGround], *, unknown: bool) -> str:
    """Distances to ground of 30 and of 45 degrees on one side, rounded down."""
    near = {ground.least_slope_deg: metres_down(ground.distance_m) for ground in side}
    words = " | ".join(near.get(slope, "–") for slope in SIDE_SLOPES_DEG)
    return f"{words}, unknown" if unknown else words


def band_rows(screening: RouteScreening) -> tuple[tuple[str, tuple[Cell, ...]], ...]:
    """Metres of each leg in each band, unknown ground last; then those of all."""
    rows = [(str(leg.number), _lengths(leg.band_lengths_m.values(), leg.unknown_m)) for leg in screening.legs]
    totals = screening.totals
    return (*rows, ("all", _lengths(totals.band_lengths_m.values(), totals.unknown_m)))


def _lengths(lengths: Iterable[float], unknown_m: float) -> tuple[Cell, ...]:
    values = [*lengths, unknown_m]
    return tuple(
        Cell("–" if not metres else (metres_down if k == 0 else metres_up)(metres), metres)
        for k, metres in enumerate(values)
    )


def reading_rows(screening: RouteScreening) -> tuple[tuple[str, ...], ...]:
    """Give number, leg, along it, place, look, expect, 95 % and what, of each reading to expect."""
    return tuple(
        (
            str(one.number),
            str(leg.number),
            f"{along_text(one.chainage_m)} m",
            f"{one.place.lat_deg:.5f}, {one.place.lon_deg:.5f}",
            bearing_text(one.look_bearing_true_deg),
            slope_text(one.expected_deg),
            interval_text(one.low_deg, one.high_deg),
            one.what,
        )
        for leg in screening.legs
        for one in leg.expected_readings
    )
