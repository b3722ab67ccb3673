"""The fast kernel against the plain formulas in double precision, and against gdaldem."""

from __future__ import annotations

import math
import subprocess
from collections import Counter
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.testing import assert_allclose, assert_array_equal
from tests.own_units import own_units
from tests.raster.rasters_made import GRIDS, UTM, VOID, cells, mountains, with_voids, write
from tests.synthetic import Plane

from steybrae.bands import DEFAULT_EDGES_DEG
from steybrae.quantities import shown_slope_deg
from steybrae.raster.blocks import block_metric
from steybrae.raster.kernel import STEPS, Kernel
from steybrae.raster.tally import NO_STATE, Pieces, state_sector
from steybrae.terrain.attributes import SECTORS, aspect_deg, slope_field
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.gradients import METHODS
from steybrae.terrain.jacobian import jacobian_field

EDGES = DEFAULT_EDGES_DEG
HIGHEST_DEG = 1e-3
"""How much higher than in double precision a slope may be told, degrees."""

METRIC_DEG = 3e-5
"""What the interpolated metric may move a slope by, degrees."""


def told(found, slope_deg) -> None:
    """Check that slopes are told at most a thousandth higher, lower only so as to keep their tenth, and
    that a reader who rounds them up finds the tenth of double precision."""
    assert_array_equal(np.isnan(found), np.isnan(slope_deg))
    known = ~np.isnan(slope_deg)
    got, slope = found[known].astype(np.float64), slope_deg[known]
    assert (got - slope).min() > -1.0 / STEPS
    assert (got - slope).max() <= HIGHEST_DEG
    same = shown_slope_deg(got) == shown_slope_deg(slope)
    assert near_a_tenth(slope[~same]).all()


def near_a_tenth(slope_deg):
    """Whether the metric may decide on the tenth of a slope."""
    return np.abs(slope_deg - np.round(slope_deg, 1)) < METRIC_DEG


def fast(z, grid: Grid, method="horn", metric="ground", unit_m=1.0, edges=EDGES, tally=False):
    """Slope, tenths and bands of the cells inside the ring, and the counts."""
    shape = (z.shape[0] - 2, z.shape[1] - 2)
    out = {
        "slope": np.empty(shape, np.float32),
        "tenths": np.empty(shape, np.uint16),
        "bands": np.empty(shape, np.uint8),
    }
    pieces = Pieces(len(edges) + 1, 500.0, unit_m, 0.0) if tally else None
    with own_units() if metric == "grid" else nullcontext():
        found = block_metric(grid, (1, 1), shape)
    Kernel(method, edges).fill(np.ascontiguousarray(z), found, unit_m, out, pieces)
    return out, pieces


def plain_bands(slope_deg, edges=EDGES):
    """Bands of slopes in double precision by the one rounding rule, 0 unknown."""
    shown = shown_slope_deg(np.where(np.isnan(slope_deg), 0.0, slope_deg))
    band = 1 + sum((shown >= edge).astype(int) for edge in edges)
    return np.where(np.isnan(slope_deg), 0, band)


def near_an_edge(slope_deg, edges=EDGES, within_deg=METRIC_DEG):
    """Whether the shown slope changes its band within a distance."""
    return np.any([np.abs(slope_deg - (edge - 0.1)) < within_deg for edge in edges], axis=0)


def voided(z):
    out = z.astype(np.float64)
    out[out == VOID] = np.nan
    return out


