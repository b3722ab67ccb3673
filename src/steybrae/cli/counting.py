"""How far the screening of a line is, for the bar of who waits."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar

from steybrae.cli.progress import Told
from steybrae.route.kept import Kept
from steybrae.route.legs import Track, stretches
from steybrae.route.overhead.windows import STRETCH_M

T = TypeVar("T")


class Counting(Kept):
    """Keeps nothing, and tells how many steps of a line are done: of each leg what is overhead, and itself.

    How it tells: see `steybrae.cli.progress.progress`. Matching start zones with a forecast is a
    step more.
    """

    def __init__(self, told: Told, what: str, *, for_forecast: bool = False) -> None:
        super().__init__()
        self._told, self._what = told, what
        self._overhead = ("above", "zones") if for_forecast else ("above",)
        self._done, self._of = 0, 0

    def of(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """Make a result, and count it."""
        made = make()
        if isinstance(made, Track):
            if self._done == self._of:
                self._done, self._of = 0, 0
            self._of += 1 + len(self._overhead) * len(list(stretches(made, STRETCH_M)))
        elif kind in (*self._overhead, "leg"):
            self._done += 1
            self._told(self._what, self._done, self._of)
        return made
