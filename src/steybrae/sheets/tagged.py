"""Tags of a PDF: its texts in reading order, as headings and paragraphs, its pictures with words for them.

A screen reader follows the structure tree of a tagged PDF, not where ink lies (ISO 32000-1, 14.7 and
14.8). What carries no tag is marked as an artifact and passed over.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final, Literal

from steybrae.frozen import dataclass

Kind = Literal["H1", "H2", "P", "Figure"]
"""Standard structure types (ISO 32000-1, 14.8.4)."""

_LANGUAGE: Final = "en-GB"


@dataclass(frozen=True)
class _Element:
    """A piece of content: its kind, and words in place of what is drawn."""

    kind: Kind
    alt: str


class Tags:
    """The structure tree of a PDF in the making; pages of its canvas are to be ended by `end_page`."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas
        self._pages: list[list[_Element]] = [[]]
        self._open = False

    @contextmanager
    def element(self, kind: Kind, alt: str = "") -> Iterator[None]:
        """Tag what is written inside; within an open element nothing is tagged anew."""
        mark = len(self._pages[-1])
        if not self._open:
            self._pages[-1].append(_Element(kind, alt))
        with self._marked(f"/{kind} <</MCID {mark}>> BDC"):
            yield

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """Mark what is drawn inside as nothing to read, unless it belongs to an open element."""
        with self._marked("/Artifact BMC"):
            yield

    @contextmanager
    def _marked(self, operator: str) -> Iterator[None]:
        if self._open:
            yield
            return
        code: list[str] = self._canvas._code  # operators that the canvas joins to the page's content
        code.append(operator)
        self._open = True
        try:
            yield
        finally:
            self._open = False
            code.append("EMC")

    def end_page(self) -> None:
        """End the canvas's page."""
        self._canvas.showPage()
        page = self._canvas._doc.Pages.pages[-1]
        # reportlab writes the entries of a page that it knows; this one names its list of tags.
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
        page.StructParents = len(self._pages) - 1
        self._pages.append([])

    def finish(self) -> None:
        """Write the tree into the document's catalogue."""
        from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFString  # noqa: PLC0415

        document = self._canvas._doc
        root, whole = PDFDictionary(), PDFDictionary()
        root_at, whole_at = document.Reference(root), document.Reference(whole)
        by_page = [
            [
                document.Reference(_leaf(one, mark, whole_at, document.Reference(page)))
                for mark, one in enumerate(found)
            ]
            for page, found in zip(document.Pages.pages, self._pages, strict=False)
        ]
        whole.dict |= {
            "Type": PDFName("StructElem"),
            "S": PDFName("Document"),
            "P": root_at,
            "K": PDFArray([leaf for leaves in by_page for leaf in leaves]),
        }
        numbered = [part for number, leaves in enumerate(by_page) for part in (number, PDFArray(leaves))]
        root.dict |= {
            "Type": PDFName("StructTreeRoot"),
            "K": whole_at,
            "ParentTree": document.Reference(PDFDictionary({"Nums": PDFArray(numbered)})),
            "ParentTreeNextKey": len(by_page),
        }
        document.Catalog.StructTreeRoot = root
        document.Catalog.MarkInfo = PDFDictionary({"Marked": "true"})
        document.Catalog.Lang = PDFString(_LANGUAGE)


def _leaf(one: _Element, mark: int, parent: Any, page: Any) -> Any:
    from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFName, PDFString  # noqa: PLC0415

    entries = {"Type": PDFName("StructElem"), "S": PDFName(one.kind), "P": parent, "Pg": page, "K": mark}
    return PDFDictionary(entries | ({"Alt": PDFString(one.alt)} if one.alt else {}))