class TestSlope:
    @pytest.mark.parametrize("method", METHODS)
    @pytest.mark.parametrize("grid", GRIDS)
    def test_it_is_that_of_the_plain_formulas(self, grid: str, method: str) -> None:
        crs, transform = GRIDS[grid]
        z = with_voids(mountains(150, 170))
        dem = Dem(Grid(transform, crs, z.shape), voided(z))
        expected = slope_field(dem, method).slope_deg[1:-1, 1:-1]
        found, _ = fast(dem.heights_m.astype(np.float32), dem.grid, method)
        told(found["slope"], expected)

    @pytest.mark.parametrize("method", METHODS)
    def test_a_plane_has_its_slope_everywhere(self, method: str) -> None:
        grid = Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32632", (20, 30))
        x, y = grid.xy(*np.meshgrid(np.arange(30) + 0.5, np.arange(20) + 0.5))
        for slope_deg in (5.0, 30.0, 35.0, 40.0, 60.0):
            for aspect in range(0, 360, 15):
                z = Plane(slope_deg, aspect).height_m(x, y)
                found, _ = fast(z, grid, method, metric="grid")
                # The tenth, the band and the number itself, of every tenth that is a whole step.
                assert set(found["tenths"].flat) == {round(10 * slope_deg)}
                assert_array_equal(found["slope"], np.float32(slope_deg))

    def test_the_height_above_the_sea_costs_no_precision(self) -> None:
        z = mountains(60, 60, cell_m=1.0) - 1500.0
        low = np.round(z * 64.0) / 64.0  # so that 8000 m more are exact in single precision
        grid = Grid((1.0, *UTM[1:4], -1.0, UTM[5]), "EPSG:32632", z.shape)
        assert_array_equal(
            fast(low.astype(np.float32), grid)[0]["slope"],
            fast((low + 8000).astype(np.float32), grid)[0]["slope"],
        )

    def test_the_height_unit_counts(self) -> None:
        z = mountains(40, 40)
        grid = Grid(UTM, "EPSG:32632", z.shape)
        feet, _ = fast(z.astype(np.float64) / 0.3048, grid, unit_m=0.3048)
        told(feet["slope"], slope_field(Dem(grid, z)).slope_deg[1:-1, 1:-1])

    def test_another_engines_steps_give_the_same(self) -> None:
        from steybrae.terrain.gradients import index_gradients

        z = voided(with_voids(mountains(90, 80)))
        grid = Grid(UTM, "EPSG:32632", z.shape)
        out = {"slope": np.empty((88, 78), np.float32)}
        steps = index_gradients(z)

        def given(first: int, count: int):
            return tuple(np.ascontiguousarray(step[first + 1 : first + 1 + count]) for step in steps)

        metric = block_metric(grid, (1, 1), (88, 78))
        Kernel("horn", EDGES).fill(z.astype(np.float32), metric, 1.0, out, None, given)
        told(out["slope"], slope_field(Dem(grid, z)).slope_deg[1:-1, 1:-1])


class TestUnknown:
    @pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
    @pytest.mark.parametrize("method", METHODS)
    def test_one_unknown_height_makes_nine_cells_unknown(self, method: str, value: float) -> None:
        z = mountains(30, 30)
        z[14, 9] = value
        found, pieces = fast(z, Grid(UTM, "EPSG:32632", z.shape), method, tally=True)
        expected = np.zeros((28, 28), bool)
        expected[12:15, 7:10] = True
        assert_array_equal(np.isnan(found["slope"]), expected)
        assert_array_equal(found["bands"] == 0, expected)
        assert_array_equal(found["tenths"] == 65535, expected)
        assert pieces is not None
        assert pieces.tally().cells[0, 0, NO_STATE] == 9

    def test_nothing_known_is_all_unknown(self) -> None:
        found, pieces = fast(
            np.full((12, 12), np.nan, np.float32), Grid(UTM, "EPSG:32632", (12, 12)), tally=True
        )
        assert (found["bands"] == 0).all()
        assert pieces is not None
        assert dict(pieces.tally().cells) == {(0, 0, NO_STATE): 100}


