"""Points typed: references, degrees, bearings and distances; what cannot be read says why."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from pyproj import Geod

from steybrae.desk.lines import typed
from steybrae.desk.opened import Desk
from steybrae.route.bearings import convergence_deg, declination, geodesic
from steybrae.route.positions.places import Place, parse_place

AFTER = {"lat": 59.2234, "lon": -8.0712}


def on_map(desk: Desk, grid: str) -> Any:
    """Give the same desk with another map."""
    return SimpleNamespace(grid=desk.grid, ask=replace(desk.ask, card=replace(desk.ask.card, grid=grid)))


def point(desk: Any, text: str, after: Any = None) -> Place:
    found = typed(desk, {"text": text, "after": after})
    assert "refused" not in found, found
    return Place(found["point"]["lat"], found["point"]["lon"])


@pytest.mark.parametrize("text", ["59.2234, -8.0712", "59 13 24 N 8 04 16 W", "HX 166 712", "29V NF 52 62"])
def test_a_place_is_read_as_the_commands_read_it(desk: Desk, text: str) -> None:
    wanted = parse_place(text)
    found = point(desk, text)
    assert (found.lat_deg, found.lon_deg) == (round(wanted.lat_deg, 7), round(wanted.lon_deg, 7))


def magnetic_deg(desk: Desk) -> float:
    return declination(Place(59.2234, -8.0712), 0.0, desk.ask.card.date).declination_deg


@pytest.mark.parametrize(
    ("text", "turn"),
    [
        ("245 true 600 m", lambda _: 0.0),
        ("245 grid 600m", lambda _: convergence_deg(Place(59.2234, -8.0712), "bng")),
        ("245deg Magnetic 0.6 km", magnetic_deg),
    ],
)
def test_a_bearing_and_a_distance_go_from_the_last_point(desk: Desk, text: str, turn: Any) -> None:
    found = point(on_map(desk, "bng"), text, AFTER)
    lon, lat, _ = Geod(ellps="WGS84").fwd(AFTER["lon"], AFTER["lat"], 245.0 + turn(desk), 600.0)
    assert (found.lat_deg, found.lon_deg) == (pytest.approx(lat, abs=1e-7), pytest.approx(lon, abs=1e-7))
    length_m, _ = geodesic(Place(59.2234, -8.0712), found)
    assert length_m == pytest.approx(600.0, abs=0.02)


def test_a_reference_says_how_far_its_square_leaves_it_open(desk: Desk) -> None:
    found = typed(on_map(desk, "bng"), {"text": "HX 166 712", "after": None})
    assert found["note"] == "Set in the middle of its square: the place lies within 71 m of it."
    assert found["point"]["written"].startswith("HX ")


SAID = {
    ("245 grid 600 m", False): (
        "A bearing and a distance go from the last point; '245 grid 600 m' has none before it. Set one first."
    ),
    ("245 grid 600 m", True): (
        "The grid bearing '245' needs the grid of your map; none was given. Open the desk with --grid, or "
        "give a true or magnetic bearing."
    ),
    ("400 true 600 m", True): (
        "A bearing should look like 099, 99deg or 1760mil and lie between 0 and 360 degrees; got '400'. "
        "Check number and unit."
    ),
    ("245 true 600", True): (
        "The distance takes m, km, ft or usft; got no unit in '600'. Write it like 10m."
    ),
    ("245 true 600 km", True): "The distance should be at most 100 km; got '600 km'. Check its unit.",
    ("", True): None,
    ("up the ridge", True): None,
}


@pytest.mark.parametrize(("given", "said"), SAID.items())
def test_what_cannot_be_read_is_refused_in_a_sentence(
    desk: Desk, given: tuple[str, bool], said: str | None
) -> None:
    found = typed(desk, {"text": given[0], "after": AFTER if given[1] else None})
    assert set(found) == {"refused"}
    assert found["refused"].endswith(".")
    assert said is None or found["refused"] == said
