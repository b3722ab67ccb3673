"""Who computes the differences: our own code, or richdem as a second opinion.

An engine gives height changes per cell to the right and down (`IndexGradients`). Ground gradients
follow from them by the one Jacobian of `steybrae.terrain.jacobian`, whoever computed them.

richdem (0.3.4, GPL-3, an optional extra) knows Horn's method only. At edges and beside voids it
takes the centre's height for the missing one, which flattens; `richdem_gradients` gives that
answer as it is, for comparing; as an engine it is taken away where our own rule calls the slope
unknown. It reads 270 for the aspect of level ground; level is told from the slope.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final, Literal, get_args

import numpy as np

from steybrae.errors import MissingExtraError, ModelError, one_of
from steybrae.terrain.dem import Array
from steybrae.terrain.gradients import Method, index_gradients

Engine = Literal["own", "richdem"]
ENGINES: Final = get_args(Engine)

IndexGradients = Callable[[Array, Method], tuple[Array, Array]]

_NO_DATA: Final = -9999.0


def check_engine(name: str, method: Method) -> Engine:
    """Name of one of `ENGINES`, refused where there is none such or it does not know the method."""
    one_of(name, ENGINES, "The engine", ModelError)
    if name == "richdem" and method != "horn":
        message = (
            f"The engine richdem computes the method horn only; got {method!r}. Use --engine own for it."
        )
        raise ModelError(message)
    return name  # type: ignore[return-value]


def engine_gradients(engine: Engine) -> IndexGradients:
    """Give the function of an engine: heights and method in, differences per cell out.

    Parameters
    ----------
    engine
        ``own`` or ``richdem``.

    Returns
    -------
    callable
        With the edges and no-data behaviour of `index_gradients` in both cases.
    """
    return index_gradients if engine == "own" else _richdem_masked


def _richdem_masked(heights_m: Array, method: Method) -> tuple[Array, Array]:
    unknown = np.isnan(index_gradients(heights_m, method)[0])
    per_col, per_row = richdem_gradients(heights_m)
    per_col[unknown] = per_row[unknown] = np.nan
    return per_col, per_row


def richdem_gradients(heights_m: Array) -> tuple[Array, Array]:
    """Height change per cell to the right and down as richdem has it, edges and voids included.

    From its slope m (rise over run, on cells of 1) and aspect A (downhill, clockwise from
    up in the array): ``dz/dcol = -m sin A``, ``dz/drow = m cos A``.

    Parameters
    ----------
    heights_m
        ``[row, col]``, metres; NaN is unknown.

    Returns
    -------
    tuple of Array
        Metres per cell; NaN only at unknown heights themselves. richdem computes in float32
        slopes and aspects.

    Raises
    ------
    MissingExtraError
        richdem is not installed.
    """
    try:
        import richdem  # noqa: PLC0415  an optional extra
    except ImportError as error:
        message = (
            "The engine richdem needs the optional package richdem; it is not installed. "
            "DEVELOPERS.md tells how to build it, or use --engine own."
        )
        raise MissingExtraError(message) from error
    filled = np.where(np.isnan(heights_m), _NO_DATA, heights_m)
    array = richdem.rdarray(filled, no_data=_NO_DATA)
    array.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
    with _silenced():
        slope = np.array(richdem.TerrainAttribute(array, attrib="slope_riserun"), dtype=np.float64)
        aspect = np.array(richdem.TerrainAttribute(array, attrib="aspect"), dtype=np.float64)
    slope[np.isnan(heights_m)] = np.nan
    facing = np.radians(np.where(slope == 0.0, 0.0, aspect))
    return -slope * np.sin(facing), slope * np.cos(facing)


@contextmanager
def _silenced() -> Iterator[None]:
    """Send richdem's progress bars, which it writes past Python to the process's own streams, away."""
    sys.stdout.flush()
    sys.stderr.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    kept = [os.dup(stream) for stream in (1, 2)]
    try:
        for stream in (1, 2):
            os.dup2(nowhere, stream)
        yield
    finally:
        for stream, copy in zip((1, 2), kept, strict=True):
            os.dup2(copy, stream)
            os.close(copy)
        os.close(nowhere)
