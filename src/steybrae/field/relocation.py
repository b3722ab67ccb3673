"""Where am I? What the direction that a slope faces says of a place.

A slope's aspect, measured with a compass, is held against a model: does it fit anywhere within
the position error, and where else near by would it? A fit proves nothing where much of the
ground around faces the same way; so the share that does stands beside the answer.

Two aspects fit where they lie no further apart than both may err::

    |measured - model| <= sqrt(U_measured^2 + U_model^2)

compared on the circle, both at 95 %. The model's gradient ``m`` errs across the fall line as it
does along it, so ``U_model = atan(U / m)`` with U the expanded uncertainty of the gradient: on
gentle ground the model hardly knows which way it faces.
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.ranges import BearingDeg, LatDeg, LonDeg, NotNegative, Share, SlopeDeg
from steybrae.terrain.attributes import SECTORS, SlopeField, aspect_deg, aspect_sector
from steybrae.terrain.cell_share import known_roughness_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.uncertainty import SlopeUncertainty, gradient_spread
from steybrae.value import slope, steep_length

ASPECT_ERROR_95_DEG: Final = 15.0
"""95 % error of an aspect taken with a compass, degrees: the fall line is judged by eye (common
practice, no source)."""

MOST_TOLERANCE_DEG: Final = 45.0
"""Both errors together wider than this, one of eight sectors, tell little (our choice)."""

LEAST_FITTING: Final = 5
"""A place near by counts where so many of its 3 x 3 cells fit: one cell alone may be noise (our
choice: the majority)."""

Answer = Literal["fits", "does not fit", "cannot tell"]


@dataclass(frozen=True)
class FittingPlace:
    """Ground near by that faces the measured way.

    Attributes
    ----------
    lat_deg
        Latitude on WGS 84, degrees north.
    lon_deg
        Longitude on WGS 84, degrees east.
    distance_m
        Distance from the place believed, metres on the level.
    bearing_true_deg
        Direction to it, degrees clockwise from true north.
    sector
        Sector of that direction, one of eight.
    slope_deg
        Of the cell, degrees.
    aspect_true_deg
        Direction that the slope faces, downhill, degrees clockwise from true north; None on flat
        ground and where unknown.
    """

    lat_deg: LatDeg
    lon_deg: LonDeg
    distance_m: NotNegative
    bearing_true_deg: BearingDeg
    sector: str
    slope_deg: SlopeDeg
    aspect_true_deg: BearingDeg


@dataclass(frozen=True)
class AspectFit:
    """Whether a measured aspect fits a place.

    Attributes
    ----------
    measured_true_deg
        The aspect measured, degrees from true north.
    uncertainty_95_deg
        95 % expanded uncertainty, degrees.
    radius_m
        Position error looked at, metres.
    nearest_true_deg
        Aspect of the cell within the position error that comes nearest, degrees from true north;
        None where no cell is known to face anywhere.
    difference_deg
        Measured aspect minus that, degrees, -180 to 180; None as that.
    tolerance_deg
        How far that cell's may differ and still fit, degrees; None where the model's own error
        is not known, or no cell faces anywhere.
    fitting_share
        Share of the cells within the position error that fit.
    undirected_share
        Share of the cells within the position error that are level or unknown.
    result
        ``fits``, ``does not fit`` or ``cannot tell``: level or unknown ground could hide a fit, the
        model's error is not known, or the tolerance is wider than a sector.
    search_m
        How far was searched, metres.
    near_share
        Share of the known ground there that would fit; None where none is known.
    places
        The nearest such ground outside the position error in each of eight directions, the
        nearest first.
    """

    measured_true_deg: BearingDeg
    uncertainty_95_deg: NotNegative
    radius_m: NotNegative
    nearest_true_deg: BearingDeg | None
    difference_deg: float | None
    tolerance_deg: NotNegative | None
    fitting_share: Share
    undirected_share: Share
    result: Answer
    search_m: NotNegative
    near_share: Share | None
    places: tuple[FittingPlace, ...]

    @property
    def sentence(self) -> str:
        """The answer in plain words."""
        circle = f"within {steep_length(self.radius_m).text} of the place"
        if self.nearest_true_deg is None or self.difference_deg is None:
            return f"Cannot tell: no ground {circle} is known to face anywhere."
        apart = f"the nearest aspect {circle} is {round(self.nearest_true_deg) % 360:03d}°"
        off = f"{slope(abs(self.difference_deg), step=1.0).text} from the one measured"
        if self.tolerance_deg is None:
            return f"Cannot tell: {apart}, {off}, but how well the model knows it is not known."
        allows = f"both errors together allow {slope(self.tolerance_deg, step=1.0).text}"
        if self.result == "does not fit":
            elsewhere = "You may be elsewhere, or on a slope too small for the model."
            return f"Does not fit: {apart}, {off}; {allows}. {elsewhere}"
        if self.result == "fits":
            return f"Fits: {apart}, {off}; {allows}."
        if abs(self.difference_deg) > self.tolerance_deg:
            return f"Cannot tell: {apart}, {off}, but part of the ground there is level or unknown."
        return f"Cannot tell: {apart}, {off}, but {allows}, more than one sector."


def check_aspect_error(error_95_deg: float) -> float:
    """Refuse an error of an aspect that cannot be meant: not above 0, or above 90 degrees; and return it."""
    if not 0.0 < error_95_deg <= 90.0:
        message = (
            f"The error of an aspect should be above 0 and at most 90 degrees; got {error_95_deg:g}. "
            "Give its 95 % error, like 15deg."
        )
        raise QuantityError(message)
    return error_95_deg


def aspect_uncertainty_95_deg(p: Array, q: Array, known: SlopeUncertainty, roughness: Array) -> Array:
    """How well a model knows which way its cells face: ``atan(U / m)``, degrees, 0 to 90.

    ``m = sqrt(p^2 + q^2)``; U is `steybrae.terrain.uncertainty.gradient_spread` across the fall
    line. NaN unknown, level, and everywhere on a model that is open above.
    """
    m = np.hypot(p, q)
    if known.open_above:
        return np.full(m.shape, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(m > 0.0, gradient_spread(p, q, known, roughness, across=True) / m, np.nan)
    return np.asarray(np.degrees(np.arctan(share)))


def aspect_fit(
    measured_true_deg: float,
    uncertainty_95_deg: float,
    field: SlopeField,
    known: SlopeUncertainty,
    inside: NDArray[np.bool_],
    offsets_m: tuple[Array, Array],
    radii_m: tuple[float, float],
) -> AspectFit:
    """Hold a measured aspect, from true north, against the ground at a place and near by.

    `inside` are the cells of the window within the position error, `offsets_m` metres east and
    north from the place to the centre of each; `radii_m` the position error, and how far to search.
    """
    aspects = aspect_deg(field.p, field.q)
    apart = (measured_true_deg - aspects + 180.0) % 360.0 - 180.0
    own = aspect_uncertainty_95_deg(field.p, field.q, known, known_roughness_deg(field.short_deg))
    tolerance = np.hypot(uncertainty_95_deg, own)
    allowed = np.where(np.isfinite(own), tolerance, uncertainty_95_deg)
    fits = np.abs(apart) <= allowed  # False where there is no aspect
    distance = np.hypot(*offsets_m)
    near = (distance <= radii_m[1]) & np.isfinite(field.slope_deg)
    # On gentler ground, whose direction is hardly known, anything fits and nothing is told.
    telling = fits & (allowed <= MOST_TOLERANCE_DEG)
    places = _places(telling & near & ~inside & _patch(telling), aspects, field, offsets_m)
    best = _best(apart, allowed, inside)
    no_way = float(np.isnan(aspects[inside]).mean())
    off_deg, limit_deg = (
        (math.nan, math.nan) if best is None else (float(apart[best]), float(tolerance[best]))
    )
    return AspectFit(
        measured_true_deg=measured_true_deg,
        uncertainty_95_deg=uncertainty_95_deg,
        radius_m=radii_m[0],
        nearest_true_deg=None if best is None else float(aspects[best]),
        difference_deg=None if best is None else off_deg,
        tolerance_deg=None if math.isnan(limit_deg) else limit_deg,
        fitting_share=float(fits[inside].mean()),
        undirected_share=no_way,
        result=_answer(off_deg, limit_deg, no_way),
        search_m=radii_m[1],
        near_share=float(telling[near].mean()) if near.any() else None,
        places=places,
    )


def _best(apart: Array, allowed: Array, inside: NDArray[np.bool_]) -> tuple[int, int] | None:
    """Cell of the circle that comes nearest to fitting, by what it allows; None without any aspect.

    A fit on ground whose direction is known to a sector goes before one on gentler ground.
    """
    share = np.where(inside, np.abs(apart) / allowed, np.nan)
    if np.isnan(share).all():
        return None
    telling = (share <= 1.0) & (allowed <= MOST_TOLERANCE_DEG)
    share = np.where(telling, share, np.nan) if telling.any() else share
    row, col = np.unravel_index(int(np.nanargmin(share)), share.shape)
    return int(row), int(col)


def _answer(off_deg: float, limit_deg: float, no_way: float) -> Answer:
    if math.isnan(limit_deg):
        return "cannot tell"
    if abs(off_deg) > limit_deg:
        return "does not fit" if no_way == 0.0 else "cannot tell"
    return "fits" if limit_deg <= MOST_TOLERANCE_DEG else "cannot tell"


def _patch(fits: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells of whose 3 x 3 enough fit; beyond the window nothing does."""
    padded = np.pad(fits, 1).astype(np.int8)
    rows, cols = fits.shape
    count = sum(padded[j : j + rows, i : i + cols] for j in range(3) for i in range(3))
    return np.asarray(count >= LEAST_FITTING)


