"""What is said of the ground at a place. Field names are the keys of the JSON contract."""

from __future__ import annotations

from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import Band
from steybrae.cautions import Cautions
from steybrae.forecast.beside import ForecastBeside
from steybrae.frozen import dataclass
from steybrae.ranges import (
    NOT_JSON,
    BearingDeg,
    ElevationAngleDeg,
    LatDeg,
    LonDeg,
    NotNegative,
    Share,
    SlopeDeg,
)
from steybrae.route.leg_baselines import LegBaseline
from steybrae.route.overhead.result import ExpectedReading, OverheadAnswer
from steybrae.route.shape_result import ConvexRoll, TerrainTrap
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.standing import ReadingLeftOut, SteepWithoutCheck
from steybrae.terrain.dem import Array
from steybrae.terrain.overhead.unknown import UnknownAt
from steybrae.terrain.start_zones import StartRules


@dataclass(frozen=True)
class PlaceAt:
    """The place asked for, on WGS 84, and as it was written.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    written
        The place as it was typed.
    name
        Its name, from a file of places; may be empty.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    written: str
    name: str = ""


@dataclass(frozen=True)
class GroundPlaces:
    """The ground at several places of one model.

    Attributes
    ----------
    places
        Each as for one place alone, in the order of the file.
    """

    places: tuple[GroundAt, ...]


@dataclass(frozen=True)
class Within:
    """Slopes of all cells that the position error reaches.

    Attributes
    ----------
    radius_m
        Radius of the circle, metres; every cell whose square touches it counts, and always
        the 3 x 3 around the place.
    slope_min_deg, slope_median_deg, slope_max_deg
        Over the known cells; None where none is known.
    unknown_share
        Share of the cells that is unknown.
    slope_high_max_deg
        Highest high end of their 95 % intervals, degrees; None where one of them is not known.
    slope_low_min_deg
        Lowest low end; None where none is known.
    """

    radius_m: NotNegative
    slope_min_deg: SlopeDeg | None
    slope_median_deg: SlopeDeg | None
    slope_max_deg: SlopeDeg | None
    unknown_share: Share
    slope_high_max_deg: SlopeDeg | None
    slope_low_min_deg: float | None = field(metadata=NOT_JSON)


@dataclass(frozen=True, eq=False)
class GroundPatch:
    """Cells around a place, for its picture.

    Attributes
    ----------
    slope_deg
        Of each cell, ``[row, col]``, NaN unknown.
    band
        Position of each cell's band, -1 unknown.
    edges_east_m, edges_north_m
        Corners of the cells from the place, true east and north, shape ``(rows + 1, cols + 1)``.
    inside
        Cells that the circle touches, and the 3 x 3 around the place.
    labels
        Labels of all bands, gentlest first.
    """

    slope_deg: Array
    band: NDArray[np.intp]
    edges_east_m: Array
    edges_north_m: Array
    inside: NDArray[np.bool_]
    labels: tuple[str, ...]


@dataclass(frozen=True)
class RunOut:
    """How far large slides have been known to run, by published angles; for teaching only.

    Attributes
    ----------
    beta_deg
        From where the straight way from the top of the zone past the place flattens to 10
        degrees, up to the top.
    beta_distance_m
        How far from the top that is.
    alpha_deg
        Run-out angle by the published relation; see `steybrae.terrain.overhead.path`.
    alpha_low_deg
        The same, two standard deviations farther out.
    alpha_sd_deg
        The relation's standard deviation.
    top_deg
        Angle from the place up to the top of the zone.
    """

    beta_deg: SlopeDeg
    beta_distance_m: NotNegative
    alpha_deg: ElevationAngleDeg
    alpha_low_deg: ElevationAngleDeg
    alpha_sd_deg: SlopeDeg
    top_deg: ElevationAngleDeg


@dataclass(frozen=True)
class DropNear:
    """A drop at or near a place.

    Attributes
    ----------
    off_m
        Ground distance to its nearest cell, metres; 0 where the place lies in it.
    fall_m
        Height of the highest one near, metres.
    bearing_true_deg
        Towards the nearest cell, degrees clockwise from true north; None where the place lies in it.
    """

    off_m: NotNegative
    fall_m: NotNegative
    bearing_true_deg: BearingDeg | None


@dataclass(frozen=True)
class GroundAt:
    """Ground at a place.

    Attributes
    ----------
    place
        Where.
    elevation_m
        Interpolated; None unknown.
    slope_deg
        Slope of the cell that the place lies in, never interpolated, degrees; None unknown.
    slope_low_deg
        Lower end of the 95 % interval of the slope, degrees; None where it is not known how well.
    slope_high_deg
        Upper end of the 95 % interval of the slope, degrees; None where it is not known how well:
        then it is open above.
    baseline_m
        What the slope is measured over, metres.
    short_slope_deg
        Slope there over two cells, where that is a band steeper, degrees; else None.
    aspect_true_deg
        Direction that the slope faces, downhill, degrees clockwise from true north; None on flat
        ground and where unknown.
    aspect_sector
        Sector of that direction, one of eight; None on flat ground and where unknown.
    band
        Band of `slope_deg`; None unknown.
    bands_possible
        From there to the steeper of the bands of the high end and of the circle's steepest.
    open_above
        Whether ground in the circle may be steeper still.
    within
        The circle of the position error.
    basis
        What the interval rests on, in words.
    model_files
        Names of the model's files.
    cell_size_m
        Ground size of a cell along a row and along a column, metres.
    method
        Slope method.
    cautions
        Those that apply.
    patch
        Cells around the place, for a picture.
    baselines
        Slope over each of several baselines; empty where it was not asked for.
    start_zones
        What was to count as one overhead, before the uncertainty comes off; None where it was not
        asked for.
    overhead
        Angles up to start zones overhead; None unknown or not asked for: see
        `steybrae.screening.ground.overhead`.
    unknown_above
        Whether unknown ground could look down on it: every angle overhead is then 'at least', and
        no answer does not mean nothing.
    unknown_above_at
        The nearest of that ground; None where there is none, and where it was not asked for.
    convex_rolls
        Ground that steepens downhill, in the order of the leg.
    terrain_traps
        Ground that makes a slide worse, in the order of the leg.
    expected_readings
        Where to look with a clinometer, and what it should read, where one may stand.
    steep_without_check
        Ground worth a reading where one may not stand to take it.
    reading_left_out
        The slope of the place, where one may stand but a reading would tell little; else None.
    run_out
        Published run-out angles; None unless asked for, and where there are none.
    forecast
        What a bulletin says beside it; None where no bulletin was given: then nothing here takes
        today's snow into account.
    cross_check
        Comparison of two engines on this ground; None where none was asked for.
    drop
        Nearest drop within the larger of the position error and 30 m; None where none was found there, and
        where it was not asked for.
    """

    place: PlaceAt
    elevation_m: float | None
    slope_deg: SlopeDeg | None
    slope_low_deg: SlopeDeg | None
    slope_high_deg: SlopeDeg | None
    baseline_m: NotNegative
    short_slope_deg: SlopeDeg | None
    aspect_true_deg: BearingDeg | None
    aspect_sector: str | None
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    within: Within
    basis: str
    model_files: tuple[str, ...]
    cell_size_m: tuple[NotNegative, NotNegative]
    method: str
    cautions: Cautions
    patch: GroundPatch | None = field(default=None, metadata=NOT_JSON)
    baselines: tuple[LegBaseline, ...] = ()
    start_zones: StartRules | None = None
    overhead: OverheadAnswer | None = None
    unknown_above: bool = True
    unknown_above_at: UnknownAt | None = None
    convex_rolls: tuple[ConvexRoll, ...] = ()
    terrain_traps: tuple[TerrainTrap, ...] = ()
    expected_readings: tuple[ExpectedReading, ...] = ()
    steep_without_check: tuple[SteepWithoutCheck, ...] = ()
    reading_left_out: ReadingLeftOut | None = None
    run_out: RunOut | None = None
    forecast: ForecastBeside | None = None
    cross_check: CrossCheck | None = None
    drop: DropNear | None = None
