"""What a screening says. Field names are the keys of the JSON contract.

Fields whose metadata say ``json=False`` are tables and pictures' ground: they go into a saved
plan and into files of points, not into the JSON answer. Slopes are unrounded; `None` is
unknown.
"""

from __future__ import annotations

from dataclasses import field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import Band
from steybrae.cautions import Cautions
from steybrae.forecast.beside import ForecastBeside
from steybrae.forecast.named import LegGrounds
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, LatDeg, LonDeg, NotNegative, Ordinal, Share, SlopeDeg
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.overhead.result import ExpectedReading, OverheadAnswer, Profile
from steybrae.route.positions.places import Place
from steybrae.route.shape_result import ConvexRoll, TerrainTrap
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.known import Asked, ModelRead
from steybrae.screening.origin import RunOrigin
from steybrae.screening.pictures.picture import Relief
from steybrae.screening.places.result import DropAtPlace, PlaceThatMatters, PossibleOnly
from steybrae.screening.standing import SteepWithoutCheck
from steybrae.terrain.attributes import BASELINE_M
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.unknown import UnknownAt


@dataclass(frozen=True)
class Position:
    """A place on or beside a leg.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    chainage_m
        Distance along the leg, metres; beside the leg that of the nearest place on it.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    chainage_m: NotNegative


@dataclass(frozen=True)
class SideGround:
    """Nearest ground of at least some slope on one side of a leg.

    Attributes
    ----------
    least_slope_deg
        That slope.
    distance_m
        Least horizontal distance from the line to the edge of such a cell, metres.
    height_difference_m
        Height of that cell above (positive) or below the line abreast of it; None unknown.
    chainage_m
        Where along the leg it is abreast.
    stretches_m
        From and to, metres along the leg, where such ground lies abreast within the reach.
    """

    least_slope_deg: SlopeDeg
    distance_m: NotNegative
    height_difference_m: float | None
    chainage_m: NotNegative
    stretches_m: tuple[tuple[NotNegative, NotNegative], ...]


@dataclass(frozen=True)
class Sides:
    """What lies left and right of travel.

    Attributes
    ----------
    left, right
        Nearest steep ground, one entry for each slope of which there is any, gentlest first.
    unknown_left, unknown_right
        Whether there is unknown ground within the reach on that side.
    reach_m
        How far was looked at the least, metres.
    """

    left: tuple[SideGround, ...]
    right: tuple[SideGround, ...]
    unknown_left: bool
    unknown_right: bool
    reach_m: NotNegative


@dataclass(frozen=True, eq=False)
class LegPoints:
    """Evenly spaced points along a leg, its ends included; arrays of shape ``(n,)``.

    Attributes
    ----------
    chainage_m, lat_deg, lon_deg
        Where.
    elevation_m
        Interpolated; NaN unknown.
    slope_deg
        Steepest of the nine cells around the point, never interpolated; NaN unknown.
    slope_low_deg, slope_high_deg
        95 % interval of it; NaN unknown, or not known how well.
    aspect_true_deg
        Of the interpolated gradient; NaN unknown and on flat ground.
    track_grade_deg
        Slope along the line, positive uphill, of the interpolated gradient.
    corridor_deg
        Steepest slope across the corridor abreast, the line's own cells included; NaN where none
        is known.
    half_width_m
        Half-width of the corridor.
    known
        Whether all cells around the point are known.
    """

    chainage_m: Array
    lat_deg: Array
    lon_deg: Array
    elevation_m: Array
    slope_deg: Array
    slope_low_deg: Array
    slope_high_deg: Array
    aspect_true_deg: Array
    track_grade_deg: Array
    corridor_deg: Array
    half_width_m: Array
    known: NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class LegGroundFacts:
    """Ground of one leg, as the screening and the card tell it.

    Attributes
    ----------
    slope_max_deg
        Steepest of the cells that the line touches and of those around them; None on a leg wholly
        unknown.
    slope_low_deg
        Largest low end of the 95 % intervals of those cells, degrees; None where not known.
    slope_high_deg
        Largest high end of the 95 % intervals of those cells, degrees; None where it is not known:
        then it is open above.
    slope_max_at
        Where on the line.
    slope_corridor_max_deg
        Steepest ground in the corridor over its baseline, never gentler than the line, degrees;
        None where nothing is known.
    band
        Band of `slope_max_deg`; None on a leg wholly unknown.
    bands_possible
        From there to the steeper of the bands of `slope_high_deg` and of the corridor.
    open_above
        Whether it may be steeper still: unknown ground, or no known uncertainty.
    steep_m
        Metres of ground of 30 degrees or more, whatever the band edges.
    steep_stretch_m
        Longest stretch of ground of 30 degrees or more; unknown ground does not end it.
    aspect_sectors
        Sectors that the ground of 30 degrees or more on the line faces, longest first.
    unknown_m
        Metres of unknown ground; with band_lengths_m they add up to length_m.
    drop
        Nearest drop in the corridor; None where there is none.
    short_corridor_max_deg
        Steepest short piece in the corridor, over two cells, where it is shown steeper than
        `slope_corridor_max_deg`, degrees; else None.
    """

    slope_max_deg: SlopeDeg | None
    slope_low_deg: SlopeDeg | None
    slope_high_deg: SlopeDeg | None
    slope_max_at: Position | None
    slope_corridor_max_deg: SlopeDeg | None
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    steep_m: NotNegative
    steep_stretch_m: NotNegative
    aspect_sectors: tuple[str, ...]
    unknown_m: NotNegative
    drop: DropAtPlace | None = None
    short_corridor_max_deg: SlopeDeg | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class LineFacts:
    """Length, heights and bands of a leg, or of the whole line.

    Attributes
    ----------
    length_m
        Horizontal ground distance.
    ascent_m, descent_m
        Without reversals smaller than the settings'; over unknown ground "at least".
    ascent_at_least
        Whether unknown ground may hide more ascent and descent.
    ascent_on_map_m
        Contour lines crossed upwards times the map's interval; None where no interval was given.
    elevation_min_m
        Lowest height of the known part, metres; None where none is known.
    elevation_max_m
        Highest height of the known part, metres; None where none is known.
    short_slope_max_deg
        Steepest of the same cells over two cells, where that is a band steeper, degrees; else None.
    band_lengths_m
        Metres in each band, by its label; with `unknown_m` they add up to `length_m`.
    known_share
        Share of the length that is known.
    """

    length_m: NotNegative
    ascent_m: NotNegative
    descent_m: NotNegative
    ascent_at_least: bool
    ascent_on_map_m: NotNegative | None
    elevation_min_m: float | None
    elevation_max_m: float | None
    short_slope_max_deg: SlopeDeg | None
    band_lengths_m: dict[str, NotNegative]
    known_share: Share


@dataclass(frozen=True, eq=False)
class LegScreening(LineFacts, LegGroundFacts):
    """One leg.

    What a card tells of its ground too stands in `LegGroundFacts`.

    Attributes
    ----------
    number
        From 1.
    from_, to
        Names of its turn points, or ``point n``.
    baseline_m
        What the slopes of the line and of the corridor are measured over, metres.
    slope_corridor_max_at
        Its centre; None where nothing is known.
    corridor_half_width_m
        Least and greatest half-width of the corridor.
    corridor_lengths_m
        Metres of the leg abreast of which the corridor holds ground at or above each edge.
    track_grade_max_deg
        Steepest gradient along the line, up or down, as a size.
    sides
        Nearest steep ground to the left and right.
    baselines
        Steepest slope over each of several baselines.
    overhead
        Angles up to start zones overhead; None where none of its heights is known.
    unknown_above
        Whether unknown ground could look down on it: every angle overhead is then 'at least', and
        no answer does not mean nothing.
    convex_rolls
        Ground that steepens downhill, in the order of the leg.
    terrain_traps
        Ground that makes a slide worse, in the order of the leg.
    expected_readings
        Where a clinometer would tell most and one may stand, numbered through the whole route.
    steep_without_check
        Ground worth a reading where one may not stand to take it.
    cautions
        Those that apply to this leg.
    points
        Along the leg.
    overhead_profile
        Sight angles along it, whatever lies between, for files of points.
    unknown_above_at
        The nearest unknown ground that could look down on it; None where there is none.
    slope_corridor_high_deg
        Largest high end in the corridor, never below that of the line; None where one is not known.
    """

    KEY_ORDER: ClassVar[tuple[str, ...]] = (
        "number", "from_", "to", "length_m", "ascent_m", "descent_m", "elevation_min_m", "elevation_max_m",
        "slope_max_deg", "slope_low_deg", "slope_high_deg", "slope_max_at", "slope_corridor_max_deg",
        "slope_corridor_max_at", "track_grade_max_deg", "steep_stretch_m", "sides", "aspect_sectors", "band",
        "bands_possible", "open_above", "band_lengths_m", "unknown_m", "known_share", "cautions",
    )  # fmt: skip
    """Keys of the contract in the order in which a person reads them; all others follow."""

    number: Ordinal
    from_: str
    to: str
    baseline_m: NotNegative
    slope_corridor_max_at: Position | None
    corridor_half_width_m: tuple[NotNegative, NotNegative]
    corridor_lengths_m: dict[str, NotNegative]
    track_grade_max_deg: SlopeDeg | None
    sides: Sides
    baselines: tuple[LegBaseline, ...]
    overhead: OverheadAnswer | None
    unknown_above: bool
    convex_rolls: tuple[ConvexRoll, ...]
    terrain_traps: tuple[TerrainTrap, ...]
    expected_readings: tuple[ExpectedReading, ...]
    steep_without_check: tuple[SteepWithoutCheck, ...]
    cautions: Cautions
    points: LegPoints = field(metadata=NOT_JSON)
    overhead_profile: Profile = field(metadata=NOT_JSON)
    unknown_above_at: UnknownAt | None = None
    slope_corridor_high_deg: SlopeDeg | None = None


@dataclass(frozen=True)
class Totals(LineFacts):
    """The whole line; attributes as those of a leg, summed or the steepest.

    ``overhead_max_deg`` leads; ``overhead_inside_max_deg`` is from the slope that a zone is itself.

    Attributes
    ----------
    legs
        Number of legs.
    slope_max_deg
        Steepest of the cells that the line touches and of those around them, degrees; None where
        nothing is known.
    slope_max_leg
        Number of the leg that holds it; None where nothing is known.
    slope_corridor_max_deg
        Steepest ground in the corridor over its baseline, never gentler than the line, degrees;
        None where nothing is known.
    slope_corridor_max_leg
        Number of the leg that holds it; None where nothing is known.
    short_corridor_max_deg
        Steepest short piece in the corridor, over two cells, where it is shown steeper, degrees; else None.
    steep_stretch_m
        Longest stretch of ground of 30 degrees or more; unknown ground does not end it. Metres.
    band
        Band of slope_max_deg; None where nothing is known.
    bands_possible
        From there to the steeper of the bands of slope_high_deg and of the corridor.
    open_above
        Whether it may be steeper still: unknown ground, or no known uncertainty.
    unknown_m
        Metres of unknown ground; with band_lengths_m they add up to length_m.
    overhead_max_deg
        Steepest sight or path up to a start zone from those parts of the line that lie in none: the open
        sights of its legs, paths of legs in none, all of its places, degrees; None where there is none or
        it is unknown.
    overhead_max_leg
        The leg it is from; None as overhead_max_deg.
    overhead_inside_max_deg
        Steepest open sight or path from within a start zone, where it is steeper than that; else None.
    overhead_inside_max_leg
        The leg it is from; None as overhead_inside_max_deg.
    in_start_zone_m
        Metres of the line in a start zone.
    in_possible_zone_m
        Metres of the line in a possible start zone, those in start zones and on steeper ground among them.
    unknown_above
        Whether unknown ground could look down on the line.
    """

    legs: Ordinal
    slope_max_deg: SlopeDeg | None
    slope_max_leg: Ordinal | None
    slope_corridor_max_deg: SlopeDeg | None
    slope_corridor_max_leg: Ordinal | None
    short_corridor_max_deg: SlopeDeg | None
    steep_stretch_m: NotNegative
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    unknown_m: NotNegative
    overhead_max_deg: SlopeDeg | None
    overhead_max_leg: Ordinal | None
    overhead_inside_max_deg: SlopeDeg | None
    overhead_inside_max_leg: Ordinal | None
    in_start_zone_m: NotNegative
    in_possible_zone_m: NotNegative
    unknown_above: bool


@dataclass(frozen=True)
class ModelFacts(ModelRead):
    """The elevation model and how it was read.

    Attributes
    ----------
    datum_accuracy_m
        Accuracy of the shift from GPS positions to its datum; None if not known.
    method
        Slope method.
    engine
        What computed the slopes.
    uncertainty
        What the 95 % intervals rest on, in words.
    corridor_baseline_m
        Baseline of slopes in the corridor, along a row and along a column.
    """

    datum_accuracy_m: NotNegative | None
    method: str
    engine: str
    uncertainty: str
    corridor_baseline_m: tuple[NotNegative, NotNegative]


@dataclass(frozen=True, kw_only=True)
class SettingsUsed(Asked):
    """How a line was screened.

    Attributes
    ----------
    edges_deg
        Band edges. Degrees.
    reversal_m
        Smallest reversal of height that counts. Metres.
    """

    edges_deg: tuple[NotNegative, ...]
    reversal_m: NotNegative


@dataclass(frozen=True, eq=False)
class RouteScreening:
    """A planned line screened.

    Attributes
    ----------
    name
        Name of the route.
    read_as
        What was read from its file: ``route``, ``track``, ``way-points`` or ``line``.
    notes
        What was done on reading it.
    legs
        Leg by leg.
    totals
        The whole line.
    places
        Places that matter, along the line.
    legs_without
        Numbers of legs with no ground that may be of 30 degrees underfoot or in the corridor, none
        overhead at 25 and more, and nothing unknown.
    legs_possible_only
        Legs on no place that are not without.
    model
        The elevation model and how it was read.
    settings
        The figures that were chosen or left as they were.
    version
        Version of steybrae.
    cautions
        Those that apply.
    cross_check
        Comparison of two engines on the same ground; None where none was asked for.
    turn_points
        Turn points as their author wrote them.
    origin
        How it was asked for; None where not on a command line.
    relief
        Ground round the line, for pictures; None where no picture was asked for.
    forecast
        What a bulletin says beside it; None where no bulletin was given: then nothing here takes
        today's snow into account.
    forecast_grounds
        Ground of each leg for matching a bulletin; None where not asked for.
    """

    name: str
    read_as: str
    notes: tuple[str, ...]
    legs: tuple[LegScreening, ...]
    totals: Totals
    places: tuple[PlaceThatMatters, ...]
    legs_without: tuple[Ordinal, ...]
    legs_possible_only: tuple[PossibleOnly, ...]
    model: ModelFacts
    settings: SettingsUsed
    version: str
    cautions: Cautions
    cross_check: CrossCheck | None = None
    turn_points: tuple[Place, ...] = field(default=(), metadata=NOT_JSON)
    origin: RunOrigin | None = field(default=None, metadata=NOT_JSON)
    relief: Relief | None = field(default=None, metadata=NOT_JSON)
    forecast: ForecastBeside | None = None
    forecast_grounds: tuple[LegGrounds, ...] | None = field(default=None, metadata=NOT_JSON)

    @property
    def leg_ends(self) -> tuple[Place, ...]:
        """Where its legs begin, and the last ends, with their names."""
        firsts = [(leg.points, 0, leg.from_) for leg in self.legs]
        last = self.legs[-1]
        return tuple(
            Place(float(at.lat_deg[k]), float(at.lon_deg[k]), name)
            for at, k, name in (*firsts, (last.points, -1, last.to))
        )

    @property
    def long_baseline_m(self) -> float | None:
        """What its slopes are measured over, metres, where cells are too large for 20 m; else None."""
        longest_m = max(leg.baseline_m for leg in self.legs)
        return longest_m if round(longest_m) > BASELINE_M else None
