"""Ground at a place: exact planes, circles against brute force, unknown ground, crests."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.on_grid import model
from tests.synthetic import Crest, GaussianHill, Plane

from steybrae.answers.ground import ground_lines, places_csv_table, places_document
from steybrae.document import Table
from steybrae.errors import OffModelError, QuantityError
from steybrae.field.agreement import compare_readings
from steybrae.field.readings import ReadingSet
from steybrae.route.positions.places import Place
from steybrae.screening import Settings
from steybrae.screening.ground.at import ground_at, look_around, radius_95_m
from steybrae.screening.ground.overhead import with_above
from steybrae.screening.ground.reading import model_reference
from steybrae.screening.ground.result import GroundAt, GroundPlaces
from steybrae.terrain.attributes import slope_deg
from steybrae.terrain.dem import Array, Dem
from steybrae.terrain.uncertainty import gradient_covariance, slope_interval_deg

HILL = GaussianHill(300.0, 150.0)


def place_at(dem: Dem, col: float, row: float, error_m: float = 0.0) -> Place:
    lon, lat = dem.grid.to_wgs84(col, row)
    return Place(float(lat), float(lon), error_m=error_m)


def with_holes(dem: Dem, *cells: tuple[int, int]) -> Dem:
    heights = dem.heights_m.copy()
    for cell in cells:
        heights[cell] = np.nan
    return Dem(dem.grid, heights)


def keys(ground: GroundAt) -> set[str]:
    return {caution.key for caution in ground.cautions}


@given(slope=st.floats(4.0, 70.0), aspect=st.floats(0.0, 359.0), col=st.floats(55, 65), row=st.floats(55, 65))
def test_a_plane_is_itself_everywhere(slope: float, aspect: float, col: float, row: float) -> None:
    dem = model(Plane(slope, aspect))
    found = ground_at(place_at(dem, col, row), dem, 25.0)
    assert found.slope_deg == pytest.approx(slope, abs=2e-4)
    assert found.within.slope_min_deg == pytest.approx(slope, abs=2e-4)
    assert found.within.slope_median_deg == pytest.approx(slope, abs=2e-4)
    assert found.within.slope_max_deg == pytest.approx(slope, abs=2e-4)
    assert found.within.unknown_share == 0.0
    assert found.aspect_true_deg is not None
    assert abs((found.aspect_true_deg - aspect + 180.0) % 360.0 - 180.0) < 0.02
    east, north = (col - 60.5) * 10.0, (60.5 - row) * 10.0
    height = plane_height_m(slope, aspect, east, north)
    assert found.elevation_m == pytest.approx(height, abs=1e-3)


def plane_height_m(slope: float, aspect: float, east: float, north: float) -> float:
    facing = math.radians(aspect)
    return -math.tan(math.radians(slope)) * (east * math.sin(facing) + north * math.cos(facing))


def test_the_interval_of_a_plane_is_formed_in_gradient() -> None:
    # A plane has no roughness: half a degree of the cells beside the usual survey error of 1.5 m.
    dem = model(Plane(35.0, 200.0))
    found = ground_at(place_at(dem, 60.3, 60.3), dem, 10.0)
    m = math.tan(math.radians(35.0))
    spread = 2.0 * math.sqrt(gradient_covariance("horn", np.diag([10.0, -10.0]), 1.5, 50.0)[0, 0])
    down, up = (abs(math.degrees(math.atan(m + side * spread)) - 35.0) for side in (-1.0, 1.0))
    assert found.slope_low_deg == pytest.approx(35.0 - math.hypot(down, 0.5), abs=5e-4)
    assert found.slope_high_deg == pytest.approx(35.0 + math.hypot(up, 0.5), abs=5e-4)
    assert found.within.slope_low_min_deg == pytest.approx(found.slope_low_deg, abs=2e-4)
    assert found.within.slope_high_max_deg == pytest.approx(found.slope_high_deg, abs=2e-4)
    assert found.baseline_m == pytest.approx(20.0, abs=1e-3)
    assert [band.label for band in found.bands_possible] == ["35-40"]
    assert (found.band.label if found.band else "", found.open_above) == ("35-40", False)


def brute_force(
    dem: Dem, slopes: Array, col: float, row: float, radius_m: float, cell_m: float
) -> list[float]:
    """Slopes of the cells that hold a point of the circle, and of the 3 x 3, one cell at a time."""
    found = []
    rows, cols = slopes.shape
    for j in range(rows):
        for i in range(cols):
            x = min(max(col, i), i + 1) - col
            y = min(max(row, j), j + 1) - row
            touches = math.hypot(x * cell_m, y * cell_m) <= radius_m
            around = abs(i - math.floor(col)) <= 1 and abs(j - math.floor(row)) <= 1
            if touches or around:
                found.append(float(slopes[j, i]))
    return found


@pytest.mark.parametrize("radius_m", [0.0, 1.1, 8.8, 13.7, 25.3, 60.7, 137.1])
@pytest.mark.parametrize(("col", "row"), [(50.5, 44.5), (50.02, 44.98), (47.3, 71.6), (70.1, 40.1)])
def test_the_circle_is_that_of_brute_force(radius_m: float, col: float, row: float) -> None:
    dem = model(HILL)
    slopes = slope_deg(*horn(dem))
    expected = brute_force(dem, slopes, col, row, radius_m, 10.0)
    within = ground_at(place_at(dem, col, row), dem, radius_m).within
    assert within.slope_min_deg == pytest.approx(min(expected), abs=1e-4)
    assert within.slope_median_deg == pytest.approx(float(np.median(expected)), abs=1e-4)
    assert within.slope_max_deg == pytest.approx(max(expected), abs=1e-4)
    assert within.radius_m == radius_m


def horn(dem: Dem) -> tuple[Array, Array]:
    """Weights 1-2-1 over two cells of 10 m, written out."""
    z = dem.heights_m
    p, q = np.full(z.shape, np.nan), np.full(z.shape, np.nan)
    east = z[:-2, 2:] + 2 * z[1:-1, 2:] + z[2:, 2:]
    west = z[:-2, :-2] + 2 * z[1:-1, :-2] + z[2:, :-2]
    north = z[:-2, :-2] + 2 * z[:-2, 1:-1] + z[:-2, 2:]
    south = z[2:, :-2] + 2 * z[2:, 1:-1] + z[2:, 2:]
    p[1:-1, 1:-1], q[1:-1, 1:-1] = (east - west) / 80.0, (north - south) / 80.0
    return p, q


def test_a_circle_smaller_than_a_cell_still_takes_the_3_x_3() -> None:
    dem = model(HILL)
    around = look_around(place_at(dem, 50.5, 44.5), dem, 0.0, Settings())
    inside = around.within(0.0)
    assert inside.sum() == 9
    j, i = math.floor(around.row), math.floor(around.col)
    assert inside[j - 1 : j + 2, i - 1 : i + 2].all()


def test_cells_are_taken_by_their_squares_not_by_their_centres() -> None:
    # From the middle of a cell the second ring begins 15 m away along the axes, where three of
    # its cells are no further than 15.8 m; its corners are 21.2 m away.
    dem = model(HILL)
    inside = look_around(place_at(dem, 50.5, 44.5), dem, 16.0, Settings()).within(16.0)
    assert inside.sum() == 9 + 4 * 3
    assert look_around(place_at(dem, 50.5, 44.5), dem, 22.0, Settings()).within(22.0).sum() == 25


@given(col=st.floats(40, 80), row=st.floats(40, 80), small=st.floats(0, 60), more=st.floats(0, 60))
def test_a_larger_circle_never_makes_the_ground_gentler(
    col: float, row: float, small: float, more: float
) -> None:
    dem = model(HILL)
    place = place_at(dem, col, row)
    near, far = (ground_at(place, dem, radius) for radius in (small, small + more))
    assert far.within.slope_max_deg is not None
    assert near.within.slope_max_deg is not None
    assert far.within.slope_max_deg >= near.within.slope_max_deg - 1e-9
    assert near.slope_deg == pytest.approx(far.slope_deg, abs=1e-6)
    assert near.slope_deg is not None
    assert near.slope_deg <= near.within.slope_max_deg
    assert far.bands_possible[-1].low_deg >= near.bands_possible[-1].low_deg


@pytest.mark.parametrize("bearing_deg", [0.0, 90.0, 45.0, 17.0])
@pytest.mark.parametrize("col", [60.5, 60.0, 60.2])
def test_a_place_on_a_crest_has_the_slope_of_its_flanks_near_it(bearing_deg: float, col: float) -> None:
    # Interpolated, the gradients of both flanks cancel; the height is the crest's.
    dem = model(Crest(40.0, bearing_deg))
    found = ground_at(place_at(dem, col, 60.5), dem, 0.0)
    steepest = found.within.slope_max_deg
    assert steepest is not None
    assert steepest > 29.0 if bearing_deg not in (0.0, 90.0) else steepest > 32.0
    assert found.slope_high_deg is not None
    assert found.slope_high_deg > 25.0
    wide = ground_at(place_at(dem, col, 60.5), dem, 30.0)
    assert wide.within.slope_max_deg == pytest.approx(40.0, abs=1e-3)
    # On the border of two cells rounding says which the place lies in; one of them may be steeper still.
    assert wide.bands_possible[-1].label in ("40-45", "45-55", "55+")


def test_a_crest_faces_nowhere_and_no_sector_is_made_up() -> None:
    dem = model(Crest(40.0, 0.0))
    found = ground_at(place_at(dem, 60.5, 60.5), dem, 10.0)
    assert (found.aspect_true_deg, found.aspect_sector) == (None, None)


# Circular normal law: R95 = R sqrt(ln 0.05 / ln(1 - P)). Exact roots, and the figures in print.
@pytest.mark.parametrize(
    ("percent", "exact", "printed"),
    [
        (50.0, math.sqrt(math.log(20.0) / math.log(2.0)), 2.0789),
        (68.0, math.sqrt(math.log(20.0) / -math.log(0.32)), 1.6215),
        (95.0, 1.0, 1.0),
        (63.21205588285577, math.sqrt(math.log(20.0)), 1.7308),
    ],
)
def test_position_errors_scale_to_95_percent(percent: float, exact: float, printed: float) -> None:
    assert radius_95_m(6.0, percent) == pytest.approx(6.0 * exact, rel=1e-12)
    assert radius_95_m(1.0, percent) == pytest.approx(printed, abs=5e-5)


def test_half_of_the_fixes_is_what_is_assumed() -> None:
    assert radius_95_m(5.0) == radius_95_m(5.0, 50.0)


def test_95_percent_of_simulated_fixes_lie_within() -> None:
    rng = np.random.default_rng(5)
    distance = np.hypot(*rng.normal(0.0, 3.0, (2, 200_000)))
    shown = float(np.quantile(distance, 0.68))
    # Standard error of the share, 0.05 %, and that of the quantile together: 0.2 % is 3 of them.
    assert np.mean(distance <= radius_95_m(shown, 68.0)) == pytest.approx(0.95, abs=0.002)


@pytest.mark.parametrize("percent", [0.0, 100.0, -5.0, 250.0, math.nan])
def test_a_confidence_outside_0_to_100_is_refused(percent: float) -> None:
    message = (
        "The confidence of a position error should lie between 0 and 100 percent; "
        f"got {percent:g}. Receivers use 50, 68 or 95."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        radius_95_m(5.0, percent)


def test_unknown_ground_in_the_circle_is_a_share_and_open_above() -> None:
    # One missing height makes its own 3 x 3 of slopes unknown: 9 of the 25 cells.
    dem = with_holes(model(Plane(20.0, 90.0)), (45, 51))
    found = ground_at(place_at(dem, 50.5, 44.5), dem, 22.0)
    assert found.within.unknown_share == pytest.approx(9.0 / 25.0, abs=1e-12)
    assert found.open_above
    assert found.slope_deg is None
    assert found.within.slope_max_deg == pytest.approx(20.0, abs=2e-4)
    assert found.within.slope_high_max_deg is None
    assert {"unknown_near", "open_above"} <= keys(found)
    beside = ground_at(place_at(dem, 49.5, 44.5), dem, 0.0)
    # Its slope is known; how rough it is there is not.
    assert beside.slope_deg == pytest.approx(20.0, abs=2e-4)
    assert (beside.slope_low_deg, beside.slope_high_deg, beside.open_above) == (None, None, True)


def test_wholly_unknown_ground_has_no_figure_and_no_band() -> None:
    dem = model(Plane(20.0, 90.0))
    dem = Dem(dem.grid, np.full(dem.heights_m.shape, np.nan))
    found = ground_at(place_at(dem, 50.5, 44.5), dem, 20.0)
    assert (found.slope_deg, found.slope_low_deg, found.slope_high_deg, found.band) == (None,) * 4
    assert (found.within.slope_min_deg, found.within.slope_median_deg, found.within.slope_max_deg) == (
        None,
    ) * 3
    assert (found.within.slope_low_min_deg, found.within.slope_high_max_deg) == (None, None)
    assert (found.elevation_m, found.aspect_true_deg, found.bands_possible) == (None, None, ())
    assert found.within.unknown_share == 1.0
    assert found.open_above


def test_the_edge_of_the_model_is_unknown_ground() -> None:
    dem = model(Plane(20.0, 90.0))
    found = ground_at(place_at(dem, 0.5, 60.5), dem, 0.0)
    # The outermost column has no slope, and beyond it there is nothing: 6 of the 9.
    assert found.within.unknown_share == pytest.approx(6.0 / 9.0, abs=1e-12)
    assert found.open_above


@pytest.mark.parametrize(("col", "row"), [(-0.01, 60.0), (121.01, 60.0), (60.0, -0.01), (60.0, 121.01)])
def test_a_place_off_the_model_is_refused_with_what_the_model_covers(col: float, row: float) -> None:
    dem = model(Plane(20.0, 90.0))
    place = place_at(dem, col, row)
    message = (
        rf"^The place should lie on the elevation model; {place.lat_deg:.5f}, {place.lon_deg:.5f} does not\. "
        r"The model covers latitude 56\.9946 to 57\.0054, longitude -9\.0100 to -8\.9900\. "
        r"Give another place, or a model that reaches there\.$"
    )
    with pytest.raises(OffModelError, match=message):
        ground_at(place, dem, 10.0)


@pytest.mark.parametrize("radius_m", [-1.0, 2000.1, math.nan])
def test_a_radius_that_cannot_be_meant_is_refused(radius_m: float) -> None:
    dem = model(Plane(20.0, 90.0))
    message = (
        f"The position error should lie between 0 and 2000 m; got {radius_m:g} m. "
        "Give the place more exactly, or --within."
    )
    with pytest.raises(QuantityError, match=f"^{re.escape(message)}$"):
        ground_at(place_at(dem, 60.0, 60.0), dem, radius_m)


def test_without_a_radius_the_square_of_the_place_counts_and_at_least_10_m() -> None:
    dem = model(Plane(20.0, 90.0))
    place = place_at(dem, 60.0, 60.0)
    assert ground_at(place, dem).within.radius_m == 10.0
    assert ground_at(replace(place, error_m=70.7), dem).within.radius_m == 70.7
    narrow = ground_at(replace(place, error_m=70.7), dem, 10.0)
    assert "place_coarse" in keys(narrow)
    assert "place_coarse" not in keys(ground_at(replace(place, error_m=70.7), dem))


def test_a_model_of_large_cells_is_open_above() -> None:
    dem = model(Plane(33.0, 90.0), (61, 61), 62.0)
    found = ground_at(place_at(dem, 30.5, 30.5), dem, 5.0)
    assert found.slope_low_deg is not None
    assert (found.slope_high_deg, found.open_above) == (None, True)
    assert found.within.slope_high_max_deg is None
    fine = model(Plane(33.0, 90.0), (61, 61), 2.0)
    known = ground_at(place_at(fine, 30.5, 30.5), fine, 5.0, Settings(model_kind="lidar"))
    assert known.slope_high_deg is not None
    assert known.slope_high_deg < 35.5
    assert not known.open_above


def test_the_ends_of_the_circle_are_the_outermost_of_its_cells() -> None:
    dem = model(HILL)
    place = place_at(dem, 50.5, 44.5)
    found = ground_at(place, dem, 60.0)
    around = look_around(place, dem, 60.0, Settings())
    inside = around.within(60.0)
    field = around.field
    low, high = slope_interval_deg(field.p, field.q, around.known, field.roughness_deg)
    assert found.within.slope_low_min_deg == pytest.approx(low[inside].min(), abs=1e-9)
    assert found.within.slope_high_max_deg == pytest.approx(high[inside].max(), abs=1e-9)


def test_a_place_whose_start_zone_is_unknown_says_so_first() -> None:
    """Beside a void the joined cells have no height: nothing was said of start zones, among 40 degrees."""
    dem = with_holes(model(Plane(40.0, 90.0), (121, 121), 5.0), (60, 61), (61, 60))
    place = place_at(dem, 60.5, 60.5)
    settings = Settings(reach_m=20.0)
    found = with_above(ground_at(place, dem, 40.0, settings), place, dem, settings)
    assert found.overhead is None
    assert found.within.slope_max_deg == pytest.approx(40.0, abs=1e-3)
    assert "Whether this place stands in a start zone is unknown." in list(ground_lines(found))[:4]


def test_the_steepest_near_is_at_least_that_where_ground_near_is_unknown() -> None:
    """The table of places had "31.3°  to 35.0°" with half of the circle unknown."""
    dem = with_holes(model(Plane(31.2, 90.0)), (60, 63))
    place = place_at(dem, 60.5, 60.5)
    found = ground_at(place, dem, 25.0)
    assert found.slope_deg is not None
    assert 0.0 < found.within.unknown_share < 1.0
    told = " ".join(ground_lines(found))
    assert "steepest at least 31.2°" in told
    (table,) = (block for block in places_document(GroundPlaces((found,))).blocks if isinstance(block, Table))
    row = {column.key: column.of(found) for column in table.columns}
    assert row["within_slope_max_deg"].text == "at least 31.2°"
    assert row["within_slope_high_max_deg"].text == "unknown"  # the roughness beside a void
    assert row["drop_fall_m"] == "unknown"


def test_a_reading_on_unknown_ground_hears_of_what_is_steep_near_it() -> None:
    """ "Band <25" led at a place of unknown slope in a circle whose known part has 50 degrees and more."""
    dem = with_holes(model(Plane(50.0, 90.0)), (60, 60))
    found = ground_at(place_at(dem, 60.5, 60.5), dem, 60.0)
    assert found.slope_deg is None
    assert found.within.slope_max_deg == pytest.approx(50.0, abs=1e-3)
    result = compare_readings(ReadingSet((20.0,)), [model_reference(found)])
    assert result.sentence == (
        "The steeper figure leads: at least 20.0°, band <25, possibly as steep as 45-55; how much steeper "
        "is not known."
    )


@pytest.mark.parametrize(
    ("deg", "cell", "words"),
    [
        (70.0, "steeper", "on ground steeper than a start zone, and a source: more than 55°."),
        (38.0, "possible", "in a possible start zone: it is steep itself."),
        (29.0, "possible", "in a possible start zone: it may be steep within what is known."),
    ],
)
def test_steep_ground_is_never_said_to_be_possibly_steep(deg: float, cell: str, words: str) -> None:
    """On ground of 70 degrees the answer began "in a possible start zone: ... it may be steep"."""
    dem = model(Plane(deg, 90.0))
    place = place_at(dem, 60.5, 60.5)
    settings = Settings(reach_m=20.0)
    found = with_above(ground_at(place, dem, 10.0, settings), place, dem, settings)
    assert found.overhead is not None
    # As where the cells joined are gentler, or the steep ground is too small to be a zone.
    found = replace(found, overhead=replace(found.overhead, in_start_zone=False, in_possible_zone=True))
    assert f"This place stands {words}" in list(ground_lines(found))
    table = places_csv_table(GroundPlaces((found,)))
    (column,) = (one for one in table.columns if one.key == "in_start_zone")
    assert column.lines(found) == (cell,)