class TestBands:
    @settings(max_examples=60)
    @given(
        z=hnp.arrays(np.float32, (14, 14), elements=st.floats(-300, 9000, width=32)),
        method=st.sampled_from(METHODS),
        size=st.sampled_from([0.5, 5.0, 30.0, 900.0]),
    )
    def test_they_are_those_of_double_precision(self, z, method, size) -> None:
        grid = Grid((size, 0.0, 400_000.0, 0.0, -size, 5_200_000.0), "EPSG:32632", z.shape)
        slope = slope_field(Dem(grid, z), method).slope_deg[1:-1, 1:-1]
        bands, expected = fast(z, grid, method)[0]["bands"], plain_bands(slope)
        assert near_an_edge(slope)[bands != expected].all()

    def test_on_mountains_they_are_those_of_the_rule_and_of_the_tenths(self) -> None:
        z = voided(with_voids(mountains(400, 400)))
        grid = Grid(UTM, "EPSG:32632", z.shape)
        slope = slope_field(Dem(grid, z)).slope_deg[1:-1, 1:-1]
        found, _ = fast(z.astype(np.float32), grid)
        expected = plain_bands(slope)
        assert near_an_edge(slope)[found["bands"] != expected].all()
        assert len(np.unique(expected)) == 8
        tenths = found["tenths"].astype(int)
        shown = np.round(10.0 * shown_slope_deg(np.where(np.isnan(slope), 6553.5, slope))).astype(int)
        assert near_a_tenth(slope)[tenths != shown].all()
        assert np.mean(tenths == shown) > 0.9999
        of_tenths = np.where(tenths == 65535, 0, 1 + sum(tenths >= 10 * edge for edge in EDGES))
        assert_array_equal(found["bands"], of_tenths)
        assert_array_equal(found["bands"], plain_bands(found["slope"].astype(np.float64)))

    def test_an_edge_between_tenths_is_reached_by_the_tenth_above(self) -> None:
        grid = Grid((10.0, 0.0, 0.0, 0.0, -10.0, 0.0), "EPSG:32632", (9, 9))
        x, y = grid.xy(*np.meshgrid(np.arange(9) + 0.5, np.arange(9) + 0.5))
        for edge in (0.05, 25.0, 27.35, 45.0, 89.9):
            for slope_deg in (edge - 0.1, edge - 0.0999, edge - 1e-8, edge, edge + 1e-8):
                z = Plane(max(slope_deg, 0.0), 77.0).height_m(x, y)
                found, _ = fast(z, grid, metric="grid", edges=(edge,))
                assert set(found["bands"].flat) == {1 + int(shown_slope_deg(max(slope_deg, 0.0)) >= edge)}

    def test_level_ground_is_gentlest_and_zero(self) -> None:
        found, _ = fast(np.full((9, 9), 800.0, np.float32), Grid(UTM, "EPSG:32632", (9, 9)))
        assert set(np.unique(found["bands"])) == {1}
        assert set(np.unique(found["tenths"])) == {0}


class TestMetric:
    @pytest.mark.parametrize("grid", GRIDS)
    def test_it_is_that_of_the_full_jacobian(self, grid: str) -> None:
        crs, transform = GRIDS[grid]
        whole = Grid(transform, crs, (900, 700))
        corner, shape = (300, 100), (500, 600)
        metric = block_metric(whole, corner, shape)
        a, b, c, d = jacobian_field(whole.part(*corner, *shape)).reshape(4, *shape)
        det2 = (a * d - b * c) ** 2
        size = (b**2 + d**2) / det2

        def of(coefficient, default):
            return default if coefficient is None else np.broadcast_to(coefficient.at(0, 500), shape)

        found = of(metric.uu, 0.0)
        assert_allclose(found, size, rtol=1e-5)
        assert_allclose(of(metric.vv, found) / size, (a**2 + c**2) / det2 / size, atol=1e-5)
        assert_allclose(of(metric.uv, 0.0) / size, -2.0 * (a * b + c * d) / det2 / size, atol=1e-5)
        assert_allclose(of(metric.area_m2, 0.0), np.sqrt(det2), rtol=1e-5)

    def test_part_of_the_rows_is_part_of_the_whole(self) -> None:
        crs, transform = GRIDS["degrees"]
        uu = block_metric(Grid(transform, crs, (900, 700)), (100, 0), (700, 700)).uu
        assert_array_equal(uu.at(0, 700)[130:150], uu.at(130, 20))


