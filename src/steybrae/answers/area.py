"""A whole raster: how much ground lies in each band, and the text that stands beside it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import BandScheme
from steybrae.document import Block, Cautions, Column, Document, Heading, Paragraph, Table, or_none
from steybrae.raster.job import LAYERS, OPEN
from steybrae.raster.overhead.layers import NEITHER
from steybrae.raster.overhead.result import (
    OVERHEAD_EDGES_DEG,
    AreaOverhead,
    RasterValue,
    start_zone_words,
)
from steybrae.raster.result import AreaResult, AreaRow, BandArea
from steybrae.render.table import csv_text
from steybrae.terrain.attributes import SECTORS
from steybrae.value import AT_LEAST, UNKNOWN, Rounding, Value, area_km2

NOTHING: Final = "none"
NONE_KNOWN: Final = "none known"
"""Where nothing was found but unknown ground could look down: no answer, and no band's tint."""

_CLASSES: Final = BandScheme(OVERHEAD_EDGES_DEG).bands[1:]


def overhead_labels() -> tuple[str, ...]:
    """Labels of the classes of path angles, the flattest first; before them ``none`` and ``none known``."""
    return (NOTHING, NONE_KNOWN, *(band.label for band in _CLASSES))


def overhead_places(codes: NDArray[np.uint8]) -> NDArray[Any]:
    """Class of numbers of ``overhead.tif``, from 1; 0 for none, and for unknown ground."""
    edges = [band.low_deg for band in _CLASSES]
    return np.searchsorted(edges, codes % OPEN, side="right")


def overhead_by_band(over: AreaOverhead) -> dict[str, dict[str, float]]:
    """Square kilometres by band of the ground's own slope and class of path angle."""
    found: dict[str, dict[str, float]] = {}
    for row in over.rows:
        band = UNKNOWN if row.band is None else row.band.label
        label = row.overhead.label if row.overhead else (NONE_KNOWN if row.unknown_above else NOTHING)
        found.setdefault(band, defaultdict(float))[label] += row.km2
    return found


def overhead_table(over: AreaOverhead) -> Table:
    """Square kilometres by band and class."""
    columns = (
        Column("band", "km2 by slope and overhead path angle", lambda row: row[0], align="left"),
        *(_km2(label, gentle=label == NOTHING) for label in overhead_labels()),
    )
    return Table(columns, tuple(overhead_by_band(over).items()))


def _km2(label: str, *, gentle: bool) -> Column:
    """Column of square kilometres, rows being a name and these by label."""
    return Column(
        f"km2_{label}", label, lambda row: or_none(area_km2(row[1].get(label, 0.0), gentle=gentle)), "km2"
    )


def start_zone_table(over: AreaOverhead) -> Table:
    """How much ground is a start zone, possibly one, or steeper."""
    return Table(_START_ZONES, over.start_zone_values)


_START_ZONES: Final = (
    Column("start_zones", "Start zones", lambda row: row.words, align="left"),
    Column("value", "value", lambda row: str(row.value)),
    Column("cells", "cells", lambda row: str(row.cells)),
    Column("m2", "m2", lambda row: Value(row.m2, "m2", 1.0, _zone_rounds(row)), "m2"),
    Column("share", "share", lambda row: Value(100.0 * row.share, "percent", 0.1, _zone_rounds(row))),
)


def _zone_rounds(row: RasterValue) -> Rounding:
    return "down" if row.value == NEITHER else "up"


def overhead_text(over: AreaOverhead) -> str:
    """Say what was taken for a start zone, and for how much ground the answer is a least one."""
    more = area_km2(sum(row.km2 for row in over.rows if row.unknown_above)).figure
    return (
        f"Start zones: {start_zone_words(over)} An overhead path angle is that of the steepest path that "
        "snow from a source could take to a cell, rounded up; none is looked for below 18 degrees. Paths are "
        "taken as short as they could be: on square cells an angle is up to 0.8 degree too steep before it "
        "is rounded, on cells twice as long as wide 2.3, and never too gentle. Where the sight up to a "
        "source is steeper, ground and route lead with that. Sources "
        "are the cells of start zones and all ground steeper than they are (3 and 4 in start_zones.tif), "
        "wherever they lie in the model; possible start zones, short pieces and unknown ground are none. For "
        f"{more} km2 unknown ground, in the model or beyond it, could look down as well: read their angles "
        f'as "{AT_LEAST}" (100 more in overhead.tif).'
    )


LEVEL = "level"


