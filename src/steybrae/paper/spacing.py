"""Slope from the spacing of contours on a printed map, how well it is known, and tables of spacings.

The equation: contours `CI` apart in height, `n` gaps between them, measured as a
length `w` on paper at the scale 1:S, lie on ground that slopes at::

    slope = atan(n * CI / (w * S))

Two errors are carried, both as 95 % half-widths (k = 2). The *ruler* misreads `w` once,
over its whole length and not per gap. The *contours* are drawn at the wrong height: the
US National Map Accuracy Standards (1941, revised 1947) let 10 % of tested heights be off
by more than half the interval, so one sigma is CI / 3.29; the two contours that bound
the stretch are taken to err independently. That is an upper bound, for neighbours
mostly err together.

Each error alone moves the gradient up and down; on either side the moves add in
quadrature. To first order this is the rule of relative errors in quadrature; beyond it
the ends are lopsided, as they must be, for a gap that shrinks steepens without limit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field
from typing import Final

from steybrae.bands import Band, BandScheme
from steybrae.cautions import Caution, Cautions, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.paper.measurement import (
    RULER_ERROR_MM,
    THINNED_FROM_DEG,
    GapMeasurement,
    basis_text,
    check_index_every,
    check_map,
    map_text,
    may_be_thinned,
    trap_texts,
    understood_text,
    unseen_texts,
)
from steybrae.quantities import COVERAGE_K, angle_to_gradient, gradient_to_angle
from steybrae.ranges import NOT_JSON, NotNegative, SlopeDeg

CONTOUR_SIGMA_SHARE: Final = 1.0 / 3.2897
"""One sigma of a contour's height as a share of the interval: half the interval is the 90 %
bound of the US National Map Accuracy Standards (1947), read as Gaussian, 2 x 1.6449 = 3.2897."""


@dataclass(frozen=True)
class UncertaintyShares:
    """What each error would do alone; 95 % half-widths, the larger side where they differ.

    Attributes
    ----------
    ruler_mm
        Ruler error of the whole length, millimetres.
    ruler_deg
        How far it alone moves the slope, degrees.
    contour_m
        Error of the rise between the two bounding contours, metres; None where it was left out on
        request.
    contour_deg
        How far it alone moves the slope, degrees; None where it was left out on request.
    """

    ruler_mm: NotNegative
    ruler_deg: NotNegative
    contour_m: NotNegative | None
    contour_deg: NotNegative | None


@dataclass(frozen=True)
class GapResult:
    """A slope read from a printed map. All values unrounded.

    Attributes
    ----------
    slope_deg
        Fall-line slope, degrees, above 0 to below 90.
    slope_low_deg
        Lower end of the 95 % interval of the slope, degrees; None where it is not known how well.
    slope_high_deg
        Upper end of the 95 % interval of the slope, degrees; None where it is not known how well:
        then it is open above.
    uncertainty_shares
        What each error would do alone.
    grade_percent
        100 x rise / run.
    one_in
        Run / rise, no unit.
    ground_distance_m
        Run of the stretch measured, metres on the ground; the slope is an average over it.
    rise_m
        Rise of the stretch measured, metres.
    band
        Band of `slope_deg`.
    bands_possible
        From `band` to the band of `slope_high_deg`.
    open_above
        Whether the ruler error is as large as the measured length.
    cautions
        Never empty.
    understood
        The measurement in words, for the reader to check.
    map_text, basis, unseen
        Scale and interval; what the interval rests on; what such a map cannot show.
    traps
        Mistakes this way of measuring invites, each with the slope it would hide.
    """

    slope_deg: SlopeDeg
    slope_low_deg: SlopeDeg
    slope_high_deg: SlopeDeg
    uncertainty_shares: UncertaintyShares
    grade_percent: NotNegative
    one_in: NotNegative
    ground_distance_m: NotNegative
    rise_m: NotNegative
    band: Band
    bands_possible: tuple[Band, ...]
    open_above: bool
    cautions: Cautions
    understood: str = field(metadata=NOT_JSON)
    map_text: str = field(metadata=NOT_JSON)
    basis: str = field(metadata=NOT_JSON)
    unseen: tuple[str, ...] = field(metadata=NOT_JSON)
    traps: tuple[str, ...] = field(metadata=NOT_JSON)


def contour_relative_sigma(gaps: int) -> float:
    """One sigma of the rise between two contours, some gaps apart, as a share of that rise.

    ``sqrt(2) / 3.2897 / gaps``: both bounding contours err by `CONTOUR_SIGMA_SHARE` of the
    interval, independently of each other; 43 % for one gap.
    """
    return math.sqrt(2.0) * CONTOUR_SIGMA_SHARE / gaps


def slope_from_spacing(
    measured: GapMeasurement,
    interval_m: float,
    scale: float,
    *,
    ruler_error_mm: float = RULER_ERROR_MM,
    ruler_only: bool = False,
    scheme: BandScheme | None = None,
) -> GapResult:
    """Slope of the ground between contours measured on a map, with its 95 % interval.

    Parameters
    ----------
    interval_m
        Contour interval printed on the map, metres.
    scale
        Denominator of the map scale.
    ruler_error_mm
        Reading error of the whole length, 95 % half-width, mm, 0 or more.
    ruler_only
        Leave the contours' height error out.
    scheme
        Bands; the default ones if None.

    Returns
    -------
    GapResult
        ``slope_low_deg <= slope_deg <= slope_high_deg``; the high end is 90 and
        `open_above` is true where the ruler error is as large as the measured length.

    Raises
    ------
    QuantityError
        Interval, scale or ruler error that cannot be meant.
    """
    check_map(interval_m, scale)
    if not 0.0 <= ruler_error_mm <= 10_000.0:
        message = (
            f"A ruler error should be 0 to 10 000 mm; got {ruler_error_mm:g} mm. "
            f"Half a division, {RULER_ERROR_MM:g} mm, is usual."
        )
        raise QuantityError(message)
    scheme = scheme or BandScheme()
    run_m = measured.across_mm * scale / 1000.0
    rise_m = measured.gaps * interval_m
    gradient = rise_m / run_m
    relative_rise_error = COVERAGE_K * contour_relative_sigma(measured.gaps)
    rise_error_m = 0.0 if ruler_only else relative_rise_error * rise_m
    ruler_moves = _ruler_moves(gradient, ruler_error_mm / measured.across_mm)
    contour_move = rise_error_m / run_m
    slope_deg = gradient_to_angle(gradient)
    low_deg = gradient_to_angle(max(0.0, gradient - math.hypot(ruler_moves[0], contour_move)))
    high_deg = gradient_to_angle(gradient + math.hypot(ruler_moves[1], contour_move))
    unreadable = math.isinf(ruler_moves[1])
    shares = UncertaintyShares(
        ruler_error_mm,
        _larger_move_deg(gradient, *ruler_moves),
        None if ruler_only else rise_error_m,
        None if ruler_only else _larger_move_deg(gradient, contour_move, contour_move),
    )
    return GapResult(
        slope_deg=slope_deg,
        slope_low_deg=low_deg,
        slope_high_deg=high_deg,
        uncertainty_shares=shares,
        grade_percent=100.0 * gradient,
        one_in=1.0 / gradient,
        ground_distance_m=run_m,
        rise_m=rise_m,
        band=scheme.band(slope_deg),
        bands_possible=scheme.between(slope_deg, high_deg),
        open_above=unreadable,
        cautions=_cautions(measured, interval_m, high_deg, unreadable=unreadable, ruler_only=ruler_only),
        understood=understood_text(measured, rise_m, run_m),
        map_text=map_text(interval_m, scale),
        basis=basis_text(ruler_error_mm, ruler_only=ruler_only),
        unseen=unseen_texts(interval_m, run_m),
        traps=trap_texts(measured, interval_m, scale, high_deg),
    )


def _cautions(
    measured: GapMeasurement, interval_m: float, high_deg: float, *, unreadable: bool, ruler_only: bool
) -> tuple[Caution, ...]:
    return cautions_for(
        Situation(
            from_paper=True,
            slope_high_deg=high_deg,
            open_above=unreadable,
            interval_m=interval_m,
            gap_unreadable=unreadable,
            single_gap=measured.gaps == 1,
            thinned_lines=may_be_thinned(measured, high_deg),
            ruler_only=ruler_only,
        )
    )


def _ruler_moves(gradient: float, relative: float) -> tuple[float, float]:
    """Return the moves of the gradient down and up when the length is misread by a share of itself."""
    down = gradient * relative / (1.0 + relative)
    up = math.inf if relative >= 1.0 else gradient * relative / (1.0 - relative)
    return down, up


def _larger_move_deg(gradient: float, down: float, up: float) -> float:
    slope_deg = gradient_to_angle(gradient)
    return max(
        gradient_to_angle(gradient + up) - slope_deg,
        slope_deg - gradient_to_angle(max(0.0, gradient - down)),
    )


CHART_SLOPES_DEG: Final = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
"""Slopes of a table, degrees: the default band edges, and gentler ones to learn on (our choice)."""


@dataclass(frozen=True)
class SpacingRow:
    """One slope and its spacing on paper, unrounded.

    Attributes
    ----------
    slope_deg
        Degrees.
    gap_mm
        From one contour to the next, mm.
    index_gap_mm
        From one index contour to the next, mm; None where it was not said how many
        contours make one.
    """

    slope_deg: SlopeDeg
    gap_mm: NotNegative
    index_gap_mm: NotNegative | None


@dataclass(frozen=True)
class SpacingChart:
    """Spacings for one map.

    Attributes
    ----------
    rows
        In the order asked for.
    cautions
        Never empty.
    map_text
        Scale and interval in words.
    ruler_error_mm, unreadable_from_deg
        The usual ruler error, and the slope from which it is as large as a single gap, degrees.
    index_every
        Every how many contours one is thick; None where not said.
    """

    rows: tuple[SpacingRow, ...]
    cautions: Cautions
    map_text: str = field(metadata=NOT_JSON)
    ruler_error_mm: float = field(metadata=NOT_JSON)
    unreadable_from_deg: float = field(metadata=NOT_JSON)
    index_every: int | None = field(metadata=NOT_JSON)


def gap_for_slope_mm(slope_deg: float, interval_m: float, scale: float, gaps: int = 1) -> float:
    """Length on paper across some gaps: ``1000 * gaps * CI / (tan(slope) * S)``.

    Parameters
    ----------
    slope_deg
        Degrees, above 0 and below 90.
    interval_m
        Contour interval, metres.
    scale
        Denominator of the map scale.
    gaps
        Contour intervals in that length, 1 or more.

    Returns
    -------
    float
        Millimetres, unrounded. To show it, round up: whoever holds the table beside a map
        then calls ground steep a little early, never late.

    Raises
    ------
    QuantityError
        Level and vertical ground have no spacing; interval or scale cannot be meant.
    """
    check_map(interval_m, scale)
    if not 0.0 < slope_deg < 90.0:
        message = (
            "A contour spacing exists for slopes above 0 and below 90 degrees; "
            f"got {slope_deg:g}. Ask for a slope between."
        )
        raise QuantityError(message)
    if gaps < 1:
        message = f"The number of gaps should be 1 or more; got {gaps}. Count spaces, not lines."
        raise QuantityError(message)
    return 1000.0 * gaps * interval_m / (angle_to_gradient(slope_deg) * scale)


def spacing_chart(
    interval_m: float,
    scale: float,
    slopes_deg: Sequence[float] = CHART_SLOPES_DEG,
    index_every: int | None = None,
) -> SpacingChart:
    """Spacings of a map for several slopes.

    Parameters
    ----------
    interval_m
        Contour interval, metres.
    slopes_deg
        Degrees, each above 0 and below 90; the default ones if empty.
    index_every
        Every how many contours one is thick, 2 or more; None leaves that column empty. It
        differs from sheet to sheet, so it is never assumed.

    Raises
    ------
    QuantityError
        As `gap_for_slope_mm`; or an `index_every` below 2.
    """
    check_index_every(index_every)
    slopes = tuple(slopes_deg) or CHART_SLOPES_DEG
    rows = tuple(
        SpacingRow(
            slope_deg,
            gap_for_slope_mm(slope_deg, interval_m, scale),
            index_every and gap_for_slope_mm(slope_deg, interval_m, scale, index_every),
        )
        for slope_deg in slopes
    )
    return SpacingChart(
        rows=rows,
        cautions=cautions_for(
            Situation(
                from_paper=True,
                interval_m=interval_m,
                slope_high_deg=max(slopes),
                single_gap=True,
                thinned_lines=max(slopes) >= THINNED_FROM_DEG,
            )
        ),
        map_text=map_text(interval_m, scale),
        ruler_error_mm=RULER_ERROR_MM,
        unreadable_from_deg=gradient_to_angle(1000.0 * interval_m / (RULER_ERROR_MM * scale)),
        index_every=index_every,
    )
