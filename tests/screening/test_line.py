"""A line as one: what counts at the very edges of 30 and 25 degrees, as shown, and of stretches."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from steybrae.route.legs import Track
from steybrae.route.overhead.result import SeenAlong
from steybrae.route.touching import CorridorCells, Pieces
from steybrae.screening.places.find import letters
from steybrae.screening.places.line import BesideLeg, Line, bridged, joined, outside, shared

SHOWN = pytest.mark.parametrize(
    ("below_edge_deg", "counts"), [(0.05, True), (0.0, True), (0.1 + 1e-5, False)], ids=["up", "on", "below"]
)
"""An angle counts by what is shown of it: tenths, rounded up."""


def columns(of, **given):
    """Ten metres in one piece; numbers that are not given are 0, flags off."""
    length = {"start_m": 0.0, "end_m": 10.0}
    flags = {"known", "ended", "left", "hidden", "in_start_zone", "unknown_above", "model_ends", "trap"}
    names = [one.name for one in fields(of)]
    return of(
        *(np.array([given.get(name, length.get(name, False if name in flags else 0.0))]) for name in names)
    )


def line(cells=None, over=None, **piece) -> Line:
    """One leg of ten metres on level ground, known and nothing over it unless given."""
    cells = columns(CorridorCells, **{"known": True, "off_m": 40.0, **(cells or {})})
    pieces = columns(Pieces, **{"known": True, "ended": True, **piece})
    seen = columns(SeenAlong, **{"deg": np.nan, "possible_deg": np.nan, **(over or {})})
    turns = np.array([0.0, 10.0])
    track = Track(np.full(2, 11.0), np.array([47.0, 47.00009]), turns, np.zeros(1))
    return Line(
        [track], ("Foot",), turns, turns, np.zeros(2), (), [pieces], [cells], [BesideLeg.of(cells)], [seen]
    )


def has(stretches) -> bool:
    start, end = stretches
    return bool((end - start).sum() > 0.0)


@SHOWN
def test_underfoot_counts_by_what_is_shown(below_edge_deg, counts):
    deg = 30.0 - below_edge_deg
    assert line(slope_deg=deg).steep.tolist() == [counts]
    assert line(short_deg=deg).steep.tolist() == [counts]
    assert has(line(high_deg=deg).possible) == counts


@SHOWN
def test_the_corridor_counts_by_what_is_shown(below_edge_deg, counts):
    deg = 30.0 - below_edge_deg
    assert has(line({"slope_deg": deg}).stretches_beside("steep")) == counts
    assert has(line({"high_deg": deg}).possible) == counts


@SHOWN
def test_overhead_counts_by_what_is_shown(below_edge_deg, counts):
    deg = 25.0 - below_edge_deg
    assert line(over={"deg": deg}).below.tolist() == [counts]
    assert has(line(over={"deg": deg}).possible) == counts
    assert has(line(over={"possible_deg": deg}).possible) == counts


def test_no_place_to_stand_from_30_degrees_on_to_where_ground_speaks_against_it():
    at = np.array([5.0])
    assert line(high_deg=29.9).may_serve(at).tolist() == [True]
    assert line(high_deg=29.95).may_serve(at).tolist() == [False]
    for unknown in ({"known": False}, {"ended": False}, {"high_deg": np.nan}):
        assert line(**unknown).may_serve(at).tolist() == [False], unknown
    # A cell beside: everything within 30 m of it, its edge too.
    beside = line({"start_m": 0.0, "end_m": 0.0, "off_m": 18.0, "high_deg": 31.0})
    assert beside.may_serve(np.array([24.0, 24.001])).tolist() == [False, True]


@pytest.mark.parametrize(
    ("taken", "left"),
    [
        ([(5.0, 12.0)], [(0.0, 5.0)]),
        ([(0.0, 4.0)], [(4.0, 10.0)]),
        ([(0.0, 10.0)], []),
        ([(2.0, 3.0), (3.0, 10.0)], [(0.0, 2.0)]),
        ([(10.0, 12.0)], [(0.0, 10.0)]),
    ],
)
def test_nothing_without_a_length_is_left_where_a_stretch_is_taken_to_its_end(taken, left):
    assert outside(np.array([(0.0, 10.0)]), np.array(taken)).tolist() == [list(one) for one in left]


def test_a_gap_is_bridged_only_by_what_does_not_end_a_stretch_and_not_beyond_the_last():
    start, end = np.array([0.0, 90.0]), np.array([10.0, 100.0])
    assert bridged(start, end, np.empty((0, 2))).tolist() == [[0.0, 10.0], [90.0, 100.0]]
    assert bridged(start, end, np.array([(10.0, 90.0), (100.0, 300.0)])).tolist() == [[0.0, 100.0]]


def test_50_m_apart_are_two_and_a_touch_is_one():
    assert len(joined(np.array([0.0, 60.0]), np.array([10.0, 70.0]))) == 2
    assert len(joined(np.array([0.0, 59.9]), np.array([10.0, 70.0]))) == 1
    assert len(joined(np.array([0.0, 10.0]), np.array([10.0, 20.0]), 0.0)) == 1


def test_half_of_a_stretch_in_a_longer_one_shares_its_place_and_a_hair_less_does_not():
    longer = (0.0, 100.0)
    assert len(shared(np.array([longer, (80.0, 120.0)]))) == 1
    assert len(shared(np.array([longer, (80.0, 120.1)]))) == 2
    # Of no length: on its end it belongs, off it not.
    assert len(shared(np.array([longer, (100.0, 100.0)]))) == 1
    assert len(shared(np.array([longer, (100.1, 100.1)]))) == 2


@pytest.mark.parametrize(
    ("number", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (52, "BA"), (702, "AAA")]
)
def test_letters(number, name):
    assert letters(number) == name
