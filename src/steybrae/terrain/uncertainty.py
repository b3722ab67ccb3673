"""How well a model's slope is known: 95 % expanded uncertainty (k = 2).

Intervals are formed in gradient, so that they are lopsided in degrees as the tangent is. Four
bases, the first that applies:

stated
    A vertical error of the model (1 standard deviation) and its correlation length.
typical
    Cells of 5 to 15 m: the published standard deviation of the slope of a 10 m model, 3 to 4
    degrees (Haneberg 2006, Environmental & Engineering Geoscience 12(3); its abstract was read);
    the larger, 4, is taken.
typical, flattened
    Cells above 15 and up to 40 m: the same, and one-sided upwards what such cells flatten.
none
    Finer cells with no stated error (what was published for 10 m cells says nothing of them)
    and coarser ones: the uncertainty is unknown and every steepness is "at least".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import Method, method_weights
from steybrae.terrain.jacobian import ground_gradients

__all__ = ["SlopeUncertainty", "gradient_covariance", "slope_interval_deg", "slope_uncertainty"]

COVERAGE: Final = 2.0
"""Coverage factor k of an expanded uncertainty of about 95 % (JCGM 100:2008, 6.2)."""

TYPICAL_SD_DEG: Final = 4.0
"""Standard deviation of the slope of a 10 m model, degrees; see `typical` above."""

TYPICAL_CELLS_M: Final = (5.0, 15.0)
"""Cell sizes, metres, for which that figure is taken as it stands (our choice round 10 m)."""

FLATTENED_CELLS_M: Final = 40.0
"""Largest cell, metres, with a flattening term: a third of `RELIEF_WAVELENGTH_M`, where the
formula begins to lose its meaning (our choice)."""

RELIEF_WAVELENGTH_M: Final = 120.0
"""Wavelength of the relief that coarse cells are taken to flatten, metres. Our choice: at 30 m
cells it lifts 28 degrees to 40, as the 10 degrees or so by which a 1 m survey was steeper
than 30 m cells in one comparison (second-hand); Chang and Tsai (1991), Cartography & GIS 18,
69-77, found that slopes fall with coarser cells, most on steep ground (abstract)."""

_CORRELATION_TRIALS: Final = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)
"""Correlation lengths, in cells, of which the worst is taken where none is stated."""

Basis = Literal["stated", "typical", "typical, flattened", "none"]


@dataclass(frozen=True)
class SlopeUncertainty:
    """What the slope uncertainty of a model rests on.

    Attributes
    ----------
    basis
        ``stated``, ``typical``, ``typical, flattened`` or ``none``.
    words
        The basis in a sentence, with its figures, for every output.
    typical_95_deg
        Expanded uncertainty in degrees where the basis is a typical one, else None.
    covariance
        ``((var p, cov), (cov, var q))`` of the gradient, 1 standard deviation squared, where
        stated; else None.
    kept_share
        Share of a gradient that the cells keep, 1 where nothing is flattened.
    """

    basis: Basis
    words: str
    typical_95_deg: float | None = None
    covariance: tuple[tuple[float, float], tuple[float, float]] | None = None
    kept_share: float = 1.0


def gradient_covariance(
    method: Method, jacobian: Array, vertical_sd_m: float, correlation_m: float | None
) -> Array:
    """Covariance of the gradients p, q from correlated height errors.

    ``W C W^T`` with the method's weights W (in ground gradient) and ``C_ij = s^2 exp(-d_ij / L)``
    for heights ``d`` apart. For independent errors on square cells g it is the published
    ``var p = 3 s^2 / (16 g^2)`` for Horn, ``s^2 / (6 g^2)`` for Evans, ``s^2 / (2 g^2)`` for
    Zevenbergen-Thorne.

    Parameters
    ----------
    method
        Slope method.
    jacobian
        ``(2, 2)``, ground metres per cell.
    vertical_sd_m
        Standard deviation of a height, metres.
    correlation_m
        Correlation length L, metres, 0 for independent errors; None takes the worst of
        several up to three cells (Hunter and Goodchild (1997), Geographical Analysis 29(1),
        35-49, doi:10.1111/j.1538-4632.1997.tb00944.x: with none known, use a worst case).

    Returns
    -------
    Array
        ``(2, 2)``, dimensionless.
    """
    if correlation_m is None:
        size = float(np.sqrt(abs(np.linalg.det(jacobian))))
        trials = [gradient_covariance(method, jacobian, vertical_sd_m, k * size) for k in _CORRELATION_TRIALS]
        return max(trials, key=lambda found: float(np.trace(found)))
    row, col = np.mgrid[-1:2, -1:2].reshape(2, 9).astype(float)
    east, north = jacobian @ np.stack((col, row))
    apart_m = np.hypot(east[:, None] - east, north[:, None] - north)
    correlation = np.eye(9) if correlation_m == 0.0 else np.exp(-apart_m / correlation_m)
    per_col, per_row = (weights.reshape(9) for weights in method_weights(method))
    weights = np.stack(ground_gradients(jacobian, per_col, per_row))
    out: Array = vertical_sd_m**2 * (weights @ correlation @ weights.T)
    return out


def slope_uncertainty(
    method: Method,
    jacobian: Array,
    vertical_sd_m: float | None = None,
    correlation_m: float | None = None,
) -> SlopeUncertainty:
    """Choose the basis for a model; see the module docstring.

    Parameters
    ----------
    method
        Slope method.
    jacobian
        ``(2, 2)``, ground metres per cell, in the middle of what is looked at.
    vertical_sd_m, correlation_m
        As stated by the user; None where not.

    Returns
    -------
    SlopeUncertainty
    """
    # To the decimetre: a projection's scale must not carry a 5 m model over the edge of 5 m.
    cell_m = round(float(max(np.hypot(*jacobian[:, 0]), np.hypot(*jacobian[:, 1]))), 1)
    if vertical_sd_m is not None:
        found = gradient_covariance(method, jacobian, vertical_sd_m, correlation_m)
        length = (
            "worst correlation length" if correlation_m is None else f"correlation length {correlation_m:g} m"
        )
        words = f"95 % interval from the stated vertical error of {vertical_sd_m:g} m (1 SD), {length}."
        (pp, pq), (_, qq) = found.tolist()
        return SlopeUncertainty("stated", words, covariance=((pp, pq), (pq, qq)))
    typical = COVERAGE * TYPICAL_SD_DEG
    if TYPICAL_CELLS_M[0] <= cell_m <= TYPICAL_CELLS_M[1]:
        words = (
            f"95 % interval of {typical:g} degrees, twice the published standard deviation of a 10 m "
            "model's slope (3 to 4 degrees, Haneberg 2006); no error of this model was stated."
        )
        return SlopeUncertainty("typical", words, typical_95_deg=typical)
    if TYPICAL_CELLS_M[1] < cell_m <= FLATTENED_CELLS_M:
        phase = 2.0 * math.pi * cell_m / RELIEF_WAVELENGTH_M
        kept = math.sin(phase) / phase
        words = (
            f"95 % interval of {typical:g} degrees (published for 10 m cells, Haneberg 2006) and above it "
            f"the flattening by {cell_m:.0f} m cells of relief of {RELIEF_WAVELENGTH_M:g} m wavelength, "
            f"which keep {100 * kept:.0f} % of its gradient; no error of this model was stated."
        )
        return SlopeUncertainty("typical, flattened", words, typical_95_deg=typical, kept_share=kept)
    words = (
        f"No uncertainty is known for {cell_m:.1f} m cells without a stated vertical error "
        '(--vertical-error): read every steepness as "at least".'
    )
    return SlopeUncertainty("none", words)


def slope_interval_deg(p: ArrayLike, q: ArrayLike, known: SlopeUncertainty) -> tuple[Array, Array]:
    """95 % interval of the slope at cells.

    With the gradient ``m = sqrt(p^2 + q^2)``: ends ``atan(m -+ U)``, the lower at least 0 and
    the upper at most 90 degrees. ``U = 2 sqrt(u^T S u)`` in the direction u of the gradient
    for a stated covariance S; for a typical angle A, ``U = A (1 + m^2)``, its size in
    gradient; flattening divides m by the kept share before U is added.

    Parameters
    ----------
    p, q
        dz/dE, dz/dN; NaN unknown.
    known
        From `slope_uncertainty`.

    Returns
    -------
    tuple of Array
        Low and high ends, degrees; NaN where unknown, both NaN everywhere for basis ``none``.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    m = np.hypot(p, q)
    if known.basis == "none":
        return np.full(m.shape, np.nan), np.full(m.shape, np.nan)
    if known.covariance is not None:
        (pp, pq), (_, qq) = known.covariance
        with np.errstate(invalid="ignore", divide="ignore"):
            variance = (p**2 * pp + 2.0 * p * q * pq + q**2 * qq) / m**2
        # On level ground no direction is given: the larger of the two variances covers both.
        spread = COVERAGE * np.sqrt(np.where(m == 0.0, max(pp, qq), variance))
    else:
        assert known.typical_95_deg is not None  # noqa: S101  so made by slope_uncertainty
        spread = math.radians(known.typical_95_deg) * (1.0 + m**2)
    low = np.degrees(np.arctan(np.maximum(m - spread, 0.0)))
    high = np.degrees(np.arctan(m / known.kept_share + spread))
    return low, high
