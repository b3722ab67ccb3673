"""Things that a reading is compared with, each with all that is to be said of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from steybrae.bands import BandScheme
from steybrae.cautions import Caution, Situation
from steybrae.field.agreement import ReadingResult, Reference, compare_readings
from steybrae.field.readings import ReadingSet
from steybrae.field.reasons import with_reasons
from steybrae.field.relocation import AspectFit
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
    """

    reference: Reference
    basis: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    place: Place | None = None
    aspect: AspectFit | None = None
    open_above: bool = False


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
    readings
        What was read.
    sources
        What it is compared with; may be none.
    scheme
        The bands; the default ones if None.
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
        scheme=scheme,
        situation=Situation(magnetic=magnetic, open_above=any(source.open_above for source in sources)),
    )
    own_keys = {caution.key: caution for caution in result.cautions}
    # Each source brings its own cautions; one that several share stands once.
    cautions = own_keys | {caution.key: caution for source in sources for caution in source.cautions}
    aspect = next((source.aspect for source in sources if source.aspect is not None), None)
    result = replace(result, cautions=tuple(cautions.values()), aspect=aspect)
    return with_reasons(result, look_true_deg)
