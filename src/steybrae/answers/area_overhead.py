"""What is overhead on a whole raster, as a table and as groups for a picture."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from steybrae.bands import BandScheme
from steybrae.document import Cell, Column, Table, or_none
from steybrae.raster.layers import OPEN
from steybrae.raster.overhead.layers import NEITHER
from steybrae.raster.overhead.result import (
    OVERHEAD_EDGES_DEG,
    AreaOverhead,
    RasterValue,
    start_zone_words,
)
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
        *(Column(f"km2_{label}", label, _in_class(label), "km2") for label in overhead_labels()),
    )
    return Table(columns, tuple(overhead_by_band(over).items()))


def _in_class(label: str) -> Callable[[tuple[str, dict[str, float]]], Cell]:
    return lambda row: or_none(area_km2(row[1].get(label, 0.0), gentle=label == NOTHING))


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
        "snow from a source could take to a cell, rounded up; none is looked for below 18 degrees. Sources "
        "are the cells of start zones and all ground steeper than they are (3 and 4 in start_zones.tif), "
        "wherever they lie in the model; possible start zones, short pieces and unknown ground are none. For "
        f"{more} km2 unknown ground, in the model or beyond it, could look down as well: read their angles "
        f'as "{AT_LEAST}" (100 more in overhead.tif).'
    )
