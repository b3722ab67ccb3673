"""Comparison by normalised error, and which figure leads."""

import dataclasses
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.bands import BandScheme
from steybrae.cautions import Situation
from steybrae.errors import QuantityError
from steybrae.field.agreement import (
    Origin,
    Reference,
    compare,
    compare_readings,
)
from steybrae.field.readings import ReadingSet
from steybrae.field.references import reading_as_reference
from steybrae.files.results import as_json

CONTRACT_KEYS = {
    "readings_deg",
    "mean_deg",
    "uncertainty_95_deg",
    "references",
    "steeper_deg",
    "band",
    "bands_possible",
    "open_above",
    "cautions",
    "reasons",
    "aspect",
}
REFERENCE_KEYS = {
    "source",
    "slope_deg",
    "slope_low_deg",
    "slope_high_deg",
    "difference_deg",
    "en_number",
    "result",
    "would_notice_deg",
}


def test_steeper_reading_faces_the_upper_half_width() -> None:
    # By hand: |35 - 28| / sqrt(4^2 + 3^2) = 7 / 5 = 1.4.
    one = compare(35.0, 4.0, Reference("map", 28.0, 20.0, 31.0))
    assert one.difference_deg == pytest.approx(7.0, abs=1e-12)
    assert one.en_number == pytest.approx(1.4, abs=1e-12)
    assert one.would_notice_deg == pytest.approx(5.0, abs=1e-12)
    assert one.result == "different"
    assert one.sentence == (
        "Different: reading and map lie 7.0° apart, and their uncertainties together allow only 5.0°. The "
        "steeper leads."
    )


def test_gentler_reading_faces_the_lower_half_width() -> None:
    # By hand: |25 - 28| / sqrt(4^2 + 3^2) = 0.6; 5 is not wider than a band of 5.
    one = compare(25.0, 4.0, Reference("map", 28.0, 25.0, 50.0))
    assert one.difference_deg == pytest.approx(-3.0, abs=1e-12)
    assert one.en_number == pytest.approx(0.6, abs=1e-12)
    assert one.result == "consistent"
    assert one.sentence == (
        "Consistent: reading and map lie 3.0° apart; less than 5.0° would not have been noticed. The steeper "
        "leads."
    )


def test_a_test_that_would_miss_a_whole_band_is_weak_and_one_that_would_miss_two_tells_little() -> None:
    one = compare(30.0, 4.0, Reference("map", 31.0, 31.0 - math.sqrt(65.0), 40.0))
    assert one.would_notice_deg == pytest.approx(9.0, abs=1e-12)
    assert one.result == "consistent, weakly"
    assert one.sentence == (
        "Consistent, weakly: reading and map lie 1.0° apart; less than 9.0° would not have been noticed. The "
        "steeper leads."
    )
    wide = compare(30.0, 6.0, Reference("map", 31.0, 23.0, 40.0))
    assert wide.would_notice_deg == pytest.approx(10.0, abs=1e-12)
    assert wide.result == "consistent, weakly"
    wider = compare(30.0, 6.0, Reference("map", 31.0, 22.9, 40.0))
    assert wider.result == "tells little"
    assert wider.sentence == (
        "Tells little: reading and map lie 1.0° apart; less than 10.1° would not have been noticed. The "
        "steeper leads."
    )


def test_two_clinometers_a_degree_apart_are_weakly_consistent() -> None:
    other = reading_as_reference("second inclinometer", ReadingSet((33.0,)))
    one = compare(34.0, 4.0, other)
    assert one.would_notice_deg == pytest.approx(4.0 * math.sqrt(2.0), abs=1e-12)
    assert one.result == "consistent, weakly"


def test_a_wide_test_still_finds_what_is_wider() -> None:
    one = compare(50.0, 4.0, Reference("map", 31.0, 23.0, 39.0))
    assert one.result == "different"


