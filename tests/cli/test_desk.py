"""``steybrae desk``: what its options and the file of settings make of the desk that is opened."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer
from tests.conftest import SamplePlan

import steybrae
from steybrae.cli import app
from steybrae.desk import server as desk_server
from steybrae.desk.opened import DeskAsk
from steybrae.files.results import sample_model, sample_route

Run = Callable[..., tuple[int, str, str]]
MODEL = ("--dem", str(sample_model()))


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[DeskAsk]:
    """What desks were opened with, none of which is served."""
    found: list[DeskAsk] = []
    monkeypatch.setattr(desk_server, "serve", lambda ask, *_, **__: found.append(ask))
    monkeypatch.chdir(tmp_path)
    return found


def options(command: str) -> set[tuple[str, str]]:
    group: Any = typer.main.get_command(app.app)
    params = group.get_command(None, command).params
    return {(getattr(one, "rich_help_panel", None) or "", one.opts[0]) for one in params}


def test_all_settings_of_route_are_options_of_the_desk() -> None:
    of_route = {
        name
        for panel, name in options("route")
        if panel not in ("Outputs", "What is printed besides what matters")
    }
    own = {name for _, name in options("desk")}
    assert of_route - own == {"--cross-check", "--shift"}


def test_what_is_typed_reaches_the_desk(run: Run, asked: list[DeskAsk]) -> None:
    line = ("--model-kind", "lidar", "--place-error", "25m", "--drift", "4deg", "--edges", "30,40")
    zones = ("--start-slopes", "28-50deg", "--reach", "2km")
    day = ("--interval", "20m", "--grid", "bng", "--date", "2027-01-15", "--paces", "66")
    assert run("desk", str(sample_route()), *MODEL, *line, *zones, *day) == (0, "", "")
    ask = asked[0]
    assert ask.paths == (sample_model(),)
    settings = ask.settings
    assert (settings.model_kind, settings.place_error_m, settings.drift_deg) == ("lidar", 25.0, 4.0)
    assert settings.bands.edges_deg == (30.0, 40.0)
    assert (settings.start_zones.low_deg, settings.start_zones.high_deg) == (28.0, 50.0)
    assert (settings.reach_m, settings.interval_m) == (2000.0, 20.0)
    assert (ask.card.grid, ask.card.date, ask.card.paces_per_100m) == ("bng", dt.date(2027, 1, 15), 66.0)
    assert len(ask.lines[0].points) == 20


def test_what_stands_in_the_file_of_settings_reaches_the_desk(run: Run, asked: list[DeskAsk]) -> None:
    Path("steybrae.toml").write_text('[map]\ngrid = "bng"\ninterval = "10m"\n\n[line]\ndrift = 5\n', "utf-8")
    with Path("steybrae.toml").open("a", encoding="utf-8") as file:
        file.write("[person]\nflat-kmh = 4.0\n")
    assert run("desk", *MODEL)[0] == 0
    ask = asked[0]
    assert ask.card.flat_kmh == 4.0
    assert (ask.card.grid, ask.settings.interval_m, ask.settings.drift_deg) == ("bng", 10.0, 5.0)
    assert ask.lines == ()
    assert "grid bng" in ask.cautions[0].text
    assert "drift 5" in ask.cautions[0].text


def test_a_desk_begins_with_the_line_of_a_plan(run: Run, asked: list[DeskAsk]) -> None:
    points = [(59.2240, -8.0574), (59.2270, -8.0590), (59.2281, -8.0501)]
    steybrae.screen(points, sample_model(), reach_m=20.0).save("plan.zip")
    assert run("desk", "--plan", "plan.zip", *MODEL)[0] == 0
    (line,) = asked[0].lines
    assert [(point.lat_deg, point.lon_deg) for point in line.points] == [pytest.approx(one) for one in points]
    assert line.turn_points == (0, 1, 2)


def test_of_a_plan_it_takes_the_line_alone_and_the_model_of_the_file_of_settings(
    run: Run, asked: list[DeskAsk], sample_plan: SamplePlan
) -> None:
    Path("mine.tif").write_bytes(sample_model().read_bytes())
    Path("steybrae.toml").write_text('[model]\ndem = "mine.tif"\n')
    assert run("desk", "--plan", str(sample_plan.path)) == (0, "", "")
    assert asked[0].paths == (Path("mine.tif"),)


def test_the_sample_brings_its_day(run: Run, asked: list[DeskAsk]) -> None:
    assert run("desk", "--sample")[0] == 0
    assert asked[0].paths == (sample_model(),)
    assert asked[0].lines[0].name == "A winter day on Stey Massif (invented)"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it."),
        (
            (str(sample_route()), "--plan", "plan.zip", *MODEL),
            "The desk begins with lines or with a saved plan; got both. Leave one out.",
        ),
    ],
)
def test_refusals(run: Run, asked: list[DeskAsk], words: tuple[str, ...], sentence: str) -> None:
    assert run("desk", *words) == (2, "", f"steybrae: {sentence}\n")
    assert asked == []


@pytest.mark.parametrize("package", ["starlette", "uvicorn"])
def test_without_its_packages_one_line_says_what_to_install(
    run: Run, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    for name in [one for one in sys.modules if one.partition(".")[0] == package]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, package, None)
    for name in ("run", "server"):
        monkeypatch.delitem(sys.modules, f"steybrae.desk.{name}", raising=False)
    assert run("desk", *MODEL) == (
        2,
        "",
        "steybrae: The desk needs packages that are not installed. Install them with: pip install "
        "'steybrae[desk]'.\n",
    )
