"""A leg in pieces of about 50 m; unknown ground in it; the shape of one that bends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.card.sentences import unknown_words
from steybrae.card.times import PIECE_M, leg_pieces, line_shape_deg
from steybrae.route.ascent import ascent
from steybrae.route.walking import leg_min
from steybrae.screening.result import LegPoints


def points(heights: list[float], step_m: float = 10.0) -> LegPoints:
    count = len(heights)
    chainage = step_m * np.arange(count)
    zero = np.zeros(count)
    return LegPoints(
        chainage,
        57.0 + chainage / 111_300.0,
        np.full(count, -10.0),
        np.array(heights, dtype=float),
        *(zero,) * 7,
        np.isfinite(heights),
    )


def test_pieces_of_a_leg_up_and_down() -> None:
    # 200 m in four pieces of 50 m: up 20, up 10, down 5, down 25 m.
    heights = np.interp(np.arange(21) * 10.0, [0.0, 50.0, 100.0, 150.0, 200.0], [0.0, 20.0, 30.0, 25.0, 0.0])
    found = leg_pieces(points(heights.tolist()))
    assert [piece.length_m for piece in found.segments] == pytest.approx([50.0] * 4)
    assert [piece.ascent_m for piece in found.segments] == pytest.approx([20.0, 10.0, 0.0, 0.0])
    assert [piece.descent_m for piece in found.segments] == pytest.approx([0.0, 0.0, 5.0, 25.0])
    along = sum(math.hypot(50.0, rise) for rise in (20.0, 10.0, 5.0, 25.0))
    assert found.slope_distance_m == pytest.approx(along)
    assert (found.bridged_m, found.level_m, found.unknown_m) == (0.0, 0.0, 0.0)


def test_the_time_is_that_of_all_the_climb() -> None:
    """Knolls shorter than a piece were printed as climb and timed as level: a fifth too short."""
    heights = np.interp(np.arange(43) * 10.0, np.arange(9) * 50.0 + 20.0, [0.0, 8.0] * 4 + [0.0])
    found = leg_pieces(points(heights.tolist()))
    climb = ascent(heights)
    assert climb.up_m == pytest.approx(32.0)
    assert math.fsum(piece.ascent_m for piece in found.segments) == pytest.approx(climb.up_m)
    assert math.fsum(piece.descent_m for piece in found.segments) == pytest.approx(climb.down_m)
    assert leg_min(found.segments, "naismith") == pytest.approx(420.0 * 0.012 + climb.up_m / 10.0)


def test_unknown_between_known_heights_counts_the_climb_across_it() -> None:
    # 100 m known level, 100 m unknown, then 40 m higher: the 40 m must be climbed somewhere.
    heights = [0.0] * 11 + [math.nan] * 9 + [40.0] * 11
    found = leg_pieces(points(heights))
    assert sum(piece.ascent_m for piece in found.segments) == pytest.approx(40.0)
    assert (found.bridged_m, found.level_m) == (pytest.approx(100.0), 0.0)
    # Naismith: 300 m are 3.6 min, 40 m up are 4 min.
    assert leg_min(found.segments) == pytest.approx(7.6)
    assert unknown_words(4, found) == (
        "Leg 4: unknown ground timed 100 m as an even slope between known heights: at least this long."
    )


def test_unknown_at_an_end_is_level_and_said() -> None:
    heights = [math.nan] * 10 + [50.0] * 11
    found = leg_pieces(points(heights))
    assert sum(piece.ascent_m + piece.descent_m for piece in found.segments) == 0.0
    assert (found.bridged_m, found.level_m) == (0.0, pytest.approx(100.0))
    assert unknown_words(2, found) == "Leg 2: unknown ground timed 100 m as level: at least this long."


def test_a_leg_wholly_unknown() -> None:
    found = leg_pieces(points([math.nan] * 21))
    assert (found.level_m, found.bridged_m, found.slope_distance_m) == (200.0, 0.0, None)


@given(
    st.lists(st.one_of(st.just(math.nan), st.floats(0.0, 2000.0)), min_size=2, max_size=80),
    st.floats(0.5, 40.0),
)
def test_nothing_is_lost(heights: list[float], step_m: float) -> None:
    found = leg_pieces(points(heights, step_m))
    length_m = step_m * (len(heights) - 1)
    assert math.fsum(piece.length_m for piece in found.segments) == pytest.approx(length_m)
    assert all(piece.length_m <= 1.5 * PIECE_M for piece in found.segments)
    assert found.unknown_m <= length_m * (1.0 + 1e-9)
    gaps = sum(not math.isfinite(height) for height in heights)
    assert (found.unknown_m > 0.0) == (gaps > 0)
    known = [height for height in heights if math.isfinite(height)]
    if known:
        rise = math.fsum(piece.ascent_m - piece.descent_m for piece in found.segments)
        assert rise == pytest.approx(known[-1] - known[0], abs=1e-6)
        assert found.slope_distance_m is not None
        assert found.slope_distance_m >= length_m * (1.0 - 1e-12)


def test_the_shape_of_a_leg_that_bends() -> None:
    # 500 m north, then 500 m east: the corner is kept, and nothing else.
    straight = points([0.0] * 101)
    north = np.minimum(straight.chainage_m, 500.0) / 111_300.0
    east = np.maximum(straight.chainage_m - 500.0, 0.0) / (111_300.0 * math.cos(math.radians(57.0)))
    bent = replace(straight, lat_deg=57.0 + north, lon_deg=-10.0 + east)
    assert line_shape_deg(bent) == ((pytest.approx(57.0 + 500.0 / 111_300.0), pytest.approx(-10.0)),)
    assert line_shape_deg(straight) == ()
