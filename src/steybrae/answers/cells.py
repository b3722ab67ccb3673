"""Cells of a model in each band of slope."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from steybrae.document import Cautions, Column, Document, Paragraph, Table
from steybrae.value import UNKNOWN

if TYPE_CHECKING:
    from steybrae.screening.ground.cells import GroundCells

_COLUMNS: Final = (
    Column("band", "slope (degrees)", lambda row: row[0], align="left"),
    Column("cells", "cells", lambda row: str(row[1])),
)


def cells_document(found: GroundCells) -> Document:
    """Make the table of cells by band, unknown last, and what the slopes rest on.

    Parameters
    ----------
    found
        Slopes of all cells.
    """
    rows, cols = found.slope_deg.shape
    title = f"{', '.join(found.model_files)}: slope of {rows} x {cols} cells, over {found.baseline_m:.0f} m"
    counted = (*zip(found.labels, found.cells, strict=True), (UNKNOWN, found.unknown_cells))
    blocks = (
        Paragraph(title, strong=True),
        Table(_COLUMNS, counted),
        Paragraph(found.basis),
        Cautions(found.cautions),
    )
    return Document(title, blocks)
