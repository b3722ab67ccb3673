"""What marks a model carries, what is found by them, and what it means for how well its slopes are known.

=============== ==============================================================================
kind            what it does
=============== ==============================================================================
interpolated    what cells hide is reckoned by the cells that there were before, or by how far apart the
                points are that it was drawn between
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

import math
from collections.abc import Iterable
from functools import reduce
from typing import Final, Literal, get_args

import numpy as np

from steybrae.frozen import dataclass
from steybrae.quantities import FOOT_M
from steybrae.ranges import Positive
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.finer import (
    LEAST_RUN,
    MANY_WINDOWS,
    Periods,
    finer_times,
    finer_times_in_noise,
    periods_of,
)
from steybrae.terrain.examine.marks import (
    LEAST_STRIPED,
    LEAST_STRIPED_FINER,
    Seam,
    alike_of,
    crowd_of,
    median_times,
    repeats_of,
    seams_of,
    steps_apart,
    stripes_m,
    terrace_interval_m,
)
from steybrae.terrain.examine.planes import cells_apart, planes_of
from steybrae.terrain.gradients import plane_gradients
from steybrae.terrain.model_kinds import MODEL_KINDS, ModelKind

STEPS_M: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 40.0, 50.0, 100.0, FOOT_M, 10 * FOOT_M, 20 * FOOT_M)
"""Steps that heights may be multiples of, metres."""

ALL_BUT: Final = 0.005
"""Share of heights that need not be a multiple (our choice: a few may have been mended)."""

SPIKE_CELLS: Final = 0.5
"""Least height of a spike over all eight neighbours, in cells (our choice), and more than they differ."""

SPIKE_M: Final = 2.0
"""The same in metres (our choice): whole metres on cells of a metre make steps as high as those."""

UNIT_BASELINE_M: Final = 60.0
"""Baseline of the slopes that tell of a wrong unit, metres (our choice): over it crags count for little."""


@dataclass(frozen=True, eq=False)
class Marks:
    """Sums over blocks.

    Attributes
    ----------
    cells, known
        How many, and how many of them have a height.
    low_m, high_m
        Least and greatest height, metres; infinite where none is known.
    spikes
        Cells that stand out from all eight neighbours.
    multiples
        How many heights are multiples of each of `STEPS_M`.
    crowd
        From `steybrae.terrain.examine.marks.crowd_of`.
    periods
        Along rows and along columns, of whole windows.
    runs
        The same of windows that are known in part.
    alike
        For stripes, along columns and rows: products of steps in pieces apart, of the one and of the
        other with themselves, and the pairs.
    seams
        Of each block.
    steep
        Count of slopes over `UNIT_BASELINE_M`, by whole degrees.
    area_m2
        Area of the cells that are known.
    planes
        From `steybrae.terrain.examine.planes.planes_of`.
    repeats
        From `steybrae.terrain.examine.marks.repeats_of`.
    """

    cells: int
    known: int
    low_m: float
    high_m: float
    spikes: int
    multiples: Array
    crowd: Array
    periods: tuple[Periods, Periods]
    runs: tuple[Periods, Periods]
    alike: Array
    seams: tuple[Seam, ...]
    steep: Array
    area_m2: float
    planes: Array
    repeats: Array

    @property
    def tells(self) -> bool:
        """Whether enough is known for anything but voids to be found."""
        return self.known >= LEAST_CELLS and any(along.windows >= MANY_WINDOWS for along in self.along)

    @property
    def along(self) -> tuple[Periods, Periods]:
        """Periods along rows and along columns, of parts of windows too where whole ones are few."""
        across, down = (
            whole if whole.windows >= MANY_WINDOWS else whole + runs
            for whole, runs in zip(self.periods, self.runs, strict=True)
        )
        return across, down

    def __add__(self, other: Marks) -> Marks:
        """Put the sums of two blocks together."""
        return Marks(
            self.cells + other.cells,
            self.known + other.known,
            min(self.low_m, other.low_m),
            max(self.high_m, other.high_m),
            self.spikes + other.spikes,
            self.multiples + other.multiples,
            self.crowd + other.crowd,
            (self.periods[0] + other.periods[0], self.periods[1] + other.periods[1]),
            (self.runs[0] + other.runs[0], self.runs[1] + other.runs[1]),
            self.alike + other.alike,
            self.seams + other.seams,
            self.steep + other.steep,
            self.area_m2 + other.area_m2,
            np.concatenate((self.planes, other.planes)),
            self.repeats + other.repeats,
        )


def joined(blocks: Iterable[Marks]) -> Marks:
    """Add up blocks, one or more."""
    return reduce(Marks.__add__, blocks)


def marks_of(heights_m: Array, cell_m: tuple[float, float]) -> Marks:
    """Look at one block; NaN is unknown."""
    known = heights_m[np.isfinite(heights_m)]
    across, down = steps_apart(heights_m), steps_apart(heights_m.T)
    periods = periods_of(heights_m), periods_of(heights_m.T)
    return Marks(
        cells=heights_m.size,
        known=len(known),
        low_m=float(known.min(initial=math.inf)),
        high_m=float(known.max(initial=-math.inf)),
        spikes=_spikes(heights_m, min(cell_m)),
        multiples=np.array([np.count_nonzero(_off(known, step) < 1e-3) for step in STEPS_M], dtype=float),
        crowd=crowd_of(heights_m),
        periods=periods,
        runs=(_runs(heights_m, periods[0]), _runs(heights_m.T, periods[1])),
        alike=np.stack((alike_of(across), alike_of(down))),
        seams=(*seams_of(across, "column"), *seams_of(down, "row")),
        steep=_steep(heights_m, cell_m),
        area_m2=len(known) * cell_m[0] * cell_m[1],
        planes=planes_of(heights_m),
        repeats=repeats_of(heights_m, cell_m),
    )


def _runs(heights_m: Array, whole: Periods) -> Periods:
    """Periods of parts of windows; of none where they would not be asked, see `Marks.along`."""
    return periods_of(heights_m if whole.windows < MANY_WINDOWS else heights_m[:0], runs=True)


def _off(heights_m: Array, step_m: float) -> Array:
    """How far heights lie from the nearest multiple of a step, metres."""
    return np.asarray(np.abs(heights_m - step_m * np.round(heights_m / step_m)))


def whole_unit_m(found: Marks) -> float | None:
    """Largest step of `STEPS_M` that heights are multiples of, metres; None where they are finer."""
    least = (1.0 - ALL_BUT) * found.known
    steps = [step for step, count in zip(STEPS_M, found.multiples, strict=True) if count >= least > 0.0]
    return max(steps, default=None)


def _spikes(heights_m: Array, cell_m: float) -> int:
    rows, cols = heights_m.shape
    if min(rows, cols) < 3:
        return 0
    own = heights_m[1:-1, 1:-1]
    low, high = np.full(own.shape, np.inf), np.full(own.shape, -np.inf)
    for i, j in ((i, j) for i in range(3) for j in range(3) if (i, j) != (1, 1)):
        beside = heights_m[i : rows - 2 + i, j : cols - 2 + j]
        low, high = np.minimum(low, beside), np.maximum(high, beside)
    out = np.maximum(own - high, low - own)
    with np.errstate(invalid="ignore"):
        return int(np.count_nonzero((out > max(SPIKE_CELLS * cell_m, SPIKE_M)) & (out > high - low)))


def _steep(heights_m: Array, cell_m: tuple[float, float]) -> Array:
    """Count slopes over `UNIT_BASELINE_M` by whole degrees, from every n-th height."""
    cols, rows = baseline_cells(*cell_m, UNIT_BASELINE_M)
    p, q = plane_gradients(heights_m[rows // 2 :: rows, cols // 2 :: cols], 1, 1)
    slope = np.degrees(np.arctan(np.hypot(p / (cols * cell_m[0]), q / (rows * cell_m[1]))))
    return np.asarray(np.bincount(slope[np.isfinite(slope)].astype(int), minlength=91), dtype=float)


def steep_tenth_deg(found: Marks) -> float:
    """Slope over `UNIT_BASELINE_M` that a tenth of the ground reaches, degrees; 0 where none is known."""
    total = found.steep.sum()
    beyond = np.cumsum(found.steep[::-1])[::-1]
    return float(np.flatnonzero(beyond >= 0.1 * total)[-1]) if total > 0.0 else 0.0


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
"""Fewest cells with a height that tell of more than voids and clean interpolation (our choice)."""

LEAST_CELLS_FINER: Final = LEAST_RUN**2
"""Fewest cells with a height that tell of interpolation."""

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
        Size of the cells where its detail ends, metres, where it was made finer or smoothed; None elsewhere.
    contours_m
        Interval of the contours that it was drawn from, metres; None where there are no terraces.
    rounded_m
        Step that its heights were rounded to, metres; None where they were not.
    striped_m
        Height of its stripes, metres, 1 standard deviation, rounded up to a tenth of a decade; None where
        there are none.
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

    `same_share` is the share of cells in squares of one identical number
    (`steybrae.cautions.HeightsRead`).
    """
    voids: tuple[FindingKind, ...] = ("voids",) if marks.known < marks.cells else ()
    times = _times(marks)
    if marks.known < LEAST_CELLS:
        source = _source_cell_m(times, cell_m)
        return ModelFound(voids if source is None else ("interpolated", *voids), source)
    unit = whole_unit_m(marks)
    contours = unit if unit is not None and unit >= CONTOUR_STEP_M else terrace_interval_m(marks.crowd)
    if unit == FOOT_M and contours is not None and contours < LEAST_IN_FEET_M:
        contours = None
    if max(times) == 1.0 and contours is None:
        times = (max(cells_apart(marks.planes), median_times(marks.repeats)),) * 2
    source = _source_cell_m(times, cell_m)
    rounded = None if contours is not None else unit
    steps = _steps(marks, finer=source is not None)
    doubtful = marks.area_m2 >= DOUBTFUL_AREA_M2 and steep_tenth_deg(marks) >= DOUBTFUL_TENTH_DEG
    there = {
        "interpolated": source is not None,
        "terraced": contours is not None,
        "whole units": rounded is not None,
        "striped": steps is not None,
        "seam": bool(_seams(marks, finer=source is not None)),
        "flat fill": same_share > 0.0 and contours is None,
        "spikes": marks.spikes > 0 and contours is None and not doubtful,
        "unit doubtful": doubtful,
        "voids": bool(voids),
    }
    kinds = tuple(kind for kind in FINDING_KINDS if there[kind])
    return ModelFound(kinds, source, contours, rounded, None if steps is None else _striped_m(steps))


