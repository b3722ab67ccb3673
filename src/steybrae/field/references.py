"""What readings are compared with: a printed map, a check place of a card, another instrument."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from steybrae.bands import BandScheme
from steybrae.cautions import Caution, Situation
from steybrae.field.agreement import Origin, ReadingResult, Reference, compare_readings
from steybrae.field.readings import ReadingSet
from steybrae.field.reasons import with_reasons
from steybrae.field.relocation import AspectFit
from steybrae.frozen import dataclass
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import GapResult
from steybrae.route.positions.places import Place


@dataclass(frozen=True)
class Source:
    """One thing to compare with, and all that is to be said of it.

    Attributes
    ----------
    reference
        The figure.
    basis
        What it rests on, one sentence each.
    cautions
        Its own.
    place
        Where it is, if it says so.
    aspect
        Whether a measured aspect fits there; None where none was asked for.
    open_above
        Whether it may be steeper by an amount not known.
    scheme
        Bands that its plan is in; None where it is of none.
    """

    reference: Reference
    basis: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    place: Place | None = None
    aspect: AspectFit | None = None
    open_above: bool = False
    scheme: BandScheme | None = None


def compare_sources(
    readings: ReadingSet,
    sources: Sequence[Source],
    *,
    scheme: BandScheme | None = None,
    magnetic: bool = False,
    look_true_deg: float | None = None,
) -> ReadingResult:
    """Compare readings with sources, whose cautions go with the result.

    Parameters
    ----------
    scheme
        Bands asked for; None those of a plan's check, else the usual ones.
    magnetic
        Whether a magnetic bearing was turned to true north for it.
    look_true_deg
        Bearing that the readings were sighted along, degrees from true north; None where not known.

    Returns
    -------
    ReadingResult
        With the reasons that fit.
    """
    result = compare_readings(
        readings,
        [source.reference for source in sources],
        scheme=scheme or next((source.scheme for source in sources if source.scheme is not None), None),
        situation=Situation(magnetic=magnetic, open_above=any(source.open_above for source in sources)),
    )
    own_keys = {caution.key: caution for caution in result.cautions}
    # Each source brings its own cautions; one that several share stands once.
    cautions = own_keys | {caution.key: caution for source in sources for caution in source.cautions}
    aspect = next((source.aspect for source in sources if source.aspect is not None), None)
    result = replace(result, cautions=tuple(cautions.values()), aspect=aspect)
    return with_reasons(result, look_true_deg)


Ends = tuple[float, float | None, float | None]


def paper_source(
    gap: GapResult,
    measured: GapMeasurement,
    interval_m: float,
    scale: float,
    aspect_true_deg: float | None = None,
) -> Source:
    """Take a slope read from a printed map as something to compare with, named ``the map``.

    The aspect is as measured on the spot, None where it was not.
    """
    origin = Origin(
        kind="paper",
        baseline_m=gap.ground_distance_m,
        gaps=measured.gaps,
        index_every=measured.index_every,
        interval_m=interval_m,
        scale=scale,
        aspect_true_deg=aspect_true_deg,
    )
    ends = gap.slope_deg, gap.slope_low_deg, gap.slope_high_deg
    basis = (f"The map: {gap.understood}. {gap.map_text}.", gap.basis, *gap.traps)
    return Source(Reference("the map", *ends, origin), basis, gap.cautions, open_above=gap.open_above)


def check_reference(
    name: str,
    ends_deg: Ends,
    look_bearing_true_deg: float | None,
    baseline_m: float,
    cell_size_m: float,
    *,
    sight: bool = False,
) -> Reference:
    """Take what a plan expects at a check as something to compare with, named ``check 7a of the plan``.

    `ends_deg` is what is expected, and the model's 95 % ends, None where not known. Slopes are
    taken over `baseline_m`, on cells whose larger side is `cell_size_m`. A `sight` is the angle up
    to a named place: it averages over no ground, faces nowhere, and none of the reasons of a slope
    fits it.
    """
    source = f"check {name} of the plan"
    if sight:
        return Reference(source, *ends_deg, Origin(kind="sight"))
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
    """Take readings of another instrument or observer, named in words, as something to compare with."""
    return Reference(
        source,
        readings.mean_deg,
        readings.slope_low_deg,
        readings.slope_high_deg,
        Origin(kind="instrument"),
        leading_deg=readings.leading_deg,
    )
