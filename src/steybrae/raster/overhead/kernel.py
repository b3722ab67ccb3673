"""The energy line over a block of cells, compiled.

The definition is that of `steybrae.terrain.overhead.path`: a source has a head equal to its height, a
step costs ``tan(a)`` times its length, and snow goes on while its head is at least the height of the
ground. Here every cell takes the best of what its 16 neighbours bring it, and the block is swept
down and up until nothing rises any more. That is the greatest of all ways whatever the order, so
that blocks may be swept by themselves and again when a neighbour brings more. Sweeps run along
the rows, where a processor takes many cells at once; settling heads from the highest down, which
looks at each cell once, was fifteen times slower (measured), for it jumps about in memory.

numba is imported here alone: nothing but these loops over whole rasters needs it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numba
import numpy as np
from numpy.typing import NDArray

from steybrae.raster.overhead.layers import LENGTHS, RING, TILE_CELLS

Cells = NDArray[Any]

_COLS: Final = np.array([step[0] for step in LENGTHS])
_ROWS: Final = np.array([step[1] for step in LENGTHS])

_FROM_ABOVE: Final = np.array([2, 1, 3, 4, 5, 6, 7])
_FROM_BELOW: Final = np.array([3, 1, 2, 5, 4, 7, 6])
"""Lengths of the steps from the row above and from the one below, as `_from_rows` takes them."""

_NEVER: Final = np.float32(-np.inf)
_HALF: Final = np.float32(0.5)

Function = TypeVar("Function", bound=Callable[..., Any])


def _compiled(function: Function) -> Function:
    """Compile on the first call, and keep the code for later runs where a folder can be written."""
    try:
        made: Function = numba.njit(function, nogil=True, cache=True)
    except RuntimeError:
        # No folder for the code: it is compiled in every run.
        made = numba.njit(function, nogil=True)
    return made


@_compiled
def _from_rows(
    own: Cells, one: Cells, two: Cells, z0: Cells, z1: Cells, worth: Cells, lost: Cells, out: Cells
) -> int:
    """Take what the next row and the one behind it bring a row; how many cells rise.

    The next rows and heights have two cells more on each side. `lost` is what the seven steps cost,
    from left to right: three to neighbours, two wide knight's moves, two tall ones.
    """
    left, straight, right, wide_left, wide_right, tall_left, tall_right = (
        lost[0],
        lost[1],
        lost[2],
        lost[3],
        lost[4],
        lost[5],
        lost[6],
    )
    risen = 0
    for c in range(len(own)):
        least, best = worth[c], own[c]
        head = one[c + 1] - left
        best = max(best, head if head >= least else _NEVER)
        head = one[c + 2] - straight
        best = max(best, head if head >= least else _NEVER)
        head = one[c + 3] - right
        best = max(best, head if head >= least else _NEVER)
        # Half-way a knight's move has lost half, and has to pass the mean of the two cells it crosses.
        head = one[c] - wide_left
        best = max(best, head if head >= max(least, (z0[c + 1] + z1[c + 1] - wide_left) * _HALF) else _NEVER)
        head = one[c + 4] - wide_right
        best = max(best, head if head >= max(least, (z0[c + 3] + z1[c + 3] - wide_right) * _HALF) else _NEVER)
        head = two[c + 1] - tall_left
        best = max(best, head if head >= max(least, (z1[c + 2] + z1[c + 1] - tall_left) * _HALF) else _NEVER)
        head = two[c + 3] - tall_right
        best = max(best, head if head >= max(least, (z1[c + 2] + z1[c + 3] - tall_right) * _HALF) else _NEVER)
        out[c] = best
        risen += best > own[c]
    return risen


@_compiled
def _along(own: Cells, worth: Cells, lost: float, left: float, right: float) -> int:
    """Pass heads along a row to the right and to the left; how many cells rise."""
    risen = 0
    before = left
    for c in range(len(own)):
        head = before - lost
        if head > own[c] and head >= worth[c]:
            own[c] = head
            risen += 1
        before = own[c]
    before = right
    for c in range(len(own) - 1, -1, -1):
        head = before - lost
        if head > own[c] and head >= worth[c]:
            own[c] = head
            risen += 1
        before = own[c]
    return risen


@_compiled
def _row(
    head: Cells,
    z: Cells,
    worth: Cells,
    lost: Cells,
    sideways: float,
    row: int,
    on: int,
    left: int,
    right: int,
    out: Cells,
    anyway: int,
) -> int:
    """Sweep one row of a tile, along it too if anything rose or `anyway`.

    `on` is the step to the row that it takes from.
    """
    own = head[row, left:right]
    wide = slice(left - 2, right + 2)
    part = out[: right - left]
    risen = _from_rows(
        own,
        head[row + on, wide],
        head[row + 2 * on, wide],
        z[row, wide],
        z[row + on, wide],
        worth[row, left:right],
        lost,
        part,
    )
    if risen:
        own[:] = part
    if risen or anyway:
        risen += _along(own, worth[row, left:right], sideways, head[row, left - 1], head[row, right])
    return risen


@_compiled
def _tile(
    head: Cells,
    z: Cells,
    worth: Cells,
    lost: Cells,
    top: int,
    bottom: int,
    left: int,
    right: int,
    out: Cells,
) -> bool:
    """Sweep a tile down and up until nothing rises; whether anything did.

    A row is passed over while nothing changed in it or in the two that it takes from, and at first where
    there is no head in any of them.
    """
    straight, from_above, from_below = lost[0], lost[_FROM_ABOVE], lost[_FROM_BELOW]
    rows = bottom - top
    changed = np.zeros(rows + 4, np.int64)
    for k in range(rows + 4):
        for col in range(left - 2, right + 2):
            if head[top - 2 + k, col] > _NEVER:
                changed[k] = 1
                break
    swept = np.zeros((2, rows), np.int64)
    clock, first, rose = 1, True, False
    while True:
        moved = False
        for way in range(2):
            for step in range(rows):
                k = step if way == 0 else rows - 1 - step
                at = k + 2 * way
                if max(changed[at], changed[at + 1], changed[at + 2]) <= swept[way, k]:
                    continue
                clock += 1
                costs = from_above if way == 0 else from_below
                on = -1 if way == 0 else 1
                anyway = int(first and way == 0)
                if _row(head, z, worth, costs, straight, top + k, on, left, right, out, anyway):
                    clock += 1
                    changed[k + 2] = clock
                    moved = True
                swept[way, k] = clock
        if not moved:
            return rose
        first, rose = False, True


@_compiled
def settle(head: Cells, z: Cells, worth: Cells, lost: Cells, again: bool) -> None:
    """Raise the heads of a block until no neighbour brings more.

    Parameters
    ----------
    head
        ``[row, col]`` with `RING` cells of the neighbours around; heads of sources and of the
        ring, minus infinity elsewhere; raised in place, the ring left as it is.
    z
        Heights; minus infinity where unknown, infinite outside.
    worth
        Least head worth having: the height, at least the lowest of the whole model.
    lost
        What each of the `LENGTHS` costs in each tile, ``[tile row, tile col, step]``; that of the
        tile that is entered counts. The first and last rows and columns are the neighbours'.
    again
        Whether the block was settled before and the ring alone has risen since: then only tiles at its
        edge are looked at first.
    """
    high, wide = head.shape
    down, across = lost.shape[0] - 2, lost.shape[1] - 2
    count = down * across
    highest = np.empty(count, head.dtype)
    for t in range(count):
        top, left = RING + t // across * TILE_CELLS, RING + t % across * TILE_CELLS
        highest[t] = head[
            top : min(top + TILE_CELLS, high - RING), left : min(left + TILE_CELLS, wide - RING)
        ].max()
    # A ring of numbers of tiles that wait, the highest first: snow comes down from them.
    queue = np.empty(count + 1, np.int64)
    waits = np.zeros(count, np.bool_)
    first, end = 0, 0
    for t in np.argsort(-highest):
        row, col = t // across, t % across
        if not again or row in (0, down - 1) or col in (0, across - 1):
            queue[end] = t
            end += 1
            waits[t] = True
    out = np.empty(TILE_CELLS, head.dtype)
    while first != end:
        t = queue[first]
        first = (first + 1) % (count + 1)
        waits[t] = False
        row, col = t // across, t % across
        top, left = RING + row * TILE_CELLS, RING + col * TILE_CELLS
        bottom, right = min(top + TILE_CELLS, high - RING), min(left + TILE_CELLS, wide - RING)
        if not _tile(head, z, worth, lost[row + 1, col + 1], top, bottom, left, right, out):
            continue
        for near_row in range(max(row - 1, 0), min(row + 2, down)):
            for near_col in range(max(col - 1, 0), min(col + 2, across)):
                near = near_row * across + near_col
                if near != t and not waits[near]:
                    waits[near] = True
                    queue[end] = near
                    end = (end + 1) % (count + 1)


@_compiled
def _brought(
    head: Cells, z: Cells, lost: Cells, row: int, col: int, bottom: int, right: int, least: float
) -> bool:
    """Whether the block's own cells bring a cell of the ring more than `least`."""
    for s in range(16):
        length, turned = s // 2, 1 - 2 * (s % 2)
        i, j = turned * _COLS[length], turned * _ROWS[length]
        r, c = row + j, col + i
        if not (RING <= r < bottom and RING <= c < right):
            continue
        bring = head[r, c] - lost[length]
        if bring <= least:
            continue
        if abs(i) == 2:
            near = col + i // 2
            if bring < (z[row, near] + z[r, near] - lost[length]) * _HALF:
                continue
        elif abs(j) == 2:
            near = row + j // 2
            if bring < (z[near, col] + z[near, c] - lost[length]) * _HALF:
                continue
        return True
    return False


