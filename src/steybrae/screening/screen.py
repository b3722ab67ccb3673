"""Screen a whole route on an elevation model."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from steybrae import __version__
from steybrae.cautions import Situation, cautions_for
from steybrae.errors import OffModelError, RouteError
from steybrae.names import clean
from steybrae.route.ascent import reversal_m
from steybrae.route.corridor import check_place_error_m
from steybrae.route.ground import LegGround, Look, leg_ground, leg_windows, leg_work
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.legs import Route, check_beside, check_line
from steybrae.route.overhead.kept_ground import KeptGround
from steybrae.route.overhead.legs import route_above
from steybrae.route.track import Track, leg_track
from steybrae.screening.basis import least_known_m, left_out_words, lowered_to_deg
from steybrae.screening.cross_check import CrossCheck, cross_check
from steybrae.screening.exchanged import places_swapped
from steybrae.screening.known import (
    Asked,
    Settings,
    cells_of_line,
    overhead_look,
    slopes_known,
    told_of_model,
)
from steybrae.screening.leg import Rules, screen_leg
from steybrae.screening.places.checks import CheckRules, with_checks, with_traps_below
from steybrae.screening.places.find import places_on
from steybrae.screening.places.line import line_of
from steybrae.screening.result import (
    LegScreening,
    ModelFacts,
    RouteScreening,
    SettingsUsed,
)
from steybrae.screening.standing import StandingRules
from steybrae.screening.totals import doubtful_heights, route_totals
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.dem import Array, DemSource, Grid
from steybrae.terrain.jacobian import askew
from steybrae.terrain.uncertainty import SlopeUncertainty

if TYPE_CHECKING:
    from steybrae.screening.forecast.ground import Matching


def screen_route(
    route: Route,
    source: DemSource,
    settings: Settings | None = None,
    *,
    for_forecast: bool = False,
    kept: Kept = NOTHING_KEPT,
) -> RouteScreening:
    """Screen a planned line, leg by leg.

    Parameters
    ----------
    settings
        How; the defaults of `Settings`.
    for_forecast
        Whether its ground is kept for matching a bulletin.
    kept
        What was worked out for lines before, on the same model.

    Raises
    ------
    RouteError
        A leg has no length.
    OffModelError
        The whole line lies outside the model.
    ModelError
        The model cannot be used there.
    """
    settings = settings or Settings()
    grid = source.grid
    count = len(route.turn_points) - 1
    check_line(len(route.points), count)
    tracks = [_track(route, number, kept) for number in range(count)]
    _refuse_lengthless(route, tracks)
    inside = _refuse_outside(tracks, grid)
    swapped = places_swapped(route, grid)
    cell, jacobian = cells_of_line(grid, *inside)
    model_there = settings, cell, tuple(jacobian.ravel().tolist())
    known = kept.of("slopes known", model_there, partial(slopes_known, settings.method, jacobian, settings))
    looks = [leg_look(route, number, (cell, jacobian), known, settings) for number in range(count)]
    _refuse_endless(source, tracks, looks, kept)
    look_over = kept.of("overhead look", model_there, partial(overhead_look, cell, jacobian, settings))
    overhead = KeptGround(source, look_over, kept)
    above = route_above(overhead, tracks)
    matching = _matching(overhead, tracks, known, settings) if for_forecast else None
    situation = partial(
        Situation,
        **told_of_model(settings, cell, grid),
        overhead=True,
        overhead_short=least_known_m(leg.overhead for leg in above) is not None,
        start_lowered_to_deg=lowered_to_deg(settings.start_zones, (leg.overhead for leg in above)),
        overhead_left_out=left_out_words(settings.start_zones, settings.reach_m),
    )
    least_m = reversal_m(settings.vertical_error_m)
    standing = StandingRules(source, settings.method, settings.engine, known, kept)
    rules = Rules(settings.bands, situation, least_m, settings.interval_m, grid, standing)
    legs: list[LegScreening] = []
    grounds: list[LegGround] = []
    for number, track in enumerate(tracks):
        look = looks[number]
        leg_names = number + 1, _name(route, number), _name(route, number + 1)
        neighbours = (
            tracks[number - 1] if number else None,
            tracks[number + 1] if number + 1 < count else None,
        )
        cells = None if matching is None else matching.leg(track, look)
        grounds.append(leg_ground(source, track, look, neighbours, cells, kept))
        parts = leg_names, grounds[-1], above[number], look
        told_by = settings, known, tuple(situation.keywords.items())
        legs.append(kept.of("leg", (*parts, told_by), partial(screen_leg, *parts, rules)))
    line = line_of(tracks, tuple(leg.from_ for leg in legs), grounds, above, kept)
    found = places_on(line, grounds, above, kept)
    errors_m = [_place_error_m(route, number, settings) for number in range(count)]
    checked = CheckRules(standing, errors_m, max(cell), overhead)
    readings, places = with_checks(line, found.places, legs, checked)
    # The same leg again where nothing of it changed: what tells it knows it by that.
    legs = [
        kept.of("whole leg", (leg, own, drop), partial(replace, leg, expected_readings=own, drop=drop))
        for leg, own, drop in zip(legs, readings, found.drops, strict=True)
    ]
    totals = route_totals(legs, settings.bands, places)
    whole = situation(
        unknown_m=totals.unknown_m,
        unknown_near=any(caution.key == "unknown_near" for leg in legs for caution in leg.cautions),
        open_above=totals.open_above,
        places_swapped=swapped,
        unit_doubtful=doubtful_heights(legs, totals),
        heights=source.heights_read,
    )
    return RouteScreening(
        name=route.name,
        read_as=route.kind,
        notes=route.notes,
        legs=tuple(legs),
        totals=totals,
        places=with_traps_below(places, source, kept),
        legs_without=found.legs_without,
        legs_possible_only=found.legs_possible_only,
        model=_facts(settings, grid, cell, known.words),
        settings=_used(settings, least_m),
        version=__version__,
        cautions=cautions_for(whole),
        turn_points=tuple(route.points[turn] for turn in route.turn_points),
        forecast_grounds=None if matching is None else matching.grounds(),
    )


def _matching(kept: KeptGround, tracks: list[Track], known: SlopeUncertainty, settings: Settings) -> Matching:
    from steybrae.screening.forecast.ground import Matching  # noqa: PLC0415  few lines need it

    return Matching(kept, tracks, known, settings.vertical_error_m)


def cross_check_route(route: Route, source: DemSource, settings: Settings | None = None) -> CrossCheck:
    """Compare the engines on the windows that screening a route reads; see `cross_check`."""
    settings = settings or Settings()
    tracks, inside = route_tracks(route, source.grid)
    cell, jacobian = cells_of_line(source.grid, *inside)
    known = slopes_known(settings.method, jacobian, settings)
    windows = (
        (source.read(*window), (window[0], window[1]))
        for number, track in enumerate(tracks)
        for window in leg_windows(source, track, leg_look(route, number, (cell, jacobian), known, settings))
    )
    return cross_check(windows)


def route_tracks(route: Route, grid: Grid) -> tuple[list[Track], tuple[float, float]]:
    """Legs of a route as tracks, and where in the grid the line first lies on the model.

    `OffModelError` where the whole line lies outside the model.
    """
    tracks = [leg_track(route, number) for number in range(len(route.turn_points) - 1)]
    return tracks, _refuse_outside(tracks, grid)


def leg_look(
    route: Route,
    number: int,
    cells: tuple[tuple[float, float], Array],
    known: SlopeUncertainty,
    settings: Settings,
) -> Look:
    """Say how to look at the ground of one leg, on `cells_of_line`."""
    cell, jacobian = cells
    by = settings.method, settings.engine, _place_error_m(route, number, settings), settings.drift_deg
    return Look(cell, baseline_cells(*cell), known, *by, askew(jacobian))


def _facts(settings: Settings, grid: Grid, cell: tuple[float, float], words: str) -> ModelFacts:
    halves = baseline_cells(*cell)
    return ModelFacts(
        files=settings.origin.files,
        fingerprints=settings.origin.fingerprints,
        crs=clean(grid.crs.name),
        cell_size_m=cell,
        height_unit_m=settings.origin.height_unit_m,
        height_unit_from=settings.origin.height_unit_from,
        datum_accuracy_m=grid.datum_accuracy_m,
        method=settings.method,
        engine=settings.engine,
        uncertainty=words,
        corridor_baseline_m=(2 * halves[0] * cell[0], 2 * halves[1] * cell[1]),
    )


def _used(settings: Settings, reversal: float) -> SettingsUsed:
    asked = {one.name: getattr(settings, one.name) for one in fields(Asked)}
    return SettingsUsed(edges_deg=settings.bands.edges_deg, reversal_m=reversal, **asked)


def _track(route: Route, number: int, kept: Kept) -> Track:
    first, last = route.turn_points[number : number + 2]
    key = tuple((place.lat_deg, place.lon_deg) for place in route.points[first : last + 1])
    return kept.of("track", key, lambda: leg_track(route, number))


def _name(route: Route, turn: int) -> str:
    place = route.points[route.turn_points[turn]]
    return place.name or place.written or f"point {turn + 1}"


def _place_error_m(route: Route, number: int, settings: Settings) -> float:
    """Error of the turn point that a leg starts from: its square, or the default if that is larger."""
    error_m = route.points[route.turn_points[number]].error_m
    return check_place_error_m(max(settings.place_error_m, error_m))


def _refuse_lengthless(route: Route, tracks: list[Track]) -> None:
    for number, track in enumerate(tracks):
        if track.length_m == 0.0:
            message = (
                f"Every leg should have a length; leg {number + 1} ({_name(route, number)} to "
                f"{_name(route, number + 1)}) starts and ends at one place. Leave the second out."
            )
            raise RouteError(message)


def _refuse_endless(source: DemSource, tracks: list[Track], looks: list[Look], kept: Kept) -> None:
    """Refuse a line that would take minutes or gigabytes, before any of its ground is read."""
    length_m = sum(track.length_m for track in tracks)
    check_beside(length_m, 0, 0)
    work = [
        kept.of("leg work", (track, look), partial(leg_work, source, track, look))
        for track, look in zip(tracks, looks, strict=True)
    ]
    check_beside(length_m, sum(cells for cells, _ in work), sum(pairs for _, pairs in work))


def _refuse_outside(tracks: list[Track], grid: Grid) -> tuple[float, float]:
    """Position in the grid where the line first lies on the model."""
    lon = np.concatenate([track.lon_deg for track in tracks])
    lat = np.concatenate([track.lat_deg for track in tracks])
    on = _first_on(*grid.from_wgs84(lon, lat), grid.shape)
    if on is None:
        raise OffModelError(_outside_words(lon, lat, grid))
    return on


def _first_on(col: Array, row: Array, shape: tuple[int, int]) -> tuple[float, float] | None:
    """Where a line first lies in the rectangle of a grid, its vertices being outside or not."""
    line, size = np.stack((col, row)), np.array([[shape[1]], [shape[0]]])
    with np.errstate(divide="ignore", invalid="ignore"):
        start, step = line[:, :-1], np.diff(line)
        # Shares of each piece between its crossings of the two sides, in columns and in rows.
        sides = np.sort(np.stack((-start / step, (size - start) / step)), axis=0)
        enter, leave = np.maximum(sides[0].max(axis=0), 0.0), np.minimum(sides[1].min(axis=0), 1.0)
    on = np.flatnonzero(enter <= leave)
    if len(on) == 0:
        return None
    at = start[:, on[0]] + enter[on[0]] * step[:, on[0]]
    return float(at[0]), float(at[1])


def _outside_words(lon: np.ndarray, lat: np.ndarray, grid: Grid) -> str:
    rows, cols = grid.shape
    edge_lon, edge_lat = grid.to_wgs84([0, cols, cols, 0], [0, 0, rows, rows])
    words = (
        f"The line should cross the elevation model; it runs from {lat[0]:.4f}, {lon[0]:.4f} and the model "
        f"covers latitude {edge_lat.min():.4f} to {edge_lat.max():.4f}, longitude {edge_lon.min():.4f} to "
        f"{edge_lon.max():.4f}."
    )
    if np.abs(lon).max() <= 90.0 and _first_on(*grid.from_wgs84(lat, lon), grid.shape) is not None:
        return f"{words} With latitude and longitude exchanged it would: check their order in the route."
    return f"{words} Give a model of that ground."