def test_equal_figures_face_the_wider_side() -> None:
    one = compare(31.0, 4.0, Reference("map", 31.0, 30.0, 34.0))
    assert one.en_number == 0.0
    assert one.would_notice_deg == pytest.approx(5.0, abs=1e-12)


def test_a_reference_without_upper_end_cannot_tell_and_opens_the_answer() -> None:
    result = compare_readings(ReadingSet((36.0,)), [Reference("coarse model", 31.0)])
    (one,) = result.references
    assert (one.result, one.en_number, one.would_notice_deg) == ("cannot tell", None, None)
    assert one.difference_deg == pytest.approx(5.0, abs=1e-12)
    assert one.sentence == (
        "Cannot tell: reading and coarse model lie 5.0° apart, but how far coarse model may be "
        "wrong is not known."
    )
    assert result.open_above
    assert "open_above" in [caution.key for caution in result.cautions]
    assert result.sentence == (
        "The steeper figure leads: at least 36.0°, band 35-40, possibly as steep as 40-45; how much "
        "steeper is not known."
    )


def test_a_known_end_is_used_where_the_other_is_open() -> None:
    coarse = Reference("model", 31.0, 28.0, None)
    gentler = compare(15.0, 4.0, coarse)
    assert (gentler.result, gentler.would_notice_deg) == ("different", 5.0)
    assert compare(32.0, 4.0, coarse).result == "cannot tell"
    assert compare(31.0, 4.0, coarse).would_notice_deg == 5.0


def test_unknown_ground_is_not_gentle() -> None:
    result = compare_readings(ReadingSet((12.0,)), [Reference("model", None)])
    (one,) = result.references
    assert (one.difference_deg, one.en_number, one.result) == (None, None, "cannot tell")
    assert one.sentence == "Cannot tell: model does not know this ground."
    assert result.open_above
    # "band <25" stood there, as if that were known.
    assert result.sentence == (
        "The steeper figure leads: at least 12.0°, band <25 or steeper; how much steeper is not known."
    )
    assert compare_readings(ReadingSet((70.0,)), [Reference("model", None)]).sentence == (
        "The steeper figure leads: at least 70.0°, band 55+; how much steeper is not known."
    )
    assert {"open_above", "unknown_near"} <= {caution.key for caution in result.cautions}


def test_without_reference_the_reading_stands_alone() -> None:
    result = compare_readings(ReadingSet((29.0,)))
    assert result.references == ()
    assert result.steeper_deg == 29.0
    assert result.band.label == "25-30"
    assert [band.label for band in result.bands_possible] == ["25-30", "30-35"]
    assert not result.open_above
    assert result.sentence == ("The steeper figure leads: 29.0°, band 25-30, possibly as steep as 30-35.")
    assert [caution.key for caution in result.cautions] == [
        "forecast",
        "angle_alone",
        "reading_local",
    ]


def test_a_gentle_reading_does_not_lower_the_map() -> None:
    result = compare_readings(ReadingSet((20.0,)), [Reference("map", 36.0, 33.0, 41.0)])
    assert result.references[0].result == "different"
    assert result.steeper_deg == 36.0
    assert [band.label for band in result.bands_possible] == ["35-40", "40-45"]


def test_the_highest_upper_end_counts_even_of_a_gentler_source() -> None:
    result = compare_readings(ReadingSet((36.0,)), [Reference("map", 30.0, 20.0, 50.0)])
    assert result.steeper_deg == 36.0
    assert [band.label for band in result.bands_possible] == ["35-40", "40-45", "45-55"]


def test_origins_choose_the_cautions() -> None:
    references = [
        Reference("gap", 30.0, 10.0, 90.0, Origin("paper", gaps=1)),
        Reference("model", 30.0, 26.0, 34.0, Origin("model", cell_size_m=30.0)),
    ]
    keys = {c.key for c in compare_readings(ReadingSet((31.0,)), references).cautions}
    assert {"gap_unreadable", "single_gap", "map_smooths", "model_smooths", "coarse_cells"} <= keys


