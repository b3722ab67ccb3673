"""What is measured on a printed map, and which values can be meant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from steybrae.errors import QuantityError
from steybrae.quantities import SCALE_RANGE

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
