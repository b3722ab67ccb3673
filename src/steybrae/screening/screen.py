"""Screen a whole route on an elevation model, its steps counted for a progress bar."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import fields, replace
from functools import partial
from typing import TYPE_CHECKING

from steybrae import __version__
from steybrae.cautions import Situation, cautions_for
from steybrae.names import clean
from steybrae.route.ascent import leg_turns, reversal_m
from steybrae.route.ground import LegGround, leg_ground, leg_windows
from steybrae.route.kept import NOTHING_KEPT, Kept, T
from steybrae.route.legs import Route, Track, stretches
from steybrae.route.overhead.legs import route_above
from steybrae.route.overhead.result import Above
from steybrae.route.overhead.windows import STRETCH_M
from steybrae.screening.basis import least_known_m, left_out_words, lowered_to_deg
from steybrae.screening.cross_check import CrossCheck, cross_check
from steybrae.screening.known import Asked, Settings, told_of_model
from steybrae.screening.leg import Rules, screen_leg
from steybrae.screening.places.checks import CheckRules, with_checks, with_traps_below
from steybrae.screening.places.find import places_on
from steybrae.screening.places.line import line_of
from steybrae.screening.ready import ReadyLine, places_swapped
from steybrae.screening.result import LegScreening, ModelFacts, RouteScreening, SettingsUsed
from steybrae.screening.standing import StandingRules
from steybrae.screening.totals import doubtful_heights, route_totals
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.dem import DemSource

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
    ready = ReadyLine.of(route, source, settings or Settings(), kept)
    swapped = places_swapped(route, source.grid)
    ready.refuse_endless()
    above = route_above(ready.overhead, ready.tracks)
    matching = _matching(ready) if for_forecast else None
    rules = _rules(ready, above)
    legs, grounds = _legs(ready, above, rules, matching)
    line = line_of(ready.tracks, tuple(leg.from_ for leg in legs), grounds, above, kept)
    found = places_on(line, grounds, above, kept)
    checked = CheckRules(rules.standing, ready.errors_m, max(ready.cell_m), ready.overhead)
    readings, places = with_checks(line, found.places, legs, checked)
    # The same leg again where nothing of it changed: what tells it knows it by that.
    legs = [
        kept.of("whole leg", (leg, own, drop), partial(replace, leg, expected_readings=own, drop=drop))
        for leg, own, drop in zip(legs, readings, found.drops, strict=True)
    ]
    totals = route_totals(legs, rules.bands, places)
    whole = rules.situation(
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
        model=_facts(ready),
        settings=_used(ready.settings, rules.reversal_m),
        version=__version__,
        cautions=cautions_for(whole),
        turn_points=tuple(route.points[turn] for turn in route.turn_points),
        forecast_grounds=None if matching is None else matching.grounds(),
    )


def _rules(ready: ReadyLine, above: tuple[Above, ...]) -> Rules:
    settings, grid = ready.settings, ready.source.grid
    situation = partial(
        Situation,
        **told_of_model(settings, ready.cell_m, grid),
        overhead=True,
        overhead_short=least_known_m(leg.overhead for leg in above) is not None,
        start_lowered_to_deg=lowered_to_deg(settings.start_zones, (leg.overhead for leg in above)),
        overhead_left_out=left_out_words(settings.start_zones, settings.reach_m),
    )
    standing = StandingRules(ready.source, settings.method, settings.engine, ready.known, ready.kept)
    least_m = reversal_m(settings.vertical_error_m)
    return Rules(settings.bands, situation, least_m, settings.interval_m, grid, standing)


def _legs(
    ready: ReadyLine, above: tuple[Above, ...], rules: Rules, matching: Matching | None
) -> tuple[list[LegScreening], list[LegGround]]:
    grounds: list[LegGround] = []
    told_by = ready.settings, ready.known, tuple(rules.situation.keywords.items())
    beside = [None, *ready.tracks, None]
    for number, (track, look) in enumerate(zip(ready.tracks, ready.looks, strict=True)):
        cells = None if matching is None else matching.leg(track, look)
        neighbours = beside[number], beside[number + 2]
        grounds.append(leg_ground(ready.source, track, look, neighbours, cells, ready.kept))
    legs: list[LegScreening] = []
    turns_m = leg_turns([ground.surface_m for ground in grounds], rules.reversal_m)
    for number, (ground, turns, look) in enumerate(zip(grounds, turns_m, ready.looks, strict=True)):
        names = number + 1, ready.name(number), ready.name(number + 1)
        parts = names, ground, tuple(turns.tolist()), above[number], look
        legs.append(ready.kept.of("leg", (*parts, told_by), partial(screen_leg, *parts, rules)))
    return legs, grounds


def _matching(ready: ReadyLine) -> Matching:
    from steybrae.screening.forecast.ground import Matching  # noqa: PLC0415  few lines need it

    return Matching(ready)


def cross_check_route(route: Route, source: DemSource, settings: Settings | None = None) -> CrossCheck:
    """Compare the engines on the windows that screening a route reads; see `cross_check`."""
    ready = ReadyLine.of(route, source, settings or Settings())
    windows = (
        (source.read(*window), (window[0], window[1]))
        for track, look in zip(ready.tracks, ready.looks, strict=True)
        for window in leg_windows(source, track, look)
    )
    return cross_check(windows)


def _facts(ready: ReadyLine) -> ModelFacts:
    settings, grid, cell = ready.settings, ready.source.grid, ready.cell_m
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
        uncertainty=ready.known.words,
        corridor_baseline_m=(2 * halves[0] * cell[0], 2 * halves[1] * cell[1]),
    )


def _used(settings: Settings, reversal: float) -> SettingsUsed:
    asked = {one.name: getattr(settings, one.name) for one in fields(Asked)}
    return SettingsUsed(edges_deg=settings.bands.edges_deg, reversal_m=reversal, **asked)


class Counting(Kept):
    """Keeps nothing, and tells how many steps of a line are done: of each leg what is overhead, and itself.

    `told` gets what it is, how many steps of it are done, and of how many. Matching start zones with a
    forecast is a step more.
    """

    def __init__(
        self, told: Callable[[str, int, int], None], what: str, *, for_forecast: bool = False
    ) -> None:
        super().__init__()
        self._told, self._what = told, what
        self._overhead = ("above", "zones") if for_forecast else ("above",)
        self._done, self._of = 0, 0

    def of(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """Make a result, and count it."""
        made = make()
        if isinstance(made, Track):
            if self._done == self._of:
                self._done, self._of = 0, 0
            self._of += 1 + len(self._overhead) * len(list(stretches(made, STRETCH_M)))
        elif kind in (*self._overhead, "leg"):
            self._done += 1
            self._told(self._what, self._done, self._of)
        return made
