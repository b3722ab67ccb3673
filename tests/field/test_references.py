"""What readings are compared with carries the figures and the facts of its source."""

from __future__ import annotations

import math

from steybrae.field.agreement import Origin, compare_readings
from steybrae.field.readings import ReadingSet
from steybrae.field.reasons import with_reasons
from steybrae.field.references import check_reference, paper_source, reading_as_reference
from steybrae.paper.measurement import GapMeasurement
from steybrae.paper.spacing import slope_from_spacing


def test_a_gap_on_paper_brings_its_ends_and_what_it_was_read_from() -> None:
    measured = GapMeasurement(8.0, 2, "index", 5)
    gap = slope_from_spacing(measured, 10.0, 25_000.0)
    found = paper_source(gap, measured, 10.0, 25_000.0, 90.0).reference
    assert (found.source, found.slope_deg) == ("the map", math.degrees(math.atan(100.0 / 200.0)))
    assert (found.slope_low_deg, found.slope_high_deg) == (gap.slope_low_deg, gap.slope_high_deg)
    assert found.origin == Origin("paper", 200.0, 10, 5, 10.0, 25_000.0, None, 90.0)


def test_a_check_has_the_ends_of_the_model_and_faces_down_its_fall_line() -> None:
    found = check_reference("7a", (24.0, 1.0, 29.5), 300.0, 20.0, 10.0)
    assert (found.source, found.slope_deg) == ("check 7a of the plan", 24.0)
    assert (found.slope_low_deg, found.slope_high_deg) == (1.0, 29.5)
    assert found.origin == Origin("model", baseline_m=20.0, cell_size_m=10.0, aspect_true_deg=120.0)


def test_a_check_of_unknown_ends_is_open_above() -> None:
    found = check_reference("7a", (24.0, None, None), None, 20.0, 10.0)
    assert (found.slope_low_deg, found.slope_high_deg) == (None, None)
    assert found.open_above
    assert found.origin.aspect_true_deg is None


def test_a_sight_has_the_ends_of_the_model_and_neither_reason_nor_band_of_a_slope() -> None:
    found = check_reference("3a", (41.6, 37.0, 46.0), 343.0, 20.0, 10.0, sight=True)
    assert (found.slope_deg, found.slope_low_deg, found.slope_high_deg) == (41.6, 37.0, 46.0)
    assert found.origin == Origin(kind="sight")
    result = with_reasons(compare_readings(ReadingSet((52.0,)), [found]))
    assert result.references[0].result == "different"
    assert result.reasons == ()
    assert (result.band, result.bands_possible) == (None, ())
    assert result.sentence == "The steeper figure leads: 52.0°."


def test_another_instrument_s_readings_that_differ_too_much_lead_with_the_steepest() -> None:
    """10 and 60 degrees of the other instrument led with their mean, 35; of the first with 60."""
    apart, near = (
        reading_as_reference("the other", ReadingSet(pair)) for pair in ((10.0, 60.0), (36.0, 38.0))
    )
    assert compare_readings(ReadingSet((34.0,)), [apart]).steeper_deg == 60.0
    assert compare_readings(ReadingSet((34.0,)), [near]).steeper_deg == 37.0
