"""The ground made ready for a picture: exact on surfaces of known slope, never gentler, true norths."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.on_grid import model, route_on, towards
from tests.pictured import pictured
from tests.synthetic import Crest, GaussianHill, Plane

from steybrae.bands import BandScheme
from steybrae.route.legs import Route
from steybrae.route.positions.places import Place
from steybrae.screening import Settings
from steybrae.screening.pictures.picture import UNKNOWN
from steybrae.screening.pictures.relief import (
    INDEX_EVERY,
    LEAST_GAP_MM,
    MAP_SHAPES_MM,
    MARGIN_SHARE,
    MOST_BINS,
)
from steybrae.terrain.attributes import baseline_cells, slope_field
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.jacobian import cell_size_m

EAST_WEST = [(-300.0, 0.0), (0.0, 0.0), (300.0, 0.0)]


def test_plane_has_one_slope_everywhere_known():
    dem = model(Plane(33.0, 200.0), (301, 301))
    relief = pictured(dem, route_on(dem, EAST_WEST)).relief
    known = relief.slope_deg[np.isfinite(relief.slope_deg)]
    assert known.size > 3_000
    np.testing.assert_allclose(known, 33.0, atol=1e-4)
    assert (relief.cells, relief.thinned) == (1, 1)


def test_map_holds_line_and_corridor_on_the_largest_scale():
    dem = model(Plane(20.0, 0.0), (301, 301))
    for bearing_deg in (0.0, 45.0, 90.0):
        screening = pictured(dem, route_on(dem, towards(bearing_deg, 2000.0)))
        relief = screening.relief
        x0, x1, y0, y1 = relief.extent
        half_m = screening.legs[0].corridor_half_width_m[1]
        leg = relief.legs[0]
        assert leg.x.min() - half_m >= x0
        assert leg.x.max() + half_m <= x1
        assert leg.y.min() - half_m >= y0
        assert leg.y.max() + half_m <= y1
        assert relief.map_mm in MAP_SHAPES_MM
        width_m, height_m = relief.map_mm[0] * relief.scale_denominator / 1000.0, (y1 - y0)
        assert x1 - x0 == pytest.approx(width_m, rel=1e-6)
        assert height_m == pytest.approx(relief.map_mm[1] * relief.scale_denominator / 1000.0, rel=1e-6)
        room = 1.0 - 2.0 * MARGIN_SHARE
        need = (np.ptp(leg.x) + 2 * half_m, np.ptp(leg.y) + 2 * half_m)
        scales = [1000.0 / room * max(need[0] / w, need[1] / h) for w, h in MAP_SHAPES_MM]
        # The next round scale: a ruler can be laid on it.
        assert min(scales) <= relief.scale_denominator * (1.0 + 1e-9) <= 1.34 * min(scales)
        assert relief.scale_denominator % 250.0 == pytest.approx(0.0, abs=1e-6)


def test_lying_page_for_a_line_across_and_standing_for_one_up():
    dem = model(Plane(20.0, 0.0), (301, 301))
    assert pictured(dem, route_on(dem, towards(90.0, 2000.0))).relief.map_mm == MAP_SHAPES_MM[2]
    assert pictured(dem, route_on(dem, towards(0.0, 2000.0))).relief.map_mm == MAP_SHAPES_MM[1]


def test_outside_the_model_is_unknown():
    dem = model(Plane(20.0, 0.0), (61, 61))
    relief = pictured(dem, route_on(dem, EAST_WEST)).relief
    cols = relief.grid.shape[1]
    x, _ = relief.grid.xy(np.arange(cols) + 0.5, np.zeros(cols))
    # Slopes need a ring of neighbours: the outermost cells of the model are unknown too.
    outside = np.abs(x) > 295.0
    assert outside.any()
    assert np.isnan(relief.slope_deg[:, outside]).all()


def test_a_picture_cell_has_the_steepest_of_its_cells(monkeypatch):
    dem = model(Crest(40.0, 0.0), (301, 301), 5.0)
    route = route_on(dem, EAST_WEST)
    whole = pictured(dem, route).relief
    monkeypatch.setattr("steybrae.screening.pictures.relief.MOST_PICTURE_CELLS", 2_000)
    coarse = pictured(dem, route).relief
    k = coarse.cells
    assert k > 2
    rows, cols = coarse.grid.shape
    part = whole.slope_deg[: rows * k, : cols * k]
    inner = (part.shape[0] // k, part.shape[1] // k)
    blocks = part[: inner[0] * k, : inner[1] * k].reshape(inner[0], k, inner[1], k)
    # To the noise of positions in windows that begin elsewhere.
    np.testing.assert_allclose(coarse.slope_deg[: inner[0], : inner[1]], blocks.max(axis=(1, 3)), atol=1e-6)
    assert np.nanmax(coarse.slope_deg) == pytest.approx(np.nanmax(whole.slope_deg), abs=1e-6)


def test_the_map_is_never_gentler_than_the_bands_over_20_m_nor_than_short_pieces():
    rng = np.random.default_rng(5)
    dem = model(GaussianHill(300.0, 250.0), (301, 301), 5.0)
    heights = dem.heights_m + rng.normal(0.0, 1.5, dem.grid.shape)
    heights[150:153, 140:150] = np.nan
    rough = Dem(dem.grid, heights)
    relief = pictured(rough, route_on(rough, EAST_WEST)).relief
    assert relief.cells == 1
    field = slope_field(rough, halves=baseline_cells(*cell_size_m(dem.grid)))
    col, row = (round(float(at)) for at in dem.grid.colrow(*relief.grid.xy(0.0, 0.0)))
    rows, cols = relief.grid.shape
    over_20_m, short = (
        np.pad(part, 400, constant_values=np.nan)[row + 400 :, col + 400 :][:rows, :cols]
        for part in (field.slope_deg, field.short_deg)
    )
    assert (over_20_m > short + 1.0).any()
    np.testing.assert_allclose(relief.slope_deg, np.maximum(over_20_m, short), atol=1e-6)


def test_one_unknown_cell_makes_its_picture_cell_unknown(monkeypatch):
    dem = model(Plane(20.0, 0.0), (301, 301), 5.0)
    heights = dem.heights_m.copy()
    heights[170, 150] = np.nan
    holed = Dem(dem.grid, heights)
    monkeypatch.setattr("steybrae.screening.pictures.relief.MOST_PICTURE_CELLS", 2_000)
    full, relief = (pictured(at, route_on(dem, EAST_WEST)).relief for at in (dem, holed))
    new = np.argwhere(np.isnan(relief.slope_deg) & ~np.isnan(full.slope_deg))
    assert 1 <= len(new) <= 4
    col, row = relief.grid.colrow(*dem.grid.xy(150.5, 170.5))
    assert [math.floor(row), math.floor(col)] in new.tolist()


def test_heights_are_left_out_only_of_large_models(monkeypatch):
    dem = model(GaussianHill(400.0, 250.0), (301, 301), 5.0)
    route = route_on(dem, EAST_WEST)
    monkeypatch.setattr("steybrae.screening.pictures.relief.MOST_MODEL_CELLS", 4_000)
    relief = pictured(dem, route).relief
    assert relief.thinned > 1
    # Thinned heights stay where they are: the hill's top is in the middle still.
    row, col = np.unravel_index(np.nanargmax(relief.heights_m), relief.grid.shape)
    x, y = relief.grid.xy(col + 0.5, row + 0.5)
    assert math.hypot(x, y) <= 5.0 * relief.thinned * relief.cells


@pytest.mark.parametrize("lon", [9.0, 7.2, 11.8])
def test_convergence_is_that_of_the_projection(lon):
    crs = "EPSG:32632"
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, 61.0)
    dem = Dem(Grid((10.0, 0.0, x - 1000.0, 0.0, -10.0, y + 1000.0), crs, (200, 200)), np.zeros((200, 200)))
    route = Route("line", (Place(61.0, lon - 0.001), Place(61.0, lon + 0.001)), (0, 1))
    relief = pictured(dem, route).relief
    told = pyproj.Proj(crs).get_factors(lon, 61.0)
    # PROJ counts the convergence from grid to true, clockwise: grid north lies that far east.
    assert relief.grid_north_true_deg == pytest.approx(told.meridian_convergence, abs=1e-3)
    assert relief.unit_m[0] == pytest.approx(1.0 / told.meridional_scale, rel=1e-6)
    assert relief.projected


def test_degrees_are_told_in_true_metres():
    dem = Dem(Grid((1 / 3600, 0.0, 7.9, 0.0, -1 / 3600, 61.1), "EPSG:4326", (720, 720)), np.zeros((720, 720)))
    route = Route("line", (Place(61.0, 7.99), Place(61.01, 8.01)), (0, 1))
    relief = pictured(dem, route).relief
    geod = pyproj.Geod(ellps="WGS84")
    for k, (dlon, dlat) in enumerate(((0.001, 0.0), (0.0, 0.001))):
        _, _, metres = geod.inv(8.0 - dlon, 61.005 - dlat, 8.0 + dlon, 61.005 + dlat)
        assert relief.unit_m[k] * 0.002 == pytest.approx(metres, rel=1e-6)
    assert not relief.projected
    assert relief.grid_north_true_deg == pytest.approx(0.0, abs=1e-9)


def test_corridor_outline_is_its_half_width_from_the_line():
    dem = model(Plane(20.0, 0.0), (121, 121))
    relief = pictured(dem, route_on(dem, EAST_WEST), Settings(drift_deg=0.0, place_error_m=40.0)).relief
    rows, cols = relief.corridor_grid.shape
    x, y = relief.corridor_grid.xy(*np.meshgrid(np.arange(cols) + 0.5, np.arange(rows) + 0.5))
    beyond = np.hypot(np.maximum(np.abs(x) - 300.0, 0.0), y) - 40.0
    cell_m = relief.corridor_grid.transform[0]
    near = np.abs(beyond) < cell_m
    assert near.sum() > 500
    # Circles one cell apart stand for the strip: at most a hundredth of a cell short of it.
    np.testing.assert_allclose(relief.beyond_corridor_m[near], beyond[near], atol=0.02 * cell_m)
    assert ((relief.beyond_corridor_m < 0.0) == (beyond < 0.0))[np.abs(beyond) > 0.02 * cell_m].all()


def test_light_tells_form_and_not_steepness():
    lit, turned, steeper = (
        pictured(dem, route_on(dem, EAST_WEST)).relief.light
        for dem in (model(Plane(30.0, 315.0)), model(Plane(30.0, 135.0)), model(Plane(55.0, 315.0)))
    )
    assert np.nanmin(lit) > 0.999
    assert np.nanmax(turned) < -0.999
    np.testing.assert_allclose(np.nanmax(lit), np.nanmax(steeper), atol=1e-4)


def test_level_ground_has_no_light():
    dem = model(Plane(0.0, 0.0))
    relief = pictured(dem, route_on(dem, EAST_WEST)).relief
    assert np.nanmax(np.abs(relief.light)) < 1e-9
    assert relief.contours.levels_m == (0.0,)


@given(slope_deg=st.floats(3.0, 70.0), own_m=st.sampled_from([None, 5.0, 10.0, 20.0]))
@settings(max_examples=15, deadline=None)
def test_contours_leave_room_and_keep_to_the_users_interval(slope_deg, own_m):
    dem = model(Plane(slope_deg, 180.0), (61, 61))
    asked = Settings(interval_m=own_m, reach_m=20.0)  # what stands overhead has no contours
    relief = pictured(dem, route_on(dem, [(-200.0, 0.0), (200.0, 0.0)]), asked).relief
    contours = relief.contours
    gap_mm = contours.interval_m / math.tan(math.radians(slope_deg)) / relief.scale_denominator * 1000.0
    assert gap_mm >= LEAST_GAP_MM * (1.0 - 1e-6)
    if own_m is not None:
        assert contours.interval_m == contours.every * own_m
    levels = np.array(contours.levels_m)
    assert levels.min() >= np.nanmin(relief.heights_m)
    assert levels.max() <= np.nanmax(relief.heights_m)
    np.testing.assert_allclose(np.diff(levels), contours.interval_m)
    heavy = {level for level in contours.levels_m if round(level / contours.interval_m) % INDEX_EVERY == 0}
    assert set(contours.index_levels_m) == heavy


def test_bins_of_the_profile_are_never_gentler_than_their_points():
    dem = model(GaussianHill(500.0, 300.0), (601, 601), 2.0)
    screening = pictured(dem, route_on(dem, [(-550.0, -300.0), (100.0, 50.0), (500.0, -500.0)]))
    profile = screening.relief.profile
    assert len(profile.slope_deg) <= MOST_BINS
    assert profile.edges_m[-1] == screening.totals.length_m
    assert (np.diff(profile.edges_m) > 0.0).all()
    start_m = 0.0
    for leg in screening.legs:
        at = np.searchsorted(profile.edges_m, start_m + leg.points.chainage_m, side="right") - 1
        at = np.clip(at, 0, len(profile.slope_deg) - 1)
        assert (profile.slope_deg[at] >= leg.points.slope_deg - 1e-9).all()
        start_m += leg.length_m
    for leg, at_m in zip(screening.legs, profile.steepest_m, strict=True):
        near = (profile.edges_m[:-1] <= at_m) & (profile.edges_m[1:] >= at_m)
        assert profile.slope_deg[near].max() == leg.slope_max_deg
    scheme = BandScheme()
    assert [scheme.index(slope) for slope in profile.slope_deg.tolist()] == profile.band.tolist()


def test_unknown_stretches_of_the_profile():
    dem = model(Plane(20.0, 0.0))
    screening = pictured(dem, route_on(dem, [(-100.0, 0.0), (500.0, 0.0), (900.0, 0.0), (1200.0, 0.0)]))
    profile = screening.relief.profile
    unknown = profile.band == UNKNOWN
    np.testing.assert_array_equal(unknown, np.isnan(profile.slope_deg))
    length_m = np.diff(profile.edges_m)[unknown].sum()
    assert length_m >= screening.totals.unknown_m - 1e-6
    assert length_m <= screening.totals.unknown_m + 25.0
    assert np.isnan(profile.steepest_m[2])
    assert screening.relief.legs[2].steepest is None


def test_arrays_are_read_only():
    dem = model(Plane(20.0, 0.0))
    relief = pictured(dem, route_on(dem, EAST_WEST)).relief
    arrays = (relief.heights_m, relief.slope_deg, relief.light, relief.beyond_corridor_m, relief.profile.band)
    assert not any(array.flags.writeable for array in arrays)
