"""Questions on a leg to walk: its length, bearing and climb, and what it crosses."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

import numpy as np

from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.quantities import gradient_to_angle, round_down
from steybrae.teach.answers import (
    MOST_BANDS,
    Blank,
    LegAnswer,
    LegLine,
    Measured,
    Question,
    blanks,
    fair_ends,
    measured,
    run_value,
)
from steybrae.teach.map_ground import MapGround, MapLook
from steybrae.teach.questions import STEEP_DEG
from steybrae.teach.slope_scale import LEAST_GAP_MM
from steybrae.teach.stretches import EDGE_MM, STEP_MM, stretch_over
from steybrae.terrain.dem import Array
from steybrae.value import Value, bearing_figure, between, slope

LENGTH_MM: Final = (18.0, 34.0)
"""Shortest and longest leg asked for, mm on paper (our choice)."""

BEARING_TOLERANCE_DEG: Final = 2.0
"""Error of a bearing taken with a compass on paper, degrees (our choice)."""

LEAST_STEEP_DEG: Final = 24.0
"""A leg is asked for where it crosses ground of at least this slope, degrees (our choice)."""

MOST_GRADE_SHARE: Final = 0.7
"""The line itself is to be so much less steep than the ground it crosses (our choice)."""

STEEPEST_GAPS: Final = (4, 5, 3)
"""Gaps over which the steepest ground crossed is measured, in this order (our choice)."""

STEEP_GAPS: Final = (10, 5)
"""The same from `STEEP_DEG` on, where a ruler errs more (our choice)."""

TRIES: Final = (4, 100)
"""Rounds of lines tried, and lines in a round (our choice)."""


def find_leg(
    ground: MapGround,
    look: MapLook,
    rng: np.random.Generator,
    *,
    steepest_deg: float,
    told: bool,
    free: Callable[[LegLine], bool],
) -> Question | None:
    """Find a leg that slants across steeper ground, climbing all the way from contour to contour.

    It crosses no ground steeper than `steepest_deg`, and is `free`: keeps clear of what is already
    on the map. `told` is whether the question says what to look out for. None where no line suits.
    """
    for _ in range(TRIES[0]):
        for line in _slanting(ground, look, rng):
            if not free(line):
                continue
            question = leg_question(line, ground, look, "", on_contours=True, told=told)
            if question is not None and _suits(question, steepest_deg):
                return question
    return None


def _slanting(ground: MapGround, look: MapLook, rng: np.random.Generator) -> Iterator[LegLine]:
    """Lines at random that climb all the way, from their first contour to their last."""
    count = TRIES[1]
    x = rng.uniform(EDGE_MM, ground.width_mm - EDGE_MM, count)
    y = rng.uniform(EDGE_MM, ground.height_mm - EDGE_MM, count)
    turn = rng.uniform(0.0, 2.0 * math.pi, count)
    along = np.arange(0.0, LENGTH_MM[1] + STEP_MM / 2, STEP_MM)
    at = ground.at(x[:, None] + np.sin(turn)[:, None] * along, y[:, None] + np.cos(turn)[:, None] * along)
    heights = at.elevation_m.reshape(count, -1)
    for k in range(count):
        ends = _ends_mm(heights[k], along, look)
        if ends is None:
            continue
        start, end = (
            (float(x[k] + math.sin(turn[k]) * d), float(y[k] + math.cos(turn[k]) * d)) for d in ends
        )
        if ground.inside(*start, EDGE_MM) and ground.inside(*end, EDGE_MM):
            yield LegLine(start, end)


def _ends_mm(heights: Array, along: Array, look: MapLook) -> tuple[float, float] | None:
    """First and last contour of a line that climbs all the way and far enough."""
    if not np.isfinite(heights).all() or (np.diff(heights) <= 0.0).any():
        return None
    first = math.floor(heights[0] / look.interval_m) + 1
    last = math.floor(heights[-1] / look.interval_m)
    if last - first < 4:
        return None
    levels = np.arange(first, last + 1) * look.interval_m
    at = np.interp(levels, heights, along)
    if np.diff(at).min() < LEAST_GAP_MM or at[-1] - at[0] < LENGTH_MM[0]:
        return None
    return float(at[0]), float(at[-1])


def _suits(question: Question, steepest_deg: float) -> bool:
    leg = question.leg
    steep = None if leg is None or leg.steepest is None else leg.steepest.slope_model_deg
    if leg is None or steep is None:
        return False
    return LEAST_STEEP_DEG <= steep <= steepest_deg and leg.track_grade_deg <= MOST_GRADE_SHARE * steep


def leg_question(
    line: LegLine,
    ground: MapGround,
    look: MapLook,
    name: str,
    *,
    on_contours: bool,
    told: bool,
    plan_deg: float | None = None,
) -> Question | None:
    """Make the question on a straight line on paper; None over unknown or level ground.

    The steepest ground crossed is asked for only where contours at that place give it in three
    neighbouring bands at most, and what the plan says of the same line is among what is accepted.
    `name` is that of the user's own leg, empty for one of ours; `on_contours`, whether both ends
    lie on contours, so that the height between them is a count of gaps; `told`, whether the
    question says what to look out for; `plan_deg` the steepest ground of the user's own leg by
    their plan, NaN where the plan does not know it.
    """
    (x0, y0), (x1, y1) = line.start_mm, line.end_mm
    length_mm = math.hypot(x1 - x0, y1 - y0)
    share = np.linspace(0.0, 1.0, max(3, math.ceil(length_mm / STEP_MM) + 1))
    at = ground.at(x0 + (x1 - x0) * share, y0 + (y1 - y0) * share)
    slopes = np.degrees(np.arctan(np.hypot(at.p, at.q)))
    if not (np.isfinite(slopes).all() and np.isfinite(at.elevation_m).all()) or slopes.max() < 1.0:
        return None
    top = int(np.argmax(slopes))
    place = (x0 + (x1 - x0) * share[top], y0 + (y1 - y0) * share[top])
    steepest = _steepest(ground, look, place, float(slopes[top]))
    if plan_deg is not None and not (steepest and steepest.low_deg <= plan_deg <= steepest.high_deg):
        steepest = None
    change_m = float(at.elevation_m[-1] - at.elevation_m[0])
    if on_contours:
        change_m = look.interval_m * round(change_m / look.interval_m)
    answer = _answer(line, change_m, look, name, on_contours=on_contours, steepest=steepest)
    return _question(answer, line, look, float(slopes[top]), told=told)


def _answer(
    line: LegLine, change_m: float, look: MapLook, name: str, *, on_contours: bool, steepest: Measured | None
) -> LegAnswer:
    (x0, y0), (x1, y1) = line.start_mm, line.end_mm
    length_mm = round_down(math.hypot(x1 - x0, y1 - y0), 0.01)
    length_m = look.metres(length_mm)
    up, run = Value(abs(change_m) / look.unit_m, look.unit, 1.0, "up"), run_value(length_m, look)
    grade_deg = gradient_to_angle((up.shown or 0.0) / (run.shown or 0.0))
    return LegAnswer(
        name=name,
        length_m=length_m,
        length_tolerance_m=look.metres(RULER_ERROR_MM),
        bearing_true_deg=math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0,
        bearing_tolerance_deg=BEARING_TOLERANCE_DEG,
        height_change_m=change_m,
        height_tolerance_m=0.0 if on_contours else look.interval_m / 2.0,
        track_grade_deg=grade_deg,
        worked=(
            f"{length_mm:.2f} mm: {run.short}; {up.short} {_way(change_m)}; along it "
            f"atan({up.short.split()[0]} / {run.short.split()[0]}) = {slope(grade_deg).text}"
        ),
        steepest=steepest,
    )


def _way(change_m: float) -> str:
    return "gained" if change_m >= 0.0 else "lost"


def _question(answer: LegAnswer, line: LegLine, look: MapLook, top_deg: float, *, told: bool) -> Question:
    """Put it into words; `top_deg` is the steepest of the ground on the line."""
    called = f"Your own {answer.name}. " if answer.name else ""
    ask = f"{called}A leg from the ring to the arrow: its length, true bearing and height gained or lost"
    lines, steepest = _asked(answer, look), answer.steepest
    if steepest is None:
        return Question("leg", f"{ask}, and the slope along it.", lines, leg_line=line, leg=answer)
    hint = " Measure the steepness at right angles to the contours, not along the leg." if told else ""
    ask += (
        ", the slope along it, and the steepest ground it crosses, judged up the fall line over "
        f"{steepest.gaps} gaps with its steepest place in the middle.{hint}"
    )
    in_degrees, band = blanks(steepest, "slope °", "band")
    remark = (
        f"Along the line {slope(answer.track_grade_deg).text}, yet the ground it crosses reaches "
        f"{slope(steepest.slope_gap_deg).text} over {steepest.gaps} gaps, {slope(top_deg).text} at one "
        f"place. {steepest.worked}. {steepest.slip}."
    )
    lines = (*lines, Blank("steepest °", in_degrees.accept), band)
    return Question("leg", ask, lines, leg_line=line, leg=answer, remarks=(remark,))


def _asked(leg: LegAnswer, look: MapLook) -> tuple[Blank, ...]:
    """Lines to write on, in the map's own unit: what a ruler, a compass and contours leave open is taken."""
    unit, change_m, off_m = look.unit, abs(leg.height_change_m), leg.height_tolerance_m
    short_m, long_m = leg.length_m - leg.length_tolerance_m, leg.length_m + leg.length_tolerance_m
    low_m, high_m = max(0.0, change_m - off_m), change_m + off_m

    def ends(low_m: float, high_m: float) -> str:
        return fair_ends(low_m / look.unit_m, high_m / look.unit_m)

    grades = gradient_to_angle(low_m / long_m), gradient_to_angle(high_m / short_m)
    return (
        Blank(f"length {unit}", ends(short_m, long_m)),
        Blank("bearing °", f"{bearing_figure(leg.bearing_true_deg)} true ± {leg.bearing_tolerance_deg:.0f}°"),
        Blank(f"height {unit}", f"{ends(low_m, high_m)} {_way(leg.height_change_m)}"),
        Blank("along °", between(*grades)),
    )


def _steepest(
    ground: MapGround, look: MapLook, place_mm: tuple[float, float], slope_deg: float
) -> Measured | None:
    """Slope by contours over the steepest place of a leg; None where they do not tell it well enough."""
    gaps = STEEP_GAPS if slope_deg >= STEEP_DEG else STEEPEST_GAPS
    stretch = stretch_over(ground, look, *place_mm, gaps)
    if stretch is None or stretch.gaps_mm.min() < LEAST_GAP_MM:
        return None
    found = measured("steepest crossed", stretch.length_mm, stretch.gaps, slope_deg, look)
    told = len(found.bands) <= MOST_BANDS and found.low_deg <= slope_deg <= found.high_deg
    return found if told else None
