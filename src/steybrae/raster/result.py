"""The answer of a run over a whole raster: how much ground lies in each band, and where it faces.

Frozen, and complete: table, figure, README and JSON show nothing that is not in it.
"""

from __future__ import annotations

from dataclasses import field, replace
from typing import Any

from steybrae import __version__
from steybrae.bands import Band
from steybrae.cautions import Cautions, HeightsRead, Situation, cautions_for
from steybrae.files.model.rasters import ModelInfo, RasterModel
from steybrae.frozen import dataclass
from steybrae.ranges import Count, NotNegative, Share
from steybrae.raster.files.heights import BadBlock
from steybrae.raster.job import BELT_M, OPEN, AreaJob
from steybrae.raster.overhead.result import AreaOverhead, RasterValue, area_overhead, raster_values
from steybrae.raster.tally import MM2_PER_KM2, Tally, state_sector
from steybrae.screening.basis import left_out_words, lowered_to_deg
from steybrae.screening.cross_check import CrossCheck
from steybrae.screening.known import ModelRead
from steybrae.terrain.attributes import SECTORS
from steybrae.terrain.dem import Grid
from steybrae.terrain.examine.found import kinds_told
from steybrae.terrain.jacobian import cell_size_m
from steybrae.value import AT_LEAST


@dataclass(frozen=True, eq=False)
class Counted:
    """Sums over all blocks."""

    tally: Tally
    looked: Tally
    possible: Tally
    bad: tuple[BadBlock, ...]
    cross_check: CrossCheck | None
    heights: HeightsRead


@dataclass(frozen=True)
class AreaModel(ModelRead):
    """Which model it was.

    Attributes
    ----------
    rows, cols
        Its size, cells; of several tiles, of the smallest grid that holds all.
    crs_scale
        Metres on the ground in one of the CRS's metres in the middle, along the rows; None for
        degrees.
    """

    rows: Count
    cols: Count
    crs_scale: float | None


@dataclass(frozen=True)
class BandArea:
    """Ground in one band, or unknown.

    Attributes
    ----------
    band
        None for unknown ground.
    value
        Its number in ``bands.tif``.
    cells
        How many cells.
    km2
        Ground area, square kilometres.
    share
        Of the whole raster, 0 to 1.
    possible_km2, possible_share
        The same of ground for which it is the steepest band that it may reach within what is known of
        it, and for unknown of ground without a known upper end; None where that was not asked for.
    """

    band: Band | None
    value: Count
    cells: Count
    km2: NotNegative
    share: Share
    possible_km2: NotNegative | None
    possible_share: Share | None


@dataclass(frozen=True)
class AreaRow:
    """Ground in one band that faces one way in one elevation belt.

    Attributes
    ----------
    band
        None for unknown ground, which is one row.
    aspect_sector
        Sector of that direction, one of eight; None on flat ground and where unknown.
    elevation_low_m
        Lower edge of the belt, inside it, metres; None for unknown ground.
    elevation_high_m
        Upper edge of the belt, metres; None for unknown ground.
    cells
        How many cells.
    km2
        Ground area, square kilometres.
    share
        Share of the whole raster, 0 to 1.
    """

    band: Band | None
    aspect_sector: str | None
    elevation_low_m: float | None
    elevation_high_m: float | None
    cells: Count
    km2: NotNegative
    share: Share


@dataclass(frozen=True)
class AreaResult:
    """A whole raster, counted.

    Attributes
    ----------
    model
        What it was made from.
    steybrae
        Version of steybrae.
    method
        Slope method.
    engine
        What computed the slopes.
    outputs
        Names of the rasters.
    edges_deg
        Band edges.
    baseline_m
        What bands, start zones and the table are over, metres.
    baselines_m
        What each raster of slopes is over, metres, by the name of its file.
    uncertainty
        What is known of the slopes' error, in words.
    open_above
        Whether no upper end is known.
    total_km2
        Ground area of the raster, unknown included, square kilometres.
    bands
        Every band, gentlest first, then unknown.
    bands_possible
        Every number of ``bands_possible.tif`` that occurs.
    rows
        By band, sector and belt, steepest band last; only rows with cells.
    overhead
        Overhead angles, where asked for.
    unreadable
        Blocks of the input that could not be read.
    cross_check
        How far another engine's slopes differ, where asked for.
    cautions
        All that apply.
    earlier_outputs
        Names of rasters in the folder that an earlier run made: perhaps of another model.
    """

    model: AreaModel
    steybrae: str
    method: str
    engine: str
    outputs: tuple[str, ...]
    edges_deg: tuple[NotNegative, ...]
    baseline_m: NotNegative
    baselines_m: dict[str, NotNegative]
    uncertainty: str
    open_above: bool
    total_km2: NotNegative
    bands: tuple[BandArea, ...]
    bands_possible: tuple[RasterValue, ...]
    rows: tuple[AreaRow, ...]
    overhead: AreaOverhead | None
    unreadable: tuple[BadBlock, ...]
    cross_check: CrossCheck | None
    cautions: Cautions = field(default_factory=tuple)
    earlier_outputs: tuple[str, ...] = ()


