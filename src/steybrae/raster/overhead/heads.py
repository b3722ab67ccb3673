"""Heads of a part before and after it is settled, compiled: its sources, what was reached, who gets more."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.overhead.kernel import HALF, LANES, NEVER, compiled, settle
from steybrae.raster.overhead.layers import LENGTHS, RING, START_ZONE, TILE_CELLS

Cells = NDArray[Any]

_COLS: Final = np.array([step[0] for step in LENGTHS])
_ROWS: Final = np.array([step[1] for step in LENGTHS])

LINE_BYTES: Final = 64
"""A processor's memory comes in lines of so many bytes: the lanes of a cell."""


def room_for_heads(rows: int, cols: int) -> Cells:
    """Array for heads, ``[row, col, angle]``, that holds anything; the lanes of each cell are one line.

    numpy's arrays begin anywhere: each cell lay across two lines, and settling took 7 % longer (measured).
    """
    raw = np.empty(rows * cols * LANES + LINE_BYTES // 4, np.float32)
    first = -raw.ctypes.data % LINE_BYTES // 4
    return raw[first : first + rows * cols * LANES].reshape(rows, cols, LANES)


@compiled
def _brought(
    head: Cells, z: Cells, worth: float, lost: Cells, row: int, col: int, bottom: int, right: int
) -> bool:
    """Whether the part's own cells bring a cell of the ring, which is `worth` so much, more than it has."""
    for s in range(16):
        length, turned = s // 2, 1 - 2 * (s % 2)
        i, j = turned * _COLS[length], turned * _ROWS[length]
        r, c = row + j, col + i
        if not (RING <= r < bottom and RING <= c < right):
            continue
        for a in range(LANES):
            cost = lost[length, a]
            bring = head[r, c, a] - cost
            if bring <= head[row, col, a] or bring < worth:
                continue
            if abs(i) == 2:
                near = col + i // 2
                if bring < (z[row, near] + z[r, near] - cost) * HALF:
                    continue
            elif abs(j) == 2:
                near = row + j // 2
                if bring < (z[near, col] + z[near, c] - cost) * HALF:
                    continue
            return True
    return False


@compiled
def brings_more(head: Cells, z: Cells, lowest: np.float32, lost: Cells) -> int:
    """Which neighbouring parts get more from this one, as `settle` left it, than they have.

    Bit ``3 (row + 1) + col + 1`` for the neighbour ``row``, ``col`` steps of a part away.
    """
    high, wide = head.shape[:2]
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
            worth = max(z[row, col], lowest)
            if not found & bit and _brought(
                head, z, worth, lost[tile_row, tile_col], row, col, bottom, right
            ):
                found |= bit
            col += 1
    return found


@compiled
def first_heads(z: Cells, classes: Cells, head: Cells) -> None:
    """Fill the heads of a part: heights of its sources, minus infinity elsewhere and in the ring.

    `classes` are those of its own cells (`steybrae.raster.overhead.survey`).
    """
    head[:RING] = NEVER
    head[len(head) - RING :] = NEVER
    for row in range(classes.shape[0]):
        head[row + RING, :RING] = NEVER
        head[row + RING, classes.shape[1] + RING :] = NEVER
        for col in range(classes.shape[1]):
            source = classes[row, col] >= START_ZONE
            head[row + RING, col + RING] = z[row + RING, col + RING] if source else NEVER


@compiled
def mark_reached(head: Cells, z: Cells, classes: Cells, angles_deg: Cells, reached: Cells) -> None:
    """Fill the largest angle at which the heads of a part's cells rose above their first ones; 0 for none.

    `angles_deg` rise, one for each lane.
    """
    for row in range(classes.shape[0]):
        for col in range(classes.shape[1]):
            source = classes[row, col] >= START_ZONE
            begun = z[row + RING, col + RING] if source else NEVER
            reached[row, col] = 0
            for a in range(LANES - 1, -1, -1):
                if head[row + RING, col + RING, a] > begun:
                    reached[row, col] = angles_deg[a]
                    break


def ready() -> None:
    """Compile everything now, or load what an earlier run compiled; some seconds the first time."""
    z = np.zeros((2 * RING + 1, 2 * RING + 1), np.float32)
    head, lost = np.empty((*z.shape, LANES), z.dtype), np.ones((3, 3, len(LENGTHS), LANES), z.dtype)
    classes, angles_deg = np.ones((1, 1), np.uint8), np.ones(LANES, np.uint8)
    first_heads(z, classes, head)
    settle(head, z, HALF, lost, False)
    mark_reached(head, z, classes, angles_deg, classes)
    brings_more(head, z, HALF, lost)
