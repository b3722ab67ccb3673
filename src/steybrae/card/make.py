"""From a screening to a card, and from two places to a card of one leg."""

from __future__ import annotations

import datetime as dt
import math
import operator
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from itertools import accumulate
from typing import Any, Final

from steybrae import __version__
from steybrae.card.checks import cliffs_below, ground_beside, leg_checks
from steybrae.card.result import (
    CardGround,
    CardLeg,
    CardPlace,
    Norths,
    OutsideSight,
    Overhead,
    RouteCard,
)
from steybrae.card.sentences import (
    WITHOUT_MODEL,
    basis_words,
    compass_words,
    norths_words,
    position_words,
    program_words,
    unknown_words,
)
from steybrae.card.settings import CardSettings
from steybrae.card.times import (
    LegPieces,
    card_totals,
    end_cautions,
    leg_pieces,
    line_shape_deg,
    map_mm,
    on_another_day,
    paces,
    turned_round,
    with_latest,
)
from steybrae.cautions import Caution, Situation, cautions_for, with_cautions
from steybrae.names import clean
from steybrae.quantities import finite
from steybrae.route.bearings import LegBearings, declination, leg_bearings
from steybrae.route.daylight import (
    Daylight,
    arrivals,
    daylight_along,
    daylight_left_min,
    daylight_left_words,
    shown_clock,
)
from steybrae.route.overhead.result import SightAnswer
from steybrae.route.positions.grids import utm_epsg
from steybrae.route.positions.places import Place, format_place
from steybrae.route.walking import Segment, leg_min, time_words
from steybrae.screening.basis import overhead_text, zone_underfoot
from steybrae.screening.places.words import place_words
from steybrae.screening.result import LegGroundFacts, LegScreening, RouteScreening

BENDS_SHARE: Final = 0.0005
"""A line longer than straight by this share leaves it by 1.6 % of its length at its middle, 1.8
degrees as seen from its ends: less than a walked bearing drifts (our choice)."""


MOST_NOON_OFF: Final = dt.timedelta(hours=4)
"""How far from 12:00 the sun may stand highest by a zone of that ground (our choice): 3 hours in the west of
China, the most on earth."""

MOST_TEXT: Final = 300
"""Letters of the party and of whom to call, at most (our choice)."""


def make_card(screening: RouteScreening, settings: CardSettings) -> RouteCard:
    """Write the card of a screened route or a saved plan.

    `PlaceError` for a place off the grid, or where compasses are of no use; `DateError` for a date
    outside the magnetic model.
    """
    timed = [leg_pieces(leg.points) for leg in screening.legs]
    places = screening.turn_points or screening.leg_ends
    ends = [places[k : k + 2] for k in range(len(screening.legs))]
    bearings = [_bearings(pair, settings, leg) for pair, leg in zip(ends, screening.legs, strict=True)]
    legs = [
        _leg(leg, pair, directions, pieces, settings)
        for leg, pair, directions, pieces in zip(screening.legs, ends, bearings, timed, strict=True)
    ]
    settings = _past_midnight(settings, legs)
    light = _light(places, settings)
    latest = _latest(light, settings)
    if latest is not None:
        back = [_walk_min(turned_round(pieces.segments), settings) for pieces in timed]
        legs = list(with_latest(legs, back, latest))
    reckoned = time_words(settings.method, settings.allowances, **_pace(settings))
    unknown = (
        unknown_words(leg.number, pieces)
        for leg, pieces in zip(screening.legs, timed, strict=True)
        if pieces.unknown_m
    )
    cliffs = (f"Leg {leg.number}: too steep for a time by this rule." for leg in legs if leg.time_min is None)
    unit = settings.bearing_unit
    made = replace(
        _card(screening.name, _with_clock(legs, light, settings), bearings, light, settings),
        down_by=None if latest is None else latest.isoformat(),
        down_by_is=None if latest is None else "sunset" if settings.down_by is None else "stated",
        overhead_text=overhead_text(screening),
        down_by_text=_shown_end(latest, settings),
        time_words=(*reckoned, *unknown, *cliffs),
        notes=(*screening.notes, *position_words(settings.grid, places)),
        basis=basis_words(screening),
        places=tuple(
            replace(place, words=place_words(place, legs[place.from_.leg - 1].declination_deg, unit))
            for place in screening.places
        ),
        legs_without=screening.legs_without,
        legs_possible_only=screening.legs_possible_only,
        cautions=_cautions(
            screening.cautions,
            bearings,
            checks=any(leg.checks for leg in legs),
            zones=_zones(settings, places),
        ),
    )
    return replace(made, cautions=(*made.cautions, *_zone_far(light, settings), *end_cautions(made)))


