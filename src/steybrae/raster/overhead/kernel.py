"""The energy line over a part of a model, compiled: numba is imported here alone, where a run has such loops.

The definition is that of `steybrae.terrain.overhead.path`: a source has a head equal to its height, a
step costs ``tan(a)`` times its length, and snow goes on while its head is at least the height of the
ground. Here every cell takes the best of what its 16 neighbours bring it, and the part is swept
down and up until nothing rises any more. That is the greatest of all ways whatever the order, so
that parts may be swept by themselves and again when a neighbour brings more.

`LANES` angles are swept together, their heads side by side in memory: a processor takes them at once, also
where heads pass along a row from cell to cell, and heights are looked up once for all of them. One
angle by itself took 2.5 times as long; settling heads from the highest down, which looks at each cell
once, fifteen times as long as that (measured), for it jumps about in memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

from steybrae.raster.overhead.layers import RING, TILE_CELLS

Cells = NDArray[Any]
Function = TypeVar("Function", bound=Callable[..., Any])

_FROM_ABOVE: Final = np.array([2, 1, 3, 4, 5, 6, 7])
_FROM_BELOW: Final = np.array([3, 1, 2, 5, 4, 7, 6])
"""Lengths of the steps from the row above and from the one below, as `_from_rows` takes them."""

PIECE: Final = 32
"""Cells of a piece of a row: what is passed over while nothing that it takes from has risen."""

_DOWN, _UP, _ASIDE = 0, 1, 2
"""Ways in which a piece is looked at: by the rows above it, by those below, along its own row."""

LANES: Final = 16
"""Angles that are settled together. Eight took as long as sixteen (measured): a processor takes that many at
once, and each cell is looked at once for all."""

NEVER: Final = np.float32(-np.inf)
"""Head of a cell that nothing reaches."""

HALF: Final = np.float32(0.5)
"""Single as the heads are: a plain 0.5 would have the loops work in double precision."""

_1, _2, _LANES = np.uintp(1), np.uintp(2), np.uintp(LANES)


def compiled(function: Function) -> Function:
    """Compile on the first call, and keep the code for later runs where a folder can be written."""
    try:
        made: Function = numba.njit(function, nogil=True, cache=True)
    except RuntimeError:
        # No folder for the code: it is compiled in every run.
        made = numba.njit(function, nogil=True)
    return made


@compiled
def _from_rows(
    head: Cells,
    z: Cells,
    lowest: np.float32,
    lost: Cells,
    on: int,
    row: int,
    left: int,
    right: int,
    out: Cells,
    rose: Cells,
) -> None:
    """Take what the next row and the one behind it bring to a piece of a row, and say which cells rise.

    `on` is the step to the next row. `lost` is what the seven steps cost at each angle, from left to right:
    three to neighbours, two wide knight's moves, two tall ones. Numbers of cells have no sign, and rows are
    not cut out, for both cost more than the arithmetic (measured).
    """
    own, one, two, begin = np.uintp(row), np.uintp(row + on), np.uintp(row + 2 * on), np.uintp(left)
    for k in range(np.uintp(right - left)):
        c = begin + k
        least = max(z[own, c], lowest)
        # Half-way a knight's move has lost half, and has to pass the mean of the two cells it crosses.
        to_left, to_right = z[own, c - _1] + z[one, c - _1], z[own, c + _1] + z[one, c + _1]
        by_left, by_right = z[one, c] + z[one, c - _1], z[one, c] + z[one, c + _1]
        any_rose = False
        for a in range(_LANES):
            most = max(head[one, c - _1, a] - lost[0, a], head[one, c, a] - lost[1, a])
            most = max(most, head[one, c + _1, a] - lost[2, a])
            bring = head[one, c - _2, a] - lost[3, a]
            most = max(most, bring if bring >= (to_left - lost[3, a]) * HALF else NEVER)
            bring = head[one, c + _2, a] - lost[4, a]
            most = max(most, bring if bring >= (to_right - lost[4, a]) * HALF else NEVER)
            bring = head[two, c - _1, a] - lost[5, a]
            most = max(most, bring if bring >= (by_left - lost[5, a]) * HALF else NEVER)
            bring = head[two, c + _1, a] - lost[6, a]
            most = max(most, bring if bring >= (by_right - lost[6, a]) * HALF else NEVER)
            before = head[own, c, a]
            best = max(before, most if most >= least else NEVER)
            out[k, a] = best
            any_rose |= best > before
        rose[k] = any_rose


@compiled
def _ask_around(asks: Cells, row: int, piece: int, leftmost: bool, rightmost: bool) -> None:
    """Have those looked at again that take from a piece of a row; its outer cells reach the next pieces."""
    for k in range(piece - leftmost, piece + rightmost + 1):
        asks[_DOWN, row + 3, k] = asks[_DOWN, row + 4, k] = True
        asks[_UP, row + 1, k] = asks[_UP, row, k] = True


@compiled
def _told(
    asks: Cells, row: int, piece: int, ends: tuple[int, int], rose: Cells, first: int, end: int
) -> bool:
    """Ask around a piece of a row if some of its cells rose; whether any did.

    `ends` are the first piece of the tile and the first of the next one, whose rows go along by themselves.
    """
    any_rose = False
    for k in range(first, end):
        any_rose |= rose[k]
    if any_rose:
        leftmost, rightmost = rose[first], rose[end - 1]
        second, last_but_one = rose[min(first + 1, end - 1)], rose[max(end - 2, first)]
        _ask_around(asks, row, piece, leftmost or second, rightmost or last_but_one)
        if leftmost and piece == ends[0]:
            asks[_ASIDE, row + 2, piece - 1] = True
        if rightmost and piece == ends[1] - 1:
            asks[_ASIDE, row + 2, piece + 1] = True
    return any_rose


@compiled
def _pass_on(
    head: Cells,
    z: Cells,
    lowest: np.float32,
    lost: Cells,
    row: int,
    col: int,
    to: int,
    many: int,
    out: Cells,
    rose: Cells,
    at: int,
) -> None:
    """Pass heads on from cell to cell of a row, `to` the right (1) or the left (-1).

    What a cell gets is written elsewhere first, and the lanes are counted: only so does the compiler take
    several at once (measured: 0.6 of the time).
    """
    own, lanes = np.uintp(row), np.uintp(len(lost))
    for k in range(many):
        c, before = np.uintp(col + to * k), np.uintp(col + to * k - to)
        least = max(z[own, c], lowest)
        any_rose = False
        for a in range(lanes):
            bring, had = head[own, before, a] - lost[a], head[own, c, a]
            best = max(had, bring if bring >= least else NEVER)
            out[0, a] = best
            any_rose |= best > had
        if any_rose:
            rose[at + to * k] = True
            for a in range(lanes):
                head[own, c, a] = out[0, a]


@compiled
def _brings(head: Cells, z: Cells, lowest: np.float32, lost: Cells, row: int, col: int, to: int) -> bool:
    """Whether a cell of a row gets more from the one before it, at any angle."""
    least, found = max(z[row, col], lowest), False
    for a in range(LANES):
        bring = head[row, col - to, a] - lost[a]
        found |= bring > head[row, col, a] and bring >= least
    return found


@compiled
def _along(
    head: Cells,
    z: Cells,
    lowest: np.float32,
    lost: Cells,
    row: int,
    left: int,
    right: int,
    asks: Cells,
    ends: tuple[int, int],
    out: Cells,
    rose: Cells,
) -> bool:
    """Pass heads along a row of a tile, to the right and to the left, from the pieces that are asked for.

    A piece that is not is looked at only where its neighbour's outermost cell brings it more.
    """
    for k in range(right - left):
        rose[k] = False
    for piece in range(ends[0], ends[1]):
        a, b = RING + (piece - 1) * PIECE, min(RING + piece * PIECE, right)
        if asks[_ASIDE, row + 2, piece] or _brings(head, z, lowest, lost, row, a, 1):
            asks[_ASIDE, row + 2, piece] = True
            _pass_on(head, z, lowest, lost, row, a, 1, b - a, out, rose, a - left)
    for piece in range(ends[1] - 1, ends[0] - 1, -1):
        a, b = RING + (piece - 1) * PIECE, min(RING + piece * PIECE, right)
        if asks[_ASIDE, row + 2, piece] or _brings(head, z, lowest, lost, row, b - 1, -1):
            asks[_ASIDE, row + 2, piece] = True
            _pass_on(head, z, lowest, lost, row, b - 1, -1, b - a, out, rose, b - 1 - left)
    moved = False
    for piece in range(ends[0], ends[1]):
        if asks[_ASIDE, row + 2, piece]:
            asks[_ASIDE, row + 2, piece] = False
            a = (piece - ends[0]) * PIECE
            moved |= _told(asks, row, piece, ends, rose, a, min(a + PIECE, right - left))
    return moved


@compiled
def _row(
    head: Cells,
    z: Cells,
    lowest: np.float32,
    lost: Cells,
    way: int,
    row: int,
    left: int,
    right: int,
    asks: Cells,
    ends: tuple[int, int],
    out: Cells,
    rose: Cells,
) -> bool:
    """Take from the next rows what those pieces of a row get that asked for it; whether any cell rose."""
    moved = False
    piece = ends[0]
    while piece < ends[1]:
        begin = piece
        while piece < ends[1] and asks[way, row + 2, piece]:
            asks[way, row + 2, piece] = False
            piece += 1
        if piece == begin:
            piece += 1
            continue
        a, b = RING + (begin - 1) * PIECE, min(RING + (piece - 1) * PIECE, right)
        _from_rows(head, z, lowest, lost, -1 if way == _DOWN else 1, row, a, b, out, rose)
        for k in range(begin, piece):
            first = (k - begin) * PIECE
            end = min(first + PIECE, b - a)
            if _told(asks, row, k, ends, rose, first, end):
                for c in range(first, end):
                    for lane in range(_LANES):
                        head[row, a + c, lane] = out[c, lane]
                asks[_ASIDE, row + 2, k] = moved = True
    return moved


@compiled
def _any(asks: Cells, way: int, row: int, ends: tuple[int, int]) -> bool:
    """Whether a piece of a row of a tile is asked for."""
    found = False
    for piece in range(ends[0], ends[1]):
        found |= asks[way, row + 2, piece]
    return found


@compiled
def _tile(
    head: Cells,
    z: Cells,
    lowest: np.float32,
    lost: Cells,
    box: tuple[int, int, int, int],
    asks: Cells,
    out: Cells,
    rose: Cells,
) -> None:
    """Sweep a tile down and up until nothing in it is asked for any more."""
    top, bottom, left, right = box
    ends = _pieces(left, right)
    costs = lost[_FROM_ABOVE], lost[_FROM_BELOW]
    moved = True
    while moved:
        moved = False
        for way in range(2):
            for step in range(bottom - top):
                row = top + step if way == _DOWN else bottom - 1 - step
                if _any(asks, way, row, ends):
                    moved |= _row(head, z, lowest, costs[way], way, row, left, right, asks, ends, out, rose)
                if _any(asks, _ASIDE, row, ends):
                    moved |= _along(head, z, lowest, lost[0], row, left, right, asks, ends, out, rose)


@compiled
def _pieces(left: int, right: int) -> tuple[int, int]:
    """First piece of a tile, and the first behind it; they are counted from 1."""
    return (left - RING) // PIECE + 1, (right - RING - 1) // PIECE + 2


@compiled
def _is_any(head: Cells, row: int, col: int) -> bool:
    """Whether a cell has a head at any angle."""
    found = False
    for a in range(LANES):
        found |= head[row, col, a] > NEVER
    return found


@compiled
def _ask_first(head: Cells, asks: Cells, again: bool) -> None:
    """Ask for all that takes from a head; `again` only from those of the ring."""
    high, wide = head.shape[:2]
    last = asks.shape[2] - 1
    for row in range(high):
        outer = row < RING or row >= high - RING or not again
        for piece in range(0, last + 1, 1 if outer else last):
            first = 0 if piece == 0 else min(RING + (piece - 1) * PIECE, wide - RING)
            end = wide if piece == last else min(RING + piece * PIECE, wide - RING)
            for col in range(first, end):
                if _is_any(head, row, col):
                    _ask_around(asks, row, piece, piece > 0, piece < last)
                    if piece == last:
                        # The last piece may be one cell wide, and a knight's move reaches two.
                        _ask_around(asks, row, piece - 1, True, False)
                    asks[_ASIDE, row + 2, max(piece - 1, 0) : piece + 2] = True
                    break


@compiled
def _is_asked(asks: Cells, box: tuple[int, int, int, int]) -> bool:
    """Whether anything is asked for in a tile."""
    top, bottom, left, right = box
    for way in range(3):
        for row in range(top, bottom):
            if _any(asks, way, row, _pieces(left, right)):
                return True
    return False


@compiled
def _box(t: int, across: int, shape: tuple[int, int]) -> tuple[int, int, int, int]:
    """First row, row behind the last, first column and column behind the last of a tile."""
    top, left = RING + t // across * TILE_CELLS, RING + t % across * TILE_CELLS
    return top, min(top + TILE_CELLS, shape[0] - RING), left, min(left + TILE_CELLS, shape[1] - RING)


@compiled
def settle(head: Cells, z: Cells, lowest: np.float32, lost: Cells, again: bool) -> None:
    """Raise the heads of a part until no neighbour brings more.

    Parameters
    ----------
    head
        ``[row, col, angle]``, `LANES` angles, with `RING` cells of the neighbours around; heads of sources
        and of the ring, minus infinity elsewhere; raised in place, the ring left as it is.
    z
        Heights; minus infinity where unknown, infinite outside.
    lowest
        Height of the lowest ground of the whole model: a head below it is not worth having.
    lost
        What each of the `LENGTHS` costs in each tile, ``[tile row, tile col, step, angle]``; that of the
        tile that is entered counts. The first and last rows and columns are the neighbours'.
    again
        Whether the part was settled before and the ring alone has risen since: then only what takes from
        the ring is looked at first.
    """
    high, wide = shape = head.shape[:2]
    down, across = lost.shape[0] - 2, lost.shape[1] - 2
    count = down * across
    asks = np.zeros((3, high + 4, (wide - 2 * RING + PIECE - 1) // PIECE + 2), np.bool_)
    _ask_first(head, asks, again)
    highest = np.empty(count, head.dtype)
    for t in range(count):
        top, bottom, left, right = _box(t, across, shape)
        # A look at some of the cells is enough for an order; all of them took a tenth of the whole time.
        highest[t] = head[top:bottom:4, left:right:4, 0].max()
    # A ring of numbers of tiles that wait, the highest first: snow comes down from them.
    queue = np.empty(count + 1, np.int64)
    waits = np.zeros(count, np.bool_)
    first, end = 0, 0
    for t in np.argsort(-highest):
        if _is_asked(asks, _box(t, across, shape)):
            queue[end] = t
            end += 1
            waits[t] = True
    out, rose = np.empty((TILE_CELLS, LANES), head.dtype), np.empty(TILE_CELLS, np.bool_)
    while first != end:
        t = queue[first]
        first = (first + 1) % (count + 1)
        waits[t] = False
        row, col = t // across, t % across
        _tile(head, z, lowest, lost[row + 1, col + 1], _box(t, across, shape), asks, out, rose)
        for near_row in range(max(row - 1, 0), min(row + 2, down)):
            for near_col in range(max(col - 1, 0), min(col + 2, across)):
                near = near_row * across + near_col
                if not waits[near] and _is_asked(asks, _box(near, across, shape)):
                    waits[near] = True
                    queue[end] = near
                    end = (end + 1) % (count + 1)
