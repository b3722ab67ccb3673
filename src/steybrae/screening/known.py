"""What is asked of a line and said of its model, and how well slopes are known from it, for every answer."""

from __future__ import annotations

import math
from dataclasses import field
from typing import Any

import numpy as np

from steybrae.bands import BandScheme
from steybrae.frozen import dataclass
from steybrae.ranges import NotNegative, Positive
from steybrae.route.corridor import DRIFT_DEG, PLACE_ERROR_M
from steybrae.route.overhead.windows import OverheadLook, joins_of
from steybrae.terrain.attributes import BASELINE_M
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.engines import Engine
from steybrae.terrain.examine.found import NOTHING_FOUND, ModelFound, kinds_told
from steybrae.terrain.gradients import Method
from steybrae.terrain.jacobian import jacobian_at, sides_m
from steybrae.terrain.model_kinds import ModelKind
from steybrae.terrain.overhead.ground import REACH_M
from steybrae.terrain.start_zones import StartRules
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_uncertainty


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is said of a model and asked of a line: the figures that the user chose or left as they were.

    Attributes
    ----------
    place_error_m
        Error of a turn point that states none of its own, metres.
    drift_deg
        Drift of a walked bearing, degrees.
    vertical_error_m
        Standard deviation of the model's heights, metres; None where not stated.
    correlation_m
        Correlation length of that error, metres; None takes the worst, or that of the kind.
    model_kind
        What kind of model it is, for the error of its heights; None where not stated.
    model_found
        What its heights were found to be (`steybrae.screening.model.look`); intervals rest on it.
    interval_m
        Contour interval of the user's map, for the ascent as counted there; None where not given. Metres.
    start_zones
        What counts as a start zone overhead.
    reach_m
        How far is looked for one, metres.
    """

    place_error_m: NotNegative = PLACE_ERROR_M
    drift_deg: NotNegative = DRIFT_DEG
    vertical_error_m: NotNegative | None = None
    correlation_m: NotNegative | None = None
    model_kind: ModelKind | None = None
    model_found: ModelFound = NOTHING_FOUND
    interval_m: NotNegative | None = None
    start_zones: StartRules = field(default_factory=StartRules)
    reach_m: Positive = REACH_M


def cells_of_line(grid: Grid, col: float, row: float) -> tuple[tuple[float, float], Array]:
    """Size of the cells where a line begins, and their Jacobian, in four figures.

    A line that begins some steps further on is so looked at in the same way.

    Parameters
    ----------
    col, row
        Where the line first lies on it.

    Returns
    -------
    tuple
        Along a row and along a column, metres; ``(2, 2)``, ground metres per cell.
    """
    exact = jacobian_at(grid, col, row)
    jacobian = np.round(exact, 3 - math.floor(math.log10(np.abs(exact).max())))
    return sides_m(jacobian), jacobian


@dataclass(frozen=True, kw_only=True)
class ModelRead:
    """The elevation model that was read.

    Attributes
    ----------
    files
        File names, in the order given.
    fingerprints
        SHA-256 of each file's size and first and last 4 MiB.
    crs
        Name of its CRS.
    cell_size_m
        Ground size of a cell along a row and along a column: where a line begins, else in the middle.
    height_unit_m
        Metres in the model's height unit.
    height_unit_from
        What said so: --z-unit, CRS, band, or assumed.
    """

    files: tuple[str, ...]
    fingerprints: tuple[str, ...]
    crs: str
    cell_size_m: tuple[Positive, Positive]
    height_unit_m: Positive
    height_unit_from: str


@dataclass(frozen=True)
class ModelOrigin:
    """Where a model came from; see `steybrae.files.model.rasters.ModelInfo`."""

    files: tuple[str, ...] = ()
    fingerprints: tuple[str, ...] = ()
    height_unit_m: float = 1.0
    height_unit_from: str = "stated"
    sample: bool = False


@dataclass(frozen=True)
class Settings(Asked):
    """How to screen.

    Attributes
    ----------
    bands
        Band edges.
    method, engine
        Slope method, and who computes it.
    origin
        Where the model came from.
    """

    bands: BandScheme = field(default_factory=BandScheme)
    method: Method = "horn"
    engine: Engine = "own"
    origin: ModelOrigin = field(default_factory=ModelOrigin)


def told_of_model(stated: Settings, cell_m: tuple[float, float], grid: Grid) -> dict[str, Any]:
    """Take what a model is for the cautions of an answer on it: fields of `steybrae.cautions.Situation`."""
    return {
        "from_model": True,
        "cell_size_m": max(cell_m),
        "unit_assumed": stated.origin.height_unit_from == "assumed",
        "datum_accuracy_m": grid.datum_accuracy_m,
        "model_found": kinds_told(stated.model_found, stated.model_kind, max(cell_m)),
        "sample": stated.origin.sample,
    }


def slopes_known(
    method: Method, jacobian: Array, stated: Asked, baseline_m: float = BASELINE_M
) -> SlopeUncertainty:
    """How well slopes over a baseline are known, usually the leading one."""
    return slope_uncertainty(
        method,
        jacobian,
        stated.vertical_error_m,
        stated.correlation_m,
        stated.model_kind,
        baseline_m,
        stated.model_found,
    )


def overhead_look(cell_m: tuple[float, float], jacobian: Array, stated: Asked) -> OverheadLook:
    """How to look up: start zones are told from joined cells, whose slopes are known by their size.

    Parameters
    ----------
    cell_m
        Ground size of a cell along a row and along a column, metres.
    jacobian, stated
        As for `slopes_known`.
    """
    rules = stated.start_zones
    # To the centimetre: places of one model are then looked up from alike, and share what was read.
    cell_m = round(cell_m[0], 2), round(cell_m[1], 2)
    joined = np.round(jacobian * joins_of(cell_m), 2)
    known = slopes_known("evans", joined, stated, rules.baseline_m)
    return OverheadLook(cell_m, known, rules, stated.reach_m)
