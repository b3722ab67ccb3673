"""What a card says. Field names are the keys of the JSON contract.

Numbers are unrounded; `None` is unknown, or not asked for. Every bearing names its north.
Fields whose metadata say ``json=False`` are the sentences and clock times that paper shows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from steybrae.bands import Band
from steybrae.cautions import Caution
from steybrae.forecast.beside import ForecastBeside
from steybrae.screening.result import Position

__all__ = [
    "Beside",
    "CardGround",
    "CardLeg",
    "CardPlace",
    "CardTotals",
    "Check",
    "Norths",
    "OutsideSight",
    "Overhead",
    "RouteCard",
]

_PAPER: Final[dict[str, Any]] = {"json": False}


@dataclass(frozen=True)
class CardPlace:
    """A turn point.

    Attributes
    ----------
    lat_deg, lon_deg
        On WGS 84.
    name
        As in the route; may be empty.
    written
        The position as its author wrote it; empty where that is not known.
    reference
        The position in the card's grid.
    """

    lat_deg: float
    lon_deg: float
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
    lat_deg, lon_deg, reference
        Where, on WGS 84 and in the card's grid.
    chainage_m
        Distance along the leg of the nearest place on it, metres.
    off_line_m
        Distance from the line, metres.
    side
        ``left`` or ``right`` of travel; None on the line.
    towards_bearing_magnetic_deg
        From the line to the place; None on the line.
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
        What a reading between them says: ``consistent``, or ``cannot tell`` where they are
        more than a band apart from the expected reading, or not known.
    steeper_above_deg
        A reading above this is steeper than planned, and leads: the expected reading, for
        the steeper of two figures always leads.
    """

    number: str
    what: str
    lat_deg: float
    lon_deg: float
    reference: str
    chainage_m: float
    off_line_m: float
    side: str | None
    towards_bearing_magnetic_deg: float | None
    look_bearing_true_deg: float | None
    look_bearing_magnetic_deg: float | None
    expected_deg: float
    consistent_low_deg: float | None
    consistent_high_deg: float | None
    would_notice_deg: float | None
    result_inside: str
    steeper_above_deg: float


@dataclass(frozen=True)
class OutsideSight:
    """Steepest sight from the parts of a leg outside of start zones; attributes as in `Overhead`.

    ``chainage_m`` is where to stand, metres along the leg.
    """

    sight_deg: float
    look_bearing_magnetic_deg: float
    distance_m: float
    rise_m: float
    chainage_m: float


@dataclass(frozen=True)
class Overhead:
    """Ground overhead from which snow could come.

    Attributes
    ----------
    in_start_zone
        Whether the leg itself stands in such ground.
    sight_deg
        Steepest sight angle up to ground from which snow could come; None where there is none.
    unfiltered_deg
        Steepest sight angle up to any such ground, whatever lies between; None where there is none.
    path_deg
        Angle along the steepest way that snow could take; None where there is none.
    look_bearing_magnetic_deg
        Bearing to look along; None as `sight_deg`.
    distance_m, rise_m
        Horizontal distance and height difference to it; None as `sight_deg`.
    unknown_above
        Whether unknown ground above may hide more.
    outside
        The sight from outside of start zones, where the steepest is from within one and so often
        only to the slope underfoot; None where it is not, and where there is none.
    """

    in_start_zone: bool
    sight_deg: float | None
    unfiltered_deg: float | None
    path_deg: float | None
    look_bearing_magnetic_deg: float | None
    distance_m: float | None
    rise_m: float | None
    unknown_above: bool
    outside: OutsideSight | None = None


