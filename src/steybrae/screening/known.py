"""How well a model's slopes are known, from what was stated of it, for every answer alike."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from steybrae.route.overhead.windows import OverheadLook, joins_of
from steybrae.terrain.dem import Array
from steybrae.terrain.examine.found import ModelFound
from steybrae.terrain.gradients import Method
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
