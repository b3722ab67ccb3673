"""How much ground is looked at at once: more is refused in a sentence before the memory is taken."""

from __future__ import annotations

from typing import Final

from steybrae.errors import ModelError

MOST_CELLS_SLOPES: Final = 4_000_000
"""Most cells of one window whose slopes are worked out (our choice: 0.9 GB with all that goes with them,
measured; a circle of 500 m on cells of half a metre)."""

MOST_CELLS_OVERHEAD: Final = 6_000_000
"""Most joined cells of one window that is looked up in (our choice: 0.9 GB, measured; 10 km to every side
on cells of 10 m)."""


def check_cells(rows: int, cols: int, most: int, what: str, instead: str) -> None:
    """Refuse a window of too many cells.

    Parameters
    ----------
    rows, cols
        Its size.
    most
        Cells at the most.
    what
        Which ground it is, as a subject.
    instead
        What the user may do, besides giving a coarser model.

    Raises
    ------
    ModelError
        It has more.
    """
    if rows * cols > most:
        message = (
            f"{what} should span at most {most // 10**6} million cells of the model; it spans {rows} x {cols}"
            f". Give {instead}, or a coarser model."
        )
        raise ModelError(message)