def _source_cell_m(times: tuple[float, float], cell_m: tuple[float, float]) -> float | None:
    if max(times) == 1.0:
        return None
    return max(size * one for size, one in zip(cell_m, times, strict=True))


def _times(marks: Marks) -> tuple[float, float]:
    """How many times finer cells were made, along rows and along columns."""
    if marks.known < LEAST_CELLS_FINER:
        return 1.0, 1.0
    # Rows that stand too high come again like old cells: where they are plain, nothing is said of those.
    across, down = (
        1.0 if plain else finer_times(along) for along, plain in zip(marks.along, _plain(marks), strict=True)
    )
    return (across, down) if max(across, down) > 1.0 else finer_times_in_noise(marks.along)


def _striped_m(steps_m: float) -> float:
    """Height of stripes from the steps between rows, rounded up to a tenth of a decade.

    Blocks of one noisy model tell it some hundredths apart: a line moved there would else have other
    intervals on every leg, those far away as well.
    """
    return float(10.0 ** (math.ceil(10.0 * math.log10(STRIPE_FACTOR * steps_m) - 1e-9) / 10.0))


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
    return _seams(marks, finer=max(_times(marks)) > 1.0)


def _seams(marks: Marks, *, finer: bool) -> tuple[Seam, ...]:
    if finer or _steps(marks, finer=False) is not None or terrace_interval_m(marks.crowd) is not None:
        return ()
    return tuple(sorted(marks.seams, key=lambda seam: -seam.step_m))


