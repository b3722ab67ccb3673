"""The energy line over a whole model: part by part, until no part brings a neighbour more.

Every part is settled once, with what its neighbours had by then, and again whenever one of them brings
it more. Heads only ever rise, and only to what a path of snow gives, so that the end does not depend
on the order nor on where the parts are cut.

A panel of parts at some angles is a task: for a thread here, or for a worker anywhere. Parts are visited
along the panel, and the heads of the last few are kept. A part is looked at again when it would be let
go, after all around it in the panel, and goes on from where it stood: of its tiles only those at its edge
are swept anew. Which parts of other panels get more is told at the end of the task, and they are visited
in another one. Edges pass from part to part in memory, and in a file that all tasks share. A task that was
cut off before its end is begun anew, with its whole panel.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.frozen import dataclass
from steybrae.raster.blocks import PANEL_BLOCKS, Block, Layout
from steybrae.raster.files.outputs import SmallFile, free_writer_name
from steybrae.raster.overhead.heads import brings_more, first_heads, mark_reached, room_for_heads
from steybrae.raster.overhead.kernel import LANES, NEVER, settle
from steybrae.raster.overhead.layers import PART, RING, TILE_CELLS, Pieces, piece_of, put_piece
from steybrae.raster.overhead.survey import tile_lengths_m
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.overhead.ground import PATH_ANGLES_DEG

Cells = NDArray[Any]

TOP, BOTTOM, LEFT, RIGHT = range(4)

_ACROSS_BYTES: Final = 4 * RING * LANES
"""Bytes of the heads across an edge, at one of its cells."""

_NOTHING: Final = NEVER.view(np.uint32)
"""Bits of a head that is none."""


def neighbours(layout: Layout, number: int) -> Iterator[tuple[int, int, int]]:
    """Parts around one: number, and rows and columns of parts away."""
    down, right = divmod(number, layout.right)
    for j in (-1, 0, 1):
        for i in (-1, 0, 1):
            if (i or j) and 0 <= down + j < layout.down and 0 <= right + i < layout.right:
                yield (down + j) * layout.right + right + i, j, i


@dataclass(frozen=True, eq=False)
class _Taken:
    """A part that is taken up: its heads with the ring around, and what they are settled with."""

    part: Block
    head: Cells
    z: Cells
    classes: Cells
    lost: Cells


class Frames:
    """The two outermost rows and columns of every part's heads, at the angles of a kernel.

    In a file that several processes may write to, where zeros mean that nothing was written yet. A
    reader may find an older edge: that is too low at most, and its writer then tells that there is
    more to be had.
    """

    def __init__(self, path: Path, layout: Layout) -> None:
        self._layout = layout
        # An edge follows its cells, so that a corner is one piece of it.
        self._file = SmallFile(path, _ACROSS_BYTES)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def put(self, number: int, head: Cells) -> None:
        """Keep the edges of a part's heads; `head` has the ring around."""
        own = head[RING:-RING, RING:-RING].view(np.uint32)
        rows, cols = own.shape[:2]
        edges = np.zeros((4, PART, RING, LANES), np.uint32)
        # The last part may be thinner than the ring: what it lacks stays without a head.
        high, wide = min(RING, rows), min(RING, cols)
        for side, along, across, cells in (
            (TOP, cols, slice(high), own[:high].swapaxes(0, 1)),
            (BOTTOM, cols, slice(RING - high, RING), own[-high:].swapaxes(0, 1)),
            (LEFT, rows, slice(wide), own[:, :wide]),
            (RIGHT, rows, slice(RING - wide, RING), own[:, -wide:]),
        ):
            np.bitwise_xor(cells, _NOTHING, out=edges[side, :along, across])
        if edges.any():
            self._write(number, edges)

    def forget(self, number: int) -> None:
        """Have nothing of a part."""
        self._write(number, np.zeros((4, PART, RING, LANES), np.uint32))

    def _write(self, number: int, edges: Cells) -> None:
        self._file.write(4 * PART * number, edges.data.cast("B"))

    def fill_ring(self, number: int, head: Cells, kept: Mapping[int, _Taken]) -> None:
        """Set the ring around a part's heads to what its neighbours have there, in memory or in the file."""
        rows, cols = (size - 2 * RING for size in head.shape[:2])
        for other, j, i in neighbours(self._layout, number):
            place = head[_ring(j, rows), _ring(i, cols)]
            if other in kept:
                place[...] = kept[other].head[_facing(j, rows), _facing(i, cols)]
                continue
            side = (BOTTOM if j < 0 else TOP) if j else (RIGHT if i < 0 else LEFT)
            first, many = 0, cols if j else rows
            if j and i:
                # The end of an edge; a part to the left is never the last, and whole.
                first, many = PART - RING if i < 0 else 0, RING
            raw = self._file.read((4 * other + side) * PART + first, many).ljust(many * _ACROSS_BYTES, b"\0")
            edge = (np.frombuffer(raw, np.uint32) ^ _NOTHING).view(np.float32).reshape(many, RING, LANES)
            place[...] = edge.swapaxes(0, 1) if j else edge


