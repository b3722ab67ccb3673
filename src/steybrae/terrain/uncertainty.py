"""How well a model's slope is known: 95 % expanded uncertainty (k = 2), in two parts.

cells
    What lies between the cells, from their size, the baseline and the model's own roughness at the
    spot (`steybrae.terrain.cell_share`). It never goes away. Above 40 m cells the upper end is open.
survey
    Errors of the heights: their standard deviation and correlation length, stated, by the kind of
    model, or the usual worst for the cells (`steybrae.terrain.model_kinds`). They become an error of
    the gradient by the covariance of the slope window's weights, so that the ends are lopsided in
    degrees as the tangent is.

Where a model was found to be less than it seems (`steybrae.terrain.examine.found`), the cells are those
that it was made from, and what contours, rounding and stripes do to heights is part of the survey.

Both are always there, in quadrature on each side. An interval is for pieces of ground as long as the
baseline; where two cells are longer than that, for such pieces within them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from steybrae.frozen import dataclass
from steybrae.quantities import COVERAGE_K
from steybrae.terrain.attributes import BASELINE_M, baseline_cells
from steybrae.terrain.cell_share import MIDDLING_DEG, OPEN_CELLS_M, cell_share_deg, line_share_deg
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.found import NOTHING_FOUND, ModelFound, doubt
from steybrae.terrain.gradients import Method, window_weights
from steybrae.terrain.jacobian import ground_gradients, sides_m
from steybrae.terrain.model_kinds import (
    LONGEST_CORRELATION_M,
    SHORTEST_CORRELATION_M,
    ModelKind,
    Survey,
    contour_error,
    survey_error,
)
from steybrae.value import AT_LEAST

_CORRELATION_TRIALS: Final = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
"""Correlation lengths, in halves of the window, of which the worst is taken where none is stated."""

_ROUGHER: Final = 0.75
"""By which power of times finer roughness grows; see `SlopeUncertainty.rough_deg`."""

Covariance = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class SlopeUncertainty:
    """What the slope uncertainty of a model rests on.

    Attributes
    ----------
    cell_m
        Longer side of a cell, metres; of those where its detail ends, where it was
        made finer or smoothed.
    baseline_m
        Length of the pieces of ground that the interval is for, metres.
    survey
        Error of the heights.
    covariance
        ``((var p, cov), (cov, var q))`` of the gradient by the survey, 1 standard deviation squared.
    measured_m
        What the slopes are measured over, metres: longer than those pieces where two cells are.
    finer
        How many times finer its cells were made.
    added
        What contours, rounding and stripes add, in words; empty where nothing does.
    """

    cell_m: float
    baseline_m: float
    survey: Survey
    covariance: Covariance
    measured_m: float = BASELINE_M
    finer: float = 1.0
    added: str = ""

    def rough_deg(self, roughness: ArrayLike) -> Array:
        """Roughness that cells as large as there were before would show: more by ``finer^0.75``.

        That is what the median of it grows by on copies of alpine slopes made 2 to 6 times finer, straight
        (0.7 to 0.8); on cubic ones and on rough ground it grows by less.
        """
        # Single precision stays single.
        return np.asarray(np.asarray(roughness) * float(self.finer**_ROUGHER))

    @property
    def middling_deg(self) -> float:
        """Roughness that the model shows on middling ground, degrees."""
        return MIDDLING_DEG / float(self.finer**_ROUGHER)

    @property
    def open_above(self) -> bool:
        """Whether no upper end is known."""
        return self.cell_m > OPEN_CELLS_M

    @property
    def words(self) -> str:
        """The basis in a sentence or two, with its figures, for every output."""
        made = ", where its detail ends," if self.finer > 1.0 else ""
        words = (
            f"95 % interval for pieces of {self.baseline_m:.0f} m: what cells of {self.cell_m:.1f} m{made} "
            f"hide, by how rough the model is there{self.added}, and {self.survey.words}."
        )
        no_end = f'No upper end is known for {self.cell_m:.1f} m cells: read every steepness as "{AT_LEAST}".'
        return f"{words} {no_end}" if self.open_above else words


def gradient_covariance(
    method: Method,
    jacobian: Array,
    vertical_sd_m: float,
    correlation_m: float | None,
    halves: tuple[int, int] = (1, 1),
) -> Array:
    """Covariance of the gradients p, q from correlated height errors.

    ``W C W^T`` with the window's weights W (in ground gradient) and ``C_ij = s^2 exp(-d_ij / L)``
    for heights ``d`` apart. For independent errors on square cells g it is the published
    ``var p = 3 s^2 / (16 g^2)`` for Horn, ``s^2 / (6 g^2)`` for Evans, ``s^2 / (2 g^2)`` for
    Zevenbergen-Thorne.

    Parameters
    ----------
    method
        Slope method; the plane of least squares for larger windows.
    jacobian
        ``(2, 2)``, ground metres per cell.
    vertical_sd_m
        Standard deviation of a height, metres.
    correlation_m
        Correlation length L, metres, 0 for independent errors; None takes the worst of
        several up to three halves of the window (Hunter and Goodchild (1997), Geographical Analysis
        29(1), 35-49, doi:10.1111/j.1538-4632.1997.tb00944.x: with none known, use a worst case).
    halves
        Half-widths of the window, cells.

    Returns
    -------
    Array
        ``(2, 2)``, dimensionless.
    """
    if correlation_m is None:
        size = float(np.sqrt(abs(np.linalg.det(jacobian)) * halves[0] * halves[1]))
        lengths = [trial * size for trial in _CORRELATION_TRIALS]
        trials = [gradient_covariance(method, jacobian, vertical_sd_m, one, halves) for one in lengths]
        return max(trials, key=lambda found: float(np.trace(found)))
    col, row = np.meshgrid(*(np.arange(-2.0 * half, 2.0 * half + 1.0) for half in halves))
    apart_m = np.hypot(*(jacobian @ np.stack((col.ravel(), row.ravel())))).reshape(col.shape)
    correlation = (apart_m == 0.0) * 1.0 if correlation_m == 0.0 else np.exp(-apart_m / correlation_m)
    steps = window_weights(method, halves)
    # The weights are products of one along columns and one along rows, so that pairs of heights
    # are summed by how far they lie apart: windows of a thousand heights cost nothing.
    per_step = np.empty((2, 2))
    for k, one in enumerate(steps):
        for m, other in enumerate(steps):
            along, down = (np.correlate(a, b, "full") for a, b in zip(one, other, strict=True))
            per_step[k, m] = down @ correlation @ along
    weights = np.stack(ground_gradients(jacobian, *np.eye(2)))
    out: Array = vertical_sd_m**2 * (weights @ per_step @ weights.T)
    return out


def slope_uncertainty(
    method: Method,
    jacobian: Array,
    vertical_sd_m: float | None = None,
    correlation_m: float | None = None,
    kind: ModelKind | None = None,
    baseline_m: float = BASELINE_M,
    found: ModelFound = NOTHING_FOUND,
) -> SlopeUncertainty:
    """Say what a model's slopes over a baseline are known to; see the module docstring.

    Parameters
    ----------
    jacobian
        ``(2, 2)``, ground metres per cell, in the middle of what is looked at.
    vertical_sd_m, correlation_m, kind
        As stated by the user; None where not. A length beyond `LONGEST_CORRELATION_M`, or over more than
        3 x 3 cells below `SHORTEST_CORRELATION_M`, never narrows more than that: the worse of the two is
        taken.
    baseline_m
        As asked for, metres; what the window measures over is nearest to it.
    found
        What the model was found to be; it only widens, but where it bears out a stated kind that the cells
        alone would speak against.
    """
    size = sides_m(jacobian)
    halves = baseline_cells(*size, baseline_m)
    measured_m = max(2.0 * half * side for half, side in zip(halves, size, strict=True))
    # To the decimetre: a projection's scale must not carry a model over the edge of a table.
    own_m = round(max(size), 1)
    cell_m = max(own_m, round(found.source_cell_m or 0.0, 1))
    lengths: list[tuple[float | None, float | None]] = [(correlation_m, None)]
    if correlation_m is not None:
        least_m = 0.0 if halves == (1, 1) else SHORTEST_CORRELATION_M
        relied_on_m = min(max(correlation_m, least_m), LONGEST_CORRELATION_M)
        if relied_on_m != correlation_m:
            lengths.append((relied_on_m, correlation_m))
    surveys = [survey_error(cell_m, kind, vertical_sd_m, *length) for length in lengths]
    if kind is not None and vertical_sd_m is None and doubt(kind, found, own_m):
        surveys += [survey_error(cell_m, None, None, *length) for length in lengths]
    if found.contours_m is not None:
        surveys.append(contour_error(found.contours_m))

    def spread(sd_m: float, length_m: float | None) -> Array:
        return gradient_covariance(method, jacobian, sd_m, length_m, halves)

    spreads = [spread(one.sd_m, one.correlation_m) for one in surveys]
    widest = max(range(len(spreads)), key=lambda k: float(np.trace(spreads[k])))
    covariance, added = spreads[widest], ""
    if found.rounded_m is not None:
        covariance = covariance + spread(found.rounded_m / math.sqrt(12.0), 0.0)
        added += f", heights rounded to {found.rounded_m:.3g} m"
    if found.striped_m is not None:
        covariance = covariance + spread(found.striped_m, None)
        added += f", stripes of {found.striped_m:.2g} m"
    (pp, pq), (_, qq) = covariance.tolist()
    return SlopeUncertainty(
        cell_m,
        min(measured_m, baseline_m),
        surveys[widest],
        ((pp, pq), (pq, qq)),
        measured_m,
        cell_m / own_m,
        added,
    )


def slope_interval_deg(
    p: ArrayLike, q: ArrayLike, known: SlopeUncertainty, roughness: ArrayLike
) -> tuple[Array, Array]:
    """95 % interval of the slope at cells.

    With the slope s, its gradient ``m`` and ``U = 2 sqrt(u^T S u)`` in the direction u of the
    gradient for the survey's covariance S, the ends lie ``hypot(cells, survey)`` from s on each
    side: `cell_share_deg`, and ``atan(m) - atan(m - U)`` down, ``atan(m + U) - atan(m)`` up.

    Parameters
    ----------
    p, q
        dz/dE, dz/dN over the baseline, or over two cells where those are longer; NaN unknown.
    known
        From `slope_uncertainty`.
    roughness
        From `steybrae.terrain.cell_share.roughness_deg`, degrees; NaN unknown.

    Returns
    -------
    tuple of Array
        Low and high ends, degrees, 0 to 90; NaN where unknown. The high end is NaN everywhere where
        the model is open above.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    spread = COVERAGE_K * np.sqrt(_survey_variance(p, q, known.covariance, across=False))
    low, high = _ends(np.hypot(p, q), spread, known, roughness)
    return low, high * np.nan if known.open_above else high


