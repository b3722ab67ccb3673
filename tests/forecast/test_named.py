"""Ground that a bulletin names, against a slow and plain implementation and by hand."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from steybrae.forecast.beside import heights_by_aspect
from steybrae.forecast.bulletin import (
    LEVELS,
    DangerRating,
    Elevation,
    reduction_angle,
    standard_words,
    where_words,
)
from steybrae.forecast.named import (
    GroundCells,
    LegGrounds,
    bound_range_m,
    compact,
    crossed,
    join_cells,
    sector_bits,
    sector_names,
)
from steybrae.quantities import shown_slope_deg
from steybrae.terrain.attributes import SECTORS, aspect_sector

Piece = tuple[int, float, float, float, float, float]
"""Bin, slope, aspect, half-width of the aspect, low, high."""


def sectors(aspect: float, half: float) -> tuple[str, ...]:
    return sector_names(int(sector_bits(np.array([aspect]), np.array([half]))[0]))


class TestSectors:
    @pytest.mark.parametrize("aspect", [0.0, 22.49, 22.51, 67.4, 180.0, 337.4, 337.6, 359.999])
    def test_without_uncertainty_it_is_the_published_sector(self, aspect: float) -> None:
        assert sectors(aspect, 0.0) == (aspect_sector(aspect),)

    def test_on_an_edge_both_count(self) -> None:
        assert sectors(22.5, 0.0) == ("N", "NE")
        assert sectors(337.5, 0.0) == ("N", "NW")
        assert sectors(12.0, 10.5) == ("N", "NE")
        assert sectors(12.0, 10.4) == ("N",)

    def test_half_a_sector_always_reaches_a_neighbour(self) -> None:
        for aspect in np.arange(0.0, 360.0, 0.5):
            assert len(sectors(float(aspect), 22.5)) >= 2

    @pytest.mark.parametrize(("aspect", "half"), [(math.nan, 0.0), (10.0, math.nan), (10.0, 180.0)])
    def test_unknown_faces_all(self, aspect: float, half: float) -> None:
        assert sectors(aspect, half) == SECTORS

    @given(st.floats(0.0, 359.99), st.floats(0.0, 180.0))
    def test_never_loses_the_sector_of_an_aspect_within(self, aspect: float, half: float) -> None:
        found = sectors(aspect, half)
        for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
            assert aspect_sector((aspect + share * half) % 360.0) in found


class TestBounds:
    @pytest.mark.parametrize(
        ("elevation", "treeline", "low", "high"),
        [
            (None, None, -math.inf, math.inf),
            (Elevation(None, None), None, -math.inf, math.inf),
            (Elevation("800", None), None, 750.0, math.inf),
            (Elevation(None, "800"), None, -math.inf, 850.0),
            (Elevation("800", "1200"), None, 750.0, 1250.0),
            (Elevation("0", None), None, -50.0, math.inf),
            (Elevation("treeline", None), 600.0, 500.0, math.inf),
            (Elevation(None, "treeline"), 600.0, -math.inf, 700.0),
            (Elevation("treeline", "900"), None, -math.inf, 950.0),
            (Elevation("treeline", "treeline"), None, -math.inf, math.inf),
        ],
    )
    def test_each(self, elevation: Elevation | None, treeline: float | None, low: float, high: float) -> None:
        assert bound_range_m(elevation, treeline) == (low, high)


def cells_of(pieces: list[Piece], bins: int, least_deg: float = 20.0) -> GroundCells:
    at, slope, aspect, half, low, high = np.array(pieces, dtype=float).reshape(-1, 6).T
    edges = np.cumsum([0.0, *(7.0 + k for k in range(bins))])
    bits = sector_bits(aspect, half)
    return compact(edges, np.zeros(bins, dtype=bool), at.astype(int), slope, bits, (low, high), least_deg)


def plain(
    pieces: list[Piece], bins: int, aspects: tuple[str, ...], elevation: Elevation | None, least: float
) -> float:
    """Metres of named ground, piece by piece, from what the standard's words mean."""
    metres = 0.0
    for number in range(bins):
        for at, slope, aspect, half, low, high in pieces:
            if at != number or float(shown_slope_deg(slope)) < least:
                continue
            faces = [
                name
                for k, name in enumerate(SECTORS)
                if min(abs(aspect - 45.0 * k), 360.0 - abs(aspect - 45.0 * k)) <= 22.5 + half
            ]
            if aspects and not set(aspects) & set(faces):
                continue
            if elevation is not None and elevation.lower_bound and high < float(elevation.lower_bound) - 50.0:
                continue
            if elevation is not None and elevation.upper_bound and low > float(elevation.upper_bound) + 50.0:
                continue
            metres += 7.0 + number
            break
    return metres


