"""The picture of the ground at a place, by its content."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.text import Annotation
from tests.synthetic import Plane, sample_surface

from steybrae.errors import QuantityError
from steybrae.figures.ground_figure import ground_figure, ground_metadata
from steybrae.figures.route_figure import figure_bytes
from steybrae.figures.style import UNKNOWN_HATCH, band_hatch
from steybrae.route.positions.places import Place
from steybrae.screening.ground.at import ground_at
from steybrae.screening.ground.result import GroundAt
from steybrae.terrain.dem import Dem


def ground(slope_deg: float = 33.0, *, void: bool = False, radius_m: float = 25.0) -> GroundAt:
    dem = sample_surface(Plane(slope_deg, 135.0), (41, 41), 10.0)
    if void:
        heights = np.array(dem.heights_m)
        heights[:18, :18] = np.nan
        dem = Dem(dem.grid, heights)
    lon, lat = dem.grid.to_wgs84(20.5, 20.5)
    return ground_at(Place(float(lat), float(lon), written="the middle"), dem, radius_m)


def drawn(figure: Figure) -> dict[str, PathPatch]:
    """What is filled, by hatch."""
    axes = figure.axes[0]
    return {patch.get_hatch() or "": patch for patch in axes.patches if isinstance(patch, PathPatch)}


def area_m2(patch: PathPatch) -> float:
    """Of all the four-sided figures of a path, by the cross product of their diagonals."""
    corners = patch.get_path().vertices.reshape(-1, 5, 2)
    (ax, ay), (bx, by) = (corners[:, 2] - corners[:, 0]).T, (corners[:, 3] - corners[:, 1]).T
    return float(np.abs(ax * by - ay * bx).sum() / 2.0)


def hill(radius_m: float, *, cell_m: float, size: int) -> GroundAt:
    """Rough ground with a void, cells of every band."""
    dem = sample_surface(Plane(33.0, 135.0), (size, size), cell_m)
    heights = dem.heights_m + np.random.default_rng(1).normal(0.0, 0.3 * cell_m, (size, size))
    heights[: size // 3, : size // 3] = np.nan
    dem = Dem(dem.grid, heights)
    lon, lat = dem.grid.to_wgs84(size / 2, size / 2)
    return ground_at(Place(float(lat), float(lon), written="the middle"), dem, radius_m)


def test_every_cell_has_the_hatch_of_its_band_and_none_is_left_out() -> None:
    found = hill(25.0, cell_m=10.0, size=41)
    patch, filled = found.patch, drawn(ground_figure(found))
    assert patch is not None
    cells = {band_hatch(k): int((patch.band == k).sum()) for k in range(len(patch.labels))}
    cells[UNKNOWN_HATCH] = int((patch.band < 0).sum())
    assert sum(cells.values()) == patch.band.size
    cell_m2 = 100.0 * 1.0004**2
    assert {hatch: area_m2(shape) for hatch, shape in filled.items()} == pytest.approx(
        {hatch: many * cell_m2 for hatch, many in cells.items() if many}, rel=1e-3
    )
    # The middle of each cell lies in the path of its band and in no other.
    north_west = np.stack((patch.edges_east_m, patch.edges_north_m), axis=-1)
    middles = ((north_west[:-1, :-1] + north_west[1:, 1:]) / 2.0).reshape(-1, 2)
    for hatch, shape in filled.items():
        corners = shape.get_path().vertices.reshape(-1, 5, 2)
        low, high = corners.min(axis=1), corners.max(axis=1)
        inside = ((middles[:, None] > low) & (middles[:, None] < high)).all(axis=2).any(axis=1)
        expected = UNKNOWN_HATCH if hatch == UNKNOWN_HATCH else hatch
        names = [UNKNOWN_HATCH if band < 0 else band_hatch(band) for band in patch.band.ravel()]
        assert inside.tolist() == [name == expected for name in names]


def test_unknown_cells_are_crossed_and_marked() -> None:
    found = ground(33.0, void=True)
    assert found.patch is not None
    assert UNKNOWN_HATCH in drawn(ground_figure(found))
    texts = [text.get_text() for text in ground_figure(found).axes[0].texts]
    assert texts.count("?") == int((found.patch.inside & (found.patch.band < 0)).sum()) > 0


@pytest.fixture(scope="module")
def fine() -> tuple[GroundAt, Figure]:
    """A circle of 120 m on cells of 1 m, and its picture."""
    found = hill(120.0, cell_m=1.0, size=301)
    return found, ground_figure(found)


def test_fine_cells_are_a_few_paths_not_one_each(fine: tuple[GroundAt, Figure]) -> None:
    found, figure = fine
    assert found.patch is not None
    assert found.patch.band.size > 50_000
    axes = figure.axes[0]
    assert len(axes.patches) <= len(found.patch.labels) + 1 + 8
    assert len(axes.collections) == 1
    words = figure.texts[0].get_text()
    assert "Dashed: circle of 120 m; cells inside the full line count towards it; + the place." in words


def test_the_full_line_runs_round_the_cells_that_count(fine: tuple[GroundAt, Figure]) -> None:
    (line,) = (each for each in fine[1].axes[0].collections if isinstance(each, LineCollection))
    ends = np.array(line.get_segments()).reshape(-1, 2)
    from_place_m = np.hypot(ends[:, 0], ends[:, 1])
    assert 119.0 < from_place_m.min() <= from_place_m.max() < 121.5


def test_more_cells_than_can_be_seen_are_drawn_together_never_gentler() -> None:
    found = hill(310.0, cell_m=1.0, size=651)
    figure = ground_figure(found)
    patch, filled = found.patch, drawn(figure)
    assert patch is not None
    assert patch.band.shape == (649, 649)
    band = np.pad(patch.band, (0, 1), mode="edge").reshape(325, 2, 325, 2)
    together = np.where(band.min(axis=(1, 3)) < 0, -1, band.max(axis=(1, 3)))
    sides = np.append(np.full(324, 2.0), 1.0)
    sizes_m2 = np.outer(sides, sides) * 1.0004**2
    expected = {
        UNKNOWN_HATCH if value < 0 else band_hatch(value): float(sizes_m2[together == value].sum())
        for value in np.unique(together).tolist()
    }
    assert {hatch: area_m2(shape) for hatch, shape in filled.items()} == pytest.approx(expected, rel=1e-3)
    words = figure.texts[0].get_text()
    assert (
        "Each square stands for 2 x 2 cells of the model: unknown where one of them is, else of the band of "
        "the steepest."
    ) in " ".join(words.split())


def test_slopes_are_written_rounded_up() -> None:
    texts = [text.get_text() for text in ground_figure(ground(33.0)).axes[0].texts]
    numbers = {text for text in texts if text[:1].isdigit()}
    # The UTM grid is 0.04 % smaller than the ground here, so 33 comes out as 32.99 or 33.01: 33.0 or 33.1.
    assert numbers <= {"33.0", "33.1"}
    assert numbers


def test_slopes_stand_over_the_arrows_and_under_what_those_say() -> None:
    """The slope of the place itself had stood under the arrow downhill."""
    axes = ground_figure(ground(33.0)).axes[0]
    layers = {text.get_text(): text.get_zorder() for text in axes.texts}
    arrows = max(text.arrow_patch.get_zorder() for text in axes.texts if isinstance(text, Annotation))
    assert arrows < min(at for text, at in layers.items() if text[:1].isdigit()) < layers["downhill"]


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