@dataclass(frozen=True)
class CardGround:
    """What the ground of a leg does; attributes as those of a leg of the screening.

    Attributes
    ----------
    overhead
        None where it was not looked for.
    """

    slope_max_deg: float | None
    slope_low_deg: float | None
    slope_high_deg: float | None
    slope_max_at: Position | None
    slope_corridor_max_deg: float | None
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    steep_m: float
    steep_stretch_m: float
    aspect_sectors: tuple[str, ...]
    unknown_m: float
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
    from_m, to_m
        From the first to the last place along the leg abreast of such ground; None for
        unknown ground.
    parts
        Number of separate stretches between them.
    """

    side: str
    least_slope_deg: float | None
    distance_m: float | None
    height_difference_m: float | None
    from_m: float | None
    to_m: float | None
    parts: int


@dataclass(frozen=True)
class CardLeg:
    """One leg.

    Attributes
    ----------
    number, from_, to
        From 1; names of its turn points.
    from_place, to_place
        The turn points.
    bearing_true_deg, bearing_grid_deg, bearing_magnetic_deg, back_bearing_magnetic_deg
        Of the straight line from start to end, at its start. No grid bearing without a grid.
    declination_deg, declination_uncertainty_deg, convergence_deg, grid_magnetic_deg
        See `steybrae.route.bearings.LegBearings`.
    length_m, straight_m
        Along the line, and straight from start to end, metres on the level.
    bends
        Whether the line leaves the straight: the bearing then does not follow it.
    slope_distance_m
        Along the ground; None without heights.
    map_mm
        Length on the map; None without a scale.
    paces
        Of the slope distance, or of the length without heights; None without a count.
    ascent_m, descent_m, ascent_at_least
        As in the screening; None without a model.
    time_min, time_at_least
        With factors and breaks; whether unknown ground may make it longer. None without a model:
        a time without the climb would flatter.
    arrival
        At its end, ISO 8601 with offset; None without a start.
    daylight_left_min
        From there to sunset, negative after it; None without a start, or where the sun does not set.
    compass
        What to set with a declination scale, and the sum to do without.
    ground
        None without a model.
    beside
        Steep or unknown ground to the sides.
    checks
        Places worth a reading.
    cautions
        Those of the screening for this leg.
    shape_deg
        Latitude and longitude of places between the ends, where the line bends.
    arrival_text, daylight_text
        As printed; empty where there is none.
    """

    number: int
    from_: str
    to: str
    from_place: CardPlace
    to_place: CardPlace
    bearing_true_deg: float
    bearing_grid_deg: float | None
    bearing_magnetic_deg: float
    back_bearing_magnetic_deg: float
    declination_deg: float
    declination_uncertainty_deg: float
    convergence_deg: float
    grid_magnetic_deg: float
    length_m: float
    straight_m: float
    bends: bool
    slope_distance_m: float | None
    map_mm: float | None
    paces: float | None
    ascent_m: float | None
    descent_m: float | None
    ascent_at_least: bool
    time_min: float | None
    time_at_least: bool
    arrival: str | None
    daylight_left_min: float | None
    compass: tuple[str, str]
    ground: CardGround | None
    beside: tuple[Beside, ...]
    checks: tuple[Check, ...]
    cautions: tuple[Caution, ...]
    shape_deg: tuple[tuple[float, float], ...] = field(default=(), metadata=_PAPER)
    arrival_text: str = field(default="", metadata=_PAPER)
    daylight_text: str = field(default="", metadata=_PAPER)


@dataclass(frozen=True)
class CardTotals:
    """The whole day; attributes as those of a leg, summed, the steepest, or of the last leg."""

    legs: int
    length_m: float
    map_mm: float | None
    ascent_m: float | None
    descent_m: float | None
    ascent_at_least: bool
    time_min: float | None
    time_at_least: bool
    arrival: str | None
    daylight_left_min: float | None
    slope_max_deg: float | None
    open_above: bool
    steep_m: float | None
    unknown_m: float | None
    checks: int


@dataclass(frozen=True)
class Norths:
    """The three norths of this sheet on this day.

    Attributes
    ----------
    model
        Magnetic model in use.
    grid_magnetic_low_deg, grid_magnetic_high_deg
        Least and greatest angle from grid to magnetic north over the legs, east positive.
    declination_deg, declination_uncertainty_deg
        At the first leg, 95 %.
    sentences
        Where magnetic north lies, the rule, how sure, how to read the bearings.
    """

    model: str
    grid_magnetic_low_deg: float
    grid_magnetic_high_deg: float
    declination_deg: float
    declination_uncertainty_deg: float
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
    grid, scale, paces_per_100m, bearing_unit
        As chosen; `None` where not.
    start, zone
        Start of the day, ISO 8601 with offset, and the zone; None where not given.
    legs, totals
        The answer.
    norths
        The three norths.
    time_words, daylight_words
        What times rest on; sunrise, sunset and twilight (empty without a zone).
    notes
        What was done on reading the route, and what positions are good to.
    basis
        Model, uncertainty, corridor and version, in whole sentences.
    cautions
        Those that apply.
    forecast
        What a bulletin says of the legs; None where no bulletin was given.
    start_text
        As printed; empty without a start.
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
    cautions: tuple[Caution, ...]
    forecast: ForecastBeside | None = None
    start_text: str = field(default="", metadata=_PAPER)
