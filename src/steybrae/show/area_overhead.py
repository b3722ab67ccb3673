"""What looks down on a whole raster, as a table and as groups for a picture."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from rich import box
from rich.table import Table

from steybrae.area.layers import OPEN
from steybrae.area.overhead_layers import START_ZONE, STEEPER
from steybrae.area.overhead_result import OVERHEAD_EDGES_DEG, AreaOverhead, start_zone_words
from steybrae.bands import BandScheme
from steybrae.quantities import round_up

__all__ = [
    "NONE_KNOWN",
    "overhead_by_band",
    "overhead_labels",
    "overhead_places",
    "overhead_table",
    "overhead_text",
]

NONE: Final = "none"
NONE_KNOWN: Final = "none known"
"""Where nothing was found but unknown ground could look down: no answer, and no band's tint."""

UNKNOWN: Final = "unknown"

_CLASSES: Final = BandScheme(OVERHEAD_EDGES_DEG).bands[1:]


def overhead_labels() -> tuple[str, ...]:
    """Labels of the classes of path angles, the flattest first; before them ``none`` and ``none known``."""
    return (NONE, NONE_KNOWN, *(band.label for band in _CLASSES))


def overhead_places(codes: NDArray[np.uint8]) -> NDArray[Any]:
    """Class of numbers of ``overhead.tif``, from 1; 0 for none, and for unknown ground."""
    edges = [band.low_deg for band in _CLASSES]
    return np.searchsorted(edges, codes % OPEN, side="right")


def overhead_by_band(over: AreaOverhead) -> dict[str, dict[str, float]]:
    """Square kilometres by band of the ground's own slope and class of path angle."""
    found: dict[str, dict[str, float]] = {}
    for row in over.rows:
        band = UNKNOWN if row.band is None else row.band.label
        label = row.overhead.label if row.overhead else (NONE_KNOWN if row.unknown_above else NONE)
        found.setdefault(band, defaultdict(float))[label] += row.km2
    return found


def overhead_table(over: AreaOverhead) -> Table:
    """Square kilometres by band and class; areas rounded up."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), show_edge=False)
    table.add_column("km2 by slope and overhead path angle")
    for label in overhead_labels():
        table.add_column(label, justify="right")
    for band, areas in overhead_by_band(over).items():
        shown = (f"{round_up(areas[k], 0.001):.3f}" if areas[k] else "-" for k in overhead_labels())
        table.add_row(band, *shown)
    return table


def overhead_text(over: AreaOverhead) -> str:
    """Say what was taken for a start zone, and for how much ground the answer is "or more"."""
    more = sum(row.km2 for row in over.rows if row.unknown_above)
    area_km2 = {row.value: round_up(row.km2, 0.001) for row in over.start_zone_values}
    return (
        f"Start zones: {start_zone_words(over)} {area_km2.get(START_ZONE, 0.0):.3f} km2 of the ground is one "
        f"itself, {area_km2.get(STEEPER, 0.0):.3f} km2 is steeper. An overhead path angle is that of the "
        "steepest way that snow from one could take to a cell, rounded up; none is looked for below 18 "
        f"degrees. For {round_up(more, 0.001):.3f} km2 unknown ground, in the model or beyond it, could look "
        'down as well: read their angles as "or more" (100 more in overhead.tif).'
    )
