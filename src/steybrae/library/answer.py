"""What every answer of the library can do, whatever it is about."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

from steybrae.document import Document, plain
from steybrae.errors import MissingExtraError
from steybrae.files.results import as_json

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Answer", "shown"]

Result = TypeVar("Result")

WIDE = 110
"""Letters in a line of a printed answer (our choice)."""


class Answer(Generic[Result]):
    """An answer: figures as attributes, words when printed, a page in a notebook.

    ``repr()`` is one line; ``print()`` gives what the command prints, cautions included. Every
    attribute of the frozen `result` can be asked of the answer itself: numbers are in SI units,
    unrounded, and None is unknown, never gentle.

    Attributes
    ----------
    result
        The frozen result, typed.

    Examples
    --------
    >>> found = steybrae.gap(gap_mm=2.5, scale=25_000, interval_m=10)
    >>> steybrae.shown_slope_deg(found.slope_deg), found.band.label
    (9.1, '<25')
    """

    _command: ClassVar[str] = ""
    """Name of the command that gives the same answer."""

    _rows: ClassVar[str] = ""
    """Key of the JSON whose entries are the rows of `to_frame`; none where the answer is one row."""

    def __init__(self, result: Result) -> None:
        self.result = result

    def __getattr__(self, name: str) -> Any:
        if name == "result" or name.startswith("_"):
            message = f"{type(self).__name__!r} object has no attribute {name!r}"
            raise AttributeError(message)
        return getattr(self.result, name)

    def __dir__(self) -> list[str]:
        inner = (name for name in dir(self.result) if not name.startswith("_"))
        return sorted({*super().__dir__(), *inner})

    @property
    def document(self) -> Document:
        """What is shown, in the order in which a person needs it."""
        raise NotImplementedError

    @property
    def _line(self) -> str:
        return self.document.title

    def __repr__(self) -> str:
        """Say in one line what it is."""
        return f"<{type(self).__name__}: {' '.join(plain(self._line).split())}>"

    def __str__(self) -> str:
        """Give what the command prints."""
        from steybrae.render.terminal import terminal_text  # noqa: PLC0415

        return terminal_text(self.document, WIDE)

    def _repr_html_(self) -> str:
        from steybrae.render.html import html_fragment  # noqa: PLC0415

        return html_fragment(self.document)

    def to_dict(self) -> dict[str, Any]:
        """Plain values by the JSON contract, as the command's ``--json`` prints them.

        Returns
        -------
        dict
            With ``schema``, ``command`` and ``cautions``; SI units, unrounded, None for unknown.

        Examples
        --------
        >>> found = steybrae.gap(gap_mm=2.5, scale=25_000, interval_m=10)
        >>> found.to_dict()["schema"]
        'steybrae/1'
        """
        return as_json(self._command, self.result)

    def to_frame(self) -> Any:
        """Rows of the answer as a pandas DataFrame.

        Returns
        -------
        pandas.DataFrame
            Columns are keys of the JSON contract, those of nested objects with dots between; the
            texts of the cautions stand in its ``attrs``.

        Raises
        ------
        MissingExtraError
            pandas is not installed.

        Examples
        --------
        >>> chart = steybrae.spacing(scale=25_000, interval_m=10, slopes_deg=[30, 45])
        >>> list(chart.to_frame()["gap_mm"].round(2))
        [0.69, 0.4]
        """
        try:
            import pandas as pd  # noqa: PLC0415
        except ImportError as error:
            message = (
                "A table of this kind needs pandas; it is not installed. Install it: pip install pandas."
            )
            raise MissingExtraError(message) from error
        whole = self.to_dict()
        frame = pd.json_normalize(whole[self._rows] if self._rows else [whole])
        frame.attrs["cautions"] = [caution["text"] for caution in whole["cautions"]]
        return frame


def shown(figure: Figure) -> Figure:
    """Let a notebook show a figure that belongs to no pyplot, and so to nobody's settings."""
    from steybrae.figures.style import picture_style  # noqa: PLC0415

    def png() -> bytes:
        import io  # noqa: PLC0415

        out = io.BytesIO()
        with picture_style():
            figure.savefig(out, format="png")
        return out.getvalue()

    figure._repr_png_ = png  # type: ignore[attr-defined]
    return figure
