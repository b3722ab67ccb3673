"""``steybrae area`` as a user runs it: a process, its outputs, its errors."""

from __future__ import annotations

import csv
import json
import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio.shutil
from numpy.testing import assert_array_equal
from PIL import Image
from tests.raster.rasters_made import cells, mountains, rough_mountains, with_voids, write
from tests.typed import typed

VERDICT = re.compile(r"\b(safe|safely|safety|unsafe|go|no-go|nogo)\b", re.IGNORECASE)
COMMAND = (sys.executable, "-W", "error", "-c", "from steybrae.cli.app import main; main()", "area")
MADE = [
    "README.txt",
    "bands.tif",
    "bands.tif.aux.xml",
    "bands_possible.tif",
    "bands_possible.tif.aux.xml",
    "slope.tif",
    "table.csv",
    "table.json",
]


def area(*arguments: object, status: int = 0) -> tuple[str, str]:
    """Run the command in this process."""
    got, out, err = typed("area", *arguments)
    assert got == status, err
    return out, err


def area_alone(*arguments: object) -> str:
    """Run the command in a process of its own, warnings being errors, and say nothing but the answer."""
    done = subprocess.run(
        [*COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False, timeout=600
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("model") / "hills.tif", with_voids(rough_mountains(700, 900)))


@pytest.fixture(scope="module")
def made(model: Path) -> tuple[Path, str]:
    return model.parent / "out", area_alone("--dem", model, "--out", model.parent / "out")


def test_rasters_of_an_earlier_run_are_told(tmp_path: Path) -> None:
    # Seen: a README of new bands beside the overhead angles of another model, without a word.
    path = write(tmp_path / "hills.tif", mountains(40, 40))
    out = tmp_path / "out"
    assert "earlier" not in area_alone("--dem", path, "--out", out, "--slope", "--aspect")
    said = area_alone("--dem", path, "--out", out, "--bands", "--slope", "--force", "--json")
    assert json.loads(said)["earlier_outputs"] == ["aspect.tif"]
    readme = " ".join((out / "README.txt").read_text().split())
    assert "In the folder, of an earlier run: aspect.tif; perhaps of another model" in readme


def test_it_writes_slope_and_bands_and_says_how_much_lies_where(made: tuple[Path, str]) -> None:
    folder, out = made
    assert sorted(path.name for path in folder.iterdir()) == MADE
    text = " ".join(out.split())
    assert "hills.tif: 700 x 900 cells," in text
    assert "Written: slope.tif, bands.tif, bands_possible.tif." in text
    assert re.search(r" unknown 0 \d+ 0\.\d{3} 0\.\d % 0\.\d{3} \d\.\d %", text)
    assert "Bands and this table are of the slope over 20.0 m." in text
    # Seen: 41 degrees at most here, no upper end of ground's at the same place.
    assert "wider interval where the model is drawn or smoothed near the place or line alone" in text
    for part in ("<25", "55+", "km2 by facing", "NE", "km2 by elevation", "1000-1500 m"):
        assert part in text
    assert "Read the local avalanche forecast" in text
    assert "Part of this area is unknown" in text
    assert not VERDICT.search(out)


def test_the_texts_beside_say_the_same(made: tuple[Path, str], model: Path) -> None:
    folder, _ = made
    answer = json.loads((folder / "table.json").read_text("utf-8"))
    with (folder / "table.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["cells"]) for row in rows] == [row["cells"] for row in answer["rows"]]
    assert rows[-1]["band"] == "unknown"
    assert [float(row["baseline_m"]) for row in rows] == pytest.approx(
        [answer["baseline_m"]] * len(rows), rel=1e-5
    )
    assert sum(int(row["cells"]) for row in rows) == 700 * 900
    readme = " ".join((folder / "README.txt").read_text("utf-8").split())
    for caution in answer["cautions"]:
        assert caution["text"] in readme
    assert answer["model"]["fingerprints"][0] in readme
    assert not VERDICT.search(readme)


def test_json_is_the_answer_and_the_file(made: tuple[Path, str], model: Path, tmp_path: Path) -> None:
    out, err = area("--dem", model, "--out", tmp_path / "out", "--bands", "--edges", "30,40", "--json")
    assert err == ""
    answer = json.loads(out)
    assert out == (tmp_path / "out" / "table.json").read_text("utf-8")
    assert answer["outputs"] == ["bands.tif"]
    assert [row["band"] and row["band"]["label"] for row in answer["bands"]] == ["<30", "30-40", "40+", None]
    assert set(np.unique(cells(tmp_path / "out" / "bands.tif"))) == {0, 1, 2, 3}


def test_a_picture_with_its_cautions(model: Path, tmp_path: Path) -> None:
    area("--dem", model, "--out", tmp_path / "out", "--figure", tmp_path / "area.png")
    with Image.open(tmp_path / "area.png") as picture:
        assert picture.size == (2338, 1653)
        assert "Slope angle alone decides nothing" in picture.text["Description"]
    area("--dem", model, "--out", tmp_path / "slope", "--slope", "--figure", tmp_path / "slope.pdf")
    assert (tmp_path / "slope.pdf").read_bytes().startswith(b"%PDF")


def test_on_a_terminal_a_bar_in_a_pipe_nothing(model: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [*COMMAND, "--dem", str(model), "--out", str(tmp_path / "out")],
        stdout=subprocess.DEVNULL,
        stderr=theirs,
    ) as run:
        os.close(theirs)
        seen = b""
        while True:
            try:
                more = os.read(ours, 4096)
            except OSError:
                break
            if not more:
                break
            seen += more
        assert run.wait() == 0
    os.close(ours)
    assert b"rasters" in seen
    assert b"left" in seen


def test_killed_in_the_middle_it_goes_on(tmp_path: Path) -> None:
    model = write(tmp_path / "hills.tif", mountains(2100, 400), compress="deflate")
    out = tmp_path / "out"
    with subprocess.Popen(
        [*COMMAND, "--dem", str(model), "--out", str(out), "--threads", "1"], stdout=subprocess.DEVNULL
    ) as run:
        journal = out / ".steybrae-area" / "journal"
        until = time.monotonic() + 60.0
        while not (journal.exists() and journal.stat().st_size) and time.monotonic() < until:
            time.sleep(0.005)
        run.send_signal(signal.SIGKILL)
    assert run.returncode == -signal.SIGKILL
    assert sorted(path.name for path in out.iterdir()) == [".steybrae-area", ".steybrae-area.lock"]
    _, err = area("--dem", model, "--out", out, status=2)
    assert err == (
        f"steybrae: {out} holds unfinished work. Give --resume to go on, or --force to begin anew.\n"
    )
    area("--dem", model, "--out", out, "--resume")
    # It said that slope.tif is not overwritten, as if --resume had not been understood.
    _, err = area("--dem", model, "--out", out, "--resume", status=2)
    assert err.startswith(f"steybrae: {out} holds no unfinished work, and slope.tif exists there. Give ")
    area("--dem", model, "--out", tmp_path / "whole")
    assert sorted(path.name for path in out.iterdir()) == MADE
    for name in ("slope.tif", "bands.tif"):
        assert_array_equal(cells(out / name), cells(tmp_path / "whole" / name))
    assert (out / "table.json").read_bytes() == (tmp_path / "whole" / "table.json").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "An elevation model is needed; none was given. Give --dem FILE, or --sample to try it."),
        (
            ("--dem", "no.tif"),
            "The elevation model {here}/no.tif should be a file; there is none. Check the path.",
        ),
        (
            ("--dem", "{model}", "--threads", "0"),
            "The number of threads should be 1 or more; got 0. Leave it out to take all.",
        ),
        (
            ("--dem", "{model}", "--compress", "zip"),
            "The packing (--compress) should be one of deflate, none; got 'zip'. Choose one.",
        ),
        (
            ("--dem", "{model}", "--engine", "other"),
            "The engine should be one of own, richdem; got 'other'. Choose one.",
        ),
    ],
)
def test_what_cannot_be_is_one_line(
    arguments: tuple[str, ...], message: str, model: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    given = [argument.format(model=model) for argument in arguments]
    out, err = area(*given, "--out", tmp_path / "out", status=2)
    assert out == ""
    assert err == f"steybrae: {message.format(here=tmp_path)}\n"
    assert not (tmp_path / "out").exists() or not list((tmp_path / "out").glob("*.tif"))


def test_its_own_input_is_never_an_output(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / ".steybrae-area").mkdir(parents=True)
    dem, hidden = write(out / "slope.tif", mountains(40, 50)), out / ".steybrae-area" / "dem.tif"
    before = dem.read_bytes()
    write(hidden, mountains(40, 50))
    rasterio.shutil.copy(dem, tmp_path / "dem.vrt", driver="VRT")
    for given, path in ((dem, dem), (tmp_path / "dem.vrt", dem), (hidden, hidden.parent)):
        _, err = area("--dem", given, "--out", out, "--force", status=2)
        assert err == (
            f"steybrae: {path} is read by this command and is not overwritten. Give the output another "
            "name.\n"
        )
    assert dem.read_bytes() == before
    assert hidden.exists()


def test_a_run_at_work_is_not_thrown_away(tmp_path: Path) -> None:
    model, out = write(tmp_path / "hills.tif", mountains(2100, 400), compress="deflate"), tmp_path / "out"
    command = [*COMMAND, "--dem", str(model), "--out", str(out), "--threads", "1"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as run:
        journal = out / ".steybrae-area" / "journal"
        until = time.monotonic() + 60.0
        while not (journal.exists() and journal.stat().st_size) and time.monotonic() < until:
            time.sleep(0.005)
        run.send_signal(signal.SIGSTOP)
        for options in (["--force"], ["--resume"], []):
            _, err = area("--dem", model, "--out", out, *options, status=2)
            assert err == (
                f"steybrae: Another run is at work in {out}. Wait for it, or give another folder.\n"
            )
        run.send_signal(signal.SIGCONT)
        assert run.wait(60.0) == 0
    assert sorted(path.name for path in out.iterdir()) == MADE
    area("--dem", model, "--out", tmp_path / "alone")
    for name in ("slope.tif", "bands.tif"):
        assert_array_equal(cells(out / name), cells(tmp_path / "alone" / name))


def test_finished_rasters_are_replaced_with_force_only(made: tuple[Path, str], model: Path) -> None:
    folder, _ = made
    before = (folder / "slope.tif").stat().st_mtime_ns
    _, err = area("--dem", model, "--out", folder, status=2)
    assert err == (
        f"steybrae: {folder / 'slope.tif'} exists and is not overwritten. Give another name, or --force to "
        "replace it.\n"
    )
    assert (folder / "slope.tif").stat().st_mtime_ns == before
    area("--dem", model, "--out", folder, "--force")
    assert (folder / "slope.tif").stat().st_mtime_ns > before