def _ring(step: int, size: int) -> slice:
    """Rows or columns of the ring, or of the part, in an array with the ring."""
    if step == 0:
        return slice(RING, RING + size)
    return slice(0, RING) if step < 0 else slice(RING + size, 2 * RING + size)


def _facing(step: int, size: int) -> slice:
    """Rows or columns of a neighbour that lie in the ring, in its own array; it is one step away."""
    if step == 0:
        return slice(RING, RING + size)
    return slice(-2 * RING, -RING) if step < 0 else slice(RING, 2 * RING)


ANGLES_DEG: Final = tuple(int(angle) for angle in PATH_ANGLES_DEG)
"""Angles that are tried, whole degrees."""

LEAN_DEG: Final = 0.01
"""So much flatter is tried, degrees, that single precision never lets snow stop short: a head of 4000 m
is rounded by 0.0002 m at each step, a few hundredths of a metre on the longest way."""

PARTS_KEPT: Final = PANEL_BLOCKS + 2
"""Parts that a task keeps, 4.6 MB each: when one is let go, all around it in its panel were visited."""

LENGTHS_KEPT: Final = 20_000
"""Parts whose lengths are kept, a kilobyte each."""


@dataclass(frozen=True)
class Task:
    """Some parts of a panel to be settled at some angles: whole degrees, rising, `LANES` at the most.

    `asked` are numbers of the parts that others bring more; None for a first visit to all of them.
    """

    angles_deg: tuple[int, ...]
    panel: int
    asked: frozenset[int] | None


@dataclass(frozen=True, eq=False)
class Energy:
    """Settles the parts of a model from heights and classes of each; threads may share it.

    `steepest` are pieces with the largest angle at which each cell was reached so far, degrees;
    raised. `lowest_m` is the lowest known ground of the whole model.
    """

    grid: Grid
    pieces: Pieces
    steepest: SmallFile
    lowest_m: float
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _lengths: dict[int, Array] = field(default_factory=dict)

    def settle(self, task: Task) -> frozenset[int]:
        """Settle parts, and those of the panel that get more; numbers of those of other panels that do."""
        folder = self.pieces.folder
        begun = folder / f"{free_writer_name()}.{_begun_name(task)}"
        cut_off = list(folder.glob(f"*.{_begun_name(task)}"))
        begun.touch()
        with closing(Frames(frames_file(folder, task.angles_deg), self.pieces.layout)) as frames:
            if cut_off:
                # What that attempt had raised would bring nobody more, and be told to nobody: begun anew.
                task = replace(task, asked=None)
                for number in self.pieces.layout.panel(task.panel):
                    frames.forget(number)
            found = _Panel(self, task, frames).run()
        for left in (*cut_off, begun):
            left.unlink(missing_ok=True)
        return found

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


def _begun_name(task: Task) -> str:
    """End of the name of a file that is there while a task is at work."""
    return f"{task.angles_deg[0]}-{task.panel}.begun"


def frames_file(folder: Path, angles_deg: Sequence[int]) -> Path:
    """File of the edges at some angles."""
    return folder / f"{angles_deg[0]}.frames"


