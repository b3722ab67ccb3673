"""The picture of the ground at a place, by its content."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.patches import Circle, Polygon

from steybrae.errors import QuantityError
from steybrae.route.places import Place
from steybrae.screening.ground_at import GroundAt, ground_at
from steybrae.show.figures import figure_bytes
from steybrae.show.ground_figure import ground_figure, ground_metadata
from steybrae.show.style import UNKNOWN_HATCH, band_hatch
from steybrae.terrain.dem import Dem
from steybrae.terrain.synthetic import Plane, sample_surface


def ground(slope_deg: float = 33.0, *, void: bool = False, radius_m: float = 25.0) -> GroundAt:
    dem = sample_surface(Plane(slope_deg, 135.0), (41, 41), 10.0)
    if void:
        heights = np.array(dem.heights_m)
        heights[:18, :18] = np.nan
        dem = Dem(dem.grid, heights)
    lon, lat = dem.grid.to_wgs84(20.5, 20.5)
    return ground_at(Place(float(lat), float(lon), written="the middle"), dem, radius_m)


def polygons(found: GroundAt) -> list[Polygon]:
    axes = ground_figure(found).axes[0]
    return [patch for patch in axes.patches if isinstance(patch, Polygon) and patch.get_fill()]


def test_every_cell_has_the_hatch_of_its_band() -> None:
    found = ground(33.0)
    assert found.patch is not None
    assert {patch.get_hatch() for patch in polygons(found) if patch.get_hatch() != UNKNOWN_HATCH} == {
        band_hatch(2)
    }
    assert len(polygons(found)) == found.patch.slope_deg.size


def test_unknown_cells_are_crossed_and_marked() -> None:
    found = ground(33.0, void=True)
    crossed = [patch for patch in polygons(found) if patch.get_hatch() == UNKNOWN_HATCH]
    assert found.patch is not None
    assert len(crossed) == int((found.patch.band < 0).sum()) > 0
    texts = [text.get_text() for text in ground_figure(found).axes[0].texts]
    assert texts.count("?") == int((found.patch.inside & (found.patch.band < 0)).sum()) > 0


def test_slopes_are_written_rounded_up() -> None:
    texts = [text.get_text() for text in ground_figure(ground(33.0)).axes[0].texts]
    numbers = {text for text in texts if text[:1].isdigit()}
    # The UTM grid is 0.04 % smaller than the ground here, so 33 comes out as 32.99 or 33.01: 33.0 or 33.1.
    assert numbers <= {"33.0", "33.1"}
    assert numbers


def test_circle_is_true_to_size_and_downhill_points_there() -> None:
    axes = ground_figure(ground(radius_m=25.0)).axes[0]
    assert {patch.get_radius() for patch in axes.patches if isinstance(patch, Circle)} == {25.0}
    label = next(text for text in axes.texts if text.get_text() == "downhill")
    east, north = label.get_position()
    assert np.degrees(np.arctan2(east, north)) == pytest.approx(135.0, abs=0.1)


def test_cells_lie_where_they_are_on_the_ground() -> None:
    patch = ground().patch
    assert patch is not None
    across = np.hypot(np.diff(patch.edges_east_m[0, :2]), np.diff(patch.edges_north_m[0, :2]))
    assert across[0] == pytest.approx(10.0, rel=5e-4)
    rows, cols = patch.slope_deg.shape
    around = (slice(rows // 2, rows // 2 + 2), slice(cols // 2, cols // 2 + 2))
    assert patch.edges_east_m[around].mean() == pytest.approx(0.0, abs=1e-6)
    assert patch.edges_north_m[around].mean() == pytest.approx(0.0, abs=1e-6)


def test_cautions_are_drawn_and_in_the_metadata() -> None:
    found = ground(void=True)
    words = " ".join(ground_figure(found).texts[0].get_text().split())
    for caution in found.cautions:
        assert caution.text in words
        assert caution.text in ground_metadata(found)["cautions"]
    assert figure_bytes(ground_figure(found), "png", ground_metadata(found)).startswith(b"\x89PNG")


def test_without_cells_it_says_so() -> None:
    with pytest.raises(QuantityError) as error:
        ground_figure(replace(ground(), patch=None))
    assert str(error.value) == (
        "The ground should have its cells for a picture; this result has none. Look at it again."
    )
