"""Answers to moved lines: what a moved point changes is screened, the rest is taken from answers before.

Heights round the lines are read once: a small window costs GDAL as much as a block of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import product
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.card.times import usual_time
from steybrae.cautions import SAME_CELLS, HeightsRead
from steybrae.errors import SteybraeError
from steybrae.files.model.heights import same_squares
from steybrae.files.model.rasters import RasterModel
from steybrae.forecast.bulletin import BulletinFile
from steybrae.frozen import dataclass
from steybrae.route.kept import Kept, Submit, squares_within
from steybrae.route.legs import Route
from steybrae.screening.compared import RouteLines, compared
from steybrae.screening.forecast.at import ForecastAsk, forecast_beside, of_now
from steybrae.screening.known import Settings
from steybrae.screening.model.look import found_near
from steybrae.screening.pictures.relief import with_relief
from steybrae.screening.result import RouteScreening
from steybrae.screening.screen import screen_route
from steybrae.terrain.dem import Array, Dem


@dataclass(frozen=True, eq=False)
class Answered:
    """What is answered for the lines of a plan; `found` is the one asked about, screened as it is alone.

    `beside` are all lines side by side; None where there is one only, or they cannot be held so:
    why, `without` says.
    """

    found: RouteScreening
    beside: RouteLines | None
    without: str = ""


class Engine:
    """Answers lines on one open model, in the thread that it belongs to.

    Parameters
    ----------
    model
        Open as long as this is asked.
    settings
        How lines are screened, the model not yet looked at.
    forecast
        The bulletin, and what is asked of it.
    submit
        Where ground for the next answers is made ready after one; None makes it when it is asked for.

    Attributes
    ----------
    kept
        What the last answers rest on.
    """

    def __init__(
        self,
        model: RasterModel,
        settings: Settings,
        forecast: tuple[BulletinFile, ForecastAsk] | None = None,
        submit: Submit[Any] | None = None,
    ) -> None:
        self._model, self._settings, self._forecast, self._submit = model, settings, forecast, submit
        self._near = NearHeights(model)
        self.kept = Kept(self._near)

    def answer(self, routes: Sequence[Route], active: int, left: Callable[[], bool] = bool) -> Answered:
        """Answer lines, the main one first, of which one is asked about.

        `LeftError` where nobody waited any longer; what was worked out till then is kept.
        """
        self.kept.turn(left)
        found = self.screened(routes[active])
        if self._submit is not None:
            for prepare in self.kept.meanwhile:
                prepare(self._submit)
        if self._forecast is not None:
            found = forecast_beside(found, *of_now(*self._forecast))
        if len(routes) == 1:
            return Answered(found, None)
        try:
            main = found if active == 0 else self.screened(routes[0])
            return Answered(found, compared(routes, main, self.screened, usual_time))
        except SteybraeError as error:
            return Answered(found, None, str(error))

    def shifted(self, route: Route, shifts_m: Sequence[float]) -> RouteLines:
        """Move a line to either side; see `steybrae.screening.compared.compared`."""
        self.kept.turn()
        return compared([route], self.screened(route), self.screened, usual_time, shifts_m)

    def pictured(self, routes: Sequence[Route], *, for_forecast: bool | None = None) -> RouteScreening:
        """Screen a line with those beside it, and with the ground round it for pictures."""
        self.kept.turn()
        found = self.screened(routes[0], for_forecast=for_forecast)
        if len(routes) > 1:
            found = compared(routes, found, self.screened, usual_time)
        return with_relief(found, self._model)

    def screened(self, route: Route, *, for_forecast: bool | None = None) -> RouteScreening:
        """Screen a line as if it had been given alone: the model is looked at near it."""
        own = replace(self._settings, model_found=found_near(self._near, route.points, self.kept))
        grounds = self._forecast is not None if for_forecast is None else for_forecast
        return screen_route(route, self._near, own, for_forecast=grounds, kept=self.kept)


BLOCK: Final = 256
"""Side of a block that is kept, cells (our choice: that of most files); whole squares of `SAME_CELLS`."""

MOST_BLOCKS: Final = 64
"""Blocks that are kept, half a megabyte each (our choice: a line of some kilometres on cells of 2 m)."""

MOST_CELLS: Final = 4 * BLOCK**2
"""Larger windows are read as they are: those for what stands overhead."""


@dataclass(frozen=True, eq=False)
class _Block:
    heights_m: Array
    as_it_is: bool
    squares: NDArray[np.intp]


class NearHeights:
    """Heights of an open model by window, those of small windows from blocks that are kept.

    A `steybrae.terrain.dem.DemSource` that gives and counts the same as the model, which stays
    open.
    """

    def __init__(self, model: RasterModel) -> None:
        self._model, self.grid = model, model.grid
        self._block = lru_cache(MOST_BLOCKS)(self._read_block)
        self.meet, self.cells_in, self.count_anew = model.meet, model.cells_in, model.count_anew

    @property
    def heights_read(self) -> HeightsRead:
        """What was met among the heights read so far."""
        return self._model.heights_read

    @property
    def met(self) -> tuple[int, int, int]:
        """Counts behind `heights_read`."""
        return self._model.met

    @property
    def noted(self) -> list[NDArray[np.intp]] | None:
        """Squares of one number that are met are added, where this is a list."""
        return self._model.noted

    @noted.setter
    def noted(self, squares: list[NDArray[np.intp]] | None) -> None:
        self._model.noted = squares

    def read(self, row: int, col: int, rows: int, cols: int) -> Dem:
        """Heights of a window; see `RasterModel.read`."""
        if rows * cols > MOST_CELLS:
            return self._model.read(row, col, rows, cols)
        down, across = (
            range(at // BLOCK, (at + size - 1) // BLOCK + 1) for at, size in ((row, rows), (col, cols))
        )
        blocks = {place: self._block(*place) for place in product(down, across)}
        if any(block.as_it_is for block in blocks.values()):
            return self._model.read(row, col, rows, cols)
        heights = np.empty((rows, cols))
        for (high, wide), block in blocks.items():
            top, left = high * BLOCK - row, wide * BLOCK - col
            into = heights[max(top, 0) : top + BLOCK, max(left, 0) : left + BLOCK]
            into[...] = block.heights_m[
                max(-top, 0) : max(-top, 0) + into.shape[0], max(-left, 0) : max(-left, 0) + into.shape[1]
            ]
        squares = np.concatenate([block.squares for block in blocks.values()])
        squares = squares_within(squares, row, col, rows, cols)
        self.meet((self.cells_in(row, col, rows, cols), 0, len(squares) * SAME_CELLS**2))
        if self.noted is not None:
            self.noted.append(squares)
        return Dem(self.grid.part(row, col, rows, cols), heights)

    def _read_block(self, down: int, across: int) -> _Block:
        before, noted = self.met, self.noted
        self.noted = None
        try:
            dem = self._model.read(down * BLOCK, across * BLOCK, BLOCK, BLOCK)
        finally:
            self.noted = noted
        cells, absurd, same = (now - then for now, then in zip(self.met, before, strict=True))
        self.meet((-cells, -absurd, -same))
        squares = same_squares(dem.heights_m, down * BLOCK, across * BLOCK)
        return _Block(dem.heights_m, absurd > 0 or bool(dem.others_m), squares)