BINS = 6
PIECES = st.lists(
    st.tuples(
        st.integers(0, BINS - 1),
        st.floats(0.0, 70.0),
        st.integers(0, 359).map(float),
        st.sampled_from([0.0, 3.25, 12.1, 19.0, 180.0]),
        st.integers(0, 200).map(lambda k: 10.0 * k),
        st.integers(0, 12).map(lambda k: 10.0 * k),
    ).map(lambda p: (*p[:5], p[4] + p[5])),
    max_size=40,
)
BOUNDS = st.none() | st.integers(0, 20).map(lambda k: str(100 * k))
ELEVATIONS = st.none() | st.builds(Elevation, BOUNDS, BOUNDS)
ASPECTS = st.lists(st.sampled_from(SECTORS), max_size=8).map(tuple)


class TestMatching:
    @given(PIECES, ASPECTS, ELEVATIONS, st.sampled_from([20.0, 25.0, 30.0, 35.0, 42.5]))
    @settings(max_examples=600, deadline=None)
    def test_equal_to_the_plain_one(
        self, pieces: list[Piece], aspects: tuple[str, ...], elevation: Elevation | None, least: float
    ) -> None:
        found = crossed(cells_of(pieces, BINS), aspects, bound_range_m(elevation, None), least)
        assert found.length_m == pytest.approx(plain(pieces, BINS, aspects, elevation, least), abs=1e-9)
        assert sum(end - start for start, end in found.stretches_m) == pytest.approx(found.length_m, abs=1e-9)
        assert set(found.sectors) <= set(aspects or SECTORS)

    @given(PIECES, st.floats(0.0, 9.9), ASPECTS, ELEVATIONS)
    @settings(max_examples=150, deadline=None)
    def test_rounded_heights_never_lose_ground(
        self, pieces: list[Piece], shift: float, aspects: tuple[str, ...], elevation: Elevation | None
    ) -> None:
        moved = [(*p[:4], p[4] + shift, p[5] + shift) for p in pieces]
        found = crossed(cells_of(moved, BINS), aspects, bound_range_m(elevation, None), 30.0)
        assert found.length_m >= plain(moved, BINS, aspects, elevation, 30.0) - 1e-9

    def test_slopes_are_those_shown(self) -> None:
        cells = cells_of([(0, 29.91, 10.0, 0.0, 500.0, 500.0), (1, 29.89, 10.0, 0.0, 500.0, 500.0)], 2)
        assert crossed(cells, (), (-math.inf, math.inf), 30.0).stretches_m == (tuple(cells.edges_m[:2]),)

    def test_unknown_ground_makes_it_at_least(self) -> None:
        cells = cells_of([(0, 40.0, 10.0, 0.0, 500.0, 500.0)], 2)
        some = GroundCells(cells.edges_m, np.array([False, True]), *(getattr(cells, n) for n in (
            "at", "slope_deg", "sectors", "low_m", "high_m", "near_m")))  # fmt: skip
        assert crossed(some, (), (-math.inf, math.inf), 30.0).at_least
        same = GroundCells(cells.edges_m, np.array([True, False]), *(getattr(cells, n) for n in (
            "at", "slope_deg", "sectors", "low_m", "high_m", "near_m")))  # fmt: skip
        # The bin is named already: unknown ground in it adds nothing.
        assert not crossed(same, (), (-math.inf, math.inf), 30.0).at_least

    def test_stretches_join_and_part(self) -> None:
        pieces = [(k, 40.0, 10.0, 0.0, 500.0, 500.0) for k in (0, 1, 3)]
        found = crossed(cells_of(pieces, 5), ("N",), (-math.inf, math.inf), 30.0)
        assert found.stretches_m == ((0.0, 15.0), (24.0, 34.0))
        assert crossed(cells_of(pieces, 5), ("S",), (-math.inf, math.inf), 30.0).stretches_m == ()

    def test_no_ground_at_all(self) -> None:
        assert crossed(cells_of([], 3), (), (-math.inf, math.inf), 30.0).length_m == 0.0

    @given(PIECES, PIECES)
    @settings(max_examples=100, deadline=None)
    def test_joined_stretches_are_one_line(self, one: list[Piece], other: list[Piece]) -> None:
        first, then = cells_of(one, BINS), cells_of(other, BINS)
        parts = [first, dataclasses.replace(then, edges_m=then.edges_m + first.edges_m[-1])]
        alone = [crossed(part, ("N", "E"), (300.0, 900.0), 30.0).length_m for part in parts]
        assert crossed(join_cells(parts), ("N", "E"), (300.0, 900.0), 30.0).length_m == pytest.approx(
            sum(alone)
        )