def card_between(start: Place, end: Place, settings: CardSettings) -> RouteCard:
    """Write a card of one leg between two different places without a model: bearings and distances.

    It has neither heights nor a time, which needs the climb. `RouteError` where the two are one
    place; else refused as in `make_card`.
    """
    bearings = leg_bearings(start, end, settings.date, settings.grid)
    names = [place.name or place.written or format_place(place, settings.grid) for place in (start, end)]
    leg = replace(
        _bare_leg(1, names, (start, end), bearings, settings),
        map_mm=None if settings.scale is None else map_mm(bearings.length_m, settings.scale),
        paces=_paces(bearings.length_m, settings),
    )
    light = _light((start, end), settings)
    card = _card(f"{names[0]} to {names[1]}", [leg], [bearings], light, settings)
    return replace(
        card,
        time_words=(WITHOUT_MODEL,),
        notes=position_words(settings.grid, (start, end)),
        basis=(program_words(__version__),),
        cautions=(
            *_cautions((), [bearings], zones=_zones(settings, (start, end))),
            *_zone_far(light, settings),
        ),
    )


def _card(
    name: str,
    legs: Sequence[CardLeg],
    bearings: Sequence[LegBearings],
    light: Daylight | None,
    settings: CardSettings,
) -> RouteCard:
    """Put legs under what the whole day has; words on times, notes and basis still missing."""
    return RouteCard(
        name=name,
        date=settings.date.isoformat(),
        grid=settings.grid,
        scale=settings.scale,
        paces_per_100m=settings.paces_per_100m,
        bearing_unit=settings.bearing_unit,
        start=None if settings.start is None else settings.start.isoformat(),
        zone=settings.zone,
        legs=tuple(legs),
        totals=card_totals(legs),
        norths=_norths(bearings, settings.bearing_unit),
        time_words=(),
        daylight_words=() if light is None else light.words,
        notes=(),
        basis=(),
        cautions=_cautions((), bearings),
        party=clean(settings.party, MOST_TEXT),
        call=clean(settings.call, MOST_TEXT),
        overdue=None if settings.overdue is None else settings.overdue.isoformat(),
        start_text="" if settings.start is None else shown_clock(settings.start, "late"),
        overdue_text=_shown_end(settings.overdue, settings),
        dark_till=None if light is None or light.sunrise is None else light.sunrise.isoformat(),
        dark_from=None if light is None else _dark_from(light),
    )


def _light(places: Sequence[Place], settings: CardSettings) -> Daylight | None:
    """Give the least daylight along the route; None without a zone."""
    return daylight_along(places, settings.date, settings.zone) if settings.zone else None


def _zone_far(light: Daylight | None, settings: CardSettings) -> Iterator[Caution]:
    """Yield that the clock is of other ground: a zone kept from another journey flatters the light left."""
    midday = dt.datetime.combine(settings.date, dt.time(12))
    if light is not None and abs(light.noon.replace(tzinfo=None) - midday) > MOST_NOON_OFF:
        text = (
            f"The time zone {settings.zone} is not that of this ground: by it the sun stands highest at "
            f"{light.noon:%H:%M}. Check --zone."
        )
        yield Caution("zone_far", text)


def _dark_from(light: Daylight) -> str | None:
    dark = light.noon - dt.timedelta(days=1) if light.sun == "down all day" else light.sunset
    return None if dark is None else dark.isoformat()


def _pace(settings: CardSettings) -> dict[str, Any]:
    return {"flat_kmh": settings.flat_kmh, "off_path": settings.off_path}


def _walk_min(segments: Iterable[Segment], settings: CardSettings) -> float:
    return leg_min(segments, settings.method, settings.allowances, **_pace(settings))


def _latest(light: Daylight | None, settings: CardSettings) -> dt.datetime | None:
    """When to be down: as stated, else sunset; None without a zone, or a sunset after the start."""
    if settings.down_by is not None or light is None:
        return settings.down_by
    over = settings.start is not None and light.sunset is not None and light.sunset <= settings.start
    return None if over else light.sunset


