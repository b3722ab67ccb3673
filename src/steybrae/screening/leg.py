"""From the ground along a leg to what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import DEFAULT_EDGES_DEG, Band, BandScheme
from steybrae.cautions import Situation, cautions_for
from steybrae.frozen import dataclass
from steybrae.quantities import finite, shown_slope_deg
from steybrae.route.ascent import climbed, contours_climbed_m
from steybrae.route.corridor import SIDE_REACH_M, SIDE_SLOPES_DEG, BesideLine, half_width_m
from steybrae.route.expected import SteepestOnLine, slope_reading
from steybrae.route.ground import LegGround, Look
from steybrae.route.overhead.result import Above, ExpectedReading
from steybrae.route.shape_result import Spot
from steybrae.route.touching import Pieces
from steybrae.screening.result import LegPoints, LegScreening, Position, SideGround, Sides
from steybrae.screening.standing import StandingRules, SteepWithoutCheck
from steybrae.terrain.attributes import aspect_deg, band_numbers
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.gradients import true_runs

WORTH_DEG: Final = DEFAULT_EDGES_DEG[0]
"""Ground is worth a reading where it is, or may be, as steep as this: the lowest band edge."""

BESIDE: Final = "steepest beside the line"
"""What the steepest of a corridor is called where no check tells it."""

DIVISION_DEG: Final = 1.0
"""Division of a hand inclinometer, degrees (common practice, no source)."""


@dataclass(frozen=True)
class Rules:
    """What every leg of a route is judged by the same.

    `situation` is what the route says of its model, to which each leg adds its own; `reversal_m`
    and `interval_m` are for the ascent; `standing` says where one may stand to take a reading.
    """

    bands: BandScheme
    situation: partial[Situation]
    reversal_m: float
    interval_m: float | None
    grid: Grid
    standing: StandingRules


def screen_leg(
    names: tuple[int, str, str],
    ground: LegGround,
    turns_m: tuple[float, ...],
    above: Above,
    look: Look,
    rules: Rules,
) -> LegScreening:
    """Say what the ground of one leg is like, with None for all that is not known.

    `names` are its number and those of its turn points; it climbs between `turns_m`, by `leg_turns`.
    """
    number, from_, to = names
    pieces, near = ground.pieces, ground.beside
    top = _steepest(pieces)
    slope_max = None if top is None else float(pieces.slope_deg[top])
    slope_low, slope_high = _greatest(pieces.low_deg), _greatest(pieces.high_deg)
    short = short_steeper(rules.bands, slope_max, _greatest(pieces.short_deg))
    corridor = None if near.steepest is None else near.steepest.slope_deg
    short_beside = shown_steeper(corridor, _short_in_corridor(ground))
    unknown = float(pieces.length_m[~pieces.known].sum())
    length = ground.track.length_m
    open_above = unknown > 0.0 or near.unknown or slope_high is None or not pieces.ended.all()
    readings, without = _readings(ground, top, (look, rules), open_above=open_above)
    situation = rules.situation(
        unknown_m=unknown, unknown_near=near.unknown, open_above=open_above, slope_high_deg=slope_high
    )
    turns = np.array(turns_m)
    climb = climbed(turns, at_least=not np.isfinite(ground.surface_m).all())
    on_map_m = None if rules.interval_m is None else contours_climbed_m(turns, rules.interval_m)
    heights = ground.surface_m[np.isfinite(ground.surface_m)]
    return LegScreening(
        number=number,
        from_=from_,
        to=to,
        length_m=length,
        ascent_m=climb.up_m,
        descent_m=climb.down_m,
        ascent_at_least=climb.at_least,
        ascent_on_map_m=on_map_m,
        elevation_min_m=float(heights.min()) if len(heights) else None,
        elevation_max_m=float(heights.max()) if len(heights) else None,
        slope_max_deg=slope_max,
        baseline_m=look.known.measured_m,
        short_slope_max_deg=short,
        slope_low_deg=slope_low,
        slope_high_deg=slope_high,
        slope_max_at=None if top is None else _on_line(ground, top),
        slope_corridor_max_deg=corridor,
        slope_corridor_max_at=_beside(near, rules.grid),
        corridor_half_width_m=_half_widths(length, look),
        corridor_lengths_m=_corridor_lengths_m(near, length, rules.bands),
        track_grade_max_deg=_greatest(np.abs(ground.track_grade_deg)),
        steep_m=float(pieces.length_m[pieces.known & pieces.steep].sum()),
        steep_stretch_m=longest_steep_m(pieces),
        sides=_sides(ground),
        aspect_sectors=pieces.faces(pieces.steep),
        band=None if slope_max is None else rules.bands.band(slope_max),
        bands_possible=possible_bands(rules.bands, slope_max, slope_high, corridor, short, short_beside),
        open_above=open_above,
        band_lengths_m=band_lengths_m(pieces, rules.bands),
        unknown_m=unknown,
        known_share=_known_share(pieces),
        baselines=ground.baselines,
        overhead=above.overhead,
        unknown_above=above.unknown_above,
        convex_rolls=above.convex_rolls,
        terrain_traps=above.terrain_traps,
        expected_readings=readings,
        steep_without_check=without,
        cautions=cautions_for(situation),
        points=_points(ground, look),
        overhead_profile=above.profile,
        unknown_above_at=above.unknown_above_at,
        slope_corridor_high_deg=_corridor_high(ground),
        short_corridor_max_deg=short_beside,
    )


def _readings(
    ground: LegGround, top: int | None, by: tuple[Look, Rules], *, open_above: bool
) -> tuple[tuple[ExpectedReading, ...], tuple[SteepWithoutCheck, ...]]:
    """Slopes on the line that one may stand on, and steep ground on it and beside it without a check."""
    look, rules = by
    steepest = None if top is None else _on_line_steepest(ground, top)
    slopes = []
    if steepest is not None and worth_a_reading(steepest.slope_deg, steepest.high_deg):
        slopes.append(slope_reading(steepest))
    kept, without, _ = rules.standing.split(tuple(slopes), look.place_error_m, open_above=open_above)
    beside = _beside_steepest(ground.beside, rules.grid, steepest, open_above=open_above)
    return kept, (*without, *(() if beside is None else (beside,)))


def named(readings: tuple[ExpectedReading, ...], before: str = "") -> tuple[ExpectedReading, ...]:
    """Name readings by letters in their order: ``7a``, ``7b``."""
    return tuple(replace(one, name=f"{before}{_letter(k)}") for k, one in enumerate(readings))


def _letter(k: int) -> str:
    return chr(ord("a") + k) if k < 26 else f"-{k + 1}"


def worth_a_reading(slope_deg: float, high_deg: float | None) -> bool:
    """Whether ground is, or may be, as steep as `WORTH_DEG`."""
    return high_deg is None or shown_slope_deg(max(slope_deg, high_deg)) >= WORTH_DEG


def _on_line_steepest(ground: LegGround, top: int) -> SteepestOnLine:
    pieces, at = ground.pieces, _on_line(ground, top)
    low, high = (finite(end[top]) for end in (pieces.low_deg, pieces.high_deg))
    height = float(np.interp(at.chainage_m, ground.chainage_m, ground.elevation_m))
    return SteepestOnLine(
        float(pieces.slope_deg[top]),
        low,
        high,
        finite(float(aspect_deg(pieces.p[top : top + 1], pieces.q[top : top + 1])[0])),
        Spot(at.lat_deg, at.lon_deg, finite(height)),
        at.chainage_m,
    )


def _beside_steepest(
    near: BesideLine, grid: Grid, on_line: SteepestOnLine | None, *, open_above: bool
) -> SteepWithoutCheck | None:
    """Tell the steepest of the corridor where it is worth a reading and steeper than the line shows."""
    at = _beside(near, grid)
    if near.steepest is None or at is None or shown_slope_deg(near.steepest.slope_deg) < WORTH_DEG:
        return None
    if on_line is not None and near.steepest.slope_deg - on_line.slope_deg < DIVISION_DEG:
        return None
    return SteepWithoutCheck(at.lat_deg, at.lon_deg, near.steepest.slope_deg, BESIDE, open_above)


def _corridor_high(ground: LegGround) -> float | None:
    """Largest high end of the corridor and the line in it; None where one is not known."""
    cells, pieces = ground.corridor_alone, ground.pieces
    high = np.concatenate((cells.high_deg[cells.known], pieces.high_deg))
    if not (len(high) and pieces.ended.all() and np.isfinite(high).all()):
        return None
    return max(float(high.max()), _short_in_corridor(ground) or 0.0)


def _short_in_corridor(ground: LegGround) -> float | None:
    """Steepest of the corridor and the line in it over two cells."""
    return _greatest(np.concatenate((ground.corridor_alone.slope_deg, ground.pieces.short_deg)))


def _steepest(pieces: Pieces) -> int | None:
    known = np.isfinite(pieces.slope_deg)
    return int(np.argmax(np.where(known, pieces.slope_deg, -1.0))) if known.any() else None


def _known_share(pieces: Pieces) -> float:
    """Share of the length that is known; exactly 0 and 1 where nothing or everything is."""
    if pieces.known.all():
        return 1.0
    return min(1.0, float(pieces.length_m[pieces.known].sum() / pieces.length_m.sum()))


def _greatest(values: Array) -> float | None:
    return float(np.nanmax(values)) if np.isfinite(values).any() else None


def short_steeper(bands: BandScheme, slope: float | None, short: float | None) -> float | None:
    """Slope of a short piece of ground where it is a band steeper than the leading one; else None."""
    if short is None or (slope is not None and bands.band(short).low_deg <= bands.band(slope).low_deg):
        return None
    return short


def shown_steeper(slope: float | None, short: float | None) -> float | None:
    """Slope of a short piece where it is shown steeper than the leading one; else None."""
    if short is None or (slope is not None and shown_slope_deg(short) <= shown_slope_deg(slope)):
        return None
    return short


def possible_bands(
    bands: BandScheme,
    slope_max: float | None,
    slope_high: float | None,
    corridor: float | None,
    *short: float | None,
) -> tuple[Band, ...]:
    """Bands from the steepest on the line to the steepest of its high end, the corridor, short pieces.

    The corridor's slope gets no second error on top.

    Parameters
    ----------
    slope_max, slope_high, corridor, short
        Degrees; None unknown.

    Returns
    -------
    tuple of Band
        Empty only where nothing is known.
    """
    known = [value for value in (slope_max, slope_high, corridor, *short) if value is not None]
    if not known:
        return ()
    start = slope_max if slope_max is not None else min(known)
    return bands.between(start, max(known))


def _on_line(ground: LegGround, piece: int) -> Position:
    chainage_m = float(ground.pieces.start_m[piece] + ground.pieces.end_m[piece]) / 2.0
    lon, lat = ground.track.at(chainage_m)
    return Position(float(lat), float(lon), chainage_m)


def _beside(near: BesideLine, grid: Grid) -> Position | None:
    if near.steepest is None:
        return None
    lon, lat = grid.to_wgs84(near.steepest.col, near.steepest.row)
    return Position(float(lat), float(lon), near.steepest.chainage_m)


def _half_widths(length_m: float, look: Look) -> tuple[float, float]:
    widths = half_width_m(np.array([0.0, length_m]), look.place_error_m, look.drift_deg)
    return float(widths[0]), float(widths[1])


def _corridor_lengths_m(near: BesideLine, length_m: float, bands: BandScheme) -> dict[str, float]:
    shown = shown_slope_deg(near.by_bin_deg)
    bin_m = length_m / len(near.by_bin_deg)
    return {f"{edge:g}": float((shown >= edge).sum() * bin_m) for edge in bands.edges_deg}


def band_lengths_m(pieces: Pieces, bands: BandScheme) -> dict[str, float]:
    """Metres of a line in each band, gentlest first, each piece by the steepest of its cells.

    Unknown pieces are in no band.
    """
    index = band_numbers(pieces.slope_deg[pieces.known], bands)
    sums = np.bincount(index, weights=pieces.length_m[pieces.known], minlength=len(bands.bands))
    return dict(zip(bands.labels, sums.tolist(), strict=True))


def longest_steep_m(pieces: Pieces) -> float:
    """Longest stretch of steep ground, metres, from steep to steep; 0 where none is.

    Unknown ground inside does not end a stretch: it may be steep too.
    """
    longest, start = 0.0, math.nan
    steep = pieces.steep
    ended = ~steep & pieces.known
    for is_steep, is_end, begin_m, end_m in zip(steep, ended, pieces.start_m, pieces.end_m, strict=True):
        if is_steep:
            start = begin_m if math.isnan(start) else start
            longest = max(longest, float(end_m - start))
        elif is_end:
            start = math.nan
    return longest


def _sides(ground: LegGround) -> Sides:
    near = ground.beside
    return Sides(
        left=_side(ground, "left"),
        right=_side(ground, "right"),
        unknown_left="left" in near.unknown_sides,
        unknown_right="right" in near.unknown_sides,
        reach_m=SIDE_REACH_M,
    )


def _side(ground: LegGround, side: str) -> tuple[SideGround, ...]:
    found = []
    known = np.isfinite(ground.elevation_m)
    for least in SIDE_SLOPES_DEG:
        nearest = ground.beside.nearest.get((side, least))
        if nearest is None:
            continue
        difference = None
        if known.any():
            line_m = np.interp(nearest.chainage_m, ground.chainage_m[known], ground.elevation_m[known])
            difference = nearest.height_m - float(line_m)
        runs = _runs_m(ground.beside.near_bins[side, least], ground.track.length_m)
        found.append(SideGround(least, nearest.distance_m, difference, nearest.chainage_m, runs))
    return tuple(found)


def _runs_m(flags: NDArray[np.bool_], length_m: float) -> tuple[tuple[float, float], ...]:
    """From and to of every run of set bins, metres."""
    bin_m = length_m / len(flags)
    return tuple((float(a * bin_m), float(b * bin_m)) for a, b in true_runs(flags))


def _points(ground: LegGround, look: Look) -> LegPoints:
    pieces, chainage = ground.pieces, ground.chainage_m
    lon, lat = ground.track.at(chainage)
    at = np.clip(np.searchsorted(pieces.end_m, chainage, side="left"), 0, len(pieces.end_m) - 1)
    by_bin = ground.beside.by_bin_deg
    return LegPoints(
        chainage,
        lat,
        lon,
        ground.elevation_m,
        np.where(pieces.known[at], pieces.slope_deg[at], np.nan),
        np.where(pieces.known[at], pieces.low_deg[at], np.nan),
        np.where(pieces.known[at] & pieces.ended[at], pieces.high_deg[at], np.nan),
        ground.aspect_true_deg,
        ground.track_grade_deg,
        by_bin[np.minimum(np.arange(len(chainage)), len(by_bin) - 1)],
        half_width_m(chainage, look.place_error_m, look.drift_deg),
        pieces.known[at],
    )
