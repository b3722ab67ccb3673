"""Whole routes: totals, the JSON contract, lines off the model, the same ground in other CRSs."""

from __future__ import annotations

import json
import math
import warnings
from dataclasses import fields
from itertools import pairwise

import numpy as np
import pyproj
import pytest
import rasterio.transform
import rasterio.warp
from tests.on_grid import model, route_on
from tests.synthetic import GaussianHill, Plane

from steybrae.bands import BandScheme
from steybrae.errors import OffModelError, RouteError
from steybrae.files.model.rasters import open_model
from steybrae.files.results import as_json, json_text, sample_model, sample_route
from steybrae.files.routes import read_route
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.screening import ModelOrigin, RouteScreening, Settings, screen_route
from steybrae.screening.result import Totals
from steybrae.terrain.dem import Dem, Grid

HILL = GaussianHill(300.0, 220.0)
DAY = [(-550.0, -100.0), (0.0, 30.0), (60.0, 250.0), (700.0, 200.0)]  # its last 95 m are off the model

LEG_KEYS = [
    "number",
    "from",
    "to",
    "length_m",
    "ascent_m",
    "descent_m",
    "elevation_min_m",
    "elevation_max_m",
    "slope_max_deg",
    "slope_low_deg",
    "slope_high_deg",
    "slope_max_at",
    "slope_corridor_max_deg",
    "slope_corridor_max_at",
    "track_grade_max_deg",
    "steep_stretch_m",
    "sides",
    "aspect_sectors",
    "band",
    "bands_possible",
    "open_above",
    "band_lengths_m",
    "unknown_m",
    "known_share",
    "cautions",
]
VERDICTS = ("safe", "safely", "go", "no-go", "nogo")


@pytest.fixture(scope="module")
def day() -> RouteScreening:
    dem = model(HILL)
    return screen_route(route_on(dem, DAY, ["Foot", "Top", "Brow", ""]), dem, Settings(interval_m=10.0))


@pytest.fixture(scope="module")
def sample() -> RouteScreening:
    with open_model([sample_model()]) as source:
        info = source.info
        origin = ModelOrigin(
            info.files, info.fingerprints, info.height_unit_m, info.height_unit_from, sample=True
        )
        return screen_route(read_route(sample_route()), source, Settings(origin=origin))


def test_totals_are_sums_and_the_steepest(day):
    legs, totals = day.legs, day.totals
    assert totals.legs == 3
    for name in ("length_m", "ascent_m", "descent_m", "ascent_on_map_m", "unknown_m"):
        assert getattr(totals, name) == pytest.approx(sum(getattr(leg, name) for leg in legs), abs=1e-9)
    for label, metres in totals.band_lengths_m.items():
        assert metres == pytest.approx(sum(leg.band_lengths_m[label] for leg in legs), abs=1e-9)
    assert sum(totals.band_lengths_m.values()) + totals.unknown_m == pytest.approx(totals.length_m, abs=1e-6)
    steepest = max(legs, key=lambda leg: leg.slope_max_deg)
    assert (totals.slope_max_deg, totals.slope_max_leg) == (steepest.slope_max_deg, steepest.number)
    assert totals.band == steepest.band
    beside = max(legs, key=lambda leg: leg.slope_corridor_max_deg)
    assert totals.slope_corridor_max_leg == beside.number
    assert totals.steep_stretch_m == max(leg.steep_stretch_m for leg in legs)
    assert totals.elevation_max_m == max(leg.elevation_max_m for leg in legs)
    assert totals.elevation_min_m == min(leg.elevation_min_m for leg in legs)
    assert totals.ascent_at_least
    assert totals.open_above
    assert totals.known_share == pytest.approx(1.0 - totals.unknown_m / totals.length_m, abs=1e-12)
    highest = max(leg.slope_high_deg for leg in legs)
    assert totals.bands_possible[-1] == BandScheme().band(max(highest, totals.slope_corridor_max_deg))


