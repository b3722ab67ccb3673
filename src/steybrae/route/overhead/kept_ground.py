"""Windows of ground made ready for looking up, kept from one stretch, place or moved line to the next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Final

from steybrae.route.kept import NOTHING_KEPT, Ahead, Kept, Submit
from steybrae.route.overhead.windows import (
    MOST_CELLS,
    OverheadLook,
    Window,
    joined,
    metric_place,
    on_lattice,
    read_ground,
)
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.overhead.ground import OverheadGround

if TYPE_CHECKING:
    from concurrent.futures import Future

SPARE_CELLS: Final = 64
"""Ring that is read beyond what a line needs where lines are moved, joined cells (our choice: some 600 m).
Where half of it is used up on a side, wider ground is made ready meanwhile."""

MOST_WIDE_CELLS: Final = 1_200_000
"""Largest window that grows by what is asked for, joined cells (our choice: some 80 MB, and while the next
is made ready there are two); a larger one is made when it is asked for, once the one before is let go."""


@dataclass(eq=False)
class _Last:
    """The window that was made ready last."""

    _key: tuple[Window, OverheadLook] | None = None
    _ground: OverheadGround | None = None

    def ground(self, window: Window, kept: KeptGround) -> OverheadGround:
        """Ground of a window, read where it is another than before."""
        if self._ground is None or self._key != (window, kept.look):
            self._ground = None  # so that two are never held
            self._ground, self._key = read_ground(kept.source, window, kept.look), (window, kept.look)
        return self._ground


@dataclass(eq=False)
class KeptGround:
    """Windows of a model made ready for looking up; the last one is kept, for most days have one only.

    Attributes
    ----------
    source
        The model.
    look
        How to look up.
    kept
        What was seen before; where it keeps anything, a wider window serves one line after another.
    """

    source: DemSource
    look: OverheadLook
    kept: Kept = NOTHING_KEPT
    _last: _Last = field(default_factory=_Last, init=False)
    _met: Window | None = field(default=None, init=False)

    def ground(self, window: Window) -> OverheadGround:
        """Ground of a window alone; see `read_ground`."""
        last = self.kept.of("last window", (), _Last) if self.kept.keeps else self._last
        return last.ground(window, self)

    def opened(self, window: Window) -> Callable[[], OverheadGround]:
        """Ground that holds a window, made when it is first asked for: what is seen is the same from any."""
        if not self.kept.keeps:
            return partial(self.ground, window)
        metric = metric_place(window, self.look)
        wide = self.kept.of("wide ground", (self.look, metric), partial(WideGround, self, metric))
        if self._met != window:
            self._met = window
            self.kept.of("window met", window, partial(wide.meet, window))
        return partial(wide.holding, window)


@dataclass(frozen=True, eq=False)
class _Wide:
    """Ground of a window made ready, and what was met in it."""

    window: Window
    ground: OverheadGround
    ahead: Ahead

    def holds(self, window: Window) -> bool:
        return self.window.with_(window) == self.window

    @property
    def held(self) -> tuple[tuple[Window, Array], Ahead] | None:
        """The window, its joined heights and what was met, not to be read again; None where files differ."""
        return None if self.ground.others else ((self.window, self.ground.dem.heights_m), self.ahead)


class WideGround:
    """One wide window round the lines of the last turns, made ready for looking up.

    Lengths and directions are taken where `metric` says.
    """

    def __init__(self, kept: KeptGround, metric: tuple[float, float]) -> None:
        self._source, self._look, self._kept, self._metric = kept.source, kept.look, kept.kept, metric
        self._now: _Wide | None = None
        self._next: tuple[Window, Future[_Wide]] | None = None

    def holding(self, window: Window) -> OverheadGround:
        """Ground that holds a window; where what is there does not, both together and some more are read."""
        return self._holding(window).ground

    def meet(self, window: Window) -> None:
        """Count what reading a window alone would meet."""
        ahead = self._holding(window).ahead
        if ahead.absurd:
            joined(self._source, window, self._look.joins)
            return
        self._kept.meet(window.extent, ahead)

    def _holding(self, window: Window) -> _Wide:
        now = self._ready(window)
        if now is None or not now.holds(window):
            wider = self._wider(window, now)
            held = None if now is None else now.held
            self._now = now = None  # so that two are never held
            self._now = now = self._made(wider, held, self._kept, self._source)
        elif self._next is None and not now.holds(self._round(window, SPARE_CELLS // 2)):
            self._kept.meanwhile.append(partial(self._begin, window))
        return now

    def _ready(self, window: Window) -> _Wide | None:
        """Take what was made meanwhile, waited for where it is needed now and under way."""
        if self._next is not None:
            wider, made = self._next
            useful, needed = wider.with_(window) == wider, self._now is None or not self._now.holds(window)
            if made.done() or (useful and needed):
                self._next = None
                # What has not begun waits for tiles, and those for this answer.
                if useful and not made.cancel() and made.exception() is None:
                    self._now = made.result()
        return self._now

    def _begin(self, window: Window, submit: Submit[_Wide]) -> None:
        """Have wider ground made for the lines to come."""
        now = self._now
        if now is None or self._next is not None:
            return
        wider, held = self._wider(window, now), now.held
        if wider != now.window and wider.cells <= MOST_WIDE_CELLS * self._look.joins[0] * self._look.joins[1]:
            self._next = wider, submit(lambda source: self._made(wider, held, Kept(source), source))

    def _round(self, window: Window, cells: int) -> Window:
        across, down = (cells * join for join in self._look.joins)
        return Window(window.top - down, window.left - across, window.bottom + down, window.right + across)

    def _wider(self, window: Window, now: _Wide | None) -> Window:
        """Window with a ring to spare, together with what is there as long as that stays small."""
        spare, joins = self._round(window, SPARE_CELLS), self._look.joins
        both = spare if now is None else spare.with_(now.window)
        for wide, most in ((both, MOST_WIDE_CELLS), (spare, MOST_CELLS)):
            if (found := on_lattice(wide, joins)).cells <= most * joins[0] * joins[1]:
                return found
        return on_lattice(window, joins)

    def _made(
        self,
        wider: Window,
        held: tuple[tuple[Window, Array], Ahead] | None,
        kept: Kept,
        source: DemSource,
    ) -> _Wide:
        before = None if held is None else held[0]
        ground, ahead = kept.ahead(lambda: read_ground(source, wider, self._look, self._metric, before))
        if held is not None and (common := wider.both(held[0][0])) is not None:
            ahead = ahead.with_(held[1], common.extent)
        ground.make_ready()
        return _Wide(wider, ground, ahead)


@dataclass(eq=False)
class KeptPlaces:
    """Ground to look up at from one place after another: places near each other share a window."""

    _kept: KeptGround | None = field(default=None, init=False)

    def ground(self, source: DemSource, look: OverheadLook, window: Window) -> OverheadGround:
        """Ground of a window; see `read_ground`."""
        if self._kept is None or self._kept.look != look or self._kept.source is not source:
            self._kept = KeptGround(source, look)
        return self._kept.ground(window)
