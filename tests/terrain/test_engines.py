"""richdem as a second engine: the same slopes where both know them, unknown where ours is unknown."""

from __future__ import annotations

import builtins
import os
from typing import Any

import numpy as np
import pytest
from tests.own_units import grid_slope_field
from tests.synthetic import Cone, Plane, sample_surface

from steybrae.errors import MissingExtraError, ModelError
from steybrae.screening.cross_check import cross_check
from steybrae.terrain.engines import check_engine, engine_gradients, richdem_gradients
from steybrae.terrain.gradients import index_gradients


def test_names() -> None:
    assert check_engine("own", "evans") == "own"
    assert check_engine("richdem", "horn") == "richdem"
    with pytest.raises(ModelError) as error:
        check_engine("other", "horn")
    assert str(error.value) == "The engine should be one of own, richdem; got 'other'. Choose one."
    with pytest.raises(ModelError) as error:
        check_engine("richdem", "evans")
    assert str(error.value) == (
        "The engine richdem computes the method horn only; got 'evans'. Use --engine own for it."
    )


def test_own_is_our_own() -> None:
    assert engine_gradients("own") is index_gradients


def test_missing_package_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def refuse(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "richdem":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(MissingExtraError) as error:
        richdem_gradients(np.zeros((3, 3)))
    assert str(error.value) == (
        "The engine richdem needs the optional package richdem; it is not installed. "
        "DEVELOPERS.md tells how to build it, or use --engine own."
    )


class TestWithRichdem:
    """Needs the optional package; CI builds it in an environment of its own and demands it."""

    @pytest.fixture(autouse=True)
    def needs_richdem(self) -> None:
        if not os.environ.get("STEYBRAE_DEMAND_RICHDEM"):
            pytest.importorskip("richdem", reason="the optional package richdem is not installed here")

    def test_published_window(self) -> None:
        # The widely reprinted 3 x 3 grid of GIS handbooks, cell 5: dz/dx 0.05, dz/dy (southwards) -3.8.
        window = np.array([[50.0, 45, 50], [30, 30, 30], [8, 10, 10]])
        per_col, per_row = richdem_gradients(window)
        assert per_col[1, 1] / 5 == pytest.approx(0.05, abs=1e-6)
        assert per_row[1, 1] / 5 == pytest.approx(-3.8, abs=1e-6)

    @pytest.mark.parametrize("aspect", [0.0, 45.0, 100.0, 270.0])
    def test_planes(self, aspect: float) -> None:
        dem = sample_surface(Plane(35.0, aspect), (9, 9), 10.0)
        found = grid_slope_field(dem, engine="richdem").slope_deg
        # richdem holds slopes and aspects in single precision.
        np.testing.assert_allclose(found[1:-1, 1:-1], 35.0, atol=2e-5)
        assert np.isnan(found[0]).all()

    def test_unknown_where_ours_is(self) -> None:
        heights = np.array(sample_surface(Cone(40.0), (60, 50), 5.0).heights_m)
        heights[20, 30] = heights[41:44, 10] = np.nan
        own = index_gradients(heights, "horn")
        other = engine_gradients("richdem")(heights, "horn")
        np.testing.assert_array_equal(np.isnan(own[0]), np.isnan(other[0]))
        np.testing.assert_allclose(own[0], other[0], atol=2e-6)
        np.testing.assert_allclose(own[1], other[1], atol=2e-6)

    def test_level_ground_has_no_gradient(self) -> None:
        per_col, per_row = richdem_gradients(np.full((5, 5), 7.0))
        assert not per_col.any()
        assert not per_row.any()

    def test_cross_check_tells_edges_and_voids(self) -> None:
        dem = sample_surface(Plane(35.0, 90.0), (30, 30), 10.0)
        heights = np.array(dem.heights_m)
        heights[12, 12] = np.nan
        holed = type(dem)(dem.grid, heights)
        found = cross_check([(holed, (0, 0)), (holed, (0, 0))])
        assert found.cells == 28 * 28 - 9  # each cell once, though its window came twice
        assert found.only_other_cells == 8
        assert found.difference_percentiles_deg["100"] < 2e-5
        assert [place.why for place in found.worst] == ["arithmetic"] * 5 + ["void or edge"] * 5
        lowest = min(place.other_deg for place in found.worst if place.own_deg is None)
        assert lowest < 34.9  # the centre's height for a missing one flattens

    def test_nothing_is_printed(self, capfd: pytest.CaptureFixture[str]) -> None:
        richdem_gradients(np.random.default_rng(1).normal(size=(50, 50)))
        assert capfd.readouterr() == ("", "")
