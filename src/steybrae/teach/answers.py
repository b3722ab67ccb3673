"""Answers to what is measured on a practice map, and what is fair to accept.

The slope of a stretch follows from its drawn length and its gaps (`steybrae.paper.spacing`). A
pupil who reads that length too long or too short by the ruler error, which is the one that
``steybrae gap`` takes, is not wrong: the slopes that such a reading gives bound what is accepted.
The ground's own slope lies between them too; a stretch of which that is not true is never asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from steybrae.bands import Band, BandScheme
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.quantities import gradient_to_angle
from steybrae.teach.map_ground import MapLook
from steybrae.value import ground_run, rise, slope

MOST_BANDS: Final = 3
"""A band is asked for only where no more neighbouring bands than these are right (our choice)."""


@dataclass(frozen=True)
class Measured:
    """One slope to be found by measuring.

    Attributes
    ----------
    what
        Which part: ``whole``, ``lower half``, ``upper half``.
    gaps, across_mm
        Gaps and the length drawn, mm.
    slope_gap_deg
        Slope by that gap, degrees.
    slope_model_deg
        Slope of the ground under it by the model, averaged along it, degrees; None without a model.
    low_deg, high_deg
        What is accepted: slopes of a length read long and short by the ruler error, degrees; 90 where nothing
        is left of the length.
    bands
        Bands of what is accepted.
    worked
        The way to the answer, one line.
    """

    what: str
    gaps: int
    across_mm: float
    slope_gap_deg: float
    slope_model_deg: float | None
    low_deg: float
    high_deg: float
    bands: tuple[Band, ...]
    worked: str


def fair_range_deg(across_mm: float, rise_m: float, scale: float) -> tuple[float, float]:
    """Slopes of a length read too long and too short by the ruler error e, 0.5 mm.

    ``atan(1000 rise / ((across + e) S))`` and the same with ``across - e``.

    Parameters
    ----------
    across_mm
        Length on paper, mm.
    rise_m
        Height between its ends, metres.
    scale
        Denominator of the map scale.

    Returns
    -------
    tuple of float
        Degrees; the second is 90 where the length is 0.5 mm or less.
    """
    rise_mm = 1000.0 * rise_m / scale
    left = across_mm - RULER_ERROR_MM
    high = 90.0 if left <= 0.0 else gradient_to_angle(rise_mm / left)
    return gradient_to_angle(rise_mm / (across_mm + RULER_ERROR_MM)), high


def measured(
    what: str,
    across_mm: float,
    gaps: int,
    slope_model_deg: float | None,
    look: MapLook,
    scheme: BandScheme | None = None,
) -> Measured:
    """Answer for a length over some gaps.

    Parameters
    ----------
    what
        Which part of the stretch.
    across_mm, gaps
        As drawn.
    slope_model_deg
        Slope of the ground under it, degrees; None where no model is at hand.
    look
        Scale and interval.
    scheme
        Bands; the default ones if None.
    """
    rise_m = gaps * look.interval_m
    run_m = look.metres(across_mm)
    slope_deg = gradient_to_angle(rise_m / run_m)
    low_deg, high_deg = fair_range_deg(across_mm, rise_m, look.scale)
    up = rise(rise_m / look.unit_m, look.unit).short
    if look.unit != "m":
        up += f" ({rise_m:.4g} m)"
    worked = (
        f"{across_mm:.2f} mm over {gaps} gap{'s' * (gaps > 1)}: {up} up in {ground_run(run_m)}; "
        f"rise / run = {rise_m / run_m:.3f}, slope {slope(slope_deg).text}"
    )
    return Measured(
        what,
        gaps,
        across_mm,
        slope_deg,
        slope_model_deg,
        low_deg,
        high_deg,
        (scheme or BandScheme()).between(low_deg, high_deg),
        worked,
    )