def line_ends_deg(
    p: ArrayLike, q: ArrayLike, known: SlopeUncertainty, roughness: ArrayLike
) -> tuple[tuple[Array, Array], Array]:
    """95 % ends of cells for the steepest on a line over them, and the high end of each for itself.

    As `slope_interval_deg` with `line_share_deg` for the cells; the high end is that of
    `slope_interval_deg`. The largest low end of the cells that a line touches, and the largest high
    end of those and the eight around each, are the ends of its steepest. Of cells that were made
    finer the neighbours are no measurements of their own: for those no share is smaller than a
    cell's.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    spread = COVERAGE_K * np.sqrt(_survey_variance(p, q, known.covariance, across=False))
    slope, *survey = _by_survey(np.hypot(p, q), spread)
    by = slope, known.rough_deg(roughness), known.cell_m, known.baseline_m
    own, line = cell_share_deg(*by), line_share_deg(*by)
    if known.finer > 1.0:
        line = np.maximum(line[0], own[0]), np.maximum(line[1], own[1])
    (low, high), (_, high_own) = (_quadrature(slope, cells, survey) for cells in (line, own))
    if known.open_above:
        high, high_own = high * np.nan, high_own * np.nan
    return (low, high), high_own


def least_ends_deg(
    slope_deg: ArrayLike, known: SlopeUncertainty, roughness: ArrayLike
) -> tuple[Array, Array]:
    """95 % interval of a slope whichever way it faces, its high end at least so high.

    As `slope_interval_deg` by the worse of the two axes of the survey's covariance. For cells that
    are open above the formula goes on, so that coarser cells never have a lower high end.

    Parameters
    ----------
    slope_deg, roughness
        Degrees; NaN unknown.
    known
        From `slope_uncertainty`.

    Returns
    -------
    tuple of Array
        Degrees; NaN where unknown.
    """
    spread = _worst_spread(known)
    return _ends(np.tan(np.radians(slope_deg)), spread, known, roughness)


def high_end_below(known: SlopeUncertainty) -> tuple[float, float]:
    """Bound of the high end of `least_ends_deg`: less than slope + the first + the second * roughness.

    Degrees, and degrees per degree, for passing over ground without working its ends out. Cells
    widen most on steep ground, the survey on level ground.
    """
    (_, level), (_, rough) = (
        cell_share_deg(90.0, known.rough_deg(rough), known.cell_m, known.baseline_m) for rough in (0.0, 1.0)
    )
    survey = math.degrees(math.atan(_worst_spread(known)))
    return float(level) + survey + 1e-6, float(rough - level) + 1e-6


def high_end_deg(slope_deg: ArrayLike, known: SlopeUncertainty, roughness: ArrayLike) -> Array:
    """Upper end of `least_ends_deg` alone, at most 90, for whole rasters: single precision stays single."""
    slope = np.asarray(slope_deg)
    number = slope.dtype.type
    # The factors of np.radians and np.degrees, which take five times as long as a product.
    radian, degree = number(math.pi) / number(180.0), number(180.0) / number(math.pi)
    _, up = cell_share_deg(slope, known.rough_deg(roughness), known.cell_m, known.baseline_m)
    survey_up = np.arctan(np.tan(slope * radian) + number(_worst_spread(known))) * degree - slope
    out: Array = np.minimum(slope + np.sqrt(up * up + survey_up * survey_up), number(90.0))
    return out


def _worst_spread(known: SlopeUncertainty) -> float:
    """Give the expanded uncertainty of the gradient by the survey along the worse of its two axes."""
    (pp, pq), (_, qq) = known.covariance
    return COVERAGE_K * math.sqrt((pp + qq) / 2.0 + math.hypot((pp - qq) / 2.0, pq))


def _ends(
    m: Array, spread: Array | float, known: SlopeUncertainty, roughness: ArrayLike
) -> tuple[Array, Array]:
    slope, *survey = _by_survey(m, spread)
    cells = cell_share_deg(slope, known.rough_deg(roughness), known.cell_m, known.baseline_m)
    return _quadrature(slope, cells, survey)


def _by_survey(m: Array, spread: Array | float) -> tuple[Array, Array, Array]:
    """Slope of a gradient, and how far down and up the survey's spread reaches from it, degrees."""
    slope = np.degrees(np.arctan(m))
    down = slope - np.degrees(np.arctan(np.maximum(m - spread, 0.0)))
    return slope, down, np.degrees(np.arctan(m + spread)) - slope


