"""A whole raster as tables on a terminal, as CSV, and as the text that stands beside it."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Callable, Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from steybrae.area.layers import LAYERS
from steybrae.area.result import AreaResult, AreaRow, BandArea
from steybrae.quantities import round_up
from steybrae.show.area_overhead import overhead_table, overhead_text
from steybrae.terrain.attributes import SECTORS

__all__ = ["area_csv", "area_readme", "by_belt", "by_sector", "print_area"]

LEVEL = "level"


def band_name(row: BandArea | AreaRow) -> str:
    """Label of a row's band, or ``unknown``."""
    return "unknown" if row.band is None else row.band.label


def by_sector(result: AreaResult) -> dict[str, dict[str, float]]:
    """Square kilometres by sector and band; ``level`` has no direction."""
    return _by(result, lambda row: row.aspect_sector or LEVEL, [*SECTORS, LEVEL])


def by_belt(result: AreaResult) -> dict[str, dict[str, float]]:
    """Square kilometres by elevation belt and band, lowest belt first."""
    low = sorted({row.elevation_low_m for row in result.rows if row.elevation_low_m is not None})
    return _by(result, _belt, [name for row in low for name in {_belt_name(result, row)}])


def _belt(row: AreaRow) -> str:
    return f"{row.elevation_low_m:.0f}-{row.elevation_high_m:.0f} m"


def _belt_name(result: AreaResult, low_m: float) -> str:
    return next(_belt(row) for row in result.rows if row.elevation_low_m == low_m)


def _by(
    result: AreaResult, group: Callable[[AreaRow], str], order: Sequence[str]
) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = {name: defaultdict(float) for name in order}
    for row in result.rows:
        if row.band is not None:
            found[group(row)][row.band.label] += row.km2
    return found


def print_area(result: AreaResult, to: Console) -> None:
    """Print what was made and how much ground lies in each band.

    Parameters
    ----------
    result
        Every figure is in it.
    to
        The terminal.
    """
    to.print(_headline(result), markup=False)
    to.print()
    to.print(_bands_table(result))
    for title, groups in (("facing", by_sector(result)), ("elevation", by_belt(result))):
        to.print()
        to.print(_group_table(result, title, groups))
    if result.overhead is not None:
        to.print()
        to.print(overhead_table(result.overhead))
    to.print()
    to.print(_basis(result), markup=False)
    if result.overhead is not None:
        to.print(overhead_text(result.overhead), markup=False)
    if result.unreadable:
        to.print(_unreadable(result), markup=False)
    if result.cross_check is not None:
        from steybrae.answers.basis import cross_check_text  # noqa: PLC0415  slow to load, seldom asked for

        to.print(f"\n{cross_check_text(result.cross_check)}", markup=False)


def _headline(result: AreaResult) -> str:
    model = result.model
    return (
        f"{', '.join(model.files)}: {model.rows} x {model.cols} cells, {_km2(result.total_km2)} km2. "
        f"Written: {', '.join(result.outputs)}."
    )


def _bands_table(result: AreaResult) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), show_edge=False)
    table.add_column("Slope (degrees)")
    for name in ("value in bands.tif", "cells", "km2", "share"):
        table.add_column(name, justify="right")
    for row in result.bands:
        table.add_row(band_name(row), str(row.value), str(row.cells), _km2(row.km2), _percent(row.share))
    return table


def _group_table(result: AreaResult, title: str, groups: dict[str, dict[str, float]]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), show_edge=False)
    table.add_column(f"km2 by {title}")
    labels = [row.band.label for row in result.bands if row.band is not None]
    for label in labels:
        table.add_column(label, justify="right")
    for name, areas in groups.items():
        table.add_row(name, *(_km2(areas[label]) if areas.get(label) else "-" for label in labels))
    return table


def _km2(area: float) -> str:
    """Square kilometres, rounded up: three figures after the point below 100."""
    return f"{round_up(area, 0.001):.3f}" if area < 100.0 else f"{round_up(area, 0.1):.1f}"


def _percent(share: float) -> str:
    return f"{round_up(100.0 * share, 0.1):.1f} %"


def _basis(result: AreaResult) -> str:
    model = result.model
    scale = "" if model.crs_scale is None else f", ground metres in one of the CRS {model.crs_scale:.6f}"
    return (
        f"Model: {model.crs}; cells {model.cell_size_m[0]:.1f} x {model.cell_size_m[1]:.1f} m on the "
        f"ground{scale}; method {result.method}, engine {result.engine}; slopes of the true ground. "
        f"Areas are horizontal.\n{result.uncertainty}"
    )


def _unreadable(result: AreaResult) -> str:
    blocks = "; ".join(f"{bad.file} row {bad.row} column {bad.col}" for bad in result.unreadable[:5])
    more = ", and more" if len(result.unreadable) > 5 else ""
    return f"{len(result.unreadable)} blocks of the input could not be read and are unknown: {blocks}{more}."


def area_csv(result: AreaResult) -> str:
    """Table by band, sector and elevation belt as CSV.

    Parameters
    ----------
    result
        Whose rows they are.

    Returns
    -------
    str
        With a header; its cautions stand in the README beside it (`area_readme`).
    """
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(("band", "aspect_sector", "elevation_low_m", "elevation_high_m", "cells", "km2", "share"))
    for row in result.rows:
        unknown = row.band is None
        belt = ("", "") if unknown else (f"{row.elevation_low_m:g}", f"{row.elevation_high_m:g}")
        sector = "" if unknown else row.aspect_sector or LEVEL
        out.writerow((band_name(row), sector, *belt, row.cells, f"{row.km2:.6f}", f"{row.share:.6f}"))
    return text.getvalue()


def area_readme(result: AreaResult) -> str:
    """Text that stands beside the rasters.

    Parameters
    ----------
    result
        What they are.

    Returns
    -------
    str
        Plain text.
    """
    made = [
        f"  {name}: {LAYERS[name.removesuffix('.tif')].text}"
        + (f" ({LAYERS[name.removesuffix('.tif')].unit})" if LAYERS[name.removesuffix(".tif")].unit else "")
        for name in result.outputs
    ]
    bands = [f"  {row.value}  {band_name(row)}" for row in sorted(result.bands, key=lambda row: row.value)]
    hashes = zip(result.model.files, result.model.fingerprints, strict=True)
    return "\n".join(
        (
            f"Made by steybrae {result.steybrae}.",
            "",
            _headline(result),
            _basis(result),
            *([] if result.overhead is None else [overhead_text(result.overhead)]),
            *([_unreadable(result)] if result.unreadable else []),
            "",
            "Files",
            *made,
            "  table.csv, table.json: square kilometres by band, direction and elevation belt",
            "  *.aux.xml: names, colours and areas of the values; keep them beside their raster",
            "",
            "Values of bands.tif (degrees; the band of the slope in tenths, rounded up)",
            *bands,
            "Overviews show the steepest of the cells they stand for, and unknown where one of them is.",
            "",
            "Input (SHA-256 of its size and its first and last 4 MiB)",
            *(f"  {name}: {digest}" for name, digest in hashes),
            "",
            "Cautions",
            *(f"  - {caution.text}" for caution in result.cautions),
            "",
        )
    )
