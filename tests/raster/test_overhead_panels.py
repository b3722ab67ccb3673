"""Panels of parts as tasks: in parts the same as whole, also where an attempt at one is cut off anywhere."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray
from tests.raster.rasters_made import UTM
from tests.raster.test_overhead_kernel import heads
from tests.terrain.overhead.made_ground import rough

from steybrae.raster import blocks
from steybrae.raster.blocks import Block
from steybrae.raster.overhead import energy
from steybrae.raster.overhead.energy import LEAN_DEG, Energy, Frames, Task, frames_file, open_energy
from steybrae.raster.overhead.kernel import LANES
from steybrae.raster.overhead.layers import NEITHER, PART, RING, START_ZONE, open_pieces
from steybrae.raster.overhead.survey import tile_lengths_m
from steybrae.terrain.dem import Grid

Cells = NDArray[Any]

SIZE = 2 * PART + 1
"""Three by three parts, the last of them thinner than a ring."""

ANGLES_DEG = (18, 24, 33)


@pytest.fixture(autouse=True)
def small_panels(monkeypatch: pytest.MonkeyPatch) -> None:
    """A panel for each column of parts, and memory for two of its three parts."""
    monkeypatch.setattr(blocks, "PANEL_BLOCKS", 1)
    monkeypatch.setattr(energy, "PARTS_KEPT", 2)


def hills() -> tuple[Cells, Cells]:
    """Heights of rough hills, and where there is snow: on what is high."""
    z = rough(SIZE, 3, relief=0.5).astype(np.float32)
    return z, z > np.quantile(z, 0.9)


def gully() -> tuple[Cells, Cells]:
    """A gully that falls by 25 degrees, a cell wide: from the south of the first panel through all parts of
    the second, up and down between two of them, with a way out to the third. Nothing else is reached."""
    z = np.full((SIZE, SIZE), 20_000.0)
    ways = [(512, 20), (512, 300), (200, 300), (200, 400), (400, 400), (400, 450), (100, 450), (100, 500)]
    chainage = 0
    for (row, col), (to_row, to_col) in [*pairwise([*ways, (300, 500)]), (ways[-1], (100, 512))]:
        steps = abs(to_row - row) + abs(to_col - col)
        # The last is a branch of the one before.
        begin = chainage - 200 if to_col == 512 else chainage
        for step in range(steps + 1):
            r, c = row + (to_row - row) * step // steps, col + (to_col - col) * step // steps
            z[r, c] = 9000.0 - 10.0 * np.tan(np.radians(25.0)) * (begin + step)
        chainage += steps
    snow = np.zeros(z.shape, bool)
    snow[512, 20] = True
    return z.astype(np.float32), snow


@contextmanager
def working(folder: Path, z: Cells, snow: Cells) -> Iterator[Energy]:
    """What settles the parts of some ground, in a working folder."""
    grid = Grid(UTM, "EPSG:32632", z.shape)
    folder.mkdir()
    with open_pieces(folder, grid.shape) as pieces:
        classes = np.where(snow, START_ZONE, NEITHER).astype(np.uint8)
        pieces.put_block(Block(0, 0, 0, *z.shape), classes, np.pad(z, RING, constant_values=np.inf))
        with open_energy(grid, pieces, float(z.min())) as found:
            yield found


def solved(made: Energy, settle: Callable[[Task], frozenset[int]]) -> Cells:
    """Largest angles of all cells, once no panel brings another more."""
    layout = made.pieces.layout
    waiting: dict[int, frozenset[int] | None] = dict.fromkeys(range(layout.panels))
    while waiting:
        panel, asked = waiting.popitem()
        for part in settle(Task(ANGLES_DEG, panel, asked)):
            before = waiting.get(layout.panel_of(part), frozenset())
            waiting[layout.panel_of(part)] = None if before is None else before | {part}
    return made.pieces.cells_of(made.steepest, Block(0, 0, 0, SIZE, SIZE))


def test_in_parts_it_is_the_same_as_in_one_piece(tmp_path: Path) -> None:
    z, snow = hills()
    lengths = tile_lengths_m(Grid(UTM, "EPSG:32632", z.shape), 0, 0, 1, 1)[0, 0]
    expected = np.zeros(z.shape, np.uint8)
    for angle_deg in ANGLES_DEG:
        risen = heads(z, snow, angle_deg - LEAN_DEG, lengths) > np.where(snow, z, -np.inf)
        expected[risen] = angle_deg
    with working(tmp_path / "work", z, snow) as made:
        got = solved(made, made.settle)
    # Tiles have lengths of their own, which differ in the seventh digit.
    assert (got != expected).mean() < 1e-4
    assert set(np.unique(got)) == {0, *ANGLES_DEG}


@pytest.mark.parametrize(("of", "what"), [(Frames, "put"), (Frames, "fill_ring"), (Energy, "raise_steepest")])
@pytest.mark.parametrize("ground", [hills, gully])
def test_an_attempt_that_is_cut_off_anywhere_loses_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    ground: Callable[[], tuple[Cells, Cells]],
    of: type,
    what: str,
) -> None:
    """As when a worker dies, whose panel is then given to another with the same question."""
    z, snow = ground()
    real, calls, cut_at = getattr(of, what), 0, -1

    def counted(*given: object) -> None:
        nonlocal calls
        calls += 1
        if calls == cut_at:
            message = "cut off"
            raise OSError(message)
        real(*given)

    monkeypatch.setattr(of, what, counted)

    def patient(settle: Callable[[Task], frozenset[int]], task: Task) -> frozenset[int]:
        try:
            return settle(task)
        except OSError:
            return settle(task)

    with working(tmp_path / "whole", z, snow) as made:
        whole = solved(made, made.settle)
    most = calls
    assert most > 9  # some parts are visited more than once
    for cut in range(1, most + 1):
        calls, cut_at = 0, cut
        with working(tmp_path / f"cut {cut}", z, snow) as made:
            got = solved(made, partial(patient, made.settle))
            assert not list(made.pieces.folder.glob("*.begun"))
        assert_array_equal(got, whole)


def test_of_an_attempt_that_was_cut_off_no_edge_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An edge that its part no longer has would be taken for told."""
    z, snow = gully()
    with working(tmp_path / "work", z, snow) as made:
        layout = made.pieces.layout
        head = np.ones((PART + 2 * RING, PART + 2 * RING, LANES), np.float32)
        with closing(Frames(frames_file(tmp_path / "work", ANGLES_DEG), layout)) as frames:
            for number in (1, 3):
                frames.put(number, head)
        (tmp_path / "work" / f"other.{ANGLES_DEG[0]}-1.begun").touch()
        around = np.full_like(head, -np.inf)

        def look(panel: Any) -> frozenset[int]:
            assert panel._task == Task(ANGLES_DEG, 1, None)
            panel._frames.fill_ring(4, around, {})
            return frozenset()

        monkeypatch.setattr(energy._Panel, "run", look)
        made.settle(Task(ANGLES_DEG, 1, frozenset({4})))
    # That of the same panel is gone, that of the panel beside it is not.
    assert (around[RING:-RING, :RING] == 1.0).all()
    assert np.isneginf(around[:RING]).all()
