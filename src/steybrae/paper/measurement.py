"""What is measured on a printed map, which values can be meant, and tables of spacings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from steybrae.cautions import Cautions, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.quantities import SCALE_RANGE, angle_to_gradient, gradient_to_angle
from steybrae.ranges import NotNegative, SlopeDeg
from steybrae.value import AT_LEAST, ground_run, lower, millimetres, rise, slope

RULER_ERROR_MM: Final = 0.5
"""Reading error of a ruler, 95 % half-width, mm: half a division (common practice, no source)."""

INTERVAL_RANGE_M: Final = (0.1, 1000.0)
"""Contour intervals taken as meant, metres; outside lies a slip of the keyboard (our choice)."""

LEAST_PAPER_MM: Final = 0.01
"""Least length on paper taken as meant, mm: a tenth of a fine printed line (our choice)."""

MOST_GAPS: Final = 1000
"""Most gaps taken as meant (our choice)."""


@dataclass(frozen=True)
class GapMeasurement:
    """What was measured on the map.

    Attributes
    ----------
    across_mm
        Length on paper at right angles to the contours, from contour to contour, mm.
    counted
        Gaps counted over that length: thin gaps, or index gaps where `index_every` is given.
    way
        ``gap`` one space between neighbours; ``gaps`` several, counted; ``index`` from
        thick line to thick line.
    index_every
        For ``index``: every how many contours one is thick; 1 otherwise.

    Raises
    ------
    QuantityError
        Not finite, not above 0, or of an unlikely size.
    """

    across_mm: float
    counted: int = 1
    way: Literal["gap", "gaps", "index"] = "gap"
    index_every: int = 1

    def __post_init__(self) -> None:
        """Refuse lengths and counts that cannot be meant."""
        if not LEAST_PAPER_MM <= self.across_mm <= 10_000.0:
            message = (
                f"The measured length should lie between {LEAST_PAPER_MM:g} mm and 10 m; "
                f"got {self.across_mm:g} mm. Measure on the printed sheet."
            )
            raise QuantityError(message)
        if self.counted < 1 or self.index_every < 1 or self.gaps > MOST_GAPS:
            message = (
                f"The number of gaps should lie between 1 and {MOST_GAPS}; got {self.gaps}. "
                "Count the spaces between lines, not the lines."
            )
            raise QuantityError(message)

    @property
    def gaps(self) -> int:
        """Contour intervals in the measured length."""
        return self.counted * self.index_every


def check_map(interval_m: float, scale: float) -> None:
    """Refuse a contour interval or a scale that no printed map has.

    Parameters
    ----------
    interval_m
        Contour interval, metres, 0.1 to 1000.
    scale
        Denominator, 100 to 10 000 000.

    Raises
    ------
    QuantityError
        Outside, or NaN.
    """
    if not INTERVAL_RANGE_M[0] <= interval_m <= INTERVAL_RANGE_M[1]:
        message = (
            f"A contour interval should lie between 0.1 m and 1000 m; got {interval_m:g} m. "
            "Read it in the margin of the sheet."
        )
        raise QuantityError(message)
    if not SCALE_RANGE[0] <= scale <= SCALE_RANGE[1]:
        message = (
            f"A map scale should lie between 1:100 and 1:10 000 000; got 1:{scale:g}. Check the denominator."
        )
        raise QuantityError(message)


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


CHART_SLOPES_DEG: Final = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0)
"""Slopes of a table, degrees: the default band edges, and gentler ones to learn on (our choice)."""

_TEXT_ONLY: Final = {"json": False}


@dataclass(frozen=True)
class SpacingRow:
    """One slope and its spacing on paper, unrounded.

    Attributes
    ----------
    slope_deg
        Degrees.
    gap_mm
        From one contour to the next, mm.
    index_gap_mm
        From one index contour to the next, mm; None where it was not said how many
        contours make one.
    """

    slope_deg: SlopeDeg
    gap_mm: NotNegative
    index_gap_mm: NotNegative | None


@dataclass(frozen=True)
class SpacingChart:
    """Spacings for one map.

    Attributes
    ----------
    rows
        In the order asked for.
    cautions
        Never empty.
    map_text
        Scale and interval in words.
    ruler_error_mm, unreadable_from_deg
        The usual ruler error, and the slope from which it is as large as a single gap, degrees.
    index_every
        Every how many contours one is thick; None where not said.
    """

    rows: tuple[SpacingRow, ...]
    cautions: Cautions
    map_text: str = field(metadata=_TEXT_ONLY)
    ruler_error_mm: float = field(metadata=_TEXT_ONLY)
    unreadable_from_deg: float = field(metadata=_TEXT_ONLY)
    index_every: int | None = field(metadata=_TEXT_ONLY)


def gap_for_slope_mm(slope_deg: float, interval_m: float, scale: float, gaps: int = 1) -> float:
    """Length on paper across some gaps: ``1000 * gaps * CI / (tan(slope) * S)``.

    Parameters
    ----------
    slope_deg
        Degrees, above 0 and below 90.
    interval_m
        Contour interval, metres.
    scale
        Denominator of the map scale.
    gaps
        Contour intervals in that length, 1 or more.

    Returns
    -------
    float
        Millimetres, unrounded. To show it, round up: whoever holds the table beside a map
        then calls ground steep a little early, never late.

    Raises
    ------
    QuantityError
        Level and vertical ground have no spacing; interval or scale cannot be meant.
    """
    check_map(interval_m, scale)
    if not 0.0 < slope_deg < 90.0:
        message = (
            "A contour spacing exists for slopes above 0 and below 90 degrees; "
            f"got {slope_deg:g}. Ask for a slope between."
        )
        raise QuantityError(message)
    if gaps < 1:
        message = f"The number of gaps should be 1 or more; got {gaps}. Count spaces, not lines."
        raise QuantityError(message)
    return 1000.0 * gaps * interval_m / (angle_to_gradient(slope_deg) * scale)


def spacing_chart(
    interval_m: float,
    scale: float,
    slopes_deg: Sequence[float] = CHART_SLOPES_DEG,
    index_every: int | None = None,
) -> SpacingChart:
    """Spacings of a map for several slopes.

    Parameters
    ----------
    interval_m
        Contour interval, metres.
    scale
        Denominator of the map scale.
    slopes_deg
        Degrees, each above 0 and below 90; the default ones if empty.
    index_every
        Every how many contours one is thick, 2 or more; None leaves that column empty. It
        differs from sheet to sheet, so it is never assumed.

    Raises
    ------
    QuantityError
        As `gap_for_slope_mm`; or an `index_every` below 2.
    """
    if index_every is not None and index_every < 2:
        message = (
            f"Index lines should be every 2nd contour or rarer; got {index_every}. "
            "Count from one thick line to the next on the sheet, often 5."
        )
        raise QuantityError(message)
    slopes = tuple(slopes_deg) or CHART_SLOPES_DEG
    rows = tuple(
        SpacingRow(
            slope_deg,
            gap_for_slope_mm(slope_deg, interval_m, scale),
            index_every and gap_for_slope_mm(slope_deg, interval_m, scale, index_every),
        )
        for slope_deg in slopes
    )
    return SpacingChart(
        rows=rows,
        cautions=cautions_for(
            Situation(
                from_paper=True,
                interval_m=interval_m,
                slope_high_deg=max(slopes),
                single_gap=True,
                thinned_lines=max(slopes) >= THINNED_FROM_DEG,
            )
        ),
        map_text=map_text(interval_m, scale),
        ruler_error_mm=RULER_ERROR_MM,
        unreadable_from_deg=gradient_to_angle(1000.0 * interval_m / (RULER_ERROR_MM * scale)),
        index_every=index_every,
    )
