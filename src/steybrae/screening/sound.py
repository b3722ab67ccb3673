"""Whether a result that was read from a file can be one of ours.

A saved plan may come from somebody else. What can be worked out from its parts is worked out anew:
the totals and every caution that follows from what it says. What contradicts itself is refused.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterator
from typing import Any, TypeVar

import numpy as np
import pyproj

from steybrae.bands import STEEP_DEG, BandScheme
from steybrae.cautions import Situation, cautions_for, joined_cautions
from steybrae.errors import ModelError, PlanError
from steybrae.quantities import shown_slope_deg
from steybrae.route.ascent import ascent
from steybrae.screening.basis import least_known_m, left_out_words, lowered_to_deg
from steybrae.screening.compared import ComparedLine, RouteLines, WayOff
from steybrae.screening.leg import BESIDE, possible_bands, short_steeper, shown_steeper
from steybrae.screening.pictures.relief import legs_on_map, places_on_map, profile_of
from steybrae.screening.places.sound import SAME, SAME_M, figures_of, on_line, place_contradictions
from steybrae.screening.places.words import place_words
from steybrae.screening.result import LegScreening, RouteScreening, Totals
from steybrae.screening.sound_overhead import SAME_SHARE, overhead_contradictions, rises_over
from steybrae.screening.totals import doubtful_heights, route_totals
from steybrae.terrain.dem import EARTH, Grid
from steybrae.terrain.examine.found import kinds_told

_Part = TypeVar("_Part", LegScreening, ComparedLine, WayOff)


def sound(found: RouteScreening) -> RouteScreening:
    """Work out anew what follows from a result's parts, and refuse what contradicts itself.

    Every caution that its figures call for is in it, whatever it said of them, and those others of
    ours that it held; its totals are those of its legs. `PlanError` without a leg, or where figures
    contradict each other: which.
    """
    for what in _contradictions(found):
        message = f"The parts of a plan should agree; {what}. Save the plan again."
        raise PlanError(message)
    situation = _situation(found)
    legs = tuple(_with_own_cautions(leg, situation) for leg in found.legs)
    near = any(caution.key == "unknown_near" for leg in legs for caution in leg.cautions)
    whole = dataclasses.replace(
        situation,
        unknown_m=found.totals.unknown_m,
        unknown_near=near,
        open_above=found.totals.open_above,
        unit_doubtful=doubtful_heights(legs, found.totals),
    )
    forecast = found.forecast
    if forecast is not None:
        findings = (finding.caution for finding in forecast.findings)
        brought = (*findings, *cautions_for(Situation(bulletin=True)))
        forecast = dataclasses.replace(forecast, cautions=joined_cautions(brought, forecast.cautions))
    called_for = (*cautions_for(whole), *(() if forecast is None else forecast.cautions))
    cautions = joined_cautions(called_for, found.cautions)
    found = dataclasses.replace(found, legs=legs, forecast=forecast, cautions=cautions)
    return _with_line_cautions(found, situation) if isinstance(found, RouteLines) else found


def _with_line_cautions(found: RouteLines, situation: Situation) -> RouteLines:
    return dataclasses.replace(
        found,
        lines=tuple(_with_own_cautions(line, situation) for line in found.lines),
        ways_off=tuple(_with_own_cautions(way, situation) for way in found.ways_off),
    )


def _situation(found: RouteScreening) -> Situation:
    """Say what is the same for the whole line and for each leg."""
    settings, model = found.settings, found.model
    return Situation(
        from_model=True,
        overhead=True,
        overhead_short=least_known_m(leg.overhead for leg in found.legs) is not None,
        cell_size_m=max(model.cell_size_m),
        unit_assumed=model.height_unit_from == "assumed",
        datum_accuracy_m=model.datum_accuracy_m,
        model_found=kinds_told(settings.model_found, settings.model_kind, max(model.cell_size_m)),
        start_lowered_to_deg=lowered_to_deg(settings.start_zones, (leg.overhead for leg in found.legs)),
        bulletin=found.forecast is not None,
        overhead_left_out=left_out_words(settings.start_zones, settings.reach_m),
    )


def _with_own_cautions(part: _Part, situation: Situation) -> _Part:
    own = dataclasses.replace(situation, bulletin=False, unknown_m=part.unknown_m, open_above=part.open_above)
    return dataclasses.replace(part, cautions=joined_cautions(cautions_for(own), part.cautions))


def _contradictions(found: RouteScreening) -> Iterator[str]:
    """Say what contradicts what; the first is enough."""
    if not found.legs or [leg.number for leg in found.legs] != list(range(1, len(found.legs) + 1)):
        yield "it should have legs numbered from 1"
        return
    bands = BandScheme(found.settings.edges_deg)
    if not all(0.0 < side_m < math.inf for side_m in (*found.model.cell_size_m, found.model.height_unit_m)):
        yield "its model should have cells of a size and a height unit"
    for leg in found.legs:
        every = (
            _leg_or_line(leg, bands),
            _slopes(leg, bands),
            _along(leg),
            _short(leg, bands),
            _told(leg),
            _heights(leg, found),
        )
        for what in itertools.chain(*every):
            yield f"in leg {leg.number} {what}"
    relief = found.relief
    grids = [] if relief is None else [relief.grid, relief.corridor_grid]
    if relief is not None and relief.zones is not None:
        grids.append(relief.zones.grid)
    if not all(map(_on_earth, grids)):
        yield "its map should have a CRS that PROJ knows"
        return
    yield from place_contradictions(found)
    yield from overhead_contradictions(found)
    if relief is not None:
        drawn = legs_on_map(found.legs, relief.grid), places_on_map(found.places, relief.grid)
        if not _alike((relief.legs, relief.places, relief.profile), (*drawn, profile_of(found))):
            yield "its map and profile are not those of its legs and places"
    if not _alike(route_totals(found.legs, bands, found.places), found.totals):
        yield "its totals are not those of its legs"
    if isinstance(found, RouteLines):
        yield from _beside(found, bands)


def _beside(found: RouteLines, bands: BandScheme) -> Iterator[str]:
    """Say what contradicts itself in the lines beside the main one, of which no legs are kept."""
    main = {field.name: getattr(found.totals, field.name) for field in dataclasses.fields(Totals)}
    # Where no height of a leg is known, nothing is known of what looks down on it.
    main["unknown_above"] |= any(leg.overhead is None for leg in found.legs)
    at_length = tuple(place for place in found.places if place.at_length)
    lat_deg, lon_deg = (
        np.concatenate([getattr(leg.points, name) for leg in found.legs]) for name in ("lat_deg", "lon_deg")
    )
    main |= {"name": found.name, "places": len(found.places), "at_length": at_length}
    main["line_deg"] = (lat_deg, lon_deg)
    if not found.lines or not _alike({name: getattr(found.lines[0], name) for name in main}, main):
        yield "the first of its lines is not its main line"
    for line in (*found.lines, *found.ways_off):
        for what in (*_leg_or_line(line, bands), *_line(line, max(found.model.cell_size_m))):
            yield f"in the line {line.name!a:.60} {what}"
    turns_m = np.concatenate(([0.0], np.cumsum([leg.length_m for leg in found.legs])))
    if not all(on_line(way.leaves, turns_m) for way in found.ways_off):
        yield "a way off leaves where the line does not run"
    was = {leg.number: (leg.band, leg.open_above) for leg in found.legs}
    for leg in (leg for shift in found.shifts for leg in shift.legs):
        if was.get(leg.leg) != (leg.band, leg.open_above) or leg.moved_band not in (None, *bands.bands):
            yield f"leg {leg.leg} of the line moved is not as it was, or comes into no band"


def _line(line: ComparedLine, cell_m: float) -> Iterator[str]:
    places = line.at_length
    over_deg = max(line.overhead_max_deg or 0.0, line.overhead_inside_max_deg or 0.0)
    for place in places:
        yield from (what.format(f"place {place.name}") for what in figures_of(place))
        over = place.overhead if "overhead" in place.kinds else None
        if not rises_over(place, cell_m) or (over is not None and over.deg > over_deg + SAME):
            yield f"what stands over place {place.name} is not what its figures say"
        if place.unknown_above_at is not None and not line.unknown_above:
            yield f"ground above place {place.name} is unknown and nothing above it is"
    if any((place.slope_max_deg or 0.0) > (line.slope_max_deg or 0.0) + SAME for place in places):
        yield "a place is steeper than its steepest slope"
    if any(place.words != place_words(place) for place in places) or line.places < len(places):
        yield "places are not those of its figures"
    zones_m = (line.in_start_zone_m, line.in_possible_zone_m, line.length_m)
    if any(less > more + SAME_M for less, more in itertools.pairwise(zones_m)):
        yield "start zones are longer than possible ones, or than the line"
    if not all(np.isfinite(degrees).all() for degrees in line.line_deg):
        yield "its points have no position"


def _on_earth(grid: Grid) -> bool:
    try:
        return bool(np.isfinite(grid.to_wgs84(0.0, 0.0)).all())
    except (pyproj.exceptions.ProjError, ModelError):
        return False


def _leg_or_line(leg: LegScreening | ComparedLine, bands: BandScheme) -> Iterator[str]:
    """Hold against each other the figures that a leg and a line beside the main one both have."""
    lengths = [*leg.band_lengths_m.values(), leg.unknown_m]
    if not 0.0 < leg.length_m < math.inf or not all(0.0 <= metres < math.inf for metres in lengths):
        yield "lengths are not numbers of metres"
    elif tuple(leg.band_lengths_m) != bands.labels:
        yield "the bands are not those of its edges"
    elif abs(sum(lengths) - leg.length_m) > SAME_M + SAME * leg.length_m:
        yield "the metres in bands and of unknown ground do not add up to its length"
    steep_m = leg.steep_m if isinstance(leg, LegScreening) else 0.0
    if steep_m > leg.length_m + SAME_M or leg.steep_stretch_m > leg.length_m + SAME_M:
        yield "steep ground is longer than itself"
    if (leg.elevation_min_m or 0.0) > (leg.elevation_max_m or 0.0):
        yield "the lowest height lies above the highest"
    slope, corridor = leg.slope_max_deg, leg.slope_corridor_max_deg
    if not all(value is None or 0.0 <= value <= 90.0 for value in (slope, corridor)):
        yield "a slope lies outside 0 to 90 degrees"
        return
    if leg.band != (None if slope is None else bands.band(slope)):
        yield "the band is not that of its steepest slope"
    if (slope or 0.0) > (corridor or 0.0) + SAME:
        yield "the corridor is gentler than the line in it"
    if leg.unknown_m > 0.0 and not leg.open_above:
        yield "something is unknown and it is not open above"


def _slopes(leg: LegScreening, bands: BandScheme) -> Iterator[str]:
    low, slope, high = leg.slope_low_deg, leg.slope_max_deg, leg.slope_high_deg
    corridor = leg.slope_corridor_max_deg
    if not all(end is None or 0.0 <= end <= 90.0 for end in (low, high)):
        yield "an end of its interval lies outside 0 to 90 degrees"
        return
    if slope is not None and ((low or 0.0) > slope or slope > (90.0 if high is None else high)):
        yield "the steepest slope lies outside its own interval"
    if (leg.slope_corridor_high_deg or 90.0) < max(corridor or 0.0, high or 0.0) - SAME:
        yield "the upper end of its corridor lies below what is in it"
    short = leg.short_slope_max_deg, leg.short_corridor_max_deg
    if leg.bands_possible != possible_bands(bands, slope, high, corridor, *short):
        yield "the possible bands are not those of its slopes"
    if high is None and not leg.open_above:
        yield "no upper end is known and it is not open above"
    sights = () if leg.overhead is None else (leg.overhead.sight, leg.overhead.sight_outside)
    if any(sight is not None and (sight.deg is None) != (sight.distance_m is None) for sight in sights):
        yield "a sight has a distance and no angle, or none and an angle"
    steep_m = sum(leg.band_lengths_m.get(one.label, 0.0) for one in bands.bands if one.low_deg >= STEEP_DEG)
    if leg.steep_m < steep_m - SAME_M:
        yield "steep ground is shorter than its metres in bands"
    steeper = bands.bands[0 if slope is None else bands.index(slope) + 1 :]
    if any(leg.band_lengths_m.get(band.label, 0.0) > 0.0 for band in steeper):
        yield "metres lie in a band above its steepest slope"


def _along(leg: LegScreening) -> Iterator[str]:
    """Points along a leg against what is said of the whole; single ones may lie on an end."""
    slope, known = leg.points.slope_deg, leg.points.known
    steepest = np.nanmax(slope, initial=0.0)
    if steepest > (leg.slope_max_deg or 0.0) + SAME or np.nanmin(slope, initial=0.0) < 0.0:
        yield "a point is steeper than its steepest slope"
    if np.nanmax(leg.points.corridor_deg, initial=0.0) > (leg.slope_corridor_max_deg or 0.0) + SAME:
        yield "its corridor is steeper abreast of a point than at its steepest"
    if leg.unknown_m == 0.0 and np.count_nonzero(~known) > 2:
        yield "points are unknown and no metres are"
    if leg.steep_m == 0.0 and np.count_nonzero(shown_slope_deg(slope[np.isfinite(slope)]) >= STEEP_DEG) > 2:
        yield "points are steep and no metres are"
    if np.nanmax(np.abs(leg.points.track_grade_deg), initial=0.0) > (leg.track_grade_max_deg or 0.0) + SAME:
        yield "a point climbs or falls more steeply than the line anywhere"
    if np.nanmax(leg.points.slope_high_deg, initial=0.0) > (leg.slope_high_deg or 90.0) + SAME:
        yield "a point may be steeper than the upper end of its steepest slope"
    if leg.steep_m > 0.0 and leg.steep_stretch_m == 0.0:
        yield "steep ground has metres and no stretch"


def _short(leg: LegScreening, bands: BandScheme) -> Iterator[str]:
    """Hold the corridor and the short pieces of a leg against its steepest slope."""
    slope, corridor = leg.slope_max_deg, leg.slope_corridor_max_deg
    on_line, beside = leg.short_slope_max_deg, leg.short_corridor_max_deg
    if (on_line, beside) != (short_steeper(bands, slope, on_line), shown_steeper(corridor, beside)):
        yield "a short piece is no steeper than what it is part of"
    if shown_slope_deg(on_line or 0.0) > shown_slope_deg(max(corridor or 0.0, beside or 0.0)):
        yield "the corridor is gentler than a short piece of the line in it"
    if (leg.slope_corridor_high_deg or 90.0) < (beside or 0.0) - SAME:
        yield "the upper end of its corridor lies below a short piece of it"


def _told(leg: LegScreening) -> Iterator[str]:
    """Hold the checks of a leg, and the steep ground without one, against its figures."""
    for check in leg.expected_readings:
        low, high = check.low_deg, check.high_deg
        if not (low or 0.0) - SAME <= check.expected_deg <= (90.0 if high is None else high) + SAME:
            yield f"what is expected of check {check.name} lies outside its own interval"
    for one in leg.steep_without_check:
        least_deg = leg.slope_corridor_max_deg if one.what == BESIDE else leg.slope_max_deg
        if one.what.startswith("steepest") and (one.slope_max_deg or 0.0) < (least_deg or 0.0) - SAME:
            yield "steep ground without a check is gentler than its steepest"
        if leg.open_above and not one.at_least:
            yield "it is open above, and steep ground without a check is not"


def _heights(leg: LegScreening, found: RouteScreening) -> Iterator[str]:
    """Points of a leg against its length, and where all heights are known against these."""
    points = leg.points
    # A recorded track winds between its points: they are as far apart as it is long, or less.
    least_m = EARTH.line_length(points.lon_deg, points.lat_deg) * (1.0 - SAME_SHARE) - 0.1
    if leg.length_m < least_m or abs(np.ptp(points.chainage_m) - leg.length_m) > 0.1:
        yield "the length is not that of its points"
    height_m, low_m, high_m = points.elevation_m, leg.elevation_min_m, leg.elevation_max_m
    # Beside unknown ground a point may be known where the surface between the cells is not.
    if leg.unknown_m > 0.0 or not np.isfinite(height_m).all() or low_m is None or high_m is None:
        return
    if height_m.min() < low_m - SAME_M or height_m.max() > high_m + SAME_M:
        yield "a point lies below its lowest height or above its highest"
    climb = ascent(height_m, found.settings.reversal_m)
    if climb.up_m > leg.ascent_m + SAME_M or climb.down_m > leg.descent_m + SAME_M:
        yield "its points climb or descend further than it"


def _alike(one: Any, other: Any) -> bool:
    """Tell equal results, numbers within `SAME`."""
    if dataclasses.is_dataclass(one) and type(one) is type(other):
        names = [field.name for field in dataclasses.fields(one)]
        return all(_alike(getattr(one, name), getattr(other, name)) for name in names)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(one[key], other[key]) for key in one)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_alike, one, other))
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return one.shape == other.shape and np.allclose(one, other, SAME, SAME, equal_nan=True)
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
    return bool(one == other)
