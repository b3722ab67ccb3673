"""The energy line over a whole model: part by part, until no part brings a neighbour more.

Every part is settled once, with what its neighbours had by then, and again whenever one of them brings
it more. Heads only ever rise, and only to what a path of snow gives, so that the end does not depend
on the order nor on where the parts are cut.

A panel of parts at some angles is a task: for a thread here, or for a worker anywhere. Parts are visited
along the panel, and the heads of the last few are kept. A part is looked at again when it would be let
go, after all around it in the panel, and goes on from where it stood: of its tiles only those at its edge
are swept anew. Which parts of other panels get more is told at the end of the task, and they are visited
in another one. Edges pass from part to part in a file that all tasks share.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.raster.blocks import PANEL_BLOCKS, Block, Layout
from steybrae.raster.files.outputs import SmallFile
from steybrae.raster.overhead.heads import brings_more, first_heads, mark_reached
from steybrae.raster.overhead.kernel import LANES, settle
from steybrae.raster.overhead.layers import PART, RING, TILE_CELLS, Pieces, piece_of, put_piece
from steybrae.raster.overhead.survey import tile_lengths_m
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG

TOP, BOTTOM, LEFT, RIGHT = range(4)

_EDGE: Final = (RING, PART, LANES)

_EDGE_BYTES: Final = 4 * RING * PART * LANES

_NOTHING: Final = np.float32(-np.inf).view(np.uint32)
"""Bits of a head that is none."""


def neighbours(layout: Layout, number: int) -> Iterator[tuple[int, int, int]]:
    """Parts around one: number, and rows and columns of parts away."""
    down, right = divmod(number, layout.right)
    for j in (-1, 0, 1):
        for i in (-1, 0, 1):
            if (i or j) and 0 <= down + j < layout.down and 0 <= right + i < layout.right:
                yield (down + j) * layout.right + right + i, j, i


class Frames:
    """The two outermost rows and columns of every part's heads, at the angles of a kernel.

    In a file that several processes may write to, where zeros mean that nothing was written yet. A reader may
    find an older edge: that is too low at most, and its writer then tells that there is more to be had.

    Parameters
    ----------
    path
        File that holds them.
    layout
        Parts of the raster.
    """

    def __init__(self, path: Path, layout: Layout) -> None:
        self._layout = layout
        self._file = SmallFile(path, _EDGE_BYTES)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def put(self, number: int, head: Cells) -> None:
        """Keep the edges of a part's heads; `head` has the ring around."""
        own = head[RING:-RING, RING:-RING]
        rows, cols = own.shape[:2]
        edges = np.full((4, *_EDGE), -np.inf, np.float32)
        # The last part may be thinner than the ring: what it lacks stays without a head.
        high, wide = min(RING, rows), min(RING, cols)
        edges[TOP, :high, :cols], edges[BOTTOM, RING - high :, :cols] = own[:high], own[-high:]
        edges[LEFT, :wide, :rows] = own[:, :wide].swapaxes(0, 1)
        edges[RIGHT, RING - wide :, :rows] = own[:, -wide:].swapaxes(0, 1)
        if np.isneginf(edges).all():
            return
        self._file.write(4 * number, (edges.view(np.uint32) ^ _NOTHING).tobytes())

    def fill_ring(self, number: int, head: Cells) -> None:
        """Set the ring around a part's heads to what its neighbours have there."""
        rows, cols = (size - 2 * RING for size in head.shape[:2])
        for other, j, i in neighbours(self._layout, number):
            side = (BOTTOM if j < 0 else TOP) if j else (RIGHT if i < 0 else LEFT)
            raw = self._file.read(4 * other + side, 1).ljust(_EDGE_BYTES, b"\0")
            edge = (np.frombuffer(raw, np.uint32) ^ _NOTHING).view(np.float32).reshape(_EDGE)
            place = head[_ring(j, rows), _ring(i, cols)]
            if j and i:
                # A part to the left is never the last, and whole.
                edge = edge[:, PART - RING : PART] if i < 0 else edge[:, :RING]
            elif i:
                edge = edge.swapaxes(0, 1)
            place[...] = edge[: place.shape[0], : place.shape[1]]


def _ring(step: int, size: int) -> slice:
    """Rows or columns of the ring, or of the part, in an array with the ring."""
    if step == 0:
        return slice(RING, RING + size)
    return slice(0, RING) if step < 0 else slice(RING + size, 2 * RING + size)


Cells = NDArray[Any]

ANGLES_DEG: Final = tuple(int(angle) for angle in PATH_ANGLES_DEG)
"""Angles that are tried, whole degrees."""

LEAN_DEG: Final = 0.01
"""So much flatter is tried, degrees, that single precision never lets snow stop short: a head of 4000 m
is rounded by 0.0002 m at each step, a few hundredths of a metre on the longest way."""

PARTS_KEPT: Final = PANEL_BLOCKS + 2
"""Parts whose heads a task keeps, 4 MB each: when one is let go, all around it in its panel were visited."""

LENGTHS_KEPT: Final = 20_000
"""Parts whose lengths are kept, a kilobyte each."""


@dataclass(frozen=True)
class Task:
    """Some parts of a panel to be settled at some angles.

    Attributes
    ----------
    angles_deg
        Whole degrees, rising, `LANES` at the most.
    panel
        Number of the panel.
    asked
        Numbers of the parts that others bring more; None for a first visit to all of them.
    """

    angles_deg: tuple[int, ...]
    panel: int
    asked: frozenset[int] | None


