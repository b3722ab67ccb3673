"""What readings are compared with: a printed map, a check place of a card, another instrument."""

from __future__ import annotations

from steybrae.field.agreement import Origin, Reference
from steybrae.field.readings import ReadingSet
from steybrae.field.sources import Source
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import GapResult

Ends = tuple[float, float | None, float | None]


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
    name: str,
    ends_deg: Ends,
    look_bearing_true_deg: float | None,
    baseline_m: float,
    cell_size_m: float,
    *,
    sight: bool = False,
) -> Reference:
    """Take what a plan expects at a check place as something to compare with.

    Parameters
    ----------
    name
        Of the check, ``7a``.
    ends_deg
        What is expected, and the model's 95 % ends, degrees; None where an end is not known.
    look_bearing_true_deg
        To look along, degrees from true north; None where not known.
    baseline_m
        Over what slopes are taken, metres.
    cell_size_m
        Larger side of the model's cell, metres.
    sight
        Whether it is the angle up to a named place: it averages over no ground, faces nowhere, and none of
        the reasons of a slope fits it.

    Returns
    -------
    Reference
        Named ``check 7a of the plan``, its ends those of the model.
    """
    source = f"check {name} of the plan"
    if sight:
        return Reference(source, *ends_deg)
    look = look_bearing_true_deg
    return Reference(
        source,
        *ends_deg,
        Origin(
            kind="model",
            baseline_m=baseline_m,
            cell_size_m=cell_size_m,
            aspect_true_deg=None if look is None else (look + 180.0) % 360.0,
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
