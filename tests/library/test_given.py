"""What callers hold: every kind of place, line and model is taken, and comes to the same."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio
import xarray as xr
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st

import steybrae
from steybrae.errors import ModelError, PlaceError, QuantityError, RouteError
from steybrae.library.given import GivenModel, given_line, given_place, settings_of
from steybrae.route.turns import TURN_TOLERANCE_M
from steybrae.screening import Settings

PLACES = [(59.2240, -8.0574), (59.2270, -8.0590), (59.2290, -8.0570)]
CRS = "EPSG:32629"
TRANSFORM = Affine(10.0, 0.0, 375000.0, 0.0, -10.0, 6567000.0)


class Held:
    """As shapely and others hold a shape."""

    def __init__(self, shape: dict[str, Any], crs: Any = None) -> None:
        self.__geo_interface__ = shape
        self.crs = crs


class Named(os.PathLike[str]):
    def __init__(self, path: Path) -> None:
        self.path = path

    def __fspath__(self) -> str:
        return str(self.path)


def hill(rows: int = 30, cols: int = 30) -> np.ndarray:
    row, col = np.mgrid[:rows, :cols]
    return 500.0 + 60.0 * np.sin(row / 5.0) + 40.0 * np.cos(col / 6.0)


POINT_KINDS: dict[str, Callable[[tuple[float, float]], Any]] = {
    "tuple": tuple,
    "list": list,
    "array": np.array,
    "numpy scalars": lambda at: (np.float64(at[0]), np.float64(at[1])),
    "named": lambda at: (*at, "there"),
    "Place": lambda at: steybrae.Place(*at),
    "text": lambda at: f"{at[0]!r} {at[1]!r}",
    "point": lambda at: {"type": "Point", "coordinates": (at[1], at[0])},
    "point with a height": lambda at: {"type": "Point", "coordinates": [at[1], at[0], 700.0]},
    "feature": lambda at: {
        "type": "Feature",
        "properties": None,
        "geometry": {"type": "Point", "coordinates": [at[1], at[0]]},
    },
    "geo interface": lambda at: Held({"type": "Point", "coordinates": np.array([at[1], at[0]])}),
}

LINE_KINDS: dict[str, Callable[[list[tuple[float, float]]], Any]] = {
    "list": list,
    "tuple": tuple,
    "generator": lambda line: (at for at in line),
    "map": lambda line: map(tuple, line),
    "array": np.array,
    "LineString": lambda line: {"type": "LineString", "coordinates": tuple((lon, lat) for lat, lon in line)},
    "geo interface": lambda line: Held(
        {"type": "LineString", "coordinates": np.array(line)[:, ::-1]}, crs="EPSG:4326"
    ),
    "collection": lambda line: {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "LineString", "coordinates": [[lon, lat] for lat, lon in line]},
            }
        ],
    },
}

POSITIONS = st.tuples(st.floats(59.20, 59.26), st.floats(-8.12, -8.00))


def positions(line: Any, **how: Any) -> list[tuple[float, float]]:
    route = given_line(line, how.pop("legs_at", ()), TURN_TOLERANCE_M)
    return [(place.lat_deg, place.lon_deg) for place in route.points]


@given(at=POSITIONS, kind=st.sampled_from(sorted(POINT_KINDS)))
def test_every_kind_of_place_is_the_same_place(at: tuple[float, float], kind: str) -> None:
    found = given_place(POINT_KINDS[kind](at))
    assert (found.lat_deg, found.lon_deg) == at
    assert found.name == ("there" if kind == "named" else "")


@given(
    line=st.lists(POSITIONS, min_size=2, max_size=8, unique=True),
    kind=st.sampled_from(sorted(LINE_KINDS)),
    point=st.sampled_from(sorted(set(POINT_KINDS) - {"named"})),
)
def test_every_kind_of_line_is_the_same_line(line: Any, kind: str, point: str) -> None:
    assert positions(LINE_KINDS[kind](line)) == line
    assert positions([POINT_KINDS[point](at) for at in line]) == line


def test_lines_of_files_by_text_path_and_path_like(sample_dem: Path) -> None:
    whole = positions(sample_dem / "day.gpx")
    assert positions(str(sample_dem / "day.gpx")) == whole
    assert positions(Named(sample_dem / "day.gpx")) == whole
    assert np.allclose(positions(json.loads((sample_dem / "day.geojson").read_text())), whole, atol=1e-6)


def test_legs_begin_where_asked_in_a_line_of_places() -> None:
    places = [(*PLACES[0], "Foot"), (*PLACES[1], "Bend"), PLACES[2]]
    assert given_line(places, ["Bend"], TURN_TOLERANCE_M).turn_points == (0, 1, 2)
    assert given_line(places, [], TURN_TOLERANCE_M).turn_points == (0, 1, 2)
    assert len(given_line(places, ["100m"], TURN_TOLERANCE_M).turn_points) == 3


@pytest.mark.parametrize(
    ("wrong", "error", "words"),
    [
        (7, RouteError, "A line should be a file, GeoJSON or a sequence of places; got 7. Give it like"),
        (b"day.gpx", RouteError, "got b'day.gpx'"),
        ([PLACES[0]], RouteError, "The line should hold a line of two different points or more; it has 1."),
        ([PLACES[0], (59.2,)], PlaceError, "a latitude and a longitude, or a GeoJSON point; got (59.2,)."),
        ([PLACES[0], None], PlaceError, "got None. Give it like (59.2234, -8.0712)."),
        ([PLACES[0], (float("nan"), 1.0)], PlaceError, "got nan, 1. Check the order"),
        ([(375000.0, 6567000.0), PLACES[0]], PlaceError, "got 375000, 6.567e+06."),
        ({"type": "Point", "coordinates": [0, 0]}, RouteError, "two different points or more; it has 1."),
        ({"type": "LineString", "coordinates": {1}}, RouteError, "it has what JSON has not (a set)."),
        ([PLACES[0], b"59 -8"], PlaceError, "got b'59 -8'."),
        ([PLACES[0], {"type": "Point", "coordinates": []}], PlaceError, "'coordinates': []}. Give it like"),
        ([PLACES[0], {"type": "Point", "coordinates": None}], PlaceError, "'coordinates': None}."),
        ([PLACES[0], {"type": "Point"}], PlaceError, "got {'type': 'Point'}."),
        ([PLACES[0], {"type": "Feature", "properties": 1, "geometry": None}], PlaceError, "'properties': 1,"),
        (Held({"type": "LineString"}, CRS), RouteError, "on WGS 84; these are in EPSG:32629."),
    ],
)
def test_what_is_no_line_is_refused_in_a_sentence(wrong: Any, error: type[Exception], words: str) -> None:
    with pytest.raises(error) as refused:
        given_line(wrong, (), TURN_TOLERANCE_M)
    assert words in str(refused.value)


ARRAY_KINDS: dict[str, Callable[[np.ndarray], Any]] = {
    "float32": lambda z: z.astype(np.float32),
    "turned in memory": np.asfortranarray,
    "one band in front": lambda z: z[None],
    "masked": lambda z: np.ma.masked_array(z, np.zeros(z.shape, bool)),
    "lists": lambda z: z.tolist(),
}
TRANSFORM_KINDS: dict[str, Any] = {
    "Affine": TRANSFORM,
    "six numbers": tuple(TRANSFORM)[:6],
    "numpy": np.array(tuple(TRANSFORM)),
}
CRS_KINDS: dict[str, Any] = {
    "code": CRS,
    "number": 32629,
    "pyproj": pyproj.CRS(CRS),
    "rasterio": rasterio.crs.CRS.from_string(CRS),
    "WKT": pyproj.CRS(CRS).to_wkt(),
}


@given(
    array=st.sampled_from(sorted(ARRAY_KINDS)),
    transform=st.sampled_from(sorted(TRANSFORM_KINDS)),
    crs=st.sampled_from(sorted(CRS_KINDS)),
)
def test_every_kind_of_array_has_the_same_slopes(array: str, transform: str, crs: str) -> None:
    plain = steybrae.slopes((hill(), TRANSFORM, CRS))
    found = steybrae.slopes((ARRAY_KINDS[array](hill()), TRANSFORM_KINDS[transform], CRS_KINDS[crs]))
    np.testing.assert_allclose(found.slope_deg, plain.slope_deg, atol=1e-3)
    assert found.unknown_cells == plain.unknown_cells
    assert found.result.grid == plain.result.grid


def written(path: Path, heights: np.ndarray, **said: Any) -> Path:
    rows, cols = heights.shape
    where = {"crs": CRS, "transform": TRANSFORM, "dtype": heights.dtype.name, **said}
    with rasterio.open(path, "w", "GTiff", cols, rows, 1, **where) as out:
        out.write(heights, 1)
    return path


def test_a_file_its_dataset_and_its_array_have_the_same_slopes(tmp_path: Path) -> None:
    heights = hill().astype(np.float32)
    heights[3:6, 4:9] = -9999.0
    path = written(tmp_path / "hill.tif", heights, nodata=-9999.0)
    whole = steybrae.slopes(str(path))
    assert whole.unknown_cells > 4 * 29 + 15  # the ring, the void, and what lies beside it
    with rasterio.open(path) as data:
        kinds = [
            path,
            [Named(path)],
            (each for each in [path]),
            data,
            [data],
            (data.read(1, masked=True), data.transform, data.crs),
            (data.read(1), data.transform, data.crs),  # -9999 is no height of land
        ]
        for kind in kinds:
            found = steybrae.slopes(kind)
            np.testing.assert_array_equal(found.slope_deg, whole.slope_deg)
            np.testing.assert_array_equal(found.slope_high_deg, whole.slope_high_deg)
            np.testing.assert_array_equal(found.band, whole.band)


def test_a_dataset_of_coarser_cells_than_its_file_is_taken_as_it_is(tmp_path: Path) -> None:
    path = written(tmp_path / "hill.tif", hill(40, 40))
    with rasterio.open(path, "r+") as data:
        data.build_overviews([2])
    with rasterio.open(path, overview_level=0) as half, rasterio.open(path) as whole:
        assert steybrae.slopes(half).slope_deg.shape == (20, 20)
        assert GivenModel(whole, None).paths == (path,)


def test_a_file_that_is_contradicted_is_refused_by_its_dataset_too(tmp_path: Path) -> None:
    path = written(tmp_path / "hill.tif", hill())
    numbers = "375000, 20, 0, 6567000, 0, -20"
    path.with_name("hill.tif.aux.xml").write_text(
        f"<PAMDataset><GeoTransform>{numbers}</GeoTransform></PAMDataset>"
    )
    with rasterio.open(path) as data, pytest.raises(ModelError):
        steybrae.slopes(data)


def test_tiles_act_as_one(tmp_path: Path) -> None:
    heights = hill(30, 60)
    west = written(tmp_path / "west.tif", heights[:, :30])
    east = written(tmp_path / "east.tif", heights[:, 30:], transform=TRANSFORM @ Affine.translation(30, 0))
    found = steybrae.slopes((west, str(east)))
    np.testing.assert_array_equal(found.slope_deg, steybrae.slopes((heights, TRANSFORM, CRS)).slope_deg)


def labelled(heights: np.ndarray, **attrs: Any) -> xr.DataArray:
    rows, cols = heights.shape
    x = TRANSFORM.c + TRANSFORM.a * (np.arange(cols) + 0.5)
    y = TRANSFORM.f + TRANSFORM.e * (np.arange(rows) + 0.5)
    where = xr.Variable((), 0, attrs={"crs_wkt": pyproj.CRS(CRS).to_wkt()})
    return xr.DataArray(
        heights[None],
        dims=("band", "y", "x"),
        coords={"y": y, "x": x, "band": [1], "spatial_ref": where},
        attrs=attrs,
    )


def test_a_labelled_array_lies_where_its_labels_say() -> None:
    plain = steybrae.slopes((hill(), TRANSFORM, CRS))
    found = steybrae.slopes(labelled(hill()))
    np.testing.assert_allclose(found.slope_deg, plain.slope_deg)
    assert tuple(found.transform) == pytest.approx(tuple(plain.transform))
    # South at the top, and x before y: the same ground.
    turned = steybrae.slopes(labelled(hill()).isel(y=slice(None, None, -1)).transpose("band", "x", "y"))
    np.testing.assert_allclose(turned.slope_deg[::-1], plain.slope_deg, atol=1e-9)
    np.testing.assert_allclose(turned.aspect_true_deg[::-1], plain.aspect_true_deg, atol=1e-6)


def test_a_labelled_array_keeps_fill_value_scale_and_unit() -> None:
    feet = np.round(hill() / 0.3048 * 10.0).astype(np.int32)
    feet[10, 10] = -1
    # Attributes read from a file may be arrays of one number, and may say nothing.
    fill = np.array([-1], np.int32)
    attributes = {"_FillValue": None, "missing_value": fill, "scale_factor": 0.1, "add_offset": None}
    found = steybrae.slopes(labelled(feet, **attributes, units="ft"))
    plain = steybrae.slopes((hill(), TRANSFORM, CRS))
    assert np.isnan(found.slope_deg[10, 10])
    known = ~np.isnan(found.slope_deg)
    np.testing.assert_allclose(found.slope_deg[known], plain.slope_deg[known], atol=0.2)
    assert any("scale and an offset" in caution.text for caution in found.cautions)


NO_CRS = labelled(hill()).drop_vars("spatial_ref")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (hill(), "got ndarray. An array alone does not say where it lies."),
        (None, "A model should be a path or several, an open dataset of rasterio"),
        ([], "got list."),
        ((hill()[0], TRANSFORM, CRS), "rows by columns; got one of the shape (30,)"),
        ((hill() > 0, TRANSFORM, CRS), "the type bool."),
        ((hill(), "north", CRS), "should be an Affine, or its numbers a, b, c, d, e, f; got 'north'."),
        ((hill(), TRANSFORM, "nowhere"), "should be one that PROJ knows, like EPSG:27700; got 'nowhere'."),
        ((hill(), TRANSFORM, None), "should say its coordinate reference system; it has none."),
        ((hill(), Affine.identity(), CRS), "should say where its cells lie; it has no transform."),
        (NO_CRS, "should say its coordinate reference system; it has none."),
        (labelled(hill()).isel(x=[0, 1, 3, 4]), "The labels of x should be the centres of cells"),
        (labelled(hill(), scale_factor="much"), "array's scale_factor should be a number; got 'much'."),
        (labelled(hill(), missing_value=[1, 2]), "missing_value should be a number; got [1, 2]."),
        (labelled(hill(), units=5), "The height unit should be m, ft or usft; got '5'."),
        (labelled(hill()).rename(x="p"), "should have the dimensions y and x; it has ('y', 'p')."),
    ],
)
def test_what_is_no_model_is_refused_in_a_sentence(wrong: Any, words: str) -> None:
    with pytest.raises(ModelError) as refused:
        steybrae.slopes(wrong)
    assert words in str(refused.value)


def test_a_closed_dataset_is_refused(tmp_path: Path) -> None:
    content = written(tmp_path / "hill.tif", hill()).read_bytes()
    with rasterio.MemoryFile(content) as memory, memory.open() as data:
        model = GivenModel(data, None)
        assert steybrae.slopes(data).unknown_cells == 4 * 29
    with pytest.raises(ModelError, match=r"its dataset was closed\. Keep it open, or give its path"):
        model.opened(Settings()).__enter__()


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: settings_of({"edges_deg": 30}), "Band edges should be a list; got 30."),
        (lambda: settings_of({"edges_deg": "30,40"}), "Band edges should be a list; got '30,40'."),
        (
            lambda: settings_of({"start_slopes_deg": 30}),
            "The slopes of a start zone should be a list; got 30.",
        ),
        (lambda: settings_of({"start_slopes_deg": (30,)}), "should be two, like (30, 55); got (30,)."),
        (lambda: given_line(PLACES, "1km", 25.0), "Places where legs begin should be a list; got '1km'."),
        (lambda: given_line(PLACES, [1000], 25.0), "legs begin should be texts; got (1000,)."),
        (
            lambda: given_line(PLACES, (), -1),
            "tolerance should be above 0 and of a likely size; got '-1m'.",
        ),
        (lambda: steybrae.spacing(-3, scale=25_000, interval_m=10), "got '-3deg'."),
        (
            lambda: steybrae.spacing(float("nan"), scale=25_000, interval_m=10),
            "Slopes should be degrees, or texts like '62%'; got nan.",
        ),
        (lambda: settings_of({"place_error_m": float("nan")}), "position error should be a number; got nan."),
        (lambda: settings_of({"reach_m": 10**400}), "The reach should be a number; got 1000"),
        (
            lambda: steybrae.area("dem.tif", "out", threads=-1),
            "number of threads should be 1 or more; got -1.",
        ),
        (lambda: steybrae.area("dem.tif", "out", threads="two"), "should be 1 or more; got 'two'."),
        (
            lambda: steybrae.area("dem.tif", "out", layers="bands"),
            "layers should be a list; got 'bands'.",
        ),
        (lambda: steybrae.review(None), "Logs should be a list; got None."),
        (
            lambda: steybrae.gap(scale=25_000, interval_m=10, across_mm=12.5, gaps="five"),
            "A count of gaps should be a number; got 'five'.",
        ),
        (lambda: steybrae.slopes((hill(), TRANSFORM, CRS), z_unit=3), "The height unit should be m, ft"),
        (
            lambda: steybrae.card(
                steybrae.screen(PLACES, steybrae.sample().model), "2027-01-15", start=830, zone="UTC"
            ),
            "A clock time should look like 08:30; got '830'.",
        ),
    ],
)
def test_what_is_of_another_kind_is_refused_in_a_sentence(ask: Callable[[], Any], words: str) -> None:
    with pytest.raises(steybrae.SteybraeError) as refused:
        ask()
    assert words in str(refused.value)


def test_rasters_asked_for_twice_are_made_once(tmp_path: Path) -> None:
    path = written(tmp_path / "hill.tif", hill())
    found = steybrae.area(path, tmp_path / "out", layers=["bands", "start_zones", "bands"], overhead=True)
    assert found.outputs == ("bands.tif", "start_zones.tif", "overhead.tif")
    with pytest.raises(TypeError, match="a path is a text or path-like, not NoneType"):
        steybrae.area(path, None)  # type: ignore[arg-type]


def test_one_number_of_an_array_is_one_slope() -> None:
    assert steybrae.spacing(np.array(30.0), scale=25_000, interval_m=10).rows[0].slope_deg == 30.0


def test_a_dataset_of_a_file_closed_before_is_refused(tmp_path: Path) -> None:
    data = rasterio.open(written(tmp_path / "hill.tif", hill()))
    data.close()
    with pytest.raises(ModelError, match=r"its dataset was closed\. Keep it open, or give its path"):
        steybrae.slopes(data)


def test_settings_are_held_to_what_the_options_are() -> None:
    assert settings_of({}) == Settings()
    assert settings_of({"drift_deg": None}) == Settings()
    found = settings_of({"edges_deg": np.array([30, 45]), "place_error_m": np.float32(12.5), "reach_m": 500})
    assert (found.bands.labels, found.place_error_m, found.reach_m) == (("<30", "30-45", "45+"), 12.5, 500.0)
    assert settings_of({"start_slopes_deg": [28, 60]}).start_zones.low_deg == 28.0
    for wrong in (-1, 0, float("nan"), 1e9):
        with pytest.raises(QuantityError):
            settings_of({"vertical_error_m": wrong})
    for key, value in (("drift_deg", 50), ("place_error_m", -1), ("edges_deg", (45, 30)), ("reach_m", 0)):
        with pytest.raises(steybrae.SteybraeError):
            settings_of({key: value})
    for key in ("method", "engine", "model_kind"):
        with pytest.raises(ModelError, match="should be one of"):
            settings_of({key: "best"})
    with pytest.raises(TypeError, match="no keyword 'bands'; there are edges_deg, method"):
        settings_of({"bands": 1})
