"""``route`` with several lines, ways off and shifts: what is printed, kept and refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from tests.cli.conftest import Run

from steybrae.files.plans import read_plan
from steybrae.files.results import sample_model

HIGH = [(59.2240, -8.0574), (59.2270, -8.0590), (59.2300, -8.0620)]
LOW = [(59.2240, -8.0574), (59.2262, -8.0640), (59.2300, -8.0620)]
OUT = [(59.2270, -8.0590), (59.2255, -8.0540)]


def gpx(folder: Path, **routes: list[tuple[float, float]]) -> str:
    path = folder / "lines.gpx"
    texts = (
        f"<rte><name>{name.replace('_', ' ')}</name>"
        + "".join(f'<rtept lat="{lat}" lon="{lon}"/>' for lat, lon in places)
        + "</rte>"
        for name, places in routes.items()
    )
    path.write_text(f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{"".join(texts)}</gpx>')
    return str(path)


@pytest.fixture
def several(tmp_path: Path) -> str:
    return gpx(tmp_path, Way_off_to_the_lochan=OUT, High=HIGH, Low=LOW)


ON = ("--dem", str(sample_model()))


def test_lines_stand_beside_the_main_line_in_json(run: Run, several: str, tmp_path: Path) -> None:
    status, out, _ = run("route", several, *ON, "--json", "--shift", "30m")
    found = json.loads(out)
    assert (status, found["command"]) == (0, "route lines")
    assert [line["name"] for line in found["lines"]] == ["High", "Low"]
    assert [way["name"] for way in found["ways_off"]] == ["Way off to the lochan"]
    assert [(one["shift_m"], one["side"]) for one in found["shifts"]] == [
        (30.0, "left"),
        (30.0, "right"),
    ]
    for key, places in (("High", HIGH), ("Low", LOW), ("Way_off_to_the_lochan", OUT)):
        alone = json.loads(run("route", gpx(tmp_path, **{key: places}), *ON, "--json")[1])
        assert alone["command"] == "route"
        (line,) = (
            one for one in (*found["lines"], *found["ways_off"]) if one["name"] == key.replace("_", " ")
        )
        assert {name: line[name] for name in alone["totals"]} == alone["totals"]
        if key == "High":
            for name in set(alone) - {"command"}:
                assert found[name] == alone[name], name


def test_a_time_is_that_of_the_card(run: Run, tmp_path: Path) -> None:
    low = gpx(tmp_path, Low=LOW)
    line = json.loads(run("route", low, low, *ON, "--json")[1])["lines"][1]
    card = json.loads(run("card", low, *ON, "--date", "2027-01-15", "--json")[1])["totals"]
    assert (line["time_min"], line["time_at_least"]) == (card["time_min"], card["time_at_least"])


def test_lines_and_ways_off_and_shifts_have_headings_of_their_own(run: Run, several: str) -> None:
    _, out, _ = run("route", several, *ON, "--shift", "30m", "--shift", "50m")
    heads = [
        out.index(f"\n{head}\n") for head in ("Lines side by side", "Ways off", "The line moved", "Cautions")
    ]
    assert heads == sorted(heads)
    assert "no order of merit" in out
    assert re.search(r"Way off to the lochan: leaves leg 2 at 0 m, 0\.35 km from the start", out)


def test_a_shift_is_told_by_leg_side_and_bands(run: Run) -> None:
    _, out, _ = run("route", "--sample", "--shift", "30m")
    assert re.search(r"^  - leg 7, 30 m left: <25 becomes 55\+", out, re.MULTILINE)


def test_a_plan_keeps_the_main_line_alone(run: Run, several: str, tmp_path: Path) -> None:
    run("route", several, *ON, "--save", str(tmp_path / "several.zip"))
    run("route", gpx(tmp_path, High=HIGH), *ON, "--save", str(tmp_path / "one.zip"))
    one, main = read_plan(tmp_path / "one.zip"), read_plan(tmp_path / "several.zip")
    assert main.totals == one.totals
    assert main.cautions == one.cautions


def test_a_shift_of_nothing_is_refused(run: Run) -> None:
    status, out, err = run("route", "--sample", "--shift", "0m")
    assert (status, out) == (2, "")
    assert (
        err == "steybrae: The shift should be above 0 and of a likely size; got '0m'. Check value and unit.\n"
    )