def _places(
    fits: NDArray[np.bool_], aspects: Array, field: SlopeField, offsets_m: tuple[Array, Array]
) -> tuple[FittingPlace, ...]:
    """Nearest fitting cell in each of the eight directions."""
    rows, cols = np.nonzero(fits)
    east, north = (offset[rows, cols] for offset in offsets_m)
    distance = np.hypot(east, north)
    bearing = np.degrees(np.arctan2(east, north)) % 360.0
    eighth = np.floor((bearing + 22.5) / 45.0).astype(int) % len(SECTORS)
    found = []
    for k in range(len(SECTORS)):
        here = np.flatnonzero(eighth == k)
        if len(here) == 0:
            continue
        at = here[int(np.argmin(distance[here]))]
        row, col = int(rows[at]), int(cols[at])
        lon, lat = field.dem.grid.to_wgs84(col + 0.5, row + 0.5)
        found.append(
            FittingPlace(
                lat_deg=float(lat),
                lon_deg=float(lon),
                distance_m=float(distance[at]),
                bearing_true_deg=float(bearing[at]),
                sector=aspect_sector(float(bearing[at])) or "",
                slope_deg=float(field.slope_deg[row, col]),
                aspect_true_deg=float(aspects[row, col]),
            )
        )
    return tuple(sorted(found, key=lambda place: place.distance_m))
