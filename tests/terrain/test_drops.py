"""Drops: walls of a stated height are found whole, banks and low steps are not, in any direction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.terrain.shape import DROP_DEG, DROP_M, drop_m

SIZE = 21


def square(cell_m: float) -> np.ndarray:
    return np.array([[cell_m, 0.0], [0.0, -cell_m]])


def step(height_m: float, run_m: float, cell_m: float) -> np.ndarray:
    """Level ground, a wall that rises eastwards over a run, level ground above."""
    east = (np.arange(SIZE) - SIZE // 2) * cell_m
    return np.broadcast_to(height_m * np.clip(east / run_m, 0.0, 1.0), (SIZE, SIZE)).copy()


@pytest.mark.parametrize(
    ("height_m", "cell_m", "run_m"), [(8.0, 2.0, 2.0), (12.0, 1.0, 4.0), (40.0, 10.0, 20.0)]
)
def test_every_cell_of_a_wall_has_its_whole_height(height_m, cell_m, run_m):
    found = drop_m(step(height_m, run_m, cell_m), square(cell_m))
    first = SIZE // 2
    last = first + round(run_m / cell_m)
    np.testing.assert_allclose(found[5:-5, first : last + 1], height_m)
    assert (found[5:-5, : first - 1] == 0.0).all()
    assert (found[5:-5, last + 2 :] == 0.0).all()


def test_a_step_below_5_m_and_a_bank_below_55_degrees_are_no_drop():
    assert not drop_m(step(DROP_M - 0.01, 1.0, 1.0), square(1.0)).any()
    gentle = 8.0 / math.tan(math.radians(DROP_DEG - 1.0))
    assert not drop_m(step(8.0, gentle, 0.5), square(0.5)).any()
    steep = 8.0 / math.tan(math.radians(DROP_DEG + 3.0))
    assert drop_m(step(8.0, steep, 0.5), square(0.5)).max() == pytest.approx(8.0, abs=1.0)


def test_two_walls_with_a_ledge_between_are_two():
    heights = step(7.0, 2.0, 2.0) + np.roll(step(9.0, 2.0, 2.0), 4, axis=1)
    heights[:, :4] = 0.0
    row = drop_m(heights, square(2.0))[SIZE // 2]
    assert sorted({round(value, 6) for value in row if value}) == [7.0, 9.0]


def test_a_face_of_more_cells_than_a_hundred_is_told_whole():
    heights = np.broadcast_to(2.0 * np.clip(np.arange(300.0) - 60.0, 0.0, 150.0), (9, 300))
    found = drop_m(heights, square(1.0))
    np.testing.assert_allclose(found[4, 60:211], 300.0)
    assert not found[4, :59].any()
    assert not found[4, 212:].any()


@given(
    heights=st.lists(st.floats(0.0, 60.0), min_size=49, max_size=49),
    turns=st.integers(0, 3),
    flip=st.booleans(),
)
def test_it_is_the_same_on_turned_and_mirrored_ground(heights, turns, flip):
    ground = np.array(heights).reshape(7, 7)

    def turned(values: np.ndarray) -> np.ndarray:
        return np.rot90(np.fliplr(values) if flip else values, turns)

    np.testing.assert_allclose(
        drop_m(turned(ground), square(4.0)), turned(drop_m(ground, square(4.0))), atol=1e-9
    )


@given(heights=st.lists(st.floats(0.0, 60.0), min_size=49, max_size=49), hole=st.integers(0, 48))
def test_ground_not_known_adds_no_drop(heights, hole):
    ground = np.array(heights).reshape(7, 7)
    holed = ground.copy()
    holed.flat[hole] = np.nan
    found = drop_m(holed, square(4.0))
    assert np.isfinite(found).all()
    assert (found <= drop_m(ground, square(4.0)) + 1e-9).all()
