"""``steybrae area --overhead`` as a user runs it: rasters, words, JSON, picture, a kill, a bad option."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import time
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from numpy.testing import assert_array_equal
from PIL import Image
from tests.cli.test_area import COMMAND, VERDICT, area, area_alone
from tests.raster.rasters_made import cells, mountains, rough_mountains, with_voids, write

OPTIONS = ("--overhead", "--vertical-error", "1m", "--correlation", "100m")


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("model") / "hills.tif", with_voids(rough_mountains(350, 450)))


@pytest.fixture(scope="module")
def made(model: Path) -> tuple[Path, str]:
    return model.parent / "out", area_alone("--dem", model, "--out", model.parent / "out", *OPTIONS)


def test_the_text_says_what_counts_and_how_much_lies_under_what(made: tuple[Path, str]) -> None:
    folder, out = made
    text = " ".join(out.split())
    assert "Written: slope.tif, bands.tif, bands_possible.tif, overhead.tif, start_zones.tif." in text
    assert (
        "km2 by slope and overhead path angle none none known 18-20 20-25 25-30 30-35 35-40 40-45 45+" in text
    )
    assert "Start zones: Slopes of 30 to 55 degrees over 20 m or of which the middle of the 95 %" in text
    assert "from 400 m2; steeper ground is a source as well. Possible ones may reach 30 degrees" in text
    over = json.loads((folder / "table.json").read_text(encoding="utf-8"))["overhead"]
    zones = {row["value"]: row for row in over["start_zone_values"]}
    for value, name in ((2, "possible start zone"), (3, "start zone"), (4, "steeper than a start zone")):
        told = re.search(rf" {name} {value} (\d+) (\d+) ([\d.]+) %", text)
        assert told is not None
        assert int(told[1]) == zones[value]["cells"]
        assert 0.0 <= int(told[2]) - zones[value]["m2"] < 1.0
        assert 0.0 <= float(told[3]) - 100.0 * zones[value]["share"] < 0.1
        assert zones[value]["m2"] == pytest.approx(1e6 * zones[value]["km2"])
    assert "possible start zones, short pieces and unknown ground are none" in text
    assert "it does not predict how far snow will run" in text
    assert not VERDICT.search(text)
    readme = " ".join((folder / "README.txt").read_text(encoding="utf-8").split())
    assert 'read their angles as "at least" (100 more in overhead.tif).' in readme
    assert "start_zones.tif: 1 is neither, 2 a possible start zone, which may be steep enough" in readme
    assert "3 a start zone, 4 ground steeper than one; 0 is unknown" in readme


def test_json_is_by_the_contract_and_counts_the_rasters(made: tuple[Path, str]) -> None:
    folder, _ = made
    found = json.loads((folder / "table.json").read_text(encoding="utf-8"))
    contract = json.loads(
        files("steybrae.files").joinpath("contract.schema.json").read_text(encoding="utf-8")
    )
    jsonschema.Draft202012Validator({"$ref": "#/$defs/area", "$defs": contract["$defs"]}).validate(found)
    over = found["overhead"]
    assert over["start_from_deg"] == 30.0
    assert 23.0 < over["possible_from_deg"] < 27.0
    code = cells(folder / "overhead.tif")
    assert {row["value"]: row["cells"] for row in over["overhead_values"]} == dict(
        zip(*(part.tolist() for part in np.unique(code, return_counts=True)), strict=True)
    )
    more = sum(row["cells"] for row in over["rows"] if row["unknown_above"])
    assert more == (code > 100).sum()


def test_a_milder_range_is_said_to_leave_something_out(model: Path, tmp_path: Path) -> None:
    out, _ = area("--dem", model, "--out", tmp_path / "out", *OPTIONS, "--start-slopes", "35-55deg", "--json")
    found = json.loads(out)
    texts = {caution["key"]: caution["text"] for caution in found["cautions"]}
    assert "start zones from 35 degrees, not 30" in texts["overhead_left_out"]
    assert found["overhead"]["start_from_deg"] == 35.0


def test_the_picture_has_both_maps_and_the_cautions(model: Path, tmp_path: Path) -> None:
    picture = tmp_path / "area.png"
    area("--dem", model, "--out", tmp_path / "out", *OPTIONS, "--figure", picture)
    with Image.open(picture) as image:
        wide, high = image.size
        assert image.text["Description"].startswith("These are angles of ground, not a judgement of it.")
        dark = np.asarray(image.convert("L")) < 128
    assert high > wide  # higher than the A4 across of the bands alone
    # Both maps are drawn: neither half of the left side is without ink.
    assert dark[: high // 2, : wide // 2].any()
    assert dark[high // 2 : high * 9 // 10, : wide // 2].any()


def test_killed_while_it_looks_down_it_goes_on(tmp_path: Path) -> None:
    model = write(tmp_path / "hills.tif", mountains(1140, 160))
    out = tmp_path / "out"
    command = [*COMMAND, "--dem", str(model), "--out", str(out), "--bands", *OPTIONS, "--threads", "1"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as run:
        done = out / ".steybrae-area" / "overhead_done.npz"
        until = time.monotonic() + 60.0
        while not done.exists() and time.monotonic() < until:
            time.sleep(0.005)
        run.send_signal(signal.SIGKILL)
    assert run.returncode == -signal.SIGKILL
    assert sorted(path.name for path in out.iterdir()) == [".steybrae-area", ".steybrae-area.lock"]
    area("--dem", model, "--out", out, "--bands", *OPTIONS, "--resume")
    area("--dem", model, "--out", tmp_path / "whole", "--bands", *OPTIONS)
    for name in ("overhead.tif", "start_zones.tif", "bands.tif"):
        assert_array_equal(cells(out / name), cells(tmp_path / "whole" / name))
    assert (out / "table.json").read_bytes() == (tmp_path / "whole" / "table.json").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--start-area", "400"),
            "The least area of a start zone takes m2 or ha; got no unit in '400'. Write it like 400m2.",
        ),
        (
            ("--start-slopes", "55-30deg"),
            "The slope range of a start zone should rise from above 0 to below 90 degrees; got '55-30deg'. "
            "Write it like 30-55deg.",
        ),
    ],
)
def test_bad_input(model: Path, tmp_path: Path, arguments: tuple[str, ...], message: str) -> None:
    out, err = area("--dem", model, "--out", tmp_path / "out", "--overhead", *arguments, status=2)
    assert out == ""
    assert err == f"steybrae: {message}\n"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--start-slopes", "28-60deg"),
            "--start-slopes says what counts as a start zone, which area looks for with --overhead "
            "alone; it is missing. Add --overhead, or leave --start-slopes out.",
        ),
        (
            ("--start-area", "200m2"),
            "--start-area says what counts as a start zone, which area looks for with --overhead "
            "alone; it is missing. Add --overhead, or leave --start-area out.",
        ),
        (
            ("--bands", "--baseline", "20m"),
            "--baseline is that of slope.tif and tenths.tif; neither is made. Add --slope, or leave "
            "--baseline out.",
        ),
    ],
)
def test_what_would_change_nothing_is_refused(
    model: Path, tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    out, err = area("--dem", model, "--out", tmp_path / "out", *arguments, status=2)
    assert out == ""
    assert err == f"steybrae: {message}\n"
    assert not (tmp_path / "out").exists()
