"""Sentences about a measurement on a printed map: what was understood, and its traps."""

from __future__ import annotations

from typing import Final

from steybrae.paper.measurement import RULER_ERROR_MM, GapMeasurement
from steybrae.quantities import gradient_to_angle
from steybrae.value import AT_LEAST, ground_run, lower, millimetres, rise, slope

THINNED_FROM_DEG: Final = gradient_to_angle(1.0 / 3.0)
"""Slope from which thin contours may be left out, degrees: about 1 in 3, taught for British
1:50 000 maps by two mountain-navigation courses; steeper than that a line may be missing."""


def may_be_thinned(measured: GapMeasurement, high_deg: float) -> bool:
    """Say whether thin lines may have been left out where this was measured.

    Parameters
    ----------
    measured
        What was measured; index lines are never left out.
    high_deg
        Upper end of the slope, degrees: unknown is not gentle.
    """
    return measured.way != "index" and high_deg >= THINNED_FROM_DEG


def _miscounted_deg(measured: GapMeasurement, more: int, interval_m: float, scale: float) -> float:
    rise_m = (measured.counted + more) * measured.index_every * interval_m
    return gradient_to_angle(rise_m * 1000.0 / (measured.across_mm * scale))


def map_text(interval_m: float, scale: float) -> str:
    """Scale and interval in words, for the reader to check: ``Map 1:25 000, ...``."""
    return f"Map 1:{f'{scale:,.0f}'.replace(',', ' ')}, a contour every {interval_m:g} m of height"


def understood_text(measured: GapMeasurement, rise_m: float, run_m: float) -> str:
    """Repeat a measurement: ``12.5 mm across 5 gaps = 2.5 mm each; 50 m up in 312 m``."""
    across, gaps = f"{measured.across_mm:g} mm", measured.gaps
    each = f"{millimetres(measured.across_mm / gaps, step=0.001, rounding='down').short} each"
    if measured.way == "index":
        counted = f"{measured.counted} index gap{'s' * (measured.counted > 1)} ({gaps} gaps)"
    else:
        counted = f"{gaps} gap{'s' * (gaps > 1)}"
    up = f"{rise(rise_m).short} up in {ground_run(run_m)}"
    return f"{across} across {counted} = {each}; {up}"


def basis_text(ruler_error_mm: float, *, ruler_only: bool) -> str:
    """Say what the interval rests on."""
    usual = ruler_error_mm == RULER_ERROR_MM
    ruler = "half a division (common practice, no source)" if usual else "as stated"
    if ruler_only:
        return f"Ruler: {ruler}. Contours' heights: left out, as asked."
    return (
        f"Ruler: {ruler}. Contours' heights: nine in ten within half an interval (US National Map "
        "Accuracy Standards, 1947), the two ends apart from each other: an upper bound."
    )


def unseen_texts(interval_m: float, run_m: float) -> tuple[str, ...]:
    """Say what a map of this interval cannot show over this run."""
    return (
        f"This is an average over {ground_run(run_m)} of ground. The piece of slope that decides "
        'is about 20 m long (Swiss leaflet "Achtung Lawinen!"); steeper ones may be averaged away.',
        f"With a contour every {interval_m:g} m, a crag, roll or bank lower than {interval_m:g} m "
        "need not show at all: between two lines the ground may do anything, a wall included.",
    )


def trap_texts(measured: GapMeasurement, interval_m: float, scale: float, high_deg: float) -> tuple[str, ...]:
    """Name the mistakes this way of measuring invites, each with the slope it would hide."""
    more = slope(_miscounted_deg(measured, 1, interval_m, scale)).text
    found = []
    if measured.way != "gap":
        found.append(_fence_post(measured, interval_m, scale, more))
    if may_be_thinned(measured, high_deg):
        found.append(
            "Thin lines: some maps, British 1:50 000 ones among them, leave thin contours out on "
            "steep ground and keep every index line. Where even one is left out the slope is "
            f"{AT_LEAST} about 1 in 3 ({lower(THINNED_FROM_DEG).text}). If one is missing here, the answer "
            f"is {more}."
        )
    return tuple(found)


def _fence_post(measured: GapMeasurement, interval_m: float, scale: float, more: str) -> str:
    kind = ("index gap" if measured.way == "index" else "gap") + "s" * (measured.counted > 1)
    text = f"Lines or gaps? {measured.counted + 1} lines make {measured.counted} {kind}. "
    if measured.counted > 1:
        fewer = slope(_miscounted_deg(measured, -1, interval_m, scale)).text
        text += f"If {measured.counted} was the number of lines, the answer is {fewer}. "
    return text + f"If a line was overlooked, it is {more}."
