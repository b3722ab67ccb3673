"""Answers from a printed map: how steep a gap is, and what gap a steepness makes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from steybrae.document import Block, Cautions, Column, Document, Paragraph, Table, listed
from steybrae.quantities import one_in_text
from steybrae.value import AT_LEAST, Value, lower, millimetres, percent, slope

if TYPE_CHECKING:
    from steybrae.paper.spacing import GapResult, SpacingChart


def gap_document(result: GapResult) -> Document:
    """Make the answer to a slope read from a map: what was understood first."""
    also = f"{percent(result.grade_percent).text} = {one_in_text(result.slope_deg)}"
    headline = f"Slope {slope(result.slope_deg).text} = {also}"
    lines = (_interval(result), *_shares(result), f"  {result.basis}", _bands(result))
    return Document(
        headline,
        (
            *map(Paragraph, (result.understood, result.map_text, "")),
            Paragraph(headline, strong=True),
            *map(Paragraph, lines),
            *listed("What the map cannot show", result.unseen),
            *listed("Traps", result.traps),
            Cautions(result.cautions),
        ),
    )


def _interval(result: GapResult) -> str:
    if result.open_above:
        return (
            f"95 % interval: {lower(result.slope_low_deg).text} to 90°, vertical: the reading error is as "
            "large as the measured length, so its upper end is not known"
        )
    found = slope(result.slope_deg, interval=(result.slope_low_deg, result.slope_high_deg))
    return f"95 % interval: {found.interval_text}"


def _shares(result: GapResult) -> Iterator[str]:
    shares = result.uncertainty_shares
    side = "on its larger side"
    moves = "no upper end" if result.open_above else f"{slope(shares.ruler_deg).text} {side}"
    length = Value(shares.ruler_mm, "mm", 0.01, "up").short
    yield f"  ruler alone, the whole length read {length} too long or too short: {moves}"
    if shares.contour_m is None or shares.contour_deg is None:
        yield "  contours' heights: left out, as asked"
        return
    moves, rise = f"{slope(shares.contour_deg).text} {side}", Value(shares.contour_m, "m", 0.1, "up").text
    yield f"  contours' heights alone, the whole rise {rise} too high or too low: {moves}"
    yield "  Both together, in quadrature on either side, make the interval."


def _bands(result: GapResult) -> str:
    labels = ", ".join(band.label for band in result.bands_possible)
    steeper = result.open_above and result.bands_possible[-1].high_deg is not None
    return f"Band {result.band.label}; possible: {labels}{' or steeper' if steeper else ''}"


def spacing_document(chart: SpacingChart) -> Document:
    """Make a table of the spacings on a map, each rounded up to hundredths of a millimetre."""
    columns = [
        Column("slope_deg", "slope", lambda row: slope(row.slope_deg)),
        Column("one_in", "1 in n", lambda row: one_in_text(row.slope_deg)),
        Column("gap_mm", "line to line", lambda row: _gap(row.gap_mm)),
    ]
    if chart.index_every is not None:
        heading = f"index to index ({chart.index_every} gaps)"
        columns.append(Column("index_gap_mm", heading, lambda row: _gap(row.index_gap_mm)))
    blocks: list[Block] = [
        Paragraph(chart.map_text),
        Table(tuple(columns), chart.rows),
        Paragraph(
            f"Take a gap as narrow as this, or narrower, for ground {AT_LEAST} that steep; "
            "gaps are rounded up. The command gap gives a slightly gentler slope for one: the table leads."
        ),
        Paragraph(
            f"From {lower(chart.unreadable_from_deg).text} a single gap is no wider than a ruler's usual "
            f"error of {chart.ruler_error_mm:g} mm: measure over several."
        ),
    ]
    if chart.index_every is None:
        blocks.append(Paragraph("For index lines add --index-every, as counted on the sheet."))
    return Document(chart.map_text, (*blocks, Cautions(chart.cautions)))


def _gap(gap_mm: float) -> Value:
    return millimetres(gap_mm, step=0.01, rounding="up")
