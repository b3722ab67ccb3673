"""Surfaces of known slope: the surfaces themselves, and how errors fall with the cell size."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.own_units import grid_slope_field
from tests.synthetic import Cone, Crest, GaussianHill, Plane, Waves, sample_surface

from steybrae.terrain.attributes import slope_deg
from steybrae.terrain.gradients import METHODS, index_gradients

CELLS_M = np.array([8.0, 4.0, 2.0, 1.0])


@pytest.mark.parametrize(
    "surface",
    [Plane(35.0, 250.0), Cone(40.0), GaussianHill(300.0, 200.0), Crest(40.0, 30.0), Waves(20.0, 300.0)],
)
def test_gradients_of_surfaces_are_those_of_their_heights(surface):
    east, north = (values.ravel() for values in np.meshgrid([-310.0, 45.0, 120.0], [-205.0, 33.0, 290.0]))
    h = 0.01
    p = (surface.height_m(east + h, north) - surface.height_m(east - h, north)) / (2 * h)
    q = (surface.height_m(east, north + h) - surface.height_m(east, north - h)) / (2 * h)
    np.testing.assert_allclose(np.broadcast_arrays(*surface.gradient(east, north)), (p, q), atol=1e-7)


def test_surfaces_have_the_slopes_of_their_names():
    east, north = np.array([200.0, 0.0, -120.0]), np.array([0.0, 200.0, 160.0])
    for surface in (Plane(38.0, 77.0), Cone(38.0), Crest(38.0, 45.0)):
        assert slope_deg(*surface.gradient(east, north)) == pytest.approx(38.0, abs=1e-9)
    steepest = math.degrees(math.atan(300.0 / (200.0 * math.sqrt(math.e))))
    assert slope_deg(*GaussianHill(300.0, 200.0).gradient(east, north)) == pytest.approx(steepest, abs=1e-9)


def test_a_plane_falls_towards_its_aspect():
    ahead = Plane(35.0, 135.0).height_m(np.array([70.0]), np.array([-70.0]))
    assert ahead == pytest.approx(-math.tan(math.radians(35.0)) * math.hypot(70.0, 70.0), abs=1e-9)


def rms_error_deg(surface, method, cell_m):
    """Root mean square of the slope's error at eight places round the origin, 300 m off."""
    bearing = np.radians(np.arange(8) * 45.0 + 7.0)
    east, north = 300.0 * np.sin(bearing), 300.0 * np.cos(bearing)
    errors = []
    for x, y in zip(east, north, strict=True):
        col, row = np.meshgrid([-1.0, 0.0, 1.0], [1.0, 0.0, -1.0])
        heights = surface.height_m(x + col * cell_m, y + row * cell_m)
        per_col, per_row = index_gradients(heights, method)
        found = slope_deg(per_col[1, 1] / cell_m, -per_row[1, 1] / cell_m)
        errors.append(float(found - slope_deg(*surface.gradient(x, y))))
    return float(np.sqrt(np.mean(np.square(errors))))


@pytest.mark.parametrize("surface", [Cone(40.0), GaussianHill(300.0, 200.0)], ids=["cone", "hill"])
@pytest.mark.parametrize("method", METHODS)
def test_errors_fall_with_the_square_of_the_cell_size(method, surface):
    errors = np.array([rms_error_deg(surface, method, cell_m) for cell_m in CELLS_M])
    order = np.polyfit(np.log(CELLS_M), np.log(errors), 1)[0]
    print(f"{method} on {surface}: order {order:.4f}, error at 8 m {errors[0]:.5f} deg")
    assert 1.9 < order < 2.1


# A central difference over 2 g keeps the share sin(kg) / (kg), k = 2 pi / wavelength, of a sine
# wave's gradient: derived, not published. On the north-south axis the crossing wave is level, and
# adds the same to all three rows' ends, so that all three methods keep the same.
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("cells_per_wave", "left_deg"), [(4, 28.11), (6, 34.76), (10, 38.13), (20, 39.54)])
def test_cells_flatten_waves_by_the_sinc_of_their_phase(method, cells_per_wave, left_deg):
    g = 10.0
    wave_m = cells_per_wave * g
    waves = Waves(math.tan(math.radians(40.0)) * wave_m / (2 * math.pi), wave_m)
    field = grid_slope_field(sample_surface(waves, (5, 5), g), method)
    phase = 2 * math.pi / cells_per_wave
    kept = math.tan(math.radians(40.0)) * math.sin(phase) / phase
    assert field.p[2, 2] == pytest.approx(kept, abs=1e-12)
    assert field.q[2, 2] == pytest.approx(0.0, abs=1e-12)
    assert field.slope_deg[2, 2] == pytest.approx(left_deg, abs=0.02)
