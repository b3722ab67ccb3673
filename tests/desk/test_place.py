"""What is under the pointer, and the lines of the user's grid."""

from __future__ import annotations

import dataclasses
import datetime as dt
from types import SimpleNamespace
from typing import Any

import pytest
from starlette.testclient import TestClient

import steybrae
from steybrae.card.settings import CardSettings
from steybrae.desk.about import MOST_LINES, gridlines
from steybrae.desk.guard import RefusedError
from steybrae.desk.opened import Desk
from steybrae.terrain.dem import Grid

VIEW = {"top": "0", "left": "0", "bottom": "700", "right": "900", "zoom": "0"}


def under(client: TestClient, row: float, col: float) -> dict[str, Any]:
    found = client.post("place", json={"row": row, "col": col})
    assert found.status_code == 200
    told: dict[str, Any] = found.json()
    return told


def test_under_the_pointer_is_what_ground_tells_of_the_cell(client: TestClient) -> None:
    told = under(client, 300.5, 500.5)
    there = steybrae.ground((told["lat"], told["lon"]), steybrae.sample().model)
    words = "\n".join(told["lines"])
    assert f"Slope {steybrae.shown_slope_deg(there.slope_deg)}° over 20 m" in words
    assert f"Height {there.elevation_m:.0f} m" in words
    assert "95 % interval" in words
    assert told["written"] == f"{told['lat']:.5f}, {told['lon']:.5f}"


def test_beside_unknown_ground_under_the_pointer_it_is_at_least(client: TestClient) -> None:
    beside = (under(client, 465.5, 600.5 + col)["lines"] for col in range(80))
    edge = next(lines for lines in beside if "nine cells here at least " in " ".join(lines))
    assert edge[1].startswith("Slope at least ")


def test_start_zones_under_the_pointer(client: TestClient) -> None:
    kinds = {
        line for col in range(380, 620, 30) for line in under(client, 240.5, col)["lines"] if "start" in line
    }
    assert {"Start zone", "Possible start zone"} & kinds


def test_unknown_ground_and_off_the_model_are_told_as_unknown(client: TestClient) -> None:
    assert under(client, 465.0, 635.0)["lines"][1].startswith("Slope unknown")
    assert under(client, -0.5, 10.0)["lines"] == ["Off the model: unknown."]
    assert under(client, 700.0, 10.0)["lines"] == ["Off the model: unknown."]


@pytest.mark.parametrize("message", [{}, {"row": 1}, {"row": "a", "col": 1}, {"row": True, "col": 1},
                                     {"row": [1], "col": 2}, {"row": None, "col": 2}])  # fmt: skip
def test_a_place_without_its_numbers(client: TestClient, message: dict[str, Any]) -> None:
    found = client.post("place", json=message)
    assert found.status_code == 400
    assert "a number" in found.json()["refused"]


def test_a_place_nowhere_on_the_earth(client: TestClient) -> None:
    assert client.post("place", json={"row": 1e12, "col": -1e12}).status_code == 422


def with_grid(desk: Desk, grid: str) -> Any:
    card = CardSettings(dt.date(2027, 1, 15), grid=grid)
    return SimpleNamespace(grid=desk.grid, ask=dataclasses.replace(desk.ask, card=card))


@pytest.mark.parametrize(("grid", "label"), [("utm", "50"), ("mgrs", "50"), ("latlon", "59.21°")])
def test_grid_lines_have_the_figures_of_a_reference(desk: Desk, grid: str, label: str) -> None:
    lines = gridlines(with_grid(desk, grid), VIEW)["lines"]
    assert label in {one["label"] for one in lines}
    assert 4 <= len(lines) <= 2 * MOST_LINES


def test_a_grid_line_goes_through_the_places_of_its_number(desk: Desk) -> None:
    """On a model in UTM with cells of 10 m a kilometre is a hundred of them, straight up."""
    grid = Grid((10.0, 0.0, 370_050.0, 0.0, -10.0, 6_567_000.0), "EPSG:32629", (700, 900))
    lines = gridlines(SimpleNamespace(grid=grid, ask=with_grid(desk, "utm").ask), VIEW)["lines"]  # type: ignore[arg-type]
    upright = {one["label"]: one["path"] for one in lines if one["path"][0][1] == one["path"][-1][1]}
    assert {label: path[0][1] for label, path in upright.items()} == {
        f"{71 + k}": pytest.approx(95.0 + 100.0 * k, abs=0.01) for k in range(9)
    }


def test_closer_views_have_closer_lines(desk: Desk) -> None:
    close = {"top": "100", "left": "100", "bottom": "140", "right": "150", "zoom": "4"}
    labels = {one["label"] for one in gridlines(with_grid(desk, "utm"), close)["lines"]}
    assert labels
    assert all(len(label) == 3 for label in labels)


@pytest.mark.parametrize("zoom", ["-1e9", "1e9", "-40", "10"])
def test_absurd_views_have_few_lines(desk: Desk, zoom: str) -> None:
    for grid in ("utm", "latlon", "bng"):
        wild = {"top": "-1e12", "left": "-1e12", "bottom": "1e12", "right": "1e12", "zoom": zoom}
        assert len(gridlines(with_grid(desk, grid), wild)["lines"]) <= 4 * MOST_LINES
    assert gridlines(with_grid(desk, "utm"), VIEW | {"top": "5", "bottom": "5"}) == {"lines": []}


@pytest.mark.parametrize("wrong", ["NaN", "inf", "", "x", "1e13"])
def test_views_that_are_none(desk: Desk, wrong: str) -> None:
    with pytest.raises(RefusedError, match="a number top"):
        gridlines(desk, VIEW | {"top": wrong})


def test_grid_lines_by_their_address(client: TestClient) -> None:
    assert client.get("gridlines", params=VIEW).json()["lines"]
    assert client.get("gridlines").status_code == 400