@_compiled
def brings_more(head: Cells, z: Cells, worth: Cells, lost: Cells) -> int:
    """Which neighbouring blocks get more from this one than they have.

    Parameters
    ----------
    head, z, worth, lost
        As `settle` left them.

    Returns
    -------
    int
        Bit ``3 (row + 1) + col + 1`` for the neighbour ``row``, ``col`` steps of a block away.
    """
    high, wide = head.shape
    bottom, right = high - RING, wide - RING
    found = 0
    for row in range(high):
        down = 0 if row < RING else (2 if row >= bottom else 1)
        tile_row = (row - RING) // TILE_CELLS + 1
        col = 0
        while col < wide:
            across = 0 if col < RING else (2 if col >= right else 1)
            if down == 1 and across == 1:
                col = right
                continue
            bit = 1 << (3 * down + across)
            tile_col = (col - RING) // TILE_CELLS + 1
            least = max(head[row, col], np.nextafter(worth[row, col], _NEVER))
            if not found & bit and _brought(
                head, z, lost[tile_row, tile_col], row, col, bottom, right, least
            ):
                found |= bit
            col += 1
    return found


def ready() -> None:
    """Compile everything now, or load what an earlier run compiled; some seconds the first time."""
    head = np.full((2 * RING + 1, 2 * RING + 1), _NEVER)
    z, lost = np.zeros_like(head), np.ones((3, 3, len(LENGTHS)), head.dtype)
    settle(head, z, z, lost, False)
    brings_more(head, z, z, lost)
