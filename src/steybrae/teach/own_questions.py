"""Questions from the user's own plan and log: their legs, and their readings against the map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from steybrae.cautions import Caution, Situation, cautions_for
from steybrae.errors import ModelError, QuantityError
from steybrae.field.log import LogRow
from steybrae.frozen import dataclass
from steybrae.screening.result import LegScreening, RouteScreening
from steybrae.teach.answers import MOST_BANDS, Blank, LegLine, Measured, Question, blanks, measured
from steybrae.teach.leg_questions import leg_question
from steybrae.teach.map_ground import MapGround, MapLook
from steybrae.teach.slope_scale import LEAST_GAP_MM
from steybrae.teach.stretches import stretch_over
from steybrae.terrain.attributes import BASELINE_M
from steybrae.terrain.dem import Dem, Grid
from steybrae.value import Value, slope

MOST_OWN: Final = 4
"""Most legs, and most readings, of one sheet (our choice)."""

BOW_MM: Final = 1.0
"""A leg that bends further than this from its chord, mm on paper, is not asked for (our choice)."""

LEG_MM: Final = (8.0, 120.0)
"""Shortest and longest leg of a plan that is asked for, mm on paper (our choice)."""

EDGE_MM: Final = 7.0
"""Legs and readings keep so far from the frame, mm (our choice)."""

READING_GAPS: Final = (4, 3, 2, 1)
"""Gaps measured round the place of a reading, as many as there are (our choice)."""


def plan_ground(plan: RouteScreening) -> Dem:
    """Heights of the map that a plan keeps, one in each of its cells; `ModelError` where it keeps none."""
    if plan.relief is None:
        message = "This plan keeps no ground for a map. Give the elevation model with --dem."
        raise ModelError(message)
    return Dem(plan.relief.grid, plan.relief.heights_m)


def plan_middle(grid: Grid, plan: RouteScreening) -> tuple[float, float] | None:
    """Where the steepest leg of a plan lies in a model, ``col, row``; None where it is not on the model."""
    for leg in _steepest_first(plan):
        half = len(leg.points.lat_deg) // 2
        found = _on_grid(grid, float(leg.points.lat_deg[half]), float(leg.points.lon_deg[half]))
        if found is not None:
            return found
    return None


def log_middle(grid: Grid, rows: Sequence[LogRow]) -> tuple[float, float] | None:
    """Where the first reading of a log that has a place on the model lies; None for none."""
    for row in rows:
        if row.lat_deg is not None and row.lon_deg is not None:
            found = _on_grid(grid, row.lat_deg, row.lon_deg)
            if found is not None:
                return found
    return None


def _on_grid(grid: Grid, lat_deg: float, lon_deg: float) -> tuple[float, float] | None:
    col, row = (float(part) for part in grid.from_wgs84(lon_deg, lat_deg))
    inside = 0.0 <= col <= grid.shape[1] and 0.0 <= row <= grid.shape[0]
    return (col, row) if inside else None


def _steepest_first(plan: RouteScreening) -> list[LegScreening]:
    return sorted(plan.legs, key=lambda leg: -(leg.slope_max_deg or 0.0))


def _paper(ground: MapGround, lat_deg: Sequence[float], lon_deg: Sequence[float]) -> np.ndarray:
    """Places on paper, ``(n, 2)`` mm."""
    col, row = ground.field.dem.grid.from_wgs84(lon_deg, lat_deg)
    return np.column_stack(ground.paper_mm(col, row))


def plan_questions(ground: MapGround, look: MapLook, plan: RouteScreening, *, told: bool) -> list[Question]:
    """Questions on the legs of a plan that lie on the map, steepest first, at most four.

    Straight legs of known ground alone. `told` is whether questions say what to look out for.
    """
    found: list[Question] = []
    for leg in _steepest_first(plan):
        points = _paper(ground, leg.points.lat_deg.tolist(), leg.points.lon_deg.tolist())
        line = _chord(ground, points)
        if line is None:
            continue
        name = f"leg {leg.number}, {leg.from_} to {leg.to}"
        question = leg_question(
            line, ground, look, name, on_contours=False, told=told, plan_deg=_steepest_deg(leg)
        )
        if question is not None:
            found.append(replace(question, remarks=(*question.remarks, _plan_says(leg, question))))
        if len(found) == MOST_OWN:
            break
    return found


def _steepest_deg(leg: LegScreening) -> float:
    """Steepest ground of a leg by the plan, degrees; NaN where the plan knows it as "at least"."""
    return math.nan if leg.slope_max_deg is None or leg.open_above else leg.slope_max_deg


def _plan_says(leg: LegScreening, question: Question) -> str:
    """Say what the plan has as the steepest, and whether this map shows it."""
    steepest = slope(leg.slope_max_deg, at_least=leg.open_above).text
    said = f"The plan says {steepest} as the steepest on this leg and beside it"
    if question.leg is not None and question.leg.steepest is None:
        return f"{said}. Contours on this map do not show that: it is not asked, and the plan leads."
    return f"{said}; the steeper leads."


def _chord(ground: MapGround, points: np.ndarray) -> LegLine | None:
    """Straight line of a leg; None where it bends, leaves the map, or is too short or long."""
    if not np.isfinite(points).all():
        return None
    start, end = points[0], points[-1]
    long_mm = float(np.hypot(*(end - start)))
    if not LEG_MM[0] <= long_mm <= LEG_MM[1]:
        return None
    if not all(ground.inside(float(x), float(y), EDGE_MM) for x, y in (start, end)):
        return None
    aside = np.abs((points - start) @ np.array([end[1] - start[1], start[0] - end[0]])) / long_mm
    if aside.max() > BOW_MM:
        return None
    return LegLine((float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def log_questions(ground: MapGround, look: MapLook, rows: Sequence[LogRow]) -> list[Question]:
    """Questions on the readings of a log whose places lie on the map, in its order, at most four.

    Those on ground too level, too bent or too steep to measure on paper are passed over.
    """
    found: list[Question] = []
    for row in rows:
        question = None if row.lat_deg is None or row.lon_deg is None else _reading(ground, look, row)
        if question is not None:
            found.append(question)
        if len(found) == MOST_OWN:
            break
    return found


def _reading(ground: MapGround, look: MapLook, row: LogRow) -> Question | None:
    x, y = _paper(ground, [row.lat_deg or 0.0], [row.lon_deg or 0.0])[0]
    if not ground.inside(x, y, EDGE_MM):
        return None
    stretch = stretch_over(ground, look, x, y, READING_GAPS)
    if stretch is None or stretch.gaps_mm.min() < LEAST_GAP_MM:
        return None
    part = measured("whole", stretch.length_mm, stretch.gaps, stretch.slope_model_deg, look)
    said = f"{slope(row.mean_deg).text} ± {slope(row.uncertainty_95_deg).text}"
    apart, agree = _agreement(row, part)
    read_over, over = (
        Value(metres / look.unit_m, look.unit).text for metres in (BASELINE_M, look.metres(part.across_mm))
    )
    return Question(
        "reading",
        f"Your own reading of {row.time:%d %B %Y}, over some {read_over} of ground: {said}. "
        f"What does the map say here, over the {over} between the ticks, "
        "and do the two agree?",
        (*blanks(part, "length mm", "gaps", "slope °"), Blank("agree?", agree)),
        (part,),
        stretch,
        remarks=(
            f"{apart} The map averages over {over}: short pieces within, as one was read, may be steeper or "
            "gentler, and neither figure wrong. Where they differ, the steeper leads.",
        ),
    )


def _agreement(row: LogRow, part: Measured) -> tuple[str, str]:
    """Say how far apart reading and map are, and whether that is no more than both leave open."""
    difference = row.mean_deg - part.slope_gap_deg
    other = part.high_deg - part.slope_gap_deg if difference > 0.0 else part.slope_gap_deg - part.low_deg
    allowed = math.hypot(row.uncertainty_95_deg, other)
    words, agree = ("no more", "yes") if abs(difference) <= allowed else ("more", "no")
    apart = (
        f"Reading and map differ by {abs(difference):.1f}°, {words} than the {allowed:.1f}° both leave open."
    )
    return apart, agree


MOST_GAPS: Final = 100
"""Most gaps of a stretch (our choice): 1000 m at 10 m."""


@dataclass(frozen=True)
class OwnStretch:
    """A stretch up the fall line, from contour to contour, as somebody measured and named it.

    Index gaps are counted as the gaps they are; `QuantityError` for too many gaps or none.
    """

    name: str
    length_mm: float
    gaps: int

    def __post_init__(self) -> None:
        """Refuse a count that no stretch has."""
        if not 1 <= self.gaps <= MOST_GAPS:
            message = (
                f"A stretch should have 1 to {MOST_GAPS} gaps; got {self.gaps}. Count spaces, not lines."
            )
            raise QuantityError(message)


@dataclass(frozen=True)
class OwnMapSheet:
    """Questions on one's own map, in the order of the table.

    `blanks` are lines to write on for each, and what is taken there. Cautions are never empty.
    """

    look: MapLook
    stretches: tuple[OwnStretch, ...]
    answers: tuple[Measured, ...]
    blanks: tuple[tuple[Blank, ...], ...]
    cautions: tuple[Caution, ...]


def _blanks(answer: Measured) -> tuple[Blank, ...]:
    *lines, band = blanks(answer, "length mm", "gaps", "height", "slope °", "band")
    if len(answer.bands) > MOST_BANDS:
        band = Blank("band", "any: measure over more gaps")
    return (*lines, band)


def own_map_sheet(stretches: Sequence[OwnStretch], look: MapLook) -> OwnMapSheet:
    """Work out every stretch as measured.

    What is accepted is what the ruler error leaves open, as on every practice sheet.
    """
    answers = tuple(measured("whole", one.length_mm, one.gaps, None, look) for one in stretches)
    return OwnMapSheet(
        look,
        tuple(stretches),
        answers,
        tuple(map(_blanks, answers)),
        cautions_for(
            Situation(
                from_paper=True,
                lesson=True,
                interval_m=look.interval_m,
                single_gap=any(one.gaps == 1 for one in stretches),
                thinned_lines=True,
            )
        ),
    )
