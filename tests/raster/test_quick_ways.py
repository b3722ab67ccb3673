"""Ways that were taken because they are quick: the same to the last number as the plain ones."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from steybrae.raster.job import LAYERS, halve
from steybrae.raster.tally import _counts, _known_ends

SLOPES = st.one_of(st.just(np.nan), st.floats(0.0, 90.0, width=32))
HEIGHTS = st.floats(-500.0, 9000.0, width=32)


@given(hnp.arrays(np.uint8, st.integers(1, 300), elements=st.integers(0, 71)))
def test_bytes_counted_two_at_once(code: NDArray[Any]) -> None:
    assert_array_equal(_counts(code, 72), np.bincount(code, minlength=72))


@given(hnp.arrays(np.uint16, st.integers(1, 300), elements=st.integers(0, 359)))
def test_more_codes_than_a_byte_holds(code: NDArray[Any]) -> None:
    assert_array_equal(_counts(code, 360), np.bincount(code, minlength=360))


@given(
    hnp.arrays(np.float32, (7, 9), elements=st.one_of(HEIGHTS, st.sampled_from([np.nan, np.inf, -np.inf])))
)
def test_ends_of_what_is_known(z: NDArray[Any]) -> None:
    low, high = _known_ends(z)
    known = z[np.isfinite(z)]
    if known.size:
        assert (low, high) == (known.min(), known.max())
    else:
        assert low > high or np.isnan(low)


@given(hnp.arrays(np.float32, (4, 6), elements=SLOPES), st.integers(0, 23))
def test_floats_halved_as_whole_numbers(cells: NDArray[Any], at: int) -> None:
    # What an invalid operation gives on x86 has its sign set.
    cells.view(np.uint32).reshape(-1)[at] = 0xFFC00000
    plain = np.maximum.reduce([cells[::2, ::2], cells[1::2, ::2], cells[::2, 1::2], cells[1::2, 1::2]])
    assert_array_equal(halve(cells, LAYERS["slope"]), plain)