SOURCES = {
    "map_smooths",
    "single_gap",
    "gap_unreadable",
    "model_smooths",
    "coarse_cells",
    "very_coarse_cells",
}


@pytest.mark.parametrize(
    ("origins", "told"),
    [
        ([], set()),
        ([Origin("instrument")], set()),
        ([Origin("paper", gaps=4)], {"map_smooths"}),
        ([Origin("paper", gaps=1)], {"map_smooths", "single_gap"}),
        ([Origin("model", cell_size_m=10.0)], {"model_smooths"}),
        # Of two models the coarser is warned of, whichever stands first.
        (
            [Origin("model", cell_size_m=10.0), Origin("model", cell_size_m=30.0)],
            {"model_smooths", "coarse_cells"},
        ),
        (
            [Origin("model", cell_size_m=30.0), Origin("model", cell_size_m=10.0)],
            {"model_smooths", "coarse_cells"},
        ),
    ],
)
def test_a_source_brings_its_own_cautions_and_no_others(origins: list[Origin], told: set[str]) -> None:
    references = [Reference("other", 30.0, 26.0, 34.0, origin) for origin in origins]
    found = compare_readings(ReadingSet((31.0,)), references)
    assert SOURCES & {caution.key for caution in found.cautions} == told


@pytest.mark.parametrize(
    ("kind", "high_deg", "told"), [("paper", 90.0, True), ("paper", 89.9, False), ("model", 90.0, False)]
)
def test_only_a_gap_on_paper_that_may_be_a_wall_is_unreadable(kind, high_deg: float, told: bool) -> None:
    result = compare_readings(ReadingSet((31.0,)), [Reference("one", 30.0, 10.0, high_deg, Origin(kind))])
    assert ("gap_unreadable" in {caution.key for caution in result.cautions}) == told


def test_bands_are_those_that_were_asked_for() -> None:
    found = compare_readings(ReadingSet((31.0,)), scheme=BandScheme((20.0, 32.0, 45.0)))
    assert found.band is not None
    assert [found.band.label, *(band.label for band in found.bands_possible)] == ["20-32", "20-32", "32-45"]


def test_what_the_command_knows_joins_the_cautions() -> None:
    result = compare_readings(ReadingSet((31.0,)), situation=Situation(magnetic=True))
    keys = [caution.key for caution in result.cautions]
    assert keys == ["forecast", "angle_alone", "reading_local", "magnetic"]


def test_json_has_the_keys_of_the_contract_and_no_others() -> None:
    result = compare_readings(ReadingSet((36.0,)), [Reference("map", 30.0, 28.0, 33.0, Origin("paper"))])
    plain = as_json("reading", result)
    assert set(plain) == CONTRACT_KEYS | {"schema", "command", "settings_file"}
    assert set(plain["references"][0]) == REFERENCE_KEYS
    assert set(plain["band"]) == {"low_deg", "high_deg", "label"}


def test_another_instrument_is_a_reference_with_its_own_uncertainty() -> None:
    other = reading_as_reference("second inclinometer", ReadingSet((33.0,) * 4))
    one = compare(36.0, math.sqrt(7.0), other)
    assert one.would_notice_deg == pytest.approx(math.sqrt(14.0), abs=1e-12)
    assert one.en_number == pytest.approx(3.0 / math.sqrt(14.0), abs=1e-12)
    assert one.result == "consistent"


