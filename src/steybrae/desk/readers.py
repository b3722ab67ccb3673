"""Threads that each hold the model open: GDAL's files belong to the thread that opened them."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from pathlib import Path
from queue import PriorityQueue
from typing import Any, Final, TypeVar

from steybrae.files.model.rasters import CACHE_BYTES, RasterModel, open_model
from steybrae.raster.files.heights import this_thread

Found = TypeVar("Found")

_Work = Callable[[RasterModel | Exception], None]

SOON: Final = 0
"""Work that somebody waits for."""

LATER: Final = 1
"""Work that is done while nobody waits."""


TILE_CELLS: Final = 512
"""Side to which a block of a file is a tile, cells (our choice)."""

TILED_CACHE_BYTES: Final = 16 * 2**20
"""GDAL's block cache for models in tiles (our choice): blocks of heights are kept besides, and wider
windows read once."""


def _cache_bytes(model: RasterModel) -> int:
    """Bytes of GDAL's cache, which all threads share: a strip is read for each block that it crosses."""
    tiled = all(max(tile.data.block_shapes[0]) <= TILE_CELLS for tile in model.tiles)
    return TILED_CACHE_BYTES if tiled else CACHE_BYTES


class ModelThreads:
    """Some threads, each with the model open, that share one queue of work.

    Parameters
    ----------
    paths, z_unit
        Of the model, as for `steybrae.files.model.rasters.open_model`.
    count
        How many threads.

    Attributes
    ----------
    idle
        Set while nobody waits for them.
    """

    def __init__(self, paths: Sequence[Path], z_unit: str | None, count: int = 1) -> None:
        self.idle = threading.Event()
        self.idle.set()
        self._asked, self._lock = 0, threading.Lock()
        self._order = itertools.count()
        self._work: PriorityQueue[tuple[int, int, _Work | None]] = PriorityQueue()
        self._threads = [
            threading.Thread(target=self._run, args=(tuple(paths), z_unit), daemon=True) for _ in range(count)
        ]
        for thread in self._threads:
            thread.start()

    def submit(self, function: Callable[..., Found], *args: Any, when: int = SOON) -> Future[Found]:
        """Have ``function(model, *args)`` called in one of the threads, with the model that it has open.

        What is to be done `LATER` waits for all that is to be done `SOON`.
        """
        future: Future[Found] = Future()

        def work(model: RasterModel | Exception) -> None:
            if not future.set_running_or_notify_cancel():
                return
            try:
                if isinstance(model, Exception):
                    raise model  # noqa: TRY301  as every other error
                future.set_result(function(model, *args))
            except Exception as error:
                future.set_exception(error)

        if when == SOON:
            self._waited_for(1)
            future.add_done_callback(lambda _: self._waited_for(-1))
        self._work.put((when, next(self._order), work))
        return future

    def call(self, function: Callable[..., Found], *args: Any) -> Found:
        """Call ``function(model, *args)`` in one of the threads and wait for its result."""
        return self.submit(function, *args).result()

    def close(self) -> None:
        """Let the threads end after what is to be done soon; the model is closed with them."""
        for _ in self._threads:
            self._work.put((SOON, next(self._order), None))
        for thread in self._threads:
            thread.join()

    def _waited_for(self, more: int) -> None:
        with self._lock:
            self._asked += more
            (self.idle.clear if self._asked else self.idle.set)()

    def _run(self, paths: tuple[Path, ...], z_unit: str | None) -> None:
        try:
            with open_model(paths, z_unit) as model, this_thread(_cache_bytes(model)):
                self._serve(model)
        except Exception as error:
            self._serve(error)

    def _serve(self, model: RasterModel | Exception) -> None:
        while True:
            _, _, work = self._work.get()
            if work is None:
                return
            work(model)
