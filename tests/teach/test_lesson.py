"""The lesson's formulas and its quiz."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.synthetic import GaussianHill, Plane, sample_surface

from steybrae.errors import ModelError
from steybrae.field.limits import apparent_slope_deg
from steybrae.teach.lesson import (
    LessonGround,
    bent_share,
    bent_steepest_deg,
    interval_words,
    lesson,
    lesson_ground,
)
from steybrae.terrain.dem import Dem


def test_crossing_a_slope() -> None:
    # tan(leg) = tan(35) cos(60): 19.295 degrees, by hand.
    assert apparent_slope_deg(35.0, 60.0) == pytest.approx(19.295, abs=0.001)
    assert apparent_slope_deg(35.0, 0.0) == pytest.approx(35.0, abs=1e-12)
    assert apparent_slope_deg(35.0, 90.0) == pytest.approx(0.0, abs=1e-12)


@given(bend=st.floats(-0.9, 0.9), share=st.floats(0.0, 1.0))
@example(bend=3.5139780835073534e-09, share=1.0)
def test_a_bent_slope_reaches_each_height_once(bend: float, share: float) -> None:
    t = bent_share(bend, share)
    assert 0.0 <= t <= 1.0 + 1e-12
    assert t + bend * t * (1.0 - t) == pytest.approx(share, abs=1e-9)


@given(mean_deg=st.floats(1.0, 60.0), bend=st.floats(-0.9, 0.9))
def test_the_steepest_part_is_at_an_end(mean_deg: float, bend: float) -> None:
    # The derivative of t + b t (1 - t) is 1 + b (1 - 2t): 1 + b at the foot, 1 - b at the top.
    steepest = max(math.tan(math.radians(mean_deg)) * (1.0 + bend * (1.0 - 2.0 * t)) for t in (0.0, 1.0))
    assert bent_steepest_deg(mean_deg, bend) == pytest.approx(math.degrees(math.atan(steepest)), abs=1e-9)


@pytest.fixture(scope="module")
def ground() -> LessonGround:
    return lesson_ground(sample_surface(GaussianHill(400.0, 600.0), (240, 240), 10.0))


@pytest.mark.parametrize("seed", range(6))
def test_every_answer_lies_in_what_is_accepted(ground: LessonGround, seed: int) -> None:
    one = lesson(ground, seed)
    assert one.rounds == lesson(ground, seed).rounds
    assert len(set(one.rounds)) == len(one.rounds) == 8  # fresh numbers each time
    for question in [question for questions in one.rounds for question in questions]:
        assert question.low_deg < question.answer_deg < question.high_deg
        # What somebody wrongly got, or the line's own slope, is never taken for the answer.
        for wrong in _degrees(question.ask):
            assert not question.low_deg <= wrong <= question.high_deg
    assert {len(questions) for questions in one.rounds} == {6}
    assert lesson(ground, seed + 1).rounds != one.rounds
    assert {"forecast", "lesson"} <= {caution.key for caution in one.cautions}


def test_cautions_are_those_of_the_models_cells_and_of_the_pictures(ground: LessonGround) -> None:
    """A model of 10 m was told to have cells over 20 m, the distance of the heights that it is drawn from."""
    coarse = lesson_ground(sample_surface(GaussianHill(400.0, 600.0), (80, 80), 30.0))
    for piece, told in ((ground, "drawn_coarser"), (coarse, "coarse_cells")):
        keys = {caution.key for caution in lesson(piece).cautions}
        assert keys & {"drawn_coarser", "coarse_cells"} == {told}


def test_the_piece_of_ground_is_the_models_and_its_line_climbs_to_the_top(ground: LessonGround) -> None:
    # A hill h exp(-r^2 / 2 s^2) in the middle of the model: its top, and its gradient h r / s^2 exp(...).
    hill = GaussianHill(400.0, 600.0)
    assert ground.side_m == pytest.approx(1600.0)
    assert np.ptp(ground.heights_m) > 200.0
    assert ground.walk_heights_m[0] < ground.walk_heights_m[-1]
    assert ground.walk_heights_m[-1] == pytest.approx(ground.heights_m[4:-4, 4:-4].max(), abs=0.5)
    steepest = math.degrees(math.atan(hill.top_m / (hill.spread_m * math.sqrt(math.e))))
    assert ground.walk_slopes_deg.max() <= steepest + 0.1
    # Rise along the line is the integral of its grade, never more than that of the slope.
    step = ground.walk_length_m / (len(ground.walk_heights_m) - 1)
    rises = np.abs(np.diff(ground.walk_heights_m))
    most = np.maximum(ground.walk_slopes_deg[:-1], ground.walk_slopes_deg[1:])
    assert (rises <= step * np.tan(np.radians(most)) + 0.5).all()


def test_an_interval_of_ones_own_is_chosen_and_listed_once(ground: LessonGround) -> None:
    one = lesson(ground, scale=24_000.0, interval=(interval_words("40ft", 12.192), 12.192))
    assert (one.scale, one.interval_m) == (24_000, 12.192)
    assert [words for words, _ in one.intervals].count("40 ft") == 1
    other = lesson(ground, scale=63_360.0, interval=(interval_words("50ft", 15.24), 15.24))
    assert ("50 ft", 15.24) in other.intervals
    assert 63_360 in other.scales
    assert list(other.scales) == sorted(other.scales)


def test_ground_with_a_hole_is_refused() -> None:
    dem = sample_surface(Plane(20.0, 0.0), (200, 200), 10.0)
    dem = Dem(dem.grid, np.where(np.indices((200, 200))[0] % 20 == 0, np.nan, dem.heights_m))
    message = (
        "The lesson needs a square of 1600 m of known ground; there is none here. Choose another place or "
        "model."
    )
    with pytest.raises(ModelError, match=f"^{re.escape(message)}$"):
        lesson_ground(dem)


def test_a_model_that_is_too_small_is_refused_with_its_size() -> None:
    """It asked for a larger scale, which the lesson has not."""
    dem = sample_surface(Plane(20.0, 0.0), (90, 140), 10.0)
    message = (
        r"The lesson needs a square of 1500 m; the model is 1[34]\d\d m by (89|90)\d m. Take a larger model."
    )
    with pytest.raises(ModelError, match=f"^{message}$"):
        lesson_ground(dem)


def _degrees(ask: str) -> list[float]:
    return [
        float(word.rstrip("°.,"))
        for word in ask.split()
        if word.rstrip(".,").endswith("°") and "." in word.rstrip(".,")
    ]


@pytest.mark.parametrize("seed", range(4))
def test_six_lines_for_five_gaps_are_refused_and_ways_can_be_typed_in(
    ground: LessonGround, seed: int
) -> None:
    for first, lines, cross, *_ in lesson(ground, seed).rounds:
        wrong_deg = math.degrees(math.atan(1.2 * math.tan(math.radians(first.answer_deg))))
        assert round(wrong_deg, 1) > first.high_deg + 0.05  # which the page takes
        way = re.search(r"atan\(([\d.]+) / ([\d.]+)\) = ([\d.]+)°", first.worked)
        slip = re.search(r"got ([\d.]+)°", lines.ask), re.search(r"= ([\d.]+)°", lines.worked)
        along = re.search(r"tan\(([\d.]+)°\) / cos\((\d+)°\): ([\d.]+)°", cross.worked)
        assert way
        assert slip[0]
        assert slip[1]
        assert along
        tan = math.tan(math.radians(float(along[1]))) / math.cos(math.radians(float(along[2])))
        for gradient, printed in (
            (float(way[1]) / float(way[2]), way[3]),
            (5.0 / 6.0 * math.tan(math.radians(float(slip[0][1]))), slip[1][1]),
            (tan, along[3]),
        ):
            typed_deg = math.degrees(math.atan(gradient))
            assert float(printed) == pytest.approx(math.ceil(10.0 * typed_deg - 1e-6) / 10.0, abs=1e-9)
