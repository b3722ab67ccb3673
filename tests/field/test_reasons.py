"""Reasons fit the case, in words, and never lower the answer."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.field.agreement import Origin, ReadingResult, Reference, compare_readings
from steybrae.field.readings import ReadingSet, parse_readings
from steybrae.field.reasons import rescaled, with_reasons


def reasons_of(result: ReadingResult, look_deg: float | None = None) -> dict[str, str]:
    return {reason.key: reason.text for reason in with_reasons(result, look_deg).reasons}


def against(reading: str, reference: Reference, look_deg: float | None = None) -> dict[str, str]:
    return reasons_of(compare_readings(parse_readings([reading]), [reference]), look_deg)


def paper(slope_deg: float, **facts: float | int) -> Reference:
    origin = Origin("paper", **facts)  # type: ignore[arg-type]
    return Reference("the map", slope_deg, slope_deg - 2.0, slope_deg + 2.0, origin)


def test_a_short_steep_piece_hides_in_a_long_average() -> None:
    # 10 m at 45 in ground of 25 average 29.81 over 50 m, so the map's 29.81 hides a 45.
    found = against("45deg", paper(29.8139, baseline_m=50.0))
    assert found["baseline"] == (
        "The map averages over 50 m of ground, a reading over a metre or two. A piece of 10 m at "
        "45.0° hides in it if the rest lies at 25.0°. With the rest at 24.9° it could hide 10 m at "
        "45.5°."
    )


def test_a_piece_too_steep_for_the_average_is_said_to_be() -> None:
    found = against("60deg", paper(10.0, baseline_m=50.0))
    assert found["baseline"] == (
        "The map averages over 50 m of ground, a reading over a metre or two. Yet 10 m at 60.0° "
        "would by itself rise more than the map gives the whole of it."
    )


def test_a_gentle_reading_means_steeper_ground_near_by() -> None:
    found = against("20deg", paper(31.0, baseline_m=50.0))
    assert found["baseline"] == (
        "The map averages over 50 m of ground, a reading over a metre or two. Where you stand may "
        "be gentler than the average, and then other ground in those 50 m is steeper than 31.0°. "
        "The steeper figure stands all the same."
    )


def test_coarse_cells_say_what_they_show_of_a_roll() -> None:
    model = Reference("the model", 28.0, 26.0, 31.0, Origin("model", cell_size_m=30.0))
    # tan 28.114 = tan 40 x 2 / pi.
    assert against("40deg", model)["coarse_cells"] == (
        "Cells of 30 m flatten: a roll of 120 m from crest to crest, 40.0° at its steepest, shows as 28.2°."
    )


def test_thinned_contours_say_what_one_line_more_would_mean() -> None:
    assert against("40deg", paper(30.0, gaps=4))["thinned_contours"] == (
        "Where ground is steep some maps leave thin contours out; count index lines, which stay. "
        "With one line more between your marks the map says 35.9°."
    )


def test_six_lines_taken_for_six_gaps() -> None:
    # Six gaps of 10 m in 500 m are 30.96, six lines (five gaps) 26.57 (instructors' notes).
    reference = paper(math.degrees(math.atan(0.6)), gaps=6)
    readings = ReadingSet((26.0,) * 4)
    found = reasons_of(compare_readings(readings, [reference]))
    assert found["lines_for_gaps"] == (
        "If you counted 6 lines and not 6 gaps, the map says 26.6° and they would agree. "
        "The steeper figure stands all the same."
    )


def test_percent_read_as_degrees_is_noticed() -> None:
    # 57.7 % is 30 degrees.
    assert against("57.7deg", paper(30.0))["other_unit"] == (
        "Taken as percent the reading would be 30.0° and they would agree: it may have been read on "
        "the scale of percent and given as degrees. Look which scale was in view. "
        "The steeper figure stands all the same."
    )


def test_degrees_read_as_percent_are_noticed() -> None:
    # 30 % is 16.7 degrees; the map says 30.
    assert against("30%", paper(30.0))["other_unit"] == (
        "Taken as degrees the reading would be 30.0° and they would agree: it may have been read on "
        "the scale of degrees and given as percent. Look which scale was in view."
    )


def test_percent_is_noticed_where_the_model_has_no_uncertainty() -> None:
    assert "other_unit" in against("57.7deg", Reference("model", 30.0))


def test_percent_is_not_suggested_where_degrees_agree() -> None:
    assert "other_unit" not in against("31deg", paper(30.0))


def test_twenty_metre_interval_taken_for_ten() -> None:
    # tan 49.107 = 2 tan 30.
    assert against("49deg", paper(30.0, interval_m=10.0))["interval"] == (
        "With an interval of 20 m the map says 49.2° and they would agree. Check the interval on "
        "the sheet and against two spot heights."
    )


def test_old_sheet_marked_30_that_had_50() -> None:
    # Furse (1924): a map marked 30 m had 50 m; tan 31.24 = tan 20 x 50 / 30.
    assert rescaled(paper(20.0), 50.0 / 30.0).slope_deg == pytest.approx(31.24, abs=0.02)
    assert "interval of 50 m" in against("31deg", paper(20.0, interval_m=30.0))["interval"]


def test_feet_taken_for_metres() -> None:
    found = against("12deg", paper(35.0, interval_m=40.0))["interval"]
    assert found == (
        "With an interval of 40 ft the map says 12.1° and they would agree. Check the interval on "
        "the sheet and against two spot heights. The steeper figure stands all the same."
    )
    found = against("39deg", paper(14.0, interval_m=40.0 * 0.3048))["interval"]
    assert "With an interval of 40 m the map says 39.3°" in found


def test_wrong_scale() -> None:
    # 1:25 000 taken for 1:50 000: tan 49.107 = 2 tan 30.
    assert against("49deg", paper(30.0, scale=50_000.0))["scale"] == (
        "With a scale of 1:25000 the map says 49.2° and they would agree. Check the scale on the "
        "sheet and against the printed grid."
    )


def test_sighting_off_the_fall_line() -> None:
    model = Reference("the model", 35.0, 33.0, 37.0, Origin("model", aspect_true_deg=0.0))
    assert against("19deg", model, look_deg=120.0)["off_fall_line"] == (
        "You sighted 60° off the fall line: 35.0° looks like 19.3° along that line. Sight straight "
        "up or down the slope and read again; the slope itself is steeper than what you read."
    )
    assert "off_fall_line" not in against("19deg", model, look_deg=175.0)
    assert "off_fall_line" not in against("50deg", model, look_deg=120.0)


def test_snow_against_ground_both_ways() -> None:
    assert against("45deg", paper(30.0))["snow"] == (
        "You read the snow, the map knows the ground: drifts below edges and in hollows lie "
        "steeper than what they cover."
    )
    assert against("15deg", paper(30.0))["snow"] == (
        "You read the snow, the map knows the ground: drifts fill hollows, and snow just beside "
        "you may lie as steep as the ground does. The steeper figure stands all the same."
    )


def test_convexity_only_where_the_reading_is_steeper() -> None:
    assert "convexity" in against("45deg", paper(30.0))
    assert "convexity" not in against("15deg", paper(30.0))


def test_agreement_needs_no_reason() -> None:
    assert against("31deg", paper(30.0, baseline_m=50.0, gaps=5, interval_m=10.0)) == {}


def test_reasons_about_the_readings_themselves() -> None:
    scattered = reasons_of(compare_readings(ReadingSet((20.0, 34.0, 48.0))))
    assert scattered["scatter"] == (
        "The readings scatter by 14.0° (standard deviation), more than an error of 4.0° explains: "
        "they may lie on different ground. The steepest leads, and the uncertainty was widened to fit."
    )
    index = reasons_of(compare_readings(ReadingSet((36.0,), (30.0,))))
    assert index["index_error"] == (
        "Sights up and down differ by 6.0°: the instrument may read 3.0° off level, which the mean "
        "of both cancels, or they were not taken along the same line."
    )
    apart = compare_readings(ReadingSet((0.0,), (33.0,)))
    assert apart.steeper_deg == 33.0
    assert reasons_of(apart)["index_error"].endswith(
        "along the same line. No index of an instrument with an error of 4.0° explains so much. The steepest "
        "leads, and the uncertainty was widened to fit."
    )
    mixed = reasons_of(compare_readings(parse_readings(["34deg", "62%"])))
    assert mixed["mixed_units"] == (
        "Some readings were given in degrees and some in percent. Check on which scale each was "
        "read: 30 % is only 16.7°, and 30° is 57.7 %."
    )


degrees = st.floats(0.0, 89.0, allow_nan=False)


@given(
    st.lists(degrees, min_size=1, max_size=3),
    st.tuples(degrees, degrees, degrees).map(sorted),
    st.floats(0.0, 360.0),
)
def test_reasons_change_no_figure(read_deg: list[float], ends_deg: list[float], look_deg: float) -> None:
    low_deg, slope_deg, high_deg = ends_deg
    origin = Origin("paper", 50.0, 5, 10.0, 25_000.0, 10.0, 90.0)
    reference = Reference("the map", slope_deg, low_deg, high_deg, origin)
    before = compare_readings(ReadingSet(tuple(read_deg)), [reference])
    after = with_reasons(before, look_deg)
    assert dataclasses.replace(after, reasons=()) == before
    for reason in after.reasons:
        gentler = before.mean_deg < slope_deg
        if gentler and reason.key in ("baseline", "interval", "scale", "lines_for_gaps", "snow"):
            assert reason.text.endswith("The steeper figure stands all the same.")
