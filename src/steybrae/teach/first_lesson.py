"""The first lesson on paper: an example, a table, forms to match, slopes to rank, and the teacher's plan."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.field.limits import apparent_slope_deg
from steybrae.frozen import dataclass
from steybrae.paper.measurement import RULER_ERROR_MM
from steybrae.paper.spacing import gap_for_slope_mm
from steybrae.quantities import angle_to_gradient, gradient_to_angle, round_down
from steybrae.teach.answers import Blank, Measured, blanks, fair_ends, measured
from steybrae.teach.forms import FORMS, FormPatch, even_patch, form_patch
from steybrae.teach.map_ground import MapLook
from steybrae.value import slope

FIRST_LOOK: Final = MapLook(25_000.0, 10.0)
"""Map of the first lesson: 1 mm on paper is 25 m, a contour every 10 m (our choice)."""

WORKED_DEG: Final = 25.0
"""Slope of the worked example, degrees (our choice)."""

TANGENTS_DEG: Final = tuple(range(5, 61))
"""Degrees of the table (our choice)."""

COMB_DEG: Final = 30.0
COMB_GROUND_DEG: Final = (30.0, 36.0, 25.0)
"""Slope of a comb, and of the ground it is laid on, degrees (our choice)."""

RANKED_DEG: Final = (16.0, 21.5, 27.0, 32.5, 38.0)
"""Slopes to rank, degrees, before each is moved a little: all in bands of their own or apart (our choice)."""

MOVED_DEG: Final = 1.2
RANK_SIDE_MM: Final = 30.0
RANK_GAPS: Final = 10
"""Gaps of each slope to rank: from a thick line to the next but one, so that the ruler errs little."""

CRAG_M: Final = 8.0
"""Height of the crag that contours every 10 m hide, metres (our choice)."""


@dataclass(frozen=True)
class Worked:
    """The example: slope, gaps, length on paper, and what that is on the ground."""

    slope_deg: float
    gaps: int
    across_mm: float
    run_m: float
    rise_m: float


@dataclass(frozen=True)
class Ranked:
    """One slope to rank, 1 the gentlest, by the gaps of its contours.

    `blanks` are what the pupil fills in, and what is taken there.
    """

    letter: str
    patch: FormPatch
    answer: Measured
    rank: int
    blanks: tuple[Blank, ...]


@dataclass(frozen=True)
class Hidden:
    """Two grounds under the same contours.

    Attributes
    ----------
    contours
        Where contours are crossed: along, metres, and height, metres.
    even, broken
        Along and height of both profiles, metres: they cross every contour at the same places.
    slope_deg
        Of both by their contours, degrees.
    crag_m
        Height of the step that lies between two contours, metres.
    """

    contours: tuple[tuple[float, float], ...]
    even: tuple[tuple[float, float], ...]
    broken: tuple[tuple[float, float], ...]
    slope_deg: float
    crag_m: float


@dataclass(frozen=True)
class Step:
    """A step of the teacher's plan: its minutes, what it is, and how."""

    begin_min: int
    end_min: int
    title: str
    words: str


@dataclass(frozen=True, eq=False)
class FirstLesson:
    """What the sheets of the first lesson hold.

    Attributes
    ----------
    look
        Scale and interval.
    worked
        The example.
    tangents
        Degrees, and height gained over distance, left down in thousandths: a table that flatters no slope.
    comb
        Slope of a comb, and distance of its lines, mm.
    comb_grounds
        The same of grounds that it is laid on.
    matches
        Forms to match, numbered in this order.
    profiles
        Which of `matches` each lettered profile is, counted from 0.
    ranked
        Slopes to rank.
    hidden
        What contours hide.
    plan
        Of 45 minutes.
    mistakes
        What pupils often do with the example, and what it gives, one sentence each.
    seed
        Same seed, same sheet.
    cautions
        Never empty.
    """

    look: MapLook
    worked: Worked
    tangents: tuple[tuple[float, float], ...]
    comb: tuple[float, float]
    comb_grounds: tuple[tuple[float, float], ...]
    matches: tuple[FormPatch, ...]
    profiles: tuple[int, ...]
    ranked: tuple[Ranked, ...]
    hidden: Hidden
    plan: tuple[Step, ...]
    mistakes: tuple[str, ...]
    seed: int
    cautions: tuple[Caution, ...]


PLAN: Final = (
    Step(
        0,
        5,
        "Open",
        "Two slopes that all know, one gentle and one steep. How does the map show them? Let them say "
        "it: close lines, steep ground. Hand out page 1.",
    ),
    Step(
        5,
        14,
        "Measure one",
        "Work the example through together with a ruler, aloud: length, ground, height, division, "
        "table. Then lay a comb on it. Gaps are counted, not lines.",
    ),
    Step(
        14,
        22,
        "Know the form",
        "Page 2, in pairs. Each pair says for every answer which lines told them. Gully and spur come "
        "last: look at the numbers for which way is up.",
    ),
    Step(
        22,
        34,
        "Judge, then measure",
        "Page 3. Everybody ranks by eye in one minute, pens down. Then measure, fill in, rank again. "
        "Ask who changed their order, and by how much eyes were out.",
    ),
    Step(
        34,
        41,
        "What is not there",
        "The two hillsides of page 3: same contours, one has a crag. What else may lie between the "
        "lines? What would you look for on the hill?",
    ),
    Step(
        41,
        45,
        "Close",
        "One sentence each: what will you measure on your next route? Slope is one part of the question: "
        "forecast, snow, weather and people are the others.",
    ),
)
"""45 minutes (our choice, from memory of such lessons)."""


