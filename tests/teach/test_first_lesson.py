"""The first lesson: forms as they are called, patches as they are drawn, a plan that fills 45 minutes."""

from __future__ import annotations

import itertools
import math
import re

import numpy as np
import pytest

from steybrae.teach.first_lesson import FIRST_LOOK, RANK_GAPS, first_lesson
from steybrae.teach.forms import FORMS, form_patch

SHAPES = {form.name: form for form in FORMS}


def slopes_along(name: str) -> np.ndarray:
    """Signed gradients along the profile of a form, even steps."""
    profile = form_patch(SHAPES[name], 25_000.0, 10.0).profile
    return np.asarray(np.diff(profile[:, 1]) / np.diff(profile[:, 0]))


def test_forms_are_what_they_are_called() -> None:
    assert (np.diff(slopes_along("convex slope")) < 0.0).all()  # walked uphill: it eases all the way
    assert (np.diff(slopes_along("concave slope")) > 0.0).all()
    roll = slopes_along("roll")
    assert roll[len(roll) // 2] > 3.0 * max(roll[0], roll[-1])
    assert (roll > 0.0).all()
    for name, sign in (("gully", 1.0), ("spur", -1.0)):
        across = sign * slopes_along(name)
        assert (across[: len(across) // 2 - 1] < 0.0).all()
        assert (across[len(across) // 2 + 1 :] > 0.0).all()
    corrie = slopes_along("corrie")
    floor = int(np.argmin(corrie))
    assert corrie[:floor].max() > 5.0 * corrie[floor] > 0.0  # up over the lip, across the floor,
    assert corrie[floor:].max() > corrie[:floor].max()  # and up the headwall
    # Nothing on the sheets is steeper than can be read: 0.3 mm a gap at 1:25 000 and 10 m.
    for form in FORMS:
        assert np.abs(slopes_along(form.name)).max() < 0.4 / 0.3 + 0.03


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 210.0])
@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_contours_cross_the_line_where_its_profile_has_their_height(form: object, turn_deg: float) -> None:
    patch = form_patch(form, 25_000.0, 10.0, turn_deg=turn_deg, base_m=600.0)  # type: ignore[arg-type]
    (x0, y0), (x1, y1) = patch.line
    length = math.hypot(x1 - x0, y1 - y0)
    along = np.array([x1 - x0, y1 - y0]) / length
    crossed = []
    for line in patch.lines:
        offset = line.points - (x0, y0)
        u, v = offset @ along, offset @ np.array([-along[1], along[0]])
        cut = np.flatnonzero(np.sign(v[:-1]) != np.sign(v[1:]))
        at = u[cut] - v[cut] * (u[cut + 1] - u[cut]) / (v[cut + 1] - v[cut])
        crossed += [(float(one), line.level_m) for one in at if 0.3 < one < length - 0.3]
    assert len(crossed) >= 8
    # Heights above the lowest of the profile, metres: one number takes both to the same zero.
    heights = np.array([level for _, level in crossed])
    drawn = np.interp([at for at, _ in crossed], patch.profile[:, 0], patch.profile[:, 1]) * 25.0
    assert np.ptp(heights - drawn) < 0.6  # a sixteenth of the interval: a grid of 0.25 mm


@pytest.mark.parametrize("seed", range(6))
def test_slopes_to_rank_are_apart_and_rank_as_the_key_says(seed: int) -> None:
    lesson = first_lesson(seed)
    ranked = sorted(lesson.ranked, key=lambda one: one.rank)
    slopes = [one.answer.slope_gap_deg for one in ranked]
    assert all(b - a > 2.9 for a, b in itertools.pairwise(slopes))
    for one in ranked:
        assert len(one.answer.bands) <= 3
        # Measured on the patch: from a thick line to the next but one.
        (x0, y0), (x1, y1) = one.patch.line
        along = np.array([x1 - x0, y1 - y0]) / math.hypot(x1 - x0, y1 - y0)
        thick = sorted(
            {round(float((line.points @ along).mean()), 6) for line in one.patch.lines if line.thick}
        )
        assert len(thick) >= 3
        # As printed: hundredths, down.
        assert -1e-6 < thick[2] - thick[0] - one.answer.across_mm < 0.01
        heads = ("by eye, 1-5", "length mm", "ground m", "height m", "slope °", "band", "measured, 1-5")
        assert tuple(blank.name for blank in one.blanks) == heads
        assert one.answer.gaps == RANK_GAPS == 2 * FIRST_LOOK.index_every
        lengths, grounds, slopes = (
            [float(end) for end in re.findall(r"\d+\.\d", one.blanks[k].accept)] for k in (1, 2, 4)
        )
        for mm in lengths:  # 1 mm is 25 m, and each length taken gives ground and a slope that are.
            assert grounds[0] - 1e-9 <= 25.0 * mm <= grounds[1] + 1e-9
        for ground in grounds:
            assert slopes[0] <= math.degrees(math.atan(100.0 / ground)) <= slopes[1]


def test_every_form_is_asked_for_once_and_each_profile_has_its_own() -> None:
    for seed in range(4):
        lesson = first_lesson(seed)
        assert {patch.form.name for patch in lesson.matches} == set(SHAPES)
        assert sorted(lesson.profiles) == list(range(len(FORMS)))
    assert first_lesson(1).profiles != first_lesson(2).profiles or [
        patch.form for patch in first_lesson(1).matches
    ] != [patch.form for patch in first_lesson(2).matches]


def test_the_example_the_comb_and_the_hidden_crag_are_right() -> None:
    lesson = first_lesson()
    worked = lesson.worked
    # By hand: 4.2 mm are 105 m, five gaps are 50 m, atan(50 / 105) is 25.463.
    assert (worked.across_mm, worked.run_m, worked.rise_m) == (4.2, 105.0, 50.0)
    assert worked.slope_deg == pytest.approx(25.4633, abs=1e-4)
    table = dict(lesson.tangents)
    assert (table[13.0], table[25.0]) == (0.230, 0.466)  # 0.23087 and 0.46631: never up
    assert table[45.0] == pytest.approx(1.0, abs=1e-12)
    assert lesson.comb[1] == pytest.approx(0.4 * math.sqrt(3.0), abs=1e-12)
    assert lesson.mistakes[0] == "Counts 6 lines as 6 gaps: 29.8°."  # atan(60 / 105) is 29.745
    hidden = lesson.hidden
    for profile in (hidden.even, hidden.broken):
        at, height = np.array(profile).T
        assert (np.diff(at) > 0.0).all()
        assert (np.diff(height) >= 0.0).all()
        assert np.interp([a for a, _ in hidden.contours], at, height) == pytest.approx(
            [h for _, h in hidden.contours], abs=1e-9
        )
    steps = [(b[1] - a[1], b[0] - a[0]) for a, b in itertools.pairwise(hidden.broken)]
    assert any(up == pytest.approx(8.0) and across < 1.0 for up, across in steps)


def test_the_plan_fills_45_minutes_without_a_hole() -> None:
    plan = first_lesson().plan
    assert plan[0].begin_min == 0
    assert plan[-1].end_min == 45
    assert all(a.end_min == b.begin_min for a, b in itertools.pairwise(plan))
