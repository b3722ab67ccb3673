"""Papers to print on: a size added here is one for the card and for every sheet that has room on it."""

from __future__ import annotations

from typing import Final

from steybrae.errors import one_of

PAPERS_MM: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}
"""Width and height, mm, upright: ISO 216, and 8.5 by 11 inches (ANSI/ASME Y14.1)."""

SMALL_MM: Final = 180.0
"""Narrower papers have no room for combs of 172 mm and for tables, mm; a card lies on them."""

_ROUND_MAP_MM: Final = (38.0, 93.0)
"""What a sheet leaves beside and above its map, mm: margins, title, scale bar, cautions (our choice)."""


def papers(*, small: bool = False) -> list[str]:
    """Names of the papers to choose from; `small` adds those narrower than `SMALL_MM`."""
    return [paper for paper, (width_mm, _) in PAPERS_MM.items() if small or width_mm >= SMALL_MM]


def paper_size_mm(name: str, *, small: bool = False) -> tuple[float, float]:
    """Width and height of one of `PAPERS_MM`, in any case, upright, mm; a `QuantityError` for any other.

    Papers narrower than `SMALL_MM` are taken where `small`.
    """
    one_of(name.lower(), papers(small=small), "The paper")
    return PAPERS_MM[name.lower()]


def card_size_mm(name: str) -> tuple[float, float]:
    """Width and height of a card: a paper upright, which folds into two halves, or a small one lying."""
    width_mm, height_mm = paper_size_mm(name, small=True)
    return (width_mm, height_mm) if width_mm >= SMALL_MM else (height_mm, width_mm)


def map_frame_mm(name: str) -> tuple[float, float]:
    """Largest frame of a map on a sheet, even millimetres."""
    width_mm, height_mm = (
        2.0 * ((size - left) // 2.0) for size, left in zip(paper_size_mm(name), _ROUND_MAP_MM, strict=True)
    )
    return width_mm, height_mm