def first_lesson(seed: int = 1) -> FirstLesson:
    """Make the sheets' content; the same seed, 0 or more, makes the same sheets."""
    rng = np.random.default_rng(seed)
    look = FIRST_LOOK
    worked = _worked(look)
    forms = [FORMS[k] for k in rng.permutation(len(FORMS))]
    matches = tuple(
        form_patch(
            form,
            look.scale,
            look.interval_m,
            turn_deg=30.0 * float(rng.integers(12)),
            base_m=50.0 * float(rng.integers(8, 16)),
        )
        for form in forms
    )
    return FirstLesson(
        look=look,
        worked=worked,
        tangents=tuple(
            (float(deg), round_down(angle_to_gradient(float(deg)), 0.001)) for deg in TANGENTS_DEG
        ),
        comb=(COMB_DEG, gap_for_slope_mm(COMB_DEG, look.interval_m, look.scale)),
        comb_grounds=tuple(
            (deg, gap_for_slope_mm(deg, look.interval_m, look.scale)) for deg in COMB_GROUND_DEG
        ),
        matches=matches,
        profiles=tuple(int(k) for k in rng.permutation(len(matches))),
        ranked=_ranked(look, rng),
        hidden=_hidden(look),
        plan=PLAN,
        mistakes=_mistakes(worked),
        seed=seed,
        cautions=cautions_for(
            Situation(
                from_paper=True, lesson=True, interval_m=look.interval_m, single_gap=True, thinned_lines=True
            )
        ),
    )


def _worked(look: MapLook) -> Worked:
    gaps = look.index_every
    # A tenth of a millimetre is what a ruler shows; the slope is that of the length as written.
    across = math.floor(10.0 * gap_for_slope_mm(WORKED_DEG, look.interval_m, look.scale, gaps)) / 10.0
    run_m, rise_m = look.metres(across), gaps * look.interval_m
    return Worked(gradient_to_angle(rise_m / run_m), gaps, across, run_m, rise_m)


def _mistakes(worked: Worked) -> tuple[str, ...]:
    """Say what usual slips make of the example."""

    def given(rise_m: float, run_m: float) -> str:
        return slope(gradient_to_angle(rise_m / run_m)).text

    lines, per = worked.gaps + 1, worked.rise_m / worked.gaps
    along = apparent_slope_deg(worked.slope_deg, 60.0)
    return (
        f"Counts {lines} lines as {lines} gaps: {given(lines * per, worked.run_m)}.",
        f"Takes the map for 1:50 000: {given(worked.rise_m, 2.0 * worked.run_m)}.",
        f"Takes an interval of {per / 2:g} m: {given(worked.rise_m / 2.0, worked.run_m)}.",
        f"Measures along a path that crosses 60° off the fall line: {slope(along).text}. The ground is "
        f"{slope(worked.slope_deg).text} all the same.",
    )


def _ranked(look: MapLook, rng: np.random.Generator) -> tuple[Ranked, ...]:
    slopes = [deg + float(rng.uniform(-MOVED_DEG, MOVED_DEG)) for deg in RANKED_DEG]
    out = []
    for letter, k in zip("ABCDE", rng.permutation(len(slopes)), strict=True):
        slope_deg = slopes[k]
        patch = even_patch(
            slope_deg,
            look.scale,
            look.interval_m,
            side_mm=RANK_SIDE_MM,
            turn_deg=15.0 * float(rng.integers(24)),
            base_m=50.0 * float(rng.integers(8, 16)),
        )
        across = gap_for_slope_mm(slope_deg, look.interval_m, look.scale, RANK_GAPS)
        answer, rank = measured("whole", across, RANK_GAPS, slope_deg, look), int(k) + 1
        out.append(Ranked(letter, patch, answer, rank, _ranked_blanks(answer, look, rank)))
    return tuple(out)


def _ranked_blanks(answer: Measured, look: MapLook, rank: int) -> tuple[Blank, ...]:
    length, height, in_degrees, band = blanks(answer, "length mm", "height", "slope °", "band")
    short_m, long_m = (look.metres(answer.across_mm + off) for off in (-RULER_ERROR_MM, RULER_ERROR_MM))
    return (
        Blank("by eye, 1-5", "any"),
        length,
        Blank("ground m", fair_ends(short_m, long_m, 0.1)),
        height,
        in_degrees,
        band,
        Blank("measured, 1-5", str(rank)),
    )


def _hidden(look: MapLook) -> Hidden:
    """Cross seven contours at even steps, once evenly, once with a crag between the fourth and the fifth."""
    slope_deg = WORKED_DEG
    run = look.interval_m / angle_to_gradient(slope_deg)
    contours = tuple((k * run, k * look.interval_m) for k in range(8))
    low, high = contours[3], contours[4]
    ledge = (look.interval_m - CRAG_M) / 2.0
    foot, top = (low[0] + 0.58 * run, low[1] + ledge), (low[0] + 0.62 * run, high[1] - ledge)
    hollow = (contours[5][0] + 0.4 * run, contours[5][1] + 0.1)
    broken = (*contours[:4], foot, top, *contours[4:6], hollow, *contours[6:])
    return Hidden(contours, (contours[0], contours[-1]), broken, slope_deg, CRAG_M)
