"""How well a model's slopes are known, from what was stated of it, for every answer alike."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from steybrae.route.overhead.windows import OverheadLook, joins_of
from steybrae.terrain.dem import Array, Grid
from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.gradients import Method
from steybrae.terrain.jacobian import jacobian_at
from steybrae.terrain.model_kinds import ModelKind
from steybrae.terrain.start_zones import StartRules
from steybrae.terrain.uncertainty import SlopeUncertainty, slope_uncertainty


class Stated(Protocol):
    """Anything that holds what was stated of a model, and what was asked for."""

    @property
    def vertical_error_m(self) -> float | None:
        """Standard deviation of its heights, metres."""

    @property
    def correlation_m(self) -> float | None:
        """Correlation length of their errors, metres."""

    @property
    def model_kind(self) -> ModelKind | None:
        """What the user says it is."""

    @property
    def model_found(self) -> ModelFound:
        """What its heights were found to be."""

    @property
    def start_zones(self) -> StartRules:
        """What counts as a start zone."""

    @property
    def reach_m(self) -> float:
        """How far is looked for ground overhead, metres."""


def cells_of_line(grid: Grid, col: float, row: float) -> tuple[tuple[float, float], Array]:
    """Size of the cells where a line begins, and their Jacobian, in four figures.

    A line that begins some steps further on is so looked at in the same way.

    Parameters
    ----------
    grid
        Of the model.
    col, row
        Where the line first lies on it.

    Returns
    -------
    tuple
        Along a row and along a column, metres; ``(2, 2)``, ground metres per cell.
    """
    exact = jacobian_at(grid, col, row)
    jacobian = np.round(exact, 3 - math.floor(math.log10(np.abs(exact).max())))
    across, along = np.hypot(*jacobian).tolist()
    return (across, along), jacobian


def slopes_known(method: Method, jacobian: Array, stated: Stated) -> SlopeUncertainty:
    """How well slopes over the leading baseline are known.

    Parameters
    ----------
    method
        Slope method.
    jacobian
        ``(2, 2)``, ground metres per cell.
    stated
        What was said of the model.
    """
    return slope_uncertainty(
        method,
        jacobian,
        stated.vertical_error_m,
        stated.correlation_m,
        stated.model_kind,
        found=stated.model_found,
    )


def overhead_look(cell_m: tuple[float, float], jacobian: Array, stated: Stated) -> OverheadLook:
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
    known = slope_uncertainty(
        "evans",
        np.round(jacobian * joins_of(cell_m), 2),
        stated.vertical_error_m,
        stated.correlation_m,
        stated.model_kind,
        rules.baseline_m,
        stated.model_found,
    )
    return OverheadLook(cell_m, known, rules, stated.reach_m)
