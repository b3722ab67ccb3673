"""The lesson's formulas and its quiz."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from steybrae.teach.lesson import bent_share, bent_steepest_deg, lesson, line_grade_deg


def test_crossing_a_slope() -> None:
    # tan(leg) = tan(35) cos(60): 19.295 degrees, by hand.
    assert line_grade_deg(35.0, 60.0) == pytest.approx(19.295, abs=0.001)
    assert line_grade_deg(35.0, 0.0) == pytest.approx(35.0, abs=1e-12)
    assert line_grade_deg(35.0, 90.0) == pytest.approx(0.0, abs=1e-12)


@given(bend=st.floats(-0.9, 0.9), share=st.floats(0.0, 1.0))
def test_a_bent_slope_reaches_each_height_once(bend: float, share: float) -> None:
    t = bent_share(bend, share)
    assert 0.0 <= t <= 1.0 + 1e-12
    assert t + bend * t * (1.0 - t) == pytest.approx(share, abs=1e-9)


@given(mean_deg=st.floats(1.0, 60.0), bend=st.floats(-0.9, 0.9))
def test_the_steepest_part_is_at_an_end(mean_deg: float, bend: float) -> None:
    # The derivative of t + b t (1 - t) is 1 + b (1 - 2t): 1 + b at the foot, 1 - b at the top.
    steepest = max(math.tan(math.radians(mean_deg)) * (1.0 + bend * (1.0 - 2.0 * t)) for t in (0.0, 1.0))
    assert bent_steepest_deg(mean_deg, bend) == pytest.approx(math.degrees(math.atan(steepest)), abs=1e-9)


@pytest.mark.parametrize("seed", range(25))
def test_every_answer_lies_in_what_is_accepted(seed: int) -> None:
    one = lesson(seed)
    assert len(one.quiz) == 6
    assert one == lesson(seed)
    for question in one.quiz:
        assert question.low_deg < question.answer_deg < question.high_deg
        # What somebody wrongly got, or the line's own slope, is never taken for the answer.
        for wrong in _degrees(question.ask):
            assert not question.low_deg <= wrong <= question.high_deg
    assert all(16.0 < slope_deg < 45.0 for slope_deg in one.hidden_deg)
    assert lesson(seed + 1).quiz != one.quiz
    assert {"forecast", "lesson"} <= {caution.key for caution in one.cautions}


def _degrees(ask: str) -> list[float]:
    return [
        float(word.rstrip("°.,"))
        for word in ask.split()
        if word.rstrip(".,").endswith("°") and "." in word.rstrip(".,")
    ]
