"""Heads of a block before and after it is settled, compiled: its sources, what was reached, who gets more."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.compiled import compiled
from steybrae.raster.overhead.kernel import settle
from steybrae.raster.overhead.layers import LENGTHS, RING, START_ZONE, TILE_CELLS

Cells = NDArray[Any]

_COLS: Final = np.array([step[0] for step in LENGTHS])
_ROWS: Final = np.array([step[1] for step in LENGTHS])

_NEVER: Final = np.float32(-np.inf)
_HALF: Final = np.float32(0.5)


@compiled
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


@compiled
def brings_more(head: Cells, z: Cells, lowest: np.float32, lost: Cells) -> int:
    """Which neighbouring blocks get more from this one than they have.

    Parameters
    ----------
    head, z, lowest, lost
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
            least = max(head[row, col], np.nextafter(max(z[row, col], lowest), _NEVER))
            if not found & bit and _brought(
                head, z, lost[tile_row, tile_col], row, col, bottom, right, least
            ):
                found |= bit
            col += 1
    return found


@compiled
def first_heads(z: Cells, classes: Cells, head: Cells) -> None:
    """Fill the heads of a block: heights of its sources, minus infinity elsewhere and in the ring.

    Parameters
    ----------
    z
        As for `settle`.
    classes
        Of the block's own cells (`steybrae.raster.overhead.survey`).
    head
        Filled.
    """
    head[:RING] = _NEVER
    head[len(head) - RING :] = _NEVER
    for row in range(classes.shape[0]):
        head[row + RING, :RING] = _NEVER
        head[row + RING, classes.shape[1] + RING :] = _NEVER
        for col in range(classes.shape[1]):
            source = classes[row, col] >= START_ZONE
            head[row + RING, col + RING] = z[row + RING, col + RING] if source else _NEVER


@compiled
def mark_reached(head: Cells, z: Cells, classes: Cells, angle: np.uint8, reached: Cells) -> None:
    """Raise to an angle those of a block's cells whose heads rose above their first ones."""
    for row in range(classes.shape[0]):
        for col in range(classes.shape[1]):
            source = classes[row, col] >= START_ZONE
            begun = z[row + RING, col + RING] if source else _NEVER
            if head[row + RING, col + RING] > begun:
                reached[row, col] = max(reached[row, col], angle)


def ready() -> None:
    """Compile everything now, or load what an earlier run compiled; some seconds the first time."""
    z = np.zeros((2 * RING + 1, 2 * RING + 1), np.float32)
    head, classes, lost = np.empty_like(z), np.ones((1, 1), np.uint8), np.ones((3, 3, len(LENGTHS)), z.dtype)
    first_heads(z, classes, head)
    settle(head, z, _HALF, lost, False)
    mark_reached(head, z, classes, np.uint8(1), classes)
    brings_more(head, z, _HALF, lost)
