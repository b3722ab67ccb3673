"""Stretches measured on a printed map of one's own: slope, band and what is fair to accept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.errors import QuantityError
from steybrae.teach.answers import Measured, measured
from steybrae.teach.map_ground import MapLook

MOST_GAPS: Final = 100
"""Most gaps of a stretch (our choice): 1000 m at 10 m."""


@dataclass(frozen=True)
class OwnStretch:
    """A stretch up the fall line, as somebody measured it.

    Attributes
    ----------
    name
        Where it is, in their words.
    length_mm
        On paper, from contour to contour, mm.
    gaps
        Spaces between contours, index gaps counted as the gaps they are.

    Raises
    ------
    QuantityError
        Too many gaps or none.
    """

    name: str
    length_mm: float
    gaps: int

    def __post_init__(self) -> None:
        """Refuse a count that no stretch has."""
        if not 1 <= self.gaps <= MOST_GAPS:
            message = (
                f"A stretch should have 1 to {MOST_GAPS} gaps; got {self.gaps}. Count spaces, not lines."
            )
            raise QuantityError(message)


@dataclass(frozen=True)
class OwnMapSheet:
    """Questions on one's own map.

    Attributes
    ----------
    look
        Scale and interval of the map.
    stretches, answers
        In the order of the table.
    cautions
        Never empty.
    """

    look: MapLook
    stretches: tuple[OwnStretch, ...]
    answers: tuple[Measured, ...]
    cautions: tuple[Caution, ...]


def own_map_sheet(stretches: Sequence[OwnStretch], look: MapLook) -> OwnMapSheet:
    """Work out every stretch.

    Parameters
    ----------
    stretches
        As measured.
    look
        Scale and interval of the map.

    Returns
    -------
    OwnMapSheet
        What is accepted is what the ruler error leaves open, as on every practice sheet.
    """
    answers = tuple(measured("whole", one.length_mm, one.gaps, None, look) for one in stretches)
    return OwnMapSheet(
        look,
        tuple(stretches),
        answers,
        cautions_for(
            Situation(
                from_paper=True,
                lesson=True,
                interval_m=look.interval_m,
                single_gap=any(one.gaps == 1 for one in stretches),
                thinned_lines=True,
            )
        ),
    )