KIND_DOUBTED: Final = "kind doubted"
"""Told beside what was found where the kind that was stated does not fit it."""

RADAR_CELLS_M: Final = 25.0
"""Longer side of a cell, metres, below which a model shows more than one of 1 arc-second can: that is 31 m
from north to south (our choice)."""


def doubt(kind: ModelKind, found: ModelFound, cell_m: float) -> str:
    """Say why a model is rather not of a kind; empty where nothing speaks against it: that proves nothing."""
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
        return f"its detail ends at cells of about {source_m:.0f} m" if finer else rounded
    if source_m < RADAR_CELLS_M:
        return f"it shows detail of {source_m:.3g} m, finer than the 31 m of such a model"
    return f"{rounded}; that model's are not, as far as we know" if rounded and kind == "glo-30" else ""


def doubted_kinds(found: ModelFound, cell_m: float) -> dict[ModelKind, str]:
    """Every kind that the heights rather speak against, and why; see `doubt`."""
    return {kind: why for kind in MODEL_KINDS if (why := doubt(kind, found, cell_m))}


def kinds_told(found: ModelFound, kind: ModelKind | None, cell_m: float) -> tuple[str, ...]:
    """Tell what was found, for choosing cautions, and whether the stated kind is doubted."""
    doubted = kind is not None and doubt(kind, found, cell_m) != ""
    return (*found.kinds, KIND_DOUBTED) if doubted else found.kinds
