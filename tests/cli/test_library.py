"""Three days: the library, the command and the page say the same."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from tests.cli.conftest import Run

import steybrae
from steybrae.files.plans import read_plan
from steybrae.pages.report.page import report_page

TURNS = [(59.2240, -8.0574, "Foot"), (59.2270, -8.0590, "Bend"), (59.2290, -8.0560, "Top")]


@dataclass(frozen=True)
class Day:
    """A day as the command is told it, and as the library is."""

    typed: tuple[str, ...]
    line: Any
    model: Any
    how: dict[str, Any]


def table(path: Path, turns: list[tuple[float, float, str]]) -> Path:
    rows = "".join(f"{lat},{lon},{name}\n" for lat, lon, name in turns)
    path.write_text(f"lat,lon,name\n{rows}", "utf-8")
    return path


def in_degrees_and_feet(path: Path) -> Path:
    """A hill of 38 degrees with a hole, in degrees, its heights in feet of which the file says nothing."""
    row, col = np.mgrid[:160, :160]
    east, north = (col - 80.0) * 11.4, (80.0 - row) * 11.14
    heights = (900.0 - np.minimum(np.hypot(east, north) * 0.78, 600.0)) / 0.3048
    heights[60:64, 90:96] = np.nan
    where = Affine(0.0002, 0.0, -8.07, 0.0, -0.0001, 59.24)
    with rasterio.open(
        path, "w", "GTiff", 160, 160, 1, dtype="float64", crs="EPSG:4326", transform=where, nodata=np.nan
    ) as out:
        out.write(heights, 1)
    return path


def day(name: str, folder: Path) -> Day:
    sample = steybrae.sample()
    if name == "sample":
        return Day(("--sample",), sample.line, sample.model, {})
    if name == "every setting":
        line, model = table(folder / "day.csv", TURNS), folder / "model.tif"
        model.write_bytes(sample.model.read_bytes())
        typed = (str(line), "--dem", str(model), "--edges", "30,40", "--place-error", "25m")
        more = (
            "--model-kind",
            "contours",
            "--reach",
            "600m",
            "--interval",
            "10m",
            "--start-slopes",
            "28-60deg",
            *("--bulletin", str(sample.bulletin), "--region", "XX-STEY-01", "--treeline", "600m"),
            *("--at-time", "2027-01-15T09:30Z/2027-01-15T14:00Z", "--forecast-slope", "32"),
            *("--language", "en", "--reduction-angles"),
        )
        how = {"edges_deg": (30, 40), "place_error_m": 25, "model_kind": "contours", "reach_m": 600}
        beside = {"region": "XX-STEY-01", "treeline_m": 600, "forecast_slope_deg": 32, "language": "en"}
        span = dt.datetime(2027, 1, 15, 9, 30, tzinfo=dt.UTC), dt.datetime(2027, 1, 15, 14, tzinfo=dt.UTC)
        today = {"bulletin": sample.bulletin, "at_time": span, "reduction_angles": True}
        return Day(
            (*typed, *more),
            str(line),
            [model],
            {**how, **beside, **today, "interval_m": 10, "start_slopes_deg": (28, 60)},
        )
    turns = [(59.2300, -8.0590, "West"), (59.2338, -8.0515, "Hole"), (59.2300, -8.0470, "East")]
    line, model = table(folder / "day.csv", turns), in_degrees_and_feet(folder / "hill.tif")
    typed = (str(line), "--dem", str(model), "--z-unit", "ft", "--vertical-error", "1m", "--reach", "600m")
    return Day(typed, line, model, {"z_unit": "ft", "vertical_error_m": 1, "reach_m": 600})


@pytest.mark.parametrize("name", ["sample", "every setting", "degrees and feet"])
def test_library_command_and_page_say_the_same(run: Run, tmp_path: Path, name: str) -> None:
    asked = day(name, tmp_path)
    status, out, err = run("route", *asked.typed, "--json", "--save", str(tmp_path / "plan.zip"))
    assert (status, err) == (0, "")
    plan = steybrae.screen(asked.line, asked.model, **asked.how)
    assert plan.to_dict() == json.loads(out)
    saved = read_plan(tmp_path / "plan.zip")
    assert steybrae.Plan(saved).to_dict() == plan.to_dict()
    plan.save(tmp_path / "own.zip")
    # The command that repeats it is known to the command alone.
    own = replace(read_plan(tmp_path / "own.zip"), origin=saved.origin)
    assert report_page(own) == report_page(saved)


def test_an_array_says_what_its_file_says(tmp_path: Path) -> None:
    asked = day("degrees and feet", tmp_path)
    with rasterio.open(asked.model) as data:
        array = (data.read(1), data.transform, data.crs)
    found, whole = (
        steybrae.screen(asked.line, model, **asked.how).to_dict() for model in (array, asked.model)
    )
    for key in ("files", "fingerprints"):
        del found["model"][key], whole["model"][key]
    assert found == whole
    assert whole["totals"]["open_above"]


@pytest.mark.parametrize(
    ("typed", "ask"),
    [
        (
            ("gap", "--scale", "1:25000", "--interval", "10m", "--across", "12.5mm", "--gaps", "5"),
            lambda: steybrae.gap(across_mm=12.5, gaps=5, scale=25_000, interval_m=10),
        ),
        (
            ("spacing", "--scale", "1:50000", "--interval", "10m", "--slope", "30deg", "--slope", "58%"),
            lambda: steybrae.spacing([30, "58%"], scale=50_000, interval_m=10),
        ),
        (
            (
                *("ground", "59.2240 -8.0574", "--within", "20m", "--sample", "--reach", "600m", "--run-out"),
                *("--bulletin", str(steybrae.sample().bulletin), "--region", "XX-STEY-01"),
                *("--at-time", "2027-01-15T09:30Z"),
            ),
            lambda: steybrae.ground(
                "59.2240 -8.0574",
                steybrae.sample().model,
                within_m=20,
                reach_m=600,
                run_out=True,
                bulletin=str(steybrae.sample().bulletin),
                region="XX-STEY-01",
                at_time="2027-01-15T09:30Z",
            ),
        ),
        (
            (
                *("reading", "34deg", "62%", "--down", "33deg", "--scale", "1:25000", "--interval", "10m"),
                *("--across", "3.5mm", "--gaps", "5"),
            ),
            lambda: steybrae.compare(
                [34, "62%"],
                steybrae.gap(across_mm=3.5, gaps=5, scale=25_000, interval_m=10),
                down=33,
            ),
        ),
        (
            ("reading", "--review", str(steybrae.sample().log), "--no-names"),
            lambda: steybrae.review(steybrae.sample().log, names=False),
        ),
    ],
    ids=["gap", "spacing", "ground", "reading", "review"],
)
def test_the_other_answers_say_the_same(run: Run, typed: tuple[str, ...], ask: Any) -> None:
    status, out, err = run(*typed, "--json")
    assert (status, err) == (0, "")
    found = ask()
    assert found.to_dict() == json.loads(out)
    _, printed, _ = run(*typed)
    assert " ".join(str(found).split()) == " ".join(printed.split())


def test_a_check_and_a_card_of_a_saved_plan(run: Run, tmp_path: Path, sample_plan: Any) -> None:
    plan = steybrae.Plan.read(sample_plan.path)
    name = next(one.name for leg in plan.legs for one in leg.expected_readings)
    _, out, _ = run("reading", "40deg", "--plan", str(sample_plan.path), "--check", name, "--json")
    assert steybrae.compare(40, plan.check(name)).to_dict() == json.loads(out)
    day_of = ("--date", "2027-01-15", "--start", "08:30", "--zone", "Europe/London", "--snow", "1.3")
    _, out, _ = run("card", str(sample_plan.path), *day_of, "--grid", "bng", "--scale", "1:25000", "--json")
    card = steybrae.card(
        plan, "2027-01-15", start="08:30", zone="Europe/London", snow=1.3, grid="bng", scale=25_000
    )
    assert card.to_dict() == json.loads(out)


def test_whole_rasters_say_the_same(run: Run, tmp_path: Path) -> None:
    out = ("--out", str(tmp_path / "typed"), "--tenths", "--edges", "30,40")
    _, told, _ = run("area", "--sample", *out, "--json")
    found = steybrae.area(steybrae.sample().model, tmp_path / "called", layers=["tenths"], edges_deg=(30, 40))
    assert found.to_dict() == json.loads(told)
    for name in ("tenths.tif", "table.csv", "table.json"):
        assert (tmp_path / "typed" / name).read_bytes() == (tmp_path / "called" / name).read_bytes()