class TestTally:
    @pytest.mark.parametrize("grid", GRIDS)
    def test_it_counts_what_the_plain_formulas_say(self, grid: str) -> None:
        crs, transform = GRIDS[grid]
        z = with_voids(mountains(300, 200))
        dem = Dem(Grid(transform, crs, z.shape), voided(z))
        field = slope_field(dem)
        facing = aspect_deg(field.p, field.q)[1:-1, 1:-1]
        found, pieces = fast(dem.heights_m.astype(np.float32), dem.grid, tally=True)
        assert pieces is not None
        expected: Counter[tuple[int, int, str | None]] = Counter()
        belts = np.floor(dem.heights_m[1:-1, 1:-1] / 500.0)
        for belt, band, aspect in zip(belts.flat, found["bands"].flat, facing.flat, strict=True):
            sector = None if np.isnan(aspect) else SECTORS[math.floor((aspect + 22.5) / 45.0) % 8]
            expected[(int(belt), int(band), sector) if band else (0, 0, None)] += 1
        counted: Counter[tuple[int, int, str | None]] = Counter()
        for (belt, band, state), number in pieces.tally().cells.items():
            counted[belt, band, state_sector(state) if band else None] += number
        apart = sum(abs(counted[key] - expected[key]) for key in counted | expected)
        # North is that of the middle of a piece: cells within some hundredths of a degree of a
        # sector's edge may fall to the other side.
        assert apart <= 0.002 * z.size
        assert sum(counted.values()) == found["bands"].size
        area = sum(pieces.tally().area_mm2.values()) * 1e-6
        a, b, c, d = jacobian_field(dem.grid).reshape(4, *z.shape)[:, 1:-1, 1:-1]
        assert_allclose(area, np.abs(a * d - b * c).sum(), rtol=1e-6)

    def test_edges_below_level_ground_are_kept_apart(self) -> None:
        z = mountains(80, 80)
        found, pieces = fast(z, Grid(UTM, "EPSG:32632", z.shape), edges=(1.0, 2.0, 40.0), tally=True)
        assert pieces is not None
        counted: Counter[int] = Counter()
        for (_, band, _), number in pieces.tally().cells.items():
            counted[band] += number
        assert [counted[k] for k in range(5)] == np.bincount(found["bands"].flat, minlength=5).tolist()

    def test_each_direction_has_its_sector(self) -> None:
        grid = Grid((10.0, 0.0, 500_000.0, 0.0, -10.0, 5_200_000.0), "EPSG:32632", (12, 12))
        x, y = grid.xy(*np.meshgrid(np.arange(12) + 0.5, np.arange(12) + 0.5))
        for k, sector in enumerate(SECTORS):
            for turn in (-22.0, 0.0, 22.0):
                z = Plane(30.0, 45.0 * k + turn).height_m(x - 500_000.0, y - 5_200_000.0)
                _, pieces = fast(z, grid, tally=True)
                assert pieces is not None
                states = {state_sector(state) for _, _, state in pieces.tally().cells}
                assert states == {sector}


def test_in_the_grids_own_metric_it_is_gdaldem(gdaldem: str, tmp_path: Path) -> None:
    z = with_voids(mountains(300, 260))
    path = write(tmp_path / "z.tif", z)
    subprocess.run([gdaldem, "slope", "-q", path, tmp_path / "s.tif"], check=True)
    theirs = cells(tmp_path / "s.tif").astype(np.float64)
    theirs[theirs == VOID] = np.nan
    ours, _ = fast(voided(z).astype(np.float32), Grid(UTM, "EPSG:32632", z.shape), metric="grid")
    assert_array_equal(np.isnan(ours["slope"]), np.isnan(theirs[1:-1, 1:-1]))
    assert_allclose(ours["slope"], theirs[1:-1, 1:-1], atol=2e-3, rtol=0.0)
