"""The command in a hostile environment: settings of GDAL and PROJ that would move, hide or fetch."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from tests.typed import typed

from steybrae.cli import start
from steybrae.files.model import offline

CODE = "from steybrae.cli.app import main; main()"


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-c", CODE, *arguments],
        env={**os.environ, **environment},
        capture_output=True,
        check=False,
        timeout=600,
    )


def test_settings_of_gdal_and_proj_change_nothing(tmp_path: Path) -> None:
    other = tmp_path / "proj"
    other.mkdir()
    (other / "proj.db").write_bytes(b"of another PROJ")
    settings = tmp_path / "gdalrc"
    settings.write_text("[configoptions]\nGTIFF_POINT_GEO_IGNORE=TRUE\nGDAL_SKIP=GTiff\n")
    clean = run("route", "--sample", "--reach", "20m", "--json")
    hostile = run(
        *("route", "--sample", "--reach", "20m", "--json"),
        PROJ_LIB=str(other),
        PROJ_DATA=str(other),
        PROJ_NETWORK="ON",
        GDAL_SKIP="GTiff",
        GDAL_DATA=str(other),
        GDAL_CONFIG_FILE=str(settings),
        GTIFF_SRS_SOURCE="GEOKEYS",
        CPL_DEBUG="ON",
        CPL_LOG=str(tmp_path / "log"),
        no_proxy="*",
    )
    assert (clean.returncode, clean.stderr) == (0, b"")
    assert (hostile.returncode, hostile.stderr) == (0, b"")
    assert json.loads(hostile.stdout) == json.loads(clean.stdout)
    assert not (tmp_path / "log").exists()


def test_what_is_taken_out_and_what_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "environ", {"GTIFF_IGNORE_READ_ERRORS": "YES", "GDAL_NUM_THREADS": "2"})
    os.environ.update({"NO_PROXY": "*", "HTTPS_PROXY": "x", "PROJ_DATA": "there", "HOME": "/home/ann"})
    monkeypatch.setattr(offline, "_has", lambda _package, _folder: False)
    offline.own_environment()
    assert os.environ == {
        "GDAL_NUM_THREADS": "2",
        "PROJ_DATA": "there",  # where nothing brings a PROJ of its own
        "HOME": "/home/ann",
        "PROJ_NETWORK": "OFF",
        "GDAL_CONFIG_FILE": os.devnull,
    }
    monkeypatch.setattr(offline, "_has", lambda _package, _folder: True)
    offline.own_environment()
    assert "PROJ_DATA" not in os.environ


def rows(log: Path) -> int:
    return len(log.read_text("utf-8").splitlines()) - 1


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii"])
def test_a_terminal_that_lacks_letters(tmp_path: Path, encoding: str) -> None:
    log = tmp_path / "log.csv"
    arguments = ("reading", "34deg", "--log", str(log), "--observer", "Łucja", "--note", "雪 ã")
    done = run(*arguments, PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    assert rows(log) == 1
    told = run("reading", "--review", str(log), "--json", PYTHONIOENCODING=encoding)
    assert json.loads(told.stdout.decode(encoding))["rows"] == 1


@pytest.mark.skipif(os.name == "nt", reason="a POSIX shell closes them")
@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_streams_that_are_closed(tmp_path: Path, closed: str) -> None:
    """Nothing printed may go into a file that is opened in a closed stream's place."""
    log = tmp_path / "log.csv"
    command = shlex.join([sys.executable, "-c", CODE, "reading", "34deg", "--log", str(log)])
    done = subprocess.run(["sh", "-c", f"{command} {closed}"], capture_output=True, check=False, timeout=600)
    assert (done.returncode, done.stderr) == (0, b"")
    assert rows(log) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_what_could_not_be_printed_is_not_logged(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    with Path("/dev/full").open("w") as full:
        command = [sys.executable, "-c", CODE, "reading", "34deg", "--log", str(log)]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, check=False, timeout=600)
    assert done.returncode == 2
    assert done.stderr.decode().startswith("steybrae: The system refused: ")
    assert not log.exists()


def test_a_zone_of_another_planet(tmp_path: Path) -> None:
    done = run("reading", "34deg", "--log", str(tmp_path / "log.csv"), TZ="UTC+99")
    assert done.returncode == 2
    assert done.stderr.decode() == (
        "steybrae: The time zone of this computer should lie within 24 hours of UTC; it does not (see the "
        "setting TZ). Type the time with --time.\n"
    )


def test_ctrl_c_while_it_loads(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "steybrae.cli.app")
    monkeypatch.setattr("builtins.__import__", interrupted)
    with pytest.raises(SystemExit) as stop:
        start.main()
    monkeypatch.undo()
    assert stop.value.code == 130


@pytest.mark.skipif(os.name == "nt" or sys.platform == "darwin", reason="their names are always Unicode")
def test_names_that_are_no_utf8(tmp_path: Path, sample_dem: Path) -> None:
    odd = os.fsencode(tmp_path) + b"/\xff\x1b[2J"
    Path(os.fsdecode(odd + b".gpx")).write_bytes((sample_dem / "day.gpx").read_bytes())
    Path(os.fsdecode(odd + b".tif")).write_bytes((sample_dem / "stey_massif.tif").read_bytes())
    done = run("route", os.fsdecode(odd + b".gpx"), "--sample", "--reach", "20m")
    assert (done.returncode, done.stderr) == (0, b"")
    done = run("ground", "59.2 -8.0", "--dem", os.fsdecode(odd + b".tif"))
    assert done.returncode == 2
    assert done.stderr.decode() == (
        f"steybrae: The name of an elevation model should be UTF-8, for GDAL takes no other; "
        f"{tmp_path}/\ufffd\ufffd[2J.tif is not. Rename the file.\n"
    )


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device without an end")
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("route", "/dev/zero", "--sample"), "A route file should be at most 25 MB; zero is larger."),
        (
            ("reading", "--review", "/dev/zero"),
            "A log of readings should have at most 16 MB; /dev/zero has more.",
        ),
        (
            ("route", "--sample", "--bulletin", "/dev/zero", "--region", "x"),
            "A forecast file should have at most 24 MB; zero has more.",
        ),
        (("ground", "59.2 -8", "--dem", "/dev/zero"), "The elevation model /dev/zero should be a file;"),
        (("card", "/dev/zero", "--date", "2027-01-15"), ""),
    ],
)
def test_files_without_an_end(arguments: tuple[str, ...], said: str) -> None:
    status, _, err = typed(*arguments)
    assert status == 2
    assert err.startswith(f"steybrae: {said}")
    assert err.count("\n") == 1
