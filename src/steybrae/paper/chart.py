"""Tables of the spacings that slopes have on a printed map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field
from typing import Final

from steybrae.cautions import Cautions, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.paper.measurement import (
    RULER_ERROR_MM,
    THINNED_FROM_DEG,
    check_index_every,
    check_map,
    map_text,
)
from steybrae.quantities import angle_to_gradient, gradient_to_angle
from steybrae.ranges import NOT_JSON, NotNegative, SlopeDeg

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
