"""What a run over a whole raster is asked to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, get_args

from steybrae.errors import QuantityError, one_of
from steybrae.raster.files.outputs import Compress
from steybrae.raster.layers import LAYERS
from steybrae.screening.known import Settings, slopes_known
from steybrae.terrain.attributes import BASELINE_M, baseline_cells
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.jacobian import cell_size_m, jacobian_at
from steybrae.terrain.uncertainty import SlopeUncertainty

Told = Callable[[str, int, int], None]
"""Told after each block: what is done to them, how many are done, and of how many."""

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
        Names of the rasters to write (`steybrae.raster.layers.LAYERS`).
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

        Bands, start zones and what stands on them are over the leading baseline; slopes, and directions
        and curvature, over two cells unless `baseline_m` says otherwise of the slopes.

        Raises
        ------
        QuantityError
            A baseline of more cells than a block is read with.
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
        return slopes_known(self.settings.method, _middle(grid), self.settings)

    def zones_uncertainty(self, grid: Grid) -> SlopeUncertainty:
        """Uncertainty of the slopes that start zones are told from, over their baseline."""
        return slopes_known("evans", _middle(grid), self.settings, self.settings.start_zones.baseline_m)

    def identity(self) -> dict[str, Any]:
        """Everything that changes the outputs, as plain values: two runs of one identity may be joined."""
        found = asdict(self)
        found["paths"] = [path.name for path in self.paths]
        found["layers"] = list(self.layers)
        found["settings"]["bands"] = list(self.settings.bands.edges_deg)
        return found


def _middle(grid: Grid) -> Array:
    rows, cols = grid.shape
    return jacobian_at(grid, cols / 2, rows / 2)
