"""Where one may stand to take a reading: known ground off steep slopes, with no drop, all round."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import STEEP_DEG
from steybrae.field.limits import BAND_WIDTH_DEG, READING_ERROR_95_DEG
from steybrae.frozen import dataclass
from steybrae.quantities import finite, shown_slope_deg
from steybrae.ranges import LatDeg, LonDeg, NotNegative, SlopeDeg
from steybrae.route.kept import NOTHING_KEPT, Kept
from steybrae.route.overhead.result import ExpectedReading
from steybrae.terrain.attributes import aspect_deg, baseline_cells, slope_field
from steybrae.terrain.dem import Array, DemSource, window_round
from steybrae.terrain.engines import Engine
from steybrae.terrain.gradients import Method
from steybrae.terrain.jacobian import jacobian_at, sides_m
from steybrae.terrain.shape import drop_m
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg

STAND_ROUND_M: Final = 30.0
"""Least distance round a standing place that has to be off steep ground, metres (our choice)."""


@dataclass(frozen=True)
class SteepWithoutCheck:
    """Ground worth a reading that has no place from which one may take it.

    Attributes
    ----------
    lat_deg
        Where one would have to stand: latitude on WGS 84, degrees north. It is no way-point.
    lon_deg
        Longitude on WGS 84, degrees east.
    slope_max_deg
        Steepest ground known within the distance looked at, degrees; None where none is known.
    what
        What would have been measured, in words.
    at_least
        Whether it may be steeper by an amount not known: as the leg or the place that it belongs to, and
        where unknown ground, or ground without an upper end, lies within the distance looked at.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    slope_max_deg: SlopeDeg | None
    what: str
    at_least: bool


@dataclass(frozen=True)
class ReadingLeftOut:
    """Slope of ground that one may stand on, of which a reading would tell little.

    Attributes
    ----------
    expected_deg
        From the model, degrees.
    low_deg, high_deg
        Lowest low and highest high 95 % end within the position error, degrees; None not known.
    would_notice_deg
        Smallest difference to the steeper that one reading would notice, degrees.
    """

    expected_deg: SlopeDeg
    low_deg: SlopeDeg | None
    high_deg: SlopeDeg | None
    would_notice_deg: NotNegative


@dataclass(frozen=True)
class Standing:
    """Whether one may stand at a place to take a reading, and what it would show.

    Attributes
    ----------
    may
        Whether one may.
    slope_max_deg
        Steepest known ground round it, degrees; None where no ground is known.
    slope_deg, aspect_true_deg
        Of the cell of the place, degrees; None unknown.
    low_deg, high_deg
        Lowest low and highest high 95 % end of all cells within the position error, for where one
        stands among them is not known, degrees; None unknown.
    open_above
        Whether ground round it is unknown or has no known upper end.
    """

    may: bool
    slope_max_deg: float | None
    slope_deg: float | None
    aspect_true_deg: float | None
    low_deg: float | None
    high_deg: float | None
    open_above: bool

    def reads(self, reading: ExpectedReading) -> ExpectedReading:
        """Give a reading of the slope at the place the figures that it would show there."""
        if reading.quantity != "slope" or self.slope_deg is None:
            return reading
        aspect = self.aspect_true_deg
        look = None if aspect is None else (aspect + 180.0) % 360.0
        return replace(
            reading,
            look_bearing_true_deg=look,
            expected_deg=self.slope_deg,
            low_deg=self.low_deg,
            high_deg=self.high_deg,
        )


@dataclass(frozen=True)
class StandingRules:
    """The model, and how its slopes are computed and known."""

    source: DemSource
    method: Method
    engine: Engine
    known: SlopeUncertainty
    kept: Kept = NOTHING_KEPT

    def stand(self, lat_deg: float, lon_deg: float, place_error_m: float) -> Standing:
        """Tell whether a place serves, as `may_stand`; a place asked before is not looked at again."""
        key = lat_deg, lon_deg, place_error_m, self.method, self.engine, self.known
        return self.kept.of("standing", key, lambda: may_stand(lat_deg, lon_deg, self, place_error_m))

    def split(
        self, readings: tuple[ExpectedReading, ...], place_error_m: float, *, open_above: bool
    ) -> tuple[tuple[ExpectedReading, ...], tuple[SteepWithoutCheck, ...], tuple[ReadingLeftOut, ...]]:
        """Split readings into those that one may stand for, ground left without a check, and the rest.

        The first with what they would show there; the rest are those of a slope that could tell
        little (`tells`). `open_above` is whether all its slopes may be steeper still.
        """
        kept: list[ExpectedReading] = []
        without: list[SteepWithoutCheck] = []
        little: list[ReadingLeftOut] = []
        for reading in readings:
            at = reading.place
            found = self.stand(at.lat_deg, at.lon_deg, place_error_m)
            if found.may:
                shown = found.reads(reading)
                if tells(shown):
                    kept.append(shown)
                else:
                    figures = shown.expected_deg, shown.low_deg, shown.high_deg
                    little.append(ReadingLeftOut(*figures, notices_deg(shown)))
                continue
            slopes = [found.slope_max_deg, reading.expected_deg if reading.quantity == "slope" else None]
            steepest = max((slope for slope in slopes if slope is not None), default=None)
            least = open_above or found.open_above
            without.append(SteepWithoutCheck(at.lat_deg, at.lon_deg, steepest, reading.what, least))
        return tuple(kept), tuple(without), tuple(little)