def _past_midnight(settings: CardSettings, legs: Sequence[CardLeg]) -> CardSettings:
    """Take clock times before the start for those of a later day on which the line ends."""
    start = settings.start
    end = None if start is None else _arrivals(start, legs)[-1]
    if start is None or end is None:
        return settings
    nights = end.date() - start.date()
    overdue, down_by = (
        at if at is None or at > start else at + nights for at in (settings.overdue, settings.down_by)
    )
    return replace(settings, overdue=overdue, down_by=down_by)


def _shown_end(at: dt.datetime | None, settings: CardSettings) -> str:
    """Clock time, with its date where that is not the card's."""
    if at is None:
        return ""
    return f"{shown_clock(at, 'early')}{on_another_day(settings.date.isoformat(), at.isoformat())}"


def _arrivals(start: dt.datetime, legs: Sequence[CardLeg]) -> tuple[dt.datetime | None, ...]:
    return arrivals(start, [math.inf if leg.time_min is None else leg.time_min for leg in legs])


def _bearings(ends: Sequence[Place], settings: CardSettings, leg: LegScreening) -> LegBearings:
    height_m = float(leg.points.elevation_m[0])
    return leg_bearings(
        ends[0], ends[1], settings.date, settings.grid, height_m if math.isfinite(height_m) else 0.0
    )


def _paces(length_m: float, settings: CardSettings) -> float | None:
    return None if settings.paces_per_100m is None else paces(length_m, settings.paces_per_100m)


def _card_place(place: Place, settings: CardSettings) -> CardPlace:
    reference = format_place(place, settings.grid)
    return CardPlace(place.lat_deg, place.lon_deg, place.name, place.written, reference)


def _bare_leg(
    number: int,
    names: Sequence[str],
    ends: Sequence[Place],
    bearings: LegBearings,
    settings: CardSettings,
) -> CardLeg:
    """Fill in what two places and a date tell."""
    return CardLeg(
        number=number,
        from_=names[0],
        to=names[1],
        from_place=_card_place(ends[0], settings),
        to_place=_card_place(ends[1], settings),
        bearing_true_deg=bearings.bearing_true_deg,
        bearing_grid_deg=None if settings.grid == "latlon" else bearings.bearing_grid_deg,
        bearing_magnetic_deg=bearings.bearing_magnetic_deg,
        back_bearing_magnetic_deg=bearings.back_bearing_magnetic_deg,
        declination_deg=bearings.declination_deg,
        declination_uncertainty_deg=bearings.declination_uncertainty_deg,
        convergence_deg=bearings.convergence_deg,
        grid_magnetic_deg=bearings.grid_magnetic_deg,
        length_m=bearings.length_m,
        straight_m=bearings.length_m,
        bends=False,
        slope_distance_m=None,
        map_mm=None,
        paces=None,
        ascent_m=None,
        descent_m=None,
        ascent_at_least=False,
        time_min=None,
        time_at_least=False,
        arrival=None,
        daylight_left_min=None,
        compass=compass_words(bearings, settings.bearing_unit),
        ground=None,
        beside=(),
        cliffs=(),
        checks=(),
        steep_without_check=(),
        cautions=(),
    )


def _leg(
    leg: LegScreening, ends: Sequence[Place], bearings: LegBearings, pieces: LegPieces, settings: CardSettings
) -> CardLeg:
    bare = _bare_leg(leg.number, (leg.from_, leg.to), ends, bearings, settings)
    along = pieces.slope_distance_m
    bends = leg.length_m > bearings.length_m * (1.0 + BENDS_SHARE)
    return replace(
        bare,
        length_m=leg.length_m,
        bends=bends,
        shape_deg=line_shape_deg(leg.points) if bends else (),
        slope_distance_m=along,
        map_mm=None if settings.scale is None else map_mm(leg.length_m, settings.scale),
        paces=_paces(leg.length_m if along is None else along, settings),
        ascent_m=leg.ascent_m,
        descent_m=leg.descent_m,
        ascent_at_least=leg.ascent_at_least,
        time_min=finite(_walk_min(pieces.segments, settings)),
        time_at_least=pieces.unknown_m > 0.0 or leg.ascent_at_least,
        ground=_ground(leg, settings),
        beside=tuple(ground_beside(leg.sides)),
        cliffs=cliffs_below(leg),
        checks=leg_checks(leg, settings.date, settings.grid),
        steep_without_check=leg.steep_without_check,
        cautions=leg.cautions,
    )


