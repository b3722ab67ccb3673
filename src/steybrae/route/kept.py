"""Results kept by what determines them, so that a line moved at one point is worked out anew there alone."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Any, Final, Protocol, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from steybrae.cautions import SAME_CELLS
from steybrae.frozen import dataclass
from steybrae.terrain.dem import DemSource

if TYPE_CHECKING:
    from concurrent.futures import Future

T = TypeVar("T")

MOST_TURNS: Final = 12
"""A result that so many turns have not asked for is let go (our choice: some megabytes for each leg of fine
cells)."""

TIDY_TURNS: Final = 4
"""Turns after which such are looked for: to go through all takes a hundredth of an answer."""

LARGE: Final = ("wide ground", "zone classes")
"""Kinds of which one may take a hundred megabytes: what a turn did not ask for goes before one is made."""


class Met(DemSource, Protocol):
    """A model that counts what it meets among the heights that it reads."""

    @property
    def met(self) -> tuple[int, int, int]:
        """Counts so far: heights, those that no land has, those in stretches of one number."""

    noted: list[NDArray[np.intp]] | None
    """First row and column of the squares of one number that are met are added, where this is a list."""

    def meet(self, more: tuple[int, int, int]) -> None:
        """Count so many more, read before."""

    def cells_in(self, row: int, col: int, rows: int, cols: int) -> int:
        """Heights that reading a window meets."""


Submit = Callable[[Callable[[Met], T]], "Future[T]"]
"""Has something worked out in another thread, which has the same model open."""


@dataclass(frozen=True, eq=False)
class Ahead:
    """What was met in a window that is wider than was asked for.

    How many heights that no land has; first row and column of squares of one number, ``(n, 2)``.
    """

    absurd: int
    squares: NDArray[np.intp]

    def with_(self, other: Ahead, window: tuple[int, int, int, int]) -> Ahead:
        """Put to it what was met before in a window that was not read again."""
        squares = np.concatenate((self.squares, squares_within(other.squares, *window)))
        return Ahead(self.absurd + other.absurd, squares)


class LeftError(Exception):
    """Nobody waits for the answer any longer."""


class Kept:
    """Results of the last turns; a turn is one answer.

    Parameters
    ----------
    source
        Where heights come from, where it counts them: what was met when a result was made is met again
        when it is taken from here. None keeps nothing: every result is made.

    Attributes
    ----------
    turns
        How many answers there were.
    meanwhile
        What this turn would have worked out for the next ones while nobody waits.
    """

    def __init__(self, source: Met | None = None) -> None:
        self._source = source
        self.turns = 0
        self._held: dict[tuple[str, Hashable], tuple[int, object, tuple[int, int, int]]] = {}
        self._left: Callable[[], bool] = bool
        self.meanwhile: list[Callable[[Submit[Any]], object]] = []

    def __len__(self) -> int:
        """How many results are held."""
        return len(self._held)

    @property
    def keeps(self) -> bool:
        """Whether anything is kept."""
        return self._source is not None

    def ahead(self, make: Callable[[], T]) -> tuple[T, Ahead]:
        """Make something that reads more than is asked for; what it meets is given and not counted."""
        source = self._source
        assert source is not None  # noqa: S101  who keeps nothing reads nothing ahead
        before, source.noted = source.met, []
        try:
            made = make()
            squares = np.concatenate([np.empty((0, 2), dtype=np.intp), *source.noted])
        finally:
            source.noted = None
        more = _less(source.met, before)
        source.meet(_less((0, 0, 0), more))
        return made, Ahead(more[1], squares)

    def meet(self, window: tuple[int, int, int, int], ahead: Ahead) -> None:
        """Count what reading a window within that would meet; nothing in it is absurd."""
        source = self._source
        assert source is not None  # noqa: S101
        same = len(squares_within(ahead.squares, *window)) * SAME_CELLS**2
        source.meet((source.cells_in(*window), 0, same))

    def turn(self, left: Callable[[], bool] = bool) -> None:
        """Begin the next answer, and let go what the last ones did not ask for.

        Where nobody waits for it any longer, as `left` tells, nothing more is made for it.
        """
        self._left = left
        self.turns += 1
        self.meanwhile.clear()
        if self.turns % TIDY_TURNS == 0:
            oldest = self.turns - MOST_TURNS
            self._held = {key: held for key, held in self._held.items() if held[0] >= oldest}

    def go_on(self) -> None:
        """Raise `LeftError` where nobody waits for the answer any longer."""
        if self._left():
            raise LeftError

    def of(self, kind: str, key: Hashable, make: Callable[[], T]) -> T:
        """Give a result, made where it is not held.

        Parameters
        ----------
        kind
            What it is.
        key
            All that determines it; objects without an equality of their own stand for themselves.
        make
            Makes it.

        Raises
        ------
        LeftError
            It is not held, and nobody waits for the answer any longer.
        """
        if self._source is None:
            return make()
        held = self._held.get((kind, key))
        if held is None:
            self.go_on()
            if kind in LARGE:
                stale = [
                    name for name, (turn, *_) in self._held.items() if name[0] == kind and turn < self.turns
                ]
                for name in stale:
                    del self._held[name]
            before = self._source.met
            made = make()
            more = _less(self._source.met, before)
        else:
            made, more = cast("T", held[1]), held[2]
            self._source.meet(more)
        self._held[kind, key] = self.turns, made, more
        return made


def squares_within(squares: NDArray[np.intp], row: int, col: int, rows: int, cols: int) -> NDArray[np.intp]:
    """Squares of one number that lie wholly in a window, by their first row and column."""
    if len(squares) == 0:
        return squares
    last = row + rows - SAME_CELLS, col + cols - SAME_CELLS
    found: NDArray[np.intp] = squares[((squares >= (row, col)) & (squares <= last)).all(axis=1)]
    return found


def _less(counts: tuple[int, int, int], others: tuple[int, int, int]) -> tuple[int, int, int]:
    return counts[0] - others[0], counts[1] - others[1], counts[2] - others[2]


NOTHING_KEPT: Final = Kept()
"""For answers asked once."""
