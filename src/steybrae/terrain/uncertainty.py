"""How well a model's slope is known: 95 % expanded uncertainty (k = 2).

Intervals are formed in gradient, so that they are lopsided in degrees as the tangent is. What
cells smooth is always part of them, whatever error of the heights is stated:

up to 15 m
    From 5 m: the published standard deviation of the slope of a 10 m model, 3 to 4 degrees
    (Haneberg 2006, Environmental & Engineering Geoscience 12(3); its abstract was read); the
    larger, 4, is taken. For finer cells nothing was published.
up to 40 m
    The same, and one-sided upwards what such cells flatten.
above 40 m
    How much steeper the ground is cannot be told: open above.

A stated vertical error (1 standard deviation) and its correlation length come on top, in
quadrature. The bases are ``stated``; without a stated error ``typical`` and ``typical, flattened``;
and ``none`` for finer and for coarser cells, whose steepness is then "at least".
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

__all__ = [
    "SlopeUncertainty",
    "gradient_covariance",
    "gradient_spread",
    "slope_interval_deg",
    "slope_uncertainty",
]

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
        Expanded uncertainty by the cells, degrees; None where nothing was published for them.
    covariance
        ``((var p, cov), (cov, var q))`` of the gradient, 1 standard deviation squared, where
        stated; else None.
    kept_share
        Share of a gradient that the cells keep, 1 where nothing is flattened, 0 where how much
        is not known.
    """

    basis: Basis
    words: str
    typical_95_deg: float | None = None
    covariance: tuple[tuple[float, float], tuple[float, float]] | None = None
    kept_share: float = 1.0

    @property
    def open_above(self) -> bool:
        """Whether no upper end is known."""
        return self.basis == "none" or self.kept_share == 0.0


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
    typical, kept, cells_words = _cells(cell_m)
    open_words = f'No upper end is known for {cell_m:.1f} m cells: read every steepness as "at least".'
    if vertical_sd_m is not None:
        found = gradient_covariance(method, jacobian, vertical_sd_m, correlation_m)
        length = (
            "worst correlation length" if correlation_m is None else f"correlation length {correlation_m:g} m"
        )
        words = f"95 % interval from the stated vertical error of {vertical_sd_m:g} m (1 SD), {length}"
        words += f", and {cells_words}." if cells_words else "."
        if kept == 0.0:
            words += " " + open_words
        (pp, pq), (_, qq) = found.tolist()
        return SlopeUncertainty("stated", words, typical, ((pp, pq), (pq, qq)), kept)
    if typical is None or kept == 0.0:
        unstated = (
            f"No uncertainty is known for {cell_m:.1f} m cells without a stated vertical error "
            '(--vertical-error): read every steepness as "at least".'
        )
        return SlopeUncertainty("none", unstated if typical is None else open_words)
    words = f"95 % interval of {cells_words}; no error of this model was stated."
    basis: Basis = "typical" if kept == 1.0 else "typical, flattened"
    return SlopeUncertainty(basis, words, typical_95_deg=typical, kept_share=kept)


def _cells(cell_m: float) -> tuple[float | None, float, str]:
    """Give the expanded uncertainty by the cells, degrees, the share of a gradient kept, and words."""
    if cell_m < TYPICAL_CELLS_M[0]:
        return None, 1.0, ""
    typical = COVERAGE * TYPICAL_SD_DEG
    if cell_m <= TYPICAL_CELLS_M[1] or cell_m > FLATTENED_CELLS_M:
        words = (
            f"{typical:g} degrees, twice the published standard deviation of a 10 m model's slope "
            "(3 to 4 degrees, Haneberg 2006)"
        )
        return typical, float(cell_m <= FLATTENED_CELLS_M), words
    phase = 2.0 * math.pi * cell_m / RELIEF_WAVELENGTH_M
    kept = math.sin(phase) / phase
    words = (
        f"{typical:g} degrees (published for 10 m cells, Haneberg 2006) and above it the flattening by "
        f"{cell_m:.0f} m cells of relief of {RELIEF_WAVELENGTH_M:g} m wavelength, which keep "
        f"{100 * kept:.0f} % of its gradient"
    )
    return typical, kept, words


def slope_interval_deg(p: ArrayLike, q: ArrayLike, known: SlopeUncertainty) -> tuple[Array, Array]:
    """95 % interval of the slope at cells.

    With the gradient ``m = sqrt(p^2 + q^2)``: ends ``atan(m -+ U)``, the lower at least 0 and
    the upper at most 90 degrees. ``U`` is, in quadrature, ``2 sqrt(u^T S u)`` in the direction u
    of the gradient for a stated covariance S and ``A (1 + m^2)`` for a typical angle A, its size
    in gradient; flattening divides m by the kept share before U is added.

    Parameters
    ----------
    p, q
        dz/dE, dz/dN; NaN unknown.
    known
        From `slope_uncertainty`.

    Returns
    -------
    tuple of Array
        Low and high ends, degrees; NaN where unknown, both NaN everywhere where the model is
        open above.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    if known.open_above:
        return np.full(np.hypot(p, q).shape, np.nan), np.full(np.hypot(p, q).shape, np.nan)
    m, spread = np.hypot(p, q), gradient_spread(p, q, known)
    low = np.degrees(np.arctan(np.maximum(m - spread, 0.0)))
    high = np.degrees(np.arctan(m / known.kept_share + spread))
    return low, high


def gradient_spread(p: ArrayLike, q: ArrayLike, known: SlopeUncertainty, *, across: bool = False) -> Array:
    """Give the expanded uncertainty U of a gradient along the fall line, or across it.

    Parameters
    ----------
    p, q
        dz/dE, dz/dN; NaN unknown.
    known
        From `slope_uncertainty`.
    across
        At right angles to the fall line, for the aspect.

    Returns
    -------
    Array
        Metres per metre, flattening not included; on level ground by the larger of the two
        variances; 0 where nothing is known.
    """
    p, q = np.asarray(p, dtype=float), np.asarray(q, dtype=float)
    m2 = p**2 + q**2
    variance = np.zeros(m2.shape)
    if known.covariance is not None:
        (pp, pq), (_, qq) = known.covariance
        u, v = (q, -p) if across else (p, q)
        with np.errstate(invalid="ignore", divide="ignore"):
            along = (u**2 * pp + 2.0 * u * v * pq + v**2 * qq) / m2
        # On level ground no direction is given: the larger of the two variances covers both.
        variance = COVERAGE**2 * np.where(m2 == 0.0, max(pp, qq), along)
    if known.typical_95_deg is not None:
        variance = variance + (math.radians(known.typical_95_deg) * (1.0 + m2)) ** 2
    return np.asarray(np.sqrt(variance))