def band_name(row: BandArea | AreaRow) -> str:
    """Label of a row's band, or ``unknown``."""
    return UNKNOWN if row.band is None else row.band.label


def by_sector(result: AreaResult) -> dict[str, dict[str, float]]:
    """Square kilometres by sector and band; ``level`` has no direction."""
    return _by(result, lambda row: row.aspect_sector or LEVEL, [*SECTORS, LEVEL])


def by_belt(result: AreaResult) -> dict[str, dict[str, float]]:
    """Square kilometres by elevation belt and band, lowest belt first."""
    belts = {row.elevation_low_m: _belt(row) for row in result.rows if row.elevation_low_m is not None}
    return _by(result, _belt, [belts[low_m] for low_m in sorted(belts)])


def _belt(row: AreaRow) -> str:
    return f"{row.elevation_low_m:.0f}-{row.elevation_high_m:.0f} m"


def _by(
    result: AreaResult, group: Callable[[AreaRow], str], order: Sequence[str]
) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = {name: defaultdict(float) for name in order}
    for row in result.rows:
        if row.band is not None:
            found[group(row)][row.band.label] += row.km2
    return found


def area_document(result: AreaResult) -> Document:
    """Make what was written, and how much ground lies in each band."""
    blocks: list[Block] = [
        Paragraph(_headline(result)),
        Table(_BANDS if result.bands[0].possible_km2 is None else (*_BANDS, *_POSSIBLE), result.bands),
        _group_table(result, "facing", by_sector(result)),
        _group_table(result, "elevation", by_belt(result)),
    ]
    if result.overhead is not None:
        blocks += [start_zone_table(result.overhead), overhead_table(result.overhead)]
    blocks += [Paragraph(""), *_basis(result)]
    if result.cross_check is not None:
        from steybrae.screening.basis import cross_check_text  # noqa: PLC0415  slow to load, seldom asked for

        blocks += [Paragraph(""), Paragraph(cross_check_text(result.cross_check))]
    return Document(_headline(result), (*blocks, Cautions(result.cautions)))


def _headline(result: AreaResult) -> str:
    model, whole = result.model, area_km2(result.total_km2).figure
    return (
        f"{', '.join(model.files)}: {model.rows} x {model.cols} cells, {whole} km2. "
        f"Written: {', '.join(result.outputs)}."
    )


def band_km2(row: BandArea) -> Value:
    """Ground of a band, square kilometres: up, of the gentlest down."""
    return area_km2(row.km2, gentle=_gentlest(row))


_BANDS: Final = (
    Column("band", "Slope (degrees)", band_name, align="left"),
    Column("value", "value", lambda row: str(row.value)),
    Column("cells", "cells", lambda row: str(row.cells)),
    Column("km2", "km2", band_km2, "km2"),
    Column("share", "share", lambda row: Value(100.0 * row.share, "percent", 0.1, _share_rounds(row))),
)

_POSSIBLE: Final = (
    Column(
        "possible_km2",
        "possibly, km2",
        lambda row: area_km2(row.possible_km2, gentle=_gentlest(row)),
        "km2",
    ),
    Column(
        "possible_share",
        "share",
        lambda row: Value(100.0 * row.possible_share, "percent", 0.1, _share_rounds(row)),
    ),
)
"""Ground for which a band is the steepest that it may reach."""


def _gentlest(row: BandArea) -> bool:
    return row.band is not None and row.band.low_deg == 0.0


def _share_rounds(row: BandArea) -> Rounding:
    return "down" if _gentlest(row) else "up"


def _group_table(result: AreaResult, title: str, groups: dict[str, dict[str, float]]) -> Table:
    bands = [row.band for row in result.bands if row.band is not None]
    columns = (
        Column(title, f"km2 by {title}", lambda row: row[0], align="left"),
        *(_km2(band.label, gentle=band.low_deg == 0.0) for band in bands),
    )
    return Table(columns, tuple(groups.items()))


def _basis(result: AreaResult) -> Iterator[Block]:
    model = result.model
    if result.earlier_outputs:
        earlier = ", ".join(result.earlier_outputs)
        yield Paragraph(
            f"In the folder, of an earlier run: {earlier}; perhaps of another model or with other options, "
            "and not meant by what is said here."
        )
    scale = "" if model.crs_scale is None else f", a metre of its CRS {model.crs_scale:.6f} m of ground"
    yield Paragraph(
        f"Model: {model.crs}; cells {model.cell_size_m[0]:.1f} x {model.cell_size_m[1]:.1f} m on the "
        f"ground{scale}; method {result.method}, engine {result.engine}; slopes of the true ground. "
        "Areas are horizontal."
    )
    yield Paragraph(_baselines(result))
    yield Paragraph(result.uncertainty)
    if result.overhead is not None:
        yield Paragraph(overhead_text(result.overhead))
    if result.unreadable:
        yield Paragraph(_unreadable(result))


