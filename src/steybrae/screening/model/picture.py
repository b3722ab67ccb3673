"""What was looked at of a model, thinned for a picture, and one piece at full size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from steybrae.screening.model.look import Corner
from steybrae.screening.model.result import ModelPicture, SeamAt
from steybrae.terrain.dem import Dem
from steybrae.terrain.examine.found import seams_in
from steybrae.terrain.examine.marks import Marks, joined
from steybrae.terrain.jacobian import cell_size_m

MOST_SIDE: Final = 600
"""Most rows or columns of the picture (our choice)."""

CLOSE: Final = 96
"""Cells of the piece at full size, along a side (our choice): single rows are seen."""


class Drawn:
    """Collects blocks for the picture: the steepest of many cells in one, unknown where one is."""

    def __init__(self, shape: tuple[int, int], side: int) -> None:
        self.step = max(1, -(-max(shape) // MOST_SIDE))
        size = [-(-count // self.step) for count in shape]
        self._slope = np.full(size, np.nan)
        self._looked = np.zeros(size, dtype=np.bool_)
        self._unknown = np.zeros(size, dtype=np.bool_)
        self._side = side
        self._close: tuple[float, Dem] | None = None

    def add(self, corner: Corner, dem: Dem, slope: np.ndarray) -> None:
        """Add a block and its slopes."""
        rows, cols = slope.shape
        row = (corner[0] + np.arange(rows)) // self.step
        col = (corner[1] + np.arange(cols)) // self.step
        at = np.broadcast_arrays(row[:, None], col[None, :])
        self._looked[at[0], at[1]] = True
        known = np.isfinite(slope)
        self._unknown[at[0][~known], at[1][~known]] = True
        steepest = np.where(np.isnan(self._slope), -1.0, self._slope)
        np.maximum.at(steepest, (at[0][known], at[1][known]), slope[known])
        self._slope = np.where(steepest < 0.0, np.nan, steepest)
        self._keep_close(dem)

    def _keep_close(self, dem: Dem) -> None:
        """Keep the piece with the most relief among those without voids; else with the fewest."""
        rows, cols = dem.heights_m.shape
        for row in range(0, max(rows - CLOSE, 0) + 1, CLOSE):
            for col in range(0, max(cols - CLOSE, 0) + 1, CLOSE):
                piece = dem.read(row, col, min(CLOSE, rows), min(CLOSE, cols))
                known = np.isfinite(piece.heights_m)
                if not known.any():
                    continue
                score = float(np.nanstd(piece.heights_m)) - 1e6 * float((~known).mean())
                if self._close is None or score > self._close[0]:
                    self._close = (score, piece)

    def picture(self, marks: Sequence[Marks], places: Sequence[Corner]) -> ModelPicture:
        """Give the picture of all blocks.

        Parameters
        ----------
        marks, places
            Of each block that holds heights, and where it begins.
        """
        assert self._close is not None  # noqa: S101  a block without heights is not added
        piece = self._close[1]
        seams = self._seams(marks, places) if seams_in(joined(marks)) else ()
        return ModelPicture(
            np.where(self._unknown, np.nan, self._slope),
            self._looked,
            self.step,
            piece.heights_m,
            cell_size_m(piece.grid),
            seams,
        )

    def _seams(self, marks: Sequence[Marks], places: Sequence[Corner]) -> tuple[SeamAt, ...]:
        found = []
        for one, (row, col) in zip(marks, places, strict=True):
            for seam in one.seams:
                across = (float(col), float(col + self._side))
                down = (float(row), float(row + self._side))
                at = seam.at + 1.0
                place = SeamAt(down, across, seam.step_m)
                found.append(
                    replace(place, cols=(col + at, col + at))
                    if seam.axis == "column"
                    else replace(place, rows=(row + at, row + at))
                )
        return tuple(found)