class TestMatrix:
    def test_by_hand(self) -> None:
        cells = cells_of([(0, 40.0, 0.0, 0.0, 810.0, 830.0), (1, 40.0, 90.0, 0.0, 990.0, 1010.0)], 2)
        rating = DangerRating("high", Elevation("900", None), ("N", "E"), "all_day")
        found = heights_by_aspect([LegGrounds(cells, cells, cells, 22.0)], [rating], 30.0, None)
        assert found is not None
        assert found.height_edges_m.tolist() == [800.0, 900.0, 1000.0, 1100.0]
        assert found.line_m[:, SECTORS.index("N")].tolist() == [7.0, 0.0, 0.0]
        assert found.line_m[:, SECTORS.index("E")].tolist() == [0.0, 8.0, 8.0]
        assert found.named[0, :, SECTORS.index("N")].tolist() == [False, True, True]
        assert not found.named[0, :, SECTORS.index("S")].any()

    def test_a_day_of_1600_m_has_rows_that_can_be_read(self) -> None:
        """Sixteen of 100 m had stood on each other in the picture."""
        cells = cells_of([(0, 40.0, 0.0, 0.0, 1310.0, 1330.0), (1, 40.0, 90.0, 0.0, 2870.0, 2890.0)], 2)
        found = heights_by_aspect([LegGrounds(cells, cells, cells, 22.0)], [], 30.0, None)
        assert found is not None
        assert found.height_edges_m.tolist() == [1200.0 + 200.0 * k for k in range(10)]

    def test_none_where_none_is_steep(self) -> None:
        cells = cells_of([(0, 25.0, 0.0, 0.0, 810.0, 830.0)], 1)
        none = cells_of([], 1)
        assert heights_by_aspect([LegGrounds(cells, cells, none, 22.0)], [], 30.0, None) is None


class TestWords:
    def test_levels_are_the_published_ones(self) -> None:
        # European danger scale, five degrees.
        assert LEVELS == {"low": 1, "moderate": 2, "considerable": 3, "high": 4, "very_high": 5}
        assert standard_words("considerable") == "considerable (3)"
        assert standard_words("no_rating") == "no rating"

    @pytest.mark.parametrize(
        ("level", "deg"),
        # W. Munter 1995-97, as read in a mountain-rescue article.
        [("low", None), ("moderate", 40.0), ("considerable", 35.0), ("high", 30.0), ("very_high", None)],
    )
    def test_reduction_angles_are_the_published_ones(self, level: str, deg: float | None) -> None:
        assert reduction_angle(level).method_deg == deg

    def test_where(self) -> None:
        rating = DangerRating("high", Elevation("treeline", "1800"), ("W", "N"), "later")
        assert where_words(rating) == "treeline to 1800 m, N W, later in the day"
        assert where_words(DangerRating("high", None, SECTORS, "all_day")) == "all heights, all aspects"
        assert where_words(DangerRating("high", Elevation(None, "treeline"), (), "earlier")) == (
            "below treeline, all aspects, earlier in the day"
        )


def test_a_treeline_that_contradicts_the_other_bound_is_none_at_all() -> None:
    assert bound_range_m(Elevation("treeline", "2000"), 2300.0) == (-math.inf, 2050.0)
    assert bound_range_m(Elevation("2400", "treeline"), 1800.0) == (2350.0, math.inf)
    assert bound_range_m(Elevation("treeline", "2000"), 1800.0) == (1700.0, 2050.0)


def test_of_ground_that_no_bulletin_tells_apart_the_nearest_is_kept() -> None:
    at, flat = np.zeros(3, dtype=int), np.full(3, 40.0)
    bits, heights = np.full(3, 1, dtype=np.uint8), (np.full(3, 500.0), np.full(3, 510.0))
    cells = compact(
        np.array([0.0, 50.0]), np.zeros(1, dtype=bool), at, flat, bits, heights,
        near_m=np.array([333.0, 87.9, 410.0]),
    )  # fmt: skip
    assert cells.near_m.tolist() == [80.0]
    assert crossed(cells, ("N",), (-math.inf, math.inf), 30.0).nearest_m == 80.0
    assert crossed(cells, ("S",), (-math.inf, math.inf), 30.0).nearest_m is None