def area_result(job: AreaJob, source: RasterModel, counted: Counted) -> AreaResult:
    """Make the answer from the sums over all blocks."""
    grid, info = source.grid, source.info
    known = job.uncertainty(grid)
    overhead = (
        area_overhead(job, job.zones_uncertainty(grid), cell_size_m(grid), counted.looked)
        if job.overhead
        else None
    )
    model = _model(grid, info)
    possible = _possible(job, counted.possible)
    bands, table = _tables(job, counted.tally, possible)
    open_above, rules = known.open_above, job.settings.start_zones
    situation = Situation(
        from_model=True,
        area_unknown=bool(bands[-1].cells),
        area_unreadable=bool(counted.bad),
        heights=replace(counted.heights, scaling=info.scaling, tiles_differ=source.tiles_differ),
        cell_size_m=max(model.cell_size_m),
        open_above=open_above,
        unit_assumed=info.height_unit_from == "assumed",
        model_found=kinds_told(job.settings.model_found, job.settings.model_kind, max(model.cell_size_m)),
        sample=source.info.sample,
        overhead=job.overhead,
        # Every raster ends, and beside its end nobody looked.
        overhead_short=job.overhead,
        start_lowered_to_deg=None if overhead is None else lowered_to_deg(rules, [overhead]),
        overhead_left_out="" if overhead is None else left_out_words(rules, job.settings.reach_m),
    )
    return AreaResult(
        model=model,
        steybrae=__version__,
        method=job.settings.method,
        engine=job.settings.engine,
        outputs=tuple(f"{name}.tif" for name in job.layers),
        edges_deg=job.settings.bands.edges_deg,
        baseline_m=job.measured_m(grid, "bands"),
        baselines_m={f"{name}.tif": job.measured_m(grid, name) for name in job.layers},
        uncertainty=known.words,
        open_above=open_above,
        total_km2=sum(counted.tally.area_mm2.values()) / MM2_PER_KM2,
        bands=bands,
        bands_possible=possible,
        rows=table,
        overhead=overhead,
        unreadable=counted.bad,
        cross_check=counted.cross_check,
        cautions=cautions_for(situation),
    )


def _model(grid: Grid, info: ModelInfo) -> AreaModel:
    size = cell_size_m(grid)
    a, _, _, d, _, _ = grid.transform
    unit_m = float(grid.crs.axis_info[0].unit_conversion_factor)
    scale = None if grid.crs.is_geographic else size[0] / ((a * a + d * d) ** 0.5 * unit_m)
    rows, cols = grid.shape
    return AreaModel(
        files=info.files,
        fingerprints=info.fingerprints,
        crs=info.crs,
        rows=rows,
        cols=cols,
        cell_size_m=size,
        crs_scale=scale,
        height_unit_m=info.height_unit_m,
        height_unit_from=info.height_unit_from,
    )


def _possible(job: AreaJob, tally: Tally) -> tuple[RasterValue, ...]:
    labels = ("unknown ground", *(f"{label} degrees" for label in job.settings.bands.labels))

    def words(value: int) -> str:
        label = labels[value % int(OPEN)]
        return f"{label} {AT_LEAST}, no upper end known" if value >= OPEN else label

    return raster_values(tally, 0, words)


def _tables(
    job: AreaJob, tally: Tally, possible: tuple[RasterValue, ...]
) -> tuple[tuple[BandArea, ...], tuple[AreaRow, ...]]:
    total_mm2 = sum(tally.area_mm2.values()) or 1
    bands: list[Any] = [*job.settings.bands.bands, None]
    sums: list[list[int]] = [[0, 0] for _ in bands]
    table = []
    for key, cells in tally.cells.items():
        belt, value, state = key
        area_mm2 = tally.area_mm2[key]
        sums[value - 1][0] += cells  # unknown, 0, is the last
        sums[value - 1][1] += area_mm2
        sector = state_sector(state) if value else None
        place = (value or len(bands), belt, SECTORS.index(sector) if sector else len(SECTORS))
        table.append((place, sector, cells, area_mm2))
    rows = tuple(
        AreaRow(
            band=bands[value - 1],
            aspect_sector=sector,
            elevation_low_m=belt * BELT_M if value < len(bands) else None,
            elevation_high_m=(belt + 1) * BELT_M if value < len(bands) else None,
            cells=cells,
            km2=area_mm2 / MM2_PER_KM2,
            share=area_mm2 / total_mm2,
        )
        for (value, belt, _), sector, cells, area_mm2 in sorted(table, key=lambda row: row[0])
    )

    def may_be(value: int, what: str) -> float | None:
        if "bands_possible" not in job.layers:
            return None
        return float(
            sum(getattr(row, what) for row in possible if (0 if row.value >= OPEN else row.value) == value)
        )

    found = tuple(
        BandArea(
            band=band,
            value=value,
            cells=cells,
            km2=area_mm2 / MM2_PER_KM2,
            share=area_mm2 / total_mm2,
            possible_km2=may_be(value, "km2"),
            possible_share=may_be(value, "share"),
        )
        for k, (band, (cells, area_mm2)) in enumerate(zip(bands, sums, strict=True))
        for value in [(k + 1) % len(bands)]
    )
    return found, rows
