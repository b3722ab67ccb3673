"""Slopes from a printed map, and the gaps that slopes make on it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from steybrae.bands import given_bands
from steybrae.errors import QuantityError
from steybrae.library.answer import Answer
from steybrae.paper.measurement import RULER_ERROR_MM, GapMeasurement
from steybrae.paper.spacing import GapResult, SpacingChart, slope_from_spacing, spacing_chart
from steybrae.quantities import number

if TYPE_CHECKING:
    from steybrae.document import Document
    from steybrae.field.references import Source

__all__ = ["Gap", "Spacing", "gap", "spacing"]


class Gap(Answer[GapResult]):
    """A slope read from the gap between contours on a printed map.

    Attributes
    ----------
    result
        With ``slope_deg``, ``slope_low_deg``, ``slope_high_deg``, ``band`` and ``open_above``.

    Examples
    --------
    >>> steybrae.gap(across_mm=12.5, gaps=5, scale=25_000, interval_m=10)
    <Gap: Slope 9.1° = 16 % = 1 in 6.25>
    """

    _command = "gap"

    def __init__(self, result: GapResult, measured: GapMeasurement, interval_m: float, scale: float) -> None:
        super().__init__(result)
        self._measured = measured
        self._map = (interval_m, scale)

    @property
    def document(self) -> Document:
        """What was understood, the slope, what it rests on, cautions."""
        from steybrae.answers.paper import gap_document  # noqa: PLC0415

        return gap_document(self.result)

    @property
    def source(self) -> Source:
        """As something to compare readings with."""
        from steybrae.field.references import paper_source  # noqa: PLC0415

        return paper_source(self.result, self._measured, *self._map)


def gap(
    gap_mm: float | None = None,
    *,
    scale: float,
    interval_m: float,
    across_mm: float | None = None,
    gaps: int | None = None,
    index_gaps: int | None = None,
    index_every: int | None = None,
    ruler_error_mm: float = RULER_ERROR_MM,
    ruler_only: bool = False,
    edges_deg: Iterable[float] | None = None,
) -> Gap:
    """Slope of the ground between contours measured on a printed map, with its 95 % interval.

    Parameters
    ----------
    gap_mm
        One space between neighbouring contours, millimetres on paper.
    scale
        Denominator of the map scale, 25000 for 1:25 000.
    interval_m
        Contour interval printed on the map, metres.
    across_mm
        Instead of `gap_mm`: a length over several gaps, from contour to contour, millimetres.
    gaps
        Gaps in `across_mm`: spaces, not lines.
    index_gaps, index_every
        Instead of `gaps`: gaps between thick lines, and every how many contours one is thick.
    ruler_error_mm
        Reading error of the whole length, 95 %, millimetres.
    ruler_only
        Leave the contours' own height error out.
    edges_deg
        Edges of the bands, degrees.

    Raises
    ------
    SteybraeError
        A length, a count or a map that cannot be meant.

    Examples
    --------
    >>> found = steybrae.gap(2.5, scale=25_000, interval_m=10)
    >>> steybrae.shown_slope_deg(found.slope_deg), steybrae.shown_slope_deg(found.slope_high_deg)
    (9.1, 16.9)
    """
    measured = _measured(gap_mm, across_mm, gaps, index_gaps, index_every)
    interval_m, scale = _sheet(interval_m, scale)
    found = slope_from_spacing(
        measured,
        interval_m,
        scale,
        ruler_error_mm=number(ruler_error_mm, "The ruler's error"),
        ruler_only=ruler_only,
        scheme=None if edges_deg is None else given_bands(edges_deg),
    )
    return Gap(found, measured, interval_m, scale)


def _measured(
    gap_mm: float | None,
    across_mm: float | None,
    gaps: int | None,
    index_gaps: int | None,
    index_every: int | None,
) -> GapMeasurement:
    counts = (gaps, index_gaps, index_every)
    if gap_mm is not None and across_mm is None and counts == (None, None, None):
        return GapMeasurement(number(gap_mm, "A gap"))
    if gap_mm is None and across_mm is not None:
        length_mm = number(across_mm, "A length over gaps")
        if gaps is not None and counts[1:] == (None, None):
            return GapMeasurement(length_mm, _count(gaps), "gaps")
        if gaps is None and index_gaps is not None and index_every is not None:
            return GapMeasurement(length_mm, _count(index_gaps), "index", _count(index_every, 2))
    message = (
        "A gap should be given as gap_mm alone, as across_mm with gaps, or as across_mm with index_gaps and "
        "index_every; got another choice of these. Give one of the three."
    )
    raise QuantityError(message)


def _count(given: float, least: int = 1) -> int:
    """Take a whole number of any type."""
    given = number(given, "A count of gaps")
    if not (given >= least and given == int(given)):
        message = (
            f"Gaps are counted: a whole number from {least} should be given; got {given:g}. Count again."
        )
        raise QuantityError(message)
    return int(given)


class Spacing(Answer[SpacingChart]):
    """Gaps that slopes make on a printed map, to hold beside it.

    Attributes
    ----------
    result
        With ``rows``: of each slope its ``gap_mm``.

    Examples
    --------
    >>> steybrae.spacing(scale=25_000, interval_m=10)
    <Spacing: Map 1:25 000, a contour every 10 m of height>
    """

    _command = "spacing"
    _rows = "rows"

    @property
    def document(self) -> Document:
        """The table, and how to read it."""
        from steybrae.answers.paper import spacing_document  # noqa: PLC0415

        return spacing_document(self.result)


def spacing(
    slopes_deg: Any = (), *, scale: float, interval_m: float, index_every: int | None = None
) -> Spacing:
    """Contour spacing on a printed map for given slopes.

    Parameters
    ----------
    slopes_deg
        One slope or several, degrees or texts like ``"58%"``; the usual table where left out.
    scale
        Denominator of the map scale.
    interval_m
        Contour interval, metres.
    index_every
        Every how many contours one is thick.

    Raises
    ------
    SteybraeError
        A slope or a map that cannot be meant.

    Examples
    --------
    >>> chart = steybrae.spacing([30, "100%"], scale=25_000, interval_m=10)
    >>> [round(row.gap_mm, 2) for row in chart.result.rows]
    [0.69, 0.4]
    """
    from steybrae.library.given import numbers_or_texts  # noqa: PLC0415
    from steybrae.quantities import parse_slope_deg  # noqa: PLC0415

    slopes = [parse_slope_deg(text) for text in numbers_or_texts(slopes_deg, "Slopes")]
    every = None if index_every is None else _count(index_every, 2)
    return Spacing(spacing_chart(*_sheet(interval_m, scale), slopes, every))


def _sheet(interval_m: Any, scale: Any) -> tuple[float, float]:
    """Contour interval and scale's denominator of a map as given."""
    return number(interval_m, "The contour interval"), number(scale, "The scale's denominator")