def _ground(leg: LegScreening, settings: CardSettings) -> CardGround:
    same = {field.name: getattr(leg, field.name) for field in fields(LegGroundFacts)}
    end = finite(leg.points.elevation_m[-1])
    return CardGround(elevation_end_m=end, overhead=_overhead(leg, settings.date), **same)


def _overhead(leg: LegScreening, date: dt.date) -> Overhead | None:
    """Overhead ground, where the screening looked for it."""
    found = leg.overhead
    if found is None:
        return None
    sight, path = found.sight, found.path
    open_sight = None if sight is None or sight.deg is None else sight
    return Overhead(
        in_start_zone=found.in_start_zone,
        in_possible_zone=found.in_possible_zone,
        underfoot=zone_underfoot(found, leg.slope_max_deg),
        sight_deg=None if open_sight is None else open_sight.deg,
        unfiltered_deg=None if sight is None else sight.unfiltered_deg,
        path_deg=None if path is None else path.deg,
        look_bearing_magnetic_deg=None if open_sight is None else _look_magnetic_deg(open_sight, leg, date),
        distance_m=None if open_sight is None else open_sight.distance_m,
        rise_m=None if open_sight is None else open_sight.rise_m,
        unknown_above=leg.unknown_above,
        outside=None if found.sight_outside == sight else _outside(found.sight_outside, leg, date),
        unknown_above_at=leg.unknown_above_at,
    )


def _look_magnetic_deg(sight: SightAnswer, leg: LegScreening, date: dt.date) -> float | None:
    if sight.bearing_true_deg is None:
        return None
    at = sight.stand or Place(float(leg.points.lat_deg[0]), float(leg.points.lon_deg[0]))
    east_deg = declination(Place(at.lat_deg, at.lon_deg), 0.0, date).declination_deg
    return (sight.bearing_true_deg - east_deg) % 360.0


def _outside(sight: SightAnswer | None, leg: LegScreening, date: dt.date) -> OutsideSight | None:
    look = None if sight is None else _look_magnetic_deg(sight, leg, date)
    if sight is None or sight.deg is None or look is None:
        return None
    return OutsideSight(
        sight.deg, look, sight.distance_m or 0.0, sight.rise_m or 0.0, sight.chainage_m or 0.0
    )


def _with_clock(legs: list[CardLeg], light: Daylight | None, settings: CardSettings) -> list[CardLeg]:
    """Add arrivals and the daylight left; a start comes with a zone, and so with light."""
    if settings.start is None or light is None:
        return legs
    times = _arrivals(settings.start, legs)
    late = accumulate((leg.time_at_least for leg in legs), operator.or_)
    return [_clocked(*one, light) for one in zip(legs, times, late, strict=True)]


def _clocked(leg: CardLeg, at: dt.datetime | None, late: bool, light: Daylight) -> CardLeg:
    if at is None:
        return leg
    return replace(
        leg,
        arrival=at.isoformat(timespec="milliseconds"),
        daylight_left_min=daylight_left_min(at, light),
        arrival_text=shown_clock(at, "late"),
        daylight_text=daylight_left_words(at, light, late=late),
    )


def _norths(bearings: Sequence[LegBearings], unit: str) -> Norths:
    angles = [leg.grid_magnetic_deg for leg in bearings]
    first = bearings[0]
    return Norths(
        model=first.field.model,
        grid_magnetic_low_deg=min(angles),
        grid_magnetic_high_deg=max(angles),
        declination_deg=first.declination_deg,
        declination_uncertainty_deg=first.declination_uncertainty_deg,
        sentences=norths_words(bearings, unit),
    )


def _zones(settings: CardSettings, places: Sequence[Place]) -> bool:
    """Whether the grid chosen is of several UTM zones at these places."""
    return (
        settings.grid in ("utm", "mgrs")
        and len({utm_epsg(place.lat_deg, place.lon_deg) % 100 for place in places}) > 1
    )


def _cautions(
    known: Sequence[Caution], bearings: Sequence[LegBearings], *, checks: bool = False, zones: bool = False
) -> tuple[Caution, ...]:
    """Those of the screening, those of bearings and readings, and those of the magnetic field."""
    own = cautions_for(Situation(magnetic=True, grid_zones=zones, from_reading=checks))
    weak = dict.fromkeys(text for leg in bearings for text in leg.field.cautions)
    field = [Caution(f"magnetic_field_{k}", text) for k, text in enumerate(weak, start=1)]
    return (*with_cautions(known, own), *field)
