"""``--start-slopes``, ``--start-area`` and ``--reach``: typed, kept, shown, and said where they are "
"milder."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from tests.typed import typed

from steybrae.files.plans import read_plan
from steybrae.terrain.start_zones import StartRules

Run = Callable[..., tuple[int, str, str]]
HERE = "59.2244 -8.0237"
MILDER = ("--start-slopes", "35-50deg", "--start-area", "0.1ha", "--reach", "2km")
LEFT_OUT = (
    "On request less was looked for overhead than usual: start zones from 35 degrees, not 30; none steeper "
    "than 50 degrees, not 55 (steeper ground looks down all the same); pieces from 1000 square metres on, "
    "not "
    "400; within 2 km, not 3. Ground that was left out may slide all the same."
)
USUAL = {"low_deg": 30.0, "high_deg": 55.0, "least_area_m2": 400.0, "baseline_m": 20.0}
pytestmark = pytest.mark.usefixtures("sample_dem", "screened_once")


@cache
def said(*arguments: str) -> str:
    """The words of a command; the same words are not asked for twice."""
    status, out, err = typed(*arguments)
    assert (status, err) == (0, "")
    return " ".join(out.split())


def answer(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(said(*arguments, "--json"))
    return found


def texts(found: dict[str, Any]) -> dict[str, str]:
    return {caution["key"]: caution["text"] for caution in found["cautions"]}


def test_the_route_keeps_and_tells_what_was_asked_for(tmp_path: Path) -> None:
    plan = tmp_path / "plan.zip"
    found = answer("route", "--sample", *MILDER, "--save", str(plan))
    rules = {"low_deg": 35.0, "high_deg": 50.0, "least_area_m2": 1000.0, "baseline_m": 20.0}
    assert found["settings"]["start_zones"] == rules
    assert found["settings"]["reach_m"] == 2000.0
    looks = found["legs"][2]["overhead"]
    assert (looks["start_to_deg"], looks["reach_m"]) == (50.0, 2000.0)
    assert looks["start_from_deg"] == 35.0
    assert 28.0 < looks["possible_from_deg"] < 31.0
    assert texts(found)["overhead_left_out"] == LEFT_OUT

    kept = read_plan(plan)
    assert kept.settings.start_zones == StartRules(**rules)
    assert kept.settings.reach_m == 2000.0
    assert kept.origin is not None
    assert kept.origin.command.endswith(" ".join(MILDER))
    card = answer("card", str(plan), "--date", "2027-01-15")
    assert texts(card)["overhead_left_out"] == LEFT_OUT
    assert [line for line in card["basis"] if line.startswith("Start zones")] == [
        "Start zones: ground of 35.0° to 50.0° over 20 m or two cells, by its slope or the middle of its 95 "
        "% interval, from 1000 m² on, within 2 km; possible start zones: ground that may reach 35° within "
        "its 95 % interval, from about 29° on. Steeper ground counts too."
    ]


def test_without_them_all_is_as_usual() -> None:
    found = answer("route", "--sample")
    assert (found["settings"]["start_zones"], found["settings"]["reach_m"]) == (USUAL, 3000.0)
    assert "overhead_left_out" not in texts(found)
    typed = ("--start-slopes", "30deg-55deg", "--start-area", "400m2", "--reach", "3km")
    assert answer("route", "--sample", *typed) == found


def test_more_careful_ones_are_no_caution_and_see_no_less() -> None:
    usual = answer("ground", HERE, "--sample")
    more = ("--start-slopes", "28-55deg", "--start-area", "100m2", "--reach", "5km")
    found = answer("ground", HERE, "--sample", *more)
    assert "overhead_left_out" not in texts(found)
    assert found["overhead"]["sight"]["unfiltered_deg"] >= usual["overhead"]["sight"]["unfiltered_deg"]


def test_the_small_print_of_the_route() -> None:
    text = said("route", "--sample", "--all")
    assert (
        "Start zones: ground of 30.0° to 55.0° over 20 m or two cells, by its slope or the middle of its 95 "
        "% interval, from 400 m² on, within 3 km; possible start zones: ground that may reach 30° within its "
        "95 % interval, from about 24° on. Steeper ground counts too."
    ) in text
    text = said("route", "--sample", "--all", *MILDER)
    assert "from 1000 m² on, within 2 km; possible start zones: ground that may reach 35°" in text
    assert f"- {LEFT_OUT}" in text


def test_the_small_print_of_a_place() -> None:
    assert answer("ground", HERE, "--sample")["start_zones"] == USUAL
    text = said("ground", HERE, "--sample", *MILDER)
    assert (
        "Start zones: ground of 35.0° to 50.0° over 20 m or two cells, by its slope or the middle of its 95 "
        "% interval, from 1000 m² on, within 2 km; possible start zones: ground that may reach 35° within "
        "its 95 % interval, from about 29° on. Steeper ground counts too."
    ) in text
    assert f"- {LEFT_OUT}" in text


def test_a_stated_error_takes_nothing_off_what_the_cells_lower() -> None:
    text = said("route", "--sample", "--all", "--vertical-error", "0.000001m")
    assert "95 % interval, from about 26° on" in text
    usual = said("route", "--sample", "--all")
    assert "95 % interval, from about 24° on" in usual
    assert "such ground counts as a possible start zone" in usual


def test_a_kind_of_model_reaches_the_answer() -> None:
    found = answer("route", "--sample", "--model-kind", "lidar")
    assert found["settings"]["model_kind"] == "lidar"
    assert "a model of the kind lidar (0.3 m, 1 SD, correlation 20 m)" in found["model"]["uncertainty"]
    usual = answer("route", "--sample")
    widths = [[leg["slope_high_deg"] - leg["slope_low_deg"] for leg in one["legs"]] for one in (found, usual)]
    assert all(narrow < wide for narrow, wide in zip(*widths, strict=True))
    refused = typed("route", "--sample", "--model-kind", "laser")
    assert (refused[0], refused[1]) == (2, "")
    assert refused[2] == (
        "steybrae: The kind of a model should be one of lidar, photogrammetry, contours, glo-30, aw3d-30, "
        "srtm-30, radar-30m; got 'laser'. Choose one.\n"
    )


def test_a_card_made_from_a_route_takes_them_too() -> None:
    card = ("card", "--sample", "--date", "2027-01-15")
    found = answer(*card, *MILDER)
    assert texts(found)["overhead_left_out"] == LEFT_OUT
    assert LEFT_OUT in said(*card, *MILDER, "--all")


@pytest.mark.parametrize("option", [MILDER[:2], MILDER[2:4], MILDER[4:]], ids=" ".join)
def test_a_plan_brings_its_own(run: Run, tmp_path: Path, option: tuple[str, str]) -> None:
    plan = tmp_path / "plan.zip"
    plan.touch()
    assert run("card", str(plan), "--date", "2027-01-15", *option) == (
        2,
        "",
        "steybrae: A saved plan brings its own model, legs and settings; others were given besides. Leave "
        "them "
        "out, or make a new plan.\n",
    )
