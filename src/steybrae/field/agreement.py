"""Agreement of a reading with the map, the model, another instrument.

Two figures are compared by the normalised error of ISO 13528 (and ISO/IEC 17043)::

    E_n = |reading - reference| / sqrt(U_reading^2 + U_reference^2)

with expanded uncertainties. A lopsided reference counts with the half-width that faces
the reading. E_n above 1 is ``different``. At 1 or below nothing contradicts, and the answer is
by the smallest difference that would have been noticed, the denominator: ``consistent`` where it
is one band of 5 degrees or less, ``consistent, weakly`` to two bands, ``tells little`` beyond. It is
``cannot tell`` only where no known end of the reference faces the reading.
Whatever the answer, the steeper figure leads. No reading lowers what a map said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field, fields, replace
from typing import TYPE_CHECKING, Final, Literal

from steybrae.bands import Band, BandScheme
from steybrae.cautions import Cautions, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.field.limits import BAND_WIDTH_DEG
from steybrae.field.readings import ReadingSet
from steybrae.frozen import dataclass
from steybrae.ranges import NOT_JSON, NotNegative, SlopeDeg
from steybrae.value import slope

if TYPE_CHECKING:
    from steybrae.field.relocation import AspectFit

Answer = Literal["consistent", "consistent, weakly", "tells little", "cannot tell", "different"]
"""Of those that do not contradict the first tells most, and the fourth nothing."""

WORDS: Final = {
    "unknown": "Cannot tell: {source} does not know this ground.",
    "cannot tell": (
        "Cannot tell: reading and {source} lie {apart} apart, but how far {source} may be wrong is not known."
    ),
    "different": (
        "Different: reading and {source} lie {apart} apart, and their uncertainties together allow only "
        "{limit}. The steeper leads."
    ),
    "other": (
        "{result}: reading and {source} lie {apart} apart; less than {limit} would not have been noticed. "
        "The steeper leads."
    ),
    "leads": "The steeper figure leads: {shown}{band}{possibly}{open}.",
    "band": ", band {band}",
    "band_open": ", band {band} or steeper",
    "possibly": ", possibly as steep as {band}",
    "open": "; how much steeper is not known",
}
"""What is said of a comparison, here and on a page that compares by itself."""


@dataclass(frozen=True)
class Origin:
    """Where a reference comes from, as far as its reasons to differ go.

    Attributes
    ----------
    kind
        ``paper``, ``model``, ``instrument``, ``other``; ``sight`` is the angle up to a place, no slope.
    baseline_m
        Horizontal ground that the figure averages over, metres.
    gaps
        Contour gaps measured over.
    index_every
        Every how many contours one is thick, where thick lines were counted; 1 otherwise.
    interval_m
        Contour interval, metres.
    scale
        Denominator of the map scale.
    cell_size_m
        Larger side of a model's cell, metres.
    aspect_true_deg
        Direction the slope faces, degrees clockwise from true north.
    """

    kind: Literal["paper", "model", "instrument", "sight", "other"] = "other"
    baseline_m: float | None = None
    gaps: int | None = None
    index_every: int = 1
    interval_m: float | None = None
    scale: float | None = None
    cell_size_m: float | None = None
    aspect_true_deg: float | None = None


@dataclass(frozen=True)
class Reference:
    """A figure that readings are compared with.

    Attributes
    ----------
    source
        What the reading is held against.
    slope_deg
        Its slope, degrees; None where the ground is unknown.
    slope_low_deg
        Lower end of the 95 % interval of the slope, degrees; None where it is not known how well.
    slope_high_deg
        Upper end of the 95 % interval of the slope, degrees; None where it is not known how well:
        then it is open above.
    origin
        What its reasons to differ rest on.
    known_high_deg
        Highest end of what is known of it where its own is not, degrees: some of the ground may be unknown.
    leading_deg
        What stands for readings of which it is made, degrees; None where it is of none.

    Raises
    ------
    QuantityError
        Ends that do not enclose the slope, or anything outside 0 to 90.
    """

    source: str
    slope_deg: SlopeDeg | None
    slope_low_deg: SlopeDeg | None = None
    slope_high_deg: SlopeDeg | None = None
    origin: Origin = field(default=Origin(), metadata=NOT_JSON)
    known_high_deg: float | None = field(default=None, metadata=NOT_JSON)
    leading_deg: float | None = field(default=None, metadata=NOT_JSON)

    def __post_init__(self) -> None:
        """Refuse ends out of order."""
        values = (self.slope_low_deg, self.slope_deg, self.slope_high_deg)
        known = [value for value in values if value is not None]
        if not all(0.0 <= value <= 90.0 for value in known) or known != sorted(known):
            got = ", ".join("unknown" if value is None else f"{value:g}" for value in values)
            message = (
                "A reference should have low end, slope and high end rising within 0 to 90 "
                f"degrees; got {got} for {self.source}. Check the three figures."
            )
            raise QuantityError(message)

    @property
    def open_above(self) -> bool:
        """Whether how steep it may be is not known."""
        return self.slope_deg is None or self.slope_high_deg is None


@dataclass(frozen=True, kw_only=True)
class Comparison(Reference):
    """A reading beside one reference.

    Attributes
    ----------
    difference_deg
        Reading minus reference, degrees: above 0 where the reading is steeper; None where
        the reference is unknown.
    en_number
        Normalised error, 0 or more; None where the reference has no known end to face.
    result
        ``consistent``, ``consistent, weakly``, ``tells little``, ``different`` or ``cannot tell``.
    would_notice_deg
        Smallest difference of the two figures that counts as different, degrees:
        ``sqrt(U_reading^2 + U_reference^2)``. Ground that truly differs by so much is
        noticed in half of all cases; by 1.8 times as much, in 95 %. None as `en_number`.
    """

    difference_deg: float | None
    en_number: NotNegative | None
    result: Answer
    would_notice_deg: NotNegative | None

    @property
    def sentence(self) -> str:
        """The answer in plain words."""
        if self.difference_deg is None:
            return WORDS["unknown"].format(source=self.source)
        words = WORDS.get(self.result, WORDS["other"])
        limit = "" if self.would_notice_deg is None else slope(self.would_notice_deg).text
        apart = slope(abs(self.difference_deg)).text
        return words.format(source=self.source, apart=apart, limit=limit, result=self.result.capitalize())


@dataclass(frozen=True)
class Reason:
    """A reason why a reading and a reference may differ.

    Attributes
    ----------
    key
        Short fixed name.
    source
        The reference it is about; None where it is about the readings themselves.
    text
        Whole sentences.
    """

    key: str
    source: str | None
    text: str


@dataclass(frozen=True)
class ReadingResult:
    """Readings, what they were compared with, and what leads.

    Attributes
    ----------
    readings_deg
        All readings without their sign, degrees.
    mean_deg
        Their mean, degrees.
    uncertainty_95_deg
        95 % expanded uncertainty, degrees.
    references
        One `Comparison` for each reference.
    steeper_deg
        Steepest central value of all sources, degrees; it leads. Of readings that scatter more than
        their error explains it is the steepest, not the mean.
    band
        Band of `steeper_deg`; None of a sight, which is no slope.
    bands_possible
        From there to the band of the highest upper end of all sources; none of a sight.
    open_above
        Whether the upper end of any source is not known.
    cautions
        Those that apply.
    reasons
        Why they may differ; none of them lowers the figures above.
    aspect
        Whether a measured aspect fits the place; None where none was held against a model.
    readings, scheme
        The set the figures came from and the bands in use; not in the JSON.
    """

    readings_deg: tuple[SlopeDeg, ...]
    mean_deg: SlopeDeg
    uncertainty_95_deg: NotNegative
    references: tuple[Comparison, ...]
    steeper_deg: SlopeDeg
    band: Band | None
    bands_possible: tuple[Band, ...]
    open_above: bool
    cautions: Cautions
    reasons: tuple[Reason, ...] = ()
    aspect: AspectFit | None = None
    readings: ReadingSet = field(kw_only=True, metadata=NOT_JSON)
    scheme: BandScheme = field(kw_only=True, metadata=NOT_JSON)

    @property
    def sentence(self) -> str:
        """What leads, in plain words."""
        steeper = [one.label for one in self.bands_possible[1:]]
        open_band = (
            self.open_above and not steeper and self.band is not None and self.band.high_deg is not None
        )
        told = WORDS["band_open" if open_band else "band"]
        band = "" if self.band is None else told.format(band=self.band.label)
        possibly = WORDS["possibly"].format(band=steeper[-1]) if steeper else ""
        shown = slope(self.steeper_deg, at_least=self.open_above).text
        unknown = WORDS["open"] if self.open_above else ""
        return WORDS["leads"].format(shown=shown, band=band, possibly=possibly, open=unknown)


def _facing_deg(difference_deg: float, reference: Reference) -> float | None:
    """Half-width of the reference on the side where the reading lies."""
    ends = {1.0: reference.slope_high_deg, -1.0: reference.slope_low_deg}
    side = math.copysign(1.0, difference_deg) if difference_deg else None
    faces = [
        abs(end - reference.slope_deg)
        for way, end in ends.items()
        if side in (None, way) and end is not None and reference.slope_deg is not None
    ]
    return max(faces, default=None)


def _answer(en_number: float | None, would_notice_deg: float | None) -> Answer:
    if en_number is None or would_notice_deg is None:
        return "cannot tell"
    if en_number > 1.0:
        return "different"
    if would_notice_deg <= BAND_WIDTH_DEG:
        return "consistent"
    return "consistent, weakly" if would_notice_deg <= 2.0 * BAND_WIDTH_DEG else "tells little"


def compare(mean_deg: float, uncertainty_95_deg: float, reference: Reference) -> Comparison:
    """Compare a reading with one reference; see the module for the rule.

    Parameters
    ----------
    mean_deg
        The reading, degrees, 0 to 90.
    uncertainty_95_deg
        Its expanded uncertainty, degrees, above 0. It is used whole near 0 and 90 degrees,
        where the printed ends are cut: the cut adds no knowledge of the instrument.
    """
    difference_deg = None if reference.slope_deg is None else mean_deg - reference.slope_deg
    facing_deg = None if difference_deg is None else _facing_deg(difference_deg, reference)
    en_number = would_notice_deg = None
    if difference_deg is not None and facing_deg is not None:
        would_notice_deg = math.hypot(uncertainty_95_deg, facing_deg)
        en_number = abs(difference_deg) / would_notice_deg
    return Comparison(
        **{one.name: getattr(reference, one.name) for one in fields(Reference)},
        difference_deg=difference_deg,
        en_number=en_number,
        result=_answer(en_number, would_notice_deg),
        would_notice_deg=would_notice_deg,
    )


def compare_readings(
    readings: ReadingSet,
    references: Sequence[Reference] = (),
    *,
    scheme: BandScheme | None = None,
    situation: Situation | None = None,
) -> ReadingResult:
    """Compare readings with any number of references, and let the steeper lead.

    `steeper_deg` and the steepest of `bands_possible` never fall when a source is added.
    `situation` is what is already known for the cautions (paper, model, magnetic bearings); that it
    rests on a reading, its highest slope and whether it is open above are added.
    """
    scheme = scheme or BandScheme()
    mean_deg = readings.mean_deg
    central_deg = [
        readings.leading_deg,
        *(deg for ref in references for deg in (ref.slope_deg, ref.leading_deg) if deg is not None),
    ]
    upper_deg = [
        readings.slope_high_deg,
        *(end for ref in references for end in (ref.slope_high_deg, ref.known_high_deg) if end is not None),
    ]
    steeper_deg = max(central_deg)
    highest_deg = max(*upper_deg, steeper_deg)
    open_above = any(ref.open_above for ref in references)
    sight = any(ref.origin.kind == "sight" for ref in references)
    situation = replace(
        situation or _situation(references),
        from_reading=True,
        slope_high_deg=highest_deg,
        open_above=open_above or (situation is not None and situation.open_above),
    )
    return ReadingResult(
        readings_deg=readings.readings_deg,
        mean_deg=mean_deg,
        uncertainty_95_deg=readings.uncertainty_95_deg,
        references=tuple(compare(mean_deg, readings.uncertainty_95_deg, ref) for ref in references),
        steeper_deg=steeper_deg,
        band=None if sight else scheme.band(steeper_deg),
        bands_possible=() if sight else scheme.between(steeper_deg, highest_deg),
        open_above=situation.open_above,
        cautions=cautions_for(situation),
        readings=readings,
        scheme=scheme,
    )


def _situation(references: Sequence[Reference]) -> Situation:
    """Situation as far as the origins of the references tell it."""
    origins = [reference.origin for reference in references]
    cells_m = [origin.cell_size_m for origin in origins if origin.cell_size_m is not None]
    return Situation(
        from_paper=any(origin.kind == "paper" for origin in origins),
        from_model=any(origin.kind == "model" for origin in origins),
        single_gap=any(origin.gaps == 1 for origin in origins),
        gap_unreadable=any(
            reference.origin.kind == "paper" and reference.slope_high_deg == 90.0 for reference in references
        ),
        cell_size_m=max(cells_m, default=None),
        unknown_near=any(reference.slope_deg is None for reference in references),
    )
