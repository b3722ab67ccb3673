"""Readings, what they agree with, and what a log says, as text on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from rich import box
from rich.table import Table
from rich.text import Text

from steybrae.quantities import round_down, round_up, slope_text

if TYPE_CHECKING:
    from rich.console import Console

    from steybrae.field.agreement import Comparison, ReadingResult
    from steybrae.field.relocation import AspectFit
    from steybrae.field.review import Agreement, Review

__all__ = ["Damaged", "print_reading", "print_review"]

METHOD_WORDS = (
    "Eₙ is the difference divided by both uncertainties together (ISO 13528): above 1 the two differ by more "
    "than they may be wrong. Even so, two that agree need not be right."
)


class Damaged(Protocol):
    """A line of a log that is no row; see `steybrae.files.logs.DamagedRow`."""

    @property
    def line(self) -> int:
        """Its number."""

    @property
    def text(self) -> str:
        """What it holds."""

    @property
    def reason(self) -> str:
        """Why it is none."""


def print_reading(result: ReadingResult, basis: Sequence[str], to: Console) -> None:
    """Print a comparison: what leads first, then each reference, then why they may differ.

    Parameters
    ----------
    result
        From `steybrae.field.agreement.compare_readings`.
    basis
        What the figures rest on, one sentence each.
    to
        The terminal.
    """
    to.print(_readings_text(result), markup=False)
    to.print(result.sentence, style="bold", markup=False)
    if result.references:
        to.print(_references(result))
        for reference in result.references:
            to.print(f"  - {reference.sentence}", markup=False)
        to.print(METHOD_WORDS, markup=False)
    else:
        to.print("Nothing to compare with: give a gap on the map, a model and a place, or a plan.")
    if result.aspect is not None:
        _print_aspect(result.aspect, to)
    _print_list("Why they may differ", [_reason(key.source, key.text) for key in result.reasons], to)
    _print_list("What it rests on", basis, to)


def _readings_text(result: ReadingResult) -> str:
    readings = result.readings
    count = len(result.readings_deg)
    parts = [", ".join(slope_text(value) for value in readings.up_deg)]
    if readings.down_deg:
        down = f"down {', '.join(slope_text(value) for value in readings.down_deg)}"
        parts = [f"up {parts[0]}" if parts[0] else "", down]
    ends = f"{round_down(readings.slope_low_deg, 0.1):.1f}° to {slope_text(readings.slope_high_deg)}"
    listed = "; ".join(part for part in parts if part)
    if count == 1:
        return f"Reading {listed}; 95 % interval {ends}"
    return f"Readings {listed}; mean {slope_text(result.mean_deg)}, 95 % interval {ends}"


def _references(result: ReadingResult) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("compared with")
    for heading in ("slope", "95 % interval", "reading is", "Eₙ"):
        table.add_column(heading, justify="right")
    table.add_column("answer")
    table.add_column("would notice", justify="right")
    for reference in result.references:
        table.add_row(*_row(reference))
    return table


def _row(at: Comparison) -> tuple[str, ...]:
    least = "at least " if at.slope_deg is not None and at.slope_high_deg is None else ""
    return (
        at.source,
        f"{least}{slope_text(at.slope_deg)}",
        _ends(at.slope_low_deg, at.slope_high_deg),
        _apart(at.difference_deg),
        "-" if at.en_number is None else f"{round_up(at.en_number, 0.01):.2f}",
        at.result,
        "not known" if at.would_notice_deg is None else f"{round_up(at.would_notice_deg, 0.1):.1f}°",
    )


def _ends(low_deg: float | None, high_deg: float | None) -> str:
    low = "unknown" if low_deg is None else f"{round_down(low_deg, 0.1):.1f}°"
    return f"{low} to {slope_text(high_deg)}"


def _apart(difference_deg: float | None) -> str:
    if difference_deg is None:
        return "-"
    size = f"{round_up(abs(difference_deg), 0.1):.1f}°"
    return f"{size} {'gentler' if difference_deg < 0.0 else 'steeper'}"


def _reason(source: str | None, text: str) -> str:
    return text if source is None else f"({source}) {text}"


def _print_list(heading: str, lines: Sequence[str], to: Console) -> None:
    if not lines:
        return
    to.print()
    to.print(heading, style="bold")
    for line in lines:
        to.print(f"  - {line}", markup=False)


def _print_aspect(fit: AspectFit, to: Console) -> None:
    to.print()
    heading = f"Does the aspect fit here? {_bearing(fit.measured_true_deg)} from true north was measured,"
    to.print(f"{heading} ± {round_up(fit.uncertainty_95_deg, 1.0):.0f}°", style="bold", markup=False)
    to.print(f"  {fit.sentence}", markup=False)
    if fit.near_share is not None:
        share = round_up(100.0 * fit.near_share, 1.0)
        to.print(
            f"  Of the known ground within {fit.search_m:.0f} m, {share:.0f} % would fit: the more, the less "
            "it tells.",
            markup=False,
        )
    if not fit.places:
        to.print("  No other ground near by would fit.", markup=False)
        return
    to.print("  The nearest other ground that would fit, in each direction:", markup=False)
    for place in fit.places:
        to.print(
            f"    {place.sector}, {_bearing(place.bearing_true_deg)} true, {place.distance_m:.0f} m: slope "
            f"{slope_text(place.slope_deg)} facing {_bearing(place.aspect_true_deg)}, at "
            f"{place.lat_deg:.5f}, {place.lon_deg:.5f}",
            markup=False,
        )


def _bearing(bearing_deg: float) -> str:
    return f"{round(bearing_deg) % 360:03d}°"


def print_review(review: Review, to: Console) -> None:
    """Print what a log says of its instruments and observers, and its damaged lines.

    Parameters
    ----------
    review
        From `steybrae.field.review.review`.
    to
        The terminal.
    """
    rows = "1 row" if review.rows == 1 else f"{review.rows} rows"
    twice = f"; {review.doubled} more stood in another log too and count once" if review.doubled else ""
    to.print(f"{rows} of readings{twice}", style="bold", markup=False)
    if review.agreements:
        to.print(_agreements(review.agreements))
    for agreement in review.agreements:
        to.print(f"  - {agreement.sentence}", markup=False)
    to.print(
        "Bias is the mean of reading minus reference; between the limits 95 % of further "
        "differences lie (Bland and Altman 1986, for few readings by Student's t). A reference errs "
        "too: a bias is not the instrument's alone.",
        markup=False,
    )
    lines = [f"Line {row.line}: {row.reason} It holds: {row.text[:60]!r}" for row in review.damaged]
    _print_list("Lines that are no readings (kept as they are)", lines, to)


def _agreements(agreements: Sequence[Agreement]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("of")
    needed = f"needed for ±{agreements[0].half_width_deg:g}°"
    for heading in ("with a reference", "without", "bias (95 %)", "spread", "limits", needed):
        table.add_column(heading, justify="right")
    for at in agreements:
        table.add_row(
            Text(f"{at.kind} {at.name}"),  # a name may hold what rich would take for markup
            str(at.count),
            str(at.without_reference),
            _signed_with(at.bias_deg, at.bias_low_deg, at.bias_high_deg),
            "-" if at.spread_deg is None else f"{round_up(at.spread_deg, 0.1):.1f}°",
            _span(at.limit_low_deg, at.limit_high_deg),
            "-" if at.needed_for_bias is None else str(at.needed_for_bias),
        )
    return table


def _signed_with(value_deg: float | None, low_deg: float | None, high_deg: float | None) -> str:
    if value_deg is None:
        return "-"
    signed = f"{round(value_deg, 1) + 0.0:+.1f}°"
    return signed if low_deg is None else f"{signed} ({_span(low_deg, high_deg)})"


def _span(low_deg: float | None, high_deg: float | None) -> str:
    if low_deg is None or high_deg is None:
        return "-"
    return f"{round_down(low_deg, 0.1):+.1f} to {round_up(high_deg, 0.1):+.1f}°"