def _quadrature(slope: Array, cells: Sequence[Array], survey: Sequence[Array]) -> tuple[Array, Array]:
    """Give the ends as far from a slope as both parts take it together, down and up."""
    low, high = (slope - np.hypot(cells[0], survey[0])), (slope + np.hypot(cells[1], survey[1]))
    return np.maximum(low, 0.0), np.minimum(high, 90.0)


def _survey_variance(p: Array, q: Array, covariance: Covariance, *, across: bool) -> Array:
    (pp, pq), (_, qq) = covariance
    m2 = p**2 + q**2
    u, v = (q, -p) if across else (p, q)
    with np.errstate(invalid="ignore", divide="ignore"):
        along = (u**2 * pp + 2.0 * u * v * pq + v**2 * qq) / m2
    # On level ground no direction is given: the larger of the two variances covers both.
    return np.where(m2 == 0.0, max(pp, qq), along)


def gradient_spread(
    p: ArrayLike, q: ArrayLike, known: SlopeUncertainty, roughness: ArrayLike, *, across: bool = False
) -> Array:
    """Give the expanded uncertainty U of a gradient along the fall line, or across it, for the aspect.

    Metres per metre, NaN where unknown; on level ground by the larger of the two variances. Survey
    and cells in quadrature; of the cells' two sides the larger, in gradient ``A (1 + m^2)`` with A
    in radians, taken to hold across too.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    m2 = p**2 + q**2
    variance = COVERAGE_K**2 * _survey_variance(p, q, known.covariance, across=across)
    slope = np.degrees(np.arctan(np.sqrt(m2)))
    cells = np.maximum(*cell_share_deg(slope, known.rough_deg(roughness), known.cell_m, known.baseline_m))
    return np.asarray(np.sqrt(variance + (np.radians(cells) * (1.0 + m2)) ** 2))