def test_each_leg_adds_up_and_keeps_its_height_difference(day, sample):
    for leg in (*day.legs, *sample.legs):
        assert sum(leg.band_lengths_m.values()) + leg.unknown_m == pytest.approx(leg.length_m, abs=1e-6)
        heights = leg.points.elevation_m[np.isfinite(leg.points.elevation_m)]
        # Where a leg leaves the known ground its last height lies between two points.
        off_m = 1e-9 if np.isfinite(leg.points.elevation_m[[0, -1]]).all() else 1.0
        assert leg.ascent_m - leg.descent_m == pytest.approx(heights[-1] - heights[0], abs=off_m)
        assert leg.ascent_at_least == bool(np.isnan(leg.points.elevation_m).any())
        assert leg.slope_low_deg <= leg.slope_max_deg <= leg.slope_high_deg
        assert leg.bands_possible[0] == leg.band
        assert 0.0 <= leg.known_share <= 1.0
        assert leg.steep_stretch_m >= 0.0
    for before, after in pairwise(sample.legs):
        assert before.to == after.from_
        assert after.number == before.number + 1


def test_names_of_turn_points(day):
    assert [(leg.from_, leg.to) for leg in day.legs] == [
        ("Foot", "Top"),
        ("Top", "Brow"),
        ("Brow", "point 4"),
    ]


def test_the_json_contract(day, sample):
    for screening in (day, sample):
        found = as_json("route", screening)
        assert (found["schema"], found["command"]) == ("steybrae/1", "route")
        assert {"legs", "totals", "model", "cautions"} <= set(found)
        assert "relief" not in found
        for leg in found["legs"]:
            assert set(LEG_KEYS) <= set(leg)
            assert "points" not in leg
            assert set(leg["sides"]) >= {"left", "right"}
            assert set(leg["slope_max_at"]) == {"lat_deg", "lon_deg", "chainage_m"}
            assert set(leg["band"]) == {"low_deg", "high_deg", "label"}
            assert list(leg["band_lengths_m"]) == list(BandScheme().labels)
            assert all(set(caution) == {"key", "text"} for caution in leg["cautions"])
            assert isinstance(leg["open_above"], bool)
        # The order of the keys asked for is theirs.
        order = [key for key in found["legs"][0] if key in LEG_KEYS]
        assert order == LEG_KEYS
        assert json.loads(json_text("route", screening)) == found


def test_json_is_not_rounded(day):
    found = as_json("route", day)["legs"][0]
    assert found["slope_max_deg"] == day.legs[0].slope_max_deg
    assert round(found["slope_max_deg"], 3) != found["slope_max_deg"]


def test_unknown_is_null_in_json():
    dem = model(Plane(30.0, 90.0), (81, 81))
    off = screen_route(route_on(dem, [(0.0, 0.0), (450.0, 0.0), (900.0, 0.0)]), dem)
    leg = as_json("route", off)["legs"][1]
    for key in [
        "elevation_min_m",
        "elevation_max_m",
        "slope_max_deg",
        "slope_low_deg",
        "slope_high_deg",
        "slope_max_at",
        "slope_corridor_max_deg",
        "slope_corridor_max_at",
        "track_grade_max_deg",
        "band",
    ]:
        assert leg[key] is None
    assert leg["bands_possible"] == []
    assert leg["open_above"] is True
    assert leg["known_share"] == 0.0
    assert leg["unknown_m"] == pytest.approx(450.0, abs=0.01)
    assert "NaN" not in json_text("route", off)


def test_the_steepest_band_has_no_upper_edge():
    dem = model(Plane(60.0, 90.0), (81, 81))
    leg = as_json("route", screen_route(route_on(dem, [(0.0, -200.0), (0.0, 200.0)]), dem))["legs"][0]
    assert leg["band"] == {"low_deg": 55.0, "high_deg": None, "label": "55+"}
    assert leg["bands_possible"] == [leg["band"]]


def test_cautions_always_and_no_verdict(day, sample):
    for screening in (day, sample):
        for cautions in (screening.cautions, *(leg.cautions for leg in screening.legs)):
            assert [caution.key for caution in cautions][:2] == ["forecast", "angle_alone"]
        words = json_text("route", screening).lower().replace('"', " ").replace(",", " ").replace(".", " ")
        assert not set(VERDICTS) & set(words.split())
    assert "sample" in [caution.key for caution in sample.cautions]
    assert "sample" not in [caution.key for caution in day.cautions]


