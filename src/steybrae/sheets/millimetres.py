"""Paper in millimetres: a PDF drawn from the top left corner, true to size.

A point of PDF is 1/72 inch; reportlab's own ``mm`` is used for every length, so that 100 mm on
paper are 100 mm where the printer is told not to scale. Black on white throughout.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

from steybrae.sheets.tagged import Tags

POINT_MM: Final = 25.4 / 72.0
"""A typographic point in millimetres (PDF: 72 to the inch)."""

CONDENSED: Final = 0.9
"""Width of letters against the face as drawn: a wide face, and many figures in a row (our choice)."""

LEAST_SHARE: Final = 0.72
"""Least part of its size to which a name that is too long is made smaller (our choice)."""

_FACES: Final = {False: "DejaVuSans", True: "DejaVuSans-Bold"}


@dataclass(frozen=True)
class PaperFacts:
    """What a PDF says of itself in its metadata."""

    title: str
    subject: str
    keywords: str


@cache
def _faces() -> dict[bool, str]:
    """Register the faces that come with matplotlib: they hold the names of most hills."""
    import matplotlib as mpl  # noqa: PLC0415
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415

    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for face in _FACES.values():
        pdfmetrics.registerFont(TTFont(face, folder / f"{face}.ttf"))
    return dict(_FACES)


class Paper:
    """Pages to draw on; lengths in mm, y downwards from `top_mm`, sizes of letters in points.

    Parameters
    ----------
    size_mm
        Width and height of a page.
    facts
        For the metadata. The same drawing is the same bytes: no time is written.
    """

    def __init__(self, size_mm: tuple[float, float], facts: PaperFacts) -> None:
        from reportlab.lib.units import mm  # noqa: PLC0415
        from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415

        self._mm: float = mm
        self._faces = _faces()
        self._held = io.BytesIO()
        self._height_mm = size_mm[1]
        self.top_mm = 0.0
        size = (size_mm[0] * mm, size_mm[1] * mm)
        # The first font is one of ours, which is embedded; the canvas's own would not be.
        self._canvas: Any = Canvas(
            self._held, pagesize=size, invariant=1, lang="en", initialFontName=self._faces[False]
        )
        self._tags = Tags(self._canvas)
        self._canvas.setTitle(facts.title)
        self._canvas.setSubject(facts.subject)
        self._canvas.setKeywords(facts.keywords)
        self._canvas.setCreator("steybrae")
        self._canvas.setAuthor("")

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * self._mm, (self._height_mm - self.top_mm - y_mm) * self._mm

    def next_page(self) -> None:
        """Begin a new page."""
        self._tags.end_page()

    def content(self) -> bytes:
        """Close the pages and return the PDF; nothing can be drawn afterwards."""
        if self._canvas._code:
            self._tags.end_page()
        self._tags.finish()
        self._canvas.save()
        return self._held.getvalue()

    def width_mm(self, text: str, size_pt: float, *, bold: bool = False) -> float:
        """Width of a text."""
        width = self._canvas.stringWidth(text, self._faces[bold], size_pt)
        return float(width) * CONDENSED / self._mm

    def wrapped(self, text: str, width_mm: float, size_pt: float, *, bold: bool = False) -> list[str]:
        """Break a text into lines at its spaces."""
        lines: list[str] = []
        for word in text.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.width_mm(longer, size_pt, bold=bold) <= width_mm:
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        size_pt: float,
        *,
        bold: bool = False,
        align: Literal["left", "centre", "right"] = "left",
        most_mm: float | None = None,
        cut: bool = False,
    ) -> float:
        """Write one line and return its width in mm.

        Parameters
        ----------
        x_mm, y_mm
            Start, middle or end of the baseline.
        text, size_pt, bold
            What and how.
        align
            What `x_mm` is.
        most_mm
            Room there is: longer text is made smaller.
        cut
            Whether it may be cut with an ellipsis rather than made very small: names, never figures.
        """
        if most_mm is not None:
            text, size_pt = self.fitted(text, size_pt, most_mm, bold=bold, cut=cut)
        width = self.width_mm(text, size_pt, bold=bold)
        x_mm -= {"left": 0.0, "centre": width / 2.0, "right": width}[align]
        line = self._canvas.beginText(*self._at(x_mm, y_mm))
        line.setFont(self._faces[bold], size_pt)
        line.setHorizScale(100.0 * CONDENSED)
        line.textOut(f"{text} ")  # the blank parts it from what follows where both are read aloud
        with self._tags.element("P"):
            self._canvas.drawText(line)
        return width

    def fitted(
        self, text: str, size_pt: float, most_mm: float, *, bold: bool, cut: bool
    ) -> tuple[str, float]:
        """Make a text smaller until it has room, or cut it with an ellipsis; text and size."""
        share = most_mm / max(self.width_mm(text, size_pt, bold=bold), 1e-9)
        size_pt *= min(1.0, max(share, LEAST_SHARE) if cut else share)
        whole = text
        while cut and self.width_mm(text, size_pt, bold=bold) > most_mm + 1e-6 and len(whole) > 1:
            whole = whole[:-1]
            text = f"{whole.rstrip()}…"
        return text, size_pt

    def paragraph(
        self, x_mm: float, y_mm: float, text: str, width_mm: float, size_pt: float, *, bold: bool = False
    ) -> float:
        """Write wrapped lines from a first baseline; return the baseline after the last."""
        with self._tags.element("P"):
            for line in self.wrapped(text, width_mm, size_pt, bold=bold):
                self.text(x_mm, y_mm, line, size_pt, bold=bold)
                y_mm += line_mm(size_pt)
        return y_mm

    def rule(
        self,
        start_mm: tuple[float, float],
        end_mm: tuple[float, float],
        width_pt: float = 0.5,
        *,
        dots: bool = False,
    ) -> None:
        """Draw a straight line."""
        self._canvas.setLineWidth(width_pt)
        self._canvas.setDash(*(([0.6, 2.0], 0) if dots else ([], 0)))
        with self._tags.artifact():
            self._canvas.line(*self._at(*start_mm), *self._at(*end_mm))

    def box(self, x_mm: float, y_mm: float, size_mm: tuple[float, float], width_pt: float = 0.8) -> None:
        """Draw an empty rectangle from its top left corner."""
        self._canvas.setLineWidth(width_pt)
        self._canvas.setDash([], 0)
        x, y = self._at(x_mm, y_mm + size_mm[1])
        with self._tags.artifact():
            self._canvas.rect(x, y, size_mm[0] * self._mm, size_mm[1] * self._mm, stroke=1, fill=0)


def line_mm(size_pt: float) -> float:
    """Distance from baseline to baseline: 1.2 times the size (common practice, no source)."""
    return 1.2 * size_pt * POINT_MM
