"""How far a ruler's error moves a slope read from contours: the numbers of a picture and a table.

Ground of slope `s` has its contours ``w = 1000 n CI / (tan(s) S)`` mm apart over `n` gaps. A ruler
that reads ``w + e`` or ``w - e`` says ``atan(1000 n CI / ((w + e) S))`` or the same with ``w - e``; where
`e` is as large as `w`, nothing is left between the lines and the answer may be anything up to 90.
"""

from __future__ import annotations

from typing import Final

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.frozen import dataclass
from steybrae.paper.chart import gap_for_slope_mm
from steybrae.quantities import gradient_to_angle
from steybrae.teach.slope_scale import map_name

ERRORS_MM: Final = (0.1, 0.2, 0.3, 0.4, 0.5)
"""Errors of a reading, mm: from a fine line's width to half a division of a ruler (our choice)."""

GAP_COUNTS: Final = (1, 5, 10)
"""Gaps measured over: one, and one and two index gaps on many maps (our choice)."""

TABLE_SLOPES_DEG: Final = (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
"""Slopes of the table, degrees (our choice)."""

CURVE_SLOPES_DEG: Final = tuple(float(deg) for deg in range(10, 61))
"""Slopes of the picture, degrees (our choice)."""

SHOWN_GAP_DEG: Final = 30.0
"""The gap that is drawn true to size is that of this slope, degrees: where steep begins."""


def misread_deg(
    slope_deg: float, gaps: int, interval_m: float, scale: float, error_mm: float
) -> tuple[float, float]:
    """Slopes that a ruler reads when it reads a slope over some gaps too long and too short, degrees.

    The error is that of the whole length; the second is 90 where it is as large as the length. What
    is refused: see `gap_for_slope_mm`.
    """
    across_mm = gap_for_slope_mm(slope_deg, interval_m, scale, gaps)
    rise_mm = 1000.0 * gaps * interval_m / scale
    low = gradient_to_angle(rise_mm / (across_mm + error_mm))
    left = across_mm - error_mm
    return low, 90.0 if left <= 0.0 else gradient_to_angle(rise_mm / left)


@dataclass(frozen=True)
class ErrorRow:
    """One slope.

    Attributes
    ----------
    slope_deg
        Of the ground, degrees.
    across_mm
        Length on paper over the table's gaps, mm.
    read_deg
        For each of `ERRORS_MM`: lowest and highest slope read, degrees.
    """

    slope_deg: float
    across_mm: float
    read_deg: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ErrorTable:
    """Rows for one count of gaps; `ground_30_m` is what they average over at 30 degrees, metres."""

    gaps: int
    ground_30_m: float
    rows: tuple[ErrorRow, ...]


@dataclass(frozen=True)
class ErrorCurve:
    """One error over one count of gaps, for the slopes of `CURVE_SLOPES_DEG`; degrees read."""

    gaps: int
    error_mm: float
    slopes_deg: tuple[float, ...]
    low_deg: tuple[float, ...]
    high_deg: tuple[float, ...]


@dataclass(frozen=True)
class ErrorSheet:
    """What a ruler does on one map, scale and interval in words; one gap on ground of 30 degrees, mm.

    Tables and curves are for each of `GAP_COUNTS`; curves with the largest error first. Cautions
    are never empty.
    """

    name: str
    gap_30_mm: float
    tables: tuple[ErrorTable, ...]
    curves: tuple[ErrorCurve, ...]
    cautions: tuple[Caution, ...]


def error_sheet(scale: float, interval_m: float, interval_text: str = "") -> ErrorSheet:
    """Numbers of the sheet on reading errors; the interval as typed names its own unit."""
    return ErrorSheet(
        name=map_name(scale, interval_m, interval_text),
        gap_30_mm=gap_for_slope_mm(SHOWN_GAP_DEG, interval_m, scale),
        tables=tuple(_table(gaps, interval_m, scale) for gaps in GAP_COUNTS),
        curves=tuple(
            _curve(gaps, error_mm, interval_m, scale)
            for gaps in GAP_COUNTS
            for error_mm in reversed(ERRORS_MM)
        ),
        cautions=cautions_for(
            Situation(from_paper=True, lesson=True, interval_m=interval_m, single_gap=True)
        ),
    )


def _table(gaps: int, interval_m: float, scale: float) -> ErrorTable:
    rows = tuple(
        ErrorRow(
            slope_deg,
            gap_for_slope_mm(slope_deg, interval_m, scale, gaps),
            tuple(misread_deg(slope_deg, gaps, interval_m, scale, error_mm) for error_mm in ERRORS_MM),
        )
        for slope_deg in TABLE_SLOPES_DEG
    )
    ground_m = gap_for_slope_mm(SHOWN_GAP_DEG, interval_m, scale, gaps) * scale / 1000.0
    return ErrorTable(gaps, ground_m, rows)


def _curve(gaps: int, error_mm: float, interval_m: float, scale: float) -> ErrorCurve:
    read = [misread_deg(slope_deg, gaps, interval_m, scale, error_mm) for slope_deg in CURVE_SLOPES_DEG]
    return ErrorCurve(
        gaps, error_mm, CURVE_SLOPES_DEG, tuple(low for low, _ in read), tuple(high for _, high in read)
    )