def test_points_have_the_length_of_their_leg(day):
    for leg in day.legs:
        arrays = [getattr(leg.points, field.name) for field in fields(leg.points)]
        assert {array.shape for array in arrays} == {leg.points.chainage_m.shape}
        assert leg.points.chainage_m[-1] == leg.length_m
        known = leg.points.slope_deg[leg.points.known]
        assert known.max() <= leg.slope_max_deg
        assert np.nanmax(leg.points.corridor_deg) == leg.slope_corridor_max_deg
        low, high = leg.points.slope_low_deg[leg.points.known], leg.points.slope_high_deg[leg.points.known]
        assert (low <= known).all()
        # Not known beside unknown ground, where how rough it is is not.
        assert ((high >= known) | np.isnan(high)).all()
        assert np.isfinite(high).mean() > 0.9


LAT_LON = "The line should cross the elevation model; it runs from {} and the model covers {}."


def corners(dem: Dem) -> str:
    rows, cols = dem.grid.shape
    lon, lat = dem.grid.to_wgs84([0, cols, cols, 0], [0, 0, rows, rows])
    return f"latitude {lat.min():.4f} to {lat.max():.4f}, longitude {lon.min():.4f} to {lon.max():.4f}"


def test_a_line_wholly_off_the_model_is_refused():
    dem = model(Plane(20.0, 0.0), (81, 81))
    with pytest.raises(OffModelError) as error:
        screen_route(Route("away", (Place(56.5, -8.0), Place(56.51, -8.0)), (0, 1)), dem)
    assert corners(dem) == "latitude 56.9964 to 57.0036, longitude -9.0067 to -8.9933"
    assert str(error.value) == (
        "The line should cross the elevation model; it runs from 56.5000, -8.0000 and the model "
        "covers latitude 56.9964 to 57.0036, longitude -9.0067 to -8.9933. Give a model of that ground."
    )


def test_latitude_and_longitude_exchanged_are_seen():
    dem = model(Plane(20.0, 0.0), (81, 81))
    with pytest.raises(OffModelError) as error:
        screen_route(Route("turned", (Place(-9.0, 57.0), Place(-9.001, 57.001)), (0, 1)), dem)
    assert str(error.value) == (
        "The line should cross the elevation model; it runs from -9.0000, 57.0000 and the model "
        "covers latitude 56.9964 to 57.0036, longitude -9.0067 to -8.9933. With latitude and longitude "
        "exchanged it would: check their order in the route."
    )


@pytest.mark.parametrize(
    ("start", "end", "crosses"),
    [
        ((-900.0, 100.0), (900.0, 100.0), True),  # both ends outside, 200 m inside
        ((-250.0, 0.0), (10.0, 250.0), False),  # passes the corner outside
        ((-150.0, 0.0), (0.0, 150.0), True),  # cuts the corner
        ((0.0, 0.0), (900.0, 0.0), True),
        ((150.0, -900.0), (150.0, 900.0), False),
    ],
)
def test_a_line_that_crosses_the_model_need_not_turn_on_it(start, end, crosses):
    dem = model(Plane(20.0, 0.0), (21, 21))  # 105 m each way
    route = route_on(dem, [start, end])
    if not crosses:
        with pytest.raises(OffModelError, match=r"^The line should cross the elevation model; .*ground\.$"):
            screen_route(route, dem)
        return
    leg = screen_route(route, dem).legs[0]
    assert leg.unknown_m > 0.0
    assert leg.open_above


def test_a_leg_of_no_length_is_refused():
    dem = model(Plane(20.0, 0.0), (81, 81))
    route = route_on(dem, [(0.0, 0.0), (100.0, 0.0), (100.0, 0.0)], ["A", "Cairn", "Cairn again"])
    with pytest.raises(RouteError) as error:
        screen_route(route, dem)
    assert str(error.value) == (
        "Every leg should have a length; leg 2 (Cairn to Cairn again) starts and ends at one place. "
        "Leave the second out."
    )


@pytest.mark.parametrize(("up_m", "doubtful"), [(0.0, False), (9000.0, True), (-1000.0, True)])
def test_heights_that_no_land_has_are_doubted(up_m, doubtful):
    dem = model(Plane(10.0, 0.0), (81, 81))
    found = screen_route(route_on(dem, [(0.0, -200.0), (0.0, 200.0)]), Dem(dem.grid, dem.heights_m + up_m))
    texts = [caution.text for caution in found.cautions if caution.key == "unit_doubtful"]
    expected = (
        f"Heights along the line run from {up_m - 35:.0f} to {up_m + 35:.0f} m, which no land has: they "
        "may be in feet, decimetres or centimetres. State --z-unit, or bring the model to metres."
    )
    assert texts == ([expected] if doubtful else [])


