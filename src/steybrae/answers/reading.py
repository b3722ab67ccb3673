"""Readings and what they agree with, and what a log of readings says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from steybrae.document import Block, Cautions, Column, Document, Heading, Listing, Paragraph, Table, listed
from steybrae.value import Value, bearing, distance_off, lower, percent, slope

if TYPE_CHECKING:
    from steybrae.field.agreement import Comparison, ReadingResult
    from steybrae.field.log import DamagedRow
    from steybrae.field.relocation import AspectFit, FittingPlace
    from steybrae.field.review import Review

METHOD_WORDS = (
    "Eₙ is the difference divided by both uncertainties together (ISO 13528): above 1 the two differ by more "
    "than they may be wrong. Even so, two that agree need not be right."
)


def reading_document(result: ReadingResult, basis: Sequence[str]) -> Document:
    """Make a comparison: what leads first, then each reference, then why they may differ.

    `basis` says what the figures rest on, one sentence each.
    """
    blocks: list[Block] = [Paragraph(_readings(result)), Paragraph(result.sentence, strong=True)]
    if result.references:
        sentences = tuple(reference.sentence for reference in result.references)
        blocks += [Table(_COMPARED, result.references), Listing(sentences), Paragraph(METHOD_WORDS)]
    else:
        blocks.append(
            Paragraph("Nothing to compare with: give a gap on the map, a model and a place, or a plan.")
        )
    if result.aspect is not None:
        blocks += _aspect(result.aspect)
    several = len(result.references) > 1
    reasons = tuple(
        f"({one.source}) {one.text}" if several and one.source is not None else one.text
        for one in result.reasons
    )
    blocks += [*listed("Why they may differ", reasons), *listed("What it rests on", tuple(basis))]
    return Document(result.sentence, (*blocks, Cautions(result.cautions)))


def _readings(result: ReadingResult) -> str:
    readings = result.readings
    parts = [", ".join(slope(value).text for value in readings.up_deg)]
    if readings.down_deg:
        down = f"down {', '.join(slope(value).text for value in readings.down_deg)}"
        parts = [f"up {parts[0]}" if parts[0] else "", down]
    mean = slope(result.mean_deg, interval=(readings.slope_low_deg, readings.slope_high_deg))
    listed = "; ".join(part for part in parts if part)
    if len(result.readings_deg) == 1:
        return f"Reading {listed}; 95 % interval {mean.interval_text}"
    return f"Readings {listed}; mean {mean.text}, 95 % interval {mean.interval_text}"


def _ends(at: Comparison) -> str:
    return f"{lower(at.slope_low_deg).figure} to {slope(at.slope_high_deg).text}"


def _apart(at: Comparison) -> str:
    if at.difference_deg is None:
        return "-"
    return f"{slope(abs(at.difference_deg)).text} {'gentler' if at.difference_deg < 0.0 else 'steeper'}"


def _en(at: Comparison) -> Value | str:
    return "-" if at.en_number is None else Value(at.en_number, "", 0.01, "up")


def _notice(at: Comparison) -> Value | str:
    return "not known" if at.would_notice_deg is None else slope(at.would_notice_deg)


_COMPARED = (
    Column("source", "compared with", lambda at: at.source, align="left", width=24),
    Column("slope_deg", "slope", lambda at: slope(at.slope_deg, at_least=at.slope_high_deg is None)),
    Column("slope_interval", "95 % interval", _ends),
    Column("difference_deg", "reading is", _apart),
    Column("en_number", "Eₙ", _en),
    Column("result", "answer", lambda at: at.result, align="left"),
    Column("would_notice_deg", "would notice", _notice),
)


def _aspect(fit: AspectFit) -> Iterator[Block]:
    measured, off = bearing(fit.measured_true_deg, "true"), Value(fit.uncertainty_95_deg, "deg", 1.0, "up")
    yield Heading(f"Does the aspect fit here? {measured} was measured, ± {off.text}")
    yield Paragraph(fit.sentence)
    far = distance_off(fit.search_m).text
    if fit.near_share:
        share = percent(100.0 * fit.near_share).text
        yield Paragraph(f"Of the known ground within {far}, {share} would fit: the more, the less it tells.")
    if not fit.places:
        yield Paragraph(f"No other known ground within {far} would fit.")
        return
    yield Paragraph("The nearest other ground that would fit, in each direction:")
    yield Listing(tuple(map(_other, fit.places)))


def _other(place: FittingPlace) -> str:
    look, faces = (bearing(deg, "true") for deg in (place.bearing_true_deg, place.aspect_true_deg))
    return (
        f"{place.sector}, {look}, {distance_off(place.distance_m).text}: slope "
        f"{slope(place.slope_deg).text} facing {faces}, at {place.lat_deg:.5f}, {place.lon_deg:.5f}"
    )


def review_document(review: Review) -> Document:
    """Make what a log says of its instruments and observers, and its damaged lines."""
    rows = "1 row" if review.rows == 1 else f"{review.rows} rows"
    twice = f"; {review.doubled} more stood in another log too and count once" if review.doubled else ""
    blocks: list[Block] = [Paragraph(f"{rows} of readings{twice}", strong=True)]
    if review.agreements:
        needed = f"needed for ±{review.agreements[0].half_width_deg:g}°"
        blocks.append(Table((*_AGREED, _needed(needed)), review.agreements))
        blocks.append(Listing(tuple(agreement.sentence for agreement in review.agreements)))
    blocks.append(
        Paragraph(
            "Bias is the mean of reading minus reference; between the limits 95 % of further "
            "differences lie (Bland and Altman 1986, for few readings by Student's t). A reference errs "
            "too: a bias is not the instrument's alone. Every reading counts under its instrument and under "
            "its observer, so that one bias may show under both; where all their rows are the same, once."
        )
    )
    blocks += _damaged(review.damaged)
    return Document(f"{rows} of readings", (*blocks, Cautions(review.cautions)))


def _damaged(rows: Sequence[DamagedRow]) -> tuple[Block, ...]:
    lines = tuple(f"Line {row.line}: {row.reason} It holds: {row.text[:60]!r}" for row in rows)
    return listed("Lines that are no readings (kept as they are)", lines)


def added_document(name: str, added: int, there: int, damaged: Sequence[DamagedRow]) -> Document:
    """Make what adding the rows of one log to another, named, came to.

    Rows added, and rows that were there already; lines of the other that are no readings.
    """
    rows = "1 row" if added == 1 else f"{added} rows"
    held = f"; {there} stood in it already" if there else ""
    said = f"{rows} added to {name}{held}."
    return Document(said, (Paragraph(said, strong=True), *_damaged(damaged)))


_AGREED = (
    Column("name", "of", lambda at: at.who, align="left", width=30),
    Column("count", "with a reference", lambda at: str(at.count)),
    Column("without_reference", "without", lambda at: str(at.without_reference)),
    Column("bias_deg", "bias (95 %)", lambda at: _signed(at.bias_deg, at.bias_low_deg, at.bias_high_deg)),
    Column("spread_deg", "spread", lambda at: "-" if at.spread_deg is None else slope(at.spread_deg)),
    Column("limits_deg", "limits", lambda at: _span(at.limit_low_deg, at.limit_high_deg)),
)


def _needed(heading: str) -> Column:
    return Column(
        "needed", heading, lambda at: "-" if at.needed_for_bias is None else str(at.needed_for_bias)
    )


def _signed(value_deg: float | None, low_deg: float | None, high_deg: float | None) -> str:
    if value_deg is None:
        return "-"
    signed = f"{Value(value_deg, 'deg', 0.1).shown:+.1f}°"
    return signed if low_deg is None else f"{signed} ({_span(low_deg, high_deg)})"


def _span(low_deg: float | None, high_deg: float | None) -> str:
    if low_deg is None or high_deg is None:
        return "-"
    return f"{lower(low_deg).shown:+.1f} to {slope(high_deg).shown:+.1f}°"
