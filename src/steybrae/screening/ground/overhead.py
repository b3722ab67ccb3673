"""Overhead angles of a place, and a drop near it, added to the ground at it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from steybrae.cautions import Situation, cautions_for
from steybrae.quantities import shown_slope_deg
from steybrae.route.corridor import LEAST_HALF_WIDTH_M
from steybrae.route.expected import SteepestOnLine, expected_readings
from steybrae.route.leg_baselines import place_baselines
from steybrae.route.overhead.kept_ground import KeptPlaces
from steybrae.route.overhead.legs import place_above
from steybrae.route.overhead.result import OverheadAnswer, SightAnswer
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import Spot, shape_words
from steybrae.screening.basis import least_known_m, left_out_words, lowered_to_deg
from steybrae.screening.ground.result import DropNear, GroundAt, RunOut
from steybrae.screening.known import Settings, overhead_look, slopes_known
from steybrae.screening.leg import named
from steybrae.screening.standing import StandingRules, cells_off_m
from steybrae.terrain.dem import Array, DemSource, window_round
from steybrae.terrain.gradients import heights_at
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.overhead.ground import REACH_M
from steybrae.terrain.overhead.path import ALPHA_SD_DEG, alpha_deg, beta_point
from steybrae.terrain.shape import drop_m

FACE_M: Final = 300.0
"""How far beyond the distance looked at a face is followed to its top and foot, metres (our choice: one
of 55 degrees is 428 m high then)."""

FACE_CELLS: Final = 1200
"""The same in cells, for models finer than 25 cm (our choice)."""


def with_above(
    ground: GroundAt,
    place: Place,
    source: DemSource,
    settings: Settings | None = None,
    *,
    published: bool = False,
    kept: KeptPlaces | None = None,
) -> GroundAt:
    """Return the same ground with the overhead angles of the place.

    And with slopes over baselines, shape, checks and the nearest drop, and the cautions
    that belong to them; with published run-out angles, for teaching, where asked for. `kept` is for
    several places.
    """
    settings = settings or Settings()
    jacobian = jacobian_at(source.grid, *source.grid.from_wgs84(place.lon_deg, place.lat_deg))
    known = slopes_known(settings.method, jacobian, settings)
    look = overhead_look(ground.cell_size_m, jacobian, settings)
    above = place_above(source, place, look, kept)
    rolls = tuple(replace(one, reason=shape_words(one, at_place=True)) for one in above.convex_rolls)
    within_m, cell_m = ground.within.radius_m, max(ground.cell_size_m)
    readings = expected_readings(above, _steepest(ground), known, cell_m, within_m)
    standing = StandingRules(source, settings.method, settings.engine, known)
    told, without, little = standing.split(readings, within_m, open_above=ground.open_above)
    sight = None if above.overhead is None else above.overhead.sight
    found = run_out(source, place, sight) if published and sight is not None else None
    more = cautions_for(
        Situation(
            overhead=True,
            overhead_short=least_known_m([above.overhead]) is not None,
            runout=published,
            start_lowered_to_deg=lowered_to_deg(settings.start_zones, [above.overhead]),
            overhead_left_out=left_out_words(settings.start_zones, settings.reach_m),
        )
    )
    return replace(
        ground,
        baselines=place_baselines(source, place.lon_deg, place.lat_deg, ground.cell_size_m),
        start_zones=settings.start_zones,
        overhead=_standing_in(ground, above.overhead, settings),
        unknown_above=above.unknown_above,
        unknown_above_at=above.unknown_above_at,
        convex_rolls=rolls,
        terrain_traps=above.terrain_traps,
        expected_readings=named(
            tuple(replace(one, number=number, chainage_m=None) for number, one in enumerate(told, start=1))
        ),
        steep_without_check=without,
        reading_left_out=next(iter(little), None),
        run_out=found,
        drop=drop_near(source, place, max(within_m, LEAST_HALF_WIDTH_M)),
        cautions=(*ground.cautions, *(caution for caution in more if caution not in ground.cautions)),
    )


def _standing_in(ground: GroundAt, looks: OverheadAnswer | None, settings: Settings) -> OverheadAnswer | None:
    """Take a place for one in a possible zone where nothing shows that it is in none.

    Beside unknown ground the joined cells, from which zones are made, are unknown; the place's own cell is
    then asked, and where that is unknown too it may be as steep as any.
    """
    if looks is None or looks.in_possible_zone or looks.known_to_m != 0.0:
        return looks
    high, low_deg = ground.slope_high_deg, settings.start_zones.low_deg
    may = ground.slope_deg is None or high is None or shown_slope_deg(high) >= low_deg
    return replace(looks, in_possible_zone=True) if may else looks


def _steepest(ground: GroundAt) -> SteepestOnLine | None:
    if ground.slope_deg is None:
        return None
    here = Spot(ground.place.lat_deg, ground.place.lon_deg, ground.elevation_m)
    ends = ground.slope_low_deg, ground.slope_high_deg
    return SteepestOnLine(ground.slope_deg, *ends, ground.aspect_true_deg, here, None)


def drop_near(source: DemSource, place: Place, reach_m: float) -> DropNear | None:
    """Find the nearest drop to a place, within `reach_m`, judged on single cells as on a line."""
    col, row = (float(value) for value in source.grid.from_wgs84(place.lon_deg, place.lat_deg))
    jacobian = jacobian_at(source.grid, col, row)
    size_m = np.hypot(*jacobian)
    across, along = np.ceil(reach_m / size_m + np.minimum(FACE_M / size_m, FACE_CELLS)).astype(int)
    dem, at = window_round(source, (col, row), (int(across), int(along)))
    off_m = cells_off_m(dem.grid.shape, at, jacobian)
    fall_m = drop_m(dem.heights_m, jacobian, *dem.others_m)
    near = np.flatnonzero((fall_m > 0.0) & (off_m <= reach_m))
    if len(near) == 0:
        return None
    nearest = np.unravel_index(near[np.lexsort((-fall_m.flat[near], off_m.flat[near]))[0]], off_m.shape)
    east, north = jacobian @ (np.array([nearest[1], nearest[0]]) + 0.5 - at)
    nearest_m = float(off_m[nearest])
    return DropNear(
        nearest_m,
        float(fall_m.flat[near].max()),
        None if nearest_m == 0.0 else math.degrees(math.atan2(east, north)) % 360.0,
    )


def run_out(source: DemSource, place: Place, sight: SightAnswer) -> RunOut | None:
    """Take published run-out angles along the straight way from the top of a zone past a place.

    None where the ground does not flatten to 10 degrees within reach and within what is known. For
    teaching: the profile is straight, the path of snow is not.
    """
    if sight.top is None:
        return None
    distance_m, height_m = _profile(source, place, sight.top.place)
    at = beta_point(distance_m, height_m)
    if at is None or height_m[at] >= height_m[0]:
        return None
    beta = math.degrees(math.atan2(float(height_m[0] - height_m[at]), float(distance_m[at])))
    return RunOut(
        beta,
        float(distance_m[at]),
        alpha_deg(beta),
        alpha_deg(beta, 2.0),
        ALPHA_SD_DEG,
        sight.top.deg,
    )


def _profile(source: DemSource, place: Place, top: Spot) -> tuple[Array, Array]:
    """Distance and height from a top past a place, a point for each cell, as far as known."""
    lon, lat = np.array([top.lon_deg, place.lon_deg]), np.array([top.lat_deg, place.lat_deg])
    ends = np.stack(source.grid.from_wgs84(lon, lat))
    step = ends[:, 1] - ends[:, 0]
    far_m = float(np.hypot(*(jacobian_at(source.grid, *ends[:, 1]) @ step)))
    share = np.arange(0.0, 1.0 + REACH_M / far_m, 1.0 / float(np.abs(step).max()))
    col, row = ends[:, :1] + step[:, None] * share
    left, first = math.floor(col.min()) - 1, math.floor(row.min()) - 1
    cols, rows = math.ceil(col.max()) + 2 - left, math.ceil(row.max()) + 2 - first
    height = heights_at(source.read(first, left, rows, cols).heights_m, col - left, row - first)
    end = int(np.argmax(np.isnan(height))) if np.isnan(height).any() else len(height)
    return share[:end] * far_m, height[:end]
