"""What was found in a model, and what it means for how well its slopes are known.

=============== ==============================================================================
kind            what it does
=============== ==============================================================================
interpolated    what cells hide is reckoned by the cells that there were before
terraced        survey error of contours, at least
whole units     the rounding, ``unit / sqrt(12)`` (JCGM 100:2008, 4.3.7), is added to it
striped         so is the height of the stripes
seam, spikes    a caution: only the ground beside them is wrong
flat fill       a caution: its slope of 0 is no measurement
unit doubtful   a caution: all slopes may be wrong
voids           unknown ground, as everywhere
=============== ==============================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, get_args

from steybrae.quantities import FOOT_M
from steybrae.ranges import Positive
from steybrae.terrain.examine.finer import finer_times
from steybrae.terrain.examine.marks import Marks, steep_tenth_deg, whole_unit_m
from steybrae.terrain.examine.stripes import (
    LEAST_STRIPED,
    LEAST_STRIPED_FINER,
    Seam,
    stripes_m,
    terrace_interval_m,
)
from steybrae.terrain.model_kinds import MODEL_KINDS, ModelKind

FindingKind = Literal[
    "interpolated",
    "terraced",
    "whole units",
    "striped",
    "seam",
    "flat fill",
    "spikes",
    "unit doubtful",
    "voids",
]
FINDING_KINDS: Final = get_args(FindingKind)

DOUBTFUL_TENTH_DEG: Final = 54.0
"""Slope over 60 m that a tenth of the ground reaches where the unit is doubtful, degrees (our choice: 49 at
most on alpine models, 59 and more on the same and on hills read from feet as metres)."""

DOUBTFUL_AREA_M2: Final = 0.75e6
"""Least area for that, square metres (our choice): one face may be so steep."""

CONTOUR_STEP_M: Final = 5.0
"""Whole steps from this on, metres, are contours and not a rounding (our choice)."""

LEAST_IN_FEET_M: Final = 10.0
"""Least interval told of heights in whole feet, metres (our choice): whole metres made feet crowd too."""

LEAST_CELLS: Final = 10_000
"""Fewest cells with a height that tell of anything but voids (our choice)."""

STRIPE_FACTOR: Final = 2.0
"""Height of stripes over the steps between rows (our choice: rows that err independently have 0.4 of
their step, a wave eight rows long has 5)."""


@dataclass(frozen=True)
class ModelFound:
    """What was found in a model.

    Attributes
    ----------
    kinds
        What was found, each once, in the order of their list; empty where nothing was.
    source_cell_m
        Size of the cells that it was made finer from, metres; None where it was not.
    contours_m
        Interval of the contours that it was drawn from, metres; None where there are no terraces.
    rounded_m
        Step that its heights were rounded to, metres; None where they were not.
    striped_m
        Height of its stripes, metres, 1 standard deviation; None where there are none.
    """

    kinds: tuple[FindingKind, ...] = ()
    source_cell_m: Positive | None = None
    contours_m: Positive | None = None
    rounded_m: Positive | None = None
    striped_m: Positive | None = None


NOTHING_FOUND: Final = ModelFound()
"""A model that was not looked at, or shows nothing."""


def found_in(marks: Marks, cell_m: tuple[float, float], same_share: float = 0.0) -> ModelFound:
    """Say what the sums over a model's blocks tell.

    Parameters
    ----------
    marks
        Sums over blocks.
    cell_m
        Ground size of a cell along a row and along a column, metres.
    same_share
        Share of cells in squares of one identical number (`steybrae.cautions.HeightsRead`).
    """
    voids: tuple[FindingKind, ...] = ("voids",) if marks.known < marks.cells else ()
    if marks.known < LEAST_CELLS:
        return ModelFound(voids)
    # Rows that stand too high come again like old cells: where they are plain, nothing is said of those.
    times = [
        1.0 if plain else finer_times(along)
        for along, plain in zip(marks.periods, _plain(marks), strict=True)
    ]
    source = max(size * one for size, one in zip(cell_m, times, strict=True)) if max(times) > 1.0 else None
    unit = whole_unit_m(marks)
    contours = unit if unit is not None and unit >= CONTOUR_STEP_M else terrace_interval_m(marks.crowd)
    if unit == FOOT_M and contours is not None and contours < LEAST_IN_FEET_M:
        contours = None
    rounded = None if contours is not None else unit
    steps = _steps(marks, finer=source is not None)
    doubtful = marks.area_m2 >= DOUBTFUL_AREA_M2 and steep_tenth_deg(marks) >= DOUBTFUL_TENTH_DEG
    there = {
        "interpolated": source is not None,
        "terraced": contours is not None,
        "whole units": rounded is not None,
        "striped": steps is not None,
        "seam": bool(seams_in(marks)),
        "flat fill": same_share > 0.0 and contours is None,
        "spikes": marks.spikes > 0 and contours is None and not doubtful,
        "unit doubtful": doubtful,
        "voids": bool(voids),
    }
    kinds = tuple(kind for kind in FINDING_KINDS if there[kind])
    return ModelFound(kinds, source, contours, rounded, None if steps is None else STRIPE_FACTOR * steps)


def _plain(marks: Marks) -> list[bool]:
    """Whether stripes are plain across columns, and across rows."""
    return [stripes_m(axis[None], LEAST_STRIPED_FINER) is not None for axis in marks.alike]


def _steps(marks: Marks, *, finer: bool) -> float | None:
    return stripes_m(marks.alike, LEAST_STRIPED_FINER if finer else LEAST_STRIPED)


def seams_in(marks: Marks) -> tuple[Seam, ...]:
    """Seams, highest first.

    None where so many lines step that they are stripes, nor on cells made finer or drawn from contours,
    whose own lines look alike.
    """
    finer = max(map(finer_times, marks.periods)) > 1.0
    if finer or _steps(marks, finer=False) is not None or terrace_interval_m(marks.crowd) is not None:
        return ()
    return tuple(sorted(marks.seams, key=lambda seam: -seam.step_m))


KIND_DOUBTED: Final = "kind doubted"
"""Told beside what was found where the kind that was stated does not fit it."""

RADAR_CELLS_M: Final = 25.0
"""Longer side of a cell, metres, below which a model shows more than one of 1 arc-second can: that is 31 m
from north to south (our choice)."""


def doubt(kind: ModelKind, found: ModelFound, cell_m: float) -> str:
    """Say why a model is rather not of a kind.

    Parameters
    ----------
    kind
        One of `steybrae.terrain.model_kinds.MODEL_KINDS`.
    found
        What its heights were found to be.
    cell_m
        Longer side of a cell, metres.

    Returns
    -------
    str
        Empty where nothing speaks against it, which proves nothing.
    """
    source_m = max(cell_m, found.source_cell_m or 0.0)
    rounded = "" if found.rounded_m is None else f"its heights are rounded to {found.rounded_m:.3g} m"
    if kind == "contours":
        return ""
    if found.contours_m is not None:
        return f"its heights crowd every {found.contours_m:.3g} m, as those drawn from contours do"
    if kind == "photogrammetry":
        return ""
    if kind == "lidar":
        finer = found.source_cell_m is not None and source_m >= RADAR_CELLS_M
        return f"its cells were made finer from about {source_m:.0f} m" if finer else rounded
    if source_m < RADAR_CELLS_M:
        return f"it shows detail of {source_m:.3g} m, finer than the 31 m of such a model"
    return f"{rounded}, and that model's are not (from memory)" if rounded and kind == "glo-30" else ""


def doubted_kinds(found: ModelFound, cell_m: float) -> dict[ModelKind, str]:
    """Every kind that the heights rather speak against, and why; see `doubt`."""
    return {kind: why for kind in MODEL_KINDS if (why := doubt(kind, found, cell_m))}


def kinds_told(found: ModelFound, kind: ModelKind | None, cell_m: float) -> tuple[str, ...]:
    """Tell what was found, for choosing cautions, and whether the stated kind is doubted.

    Parameters
    ----------
    found, cell_m
        As for `doubt`.
    kind
        As stated; None where not.
    """
    doubted = kind is not None and doubt(kind, found, cell_m) != ""
    return (*found.kinds, KIND_DOUBTED) if doubted else found.kinds
