"""What a run over a whole raster is asked to do, and the rasters that it can write.

Overviews are what a screen shows when zoomed out, and follow the same rules as the cells: unknown
wins over all, then the steepest. So a void or a steep face never vanishes from a small picture; it
grows instead. Directions and curvature have no steeper; their overviews keep one cell of four.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, field, replace
from pathlib import Path
from typing import Any, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from steybrae.errors import QuantityError, one_of
from steybrae.frozen import dataclass
from steybrae.raster.files.outputs import Compress
from steybrae.screening.known import Settings, slopes_known
from steybrae.terrain.attributes import BASELINE_M, baseline_cells
from steybrae.terrain.dem import Grid
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.uncertainty import SlopeUncertainty
from steybrae.value import AT_LEAST

Cells = NDArray[Any]

LEVEL: Final = -1.0
"""Aspect of ground flatter than has one: its own value, for it is known."""


OPEN: Final = np.uint8(100)
"""Added to a number where it is "or more": unknown ground could look down too, or no upper end is known."""


@dataclass(frozen=True)
class Layer:
    """One kind of output raster.

    Attributes
    ----------
    name
        The file is ``name.tif``.
    text, unit
        What it is, for the file's own description.
    dtype
        Of its numbers.
    unknown
        The number of unknown ground.
    scale
        Value of one step, where the numbers are whole steps.
    thinned
        How four cells become one in an overview: ``steepest``, ``one``, or ``open``, which is the
        steepest and "or more" where one of them is.
    """

    name: str
    text: str
    unit: str = ""
    dtype: str = "uint8"
    unknown: float = 0
    scale: float | None = None
    thinned: Literal["steepest", "one", "open"] = "steepest"

    @property
    def nodata(self) -> float | None:
        """What the file marks as no data; nothing of classes, so that unknown is drawn."""
        return None if self.dtype == "uint8" else self.unknown


_SLOPE: Final = "Fall-line slope of the true ground"
_FLOATS: Final[dict[str, Any]] = {"dtype": "float32", "unknown": np.nan}

LAYERS: Final = {
    layer.name: layer
    for layer in (
        Layer("slope", f"{_SLOPE}, rounded up to 1/2048 degree", "degree", **_FLOATS),
        Layer("tenths", f"{_SLOPE} in tenths of a degree, rounded up", "degree", "uint16", 65535, 0.1),
        Layer("bands", "Band of the slope; 0 is unknown ground"),
        Layer(
            "bands_possible",
            "Steepest band that the slope may reach: that of its 95 % upper end, or of a short piece of 30 "
            "degrees and more over two cells; 100 more where no upper end is known "
            f"({AT_LEAST}); 0 is unknown ground",
            thinned="open",
        ),
        Layer(
            "aspect",
            "Direction the slope faces (downhill), clockwise from true north; -1 on level ground",
            "degree",
            thinned="one",
            **_FLOATS,
        ),
        Layer(
            "curvature",
            "Profile curvature along the fall line; positive where the ground is convex",
            "1/m",
            thinned="one",
            **_FLOATS,
        ),
        Layer(
            "overhead",
            "Path angle of the steepest path from a start zone, whole degrees rounded up; 1 where none is "
            "found from 18 degrees, 61 above 60, 100 more where unknown ground could add to it; 0 is unknown",
            "degree",
            thinned="open",
        ),
        Layer(
            "start_zones",
            "1 is neither, 2 a possible start zone, which may be steep enough within what is known of it, 3 "
            "a start zone, 4 ground steeper than one; 0 is unknown",
        ),
    )
}
"""Every kind, by the name of its option and file, in the order in which they are told."""


def halve(cells: Cells, layer: Layer) -> Cells:
    """Half as many rows and columns of a layer's cells, rounded up.

    Of four cells the steepest, unknown where one of them is; or the first of the four.
    ``[row, col]``, where the last row or column of an odd number stands alone; or tile by tile,
    ``[down, row, right, col]``, with even sides.
    """
    if layer.thinned == "one":
        return np.ascontiguousarray(cells[::2, ::2])
    if layer.thinned == "open":
        return _halve_open(cells, replace(layer, thinned="steepest"))
    known = _ranked(cells, layer)
    if cells.ndim == 4:
        # As they lie in memory: tile by tile.
        quarter = _largest_of_four(known.swapaxes(1, 2)).swapaxes(1, 2)
        out = np.ascontiguousarray(quarter).reshape(cells.shape[0] * cells.shape[1] // 2, -1)
    else:
        odd = [(0, size % 2) for size in cells.shape]
        out = _largest_of_four(np.pad(known, odd, mode="edge") if any(last for _, last in odd) else known)
    return np.add(out, np.uint8(1)) if layer.unknown == 0 else out.view(cells.dtype)


def _halve_open(cells: Cells, steepest: Layer) -> Cells:
    more = cells >= OPEN
    angle = halve(cells - OPEN * more.view(np.uint8), steepest)
    # As a raster of 1 and 2, in which nothing is unknown.
    more = halve(more + np.uint8(1), steepest) > 1
    return np.where(angle > 0, angle + OPEN * more.view(np.uint8), np.uint8(0))


def _ranked(cells: Cells, layer: Layer) -> Cells:
    """Whole numbers in the order in which cells win: unknown is the largest."""
    if layer.unknown == 0:
        return cells - np.uint8(1)  # 255
    # Bits of numbers from 0 up are in the order of the numbers, and NaN, of either sign, is above all;
    # 65535 is the largest already. Whole numbers take a third of the time of floating ones.
    return cells.view(f"u{cells.itemsize}")


def _largest_of_four(known: Cells) -> Cells:
    tall = np.maximum(known[..., ::2, :], known[..., 1::2, :])
    out: Cells = np.maximum(tall[..., ::2], tall[..., 1::2])
    return out


Told = Callable[[str, int, int], None]
"""Told after each part: what is done, how many of it are done, and of how many."""

BELT_M: Final = 500.0
"""Height of an elevation belt of the table, metres (our choice)."""


SLOPES: Final = ("slope", "tenths")
"""Rasters whose baseline can be asked for."""

OWN_CELLS: Final = ("aspect", "curvature")
"""Rasters that are always over two cells."""

MOST_HALF_CELLS: Final = 256
"""Half of the longest baseline, cells: a quarter of a block (our choice)."""


@dataclass(frozen=True)
class AreaJob:
    """Model, outputs and method of a run; small, for it travels to every worker.

    Attributes
    ----------
    paths
        Raster files of the model.
    layers
        Names of the rasters to write (`steybrae.raster.job.LAYERS`).
    settings
        Bands, slope method and engine, what is said of the model, what counts as a start zone.
    z_unit
        Height unit as typed; None takes the file's own.
    compress
        ``deflate`` or ``none``.
    unknown_where_unreadable
        Whether damaged blocks of the input become unknown instead of stopping the run.
    cross_check
        Whether the other engine's slopes are compared.
    baseline_m
        What ``slope.tif`` and ``tenths.tif`` are over, metres; None for two of the model's cells.

    Raises
    ------
    QuantityError
        A layer or a packing of another name, or one of the two rasters of overhead angles alone.
    """

    paths: tuple[Path, ...]
    layers: tuple[str, ...] = ("slope", "bands", "bands_possible")
    settings: Settings = field(default_factory=Settings)
    z_unit: str | None = None
    compress: Compress = "deflate"
    unknown_where_unreadable: bool = False
    cross_check: bool = False
    baseline_m: float | None = None

    def __post_init__(self) -> None:
        """Refuse names that mean nothing."""
        for what, got, known in (
            *(("output raster", layer, tuple(LAYERS)) for layer in self.layers),
            ("packing (--compress)", self.compress, get_args(Compress)),
        ):
            one_of(got, known, f"The {what}")
        if ("overhead" in self.layers) != ("start_zones" in self.layers):
            message = (
                "The output rasters overhead and start_zones should be asked for together; got "
                f"{', '.join(self.layers)}. Give both or neither."
            )
            raise QuantityError(message)

    @property
    def overhead(self) -> bool:
        """Whether overhead angles are asked for; its two rasters belong together."""
        return "overhead" in self.layers

    def halves(self, grid: Grid, name: str) -> tuple[int, int]:
        """Half-widths, cells along columns and rows, of the window that a raster's slopes are over.

        Bands, start zones and what stands on them are over the leading baseline; slopes, and
        directions and curvature, over two cells unless `baseline_m` says otherwise of the slopes.
        `QuantityError` for a baseline of more cells than a block is read with.
        """
        if name in OWN_CELLS or (name in SLOPES and self.baseline_m is None):
            return 1, 1
        wanted = self.baseline_m if name in SLOPES and self.baseline_m is not None else BASELINE_M
        halves = baseline_cells(*cell_size_m(grid), wanted)
        if max(halves) > MOST_HALF_CELLS:
            most = 2.0 * MOST_HALF_CELLS * min(cell_size_m(grid))
            message = (
                f"The baseline of slope.tif should be {most:.0f} m or less on cells of this size; got "
                f"{wanted:g} m. Give a shorter one."
            )
            raise QuantityError(message)
        return halves

    def measured_m(self, grid: Grid, name: str) -> float:
        """Baseline of a raster, metres, between outermost cell centres along the longer side."""
        sizes = cell_size_m(grid)
        return max(2.0 * half * size for half, size in zip(self.halves(grid, name), sizes, strict=True))

    def uncertainty(self, grid: Grid) -> SlopeUncertainty:
        """How well the slopes of the whole model are known, from its middle and what was stated."""
        return slopes_known(self.settings.method, jacobian_at(grid), self.settings)

    def zones_uncertainty(self, grid: Grid) -> SlopeUncertainty:
        """Uncertainty of the slopes that start zones are told from, over their baseline."""
        return slopes_known("evans", jacobian_at(grid), self.settings, self.settings.start_zones.baseline_m)

    def identity(self) -> dict[str, Any]:
        """Everything that changes the outputs, as plain values: two runs of one identity may be joined."""
        found = asdict(self)
        found["paths"] = [path.name for path in self.paths]
        found["layers"] = list(self.layers)
        found["settings"]["bands"] = list(self.settings.bands.edges_deg)
        return found
