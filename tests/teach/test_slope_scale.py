"""Slope scales: what spacing stands for what slope, and what fits on paper."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.errors import QuantityError
from steybrae.teach.slope_scale import (
    EDGE_MM,
    LEAST_GAP_MM,
    WEDGE_MM,
    MapScale,
    map_name,
    map_scale,
    scale_sheet,
)


def test_combs_have_the_gaps_of_the_map() -> None:
    # 1:25 000, 10 m: 0.693 mm at 30 degrees and 3.46 mm over five gaps, by hand 400 / tan(30) um.
    one = map_scale(25_000.0, 10.0, index_every=5)
    by_slope = {comb.slope_deg: comb for comb in one.combs}
    assert by_slope[30.0].spacing_mm == pytest.approx(0.4 * math.sqrt(3.0), abs=1e-12)
    assert by_slope[30.0].length_mm == pytest.approx(2.0 * math.sqrt(3.0), abs=1e-12)
    assert {comb.slope_deg: comb.spacing_mm for comb in one.index_combs}[45.0] == pytest.approx(
        2.0, abs=1e-12
    )


def test_lines_that_cannot_be_read_are_left_out_and_named() -> None:
    one = map_scale(50_000.0, 7.5)
    assert [comb.slope_deg for comb in one.combs] == [10.0, 15.0, 20.0, 25.0]
    assert one.notes == (
        "No comb of single gaps for 30°, 35°, 40°, 45°, 55°: lines closer than 0.3 mm cannot be read.",
        "Index lines: not said how many contours make one, so there is no scale for them.",
    )
    assert one.index_combs == ()
    assert one.index_wedge is None


def test_thick_lines_are_every_fifth_where_that_is_common_and_the_card_says_so() -> None:
    for interval_m in (5.0, 10.0, 20.0, 40.0 * 0.3048):
        one, told = map_scale(25_000.0, interval_m), map_scale(25_000.0, interval_m, index_every=5)
        assert (one.index_combs, one.index_wedge) == (told.index_combs, told.index_wedge)
        note = "Every 5th line is taken as thick, as is common: count on your sheet first."
        assert [text for text in one.notes if text not in told.notes] == [note]
    assert map_scale(25_000.0, 10.0, index_every=4).index_combs[0].spacing_mm == pytest.approx(
        1.6 / math.tan(math.radians(10.0)), abs=1e-12
    )


def test_wide_gaps_get_fewer_spaces_then_lose_the_gentlest() -> None:
    one = map_scale(1_000.0, 10.0)
    assert {comb.spaces for comb in one.combs} == {1}
    assert one.combs[0].slope_deg == 15.0
    assert one.notes[0] == "Too wide for the edge, single gaps: 10° (57 mm). Use a ruler."


@given(
    scale=st.floats(1_000.0, 250_000.0),
    interval_m=st.floats(1.0, 100.0),
    every=st.sampled_from((None, 2, 4, 5, 10)),
)
def test_whatever_the_map_everything_fits_and_can_be_read(
    scale: float, interval_m: float, every: int | None
) -> None:
    try:
        one = map_scale(scale, interval_m, index_every=every)
    except QuantityError as error:
        refused = str(error)
    else:
        refused = ""
        _fits(one)
    assert refused == "" or refused.startswith("At least one slope should have a spacing between 0.3 mm")


def _fits(one: MapScale) -> None:
    for comb in (*one.combs, *one.index_combs):
        per = 1 if comb in one.combs else one.index_every or 1
        assert comb.spacing_mm >= LEAST_GAP_MM
        assert comb.length_mm <= EDGE_MM
        slope_deg = math.degrees(math.atan(per * one.interval_m * 1000.0 / (comb.spacing_mm * one.scale)))
        assert slope_deg == pytest.approx(comb.slope_deg, abs=1e-9)
    for wedge in (one.wedge, one.index_wedge):
        if wedge is not None:
            assert max(wedge.spacings_mm) * wedge.spaces <= WEDGE_MM
            assert min(wedge.spacings_mm) >= LEAST_GAP_MM
            assert list(wedge.spacings_mm) == sorted(wedge.spacings_mm, reverse=True)


def test_a_map_in_feet_says_so() -> None:
    assert map_name(24_000.0, 12.192, "40ft") == "1:24 000, contour every 40 ft (12.19 m)"
    assert map_name(25_000.0, 10.0, "10m") == "1:25 000, contour every 10 m"
    assert map_name(10_000.0, 2.5) == "1:10 000, contour every 2.5 m"


def test_the_sheet_is_a_lesson() -> None:
    keys = [caution.key for caution in scale_sheet([map_scale(25_000.0, 10.0)]).cautions]
    assert keys == ["forecast", "angle_alone", "single_gap", "thinned_lines", "map_smooths", "lesson"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            {"index_every": 1},
            "Index lines should be every 2nd contour or rarer; got 1. "
            "Count from one thick line to the next on the sheet, often 5.",
        ),
        (
            {"slopes_deg": [88.0]},
            "At least one slope should have a spacing between 0.3 mm and 172 mm; on 1:25 000, contour "
            "every 10 m none of those asked for has. Check scale and interval.",
        ),
    ],
)
def test_what_cannot_be_drawn_is_refused(arguments: dict[str, object], message: str) -> None:
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        map_scale(25_000.0, 10.0, **arguments)  # type: ignore[arg-type]
