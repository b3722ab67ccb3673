"""Two engines over a whole raster, the other one replaced by what it is known to do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tests.raster.rasters_made import UTM, cells, mountains, run, with_voids, write

from steybrae.raster import tally
from steybrae.terrain.attributes import slope_field
from steybrae.terrain.dem import Dem, Grid
from steybrae.terrain.gradients import index_gradients


def other_engine(heights_m):
    """Horn in single precision, the centre's height for a missing one, as richdem has it."""
    z = np.pad(heights_m, 1, mode="edge")
    rows, cols = heights_m.shape
    nine = np.stack([z[j : j + rows, i : i + cols] for j in range(3) for i in range(3)])
    filled = np.where(np.isnan(nine), heights_m, nine).astype(np.float32).astype(np.float64)
    a, b, c, d, _, f, g, h, i = filled
    per_col = ((c + 2 * f + i) - (a + 2 * d + g)) / 8
    return per_col + 1e-5, ((g + 2 * h + i) - (a + 2 * b + c)) / 8


@pytest.fixture
def model(tmp_path: Path) -> Path:
    return write(tmp_path / "z.tif", with_voids(mountains(300, 1100)))


def test_it_tells_how_far_they_differ_and_where(model, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tally, "richdem_gradients", other_engine)
    found = run(model.parent / "out", model, cross_check=True)
    check = found.cross_check
    assert check is not None
    slope = cells(model.parent / "out" / "slope.tif")
    assert check.cells == int(np.isfinite(slope).sum())
    z = cells(model).astype(float)
    assert check.only_other_cells == int((np.isnan(slope) & (z != -9999.0)).sum())
    ring = np.pad(np.where(z == -9999.0, np.nan, z), 1, constant_values=np.nan)
    grid = Grid(UTM, "EPSG:32632", z.shape).part(-1, -1, *ring.shape)
    own = slope_field(Dem(grid, ring)).slope_deg
    per_col, per_row = other_engine(ring)
    from steybrae.terrain.attributes import slope_deg
    from steybrae.terrain.jacobian import ground_gradients, jacobian_field

    apart = np.abs(own - slope_deg(*ground_gradients(jacobian_field(grid), per_col, per_row)))
    for percent, deg in check.difference_percentiles_deg.items():
        exact = np.nanpercentile(apart, float(percent), method="inverted_cdf")
        assert exact <= deg * (1 + 1e-9) <= exact * 1.05
    worst = [place for place in check.worst if place.why == "arithmetic"]
    sizes = [abs(place.own_deg - place.other_deg) for place in worst]
    assert_allclose(sizes, np.sort(apart[np.isfinite(apart)])[::-1][:5], rtol=1e-9)
    lonely = [place for place in check.worst if place.why == "void or edge"]
    assert len(lonely) == 5
    assert all(place.own_deg is None for place in lonely)


def test_as_an_engine_it_makes_the_same_rasters(model, monkeypatch: pytest.MonkeyPatch) -> None:
    from steybrae.terrain import engines

    monkeypatch.setattr(engines, "richdem_gradients", lambda z: index_gradients(z, "horn"))
    run(model.parent / "own", model, layers=("slope", "bands", "aspect"))
    found = run(model.parent / "other", model, layers=("slope", "bands", "aspect"), engine="richdem")
    assert found.engine == "richdem"
    for name, off in (("slope", 5e-4), ("bands", 0), ("aspect", 1e-6)):
        assert_allclose(
            cells(model.parent / "other" / f"{name}.tif").astype(float),
            cells(model.parent / "own" / f"{name}.tif").astype(float),
            atol=off,
            rtol=0.0,
        )
