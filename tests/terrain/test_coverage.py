"""The cells' share of the interval holds real ground that is finer than the model."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from tests.benchmarks.leg_coverage import STATED, copy_of, legs_on
from tests.real_ground import Fine, Floats, Made, california, fine_model, pairs, slope_over, tyrol

from steybrae.terrain.cell_share import cell_share_deg, roughness_deg
from steybrae.terrain.examine.found import found_in, joined, marks_of
from steybrae.terrain.gradients import index_gradients, plane_gradients
from steybrae.terrain.uncertainty import slope_interval_deg, slope_uncertainty

CLASSES_DEG = (20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 55.0)


@pytest.mark.parametrize("made", ["means", "points"])
@pytest.mark.parametrize(
    ("factor", "baseline_m", "width_deg"), [(2, 20.0, 6.5), (4, 20.0, 12.5), (6, 20.0, 17.5), (6, 50.0, 9.0)]
)
def test_the_ends_hold_five_alpine_slopes_in_every_class_and_fifth(
    shared_data: Path, factor: int, baseline_m: float, width_deg: float, made: Made
) -> None:
    fines = tyrol(shared_data / "terrain")
    inside, width = _hold(fines, factor, baseline_m, made)
    assert inside.min() >= 0.93
    assert np.median(width) <= width_deg


@pytest.mark.parametrize("made", ["means", "points"])
@pytest.mark.parametrize(("factor", "baseline_m"), [(2, 4.0), (2, 20.0), (5, 20.0), (10, 20.0)])
def test_the_ends_hold_hills_of_fine_cells(
    shared_data: Path, factor: int, baseline_m: float, made: Made
) -> None:
    inside, width = _hold([california(shared_data / "terrain")], factor, baseline_m, made)
    assert inside.min() >= 0.93
    assert np.median(width) <= 7.0


def _hold(fines: list[Fine], factor: int, baseline_m: float, made: Made) -> tuple[Floats, Floats]:
    """Share held of each model; at least nine tenths of every class and fifth is asserted here."""
    found = [pairs(one, factor, baseline_m, made) for one in fines]
    model, truth, rough = (
        np.concatenate([getattr(one, name) for one in found])
        for name in ("model_deg", "truth_deg", "roughness_deg")
    )
    down, up = cell_share_deg(model, rough, factor * fines[0].cell_m, baseline_m)
    inside = (truth >= model - down) & (truth <= model + up)
    for number in (
        np.searchsorted(CLASSES_DEG, model, side="right"),
        np.searchsorted(np.quantile(rough, [0.2, 0.4, 0.6, 0.8]), rough),
    ):
        for k in np.unique(number):
            if (number == k).sum() >= 200:
                assert inside[number == k].mean() >= 0.9
    ends = np.cumsum([len(one.model_deg) for one in found])[:-1]
    return np.array([part.mean() for part in np.split(inside, ends)]), down + up


@pytest.mark.parametrize("made", ["means", "points"])
@pytest.mark.parametrize(("factor", "width_deg"), [(2, 10.5), (4, 25.5), (6, 31.0)])
def test_the_ends_of_legs_hold_the_steepest_on_their_lines_on_every_slope(
    shared_data: Path, factor: int, width_deg: float, made: Made
) -> None:
    widths, held = [], []
    for seed, fine in enumerate(tyrol(shared_data / "terrain")):
        copy = copy_of(fine, factor, made)
        _, high_deg = copy.ends(**STATED["cells alone"])
        held += [
            leg.truth_deg[2] <= high_deg[leg.row, leg.col].max()
            for leg in islice(legs_on(copy, 100.0, seed), 60)
        ]
        ends = copy.ends(kind="lidar")
        told = np.array(
            [(*leg.truth_deg, *leg.ends(*ends)) for leg in islice(legs_on(copy, 500.0, seed), 60)]
        )
        line, middle, ground, low, high = told.T
        assert np.mean(line > high) <= 0.025
        assert np.mean(middle < low) <= 0.025
        assert np.mean(ground > high) <= 0.1
        widths.append(high - low)
    assert np.median(np.concatenate(widths)) <= width_deg
    # All ground of a short leg's cells, by the cells alone: 89 % at 10 m once, on point samples.
    assert np.mean(held) >= 0.94


@pytest.mark.parametrize("apart", [2.3, 3.2, 4.0])
@pytest.mark.parametrize("number", [0, 2, 4])
def test_ground_drawn_between_points_is_rarely_steeper_than_its_upper_end(
    shared_data: Path, number: int, apart: float
) -> None:
    """Of lidar drawn anew between 1 in 5 to 1 in 16 of its heights 5 to 24 % lay above, untold."""
    fine = tyrol(shared_data / "terrain")[number].heights_m[60:376, 60:376]
    known = np.argwhere(np.isfinite(fine))
    some = known[np.random.default_rng(number).random(len(known)) < apart**-2.0]
    cells = np.moveaxis(np.indices(fine.shape), 0, -1)
    drawn = np.where(np.isnan(fine), np.nan, LinearNDInterpolator(some, fine[tuple(some.T)])(cells))
    found = found_in(joined([marks_of(drawn[k : k + 192, 60:252], (5.0, 5.0)) for k in (0, 120)]), (5.0, 5.0))
    ends = slope_uncertainty("horn", np.diag([5.0, -5.0]), kind="lidar", found=found)
    p, q = (step / 5.0 for step in plane_gradients(drawn, 2, 2))
    rough = roughness_deg(np.degrees(np.arctan(np.hypot(*index_gradients(drawn)) / 5.0)))
    low, high = slope_interval_deg(p, -q, ends, rough)
    above = (slope_over(fine, 5.0, 20.0) > high)[np.isfinite(high) & np.isfinite(slope_over(fine, 5.0, 20.0))]
    assert found.source_cell_m == pytest.approx(5.0 * apart, rel=0.25)
    assert above.mean() <= 0.02
    assert np.nanmedian(high - low) <= 6.0 * apart


def test_a_constant_of_the_same_median_width_holds_less_of_steep_ground(shared_data: Path) -> None:
    """Why roughness: what is too wide on smooth ground is too narrow on the roughest."""
    one = pairs(fine_model(shared_data / "terrain" / "tyrol_1_5m.tif"), 6, 20.0, "means")
    down, up = cell_share_deg(one.model_deg, one.roughness_deg, 30.0, 20.0)
    roughest = one.roughness_deg >= np.quantile(one.roughness_deg, 0.8)
    off = (one.truth_deg - one.model_deg)[roughest]
    constant = (off >= -np.median(down)) & (off <= np.median(up))
    own = (off >= -down[roughest]) & (off <= up[roughest])
    assert own.mean() > constant.mean() + 0.05


def test_roughness_of_a_plane_is_nought_and_of_a_fold_is_known() -> None:
    assert roughness_deg(np.full((4, 5), 31.0))[1:-1, 1:-1] == pytest.approx(0.0)
    fold = np.tile([10.0, 20.0, 40.0], (3, 1))
    # Three neighbours 10 below, three 20 above, two level with it.
    assert roughness_deg(fold)[1, 1] == pytest.approx(np.sqrt((3 * 100.0 + 3 * 400.0) / 8.0))


def test_roughness_needs_all_nine_slopes() -> None:
    slope = np.arange(25.0).reshape(5, 5)
    slope[1, 1] = np.nan
    known = np.isfinite(roughness_deg(slope))
    assert np.argwhere(known).tolist() == [[1, 3], [2, 3], [3, 1], [3, 2], [3, 3]]
    assert np.isnan(roughness_deg(np.ones((2, 9)))).all()


@pytest.mark.parametrize("cell_m", [1.0, 5.0, 10.0, 20.0, 30.0, 40.0])
def test_the_share_is_continuous_in_cell_baseline_and_slope(cell_m: float) -> None:
    for baseline_m in (max(2.0 * cell_m, 2.0), 20.0, 50.0):
        here = np.array(cell_share_deg(30.0, 4.0, cell_m, baseline_m))
        for cell, baseline in ((cell_m - 1e-6, baseline_m), (cell_m, baseline_m + 1e-6)):
            assert np.array(cell_share_deg(30.0, 4.0, cell, baseline)) == pytest.approx(here, abs=1e-4)
    slopes = np.linspace(0.0, 89.0, 8901)
    for end in cell_share_deg(slopes, 4.0, cell_m, 20.0):
        assert np.abs(np.diff(end)).max() < 0.02


def test_larger_cells_and_rougher_ground_are_known_less() -> None:
    by_cell = np.array([cell_share_deg(33.0, 3.0, cell, 20.0) for cell in np.linspace(1.0, 80.0, 400)])
    assert (np.diff(by_cell, axis=0) >= 0.0).all()
    by_rough = np.array([cell_share_deg(33.0, rough, 25.0, 20.0) for rough in np.linspace(0.0, 20.0, 50)])
    assert (np.diff(by_rough, axis=0) > 0.0).all()


def test_steep_ground_is_known_less_from_40_to_50_degrees() -> None:
    down = cell_share_deg([20.0, 40.0, 45.0, 50.0, 70.0], 4.0, 10.0, 20.0)[0]
    assert down == pytest.approx([4.5, 4.5, 4.5 * 1.15, 4.5 * 1.3, 4.5 * 1.3])


def test_unknown_roughness_leaves_both_ends_unknown() -> None:
    assert np.isnan(cell_share_deg(30.0, np.nan, 10.0, 20.0)).all()
    assert np.isnan(cell_share_deg(np.nan, 3.0, 10.0, 20.0)).all()