def test_a_line_steeper_than_anybody_walks_is_doubted():
    dem = model(Plane(70.4, 0.0), (81, 81))
    found = screen_route(route_on(dem, [(-200.0, 0.0), (200.0, 0.0)]), dem)
    assert [caution.text for caution in found.cautions if caution.key == "unit_doubtful"] == [
        "At least half of the line lies on ground of 70 degrees and steeper, where nobody walks: the "
        "heights may be in feet, decimetres or centimetres. State --z-unit, or bring the model to metres."
    ]


def test_a_stated_error_of_a_turn_point_widens_its_leg():
    dem = model(Plane(10.0, 0.0))
    route = route_on(dem, [(0.0, -300.0), (0.0, 0.0), (0.0, 300.0)])
    rough = Place(route.points[1].lat_deg, route.points[1].lon_deg, error_m=71.0)
    found = screen_route(Route("r", (route.points[0], rough, route.points[2]), (0, 1, 2)), dem)
    assert [leg.corridor_half_width_m[0] for leg in found.legs] == [30.0, 71.0]


def test_what_the_answer_rests_on(day):
    assert day.model.cell_size_m == pytest.approx((10.0, 10.0), abs=1e-5)
    assert day.model.corridor_baseline_m == pytest.approx((20.0, 20.0), abs=1e-5)
    assert day.model.method == "horn"
    assert day.model.uncertainty == (
        "95 % interval for pieces of 20 m: what cells of 10.0 m hide, by how rough the model is there, and "
        "the usual worst survey error for 10.0 m cells (1.5 m, 1 SD, correlation 50 m); --model-kind or "
        "--vertical-error would say more."
    )
    assert (day.settings.place_error_m, day.settings.drift_deg, day.settings.reversal_m) == (10.0, 3.0, 5.0)
    assert day.settings.interval_m == 10.0
    assert isinstance(day.totals, Totals)


def reprojected(source: Dem, crs: str) -> Dem:
    """The same heights on a grid of another CRS, bilinear, cells of about the same size."""
    grid = source.grid
    rows, cols = grid.shape
    with warnings.catch_warnings():
        # rasterio's own use of an operator that a newer affine announces to drop.
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        old = rasterio.transform.Affine(*grid.transform)
        left, bottom, right, top = rasterio.transform.array_bounds(rows, cols, old)
        new, width, height = rasterio.warp.calculate_default_transform(
            grid.crs_wkt, crs, cols, rows, left, bottom, right, top
        )
        out = np.full((height, width), np.nan)
        rasterio.warp.reproject(
            source.heights_m.copy(),
            out,
            src_transform=old,
            src_crs=grid.crs_wkt,
            src_nodata=np.nan,
            dst_transform=new,
            dst_crs=crs,
            dst_nodata=np.nan,
            resampling=rasterio.warp.Resampling.bilinear,
        )
    return Dem(Grid((new.a, new.b, new.c, new.d, new.e, new.f), crs, (height, width)), out)


@pytest.fixture(scope="module")
def massif() -> Dem:
    with open_model([sample_model()]) as source:
        return source.read(0, 0, *source.grid.shape)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857"])
