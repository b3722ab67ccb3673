"""What the ground is like at a place, within the position error, and at every cell of a model."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import BandScheme
from steybrae.cautions import Cautions, HeightsRead, Situation, cautions_for
from steybrae.errors import OffModelError, QuantityError, SteybraeError
from steybrae.frozen import dataclass
from steybrae.quantities import finite
from steybrae.ranges import NOT_JSON, Count, NotNegative
from steybrae.route.corridor import PLACE_ERROR_M
from steybrae.route.overhead.kept_ground import KeptPlaces
from steybrae.route.positions.places import Place
from steybrae.screening.cross_check import CrossCheck, cross_check
from steybrae.screening.ground.result import GroundAt, GroundPatch, GroundPlaces, PlaceAt, Within
from steybrae.screening.known import Settings, slopes_known, told_of_model
from steybrae.screening.leg import possible_bands, short_steeper
from steybrae.screening.ready import would_lie_on
from steybrae.screening.standing import cells_within
from steybrae.terrain.attributes import (
    SlopeField,
    aspect_deg,
    aspect_sector,
    at_points,
    band_numbers,
    baseline_cells,
    slope_field,
)
from steybrae.terrain.dem import MOST_CELLS_SLOPES, Array, DemSource, Grid, check_cells, window_round
from steybrae.terrain.jacobian import askew, cell_size_m, jacobian_at
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_interval_deg

DEFAULT_EPE_CONFIDENCE: Final = 50.0
"""Share of fixes, percent, within a stated position error where the share is not stated
(common practice, no source: many receivers give the radius of half of their fixes)."""

MOST_RADIUS_M: Final = 2000.0
"""Largest position error taken as meant, metres (our choice)."""

SPARE_CELLS: Final = 4
"""Ring of cells beyond the circle: slopes, their roughness and the 3 x 3 around the place need it."""


def radius_95_m(error_m: float, confidence_percent: float = DEFAULT_EPE_CONFIDENCE) -> float:
    """Radius that holds 95 % of positions, metres, from a radius that holds another share.

    By the circular normal law ``P(R) = 1 - exp(-R^2 / (2 s^2))``:
    ``R95 = R sqrt(ln(1 - 0.95) / ln(1 - P))``, 2.08 times a 50 % radius, 1.62 times a 68 % one.
    `error_m` is the position error as the receiver shows it. `QuantityError` for a share not above
    0 and below 100 percent.
    """
    if not 0.0 < confidence_percent < 100.0:
        message = (
            "The confidence of a position error should lie between 0 and 100 percent; "
            f"got {confidence_percent:g}. Receivers use 50, 68 or 95."
        )
        raise QuantityError(message)
    return error_m * math.sqrt(math.log(0.05) / math.log1p(-confidence_percent / 100.0))


def ground_at(
    place: Place, source: DemSource, radius_m: float | None = None, settings: Settings | None = None
) -> GroundAt:
    """Look at the ground at a place and within its position error.

    Parameters
    ----------
    radius_m
        95 % radius of the position error, metres; by default that of the place's own square,
        at least 10 m.

    Returns
    -------
    GroundAt
        With None for what is unknown.

    Raises
    ------
    OffModelError
        The place lies off the model.
    ModelError
        The model cannot be used there.
    QuantityError
        A radius that is negative or beyond 2 km.
    """
    settings = settings or Settings()
    radius = max(PLACE_ERROR_M, place.error_m) if radius_m is None else radius_m
    around = look_around(place, source, radius, settings)
    return _say(place, around, around.within(radius), radius, settings, source.heights_read)


@dataclass(frozen=True, eq=False)
class Around:
    """Slopes of a window around a place: the place in it, cells; cell size and Jacobian there."""

    field: SlopeField
    col: float
    row: float
    cell_size_m: tuple[float, float]
    jacobian: Array
    known: SlopeUncertainty

    def within(self, radius_m: float) -> NDArray[np.bool_]:
        """Cells whose square a circle round the place touches, and the 3 x 3 around the place."""
        return cells_within(self.field.slope_deg.shape, (self.col, self.row), self.jacobian, radius_m)

    def offsets_m(self) -> tuple[Array, Array]:
        """Metres east and north from the place to the centre of each cell, shape of the window."""
        rows, cols = self.field.slope_deg.shape
        dc = (np.arange(cols) + 0.5 - self.col)[None, :]
        dr = (np.arange(rows) + 0.5 - self.row)[:, None]
        (ec, er), (nc, nr) = self.jacobian
        return np.asarray(ec * dc + er * dr), np.asarray(nc * dc + nr * dr)


def look_around(place: Place, source: DemSource, reach_m: float, settings: Settings) -> Around:
    """Read the ground around a place.

    Parameters
    ----------
    place, source, settings
        As for `ground_at`.
    reach_m
        How far, metres.

    Raises
    ------
    OffModelError, ModelError, QuantityError
        As `ground_at`.
    """
    if not 0.0 <= reach_m <= MOST_RADIUS_M:
        message = (
            f"The position error should lie between 0 and {MOST_RADIUS_M:g} m; got {reach_m:g} m. "
            "Give the place more exactly, or --within."
        )
        raise QuantityError(message)
    at = _position(place, source)
    cell = cell_size_m(source.grid, *at)
    halves = baseline_cells(*cell)
    wide_m = reach_m * askew(jacobian_at(source.grid, *at))
    reach = [math.ceil(wide_m / size) + half + SPARE_CELLS for size, half in zip(cell, halves, strict=True)]
    cols, rows = (2 * n + 1 for n in reach)
    check_cells(
        rows, cols, MOST_CELLS_SLOPES, "The ground around a place", "a smaller position error (--within)"
    )
    dem, in_window = window_round(source, at, reach)
    return Around(
        slope_field(dem, settings.method, engine=settings.engine, halves=halves),
        *in_window,
        cell,
        jacobian_at(source.grid, *at),
        slopes_known(settings.method, jacobian_at(dem.grid), settings),
    )


def _position(place: Place, source: DemSource) -> tuple[float, float]:
    col, row = (float(v) for v in source.grid.from_wgs84(place.lon_deg, place.lat_deg))
    rows, cols = source.grid.shape
    if not (0.0 <= col <= cols and 0.0 <= row <= rows):
        lon, lat = source.grid.to_wgs84([0, cols, cols, 0], [0, 0, rows, rows])
        message = (
            f"The place should lie on the elevation model; {place.lat_deg:.5f}, {place.lon_deg:.5f} "
            f"does not. The model covers latitude {lat.min():.4f} to {lat.max():.4f}, "
            f"longitude {lon.min():.4f} to {lon.max():.4f}."
        )
        exchanged = would_lie_on(source.grid, np.array([place.lat_deg]), np.array([place.lon_deg])).any()
        message += (
            " With latitude and longitude exchanged it would: check their order."
            if exchanged
            else " Give another place, or a model that reaches there."
        )
        raise OffModelError(message)
    return col, row


def _circle(around: Around, inside: NDArray[np.bool_], radius_m: float) -> Within:
    slopes = around.field.slope_deg[inside]
    some = slopes[np.isfinite(slopes)]
    unknown_share = 1.0 - len(some) / len(slopes)
    if len(some) == 0:
        return Within(radius_m, None, None, None, unknown_share, None, None)
    low, high = slope_interval_deg(
        around.field.p[inside], around.field.q[inside], around.known, around.field.roughness_deg[inside]
    )
    # One high end that is not known leaves that of the circle open.
    open_above = bool((np.isfinite(slopes) & np.isnan(high)).any())
    return Within(
        radius_m,
        float(some.min()),
        float(np.median(some)),
        float(some.max()),
        unknown_share,
        None if open_above else float(np.nanmax(high)),
        float(np.nanmin(low)) if np.isfinite(low).any() else None,
    )


def _say(
    place: Place,
    around: Around,
    inside: NDArray[np.bool_],
    radius: float,
    settings: Settings,
    heights: HeightsRead,
) -> GroundAt:
    slopes = around.field
    point = at_points(slopes, np.array([around.col]), np.array([around.row]))
    at = (math.floor(around.row), math.floor(around.col))
    slope = finite(slopes.slope_deg[at])
    short = short_steeper(settings.bands, slope, finite(slopes.short_deg[at]))
    ends = slope_interval_deg(slopes.p[at], slopes.q[at], around.known, slopes.roughness_deg[at])
    low, high = (finite(end) for end in ends)
    within = _circle(around, inside, radius)
    aspect = float(point.aspect_true_deg[0])
    open_above = within.unknown_share > 0.0 or within.slope_high_max_deg is None
    situation = Situation(
        **told_of_model(settings, around.cell_size_m, slopes.dem.grid),
        unknown_near=within.unknown_share > 0.0,
        place_coarse=place.error_m > radius,
        open_above=open_above,
        slope_high_deg=within.slope_high_max_deg,
        heights=heights,
    )
    return GroundAt(
        place=PlaceAt(place.lat_deg, place.lon_deg, place.written or place.name, place.name),
        elevation_m=finite(point.elevation_m[0]),
        slope_deg=slope,
        slope_low_deg=low,
        slope_high_deg=high,
        aspect_true_deg=finite(aspect),
        aspect_sector=aspect_sector(aspect),
        band=None if slope is None else settings.bands.band(slope),
        bands_possible=possible_bands(settings.bands, slope, high, within.slope_max_deg, short),
        baseline_m=around.known.measured_m,
        short_slope_deg=short,
        open_above=open_above,
        within=within,
        basis=around.known.words,
        model_files=settings.origin.files,
        cell_size_m=around.cell_size_m,
        method=settings.method,
        cautions=cautions_for(situation),
        patch=_patch(around, inside, settings.bands),
    )


def _patch(around: Around, inside: NDArray[np.bool_], bands: BandScheme) -> GroundPatch:
    slopes = around.field.slope_deg
    rows, cols = slopes.shape
    dc = (np.arange(cols + 1) - around.col)[None, :]
    dr = (np.arange(rows + 1) - around.row)[:, None]
    (ec, er), (nc, nr) = around.jacobian
    return GroundPatch(
        slope_deg=slopes,
        band=band_numbers(slopes, bands),
        edges_east_m=np.asarray(ec * dc + er * dr),
        edges_north_m=np.asarray(nc * dc + nr * dr),
        inside=inside,
        labels=bands.labels,
    )


def cross_check_ground(place: Place, source: DemSource, reach_m: float, settings: Settings) -> CrossCheck:
    """Compare the engines around a place as `look_around` takes it; see `steybrae.screening.cross_check`."""
    return cross_check([(look_around(place, source, reach_m, settings).field.dem, (0, 0))])


def ground_places(
    places: Sequence[tuple[int, Place]], look: Callable[[Place, KeptPlaces], GroundAt], where: str
) -> GroundPlaces:
    """Look at places one after another, those near each other first, and tell them in their order.

    Each comes with its line in the file `where`; what `look` refuses is refused with that line.
    """
    kept, found = KeptPlaces(), {}
    for k in sorted(range(len(places)), key=lambda k: _square(places[k][1])):
        line, place = places[k]
        try:
            found[k] = look(place, kept)
        except SteybraeError as error:
            message = f"Line {line} of {where}: {error}"
            raise type(error)(message) from error
    return GroundPlaces(tuple(found[k] for k in range(len(places))))


def _square(place: Place) -> tuple[float, float]:
    return round(place.lat_deg, 2), round(place.lon_deg, 2)


@dataclass(frozen=True, eq=False)
class GroundCells:
    """Slopes of all cells; arrays ``[row, col]``, read-only, NaN unknown.

    Attributes
    ----------
    slope_deg
        Fall-line slope over the baseline, degrees.
    slope_low_deg
        Lower end of its 95 % interval, degrees.
    slope_high_deg
        Upper end, degrees; NaN where it is not known: then the slope is open above.
    aspect_true_deg
        Direction that the slope faces, degrees clockwise from true north; NaN on flat ground too.
    band
        Position of the slope's band in `labels`, by the number shown; -1 unknown.
    labels
        Of the bands, gentlest first.
    cells
        Cells in each band.
    unknown_cells
        Cells of unknown slope; the outer rings are, for their neighbours are not known.
    baseline_m
        What the slopes are measured over, metres.
    cell_size_m
        Ground size of a cell along a row and along a column in the middle, metres.
    basis
        What the intervals rest on, in words.
    model_files
        Names of the model's files.
    cautions
        Those that apply.
    grid
        Where the cells lie.
    """

    slope_deg: Array = field(metadata=NOT_JSON)
    slope_low_deg: Array = field(metadata=NOT_JSON)
    slope_high_deg: Array = field(metadata=NOT_JSON)
    aspect_true_deg: Array = field(metadata=NOT_JSON)
    band: NDArray[np.int8] = field(metadata=NOT_JSON)
    labels: tuple[str, ...]
    cells: tuple[Count, ...]
    unknown_cells: Count
    baseline_m: NotNegative
    cell_size_m: tuple[NotNegative, NotNegative]
    basis: str
    model_files: tuple[str, ...]
    cautions: Cautions
    grid: Grid = field(metadata=NOT_JSON)


def ground_cells(source: DemSource, settings: Settings | None = None) -> GroundCells:
    """Slope, interval, aspect and band of every cell, as `ground_at` tells them of one.

    The model is read whole; how well slopes are known, and over how many cells they are measured,
    is that of its middle. `ModelError` where it cannot be used, or has more cells than are read at
    once.
    """
    settings = settings or Settings()
    cell = cell_size_m(source.grid)
    known = slopes_known(settings.method, jacobian_at(source.grid), settings)
    dem = source.read(0, 0, *source.grid.shape)
    field = slope_field(dem, settings.method, engine=settings.engine, halves=baseline_cells(*cell))
    low, high = slope_interval_deg(field.p, field.q, known, field.roughness_deg)
    band = band_numbers(field.slope_deg, settings.bands).astype(np.int8)
    aspect = aspect_deg(field.p, field.q)
    for array in (low, high, aspect, band):
        array.flags.writeable = False
    counts = np.bincount(band.ravel() + 1, minlength=len(settings.bands.labels) + 1).tolist()
    steepest = None if np.isnan(high).all() else float(np.nanmax(high))
    situation = Situation(
        **told_of_model(settings, cell, source.grid),
        area_unknown=counts[0] > 0,
        open_above=known.open_above,
        slope_high_deg=steepest,
        heights=source.heights_read,
    )
    return GroundCells(
        slope_deg=field.slope_deg,
        slope_low_deg=low,
        slope_high_deg=high,
        aspect_true_deg=aspect,
        band=band,
        labels=settings.bands.labels,
        cells=tuple(counts[1:]),
        unknown_cells=counts[0],
        baseline_m=known.measured_m,
        cell_size_m=cell,
        basis=known.words,
        model_files=settings.origin.files,
        cautions=cautions_for(situation),
        grid=source.grid,
    )
