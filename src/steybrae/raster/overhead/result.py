"""How much ground is looked down on, and how steeply: the answer for a whole raster."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Final

from steybrae.bands import Band, BandScheme
from steybrae.frozen import dataclass
from steybrae.ranges import Count, NotNegative, Share
from steybrae.raster.job import OPEN, AreaJob
from steybrae.raster.overhead.layers import CLASSES, code_words, told_deg
from steybrae.raster.tally import MM2_PER_KM2, MM2_PER_M2, Key, Tally
from steybrae.route.overhead.windows import joins_of
from steybrae.terrain.attributes import baseline_cells
from steybrae.terrain.start_zones import start_from_deg
from steybrae.terrain.uncertainty import SlopeUncertainty
from steybrae.value import lower

OVERHEAD_EDGES_DEG: Final = (18.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0)
"""Edges of the classes of path angles in the table, degrees (our choice)."""


@dataclass(frozen=True)
class RasterValue:
    """Ground with one number of a raster.

    Attributes
    ----------
    value
        The number.
    words
        What it says.
    cells
        How many cells.
    km2, m2
        Ground area, square kilometres and square metres.
    share
        Share of the whole raster, 0 to 1.
    """

    value: Count
    words: str
    cells: Count
    km2: NotNegative
    m2: NotNegative
    share: Share


@dataclass(frozen=True)
class OverheadRow:
    """Ground of one band that is looked down on in one class of path angles.

    Attributes
    ----------
    band
        Of its own slope; None where that is unknown.
    overhead
        Class of the path angle; its lowest begins at the flattest angle that is looked for. None
        where nothing was found.
    unknown_above
        Whether unknown ground could look down as well: the angle is then "or more".
    cells
        How many cells.
    km2
        Ground area, square kilometres.
    share
        Share of the whole raster, 0 to 1.
    """

    band: Band | None
    overhead: Band | None
    unknown_above: bool
    cells: Count
    km2: NotNegative
    share: Share


@dataclass(frozen=True)
class AreaOverhead:
    """Overhead angles of a whole raster.

    Attributes
    ----------
    start_from_deg
        Least slope of a start zone, or of the middle of its interval, degrees.
    start_to_deg
        Greatest slope of a start zone. Degrees.
    possible_from_deg
        Slope from which ground of middling roughness is a possible start zone, degrees.
    least_area_m2
        Least area of a start zone, square metres.
    baseline_m
        What the slopes were measured over: at least twice the larger side of a cell.
    joined_m
        Longer side of what finer cells are joined to for a second look, metres; None where they are not.
    reach_m
        How far unknown ground was looked up at.
    rows
        By band of the ground's own slope and class of the path angle; ground of unknown height is
        in none.
    overhead_values
        Every number of ``overhead.tif`` that occurs.
    start_zone_values
        Every number of ``start_zones.tif`` that occurs.
    """

    start_from_deg: NotNegative
    start_to_deg: NotNegative
    possible_from_deg: NotNegative
    least_area_m2: NotNegative
    baseline_m: NotNegative
    joined_m: NotNegative | None
    reach_m: NotNegative
    rows: tuple[OverheadRow, ...]
    overhead_values: tuple[RasterValue, ...]
    start_zone_values: tuple[RasterValue, ...]


def area_overhead(
    job: AreaJob, known: SlopeUncertainty, cell_m: tuple[float, float], looked: Tally
) -> AreaOverhead:
    """Make the answer from the sums over all blocks.

    `cell_m` are the ground lengths of a column and a row in the model's middle.
    """
    rules, joins = job.settings.start_zones, joins_of(cell_m)
    halves = baseline_cells(*cell_m, rules.baseline_m)
    return AreaOverhead(
        start_from_deg=rules.low_deg,
        start_to_deg=rules.high_deg,
        possible_from_deg=start_from_deg(known, rules.low_deg),
        least_area_m2=rules.least_area_m2,
        baseline_m=max(2.0 * half * size for half, size in zip(halves, cell_m, strict=True)),
        joined_m=None
        if joins == (1, 1)
        else max(size * join for size, join in zip(cell_m, joins, strict=True)),
        reach_m=job.settings.reach_m,
        rows=_rows(job, looked),
        overhead_values=raster_values(looked, 1, code_words),
        start_zone_values=raster_values(looked, 2, CLASSES.__getitem__),
    )


def raster_values(looked: Tally, part: int, words: Callable[[int], str]) -> tuple[RasterValue, ...]:
    """Sum up every value of a raster that occurs, over all blocks.

    `part` is where in the keys of the sums its values stand; `words` says what a value says.
    """
    total_mm2 = sum(looked.area_mm2.values()) or 1
    cells: Counter[int] = Counter()
    area_mm2: Counter[int] = Counter()
    for key, count in looked.cells.items():
        cells[key[part]] += count
        area_mm2[key[part]] += looked.area_mm2[key]
    return tuple(
        RasterValue(
            value,
            words(value),
            cells[value],
            area_mm2[value] / MM2_PER_KM2,
            area_mm2[value] / MM2_PER_M2,
            area_mm2[value] / total_mm2,
        )
        for value in sorted(cells)
    )


def _rows(job: AreaJob, looked: Tally) -> tuple[OverheadRow, ...]:
    classes = BandScheme(OVERHEAD_EDGES_DEG)
    total_mm2 = sum(looked.area_mm2.values()) or 1
    sums: dict[Key, list[int]] = {}
    for (band, code, kind), count in looked.cells.items():
        if code == 0:
            continue
        deg = told_deg(code)
        place = -1 if deg is None else classes.bands.index(classes.band(float(deg)))
        key = (band or len(job.settings.bands.bands) + 1, place, int(code > OPEN))
        found = sums.setdefault(key, [0, 0])
        found[0] += count
        found[1] += looked.area_mm2[band, code, kind]
    bands = [*job.settings.bands.bands, None]
    return tuple(
        OverheadRow(
            band=bands[band - 1],
            overhead=None if place < 0 else classes.bands[place],
            unknown_above=bool(more),
            cells=cells,
            km2=area_mm2 / MM2_PER_KM2,
            share=area_mm2 / total_mm2,
        )
        for (band, place, more), (cells, area_mm2) in sorted(sums.items())
    )


def start_zone_words(found: AreaOverhead) -> str:
    """Say what was taken for a start zone."""
    joined = (
        f" Told from the model's own cells and from cells joined to {found.joined_m:.1f} m: the steeper "
        "stands, and ground and route, which look at joined cells alone, may be gentler."
        if found.joined_m is not None
        else ""
    )
    return (
        f"Slopes of {found.start_from_deg:g} to {found.start_to_deg:g} degrees over {found.baseline_m:.0f} m "
        f"or of which the middle of the 95 % interval is so steep, from {found.least_area_m2:g} m2; steeper "
        f"ground is a source as well. Possible ones may reach {found.start_from_deg:g} degrees within their "
        f"interval, from about {lower(found.possible_from_deg, step=1.0).figure} on; they are drawn apart, "
        f"and no angles are looked for from them.{joined}"
    )
