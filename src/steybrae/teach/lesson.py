"""The page to play with: what it starts from, its formulas, its quiz, and a piece of real ground."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from steybrae.bands import BandScheme
from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.errors import ModelError
from steybrae.field.limits import apparent_slope_deg
from steybrae.frozen import dataclass
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.paper.spacing import gap_for_slope_mm
from steybrae.quantities import FOOT_M, angle_to_gradient, gradient_to_angle
from steybrae.teach.answers import Measured, measured
from steybrae.teach.forms import FORMS, FormGrid, form_grid
from steybrae.teach.map_ground import LEAST_FRAME_MM, MapGround, MapLook, map_ground
from steybrae.terrain.dem import Array, DemSource
from steybrae.terrain.jacobian import cell_size_m
from steybrae.value import between, slope

LESSON_SCALES: Final = (10_000, 20_000, 24_000, 25_000, 40_000, 50_000)
"""Scales to choose from (our choice: those of hill maps)."""

LESSON_INTERVALS: Final = (("5 m", 5.0), ("10 m", 10.0), ("15 m", 15.0), ("20 m", 20.0), ("40 ft", 12.192))
"""Contour intervals to choose from: words, metres (our choice)."""

ROUNDS: Final = 8
"""Rounds of questions with fresh numbers before they come again (our choice)."""

QUIZ_MAPS: Final = ((25_000.0, 10.0), (50_000.0, 10.0), (25_000.0, 20.0), (24_000.0, 12.192))
HEAD_DEG: Final = 1.0
"""Error of reckoning that is not held against a learner, degrees (our choice)."""


@dataclass(frozen=True)
class QuizQuestion:
    """One question of the quiz in whole sentences, its exact answer, what is accepted, and the way to it.

    `gap_mm` and `gaps` are lines to draw beside it: their distance on paper, and how many gaps;
    None and 0 for none.
    """

    ask: str
    gap_mm: float | None
    gaps: int
    answer_deg: float
    low_deg: float
    high_deg: float
    worked: str


@dataclass(frozen=True, eq=False)
class Lesson:
    """What the page holds.

    Attributes
    ----------
    scales, intervals
        To choose from.
    scale, interval_m
        Chosen at first.
    edges_deg, labels
        Of the bands.
    rounds
        Questions, the same kinds in each round, other numbers.
    forms
        Of ground, to match with their profiles.
    ground
        A piece of a model, to see as contours and as a block.
    source
        Where the model comes from, in words.
    ruler_error_mm
        What a reading may be out.
    seed
        Of all that is drawn by lot.
    cautions
        Never empty.
    """

    scales: tuple[int, ...]
    intervals: tuple[tuple[str, float], ...]
    scale: int
    interval_m: float
    edges_deg: tuple[float, ...]
    labels: tuple[str, ...]
    rounds: tuple[tuple[QuizQuestion, ...], ...]
    forms: tuple[FormGrid, ...]
    ground: LessonGround
    source: str
    ruler_error_mm: float
    seed: int
    cautions: tuple[Caution, ...]


def bent_share(bend: float, height_share: float) -> float:
    """How far along a bent slope, 0 to 1, a share of its height is reached, from its foot.

    The slope's height at the share `t` of its length is ``t + b t (1 - t)`` of its whole height:
    with ``b > 0`` steep at the foot and gentle at the top (convex), with ``b < 0`` the reverse;
    -0.9 to 0.9. So ``t = 2 h / ((1 + b) + sqrt((1 + b)^2 - 4 b h))``, the root that stays exact
    where b is next to 0.
    """
    first = 1.0 + bend
    return 2.0 * height_share / (first + math.sqrt(max(0.0, first * first - 4.0 * bend * height_share)))


def bent_steepest_deg(mean_deg: float, bend: float) -> float:
    """Steepest slope of a bent slope, at its foot or its top: ``atan(tan(mean) (1 + |b|))``, degrees."""
    return gradient_to_angle(angle_to_gradient(mean_deg) * (1.0 + abs(bend)))


def interval_words(typed: str, interval_m: float) -> str:
    """Interval as its own unit has it: ``40 ft``, ``10 m``."""
    feet = typed.strip().lower().endswith("ft")
    return f"{interval_m / FOOT_M:.4g} ft" if feet else f"{interval_m:.4g} m"


def lesson(
    ground: LessonGround,
    seed: int = 1,
    *,
    scale: float = 25_000.0,
    interval: tuple[str, float] = ("10 m", 10.0),
    source: str = "",
    sample: bool = False,
) -> Lesson:
    """Make the page's content on a piece of real ground; the same seed makes the same questions.

    `scale` and `interval`, in words and in metres, are those of the map that is chosen at first;
    `source` says in words where the ground comes from.
    """
    rng = np.random.default_rng(seed)
    scheme = BandScheme()
    makers: tuple[Callable[[np.random.Generator], QuizQuestion], ...] = (
        _measure_several,
        _lines_for_gaps,
        _cross,
        _percent,
        _measure_one,
        _wrong_scale,
    )
    known = [one for one in LESSON_INTERVALS if math.isclose(one[1], interval[1], rel_tol=1e-6)]
    intervals = {*LESSON_INTERVALS, *([] if known else [interval])}
    return Lesson(
        scales=tuple(sorted({*LESSON_SCALES, round(scale)})),
        intervals=tuple(sorted(intervals, key=lambda one: one[1])),
        scale=round(scale),
        interval_m=(known or [interval])[0][1],
        edges_deg=scheme.edges_deg,
        labels=scheme.labels,
        rounds=tuple(tuple(make(rng) for make in makers) for _ in range(ROUNDS)),
        forms=tuple(form_grid(form) for form in FORMS),
        ground=ground,
        source=source,
        ruler_error_mm=RULER_ERROR_MM,
        seed=seed,
        cautions=cautions_for(
            Situation(
                from_paper=True,
                from_model=True,
                lesson=True,
                single_gap=True,
                thinned_lines=True,
                interval_m=interval[1],
                cell_size_m=ground.cell_m,
                drawn_cell_m=ground.side_m / (len(ground.heights_m) - 1),
                sample=sample,
            )
        ),
    )


def _a_map(rng: np.random.Generator) -> MapLook:
    scale, interval_m = QUIZ_MAPS[int(rng.integers(len(QUIZ_MAPS)))]
    return MapLook(scale, interval_m, 5, *((FOOT_M, "ft") if interval_m == 12.192 else (1.0, "m")))


def _a_slope(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.round(rng.uniform(low, high), 1))


def _measured(slope_deg: float, gaps: int, look: MapLook) -> Measured:
    across_mm = gap_for_slope_mm(slope_deg, look.interval_m, look.scale, gaps)
    return measured("whole", across_mm, gaps, None, look)


def _to_measure(ask: str, part: Measured) -> QuizQuestion:
    low, high = part.low_deg, part.high_deg
    worked = f"{part.worked}. A reading {RULER_ERROR_MM} mm out gives {between(low, high)}."
    if part.slip:
        worked += f" {part.slip}."
    return QuizQuestion(ask, part.across_mm / part.gaps, part.gaps, part.slope_gap_deg, low, high, worked)


def _measure_several(rng: np.random.Generator) -> QuizQuestion:
    while True:  # until the ruler tells six lines from six gaps
        look = _a_map(rng)
        part = _measured(_a_slope(rng, 18.0, 42.0), 5, look)
        if not part.hides_slip:
            break
    ask = f"{look.name}. Read the length from the first line to the last. How steep is it, in degrees?"
    return _to_measure(ask, part)


def _measure_one(rng: np.random.Generator) -> QuizQuestion:
    look = _a_map(rng)
    ask = f"{look.name}. One gap only. How steep is it, in degrees? See how wide the accepted range is."
    return _to_measure(ask, _measured(_a_slope(rng, 15.0, 32.0), 1, look))


def _lines_for_gaps(rng: np.random.Generator) -> QuizQuestion:
    look, wrong_deg = _a_map(rng), _a_slope(rng, 28.1, 43.0)
    slope_deg = gradient_to_angle(angle_to_gradient(wrong_deg) * 5.0 / 6.0)
    ask = (
        f"{look.name}. Somebody counted six lines, took six gaps, and got {slope(wrong_deg).text}. How "
        "steep is it really, in degrees?"
    )
    gap_mm = gap_for_slope_mm(slope_deg, look.interval_m, look.scale)
    # From their figure, not by ruler: what the ruler leaves open would take their slip for right.
    low, high = slope_deg - HEAD_DEG, slope_deg + HEAD_DEG
    worked = (
        "Six lines make five gaps: the height gained is 5/6 of theirs, "
        f"atan(5/6 x tan({slope(wrong_deg).text})) = {slope(slope_deg).text}."
    )
    return QuizQuestion(ask, gap_mm, 5, slope_deg, low, high, worked)


def _cross(rng: np.random.Generator) -> QuizQuestion:
    off_deg = float(rng.choice([45, 60, 70]))
    grade = round(apparent_slope_deg(float(rng.integers(30, 41)), off_deg), 1)
    slope_deg = gradient_to_angle(angle_to_gradient(grade) / math.cos(math.radians(off_deg)))
    ask = (
        f"Your line climbs at {grade:.1f}° and crosses a slope {off_deg:.0f}° off its fall line. How "
        f"steep is the slope itself, in degrees?"
    )
    worked = (
        f"tan(slope) = tan({grade:.1f}°) / cos({off_deg:.0f}°): {slope(slope_deg).text}. The slope "
        f"is what can slide, not your line."
    )
    return QuizQuestion(ask, None, 0, slope_deg, slope_deg - HEAD_DEG, slope_deg + HEAD_DEG, worked)


def _percent(rng: np.random.Generator) -> QuizQuestion:
    percent = int(rng.choice([50, 58, 70, 84]))
    slope_deg = gradient_to_angle(percent / 100.0)
    ask = f"An instrument reads {percent} %. How many degrees is that?"
    worked = (
        f"atan({percent / 100:.2f}) = {slope(slope_deg).text}. Percent and degrees are not the same scale."
    )
    return QuizQuestion(ask, None, 0, slope_deg, slope_deg - HEAD_DEG, slope_deg + HEAD_DEG, worked)


def _wrong_scale(rng: np.random.Generator) -> QuizQuestion:
    slope_deg = _a_slope(rng, 18.0, 24.0)
    right = gradient_to_angle(2.0 * angle_to_gradient(slope_deg))
    ask = (
        f"With an interval of 10 m somebody got {slope(slope_deg).text}. The sheet's margin says 20 "
        f"m. How steep is it, in degrees?"
    )
    worked = f"Twice the height over the same ground: atan(2 tan({slope_deg:.1f}°)) = {slope(right).text}."
    return QuizQuestion(ask, None, 0, right, right - HEAD_DEG, right + HEAD_DEG, worked)


SIDE_M: Final = 1600.0
"""Side of the piece, metres: a corrie and its walls (our choice)."""

SCALE: Final = 25_000.0
POINTS: Final = 65
"""Heights along a side: one each 25 m (our choice)."""

WALK_POINTS: Final = 61
INSET: Final = 0.06
"""The line to walk keeps so far from the edges, share of the side (our choice)."""

TRIED: Final = 7
"""Pieces tried along each side of a model for the one with the most relief (our choice)."""


@dataclass(frozen=True, eq=False)
class LessonGround:
    """Heights of a square and a line across it.

    Attributes
    ----------
    side_m
        Of the square, metres.
    heights_m
        ``(n, n)`` at even steps from edge to edge; row 0 the southern edge.
    cell_m
        Side of the cells that slopes are of, metres: the model's, or several of a finer one averaged.
    walk
        Ends of a straight line from the lowest to the highest place, shares of the side from the
        south-western corner.
    walk_length_m, walk_heights_m, walk_slopes_deg
        Its length, and at even steps along it height and slope of the ground, by the model.
    """

    side_m: float
    heights_m: Array
    cell_m: float
    walk: tuple[tuple[float, float], tuple[float, float]]
    walk_length_m: float
    walk_heights_m: Array
    walk_slopes_deg: Array


def lesson_ground(source: DemSource, middle: tuple[float, float] | None = None) -> LessonGround:
    """Take a square of a model, with its middle at ``col, row``.

    Without a middle, of some squares spread over the model, the one with the most relief of those
    that are wholly known. `ModelError` where none is, or the model is too small or too coarse.
    """
    rows, cols = source.grid.shape
    across_m, down_m = cell_size_m(source.grid, cols / 2.0, rows / 2.0)
    sides_m, least_m = (cols * across_m, rows * down_m), LEAST_FRAME_MM * SCALE / 1000.0
    if min(sides_m) < least_m:
        size = " by ".join(f"{int(side_m)} m" for side_m in sides_m)
        message = f"The lesson needs a square of {least_m:g} m; the model is {size}. Take a larger model."
        raise ModelError(message)
    shares = (np.arange(TRIED) + 0.5) / TRIED
    places = [(c * cols, r * rows) for r in shares for c in shares] if middle is None else [middle]
    best: tuple[float, MapGround, Array] | None = None
    for place in places:
        ground = map_ground(source, SCALE, (1000.0 * SIDE_M / SCALE,) * 2, place)
        side = min(ground.width_mm, ground.height_mm)
        at = np.linspace(0.0, side, POINTS)
        heights = ground.at(*np.meshgrid(at, at)).elevation_m.reshape(POINTS, POINTS)
        if np.isfinite(heights).all() and (best is None or np.ptp(heights) > best[0]):
            best = (float(np.ptp(heights)), ground, heights)
    if best is None:
        message = (
            f"The lesson needs a square of {SIDE_M:g} m of known ground; there is none here. Choose another "
            "place or model."
        )
        raise ModelError(message)
    return _walked(best[1], best[2])


def _walked(ground: MapGround, heights: Array) -> LessonGround:
    side_mm = min(ground.width_mm, ground.height_mm)
    edge = math.ceil(INSET * POINTS)
    inner = heights[edge:-edge, edge:-edge]
    ends = []
    for found in (int(inner.argmin()), int(inner.argmax())):
        row, col = divmod(found, inner.shape[1])
        ends.append(((col + edge) / (POINTS - 1), (row + edge) / (POINTS - 1)))
    (x0, y0), (x1, y1) = ends
    share = np.linspace(0.0, 1.0, WALK_POINTS)
    at = ground.at((x0 + share * (x1 - x0)) * side_mm, (y0 + share * (y1 - y0)) * side_mm)
    side_m = side_mm * ground.scale / 1000.0
    return LessonGround(
        side_m=side_m,
        heights_m=heights,
        cell_m=ground.cell_m,
        walk=(ends[0], ends[1]),
        walk_length_m=side_m * math.hypot(x1 - x0, y1 - y0),
        walk_heights_m=at.elevation_m,
        walk_slopes_deg=np.degrees(np.arctan(np.hypot(at.p, at.q))),
    )