def test_the_same_ground_in_another_crs(massif, sample, crs):
    """Resampled heights are a little smoother; what is said of each leg stays nearly the same.

    The default grid in degrees has cells of 8.9 by 17.3 m here, that of Web Mercator 10 by 10 m.
    """
    found = screen_route(read_route(sample_route()), reprojected(massif, crs))
    rows = []
    for own, other in zip(sample.legs, found.legs, strict=True):
        rows.append(
            (
                other.slope_max_deg - own.slope_max_deg,
                other.slope_corridor_max_deg - own.slope_corridor_max_deg,
                other.ascent_m - own.ascent_m,
                other.length_m - own.length_m,
                other.unknown_m - own.unknown_m,
            )
        )
    slope, corridor, ascent, length, unknown = np.abs(np.array(rows)).T
    print(
        f"\n{crs}: largest differences over 19 legs: steepest {slope.max():.2f} (median "
        f"{np.median(slope):.2f}), corridor {corridor.max():.2f} (median {np.median(corridor):.2f}) degrees, "
        f"ascent {ascent.max():.1f} m, unknown {unknown.max():.0f} m, length {length.max():.4f} m"
    )
    assert length.max() < 1e-6  # the line is the same geodesic
    assert np.median(slope) < 0.8
    # Leg 7 runs along a rim 20 m off, which larger or otherwise laid cells reach and ours do not.
    assert np.delete(slope, 6).max() < 4.5
    assert rows[6][0] > 0.0
    assert np.median(corridor) < 1.0
    assert corridor.max() < 5.0
    assert ascent.max() < 6.0
    assert unknown.max() < 30.0
    assert found.totals.length_m == pytest.approx(sample.totals.length_m, abs=1e-6)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:3857", "EPSG:27700", "EPSG:3413"])
def test_an_exact_slope_in_another_crs(crs):
    """A cone sampled at the cells of each CRS itself: no resampling, so no difference left."""
    to_wgs = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    x0, y0 = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(-9.0, 57.0)
    cell = {"EPSG:4326": 1.0 / 9000, "EPSG:3857": 18.3}.get(crs, 10.0)
    shape = (161, 161)
    grid = Grid((cell, 0.0, x0 - 80.5 * cell, 0.0, -cell, y0 + 80.5 * cell), crs, shape)
    x, y = grid.xy(np.arange(161)[None, :] + 0.5, np.arange(161)[:, None] + 0.5)
    lon, lat = to_wgs.transform(*np.broadcast_arrays(x, y))
    east, north = pyproj.Proj("+proj=aeqd +lat_0=57 +lon_0=-9 +datum=WGS84")(lon, lat)
    dem = Dem(grid, -math.tan(math.radians(36.0)) * np.hypot(east, north))
    line = Route("ring", (Place(57.0032, -9.001), Place(57.0029, -8.996)), (0, 1))
    leg = screen_route(line, dem).legs[0]
    # A national grid lies on another datum, some metres aside; the cone's slope is one everywhere.
    assert leg.slope_max_deg == pytest.approx(36.0, abs=0.05)
    assert leg.slope_corridor_max_deg == pytest.approx(36.0, abs=0.05)


@pytest.mark.parametrize("facing_deg", [30.0, 150.0])
def test_a_turned_grid_in_degrees_is_looked_at_as_far_as_any(facing_deg: float) -> None:
    """Its axes are not square: ground of 56 degrees 93 m off stood as "at least 12.3", none to the side."""
    side, cell_deg = 520, 1.0 / 111_412.0
    along = cell_deg * math.sqrt(0.5)
    transform = (along, along, 10.0, along, -along, 60.0)
    col, row = np.meshgrid(np.arange(side) + 0.5, np.arange(side) + 0.5)
    middle = Grid(transform, "EPSG:4326", (side, side)).xy(side / 2, side / 2)
    lon, lat = Grid(transform, "EPSG:4326", (side, side)).xy(col, row)
    per_deg = 111_412.0 * math.cos(math.radians(float(middle[1]))), 111_412.0
    facing = math.radians(facing_deg)
    towards = (lon - middle[0]) * per_deg[0] * math.cos(facing) + (lat - middle[1]) * per_deg[1] * math.sin(
        facing
    )
    heights = 500.0 + 1.5 * np.maximum(towards - 93.0, 0.0)
    dem = Dem(Grid(transform, "EPSG:4326", (side, side)), heights)
    ends = [
        Place(
            float(middle[1]) + off * math.cos(facing) / per_deg[1],
            float(middle[0]) - off * math.sin(facing) / per_deg[0],
        )
        for off in (-15.0, 15.0)
    ]
    found = screen_route(Route("", tuple(ends), (0, 1)), dem, Settings(reach_m=20.0, place_error_m=99.0))
    (leg,) = found.legs
    assert not leg.open_above
    assert leg.slope_corridor_max_deg > 50.0
    nearest = [one.distance_m for one in (*leg.sides.left, *leg.sides.right) if one.least_slope_deg == 30.0]
    assert nearest == [pytest.approx(92.0, abs=2.0)]
