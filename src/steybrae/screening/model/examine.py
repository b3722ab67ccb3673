"""Examine an elevation model: what it is, what was found, and what can be expected of its slopes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from steybrae.bands import STEEP_DEG
from steybrae.cautions import Situation, cautions_for
from steybrae.errors import ModelError
from steybrae.names import clean
from steybrae.quantities import finite, shown_slope_deg
from steybrae.screening.known import Settings, slopes_known, told_of_model
from steybrae.screening.model.look import OVERLAP, Corner, block_corners, read_blocks
from steybrae.screening.model.result import (
    IntervalExample,
    KindDoubted,
    ModelExamined,
    ModelExtent,
    ModelFinding,
    ModelPicture,
    SeamAt,
)
from steybrae.terrain.attributes import baseline_cells, slope_field
from steybrae.terrain.dem import Array, Dem, DemSource, Grid
from steybrae.terrain.examine.found import (
    FindingKind,
    Marks,
    ModelFound,
    doubted_kinds,
    found_in,
    joined,
    marks_of,
    seams_in,
)
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.start_zones import start_from_deg
from steybrae.terrain.uncertainty import SlopeUncertainty, least_ends_deg
from steybrae.value import slope


def finding_words(
    kind: FindingKind, found: ModelFound, cell_m: float, seam_m: float = 0.0, spikes: int = 0
) -> str:
    """Say what a finding is and what it does.

    `seam_m` is the height of the highest seam met, `spikes` how many cells are spikes or pits.
    """
    source, contours = found.source_cell_m or cell_m, found.contours_m or 0.0
    rounded, striped = found.rounded_m or 0.0, found.striped_m or 0.0
    return {
        "interpolated": (
            f"Cells of {cell_m:.3g} m were made finer by interpolation, drawn between points far apart, or "
            "smoothed: it looks smoother than the ground, and shows no more than cells of about "
            f"{source:.3g} m."
        ),
        "terraced": (
            f"Heights crowd every {contours:.3g} m: it was drawn from contours. Between them its slopes are "
            "made up, flat steps beside steep ones."
        ),
        "whole units": (
            f"Heights are whole steps of {rounded:.3g} m: over two cells that alone is worth up to "
            f"{slope(math.degrees(math.atan(rounded / (2.0 * cell_m)))).text}."
        ),
        "striped": (
            f"Rows or columns stand too high or too low from end to end, by some {striped:.2g} m: slopes "
            "across them are wrong."
        ),
        "seam": (
            f"Along a line of the grid its parts do not meet, a step of {seam_m:.2g} m: slopes across it are "
            "wrong."
        ),
        "flat fill": (
            "Stretches of one identical number: water, level ground in whole units, or missing ground filled "
            "up. Their slope of 0 is no measurement."
        ),
        "spikes": f"{spikes} cells stand far above or below all around them, as errors do.",
        "unit doubtful": (
            "It is steeper over 60 m than almost any land is: its heights may be in feet and were taken as "
            "metres. Compare a height with the map, and state --z-unit."
        ),
        "voids": "Cells without a height: unknown ground, never gentle.",
    }[kind]


MOST_SIDE: Final = 600
"""Most rows or columns of the picture (our choice)."""

CLOSE: Final = 96
"""Cells of the piece at full size, along a side (our choice): single rows are seen."""


class Drawn:
    """Collects blocks for the picture: the steepest of many cells in one, unknown where one is."""

    def __init__(self, shape: tuple[int, int], side: int) -> None:
        self.step = max(1, -(-max(shape) // MOST_SIDE))
        size = [-(-count // self.step) for count in shape]
        self._slope = np.full(size, np.nan)
        self._looked = np.zeros(size, dtype=np.bool_)
        self._unknown = np.zeros(size, dtype=np.bool_)
        self._side = side
        self._close: tuple[float, Dem] | None = None

    def add(self, corner: Corner, dem: Dem, slope: np.ndarray) -> None:
        """Add a block and its slopes."""
        rows, cols = slope.shape
        row = (corner[0] + np.arange(rows)) // self.step
        col = (corner[1] + np.arange(cols)) // self.step
        at = np.broadcast_arrays(row[:, None], col[None, :])
        self._looked[at[0], at[1]] = True
        known = np.isfinite(slope)
        self._unknown[at[0][~known], at[1][~known]] = True
        steepest = np.where(np.isnan(self._slope), -1.0, self._slope)
        np.maximum.at(steepest, (at[0][known], at[1][known]), slope[known])
        self._slope = np.where(steepest < 0.0, np.nan, steepest)
        self._keep_close(dem)

    def add_void(self, corner: Corner) -> None:
        """Add a block without a height: looked at, and unknown."""
        down, across = (slice(at // self.step, -(-(at + self._side) // self.step)) for at in corner)
        self._looked[down, across] = self._unknown[down, across] = True

    def _keep_close(self, dem: Dem) -> None:
        """Keep the piece with the most relief among those without voids; else with the fewest."""
        rows, cols = dem.heights_m.shape
        for row in range(0, max(rows - CLOSE, 0) + 1, CLOSE):
            for col in range(0, max(cols - CLOSE, 0) + 1, CLOSE):
                piece = dem.read(row, col, min(CLOSE, rows), min(CLOSE, cols))
                known = np.isfinite(piece.heights_m)
                if not known.any():
                    continue
                score = float(np.nanstd(piece.heights_m)) - 1e6 * float((~known).mean())
                if self._close is None or score > self._close[0]:
                    self._close = (score, piece)

    def picture(self, marks: Sequence[Marks], places: Sequence[Corner]) -> ModelPicture:
        """Give the picture of all blocks that hold heights, each with where it begins."""
        assert self._close is not None  # noqa: S101  a block without heights is not added
        piece = self._close[1]
        seams = self._seams(marks, places) if seams_in(joined(marks)) else ()
        return ModelPicture(
            np.where(self._unknown, np.nan, self._slope),
            self._looked,
            self.step,
            piece.heights_m,
            cell_size_m(piece.grid),
            seams,
        )

    def _seams(self, marks: Sequence[Marks], places: Sequence[Corner]) -> tuple[SeamAt, ...]:
        found = []
        for one, (row, col) in zip(marks, places, strict=True):
            for seam in one.seams:
                across = (float(col), float(col + self._side))
                down = (float(row), float(row + self._side))
                at = seam.at + 1.0
                place = SeamAt(down, across, seam.step_m)
                found.append(
                    replace(place, cols=(col + at, col + at))
                    if seam.axis == "column"
                    else replace(place, rows=(row + at, row + at))
                )
        return tuple(found)


SIDE: Final = 256
"""Side of a block, cells (our choice)."""

MOST_BLOCKS: Final = 64
"""Most blocks looked at (our choice): 4 million cells, some seconds."""

ROUGH_FROM_DEG: Final = 20.0
"""Slope from which ground tells how rough the model is where it matters, degrees (our choice)."""

_GROUNDS: Final[tuple[tuple[Literal["smooth", "middling", "rough"], float], ...]] = (
    ("smooth", 0.1),
    ("middling", 0.5),
    ("rough", 0.9),
)
"""Shares of the steep ground that are as smooth or smoother."""

_STEP_DEG: Final = 0.05
_MOST_ROUGH_DEG: Final = 60.0


@dataclass
class _Sums:
    """What the blocks of a model add up to."""

    marks: list[Marks] = field(default_factory=list)
    known: int = 0
    slopes: int = 0
    steep: int = 0
    steepest_deg: float = -math.inf
    rough: Array = field(default_factory=lambda: np.zeros((2, round(_MOST_ROUGH_DEG / _STEP_DEG) + 1)))

    def add(
        self, dem: Dem, margin: int, halves: tuple[int, int], settings: Settings, counted: tuple[slice, slice]
    ) -> Array:
        """Look at a block within its margin, count cells of it, and give its slopes over the baseline."""
        inside = tuple(slice(margin, size - margin) for size in dem.grid.shape)
        self.known += int(np.isfinite(dem.heights_m[inside][counted]).sum())
        self.marks.append(marks_of(dem.heights_m[inside], cell_size_m(dem.grid)))
        around = slope_field(dem, settings.method, engine=settings.engine, halves=halves)
        slope, rough = around.slope_deg[inside], around.roughness_deg[inside]
        known = slope[counted][np.isfinite(slope[counted])]
        self.slopes += len(known)
        self.steep += int(np.count_nonzero(shown_slope_deg(known) >= STEEP_DEG))
        self.steepest_deg = max(self.steepest_deg, float(known.max(initial=-math.inf)))
        both = np.isfinite(slope) & np.isfinite(rough)
        place = np.minimum(rough[both] / _STEP_DEG, self.rough.shape[1] - 1).astype(int)
        self.rough[0] += np.bincount(place, minlength=self.rough.shape[1])
        there = place[slope[both] >= ROUGH_FROM_DEG]
        self.rough[1] += np.bincount(there, minlength=self.rough.shape[1])
        return slope

    def roughness_deg(self, share: float) -> float:
        """Roughness that a share of the steep ground has at most; of all where little is steep."""
        every, steep = self.rough
        counts = steep if steep.sum() >= 0.02 * every.sum() > 0.0 else every
        if counts.sum() == 0.0:
            return math.nan
        return float((np.searchsorted(np.cumsum(counts), share * counts.sum()) + 1) * _STEP_DEG)


def examine_model(
    source: DemSource,
    settings: Settings | None = None,
    *,
    pictured: bool = False,
    told: Callable[[str, int, int], None] = lambda *_: None,
) -> ModelExamined:
    """Examine a model by blocks spread over it.

    What was looked at is kept for a picture where `pictured`. After each block `told` gets what is
    counted, how many are done, and of how many. `ModelError` where no height was met.
    """
    settings = settings or Settings()
    grid = source.grid
    corners = block_corners(grid.shape, SIDE, MOST_BLOCKS)
    size = cell_size_m(grid)
    halves = baseline_cells(*size)
    margin = max(*halves, 2)
    sums, drawn, places = _Sums(), Drawn(grid.shape, SIDE), []
    for done, corner in enumerate(corners, 1):
        dem = next(read_blocks(source, [corner], SIDE, margin), None)
        if dem is not None:
            slope = sums.add(dem, margin, halves, settings, _counted(corner, corners))
            places.append(corner)
            if pictured:
                drawn.add(corner, dem.read(margin, margin, *slope.shape), slope)
        elif pictured:
            drawn.add_void(corner)
        told("blocks", done, len(corners))
    if not sums.marks:
        message = (
            "An elevation model should hold heights; none was met where it was looked at. Check its voids."
        )
        raise ModelError(message)
    picture = drawn.picture(sums.marks, places) if pictured else None
    return _say(source, settings, sums, _cells(grid, corners), picture)


def _say(
    source: DemSource, settings: Settings, sums: _Sums, looked: int, picture: ModelPicture | None
) -> ModelExamined:
    grid, heights = source.grid, source.heights_read
    rows, cols = grid.shape
    size = cell_size_m(grid)
    marks = sums.marks[0]
    for one in sums.marks[1:]:
        marks = marks + one
    whole = replace(marks, cells=looked, known=sums.known)
    found = found_in(whole, size, heights.same_share)
    settings = replace(settings, model_found=found)
    known = slopes_known(settings.method, jacobian_at(grid), settings)
    unknown = 1.0 - sums.known / looked
    return ModelExamined(
        files=settings.origin.files,
        fingerprints=settings.origin.fingerprints,
        crs=clean(grid.crs.name),
        extent=_extent(grid, size),
        cell_m=max(size),
        cell_size_m=size,
        elevation_min_m=finite(marks.low_m),
        elevation_max_m=finite(marks.high_m),
        height_unit_m=settings.origin.height_unit_m,
        height_unit_from=settings.origin.height_unit_from,
        looked_share=looked / (rows * cols),
        unknown_share=unknown,
        steep_share=sums.steep / sums.slopes if sums.slopes else None,
        slope_max_deg=sums.steepest_deg if sums.slopes else None,
        baseline_m=known.measured_m,
        findings=_findings(found, whole, size, heights.same_share),
        interval_examples=tuple(
            _example(ground, known, sums.roughness_deg(share)) for ground, share in _GROUNDS
        ),
        example_slope_deg=STEEP_DEG,
        possible_from_deg=start_from_deg(known),
        model_kind=settings.model_kind,
        kinds_doubted=tuple(KindDoubted(kind, why) for kind, why in doubted_kinds(found, max(size)).items()),
        uncertainty=known.words,
        cautions=cautions_for(
            Situation(
                **told_of_model(settings, size, grid),
                area_unknown=unknown > 0.0,
                open_above=known.open_above,
                heights=heights,
            )
        ),
        picture=picture,
    )


def _counted(corner: Corner, corners: list[Corner]) -> tuple[slice, slice]:
    """Cells of a block that the blocks above it and to its left have not counted."""
    (row, col), step = corner, SIDE - OVERLAP
    return (
        slice(OVERLAP if (row - step, col) in corners else 0, SIDE),
        slice(OVERLAP if (row, col - step) in corners else 0, SIDE),
    )


def _cells(grid: Grid, corners: list[Corner]) -> int:
    """Cells that were looked at, each once."""
    rows, cols = grid.shape
    counted = [(*_counted(corner, corners), *corner) for corner in corners]
    return sum(
        len(range(*down.indices(rows - row))) * len(range(*across.indices(cols - col)))
        for down, across, row, col in counted
    )


def _extent(grid: Grid, size: tuple[float, float]) -> ModelExtent:
    rows, cols = grid.shape
    lon, lat = grid.to_wgs84([0, cols, cols, 0], [0, 0, rows, rows])
    return ModelExtent(
        rows=rows,
        cols=cols,
        lat_min_deg=float(lat.min()),
        lat_max_deg=float(lat.max()),
        lon_min_deg=float(lon.min()),
        lon_max_deg=float(lon.max()),
        width_m=cols * size[0],
        height_m=rows * size[1],
    )


def _example(
    ground: Literal["smooth", "middling", "rough"], known: SlopeUncertainty, roughness_deg: float
) -> IntervalExample:
    low, high = (float(end) for end in least_ends_deg(STEEP_DEG, known, roughness_deg))
    return IntervalExample(
        ground,
        STEEP_DEG - low if math.isfinite(low) else None,
        high - STEEP_DEG if math.isfinite(high) and not known.open_above else None,
    )


def _findings(
    found: ModelFound, marks: Marks, cell_m: tuple[float, float], same_share: float
) -> tuple[ModelFinding, ...]:
    seams = seams_in(marks)
    shares: dict[FindingKind, float] = {
        "seam": min(1.0, 2.0 * SIDE * len(seams) / marks.cells),
        "flat fill": same_share,
        "spikes": marks.spikes / marks.cells,
        "voids": 1.0 - marks.known / marks.cells,
    }
    highest = seams[0].step_m if seams else 0.0

    def words(kind: FindingKind) -> str:
        return finding_words(kind, found, max(cell_m), highest, marks.spikes)

    return tuple(ModelFinding(kind, shares.get(kind, 1.0), words(kind)) for kind in found.kinds)