@pytest.mark.parametrize(
    ("values", "got"),
    [
        ((30.0, 32.0, None), "32, 30, unknown"),
        ((30.0, None, 28.0), "unknown, 30, 28"),
        ((-0.5, None, None), "unknown, -0.5, unknown"),
        ((30.0, 20.0, 90.5), "20, 30, 90.5"),
    ],
)
def test_reference_ends_out_of_order_or_range_are_refused(values, got: str) -> None:
    message = (
        "A reference should have low end, slope and high end rising within 0 to 90 degrees; "
        f"got {got} for map. Check the three figures."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        Reference("map", *values)


def test_results_are_frozen() -> None:
    result = compare_readings(ReadingSet((36.0,)))
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.steeper_deg = 1.0  # type: ignore[misc]


degrees = st.floats(0.0, 90.0, allow_nan=False)


@st.composite
def any_reference(draw: st.DrawFn) -> Reference:
    low_deg, slope_deg, high_deg = sorted(draw(st.tuples(degrees, degrees, degrees)))
    kind = draw(st.sampled_from(["whole", "no high", "bare", "unknown"]))
    if kind == "unknown":
        return Reference("any", None)
    return Reference(
        "any",
        slope_deg,
        None if kind == "bare" else low_deg,
        high_deg if kind == "whole" else None,
    )


@given(st.lists(degrees, min_size=1, max_size=4), st.lists(any_reference(), max_size=3), any_reference())
def test_adding_a_source_never_lowers_anything(
    read_deg: list[float], references: list[Reference], added: Reference
) -> None:
    scheme = BandScheme()
    readings = ReadingSet(tuple(read_deg))
    before = compare_readings(readings, references)
    after = compare_readings(readings, [*references, added])
    assert after.steeper_deg >= before.steeper_deg
    assert after.open_above >= before.open_above
    assert after.bands_possible[-1].low_deg >= before.bands_possible[-1].low_deg
    assert after.band.low_deg >= before.band.low_deg
    for reference in references:
        if reference.slope_deg is not None:
            assert after.steeper_deg >= reference.slope_deg
        if reference.slope_high_deg is not None:
            steepest = scheme.index(reference.slope_high_deg)
            assert scheme.bands.index(after.bands_possible[-1]) >= steepest


@given(degrees, st.floats(0.1, 20.0), any_reference())
def test_answers_follow_the_stated_rule(
    mean_deg: float, uncertainty_deg: float, reference: Reference
) -> None:
    one = compare(mean_deg, uncertainty_deg, reference)
    if one.en_number is None or one.would_notice_deg is None:
        assert one.result == "cannot tell"
    else:
        assert one.difference_deg is not None
        assert one.would_notice_deg >= uncertainty_deg
        different = one.en_number > 1.0
        assert different == (abs(one.difference_deg) / one.would_notice_deg > 1.0)
        notice = one.would_notice_deg
        agrees = "consistent" if notice <= 5.0 else "consistent, weakly" if notice <= 10.0 else "tells little"
        expected = "different" if different else agrees
        assert one.result == expected


@pytest.mark.parametrize(
    ("apart_in_limits", "low", "high"), [(0.0, 0.03, 0.07), (1.0, 0.47, 0.53), (1.8, 0.93, 0.97)]
)
def test_power_is_as_documented(apart_in_limits: float, low: float, high: float) -> None:
    """True ground that differs by 0, 1 and 1.8 times `would_notice_deg`: 5, 50, 95 % found."""
    random = np.random.default_rng(5)
    cases = 20_000
    apart_deg = apart_in_limits * math.hypot(4.0, 3.0)
    read_deg = 35.0 + apart_deg + random.normal(0.0, 2.0, cases)
    map_deg = 35.0 + random.normal(0.0, 1.5, cases)
    found = [
        compare(reading, 4.0, Reference("map", value, value - 3.0, value + 3.0)).result == "different"
        for reading, value in zip(read_deg.tolist(), map_deg.tolist(), strict=True)
    ]
    assert low <= float(np.mean(found)) <= high


def test_of_readings_that_scatter_the_steepest_leads() -> None:
    found = compare_readings(ReadingSet((34.0, 32.0, 6.0)), [])
    assert (found.steeper_deg, found.band.label if found.band else "") == (34.0, "30-35")
    assert found.mean_deg == 24.0
