"""``steybrae route`` as a user runs it: a process, its outputs, its errors."""

from __future__ import annotations

import csv
import json
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
import rasterio.transform
from tests.on_grid import model, route_on
from tests.synthetic import Plane
from tests.typed import typed

from steybrae.bands import BandScheme
from steybrae.files.plans import read_plan

VERDICT = re.compile(r"\b(safe|safely|go|no-go|nogo)\b", re.IGNORECASE)


def steybrae(*arguments: object, status: int = 0) -> tuple[str, str]:
    """Run the command in this process."""
    got, out, err = typed(*arguments)
    assert got == status, err
    return out, err


def steybrae_alone(*arguments: object, status: int = 0) -> tuple[str, str]:
    """Run the command in a process of its own, warnings being errors."""
    done = subprocess.run(
        [
            sys.executable,
            "-W",
            "error",
            "-c",
            "from steybrae.cli.app import main; main()",
            *map(str, arguments),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )
    assert done.returncode == status, done.stderr
    return done.stdout, done.stderr


def refused(*arguments: object, by: Callable[..., tuple[str, str]] = steybrae) -> str:
    """The one line of an error; status 2 and nothing on stdout."""
    out, err = by(*arguments, status=2)
    assert out == ""
    assert "Traceback" not in err
    assert err.endswith("\n")
    assert err.count("\n") == 1
    return err.rstrip("\n")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_while_the_plan_is_written_leaves_nothing(tmp_path: Path, number: signal.Signals) -> None:
    slow = (
        "import time\n"
        "from pathlib import Path\n"
        "packed = Path.write_bytes\n"
        "def slowly(*given):\n"
        "    packed(*given)\n"
        "    print('packed', flush=True)\n"
        "    time.sleep(60)\n"
        "Path.write_bytes = slowly\n"
        "from steybrae.cli.app import main\n"
        "main()"
    )
    command = [sys.executable, "-c", slow, "route", "--sample", "--reach", "20m", "--save"]
    with subprocess.Popen([*command, tmp_path / "plan.zip"], stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "packed\n"
        assert [path.name[:6] for path in tmp_path.iterdir()] == [".plan-"]
        run.send_signal(number)
        assert run.wait(600.0) == 128 + number
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> tuple[Path, dict]:
    """The sample day with every output, and the JSON that it printed."""
    folder = tmp_path_factory.mktemp("outputs")
    out, err = steybrae_alone(
        "route", "--sample", "--json", "--interval", "10m",
        "--csv", folder / "points.csv", "--geojson", folder / "points.geojson", "--save", folder / "plan.zip",
    )  # fmt: skip
    assert err == ""
    return folder, json.loads(out)


def test_the_sample_day(written):
    _, found = written
    assert (found["schema"], found["command"]) == ("steybrae/1", "route")
    assert len(found["legs"]) == 19
    assert found["legs"][0]["from"] == "Hjarnavoe Foot"
    assert found["totals"]["length_m"] == pytest.approx(13_530.0, abs=10.0)
    assert found["model"]["files"] == ["stey_massif.tif"]
    keys = [caution["key"] for caution in found["cautions"]]
    assert keys[:3] == ["forecast", "angle_alone", "sample"]
    gentle = found["legs"][2]  # gentle ground below a headwall
    assert gentle["band"]["label"] == "<25"
    level = found["legs"][16]  # across a steep slope on the level
    assert level["band"]["low_deg"] >= 40.0
    assert level["track_grade_max_deg"] < 11.0
    unknown = found["legs"][17]  # over the patch without heights
    assert unknown["unknown_m"] > 150.0
    assert unknown["open_above"] is True
    for leg in found["legs"]:
        assert sum(leg["band_lengths_m"].values()) + leg["unknown_m"] == pytest.approx(
            leg["length_m"], abs=1e-6
        )


def test_the_sample_by_its_path_is_told_to_be_invented(sample_dem, tmp_path):
    """The commands know it as the library does, whatever its name."""
    same = tmp_path / "district.tif"
    same.write_bytes((sample_dem / "stey_massif.tif").read_bytes())
    for command in (("ground", "59.2234 -8.0712"), ("route", sample_dem / "day.csv")):
        found = json.loads(steybrae(*command, "--dem", same, "--json")[0])
        assert "sample" in [caution["key"] for caution in found["cautions"]]


def test_every_file_holds_the_same_answer(written):
    folder, found = written
    assert sorted(path.name for path in folder.iterdir()) == [
        "plan.zip",
        "points.csv",
        "points.csv.cautions.txt",
        "points.geojson",
    ]
    rows = list(csv.DictReader((folder / "points.csv").read_text(encoding="utf-8").splitlines()))
    assert {int(row["leg"]) for row in rows} == set(range(1, 20))
    for leg in found["legs"]:
        slopes = [
            float(row["slope_deg"]) for row in rows if row["leg"] == str(leg["number"]) and row["slope_deg"]
        ]
        assert max(slopes) <= leg["slope_max_deg"] + 0.1
        assert {row["band"] for row in rows} <= {*BandScheme().labels, "unknown"}
    geojson = json.loads((folder / "points.geojson").read_text(encoding="utf-8"))
    assert geojson["legs"] == found["legs"]
    assert geojson["cautions"] == found["cautions"]
    assert len(geojson["features"]) == len(rows)
    plan = read_plan(folder / "plan.zip")
    assert plan.totals.slope_max_deg == found["totals"]["slope_max_deg"]
    assert [leg.to for leg in plan.legs] == [leg["to"] for leg in found["legs"]]
    assert sum(len(leg.points.chainage_m) for leg in plan.legs) == len(rows)
    cautions = (folder / "points.csv.cautions.txt").read_text(encoding="utf-8")
    assert cautions.startswith("forecast\tThese are angles of ground, not a judgement of it.")


@pytest.mark.parametrize(
    ("option", "name"),
    [
        ("--csv", "points.csv"),
        ("--csv", "points.csv.cautions.txt"),
        ("--geojson", "points.geojson"),
        ("--save", "plan.zip"),
    ],
)
def test_an_existing_file_is_kept(tmp_path, option, name):
    there = tmp_path / name
    there.write_text("mine", encoding="utf-8")
    wanted = tmp_path / name.removesuffix(".cautions.txt")
    assert refused("route", "--sample", option, wanted) == (
        f"steybrae: {there} exists and is not overwritten. Give another name, or --force to replace it."
    )
    assert there.read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [there]


def test_force_replaces(tmp_path):
    there = tmp_path / "points.csv"
    there.write_text("mine", encoding="utf-8")
    steybrae("route", "--sample", "--reach", "20m", "--csv", there, "--force")
    assert there.read_text(encoding="utf-8").startswith("leg,chainage_m,")


def test_the_tables_and_the_cautions():
    out, err = steybrae("route", "--sample", "--all")
    assert err == ""
    text = " ".join(out.split())
    assert "A winter day on Stey Massif (invented) (route, 19 legs, 13.53 km)" in text
    assert "at least" in text
    assert "Metres of each leg in each band (degrees)" in text
    assert "Cautions - These are angles of ground, not a judgement of it." in text
    assert "This is the invented sample massif" in text
    assert not VERDICT.search(out)
    assert max(map(len, out.splitlines())) <= 120


@pytest.fixture
def small(tmp_path) -> tuple[Path, Path]:
    """A plane of 33 degrees as GeoTIFF on the National Grid, and a line over it as CSV."""
    dem = model(Plane(33.0, 90.0), (61, 61))
    raster, line = tmp_path / "plane.tif", tmp_path / "line.csv"
    profile = {"driver": "GTiff", "width": 61, "height": 61, "count": 1, "dtype": "float32"}
    transform = rasterio.transform.Affine(*dem.grid.transform)
    with rasterio.open(raster, "w", crs=dem.grid.crs_wkt, transform=transform, **profile) as out:
        out.write(dem.heights_m.astype(np.float32) + 500.0, 1)
    route = route_on(dem, [(0.0, -150.0), (0.0, 150.0)])
    rows = "".join(f"{place.lat_deg:.9f},{place.lon_deg:.9f}\n" for place in route.points)
    line.write_text("lat,lon\n" + rows, encoding="utf-8")
    return line, raster


def test_ones_own_line_and_model(small):
    line, raster = small
    out, err = steybrae("route", line, "--dem", raster, "--json")
    assert err == ""
    leg = json.loads(out)["legs"][0]
    assert leg["slope_max_deg"] == pytest.approx(33.0, abs=2e-4)  # float32 heights
    assert leg["length_m"] == pytest.approx(300.0, abs=1e-3)
    assert leg["aspect_sectors"] == ["E"]


def test_settings_reach_the_answer(small):
    line, raster = small
    out, _ = steybrae(
        "route", line, "--dem", raster, "--json", "--edges", "20,32,40", "--place-error", "0m",
        "--drift", "0", "--vertical-error", "2m", "--correlation", "0m", "--interval", "15m",
        "--method", "evans", "--z-unit", "ft",
    )  # fmt: skip
    found = json.loads(out)
    assert found["settings"] == {
        "edges_deg": [20.0, 32.0, 40.0],
        "place_error_m": 0.0,
        "drift_deg": 0.0,
        "vertical_error_m": 2.0,
        "correlation_m": 0.0,
        "model_kind": None,
        "model_found": {
            "kinds": [],
            "source_cell_m": None,
            "contours_m": None,
            "rounded_m": None,
            "striped_m": None,
        },
        "interval_m": 15.0,
        "reversal_m": 5.0,
        "start_zones": {"low_deg": 30.0, "high_deg": 55.0, "least_area_m2": 400.0, "baseline_m": 20.0},
        "reach_m": 3000.0,
    }
    assert found["model"]["method"] == "evans"
    assert (found["model"]["height_unit_m"], found["model"]["height_unit_from"]) == (0.3048, "--z-unit")
    # tan(33 degrees) in feet over metres: 11.2 degrees.
    assert found["legs"][0]["slope_max_deg"] == pytest.approx(11.1947, abs=2e-3)


def test_errors_are_one_line(small, tmp_path):
    line, raster = small
    text, folder, empty = tmp_path / "notes.txt", tmp_path / "folder.html", tmp_path / "empty.tif"
    text.write_text("not a raster", encoding="utf-8")
    folder.mkdir()
    empty.touch()
    missing = tmp_path / "none.tif"
    cases = {
        (line,): "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it.",
        ("--dem", raster): (
            "A planned line is needed; none was given. Give a GPX, GeoJSON or CSV file, or --sample."
        ),
        (line, "--dem", missing): (
            f"The elevation model {missing} should be a file; there is none. Check the path."
        ),
        (line, "--dem", empty): (
            f"The elevation model {empty} should hold heights; the file is empty. Get it again."
        ),
        (line, "--dem", text): (
            f"The elevation model {text} should be a GeoTIFF, a VRT, an ASCII grid or another kind that is "
            "read here; it is not, or is damaged. Make a GeoTIFF of it with gdal_translate, or get it again."
        ),
        (line, "--dem", raster, "--drift", "50"): (
            "The drift should lie between 0 and 45 degrees; got 50. Usual is about 3."
        ),
        (line, "--dem", raster, "--method", "best"): (
            "The slope method should be one of horn, zevenbergen-thorne, evans; got 'best'. Choose one."
        ),
        (line, "--dem", raster, "--edges", "30,20"): (
            "Band edges should rise from above 0 to below 90 degrees; got '30,20'. Write them like "
            "25,30,35,40,45,55."
        ),
        (line, "--dem", raster, "--report", folder): (
            f"{folder} should be a file to write; it is a folder. Give a file name."
        ),
        (line, "--dem", raster, "--csv", tmp_path / "no" / "p.csv"): (
            f"The folder {tmp_path / 'no'} should exist to write p.csv there. Make it first."
        ),
    }
    for arguments, message in cases.items():
        assert refused("route", *arguments) == f"steybrae: {message}"
    assert refused("route", line, by=steybrae_alone) == f"steybrae: {cases[line,]}"


def test_a_line_off_the_model_is_one_line_too(small, tmp_path):
    _, raster = small
    away = tmp_path / "away.csv"
    away.write_text("lat,lon\n56.5,-8.0\n56.51,-8.0\n", encoding="utf-8")
    message = refused("route", away, "--dem", raster)
    assert message.startswith(
        "steybrae: The line should cross the elevation model; it runs from 56.5000, -8.0000"
    )
    assert message.endswith("Give a model of that ground.")
    swapped = tmp_path / "swapped.csv"
    swapped.write_text("lat,lon\n-9.0,57.0\n-9.001,57.0\n", encoding="utf-8")
    assert refused("route", swapped, "--dem", raster).endswith(
        "With latitude and longitude exchanged it would: check their order in the route."
    )


def test_no_output_is_left_where_the_screening_fails(small, tmp_path):
    _, raster = small
    away = tmp_path / "away.csv"
    away.write_text("lat,lon\n56.5,-8.0\n56.51,-8.0\n", encoding="utf-8")
    out = tmp_path / "points.csv"
    refused("route", away, "--dem", raster, "--csv", out)
    assert not out.exists()
    assert not list(tmp_path.glob(".*"))
