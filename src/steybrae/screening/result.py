"""What a screening says. Field names are the keys of the JSON contract.

Fields whose metadata say ``json=False`` are tables and pictures' ground: they go into a saved
plan and into files of points, not into the JSON answer. Slopes are unrounded; `None` is
unknown.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import Band
from steybrae.cautions import Caution
from steybrae.forecast.beside import ForecastBeside
from steybrae.forecast.named import LegGrounds
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.overhead_result import ExpectedReading, OverheadAnswer, Profile
from steybrae.route.places import Place
from steybrae.route.shape_result import ConvexRoll, TerrainTrap
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.origin import RunOrigin
from steybrae.screening.picture import Relief
from steybrae.screening.place_result import PlaceThatMatters, PossibleOnly
from steybrae.terrain.dem import Array
from steybrae.terrain.start_zones import StartRules

__all__ = [
    "LegPoints",
    "LegScreening",
    "ModelFacts",
    "Position",
    "RouteScreening",
    "SettingsUsed",
    "SideGround",
    "Sides",
    "Totals",
]


@dataclass(frozen=True)
class Position:
    """A place on or beside a leg.

    Attributes
    ----------
    lat_deg, lon_deg
        On WGS 84.
    chainage_m
        Distance along the leg, metres; beside the leg that of the nearest place on it.
    """

    lat_deg: float
    lon_deg: float
    chainage_m: float


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

    least_slope_deg: float
    distance_m: float
    height_difference_m: float | None
    chainage_m: float
    stretches_m: tuple[tuple[float, float], ...]


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
    reach_m: float


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


@dataclass(frozen=True, eq=False)
class LegScreening:
    """One leg.

    Attributes
    ----------
    number
        From 1.
    from_, to
        Names of its turn points, or ``point n``.
    length_m
        Horizontal ground distance.
    ascent_m, descent_m
        Without reversals smaller than the settings'; over unknown ground "at least".
    ascent_at_least
        Whether unknown ground may hide more ascent and descent.
    ascent_on_map_m
        Contour lines crossed upwards times the map's interval; None where no interval was given.
    elevation_min_m, elevation_max_m
        Over the known part.
    slope_max_deg
        Steepest of the cells that the line touches and of those around them; None on a leg wholly
        unknown.
    slope_low_deg, slope_high_deg
        95 % interval of it; None where not known how well.
    slope_max_at
        Where on the line.
    slope_corridor_max_deg, slope_corridor_max_at
        Steepest ground in the corridor over its baseline, and its centre; never gentler than the
        line, whose own cells count in it too.
    corridor_half_width_m
        Least and greatest half-width of the corridor.
    corridor_lengths_m
        Metres of the leg abreast of which the corridor holds ground at or above each edge.
    track_grade_max_deg
        Steepest gradient along the line, up or down, as a size.
    steep_m
        Metres of ground of 30 degrees or more, whatever the band edges.
    steep_stretch_m
        Longest stretch of ground of 30 degrees or more; unknown ground does not end it.
    sides
        Nearest steep ground to the left and right.
    aspect_sectors
        Sectors that the ground of 30 degrees or more on the line faces, longest first.
    band
        Band of `slope_max_deg`; None on a leg wholly unknown.
    bands_possible
        From there to the steeper of the bands of `slope_high_deg` and of the corridor.
    open_above
        Whether it may be steeper still: unknown ground, or no known uncertainty.
    band_lengths_m
        Metres of the leg by band label; with `unknown_m` they add up to `length_m`.
    unknown_m, known_share
        Metres of unknown ground; share of the leg that is known.
    baselines
        Steepest slope over each of several baselines.
    overhead
        What looks down on it; None where none of its heights is known.
    unknown_above
        Whether unknown ground could look down on it: every angle overhead is then "at least".
    convex_rolls, terrain_traps
        In the order of the leg.
    expected_readings
        Where a clinometer would tell most, numbered through the whole route.
    cautions
        Those that apply to this leg.
    points
        Along the leg.
    overhead_profile
        Sight angles along it, whatever lies between, for files of points.
    """

    number: int
    from_: str
    to: str
    length_m: float
    ascent_m: float
    descent_m: float
    ascent_at_least: bool
    ascent_on_map_m: float | None
    elevation_min_m: float | None
    elevation_max_m: float | None
    slope_max_deg: float | None
    slope_low_deg: float | None
    slope_high_deg: float | None
    slope_max_at: Position | None
    slope_corridor_max_deg: float | None
    slope_corridor_max_at: Position | None
    corridor_half_width_m: tuple[float, float]
    corridor_lengths_m: dict[str, float]
    track_grade_max_deg: float | None
    steep_m: float
    steep_stretch_m: float
    sides: Sides
    aspect_sectors: tuple[str, ...]
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    band_lengths_m: dict[str, float]
    unknown_m: float
    known_share: float
    baselines: tuple[LegBaseline, ...]
    overhead: OverheadAnswer | None
    unknown_above: bool
    convex_rolls: tuple[ConvexRoll, ...]
    terrain_traps: tuple[TerrainTrap, ...]
    expected_readings: tuple[ExpectedReading, ...]
    cautions: tuple[Caution, ...]
    points: LegPoints = field(metadata={"json": False})
    overhead_profile: Profile = field(metadata={"json": False})


@dataclass(frozen=True)
class Totals:
    """The whole line; attributes as those of a leg, summed or the steepest.

    ``overhead_max_deg`` is the steepest open sight of any leg.
    """

    legs: int
    length_m: float
    ascent_m: float
    descent_m: float
    ascent_at_least: bool
    ascent_on_map_m: float | None
    elevation_min_m: float | None
    elevation_max_m: float | None
    slope_max_deg: float | None
    slope_max_leg: int | None
    slope_corridor_max_deg: float | None
    slope_corridor_max_leg: int | None
    steep_stretch_m: float
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    band_lengths_m: dict[str, float]
    unknown_m: float
    known_share: float
    overhead_max_deg: float | None
    overhead_max_leg: int | None
    in_start_zone_m: float
    unknown_above: bool


@dataclass(frozen=True)
class ModelFacts:
    """The elevation model and how it was read.

    Attributes
    ----------
    files, fingerprints
        See `steybrae.files.rasters.ModelInfo`.
    crs
        Name of its CRS.
    cell_size_m
        Ground size of a cell along a row and along a column, where the line begins.
    height_unit_m, height_unit_from
        Metres in its height unit, and what said so.
    datum_accuracy_m
        Accuracy of the shift from GPS positions to its datum; None if not known.
    method, engine
        Slope method and what computed it.
    uncertainty
        What the 95 % intervals rest on, in words.
    corridor_baseline_m
        Baseline of slopes in the corridor, along a row and along a column.
    """

    files: tuple[str, ...]
    fingerprints: tuple[str, ...]
    crs: str
    cell_size_m: tuple[float, float]
    height_unit_m: float
    height_unit_from: str
    datum_accuracy_m: float | None
    method: str
    engine: str
    uncertainty: str
    corridor_baseline_m: tuple[float, float]


@dataclass(frozen=True)
class SettingsUsed:
    """The figures that the user chose or left as they were.

    Attributes
    ----------
    edges_deg, place_error_m, drift_deg
        Band edges, and what makes the corridor.
    vertical_error_m, correlation_m
        As stated; None where not.
    interval_m, reversal_m
        Contour interval of the user's map, None where not given; smallest reversal that counts.
    start_zones, reach_m
        What was to count as one overhead, before the uncertainty comes off; how far was looked.
    """

    edges_deg: tuple[float, ...]
    place_error_m: float
    drift_deg: float
    vertical_error_m: float | None
    correlation_m: float | None
    interval_m: float | None
    reversal_m: float
    start_zones: StartRules
    reach_m: float


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
    legs, totals
        The answer.
    places, legs_without, legs_possible_only
        Where it matters, and the legs that are on no place; see `steybrae.screening.places`.
    model, settings
        What it rests on.
    version
        Of this package.
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
        What a bulletin says beside it; None where no bulletin was given.
    forecast_grounds
        Ground of each leg for matching a bulletin; None where not asked for.
    """

    name: str
    read_as: str
    notes: tuple[str, ...]
    legs: tuple[LegScreening, ...]
    totals: Totals
    places: tuple[PlaceThatMatters, ...]
    legs_without: tuple[int, ...]
    legs_possible_only: tuple[PossibleOnly, ...]
    model: ModelFacts
    settings: SettingsUsed
    version: str
    cautions: tuple[Caution, ...]
    cross_check: CrossCheck | None = None
    turn_points: tuple[Place, ...] = field(default=(), metadata={"json": False})
    origin: RunOrigin | None = field(default=None, metadata={"json": False})
    relief: Relief | None = field(default=None, metadata={"json": False})
    forecast: ForecastBeside | None = None
    forecast_grounds: tuple[LegGrounds, ...] | None = field(default=None, metadata={"json": False})
