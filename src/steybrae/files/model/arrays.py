"""An array of heights that is read as an open raster is.

So that one rule says what is a height (`steybrae.files.model.heights`), where cells lie
(`steybrae.files.model.tiles`) and in which unit, whether a file or a caller's array is given.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, Final

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray
from rasterio.crs import CRS
from rasterio.enums import MaskFlags

from steybrae.errors import ModelError

EVEN: Final = 1e-3
"""How far the steps between labels may differ, share of a cell (our choice: labels of float32 do)."""

_ACROSS: Final = ("x", "lon", "longitude", "easting", "projection_x_coordinate")
_DOWN: Final = ("y", "lat", "latitude", "northing", "projection_y_coordinate")
"""Names of the axes of a labelled array (the CF conventions, and those in use)."""


class ArrayRaster:
    """Heights in memory, with the members of an open raster that reading a model asks for.

    Parameters
    ----------
    heights
        ``[row, col]``, or with one band in front; what a mask hides is unknown, as NaN is.
    transform
        An affine transform, or its numbers ``a, b, c, d, e, f``: ``x = a col + b row + c``,
        ``y = d col + e row + f``.
    crs
        Anything that pyproj takes; None is refused when the model is read.
    nodata
        The number that stands for unknown; None where there is none.
    said
        ``units``: the height unit; ``scale``, ``offset``: from numbers to heights; ``name``.

    Raises
    ------
    ModelError
        An array, a transform or a CRS of another kind.
    """

    driver: Final = "array"
    count: Final = 1
    files: Final[Sequence[str]] = ()
    mask_flag_enums: Final = ((MaskFlags.all_valid,),)

    def __init__(
        self, heights: Any, transform: Any, crs: Any, nodata: float | None = None, **said: Any
    ) -> None:
        self._heights = _plane(heights)
        self.transform = _affine(transform)
        self.crs = _crs(crs)
        self.nodatavals = (nodata,)
        self.name = str(said.get("name", "array"))
        self.units = (said.get("units"),)
        self.scales, self.offsets = (float(said.get("scale", 1.0)),), (float(said.get("offset", 0.0)),)
        self.height, self.width = self._heights.shape
        self.dtypes = (self._heights.dtype.name,)
        self.block_shapes = (self._heights.shape,)

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 of the numbers and where they lie."""
        found = hashlib.sha256(repr((self._heights.shape, self.dtypes, tuple(self.transform))).encode())
        found.update(np.ascontiguousarray(self._heights).view(np.uint8).data)
        return found.hexdigest()

    def read(self, _band: int, *, window: Any, out: NDArray[Any]) -> None:
        """Fill an array with the numbers of a window."""
        top, left = int(window.row_off), int(window.col_off)
        out[...] = self._heights[top : top + out.shape[0], left : left + out.shape[1]]


def _plane(heights: Any) -> NDArray[Any]:
    numbers = np.asanyarray(heights)
    if numbers.ndim == 3 and len(numbers) == 1:
        numbers = numbers[0]
    if numbers.ndim != 2 or 0 in numbers.shape or numbers.dtype.kind not in "iuf":
        message = (
            "An array of heights should be of real numbers, rows by columns; got one of the shape "
            f"{numbers.shape} and the type {numbers.dtype}. Give one band, like data.read(1)."
        )
        raise ModelError(message)
    if isinstance(numbers, np.ma.MaskedArray):
        return np.asarray(np.ma.filled(numbers.astype(float), np.nan))
    return np.asarray(numbers)


def _affine(transform: Any) -> Affine:
    try:
        return Affine(*map(float, tuple(transform)[:6]))
    except (TypeError, ValueError) as error:
        message = (
            "The transform of an array should be an Affine, or its numbers a, b, c, d, e, f; "
            f"got {transform!r:.60}. Give it like data.transform."
        )
        raise ModelError(message) from error


