"""What a desk was opened with, and the threads that serve it."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import field, replace
from pathlib import Path
from typing import Any, Final
from weakref import WeakKeyDictionary

from steybrae.card.settings import CardSettings
from steybrae.cautions import Caution
from steybrae.desk.engine import Engine
from steybrae.desk.readers import LATER, ModelThreads
from steybrae.desk.tiles.cells import LONGEST_REST_S, TileView
from steybrae.desk.tiles.draw import Layer, MapDrawing
from steybrae.errors import ModelError
from steybrae.files.model.rasters import RasterModel
from steybrae.forecast.bulletin import BulletinFile
from steybrae.frozen import dataclass
from steybrae.raster.job import AreaJob
from steybrae.route.legs import Route
from steybrae.screening.forecast.at import ForecastAsk
from steybrae.screening.known import Settings
from steybrae.screening.origin import RunOrigin
from steybrae.screening.result import LegScreening

_M_ARENA_MAX: Final = -8
"""Number of the setting, from glibc's ``malloc.h``."""

ARENAS: Final = 2
"""Pools that memory is taken from (our choice). glibc makes one for each thread, to eight times the
processors, and what is free in one is of no use to another: 30 MB and more of a desk."""


@dataclass(frozen=True)
class DeskAsk:
    """What was asked for when the desk was opened.

    Attributes
    ----------
    paths, z_unit
        The model.
    settings
        How lines are screened; `Desk.settings` adds where the model came from.
    lines
        Lines to begin with, the main one first; may be empty.
    forecast
        The bulletin and what is asked of it.
    card
        The user's map and pace, and what is known of the day.
    cautions
        What was taken from the file of settings.
    origin
        What was typed, the command by its options alone, and the bulletin that was read.
    """

    paths: tuple[Path, ...]
    settings: Settings
    card: CardSettings
    z_unit: str | None = None
    lines: tuple[Route, ...] = ()
    forecast: tuple[BulletinFile, ForecastAsk] | None = None
    cautions: tuple[Caution, ...] = ()
    origin: RunOrigin = field(default_factory=lambda: RunOrigin("", ()))


class Desk:
    """An open desk; `close` ends its threads.

    Parameters
    ----------
    ask
        What was asked for.

    Attributes
    ----------
    ask
        The same.
    grid, info
        Of the model.
    settings
        How lines are screened, the model not yet looked at (`model_found`).
    answers
        A thread for lines.
    looks
        A thread for what is under the pointer.
    engine
        Answers lines; made in their thread when the first is asked about.
    told
        What was told of legs; forgotten with the legs themselves.
    drawing
        Threads for the map.
    map
        Draws its tiles.
    """

    def __init__(self, ask: DeskAsk) -> None:
        # Before there are threads.
        _glibc("mallopt", _M_ARENA_MAX, ARENAS)
        self.ask = ask
        self.answers, self.looks = (ModelThreads(ask.paths, ask.z_unit) for _ in range(2))
        self.engine: Engine | None = None
        self.told: WeakKeyDictionary[LegScreening, Any] = WeakKeyDictionary()
        self.drawing = ModelThreads(ask.paths, ask.z_unit, 2)
        try:
            self.grid, self.info = self.looks.call(lambda model: (model.grid, model.info))
        except BaseException:
            self.close()
            raise
        self._began = self.info.state()
        self.settings = replace(ask.settings, origin=self.info.origin())
        # The map shows what a whole raster of the same settings would.
        job = AreaJob(ask.paths, settings=ask.settings, z_unit=ask.z_unit)
        self.map = MapDrawing(job, self.grid, self.settings)
        self.map.cells.look_at_all(self.drawing, self.answers.idle)

    def check_unchanged(self) -> None:
        """Refuse where a file of the model was written to: heights of two models would be mixed."""
        if self.info.state() != self._began:
            message = (
                f"The elevation model {', '.join(self.info.files)} should stay as it is while the desk is "
                "open; one of its files was written to or is gone. Save the lines as GPX, and open the desk "
                "anew with it."
            )
            raise ModelError(message)

    def meanwhile(self, work: Callable[[RasterModel], Any]) -> Future[Any]:
        """Have ground made ready for the answers to come, while nobody waits."""

        def done(model: RasterModel) -> Any:
            _give_back()
            made = work(model)
            _give_back()
            return made

        return self.drawing.submit(done, when=LATER)

    def tile(self, model: RasterModel, layer: Layer, view: TileView) -> bytes:
        """Draw a tile of the map, after the answer that is being worked out unless that takes long."""
        self.answers.idle.wait(LONGEST_REST_S)
        return self.map.tile(model, layer, view)

    def close(self) -> None:
        """End the threads and close the model."""
        for threads in (self.answers, self.looks, self.drawing):
            threads.close()


def _give_back() -> None:
    """Give the system what large arrays left free, some 80 MB; takes milliseconds at the most."""
    _glibc("malloc_trim", 0)


def _glibc(name: str, *numbers: int) -> None:
    """Call a function of glibc, which keeps much memory; nothing where there is another C library."""
    if sys.platform == "linux" and (function := getattr(ctypes.CDLL(None), name, None)) is not None:
        function(*numbers)
