"""What readings are compared with: a printed map, a check place of a card, another instrument."""

from __future__ import annotations

import math

from steybrae.field.agreement import Origin, Reference
from steybrae.field.readings import READING_ERROR_95_DEG, ReadingSet
from steybrae.field.sources import Source
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import GapResult

__all__ = ["check_reference", "paper_reference", "paper_source", "reading_as_reference"]


def paper_reference(
    gap: GapResult,
    measured: GapMeasurement,
    interval_m: float,
    scale: float,
    aspect_true_deg: float | None = None,
) -> Reference:
    """Take a slope read from a printed map as something to compare with.

    Parameters
    ----------
    gap
        What the map says.
    measured, interval_m, scale
        What it was read from.
    aspect_true_deg
        Direction the slope faces, as measured on the spot; None where it was not.

    Returns
    -------
    Reference
        Named ``the map``.
    """
    return Reference(
        "the map",
        gap.slope_deg,
        gap.slope_low_deg,
        gap.slope_high_deg,
        Origin(
            kind="paper",
            baseline_m=gap.ground_distance_m,
            gaps=measured.gaps,
            index_every=measured.index_every,
            interval_m=interval_m,
            scale=scale,
            aspect_true_deg=aspect_true_deg,
        ),
    )


def paper_source(
    gap: GapResult,
    measured: GapMeasurement,
    interval_m: float,
    scale: float,
    aspect_true_deg: float | None = None,
) -> Source:
    """Take a slope read from a printed map with all that is to be said of it; see `paper_reference`."""
    basis = (f"The map: {gap.understood}. {gap.map_text}.", gap.basis, *gap.traps)
    reference = paper_reference(gap, measured, interval_m, scale, aspect_true_deg)
    return Source(reference, basis, gap.cautions, open_above=gap.open_above)


def check_reference(
    number: str,
    expected_deg: float,
    consistent_low_deg: float | None,
    consistent_high_deg: float | None,
    cell_size_m: float,
    look_bearing_true_deg: float | None = None,
) -> Reference:
    """Take what a card expects at a check place as something to compare with.

    A card prints the readings that would not differ, ``expected -+ hypot(4, half-width)``; the
    half-widths of the model's interval are got back from them. A limit that was cut at 0 or 90
    degrees leaves the whole rest of the circle's quarter open: the interval then ends there.

    Parameters
    ----------
    number
        Of the check, ``7a``.
    expected_deg
        Slope of the model there, degrees.
    consistent_low_deg, consistent_high_deg
        Those limits, degrees; None where the model's end is not known.
    cell_size_m
        Larger side of the model's cell, metres.
    look_bearing_true_deg
        Bearing up the fall line, degrees from true north; None where not known.

    Returns
    -------
    Reference
        Named ``check 7a of the plan``.
    """

    def half_deg(limit_deg: float) -> float:
        return math.sqrt(max(0.0, (limit_deg - expected_deg) ** 2 - READING_ERROR_95_DEG**2))

    low_deg = high_deg = None
    if consistent_low_deg is not None:
        low_deg = 0.0 if consistent_low_deg <= 0.0 else expected_deg - half_deg(consistent_low_deg)
    if consistent_high_deg is not None:
        high_deg = 90.0 if consistent_high_deg >= 90.0 else expected_deg + half_deg(consistent_high_deg)
    return Reference(
        f"check {number} of the plan",
        expected_deg,
        low_deg,
        high_deg,
        Origin(
            kind="model",
            baseline_m=2.0 * cell_size_m,
            cell_size_m=cell_size_m,
            aspect_true_deg=None
            if look_bearing_true_deg is None
            else (look_bearing_true_deg + 180.0) % 360.0,
        ),
    )


def reading_as_reference(source: str, readings: ReadingSet) -> Reference:
    """Take readings of another instrument or observer as something to compare with.

    Parameters
    ----------
    source
        Its name, in words.
    readings
        What it read.

    Returns
    -------
    Reference
        Of kind ``instrument``, ends as those of the readings.
    """
    return Reference(
        source,
        readings.mean_deg,
        readings.slope_low_deg,
        readings.slope_high_deg,
        Origin(kind="instrument"),
    )