def notices_deg(reading: ExpectedReading) -> float:
    """Smallest difference to the steeper that one reading, 4 degrees good, would notice, degrees.

    By the rule of `steybrae.field.agreement` the two uncertainties in quadrature; infinite without an end.
    """
    if reading.high_deg is None:
        return math.inf
    return math.hypot(READING_ERROR_95_DEG, reading.high_deg - reading.expected_deg)


def tells(reading: ExpectedReading) -> bool:
    """Whether a reading could tell that the ground is steeper than the model, if it were by two bands.

    What it notices only beyond 10 degrees tells little. A sight tells what it does.
    """
    return reading.quantity != "slope" or notices_deg(reading) <= 2.0 * BAND_WIDTH_DEG


def may_stand(lat_deg: float, lon_deg: float, rules: StandingRules, place_error_m: float) -> Standing:
    """Tell whether a place serves for taking a reading.

    Every cell within the larger of `place_error_m` and `STAND_ROUND_M` has to be known, with the 95
    % upper end of its own slope, as shown, below `STEEP_DEG`, and there must be no drop; where the
    model has no known upper end no place serves. This tells where a reading may be planned; it does
    not tell that the ground there is gentle.
    """
    grid = rules.source.grid
    col, row = (float(v) for v in grid.from_wgs84(lon_deg, lat_deg))
    radius_m = max(place_error_m, STAND_ROUND_M)
    jacobian = jacobian_at(grid, col, row)
    across_m, along_m = sides_m(jacobian)
    halves = baseline_cells(across_m, along_m)
    # Slopes and their roughness need cells more; the 3 x 3 around the place count on any model.
    across = math.ceil(radius_m / across_m) + halves[0] + 4
    along = math.ceil(radius_m / along_m) + halves[1] + 4
    dem, at = window_round(rules.source, (col, row), (across, along))
    field = slope_field(dem, rules.method, engine=rules.engine, halves=halves)
    inside = cells_within(dem.grid.shape, at, jacobian, radius_m)
    slopes = field.slope_deg[inside]
    low, high = slope_interval_deg(field.p, field.q, rules.known, field.roughness_deg)
    steepest = float(np.nanmax(slopes)) if np.isfinite(slopes).any() else None
    # NaN, which is unknown or without an upper end, is not below.
    gentle = bool(np.all(np.isfinite(slopes) & (shown_slope_deg(high[inside]) < STEEP_DEG)))
    drop = bool((drop_m(dem.heights_m, jacobian, *dem.others_m)[inside] > 0.0).any())
    near = cells_within(dem.grid.shape, at, jacobian, place_error_m)
    own = along, across
    return Standing(
        gentle and not drop,
        steepest,
        finite(field.slope_deg[own]),
        finite(aspect_deg(field.p[own], field.q[own])),
        finite(low[near].min()),
        finite(high[near].max()),
        bool(np.isnan(high[inside]).any()),
    )


def cells_within(
    shape: tuple[int, int], at: tuple[float, float], jacobian: Array, radius_m: float
) -> NDArray[np.bool_]:
    """Cells whose square a circle round a place touches, and the 3 x 3 around the place.

    `at` is its column and row, in cells, counted from the corner of a window of this shape.
    """
    col, row = at
    near = (np.abs(np.arange(shape[1]) - math.floor(col)) <= 1)[None, :] & (
        np.abs(np.arange(shape[0]) - math.floor(row)) <= 1
    )[:, None]
    inside: NDArray[np.bool_] = (cells_off_m(shape, at, jacobian) <= radius_m) | near
    return inside


def cells_off_m(shape: tuple[int, int], at: tuple[float, float], jacobian: Array) -> Array:
    """Ground distance from a place to the nearest edge of each cell's square, metres; as `cells_within`."""
    dc = np.abs(np.arange(shape[1]) + 0.5 - at[0])[None, :]
    dr = np.abs(np.arange(shape[0]) + 0.5 - at[1])[:, None]
    across_m, along_m = np.hypot(jacobian[0], jacobian[1])
    off_m: Array = np.hypot(np.maximum(dc - 0.5, 0.0) * across_m, np.maximum(dr - 0.5, 0.0) * along_m)
    return off_m