class _Panel:
    """Parts of a panel at some angles, in one thread."""

    def __init__(self, energy: Energy, task: Task, frames: Frames) -> None:
        self._energy, self._task, self._frames = energy, task, frames
        self._layout, self._lowest_m = energy.pieces.layout, np.float32(energy.lowest_m)
        # The kernel has so many angles: the last one fills up.
        missing = LANES - len(task.angles_deg)
        angles_deg = np.array(task.angles_deg + task.angles_deg[-1:] * missing)
        self._tangents = np.tan(np.radians(angles_deg - LEAN_DEG))
        self._angles_deg = angles_deg.astype(np.uint8)
        # In the order in which they were asked for.
        self._waiting: dict[int, None] = {}
        self._beyond: set[int] = set()
        self._kept: dict[int, _Taken] = {}
        self._spare: list[Cells] = []

    def run(self) -> frozenset[int]:
        """Visit the parts, and again while one waits; those of other panels that get more."""
        asked = self._layout.panel(self._task.panel) if self._task.asked is None else sorted(self._task.asked)
        for number in asked:
            self._visit(number)
        while self._waiting:
            near = next((number for number in self._kept if number in self._waiting), None)
            self._visit(next(iter(self._waiting)) if near is None else near)
        for taken in self._kept.values():
            self._tell(taken)
        return frozenset(self._beyond)

    def _visit(self, number: int) -> None:
        """Settle a part, from its kept heads or anew, and let the oldest go."""
        taken = self._kept.pop(number, None)
        if taken is None:
            taken = self._taken(number)
            self._settle(taken, False)
        else:
            self._settle(taken, True)
        self._kept[number] = taken
        if len(self._kept) > PARTS_KEPT:
            oldest = next(iter(self._kept))
            taken = self._kept.pop(oldest)
            if oldest in self._waiting:
                self._settle(taken, True)
            self._tell(taken)
            self._spare.append(taken.head)

    def _taken(self, number: int) -> _Taken:
        """Take a part up: its sources have heads."""
        part, pieces = self._layout.block(number), self._energy.pieces
        z = pieces.heights_of(part)
        # Numbers of its own: the kernel is compiled for arrays that can be written to.
        classes = piece_of(pieces.classes, part).copy()
        lost = (self._energy.lengths(part)[..., None] * self._tangents).astype(np.float32)
        head = self._room(*z.shape)
        first_heads(z, classes, head)
        return _Taken(part, head, z, classes, lost)

    def _settle(self, taken: _Taken, again: bool) -> None:
        """Settle a part with what its neighbours have by now; those that get more from it wait."""
        number = taken.part.number
        self._waiting.pop(number, None)
        self._frames.fill_ring(number, taken.head, self._kept)
        settle(taken.head, taken.z, self._lowest_m, taken.lost, again)
        self._mark(number, brings_more(taken.head, taken.z, self._lowest_m, taken.lost))

    def _tell(self, taken: _Taken) -> None:
        """Write down what was found in a part: what was reached, and its edges."""
        reached = np.empty_like(taken.classes)
        mark_reached(taken.head, taken.z, taken.classes, self._angles_deg, reached)
        self._energy.raise_steepest(taken.part, reached)
        self._frames.put(taken.part.number, taken.head)

    def _room(self, rows: int, cols: int) -> Cells:
        """Array for heads, used anew where one of the shape was let go: fresh memory costs time."""
        for k, spare in enumerate(self._spare):
            if spare.shape == (rows, cols, LANES):
                return self._spare.pop(k)
        self._spare.clear()
        return room_for_heads(rows, cols)

    def _mark(self, number: int, bits: int) -> None:
        for other, j, i in neighbours(self._layout, number):
            if bits >> (3 * (j + 1) + i + 1) & 1:
                if self._layout.panel_of(other) == self._task.panel:
                    self._waiting[other] = None
                else:
                    self._beyond.add(other)


@contextmanager
def open_energy(grid: Grid, pieces: Pieces, lowest_m: float) -> Iterator[Energy]:
    """Make what settles parts from the survey's pieces, with a file of its own for what it finds."""
    with closing(pieces.new_steepest()) as steepest:
        yield Energy(grid, pieces, steepest, lowest_m)
