"""Answers from a printed map as text and tables for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from steybrae.quantities import one_in_text, round_down, round_up, slope_text

if TYPE_CHECKING:
    from rich.console import Console

    from steybrae.paper.chart import SpacingChart
    from steybrae.paper.spacing import GapResult

__all__ = ["print_gap", "print_spacing"]


def print_gap(result: GapResult, to: Console) -> None:
    """Print a slope read from a map: what was understood first, then the answer.

    Parameters
    ----------
    result
        What `steybrae.paper.spacing.slope_from_spacing` returned.
    to
        The terminal.
    """
    to.print(result.understood, markup=False)
    to.print(result.map_text, markup=False)
    to.print()
    percent = round_up(result.grade_percent, 1.0)
    also = f"{percent:.0f} % = {one_in_text(result.slope_deg)}"
    to.print(f"Slope {slope_text(result.slope_deg)} = {also}", style="bold", markup=False)
    to.print(_interval_text(result), markup=False)
    to.print(_shares_text(result), markup=False)
    to.print(f"  {result.basis}", markup=False)
    to.print(_bands_text(result), markup=False)
    for heading, lines in (("What the map cannot show", result.unseen), ("Traps", result.traps)):
        if lines:
            to.print()
            to.print(heading, style="bold")
        for line in lines:
            to.print(f"  - {line}", markup=False)


def _interval_text(result: GapResult) -> str:
    low = f"{round_down(result.slope_low_deg, 0.1):.1f}°"
    if result.open_above:
        return (
            f"95 % interval: {low} up to 90°, vertical: the reading error is as large as the "
            "measured length, so its upper end is not known"
        )
    return f"95 % interval: {low} to {slope_text(result.slope_high_deg)}"


def _shares_text(result: GapResult) -> str:
    shares = result.uncertainty_shares
    moves = "no upper end" if result.open_above else f"± {slope_text(shares.ruler_deg)}"
    ruler = f"  ruler alone: {moves} (± {round_up(shares.ruler_mm, 0.01):.10g} mm in the whole length)"
    if shares.contour_m is None or shares.contour_deg is None:
        return f"{ruler}\n  contours' heights: left out, as asked"
    return (
        f"{ruler}\n  contours' heights alone: ± {slope_text(shares.contour_deg)} "
        f"(± {round_up(shares.contour_m, 0.1):.1f} m in the rise)"
    )


def _bands_text(result: GapResult) -> str:
    labels = ", ".join(band.label for band in result.bands_possible)
    end = " (open above: at least)" if result.open_above else ""
    return f"Band {result.band.label}; possible: {labels}{end}"


def print_spacing(chart: SpacingChart, to: Console) -> None:
    """Print the spacings of a map as a table, each rounded up to hundredths of a millimetre.

    Parameters
    ----------
    chart
        What `steybrae.paper.chart.spacing_chart` returned.
    to
        The terminal.
    """
    # A table costs `steybrae gap`, which prints none, a quarter of its time.
    from rich import box  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("slope", "1 in n", "line to line", *_index_heading(chart)):
        table.add_column(heading, justify="right")
    for row in chart.rows:
        cells = [slope_text(row.slope_deg), one_in_text(row.slope_deg), _gap_text(row.gap_mm)]
        if row.index_gap_mm is not None:
            cells.append(_gap_text(row.index_gap_mm))
        table.add_row(*cells)
    to.print(chart.map_text, markup=False)
    to.print(table)
    to.print(
        "Take a gap as narrow as this, or narrower, for ground at least that steep; gaps are rounded up."
        f"\nFrom {round_down(chart.unreadable_from_deg, 0.1):.1f}° a single gap is no wider than a "
        f"ruler's usual error of {chart.ruler_error_mm:g} mm: measure over several.",
        markup=False,
    )
    if chart.index_every is None:
        to.print("For index lines add --index-every, as counted on the sheet.", markup=False)


def _index_heading(chart: SpacingChart) -> tuple[str, ...]:
    return () if chart.index_every is None else (f"index to index ({chart.index_every} gaps)",)


def _gap_text(gap_mm: float) -> str:
    return f"{round_up(gap_mm, 0.01):.2f} mm"
