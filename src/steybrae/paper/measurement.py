"""What is measured on a printed map, which values can be meant, and what it cannot show."""

from __future__ import annotations

from typing import Final, Literal

from steybrae.errors import QuantityError
from steybrae.frozen import dataclass
from steybrae.quantities import FOOT_M, check_scale, gradient_to_angle
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


def check_index_every(index_every: int | None) -> None:
    """Refuse index lines at every contour; None where nothing is said of them."""
    if index_every is not None and index_every < 2:
        message = (
            f"Index lines should be every 2nd contour or rarer; got {index_every}. "
            "Count from one thick line to the next on the sheet, often 5."
        )
        raise QuantityError(message)


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
    check_scale(scale, f"1:{scale:g}")


THINNED_FROM_DEG: Final = gradient_to_angle(1.0 / 3.0)
"""Slope from which thin contours may be left out, degrees: about 1 in 3, taught for British
1:50 000 maps by two mountain-navigation courses; steeper than that a line may be missing."""


def may_be_thinned(measured: GapMeasurement, high_deg: float) -> bool:
    """Say whether thin lines may have been left out where this was measured; index lines never are.

    `high_deg` is the upper end of the slope: unknown is not gentle.
    """
    return measured.way != "index" and high_deg >= THINNED_FROM_DEG


def _miscounted_deg(measured: GapMeasurement, more: int, interval_m: float, scale: float) -> float:
    rise_m = (measured.counted + more) * measured.index_every * interval_m
    return gradient_to_angle(rise_m * 1000.0 / (measured.across_mm * scale))


def map_text(interval_m: float, scale: float) -> str:
    """Scale and interval in words, for the reader to check: ``Map 1:25 000, ...``."""
    return (
        f"Map 1:{f'{scale:,.0f}'.replace(',', ' ')}, a contour every {interval_words(interval_m)} of height"
    )


def interval_words(interval_m: float) -> str:
    """Contour interval as a map has it: ``10 m``, or ``40 ft`` where those are whole and metres are not."""
    feet = interval_m / FOOT_M
    in_feet = abs(feet - round(feet)) < 1e-3 and abs(interval_m - round(interval_m, 1)) > 1e-6
    return f"{feet:.0f} ft" if in_feet else f"{interval_m:g} m"


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
    own = interval_words(interval_m)
    return (
        f"This is an average over {ground_run(run_m)} of ground. Slopes are judged over "
        'about 20 m (Swiss leaflet "Achtung Lawinen!"); steeper pieces may be averaged away.',
        f"With a contour every {own}, a crag, roll or bank lower than {own} "
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
