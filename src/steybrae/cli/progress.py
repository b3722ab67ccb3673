"""A bar with the time left, for whoever waits at a terminal; nothing in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final

Told = Callable[[str, int, int], None]
"""Told what is done, how many of it are done, and of how many."""

SHOWN_AFTER_S: Final = 1.0
"""Wait that needs no bar, seconds (our choice): what shows it takes a twentieth of that to load."""


@contextmanager
def progress(after_s: float = SHOWN_AFTER_S) -> Iterator[Told]:
    """Give what is to be told how far the work is; it shows a bar on a terminal where that takes long."""
    bars = _Bars(time.monotonic() + after_s) if sys.stderr.isatty() else None
    try:
        yield _told_nobody if bars is None else bars.told
    finally:
        if bars is not None:
            bars.close()


def _told_nobody(what: str, done: int, of: int) -> None:
    pass


class _Bars:
    """A bar for each thing that is done, from some time on."""

    def __init__(self, from_s: float) -> None:
        self._from_s = from_s
        self._shown: Any = None
        self._tasks: dict[str, Any] = {}

    def told(self, what: str, done: int, of: int) -> None:
        """Move a bar on."""
        if self._shown is None:
            if time.monotonic() < self._from_s:
                return
            self._shown = _shown()
        if what not in self._tasks:
            self._tasks[what] = self._shown.add_task(what, total=None)
        self._shown.update(self._tasks[what], completed=done, total=of)

    def close(self) -> None:
        """Take the bars away."""
        if self._shown is not None:
            self._shown.stop()


def _shown() -> Any:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    shown = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    shown.start()
    return shown
