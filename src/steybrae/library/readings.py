"""Readings on the hill held against map, model and plan, and what a log of them says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from steybrae.bands import given_bands
from steybrae.errors import QuantityError
from steybrae.field.agreement import ReadingResult, Reference
from steybrae.field.limits import READING_ERROR_95_DEG
from steybrae.field.readings import parse_readings, reading_basis
from steybrae.field.references import Source, compare_sources
from steybrae.field.review import Review as ReviewResult
from steybrae.library.answer import Answer, shown
from steybrae.library.given import as_path, numbers_or_texts
from steybrae.library.paper import Gap
from steybrae.library.place import Ground
from steybrae.quantities import number, several

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from steybrae.document import Document

__all__ = ["Comparison", "Review", "compare", "review"]


class Comparison(Answer[ReadingResult]):
    """Readings beside what they were compared with; the steeper leads.

    Attributes
    ----------
    result
        With ``steeper_deg``, ``references`` (each with its ``result``) and ``reasons``.

    Examples
    --------
    >>> found = steybrae.compare(34, {"my contours": (31, 27, 36)})
    >>> found.references[0].result, found.steeper_deg
    ('consistent, weakly', 34.0)
    """

    _command = "reading"
    _rows = "references"

    def __init__(self, result: ReadingResult, basis: tuple[str, ...]) -> None:
        super().__init__(result)
        self._basis = basis

    @property
    def document(self) -> Document:
        """What leads, each reference, why they may differ, cautions."""
        from steybrae.answers.reading import reading_document  # noqa: PLC0415

        return reading_document(self.result, self._basis)

    def figure(self) -> Figure:
        """Draw the readings and their references with their intervals on the bands.

        Returns
        -------
        matplotlib.figure.Figure
            Of no pyplot; yours to change.

        Examples
        --------
        >>> steybrae.compare(34, {"my contours": (31, 27, 36)}).figure().savefig("reading.png")
        """
        from steybrae.figures.field_figure import comparison_figure  # noqa: PLC0415

        return shown(comparison_figure(self.result))


def compare(
    readings: Any,
    references: Any = (),
    *,
    down: Any = (),
    error_deg: float = READING_ERROR_95_DEG,
    edges_deg: Iterable[float] | None = None,
) -> Comparison:
    """Compare readings of an inclinometer with the map, a model, a plan or another instrument.

    Parameters
    ----------
    readings
        One or several, looking up the slope or laid on it: degrees, or texts like ``"62%"``.
    references
        One or several of: a `Gap`, a `Ground`, a check of a plan (`Plan.check`), or a mapping of names
        to ``(slope, low, high)`` in degrees, None where an end is not known.
    down
        Readings looking down the slope, as `readings`.
    error_deg
        95 % error of one reading, degrees.
    edges_deg
        Edges of the bands, degrees.

    Raises
    ------
    SteybraeError
        A reading or a reference that cannot be used.

    Examples
    --------
    >>> gap = steybrae.gap(across_mm=3.5, gaps=5, scale=25_000, interval_m=10)
    >>> found = steybrae.compare(["34deg", "36deg"], gap)
    >>> found.references[0].result
    'consistent, weakly'
    """
    up, below = (numbers_or_texts(given, "Readings") for given in (readings, down))
    taken = parse_readings(up, below, number(error_deg, "The error of a reading"))
    sources = list(_sources(references))
    scheme = None if edges_deg is None else given_bands(edges_deg)
    result = compare_sources(taken, sources, scheme=scheme)
    words = reading_basis(taken, stated=error_deg != READING_ERROR_95_DEG)
    basis = dict.fromkeys((words, *(line for source in sources for line in source.basis)))
    return Comparison(result, tuple(basis))


def _sources(given: Any) -> Iterable[Source]:
    if isinstance(given, Gap | Ground):
        yield given.source
    elif isinstance(given, Source):
        yield given
    elif isinstance(given, Reference):
        yield Source(given, ())
    elif isinstance(given, Mapping):
        for name, ends in given.items():
            yield _named(str(name), ends)
    elif isinstance(given, Iterable) and not isinstance(given, str | bytes):
        for one in given:
            yield from _sources(one)
    else:
        message = (
            "A reference should be a Gap, a Ground, a check of a plan or a mapping of names to "
            f"(slope, low, high); got {given!r:.60}. Give one of these."
        )
        raise QuantityError(message)


def _named(name: str, ends: Any) -> Source:
    try:
        slope_deg, low_deg, high_deg = (None if end is None else float(end) for end in ends)
    except (TypeError, ValueError) as error:
        message = f"{name} should be (slope, low, high) in degrees; got {ends!r:.60}. Give all three."
        raise QuantityError(message) from error
    return Source(Reference(name, slope_deg, low_deg, high_deg), (f"{name}: as stated.",))


class Review(Answer[ReviewResult]):
    """What a log of readings, or a class's logs, say of instruments and observers.

    Attributes
    ----------
    result
        With ``agreements``: bias, spread and limits of each, and ``damaged`` lines.

    Examples
    --------
    >>> steybrae.review(steybrae.sample().log).rows
    12
    """

    _command = "reading review"
    _rows = "agreements"

    @property
    def document(self) -> Document:
        """Bias, spread and limits of each, lines that are no readings, cautions."""
        from steybrae.answers.reading import review_document  # noqa: PLC0415

        return review_document(self.result)

    def figure(self) -> Figure:
        """Draw who read what at which check, and how well each agrees.

        Returns
        -------
        matplotlib.figure.Figure
            Of no pyplot; yours to change.

        Examples
        --------
        >>> steybrae.review(steybrae.sample().log).figure().savefig("class.png")
        """
        from steybrae.figures.field_figure import review_figure  # noqa: PLC0415

        return shown(review_figure(self.result))


def review(logs: Any, *, names: bool = True) -> Review:
    """Say what a log of readings tells of its instruments and observers.

    Parameters
    ----------
    logs
        A path, or one for each person of a class.
    names
        False numbers the people instead.

    Raises
    ------
    SteybraeError
        A file that is no log of readings.

    Examples
    --------
    >>> found = steybrae.review(steybrae.sample().log)
    >>> [(one.name, one.count) for one in found.agreements if one.kind == "instrument"]
    [('clino 1', 8), ('clino 2', 4)]
    """
    from steybrae.files.logs import review_logs  # noqa: PLC0415

    paths = [as_path(one) for one in ([logs] if as_path(logs) else several(logs, "Logs"))]
    if not paths or None in paths:
        message = f"Logs should be a path or several; got {logs!r:.60}. Give their names."
        raise QuantityError(message)
    return Review(review_logs([path for path in paths if path is not None], names=names))
