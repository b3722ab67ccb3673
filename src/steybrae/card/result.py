"""What a card says. Field names are the keys of the JSON contract.

Numbers are unrounded; `None` is unknown, or not asked for. Every bearing names its north.
Fields whose metadata say ``json=False`` are the sentences and clock times that paper shows.
"""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from steybrae.cautions import Caution, Cautions
from steybrae.forecast.beside import ForecastBeside
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, BearingDeg, Count, LatDeg, LonDeg, NotNegative, Ordinal, SlopeDeg
from steybrae.route.overhead.result import Quantity
from steybrae.screening.basis import ZoneUnderfoot
from steybrae.screening.places.result import PlaceThatMatters, PossibleOnly
from steybrae.screening.result import LegGroundFacts
from steybrae.screening.standing import SteepWithoutCheck
from steybrae.terrain.overhead.unknown import UnknownAt


@dataclass(frozen=True)
class CardPlace:
    """A turn point.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    name
        As in the route; may be empty.
    written
        The position as its author wrote it; empty where that is not known.
    reference
        The position in the card's grid.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    name: str
    written: str
    reference: str


@dataclass(frozen=True)
class Check:
    """A place worth a reading.

    Attributes
    ----------
    number
        Leg and letter, ``7a``: a reading taken there names it.
    what
        What is there, in words.
    quantity
        A slope, of the ground there, or a sight, the angle up to a named place.
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    reference
        Where, in the card's grid.
    chainage_m
        How far along the leg, on it, metres.
    look_bearing_true_deg, look_bearing_magnetic_deg
        Bearing to look along; `what` says whether up or down. Up a fall line it is aspect + 180.
        None where the model does not tell: look along the steepest way.
    expected_deg
        What the model would have an inclinometer read, degrees.
    consistent_low_deg, consistent_high_deg
        Readings between them do not differ from the model by the rule for normalised
        errors: ``expected -+ hypot(4, half-width of the model's interval on that side)``;
        None where the model's end is not known.
    would_notice_deg
        The larger of the two half-widths; None as they.
    result_inside
        What a reading between them says, the less telling of the two sides; see
        `steybrae.field.agreement.Answer`.
    steeper_above_deg
        A reading above this is steeper than planned, and leads: the expected reading, for
        the steeper of two figures always leads.
    overhead_deg, overhead_at_least
        Steepest sight from there to any possible start zone, None where there is none at 18 degrees and
        more; whether unknown ground could stand over it too.
    leads
        Whether it is one of the eight of the day that tell most.
    model_ends_deg
        The model's 95 % ends there, degrees; None where not known.
    """

    number: str
    what: str
    quantity: Quantity
    lat_deg: LatDeg
    lon_deg: LonDeg
    reference: str
    chainage_m: NotNegative
    look_bearing_true_deg: BearingDeg | None
    look_bearing_magnetic_deg: BearingDeg | None
    expected_deg: SlopeDeg
    consistent_low_deg: NotNegative | None
    consistent_high_deg: NotNegative | None
    would_notice_deg: NotNegative | None
    result_inside: str
    steeper_above_deg: SlopeDeg
    overhead_deg: SlopeDeg | None
    overhead_at_least: bool
    leads: bool
    model_ends_deg: tuple[float | None, float | None] = field(metadata=NOT_JSON)


@dataclass(frozen=True)
class OutsideSight:
    """Steepest sight from the parts of a leg outside of start zones; attributes as in `Overhead`.

    ``chainage_m`` is where to stand, metres along the leg.

    Attributes
    ----------
    sight_deg
        Angle above the horizon, degrees.
    look_bearing_magnetic_deg
        Bearing to look along, degrees from magnetic north.
    distance_m
        Horizontal distance, metres.
    rise_m
        Height difference, metres.
    chainage_m
        Where to stand, metres along the leg.
    """

    sight_deg: SlopeDeg
    look_bearing_magnetic_deg: BearingDeg
    distance_m: NotNegative
    rise_m: NotNegative
    chainage_m: NotNegative


@dataclass(frozen=True)
class Overhead:
    """Ground overhead from which snow could come.

    Attributes
    ----------
    in_start_zone
        Whether the leg itself stands in such ground.
    in_possible_zone
        Whether it stands in ground that may be such within what is known of it, or is too steep to be such.
    underfoot
        ``yes`` in a start zone, ``steeper`` where its steepest is too steep for one, and a source all the
        same, ``possible``, ``no``.
    sight_deg
        Steepest sight angle up to ground from which snow could come; None where there is none.
    unfiltered_deg
        Steepest sight angle up to any such ground, whatever lies between; None where there is none.
    path_deg
        Angle along the steepest way that snow could take; None where there is none.
    look_bearing_magnetic_deg
        Bearing to look along, degrees from magnetic north; None as sight_deg.
    distance_m
        Horizontal distance to it, metres; None as sight_deg.
    rise_m
        Height difference to it, metres; None as sight_deg.
    unknown_above
        Whether unknown ground above may hide more.
    unknown_above_at
        The nearest of that ground; None where there is none.
    outside
        The sight from outside of start zones, where the steepest is from within one and so often
        only to the slope underfoot; None where it is not, and where there is none.
    """

    in_start_zone: bool
    in_possible_zone: bool
    underfoot: ZoneUnderfoot
    sight_deg: SlopeDeg | None
    unfiltered_deg: SlopeDeg | None
    path_deg: SlopeDeg | None
    look_bearing_magnetic_deg: BearingDeg | None
    distance_m: NotNegative | None
    rise_m: NotNegative | None
    unknown_above: bool
    outside: OutsideSight | None = None
    unknown_above_at: UnknownAt | None = None


@dataclass(frozen=True)
class CardGround(LegGroundFacts):
    """What the ground of a leg does; attributes as those of a leg of the screening.

    Attributes
    ----------
    elevation_end_m
        Height at the end of the leg, metres; None unknown.
    overhead
        None where it was not looked for.
    """

    elevation_end_m: float | None
    overhead: Overhead | None


@dataclass(frozen=True)
class Beside:
    """Steep or unknown ground on one side of a leg.

    Attributes
    ----------
    side
        ``left`` or ``right`` of travel.
    least_slope_deg
        From here on; None for unknown ground.
    distance_m
        Least distance from the line, metres; None for unknown ground.
    height_difference_m
        Height of the nearest such ground above (positive) or below the line; None unknown.
    from_m
        First place along the leg abreast of such ground, metres; None for unknown ground.
    to_m
        Last place along the leg abreast of such ground, metres; None for unknown ground.
    parts
        Number of separate stretches between them.
    """

    side: str
    least_slope_deg: SlopeDeg | None
    distance_m: NotNegative | None
    height_difference_m: float | None
    from_m: float | None
    to_m: float | None
    parts: Count


@dataclass(frozen=True)
class CliffBelow:
    """Ground so steep below a leg that even a small slide carries one over it, on one side.

    Attributes
    ----------
    side
        Of travel.
    slope_max_deg
        Steepest of it, degrees.
    distance_m
        Least distance at which it begins, metres.
    from_m
        First place along the leg above such ground, metres.
    to_m
        Last place along the leg above such ground, metres.
    parts
        Number of separate stretches between them.
    """

    side: Literal["left", "right", "ahead", "behind"]
    slope_max_deg: SlopeDeg
    distance_m: NotNegative
    from_m: NotNegative
    to_m: NotNegative
    parts: Count


@dataclass(frozen=True, kw_only=True)
class CardDay:
    """Length, climb and time of a leg, or of the whole day.

    Attributes
    ----------
    length_m
        Along the line, metres on the level.
    map_mm
        Length on the map, millimetres; None without a scale.
    ascent_m, descent_m
        As in the screening, metres; None without a model.
    ascent_at_least
        Whether unknown ground may hide more.
    time_min
        Minutes with factors and breaks; None without a model.
    time_at_least
        Whether unknown ground may make it longer.
    arrival
        At its end, ISO 8601 with offset; None without a start.
    daylight_left_min
        Minutes from there to sunset, negative after it; None without a start, or where the sun does
        not set.
    """

    length_m: NotNegative
    map_mm: NotNegative | None
    ascent_m: NotNegative | None
    descent_m: NotNegative | None
    ascent_at_least: bool
    time_min: float | None
    time_at_least: bool
    arrival: str | None
    daylight_left_min: float | None


@dataclass(frozen=True)
class CardLeg(CardDay):
    """One leg.

    Attributes
    ----------
    number
        From 1.
    from_
        Name of its first turn point.
    to
        Name of its last turn point.
    from_place, to_place
        The turn points.
    bearing_true_deg
        Of the straight line from start to end, at its start, degrees clockwise from true north.
    bearing_grid_deg
        The same from grid north; None without a grid. Degrees.
    bearing_magnetic_deg
        The same from magnetic north, degrees.
    back_bearing_magnetic_deg
        Back from end to start, degrees from magnetic north.
    declination_deg
        From true to magnetic north, degrees, east positive.
    declination_uncertainty_deg
        Its 95 % uncertainty, degrees.
    convergence_deg
        From true to grid north, degrees, east positive.
    grid_magnetic_deg
        From grid to magnetic north, degrees, east positive.
    straight_m
        Straight from start to end, metres on the level.
    bends
        Whether the line leaves the straight: the bearing then does not follow it.
    slope_distance_m
        Along the ground; None without heights.
    paces
        Of the slope distance, or of the length without heights; None without a count.
    compass
        What to set with a declination scale, and the sum to do without.
    ground
        None without a model.
    beside
        Steep or unknown ground to the sides.
    cliffs
        Cliffs below, one entry for each side that has any.
    checks
        Places worth a reading, where one may stand.
    steep_without_check
        Ground worth a reading where one may not stand to take it.
    cautions
        Those of the screening for this leg.
    walk_on_by, turn_back_by
        Latest time at its end, to be down by the hour of the card: to walk on from there, and to turn
        round there and walk back the same way. ISO 8601 with offset; None without that hour.
    shape_deg
        Latitude and longitude of places between the ends, where the line bends.
    arrival_text, daylight_text
        As printed; empty where there is none.
    """

    number: Ordinal
    from_: str
    to: str
    from_place: CardPlace
    to_place: CardPlace
    bearing_true_deg: BearingDeg
    bearing_grid_deg: BearingDeg | None
    bearing_magnetic_deg: BearingDeg
    back_bearing_magnetic_deg: BearingDeg
    declination_deg: float
    declination_uncertainty_deg: NotNegative
    convergence_deg: float
    grid_magnetic_deg: float
    straight_m: NotNegative
    bends: bool
    slope_distance_m: NotNegative | None
    paces: float | None
    compass: tuple[str, str]
    ground: CardGround | None
    beside: tuple[Beside, ...]
    cliffs: tuple[CliffBelow, ...]
    checks: tuple[Check, ...]
    steep_without_check: tuple[SteepWithoutCheck, ...]
    cautions: tuple[Caution, ...]
    walk_on_by: str | None = None
    turn_back_by: str | None = None
    shape_deg: tuple[tuple[float, float], ...] = field(default=(), metadata=NOT_JSON)
    arrival_text: str = field(default="", metadata=NOT_JSON)
    daylight_text: str = field(default="", metadata=NOT_JSON)


@dataclass(frozen=True)
class CardTotals(CardDay):
    """The whole day; attributes as those of a leg, summed, the steepest, or of the last leg.

    Attributes
    ----------
    legs
        Number of legs.
    slope_max_deg
        Steepest of the cells that the line touches and of those around them, degrees; None unknown.
    slope_max_leg
        The leg that it is on; None unknown.
    slope_corridor_max_deg
        Steepest ground in the corridor of any leg, degrees; None unknown.
    slope_corridor_max_leg
        The leg that it is beside; None unknown.
    short_corridor_max_deg
        Steepest short piece in it, where it is shown steeper, degrees; else None.
    open_above
        Whether it may be steeper still: unknown ground, or no known uncertainty.
    steep_m
        Metres of ground of 30 degrees or more, whatever the band edges.
    unknown_m
        Metres of unknown ground on the line.
    checks
        Number of places worth a reading.
    """

    legs: Ordinal
    slope_max_deg: SlopeDeg | None
    slope_max_leg: Ordinal | None
    slope_corridor_max_deg: SlopeDeg | None
    slope_corridor_max_leg: Ordinal | None
    open_above: bool
    steep_m: NotNegative | None
    unknown_m: NotNegative | None
    checks: Count
    short_corridor_max_deg: SlopeDeg | None = None


@dataclass(frozen=True)
class Norths:
    """The three norths of this sheet on this day.

    Attributes
    ----------
    model
        Magnetic model in use.
    grid_magnetic_low_deg, grid_magnetic_high_deg
        Least and greatest angle from grid to magnetic north over the legs, east positive.
    declination_deg
        From true to magnetic north at the first leg, degrees, east positive.
    declination_uncertainty_deg
        Its 95 % uncertainty, degrees.
    sentences
        Where magnetic north lies, the rule, how sure, how to read the bearings.
    """

    model: str
    grid_magnetic_low_deg: float
    grid_magnetic_high_deg: float
    declination_deg: float
    declination_uncertainty_deg: NotNegative
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class RouteCard:
    """A card.

    Attributes
    ----------
    name
        Of the route.
    date
        ISO 8601.
    grid
        Grid of the references.
    scale
        Denominator of the map scale; None where none was given.
    paces_per_100m
        Paces to 100 m; None where not given.
    bearing_unit
        Unit of the bearings as printed; those here are degrees.
    start
        Start of the day, ISO 8601 with offset; None where not given.
    zone
        Time zone of the clock; None where not given.
    legs
        Leg by leg.
    totals
        The whole day.
    places, legs_without, legs_possible_only
        As in the screening; empty without a model.
    norths
        The three norths.
    time_words
        What times rest on.
    daylight_words
        Sunrise, sunset and twilight; empty without a zone.
    notes
        What was done on reading the route, and what positions are good to.
    basis
        Model, uncertainty, corridor and version, in whole sentences.
    cautions
        Those that apply.
    forecast
        What a bulletin says beside it; None where no bulletin was given: then nothing here takes
        today's snow into account.
    party, call
        Names of the party, and whom to call; may be empty.
    overdue
        When to call if nobody came back, ISO 8601 with offset; None where not given.
    down_by, down_by_is
        When to be down, and whether that was stated or is sunset; None without a zone.
    overhead_text
        How steeply start zones look down on the day, as a screening prints it; empty without a model.
    start_text, overdue_text, down_by_text
        As printed; empty where there is none.
    dark_till, dark_from
        Sunrise and sunset, ISO 8601 with offset; where the sun does not rise, sunset is a time before the
        day. None without a zone, and where it does neither.
    """

    name: str
    date: str
    grid: str
    scale: float | None
    paces_per_100m: float | None
    bearing_unit: str
    start: str | None
    zone: str | None
    legs: tuple[CardLeg, ...]
    totals: CardTotals
    norths: Norths
    time_words: tuple[str, ...]
    daylight_words: tuple[str, ...]
    notes: tuple[str, ...]
    basis: tuple[str, ...]
    cautions: Cautions
    forecast: ForecastBeside | None = None
    places: tuple[PlaceThatMatters, ...] = ()
    legs_without: tuple[int, ...] = ()
    legs_possible_only: tuple[PossibleOnly, ...] = ()
    party: str = ""
    call: str = ""
    overdue: str | None = None
    down_by: str | None = None
    down_by_is: Literal["stated", "sunset"] | None = None
    start_text: str = field(default="", metadata=NOT_JSON)
    overdue_text: str = field(default="", metadata=NOT_JSON)
    down_by_text: str = field(default="", metadata=NOT_JSON)
    overhead_text: str = field(default="", metadata=NOT_JSON)
    dark_till: str | None = field(default=None, metadata=NOT_JSON)
    dark_from: str | None = field(default=None, metadata=NOT_JSON)