def _crs(crs: Any) -> CRS | None:
    if crs is None or isinstance(crs, CRS):
        return crs
    try:
        return CRS.from_wkt(pyproj.CRS.from_user_input(crs).to_wkt())
    except (pyproj.exceptions.CRSError, ValueError, TypeError) as error:
        message = (
            "The CRS of an array should be one that PROJ knows, like EPSG:27700; "
            f"got {crs!r:.60}. Give it like data.crs."
        )
        raise ModelError(message) from error


def labelled_raster(array: Any) -> ArrayRaster:
    """Take an xarray DataArray, or anything with its ``dims``, ``coords`` and ``attrs``, as a raster.

    Parameters
    ----------
    array
        With one label for each column and row, evenly spaced, at the centres of cells. Its CRS is
        that of rioxarray's accessor, else of its grid mapping (the CF conventions), else ``attrs["crs"]``.

    Returns
    -------
    ArrayRaster
        With its fill value, unit, scale and offset.

    Raises
    ------
    ModelError
        Axes that are not known, labels that are not evenly spaced, or no CRS.
    """
    array = array.squeeze()
    across = next((name for name in array.dims if str(name).lower() in _ACROSS), None)
    down = next((name for name in array.dims if str(name).lower() in _DOWN), None)
    if across is None or down is None or len(array.dims) != 2:
        message = (
            f"A labelled array of heights should have the dimensions y and x; it has {tuple(array.dims)}. "
            "Choose one band, and name its axes y and x."
        )
        raise ModelError(message)
    step_x, first_x = _steps(array, across)
    step_y, first_y = _steps(array, down)
    transform = Affine(step_x, 0.0, first_x - step_x / 2.0, 0.0, step_y, first_y - step_y / 2.0)
    said: Mapping[str, Any] = {**getattr(array, "encoding", {}), **array.attrs}
    fill = next((key for key in ("_FillValue", "nodata", "missing_value") if said.get(key) is not None), "")
    units = array.attrs.get("units")
    return ArrayRaster(
        array.transpose(down, across).values,
        transform,
        _labelled_crs(array),
        _number(said, fill, None),
        units=None if units is None else str(units),
        scale=_number(array.attrs, "scale_factor", 1.0),
        offset=_number(array.attrs, "add_offset", 0.0),
        name=getattr(array, "name", None) or "array",
    )


def _number(said: Mapping[str, Any], key: str, usual: float | None) -> float | None:
    """Take the number of an attribute, also one alone in an array; the usual one where it says nothing."""
    if said.get(key) is None:
        return usual
    try:
        return float(np.asarray(said[key]).reshape(()))
    except (TypeError, ValueError) as error:
        message = f"A labelled array's {key} should be a number; got {said[key]!r:.60}. Set it right."
        raise ModelError(message) from error


def _steps(array: Any, name: Any) -> tuple[float, float]:
    """Step and first of the labels of an axis."""
    labels = np.asarray(array.coords[name].values, dtype=float) if name in array.coords else np.empty(0)
    if len(labels) > 1:
        step = float(labels[-1] - labels[0]) / (len(labels) - 1)
        if step != 0.0 and np.abs(np.diff(labels) - step).max() <= EVEN * abs(step):
            return step, float(labels[0])
    message = (
        f"The labels of {name} should be the centres of cells, two or more, evenly spaced; they are not. "
        "Give the array, its transform and its CRS instead."
    )
    raise ModelError(message)


def _labelled_crs(array: Any) -> Any:
    accessor = getattr(array, "rio", None)
    found = None if accessor is None else accessor.crs
    name = array.attrs.get("grid_mapping") or getattr(array, "encoding", {}).get("grid_mapping")
    mapping = array.coords.get(name or "spatial_ref")
    if found is None and mapping is not None:
        found = mapping.attrs.get("crs_wkt") or mapping.attrs.get("spatial_ref")
    return found if found is not None else array.attrs.get("crs")