def _baselines(result: AreaResult) -> str:
    """Say what the slopes are over, and what the possible bands are."""
    words = f"Bands and this table are of the slope over {metres_over(result.baseline_m)}"
    others = {
        name: over
        for name, over in result.baselines_m.items()
        if name in ("slope.tif", "tenths.tif") and over != result.baseline_m
    }
    words += "".join(f"; {name} is over {metres_over(over)}" for name, over in others.items()) + "."
    if not result.bands_possible:
        return words
    no_end = sum(row.km2 for row in result.bands_possible if row.value >= OPEN)
    words += (
        " Possible bands are those of the upper end of its 95 % interval, or of a short piece of 30 degrees "
        "and more over two cells; ground and route count gentler short pieces too, and have a wider interval "
        "where the model is drawn or smoothed near the place or line alone."
    )
    if no_end > 0.0:
        words += f' For {area_km2(no_end).text} no upper end is known: read their band as "{AT_LEAST}".'
    return words


def metres_over(baseline_m: float) -> str:
    """Length of a baseline with its unit, to a decimetre."""
    return f"{baseline_m:.1f} m"


def _unreadable(result: AreaResult) -> str:
    blocks = "; ".join(f"{bad.file} row {bad.row} column {bad.col}" for bad in result.unreadable[:5])
    more = ", and more" if len(result.unreadable) > 5 else ""
    return f"Blocks of the input not readable, and unknown: {len(result.unreadable)} ({blocks}{more})."


def area_csv(result: AreaResult) -> str:
    """Table by band, sector and elevation belt as CSV with a header, unrounded.

    Its cautions stand in the README beside it (`area_readme`).
    """
    over = Column("baseline_m", "", lambda _: f"{result.baseline_m:g}")
    return csv_text(Table((*_ROWS, over), result.rows))


_ROWS: Final = (
    Column("band", "", band_name),
    Column("aspect_sector", "", lambda row: "" if row.band is None else row.aspect_sector or LEVEL),
    Column("elevation_low_m", "", lambda row: "" if row.band is None else f"{row.elevation_low_m:g}"),
    Column("elevation_high_m", "", lambda row: "" if row.band is None else f"{row.elevation_high_m:g}"),
    Column("cells", "", lambda row: str(row.cells)),
    Column("km2", "", lambda row: f"{row.km2:.6f}"),
    Column("share", "", lambda row: f"{row.share:.6f}"),
)


def area_readme(result: AreaResult) -> Document:
    """Text that stands beside the rasters."""
    bands = sorted(result.bands, key=lambda row: row.value)
    hashes = zip(result.model.files, result.model.fingerprints, strict=True)
    files = [
        f"  {name}: {_layer_words(name.removesuffix('.tif'))}; over {metres_over(result.baselines_m[name])}"
        for name in result.outputs
    ]
    files += [
        "  table.csv, table.json: square kilometres by band, direction and elevation belt",
        "  *.aux.xml: names, colours and areas of the values; keep them beside their raster",
    ]
    values = [f"  {row.value}  {band_name(row)}" for row in bands]
    values.append(
        "Overviews show the steepest of the cells they stand for, and unknown where one of them is."
    )
    possible = [f"  {row.value}  {row.words}" for row in result.bands_possible]
    blocks: list[Block] = [Paragraph(f"Made by steybrae {result.steybrae}."), Paragraph("")]
    blocks += [Paragraph(_headline(result)), *_basis(result)]
    for heading, lines in (
        ("Files", files),
        ("Values of bands.tif (degrees; the band of the slope in tenths, rounded up)", values),
        *([("Values of bands_possible.tif that occur", possible)] if possible else []),
        (
            "Input (SHA-256 of its size and its first and last 4 MiB)",
            [f"  {name}: {digest}" for name, digest in hashes],
        ),
    ):
        blocks += [Heading(heading), *map(Paragraph, lines)]
    if result.overhead is not None:
        blocks += [Paragraph(""), start_zone_table(result.overhead), overhead_table(result.overhead)]
    return Document("README", (*blocks, Cautions(result.cautions)))


def _layer_words(name: str) -> str:
    layer = LAYERS[name]
    return f"{layer.text} ({layer.unit})" if layer.unit else layer.text
