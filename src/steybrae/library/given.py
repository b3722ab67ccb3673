"""What callers hold, taken as places, lines, models and settings."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict

from steybrae.bands import given_bands
from steybrae.errors import ModelError, PlaceError, QuantityError, RouteError
from steybrae.quantities import number, parse_ground_area_m2, parse_ground_length_m, several
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place, parse_place
from steybrae.screening import Settings
from steybrae.screening.model.look import found_near

if TYPE_CHECKING:
    from steybrae.files.model.rasters import RasterModel

__all__ = ["GivenModel", "How", "as_path", "given_line", "given_place", "settings_of"]


class How(TypedDict, total=False):
    """How ground is looked at, by keyword; what is left out stays as it is for the command.

    Attributes
    ----------
    edges_deg
        Edges of the bands, degrees.
    method, engine
        Slope method, and who computes it.
    vertical_error_m, correlation_m
        Stated error of the model's heights, metres.
    model_kind
        What the model was made from.
    place_error_m, drift_deg
        Of the corridor: error of a turn point, drift of a walked bearing.
    interval_m
        Contour interval of the user's map, to count ascent on it.
    start_slopes_deg, start_area_m2, reach_m
        What counts as a start zone, and how far one is looked for.
    """

    edges_deg: Sequence[float]
    method: str
    engine: str
    vertical_error_m: float
    correlation_m: float
    model_kind: str
    place_error_m: float
    drift_deg: float
    interval_m: float
    start_slopes_deg: tuple[float, float]
    start_area_m2: float
    reach_m: float


_LENGTHS = {
    "vertical_error_m": ("The vertical error", False),
    "correlation_m": ("The correlation length", True),
    "place_error_m": ("The position error", True),
    "interval_m": ("The contour interval", False),
}
"""Name for the error, and whether 0 is taken: as the command has it."""


def as_path(given: Any) -> Path | None:
    """Path of a text, a Path or anything path-like; None for anything else."""
    if isinstance(given, str | os.PathLike):
        return Path(os.fsdecode(given))
    return None


def settings_of(how: Mapping[str, Any]) -> Settings:
    """Make settings of a screening of keywords, each held to what the command holds its option to.

    Raises
    ------
    TypeError
        A keyword that there is not.
    SteybraeError
        A value that cannot be meant.
    """
    from steybrae.route.corridor import check_drift  # noqa: PLC0415
    from steybrae.route.overhead.windows import check_reach_m  # noqa: PLC0415
    from steybrae.terrain.engines import check_engine  # noqa: PLC0415
    from steybrae.terrain.gradients import check_method  # noqa: PLC0415
    from steybrae.terrain.model_kinds import check_kind  # noqa: PLC0415
    from steybrae.terrain.start_zones import StartRules  # noqa: PLC0415

    odd = sorted(set(how) - set(How.__annotations__))
    if odd:
        message = f"no keyword {odd[0]!r}; there are {', '.join(How.__annotations__)}"
        raise TypeError(message)
    said = {key: value for key, value in how.items() if value is not None}
    found: dict[str, Any] = {
        key: length_m(said[key], *_LENGTHS[key]) for key in _LENGTHS.keys() & said.keys()
    }
    if "edges_deg" in said:
        found["bands"] = given_bands(said["edges_deg"])
    if "drift_deg" in said:
        found["drift_deg"] = check_drift(number(said["drift_deg"], "The drift"))
    if "reach_m" in said:
        found["reach_m"] = check_reach_m(number(said["reach_m"], "The reach"))
    if "model_kind" in said:
        found["model_kind"] = check_kind(said["model_kind"])
    method = check_method(said.get("method", "horn"))
    rules = StartRules()
    if "start_slopes_deg" in said:
        what = "The slopes of a start zone"
        slopes_deg = several(said["start_slopes_deg"], what)
        if len(slopes_deg) != 2:
            message = f"{what} should be two, like (30, 55); got {slopes_deg!r:.60}. Give from and to."
            raise QuantityError(message)
        low, high = (number(one, what) for one in slopes_deg)
        rules = replace(rules, low_deg=low, high_deg=high)
    if "start_area_m2" in said:
        what = "The least area of a start zone"
        area = parse_ground_area_m2(_typed(said["start_area_m2"], what, "m2"), what)
        rules = replace(rules, least_area_m2=area)
    return Settings(
        method=method, engine=check_engine(said.get("engine", "own"), method), start_zones=rules, **found
    )


def length_m(value: Any, what: str, zero: bool) -> float:
    """Length on the ground that is a number, held to what a typed one is held to."""
    return parse_ground_length_m(_typed(value, what, "m"), what, zero=zero)


def _typed(value: Any, what: str, unit: str) -> str:
    """Write a number as a person types it, with its unit; no power of ten, which no option takes."""
    return f"{number(value, what):.9f}".rstrip("0").rstrip(".") + unit


def given_place(given: Any) -> Place:
    """Place from a text, latitude and longitude, or GeoJSON.

    Parameters
    ----------
    given
        A `Place`; a text in any notation of the command; a latitude and a longitude, and a name if
        there is one; a GeoJSON point or feature, or what has one as ``__geo_interface__``
        (longitude first, as RFC 7946 has it).

    Raises
    ------
    PlaceError
        Anything else, or a place that lies nowhere.
    """
    if isinstance(given, Place):
        return given
    if isinstance(given, str):
        return parse_place(given)
    shape = _geojson(given)
    # Letters are numbers in bytes, and a set has no order.
    listed: Any = None if isinstance(given, bytes | bytearray | set) else given
    try:
        lat_deg, lon_deg, *name = listed if shape is None else _point(shape)
        return Place(float(lat_deg), float(lon_deg), " ".join(map(str, name)))
    except (TypeError, ValueError, KeyError, AttributeError) as error:
        if isinstance(error, PlaceError):
            raise
        message = (
            "A place should be a text, a latitude and a longitude, or a GeoJSON point; "
            f"got {given!r:.60}. Give it like (59.2234, -8.0712)."
        )
        raise PlaceError(message) from error


def _geojson(given: Any) -> Mapping[str, Any] | None:
    found = given if isinstance(given, Mapping) else getattr(given, "__geo_interface__", None)
    if found is None:
        return None
    _refuse_other_crs(getattr(given, "crs", None))
    return dict(found)


def _refuse_other_crs(crs: Any) -> None:
    """Refuse positions that say themselves that they are not on WGS 84."""
    if crs is None:
        return
    import pyproj  # noqa: PLC0415

    if not pyproj.CRS.from_user_input(crs).equals("OGC:CRS84", ignore_axis_order=True):
        message = (
            f"Lines and places should be on WGS 84; these are in {crs!s:.60}. Bring them there first, for "
            "instance with to_crs(4326)."
        )
        raise RouteError(message)


def _point(shape: Mapping[str, Any]) -> Any:
    """Latitude and longitude of a point or a feature of one, as they stand."""
    properties = shape.get("properties") or {}
    geometry = shape.get("geometry") if shape.get("type") == "Feature" else shape
    if not isinstance(geometry, Mapping) or geometry.get("type") != "Point":
        return shape
    lon_deg, lat_deg, *_ = geometry["coordinates"]
    name = properties.get("name")
    return (lat_deg, lon_deg, name) if isinstance(name, str) else (lat_deg, lon_deg)


def given_line(given: Any, legs_at: Iterable[str], turn_tolerance_m: float) -> Route:
    """Line from a file, GeoJSON or places.

    Parameters
    ----------
    given
        A path to GPX, GeoJSON or CSV; a GeoJSON mapping, or what has one as ``__geo_interface__``;
        or places, each as `given_place` takes them, in any iterable.
    legs_at, turn_tolerance_m
        As for the command.

    Raises
    ------
    RouteError
        No line.
    """
    from steybrae.files.routes import read_route, route_from_geojson, route_from_line  # noqa: PLC0415

    begins = several(legs_at, "Places where legs begin")
    if not all(isinstance(one, str) for one in begins):
        message = (
            f"Places where legs begin should be texts; got {begins!r:.60}. Give names, or lengths like 1.2km."
        )
        raise QuantityError(message)
    how: Any = {
        "legs_at": begins,
        "turn_tolerance_m": length_m(turn_tolerance_m, "The turn tolerance", zero=False),
    }
    path = as_path(given)
    if path is not None:
        return read_route(path, **how)
    shape = _geojson(given)
    if shape is not None:
        return route_from_geojson(shape, **how)
    if not isinstance(given, Iterable) or isinstance(given, bytes):
        message = (
            "A line should be a file, GeoJSON or a sequence of places; "
            f"got {given!r:.60}. Give it like [(59.22, -8.07), (59.23, -8.07)]."
        )
        raise RouteError(message)
    return route_from_line([given_place(place) for place in given], **how)


class GivenModel:
    """A model as a caller gave it, to be opened as often as it is needed.

    Parameters
    ----------
    given
        A path, or several that act as one; an open dataset of rasterio, or several; heights with their
        transform and CRS, as a tuple of the three; an xarray DataArray.
    z_unit
        Height unit that overrides what the model says.

    Attributes
    ----------
    paths
        Its files; empty where it is in memory.
    """

    def __init__(self, given: Any, z_unit: str | None) -> None:
        self._z_unit = z_unit
        self.paths, self._rasters = _parts(given)

    @contextmanager
    def opened(
        self, settings: Settings, near: Sequence[Place] = ()
    ) -> Iterator[tuple[RasterModel, Settings]]:
        """Open it and look at it near places; the settings are told where it came from, and what it is."""
        from steybrae.files.model.rasters import open_model, open_rasters  # noqa: PLC0415

        for data in self._rasters:
            if getattr(data, "closed", False):
                message = (
                    f"The elevation model {data.name} should be open; its dataset was closed. Keep it open, "
                    "or give its path."
                )
                raise ModelError(message)
        door = (
            open_rasters(self._rasters, self._z_unit)
            if self._rasters
            else open_model(self.paths, self._z_unit)
        )
        with door as model:
            found = found_near(model, near)
            yield model, replace(settings, origin=model.info.origin(), model_found=found)


def _parts(given: Any) -> tuple[tuple[Path, ...], tuple[Any, ...]]:
    """Paths or open rasters of which a model consists."""
    path = as_path(given)
    if path is not None:
        return (path,), ()
    from steybrae.files.model.arrays import ArrayRaster, labelled_raster  # noqa: PLC0415

    if hasattr(given, "dims") and hasattr(given, "coords"):
        return (), (labelled_raster(given),)
    members = [given] if _is_dataset(given) else []
    if isinstance(given, Iterable) and not isinstance(given, bytes):
        members = list(given)
    paths = tuple(as_path(one) or _file_of(one) for one in members)
    if members and None not in paths:
        return tuple(one for one in paths if one is not None), ()
    if members and all(map(_is_dataset, members)):
        return (), tuple(members)
    if isinstance(given, tuple) and len(given) == 3:
        return (), (ArrayRaster(*given),)
    message = (
        "A model should be a path or several, an open dataset of rasterio, (heights, transform, crs) or a "
        f"DataArray; got {type(given).__name__}. An array alone does not say where it lies."
    )
    raise ModelError(message)


def _is_dataset(given: Any) -> bool:
    # Of the class, for a closed dataset refuses to tell.
    return all(hasattr(type(given), name) for name in ("read", "block_shapes", "transform"))


def _file_of(given: Any) -> Path | None:
    """File of a dataset that shows all of it as it is; so that it passes the door of files."""
    path = Path(str(given.name)) if _is_dataset(given) else None
    if path is None or getattr(given, "closed", False) or not path.is_file():
        return None
    import rasterio  # noqa: PLC0415

    with rasterio.open(path) as whole:
        same = all(getattr(whole, name) == getattr(given, name) for name in ("shape", "transform", "crs"))
    return path if same else None


def numbers_or_texts(given: Any, what: str) -> list[str]:
    """Slopes as the command takes them: a number is in degrees; one alone stands for a list of it.

    Raises
    ------
    QuantityError
        Anything else.
    """
    alone = isinstance(given, str) or not isinstance(given, Iterable) or getattr(given, "ndim", 1) == 0
    try:
        return [
            one if isinstance(one, str) else _typed(float(one), what, "deg")
            for one in ([given] if alone else given)
        ]
    except (TypeError, ValueError) as error:
        message = f"{what} should be degrees, or texts like '62%'; got {given!r:.60}. Give them so."
        raise QuantityError(message) from error