@dataclass(frozen=True, eq=False)
class Energy:
    """Settles the parts of a model; threads may share it.

    Attributes
    ----------
    grid
        Of the model.
    pieces
        Heights and classes of every part.
    steepest
        Pieces with the largest angle at which each cell was reached so far, degrees; raised.
    lowest_m
        Height of the lowest known ground of the whole model.
    """

    grid: Grid
    pieces: Pieces
    steepest: SmallFile
    lowest_m: float
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _lengths: dict[int, Array] = field(default_factory=dict)

    def settle(self, task: Task) -> frozenset[int]:
        """Settle parts, and those of the panel that get more from them.

        Returns
        -------
        frozenset of int
            Numbers of the parts of other panels that get more.
        """
        path = frames_file(self.pieces.folder, task.angles_deg)
        with closing(Frames(path, self.pieces.layout)) as frames:
            return _Panel(self, task, frames).run()

    def lengths(self, part: Block) -> Array:
        """Lengths of the steps in a part's tiles and those around; kept, for every task asks for them."""
        found = self._lengths.get(part.number)
        if found is None:
            down, right = (-(-size // TILE_CELLS) + 2 for size in (part.rows, part.cols))
            first = part.row // TILE_CELLS - 1, part.col // TILE_CELLS - 1
            found = tile_lengths_m(self.grid, *first, down, right)
            if len(self._lengths) < LENGTHS_KEPT:
                self._lengths[part.number] = found
        return found

    def raise_steepest(self, part: Block, reached: Cells) -> None:
        """Keep the largest angles of a part."""
        with self._lock:
            put_piece(self.steepest, part, np.maximum(piece_of(self.steepest, part), reached))


def frames_file(folder: Path, angles_deg: Sequence[int]) -> Path:
    """File of the edges at some angles."""
    return folder / f"{angles_deg[0]}.frames"


class _Panel:
    """Parts of a panel at some angles, in one thread."""

    def __init__(self, energy: Energy, task: Task, frames: Frames) -> None:
        self._energy, self._task, self._frames = energy, task, frames
        self._layout = energy.pieces.layout
        # The kernel has so many angles: the last one fills up.
        missing = LANES - len(task.angles_deg)
        angles_deg = np.array(task.angles_deg + task.angles_deg[-1:] * missing)
        self._tangents = np.tan(np.radians(angles_deg - LEAN_DEG))
        self._angles_deg = angles_deg.astype(np.uint8)
        # In the order in which they were asked for.
        self._waiting: dict[int, None] = {}
        self._beyond: set[int] = set()
        self._kept: dict[int, Cells] = {}
        self._spare: list[Cells] = []

    def run(self) -> frozenset[int]:
        """Visit the parts, and again while one waits; those of other panels that get more."""
        asked = self._layout.panel(self._task.panel) if self._task.asked is None else sorted(self._task.asked)
        for number in asked:
            self._visit(number)
        while self._waiting:
            near = next((number for number in self._kept if number in self._waiting), None)
            self._visit(next(iter(self._waiting)) if near is None else near)
        return frozenset(self._beyond)

    def _visit(self, number: int) -> None:
        """Settle a part, from its kept heads or anew, and let the oldest go."""
        self._kept[number] = self._settle(number, self._kept.pop(number, None))
        if len(self._kept) > PARTS_KEPT:
            oldest = next(iter(self._kept))
            head = self._kept.pop(oldest)
            if oldest in self._waiting:
                self._settle(oldest, head)
            self._spare.append(head)

    def _settle(self, number: int, head: Cells | None) -> Cells:
        """Settle a part from its heads of before, or anew; its heads."""
        energy, lowest_m = self._energy, np.float32(self._energy.lowest_m)
        self._waiting.pop(number, None)
        part = self._layout.block(number)
        z = energy.pieces.heights_of(part)
        # Numbers of its own: the kernel is compiled for arrays that can be written to.
        classes = piece_of(energy.pieces.classes, part).copy()
        lost = (energy.lengths(part)[..., None] * self._tangents).astype(np.float32)
        again = head is not None
        if head is None:
            head = self._room((*z.shape, LANES))
            first_heads(z, classes, head)
        self._frames.fill_ring(number, head)
        settle(head, z, lowest_m, lost, again)
        self._frames.put(number, head)
        reached = np.empty_like(classes)
        mark_reached(head, z, classes, self._angles_deg, reached)
        energy.raise_steepest(part, reached)
        self._mark(number, brings_more(head, z, lowest_m, lost))
        return head

    def _room(self, shape: tuple[int, ...]) -> Cells:
        """Array for heads, used anew where one of the shape was let go: fresh memory costs time."""
        for k, spare in enumerate(self._spare):
            if spare.shape == shape:
                return self._spare.pop(k)
        self._spare.clear()
        return np.empty(shape, np.float32)

    def _mark(self, number: int, bits: int) -> None:
        for other, j, i in neighbours(self._layout, number):
            if bits >> (3 * (j + 1) + i + 1) & 1:
                if self._layout.panel_of(other) == self._task.panel:
                    self._waiting[other] = None
                else:
                    self._beyond.add(other)


@contextmanager
def open_energy(grid: Grid, pieces: Pieces, lowest_m: float) -> Iterator[Energy]:
    """Make what settles parts, with a file of its own for what it finds.

    Parameters
    ----------
    grid
        Of the model.
    pieces
        From the survey.
    lowest_m
        Height of the lowest known ground.
    """
    with closing(pieces.new_steepest()) as steepest:
        yield Energy(grid, pieces, steepest, lowest_m)
