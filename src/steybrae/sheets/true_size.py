"""Pages true to size: a PDF drawn in millimetres, and teaching sheets with what lets their reader check them.

Positions on a sheet are millimetres from its lower left corner, x to the right, y up. Every sheet
carries a bar of 100 mm both ways, the note to print at 100 %, and the cautions. A card's rows are laid
from the top down: there y runs down from `Canvas.from_top_mm`.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import AbstractContextManager
from importlib.resources import files
from typing import Any, Final, Literal

from steybrae import names
from steybrae.cautions import Caution
from steybrae.errors import ONE_AT_A_TIME
from steybrae.papers import paper_size_mm
from steybrae.quantities import INCH_MM
from steybrae.sheets.tagged import Kind, Tags

PT_PER_MM: Final = 72.0 / INCH_MM
"""Points of PDF in a millimetre, exact (ISO 32000-1: a unit of user space is 1/72 inch)."""

MARGIN_MM: Final = 12.0
"""Free edge, mm: more than the 5 mm that home printers leave blank (our choice)."""

LEAST_SHARE: Final = 0.72
"""Least part of its size to which a name that is too long is made smaller (our choice)."""

CHECK_MM: Final = 100.0
"""Length of the check bars, mm."""

SMALL_PT: Final = 6.0
"""Size of the smallest print, points: 2.1 mm, the least that reads well on paper (our choice)."""

CAUTION_PT: Final = 8.0
"""Size of cautions, points (our choice): never small print."""

LEADING: Final = 1.28
"""Line distance over type size (our choice)."""

Colour = tuple[float, float, float]
Points = Any
"""Points in mm: pairs, or an array of shape ``(n, 2)``."""

INK: Final[Colour] = (0.0, 0.0, 0.0)
MUTED: Final[Colour] = (0.33, 0.33, 0.33)

_FONTS: Final = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
"""Faces that come with matplotlib, plain and bold: they hold the names of most hills."""


def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415  small commands do not pay for it
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415

    folder = files("matplotlib") / "mpl-data" / "fonts" / "ttf"
    for name in _FONTS.values():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))


class Canvas:
    """A PDF in the making, one page after the other; black on white unless told otherwise.

    Parameters
    ----------
    size_mm
        Width and height of a page.
    title, subject, keywords
        Of the document: its metadata. The same drawing is the same bytes: no time is written.
    down
        Whether y runs down from `from_top_mm`, and not up from the lower edge.
    condensed
        Width of letters against the face as drawn.
    leading
        Line distance over type size.
    """

    def __init__(
        self,
        size_mm: tuple[float, float],
        title: str,
        subject: str,
        *,
        keywords: str = "",
        down: bool = False,
        condensed: float = 1.0,
        leading: float = LEADING,
    ) -> None:
        from reportlab.pdfgen.canvas import Canvas as Pages  # noqa: PLC0415

        _register_fonts()
        self.width_mm, self.height_mm = size_mm
        self.from_top_mm = 0.0
        self._down, self._condensed, self._leading = down, condensed, leading
        self._data = io.BytesIO()
        # Invariant: no clock and no random name in the file, so that the same sheet is the same bytes.
        # The first font is one of ours, which is embedded; the canvas's own would not be.
        self._canvas: Any = Pages(
            self._data,
            pagesize=(self.width_mm * PT_PER_MM, self.height_mm * PT_PER_MM),
            invariant=1,
            pageCompression=1,
            initialFontName=_FONTS[False],
        )
        self._tags = Tags(self._canvas)
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setKeywords(keywords)
        self._canvas.setCreator("steybrae")
        self._canvas.setAuthor("")

    def _at(self, point: Any) -> tuple[float, float]:
        """Points of PDF from the lower left corner."""
        y = self.height_mm - self.from_top_mm - float(point[1]) if self._down else float(point[1])
        return float(point[0]) * PT_PER_MM, y * PT_PER_MM

    def _path(self, parts: Sequence[Points], *, closed: bool) -> Any:
        """Lines through points, one after the other."""
        from reportlab.pdfgen.pathobject import PDFPathObject  # noqa: PLC0415

        code: list[str] = []
        path: Any = PDFPathObject(code)
        for points in parts:
            first, *others = (self._at(point) for point in points)
            path.moveTo(*first)
            for x, y in others:
                # As `lineTo` writes them, which takes ten times as long: seven figures, without zeros.
                if 1.0 < abs(x) < 1e6 and 1.0 < abs(y) < 1e6:
                    code.append(f"{x:.7g} {y:.7g} l")
                else:
                    path.lineTo(x, y)
            if closed:
                path.close()
        return path

    def new_page(self) -> None:
        """End this page and begin another one."""
        self._tags.end_page()

    def finish(self) -> bytes:
        """End the document and return the PDF; nothing can be drawn afterwards."""
        self._tags.end_page()
        self._tags.finish()
        from reportlab import rl_config  # noqa: PLC0415

        with ONE_AT_A_TIME:
            # Streams as bytes: in letters, which is the usual, they take a quarter more room, and longer.
            before, rl_config.useA85 = rl_config.useA85, 0
            try:
                self._canvas.save()
            finally:
                rl_config.useA85 = before
        return self._data.getvalue()

    def line_mm(self, size_pt: float) -> float:
        """Distance from base line to base line."""
        return size_pt * self._leading / PT_PER_MM

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        width_mm: float = 0.2,
        *,
        ink: Colour = INK,
        dash_mm: Sequence[float] = (),
    ) -> None:
        """Draw a straight line."""
        self.path([(x1, y1), (x2, y2)], width_mm, ink=ink, dash_mm=dash_mm)

    def path(
        self,
        points: Points,
        width_mm: float = 0.2,
        *,
        ink: Colour = INK,
        fill: Colour | None = None,
        dash_mm: Sequence[float] = (),
        closed: bool = False,
    ) -> None:
        """Draw a line through points, or a filled area; a width of 0 leaves the line out."""
        canvas, path = self._canvas, self._path([points], closed=closed)
        canvas.setStrokeColorRGB(*ink)
        canvas.setLineWidth(width_mm * PT_PER_MM)
        canvas.setDash([part * PT_PER_MM for part in dash_mm])
        if fill is not None:
            canvas.setFillColorRGB(*fill)
        with self._tags.artifact():
            canvas.drawPath(path, stroke=int(width_mm > 0.0), fill=int(fill is not None))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        line_mm: float = 0.2,
        *,
        ink: Colour = INK,
        fill: Colour | None = None,
        dash_mm: Sequence[float] = (),
    ) -> None:
        """Draw a rectangle from the corner where x and y are least."""
        self.path(box(x, y, width, height), line_mm, ink=ink, fill=fill, dash_mm=dash_mm, closed=True)

    def cut_box(self, x: float, y: float, width: float, height: float) -> None:
        """Draw the line to cut along: thin dashes, corners marked outside."""
        self.box(x, y, width, height, 0.1, ink=MUTED, dash_mm=(1.2, 0.8))
        for px in (x, x + width):
            for py in (y, y + height):
                out_x, out_y = (-1.0 if px == x else 1.0), (-1.0 if py == y else 1.0)
                self.line(px + 0.6 * out_x, py, px + 2.2 * out_x, py, 0.1)
                self.line(px, py + 0.6 * out_y, px, py + 2.2 * out_y, 0.1)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size_pt: float = 8.0,
        *,
        bold: bool = False,
        align: Literal["left", "middle", "right"] = "left",
        turn_deg: float = 0.0,
        ink: Colour = INK,
        most_mm: float | None = None,
        cut: bool = False,
    ) -> float:
        """Write one line and return its width, mm.

        Parameters
        ----------
        x, y
            Start, middle or end of the base line, as `align` says.
        most_mm
            Room there is: longer text is made smaller.
        cut
            Whether it may be cut with an ellipsis rather than made very small: names, never figures.
        """
        if most_mm is not None:
            text, size_pt = self.fitted(text, size_pt, most_mm, bold=bold, cut=cut)
        canvas = self._canvas
        width = self.text_width_mm(text, size_pt, bold=bold)
        canvas.saveState()
        canvas.setFillColorRGB(*ink)
        canvas.translate(*self._at((x, y)))
        canvas.rotate(turn_deg)
        line = canvas.beginText({"left": 0.0, "middle": -width / 2.0, "right": -width}[align] * PT_PER_MM, 0)
        line.setFont(_FONTS[bold], size_pt)
        line.setHorizScale(100.0 * self._condensed)
        line.textOut(f"{text} ")  # the blank parts it from what follows where both are read aloud
        with self._tags.element("P"):
            canvas.drawText(line)
        canvas.restoreState()
        return width

    def text_width_mm(self, text: str, size_pt: float, *, bold: bool = False) -> float:
        """Width of a line of text, mm."""
        width: float = self._canvas.stringWidth(text, _FONTS[bold], size_pt)
        return width * self._condensed / PT_PER_MM

    def fitted(
        self, text: str, size_pt: float, most_mm: float, *, bold: bool = False, cut: bool = False
    ) -> tuple[str, float]:
        """Make a text smaller until it has room, or cut it with an ellipsis; text and size."""
        share = most_mm / max(self.text_width_mm(text, size_pt, bold=bold), 1e-9)
        size_pt *= min(1.0, max(share, LEAST_SHARE) if cut else share)
        if cut:
            room_mm = most_mm + 1e-6
            text = names.cut(text, lambda name: self.text_width_mm(name, size_pt, bold=bold) <= room_mm)
        return text, size_pt

    def wrapped(
        self, text: str, width_mm: float, size_pt: float, *, bold: bool = False, whole: bool = False
    ) -> list[str]:
        """Break a text into lines no wider than asked; a longer word is cut unless it has to stay whole."""
        lines: list[str] = [""]
        for word in text.split():
            candidate = f"{lines[-1]} {word}".strip()
            if self.text_width_mm(candidate, size_pt, bold=bold) <= width_mm:
                lines[-1] = candidate
                continue
            left = word
            if lines[-1]:
                lines.append("")
            while not whole and self.text_width_mm(left, size_pt, bold=bold) > width_mm and len(left) > 1:
                fits = next(
                    k for k in range(len(left) - 1, 0, -1)
                    if k == 1 or self.text_width_mm(left[:k], size_pt, bold=bold) <= width_mm
                )  # fmt: skip
                lines[-1], left = left[:fits], left[fits:]
                lines.append("")
            lines[-1] = left
        return lines if lines[0] else []

    def paragraph(
        self,
        x: float,
        y_top: float,
        width_mm: float,
        text: str,
        *,
        size_pt: float = 8.0,
        bold: bool = False,
        ink: Colour = INK,
    ) -> float:
        """Write a text in lines below `y_top`; where the next paragraph may begin, mm."""
        below = 1.0 if self._down else -1.0
        step, rise = below * self.line_mm(size_pt), below * size_pt * 0.95 / PT_PER_MM
        y = y_top + rise
        with self._tags.element("P"):
            for line in self.wrapped(text, width_mm, size_pt, bold=bold):
                self.text(x, y, line, size_pt, bold=bold, ink=ink)
                y += step
        return y - rise + 0.25 * step

    def read_as(self, kind: Kind, words: str = "") -> AbstractContextManager[None]:
        """Let what is drawn inside be read as one piece: heading, paragraph of several texts, or picture.

        The words say what a picture shows, for those who do not see it.
        """
        return self._tags.element(kind, words)

    def clip(self, *areas: Points) -> None:
        """Confine what follows to closed areas, until `unclip`."""
        self._canvas.saveState()
        self._canvas.clipPath(self._path(areas, closed=True), stroke=0, fill=0)

    def unclip(self) -> None:
        """End the last `clip`."""
        self._canvas.restoreState()

    def shift(self, x: float, y: float) -> None:
        """Move the origin, until `unshift`."""
        self._canvas.saveState()
        self._canvas.translate(x * PT_PER_MM, y * PT_PER_MM)

    def unshift(self) -> None:
        """End the last `shift`."""
        self._canvas.restoreState()


class Sheet(Canvas):
    """A teaching sheet: a page with title, cautions at the foot, and bars to check its size.

    Parameters
    ----------
    title
        Of the document.
    cautions
        A line each at the foot of every page, 8 point; whole in the document's properties. Read after the
        title.
    paper
        ``a4`` or ``letter``.
    turned
        Whether the sheet lies on its long side.
    small
        Whether it may be on a small paper.
    """

    def __init__(
        self,
        title: str,
        cautions: Sequence[Caution],
        *,
        paper: str = "a4",
        turned: bool = False,
        small: bool = False,
    ) -> None:
        short, long = paper_size_mm(paper, small=small)
        subject = " ".join(caution.text for caution in cautions)
        super().__init__((long, short) if turned else (short, long), title, subject)
        self.title = title
        self._cautions = [caution.line for caution in cautions]
        self._page = 0
        self.bottom_mm = MARGIN_MM
        self._open_page()

    @property
    def left_mm(self) -> float:
        """Left edge of what may be drawn on: right of the upright check bar."""
        return MARGIN_MM + 6.0

    @property
    def right_mm(self) -> float:
        """Right edge of what may be drawn on."""
        return self.width_mm - MARGIN_MM

    @property
    def across_mm(self) -> float:
        """Width of what may be drawn on."""
        return self.right_mm - self.left_mm

    @property
    def top_mm(self) -> float:
        """Upper edge of what may be drawn on, below the title line."""
        return self.height_mm - MARGIN_MM - 7.0

    def across(self, y_top: float, text: str, **style: Any) -> float:
        """Write a paragraph all across; see `paragraph`."""
        return self.paragraph(self.left_mm, y_top, self.across_mm, text, **style)

    def room(self, y: float, foot_mm: float, down_mm: float = 2.0) -> float:
        """Where what would end at a foot may begin: at `y`, or on the next page where this one is full."""
        if foot_mm >= self.bottom_mm:
            return y
        self.new_page()
        return self.top_mm - down_mm

    def new_page(self) -> None:
        """End this page and begin another one with the same frame."""
        super().new_page()
        self._open_page()

    def _open_page(self) -> None:
        self._page += 1
        canvas = self._canvas
        canvas.setLineCap(0)
        canvas.setLineJoin(1)
        first = self._page == 1
        top = self.height_mm - MARGIN_MM
        with self._tags.element("H1") if first else self._tags.artifact():
            self.text(self.left_mm, top - 3.4, self.title, size_pt=11, bold=True)
        with self._tags.artifact():
            page = f"page {self._page}"
            self.text(self.right_mm, top - 3.4, page, size_pt=SMALL_PT, align="right", ink=MUTED)
        self.line(self.left_mm, top - 5.2, self.right_mm, top - 5.2, 0.25)
        with self._tags.element("P") if first else self._tags.artifact():
            self._foot()
        with self._tags.artifact():
            self._check_bars()

    def _foot(self) -> None:
        """Print the cautions at the foot and learn how high they reach."""
        lines = self.wrapped(" ".join(self._cautions), self.across_mm, CAUTION_PT)
        step = CAUTION_PT * LEADING / PT_PER_MM
        y = MARGIN_MM + step * (len(lines) - 1) + 0.6
        top = y + 2.9
        self.line(self.left_mm, top, self.right_mm, top, 0.25)
        for line in lines:
            self.text(self.left_mm, y, line, size_pt=CAUTION_PT)
            y -= step
        self.bottom_mm = top

    def _check_bars(self) -> None:
        """Draw 100 mm both ways, in steps of 10 mm, and how to print."""
        x, y = self.left_mm, self.bottom_mm + 3.0
        self._bar(x, y, along="x")
        note = "Print at 100 % (actual size); both bars must measure 100 mm."
        if x + CHECK_MM + 3.0 + self.text_width_mm(note, SMALL_PT) <= self.right_mm:
            self.text(x + CHECK_MM + 3.0, y - 0.2, note, size_pt=SMALL_PT)
        else:  # a narrow paper: above the bar
            self.text(x, y + 5.2, note, size_pt=SMALL_PT)
            self.bottom_mm += 3.0
        self._bar(MARGIN_MM - 3.0, self.bottom_mm + 12.0, along="y")
        self.bottom_mm += 9.0

    def _bar(self, x: float, y: float, along: Literal["x", "y"]) -> None:
        dx, dy = (1.0, 0.0) if along == "x" else (0.0, 1.0)
        self.line(x, y, x + CHECK_MM * dx, y + CHECK_MM * dy, 0.18)
        for k in range(11):
            reach = 1.8 if k % 5 == 0 else 1.1
            px, py = x + 10.0 * k * dx, y + 10.0 * k * dy
            self.line(px, py, px + reach * dy, py + reach * dx, 0.18)
        for at, label in ((0.0, "0"), (50.0, "50"), (CHECK_MM, "100")):
            px, py = (x + at, y + 2.3) if along == "x" else (x + 2.3, y + at - 0.6)
            self.text(px, py, label, size_pt=SMALL_PT, align="middle" if along == "x" else "left")


def box(x: float, y: float, width: float, height: float) -> list[tuple[float, float]]:
    """Corners of a rectangle."""
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
